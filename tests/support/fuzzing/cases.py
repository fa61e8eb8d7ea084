"""A case: files in a folder and the words of a command, made from a seed and nothing else."""

import csv
import io
import json
import random
from dataclasses import dataclass

from fuzzing import damage, seeds

NO_NAMES = ["nobody", "=1+1", "", "N", "office", "i1", "x" * 300, "two\nlines"]
COUNTS = [*["1", "2", "3"] * 4, "0", "-1", "1000", "1001", "nan", "x", ""]
NUMBERS = [*["0", "1", "5", "0.1"] * 4, "-1", "nan", "inf", "1e400", "1e-300", "100", "x", ""]
OUTS = [
    "r.txt",
    "r.json",
    "r.csv",
    "r.html",
    "r.svg",
    "r.png",
    "r.pdf",
    "r.dxf",
    "r.geojson",
    "r",
    "plan.toml",
    "no/r.txt",
    ".",
]


@dataclass(frozen=True)
class Case:
    """What is run.

    Attributes
    ----------
    seed : int
        What it was made from.
    files : dict of str to bytes
        By name, what lies in the folder.
    words : list of str
        The command.
    """

    seed: int
    files: dict
    words: list

    @property
    def as_json(self):
        return "--json" in self.words

    @property
    def command(self):
        return self.words[0]


def case_of(seed):
    """Return the case of a seed."""
    draw = random.Random(seed)  # noqa: S311  no secret
    which = draw.choices(range(len(seeds.plans())), weights=[4, 2, 4, 3, 1])[0]
    aim = draw.choices(
        ["plan", "table", "fit", "options", "drawing", "bytes", "pattern"], weights=[8, 4, 2, 3, 2, 2, 1]
    )[0]
    which = 3 if aim in {"drawing", "pattern"} else which
    tree = seeds.plans()[which]
    hurt = {"plan": 2, "options": 1}.get(aim, 0)
    files = {
        "plan.toml": damage.toml(damage.damaged_tree(draw, tree, most=hurt)).encode(),
        "log.csv": _csv(draw, seeds.log(which), most=3 if aim == "table" else 0),
        "readings.csv": _csv(draw, seeds.readings(which), most=3 if aim == "table" else 0),
        "whip.csv": _csv(draw, seeds.PATTERN, most=3 if aim == "pattern" else 0),
        "list.csv": _csv(draw, seeds.LIST, most=3 if aim == "drawing" else 0),
        "map.geojson": json.dumps(
            damage.damaged_tree(draw, seeds.MAP, most=3 if aim == "drawing" else 0), default=str
        ).encode(),
        "site.dxf": _dxf(draw, most=3 if aim == "drawing" else 0),
        "fit.json": _fit(draw, most=3 if aim == "fit" else 0),
    }
    if aim == "bytes":
        name = draw.choice(list(files))
        files[name] = damage.damaged_bytes(draw, files[name], most=5)
    return Case(seed=seed, files=files, words=_words(draw, aim, *seeds.NAMES[which]))


def _csv(draw, rows, *, most):
    separator = draw.choice([",", ",", ";", "\t"]) if most else ","
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=draw.choice(["\n", "\r\n", "\r"]) if most else "\n").writerows(
        damage.damaged_table(draw, rows, most=most)
    )
    coding = draw.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"]) if most else "utf-8"
    return text.getvalue().encode(coding, "replace")


def _dxf(draw, *, most):
    lines = seeds.dxf().split("\n")
    for _ in range(draw.randint(0, most)):
        k = draw.randrange(len(lines))
        lines[k] = draw.choice(
            ["", "nan", "1e400", "-5", "LINE", "ENDSEC", " 10", "999", "x" * 50, lines[draw.randrange(len(lines))]]
        )
    return "\n".join(lines).encode("utf-8", "replace")


def _fit(draw, *, most):
    return json.dumps(damage.damaged_tree(draw, FIT, most=most), default=str).encode()


FIT = {
    "plan": "plan.toml",
    "site": "invented yard",
    "plan_mark": "0",
    "offset_db": {"value": -1.5, "stderr": 1.0},
    "path_loss_exponent": {"value": 2.2, "stderr": 0.2, "before_stderr": 0.5},
    "shadowing_db": 5.0,
    "nearest_m": 5.0,
    "farthest_m": 100.0,
    "ends_sd_db": 2.0,
    "materials": {"welded steel": {"loss_db": 60.0, "stderr": 3.0, "before_db": 60.0, "own": False}},
    "ends": [{"name": "office", "kind": "gateway", "deviation_db": 0.5}],
    "gateways_read": ["office", "post"],
    "covariance": [[1.0, 0.1, 0.0, 0.0], [0.1, 0.04, 0.0, 0.0], [0.0, 0.0, 9.0, 0.0], [0.0, 0.0, 0.0, 1.0]],
}


