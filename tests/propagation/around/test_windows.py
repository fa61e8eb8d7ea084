"""The integral over a string's openings, and its knife edge: exact integrals, classical results, printed examples."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import fresnel

from survey.base.units import wavelength_m
from survey.propagation.around.rule import beyond_edge
from survey.propagation.around.search import edge_loss_db
from survey.propagation.around.string import wedge_gain
from survey.propagation.around.windows import Face, Station, field


def exact_loss_db(nu):
    """Fresnel integrals, ITU-R P.526-15 section 4.1: -20 log10(sqrt((1-C-S)^2 + (C-S)^2) / 2)."""
    s, c = fresnel(nu)
    return float(-20 * np.log10(np.hypot(1 - c - s, c - s) / 2))


def loss_db(legs_m, turns_rad, *, wave_m, faces=None, below_m=None):
    """Loss of edges that all close the right of a string, hard and soft; some lie so far beside it."""
    below_m = [0.0] * len(turns_rad) if below_m is None else below_m
    at_m = np.cumsum(legs_m)
    stations = [
        Station(float(at), -below, math.inf, -2.0 * math.sin(turn / 2.0), 1.0)
        for at, below, turn in zip(at_m, below_m, turns_rad, strict=False)
    ]
    along = [False] * (len(turns_rad) - 1) if faces is None else faces
    both = field(stations, [Face(0.0, 1.0 if one else 0.0) for one in along], float(at_m[-1]), wave_m)
    return [-20.0 * math.log10(max(abs(one), 1e-12)) for one in both]


@pytest.mark.parametrize("nu", [-1.0, -0.78, -0.3, 0.0, 0.5, 1.0, 2.0, 5.0, 10.0])
def test_one_edge_is_the_fresnel_integral(nu):
    """scipy's Fresnel integrals; 15 m either side at 868 MHz; the edge at a corner, or beside the string."""
    wave_m = float(wavelength_m(868.0))
    turn, below_m = 0.0, 0.0
    if nu >= 0:
        turn = 2 * np.arcsin(nu / np.sqrt(2 * 15 * 15 / (wave_m * 30)) / 2)
    else:
        below_m = -nu * math.sqrt(wave_m * 15.0 * 15.0 / 60.0)
    found = loss_db([15.0, 15.0], [turn], below_m=[below_m], wave_m=wave_m)[0]
    assert found == pytest.approx(exact_loss_db(nu), abs=0.03)


# Rappaport, Wireless Communications, 2nd ed., examples 4.7 and 4.8: wavelength, distances, height, printed loss.
RAPPAPORT = [
    (1 / 3, 1000.0, 1000.0, 25.0, 21.7),
    (1 / 3, 1000.0, 1000.0, 0.0, 6.02),
    (1 / 3, 10_000.0, 2000.0, 70.83, 25.5),
]


@pytest.mark.parametrize(("wave_m", "d1_m", "d2_m", "height_m", "printed_db"), RAPPAPORT)
def test_rappaport_examples_by_formula_and_by_integral(wave_m, d1_m, d2_m, height_m, printed_db):
    nu = height_m * np.sqrt(2 * (d1_m + d2_m) / (wave_m * d1_m * d2_m))
    assert edge_loss_db(nu) == pytest.approx(printed_db, abs=0.15)
    turn = np.arctan(height_m / d1_m) + np.arctan(height_m / d2_m)
    legs_m = [np.hypot(d1_m, height_m), np.hypot(d2_m, height_m)]
    assert loss_db(legs_m, [turn], wave_m=wave_m)[0] == pytest.approx(printed_db, abs=0.15)


@pytest.mark.parametrize("nu", [-0.7, 0.0, 1.0, 2.4, 8.0])
def test_the_formula_of_one_edge(nu):
    """ITU-R P.526-15 section 4.1, equation (31), is within 0.13 dB of the Fresnel integral."""
    assert edge_loss_db(nu) == pytest.approx(exact_loss_db(nu), abs=0.13)


@pytest.mark.parametrize(("edges", "exact_db"), [(1, 6.0206), (2, 9.5424), (3, 12.0412), (4, 13.9794)])
def test_edges_in_a_row_that_just_graze(edges, exact_db):
    """Classical result (Furutsu, Vogler, Lee, Xia and Bertoni): the field is 1 / (N + 1); 6 dB each is a trap."""
    assert loss_db([5.0] * (edges + 1), [0.0] * edges, wave_m=0.345)[0] == pytest.approx(exact_db, abs=0.05)


