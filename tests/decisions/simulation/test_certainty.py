"""How sure a recommendation is: cases known in closed form, and the unknown that matters most."""

import numpy as np
import pytest
from scipy.stats import binom, multivariate_normal, norm
from yards import links_in, long_wall, material, yard

from survey.decisions.simulation import certainty_of, certainty_of_ranking, contenders, search_of
from survey.decisions.simulation.turning import HALVINGS, leading
from survey.inputs.plan import Search
from survey.output.answers.sure import share, sure_text, turning_words
from survey.scene import scene_of

DRAWS = 20_000
TWO_SPOTS = [(10.0, 0.0), (10.0, 3.0)]


def two_spots(**changes):
    """One inverter that both spots hear about as often as not, a little better at the first."""
    return links_in(yard([(0.0, 0.0)], TWO_SPOTS, **({"sensitivity_dbm": -45.0} | changes)))


def bounds(chance, draws=DRAWS):
    return pytest.approx(chance, abs=5.0 * np.sqrt(chance * (1.0 - chance) / draws))


def test_the_share_of_the_better_of_two_spots_is_the_one_known_in_closed_form():
    """One inverter: the first is ahead where its margin is; the difference of two correlated normals is normal."""
    links = two_spots()
    first_db, second_db = links.margin_db[0]
    rho = np.exp(-3.0 / 5.0)
    expected = norm.cdf((first_db - second_db) / (6.0 * np.sqrt(2.0 - 2.0 * rho)))
    assert 0.5 < expected < 0.7
    found = certainty_of(links, draws=DRAWS, seed=1)
    assert found.best_share[0] == bounds(expected)
    assert found.best_share.sum() == pytest.approx(1.0)


def test_the_share_in_which_no_other_serves_more_is_that_of_the_bivariate_normal():
    """The other serves more where it works and the first does not; scipy's bivariate normal as the oracle."""
    links = two_spots()
    excess_db = links.margin_db[0] - 3.0
    rho = np.exp(-3.0 / 5.0)
    both_fail = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf(-excess_db / 6.0)
    expected = 1.0 - (norm.cdf(-excess_db[0] / 6.0) - both_fail)
    assert 0.75 < expected < 0.95
    assert certainty_of(links, draws=DRAWS, seed=1).unbeaten_share == bounds(expected)


def test_two_spots_at_one_place_share_every_draw():
    links = links_in(yard([(0.0, 0.0), (3.0, 1.0)], [(10.0, 0.0), (10.0, 0.0)]))
    assert certainty_of(links, draws=100, seed=1).best_share.tolist() == [0.5, 0.5]


def test_the_number_served_is_binomial_where_inverters_are_shadowed_each_by_itself():
    """Twenty inverters on a circle round the spot, with a correlation length of a centimetre."""
    angles_rad = np.arange(20) * 2.0 * np.pi / 20
    ring = [(float(20.0 * np.cos(a)), float(20.0 * np.sin(a))) for a in angles_rad]
    links = links_in(yard(ring, [(0.0, 0.0)], sensitivity_dbm=-55.0, environment={"correlation_m": 0.01}))
    chance = float(links.reliability[0, 0])
    assert 0.6 < chance < 0.95
    found = certainty_of(links, draws=4_000, seed=1).served
    assert found.interval == tuple(binom(20, chance).ppf([0.05, 0.95]).astype(int))
    assert found.mean == pytest.approx(20 * chance, abs=5.0 * np.sqrt(20 * chance * (1.0 - chance) / 4_000))
    assert (found.draws, found.inverters) == (4_000, 20)


def test_shadowing_shared_by_neighbours_widens_the_interval_and_leaves_the_mean():
    block = [(float(x), float(y)) for x in range(5) for y in range(4)]
    plans = [yard(block, [(30.0, 0.0)], sensitivity_dbm=-55.0, environment={"correlation_m": d}) for d in (0.01, 50.0)]
    apart, together = (certainty_of(links_in(plan), draws=4_000, seed=1).served for plan in plans)
    assert together.interval[0] < apart.interval[0] < apart.interval[1] < together.interval[1]
    assert abs(together.mean - apart.mean) < 1.0


