"""Every constant says what it is and where from: a source, common practice, an assumption, a measurement."""

import ast

import pytest
from places import ROOT

SURVEY = ROOT / "survey"
NOT_YET: tuple[str, ...] = ()
MODULES = [path for path in sorted(SURVEY.rglob("*.py")) if path.relative_to(SURVEY).parts[0] not in NOT_YET]


def constants(text):
    """The module-level constants of a file that hold a number: names, and whether words stand with them."""
    body, lines = ast.parse(text).body, text.splitlines()
    for statement, after in zip(body, [*body[1:], None], strict=True):
        if isinstance(statement, ast.Assign):
            targets = statement.targets
        elif isinstance(statement, ast.AnnAssign) and statement.value is not None:
            targets = [statement.target]
        else:
            continue
        names = [one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)]
        if all(name.isupper() for name in names) and holds_number(statement.value):
            yield ", ".join(names), has_words(statement, after, lines)


def holds_number(value):
    """Whether a number is written in an expression, other than how many names a list of them has."""
    return not (isinstance(value, ast.Call) and ast.unparse(value.func) == "range") and any(
        isinstance(one, ast.Constant) and isinstance(one.value, int | float) and not isinstance(one.value, bool)
        for one in ast.walk(value)
    )


def has_words(statement, after, lines):
    """Whether a docstring stands below, or a comment above, beside or inside."""
    below = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and isinstance(after.value.value, str)
    own = lines[statement.lineno - 1 : statement.end_lineno]
    return below or lines[statement.lineno - 2].startswith("# ") or any("  # " in line for line in own)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(SURVEY).as_posix())
def test_a_constant_says_what_it_is(path):
    found = constants(path.read_text(encoding="utf-8"))
    assert [names for names, worded in found if not worded] == []


def test_what_is_found():
    text = 'A = 1\n# why\nB, C = 2.0, -3\nD = "x"\nE: int = 4\n"""why"""\nF = {"a": (5,)}\n'
    text += "G = [\n    6,  # why\n]\nh = 7\nI, J = range(2)\n"
    assert dict(constants(text)) == {"A": False, "B, C": True, "E": True, "F": False, "G": True}
