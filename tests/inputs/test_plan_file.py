"""Reading a plan: what is accepted, what it expands to, and what is told of every fault."""

import errno
import os
import tomllib
from pathlib import Path

import pytest
from plans import (
    ALSO_ALLOWED,
    MINIMAL,
    WHOLE_PLAN,
    array,
    changed,
    entry,
    foliage,
    inverter_with,
    roof,
    search,
    spot,
    wall,
    write,
)

from survey.base.errors import PlanError
from survey.inputs.plan_file import plan_of, read_plan


@pytest.fixture
def told(tmp_path, monkeypatch):
    """What is told of the text, or the bytes, of a plan, line by line; nothing where it reads without fault."""
    monkeypatch.chdir(tmp_path)

    def lines(content):
        Path("yard.toml").write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        try:
            read_plan(Path("yard.toml"))
        except PlanError as error:
            return str(error).splitlines()
        return []

    return lines


# ------------------------------------------------------------------------------------------------ what is accepted


def test_the_whole_plan_of_the_interface_reads_without_fault(told):
    assert told(WHOLE_PLAN) == []


def test_all_that_the_interface_allows_besides_reads_without_fault(told):
    assert told(WHOLE_PLAN + ALSO_ALLOWED) == []


def test_the_whole_plan_keeps_every_value_it_gives():
    plan = plan_of(tomllib.loads(WHOLE_PLAN + ALSO_ALLOWED), file="yard.toml")
    assert (plan.file, plan.site.name, plan.radio.frequency_mhz) == ("yard.toml", "Saltbush Lane workshop", 2440.0)
    assert (plan.radio.inverter.mounting_loss_db, plan.radio.gateway.antenna_gain_dbi) == (6.0, 2.0)
    assert plan.environment.correlation_m == 5.0
    assert (plan.requirement.reliability, plan.requirement.gateways) == (0.95, 1)
    assert plan.materials["old shed cladding"].loss_db(2440.0) == 30.0
    assert plan.materials["cellar wall"].slab == "concrete"
    of_kind = {word: [one for one in plan.obstacles if one.kind == word] for word in ("wall", "box", "roof", "foliage")}
    assert [one.name for one in of_kind["wall"]] == ["shed south wall", "own wall"]
    assert plan.inverters[0].serial == "optional, any text"
    assert of_kind["box"][0].centre == (8.0, 6.0)
    assert of_kind["roof"][0].corners[2] == (20.0, 18.0, 5.1)
    assert of_kind["foliage"][0].loss_db_per_m == 0.5
    assert (plan.gateways[0].at, plan.spots[0].note) == ((21.0, 4.0), "socket and network there")


def test_the_minimal_plan_reads_and_every_default_is_the_one_of_the_interface():
    plan = plan_of(tomllib.loads(MINIMAL), file="yard.toml")
    assert plan.radio.polarisation == "unknown"
    assert vars(plan.radio.inverter) == {
        "tx_power_dbm": 8.0,
        "antenna_gain_dbi": None,
        "sensitivity_dbm": -96.0,
        "mounting_loss_db": 0.0,
        "cable_loss_db": 0.0,
        "noise_rise_db": 0.0,
        "antenna": "isotropic",
    }
    assert vars(plan.environment) == {
        "path_loss_exponent": 2.0,
        "exponent_spread": 0.25,
        "reference_distance_m": 1.0,
        "shadowing_db": 6.0,
        "correlation_m": 5.0,
    }
    assert vars(plan.requirement) == {
        "reliability": 0.95,
        "fade_margin_db": 3.0,
        "max_relays": 0,
        "inverters_per_gateway": 0,
        "gateways": 1,
    }
    assert ("[environment]", "shadowing_db", 6.0) in plan.defaults
    assert ("[radio.inverter]", "antenna_gain_dbi", 0.0) in plan.defaults, (
        "what it comes to, as the antenna is isotropic"
    )
    assert ("[radio.inverter]", "tx_power_dbm", 8.0) not in plan.defaults, "what the plan gives is no default"


def test_a_byte_order_mark_is_accepted(told):
    assert told(b"\xef\xbb\xbf" + MINIMAL.encode()) == []


def test_windows_line_ends_are_accepted(told):
    assert told(MINIMAL.replace("\n", "\r\n")) == []


def test_whole_numbers_stand_for_lengths_and_levels(told):
    assert told(MINIMAL.replace(".0", "")) == []


