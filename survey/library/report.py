"""The page for the job file, as `survey report` writes it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from survey import __version__
from survey.base.limits import DRAWS, TIME_LIMIT_S
from survey.budget import Progress
from survey.inputs.plan import Plan
from survey.inputs.plan_file import read_plan_and_content
from survey.library.dropouts import read_log
from survey.library.fit import read_readings
from survey.library.place import placement_options, warn_of_capacity
from survey.library.sites import FitSource, Names, PlanSource, names_in, scene_from
from survey.output import report as pages


@dataclass(frozen=True, kw_only=True)
class Page:
    """The page for the job file.

    Attributes
    ----------
    findings : Findings
        All that was worked out for it.
    stamp : Stamp
        What ties it to its plan.
    """

    findings: pages.Findings
    stamp: pages.Stamp

    @property
    def plan(self) -> Plan:
        """The plan, with the requirements that were asked for."""
        return self.findings.scene.plan

    @cached_property
    def html(self) -> str:
        """The page: HTML that needs no other file and no network."""
        return pages.html_page(self.findings, self.stamp)

    @property
    def all_hold(self) -> bool:
        """Whether every inverter holds with the gateways that the page is about."""
        return self.findings.network.all_hold


def report(
    plan: PlanSource,
    *,
    gateway: Names = (),
    readings: str | Path | None = None,
    log: str | Path | None = None,
    dates: str | None = None,
    columns: Mapping[str, str] | None = None,
    date: dt.date | None = None,
    gateways: int | None = None,
    fewest: bool = False,
    spare: bool = False,
    time_limit_s: float = TIME_LIMIT_S,
    relays: int | None = None,
    fit: FitSource | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Progress | None = None,
) -> Page:
    """Work out the page for the job file.

    Parameters
    ----------
    plan : str, Path or Plan
        The plan. The page bears the checksum of the file; of a Plan, that of its fields in words.
    gateway : str or sequence of str
        Make map and table about these gateways or spots, not about the recommended ones.
    readings : str or Path, optional
        Set these measured levels (CSV) against the prediction.
    log : str or Path, optional
        Sort the missed polls of this log by likely cause.
    dates, columns
        Of the log, as for `survey.dropouts`.
    date : date, optional
        Of the page; today without it.
    gateways, fewest, spare, time_limit_s, relays, fit, draws, seed
        As for `survey.place`.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    Page

    Raises
    ------
    SurveyError
        As the command does.
    """
    options = placement_options(
        gateways=gateways, fewest=fewest, spare=spare, time_limit_s=time_limit_s, draws=draws, seed=seed
    )
    if isinstance(plan, Plan):
        content = repr(plan).encode()
    else:  # once: a pipe is empty afterwards, and a file may have changed
        plan, content = read_plan_and_content(Path(plan))
    scene = scene_from(plan, fit=fit, max_relays=relays, gateways=gateways)
    warn_of_capacity(scene, options)
    plain_scene = scene_from(plan) if fit is not None else scene
    given = pages.Given(
        gateways=names_in(gateway),
        plain_scene=plain_scene,
        readings=None if readings is None else read_readings(plain_scene, readings),
        log=None if log is None else read_log(scene, log, dates=dates, columns=columns),
    )
    found = pages.findings_of(scene, given, options=options, progress=progress)
    day = date or dt.datetime.now().astimezone().date()
    stamp = pages.Stamp(version=__version__, plan=content, date=day.isoformat())
    return Page(findings=found, stamp=stamp)
