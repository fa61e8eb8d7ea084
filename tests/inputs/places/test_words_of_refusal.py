"""What is refused about places on faces: where it stands, what was found and what is allowed, all in one run."""

import tomllib

import pytest
from plans import MINIMAL, changed

from survey.base.errors import PlanError
from survey.inputs.plan_file import plan_of

HALL = """
[[building]]
name = "workshop"
corner = [0.0, 20.0]
length_m = 24.0
width_m = 12.0
bearing_deg = 90.0
eaves_m = 4.0
roof = "gable"
ridge_m = 5.28
wall_material = "steel cladding"
opening = [{ on = "south wall", name = "door", left_m = 2.0, width_m = 3.0, height_m = 3.0 }]
level = [{ name = "floor 2", height_m = 2.5, material = "concrete 200 mm" }]

[[box]]
name = "can"
size = "20 ft"
centre = [40.0, 0.0]

[[wall]]
name = "fence"
material = "timber 20 mm"
along = [[0.0, -10.0], [10.0, -10.0]]
height_m = 2.0
"""


def told(more, *changes, base=HALL):
    with pytest.raises(PlanError) as caught:
        plan_of(tomllib.loads(changed(*changes, more=base + more)), file="yard.toml")
    return [str(fault).removeprefix("yard.toml: ") for fault in caught.value.faults]


def spot(*lines):
    return "\n[[spot]]\n" + 'name = "p"\n' + "".join(f"{line}\n" for line in lines)


def array(*lines):
    rows = "per_row = 11\nrows = 4\nspacing_m = 2.0\nrow_spacing_m = 1.8\n"
    return '\n[[array]]\nname = "S"\n' + rows + "".join(f"{line}\n" for line in lines)


def box(*lines):
    size = 'name = "b"\nmaterial = "welded steel"\nlength_m = 2.0\nwidth_m = 1.0\nheight_m = 1.0\n'
    return "\n[[box]]\n" + size + "".join(f"{line}\n" for line in lines)


