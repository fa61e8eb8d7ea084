"""The devices of the site as rows for a spreadsheet."""

from __future__ import annotations

import csv
import io

import numpy as np

from survey.inputs.csv_files import inert
from survey.output.answers.values import plain
from survey.output.export.site import FIGURES, Exported

TEXTS = ("name", "serial", "branch")
LINK = ("gateway", "state", *FIGURES)
DECIMALS = 9
"""Of degrees: a tenth of a millimetre."""


def site_csv(site: Exported) -> str:
    """Return inverters, gateways and spots as rows: where they are, and the link of each inverter.

    Text is `inert`: what begins like a formula gets an apostrophe before it. Latitude and longitude stand there where
    the plan says where on the earth it is.
    """
    earth = site.scene.plan.site.earth
    places = ["x_m", "y_m", "height_m", *(["lat_deg", "lon_deg"] if earth else [])]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["kind", *TEXTS, *places, *LINK, "note"])
    for device in site.devices():
        where = plain(device.at_m)
        if earth:
            lon_lat_deg = np.round(earth.lon_lat_deg(device.at_m[None, :2])[0], DECIMALS)
            where += lon_lat_deg[::-1].tolist()
        said = {key: inert(value) if isinstance(value, str) else value for key, value in device.facts.items()}
        facts = [said.get(key, "") for key in (*TEXTS, *LINK, "note")]
        writer.writerow([device.kind, *facts[: len(TEXTS)], *where, *facts[len(TEXTS) :]])
    return text.getvalue().removesuffix("\n")