def test_the_same_seed_gives_the_same_answer_and_more_draws_narrow_it():
    links = two_spots()
    assert np.array_equal(
        certainty_of(links, draws=50, seed=9).best_share, certainty_of(links, draws=50, seed=9).best_share
    )
    few, many = (
        np.std([certainty_of(links, draws=draws, seed=seed).best_share[0] for seed in range(60)]) for draws in (50, 800)
    )
    assert 2.4 < few / many < 6.5, "sixteen times the draws, a quarter of the scatter, known to a fifth from 60 seeds"


def test_draws_are_common_to_all_spots():
    """Two spots close together are shadowed alike: the one a little better nearly always wins, not half of the time."""
    beside = links_in(yard([(0.0, 0.0)], [(10.0, 0.0), (11.0, 0.0)], environment={"correlation_m": 1_000.0}))
    assert certainty_of(beside, draws=500, seed=1).best_share[0] > 0.95


# ---------------------------------------------------------------------------------- the unknown that matters most


def behind_a_sheet(*, spread_db=5.0, far_m=60.0, **changes):
    """The near spot is behind a sheet of 20 dB; the far one is in the open, and a little worse."""
    wall = long_wall("w", 5.0, material="shed sheet")
    plan = yard(
        [(0.0, 0.0)],
        [(10.0, 0.0), (-far_m, 0.0)],
        obstacles=(wall,),
        own_materials=(material(20.0, spread_db),),
        environment={"exponent_spread": 0.25},
        **changes,
    )
    return links_in(plan)


@pytest.mark.parametrize(("far_m", "order", "sign"), [(150.0, [0, 1], 1.0), (60.0, [1, 0], -1.0)])
def test_the_loss_that_puts_the_other_place_first_is_found(far_m, order, sign):
    """It is where both chances are equal, by hand: margins in units of each sigma, root of 36 + 25 and 6 dB."""
    links = behind_a_sheet(far_m=far_m)
    near_db, far_db = links.margin_db[0] - 3.0
    expected_db = near_db - far_db * np.hypot(6.0, 5.0) / 6.0
    assert np.sign(expected_db) == sign
    found = search_of(links.to(np.array(order)))
    assert (found.nearest.name, found.nearest.kind) == ("shed sheet", "material")
    assert found.nearest.rival == f"s{order[1]}"
    assert np.sign(found.nearest.shift) == sign
    step_db = 0.5 * 5.0 / 2**HALVINGS
    assert -1e-3 <= abs(found.nearest.shift) - abs(expected_db) <= step_db + 1e-3
    assert found.nearest.spreads == pytest.approx(abs(found.nearest.shift) / 5.0)
    assert found.tried == ("shed sheet", "path_loss_exponent")


def test_where_no_single_figure_does_it_none_is_named_and_all_that_were_tried_are():
    links = links_in(yard([(0.0, 0.0)], [(3.0, 0.0), (200.0, 0.0)], environment={"exponent_spread": 0.25}))
    found = search_of(links)
    assert (found.nearest, found.tried) == (None, ("path_loss_exponent",))
    certain = links_in(yard([(0.0, 0.0)], [(3.0, 0.0), (200.0, 0.0)], environment={"exponent_spread": 0.0}))
    assert search_of(certain).tried == ()


def test_a_larger_exponent_puts_the_nearer_spot_first():
    """By hand: what the far spot has in hand, over ten times the logarithm of the ratio of distances."""
    links = behind_a_sheet(spread_db=0.0, far_m=80.0).to(np.array([1, 0]))
    expected = (links.margin_db[0, 0] - links.margin_db[0, 1]) / (10.0 * np.log10(80.0 / 10.0))
    assert 0.1 < expected < 0.3
    found = search_of(links)
    assert (found.nearest.name, found.nearest.kind, found.nearest.rival) == ("path_loss_exponent", "exponent", "s0")
    assert -1e-3 <= found.nearest.shift - expected <= 0.125 / 2**HALVINGS + 1e-3
    shown = 2.0 + np.ceil(found.nearest.shift * 100.0) / 100.0
    assert (
        turning_words(found.nearest, links.scene.plan) == f"the path loss exponent. If it is {shown:.2f} instead of 2"
    )


