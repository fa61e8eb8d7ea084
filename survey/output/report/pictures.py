"""Pictures inside the page."""

from __future__ import annotations

import base64
from dataclasses import dataclass

from survey.budget import Progress
from survey.measured.dropouts import Dropouts
from survey.output.answers.figures import letter
from survey.scene import Ends, Scene

POINTS = 10_000
"""Points of a coverage picture at most: fine enough to read on paper, and a second or two of work."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """A picture as a data address, and its description for readers who cannot see it."""

    address: str
    words: str


def coverage(scene: Scene, gateways: Ends, *, progress: Progress | None = None) -> Picture:
    """Draw the margin of an inverter at every point of the site.

    Parameters
    ----------
    scene : Scene
        The site.
    gateways : Ends
        The gateways; each point shows the best of them.
    progress : callable, optional
        Called with the number of points done and of all.

    Returns
    -------
    Picture
        A PNG.
    """
    from survey.budget.coverage import coverage_of, usual_points  # noqa: PLC0415  start-up time
    from survey.output.pictures import as_bytes, coverage_picture, field_m  # noqa: PLC0415  heavy

    points = min(POINTS, usual_points(len(gateways)))
    found = coverage_of(scene, gateways, area_m=field_m(scene), points=points, progress=progress)
    png = as_bytes(coverage_picture(found), "png")
    names = ", ".join(f"{letter(j)}: {name}" for j, name in enumerate(gateways.names))
    names = gateways.names[0] if len(gateways) == 1 else names
    return Picture(
        address=f"data:image/png;base64,{base64.b64encode(png).decode()}",
        words=f"Margin of an inverter anywhere on the site, {found.height_words}, to {names}.",
    )


def days(found: Dropouts) -> Picture:
    """Draw the missed polls of a log by day and hour.

    Parameters
    ----------
    found : Dropouts
        What was found in the log.

    Returns
    -------
    Picture
        A PNG.
    """
    from survey.output.pictures import as_bytes, days_picture  # noqa: PLC0415  heavy

    png = as_bytes(days_picture(found), "png")
    return Picture(
        address=f"data:image/png;base64,{base64.b64encode(png).decode()}",
        words="Missed polls by day and hour, each inverter a row, each cause a colour and a mark.",
    )
