"""Causes of a group weighed against each other, on what its links share: a likelihood for each, times its prior."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, exp, log

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.measured.dropouts.causes import BRANCH, INTERFERENCE, MOVED, OBSTACLE
from survey.measured.dropouts.margins import Margins

WEATHER = "weather"
"""Stands for what strikes the weak links of a site and is no fault."""
OTHER = "other"
"""Stands for whatever strikes links that share nothing but the time."""
PRIORS = {BRANCH: 0.22, OBSTACLE: 0.22, MOVED: 0.18, INTERFERENCE: 0.1, WEATHER: 0.2, OTHER: 0.08}
"""How often a group that got worse together is of each cause: an assumption. [-]"""
STRAY_ANSWER = 0.01
"""Chance that a poll is answered though the branch has no supply: clocks and intervals that do not quite agree."""
ALL_SILENT = {BRANCH: 1.0, OBSTACLE: 0.15, MOVED: 0.05, INTERFERENCE: 0.02, WEATHER: 0.02, OTHER: 0.1}
"""Chance that a group is silent wholly: what stands before it seldom does that to every link. An assumption."""
NO_BRANCH = 0.02
"""Chance that the log's branches are wrong, where some of a branch are struck and others of it are heard."""
CONCENTRATION = 0.2
"""Exponent a of the density a u^(a - 1) of a chance u where its cause is at work; 1 would say nothing."""
ROWS = 0.5
"""The same for a branch, whose inverters lie together but less surely."""
MIN_U = 5e-4
"""Least chance that the density takes: one in `DRAWS`."""
MOST = 0.6
"""What strikes more than this share of the links stands before none of them alone. [-]"""
STRONG_DB, WET_DAYS = 12.0, 4.0
"""A link of such a margin loses no polls to weather; such weather and interference last no longer. [dB, days]"""
DIM = 4.0
"""So much likelier it is that nothing but a lack of light strikes some links, where the sun stands low. [-]"""
HALF, FEW = 0.5, 0.3
"""Parts of the links of a gateway: half of them, and few; set by trials on invented logs. [-]"""
SELDOM = 0.04
"""Factor on the odds of a cause that the evidence speaks clearly against: an assumption. [-]"""
CLEAR_FALL_DB = 3.0
"""Fall of the levels that shows; set by trials on invented logs. [dB]"""
EVEN = 0.35
"""Spread of the shares of misses, over their mean, up to which they are even: interference asks no margin. [-]"""
MIN_GROUP, MIN_LINKS = 2, 4
"""Of fewer links no share says anything."""
DRAWS = 2_000
"""How often directions are simulated: a chance of 5 % then stands to half a percentage point."""


@dataclass(frozen=True, kw_only=True)
class Shared:
    """What the links of a group share.

    Attributes
    ----------
    answers, polls : float
        Of the group meanwhile.
    share : float
        Part of the gateway's links that miss more meanwhile, in the group or not. [-]
    direction, weakest : float
        Chance that as many links drawn at random lie in a sector as small; and that they have margins as low. [-]
    obstacle : str
        What their lines cross and the others' do not, with its chance in `crossing`; empty where nothing.
    crossing : float
        The chance of that by accident. [-]
    one_branch : bool or None
        Whether they are of one branch by the log and all of it; None where it names none.
    fall_db : float
        By how much their levels are lower meanwhile; NaN where not known. [dB]
    unevenness : float
        Spread of their shares of misses over the mean. [-]
    margin_db : float
        Median of their margins; weather takes a few dB only. [dB]
    days : float
        How long it lasts; weather passes. [days]
    changed : float
        Part of the gateway's links whose level changed either way; NaN where not known. [-]
    dim : bool
        Whether the sun stands so low that noons may be dark, now for some and now for others.
    by_hours : bool
        Whether it returns in the same hours of many days; a gateway that was moved does not go back at night.
    """

    answers: float
    polls: float
    share: float
    direction: float
    weakest: float
    obstacle: str
    crossing: float
    one_branch: bool | None
    fall_db: float
    unevenness: float
    margin_db: float
    days: float
    changed: float = float("nan")
    dim: bool = False
    by_hours: bool = False


def concentration(chance: float, *, exponent: float = CONCENTRATION) -> float:
    """Log-likelihood ratio of a chance that is small where a cause is at work, and anything where it is not.

    Examples
    --------
    >>> round(concentration(0.001), 2), round(concentration(1.0), 2)
    (3.92, -1.61)
    """
    return log(exponent) + (exponent - 1.0) * log(max(chance, MIN_U))


