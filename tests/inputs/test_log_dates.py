"""Dates and times of the day as people write them: what is read, and what is none."""

import pytest

from survey.inputs.logs.dates import clock_of, day_in_words


# Midnight and noon of the twelve-hour clock: 12 AM is 0 o'clock, 12 PM is 12 (NIST, Times of Day FAQs).
@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("12:00 AM", (0, None)),
        ("12:30 PM", (12 * 3600 + 1800, None)),
        ("1:00 PM", (13 * 3600, None)),
        ("0:30 PM", None),
        ("13:00 PM", None),
        ("23:59:59", (86_399, None)),
        ("24:00", None),
        ("12:60", None),
        ("12:00:60", None),
        ("18:30 UTC-3:30", (66_600, -210)),
        ("18:30 UTC+14", (66_600, 840)),
        ("18:30 UTC+99", None),
        ("18:30 somewhere", None),
    ],
)
def test_a_time_of_the_day(text, found):
    assert clock_of(text) == found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Monday, 12 Jan 2026", (2026, 1, 12)),
        ("2026 Jan 12", (2026, 1, 12)),
        ("12 Jan 26", (2026, 1, 12)),
        ("12 nonsense Jan 2026", None),
        ("12 Jan", None),
        ("12 Jan Feb 2026", None),
    ],
)
def test_a_date_in_words(text, found):
    assert day_in_words(text) == found
