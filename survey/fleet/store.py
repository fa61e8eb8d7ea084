"""Results as JSON lines: kept as they come in a file beside, and written whole at the end."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from survey.base.errors import OutputError, one_line
from survey.fleet.site import Assessment

HEAD = '{"survey_rounds": 1}'
"""The first line of the file: what it is, and the version of its form."""


def read_results(path: Path) -> dict[str, Assessment]:
    """Return earlier results by the name of their site: of the whole file, then of a run that was cut off.

    Lines that are not whole, or of another form, count as none.

    Raises
    ------
    OutputError
        Where there is a file of that name that this program has not written.
    """
    found: dict[str, Assessment] = {}
    for file in (path, _part_of(path)):
        try:
            lines = file.read_text(encoding="utf-8", errors="replace").split("\n")
        except FileNotFoundError:
            continue
        except OSError as error:
            raise OutputError(one_line(f"{file}: cannot be read: {error.strerror}")) from None
        if any(lines) and lines[0] != HEAD:
            raise OutputError(one_line(f"{file}: is no file of results; name another one with --results"))
        for line in lines[1:]:
            with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError):
                one = Assessment.from_dict(json.loads(line))
                found[one.site.name] = one
    return found


class Keeper:
    """Keeps each result as it comes; a run that is cut off loses none that it kept.

    Used as a context; `write_whole` at the end puts one file in the place of the earlier one.
    """

    def __init__(self, path: Path) -> None:
        self._path, self._part = path, _part_of(path)
        try:
            is_new = not self._part.exists() or not self._part.stat().st_size
            self._file = self._part.open("ab")
            if is_new:
                self._put(HEAD)
            else:
                self._file.write(b"\n")  # ends a line that was cut off
        except OSError as error:
            raise OutputError(one_line(f"{self._part}: cannot be written: {error.strerror}")) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()

    def keep(self, one: Assessment) -> None:
        """Add a result to the file beside."""
        self._put(line_of(one))

    def write_whole(self, results: Iterable[Assessment]) -> None:
        """Write all results in one file, in their order, and remove the file beside.

        Raises
        ------
        OutputError
            Where that fails; the earlier file is then unchanged, and the file beside has all results.
        """
        beside = self._path.with_name(f".{self._path.name}.{os.getpid()}.part")
        try:
            with beside.open("wb") as file:
                file.write(f"{HEAD}\n".encode())
                file.writelines(f"{line_of(one)}\n".encode() for one in results)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self._path)
            self._part.unlink(missing_ok=True)
        except OSError as error:
            raise OutputError(one_line(f"{self._path}: cannot be written: {error.strerror}")) from None
        finally:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)

    def _put(self, line: str) -> None:
        try:
            self._file.write(f"{line}\n".encode())
            self._file.flush()
        except OSError as error:
            raise OutputError(one_line(f"{self._part}: cannot be written: {error.strerror}")) from None


def line_of(one: Assessment) -> str:
    """Return a result as one line of JSON."""
    return json.dumps(one.to_dict(), allow_nan=False)  # in ASCII: names of files may hold what is no letter


def _part_of(path: Path) -> Path:
    return path.with_name(f"{path.name}.part")
