"""What the commands load: the heavy libraries only where they are needed, since loading takes longer than the work."""

import json
import os
import subprocess
import sys

import pytest
from places import ROOT
from plans import SPOTS, WHOLE_PLAN, write

HEAVY = {"numpy", "scipy", "matplotlib", "networkx", "jinja2", "pandas"}
LISTING = """
import json, sys
from survey.cli import main
try:
    main(sys.argv[1:], prog_name="survey")
finally:
    print(json.dumps(sorted({name.partition(".")[0] for name in sys.modules})), file=sys.stderr)
"""


def python(folder, program, *words):
    """Run a program in a folder with the words as its arguments."""
    command = [sys.executable, "-c", program, *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    result = subprocess.run(command, cwd=folder, env=environment, capture_output=True, check=False, timeout=60)
    assert result.returncode == 0, result.stderr.decode()
    return result


def loaded(folder, *words, prints=True):
    """The libraries that a command has loaded by its end; the command must succeed."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    result = subprocess.run(
        [sys.executable, "-c", LISTING, *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert result.stdout or not prints, "the command has printed something"
    return set(json.loads(result.stderr.splitlines()[-1]))


@pytest.mark.parametrize("words", [["--help"], ["links", "--help"], ["place", "--help"], ["--version"]])
def test_help_loads_no_heavy_library(tmp_path, words):
    found = loaded(tmp_path, *words)
    assert "click" in found
    assert found & HEAVY == set()


def test_a_starter_plan_is_written_without_a_heavy_library(tmp_path):
    assert loaded(tmp_path, "start", "job.toml") & HEAVY == set()


@pytest.mark.parametrize(
    "words",
    [
        ["check", "plan.toml"],
        ["links", "plan.toml"],
        ["links", "plan.toml", "--json"],
        ["place", "plan.toml"],
        ["compare", "plan.toml", "switchboard", "office"],
        ["explain", "plan.toml", "S1"],
        ["links", "plan.toml", "--fit", "fit.json"],
    ],
    ids=" ".join,
)
def test_links_are_worked_out_with_numpy_alone(tmp_path, words):
    (tmp_path / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    (tmp_path / "day.csv").write_text("inverter,gateway,level_dbm\nS1,office,-70\n", encoding="utf-8")
    if "--fit" in words:
        loaded(tmp_path, "fit", "plan.toml", "day.csv", "--out", "fit.json", prints=False)
    found = loaded(tmp_path, *words)
    assert "numpy" in found
    assert found & HEAVY == {"numpy"} | ({"scipy"} if "--fit" in words else set()), "readings nearby are found by scipy"


def test_the_library_itself_loads_nothing_else(tmp_path):
    program = "import sys; before = set(sys.modules); import survey; print(*sorted(set(sys.modules) - before))"
    assert python(tmp_path, program).stdout == b"survey\n"


def test_a_function_of_the_library_loads_what_its_command_loads(tmp_path):
    write(tmp_path, more=SPOTS)
    program = 'import survey, sys; survey.place("plan.toml").to_dict(); survey.links("plan.toml", gateway="post"); '
    program += 'print(*sorted({name.partition(".")[0] for name in sys.modules}))'
    assert set(python(tmp_path, program).stdout.decode().split()) & {*HEAVY, "click"} == {"numpy"}


@pytest.mark.parametrize("first", ["the names", "the modules"])
def test_a_name_of_the_library_is_the_same_whatever_has_been_imported_before(tmp_path, first):
    names = "found = {name: getattr(survey, name) for name in survey.__all__}; "
    modules = 'folder = Path(survey.__file__).parent; paths = folder.rglob("*.py"); '
    modules += (
        '[import_module(".".join(["survey", *path.relative_to(folder).with_suffix("").parts])) for path in paths '
    )
    modules += 'if not path.stem.startswith("__")]; '
    order = names + modules if first == "the names" else modules + names
    program = f"from importlib import import_module; from pathlib import Path; import survey; {order}"
    program += "print(all(callable(one) and getattr(survey, name) is one for name, one in found.items()))"
    assert python(tmp_path, program).stdout == b"True\n"


def test_a_json_reader_is_loaded_only_for_json(tmp_path):
    """The listing itself loads json, so the command runs in a bare program here."""
    write(tmp_path, more=SPOTS)
    program = 'import sys; from survey.cli import main; main(["links", "plan.toml"], standalone_mode=False); '
    program += 'print("json" in sys.modules, file=sys.stderr)'
    result = python(tmp_path, program)
    assert result.stderr.splitlines()[-1] == b"False"


def test_a_list_of_links_waits_for_no_choice_of_gateways(tmp_path):
    write(tmp_path, more=SPOTS)
    program = "import sys; from survey.cli import main; main(sys.argv[1:], standalone_mode=False); "
    program += 'print(*sorted(name for name in sys.modules if name.startswith("survey.siting")), file=sys.stderr)'
    assert python(tmp_path, program, "links", "plan.toml").stderr.splitlines()[-1] == b""
    assert b"survey.siting.choice" in python(tmp_path, program, "place", "plan.toml").stderr.splitlines()[-1]


def test_dropouts_are_sorted_with_numpy_alone(tmp_path):
    write(tmp_path)
    rows = [f"2026-05-01T{hour:02d}:00,i1,office,{int(6 < hour < 18)}\n" for hour in range(24)]
    (tmp_path / "log.csv").write_text("time,inverter,gateway,heard\n" + "".join(rows), encoding="utf-8")
    assert loaded(tmp_path, "dropouts", "plan.toml", "log.csv") & HEAVY == {"numpy"}


def test_drawing_loads_matplotlib_without_pyplot_and_nothing_that_it_does_not_need(tmp_path):
    write(tmp_path, more=SPOTS)
    result = python(tmp_path, LISTING, "draw", "plan.toml", "--out", "p.svg")
    assert set(json.loads(result.stderr.splitlines()[-1])) & HEAVY == {"numpy", "matplotlib"}
    program = "import sys; from survey.cli import main; main(sys.argv[1:], standalone_mode=False); "
    program += 'print("matplotlib.pyplot" in sys.modules, file=sys.stderr)'
    result = python(tmp_path, program, "draw", "plan.toml", "--out", "p.svg")
    assert result.stderr.splitlines()[-1] == b"False"
