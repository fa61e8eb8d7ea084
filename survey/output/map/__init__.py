"""A site from above, worked out once for pictures and for the page: shapes, places, routes, names, frame."""

from survey.output.map.frame import extent_m, frame_m, nice_length_m, spacing_m
from survey.output.map.labels import Label, Position, Size, place_labels
from survey.output.map.site import (
    GATEWAYS,
    Place,
    Route,
    Shape,
    every_inverter_label,
    gateway_labels,
    inverter_labels,
    kinds_in,
    obstacle_labels,
    places_of,
    routes_of,
    shapes_of,
)

__all__ = [
    "GATEWAYS",
    "Label",
    "Place",
    "Position",
    "Route",
    "Shape",
    "Size",
    "every_inverter_label",
    "extent_m",
    "frame_m",
    "gateway_labels",
    "inverter_labels",
    "kinds_in",
    "nice_length_m",
    "obstacle_labels",
    "place_labels",
    "places_of",
    "routes_of",
    "shapes_of",
    "spacing_m",
]
