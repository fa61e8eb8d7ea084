"""The built-in materials against the figures they claim."""

import math

import pytest

from survey.inputs.materials import BUILT_IN, Material

# ITU-R P.2040-3 slabs at 433, 868, 915, 2440 MHz; 3 and the loss tables of Rappaport as each status says.
CLAIMED = [
    ("concrete 200 mm", 2440.0, 14.764),
    ("brick 110 mm", 868.0, 3.264),
    ("brick 220 mm", 2440.0, 5.740),
    ("plasterboard 12.5 mm", 915.0, 0.321),
    ("timber 20 mm", 433.0, 0.096),
    ("glass 6 mm", 2440.0, 1.946),
    ("steel cladding", 868.0, 26.0),  # all-metal partition at 815 MHz, Cox 1983 as tabulated by Rappaport: from memory
    ("foil insulation", 868.0, 3.9),  # same table, from memory
    ("concrete block", 915.0, 13.0),  # Rappaport, 2nd ed., example 4.11
    ("coated glass", 868.0, 30.0),  # about 30 dB from 800 MHz to 6 GHz, IEEE APS 2008, abstract
    ("welded steel", 868.0, 60.0),  # a cap, not a published figure
    ("pv module", 2440.0, 60.0),  # an assumption: no published figure was found
]


@pytest.mark.parametrize(("name", "frequency_mhz", "loss_db"), CLAIMED)
def test_a_material_costs_what_its_source_says(name, frequency_mhz, loss_db):
    assert BUILT_IN[name].loss_db(frequency_mhz) == pytest.approx(loss_db, abs=0.001)


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
