"""By how much one piece of a site moves a link: against the same plan written with that piece elsewhere."""

from dataclasses import replace

import pytest
from yards import links_in, long_wall, yard

from survey.decisions.simulation import link_moves
from survey.inputs.plan import Site, Wall
from survey.output.answers.drawing import move_lines, move_records


def plan_of(top_m=2.05, *, within_m=0.1, **more):
    """Two walls across a link 2 m high: one that ends close over it, and one that is far too high to matter."""
    edge = Wall(**(long_wall("edge", 10.0, loss_db=60.0).__dict__ | {"height_m": 50.0 + top_m, "base_m": -50.0}))
    return yard([(0.0, 0.0)], [(20.0, 0.0)], obstacles=(edge,), site=Site(name="yard", drawn_within_m=within_m), **more)


def test_the_height_of_an_edge_moves_the_link_as_the_plan_written_so_says():
    links = links_in(plan_of())
    (moves,) = link_moves(links, [(0, 0)])
    expected = [float(links_in(plan_of(2.05 + step)).margin_db[0, 0] - links.margin_db[0, 0]) for step in (0.1, -0.1)]
    largest = max(expected, key=abs)
    assert abs(largest) >= 1.0
    heights = {move.name: move for move in moves if move.direction == "height"}
    if abs(largest) >= 3.0:
        assert heights["edge"].margin_db == pytest.approx(largest, abs=1e-6)


def test_a_link_that_ten_centimetres_bring_down_says_so():
    links = links_in(plan_of(1.95, sensitivity_dbm=-62.0, environment={"shadowing_db": 1.0}))
    close = replace(links.scene.plan)
    assert close.obstacles[0].name == "edge"
    (moves,) = link_moves(links, [(0, 0)])
    states = {move.state for move in moves if move.name == "edge" and move.direction == "height"}
    assert states and states != {int(links.state[0, 0])}
    lines = move_lines(moves, state=int(links.state[0, 0]))
    assert "10 cm on the height of" in " ".join(lines) and "and then it" in " ".join(lines)
    assert {record["direction"] for record in move_records(moves)} >= {"height"}


def test_what_the_plan_says_is_exact_is_not_moved():
    assert link_moves(links_in(plan_of(within_m=0.0)), [(0, 0)]) == [()]
    assert link_moves(links_in(plan_of()), []) == []
    assert move_lines((), state=2) == [
        "No position or height that is wrong by 10 cm changes this link by 3 dB or more."
    ]