def test_names_in_any_script_with_quotes_and_without_the_space_around_them_are_kept():
    text = changed(('"i1"', "'  屋根 \"1\" + Süd '"))
    assert plan_of(tomllib.loads(text), file="yard.toml").inverters[0].name == '屋根 "1" + Süd'


def test_materials_are_matched_without_regard_to_case(told):
    own = entry("material", name='"Shade Cloth"', loss_db=1)
    of_both = wall(material='"STEEL Cladding"') + wall(name='"v"', material='"shade cloth"')
    assert told(changed(more=own + of_both)) == []


# ----------------------------------------------------------------------------------------------- faults, one by one

TABLES = (
    "site, radio, environment, requirement, drawing, ground, material, array, inverter, wall, box, roof, "
    "foliage, gateway, spot, search, building"
)
SITE_KEYS = "name, note, zero_lat_deg, zero_lon_deg, plan_north_deg, drawn_within_m, joint_m"
INVERTER_KEYS = (
    "tx_power_dbm, antenna_gain_dbi, sensitivity_dbm, mounting_loss_db, cable_loss_db, noise_rise_db, antenna, name, "
    "at, height_m, serial, branch, note, drawn_within_m, "
    "on, inside, left_m, right_m, up_m, down_m, side, gap_m, mast_m"
)
SLABS = "concrete, brick, plasterboard, wood, glass, ceiling board, chipboard, plywood, marble"
OUT_OF_ORDER = "write its corners in order around the edge"
ONE_NAME = "every name in a plan must be different"
NO_SUCH_MATERIAL = "is not known; `survey materials` lists them, [[material]] adds one"
NO_LINE_BREAK = "holds a line break or another character that cannot be printed; write it on one line"
HEIGHT = "write a number from -100 to 1000"
HEIGHTS = "write a list of 1 to 100 numbers from -100 to 1000"
COORDINATE = "write a number from -100000 to 100000"

THREE_OFFICES = f'"office" is used 3 times; {ONE_NAME}'
OFF_THE_PLANE = "the plane through all; up to 0.02 m is allowed. Measure again, or split the roof in two"
LONGER = "up to 20000000 are allowed, so write a longer step or split the area"
ONE_OF_TWO = "write exactly one of the two, a line of points or the corners of an area"

