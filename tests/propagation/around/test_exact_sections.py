"""The rule against exact two-dimensional solutions and full-wave results."""

import json

import numpy as np
import pytest
from around_site import AroundSite, Polarisation, loss_db

# Of these the wave is thrown to and fro between two faces or more before it leaves: docs/ways-around.md, Where it ends.
CANYONS = ("shed with lean-to", "parapet", "two containers, section")


def in_plan(case):
    """A case as a site 60 m tall, with both ends at 30 m."""
    site = AroundSite()
    for one in case["obstacles"]:
        if one["kind"] == "box":
            size = {key: one[key] for key in ("length_m", "width_m", "bearing_deg")}
            site.box(*one["centre"], height_m=60.0, **size)
        else:
            site.wall(*map(tuple, one["along"]), height_m=60.0)
    return site, tuple((*end, 30.0) for end in case["ends"])


def in_section(case):
    """A case as prisms 600 m long across the line, raised by 20 m."""
    site = AroundSite()
    for polygon in case["polygons"]:
        for (x1, z1), (x2, z2) in zip([polygon[-1], *polygon], polygon, strict=False):
            site.roof((x1, -300.0, z1 + 20), (x2, -300.0, z2 + 20), (x2, 300.0, z2 + 20), (x1, 300.0, z1 + 20))
    return site, tuple((x, 0.0, z + 20.0) for x, z in case["ends"])


def read(validation, name):
    return json.loads((validation / "diffraction" / name).read_text(encoding="utf-8"))


def errors_db(cases, to_site, key="mean_db", polarisation=Polarisation.UNKNOWN):
    found = []
    for case in cases:
        site, ends = to_site(case)
        found.append(loss_db(site, ends, frequency_mhz=case["frequency_mhz"], polarisation=polarisation) - case[key])
    return np.array(found)


def rmse(errors):
    return float(np.sqrt(np.mean(errors**2)))


def test_outlines_in_plan(validation):
    errors = errors_db(read(validation, "reference.json"), in_plan)
    assert len(errors) == 22
    assert rmse(errors) <= 1.3
    assert abs(errors.mean()) <= 0.5


@pytest.mark.parametrize(
    ("polarisation", "key", "most_db"),
    [(Polarisation.HORIZONTAL, "perpendicular_db", 1.6), (Polarisation.VERTICAL, "parallel_db", 3.0)],
)
def test_single_polarisations(validation, polarisation, key, most_db):
    """Past upright edges a vertical field is the one along them."""
    cases = [one for one in read(validation, "reference.json") if one[key] is not None and one["mean_db"] > 3.0]
    assert rmse(errors_db(cases, in_plan, key, polarisation)) <= most_db


def test_slits_gaps_and_zig_zags(validation):
    errors = errors_db(read(validation, "gaps.json"), in_plan)
    assert len(errors) == 20
    assert rmse(errors) <= 2.0
    assert abs(errors.mean()) <= 1.0


def test_roofs_in_section(validation):
    cases = [one for one in read(validation, "sections.json") if not one["case"].startswith(CANYONS)]
    assert len(cases) == 3
    assert np.abs(errors_db(cases, in_section)).max() <= 2.0


# Container 6.06 x 2.44 x 2.59 m side-on in the middle of 30 m, both ends 1.5 m high, vertical antennas: full-wave.
@pytest.mark.parametrize(("frequency_mhz", "published_db"), [(433.0, 11.1), (868.0, 12.5), (2440.0, 16.9)])
def test_over_a_container_against_full_wave_results(frequency_mhz, published_db):
    found = loss_db(AroundSite().box(0, 0), frequency_mhz=frequency_mhz, polarisation=Polarisation.VERTICAL)
    assert found == pytest.approx(published_db, abs=2.0)


@pytest.mark.parametrize(("frequency_mhz", "published_db"), [(433.0, 21.2), (2440.0, 31.6)])
def test_two_containers_and_a_sheet_against_full_wave_results(frequency_mhz, published_db):
    """Where the containers stood was not published: 6 m from the sheet is assumed."""
    site = AroundSite().box(-6.0, 0).box(6.0, 0).wall((0.0, -10.0), (0.0, 10.0))
    found = loss_db(site, frequency_mhz=frequency_mhz, polarisation=Polarisation.VERTICAL)
    assert found == pytest.approx(published_db, abs=2.5)
