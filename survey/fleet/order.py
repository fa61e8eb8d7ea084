"""Which site first: by what a visit brings, with causes that many sites share set apart."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from survey.fleet.site import IN_ORDER, LONGER_LOG, NOT_READ, VISIT, Assessment, Outage, SiteFinding

HOUR_S, DAY_S = 3_600, 86_400
"""What counts as the same time, and a day. [s]"""
MIN_SITES = 5
"""Fewer sites with one cause at one hour may be an accident, and are soon read one by one. A judgement."""
CHANCE = 1e-6
"""So many sites at one hour are no accident if it is less likely than this: once in a century of hours. A choice."""
BACKGROUND = 0.1
"""Outages an hour that are expected where no other hour shows any: one in a working day. An assumption."""
LIGHT_SHARE = 0.5
"""Daylight of a year, over all hours: outages show by day only. [-]"""
MIN_LEFT = 0.2
"""A finding goes with the shared one if less than this share of its missed polls remains. A judgement. [-]"""


@dataclass(frozen=True, kw_only=True)
class Together:
    """One cause that began at one hour on many sites.

    Attributes
    ----------
    cause : str
        The cause.
    begin_s, end_s : int
        When it began at the first site and ended at the last one, in seconds since 1970.
    sites : tuple of str
        Those that it strikes, in the order of the table.
    inverters, missed : int
        Those that it strikes at all these sites, and the polls that they missed.
    certainty : float
        As in `SiteFinding`.
    bring : str
        What a van would need.
    next : tuple of str
        Next steps.
    """

    cause: str
    begin_s: int
    end_s: int
    sites: tuple[str, ...]
    inverters: int
    missed: int
    certainty: float
    bring: str
    next: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Visit:
    """A site that needs a visit: its findings without those shared with other sites, and what a visit brings."""

    assessment: Assessment
    findings: tuple[SiteFinding, ...]

    @property
    def value(self) -> float:
        """Missed polls a day that its findings explain, each times how certain it is."""
        return sum(one.value for one in self.findings)

    @property
    def bring(self) -> tuple[str, ...]:
        """What to have in the van for all its findings, each thing once."""
        return tuple(dict.fromkeys(one.bring for one in self.findings))


@dataclass(frozen=True, kw_only=True)
class Order:
    """All sites: shared causes, visits in their order, and the rest in the order of the table."""

    together: tuple[Together, ...]
    visits: tuple[Visit, ...]
    only_together: tuple[Assessment, ...]
    longer_log: tuple[Assessment, ...]
    in_order: tuple[Assessment, ...]
    not_read: tuple[Assessment, ...]


def order_of(results: Sequence[Assessment]) -> Order:
    """Put sites in the order of what a visit brings.

    Parameters
    ----------
    results : sequence of Assessment
        One for each site.

    Returns
    -------
    Order
        Sites whose visit brings the same stand in the order of their names.
    """
    together, shared = _together(results)
    visits, only = [], []
    for one in results:
        if one.state != VISIT:
            continue
        left = [_left(finding, shared[one.site.name, k]) for k, finding in enumerate(one.findings)]
        findings = sorted((finding for finding in left if finding is not None), key=lambda finding: -finding.value)
        if findings:
            visits.append(Visit(assessment=one, findings=tuple(findings)))
        else:
            only.append(one)

    def of(state: str) -> tuple[Assessment, ...]:
        return tuple(one for one in results if one.state == state)

    return Order(
        together=together,
        visits=tuple(sorted(visits, key=lambda one: (-one.value, one.assessment.site.name))),
        only_together=tuple(only),
        longer_log=of(LONGER_LOG),
        in_order=of(IN_ORDER),
        not_read=of(NOT_READ),
    )


@dataclass(frozen=True, kw_only=True)
class _Begin:
    """An outage of one finding of one site."""

    site: str
    number: int
    finding: SiteFinding
    outage: Outage


def _together(results: Iterable[Assessment]) -> tuple[tuple[Together, ...], dict[tuple[str, int], set[Outage]]]:
    """Find causes that begin on many sites within an hour; and which outages of each site's findings they are."""
    by_cause: dict[str, list[_Begin]] = defaultdict(list)
    place = {}
    for row, result in enumerate(results):
        name = result.site.name
        place[name] = row
        for k, finding in enumerate(result.findings):
            by_cause[finding.cause] += [
                _Begin(site=name, number=k, finding=finding, outage=outage) for outage in finding.outages
            ]
    found, shared = [], defaultdict[tuple[str, int], set[Outage]](set)
    for begins in by_cause.values():
        for group in _groups(sorted(begins, key=lambda one: one.outage.begin_s)):
            for begin in group:
                shared[begin.site, begin.number].add(begin.outage)
            found.append(_one_of(group, place))
    return tuple(sorted(found, key=lambda one: -one.missed)), shared