def weigh(shared: Shared) -> dict[str, float]:
    """Chance of each cause of a group, the likeliest first.

    Parameters
    ----------
    shared : Shared
        What its links share.

    Returns
    -------
    dict of str to float
        By cause, with `WEATHER` for what is no fault; they add up to 1. [-]

    Notes
    -----
    Bayes' rule with the priors `PRIORS`. Each likelihood is a product of what the group shares: how wholly it is
    silent, its direction, its branch, its margins and its levels. The figures are assumptions, set on invented logs.

    Examples
    --------
    >>> group = Shared(answers=0, polls=300, share=0.3, direction=0.2, weakest=0.5, obstacle="", crossing=1.0,
    ...                one_branch=None, fall_db=float("nan"), unevenness=0.0, margin_db=20.0, days=0.5)
    >>> next(iter(weigh(group)))
    'supply branch'
    """
    silent = shared.answers <= max(1.0, 0.005 * shared.polls)
    odds = {cause: log(prior) + (log(ALL_SILENT[cause]) if silent else 0.0) for cause, prior in PRIORS.items()}
    odds[BRANCH] += log(STRAY_ANSWER) * min(shared.answers, 20.0)
    if shared.one_branch is False:
        odds[BRANCH] += log(NO_BRANCH)
    apart = min(shared.direction, 2.0 * shared.crossing)
    odds[OBSTACLE] += concentration(apart)
    odds[BRANCH] += concentration(apart, exponent=ROWS)  # a branch is a row or two
    odds[WEATHER] += concentration(shared.weakest)
    odds[WEATHER] += (log(SELDOM) if shared.margin_db > STRONG_DB else 0.0) + (
        log(0.2) if shared.days > WET_DAYS else 0.0
    )
    odds[INTERFERENCE] += log(SELDOM) if shared.days > WET_DAYS else 0.0
    odds[INTERFERENCE] += 0.0 if shared.unevenness < EVEN else log(SELDOM)
    odds[MOVED] += log(0.6) if shared.unevenness < EVEN and not silent else 0.0
    lasting = shared.days > WET_DAYS
    if shared.dim and not lasting:  # a lack of light passes
        odds[OTHER] += log(DIM)
    elif shared.days > 1.0 and shared.share >= HALF:  # these share the gateway
        odds[OTHER] += log(0.3)
    for cause in (OBSTACLE, BRANCH):
        odds[cause] += log(SELDOM) if shared.share > MOST else 0.0
    odds[MOVED] += 2.0 * log(SELDOM) if shared.by_hours else 0.0
    odds[MOVED] += log(SELDOM) if shared.share < FEW else log(0.3) if shared.share < HALF else 0.0
    odds[INTERFERENCE] += 2.0 * log(SELDOM) if shared.share < HALF else 0.0
    if np.isfinite(shared.changed):
        odds[MOVED] += log(5.0) if shared.changed > MOST else log(SELDOM) if shared.changed < HALF else 0.0
        odds[OBSTACLE] += log(SELDOM) if shared.changed > MOST else 0.0
        for cause in (WEATHER, OTHER):
            odds[cause] += log(SELDOM) if shared.changed > MOST and lasting else 0.0
    if np.isfinite(shared.fall_db):
        lower = shared.fall_db >= CLEAR_FALL_DB
        for cause in (BRANCH, INTERFERENCE, WEATHER):
            odds[cause] += log(SELDOM) if lower else 0.0
        for cause in (OBSTACLE, MOVED):
            odds[cause] += 0.0 if lower else log(0.3)
    top = max(odds.values())
    total = sum(exp(one - top) for one in odds.values())
    chances = {cause: exp(one - top) / total for cause, one in odds.items()}
    return dict(sorted(chances.items(), key=lambda one: -one[1]))


