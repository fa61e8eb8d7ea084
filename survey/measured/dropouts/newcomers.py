"""Something new in the way: groups of links with one direction or one obstacle that got worse on one date."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.base.layout import counted
from survey.measured.dropouts.book import BRANCH, OBSTACLE, Book
from survey.measured.dropouts.changes import (
    LEAST_FALL_DB,
    RARE,
    Change,
    changes_of,
    recovery,
    shared_direction,
    shared_obstacle,
)
from survey.measured.dropouts.margins import Margins
from survey.measured.dropouts.outages import BRANCH_CHECK

NEARLY_ALL = 0.8
"""A group of this share of the inverters is no direction; set by trials on invented logs. [-]"""
TOTAL = 0.97
"""Share of misses from which a group is wholly silent; set by trials on invented logs. [-]"""
TIGHT, LIKELY = 0.06, 0.5
"""Where a group's date is sure to such a part of the log, that says most, and the direction need not be rare."""
LEAST_RISE = 0.05
"""Rise of the share of misses that counts; set by trials on invented logs. [-]"""
LEAST_GROUP, SURE_GROUP = 2, 3
"""Inverters of a group at least, and those that a sure date needs; set by trials on invented logs."""
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
OBSTACLE_CHECK = (
    "what is new in that direction since that date: a container, a parked trailer, a stack, a new wall or cladding, "
    "leaves; and whether the gateway or its antenna was moved or turned"
)


def newcomers(book: Book, margins: Margins, *, branches_known: bool) -> None:
    """Find such groups; each link belongs to one at most.

    Parameters
    ----------
    book : Book
        What is open.
    margins : Margins
        Directions, obstacles and margins of its links.
    branches_known : bool
        Whether the log names branches: what falls silent wholly is then no branch's, since those were looked at before.
    """
    for change in changes_of(book):
        gateways = {book.gateways[i] for i in change.links.tolist()}
        for gateway in sorted(gateways):
            part = np.array([book.gateways[i] == gateway for i in change.links.tolist()])
            among = np.flatnonzero([one == gateway for one in book.gateways])
            _judge(book, margins, _of(change, part), among, gateway, branches_known=branches_known)


def _of(change: Change, part: NDArray[np.bool_]) -> Change:
    return Change(
        links=change.links[part],
        time=change.time,
        earliest=change.earliest,
        latest=change.latest,
        before=change.before[part],
        rise=change.rise[part],
        fall_db=change.fall_db[part],
    )


def _judge(
    book: Book, margins: Margins, change: Change, among: IntArray, gateway: str, *, branches_known: bool
) -> None:
    """Enter a change if its group shares a direction or an obstacle, or is nearly all there is."""
    worse = change.rise >= LEAST_RISE
    change = _of(change, worse | (change.fall_db >= LEAST_FALL_DB))
    links = change.links
    if worse.sum() < LEAST_GROUP:  # one alone is no group, and a lower level that costs no poll is no dropout
        return
    all_of_it = len(links) >= NEARLY_ALL * len(among)
    direction = shared_direction(margins.bearing_deg, links, among)
    obstacle, by_chance = shared_obstacle(margins.met, links, among)
    end = recovery(book, change)
    total = bool((change.before + change.rise > TOTAL).all()) and not bool(np.any(change.fall_db > 0))
    tight = change.latest - change.earliest <= TIGHT * book.open.shape[1]
    if total and not branches_known:
        _enter(book, BRANCH, change, end, "fall silent wholly, all at one time, and stay so", check=BRANCH_CHECK)
    elif all_of_it and _follows_margin(change, margins):
        words = f"nearly all links of {gateway} got worse, the weak ones more than the strong ones"
        _enter(book, OBSTACLE, change, end, words, check=OBSTACLE_CHECK, subject=f"close to {gateway}")
    elif by_chance < min(RARE, direction / 2.0):
        words = f"their lines go by way of {obstacle}, the others' do not (by accident: {by_chance:.1g})"
        _enter(book, OBSTACLE, change, end, words, check=OBSTACLE_CHECK, subject=obstacle)
    elif (tight and len(links) >= SURE_GROUP and not all_of_it) or direction < (LIKELY if tight else RARE):
        words = f"they lie {_side(margins.bearing_deg[links])} of {gateway} (so close by accident: {direction:.1g})"
        subject = f"{_side(margins.bearing_deg[links])} of {gateway}"
        _enter(book, OBSTACLE, change, end, words, check=OBSTACLE_CHECK, subject=subject)


def _follows_margin(change: Change, margins: Margins) -> bool:
    """Whether levels fell, or the weak links of a group got worse by more than its strong ones."""
    fall = change.fall_db[np.isfinite(change.fall_db)]
    if len(fall):
        return bool(np.median(fall) > 2.0)  # noqa: PLR2004  dB
    order = np.argsort(margins.margin_db[change.links])
    half = max(1, len(order) // 2)
    return bool(change.rise[order[:half]].mean() > 1.5 * change.rise[order[half:]].mean()) if len(order) > 1 else False


def _side(bearings_deg: FloatArray) -> str:
    """The mean direction in words and degrees."""
    angle = np.deg2rad(bearings_deg)
    mean = float(np.rad2deg(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()))) % 360.0
    return f"{COMPASS[round(mean / 45.0) % 8]} ({mean:.0f} degrees)"


def _enter(book: Book, cause: str, change: Change, end: int, words: str, *, check: str, subject: str = "") -> None:
    links, log = change.links, book.log
    cells = np.zeros((len(links), book.open.shape[1]), dtype=bool)
    cells[:, change.time : end] = True
    polls = np.where(cells & book.open[links], log.polls[links], 0).sum(axis=1, dtype=np.int64)
    missed = book.close(cells, links)
    missed[links] = np.maximum(0.0, missed[links] - change.before * polls)
    after = np.mean(change.before + change.rise)
    last_s = float(log.time_s[min(end, len(log.time_s)) - 1])
    doubt_s = (log.time_s[change.latest - 1 if change.latest else 0] - log.time_s[change.earliest]) / 2.0
    fall = change.fall_db[np.isfinite(change.fall_db)]
    level = f", levels down by {np.median(fall):.1f} dB" if len(fall) else ""
    evidence = (
        f"{counted(len(links), 'inverter')} from {log.stamp(log.time_s[change.time])} (give or take "
        f"{max(doubt_s, log.step_s) / 3600:.1f} h): {100 * np.mean(change.before):.0f} % missed before, "
        f"{100 * after:.0f} % after{level}; {words}"
    )
    book.add(
        cause,
        missed,
        first_s=float(log.time_s[change.time]),
        last_s=last_s,
        evidence=evidence,
        check=check,
        subject=subject,
    )
