"""Where to read next: the links whose reading would tell most about which spot wins, and which inverters it covers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.budget import Links, links_between, links_in_blocks
from survey.scene import Scene

MAX_LINKS = 600
"""Links that are weighed against each other: those of the best spots. A judgement: a second of computing."""
MAX_SPOTS = 12
"""Spots among them; those behind have little chance to win. A judgement."""
NOISE_DB = 2.0
"""Standard deviation of one reading about the level of its link: registers step by 1 dB and more, and levels fade. An
assumption. [dB]"""
NODES = 7
"""Outcomes of a reading that are tried, by the rule of Gauss and Hermite. A judgement."""
MAX_READ = 400
"""Links read already, the nearest ones, that count for the shadowing of others. A judgement."""


@dataclass(frozen=True, kw_only=True)
class NextReading:
    """A link to read.

    Attributes
    ----------
    inverter, gateway : str
        Its ends; the second may be a spot.
    distance_m : float
        Its length. [m]
    level_dbm, sigma_db : float
        The level that is expected at the gateway, and its standard deviation. [dBm], [dB]
    gain : float
        By how many inverters the decision is expected to be better with this reading, after those before it. [-]
    """

    inverter: str
    gateway: str
    distance_m: float
    level_dbm: float
    sigma_db: float
    gain: float


@dataclass(frozen=True, kw_only=True)
class NextReadings:
    """Links to read, the one that tells most first.

    Attributes
    ----------
    readings : tuple of NextReading
        In the order in which they are chosen.
    misjudged : float
        Inverters whose state at the best spot is expected to be judged wrong, before these readings. [-]
    gateways : tuple of str
        The spots that were weighed against each other, the best of each location and the best one first.
    """

    readings: tuple[NextReading, ...]
    misjudged: float
    gateways: tuple[str, ...]


def next_readings(scene: Scene, *, count: int) -> NextReadings:
    r"""Choose links to read.

    Parameters
    ----------
    scene : Scene
        A site with a correction: of a fit, or of what is known before readings.
    count : int
        How many links.

    Returns
    -------
    NextReadings
        Fewer where there are not as many links.

    Notes
    -----
    The levels of all links have a joint normal distribution, of fitted figures and of shadowing that neighbours share.
    A reading of link c with the value y moves their mean by :math:`\Sigma_{\cdot c} (y - m_c) / (\Sigma_{cc} + n)` and
    takes :math:`\Sigma_{\cdot c} \Sigma_{c \cdot} / (\Sigma_{cc} + n)` from their covariance, with n the variance of a
    reading. What a decision is worth is the expected number of working inverters at the spot that then is best, less
    the number of those that are judged wrong there. The reading whose outcome is expected to raise this most comes
    first (the knowledge gradient of [1]_); the next one is chosen as if the first had the value that is expected.

    References
    ----------
    .. [1] P. Frazier, W. Powell and S. Dayanik, "The knowledge-gradient policy for correlated normal beliefs",
       INFORMS Journal on Computing 21 (2009), pages 599 to 613 (from memory).
    """
    links, others = _candidates(scene)
    gateways = links.shape[1]
    covariance = covariance_of(links)
    rest_db2 = np.maximum(links.sigma_db.ravel() ** 2 - np.diag(covariance), 0.0)
    above_db = (links.margin_db - scene.plan.requirement.fade_margin_db).ravel()
    heard = _chance(links.uplink_margin_db.ravel(), links.sigma_db.ravel() ** 2)
    misjudged = float(_worth(above_db[None], np.diag(covariance) + rest_db2, links.shape, others)[1][0])
    chosen = []
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    weights = weights / weights.sum()
    left = ~_was_read(links)
    for _ in range(min(count, int(left.sum()))):
        variance_db2 = np.diag(covariance)
        now, _ = _worth(above_db[None], variance_db2 + rest_db2, links.shape, others)
        gains = np.full(left.size, -np.inf)
        for c in np.flatnonzero(left).tolist():
            pulled_db = covariance[:, c] / np.sqrt(covariance[c, c] + NOISE_DB**2)
            then, _ = _worth(
                above_db + nodes[:, None] * pulled_db,
                np.maximum(variance_db2 - pulled_db**2, 0.0) + rest_db2,
                links.shape,
                others,
            )
            gains[c] = heard[c] * float(weights @ then - now[0])
        best = int(np.argmax(gains))
        i, j = divmod(best, gateways)
        chosen.append(
            NextReading(
                inverter=links.inverters.names[i],
                gateway=links.gateways.names[j],
                distance_m=float(links.distance_m[i, j]),
                level_dbm=float(links.uplink_level_dbm[i, j]),
                sigma_db=float(links.sigma_db[i, j]),
                gain=max(float(gains[best]), 0.0),
            )
        )
        pulled_db = covariance[:, best] / np.sqrt(covariance[best, best] + NOISE_DB**2)
        covariance = covariance - np.outer(pulled_db, pulled_db)
        left[best] = False
    return NextReadings(readings=tuple(chosen), misjudged=misjudged, gateways=links.gateways.names)


def covariance_of(links: Links) -> FloatArray:
    """Return how the levels of links are uncertain together, shape (links, links). [dB^2]

    Of fitted figures, of gateways that were not read, and of shadowing, given the links that were read.
    """
    correction = links.scene.correction
    assert correction is not None
    reference_m = links.scene.plan.environment.reference_distance_m
    decades = np.log10(np.maximum(links.distance_m.ravel() / reference_m, 1.0))
    units = len(correction.covariance) - 2 - len(correction.deviation_db)
    ends, unread_db2 = correction.ends_of(links.inverters.names, links.gateways.names)
    passes = links.straight_share.reshape(-1, 1) * links.passes_of(correction.unit, units)
    slopes = np.column_stack([np.ones(len(decades)), -10.0 * decades, -passes, ends])
    covariance = slopes @ correction.covariance @ slopes.T
    gateway = np.tile(np.arange(links.shape[1]), links.shape[0])
    same = gateway[:, None] == gateway
    covariance += same * np.sqrt(np.outer(unread_db2, unread_db2))
    sigma_db = links.scene.plan.environment.shadowing_db * correction.spreads_at(links.gateways.names)[gateway]
    return np.asarray(covariance + np.outer(sigma_db, sigma_db) * _shadowing(links, gateway))


def _shadowing(links: Links, gateway: IntArray) -> FloatArray:
    """Return how alike the shadowing of links is, given those that were read, shape (links, links). [-]"""
    correction = links.scene.correction
    assert correction is not None
    read = correction.read
    starts_m = np.repeat(links.inverters.at_m, links.shape[1], axis=0)
    ends_m = links.gateways.at_m[gateway]
    alike = read.alike if read else 1.0
    correlation_m = read.correlation_m if read else links.scene.plan.environment.correlation_m

    def common(one: tuple[FloatArray, FloatArray], other: tuple[FloatArray, FloatArray]) -> FloatArray:
        apart_m = sum(np.linalg.norm(a[:, None] - b[None], axis=2) for a, b in zip(one, other, strict=True))
        return np.asarray(alike * np.exp(-apart_m / correlation_m))

    here = (starts_m, ends_m)
    found = common(here, here)
    np.fill_diagonal(found, 1.0)
    if read is None or not len(read.off_db):
        return found
    across = common(here, (read.starts_m, read.ends_m))
    near = np.argsort(-across.max(axis=0), kind="stable")[:MAX_READ]
    among = common((read.starts_m[near], read.ends_m[near]), (read.starts_m[near], read.ends_m[near]))
    np.fill_diagonal(among, 1.0 / read.told[near])
    found -= across[:, near] @ np.linalg.solve(among, across[:, near].T)
    np.fill_diagonal(found, np.clip(np.diag(found), 1.0 - alike, 1.0))
    return found


def _was_read(links: Links) -> BoolArray:
    """Return which links were read already, shape (links,): a repeat tells little."""
    correction = links.scene.correction
    assert correction is not None
    if correction.read is None:
        return np.zeros(links.shape[0] * links.shape[1], dtype=bool)
    read = set(map(tuple, np.round(np.hstack([correction.read.starts_m, correction.read.ends_m]), 3).tolist()))
    starts_m, ends_m = (np.round(one.at_m, 3).tolist() for one in (links.inverters, links.gateways))
    return np.array([(*start, *end) in read for start in starts_m for end in ends_m], dtype=bool)


def _candidates(scene: Scene) -> tuple[Links, FloatArray]:
    """Return links to the best spot of each location, the best one first, of the inverters that are least certain.

    And what the other inverters add to the expected working ones of each spot.
    """
    receivers = scene.gateways_and_spots
    served = np.concatenate(
        [links.reliability.sum(axis=0) for _, links in links_in_blocks(scene, scene.inverters, receivers)]
    )
    order = np.argsort(-served, kind="stable")
    first = np.unique([receivers.places[i] for i in order.tolist()], return_index=True)[1]
    links = links_between(scene, scene.inverters, receivers.pick(order[np.sort(first)[:MAX_SPOTS]]))
    most = max(1, MAX_LINKS // links.shape[1])
    if len(links.inverters) <= most:
        return links, np.zeros(links.shape[1])
    wrong = np.minimum(links.reliability, 1.0 - links.reliability)
    unsure = np.argsort(-(wrong[:, 0] + wrong.mean(axis=1)), kind="stable")[:most]
    kept = links_between(scene, scene.inverters.pick(np.sort(unsure)), links.gateways)
    return kept, links.reliability.sum(axis=0) - kept.reliability.sum(axis=0)


def _chance(above_db: FloatArray, variance_db2: FloatArray) -> FloatArray:
    from scipy.special import ndtr  # noqa: PLC0415  start-up time

    return np.asarray(ndtr(above_db / np.sqrt(np.maximum(variance_db2, 1e-12))))


def _worth(
    above_db: FloatArray, variance_db2: FloatArray, shape: tuple[int, int], others: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what the decision is worth, and how many inverters it judges wrong, for each row of levels. [-]"""
    chance = _chance(above_db, variance_db2).reshape(-1, *shape)
    served = chance.sum(axis=1) + others
    best = np.argmax(served, axis=1)
    rows = np.arange(len(chance))
    wrong = np.minimum(chance, 1.0 - chance).sum(axis=1)[rows, best]
    return served[rows, best] - wrong, wrong
