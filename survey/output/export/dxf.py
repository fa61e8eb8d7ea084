"""The site as DXF, by ezdxf: one layer for each state of inverters and each kind of thing."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from survey.base.errors import EntryError, SurveyError, one_line
from survey.inputs.drawings import INSTALL, ezdxf_library
from survey.output.export.site import Exported

COLOURS = {"holds": 3, "marginal": 2, "fails": 1}
"""Numbers of green, yellow and red among the colours of DXF; the layer says the state in words."""
NAMES = "NAMES"
LETTER_M = 0.25
"""Height of the names beside devices. [m]"""
METRES = 6
"""$INSUNITS of metres (DXF Reference, HEADER section)."""


def site_dxf(site: Exported) -> str:
    """Return the site as DXF in metres.

    Inverters, gateways and spots are POINTs in space with their names beside them on the layer NAMES; sheets are closed
    polylines in space, foliage its foot and its top.

    Raises
    ------
    SurveyError
        Where ezdxf is not installed.
    """
    try:
        ezdxf = ezdxf_library()
    except EntryError:
        raise SurveyError(INSTALL) from None
    document = ezdxf.new("R2010", units=METRES)
    space = document.modelspace()
    document.layers.add(NAMES)
    for device in site.devices():
        state = device.facts.get("state", "")
        layer = f"{device.kind.upper()}S {state.upper()}".rstrip()
        _layer(document, layer, COLOURS.get(state, 7))
        at_m = device.at_m.tolist()
        space.add_point(at_m, dxfattribs={"layer": layer})
        name = one_line(device.facts["name"]).replace("%%", "% %")  # %% begins a control code in DXF text
        text = space.add_text(name, height=LETTER_M, dxfattribs={"layer": NAMES})
        text.set_placement((at_m[0] + LETTER_M, at_m[1] + LETTER_M, at_m[2]))
    for shape in site.shapes():
        layer = shape.kind.upper()
        _layer(document, layer, 7)
        space.add_polyline3d(np.asarray(shape.corners_m).tolist(), close=True, dxfattribs={"layer": layer})
    text_file = io.StringIO()
    document.write(text_file)
    return text_file.getvalue()


def _layer(document: Any, name: str, colour: int) -> None:  # noqa: ANN401  a document of ezdxf
    if name not in document.layers:
        document.layers.add(name, color=colour)
