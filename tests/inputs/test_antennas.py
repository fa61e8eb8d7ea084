"""Antennas: the dipole against its textbook figures, tables of gain, and what a plan makes of them."""

import os
import re
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plans import MINIMAL, array, changed, entry, search

from survey.base.errors import EntryError, PatternError, PlanError
from survey.decisions.inspection import inspect
from survey.inputs.antennas import DIPOLE, ISOTROPIC, KINDS, Pattern, dipole_gain_db, gains_dbi, read_pattern
from survey.inputs.plan_file import plan_of, read_plan
from survey.scene import scene_of

# ------------------------------------------------------------------------------------------------------- the dipole


def test_the_directivity_of_the_dipole_is_the_one_of_the_textbooks():
    """1.6409 or 2.151 dBi: from the integral of the pattern over the sphere, its field at the horizon being 1.

    Books print 1.643 by rounding (Balanis, Antenna Theory; from memory, and worked out anew for the reference set).
    """
    sine, weight = np.polynomial.legendre.leggauss(400)
    directivity = 2.0 / np.sum(weight * 10.0 ** (dipole_gain_db(np.rad2deg(np.arcsin(sine))) / 10.0))
    assert directivity == pytest.approx(1.640922, abs=1e-5)
    assert 10.0 * np.log10(directivity) == pytest.approx(2.151, abs=0.0005)
    assert float(DIPOLE.gain_dbi(0.0)) == pytest.approx(10.0 * np.log10(directivity), abs=0.001), "2.15 as all round it"


def test_the_half_power_beam_of_the_dipole_is_78_degrees_wide():
    """78.08 degrees: same source; here by halving the interval in which the gain falls to a half."""
    low, high = 0.0, 90.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if dipole_gain_db(middle) > 10.0 * np.log10(0.5) else (low, middle)
    assert 2.0 * low == pytest.approx(78.0777, abs=0.0005)


# The closed form cos(90 deg cos t) / sin t of any antenna text, worked out for the reference set; t from the axis.
RELATIVE_DB = [(90.0, 0.0), (60.0, -1.76091), (45.0, -4.04173), (30.0, -7.58076), (10.0, -17.23939)]


@pytest.mark.parametrize(("from_axis_deg", "expected_db"), RELATIVE_DB)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_gain_of_the_dipole_off_its_axis_is_the_closed_form(from_axis_deg, expected_db, side):
    elevation_deg = side * (90.0 - from_axis_deg)
    assert float(dipole_gain_db(elevation_deg)) == pytest.approx(expected_db, abs=1e-5)
    assert float(DIPOLE.gain_dbi(elevation_deg)) == pytest.approx(2.15 + expected_db, abs=1e-5)


@given(st.floats(-89.0, 89.0))
def test_the_dipole_is_worked_out_as_the_formula_stands_in_the_books(elevation_deg):
    from_axis = np.deg2rad(90.0 - elevation_deg)
    expected_db = 20.0 * np.log10(np.cos(np.pi / 2.0 * np.cos(from_axis)) / np.sin(from_axis))
    assert float(dipole_gain_db(elevation_deg)) == pytest.approx(expected_db, abs=1e-6)


def test_along_its_axis_the_dipole_keeps_a_floor_that_begins_within_a_degree():
    assert dipole_gain_db([90.0, -90.0, 89.5]).tolist() == [-40.0] * 3
    assert float(dipole_gain_db(89.0)) > -40.0
    assert np.isnan(dipole_gain_db(np.nan))


@given(st.floats(0.0, 90.0), st.floats(0.0, 90.0))
def test_the_dipole_gives_less_the_steeper_and_the_same_up_as_down(one_deg, other_deg):
    low, high = sorted((one_deg, other_deg))
    assert dipole_gain_db(high) <= dipole_gain_db(low) + 1e-9
    assert dipole_gain_db(-low) == dipole_gain_db(low)


def test_the_points_of_the_dipole_lie_on_it():
    assert DIPOLE.gain_dbi(DIPOLE.elevation_deg, base_gain_dbi=0.0).tolist() == list(DIPOLE.gain_db)


# ----------------------------------------------------------------------------------------------------------- tables

WHIP = Pattern(name="whip.csv", elevation_deg=(-90.0, -30.0, 0.0, 90.0), gain_db=(-20.0, -5.0, 4.0, -50.0))


