"""Many sites: which of them needs a visit, as `survey rounds` lists it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from survey.base.errors import Fault, TableError
from survey.base.limits import MAX_WORKERS, SITE_MEMORY_MB, SITE_TIME_S
from survey.budget import Progress
from survey.fleet import NOT_READ, Assessment, Limits, Order, SitesTable, order_of, read_sites
from survey.fleet.processes import Outcome, in_processes
from survey.fleet.store import Keeper, read_results
from survey.fleet.work import Task
from survey.library.assess import assess
from survey.library.sites import check_range, warn
from survey.output.answers.rounds import rounds_record
from survey.output.answers.values import Record

RESULTS_NAME = "rounds.jsonl"
"""How the file of results is called in a folder of sites; of a table `sites.csv` it is `sites.rounds.jsonl`."""


@dataclass(frozen=True, kw_only=True)
class Rounds:
    """What is found on many sites.

    Attributes
    ----------
    table : SitesTable
        The sites, and rows of the table that cannot be used.
    results : tuple of Assessment
        One for each site, in the order of the table.
    order : Order
        The same in the order of what a visit brings.
    reused : int
        Sites whose files have not changed since the results that were there.
    """

    table: SitesTable
    results: tuple[Assessment, ...]
    order: Order
    reused: int

    @property
    def all_in_order(self) -> bool:
        """Whether no site needs a visit: the result for ``--require``."""
        return not self.order.visits and not self.order.together

    def to_dict(self) -> Record:
        """Return what `survey rounds --json` prints."""
        return rounds_record(self.table, self.order, reused=self.reused)


def rounds(
    sites: str | Path,
    *,
    results: str | Path | None = None,
    anew: bool = False,
    workers: int | None = None,
    on: str | None = None,
    limit_s: float = SITE_TIME_S,
    limit_mb: float = SITE_MEMORY_MB,
    progress: Progress | None = None,
) -> Rounds:
    """Assess many sites, and put them in the order of what a visit brings.

    Parameters
    ----------
    sites : str or Path
        A CSV file with the columns site and plan and, perhaps, log, readings, fit and branch; or a folder with a folder
        for each site.
    results : str or Path, optional
        The file of results (JSON lines). It is read first, and sites whose files have not changed are taken from it.
        Without it, one beside the table.
    anew : bool
        Assess every site again.
    workers : int, optional
        How many processes; as many as the machine has cores without it.
    on : str, optional
        The address of a Dask scheduler, such as ``tcp://10.0.0.5:8786``, that does the work in place of processes here.
    limit_s, limit_mb : float
        Longest time and most memory of a site; 0 for no limit. [s, MB]
    progress : callable, optional
        Called with the sites that are done and all of them.

    Returns
    -------
    Rounds

    Raises
    ------
    SurveyError
        Where the table cannot be read, no site of it can be, or the results cannot be written.

    Notes
    -----
    Processes import the program that calls this: a script calls it under ``if __name__ == "__main__":``.
    """
    check_range("workers", workers, low=1, high=MAX_WORKERS)
    check_range("limit_s", limit_s, low=0.0)
    check_range("limit_mb", limit_mb, low=0.0)
    table = read_sites(sites)
    path = Path(results) if results is not None else _results_of(Path(sites))
    known = {} if anew else read_results(path)
    found: list[Assessment | None] = [None] * len(table.sites)
    tasks = [_task(known, site.name, Task(site=site)) for site in table.sites]
    limits = Limits(time_s=limit_s, memory_mb=limit_mb)
    reused = 0
    if progress is not None:
        progress(0, len(tasks))
    with Keeper(path) as keeper:
        for done, (number, one) in enumerate(_outcomes(tasks, limits=limits, workers=workers, on=on), start=1):
            site = table.sites[number]
            if one is None:
                found[number] = replace(known[site.name], site=site)
                reused += 1
            else:
                found[number] = one
                keeper.keep(one)
            if progress is not None:
                progress(done, len(tasks))
        whole = tuple(one for one in found if one is not None)
        keeper.write_whole(whole)
    _refuse_nothing_done(table, whole)
    for row in table.refused:
        warn(f"{table.file}: {row.place}: {row.problem}")
    return Rounds(table=table, results=whole, order=order_of(whole), reused=reused)


def _results_of(sites: Path) -> Path:
    return sites / RESULTS_NAME if sites.is_dir() else sites.with_name(f"{sites.stem}.{RESULTS_NAME}")


def _task(known: dict[str, Assessment], name: str, task: Task) -> Task:
    return replace(task, known=known[name].checksum) if name in known else task


def _outcomes(tasks: list[Task], *, limits: Limits, workers: int | None, on: str | None) -> Iterator[Outcome]:
    if on is not None:
        from survey.fleet.cluster import on_cluster  # noqa: PLC0415  an extra

        return on_cluster(assess, tasks, limits=limits, address=on)
    return in_processes(assess, tasks, limits=limits, workers=workers or _cores())


def _cores() -> int:
    """Return how many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def _refuse_nothing_done(table: SitesTable, results: tuple[Assessment, ...]) -> None:
    """Refuse a table of which no site could be assessed.

    Raises
    ------
    TableError
        With the problem of each row.
    """
    if any(one.state != NOT_READ for one in results):
        return
    faults = [Fault(file=table.file, place=row.place, problem=row.problem) for row in table.refused]
    faults += [Fault(file=table.file, place=table.places[one.site.name], problem=one.reason) for one in results]
    raise TableError(faults)
