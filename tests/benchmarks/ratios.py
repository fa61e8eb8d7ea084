"""Print how fast crossings are beside Embree, and a whole placement beside both; and how cost grows.

Run `python tests/benchmarks/ratios.py` for the table of ratios (needs the extra `bench`), and
`python tests/benchmarks/ratios.py growth PICTURE.svg` for growth. Each figure is the best of several rounds, in which
the rivals take turns, so that what else the machine does falls on all of them. Times are wall-clock and processor time.
"""

import os
import platform
import resource
import sys
import time
from pathlib import Path

import numpy as np
import scenes

from survey.base.workers import in_order
from survey.decisions.placement import scores_of
from survey.geometry import crossings
from survey.geometry.plain import EDGE_M, plain_crossings
from survey.propagation.penetration import sheet_losses_db, total_over_links
from survey.routing import cover_spots
from survey.scene import scene_of

LINKS_AT_ONCE = 200_000
ROUNDS = {"small": 30, "commercial": 4, "large": 2}
MOST_SPOTS = 250
"""Of the large scene's spots, so many are traced for the table: the rivals would take minutes for all."""


def loss_sums(scene):
    """Loss of every line in what it goes through, by the program's own kernel."""

    def losses_db(starts_m, ends_m):
        met = crossings(starts_m, ends_m, scene.sheets)
        each = sheet_losses_db(scene, met, starts_m, ends_m)
        return total_over_links(met, each, shape=(len(starts_m), len(ends_m))).ravel()

    return losses_db


def in_blocks(losses_db, scene, spots_m, workers=1):
    """All spots, a few at a time; what is added up is only the sum of all, and how many links differ from another's."""
    step = max(1, LINKS_AT_ONCE // len(scene.inverters))
    blocks = [spots_m[first : first + step] for first in range(0, len(spots_m), step)]
    return list(in_order(lambda block: losses_db(scene.inverters.at_m, block), blocks, workers=workers))


def timed(work):
    """What some work gives, and its wall-clock and processor time. [s]"""
    at_s, cpu_s = time.perf_counter(), time.process_time()
    answer = work()
    return answer, time.perf_counter() - at_s, time.process_time() - cpu_s


def ratios(size):
    """Rows of the table for one scene: name, wall-clock and processor time, links unlike the plain formula's."""
    from rivals import LOSS_DB, bare_embree, embree_through_trimesh

    plan = getattr(scenes, size)()
    scene = scene_of(plan)
    spots_m = scene.spots.at_m[:: max(1, len(scene.spots) // MOST_SPOTS)] if size == "large" else scene.spots.at_m
    own = loss_sums(scene)
    rivals = {
        "Embree through trimesh": lambda: in_blocks(embree_through_trimesh_db, scene, spots_m),
        "bare embreex": lambda: in_blocks(bare_embree_db, scene, spots_m),
        "survey, one thread": lambda: in_blocks(own, scene, spots_m),
        "survey, two threads": lambda: in_blocks(own, scene, spots_m, workers=2),
    }
    embree_through_trimesh_db, bare_embree_db = embree_through_trimesh(plan), bare_embree(plan)
    if size != "large":
        rivals["survey, whole ranking"] = lambda: scores_of(scene.spots, cover_spots(scene).matrix)
    best = {}
    for _ in range(ROUNDS[size]):
        for name, work in rivals.items():
            answer, wall_s, cpu_s = timed(work)
            before = best.get(name, (None, np.inf, np.inf))
            best[name] = (answer, min(before[1], wall_s), min(before[2], cpu_s))
    edge_m = np.full(len(scene.sheets), EDGE_M)

    def plain_sums_db(starts_m, ends_m):
        (start, end, *_), _ = plain_crossings(starts_m, ends_m, scene.sheets, edge_m)
        return LOSS_DB * np.bincount(start * len(ends_m) + end, minlength=len(starts_m) * len(ends_m))

    plain_db = in_blocks(plain_sums_db, scene, spots_m)
    links = len(scene.inverters) * len(spots_m)
    first = best["Embree through trimesh"]
    for name, (answer, wall_s, cpu_s) in best.items():
        wrong = "" if "ranking" in name else sum(map(lambda a, b: int(np.sum(a != b)), answer, plain_db))
        times = f"{first[1] / wall_s:.1f} | {first[2] / cpu_s:.1f}"
        print(
            f"| {size} | {links:,} | {name} | {wall_s * 1e3:.1f} | {cpu_s * 1e3:.1f} | {times} | {wrong} |", flush=True
        )


def cost_of_ranking(**counts):
    """Processor time [s] and peak of memory [MiB] of ranking all spots, in a process of its own."""
    ours, theirs = os.pipe()
    if os.fork() == 0:
        scene = scene_of(scenes.random_site(**counts, extent_m=200.0))
        cpu_s = min(timed(lambda: scores_of(scene.spots, cover_spots(scene, workers=1).matrix))[2] for _ in range(2))
        os.write(theirs, f"{cpu_s} {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}".encode())
        os._exit(0)
    os.wait()
    return [float(word) for word in os.read(ours, 100).split()]


def growth(picture):
    """Double each of inverters, spots and sheets in turn; time and memory in a table and a picture."""
    from matplotlib.figure import Figure

    base = {"inverters": 400, "spots": 2_000, "sheets": 200}
    figure = Figure(figsize=(7, 4.2), layout="constrained")
    axes = figure.subplots()
    print("| doubled | " + " | ".join(f"x {times}" for times in (1, 2, 4, 8)) + " | exponent |")
    print("| --- " * 6 + "|")
    for what, count in base.items():
        # The same ground all the time: more walls there mean more walls in every line.
        found = [cost_of_ranking(**(base | {what: count * times})) for times in (1, 2, 4, 8)]
        seconds = [one[0] for one in found]
        exponent = np.polyfit(np.log([1, 2, 4, 8]), np.log(seconds), 1)[0]
        cells = " | ".join(f"{cpu_s:.2f} s, {peak_mib:.0f} MiB" for cpu_s, peak_mib in found)
        print(f"| {what} from {count:,} | {cells} | {exponent:.2f} |", flush=True)
        axes.loglog([1, 2, 4, 8], seconds, marker="o", label=f"{what}: exponent {exponent:.2f}")
    axes.set_xticks([1, 2, 4, 8], ["1", "2", "4", "8"])
    axes.minorticks_off()
    axes.set_xlabel(f"times as many as {base['inverters']} inverters, {base['spots']:,} spots, {base['sheets']} sheets")
    axes.set_ylabel("processor time for ranking all spots [s]")
    low, high = axes.get_ylim()
    ticks = [tick for tick in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50) if low <= tick <= high]
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.set_title("How the cost of a ranking grows when one thing is doubled")
    axes.grid(visible=True, alpha=0.3)
    axes.legend()
    figure.savefig(picture)


def machine():
    """What this runs on, in a line."""
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        lines = [line for line in cpuinfo.read_text().splitlines() if line.startswith("model name")]
        model = lines[0].partition(": ")[2] if lines else model
    load = f", load {os.getloadavg()[0]:.1f} at the start" if hasattr(os, "getloadavg") else ""
    return f"{model}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}{load}"


if __name__ == "__main__":
    print(machine(), flush=True)
    if sys.argv[1:2] == ["growth"]:
        growth(sys.argv[2])
    else:
        print("\n| scene | links | by | wall [ms] | processor [ms] | times Embree, wall | processor | wrong links |")
        print("| --- " * 8 + "|")
        for one in sys.argv[1:] or ROUNDS:
            ratios(one)
