"""Where the gateway goes, as `survey place` recommends it."""

from __future__ import annotations

from dataclasses import dataclass

from survey.base.arrays import FloatArray, IntArray
from survey.base.errors import SurveyError
from survey.base.limits import DRAWS, MOST_DRAWS, MOST_GATEWAYS, TIME_LIMIT_S
from survey.budget import Progress
from survey.decisions.placement import Placement, PlacementOptions, capacity_warning
from survey.decisions.placement import place as placement_of
from survey.inputs.plan import Plan
from survey.library.sites import Answer, FitSource, PlanSource, check_range, scene_from, warn
from survey.output.answers.place_record import place_record
from survey.output.answers.values import Record
from survey.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Recommendation(Answer):
    """Where the gateway goes, or several of them; every array has the shape (spots,).

    Attributes
    ----------
    placement : Placement
        All that was worked out.
    """

    placement: Placement

    @property
    def plan(self) -> Plan:
        """The plan, with the requirements that were asked for."""
        return self.placement.scene.plan

    @property
    def gateways(self) -> tuple[str, ...]:
        """The spots recommended."""
        return tuple(self.spots[i] for i in self.placement.chosen)

    @property
    def spots(self) -> tuple[str, ...]:
        """Names of all spots, beside the arrays."""
        return self.placement.scores.spots.names

    @property
    def order(self) -> IntArray:
        """The ranking, the best first: indices into `spots`."""
        return self.placement.order

    @property
    def served(self) -> IntArray:
        """How many inverters each spot would serve alone."""
        return self.placement.scores.served

    @property
    def worst_margin_db(self) -> FloatArray:
        """Margin of the weakest inverter with a gateway at each spot alone. [dB]"""
        return self.placement.scores.worst_margin_db

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds with the gateways recommended."""
        return self.placement.network.all_hold

    def to_dict(self) -> Record:
        """Return what `survey place --json` prints."""
        return place_record(self.placement)


def place(
    plan: PlanSource,
    *,
    gateways: int | None = None,
    fewest: bool = False,
    spare: bool = False,
    time_limit_s: float = TIME_LIMIT_S,
    relays: int | None = None,
    fit: FitSource | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Progress | None = None,
) -> Recommendation:
    """Recommend where the gateway goes, or several of them.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan.
    gateways : int, optional
        Use up to so many gateways, whatever the plan's requirement says.
    fewest, spare : bool
        Find the fewest gateways with which all inverters hold that can hold; with `spare` each of them at two gateways.
    time_limit_s : float
        For how long a proof may be looked for. [s]
    relays : int, optional
        Let messages go by way of up to so many inverters, whatever the plan's max_relays says.
    fit : str, Path or FittedSite, optional
        What readings have taught.
    draws, seed : int
        How many simulation runs, and the beginning of their random numbers.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    Recommendation

    Raises
    ------
    SurveyError
        As the command does.

    Warns
    -----
    SurveyWarning
        Where the gateways do not have the capacity for all inverters.
    """
    options = placement_options(
        gateways=gateways, fewest=fewest, spare=spare, time_limit_s=time_limit_s, draws=draws, seed=seed
    )
    scene = scene_from(plan, fit=fit, max_relays=relays, gateways=gateways)
    warn_of_capacity(scene, options)
    return Recommendation(placement=placement_of(scene, options=options, progress=progress))


def placement_options(
    *,
    gateways: int | None,
    fewest: bool,
    spare: bool,
    time_limit_s: float,
    draws: int = DRAWS,
    seed: int = 0,
) -> PlacementOptions:
    """Put the options of a recommendation together.

    Raises
    ------
    SurveyError
        Where they exclude each other, or one is out of range.
    """
    if gateways is not None and (fewest or spare):
        raise SurveyError("gateways asks for the most inverters, fewest and spare for the fewest gateways")
    check_range("gateways", gateways, low=1, high=MOST_GATEWAYS)
    check_range("time_limit_s", time_limit_s, low=0)
    check_range("draws", draws, low=1, high=MOST_DRAWS)
    check_range("seed", seed, low=0)
    return PlacementOptions(fewest=fewest or spare, spare=spare, time_limit_s=time_limit_s, draws=draws, seed=seed)


def warn_of_capacity(scene: Scene, options: PlacementOptions) -> None:
    """Warn where so many gateways cannot take all inverters."""
    message = capacity_warning(scene)
    if message and not options.fewest:
        warn(message)
