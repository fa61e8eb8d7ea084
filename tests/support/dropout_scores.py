"""How often causes come out right on invented logs: the table of docs/dropouts.md.

Run ``PYTHONPATH=.:tests/support python tests/support/dropout_scores.py judge 24 60`` to print it:
24 logs of each fault, 60 healthy ones of each kind. Limits were set with the
seeds for building; those for judging were looked at only to print the table.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor

from dropout_logs import FAULTS, HARD, HEALTHY, any_recipe, make

from survey.measured.dropouts import NO_FAULTS
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.answers.dropouts import cause_words

SEEDS = {"build": 100_000, "judge": 1_300_000}
MOST_OTHERS = 0.2


def kinds() -> list[tuple[str, str]]:
    """What is made: a fault (plain, wild or hard), or a healthy log of some kind."""
    return [
        *((fault, wild) for wild in ("plain", "wild") for fault in FAULTS),
        *((fault, "hard") for fault in HARD),
        *(("", kind) for kind in HEALTHY),
    ]


def judged(kind: tuple[str, str], seed: int) -> tuple[str, bool, tuple[str, ...]]:
    """The first cause found, whether cause and inverters are right, and all causes found."""
    fault, way = kind
    recipe = any_recipe(seed, (fault,), wild=way == "wild") if fault else any_recipe(seed, (), healthy=way)
    made = make(recipe)
    found = [one for one in dropouts_of(made.scene, made.log()).findings if one.cause not in NO_FAULTS]
    causes = tuple(one.cause for one in found)
    if not fault:
        return (causes[0] if causes else ""), not causes, causes
    (cause,) = made.struck
    named = set().union(*(one.inverters for one in found if one.cause == cause)) if found else set()
    struck, touched = made.struck[cause], made.touched[cause]
    whom = len(named & struck) >= 0.6 * len(struck) and len(named - touched) <= MOST_OTHERS * len(named)
    return (causes[0] if causes else ""), bool(found) and causes[0] == cause and whom, causes


def _one(task: tuple[tuple[str, str], int]) -> tuple[tuple[str, str], int, str, bool, tuple[str, ...]]:
    return (*task, *judged(*task))


def table(seeds: str, each: int, healthy: int, only: str = "") -> None:
    """Print the table in the form and the words of docs/dropouts.md, then the seeds that came out wrong."""
    chosen = [one for one in kinds() if only in " ".join(one if one[0] else ("healthy", one[1]))]
    tasks = [
        (kind, SEEDS[seeds] + 1_000 * k + i)
        for k, kind in enumerate(kinds())
        if kind in chosen
        for i in range(each if kind[0] else healthy)
    ]
    begin = time.monotonic()
    with ProcessPoolExecutor(2) as pool:
        results = list(pool.map(_one, tasks, chunksize=2))
    print("| fault made | kind | right | first cause found |\n| --- | --- | --- | --- |")
    for kind in chosen:
        own = [one for one in results if one[0] == kind]
        first: dict[str, int] = {}
        for _, _, cause, _, _ in own:
            first[cause_words(cause) or "none"] = first.get(cause_words(cause) or "none", 0) + 1
        right = sum(one[3] for one in own)
        told = ", ".join(f"{cause} {count}" for cause, count in sorted(first.items(), key=lambda one: -one[1]))
        made, way = cause_words(kind[0]) or "none", "varied" if kind[1] == "wild" else kind[1]
        print(f"| {made} | {way} | {right} of {len(own)} | {told} |")
    for kind, seed, _, good, causes in results:
        if not good:
            print("wrong:", kind, seed, causes)
    print(f"{time.monotonic() - begin:.0f} s")


if __name__ == "__main__":
    table(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4] if len(sys.argv) > 4 else "")
