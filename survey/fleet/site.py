"""A site among many, and what is found there: plain values that can be pickled, sent and kept as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from survey.base.errors import SurveyError, did_you_mean

VISIT = "visit"
LONGER_LOG = "longer log"
IN_ORDER = "in order"
NOT_READ = "not read"
FILES = ("plan", "log", "readings", "fit", "branch")
"""What a table may name for a site, beside its name."""
REMOTE = "://"
"""What tells the address of a file system from the path of a file."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """A site by its name and its files; each is a path, or an address that fsspec knows such as ``s3://...``.

    Attributes
    ----------
    name : str
        Its name in the table.
    plan, log, readings, fit : str
        Its files; empty where there is none.
    branch : str
        A CSV file with the supply branch of each inverter; any other text, such as the office that looks after the
        site, is only repeated in the results.
    base : str
        The folder that relative paths are read from; the working folder where it is empty.
    """

    name: str
    plan: str
    log: str = ""
    readings: str = ""
    fit: str = ""
    branch: str = ""
    base: str = ""

    @property
    def branch_file(self) -> str:
        """The file with supply branches, if the branch names one."""
        return self.branch if self.branch.casefold().endswith(".csv") else ""


@dataclass(frozen=True, kw_only=True)
class Outage:
    """A run of missed polls with one cause: from when to when, in seconds since 1970, and how many polls."""

    begin_s: int
    end_s: int
    missed: int


@dataclass(frozen=True, kw_only=True)
class SiteFinding:
    """A cause of missed polls at a site, and what a visit would need.

    Attributes
    ----------
    cause, subject : str
        As `survey dropouts --json` has them.
    inverters : tuple of str
        Those that the cause strikes.
    missed : int
        Polls that the cause explains.
    missed_per_day : float
        The same a day: of the log, or since the cause began where it still lasts.
    certainty : float
        Share of invented logs with this cause found first in which it was right. [-]
    bring : str
        What the van needs.
    next : tuple of str
        Next steps, in order.
    evidence, first, last : str
        What shows the cause, and its first and last missed poll by the site's clock.
    outages : tuple of Outage
        Runs of missed polls, by universal time if the log has a zone; none where the cause lasts from the log's start.
    """

    cause: str
    subject: str = ""
    inverters: tuple[str, ...]
    missed: int
    missed_per_day: float
    certainty: float
    bring: str
    next: tuple[str, ...]
    evidence: str
    first: str
    last: str
    outages: tuple[Outage, ...] = ()

    @property
    def value(self) -> float:
        """What a visit brings: missed polls a day that the cause explains, times how certain it is."""
        return self.missed_per_day * self.certainty


@dataclass(frozen=True, kw_only=True)
class LinkCount:
    """Routes to the existing gateways by state, as the plan predicts them."""

    gateways: tuple[str, ...]
    hold: int
    marginal: int
    fail: int


@dataclass(frozen=True, kw_only=True)
class LogSpan:
    """A log: from when to when, its length, and its daytime polls."""

    first: str
    last: str
    days: float
    polls: int
    missed: int


@dataclass(frozen=True, kw_only=True)
class Change:
    """The one change that helps most weak links: of `links` links `hold` hold after it, and `hold_today` before."""

    action: str
    kind: str
    links: int
    hold: int
    hold_today: int


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """What is found at a site.

    Attributes
    ----------
    site : Site
        The site.
    state : str
        `VISIT`, `LONGER_LOG`, `IN_ORDER` or `NOT_READ`.
    reason : str
        Why it could not be read, or why a longer log is needed; else empty.
    inverters : int
        How many its plan has.
    warnings : tuple of str
        What looks like a mistake in plan, log or fit.
    links, logged : LinkCount, LogSpan or None
        Its links and what its log spans, where it has them.
    findings : tuple of SiteFinding
        Causes that need work, the most valuable first.
    change : Change or None
        What helps most weak links, where there are any.
    checksum : str
        Of its files and the version of the program; empty where the result is not to be used again.
    """

    site: Site
    state: str
    reason: str = ""
    inverters: int = 0
    warnings: tuple[str, ...] = ()
    links: LinkCount | None = None
    logged: LogSpan | None = None
    findings: tuple[SiteFinding, ...] = ()
    change: Change | None = None
    checksum: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON has it."""
        record = asdict(self)
        site = record.pop("site")
        site.pop("base")
        for finding, one in zip(record["findings"], self.findings, strict=True):
            finding["value"] = round(one.value, 6)
        named = {"site": site.pop("name"), **{key: value or None for key, value in site.items()}}
        return {**named, **record, "reason": self.reason or None}

    @classmethod
    def from_dict(cls, record: Mapping[str, Any]) -> Assessment:
        """Make it from its JSON.

        Raises
        ------
        KeyError, TypeError
            Where the record is none of this program.
        """
        values = dict(record)
        site = Site(name=values.pop("site"), **{key: values.pop(key) or "" for key in FILES})
        values["reason"] = values["reason"] or ""
        values["warnings"] = tuple(values["warnings"])
        if values["links"]:
            values["links"] = LinkCount(**{**values["links"], "gateways": tuple(values["links"]["gateways"])})
        values["logged"] = LogSpan(**values["logged"]) if values["logged"] else None
        values["change"] = Change(**values["change"]) if values["change"] else None
        values["findings"] = tuple(_finding(one) for one in values["findings"])
        return cls(site=site, **values)


def _finding(record: Mapping[str, Any]) -> SiteFinding:
    values: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in record.items()}
    values.pop("value")
    values["outages"] = tuple(Outage(**one) for one in record["outages"])
    return SiteFinding(**values)


def site_of(site: Site | Mapping[str, Any]) -> Site:
    """Return a site, made of a mapping with the names of a table's columns where it is one.

    Raises
    ------
    SurveyError
        Where a key is unknown, or name or plan is missing.
    """
    if isinstance(site, Site):
        return site
    allowed = ("site", *FILES)
    for key in site:
        if key not in allowed:
            raise SurveyError(f"{key}: no such key{did_you_mean(key, allowed)}; allowed: {', '.join(allowed)}")
    for key in ("site", "plan"):
        if not site.get(key):
            raise SurveyError(f"{key}: is missing; a site needs its name (site) and its plan")
    known = {one.name for one in fields(Site)}
    values = {key: str(value) for key, value in site.items() if key in known and value}
    return Site(name=str(site["site"]), **values)
