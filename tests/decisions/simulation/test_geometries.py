"""Geometries of a site in simulation runs, against closed forms, and without any against the runs as they were."""

import numpy as np
import pytest
from scipy.stats import norm
from yards import links_in, long_wall, yard

from survey.decisions.simulation import (
    certainty_of,
    certainty_of_ranking,
    clustered_error,
    drawn_margins_db,
    geometries,
    geometries_of,
    spot_runs,
)
from survey.inputs.plan import Search, Site, Wall
from survey.scene import scene_of

EXACT = Site(name="yard", drawn_within_m=0.0)


def over_the_wall(top_m, **more):
    """A link 2 m high past the top of a wall that nothing gets around; only the wall's height is uncertain."""
    one = long_wall("wall", 10.0, loss_db=60.0)
    values = one.__dict__ | {"height_m": 50.0 + top_m, "base_m": -50.0, "drawn_within_m": 0.3}
    plan = yard([(0.0, 0.0)], [(20.0, 0.0)], obstacles=(Wall(**values),), site=EXACT, **more)
    return links_in(plan)


def test_the_chance_that_a_wall_of_uncertain_height_blocks_a_line_is_the_normal_one(monkeypatch):
    """Its top is 10 cm over the line, and within 30 cm of that: it blocks with the chance of -10 cm or more."""
    monkeypatch.setattr(geometries, "GEOMETRIES", 800)
    links = over_the_wall(2.1)
    drawn = geometries_of(links.scene, draws=800, seed=1)
    blocked = [len(moved.crossings) > 0 for moved in drawn.links(links)]
    expected = norm.cdf(0.1 / 0.15)
    assert np.mean(blocked) == pytest.approx(expected, abs=5.0 * np.sqrt(expected * (1.0 - expected) / 800))


def test_the_share_of_runs_in_which_a_link_works_is_that_of_heights_at_which_it_does(monkeypatch):
    """Without shadowing a link works up to one height of the wall, found by bisection; heights are normal."""
    monkeypatch.setattr(geometries, "GEOMETRIES", 800)
    more = {"environment": {"shadowing_db": 0.0}, "sensitivity_dbm": -62.0}
    low_m, high_m = 1.0, 4.0
    for _ in range(30):
        middle_m = 0.5 * (low_m + high_m)
        works = over_the_wall(middle_m, **more).margin_db[0, 0] >= 3.0
        low_m, high_m = (middle_m, high_m) if works else (low_m, middle_m)
    assert 1.6 < low_m < 2.9
    links = over_the_wall(low_m + 0.06, **more)
    runs = spot_runs(links, draws=800, seed=1, geometries=geometries_of(links.scene, draws=800, seed=1))
    expected = norm.cdf(-0.06 / 0.15)
    assert runs.counts.mean() == pytest.approx(expected, abs=5.0 * np.sqrt(expected * (1.0 - expected) / 800))


def test_where_all_is_exact_there_is_no_geometry_and_runs_are_the_old_ones_to_the_digit():
    plan = yard([(0.0, 0.0), (3.0, 4.0)], [(15.0, 0.0), (15.0, 9.0)], obstacles=(long_wall("wall", 8.0, loss_db=8.0),))
    exact = links_in(plan.__class__(**plan.__dict__ | {"site": EXACT}))
    assert geometries_of(exact.scene, draws=300, seed=1) is None
    order, expected = np.array([0, 1]), exact.reliability.sum(axis=0)
    ranked = certainty_of_ranking(
        exact.scene, spots=exact.scene.spots, order=order, expected_served=expected, draws=300, seed=1
    )
    old = certainty_of(links_in(plan), draws=300, seed=1)
    assert np.array_equal(ranked.best_share, old.best_share)
    assert np.array_equal(ranked.served.counts, old.served.counts)
    assert ranked.record is None
    moved = certainty_of_ranking(
        scene_of(plan), spots=exact.scene.spots, order=order, expected_served=expected, draws=300, seed=1
    )
    assert len(moved.record.geometries) == 100
    assert not np.array_equal(moved.served.counts, old.served.counts) or not np.array_equal(
        moved.best_share, old.best_share
    )


def test_geometries_leave_the_other_random_numbers_as_they_are():
    """Moved by nothing that counts, margins are those of the plan, in blocks of other sizes."""
    links = links_in(yard([(0.0, 0.0)], [(15.0, 0.0)], site=Site(name="yard", drawn_within_m=1e-9)))
    drawn = geometries_of(links.scene, draws=250, seed=4)
    assert drawn.sizes == [3, 2] * 50
    assert len(drawn.of_run) == 250
    moved = np.concatenate(list(drawn_margins_db(links, draws=250, seed=4, geometries=drawn)))
    assert np.allclose(moved, np.concatenate(list(drawn_margins_db(links, draws=250, seed=4))), atol=1e-6)