def _groups(begins: list[_Begin]) -> list[list[_Begin]]:
    """Cut the fullest hours out of the begins of one cause, until what is left may be an accident."""
    hours = Counter(one.outage.begin_s // HOUR_S for one in begins)
    groups: list[list[_Begin]] = []
    while True:
        best = _fullest(begins)
        sites = {one.site for one in best}
        if len(sites) < MIN_SITES or _tail(len(sites), _expected(best, hours)) > CHANCE:
            return groups
        groups.append(best)
        taken = {id(one) for one in best}
        begins = [one for one in begins if id(one) not in taken]


def _fullest(begins: list[_Begin]) -> list[_Begin]:
    """Return the begins of the hour with the most sites; begins are sorted by time."""
    best, first, sites = (0, 0, 0), 0, Counter[str]()
    for last, one in enumerate(begins):
        sites[one.site] += 1
        while one.outage.begin_s - begins[first].outage.begin_s > HOUR_S:
            sites[begins[first].site] -= 1
            sites += Counter()  # drops those that have none left
            first += 1
        if len(sites) > best[0]:
            best = (len(sites), first, last + 1)
    return begins[best[1] : best[2]]


def _expected(group: list[_Begin], hours: Counter[int]) -> float:
    """How many begins an hour such as this one has on other days: outages of the night show at dawn."""
    own = {one.outage.begin_s // HOUR_S for one in group}
    own |= {hour + step for hour in own for step in (-1, 1)}
    days = {hour * HOUR_S // DAY_S for hour in hours}
    at_hour = {hour % 24 for hour in own}
    others = sum(count for hour, count in hours.items() if hour not in own)
    alike = sum(count for hour, count in hours.items() if hour not in own and hour % 24 in at_hour)
    light = LIGHT_SHARE * (max(hours) - min(hours) + 1)
    return max(BACKGROUND, others / light, alike / max(1, len(days) - 1))


def _tail(count: int, expected: float) -> float:
    """Return the chance of so many or more, by Poisson's law.

    Examples
    --------
    >>> round(_tail(3, 1.0), 4)  # 1 - exp(-1) (1 + 1 + 1/2)
    0.0803
    """
    if count <= expected:
        return 1.0
    term = math.exp(count * math.log(expected) - expected - math.lgamma(count + 1))
    total, k = 0.0, count
    while term > total * 1e-12 and term > 0.0:
        total += term
        k += 1
        term *= expected / k
    return min(1.0, total)


def _one_of(group: list[_Begin], place: dict[str, int]) -> Together:
    sites = tuple(sorted({one.site for one in group}, key=place.__getitem__))
    inverters = {(one.site, name) for one in group for name in one.finding.inverters}
    first = max(group, key=lambda one: one.outage.missed).finding
    return Together(
        cause=first.cause,
        begin_s=min(one.outage.begin_s for one in group),
        end_s=max(one.outage.end_s for one in group),
        sites=sites,
        inverters=len(inverters),
        missed=sum(one.outage.missed for one in group),
        certainty=first.certainty,
        bring=first.bring,
        next=first.next,
    )


def _left(finding: SiteFinding, shared: set[Outage]) -> SiteFinding | None:
    """Return what is left of a finding without the outages that other sites share; None for nothing."""
    if not shared:
        return finding
    share = 1.0 - sum(one.missed for one in shared) / max(1, finding.missed)
    if share < MIN_LEFT:
        return None
    return replace(
        finding,
        missed=round(finding.missed * share),
        missed_per_day=round(finding.missed_per_day * share, 6),
        outages=tuple(one for one in finding.outages if one not in shared),
    )
