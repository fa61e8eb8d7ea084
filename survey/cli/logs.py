"""How a command takes a log: the options for what it cannot tell by itself, and reading it for a site."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from survey.cli import options

if TYPE_CHECKING:  # numpy comes with it
    from survey.inputs.logs import Log
    from survey.scene import Scene

F = TypeVar("F", bound=Callable[..., Any])
HOLDS = ("time", "date", "inverter", "serial", "gateway", "heard", "level_dbm", "power_w", "branch")


def log_options(command: F) -> F:
    """Add --dates and --column, handed to the command as ``log_style``, keywords for `read_log`."""

    @click.option(
        "--dates",
        type=click.Choice(["day-first", "month-first"]),
        help="How local dates of the log are written, where the column itself does not tell.",
    )
    @click.option(
        "--column",
        "columns",
        multiple=True,
        metavar="HOLDS=NAME",
        callback=_pairs,
        help='Name of a column of the log by what it holds, such as heard=State or time="Zeit"; may be repeated.',
    )
    @wraps(command)
    def wrapper(*args: Any, dates: str | None, columns: dict[str, str], **kwargs: Any) -> Any:  # noqa: ANN401
        return command(*args, log_style={"dates": dates, "columns": columns}, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with two options more


def _pairs(_context: click.Context, _parameter: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    found = {}
    for value in values:
        holds, equals, name = value.partition("=")
        if not equals or holds not in HOLDS or not name:
            raise click.BadParameter(f'"{value}": write HOLDS=NAME, where HOLDS is one of {", ".join(HOLDS)}')
        found[holds] = name
    return found


def read_site_log(scene: Scene, log_file: Path, log_style: dict[str, Any]) -> Log:
    """Read a log of a site, and warn of what was assumed."""
    from survey.inputs.logs import read_log

    names = scene.gateways_and_spots.names
    existing = scene.gateways.names
    only = existing[0] if len(existing) == 1 else names[0] if not existing and len(names) == 1 else None
    with options.progress("reading the log") as told:
        log = read_log(
            log_file,
            inverters=scene.inverters.names,
            serials=scene.inverters.serials,
            gateways=names,
            gateway=only,
            progress=told,
            **log_style,
        )
    for note in log.notes:
        options.warn(f"{log_file}: {note}")
    return log
