"""Arguments, options, progress and output that several commands share."""

from __future__ import annotations

import errno
import io
import math
import os
import stat
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar

import click

from survey.base.errors import OutputError, one_line
from survey.base.limits import DRAWS, MOST_DRAWS, MOST_GATEWAYS, MOST_RELAYS, TIME_LIMIT_S

if TYPE_CHECKING:  # numpy comes with it
    from survey.inputs.plan import Plan

F = TypeVar("F", bound=Callable[..., Any])

QUIET_S = 1.0
"""No progress bar before a command has taken this long. [s]"""
READ = "survey.read"
"""Key in the context of a command for the files that a plan has named."""
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


def remember(plan: Plan, plan_file: Path) -> None:
    """Keep in mind the files that a plan names, antennas and drawings: no output may fall on them."""
    from survey.inputs.antennas import KINDS

    named = [*(name for name in plan.patterns if name not in KINDS), *plan.drawn_from]
    click.get_current_context().meta.setdefault(READ, []).extend(plan_file.parent / name for name in named)


@dataclass(frozen=True, kw_only=True, slots=True)
class Output:
    """The destination of a result, and its form: text or JSON."""

    as_json: bool
    file: Path | None
    inputs: tuple[Path, ...]

    def show(self, as_text: Callable[[], str], as_record: Callable[[], dict[str, Any]]) -> None:
        """Print a result, or write it to the requested file."""
        if self.as_json:
            import json

            record = as_record()
            text = json.dumps(record, ensure_ascii=False, allow_nan=False)
        else:
            text = as_text()
        try:
            self._put(text)
        except UnicodeEncodeError:  # names that the terminal has no letters for; nothing has been written yet
            if self.as_json:
                self._put(json.dumps(record, allow_nan=False))
            else:
                encoding = "utf-8" if self.file is not None else sys.stdout.encoding
                self._put(text.encode(encoding, "replace").decode(encoding))

    def _put(self, text: str) -> None:
        if self.file is not None:
            write_whole(self.file, text + "\n", inputs=self.inputs)
            click.echo(f"written: {one_line(str(self.file))}", err=True)
            return
        try:
            click.echo(text)
        except OSError as error:
            if error.errno == errno.EPIPE:  # the reader has seen enough: click ends the program quietly
                raise
            sys.stdout = io.StringIO()  # what is left in it cannot be written at the end either
            raise OutputError(f"standard output cannot be written: {error.strerror}") from None


WRITTEN = {"graphml", "sheets_file"}
"""Arguments that name a file to be written beside the result."""


def json_and_out(command: F) -> F:
    """Add --json and --out, handed to the command as ``output``."""

    @click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of a table.")
    @click.option("--out", type=click.Path(path_type=Path), help="Write the result to this file.")
    @wraps(command)
    def wrapper(*args: Any, as_json: bool, out: Path | None, **kwargs: Any) -> Any:  # noqa: ANN401  as the command
        named = {key: value for key, value in kwargs.items() if isinstance(value, Path) and key not in WRITTEN}
        inputs = tuple(named[key] for key in sorted(named, key=lambda key: key != "plan_file"))
        if out is not None:
            check_writable(out, inputs=inputs)
        elif sys.stdout is None:
            raise OutputError("standard output is closed; name a file with --out")
        return command(*args, output=Output(as_json=as_json, file=out, inputs=inputs), **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with two options more


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


def check_writable(path: Path, *, inputs: tuple[Path, ...] = ()) -> None:
    """Refuse an output that would overwrite an input, or that cannot be written.

    Raises
    ------
    OutputError
        Before anything is calculated.
    """
    try:
        there = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        if not path.parent.is_dir():
            raise OutputError(one_line(f"{path}: the folder {path.parent} does not exist")) from None
        return
    except OSError as error:
        raise OutputError(one_line(f"{path}: cannot be written: {error.strerror}")) from None
    if stat.S_ISDIR(there.st_mode):
        raise OutputError(one_line(f"{path}: is a folder; name a file in it"))
    context = click.get_current_context(silent=True)
    of_the_plan = [] if context is None else context.meta.get(READ, [])
    for position, one in enumerate([*inputs, *of_the_plan]):
        with suppress(OSError):
            if os.path.samestat(there, one.stat()):
                what = "an input file" if position else "the plan itself"
                raise OutputError(one_line(f"{path}: is {what}; name another file"))
    if not stat.S_ISREG(there.st_mode):  # a device would be lost, and a pipe cannot take a file whole or not at all
        raise OutputError(one_line(f"{path}: is not a regular file; give another name, or omit --out to print"))


def write_whole(path: Path, content: str | bytes, *, inputs: tuple[Path, ...] = ()) -> None:
    """Write a file, text or a picture, completely or not at all.

    Raises
    ------
    OutputError
        If that fails; an existing file is then unchanged.
    """
    check_writable(path, inputs=inputs)
    target = path.resolve()
    beside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with beside.open("wb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    except OSError as error:
        raise OutputError(one_line(f"{path}: cannot be written: {error.strerror or error}")) from None
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def warn(message: str) -> None:
    """Print a warning on standard error."""
    click.echo(f"warning: {message}", err=True)


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show a bar on standard error, only on a terminal and only after one second."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    started_s = time.monotonic()
    bar: Any = None
    at = 0

    def told(done: int, total: int) -> None:
        nonlocal bar, at
        if bar is None:
            if time.monotonic() - started_s < QUIET_S or done >= total:
                return
            bar = click.progressbar(length=total, label=label, file=sys.stderr)
            bar.__enter__()
        bar.update(done - at)
        at = done

    try:
        yield told
    finally:
        if bar is not None:
            bar.__exit__(None, None, None)
