"""A log as arrays: polls and answers of every link in every interval of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import IntArray
from survey.base.errors import Fault, FileError
from survey.base.layout import counted
from survey.inputs.logs.absent import absent_polls
from survey.inputs.logs.columns import Columns
from survey.inputs.logs.rows import Block
from survey.inputs.logs.stamps import DAY_S, NO_ZONE, stamp

Counts = NDArray[np.uint8]
Halves = NDArray[np.float16]

FAR_OFF_S = 180 * DAY_S
"""Rows that lie so far from all others come from a clock that was wrong. [s]"""
USUAL_STEP_S = 600
"""Between polls where a log is too short to show it: common practice. [s]"""
SAMPLED_LINKS = 40
"""Of how many links the step between polls is taken; the median of so many is steady. A judgement."""
MOST_CELLS = 150_000_000
"""Polls by link and time at most, for memory: seven times 400 inverters polled each 10 minutes for a year."""
PHASES = 60
"""Into how many parts a step is cut, at most, to see when in it polls come. A judgement."""
MOST_JUMPS = 5
"""A clock that jumps does so now and then; more steps back than this are rows in disorder."""


@dataclass(frozen=True, kw_only=True)
class Resolved:
    """What the names of a log mean: plan numbers by log number; and the branches' names."""

    inverter: Sequence[int]
    gateway: Sequence[int]
    branches: Sequence[str]


@dataclass(frozen=True, kw_only=True)
class Log:
    """Polls of every link, as arrays of shape (links, times) unless another is given.

    Attributes
    ----------
    file : str
        As the user named it.
    notes : tuple of str
        What the reader should know about the file.
    rows, repeated : int
        Polls, and rows that said the same poll again and were left out.
    inverter, gateway : ndarray of int, shape (links,)
        Numbers of its ends among the plan's inverters, and among the plan's gateways and spots.
    branches : tuple of str
        Supply branch of each of the plan's inverters; empty where the log names none.
    step_s : int
        Length of an interval, about one poll of each link. [s]
    time_s : ndarray of int, shape (times,)
        Middle of the intervals in which anything was polled, rising, by the site's clock since 1970. [s]
    offset_min : int
        Of the site's clock from universal time, or `NO_ZONE`. [min]
    polls, heard : ndarray of uint8
        How often the link was polled and heard.
    level_dbm, power_w : ndarray of float16, or None
        Level and power in polls that were heard; NaN elsewhere; None where the log has no such column. [dBm, W]
    absent : ndarray of uint8, or None
        Those of `polls` that have no row in the file and are counted from the rhythm of the others; None where there
        are none.
    """

    file: str
    notes: tuple[str, ...]
    rows: int
    repeated: int
    inverter: IntArray
    gateway: IntArray
    branches: tuple[str, ...]
    step_s: int
    time_s: IntArray
    offset_min: int
    polls: Counts
    heard: Counts
    level_dbm: Halves | None
    power_w: Halves | None
    absent: Counts | None = None

    def stamp(self, seconds: float) -> str:
        """A time as the log writes it, to the minute."""
        return stamp(seconds, self.offset_min)


