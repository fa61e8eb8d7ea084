"""A string of the search made ready for its integral: the openings that it goes through and the faces beside it."""

from __future__ import annotations

import math
from typing import NamedTuple

from survey.propagation.around.search import Path, edge_loss_db
from survey.propagation.around.section import END_M, TOUCH_M, Section, met_by_leg
from survey.propagation.around.windows import MAX_STATIONS, Face, Station, obliquity

SAME_NU = 1e-6
"""Depths that differ by less are the same: rounding. [-]"""
FULL_NU = -1.8
"""Edges beside a string count in full down to here."""
LEAST_NU = -2.4
"""Edges deeper beside a string than this do not count: what would be left of their ripple is below 0.7 dB."""
FACING = 0.35
"""Edges on opposite sides form one window where they lie no farther apart along the string than this of its width."""
OPAQUE_DB = 20.0
"""What costs this or more stands in the integral; weaker edges beside a string count as a factor. [dB]"""
STEEP = 0.5
"""An edge closes what lies beyond it if none of its sheets comes back towards the string by more than this sine."""
FLUSH_NU = 0.78
"""Images of ends in the face at an edge beside a string fade as it lies deeper, down to here."""
SHUT_M, OPEN_M = 0.02, 0.10
"""Windows between two edges come in from one width to the other: what is drawn apart by less is drawn roughly. [m]"""
SHORT_M, FREE_M = 0.052, 0.14
"""The same where they make no slit in one face, such as a wall drawn short of its roof. [m]"""


class Edge(NamedTuple):
    """An edge at or beside a string."""

    at_m: float
    off_m: float
    left: bool
    """It closes the string's left."""
    turn: float
    nu: float
    """How deep it lies beside the string, 0 at a corner."""
    gain: float
    corner: int
    segments: list[int]
    tangent: tuple[float, float]
    image: tuple[float, float]
    """Image of the ends in the faces here: amplitude, and its further turn."""


def smooth(share: float) -> float:
    """A step from 0 to 1 without corners."""
    share = min(max(share, 0.0), 1.0)
    return share * share * (3.0 - 2.0 * share)


def wedge_gain(turn_rad: float, outer_angle: float) -> float:
    """Amplitude behind a wedge of so many half turns outside it, relative to a sheet: first terms of Keller's."""
    if turn_rad < 1e-6 or outer_angle > 1.9999:
        return 1.0
    n = outer_angle
    wedge = math.sin(math.pi / n) / n / (math.cos(math.pi / n) - math.cos((math.pi + turn_rad) / n))
    return wedge * 2.0 * math.sin(turn_rad / 2.0)


def outer_angle(section: Section, corner: int) -> float:
    """Angle outside what stands at a corner, in half turns."""
    arms = section.corners[corner].arms
    widest = 0.0
    for i in range(len(arms)):
        for j in range(i):
            dot = arms[i][0] * arms[j][0] + arms[i][1] * arms[j][1]
            widest = max(widest, math.acos(min(max(dot, -1.0), 1.0)))
    return 2.0 - widest / math.pi


