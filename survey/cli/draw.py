"""The command that draws."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from survey.base.errors import OutputError, SurveyError, did_you_mean, one_line
from survey.cli import options
from survey.cli.logs import log_options, read_site_log

if TYPE_CHECKING:  # they bring numpy and matplotlib
    from matplotlib.figure import Figure

    from survey.network import Network
    from survey.scene import Ends, Scene

KINDS = ("map", "coverage", "profile", "network", "budget", "days")
ENDINGS = ("png", "svg", "pdf")
OF_A_LINK, OF_A_GRID = ("profile", "budget"), ("coverage",)
BELONGS: dict[str, tuple[str, ...]] = {
    "--inverter": OF_A_LINK,
    "--height-m": OF_A_GRID,
    "--show": OF_A_GRID,
    "--gateway-places": OF_A_GRID,
    "--points": OF_A_GRID,
    "--relays": ("map", "network"),
    "--log": ("days",),
}
"""Options that only some kinds of picture take."""


@click.command()
@options.plan_argument
@click.option("--out", type=click.Path(path_type=Path), required=True, help="The picture: .png, .svg or .pdf.")
@click.option("--kind", type=click.Choice(KINDS), default="map", help="What to draw; the map by default.")
@click.option("--gateway", "gateways", multiple=True, metavar="NAME", help="For this gateway or spot; may be repeated.")
@click.option("--placed", is_flag=True, help="For the spots that `survey place` recommends.")
@click.option("--inverter", metavar="NAME", help="profile, budget: the link of this inverter; else the weakest.")
@click.option(
    "--height-m",
    type=click.FloatRange(-100.0, 1000.0),
    callback=options.finite,
    metavar="M",
    help="coverage: height of the points.",
)
@click.option("--show", type=click.Choice(["margin", "chance"]), help="coverage: what to show; margin by default.")
@click.option(
    "--gateway-places", is_flag=True, help="coverage: every point stands for a gateway; shows its weakest link."
)
@click.option("--points", type=click.IntRange(4, 1_000_000), metavar="N", help="coverage: about so many points.")
@click.option(
    "--log",
    "log_file",
    type=click.Path(path_type=Path),
    metavar="LOG",
    help="days: the log of polls whose missed ones are drawn by day and hour.",
)
@log_options
@options.placing_options
@options.relays_option
@options.fit_option
def draw(
    plan_file: Path,
    out: Path,
    *,
    kind: str,
    gateways: tuple[str, ...],
    inverter: str | None,
    height_m: float | None,
    show: str | None,
    points: int | None,
    max_relays: int | None,
    fit_file: Path | None,
    placed: bool,
    placing: options.Placing,
    gateway_places: bool,
    log_file: Path | None,
    log_style: dict[str, Any],
) -> None:
    """Draw a picture of PLAN.

    For the gateways that stand there today, for the gateways or spots named, or for those that `survey place`
    recommends with the same options.
    """
    given = {
        "--inverter": inverter,
        "--height-m": height_m,
        "--show": show,
        "--gateway-places": gateway_places or None,
        "--points": points,
        "--relays": max_relays,
        "--log": log_file,
    }
    if kind == "days" and log_file is None:
        raise click.UsageError("--kind days needs --log LOG")
    _check_usage(kind, given, gateways=gateways, placed=placed, gateway_places=gateway_places)
    if placing.given and not placed:
        raise click.UsageError(f"{placing.given[0]} belongs to --placed")
    ending = _ending(out)
    inputs = tuple(one for one in (plan_file, fit_file, log_file) if one is not None)
    options.check_writable(out, inputs=inputs)
    scene = options.read_scene(plan_file, fit_file).wanting(max_relays=max_relays)
    if placed:
        scene = placing.asked_of(scene, max_relays=max_relays)
    if inverter is not None:
        scene.check_names(places=(), inverters=(inverter,))
    asked = placing if placed else None
    if log_file is not None:
        from survey.measured.dropouts.sorting import dropouts_of
        from survey.output.pictures import days_picture

        figure = days_picture(dropouts_of(scene, read_site_log(scene, log_file, log_style)))
    elif kind == "coverage":
        ends = None if gateway_places else _ends(scene, gateways, asked)
        figure = _coverage(scene, ends, height_m, points, show or "margin")
    elif kind == "map" and not (gateways or placed or len(scene.gateways)):
        from survey.output.pictures import site_map

        figure = site_map(scene)
    else:
        figure = _of_network(_network(scene, gateways, asked), kind, inverter)
    from survey.output.pictures import as_bytes, missing_letters

    options.write_whole(out, as_bytes(figure, ending), inputs=inputs)
    missing = 0 if ending == "svg" else missing_letters(figure)  # whoever shows an SVG has fonts of their own
    if missing:
        many = missing > 1
        of_names, boxes = (f"{missing} letters of names are", "boxes") if many else ("a letter of a name is", "a box")
        kept = f"a picture that ends in .svg keeps {'them' if many else 'it'}"
        options.warn(f"{of_names} not in the picture's font and drawn as {boxes}; {kept}")
    click.echo(f"written: {one_line(str(out))}", err=True)


def _check_usage(
    kind: str, given: Mapping[str, object], *, gateways: tuple[str, ...], placed: bool, gateway_places: bool
) -> None:
    """Refuse options that the picture asked for has no use for."""
    for option, value in given.items():
        if value is not None and kind not in BELONGS[option]:
            raise click.UsageError(f"{option} belongs to --kind {' or '.join(BELONGS[option])}")
    if gateways and placed:
        raise click.UsageError("--gateway and --placed exclude each other")
    if gateway_places and (gateways or placed):
        raise click.UsageError("with --gateway-places every point is a gateway; leave --gateway and --placed away")


def _ending(out: Path) -> str:
    """The kind of file, by its name's ending."""
    ending = out.suffix.removeprefix(".").lower()
    if ending not in ENDINGS:
        near = did_you_mean(ending, ENDINGS) if ending else ""
        raise OutputError(one_line(f"{out}: is no picture by its name; end it in .png, .svg or .pdf{near}"))
    return ending


