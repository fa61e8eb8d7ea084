"""By how much one piece of a site moves a link: against the same plan written with that piece elsewhere."""

import pytest
from scenes import radio
from yards import links_in, long_wall, yard

from survey.budget import STATES
from survey.decisions.simulation import link_moves
from survey.inputs.plan import Site, Wall
from survey.output.answers.drawing import move_lines, move_records


def plan_of(top_m=2.05, *, x_m=10.0, within_m=0.1, **more):
    """A link 2 m high past the top of a wall that nothing else gets around."""
    edge = Wall(**(long_wall("edge", x_m, loss_db=60.0).__dict__ | {"height_m": 50.0 + top_m, "base_m": -50.0}))
    site = Site(name="yard", drawn_within_m=within_m)
    return yard([(0.0, 0.0)], [(20.0, 0.0)], obstacles=(edge,), site=site, **more)


def test_the_height_of_an_edge_moves_the_link_as_the_plan_written_so_says():
    """An edge close before the inverter, at 2.44 GHz: a few centimetres count."""
    links = links_in(plan_of(2.1, x_m=0.32, radio=radio()))
    (moves,) = link_moves(links, [(0, 0)])
    written = [links_in(plan_of(2.1 + step_m, x_m=0.32, radio=radio())).margin_db[0, 0] for step_m in (0.1, -0.1)]
    largest_db = max((float(margin_db - links.margin_db[0, 0]) for margin_db in written), key=abs)
    assert abs(largest_db) > 3.0
    (height,) = (move for move in moves if (move.name, move.direction) == ("edge", "height"))
    assert height.margin_db == pytest.approx(largest_db, abs=1e-6)
    assert move_lines(moves, state=int(links.state[0, 0]))[0].startswith("10 cm on the ")


def test_a_link_whose_state_hangs_on_ten_centimetres_says_so():
    links = links_in(plan_of(2.3, sensitivity_dbm=-62.0, environment={"shadowing_db": 1.0}))
    assert STATES[links.state[0, 0]] == "marginal"
    (moves,) = link_moves(links, [(0, 0)])
    assert [(move.name, move.direction, STATES[move.state]) for move in moves] == [("edge", "height", "holds")]
    assert move_lines(moves, state=int(links.state[0, 0])) == [
        "10 cm on the height of edge change this link by 0.9 dB and then it holds. Measure it again."
    ]
    (record,) = move_records(moves)
    assert (record["name"], record["direction"], record["step_m"], record["state"]) == ("edge", "height", 0.1, "holds")


def test_what_the_plan_says_is_exact_is_not_moved():
    assert link_moves(links_in(plan_of(within_m=0.0)), [(0, 0)]) == [()]
    assert link_moves(links_in(plan_of()), []) == []
    assert move_lines((), state=2) == [
        "No position or height that is wrong by 10 cm changes this link by 3 dB or more."
    ]
