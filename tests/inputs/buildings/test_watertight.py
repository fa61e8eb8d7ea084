"""No line gets out of a closed building except through one of its faces."""

import numpy as np
import pytest
from building_shapes import body, built, points_inside, random_building, random_pair, sheets, uncrossed

from survey.base.errors import PlanError
from survey.geometry import crossings, overlaps_of
from survey.inputs.buildings import Building

RAYS_A_BUILDING = (12, 150)


def ends_around(one, rng, count, *, far_m=100.0):
    """Points far outside, in every direction that does not lead into the ground."""
    turns, rises = rng.uniform(0.0, 2.0 * np.pi, count), np.arcsin(rng.uniform(0.0, 1.0, count))
    directions = np.column_stack([np.cos(turns) * np.cos(rises), np.sin(turns) * np.cos(rises), np.sin(rises)])
    return np.append(one.footprint.corners_m.mean(axis=0), 0.0) + far_m * directions


@pytest.mark.parametrize("first_seed", range(0, 240, 24))
def test_no_ray_gets_out_of_a_closed_building(first_seed):
    for seed in range(first_seed, first_seed + 24):
        rng = np.random.default_rng(seed)
        building = random_building(seed)
        one = body(building)
        starts = points_inside(one, rng, RAYS_A_BUILDING[0])
        assert uncrossed(one, starts, ends_around(one, rng, RAYS_A_BUILDING[1])) == 0, (seed, building)


@pytest.mark.parametrize("material_of", ["south wall", "roof"])
def test_rays_do_get_out_where_a_face_is_open(material_of):
    values = {"corner": [0.0, 0.0], "length_m": 8.0, "width_m": 5.0, "bearing_deg": 90.0, "eaves_m": 3.0}
    one = body(Building(name="b", wall_material="brick 110 mm", materials={material_of: "open"}, **values))
    rng = np.random.default_rng(0)
    assert uncrossed(one, points_inside(one, rng, 10), ends_around(one, rng, 200)) > 100


HOST = {"name": "host", "corner": [3.0, -4.0], "length_m": 14.0, "width_m": 9.0, "bearing_deg": 70.0}
JOINED = {
    "lean-to": {"roof": "mono-pitch", "ridge_m": 3.0},
    "flat and lower": {"roof": "flat"},
    "gable end on, and higher": {"roof": "gable", "pitch_deg": 40.0, "eaves_m": 3.8},
    "hip, and higher": {"roof": "hip", "pitch_deg": 45.0, "eaves_m": 3.9, "overhang_m": 0.3},
    "flat and higher": {"roof": "flat", "eaves_m": 6.5},
    "with a parapet": {"roof": "flat", "eaves_m": 3.5, "parapet_m": 1.0},
}


@pytest.mark.parametrize("against", ["north wall", "east wall"])
@pytest.mark.parametrize("values", JOINED.values(), ids=JOINED)
@pytest.mark.parametrize("roof", ["flat", "gable"])
def test_no_ray_gets_out_of_a_building_joined_to_another(values, against, roof):
    host = Building(
        **HOST, eaves_m=4.0, wall_material="steel cladding", roof=roof, ridge_m=5.5 if roof == "gable" else None
    )
    joined = {"name": "joined", "against": f"host/{against}", "depth_m": 5.0, "length_m": 6.0, "right_m": 1.0}
    both = built(Building(**{**joined, "eaves_m": 2.2, "wall_material": "brick 110 mm", **values}), host)
    rng = np.random.default_rng(1)
    for one in both.bodies.values():
        starts = points_inside(one, rng, 20)
        ends = ends_around(one, rng, 500)
        found = crossings(starts, ends, sheets(both.faces))
        assert len(set(zip(found.start.tolist(), found.end.tolist(), strict=True))) == 20 * 500


@pytest.mark.parametrize("first_seed", range(0, 48, 12))
def test_no_ray_gets_out_of_random_buildings_joined_to_random_ones(first_seed):
    """Every roof against every other, with overhangs and parapets, turned, corners a few centimetres off."""
    pairs = 0
    for seed in range(first_seed, first_seed + 12):
        pair = random_pair(seed)
        if pair is None:
            continue
        try:
            both = built(*pair)
        except PlanError:  # a mono-pitch above its wall, a slope that no side looks to
            continue
        pairs += 1
        rng = np.random.default_rng(seed)
        for one in both.bodies.values():
            starts, ends = points_inside(one, rng, 4), ends_around(one, rng, 100)
            found = crossings(starts, ends, sheets(both.faces))
            assert len(set(zip(found.start.tolist(), found.end.tolist(), strict=True))) == 4 * 100, (seed, pair)
    assert pairs >= 6


