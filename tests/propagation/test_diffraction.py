"""Edges: published knife-edge figures, exact integrals, and what must always hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import fresnel

from survey.base.units import wavelength_m
from survey.propagation.diffraction import edges_amplitude, knife_edge_loss_db, wedge_ratio


def exact_loss_db(nu):
    """Fresnel integrals, ITU-R P.526-15 section 4.1: -20 log10(sqrt((1-C-S)^2 + (C-S)^2) / 2)."""
    s, c = fresnel(np.asarray(nu, dtype=float))
    return -20 * np.log10(np.hypot(1 - c - s, c - s) / 2)


def loss_db(legs_m, turns_rad, *, wave_m, faces=None, below_m=None):
    along_face = np.zeros((1, len(turns_rad) - 1), dtype=bool) if faces is None else np.array([faces])
    below_m = np.zeros((1, len(turns_rad))) if below_m is None else np.array([below_m])
    hard, soft = edges_amplitude(
        np.array([legs_m]), np.array([turns_rad]), below_m, wavelength_m=wave_m, along_face=along_face
    )
    return -20 * np.log10(abs(hard[0])), -20 * np.log10(abs(soft[0]))


# ITU-R P.526-15, equation (31), at these nu.
P526 = [
    (-0.7, 0.5361),
    (-0.5, 1.9592),
    (0.0, 6.0329),
    (0.5, 10.2878),
    (1.0, 13.9257),
    (1.5, 16.7844),
    (2.0, 19.0429),
    (2.4, 20.5393),
    (3.0, 22.416),
    (5.0, 26.8136),
    (10.0, 32.8554),
]


@pytest.mark.parametrize(("nu", "printed_db"), P526)
def test_knife_edge_of_p526(nu, printed_db):
    assert float(knife_edge_loss_db(nu)) == pytest.approx(printed_db, abs=0.002)


def test_well_clear_of_an_edge_nothing_is_lost():
    """Rappaport, 2nd ed., example 4.7(c): nu = -2.74 on the chart about 1 dB; the approximation's zero."""
    assert knife_edge_loss_db([-0.79, -2.74, -50.0]).tolist() == [0.0, 0.0, 0.0]


# Rappaport, 2nd ed., examples 4.7(a), (b) and 4.8(a): wavelength, distances, height above the line, printed loss.
RAPPAPORT = [
    (1 / 3, 1000.0, 1000.0, 25.0, 21.7),
    (1 / 3, 1000.0, 1000.0, 0.0, 6.02),
    (1 / 3, 10_000.0, 2000.0, 70.83, 25.5),
]


@pytest.mark.parametrize(("wave_m", "d1_m", "d2_m", "height_m", "printed_db"), RAPPAPORT)
def test_rappaport_examples_by_formula_and_by_integral(wave_m, d1_m, d2_m, height_m, printed_db):
    nu = height_m * np.sqrt(2 * (d1_m + d2_m) / (wave_m * d1_m * d2_m))
    assert float(knife_edge_loss_db(nu)) == pytest.approx(printed_db, abs=0.15)
    turn = np.arctan(height_m / d1_m) + np.arctan(height_m / d2_m)
    assert loss_db([np.hypot(d1_m, height_m), np.hypot(d2_m, height_m)], [turn], wave_m=wave_m)[0] == pytest.approx(
        printed_db, abs=0.15
    )


def test_rappaport_example_4_8_b():
    """Rappaport, 2nd ed., example 4.8(b): 6 dB where the edge just touches the line, 4.16 m above the receiver."""
    height_m = 25.0 * 2000.0 / 12_000.0
    assert height_m == pytest.approx(4.16, abs=0.02)
    assert loss_db([10_000.0, 2000.0], [0.0], wave_m=1 / 3)[0] == pytest.approx(6.02, abs=0.02)