# Each with a name, the text or the bytes of the plan, and the lines that tell of it.
FAULTS = {
    # ---- keys and tables
    "a key with a near name": (
        inverter_with("height_m = 2.0\nserail = '1'"),
        '[[inverter]] 1 "i1": serail: no such key; did you mean serial?',
    ),
    "a key like no other": (
        inverter_with("height_m = 2.0\ncolour = 3"),
        f'[[inverter]] 1 "i1": colour: no such key; the keys here are {INVERTER_KEYS}',
    ),
    "a needed key misspelt": (
        inverter_with("heigth_m = 2.0"),
        '[[inverter]] 1 "i1": heigth_m: no such key; did you mean height_m?',
        '[[inverter]] 1 "i1": height_m: is missing',
    ),
    "a key with a line break": (
        inverter_with('height_m = 2.0\n"a\\nb" = 1'),
        f'[[inverter]] 1 "i1": a\\nb: no such key; the keys here are {INVERTER_KEYS}',
    ),
    "a table in a table": (
        changed(more="\n[site.deep.er]\nx = 1\n"),
        f"[site]: deep: no such key; the keys here are {SITE_KEYS}",
    ),
    "a list of tables misspelt": (changed(more="\n[[wal]]\n"), "[[wal]]: no such table; did you mean wall?"),
    "a table misspelt": (changed(more="\n[enviroment]\n"), "[enviroment]: no such table; did you mean environment?"),
    "a table like no other": (changed(more="\n[zzz]\n"), f"[zzz]: no such table; the tables are {TABLES}"),
    "a radio end misspelt": (
        changed(("[radio.inverter]", "[radio.invertor]")),
        "[radio.inverter]: is missing; write tx_power_dbm and sensitivity_dbm under it",
        "[radio]: invertor: no such key; did you mean inverter?",
    ),
    "a key at the top": (
        changed(("plan_version = 1", "plan_version = 1\nsitename = 'x'")),
        "sitename: no such key at the top of a plan; did you mean site?",
    ),
    "no version": (changed(("plan_version = 1", "")), "plan_version: is missing; write plan_version = 1 at the top"),
    "another version": (
        changed(("plan_version = 1", "plan_version = 2")),
        "plan_version: 2 is a number; this program reads plans of version 1 only",
    ),
    "a version in quotes": (
        changed(("plan_version = 1", "plan_version = '1'")),
        'plan_version: "1" is text; this program reads plans of version 1 only',
    ),
    "a version that is true": (
        changed(("plan_version = 1", "plan_version = true")),
        "plan_version: true is a yes-or-no value; this program reads plans of version 1 only",
    ),
    "no site": (changed(('[site]\nname = "invented yard"', "")), "[site]: is missing"),
    "a site without a name": (changed(('name = "invented yard"', "")), "[site]: name: is missing"),
    "a radio end without its sensitivity": (
        changed(("sensitivity_dbm = -96.0", "")),
        "[radio.inverter]: sensitivity_dbm: is missing",
    ),
    "[wall] for [[wall]]": (
        changed(more=wall().replace("[[wall]]", "[wall]")),
        "[[wall]]: write it with double brackets, [[wall]], once for each",
    ),
    "[inverter] for [[inverter]]": (
        changed(("[[inverter]]", "[inverter]")),
        "[[inverter]]: write it with double brackets, [[inverter]], once for each",
    ),
    "[[site]] for [site]": (changed(("[site]", "[[site]]")), "[site]: write it with single brackets, once"),
    "[[radio.gateway]] for [radio.gateway]": (
        changed(("[radio.gateway]", "[[radio.gateway]]")),
        "[radio.gateway]: write it as a table with single brackets, once",
    ),
    "a site that is text": (
        changed(('[site]\nname = "invented yard"', ""), ("plan_version = 1", "plan_version = 1\nsite = 'x'")),
        "[site]: write it as a table",
    ),
    "a list of spots that holds a number": (
        "spot = [3]\n" + MINIMAL,
        "[[spot]]: write it with double brackets, [[spot]], once for each",
    ),
    "no inverter": (
        changed(('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n\n[[gate', "[[gate")),
        "has no inverter; add an [[array]] or an [[inverter]]",
    ),
    "nothing but a note": (
        "# later\n",
        "plan_version: is missing; write plan_version = 1 at the top",
        "[site]: is missing",
        "[radio]: is missing",
        "has no inverter; add an [[array]] or an [[inverter]]",
    ),
    # ---- types
    "text for a number": (inverter_with('height_m = "2"'), f'[[inverter]] 1 "i1": height_m: "2" is text; {HEIGHT}'),
    "long text for a number": (
        inverter_with(f'height_m = "{"x" * 50}"'),
        f'[[inverter]] 1 "i1": height_m: "{"x" * 37}..." is text; {HEIGHT}',
    ),
    "true for a number": (
        inverter_with("height_m = true"),
        f'[[inverter]] 1 "i1": height_m: true is a yes-or-no value; {HEIGHT}',
    ),
    "a list for a number": (inverter_with("height_m = [2]"), f'[[inverter]] 1 "i1": height_m: is a list; {HEIGHT}'),
    "a table for a number": (
        inverter_with("height_m = {a = 1}"),
        f'[[inverter]] 1 "i1": height_m: is a table; {HEIGHT}',
    ),
    "a date for a number": (
        inverter_with("height_m = 2024-01-31"),
        f'[[inverter]] 1 "i1": height_m: is a date; {HEIGHT}',
    ),
    "a date and time for a number": (
        inverter_with("height_m = 2024-01-31T10:00:00Z"),
        f'[[inverter]] 1 "i1": height_m: is a datetime; {HEIGHT}',
    ),
    "a time for a number": (
        inverter_with("height_m = 10:00:00"),
        f'[[inverter]] 1 "i1": height_m: is a time; {HEIGHT}',
    ),
    "a number for a name": (
        changed(('name = "i1"', "name = 5")),
        '[[inverter]] 1: name: 5 is a number; write text in quotes, "like this"',
    ),
    "a date for a name": (
        changed(('name = "i1"', "name = 2024-01-31")),
        '[[inverter]] 1: name: is a date; write text in quotes, "like this"',
    ),
    "lists in lists for a name": (
        changed(('name = "i1"', f"name = {'[' * 50}{']' * 50}")),
        '[[inverter]] 1: name: is a list; write text in quotes, "like this"',
    ),
    "an empty name": (changed(('"i1"', '"  "')), "[[inverter]] 1: name: is empty; write a name"),
    "a name on two lines": (changed(('"i1"', '"a\\nb"')), f'[[inverter]] 1 "a\\nb": name: {NO_LINE_BREAK}'),
    "a name that would colour the terminal": (
        changed(('"i1"', '"\\u001b[31m"')),
        f'[[inverter]] 1 "\\x1b[31m": name: {NO_LINE_BREAK}',
    ),
    "a point with one coordinate": (
        changed(("[10.0, 0.0]", "[10.0]")),
        '[[inverter]] 1 "i1": at: holds 1 values; write [x, y], numbers from -100000 to 100000',
    ),
    "a number for a point": (
        changed(("[10.0, 0.0]", "10.0")),
        '[[inverter]] 1 "i1": at: 10.0 is a number; write [x, y], numbers from -100000 to 100000',
    ),
    "text for a coordinate": (
        changed(("[10.0, 0.0]", '[10.0, "0"]')),
        f'[[inverter]] 1 "i1": at: y: "0" is text; {COORDINATE}',
    ),
    "a date for a coordinate": (
        changed(("[10.0, 0.0]", "[2024-01-31, 0]")),
        f'[[inverter]] 1 "i1": at: x: is a date; {COORDINATE}',
    ),
    "text for a point of a wall": (
        changed(more=wall(along='[[0, 0], [1, "x"]]')),
        f'[[wall]] 1 "w": along: point 2: y: "x" is text; {COORDINATE}',
    ),
    "text for a line": (
        changed(more=wall(along='"north"')),
        '[[wall]] 1 "w": along: "north" is text; write 2 to 1000 points as [[x, y], [x, y], ...]',
    ),
    "a number for a list of heights": (
        changed(more=search(along="[[0, 0], [1, 0]]", heights_m=2)),
        f'[[search]] 1 "s": heights_m: 2 is a number; {HEIGHTS}',
    ),
    "a decimal for a count": (
        changed(more="\n[requirement]\nmax_relays = 1.0\n"),
        "[requirement]: max_relays: 1.0 is not a whole number; write a whole number from 0 to 20",
    ),
    "a word that is none of three": (
        changed(("frequency_mhz = 868.0", "frequency_mhz = 868.0\npolarisation = 'slant'")),
        '[radio]: polarisation: "slant" is not known; write "unknown" or "vertical" or "horizontal"',
    ),
    "a number for a word": (
        changed(("frequency_mhz = 868.0", "frequency_mhz = 868.0\npolarisation = 1")),
        '[radio]: polarisation: 1 is a number; write "unknown" or "vertical" or "horizontal"',
    ),
    # ---- numbers
    "not a number": (
        inverter_with("height_m = nan"),
        f'[[inverter]] 1 "i1": height_m: nan is not a number to calculate with; {HEIGHT}',
    ),
    "infinity": (
        inverter_with("height_m = -inf"),
        f'[[inverter]] 1 "i1": height_m: -inf is not a number to calculate with; {HEIGHT}',
    ),
    "not a number in a point": (
        changed(("[10.0, 0.0]", "[10.0, nan]")),
        f'[[inverter]] 1 "i1": at: y: nan is not a number to calculate with; {COORDINATE}',
    ),
    "infinity among heights": (
        changed(more=search(along="[[0, 0], [1, 0]]", heights_m="[1.5, inf]")),
        f'[[search]] 1 "s": heights_m: value 2: inf is not a number to calculate with; {HEIGHT}',
    ),
    "a height just too great": (
        inverter_with("height_m = 1000.0001"),
        f'[[inverter]] 1 "i1": height_m: 1000.0001 is out of range; {HEIGHT}',
    ),
    "gigahertz for megahertz": (
        changed(("868.0", "0.868")),
        "[radio]: frequency_mhz: 0.868 is out of range; write a number from 30 to 30000",
    ),
    "more power than any such radio has": (
        changed(("tx_power_dbm = 8.0", "tx_power_dbm = 36.5")),
        "[radio.inverter]: tx_power_dbm: 36.5 is out of range; write a number from -60 to 36",
    ),
    "a sensitivity without its sign": (
        changed(("-98.0", "98.0")),
        "[radio.gateway]: sensitivity_dbm: 98.0 is out of range; write a number from -160 to -10",
    ),
    "a promise that cannot be kept": (
        changed(more="\n[requirement]\nreliability = 1.0\ngateways = 0\ninverters_per_gateway = -1\n"),
        "[requirement]: reliability: 1.0 is out of range; write a number from 0.5 to 0.9999",
        "[requirement]: inverters_per_gateway: -1 is out of range; write a whole number from 0 to 1000000",
        "[requirement]: gateways: 0 is out of range; write a whole number from 1 to 1000",
    ),
    "a number of 401 digits": (
        inverter_with(f"height_m = 1{'0' * 400}"),
        f'[[inverter]] 1 "i1": height_m: that is out of range; {HEIGHT}',
    ),
    "a number of 5,000 digits": (
        inverter_with(f"height_m = 1{'0' * 5000}"),
        "holds a number of too many digits to be read",
    ),
    "a number of 5,000 hexadecimal digits": (
        changed(("plan_version = 1", f"plan_version = 0x{'f' * 5000}")),
        "plan_version: that is a number; this program reads plans of version 1 only",
    ),
    # ---- names
    "two inverters of one name": (
        changed(more=entry("inverter", name='"i1"', at="[1, 2]", height_m=3)),
        f'[[inverter]] 1 "i1" and [[inverter]] 2 "i1": name: "i1" is used 2 times; {ONE_NAME}',
    ),
    "a gateway and two spots of one name": (
        changed(more=spot("office") + spot(" office ")),
        f'[[gateway]] 1 "office" and [[spot]] 1 "office" and [[spot]] 2 " office ": name: {THREE_OFFICES}',
    ),
    "an inverter with a name that an array makes": (
        changed(('"i1"', '"N-1-2"'), more=array()),
        f'[[inverter]] 1 "N-1-2" and [[array]] 1 "N": name: "N-1-2" is used 2 times; {ONE_NAME}',
    ),
    "two arrays of one name, told once": (
        changed(more=array() + array()),
        f'[[array]] 1 "N" and [[array]] 2 "N": name: "N" is used 2 times; {ONE_NAME}',
    ),
    "several names that an array makes": (
        changed(more=array() + wall(name='"N-1-1"') + wall(name='"N-1-2"')),
        f'[[wall]] 1 "N-1-1" and [[array]] 1 "N": name: "N-1-1" is used 2 times; {ONE_NAME}',
        f'[[wall]] 2 "N-1-2" and [[array]] 1 "N": name: "N-1-2" is used 2 times; {ONE_NAME}',
    ),
    "a wall with the name of a row of modules": (
        changed(more=array(module_depth_m=1) + wall(name='"N modules 1"')),
        f'[[wall]] 1 "N modules 1" and [[array]] 1 "N": name: "N modules 1" is used 2 times; {ONE_NAME}',
    ),
    "a spot with a name that a search makes": (
        changed(more=search(along="[[0, 0], [5, 0]]") + spot("s/3.00,0.00,1.50")),
        f'[[spot]] 1 "s/3.00,0.00,1.50" and [[search]] 1 "s": name: "s/3.00,0.00,1.50" is used 2 times; {ONE_NAME}',
    ),
    "two own materials of one name": (
        changed(more=entry("material", name='"m"', loss_db=3) + entry("material", name='"M"', loss_db=2)),
        f'[[material]] 1 "m" and [[material]] 2 "M": name: "m" is used 2 times; {ONE_NAME}',
    ),
    # ---- materials
    "a material with a near name": (
        changed(more=wall(material='"stell cladding"')),
        f'[[wall]] 1 "w": material: "stell cladding" {NO_SUCH_MATERIAL}; did you mean "steel cladding"?',
    ),
    "a material near one of the plan's own": (
        changed(
            more=entry("material", name='"Shade Cloth"', loss_db=1)
            + roof("[[0, 0, 0], [1, 0, 0], [0, 1, 0]]", material='"shade clth"')
        ),
        f'[[roof]] 1 "r": material: "shade clth" {NO_SUCH_MATERIAL}; did you mean "Shade Cloth"?',
    ),
    "a material like no other": (
        changed(more=wall(material='"zzz"')),
        f'[[wall]] 1 "w": material: "zzz" {NO_SUCH_MATERIAL}',
    ),
    "neither material nor loss": (
        changed(more=wall().replace("loss_db = 3\n", "")),
        '[[wall]] 1 "w": material: is missing; write a material (see `survey materials`) or loss_db',
    ),
    "an own material without a loss": (
        changed(more=entry("material", name='"m"')),
        '[[material]] 1 "m": loss_db: is missing; write loss_db, or slab and thickness_m',
    ),
    "a thickness of nothing": (
        changed(more=entry("material", name='"m"', thickness_m=0.1, loss_db=3)),
        f'[[material]] 1 "m": thickness_m: means nothing without slab; write slab as one of {SLABS}',
    ),
    "a slab without a thickness": (
        changed(more=entry("material", name='"m"', slab='"concrete"')),
        '[[material]] 1 "m": thickness_m: is missing; a slab needs its thickness',
    ),
    "a slab misspelt, and a loss beside it": (
        changed(more=entry("material", name='"m"', slab='"concret"', thickness_m=0.1, loss_db=3)),
        '[[material]] 1 "m": slab: loss_db is given too; write one or the other',
        f'[[material]] 1 "m": slab: "concret" is not known; write one of {SLABS}; did you mean "concrete"?',
    ),
    # ---- shapes
    "a roof that is not flat": (
        # The plane of least squares through three corners at 0 and one at 0.6 m lies 0.6 / 4 m under or over each.
        changed(more=roof("[[0, 0, 0], [9, 0, 0], [9, 9, 0.6], [0, 9, 0]]")),
        f'[[roof]] 1 "r": corners: are not in one plane: corner 1 is 0.15 m off {OFF_THE_PLANE}',
    ),
    "a roof with its corners in a line": (
        changed(more=roof("[[0, 0, 0], [1, 0, 0], [2, 0, 0]]")),
        '[[roof]] 1 "r": corners: lie on one line: a roof of no area; write 3 to 8 corners around it, in order',
    ),
    "a roof that crosses itself": (
        changed(more=roof("[[0, 0, 3], [1, 1, 3], [1, 0, 3], [0, 1, 3]]")),
        '[[roof]] 1 "r": corners: cross themselves; write them in order around the edge',
    ),
    "a roof with its first corner again at the end": (
        changed(more=roof("[[0, 0, 3], [1, 0, 3], [1, 1, 3], [0, 1, 3], [0, 0, 3]]")),
        '[[roof]] 1 "r": corners: corners 1 and 5 are the same; write each corner once',
    ),
    "a roof of two corners": (
        changed(more=roof("[[0, 0, 3], [1, 0, 3]]")),
        '[[roof]] 1 "r": corners: holds 2 points; write 3 to 8 points as [[x, y, z], [x, y, z], ...]',
    ),
    "a roof of nine corners": (
        changed(more=roof(str([[i, i * i, 3] for i in range(9)]))),
        '[[roof]] 1 "r": corners: holds 9 points; write 3 to 8 points as [[x, y, z], [x, y, z], ...]',
    ),
    "a footprint of no area": (
        changed(more=foliage("[[0, 0], [1, 0], [2, 0]]")),
        f'[[foliage]] 1 "f": footprint: has no area; {OUT_OF_ORDER}',
    ),
    "a footprint that crosses itself": (
        changed(more=foliage("[[0, 0], [4, 4], [4, 0], [0, 3]]")),
        f'[[foliage]] 1 "f": footprint: crosses itself; {OUT_OF_ORDER}',
    ),
    "a footprint with a corner twice": (
        changed(more=foliage("[[0, 0], [4, 0], [4, 4], [4, 4]]")),
        '[[foliage]] 1 "f": footprint: corners 3 and 4 are the same; write each corner once',
    ),
    "a wall of no length": (
        changed(more=wall(along="[[0, 0], [0, 0]]")),
        '[[wall]] 1 "w": along: points 1 and 2 are the same: a wall of no length; move one',
    ),
    "a wall with a piece of no length": (
        changed(more=wall(along="[[0, 0], [1, 0], [1, 0]]")),
        '[[wall]] 1 "w": along: points 2 and 3 are the same: a wall of no length; move one',
    ),
    "a wall of one point": (
        changed(more=wall(along="[[0, 0]]")),
        '[[wall]] 1 "w": along: holds 1 points; write 2 to 1000 points as [[x, y], [x, y], ...]',
    ),
    "a wall of no height": (
        changed(more=wall(height_m=0)),
        '[[wall]] 1 "w": height_m: 0 is out of range; write a number from 0.01 to 10000',
    ),
    # ---- arrays and searches
    "a row without its spacing": (
        changed(more=array().replace("spacing_m = 1\n", "")),
        '[[array]] 1 "N": spacing_m: is missing; write the distance between inverters along a row',
    ),
    "modules without a spacing": (
        changed(more=array(per_row=1, module_depth_m=1).replace("spacing_m = 1\n", "")),
        '[[array]] 1 "N": spacing_m: is missing; write the distance between inverters along a row',
    ),
    "rows without their spacing": (
        changed(more=array(rows=2)),
        '[[array]] 1 "N": row_spacing_m: is missing; write the distance between rows, measured up the slope',
    ),
    "an array of a million": (
        changed(more=array(rows=1000, per_row=1000, row_spacing_m=1)),
        '[[array]] 1 "N": rows: make 1000000 inverters with per_row; up to 100000 fit in one array',
    ),
    "an array of none": (
        changed(more=array(per_row=0)),
        '[[array]] 1 "N": per_row: 0 is out of range; write a whole number from 1 to 10000',
    ),
    "a search along a line with more than a million points": (
        changed(more=search(along="[[0, 0], [50000, 0]]", step_m=0.05)),
        '[[search]] 1 "s": step_m: makes about 1000001 points; up to 1000000 are allowed, so write a longer step',
    ),
    "a search in an area with more than a million points": (
        changed(more=search(within="[[0, 0], [1000, 0], [1000, 1000], [0, 1000]]", step_m=0.5)),
        '[[search]] 1 "s": step_m: makes about 4004001 points; up to 1000000 are allowed, so write a longer step',
    ),
    "a search in a strip with an endless grid round it": (
        changed(more=search(within="[[0, 0], [1, 0], [50000, 50000]]")),
        f'[[search]] 1 "s": step_m: lays a grid of 2500100001 points over the area; {LONGER}',
    ),
    "a search of nothing": (changed(more=search()), f'[[search]] 1 "s": along: or within: {ONE_OF_TWO}'),
    "a search of two things": (
        changed(more=search(along="[[0, 0], [1, 0]]", within="[[0, 0], [1, 0], [1, 1]]")),
        f'[[search]] 1 "s": along: or within: {ONE_OF_TWO}',
    ),
    "a search along no length": (
        changed(more=search(along="[[1, 1], [1, 1]]")),
        '[[search]] 1 "s": along: has no length: its points are all the same; move one',
    ),
    "a search in no area": (
        changed(more=search(within="[[0, 0], [1, 0], [2, 0]]")),
        f'[[search]] 1 "s": within: has no area; {OUT_OF_ORDER}',
    ),
    "a search at no height": (
        changed(more=search(along="[[0, 0], [1, 0]]", heights_m="[]")),
        f'[[search]] 1 "s": heights_m: holds 0 values; {HEIGHTS}',
    ),
    # ---- the file as a whole
    "not TOML": (inverter_with("height_m == 2.0"), "line 20, column 11: is not TOML: Invalid value"),
    "text that does not end": ('plan_version = 1\nnote = "', "end of file: is not TOML: Unterminated string"),
    "a key that stands twice": (
        changed(("tx_power_dbm = 8.0", "tx_power_dbm = 8.0\ntx_power_dbm = 9.0")),
        "line 11, column 19: is not TOML: Cannot overwrite a value",
    ),
    "lists in lists without end": (
        changed(('"i1"', "[" * 5000 + "]" * 5000)),
        "nests lists or tables too deep to be read",
    ),
    "Latin letters in another encoding": (
        b"plan_version = 1\n# caf\xe9\n",
        "is not UTF-8 text (byte 23, line 2); save it as UTF-8",
    ),
    "UTF-16": (MINIMAL.encode("utf-16"), "is not UTF-8 text (byte 1, line 1); save it as UTF-8"),
    "nothing at all": ("", "is empty; `survey start FILE` writes a plan to fill in"),
    "nothing but space": ("\n \r\n\t", "is empty; `survey start FILE` writes a plan to fill in"),
}


