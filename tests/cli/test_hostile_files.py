"""Inputs that cannot be read, never end, or hold numbers that no file of the program has: refused in words, at once."""

import hashlib
import json
import math
import os
import sys
import time
from pathlib import Path

import pytest
from plans import MINIMAL, SPOTS, WALL, array, search, write

from survey.output import report as pages

READERS = {
    "plan": ["check", "{}"],
    "other plan": ["compare", "plan.toml", "post", "--with", "{}"],
    "readings": ["fit", "plan.toml", "{}"],
    "log": ["dropouts", "plan.toml", "{}"],
    "earlier log": ["dropouts", "plan.toml", "log.csv", "--before", "{}"],
    "fit": ["links", "plan.toml", "--fit", "{}"],
}
every_reader = pytest.mark.parametrize("words", READERS.values(), ids=READERS)
LOG = "time,inverter,gateway,heard\n2024-06-01T10:00:00Z,i1,office,1\n2024-06-01T10:05:00Z,i1,office,0\n"
READINGS = "inverter,gateway,level_dbm\ni1,office,-60\n"


@pytest.fixture
def site(folder):
    write(folder, more=SPOTS + WALL)
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8")
    return folder


@every_reader
@pytest.mark.parametrize("name", ["nowhere.x", "folder", "plan.toml/x", "x" * 300, "loop"])
def test_what_cannot_be_read_has_one_exit_status(run, site, words, name):
    (site / "folder").mkdir()
    (site / "loop").symlink_to("loop")
    result = run(*(word.replace("{}", name) for word in words))
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith(f"{name}: ")
    assert result.stderr.count("\n") == 1


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="there is no device without end")
@every_reader
@pytest.mark.usefixtures("run", "site")
def test_input_without_end_is_refused_within_a_second(run, words):
    run("check", "plan.toml")  # what is loaded once
    start_s = time.process_time()
    result = run(*(word.replace("{}", "/dev/zero") for word in words))
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("/dev/zero: ")
    assert time.process_time() - start_s < 1.0


# ------------------------------------------------------------------------------------------------------ fitted values


def fitted(run):
    assert run("fit", "plan.toml", "readings.csv", "--out", "fit.json").exit_code == 0
    return json.loads(Path("fit.json").read_text(encoding="utf-8"))


SPOILT = {
    "a number beyond floating point": lambda fit: fit["offset_db"].update(value=10**400),
    "infinity": lambda fit: fit.update(shadowing_db=math.inf),
    "nan": lambda fit: fit["path_loss_exponent"].update(value=math.nan),
    "a negative variance": lambda fit: fit["covariance"][0].__setitem__(0, -1.0),
    "no symmetry": lambda fit: fit["covariance"][0].__setitem__(1, fit["covariance"][1][0] + 0.5),
    "a correlation over 1": lambda fit: [fit["covariance"][a].__setitem__(1 - a, 1e4) for a in (0, 1)],
    "a variance beyond all limits": lambda fit: fit["covariance"][0].__setitem__(0, 1e300),
    "a covariance of whole numbers beyond floating point": lambda fit: fit["covariance"][0].__setitem__(0, 10**400),
    "texts": lambda fit: fit.update(covariance="x"),
    "a tree": lambda fit: fit.update(covariance=[[[[]]]]),
}


@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_fitted_values_that_none_can_be_are_refused(run, site, spoil):
    fit = fitted(run)
    assert run("links", "plan.toml", "--fit", "fit.json").exit_code == 0
    spoil(fit)
    (site / "bad.json").write_text(json.dumps(fit), encoding="utf-8")
    result = run("place", "plan.toml", "--fit", "bad.json")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("bad.json: ")
    assert "Traceback" not in result.stderr


def test_three_figures_that_contradict_each_other_are_no_covariance(run, site):
    fit = fitted(run)
    many = len(fit["covariance"])
    assert many >= 3
    fit["covariance"] = [[1.0 if a == b else 0.0 for b in range(many)] for a in range(many)]
    for a, b, value in ((0, 1, 0.9), (1, 2, 0.9), (0, 2, -0.9)):
        fit["covariance"][a][b] = fit["covariance"][b][a] = value
    (site / "bad.json").write_text(json.dumps(fit), encoding="utf-8")
    assert "covariance: is no covariance" in run("links", "plan.toml", "--fit", "bad.json").stderr


