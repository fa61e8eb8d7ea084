"""Lists of positions: every way to write where something is, and every fault by row, column and cell."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.base.earth import Earth
from survey.base.errors import EntryError
from survey.inputs.csv_files import inert
from survey.inputs.drawings import Drawing, Drawings

EARTH = Earth(zero_lat_deg=48.5, zero_lon_deg=-30.25)


@pytest.fixture
def rows(tmp_path):
    """The keys of the rows of a list."""

    def read(content, earth=EARTH, **drawing):
        (tmp_path / "list.csv").write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        entries = [("[[drawing]] 1", Drawing(name="list", file="list.csv", **drawing))] if drawing else []
        name, positions = Drawings(tmp_path, entries, earth=earth).positions("list" if drawing else "list.csv")
        assert name == "list.csv"
        return [one.keys for one in positions]

    return read


SAME = {"name": "A", "at": [1.5, -2.25], "height_m": 3.0}
WRITTEN = {
    "metres": "name,x_m,y_m,height_m\nA,1.5,-2.25,3\n",
    "millimetres": "name,x_mm,y_mm,height_mm\nA,1500,-2250,3000\n",
    "centimetres and metres": "name,x_cm,y_m,height_cm\nA,150,-2.25,300\n",
    "decimal commas": "name;x_m;y_m;height_m\nA;1,5;-2,25;3,0\n",
    "tabs": "name\tx_m\ty_m\theight_m\nA\t1,5\t\N{MINUS SIGN}2,25\t3\n",
    "in any order and case, with a note and an empty row": "# tape\nHeight_m, Y_M ,name,x_m\n\n3,-2.25,A,1.5\n,,,\n",
    "a mark and line ends of Windows": "\ufeffname,x_m,y_m,height_m\r\nA,1.5,-2.25,3\r\n",
    "a column that means nothing": "name,row,x_m,y_m,height_m\nA,7,1.5,-2.25,3\n",
}


@pytest.mark.parametrize("case", WRITTEN)
def test_every_way_of_writing_the_same_place(rows, case):
    assert rows(WRITTEN[case]) == [SAME]


def test_feet_and_inches(rows):
    """The international foot is 0.3048 m and the inch 0.0254 m exactly (agreement of 1959)."""
    assert rows("name,left_ft,up_in\nA,10,100\n") == [
        {"name": "A", "left_m": pytest.approx(3.048), "up_m": pytest.approx(2.54)}
    ]


def test_latitude_and_longitude(rows):
    found = rows("name,lat_deg,lon_deg,height_m\nA,48.501,-30.25,3\n")
    assert found[0]["at"] == pytest.approx(EARTH.plan_m([[-30.25, 48.501]])[0])
    assert found[0]["at"] == pytest.approx([0.0, 111.2], abs=0.1)


def test_texts_and_empty_cells(rows):
    content = "name,x_m,y_m,height_m,serial,branch,note\nA,1.5,-2.25,3,s1,B1,by tape\nB,0,0,,,,\n"
    assert rows(content) == [SAME | {"serial": "s1", "branch": "B1", "note": "by tape"}, {"name": "B", "at": [0, 0]}]


@pytest.mark.parametrize("coding", ["windows-1252", "utf-8", "utf-16"])
def test_letters_as_spreadsheets_write_them(rows, coding):
    assert rows("name;x_m;y_m\nSüd €1;0;0\n".encode(coding))[0]["name"] == "Süd €1"


def test_a_drawing_of_a_list_shifts_and_turns_it(rows):
    content = "name,x_mm,y_mm,height_m\nA,121000,80000,3\n"
    assert rows(content, zero=[120_000, 80_000], up_deg=90.0) == [
        {"name": "A", "at": [pytest.approx(0, abs=1e-9), pytest.approx(-1)], "height_m": 3.0}
    ]


HEADER = "list.csv: header: "
FAULTS = {
    "no place": (
        "name,height_m\nA,3\n",
        (
            f"{HEADER}gives no position; the first line must name name and x and y, or lat_deg and lon_deg, "
            "or left and up, each "
            "length with its unit: x_m, x_mm, left_ft"
        ),
    ),
    "no unit": ("name,x_m,y\nA,1,2\n", f"{HEADER}y: has no unit; write y_m, y_mm or another"),
    "a near name": ("name,lat_deg,lng_deg\nA,1,2\n", f'{HEADER}lon_deg: no such column; is it "lng_deg"?'),
    "no name": ("x_m,y_m\n1,2\n", f"{HEADER}name: no such column; the first line must name name"),
    "two units": ("name,x_m,x_mm,y_m\nA,1,1000,2\n", f"{HEADER}x_m: is there beside x_mm; keep one of them"),
    "two ways": (
        "name,x_m,y_m,lat_deg,lon_deg\nA,1,2,48,-30\n",
        (
            f"{HEADER}x_m, y_m, lat_deg, lon_deg: are 2 ways to give the position; keep one: x and y, lat_deg and "
            "lon_deg, or left "
            "and up"
        ),
    ),
    "words": (
        "name;x_m;y_m\nA;1,5 m;\nB;2;3\n;4;5\n",
        'list.csv: line 2: x_m: "1,5 m" is not a number; write one from -100000 to 100000',
        "list.csv: line 2: y_m: is empty; write a number from -100000 to 100000",
        "list.csv: line 4: name: is empty; write a name",
    ),
    "out of range": (
        "name,x_m,y_m,height_m\nA,1,200000,2000\n",
        "list.csv: line 2: y_m: 200000 is out of range; write one from -100000 to 100000",
        "list.csv: line 2: height_m: 2000 is out of range; write one from -100 to 1000",
    ),
    "swapped": (
        "name,lat_deg,lon_deg\nA,-30.25,48.5\n",
        (
            "list.csv: line 2: lat_deg, lon_deg: -30.25, 48.5 is more than 100 km from the plan's zero (zero_lat_deg, "
            "zero_lon_deg in [site]); are the two in the wrong order?"
        ),
    ),
    "to the left of a face": (
        "name,left_m,up_m\nA,-1,2\n",
        "list.csv: line 2: left_m: -1 is out of range; write one from 0 to 100000",
    ),
    "a height without its unit": (
        "name,x_m,y_m,height\nA,1,2,3\n",
        f"{HEADER}height: has no unit; write height_m, height_mm or another",
    ),
    "decimal commas between commas": (
        "name,x_m,y_m\nA,1,5,2,5\n",
        (
            "list.csv: line 2: has 5 cells below 3 columns; with commas between the columns write numbers with a "
            "decimal point, or separate by semicolons"
        ),
    ),
    "no rows": ("name,x_m,y_m\n", "list.csv: has a header and no rows"),
    "nothing": ("", "list.csv: is empty"),
    "bytes": (b"name,x_m,y_m\nA\x81,1,2\n", "list.csv: is not text in UTF-8; save it again as CSV in UTF-8"),
}


@pytest.mark.parametrize("case", FAULTS)
def test_every_fault_is_told_by_row_column_and_cell(rows, case):
    content, *expected = FAULTS[case]
    with pytest.raises(EntryError) as caught:
        rows(content)
    assert [problem for _, problem in caught.value.problems] == expected
    assert {key for key, _ in caught.value.problems} == {"from"}


def test_many_faults_are_counted(rows):
    with pytest.raises(EntryError) as caught:
        rows("name,x_m,y_m\n" + "A,x,0\n" * 500)
    assert caught.value.problems[-1] == ("from", "list.csv: 480 more faults of this kind")


def test_latitudes_without_a_place_of_the_plan(rows):
    with pytest.raises(EntryError, match="lat_deg: needs the plan's place on the earth; write zero_lat_deg"):
        rows("name,lat_deg,lon_deg\nA,48,-30\n", earth=None)
    with pytest.raises(EntryError, match="lat_deg, lon_deg: zero and up_deg of the drawing move only x and y"):
        rows("name,lat_deg,lon_deg\nA,48.5,-30.25\n", zero=[1, 2])


TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Z"], exclude_characters="#"), min_size=1, max_size=8
)


@given(st.lists(st.tuples(TEXT, st.floats(-99_999, 99_999), st.floats(-99_999, 99_999)), min_size=1, max_size=5))
def test_what_the_csv_library_writes_comes_back(tmp_path_factory, wanted):
    text = io.StringIO()
    csv.writer(text, delimiter=";").writerows([("name", "x_m", "y_m"), *((inert(n), x, y) for n, x, y in wanted)])
    folder = tmp_path_factory.mktemp("list")
    (folder / "list.csv").write_text(text.getvalue(), encoding="utf-8")
    _, found = Drawings(folder, [], earth=None).positions("list.csv")
    assert [one.keys["name"] for one in found] == [name for name, *_ in wanted]
    assert [one.keys["at"] for one in found] == [pytest.approx([x, y]) for _, x, y in wanted]
