"""The margin of every link of a log: as predicted, or as its levels show it; its bearing and what is in its way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray
from survey.budget import links_between
from survey.inputs.logs import Log
from survey.scene import Scene

LEAST_LEVELS = 20
"""So many levels of a link show its margin: their median is then sure to about a decibel (docs/dropouts.md)."""
LEVEL_SIGMA_DB = 3.0
"""What a median of logged levels may be wrong by: data sheets differ so much from what a receiver needs. [dB]"""


@dataclass(frozen=True, kw_only=True)
class Margins:
    """Of each link of a log, shape (links,).

    Attributes
    ----------
    margin_db, sigma_db : ndarray of float
        Margin, and its standard deviation. [dB]
    predicted_db, predicted_sigma_db : ndarray of float
        Margin by the plan alone, and its standard deviation. [dB]
    measured : ndarray of bool
        Whether it rests on levels in the log.
    bearing_deg : ndarray of float
        From the gateway to the inverter, clockwise from north. [deg]
    met : tuple of frozenset of str
        What its straight line goes through.
    """

    margin_db: FloatArray
    sigma_db: FloatArray
    predicted_db: FloatArray
    predicted_sigma_db: FloatArray
    measured: BoolArray
    bearing_deg: FloatArray
    met: tuple[frozenset[str], ...]


def margins_of(scene: Scene, log: Log) -> Margins:
    """Margins by the plan, and by the log's levels where it has enough of them.

    Parameters
    ----------
    scene : Scene
        The site.
    log : Log
        Gateways are numbered as in the scene's `gateways_and_spots`.

    Returns
    -------
    Margins
        Of each link of the log.
    """
    places, row = np.unique(log.gateway, return_inverse=True)
    used, line = np.unique(log.inverter, return_inverse=True)
    links = links_between(scene, scene.inverters.pick(used), scene.gateways_and_spots.pick(places))
    predicted = links.margin_db[line, row]
    sigma_db = np.hypot(links.sigma_db[line, row], 1.0)
    margin_db, predicted_sigma_db = predicted.copy(), sigma_db.copy()
    measured = np.zeros(len(line), dtype=bool)
    if log.level_dbm is not None:
        uplink = links.uplink_level_dbm[line, row]
        for i in range(len(line)):
            levels = log.level_dbm[i][np.isfinite(log.level_dbm[i])]
            if len(levels) >= LEAST_LEVELS:
                measured[i] = True
                margin_db[i] += float(np.median(levels.astype(np.float64))) - uplink[i]
                sigma_db[i] = LEVEL_SIGMA_DB
    way_m = links.inverters.at_m[line, :2] - links.gateways.at_m[row, :2]
    return Margins(
        margin_db=margin_db,
        sigma_db=sigma_db,
        predicted_db=predicted,
        predicted_sigma_db=predicted_sigma_db,
        measured=measured,
        bearing_deg=np.rad2deg(np.arctan2(way_m[:, 0], way_m[:, 1])) % 360.0,
        met=tuple(
            frozenset(name for name, _ in links.met_by(i, j)) for i, j in zip(line.tolist(), row.tolist(), strict=True)
        ),
    )
