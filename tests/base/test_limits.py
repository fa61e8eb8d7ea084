"""Plans at the limits of what each key may be: such a plan still gives numbers, or is refused in words."""

import copy
import json
import math
import tomllib

import pytest
from plans import ALSO_ALLOWED, WHOLE_PLAN

from survey.base.errors import PlanError
from survey.budget import links_of
from survey.inputs.fields import Number, Numbers, keys_of
from survey.inputs.plan import RadioEnd
from survey.inputs.plan_file import TABLES, list_tables, plan_of
from survey.output.answers.links import links_record
from survey.scene import scene_of

WHOLE_TABLES = tomllib.loads(WHOLE_PLAN + ALSO_ALLOWED)
ENTRIES = {
    **{(name,): entry for name, entry in TABLES.items()},
    ("radio", "inverter"): RadioEnd,
    ("radio", "gateway"): RadioEnd,
    **{(name, i): entry for name, (_, entry) in list_tables().items() for i in range(len(WHOLE_TABLES.get(name, ())))},
}
"""Of all tables but those that name a file beside the plan."""
LACKS_ANOTHER = {
    ("material", "thickness_m"),
    ("material", "loss_db"),
    ("array", "rows"),
    ("array", "per_row"),
    ("array", "module_depth_m"),
    ("site", "zero_lat_deg"),
    ("site", "zero_lon_deg"),
    ("site", "plan_north_deg"),
}
"""Keys that an entry may not have without another, or beside another: a plan with just one of them more is refused."""
MOST_ROWS = 50
"""The limits of an array are tried in the benchmarks; here they would only take time."""


def at(tables, path):
    for step in path:
        tables = tables[step]
    return tables


def limits(kind):
    """The least and the greatest value of a kind that has such."""
    if isinstance(kind, Number):
        values = (int(kind.low), min(int(kind.high), MOST_ROWS)) if kind.whole else (kind.low, kind.high)
        return [value for value in values if math.isfinite(value)]
    if isinstance(kind, Numbers):
        return [[kind.each.low] * kind.least, [kind.each.high] * kind.least]
    return []


CASES = [
    (path, one.name, value)
    for path, entry in ENTRIES.items()
    for one in keys_of(entry)
    for value in limits(one.metadata["kind"])
]


def links_at(path, key, value):
    """Some links of the whole plan with one value at its limit, as JSON has them; None where the plan is refused."""
    tables = copy.deepcopy(WHOLE_TABLES)
    at(tables, path)[key] = value
    try:
        plan = plan_of(tables, file="limits.toml")
    except PlanError as error:
        assert all(fault.place or fault.key for fault in error.faults)  # noqa: PT017  a value alone may not suffice
        return None
    scene = scene_of(plan)
    some = [name for name in scene.inverters.names if name in {"N-1-1", "N-2-2", "S1", "own array-1-1", "own inverter"}]
    return json.loads(json.dumps(links_record(links_of(scene, inverters=some)), allow_nan=False))["links"]


@pytest.mark.parametrize("path", ENTRIES, ids=lambda path: " ".join(map(str, path)))
def test_at_its_limits_a_plan_still_gives_numbers(path):
    for _, key, value in (case for case in CASES if case[0] == path):
        links = links_at(path, key, value)
        assert links or (path[0], key) in LACKS_ANOTHER, key
        for link in links or ():
            figures = [link[name] for name in ("path_loss_db", "margin_db", "sigma_db", "reliability", "distance_m")]
            assert all(isinstance(figure, int | float) for figure in figures), key
            assert 0.0 <= link["reliability"] <= 1.0, key


def test_the_limits_tried_are_many():
    assert len(CASES) > 200
