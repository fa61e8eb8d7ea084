"""The page around its table: answer, next steps, reason, certainty, task, assumptions and sources."""

from __future__ import annotations

from dataclasses import dataclass

from survey.base.layout import counted
from survey.decisions.placement import Placement, PlacementOptions, best_of_each_place
from survey.inputs.plan import Plan
from survey.output.answers.check import defaults_by_table
from survey.output.answers.figures import letter, route_tally
from survey.output.answers.place import RANKING_COLUMNS, ranking_row, why_lines
from survey.output.answers.recommendation import answer_lines, next_steps, share_words, title_words, where_lines
from survey.output.answers.several_gateways import CHOICE_COLUMNS, choice_rows, fewest_lines
from survey.output.answers.sure import drawn_words, served_words, sure_lines
from survey.output.report.findings import Findings
from survey.routing import Network
from survey.scene import Scene

PLACES_SHOWN = 8
"""Locations in the ranking on the page: as many as fit on paper. The JSON of survey place has all."""
METHODS = (
    (
        "Distance: free space by Recommendation ITU-R P.525, then the plan's path loss exponent beyond the reference "
        "distance."
    ),
    (
        "Sheets of a known material and thickness: Recommendation ITU-R P.2040-3, slab, at the angle of the line. "
        "Plants: Recommendation ITU-R P.833-9, section 2.1."
    ),
    (
        "Paths around obstacles (diffraction): after Recommendation ITU-R P.526-15. Reflected paths: one bounce off "
        "flat steel. The powers of all paths are added."
    ),
    (
        "Chance: a normal distribution of the margin, after the fade margin is deducted. Its uncertainty combines "
        "shadowing and the uncertainties of the obstacles crossed."
    ),
    "All formulas, and how accurate they are: docs/computing.md of the program.",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Grid:
    """A table of the page: headings, whether each is text, and rows of words."""

    headings: list[str]
    text: list[bool]
    rows: list[list[str]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Recommended:
    """A recommendation in words."""

    title: str
    nothing_holds: bool
    gateways: list[tuple[str, str, list[str]]]
    worth: list[str]
    steps: list[str]
    sure_title: str
    sure: list[str]
    why: list[str]
    ranking: Grid
    choices: Grid | None
    fewest: list[str]


def recommended(placement: Placement) -> Recommended:
    """Return the recommendation with its certainty, its reason and the next best locations."""
    scene, scores, order = placement.scene, placement.scores, placement.order
    several = len(placement.chosen) > 1
    ranks = {spot: rank for rank, spot in enumerate(order.tolist(), start=1)}
    rows = [
        ranking_row(scores, scene.inverters.names, str(ranks[i]), i)
        for i in best_of_each_place(scores, order)[:PLACES_SHOWN].tolist()
    ]
    plain, options = not placement.choices and not placement.fewest, placement.options
    reason = placement.reason if plain else None
    names = [scores.spots.names[i] for i in placement.chosen]
    return Recommended(
        title=title_words(placement),
        nothing_holds=not placement.served,
        gateways=[
            (
                letter(k) if several else "",
                name,
                [*where_lines(placement, i), *([share_words(placement.network, k)] if several else [])],
            )
            for k, (name, i) in enumerate(zip(names, placement.chosen, strict=True))
        ],
        worth=answer_lines(placement),
        steps=[
            _sentence(f"{label}: {step}" if label == "For the rest" else step) for label, step in next_steps(placement)
        ],
        sure_title=drawn_words(options.draws, options.seed),
        sure=sure_lines(placement.certainty) if plain else [served_words(placement.runs)],
        why=[_sentence(line) for line in why_lines(reason, ranks[scores.spots.names.index(reason.rival)])]
        if reason
        else [],
        ranking=Grid(
            headings=[one.heading.replace("\n", " ") for one in RANKING_COLUMNS],
            text=[one.text for one in RANKING_COLUMNS],
            rows=rows,
        ),
        choices=_choices(placement) if placement.choices else None,
        fewest=fewest_lines(placement, placement.fewest) if placement.fewest else [],
    )


def _sentence(words: str) -> str:
    """Return words with a capital letter first."""
    return words[:1].upper() + words[1:]


def _choices(placement: Placement) -> Grid:
    rows = [[one if isinstance(one, str) else ", ".join(one) for one in row] for row in choice_rows(placement)]
    return Grid(
        headings=[one.heading.replace("\n", " ") for one in CHOICE_COLUMNS],
        text=[one.text for one in CHOICE_COLUMNS],
        rows=rows,
    )


def asked(scene: Scene, options: PlacementOptions) -> list[tuple[str, str]]:
    """Return the task: the site, and the requirement."""
    plan, required = scene.plan, scene.plan.requirement
    gateways = (
        "the best spot for one gateway" if required.gateways == 1 else f"spots for up to {required.gateways} gateways"
    )
    if options.fewest:
        gateways = "the smallest number of gateways"
    if required.inverters_per_gateway:
        gateways += f", each for up to {counted(required.inverters_per_gateway, 'inverter')}"
    spare = ", also if any one gateway fails" if options.spare else ""
    relays = f"through up to {counted(required.max_relays, 'relay')}" if required.max_relays else "directly"
    names = ", ".join(scene.gateways.names)
    places = len({*scene.spots.places})
    found = [
        ("Task", f"{gateways} to cover {counted(len(scene.inverters), 'inverter')}{spare}"),
        (
            "A link holds",
            (
                f"if its chance of working, with a {required.fade_margin_db:g} dB fade margin, is "
                f"{100 * required.reliability:g} % or more"
            ),
        ),
        ("Inverters report", f"{relays} to a gateway"),
        ("Existing gateways", names or "none"),
        ("Spots tested", f"{len(scene.spots)} in {counted(places, 'location')}" if places else "none"),
        ("Radio", _radio(plan)),
    ]
    return [("Note", plan.site.note), *found] if plan.site.note else found


def _radio(plan: Plan) -> str:
    ends = [
        f"{what}: transmit power {radio.tx_power_dbm:g} dBm, sensitivity {radio.sensitivity_dbm:g} dBm"
        for what, radio in (("inverter", plan.radio.inverter), ("gateway", plan.radio.gateway))
    ]
    return f"{plan.radio.frequency_mhz:g} MHz; {'; '.join(ends)}"


def about_words(findings: Findings) -> str:
    """Return which gateways map and table show."""
    names = findings.network.links.gateways.names
    listed = names[0] if len(names) == 1 else ", ".join(f"{letter(j)}: {name}" for j, name in enumerate(names))
    why = {
        "recommended": "recommended, not installed yet",
        "named": "as requested",
        "stands": "existing",
    }[findings.about]
    standing = set(findings.scene.gateways.names)
    if findings.about == "named" and not standing & set(names):
        why += ", not installed yet"
    together = " All of them are in use together: each inverter reports to the one with its best route." * (
        len(names) > 1
    )
    return f"Map, table and explanations show the gateway{'s' * (len(names) > 1)} at {listed} ({why}).{together}"


def today_words(today: Network) -> str:
    """Return the coverage of the existing gateways."""
    names = ", ".join(today.links.gateways.names)
    return f"Existing gateway{'s' * (len(today.links.gateways.names) > 1)} ({names}): {route_tally(today)}."


def defaults(findings: Findings) -> list[tuple[str, str]]:
    """Return the tables of the plan with the defaults used in each."""
    by_table = defaults_by_table(findings.inspection)
    return [(table, ", ".join(keys).replace("\N{NO-BREAK SPACE}", " ")) for table, keys in by_table.items()]


def materials(scene: Scene) -> Grid:
    """Return the losses of the obstacles by the plan and by the fit in use, with the source of every figure."""
    plan, obstacles, correction = scene.plan, scene.obstacles, scene.correction
    rows: dict[tuple[str, str], list[str]] = {}
    for k, obstacle in enumerate(obstacles.entries):
        loss = obstacle.loss(plan.materials, frequency_mhz=plan.radio.frequency_mhz)
        by_metre = obstacle.volume() is not None
        decimals = 2 if by_metre else 1
        figures = [f"{one:.{decimals}f}" for one in (obstacles.loss_db[k], loss.spread_db)]
        if correction is not None:
            fitted = (obstacles.loss_db[k] + correction.change_db[k], obstacles.spread_db[k])
            is_fitted = correction.unit[k] >= 0
            figures += [f"{one:.{decimals}f}" if is_fitted else "not fitted" for one in fitted]
        name = f"{loss.what}, per metre" if by_metre else loss.what
        rows[loss.what, loss.source] = [name, *figures, loss.status, loss.source]
    headings = ["material", "loss dB", "uncertainty dB"]
    if correction is not None:
        headings = ["material", "plan dB", "its uncertainty dB", "fitted dB", "standard error dB"]
    return Grid(
        headings=[*headings, "status", "source"],
        text=[True, *[False] * (len(headings) - 1), True, True],
        rows=list(rows.values()),
    )
