"""Many sites in order: the first visits, shared causes, then all others; as text, JSON and CSV."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from survey.base.layout import Column, counted, labelled, listed, names_within, paragraphs, table, wrapped
from survey.fleet import Assessment, Order, SiteFinding, SitesTable, Together, Visit
from survey.output.answers.dropouts import CAUTION_WORDS, cause_words
from survey.output.answers.values import Record, csv_text, plain

DETAILS = 3
"""Visits that are told in full before the table: the morning of one van. A judgement."""
MAX_NAMES = 6
"""Sites or inverters that one line names; a judgement."""
COLUMNS = [
    Column("rank"),
    Column("site", text=True),
    Column("cause", text=True),
    Column("inverters", text=True, yields=True),
    Column("missed\na day"),
    Column("certain\n%"),
    Column("bring", text=True),
]
CSV_COLUMNS = (
    "rank",
    "site",
    "state",
    "cause",
    "subject",
    "inverters",
    "missed_per_day",
    "certainty",
    "value",
    "bring",
    "next",
    "change",
    "links_hold",
    "links_marginal",
    "links_fail",
    "shared_cause",
    "reason",
    "plan",
    "log",
    "branch",
)
KEY = (
    "Missed a day: daytime polls a day that the cause explains. Certain: of invented logs with this cause found first, "
    "the share in which it was right. The order is the product, summed over the causes of a site."
)


def rounds_text(sites: SitesTable, order: Order, *, reused: int = 0, top: int = 20) -> str:
    """Return the answer first: shared causes and the first visits; then all visits in a table, and the other sites.

    Parameters
    ----------
    sites : SitesTable
        The table.
    order : Order
        What was found.
    reused : int
        How many sites have not changed since the last run.
    top : int
        Rows of the table of visits.
    """
    shown = order.visits[:top]
    more = len(order.visits) - len(shown)
    rows = [visit_row(rank, one) for rank, one in enumerate(shown, start=1)]
    visits = "Visits, the most valuable first\n" + table(COLUMNS, rows) if rows else ""
    visits += f"\n{more} more visits: --top {len(order.visits)} shows all" if more else ""
    visits += "\n" + wrapped(KEY) if rows else ""
    return paragraphs(
        wrapped(count_words(sites, order, reused=reused)),
        *(_together(one) for one in order.together),
        *(_details(rank, one) for rank, one in enumerate(order.visits[:DETAILS], start=1)),
        visits,
        _reasons("A log, or a longer one, is needed", order.longer_log),
        _not_read(sites, order),
        _in_order(order.in_order),
        wrapped(CAUTION_WORDS) if order.visits or order.together else "",
    )


def count_words(sites: SitesTable, order: Order, *, reused: int = 0) -> str:
    """Return how many sites are in each state."""
    counts = [
        ("visit", len(order.visits)),
        ("shared cause only", len(order.only_together)),
        ("longer log", len(order.longer_log)),
        ("in order", len(order.in_order)),
        ("not read", len(order.not_read) + len(sites.refused)),
    ]
    words = ", ".join(f"{name} {count}" for name, count in counts)
    return f"{sites.file}, {counted(len(sites), 'site')}: {words}" + (f" (unchanged: {reused})" if reused else "")


def visit_row(rank: int, visit: Visit) -> list[str]:
    """Return a visit under `COLUMNS`: its first cause and the first thing to bring, and how many more."""
    first = visit.findings[0]
    more = f" +{len(visit.findings) - 1}" if len(visit.findings) > 1 else ""
    a_day = sum(one.missed_per_day for one in visit.findings)
    return [
        str(rank),
        visit.assessment.site.name,
        cause_words(first.cause) + more,
        inverter_words(first, wide=24),
        f"{a_day:.1f}",
        f"{100 * first.certainty:.0f}",
        visit.bring[0] + (f" +{len(visit.bring) - 1}" if len(visit.bring) > 1 else ""),
    ]


def inverter_words(finding: SiteFinding, *, wide: int) -> str:
    """Return the subject of a cause with the number of its inverters, or their names."""
    if finding.subject:
        return f"{finding.subject}: {len(finding.inverters)}"
    return names_within(finding.inverters, wide)


def stamp_words(seconds: int) -> str:
    """Return a time, by universal time or, where logs have no zone, by their own clocks.

    Examples
    --------
    >>> stamp_words(86_400)
    '1970-01-02 00:00'
    """
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d %H:%M")


def together_words(one: Together) -> str:
    """Return a shared cause in one line."""
    return (
        f"{cause_words(one.cause)} on {counted(len(one.sites), 'site')} from {stamp_words(one.begin_s)} to "
        f"{stamp_words(one.end_s)}: {counted(one.inverters, 'inverter')}, {counted(one.missed, 'missed poll')}"
    )


def change_words(one: Assessment) -> str:
    """Return the change that helps most weak links, with what it does; nothing where there is none."""
    change = one.change
    if change is None:
        return ""
    return f"{change.action}: {change.hold} of {counted(change.links, 'weak link')} hold (today {change.hold_today})"


def link_words(one: Assessment) -> str:
    """Return how many links the plan predicts in each state; nothing without a gateway."""
    links = one.links
    return f"hold {links.hold}, marginal {links.marginal}, fail {links.fail}" if links else ""


def _together(one: Together) -> str:
    head = wrapped(f"Shared cause: {together_words(one)}")
    facts = [("Next step", one.next[0]), ("Bring", one.bring), ("Sites", listed(one.sites, MAX_NAMES))]
    return "\n".join([head, *labelled(facts)])


def _details(rank: int, visit: Visit) -> str:
    first, one = visit.findings[0], visit.assessment
    subject = f", {first.subject}" if first.subject else ""
    head = wrapped(f"Visit {rank}: {one.site.name}: {cause_words(first.cause)}{subject}")
    others = [cause_words(other.cause) for other in visit.findings[1:]]
    facts = [
        ("Next step", first.next[0]),
        ("Bring", "; ".join(visit.bring)),
        ("Inverters", listed(first.inverters, MAX_NAMES)),
        ("Because", first.evidence),
        ("Also", listed(others, MAX_NAMES)),
        ("Best change", change_words(one)),
        ("Links", link_words(one)),
        ("More", f"survey dropouts {one.site.plan} {one.site.log}" if one.site.log else ""),
    ]
    return "\n".join([head, *labelled(facts)])


def _reasons(title: str, sites: Sequence[Assessment]) -> str:
    if not sites:
        return ""
    return "\n".join(
        [f"{title}: {counted(len(sites), 'site')}", *_lines([(one.site.name, one.reason) for one in sites])]
    )


def _not_read(sites: SitesTable, order: Order) -> str:
    rows = [(f"{row.place}, {row.site}" if row.site else row.place, row.problem) for row in sites.refused]
    rows += [(f"{sites.places[one.site.name]}, {one.site.name}", one.reason) for one in order.not_read]
    return "\n".join([f"Could not be read: {counted(len(rows), 'site')}", *_lines(rows)]) if rows else ""


def _lines(rows: Sequence[tuple[str, str]]) -> list[str]:
    return [wrapped(f"{name}: {reason}", indent="  ") for name, reason in rows]


def _in_order(sites: Sequence[Assessment]) -> str:
    names = [one.site.name for one in sites]
    return wrapped(f"In order: {listed(names, MAX_NAMES)}") if names else ""


def rounds_record(sites: SitesTable, order: Order, *, reused: int = 0) -> Record:
    """Return all sites, for scripts."""
    shared = {name: k for k, one in enumerate(order.together) for name in one.sites}

    def listed_records(of: Sequence[Assessment]) -> list[Record]:
        return [{**one.to_dict(), "shared_cause": shared.get(one.site.name)} for one in of]

    return {
        "table": sites.file,
        "sites": len(sites),
        "unchanged": reused,
        "shared_causes": [
            {
                "cause": one.cause,
                "begin": stamp_words(one.begin_s),
                "end": stamp_words(one.end_s),
                "sites": list(one.sites),
                "inverters": one.inverters,
                "missed": one.missed,
                "certainty": plain(one.certainty),
                "bring": one.bring,
                "next": list(one.next),
            }
            for one in order.together
        ],
        "visits": [
            {
                "rank": rank,
                "value": plain(one.value),
                **one.assessment.to_dict(),
                "findings": [
                    {**finding, "value": plain(kept.value)}
                    for kept, finding in zip(one.findings, _kept(one), strict=True)
                ],
                "shared_cause": shared.get(one.assessment.site.name),
            }
            for rank, one in enumerate(order.visits, start=1)
        ],
        "shared_only": listed_records(order.only_together),
        "longer_log": listed_records(order.longer_log),
        "in_order": listed_records(order.in_order),
        "not_read": [
            *({"site": row.site or None, "place": row.place, "reason": row.problem} for row in sites.refused),
            *(
                {"site": one.site.name, "place": sites.places[one.site.name], "reason": one.reason}
                for one in order.not_read
            ),
        ],
    }


def _kept(visit: Visit) -> list[dict[str, Any]]:
    """Return the findings of a visit as records, without what other sites share."""
    from dataclasses import replace  # noqa: PLC0415  for JSON only

    found: list[dict[str, Any]] = replace(visit.assessment, findings=visit.findings).to_dict()["findings"]
    return found


def rounds_csv(sites: SitesTable, order: Order) -> str:
    """Return a row a site, visits first, under `CSV_COLUMNS`."""
    shared = {name: cause_words(one.cause) for one in order.together for name in one.sites}
    rows = [_cells(visit.assessment, visit, shared, rank=rank) for rank, visit in enumerate(order.visits, start=1)]
    for group in (order.only_together, order.longer_log, order.in_order, order.not_read):
        rows += [_cells(one, None, shared) for one in group]
    rows += [
        [None, row.site, "not read", *[None] * 13, f"{row.place}: {row.problem}", *[None] * 3] for row in sites.refused
    ]
    return csv_text(CSV_COLUMNS, rows)


def _cells(
    one: Assessment,
    visit: Visit | None,
    shared: dict[str, str],
    *,
    rank: int | None = None,
) -> list[Any]:
    cause: list[Any] = [None] * 8
    if visit is not None:
        first = visit.findings[0]
        cause = [cause_words(first.cause), first.subject, first.inverters, first.missed_per_day, first.certainty]
        cause += [visit.value, "; ".join(visit.bring), first.next[0]]
    links: list[Any] = [one.links.hold, one.links.marginal, one.links.fail] if one.links else [None] * 3
    name = one.site.name
    return [
        rank,
        name,
        one.state,
        *cause,
        change_words(one),
        *links,
        shared.get(name, ""),
        one.reason,
        one.site.plan,
        one.site.log,
        one.site.branch,
    ]
