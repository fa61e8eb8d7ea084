"""Problems with published optima, put to the same functions that choose gateways.

Sources beside each; ids as in the project's folder of published values, `published/checks.toml`.
"""

import csv

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.sparse.csgraph import shortest_path

from survey.siting import CoverageMatrix
from survey.siting.choosing import choose
from survey.siting.fewest import fewest


@pytest.fixture
def pmed1(validation):
    """Distances between the nodes of OR-Library's pmed1 (J. E. Beasley); of an edge given twice the later line wins."""
    lines = (validation / "published" / "data" / "pmed1.txt").read_text(encoding="utf-8").split("\n")
    nodes = int(lines[0].split()[0])
    length = np.zeros((nodes, nodes))
    for line in lines[1:]:
        if line.strip():
            a, b, cost = (int(word) for word in line.split())
            length[a - 1, b - 1] = length[b - 1, a - 1] = cost
    return shortest_path(csr_array(length))


def median_of(distance, *, number):
    """The p-median: reliabilities that fall with distance, so that the expected number served is the total distance."""
    longest = distance.max()
    matrix = CoverageMatrix(reliability=1.0 - distance / longest, margin_db=np.zeros(distance.shape), required=0.0)
    found = choose(matrix, at_most=number)
    return found, (len(distance) - found.expected_served) * longest


def centre_of(distance, *, number):
    """The p-center: everyone as likely anywhere, margins that fall with distance."""
    matrix = CoverageMatrix(reliability=np.full(distance.shape, 0.99), margin_db=-distance, required=0.95)
    found = choose(matrix, at_most=number, thrifty=False)
    return found, -found.worst_margin_db


def fewest_within(distance, radius, *, times=1):
    reached = distance <= radius
    return fewest(CoverageMatrix(reliability=reached * 0.99, margin_db=-distance, required=0.95), times=times)


def test_p_median_of_pmed1(pmed1):
    """gr-01: OR-Library pmed1, p = 5, proven optimum 5819."""
    found, total = median_of(pmed1, number=5)
    assert total == pytest.approx(5819, abs=1e-6)
    assert found.proven


def test_p_center_of_pmed1(pmed1):
    """gr-02: the same network; W. Pullan, a memetic algorithm for the vertex p-center problem: 127."""
    found, radius = centre_of(pmed1, number=5)
    assert radius == 127
    assert found.proven_worst


@pytest.mark.parametrize(("radius", "sites"), [(50, 38), (75, 17), (100, 10), (126, 6), (127, 5), (150, 3), (200, 1)])
def test_set_cover_of_pmed1(pmed1, radius, sites):
    """gr-03: own exact computing; 127 with 5 and 126 with 6 agree with gr-02."""
    found = fewest_within(pmed1, radius)
    assert len(found.chosen) == sites
    assert found.proven
    assert np.all(pmed1[:, list(found.chosen)].min(axis=1) <= radius)


@pytest.mark.parametrize(("radius_m", "sites"), [(5000, 8), (8000, 3)])
def test_set_cover_of_san_francisco(validation, radius_m, sites):
    """gr-04: 205 places by 16 sites from the tutorial of an open library for spatial optimisation."""
    with (validation / "published" / "data" / "sf_distance_205x16.csv").open(encoding="utf-8", newline="") as file:
        distance_m = np.array([[float(value) for value in row[2:]] for row in list(csv.reader(file))[1:]])
    assert distance_m.shape == (205, 16)
    found = fewest_within(distance_m, radius_m)
    assert (len(found.chosen), found.proven) == (sites, True)


def test_tiny_set_cover():
    """gr-08: the textbook's five elements and four sets; two are enough, by inspection."""
    sets = [[1, 2, 3], [2, 4], [3, 4], [4, 5]]
    holds = np.array([[element in one for one in sets] for element in range(1, 6)])
    found = fewest(CoverageMatrix(reliability=holds * 0.99, margin_db=holds * 1.0, required=0.95))
    assert (set(found.chosen), found.served, found.proven) == ({0, 3}, 5, True)


STEP = 0.01


def plane(points, *, step=STEP):
    """Distances from points to a fine grid around them. The best grid point is at most half a diagonal off the best."""
    points = np.array(points)
    low, high = points.min(axis=0), points.max(axis=0)
    axes = [np.arange(a, b + step / 2, step) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    return np.linalg.norm(points[:, None] - grid, axis=2), grid


TRIANGLES = [
    ([(0, 0), (3, 0), (0, 4)], 2.5, (1.5, 2.0)),
    ([(0, 0), (10, 0), (5, 1)], 5.0, (5.0, 0.0)),
    ([(0, 0), (1, 0), (0.5, 0.75**0.5)], 0.57735, (0.5, 0.288675)),
]


@pytest.mark.parametrize(("corners", "radius", "centre"), TRIANGLES)
def test_one_center_in_the_plane(corners, radius, centre):
    """gr-09: the smallest circle around a right, an obtuse and an equilateral triangle (Euclid)."""
    distance, grid = plane(corners)
    found, reached = centre_of(distance, number=1)
    assert radius - 1e-5 <= reached <= radius + STEP / 2**0.5
    assert np.allclose(grid[found.chosen[0]], centre, atol=0.1)


def test_one_median_in_the_plane():
    """gr-10: Fermat's point of the triangle (0,0) (3,0) (0,4), total sqrt(25 + 12 sqrt 3), at (0.7512, 0.6958)."""
    distance, grid = plane([(0, 0), (3, 0), (0, 4)])
    found, total = median_of(distance, number=1)
    exact = (25 + 12 * 3**0.5) ** 0.5
    assert exact <= total <= exact + 1e-4, "flat at its minimum, so that half a centimetre off hardly costs"
    assert np.allclose(grid[found.chosen[0]], (0.7512, 0.6958), atol=STEP)


def ring(nodes):
    """Distances around a ring of nodes one apart: its medians and centres are plain."""
    steps = np.abs(np.arange(nodes)[:, None] - np.arange(nodes))
    return np.minimum(steps, nodes - steps).astype(float)


def test_a_ring_of_twelve():
    """Own table: three sites a third of the ring apart serve four nodes each at 0, 1, 1 and 2: 12 in all, 2 at most."""
    assert median_of(ring(12), number=3)[1] == pytest.approx(12.0)
    assert centre_of(ring(12), number=3)[1] == 2.0
    assert len(fewest_within(ring(12), 1).chosen) == 4
    spare = fewest_within(ring(12), 1, times=2)
    assert (len(spare.chosen), spare.proven) == (8, True), "each reaches 3 nodes; 24 are to be reached"
