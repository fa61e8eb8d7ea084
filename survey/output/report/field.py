"""Coverage under the map of the page: chances of an inverter anywhere on the site, as a picture of few colours."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from survey.base.arrays import FloatArray
from survey.budget import STATES, Progress
from survey.budget.coverage import Coverage, coverage_of, usual_points
from survey.output.map.legend import TINTS, chance_scale, chance_words
from survey.output.report.site_map import SvgMap
from survey.scene import Ends

POINTS = 10_000
"""Points of the coverage at most: fine enough to read on paper, and a second or two of work."""
FINER = 3
"""Pixels between two points each way, so that the edges of colours are smooth; by eye."""


@dataclass(frozen=True, kw_only=True)
class Field:
    """What lies under the map.

    Attributes
    ----------
    coverage : Coverage
        Its points.
    address : str
        The picture, as a data address.
    box : tuple of float
        Left, upper edge, width and height in the units of the map.
    words : str
        What it shows, for readers who cannot see it.
    key : list of (str, str, str)
        State, colour and words of each colour of the legend, the best first.
    """

    coverage: Coverage
    address: str
    box: tuple[float, float, float, float]
    words: str
    key: list[tuple[str, str, str]]


def field_under(site: SvgMap, gateways: Ends, *, progress: Progress | None = None) -> Field:
    """Work out the coverage of the gateways under a map.

    Parameters
    ----------
    site : SvgMap
        The map.
    gateways : Ends
        Its gateways; each point shows the best of them.
    progress : callable, optional
        Called with the number of points done and of all.
    """
    area_m = site.low_m, site.high_m
    points = min(POINTS, usual_points(len(gateways)))
    found = coverage_of(site.scene, gateways, area_m=area_m, points=points, progress=progress)
    required = site.scene.plan.requirement.reliability
    (left, low), (right, high) = site.at(np.array(area_m))
    names = gateways.names[0] if len(gateways) == 1 else "the best of its gateways"
    words = chance_words(required)
    return Field(
        coverage=found,
        address=f"data:image/png;base64,{base64.b64encode(_png(found)).decode()}",
        box=(left, high, right - left, low - high),
        words=f"Chance that an inverter would work with {names} at each place. Places are {found.height_words}.",
        key=[(STATES[k], TINTS[k][-1], words[k]) for k in reversed(range(len(STATES)))],
    )


def _png(coverage: Coverage) -> bytes:
    """The chances, north up, as a picture with one colour for each step."""
    from PIL import Image  # noqa: PLC0415  start-up time

    scale = chance_scale(coverage.scene.plan.requirement.reliability)
    limits = [NormalDist().inv_cdf(step) for step in scale.steps[1:-1]]
    index = np.searchsorted(limits, _finer(coverage.certainty), side="right")
    image = Image.fromarray(index[::-1].astype(np.uint8), mode="P")
    image.putpalette(bytes.fromhex("".join(one.removeprefix("#") for one in scale.colours)))
    file = io.BytesIO()
    image.save(file, format="png", optimize=True)
    return file.getvalue()


def _finer(values: FloatArray) -> FloatArray:
    """Values between those of a grid, evenly changing from one to the next, both ways."""
    for _ in range(2):
        count = len(values)
        at = np.clip((np.arange(count * FINER) + 0.5) / FINER - 0.5, 0.0, count - 1.0)
        low = np.minimum(at.astype(np.int64), max(count - 2, 0))
        share = (at - low)[:, None]
        values = (values[low] * (1.0 - share) + values[np.minimum(low + 1, count - 1)] * share).T
    return values
