"""What a page is made of: the recommendation, the gateways it is about, and the weakest links, each worked out once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.errors import SurveyError
from survey.budget import Links, Progress, links_between
from survey.decisions.inspection import Inspection, inspect
from survey.decisions.placement import Placement, PlacementOptions, place
from survey.decisions.remedies import Explained, explain
from survey.inputs.logs import Log
from survey.inputs.readings import Readings
from survey.measured.calibration import Fit, fit
from survey.measured.dropouts import Dropouts
from survey.measured.dropouts.sorting import dropouts_of
from survey.routing import Network, hops_of, network_between
from survey.scene import Ends, Scene

EXPLAINED = 5
"""So many of the weakest links are explained."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """What the user hands in besides the plan.

    Attributes
    ----------
    gateways : tuple of str
        Gateways or spots that the page is about; without any, the recommended ones.
    plain_scene : Scene or None
        The site as the plan has it, where the other one carries a fit.
    readings : Readings or None
        Levels measured on site.
    log : Log or None
        What was heard and what was missed.
    """

    gateways: tuple[str, ...] = ()
    plain_scene: Scene | None = None
    readings: Readings | None = None
    log: Log | None = None


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What a page tells.

    Attributes
    ----------
    scene : Scene
        The site.
    given : Given
        What the user handed in.
    options : PlacementOptions
        How the recommendation was asked for.
    placement : Placement or None
        The recommendation; None where the plan has no spot to choose from.
    network : Network
        Every inverter with the gateways that the page is about.
    about : str
        Why these: ``recommended``, ``named`` or ``stands``.
    today : Network or None
        Every inverter with the gateways that stand today, where the page is about others.
    explained : Explained
        The weakest links, the weakest first.
    inspection : Inspection
        Defaults in use, and what looks wrong.
    fitted : Fit or None
        The readings against what all of them lead to expect.
    read_links : Links or None
        Predicted links of the pairs of inverter and gateway that `fitted.links` has.
    dropouts : Dropouts or None
        What is missing in the log, by likely cause.
    """

    scene: Scene
    given: Given
    options: PlacementOptions
    placement: Placement | None
    network: Network
    about: str
    today: Network | None
    explained: Explained
    inspection: Inspection
    fitted: Fit | None
    read_links: Links | None
    dropouts: Dropouts | None


def findings_of(
    scene: Scene,
    given: Given | None = None,
    *,
    options: PlacementOptions | None = None,
    progress: Progress | None = None,
) -> Findings:
    """Work out what a page tells.

    Parameters
    ----------
    scene : Scene
        The site.
    given : Given, optional
        What the user hands in besides.
    options : PlacementOptions, optional
        How the recommendation is asked for.
    progress : callable, optional
        Told what is done.

    Returns
    -------
    Findings

    Raises
    ------
    UnknownNameError
        Naming every gateway that there is not.
    SurveyError
        Where the plan has neither a gateway nor a place for one.
    """
    given, options = given or Given(), options or PlacementOptions()
    scene.check_names(places=given.gateways, inverters=())
    if not len(scene.gateways_and_spots):
        raise SurveyError(f"{scene.plan.file}: has no [[gateway]], [[spot]] or [[search]]; add a spot for a gateway")
    placement = None
    if len(scene.spots):
        done_in_part = progress and (lambda done, total: progress(round(900.0 * done / max(total, 1)), 1000))
        placement = place(scene, options=options, progress=done_in_part)
    relays = scene.plan.requirement.max_relays
    hops = placement.hops if placement else hops_of(scene) if relays else None
    existing = network_between(scene, scene.gateways, hops=hops) if len(scene.gateways) else None
    met = placement.coverage.crossed.copy() if placement else np.zeros(len(scene.obstacles), dtype=bool)
    if existing:
        met |= existing.links.crossed_obstacles
    if given.gateways:
        about, chosen = "named", _named(scene, given.gateways)
        network = network_between(scene, chosen, hops=hops)
    elif placement:
        about, network = "recommended", placement.network
    else:
        assert existing is not None
        about, network = "stands", existing
    same = existing is not None and set(existing.links.gateways.names) == set(network.links.gateways.names)
    order = weakest_first(network)
    weakest = [i for i in order if network.routes[i].gateway >= 0][:EXPLAINED] or order[:EXPLAINED]
    explained = explain(
        scene,
        [scene.inverters.names[i] for i in weakest],
        gateways=network.links.gateways.names,
        spots=placement.spots_matrix if placement else None,
        hops=hops,
        progress=progress and (lambda done, total: progress(900 + round(100.0 * done / max(total, 1)), 1000)),
    )
    fitted = fit(given.plain_scene or scene, given.readings) if given.readings is not None else None
    read_links = None
    if fitted is not None:
        read_links = links_between(scene, fitted.links.inverters, fitted.links.gateways)
    return Findings(
        scene=scene,
        given=given,
        options=options,
        placement=placement,
        network=network,
        about=about,
        today=None if same else existing,
        explained=explained,
        inspection=inspect(scene, met=met),
        fitted=fitted,
        read_links=read_links,
        dropouts=dropouts_of(scene, given.log) if given.log is not None else None,
    )


def weakest_first(network: Network) -> list[int]:
    """Inverters by the state of their routes, those that fail first, and then by margin."""
    margin_db = np.where(np.isnan(network.weakest_margin_db), -np.inf, network.weakest_margin_db)
    order: list[int] = np.lexsort((margin_db, network.state)).tolist()
    return order


def _named(scene: Scene, names: Sequence[str]) -> Ends:
    return scene.gateways_and_spots.named(names, file=scene.plan.file, what="gateway or spot")
