"""What all commands share: where results go, exit statuses, and how wide tables are."""

import errno
import inspect
import json
import os
from pathlib import Path

import click
import pytest
from commands import as_text_and_json, every_command, every_command_on_a_plan
from places import ROOT
from plans import SPOTS, WALL, array, changed, entry, inverter_with, roof, search, wall, write

from survey.base.limits import MOST_GATEWAYS, MOST_RELAYS
from survey.cli import COMMANDS, main
from survey.inputs.plan_file import read_plan
from survey.scene import scene_of


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


# ------------------------------------------------------------------------------------------------ where results go


@every_command
@as_text_and_json
def test_a_file_gets_what_standard_output_would_have_got(run, folder, words, form):
    write(folder, more=SPOTS + WALL)
    printed = run(*words, *form)
    written = run(*words, *form, "--out", "result.txt")
    assert (printed.exit_code, written.exit_code, written.stdout) == (0, 0, "")
    assert written.stderr == "written: result.txt\n"
    assert (folder / "result.txt").read_text(encoding="utf-8") == printed.stdout
    assert names_in(folder) == ["plan.toml", "result.txt"]


@every_command
def test_json_is_one_object_on_one_line_with_nothing_beside_it(run, folder, words):
    write(folder, more=SPOTS + WALL)
    result = run(*words, "--json")
    assert result.stdout.count("\n") == 1

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    assert isinstance(json.loads(result.stdout, parse_constant=refuse), dict)


def test_warnings_go_to_standard_error_and_leave_the_json_alone(run, folder):
    write(folder, ("at = [10.0, 0.0]\nheight_m = 2.0", "at = [10.0, 0.0]\nheight_m = -1.0"), more=SPOTS)
    result = run("check", "plan.toml", "--json")
    assert result.stderr == "warning: below ground (height under 0): inverter i1\n"
    assert json.loads(result.stdout)["site"] == "invented yard"


@every_command
@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_where_writing_fails_nothing_is_left_behind_and_what_was_there_stays(run, folder, monkeypatch, words, step):
    write(folder, more=SPOTS)
    (folder / "old.txt").write_text("mine", encoding="utf-8")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*{"replace": (Path, "replace"), "fsync": (os, "fsync")}[step], refuse)
    for name in ("old.txt", "new.txt"):
        result = run(*words, "--out", name)
        assert (result.exit_code, result.stdout) == (1, "")
        assert result.stderr == f"{name}: cannot be written: No space left on device\n"
    assert names_in(folder) == ["old.txt", "plan.toml"]
    assert (folder / "old.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write in every folder")
def test_a_folder_that_may_not_be_written_in_is_told(run, folder):
    write(folder, more=SPOTS)
    (folder / "kept").mkdir(mode=0o500)
    result = run("place", "plan.toml", "--out", "kept/result.txt")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "kept/result.txt: cannot be written: Permission denied\n"
    assert names_in(folder / "kept") == []


@every_command_on_a_plan
@pytest.mark.parametrize("way", ["plan.toml", "./plan.toml", "kept/../plan.toml", "whole path", "link", "hard link"])
def test_the_plan_itself_is_never_written_over(run, folder, words, way):
    path = write(folder, more=SPOTS)
    before = path.read_bytes()
    (folder / "kept").mkdir()
    (folder / "link").symlink_to("plan.toml")
    (folder / "hard link").hardlink_to(path)
    out = str(path) if way == "whole path" else way
    result = run(*words, "--out", out)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"{Path(out)}: is the plan itself; name another file\n"
    assert path.read_bytes() == before
    assert (folder / "link").is_symlink()


def test_the_plan_is_not_written_over_where_it_was_named_by_a_link_either(run, folder):
    path = write(folder, more=SPOTS)
    (folder / "link.toml").symlink_to("plan.toml")
    result = run("links", "link.toml", "--out", "plan.toml")
    assert (result.exit_code, result.stderr) == (1, "plan.toml: is the plan itself; name another file\n")
    assert path.read_text(encoding="utf-8").startswith("plan_version")