SOUTH, ROOF = 'on = "workshop/south wall"', 'on = "workshop/south roof"'
P, S, B = '[[spot]] 1 "p"', '[[array]] 1 "S"', '[[box]] 2 "b"'
FAULTS = {
    "above the wall": (
        spot(SOUTH, "up_m = 4.6"),
        f'{P}: up_m: 4.60 m is above the top of "workshop/south wall", 4.00 m; lower it, or write mast_m',
    ),
    "beyond the wall": (
        spot(SOUTH, "left_m = 25.0"),
        f'{P}: left_m: 25.00 m is beyond the right end of "workshop/south wall", 24.00 m long',
    ),
    "at and on a wall": (
        spot(SOUTH, "at = [0.0, 0.0]"),
        f'{P}: at: "workshop/south wall" is a wall: left_m and up_m say where on it; leave it out',
    ),
    "a height on a wall": (spot(SOUTH, "height_m = 2.0"), f'{P}: height_m: follows from "on"; leave it out'),
    "both ends": (
        spot(SOUTH, "left_m = 2.0", "right_m = 2.0"),
        f"{P}: right_m: left_m is given too; write one of them",
    ),
    "up and down": (spot(SOUTH, "up_m = 2.0", "down_m = 2.0"), f"{P}: down_m: up_m is given too; write one of them"),
    "a mast and a height": (
        spot(SOUTH, "up_m = 2.0", "mast_m = 2.0"),
        f"{P}: up_m: mast_m is from the top of the wall; write one or the other",
    ),
    "too short a bracket": (
        spot(SOUTH, "gap_m = 0.05"),
        f"{P}: gap_m: 0.05 is out of range; write a number from 0.1 to 50",
    ),
    "no such side": (
        spot(SOUTH, 'side = "inner"'),
        f'{P}: side: "inner" is not known; write "outside" or "inside"',
    ),
    "no such face": (
        spot('on = "workshop/soth wall"'),
        f'{P}: on: "workshop": "soth wall" is not known; did you mean "south wall"?',
    ),
    "no such building": (
        spot('on = "worksop/south wall"'),
        f'{P}: on: "worksop/south wall" is not known; did you mean "workshop"?',
    ),
    "a building is no face": (
        spot('on = "workshop"'),
        f'{P}: on: "workshop" is a building; write one of its faces, "workshop/FACE"',
    ),
    "no such side of a box": (
        spot('on = "can/nort side"'),
        f'{P}: on: "can": "nort side" is not known; did you mean "north side"?',
    ),
    "a key without on": (
        spot("at = [0.0, 0.0]", "height_m = 2.0", "left_m = 2.0"),
        f'{P}: left_m: means nothing without "on"; write on = "BUILDING/FACE", or leave it out',
    ),
    "a key misspelt": (spot(SOUTH, "lef_m = 2.0"), f"{P}: lef_m: no such key; did you mean left_m?"),
    "beside the roof": (
        spot(ROOF, "up_m = 9.0"),
        (
            f'{P}: up_m: lies 2.86 m beyond the edge of "workshop/south roof"; the face is 24.00 m along the eaves and '
            "6.14 m up the slope"
        ),
    ),
    "outside, not inside": (
        spot('inside = "workshop"', "at = [0.0, 0.0]", "height_m = 2.0"),
        f'{P}: at: 0.00, 0.00 is not inside "workshop"; move it, or leave out inside',
    ),
    "above the roof": (
        spot('inside = "workshop"', "at = [1.0, 21.0]", "up_m = 5.0"),
        f'{P}: up_m: 5.00 m up is above the roof of "workshop" there, 4.21 m up; lower it',
    ),
    "no height inside": (
        spot('inside = "workshop/floor 2"'),
        f"{P}: up_m: is missing; write up_m, or height_m above the plan's zero",
    ),
    "no such level": (
        spot('inside = "workshop/south wall"', "up_m = 1.0"),
        f'{P}: inside: "workshop/south wall" is no level; its levels are floor 2',
    ),
    "inside a box": (
        spot('inside = "can"', "up_m = 1.0"),
        f'{P}: inside: "can" is no building; write at and height_m alone',
    ),
    "inside a roof": (
        spot('inside = "lid"', "up_m = 1.0")
        + '\n[[roof]]\nname = "lid"\nmaterial = "tile roof"\ncorners = [[60, 0, 3], [70, 0, 3], [70, 6, 5]]\n',
        f'{P}: inside: "lid" is no building; write at and height_m alone',
    ),
    "inside nothing": (
        spot('inside = "barn"', "up_m = 1.0"),
        f'{P}: inside: "barn" is not known; write BUILDING or BUILDING/FLOOR',
    ),
    "a search on the sheet itself": (
        '\n[[search]]\nname = "s"\non = "workshop/south wall"\nups_m = [1.5]\ngap_m = 0.0\n',
        '[[search]] 1 "s": gap_m: 0.0 is out of range; write a number from 0.1 to 50',
    ),
    "a search on the walls of a room": (
        '\n[[search]]\nname = "s"\ninside = "workshop"\nups_m = [1.5]\ngap_m = 0.05\n',
        '[[search]] 1 "s": gap_m: 0.05 is out of range; write a number from 0.1 to 50',
    ),
    "inside and on": (
        spot('inside = "workshop"', SOUTH, "up_m = 1.0"),
        f"{P}: inside: on is given too; write one of them",
    ),
    "an array that does not fit": (
        array(ROOF, "left_m = 4.35", "up_m = 0.5"),
        (
            f'{S}: does not fit: 4 of 44 inverters lie beyond the edge of "workshop/south roof", S-1-11 by 0.35 m; the '
            "face is 24.00 m along the eaves and 6.14 m up the slope"
        ),
    ),
    "an array on a wall": (array(SOUTH), f'{S}: on: "workshop/south wall" is no roof and no top'),
    "an array with its height": (array(ROOF, "height_m = 2.0"), f'{S}: height_m: follows from "on"; leave it out'),
    "an array that looks aside": (
        array(ROOF, 'faces = "east"'),
        f'{S}: faces: follows from "on": "workshop/south roof" slopes; leave it out',
    ),
    "faces and a bearing": (
        array("first = [0, 0]", "height_m = 2", 'faces = "east"', "bearing_deg = 3"),
        f"{S}: bearing_deg: follows from the way the modules face; leave it out",
    ),
    "an array that climbs on the ground": (
        array('on = "ground"', "first = [0, 0]", "height_m = 1", 'faces = "south"', "tilt_deg = 25"),
        f"{S}: tilt_deg: would make the rows climb; write module_tilt_deg for the lean of the modules",
    ),
    "a place skipped that is none": (
        array(ROOF, 'skip = ["5-1"]'),
        f'{S}: skip: "5-1" is no place in the array: no such row',
    ),
    "a list of rows of another length": (
        array(ROOF).replace("per_row = 11", "per_row = [3, 2]"),
        f"{S}: rows: is 4, but per_row lists 2 rows; leave it out",
    ),
    "a box of no such size": (
        box("centre = [0, 0]", 'size = "30 ft"'),
        (
            f'{B}: size: "30 ft" is not known; write "10 ft", "20 ft", "20 ft high-cube", "40 ft", "40 ft high-cube"; '
            'did you mean "40 ft"?'
        ),
    ),
    "a box of a size and a length": (
        box("centre = [0, 0]", 'size = "20 ft"'),
        *(f'{B}: {key}: follows from "size"; leave it out' for key in ("length_m", "width_m", "height_m")),
    ),
    "a box beside a roof": (
        box('beside = "workshop/south roof"'),
        f'{B}: beside: "workshop/south roof" is no wall; write on, or name a wall or a side',
    ),
    "a box on a wall": (box(SOUTH), f'{B}: on: "workshop/south wall" is a wall; write beside, or name a roof or a top'),
    "a box on itself": (
        box('on = "b/top"'),
        f"{B}: on: they stand on each other in a ring: b -> b; place one of them by its centre",
    ),
    "boxes in a ring": (
        box('on = "c/top"') + box('beside = "b/north side"').replace('"b"', '"c"', 1),
        f"{B}: on: they stand on each other in a ring: b -> c -> b; place one of them by its centre",
    ),
    "an opening that does not fit a box": (
        box("centre = [0, 0]", 'opening = [{ on = "east side", name = "d", width_m = 3.0, height_m = 0.5 }]'),
        f'{B}: opening "d": 3.00 m wide, but "east side" is 2.00 m long',
    ),
    "an opening of no side": (
        box("centre = [0, 0]", 'opening = [{ on = "eats side", name = "d", width_m = 1.0, height_m = 0.5 }]'),
        f'{B}: opening "d": on: "eats side" is no side of this box; did you mean "east side"?',
    ),
    "an opening above its wall": (
        (
            '\n[[wall]]\nname = "w"\nmaterial = "timber 20 mm"\nalong = [[0, 0], [5, 0]]\nheight_m = 2\n'
            'opening = [{ name = "d", width_m = 1.0, height_m = 2.5 }]\n'
        ),
        '[[wall]] 2 "w": opening "d": its top is 2.50 m up, 0.50 m above the top of "w" there, 2.00 m',
    ),
    "a material of no such name in an opening": (
        (
            '\n[[wall]]\nname = "w"\nmaterial = "timber 20 mm"\nalong = [[0, 0], [5, 0]]\nheight_m = 2\n'
            'opening = [{ name = "d", width_m = 1.0, height_m = 1.5, material = "opn" }]\n'
        ),
        (
            '[[wall]] 2 "w": opening "d": material: "opn" is not known; `survey materials` lists them, [[material]] '
            'adds one; did you mean "open"?'
        ),
    ),
    "a search too high": (
        '\n[[search]]\nname = "s"\ninside = "workshop"\nups_m = [4.5]\n',
        '[[search]] 1 "s": ups_m: 4.50 m up is above the roof of "workshop" at its lowest, 4.11 m up; lower it',
    ),
    "a search without room": (
        '\n[[search]]\nname = "s"\ninside = "workshop"\nups_m = [1.5]\ngap_m = 7.0\n',
        '[[search]] 1 "s": gap_m: 7.00 m in from the walls leaves no room in "workshop"; write less',
    ),
    "a search without heights": (
        '\n[[search]]\nname = "s"\non = "workshop/south wall"\n',
        '[[search]] 1 "s": ups_m: is missing; write a list of heights from the foot of the wall or the floor',
    ),
    "half a hedge": (
        '\n[[foliage]]\nname = "h"\nalong = [[0, 0], [5, 0]]\nheight_m = 2\n',
        '[[foliage]] 1 "h": width_m: is missing; along needs it',
    ),
    "two shapes of a plant": (
        (
            '\n[[foliage]]\nname = "h"\nalong = [[0, 0], [5, 0]]\nwidth_m = 1\n'
            "centre = [0, 0]\nacross_m = 2\nheight_m = 2\n"
        ),
        '[[foliage]] 1 "h": along: centre is given too; write footprint, along and width_m, or centre and across_m',
    ),
    "a name that a building has taken": (
        spot("at = [0, 0]", "height_m = 1").replace('"p"', '"workshop/door"'),
        (
            '[[spot]] 1 "workshop/door" and [[building]] "workshop": name: "workshop/door" is used 2 times; every name '
            "in a plan must be different"
        ),
    ),
    "pieces of one obstacle of two materials": (
        (
            '\n[[wall]]\nname = "w1"\npart_of = "w"\nmaterial = "brick 110 mm"\nalong = [[0, 0], [5, 0]]\n'
            "height_m = 2\n"
            '\n[[wall]]\nname = "w2"\npart_of = "w"\nloss_db = 3\nalong = [[5, 0], [9, 0]]\nheight_m = 2\n'
        ),
        '[[wall]] 3 "w2": part_of: is of "w" as "w1" is, but not of its material or loss; write the same',
    ),
}


