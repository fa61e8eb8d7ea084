"""How sure a result is: draws over what the plan does not know, shadowing and the losses of materials."""

from survey.decisions.simulation.certainty import RankingCertainty, certainty_of, certainty_of_ranking, contenders
from survey.decisions.simulation.choices import Served, interval_of, served_runs
from survey.decisions.simulation.margins import drawn_margins_db, drawn_works
from survey.decisions.simulation.pairs import Pair, SpotRuns, pair_of, spot_runs
from survey.decisions.simulation.shadowing import Shadowing, end_correlation
from survey.decisions.simulation.turning import REACH_SPREADS, Search, Turning, search_of
from survey.decisions.simulation.unknowns import Passes, Shifts, Unknown, unknowns_of

__all__ = [
    "REACH_SPREADS",
    "Pair",
    "Passes",
    "RankingCertainty",
    "Search",
    "Served",
    "Shadowing",
    "Shifts",
    "SpotRuns",
    "Turning",
    "Unknown",
    "certainty_of",
    "certainty_of_ranking",
    "contenders",
    "drawn_margins_db",
    "drawn_works",
    "end_correlation",
    "interval_of",
    "pair_of",
    "search_of",
    "served_runs",
    "spot_runs",
    "unknowns_of",
]
