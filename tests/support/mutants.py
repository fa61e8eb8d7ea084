"""Mutants: the program with one small thing changed. A test should notice; the tests nearest to the change are run.

`python tests/support/mutants.py --count 20 --seed 1` tells which changes nothing noticed, and exits 1 beyond `--most`.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LONGEST_S = 240
"""A mutant that runs longer hangs, which is noticed."""
SWAPS = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.USub: ast.UAdd,
}


@dataclass(frozen=True)
class Mutant:
    """One change: a file, the line it is on, what stood there and what stands there now, and the whole file."""

    path: str
    line: int
    before: str
    after: str
    text: str

    def __str__(self):
        return f"{self.path}:{self.line}: {self.before}  ->  {self.after}"


def mutants_of(path, text):
    """Yield every mutant of a file, each with its whole text."""
    places = _places(ast.parse(text))
    for number, node in enumerate(places):
        for which in range(len(_changes(node))):
            tree = ast.parse(text)
            same = _places(tree)[number]
            before = ast.unparse(same)
            line = same.lineno
            _changes(same)[which]()
            ast.fix_missing_locations(tree)
            yield Mutant(path=path, line=line, before=before, after=ast.unparse(same), text=ast.unparse(tree))


def _places(tree):
    """Return the nodes that may be changed; types in annotations are none, since no test can tell."""
    typed = [getattr(one, key, None) for one in ast.walk(tree) for key in ("annotation", "returns")]
    left = {id(inner) for one in typed if one is not None for inner in ast.walk(one)}
    return [one for one in ast.walk(tree) if id(one) not in left and _changes(one)]


def _changes(node):
    """Return what may be done to a node: functions that change it."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in SWAPS:
        return [lambda: node.ops.__setitem__(0, SWAPS[type(node.ops[0])]())]
    if isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp) and type(node.op) in SWAPS:
        return [lambda: setattr(node, "op", SWAPS[type(node.op)]())]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return [
            lambda: (setattr(node, "op", ast.Not()), setattr(node, "operand", ast.UnaryOp(ast.Not(), node.operand)))
        ]
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        return [lambda: setattr(node, "value", not node.value)]
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return [lambda: setattr(node, "value", node.value + 1)]
    return []


def every_mutant(files):
    """Return the places of all mutants without their texts: pairs of path and number."""
    found = []
    for path in files:
        text = path.read_text(encoding="utf-8")
        count = len(_places(ast.parse(text)))
        found += [(path, k) for k in range(count)]
    return found


def nearest_tests(path):
    """Return the tests that stand nearest to a module: of its name, of its folder, else of its room."""
    *folders, name = Path(path).relative_to("survey").with_suffix("").parts
    while folders:
        folder = ROOT.joinpath("tests", *folders)
        named = [*folder.glob(f"test_{name}*.py"), *folder.parent.glob(f"test_{folders[-1]}*.py")]
        if named:
            return [str(one.relative_to(ROOT)) for one in named]
        if folder.is_dir() and list(folder.glob("test_*.py")):
            return [str(folder.relative_to(ROOT))]
        name = folders.pop()
    return ["tests/library", "tests/cli/test_agreement.py"]


def passes(folder, path):
    """Whether the tests nearest to a module pass in a copy of the project; a run that hangs does not."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *nearest_tests(path)]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    settings = {"cwd": folder, "env": environment, "capture_output": True, "timeout": LONGEST_S}
    try:
        return subprocess.run(command, check=False, **settings).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def is_noticed(mutant, folder):
    """Whether the tests fail with a mutant, in a copy of the project."""
    target = Path(folder) / mutant.path
    before = target.read_text(encoding="utf-8")
    target.write_text(mutant.text, encoding="utf-8")
    try:
        return not passes(folder, mutant.path)
    finally:
        target.write_text(before, encoding="utf-8")


def chosen(count, seed, only=""):
    """Return some mutants of the whole package, drawn by a seed."""
    files = [one for one in sorted((ROOT / "survey").rglob("*.py")) if only in str(one)]
    some = random.Random(seed).sample(every_mutant(files), count)  # noqa: S311  no secret
    for path, number in some:
        named = str(path.relative_to(ROOT))
        for k, mutant in enumerate(mutants_of(named, path.read_text(encoding="utf-8"))):
            if k == number:
                yield mutant


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="part of a path")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no mutant after this")
    parser.add_argument("--most", type=int, default=10**9, help="so many may go unnoticed")
    asked = parser.parse_args()
    start_s, done, left, sound = time.monotonic(), 0, [], {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "copy"
        leave = shutil.ignore_patterns(".git", ".venv*", "__pycache__", ".hypothesis", "*.pyc")
        shutil.copytree(ROOT, folder, ignore=leave)
        for mutant in chosen(asked.count, asked.seed, asked.only):
            if time.monotonic() - start_s > asked.seconds:
                break
            tests = tuple(nearest_tests(mutant.path))
            if tests not in sound:  # what fails without a mutant tells nothing
                sound[tests] = passes(folder, mutant.path)
            if not sound[tests]:
                print(f"no verdict, its tests fail anyway: {mutant.path}", flush=True)
                continue
            noticed = is_noticed(mutant, folder)
            done += 1
            left += [] if noticed else [mutant]
            print(f"{'noticed' if noticed else 'NOT NOTICED'}: {mutant}", flush=True)
    print(f"{done - len(left)} of {done} mutants noticed, {time.monotonic() - start_s:.0f} s")
    sys.exit(len(left) > asked.most)


if __name__ == "__main__":
    main()
