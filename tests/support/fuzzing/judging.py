"""What must hold of every run of the program, whatever it is given."""

import csv
import io
import json
import math
import resource
import signal
import warnings
import xml.etree.ElementTree as ET
from contextlib import contextmanager
from pathlib import Path

from click.testing import CliRunner

from survey.base.characters import harm_in
from survey.base.errors import SurveyError
from survey.cli import main
from survey.inputs.plan_file import read_plan
from survey.scene import scene_of

MOST_PAIRS = 1_500
"""Sites with more pairs of inverter and spot are only checked: a fuzzer is no benchmark."""
MOST_S = 60
"""No case may take longer, on a busy machine. [s]"""
MOST_GROWTH_MB = 2_000
"""No case may need more memory than this on top of what is there. [MB]"""
SHARES = ("reliability", "share", "chance", "best_share")


class BrokenError(AssertionError):
    """Something that must hold does not."""


def run_case(case, folder):
    """Run a case in an empty folder, which must be the current one, and judge it.

    Returns
    -------
    str
        The exit status, and whether only `check` was run.

    Raises
    ------
    BrokenError
        With what does not hold.
    """
    for name, content in case.files.items():
        (folder / name).write_bytes(content)
    words, scene = case.words, None
    with bounded(case):
        scene = scene_or_none(folder / "plan.toml")
        small = (
            scene is None
            or len(scene.inverters) * max(len(scene.inverters), len(scene.spots) + len(scene.gateways)) <= MOST_PAIRS
        )
        if not small and case.command != "materials":
            words = ["check", "plan.toml", "--json"]
        result = CliRunner().invoke(main, words, prog_name="survey", catch_exceptions=False)
    told = f"seed {case.seed}: survey {' '.join(words)}: exit {result.exit_code}: {result.stderr[-300:]}"
    judge(case, words, result, scene=scene, folder=folder, told=told)
    return f"{result.exit_code}" + ("" if small else " (large)")


def scene_or_none(path):
    """The site of a plan, where it can be read."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return scene_of(read_plan(path))
    except SurveyError:
        return None


def judge(case, words, result, *, scene, folder, told):
    """Raise `BrokenError` unless all holds that must."""
    out = result.stdout
    hold(0 <= result.exit_code <= 3, told)
    hold("Traceback" not in result.stderr + out, told)
    hold(result.exit_code != 3 or "--require" in words, told)
    hold(
        result.exit_code not in {1, 2} or (out == "" and result.stderr.strip() != ""), f"{told}: an error beside output"
    )
    hold(harm_in(out + result.stderr) is None, f"{told}: characters that act")
    hold(not list(folder.glob(".survey*")), f"{told}: a file is left behind")
    new = [path for path in folder.rglob("*") if path.name not in case.files]
    hold(
        result.exit_code not in {1, 2}
        or not [path for path in new if path.suffix != ".graphml" and "toml" not in path.suffix],
        f"{told}: wrote {new}",
    )
    for name, content in case.files.items():
        hold(name in words or (folder / name).read_bytes() == content, f"{told}: changed {name}")
    hold(
        (folder / "plan.toml").read_bytes() == case.files["plan.toml"] or case.command == "start",
        f"{told}: changed the plan",
    )
    if result.exit_code in {0, 3}:
        as_json = "--json" in words and "--help" not in words
        if as_json and out:
            hold(out.count("\n") == 1, f"{told}: more than one line of JSON")
            judge_record(json.loads(out, parse_constant=lambda word: hold(False, f"{told}: {word}")), scene, told)
        if "--csv" in words and out and not as_json:
            judge_csv(out, told)
    for path in new:
        judge_file(path, told)


def judge_record(record, scene, told):
    """Figures are finite, shares from 0 to 1, and margins what they are said to be."""
    hold(isinstance(record, dict), f"{told}: no object")
    for key, value in walk(record):
        if isinstance(value, float):
            hold(math.isfinite(value), f"{told}: {key} {value}")
        if key in SHARES and isinstance(value, int | float):
            hold(-1e-9 <= value <= 1 + 1e-9, f"{told}: {key} {value}")
    if scene is None:
        return
    need = dict(zip(scene.inverters.names, scene.inverters.need_dbm.tolist(), strict=True))
    for ends in (scene.gateways, scene.spots):
        need |= dict(zip(ends.names, ends.need_dbm.tolist(), strict=True))
    for link in links_in(record):
        up, down = link["uplink"], link["downlink"]
        levels = (up["level_dbm"], down["level_dbm"])
        if None in (*levels, link["margin_db"]) or link["gateway"] not in need or link["inverter"] not in need:
            continue
        hold(abs(up["margin_db"] - (levels[0] - need[link["gateway"]])) < 1e-5, f"{told}: uplink margin of {link}")
        hold(abs(down["margin_db"] - (levels[1] - need[link["inverter"]])) < 1e-5, f"{told}: downlink margin of {link}")
        hold(abs(link["margin_db"] - min(up["margin_db"], down["margin_db"])) < 1e-5, f"{told}: margin of {link}")


def links_in(record):
    for one in record.get("links") or ():
        if isinstance(one, dict) and isinstance(one.get("uplink"), dict) and isinstance(one.get("downlink"), dict):
            yield one


def walk(value, key=""):
    """Yield every value of a tree with the key that it stands under."""
    yield key, value
    if isinstance(value, dict):
        for name, one in value.items():
            yield from walk(one, name)
    elif isinstance(value, list):
        for one in value:
            yield from walk(one, key)


def judge_csv(text, told):
    rows = list(csv.reader(io.StringIO(text)))
    hold(len({len(row) for row in rows}) == 1, f"{told}: rows of different lengths")
    for row in rows[1:]:
        for cell in row:
            inert = not cell or cell[0] not in "=+-@\t\r" or is_number(cell)
            hold(inert, f"{told}: a spreadsheet would run {cell!r}")
            hold(cell.casefold() not in {"nan", "inf", "-inf"}, f"{told}: {cell}")


def is_number(text):
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def judge_file(path, told):
    """A file that was written is what its name says."""
    if path.suffix in {".svg", ".graphml", ".xml"}:
        ET.fromstring(path.read_bytes())  # noqa: S314  our own
    elif path.suffix in {".json", ".geojson"}:
        json.loads(path.read_text(encoding="utf-8"), parse_constant=lambda word: hold(False, f"{told}: {word}"))
    elif path.suffix == ".html":
        text = path.read_text(encoding="utf-8")
        hold("<script>alert" not in text and harm_in(text) is None, f"{told}: the page")


def hold(true, told):
    if not true:
        raise BrokenError(told)


@contextmanager
def bounded(case):
    """Refuse what takes too long or too much memory."""

    def ring(*_):
        raise BrokenError(f"seed {case.seed}: survey {' '.join(case.words)}: more than {MOST_S} s")

    before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    old = signal.signal(signal.SIGALRM, ring)
    signal.alarm(MOST_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, old)
    grown_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 - before_mb
    hold(grown_mb < MOST_GROWTH_MB, f"seed {case.seed}: {grown_mb:.0f} MB more memory")


def clear(folder):
    """Empty a folder."""
    for path in sorted(Path(folder).rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()