def test_between_two_elevations_gain_goes_in_a_straight_line_in_db():
    """By hand: -60 lies half way from -20 to -5; -10 a third of the way from 4 to -5; 45 half way from 4 to -50."""
    assert WHIP.gain_dbi([-90.0, -60.0, -30.0, -10.0, 0.0, 45.0, 90.0]) == pytest.approx(
        [-20, -12.5, -5, 1, 4, -23, -50]
    )
    assert np.isnan(WHIP.gain_dbi(np.nan))


def test_gain_is_worked_out_in_the_shape_of_the_elevations():
    assert WHIP.gain_dbi(np.zeros((2, 3))).shape == (2, 3)
    assert DIPOLE.gain_dbi(np.zeros((2, 3)), base_gain_dbi=np.array([[1.0], [2.0]])).tolist() == [[1.0] * 3, [2.0] * 3]


@pytest.mark.parametrize(
    ("pattern", "given_dbi", "base_dbi", "peak_dbi"),
    [
        (ISOTROPIC, None, 0.0, 0.0),
        (ISOTROPIC, 5.0, 5.0, 5.0),
        (DIPOLE, None, 2.15, 2.15),
        (DIPOLE, -1.0, -1.0, -1.0),
        (WHIP, None, 0.0, 4.0),
        (WHIP, 5.0, 0.0, 4.0),
    ],
)
def test_the_gain_in_a_plan_is_that_at_the_horizon_and_a_table_does_not_look_at_it(
    pattern, given_dbi, base_dbi, peak_dbi
):
    assert pattern.base_gain_dbi(given_dbi) == base_dbi
    assert pattern.peak_gain_dbi(given_dbi) == peak_dbi


BAD_POINTS = [
    ((), (), "gain_db: must be one for each elevation, of which there is one or more"),
    ((-90.0, 90.0), (0.0,), "gain_db: must be one for each elevation, of which there is one or more"),
    ((-90.0, 90.0), (0.0, np.nan), "gain_db: must be a number at each elevation, and so must that"),
    ((-90.0, np.inf, 90.0), (0.0, 0.0, 0.0), "gain_db: must be a number at each elevation, and so must that"),
    ((-90.0, 5.0, 5.0, 90.0), (0.0,) * 4, "elevation_deg: must rise from each to the next"),
    (
        (0.0, 90.0),
        (0.0, 0.0),
        "elevation_deg: goes from 0 to 90; a pattern goes from -90, straight down, to 90, straight up",
    ),
]


@pytest.mark.parametrize(("elevation_deg", "gain_db", "told"), BAD_POINTS)
def test_a_pattern_refuses_points_that_make_none(elevation_deg, gain_db, told):
    with pytest.raises(EntryError, match=f"^{re.escape(told)}$"):
        Pattern(name="p", elevation_deg=elevation_deg, gain_db=gain_db)


# ------------------------------------------------------------------------------------------------ many links at once


def test_every_antenna_of_many_has_its_own_pattern_and_gain():
    index, base_gain_dbi = np.array([0, 2, 1, 1]), np.array([3.0, 0.0, 2.15, 5.0])
    elevation_deg = np.array([[0.0, 60.0], [0.0, 45.0], [0.0, -45.0], [60.0, 90.0]])
    found = gains_dbi((ISOTROPIC, DIPOLE, WHIP), index, base_gain_dbi=base_gain_dbi, elevation_deg=elevation_deg)
    expected = [[3.0, 3.0], [4.0, -23.0], [2.15, 2.15 - 4.04173], [5.0 - 7.58076, -35.0]]
    assert found == pytest.approx(np.array(expected), abs=1e-5)


def test_elevations_may_have_any_shape_behind_the_antennas():
    index, base_gain_dbi = np.array([0, 1]), np.array([1.0, 2.0])

    def of(shape):
        return gains_dbi((ISOTROPIC, DIPOLE), index, base_gain_dbi=base_gain_dbi, elevation_deg=np.zeros(shape))

    assert of((2,)).tolist() == [1.0, 2.0]
    assert of((2, 1, 2)).tolist() == [[[1.0, 1.0]], [[2.0, 2.0]]]
    assert of((2, 0)).shape == (2, 0)