@pytest.mark.parametrize(("frequency_mhz", "exact_db"), [(433.0, 18.267), (868.0, 21.487), (2440.0, 27.821)])
def test_two_walls_in_a_row(frequency_mhz, exact_db):
    """Two edges 3 m high at 20 and 40 m of 60 m, ends at 1.5 m: the exact double-edge integral, by two methods."""
    rise = np.arctan(1.5 / 20.0)
    legs_m = [np.hypot(20, 1.5), 20.0, np.hypot(20, 1.5)]
    wave_m = float(wavelength_m(frequency_mhz))
    assert loss_db(legs_m, [rise, rise], wave_m=wave_m)[0] == pytest.approx(exact_db, abs=0.06)


def test_terrain_terms_are_not_used_at_the_scale_of_a_site():
    """A container's two edges between ends 1 m high at 868 MHz: exact double edge 23.08 dB.

    The terrain formulas of P.526 section 4.5 give 36.8 and 27.8 dB and must not be used.
    """
    rise = np.arctan(1.591 / 10.0)
    legs_m = [np.hypot(10, 1.591), 2.438, np.hypot(10, 1.591)]
    assert loss_db(legs_m, [rise, rise], wave_m=float(wavelength_m(868.0)))[0] == pytest.approx(23.08, abs=0.1)


def test_a_flush_face_counts_once_for_a_field_square_to_it():
    """Closed form: two grazing corners with a steel face between, orthants 1/4 +- arcsin(rho) / 2 pi: hard 6.02 dB."""
    rho = np.sqrt(14.0 * 14.0 / (16.44 * 16.44))
    hard, soft = loss_db([14.0, 2.44, 14.0], [0.0, 0.0], wave_m=0.345, faces=[True])
    assert hard == pytest.approx(6.02, abs=0.03)
    assert soft == pytest.approx(-20 * np.log10(np.arcsin(rho) / np.pi), abs=0.05)


@pytest.mark.parametrize("width", [0.3, 0.8, 1.5, 3.0])
def test_a_slit_is_the_difference_of_two_edges(width):
    """Fresnel integrals of both edges (ITU-R P.526-15, section 4.2.1): a slit of so many nu about the line."""
    wave_m = 0.345
    scale_m = math.sqrt(wave_m * 15.0 * 15.0 / 60.0)
    one = Station(15.0, -0.5 * width * scale_m, 0.5 * width * scale_m, 0.0, 1.0)
    found = abs(field([one], [], 30.0, wave_m)[0])
    (s1, c1), (s2, c2) = fresnel(-0.5 * width), fresnel(0.5 * width)
    assert found == pytest.approx(abs((1 + 1j) / 2 * ((c2 - c1) - 1j * (s2 - s1))), rel=0.005)


@pytest.mark.parametrize("nu", [-2.0, 0.0, 1.0, 4.0])
def test_beyond_an_edge(nu):
    """The same function behind windows of mirrors; its ripple fades where edges are too deep to count."""
    assert -20.0 * math.log10(abs(beyond_edge(nu))) == pytest.approx(exact_loss_db(nu), abs=0.35)


@given(st.floats(-1.0, 20.0), st.floats(0.0, 20.0))
def test_a_higher_edge_never_costs_less(nu, more):
    assert edge_loss_db(nu + more) >= edge_loss_db(nu) - 1e-9


@given(
    st.lists(st.floats(1.0, 30.0), min_size=4, max_size=4),
    st.lists(st.floats(0.0, 0.6), min_size=3, max_size=3),
    st.lists(st.booleans(), min_size=2, max_size=2),
)
def test_from_the_other_end_the_loss_is_the_same(legs_m, turns_rad, faces):
    there = loss_db(legs_m, turns_rad, wave_m=0.345, faces=faces)
    back = loss_db(legs_m[::-1], turns_rad[::-1], wave_m=0.345, faces=faces[::-1])
    assert there == pytest.approx(back, abs=1e-6)


def test_a_wedge_is_a_sharp_edge_in_the_limits():
    turns = np.linspace(0.01, 1.5, 20)
    assert [wedge_gain(turn, 2.0) for turn in turns] == pytest.approx([1.0] * 20)
    assert wedge_gain(1e-5, 1.5) == pytest.approx(1.0, abs=1e-4)
    assert wedge_gain(0.0, 1.5) == 1.0
    assert np.all(np.diff([wedge_gain(turn, 1.5) for turn in turns]) > 0)