def log_of(  # noqa: PLR0915  one array after another, each freed when it is used up
    blocks: list[Block], resolved: Resolved, *, file: str, columns: Columns, inverters: int, notes: list[str]
) -> Log:
    """Lay rows out by link and time; the blocks are used up."""
    branches = _branches(blocks, resolved, inverters, notes)

    def column(name: str) -> NDArray[np.generic]:
        return np.concatenate([getattr(one, name) for one in blocks])

    seconds, offset = column("seconds").astype(np.int64), column("offset_min")
    seconds, zone_min = _one_clock(seconds, offset, notes)
    del offset
    inverter = np.array(resolved.inverter)[column("inverter").astype(np.int64)]
    width = max(0, *resolved.gateway) + 1
    pair = inverter * width + np.array(resolved.gateway)[column("gateway").astype(np.int64)]
    heard = column("heard").astype(bool)
    level = column("level_dbm") if columns.level >= 0 or columns.wide_levels else None
    power = column("power_w") if columns.power >= 0 else None
    blocks.clear()
    links, pair = np.unique(pair, return_inverse=True)
    kept = _plausible(seconds, zone_min, notes)
    if kept is not None:
        seconds, pair, heard = seconds[kept], pair[kept], heard[kept]
        level, power = (None if one is None else one[kept] for one in (level, power))
    _tell_order(seconds, pair, zone_min, notes)
    step_s = _step_s(seconds, pair)
    phase_s = _phase_s(seconds, step_s)
    slot = (seconds - phase_s) // step_s
    first = int(slot.min())
    occurs = np.zeros(int(slot.max()) - first + 1, dtype=bool)
    occurs[slot - first] = True
    answers_only = bool(heard.all()) and len(occurs) > 1
    if answers_only and len(links) * len(occurs) <= MOST_CELLS:
        occurs[:] = True  # an interval in which no inverter answered has no row
    number = np.cumsum(occurs) - 1
    times = np.flatnonzero(occurs)
    shape = len(links), len(times)
    if shape[0] * shape[1] > MOST_CELLS:
        problem = (
            f"covers {shape[0]} links at {shape[1]} times; up to {MOST_CELLS} together are read: split it by months"
        )
        raise FileError([Fault(file=file, problem=problem)])
    cell = pair * shape[1] + number[slot - first]
    again = _repeats(cell, seconds, heard, shape)
    repeated = 0 if again is None else int(again.sum())
    if again is not None and repeated:
        notes.append(f"rows that repeat a poll: {repeated}, merged; a poll counts as answered if any of them was")
        once = ~again
        cell, heard = cell[once], heard[once]
        level, power = (None if one is None else one[once] for one in (level, power))
    del seconds, slot, pair
    size = shape[0] * shape[1]
    polls = np.minimum(np.bincount(cell, minlength=size), 255).astype(np.uint8).reshape(shape)
    absent = absent_polls(
        polls, inverter=links // width, gateway=links % width, step_s=step_s, answers_only=answers_only
    )
    if absent is not None:
        polls += absent
        notes.append(_absent_note(absent, answers_only=answers_only))
    got = cell[heard]
    answers = np.minimum(np.bincount(got, minlength=size), 255).astype(np.uint8).reshape(shape)
    return Log(
        file=file,
        notes=tuple(notes),
        rows=len(cell),
        repeated=repeated,
        inverter=links // width,
        gateway=links % width,
        branches=branches,
        step_s=step_s,
        time_s=(times + first) * step_s + phase_s + step_s // 2,
        offset_min=zone_min,
        polls=polls,
        heard=answers,
        absent=absent,
        level_dbm=None if level is None else _laid_out(got, level[heard], shape),
        power_w=None if power is None else _laid_out(got, power[heard], shape),
    )


def _absent_note(absent: Counts, *, answers_only: bool) -> str:
    if answers_only:
        return "only answers have rows; an interval without one is counted as a missed poll, by day"
    return (
        f"polls without a row: {int(absent.sum(dtype=np.int64))} of {counted(int(absent.any(axis=1).sum()), 'link')}, "
        "counted as missed by day, since others were polled meanwhile"
    )


def _laid_out(cell: IntArray, values: NDArray[np.generic], shape: tuple[int, int]) -> Halves:
    every = np.full(shape[0] * shape[1], np.nan, dtype=np.float16)
    every[cell] = values
    return every.reshape(shape)


def _branches(blocks: list[Block], resolved: Resolved, inverters: int, notes: list[str]) -> tuple[str, ...]:
    """The branch of each inverter: the one that most of its rows name."""
    counts: dict[tuple[int, int], int] = {}
    for block in blocks:
        for (name, branch), times in block.branches.items():
            if resolved.inverter[name] < 0:
                continue
            key = resolved.inverter[name], branch
            counts[key] = counts.get(key, 0) + times
    found = [""] * inverters
    several = set()
    labelled = [(times, resolved.branches[branch], inverter) for (inverter, branch), times in counts.items()]
    for _, label, inverter in sorted(labelled):
        if found[inverter] and label:
            several.add(inverter)
        found[inverter] = label or found[inverter]
    if several:
        notes.append(f"inverters of more than one branch: {len(several)}; the one named most often counts")
    return tuple(found)


def _one_clock(seconds: IntArray, offset: NDArray[np.generic], notes: list[str]) -> tuple[IntArray, int]:
    """All times by one clock: that of the zone named most often."""
    zones, times = np.unique(offset, return_counts=True)
    named = zones != NO_ZONE
    if not named.any():
        return seconds, NO_ZONE
    zone_min = int(zones[named][np.argmax(times[named])])
    if not named.all():
        without = int(times[~named][0])
        notes.append(f"times without a zone: {without}, read in the zone of most others, {_zone(zone_min)}")
    if int(named.sum()) > 1:
        notes.append(f"times of {int(named.sum())} zones, all shown in {_zone(zone_min)}")
    if len(zones) > 1 or zone_min:
        shift = np.where(offset == NO_ZONE, 0, zone_min - offset.astype(np.int64)) * 60
        seconds = seconds + shift
    return seconds, zone_min


