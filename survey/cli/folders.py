"""Folders of pages that a command writes: whole or not at all, and never over anything else."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable
from functools import wraps
from pathlib import Path
from typing import Any, TypeVar

import click

from survey.base.errors import OutputError, one_line
from survey.cli.files import check_writable, is_stdout, listed_endings
from survey.cli.options import Output, form_of

F = TypeVar("F", bound=Callable[..., Any])

PAGES_MARK = '<meta name="generator" content="survey rounds">'
"""How the first page of a folder of pages says that a command has written it, and may write it again."""


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
        folder = out if file is None and out is not None and not is_stdout(out) else None
        if file is not None:
            check_writable(file, inputs=inputs)
            as_json, as_csv = form_of(file.suffix.casefold(), as_json=as_json, as_csv=as_csv)
        if folder is not None:
            check_pages(folder)
        output = Output(as_json=as_json, as_csv=as_csv, file=file, inputs=inputs)
        return command(*args, output=output, folder=folder, **kwargs)

    return wrapper  # type: ignore[return-value]  # the same command, with three options more


def check_pages(folder: Path) -> None:
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
    check_pages(folder)
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
