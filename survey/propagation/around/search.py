"""Strings in a plane: every tight way from end to end around corners and through sheets that may count, best first."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation.around.section import END_M, TOUCH_M, Section, along_face_loss_db, met_by_leg

MAX_STRINGS = 8
"""So many strings of a plane are worked out at most."""
MAX_STEPS = 100
"""So many legs are looked at in a plane at most."""
MAX_CORNERS = 6
"""A string that needs more corners than this is given up."""
MARGIN_DB = 10.0
"""What is so much worse than the best is dropped: images and wedges bring less than that."""
MAX_LOSS_DB = 75.0
"""What loses more than this counts as no way. [dB]"""
LEAST_TURN = 1e-9
"""A string that turns by less goes straight on: rounding. [rad]"""


class Path(NamedTuple):
    """A string, or the beginning of one."""

    bound_db: float
    """Loss that it has at least, but for images and wedges."""
    corners: list[int]
    length_m: float
    through_db: float
    passed: list[tuple[int, int]]
    """Leg and segment of each pass through a sheet."""
    beside: list[int]
    """Solids that it passes beside the plane."""


def edge_loss_db(nu: float) -> float:
    """J of ITU-R P.526-15, equation (31), zero below nu = -0.78. [dB]"""
    if nu <= -0.78:
        return 0.0
    return max(0.0, 6.9 + 20.0 * math.log10(math.sqrt((nu - 0.1) ** 2 + 1.0) + nu - 0.1))


def wraps(section: Section, corner: int, ux: float, uy: float, vx: float, vy: float) -> bool:
    """Whether a string that comes along u and leaves along v is held by all that stands at a corner."""
    turn = ux * vy - uy * vx
    if abs(turn) < LEAST_TURN and ux * vx + uy * vy > 0:
        return False
    side = 1.0 if turn > 0 else -1.0
    for dx, dy, _ in section.corners[corner].arms:
        if side * (ux * dy - uy * dx) < -TOUCH_M or side * (vx * dy - vy * dx) < -TOUCH_M:
            return False
    return True


class Search:
    """The strings of a plane from (0, 0) to (length, 0), best bound first; among them the line itself.

    Parameters
    ----------
    section : Section
        What stands there.
    length_m : float
        Length of the line. [m]
    wavelength_m : float
        Wavelength. [m]
    """

    def __init__(self, section: Section, length_m: float, wavelength_m: float) -> None:
        self.section, self.length_m, self.wavelength_m = section, length_m, wavelength_m
        self.open: list[Path] = [Path(0.0, [], 0.0, 0.0, [], [])]
        self.steps = 0
        self.useful = [i for i, one in enumerate(section.corners) if not one.flat and one.arms]

    def next(self, most_db: float) -> Path | None:
        """The next string, or nothing where no more can lose less than so much."""
        section = self.section
        while self.open and self.steps < MAX_STEPS:
            pick = 0
            for i in range(1, len(self.open)):
                if self.open[i].bound_db < self.open[pick].bound_db:
                    pick = i
            path = self.open.pop(pick)
            if path.bound_db > most_db:
                continue
            if path.corners and path.corners[-1] < 0:
                return path._replace(corners=path.corners[:-1])
            self.steps += 1
            at = path.corners[-1] if path.corners else -1
            x, y = (section.corners[at].x, section.corners[at].y) if at >= 0 else (0.0, 0.0)
            ux, uy = 0.0, 0.0
            if at >= 0:
                bx, by = 0.0, 0.0
                if len(path.corners) > 1:
                    bx, by = section.corners[path.corners[-2]].x, section.corners[path.corners[-2]].y
                size = math.hypot(x - bx, y - by)
                ux, uy = (x - bx) / size, (y - by) / size
            for to in [-1, *self.useful]:
                self._extend(path, at, to, (x, y), (ux, uy), most_db)
        return None

    def _extend(
        self, path: Path, at: int, to: int, here: tuple[float, float], u: tuple[float, float], most_db: float
    ) -> None:
        """Lead a string on to a corner, or to the end where that is -1."""
        section, length_m = self.section, self.length_m
        if to >= 0 and (to in path.corners or len(path.corners) >= MAX_CORNERS):
            return
        x, y = here
        tx, ty = (section.corners[to].x, section.corners[to].y) if to >= 0 else (length_m, 0.0)
        vx, vy = tx - x, ty - y
        size = math.hypot(vx, vy)
        if size < TOUCH_M:
            return
        vx, vy = vx / size, vy / size
        long_m = path.length_m + size + math.hypot(length_m - tx, ty)
        nu = 2.0 * math.sqrt(max(0.0, long_m - length_m) / self.wavelength_m)
        bound_db = path.through_db + (edge_loss_db(nu) if at >= 0 or to >= 0 else 0.0)
        if bound_db > most_db:
            return
        if at >= 0 and not wraps(section, at, u[0], u[1], vx, vy):
            return
        if to >= 0 and not can_wrap(section, to, vx, vy):
            return
        face_db = 0.0
        if at >= 0:
            face_db = crossed_face_loss_db(section, path, u[0] * vy - u[1] * vx > 0.0)
            bound_db += face_db
            if bound_db > most_db:
                return
        left_db = most_db - bound_db if at >= 0 or to >= 0 else 1e9
        met = met_by_leg(section, x, y, tx, ty, at, to, left_db, path.beside)
        if bound_db + met.loss_db > most_db and (at >= 0 or to >= 0):
            return
        if at >= 0 and to >= 0:
            face_db = along_face_loss_db(section, at, to, u[0] * vy - u[1] * vx > 0.0)
            if bound_db + met.loss_db + face_db > most_db:
                return
            met = met._replace(loss_db=met.loss_db + face_db)
        leg = len(path.corners)
        self.open.append(
            Path(
                bound_db + met.loss_db,
                [*path.corners, to],
                path.length_m + size,
                path.through_db + face_db + met.loss_db,
                path.passed + [(leg, one) for one in met.passed],
                path.beside + met.beside,
            )
        )


def can_wrap(section: Section, corner: int, ux: float, uy: float) -> bool:
    """Whether a string that comes along u can turn at a corner at all: its arms lie on one side of u."""
    left = right = False
    for dx, dy, _ in section.corners[corner].arms:
        off = ux * dy - uy * dx
        left = left or off > TOUCH_M
        right = right or off < -TOUCH_M
    return not (left and right)


def crossed_face_loss_db(section: Section, path: Path, left: bool) -> float:
    """What a string loses that turns around a sheet to one side at its one end, and to the other at its other end. [dB]

    It comes along one face of the sheet and leaves along the other, so it goes through.
    """
    if len(path.corners) < 2:
        return 0.0
    b, a = section.corners[path.corners[-1]], section.corners[path.corners[-2]]
    x, y = 0.0, 0.0
    if len(path.corners) > 2:
        x, y = section.corners[path.corners[-3]].x, section.corners[path.corners[-3]].y
    dx, dy = b.x - a.x, b.y - a.y
    if ((a.x - x) * dy - (a.y - y) * dx > 0.0) == left:
        return 0.0
    size = math.hypot(dx, dy)
    dx, dy = dx / size, dy / size
    most_db = 0.0
    for one in section.segments:
        off_1 = (one.y1 - a.y) * dx - (one.x1 - a.x) * dy
        off_2 = (one.y2 - a.y) * dx - (one.x2 - a.x) * dy
        if abs(off_1) > TOUCH_M or abs(off_2) > TOUCH_M:
            continue
        along_1 = (one.x1 - a.x) * dx + (one.y1 - a.y) * dy
        along_2 = (one.x2 - a.x) * dx + (one.y2 - a.y) * dy
        if min(max(along_1, along_2), size) - max(min(along_1, along_2), 0.0) > END_M:
            most_db = max(most_db, one.loss_db)
    return most_db
