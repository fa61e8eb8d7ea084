"""Whatever stands in a building's entry: it is built, or refused with a message, and nothing else happens."""

import random

import numpy as np
import pytest

from survey.base.errors import EntryError, PlanError
from survey.inputs.buildings import Building, faces_of
from survey.inputs.fields import keys_of
from survey.inputs.nested import entry_of

SHELL = {"name": "b", "eaves_m": 3.0, "wall_material": "brick"}
BASES = [
    {"corner": [0, 0], "length_m": 8.0, "width_m": 5.0, "bearing_deg": 30.0},
    {"corners": [[0, 0], [9, 0], [9, 4], [4, 4], [4, 9], [0, 9]], "roof": "gable", "ridge_m": 4.2},
    {"against": "a/west wall", "depth_m": 3.0, "roof": "mono-pitch", "ridge_m": 3.5},
    {"beside": "a/west wall", "gap_m": 1.0, "length_m": 4.0, "depth_m": 3.0, "roof": "hip", "pitch_deg": 30.0},
    {"centre": [3, 3], "across_m": 5.0, "roof": "hip", "pitch_deg": 30.0},
    {"corner": [0, 0], "length_m": 8.0, "width_m": 5.0, "bearing_deg": 30.0, "roof": "saw-tooth", "teeth": 3}
    | {"falls": "south-east", "pitch_deg": 30.0},
    {"on": "a/roof", "centre": [3, 2], "length_m": 2.0, "width_m": 1.0},
    {"from_": "map/a", "roof": "hip", "pitch_deg": 10.0},
]
HOST = SHELL | {"name": "a", "corner": [0, 0], "length_m": 10.0, "width_m": 8.0, "bearing_deg": 90.0, "eaves_m": 4.0}
HOSTS = [HOST, HOST | {"roof": "gable", "ridge_m": 6.0}, HOST | {"roof": "hip", "ridge_m": 6.0, "overhang_m": 0.4}]
DOOR = {"on": "south wall", "width_m": 1, "height_m": 2}
INNER = {"name": "i", "material": "m"}
VALUES = [
    *[0, 1, -1, 0.5, 2.0, 3, 5, 12.0, 45.0, 100, 1e9, float("nan"), True, "", "x", "open", "map/a"],
    *[
        "west wall",
        "north",
        "south-east",
        "a/west wall",
        "a/roof",
        "b/roof",
        "flat",
        "mono-pitch",
        "gable",
        "hip",
        "none",
    ],
    *[[], [1, 2], [4, 3, -4, -3], [10, 4, -5, 3, -5, -7], ["a", "", "b", ""], ["west wall", "east wall"], {}],
    *[[[0, 0], [5, 0], [5, 5]], [[0, 0], [10, 1], [12, 9], [5, 14], [-3, 7]], [[0, 0], [4, 0], [8, 0], [8, 8], [0, 8]]],
    *[{"west wall": "open"}, {"south gable": "m"}, [{"name": "l", "height_m": 2.0, "material": "m"}], [DOOR]],
    *[[DOOR | {"on": "south roof", "count": 3, "every_m": 1.5}], [INNER | {"parallel_to": "west wall", "in_m": 2}]],
    [INNER | {"along": [[1, 1], [3, 3]], "opening": [{"width_m": 1, "height_m": 1}]}],
]


@pytest.mark.parametrize("seed", range(20))
def test_a_damaged_building_raises_the_errors_of_plans_and_nothing_else(seed):
    rng, keys = random.Random(seed), keys_of(Building)  # noqa: S311  no secret
    built = 0
    for _ in range(100):
        values = SHELL | rng.choice(BASES)
        for key in rng.sample(keys[1:], rng.randint(0, 3)):
            fitting = [value for value in VALUES if key.metadata["kind"].fault(value) is None]
            values[key.name] = rng.choice(fitting if fitting and rng.random() < 0.9 else VALUES)
        if rng.random() < 0.1:
            values.pop(rng.choice(list(values)))
        try:
            faces = faces_of(
                [entry_of(Building, values), entry_of(Building, rng.choice(HOSTS))],
                outline=lambda _: np.array([[0.0, 0.0], [5.0, 0.0], [6.0, 4.0], [0.0, 4.0]]),
            )
        except (EntryError, PlanError):
            continue
        built += 1
        assert all(np.isfinite(sheet).all() for face in faces.faces for sheet in face.sheets_m)
    assert built >= 10
