"""Edges close below a string, and close beside one another: against exact integrals and limits."""

import numpy as np
import pytest
from one_link import excess_db, link, steel
from scipy.special import fresnel

from survey.base.units import wavelength_m
from survey.propagation.diffraction import edges_amplitude


def single_edge_db(nu):
    """Fresnel integrals, ITU-R P.526-15 section 4.1: -20 log10(sqrt((1-C-S)^2 + (C-S)^2) / 2)."""
    s, c = fresnel(nu)
    return float(-20 * np.log10(np.hypot(1 - c - s, c - s) / 2))


def loss_db(legs_m, turns_rad, below_m, *, wave_m):
    faces = np.zeros((1, len(turns_rad) - 1), dtype=bool)
    hard, _ = edges_amplitude(
        np.array([legs_m]), np.array([turns_rad]), np.array([below_m]), wavelength_m=wave_m, along_face=faces
    )
    return float(-20 * np.log10(abs(hard[0])))


def plain_loss_db(legs_m, turns_rad, below_m, *, wave_m, panels=24):
    """Vogler's integral by 384 points an edge as far as nine widths of a free path beyond the edge's own depth.

    The kernel is written as exp(-(x - y)^2 / 2d), which can neither overflow nor lose its peak.
    """
    legs_m, below_m = np.array(legs_m), np.array(below_m)
    reached_m = np.cumsum(legs_m)[:-1]
    width = np.sqrt(reached_m * (legs_m.sum() - reached_m) / legs_m.sum())
    slope = np.diff(below_m, prepend=0.0, append=0.0) / legs_m
    fall = np.sqrt(np.pi / wave_m) * (2 * np.sin(np.array(turns_rad) / 2) - slope[:-1] + slope[1:])
    points, weights = np.polynomial.legendre.leggauss(16)
    borders = np.linspace(0.0, 1.0, panels + 1) ** 1.5
    half = np.diff(borders)[:, None] / 2
    share, part = ((borders[:-1, None] + half + half * points).ravel(), (half * weights).ravel())
    field, before = np.ones(1, dtype=complex), np.zeros(1)
    for k, far in enumerate(9 * width + np.sqrt(np.pi / wave_m) * below_m):
        x = far * share
        kernel = np.exp(-((before[:, None] - x) ** 2) / (2 * legs_m[k]))
        field = (field @ kernel) * np.exp((1j - 1) * fall[k] * x) * far * part
        before = x
    field = field * np.exp(-(before**2) / (2 * legs_m[-1]))
    scale = np.sqrt(legs_m.sum() / np.prod(legs_m)) * (2 * np.pi) ** (-len(width) / 2)
    return float(-20 * np.log10(abs(scale * field.sum())))


@pytest.mark.parametrize("frequency_mhz", [433.0, 868.0, 2440.0])
@pytest.mark.parametrize("lower_m", [0.0, 0.02])
def test_two_edges_in_one_place_are_the_higher_one(lower_m, frequency_mhz):
    """The open space above both is that above the higher: one edge, by scipy's Fresnel integrals, to 0.9 dB.

    The quadrature takes them for 0.3 widths of a free path apart; there the closed form of two edges that graze,
    orthant 1/4 + arcsin(rho) / 2 pi, is 0.87 dB more.
    """
    wave_m = float(wavelength_m(frequency_mhz))
    for nu in (-1.0, -0.5, 0.0):
        below_m = -nu * np.sqrt(wave_m * 15.0 * 15.0 / 60.0)
        found = loss_db([15.0, 0.02, 15.0], [0.0, 0.0], [below_m, below_m + lower_m * (nu < 0)], wave_m=wave_m)
        assert found == pytest.approx(single_edge_db(nu), abs=0.9)