def test_where_all_are_isotropic_nothing_is_worked_out():
    base_gain_dbi = np.array([1.0, 2.0])
    nowhere = np.full((2, 5), np.nan)
    found = gains_dbi((ISOTROPIC,), np.array([0, 0]), base_gain_dbi=base_gain_dbi, elevation_deg=nowhere)
    assert np.shares_memory(found, base_gain_dbi)
    assert found.tolist() == [[1.0] * 5, [2.0] * 5]


def test_without_any_antenna_there_is_no_gain():
    empty = np.zeros(0)
    found = gains_dbi((ISOTROPIC,), empty.astype(int), base_gain_dbi=empty, elevation_deg=np.zeros((0, 4)))
    assert found.shape == (0, 4)


# ------------------------------------------------------------------------------------------------------------- files


@pytest.fixture
def pattern_in(tmp_path, monkeypatch):
    """The pattern that a file of the given text or bytes holds."""
    monkeypatch.chdir(tmp_path)

    def read(content, name="whip.csv"):
        Path(name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return read_pattern(Path(name))

    return read


TABLE = "elevation_deg,gain_dbi\n-90,-20\n0,4.5\n90,-1e1\n"
SAME = {
    "as it is": TABLE,
    "no line break at its end": TABLE.rstrip(),
    "semicolons": TABLE.replace(",", ";"),
    "a byte order mark": b"\xef\xbb\xbf" + TABLE.encode(),
    "Windows line ends": TABLE.replace("\n", "\r\n"),
    "notes and empty lines": f"# invented\n\n{TABLE}  # the end\n\n",
    "space and signs": "elevation_deg , gain_dbi\n -90 , -20.\n +0 , +4.5 \n90.0 ,\t-10\n",
    "quotes": '"elevation_deg","gain_dbi"\n"-90","-20"\n"0","4.5"\n"90","-10"\n',
    "rows in any order": "elevation_deg,gain_dbi\n90,-10\n-90,-20\n0,4.5\n",
    "columns in any order and others besides": 'note,gain_dbi,elevation_deg\n,-20,-90\n"a, b",4.5,0\n,-10,90\n',
    "what a spreadsheet leaves behind": "elevation_deg,gain_dbi\n-90,-20,,\n0,4.5\n,\n90,-10\n,,,\n",
}


@pytest.mark.parametrize("content", SAME.values(), ids=SAME)
def test_a_table_may_be_written_in_many_ways(pattern_in, content):
    expected = Pattern(name="whip.csv", elevation_deg=(-90.0, 0.0, 90.0), gain_db=(-20.0, 4.5, -10.0))
    assert pattern_in(content) == expected


@given(
    st.dictionaries(st.floats(-89.9, 89.9), st.floats(-60.0, 40.0), max_size=20),
    st.tuples(st.floats(-60.0, 40.0), st.floats(-60.0, 40.0)),
    st.randoms(use_true_random=False),
)
def test_what_is_written_is_what_is_read(tmp_path_factory, inner, ends, random):
    points = inner | {-90.0: ends[0], 90.0: ends[1]}
    rows = [f"{elevation_deg!r},{gain_dbi!r}" for elevation_deg, gain_dbi in points.items()]
    random.shuffle(rows)
    path = tmp_path_factory.getbasetemp() / "written.csv"
    path.write_text("\n".join(["elevation_deg,gain_dbi", *rows]), encoding="utf-8")
    pattern = read_pattern(path)
    assert dict(zip(pattern.elevation_deg, pattern.gain_db, strict=True)) == points
    assert all(low < high for low, high in pairwise(pattern.elevation_deg))
    assert pattern.gain_dbi(list(points)).tolist() == pytest.approx(list(points.values()))


HEADER = "elevation_deg,gain_dbi\n"
BOTH = "the header must name elevation_deg and gain_dbi"
ELEVATIONS, GAINS = "write a number from -90 to 90", "write a number from -60 to 40"
REACH = "a pattern goes from -90, straight down, to 90, straight up"
FAULTS = {
    "nothing at all": ("", "is empty; write a header elevation_deg,gain_dbi and a row for each elevation"),
    "nothing but notes": ("# a\n\n", "is empty; write a header elevation_deg,gain_dbi and a row for each elevation"),
    "a header alone": (HEADER + "# none\n,\n", "has no row below its header; write one for each elevation"),
    "another encoding": (
        HEADER.encode() + b"0,1\n# caf\xe9\n",
        "is not UTF-8 text (byte 33, row 3); save it as UTF-8",
    ),
    "UTF-16": (TABLE.encode("utf-16"), "is not UTF-8 text (byte 1, row 1); save it as UTF-8"),
    "far too long": ("#" * 100_001, "is longer than 100000 bytes, the limit for a pattern"),
    "no header": (
        "-90,1\n90,1\n",
        f"row 1: elevation_deg: no such column; {BOTH}",
        f"row 1: gain_dbi: no such column; {BOTH}",
    ),
    "a column with a near name": (
        "# note\nelevation,gain_dbd\n0,1\n",
        "row 2: elevation: no such column; did you mean elevation_deg?",
        "row 2: gain_dbd: no such column; did you mean gain_dbi?",
    ),
    "a column missing": ("elevation_deg\n0\n", f"row 1: gain_dbi: no such column; {BOTH}"),
    "parted by tabs": (
        "elevation_deg\tgain_dbi\n0\t1\n",
        "row 1: elevation_deg\\tgain_dbi: no such column; did you mean elevation_deg?",
        f"row 1: gain_dbi: no such column; {BOTH}",
    ),
    "a column twice": (
        "gain_dbi,elevation_deg,gain_dbi\n",
        "row 1: gain_dbi: is in the header 2 times; name each column once",
    ),
    "text": (
        HEADER + "low,-\n",
        f'row 2: elevation_deg: "low" is not a number; {ELEVATIONS}',
        f'row 2: gain_dbi: "-" is not a number; {GAINS}',
    ),
    "numbers as only programs write them": (
        HEADER + "1_0,0x10\n",
        f'row 2: elevation_deg: "1_0" is not a number; {ELEVATIONS}',
        f'row 2: gain_dbi: "0x10" is not a number; {GAINS}',
    ),
    "decimal commas": (
        HEADER.replace(",", ";") + "-90;-20,5\n",
        f'row 2: gain_dbi: "-20,5" is not a number; {GAINS}, with a decimal point',
    ),
    "decimal commas between commas": (
        HEADER + "-90,-20,5\n",
        "row 2: has 3 values below 2 columns; write numbers with a decimal point",
    ),
    "a value missing": (
        HEADER + "-90\n,1\n",
        f"row 2: gain_dbi: is missing; {GAINS}",
        f"row 3: elevation_deg: is missing; {ELEVATIONS}",
    ),
    "no numbers to calculate with": (
        HEADER + "nan,-Inf\n",
        f"row 2: elevation_deg: nan is not a number to calculate with; {ELEVATIONS}",
        f"row 2: gain_dbi: -Inf is not a number to calculate with; {GAINS}",
    ),
    "numbers out of range": (
        HEADER + "-90.01,-60.01\n90.01,40.01\n-90,1e999\n90,0\n",
        f"row 2: elevation_deg: -90.01 is out of range; {ELEVATIONS}",
        f"row 2: gain_dbi: -60.01 is out of range; {GAINS}",
        f"row 3: elevation_deg: 90.01 is out of range; {ELEVATIONS}",
        f"row 3: gain_dbi: 40.01 is out of range; {GAINS}",
        f"row 4: gain_dbi: 1e999 is out of range; {GAINS}",
    ),
    "an elevation twice": (
        HEADER + "-90,0\n0,1\n# note\n-0.0,1\n90,0\n",
        "row 5: elevation_deg: 0 is in row 3 too; write each elevation once",
    ),
    "the upper half alone": (HEADER + "0,1\n90,0\n", f"elevation_deg: goes from 0 to 90; {REACH}"),
    "not quite straight up": (HEADER + "-90,1\n89.5,0\n", f"elevation_deg: goes from -90 to 89.5; {REACH}"),
    "one row": (HEADER + "0,1\n", f"elevation_deg: goes from 0 to 0; {REACH}"),
    "one mistake many times": (
        HEADER + "x,0\n" * 13,
        *(f'row {row}: elevation_deg: "x" is not a number; {ELEVATIONS}' for row in range(2, 12)),
        "has 3 more faults of this kind",
    ),
}


@pytest.mark.parametrize("case", FAULTS.values(), ids=FAULTS)
def test_every_fault_of_a_table_is_told_with_its_row_and_what_is_allowed(pattern_in, case):
    content, *lines = case
    with pytest.raises(PatternError) as caught:
        pattern_in(content)
    assert str(caught.value).splitlines() == [f"whip.csv: {line}" for line in lines]


def test_a_gain_on_either_limit_is_taken(pattern_in):
    assert pattern_in(HEADER + "-90,-60\n90,40\n").gain_db == (-60.0, 40.0)


def refusal(path):
    with pytest.raises(PatternError) as caught:
        read_pattern(path)
    return str(caught.value)


def test_a_table_that_is_not_there_is_told_with_the_nearest_name(tmp_path):
    (tmp_path / "whip.csv").write_text(TABLE, encoding="utf-8")
    assert refusal(tmp_path / "wihp.csv") == f'{tmp_path / "wihp.csv"}: there is no such file; did you mean "whip.csv"?'
    assert refusal(tmp_path / "none" / "x.csv") == f"{tmp_path / 'none' / 'x.csv'}: there is no such file"


def test_a_folder_is_no_table(tmp_path):
    assert refusal(tmp_path) == f"{tmp_path}: is a folder; name the file in it"


def test_a_table_that_cannot_be_read_is_told_in_the_words_of_the_system(tmp_path, monkeypatch):
    path = tmp_path / "whip.csv"
    path.write_text(TABLE, encoding="utf-8")
    assert refusal(path / "x.csv") == f"{path / 'x.csv'}: cannot be read: {os.strerror(20)}"
    assert refusal(tmp_path / "two\0parts.csv").endswith("two\\x00parts.csv: cannot be read: embedded null byte")

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert refusal(path) == f"{path}: cannot be read: Permission denied"


def outcome(path):
    """The pattern, or the error; anything else that is raised fails the test."""
    try:
        return read_pattern(path), None
    except PatternError as error:
        return None, error


PIECES = st.sampled_from(
    [b"\n", b"\r", b",", b";", b'"', b"#", b"\0", b"\xff", b"nan", b"9" * 400, b"1e", b"\xef\xbb\xbf", b"\xc2\x85"]
)


@given(st.data())
def test_a_damaged_table_reads_or_raises_the_pattern_error_and_nothing_else(tmp_path_factory, data):
    content = bytearray(TABLE.encode())
    for _ in range(data.draw(st.integers(1, 5))):
        start = data.draw(st.integers(0, len(content)))
        content[start : start + data.draw(st.integers(0, 6))] = data.draw(st.one_of(PIECES, st.binary(max_size=4)))
    path = tmp_path_factory.getbasetemp() / "damaged.csv"
    path.write_bytes(content)
    pattern, error = outcome(path)
    if error:
        lines = str(error).split("\n")
        assert len(lines) == len(error.faults) > 0, "one line for each"
        assert all(line.startswith(f"{path}: ") and line.isprintable() for line in lines)
    else:
        assert np.isfinite(pattern.gain_dbi([-90.0, 0.0, 90.0])).all()


# ------------------------------------------------------------------------------------------------------------- plans


def antennas(inverter="", gateway="", more=""):
    """The minimal plan with lines of their own under its two radios."""
    return changed(
        ("sensitivity_dbm = -96.0", f"sensitivity_dbm = -96.0\n{inverter}"),
        ("sensitivity_dbm = -98.0", f"sensitivity_dbm = -98.0\n{gateway}"),
        more=more,
    )


@pytest.fixture
def plan_in(tmp_path, monkeypatch):
    """The plan of a text, read in a folder that is not the one it lies in, with a table whip.csv beside it."""
    (tmp_path / "site").mkdir()
    monkeypatch.chdir(tmp_path)

    def read(text, table=TABLE):
        Path("site", "yard.toml").write_text(text, encoding="utf-8")
        Path("site", "whip.csv").write_text(table, encoding="utf-8")
        return read_plan(Path("site", "yard.toml"))

    return read


@pytest.fixture
def told(plan_in):
    """What is told of the text of a plan, line by line."""

    def lines(text, **table):
        with pytest.raises(PlanError) as caught:
            plan_in(text, **table)
        return [line.removeprefix(f"{Path('site', 'yard.toml')}: ") for line in str(caught.value).splitlines()]

    return lines


def test_without_a_word_on_antennas_all_are_isotropic_with_no_gain():
    scene = scene_of(plan_of(tomllib.loads(MINIMAL), file="yard.toml"))
    assert scene.patterns[0] is ISOTROPIC
    assert (scene.inverters.pattern.tolist(), scene.inverters.antenna_gain_dbi.tolist()) == ([0], [0.0])
    assert scene.inverters.pattern.dtype == np.int64


def test_every_end_has_the_pattern_and_the_gain_of_its_own_antenna(plan_in):
    at_post = {"at": "[3, 0]", "height_m": 2}
    plan = plan_in(
        antennas(
            inverter='antenna = "dipole"',
            gateway="antenna_gain_dbi = 3.0",
            more=array(antenna='"isotropic"')
            + entry("inverter", name='"i2"', **at_post, antenna_gain_dbi=1.5)
            + entry("spot", name='"file"', **at_post, antenna='"whip.csv"')
            + entry("spot", name='"both"', **at_post, antenna='"dipole"', antenna_gain_dbi=2.0)
            + entry("spot", name='"inherits"', **at_post, antenna='"dipole"')
            + search(along="[[0, 0], [1, 0]]", antenna='"dipole"', antenna_gain_dbi=-1),
        )
    )
    scene = scene_of(plan)
    assert [one.name for one in scene.patterns] == ["isotropic", "dipole", "whip.csv"]
    found = {
        name: (scene.patterns[number].name, gain_dbi)
        for ends in (scene.inverters, scene.gateways_and_spots)
        for name, number, gain_dbi in zip(
            ends.names, ends.pattern.tolist(), ends.antenna_gain_dbi.tolist(), strict=True
        )
    }
    assert found == {
        "N-1-1": ("isotropic", 0.0),
        "N-1-2": ("isotropic", 0.0),
        "i1": ("dipole", 2.15),
        "i2": ("dipole", 1.5),
        "office": ("isotropic", 3.0),
        "file": ("whip.csv", 0.0),
        "both": ("dipole", 2.0),
        "inherits": ("dipole", 3.0),
        "s/0.00,0.00,1.50": ("dipole", -1.0),
        "s/1.00,0.00,1.50": ("dipole", -1.0),
    }
    picked = scene.gateways_and_spots.named(["file", "office"], file="", what="")
    assert picked.pattern.tolist() == [2, 0]


def test_the_gain_beside_a_table_is_not_used(plan_in):
    text = antennas(gateway='antenna = "whip.csv"\nantenna_gain_dbi = 9.0')
    scene = scene_of(plan_in(text))
    assert scene.gateways.antenna_gain_dbi.tolist() == [0.0]
    gain_dbi = gains_dbi(
        scene.patterns,
        scene.gateways.pattern,
        base_gain_dbi=scene.gateways.antenna_gain_dbi,
        elevation_deg=np.array([[0.0, -45.0]]),
    )
    assert gain_dbi == pytest.approx(np.array([[4.5, -7.75]])), "half way from 4.5 to -20"


def test_the_patterns_of_a_plan_are_every_kind_and_every_file_it_names(plan_in):
    plan = plan_in(antennas(inverter='antenna = "whip.csv"', gateway='antenna = "../site/whip.csv"'))
    assert list(plan.patterns) == [*KINDS, "whip.csv", "../site/whip.csv"]
    assert plan.patterns["whip.csv"].gain_db == (-20.0, 4.5, -10.0)
    assert plan == plan_in(antennas(inverter='antenna = "whip.csv"', gateway='antenna = "../site/whip.csv"'))


def gain_default(plan):
    return [value for place, key, value in plan.defaults if (place, key) == ("[radio.gateway]", "antenna_gain_dbi")]


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("", [0.0]),
        ('antenna = "isotropic"', [0.0]),
        ('antenna = "dipole"', [2.15]),
        ('antenna = "whip.csv"', []),
        ("antenna_gain_dbi = 0.0", []),
        ('antenna = "dipole"\nantenna_gain_dbi = 2.0', []),
    ],
)
def test_the_gain_listed_as_a_default_is_the_one_of_the_kind(plan_in, line, shown):
    assert gain_default(plan_in(antennas(gateway=line))) == shown


