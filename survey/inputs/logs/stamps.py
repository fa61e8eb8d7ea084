"""Times of a log: ISO 8601 in bytes, many at once, to seconds."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import BoolArray, IntArray

Bytes = NDArray[np.uint8]

NO_ZONE = -32_768
"""Stands for the offset of a time without a zone."""
DAY_S = 86_400
"""Seconds of a day."""
DATE_DIGITS, DATE_MARKS = (0, 1, 2, 3, 5, 6, 8, 9), ((4, "-"), (7, "-"))
"""Where digits and marks stand in the date of ISO 8601, `2026-05-01`."""
CLOCK_DIGITS, CLOCK_MARKS = (11, 12, 14, 15), ((13, ":"),)
"""Where they stand in its time, after the date: `T06:30`."""
ZERO, NINE = 48, 9
"""The code of `0` in ASCII, and the greatest digit."""
TO_MINUTE, TO_SECOND, LONGEST = 16, 19, 29
"""Lengths of `2026-05-01T06:30`, of that with seconds, and of that with nine decimals."""
MOST_OFFSET_MIN = 18 * 60
"""No zone is further from UTC: what clocks of Java allow (from memory); real ones end at 14 hours. [min]"""
CENTURY_FROM, CENTURY_TO = 1900, 2200
"""Years in which a log may be; others come from a clock that was wrong. A judgement."""


def words_of(buffer: Bytes) -> NDArray[np.uint64]:
    """The eight bytes from every position of a buffer as one number; the buffer ends with eight spare bytes."""
    return np.ndarray(shape=(len(buffer) - 7,), dtype="<u8", buffer=buffer.data, strides=(1,))


def seconds_of(buffer: Bytes, starts: IntArray, ends: IntArray) -> tuple[IntArray, NDArray[np.int16], BoolArray]:
    """Seconds since 1970 of many times.

    Parameters
    ----------
    buffer : ndarray of uint8
        Bytes, with 40 spare ones at the end.
    starts, ends : ndarray of int, shape (rows,)
        Where each time begins, and where it has ended.

    Returns
    -------
    tuple of ndarray, each of shape (rows,)
        Seconds as the clock showed them, without regard to the zone [s]; offset from universal time, `NO_ZONE` where
        none is given [min]; whether the time was understood.
    """
    words = words_of(buffer)
    length = ends - starts
    same = np.ones(len(starts), dtype=bool)
    same[:1] = False
    for place in (starts, starts + 8, np.maximum(ends - 8, 0)):
        part = words[place]
        same[1:] &= part[1:] == part[:-1]
    same[1:] &= (length[1:] == length[:-1]) & (length[1:] >= TO_MINUTE) & (length[1:] <= 24)  # noqa: PLR2004  3 words
    first = np.flatnonzero(~same)
    seconds, offset, good = _seconds_of_each(buffer, starts[first], length[first])
    times = np.diff(np.append(first, len(starts)))
    return np.repeat(seconds, times), np.repeat(offset, times), np.repeat(good, times)


def _seconds_of_each(buffer: Bytes, start: IntArray, length: IntArray) -> tuple[IntArray, NDArray[np.int16], BoolArray]:
    good = (length >= TO_MINUTE) & (length <= LONGEST + 6)
    end = start + np.where(good, length, TO_MINUTE)
    last, sign = buffer[end - 1], buffer[np.maximum(end - 6, 0)]
    zulu = (last == ord("Z")) | (last == ord("z"))
    shifted = ~zulu & ((sign == ord("+")) | (sign == ord("-"))) & (length >= TO_MINUTE + 6)
    body = length - zulu - 6 * shifted

    def digit(offset: int) -> NDArray[np.int64]:
        return buffer[start + offset].astype(np.int64) - ZERO

    figures = {k: digit(k) for k in (*DATE_DIGITS, *CLOCK_DIGITS)}
    for one in figures.values():
        good &= (one >= 0) & (one <= NINE)
    for k, mark in (*DATE_MARKS, *CLOCK_MARKS):
        good &= buffer[start + k] == ord(mark)
    between = buffer[start + 10]
    good &= (between == ord("T")) | (between == ord(" ")) | (between == ord("t"))
    with_seconds = body >= TO_SECOND
    tens, ones = digit(17), digit(18)
    good &= (body == TO_MINUTE) | (with_seconds & (buffer[start + 16] == ord(":")))
    good &= ~with_seconds | ((tens >= 0) & (tens <= NINE) & (ones >= 0) & (ones <= NINE))
    point = buffer[start + TO_SECOND]
    good &= (body <= TO_SECOND) | ((body > TO_SECOND + 1) & ((point == ord(".")) | (point == ord(","))))
    for k in range(TO_SECOND + 1, min(LONGEST, int(body.max(initial=0)))):
        one = digit(k)
        good &= (k >= body) | ((one >= 0) & (one <= NINE))
    year = figures[0] * 1000 + figures[1] * 100 + figures[2] * 10 + figures[3]
    month, day = figures[5] * 10 + figures[6], figures[8] * 10 + figures[9]
    hour, minute = figures[11] * 10 + figures[12], figures[14] * 10 + figures[15]
    second = np.where(with_seconds, tens * 10 + ones, 0)
    good &= (month >= 1) & (month <= 12) & (day >= 1) & (hour < 24) & (minute < 60) & (second < 60)  # noqa: PLR2004
    good &= (year >= CENTURY_FROM) & (year <= CENTURY_TO)
    days = np.where(good, _days_from_civil(year, month, day), 0)
    good &= day <= _days_in_month(year, np.clip(month, 1, 12))
    offset = np.where(zulu, 0, NO_ZONE)
    hours, minutes = (
        (buffer[end - k].astype(np.int64) - ZERO) * 10 + (buffer[end - k + 1].astype(np.int64) - ZERO) for k in (5, 2)
    )
    shift = np.where(sign == ord("-"), -1, 1) * (hours * 60 + minutes)
    good &= ~shifted | ((buffer[end - 3] == ord(":")) & (np.abs(shift) <= MOST_OFFSET_MIN) & (minutes < 60))  # noqa: PLR2004
    offset = np.where(shifted & good, shift, offset)
    return days * DAY_S + hour * 3600 + minute * 60 + second, offset.astype(np.int16), good


def _days_from_civil(year: IntArray, month: IntArray, day: IntArray) -> IntArray:
    """Days since 1970-01-01 in the Gregorian calendar, years counted from March so that leap days come last."""
    year = year - (month <= 2)  # noqa: PLR2004  January and February belong to the year before
    era, of_era = year // 400, year % 400
    of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    return np.asarray(era * 146_097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - 719_468)


def _days_in_month(year: IntArray, month: IntArray) -> IntArray:
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    return np.asarray(np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])[month - 1] + (leap & (month == 2)))  # noqa: PLR2004


def seconds_of_text(text: str) -> tuple[int, int] | None:
    """The same for one time, in any form of ISO 8601 that Python reads; None where it is none.

    Examples
    --------
    >>> seconds_of_text("19700102T000000+0130")
    (86400, 90)
    >>> seconds_of_text("1970-01-02") is None  # a day is no time
    True
    """
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        return None
    if len(text) <= len("2026-05-01") or not CENTURY_FROM <= read.year <= CENTURY_TO:
        return None
    shift = read.utcoffset()
    since = read.replace(tzinfo=None) - datetime(1970, 1, 1)  # noqa: DTZ001  as the clock showed it
    return int(since.total_seconds() // 1), NO_ZONE if shift is None else int(shift.total_seconds() // 60)


def stamp(seconds: float, offset_min: int = NO_ZONE) -> str:
    """A time of the site's clock, to the minute, with its zone where there is one.

    Examples
    --------
    >>> stamp(86_400 + 5_400)
    '1970-01-02T01:30'
    >>> stamp(86_400, 600)
    '1970-01-02T00:00+10:00'
    """
    zone = None if offset_min == NO_ZONE else timezone(timedelta(minutes=offset_min))
    shown = datetime(1970, 1, 1, tzinfo=zone) + timedelta(seconds=int(seconds))
    return shown.isoformat(timespec="minutes")
