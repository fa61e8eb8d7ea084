"""The options for what a log does not say by itself."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])
COLUMNS = ("time", "date", "inverter", "serial", "gateway", "heard", "level_dbm", "power_w", "branch")
"""What a column of a log may hold: docs/dropouts.md."""


def log_options(command: F) -> F:
    """Add --dates and --column, handed to the command as ``log_style``: keywords of the library."""

    @click.option(
        "--dates",
        type=click.Choice(["day-first", "month-first"]),
        help="Order of day and month in the dates of the log, if no date shows it.",
    )
    @click.option(
        "--column",
        "columns",
        multiple=True,
        metavar="HOLDS=NAME",
        callback=_pairs,
        help='Name a column of the log by what it holds, such as heard=State or time="Zeit"; may be repeated.',
    )
    @wraps(command)
    def wrapper(*args: Any, dates: str | None, columns: dict[str, str], **kwargs: Any) -> Any:  # noqa: ANN401
        if (dates or columns) and kwargs["log_file"] is None:
            raise click.UsageError("--dates and --column are only for --log")
        return command(*args, log_style={"dates": dates, "columns": columns}, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with two options more


def _pairs(_context: click.Context, _parameter: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    found = {}
    for value in values:
        holds, equals, name = value.partition("=")
        if not equals or holds not in COLUMNS or not name:
            raise click.BadParameter(f'"{value}": write HOLDS=NAME, where HOLDS is one of {", ".join(COLUMNS)}')
        found[holds] = name
    return found
