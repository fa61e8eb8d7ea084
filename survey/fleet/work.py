"""The work on one site, the same on this machine and on a cluster: what has changed is assessed, within limits."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace

from survey.base.errors import SurveyError, one_line
from survey.base.limits import SITE_MEMORY_MB, SITE_TIME_S
from survey.fleet.files import checksum, size_of
from survey.fleet.site import NOT_READ, Assessment, Site

Assess = Callable[[Site], Assessment]
"""What works a site out."""
MEMORY_OF_LOG = 2.5
"""Memory that a log takes, over its size as a file: 2.1 for a log of 0.95 GB (docs/dropouts.md), rounded up."""
MAX_FAULTS = 3
"""Errors of a site's files that are told; its own command tells all. A judgement."""
MEGABYTE = 1_000_000
"""As files are measured. [byte]"""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What a site may take: time, and memory beyond what the program itself takes; zero for no limit."""

    time_s: float = SITE_TIME_S
    memory_mb: float = SITE_MEMORY_MB


@dataclass(frozen=True, kw_only=True)
class Task:
    """A site, and the checksum of its last result; empty where there is none to use."""

    site: Site
    known: str = ""


def outcome(assess: Assess, task: Task, limits: Limits) -> Assessment | None:
    """Assess a site; None where nothing has changed since its last result.

    Errors in its files, and faults of the program, become an assessment that says so.
    """
    site, sum_of_files = task.site, ""
    try:
        problem = _too_large(site, limits)
        if problem:
            return not_read(site, problem)
        sum_of_files = checksum(site)
        if task.known and task.known == sum_of_files:
            return None
        return replace(assess(site), checksum=sum_of_files)
    except SurveyError as error:  # the same files give the same errors, so this result can be used again
        lines = str(error).splitlines()
        more = [f"{len(lines) - MAX_FAULTS} more"] if len(lines) > MAX_FAULTS else []
        return not_read(site, one_line("; ".join([*lines[:MAX_FAULTS], *more])), checksum=sum_of_files)
    except MemoryError:
        return not_read(site, memory_words(limits))
    except Exception as error:  # noqa: BLE001  whatever breaks at a site stops no other
        place = traceback.extract_tb(error.__traceback__)[-1]
        words = f"{type(error).__name__} in {place.name}: {error}"
        return not_read(site, one_line(f"error of the program, please report it: {words}"))


def not_read(site: Site, reason: str, *, checksum: str = "") -> Assessment:
    """Return what is told of a site that could not be worked out."""
    return Assessment(site=site, state=NOT_READ, reason=reason, checksum=checksum)


def memory_words(limits: Limits) -> str:
    """Say that a site needs too much memory."""
    return f"needs more than {limits.memory_mb:g} MB of memory; give it more with --limit-mb"


def time_words(limits: Limits) -> str:
    """Say that a site takes too long."""
    return f"took longer than {limits.time_s:g} s and was stopped; give it more with --limit-s"


def _too_large(site: Site, limits: Limits) -> str:
    """Say which file needs more memory than a site may take, before it is read."""
    for name, size in size_of(site).items():
        needed_mb = MEMORY_OF_LOG * size / MEGABYTE
        if limits.memory_mb and needed_mb > limits.memory_mb:
            return (
                f"{name}: has {size / MEGABYTE:.0f} MB and needs some {needed_mb:.0f} MB of memory; the limit is "
                f"{limits.memory_mb:g} MB, give it more with --limit-mb"
            )
    return ""
