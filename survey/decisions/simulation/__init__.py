"""How sure a result is: draws over what the plan does not know, shadowing and the losses of materials."""

from survey.decisions.simulation.certainty import RankingCertainty, certainty_of, certainty_of_ranking, contenders
from survey.decisions.simulation.choices import Served, interval_of, served_runs
from survey.decisions.simulation.geometries import (
    GEOMETRIES,
    Geometries,
    clustered_error,
    geometries_for,
    geometries_of,
)
from survey.decisions.simulation.link_moves import MIN_MOVE_DB, STEP_M, LinkMove, link_moves
from survey.decisions.simulation.margins import drawn_margins_db, drawn_works
from survey.decisions.simulation.measure_again import UNSTEADY_SHARE, CriticalPosition, GeometryRecord
from survey.decisions.simulation.pairs import Pair, SpotRuns, pair_of, spot_runs
from survey.decisions.simulation.shadowing import Shadowing, end_correlation
from survey.decisions.simulation.turning import REACH_SPREADS, Search, Turning, search_of
from survey.decisions.simulation.unknowns import Passes, Shifts, Unknown, unknowns_of

__all__ = [
    "GEOMETRIES",
    "MIN_MOVE_DB",
    "REACH_SPREADS",
    "STEP_M",
    "UNSTEADY_SHARE",
    "CriticalPosition",
    "Geometries",
    "GeometryRecord",
    "LinkMove",
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
    "clustered_error",
    "contenders",
    "drawn_margins_db",
    "drawn_works",
    "end_correlation",
    "geometries_for",
    "geometries_of",
    "interval_of",
    "link_moves",
    "pair_of",
    "search_of",
    "served_runs",
    "spot_runs",
    "unknowns_of",
]
