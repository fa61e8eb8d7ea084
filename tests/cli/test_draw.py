"""survey draw."""

import json
import os
import re
from pathlib import Path

import pytest
from plans import SPOTS, WHOLE_PLAN, entry, wall, write

KINDS = ("map", "sides", "coverage", "profile", "network", "budget")
BEGINS = {"png": b"\x89PNG\r\n", "svg": b"<?xml", "pdf": b"%PDF"}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ending", BEGINS)
def test_every_kind_is_written_in_every_format(run, folder, kind, ending):
    write(folder, more=SPOTS)
    words = ["--points", "100"] if kind == "coverage" else []
    result = run("draw", "plan.toml", "--out", f"picture.{ending}", "--kind", kind, *words)
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", f"written: picture.{ending}\n")
    assert (folder / f"picture.{ending}").read_bytes().startswith(BEGINS[ending])
    assert sorted(path.name for path in folder.iterdir()) == [f"picture.{ending}", "plan.toml"]


def svg(run, folder, *words):
    result = run("draw", "plan.toml", "--out", "picture.svg", *words)
    assert result.exit_code == 0, result.stderr
    return (folder / "picture.svg").read_text(encoding="utf-8")


def test_the_gateway_that_stands_the_ones_named_or_the_one_recommended(run, folder):
    write(folder, more=SPOTS)
    assert "Gateway: office." in svg(run, folder)
    assert "Gateways: A shed, B post." in svg(run, folder, "--gateway", "shed", "--gateway", "post")
    assert "Gateway: office." in svg(run, folder, "--placed"), "the existing gateway is as good as the post"
    write(folder, ("-98.0", "-55.0"), ("-96.0", "-55.0"), more=SPOTS.replace("[20.0, 0.0]", "[12.0, 0.0]"))
    assert "Gateway: post." in svg(run, folder, "--placed"), "only the post covers the inverter"


def test_a_link_is_the_weakest_or_that_of_the_inverter_named_to_its_best_gateway(run, folder):
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    assert "Path from S1 to switchboard" in svg(
        run, folder, "--kind", "profile", "--inverter", "S1", "--gateway", "switchboard"
    )
    weakest = svg(run, folder, "--kind", "budget")
    links = run("links", "plan.toml", "--json")
    assert links.exit_code == 0
    name = min(json.loads(links.stdout)["links"], key=lambda one: one["margin_db"])["inverter"]
    assert f"Link budget: {name} and office" in weakest


@pytest.mark.parametrize("words", [["--gateway", "post"], ["--placed"]])
def test_the_sides_show_the_site_alone(run, folder, words):
    write(folder, more=SPOTS)
    result = run("draw", "plan.toml", "--kind", "sides", "--out", "sides.png", *words)
    assert result.exit_code == 2
    assert "--kind sides shows the site alone; omit --gateway, --placed and --fit" in result.stderr
    assert not (folder / "sides.png").exists()


def test_without_a_gateway_a_map_shows_the_site_and_other_kinds_say_what_to_do(run, folder):
    path = write(folder, more=SPOTS)
    path.write_text(path.read_text(encoding="utf-8").replace("[[gateway]]", "[[spot]]"), encoding="utf-8")
    assert "no gateway shown" in svg(run, folder)
    assert "from the north" in svg(run, folder, "--kind", "sides")
    for kind in KINDS[2:]:
        result = run("draw", "plan.toml", "--out", f"{kind}.png", "--kind", kind)
        assert result.exit_code == 1
        assert result.stderr == (
            "plan.toml: has no [[gateway]]; add one, name a spot with --gateway NAME, or take the best spot with "
            "--placed\n"
        )
        assert not (folder / f"{kind}.png").exists()


def test_options_of_a_coverage_act(run, folder):
    write(folder, more=SPOTS)
    words = ["--kind", "coverage", "--points", "64"]
    assert "Each point is an inverter position 4.5 m high. The colour is the chance of its link." in svg(
        run, folder, *words, "--height-m", "4.5", "--show", "chance"
    )
    assert "Each point is a gateway position 2 m high" in svg(run, folder, *words, "--gateway-places")


@pytest.mark.parametrize(
    ("out", "told"),
    [
        ("picture.jpg", 'is not a picture file name; end it in .png, .svg or .pdf; did you mean "png"?'),
        ("picture", "is not a picture file name; end it in .png, .svg or .pdf"),
        ("picture.txt", "is not a picture file name; end it in .png, .svg or .pdf"),
        ("nowhere/picture.png", "the folder nowhere does not exist"),
    ],
)
def test_a_file_that_cannot_be_is_told_before_anything_is_computed(run, folder, out, told):
    write(folder, ("height_m = 2.0\n\n[[gateway]]", "height_m = nan\n\n[[gateway]]"))
    result = run("draw", "plan.toml", "--out", out)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"{out}: {told}\n"
    assert [path.name for path in folder.iterdir()] == ["plan.toml"]


