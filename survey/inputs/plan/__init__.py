"""What a site plan says: frozen things of the trade, each of which refuses values that make no sense."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import Field, dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from survey.base.earth import Earth
from survey.base.limits import MOST_GATEWAYS, MOST_RELAYS
from survey.inputs.antennas import KINDS, Pattern
from survey.inputs.fields import Entry, Number, key
from survey.inputs.materials import BUILT_IN, Material
from survey.inputs.plan.ground import Ground, GroundSurface
from survey.inputs.plan.inverters import Array, Inverter
from survey.inputs.plan.kinds import ANTENNA, ANY_TEXT, BEARING, DRAWN_WITHIN, DRAWN_WITHIN_M, NAME, look_like_degrees
from survey.inputs.plan.obstacles import (
    Box,
    Foliage,
    Look,
    ModuleRow,
    Obstacle,
    Part,
    Roof,
    Sheetlike,
    Wall,
    in_order,
    obstacle_kinds,
)
from survey.inputs.plan.opening import Opening
from survey.inputs.plan.own_material import OwnMaterial
from survey.inputs.plan.radio import OwnRadio, Radio, RadioEnd
from survey.inputs.plan.spots import Search, Spot

if TYPE_CHECKING:  # it takes its kinds of value from here
    from survey.inputs.buildings import Building, Face
    from survey.inputs.drawings import Drawing

__all__ = [
    "ANTENNA",
    "NAME",
    "Array",
    "Attached",
    "Box",
    "Environment",
    "Foliage",
    "Inverter",
    "Look",
    "ModuleRow",
    "Obstacle",
    "OwnMaterial",
    "OwnRadio",
    "Part",
    "Plan",
    "Radio",
    "RadioEnd",
    "Requirement",
    "Roof",
    "Search",
    "Sheetlike",
    "Site",
    "Spot",
    "Wall",
    "look_like_degrees",
    "obstacle_kinds",
]


@dataclass(frozen=True, kw_only=True)
class Site(Entry):
    """What the job is called."""

    name: str = key(NAME)
    note: str = key(ANY_TEXT, default="")
    zero_lat_deg: float | None = key(Number(-90.0, 90.0), default=None)
    zero_lon_deg: float | None = key(Number(-180.0, 180.0), default=None)
    plan_north_deg: float = key(BEARING, default=0.0)
    drawn_within_m: float = key(DRAWN_WITHIN, default=DRAWN_WITHIN_M, repr=False)
    joint_m: float | None = key(Number(0.0, 10.0), default=None)

    def inconsistencies(self) -> Iterator[tuple[str, str]]:
        """A place on the earth of which a part is missing."""
        if (self.zero_lat_deg is None) != (self.zero_lon_deg is None):
            missing = "zero_lat_deg" if self.zero_lat_deg is None else "zero_lon_deg"
            yield missing, "is missing; write both zero_lat_deg and zero_lon_deg"
        elif self.zero_lat_deg is None and self.plan_north_deg:
            yield "plan_north_deg", "has no effect without zero_lat_deg and zero_lon_deg; write them, or leave it out"

    @classmethod
    def default_of(cls, one: Field[Any], given: Mapping[str, object]) -> object:
        """No plan is turned that is not placed on the earth."""
        if one.name == "plan_north_deg" and "zero_lat_deg" not in given:
            return None
        return super().default_of(one, given)

    @property
    def earth(self) -> Earth | None:
        """Where the plan is on the earth, if that is known."""
        if self.zero_lat_deg is None or self.zero_lon_deg is None:
            return None
        return Earth(zero_lat_deg=self.zero_lat_deg, zero_lon_deg=self.zero_lon_deg, plan_north_deg=self.plan_north_deg)


@dataclass(frozen=True, kw_only=True)
class Environment(Entry):
    """How level falls with distance, beyond what the obstacles explain.

    `exponent_spread` is the standard deviation of the exponent, an assumption: 0.25, so that two of them are half a
    power of distance.
    """

    path_loss_exponent: float = key(Number(0.5, 8.0), default=2.0)
    exponent_spread: float = key(Number(0.0, 2.0), default=0.25)
    reference_distance_m: float = key(Number(0.01, 1_000.0), default=1.0)
    shadowing_db: float = key(Number(0.0, 30.0), default=6.0)
    correlation_m: float = key(Number(0.01, 1_000.0), default=5.0)


@dataclass(frozen=True, kw_only=True)
class Requirement(Entry):
    """What the installer promises."""

    reliability: float = key(Number(0.5, 0.9999), default=0.95)
    fade_margin_db: float = key(Number(0.0, 60.0), default=3.0)
    max_relays: int = key(Number(0, MOST_RELAYS, whole=True), default=0)
    inverters_per_gateway: int = key(Number(0, 1_000_000, whole=True), default=0)
    gateways: int = key(Number(1, MOST_GATEWAYS, whole=True), default=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Attached:
    """What a thing stands on, at or in.

    Attributes
    ----------
    carrier : str
        The building, box, wall or roof with which it moves.
    face : str
        The face of it, such as ``workshop/south roof``; empty for what is inside or joined.
    way : str
        ``on``, ``beside``, ``against`` or ``inside``.
    at : Face or None
        That face, where it is one of a building or box.
    """

    carrier: str
    face: str = ""
    way: str = "on"
    at: Face | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A whole site plan.

    Attributes
    ----------
    file : str
        The file as the user named it.
    obstacles : tuple of Obstacle
        Whatever can be in the way, kind by kind, whether written as such or made by another entry (the rows of modules
        of arrays: `Array.module_rows`).
    folder : Path
        Where files named in the plan are looked for.
    patterns : mapping of str to Pattern
        Every kind of antenna, isotropic first, and every file of gains that the plan names, by the name there.
    drawn_from : tuple of str
        Names of the files of drawings and lists that the reader has read.
    buildings : tuple of Building
        Buildings as the plan describes them; their faces are among the obstacles.
    faces : tuple of Face
        Every face of every building, in the order of the plan, also those that are open.
    moved_m : mapping of str to float
        By building, how far corners were moved to close or square its footprint. [m]
    attached : mapping of str to Attached
        By name, what a thing stands on: buildings, boxes, arrays, inverters, gateways, spots and searches.
    openings : tuple of (str, Opening)
        Openings of loose walls and boxes, each with the name of its wall or box; those of buildings stand in these.
    defaults : tuple of (str, str, object)
        Table, key and value of every default that the reader filled in.
    """

    file: str
    folder: Path
    site: Site
    radio: Radio
    environment: Environment
    requirement: Requirement
    drawings: tuple[Drawing, ...] = ()
    grounds: tuple[Ground, ...] = ()
    own_materials: tuple[OwnMaterial, ...] = ()
    arrays: tuple[Array, ...] = ()
    inverters: tuple[Inverter, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    gateways: tuple[Spot, ...] = ()
    spots: tuple[Spot, ...] = ()
    searches: tuple[Search, ...] = ()
    patterns: Mapping[str, Pattern] = field(default_factory=lambda: KINDS, hash=False)
    drawn_from: tuple[str, ...] = ()
    buildings: tuple[Building, ...] = ()
    faces: tuple[Face, ...] = ()
    moved_m: Mapping[str, float] = field(default_factory=dict, hash=False)
    attached: Mapping[str, Attached] = field(default_factory=dict, hash=False)
    openings: tuple[tuple[str, Opening], ...] = ()
    defaults: tuple[tuple[str, str, object], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "obstacles", in_order(self.obstacles))

    @cached_property
    def ground(self) -> GroundSurface | None:
        """The ground through the points of the plan; None where it is level at height 0."""
        points = tuple(point for one in self.grounds for point in one.points)
        return GroundSurface(points) if points else None

    @cached_property
    def materials(self) -> dict[str, Material]:
        """Every material by its folded name; the user's own win over built-in ones of the same name."""
        return dict(BUILT_IN) | {own.name.casefold(): own.material() for own in self.own_materials}
