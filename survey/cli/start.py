"""The command that writes a starter plan."""

from __future__ import annotations

from pathlib import Path

import click

from survey.base.errors import OutputError, one_line
from survey.cli.options import check_writable, write_whole

SITES = ("house", "workshop", "warehouse", "flats", "ground")
"""The kinds of site of which there is a plan to start from, the default first: each a file of templates/start/."""


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--like", "site", type=click.Choice(SITES), default=SITES[0], show_default=True, help="Kind of site.")
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def start(file: Path, site: str, force: bool) -> None:  # noqa: FBT001  as click hands it over
    """Write a starter plan to fill in.

    FILE becomes a short plan with explanations, to fill in with a tape measure: a building, an array on its roof and
    spots for the gateway.
    """
    from importlib.resources import files

    check_writable(file, over_plan=True)
    if file.exists() and not force:
        raise OutputError(one_line(f"{file}: exists already; use --force to overwrite it"))
    template = files("survey.output").joinpath(f"templates/start/{site}.toml")
    write_whole(file, template.read_text(encoding="utf-8"), over_plan=force)
    name = one_line(str(file))
    click.echo(f"written: {name}\nFill it in, then: survey check {name}")
