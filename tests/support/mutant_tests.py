"""Which tests may notice a mutant, and whether they do: each run in a fork that has the libraries loaded already."""

from __future__ import annotations

import ast
import contextlib
import os
import re
import resource
import signal
import sys
import time
from collections import defaultdict
from pathlib import Path

MAX_PROCESSOR_S, MAX_S = 150, 1_800
"""A mutant that works longer hangs, which is noticed; by the clock only far later, since machines are busy."""
MOST_S = 12
"""So much of known test time for a mutant at most: what no test finds by then counts as not noticed."""
FIRST = 8
"""Tests that are run first: collecting hundreds takes longer than running the quickest."""
LIBRARIES = (
    *("pytest", "hypothesis", "numpy", "networkx", "click", "jinja2", "shapely", "matplotlib.figure"),
    *("scipy.optimize", "scipy.stats", "scipy.sparse.csgraph", "scipy.spatial", "scipy.integrate"),
)
BROKEN = 70
"""What a process returns that could not run any test, whatever the mutant."""
UNKNOWN_S = 0.05
"""The time of a test that is not in the list of times."""


class Reach:
    """The tests that reach a line, by data of coverage with a context for each test."""

    def __init__(self, root, data_files, time_files):
        from coverage import CoverageData

        self._root, self._times, self._known = root, defaultdict(float), {}
        self._data = [CoverageData(name) for name in data_files]
        for one in self._data:
            one.read()
        for name in time_files:
            for took, test in re.findall(
                r"^([\d.]+)s \w+ +(\S+)", Path(name).read_text(encoding="utf-8"), re.MULTILINE
            ):
                self._times[_function_of(test)] += float(took)
        self._used = _uses(root)

    def of(self, mutant):
        """Return stages of tests that reach a mutant: the nearest and quickest first."""
        found = self._reaching(mutant.path, *mutant.lines) if mutant.function else set()
        if not found and mutant.function:
            found = self._reaching(mutant.path, *mutant.inside)
        if not mutant.function:
            uses = self._used.get(mutant.name, [])
            found = set().union(*(self._reaching(path, line, line) for path, line in uses))
            found = found or self._reaching(mutant.path, 1, 10**6)
        near = set(nearest(self._root, mutant.path))
        order = sorted(found, key=lambda one: (self._takes_s(one) * (0.3 if one.split("::")[0] in near else 1.0), one))
        chosen, spent_s = [], 0.0
        for one in order:
            spent_s += self._takes_s(one)
            if spent_s <= MOST_S or not chosen:
                chosen.append(one)
        return [part for part in (chosen[:FIRST], chosen[FIRST:]) if part]

    def _reaching(self, path, first, last):
        if path not in self._known:
            self._known[path] = at = defaultdict(set)
            for data in self._data:
                for file in (one for one in data.measured_files() if one.endswith("/" + path)):
                    for line, contexts in data.contexts_by_lineno(file).items():
                        at[line] |= {_function_of(one) for one in contexts if one}
        at = self._known[path]
        return set().union(*(at[line] for line in list(at) if first <= line <= last))

    def _takes_s(self, test):
        return self._times.get(test, UNKNOWN_S)


class Guess:
    """The tests that may reach a line, by names: those nearest to the module, then those that import or name it."""

    def __init__(self, root):
        self._root = root
        files = [*sorted((root / "tests").rglob("test_*.py"))]
        self._texts = {str(one.relative_to(root)): one.read_text(encoding="utf-8") for one in files}

    def of(self, mutant):
        """Return stages of tests: the nearest, then at most four files more."""
        near = nearest(self._root, mutant.path)
        dotted = ".".join(Path(mutant.path).with_suffix("").parts).removesuffix(".__init__")
        room, _, module = dotted.rpartition(".")
        imports = re.compile(rf"from {re.escape(dotted)} import|from {re.escape(room)} import [^\n]*\b{module}\b")
        word = mutant.name or mutant.function
        named = [one for one, text in self._texts.items() if imports.search(text)]
        named += [one for one, text in self._texts.items() if word and re.search(rf"\b{word}\b", text)]
        more = [one for one in dict.fromkeys(named) if one not in near and not one.startswith("tests/cli")][:4]
        return [near, more] if more else [near]


