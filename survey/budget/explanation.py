"""The link budget along the best path, what the link can still lose, and its main obstacles."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.budget import CARRIERS, Links, Progress, links_between
from survey.inputs.plan import OwnRadio, Plan
from survey.propagation import Way
from survey.scene import Ends, Scene, revised

NOTICEABLE_DB = 0.05
"""A smaller change of a link is not reported. A judgement. [dB]"""
MAX_NAMES = 2
"""Obstacles named in one item of a budget; the others are counted. A judgement."""

SIDES = {"over": "over", "left": "left of", "right": "right of"}
"""The side on which a path around passes its obstacles, by carrier."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """One step of a budget.

    Attributes
    ----------
    item : str
        Its name for people.
    kind : str
        ``power``, ``antenna``, ``mounting``, ``cable``, ``distance``; ``obstacle`` on a direct path, ``around`` for the
        whole loss of a path around or of a reflected one; ``other paths`` or ``readings``.
    db : float
        What it adds to the level, below zero for a loss; the first is the transmit power. [dB]
    obstacle : str
        The obstacle, where it is a single one.
    """

    item: str
    kind: str
    db: float
    obstacle: str = ""


@dataclass(frozen=True, kw_only=True)
class Budget:
    """A link from transmit power to margin along its best path, in its weaker direction.

    Attributes
    ----------
    inverter, gateway : str
        Its ends.
    direction : str
        ``up`` where the inverter sends, ``down`` where the gateway does.
    items : tuple of Item
        In the order from the sender to the receiver along the best path; they add up to the level.
    direct : tuple of Item
        Obstacle losses of the direct path, in order from the inverter; empty where that line is clear.
    level_dbm, need_dbm : float
        Level at the receiver, and its sensitivity with the noise rise there. [dBm]
    margin_db, other_margin_db : float
        Margin in this direction and in the other one. [dB]
    fade_margin_db, sigma_db : float
        Deducted before the chance is computed; uncertainty of the link, one standard deviation. [dB]
    reliability : float
        Chance that the link works. [-]
    state : int
        Index into `budget.STATES`.
    spare_db : float
        The loss that the link can still take and hold; below zero the gain that it needs to hold. [dB]
    carried_by : str
        One of `budget.CARRIERS`: the path that loses least.
    mirror : str
        The main reflector; nothing where there is no reflected path.
    """

    inverter: str
    gateway: str
    direction: str
    items: tuple[Item, ...]
    direct: tuple[Item, ...]
    level_dbm: float
    need_dbm: float
    margin_db: float
    other_margin_db: float
    fade_margin_db: float
    sigma_db: float
    reliability: float
    state: int
    spare_db: float
    carried_by: str
    mirror: str

    @property
    def direct_db(self) -> float:
        """Obstacle loss of the direct path. [dB]"""
        return -sum(item.db for item in self.direct)

    @property
    def around_db(self) -> float:
        """Obstacle loss of the best path, where that is not the direct one; else that of the direct path. [dB]"""
        return next((-item.db for item in self.items if item.kind == "around"), self.direct_db)


@dataclass(frozen=True, kw_only=True)
class Cost:
    """The gain of a link without one obstacle: computed anew with that obstacle removed.

    Attributes
    ----------
    obstacle : str
        Its name; for modules that of their array.
    kind, removal : str
        Of the obstacle, as `Obstacle` has them.
    gain_db, margin_db : float
        By how much the margin grows, and to what. [dB]
    """

    obstacle: str
    kind: str
    removal: str
    gain_db: float
    margin_db: float


def budget_of(links: Links, i: int, j: int) -> Budget:
    """Return the budget of one link.

    Parameters
    ----------
    links : Links
        Links of a site.
    i, j : int
        Index of the inverter and of the gateway.

    Returns
    -------
    Budget
        In the direction of the smaller margin; where both are equal, from the inverter to the gateway.
    """
    inverters, gateways, plan = links.inverters, links.gateways, links.scene.plan
    near_dbi, far_dbi = (np.broadcast_to(one, links.shape)[i, j] for one in links.antenna_gains_dbi)
    near = _end_items(plan, inverters, i, gain_dbi=float(near_dbi), what="inverter")
    far = _end_items(plan, gateways, j, gain_dbi=float(far_dbi), what="gateway")
    up = bool(links.uplink_margin_db[i, j] <= links.downlink_margin_db[i, j])
    power_dbm = inverters.tx_power_dbm[i] if up else gateways.tx_power_dbm[j]
    sender, first, last = ("inverter", near, far) if up else ("gateway", far, near)
    margins_db = float(links.uplink_margin_db[i, j]), float(links.downlink_margin_db[i, j])
    direct = _direct_items(links, i, j)
    carrier = int(links.carrier[i, j])
    path = _path_items(links, i, j, carrier=carrier) if carrier else direct if up else tuple(reversed(direct))
    fade_margin_db, sigma_db = plan.requirement.fade_margin_db, float(links.sigma_db[i, j])
    return Budget(
        inverter=inverters.names[i],
        gateway=gateways.names[j],
        direction="up" if up else "down",
        items=(
            Item(item=f"transmit power of the {sender}", kind="power", db=float(power_dbm)),
            *first,
            *_distance_items(links, i, j),
            *path,
            *_other_paths_items(links, i, j, carrier=carrier),
            *_reading_items(links, i, j),
            *reversed(last),
        ),
        direct=direct,
        level_dbm=float((links.uplink_level_dbm if up else links.downlink_level_dbm)[i, j]),
        need_dbm=float(gateways.need_dbm[j] if up else inverters.need_dbm[i]),
        margin_db=min(margins_db),
        other_margin_db=max(margins_db),
        fade_margin_db=fade_margin_db,
        sigma_db=sigma_db,
        reliability=float(links.reliability[i, j]),
        state=int(links.state[i, j]),
        spare_db=min(margins_db) - fade_margin_db - _deviations(plan.requirement.reliability) * sigma_db,
        carried_by=CARRIERS[carrier],
        mirror=links.mirror_of(i, j),
    )


def _deviations(chance: float) -> float:
    """Return the standard deviations that a normal variable stays below with this chance. [-]"""
    from statistics import NormalDist  # noqa: PLC0415  only to explain

    return NormalDist().inv_cdf(chance)


def _end_items(plan: Plan, ends: Ends, i: int, *, gain_dbi: float, what: str) -> list[Item]:
    """Return the gains and losses of one end, from its radio to the air."""
    entries: list[OwnRadio] = [*plan.arrays, *plan.inverters]
    if what == "gateway":
        entries = [*plan.gateways, *plan.spots, *plan.searches]
    common = plan.radio.inverter if what == "inverter" else plan.radio.gateway
    radio = next((one.radio(common) for one in entries if getattr(one, "name", "") == ends.places[i]), common)
    loss_db = float(ends.loss_db[i])
    mounting_db = min(radio.mounting_loss_db, loss_db)
    cable_db = loss_db - mounting_db  # an antenna on a longer cable than the plan's has the rest here
    items = [
        Item(item=f"cable loss of the {what}", kind="cable", db=-cable_db),
        Item(item=f"mounting loss of the {what}", kind="mounting", db=-mounting_db),
    ]
    items = [one for one in items if one.db]
    return [*items, Item(item=f"antenna gain of the {what}", kind="antenna", db=gain_dbi)]


def _reading_items(links: Links, i: int, j: int) -> list[Item]:
    """Return the offset that a fit to readings adds to all levels."""
    correction = links.scene.correction
    if correction is None:
        return []
    offset_db = float(correction.offsets_db([links.inverters.names[i]], [links.gateways.names[j]])[0, 0])
    items = [Item(item=f"offset from readings ({correction.file})", kind="readings", db=offset_db)]
    near_db = float(links.read_shadow[0][i, j])
    return [*items, Item(item="shadowing as read nearby", kind="readings", db=near_db)] if near_db else items


def _distance_items(links: Links, i: int, j: int) -> list[Item]:
    """Return the losses over distance: free space up to the reference distance, then the exponent's."""
    environment = links.scene.plan.environment
    reference_m = environment.reference_distance_m
    base_db, distance_m = float(links.base_loss_db[i, j]), float(links.distance_m[i, j])
    beyond_db = 10.0 * environment.path_loss_exponent * float(np.log10(max(distance_m / reference_m, 1.0)))
    items = [Item(item=f"free space, first {reference_m:g} m", kind="distance", db=beyond_db - base_db)]
    if beyond_db:
        item = f"{reference_m:g} m to {distance_m:.1f} m, exponent {environment.path_loss_exponent:.4g}"
        items.append(Item(item=item, kind="distance", db=-beyond_db))
    return items


