"""The design of the house: which rooms a room may import, through which doors, and that only commands know click."""

import ast
from typing import NamedTuple

import pytest
from places import ROOT

SURVEY = ROOT / "survey"
MODULES = sorted(SURVEY.rglob("*.py"))


class Room(NamedTuple):
    """What a room may import; and which of its modules others may import from, where not its own face alone."""

    uses: str
    doors: str = ""


ROOMS = {
    "base": Room("", "arrays characters earth errors files layout limits polygon probability units workers"),
    "kernel": Room("base", "around build crossings"),
    "inputs": Room("base", "antennas buildings csv_files drawings fields logs materials plan plan_file readings slab"),
    "fleet": Room("base inputs", "cluster files processes store work"),
    "geometry": Room("base kernel", "plain"),
    "siting": Room("base", "choice choosing fewest"),
    "scene": Room("base geometry inputs", "correction"),
    "propagation": Room("base geometry inputs kernel scene", "around around.of_scene distance passes penetration"),
    "budget": Room("base geometry inputs kernel propagation scene", "coverage explanation"),
    "routing": Room("base budget scene siting", "graph weak_points"),
    "measured": Room("base inputs budget propagation scene", "calibration dropouts dropouts.sorting"),
    "decisions": Room(
        "base geometry inputs budget kernel routing propagation scene siting",
        "comparison inspection next_readings placement remedies simulation",
    ),
    "output": Room(
        "base decisions fleet geometry inputs budget measured routing propagation scene siting",
        "answers.check answers.compare answers.csv_rows answers.dropouts answers.explain "
        "answers.explain_record answers.fit answers.joint "
        "answers.links answers.links_csv answers.materials answers.network answers.next_readings answers.place "
        "answers.place_record "
        "answers.plans answers.rounds answers.values export export.as_buildings export.sheets pictures report sheet "
        "site_pages",
    ),
    "library": Room(
        "base decisions fleet inputs budget measured routing output scene",
        "assess check compare draw dropouts explain export fit form links network place report rounds sites",
    ),
    "cli": Room("base inputs library output"),
}


def room_of(path):
    """The room that a file belongs to; two files stand beside the rooms, and are their own."""
    return path.relative_to(SURVEY).parts[0].removesuffix(".py")


def imports(path):
    """Every module of this program or another that a file imports, anywhere in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            yield from (_module(node.module, one.name) for one in node.names)


def _module(package, name):
    """What `from package import name` loads: a module of that name, unless the package's face has a thing so called."""
    folder = SURVEY.parent.joinpath(*package.split("."))
    is_module = (folder / f"{name}.py").is_file() or (folder / name).is_dir()
    return f"{package}.{name}" if is_module and name not in _face(folder) else package


def _face(folder):
    """The names that a package's own file takes from its modules."""
    tree = ast.parse((folder / "__init__.py").read_text(encoding="utf-8"))
    return {one.name for node in tree.body if isinstance(node, ast.ImportFrom) for one in node.names}


def refusals(room, names):
    """Those of some imports that the design does not allow."""
    for name in names:
        top, *path = name.split(".")
        if top == "survey" and path and path[0] not in (room, "__version__"):
            other, door = path[0], ".".join(path[1:])
            allowed = (
                ROOMS[room].uses.split() if room in ROOMS else ["base", "library"] if room == "__init__" else ["cli"]
            )
            if other not in allowed:
                yield f"{room} must not import {other}"
            elif door and door not in ROOMS[other].doors.split():
                yield f"{name} is behind the face of {other}"
        if top == "click" and room != "cli":
            yield "only the commands know click"
        if top in ("tests", "pytest", "hypothesis"):
            yield f"{top} belongs to the tests"


def test_every_room_is_in_the_table_and_every_line_of_it_is_in_use():
    assert {room_of(path) for path in MODULES} - {"__init__", "__main__"} == set(ROOMS)
    used = {
        (room_of(path), name.split(".")[1]) for path in MODULES for name in imports(path) if name.startswith("survey.")
    }
    assert {(room, other) for room in ROOMS for other in ROOMS[room].uses.split()} <= used


def test_the_rooms_have_an_order():
    order = list(ROOMS)
    assert all(order.index(other) < order.index(room) for room in ROOMS for other in ROOMS[room].uses.split())


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(SURVEY).as_posix())
def test_a_module_imports_only_what_its_room_may_and_only_by_the_doors(path):
    assert list(refusals(room_of(path), imports(path))) == []


def test_what_the_design_refuses():
    assert list(refusals("siting", ["survey.budget"])) == ["siting must not import budget"]
    assert list(refusals("output", ["survey.budget.figures"])) == ["survey.budget.figures is behind the face of budget"]
    assert list(refusals("budget", ["click", "survey.scene"])) == ["only the commands know click"]


def test_the_table_of_rooms_is_in_the_guide_for_developers():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    missing = [room for room in ROOMS if f"| `{room}/` |" not in guide]
    assert missing == []
