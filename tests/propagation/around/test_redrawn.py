"""The same thing drawn otherwise, moved, turned, seen from the other end, or of another material."""

import math

import numpy as np
import pytest
from around_site import ENDS, AroundSite, Way, loss_db, ways

LOW_ENDS = ((3.0, 0.0, 1.5), (20.0, 0.0, 2.0))


@pytest.mark.parametrize("wall_db", [60.0, 26.0, 12.0])
@pytest.mark.parametrize("short_m", [0.01, 0.03, 0.05])
def test_walls_drawn_short_of_their_roof(wall_db, short_m):
    whole = AroundSite().shed(0.0, 10.0, -4.0, 4.0, height_m=3.0, loss_db=wall_db)
    short = AroundSite().shed(0.0, 10.0, -4.0, 4.0, height_m=3.0, loss_db=wall_db, short_m=short_m)
    assert loss_db(short, LOW_ENDS) == pytest.approx(loss_db(whole, LOW_ENDS), abs=3.0)


def halves(*, apart_m=0.0, shifted_m=0.0):
    """A box 10 m by 10 m, cut in two along the line."""
    at_m = 2.5 + apart_m / 2.0
    one = AroundSite().box(0.0, shifted_m + at_m, length_m=10.0, width_m=5.0, bearing_deg=90.0)
    return one.box(0.0, shifted_m - at_m, length_m=10.0, width_m=5.0, bearing_deg=90.0)


def test_the_seam_of_two_boxes_is_no_way():
    beside = loss_db(halves(shifted_m=0.01))
    for shifted_m in (-0.001, 0.0, 1e-9, 0.001):
        assert loss_db(halves(shifted_m=shifted_m)) == pytest.approx(beside, abs=1.5)


@pytest.mark.parametrize("shifted_m", [0.0, 0.4])
def test_halves_five_centimetres_apart(shifted_m):
    together = loss_db(halves(shifted_m=shifted_m))
    assert loss_db(halves(apart_m=0.05, shifted_m=shifted_m)) == pytest.approx(together, abs=3.0)


def test_a_container_as_four_walls_and_a_roof():
    box = loss_db(AroundSite().box(0.0, 0.0))
    drawn = AroundSite().shed(-1.22, 1.22, -3.03, 3.03, height_m=2.59)
    assert loss_db(drawn) == pytest.approx(box, abs=0.1)


def yard():
    return AroundSite().box(0.0, 1.3).box(5.0, -2.0, bearing_deg=20.0).wall((-8.0, -3.0), (-8.0, 1.0), height_m=2.2)


def moved(point):
    return np.array(point) + np.array([12.345, -7.77, 0.0])


def turned(point):
    c, s = math.cos(0.7), math.sin(0.7)
    return np.array([c * point[0] - s * point[1], s * point[0] + c * point[1], point[2]])


@pytest.mark.parametrize("change", [moved, turned])
def test_moving_or_turning_the_site_changes_nothing(change):
    ends = tuple(tuple(change(one)) for one in ENDS)
    assert ways(yard().changed(change), ends).loss_db == pytest.approx(ways(yard()).loss_db, abs=1e-6, nan_ok=True)


def test_mirroring_the_site_swaps_left_and_right():
    found = ways(yard().changed(lambda p: np.array([p[0], -p[1], p[2]]))).loss_db[0]
    expected = ways(yard()).loss_db[0][[Way.OVER, Way.RIGHT, Way.LEFT, Way.REFLECTED]]
    assert found == pytest.approx(expected, abs=1e-6, nan_ok=True)


def test_swapping_the_ends_changes_nothing():
    assert loss_db(yard(), ENDS[::-1]) == pytest.approx(loss_db(yard()), abs=1e-6)


LOSSES_DB = (3.0, 6.0, 12.0, 20.0, 30.0, 60.0)


@pytest.mark.parametrize(
    ("site_of", "ends"),
    [
        (lambda db: AroundSite().wall((0.0, -5.0), (0.0, 5.0), height_m=1.45, loss_db=db), ENDS),
        (lambda db: AroundSite().wall((0.0, -5.0), (0.0, 5.0), height_m=2.45, loss_db=db), ENDS),
        (
            lambda db: AroundSite().roof(
                (-6.0, -5.0, 3.0), (6.0, -5.0, 3.0), (6.0, 5.0, 3.0), (-6.0, 5.0, 3.0), loss_db=db
            ),
            ((-4.0, 0.0, 3.1), (14.0, 0.0, 2.0)),
        ),
    ],
    ids=["grazed wall", "wall in the line", "end over a roof"],
)
def test_nothing_weaker_costs_more_than_steel(site_of, ends):
    found = [loss_db(site_of(db), ends) for db in LOSSES_DB]
    assert np.all(np.diff(found) > -0.01)


def test_past_the_corner_of_a_wall():
    """Touched in its corner, a quarter of the plane is closed: 20 log10(3 / 4) = 2.5 dB."""
    low, side = 1.5 - 1e-4, 1e-4
    site = AroundSite().roof((0.0, side, -20.0), (0.0, 30.0, -20.0), (0.0, 30.0, low), (0.0, side, low))
    assert loss_db(site) == pytest.approx(2.5, abs=0.1)
