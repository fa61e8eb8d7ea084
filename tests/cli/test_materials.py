"""The command that lists the built-in materials."""

import json

import pytest
from shapes import NUMBER, differences

from survey.inputs.materials import BUILT_IN

# The names that the interface promises.
PROMISED = [
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
]
STATUSES = {"published", "computed from a standard", "common practice", "from memory", "assumption"}


def listed(run, *words):
    result = run("materials", "--json", *words)
    assert (result.exit_code, result.stderr) == (0, "")
    return json.loads(result.stdout)


def test_the_json_holds_every_material_with_source_and_status(run):
    found = listed(run)
    shape = {
        "frequency_mhz": NUMBER,
        "vegetation": {"loss_db_per_m": NUMBER, "most_loss_db": NUMBER, "spread_db_per_m": NUMBER},
        "materials": [
            {"name": str, "loss_db": NUMBER, "spread_db": NUMBER, "opaque": bool, "source": str, "status": str}
        ],
    }
    assert differences(found, shape) == []
    assert {one["status"] for one in found["materials"]} <= STATUSES
    assert all(len(one["source"]) > 10 for one in found["materials"])


def test_every_name_that_the_interface_promises_is_there(run):
    names = [one["name"] for one in listed(run)["materials"]]
    assert [name for name in PROMISED if name not in names] == []
    assert names == list(BUILT_IN)


def test_the_text_has_a_row_and_a_source_for_each(run):
    result = run("materials")
    assert (result.exit_code, result.stderr) == (0, "")
    head, table, notes, plants, sources = result.stdout.split("\n\n")
    assert "1.8 dB for the first metre inside, up to 25 dB in all; uncertainty 0.6 dB" in " ".join(plants.split())
    assert head == "Built-in materials at 868 MHz"
    rows = table.splitlines()
    assert rows[0].split() == ["material", "loss", "dB", "uncertainty", "dB", "status"]
    assert len(rows) == 2 + len(BUILT_IN)
    assert all(row.startswith(f"{name} ") for row, name in zip(rows[2:], BUILT_IN, strict=True))
    assert "no figure at this frequency; taken from another one" in " ".join(notes.split())
    assert sources.startswith("Sources\n")
    assert all(f"\n  {name}: " in sources for name in BUILT_IN)
    assert max(map(len, result.stdout.splitlines())) <= 100


def test_the_loss_is_the_one_at_the_frequency_asked_for(run):
    """Concrete of 200 mm at 2440 MHz by ITU-R P.2040 is 14.764 dB in the docstring of its module; lower at 868."""
    at_2440 = {one["name"]: one["loss_db"] for one in listed(run, "--frequency-mhz", "2440")["materials"]}
    at_868 = {one["name"]: one["loss_db"] for one in listed(run)["materials"]}
    assert at_2440["concrete 200 mm"] == pytest.approx(14.764, abs=0.001)
    assert at_868["concrete 200 mm"] == pytest.approx(BUILT_IN["concrete 200 mm"].loss_db(868.0), abs=1e-5)
    assert at_868["concrete 200 mm"] < at_2440["concrete 200 mm"]
    assert run("materials", "--frequency-mhz", "2440").stdout.startswith("Built-in materials at 2440 MHz\n")


def test_a_figure_used_beyond_its_frequencies_has_a_star(run):
    """Concrete's figures begin at 1 GHz (ITU-R P.2040-3, table 3)."""
    low, high = (run("materials", "--frequency-mhz", frequency).stdout.splitlines() for frequency in ("868", "2440"))
    assert [line.split()[4] for line in low if line.startswith("concrete 200 mm ")] == ["*"]
    assert [line.split()[4] for line in high if line.startswith("concrete 200 mm ")] != ["*"]


@pytest.mark.parametrize("frequency", ["29.9", "30001", "nan", "inf", "x", ""])
def test_a_frequency_that_is_none_is_wrong_usage(run, frequency):
    result = run("materials", "--frequency-mhz", frequency)
    assert (result.exit_code, result.stdout) == (2, "")


def test_the_list_can_be_written_to_a_file(run, folder):
    assert run("materials", "--out", "list.txt").exit_code == 0
    assert (folder / "list.txt").read_text(encoding="utf-8") == run("materials").stdout