def test_the_same_seed_gives_the_same_geometries_and_another_thing_in_the_plan_does_not_move_them():
    one = Wall(name="a", loss_db=9.0, along=((5.0, -3.0), (5.0, 3.0)), height_m=3.0)
    other = Wall(name="b", loss_db=9.0, along=((9.0, -3.0), (9.0, 3.0)), height_m=3.0)
    scenes = [scene_of(yard([(0.0, 0.0)], [(15.0, 0.0)], obstacles=these)) for these in ((one,), (one, other))]
    first, second = (geometries_of(scene, draws=200, seed=7) for scene in scenes)
    assert np.array_equal(first.deviates, geometries_of(scenes[0], draws=200, seed=7).deviates)
    assert not np.array_equal(first.deviates, geometries_of(scenes[0], draws=200, seed=8).deviates)
    for name in first.pieces.names:
        both = [drawn.deviates[:, drawn.pieces.names.index(name)] for drawn in (first, second)]
        assert np.array_equal(*both)
    assert first.deviates.std() == pytest.approx(1.0, abs=0.1)
    few = geometries_of(scenes[0], draws=30, seed=7)
    assert np.array_equal(few.deviates, first.deviates[:30])


def test_a_large_site_has_fewer_geometries_and_fewer_spots_and_says_so(monkeypatch):
    plan = yard(
        [(0.0, 0.0)],
        [(15.0, 0.0), (15.0, 30.0)],
        obstacles=(long_wall("wall", 8.0, loss_db=20.0),),
        searches=(Search(name="line", along=((20.0, 0.0), (20.0, 20.0)), heights_m=(2.0,), step_m=1.0),),
    )
    scene = scene_of(plan)
    links = links_in(plan)
    assert len(geometries_of(scene, draws=500, seed=1, crossed=4.0 * geometries.MAX_CROSSED)) == 25
    assert (
        len(geometries_of(scene, draws=500, seed=1, crossed=99.0 * geometries.MAX_CROSSED)) == geometries.MIN_GEOMETRIES
    )
    monkeypatch.setattr(geometries, "MAX_CROSSED", 5)
    expected = links.reliability.sum(axis=0)
    order = np.argsort(-expected, kind="stable")
    found = certainty_of_ranking(scene, spots=scene.spots, order=order, expected_served=expected, draws=40, seed=1)
    assert found.links.gateways.names[0] == scene.spots.names[order[0]]
    assert len(found.links.gateways) + found.left_out == len(scene.spots)
    assert set(found.links.gateways.places) == {"s0", "s1", "line"}  # the best of every location comes first


def test_the_standard_error_is_what_repetition_shows(monkeypatch):
    """A share over 40 geometries of 5 runs each, again and again; runs taken for independent would say far less."""
    monkeypatch.setattr(geometries, "GEOMETRIES", 40)
    links = over_the_wall(2.1, environment={"shadowing_db": 1.0}, sensitivity_dbm=-60.0)
    means, errors, naive = [], [], []
    for seed in range(60):
        drawn = geometries_of(links.scene, draws=200, seed=seed)
        served = spot_runs(links, draws=200, seed=seed, geometries=drawn).served(0)
        means.append(served.mean)
        errors.append(served.mean_error)
        naive.append(np.sqrt(served.mean * (1.0 - served.mean) / 200))
    assert 0.1 < np.mean(means) < 0.9
    assert np.mean(errors) == pytest.approx(np.std(means), rel=0.3)
    assert np.mean(naive) < 0.75 * np.mean(errors)


def test_the_standard_error_of_clusters_of_one_is_the_usual_one():
    values = np.random.default_rng(1).standard_normal(50)
    assert clustered_error(values, np.ones(50)) == pytest.approx(values.std(ddof=1) / np.sqrt(50))
    assert np.isnan(clustered_error(np.ones(1), np.ones(1)))


def test_the_share_of_a_location_has_its_standard_error():
    plan = yard([(0.0, 0.0)], [(15.0, 0.0), (0.0, 15.0)], obstacles=(long_wall("wall", 8.0, loss_db=8.0),))
    links = links_in(plan)
    drawn = geometries_of(links.scene, draws=400, seed=1)
    found = certainty_of(links, draws=400, seed=1, geometries=drawn)
    assert found.best_runs.sum() == pytest.approx(400.0)
    share = found.place_share("s0")
    assert found.place_error("s0") == pytest.approx(np.sqrt(share * (1.0 - share) / 400), rel=0.6)