def nearest(root, path):
    """Return the tests that stand nearest to a module: of its name, of its folder, else of its room."""
    *folders, name = Path(path).relative_to("survey").with_suffix("").parts
    while folders:
        folder = root.joinpath("tests", *folders)
        named = [*folder.glob(f"test_{name}*.py"), *folder.parent.glob(f"test_{folders[-1]}*.py")]
        if named:
            return [str(one.relative_to(root)) for one in named]
        if folder.is_dir() and list(folder.glob("test_*.py")):
            return [str(folder.relative_to(root))]
        name = folders.pop()
    return ["tests/library", "tests/cli/test_agreement.py"]


def first_failure(folder, tests):
    """Return the first of some tests that fails in a copy of the project, "hangs" if it does not end, else ""."""
    said = _run(folder, tests, ["-x"])
    return "hangs" if said is None else next(iter(said), "")


def failing(folder, tests):
    """Return those of some tests that fail."""
    return set(_run(folder, sorted(tests), []) or ()) if tests else set()


class _Failures:
    def __init__(self, into):
        self._into = into

    def pytest_runtest_logreport(self, report):
        if report.failed:
            os.write(self._into, f"{report.nodeid}\n".encode())

    def pytest_collectreport(self, report):
        if report.failed:
            os.write(self._into, f"{report.nodeid} (not collected)\n".encode())


def _run(folder, tests, options):
    """Return the names of the tests that fail, in a process of its own; None if it does not end."""
    _preload()
    read, write = os.pipe()
    process = os.fork()
    if not process:
        os.setsid()
        os.close(read)
        _in_child(folder, tests, options, write)
    os.close(write)
    end_s = time.monotonic() + MAX_S
    while True:
        ended, status = os.waitpid(process, os.WNOHANG)
        if ended or time.monotonic() > end_s:
            break
        time.sleep(0.02)
    if not ended:
        os.killpg(process, signal.SIGKILL)
        os.waitpid(process, 0)
        os.close(read)
        return None
    with os.fdopen(read, encoding="utf-8") as said:
        names = said.read().split("\n")[:-1]
    code = os.waitstatus_to_exitcode(status)
    if code == -signal.SIGXCPU:
        return None
    if code == BROKEN:
        raise RuntimeError(f"cannot run {tests}")
    return names if names or not code else [f"{tests[0]} (exit {code})"]


def _in_child(folder, tests, options, write):
    import pytest

    code = BROKEN
    with contextlib.suppress(BaseException):
        resource.setrlimit(resource.RLIMIT_AS, (8 * 2**30, 8 * 2**30))
        resource.setrlimit(resource.RLIMIT_CPU, (MAX_PROCESSOR_S, MAX_PROCESSOR_S + 5))
        os.chdir(folder)
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nothing, stream)
        os.environ["PYTHONPATH"] = str(folder)
        here = str(Path(__file__).parent)
        sys.path[:] = [str(folder), *(one for one in sys.path if one != here)]
        for name in ("mutant_tests", "mutating"):
            sys.modules.pop(name, None)
        quiet = ["-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning"]  # loaded before
        code = pytest.main([*quiet, *options, *tests], plugins=[_Failures(write)])
    os._exit(int(code))


def _preload():
    """Load what tests need of libraries once, so that each fork has it."""
    for name in LIBRARIES:
        with contextlib.suppress(ImportError):
            __import__(name)


def _function_of(context):
    """Return a test's name without its parameters and phase."""
    return context.split("|")[0].split("[")[0]


def _uses(root):
    """Return where each name in capitals, and each field, is used: pairs of path and line."""
    found = defaultdict(list)
    for path in sorted((root / "survey").rglob("*.py")):
        for one in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = one.id if isinstance(one, ast.Name) else one.attr if isinstance(one, ast.Attribute) else ""
            if name and isinstance(one.ctx, ast.Load):
                found[name].append((str(path.relative_to(root)), one.lineno))
    return found
