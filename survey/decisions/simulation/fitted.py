"""Draws of what readings have left unknown, where a fit is used: its errors belong together."""

from __future__ import annotations

import zlib

import numpy as np

from survey.base.arrays import FloatArray
from survey.budget import Links


class FittedErrors:
    """Draws of the errors of fitted figures, all of them at once, by their covariance.

    A fit that takes the offset for too high takes a wall for too thick: drawn each by itself, such errors would seem
    worse than they are.

    Parameters
    ----------
    links : Links
        Links of a scene with a correction.
    seed : int
        Beginning of the random numbers.
    """

    def __init__(self, links: Links, *, seed: int) -> None:
        correction = links.scene.correction
        assert correction is not None
        values, vectors = np.linalg.eigh(correction.covariance)
        self._root = vectors * np.sqrt(np.maximum(values, 0.0))
        self._losses = slice(2, len(correction.covariance) - len(correction.deviation_db))
        self._random = np.random.default_rng([seed, 4])
        reference_m = links.scene.plan.environment.reference_distance_m
        self._decades = np.log10(np.maximum(links.distance_m / reference_m, 1.0))
        inside = np.log10(np.maximum(np.array([correction.nearest_m, correction.farthest_m]) / reference_m, 1.0))
        self._beyond = np.maximum(self._decades - inside[1], 0.0) + np.maximum(inside[0] - self._decades, 0.0)
        self._fade_db, self._ceiling = correction.fade_db, correction.ceiling
        self._messages = np.random.default_rng([seed, 8])
        self._exponent_sd, self._unread_sd_db = correction.exponent_sd, correction.unread_sd_db
        self._ends = correction.ends_of(links.inverters.names, links.gateways.names)[0]
        self._unread = [
            None if name in correction.gateways else np.random.default_rng([seed, 5, zlib.crc32(name.encode())])
            for name in links.gateways.names
        ]

    def next(self, draws: int) -> tuple[FloatArray, FloatArray]:
        """The next draws: of the fitted losses, shape (draws, units), and of levels, (draws, inverters, gateways). [dB]

        The levels are off by the offset, the exponent and the deviations of ends, and by fading in time where it was
        counted; what the losses do to them is not counted in. A message that is lost beyond the ceiling has no level
        (NaN): at all gateways alike, since that says nothing of where a gateway is better.
        """
        numbers = self._random.standard_normal((draws, len(self._root) + 1))
        errors = numbers[:, :-1] @ self._root.T
        offset_db, exponent = errors[:, 0, None, None], errors[:, 1, None, None]
        far = self._exponent_sd * numbers[:, -1, None, None]
        level_db = offset_db - 10.0 * (exponent * self._decades + far * self._beyond)
        level_db += (errors[:, self._losses.stop :] @ self._ends.T).reshape(level_db.shape)
        for j, random in enumerate(self._unread):
            if random is not None and self._unread_sd_db:
                level_db[:, :, j] += self._unread_sd_db * random.standard_normal((draws, 1))
        if self._fade_db:
            level_db += self._fade_db * self._messages.standard_normal(level_db.shape)
        if self._ceiling < 1.0:
            lost = self._messages.random((draws, level_db.shape[1], 1)) >= self._ceiling
            level_db = np.where(lost, np.nan, level_db)
        return errors[:, self._losses], np.asarray(level_db)
