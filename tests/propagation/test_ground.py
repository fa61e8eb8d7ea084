"""The ground's reflection, which the program leaves in `shadowing_db`: the tables of docs/computing.md anew."""

from pathlib import Path

import numpy as np
import pytest
import tmm
from scipy.stats import norm

from survey.base.units import wavelength_m
from survey.inputs.slab import SUBSTANCES, Substance

PAGE = Path(__file__).resolve().parents[2] / "docs" / "computing.md"
GROUNDS = {
    "concrete": SUBSTANCES["concrete"],
    # ITU-R P.2040-3, Table 3, medium dry ground; 433 and 868 MHz lie below the range of all these figures.
    "soil": Substance(a=15.0, b=-0.1, c=0.035, d=1.63, low_mhz=1e3, high_mhz=10e3),
}
HEIGHTS_M = np.linspace(2.0, 4.0, 101)
HEIGHT_SD_M = 0.2


def permittivity(ground, frequency_mhz):
    ghz = frequency_mhz / 1e3
    return ground.a * ghz**ground.b - 17.98j * ground.c * ghz**ground.d / ghz


def reflection(eta, sine, *, vertical):
    """Fresnel's coefficient over the sine of the angle between ray and ground."""
    root = np.sqrt(eta - (1.0 - sine**2))
    return (eta * sine - root) / (eta * sine + root) if vertical else (sine - root) / (sine + root)


def gain_db(ground, distance_m, one_m, other_m, *, frequency_mhz, vertical):
    """What flat ground adds to free space between two ends at some heights, antennas alike in all directions."""
    direct_m, bounce_m = np.hypot(distance_m, one_m - other_m), np.hypot(distance_m, one_m + other_m)
    bounced = reflection(permittivity(ground, frequency_mhz), (one_m + other_m) / bounce_m, vertical=vertical)
    turn = np.exp(-2j * np.pi * (bounce_m - direct_m) / float(wavelength_m(frequency_mhz)))
    return 20.0 * np.log10(np.abs(1.0 + bounced * direct_m / bounce_m * turn))


def over_heights(ground, distance_m, *, frequency_mhz, vertical):
    """Median and standard deviation with both ends anywhere from 2 to 4 m high."""
    gains_db = gain_db(
        ground, distance_m, HEIGHTS_M[:, None], HEIGHTS_M, frequency_mhz=frequency_mhz, vertical=vertical
    )
    return np.median(gains_db), gains_db.std()


def left_over(ground, distance_m, *, frequency_mhz, vertical):
    """Standard deviation that stays where a plan gives both heights, each off by 0.2 m."""
    off_m = HEIGHT_SD_M * norm.ppf((np.arange(15) + 0.5) / 15)
    given_m = HEIGHTS_M[::4]
    gains_db = gain_db(
        ground,
        distance_m,
        given_m[:, None, None, None] + off_m[:, None],
        given_m[:, None, None] + off_m,
        frequency_mhz=frequency_mhz,
        vertical=vertical,
    )
    return np.sqrt(gains_db.var(axis=(2, 3)).mean())


@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS)
@pytest.mark.parametrize("angle_deg", [1.0, 10.0, 24.0, 60.0])
def test_fresnel_coefficients_against_a_library_of_thin_films(ground, angle_deg):
    """tmm counts angles from the normal and absorption as a positive imaginary part."""
    eta, incidence = permittivity(ground, 868.0), np.deg2rad(90.0 - angle_deg)
    index = np.conj(np.sqrt(eta))
    inside = tmm.snell(1.0, index, incidence)
    for letter, vertical in (("p", True), ("s", False)):
        expected = tmm.interface_r(letter, 1.0, index, incidence, inside)
        found = reflection(eta, np.sin(np.deg2rad(angle_deg)), vertical=vertical)
        assert np.conj(found) == pytest.approx(expected, abs=1e-9)


def test_far_out_the_level_falls_with_the_fourth_power_of_distance():
    """Two-ray model: 20 log10(4 pi h1 h2 / (lambda d)) beside free space, T. S. Rappaport, 2nd ed., section 4.6."""
    distance_m, wave_m = 20_000.0, float(wavelength_m(868.0))
    found = gain_db(GROUNDS["concrete"], distance_m, 3.0, 3.0, frequency_mhz=868.0, vertical=False)
    assert found == pytest.approx(20.0 * np.log10(4.0 * np.pi * 9.0 / (wave_m * distance_m)), abs=0.1)


def table_rows():
    """Rows of the table: frequency and distance, then median, deviation and what is left for each of four grounds."""
    lines = PAGE.read_text(encoding="utf-8").split("<!-- ground -->")[1].splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("|")]
    return [
        (float(row[0]), float(row[1]), [[float(v) for v in cell.split("/")] for cell in row[2:]]) for row in cells[2:]
    ]


def test_the_table_of_the_documentation_is_what_comes_out():
    rows = table_rows()
    assert len(rows) == 12
    for frequency_mhz, distance_m, cells in rows:
        columns = [(ground, vertical) for ground in GROUNDS.values() for vertical in (True, False)]
        for (ground, vertical), cell in zip(columns, cells, strict=True):
            case = {"frequency_mhz": frequency_mhz, "vertical": vertical}
            figures = [*over_heights(ground, distance_m, **case), left_over(ground, distance_m, **case)]
            assert cell == pytest.approx(figures, abs=0.06), (frequency_mhz, distance_m)


@pytest.mark.parametrize(
    ("frequency_mhz", "vertical_db", "horizontal_db", "both_db"),
    [(433.0, 1.7, 3.0, 2.5), (868.0, 3.6, 6.0, 4.9), (2440.0, 4.0, 6.5, 5.4)],
)
def test_over_all_distances_the_ground_makes_nearly_the_default_shadowing(
    frequency_mhz, vertical_db, horizontal_db, both_db
):
    """Concrete, 30 to 100 m: the figures below the table of the documentation."""
    distances_m = np.linspace(30.0, 100.0, 36)[:, None, None]
    gains_db = [
        gain_db(
            GROUNDS["concrete"],
            distances_m,
            HEIGHTS_M[:, None],
            HEIGHTS_M,
            frequency_mhz=frequency_mhz,
            vertical=vertical,
        )
        for vertical in (True, False)
    ]
    found = [gains_db[0].std(), gains_db[1].std(), np.std(gains_db)]
    assert found == pytest.approx([vertical_db, horizontal_db, both_db], abs=0.06)


@pytest.mark.parametrize(("one_m", "other_m", "distance_m"), [(3.0, 3.0, 330.0), (1.0, 1.5, 55.0)])
def test_beyond_the_named_distance_the_ground_takes_from_the_link(one_m, other_m, distance_m):
    """4 pi h1 h2 / lambda, where the fourth-power line meets free space."""
    assert 4.0 * np.pi * one_m * other_m / float(wavelength_m(868.0)) == pytest.approx(distance_m, rel=0.02)
    for vertical in (True, False):
        case = {"frequency_mhz": 868.0, "vertical": vertical}
        assert gain_db(GROUNDS["concrete"], 1.2 * distance_m, one_m, other_m, **case) < 0.0
