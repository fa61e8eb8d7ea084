"""Where the columns of a log stand, and how its rows are written."""

from __future__ import annotations

from dataclasses import dataclass

MARKS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "a bar"}
"""Names of what stands between cells."""


@dataclass(frozen=True, kw_only=True)
class Columns:
    """Where each column of a log stands, -1 where there is none, and how its fields and row ends are written.

    `wide` are the columns of a table that has one for each inverter, `wide_names` their names, and `wide_levels`
    whether they hold levels. `header` holds the header's cells: exports put one after the other repeat them.
    """

    count: int
    time: int
    inverter: int
    gateway: int
    heard: int
    level: int
    power: int
    branch: int
    delimiter: str
    decimal: str
    line_break: bytes = b"\n"
    date: int = -1
    wide: tuple[int, ...] = ()
    wide_names: tuple[str, ...] = ()
    wide_levels: bool = False
    header: tuple[str, ...] = ()

    @property
    def wrong_count(self) -> str:
        """What is wrong with a row of more or fewer cells."""
        mark = MARKS.get(self.delimiter, self.delimiter)
        return f"the header has {self.count}; write one cell for each column, with {mark} between them"
