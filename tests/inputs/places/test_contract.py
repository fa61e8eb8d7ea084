"""What a plan of buildings and places refuses, one small plan a line, each by the whole of what the reader says."""

import json
import tomllib

import pytest
from click.testing import CliRunner
from plans import MINIMAL

from survey.base.errors import PlanError
from survey.cli import main
from survey.inputs.plan_file import plan_of

WORKSHOP = """
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
"""
SOUTH, ROOF = "workshop/south wall", "workshop/south roof"
ELL = [15.2, 7.8, -8.4, 5.6, -6.8, -13.4]
FOOTPRINT = ("corner", "length_m", "width_m", "bearing_deg")
LEAVE = "leave it out"


def table(table_name, /, **keys):
    """An entry of a plan, without the keys that are None."""
    lines = [f"{key.rstrip('_')} = {_value(value)}\n" for key, value in keys.items() if value is not None]
    return f"\n[[{table_name}]]\n{''.join(lines)}"


def _value(value):
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{json.dumps(key)} = {_value(one)}' for key, one in value.items())} }}"
    return f"[{', '.join(map(_value, value))}]" if isinstance(value, list) else json.dumps(value)


def h(*left_out, **keys):
    """A flat building of 10 by 6 m, without some of its keys and with others."""
    flat = {"name": "h", "corner": [50, 0], "length_m": 10, "width_m": 6, "bearing_deg": 90}
    flat |= {"eaves_m": 3, "wall_material": "steel cladding"}
    return table("building", **({key: value for key, value in flat.items() if key not in left_out} | keys))


def spot(**keys):
    return table("spot", name="p", **keys)


def array(**keys):
    return table("array", name="S", per_row=11, rows=4, spacing_m=2.0, row_spacing_m=1.5, **keys)


def box(**keys):
    return table("box", name="x", size="10 ft", **keys)


def search(**keys):
    return table("search", name="s", **keys)


def loose(**keys):
    return table("wall", name="w", material="timber 20 mm", along=[[0, 0], [5, 0]], height_m=2, **keys)


def door(on, name="gate", width_m=1, height_m=2, **keys):
    return {key: value for key, value in {"on": on, "name": name}.items() if value} | {
        "width_m": width_m,
        "height_m": height_m,
        **keys,
    }


def inner(**keys):
    return [{"name": "i", "material": "timber 20 mm", "parallel_to": "west wall", "in_m": 3, **keys}]


def told(more):
    """What the reader says of the small plan with a workshop and more."""
    try:
        plan_of(tomllib.loads(MINIMAL + WORKSHOP + more), file="yard.toml")
    except PlanError as error:
        return [str(fault).removeprefix("yard.toml: ") for fault in error.faults]
    return []


H, P, S, X, W, Q = (
    '[[building]] 2 "h"',
    '[[spot]] 1 "p"',
    '[[array]] 1 "S"',
    '[[box]] 1 "x"',
    '[[wall]] 1 "w"',
    '[[search]] 1 "s"',
)
FOLLOWS = f'follows from "on"; {LEAVE}'

SHOWN = [
    (
        h("length_m", "width_m", sides_m=[15.8, *ELL[1:]]),
        f"{H}: sides_m: do not close: along the bearing 0.60 m are left over; measure again, or write drawn_within_m",
    ),
    (
        h(*FOOTPRINT, corners=[[0, 0], [12, 0], [15, 9], [0, 9]], roof="gable", ridge_m=5),
        (
            f'{H}: roof: "gable" needs right angles; corner 3 is 1.3 m off. Draw two buildings, or a '
            "flat roof and loose [[roof]] sheets"
        ),
    ),
    (
        h(*FOOTPRINT, against=SOUTH, depth_m=4, roof="mono-pitch", ridge_m=4.4),
        f'{H}: ridge_m: mono-pitch meets "{SOUTH}" 4.40 m up, 0.40 m above its top; lower it, or draw it beside',
    ),
    (
        h(opening=[door("south wall", width_m=11)]),
        f'{H}: opening "gate": 11.00 m wide, but "south wall" is 10.00 m long',
    ),
    (
        array(on=ROOF, left_m=4.35, up_m=0.5),
        (
            f'{S}: does not fit: 4 of 44 inverters lie beyond the edge of "{ROOF}", S-1-11 by 0.35 m; the face is '
            "24.00 m along the eaves and 6.14 m up the slope"
        ),
    ),
    (
        h("length_m", "width_m", sides_m=ELL, roof="hip", pitch_deg=20) + array(on="h/east roof"),
        (
            f'{S}: on: "h" has two east roofs: "east roof 1" at 65.2, 0.0 (7.8 m long), '
            '"east roof 2" at 56.8, 7.8 (5.6 m long)'
        ),
    ),
    (
        spot(on=SOUTH, up_m=4.6),
        f'{P}: up_m: 4.60 m is above the top of "{SOUTH}", 4.00 m; lower it, or write mast_m',
    ),
]