@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_where_writing_fails_what_was_there_stays(run, folder, monkeypatch, step):
    write(folder)
    (folder / "old.png").write_bytes(b"mine")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*{"replace": (Path, "replace"), "fsync": (os, "fsync")}[step], refuse)
    for name in ("old.png", "new.png"):
        result = run("draw", "plan.toml", "--out", name)
        assert (result.exit_code, result.stderr) == (1, f"{name}: cannot be written: No space left on device\n")
    assert sorted(path.name for path in folder.iterdir()) == ["old.png", "plan.toml"]
    assert (folder / "old.png").read_bytes() == b"mine"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--gateway", "ofice"], 'plan.toml: no gateway or spot is named "ofice"; did you mean "office"?'),
        (["--kind", "profile", "--inverter", "I1"], 'plan.toml: no inverter is named "I1"; did you mean "i1"?'),
        (["--kind", "budget", "--gateway", "moon"], 'plan.toml: no gateway or spot is named "moon"'),
    ],
)
def test_unknown_names_are_told(run, folder, words, told):
    write(folder)
    result = run("draw", "plan.toml", "--out", "p.png", *words)
    assert (result.exit_code, result.stderr) == (1, told + "\n")
    assert not (folder / "p.png").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "Missing option '--out'"),
        (["--out", "p.png", "--inverter", "i1"], "--inverter is only for --kind profile or budget"),
        (["--out", "p.png", "--kind", "budget", "--height-m", "3"], "--height-m is only for --kind coverage"),
        (["--out", "p.png", "--kind", "budget", "--relays", "1"], "--relays is only for --kind map or network"),
        (["--out", "p.png", "--gateways", "2"], "--gateways is only for --placed"),
        (["--out", "p.png", "--spare"], "--spare is only for --placed"),
        (["--out", "p.png", "--placed", "--gateway", "office"], "--gateway and --placed exclude each other"),
        (
            ["--out", "p.png", "--kind", "coverage", "--gateway-places", "--placed"],
            "with --gateway-places each point is a gateway position; omit --gateway and --placed",
        ),
        (["--out", "p.png", "--kind", "plot"], "'plot' is not one of"),
        (["--out", "p.png", "--kind", "coverage", "--points", "0"], "0 is not in the range"),
    ],
)
def test_options_that_make_no_sense_are_wrong_usage(run, folder, words, told):
    write(folder, more=SPOTS)
    result = run("draw", "plan.toml", *words)
    assert result.exit_code == 2
    assert told in result.stderr


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ending", BEGINS)
def test_letters_that_are_drawn_as_boxes_are_told_once(run, folder, kind, ending):
    write(folder, ('name = "office"', 'name = "屋根 \U0001f3e0"'), more=SPOTS)
    words = ["--points", "100"] if kind == "coverage" else []
    result = run("draw", "plan.toml", "--out", f"p.{ending}", "--kind", kind, *words)
    told = (
        "warning: 3 letters of the names are not in the picture's font and are shown as boxes; a picture in .svg keeps "
        "them\n"
    )
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == ("" if ending == "svg" else told) + f"written: p.{ending}\n"


def test_one_letter_without_a_shape_is_told_in_the_singular_and_python_says_nothing(process, folder):
    write(folder, ('name = "office"', 'name = "屋"'))
    result = process("draw", "plan.toml", "--out", "p.png")
    assert (result.returncode, result.stdout) == (0, b"")
    first, *others = result.stderr.decode().splitlines()
    assert first.startswith("warning: 1 letter of the names is not in the picture's font and is shown as a box; ")
    assert others == ["written: p.png"]


def test_in_a_process_of_its_own_nothing_else_is_printed(process, folder):
    write(folder)
    result = process("draw", "plan.toml", "--out", "p.png")
    assert (result.returncode, result.stdout, result.stderr) == (0, b"", b"written: p.png\n")


@pytest.mark.parametrize(
    ("words", "head"), [((), b"\x89PNG"), (("--format", "svg"), b"<?xml"), (("--format", "pdf"), b"%PDF")]
)
def test_a_picture_on_standard_output_is_bytes_and_messages_are_on_standard_error(process, folder, words, head):
    write(folder, ('"i1"', '"屋根"'))
    result = process("draw", "plan.toml", "--out", "-", *words)
    assert result.returncode == 0
    assert result.stdout.startswith(head)
    assert (b"letters of the names" in result.stderr) == (head != b"<?xml")
    assert not (folder / "-").exists()


def test_an_ending_and_another_format_are_refused(run, folder):
    write(folder)
    result = run("draw", "plan.toml", "--out", "map.svg", "--format", "png")
    assert (result.exit_code, result.stderr) == (1, "map.svg: ends in .svg, but png is asked for\n")


def test_coverage_of_a_gateway_inside_a_weak_box_with_steel_elsewhere_is_drawn(run, folder):
    """A box that is no obstacle to a path around, and sheets that are: the grid has points in both."""
    weak = entry("box", name='"hut"', material='"tile roof"', centre="[0, 0]", length_m=3, width_m=3, height_m=3)
    write(folder, more=weak + wall(material='"welded steel"', loss_db=60, along="[[5, -5], [5, 5]]"))
    for words in (["draw", "--kind", "coverage", "--points", "200", "--out", "p.svg"], ["report", "--out", "r.html"]):
        assert run(words[0], "plan.toml", *words[1:]).exit_code == 0


def test_a_map_beside_shows_the_other_spot_with_its_own_counts(run, folder):
    write(folder, more=SPOTS)
    text = svg(run, folder, "--beside", "post")
    for name in ("office", "post"):
        links = json.loads(run("links", "plan.toml", "--gateway", name, "--json").stdout)["links"]
        hold = sum(one["state"] == "holds" for one in links)
        assert re.search(
            rf">{name}<(?:(?!>hold ).)*>Links of {len(links)} inverters?: hold {hold},", text, flags=re.DOTALL
        )
    assert text.count(">east, m<") == 2
    assert "coverage side by side" in text
    result = run("draw", "plan.toml", "--out", "x.png", "--kind", "network", "--beside", "post")
    assert (result.exit_code, "--beside is only for --kind map" in result.stderr) == (2, True)
    result = run("draw", "plan.toml", "--out", "x.png", "--beside", "pots")
    assert result.exit_code == 1
    assert 'no gateway or spot is named "pots"; did you mean "post"?' in result.stderr
