"""The command that puts a spot side by side in two plans."""

import json

import pytest
from plans import MINIMAL, SPOTS, WALL, entry, write
from shapes import DRAWN, MORE, NUMBER, RANKED, differences

# By hand: 54.782 dB at 10 m in the open; the wall before the office costs it 20 dB.
WHOLE_TEXT = """\
invented yard, 868 MHz, path loss exponent 2 (the default)
A link holds if its chance of working, with a 3 dB fade margin, is 95 % or more.

Two plans
  Before:     plan.toml
  After:      after.toml
  Different:  long wall (wall, new)

office, in 1000 simulation runs of each plan (seed 0)
  Coverage:   1 before, 1 after, of 1 inverter
  Before:     working 1 of 1 inverter in 9 of 10 runs, 1.0 on average
  After:      working 1 of 1 inverter in 9 of 10 runs, 1.0 on average
  Certainty:  fewer after in 0 % of the runs, equal in 100 %, more in 0 %

                inverters  expected  weakest  its margin     median
plan    spot      covered   working  link             dB  margin dB
------  ------  ---------  --------  -------  ----------  ---------
before  office          1       1.0  i1             54.8       54.8
after   office          1       1.0  i1             34.8       34.8

Link by link (margins in dB)
          before          after         change                    its
inverter  margin  state  margin  state      dB  main cause  effect dB
--------  ------  -----  ------  -----  ------  ----------  ---------
i1          54.8  holds    34.8  holds   -20.0  long wall       -20.0

Links that do not change: 0 of 1

This is a prediction, not a measurement: take readings on site before you rely on it. Follow the
  local rules for work at height, near mains and on metal roofs. Only a licensed electrician may
  connect mains.
"""


def test_one_spot_in_two_plans_worked_by_hand(run, folder):
    write(folder, more=SPOTS)
    write(folder, more=SPOTS + WALL, name="after.toml")
    result = run("compare", "plan.toml", "office", "--with", "after.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WHOLE_TEXT, "")


def test_the_json_keeps_the_shape_of_the_interface_and_adds_what_came_after(run, folder):
    write(folder, more=SPOTS)
    write(folder, more=SPOTS + WALL, name="after.toml")
    found = json.loads(run("compare", "plan.toml", "post", "office", "--with", "after.toml", "--json").stdout)
    verdict = {"margin_db": NUMBER, "reliability": NUMBER, "state": str}
    by = {"name": (str, type(None)), "kind": str, "how": str, "alone_db": NUMBER}
    shape = {
        "plan": str,
        "with": str,
        "site": str,
        "draws": int,
        "seed": int,
        "changes": [{"name": (str, type(None)), "kind": str, "how": str}],
        "spots": [
            RANKED | {"drawn": DRAWN, "after": RANKED | {"drawn": DRAWN}, "fewer_after": MORE, "more_after": MORE}
        ],
        "links": [
            {
                "inverter": str,
                "spots": {
                    "post": verdict | {"after": verdict, "change_db": NUMBER, "by": (dict, type(None))},
                    "office": verdict | {"after": verdict, "change_db": NUMBER, "by": by},
                },
            }
        ],
    }
    assert differences(found, shape) == []
    assert found["changes"] == [{"name": "long wall", "kind": "wall", "how": "new"}]
    (link,) = found["links"]
    assert link["spots"]["post"]["by"] is None
    assert link["spots"]["office"]["change_db"] == pytest.approx(-20.0, abs=0.01)
    assert link["spots"]["office"]["by"]["alone_db"] == pytest.approx(-20.0, abs=0.01)


def test_plans_whose_inverters_do_not_match_are_told_with_names(run, folder):
    more = "".join(entry("inverter", name=f'"i{k}"', at=f"[{10 + k}, 0]", height_m=2) for k in (2, 3))
    write(folder, more=SPOTS + more)
    write(folder, ('name = "i1"', 'name = "j1"'), more=SPOTS, name="after.toml")
    result = run("compare", "plan.toml", "office", "--with", "after.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        "plan.toml and after.toml: the inverters of the two plans do not match",
        "after.toml: does not have i1, i2, i3",
        "plan.toml: does not have j1",
    ]


def test_a_spot_that_the_other_plan_does_not_have_is_told(run, folder):
    write(folder, more=SPOTS)
    write(folder, more=SPOTS.replace('"post"', '"posts"'), name="after.toml")
    result = run("compare", "plan.toml", "post", "--with", "after.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == 'after.toml: no gateway or spot is named "post"; did you mean "posts"?\n'


def test_another_plan_that_is_not_there_is_told(run, folder):
    write(folder, more=SPOTS)
    result = run("compare", "plan.toml", "post", "--with", "plna.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == 'plna.toml: there is no such file; did you mean "plan.toml"?\n'


def test_the_other_plan_is_never_written_over(run, folder):
    write(folder, more=SPOTS)
    path = write(folder, more=SPOTS + WALL, name="after.toml")
    before = path.read_bytes()
    result = run("compare", "plan.toml", "post", "--with", "after.toml", "--out", "after.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert path.read_bytes() == before


def test_plans_that_are_alike_have_nothing_to_tell(run, folder):
    write(folder, more=SPOTS)
    write(folder, more=SPOTS, name="after.toml")
    text = run("compare", "plan.toml", "post", "--with", "after.toml").stdout
    assert "Different:  nothing that affects a link" in text
    assert "Links that do not change: 1 of 1" in text
    assert "Link by link" not in text
    shown = run("compare", "plan.toml", "post", "--with", "after.toml", "--inverter", "i1").stdout
    assert ["i1", "54.8", "holds", "54.8", "holds", "+0.0"] in [line.split() for line in shown.splitlines()]


@pytest.mark.parametrize(("loss_db", "status"), [(20, 0), (90, 3)])
def test_with_require_the_second_plan_decides(run, folder, loss_db, status):
    write(folder, more=SPOTS)
    write(folder, more=SPOTS + WALL.replace("20.0", str(loss_db)), name="after.toml")
    assert run("compare", "plan.toml", "office", "--with", "after.toml", "--require").exit_code == status


def test_requirements_that_differ_are_both_told(run, folder):
    write(folder, more=SPOTS)
    text = MINIMAL + SPOTS + "\n[requirement]\nreliability = 0.9\n"
    (folder / "after.toml").write_text(text, encoding="utf-8")
    lines = run("compare", "plan.toml", "office", "--with", "after.toml").stdout.splitlines()
    holds = "A link holds if its chance of working, with a 3 dB fade margin, is"
    assert lines[1:3] == [f"Before: {holds} 95 % or more.", f"After: {holds} 90 % or more."]
