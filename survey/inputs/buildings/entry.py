"""What a plan says of a building, a level and an inner wall."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from survey.base.units import COMPASS
from survey.inputs.fields import Choice, Entry, Number, Numbers, Points, Texts, key
from survey.inputs.nested import ByFace, Nesting, Tables
from survey.inputs.plan.kinds import (
    ALONG_A_FACE,
    BEARING,
    COMPASS_WORD,
    DRAWN_WITHIN,
    EXTENT,
    HEIGHT,
    NAME,
    POINT,
    area_faults,
)
from survey.inputs.plan.opening import OPEN, OPENINGS, Opening, place_of, without_on

MIN_PITCH_DEG, MAX_PITCH_DEG = 0.5, 75.0
"""From a fall for water to the steepest church: a judgement. [deg]"""
ROOFS = ("flat", "mono-pitch", "gable", "hip", "saw-tooth", "none")
GLAZING = "glass 6 mm"


@dataclass(frozen=True, kw_only=True)
class Level(Entry):
    """A ceiling or floor right through a building."""

    name: str = key(NAME)
    height_m: float = key(EXTENT)
    material: str = key(NAME)


@dataclass(frozen=True, kw_only=True)
class InnerWall(Nesting):
    """A wall inside a building."""

    name: str = key(NAME)
    material: str = key(NAME)
    parallel_to: str | None = key(NAME, default=None)
    in_m: float | None = key(ALONG_A_FACE, default=None)
    left_m: float | None = key(ALONG_A_FACE, default=None)
    length_m: float | None = key(EXTENT, default=None)
    along: tuple[tuple[float, float], ...] | None = key(Points(POINT, least=2, most=1_000), default=None)
    foot_m: float = key(Number(0.0, 1_000.0), default=0.0)
    height_m: float | None = key(EXTENT, default=None)
    opening: tuple[Opening, ...] = key(OPENINGS, default=None)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Where it stands said twice, by half or not at all; an opening that names a face."""
        if self.along is None and self.parallel_to is None:
            yield "parallel_to", "is missing; write parallel_to and in_m, or along"
        if self.along is not None:
            for name in ("parallel_to", "in_m", "left_m", "length_m"):
                if getattr(self, name) is not None:
                    yield name, "along is given too; write one or the other"
            for position, (start, end) in enumerate(pairwise(self.along), start=1):
                if start == end:
                    yield "along", f"points {position} and {position + 1} are the same; move one"
        elif self.parallel_to is not None and self.in_m is None:
            yield "in_m", "is missing; write how far in from that wall it stands"
        yield from without_on(self.opening)


FORMS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "width_m": ("corner", "centre", "length_m", "width_m", "bearing_deg", "on", "base_m"),
        "sides_m": ("corner", "bearing_deg", "sides_m", "on", "base_m"),
        "corners": ("corners", "on", "base_m"),
        "against": ("against", "depth_m", "length_m", "left_m", "right_m", "base_m"),
        "beside": ("beside", "gap_m", "depth_m", "length_m", "left_m", "right_m", "base_m"),
        "from_": ("from_", "on", "base_m"),
        "across_m": ("centre", "across_m", "on", "base_m"),
    }
)
"""The seven footprints, each by a key that no other has, and the keys about its place that it may have."""
_NEEDED = {
    "width_m": ("length_m", "width_m"),
    "sides_m": ("corner", "sides_m"),
    "against": ("depth_m",),
    "beside": ("gap_m", "depth_m", "length_m"),
    "across_m": ("centre",),
}
_ABOUT_PLACE = tuple(dict.fromkeys(name for names in FORMS.values() for name in names))