def edges_along(
    section: Section, path: Path, points: list[tuple[float, float]], wavelength_m: float
) -> tuple[list[Edge], float]:
    """Edges at the corners of a string and beside its legs, and what weaker edges beside it leave of the power."""
    edges: list[Edge] = []
    factor = 1.0
    at_m = 0.0
    whole_m = sum(math.hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(points, points[1:], strict=False))
    beside: list[Edge] = []
    for leg in range(len(points) - 1):
        (x1, y1), (x2, y2) = points[leg], points[leg + 1]
        dx, dy = x2 - x1, y2 - y1
        size = math.hypot(dx, dy)
        dx, dy = dx / size, dy / size
        if leg > 0:
            px, py = x1 - points[leg - 1][0], y1 - points[leg - 1][1]
            before = math.hypot(px, py)
            px, py = px / before, py / before
            turn_rad = math.atan2(px * dy - py * dx, px * dx + py * dy)
            corner = path.corners[leg - 1]
            gain = wedge_gain(abs(turn_rad), outer_angle(section, corner))
            gain *= gate_gain(section, corner, (px, py), (dx, dy), turn_rad > 0)
            mx, my = px + dx, py + dy
            middle = max(math.hypot(mx, my), 1e-9)
            segments = [arm[2] for arm in section.corners[corner].arms]
            turn = 2.0 * math.sin(turn_rad / 2.0)
            tangent = (mx / middle, my / middle)
            image = image_at(section, corner, points[leg - 1], points[leg + 1], turn_rad)
            edges.append(Edge(at_m, 0.0, turn_rad > 0, turn, 0.0, gain, corner, segments, tangent, image))
        for number, near in enumerate(section.corners):
            if number in path.corners or near.flat or not near.arms:
                continue
            along = (near.x - x1) * dx + (near.y - y1) * dy
            off = (near.y - y1) * dx - (near.x - x1) * dy
            if not END_M < along < size - END_M:
                continue
            s = at_m + along
            nu = -abs(off) * math.sqrt(2.0 * whole_m / (wavelength_m * s * (whole_m - s)))
            if nu < LEAST_NU:
                continue
            left = off > TOUCH_M
            if abs(off) <= TOUCH_M:
                square = sum(dx * arm[1] - dy * arm[0] for arm in near.arms)
                if abs(square) <= TOUCH_M:  # the string runs along it: closed on the side on which it turns there
                    square = along_side(section, path, points, leg, number)
                if square == 0.0:
                    continue
                left = square > 0.0
            sign = 1.0 if left else -1.0
            if any(sign * (dx * arm[1] - dy * arm[0]) < -STEEP - TOUCH_M for arm in near.arms):
                continue
            if abs(off) > 0.01:
                hidden = met_by_leg(
                    section, x1 + along * dx, y1 + along * dy, near.x, near.y, -1, number, OPAQUE_DB, path.beside
                )
                if hidden.loss_db > 0.0:
                    continue
            segments = [arm[2] for arm in near.arms]
            image = image_at(section, number, points[leg], points[leg + 1], 0.0)
            beside.append(Edge(s, off, left, 0.0, nu, 1.0, number, segments, (dx, dy), image))
        at_m += size
    beside.sort(key=lambda one: (-round(one.nu / SAME_NU), one.at_m))
    weak: list[tuple[set[int], float, float]] = []
    for edge in beside:
        nu = local_nu(edges, edge, whole_m, wavelength_m)
        weight = smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU))
        loss_db = section.corners[edge.corner].loss_db
        if loss_db < OPAQUE_DB:
            # Edges of one solid close the same front: N of them that touch lose 20 log(N + 1) dB, not 6 dB each.
            solids = {section.segments[one].solid for one in edge.segments}
            rise, most_db = 10.0 ** (edge_loss_db(nu) / 20.0) - 1.0, loss_db
            for other in [one for one in weak if one[0] & solids]:
                weak.remove(other)
                solids, rise, most_db = solids | other[0], rise + other[1], max(most_db, other[2])
            weak.append((solids, rise, most_db))
        elif weight >= 1.0 and len(edges) < MAX_STATIONS:
            part = smooth(1.0 + nu / FLUSH_NU)
            edges.append(edge._replace(nu=nu, image=(edge.image[0] * part, edge.image[1])))
        elif weight > 0.0:
            factor *= (1.0 + weight * ripple(nu)) ** 2
    for _, rise, loss_db in weak:
        factor *= min(1.0, (1.0 + rise) ** -2 + 10.0 ** (-loss_db / 10.0))
    edges.sort(key=lambda one: one.at_m)
    return edges, factor


