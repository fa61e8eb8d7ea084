"""How well a grid of points would be served: the inverter that could be anywhere, or the gateway that could."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from survey.errors import SurveyError
from survey.links import Links, Progress, links_between
from survey.scene import Ends, Scene, radios_at

FloatArray = NDArray[np.float64]

LINES_AT_ONCE = 3_000
"""Links worked out between two looks at the progress bar."""
USUAL_WORK = 40_000
"""So many links past one screen are worked out where nobody says how many points are wanted: some seconds' work."""
LEAST_POINTS, USUAL_POINTS = 200, 10_000
"""No fewer and no more points than this where nobody says how many are wanted."""
USUAL_GATEWAY_HEIGHT_M = 2.5
CERTAIN = 40.0
"""So many standard deviations stand for certainty."""


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """What links to or from the points of a level grid would be worth; arrays of shape (rows, columns).

    Attributes
    ----------
    scene : Scene
        The site.
    gateways : Ends or None
        The gateways to which a point's best link goes; None where the point is the gateway, and its worst link to any
        inverter counts.
    x_m, y_m : ndarray of float, shapes (columns,) and (rows,)
        Where the points are. [m]
    height_m : float
        Their height. [m]
    margin_db : ndarray of float
        Margin of that link. [dB]
    certainty : ndarray of float
        That link's margin less what is held back, in standard deviations; for several links the best or worst. [-]
    reliability : ndarray of float
        Chance that it works; the best or the worst of them. [-]
    """

    scene: Scene
    gateways: Ends | None
    x_m: FloatArray
    y_m: FloatArray
    height_m: float
    margin_db: FloatArray
    certainty: FloatArray
    reliability: FloatArray

    @property
    def wanted_certainty(self) -> float:
        """From which certainty on a link holds. [-]"""
        return NormalDist().inv_cdf(self.scene.plan.requirement.reliability)


def grid_m(low_m: FloatArray, high_m: FloatArray, points: int) -> tuple[FloatArray, FloatArray]:
    """Columns and rows of a grid of about so many square cells over an area: their centres. [m]"""
    wide_m, tall_m = np.maximum(high_m - low_m, 1e-6)
    step_m = float(np.sqrt(wide_m * tall_m / points))
    columns, rows = (max(2, round(float(size_m) / step_m)) for size_m in (wide_m, tall_m))
    x_m = low_m[0] + (np.arange(columns) + 0.5) * wide_m / columns
    y_m = low_m[1] + (np.arange(rows) + 0.5) * tall_m / rows
    return x_m, y_m


def usual_points(scene: Scene, others: int) -> int:
    """How many points are looked at where nobody says how many, with so many links for each."""
    work = max(1, others) * (1 + len(scene.screens))
    return int(np.clip(USUAL_WORK // work, LEAST_POINTS, USUAL_POINTS))


def coverage_of(
    scene: Scene,
    gateways: Ends | None,
    *,
    area_m: tuple[FloatArray, FloatArray],
    height_m: float | None = None,
    points: int | None = None,
    progress: Progress | None = None,
) -> Coverage:
    """Work out the links of a grid of points.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : Ends or None
        An inverter at every point, with the common radio of the plan, is heard by the best of these. Without them a
        gateway is at every point, and the worst of its links to all inverters counts.
    area_m : tuple of two ndarrays, shape (2,)
        Lowest and highest x and y. [m]
    height_m : float, optional
        Height of the points; else the median height of the inverters, or of the spots where points are gateways. [m]
    points : int, optional
        About how many points.
    progress : callable, optional
        Told how many points are done.

    Returns
    -------
    Coverage
    """
    if height_m is None:
        heights_m = scene.inverters.at_m[:, 2] if gateways is not None else scene.gateways_and_spots.at_m[:, 2]
        height_m = round(float(np.median(heights_m)), 2) if len(heights_m) else USUAL_GATEWAY_HEIGHT_M
    others = len(scene.inverters) if gateways is None else len(gateways)
    x_m, y_m = grid_m(*area_m, usual_points(scene, others) if points is None else points)
    across_m, up_m = np.meshgrid(x_m, y_m)
    at_m = np.column_stack([across_m.ravel(), up_m.ravel(), np.full(across_m.size, height_m)])
    radio = scene.plan.radio
    grid = radios_at(scene.plan, radio.gateway if gateways is None else radio.inverter, at_m)
    found = np.empty((3, len(grid)))
    step = max(1, LINES_AT_ONCE // max(1, others))
    for first in range(0, len(grid), step):
        block = slice(first, min(first + step, len(grid)))
        some = grid.pick(block)
        if gateways is None:
            found[:, block] = [one.min(axis=0) for one in _figures(links_between(scene, scene.inverters, some))]
        else:
            found[:, block] = [one.max(axis=1) for one in _figures(links_between(scene, some, gateways))]
        if progress:
            progress(block.stop, len(grid))
    margin_db, certainty, reliability = found.reshape(3, len(y_m), len(x_m))
    return Coverage(
        scene=scene,
        gateways=gateways,
        x_m=x_m,
        y_m=y_m,
        height_m=height_m,
        margin_db=margin_db,
        certainty=certainty,
        reliability=reliability,
    )


def _figures(links: Links) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Margin, certainty and reliability of links."""
    excess_db = links.margin_db - links.scene.plan.requirement.fade_margin_db
    sure = links.sigma_db == 0
    certainty = np.where(sure, CERTAIN * np.sign(excess_db), excess_db / np.where(sure, 1.0, links.sigma_db))
    return links.margin_db, np.clip(certainty, -CERTAIN, CERTAIN), links.reliability


def chosen_gateways(scene: Scene, names: tuple[str, ...]) -> Ends:
    """The gateways that somebody names, or those that stand today.

    Raises
    ------
    UnknownNameError
        Naming every name that there is not.
    SurveyError
        Where no gateway stands and none is named.
    """
    if names:
        return scene.gateways_and_spots.named(names, file=scene.plan.file, what="gateway or spot")
    if not len(scene.gateways):
        what = "has no [[gateway]]; add one, name a spot with --gateway NAME, or take the best spot with --placed"
        raise SurveyError(f"{scene.plan.file}: {what}")
    return scene.gateways