def _zone(offset_min: int) -> str:
    return stamp(0, offset_min)[len("1970-01-01T00:00") :]


def _plausible(seconds: IntArray, zone_min: int, notes: list[str]) -> NDArray[np.bool_] | None:
    """Which rows lie where most do, if not all."""
    days, counts = np.unique(seconds // DAY_S, return_counts=True)
    piece = np.concatenate([[0], np.cumsum(np.diff(days) * DAY_S > FAR_OFF_S)])
    if piece[-1] == 0:
        return None
    rows = np.bincount(piece, weights=counts)
    best = int(np.argmax(rows))
    low, high = days[piece == best][[0, -1]]
    kept = (seconds >= low * DAY_S) & (seconds < (high + 1) * DAY_S)
    away = stamp(int(seconds[~kept][0]), zone_min)
    far = int((~kept).sum())
    notes.append(f"rows half a year or more from all others: {far}, such as {away}: a clock was wrong; left out")
    return np.asarray(kept)


def _tell_order(seconds: IntArray, pair: IntArray, zone_min: int, notes: list[str]) -> None:
    """Tell a clock that jumped, or rows in disorder."""
    if bool(np.all(seconds[1:] >= seconds[:-1])):
        return
    order = np.argsort(pair.astype(np.int32), kind="stable")
    steps, same = np.diff(seconds[order]), np.diff(pair[order]) == 0
    back = np.flatnonzero((steps < 0) & same)
    links = len(np.unique(pair))
    if not len(back):
        return
    if len(back) <= MOST_JUMPS * links and len(back) >= links / 2:
        from_s = seconds[order[back]]
        sizes = np.round(-steps[back] / 60).astype(np.int64)
        jumps = sorted(set(zip((from_s // 3600 * 3600).tolist(), sizes.tolist(), strict=True)))
        jump_s, minutes = max(jumps, key=lambda one: one[1])
        notes.append(f"the clock jumps back, by {minutes} minutes or less, first about {stamp(jump_s, zone_min)}")
    else:
        notes.append("rows are not in the order of time; they were sorted")


def _step_s(seconds: IntArray, pair: IntArray) -> int:
    """The usual time between two polls of a link. [s]"""
    steps = []
    counts = np.bincount(pair)
    for one in np.argsort(counts)[::-1][:: max(1, len(counts) // SAMPLED_LINKS)][:SAMPLED_LINKS].tolist():
        between = np.diff(np.sort(seconds[pair == one]))
        if (between > 0).any():
            steps.append(np.median(between[between > 0]))
    return max(1, round(float(np.median(steps)))) if steps else USUAL_STEP_S


def _phase_s(seconds: IntArray, step_s: int) -> int:
    """Where intervals begin so that as few polls as can be lie near a border. [s]"""
    phases = min(PHASES, step_s)
    sample = seconds[:: max(1, len(seconds) // 1_000_000)]
    counts = np.bincount((sample % step_s) * phases // step_s, minlength=phases).astype(float)
    around = sum(np.roll(counts, k) * (3 - abs(k)) for k in range(-2, 3))
    emptiest = np.flatnonzero(around == np.min(around))
    runs = np.split(emptiest, np.flatnonzero(np.diff(emptiest) > 1) + 1)
    widest = max(runs, key=len)
    return int((widest[len(widest) // 2] + 0.5) * step_s / phases)


def _repeats(
    cell: IntArray, seconds: IntArray, heard: NDArray[np.bool_], shape: tuple[int, int]
) -> NDArray[np.bool_] | None:
    """Which rows say the same poll again: same link, same time; of those heard and not, heard stays."""
    counts = np.bincount(cell, minlength=shape[0] * shape[1])
    if counts.max(initial=0) <= 1:
        return None
    rows = np.flatnonzero(counts[cell] > 1)
    order = rows[np.lexsort((~heard[rows], seconds[rows], cell[rows]))]
    again = np.zeros(len(cell), dtype=bool)
    again[order[1:]] = (cell[order[1:]] == cell[order[:-1]]) & (seconds[order[1:]] == seconds[order[:-1]])
    return again
