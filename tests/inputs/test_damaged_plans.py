"""Plans damaged at random: each reads, or is refused in words; nothing else may happen."""

import copy
import datetime as dt
import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st
from plans import ALSO_ALLOWED, WHOLE_PLAN

from survey.base.errors import PlanError
from survey.inputs.plan_file import plan_of, read_plan
from survey.scene import scene_of

STRANGE = st.sampled_from(
    [
        float("nan"),
        float("inf"),
        -0.0,
        0,
        -1,
        1e308,
        10**400,
        -(10**20),
        True,
        "",
        " ",
        "i1",
        "N",
        "N-1-1",
        "office",
        "steel cladding",
        "concrete",
        "dipole",
        "no such file.csv",
        "two\0parts.csv",
        "two\nlines",
        "\x1b[31m",
        "\ud800",
        [],
        {},
        [[]],
        [{}],
        [1, [2, [3, [4]]]],
        [[0, 0], [0, 0]],
        [[0, 0], [1, 1], [1, 0], [0, 1]],
        [[0, 0, 0], [1, 0, 0], [1, 1, 1], [0, 1, 0]],
        [{"name": "i1"}, 3],
        {"name": {"name": {"name": "deep"}}},
        dt.date(2024, 1, 31),
        dt.time(10, 0),
        dt.datetime(2024, 1, 31, tzinfo=dt.UTC),
    ]
)


def places(value, path=()):
    """Where something stands in parsed tables: the keys and positions that lead to it."""
    found = [path] if path else []
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, child in children:
        found += places(child, (*path, step))
    return found


WHOLE_TABLES = tomllib.loads(WHOLE_PLAN + ALSO_ALLOWED)


def at(tables, path):
    for step in path:
        tables = tables[step]
    return tables


@st.composite
def damaged_tables(draw):
    """The whole plan with some of its values dropped, exchanged, renamed, doubled or made strange."""
    tables = copy.deepcopy(WHOLE_TABLES)
    for _ in range(draw(st.integers(1, 4))):
        everywhere = places(tables)
        if not everywhere:
            break
        path, other = (draw(st.sampled_from(everywhere)) for _ in range(2))
        owner, step = at(tables, path[:-1]), path[-1]
        what = draw(st.sampled_from(["drop", "strange", "exchange", "rename", "double", "junk"]))
        if what == "drop":
            del owner[step]
        elif what == "strange":
            owner[step] = copy.deepcopy(draw(STRANGE))
        elif what == "exchange":
            owner[step] = copy.deepcopy(at(tables, other))
        elif what == "rename" and isinstance(owner, dict):
            owner[draw(st.sampled_from(["name", "loss_db", "wal", "a\nb", "heigth_m"]))] = owner.pop(step)
        elif what == "double" and isinstance(owner, list):
            owner.append(copy.deepcopy(owner[step]))
        elif isinstance(owner, dict):
            owner[draw(st.sampled_from(["extra", "radio", "at", "within", "slab"]))] = copy.deepcopy(draw(STRANGE))
    return tables


def outcome(read):
    """The plan, or the error; anything else that is raised fails the test."""
    try:
        return read(), None
    except PlanError as error:
        return None, error


@settings(max_examples=300, deadline=None)
@given(damaged_tables())
def test_a_damaged_plan_reads_or_raises_the_plan_error_and_nothing_else(tables):
    plan, error = outcome(lambda: plan_of(tables, file="yard.toml"))
    if error:
        lines = str(error).split("\n")
        assert len(lines) == len(error.faults) > 0, "one line for each"
        assert all(line.startswith("yard.toml: ") and line.isprintable() for line in lines)
    else:
        names = scene_of(plan).inverters.names
        assert len(set(names)) == len(names) > 0


PIECES = st.sampled_from(
    [b"\n", b"[", b"]", b'"', b"=", b"\xff", b"\0", b"nan", b"9" * 30, b"[[wall]]", b"\xef\xbb\xbf"]
)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_file_with_damaged_bytes_reads_or_raises_the_plan_error_and_nothing_else(tmp_path_factory, data):
    content = bytearray((WHOLE_PLAN + ALSO_ALLOWED).encode())
    for _ in range(data.draw(st.integers(1, 5))):
        start = data.draw(st.integers(0, len(content)))
        content[start : start + data.draw(st.integers(0, 8))] = data.draw(st.one_of(PIECES, st.binary(max_size=4)))
    path = tmp_path_factory.getbasetemp() / "damaged.toml"
    path.write_bytes(content)
    plan, error = outcome(lambda: read_plan(path))
    if error:
        assert all(line.startswith(f"{path}: ") for line in str(error).split("\n"))
    else:
        assert plan.site.name
