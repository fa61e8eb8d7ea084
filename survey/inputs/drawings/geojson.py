"""GeoJSON files (RFC 7946): features by their property ``name``, in WGS 84, longitude first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from survey.base.errors import EntryError
from survey.inputs.drawings.pieces import LINE, OUTLINE, POINT, Pieces, file_bytes

WGS_84 = ("crs84", "4326", "wgs84", "wgs 84")
"""How files of the time before RFC 7946 end the name of the system that it prescribes."""
MAX_LON_DEG, MAX_LAT_DEG = 180.0, 90.0
"""Beyond these a number is no degree of longitude or latitude. [deg]"""
PARTS = {"MultiPoint": "Point", "MultiLineString": "LineString", "MultiPolygon": "Polygon"}


def read_geojson(path: Path) -> Pieces:
    """Read the features of a file.

    Parameters
    ----------
    path : Path
        A file in UTF-8.

    Returns
    -------
    Pieces
        By feature name, in longitude and latitude [deg]. Each part of a multi-part feature is a piece. Heights in
        coordinates are not used: they are above the ellipsoid, not above the plan's zero.

    Raises
    ------
    EntryError
        For ``file``: no GeoJSON, or in another coordinate system.
    """
    data = file_bytes(path)
    found = Pieces(layer="feature", unit="deg")
    try:
        for number, feature in enumerate(_features(_tree(data)), start=1):
            _add(found, feature, number)
    except _NotGeoJsonError as error:
        raise EntryError([("file", f"{path.name}: {error}")]) from None
    return found


class _NotGeoJsonError(Exception):
    """What is wrong with a file or a feature."""


def _tree(data: bytes) -> Any:  # noqa: ANN401  whatever JSON has there
    """A file as JSON."""
    import json  # noqa: PLC0415  only where a plan has such a drawing

    try:
        return json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise _NotGeoJsonError("is not UTF-8 text, as RFC 7946 wants it; save it again as GeoJSON") from None
    except RecursionError:
        raise _NotGeoJsonError("nests lists too deep to be read") from None
    except json.JSONDecodeError as error:
        raise _NotGeoJsonError(f"is not JSON: line {error.lineno}, column {error.colno}: {error.msg}") from None
    except ValueError:
        raise _NotGeoJsonError("holds a number of too many digits to be read") from None


def _features(tree: Any) -> list[Any]:  # noqa: ANN401
    """The features of a file, which must be in the one system that RFC 7946 allows."""
    if not isinstance(tree, dict) or tree.get("type") not in ("FeatureCollection", "Feature"):
        raise _NotGeoJsonError('is not GeoJSON with features; its type must be "FeatureCollection" or "Feature"')
    system = _system(tree.get("crs"))
    if system:
        problem = f"is in the coordinate system {system}; save it in WGS 84 (EPSG:4326), as RFC 7946 wants it"
        raise _NotGeoJsonError(problem)
    features = tree.get("features") if tree["type"] == "FeatureCollection" else [tree]
    if not isinstance(features, list):
        raise _NotGeoJsonError("has no list of features")
    return features


def _system(crs: Any) -> str:  # noqa: ANN401  whatever JSON has there
    """The name of a coordinate system other than WGS 84, from a member that RFC 7946 has done away with."""
    if crs is None:
        return ""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str):
        return "of its member crs"
    return "" if name.casefold().endswith(WGS_84) else f'"{name[:80]}"'


def _add(found: Pieces, feature: Any, number: int) -> None:  # noqa: ANN401
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        raise _NotGeoJsonError(f'feature {number} is none: its type must be "Feature"')
    properties, geometry = feature.get("properties"), feature.get("geometry")
    name = properties.get("name") if isinstance(properties, dict) else None
    if isinstance(name, bool) or not isinstance(name, str | int | float) or not str(name).strip():
        name = ""
    name = str(name).strip()
    if geometry is None:  # RFC 7946, section 3.2: a feature without a place
        found.others[name, "feature without a place"] += 1
        return
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if not isinstance(kind, str):
        raise _NotGeoJsonError(f"feature {number} has no geometry of a known type")
    coordinates = geometry.get("coordinates")
    if kind in PARTS:
        if not isinstance(coordinates, list):
            raise _NotGeoJsonError(f"feature {number}: coordinates are not a list")
        for part in coordinates:
            _add_part(found, name, PARTS[kind], part, number)
    elif kind in PARTS.values():
        _add_part(found, name, kind, coordinates, number)
    else:
        found.others[name, kind[:40]] += 1


def _add_part(found: Pieces, name: str, kind: str, coordinates: Any, number: int) -> None:  # noqa: ANN401
    if kind == "Point":
        found.add(name, POINT, _positions([coordinates], number))
    elif kind == "LineString":
        found.add(name, LINE, _positions(coordinates, number))
    else:
        if not isinstance(coordinates, list) or not coordinates:
            raise _NotGeoJsonError(f"feature {number}: a Polygon without a ring")
        holes = len(coordinates) - 1
        rings = f"has {holes} courtyard{'s' * (holes > 1)} (inner rings); draw it as outlines without"
        courtyard = rings if holes else ""
        found.add(name, OUTLINE, _positions(coordinates[0], number), courtyard)


def _positions(coordinates: Any, number: int) -> Iterator[tuple[float, float]]:  # noqa: ANN401
    """Longitude and latitude of each position."""
    if not isinstance(coordinates, list):
        raise _NotGeoJsonError(f"feature {number}: coordinates are not a list")
    if not coordinates:
        raise _NotGeoJsonError(f"feature {number}: has no position")
    for one in coordinates:
        if not isinstance(one, list) or len(one) < 2 or not all(_is_number(value) for value in one[:2]):  # noqa: PLR2004
            raise _NotGeoJsonError(f"feature {number}: a position is not [longitude, latitude]")
        lon_deg, lat_deg = float(one[0]), float(one[1])
        if not (abs(lon_deg) <= MAX_LON_DEG and abs(lat_deg) <= MAX_LAT_DEG):
            raise _NotGeoJsonError(
                f"feature {number}: [{lon_deg:.10g}, {lat_deg:.10g}] is not [longitude, latitude] in degrees; "
                "save it in WGS 84 (EPSG:4326), as RFC 7946 wants it"
            )
        yield lon_deg, lat_deg


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return math.isfinite(value) if isinstance(value, float) else abs(value) < 10**15
