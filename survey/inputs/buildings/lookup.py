"""The buildings of a plan once they are built, and their faces by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from survey.base.errors import EntryError, did_you_mean
from survey.inputs.buildings.body import Body, unknown_face
from survey.inputs.buildings.faces import Face

MOVED_M = 0.001
"""Corners moved by less than this are not reported: rounding of what was written. [m]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class BuildingFaces:
    """The buildings of a plan as faces.

    Attributes
    ----------
    bodies : mapping of str to Body
        By the names of the buildings, in the order of the plan.
    """

    bodies: Mapping[str, Body]

    @property
    def faces(self) -> tuple[Face, ...]:
        """Every face of every building, also those that are open."""
        return tuple(face for body in self.bodies.values() for face in body.faces)

    @property
    def moved_m(self) -> dict[str, float]:
        """By building, how far corners were moved to close or square its footprint, where they were. [m]"""
        moved = {name: body.footprint.moved_m for name, body in self.bodies.items()}
        return {name: one for name, one in moved.items() if one >= MOVED_M}

    def face(self, name: str) -> Face:
        """Return the face of a name such as ``workshop/south roof``.

        Raises
        ------
        EntryError
            Where there is none, or several that are numbered: one problem without a key.
        """
        owner = owner_in(name, self.bodies)
        if not owner:
            problem = f'"{name}" is not known{did_you_mean(name.partition("/")[0], self.bodies)}'
            raise EntryError([("", problem)])
        return face_in(self.bodies[owner], name[len(owner) + 1 :])


def owner_in(name: str, owners: Mapping[str, object]) -> str:
    """Return which of some buildings the name of a face begins with, or nothing."""
    return next((name[:end] for end, letter in enumerate(name) if letter == "/" and name[:end] in owners), "")


def face_in(body: Body, short_name: str) -> Face:
    """Return a face of a building by its name within it; a shared wall is the other building's.

    Raises
    ------
    EntryError
        Where there is none, or several that are numbered.
    """
    found = next((face for face in body.faces if face.short_name == short_name), None)
    if found is not None:
        return found
    owner = body.building.name
    if short_name in body.shared:
        raise EntryError([("", f'"{owner}/{short_name}" is shared; write "{body.shared[short_name]}"')])
    problem = unknown_face(short_name, body.faces)
    raise EntryError([("", f'"{owner}" {problem}' if problem.startswith("has ") else f'"{owner}": {problem}')])
