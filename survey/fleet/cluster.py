"""Many sites on a Dask cluster: the same work as in processes here, scheduled by Dask."""

from __future__ import annotations

import contextlib
import time
from collections import deque
from collections.abc import Iterator, Sequence
from threading import Lock
from typing import Any

from survey.base.errors import SurveyError
from survey.fleet.processes import KILLED, Outcome
from survey.fleet.site import Assessment
from survey.fleet.work import Assess, Limits, Task, not_read, outcome, time_words

EXTRA = "--on: needs Dask; install survey[cluster]"
CONNECT_S = 10.0
"""Longest wait for the scheduler; a judgement. [s]"""
AHEAD = 4
"""Tasks that are handed over for each thread of the cluster: enough to keep it busy, few to hold in memory."""
BEAT_S = 1.0
"""How often tasks that take too long are looked for. [s]"""
LATE = 2.0
"""Beyond so many times the limit a task is stopped: a worker has the next task waiting, and its wait counts too."""
_one_at_a_time = Lock()


def work_on(assess: Assess, task: Task, limits: Limits) -> Assessment | None:
    """Work out a task on a worker: one at a time in a process, since warnings of Python belong to the process."""
    with _one_at_a_time:
        return outcome(assess, task, limits)


def on_cluster(assess: Assess, tasks: Sequence[Task], *, limits: Limits, address: str) -> Iterator[Outcome]:
    """Work tasks out on a Dask cluster, and give each outcome as it comes.

    Parameters
    ----------
    assess : callable
        What works a site out; the workers import it, so that they need this program in the same version.
    tasks : sequence of Task
        The sites.
    limits : Limits
        What each may take. Memory is limited by the workers themselves (`--memory-limit` of `dask worker`).
    address : str
        The scheduler.

    Yields
    ------
    tuple of int and Assessment or None
        The number of the task, each exactly once, in no order.

    Raises
    ------
    SurveyError
        Where Dask is not installed, or the scheduler does not answer.
    """
    try:
        import distributed  # noqa: PLC0415  an extra
    except ImportError:
        raise SurveyError(EXTRA) from None
    try:
        client = distributed.Client(address, timeout=CONNECT_S)
    except (OSError, ValueError, TimeoutError) as error:
        raise SurveyError(f"--on {address}: no scheduler answers there: {error}") from None
    with client:
        yield from _outcomes(client, assess, tasks, limits)


def _outcomes(client: Any, assess: Assess, tasks: Sequence[Task], limits: Limits) -> Iterator[Outcome]:  # noqa: ANN401  of an extra
    import distributed  # noqa: PLC0415  an extra

    waiting = deque(range(len(tasks)))
    pending: dict[Any, int] = {}
    since_s: dict[str, float] = {}
    while waiting or pending:
        room = AHEAD * max(1, sum(client.nthreads().values())) - len(pending)
        for _ in range(min(room, len(waiting))):
            number = waiting.popleft()
            pending[client.submit(work_on, assess, tasks[number], limits, pure=False)] = number
        with contextlib.suppress(TimeoutError, distributed.TimeoutError):
            distributed.wait(list(pending), timeout=BEAT_S, return_when="FIRST_COMPLETED")
        for future in [one for one in pending if one.done()]:
            number = pending.pop(future)
            yield number, _result_of(future, tasks[number])
        for future, worker in _late(client, pending, since_s, limits):
            number = pending.pop(future)
            future.cancel()
            client.restart_workers([worker])
            yield number, not_read(tasks[number].site, time_words(limits))


def _result_of(future: Any, task: Task) -> Assessment | None:  # noqa: ANN401  of an extra
    import distributed  # noqa: PLC0415  an extra

    try:
        found: Assessment | None = future.result()
    except distributed.KilledWorker:
        return not_read(task.site, KILLED)
    except Exception as error:  # noqa: BLE001  whatever a worker lacks is told of its site
        return not_read(task.site, f"the cluster could not work it out: {type(error).__name__}: {error}")
    return found


def _late(client: Any, pending: dict[Any, int], since_s: dict[str, float], limits: Limits) -> list[tuple[Any, str]]:  # noqa: ANN401
    """Return the tasks that a worker has had for too long, each with its worker."""
    if not limits.time_s:
        return []
    now_s, found, here = time.monotonic(), [], set()
    by_key = {future.key: future for future in pending}
    for worker, keys in client.processing().items():
        for key in keys[:1]:  # the first is at work, the others wait
            here.add(key)
            began_s = since_s.setdefault(key, now_s)
            if key in by_key and now_s - began_s > LATE * limits.time_s:
                found.append((by_key[key], worker))
    for key in since_s.keys() - here:
        del since_s[key]
    return found
