"""Trying remedies: one changed site serves all the inverters that are asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from survey.base.layout import place_name
from survey.base.limits import MOST_RELAYS
from survey.budget import HOLDS, Progress, links_between
from survey.budget.explanation import Cost, scene_without
from survey.decisions.remedies.gateways import Cable, Variant, cable_m, is_inside, variants_of
from survey.decisions.remedies.outlook import Outlook, in_use, outlook_of, with_each
from survey.decisions.remedies.remedy import IN_REACH_M, Change, Remedy
from survey.geometry import on_sheet
from survey.inputs.plan import Box
from survey.routing import Hops, Network, coverage_matrix, hops_of, network_between
from survey.scene import Ends, Scene, join
from survey.siting import CoverageMatrix

Found = list[list[Remedy]]
CARRIED_M = 0.5
"""An inverter or a gateway this close to an obstacle is fixed to it: frames on flat tops are lower (common practice).
[m]"""
NEAR_M = 0.05
"""A spot this close to a gateway is where the gateway is already. [m]"""


class Trials:
    """All remedies for some inverters.

    Parameters
    ----------
    network : Network
        Every inverter with the gateways in use.
    spots : CoverageMatrix
        To every spot.
    cable : Cable
        For an antenna away from its gateway.
    rows : sequence of int
        The inverters that are asked for.
    costs : sequence of tuple of Cost
        What the obstacles of each of them cost, the most first.
    together : bool
        Also try the point of each location that does most for all of them, not only the one best for each.
    """

    def __init__(
        self,
        *,
        network: Network,
        spots: CoverageMatrix,
        cable: Cable,
        rows: Sequence[int],
        costs: Sequence[tuple[Cost, ...]],
        together: bool = False,
    ) -> None:
        self.together = together
        self.network, self.spots, self.cable, self.rows, self.costs = network, spots, cable, rows, costs
        self.scene: Scene = network.scene
        self.in_use: Ends = network.links.gateways
        self.hops: Hops | None = network.hops if self.scene.plan.requirement.max_relays else None
        self.best = network.gateway_of
        self.today = outlook_of(network)
        self.found: Found = [[] for _ in rows]
        self.removable = [self._removable(number) for number in range(len(rows))]

    def remedies(self, *, progress: Progress | None = None) -> Found:
        """Try everything.

        Returns
        -------
        list of list of Remedy
            For each inverter asked for, in no order; also what does nothing.
        """
        tops = {cost.obstacle: cost.removal for cost in self.removable if cost}
        trials: list[Callable[[], None]] = [
            *(partial(self._try_gateway, gateway) for gateway in sorted({int(self.best[i]) for i in self.rows})),
            self._try_one_more,
            self._try_relays,
            *(partial(self._try_without, obstacle, removal) for obstacle, removal in tops.items()),
        ]
        for done, attempt in enumerate(trials, start=1):
            attempt()
            if progress:
                progress(done, len(trials))
        return self.found

    def _removable(self, number: int) -> Cost | None:
        """The obstacle that costs an inverter most of those that can go; None where none is worth it."""
        if not self._wants_room(number):
            return None
        return next((cost for cost in self.costs[number] if cost.removal and not self._carries(cost.obstacle)), None)

    def _carries(self, obstacle: str) -> bool:
        """Whether an obstacle has inverters or a gateway in use on it, or a gateway in it."""
        parts = {one.name for one in self.scene.plan.obstacles if one.removed_as == obstacle}
        own = np.isin(
            self.scene.sheets.owner, [k for k, name in enumerate(self.scene.obstacles.names) if name in parts]
        )
        ends_m = np.concatenate([self.scene.inverters.at_m, self.in_use.at_m])
        boxes = [one for one in self.scene.plan.obstacles if isinstance(one, Box) and one.name in parts]
        return bool(np.any(on_sheet(ends_m, self.scene.sheets, within_m=CARRIED_M)[:, own])) or any(
            is_inside(box, at_m) for box in boxes for at_m in self.in_use.at_m
        )

    def _wants_room(self, number: int) -> bool:
        """Whether an obstacle is worth taking away for an inverter: not where its messages find their way as it is.

        Without relays it is tried for a link that holds, too, to give it more room; with them all links between
        inverters would have to be worked out anew.
        """
        return self.hops is None or bool(self.today.state[self.rows[number]] < HOLDS)

    def _add(self, number: int, after: Outlook, **about: object) -> None:
        """A remedy for one of the inverters asked for, by how all fare after it."""
        i = self.rows[number]
        before, now = self.today.state, after.state
        changes = tuple(
            Change(inverter=self.scene.inverters.names[k], before=int(before[k]), after=int(now[k]))
            for k in np.flatnonzero(before != now).tolist()
            if k != i
        )
        margin_db, margin_before_db = float(after.margin_db[i]), float(self.today.margin_db[i])
        remedy = Remedy(
            gain_db=margin_db - margin_before_db if margin_db != margin_before_db else 0.0,  # where nothing arrives too
            margin_db=margin_db,
            reliability=float(after.reliability[i]),
            state=int(now[i]),
            state_before=int(before[i]),
            reliability_before=float(self.today.reliability[i]),
            changes=changes,
            **about,  # type: ignore[arg-type]  # the fields that say what is done
        )
        self.found[number].append(remedy)

    def _try_gateway(self, j: int) -> None:
        """A gateway raised, moved, its antenna on a cable; or at another spot altogether."""
        gateway, others = (
            self.in_use.pick([j]),
            self.network.matrix.only([k for k in range(len(self.in_use)) if k != j]),
        )
        mine = [number for number, i in enumerate(self.rows) if self.best[i] == j]
        reached = {number: self._spot_by_cable(gateway, self.rows[number]) for number in mine}
        near = sorted({spot for spot in reached.values() if spot >= 0})
        variants = variants_of(self.scene, gateway, cable=self.cable, spots=near)
        if variants:
            ends = join([one.gateway for one in variants])
            links = links_between(self.scene, self.scene.inverters, ends)
            after = with_each(self.scene, others, coverage_matrix(links, self.hops))
            for number in mine:
                for choice, one in self._offered(number, variants, after):
                    if one.spot in (-1, reached[number]):
                        self._add(
                            number,
                            after.at(choice),
                            kind=one.kind,
                            action=one.action,
                            cautions=one.cautions,
                            about=gateway.names[0],
                            at_m=tuple(one.gateway.at_m[0].tolist()),
                            cable_loss_db=float(one.gateway.loss_db[0] - gateway.loss_db[0]),
                        )
        self._add_spots(
            mine, with_each(self.scene, others, self.spots), kind="other spot", action="move the gateway to"
        )

    def _try_one_more(self) -> None:
        after = with_each(self.scene, self.network.matrix, self.spots)
        self._add_spots(range(len(self.rows)), after, kind="one more", action="add a gateway at")

    def _offered(self, number: int, variants: list[Variant], after: Outlook) -> list[tuple[int, Variant]]:
        """The variants of a gateway with their numbers; of the sides of a box that it is in only the best."""
        sides = np.array([one.kind == "outside" for one in variants])
        best = after.best_for(self.rows[number], sides)
        return [(choice, one) for choice, one in enumerate(variants) if not sides[choice] or choice == best]

    def _add_spots(self, numbers: Sequence[int], after: Outlook, *, kind: str, action: str) -> None:
        """The spot that does most for each of some inverters; of every location also the point best for all."""
        free = self._free_spots
        for number in numbers:
            self._add_spot(number, after.best_for(self.rows[number], free), after, kind=kind, action=action)
        if not self.together or not numbers:
            return
        places = np.array(self.scene.spots.places)
        for place in dict.fromkeys(self.scene.spots.places):
            choice = after.best_together(self.rows, free & (places == place))
            self._add_spot(numbers[0], choice, after, kind=kind, action=action)

    def _add_spot(self, number: int, choice: int, after: Outlook, *, kind: str, action: str) -> None:
        """A gateway at a spot; nothing where none is free."""
        spots = self.scene.spots
        if choice >= 0:
            x, y, height_m = spots.at_m[choice].tolist()
            self._add(
                number,
                after.at(choice),
                kind=kind,
                action=f"{action} {place_name(spots.names[choice])}",
                cautions=("height", "mains") if height_m > IN_REACH_M else ("mains",),
                about=spots.names[choice],
                at_m=(x, y, height_m),
            )

    @property
    def _free_spots(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Spots where no gateway in use is."""
        away_m = np.linalg.norm(self.scene.spots.at_m[:, None] - self.in_use.at_m[None], axis=2)
        return np.asarray(np.all(away_m > NEAR_M, axis=1))

    def _spot_by_cable(self, gateway: Ends, i: int) -> int:
        """The spot within reach of the cable that does most for an inverter, its loss counted; -1 without one."""
        length_m = cable_m(gateway, self.scene.spots)
        reached = np.flatnonzero(self._free_spots & (length_m <= self.cable.longest_m))
        if not len(reached):
            return -1
        loss_db = self.cable.loss_db_per_m * length_m[reached]
        return int(reached[np.argmax(self.spots.margin_db[i, reached] - loss_db)])

    def _try_relays(self) -> None:
        """By way of one inverter more than the plan allows, where it allows any."""
        most = self.scene.plan.requirement.max_relays + 1
        if self.hops is None or most > MOST_RELAYS:
            return
        scene = self.scene.wanting(max_relays=most)
        network = network_between(scene, self.in_use, hops=self.hops, links=replace(self.network.links, scene=scene))
        names, after = self.scene.inverters.names, outlook_of(network)
        for number, i in enumerate(self.rows):
            relays = [names[relay] for relay in network.routes[i].relays]
            if len(relays) == most:
                action = f"allow {most} relays (max_relays = {most}): {', '.join(relays)}"
                self._add(number, after, kind="relay", action=action, cautions=(), about=relays[0])

    def _try_without(self, obstacle: str, removal: str) -> None:
        """The site without the obstacle that costs some of the inverters most."""
        changed = scene_without(self.scene, obstacle)
        hops = None if self.hops is None else hops_of(changed)
        after = in_use(changed, coverage_matrix(links_between(changed, changed.inverters, self.in_use), hops))
        action = f"{removal} {obstacle}"
        for number, cost in enumerate(self.removable):
            if cost and cost.obstacle == obstacle:
                cautions = ("building",)
                self._add(number, after, kind="obstacle", action=action, cautions=cautions, about=obstacle)
