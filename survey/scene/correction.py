"""What readings have taught about a site, in the form in which links use it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray
from survey.scene.read_shadow import ReadShadow

__all__ = ["Correction", "ReadShadow"]


@dataclass(frozen=True, kw_only=True)
class Correction:
    """Figures fitted to readings, with what is still unknown about them.

    Attributes
    ----------
    file : str
        Where they come from, as the user named it.
    offset_db : float
        By how much all levels are higher than the plan's radio figures say. [dB]
    path_loss_exponent, exponent_sd : float
        The fitted exponent, and the standard deviation that it has beyond the distances of the readings. [-]
    shadowing_db : float
        Standard deviation of a level about the fitted model. [dB]
    nearest_m, farthest_m : float
        The distances between which readings were taken. [m]
    unit : ndarray of int, shape (obstacles,)
        Which fitted loss is the obstacle's; -1 where none is.
    change_db : ndarray of float, shape (obstacles,)
        What is added to the loss of every pass, or of every metre of foliage. [dB; dB/m]
    covariance : ndarray of float, shape (2 + units + ends, 2 + units + ends)
        Of the offset [dB], the exponent [-], the fitted losses [dB] and the deviations of ends [dB].
    deviation_db : ndarray of float, shape (ends,)
        By how much the levels of some gateways, or of one kind of inverter, are higher than the offset says. [dB]
    gateways, inverters : mapping of str to int
        Which of these deviations an end has, by its name; those not named have none.
    unread_sd_db : float
        Standard deviation of the deviation of a gateway that was not read. [dB]
    read : ReadShadow or None
        The links that were read, for what lies near them.
    ceiling : float
        Chance that a message gets through however strong the level, by what was counted; 1 where nothing was. [-]
    fade_db : float
        Fading in time by what was counted, as a standard deviation; 0 where nothing was. [dB]
    spreads : mapping of str to float
        Shadowing at a gateway as a factor of `shadowing_db`, by its name, where readings told it; 1 for the others. [-]
    readings : int
        How many rows the fit is from.
    day : str
        The day of the newest of them; nothing where they have no time.
    """

    file: str
    offset_db: float
    path_loss_exponent: float
    exponent_sd: float
    shadowing_db: float
    nearest_m: float
    farthest_m: float
    unit: NDArray[np.int64]
    change_db: FloatArray
    covariance: FloatArray
    deviation_db: FloatArray = field(default_factory=lambda: np.zeros(0))
    gateways: Mapping[str, int] = field(default_factory=dict)
    inverters: Mapping[str, int] = field(default_factory=dict)
    unread_sd_db: float = 0.0
    read: ReadShadow | None = None
    ceiling: float = 1.0
    fade_db: float = 0.0
    spreads: Mapping[str, float] = field(default_factory=dict)
    readings: int = 0
    day: str = ""

    def spreads_at(self, gateways: Sequence[str]) -> FloatArray:
        """Return the shadowing at gateways of these names, as a factor of `shadowing_db`, shape (gateways,). [-]"""
        return np.array([self.spreads.get(name, 1.0) for name in gateways], dtype=np.float64)

    def offsets_db(self, inverters: Sequence[str], gateways: Sequence[str]) -> FloatArray:
        """What is added to the levels between ends of these names, shape (inverters, gateways). [dB]"""
        padded_db = np.append(self.deviation_db, 0.0)
        near_db = padded_db[[self.inverters.get(name, -1) for name in inverters]]
        far_db = padded_db[[self.gateways.get(name, -1) for name in gateways]]
        return np.asarray(self.offset_db + near_db[:, None] + far_db[None])

    def ends_of(self, inverters: Sequence[str], gateways: Sequence[str]) -> tuple[FloatArray, FloatArray]:
        """Which deviations each link has, shape (links, ends), and the variance of unread ones. [dB^2]"""
        count = len(self.deviation_db)
        numbered = np.eye(count + 1)[:, :count]  # its last row is that of no deviation
        near = numbered[[self.inverters.get(name, -1) for name in inverters]]
        far = numbered[[self.gateways.get(name, -1) for name in gateways]]
        ends = (near[:, None] + far[None]).reshape(len(inverters) * len(gateways), count)
        unread = np.array([name not in self.gateways for name in gateways], dtype=np.float64)
        return ends, np.tile(unread * self.unread_sd_db**2, len(inverters))

    def variance_db2(
        self,
        *,
        distance_m: FloatArray,
        reference_distance_m: float,
        passes: FloatArray,
        ends: FloatArray,
    ) -> FloatArray:
        r"""Variance of predicted levels that comes from what the readings left unknown.

        Parameters
        ----------
        distance_m : ndarray of float, shape (links,)
            Of each link. [m]
        reference_distance_m : float
            From where on the exponent counts. [m]
        passes : ndarray of float, shape (links, units)
            How often each link goes through what shares each fitted loss, in the share of its power that does.
        ends : ndarray of float, shape (links, ends)
            Which deviations of ends each link has.

        Returns
        -------
        ndarray of float, shape (links,)
            Variance. [dB^2]

        Notes
        -----
        .. math:: J C J^T + (10\, s \log_{10} q)^2

        with J the slopes of the level, C the covariance, s `exponent_sd` and q how many times a link is longer than
        the longest that was read, or shorter than the shortest: out there the exponent is as unknown as before.
        """
        decades = np.log10(np.maximum(distance_m / reference_distance_m, 1.0))
        slopes = np.column_stack([np.ones(len(decades)), -10.0 * decades, -passes, ends])
        inside = np.log10(np.maximum(np.array([self.nearest_m, self.farthest_m]) / reference_distance_m, 1.0))
        beyond = np.maximum(decades - inside[1], 0.0) + np.maximum(inside[0] - decades, 0.0)
        known = np.einsum("li,ij,lj->l", slopes, self.covariance, slopes, optimize=True)
        return np.asarray(np.maximum(known, 0.0) + (10.0 * self.exponent_sd * beyond) ** 2)
