"""Buildings written out as loose sheets are found again, and sheets that are not certainly one are left."""

from dataclasses import replace

import numpy as np
import pytest
from plans import MINIMAL, roof

from survey.inputs.buildings import Building, Level, faces_of
from survey.inputs.plan_file import parse_text, plan_of
from survey.output.export.as_buildings import as_buildings_text
from survey.output.export.recognising import buildings_in

TURNED = {
    "corner": [20.0, 10.0],
    "length_m": 12.0,
    "width_m": 8.0,
    "bearing_deg": 33.0,
    "wall_material": "brick 110 mm",
}
KINDS = {
    "flat": {"eaves_m": 3.0},
    "flat with a parapet": {"eaves_m": 3.0, "parapet_m": 0.8},
    "mono-pitch": {"eaves_m": 3.0, "roof": "mono-pitch", "falls_deg": 123.0, "ridge_m": 4.2},
    "gable": {"eaves_m": 3.0, "roof": "gable", "ridge_m": 5.0},
    "hip": {"eaves_m": 3.0, "roof": "hip", "ridge_m": 5.0},
    "on a slab": {"eaves_m": 3.0, "roof": "gable", "ridge_m": 5.0, "base_m": 0.4},
    "three floors": {
        "eaves_m": 9.0,
        "level": (
            Level(name="first floor", height_m=3.0, material="concrete 200 mm"),
            Level(name="second floor", height_m=6.0, material="concrete 200 mm"),
        ),
    },
    "a loft": {
        "eaves_m": 3.0,
        "roof": "gable",
        "ridge_m": 5.0,
        "level": (Level(name="ceiling", height_m=3.0, material="plasterboard 12.5 mm"),),
    },
}
LEAN_TO = {"name": "b", "against": "a/south-east wall", "depth_m": 3.0, "wall_material": "timber 20 mm"}
JOINED = {
    "lean-to": {"eaves_m": 2.0, "roof": "mono-pitch", "ridge_m": 2.8},
    "lean-to in the middle": {"eaves_m": 2.0, "roof": "mono-pitch", "ridge_m": 2.8, "length_m": 5.0, "left_m": 1.5},
    "flat one": {"eaves_m": 2.4, "length_m": 5.0, "left_m": 1.5},
}
SAME = ("eaves_m", "roof", "ridge_m", "parapet_m", "wall_material", "roof_material")


def loose(*buildings, storeys=False):
    """A plan of the sheets of some buildings, each a [[roof]] by itself; walls cut at 1.5 m where asked."""
    text, number = MINIMAL, 0
    for face in faces_of(buildings).faces:
        for sheet_m in face.sheets_m:
            number += 1
            name = face.short_name if face.kind == "level" else f"sheet {number}"
            pieces = [sheet_m]
            if storeys and face.kind == "wall" and len(sheet_m) == 4:
                low, high = sheet_m[sheet_m[:, 2] < 0.01], sheet_m[sheet_m[:, 2] > 0.01]
                low = low if np.abs(low[0, :2] - high[0, :2]).max() < 1e-6 else low[::-1]
                middle = low + np.array([0.0, 0.0, 1.5])
                pieces = [np.concatenate([low, middle[::-1]]), np.concatenate([middle, high[::-1]])]
            for part, piece in enumerate(pieces):
                label = name if len(pieces) == 1 else f"{name} {part}"
                values = {"name": f'"{label}"', "material": f'"{face.material}"'}
                text += roof(piece.round(6).tolist(), **values).replace("loss_db = 3\n", "")
    return plan_of(parse_text(text, "loose"), file="loose")


def worth(building):
    """What is compared of a building."""
    values = {name: getattr(building, name) for name in SAME}
    return {name: round(value, 3) if isinstance(value, float) else value for name, value in values.items()} | {
        "roof_material": building.covering,
        "level": [(one.name, round(one.height_m, 3), one.material) for one in building.level],
        "base_m": round(building.base_m or 0.0, 3),
    }


