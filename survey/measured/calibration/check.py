"""The day's work looked over: which inverters are as expected, and which are stronger or weaker."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.measured.calibration.likelihood import Shares
from survey.measured.calibration.pairs import Pairs

VERDICTS = ("weaker", "as expected", "stronger")
OUTSIDE = 2.576
"""So many standard deviations off, an inverter is told: 1 in 100 by chance."""
SUSPECT = 3.0
"""So many, and a reading is suspect."""
ALIKE = 1.645
"""Within so many, a reading fits a place: 9 in 10 do."""
MOST_SWAPS = 60
"""Among so many outlying inverters pairs are looked for whose places may be swapped."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One inverter.

    Attributes
    ----------
    inverter : int
        Index into the links.
    verdict : str
        One of `VERDICTS`.
    difference_db : float or None
        Mean of its levels over what all other readings lead to expect; None where it was never heard. [dB]
    deviations : float
        The same in standard deviations; for what was not heard, by the chance of that. [-]
    heard, missed : int
        Its tries.
    swapped_with : int or None
        An inverter whose place its levels fit, and the other way about.
    """

    inverter: int
    verdict: str
    difference_db: float | None
    deviations: float
    heard: int
    missed: int
    swapped_with: int | None = None


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """Every pair against what all others lead to expect; arrays of shape (pairs,).

    Attributes
    ----------
    predicted_dbm, sd_db : ndarray of float
        Level that is expected, and its standard deviation. [dBm], [dB]
    difference_db : ndarray of float
        What was heard less that; NaN where nothing was. [dB]
    deviations : ndarray of float
        The same in standard deviations; what was missed counts by its chance, what was only heard not at all. [-]
    """

    predicted_dbm: FloatArray
    sd_db: FloatArray
    difference_db: FloatArray
    deviations: FloatArray


def outlook_of(
    pairs: Pairs,
    *,
    predicted_dbm: FloatArray,
    need_dbm: FloatArray,
    unknown_db2: FloatArray,
    leverage: FloatArray,
    sigma_db: FloatArray,
    shares: Shares,
) -> Outlook:
    r"""Set each pair against a fit that does without it.

    Parameters
    ----------
    pairs : Pairs
        What was read.
    predicted_dbm, need_dbm : ndarray of float, shape (pairs,)
        By the fit to all, and what the receiver needs. [dBm]
    unknown_db2 : ndarray of float, shape (pairs,)
        Variance of the prediction. [dB^2]
    leverage : ndarray of float, shape (pairs,)
        How far each pair pulls its own prediction towards itself. [-]
    sigma_db : ndarray of float, shape (pairs,)
        Shadowing. [dB]
    shares : Shares
        What has nothing to do with level.

    Returns
    -------
    Outlook
        Of each pair.

    Notes
    -----
    A reading pulls the fit towards itself by its leverage h. Without it the residual is :math:`r / (1 - h)` and the
    variance v of the prediction :math:`v / (1 - h)`: the rule for leaving one out of a linear fit.
    """
    from scipy.special import ndtr, ndtri  # noqa: PLC0415  start-up time

    read = pairs.has_level
    leverage = np.clip(leverage, 0.0, 0.99)
    sd_db = np.sqrt(sigma_db**2 + unknown_db2 / (1.0 - leverage))
    difference_db = (pairs.level_dbm - predicted_dbm) / (1.0 - leverage)
    below = ndtr((need_dbm - predicted_dbm) / sd_db)
    by_chance = below + (1.0 - below) * shares.lost ** np.maximum(pairs.missed, 1)
    by_miss = np.where(pairs.heard > 0, 0.0, np.minimum(ndtri(np.clip(by_chance, 1e-12, 0.5)), 0.0))
    return Outlook(
        predicted_dbm=np.where(read, pairs.level_dbm - difference_db, predicted_dbm),
        sd_db=sd_db,
        difference_db=difference_db,
        deviations=np.where(read, difference_db / sd_db, by_miss),
    )


def findings_of(pairs: Pairs, outlook: Outlook) -> tuple[Finding, ...]:
    """Sort the inverters, the most unusual first.

    Parameters
    ----------
    pairs : Pairs
        What was read.
    outlook : Outlook
        And what was expected.

    Returns
    -------
    tuple of Finding
        One for each inverter that was read.
    """
    inverters, of = np.unique(pairs.inverter, return_inverse=True)
    count = len(inverters)
    number = np.bincount(of, minlength=count)
    deviations = np.bincount(of, weights=outlook.deviations, minlength=count) / np.sqrt(number)
    heard_pairs = np.bincount(of, weights=pairs.has_level, minlength=count)
    sums_db = np.bincount(of, weights=np.nan_to_num(outlook.difference_db), minlength=count)
    heard = np.bincount(of, weights=pairs.heard, minlength=count)
    missed = np.bincount(of, weights=pairs.missed, minlength=count)
    verdict = 1 + (deviations > OUTSIDE).astype(int) - (deviations < -OUTSIDE).astype(int)
    swaps = _swaps(pairs, outlook, inverters, verdict)
    order = np.lexsort((np.arange(count), -np.abs(deviations)))
    return tuple(
        Finding(
            inverter=int(inverters[i]),
            verdict=VERDICTS[verdict[i]],
            difference_db=float(sums_db[i] / heard_pairs[i]) if heard_pairs[i] else None,
            deviations=float(deviations[i]),
            heard=int(heard[i]),
            missed=int(missed[i]),
            swapped_with=swaps.get(int(inverters[i])),
        )
        for i in order.tolist()
    )


def _swaps(pairs: Pairs, outlook: Outlook, inverters: NDArray[np.int64], verdict: NDArray[np.int64]) -> dict[int, int]:
    """Weaker and stronger inverters whose levels fit each other's places."""
    by_inverter: dict[int, dict[int, int]] = {}
    for row, (inverter, gateway) in enumerate(zip(pairs.inverter.tolist(), pairs.gateway.tolist(), strict=True)):
        by_inverter.setdefault(inverter, {})[gateway] = row
    weak = [int(one) for one in inverters[verdict == 0]][:MOST_SWAPS]
    strong = [int(one) for one in inverters[verdict == VERDICTS.index("stronger")]][:MOST_SWAPS]
    fits: list[tuple[float, int, int]] = []
    for one in weak:
        for other in strong:
            shared = set(by_inverter[one]) & set(by_inverter[other])
            off = [
                (pairs.level_dbm[by_inverter[a][at]] - outlook.predicted_dbm[by_inverter[b][at]])
                / outlook.sd_db[by_inverter[b][at]]
                for at in shared
                for a, b in ((one, other), (other, one))
            ]
            if off and np.all(np.abs(off) < ALIKE):  # a miss is NaN and fits nothing
                fits.append((float(np.max(np.abs(off))), one, other))
    found: dict[int, int] = {}
    for _, one, other in sorted(fits):
        if one not in found and other not in found:
            found[one], found[other] = other, one
    return found
