"""DXF files written by ezdxf, and by hand as simple programs write them: what is read of them and what is refused."""

import sys

import numpy as np
import pytest

ezdxf = pytest.importorskip("ezdxf", reason="ezdxf, the extra survey[drawings], is not installed")

SQUARE = [(0, 0), (4, 0), (4, 3), (0, 3)]
MM, INCH, NO_UNIT, US_FEET = 4, 1, 0, 21


@pytest.fixture
def dxf(tmp_path):
    """Write a file by a function of its model space and give its entry."""

    def written(draw, *, units=6, release="R2010", name="plan", binary=False, **keys):
        document = ezdxf.new(release, units=units)
        document.header["$INSUNITS"] = units
        draw(document.modelspace())
        document.saveas(tmp_path / f"{name}.dxf", fmt="bin" if binary else "asc")
        return {"name": name, "file": f"{name}.dxf"} | keys

    return written


def on(layer):
    return {"dxfattribs": {"layer": layer}}


@pytest.mark.parametrize("release", ["R12", "R2000", "R2010", "R2018"])
@pytest.mark.parametrize("binary", [False, True])
def test_outlines_lines_and_points_of_every_release(dxf, drawings, release, binary):
    def draw(space):
        space.add_polyline2d(SQUARE, close=True, **on("WALLS"))
        space.add_line((0, 0), (5, 5), **on("FENCE"))
        space.add_point((1, 2, 9), **on("INV"))
        space.add_circle((3, 4), radius=0.2, **on("INV"))
        if release != "R12":
            space.add_lwpolyline([(0, 0), (0, 7), (7, 7)], **on("FENCE"))

    unit = {"unit": "m"} if release == "R12" else {}  # which has no $INSUNITS
    read = drawings(dxf(draw, release=release, binary=binary, **unit))
    assert list(read.faults()) == []
    assert read.outline("plan/WALLS").tolist() == [list(map(float, corner)) for corner in SQUARE]
    assert read.line("plan/WALLS").tolist()[-1] == [0.0, 0.0]
    assert read.is_outline("plan/WALLS")
    assert read.points("plan/INV")[1].tolist() == [[1, 2], [3, 4]]
    fence = "plan/FENCE" if release == "R12" else "plan/FENCE/1"
    assert read.line(fence).tolist() == [[0, 0], [5, 5]]
    if release != "R12":
        assert read.line("plan/fence/2").tolist() == [[0, 0], [0, 7], [7, 7]]


@pytest.mark.parametrize(("units", "metre"), [(1, 0.0254), (2, 0.3048), (4, 0.001), (5, 0.01), (6, 1.0)])
def test_the_unit_that_the_file_names(dxf, drawings, units, metre):
    """Lengths of DXF Reference, $INSUNITS: inches, feet, millimetres, centimetres, metres."""
    read = drawings(dxf(lambda space: space.add_lwpolyline(SQUARE, close=True), units=units))
    assert read.outline("plan/0") == pytest.approx(np.array(SQUARE) * metre)


def test_a_unit_that_the_plan_writes_wins(dxf, drawings):
    read = drawings(dxf(lambda space: space.add_lwpolyline(SQUARE, close=True), units=INCH, unit="cm"))
    assert read.outline("plan/0") == pytest.approx(np.array(SQUARE) * 0.01)


def test_zero_and_the_upward_axis(dxf, drawings):
    """Upward on the sheet is east: a corner 4 m to the right of the zero is 4 m south of it."""
    corners = [(120_000 + 1000 * x, 80_000 + 1000 * y) for x, y in SQUARE]
    entry = dxf(lambda space: space.add_lwpolyline(corners, close=True), units=MM, zero=[120_000, 80_000], up_deg=90)
    assert drawings(entry).outline("plan/0") == pytest.approx(np.array([[0, 0], [0, -4], [3, -4], [3, 0]]), abs=1e-9)


