"""What README.md and docs/ show is what the program prints, and nothing that a user can type is left out.

A block marked ``console`` is a session. Each of its commands is run, in a folder of its own that holds the demo sites,
and its whole output is compared with what the block shows. A line of three dots stands for any number of lines. A block
marked ``toml`` or ``csv`` that begins with a comment such as ``# lane.toml: ...`` is a file that the sessions may use.

Where figures have moved on purpose, write the outputs anew and read the difference before it is kept::

    SURVEY_UPDATE_DOCS=1 python -m pytest tests/test_docs.py
"""

from __future__ import annotations

import doctest
import json
import os
import re
import shlex
import shutil
import tomllib
from dataclasses import MISSING
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from places import ROOT

from survey.base.units import direction_of_bearing
from survey.cli import COMMANDS, main
from survey.inputs.fields import Choice, Number, NumberOrList, Numbers, Points, Text, Texts, keys_of
from survey.inputs.plan import Array, OwnRadio, RadioEnd
from survey.inputs.plan_file import TABLES, list_tables, plan_of

PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
UPDATE = bool(os.environ.get("SURVEY_UPDATE_DOCS"))
TO_JSON_TOOL = " | python3 -m json.tool"
DEMO_COMMAND = (
    "python3 -m venv .venv && .venv/bin/pip install --quiet --editable . && .venv/bin/survey place sites/farm.toml"
)
TEST_COMMAND = (
    "python3 -m venv .venv && .venv/bin/pip install --quiet --editable '.[dev]' && .venv/bin/python -m pytest -n auto"
)


def page_name(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.DOTALL | re.MULTILINE)


def lay_out(folder: Path) -> None:
    """The demo sites, and the files that the documents show."""
    shutil.copytree(ROOT / "sites", folder / "sites")
    for language in ("toml", "csv"):
        for block in (block for page in PAGES for block in blocks(page.read_text(encoding="utf-8"), language)):
            if named := re.match(rf"# (\S+\.{language}): ", block):
                (folder / named[1]).write_text(block, encoding="utf-8")


class Shell:
    """As much of a shell as the documents need."""

    def __init__(self) -> None:
        self.status = 0

    def run(self, command: str) -> str:
        """What a command prints on a terminal."""
        if command == "echo $?":
            return f"{self.status}\n"
        first, *words = shlex.split(command.removesuffix(TO_JSON_TOOL))
        if first == "cat":
            return "".join(Path(word).read_text(encoding="utf-8") for word in words)
        assert first == "survey", f"only survey, cat and echo $? can be shown: {command}"
        result = CliRunner().invoke(main, words, prog_name="survey", catch_exceptions=False)
        self.status = result.exit_code
        if command.endswith(TO_JSON_TOOL):
            return json.dumps(json.loads(result.stdout), indent=4) + "\n"
        return result.output


def shown_commands(block: str) -> list[tuple[str, list[str]]]:
    """The commands of a session, each with the lines of output shown below it."""
    lines = block.splitlines()
    assert lines[0].startswith("$ "), f"a session begins with a command: {lines[0]}"
    starts = [number for number, line in enumerate(lines) if line.startswith("$ ")]
    return [
        (lines[start][2:], lines[start + 1 : end]) for start, end in zip(starts, [*starts[1:], len(lines)], strict=True)
    ]


def is_as_shown(shown: list[str], printed: list[str]) -> bool:
    if "..." not in shown:
        return shown == printed
    cut = shown.index("...")
    head, tail = shown[:cut], shown[cut + 1 :]
    return (
        len(printed) > len(head) + len(tail) and printed[:cut] == head and printed[len(printed) - len(tail) :] == tail
    )


def shortened_as(shown: list[str], printed: list[str]) -> list[str]:
    """An output cut where the one shown so far was cut."""
    if "..." not in shown:
        return printed
    cut = shown.index("...")
    return [*printed[:cut], "...", *printed[len(printed) - (len(shown) - cut - 1) :]]


LONG = {"docs/several-gateways.md", "docs/pictures.md", "docs/service-call.md", "docs/network.md"}
"""Pages whose sessions take long; what they show is the same kind of output as in the others."""
SESSIONS = [
    pytest.param(
        page,
        marks=[
            *([pytest.mark.slow] if page_name(page) in LONG else []),
        ],
        id=page_name(page),
    )
    for page in PAGES
]


@pytest.mark.parametrize("page", SESSIONS)
def test_every_session_shows_what_the_program_prints(page, tmp_path, monkeypatch):
    text = page.read_text(encoding="utf-8")
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    shell = Shell()
    for block in blocks(text, "console"):
        anew = []
        for command, shown in shown_commands(block):
            printed = [line.rstrip() for line in shell.run(command).splitlines()]
            if not UPDATE:
                assert is_as_shown(shown, printed), f"$ {command}\n" + "\n".join(printed)
            anew += [f"$ {command}", *(shown if is_as_shown(shown, printed) else shortened_as(shown, printed))]
        if UPDATE:
            text = text.replace(block, "\n".join(anew) + "\n", 1)
    if UPDATE:
        page.write_text(text, encoding="utf-8")


