"""The command that draws."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from survey.base.errors import OutputError, did_you_mean, one_line
from survey.base.limits import MAX_HEIGHT_M, MAX_POINTS, MIN_HEIGHT_M, MIN_POINTS
from survey.cli import options

KINDS = ("map", "sides", "coverage", "profile", "network", "budget")
ENDINGS = ("png", "svg", "pdf")


@click.command()
@options.plan_argument
@click.option("--out", type=click.Path(path_type=Path), required=True, help="The picture: .png, .svg or .pdf.")
@click.option("--kind", type=click.Choice(KINDS), default="map", help="What to draw; the map by default.")
@click.option("--gateway", "gateways", multiple=True, metavar="NAME", help="For this gateway or spot; may be repeated.")
@click.option("--placed", is_flag=True, help="For the spots that `survey place` recommends.")
@click.option("--inverter", metavar="NAME", help="profile, budget: the link of this inverter; else the weakest.")
@click.option(
    "--height-m",
    type=click.FloatRange(MIN_HEIGHT_M, MAX_HEIGHT_M),
    callback=options.finite,
    metavar="M",
    help="coverage: height of the points.",
)
@click.option("--show", type=click.Choice(["margin", "chance"]), help="coverage: what to show; margin by default.")
@click.option(
    "--gateway-places", is_flag=True, help="coverage: every point stands for a gateway; shows its weakest link."
)
@click.option(
    "--points", type=click.IntRange(MIN_POINTS, MAX_POINTS), metavar="N", help="coverage: about so many points."
)
@options.placing_options
@options.relays_option
@options.fit_option
def draw(
    plan_file: Path,
    out: Path,
    *,
    kind: Literal["map", "sides", "coverage", "profile", "network", "budget"],
    gateways: tuple[str, ...],
    inverter: str | None,
    height_m: float | None,
    show: Literal["margin", "chance"] | None,
    points: int | None,
    max_relays: int | None,
    fit_file: Path | None,
    placed: bool,
    placing: options.Placing,
    gateway_places: bool,
) -> None:
    """Draw a picture of PLAN.

    For the gateways that stand there today, for the gateways or spots named, or for those that `survey place`
    recommends with the same options.
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
    }
    if name := out_of_place(kind, given):
        raise click.UsageError(f"--{name.replace('_', '-')} belongs to --kind {' or '.join(KINDS_OF[name])}")
    if gateways and placed:
        raise click.UsageError("--gateway and --placed exclude each other")
    if gateway_places and (gateways or placed):
        raise click.UsageError("with --gateway-places every point is a gateway; leave --gateway and --placed away")
    if kind == "sides" and (gateways or placed or fit_file is not None):
        raise click.UsageError("--kind sides shows the site alone; leave --gateway, --placed and --fit away")
    if not placed and (option := _of_placing(placing)):
        raise click.UsageError(f"{option} belongs to --placed")
    ending = _ending(out)
    inputs = (plan_file,) if fit_file is None else (plan_file, fit_file)
    options.check_writable(out, inputs=inputs)
    plan = options.read_plan(plan_file)
    label = "trying spots" if placed else "points" if kind == "coverage" else "links between inverters"
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
            **placing,
            relays=max_relays,
            fit=fit_file,
            progress=told,
        )
    from survey.output.pictures import as_bytes, missing_letters

    options.write_whole(out, as_bytes(figure, ending), inputs=inputs)
    missing = 0 if ending == "svg" else missing_letters(figure)  # whoever shows an SVG has fonts of their own
    if missing:
        many = missing > 1
        of_names, boxes = (f"{missing} letters of names are", "boxes") if many else ("a letter of a name is", "a box")
        kept = f"a picture that ends in .svg keeps {'them' if many else 'it'}"
        options.warn(f"{of_names} not in the picture's font and drawn as {boxes}; {kept}")
    click.echo(f"written: {one_line(str(out))}", err=True)


def _of_placing(placing: options.Placing) -> str:
    """The first option that only a recommendation takes; empty where none is given."""
    given = {"gateways": placing["gateways"] is not None, "fewest": placing["fewest"], "spare": placing["spare"]}
    return next((f"--{name}" for name, is_given in given.items() if is_given), "")


def _ending(out: Path) -> str:
    """The kind of file, by its name's ending."""
    ending = out.suffix.removeprefix(".").lower()
    if ending not in ENDINGS:
        near = did_you_mean(ending, ENDINGS) if ending else ""
        raise OutputError(one_line(f"{out}: is no picture by its name; end it in .png, .svg or .pdf{near}"))
    return ending
