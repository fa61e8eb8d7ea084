"""Where every decibel of a link goes, what it can still lose, and which obstacle costs it most."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from survey.budget import CARRIERS, Links, Progress, links_between
from survey.inputs.plan import OwnRadio, Plan
from survey.scene import Ends, Scene, revised

NOTICEABLE_DB = 0.05
"""What changes a link by less than this is not told. [dB]"""


@dataclass(frozen=True, kw_only=True)
class Item:
    """One step of a budget.

    Attributes
    ----------
    item : str
        What it is, in words.
    kind : str
        ``power``, ``antenna``, ``mounting``, ``cable``, ``distance``, ``obstacle``, ``around`` or
        ``readings``.
    db : float
        What it adds to the level, below zero for a loss; the first is the transmit power. [dB]
    obstacle : str
        Which obstacle, where it is one.
    """

    item: str
    kind: str
    db: float
    obstacle: str = ""


@dataclass(frozen=True, kw_only=True)
class Budget:
    """A link from transmit power to margin, in its weaker direction.

    Attributes
    ----------
    inverter, gateway : str
        Its ends.
    direction : str
        ``up`` where the inverter sends, ``down`` where the gateway does.
    items : tuple of Item
        In the order from the sender to the receiver; they add up to the level.
    level_dbm, need_dbm : float
        Level at the receiver, and what it needs. [dBm]
    margin_db, other_margin_db : float
        Margin in this direction and in the other one. [dB]
    fade_margin_db, sigma_db : float
        What is held back of it, and the standard deviation of what the plan does not know. [dB]
    reliability : float
        Chance that the link works. [-]
    state : int
        Index into `budget.STATES`.
    spare_db : float
        What the link can still lose and hold; below zero what it lacks. [dB]
    carried_by : str
        One of `budget.CARRIERS`: the way that loses least.
    mirror : str
        The obstacle that throws back most of what comes by mirrors; nothing where there is none.
    """

    inverter: str
    gateway: str
    direction: str
    items: tuple[Item, ...]
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


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What a link would gain if an obstacle were not there: found by taking it away and computing again.

    Attributes
    ----------
    obstacle : str
        Its name; for modules that of their array.
    kind, removal : str
        Of the obstacle, as its class has them.
    gain_db, margin_db : float
        By how much the margin grows, and to what. [dB]
    """

    obstacle: str
    kind: str
    removal: str
    gain_db: float
    margin_db: float