@pytest.mark.parametrize("case", FAULTS.values(), ids=FAULTS)
def test_a_place_that_cannot_be_is_refused_with_what_is_allowed(case):
    more, *lines = case
    assert told(more) == lines


def test_all_faults_are_told_in_one_run_and_what_follows_from_one_is_not_told():
    more = spot('on = "hut/north wall"', "up_m = 9.0", "colour = 1") + array(ROOF, "left_m = 9.0").replace(
        "2.0", '"x"', 1
    )
    more += '\n[[building]]\nname = "hut"\ncorners = [[50, 0], [53, 0], [53, 3], [50, 3]]\neaves_m = 0\n'
    lines = told(more)
    assert lines[0].startswith('[[building]] 2 "hut": wall_material: is missing')
    assert '[[building]] 2 "hut": eaves_m: 0 is out of range; write a number from 0.1 to 1000' in lines
    assert any(line.startswith(f"{P}: colour: no such key") for line in lines)
    assert f'{S}: spacing_m: "x" is text; write a number from 0.01 to 1000' in lines
    assert len(lines) == 4


def test_a_building_with_a_slash_is_refused_where_it_is_referred_to():
    hall = HALL.replace('"workshop"', '"work/shop"')
    assert told(spot('on = "work/shop/south wall"'), base=hall) == [
        f'{P}: on: "work/shop" holds "/" and is referred to; give that building a name without'
    ]
    can = HALL.replace('"can"', '"c/an"')
    assert told(spot('on = "c/an/top"'), base=can) == [
        f'{P}: on: "c/an" holds "/" and is referred to; give that box a name without'
    ]


def test_an_old_plan_does_not_load_the_faces():
    import subprocess  # noqa: PLC0415
    import sys  # noqa: PLC0415

    code = (
        "import sys, tomllib; from survey.inputs.plan_file import plan_of; "
        f"plan_of(tomllib.loads({MINIMAL!r}), file='x'); "
        "print([m for m in sys.modules if m.startswith(('survey.inputs.places', 'survey.inputs.buildings'))])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_box_that_stands_nowhere_still_tells_what_else_it_lacks():
    short = box('on = "nowhere/roof"').replace("length_m = 2.0\n", "")
    faults = told(short)
    assert any(one.startswith(f"{B}: on: ") for one in faults)
    assert f"{B}: length_m: is missing" in "\n".join(faults)
