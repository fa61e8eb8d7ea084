"""The page that puts spots side by side: a map of each, inverters that change sides, run by run, link by link."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np

from survey.base.layout import Column, counted, listed
from survey.budget import STATES
from survey.decisions.comparison import Comparison
from survey.output.answers.compare import PAIR_COLUMNS, best_of_them, pair_row
from survey.output.answers.figures import NO_ROOM, NOTHING, db, letter, margin, percent
from survey.output.answers.place import RANKING_COLUMNS, ranking_row
from survey.output.report.cautions import FIRST
from survey.output.report.page import Stamp, common, rendered
from survey.output.report.sections import Grid
from survey.output.report.site_map import site_map
from survey.routing import Network

MAX_NAMES = 40
"""Inverters named in a cell of inverters that change sides; the table of links has all. A judgement."""
SECTIONS = (
    ("answer", "answer"),
    ("maps", "maps"),
    ("sides", "inverters that change sides"),
    ("runs", "run by run"),
    ("scores", "scores"),
    ("links", "link by link"),
)


def compare_page(comparison: Comparison, stamp: Stamp) -> str:
    """Write the page.

    Parameters
    ----------
    comparison : Comparison
        What was worked out.
    stamp : Stamp
        What ties the page to its plan.

    Returns
    -------
    str
        HTML that needs no other file, no network and no script.
    """
    scene = comparison.links.scene
    letters = [letter(j) for j in range(comparison.links.shape[1])]
    title, facts = best_of_them(comparison, letters)
    drawn = comparison.drawn
    context: dict[str, Any] = {
        **common(scene, stamp),
        "script_hash": "",
        "links": SECTIONS,
        "title": title,
        "facts": facts,
        "letters": letters,
        "best": int(comparison.scores.order()[0]),
        "maps": [site_map(scene, network) for network in comparison.networks],
        "scores": _scores(comparison, letters),
        "sides": _sides(comparison, letters),
        "runs": _grid(PAIR_COLUMNS, [pair_row(pair, letters) for pair in drawn.pairs()]),
        "runs_words": f"{counted(drawn.draws, 'simulation run')}, seed {drawn.seed}",
        "every": _links(comparison, letters),
        "first_caution": FIRST,
    }
    return rendered("compare.html", context)


def _grid(columns: tuple[Column, ...], rows: list[list[str]]) -> Grid:
    return Grid(
        headings=[one.heading.replace("\n", " ") for one in columns], text=[one.text for one in columns], rows=rows
    )


def _scores(comparison: Comparison, letters: list[str]) -> Grid:
    """What each spot is worth as the only gateway, and what it asks for: height, cable, note."""
    scene, ends = comparison.links.scene, comparison.links.gateways
    notes = {one.name: one.note for one in (*scene.plan.gateways, *scene.plan.spots)}
    notes |= {one.name: one.note for one in scene.plan.searches}
    rows = []
    for j, place in enumerate(ends.places):
        row = ranking_row(comparison.scores, scene.inverters.names, letters[j], j)
        rows.append([*row, f"{ends.at_m[j, 2]:.2f}", db(float(ends.loss_db[j])), notes[place]])
    more = (Column("height m"), Column("cable and mounting dB"), Column("note", text=True))
    return _grid((Column("letter", text=True), *RANKING_COLUMNS[1:], *more), rows)


def _sides(comparison: Comparison, letters: list[str]) -> Grid:
    """For each two spots, the inverters that hold with one of them alone."""
    names, hold = comparison.links.inverters.names, len(STATES) - 1
    rows = []
    for one, other in combinations(range(len(letters)), 2):
        first, second = (comparison.networks[j].state == hold for j in (one, other))
        alone = [[names[i] for i in np.flatnonzero(side)] for side in (first & ~second, second & ~first)]
        cells = [f"{len(some)}: {listed(some, MAX_NAMES)}" if some else "none" for some in alone]
        rows.append([f"{letters[one]}, {letters[other]}", *cells, str(int(np.sum(first & second)))])
    columns = ("pair", "hold with the first only", "hold with the second only")
    return _grid((*(Column(one, text=True) for one in columns), Column("hold with both")), rows)


def _links(comparison: Comparison, letters: list[str]) -> Grid:
    """Every inverter with each spot as the only gateway."""
    ends = comparison.links.inverters
    columns = [Column("inverter", text=True)]
    for one in letters:
        columns += [Column(f"{one} margin dB"), Column(f"{one} chance"), Column(f"{one} state", text=True)]
    rows = [
        [name, *(cell for network in comparison.networks for cell in _cells(network, i))]
        for i, name in enumerate(ends.names)
    ]
    return _grid(tuple(columns), rows)


def _cells(network: Network, i: int) -> list[str]:
    route = network.routes[i]
    if route.gateway < 0:
        return [NOTHING, NOTHING, NO_ROOM]
    chance = percent(route.reliability, wanted=network.scene.plan.requirement.reliability)
    return [margin(route.weakest_margin_db), chance, STATES[int(network.state[i])]]