def _ends(scene: Scene, gateways: tuple[str, ...], placing: options.Placing | None) -> Ends:
    """The gateways that a picture is drawn for."""
    if placing is not None:
        return _network(scene, gateways, placing).links.gateways
    from survey.links.coverage import chosen_gateways

    return chosen_gateways(scene, gateways)


def _network(scene: Scene, gateways: tuple[str, ...], placing: options.Placing | None) -> Network:
    """All inverters with the gateways that a picture is drawn for."""
    if placing is None:
        from survey.network import network_between

        ends = _ends(scene, gateways, None)
        with options.progress("links between inverters") as told:
            return network_between(scene, ends, progress=told)
    from survey.decisions import placement

    with options.progress("trying spots") as told:
        return placement.place(scene, wanted=placing.wanted(), progress=told).network


def _coverage(scene: Scene, ends: Ends | None, height_m: float | None, points: int | None, show: str) -> Figure:
    from survey.links.coverage import coverage_of
    from survey.output.pictures import coverage_picture, field_m

    work = partial(coverage_of, scene, ends, area_m=field_m(scene), height_m=height_m, points=points)
    with options.progress("points") as told:
        return coverage_picture(work(progress=told), show=show)


def _of_network(network: Network, kind: str, inverter: str | None) -> Figure:
    """The map, the routes, or the link of an inverter to its gateway: of the weakest where none is named."""
    from survey.output import pictures

    if kind == "map":
        return pictures.site_map(network.scene, network)
    if kind == "network":
        from survey.network.weak_points import weak_points

        return pictures.network_picture(weak_points(network))
    links, gateway_of = network.links, network.gateway_of
    if not len(links.inverters):
        raise SurveyError(f"{network.scene.plan.file}: has no inverter to draw a link of")
    own_db = links.margin_db[range(len(gateway_of)), gateway_of]
    i = int(own_db.argmin()) if inverter is None else links.inverters.names.index(inverter)
    return (pictures.profile_picture if kind == "profile" else pictures.budget_picture)(links, i, int(gateway_of[i]))
