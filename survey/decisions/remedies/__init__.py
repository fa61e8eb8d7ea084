"""What would mend a link: changes to the site, each computed by running the changed plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from survey.base.errors import SurveyError
from survey.budget import HOLDS, Links, Progress
from survey.budget.explanation import Budget, Cost, budget_of, costs_of
from survey.decisions.placement import place
from survey.decisions.remedies.gateways import Cable, usual_cable
from survey.decisions.remedies.joint import Joint, JointRemedies, joint_of, joint_remedies
from survey.decisions.remedies.outlook import Outlook
from survey.decisions.remedies.remedy import CAUTIONS, WORTH_DB, Change, Remedy
from survey.decisions.remedies.trials import Trials
from survey.decisions.simulation import LinkMove, link_moves
from survey.routing import Hops, Network, Route, cover_spots, hops_of, network_between
from survey.scene import Scene
from survey.siting import CoverageMatrix

__all__ = [
    "CAUTIONS",
    "WORTH_DB",
    "Cable",
    "Change",
    "Explained",
    "Explanation",
    "Joint",
    "JointRemedies",
    "Outlook",
    "Remedy",
    "explain",
    "joint_of",
    "joint_remedies",
    "usual_cable",
]


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """One inverter explained.

    Attributes
    ----------
    budget : Budget
        Of its link to the gateway that it reports to; where all are full, to the one that it would report to.
    route : Route
        The way of its messages there.
    by_way_of : tuple of str
        The inverters in between.
    state : int
        What the route is worth: index into `budget.STATES`.
    costs : tuple of Cost
        What its obstacles cost it, the most first.
    remedies : tuple of Remedy
        What would mend it, the best first; none were tried where it holds, unless asked.
    idle : tuple of Remedy
        What was tried and does nothing, or harm.
    moves : tuple of LinkMove
        On whose position or height its link depends most.
    """

    budget: Budget
    route: Route
    by_way_of: tuple[str, ...]
    state: int
    costs: tuple[Cost, ...]
    remedies: tuple[Remedy, ...]
    idle: tuple[Remedy, ...]
    moves: tuple[LinkMove, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether its route holds."""
        return self.state == HOLDS


@dataclass(frozen=True, kw_only=True)
class Explained:
    """Some inverters explained.

    Attributes
    ----------
    scene : Scene
        The site.
    network : Network
        Every inverter with the gateways in use.
    why : str
        Why these gateways: ``stands``, ``named`` or ``recommended``, the last where none stands and none is named.
    cable : Cable
        What was assumed of cable.
    inverters : tuple of Explanation
        In the order of the names.
    """

    scene: Scene
    network: Network
    why: str
    cable: Cable
    inverters: tuple[Explanation, ...]

    @property
    def links(self) -> Links:
        """Of every inverter to the gateways in use."""
        return self.network.links

    @property
    def all_hold(self) -> bool:
        """Whether every inverter asked for holds."""
        return all(one.holds for one in self.inverters)


def explain(
    scene: Scene,
    inverters: Sequence[str],
    *,
    gateways: Sequence[str] = (),
    cable: Cable | None = None,
    spots: CoverageMatrix | None = None,
    hops: Hops | None = None,
    more_margin: bool = False,
    together: bool = False,
    progress: Progress | None = None,
) -> Explained:
    """Say where every decibel goes of the links of some inverters, and what would mend them.

    Parameters
    ----------
    scene : Scene
        The site.
    inverters : sequence of str
        Inverters.
    gateways : sequence of str
        Gateways or spots; without any, the gateways that stand today or, where none stands, the
        spots that `placement.place` recommends. Every inverter reports as `routing.network_between` says.
    cable : Cable, optional
        For an antenna away from its gateway; without one, `usual_cable`.
    spots : CoverageMatrix, optional
        The routes to every spot, where a `Placement` has them already.
    hops : Hops, optional
        The links between inverters, where they are known already.
    more_margin : bool
        Try remedies also for inverters that hold, to gain margin.
    together : bool
        Also try what does most for all of them: `joint_of` ranks it.
    progress : callable, optional
        Told what is done.

    Returns
    -------
    Explained

    Raises
    ------
    UnknownNameError
        Naming every name that there is not.
    SurveyError
        Where the plan has neither a gateway nor a place for one.
    """
    scene.check_names(places=gateways, inverters=inverters)
    file = scene.plan.file
    asked = scene.inverters.named(inverters, file=file, what="inverter")
    if not len(scene.gateways_and_spots):
        raise SurveyError(f"{file}: has no [[gateway]], [[spot]] or [[search]]; add a place for a gateway")
    why = "named" if gateways else "stands" if len(scene.gateways) else "recommended"
    if why == "recommended":
        placement = place(scene, progress=_part(progress, 0.0, 0.6))
        network, spots = placement.network, placement.coverage.matrix
    else:
        if hops is None and scene.plan.requirement.max_relays:
            hops = hops_of(scene, progress=_part(progress, 0.0, 0.3))
        network = network_between(scene, scene.gateways_asked(gateways), hops=hops)
    in_use = network.links.gateways
    rows = [scene.inverters.names.index(name) for name in asked.names]
    best = network.gateway_of[rows]
    budgets = [budget_of(network.links, i, j) for i, j in zip(rows, best.tolist(), strict=True)]
    part = (0.6, 0.8) if why == "recommended" else (0.3, 0.4)
    costs = costs_of(scene, asked, in_use.pick(best), progress=_part(progress, *part))
    used = cable or usual_cable(scene.plan.radio.frequency_mhz)
    tried_for = [number for number, i in enumerate(rows) if more_margin or network.state[i] < HOLDS]
    if tried_for and spots is None:
        spots = cover_spots(scene, hops=hops, progress=_part(progress, 0.4, 0.8)).matrix
    found: list[list[Remedy]] = [[] for _ in rows]
    if tried_for and spots is not None:
        trials = Trials(
            network=network,
            spots=spots,
            cable=used,
            rows=[rows[number] for number in tried_for],
            costs=[costs[number] for number in tried_for],
            together=together,
        )
        for number, remedies in zip(tried_for, trials.remedies(progress=_part(progress, 0.8, 1.0)), strict=True):
            found[number] = remedies
    elif progress:
        progress(1000, 1000)
    routes = [network.routes[i] for i in rows]
    moves = link_moves(network.links, list(zip(rows, best.tolist(), strict=True)))
    explanations = tuple(
        Explanation(
            budget=budget,
            route=route,
            by_way_of=tuple(scene.inverters.names[relay] for relay in route.relays),
            state=int(network.state[route.inverter]),
            costs=cost,
            remedies=tuple(sorted((one for one in tried if one.is_worth_it), key=lambda one: one.rank)),
            idle=tuple(one for one in tried if not one.is_worth_it),
            moves=moved,
        )
        for budget, route, cost, tried, moved in zip(budgets, routes, costs, found, moves, strict=True)
    )
    return Explained(scene=scene, network=network, why=why, cable=used, inverters=explanations)


def _part(progress: Progress | None, start: float, stop: float) -> Progress | None:
    """Progress in one part of the work, reported as progress in the whole of it, in thousandths."""
    if progress is None:
        return None

    def in_part(done: int, total: int) -> None:
        progress(round(1000.0 * (start + (stop - start) * done / max(total, 1))), 1000)

    return in_part
