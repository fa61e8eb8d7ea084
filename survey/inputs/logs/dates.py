"""Dates and times of the day as people's exports write them: names of months, days of the week, zones in letters."""

from __future__ import annotations

import re

MONTHS = {
    word: number
    for number, words in enumerate(
        (
            "jan january januar jaenner",
            "feb february februar",
            "mar march maerz mrz maer",
            "apr april",
            "may mai",
            "jun june juni",
            "jul july juli",
            "aug august",
            "sep sept september",
            "oct october okt oktober",
            "nov november",
            "dec december dez dezember",
        ),
        start=1,
    )
    for word in words.split()
}
"""Months in English and German, short and long, with ae for a-umlaut."""
WEEKDAY_WORDS = (
    "mon tue tues wed thu thur thurs fri sat sun monday tuesday wednesday thursday friday saturday sunday "
    "mo di mi do fr sa so montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag"
)
WEEKDAYS = frozenset(WEEKDAY_WORDS.split())
"""Days of the week, which say nothing beside a date."""
ORDINALS = frozenset(("st", "nd", "rd", "th", "of", "den", "der", "am"))
"""What stands between the parts of a date in words."""
ZONES_MIN = {
    "z": 0, "utc": 0, "gmt": 0, "wet": 0, "west": 60, "cet": 60, "mez": 60, "cest": 120, "mesz": 120, "eet": 120,
    "oez": 120, "eest": 180, "oesz": 180,
}  # fmt: skip
"""Offsets of zones by their letters, of those that mean one zone only: IANA time zone database, file europe. [min]"""
CLOCK = re.compile(
    r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*(?:uhr)?\s*(?:([ap])\.?m\.?)?\s*"
    r"\(?(z|[a-z]{3,4}|(?:utc|gmt)?\s*[+-]\d{1,2}(?::?\d{2})?)?\)?",
    re.IGNORECASE,
)
BETWEEN = re.compile(r"[\sT,]+")
MAX_HOURS_12, MAX_OFFSET_MIN = 12, 14 * 60
"""Hours on a clock with AM and PM; and the largest offset from universal time, that of the Line Islands. [h, min]"""
MIN_YEAR = 32
"""A number of a date that is greater than any day is a year."""
SHORT_YEAR = 100
"""A year below this is written with two digits."""
UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})


def clock_of(text: str) -> tuple[int, int | None] | None:
    """Return the seconds since midnight and the offset in minutes, None without one; None where it is no time.

    Examples
    --------
    >>> clock_of("6:30 PM"), clock_of("18:30 Uhr"), clock_of("18:30 CEST"), clock_of("18:30 UTC+2"), clock_of("25:00")
    ((66600, None), (66600, None), (66600, 120), (66600, 120), None)
    """
    match = CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= MAX_HOURS_12:
            return None
        hour = hour % 12 + 12 * (match[4].lower() == "p")
    if hour > 23 or minute > 59 or second > 59:  # noqa: PLR2004  of a clock
        return None
    since, zone = hour * 3600 + minute * 60 + second, (match[5] or "").lower()
    if not zone or zone in ZONES_MIN:
        return since, ZONES_MIN.get(zone)
    shift = re.fullmatch(r"(?:utc|gmt)?\s*([+-])(\d{1,2})(?::?(\d{2}))?", zone)
    if shift is None:
        return None
    offset = (1 if shift[1] == "+" else -1) * (60 * int(shift[2]) + int(shift[3] or 0))
    return (since, offset) if abs(offset) <= MAX_OFFSET_MIN else None


def without_weekday(text: str) -> str:
    """Return a date without a day of the week before it.

    Examples
    --------
    >>> without_weekday("Mo., 12.01.2026"), without_weekday("Jan 12 2026")
    ('12.01.2026', 'Jan 12 2026')
    """
    match = re.match(r"([^\W\d_]+)\.?,?\s+(.+)", text.strip())
    return match[2] if match and match[1].casefold() in WEEKDAYS else text.strip()


def day_in_words(text: str) -> tuple[int, int, int] | None:
    """Return year, month and day of a date with the name of a month; None where it is none.

    Examples
    --------
    >>> day_in_words("12 Jan 2026"), day_in_words("12. M\u00e4rz 2026"), day_in_words("January 12th, 2026")
    ((2026, 1, 12), (2026, 3, 12), (2026, 1, 12))
    """
    parts = re.findall(r"\d+|[^\W\d_]+", text.casefold().translate(UMLAUTS))
    words = [one for one in parts if not one.isdigit()]
    months = [MONTHS[one] for one in words if one in MONTHS]
    numbers = [int(one) for one in parts if one.isdigit()]
    if len(months) != 1 or len(numbers) != 2:  # noqa: PLR2004  day and year
        return None
    if any(one not in MONTHS and one not in WEEKDAYS and one not in ORDINALS for one in words):
        return None
    day, year = reversed(numbers) if numbers[0] >= MIN_YEAR else numbers
    return (year + 2000 if year < SHORT_YEAR else year), months[0], day


def date_and_clock(text: str) -> tuple[str, str] | None:
    """Part a text into its date and its time of the day, whichever stands first; None where it has none.

    Examples
    --------
    >>> date_and_clock("Mon, 12 Jan 2026, 6:30 PM"), date_and_clock("18:30 12.01.2026")
    (('Mon, 12 Jan 2026', '6:30 PM'), ('12.01.2026', '18:30'))
    """
    for match in BETWEEN.finditer(text):
        before, after = text[: match.start()], text[match.end() :]
        if clock_of(after) is not None and clock_of(before) is None:
            return before, after
    for match in reversed(list(BETWEEN.finditer(text))):
        before, after = text[: match.start()], text[match.end() :]
        if clock_of(before) is not None:
            return after, before
    return None
