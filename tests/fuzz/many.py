"""Run many cases of the fuzzer, and count how they end: `python tests/fuzz/many.py --cases 20000 --first 0`."""

import argparse
import os
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from multiprocessing import Pool
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from fuzzing.cases import case_of  # noqa: E402  found by the line above
from fuzzing.judging import clear, run_case  # noqa: E402


def run_some(seeds):
    """Run cases in a folder of their own; return how they ended, and what was broken."""
    warnings.simplefilter("error")
    ends, broken = Counter(), []
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        for seed in seeds:
            clear(name)
            case = case_of(seed)
            try:
                ends[case.command, run_case(case, Path(name))] += 1
            except Exception as error:  # noqa: BLE001  whatever it is, it is told
                where = (
                    ""
                    if isinstance(error, AssertionError) and type(error).__name__ == "BrokenError"
                    else traceback.format_exc()[-900:]
                )
                broken.append(f"seed {seed}: survey {' '.join(case.words)}\n{error}\n{where}")
        os.chdir(ROOT)
    return ends, broken


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    start_s, ends, broken = time.monotonic(), Counter(), []
    parts = [
        range(k, min(k + 100, asked.first + asked.cases)) for k in range(asked.first, asked.first + asked.cases, 100)
    ]
    with Pool(asked.workers) as pool:
        for some, more in pool.imap_unordered(run_some, parts):
            ends += some
            broken += more
            for one in more:
                print(one, flush=True)
    by_status = Counter()
    for (_, status), count in ends.items():
        by_status[status] += count
    print(
        f"{asked.cases} cases in {time.monotonic() - start_s:.0f} s; by exit status: {dict(sorted(by_status.items()))}"
    )
    print(f"{len(broken)} broken")
    sys.exit(bool(broken))


if __name__ == "__main__":
    main()
