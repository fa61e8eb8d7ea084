"""What lines go through, by the plain formula: every line against every sheet, one sheet at a time.

The oracle for the kernel: the same rules, and nothing left out for speed.
"""

import numpy as np

from survey.geometry import on_sheet
from survey.geometry.crossings import EDGE_M, SAME_POINT_M


def plain_crossings(starts_m, ends_m, sheets, beside_m):
    """Start, end, sheet, fraction and distance inside the edge of each crossing, and the same of each near miss."""
    met = [(np.zeros(0, dtype=int),) * 3 + (np.zeros(0),) * 2]
    runs = list(met)
    starts_on, ends_on = on_sheet(starts_m, sheets), on_sheet(ends_m, sheets)
    for k in range(len(sheets)):
        side_1, side_2 = (at_m @ sheets.normal[k] - sheets.offset_m[k] for at_m in (starts_m, ends_m))
        inside_1, inside_2 = (at_m @ sheets.edge_normal[k].T - sheets.edge_offset_m[k] for at_m in (starts_m, ends_m))
        free_1, free_2 = ~starts_on[:, k], ~ends_on[:, k]
        for towards in (1.0, -1.0):
            rows = np.flatnonzero(free_1 & (towards * side_1 > 0))
            columns = np.flatnonzero(free_2 & (towards * side_2 < 0))
            if len(rows) and len(columns):
                row, column, fraction, inside = _through(
                    np.abs(side_1[rows]), np.abs(side_2[columns]), inside_1[rows], inside_2[columns], beside_m[k]
                )
                met.append((rows[row], columns[column], np.full(len(row), k), fraction, inside))
        rows = np.flatnonzero(free_1 & (np.abs(side_1) <= EDGE_M))
        columns = np.flatnonzero(free_2 & (np.abs(side_2) <= EDGE_M))
        if len(rows) and len(columns):
            row, column, enter, leave = _within(inside_1[rows], inside_2[columns])
            runs.append((rows[row], columns[column], np.full(len(row), k), enter, leave))
    met = [np.concatenate(column) for column in zip(*met, strict=True)]
    runs = [np.concatenate(column) for column in zip(*runs, strict=True)]
    missed = met[4] < -EDGE_M
    return _each_once(starts_m, ends_m, sheets, [one[~missed] for one in met], runs), [one[missed] for one in met]


def _each_once(starts_m, ends_m, sheets, met, runs):
    """Crossings and runs within a plane, without those that another one of the same obstacle stands for."""
    start, end, sheet, enter, leave = runs
    every = [
        np.concatenate(pair)
        for pair in zip(met, (start, end, sheet, (enter + leave) / 2.0, np.zeros(len(start))), strict=True)
    ]
    at_edge = np.flatnonzero(met[4] <= SAME_POINT_M)
    unsure = np.concatenate([at_edge, np.arange(len(met[0]), len(every[0]))])
    if not len(unsure):
        return every
    lengths_m = np.linalg.norm(ends_m[every[1][unsure]] - starts_m[every[0][unsure]], axis=1)
    line = every[0][unsure] * len(ends_m) + every[1][unsure]
    once = np.ones(len(every[0]), dtype=bool)
    once[unsure] = ~_repeats(
        line * (sheets.owner.max() + 1) + sheets.owner[every[2][unsure]],
        np.concatenate([met[3][at_edge], enter]) * lengths_m,
        np.concatenate([met[3][at_edge], leave]) * lengths_m,
        np.arange(len(unsure)) >= len(at_edge),
    )
    return [one[once] for one in every]


def _through(away_1, away_2, inside_1, inside_2, beside_m):
    """Rows and columns of the lines that go through a sheet or just miss it, where, and how far inside its edge."""
    through = np.ones((len(away_1), len(away_2)), dtype=bool)
    weighed_1 = np.empty(through.shape)
    weighed_2 = np.empty(through.shape)
    for edge in range(inside_1.shape[1]):
        np.multiply.outer(inside_1[:, edge] + beside_m, away_2, out=weighed_1)
        np.multiply.outer(away_1, inside_2[:, edge] + beside_m, out=weighed_2)
        weighed_1 += weighed_2
        through &= weighed_1 >= 0
    row, column = np.nonzero(through)
    leaves_the_plane = (away_1[row] > EDGE_M) | (away_2[column] > EDGE_M)  # the others run within it
    row, column = row[leaves_the_plane], column[leaves_the_plane]
    share = away_1[row] / (away_1[row] + away_2[column])
    inside_m = np.min(inside_1[row] + share[:, None] * (inside_2[column] - inside_1[row]), axis=1, initial=np.inf)
    return row, column, share, inside_m


def _within(inside_1, inside_2):
    """Rows and columns of the lines that run over a sheet within its plane, and where they meet and leave it."""
    one, other = inside_1[:, None] + EDGE_M, inside_2[None] + EDGE_M
    with np.errstate(divide="ignore", invalid="ignore"):
        reached = one / (one - other)
    enter = np.max(np.where(other > one, reached, -np.inf), axis=2, initial=0.0)
    leave = np.min(np.where(other < one, reached, np.inf), axis=2, initial=1.0)
    beside = np.any((one < 0) & (other < 0), axis=2)
    row, column = np.nonzero((enter <= leave) & ~beside)
    return row, column, enter[row, column], leave[row, column]


def _repeats(group, first_m, last_m, is_run):
    """Which of the crossings at an edge, and of the runs within a sheet, another one of their group stands for.

    A group is what one line has with one obstacle. Points nearer than `SAME_POINT_M` are one. Runs that touch count
    once, and not at all where a point lies on them: a line along the top of a box meets its two side faces.
    """
    order = np.lexsort((is_run, first_m, group))
    group, first_m, last_m, is_run = group[order], first_m[order], last_m[order], is_run[order]
    repeats = np.zeros(len(order), dtype=bool)
    points = np.flatnonzero(~is_run)
    repeats[points[1:]] = (np.diff(group[points]) == 0) & (np.diff(first_m[points]) <= SAME_POINT_M)
    if np.any(is_run):
        number = np.unique(group, return_inverse=True)[1]
        apart_m = float(last_m.max()) + 1.0
        reached_m = np.maximum.accumulate(last_m + number * apart_m)
        opens = np.append(
            True, (np.diff(number) > 0) | (first_m[1:] + number[1:] * apart_m > reached_m[:-1] + SAME_POINT_M)
        )
        cluster = np.cumsum(opens) - 1
        has_point = np.bincount(cluster, weights=~is_run) > 0
        runs = np.flatnonzero(is_run)
        later = np.append(False, np.diff(cluster[runs]) == 0)
        repeats[runs] = later | has_point[cluster[runs]]
    result = np.empty(len(order), dtype=bool)
    result[order] = repeats
    return result