@pytest.mark.parametrize("case", FAULTS.values(), ids=FAULTS)
def test_every_fault_is_told_with_its_place_and_what_is_allowed(told, case):
    content, *lines = case
    assert told(content) == [f"yard.toml: {line}" for line in lines]


def test_all_faults_of_a_file_are_told_in_one_run(told):
    content = changed(
        ("tx_power_dbm = 8.0", "tx_power_dbm = 80.0"),
        ("frequency_mhz", "freqency_mhz"),
        ('"i1"', '""'),
        more=wall(material='"stel cladding"', height_m=-1)
        + wall(name='"office"', along="[[0, 0], [0, 0]]", colour=1)
        + entry("spot", name='"post"', height_m=2)
        + "\n[extra]\n",
    )
    colour = "name, material, loss_db, spread_db, along, height_m, base_m, part_of, drawn_within_m, opening"
    assert told(content) == [
        f"yard.toml: {line}"
        for line in (
            f"[extra]: no such table; the tables are {TABLES}",
            "[radio.inverter]: tx_power_dbm: 80.0 is out of range; write a number from -60 to 36",
            "[radio]: freqency_mhz: no such key; did you mean frequency_mhz?",
            "[radio]: frequency_mhz: is missing",
            "[[inverter]] 1: name: is empty; write a name",
            '[[wall]] 1 "w": height_m: -1 is out of range; write a number from 0.01 to 10000',
            f'[[wall]] 2 "office": colour: no such key; the keys here are {colour}',
            '[[wall]] 2 "office": along: points 1 and 2 are the same: a wall of no length; move one',
            '[[spot]] 1 "post": at: is missing',
            f'[[wall]] 2 "office" and [[gateway]] 1 "office": name: "office" is used 2 times; {ONE_NAME}',
            f'[[wall]] 1 "w": material: "stel cladding" {NO_SUCH_MATERIAL}; did you mean "steel cladding"?',
        )
    ]