def shared_by(
    margins: Margins,
    links: IntArray,
    among: IntArray,
    *,
    answers: float,
    polls: float,
    labels: Sequence[str],
    fall_db: FloatArray,
    inside: FloatArray,
    days: float,
    affected: float = 0.0,
    changed: float = float("nan"),
    dim: bool = False,
    by_hours: bool = False,
) -> Shared:
    """Say what the links of a group share.

    Parameters
    ----------
    margins : Margins
        Directions, obstacles and margins of all links.
    links, among : ndarray of int
        The group, and all links of its gateway.
    answers, polls : float
        Of the group meanwhile, less the first and the last interval.
    labels : sequence of str, shape (links,)
        Branches by the log.
    fall_db, inside : ndarray of float, shape (group,)
        Fall of the level, NaN where not known, and share of misses meanwhile. [dB, -]
    days : float
        How long it lasts. [days]
    affected : float
        Part of the gateway's links that miss more meanwhile, by a mixture fitted to all of them. [-]
    changed : float
        Part of the gateway's links whose level changed either way; NaN where not known. [-]
    dim : bool
        Whether the sun stands so low that noons may be dark.
    by_hours : bool
        Whether it returns in the same hours of many days.
    """
    obstacle, crossing = shared_obstacle(margins.met, links, among)
    named = {labels[i] for i in links.tolist()}
    one_branch = None
    if any(labels[i] for i in among.tolist()):
        every = [i for i in among.tolist() if labels[i] in named]
        one_branch = len(named) == 1 and len(every) <= len(links)
    fall = fall_db[np.isfinite(fall_db)]
    return Shared(
        answers=answers,
        polls=polls,
        share=max(len(links) / len(among), affected) if len(among) >= MIN_LINKS else HALF,
        direction=shared_direction(margins.bearing_deg, links, among),
        weakest=as_weak(margins.margin_db, links, among),
        obstacle=obstacle,
        crossing=crossing,
        one_branch=one_branch,
        fall_db=float(np.median(fall)) if 2 * len(fall) >= len(links) else float("nan"),
        unevenness=float(np.std(inside) / max(float(np.mean(inside)), 1e-9)) if len(inside) else 0.0,
        margin_db=float(np.median(margins.margin_db[links])),
        days=days,
        dim=dim,
        by_hours=by_hours,
        changed=changed if len(among) >= MIN_LINKS else float("nan"),
    )


def as_weak(margin_db: FloatArray, links: IntArray, among: IntArray, *, seed: int = 2) -> float:
    """Chance that as many links drawn at random have a mean rank of margin as low."""
    if len(links) >= len(among):
        return 1.0
    rank = np.argsort(np.argsort(margin_db[among])).astype(float)
    own = rank[np.isin(among, links)].mean()
    rng = np.random.default_rng(seed)
    drawn = np.argsort(rng.random((DRAWS, len(among))), axis=1)[:, : len(links)]
    return float((np.sum(rank[drawn].mean(axis=1) <= own + 1e-9) + 1) / (DRAWS + 1))


def arc_deg(bearings_deg: FloatArray) -> FloatArray:
    """Width of the smallest sector that holds all bearings, over the last axis. [deg]

    Examples
    --------
    >>> float(arc_deg(np.array([350.0, 10.0, 5.0])))
    20.0
    """
    ordered = np.sort(bearings_deg % 360.0, axis=-1)
    gaps = np.diff(ordered, axis=-1, append=ordered[..., :1] + 360.0)
    return np.asarray(360.0 - gaps.max(axis=-1))


def shared_direction(bearings_deg: FloatArray, links: IntArray, among: IntArray, *, seed: int = 1) -> float:
    """Chance that as many links drawn at random lie in a sector as small; all must belong to one gateway."""
    if len(links) < MIN_GROUP or len(links) >= len(among):
        return 1.0
    own = float(arc_deg(bearings_deg[links]))
    rng = np.random.default_rng(seed)
    drawn = np.argsort(rng.random((DRAWS, len(among))), axis=1)[:, : len(links)]
    return float((np.sum(arc_deg(bearings_deg[among][drawn]) <= own + 1e-9) + 1) / (DRAWS + 1))


def shared_obstacle(met: Sequence[frozenset[str]], links: IntArray, among: IntArray) -> tuple[str, float]:
    """The obstacle that the group's lines meet and the others' do not, and the chance of that by accident."""
    best = "", 1.0
    names = set().union(*(met[i] for i in links.tolist()))
    chosen, total = len(links), len(among)
    for name in sorted(names):
        inside = sum(name in met[i] for i in links.tolist())
        every = sum(name in met[i] for i in among.tolist())
        ways = sum(comb(every, k) * comb(total - every, chosen - k) for k in range(inside, min(every, chosen) + 1))
        chance = min(1.0, len(names) * ways / comb(total, chosen))
        if chance < best[1] and inside >= 0.8 * chosen:
            best = name, chance
    return best
