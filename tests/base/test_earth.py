"""Longitude and latitude to the plan and back, beside published values and formulas of another kind."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.base.earth import Earth


def ecef_m(lon_deg, lat_deg, height_m=0.0):
    """Earth-centred coordinates by the textbook formula: the oracle, built without what `Earth` uses."""
    a, f = 6_378_137.0, 1 / 298.257223563
    b = a * (1 - f)
    lon, lat = np.radians(lon_deg), np.radians(lat_deg)
    n = a**2 / np.hypot(a * np.cos(lat), b * np.sin(lat))
    return np.array(
        [
            (n + height_m) * np.cos(lat) * np.cos(lon),
            (n + height_m) * np.cos(lat) * np.sin(lon),
            (n * (b / a) ** 2 + height_m) * np.sin(lat),
        ]
    )


def test_the_example_of_the_guidance_note():
    """IOGP 373-7-2, orthographic (EPSG method 9840), its worked example on WGS 84."""
    earth = Earth(zero_lat_deg=55.0, zero_lon_deg=5.0)
    place = [2 + 7 / 60 + 46.38 / 3600, 53 + 48 / 60 + 33.82 / 3600]
    assert earth.plan_m([place])[0] == pytest.approx([-189_011.711, -128_640.567], abs=0.001)
    assert earth.lon_lat_deg([[-189_011.711, -128_640.567]])[0] == pytest.approx(place, abs=1e-8)


@pytest.mark.parametrize(
    ("lat_deg", "degree_of_latitude_m", "degree_of_longitude_m"),
    # Lengths of a degree on WGS 84 as handbooks print them; of latitude centred on that latitude.
    [(0.0, 110_574, 111_320), (15.0, 110_649, 107_550), (45.0, 111_132, 78_847), (75.0, 111_618, 28_902)],
)
def test_the_length_of_a_degree(lat_deg, degree_of_latitude_m, degree_of_longitude_m):
    earth = Earth(zero_lat_deg=lat_deg, zero_lon_deg=11.0)
    north = earth.plan_m([[11.0, lat_deg - 0.005], [11.0, lat_deg + 0.005]])
    east = earth.plan_m([[10.995, lat_deg], [11.005, lat_deg]])
    assert (north[1] - north[0])[1] * 100 == pytest.approx(degree_of_latitude_m, abs=1)
    assert (east[1] - east[0])[0] * 100 == pytest.approx(degree_of_longitude_m, abs=1)


PLACES = st.tuples(st.floats(-180, 180), st.floats(-89.9, 89.9), st.floats(-360, 360))


@given(PLACES, st.floats(-50_000, 50_000), st.floats(-50_000, 50_000))
def test_there_and_back_and_as_earth_centred_coordinates_have_it(place, x_m, y_m):
    lon_deg, lat_deg, north_deg = place
    earth = Earth(zero_lat_deg=lat_deg, zero_lon_deg=lon_deg, plan_north_deg=north_deg)
    there = earth.lon_lat_deg([[x_m, y_m]])
    assert -180 <= there[0, 0] <= 180
    assert earth.plan_m(there)[0] == pytest.approx([x_m, y_m], abs=1e-6)
    step = ecef_m(*there[0]) - ecef_m(lon_deg, lat_deg)
    plumb = ecef_m(lon_deg, lat_deg, 1.0) - ecef_m(lon_deg, lat_deg)
    assert np.sum(step**2) - np.dot(step, plumb) ** 2 == pytest.approx(x_m**2 + y_m**2, rel=1e-7, abs=1e-2)


def test_the_plan_turned():
    """With the y axis 90 degrees east of north, y runs east and x runs south."""
    earth = Earth(zero_lat_deg=48.0, zero_lon_deg=11.0, plan_north_deg=90.0)
    east, north = earth.plan_m([[11.001, 48.0], [11.0, 48.001]])
    assert (east[1] > 74, abs(east[0]) < 0.01) == (True, True)
    assert (north[0] < -111, abs(north[1]) < 0.01) == (True, True)


def test_across_the_date_line_and_behind_the_earth():
    earth = Earth(zero_lat_deg=-17.0, zero_lon_deg=179.9999)
    assert earth.plan_m([[-179.9999, -17.0]])[0] == pytest.approx([21.3, 0.0], abs=0.1)
    assert earth.lon_lat_deg(earth.plan_m([[-179.9999, -17.0]]))[0] == pytest.approx([-179.9999, -17.0])
    assert np.isnan(earth.plan_m([[0.0, 17.0]])).all()
    assert np.isnan(earth.lon_lat_deg([[7e6, 0.0]])).all()
