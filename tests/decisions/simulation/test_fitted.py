"""With a fit, draws spread as the covariance of what it has found says, which `Links.sigma_db` knows in closed form."""

import dataclasses

import numpy as np
import pytest
from scipy.stats import kstest, norm
from yards import long_wall, material, yard

from survey.budget import links_between
from survey.decisions.comparison import compare_plans
from survey.decisions.simulation import drawn_margins_db, search_of, unknowns_of
from survey.scene import corrected, scene_of
from survey.scene.correction import Correction

DRAWS = 20_000


def fitted_scene(**changes):
    """A yard with a wall whose loss a fit has found, its error one with that of the offset and of the exponent."""
    plan = yard(
        [(0.0, 0.0)],
        [(10.0, 0.0), (-30.0, 0.0), (200.0, 0.0)],
        obstacles=(long_wall("w", 5.0, material="shed sheet"),),
        own_materials=(material(20.0, 9.0),),
    )
    scene = scene_of(plan)
    covariance = np.array([[4.0, 0.3, 2.0, 0.0], [0.3, 0.04, 0.1, 0.0], [2.0, 0.1, 9.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    values = {
        "file": "fit.json",
        "offset_db": -2.0,
        "path_loss_exponent": 2.3,
        "exponent_sd": 0.2,
        "shadowing_db": 3.0,
        "nearest_m": 5.0,
        "farthest_m": 40.0,
        "unit": np.array([0]),
        "change_db": np.array([4.0]),
        "covariance": covariance,
        "deviation_db": np.array([1.5]),
        "gateways": {"s0": 0},
        "unread_sd_db": 2.0,
    }
    return corrected(scene, Correction(**(values | changes)))


def drawn(scene, draws=DRAWS, seed=3):
    links = links_between(scene, scene.inverters, scene.spots)
    return links, np.concatenate(list(drawn_margins_db(links, draws=draws, seed=seed)))


def test_margins_are_spread_as_the_links_of_a_fitted_site_say():
    """Through the wall to a gateway that was read, in the open to one that was not, and far beyond all readings."""
    links, found = drawn(fitted_scene())
    assert links.sigma_db[0, 0] < np.sqrt(9.0 + 4.0 + 9.0 + 1.0 + 4.0), "errors that go together undo each other"
    for j in range(3):
        spread = norm(links.margin_db[0, j], links.sigma_db[0, j])
        assert found[:, 0, j].std() == pytest.approx(links.sigma_db[0, j], rel=5.0 / np.sqrt(2.0 * DRAWS) + 0.002)
        assert kstest(found[:, 0, j], spread.cdf).pvalue > 0.001


def test_errors_common_to_all_links_are_common_in_draws():
    """Without shadowing and unread gateways, what the offset alone leaves unknown moves all links by the same."""
    only_offset = np.diag([4.0, 0.0, 1e-12, 0.0])
    scene = fitted_scene(covariance=only_offset, shadowing_db=0.0, unread_sd_db=0.0, exponent_sd=0.0)
    links, found = drawn(scene, draws=200)
    moved_db = found[:, 0] - links.margin_db[0]
    assert moved_db[:, 1] == pytest.approx(moved_db[:, 0], abs=1e-4)
    assert moved_db[:, 2] == pytest.approx(moved_db[:, 0], abs=1e-4)
    assert moved_db[:, 0].std() == pytest.approx(2.0, rel=0.25)


def test_the_spread_of_a_fitted_loss_is_its_error_and_its_loss_the_fitted_one():
    ((unknown,), _) = unknowns_of(fitted_scene())
    assert (unknown.name, unknown.spread_db, unknown.loss_db) == ("shed sheet", 3.0, 24.0)
    links, _ = drawn(fitted_scene(), draws=1)
    assert "shed sheet" in search_of(links).tried


def test_two_plans_with_one_fit_differ_by_what_differs_and_by_nothing_else():
    before = fitted_scene()
    wall = long_wall("other", 7.0, loss_db=6.0)
    after = scene_of(dataclasses.replace(before.plan, obstacles=(*before.plan.obstacles, wall)))
    correction = dataclasses.replace(before.correction, unit=np.array([0, -1]), change_db=np.array([4.0, 0.0]))
    found = compare_plans(before, corrected(after, correction), ["s0", "s1"], draws=20, seed=0)
    assert [one.name for one in found.changes] == ["other"]
    assert found.difference_db[0] == pytest.approx([-6.0, 0.0], abs=1e-6)
    assert found.cause_db[0] == pytest.approx([-6.0, 0.0], abs=1e-6)


def test_an_obstacle_that_only_one_plan_has_keeps_what_the_fit_says_of_it_in_the_other():
    """Three walls of the fitted sheet come at once, 24 dB each: one is less than half, so each is put in alone."""
    before = fitted_scene()
    new = tuple(long_wall(f"new {k}", 6.0 + k, material="shed sheet") for k in range(3))
    after = scene_of(dataclasses.replace(before.plan, obstacles=(*before.plan.obstacles, *new)))
    correction = dataclasses.replace(before.correction, unit=np.zeros(4, dtype=np.int64), change_db=np.full(4, 4.0))
    found = compare_plans(before, corrected(after, correction), ["s0"], draws=20, seed=0)
    assert found.difference_db[0, 0] == pytest.approx(-72.0, abs=0.01)
    assert found.cause_db[0, 0] == pytest.approx(-24.0, abs=0.01)
