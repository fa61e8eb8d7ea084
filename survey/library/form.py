"""The sheet for a day of readings, as `survey report --form` writes it."""

from __future__ import annotations

from survey.base.errors import SurveyError
from survey.base.limits import TIME_LIMIT_S
from survey.budget import Progress
from survey.decisions.placement import place
from survey.library.place import placement_options, warn_of_capacity
from survey.library.sites import FitSource, Names, PlanSource, names_in, scene_from
from survey.output.sheet import Sheet
from survey.routing import network_between


def form(
    plan: PlanSource,
    *,
    gateway: Names = (),
    gateways: int | None = None,
    fewest: bool = False,
    spare: bool = False,
    time_limit_s: float = TIME_LIMIT_S,
    relays: int | None = None,
    fit: FitSource | None = None,
    progress: Progress | None = None,
) -> Sheet:
    """Work out the sheet for a day of readings: every inverter with the level to expect.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    gateway : str or sequence of str
        Read levels at these gateways or spots, not at the recommended ones.
    gateways, fewest, spare, time_limit_s, relays, fit
        As for `survey.place`.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    Sheet
        Its ``html()`` is for printing, its ``csv()`` is a file that `survey.fit` reads once it is filled in.

    Raises
    ------
    SurveyError
        As the command does.
    """
    options = placement_options(gateways=gateways, fewest=fewest, spare=spare, time_limit_s=time_limit_s)
    scene = scene_from(plan, fit=fit, max_relays=relays, gateways=gateways)
    names = names_in(gateway)
    scene.check_names(places=names, inverters=())
    if not len(scene.gateways_and_spots):
        raise SurveyError(f"{scene.plan.file}: has no [[gateway]], [[spot]] or [[search]]; add a spot for a gateway")
    if names:
        network = network_between(scene, scene.gateways_asked(names), progress=progress)
    elif len(scene.spots):
        warn_of_capacity(scene, options)
        network = place(scene, options=options, progress=progress).network
    else:
        network = network_between(scene, scene.gateways, progress=progress)
    installed = set(scene.gateways.names)
    return Sheet(network=network, is_installed=installed >= set(network.links.gateways.names))