def test_a_polyline_on_a_plane_seen_from_below_is_mirrored_back(dxf, drawings):
    """With extrusion (0, 0, -1) the x axis of the entity runs against that of the drawing (DXF Reference, OCS)."""
    entry = dxf(
        lambda space: space.add_lwpolyline(SQUARE, close=True, dxfattribs={"layer": "W", "extrusion": (0, 0, -1)})
    )
    assert drawings(entry).outline("plan/W").tolist() == [[0, 0], [-4, 0], [-4, 3], [0, 3]]


def test_closing_corners_and_corners_written_twice_go(dxf, drawings):
    twice = [(0, 0), (4, 0), (4, 0.0004), (4, 3), (0, 3), (0, 0.0003)]
    read = drawings(dxf(lambda space: space.add_lwpolyline(twice)))
    assert read.outline("plan/0").tolist() == [list(map(float, corner)) for corner in SQUARE]


def test_a_file_of_a_simple_program_without_a_release(tmp_path, drawings):
    tags = "0 SECTION 2 HEADER 9 $INSUNITS 70 4 0 ENDSEC 0 SECTION 2 ENTITIES 0 LWPOLYLINE 8 HUT 90 3 70 1 "
    tags += "10 0 20 0 10 4000 20 0 10 0 20 3000 0 LINE 8 FENCE 10 0 20 0 11 1000 21 0 0 ENDSEC 0 EOF"
    (tmp_path / "hut.dxf").write_text("\n".join(tags.split()) + "\n", encoding="utf-8")
    read = drawings({"name": "hut", "file": "hut.dxf"})
    assert read.outline("hut/HUT").tolist() == [[0, 0], [4, 0], [0, 3]]
    assert read.line("hut/FENCE").tolist() == [[0, 0], [1, 0]]


def furnished(space):
    space.add_lwpolyline(SQUARE, close=True, **on("WALLS"))
    space.add_lwpolyline(SQUARE[:3], close=True, **on("WALLS"))
    space.add_lwpolyline([(0, 0, 0, 0, 0.5), (4, 0), (4, 3)], close=True, **on("ROUND"))
    space.add_circle((0, 0), radius=3, **on("TANK"))
    space.add_spline([(0, 0), (1, 1), (2, 0)], **on("PATH"))
    space.add_line((0, 0), (1, 0), **on("LOOSE"))
    space.add_line((1, 0), (1, 1), **on("LOOSE"))
    space.add_text("hall", **on("LABELS"))
    space.add_blockref("GARAGE", (3, 3), **on("BLOCKS"))
    space.add_lwpolyline([(5, 5), (5, 5.0002)], **on("SPECK"))
    space.add_lwpolyline([(500_000, 0), (500_004, 0), (500_004, 3)], close=True, **on("GRID"))


REFUSED = {
    "plan/WALLS": 'from: "plan/WALLS" has 2 outlines; write "plan/WALLS/1" to "plan/WALLS/2", in the file\'s order',
    "plan/WALLS/3": 'from: "plan/WALLS/3": there is no outline 3; there is /1 to /2',
    "plan/WALS": 'from: "plan" has no layer "WALS"; did you mean "WALLS"?',
    "plan": 'from: "plan" needs a layer: write "plan/LAYER"; its layers are "WALLS", "ROUND", "TANK", "PATH", "LOOSE", '
    '"BLOCKS", "SPECK", "GRID" and 1 more',
    "plam/WALLS": 'from: no [[drawing]] is named "plam"; did you mean "plan"?',
    "plan/ROUND": 'from: "plan/ROUND" has curved pieces; draw them with straight ones',
    "plan/TANK": 'from: "plan/TANK" is a circle; write centre and across_m in place of from',
    "plan/PATH": (
        'from: "plan/PATH" has no outline; it has 1 line; close its lines to one polyline in the drawing program'
    ),
    "plan/LOOSE": 'from: "plan/LOOSE" has no outline; it has 2 lines; close its lines to one polyline in the drawing '
    "program",
    "plan/LABELS": 'from: "plan/LABELS" has no outline; it has 1 TEXT',
    "plan/BLOCKS": (
        'from: "plan/BLOCKS" has no outline; it has 1 point; what is inside a block is not read, so explode it'
    ),
    "plan/GRID": 'from: "plan/GRID" is more than 100 km from the plan\'s zero (unit m); write zero = [x, y] in '
    "[[drawing]] \"plan\", the plan's zero in the file's own figures",
}


