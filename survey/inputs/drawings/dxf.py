"""DXF files, by ezdxf: outlines, lines and points of the model space, by layer."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from survey.base.errors import EntryError, one_line
from survey.inputs.drawings.entry import UNITS_M
from survey.inputs.drawings.old_dxf import with_old_polylines
from survey.inputs.drawings.pieces import CIRCLE, LINE, OUTLINE, POINT, Pieces, check_file, file_bytes

INSTALL = "DXF needs the library ezdxf: pip install 'survey[drawings]'"
UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
"""Units by $INSUNITS (DXF Reference, HEADER section)."""
OTHER_UNITS = {3: "miles", 7: "kilometres", 10: "yards", 14: "decimetres", 21: "US survey feet"}
"""More units by $INSUNITS, which are told by name and not read."""
CURVED = "has curved pieces; draw them with straight ones"
CURVE_FLAGS = 2 | 4
"""Bits of a POLYLINE's flags where a curve was fitted to it (DXF Reference, POLYLINE, group 70)."""


def ezdxf_library() -> Any:  # noqa: ANN401  a module
    """Return the library.

    Raises
    ------
    EntryError
        For ``file``: it is not installed.
    """
    try:
        import logging  # noqa: PLC0415

        import ezdxf  # noqa: PLC0415  an extra, and heavy
    except ImportError:
        raise EntryError([("file", INSTALL)]) from None
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # its notes on odd files are not for the user
    return ezdxf


def read_dxf(path: Path) -> Pieces:
    """Read the model space of a file.

    Parameters
    ----------
    path : Path
        DXF, as text or binary, of any release that ezdxf reads.

    Returns
    -------
    Pieces
        By layer, in the file's own unit, seen from above. A closed LWPOLYLINE or POLYLINE is an outline, an open one or
        a LINE a line, a POINT or INSERT a point, a CIRCLE its centre. ARC, ELLIPSE, SPLINE and polylines with arcs are
        curved, and refused where they are asked for. What is inside blocks is not looked at.

    Raises
    ------
    EntryError
        For ``file``: ezdxf is not installed, or the file is no DXF.
    """
    check_file(path)
    ezdxf = ezdxf_library()
    try:
        document = _document(ezdxf, path)
        found = Pieces(layer="layer")
        _unit(found, document)
        for entity in document.modelspace():
            _add(found, entity)
    except EntryError:
        raise
    except MemoryError:
        raise EntryError([("file", f"{path.name}: is too large for the memory of this machine")]) from None
    except Exception as error:  # noqa: BLE001  a damaged file may break the library anywhere
        said = one_line(str(error))[:120] or type(error).__name__
        raise EntryError([("file", f"{path.name}: is not a DXF that can be read ({said}); save it again")]) from None
    return found


def _document(ezdxf: Any, path: Path) -> Any:  # noqa: ANN401
    """The file as the library reads it, or what it reads once its polylines are those of the release that it has."""
    try:
        return ezdxf.readfile(path)
    except ezdxf.DXFStructureError:
        text = file_bytes(path).decode("utf-8", "replace")
        if "LWPOLYLINE" not in text or "$ACADVER" in text:
            raise
        return ezdxf.read(io.StringIO(with_old_polylines(text)))


def _unit(found: Pieces, document: Any) -> None:  # noqa: ANN401
    code = int(document.header.get("$INSUNITS", 0) or 0)
    found.unit = UNITS.get(code)
    allowed = ", ".join(UNITS_M)
    if code == 0:
        found.unit_problem = f"is missing, and the file names none; write one of {allowed}"
    elif found.unit is None:
        named = OTHER_UNITS.get(code, f"those of $INSUNITS = {code}")
        unit = f"is missing, and the file's own units are {named}"
        found.unit_problem = f"{unit}; write one of {allowed}, or scale the file"


def _add(found: Pieces, entity: Any) -> None:  # noqa: ANN401  entities have no common type
    kind, layer = entity.dxftype(), str(entity.dxf.layer)
    match kind:
        case "LWPOLYLINE":
            closed = OUTLINE if entity.closed else LINE
            found.add(layer, closed, entity.vertices_in_wcs(), CURVED if entity.has_arc else "")
        case "POLYLINE" if not (entity.is_poly_face_mesh or entity.is_polygon_mesh):
            closed = OUTLINE if entity.is_closed else LINE
            curved = entity.has_arc or entity.dxf.flags & CURVE_FLAGS
            found.add(layer, closed, entity.points_in_wcs(), CURVED if curved else "")
        case "LINE":
            found.add(layer, LINE, [entity.dxf.start, entity.dxf.end])
        case "POINT":
            found.add(layer, POINT, [entity.dxf.location])
        case "INSERT":
            found.add(layer, POINT, [entity.ocs().to_wcs(entity.dxf.insert)])
        case "CIRCLE":
            found.add(layer, CIRCLE, [entity.ocs().to_wcs(entity.dxf.center)])
        case "ARC":
            found.add(layer, LINE, [entity.start_point, entity.end_point], CURVED)
        case "ELLIPSE":
            found.add(layer, OUTLINE if _goes_round(entity) else LINE, [entity.start_point, entity.end_point], CURVED)
        case "SPLINE":
            found.add(layer, OUTLINE if entity.closed else LINE, _spline_points(entity), CURVED)
        case _:
            found.others[layer, kind] += 1


def _goes_round(ellipse: Any) -> bool:  # noqa: ANN401
    return bool(ellipse.start_point.isclose(ellipse.end_point))


def _spline_points(spline: Any) -> Iterator[Any]:  # noqa: ANN401
    """Points that a spline is drawn by: enough to see where it is."""
    return iter(spline.control_points if len(spline.control_points) else spline.fit_points)
