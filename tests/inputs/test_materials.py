"""The built-in materials against the figures they claim."""

import math

import pytest

from survey.inputs.materials import BUILT_IN, Material
from survey.inputs.slab import SUBSTANCES, slab_loss_db

# ITU-R P.2040-3 slabs at 433, 868, 915, 2440 MHz; 3 and the loss tables of Rappaport as each status says.
CLAIMED = [
    ("concrete 200 mm", 2440.0, 14.764),
    ("brick 110 mm", 868.0, 3.264),
    ("brick 220 mm", 2440.0, 5.740),
    ("plasterboard 12.5 mm", 915.0, 0.321),
    ("timber 20 mm", 433.0, 0.096),
    ("glass 6 mm", 2440.0, 1.946),
    ("steel cladding", 868.0, 26.0),  # all-metal partition at 815 MHz, Cox 1983 as tabulated by Rappaport: from memory
    ("concrete block", 915.0, 13.0),  # Rappaport, 2nd ed., example 4.11
    ("coated glass", 868.0, 30.0),  # about 30 dB from 800 MHz to 6 GHz, IEEE APS 2008, abstract
    ("welded steel", 868.0, 60.0),  # a cap, not a published figure
    ("pv module", 2440.0, 60.0),  # an assumption: no published figure was found
]


@pytest.mark.parametrize(("name", "frequency_mhz", "loss_db"), CLAIMED)
def test_a_material_costs_what_its_source_says(name, frequency_mhz, loss_db):
    assert BUILT_IN[name].loss_db(frequency_mhz) == pytest.approx(loss_db, abs=0.001)


# What was measured, in dB, as named in the source of each material; the second is seen in reports and abstracts only.
MEASURED = [
    ("coated glass", 15.0, 45.0),  # windows of today, ComReg 2018
    ("concrete block", 13.0, 25.0),  # Rappaport, example 4.11; cavity walls, ComReg 2018
    ("flat concrete roof", 12.0, 40.0),  # ten roofs, Reese et al. 2023
    ("foil insulation", 15.0, 35.0),  # boards from 15 dB, ComReg 2018; single walls of houses up to 35 dB at 2 GHz
    ("tile roof", 0.0, 5.0),  # "a small effect", ComReg 2018; 5 dB dry in a hobby list of 2003
]


@pytest.mark.parametrize(("name", "least_db", "most_db"), MEASURED)
def test_two_spreads_either_side_take_in_what_was_measured(name, least_db, most_db):
    material = BUILT_IN[name]
    loss_db = material.loss_db(868.0)
    assert loss_db - 2.0 * material.spread_db <= least_db + 1.0
    assert most_db - 1.0 <= loss_db + 2.0 * material.spread_db


# Clay (P.2040 brick) and concrete tiles of 12 to 16 mm: once, where nothing laps, and twice, where all does.
TILES = [("brick", 0.012), ("brick", 0.032), ("concrete", 0.012), ("concrete", 0.032)]


@pytest.mark.parametrize("frequency_mhz", [433.0, 868.0, 915.0, 2440.0])
def test_a_tile_roof_lies_among_slabs_of_what_tiles_are_made_of(frequency_mhz):
    slabs_db = [
        float(slab_loss_db(SUBSTANCES[substance], thickness_m=thickness_m, frequency_mhz=frequency_mhz)[0])
        for substance, thickness_m in TILES
    ]
    roof = BUILT_IN["tile roof"]
    assert min(slabs_db) < roof.loss_db(frequency_mhz) < max(slabs_db)
    assert max(abs(slab_db - roof.loss_db(frequency_mhz)) for slab_db in slabs_db) < 2.0 * roof.spread_db


def test_the_names_of_the_interface_are_there_and_each_has_a_source():
    promised = {
        "welded steel",
        "steel cladding",
        "concrete 200 mm",
        "brick 110 mm",
        "brick 220 mm",
        "plasterboard 12.5 mm",
        "timber 20 mm",
        "glass 6 mm",
        "coated glass",
        "tile roof",
        "pv module",
    }
    assert promised <= set(BUILT_IN)
    statuses = {"published", "computed from a standard", "common practice", "from memory", "assumption"}
    assert all(
        one.source and one.status in statuses and name == one.name == name.casefold() for name, one in BUILT_IN.items()
    )


def test_between_two_given_frequencies_the_loss_follows_the_logarithm_of_frequency():
    material = Material(name="m", loss_by_mhz=((500.0, 10.0), (2000.0, 20.0)), source="invented", status="assumption")
    assert [material.loss_db(f) for f in (100.0, 500.0, 1000.0, 2000.0, 9000.0)] == pytest.approx([10, 10, 15, 20, 20])
    assert material.range_mhz == (500.0, 2000.0)


def test_a_slab_is_good_for_the_frequencies_of_its_table():
    assert BUILT_IN["concrete 200 mm"].range_mhz == (1000.0, 100_000.0)
    assert BUILT_IN["welded steel"].range_mhz == (0.0, math.inf)