@pytest.mark.parametrize("reference", REFUSED)
def test_what_is_no_outline_is_refused_in_words(dxf, drawings, told, reference):
    assert told(drawings(dxf(furnished)).outline, reference) == REFUSED[reference]


def test_curved_and_too_short_lines_are_refused(dxf, drawings, told):
    read = drawings(dxf(furnished))
    assert told(read.line, "plan/PATH") == 'from: "plan/PATH" has curved pieces; draw them with straight ones'
    assert told(read.line, "plan/SPECK") == 'from: "plan/SPECK" has 1 different points; 2 are needed'
    assert read.points("plan/BLOCKS") == ("BLOCKS", pytest.approx(np.array([[3.0, 3.0]])))


@pytest.mark.parametrize(
    ("units", "problem"),
    [
        (NO_UNIT, "unit: is missing, and the file names none; write one of mm, cm, m, in, ft"),
        (
            US_FEET,
            (
                "unit: is missing, and the file's own units are US survey feet; write one of mm, cm, m, in, ft, "
                "or scale the file"
            ),
        ),
    ],
)
def test_a_unit_that_must_be_written(dxf, drawings, units, problem):
    read = drawings(dxf(furnished, units=units))
    assert [f"{key}: {problem}" for _, key, problem in read.faults()] == [problem]


def test_damaged_files_are_refused_and_nothing_worse(dxf, tmp_path, drawings):
    entry = dxf(furnished)
    path = tmp_path / "plan.dxf"
    whole = path.read_bytes()
    random = np.random.default_rng(1)
    damaged = [b"", b"\0" * 100, b"hello\n", b"0\nSECTION\n", *(whole[:n] for n in range(10, len(whole), 2_500))]
    for _ in range(20):
        changed = bytearray(whole)
        for at in random.integers(0, len(whole), 30):
            changed[at] = int(random.integers(32, 127))
        damaged.append(bytes(changed))
    refused = 0
    for content in damaged:
        path.write_bytes(content)
        faults = list(drawings(entry).faults())
        assert all(key in ("file", "unit") and "\n" not in problem for _, key, problem in faults)
        refused += bool(faults)
    assert refused > len(damaged) / 2


def test_without_the_library_the_message_says_how_to_install_it(dxf, drawings, monkeypatch):
    entry = dxf(furnished)
    monkeypatch.setitem(sys.modules, "ezdxf", None)
    assert list(drawings(entry).faults()) == [
        ('[[drawing]] 1 "plan"', "file", "DXF needs the library ezdxf: pip install 'survey[drawings]'")
    ]


def test_curves_are_refused_where_they_are_asked_for_and_told_whether_they_are_closed(dxf, drawings, told):
    def draw(space):
        space.add_arc((0, 0), radius=2, start_angle=0, end_angle=90, **on("ARC"))
        space.add_ellipse((0, 0), major_axis=(3, 0), ratio=0.5, **on("ROUND"))
        space.add_ellipse((0, 0), major_axis=(3, 0), ratio=0.5, start_param=0, end_param=1, **on("PART"))
        space.add_spline([(0, 0), (1, 2), (3, 3), (4, 0)], **on("SPLINE"))
        space.add_text("note", **on("TEXT"))

    read = drawings(dxf(draw))
    assert list(read.faults()) == []
    for layer in ("ARC", "PART", "SPLINE"):
        assert "curve" in told(read.line, f"plan/{layer}")
        assert "has no outline" in told(read.outline, f"plan/{layer}")
    assert "curve" in told(read.outline, "plan/ROUND")
    assert "TEXT" in told(read.line, "plan/TEXT")
