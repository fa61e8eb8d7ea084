"""Random buildings of every footprint and roof, and what they are held against."""

from dataclasses import replace

import numpy as np
import shapely

from survey.geometry import crossings, on_sheet, sheets_of
from survey.inputs.buildings import Building, faces_of

RIGHT_ANGLED = {
    "rectangle": [14.0, 9.0, -14.0, -9.0],
    "ell": [15.2, 7.8, -8.4, 5.6, -6.8, -13.4],
    "tee": [20.0, 6.0, -7.0, 8.0, -5.0, -8.0, -8.0, -6.0],
    "zed": [10.0, 5.0, 8.0, 6.0, -12.0, -4.0, -6.0, -7.0],
    "u": [18.0, 12.0, -5.0, -7.0, -7.0, 5.0, -6.0, -10.0],
    "plus": [6.0, 5.0, 5.0, 6.0, -5.0, 4.0, -6.0, -4.0, -4.0, -6.0, 4.0, -5.0],
    "step": [12.0, 4.0, -3.0, 4.0, -3.0, 4.0, -6.0, -12.0],
}
"""Walked round with a tape, a side after the other."""


def turned(points, degrees, shift=(0.0, 0.0)):
    turn = np.deg2rad(degrees)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return np.asarray(points) @ matrix.T + shift


def walked(sides):
    """The corners of a walk, to the right and up."""
    steps = [(side, 0.0) if k % 2 == 0 else (0.0, side) for k, side in enumerate(sides)]
    return np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)[:-1]])


def convex(rng, count):
    """Corners on an ellipse, none of them near a neighbour."""
    turns = (np.arange(count) + rng.uniform(0.1, 0.9, count)) * 2.0 * np.pi / count
    return np.column_stack([9.0 * np.cos(turns), 6.0 * np.sin(turns)])


def lumpy(rng, count):
    """A star about its middle, mostly not convex."""
    turns = (np.arange(count) + rng.uniform(0.1, 0.9, count)) * 2.0 * np.pi / count
    return rng.uniform(4.0, 9.0, count)[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])


def random_building(seed):
    """A closed building of a random footprint and roof, at any bearing, its corners a few centimetres off."""
    rng = np.random.default_rng(seed)
    roof = ("flat", "mono-pitch", "gable", "hip", "saw-tooth")[int(rng.integers(5))]
    values = {"name": "b", "eaves_m": float(rng.uniform(2.0, 6.0)), "roof": roof, "wall_material": "brick 110 mm"}
    if roof in ("gable", "hip"):
        corners = walked(RIGHT_ANGLED[list(RIGHT_ANGLED)[int(rng.integers(len(RIGHT_ANGLED)))]])
        corners = corners * rng.uniform(0.8, 1.25)
        if roof == "hip" and rng.random() < 0.3:
            corners = convex(rng, int(rng.integers(3, 9)))
    elif roof == "saw-tooth":
        corners = walked(RIGHT_ANGLED["rectangle"])
        values["teeth"] = int(rng.integers(1, 6))
    else:
        corners = lumpy(rng, int(rng.integers(3, 10)))
    degrees = float(rng.uniform(0.0, 360.0))
    corners = turned(corners, degrees, rng.uniform(-50.0, 50.0, 2)) + rng.uniform(-0.02, 0.02, corners.shape)
    values["corners"] = (corners[::-1] if rng.random() < 0.5 else corners).round(3).tolist()
    if roof != "flat":
        values["pitch_deg"] = float(rng.uniform(4.0, 50.0))
    if roof in ("mono-pitch", "saw-tooth"):
        points = np.array(values["corners"])
        side = points[1] - points[0]
        anticlockwise = shapely.LinearRing(points).is_ccw
        outside = np.array([side[1], -side[0]]) * (1.0 if anticlockwise else -1.0)
        values["falls_deg"] = float(np.rad2deg(np.arctan2(*outside)))
    extra = rng.random()
    if extra < 0.35:
        values["overhang_m"] = float(rng.uniform(0.1, 1.0))
    elif extra < 0.6:
        values["parapet_m"] = float(rng.uniform(0.2, 1.5))
    return Building(**values)


