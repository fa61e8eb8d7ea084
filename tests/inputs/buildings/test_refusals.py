"""What is refused, each by its message."""

import numpy as np
import pytest

from survey.base.errors import EntryError, PlanError
from survey.inputs.buildings import Building, Resolver, box_faces, faces_of
from survey.inputs.nested import entry_of

HALL = {"name": "hall", "corner": [0.0, 0.0], "length_m": 24.0, "width_m": 12.0, "bearing_deg": 90.0}
SHELL = {"eaves_m": 4.0, "wall_material": "steel cladding"}
WORKSHOP = {**HALL, **SHELL, "name": "workshop"}
H = {"name": "h", **SHELL}
PLAIN = {**HALL, **SHELL, "name": "h"}
JOINED = {**H, "against": "workshop/south wall", "depth_m": 5.0}
GABLE = {"roof": "gable", "ridge_m": 5.0}
ELL = {"corner": [0.0, 0.0], "bearing_deg": 90.0, "sides_m": [15.2, 7.8, -8.4, 5.6, -6.8, -13.4]}


def told(*entries, **options):
    """What is told of buildings, line by line; the first is number 1."""
    buildings, lines = [], []
    for number, values in enumerate(entries, start=1):
        try:
            buildings.append(entry_of(Building, values))
        except EntryError as error:
            lines.extend(f'[[building]] {number} "{values["name"]}": {key}: {text}' for key, text in error.problems)
    if lines:
        return lines
    try:
        faces_of(buildings, **options)
    except PlanError as error:
        return str(error).splitlines()
    return []


def second(values):
    """What is told of a building beside the workshop, without its place."""
    lines = told(WORKSHOP, values)
    assert all(line.startswith('[[building]] 2 "h": ') for line in lines), lines
    return [line.removeprefix('[[building]] 2 "h": ') for line in lines]


def test_what_the_cases_below_begin_with_is_in_order():
    assert second(PLAIN) == second(JOINED) == second({**H, **ELL}) == second({**PLAIN, **GABLE}) == []


FOOTPRINTS = [
    (
        {**H, **ELL, "sides_m": [15.8, 7.8, -8.4, 5.6, -6.8, -13.4]},
        "sides_m: do not close: along the bearing 0.60 m are left over; measure again, or write drawn_within_m",
    ),
    (
        {**H, **ELL, "sides_m": [15.2, 7.8, -8.4, 5.6, -6.8, -13.0]},
        (
            "sides_m: do not close: to the left of the bearing 0.40 m are left over; "
            "measure again, or write drawn_within_m"
        ),
    ),
    (
        {**H, **ELL, "sides_m": [4.0, 3.0, -4.0, -3.0, 1.0]},
        "sides_m: holds 5 sides; with right angles their number is even",
    ),
    (
        {**H, **ELL, "sides_m": [10.0, 4.0, -12.0, -6.0, 6.0, 8.0, -4.0, -6.0]},
        "sides_m: cross themselves; write them in the order of the walk, minus for back",
    ),
    (
        {**H, "corners": [[0, 0], [5, 5], [5, 0], [0, 5]]},
        "corners: has no area; write its corners in order around the edge",
    ),
    (
        {**H, "corners": [[0, 0], [6, 0], [6, 5], [3, -2]]},
        "corners: crosses itself; write its corners in order around the edge",
    ),
    ({**PLAIN, "across_m": 4.0}, "across_m: width_m is given too; a building has one footprint"),
    ({**PLAIN, "centre": [1.0, 1.0]}, "centre: corner is given too; write one of them"),
    ({**PLAIN, "depth_m": 4.0}, "depth_m: does not go with width_m; leave it out"),
    (
        {key: value for key, value in PLAIN.items() if key != "bearing_deg"},
        "bearing_deg: is missing; write the way that the length or the first side runs",
    ),
    ({**PLAIN, "on": "workshop/roof"}, 'bearing_deg: follows from "on"; leave it out'),
    ({**JOINED, "length_m": 25.0}, 'length_m: 25.00 m, but "workshop/south wall" is 24.00 m long'),
    (
        {**JOINED, "length_m": 6.0, "left_m": 20.0},
        'left_m: the building reaches 2.00 m beyond the end of "workshop/south wall"',
    ),
    ({**JOINED, "left_m": 2.0}, "length_m: is missing; without it the building takes the whole wall"),
    ({**JOINED, "against": "workshop/roof"}, 'against: "workshop/roof" is not a wall'),
    (
        {**JOINED, "against": "workshop"},
        'against: "workshop" is a building; write one of its faces, "workshop/FACE"',
    ),
    ({**JOINED, "against": "fence"}, 'against: "fence" is not known; write BUILDING/FACE or BOX/SIDE'),
    (
        {**JOINED, "base_m": 4.0},
        'base_m: 4.00 m is not below the top of "workshop/south wall", 4.00 m',
    ),
    (
        {**H, "corners": [[11.56, 48.12], [11.5602, 48.12], [11.5602, 48.1201]]},
        "corners: has no area; these look like degrees: write metres from a zero point on the site",
    ),
    (
        {**JOINED, "against": "workshop/suoth wall"},
        'against: "workshop": "suoth wall" is not known; did you mean "south wall"?',
    ),
    (
        {**JOINED, "against": "workshp/south wall"},
        'against: "workshp/south wall" is not known; did you mean "workshop"?',
    ),
    (
        {**H, "on": "workshop/roof", "centre": [23.0, 6.0], "length_m": 4.0, "width_m": 2.0},
        'on: the corner at 25.00, 5.00 (of side 2) lies 1.00 m beyond the edge of "workshop/roof"',
    ),
    ({**H, "from_": "map/hall"}, 'from: "map/hall" is not an outline of a drawing of this plan'),
]

