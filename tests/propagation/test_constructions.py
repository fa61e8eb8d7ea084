"""Well-known constructions for several edges beside the program, and the program beside exact solutions.

The tables in docs/ways-around.md hold these figures; tests keep them the same.
"""

import csv
import json
import math

import numpy as np
import pytest
from exact_cases import CANYONS, site_in_plan, site_in_section
from exact_cases import errors_db as exact_errors_db
from one_link import in_plan
from places import ROOT

from survey.base.units import wavelength_m
from survey.budget import links_of
from survey.propagation.around import strongest_strings
from survey.propagation.around.of_scene import bodies_of_scene
from survey.propagation.around.search import edge_loss_db
from survey.propagation.around.windows import Face, Station, field
from survey.scene import scene_of


def edge_db(before, edge, beyond, wave_m):
    """One edge between two points: ITU-R P.526-15 section 4.1, negative heights included."""
    d1, d2 = np.hypot(*(edge - before)), np.hypot(*(beyond - edge))
    chord = (beyond - before) / np.hypot(*(beyond - before))
    height = chord[0] * (edge - before)[1] - chord[1] * (edge - before)[0]
    return float(edge_loss_db(height * np.sqrt(2 * (d1 + d2) / (wave_m * d1 * d2))))


def merged(points, wave_m):
    """Corners closer than a wavelength or 0.3 m taken as one."""
    kept = [points[0]]
    for point in points[1:-1]:
        if len(kept) == 1 or np.hypot(*(point - kept[-1])) >= max(wave_m, 0.3):
            kept.append(point)
    return [*kept, points[-1]]


def epstein_peterson_db(points, wave_m):
    points = merged(points, wave_m)
    return sum(edge_db(*points[i - 1 : i + 2], wave_m) for i in range(1, len(points) - 1))


def deygout_db(points, wave_m):
    points = merged(points, wave_m)
    if len(points) < 3:
        return 0.0
    losses = [edge_db(points[0], point, points[-1], wave_m) for point in points[1:-1]]
    main = int(np.argmax(losses)) + 1
    return losses[main - 1] + deygout_db(points[: main + 1], wave_m) + deygout_db(points[main:], wave_m)


def bullington_nu(along, height, h_start, h_end, wave_m):
    """The single edge where the steepest sight lines from both ends meet: ITU-R P.1812-6, equations (14) to (18)."""
    total = along[-1] - along[0]
    inner = slice(1, -1)
    up = np.max((height[inner] - h_start) / (along[inner] - along[0]))
    direct = (h_end - h_start) / total
    if up < direct:
        clear = height[inner] - (h_start * (along[-1] - along[inner]) + h_end * (along[inner] - along[0])) / total
        return np.max(clear * np.sqrt(2 * total / (wave_m * (along[inner] - along[0]) * (along[-1] - along[inner]))))
    down = np.max((height[inner] - h_end) / (along[-1] - along[inner]))
    meet = (h_end - h_start + down * total) / (up + down)
    rise = h_start + up * meet - (h_start * (total - meet) + h_end * meet) / total
    return rise * np.sqrt(2 * total / (wave_m * meet * (total - meet)))


def bullington_db(points, wave_m):
    along, height = np.array(points).T
    if np.any(np.diff(along) <= 0):
        return epstein_peterson_db(points, wave_m)  # the construction is for edges in order along the line
    return float(edge_loss_db(bullington_nu(along, height, height[0], height[-1], wave_m)))


def integral_db(points, wave_m):
    """The corners as knife edges, by the integral over the open space above all of them at once."""
    step = np.diff(np.array(points), axis=0)
    legs_m, turns = np.hypot(*step.T), -np.diff(np.arctan2(step[:, 1], step[:, 0]))
    stations = [
        Station(float(at), 0.0, math.inf, -2.0 * math.sin(turn / 2.0), 1.0)
        for at, turn in zip(np.cumsum(legs_m), turns, strict=False)
    ]
    hard, _ = field(stations, [Face(0.0, 0.0)] * (len(turns) - 1), float(legs_m.sum()), wave_m)
    return float(-20 * np.log10(abs(hard)))


CONSTRUCTIONS = {
    "Epstein-Peterson": epstein_peterson_db,
    "Deygout": deygout_db,
    "Bullington": bullington_db,
    "one integral, knife edges": integral_db,
}
"""On the corners of the strongest string on the left and on the right, the two by power."""
CHOSEN = "the program: faces, wedges, windows"


