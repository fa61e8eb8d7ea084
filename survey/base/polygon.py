"""Simple polygons in a plane: is it one, how large is it, what lies in it, and its convex parts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survey.base.arrays import FloatArray

LEAST_AREA_M2 = 1e-9
"""What is smaller is left over by rounding where a polygon is cut along three corners in a row. [m^2]"""


def signed_area_m2(corners_m: FloatArray) -> float:
    """Area of a polygon, positive where its corners run anticlockwise.

    Parameters
    ----------
    corners_m : ndarray of float, shape (n, 2)
        Corners in order. [m]

    Examples
    --------
    >>> signed_area_m2(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]))
    12.0
    """
    following = np.roll(corners_m, -1, axis=0)
    return 0.5 * float(np.sum(corners_m[:, 0] * following[:, 1] - following[:, 0] * corners_m[:, 1]))


def _turn(origin: FloatArray, one: FloatArray, other: FloatArray) -> float:
    """Twice the signed area of a triangle: positive where it turns left."""
    return float((one[0] - origin[0]) * (other[1] - origin[1]) - (one[1] - origin[1]) * (other[0] - origin[0]))


def _on_segment(point: FloatArray, start: FloatArray, end: FloatArray) -> bool:
    return bool(np.all(np.minimum(start, end) <= point) and np.all(point <= np.maximum(start, end)))


def _segments_meet(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> bool:
    turns = (_turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b))
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    touching = ((turns[0], c, a, b), (turns[1], d, a, b), (turns[2], a, c, d), (turns[3], b, c, d))
    return any(turn == 0 and _on_segment(point, start, end) for turn, point, start, end in touching)


def crosses_itself(corners_m: FloatArray) -> bool:
    """Whether two sides that are not neighbours meet, or a side folds back on the one before.

    Examples
    --------
    >>> crosses_itself(np.array([[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]]))
    True
    """
    count = len(corners_m)
    ends = np.roll(corners_m, -1, axis=0)
    for i in range(count):
        before, after = corners_m[i - 1] - corners_m[i], ends[i] - corners_m[i]
        if _turn(np.zeros(2), before, after) == 0 and float(before @ after) > 0:
            return True
        for j in range(i + 2, count):
            if (j + 1) % count != i and _segments_meet(corners_m[i], ends[i], corners_m[j], ends[j]):
                return True
    return False


def contains(corners_m: FloatArray, points_m: FloatArray, *, edge_m: float = 1e-9) -> NDArray[np.bool_]:
    """Which points lie in a simple polygon, its edge included.

    Parameters
    ----------
    corners_m : ndarray of float, shape (n, 2)
        Corners in order. [m]
    points_m : ndarray of float, shape (k, 2)
        Points to judge. [m]
    edge_m : float
        How far from the edge still counts as on it. [m]

    Returns
    -------
    ndarray of bool, shape (k,)
    """
    x, y = points_m[:, 0], points_m[:, 1]
    inside = np.zeros(len(points_m), dtype=bool)
    on_edge = np.zeros(len(points_m), dtype=bool)
    for start, end in zip(corners_m, np.roll(corners_m, -1, axis=0), strict=True):
        side = end - start
        length_m = float(np.hypot(*side))
        if length_m == 0:
            continue
        along = np.clip(((points_m - start) @ side) / length_m**2, 0.0, 1.0)
        on_edge |= np.hypot(*(points_m - start - along[:, None] * side).T) <= edge_m
        if side[1] != 0:
            straddles = (start[1] > y) != (end[1] > y)
            inside ^= straddles & (x < start[0] + (y - start[1]) / side[1] * side[0])
    return inside | on_edge


def convex_parts(corners_m: FloatArray) -> list[FloatArray]:
    """Cut a simple polygon into convex ones, anticlockwise; one that is convex stays whole.

    Parameters
    ----------
    corners_m : ndarray of float, shape (n, 2)
        Corners in order, either way round. [m]

    Returns
    -------
    list of ndarray of float, shape (3 or more, 2)
        Parts that overlap in their edges only. [m]

    References
    ----------
    .. [1] G. H. Meisters, "Polygons have ears", American Mathematical Monthly 82 (1975) 648-651.

    Examples
    --------
    >>> ell = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]])
    >>> [abs(signed_area_m2(part)) for part in convex_parts(ell)]
    [1.0, 0.5, 1.0, 0.5]
    """
    if signed_area_m2(corners_m) < 0:
        corners_m = corners_m[::-1]
    before, after = np.roll(corners_m, 1, axis=0), np.roll(corners_m, -1, axis=0)
    inward, outward = corners_m - before, after - corners_m
    turns = inward[:, 0] * outward[:, 1] - inward[:, 1] * outward[:, 0]
    straight = np.abs(turns) <= 1e-9 * (1.0 + np.abs(inward).sum(axis=1) * np.abs(outward).sum(axis=1))
    left = [corner for corner, drop in zip(corners_m, straight, strict=True) if not drop]
    if np.all(turns[~straight] > 0):
        return [np.array(left)]
    parts: list[FloatArray] = []
    while len(left) > 3:  # noqa: PLR2004  a triangle is done
        ear = next((i for i in range(len(left)) if _is_ear(left, i)), None)
        if ear is None:  # rounding left no clear ear: the sharpest left turn serves
            ear = max(range(len(left)), key=lambda i: _turn(left[i - 1], left[i], left[(i + 1) % len(left)]))
        parts.append(np.array([left[ear - 1], left[ear], left[(ear + 1) % len(left)]]))
        del left[ear]
    parts.append(np.array(left))
    return [part for part in parts if signed_area_m2(part) > LEAST_AREA_M2]


def _is_ear(corners: list[FloatArray], i: int) -> bool:
    """Whether cutting a corner off leaves the rest as it was."""
    a, b, c = corners[i - 1], corners[i], corners[(i + 1) % len(corners)]
    if _turn(a, b, c) <= 0:
        return False
    others = [p for k, p in enumerate(corners) if k not in {i, (i - 1) % len(corners), (i + 1) % len(corners)}]
    return not any(_turn(a, b, p) >= 0 and _turn(b, c, p) >= 0 and _turn(c, a, p) >= 0 for p in others)
