"""Many sites in processes of this machine: what breaks, hangs or is killed costs its own site only."""

from __future__ import annotations

import contextlib
import os
import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from survey.fleet.site import Assessment
from survey.fleet.work import MEGABYTE, Assess, Limits, Task, not_read, outcome, time_words

TRIES = 2
"""A worker may be killed by accident; the site of a second one is told. A judgement."""
GRACE_S = 5.0
"""For the start of a worker, which imports the program once. A judgement. [s]"""
CLOSING_S = 2.0
"""A worker that has nothing to do ends within this time, or is stopped. A judgement. [s]"""
KILLED = "its process was killed twice, perhaps for want of memory; try it alone, or give it less with --limit-mb"
Outcome = tuple[int, Assessment | None]
"""The number of a task, and its assessment; None where nothing has changed."""


@dataclass(kw_only=True)
class _Worker:
    """A process, its pipe, and the task that it has."""

    process: BaseProcess
    pipe: Connection
    number: int = -1
    since_s: float = 0.0
    is_new: bool = True


def in_processes(assess: Assess, tasks: Sequence[Task], *, limits: Limits, workers: int) -> Iterator[Outcome]:
    """Work tasks out in processes, and give each outcome as it comes.

    Parameters
    ----------
    assess : callable
        What works a site out: a function of a module, so that another process can import it.
    tasks : sequence of Task
        The sites.
    limits : Limits
        What each may take.
    workers : int
        How many at a time.

    Yields
    ------
    tuple of int and Assessment or None
        The number of the task, each exactly once, in no order.
    """
    crew = _Crew(assess, tasks, limits=limits, workers=workers)
    try:
        while crew.is_busy:
            crew.hand_out()
            yield from crew.answers()
            yield from crew.overdue()
    finally:
        crew.dismiss()


class _Crew:
    """Workers, and the tasks that wait for one."""

    def __init__(self, assess: Assess, tasks: Sequence[Task], *, limits: Limits, workers: int) -> None:
        self._assess, self._tasks, self._limits, self._size = assess, tasks, limits, workers
        self._waiting = deque(range(len(tasks)))
        self._tries = [0] * len(tasks)
        self._workers: list[_Worker] = []

    @property
    def is_busy(self) -> bool:
        """Whether a task waits or is at work."""
        return bool(self._waiting) or any(one.number >= 0 for one in self._workers)

    def hand_out(self) -> None:
        """Give each worker without a task one of those that wait."""
        at_work = sum(one.number >= 0 for one in self._workers)
        while len(self._workers) < min(self._size, at_work + len(self._waiting)):
            self._workers.append(_hired(self._assess, self._limits))
        for one in self._workers:
            if one.number < 0 and self._waiting:
                one.number, one.since_s = self._waiting.popleft(), time.monotonic()
                with contextlib.suppress(OSError):  # it has died: found when it is asked for its answer
                    one.pipe.send(self._tasks[one.number])

    def answers(self) -> Iterator[Outcome]:
        """Wait for an answer; the task of a worker that has died waits again, or is told the second time."""
        for one in _ready(self._workers, self._limits):
            number = one.number
            try:
                found = one.pipe.recv()
            except (EOFError, OSError):
                self._let_go(one)
                self._tries[number] += 1
                if self._tries[number] < TRIES:
                    self._waiting.append(number)
                else:
                    yield number, not_read(self._tasks[number].site, KILLED)
            else:
                one.number, one.is_new = -1, False
                yield number, found

    def overdue(self) -> Iterator[Outcome]:
        """Stop workers whose task takes too long."""
        for one in [one for one in self._workers if _is_late(one, self._limits)]:
            self._let_go(one)
            yield one.number, not_read(self._tasks[one.number].site, time_words(self._limits))

    def dismiss(self) -> None:
        """End all workers."""
        for one in self._workers:
            _dismissed(one, in_peace=one.number < 0)

    def _let_go(self, worker: _Worker) -> None:
        self._workers.remove(worker)
        _dismissed(worker)


def _hired(assess: Assess, limits: Limits) -> _Worker:
    """Start a worker: a fresh interpreter, with no state of this one."""
    context = get_context("spawn")
    pipe, far_end = context.Pipe()
    process = context.Process(target=_serve, args=(far_end, assess, limits), daemon=True)
    process.start()
    far_end.close()
    return _Worker(process=process, pipe=pipe)


def _serve(pipe: Connection, assess: Assess, limits: Limits) -> None:
    """Work out one task after another, until the other end of the pipe closes."""
    import signal  # noqa: PLC0415  in the worker alone

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one who started it ends it
    is_limited = False
    with contextlib.suppress(EOFError, OSError):
        while True:
            task: Task = pipe.recv()
            if not is_limited:
                _limit_memory(limits)
                is_limited = True
            pipe.send(outcome(assess, task, limits))


def _limit_memory(limits: Limits) -> None:
    """Let this process take so much memory beyond what it has now, where the system can do that."""
    if not limits.memory_mb:
        return
    try:
        import resource  # noqa: PLC0415  not on every system
    except ImportError:
        return
    with contextlib.suppress(OSError, ValueError):
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        most = pages * os.sysconf("SC_PAGE_SIZE") + int(limits.memory_mb * MEGABYTE)
        resource.setrlimit(resource.RLIMIT_AS, (most, resource.getrlimit(resource.RLIMIT_AS)[1]))


def _ready(crew: list[_Worker], limits: Limits) -> list[_Worker]:
    """Wait until a worker has something to say or has ended, or the first of them is late."""
    by_pipe = {one.pipe: one for one in crew if one.number >= 0}
    left_s = min(_due_s(one, limits) for one in by_pipe.values()) - time.monotonic() if limits.time_s else None
    ready = connection.wait(list(by_pipe), None if left_s is None else max(0.0, left_s))
    return [by_pipe[one] for one in ready if isinstance(one, Connection)]


def _due_s(worker: _Worker, limits: Limits) -> float:
    return worker.since_s + limits.time_s + (GRACE_S if worker.is_new else 0.0)


def _is_late(worker: _Worker, limits: Limits) -> bool:
    return bool(limits.time_s) and worker.number >= 0 and time.monotonic() > _due_s(worker, limits)


def _dismissed(worker: _Worker, *, in_peace: bool = False) -> None:
    """End a worker: by closing its pipe if it waits for a task, else at once."""
    worker.pipe.close()
    if in_peace:
        worker.process.join(CLOSING_S)
    if worker.process.is_alive():
        worker.process.kill()
    worker.process.join(CLOSING_S)
