"""Drawn margins against the normal distribution, and against links of a plan whose losses are written otherwise."""

import numpy as np
import pytest
from scipy.stats import kstest, norm
from yards import links_in, long_wall, material, yard

from survey.budget import links_between
from survey.decisions.simulation import Passes, Shifts, drawn_margins_db, drawn_works, margins, unknowns_of
from survey.inputs.plan import Box, Foliage, OwnMaterial, Roof, Wall
from survey.scene import scene_of

DRAWS = 20_000


def all_draws(links, draws=DRAWS, seed=3):
    return np.concatenate(list(drawn_margins_db(links, draws=draws, seed=seed)))


WALLS = {
    "in the open": (),
    "through a wall": (long_wall("w", 5.0, loss_db=20.0, spread_db=5.0),),
    "through a thin wall that is no screen": (long_wall("w", 5.0, loss_db=9.0, spread_db=2.0),),
}


@pytest.mark.parametrize("walls", WALLS.values(), ids=WALLS)
def test_a_link_works_in_the_share_of_the_draws_that_its_reliability_says(walls):
    for sensitivity_dbm in (-38.0, -45.0, -60.0, -65.0):
        links = links_in(yard([(0.0, 0.0)], [(10.0, 0.0)], obstacles=walls, sensitivity_dbm=sensitivity_dbm))
        reliability = float(links.reliability[0, 0])
        works = np.concatenate(list(drawn_works(links, draws=DRAWS, seed=3)))
        assert abs(works.mean() - reliability) <= 5.0 * np.sqrt(reliability * (1.0 - reliability) / DRAWS)


def test_drawn_margins_are_spread_as_sigma_says():
    """Kolmogorov and Smirnov's test, by scipy: the chance of a worse fit by accident is not small."""
    links = links_in(yard([(0.0, 0.0)], [(10.0, 0.0)], obstacles=WALLS["through a wall"]))
    expected = norm(links.margin_db[0, 0], links.sigma_db[0, 0])
    assert links.sigma_db[0, 0] == pytest.approx(np.hypot(6.0, 5.0), rel=1e-3)
    assert kstest(all_draws(links)[:, 0, 0], expected.cdf).pvalue > 0.001


def around_the_shed(loss_db):
    """A yard where links go through a shed sheet once, twice or not at all, and over it and past it too."""
    sheets = {"material": "shed sheet"}
    return yard(
        [(0.0, 0.0), (2.0, 7.0), (9.0, 9.0)],
        [(10.0, 1.0), (16.0, -6.0), (-12.0, 3.0)],
        obstacles=(
            Wall(name="w", along=((5.0, -6.0), (5.0, 4.0)), height_m=3.0, **sheets),
            Box(name="b", centre=(13.0, -2.0), length_m=3.0, width_m=2.0, height_m=2.6, **sheets),
            Roof(
                name="r", corners=((-4, -9, 1.9), (-4, 9, 1.9), (-3, 9, 2.1), (-3, -9, 2.1)), loss_db=4.0, spread_db=1.0
            ),
        ),
        own_materials=(material(loss_db, 6.0),),
    )


@pytest.mark.parametrize("shift_db", [-7.5, 0.0, 11.0])
def test_a_shift_of_a_material_is_the_plan_with_its_loss_written_otherwise(shift_db):
    """Within 0.3 dB, though other strings may count then; and what meets no sheet of it stays as it is.

    The rule keeps the strongest strings of a plan as written; a shift changes what these lose.
    """
    links, other = links_in(around_the_shed(25.0)), links_in(around_the_shed(25.0 + shift_db))
    unknowns, number = unknowns_of(links.scene)
    assert [(one.name, one.kind) for one in unknowns] == [("shed sheet", "material"), ("r", "obstacle")]
    passes = Passes(links, number)
    moved = links.obstacle_loss_db.copy()
    moved.ravel()[passes.link] = passes.obstacle_loss_db(np.array([[shift_db, 0.0]]))[0]
    assert set(passes.times()[0].ravel()) == {0.0, 1.0, 2.0}
    assert np.abs(moved - other.obstacle_loss_db).max() < 0.3
    assert np.array_equal(moved[:, 2], other.obstacle_loss_db[:, 2])
    assert np.abs(passes.shifted(0, shift_db).margin_db - other.margin_db).max() < 0.3


