"""One change for many inverters: which remedy of any of them does most for all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from survey.budget import HOLDS, Progress
from survey.decisions.remedies.remedy import Remedy
from survey.scene import Scene

if TYPE_CHECKING:  # it imports this file
    from survey.decisions.remedies import Explained

OF_A_SPOT = {"other spot", "one more"}
"""Kinds of remedy that are about a spot: of the points of a search the best one stands for all."""


@dataclass(frozen=True, kw_only=True)
class Joint:
    """A remedy, and what it does for all inverters that were named.

    Attributes
    ----------
    remedy : Remedy
        As it was worked out for one of them.
    hold : tuple of str
        Those of the named ones that hold after it.
    better, worse : int
        How many of the others come to a better state, and to a worse one.
    """

    remedy: Remedy
    hold: tuple[str, ...]
    better: int
    worse: int


@dataclass(frozen=True, kw_only=True)
class JointRemedies:
    """What was tried for some inverters together, the best first; `hold_today` hold by the plan as it is."""

    gateways: tuple[str, ...] = ()
    inverters: tuple[str, ...]
    hold_today: tuple[str, ...]
    remedies: tuple[Joint, ...]


def joint_remedies(scene: Scene, inverters: Sequence[str], *, progress: Progress | None = None) -> JointRemedies:
    """Work out the remedies of some inverters, and rank them by how many of them hold afterwards.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters : sequence of str
        Names; none gives nothing.
    progress : callable, optional
        Told what is done.

    Returns
    -------
    JointRemedies
        Each action once; of the points of a search the best.
    """
    from survey.decisions.remedies import explain  # noqa: PLC0415  it imports this file

    if not inverters:
        return JointRemedies(inverters=(), hold_today=(), remedies=())
    return joint_of(explain(scene, inverters, together=True, progress=progress))


def joint_of(explained: Explained) -> JointRemedies:
    """Rank the remedies of inverters explained with `together`, by how many of them hold afterwards."""
    today = {one.budget.inverter: one.state for one in explained.inverters}
    named = tuple(today)
    best: dict[tuple[str, str], Joint] = {}
    for one in explained.inverters:
        for remedy in (*one.remedies, *one.idle):
            after = today | {one.budget.inverter: remedy.state}
            after |= {change.inverter: change.after for change in remedy.changes if change.inverter in today}
            others = [change for change in remedy.changes if change.inverter not in today]
            hold = tuple(name for name in named if after[name] == HOLDS)
            better = sum(change.after > change.before for change in others)
            found = Joint(remedy=remedy, hold=hold, better=better, worse=len(others) - better)
            place = remedy.about.partition("/")[0]
            key = (remedy.kind, place) if remedy.kind in OF_A_SPOT else (remedy.action, remedy.about)
            if key not in best or _rank(found) < _rank(best[key]):
                best[key] = found
    ranked = sorted(best.values(), key=_rank)
    hold_today = tuple(name for name in named if today[name] == HOLDS)
    useful = tuple(one for one in ranked if set(one.hold) > set(hold_today) or one.remedy.is_worth_it)
    gateways = explained.links.gateways.names
    return JointRemedies(gateways=gateways, inverters=named, hold_today=hold_today, remedies=useful)


def _rank(one: Joint) -> tuple[float, ...]:
    """More of the named that hold first, then fewer others that lose, then less work, then more gain."""
    return (-len(one.hold), one.worse, one.remedy.effort, -one.remedy.gain_db)
