"""How level falls with distance where nothing is in the way."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.base.units import wavelength_m


def free_space_loss_db(distance_m: ArrayLike, *, frequency_mhz: float) -> NDArray[np.float64]:
    r"""Loss between two isotropic antennas with nothing near them.

    Parameters
    ----------
    distance_m : array_like
        Distance in space, above zero. [m]
    frequency_mhz : float
        Frequency. [MHz]

    Returns
    -------
    ndarray of float
        Loss. [dB]

    Notes
    -----
    .. math:: L = 20 \log_{10}(4 \pi d / \lambda)

    after [1]_; exact, where the recommendation's own round constant is 0.05 dB lower.

    References
    ----------
    .. [1] Recommendation ITU-R P.525-4 (2019), equation (3).

    Examples
    --------
    >>> free_space_loss_db([1.0, 100.0], frequency_mhz=2440.0).round(3).tolist()
    [40.196, 80.196]
    """
    ratio = 4.0 * np.pi * np.asarray(distance_m, dtype=np.float64) / wavelength_m(frequency_mhz)
    return np.asarray(20.0 * np.log10(ratio))


def log_distance_loss_db(
    distance_m: ArrayLike, *, frequency_mhz: float, path_loss_exponent: float, reference_distance_m: float
) -> NDArray[np.float64]:
    r"""Mean loss over a distance: free space up to a reference, then falling with a power of distance.

    Parameters
    ----------
    distance_m : array_like
        Distance in space; below the reference distance the loss stays what it is there. [m]
    frequency_mhz : float
        Frequency. [MHz]
    path_loss_exponent : float
        2 in free space. [-]
    reference_distance_m : float
        Up to where free space holds. [m]

    Returns
    -------
    ndarray of float
        Loss. [dB]

    Notes
    -----
    .. math:: L = L_0(d_0) + 10\,n \log_{10}(d / d_0)

    References
    ----------
    .. [1] T. S. Rappaport, Wireless Communications, 2nd ed. (2002), section 4.9.1, equation (4.68).

    Examples
    --------
    >>> log_distance_loss_db(
    ...     [0.2, 1.0, 10.0], frequency_mhz=2440.0, path_loss_exponent=3.0, reference_distance_m=1.0
    ... ).round(3).tolist()
    [40.196, 40.196, 70.196]
    """
    reference_db = free_space_loss_db(reference_distance_m, frequency_mhz=frequency_mhz)
    beyond = np.maximum(np.asarray(distance_m, dtype=np.float64) / reference_distance_m, 1.0)
    return np.asarray(reference_db + 10.0 * path_loss_exponent * np.log10(beyond))