@pytest.mark.parametrize(
    ("host_roof", "joined_roof"),
    [
        ({"roof": "saw-tooth", "teeth": 3, "falls": "south", "pitch_deg": 22.0}, {"roof": "flat", "eaves_m": 7.0}),
        ({"roof": "saw-tooth", "teeth": 3, "falls": "south", "pitch_deg": 22.0}, {"roof": "gable", "pitch_deg": 40.0}),
        (
            {"roof": "gable", "ridge_runs": "north", "pitch_deg": 30.0},
            {"roof": "saw-tooth", "eaves_m": 3.0, "teeth": 2},
        ),
        ({"roof": "flat", "parapet_m": 2.0}, {"roof": "saw-tooth", "eaves_m": 4.5, "teeth": 3}),
    ],
)
def test_the_glazing_of_a_saw_tooth_roof_in_the_shared_plane_stands_once(host_roof, joined_roof):
    shape = {"corner": [0.0, 0.0], "length_m": 20.0, "width_m": 15.0, "bearing_deg": 90.0, "eaves_m": 5.0}
    host = Building(name="host", wall_material="brick 220 mm", **shape, **host_roof)
    if joined_roof["roof"] == "saw-tooth":
        joined_roof = {**joined_roof, "falls": "north", "pitch_deg": 25.0}
    values = {"against": "host/north wall", "depth_m": 6.0, "length_m": 8.0, "eaves_m": 4.0, **joined_roof}
    both = built(Building(name="joined", wall_material="brick 110 mm", **values), host)
    shut = sheets(both.faces)
    _, _, shared_m = overlaps_of(shut, chosen=np.ones(len(shut), dtype=bool), min_m=0.02)
    assert shared_m.tolist() == []
    rng = np.random.default_rng(3)
    for one in both.bodies.values():
        starts, ends = points_inside(one, rng, 10), ends_around(one, rng, 200)
        found = crossings(starts, ends, shut)
        assert len(set(zip(found.start.tolist(), found.end.tolist(), strict=True))) == 10 * 200


def test_the_shared_wall_stands_once():
    """What goes from the building into the one that is joined to it crosses one wall, not two."""
    host = Building(**HOST, eaves_m=4.0, wall_material="steel cladding")
    joined = Building(name="joined", against="host/north wall", depth_m=5.0, eaves_m=3.0, wall_material="brick 110 mm")
    both = built(joined, host)
    rng = np.random.default_rng(2)
    starts, ends = (points_inside(both.bodies[name], rng, 40) for name in ("host", "joined"))
    low = starts[:, 2] < 2.9
    found = crossings(starts[low], ends, sheets(both.faces))
    lines = found.start * len(ends) + found.end
    assert np.bincount(lines, minlength=low.sum() * len(ends)).tolist() == [1] * int(low.sum() * len(ends))


def test_pieces_of_a_building_share_the_very_same_corners():
    for seed in range(60):
        one = body(random_building(seed))
        corners = np.unique(np.vstack([sheet for face in one.faces for sheet in face.sheets_m]), axis=0)
        apart = np.abs(corners[:, None] - corners[None]).max(axis=2) + np.eye(len(corners))
        assert apart.min() > 5e-7


def test_no_line_gets_out_through_the_very_edges_and_corners_of_faces():
    """Aimed from inside at each corner of each sheet, and at the middle of each edge."""
    for seed in range(120):
        one = body(random_building(seed))
        shut = sheets(one.faces)
        targets = np.vstack(
            [
                np.vstack([sheet, (sheet + np.roll(sheet, 1, axis=0)) / 2.0])
                for face in one.faces
                for sheet in face.sheets_m
                if one.building.overhang_m == 0.0 or face.kind == "wall"
            ]
        )
        for start in points_inside(one, np.random.default_rng(seed), 3):
            ends = start + 2.0 * (targets - start)
            found = crossings(start[None], ends, shut)
            assert set(found.end.tolist()) == set(range(len(ends))), (seed, one.building)
