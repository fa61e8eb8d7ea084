"""How often causes come out right on invented logs: the table of docs/dropouts.md.

Run ``PYTHONPATH=.:tests/support python tests/support/dropout_scores.py judge 24 60`` to print it, and with ``--docs``
to put it into that page: 24 logs of each fault, 60 healthy ones of each kind. Limits were set with the
seeds for building; those for judging were looked at only to print the table.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import service_logs
from dropout_logs import FAULTS, HARD, HEALTHY, any_recipe, make

from survey.measured.dropouts import NO_FAULTS, Dropouts
from survey.measured.dropouts.sorting import dropouts_of
from survey.output.answers.dropouts import cause_words

SEEDS = {"build": 100_000, "benchmark": 2_400_000, "judge": 1_300_000}
MOST_OTHERS = 0.2
PAGE = Path(__file__).parents[2] / "docs" / "dropouts.md"


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
    if way == "other":
        call = service_logs.call_of(seed, (fault,) if fault else ())
        return _judged(dropouts_of(call.scene, call.made), call.struck, call.touched)
    recipe = any_recipe(seed, (fault,), wild=way == "wild") if fault else any_recipe(seed, (), healthy=way)
    made = make(recipe)
    return _judged(dropouts_of(made.scene, made.log()), made.struck, made.touched)


def _judged(
    dropouts: Dropouts, made_struck: dict[str, set[str]], made_touched: dict[str, set[str]]
) -> tuple[str, bool, tuple[str, ...]]:
    found = [one for one in dropouts.findings if one.cause not in NO_FAULTS]
    causes = tuple(one.cause for one in found)
    if not made_struck:
        return (causes[0] if causes else ""), not causes, causes
    (cause,) = made_struck
    named = set().union(*(one.inverters for one in found if one.cause == cause)) if found else set()
    struck, touched = made_struck[cause], made_touched[cause]
    whom = len(named & struck) >= 0.6 * len(struck) and len(named - touched) <= MOST_OTHERS * len(named)
    return (causes[0] if causes else ""), bool(found) and causes[0] == cause and whom, causes


def _one(task: tuple[tuple[str, str], int]) -> tuple[tuple[str, str], int, str, bool, tuple[str, ...]]:
    return (*task, *judged(*task))


Result = tuple[tuple[str, str], int, str, bool, tuple[str, ...]]


def scores(seeds: str, each: int, healthy: int, only: str = "") -> list[Result]:
    """Judge so many logs of each kind whose words contain `only`; healthy ones are called so.

    With ``"other"`` they are of the other generator, which no limit was set with.
    """
    made = [*((fault, "other") for fault in service_logs.FAULTS), ("", "other")] if only == "other" else kinds()
    tasks = [
        (kind, SEEDS[seeds] + 1_000 * k + i)
        for k, kind in enumerate(made)
        if only in " ".join(kind if kind[0] else ("healthy", kind[1]))
        for i in range(each if kind[0] else healthy)
    ]
    with ProcessPoolExecutor(2) as pool:
        return list(pool.map(_one, tasks, chunksize=2))


def table(results: list[Result]) -> list[str]:
    """Return the table in the form and the words of docs/dropouts.md."""
    lines = ["| fault made | kind | right | first cause found |", "| --- | --- | --- | --- |"]
    for kind in dict.fromkeys(one[0] for one in results):
        own = [one for one in results if one[0] == kind]
        first: dict[str, int] = {}
        for _, _, cause, _, _ in own:
            first[cause_words(cause) or "none"] = first.get(cause_words(cause) or "none", 0) + 1
        right = sum(one[3] for one in own)
        told = ", ".join(f"{cause} {count}" for cause, count in sorted(first.items(), key=lambda one: -one[1]))
        made, way = cause_words(kind[0]) or "none", "varied" if kind[1] == "wild" else kind[1]
        lines.append(f"| {made} | {way} | {right} of {len(own)} | {told} |")
    return lines


def renewed(text: str, lines: list[str]) -> str:
    """Return a page with its table of that heading replaced."""
    before, heading, after = text.partition(lines[0])
    assert heading, lines[0]
    rest = after.splitlines(keepends=True)[1:]
    count = next(k for k, line in enumerate(rest) if not line.startswith("|"))
    return before + "\n".join(lines) + "\n" + "".join(rest[count:])


def main() -> None:
    """Print the table, then the seeds that came out wrong; with `--docs` put it into docs/dropouts.md."""
    words = [one for one in sys.argv[1:] if one != "--docs"]
    begin = time.monotonic()
    results = scores(words[0], int(words[1]), int(words[2]), *words[3:4])
    print("\n".join(table(results)))
    for kind, seed, _, good, causes in results:
        if not good:
            print("wrong:", kind, seed, causes)
    print(f"{time.monotonic() - begin:.0f} s")
    if "--docs" in sys.argv:
        PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8"), table(results)), encoding="utf-8")


if __name__ == "__main__":
    main()