def along_side(section: Section, path: Path, points: list[tuple[float, float]], leg: int, number: int) -> float:
    """On which side a sheet lies that a leg runs along, +1 for left: by the turn at its other end; 0 without a turn."""
    for i in (leg, leg + 1):
        if not 0 < i < len(points) - 1:
            continue
        arms = section.corners[path.corners[i - 1]].arms
        if any(one[2] == other[2] for one in arms for other in section.corners[number].arms):
            (ax, ay), (bx, by), (cx, cy) = points[i - 1 : i + 2]
            return 1.0 if (bx - ax) * (cy - by) - (by - ay) * (cx - bx) > 0.0 else -1.0
    return 0.0


def image_at(
    section: Section, corner: int, before: tuple[float, float], beyond: tuple[float, float], turn_rad: float
) -> tuple[float, float]:
    """Image of the ends of two legs in the faces at the corner between them.

    Returns its amplitude, and by how much 2 sin(half the turn) grows for it, so that its share is what Keller's second
    term is of the first.
    """
    here = section.corners[corner]
    n = outer_angle(section, corner)
    if not here.arms or n < 1.01:
        return 0.0, 0.0
    turn_rad = abs(turn_rad)
    nearest = []
    for x, y in (before, beyond):
        dx, dy = x - here.x, y - here.y
        leg_m = max(math.hypot(dx, dy), 1e-9)
        least = math.pi
        for ax, ay, _ in here.arms:
            least = min(least, math.acos(min(max((dx * ax + dy * ay) / leg_m, -1.0), 1.0)))
        nearest.append(least)
    # The angles of both legs to the faces, taken alike, so that both directions give the same.
    apart = math.cos(math.pi / n) + math.cos((nearest[0] - nearest[1]) / n)
    image = 1.0 / max(apart, 0.1)
    more = wedge_gain(turn_rad, n) * n / (math.sin(math.pi / n) * image) - 2.0 * math.sin(turn_rad / 2.0)
    return 1.0, max(more, 0.0)


def ripple(nu: float) -> float:
    """How much an edge far below a line adds to the amplitude, from the Fresnel integrals' first terms."""
    phase = 0.5 * math.pi * nu * nu
    return (math.sin(phase) - math.cos(phase)) / (2.0 * math.pi * max(abs(nu), 1.0))


def local_nu(edges: list[Edge], edge: Edge, whole_m: float, wavelength_m: float) -> float:
    """How deep an edge beside a string lies, seen from its neighbours on the same side, which may stand before it.

    Corners on the other side may do so as well, but what passes them spreads over the whole opening there, so that they
    count by half.
    """
    return min(
        nu_between(edges, edge, False, whole_m, wavelength_m),
        0.5 * nu_between(edges, edge, True, whole_m, wavelength_m),
    )


def nu_between(edges: list[Edge], edge: Edge, every: bool, whole_m: float, wavelength_m: float) -> float:
    """Depth of an edge below what stands on its side before and behind it, or below any of a string's corners too."""
    before_m, before_off, beyond_m, beyond_off = 0.0, 0.0, whole_m, 0.0
    for other in edges:
        if other.left == edge.left or (every and other.turn != 0.0):
            if before_m < other.at_m <= edge.at_m:
                before_m, before_off = other.at_m, other.off_m
            elif edge.at_m < other.at_m < beyond_m:
                beyond_m, beyond_off = other.at_m, other.off_m
    d1, d2 = max(edge.at_m - before_m, 1e-3), max(beyond_m - edge.at_m, 1e-3)
    level = (before_off * d2 + beyond_off * d1) / (d1 + d2)
    depth = (edge.off_m - level) * (1.0 if edge.left else -1.0)
    return -depth * math.sqrt(2.0 / wavelength_m * (1.0 / d1 + 1.0 / d2))