def again(plan):
    text, _ = as_buildings_text(plan)
    return plan_of(parse_text(text, "again"), file="again")


def corners_of(plan):
    """The corners of all sheets, each once, to the centimetre."""
    points_m = np.concatenate([sheet_m for one in plan.obstacles for sheet_m in one.sheets_m()])
    return {tuple(point) for point in (np.round(points_m, 2) + 0.0).tolist()}


@pytest.mark.parametrize("kind", KINDS)
def test_a_building_is_found_again(kind):
    building = Building(name="a", **(TURNED | KINDS[kind]))
    plan = loose(building)
    new = again(plan)
    (found,) = new.buildings
    assert worth(found) == worth(building)
    assert [one for one in new.obstacles if one.table] == [], "no loose sheet is left"
    assert corners_of(new) == corners_of(plan)


@pytest.mark.parametrize("kind", JOINED)
def test_what_is_joined_to_it_is_found_again_whichever_comes_first(kind):
    host = Building(name="a", **(TURNED | KINDS["gable"]))
    joined = Building(**(LEAN_TO | JOINED[kind]))
    plan = loose(host, joined)
    for one in (plan, replace(plan, obstacles=plan.obstacles[::-1])):
        new = again(one)
        assert [worth(found) | {"base_m": 0.0} for found in new.buildings] == [worth(host), worth(joined)]
        assert new.buildings[1].against == f"{new.buildings[0].name}/south-east wall"
        assert [one for one in new.obstacles if one.table] == []
        assert corners_of(new) == corners_of(plan)


def test_walls_in_several_pieces_are_one():
    building = Building(name="a", **(TURNED | KINDS["flat"]))
    (found,) = again(loose(building, storeys=True)).buildings
    assert worth(found) == worth(building)


@pytest.mark.parametrize("kind", ["mono-pitch", "gable", "hip", "flat"])
@pytest.mark.parametrize("change", ["a wall is away", "a roof is away", "a corner is off", "a hole", "twice"])
def test_what_is_not_certainly_one_is_left(kind, change):
    plan = loose(Building(name="a", **(TURNED | KINDS[kind])))
    sheets = list(plan.obstacles)
    walls = [k for k, one in enumerate(sheets) if np.ptp(one.sheets_m()[0][:, 2]) > 2.9]
    roofs = [k for k, one in enumerate(sheets) if np.ptp(one.sheets_m()[0][:, 2]) < 2.1]
    if change == "a wall is away":
        sheets.pop(walls[0])
    elif change == "a roof is away":
        sheets.pop(roofs[0])
    elif change == "twice":
        sheets.append(replace(sheets[walls[0]], name="again"))
    else:
        corners_m = np.array(sheets[walls[0]].corners)
        top = int(corners_m[:, 2].argmax())
        corners_m[top, 2] -= 0.1 if change == "a corner is off" else 1.0
        sheets[walls[0]] = replace(sheets[walls[0]], corners=tuple(map(tuple, corners_m.tolist())))
    assert list(buildings_in(replace(plan, obstacles=tuple(sheets)))) == []


def test_a_level_that_does_not_reach_right_across_stays_a_sheet():
    building = Building(name="a", **(TURNED | KINDS["three floors"]))
    plan = loose(building)
    floor = next(one for one in plan.obstacles if one.name == "first floor")
    corners_m = np.array(floor.corners)
    half_m = np.array([corners_m[0], corners_m[1], corners_m[[1, 2]].mean(axis=0), corners_m[[0, 3]].mean(axis=0)])
    short = replace(floor, corners=tuple(map(tuple, half_m.tolist())))
    new = again(replace(plan, obstacles=tuple(short if one is floor else one for one in plan.obstacles)))
    assert [one.name for one in new.buildings[0].level] == ["second floor"]
    assert [one.name for one in new.obstacles if one.table] == ["first floor"]