PITCH = [
    (h(roof="gable", pitch_deg=80), f"{H}: pitch_deg: 80 is out of range; write a number from 0.5 to 75"),
    (h(roof="gable", pitch_deg=0.4), f"{H}: pitch_deg: 0.4 is out of range; write a number from 0.5 to 75"),
    (
        h(roof="gable", ridge_m=90),
        f"{H}: ridge_m: 90.00 m makes a pitch of 88.0 degrees over a run of 3.00 m; a roof here has 0.5 to 75 degrees",
    ),
]

KEYS_THAT_FOLLOW = [
    (spot(on=SOUTH, height_m=2), f"{P}: height_m: {FOLLOWS}"),
    (table("gateway", name="g", on=ROOF, height_m=2), f'[[gateway]] 2 "g": height_m: {FOLLOWS}'),
    (table("inverter", name="g", on=ROOF, height_m=2), f'[[inverter]] 2 "g": height_m: {FOLLOWS}'),
    *((array(on=ROOF, **{key: 9}), f"{S}: {key}: {FOLLOWS}") for key in ("height_m", "tilt_deg", "bearing_deg")),
    (array(on=ROOF, faces="east"), f'{S}: faces: follows from "on": "{ROOF}" slopes; {LEAVE}'),
    *((box(on=ROOF, **{key: 2}), f"{X}: {key}: {FOLLOWS}") for key in ("base_m", "bearing_deg")),
    (box(beside=SOUTH, centre=[0, 0]), f'{X}: centre: follows from "beside"; {LEAVE}'),
    *(
        (box(centre=[0, 0], **{key: 2}), f'{X}: {key}: follows from "size"; {LEAVE}')
        for key in ("length_m", "height_m")
    ),
    (search(on=SOUTH, ups_m=[1], heights_m=[2]), f'{Q}: heights_m: follows from "on"; {LEAVE}, and write ups_m'),
    (
        search(inside="workshop", ups_m=[1], heights_m=[2]),
        f'{Q}: heights_m: follows from "inside"; {LEAVE}, and write ups_m',
    ),
    (h("corner", "bearing_deg", centre=[12, 26], on=ROOF, base_m=2), f"{H}: base_m: {FOLLOWS}"),
    (
        h(*FOOTPRINT, against=SOUTH, depth_m=4, roof="mono-pitch", ridge_m=3.4, falls="south"),
        f'{H}: falls: follows from "against": the roof falls away from that wall; {LEAVE}',
    ),
]

INSIDE_AND_OUTSIDE = [
    (
        spot(inside="workshop", at=[0, 0], up_m=1),
        f'{P}: at: 0.00, 0.00 is not inside "workshop"; move it, or leave out inside',
    ),
    (
        spot(inside="workshop", at=[1, 21], up_m=5),
        f'{P}: up_m: 5.00 m up is above the roof of "workshop" there, 4.21 m up; lower it',
    ),
    (
        spot(inside="workshop", at=[1, 21], height_m=-1),
        f'{P}: height_m: -1.00 m is below the floor of "workshop", 0.00 m; raise it',
    ),
    (spot(inside="workshop", up_m=1, side="outside"), f'{P}: side: means nothing with "inside"; {LEAVE}'),
    (spot(inside="workshop", on=SOUTH, up_m=1), f"{P}: inside: on is given too; write one of them"),
    (
        search(inside="workshop", ups_m=[4.5]),
        f'{Q}: ups_m: 4.50 m up is above the roof of "workshop" at its lowest, 4.11 m up; lower it',
    ),
]