ROOFS = [
    (
        {**H, **GABLE, "corners": [[0, 0], [12, 0], [15, 9], [0, 9]]},
        (
            'roof: "gable" needs right angles; corner 3 is 1.3 m off. '
            "Draw two buildings, or a flat roof and loose [[roof]] sheets"
        ),
    ),
    (
        {**H, "roof": "saw-tooth", "teeth": 2, "falls": "south", "ridge_m": 5.0, **ELL},
        'roof: "saw-tooth" needs a rectangle. Draw two buildings',
    ),
    ({**PLAIN, "roof": "gable"}, 'ridge_m: is missing; a "gable" roof needs ridge_m or pitch_deg'),
    ({**PLAIN, **GABLE, "ridge_m": 3.5}, "ridge_m: 3.50 m is not above the eaves, 4.00 m"),
    (
        {**PLAIN, **GABLE, "ridge_m": 34.0},
        "ridge_m: 34.00 m makes a pitch of 78.7 degrees over a run of 6.00 m; a roof here has 0.5 to 75 degrees",
    ),
    ({**PLAIN, "roof": "gable", "pitch_deg": 80.0}, "pitch_deg: 80.0 is out of range; write a number from 0.5 to 75"),
    ({**PLAIN, "ridge_m": 5.0}, 'ridge_m: means nothing for a "flat" roof; leave it out'),
    (
        {**PLAIN, "roof": "mono-pitch", "ridge_m": 5.0},
        (
            'falls: is missing; a "mono-pitch" roof needs the way its slope runs down: '
            "north, north-east, east, south-east, south, south-west, west, north-west"
        ),
    ),
    (
        {**PLAIN, "roof": "mono-pitch", "ridge_m": 5.0, "falls": "north-east"},
        "falls: no side looks within 23 degrees of 45; its sides look to 180, 90, 0, 270 degrees",
    ),
    (
        {**JOINED, "roof": "mono-pitch", "eaves_m": 3.0, "ridge_m": 4.4},
        'ridge_m: mono-pitch meets "workshop/south wall" 4.40 m up, 0.40 m above its top; lower it, or draw it beside',
    ),
    (
        {**JOINED, "roof": "mono-pitch", "eaves_m": 3.0, "ridge_m": 3.4, "falls": "south"},
        'falls: follows from "against": the roof falls away from that wall; leave it out',
    ),
    (
        {**PLAIN, "roof": "hip", "ridge_m": 5.0, "gables": ["south wall"]},
        'gables: "south wall" is not the end of a wing: a gable is at the short end of a rectangle',
    ),
    (
        {**PLAIN, "roof": "hip", "ridge_m": 5.0, "gables": ["west wal"]},
        'gables: "west wal" is not a wall of this building; did you mean "west wall"?',
    ),
    (
        {**PLAIN, **GABLE, "width_m": 24.0},
        "ridge_runs: is missing; the building is square: write a compass word near 90 or 180 degrees",
    ),
    (
        {**H, **GABLE, **ELL, "ridge_runs": "north"},
        "ridge_runs: is for rectangles; elsewhere each wing's ridge runs along it. Leave it out",
    ),
    ({**PLAIN, "overhang_m": 0.3, "parapet_m": 0.9}, "parapet_m: overhang_m is given too; a roof has one or the other"),
    (
        {**PLAIN, "wall_material": "open"},
        "roof_material: is missing; with open walls the roof needs a material of its own",
    ),
    ({**PLAIN, "side_names": ["street"]}, "side_names: holds 1 texts, but the footprint has 4 sides; write one a side"),
    (
        {**PLAIN, "materials": {"west gable": "brick"}},
        'materials: "west gable" is not a face of this building; did you mean "west wall"?',
    ),
    (
        {**JOINED, "eaves_m": 3.0, "materials": {"north wall": "brick"}},
        'materials: "north wall" is shared with "workshop/south wall"; write its material there',
    ),
]