@every_command_on_a_plan
def test_the_file_of_an_antenna_that_the_plan_names_is_not_written_over(run, folder, words):
    (folder / "whip.csv").write_text("elevation_deg,gain_dbi\n-90,-20\n0,2\n90,-20\n", encoding="utf-8")
    write(folder, ("[radio.gateway]\n", '[radio.gateway]\nantenna = "whip.csv"\n'), more=SPOTS)
    before = (folder / "whip.csv").read_bytes()
    result = run(*words, "--out", "whip.csv")
    assert (result.exit_code, result.stdout) == (1, "")
    wrong_ending = "whip.csv: this command does not write .csv; end it in .txt or .json\n"
    assert result.stderr == (wrong_ending if words[0] == "check" else "whip.csv: is an input file; name another file\n")
    assert (folder / "whip.csv").read_bytes() == before


@pytest.mark.parametrize("out", ["fit.json", "./fit.json"])
@pytest.mark.parametrize("option", ["--out", "--graphml"])
def test_a_file_to_be_read_is_called_that_wherever_its_option_stands(run, folder, out, option):
    write(folder, more=SPOTS)
    (folder / "fit.json").write_text("{}", encoding="utf-8")
    result = run("network", "--fit", "fit.json", option, out, "plan.toml", "--gateway", "post")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "fit.json: is an input file; name another file\n"


NO_PLACE = [
    ("nowhere/result.txt", "the folder nowhere does not exist"),
    ("plan.toml/result.txt", "the folder plan.toml does not exist"),
    ("kept", "is a folder; name a file in it"),
    ("kept/", "is a folder; name a file in it"),
    ("loop", f"cannot be written: {os.strerror(errno.ELOOP)}"),
    ("x" * 300, "cannot be written: File name too long"),
    ("two\nlines/result.txt", "the folder two\\nlines does not exist"),
    ("pipe", "is not a regular file; give another name, or omit --out to print"),
]


@every_command
@pytest.mark.parametrize(("out", "told"), NO_PLACE, ids=[out[:20] for out, _ in NO_PLACE])
def test_a_place_where_no_file_can_be_is_told_and_left_as_it_was(run, folder, words, out, told):
    write(folder, more=SPOTS)
    (folder / "kept").mkdir()
    (folder / "loop").symlink_to("loop")
    os.mkfifo(folder / "pipe")  # stands for a device too, which a file in its place would do away with
    before = names_in(folder)
    result = run(*words, "--out", out)
    assert (result.exit_code, result.stdout) == (1, "")
    shown = out.rstrip("/").replace("\n", "\\n")
    assert result.stderr == f"{shown}: {told}\n"
    assert names_in(folder) == before
    assert (folder / "pipe").is_fifo()
    assert names_in(folder / "kept") == []


@every_command_on_a_plan
def test_a_place_where_no_file_can_be_is_told_before_any_work(run, words):
    result = run(*words, "--out", "nowhere/result.txt")
    assert result.stderr == "nowhere/result.txt: the folder nowhere does not exist\n", "the plan is not there either"


def test_a_file_that_is_there_is_replaced_whole_and_a_link_to_it_stays(run, folder):
    write(folder, more=SPOTS)
    (folder / "kept").mkdir()
    (folder / "kept" / "result.txt").write_text("old\n" * 1000, encoding="utf-8")
    (folder / "result.txt").symlink_to("kept/result.txt")
    assert run("links", "plan.toml", "--out", "result.txt").exit_code == 0
    assert (folder / "result.txt").is_symlink()
    assert (folder / "kept" / "result.txt").read_text(encoding="utf-8") == run("links", "plan.toml").stdout