def test_a_material_is_off_by_the_same_on_all_links_and_once_for_every_pass():
    walls = tuple(long_wall(f"w{x}", x, material="shed sheet") for x in (5.0, 15.0))
    plan = yard(
        [(0.0, 0.0)],
        [(10.0, 0.0), (20.0, 0.0), (-10.0, 0.0)],
        obstacles=walls,
        own_materials=(material(15.0, 4.0),),  # weaker than what reflects
        environment={"shadowing_db": 0.0},
    )
    links = links_in(plan)
    moved_db = all_draws(links, draws=200)[:, 0] - links.margin_db[0]
    assert moved_db[:, 1] == pytest.approx(2.0 * moved_db[:, 0], abs=1e-6), "through both walls, twice as much"
    assert np.array_equal(moved_db[:, 2], np.zeros(200)), "in the open, nothing"
    assert moved_db[:, 0].std() == pytest.approx(4.0, rel=0.25)


def test_foliage_is_off_by_the_metre_as_sigma_says():
    """A hedge 2 m deep on one link and 4 m on the other, off by the same for each metre; none on the third."""
    footprint = ((4.0, -9.0), (6.0, -9.0), (6.0, 3.0), (8.0, 3.0), (8.0, 9.0), (4.0, 9.0))
    hedge = Foliage(name="hedge", footprint=footprint, height_m=9.0, loss_db_per_m=3.0, spread_db_per_m=0.9)
    plan = yard([(0.0, 0.0)], [(10.0, 0.0), (-10.0, 0.0)], environment={"shadowing_db": 0.0}, obstacles=(hedge,))
    links = links_in(plan)
    unknowns, _ = unknowns_of(links.scene)
    assert [(one.name, one.kind, one.spread_db, one.loss_db) for one in unknowns] == [("hedge", "foliage", 0.9, 3.0)]
    moved_db = all_draws(links, draws=4000)[:, 0] - links.margin_db[0]
    assert moved_db[:, 0].std() == pytest.approx(1.8, rel=0.05)
    assert links.sigma_db[0, 0] == pytest.approx(1.8)
    assert np.array_equal(moved_db[:, 1], np.zeros(4000)), "in the open, nothing"


def test_obstacles_with_losses_of_their_own_are_off_each_by_its_own():
    walls = (
        long_wall("one", 5.0, loss_db=20.0, spread_db=5.0),
        long_wall("other", 15.0, loss_db=20.0, spread_db=5.0),
        long_wall("third", 25.0, material="shed sheet", spread_db=2.0),
        long_wall("fourth", 35.0, material="shed sheet"),
        long_wall("certain", 45.0, loss_db=3.0),
    )
    scene = scene_of(yard([(0.0, 0.0)], [(10.0, 0.0)], obstacles=walls, own_materials=(material(7.0, 4.0),)))
    unknowns, number = unknowns_of(scene)
    assert [(one.name, one.kind, one.spread_db, one.loss_db) for one in unknowns] == [
        ("one", "obstacle", 5.0, 20.0),
        ("other", "obstacle", 5.0, 20.0),
        ("third", "obstacle", 2.0, 7.0),
        ("shed sheet", "material", 4.0, 7.0),
    ]
    assert number.tolist() == [0, 1, 2, 3, -1]
    shifts_db = Shifts(unknowns, seed=1).next(4_000)
    assert abs(np.corrcoef(shifts_db[:, 0], shifts_db[:, 1])[0, 1]) < 5.0 / np.sqrt(4_000)
    assert np.array_equal(Shifts(unknowns[1:], seed=1).next(4_000)[:, 0], shifts_db[:, 1]), "others do not move it"


def test_no_sheet_ever_adds_power():
    links = links_in(yard([(0.0, 0.0)], [(10.0, 0.0)], obstacles=(long_wall("w", 5.0, loss_db=1.0, spread_db=8.0),),
                          environment={"shadowing_db": 0.0}))  # fmt: skip
    in_the_open = links_in(yard([(0.0, 0.0)], [(10.0, 0.0)])).margin_db[0, 0]
    found = all_draws(links, draws=500)[:, 0, 0]
    assert found.max() == pytest.approx(in_the_open)
    assert found.max() <= in_the_open + 1e-9


