"""What is named to be measured again: what does move a result, and nothing where nothing does."""

import numpy as np
import pytest
from yards import links_in, long_wall, yard

from survey.decisions.simulation import CriticalPosition, GeometryRecord, certainty_of, geometries_of
from survey.decisions.simulation.measure_again import MIN_GEOMETRIES_TOLD, critical_positions
from survey.inputs.plan import Site, Wall
from survey.output.answers.drawing import critical_records, geometry_words, measure_words
from survey.scene import scene_of


def drawn_of(names=("a", "b", "c"), seed=1, draws=100):
    walls = tuple(
        Wall(name=name, loss_db=9.0, along=((5.0 * k, 50.0), (5.0 * k, 53.0)), height_m=3.0)
        for k, name in enumerate(names, start=1)
    )
    return geometries_of(scene_of(yard([(0.0, 0.0)], [(15.0, 0.0)], obstacles=walls)), draws=draws, seed=seed)


def deviates(drawn, name, axis):
    return drawn.deviates[:, drawn.pieces.names.index(name), axis]


def test_a_figure_that_moves_the_value_is_named_with_how_much_and_the_next_after_it():
    drawn = drawn_of()
    noise = 0.3 * np.random.default_rng(1).standard_normal(100)
    values = 20.0 + 1.5 * deviates(drawn, "b", 2) - 0.8 * deviates(drawn, "c", 0) + noise
    first, second = critical_positions(values, drawn, lead=True)
    assert (first.name, first.direction, first.within_m, first.lead) == ("b", "height", pytest.approx(0.1), True)
    assert first.effect == pytest.approx(6.0, abs=0.6)  # 1.5 by a standard deviation, two of them either way
    assert (second.name, second.direction) == ("c", "position from west to east")
    assert second.effect == pytest.approx(3.2, abs=0.5)
    total = float(np.var(values))
    assert first.explained + second.explained == pytest.approx(1.0 - 0.3**2 / total, abs=0.06)


def test_a_figure_that_harms_either_way_is_named_too():
    drawn = drawn_of()
    (first, *_) = critical_positions(5.0 - deviates(drawn, "a", 1) ** 2, drawn, lead=False)
    assert (first.name, first.effect) == ("a", pytest.approx(4.0))
    assert first.explained == pytest.approx(1.0)


def test_nothing_is_named_where_nothing_matters():
    """Noise alone, in one of 20 such lists at the most; a true effect that is too small; too few geometries."""
    drawn = drawn_of()
    rng = np.random.default_rng(5)
    false = sum(bool(critical_positions(4.0 * rng.standard_normal(100), drawn, lead=False)) for _ in range(100))
    assert false <= 12
    assert critical_positions(0.1 * deviates(drawn, "a", 2), drawn, lead=False) == ()
    assert critical_positions(np.full(100, 7.0), drawn, lead=False) == ()
    few = drawn_of(draws=MIN_GEOMETRIES_TOLD - 1)
    assert critical_positions(9.0 * deviates(few, "a", 2), few, lead=False) == ()


def test_the_height_of_the_wall_that_decides_between_two_spots_is_named_and_its_links_are_marked():
    """Six inverters in a row; the first spot lies behind a wall of which the top is in their line."""
    one = long_wall("wall", 10.0, loss_db=60.0)
    wall = Wall(**(one.__dict__ | {"height_m": 52.0, "base_m": -50.0, "drawn_within_m": 0.3}))
    plan = yard(
        [(0.0, 4.0 * k) for k in range(6)],
        [(20.0, 10.0), (-60.0, 10.0)],
        obstacles=(wall,),
        site=Site(name="yard", drawn_within_m=0.0),
        environment={"shadowing_db": 2.0},
        sensitivity_dbm=-62.0,
    )
    links = links_in(plan)
    drawn = geometries_of(links.scene, draws=200, seed=1)
    found = certainty_of(links, draws=200, seed=1, geometries=drawn)
    (critical, *more) = found.measure_again
    assert (critical.name, critical.direction, critical.lead, more) == ("wall", "height", True, [])
    assert critical.effect > 2.0
    unsteady = found.record.unsteady_share(links)
    assert unsteady[:, 0].max() > 0.05
    assert np.all(unsteady[:, 1] == 0.0)


def test_several_gateways_are_judged_by_what_reaches_any_of_them():
    drawn = drawn_of()
    links = links_in(yard([(0.0, 0.0)], [(15.0, 0.0), (0.0, 15.0)]))
    record = GeometryRecord(drawn)
    record.add(links)
    chances = links.reliability[0]
    assert record.together == [pytest.approx(1.0 - (1.0 - chances[0]) * (1.0 - chances[1]))]


def test_the_words_name_what_to_measure_and_what_it_changes():
    height = CriticalPosition(
        name="container 1", direction="height", within_m=0.1, lead=True, effect=2.44, explained=0.6
    )
    place = CriticalPosition(
        name="machinery shed",
        direction="position from west to east",
        within_m=0.3,
        lead=False,
        effect=1.0,
        explained=0.3,
    )
    assert measure_words((height, place)) == (
        "the height of container 1 (off by 10 cm, it changes the lead over the next best location by up to 2.4 "
        "inverters); "
        "the position from west to east of machinery shed (off by 30 cm, it changes the number of working "
        "inverters by up to 1.0)"
    )
    assert measure_words(()).startswith("nothing; no single position or height")
    assert [record["changes"] for record in critical_records((height, place))] == ["lead", "served"]
    drawn = drawn_of()
    assert geometry_words(GeometryRecord(drawn)) == (
        "the runs use 100 geometries, in which everything is moved at random, within 10 cm"
    )
    few = geometries_of(drawn.pieces.scene, draws=500, seed=1, crossed=1e9)
    assert "20 geometries (fewer than usual, since the site has so many links)" in geometry_words(GeometryRecord(few))