@pytest.mark.slow
def test_edges_of_many_depths_against_a_plain_quadrature():
    """Corners, and edges that lie below the string up to nu = -1.2 between them, 2 cm to 10 m apart: 1.5 dB at most.

    What is nearer together than the quadrature can tell apart is computed as if farther apart: hence the 1.5 dB.
    """
    rng = np.random.default_rng(11)
    errors = []
    for _ in range(300):
        edges, wave_m = int(rng.integers(2, 5)), float(rng.choice([0.123, 0.345, 0.692]))
        legs_m = np.exp(rng.uniform(np.log(0.02), np.log(10.0), edges + 1))
        legs_m[[0, -1]] = rng.uniform(3.0, 20.0, 2)
        reached_m = np.cumsum(legs_m)
        corner = int(rng.integers(0, edges))
        begins_m, ends_m = reached_m[corner], legs_m.sum() - reached_m[corner]
        turns_rad, below_m = np.zeros(edges), np.zeros(edges)
        turns_rad[corner] = rng.uniform(0.0, 1.0)
        for k in range(edges):
            if k != corner:
                size_m = begins_m if k < corner else ends_m
                along_m = reached_m[k] if k < corner else reached_m[k] - begins_m
                scale_m = np.sqrt(wave_m * along_m * (size_m - along_m) / (2.0 * size_m))
                below_m[k] = rng.uniform(0.0, 1.2) * scale_m
        places_m, depths_m = np.concatenate([[0.0], reached_m]), np.concatenate([[0.0], below_m, [0.0]])
        if any(_hidden(places_m, depths_m, k, wave_m) for k in range(1, edges + 1) if k != corner + 1):
            continue
        found = loss_db(legs_m, turns_rad, below_m, wave_m=wave_m)
        errors.append(found - plain_loss_db(legs_m, turns_rad, below_m, wave_m=wave_m))
    assert len(errors) > 100
    assert np.abs(errors).max() < 1.55
    assert np.sqrt(np.mean(np.square(errors))) < 0.35
    assert np.median(np.abs(errors)) < 0.05


def _hidden(places_m, depths_m, k, wave_m):
    """Whether an edge lies below the line between some two others by more than nu = -1.2."""
    for one in range(k):
        for two in range(k + 1, len(places_m)):
            before_m, beyond_m = places_m[k] - places_m[one], places_m[two] - places_m[k]
            sight_m = (depths_m[one] * beyond_m + depths_m[two] * before_m) / (before_m + beyond_m)
            if (sight_m - depths_m[k]) * np.sqrt(2.0 / wave_m * (1.0 / before_m + 1.0 / beyond_m)) < -1.2:
                return True
    return False


@pytest.mark.parametrize("frequency_mhz", [433.0, 868.0, 2440.0])
@pytest.mark.parametrize("gap_m", [0.03, 0.1, 0.3, 0.6])
def test_a_lower_wall_close_behind_another_costs_next_to_nothing(gap_m, frequency_mhz):
    """It lies in the shadow of the first, whose loss is that of one edge: so it adds little.

    Closed form of two grazing edges (orthant 1/4 + arcsin(rho) / 2 pi), 0.67 m apart at the least, as the quadrature
    takes them: 0.87 dB.
    """
    most_db = 0.87
    for top_m in (9.55, 9.7, 9.9, 10.0):
        first = steel((0.0, -300.0), (0.0, 300.0), name="first", height_m=top_m)
        alone = excess_db(link(first, frequency_mhz=frequency_mhz, heights_m=(10.0, 10.0)))
        for lower_m in (0.02, 0.1, 0.4):
            second = steel((gap_m, -300.0), (gap_m, 300.0), name="second", height_m=top_m - lower_m)
            both = excess_db(link(first, second, frequency_mhz=frequency_mhz, heights_m=(10.0, 10.0)))
            assert -0.3 < both - alone < most_db


@pytest.mark.slow
def test_nothing_jumps_as_a_wall_rises_behind_another():
    """Steps of a centimetre past the depth at which the higher one hides it, and past equal heights."""
    for gap_m in (0.05, 0.4, 1.5):
        first = steel((0.0, -300.0), (0.0, 300.0), name="first", height_m=9.8)
        losses_db = [
            excess_db(
                link(
                    first,
                    steel((gap_m, -300.0), (gap_m, 300.0), name="second", height_m=float(top_m)),
                    frequency_mhz=2440.0,
                    heights_m=(10.0, 10.0),
                )
            )
            for top_m in np.arange(8.8, 10.2, 0.01)
        ]
        assert np.abs(np.diff(losses_db)).max() < 1.0
