"""How well a grid of points would be served: the inverter that could be anywhere, or the gateway that could."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.workers import WORKERS, in_order
from survey.budget import Links, Progress, StateArray, links_between, state_of
from survey.budget.coverage.heights import inverter_heights_m, nearest_in_plan
from survey.kernel import library
from survey.scene import Ends, Scene, radios_at

POINTS_AT_ONCE = 20_000
"""About how many points are looked at together: few enough for two threads to share a fine grid."""
USUAL_WORK = 40_000
"""So many links are worked out where nobody says how many points are wanted: some seconds' work."""
SLOWER = 50
"""Without the compiled kernel a link takes about so many times as long: measured on the demo sites."""
LEAST_POINTS, USUAL_POINTS = 200, 40_000
"""No fewer and no more points than this where nobody says how many are wanted."""
USUAL_GATEWAY_HEIGHT_M = 2.5
"""Where a person reaches up to without a ladder: an assumption. [m]"""
CERTAIN = 40.0
"""So many standard deviations stand for certainty."""


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """What links to or from the points of a grid would be worth; arrays of shape (rows, columns).

    Attributes
    ----------
    scene : Scene
        The site.
    gateways : Ends or None
        The gateways to which a point's best link goes; None where the point is the gateway, and its worst link to any
        inverter counts.
    x_m, y_m : ndarray of float, shapes (columns,) and (rows,)
        Where the points are. [m]
    heights_m : ndarray of float
        Their heights. [m]
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
    heights_m: FloatArray
    margin_db: FloatArray
    certainty: FloatArray
    reliability: FloatArray

    @property
    def state(self) -> StateArray:
        """What the chances are worth: index into `STATES`."""
        return state_of(self.scene, self.reliability)

    @property
    def height_words(self) -> str:
        """How high its points are, after "position"."""
        low_m, high_m = float(self.heights_m.min()), float(self.heights_m.max())
        if low_m == high_m:
            return f"{low_m:g} m high"
        return "as high above what is under it as the inverters are"

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


def usual_points(others: int) -> int:
    """How many points are looked at where nobody says how many, with so many links for each."""
    work = USUAL_WORK if library() else USUAL_WORK / SLOWER
    return int(np.clip(work / max(1, others), LEAST_POINTS, USUAL_POINTS))


def coverage_of(
    scene: Scene,
    gateways: Ends | None,
    *,
    area_m: tuple[FloatArray, FloatArray],
    height_m: float | None = None,
    points: int | None = None,
    progress: Progress | None = None,
    workers: int = WORKERS,
) -> Coverage:
    """Work out the links of a grid of points.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : Ends or None
        An inverter at every point, with the radio of the nearest one, is heard by the best of these. Without them a
        gateway is at every point, and the worst of its links to all inverters counts.
    area_m : tuple of two ndarrays, shape (2,)
        Lowest and highest x and y. [m]
    height_m : float, optional
        Height of all points. Without it inverters are as far above what is under them as those of the plan
        (`inverter_heights_m`), and gateways at the median height of the spots. [m]
    points : int, optional
        About how many points.
    progress : callable, optional
        Told how many points are done.
    workers : int
        How many threads share the work; the answer is the same with any number.

    Returns
    -------
    Coverage
    """
    others = scene.inverters if gateways is None else gateways
    x_m, y_m = grid_m(*area_m, usual_points(len(others)) if points is None else points)
    at_m = _points_m(scene, (x_m, y_m), height_m, is_gateway=gateways is None)
    radios = _radios_at(scene, at_m, is_gateway=gateways is None)
    bands = _bands(len(y_m), len(x_m))
    tasks = [(band, end) for band in bands for end in range(len(others))]

    def work(task: tuple[slice, int]) -> FloatArray:
        band, end = task
        points = radios.pick(slice(band.start * len(x_m), band.stop * len(x_m)))
        other = others.pick([end])
        links = links_between(scene, *((other, points) if gateways is None else (points, other)))
        return np.stack([one.reshape(-1, len(x_m)) for one in _figures(links)])

    found = np.full((3, len(y_m), len(x_m)), np.inf if gateways is None else -np.inf)
    join = np.minimum if gateways is None else np.maximum
    worked = zip(tasks, in_order(work, tasks, workers=workers), strict=True)
    for done, ((band, _), figures) in enumerate(worked, start=1):
        found[:, band] = join(found[:, band], figures)
        if progress:
            progress(len(x_m) * len(y_m) * done // len(tasks), len(x_m) * len(y_m))
    margin_db, certainty, reliability = found
    return Coverage(
        scene=scene,
        gateways=gateways,
        x_m=x_m,
        y_m=y_m,
        heights_m=at_m[:, 2].reshape(len(y_m), len(x_m)),
        margin_db=margin_db,
        certainty=certainty,
        reliability=reliability,
    )


def _bands(rows: int, columns: int) -> list[slice]:
    """Rows that are looked at together."""
    each = max(1, POINTS_AT_ONCE // columns)
    return [slice(first, min(first + each, rows)) for first in range(0, rows, each)]


def _points_m(
    scene: Scene, across_and_up_m: tuple[FloatArray, FloatArray], height_m: float | None, *, is_gateway: bool
) -> FloatArray:
    """The points of a grid, row by row, shape (points, 3). [m]"""
    flat_m = np.column_stack([one.ravel() for one in np.meshgrid(*across_and_up_m)])
    if height_m is None and is_gateway:
        heights_m = scene.gateways_and_spots.at_m[:, 2]
        height_m = round(float(np.median(heights_m)), 2) if len(heights_m) else USUAL_GATEWAY_HEIGHT_M
    up_m = inverter_heights_m(scene, flat_m) if height_m is None else np.full(len(flat_m), height_m)
    return np.column_stack([flat_m, up_m])


def _radios_at(scene: Scene, at_m: FloatArray, *, is_gateway: bool) -> Ends:
    """The plan's gateway, or an inverter like the nearest one, at every point."""
    if is_gateway:
        return radios_at(scene.plan, scene.plan.radio.gateway, at_m)
    alike = scene.inverters.pick(nearest_in_plan(at_m[:, :2], scene.inverters.at_m[:, :2]))
    return replace(alike, at_m=at_m)


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
    hint = "add one, name a spot with --gateway NAME, or take the best spot with --placed"
    return scene.gateways_asked(names, hint=hint)
