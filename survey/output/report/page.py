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
from survey.output.map.legend import PLACE_WORDS
from survey.output.report.cautions import CAUTIONS, FIRST
from survey.output.report.field import field_under
from survey.output.report.findings import Findings
from survey.output.report.missed import missed
from survey.output.report.pictures import profile
from survey.output.report.readings import compared
from survey.output.report.rows import mended, remedy_cautions, rows_of
from survey.output.report.sections import METHODS, about_words, asked, defaults, materials, recommended, today_words
from survey.output.report.site_map import site_map
from survey.scene import Scene

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
    script = "\n".join(['"use strict";', file_of("report_zoom.js"), file_of("report.js")])
    scene, network = findings.scene, findings.network
    advised = findings.placement.network.links.gateways.names if findings.placement else ()
    site = site_map(scene, network, advised=advised)
    context: dict[str, Any] = {
        **common(scene, stamp),
        "script": script,
        "script_hash": base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        "links": links_to(findings),
        "asked": asked(scene, findings.options),
        "answer": recommended(findings.placement) if findings.placement else None,
        "about": about_words(findings),
        "about_is": findings.about,
        "gateways": network.links.gateways.names,
        "relays": bool(scene.plan.requirement.max_relays),
        "tally": route_tally(network),
        "today": today_words(findings.today) if findings.today else "",
        "map": site,
        "before": site_map(scene, findings.today) if findings.today and findings.about == "recommended" else None,
        "field": field_under(site, network.links.gateways),
        "profile": profile(network.links, findings.explained.inverters[0].route)
        if findings.explained.inverters
        else None,
        "rows": rows_of(findings),
        "without_room": bool(network.over_capacity),
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
    return rendered("report.html", context)


def links_to(findings: Findings) -> list[tuple[str, str]]:
    """Return each section of the page with the words of the link to it."""
    links = [
        ("answer", "answer"),
        ("next", "next steps"),
        ("links", "all inverters"),
        ("before", "before and after" if findings.today and findings.about == "recommended" else ""),
        ("sure", "certainty" if findings.placement else ""),
        ("coverage", "coverage"),
        ("weakest", "weakest links"),
        ("readings", "readings" if findings.fitted else ""),
        ("dropouts", "missed polls" if findings.dropouts else ""),
        ("asked", "task"),
        ("assumed", "assumptions"),
        ("cautions", "cautions"),
        ("every", "link budgets"),
    ]
    return [(section, words) for section, words in links if words]


def common(scene: Scene, stamp: Stamp) -> dict[str, Any]:
    """Return what every kind of page says of its plan."""
    name, day, version = scene.plan.site.name, stamp.date, stamp.version
    return {
        "plan": scene.plan,
        "stamp": stamp,
        "stamp_words": f"Radio survey. Plan {scene.plan.file}, checksum {stamp.checksum}; survey {version}; {day}",
        "style": file_of("report.css"),
        "css_name": css_string(name),
        "css_stamp": css_string(f"plan checksum {stamp.checksum}; {day}"),
        "states": STATES,
        "place_words": PLACE_WORDS,
        "no_room": NO_ROOM,
    }


def css_string(text: str) -> str:
    r"""Return text as a string of CSS that nothing in it can end.

    Examples
    --------
    >>> print(css_string('Mill "A"'))
    "Mill \22 A\22 "
    """
    return '"' + "".join(one if one.isalnum() or one == " " else f"\\{ord(one):x} " for one in text) + '"'


def rendered(template: str, context: dict[str, Any]) -> str:
    """Return a template with its values filled in."""
    text: str = _environment().get_template(template).render(context)
    return harmless_xml(text.lstrip())  # a file name, or a log, may hold what is no letter


@cache
def file_of(name: str) -> str:
    """Return the text of a template, style or script."""
    from importlib.resources import files  # noqa: PLC0415  with the page only

    return files("survey.output").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def _environment() -> Any:  # noqa: ANN401  jinja2 is loaded here only
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # noqa: PLC0415  heavy

    return Environment(
        loader=FunctionLoader(file_of),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
