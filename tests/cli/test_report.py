"""The command that writes the page for the job file."""

import hashlib
import json
import re
from html.parser import HTMLParser

import pytest
from places import ROOT
from plans import MINIMAL, SPOTS, WALL, changed, write

from survey.decisions import remedies
from survey.decisions.placement import Placement
from survey.decisions.simulation import LinkMove
from survey.output.answers.dropouts import cause_words
from survey.output.answers.figures import NO_ROOM

FARM = ROOT / "sites" / "farm.toml"
WEEK = ROOT / "sites" / "farm-week.csv"
NASTY = "<script>alert(1)</script>"
SHUT = "</script><b>shed</b>"
WORDS = {"hold": "holds", "marginal": "marginal", "fail": "fails"}
DAY = ("--date", "2026-03-05")
FEW = ("--draws", "50")
OWN_TAGS = {
    *("html", "head", "meta", "link", "title", "style", "script", "body", "header", "footer", "main", "section"),
    *(
        "article",
        "aside",
        "h1",
        "h2",
        "h3",
        "h4",
        "p",
        "ol",
        "ul",
        "li",
        "dl",
        "dt",
        "dd",
        "strong",
        "span",
        "code",
        "a",
    ),
    *("table", "caption", "thead", "tbody", "tr", "th", "td", "div", "figure", "figcaption", "form", "label", "input"),
    *("select", "option", "output", "button", "details", "summary", "img"),
    *("svg", "defs", "pattern", "g", "path", "rect", "circle", "line", "use", "text", "image", "nav"),
}


