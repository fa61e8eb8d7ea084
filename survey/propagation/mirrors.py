"""Mirror paths: one reflection off a flat sheet of metal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.geometry import Crossings, Lines, lines_between, segment_crossings_and_misses
from survey.geometry.crossings import EDGE_M, ON_SHEET_M
from survey.propagation.diffraction import knife_edge_loss_db
from survey.propagation.slight import graze_reach_m, smooth
from survey.scene import Scene
from survey.units import ratio_from_db, wavelength_m

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MIRROR_LOSS_DB = 20.0
"""A sheet that costs this much to go through is taken as metal, and reflects all that meets it."""
MOST_EDGE_LOSS_DB = 20.0
"""A mirror path that passes so far beside its sheet is none."""
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
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    loss_db = scene.obstacles.loss_db[scene.sheets.owner]
    starts_m, ends_m, length_m = lines.starts_m[chosen], lines.ends_m[chosen], lines.length_m[chosen]
    sheets = scene.sheets
    parts: list[Mirrored] = []
    for k in np.flatnonzero((loss_db >= MIRROR_LOSS_DB) & (scene.screens.of_sheet >= 0)).tolist():
        away_1 = starts_m @ sheets.normal[k] - sheets.offset_m[k]
        away_2 = ends_m @ sheets.normal[k] - sheets.offset_m[k]
        before = (away_1 * away_2 > 0) & (np.minimum(abs(away_1), abs(away_2)) > ON_SHEET_M)
        body = int(scene.screens.of_sheet[k])
        if scene.screens.is_box[body]:  # a face reflects on its outside
            middle_m = float(scene.screens.corners_m[body].mean(axis=0) @ sheets.normal[k] - sheets.offset_m[k])
            before &= away_1 * middle_m < 0
        path = np.flatnonzero(before)
        image_m = starts_m[path] - 2.0 * away_1[path, None] * sheets.normal[k]
        along_m = ends_m[path] - image_m
        total_m = np.linalg.norm(along_m, axis=1)
        share = away_1[path] / (away_1[path] + away_2[path])
        at_m = image_m + share[:, None] * along_m
        inside_m = at_m @ sheets.edge_normal[k].T - sheets.edge_offset_m[k]
        slope = (along_m / total_m[:, None]) @ sheets.edge_normal[k].T
        scale = np.sqrt(2.0 / (wave_m * total_m * share * (1.0 - share)))
        nu = -inside_m * np.sqrt(np.maximum(1.0 - slope**2, 0.0)) * scale[:, None]
        distinct = np.unique(
            np.column_stack([sheets.edge_normal[k], sheets.edge_offset_m[k]]), axis=0, return_index=True
        )[1]
        edges_db = knife_edge_loss_db(nu[:, distinct]).sum(axis=1)
        good = np.flatnonzero(edges_db < MOST_EDGE_LOSS_DB)
        if not len(good):
            continue
        direct_m = length_m[path[good]]
        apart = smooth(2.0 * np.sqrt((total_m[good] - direct_m) / wave_m) / OWN_WAY_NU)
        fade = 1.0 - (edges_db[good] / MOST_EDGE_LOSS_DB) ** 4
        power = ratio_from_db(-edges_db[good]) * fade * apart * (direct_m / total_m[good]) ** 2
        worth = power > floor[chosen[path[good]]]
        good, power = good[worth], power[worth]
        if not len(good):
            continue
        found = _with_legs(scene, lines, (chosen[path[good]], power), (k, at_m[good]), floor)
        parts.append(found)
    return _joined(parts)


def _with_legs(
    scene: Scene, lines: Lines, paths: tuple[IntArray, FloatArray], met: tuple[int, FloatArray], floor: FloatArray
) -> Mirrored:
    """Paths by way of a sheet, met in some points, with what stands in their legs; some with much of it left out."""
    sheets, count, (mirror, at_m), (line, power) = scene.sheets, max(1, len(scene.screens)), met, paths
    wave_m = float(wavelength_m(scene.plan.radio.frequency_mhz))
    lengths_m = [np.linalg.norm(ends_m[line] - at_m, axis=1) for ends_m in (lines.starts_m, lines.ends_m)]
    total_m = lengths_m[0] + lengths_m[1]
    widest_m = graze_reach_m(total_m.max() / 2.0, total_m.max() / 2.0, wavelength_m=wave_m)
    beside_m = np.where(scene.screens.of_sheet >= 0, widest_m, EDGE_M)
    own = int(scene.screens.of_sheet[mirror])
    blocked = np.zeros(len(line), dtype=np.int64)
    least_db = np.zeros(len(line))
    rows: list[tuple[IntArray, IntArray]] = []
    for ends_m, leg_m in zip((lines.starts_m[line], lines.ends_m[line]), lengths_m, strict=True):
        crossed, missed = segment_crossings_and_misses(ends_m, at_m, sheets, beside_m)
        before_m = missed.fraction * leg_m[missed.start]
        reach_m = graze_reach_m(before_m, total_m[missed.start] - before_m, wavelength_m=wave_m)
        missed = missed.pick(-missed.inside_m <= reach_m)
        weak = scene.screens.of_sheet[crossed.sheet] < 0
        weak_db = scene.obstacles.loss_db[sheets.owner[crossed.sheet[weak]]]
        power = power * ratio_from_db(-np.bincount(crossed.start[weak], weights=weak_db, minlength=len(line)))
        least_db += _least_bending_db(scene, crossed, (ends_m, at_m), total_m, wave_m)
        pairs = []
        for found in (crossed, missed):
            screen = scene.screens.of_sheet[found.sheet]
            used = (screen >= 0) & (screen != own)
            pairs.append(np.unique(found.start[used] * count + screen[used]))
        rows.append((pairs[0], np.setdiff1d(pairs[1], pairs[0])))
        blocked += np.bincount(pairs[0] // count, minlength=len(line))
        through_own = crossed.start[(scene.screens.of_sheet[crossed.sheet] == own) & (crossed.sheet != mirror)]
        blocked[through_own] += MOST_LEG_SCREENS + 1  # through the mirror's own body
    kept = (blocked <= MOST_LEG_SCREENS) & (power * ratio_from_db(-least_db) > floor[line])
    number = np.cumsum(kept) - 1
    normal, offset_m = sheets.normal[mirror], sheets.offset_m[mirror]
    real = np.sign(lines.starts_m[line[kept]] @ normal - offset_m)[:, None]
    planes = np.column_stack([real * np.append(normal, offset_m), np.full(len(real), float(mirror))])
    starts, ends, pairs_of_legs, blocking_of_legs = [], [], [], []
    for first, (blocking, beside) in enumerate(rows):
        at = [lines.starts_m[line[kept]], lines.ends_m[line[kept]]]
        at[1 - first] = at[1 - first] - 2.0 * (at[1 - first] @ normal - offset_m)[:, None] * normal
        starts.append(at[0])
        ends.append(at[1])
        pair = np.concatenate([blocking, beside])
        use = kept[pair // count]
        leg = number[pair[use] // count] + first * int(kept.sum())
        pairs_of_legs.append(leg * count + pair[use] % count)
        blocking_of_legs.append((np.arange(len(pair)) < len(blocking))[use])
    pair, blocks = np.concatenate(pairs_of_legs), np.concatenate(blocking_of_legs)
    legs, leg = np.unique(pair // count, return_inverse=True)
    towards_m = at_m[kept, None] - np.stack([lines.starts_m[line[kept]], lines.ends_m[line[kept]]], axis=1)
    return Mirrored(
        line=line[kept],
        power=power[kept],
        elevations_deg=np.rad2deg(np.arctan2(towards_m[..., 2], np.hypot(towards_m[..., 0], towards_m[..., 1]))),
        leg_path=legs % max(1, int(kept.sum())),
        legs=lines_between(
            np.concatenate(starts)[legs], np.concatenate(ends)[legs], np.concatenate([planes] * 2)[legs]
        ),
        near=(leg, pair % count, blocks),
    )


def _least_bending_db(
    scene: Scene, crossed: Crossings, leg_m: tuple[FloatArray, FloatArray], total_m: FloatArray, wave_m: float
) -> FloatArray:
    """What legs lose at least in bending around what blocks them: past the nearest edge of what they cross. [dB]"""
    screened = crossed.pick(scene.screens.of_sheet[crossed.sheet] >= 0)
    along_m = leg_m[1][screened.start] - leg_m[0][screened.start]
    length_m = np.maximum(np.linalg.norm(along_m, axis=1), 1e-9)
    square = np.abs(np.sum(along_m * scene.sheets.normal[screened.sheet], axis=1)) / length_m
    before_m = np.maximum(screened.fraction * length_m, 1e-3)
    beyond_m = np.maximum(total_m[screened.start] - before_m, 1e-3)
    nu = screened.inside_m * square * np.sqrt(2.0 / wave_m * (1.0 / before_m + 1.0 / beyond_m))
    least_db = np.zeros(len(total_m))
    np.maximum.at(least_db, screened.start, knife_edge_loss_db(nu))
    return least_db


def _joined(parts: list[Mirrored]) -> Mirrored:
    """Paths by way of several sheets as one."""
    nothing = np.zeros(0, dtype=np.int64)
    paths = np.cumsum([0, *(len(part.line) for part in parts)])
    legs = np.cumsum([0, *(len(part.leg_path) for part in parts)])
    return Mirrored(
        line=np.concatenate([nothing, *(part.line for part in parts)]),
        power=np.concatenate([np.zeros(0), *(part.power for part in parts)]),
        elevations_deg=np.concatenate([np.zeros((0, 2)), *(part.elevations_deg for part in parts)]),
        leg_path=np.concatenate([nothing, *(part.leg_path + at for part, at in zip(parts, paths, strict=False))]),
        legs=lines_between(
            np.concatenate([np.zeros((0, 3)), *(part.legs.starts_m for part in parts)]),
            np.concatenate([np.zeros((0, 3)), *(part.legs.ends_m for part in parts)]),
            np.concatenate([np.zeros((0, 5)), *(part.legs.mirror for part in parts if part.legs.mirror is not None)]),
        ),
        near=(
            np.concatenate([nothing, *(part.near[0] + at for part, at in zip(parts, legs, strict=False))]),
            np.concatenate([nothing, *(part.near[1] for part in parts)]),
            np.concatenate([np.zeros(0, dtype=bool), *(part.near[2] for part in parts)]),
        ),
    )
