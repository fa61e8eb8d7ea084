"""Invented sites with a week of polls each, for the tests of `survey rounds`: plans and logs as files, by a seed.

Everything here is invented. Run ``PYTHONPATH=.:tests/support python tests/support/many_sites.py FOLDER 1000 100`` to
write 1,000 sites, 100 of them with a fault; then `survey rounds FOLDER/sites.csv` finds them, and
``... many_sites.py FOLDER`` says how many of them stand among the first (`judged`).
"""

from __future__ import annotations

import csv
import dataclasses
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from dropout_logs import FAULTS, any_recipe, make

from survey.inputs.logs.stamps import stamp
from survey.inputs.plan import Box, Foliage, Roof, Wall
from survey.output.export.sheets import sheets_text

SEED = 4_200_000
"""Added to the number of a site: its seed. Others than those by which limits of the sorting were set."""
STEP_S = 900
"""Between polls. [s]"""
NETWORK_S = 2 * 86_400 + 11 * 3_600
"""From the start of the logs to an outage of the network that some sites may share. [s]"""
TABLE, TRUTH = "sites.csv", "truth.json"


def yard(rng) -> tuple:
    """A shed of steel, a container and a hedge, beyond the rows of modules."""
    x_m, y_m = rng.uniform(-15, 15), -rng.uniform(50, 70)
    along = ((x_m, y_m), (x_m + 24, y_m), (x_m + 24, y_m - 12), (x_m, y_m - 12), (x_m, y_m))
    left, right, near, far, ridge = x_m, x_m + 24, y_m, y_m - 12, y_m - 6
    hedge = ((-40.0, 45.0), (40.0, 45.0), (40.0, 46.5), (-40.0, 46.5))
    return (
        Wall(name="shed", material="steel cladding", along=along, height_m=4.0),
        Roof(
            name="shed roof south",
            material="steel cladding",
            corners=((left, far, 4.0), (right, far, 4.0), (right, ridge, 5.5), (left, ridge, 5.5)),
        ),
        Roof(
            name="shed roof north",
            material="steel cladding",
            corners=((left, near, 4.0), (right, near, 4.0), (right, ridge, 5.5), (left, ridge, 5.5)),
        ),
        Box(
            name="container",
            material="welded steel",
            centre=(x_m - 8, y_m - 4),
            length_m=6.06,
            width_m=2.44,
            height_m=2.59,
        ),
        Foliage(name="hedge", footprint=hedge, height_m=2.0, loss_db_per_m=0.5),
    )


def made_site(number: int, fault: str, *, inverters: int = 0, network: bool = False):
    """A site by its number, healthy or with one fault; `network` adds the outage that some sites share."""
    rng = np.random.default_rng([SEED, number])
    recipe = any_recipe(SEED + number, (fault,) if fault else (), wild=number % 2 == 1)
    size = inverters or int(rng.integers(12, 81))
    recipe = dataclasses.replace(
        recipe, days=7, step_s=STEP_S, inverters=size, gateways=1, obstacles=yard(rng), jitter_s=0, utc_shift_s=0
    )
    made = make(recipe)
    if network:
        seconds = made.seconds[0] - made.seconds[0, 0]
        made.heard[:, (seconds >= NETWORK_S) & (seconds < NETWORK_S + 7_200)] = False
    return made


def log_text(made) -> str:
    """The log as CSV, only rows by day: as `Made.csv`, but fast."""
    recipe = made.recipe
    names = made.scene.inverters.names
    head = "time,inverter,gateway,heard" + ",level_dbm" * recipe.with_level + ",branch" * recipe.with_branch
    ends = [f",{names[i]},{made.scene.gateways.names[made.gateway[i]]}," for i in range(len(names))]
    branches = [f",B{int(one) + 1}" if recipe.with_branch else "" for one in made.branch]
    rows = [head]
    seconds, heard = made.seconds.tolist(), made.heard.tolist()
    level = np.round(made.level_dbm, 1).tolist()
    there = made.row.tolist()
    day = made.lit.any(axis=0).tolist()
    stamps: dict[int, str] = {}
    for t in np.flatnonzero(day).tolist():
        for i in range(len(names)):
            if not there[i][t]:
                continue
            at = stamps.get(seconds[i][t]) or stamps.setdefault(seconds[i][t], stamp(seconds[i][t]))
            got = heard[i][t]
            text = f",{level[i][t]}" if recipe.with_level and got else "," * recipe.with_level
            rows.append(f"{at}{ends[i]}{int(got)}{text}{branches[i]}")
    return "\n".join(rows) + "\n"


def write_site(folder: Path, number: int, fault: str, **more) -> str:
    """Write plan and log of a site; return its name."""
    name = f"site {number:04d}"
    own = folder / f"{number:04d}"
    own.mkdir(parents=True, exist_ok=True)
    made = made_site(number, fault, **more)
    plan = dataclasses.replace(made.scene.plan, site=dataclasses.replace(made.scene.plan.site, name=name))
    (own / "plan.toml").write_text(sheets_text(plan), encoding="utf-8")
    (own / "log.csv").write_text(log_text(made), encoding="utf-8")
    return name


def write_sites(folder: Path, count: int, faults: int, *, network: int = 0, workers: int = 2) -> dict[str, str]:
    """Write some sites with a table; every kind of fault as often, on sites chosen by the seed.

    Returns the fault of each site that has one. `network` sites without a fault share an outage.
    """
    chosen = np.random.default_rng(SEED).permutation(count)
    fault = {int(site): FAULTS[k % len(FAULTS)] for k, site in enumerate(chosen[:faults])}
    shared = {int(site) for site in chosen[faults : faults + network]}
    with ProcessPoolExecutor(workers) as pool:
        tasks = [
            pool.submit(write_site, folder, number, fault.get(number, ""), network=number in shared)
            for number in range(count)
        ]
        names = [one.result() for one in tasks]
    with (folder / TABLE).open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["site", "plan", "log"])
        rows.writerows([name, f"{number:04d}/plan.toml", f"{number:04d}/log.csv"] for number, name in enumerate(names))
    truth = {names[number]: fault[number] for number in sorted(fault)}
    (folder / TRUTH).write_text(json.dumps(truth), encoding="utf-8")
    return truth


def judged(truth: dict[str, str], visits: list[str]) -> tuple[int, int]:
    """How many of the sites with a fault stand among the first, a tenth more than there are; and that number."""
    first = len(truth) + len(truth) // 10
    return len(set(truth) & set(visits[:first])), first


if __name__ == "__main__":
    place = Path(sys.argv[1])
    if len(sys.argv) > 2:
        write_sites(place, int(sys.argv[2]), int(sys.argv[3]), network=int(sys.argv[4]) if len(sys.argv) > 4 else 0)
    else:
        import survey

        known = json.loads((place / TRUTH).read_text(encoding="utf-8"))
        order = survey.rounds(place / TABLE).order
        print(judged(known, [one.assessment.site.name for one in order.visits]), len(order.visits))