def _crossed(links: Links, i: int, j: int) -> tuple[list[tuple[str, float]], tuple[str, float] | None]:
    """Return what the direct line goes through, and the edge that it grazes, with losses. [dB]"""
    crossed = [*links.met_by(i, j)]
    edge = crossed.pop() if links.grazed_db[i, j] > 0 else None
    return crossed, edge


def _direct_items(links: Links, i: int, j: int) -> tuple[Item, ...]:
    """Return the obstacle losses of the direct path, in order from the inverter; an edge that it grazes comes last."""
    items = []
    crossed, edge = _crossed(links, i, j)
    for name in dict.fromkeys(name for name, _ in crossed):
        losses_db = [loss_db for crossed_name, loss_db in crossed if crossed_name == name]
        times = f", {len(losses_db)} times" if len(losses_db) > 1 else ""
        items.append(Item(item=f"through {name}{times}", kind="obstacle", db=-sum(losses_db), obstacle=name))
    if edge is not None:
        items.append(Item(item=f"past the edge of {edge[0]}", kind="obstacle", db=-edge[1], obstacle=edge[0]))
    return tuple(items)


def _path_items(links: Links, i: int, j: int, *, carrier: int) -> tuple[Item, ...]:
    """Return the loss of the best path where that is not the direct one: one item, its loss is known as a whole."""
    loss_db = float(links.around_db[carrier - 1, i, j])
    if CARRIERS[carrier] == Way.REFLECTED.name.lower():
        reflector = links.mirror_of(i, j)
        return (Item(item=f"reflected from {reflector}", kind="around", db=-loss_db, obstacle=reflector),)
    by_loss: dict[str, float] = {}
    for name, crossed_db in _crossed(links, i, j)[0]:
        by_loss[name] = by_loss.get(name, 0.0) + crossed_db
    names = sorted(by_loss, key=lambda name: -by_loss[name])
    where = f"{SIDES[CARRIERS[carrier]]} {_joined(names)}"
    obstacle = names[0] if len(names) == 1 else ""
    return (Item(item=f"{where} (diffraction)", kind="around", db=-loss_db, obstacle=obstacle),)


