"""Arguments, options, progress and output that several commands share."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar

import click

from survey.base.characters import harmless, harmless_json
from survey.base.errors import OutputError
from survey.base.layout import WIDTH, terminal_of
from survey.base.limits import DRAWS, MOST_DRAWS, MOST_GATEWAYS, MOST_RELAYS, TIME_LIMIT_S
from survey.cli.files import (
    STANDARD_OUTPUT,
    check_ending,
    check_writable,
    deliver,
    ending_of,
    is_printed_to,
    is_stdout,
    listed_endings,
    remember,
    write_whole,
)
from survey.cli.progress import progress, warn

if TYPE_CHECKING:  # numpy comes with it
    from survey.inputs.plan import Plan

__all__ = [  # what commands take from here, whatever file it stands in
    "Output",
    "Placing",
    "check_ending",
    "check_writable",
    "deliver",
    "draws_options",
    "ending_of",
    "finish",
    "finite",
    "fit_option",
    "is_stdout",
    "json_and_out",
    "json_csv_and_out",
    "placing_options",
    "plan_argument",
    "progress",
    "read_plan",
    "relays_option",
    "remember",
    "require_option",
    "warn",
    "write_whole",
]

F = TypeVar("F", bound=Callable[..., Any])

NOT_HELD = 3
"""Exit status with --require if an inverter is not covered."""

plan_argument = click.argument("plan_file", metavar="PLAN", type=click.Path(path_type=Path))


fit_option = click.option(
    "--fit",
    "fit_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Use the model that `survey fit --out FILE.json` fitted to readings.",
)
"""Adds --fit, handed to the command as ``fit_file``."""


def finite(_context: click.Context, _parameter: click.Parameter, value: float | None) -> float | None:
    """Refuse NaN, which passes every range check."""
    if value is not None and math.isnan(value):
        raise click.BadParameter("nan is not a number to calculate with")
    return value


def read_plan(plan_file: Path) -> Plan:
    """Read a plan, and remember the files that it names, so that no output falls on them."""
    from survey.inputs.plan_file import read_plan as read

    plan = read(plan_file)
    remember(plan, plan_file)
    return plan


@dataclass(frozen=True, kw_only=True, slots=True)
class Output:
    """The destination of a result, and its form: text, JSON or CSV."""

    as_json: bool
    file: Path | None
    inputs: tuple[Path, ...]
    as_csv: bool = False

    def show(
        self,
        as_text: Callable[[], str],
        as_record: Callable[[], dict[str, Any]],
        as_rows: Callable[[], str] | None = None,
    ) -> None:
        """Print a result, or write it to the requested file; `as_rows` is its CSV, where the command has one."""
        with progress("calculating the answer"):  # what a command has not asked for before, such as simulation runs
            if self.as_json:
                import json

                record = as_record()
                text = harmless_json(json.dumps(record, ensure_ascii=False, allow_nan=False))
            elif self.as_csv and as_rows is not None:
                text = as_rows()
            else:
                with self._laid_out():
                    text = harmless(as_text())  # whatever a log or a file name holds
        try:
            self._put(text)
        except UnicodeEncodeError:  # names that the terminal has no letters for; nothing has been written yet
            if self.as_json:
                self._put(json.dumps(record, allow_nan=False))
            else:
                encoding = "utf-8" if self.file is not None else sys.stdout.encoding
                self._put(text.encode(encoding, "replace").decode(encoding))

    def _laid_out(self) -> AbstractContextManager[None]:
        """Tables as wide as the terminal, where the result goes to one."""
        if self.file is not None or sys.stdout is None or not sys.stdout.isatty():
            return nullcontext()
        return terminal_of(get_terminal_size((WIDTH, 24)).columns)

    def _put(self, text: str) -> None:
        deliver(self.file or Path(STANDARD_OUTPUT), text + "\n", inputs=self.inputs)


WRITTEN = {"graphml", "sheets_file"}
"""Arguments that name a file to be written beside the result."""


def json_and_out(command: F) -> F:
    """Add --json and --out, handed to the command as ``output``."""
    return _with_output(command, endings=(".txt", ".json"))


def json_csv_and_out(command: F) -> F:
    """Add --csv, --json and --out, handed to the command as ``output``."""
    csv = click.option("--csv", "as_csv", is_flag=True, help="Print rows for a spreadsheet instead of a table.")
    return csv(_with_output(command, endings=(".txt", ".json", ".csv")))


def _with_output(command: F, *, endings: tuple[str, ...]) -> F:
    """Add --json and --out FILE, whose ending is one of some, and decides the form where no option does."""
    help_text = f"Write the result to this file ({listed_endings(endings)}); - for standard output."

    @click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of a table.")
    @click.option("--out", type=click.Path(path_type=Path), help=help_text)
    @wraps(command)
    def wrapper(*args: Any, as_json: bool, out: Path | None, as_csv: bool = False, **kwargs: Any) -> Any:  # noqa: ANN401  as the command
        if as_csv and as_json:
            raise click.UsageError("--csv and --json exclude each other")
        named = {key: value for key, value in kwargs.items() if isinstance(value, Path) and key not in WRITTEN}
        inputs = tuple(named[key] for key in sorted(named, key=lambda key: key != "plan_file"))
        file = None if out is None or is_stdout(out) or is_printed_to(out, sys.stdout) else out
        if file is not None:
            check_writable(file, inputs=inputs)
            ending = check_ending(file, endings=endings)
            as_json, as_csv = form_of(ending, as_json=as_json, as_csv=as_csv)
        elif sys.stdout is None:
            raise OutputError("standard output is closed; name a file with --out")
        output = Output(as_json=as_json, as_csv=as_csv, file=file, inputs=inputs)
        return command(*args, output=output, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with options more


def form_of(ending: str, *, as_json: bool, as_csv: bool) -> tuple[bool, bool]:
    """Return whether a file is JSON or CSV, by the options and by the ending of its name."""
    if (as_csv and ending == ".json") or (as_json and ending == ".csv"):
        form = "--csv" if as_csv else "--json"
        raise click.UsageError(f"{form} and a file name that ends in {ending} exclude each other")
    return as_json or ending == ".json", as_csv or ending == ".csv"


def require_option(command: F) -> F:
    """Add --require, handed to the command as ``require``."""
    option = click.option("--require", is_flag=True, help=f"Exit with status {NOT_HELD} if an inverter is not covered.")
    return option(command)


def relays_option(command: F) -> F:
    """Add --relays, handed to the command as ``max_relays``."""
    option = click.option(
        "--relays",
        "max_relays",
        type=click.IntRange(0, MOST_RELAYS),
        metavar="N",
        help="Allow routes with up to N relays, in place of max_relays in the plan.",
    )
    return option(command)


class Placing(TypedDict):
    """The number of gateways requested: keywords of `survey.place`."""

    gateways: int | None
    fewest: bool
    spare: bool
    time_limit_s: float


def placing_options(command: F) -> F:
    """Add --gateways, --fewest, --spare and --time-limit, handed to the command together as ``placing``."""

    @click.option(
        "--gateways",
        "most_gateways",
        type=click.IntRange(1, MOST_GATEWAYS),
        metavar="N",
        help="Use up to N gateways, in place of the number in the plan.",
    )
    @click.option("--fewest", is_flag=True, help="Find the fewest gateways that cover every inverter possible.")
    @click.option(
        "--spare", is_flag=True, help="The same, with each inverter covered by two gateways: any one may fail."
    )
    @click.option(
        "--time-limit",
        "time_limit_s",
        type=click.FloatRange(min=0.0),
        callback=finite,
        default=TIME_LIMIT_S,
        metavar="SECONDS",
        help="Longest time to search for a proof that the choice of spots is the best; 60 by default.",
    )
    @wraps(command)
    def wrapper(
        *args: Any,  # noqa: ANN401  as the command
        most_gateways: int | None,
        fewest: bool,
        spare: bool,
        time_limit_s: float,
        **kwargs: Any,  # noqa: ANN401
    ) -> Any:  # noqa: ANN401
        if most_gateways is not None and (fewest or spare):
            raise click.UsageError(
                "--gateways finds the most inverters, --fewest and --spare find the fewest gateways; give one of them"
            )
        placing = Placing(gateways=most_gateways, fewest=fewest, spare=spare, time_limit_s=time_limit_s)
        return command(*args, placing=placing, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with four options more


def draws_options(command: F) -> F:
    """Add --draws and --seed, handed to the command as ``draws`` and ``seed``."""
    draws = click.option(
        "--runs",
        "--draws",
        "draws",
        type=click.IntRange(1, MOST_DRAWS),
        default=DRAWS,
        show_default=True,
        metavar="N",
        help="Number of simulation runs.",
    )
    seed = click.option(
        "--seed",
        type=click.IntRange(min=0),
        default=0,
        show_default=True,
        metavar="N",
        help="Start of the random numbers: the same seed gives the same runs.",
    )
    return draws(seed(command))


def finish(*, require: bool, all_hold: bool) -> None:
    """Exit with status NOT_HELD if that was requested and an inverter is not covered."""
    if require and not all_hold:
        click.get_current_context().exit(NOT_HELD)
