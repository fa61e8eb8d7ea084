"""The command that puts spots side by side."""

import json
from itertools import combinations

import pytest
from plans import SPOTS, WALL, WHOLE_PLAN, entry, inverter_with, search, write
from shapes import DRAWN, MORE, NUMBER, RANKED, differences

# As for the links: 54.782 dB at 10 m in the open; 20 dB less through the wall that stands before the office; and 20 dB
# less at 100 m.
WHOLE_TEXT = """\
invented yard, 868 MHz, path loss exponent 2 (the default)
A link holds if its chance of working, with a 3 dB fade margin, is 95 % or more.

Best of these spots: B, post
  Coverage:   1 of 1 inverter covered
  Certainty:  office is equally good; more working inverters than office in 0 % of 1000 simulation
              runs, fewer in 0 %
  Next step:  take readings there, then compare: survey fit plan.toml READINGS.csv

                inverters  expected  weakest  its margin     median
letter  spot      covered   working  link             dB  margin dB
------  ------  ---------  --------  -------  ----------  ---------
A       office          1       1.0  i1             34.8       34.8
B       post            1       1.0  i1             54.8       54.8

Working inverters, pair by pair, in 1000 simulation runs (seed 0)
         first       both    second
pair  has more  by  equal  has more  by
----  --------  --  -----  --------  --
A, B       0 %   -  100 %       0 %   -
Drawing: the runs use 100 geometries, in which everything is moved at random, within 10 cm

Link by link, each spot as the only gateway (margins in dB)
               A       A  A           B       B  B
inverter  margin  chance  state  margin  chance  state  best
--------  ------  ------  -----  ------  ------  -----  ----
i1          34.8   >99 %  holds    54.8   >99 %  holds  B

This is a prediction, not a measurement: take readings on site before you rely on it. Follow the
  local rules for work at height, near mains and on metal roofs. Only a licensed electrician may
  connect mains.
"""


def rows_under(text, heading):
    """The rows of the table whose first column has a heading."""
    lines = text.splitlines()
    start = next(k for k, line in enumerate(lines) if line.startswith(f"{heading} ")) + 2
    return lines[start : lines.index("", start)]


def test_two_spots_worked_by_hand(run, folder):
    write(folder, more=SPOTS + WALL)
    result = run("compare", "plan.toml", "office", "post")
    assert (result.exit_code, result.stdout, result.stderr) == (0, WHOLE_TEXT, "")