def test_an_own_material_that_is_at_fault_is_not_also_told_as_unknown(told):
    content = changed(more=entry("material", name='"mesh"', loss_db=-1) + wall(material='"mesh"'))
    assert told(content) == [
        'yard.toml: [[material]] 1 "mesh": loss_db: -1 is out of range; write a number from 0 to 200'
    ]


def test_entries_are_numbered_as_the_file_has_them(told):
    content = changed(more=wall(height_m=0) + wall(name='"v"', material='"zzz"'))
    assert [line.split(":")[1] for line in told(content)] == [' [[wall]] 1 "w"', ' [[wall]] 2 "v"']


def test_the_faults_of_a_plan_can_be_read_one_by_one():
    with pytest.raises(PlanError) as caught:
        plan_of(tomllib.loads(inverter_with("height_m = nan")), file="yard.toml")
    (fault,) = caught.value.faults
    assert (fault.file, fault.place, fault.key) == ("yard.toml", '[[inverter]] 1 "i1"', "height_m")


# ---------------------------------------------------------------------------------------------- files that are none


def read(path):
    with pytest.raises(PlanError) as caught:
        read_plan(path)
    return str(caught.value)


def test_a_folder_is_no_plan(tmp_path):
    assert read(tmp_path) == f"{tmp_path}: is a folder; name the plan file in it"


