"""The site as GeoJSON (RFC 7946): WGS 84, longitude first."""

from __future__ import annotations

from typing import Any

import numpy as np

from survey.base.arrays import FloatArray
from survey.base.earth import Earth
from survey.base.errors import SurveyError
from survey.base.polygon import signed_area_m2
from survey.output.answers.values import plain
from survey.output.export.site import Exported, Shape

DECIMALS = 9
"""Of degrees: a tenth of a millimetre."""


def site_geojson(site: Exported) -> str:
    """Return the site as GeoJSON.

    Every feature has the properties `kind` and `name`. Heights are properties, not third coordinates, which would be
    above the ellipsoid.

    Raises
    ------
    SurveyError
        Where the plan does not say where on the earth it is.
    """
    import json  # noqa: PLC0415  only for such a file

    plan = site.scene.plan
    earth = plan.site.earth
    if earth is None:
        raise SurveyError(
            f"{plan.file}: [site]: zero_lat_deg: is missing; GeoJSON needs zero_lat_deg and zero_lon_deg, where the "
            "plan's zero is on the earth. Write them, or export .csv or .dxf"
        )
    origin = {"name": plan.site.name, "frequency_mhz": plan.radio.frequency_mhz, "note": plan.site.note}
    features = [_feature("site", origin, "Point", _degrees(earth, np.zeros((1, 2)))[0])]
    for device in site.devices():
        facts = device.facts | {"height_m": plain(device.at_m[2])}
        features.append(_feature(device.kind, facts, "Point", _degrees(earth, device.at_m[None, :2])[0]))
    seen: set[str] = set()
    for shape in site.shapes():
        feature = _shape(earth, shape)
        text = json.dumps([feature["geometry"], feature["properties"]["name"]])
        if text not in seen:  # bottom and top of a box, and of plants, look the same from above
            seen.add(text)
            features.append(feature)
    whole = {"type": "FeatureCollection", "features": features}
    return json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1)


def _shape(earth: Earth, shape: Shape) -> dict[str, Any]:
    low_m, high_m = shape.heights_m
    facts = {"name": shape.name, "material": shape.material, "lowest_m": plain(low_m), "highest_m": plain(high_m)}
    foot_m = shape.foot_m
    if foot_m is not None:
        return _feature(shape.kind, facts, "LineString", _degrees(earth, foot_m))
    flat = shape.corners_m[:, :2]
    ring = flat if signed_area_m2(flat) > 0 else flat[::-1]  # anticlockwise: RFC 7946, section 3.1.6
    return _feature(shape.kind, facts, "Polygon", [_degrees(earth, np.concatenate([ring, ring[:1]]))])


def _feature(kind: str, facts: dict[str, Any], geometry: str, coordinates: list[Any]) -> dict[str, Any]:
    said = {key: value for key, value in facts.items() if value != ""}
    return {
        "type": "Feature",
        "properties": {"kind": kind, **said},
        "geometry": {"type": geometry, "coordinates": coordinates},
    }


def _degrees(earth: Earth, points_m: FloatArray) -> list[Any]:
    return [[float(round(value, DECIMALS)) for value in pair] for pair in earth.lon_lat_deg(points_m).tolist()]