ALLOWED = 'write "isotropic" or "dipole" or the name of a file that ends in .csv'
NO_FILE = "there is no such file"


@pytest.mark.parametrize(
    ("value", "problem"),
    [
        ('"dipol"', f'"dipol" is not known; {ALLOWED}; did you mean "dipole"?'),
        ('"Isotropic"', f'"Isotropic" is not known; {ALLOWED}; did you mean "isotropic"?'),
        ('"yagi"', f'"yagi" is not known; {ALLOWED}'),
        ('"whip.txt"', f'"whip.txt" is not known; {ALLOWED}'),
        ('""', f'"" is not known; {ALLOWED}'),
        ("2.15", f"2.15 is a number; {ALLOWED}"),
        ("[]", f"is a list; {ALLOWED}"),
        ('"wip.csv"', f'wip.csv: {NO_FILE}; did you mean "whip.csv"?'),
        ('"site/whip.csv"', f"site/whip.csv: {NO_FILE}"),
    ],
)
def test_an_antenna_that_there_is_not_is_a_fault_of_the_plan(told, value, problem):
    assert told(antennas(gateway=f"antenna = {value}")) == [f"[radio.gateway]: antenna: {problem}"]
    spot = entry("spot", name='"mast"', at="[3, 0]", height_m=2, antenna=value)
    assert told(antennas(more=spot)) == [f'[[spot]] 1 "mast": antenna: {problem}']


