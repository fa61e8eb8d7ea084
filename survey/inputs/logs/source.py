"""A log file as bytes in UTF-8, whatever it is written in: plain text in several codes, a spreadsheet, or Parquet."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import BinaryIO, Protocol

from survey.base.errors import Fault, FileError

BLOCK_BYTES = 8_000_000
"""Read at a time: large for numpy, small for memory; a judgement."""
CHUNK_BYTES = 4_000_000
"""Decoded at a time: large for speed, small for memory; a judgement."""
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
WORKBOOK = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""How spreadsheet files begin: zipped ones, and older ones."""
PARQUET = b"PAR1"
"""How a Parquet file begins, and ends."""
ROWS = 50_000
"""Rows of a Parquet file that are turned into text at a time: large for speed, small for memory; a judgement."""
NO_TEXT = "is not plain text; save it as CSV"
EXTRA = "is a spreadsheet file; install survey[spreadsheets] to read it, or save it as CSV"

EXTRA_PARQUET = "is a Parquet file; install survey[parquet] to read it, or save it as CSV"


class Source(Protocol):
    """What a log is read from."""

    def read(self, size: int, /) -> bytes:
        """Return the next bytes, in UTF-8."""

    def tell(self) -> int:
        """Return how many bytes of the file have been read."""


class _Recoded:
    """A file in another code, read as UTF-8."""

    def __init__(self, file: BinaryIO, code: str) -> None:
        self._file, self._decoder = file, codecs.getincrementaldecoder(code)("replace")

    def read(self, size: int, /) -> bytes:
        data = self._file.read(size)
        return self._decoder.decode(data, final=not data).encode("utf-8")

    def tell(self) -> int:
        return self._file.tell()


class _Parquet:
    """A Parquet file, read as CSV in UTF-8 a block of rows at a time: its flat columns."""

    def __init__(self, path: Path) -> None:
        try:
            import pyarrow as pa  # noqa: PLC0415  an extra
            from pyarrow import csv, parquet  # noqa: PLC0415
        except ImportError:
            raise FileError([Fault(file=str(path), problem=EXTRA_PARQUET)]) from None
        self._csv, self._bytes, self._rows = csv, path.stat().st_size, 0
        self._total = 1
        try:
            file = parquet.ParquetFile(path)
            flat = [one.name for one in file.schema_arrow if not pa.types.is_nested(one.type)]
            self._total = max(1, int(file.metadata.num_rows))
            self._blocks = file.iter_batches(batch_size=ROWS, columns=flat)
        except (pa.ArrowException, OSError) as error:
            raise FileError([Fault(file=str(path), problem=f"is no Parquet file that can be read: {error}")]) from None
        self._left = bytearray((",".join(f'"{name.replace(chr(34), chr(34) * 2)}"' for name in flat) + "\n").encode())

    def read(self, size: int, /) -> bytes:
        while len(self._left) < size:
            block = next(self._blocks, None)
            if block is None:
                break
            text = io.BytesIO()
            self._csv.write_csv(block, text, self._csv.WriteOptions(include_header=False, quoting_style="needed"))
            self._left += text.getvalue()
            self._rows += len(block)
        data = bytes(self._left[:size])
        del self._left[:size]
        return data

    def tell(self) -> int:
        return self._bytes * self._rows // self._total


@contextmanager
def opened(path: Path, notes: list[str]) -> Iterator[Source]:
    """Open a log, and note what code it is taken to be in where that is not UTF-8.

    Raises
    ------
    FileError
        Where it is neither text nor a spreadsheet that can be read.
    """
    with path.open("rb") as file:
        head = file.read(2_000)
        file.seek(0)
        if head.startswith(PARQUET):
            yield _Parquet(path)
        elif head.startswith(WORKBOOK):
            yield io.BytesIO(_workbook(path, notes))
        elif head.startswith(UTF_16) or _is_bare_utf_16(head):
            code = "utf-16" if head.startswith(UTF_16) else "utf-16-le" if head[1:2] == b"\0" else "utf-16-be"
            notes.append("text is in UTF-16")
            yield _Recoded(file, code)
        elif b"\0" in head:
            raise FileError([Fault(file=str(path), problem=NO_TEXT)])
        elif _is_utf_8(file):
            yield file
        else:
            notes.append("text is not in UTF-8; it is read as Windows-1252")
            yield _Recoded(file, "cp1252")


def whole_rows(file: Source, rest: bytes, row: int, shown: str, line_break: bytes) -> Iterator[tuple[bytes, int]]:
    """Yield pieces of the file that end with LF, whatever ended their rows, each with the number of its first row."""
    rest = rest if line_break == b"\n" else rest.replace(line_break, b"\n")
    while piece := file.read(BLOCK_BYTES):
        data = rest + (piece if line_break == b"\n" else piece.replace(line_break, b"\n"))
        cut = data.rfind(b"\n") + 1
        if not cut:
            if len(data) > BLOCK_BYTES:
                raise FileError([Fault(file=shown, problem="has a row without an end; is it a CSV file?")])
            rest = data
            continue
        yield data[:cut], row
        row += data.count(b"\n", 0, cut)
        rest = data[cut:]
    if rest:
        yield rest + b"\n", row


def _is_bare_utf_16(head: bytes) -> bool:
    """Whether every other byte is 0, as in plain letters in UTF-16 without a mark."""
    return len(head) > 8 and (not head[1::2].strip(b"\0") or not head[0::2].strip(b"\0"))  # noqa: PLR2004  some letters


def _is_utf_8(file: BinaryIO) -> bool:
    """Whether the whole file is; it is then at its beginning again."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while data := file.read(CHUNK_BYTES):
            if not data.isascii():
                decoder.decode(data)
    except UnicodeDecodeError:
        return False
    finally:
        file.seek(0)
    return True


def _workbook(path: Path, notes: list[str]) -> bytes:
    """The longest sheet of a spreadsheet file, as text with tabs: others hold titles or sums."""
    try:
        from python_calamine import CalamineError, CalamineWorkbook  # noqa: PLC0415  an extra
    except ImportError:
        raise FileError([Fault(file=str(path), problem=EXTRA)]) from None
    try:
        book = CalamineWorkbook.from_path(path)
        sheets = {name: book.get_sheet_by_name(name).to_python(skip_empty_area=True) for name in book.sheet_names}
    except CalamineError as error:
        raise FileError([Fault(file=str(path), problem=f"is no spreadsheet that can be read: {error}")]) from None
    name = max(sheets, key=lambda one: len(sheets[one]), default="")
    if not name or not sheets[name]:
        raise FileError([Fault(file=str(path), problem="is a spreadsheet file without a filled sheet")])
    if len(sheets) > 1:
        notes.append(f'of {len(sheets)} sheets the longest is read: "{name}"')
    text = io.StringIO()
    writer = csv.writer(text, delimiter="\t", lineterminator="\n")
    writer.writerows([_cell(cell) for cell in row] for row in sheets[name])
    return text.getvalue().encode("utf-8")


def _cell(value: object) -> str:
    """The text of a cell, times as in ISO 8601 to the second: spreadsheets keep them as fractions of a day."""
    if isinstance(value, datetime):
        return (value + timedelta(microseconds=500_000)).replace(microsecond=0).isoformat()
    if isinstance(value, timedelta):  # a time of the day, where the sheet counts it as a length
        return str(timedelta(seconds=round(value.total_seconds())))
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, bool):
        return str(int(value))
    return str(value)
