"""All drawings of a plan: what a reference such as ``"roof plan/WALLS"`` stands for, in the plan's metres."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.earth import Earth
from survey.base.errors import EntryError, TableError, did_you_mean, nearest
from survey.inputs.drawings.dxf import read_dxf
from survey.inputs.drawings.entry import UNITS_M, Drawing
from survey.inputs.drawings.geojson import read_geojson
from survey.inputs.drawings.pieces import CIRCLE, LINE, OUTLINE, POINT, Piece, Pieces, check_file, tidied
from survey.inputs.drawings.placing import FAR, far, turned

if TYPE_CHECKING:  # it brings csv
    from survey.inputs.drawings.positions import Position

READERS: dict[str, Callable[[Path], Pieces]] = {".dxf": read_dxf, ".geojson": read_geojson}
MAX_NAMED = 8
"""So many layers are named in a message."""
WANTED = {OUTLINE: (OUTLINE, CIRCLE), LINE: (LINE, OUTLINE), POINT: (POINT, CIRCLE)}
"""What may serve where an outline, a line or points are asked for; a circle as an outline is refused as curved."""


class Drawings:
    """What the drawings of a plan hold, read when first asked for.

    Parameters
    ----------
    folder : Path
        Where the files lie.
    entries : iterable of (str, Drawing)
        The `[[drawing]]` entries, each with its place in the plan.
    earth : Earth or None
        Where the plan is on the earth, if it says so.
    known : iterable of str
        Names of all drawings written, those with faults of their own included.
    """

    def __init__(
        self, folder: Path, entries: Iterable[tuple[str, Drawing]], *, earth: Earth | None, known: Iterable[str] = ()
    ) -> None:
        self._folder, self._earth = folder, earth
        self._entries = list(entries)
        self._by_name = {entry.name: entry for _, entry in self._entries}
        self._known = {*self._by_name, *known}
        self._read: dict[str, Pieces | EntryError] = {}
        self._placed: dict[tuple[str, str], list[Piece]] = {}
        self._lists: dict[str, list[Position]] = {}

    @property
    def files(self) -> tuple[str, ...]:
        """Names of the files of all drawings, and of the lists read so far."""
        lists = (self._by_name[name].file if name in self._by_name else name for name in self._lists)
        return tuple(dict.fromkeys([*(entry.file for _, entry in self._entries), *lists]))

    def faults(self) -> Iterator[tuple[str, str, str]]:
        """What is wrong with the files themselves: place, key and problem."""
        for place, entry in self._entries:
            try:
                if entry.ending == ".csv":
                    check_file(self._folder / entry.file)
                else:
                    self._pieces(entry)
            except EntryError as error:
                for key, problem in error.problems:
                    yield place, key, problem

    def outline(self, reference: str) -> FloatArray:
        """Return the corners of an outline.

        Parameters
        ----------
        reference : str
            Drawing and layer or feature, ``"roof plan/WALLS"``; with several on it ``"roof plan/WALLS/2"``.

        Returns
        -------
        ndarray of float, shape (n, 2)
            In the order drawn, either way round, the first corner not repeated. [m]

        Raises
        ------
        EntryError
            For ``from``: no such drawing, layer or outline, several of them, curved pieces, courtyards.
        """
        piece = self._one(reference, WANTED[OUTLINE])
        if piece.kind == CIRCLE:
            raise EntryError([("from", f'"{reference}" is a circle; write centre and across_m in place of from')])
        return piece.points

    def line(self, reference: str) -> FloatArray:
        """Return the points of a line; of an outline its corners and the first one again.

        Returns
        -------
        ndarray of float, shape (n, 2)
            In the order drawn. [m]

        Raises
        ------
        EntryError
            For ``from``.
        """
        piece = self._one(reference, WANTED[LINE])
        return np.concatenate([piece.points, piece.points[:1]]) if piece.kind == OUTLINE else piece.points

    def is_outline(self, reference: str) -> bool:
        """Return whether a reference to a line or an outline names an outline.

        Raises
        ------
        EntryError
            For ``from``.
        """
        return self._one(reference, WANTED[LINE]).kind == OUTLINE

    def points(self, reference: str) -> tuple[str, FloatArray]:
        """Return the points of a layer, or of all features of a name, or one of them.

        Returns
        -------
        str
            Name of the layer or feature.
        ndarray of float, shape (n, 2)
            In the file's order. [m]

        Raises
        ------
        EntryError
            For ``from``.
        """
        layer, pieces = self._several(reference, WANTED[POINT])
        return layer, np.concatenate([_sound(reference, piece).points for piece in pieces])

    def is_list(self, reference: str) -> bool:
        """Return whether a reference names a CSV file or a drawing of one."""
        entry = self._by_name.get(reference)
        return (
            entry.ending == ".csv" if entry else reference not in self._known and reference.casefold().endswith(".csv")
        )

    def positions(self, reference: str) -> tuple[str, list[Position]]:
        """Return the rows of a list, and what its file is called.

        Parameters
        ----------
        reference : str
            A CSV file beside the plan, or a drawing of one.

        Raises
        ------
        EntryError
            For ``from``: with every fault of the file.
        """
        from survey.inputs.drawings.positions import read_positions  # noqa: PLC0415  only where a plan has a list

        entry = self._by_name.get(reference)
        file = entry.file if entry else reference
        if reference not in self._lists:
            try:
                self._lists[reference] = read_positions(
                    self._folder / file, file=file, earth=self._earth, drawing=entry
                )
            except TableError as error:
                raise EntryError([("from", str(fault)) for fault in error.faults]) from None
            except EntryError as error:
                raise EntryError([("from", problem) for _, problem in error.problems]) from None
        return file, self._lists[reference]

    def _one(self, reference: str, kinds: tuple[str, ...]) -> Piece:
        """The only piece that a reference can mean."""
        _, pieces = self._several(reference, kinds)
        if len(pieces) > 1:
            many = f'"{reference}" has {len(pieces)} {_plural(kinds[0])}'
            which = f'"{reference}/1" to "{reference}/{len(pieces)}"'
            raise EntryError([("from", f"{many}; write {which}, in the file's order")])
        return _sound(reference, pieces[0])

    def _several(self, reference: str, kinds: tuple[str, ...]) -> tuple[str, list[Piece]]:
        """The pieces of some kinds that a reference can mean, and the layer that they are on."""
        entry, rest = self._entry(reference)
        try:
            pieces = self._pieces(entry)
        except EntryError:
            raise EntryError([("from", f'"{entry.name}" cannot be used: see its [[drawing]]')]) from None
        what, layers = pieces.layer, [*dict.fromkeys([*pieces.by_layer, *(layer for layer, _ in pieces.others)])]
        layer, number = _found(rest, layers)
        if layer is None:
            named = [one for one in layers if one]
            near = nearest(rest, named)
            others = f"; its {what}s are {_some(named)}" if named else ""
            hint = f'; did you mean "{near}"?' if near and rest else others
            said = f'has no {what} "{rest}"' if rest else f'needs a {what}: write "{entry.name}/{what.upper()}"'
            raise EntryError([("from", f'"{entry.name}" {said}{hint}')])
        on_it = self._layer(entry, pieces, layer)
        fitting = [piece for piece in on_it if piece.kind in kinds]
        if not fitting:
            has = Counter(piece.kind for piece in on_it)
            has.update({kind: n for (name, kind), n in pieces.others.items() if name == layer})
            there = ", ".join(f"{n} {_plural(kind) if n > 1 else kind}" for kind, n in has.items())
            closed = (
                "; close its lines to one polyline in the drawing program" if kinds[0] == OUTLINE and has[LINE] else ""
            )
            is_block = kinds[0] != POINT and has[POINT] and what == "layer"  # only a DXF has blocks
            inside = "; what is inside a block is not read, so explode it" if is_block else ""
            raise EntryError([("from", f'"{entry.name}/{layer}" has no {kinds[0]}; it has {there}{closed or inside}')])
        if number is None:
            return layer, fitting
        if not 1 <= number <= len(fitting):
            known = f"/1 to /{len(fitting)}" if len(fitting) > 1 else "one"
            raise EntryError([("from", f'"{reference}": there is no {kinds[0]} {number}; there is {known}')])
        return layer, [fitting[number - 1]]

    def _entry(self, reference: str) -> tuple[Drawing, str]:
        """The drawing that a reference begins with, and the rest of it."""
        name, _, rest = reference.partition("/")
        name, rest = name.strip(), rest.strip()
        entry = self._by_name.get(name)
        if entry is None and name in self._known:
            raise EntryError([("from", f'"{name}" cannot be used: see its [[drawing]]')])
        if entry is None:
            near = did_you_mean(name, self._by_name)
            add = near or '; write a [[drawing]] with that name and its file, then from = "NAME/LAYER"'
            raise EntryError([("from", f'no [[drawing]] is named "{name}"{add}')])
        if entry.ending == ".csv":
            problem = f'"{name}" is a list of positions; outlines and lines come from .dxf or .geojson'
            raise EntryError([("from", problem)])
        return entry, rest

    def _pieces(self, entry: Drawing) -> Pieces:
        """What a drawing's file holds, if it can be placed in the plan at all."""
        if entry.name not in self._read:
            try:
                self._read[entry.name] = self._placeable(entry)
            except EntryError as error:
                self._read[entry.name] = error
        found = self._read[entry.name]
        if isinstance(found, EntryError):
            raise found
        return found

    def _placeable(self, entry: Drawing) -> Pieces:
        """What a file holds, where its figures can be turned into the plan's."""
        pieces = READERS[entry.ending](self._folder / entry.file)
        if entry.ending == ".geojson" and self._earth is None:
            write = "write zero_lat_deg and zero_lon_deg in [site], where the plan's zero is on the earth"
            raise EntryError([("file", f"{entry.file}: is in degrees; {write}")])
        if entry.ending == ".dxf" and (entry.unit or pieces.unit) is None:
            raise EntryError([("unit", pieces.unit_problem)])
        return pieces

    def _layer(self, entry: Drawing, pieces: Pieces, layer: str) -> list[Piece]:
        """The pieces on a layer, in the plan's metres."""
        at = entry.name, layer
        if at not in self._placed:
            self._placed[at] = [self._in_plan(entry, pieces, piece) for piece in pieces.by_layer.get(layer, ())]
        return self._placed[at]

    def _in_plan(self, entry: Drawing, pieces: Pieces, piece: Piece) -> Piece:
        if not np.isfinite(piece.points).all():
            return piece
        if entry.ending == ".geojson":
            assert self._earth is not None
            placed, problem = self._earth.plan_m(piece.points), FAR
        else:
            unit_m = UNITS_M[entry.unit or pieces.unit or "m"]
            placed = turned((piece.points - np.array(entry.zero or (0.0, 0.0))) * unit_m, entry.up_deg)
            problem = (
                f"is more than 100 km from the plan's zero (unit {entry.unit or pieces.unit}); write zero = [x, y] in "
                f"[[drawing]] \"{entry.name}\", the plan's zero in the file's own figures"
            )
        return tidied(replace(piece, points=placed, problem=piece.problem or (problem if far(placed).any() else "")))


def _found(rest: str, layers: list[str]) -> tuple[str | None, int | None]:
    """The layer that the rest of a reference names, and the number after it; layers in any case where that is clear."""
    name, slash, number = rest.rpartition("/")
    tries: list[tuple[str, int | None]] = [(rest, None)]
    if slash and number.strip().isdecimal() and len(number) < 8:  # noqa: PLR2004  more pieces than are read
        tries.append((name.strip(), int(number)))
    for wanted, which in tries:
        alike = [layer for layer in layers if layer.casefold() == wanted.casefold()]
        if wanted and (wanted in layers or len(alike) == 1):
            return (wanted if wanted in layers else alike[0]), which
    return None, None


def _sound(reference: str, piece: Piece) -> Piece:
    """A piece that can be used."""
    if piece.problem:
        raise EntryError([("from", f'"{reference}" {piece.problem}')])
    return piece


def _some(names: list[str]) -> str:
    shown = ", ".join(f'"{name}"' for name in names[:MAX_NAMED])
    return f"{shown} and {len(names) - MAX_NAMED} more" if len(names) > MAX_NAMED else shown


def _plural(kind: str) -> str:
    return f"{kind}s" if kind.islower() else kind
