"""Strings in a plane: every tight way from end to end around corners and through sheets that may count, best first."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation.around.section import END_M, TOUCH_M, Section, along_face_loss_db, met_by_leg

MAX_STRINGS = 8
"""So many strings of a plane are worked out at most, and those that are as good as the last of them."""
ROOM_STRINGS = 16
"""And never more than this."""
MAX_STEPS = 100
"""So many legs are looked at in a plane at most, and those that are as good as the last of them."""
SAME_DB = 1e-6
"""Bounds that differ by less are the same: neither rounding nor the order of things decides between strings. [dB]"""
MAX_CORNERS = 6
"""A string that needs more corners than this is given up."""
MARGIN_DB = 10.0
"""What is so much worse than the best is dropped: images and wedges bring less than that."""
MAX_LOSS_DB = 75.0
"""What loses more than this counts as no way. [dB]"""
LEAST_TURN = 1e-9
"""A string that turns by less goes straight on: rounding. [rad]"""
BENT_DB = 6.0
"""What a turn that only grazes loses by J; where several follow one another closely they lose hardly more than one."""
STEEPER = 2.0
"""What a turn loses beyond that counts so many times in the bound of a string, until all of J counts."""
BACK_DB = 6.0
"""Where a string turns back, so much of what it has lost before may be made up: a wave in a gap need not turn twice."""


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
    bent_db: float = 0.0
    """What its turns lose at least, one by one, up to that at the last corner but one."""
    most_bent_db: float = 0.0
    """The most that this has been on the way."""
    left: bool = False
    """Whether it turns to the left at its last corner but one."""
    number: int = 0
    """Among all that were begun, in their order."""
    tested: bool = True
    """Whether what the last leg meets is known."""


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
        self.steps, self.begun, self.last_db = 0, 1, 0.0
        self.useful = [i for i, one in enumerate(section.corners) if not one.flat and one.arms]

    def next(self, most_db: float) -> Path | None:
        """The next string, or nothing where no more can lose less than so much."""
        section = self.section
        while self.open:
            path = min(self.open, key=lambda one: (one.bound_db, one.number))
            if path.bound_db > most_db or (self.steps >= MAX_STEPS and path.bound_db > self.last_db + SAME_DB):
                return None
            self.open.remove(path)
            if not path.tested:
                tested = self._tested(path, most_db)
                if tested.bound_db > path.bound_db:
                    if tested.bound_db <= most_db:
                        self.open.append(tested)
                    continue
                path = tested
            if path.corners and path.corners[-1] < 0:
                return path._replace(corners=path.corners[:-1])
            self.steps += 1
            if self.steps <= MAX_STEPS:
                self.last_db = path.bound_db
            at = path.corners[-1] if path.corners else -1
            x, y = (section.corners[at].x, section.corners[at].y) if at >= 0 else (0.0, 0.0)
            ux, uy, bx, by = 0.0, 0.0, 0.0, 0.0
            if at >= 0:
                if len(path.corners) > 1:
                    bx, by = section.corners[path.corners[-2]].x, section.corners[path.corners[-2]].y
                size = math.hypot(x - bx, y - by)
                ux, uy = (x - bx) / size, (y - by) / size
            for to in [-1, *self.useful]:
                self._extend(path, at, to, (bx, by), (x, y), (ux, uy), most_db)
        return None

    def _extend(
        self,
        path: Path,
        at: int,
        to: int,
        last: tuple[float, float],
        here: tuple[float, float],
        u: tuple[float, float],
        most_db: float,
    ) -> None:
        """Lead a string on to a corner, or to the end where that is -1, if by its bound it may count."""
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
        bent_db, most_bent_db = 0.0, path.most_bent_db
        left = u[0] * vy - u[1] * vx > 0.0
        if at >= 0:  # the corner in between is turned at
            bent_db = self._bend_db(last, here, (tx, ty), size)
            if len(path.corners) > 1:
                bent_db += path.bent_db if left == path.left else max(0.0, path.bent_db - BACK_DB)
            most_bent_db = max(most_bent_db, bent_db)
            ahead_db = most_bent_db
            if to >= 0:  # and this one at least as for the straight way to the end
                end = (length_m, 0.0)
                more_db = self._bend_db(here, (tx, ty), end, math.hypot(length_m - tx, ty))
                same = (vx * (end[1] - ty) - vy * (end[0] - tx) > 0.0) == left
                ahead_db = max(ahead_db, more_db + (bent_db if same else max(0.0, bent_db - BACK_DB)))
            bound_db = max(bound_db, path.through_db + ahead_db)
            face_db = crossed_face_loss_db(section, path, left)
            bound_db += face_db
            if bound_db > most_db:
                return
        self.open.append(
            Path(
                bound_db,
                [*path.corners, to],
                path.length_m + size,
                path.through_db + face_db,
                path.passed,
                path.beside,
                bent_db,
                most_bent_db,
                left,
                self.begun,
                False,
            )
        )
        self.begun += 1

    def _bend_db(
        self, before: tuple[float, float], at: tuple[float, float], beyond: tuple[float, float], size_m: float
    ) -> float:
        """What a turn at a place loses at least, of a wave from the place before to that beyond, J if sharp."""
        more_m = math.dist(before, at) + size_m - math.dist(before, beyond)
        loss_db = edge_loss_db(2.0 * math.sqrt(max(0.0, more_m) / self.wavelength_m))
        return max(0.0, min(loss_db, STEEPER * (loss_db - BENT_DB)))

    def _tested(self, path: Path, most_db: float) -> Path:
        """The same with what its last leg meets."""
        section = self.section
        at = path.corners[-2] if len(path.corners) > 1 else -1
        to = path.corners[-1]
        x, y = (section.corners[at].x, section.corners[at].y) if at >= 0 else (0.0, 0.0)
        tx, ty = (section.corners[to].x, section.corners[to].y) if to >= 0 else (self.length_m, 0.0)
        left_db = most_db - path.bound_db if at >= 0 or to >= 0 else 1e9
        met = met_by_leg(section, x, y, tx, ty, at, to, left_db, path.beside)
        loss_db = met.loss_db
        if at >= 0 and to >= 0 and path.bound_db + loss_db <= most_db:
            loss_db += along_face_loss_db(section, at, to, path.left)
        leg = len(path.corners) - 1
        return path._replace(
            bound_db=path.bound_db + loss_db,
            through_db=path.through_db + loss_db,
            passed=path.passed + [(leg, one) for one in met.passed],
            beside=path.beside + met.beside,
            tested=True,
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
