"""Mirror paths: one reflection off a flat sheet of metal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survey.base.arrays import BoolArray, FloatArray, IntArray
from survey.base.units import elevation_deg, ratio_from_db, wavelength_m
from survey.geometry import EDGE_M, ON_SHEET_M, Lines, Met, footprints_of, leg_crossings, lines_between
from survey.propagation.diffraction import knife_edge_loss_db
from survey.propagation.slight import graze_reach_m, smooth
from survey.scene import Scene

MIRROR_LOSS_DB = 20.0
"""A sheet that costs this much to go through is taken as metal, and reflects all that meets it."""
MOST_EDGE_LOSS_DB = 20.0
"""A mirror path that passes so far beside its sheet is none."""
MOST_EDGE_NU = 2.3
"""So far outside an edge, as nu, it is none in any case: 20.2 dB."""
MOST_LEG_SCREENS = 2
"""A mirror path with more than this in its legs is none."""
OWN_WAY_NU = 2.0**0.5
"""A detour of half a wavelength, the first Fresnel zone, as nu: nearer than that a mirror path is no way of its own."""


@dataclass(frozen=True, kw_only=True)
class Mirrored:
    """Mirror paths of some lines.

    Attributes
    ----------
    line : ndarray of int, shape (paths,)
        Which line each path stands beside.
    mirror : ndarray of int, shape (paths,)
        The sheet that throws it back.
    power : ndarray of float, shape (paths,)
        What arrives, relative to the straight line in free space, but for what stands in the legs. [-]
    elevations_deg : ndarray of float, shape (paths, 2)
        Elevation of the mirror point as seen from start and from end. [deg]
    leg_path : ndarray of int, shape (legs,)
        Which path a leg belongs to; legs that nothing stands in or close to are left out.
    legs : Lines
        The unfolded path of each leg, straight from one end to the image of the other.
    near : tuple of three ndarrays
        Pairs of leg and screen, and whether it blocks the leg or lies close to it.
    """

    line: IntArray
    mirror: IntArray
    power: FloatArray
    elevations_deg: FloatArray
    leg_path: IntArray
    legs: Lines
    near: tuple[IntArray, IntArray, BoolArray]


def mirror_paths(scene: Scene, lines: Lines, chosen: IntArray, floor: FloatArray) -> Mirrored:
    """Find the paths of some lines by way of every sheet of metal.

    Parameters
    ----------
    scene : Scene
        The site.
    lines : Lines
        Lines.
    chosen : ndarray of int
        Which of them.
    floor : ndarray of float, shape (lines,)
        What arrives by other ways and makes a path of less not worth while. [-]

    Returns
    -------
    Mirrored
        One path at most of a line by way of each sheet.

    Notes
    -----
    By images: the path is the straight line from the mirrored start to the end, and lies on the sheet where that line
    goes through it. It loses what the longer way costs, ``20 log10`` of the ratio of lengths; near an edge of the
    sheet, and a little beside it, the knife-edge loss of that edge, since only a part of the sheet then reflects; and
    what its legs go through.
    """
    found = [_by_way_of(scene, lines, chosen, k, floor) for k in _mirrors(scene)]
    line, mirror = (np.concatenate([np.zeros(0, dtype=np.int64), *(one[i] for one in found)]) for i in (0, 1))
    power = np.concatenate([np.zeros(0), *(one[2] for one in found)])
    at_m = np.concatenate([np.zeros((0, 3)), *(one[3] for one in found)])
    return _with_legs(scene, lines, (line, mirror, power, at_m), floor)


def _mirrors(scene: Scene) -> list[int]:
    """Sheets of metal."""
    loss_db = scene.obstacles.loss_db[scene.sheets.owner]
    reflects: list[int] = np.flatnonzero((loss_db >= MIRROR_LOSS_DB) & (scene.screens.of_sheet >= 0)).tolist()
    return reflects


def _by_way_of(
    scene: Scene, lines: Lines, chosen: IntArray, mirror: int, floor: FloatArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Paths by way of one sheet: line, sheet, power without what stands in the legs, and mirror point. [-, -, -, m]"""
    sheets, wave_m = scene.sheets, float(wavelength_m(scene.plan.radio.frequency_mhz))
    starts_m, ends_m, length_m = lines.starts_m[chosen], lines.ends_m[chosen], lines.length_m[chosen]
    normal, offset_m = sheets.normal[mirror], sheets.offset_m[mirror]
    away_1, away_2 = _along(starts_m, normal) - offset_m, _along(ends_m, normal) - offset_m
    before = (away_1 * away_2 > 0) & (np.minimum(abs(away_1), abs(away_2)) > ON_SHEET_M)
    body = int(scene.screens.of_sheet[mirror])
    if scene.screens.is_box[body]:  # a face reflects on its outside
        middle_m = float(scene.screens.corners_m[body].mean(axis=0) @ normal - offset_m)
        before &= away_1 * middle_m < 0
    path = np.flatnonzero(before)
    image_m = starts_m[path] - 2.0 * away_1[path, None] * normal
    along_m = ends_m[path] - image_m
    total_m = np.linalg.norm(along_m, axis=1)
    share = away_1[path] / (away_1[path] + away_2[path])
    at_m = image_m + share[:, None] * along_m
    edges = np.column_stack([sheets.edge_normal[mirror], sheets.edge_offset_m[mirror]])
    edges = edges[np.unique(edges, axis=0, return_index=True)[1]]
    inside_m = np.column_stack([_along(at_m, edge[:3]) - edge[3] for edge in edges])
    slope = np.column_stack([_along(along_m, edge[:3]) for edge in edges]) / total_m[:, None]
    scale = np.sqrt(2.0 / (wave_m * total_m * share * (1.0 - share)))
    nu = -inside_m * np.sqrt(np.maximum(1.0 - slope**2, 0.0)) * scale[:, None]
    beside = np.flatnonzero(np.max(nu, axis=1, initial=-np.inf) < MOST_EDGE_NU)
    nu, path, total_m = nu[beside], path[beside], total_m[beside]
    edges_db = knife_edge_loss_db(nu).sum(axis=1)
    apart = smooth(2.0 * np.sqrt((total_m - length_m[path]) / wave_m) / OWN_WAY_NU)
    fade = np.maximum(1.0 - (edges_db / MOST_EDGE_LOSS_DB) ** 4, 0.0)
    power = ratio_from_db(-edges_db) * fade * apart * (length_m[path] / total_m) ** 2
    worth = np.flatnonzero(power > floor[chosen[path]])
    return chosen[path[worth]], np.full(len(worth), mirror), power[worth], at_m[beside[worth]]


