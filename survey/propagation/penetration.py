"""What a straight line loses in going through what stands on it."""

from __future__ import annotations

import numpy as np

from survey.base.arrays import FloatArray, IntArray
from survey.base.units import db_from_ratio, ratio_from_db
from survey.geometry import Chords, Crossings
from survey.inputs.materials import OPAQUE_LOSS_DB
from survey.inputs.slab import SUBSTANCES, slab_loss_db
from survey.scene import Scene

ANGLES = 2_001
"""Steps of the cosine of incidence for which a slab is worked out; between two the loss is interpolated."""


def sheet_losses_db(scene: Scene, met: Crossings, starts_m: FloatArray, ends_m: FloatArray) -> FloatArray:
    """Loss of each crossing.

    Parameters
    ----------
    scene : Scene
        The site.
    met : Crossings
        What lines go through.
    starts_m, ends_m : ndarray of float, shapes (starts, 3) and (ends, 3)
        Ends of the lines. [m]

    Returns
    -------
    ndarray of float, shape (crossings,)
        The obstacle's own loss, or for a slab that at the angle of the line, the mean of both polarisations by power
        and at most that of an opaque sheet; with what readings have changed, and never below 0. [dB]
    """
    owner = scene.sheets.owner[met.sheet]
    is_slab = np.array([slab is not None for slab in scene.obstacles.slabs], dtype=bool)
    slab = np.flatnonzero(is_slab[owner]) if is_slab.any() else np.zeros(0, dtype=np.int64)
    along_m = ends_m[met.end[slab]] - starts_m[met.start[slab]]
    square_m = np.abs(np.sum(along_m * scene.sheets.normal[met.sheet[slab]], axis=1))
    cosine = np.ones(len(met))
    cosine[slab] = square_m / np.maximum(np.linalg.norm(along_m, axis=1), 1e-9)
    loss_db = losses_by_angle(scene, owner, cosine)
    if scene.correction is not None:
        loss_db = np.maximum(loss_db + scene.correction.change_db[owner], 0.0)
    return loss_db


def losses_by_angle(scene: Scene, owner: IntArray, cosine: FloatArray) -> FloatArray:
    """Loss of a pass through some obstacles, by the plan.

    Parameters
    ----------
    scene : Scene
        The site.
    owner : ndarray of int, shape (passes,)
        Which obstacles.
    cosine : ndarray of float, shape (passes,)
        Cosine of the angle at which they are met; counts for slabs only. [-]

    Returns
    -------
    ndarray of float, shape (passes,)
        Losses. [dB]
    """
    loss_db = scene.obstacles.loss_db[owner]
    for kind in sorted({slab for slab in scene.obstacles.slabs if slab is not None}):
        of_kind = np.array([slab == kind for slab in scene.obstacles.slabs])
        chosen = np.flatnonzero(of_kind[owner])
        steps, losses_db = slab_by_angle(*kind, frequency_mhz=scene.plan.radio.frequency_mhz)
        loss_db[chosen] = np.interp(cosine[chosen], steps, losses_db)
    return loss_db


def slab_by_angle(substance: str, thickness_m: float, *, frequency_mhz: float) -> tuple[FloatArray, FloatArray]:
    """Loss of a slab over the cosine of incidence, the mean of both polarisations by power.

    Parameters
    ----------
    substance : str
        One of `survey.inputs.slab.SUBSTANCES`.
    thickness_m : float
        Thickness. [m]
    frequency_mhz : float
        Frequency. [MHz]

    Returns
    -------
    tuple of two ndarrays of float, shape (ANGLES,)
        Cosines from 0 to 1 [-], and losses, at most that of an opaque sheet [dB].
    """
    cosine = np.linspace(0.0, 1.0, ANGLES)
    te_db, tm_db = slab_loss_db(
        SUBSTANCES[substance], thickness_m=thickness_m, frequency_mhz=frequency_mhz, cos_incidence=cosine[1:]
    )
    passed = (ratio_from_db(-te_db) + ratio_from_db(-tm_db)) / 2.0
    return cosine, np.append(OPAQUE_LOSS_DB, np.minimum(-db_from_ratio(passed), OPAQUE_LOSS_DB))


def chord_losses_db(scene: Scene, met: Chords) -> FloatArray:
    """Return the loss of each chord through foliage: that of the first metre, for each metre that counts.

    What readings have changed counts for each of these metres, so that the most that a plant costs changes with it.

    Parameters
    ----------
    scene : Scene
        The site.
    met : Chords
        What lines have inside foliage.

    Returns
    -------
    ndarray of float, shape (chords,)
        Losses; the chords of a line in one plant share that of all its metres. [dB]
    """
    metres, _ = chord_metres(scene, met)
    loss_db = scene.obstacles.loss_db
    if scene.correction is not None:
        loss_db = np.maximum(loss_db + scene.correction.change_db, 0.0)
    return np.asarray(loss_db[scene.prisms.owner[met.prism]] * metres)


def chord_metres(scene: Scene, met: Chords) -> tuple[FloatArray, FloatArray]:
    r"""Return how many metres count for each chord through foliage: fewer than it is long where there is a most.

    Parameters
    ----------
    scene : Scene
        The site.
    met : Chords
        What lines have inside foliage.

    Returns
    -------
    tuple of two ndarrays of float, shape (chords,)
        Metres that count for each chord, and those of all chords that its line has in the same plant; a loss that is
        off by one dB for the first metre is off by so many dB. [m]

    Notes
    -----
    .. math:: A = A_m (1 - e^{-d \gamma / A_m})

    is the loss of the whole length d that a line has inside a plant, with :math:`\gamma` that of the first metre; its
    chords share the metres :math:`A / \gamma`. Where no most :math:`A_m` is given, they are d.

    References
    ----------
    .. [1] Recommendation ITU-R P.833-9 (2016), section 2.1, equation (1).
    """
    owner = scene.prisms.owner[met.prism]
    plant = (met.start * (int(met.end.max(initial=0)) + 1) + met.end) * (len(scene.obstacles) + 1) + owner
    _, same = np.unique(plant, return_inverse=True)
    length_m = np.bincount(same, weights=met.length_m)[same] if len(same) else np.zeros(0)
    exponent = scene.obstacles.loss_db[owner] * length_m / scene.obstacles.most_loss_db[owner]
    counts = np.ones(len(met))
    np.divide(-np.expm1(-exponent), exponent, out=counts, where=exponent > 0)
    return met.length_m * counts, length_m * counts


def total_over_links(met: Crossings | Chords, each: FloatArray, *, shape: tuple[int, int]) -> FloatArray:
    """Add a figure of every crossing, or of every chord, up over its link.

    Parameters
    ----------
    met : Crossings or Chords
        What the lines meet.
    each : ndarray of float, shape (met,)
        A figure for each, such as a loss [dB] or the square of a spread [dB^2].
    shape : tuple of int
        Number of starts and of ends.

    Returns
    -------
    ndarray of float, shape (starts, ends)
        Sums; zero where a line meets nothing.
    """
    link = met.start * shape[1] + met.end
    sums = np.bincount(link, weights=each, minlength=shape[0] * shape[1])
    return np.asarray(sums, dtype=np.float64).reshape(shape)
