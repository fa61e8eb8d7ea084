"""However the places of a plan are damaged: it is read, or refused with the plan error and nothing else."""

import copy
import random
import tomllib

import pytest
from places import ROOT

from survey.base.errors import PlanError
from survey.inputs.plan_file import plan_of
from survey.scene import scene_of

BAD = [
    0,
    -1,
    1e9,
    float("nan"),
    True,
    "",
    "a/b",
    "barn",
    "barn/south wall",
    "store/top",
    "ground",
    [],
    {},
    [[0, 0]],
    [0, 0],
]
BAD += [
    [1, 2, 3],
    ["barn/roof", "barn/south roof"],
    [{}],
    [{"on": "south wall"}],
    "open",
    "east",
    [5, 3],
    1e-7,
    "20 ft",
]
TABLES = ("building", "box", "array", "spot", "search", "site")


def shown():
    """The piece of the page about buildings, as a plan."""
    page = (ROOT / "docs" / "plan-file.md").read_text(encoding="utf-8")
    text = page.split("## Buildings, openings and places on faces")[1].split("```toml\n")[1].split("```")[0]
    ends = "".join(f"[radio.{end}]\ntx_power_dbm = 8\nsensitivity_dbm = -96\n" for end in ("inverter", "gateway"))
    return tomllib.loads(f'plan_version = 1\n[site]\nname = "x"\n[radio]\nfrequency_mhz = 868\n{ends}{text}')


@pytest.mark.parametrize("seed", range(400))
def test_a_damaged_plan_is_read_or_refused(seed):
    draw = random.Random(seed)  # noqa: S311  no secret
    tables = copy.deepcopy(shown())
    tables["site"]["joint_m"] = 0.1
    keys = sorted({key for table in TABLES[:-1] for one in tables[table] for key in one} | {"down_m", "side", "skip"})
    for _ in range(draw.randint(1, 3)):
        one = draw.choice(tables[draw.choice(TABLES[:-1])])
        key = draw.choice([*one, draw.choice(keys)]) if one else draw.choice(keys)
        what = draw.random()
        if what < 0.2:
            one.pop(key, None)
        elif what < 0.4:
            one[key] = draw.choice([other[key] for t in TABLES[:-1] for other in tables[t] if key in other] or [1.0])
        else:
            one[key] = copy.deepcopy(draw.choice(BAD))
    try:
        scene_of(plan_of(tables, file="x"))
    except PlanError as error:
        told = str(error)
    else:
        return
    assert "cannot be placed" not in told  # what is wrong is named
    assert told