def test_the_same_seed_gives_the_same_draws_however_many_are_held_at_once(monkeypatch):
    links = links_in(around_the_shed(25.0))
    whole = all_draws(links, draws=40)
    assert np.array_equal(all_draws(links, draws=40), whole)
    assert np.array_equal(all_draws(links, draws=15), whole[:15])
    assert not np.array_equal(all_draws(links, draws=40, seed=4), whole)
    monkeypatch.setattr(margins, "VALUES_AT_ONCE", 3 * links.margin_db.size)
    blocks = list(drawn_margins_db(links, draws=40, seed=3))
    assert max(map(len, blocks)) == 3
    assert np.array_equal(np.concatenate(blocks), whole)


def test_the_order_of_spots_does_not_change_their_draws():
    links = links_in(around_the_shed(25.0))
    turned = links_between(links.scene, links.inverters, links.gateways.pick([2, 0, 1]))
    assert all_draws(turned, draws=40) == pytest.approx(all_draws(links, draws=40)[:, :, [2, 0, 1]], abs=1e-9)


def test_the_spread_of_a_slab_of_the_plan_counts_too():
    slab = OwnMaterial(name="yard wall", slab="concrete", thickness_m=0.2, spread_db=4.0)
    wall = long_wall("w", 5.0, material="yard wall")
    environment = {"shadowing_db": 0.0}
    plan = yard([(0.0, 0.0)], [(10.0, 0.0)], obstacles=(wall,), own_materials=(slab,), environment=environment)
    links = links_in(plan)
    assert all_draws(links, draws=2_000).std() == pytest.approx(4.0, rel=5.0 / np.sqrt(2 * 2_000))
    assert links.sigma_db[0, 0] == pytest.approx(4.0, rel=1e-3)


def test_the_exponent_is_off_by_the_same_for_all_links_of_a_draw_and_in_each_by_its_decades():
    """At 10 m one decade, at 100 m two: errors of 2.5 and 5 dB, in step; none within the reference distance."""
    environment = {"exponent_spread": 0.25, "shadowing_db": 0.0}
    links = links_in(yard([(0.0, 0.0)], [(0.5, 0.0), (10.0, 0.0), (100.0, 0.0)], environment=environment))
    off_db = all_draws(links)[:, 0] - links.margin_db[0]
    assert np.abs(off_db[:, 0]).max() == pytest.approx(0.0, abs=1e-9)
    assert kstest(off_db[:, 1], norm(0.0, 2.5).cdf).pvalue > 0.001
    np.testing.assert_allclose(off_db[:, 2], 2.0 * off_db[:, 1], atol=1e-9)


def test_what_the_exponent_is_off_by_moves_no_other_random_number():
    """Shadowing is the same with it and without, so that only its own error comes on top."""
    plans = [
        yard([(0.0, 0.0)], [(10.0, 0.0), (100.0, 0.0)], environment={"exponent_spread": spread})
        for spread in (0.0, 0.3)
    ]
    without_db, with_db = (all_draws(links_in(plan), draws=500)[:, 0] for plan in plans)
    off_db = with_db - without_db
    np.testing.assert_allclose(off_db[:, 1], 2.0 * off_db[:, 0], atol=1e-9)
    assert off_db[:, 0].std() == pytest.approx(3.0, rel=0.15)


def test_a_link_works_in_the_share_of_draws_that_shadowing_and_exponent_make_together():
    links = links_in(yard([(0.0, 0.0)], [(100.0, 0.0)], sensitivity_dbm=-72.0, environment={"exponent_spread": 0.4}))
    expected = norm.cdf((links.margin_db[0, 0] - 3.0) / np.hypot(6.0, 8.0))
    works = np.concatenate(list(drawn_works(links, draws=DRAWS, seed=3)))
    assert 0.1 < expected < 0.9
    assert abs(works.mean() - expected) <= 5.0 * np.sqrt(expected * (1.0 - expected) / DRAWS)