def _joined(names: list[str]) -> str:
    """Return the first names, and how many more there are.

    Examples
    --------
    >>> _joined(["A"]), _joined(["A", "B"]), _joined(["A", "B", "C", "D"])
    ('A', 'A and B', 'A, B and 2 more')
    """
    if len(names) <= MAX_NAMES:
        return " and ".join(names) or "the obstacles"
    return f"{', '.join(names[:MAX_NAMES])} and {len(names) - MAX_NAMES} more"


def _other_paths_items(links: Links, i: int, j: int, *, carrier: int) -> list[Item]:
    """Return the power that the other paths add to that of the best one."""
    best_db = links.around_db[carrier - 1, i, j] if carrier else links.straight_db[i, j]
    gain_db = float(best_db - links.obstacle_loss_db[i, j])
    return [Item(item="gain from the other paths", kind="other paths", db=gain_db)] if gain_db else []


def costs_of(scene: Scene, asked: Ends, gateways: Ends, *, progress: Progress | None = None) -> list[tuple[Cost, ...]]:
    """Return the obstacles of some links, and the gain of each link without each of them.

    Losses do not add: one obstacle may let a signal through that the next one blocks, or one path may lead around both.
    So each obstacle on the direct line is removed, alone, and the link is computed again.

    Parameters
    ----------
    scene : Scene
        The site.
    asked, gateways : Ends
        The two ends of each link, as many of the one as of the other.
    progress : callable, optional
        Called with how many obstacles are done.

    Returns
    -------
    list of tuple of Cost
        For each link its obstacles with a gain, the greatest gain first.
    """
    links = _pairs(scene, asked, gateways)
    met: dict[str, list[int]] = {}
    removed_as = {one.name: one.removed_as for one in scene.plan.obstacles}
    example = {one.removed_as: one for one in scene.plan.obstacles}
    for number, (pairs, i) in enumerate(links):
        for name in dict.fromkeys(removed_as[name] for name, _ in pairs.met_by(i, 0)):
            met.setdefault(name, []).append(number)
    found: list[list[Cost]] = [[] for _ in links]
    for done, (name, numbers) in enumerate(met.items(), start=1):
        without = _pairs(scene_without(scene, name), asked.pick(numbers), gateways.pick(numbers))
        for number, (pairs, i) in zip(numbers, without, strict=True):
            margin_db, (now, row) = float(pairs.margin_db[i, 0]), links[number]
            gain_db = margin_db - float(now.margin_db[row, 0])
            if gain_db >= NOTICEABLE_DB:
                kind, removal = example[name].kind, example[name].removal
                cost = Cost(obstacle=name, kind=kind, removal=removal, gain_db=gain_db, margin_db=margin_db)
                found[number].append(cost)
        if progress:
            progress(done, len(met))
    return [tuple(sorted(costs, key=lambda cost: -cost.gain_db)) for costs in found]


def _pairs(scene: Scene, asked: Ends, gateways: Ends) -> list[tuple[Links, int]]:
    """Return the link of each pair of ends, as a row of the links to its gateway, computed together by gateway."""
    groups: dict[str, list[int]] = {}
    for number, name in enumerate(gateways.names):
        groups.setdefault(name, []).append(number)
    found: dict[int, tuple[Links, int]] = {}
    for numbers in groups.values():
        links = links_between(scene, asked.pick(numbers), gateways.pick(numbers[:1]))
        found.update((number, (links, row)) for row, number in enumerate(numbers))
    return [found[number] for number in range(len(gateways))]


def scene_without(scene: Scene, name: str) -> Scene:
    """Return the site without an obstacle, or without the modules of an array: all that is `removed_as` a name."""
    obstacles = tuple(one for one in scene.plan.obstacles if one.removed_as != name)
    return revised(scene, replace(scene.plan, obstacles=obstacles))
