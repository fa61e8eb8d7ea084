"""Obstacles: whatever can be in the way of a link, one file for each kind, and the list of all kinds."""

from __future__ import annotations

from survey.inputs.plan.obstacles.box import Box
from survey.inputs.plan.obstacles.foliage import Foliage
from survey.inputs.plan.obstacles.kind import Look, Loss, Obstacle, Sheetlike, Volume
from survey.inputs.plan.obstacles.modules import ModuleRow
from survey.inputs.plan.obstacles.parts import BoxLeaf, BoxPart, BuildingRoof, BuildingWall, Part, WallLeaf, WallPart
from survey.inputs.plan.obstacles.roof import Roof
from survey.inputs.plan.obstacles.wall import Wall

__all__ = [
    "Box",
    "BoxLeaf",
    "BoxPart",
    "BuildingRoof",
    "BuildingWall",
    "Foliage",
    "Look",
    "Loss",
    "ModuleRow",
    "Obstacle",
    "Part",
    "Roof",
    "Sheetlike",
    "Volume",
    "Wall",
    "WallLeaf",
    "WallPart",
    "in_order",
    "obstacle_kinds",
]

KINDS: tuple[type[Obstacle], ...] = (
    Wall,
    WallPart,
    WallLeaf,
    Box,
    BoxPart,
    BoxLeaf,
    Roof,
    BuildingWall,
    BuildingRoof,
    ModuleRow,
    Foliage,
)
"""The registry: every kind of obstacle, in the order in which a plan's list has them."""


def obstacle_kinds() -> tuple[type[Obstacle], ...]:
    """Every kind of obstacle, in order."""
    return KINDS


def in_order(obstacles: tuple[Obstacle, ...]) -> tuple[Obstacle, ...]:
    """Return obstacles kind by kind; those of one kind as they stand."""
    order = {kind: number for number, kind in enumerate(obstacle_kinds())}
    return tuple(sorted(obstacles, key=lambda one: order[type(one)]))
