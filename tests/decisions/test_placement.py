"""Ranking spots: cases whose answer is known from geometry, and the reasons given."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from survey.base.errors import SurveyError
from survey.decisions.placement import PlacementOptions, best_of_each_place, place
from survey.inputs.plan import Environment, Inverter, Plan, Radio, RadioEnd, Requirement, Search, Site, Spot, Wall
from survey.scene import scene_of


def plan(points, **changes):
    values = {
        "file": "test.toml",
        "folder": Path(),
        "site": Site(name="test"),
        "radio": Radio(
            frequency_mhz=868.0,
            inverter=RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-100.0),
            gateway=RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-100.0),
        ),
        "environment": Environment(),
        "requirement": Requirement(),
        "inverters": tuple(Inverter(name=f"i{k}", at=p, height_m=2.0) for k, p in enumerate(points)),
    }
    return Plan(**(values | changes))


# The centre and the radius of the smallest circle around a triangle: right, obtuse and acute (Euclidean geometry).
CIRCLES = [
    ([(0.0, 0.0), (30.0, 0.0), (0.0, 40.0)], (15.0, 20.0), 25.0),
    ([(0.0, 0.0), (100.0, 0.0), (50.0, 10.0)], (50.0, 0.0), 50.0),
    ([(0.0, 0.0), (60.0, 0.0), (30.0, 60.0 * np.sqrt(0.75))], (30.0, 60.0 * np.sqrt(0.75) / 3), 60.0 / np.sqrt(3)),
]


@pytest.mark.parametrize(("points", "centre", "radius_m"), CIRCLES)
def test_in_free_space_the_best_worst_margin_is_at_the_centre_of_the_smallest_circle(points, centre, radius_m):
    """The 1-centre in the plane. All hold everywhere to the last digit, so that the worst margin decides."""
    step_m = 0.5
    low = np.min(points, axis=0) - np.ceil(10.0 / step_m) * step_m
    low += np.mod(np.array(centre) - low, step_m)  # the true centre is a point of the grid
    high = np.max(points, axis=0) + 10.0
    area = ((low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]))
    radio = RadioEnd(tx_power_dbm=30.0, sensitivity_dbm=-150.0)
    found = place(
        scene_of(
            plan(
                points,
                radio=Radio(frequency_mhz=868.0, inverter=radio, gateway=radio),
                searches=(Search(name="all", within=area, heights_m=(2.0,), step_m=step_m),),
            )
        )
    )
    best = int(found.order[0])
    assert found.scores.spots.at_m[best, :2] == pytest.approx(np.array(centre), abs=0.02)
    assert float(found.network.links.distance_m.max()) == pytest.approx(radius_m, abs=0.02)


def two_spots(**changes):
    """Three inverters; the near spot sits behind a wall that stops one of them."""
    points = [(0.0, 0.0), (5.0, 0.0), (10.0, 0.0)]
    wall = Wall(name="wall", along=((2.0, 20.0), (2.0, -900.0)), height_m=300.0, loss_db=70.0)
    spots = (Spot(name="near", at=(5.0, -1.0), height_m=2.0), Spot(name="far", at=(5.0, 60.0), height_m=2.0))
    end = RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-85.0)
    radio = Radio(frequency_mhz=868.0, inverter=end, gateway=end)
    return plan(points, **({"obstacles": (wall,), "spots": spots, "radio": radio} | changes))


def test_more_inverters_that_hold_come_before_better_margins():
    found = place(scene_of(two_spots()))
    names = [found.scores.spots.names[i] for i in found.order]
    assert names == ["far", "near"]
    assert found.scores.served.tolist() == [2, 3]
    assert found.reason.decided_by == "served"
    assert found.reason.rival == "near"
    assert [one.inverter for one in found.reason.gained] == ["i0"]
    assert found.reason.gained[0].margin_db > 20
    assert found.reason.gained[0].rival_margin_db < 0
    assert found.reason.lost == ()


def test_where_as_many_hold_the_expected_number_decides_and_the_reason_names_who_differs_most():
    spots = (Spot(name="good", at=(20.0, 0.0), height_m=2.0), Spot(name="better", at=(5.0, 0.5), height_m=2.0))
    radio = Radio(
        frequency_mhz=868.0,
        inverter=RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-63.0),
        gateway=RadioEnd(tx_power_dbm=8.0, sensitivity_dbm=-63.0),
    )
    found = place(scene_of(two_spots(obstacles=(), spots=spots, radio=radio)))
    assert found.scores.served.tolist() == [3, 3]
    assert found.scores.spots.names[found.order[0]] == "better"
    assert found.reason.decided_by == "expected_served"
    assert found.reason.nearer[0].inverter == "i0", "the one farthest from the worse spot"


def test_spots_that_are_equal_in_everything_keep_the_order_of_the_plan():
    spots = (Spot(name="one", at=(5.0, 3.0), height_m=2.0), Spot(name="two", at=(5.0, -3.0), height_m=2.0))
    found = place(scene_of(two_spots(obstacles=(), spots=spots)))
    assert [found.scores.spots.names[i] for i in found.order] == ["one", "two"]
    assert found.reason.decided_by == "order"


def test_a_rival_is_looked_for_at_another_place_than_the_next_point_of_the_same_search():
    search = Search(name="line", along=((0.0, 5.0), (10.0, 5.0)), heights_m=(2.0,), step_m=1.0)
    found = place(
        scene_of(two_spots(obstacles=(), searches=(search,), spots=(Spot(name="x", at=(5, 50), height_m=2.0),)))
    )
    assert found.scores.spots.places[found.order[0]] == "line"
    assert found.reason.rival == "x"
    shown = [found.scores.spots.names[i] for i in best_of_each_place(found.scores, found.order)]
    assert shown == [found.scores.spots.names[found.order[0]], "x"]


def test_the_figures_of_a_ranking_are_those_of_its_links():
    found = place(scene_of(two_spots()))
    best = int(found.order[0])
    margins = found.network.links.margin_db[:, 0]
    assert found.scores.expected_served[best] == pytest.approx(found.network.links.reliability.sum())
    assert found.scores.worst_margin_db[best] == pytest.approx(margins.min())
    assert found.scores.median_margin_db[best] == pytest.approx(np.median(margins))
    assert found.scene.inverters.names[found.scores.worst_inverter[best]] == "i0"


def test_where_nothing_holds_there_is_still_a_ranking():
    radio = two_spots().radio
    deaf = dataclasses.replace(radio, gateway=dataclasses.replace(radio.gateway, sensitivity_dbm=-10.0))
    found = place(scene_of(two_spots(radio=deaf)))
    assert found.scores.served.tolist() == [0, 0]
    assert not found.network.all_hold


def test_a_single_spot_needs_no_reason():
    found = place(scene_of(two_spots(spots=(Spot(name="only", at=(5, 0.5), height_m=2.0),))))
    assert found.reason is None


def test_without_a_place_for_a_gateway_there_is_a_clear_error():
    with pytest.raises(SurveyError, match=r"test\.toml: has no \[\[spot\]\] and no \[\[search\]\]"):
        place(scene_of(two_spots(spots=())))


def test_moving_an_existing_gateway_is_looked_at_only_where_one_is_asked_for():
    """Not for two gateways, nor where the fewest are looked for: there every spot is free."""
    both = {
        "gateways": (Spot(name="old", at=(0.0, 5000.0), height_m=2.0),),
        "spots": (Spot(name="near", at=(0.0, 5.0), height_m=2.0),),
    }
    one, two = (scene_of(plan([(0.0, 0.0)], requirement=Requirement(gateways=n), **both)) for n in (1, 2))
    assert place(one).moving is not None
    assert place(two).moving is None
    assert place(one, options=PlacementOptions(fewest=True)).moving is None
