"""What several commands share: arguments, options, progress, and where results go."""

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
"""Under this the context of a command keeps the files that a plan has named."""
NOT_HELD = 3
"""Exit status with --require where an inverter does not hold."""

plan_argument = click.argument("plan_file", metavar="PLAN", type=click.Path(path_type=Path))


fit_option = click.option(
    "--fit",
    "fit_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Use what `survey fit --out FILE.json` has learnt from readings.",
)
"""Adds --fit, handed to the command as ``fit_file``."""


def finite(_context: click.Context, _parameter: click.Parameter, value: float | None) -> float | None:
    """Refuse what compares as within every range."""
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
    """Where a result goes, and whether as text or as JSON."""

    as_json: bool
    file: Path | None
    inputs: tuple[Path, ...]

    def show(self, as_text: Callable[[], str], as_record: Callable[[], dict[str, Any]]) -> None:
        """Print a result, or write it to the file asked for."""
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


WRITTEN = {"graphml"}
"""Arguments that name a file to be written beside the result."""


def json_and_out(command: F) -> F:
    """Add --json and --out, handed to the command as ``output``."""

    @click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of a table.")
    @click.option("--out", type=click.Path(path_type=Path), help="Write to this file, whole or not at all.")
    @wraps(command)
    def wrapper(*args: Any, as_json: bool, out: Path | None, **kwargs: Any) -> Any:  # noqa: ANN401  as the command
        named = {key: value for key, value in kwargs.items() if isinstance(value, Path) and key not in WRITTEN}
        inputs = tuple(named[key] for key in sorted(named, key=lambda key: key != "plan_file"))
        if out is not None:
            check_writable(out, inputs=inputs)
        elif sys.stdout is None:
            raise OutputError("standard output is closed; open it, or name a file with --out")
        return command(*args, output=Output(as_json=as_json, file=out, inputs=inputs), **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with two options more


def require_option(command: F) -> F:
    """Add --require, handed to the command as ``require``."""
    option = click.option(
        "--require", is_flag=True, help=f"Exit with status {NOT_HELD} where an inverter does not hold."
    )
    return option(command)


def relays_option(command: F) -> F:
    """Add --relays, handed to the command as ``max_relays``."""
    option = click.option(
        "--relays",
        "max_relays",
        type=click.IntRange(0, MOST_RELAYS),
        metavar="N",
        help="Let messages go by way of up to N other inverters, whatever the plan's max_relays says.",
    )
    return option(command)


class Placing(TypedDict):
    """How many gateways a recommendation is asked for: keywords of `survey.place`."""

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
        help="Use up to N gateways, whatever the plan's requirement says.",
    )
    @click.option("--fewest", is_flag=True, help="Find the fewest gateways with which all hold that can hold.")
    @click.option(
        "--spare", is_flag=True, help="The same, with every inverter holding twice: any one gateway may fail."
    )
    @click.option(
        "--time-limit",
        "time_limit_s",
        type=click.FloatRange(min=0.0),
        callback=finite,
        default=TIME_LIMIT_S,
        metavar="SECONDS",
        help="How long to look for a proof that no other choice of gateways is better; 60 by default.",
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
                "--gateways asks for the most inverters, --fewest and --spare for the fewest gateways"
            )
        placing = Placing(gateways=most_gateways, fewest=fewest, spare=spare, time_limit_s=time_limit_s)
        return command(*args, placing=placing, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with four options more


def draws_options(command: F) -> F:
    """Add --draws and --seed, handed to the command as ``draws`` and ``seed``."""
    draws = click.option(
        "--draws",
        type=click.IntRange(1, MOST_DRAWS),
        default=DRAWS,
        show_default=True,
        metavar="N",
        help="Draw what the plan does not know so many times.",
    )
    seed = click.option(
        "--seed",
        type=click.IntRange(min=0),
        default=0,
        show_default=True,
        metavar="N",
        help="Begin the random numbers here: the same seed gives the same draws.",
    )
    return draws(seed(command))


def finish(*, require: bool, all_hold: bool) -> None:
    """Exit with the status that says an inverter does not hold, if that was asked for."""
    if require and not all_hold:
        click.get_current_context().exit(NOT_HELD)


def check_writable(path: Path, *, inputs: tuple[Path, ...] = ()) -> None:
    """Refuse an output that would fall on an input, or that has no place to go.

    Raises
    ------
    OutputError
        Before anything was computed.
    """
    try:
        there = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        if not path.parent.is_dir():
            raise OutputError(one_line(f"{path}: there is no folder {path.parent}")) from None
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
                what = "a file to be read" if position else "the plan itself"
                raise OutputError(one_line(f"{path}: is {what}; name another file"))
    if not stat.S_ISREG(there.st_mode):  # a device would be lost, and a pipe cannot take a file whole or not at all
        raise OutputError(one_line(f"{path}: is no ordinary file; name one, or leave --out away to print"))


def write_whole(path: Path, content: str | bytes, *, inputs: tuple[Path, ...] = ()) -> None:
    """Write a file, text or a picture, so that it is there whole or not at all.

    Raises
    ------
    OutputError
        Where that cannot be done; what was there before is left as it was.
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
    """A warning on standard error."""
    click.echo(f"warning: {message}", err=True)


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None] | None]:
    """A bar on standard error, on a terminal only and not before a second has passed."""
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