def _along(vectors: FloatArray, axis: FloatArray) -> FloatArray:
    """Vectors along an axis: one product after another, so that one vector alone comes out as among others."""
    return np.asarray(vectors[:, 0] * axis[0] + vectors[:, 1] * axis[1] + vectors[:, 2] * axis[2])


def _with_legs(
    scene: Scene, lines: Lines, paths: tuple[IntArray, IntArray, FloatArray, FloatArray], floor: FloatArray
) -> Mirrored:
    """Paths (line, sheet, power and mirror point) with what stands in their legs; those with much of it left out."""
    sheets, count, (line, mirror, power, at_m) = scene.sheets, max(1, len(scene.screens)), paths
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    lengths_m = [np.linalg.norm(ends_m[line] - at_m, axis=1) for ends_m in (lines.starts_m, lines.ends_m)]
    total_m = lengths_m[0] + lengths_m[1]
    own = scene.screens.of_sheet[mirror]
    blocked = np.zeros(len(line), dtype=np.int64)
    least_db = np.zeros(len(line))
    blocking: list[IntArray] = []
    # Only radios stand on sheets: where a mirror meets another sheet, no leg may slip in behind that one.
    stands = (np.ones(len(line), dtype=bool), np.zeros(len(line), dtype=bool))
    for radio_m in (lines.starts_m[line], lines.ends_m[line]):
        crossed, _ = leg_crossings(radio_m, at_m, sheets, footprints=scene.screens.footprints, stands=stands)
        crossed = crossed.pick(crossed.sheet != mirror[crossed.leg])
        weak = scene.screens.of_sheet[crossed.sheet] < 0
        weak_db = scene.obstacles.loss_db[sheets.owner[crossed.sheet[weak]]]
        power = power * ratio_from_db(-np.bincount(crossed.leg[weak], weights=weak_db, minlength=len(line)))
        least_db += _least_bending_db(scene, crossed, (radio_m, at_m), total_m, wave_m)
        blocking.append(_pairs(scene, crossed, own))
        blocked += np.bincount(blocking[-1] // count, minlength=len(line))
        of_own = scene.screens.of_sheet[crossed.sheet] == own[crossed.leg]
        through_own = crossed.leg[of_own & (crossed.sheet != mirror[crossed.leg])]
        blocked[through_own] += MOST_LEG_SCREENS + 1  # through the mirror's own body
    kept = np.flatnonzero((blocked <= MOST_LEG_SCREENS) & (power * ratio_from_db(-least_db) > floor[line]))
    number = np.full(len(line), -1)
    number[kept] = np.arange(len(kept))
    starts_m, ends_m = lines.starts_m[line[kept]], lines.ends_m[line[kept]]
    normal, offset_m = sheets.normal[mirror[kept]], sheets.offset_m[mirror[kept]]
    away_1, away_2 = (np.sum(one * normal, axis=1) - offset_m for one in (starts_m, ends_m))
    planes = np.column_stack([np.sign(away_1)[:, None] * np.column_stack([normal, offset_m]), mirror[kept]])
    # The first leg runs on to the image of the end, the second comes from the image of the start.
    from_m = np.concatenate([starts_m, starts_m - 2.0 * away_1[:, None] * normal])
    to_m = np.concatenate([ends_m - 2.0 * away_2[:, None] * normal, ends_m])
    pairs_of_legs, blocking_of_legs = [], []
    total_m, at_m, own = total_m[kept], at_m[kept], own[kept]
    half_m = total_m.max(initial=0.0) / 2.0
    beside_m = np.where(scene.screens.of_sheet >= 0, graze_reach_m(half_m, half_m, wavelength_m=wave_m), EDGE_M)
    footprints = footprints_of(sheets, beside_m)
    stands = (stands[0][kept], stands[1][kept])
    for end, radio_m in enumerate((starts_m, ends_m)):
        _, missed = leg_crossings(radio_m, at_m, sheets, footprints=footprints, beside_m=beside_m, stands=stands)
        before_m = missed.fraction * lengths_m[end][kept][missed.leg]
        reach_m = graze_reach_m(before_m, total_m[missed.leg] - before_m, wavelength_m=wave_m)
        pair = blocking[end]
        pair = number[pair // count] * count + pair % count
        pair = pair[pair >= 0]
        beside = np.setdiff1d(_pairs(scene, missed.pick(-missed.inside_m <= reach_m), own), pair)
        pairs_of_legs.append(np.concatenate([pair, beside]) + end * len(kept) * count)
        blocking_of_legs.append(np.arange(len(pair) + len(beside)) < len(pair))
    pair, blocks = np.concatenate(pairs_of_legs), np.concatenate(blocking_of_legs)
    legs, leg = np.unique(pair // count, return_inverse=True)
    return Mirrored(
        line=line[kept],
        mirror=mirror[kept],
        power=power[kept],
        elevations_deg=elevation_deg(at_m[:, None] - np.stack([starts_m, ends_m], axis=1)),
        leg_path=legs % max(1, len(kept)),
        legs=lines_between(from_m[legs], to_m[legs], np.concatenate([planes, planes])[legs]),
        near=(leg, pair % count, blocks),
    )


def _pairs(scene: Scene, met: Met, own: IntArray) -> IntArray:
    """Pairs of leg and screen, but for the mirror's own: leg times the number of screens plus screen, each once."""
    screen = scene.screens.of_sheet[met.sheet]
    used = (screen >= 0) & (screen != own[met.leg])
    return np.unique(met.leg[used] * max(1, len(scene.screens)) + screen[used])


def _least_bending_db(
    scene: Scene, crossed: Met, leg_m: tuple[FloatArray, FloatArray], total_m: FloatArray, wave_m: float
) -> FloatArray:
    """What legs lose at least in bending around what blocks them: past the nearest edge of what they cross. [dB]"""
    screened = crossed.pick(scene.screens.of_sheet[crossed.sheet] >= 0)
    along_m = leg_m[1][screened.leg] - leg_m[0][screened.leg]
    length_m = np.maximum(np.linalg.norm(along_m, axis=1), 1e-9)
    square = np.abs(np.sum(along_m * scene.sheets.normal[screened.sheet], axis=1)) / length_m
    before_m = np.maximum(screened.fraction * length_m, 1e-3)
    beyond_m = np.maximum(total_m[screened.leg] - before_m, 1e-3)
    nu = screened.inside_m * square * np.sqrt(2.0 / wave_m * (1.0 / before_m + 1.0 / beyond_m))
    least_db = np.zeros(len(total_m))
    np.maximum.at(least_db, screened.leg, knife_edge_loss_db(nu))
    return least_db