# --------------------------------------------------------------------------------------------------------- too much

WIDE = "[[0, 0], [999, 0], [999, 999], [0, 999]]"
TOLD_POINTS = "plan.toml: has about 60000003 gateways, spots and points of searches; a plan may have up to 1000000"
TOO_MUCH = [
    (
        "".join(array(name=f'"A{k}"', rows=100, per_row=1000, row_spacing_m=1) for k in range(6)),
        "plan.toml: has 600001 inverters; a plan may have up to 500000, so write fewer",
    ),
    (
        "".join(search(name=f'"s{k}"', within=WIDE, step_m=1) for k in range(60)),
        f"{TOLD_POINTS}, so write longer steps",
    ),
]


@pytest.mark.parametrize(("more", "told"), TOO_MUCH, ids=["inverters", "points"])
def test_a_plan_of_too_much_is_counted_and_refused_at_once(run, folder, more, told):
    write(folder, more=SPOTS + more)
    start_s = time.process_time()
    result = run("check", "plan.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (1, "", told + "\n")
    assert time.process_time() - start_s < 2.0


@pytest.mark.parametrize("words", [["place"], ["report", "--out", "r.html"], ["draw", "--placed", "--out", "a.svg"]])
def test_more_pairs_than_memory_takes_are_told_with_their_number(run, folder, monkeypatch, words):
    monkeypatch.setattr("survey.routing.coverage.MAX_PAIRS", 3)
    write(folder, more=SPOTS + array())
    result = run(words[0], "plan.toml", *words[1:])
    assert (result.exit_code, result.stdout) == (1, "")
    told = "3 inverters with 3 others are 9 links; up to 3 are calculated at a time"
    assert result.stderr == f"plan.toml: {told}; use fewer gateways or spots, or longer steps of searches\n"
    assert not (folder / "r.html").exists()


def test_so_are_links_to_gateways_and_links_between_inverters(run, folder, monkeypatch):
    write(folder, more=SPOTS + array())
    monkeypatch.setattr("survey.budget.working.MAX_LINKS", 5)
    assert run("links", "plan.toml", "--gateway", "post").exit_code == 0, "links to one gateway are always allowed"
    result = run("links", "plan.toml", "--gateway", "post", "--gateway", "shed")
    assert "3 inverters with 2 others are 6 links; up to 5 are" in result.stderr
    monkeypatch.setattr("survey.budget.working.MAX_LINKS", 5_000_000)
    monkeypatch.setattr("survey.routing.hops.MAX_PAIRS", 5)
    result = run("network", "plan.toml", "--relays", "1")
    assert (result.exit_code, "3 inverters with 3 others are 9 links" in result.stderr) == (1, True)


# ------------------------------------------------------------------------------------------------ the plan, read once


@pytest.mark.skipif(sys.platform == "win32", reason="no named pipes")
def test_the_page_bears_the_checksum_of_what_was_read_from_a_pipe(process, folder):
    plan = (MINIMAL + SPOTS).encode()
    result = process("report", "/dev/stdin", "--out", "r.html", input=plan)
    assert result.returncode == 0, result.stderr
    assert f"checksum {hashlib.sha256(plan).hexdigest()[:12]}" in (folder / "r.html").read_text(encoding="utf-8")


def test_a_plan_changed_meanwhile_does_not_change_the_checksum(run, folder, monkeypatch):
    path = write(folder, more=SPOTS)
    before = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
    real = pages.findings_of

    def edited(*args, **options):
        path.write_text("changed", encoding="utf-8")
        return real(*args, **options)

    monkeypatch.setattr(pages, "findings_of", edited)
    assert run("report", "plan.toml", "--out", "r.html").exit_code == 0
    assert f"checksum {before}" in (folder / "r.html").read_text(encoding="utf-8")


# ------------------------------------------------------------------------------------- nothing usable arrives: "none"

WOOD = """
[[foliage]]
name = "wood"
footprint = [[2, -9000], [8, -9000], [8, 9000], [2, 9000]]
height_m = 900
loss_db_per_m = 50
"""


@pytest.mark.parametrize("kind", ["profile", "budget"])
def test_a_picture_of_a_link_without_a_signal_says_none(run, folder, kind):
    write(folder, more=WOOD)
    assert run("draw", "plan.toml", "--kind", kind, "--out", "a.svg").exit_code == 0
    text = (folder / "a.svg").read_text(encoding="utf-8")
    assert "argin none" in text
    assert "argin -2" not in text


def test_tables_and_the_page_say_none_without_a_unit(run, folder):
    write(folder, more=WOOD + SPOTS)
    assert run("report", "plan.toml", "--gateway", "office", "--out", "r.html").exit_code == 0
    page = (folder / "r.html").read_text(encoding="utf-8")
    assert "margin none</summary>" in page
    for words in (["links"], ["place"], ["network"], ["explain", "i1"], ["compare", "post", "office"]):
        text = run(words[0], "plan.toml", *words[1:]).stdout
        assert "none dB" not in text


# ------------------------------------------------------------------------------------------- outputs that go elsewhere


@pytest.mark.skipif(not Path("/dev/stdout").exists(), reason="standard output has no name here")
@pytest.mark.parametrize("form", [[], ["--json"]], ids=["text", "json"])
def test_standard_output_by_its_name_is_added_to_and_never_replaced(process, folder, form):
    write(folder, more=SPOTS)
    printed = process("links", "plan.toml", *form).stdout
    for out in ("/dev/stdout", "/proc/self/fd/1", "log.txt"):
        (folder / "log.txt").write_bytes(b"before\n")
        with (folder / "log.txt").open("ab") as log:
            result = process("links", "plan.toml", *form, "--out", out, capture_output=False, stdout=log, stderr=-1)
        assert (result.returncode, result.stderr) == (0, b"")
        assert (folder / "log.txt").read_bytes() == b"before\n" + printed


@pytest.mark.skipif(not Path("/dev/stdout").exists(), reason="standard output has no name here")
@pytest.mark.parametrize("out", ["/dev/stdout", "/dev/stderr"])
def test_a_stream_that_goes_to_a_file_is_not_replaced_by_other_outputs(process, folder, out):
    write(folder, more=SPOTS)
    (folder / "log.txt").write_bytes(b"before\n")
    with (folder / "log.txt").open("ab") as log:
        streams = {"stdout": log, "stderr": log}
        result = process("network", "plan.toml", "--graphml", out, capture_output=False, **streams)
    assert result.returncode == 1
    told = f"{out}: is where the program prints; give another name, or omit --out to print\n"
    assert (folder / "log.txt").read_bytes() == b"before\n" + told.encode()


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="there is no device that is always full")
@pytest.mark.parametrize(
    "words", [["start", "new.toml"], ["--help"], ["links", "--help"], ["--version"], ["materials"]]
)
def test_a_full_device_is_told_by_all_that_print(process, words):
    with Path("/dev/full").open("wb") as full:
        result = process(*words, capture_output=False, stdout=full, stderr=-1)
    assert (result.returncode, result.stderr) == (
        1,
        f"standard output cannot be written: {os.strerror(28)}\n".encode(),
    )


def test_a_folder_where_nothing_can_be_made_is_told_before_the_work(run, monkeypatch):
    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("tempfile.TemporaryFile", refuse)
    outputs = [
        ["links", "plan.toml", "--out"],
        ["network", "plan.toml", "--graphml"],
        ["check", "plan.toml", "--sheets"],
    ]
    outputs += [[command, "plan.toml", "--out"] for command in ("report", "draw", "export")]
    names = ["r.txt", "r.graphml", "r.toml", "r.html", "r.svg", "r.csv"]
    for words, name in zip(outputs, names, strict=True):
        result = run(*words, name)
        told = f"{name}: cannot be written: Read-only file system\n"
        assert (result.exit_code, result.stdout, result.stderr) == (1, "", told), "the plan is not there either"


@pytest.mark.parametrize(
    "words", [["links", "plan.toml", "a\x1b[31m"], ["a\x1b[31m"], ["links", "plan.toml", "--\x1b[31m"]]
)
def test_what_was_typed_wrongly_is_told_without_its_escape_codes(run, words):
    result = run(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "\\x1b[31m" in result.stderr
    assert "\x1b" not in result.stderr