@dataclass(frozen=True, kw_only=True)
class Building(Nesting):
    """A building: its footprint, its walls, its roof and what is inside. All its heights are from its own foot."""

    name: str = key(NAME)
    corner: tuple[float, float] | None = key(POINT, default=None)
    centre: tuple[float, float] | None = key(POINT, default=None)
    length_m: float | None = key(EXTENT, default=None)
    width_m: float | None = key(EXTENT, default=None)
    bearing_deg: float | None = key(BEARING, default=None)
    sides_m: tuple[float, ...] | None = key(Numbers(Number(-10_000.0, 10_000.0), least=4, most=100), default=None)
    corners: tuple[tuple[float, float], ...] | None = key(Points(POINT, least=3, most=100), default=None)
    against: str | None = key(NAME, default=None)
    beside: str | None = key(NAME, default=None)
    gap_m: float | None = key(ALONG_A_FACE, default=None)
    depth_m: float | None = key(EXTENT, default=None)
    left_m: float | None = key(ALONG_A_FACE, default=None)
    right_m: float | None = key(ALONG_A_FACE, default=None)
    from_: str | None = key(NAME, default=None)
    across_m: float | None = key(EXTENT, default=None)
    on: str | None = key(NAME, default=None)
    base_m: float | None = key(HEIGHT, default=None)
    eaves_m: float = key(Number(0.1, 1_000.0))
    roof: str = key(Choice(ROOFS), default="flat")
    ridge_m: float | None = key(Number(0.1, 2_000.0), default=None)
    pitch_deg: float | None = key(Number(MIN_PITCH_DEG, MAX_PITCH_DEG), default=None)
    falls: str | None = key(COMPASS_WORD, default=None)
    falls_deg: float | None = key(BEARING, default=None)
    ridge_runs: str | None = key(COMPASS_WORD, default=None)
    gables: tuple[str, ...] = key(Texts(100), default=None)
    teeth: int | None = key(Number(1, 200, whole=True), default=None)
    glazing_material: str | None = key(NAME, default=None)
    overhang_m: float = key(Number(0.0, 5.0), default=0.0)
    parapet_m: float = key(Number(0.0, 10.0), default=0.0)
    wall_material: str = key(NAME)
    roof_material: str | None = key(NAME, default=None)
    materials: Mapping[str, str] = key(ByFace(), default=None)
    side_names: tuple[str, ...] = key(Texts(100), default=None)
    level: tuple[Level, ...] = key(Tables(Level, "level"), default=None)
    inner_wall: tuple[InnerWall, ...] = key(Tables(InnerWall, "inner_wall"), default=None)
    opening: tuple[Opening, ...] = key(OPENINGS, default=None)
    drawn_within_m: float | None = key(DRAWN_WITHIN, default=None)

    @property
    def form(self) -> str:
        """Which of `FORMS` the footprint is."""
        return next(self._forms(), "")

    def _forms(self) -> Iterator[str]:
        marked = [name for name in FORMS if getattr(self, name) is not None]
        if not marked and self.length_m is not None:
            marked = ["width_m"]
        return iter(marked)

    @property
    def is_joined(self) -> bool:
        """Whether it shares a wall of another building."""
        return self.against is not None

    @property
    def is_carried(self) -> bool:
        """Whether it stands on, against or beside another thing, and so moves with that."""
        return self.on is not None or self.is_joined or self.beside is not None

    @property
    def covering(self) -> str:
        """The material of its roof."""
        return self.roof_material or self.wall_material

    def material_names(self) -> Iterator[tuple[str, str]]:
        """Yield every material that it names, with the key under which: pairs of key and material."""
        for name in ("wall_material", "roof_material", "glazing_material"):
            value = getattr(self, name)
            if value is not None:
                yield name, value
        for face, material in self.materials.items():
            yield f'materials: "{face}"', material
        for level in self.level:
            yield f'level "{level.name}": material', level.material
        for number, opening in enumerate(self.opening, start=1):
            yield f"{place_of(opening, number)}: material", opening.material
        for wall in self.inner_wall:
            yield f'inner_wall "{wall.name}": material', wall.material
            for number, opening in enumerate(wall.opening, start=1):
                yield f'inner_wall "{wall.name}": {place_of(opening, number)}: material', opening.material

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """Everything that does not need other buildings to be seen."""
        forms = list(self._forms())
        if not forms:
            how = "corner (or centre), length_m, width_m and bearing_deg; or sides_m, corners, against, beside, from"
            yield "", f"has no footprint; write {how}, or centre and across_m"
        elif len(forms) > 1:
            yield _written(forms[1]), f"{_written(forms[0])} is given too; a building has one footprint"
        else:
            yield from self._keys_of_form(forms[0])
            yield from self._place_faults(forms[0])
        yield from self._outline_faults()
        yield from self._rise_faults()
        yield from self._falls_faults()
        yield from self._roof_faults()
        for number, opening in enumerate(self.opening, start=1):
            if not opening.on:
                yield f"{place_of(opening, number)}: on", "is missing; write the wall or roof that it is in"

    def _both(self, one: str, other: str) -> Iterator[tuple[str, str]]:
        """Two keys of which only one may be written."""
        if getattr(self, one) is not None and getattr(self, other) is not None:
            yield other, f"{one} is given too; write one of them"

    def _keys_of_form(self, form: str) -> Iterator[tuple[str, str]]:
        """Keys about its place that its footprint has no use for, or needs."""
        for name in _ABOUT_PLACE:
            if getattr(self, name) is not None and name not in FORMS[form]:
                yield _written(name), f"does not go with {_written(form)}; leave it out"
        for name in _NEEDED.get(form, ()):
            if getattr(self, name) is None:
                yield name, "is missing"
        if self.side_names and form == "across_m":
            yield "side_names", "a round building has one wall only; leave it out"

    def _place_faults(self, form: str) -> Iterator[tuple[str, str]]:
        yield from self._both("left_m", "right_m")
        if form == "width_m":
            yield from self._both("corner", "centre")
            if self.corner is None and self.centre is None:
                yield "corner", "is missing; write corner or centre"
        if form in {"width_m", "sides_m"} and self.on is None and self.bearing_deg is None:
            yield "bearing_deg", "is missing; write the way that the length or the first side runs"
        for name in ("bearing_deg", "base_m"):
            if self.on is not None and getattr(self, name) is not None:
                yield name, 'follows from "on"; leave it out'
        if self.against and self.length_m is None and (self.left_m is not None or self.right_m is not None):
            yield "length_m", "is missing; without it the building takes the whole wall"

    def _outline_faults(self) -> Iterator[tuple[str, str]]:
        for number, side_m in enumerate(self.sides_m or (), start=1):
            if abs(side_m) < EXTENT.low:
                yield "sides_m", f"side {number} is {side_m:g} m long; write {EXTENT.low:g} m or more"
        if len(self.sides_m or ()) % 2:
            yield "sides_m", f"holds {len(self.sides_m or ())} sides; with right angles their number is even"
        if self.corners is not None:
            yield from area_faults("corners", self.corners)

    @property
    def _kind(self) -> str:
        return f'"{self.roof}" roof' if self.roof != "none" else "building without a roof"

    def _useless(self, *names: str) -> Iterator[tuple[str, str]]:
        """Keys that mean nothing for its roof."""
        for name in names:
            if getattr(self, name) not in (None, (), 0.0):
                yield name, f"means nothing for a {self._kind}; leave it out"

    def _rise_faults(self) -> Iterator[tuple[str, str]]:
        if self.roof in {"flat", "none"}:
            yield from self._useless("ridge_m", "pitch_deg")
            return
        yield from self._both("ridge_m", "pitch_deg")
        if self.ridge_m is None and self.pitch_deg is None:
            yield "ridge_m", f"is missing; a {self._kind} needs ridge_m or pitch_deg"
        if self.ridge_m is not None and self.ridge_m <= self.eaves_m:
            yield "ridge_m", f"{self.ridge_m:.2f} m is not above the eaves, {self.eaves_m:.2f} m"

    def _falls_faults(self) -> Iterator[tuple[str, str]]:
        if self.roof not in {"mono-pitch", "saw-tooth"}:
            yield from self._useless("falls", "falls_deg")
        elif self.roof == "mono-pitch" and self.is_joined:
            for name in ("falls", "falls_deg"):
                if getattr(self, name) is not None:
                    yield name, 'follows from "against": the roof falls away from that wall; leave it out'
        else:
            yield from self._both("falls", "falls_deg")
            if self.falls is None and self.falls_deg is None:
                yield "falls", f"is missing; a {self._kind} needs the way its slope runs down: {', '.join(COMPASS)}"

    def _roof_faults(self) -> Iterator[tuple[str, str]]:
        if self.roof != "saw-tooth":
            yield from self._useless("teeth", "glazing_material")
        elif self.teeth is None:
            yield "teeth", "is missing; write how many teeth the roof has"
        if self.roof not in {"gable", "hip"}:
            yield from self._useless("ridge_runs")
        if self.roof != "hip":
            yield from self._useless("gables")
        if self.roof == "none":
            yield from self._useless("overhang_m", "roof_material")
        elif self.wall_material == OPEN and self.roof_material is None:
            yield "roof_material", "is missing; with open walls the roof needs a material of its own"
        if self.overhang_m and self.parapet_m:
            yield "parapet_m", "overhang_m is given too; a roof has one or the other"


def _written(name: str) -> str:
    """Return a key as it is written in a plan; `from` is no name in Python."""
    return name.rstrip("_")
