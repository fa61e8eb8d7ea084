"""The page itself: one HTML file with its style, its script and its pictures inside."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from typing import Any

from survey.base.characters import harmless_xml
from survey.budget import STATES
from survey.output.answers.figures import NO_ROOM, route_tally
from survey.output.report.cautions import CAUTIONS, FIRST
from survey.output.report.findings import Findings
from survey.output.report.missed import missed
from survey.output.report.pictures import coverage
from survey.output.report.readings import compared
from survey.output.report.rows import mended, remedy_cautions, rows_of
from survey.output.report.sections import METHODS, about_words, asked, defaults, materials, recommended, today_words
from survey.output.report.site_map import site_map

CHECKSUM_DIGITS = 12
"""48 bits: two plans of one site do not share them by chance."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stamp:
    """What ties a page to its plan: the version of the program, the plan's content, and the day."""

    version: str
    plan: bytes
    date: str

    @property
    def checksum(self) -> str:
        """The first digits of the SHA-256 of the plan's bytes."""
        return hashlib.sha256(self.plan).hexdigest()[:CHECKSUM_DIGITS]


def html_page(findings: Findings, stamp: Stamp) -> str:
    """Write the page.

    Parameters
    ----------
    findings : Findings
        What was worked out.
    stamp : Stamp
        What ties the page to its plan.

    Returns
    -------
    str
        HTML that needs no other file and no network. Names of the plan stand in it as text, whatever they look like.
    """
    style, script = _file("report.css"), _file("report.js")
    scene, network = findings.scene, findings.network
    context: dict[str, Any] = {
        "plan": scene.plan,
        "stamp": stamp,
        "style": style,
        "script": script,
        "script_hash": base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        "asked": asked(scene, findings.options),
        "answer": recommended(findings.placement) if findings.placement else None,
        "about": about_words(findings),
        "about_is": findings.about,
        "gateways": network.links.gateways.names,
        "relays": bool(scene.plan.requirement.max_relays),
        "tally": route_tally(network),
        "today": today_words(findings.today) if findings.today else "",
        "map": site_map(
            scene, network, advised=findings.placement.network.links.gateways.names if findings.placement else ()
        ),
        "states": STATES,
        "coverage": coverage(scene, network.links.gateways),
        "rows": rows_of(findings),
        "without_room": bool(network.over_capacity),
        "no_room": NO_ROOM,
        "has_serials": any(scene.inverters.serials),
        "mended": mended(findings),
        "remedy_cautions": remedy_cautions(findings.explained),
        "readings": compared(findings),
        "dropouts": missed(findings.dropouts) if findings.dropouts else None,
        "warnings": findings.inspection.warnings,
        "defaults": defaults(findings),
        "materials": materials(scene),
        "methods": METHODS,
        "first_caution": FIRST,
        "cautions": CAUTIONS,
    }
    text: str = _template().render(context)
    return harmless_xml(text.lstrip())  # a file name, or a log, may hold what is no letter


@cache
def _file(name: str) -> str:
    from importlib.resources import files  # noqa: PLC0415  with the page only

    return files("survey.output").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def _template() -> Any:  # noqa: ANN401  jinja2 is loaded here only
    from jinja2 import DictLoader, Environment, StrictUndefined  # noqa: PLC0415  heavy

    environment = Environment(
        loader=DictLoader({"report.html": _file("report.html"), "report_map.svg": _file("report_map.svg")}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html")
