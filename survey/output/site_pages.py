"""Many sites as pages: one that puts them in order, and one for each site."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

from survey import __version__
from survey.fleet import Assessment, Order, SiteFinding, SitesTable, Together
from survey.output.answers.dropouts import CAUTION_WORDS, cause_words
from survey.output.answers.rounds import (
    KEY,
    change_words,
    count_words,
    inverter_words,
    link_words,
    together_words,
    visit_row,
)
from survey.output.report.cautions import CAUTIONS

NOT_PLAIN = re.compile(r"[^a-z0-9]+")
"""What the name of a page does not keep of the name of a site."""
MAX_LETTERS = 40
"""Letters of a site's name that the name of its page keeps; a judgement."""


def pages_of(sites: SitesTable, order: Order) -> Iterator[tuple[str, str]]:
    """Give the name and the text of each page, the one that links to all others last.

    Parameters
    ----------
    sites : SitesTable
        The table.
    order : Order
        What was found.

    Yields
    ------
    tuple of str and str
        The path in the folder, and HTML that needs no other file and no network. Names stand in it as text, whatever
        they look like.
    """
    groups = (order.only_together, order.longer_log, order.in_order, order.not_read)
    every = [*(one.assessment for one in order.visits), *(one for group in groups for one in group)]
    links = _names_of(sites, [one.site.name for one in every])
    findings = {one.assessment.site.name: one.findings for one in order.visits}
    shared: dict[str, list[Together]] = {}
    for one in order.together:
        for name in one.sites:
            shared.setdefault(name, []).append(one)
    for site in every:
        name = site.site.name
        yield links[name], _site_page(site, findings.get(name, ()), shared.get(name, []))
    yield "index.html", _index(sites, order, links)


def _names_of(sites: SitesTable, names: list[str]) -> dict[str, str]:
    """Return the file of each site: its row in the table, and what can be kept of its name."""
    rows = {site.name: row for row, site in enumerate(sites.sites, start=1)}
    wide = len(str(len(rows)))
    return {name: f"sites/{rows[name]:0{wide}d}-{_plain(name)}.html" for name in names}


def _plain(name: str) -> str:
    """Return the letters and digits of a name.

    Examples
    --------
    >>> _plain("Thistle End / farm"), _plain("../..")
    ('thistle-end-farm', 'site')
    """
    return NOT_PLAIN.sub("-", name.casefold()).strip("-")[:MAX_LETTERS] or "site"


def _index(sites: SitesTable, order: Order, links: dict[str, str]) -> str:
    first = order.visits[0] if order.visits else None
    answer = f"Visit first: {first.assessment.site.name}" if first else "No site needs a visit"
    refused = [
        (row.site or row.place, "", f"{row.place}: {row.problem}" if row.site else row.problem) for row in sites.refused
    ]
    named = [
        ("Shared cause only", order.only_together, []),
        ("A log, or a longer one, is needed", order.longer_log, []),
        ("Could not be read", order.not_read, refused),
        ("In order", order.in_order, []),
    ]
    others = [
        (heading, [*((one.site.name, links[one.site.name], one.reason) for one in group), *more])
        for heading, group, more in named
    ]
    return _rendered(
        "rounds.html",
        title=f"Rounds: {sites.file}",
        stamp=f"survey {__version__}",
        answer=answer,
        counts=count_words(sites, order),
        together=[
            {
                "words": together_words(one),
                "step": one.next[0],
                "bring": one.bring,
                "sites": [(name, links[name]) for name in one.sites],
            }
            for one in order.together
        ],
        visits=[
            (
                links[one.assessment.site.name],
                [*visit_row(rank, one)[:-1], "; ".join(one.bring)],
                one.findings[0].next[0],
            )
            for rank, one in enumerate(order.visits, start=1)
        ],
        key=KEY,
        others=[(heading, rows) for heading, rows in others if rows],
        caution=CAUTION_WORDS,
    )


def _site_page(one: Assessment, findings: tuple[SiteFinding, ...], shared: list[Together]) -> str:
    first = findings[0] if findings else None
    answer = f"{cause_words(first.cause)}: {inverter_words(first, wide=60)}" if first else one.reason or one.state
    logged = one.logged
    facts = [
        ("Plan", one.site.plan),
        ("Inverters", str(one.inverters) if one.inverters else ""),
        ("Log", f"{one.site.log}, {logged.first} to {logged.last}" if logged else one.site.log),
        ("Daytime polls", f"{logged.polls}, missed {logged.missed}" if logged else ""),
        ("Links by the plan", link_words(one)),
        ("Best change", change_words(one)),
        ("Readings", one.site.readings),
        ("Fit", one.site.fit),
        ("Branch", one.site.branch),
        ("In full", f"survey dropouts {one.site.plan} {one.site.log}" if logged else ""),
    ]
    return _rendered(
        "rounds_site.html",
        name=one.site.name,
        stamp=f"survey {__version__}; checksum {one.checksum[:12]}" if one.checksum else f"survey {__version__}",
        answer="shared cause only" if shared and not findings else answer,
        step=first.next[0] if first else "",
        bring="; ".join(dict.fromkeys(finding.bring for finding in findings)),
        shared=[together_words(group) for group in shared],
        findings=[_finding(finding) for finding in findings],
        facts=[(label, fact) for label, fact in facts if fact],
        warnings=one.warnings,
        caution=CAUTION_WORDS,
        cautions=CAUTIONS,
    )


def _finding(one: SiteFinding) -> dict[str, Any]:
    return {
        "title": f"{cause_words(one.cause)}, {one.subject}" if one.subject else cause_words(one.cause),
        "inverters": ", ".join(one.inverters),
        "missed": f"{one.missed}, {one.missed_per_day:.1f} a day; {one.first} to {one.last}".replace("T", " "),
        "certain": f"{100 * one.certainty:.0f} %",
        "bring": one.bring,
        "evidence": one.evidence,
        "steps": one.next,
    }


def _rendered(template: str, /, **context: Any) -> str:  # noqa: ANN401  what a template takes
    text: str = _templates().get_template(template).render(style=_file("report.css"), **context)
    return text


@cache
def _file(name: str) -> str:
    from importlib.resources import files  # noqa: PLC0415  with the pages only

    return files("survey.output").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def _templates() -> Any:  # noqa: ANN401  jinja2 is loaded here only
    from jinja2 import DictLoader, Environment, StrictUndefined  # noqa: PLC0415  heavy

    names = ("rounds.html", "rounds_site.html")
    return Environment(
        loader=DictLoader({name: _file(name) for name in names}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
