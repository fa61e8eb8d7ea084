"""Print how long the program takes to start beside the interpreter and numpy, with all compiled files in place.

Run `python tests/benchmarks/start_up.py`. All take turns; each figure is the median of so many runs, by the clock, and
the least processor time. Compiled files go into a folder of their own, whatever the environment says of them.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time

from places import ROOT

RUNS = 25
COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "survey --help": ["-m", "survey", "--help"],
    'python -c "import numpy"': ["-c", "import numpy"],
    "survey links sites/house.toml": ["-m", "survey", "links", "sites/house.toml", "--gateway", "laundry"],
}
BESIDE = {"survey --help": "python -c pass", "survey links sites/house.toml": 'python -c "import numpy"'}


def run_s(words, environment):
    """Wall-clock and processor time of one process. [s]"""
    before, at_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *words], cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=True)
    wall_s, after = time.perf_counter() - at_s, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall_s, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main():
    """Print a row for each command."""
    with tempfile.TemporaryDirectory() as folder:
        kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        environment = kept | {"PYTHONPYCACHEPREFIX": folder, "PYTHONPATH": str(ROOT)}
        for words in COMMANDS.values():  # compiles
            run_s(words, environment)
        runs = [{name: run_s(words, environment) for name, words in COMMANDS.items()} for _ in range(RUNS)]
    wall_s = {name: statistics.median(run[name][0] for run in runs) for name in COMMANDS}
    cpu_s = {name: min(run[name][1] for run in runs) for name in COMMANDS}
    for name in COMMANDS:
        other = BESIDE.get(name, name)
        times = f"{wall_s[name] / wall_s[other]:.2f} | {cpu_s[name] / cpu_s[other]:.2f}" if name in BESIDE else " | "
        print(f"| `{name}` | {1e3 * wall_s[name]:.0f} | {1e3 * cpu_s[name]:.0f} | {times} |")


if __name__ == "__main__":
    main()
