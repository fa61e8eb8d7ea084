"""The command that writes a starter plan."""

from __future__ import annotations

from pathlib import Path

import click

from survey.base.errors import OutputError, one_line
from survey.cli.options import check_writable, write_whole


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def start(file: Path, force: bool) -> None:  # noqa: FBT001  as click hands it over
    """Write a starter plan to fill in.

    FILE becomes a short plan with explanations, to fill in with a tape measure.
    """
    from importlib.resources import files

    check_writable(file)
    if file.exists() and not force:
        raise OutputError(one_line(f"{file}: exists already; use --force to overwrite it"))
    write_whole(file, files("survey.output").joinpath("templates/starter.toml").read_text(encoding="utf-8"))
    click.echo(f"written: {file}\nFill it in, then: survey check {file}")