@pytest.mark.parametrize("nu", [-1.2, -0.78, -0.3, 0.0, 0.5, 1.0, 2.0, 5.0, 10.0])
def test_one_edge_is_the_fresnel_integral(nu):
    """scipy's Fresnel integrals; 15 m either side at 868 MHz."""
    wave_m = float(wavelength_m(868.0))
    turn = 2 * np.arcsin(nu / np.sqrt(2 * 15 * 15 / (wave_m * 30)) / 2)
    assert loss_db([15.0, 15.0], [turn], wave_m=wave_m)[0] == pytest.approx(float(exact_loss_db(nu)), abs=0.03)


@pytest.mark.parametrize(("edges", "exact_db"), [(1, 6.0206), (2, 9.5424), (3, 12.0412), (4, 13.9794)])
def test_edges_in_a_row_that_just_graze(edges, exact_db):
    """Classical result (Furutsu, Vogler, Lee, Xia and Bertoni): the field is 1 / (N + 1); 6 dB each is a trap."""
    assert loss_db([5.0] * (edges + 1), [0.0] * edges, wave_m=0.345)[0] == pytest.approx(exact_db, abs=0.03)


@pytest.mark.parametrize(("frequency_mhz", "exact_db"), [(433.0, 18.267), (868.0, 21.487), (2440.0, 27.821)])
def test_two_walls_in_a_row(frequency_mhz, exact_db):
    """Two edges 3 m high at 20 and 40 m of 60 m, ends at 1.5 m: the exact double-edge integral, by two methods."""
    rise = np.arctan(1.5 / 20.0)
    legs = [np.hypot(20, 1.5), 20.0, np.hypot(20, 1.5)]
    assert loss_db(legs, [rise, rise], wave_m=float(wavelength_m(frequency_mhz)))[0] == pytest.approx(
        exact_db, abs=0.06
    )


def test_a_flush_face_counts_once_for_a_field_square_to_it():
    """Closed form: two grazing corners with a steel face between, orthants 1/4 +- arcsin(rho) / 2 pi: hard 6.02 dB."""
    rho = np.sqrt(14.0 * 14.0 / (16.44 * 16.44))
    hard, soft = loss_db([14.0, 2.44, 14.0], [0.0, 0.0], wave_m=0.345, faces=[True])
    assert hard == pytest.approx(6.02, abs=0.03)
    assert soft == pytest.approx(-20 * np.log10(np.arcsin(rho) / np.pi), abs=0.05)


def test_terrain_terms_are_not_used_at_the_scale_of_a_site():
    """A container's two edges between ends 1 m high at 868 MHz: exact double edge 23.08 dB; the terrain formulas of
    P.526 section 4.5 give 36.8 and 27.8 dB and must not be used."""
    rise = np.arctan(1.591 / 10.0)
    found = loss_db([np.hypot(10, 1.591), 2.438, np.hypot(10, 1.591)], [rise, rise], wave_m=float(wavelength_m(868.0)))
    assert found[0] == pytest.approx(23.08, abs=0.1)


@given(st.floats(-1.0, 20.0), st.floats(0.0, 20.0))
def test_a_higher_edge_never_costs_less(nu, more):
    assert knife_edge_loss_db(nu + more) >= knife_edge_loss_db(nu) - 1e-9


@given(
    st.lists(st.floats(1.0, 30.0), min_size=4, max_size=4),
    st.lists(st.floats(-0.05, 0.6), min_size=3, max_size=3),
    st.lists(st.booleans(), min_size=2, max_size=2),
)
def test_from_the_other_end_the_loss_is_the_same(legs_m, turns_rad, faces):
    there = loss_db(legs_m, turns_rad, wave_m=0.345, faces=faces)
    back = loss_db(legs_m[::-1], turns_rad[::-1], wave_m=0.345, faces=faces[::-1])
    assert there == pytest.approx(back, abs=1e-6)


def test_a_wedge_is_a_sharp_edge_in_the_limits():
    turns = np.linspace(0.01, 1.5, 20)
    assert wedge_ratio(turns, 2.0) == pytest.approx(np.ones(20))
    assert float(wedge_ratio(1e-5, 1.5)) == pytest.approx(1.0, abs=1e-4)
    assert np.all(np.diff(wedge_ratio(turns, 1.5)) > 0)
