"""The layers of the house: each module imports only from those above it, and only the commands know click."""

import ast
from pathlib import Path

import pytest

SURVEY = Path(__file__).parent.parent / "survey"
FROM_THE_TOP = """
limits errors units workers fields polygon slab materials antennas probability correction layout csv_files readings
logs plan plan_file kernel geometry scene propagation links calibration siting network draws placement comparison
inspection dropouts explanation remedies coverage records tables pictures report cli
"""  # some of them are yet to come
LAYERS = FROM_THE_TOP.split()
MODULES = sorted(SURVEY.rglob("*.py"))


def imports(path):
    """Every module that a file imports, anywhere in it; names taken from the package itself are modules too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            yield from (f"survey.{one.name}" for one in node.names) if node.module == "survey" else (node.module,)


def layer(path):
    return path.relative_to(SURVEY).parts[0].removesuffix(".py")


def test_every_module_has_its_layer():
    assert {layer(path) for path in MODULES} - {"__init__", "__main__"} <= set(LAYERS)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(SURVEY).as_posix())
def test_a_module_imports_only_from_the_layers_above_it(path):
    own, found = layer(path), [name.split(".") for name in imports(path)]
    used = {parts[1] for parts in found if parts[0] == "survey" and len(parts) > 1} - {own, "__version__"}
    allowed = set() if own == "__init__" else {"cli"} if own == "__main__" else set(LAYERS[: LAYERS.index(own)])
    assert used <= allowed
    assert own == "cli" or "click" not in {parts[0] for parts in found}, "only the commands know click"
    assert {parts[0] for parts in found} & {"tests", "pytest", "plans", "hypothesis"} == set()