def test_a_file_that_is_not_there_is_told_with_the_nearest_name(tmp_path):
    write(tmp_path, name="workshop.toml")
    path = tmp_path / "workhsop.toml"
    assert read(path) == f'{path}: there is no such file; did you mean "workshop.toml"?'


def test_a_file_that_is_not_there_and_is_like_no_other(tmp_path):
    path = tmp_path / "workshop.toml"
    assert read(path) == f"{path}: there is no such file"
    assert read(path / "inside.toml").startswith(f"{path / 'inside.toml'}: there is no such file")


def test_a_file_under_a_file_cannot_be_read(tmp_path):
    path = write(tmp_path) / "plan.toml"
    assert read(path) == f"{path}: cannot be read: {os.strerror(errno.ENOTDIR)}"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read every file")
def test_a_file_that_may_not_be_read(tmp_path):
    path = write(tmp_path)
    path.chmod(0)
    assert read(path) == f"{path}: cannot be read: Permission denied"


def test_whatever_the_system_says_of_a_file_that_cannot_be_read_is_told(tmp_path, monkeypatch):
    path = write(tmp_path)

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert read(path) == f"{path}: cannot be read: Permission denied"


def test_a_file_far_longer_than_any_plan_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("survey.inputs.plan_reading.toml.MOST_BYTES", 100)
    path = write(tmp_path)
    assert read(path) == f"{path}: is longer than 100 bytes, the limit for a plan"


def test_a_line_break_in_the_name_of_a_file_stays_on_one_line(tmp_path):
    assert "\n" not in read(tmp_path / "two\nlines.toml")