class Page(HTMLParser):
    """What a page holds: its elements, the words of each section, and the rows of each table in it."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.addresses, self.words, self.rows, self.ids = [], [], {"": []}, {}, []
        self.inside, self.skipping, self.depth = "", 0, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        named = dict(attrs)
        self.ids += [named["id"]] if "id" in named else []
        self.addresses += [named[key] for key in ("href", "src", "action", "data") if key in named]
        assert not any(key.startswith("on") for key in named), "no script in an attribute"
        if tag == "section":
            self.inside = named["id"]
            self.words[self.inside], self.rows[self.inside] = [], []
        self.skipping += tag in {"style", "script"}
        if tag == "tr":
            self.rows[self.inside].append([])
        if tag in {"td", "th"}:
            self.rows[self.inside][-1].append("")
        self.depth.append(tag)

    def handle_endtag(self, tag):
        self.skipping -= tag in {"style", "script"}
        while self.depth and self.depth.pop() != tag:
            pass
        if tag == "section":
            self.inside = ""

    def handle_data(self, data):
        if self.skipping:
            return
        self.words[self.inside].append(data)
        if {"td", "th"} & set(self.depth) and self.rows.get(self.inside):
            self.rows[self.inside][-1][-1] += data

    def text(self, section):
        """The words of a section in one line."""
        return " ".join(" ".join(self.words[section]).split())


def page(folder, name="page.html"):
    return Page((folder / name).read_text(encoding="utf-8"))


PAGES = {}
"""Pages that were written, by the words typed and all files in the folder: several tests look at the same one."""


def reported(run, folder, *words, warned=""):
    files = sorted(one for one in folder.iterdir() if one.name != "page.html")
    given = (words, warned, tuple((one.name, one.read_bytes()) for one in files))
    if given not in PAGES:
        result = run("report", *words, "--out", "page.html", *DAY, *FEW)
        assert (result.exit_code, result.stdout, result.stderr) == (0, "", f"{warned}written: page.html\n")
        PAGES[given] = (folder / "page.html").read_bytes()
    (folder / "page.html").write_bytes(PAGES[given])
    return page(folder)


def farm(folder):
    (folder / "farm.toml").write_bytes(FARM.read_bytes())


def counts(run, spot):
    """How many inverters are in each state, as `survey links` has it."""
    states = [
        one["state"] for one in json.loads(run("links", "farm.toml", "--gateway", spot, "--json").stdout)["links"]
    ]
    numbers = ", ".join(f"{word} {states.count(state)}" for word, state in WORDS.items())
    return f"Links of {len(states)} inverters: {numbers}"


def test_the_page_says_what_place_and_links_say(run, folder):
    farm(folder)
    found = reported(run, folder, "farm.toml")
    placed = json.loads(run("place", "farm.toml", "--json", *FEW).stdout)
    spot = placed["gateways"][0]["name"]
    answer = found.text("answer")
    assert f"Put the gateway at {spot}" in answer
    assert f"{placed['served']} of 40 inverters covered" in answer
    assert f"Existing gateway (office): {counts(run, 'office')}." in answer
    links = json.loads(run("links", "farm.toml", "--gateway", spot, "--json").stdout)["links"]
    table = [row for row in found.rows["links"] if row[0] in {one["inverter"] for one in links}]
    assert len(table) == 40
    by_name = {row[0]: row for row in table}
    for one in links:
        row = by_name[one["inverter"]]
        assert row[2] == f"{round(one['margin_db'], 1):.1f}"
        assert row[4].split()[1] == one["state"]
    margins = [float(row[2]) for row in table]
    assert margins == sorted(margins)
    assert placed["worst_inverter"] == table[0][0]


def test_every_section_is_there_and_the_weakest_links_are_explained_as_explain_does(run, folder):
    farm(folder)
    found = reported(run, folder, "farm.toml", "--gateway", "office")
    wanted = ["answer", "next", "links", "sure", "coverage", "weakest", "asked", "assumed", "cautions", "every"]
    assert [one for one in found.words if one] == wanted
    assert [one for one in found.addresses if one.startswith("#") and not re.match("#(b|m-)", one)] == [
        f"#{one}" for one in wanted
    ]
    weakest = [row[0] for row in found.rows["links"][1:6]]
    explained = json.loads(run("explain", "farm.toml", *weakest, "--gateway", "office", "--json").stdout)["inverters"]
    words = found.text("weakest")
    for one in explained:
        assert f"{one['inverter']} to office: {one['state']}" in words
        best = one["remedies"][0]
        assert f"1 {best['action']}" in words
        assert f"(one standard deviation): {int(100 * one['reliability'])} %. The link " in words
    assert "as requested" in found.text("links")


def test_with_a_gateway_named_the_table_is_about_it(run, folder):
    farm(folder)
    office = reported(run, folder, "farm.toml", "--gateway", "office")
    assert "show the gateway at office (as requested)" in office.text("links")
    assert f"{counts(run, 'office')}." in office.text("links")
    assert "existing" not in office.rows["links"][0]
    both = reported(run, folder, "farm.toml", "--gateway", "office", "--gateway", "lean-to post")
    assert "show the gateways at A: office, B: lean-to post" in both.text("links")
    column = both.rows["links"][0].index("to")
    assert {row[column] for row in both.rows["links"][1:]} == {"A", "B"}


def test_serials_stand_in_the_table(run, folder):
    write(folder, ('name = "i1"', 'name = "i1"\nserial = "SN 0042/7"'), more=SPOTS)
    found = reported(run, folder, "plan.toml")
    assert found.rows["links"][0][:2] == ["inverter", "serial"]
    assert [row[1] for row in found.rows["links"] if row[0] == "i1"] == ["SN 0042/7"]


def test_the_stamp_ties_the_page_to_its_plan(run, folder):
    farm(folder)
    found = reported(run, folder, "farm.toml")
    checksum = hashlib.sha256((folder / "farm.toml").read_bytes()).hexdigest()[:12]
    assert f"Plan farm.toml, checksum {checksum}; survey " in found.text("")
    assert "2026-03-05" in found.text("")


def test_the_same_plan_and_date_give_the_same_page(run, folder):
    write(folder, more=SPOTS + WALL)
    reported(run, folder, "plan.toml")
    before = (folder / "page.html").read_bytes()
    assert run("report", "plan.toml", "--out", "page.html", *DAY, *FEW).exit_code == 0
    assert (folder / "page.html").read_bytes() == before


def test_without_a_date_it_is_todays(run, folder):
    write(folder, more=SPOTS)
    assert run("report", "plan.toml", "--out", "page.html").exit_code == 0
    assert re.search(r"survey [\w.]+; 20\d\d-\d\d-\d\d", page(folder).text(""))


@pytest.mark.parametrize("name", [NASTY, SHUT, '" onload="alert(1)', "{{ 7 * 7 }}", "&lt;b&gt;"])
def test_names_that_look_like_html_stay_text(run, folder, name):
    quoted = json.dumps(name)
    gateway = f"name = {json.dumps(name + ' g')}"
    text = changed(('"invented yard"', quoted), ('name = "i1"', f"name = {quoted}"), ('name = "office"', gateway))
    text += f'[[wall]]\nname = {json.dumps(name + " w")}\nmaterial = "steel cladding"\n'
    text += "along = [[5.0, -20.0], [5.0, 20.0]]\nheight_m = 9.0\n"
    text += f"[[spot]]\nname = {json.dumps(name + '2')}\nat = [9.0, 3.0]\nheight_m = 2.0\nnote = {quoted}\n"
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    found = reported(run, folder, "plan.toml")
    assert set(found.tags) <= OWN_TAGS
    assert found.tags.count("script") == 1
    assert found.tags.count("b") == 0
    shown = " ".join(name.split())
    assert shown in found.text("links")
    assert shown in found.text("weakest")
    assert shown in found.text("")


def test_nothing_on_the_page_leads_out_of_it(run, folder):
    farm(folder)
    found = reported(run, folder, "farm.toml", "--log", str(WEEK))
    inner = {one for one in found.addresses if one.startswith("#")}
    assert {one[1:] for one in inner} <= set(found.ids)
    assert len(set(found.ids)) == len(found.ids)
    assert all(one.startswith(("#", "data:")) for one in found.addresses)
    text = (folder / "page.html").read_text(encoding="utf-8")
    assert "default-src 'none'" in text
    assert re.search(r"(?<!-)\burl\((?!#)", text) is None
    assert "@import" not in text


def test_a_log_is_sorted_as_dropouts_does(run, folder):
    farm(folder)
    found = reported(run, folder, "farm.toml", "--log", str(WEEK))
    told = json.loads(run("dropouts", "farm.toml", str(WEEK), "--json").stdout)
    causes = [row for row in found.rows["dropouts"] if row[0] != "cause"]
    assert [(row[0], row[3]) for row in causes] == [
        (cause_words(one["cause"]), str(one["dropouts"])) for one in told["causes"]
    ]
    assert "These are likely causes, not certain ones" in found.text("dropouts")
    column = found.rows["links"][0].index("missed polls")
    assert any("weak link" in row[column] for row in found.rows["links"][1:])


READINGS = """inverter,gateway,level_dbm
S-1-1,office,-88.1
S-2-5,office,-80.0
S-3-10,office,-74.0
L-1-5,office,missed
S-1-5,office,-99.0
"""


def test_readings_stand_beside_the_prediction(run, folder):
    farm(folder)
    (folder / "day.csv").write_text(READINGS, encoding="utf-8")
    found = reported(run, folder, "farm.toml", "--readings", "day.csv")
    links = json.loads(run("links", "farm.toml", "--json").stdout)["links"]
    predicted = {one["inverter"]: one["uplink"]["level_dbm"] for one in links}
    rows = {row[0]: row for row in found.rows["readings"][1:]}
    assert set(rows) == {"S-1-1", "S-2-5", "S-3-10", "L-1-5", "S-1-5"}
    assert rows["S-1-1"][2:5] == ["-88.1", f"{predicted['S-1-1']:.1f}", f"{-88.1 - predicted['S-1-1']:+.1f}"]
    assert rows["L-1-5"][2] == "no answer"
    assert "5 inverters measured" in found.text("readings")


def test_with_a_fit_all_figures_are_those_of_the_fit(run, folder):
    farm(folder)
    (folder / "day.csv").write_text(READINGS, encoding="utf-8")
    assert run("fit", "farm.toml", "day.csv", "--out", "fit.json").exit_code == 0
    found = reported(run, folder, "farm.toml", "--fit", "fit.json", "--gateway", "office", "--readings", "day.csv")
    assert "use the fit to readings in fit.json" in found.text("readings")
    links = json.loads(run("links", "farm.toml", "--fit", "fit.json", "--json").stdout)["links"]
    by_name = {row[0]: row for row in found.rows["links"]}
    assert [by_name[one["inverter"]][2] for one in links] == [f"{round(one['margin_db'], 1):.1f}" for one in links]
    plain = json.loads(run("links", "farm.toml", "--json").stdout)["links"]
    assert [one["margin_db"] for one in plain] != [one["margin_db"] for one in links]
    assert "Fit: fit.json, from 5 readings" in found.text("readings")
    fitted = json.loads((folder / "fit.json").read_text(encoding="utf-8"))["materials"]
    rows = {row[0]: row[1:5] for row in found.rows["assumed"]}
    assert rows["material"] == ["plan dB", "its uncertainty dB", "fitted dB", "standard error dB"]
    assert fitted
    for name, one in fitted.items():
        figures = [one[key] for key in ("before_db", "before_stderr", "loss_db", "stderr")]
        assert rows[name] == [f"{figure:.1f}" for figure in figures]


def test_a_plan_with_gateways_and_no_spot_is_reported_as_it_stands(run, folder):
    write(folder)
    found = reported(run, folder, "plan.toml")
    assert "this page recommends none" in found.text("answer")
    assert "(existing)" in found.text("links")
    assert "sure" not in found.words


def test_several_gateways_and_relays(run, folder):
    farm(folder)
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    text = text.replace("fade_margin_db = 3.0\n", "fade_margin_db = 3.0\ngateways = 2\nmax_relays = 1\n")
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    found = reported(run, folder, "farm.toml")
    assert "spots for up to 2 gateways" in found.text("asked")
    assert "through up to 1 relay" in found.text("asked")
    assert "Coverage by number of gateways" in found.text("sure")
    assert "relays" in found.rows["links"][0]
    words = found.text("weakest")
    assert words.startswith("Weakest routes and remedies")
    told = re.search(r"(\S+) to ([^:]+?) through (\S+): holds The route holds: its weakest link has a margin of", words)
    row = next(row for row in found.rows["links"] if row[0] == told.group(1))
    assert told.group(3) in row


def test_without_room_at_the_gateway_an_inverter_says_so(run, folder):
    farm(folder)
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    text = text.replace("fade_margin_db = 3.0\n", "fade_margin_db = 3.0\ninverters_per_gateway = 25\n")
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    warned = (
        "warning: 1 gateway takes 25 of 40 inverters at most: raise gateways or inverters_per_gateway in "
        "[requirement], or some of them have nowhere to report\n"
    )
    found = reported(run, folder, "farm.toml", warned=warned)
    assert "15 inverters over the gateways' capacity" in found.text("answer")
    assert sum(row[4].endswith(NO_ROOM) for row in found.rows["links"]) == 15
    assert found.text("every").count("All gateways are full: this is the link that it would have") == 15
    full = {row[0] for row in found.rows["links"] if row[4].endswith(NO_ROOM)}
    assert not any(f"{name} to " in found.text("weakest") for name in full)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--out", "page.txt"], "page.txt: the page is HTML; end it in .html or .htm\n"),
        (["--out", "no/page.html"], "no/page.html: the folder no does not exist\n"),
        (["--out", "plan.html"], "plan.html: is the plan itself; name another file\n"),
        (["--out", "page.html", "--gateway", "ofice"], "ofice"),
        (["--out", "page.html", "--log", "none.csv"], "none.csv"),
        (["--out", "page.html", "--readings", "none.csv"], "none.csv"),
        (["--out", "page.html", "--fit", "none.json"], "none.json"),
    ],
)
def test_bad_input_is_told_and_nothing_is_written(run, folder, words, said):
    write(folder, more=SPOTS)
    (folder / "plan.toml").rename(folder / "plan.html")
    result = run("report", "plan.html", *words)
    assert (result.exit_code, result.stdout) == (1, "")
    assert said in result.stderr
    assert [one.name for one in folder.iterdir()] == ["plan.html"]


def test_a_plan_without_a_place_for_a_gateway(run, folder):
    text = re.sub(r"\[\[gateway\]\].*?(?=\n\[|\Z)", "", MINIMAL, flags=re.DOTALL)
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    result = run("report", "plan.toml", "--out", "page.html")
    assert result.exit_code == 1
    assert "add a spot for a gateway" in result.stderr
    assert not (folder / "page.html").exists()


def test_out_is_needed(run, folder):
    write(folder)
    result = run("report", "plan.toml")
    assert result.exit_code == 2
    assert "--out" in result.stderr


def test_a_page_on_standard_output_is_the_file(run, folder):
    write(folder, more=SPOTS)
    run("report", "plan.toml", "--out", "page.html", *DAY, *FEW)
    printed = run("report", "plan.toml", "--out", "-", *DAY, *FEW)
    assert printed.stdout == (folder / "page.html").read_text(encoding="utf-8")
    assert "written" not in printed.stderr


def test_the_page_marks_links_and_names_positions_that_the_drawing_decides(run, tmp_path, monkeypatch):
    write(tmp_path, more=SPOTS + WALL)
    run("report", "plan.toml", "--out", "page.html", *DAY, *FEW)
    assert "exact positions" not in (tmp_path / "page.html").read_text(encoding="utf-8")
    move = LinkMove(name="the wall", direction="height", step_m=0.1, margin_db=-6.0, state=0)
    monkeypatch.setattr(remedies, "link_moves", lambda _, pairs: [(move,) for _ in pairs])
    monkeypatch.setattr(Placement, "unsteady", property(lambda _: (0,)))
    run("report", "plan.toml", "--out", "page.html", *DAY, *FEW)
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert re.search(r" \*</td>", text)
    assert "* This state depends on exact positions" in text
    assert re.search(r"Position: [^<]*the wall", text)


def test_several_named_gateways_are_said_to_be_in_use_together_in_help_and_on_the_page(run, folder):
    write(folder, more=SPOTS)
    run("report", "plan.toml", "--gateway", "post", "--gateway", "shed", "--out", "page.html", *DAY, *FEW)
    html = (folder / "page.html").read_text(encoding="utf-8")
    assert "All of them are in use together: each inverter reports to the one with its best route." in html
    assert "all of them in use together" in " ".join(run("report", "--help").stdout.split())
    run("report", "plan.toml", "--gateway", "post", "--out", "one.html", *DAY, *FEW)
    assert "in use together" not in (folder / "one.html").read_text(encoding="utf-8")


def test_the_page_of_a_single_gateway_runs_no_simulation_of_a_choice_of_several(run, folder, monkeypatch):
    """Its runs are those of `certainty`; those of `runs` took time, and nothing showed them."""
    monkeypatch.setattr("survey.decisions.placement.served_runs", None)
    write(folder, more=SPOTS)
    assert run("report", "plan.toml", "--draws", "20", "--out", "page.html").exit_code == 0