def test_the_python_of_the_page_runs_and_answers_as_shown(tmp_path, monkeypatch):
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for number, block in enumerate(blocks((ROOT / "docs" / "python.md").read_text(encoding="utf-8"), "python")):
        if not block.startswith(">>> "):
            exec(block, names)  # noqa: S102  that it runs is what the test is about
            continue
        session = doctest.DocTestParser().get_doctest(block, names, f"block {number}", "docs/python.md", 0)
        told: list[str] = []
        result = doctest.DocTestRunner().run(session, out=told.append, clear_globs=False)
        names |= session.globs
        assert result.failed == 0, "".join(told)
    assert (tmp_path / "post.png").stat().st_size > 0


def test_three_dots_are_used_sparingly():
    for page in PAGES:
        sessions = blocks(page.read_text(encoding="utf-8"), "console")
        outputs = [shown for session in sessions for _, shown in shown_commands(session)]
        assert all(shown.count("...") <= 1 for shown in outputs), page.name
        assert sum("..." in shown for shown in outputs) <= max(1, len(outputs) // 3), page.name


# ------------------------------------------------------------------------------------------ what a user can type


def section(page: str, heading: str) -> str:
    """What stands under a heading, down to the next one as high."""
    text = (ROOT / page).read_text(encoding="utf-8")
    found = re.search(rf"^(#+) {re.escape(heading)}$", text, flags=re.MULTILINE)
    assert found, f"{page} has no heading {heading}"
    rest = text[found.end() :]
    end = re.search(rf"^#{{1,{len(found[1])}}} ", rest, flags=re.MULTILINE)
    return rest[: end.start()] if end else rest


def test_every_command_is_named_in_the_readme():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [name for name in COMMANDS if f"`survey {name}`" not in text] == []


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_explained_with_an_example(name):
    text = section("docs/commands.md", f"survey {name}")
    command = main.get_command(click.Context(main), name)
    flags = {flag for one in command.params if isinstance(one, click.Option) for flag in one.opts}
    assert {flag for flag in flags if f"`{flag}" not in text} == set()
    assert f"$ survey {name}" in text


def keys_in_table(text: str) -> dict[str, list[str]]:
    """The rows of a table of keys: each key with its cells."""
    rows = (re.split(r"(?<!\\)\|", line.strip().strip("|")) for line in text.splitlines() if line.startswith("| `"))
    return {cells[0].strip().strip("`"): [cell.strip() for cell in cells[1:]] for cells in rows}


def number(value: float) -> str:
    return str(int(value)) if value == int(value) else f"{value:g}"


def allowed(kind: object) -> str:  # noqa: PLR0911  one for each kind
    """How the page words what a key may be."""
    match kind:
        case Number():
            return f"{'whole, ' if kind.whole else ''}{number(kind.low)} to {number(kind.high)}"
        case NumberOrList():
            return f"{allowed(kind.each)}, or a list of up to {kind.most}"
        case Text():
            return "text"
        case Texts():
            return "texts"
        case Choice():
            files = [f"the name of a file that ends in `{kind.ending}`"] if kind.ending else []
            return ", ".join([*(f'`"{word}"`' for word in kind.words), *files])
        case Numbers(axes=()):
            return f"{kind.least} to {kind.most} numbers, each {allowed(kind.each)}"
        case Numbers():
            return f"`[{', '.join(kind.axes)}]`"
        case Points():
            return f"{kind.least} to {kind.most} points `[{', '.join(kind.point.axes)}]`"
    raise AssertionError(kind)


def default(value: object) -> str:
    if value is MISSING:
        return "required"
    if value is None or value in {"", ()}:
        return "none"
    return f'`"{value}"`' if isinstance(value, str) else f"{value:g}"


HEADINGS = {
    **{name: (f"`[{name}]`", entry) for name, entry in TABLES.items()},
    "radio ends": ("`[radio.inverter]` and `[radio.gateway]`", RadioEnd),
    "own radio figures": ("Radio figures of its own", OwnRadio),
    **{name: (f"`[[{name}]]`", entry) for name, (_, entry) in list_tables().items()},
    "gateway": ("`[[gateway]]` and `[[spot]]`", list_tables()["gateway"][1]),
    "spot": ("`[[gateway]]` and `[[spot]]`", list_tables()["spot"][1]),
}


@pytest.mark.parametrize("table", HEADINGS)
def test_every_key_of_the_plan_is_explained_with_its_default_and_its_range(table):
    heading, entry = HEADINGS[table]
    text = section("docs/plan-file.md", heading)
    rows = keys_in_table(text)
    own_radio = {one.name for one in keys_of(OwnRadio)} if entry is not OwnRadio else set()
    expected = {
        one.name: [default(one.default), allowed(one.metadata["kind"])]
        for one in keys_of(entry)
        if not (issubclass(entry, OwnRadio) and one.name in own_radio)
    }
    assert {name: cells[1:3] for name, cells in rows.items()} == expected
    if issubclass(entry, OwnRadio) and entry is not OwnRadio:
        assert "(#radio-figures-of-its-own)" in text


def as_plan(tables: dict) -> dict:
    """A piece of a plan with what it needs to stand alone."""
    ends = {end: {"tx_power_dbm": 8.0, "sensitivity_dbm": -96.0} for end in ("inverter", "gateway")}
    radio = {"frequency_mhz": 868.0} | ends | tables.get("radio", {})
    whole = {"plan_version": 1, "site": {"name": "a piece"}} | tables | {"radio": radio}
    if not {"array", "inverter"} & set(tables):
        whole["inverter"] = [{"name": "stand-in", "at": [0.0, 0.0], "height_m": 3.0}]
    return whole


@pytest.mark.parametrize("number", range(len(blocks((ROOT / "docs" / "plan-file.md").read_text("utf-8"), "toml"))))
def test_every_piece_of_a_plan_shown_reads_without_fault(number, tmp_path):
    lay_out(tmp_path)
    block = blocks((ROOT / "docs" / "plan-file.md").read_text(encoding="utf-8"), "toml")[number]
    tables = tomllib.loads(block)
    whole = tables if "plan_version" in tables and "site" in tables else as_plan(tables)
    plan_of(whole, file="the page", folder=tmp_path)


# ------------------------------------------------------------------------------------- figures worked out by hand


def test_the_array_of_the_page_steps_as_the_page_says():
    text = section("docs/plan-file.md", "`[[array]]`")
    plan = plan_of(as_plan(tomllib.loads(blocks(text, "toml")[0])), file="the page")
    array = plan.arrays[0]
    at_m = dict(zip(array.inverter_names(), array.positions_m().tolist(), strict=True))
    assert at_m["N-1-1"] == [2.0, 14.0, 3.2]
    assert at_m["N-1-2"] == pytest.approx([4.3, 14.0, 3.2])
    assert at_m["N-2-1"] == pytest.approx([2.0, 14.0 + 1.74, 3.2 + 0.47], abs=0.005)


@pytest.mark.parametrize("facing_deg", [0.0, 90.0, 180.0, 270.0])
def test_a_roof_face_looks_the_way_that_the_page_says(facing_deg):
    directions = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
    text = section("docs/plan-file.md", "`[[array]]`")
    rows = re.findall(r"^\| (\w+) \| (\w+) \| (\d+) \|$", text, flags=re.MULTILINE)
    face = next(row for row in rows if directions[row[0]] == facing_deg)
    array = Array(name="a", first=(0, 0), height_m=3, bearing_deg=float(face[2]), per_row=1)
    assert array.upslope[:2] == pytest.approx(direction_of_bearing(directions[face[1]]), abs=1e-9)
    assert array.upslope[:2] == pytest.approx(-direction_of_bearing(facing_deg), abs=1e-9)


def test_the_link_worked_out_by_hand_is_the_one_that_the_program_prints(tmp_path, monkeypatch):
    text = section("docs/computing.md", "From path loss to a verdict")
    rows = re.findall(r"^\| (.+?) \| \**(-?[\d.]+)\** \|$", text, flags=re.MULTILINE)
    first_metre, distance, brick, path_loss, power, gain, mounting, level, sensitivity, margin = (
        float(figure) for _, figure in rows
    )
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    link = json.loads(Shell().run("survey links lane.toml --inverter R-1-1 --json"))["links"][0]
    assert first_metre + distance + brick == pytest.approx(path_loss)
    assert power + gain + mounting - path_loss == pytest.approx(level)
    assert level - sensitivity == pytest.approx(margin)
    assert link["base_loss_db"] + link["crossed"][0]["loss_db"] == pytest.approx(path_loss, abs=1e-4)
    assert link["uplink"]["level_dbm"] == pytest.approx(level, abs=1e-4)
    assert link["uplink"]["margin_db"] == pytest.approx(margin, abs=1e-4)


# --------------------------------------------------------------------------------------------------- README and CI


@pytest.mark.parametrize("command", [DEMO_COMMAND, TEST_COMMAND])
def test_the_two_commands_of_the_readme_stand_on_one_line_each(command):
    assert command in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()


def test_ci_runs_the_test_command_of_the_readme():
    assert TEST_COMMAND in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("page", PAGES, ids=page_name)
def test_every_link_to_a_page_or_heading_leads_somewhere(page):
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if target.startswith(("https://", "http://")):
            continue
        file, _, anchor = target.partition("#")
        other = page.parent / file if file else page
        assert other.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.+)$", other.read_text(encoding="utf-8"), flags=re.MULTILINE)
            anchors = {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}
            assert anchor in anchors, target


def test_no_page_and_no_site_names_a_folder_of_somebodys_machine():
    machine = re.compile(r"(?<![\w.])/(?:home|root|tmp|work|Users)/")
    files = [*PAGES, *(ROOT / "sites").glob("*.toml")]
    assert [page_name(file) for file in files if machine.search(file.read_text(encoding="utf-8"))] == []