CORNERS_THAT_CROSS = [
    (
        h(*FOOTPRINT, corners=[[0, 0], [6, 0], [6, 5], [3, -2]]),
        f"{H}: corners: crosses itself; write its corners in order around the edge",
    ),
    (
        h("length_m", "width_m", sides_m=[10, 4, -12, -6, 6, 8, -4, -6]),
        f"{H}: sides_m: cross themselves; write them in the order of the walk, minus for back",
    ),
]

TWICE = [door("south wall", "a"), door("south wall", "b")]
PLAIN_TWICE = [door("", "a", height_m=1), door("", "b", height_m=1)]
OPENINGS = [
    (
        h(opening=[door("south wall", height_m=3.5)]),
        f'{H}: opening "gate": its top is 3.50 m up, 0.50 m above the top of "south wall" there, 3.00 m',
    ),
    (
        loose(opening=[door("", height_m=2.5)]),
        f'{W}: opening "gate": its top is 2.50 m up, 0.50 m above the top of "w" there, 2.00 m',
    ),
    (
        box(centre=[60, 60], opening=[door("east side", height_m=3)]),
        f'{X}: opening "gate": its top is 3.00 m up, 0.56 m above the top of "east side" there, 2.44 m',
    ),
    (
        h(inner_wall=inner(opening=[door("", height_m=3.5)])),
        f'{H}: inner_wall "i": opening "gate": its top is 3.50 m up, 0.50 m above the top of "i" there, 3.00 m',
    ),
    (h(opening=TWICE), f'{H}: opening "b": overlaps "a" in "south wall"'),
    (loose(opening=PLAIN_TWICE), f'{W}: opening "b": overlaps "a" in "w"'),
    (h(inner_wall=inner(opening=PLAIN_TWICE)), f'{H}: inner_wall "i": opening "b": overlaps "a" in "i"'),
    (
        box(centre=[60, 60], opening=[door("top", "a", height_m=1), door("top", "b", height_m=1)]),
        f'{X}: opening "b": overlaps "a" in "top"',
    ),
    (
        h(materials={"south wall": "open"}, opening=[door("south wall")]),
        f'{H}: opening "gate": "south wall" is open: there is no sheet to cut',
    ),
    (
        h(inner_wall=inner(material="open", opening=[door("")])),
        f'{H}: inner_wall "i": opening "gate": "i" is open: there is no sheet to cut',
    ),
    (
        h(*FOOTPRINT, against=SOUTH, depth_m=4, opening=[door("north wall")]),
        f'{H}: opening "gate": on: "north wall" is shared; write the opening in "workshop", on "{SOUTH}"',
    ),
    (
        loose(opening=[door("", "row", width_m=0.05, height_m=0.05, count=500, every_m=0.06)] * 5).replace(
            "5, 0", "50, 0"
        ),
        f'{W}: opening "row": "w" has 2500 openings with this; write up to 2000',
    ),
]

ABOVE_THE_ROOF = [
    (
        h(level=[{"name": "l", "height_m": 3.5, "material": "timber 20 mm"}]),
        f'{H}: level "l": height_m: 3.50 m is not below the roof, whose highest point is at 3.00 m',
    ),
    (
        h(inner_wall=inner(height_m=3.5)),
        f'{H}: inner_wall "i": height_m: its top is 3.50 m up, 0.50 m above the roof there, 3.00 m',
    ),
    (h(inner_wall=inner(foot_m=3.5)), f'{H}: inner_wall "i": foot_m: 3.50 m is not below the roof there, 3.00 m'),
]

NO_END = f'{H}: gables: "south wall" is not the end of a wing: a gable is at the short end of a rectangle'
RING = "they stand on each other in a ring"
OTHERS = [
    (h(roof="hip", ridge_m=4, gables=["south wall"]), NO_END),
    (
        box(on="z/top") + box(beside="x/north side").replace('"x"', '"z"', 1),
        f"{X}: on: {RING}: x -> z -> x; place one of them by its centre",
    ),
    (
        h(*FOOTPRINT, beside="k/north wall", gap_m=1, length_m=3, depth_m=3)
        + h(*FOOTPRINT, beside="h/north wall", gap_m=1, length_m=3, depth_m=3).replace('"h"', '"k"', 1),
        f"{H}: beside: {RING}: h -> k -> h; place one of them by its corner",
    ),
    *(
        (
            table(name, name="g", on=SOUTH, at=[1, 1]),
            f'[[{name}]] {number} "g": at: "{SOUTH}" is a wall: left_m and up_m say where on it; {LEAVE}',
        )
        for name, number in (("spot", 1), ("gateway", 2), ("inverter", 2))
    ),
]