def test_every_fault_of_a_table_is_a_fault_of_the_plan_told_once_beside_the_others(told):
    spots = entry("spot", name='"mast"', at="[3, 0]", height_m=2, antenna='"whip.csv"') * 2
    lines = told(
        antennas(inverter="mounting_loss_db = -1", gateway='antenna = "whip.csv"', more=spots),
        table=HEADER + "-90,0\n0,x\n90,50\n",
    )
    assert lines == [
        "[radio.inverter]: mounting_loss_db: -1 is out of range; write a number from 0 to 60",
        '[[spot]] 1 "mast" and [[spot]] 2 "mast": name: "mast" is used 2 times; every name in a plan must be different',
        f'[radio.gateway]: antenna: whip.csv: row 3: gain_dbi: "x" is not a number; {GAINS}',
        f"[radio.gateway]: antenna: whip.csv: row 4: gain_dbi: 50 is out of range; {GAINS}",
    ]


@pytest.mark.parametrize("table", ["array", "inverter", "gateway", "spot", "search"])
def test_whatever_has_a_radio_may_name_a_table(told, table):
    own = entry(table, name='"own"', antenna='"none.csv"')
    assert f'[[{table}]] {1 + (table in ("inverter", "gateway"))} "own": antenna: none.csv: {NO_FILE}' in told(
        antennas(more=own)
    )


