"""The TOML of a plan file: its bytes, its text, and what the parser says of them."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from survey.base.errors import Fault, PlanError, why_unread
from survey.base.files import read_up_to

MOST_BYTES = 50_000_000
"""Far more than any plan has; a longer file is a mistake. A judgement."""


def content_of(path: Path) -> bytes:
    """Read a plan file, once: what is worked out and what is written of it then belong together.

    Raises
    ------
    PlanError
        Where it cannot be read, or is too long.
    """
    file = str(path)
    try:
        if path.is_dir():
            raise PlanError([Fault(file=file, problem="is a folder; name the plan file in it")])
        content = read_up_to(path, MOST_BYTES)
    except (OSError, ValueError) as error:
        raise PlanError([Fault(file=file, problem=why_unread(path, error))]) from None
    if content is None:
        raise PlanError([Fault(file=file, problem=f"is longer than {MOST_BYTES} bytes, the limit for a plan")])
    return content


def parse_bytes(raw: bytes, file: str) -> dict[str, Any]:
    """Return the tables of a TOML file, told by its name.

    Raises
    ------
    PlanError
        Where it is no TOML in UTF-8.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        problem = f"is not UTF-8 text (byte {error.start + 1}, line {line}); save it as UTF-8"
        raise PlanError([Fault(file=file, problem=problem)]) from None
    return parse_text(text, file)


def parse_text(text: str, file: str) -> dict[str, Any]:
    """Parse TOML, told by the name of its file.

    Raises
    ------
    PlanError
        Where it is none.
    """
    if not text.strip():
        raise PlanError([Fault(file=file, problem="is empty; `survey start FILE` writes a plan to fill in")])
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise PlanError([Fault(file=file, problem="nests lists or tables too deep to be read")]) from None
    except tomllib.TOMLDecodeError as error:
        raise PlanError([_toml_fault(file, str(error), text)]) from None
    except ValueError:
        raise PlanError([Fault(file=file, problem="holds a number of too many digits to be read")]) from None


def _toml_fault(file: str, message: str, text: str) -> Fault:
    """What the TOML parser found, with line and column in front."""
    found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    if not found:
        return Fault(file=file, problem=f"is not TOML: {message}")
    place = f"line {found[1]}, column {found[2]}" if found[1] else "end of file"
    comma = _decimal_comma(text, line=int(found[1]), column=int(found[2])) if found[1] else None
    if comma:
        return Fault(
            file=file, place=place, problem=f'"{comma}" has a comma; write {comma.replace(",", ".")} with a point'
        )
    return Fault(file=file, place=place, problem=f"is not TOML: {message[: found.start()]}")


def _decimal_comma(text: str, *, line: int, column: int) -> str | None:
    """Return the number with a decimal comma at which a parser stopped; None where there is none."""
    lines = text.replace("\r\n", "\n").split("\n")
    number = lines[line - 1] if line <= len(lines) else ""
    for found in re.finditer(r"=\s*([+-]?\d+,\d+)(?!\d|,\d)", number):
        if found.start(1) < column <= found.end(1) + 2:
            return found[1]
    return None