def _words(draw, aim, inverters, places):
    inverters, places = ([*names * (20 // len(names)), *NO_NAMES] for names in (inverters, places))
    by_aim = {
        "table": ["fit", "dropouts"],
        "fit": ["links", "place", "explain", "network"],
        "drawing": ["check", "links"],
    }
    usual = [
        "check",
        "links",
        "place",
        "compare",
        "explain",
        "network",
        "export",
        "draw",
        "materials",
        "fit",
        "dropouts",
    ]
    command = draw.choice(by_aim.get(aim, usual))
    if draw.random() < 0.02:
        command = draw.choice(["report", "start", "chekc", ""])
    words = [command, *_arguments(draw, command, inverters, places)]
    for option in _options(draw, command, inverters, places):
        if draw.random() < (0.35 if aim == "options" else 0.12):
            words += option
    if aim == "fit":
        words += ["--fit", "fit.json"]
    if command not in {"draw", "report", "export", "start"} and "--csv" not in words and draw.random() < 0.6:
        words.append("--json")
    if aim == "options" and draw.random() < 0.1:
        words.append(draw.choice(["--nothing", "--json=1", "-x", "--", "extra", "--help", "\x00"]))
    return words


def _arguments(draw, command, inverters, places):
    if command == "materials":
        return []
    words = [draw.choice(["new.toml", "plan.toml"])] if command == "start" else ["plan.toml"]
    if command == "compare":
        words += [draw.choice(places) for _ in range(draw.randint(2, 3))]
    elif command == "explain":
        words += [draw.choice(inverters) for _ in range(draw.randint(1, 2))]
    elif command in {"fit", "dropouts"}:
        words.append({"fit": "readings.csv", "dropouts": "log.csv"}[command])
    elif command in {"draw", "report", "export"}:
        usual = {"draw": ["r.svg", "r.svg", "r.png"], "report": ["r.html"], "export": ["r.csv", "r.geojson", "r.dxf"]}
        words += ["--out", draw.choice(usual[command] if draw.random() < 0.9 else OUTS)]
    return words


def _options(draw, command, inverters, places):
    """Return options that a command has, each with a value that may be wrong."""
    place, inverter = draw.choice(places), draw.choice(inverters)
    runs = [["--draws", draw.choice(["1", "2", "7", "20", "0", "x"])], ["--seed", draw.choice(NUMBERS)]]
    relays, fit = ["--relays", draw.choice(["0", "1", "2", "20", "21", "x"])], ["--fit", "fit.json"]
    placing = [
        ["--gateways", draw.choice(COUNTS)],
        ["--fewest"],
        ["--spare"],
        ["--time-limit", draw.choice(["0", "1", "nan", "-1"])],
    ]
    gateway, out = ["--gateway", place], ["--out", draw.choice(OUTS)]
    log = [
        ["--dates", draw.choice(["day-first", "month-first", "x"])],
        ["--column", draw.choice(["heard=heard", "time=x", "x=y", "=", "power_w=level_dbm"])],
    ]
    return {
        "check": [["--sheets", draw.choice(["s.toml", *OUTS])], ["--as-buildings", "b.toml"], out],
        "links": [
            gateway,
            ["--inverter", inverter],
            ["--array", draw.choice(["N", "S", "x"])],
            ["--state", "fails"],
            ["--sort", "margin"],
            fit,
            ["--csv"],
            ["--require"],
            out,
        ],
        "place": [
            ["--top", draw.choice(COUNTS)],
            ["--all"],
            *placing,
            relays,
            *runs,
            fit,
            ["--csv"],
            ["--require"],
            out,
        ],
        "compare": [["--inverter", inverter], ["--with", "plan.toml"], relays, *runs, fit, ["--csv"], out],
        "explain": [
            gateway,
            ["--cable-m", draw.choice(NUMBERS)],
            ["--cable-loss-db-per-m", draw.choice(NUMBERS)],
            ["--more-margin"],
            relays,
            fit,
            ["--csv"],
            out,
        ],
        "network": [
            gateway,
            ["--graphml", draw.choice(["g.graphml", "g.xml", *OUTS])],
            relays,
            fit,
            ["--csv"],
            ["--require"],
            out,
        ],
        "fit": [["--check"], ["--exponent-sd", draw.choice(NUMBERS)], ["--anchored"], ["--plain"], out],
        "dropouts": [["--before", "log.csv"], ["--remedies"], *log, fit, out],
        "draw": [
            ["--kind", draw.choice(["map", "sides", "coverage", "profile", "network", "budget", "days", "x"])],
            gateway,
            ["--inverter", inverter],
            ["--height-m", draw.choice(NUMBERS)],
            ["--points", draw.choice(["4", "50", "3", "x"])],
            ["--gateway-places"],
            ["--show", "chance"],
            ["--log", "log.csv"],
        ],
        "export": [gateway, fit],
        "report": [
            ["--draws", "3"],
            gateway,
            ["--log", "log.csv"],
            ["--readings", "readings.csv"],
            ["--date", draw.choice(["2024-01-31", "x"])],
        ],
        "materials": [["--frequency-mhz", draw.choice([*NUMBERS, "868", "30", "30000", "2440"])], out],
        "start": [["--like", draw.choice(["house", "ground", "x"])], ["--force"]],
    }.get(command, [])
