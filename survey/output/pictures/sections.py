"""What a link's line meets, cut by the upright plane through it; its Fresnel zone; the strings around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.units import wavelength_m
from survey.geometry import convex_outlines
from survey.inputs.plan import Obstacle
from survey.propagation.around import String, strongest_strings
from survey.propagation.around.of_scene import bodies_of_scene
from survey.scene import Scene

IN_PLANE_M = 0.01
"""A sheet whose corners all lie this near to the plane stands in it."""
ZONE_POINTS = 121
"""Of the outline of a Fresnel zone: smooth at the width of a page."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """An obstacle cut by an upright plane.

    Attributes
    ----------
    obstacle : Obstacle
        What it is.
    points_m : ndarray of float, shape (2 or more, 2)
        Two ends of a sheet, or the outline of a body: along the ground from the line's start, and height. [m]
    """

    obstacle: Obstacle
    points_m: FloatArray


def along_ground(start_m: FloatArray, end_m: FloatArray, points_m: FloatArray) -> FloatArray:
    """Points as seen from a line: along the ground from its start, to its left, and height, shape (n, 3). [m]"""
    towards = end_m[:2] - start_m[:2]
    length_m = float(np.hypot(*towards))
    ahead = towards / length_m if length_m > 0 else np.array([1.0, 0.0])
    from_start_m = points_m[:, :2] - start_m[:2]
    left = np.array([-ahead[1], ahead[0]])
    return np.column_stack([from_start_m @ ahead, from_start_m @ left, points_m[:, 2]])


def cuts_of(scene: Scene, start_m: FloatArray, end_m: FloatArray) -> list[Cut]:
    """Everything that the upright plane through a line cuts.

    Parameters
    ----------
    scene : Scene
        The site.
    start_m, end_m : ndarray of float, shape (3,)
        Ends of the line. [m]

    Returns
    -------
    list of Cut
        Also what lies before the start and beyond the end.
    """
    found = []
    for one in scene.plan.obstacles:
        parts = [part for face_m in one.faces_m() for part in convex_outlines(face_m)]
        pieces = [piece for part in parts if (piece := _cut(along_ground(start_m, end_m, part))) is not None]
        if pieces and (one.closed_m() is not None or one.volume() is not None):  # all lie on the outline of one body
            found.append(Cut(obstacle=one, points_m=_hull(np.concatenate(pieces))))
        else:
            found.extend(Cut(obstacle=one, points_m=piece) for piece in pieces)
    return found


def _cut(part_m: FloatArray) -> FloatArray | None:
    """Where a convex outline meets the plane, as points along it and heights; nothing where it does not."""
    off_m = part_m[:, 1]
    if np.all(np.abs(off_m) <= IN_PLANE_M):
        return part_m[:, [0, 2]]
    points = []
    for here, there in zip(part_m, np.roll(part_m, -1, axis=0), strict=True):
        if (here[1] > 0) != (there[1] > 0):
            share = here[1] / (here[1] - there[1])
            points.append(here[[0, 2]] + share * (there - here)[[0, 2]])
    return np.array(points[:2]) if len(points) > 1 else None


def _hull(points_m: FloatArray) -> FloatArray:
    """The convex outline of points, anticlockwise (A. M. Andrew, Information Processing Letters 9, 1979)."""
    ordered = np.unique(np.round(points_m, 9), axis=0).tolist()
    if len(ordered) < 3:  # noqa: PLR2004  a line
        return np.array(ordered)

    def half(points: list[list[float]]) -> list[list[float]]:
        chain: list[list[float]] = []
        for point in points:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], point) <= 0:
                chain.pop()
            chain.append(point)
        return chain[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _turn(one: list[float], two: list[float], three: list[float]) -> float:
    return (two[0] - one[0]) * (three[1] - one[1]) - (two[1] - one[1]) * (three[0] - one[0])


def mirrored(scene: Scene, sheet: int, start_m: FloatArray, end_m: FloatArray) -> String:
    """The path by way of a sheet of metal: the straight line from the mirrored start to the end meets the sheet there.

    Parameters
    ----------
    scene : Scene
        The site.
    sheet : int
        Which of its sheets; both ends are on one side of it.
    start_m, end_m : ndarray of float, shape (3,)
        Ends of the line. [m]

    Returns
    -------
    String
        Of the side ``mirror``, by way of one point.
    """
    normal, offset_m = scene.sheets.normal[sheet], scene.sheets.offset_m[sheet]
    away_1, away_2 = start_m @ normal - offset_m, end_m @ normal - offset_m
    image_m = start_m - 2.0 * away_1 * normal
    at_m = image_m + away_1 / (away_1 + away_2) * (end_m - image_m)
    return String("mirror", np.stack([start_m, at_m, end_m]))


def strings_of(scene: Scene, start_m: FloatArray, end_m: FloatArray) -> list[String]:
    """Return the strongest string on each side of what blocks a line; none where nothing does."""
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    return strongest_strings(bodies_of_scene(scene), start_m, end_m, wavelength_m=wave_m)


def label_at_m(points_m: FloatArray, frame_m: tuple[float, float]) -> tuple[float, float]:
    """Where the name of what a plane cuts stands, in the plane: on the middle of a slope in sight, else at the top.

    Two slopes that meet in a ridge have their tops at the same point, so that their names could change sides there.

    Examples
    --------
    >>> label_at_m(np.array([[-4.0, 2.0], [6.0, 7.0]]), (0.0, 20.0))
    (3.0, 5.5)
    >>> label_at_m(np.array([[5.0, 0.0], [5.0, 3.0]]), (0.0, 20.0))
    (5.0, 3.0)
    """
    top = points_m[np.argmax(points_m[:, 1])]
    at_m = (float(top[0]), float(top[1]))
    if len(points_m) > 2:  # noqa: PLR2004  an area
        return at_m
    (low_x, low_z), (high_x, high_z) = points_m[np.argsort(points_m[:, 0])].tolist()
    if high_x - low_x <= abs(high_z - low_z):
        return at_m
    middle = (max(low_x, frame_m[0]) + min(high_x, frame_m[1])) / 2.0
    return middle, low_z + (middle - low_x) / (high_x - low_x) * (high_z - low_z)


def fresnel_zone_m(length_m: float, *, wavelength_m: float, share: float = 1.0) -> tuple[FloatArray, FloatArray]:
    r"""Radius of the first Fresnel zone along a line.

    Parameters
    ----------
    length_m, wavelength_m : float
        Length of the line, and wavelength. [m]
    share : float
        Of the radius. [-]

    Returns
    -------
    tuple of two ndarrays of float
        Distances from the start, and radii there. [m]

    Notes
    -----
    .. math:: r = \sqrt{\lambda d_1 d_2 / (d_1 + d_2)}

    References
    ----------
    .. [1] Recommendation ITU-R P.526-15 (2019), section 2.

    Examples
    --------
    >>> at_m, radius_m = fresnel_zone_m(10.0, wavelength_m=0.4)
    >>> float(radius_m.max().round(3))
    1.0
    """
    at_m = length_m * (1.0 - np.cos(np.linspace(0.0, np.pi, ZONE_POINTS))) / 2.0
    return at_m, share * np.sqrt(wavelength_m * at_m * (length_m - at_m) / max(length_m, 1e-9))