def stations_of(
    section: Section, edges: list[Edge], points: list[tuple[float, float]], wavelength_m: float
) -> tuple[list[Station], list[Face], float]:
    """Stations and faces of a string, edges that face each other made one window."""
    total_m = sum(math.hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(points, points[1:], strict=False))
    used = [False] * len(edges)
    limits: list[tuple[float, list[int], int]] = []
    for one in edges:
        limits.append(opposite(section, one, total_m, wavelength_m) if one.turn != 0.0 else (math.inf, [], -1))
        for j, other in enumerate(edges):
            if limits[-1][2] >= 0 and other.corner == limits[-1][2] and other.turn == 0.0:
                used[j] = True
    stations: list[Station] = []
    lefts: list[list[int]] = []
    rights: list[list[int]] = []
    nus: list[tuple[float, float]] = []
    for i, one in enumerate(edges):
        if used[i]:
            continue
        used[i] = True
        partner, least = -1, math.inf
        for j in range(i + 1, len(edges)):
            other = edges[j]
            if used[j] or other.left == one.left or one.turn != 0.0 or other.turn != 0.0:
                continue
            gap_m = (one.off_m - other.off_m) if one.left else (other.off_m - one.off_m)
            if gap_m > 0.0 and other.at_m - one.at_m <= FACING * gap_m and other.at_m - one.at_m < least:
                partner, least = j, other.at_m - one.at_m
        gain, at_m = one.gain, one.at_m
        low_m, high_m = (-math.inf, one.off_m) if one.left else (one.off_m, math.inf)
        left_segments, right_segments = (one.segments, []) if one.left else ([], one.segments)
        left_nu, right_nu = one.nu, one.nu
        none = (0.0, 0.0)
        left_image, right_image = (one.image, none) if one.left else (none, one.image)
        if partner >= 0:
            used[partner] = True
            other = edges[partner]
            at_m = 0.5 * (one.at_m + other.at_m)
            if one.left:
                low_m, right_segments, right_nu, right_image = other.off_m, other.segments, other.nu, other.image
            else:
                high_m, left_segments, left_nu, left_image = other.off_m, other.segments, other.nu, other.image
        limit_m, segments, _ = limits[i]
        if limit_m < math.inf:
            if one.left:
                low_m, right_segments = -limit_m, segments
            else:
                high_m, left_segments = limit_m, segments
        gap_m = high_m - low_m
        if math.isfinite(gap_m):
            if partner >= 0:
                gain *= drawn_open(section, one.corner, edges[partner].corner, gap_m)
            half_turn = 2.0 * math.asin(min(1.0, 0.5 * abs(one.turn)))
            gain *= obliquity(math.tan(min(half_turn, 1.5)))
        stations.append(Station(at_m, low_m, high_m, one.turn, gain, left_image, right_image))
        lefts.append(left_segments)
        rights.append(right_segments)
        nus.append((left_nu, right_nu))
    order = sorted(range(len(stations)), key=lambda i: stations[i].at_m)
    stations = [stations[i] for i in order]
    lefts, rights, nus = [lefts[i] for i in order], [rights[i] for i in order], [nus[i] for i in order]
    faces = []
    for i in range(len(stations) - 1):
        left = 1.0 if any(one in lefts[i + 1] for one in lefts[i]) else 0.0
        right = 1.0 if any(one in rights[i + 1] for one in rights[i]) else 0.0
        if left == 0.0 or right == 0.0:
            left *= smooth(1.0 + min(nus[i][0], nus[i + 1][0]) / FLUSH_NU)
            right *= smooth(1.0 + min(nus[i][1], nus[i + 1][1]) / FLUSH_NU)
        faces.append(Face(left, right))
    for i in range(len(stations)):
        (left, left_turn), (right, right_turn) = stations[i].left_image, stations[i].right_image
        for face in faces[max(i - 1, 0) : i + 1]:
            left, right = left * (1.0 - face.left), right * (1.0 - face.right)
        stations[i] = stations[i]._replace(left_image=(left, left_turn), right_image=(right, right_turn))
    return stations, faces, total_m


def drawn_open(section: Section, corner: int, other: int, gap_m: float) -> float:
    """How far a gap between two corners, or a corner and a face (-1), counts as one, amplitude."""
    shut_m, free_m = (SHUT_M, OPEN_M) if in_one_face(section, corner, other) else (SHORT_M, FREE_M)
    return smooth((gap_m - shut_m) / (free_m - shut_m))