@pytest.mark.parametrize(
    ("more", "line"),
    [
        *SHOWN,
        *PITCH,
        *KEYS_THAT_FOLLOW,
        *INSIDE_AND_OUTSIDE,
        *CORNERS_THAT_CROSS,
        *OPENINGS,
        *ABOVE_THE_ROOF,
        *OTHERS,
    ],
)
def test_what_cannot_be_is_refused_by_one_line(more, line):
    assert told(more) == [line]


@pytest.mark.parametrize(
    ("more", "key", "low", "high"),
    [
        (h, "eaves_m", 0.1, 1000),
        (h, "overhang_m", 0, 5),
        (h, "parapet_m", 0, 10),
        (lambda **keys: h(roof="saw-tooth", ridge_m=4, falls="south", **keys), "teeth", 1, 200),
        (h, "drawn_within_m", 0, 100),
        (lambda **keys: spot(on=SOUTH, **keys), "gap_m", 0.1, 50),
        (lambda **keys: spot(on=SOUTH, **keys), "mast_m", 0.1, 50),
        (lambda **keys: h(opening=[door("south wall") | keys]), "width_m", 0.05, 1000),
        (lambda **keys: h(opening=[door("south wall") | keys]), "count", 1, 500),
    ],
)
def test_a_figure_out_of_its_range_is_refused_with_the_range(more, key, low, high):
    for value in (low - 1, high + 1):
        (line,) = told(more(**{key: value}))
        whole = "whole " if key in ("teeth", "count") else ""
        assert line.endswith(f"{key}: {value} is out of range; write a {whole}number from {low} to {high}")


def test_more_sheets_than_a_plan_may_have_are_refused(monkeypatch):
    """The workshop has four walls and two roofs; the wall around its door falls into three sheets."""
    monkeypatch.setattr("survey.inputs.places.layout.MAX_SHEETS", 9)
    one = loose(opening=[door("", height_m=1)])
    assert told(one) == []
    monkeypatch.setattr("survey.inputs.places.layout.MAX_SHEETS", 8)
    assert told(one) == ["buildings and openings make 9 sheets; a plan may have 8 of them"]


def test_every_fault_is_told_in_one_run_of_check(tmp_path):
    """Each of these plans has one fault; together they have as many, whatever else is at fault beside them."""
    cases = [
        h(opening=[door("south wall", width_m=11)], level=[{"name": "l", "height_m": 3.5, "material": "timber 20 mm"}]),
        spot(inside="workshop", at=[0, 0], up_m=1),
        search(inside="workshop", ups_m=[4.5]),
        array(on=ROOF, left_m=4.35, up_m=0.5),
        box(on=ROOF, base_m=2, length_m=3),
        loose(opening=PLAIN_TWICE),
    ]
    alone = [line for case in cases for line in told(case)]
    assert len(alone) == 8
    file = tmp_path / "yard.toml"
    file.write_text(MINIMAL + WORKSHOP + "".join(cases), encoding="utf-8")
    done = CliRunner().invoke(main, ["check", str(file)])
    assert done.exit_code == 1
    lines = [line.partition("yard.toml: ")[2] for line in done.stderr.splitlines() if "yard.toml: " in line]
    assert sorted(lines) == sorted(alone)


def test_every_key_of_one_place_that_is_at_fault_is_told():
    more = spot(on=SOUTH, at=[1, 1], height_m=2, left_m=1, right_m=2, up_m=9)
    assert [line.removeprefix(f"{P}: ").partition(":")[0] for line in told(more)] == [
        "height_m",
        "right_m",
        "at",
        "up_m",
    ]


def test_a_container_that_is_refused_still_has_its_material():
    assert told(box(centre=[0, 0], length_m=3)) == [f'{X}: length_m: follows from "size"; {LEAVE}']
