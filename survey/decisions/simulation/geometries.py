"""Geometries of a site: every piece moved at random within what the plan says it is drawn within."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.workers import in_order
from survey.budget import Links, crossing_counts, links_between
from survey.kernel import library
from survey.scene import Pieces, Scene, pieces_of

GEOMETRIES = 100
"""How many geometries there are: two standard errors of a share that they alone decide are then 10 points of 100."""
MIN_GEOMETRIES = 20
"""No fewer than this on a large site: two standard errors are then up to 22 points of a hundred. A judgement."""
MAX_CROSSED = 600
"""Sheets that the direct lines of one geometry may cross, which is what its time goes by: 100 geometries of so many
take some 5 s of processor time. Measured on the demo sites."""


@dataclass(frozen=True, kw_only=True)
class Geometries:
    """Where everything stands, again and again.

    Attributes
    ----------
    pieces : Pieces
        What moves as one.
    deviates : ndarray of float, shape (geometries, pieces, 3)
        How far each moves, in its standard deviations. [-]
    of_run : ndarray of int, shape (runs,)
        Which geometry each simulation run has, rising.
    """

    pieces: Pieces
    deviates: FloatArray
    of_run: IntArray

    def __len__(self) -> int:
        return len(self.deviates)

    @property
    def sizes(self) -> list[int]:
        """How many runs each geometry has; they differ by one run or none."""
        return [int(count) for count in np.bincount(self.of_run, minlength=len(self))]

    def links(self, links: Links) -> Iterator[Links]:
        """Work the links out again in each geometry, in their order."""
        inverters = self.pieces.of_ends(links.inverters, end="inverter")
        gateways = self.pieces.of_ends(links.gateways, end="gateway")

        def moved(deviates: FloatArray) -> Links:
            scene = self.pieces.moved(deviates)
            near = self.pieces.moved_ends(links.inverters, inverters, deviates)
            return links_between(scene, near, self.pieces.moved_ends(links.gateways, gateways, deviates))

        yield from in_order(moved, list(self.deviates))


def geometries_of(scene: Scene, *, draws: int, seed: int, crossed: float = 0.0) -> Geometries | None:
    """Draw the geometries of a site.

    Parameters
    ----------
    scene : Scene
        The site as the plan has it.
    draws, seed : int
        How many simulation runs share them, and the beginning of their random numbers.
    crossed : float
        Sheets that the direct lines cross in one geometry; with more than `MAX_CROSSED` there are fewer geometries.

    Returns
    -------
    Geometries or None
        Each piece has random numbers of its own, begun by its name: another one in the plan does not move them. None
        where the plan says that everything is exactly where it is drawn, and where no compiled kernel works links out:
        the specification would take minutes.
    """
    if library() is None:
        return None
    pieces = pieces_of(scene)
    if not np.any(pieces.spread_m):
        return None
    count = max(MIN_GEOMETRIES, min(GEOMETRIES, int(GEOMETRIES * MAX_CROSSED / max(crossed, 1.0))))
    count = min(count, draws)
    kinds = [f"{name} {' '.join(words)}" for name, words in zip(pieces.names, pieces.directions, strict=True)]
    drawn = [np.random.default_rng([seed, 6, zlib.crc32(kind.encode())]).standard_normal((count, 3)) for kind in kinds]
    of_run = np.arange(draws, dtype=np.int64) * count // draws
    return Geometries(pieces=pieces, deviates=np.stack(drawn, axis=1), of_run=of_run)


def within_time(links: Links, order: IntArray) -> IntArray:
    """Return the spots whose links can be worked out again in every geometry in the time that there is.

    Parameters
    ----------
    links : Links
        Of all inverters to some spots.
    order : ndarray of int, shape (spots,)
        The spots in the order in which they are wanted.

    Returns
    -------
    ndarray of int
        A part of them, rising: the first of the order, and at least one other.
    """
    crossed = np.cumsum(crossing_counts(links.scene, links.inverters, links.gateways)[order])
    return np.sort(order[: max(2, int(np.searchsorted(crossed, MAX_CROSSED, side="right")))])


def clustered_error(sums: FloatArray, sizes: FloatArray) -> FloatArray:
    r"""Standard error of a share of simulation runs that share geometries.

    Parameters
    ----------
    sums : ndarray of float, shape (geometries, ...)
        In how many runs of each geometry it happened.
    sizes : ndarray of float, shape (geometries,)
        How many runs each geometry has.

    Returns
    -------
    ndarray of float, shape (...)
        NaN with a single geometry. [-]

    Notes
    -----
    .. math:: s = \frac{1}{n} \sqrt{\frac{G}{G - 1} \sum_g (y_g - n_g p)^2}

    with p the share over all n runs and y the sums: the usual estimate for a sample of clusters [1]_.

    References
    ----------
    .. [1] W. G. Cochran, "Sampling Techniques", 3rd edition, Wiley 1977, section 9A.

    Examples
    --------
    >>> float(clustered_error(np.array([10.0, 0.0, 10.0, 0.0]), np.full(4, 10.0)).round(3))
    0.289
    """
    count, total = len(sizes), float(sizes.sum())
    if count < 2:  # noqa: PLR2004  nothing to compare
        return np.full(sums.shape[1:], np.nan)
    share = sums.sum(axis=0) / total
    off = sums - np.multiply.outer(sizes, share)
    return np.asarray(np.sqrt(count / (count - 1.0) * np.sum(off**2, axis=0)) / total)


def geometries_for(links: Links, draws: int, seed: int) -> Geometries | None:
    """Draw the geometries for all of some links: fewer of them where these links are very many."""
    near = int(crossing_counts(links.scene, links.inverters, links.gateways).sum())
    return geometries_of(links.scene, draws=draws, seed=seed, crossed=near)
