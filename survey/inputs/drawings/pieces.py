"""What a drawing holds, whatever kind of file it is: pieces by layer, and files that are small enough to read."""

from __future__ import annotations

import stat
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.errors import EntryError, why_unread

OUTLINE, LINE, POINT, CIRCLE = "outline", "line", "point", "circle"
MAX_BYTES = 50_000_000
"""What is larger is no drawing of a site: it would take minutes to read."""
MAX_PIECES = 1_000_000
"""More shapes than any drawing of a site has: a judgement."""
SAME_PLACE_M = 0.001
"""Points nearer to each other are one: what rounding in a file leaves between them. [m]"""


@dataclass(frozen=True, slots=True)
class Piece:
    """One outline, line, point or circle.

    Attributes
    ----------
    kind : str
        `OUTLINE` (closed), `LINE`, `POINT`, or `CIRCLE` (its centre).
    points : ndarray of float, shape (n, 2)
        In the file's own figures; the first corner of an outline is not repeated at its end.
    problem : str
        Why it cannot be used, where it cannot.
    """

    kind: str
    points: FloatArray
    problem: str = ""


@dataclass
class Pieces:
    """All pieces of a file.

    Attributes
    ----------
    layer : str
        How this kind of file calls what pieces are found by: ``layer`` or ``feature``.
    by_layer : dict of str to list of Piece
        In the file's order.
    others : Counter
        What else there is on each layer, by (layer, what it is called).
    unit : str or None
        The unit that the file itself names.
    unit_problem : str
        What to say of the file's unit where the plan gives none and `unit` is None.
    """

    layer: str
    by_layer: dict[str, list[Piece]] = field(default_factory=dict)
    others: Counter[tuple[str, str]] = field(default_factory=Counter)
    unit: str | None = None
    unit_problem: str = ""
    count: int = 0

    def add(self, layer: str, kind: str, points: Iterable[Iterable[float]], problem: str = "") -> None:
        """Keep a piece."""
        array = np.array([tuple(point)[:2] for point in points], dtype=np.float64).reshape(-1, 2)
        if not np.isfinite(array).all():
            problem = "holds figures that are not numbers to calculate with"
        self.by_layer.setdefault(layer, []).append(Piece(kind, array, problem))
        self.count += 1
        if self.count > MAX_PIECES:
            raise EntryError([("file", f"holds more than {MAX_PIECES} pieces; leave only those of the site in it")])


def tidied(piece: Piece) -> Piece:
    """Return a piece without points that stand twice in a row; a line that ends where it begins is an outline.

    Parameters
    ----------
    piece : Piece
        In metres.
    """
    kind, points = piece.kind, piece.points
    if kind not in (LINE, OUTLINE) or not len(points):
        return piece
    kept = [0]  # from the last that is kept, so that a curve of many short pieces is not lost
    for i in range(1, len(points)):
        if _apart(points[i], points[kept[-1]]):
            kept.append(i)
    points = points[kept]
    meets = len(points) > 1 and not _apart(points[0], points[-1])
    if meets and len(points) > 3:  # noqa: PLR2004  a triangle and its start
        kind = OUTLINE
    if meets and kind == OUTLINE:
        points = points[:-1]
    least = 3 if kind == OUTLINE else 2
    short = f"has {len(points)} different points; {least} are needed" if len(points) < least else ""
    return Piece(kind, points, piece.problem or short)


def _apart(one: FloatArray, other: FloatArray) -> bool:
    return bool(np.hypot(*(one - other)) > SAME_PLACE_M)


def check_file(path: Path) -> None:
    """Refuse a file that cannot be read as a whole.

    Raises
    ------
    EntryError
        For ``file``: it is not there, is not a regular file, is empty or too large.
    """
    try:
        there = path.stat()
    except (OSError, ValueError) as error:
        raise EntryError([("file", f"{path.name}: {why_unread(path, error)}")]) from None
    if stat.S_ISDIR(there.st_mode):
        problem = "is a folder; name the file in it"
    elif not stat.S_ISREG(there.st_mode):
        problem = "is not a regular file"
    elif there.st_size > MAX_BYTES:
        problem = f"has {there.st_size / 1e6:.0f} MB; up to {MAX_BYTES // 1_000_000} are read: leave out other parts"
    elif not there.st_size:
        problem = "is empty"
    else:
        return
    raise EntryError([("file", f"{path.name}: {problem}")])


def file_bytes(path: Path) -> bytes:
    """The whole content of a file that `check_file` lets pass.

    Raises
    ------
    EntryError
        For ``file``.
    """
    check_file(path)
    try:
        return path.read_bytes()
    except OSError as error:
        raise EntryError([("file", f"{path.name}: {why_unread(path, error)}")]) from None