def door(**values):
    return {**PLAIN, "opening": [{"on": "east wall", "name": "gate", "width_m": 2.0, "height_m": 2.0, **values}]}


OPENINGS = [
    (door(on="south wall", width_m=25.0), 'opening "gate": 25.00 m wide, but "south wall" is 24.00 m long'),
    (
        door(count=4, every_m=4.0),
        'opening "gate": the row is 14.00 m long, but "east wall" is 12.00 m long',
    ),
    (door(left_m=11.0), 'opening "gate": reaches 1.00 m beyond the right end of "east wall", 12.00 m long'),
    (door(right_m=11.0), 'opening "gate": reaches 1.00 m beyond the left end of "east wall"'),
    (
        door(up_m=2.5),
        'opening "gate": its top is 4.50 m up, 0.50 m above the top of "east wall" there, 4.00 m',
    ),
    (
        door(on="roof", up_m=11.0),
        'opening "gate": reaches 1.00 m beyond the edge of "roof", 24.00 m along the eaves and 12.00 m up the slope',
    ),
    (door(on="west wal"), 'opening "gate": on: "west wal" is not known; did you mean "west wall"?'),
    (door(on=""), 'opening "gate": on: is missing; write the wall or roof that it is in'),
    (door(width_m="wide"), 'opening "gate": width_m: "wide" is text; write a number from 0.05 to 1000'),
    (door(witdh=1.0), 'opening "gate": witdh: no such key; did you mean width_m?'),
    (door(count=3), 'opening "gate": every_m: is missing; write how far it is from left edge to left edge'),
    (
        door(count=3, every_m=1.0),
        'opening "gate": every_m: 1 m is less than width_m, 2 m: the openings would overlap',
    ),
    (door(left_m=1.0, right_m=1.0), 'opening "gate": right_m: left_m is given too; write one of them'),
    (
        {**door(), "materials": {"east wall": "open"}},
        'opening "gate": "east wall" is open: there is no sheet to cut',
    ),
    (
        {**JOINED, "eaves_m": 3.0, "opening": [{"on": "north wall", "width_m": 1.0, "height_m": 2.0}]},
        'opening 1: on: "north wall" is shared; write the opening in "workshop", on "workshop/south wall"',
    ),
    (
        {**PLAIN, "opening": [*door()["opening"], {"on": "east wall", "left_m": 6.0, "width_m": 2.0, "height_m": 1.0}]},
        'opening 2: overlaps "gate" in "east wall"',
    ),
]


def inner(**values):
    wall = {"name": "w", "parallel_to": "west wall", "in_m": 4.0, "material": "brick 110 mm", **values}
    return {**PLAIN, "inner_wall": [{key: value for key, value in wall.items() if value is not None}]}


INSIDE = [
    (
        {**PLAIN, "level": [{"name": "attic", "height_m": 4.5, "material": "x"}]},
        'level "attic": height_m: 4.50 m is not below the roof, whose highest point is at 4.00 m',
    ),
    ({**PLAIN, "level": [{"name": "attic", "height_m": 2.5}]}, 'level "attic": material: is missing'),
    (
        inner(in_m=24.5),
        'inner_wall "w": in_m: 24.50 m in from "west wall" is not inside; the building is 24.00 m deep there',
    ),
    (inner(height_m=5.0), 'inner_wall "w": height_m: its top is 5.00 m up, 1.00 m above the roof there, 4.00 m'),
    (inner(foot_m=4.5), 'inner_wall "w": foot_m: 4.50 m is not below the roof there, 4.00 m'),
    (
        inner(left_m=8.0, length_m=5.0),
        'inner_wall "w": length_m: the wall reaches 1.00 m beyond the building; it is 12.00 m from wall to wall',
    ),
    (
        inner(parallel_to="west wal"),
        'inner_wall "w": parallel_to: "west wal" is not a straight wall of this building; did you mean "west wall"?',
    ),
    (
        inner(parallel_to=None, in_m=None),
        'inner_wall "w": parallel_to: is missing; write parallel_to and in_m, or along',
    ),
    (inner(along=[[1.0, 1.0], [2.0, 2.0]]), 'inner_wall "w": parallel_to: along is given too; write one or the other'),
    (
        inner(parallel_to=None, in_m=None, along=[[1.0, 1.0], [-2.0, 2.0]]),
        'inner_wall "w": along: point 2 is not within the building',
    ),
    (
        inner(opening=[{"name": "door", "width_m": 1.0, "height_m": 4.5}]),
        'inner_wall "w": opening "door": its top is 4.50 m up, 0.50 m above the top of "w" there, 4.00 m',
    ),
    (
        inner(opening=[{"name": "door", "on": "w", "width_m": 1.0, "height_m": 2.0}]),
        'inner_wall "w": opening "door": on: there is only one face here; leave it out',
    ),
    (
        {**PLAIN, "level": [{"name": "roof", "height_m": 2.5, "material": "x"}]},
        'name: two faces are named "h/roof"; give the opening, level or inner wall another name',
    ),
]


