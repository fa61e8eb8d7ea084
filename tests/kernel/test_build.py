"""The compiled kernel is found, is that of these sources, takes only what it can read, and can be done without."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from survey import kernel
from survey.kernel import build

ROOT = Path(__file__).parents[2]
HOUSE, FARM = (str(ROOT / "sites" / f"{name}.toml") for name in ("house", "farm"))
needs_kernel = pytest.mark.skipif(kernel.library() is None, reason="no kernel was built here")


def survey(*words, **environment):
    """Run the program in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "survey", *words],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        check=True,
        timeout=120,
        text=True,
    )


@needs_kernel
def test_the_kernel_is_that_of_these_sources():
    assert kernel.library().survey_stamp().decode() == build.stamp()


@needs_kernel
def test_without_the_kernel_the_answer_is_the_same_and_nothing_is_said_where_it_was_asked_for():
    with_it, without = (
        survey("links", HOUSE, "--gateway", "street post", "--json"),
        survey("links", HOUSE, "--gateway", "street post", "--json", **{build.SWITCH: "off"}),
    )
    assert with_it.stderr == without.stderr == ""
    assert json.loads(with_it.stdout) == json.loads(without.stdout)


@needs_kernel
def test_a_kernel_of_other_sources_is_not_used_and_one_warning_says_so(tmp_path):
    old = tmp_path / "old.so"
    whole = build.LIBRARY.read_bytes()
    assert whole.count(build.stamp().encode()) == 1
    old.write_bytes(whole.replace(build.stamp().encode(), b"00000000"))
    result = survey("links", FARM, **{build.SWITCH: str(old)})
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("warning: the compiled kernel was built from other sources than these: ")
    assert result.stdout == survey("links", FARM).stdout


@pytest.mark.parametrize("content", [None, b"", b"no library"])
def test_a_kernel_that_cannot_be_loaded_is_done_without_and_one_warning_says_so(tmp_path, content):
    library = tmp_path / "broken.so"
    if content is not None:
        library.write_bytes(content)
    result = survey("links", FARM, **{build.SWITCH: str(library)})
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("warning: the compiled kernel cannot be loaded (")


def test_a_build_that_fails_says_why_and_leaves_no_kernel_of_other_sources(tmp_path, monkeypatch):
    if build.compiler() is None:
        pytest.skip("no C compiler on this machine")
    library = tmp_path / build.LIBRARY.name
    library.write_bytes(b"an old one")
    assert "no-such-flag" in build.build(library, more_flags=["--no-such-flag"])
    assert list(tmp_path.iterdir()) == []
    assert build.build(library, more_flags=["-O0"]) is None  # quick to build
    assert list(tmp_path.iterdir()) == [library]
    monkeypatch.setattr(build, "COMPILERS", ())
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.setattr(build, "zig", lambda: None)
    assert "no C compiler found" in build.build(library)
    assert not library.exists()


def test_indices_out_of_their_range_are_refused():
    assert kernel.indices("row", [0, 4], -1, below=5).tolist() == [0, 4]
    for rows in ([-1, 2], [0, 5], [0.5], [[0]]):
        with pytest.raises(ValueError, match=r"^row: "):
            kernel.indices("row", rows, -1, below=5)


@needs_kernel
def test_an_array_of_another_kind_never_reaches_the_kernel():
    for array in (np.zeros(3, dtype=np.float32), np.zeros((3, 2)).T):
        with pytest.raises(TypeError, match="laid out"):
            kernel.call(kernel.library(), "survey_crossings", array)
