"""How sure a result is: draws over what the plan does not know, shadowing and the losses of materials."""

from survey.decisions.simulation.choices import Relaying, Served, interval_of, served_draws
from survey.decisions.simulation.margins import drawn_margins_db, drawn_works
from survey.decisions.simulation.pairs import Pair, SpotDraws, pair_of, spot_draws
from survey.decisions.simulation.shadowing import Shadowing, end_correlation
from survey.decisions.simulation.sure import Sure, contenders, how_sure, sure_of_ranking
from survey.decisions.simulation.turning import REACH_SPREADS, Search, Turning, search_of
from survey.decisions.simulation.unknowns import Passes, Shifts, Unknown, unknowns_of

__all__ = [
    "REACH_SPREADS",
    "Pair",
    "Passes",
    "Relaying",
    "Search",
    "Served",
    "Shadowing",
    "Shifts",
    "SpotDraws",
    "Sure",
    "Turning",
    "Unknown",
    "contenders",
    "drawn_margins_db",
    "drawn_works",
    "end_correlation",
    "how_sure",
    "interval_of",
    "pair_of",
    "search_of",
    "served_draws",
    "spot_draws",
    "sure_of_ranking",
    "unknowns_of",
]