@pytest.mark.parametrize(("values", "message"), [*FOOTPRINTS, *ROOFS, *OPENINGS, *INSIDE])
def test_each_refusal_has_its_message(values, message):
    assert message in second(values)


def test_a_building_without_a_footprint_is_told_how_to_write_one():
    (line,) = second({"name": "h", **SHELL})
    assert "has no footprint; write corner (or centre), length_m, width_m and bearing_deg; or sides_m" in line


def test_buildings_that_stand_on_each_other_in_a_ring_are_refused():
    one = {**H, "name": "a", "beside": "b/north wall", "gap_m": 1.0, "length_m": 3.0, "depth_m": 3.0}
    other = {**H, "name": "b", "beside": "a/north wall", "gap_m": 1.0, "length_m": 3.0, "depth_m": 3.0}
    assert told(one, other) == [
        '[[building]] 1 "a": beside: they stand on each other in a ring: a -> b -> a; place one of them by its corner'
    ]


def test_a_building_that_is_referred_to_has_no_slash_in_its_name():
    odd = {**WORKSHOP, "name": "work/shop"}
    assert told(odd) == []
    assert told(odd, {**JOINED, "against": "work/shop/south wall"}) == [
        '[[building]] 2 "h": against: "work/shop" holds "/" and is referred to; give that building a name without'
    ]


def test_all_faults_of_all_buildings_are_told_in_one_run():
    bad = {**door(width_m=25.0), "level": [{"name": "attic", "height_m": 4.5, "material": "x"}]}
    lines = told(
        {**JOINED, "against": "k/south wall"},
        {**bad, "name": "k"},
        {**PLAIN, **GABLE, "name": "g", "ridge_m": 34.0},
        file="p.toml",
    )
    assert [line.split(": ")[1] for line in lines] == ['[[building]] 2 "k"', '[[building]] 2 "k"', '[[building]] 3 "g"']
    assert all(line.startswith("p.toml: ") for line in lines)


def test_all_faults_of_an_entry_are_told_in_one_run():
    bad = {**door(width_m=-1.0), "eaves_m": "high", "level": [{"name": "l"}], "inner_wall": "none", "materials": [1]}
    with pytest.raises(EntryError) as caught:
        Building(**bad)
    assert [key for key, _ in caught.value.problems] == [
        'level "l": height_m',
        'level "l": material',
        "inner_wall",
        'opening "gate": width_m',
        "eaves_m",
        "materials",
    ]


def test_more_sheets_than_a_plan_may_have_are_refused(monkeypatch):
    monkeypatch.setattr("survey.inputs.buildings.resolve.MAX_SHEETS", 4)
    assert told(PLAIN) == ["[[building]]: make 5 sheets; a plan may have 4 of them"]


def test_an_outline_that_is_no_area_is_refused():
    lines = told({**H, "from_": "map/hall"}, outline=lambda _: np.array([[0, 0], [6, 0], [6, 5], [3, -2]]))
    assert lines == ['[[building]] 1 "h": from: crosses itself; write its corners in order around the edge']


def test_a_ring_by_way_of_a_box_is_refused_too():
    """The box stands beside the building that stands beside it."""

    def other_face(name):
        assert name == "box/north side"
        resolver.face("h/south wall")

    free = {"beside": "box/north side", "gap_m": 1.0, "length_m": 3.0, "depth_m": 3.0}
    resolver = Resolver([Building(**{**H, **free})], other_face=other_face)
    with pytest.raises(PlanError, match="they stand on each other in a ring: h -> h"):
        resolver.all()


def test_a_building_may_stand_beside_a_box_that_stands_beside_a_building():
    boxes = []

    def other_face(name):
        if not boxes:
            wall = resolver.face("workshop/east wall")
            start = wall.point_m(left_m=0.0, up_m=0.0, out_m=0.5)[:2]
            corners = start + np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 6.0], [0.0, 6.0]])
            boxes.extend(box_faces("box", "welded steel", corners_m=corners, base_m=0.0, height_m=2.6))
        return next((face for face in boxes if face.name == name), None)

    free = {**H, "beside": "box/east side", "gap_m": 1.0, "length_m": 3.0, "depth_m": 3.0}
    resolver = Resolver([Building(**free), Building(**WORKSHOP)], other_face=other_face)
    body = resolver.all().bodies["h"]
    assert body.footprint.corners_m.min(axis=0) == pytest.approx([24.0 + 0.5 + 2.0 + 1.0, 1.5])
    assert body.carrier == "box"
