"""Arguments, options, progress and output that several commands share."""

from __future__ import annotations

import errno
import io
import math
import os
import re
import shutil
import stat
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar

import click

from survey.base.errors import OutputError, one_line
from survey.base.limits import DRAWS, MOST_DRAWS, MOST_GATEWAYS, MOST_RELAYS, TIME_LIMIT_S

if TYPE_CHECKING:  # numpy comes with it
    from survey.inputs.plan import Plan

F = TypeVar("F", bound=Callable[..., Any])

QUIET_S = 1.0
"""No progress bar before a command has taken this long. [s]"""
BEAT_S = 0.25
"""How often a bar is shown anew: often enough to look alive. A choice. [s]"""
MINUTE_S = 60.0
"""Seconds of a minute."""
PAGES_MARK = '<meta name="generator" content="survey rounds">'
"""How the first page of a folder of pages says that a command has written it, and may write it again."""
READ = "survey.read"
"""Key in the context of a command for the files that a plan has named."""
STANDARD_OUTPUT = "-"
"""As the name of a file: standard output."""
PLAN_LINE = re.compile(rb"^\s*plan_version\s*=", re.MULTILINE)
"""How a file is known for a plan: the key that every plan has."""
PLAN_HEAD = 65_536
"""That key is looked for in so much of a file: plans begin with it. A judgement. [byte]"""
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
                text = json.dumps(record, ensure_ascii=False, allow_nan=False)
            else:
                text = as_rows() if self.as_csv and as_rows is not None else as_text()
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
        file = None if out is None or str(out) == STANDARD_OUTPUT else out
        if file is not None:
            check_writable(file, inputs=inputs)
            ending = check_ending(file, endings=endings)
            as_json, as_csv = _form_of(ending, as_json=as_json, as_csv=as_csv)
        elif sys.stdout is None:
            raise OutputError("standard output is closed; name a file with --out")
        output = Output(as_json=as_json, as_csv=as_csv, file=file, inputs=inputs)
        return command(*args, output=output, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with options more


def _form_of(ending: str, *, as_json: bool, as_csv: bool) -> tuple[bool, bool]:
    """Return whether a file is JSON or CSV, by the options and by the ending of its name."""
    if (as_csv and ending == ".json") or (as_json and ending == ".csv"):
        form = "--csv" if as_csv else "--json"
        raise click.UsageError(f"{form} and a file name that ends in {ending} exclude each other")
    return as_json or ending == ".json", as_csv or ending == ".csv"


def json_csv_and_folder(command: F) -> F:
    """Add --csv, --json and --out, which also takes a folder: handed over as ``output`` and ``folder``."""
    endings = (".txt", ".json", ".csv")

    @click.option("--csv", "as_csv", is_flag=True, help="Print rows for a spreadsheet instead of a table.")
    @click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of a table.")
    @click.option(
        "--out",
        type=click.Path(path_type=Path),
        metavar="FOLDER",
        help=f"Write a page for each site and one that links to them; or a file ({listed_endings(endings)}).",
    )
    @wraps(command)
    def wrapper(*args: Any, as_json: bool, as_csv: bool, out: Path | None, **kwargs: Any) -> Any:  # noqa: ANN401
        if as_csv and as_json:
            raise click.UsageError("--csv and --json exclude each other")
        inputs = tuple(value for value in kwargs.values() if isinstance(value, Path))
        file = out if out is not None and out.suffix.casefold() in endings else None
        folder = out if file is None and out is not None and str(out) != STANDARD_OUTPUT else None
        if file is not None:
            check_writable(file, inputs=inputs)
            as_json, as_csv = _form_of(file.suffix.casefold(), as_json=as_json, as_csv=as_csv)
        if folder is not None:
            check_folder(folder)
        output = Output(as_json=as_json, as_csv=as_csv, file=file, inputs=inputs)
        return command(*args, output=output, folder=folder, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with three options more


def check_folder(folder: Path) -> None:
    """Refuse a folder of pages that would take the place of anything else.

    Raises
    ------
    OutputError
        Before anything is calculated.
    """
    try:
        if not folder.exists():
            if not folder.parent.is_dir():
                raise OutputError(one_line(f"{folder}: the folder {folder.parent} does not exist"))
        elif not folder.is_dir():
            raise OutputError(one_line(f"{folder}: is a file; name a folder for the pages"))
        elif any(folder.iterdir()):
            index = folder / "index.html"
            if not index.is_file() or PAGES_MARK not in index.read_text(encoding="utf-8", errors="replace"):
                raise OutputError(one_line(f"{folder}: has other files in it; name a new folder for the pages"))
    except OSError as error:
        raise OutputError(one_line(f"{folder}: cannot be written: {error.strerror}")) from None


def write_folder(folder: Path, pages: Iterable[tuple[str, str]]) -> None:
    """Write a folder of pages, by their names in it, completely or not at all; an earlier one of pages is replaced.

    Raises
    ------
    OutputError
        If that fails; an existing folder is then unchanged.
    """
    check_folder(folder)
    target = folder.resolve()
    beside, before = (target.with_name(f".{target.name}.{os.getpid()}.{what}") for what in ("part", "old"))
    try:
        for name, text in pages:
            file = beside / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8", errors="replace")
        if target.exists():
            target.rename(before)
        try:
            beside.rename(target)
        except OSError:
            if before.exists():
                before.rename(target)
            raise
    except OSError as error:
        raise OutputError(one_line(f"{folder}: cannot be written: {error.strerror or error}")) from None
    finally:
        for one in (beside, before):
            shutil.rmtree(one, ignore_errors=True)


def check_ending(path: Path, *, endings: tuple[str, ...]) -> str:
    """Return the ending of a file's name, in small letters; nothing where it has none.

    Raises
    ------
    OutputError
        If the command does not write such a file.
    """
    ending = path.suffix.casefold()
    if ending and ending not in endings:
        allowed = listed_endings(endings)
        raise OutputError(one_line(f"{path}: this command does not write {ending}; end it in {allowed}"))
    return ending


def listed_endings(endings: tuple[str, ...]) -> str:
    """Return some endings in words.

    Examples
    --------
    >>> listed_endings((".txt", ".json", ".csv"))
    '.txt, .json or .csv'
    """
    return " or ".join([", ".join(endings[:-1]), endings[-1]]) if len(endings) > 1 else endings[0]


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


def check_writable(path: Path, *, inputs: tuple[Path, ...] = (), over_plan: bool = False) -> None:
    """Refuse an output that would overwrite an input or a plan, or that cannot be written.

    Parameters
    ----------
    path : Path
        The output.
    inputs : tuple of Path
        What the command reads.
    over_plan : bool
        Allow it to overwrite a plan, as ``survey start --force`` does.

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
    if not over_plan and _is_plan(path):
        raise OutputError(one_line(f"{path}: is a plan; name another file"))


def _is_plan(path: Path) -> bool:
    """Whether an existing file is a plan: by the ending of its name, or by a plan's first key."""
    if path.suffix.casefold() == ".toml":
        return True
    with suppress(OSError), path.open("rb") as file:
        return PLAN_LINE.search(file.read(PLAN_HEAD)) is not None
    return False


def write_whole(path: Path, content: str | bytes, *, inputs: tuple[Path, ...] = (), over_plan: bool = False) -> None:
    """Write a file, text or a picture, completely or not at all; `inputs` and `over_plan` as in `check_writable`.

    Raises
    ------
    OutputError
        If that fails; an existing file is then unchanged.
    """
    check_writable(path, inputs=inputs, over_plan=over_plan)
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


def time_words(done: int, total: int, *, spent_s: float) -> str:
    """Return how much is done and the time left, at the pace so far.

    Examples
    --------
    >>> time_words(30, 90, spent_s=10.0), time_words(0, 90, spent_s=3.0)
    ('30 of 90, 10 s, about 20 s left', '0 of 90, 3 s')
    """
    left_s = spent_s * (total - done) / done if done else 0.0
    left = f"{left_s:.0f} s" if left_s < 2 * MINUTE_S else f"{left_s / MINUTE_S:.0f} min"
    return f"{done} of {total}, {spent_s:.0f} s" + (f", about {left} left" if 0 < done < total else "")


@contextmanager
def progress(label: str, *, is_timed: bool = False) -> Iterator[Callable[[int, int], None] | None]:
    """Show a bar on standard error, only on a terminal and only after one second.

    Until the work says how much of it is done, the label and the time stand there alone. A timed bar also shows how
    much is done, and the time left.
    """
    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    bar = _Bar(label, is_timed=is_timed)
    try:
        yield bar.move
    finally:
        bar.close()


class _Bar:
    """A bar that a thread shows and keeps moving, whatever the work does."""

    def __init__(self, label: str, *, is_timed: bool) -> None:
        self._started_s, self._is_timed = time.monotonic(), is_timed
        self._done, self._total = 0, 0
        self._lock, self._ended = Lock(), Event()
        self._shown: Any = click.progressbar(
            length=1, label=label, file=sys.stderr, show_eta=False, item_show_func=lambda _: self._time()
        )
        self._is_shown = False
        self._thread = Thread(target=self._beat, daemon=True)
        self._thread.start()

    def move(self, done: int, total: int) -> None:
        """Take what is done, and how much there is."""
        with self._lock:
            self._done, self._total = done, total

    def close(self) -> None:
        """Show how far the work came, and end the line."""
        self._ended.set()
        self._thread.join()
        if self._is_shown:
            self._show()
            self._shown.render_finish()

    def _time(self) -> str:
        spent_s = time.monotonic() - self._started_s
        if not self._is_timed or not self._total:
            return f"{spent_s:.0f} s"
        return time_words(self._done, self._total, spent_s=spent_s)

    def _beat(self) -> None:
        wait_s = QUIET_S
        while not self._ended.wait(wait_s):
            self._show()
            wait_s = BEAT_S

    def _show(self) -> None:
        with self._lock, suppress(OSError, ValueError):  # a terminal that is gone stops no work
            bar, self._is_shown = self._shown, True
            bar.length, bar.pos = max(self._total, 1), self._done
            bar.bar_template = "%(label)s  [%(bar)s]  %(info)s" if self._total else "%(label)s  %(info)s"
            bar.show_percent = bool(self._total)
            bar.render_progress()
