"""Buildings as an installer sees them, turned into faces: walls, roofs, levels, inner walls and openings."""

from survey.inputs.buildings.body import Body
from survey.inputs.buildings.compass import bearing_of, degrees_of, part_names, turn_deg, word_of
from survey.inputs.buildings.convex import area_m2, clip, common, parts_of
from survey.inputs.buildings.entry import Building, InnerWall, Level
from survey.inputs.buildings.faces import Face, Frame, box_faces, face_of, upright_face
from survey.inputs.buildings.lookup import BuildingFaces, face_in
from survey.inputs.buildings.openings import numbered, with_openings
from survey.inputs.buildings.resolve import Resolver, faces_of
from survey.inputs.plan.opening import OPEN, Opening, place_of, without_on

__all__ = [
    "OPEN",
    "Body",
    "Building",
    "BuildingFaces",
    "Face",
    "Frame",
    "InnerWall",
    "Level",
    "Opening",
    "Resolver",
    "area_m2",
    "bearing_of",
    "box_faces",
    "clip",
    "common",
    "degrees_of",
    "face_in",
    "face_of",
    "faces_of",
    "numbered",
    "part_names",
    "parts_of",
    "place_of",
    "turn_deg",
    "upright_face",
    "with_openings",
    "without_on",
    "word_of",
]