def test_the_json_has_the_shape_of_the_interface(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    names = ["switchboard", "south fence/3.00,0.00,1.50", "office"]
    result = run("compare", "plan.toml", *names, "--json")
    found = json.loads(result.stdout)
    of_one = {"margin_db": NUMBER, "reliability": NUMBER, "state": str}
    shape = {
        "plan": str,
        "site": str,
        "draws": int,
        "seed": int,
        "geometries": int,
        "spots": [RANKED | {"drawn": DRAWN}],
        "pairs": [
            {
                "one": str,
                "other": str,
                "one_more": MORE,
                "equal_share": NUMBER,
                "other_more": MORE,
                "share_error": NUMBER,
            }
        ],
        "links": [{"inverter": str, "spots": dict.fromkeys(names, of_one)}],
    }
    assert (result.exit_code, result.stderr) == (0, "")
    assert differences(found, shape) == []
    assert [row["spot"] for row in found["spots"]] == names
    assert len(found["links"]) == 17
    assert [(row["one"], row["other"]) for row in found["pairs"]] == list(combinations(names, 2))


def test_the_json_tells_what_the_text_tells(run, folder):
    write(folder, more=SPOTS + WALL)
    found = json.loads(run("compare", "plan.toml", "office", "post", "--json").stdout)
    assert [row["worst_margin_db"] for row in found["spots"]] == pytest.approx([34.782, 54.782], abs=0.01)
    (link,) = found["links"]
    assert link["inverter"] == "i1"
    assert link["spots"]["office"]["margin_db"] == pytest.approx(34.782, abs=0.01)
    assert link["spots"]["post"]["state"] == "holds"


def test_it_agrees_with_the_links(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    links = json.loads(run("links", "plan.toml", "--gateway", "switchboard", "--json").stdout)["links"]
    compared = json.loads(run("compare", "plan.toml", "office", "switchboard", "--json").stdout)["links"]
    assert {row["inverter"]: row["spots"]["switchboard"]["margin_db"] for row in compared} == {
        link["inverter"]: link["margin_db"] for link in links
    }


def test_a_name_given_twice_counts_once(run, folder):
    write(folder, more=SPOTS)
    found = json.loads(run("compare", "plan.toml", "post", "shed", "post", "--json").stdout)
    assert [row["spot"] for row in found["spots"]] == ["post", "shed"]


@pytest.mark.parametrize("names", [[], ["office"], ["office", "office"]])
def test_fewer_than_two_spots_are_wrong_usage(run, folder, names):
    write(folder, more=SPOTS)
    result = run("compare", "plan.toml", *names)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Usage: survey compare ")


def test_unknown_names_are_told_all_with_the_nearest(run, folder):
    write(folder, more=SPOTS + search(along="[[0, 5], [1, 5]]"))
    result = run("compare", "plan.toml", "Post", "office", "s/0.00,5.00,1.60", "roof")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        'plan.toml: no gateway or spot is named "Post"; did you mean "post"?',
        'plan.toml: no gateway or spot is named "s/0.00,5.00,1.60"; did you mean "s/0.00,5.00,1.50"?',
        'plan.toml: no gateway or spot is named "roof"',
    ]
    result = run("compare", "plan.toml", "post", "ofice", "--inverter", "I1")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines() == [
        'plan.toml: no gateway or spot is named "ofice"; did you mean "office"?',
        'plan.toml: no inverter is named "I1"; did you mean "i1"?',
    ]


def test_a_name_that_looks_like_an_option_can_be_given_after_two_dashes(run, folder):
    write(folder, more=SPOTS + entry("spot", name='"--json"', at="[1, 1]", height_m=2))
    result = run("compare", "plan.toml", "--", "--json", "office")
    assert result.exit_code == 0
    assert "\nA       --json " in result.stdout


def test_many_spots_stand_in_blocks_of_a_few_and_every_margin_is_there(run, folder):
    more = "".join(entry("spot", name=f'"s{k}"', at=f"[{k}, 3]", height_m=2) for k in range(1, 31))
    write(folder, more=more)
    names = [f"s{k}" for k in range(1, 31)]
    text = run("compare", "plan.toml", *names).stdout
    assert max(map(len, text.splitlines())) <= 100
    assert text.count("\ninverter  ") == 10
    pairs = [line for line in text.splitlines() if "," in line and line.endswith(("-", ".0"))]
    assert len(pairs) == 29, "of 435 pairs those with the spot that comes first"
    assert "\nPairs with " in text
    letters = {words[0]: words[1] for words in map(str.split, rows_under(text, "letter"))}
    assert (letters["A"], letters["Z"], letters["AA"], letters["AD"]) == ("s1", "s26", "s27", "s30")
    assert ["AB", "AB", "AB", "AC", "AC", "AC", "AD", "AD", "AD"] in map(str.split, text.splitlines())


@pytest.mark.parametrize("form", ["text", "json"])
def test_only_the_links_of_the_inverters_named_are_listed_and_all_are_counted(run, folder, form):
    more = "".join(entry("inverter", name=f'"i{k}"', at=f"[{10 + k}, 0]", height_m=2) for k in (2, 3))
    write(folder, more=SPOTS + more)
    words = ["office", "post", "--inverter", "i3", "--inverter", "i1", "--inverter", "i3"]
    if form == "json":
        found = json.loads(run("compare", "plan.toml", *words, "--json").stdout)
        assert [link["inverter"] for link in found["links"]] == ["i3", "i1"]
        assert found["spots"][0]["served"] == 3
        assert found["spots"][0]["worst_inverter"] == "i3"
    else:
        text = run("compare", "plan.toml", *words).stdout
        assert rows_under(text, "letter")[0].split() == ["A", "office", "3", "3.0", "i3", "52.5", "53.2"]
        assert [line.split()[0] for line in rows_under(text, "inverter")] == ["i3", "i1"]


def test_an_inverter_that_none_of_the_spots_hears_has_no_best_one(run, folder):
    closed = "".join(
        entry("box", name=f'"{name}"', loss_db=110, centre=f"[{x}, 0]", length_m=2, width_m=2, height_m=3)
        for name, x in (("round it", 10), ("round the post", 20), ("round the office", 0))
    )
    write(folder, more=SPOTS + closed)
    (row,) = rows_under(run("compare", "plan.toml", "office", "post").stdout, "inverter")
    assert row.split() == ["i1", "none", "<1", "%", "fails", "none", "<1", "%", "fails", "none"]


@pytest.mark.parametrize(("sensitivity_dbm", "status"), [(-98.0, 0), (-20.0, 3)])
def test_with_require_the_status_is_3_where_an_inverter_holds_nowhere(run, folder, sensitivity_dbm, status):
    write(folder, ("-98.0", str(sensitivity_dbm)), more=SPOTS)
    result = run("compare", "plan.toml", "post", "shed", "--require")
    assert result.exit_code == status
    assert result.stdout.startswith("invented yard, 868 MHz, ")


def test_a_fault_of_the_plan_is_told_and_nothing_else(run, folder):
    (folder / "plan.toml").write_text(inverter_with("height_m = inf"), encoding="utf-8")
    result = run("compare", "plan.toml", "office", "post")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith('plan.toml: [[inverter]] 1 "i1": height_m: inf is not a number')


# ----------------------------------------------------------------------------------------------------- draw by draw

MORE_INVERTERS = "".join(entry("inverter", name=f'"i{k}"', at=f"[{10 + k}, 0]", height_m=2) for k in range(2, 12))
WEAK = ("-98.0", "-60.0")


def test_pairs_are_counted_draw_by_draw(run, folder):
    """The wall costs the office 20 dB: in most draws, post serves more; the two shares and the equal ones add up."""
    write(folder, WEAK, more=SPOTS + WALL + MORE_INVERTERS)
    found = json.loads(run("compare", "plan.toml", "office", "post", "--json", "--draws", "400").stdout)
    (pair,) = found["pairs"]
    assert pair["one_more"]["share"] + pair["equal_share"] + pair["other_more"]["share"] == pytest.approx(1.0)
    assert pair["other_more"]["share"] > 0.95
    lead = pair["other_more"]["share"] * pair["other_more"]["by"] - pair["one_more"]["share"] * pair["one_more"]["by"]
    office, post = (row["drawn"] for row in found["spots"])
    assert post["mean"] - office["mean"] == pytest.approx(lead, abs=1e-4)
    assert post["mean"] > office["mean"] + 5.0
    assert office["low"] <= office["mean"] <= office["high"] <= 11


def test_the_same_seed_gives_the_same_text_and_another_one_another(run, folder):
    write(folder, WEAK, more=SPOTS + WALL + MORE_INVERTERS)
    words = ["compare", "plan.toml", "office", "post", "--draws", "50"]
    assert run(*words, "--seed", "3").stdout == run(*words, "--seed", "3").stdout
    assert run(*words, "--seed", "3").stdout != run(*words, "--seed", "4").stdout
    assert "in 50 simulation runs (seed 3)" in run(*words, "--seed", "3").stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--draws", "0"], "Invalid value for '--runs' / '--draws': 0 is not in the range 1<=x<=100000."),
        (["--draws", "1e3"], "'1e3' is not a valid integer range."),
        (["--seed", "-1"], "Invalid value for '--seed': -1 is not in the range x>=0."),
    ],
)
def test_a_number_of_draws_that_cannot_be_is_told(run, folder, words, told):
    write(folder, more=SPOTS)
    result = run("compare", "plan.toml", "office", "post", *words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert told in result.stderr


def test_an_inverter_beyond_the_capacity_has_no_figures_and_no_row_where_every_spot_is_full(run, folder):
    """Three inverters, one a spot: each spot takes its nearest, and the third is named below the table."""
    more = "".join(entry("inverter", name=f'"n{k}"', at=at, height_m=2) for k, at in ((2, "[0, 21]"), (3, "[60, 60]")))
    write(folder, more=SPOTS + more + "\n[requirement]\ninverters_per_gateway = 1\n")
    text = run("compare", "plan.toml", "post", "shed", "--runs", "20").stdout
    listing = text.partition("Link by link")[2]
    cells = {line.split()[0]: line.split()[1:] for line in listing.splitlines() if line.startswith(("i1 ", "n"))}
    assert cells == {"i1": ["54.8", ">99", "%", "holds", "full", "A"], "n3": ["full", "38.7", ">99", "%", "holds", "B"]}
    assert "Not listed, since every spot is full: 1 inverter (n2)." in text
    assert "none" not in listing
    row = run("compare", "plan.toml", "post", "shed", "--runs", "20", "--inverter", "n2").stdout
    assert [line.split() for line in row.splitlines() if line.startswith("n2 ")] == [["n2", "full", "full", "none"]]
