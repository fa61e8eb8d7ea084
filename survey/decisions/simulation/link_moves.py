"""How much a link turns on where a single piece of the site stands, by moving each piece a little."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from survey.base.arrays import IntArray
from survey.budget import Links, links_between
from survey.scene import Pieces, pieces_of

STEP_M = 0.10
"""How far a piece is moved either way: what a tape measure leaves, an assumption. [m]"""
MIN_MOVE_DB = 3.0
"""Moves of a margin by less than this are not told: half the usual shadowing, a judgement. [dB]"""
BESIDE_M = 10.0
"""Pieces farther away than this from all that lies between the ends are not tried: a judgement. [m]"""
MAX_PIECES = 60
"""How many pieces are tried, those that lie nearest: for time, a judgement."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkMove:
    """What one piece of the site does to a link where it stands `STEP_M` elsewhere.

    Attributes
    ----------
    name, direction : str
        The piece, and whether its position or its height is moved.
    step_m : float
        How far, either way. [m]
    margin_db : float
        By how much the margin changes, the greater of both ways; negative where it falls. [dB]
    state : int
        What the link then is: index into `budget.STATES`, the one that differs from today's if one of both does.
    """

    name: str
    direction: str
    step_m: float
    margin_db: float
    state: int


def link_moves(links: Links, pairs: Sequence[tuple[int, int]]) -> list[tuple[LinkMove, ...]]:
    """Move each piece of a site that lies near some links, and see what becomes of them.

    Parameters
    ----------
    links : Links
        Links of a site as its plan has it.
    pairs : sequence of (int, int)
        Which of them: inverter and gateway.

    Returns
    -------
    list of tuple of LinkMove
        For each link what moves its margin by `MIN_MOVE_DB` or changes its state, the greatest first. A piece that the
        plan says is exact is not moved.
    """
    if not pairs:
        return []
    pieces = pieces_of(links.scene)
    rows, columns = (np.unique([pair[k] for pair in pairs]) for k in (0, 1))
    inverters, gateways = links.inverters.pick(rows), links.gateways.pick(columns)
    of_inverters = pieces.of_ends(inverters, end="inverter")
    of_gateways = pieces.of_ends(gateways, end="gateway")
    at = [(int(np.searchsorted(rows, i)), int(np.searchsorted(columns, j))) for i, j in pairs]
    before_db = np.array([links.margin_db[i, j] for i, j in pairs])
    before = [int(links.state[i, j]) for i, j in pairs]
    found: list[list[LinkMove]] = [[] for _ in pairs]
    ends = {int(one) for one in (*of_inverters.ravel(), *of_gateways.ravel()) if one >= 0}
    for piece in _near(pieces, links, rows, columns, ends):
        for axis in np.flatnonzero(pieces.spread_m[piece]).tolist():
            tried = []
            for sign in (1.0, -1.0):
                deviates = np.zeros((len(pieces), 3))
                deviates[piece, axis] = sign * STEP_M / pieces.spread_m[piece, axis]
                moved = links_between(
                    pieces.moved(deviates),
                    pieces.moved_ends(inverters, of_inverters, deviates),
                    pieces.moved_ends(gateways, of_gateways, deviates),
                )
                tried.append(([float(moved.margin_db[i, j]) for i, j in at], [int(moved.state[i, j]) for i, j in at]))
            for k, moves in enumerate(found):
                changes_db = [margins_db[k] - float(before_db[k]) for margins_db, _ in tried]
                states = [states[k] for _, states in tried]
                largest = max((0, 1), key=lambda way: (states[way] != before[k], abs(changes_db[way])))
                if abs(changes_db[largest]) >= MIN_MOVE_DB or states[largest] != before[k]:
                    moves.append(
                        LinkMove(
                            name=pieces.names[piece],
                            direction=pieces.directions[piece][axis],
                            step_m=STEP_M,
                            margin_db=changes_db[largest],
                            state=states[largest],
                        )
                    )
    return [tuple(sorted(moves, key=lambda move: -abs(move.margin_db))) for moves in found]


def _near(pieces: Pieces, links: Links, rows: IntArray, columns: IntArray, ends: set[int]) -> list[int]:
    """The pieces of the ends, and those that lie near what is between them, the nearest first."""
    at_m = np.concatenate([links.inverters.at_m[rows], links.gateways.at_m[columns]])[:, :2]
    low_m, high_m = at_m.min(axis=0), at_m.max(axis=0)
    apart_m: dict[int, float] = dict.fromkeys(ends, -1.0)
    for k, one in enumerate(links.scene.obstacles.entries):
        corners_m = np.concatenate(one.footprints_m())
        gap_m = np.maximum(np.maximum(corners_m.min(axis=0) - high_m, low_m - corners_m.max(axis=0)), 0.0)
        for piece in pieces.obstacle[k].tolist():
            if piece >= 0:
                apart_m[piece] = min(apart_m.get(piece, np.inf), float(np.hypot(*gap_m)))
    near = [piece for piece in sorted(apart_m, key=lambda piece: (apart_m[piece], piece)) if apart_m[piece] <= BESIDE_M]
    return near[:MAX_PIECES]