def budget_of(links: Links, i: int, j: int) -> Budget:
    """Where every decibel of one link goes.

    Parameters
    ----------
    links : Links
        Links of a site.
    i, j : int
        Which inverter and which gateway of them.

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
    obstacles = _obstacle_items(links, i, j)
    fade_margin_db, sigma_db = plan.requirement.fade_margin_db, float(links.sigma_db[i, j])
    return Budget(
        inverter=inverters.names[i],
        gateway=gateways.names[j],
        direction="up" if up else "down",
        items=(
            Item(item=f"transmit power of the {sender}", kind="power", db=float(power_dbm)),
            *first,
            *_distance_items(links, i, j),
            *(obstacles if up else reversed(obstacles)),
            *_around_items(links, i, j),
            *_reading_items(links, i, j),
            *reversed(last),
        ),
        level_dbm=float((links.uplink_level_dbm if up else links.downlink_level_dbm)[i, j]),
        need_dbm=float(gateways.need_dbm[j] if up else inverters.need_dbm[i]),
        margin_db=min(margins_db),
        other_margin_db=max(margins_db),
        fade_margin_db=fade_margin_db,
        sigma_db=sigma_db,
        reliability=float(links.reliability[i, j]),
        state=int(links.state[i, j]),
        spare_db=min(margins_db) - fade_margin_db - _deviations(plan.requirement.reliability) * sigma_db,
        carried_by=CARRIERS[int(links.carrier[i, j])],
        mirror=links.mirror_of(i, j),
    )


def _deviations(chance: float) -> float:
    """Standard deviations that a normal variable stays below with this chance. [-]"""
    from statistics import NormalDist  # noqa: PLC0415  only to explain

    return NormalDist().inv_cdf(chance)


def _end_items(plan: Plan, ends: Ends, i: int, *, gain_dbi: float, what: str) -> list[Item]:
    """What one end costs or gives, from its radio to the air."""
    entries: list[OwnRadio] = [*plan.arrays, *plan.inverters]
    if what == "gateway":
        entries = [*plan.gateways, *plan.spots, *plan.searches]
    common = plan.radio.inverter if what == "inverter" else plan.radio.gateway
    radio = next((one.radio(common) for one in entries if getattr(one, "name", "") == ends.places[i]), common)
    loss_db = float(ends.loss_db[i])
    mounting_db = min(radio.mounting_loss_db, loss_db)
    cable_db = loss_db - mounting_db  # an antenna on a longer cable than the plan's has the rest here
    items = [
        Item(item=f"cable at the {what}", kind="cable", db=-cable_db),
        Item(item=f"mounting of the {what}", kind="mounting", db=-mounting_db),
    ]
    items = [one for one in items if one.db]
    return [*items, Item(item=f"antenna of the {what}", kind="antenna", db=gain_dbi)]


def _reading_items(links: Links, i: int, j: int) -> list[Item]:
    """What readings have shown all levels to be off by, where a fit is used."""
    correction = links.scene.correction
    if correction is None:
        return []
    offset_db = float(correction.offsets_db([links.inverters.names[i]], [links.gateways.names[j]])[0, 0])
    return [Item(item=f"offset found by readings ({correction.file})", kind="readings", db=offset_db)]


def _distance_items(links: Links, i: int, j: int) -> list[Item]:
    """What distance costs: free space, and what comes beyond."""
    environment = links.scene.plan.environment
    reference_m = environment.reference_distance_m
    base_db, distance_m = float(links.base_loss_db[i, j]), float(links.distance_m[i, j])
    beyond_db = 10.0 * environment.path_loss_exponent * float(np.log10(max(distance_m / reference_m, 1.0)))
    items = [Item(item=f"free space to {reference_m:g} m", kind="distance", db=beyond_db - base_db)]
    if beyond_db:
        item = f"from {reference_m:g} m to {distance_m:.1f} m, exponent {environment.path_loss_exponent:.4g}"
        items.append(Item(item=item, kind="distance", db=-beyond_db))
    return items


def _obstacle_items(links: Links, i: int, j: int) -> list[Item]:
    """What the straight line loses to each obstacle, in order from the inverter; an edge that it passes stands last."""
    items = []
    met = links.met_by(i, j)
    edge = met.pop() if links.grazed_db[i, j] > 0 else None
    for name in dict.fromkeys(name for name, _ in met):
        losses_db = [loss_db for other, loss_db in met if other == name]
        times = f", {len(losses_db)} times" if len(losses_db) > 1 else ""
        items.append(Item(item=f"through {name}{times}", kind="obstacle", db=-sum(losses_db), obstacle=name))
    if edge is not None:
        items.append(Item(item=f"past the edge of {edge[0]}", kind="obstacle", db=-edge[1], obstacle=edge[0]))
    return items


def _around_items(links: Links, i: int, j: int) -> list[Item]:
    """What comes around the obstacles and so is not lost after all."""
    back_db = float(links.straight_db[i, j] - links.obstacle_loss_db[i, j])
    return [Item(item="less what comes around", kind="around", db=back_db)] if back_db else []


def costs_of(scene: Scene, asked: Ends, gateways: Ends, *, progress: Progress | None = None) -> list[tuple[Cost, ...]]:
    """What stands in the way of some links, and what each of them would gain without it.

    Losses do not add: a wave that one obstacle lets through may be stopped by the next, or may get around both. So each
    obstacle that the straight line meets is taken away, alone, and the link is worked out again.

    Parameters
    ----------
    scene : Scene
        The site.
    asked, gateways : Ends
        The two ends of each link, as many of the one as of the other.
    progress : callable, optional
        Told how many obstacles are done.

    Returns
    -------
    list of tuple of Cost
        For each link what gains it something, the most first.
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
    """The link of each pair of ends, as a row of the links to its gateway; each gateway's are worked out in one go."""
    groups: dict[str, list[int]] = {}
    for number, name in enumerate(gateways.names):
        groups.setdefault(name, []).append(number)
    found: dict[int, tuple[Links, int]] = {}
    for numbers in groups.values():
        links = links_between(scene, asked.pick(numbers), gateways.pick(numbers[:1]))
        found.update((number, (links, row)) for row, number in enumerate(numbers))
    return [found[number] for number in range(len(gateways))]


def scene_without(scene: Scene, name: str) -> Scene:
    """The site without an obstacle, or without the modules of an array: all that is `removed_as` a name."""
    obstacles = tuple(one for one in scene.plan.obstacles if one.removed_as != name)
    return revised(scene, replace(scene.plan, obstacles=obstacles))
