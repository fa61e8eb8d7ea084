"""What would mend a link: changes to the site, each computed by running the changed plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from survey.errors import SurveyError
from survey.explanation import Budget, Cost, budget_of, costs_of
from survey.links import HOLDS, Links, Progress, links_between
from survey.placement import place
from survey.remedies.gateways import Cable, usual_cable
from survey.remedies.outlook import Outlook, best_gateways, spots_outlook
from survey.remedies.remedy import CAUTIONS, WORTH_DB, Change, Remedy
from survey.remedies.trials import Trials
from survey.scene import Ends, Scene

__all__ = [
    "CAUTIONS",
    "WORTH_DB",
    "Cable",
    "Change",
    "Explained",
    "Explanation",
    "Outlook",
    "Remedy",
    "explain",
    "spots_outlook",
    "usual_cable",
]


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """One inverter explained.

    Attributes
    ----------
    budget : Budget
        Of its best link to the gateways in use.
    costs : tuple of Cost
        What its obstacles cost it, the most first.
    remedies : tuple of Remedy
        What would mend it, the best first.
    idle : tuple of Remedy
        What was tried and does nothing, or harm.
    """

    budget: Budget
    costs: tuple[Cost, ...]
    remedies: tuple[Remedy, ...]
    idle: tuple[Remedy, ...]


@dataclass(frozen=True, kw_only=True)
class Explained:
    """Some inverters explained.

    Attributes
    ----------
    scene : Scene
        The site.
    links : Links
        Of every inverter to the gateways in use.
    why : str
        Why these gateways: ``stands``, ``named`` or ``recommended``, the last where none stands and none is named.
    cable : Cable
        What was assumed of cable.
    inverters : tuple of Explanation
        In the order of the names.
    """

    scene: Scene
    links: Links
    why: str
    cable: Cable
    inverters: tuple[Explanation, ...]

    @property
    def all_hold(self) -> bool:
        """Whether every inverter asked for holds."""
        return all(one.budget.state == HOLDS for one in self.inverters)


def explain(
    scene: Scene,
    inverters: Sequence[str],
    *,
    gateways: Sequence[str] = (),
    cable: Cable | None = None,
    spots: Outlook | None = None,
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
        spots that `placement.place` recommends. Every inverter takes the one by which its link works most often.
    cable : Cable, optional
        For an antenna away from its gateway; without one, `usual_cable`.
    spots : Outlook, optional
        How every inverter fares at every spot, where `spots_outlook` has worked that out already.
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
    spots = spots or spots_outlook(scene, progress=_part(progress, 0.0, 0.6))
    why = "named" if gateways else "stands" if len(scene.gateways) else "recommended"
    in_use = scene.gateways_and_spots.named(gateways, file=file, what="gateway or spot") if gateways else scene.gateways
    if not len(in_use):
        in_use = _recommended(scene, spots)
    links = links_between(scene, scene.inverters, in_use)
    rows = [scene.inverters.names.index(name) for name in asked.names]
    best = best_gateways(links)[rows]
    budgets = [budget_of(links, i, j) for i, j in zip(rows, best.tolist(), strict=True)]
    costs = costs_of(scene, asked, in_use.pick(best), progress=_part(progress, 0.6, 0.8))
    used = cable or usual_cable(scene.plan.radio.frequency_mhz)
    trials = Trials(links=links, spots=spots, cable=used, rows=rows, costs=costs)
    found = trials.remedies(progress=_part(progress, 0.8, 1.0))
    explanations = tuple(
        Explanation(
            budget=budget,
            costs=cost,
            remedies=tuple(sorted((one for one in tried if one.is_worth_it), key=lambda one: one.rank)),
            idle=tuple(one for one in tried if not one.is_worth_it),
        )
        for budget, cost, tried in zip(budgets, costs, found, strict=True)
    )
    return Explained(scene=scene, links=links, why=why, cable=used, inverters=explanations)


def _recommended(scene: Scene, spots: Outlook) -> Ends:
    """Where `placement.place` puts the gateways; with a single one and no relays the spots alone tell that."""
    wanted = scene.plan.requirement
    if wanted.gateways > 1 or wanted.max_relays or wanted.inverters_per_gateway:
        return place(scene).network.links.gateways
    return scene.spots.pick(spots.scores(scene.spots).order()[:1])


def _part(progress: Progress | None, start: float, stop: float) -> Progress | None:
    """Progress in one part of the work, told as progress in the whole of it, in thousandths."""
    if progress is None:
        return None

    def told(done: int, total: int) -> None:
        progress(round(1000.0 * (start + (stop - start) * done / max(total, 1))), 1000)

    return told
