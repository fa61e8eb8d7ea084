"""What a plan says of a drawing: the `[[drawing]]` table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import Field, dataclass
from typing import Any

from survey.inputs.fields import Choice, Entry, Number, Numbers, key
from survey.inputs.plan.kinds import ANY_TEXT, BEARING, NAME

UNITS_M = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}
"""Metres in each unit of a drawing or a list; inch and foot are the international ones (exact since 1959)."""
ENDINGS = (".dxf", ".geojson", ".csv")
FIGURE = Number(-1e10, 1e10)
"""A coordinate in a file's own figures: millimetres of a national grid are below this."""


@dataclass(frozen=True, kw_only=True)
class Drawing(Entry):
    """A file with outlines, lines or points, and how its figures become the plan's."""

    name: str = key(NAME)
    file: str = key(NAME)
    unit: str | None = key(Choice(tuple(UNITS_M)), default=None)
    zero: tuple[float, float] | None = key(Numbers(FIGURE, least=2, most=2, axes=("x", "y")), default=None)
    up_deg: float = key(BEARING, default=0.0)
    note: str = key(ANY_TEXT, default="")

    @property
    def ending(self) -> str:
        """What kind of file it is: one of `ENDINGS`, or nothing."""
        return next((ending for ending in ENDINGS if self.file.casefold().endswith(ending)), "")

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A name that cannot be referred to, a file of another kind, keys that the kind of file has no use for."""
        if "/" in self.name:
            yield "name", 'holds a "/", which separates a drawing from its layer; write the name without it'
        if not self.ending:
            yield "file", f'"{self.file}" is not a drawing file name; write a file that ends in {_listed(ENDINGS)}'
        if self.ending == ".csv" and self.unit is not None:
            yield "unit", "means nothing for a list: each column names its unit (x_mm, left_ft); leave it out"
        if self.ending == ".geojson":
            fixed = "GeoJSON is in degrees; zero_lat_deg, zero_lon_deg and plan_north_deg in [site] place it"
            given = {"unit": self.unit is not None, "zero": self.zero is not None, "up_deg": self.up_deg != 0}
            yield from ((name, f"means nothing here: {fixed}; leave it out") for name, there in given.items() if there)

    @classmethod
    def default_of(cls, one: Field[Any], given: Mapping[str, object]) -> object:
        """No default turns a GeoJSON file."""
        file = given.get("file")
        if one.name == "up_deg" and isinstance(file, str) and file.casefold().endswith(".geojson"):
            return None
        return super().default_of(one, given)


def _listed(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"
