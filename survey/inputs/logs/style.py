"""How a log writes times, answers and levels: read text by text, each different text once."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from threading import Lock
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray
from survey.inputs.logs.cells import hashes_of
from survey.inputs.logs.dates import SHORT_YEAR, clock_of, date_and_clock, day_in_words, without_weekday
from survey.inputs.logs.stamps import CENTURY_FROM, CENTURY_TO, DAY_S, NO_ZONE, seconds_of_text

Bytes = NDArray[np.uint8]
T = TypeVar("T")

DAY_FIRST, MONTH_FIRST = "day-first", "month-first"
ORDERS = (DAY_FIRST, MONTH_FIRST)
ANSWERED_WORDS = (
    "1 1.0 true t yes y ja j oui si sí on online ok okay o.k. heard answered up connected received success successful "
    "responded reply replied reachable available alive active present good pass passed wahr erreichbar verbunden "
    "empfangen geantwortet beantwortet gehört erfolgreich aktiv an ein vorhanden ✓ ✔"
)
ANSWERED = frozenset(ANSWERED_WORDS.split())
MISSED_WORDS = (
    "0 0.0 false f no n nein non off offline - -- missed down disconnected timeout failed fail failure error lost "
    "nok unreachable unavailable dead inactive absent bad none silent falsch getrennt verloren fehler "
    "zeitüberschreitung verpasst inaktiv aus fehlt \N{EN DASH} \N{EM DASH} ✗ ✘"
)
MISSED_PHRASES = (
    "no answer, no reply, no response, not heard, not ok, not reachable, not connected, not received, timed out, "
    "nicht ok, nicht erreichbar, nicht verbunden, nicht empfangen, nicht geantwortet, nicht gehört, keine antwort, "
    "kein empfang, keine verbindung"
)
MISSED = frozenset([*MISSED_WORDS.split(), *MISSED_PHRASES.split(", ")])
NOTHING = frozenset(
    ("", "-", "--", "---", "\N{EN DASH}", "\N{EM DASH}", "nan", "n/a", "na", "n.a.", "null", "none", "?", "k.a.")
)
"""How a level that is not there is written."""
LEVEL_UNIT = re.compile(r"\s*dbm?$", re.IGNORECASE)
LOCAL_DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})\.?")
UNIX = re.compile(r"\d{9,10}(?:[.,]\d+)?|\d{12,13}")
MILLISECONDS = 100_000_000_000
"""Unix times from here on are in milliseconds."""
MAX_MONTH = 12
"""Months of a year: a greater number is a day."""
TIME_WANTED = "not a time; write it as in 2026-05-01T06:30 (or a local date, Unix time or AM/PM)"
ANSWER_WANTED = "not a known answer; write 1 or 0 (or yes/no, true/false, ja/nein, online/offline, ok/-)"
LEVEL_WANTED = "not a number; write a level in dBm, such as -81.5"


@dataclass
class Style:
    """What has been seen of a log's way of writing, as it is read; many threads may ask at once.

    Attributes
    ----------
    order : str
        Whether local dates are read with the day or the month first.
    given : bool
        Whether the user said so.
    first_max, second_max : int
        Largest number in the first and in the second place of a local date.
    example : str
        A local date that may be read both ways.
    unix : bool
        Whether times are Unix times, which are in universal time.
    """

    order: str = DAY_FIRST
    given: bool = False
    first_max: int = 0
    second_max: int = 0
    example: str = ""
    unix: bool = False
    _dates: dict[str, int | None] = field(default_factory=dict)
    _clocks: dict[str, tuple[int, int] | None] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    @property
    def is_local(self) -> bool:
        """Whether there were dates of which the day or the month stands first."""
        return self.first_max > 0

    @property
    def told_order(self) -> str:
        """The order that the dates themselves tell, empty where none does; `DAY_FIRST` or `MONTH_FIRST`."""
        if self.given:
            return self.order
        first, second = self.first_max > MAX_MONTH, self.second_max > MAX_MONTH
        return "" if first == second else DAY_FIRST if first else MONTH_FIRST

    def day_of(self, text: str) -> int | None:
        """Return the days since 1970 of a date; None where it is none."""
        if text not in self._dates:
            with self._lock:
                self._dates[text] = self._read_day(text)
        return self._dates[text]

    def _read_day(self, text: str) -> int | None:
        plain = re.sub(r"\.\s+(?=\d)", ".", without_weekday(text))
        match = LOCAL_DATE.fullmatch(plain)
        if match is None:
            read = seconds_of_text(f"{plain}T00:00")
            words = day_in_words(plain) if read is None else None
            return _days(*words) if words else None if read is None else read[0] // DAY_S
        one, two, three = int(match[1]), int(match[3]), int(match[4])
        if len(match[1]) > 2:  # noqa: PLR2004  the year stands first
            return _days(one, two, three)
        year = three + 2000 if three < SHORT_YEAR else three
        self.first_max, self.second_max = max(self.first_max, one), max(self.second_max, two)
        self.example = self.example or (plain if one != two else "")
        day, month = (one, two) if self.order == DAY_FIRST else (two, one)
        if month > MAX_MONTH and not self.given:  # the other order will be told by the whole column
            day, month = month, day
        return _days(year, month, day)

    def clock_of(self, text: str) -> tuple[int, int] | None:
        """Return the seconds since midnight and the offset in minutes of a time of the day; None where it is none."""
        if text not in self._clocks:
            read = clock_of(text)
            self._clocks[text] = None if read is None else (read[0], NO_ZONE if read[1] is None else read[1])
        return self._clocks[text]

    def seconds_of(self, text: str) -> tuple[int, int] | None:
        """Return the seconds since 1970 by that clock, and its offset in minutes; None where it is no time."""
        plain = text.strip()
        if self.unix or UNIX.fullmatch(plain):
            return _unix(plain)
        read = seconds_of_text(plain)
        if read is not None:
            return read
        parts = date_and_clock(plain)
        return self.joined(*parts) if parts else None

    def joined(self, day: str, clock: str) -> tuple[int, int] | None:
        """Return the same for a date and a time of the day."""
        days, since = self.day_of(day), self.clock_of(clock)
        return None if days is None or since is None else (days * DAY_S + since[0], since[1])


def _days(year: int, month: int, day: int) -> int | None:
    try:
        return (date(year, month, day) - date(1970, 1, 1)).days if CENTURY_FROM <= year <= CENTURY_TO else None
    except ValueError:
        return None


def _unix(text: str) -> tuple[int, int] | None:
    if not UNIX.fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return int(value / 1000.0 if value >= MILLISECONDS else value), 0


def answer_of(text: str) -> bool | None:
    """Return whether a poll was answered; None where the text says neither.

    Examples
    --------
    >>> answer_of("Ja"), answer_of("offline"), answer_of("perhaps")
    (True, False, None)
    """
    word = text.strip().casefold()
    return True if word in ANSWERED else False if word in MISSED else None


def level_of(text: str) -> float | None:
    """Return a level in dBm, NaN where the text says that there is none; None where it is no level.

    Examples
    --------
    >>> level_of("-81,5 dBm"), level_of("n/a"), level_of("weak")
    (-81.5, nan, None)
    """
    plain = LEVEL_UNIT.sub("", text.strip()).replace("\N{MINUS SIGN}", "-").replace(",", ".")
    if plain.casefold() in NOTHING:
        return math.nan
    try:
        value = float(plain)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def each(
    buffer: Bytes, starts: IntArray, ends: IntArray, read: Callable[[str], T | None], bad: T
) -> tuple[NDArray[np.generic], BoolArray]:
    """Read many fields, each different text once.

    Parameters
    ----------
    buffer : ndarray of uint8
        Bytes, with spare ones at the end.
    starts, ends : ndarray of int, shape (rows,)
        Where each field begins, and where it has ended.
    read : callable
        What a text says; None where it is not understood.
    bad : object
        What stands for that.

    Returns
    -------
    tuple of ndarray and of ndarray of bool, shape (rows,) or (rows, parts)
        Values, and whether each was understood.
    """
    mixed = hashes_of(buffer, starts, ends - starts)
    _, first, number = np.unique(mixed, return_index=True, return_inverse=True)
    texts = [bytes(buffer[starts[i] : ends[i]]).decode("utf-8", "replace") for i in first.tolist()]
    values = [read(text) for text in texts]
    good = np.array([value is not None for value in values], dtype=bool)
    told = np.array([bad if value is None else value for value in values])
    return told[number], good[number]