def errors_db(cases):
    """Errors of each construction, and of the program, where something stands in the line."""
    found = {name: [] for name in [*CONSTRUCTIONS, CHOSEN]}
    for case in cases:
        scene = scene_of(in_plan(case))
        wave_m = float(wavelength_m(case["frequency_mhz"]))
        start_m, end_m = scene.inverters.at_m[0], scene.gateways.at_m[0]
        strings = strongest_strings(bodies_of_scene(scene), start_m, end_m, wavelength_m=wave_m)
        sides = [one for one in strings if one.side in {"left", "right"}]
        if not sides:
            continue
        along = (end_m - start_m)[:2] / np.hypot(*(end_m - start_m)[:2])
        powers = dict.fromkeys(CONSTRUCTIONS, 0.0)
        for one in sides:
            flat_m = (one.points_m - start_m)[:, :2]
            off_m = abs(flat_m @ [-along[1], along[0]]) if one.side == "left" else flat_m @ [along[1], -along[0]]
            points = list(np.column_stack([flat_m @ along, off_m]))
            for name, loss_db in CONSTRUCTIONS.items():
                powers[name] += 10 ** (-loss_db(points, wave_m) / 10)
        for name, power in powers.items():
            found[name].append(-10 * np.log10(power) - case["mean_db"])
        found[CHOSEN].append(float(links_of(scene).obstacle_loss_db[0, 0]) - case["mean_db"])
    return {name: np.array(errors) for name, errors in found.items()}


def row(name, errors):
    rmse_db, mean_db, worst_db = np.sqrt(np.mean(errors**2)), errors.mean(), errors[np.argmax(np.abs(errors))]
    return f"| {name} | {len(errors)} | {rmse_db:.1f} | {mean_db:+.1f} | {worst_db:+.1f} |"


def test_the_program_is_the_best_of_all(references):
    rmse_db = {name: float(np.sqrt(np.mean(e**2))) for name, e in errors_db(references).items()}
    assert min(rmse_db, key=rmse_db.get) == CHOSEN
    assert rmse_db[CHOSEN] < rmse_db["Epstein-Peterson"] - 0.5


def test_the_table_of_constructions_in_the_docs_is_what_is_measured(references):
    text = (ROOT / "docs" / "ways-around.md").read_text(encoding="utf-8")
    for name, errors in errors_db(references).items():
        assert row(name, errors) in text, row(name, errors)


def test_the_table_of_references_in_the_docs_is_what_is_measured(validation):
    """Sets of exact solutions, each with its file: docs/ways-around.md, "How good it is"."""
    text = (ROOT / "docs" / "ways-around.md").read_text(encoding="utf-8")
    gaps, sections = (
        json.loads((validation / "diffraction" / f"{one}.json").read_text()) for one in ("gaps", "sections")
    )
    outlines = json.loads((validation / "diffraction" / "reference.json").read_text())
    rooms = [one for one in sections if not one["case"].startswith(CANYONS)]
    canyons = [one for one in sections if one["case"].startswith(CANYONS)]
    for name, cases, to_site in (
        ("outlines in plan", outlines, site_in_plan),
        ("slits, gaps, zig-zags", gaps, site_in_plan),
        ("roofs in section", rooms, site_in_section),
        ("canyons in section", canyons, site_in_section),
    ):
        line = row(name, exact_errors_db(cases, to_site))
        assert line in text, line


def test_bullington_is_built_right(validation):
    """ITU-R P.1812-6 equations (13) to (21), validation profile of Study Group 3: knife-edge part 7.97486 dB."""
    with (validation / "published" / "data" / "p1812_profile_1km.csv").open(encoding="utf-8") as file:
        rows = [[float(row[key]) for key in ("distance_km", "ground_m", "clutter_m")] for row in csv.DictReader(file)]
    distance_km, ground_m, clutter_m = np.array(rows).T
    clutter_m[[0, -1]] = 0.0
    bulge_m = 500.0 * distance_km * (distance_km[-1] - distance_km) / 8930.776786
    nu = bullington_nu(distance_km * 1e3, ground_m + clutter_m + bulge_m, 814.4, 617.3, 0.2998 / 0.0953)
    assert float(nu) == pytest.approx(0.224064, abs=1e-3)
    assert float(edge_loss_db(nu)) == pytest.approx(7.97486, abs=0.01)
