"""Names, notes and serials with characters that act are refused when the plan is read, with the place named."""

import pytest
from plans import MINIMAL, array, changed, entry

from survey.base.errors import PlanError
from survey.inputs.plan_file import parse_text, plan_of, read_plan

PLACES = {
    '[[inverter]] 1 "i1": serial': changed(
        ("height_m = 2.0\n\n[[gateway]]", 'height_m = 2.0\nserial = "{}"\n\n[[gateway]]')
    ),
    '[[inverter]] 1 "i1": note': changed(
        ("height_m = 2.0\n\n[[gateway]]", 'height_m = 2.0\nnote = "{}"\n\n[[gateway]]')
    ),
    '[[inverter]] 1 "i1": branch': changed(
        ("height_m = 2.0\n\n[[gateway]]", 'height_m = 2.0\nbranch = "{}"\n\n[[gateway]]')
    ),
    "[site]: note": changed(('name = "invented yard"', 'name = "invented yard"\nnote = "{}"')),
    '[[array]] 1 "N": serials: text 2': MINIMAL + array(serials='["a", "{}"]'),
    '[[spot]] 1 "s": note': MINIMAL + entry("spot", name='"s"', at="[1, 2]", height_m=3, note='"{}"'),
    '[[material]] 1 "m": source': MINIMAL + entry("material", name='"m"', loss_db=3, source='"{}"'),
}


@pytest.mark.parametrize("code", ["001B", "0007", "202E", "2066", "200B", "FFFE"])
@pytest.mark.parametrize("place", PLACES)
def test_what_acts_is_refused_with_its_place(place, code):
    text = PLACES[place].replace("{}", f"roof\\u{code}a")
    with pytest.raises(PlanError) as told:
        plan_of(parse_text(text, "yard.toml"), file="yard.toml")
    problem = f"holds U+{code}, a character that is not shown but acts on what shows it; leave it out"
    assert str(told.value) == f"yard.toml: {place}: {problem}"


@pytest.mark.parametrize("code", ["001B", "202E", "000A", "2028", "00AD"])
@pytest.mark.parametrize("table", ["site", "inverter", "gateway"])
def test_names_are_refused_too(table, code):
    name = {"site": "invented yard", "inverter": "i1", "gateway": "office"}[table]
    text = changed((f'"{name}"', f'"roof\\u{code}a"'))
    with pytest.raises(PlanError, match="holds a line break or another character that cannot be printed"):
        plan_of(parse_text(text, "yard.toml"), file="yard.toml")


def test_a_note_may_have_lines_tabs_and_any_language():
    text = changed(
        ('name = "invented yard"', 'name = "invented yard"\nnote = """two\nlines\t10\xa0m 屋根 👩\u200d🔧"""')
    )
    assert plan_of(parse_text(text, "yard.toml"), file="yard.toml").site.note.startswith("two\nlines\t10")


def test_names_out_of_a_list_beside_the_plan_are_refused_as_well(tmp_path):
    (tmp_path / "list.csv").write_text("name,x_m,y_m,height_m,serial\na,1,2,3,roof\u202ea\n", encoding="utf-8")
    (tmp_path / "plan.toml").write_text(MINIMAL + entry("inverter", **{"from": '"list.csv"'}), encoding="utf-8")
    with pytest.raises(PlanError, match=r"serial: holds U\+202E"):
        read_plan(tmp_path / "plan.toml")
