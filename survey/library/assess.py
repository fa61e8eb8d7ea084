"""What a site needs: its plan checked, its log sorted by cause, its links counted, as `survey rounds` does for many."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from survey.base.errors import SurveyError, SurveyWarning, one_line
from survey.base.layout import counted
from survey.budget import STATES
from survey.decisions.inspection import inspect
from survey.decisions.remedies import joint_remedies
from survey.fleet import (
    IN_ORDER,
    LONGER_LOG,
    VISIT,
    Assessment,
    Change,
    LinkCount,
    LogSpan,
    Site,
    site_of,
)
from survey.fleet.files import copies
from survey.inputs.csv_files import read_table
from survey.library.dropouts import read_log
from survey.library.findings import days_of, findings_of
from survey.library.fit import fit as fit_of
from survey.library.sites import read_plan, scene_from, warn
from survey.measured.dropouts import UNKNOWN, Dropouts
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.answers.dropouts import odd_inverters
from survey.routing import network_of
from survey.scene import Scene

MIN_DAYS = 4.0
"""A log shorter than this shows no habit of light, so that it clears no site (docs/dropouts.md). [day]"""
MAX_WARNINGS = 20
"""Warnings of a site that are listed: a judgement, for the size of results."""


def assess(site: Site | Mapping[str, Any]) -> Assessment:
    """Work out what a site needs.

    Parameters
    ----------
    site : Site or mapping
        Its name (``site``), its ``plan`` and, where it has them, ``log``, ``readings``, ``fit`` and ``branch``: each a
        path, or an address that fsspec knows.

    Returns
    -------
    Assessment
        It can be pickled, like the site; `to_dict` gives what `survey rounds --json` prints.

    Raises
    ------
    SurveyError
        Where a file of the site cannot be used; `survey rounds` tells it and goes on.
    """
    site = site_of(site)
    with warnings.catch_warnings(record=True) as told, copies(site) as paths:
        warnings.simplefilter("always", SurveyWarning)
        shown = {str(path): getattr(site, key) for key, path in paths.items()}
        try:
            found = _assessed(site, paths)
        except SurveyError as error:
            raise SurveyError(_as_named(str(error), shown)) from None
    notes = [str(one.message) for one in told if issubclass(one.category, SurveyWarning)]
    listed = [_as_named(one_line(note), shown) for note in [*notes, *found.warnings]]
    return replace(found, warnings=tuple(listed[:MAX_WARNINGS]))


def _as_named(text: str, shown: Mapping[str, str]) -> str:
    """Return a message with the names that the table has, in place of the paths that were read."""
    for path, name in shown.items():
        text = text.replace(path, name)
    return text


def _assessed(site: Site, paths: Mapping[str, Path]) -> Assessment:
    scene = _scene_of(site, paths)
    base = Assessment(
        site=site,
        state=LONGER_LOG,
        inverters=len(scene.inverters),
        warnings=inspect(scene).warnings,
        links=_links_of(scene),
    )
    if "log" not in paths:
        return replace(base, reason=_without_log(base.links))
    found = dropouts_of(scene, read_log(scene, paths["log"]))
    findings = findings_of(found)
    base = replace(base, logged=_span_of(found), findings=findings)
    if not findings:
        reason = _open_question(found)
        return replace(base, state=LONGER_LOG if reason else IN_ORDER, reason=reason)
    return replace(base, state=VISIT, change=_change_of(scene, found))


def _scene_of(site: Site, paths: Mapping[str, Path]) -> Scene:
    """Return the site ready for computing, with what readings have taught and the branches of their own file."""
    plan = read_plan(paths["plan"])
    if "fit" in paths and "readings" in paths:
        warn(f"{site.readings}: not used, since the table names a fit")
    fit = paths.get("fit") or (fit_of(plan, paths["readings"]) if "readings" in paths else None)
    scene = scene_from(plan, fit=fit)
    scene = replace(scene, plan=replace(scene.plan, file=site.plan))
    if "branch" in paths:
        table = read_table(paths["branch"], needed=("inverter", "branch"))
        branches = dict(zip(table.columns["inverter"], table.columns["branch"], strict=True))
        unknown = sorted(set(branches) - set(scene.inverters.names))
        if unknown:
            raise SurveyError(f'{site.branch}: no inverter is named "{unknown[0]}" in {site.plan}')
        ends = scene.inverters
        known = zip(ends.names, ends.branches, strict=True)
        scene = replace(
            scene, inverters=replace(ends, branches=tuple(branches.get(name, given) for name, given in known))
        )
    return scene


def _links_of(scene: Scene) -> LinkCount | None:
    """Count the routes to the existing gateways by state; None without a gateway."""
    if not len(scene.gateways):
        return None
    network = network_of(scene)
    fail, marginal, hold = (int((network.state == number).sum()) for number in range(len(STATES)))
    return LinkCount(gateways=tuple(scene.gateways.names), hold=hold, marginal=marginal, fail=fail)


def _without_log(links: LinkCount | None) -> str:
    if links is None:
        return "no log, and no gateway in the plan"
    return f"no log; links by the plan: hold {links.hold}, marginal {links.marginal}, fail {links.fail}"


def _span_of(found: Dropouts) -> LogSpan:
    log = found.log
    return LogSpan(
        first=log.stamp(log.time_s[0]),
        last=log.stamp(log.time_s[-1]),
        days=round(days_of(found), 3),
        polls=found.polls,
        missed=found.missed,
    )


def _open_question(found: Dropouts) -> str:
    """Say what a longer log would have to show, where no cause was found; nothing where the site is in order."""
    unclear = [one for one in found.findings if one.cause == UNKNOWN and len(one.steps) > 1]
    if unclear:
        names = tuple(name for one in unclear for name in one.inverters)
        return f"weak link or faulty unit: {', '.join(names)}"
    odd = odd_inverters(found)
    if odd:
        return f"no cause found for the missed polls of {', '.join(odd)}"
    if days_of(found) < MIN_DAYS:
        return f"the log has {days_of(found):.1f} days; it takes {MIN_DAYS:g} to show that nothing is wrong"
    if found.absent:
        return f"{counted(len(found.absent), 'inverter')} of the plan not in the log: {', '.join(found.absent)}"
    return ""


def _change_of(scene: Scene, found: Dropouts) -> Change | None:
    """Return the one change that makes most of the weak links hold; it is worked out only where a link is weak."""
    if not found.for_remedies:
        return None
    joint = joint_remedies(scene, found.for_remedies)
    if not joint.remedies:
        return None
    best = joint.remedies[0]
    return Change(
        action=best.remedy.action,
        kind=best.remedy.kind,
        links=len(joint.inverters),
        hold=len(best.hold),
        hold_today=len(joint.hold_today),
    )