def gate_gain(section: Section, corner: int, u: tuple[float, float], v: tuple[float, float], left: bool) -> float:
    """How far the gap counts that a string goes through as it turns at a corner: to what lies on its outer side."""
    here = section.corners[corner]
    side = -1.0 if left else 1.0
    least = 1.0
    for number, other in enumerate(section.corners):
        qx, qy = other.x - here.x, other.y - here.y
        gap_m = math.hypot(qx, qy)
        if number == corner or gap_m > FREE_M or other.loss_db < OPAQUE_DB:
            continue
        if max(side * (u[0] * qy - u[1] * qx), side * (v[0] * qy - v[1] * qx)) <= TOUCH_M:
            continue
        if any(arm[2] == beyond[2] for arm in here.arms for beyond in other.arms):
            continue
        least = min(least, drawn_open(section, corner, number, gap_m))
    for number, one in enumerate(section.segments):
        if one.loss_db < OPAQUE_DB or corner in section.ends[number]:
            continue
        dx, dy = one.x2 - one.x1, one.y2 - one.y1
        size = max(math.hypot(dx, dy), TOUCH_M)
        along = ((here.x - one.x1) * dx + (here.y - one.y1) * dy) / size
        if not TOUCH_M < along < size - TOUCH_M:
            continue
        qx, qy = one.x1 + along * dx / size - here.x, one.y1 + along * dy / size - here.y
        gap_m = math.hypot(qx, qy)
        if gap_m < FREE_M and max(side * (u[0] * qy - u[1] * qx), side * (v[0] * qy - v[1] * qx)) > TOUCH_M:
            least = min(least, drawn_open(section, corner, -1, gap_m))
    return least


def in_one_face(section: Section, corner: int, other: int) -> bool:
    """Whether two corners bound a slit in one face, and not the joint of two."""
    if other < 0:
        return False
    for ax, ay, _ in section.corners[corner].arms:
        for bx, by, _ in section.corners[other].arms:
            if ax * bx + ay * by < -0.95:
                return True
    return False


def opposite(section: Section, edge: Edge, total_m: float, wavelength_m: float) -> tuple[float, list[int], int]:
    """What lies opposite a corner of a string: how far off, which segments, and which corner or -1 for a face.

    Infinitely far without, and where it lies too far beside the string to count. [m]
    """
    corner = section.corners[edge.corner]
    tx, ty = edge.tangent
    nx, ny = (ty, -tx) if edge.left else (-ty, tx)
    nearest = -LEAST_NU / math.sqrt(2.0 / wavelength_m * (1.0 / edge.at_m + 1.0 / (total_m - edge.at_m)))
    segments: list[int] = []
    which = -1
    found = False
    for number, one in enumerate(section.segments):
        if edge.corner in section.ends[number] or one.loss_db < OPAQUE_DB:
            continue
        s1 = (one.x1 - corner.x) * tx + (one.y1 - corner.y) * ty
        s2 = (one.x2 - corner.x) * tx + (one.y2 - corner.y) * ty
        if not min(s1, s2) < -TOUCH_M < TOUCH_M < max(s1, s2):
            continue
        share = s1 / (s1 - s2)
        off = (one.x1 + share * (one.x2 - one.x1) - corner.x) * nx + (
            one.y1 + share * (one.y2 - one.y1) - corner.y
        ) * ny
        if TOUCH_M < off < nearest:
            nearest, segments, found = off, [number], True
    for number, other in enumerate(section.corners):
        if number == edge.corner or other.flat or not other.arms or other.loss_db < OPAQUE_DB:
            continue
        off = (other.x - corner.x) * nx + (other.y - corner.y) * ny
        aside = abs((other.x - corner.x) * tx + (other.y - corner.y) * ty)
        if not TOUCH_M < off < nearest or aside > FACING * off:
            continue
        if any(arm[0] * nx + arm[1] * ny < -STEEP - TOUCH_M for arm in other.arms):
            continue
        nearest, segments, which, found = off, [arm[2] for arm in other.arms], number, True
    return (nearest, segments, which) if found else (math.inf, [], -1)