def random_pair(seed):
    """A random building, and one of a random roof that is joined to one of its walls; None where no wall is long."""
    rng = np.random.default_rng(1_000_000 + seed)
    host = replace(random_building(seed), name="host")
    walls = [face for face in body(host).faces if face.kind == "wall" and len(face.frames) == 1 and face.length_m > 3.0]
    if not walls:
        return None
    wall = walls[int(rng.integers(len(walls)))]
    roof = ("flat", "mono-pitch", "gable", "hip", "saw-tooth")[int(rng.integers(5))]
    values = {"name": "joined", "against": wall.name, "roof": roof, "wall_material": "brick 110 mm"}
    values |= {"depth_m": float(rng.uniform(1.5, 8.0)), "eaves_m": float(rng.uniform(0.5, 1.6) * host.eaves_m)}
    if rng.random() < 0.8:
        length_m = float(rng.uniform(1.5, wall.length_m))
        values |= {"length_m": length_m, "left_m": float(rng.uniform(0.0, wall.length_m - length_m))}
    if roof == "mono-pitch":
        room_m = max(wall.height_m - values["eaves_m"], 0.15)
        values["ridge_m"] = values["eaves_m"] + float(rng.uniform(0.1, 1.0)) * room_m
    elif roof != "flat":
        values["pitch_deg"] = float(rng.uniform(4.0, 50.0))
    if roof in ("gable", "hip"):
        values["ridge_runs"] = ("north", "east", "north-east")[int(rng.integers(3))]
    elif roof == "saw-tooth":
        values |= {"teeth": int(rng.integers(1, 5)), "falls_deg": float(rng.uniform(0.0, 360.0))}
    extra = rng.random()
    if extra < 0.3:
        values["overhang_m"] = float(rng.uniform(0.1, 0.8))
    elif extra < 0.5:
        values["parapet_m"] = float(rng.uniform(0.1, 1.0))
    return host, Building(**values)


def built(*buildings, **options):
    return faces_of(buildings, **options)


def body(building, **options):
    return faces_of([building], **options).bodies[building.name]


def sheets(faces):
    """Plain sheets of all faces that are not open, each face one obstacle."""
    shut = [face for face in faces if not face.is_open]
    outlines = [sheet for face in shut for sheet in face.sheets_m]
    owners = [number for number, face in enumerate(shut) for _ in face.sheets_m]
    return sheets_of(outlines, owners)


def points_inside(one, rng, count, *, clear_m=0.05):
    """Points under the roof, above the ground and within the walls, so far clear of them."""
    shrunk = shapely.Polygon(one.footprint.corners_m).buffer(-clear_m)
    low_x, low_y, high_x, high_y = shrunk.bounds
    around = sheets(one.faces)
    points = []
    while len(points) < count:
        tried = rng.uniform([low_x, low_y], [high_x, high_y], (4 * count, 2))
        tried = tried[shapely.contains_xy(shrunk, tried)]
        tops = one.roof_height_m(tried)
        heights = one.base_m + clear_m + rng.random(len(tried)) * (tops - one.base_m - 2.0 * clear_m)
        tried = np.column_stack([tried, heights])
        tried = tried[~on_sheet(tried, around, within_m=0.01).any(axis=1)]  # a line from a sheet does not cross it
        points.extend(tried[: count - len(points)])
    return np.array(points)


def uncrossed(one, starts, ends):
    """How many of the lines from every start to every end go out through no face."""
    found = crossings(starts, ends, sheets(one.faces))
    lines = np.zeros((len(starts), len(ends)), dtype=bool)
    lines[found.start, found.end] = True
    return int((~lines).sum())