@every_command_on_a_plan
@as_text_and_json
def test_a_plan_with_a_fault_writes_nothing(run, folder, words, form):
    (folder / "plan.toml").write_text(inverter_with("height_m = nan"), encoding="utf-8")
    (folder / "old.txt").write_text("mine", encoding="utf-8")
    for out in ([], ["--out", "new.txt"], ["--out", "old.txt"]):
        result = run(*words, *form, *out)
        assert (result.exit_code, result.stdout) == (1, "")
        assert result.stderr.startswith('plan.toml: [[inverter]] 1 "i1": height_m: nan is not a number')
    assert names_in(folder) == ["old.txt", "plan.toml"]
    assert (folder / "old.txt").read_text(encoding="utf-8") == "mine"


# --------------------------------------------------------------------------------------------------- exit statuses


@every_command_on_a_plan
def test_a_plan_that_is_not_there_is_the_users_fault(run, folder, words):
    write(folder, name="plans.toml")
    result = run(*words)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == 'plan.toml: there is no such file; did you mean "plans.toml"?\n'


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["place"], "Missing argument 'PLAN'"),
        (["place", "plan.toml", "--jsno"], "--jsno"),  # click 8.2 and 8.3 word it each in its own way
        (["place", "plan.toml", "extra"], "unexpected extra argument"),
        (["place", "plan.toml", "--top", "x"], "'x' is not a valid integer"),
        (["links", "plan.toml", "--out"], "Option '--out' requires an argument"),
        (["linsk", "plan.toml"], 'no command "linsk"; did you mean "links"?'),
        (["frobnicate"], 'no command "frobnicate"\n'),
    ],
)
def test_wrong_usage_has_status_2_and_says_how_it_goes(run, folder, words, told):
    write(folder, more=SPOTS)
    result = run(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "Error: " in result.stderr
    assert told in result.stderr


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_every_command_explains_itself(run, name):
    words = [name] if name else []
    for flag in ("--help", "-h"):
        result = run(*words, flag)
        assert (result.exit_code, result.stderr) == (0, "")
        assert result.stdout.startswith(f"Usage: survey {name}".rstrip())
        assert max(map(len, result.stdout.splitlines())) <= 100


def test_the_commands_stand_in_the_order_of_a_job(run):
    text = run("--help").stdout
    places = [text.index(f"\n  {name} ") for name in ("start", "check", "place", "links", "compare", "materials")]
    assert places == sorted(places)


def test_no_short_description_of_a_command_is_cut(run):
    lines = run("--help").stdout.partition("Commands:\n")[2].splitlines()
    assert [line.split()[0] for line in lines] == list(COMMANDS)
    assert all(line.endswith(".") and not line.endswith("...") for line in lines)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_table_of_commands_has_the_first_line_of_each_command_s_own_help(name):
    command = main.get_command(click.Context(main), name)
    assert command.name == name
    assert inspect.cleandoc(command.help).partition("\n")[0] == COMMANDS[name]


def test_the_table_names_every_command_that_there_is():
    files = {path.stem for path in (ROOT / "survey" / "cli").glob("*.py")} - {
        "__init__",
        "files",
        "folders",
        "logs",
        "options",
        "progress",
    }
    assert files == set(COMMANDS)


def test_without_a_command_the_help_is_shown_with_status_2(run):
    result = run()
    assert result.exit_code == 2
    assert "Usage: survey [OPTIONS] COMMAND" in result.output


def test_the_version_is_told(run):
    assert run("--version").stdout == "survey, version 0.1.0\n"


@every_command_on_a_plan
def test_no_input_however_strange_brings_a_traceback(process, folder, words):
    (folder / "plan.toml").write_bytes(changed(('"i1"', "[" * 500 + "]" * 500)).encode() + b"\xff")
    result = process(*words)
    assert (result.returncode, result.stdout) == (1, b"")
    assert result.stderr.startswith(b"plan.toml: is not UTF-8 text")
    assert b"Traceback" not in result.stderr


# -------------------------------------------------------------------------------------------------- how wide it is


def widest(text):
    return max(map(len, text.splitlines()))


def test_no_line_is_wider_than_100_columns_however_long_the_names(run, folder):
    long = "a name as people write them who mean well, with all that one could want to know about the place in it"
    more = (
        array(name=f'"{long} (north)"', first="[0, 30]", per_row=3)
        + "".join(entry("spot", name=f'"{long} {k}"', at=f"[{k}, 9]", height_m=2) for k in range(4))
        + "".join(wall(name=f'"{long}, wall {k}"', along=f"[[-50, 1{k}], [50, 1{k}]]", height_m=9) for k in range(3))
        + roof("[[0, 0, 2], [0, 9, 2], [9, 9, 2]]", name=f'"{long}, roof"')
        + search(name=f'"{long}, line"', along="[[0, 50], [9, 50]]")
    )
    write(folder, more=more)
    spots = [f"{long} {k}" for k in range(4)]
    gateways = [word for name in spots for word in ("--gateway", name)]
    for words in (
        ["check", "plan.toml"],
        ["links", "plan.toml"],
        ["links", "plan.toml", *gateways],
        ["place", "plan.toml"],
        ["place", "plan.toml", "--top", "14"],
        ["compare", "plan.toml", *spots],
    ):
        result = run(*words)
        assert result.exit_code == 0
        assert widest(result.stdout) <= 100, words[0]


SITES = sorted((ROOT / "sites").glob("*.toml"))


@pytest.mark.parametrize("site", SITES, ids=lambda path: path.stem)
def test_what_is_printed_of_a_demo_site_fits_100_columns(run, site):
    scene = scene_of(read_plan(site))
    spots = [one.name for one in scene.plan.spots]
    of_all_spots = [["check", str(site)], ["place", str(site)], ["place", str(site), "--top", "30"]]
    for words in (
        ["links", str(site), "--gateway", spots[0]],
        ["links", str(site), "--gateway", spots[0], "--gateway", spots[1]],
        ["compare", str(site), *spots],
        *(of_all_spots if len(scene.spots) * len(scene.inverters) < 20_000 else ()),  # the largest site takes seconds
    ):
        result = run(*words)
        assert result.exit_code == 0
        assert widest(result.stdout) <= 100, words[0]


def options_with_a_range_of_numbers():
    return [
        (name, option.opts[0])
        for name in COMMANDS
        for option in main.get_command(click.Context(main), name).params
        if isinstance(option.type, click.FloatRange)
    ]


@pytest.mark.parametrize(("command", "option"), options_with_a_range_of_numbers())
def test_no_option_takes_a_nan_which_lies_within_every_range(run, folder, command, option):
    write(folder, more=SPOTS)
    (folder / "readings.csv").write_text("inverter,gateway,level_dbm\ni1,post,-70\n", encoding="utf-8")
    words = {"materials": [], "fit": ["plan.toml", "readings.csv"], "explain": ["plan.toml", "i1"]}.get(
        command, ["plan.toml"]
    )
    picture = ["--out", "a.png", "--kind", "coverage", "--gateway", "post"] if command == "draw" else []
    result = run(command, *words, *picture, option, "nan")
    assert (result.exit_code, result.stdout) == (2, "")
    assert f"Invalid value for '{option}': nan is not a number to calculate with" in result.stderr
    assert not (folder / "a.png").exists()


FOLDER_IN_PLACE_OF = {
    "readings": ["fit", "plan.toml", "a folder.csv"],
    "log": ["dropouts", "plan.toml", "a folder.csv"],
    "fit": ["links", "plan.toml", "--gateway", "post", "--fit", "a folder.csv"],
}


@pytest.mark.parametrize("words", FOLDER_IN_PLACE_OF.values(), ids=FOLDER_IN_PLACE_OF)
def test_a_folder_in_place_of_a_file_is_told_in_plain_words(run, folder, words):
    write(folder, more=SPOTS)
    (folder / "a folder.csv").mkdir()
    result = run(*words)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "a folder.csv: is a folder; name the file in it\n"


@pytest.mark.parametrize(("option", "key"), [("--relays", "max_relays"), ("--gateways", "gateways")])
def test_an_option_goes_as_far_as_the_key_of_the_plan_and_is_named_beyond(run, folder, option, key):
    most = {"--relays": MOST_RELAYS, "--gateways": MOST_GATEWAYS}[option]
    write(folder, more=SPOTS + f"[requirement]\n{key} = {most}\n")
    assert run("check", "plan.toml").exit_code == 0
    write(folder, more=SPOTS + f"[requirement]\n{key} = {most + 1}\n")
    assert run("check", "plan.toml").exit_code == 1
    write(folder, more=SPOTS)
    result = run("place", "plan.toml", option, str(most + 1))
    assert (result.exit_code, result.stdout) == (2, "")
    assert f"Invalid value for '{option}': {most + 1} is not in the range" in result.stderr


# ------------------------------------------------------------------------------------- endings, plans, standard output


WITH_ROWS = {"links", "place", "compare", "explain", "network"}


@every_command
def test_the_ending_of_the_file_decides_its_form(run, folder, words):
    write(folder, more=SPOTS + WALL)
    assert run(*words, "--out", "result.JSON").exit_code == 0
    assert (folder / "result.JSON").read_text(encoding="utf-8") == run(*words, "--json").stdout
    result = run(*words, "--out", "result.csv")
    if words[0] in WITH_ROWS:
        assert (folder / "result.csv").read_text(encoding="utf-8") == run(*words, "--csv").stdout
        assert run(*words, "--json", "--out", "result.csv").exit_code == 2
    else:
        assert (result.exit_code, names_in(folder)) == (1, ["plan.toml", "result.JSON"])


@every_command
@pytest.mark.parametrize("name", ["x.geojson", "x.toml", "x.html", "x.txt.png"])
def test_an_ending_that_the_command_does_not_write_is_refused(run, folder, words, name):
    write(folder, more=SPOTS)
    result = run(*words, "--out", name)
    assert (result.exit_code, result.stdout) == (1, "")
    assert f"{name}: this command does not write {Path(name).suffix}; end it in .txt" in result.stderr
    assert names_in(folder) == ["plan.toml"]


@every_command
@as_text_and_json
def test_a_dash_means_standard_output(run, folder, words, form):
    write(folder, more=SPOTS)
    result = run(*words, *form, "--out", "-")
    assert (result.exit_code, result.stderr) == (0, run(*words, *form).stderr)
    assert result.stdout == run(*words, *form).stdout
    assert names_in(folder) == ["plan.toml"]


WRITERS = [
    *([*words, "--out"] for words in (["links", "plan.toml"], ["place", "plan.toml"], ["materials"])),
    ["network", "plan.toml", "--graphml"],
    ["check", "plan.toml", "--sheets"],
    ["draw", "plan.toml", "--out"],
    ["export", "plan.toml", "--out"],
    ["report", "plan.toml", "--out"],
]


@pytest.mark.parametrize("words", WRITERS, ids=lambda words: words[0])
@pytest.mark.parametrize("name", ["other.toml", "other.txt", "other.csv", "other.svg", "other.html", "other.graphml"])
def test_no_plan_is_overwritten_whatever_its_name(run, folder, words, name):
    write(folder, more=SPOTS)
    before = write(folder, name=name).read_bytes()
    result = run(*words, name)
    assert (result.exit_code, result.stdout) == (1, "")
    assert (folder / name).read_bytes() == before
    assert result.stderr.startswith(f"{name}: ")


def test_only_start_with_force_overwrites_a_plan(run, folder):
    before = write(folder).read_bytes()
    assert run("start", "plan.toml").exit_code == 1
    assert (folder / "plan.toml").read_bytes() == before
    assert run("start", "plan.toml", "--force").exit_code == 0
    assert (folder / "plan.toml").read_bytes() != before