def radiated(plan):
    return [line for line in inspect(scene_of(plan)).warnings if "e.i.r.p." in line]


# The usual limit from 868.0 to 868.6 MHz is 16.13 dBm e.i.r.p. (ERC/REC 70-03: 25 mW e.r.p., and 2.15 dB more).
@pytest.mark.parametrize(
    ("line", "eirp"),
    [
        ('antenna = "isotropic"', None),
        ('antenna = "dipole"', "16.15"),
        ('antenna = "dipole"\nantenna_gain_dbi = 2.0', None),
        ('antenna = "whip.csv"', "18.50"),
        ('antenna = "whip.csv"\nantenna_gain_dbi = -9', "18.50"),
    ],
)
def test_the_caution_on_radiated_power_takes_the_gain_where_the_antenna_is_strongest(plan_in, line, eirp):
    strong = ("tx_power_dbm = 10.0", "tx_power_dbm = 14.0")
    found = radiated(plan_in(changed(strong, text=antennas(gateway=line))))
    assert [one.split(" dBm")[0] for one in found] == ([f"[radio.gateway]: {eirp}"] if eirp else [])


def test_an_antenna_of_its_own_is_cautioned_by_name(plan_in):
    strong = ("tx_power_dbm = 10.0", "tx_power_dbm = 14.0")
    spot = entry("spot", name='"mast"', at="[3, 0]", height_m=2, antenna='"whip.csv"')
    (found,) = radiated(plan_in(changed(strong, text=antennas(more=spot))))
    assert found.startswith('"mast": 18.50 dBm e.i.r.p.')


def test_patterns_are_no_longer_said_not_to_act(plan_in):
    plan = plan_in(antennas(inverter='antenna = "dipole"', gateway='antenna = "whip.csv"'))
    assert [line for line in inspect(scene_of(plan)).warnings if "antenna" in line] == []
