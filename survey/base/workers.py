"""Work in two threads where there is much of it: numpy lets the other go on while it computes."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

P = TypeVar("P")
R = TypeVar("R")

WORKERS = 2
"""Threads: as many as small machines have cores. A judgement."""


def in_order(work: Callable[[P], R], parts: Sequence[P], *, workers: int = WORKERS) -> Iterator[R]:
    """Results of some work on each part, in the order of the parts, and few of them held at a time.

    Parameters
    ----------
    work : callable
        What to do with a part; it must not depend on other parts, so that the results are the same with any number of
        workers.
    parts : sequence
        The parts.
    workers : int
        How many threads; with one, or with a single part, no thread is started.

    Yields
    ------
    object
        What `work` returns.

    Examples
    --------
    >>> list(in_order(lambda part: part * 10, [1, 2, 3]))
    [10, 20, 30]
    """
    if workers == 1 or len(parts) <= 1:
        yield from map(work, parts)
        return
    from concurrent.futures import Future, ThreadPoolExecutor  # noqa: PLC0415  where there is much to do

    pool = ThreadPoolExecutor(workers)
    waiting: deque[Future[R]] = deque()
    try:
        for part in parts:
            waiting.append(pool.submit(work, part))
            if len(waiting) > workers:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(cancel_futures=True)
