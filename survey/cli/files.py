"""Files that commands write: whole or not at all, and never over an input or a plan."""

from __future__ import annotations

import os
import re
import stat
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from survey.base.errors import OutputError, did_you_mean, one_line
from survey.base.files import check_folder, replace_whole

if TYPE_CHECKING:  # numpy comes with it
    from survey.inputs.plan import Plan

READ = "survey.read"
"""Key in the context of a command for the files that a plan has named."""
STANDARD_OUTPUT = "-"
"""As the name of a file: standard output."""
PLAN_LINE = re.compile(rb"^\s*plan_version\s*=", re.MULTILINE)
"""How a file is known for a plan: the key that every plan has."""
PLAN_HEAD = 65_536
"""That key is looked for in so much of a file: plans begin with it. A judgement. [byte]"""


def remember(plan: Plan, plan_file: Path) -> None:
    """Keep in mind the files that a plan names, antennas and drawings: no output may fall on them."""
    from survey.inputs.antennas import KINDS

    named = [*(name for name in plan.patterns if name not in KINDS), *plan.drawn_from]
    click.get_current_context().meta.setdefault(READ, []).extend(plan_file.parent / name for name in named)


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


def check_writable(path: Path, *, inputs: tuple[Path, ...] = (), over_plan: bool = False) -> None:
    """Refuse an output that would overwrite an input or a plan, or that cannot be written.

    Parameters
    ----------
    path : Path
        The output; standard output is never refused.
    inputs : tuple of Path
        What the command reads.
    over_plan : bool
        Allow it to overwrite a plan, as ``survey start --force`` does.

    Raises
    ------
    OutputError
        Before anything is calculated.
    """
    if is_stdout(path):
        return
    try:
        there = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        if not path.parent.is_dir():
            raise OutputError(one_line(f"{path}: the folder {path.parent} does not exist")) from None
        _try_folder(path)
        return
    except OSError as error:
        raise OutputError(one_line(f"{path}: cannot be written: {error.strerror}")) from None
    if stat.S_ISDIR(there.st_mode):
        raise OutputError(one_line(f"{path}: is a folder; name a file in it"))
    _refuse_inputs(path, there, inputs)
    if is_printed_to(path, sys.stdout) or is_printed_to(path, sys.stderr):  # what was printed before would be lost
        raise OutputError(one_line(f"{path}: is where the program prints; give another name, or omit --out to print"))
    if not stat.S_ISREG(there.st_mode):  # a device would be lost, and a pipe cannot take a file whole or not at all
        raise OutputError(one_line(f"{path}: is not a regular file; give another name, or omit --out to print"))
    if not over_plan and _is_plan(path):
        raise OutputError(one_line(f"{path}: is a plan; name another file"))
    _try_folder(path)


def _refuse_inputs(path: Path, there: os.stat_result, inputs: tuple[Path, ...]) -> None:
    """Refuse an output that is, by whatever name, a file that the command reads."""
    context = click.get_current_context(silent=True)
    of_the_plan = [] if context is None else context.meta.get(READ, [])
    for position, one in enumerate([*inputs, *of_the_plan]):
        with suppress(OSError):
            if os.path.samestat(there, one.stat()):
                what = "an input file" if position else "the plan itself"
                raise OutputError(one_line(f"{path}: is {what}; name another file"))


def _try_folder(path: Path) -> None:
    """Refuse an output in a folder where no file can be made."""
    try:
        check_folder(path.resolve().parent)
    except OSError as error:
        raise OutputError(one_line(f"{path}: cannot be written: {error.strerror or error}")) from None


def is_printed_to(path: Path, stream: TextIO | None) -> bool:
    """Whether a name leads to what standard output or standard error is written to, as /dev/stdout does."""
    with suppress(OSError, ValueError):  # closed, or no file at all
        return stream is not None and os.path.samestat(path.stat(), os.fstat(stream.fileno()))
    return False


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
    try:
        replace_whole(path.resolve(), content.encode("utf-8") if isinstance(content, str) else content)
    except OSError as error:
        raise OutputError(one_line(f"{path}: cannot be written: {error.strerror or error}")) from None


def is_stdout(path: Path) -> bool:
    """Whether the name of an output stands for standard output."""
    return str(path) == STANDARD_OUTPUT


def deliver(path: Path, content: str | bytes, *, inputs: tuple[Path, ...] = ()) -> None:
    """Write a result to a file, and say so on standard error; or to standard output where its name is ``-``.

    Raises
    ------
    OutputError
        If that fails; a picture is not printed on a terminal.
    """
    if not is_stdout(path):
        write_whole(path, content, inputs=inputs)
        click.echo(f"written: {one_line(str(path))}", err=True)
        return
    if sys.stdout is None:
        raise OutputError("standard output is closed; name a file with --out")
    if isinstance(content, bytes) and sys.stdout.isatty():
        raise OutputError("a picture cannot be printed on a terminal; name a file with --out, or pipe it on")
    click.echo(content, nl=False)


def ending_of(path: Path, chosen: str | None, *, endings: tuple[str, ...], usual: str, what: str) -> str:
    """Return the kind of file to write: as chosen with ``--format``, else by the ending of its name.

    Parameters
    ----------
    path : Path
        The output.
    chosen : str or None
        The kind, where the user named it.
    endings : tuple of str
        Kinds that the command writes, without the dot.
    usual : str
        The kind on standard output, where none was chosen.
    what : str
        The problem with another ending, in words.

    Raises
    ------
    OutputError
        If the name has another ending, or none.
    """
    if is_stdout(path):
        return chosen or usual
    ending = path.suffix.removeprefix(".").casefold()
    if ending not in endings:
        near = did_you_mean(ending, endings) if ending else ""
        allowed = listed_endings(tuple(f".{one}" for one in endings))
        raise OutputError(one_line(f"{path}: {what}; end it in {allowed}{near}"))
    if chosen not in (None, ending):
        raise OutputError(one_line(f"{path}: ends in .{ending}, but {chosen} is asked for"))
    return ending
