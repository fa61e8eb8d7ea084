"""Pictures, as `survey draw` makes them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Literal, get_args

from matplotlib.figure import Figure

from survey.base.errors import SurveyError
from survey.base.limits import (
    MAX_HEIGHT_M,
    MAX_POINTS,
    MAX_WIDTH_CM,
    MIN_HEIGHT_M,
    MIN_POINTS,
    MIN_WIDTH_CM,
    TIME_LIMIT_S,
)
from survey.budget import Progress
from survey.budget.coverage import chosen_gateways, coverage_of
from survey.decisions.placement import PlacementOptions
from survey.decisions.placement import place as placement_of
from survey.library.dropouts import read_log
from survey.library.place import placement_options, warn_of_capacity
from survey.library.sites import FitSource, Names, PlanSource, check_range, names_in, scene_from
from survey.measured.dropouts.sorting import dropouts_of
from survey.output import pictures
from survey.routing import Network, network_between
from survey.routing.weak_points import weak_points
from survey.scene import Ends, Scene

Kind = Literal["map", "sides", "coverage", "profile", "network", "budget", "days"]
"""What can be drawn."""
Shown = Literal["margin", "chance"]
"""What coverage shows."""
CM_AN_INCH = 2.54
"""By definition. [cm]"""
KINDS_OF: dict[str, tuple[Kind, ...]] = {
    "inverter": ("profile", "budget"),
    "height_m": ("coverage",),
    "show": ("coverage",),
    "gateway_places": ("coverage",),
    "points": ("coverage",),
    "relays": ("map", "network"),
    "beside": ("map",),
    "log": ("days",),
}
"""The kinds of picture that an option belongs to, where it does not belong to all."""


def draw(
    plan: PlanSource,
    *,
    kind: Kind = "map",
    gateway: Names = (),
    placed: bool = False,
    inverter: str | None = None,
    height_m: float | None = None,
    show: Shown | None = None,
    gateway_places: bool = False,
    points: int | None = None,
    width_cm: float | None = None,
    gateways: int | None = None,
    fewest: bool = False,
    spare: bool = False,
    time_limit_s: float = TIME_LIMIT_S,
    relays: int | None = None,
    beside: Names = (),
    log: str | Path | None = None,
    dates: str | None = None,
    columns: Mapping[str, str] | None = None,
    fit: FitSource | None = None,
    progress: Progress | None = None,
) -> Figure:
    """Draw a picture of a site.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    kind : {"map", "sides", "coverage", "profile", "network", "budget", "days"}
        What to draw.
    gateway : str or sequence of str
        For these gateways or spots; without any, for the existing gateways.
    placed : bool
        For the spots that `survey.place` recommends, with `gateways`, `fewest`, `spare` and `time_limit_s` as there.
    inverter : str, optional
        Profile and budget: the link of this inverter; without it, the weakest.
    height_m : float, optional
        Coverage: height of the points. [m]
    show : {"margin", "chance"}, optional
        Coverage: what to show; the margin without it.
    gateway_places : bool
        Coverage: every point stands for a gateway, and shows its weakest link.
    points : int, optional
        Coverage: about so many points.
    width_cm : float, optional
        Width of the picture; 21.6 without it. Letters and marks stay as large. [cm]
    relays : int, optional
        Map and network: let messages go by way of up to so many inverters.
    beside : str or sequence of str
        Map: beside it a second one for these gateways or spots.
    log : str or Path, optional
        Days: the log whose missed polls are drawn.
    dates, columns
        Of the log, as for `survey.dropouts`.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    Figure
        Of matplotlib; its `savefig` writes a file.

    Raises
    ------
    SurveyError
        As the command does.
    """
    given = {
        "inverter": inverter,
        "height_m": height_m,
        "show": show,
        "gateway_places": gateway_places or None,
        "points": points,
        "relays": relays,
        "beside": names_in(beside) or None,
        "log": log,
    }
    names = names_in(gateway)
    _check_options(kind, given, named=bool(names), placed=placed)
    if kind == "sides" and (names or placed or fit is not None):
        raise SurveyError("kind sides shows the site alone; leave gateway, placed and fit away")
    if (gateways is not None or fewest or spare) and not placed:
        raise SurveyError("gateways, fewest and spare belong to placed=True")
    check_range("height_m", height_m, low=MIN_HEIGHT_M, high=MAX_HEIGHT_M)
    check_range("points", points, low=MIN_POINTS, high=MAX_POINTS)
    check_range("width_cm", width_cm, low=MIN_WIDTH_CM, high=MAX_WIDTH_CM)
    options = placement_options(gateways=gateways, fewest=fewest, spare=spare, time_limit_s=time_limit_s)
    scene = scene_from(plan, fit=fit, max_relays=relays, gateways=gateways)
    if placed:
        warn_of_capacity(scene, options)
    if inverter is not None:
        scene.check_names(places=(), inverters=(inverter,))
    with pictures.pictures_of_width(None if width_cm is None else width_cm / CM_AN_INCH):
        if kind == "sides":
            return pictures.sides_picture(scene)
        if log is not None:
            found_log = read_log(scene, log, dates=dates, columns=columns, progress=progress)
            return pictures.days_picture(dropouts_of(scene, found_log))
        chosen = options if placed else None
        if kind == "coverage":
            ends = None if gateway_places else _ends(scene, names, chosen, progress)
            rest = None if placed else progress  # one count, from nothing to all
            area_m = pictures.field_m(scene)
            found = coverage_of(scene, ends, area_m=area_m, height_m=height_m, points=points, progress=rest)
            network = None if ends is None else network_between(scene, ends)
            return pictures.coverage_picture(found, network, show=show or "margin")
        others = network_between(scene, chosen_gateways(scene, names_in(beside))) if beside else None
        if kind == "map" and not (names or placed or len(scene.gateways)):
            return pictures.site_map(scene, others)
        network = _network(scene, names, chosen, progress)
        return _of_network(network, kind, inverter) if others is None else pictures.beside_picture(network, others)


def out_of_place(kind: str, given: Mapping[str, object]) -> str:
    """Return the first option that this kind of picture does not take; empty where there is none."""
    return next((name for name, value in given.items() if value is not None and kind not in KINDS_OF[name]), "")


def _check_options(kind: str, given: Mapping[str, object], *, named: bool, placed: bool) -> None:
    """Refuse options that the picture does not take."""
    if kind not in get_args(Kind):
        raise SurveyError(f'kind: "{kind}" is none; give one of: {", ".join(get_args(Kind))}')
    if given["show"] not in (None, *get_args(Shown)):
        raise SurveyError(f'show: "{given["show"]}" is none; give one of: {", ".join(get_args(Shown))}')
    if name := out_of_place(kind, given):
        raise SurveyError(f"{name} belongs to kind {' or '.join(KINDS_OF[name])}")
    if named and placed:
        raise SurveyError("gateway and placed exclude each other")
    if kind == "days" and (given["log"] is None or named or placed):
        raise SurveyError("kind days shows the gateways of a log; give log, and leave gateway and placed away")
    if given["gateway_places"] and (named or placed):
        raise SurveyError("with gateway_places every point is a gateway; leave gateway and placed away")


def _ends(scene: Scene, names: tuple[str, ...], placed: PlacementOptions | None, progress: Progress | None) -> Ends:
    """The gateways that a picture is drawn for."""
    if placed is not None:
        return placement_of(scene, options=placed, progress=progress).network.links.gateways
    return chosen_gateways(scene, names)


def _network(
    scene: Scene, names: tuple[str, ...], placed: PlacementOptions | None, progress: Progress | None
) -> Network:
    """All inverters with the gateways that a picture is drawn for."""
    if placed is not None:
        return placement_of(scene, options=placed, progress=progress).network
    return network_between(scene, chosen_gateways(scene, names), progress=progress)


def _of_network(network: Network, kind: str, inverter: str | None) -> Figure:
    """The map, the routes, or the link of an inverter to its gateway: of the weakest where none is named."""
    if kind == "map":
        return pictures.site_map(network.scene, network)
    if kind == "network":
        return pictures.network_picture(weak_points(network))
    links, gateway_of = network.links, network.gateway_of
    if not len(links.inverters):
        raise SurveyError(f"{network.scene.plan.file}: has no inverter to draw a link of")
    own_db = links.margin_db[range(len(gateway_of)), gateway_of]
    i = int(own_db.argmin()) if inverter is None else links.inverters.names.index(inverter)
    return (pictures.profile_picture if kind == "profile" else pictures.budget_picture)(links, i, int(gateway_of[i]))
