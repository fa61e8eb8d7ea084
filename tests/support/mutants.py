"""Mutants: the program with one small thing changed. A test should notice: those that reach the change are run.

`python tests/support/mutants.py --count 20 --seed 1` tells which changes nothing noticed, and exits 1 beyond `--most`.
Which tests reach a line is guessed by names, or known by a run with `--cov-context=test`: see `--reach`.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

from mutant_tests import Guess, Reach, failing, first_failure
from mutating import every_place, mutants_of

ROOT = Path(__file__).resolve().parents[2]


def chosen(asked):
    """Return the mutants that are asked for: those of certain lines, else some drawn by a seed."""
    if asked.at:
        for place in asked.at:
            path, line = place.split(":")
            yield from (
                one for one in mutants_of(path, (ROOT / path).read_text(encoding="utf-8")) if one.line == int(line)
            )
        return
    files = [one.relative_to(ROOT) for one in sorted((ROOT / "survey").rglob("*.py"))]
    files = [one for one in files if not asked.only or any(part in str(one) for part in asked.only)]
    places = [(path, k) for path in files for k in range(every_place((ROOT / path).read_text(encoding="utf-8")))]
    for path, number in random.Random(asked.seed).sample(places, min(asked.count, len(places)))[asked.skip :]:  # noqa: S311  no secret
        yield mutants_of(str(path), (ROOT / path).read_text(encoding="utf-8"), only=number)[0]


def noticed_by(mutant, folder, stages, number):
    """Return the first test that fails with a mutant in a copy of the project, "hangs", or nothing."""
    target = folder / mutant.path
    before, stamp = target.read_text(encoding="utf-8"), target.stat().st_mtime
    target.write_text(mutant.text, encoding="utf-8")
    os.utime(target, (stamp + 10 * number, stamp + 10 * number))  # its own time, so that no other's bytecode is taken
    try:
        return next(filter(None, (first_failure(folder, tests) for tests in stages)), "")
    finally:
        target.write_text(before, encoding="utf-8")
        os.utime(target, (stamp, stamp))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--skip", type=int, default=0, help="so many of them, which another run has had")
    parser.add_argument("--only", nargs="+", help="parts of paths")
    parser.add_argument("--at", nargs="+", help="certain lines, as survey/a/b.py:12")
    parser.add_argument("--reach", nargs="+", help="data of coverage with contexts; else tests are guessed by names")
    parser.add_argument("--times", nargs="+", default=[], help="what pytest --durations=0 printed beside it")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no mutant after this")
    parser.add_argument("--most", type=int, default=10**9, help="so many may go unnoticed")
    asked = parser.parse_args()
    start_s, fate = time.monotonic(), {}
    tests = Reach(ROOT, asked.reach, asked.times) if asked.reach else Guess(ROOT)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "copy"
        leave = shutil.ignore_patterns(".git", ".venv*", "__pycache__", ".hypothesis", "*.pyc")
        shutil.copytree(ROOT, folder, ignore=leave)
        for number, mutant in enumerate(chosen(asked), start=1):
            if time.monotonic() - start_s > asked.seconds:
                break
            stages = tests.of(mutant)
            fate[mutant] = noticed_by(mutant, folder, stages, number)
            spent_s = time.monotonic() - start_s
            print(
                f"{'noticed' if fate[mutant] else 'NOT NOTICED'}: {mutant}  ({spent_s:.0f} s) {fate[mutant]}",
                flush=True,
            )
        wrong = failing(folder, {one for one in fate.values() if "::" in one})
    for mutant in [one for one, by in fate.items() if by in wrong]:  # what fails without a mutant tells nothing
        print(f"no verdict, {fate.pop(mutant)} fails anyway: {mutant}")
    left = sum(not by for by in fate.values())
    print(f"{len(fate) - left} of {len(fate)} mutants noticed, {time.monotonic() - start_s:.0f} s")
    sys.exit(left > asked.most)


if __name__ == "__main__":
    main()
