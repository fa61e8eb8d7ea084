"""Spots between two plans, such as before and after a container came: what changed, and by which obstacle."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import SurveyError, one_line
from survey.budget import Links, Progress, links_between
from survey.decisions.placement import Scores, scores_of
from survey.decisions.simulation import SpotRuns, geometries_for, spot_runs
from survey.inputs.plan import Obstacle, Plan
from survey.routing import Hops, Network, coverage_matrix, hops_of, network_between
from survey.scene import Ends, Scene, corrected, scene_of

CHANGED_DB = 0.05
"""A margin that moves by less than this has not changed. [dB]"""
DEAF_DB = -1_000.0
"""With a margin below this a link is as dead as with this: differences stay finite. [dB]"""
NAMES_TOLD = 10
"""How many names a message lists: what fits a few lines. A judgement."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """One thing that differs between two plans.

    Attributes
    ----------
    name : str
        The obstacle or the material; nothing for the rest of the plan.
    kind : str
        Of an obstacle; ``material``; ``rest`` for radio, environment, positions and modules.
    how : str
        ``new``, ``gone`` or ``changed``.
    """

    name: str
    kind: str
    how: str


@dataclass(frozen=True, kw_only=True)
class BetweenPlans:
    """Some spots in two plans.

    Attributes
    ----------
    before, after : Links
        The links in either, shape (inverters, spots), inverters in the order of the first plan.
    before_scores, after_scores : Scores
        How each spot would serve alone, by relays too where its plan allows them.
    before_drawn, after_drawn : SpotRuns
        The same in draws: with the same seed the same random numbers for both plans.
    after_network : Network
        The routes in the second plan with a gateway at every one of the spots.
    changes : tuple of Change
        All that differs.
    cause : ndarray of int, shape (inverters, spots)
        The change that explains most of a link's; -1 where nothing changed, or no single one explains any of it.
    cause_db : ndarray of float, shape (inverters, spots)
        What that one alone does to the margin; 0 where there is none. [dB]
    """

    before: Links
    after: Links
    before_scores: Scores
    after_scores: Scores
    before_drawn: SpotRuns
    after_drawn: SpotRuns
    after_network: Network
    changes: tuple[Change, ...]
    cause: IntArray
    cause_db: FloatArray

    @property
    def difference_db(self) -> FloatArray:
        """How much better each margin is in the second plan, shape (inverters, spots). [dB]"""
        return _heard(self.after) - _heard(self.before)

    @property
    def changed(self) -> NDArray[np.bool_]:
        """Which links have another margin or another state, shape (inverters, spots)."""
        return np.asarray((np.abs(self.difference_db) >= CHANGED_DB) | (self.before.state != self.after.state))


def compare_plans(
    before: Scene, after: Scene, names: Sequence[str], *, draws: int, seed: int, progress: Progress | None = None
) -> BetweenPlans:
    """Put spots side by side in two plans, and say what changed each link.

    Parameters
    ----------
    before, after : Scene
        The two sites, with the same inverters by name.
    names : sequence of str
        Spots or gateways that stand in both plans.
    draws, seed : int
        How many draws, and the beginning of their random numbers.
    progress : callable, optional
        Told how many changes have been tried.

    Returns
    -------
    BetweenPlans
        In the order of the names.

    Raises
    ------
    SurveyError
        Where the inverters do not match, or a plan does not have a name.

    Notes
    -----
    Each change is taken back alone in the second plan, and the links are worked out again: what that brings back is
    what the change has cost. Where this explains less than half of a link's change (two containers that hide the same
    link), each is also put alone into the first plan. The change that does most of either is named.
    """
    inverters = _same_inverters(before, after)
    first = _links(before, inverters, names)
    second = _links(after, inverters, names)
    found = _changes(before.plan, after.plan, first, second)
    difference_db = _heard(second) - _heard(first)
    effects_db = np.zeros((len(found), *first.shape))
    for k, one in enumerate(found):
        effects_db[k] = _heard(second) - _heard(_links(_laid_out(one.taken_back(), before, after), inverters, names))
        if progress:
            progress(k + 1, len(found))
    towards = effects_db * np.sign(difference_db)
    unexplained = towards.max(axis=0, initial=0.0) < np.abs(difference_db) / 2.0
    if np.any(unexplained & (np.abs(difference_db) >= CHANGED_DB)):
        for k, one in enumerate(found):
            alone_db = _heard(_links(_laid_out(one.put_in(), before, after), inverters, names)) - _heard(first)
            more = unexplained & (alone_db * np.sign(difference_db) > towards[k])
            effects_db[k][more] = alone_db[more]
    cause, cause_db = _causes(effects_db, difference_db)
    before_hops, after_hops = _hops(before, inverters), _hops(after, inverters)
    return BetweenPlans(
        before=first,
        after=second,
        before_scores=scores_of(first.gateways, coverage_matrix(first, before_hops)),
        after_scores=scores_of(second.gateways, coverage_matrix(second, after_hops)),
        before_drawn=spot_runs(
            first, before_hops, draws=draws, seed=seed, geometries=geometries_for(first, draws, seed)
        ),
        after_drawn=spot_runs(
            second, after_hops, draws=draws, seed=seed, geometries=geometries_for(second, draws, seed)
        ),
        after_network=network_between(after, second.gateways, hops=after_hops, links=second),
        changes=tuple(one.change for one in found),
        cause=cause,
        cause_db=cause_db,
    )


def _hops(scene: Scene, inverters: Sequence[str]) -> Hops | None:
    """The links between the inverters of a plan, in the order of the first one; none where it allows no relays."""
    if not scene.plan.requirement.max_relays:
        return None
    return hops_of(replace(scene, inverters=_ends(scene, inverters)))


def _causes(effects_db: FloatArray, difference_db: FloatArray) -> tuple[IntArray, FloatArray]:
    """For every link the change that does most in the direction of its own, and what it does."""
    none = np.full(difference_db.shape, -1, dtype=np.int64), np.zeros(difference_db.shape)
    if not len(effects_db):
        return none
    most = np.argmax(effects_db * np.sign(difference_db), axis=0)
    most_db = np.take_along_axis(effects_db, most[None], axis=0)[0]
    named = (np.abs(difference_db) >= CHANGED_DB) & (most_db * np.sign(difference_db) >= CHANGED_DB)
    return np.where(named, most, -1), np.where(named, most_db, 0.0)


def _heard(links: Links) -> FloatArray:
    return np.maximum(links.margin_db, DEAF_DB)


def _links(scene: Scene, inverters: Sequence[str], names: Sequence[str]) -> Links:
    far = scene.gateways_and_spots.named(names, file=scene.plan.file, what="gateway or spot")
    return links_between(scene, _ends(scene, inverters), far)


def _ends(scene: Scene, inverters: Sequence[str]) -> Ends:
    return scene.inverters.named(inverters, file=scene.plan.file, what="inverter")


def _laid_out(plan: Plan, *sources: Scene) -> Scene:
    """A plan made of pieces of others, with what a fit has told of those."""
    scene = scene_of(plan)
    fits = [(one.obstacles.names, one.correction) for one in sources if one.correction is not None]
    if not fits:
        return scene
    known = {name: (fit.unit[k], fit.change_db[k]) for names, fit in reversed(fits) for k, name in enumerate(names)}
    figures = [known.get(name, (-1, 0.0)) for name in scene.obstacles.names]
    unit, change_db = np.array([one[0] for one in figures], dtype=np.int64), np.array([one[1] for one in figures])
    return corrected(scene, replace(fits[0][1], unit=unit, change_db=change_db))


def _same_inverters(before: Scene, after: Scene) -> tuple[str, ...]:
    """The inverters of both plans, in the order of the first.

    Raises
    ------
    SurveyError
        Naming those that only one of them has.
    """
    one, other = before.inverters.names, after.inverters.names
    told = []
    for file, missing in (
        (after.plan.file, [name for name in one if name not in set(other)]),
        (before.plan.file, [name for name in other if name not in set(one)]),
    ):
        if missing:
            more = f" and {len(missing) - NAMES_TOLD} more" if len(missing) > NAMES_TOLD else ""
            told.append(one_line(f"{file}: does not have {', '.join(missing[:NAMES_TOLD])}{more}"))
    if told:
        files = one_line(f"{before.plan.file} and {after.plan.file}")
        raise SurveyError("\n".join([f"{files}: the inverters of the two plans do not match", *told]))
    return one


# ------------------------------------------------------------------------------------- what differs between two plans


@dataclass(frozen=True, kw_only=True)
class _Revision:
    """A change, and the plans with it taken back alone from the second, and put alone into the first."""

    change: Change
    taken_back: Callable[[], Plan]
    put_in: Callable[[], Plan]


def _changes(before: Plan, after: Plan, first: Links, second: Links) -> list[_Revision]:
    """All that differs: obstacles in the order of the plans, then materials, then the rest."""
    return [*_obstacle_changes(before, after), *_material_changes(before, after), *_rest(before, after, first, second)]


def _obstacle_changes(before: Plan, after: Plan) -> list[_Revision]:
    one, other = _obstacles(before), _obstacles(after)
    found = []
    for name in dict.fromkeys([*one, *other]):
        old, new = one.get(name, ()), other.get(name, ())
        if old == new:
            continue
        (kind, _), how = (new or old)[0].entry, "changed" if old and new else "new" if new else "gone"
        found.append(
            _Revision(
                change=Change(name=name, kind=kind, how=how),
                taken_back=partial(_with_obstacle, after, name, old, before),
                put_in=partial(_with_obstacle, before, name, new, after),
            )
        )
    return found


def _obstacles(plan: Plan) -> dict[str, tuple[Obstacle, ...]]:
    """The obstacles that each entry of a plan is or makes, by its name; what comes with inverters is left out."""
    entries: dict[str, tuple[Obstacle, ...]] = {}
    for one in plan.obstacles:
        if not one.is_equipment:
            entries[one.entry[1]] = (*entries.get(one.entry[1], ()), one)
    return entries


def _with_obstacle(plan: Plan, name: str, placed: tuple[Obstacle, ...], source: Plan) -> Plan:
    """A plan whose obstacles of one entry are those of another plan, or are not there."""
    kept = tuple(one for one in plan.obstacles if one.is_equipment or one.entry[1] != name)
    for material in dict.fromkeys(one.made_of.casefold() for one in placed if one.made_of):
        if material not in plan.materials:
            plan = _with_material(plan, material, source)
    return replace(plan, obstacles=(*kept, *placed))


def _material_changes(before: Plan, after: Plan) -> list[_Revision]:
    """Materials that both plans know, with another loss or spread: of their own, or fitted."""
    found = []
    for key in dict.fromkeys([*before.materials, *after.materials]):
        old, new = before.materials.get(key), after.materials.get(key)
        if old is None or new is None or old == new:
            continue  # what only one plan knows comes in with the obstacles made of it
        found.append(
            _Revision(
                change=Change(name=new.name, kind="material", how="changed"),
                taken_back=partial(_with_material, after, key, before),
                put_in=partial(_with_material, before, key, after),
            )
        )
    return found


def _with_material(plan: Plan, key: str, source: Plan) -> Plan:
    """A plan that has one material as another plan has it."""
    kept = tuple(one for one in plan.own_materials if one.name.casefold() != key)
    taken = tuple(one for one in source.own_materials if one.name.casefold() == key)
    return replace(plan, own_materials=(*kept, *taken))


def _rest(before: Plan, after: Plan, first: Links, second: Links) -> list[_Revision]:
    """Radio, environment, positions and modules, all as one change."""
    same = (
        before.radio == after.radio
        and before.environment == after.environment
        and before.arrays == after.arrays
        and _alike(first.inverters, second.inverters)
        and _alike(first.gateways, second.gateways)
    )
    if same:
        return []
    return [
        _Revision(
            change=Change(name="", kind="rest", how="changed"),
            taken_back=partial(_with_all, before, after),
            put_in=partial(_with_all, after, before),
        )
    ]


def _with_all(plan: Plan, source: Plan) -> Plan:
    """A plan with all obstacles and materials of another."""
    own = tuple(one for one in plan.obstacles if one.is_equipment)
    others = tuple(one for one in source.obstacles if not one.is_equipment)
    return replace(plan, obstacles=(*others, *own), own_materials=source.own_materials)


def _alike(one: Ends, other: Ends) -> bool:
    """Whether two groups of radios stand alike."""
    pairs = ((getattr(one, field.name), getattr(other, field.name)) for field in fields(Ends))
    return all(np.array_equal(a, b) for a, b in pairs if isinstance(a, np.ndarray))
