"""Exact two-dimensional solutions as sites for the rule of paths around alone."""

import numpy as np
from around_site import AroundSite, Polarisation, loss_db

# Of these the wave is thrown to and fro between two faces or more before it leaves: docs/ways-around.md, Where it ends.
CANYONS = ("shed with lean-to", "parapet", "two containers, section")


def site_in_plan(case):
    """A case as a site 60 m tall, with both ends at 30 m."""
    site = AroundSite()
    for one in case["obstacles"]:
        if one["kind"] == "box":
            size = {key: one[key] for key in ("length_m", "width_m", "bearing_deg")}
            site.box(*one["centre"], height_m=60.0, **size)
        else:
            site.wall(*map(tuple, one["along"]), height_m=60.0)
    return site, tuple((*end, 30.0) for end in case["ends"])


def site_in_section(case):
    """A case as prisms 600 m long across the line, raised by 20 m."""
    site = AroundSite()
    for polygon in case["polygons"]:
        for (x1, z1), (x2, z2) in zip([polygon[-1], *polygon], polygon, strict=False):
            site.roof((x1, -300.0, z1 + 20), (x2, -300.0, z2 + 20), (x2, 300.0, z2 + 20), (x1, 300.0, z1 + 20))
    return site, tuple((x, 0.0, z + 20.0) for x, z in case["ends"])


def errors_db(cases, to_site, key="mean_db", polarisation=Polarisation.UNKNOWN):
    found = []
    for case in cases:
        site, ends = to_site(case)
        found.append(loss_db(site, ends, frequency_mhz=case["frequency_mhz"], polarisation=polarisation) - case[key])
    return np.array(found)