def test_a_single_spot_has_no_rival():
    links = links_in(yard([(0.0, 0.0)], [(10.0, 0.0)]))
    found = certainty_of(links, draws=50, seed=1)
    assert (found.search.nearest, found.search.tried, found.best_share.tolist()) == (None, (), [1.0])
    assert found.unbeaten_share == 1.0


def test_of_very_many_spots_the_best_of_each_place_is_tried_and_then_those_that_lead(monkeypatch):
    monkeypatch.setattr("survey.decisions.simulation.turning.LINKS_TRIED", 4)
    searches = (Search(name="fence", along=((0.0, 5.0), (40.0, 5.0)), heights_m=(2.0,), step_m=1.0),)
    links = links_in(yard([(0.0, 0.0)], [(90.0, 0.0)], searches=searches))
    tried = leading(links.to(np.append(np.arange(1, links.shape[1]), 0)))
    names = ("fence/0.00,5.00,2.00", "fence/1.00,5.00,2.00", "fence/2.00,5.00,2.00", "s0")
    assert tried.gateways.names == names


# -------------------------------------------------------------------------------------------------- many spots


def test_where_there_are_too_many_spots_those_that_expect_to_serve_most_are_drawn_in_the_order_of_the_ranking(
    monkeypatch,
):
    monkeypatch.setattr("survey.decisions.simulation.certainty.LINKS_DRAWN", 60_000)
    expected = np.arange(5_000, dtype=float)
    order = np.concatenate([[7], np.arange(4_999, 7, -1), np.arange(6, -1, -1)])
    chosen = contenders(order, expected, inverters=1_000)
    assert chosen[0] == 7
    assert chosen[1:].tolist() == list(range(4_999, 4_940, -1))
    assert np.array_equal(contenders(order[:50], expected, inverters=1_000), order[:50])


def test_what_is_not_drawn_is_told(monkeypatch):
    monkeypatch.setattr("survey.decisions.simulation.certainty.SPOTS_DRAWN", 2)
    scene = scene_of(yard([(0.0, 0.0), (2.0, 0.0)], [(50.0, 0.0), (300.0, 0.0), (10.0, 0.0)], sensitivity_dbm=-58.0))
    links = links_in(scene.plan)
    expected = links.reliability.sum(axis=0)
    asked = {"spots": scene.spots, "order": np.array([2, 0, 1]), "expected_served": expected, "draws": 100, "seed": 1}
    found = certainty_of_ranking(scene, **asked)
    assert found.links.gateways.names == ("s2", "s0")
    assert (found.left_out, found.shortfall) == (1, pytest.approx(expected[2] - expected[1]))
    assert "  Critical figure:  none: no figure of the plan has an uncertainty\n" in sure_text(found)
    assert "  Not simulated:    1 spot, later in the ranking, each with at least " in sure_text(found)
    again = certainty_of_ranking(scene, links=links, **asked)
    assert np.array_equal(again.best_share, found.best_share)


def test_points_of_one_search_count_together():
    searches = (Search(name="fence", along=((0.0, 5.0), (4.0, 5.0)), heights_m=(2.0,), step_m=2.0),)
    found = certainty_of(links_in(yard([(0.0, 0.0)], [(5.0, 0.0)], searches=searches)), draws=200, seed=1)
    assert found.place_share("fence") == pytest.approx(found.best_share[1:].sum())
    assert found.place_share("fence") + found.place_share("s0") == pytest.approx(1.0)


def test_the_words_say_what_was_found():
    links = behind_a_sheet(far_m=150.0)
    text = sure_text(certainty_of(links, draws=200, seed=5))
    first, *lines = text.splitlines()
    assert first == "How certain is this? 200 simulation runs, each with random errors in what the plan gives only"
    found = certainty_of(links, draws=200, seed=5)
    assert lines[0] == "  roughly (seed 5)"
    shares = f"s0 in {share(found.best_share[0])} of the runs, s1 in {share(found.best_share[1])}"
    assert lines[1].startswith(f"  Best location:    {shares}")
    assert " ".join(" ".join(lines[-2:]).split()) == (
        "Critical figure: the loss of shed sheet. If it is 2.0 dB more than in the plan, s1 becomes the best location. "
        "Measure it."
    )
