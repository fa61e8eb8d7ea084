"""The command that draws."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import click

from survey.base.limits import (
    DPI,
    MAX_DPI,
    MAX_HEIGHT_M,
    MAX_POINTS,
    MAX_WIDTH_CM,
    MIN_DPI,
    MIN_HEIGHT_M,
    MIN_POINTS,
    MIN_WIDTH_CM,
)
from survey.cli import options
from survey.cli.logs import log_options

KINDS = ("map", "sides", "coverage", "profile", "network", "budget", "days")
ENDINGS = ("png", "svg", "pdf")


@click.command()
@options.plan_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="File for the picture: .png, .svg or .pdf; - for standard output.",
)
@click.option("--format", "chosen", type=click.Choice(ENDINGS), help="Format on standard output; png by default.")
@click.option(
    "--dpi",
    type=click.IntRange(MIN_DPI, MAX_DPI),
    default=DPI,
    show_default=True,
    metavar="N",
    help="Dots per inch of a .png.",
)
@click.option(
    "--width",
    "width_cm",
    type=click.FloatRange(MIN_WIDTH_CM, MAX_WIDTH_CM),
    callback=options.finite,
    metavar="CM",
    help="Width of the picture in centimetres; 21.6 by default.",
)
@click.option("--kind", type=click.Choice(KINDS), default="map", help="Kind of picture; map by default.")
@click.option("--gateway", "gateways", multiple=True, metavar="NAME", help="Use this gateway or spot; may be repeated.")
@click.option("--placed", is_flag=True, help="Use the spots that `survey place` recommends.")
@click.option(
    "--beside", multiple=True, metavar="NAME", help="map: a second map beside it, for this gateway or spot; repeatable."
)
@click.option("--inverter", metavar="NAME", help="profile, budget: inverter of the link; the weakest link by default.")
@click.option(
    "--height-m",
    type=click.FloatRange(MIN_HEIGHT_M, MAX_HEIGHT_M),
    callback=options.finite,
    metavar="M",
    help="coverage: height of the points.",
)
@click.option("--show", type=click.Choice(["margin", "chance"]), help="coverage: figure to show; margin by default.")
@click.option(
    "--gateway-places", is_flag=True, help="coverage: each point is a gateway position; shows its weakest link."
)
@click.option(
    "--points", type=click.IntRange(MIN_POINTS, MAX_POINTS), metavar="N", help="coverage: approximate number of points."
)
@click.option(
    "--log",
    "log_file",
    type=click.Path(path_type=Path),
    metavar="LOG",
    help="days: show the missed polls of this log.",
)
@log_options
@options.placing_options
@options.relays_option
@options.fit_option
def draw(
    plan_file: Path,
    out: Path,
    *,
    chosen: str | None,
    dpi: int,
    width_cm: float | None,
    kind: Literal["map", "sides", "coverage", "profile", "network", "budget", "days"],
    gateways: tuple[str, ...],
    beside: tuple[str, ...],
    inverter: str | None,
    height_m: float | None,
    show: Literal["margin", "chance"] | None,
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

    The picture shows the existing gateways, the gateways or spots named with --gateway, or, with --placed, the spots
    that `survey place` recommends with the same options.
    """
    from survey.library.draw import KINDS_OF, out_of_place
    from survey.library.draw import draw as picture_of

    given = {
        "inverter": inverter,
        "height_m": height_m,
        "show": show,
        "gateway_places": gateway_places or None,
        "points": points,
        "relays": max_relays,
        "beside": beside or None,
        "log": log_file,
    }
    if name := out_of_place(kind, given):
        raise click.UsageError(f"--{name.replace('_', '-')} is only for --kind {' or '.join(KINDS_OF[name])}")
    if gateways and placed:
        raise click.UsageError("--gateway and --placed exclude each other")
    if gateway_places and (gateways or placed):
        raise click.UsageError("with --gateway-places each point is a gateway position; omit --gateway and --placed")
    if kind == "sides" and (gateways or placed or fit_file is not None):
        raise click.UsageError("--kind sides shows the site alone; omit --gateway, --placed and --fit")
    if kind == "days" and log_file is None:
        raise click.UsageError("--kind days needs --log LOG")
    if kind == "days" and (gateways or placed):
        raise click.UsageError("--kind days shows the gateways of the log; omit --gateway and --placed")
    if not placed and (option := _of_placing(placing)):
        raise click.UsageError(f"{option} is only for --placed")
    ending = options.ending_of(out, chosen, endings=ENDINGS, usual="png", what="is not a picture file name")
    inputs = tuple(one for one in (plan_file, fit_file, log_file) if one is not None)
    options.check_writable(out, inputs=inputs)
    plan = options.read_plan(plan_file)
    options.check_writable(out, inputs=inputs)  # again: now it is known what the plan names
    steps = {"days": "reading the log", "coverage": "points"}
    label = "testing spots" if placed else steps.get(kind, "links between inverters")
    with options.progress(label) as told:
        figure = picture_of(
            plan,
            kind=kind,
            gateway=gateways,
            placed=placed,
            inverter=inverter,
            height_m=height_m,
            show=show,
            gateway_places=gateway_places,
            points=points,
            width_cm=width_cm,
            **placing,
            relays=max_relays,
            beside=beside,
            fit=fit_file,
            log=log_file,
            **log_style,
            progress=told,
        )
    from survey.output.pictures import as_bytes, missing_letters

    picture = as_bytes(figure, ending, dpi=dpi)
    missing = 0 if ending == "svg" else missing_letters(figure)  # whoever shows an SVG has fonts of their own
    if missing:
        many = missing > 1
        count, shown, kept = (f"{missing} letters", "are", "them") if many else ("1 letter", "is", "it")
        options.warn(
            f"{count} of the names {shown} not in the picture's font and {shown} shown as "
            f"{'boxes' if many else 'a box'}; a picture in .svg keeps {kept}"
        )
    options.deliver(out, picture, inputs=inputs)


def _of_placing(placing: options.Placing) -> str:
    """Return the first option given that is only for --placed; empty if none is."""
    given = {"gateways": placing["gateways"] is not None, "fewest": placing["fewest"], "spare": placing["spare"]}
    return next((f"--{name}" for name, is_given in given.items() if is_given), "")
