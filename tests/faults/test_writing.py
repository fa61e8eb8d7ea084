"""Whatever goes wrong while a command writes: the old file or the new one, never a part, and nothing left behind."""

import os
import resource
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
from places import ROOT
from writers import WRITERS

from survey.base.files import replace_whole

every_writer = pytest.mark.parametrize("writer", WRITERS.values(), ids=WRITERS)
SOME = {name: WRITERS[name] for name in ("links", "network --graphml", "export CSV")}
INPUTS = ["plan.toml", "whip.csv", "map.geojson", "site.dxf", "list.csv"]
"""What every command reads that reads the plan."""


def content_of(folder):
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


@contextmanager
def no_file_over(most_bytes):
    """Let no file of this process grow over a few bytes, as on a disk that is nearly full."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@every_writer
def test_a_disk_that_fills_while_writing(run, site, writer):
    words, ending = writer
    old = f"old{ending}"
    force = ["--force"] if words == ["start"] else []
    (site / old).write_text("mine", encoding="utf-8")
    before = content_of(site)
    for name in (old, f"new{ending}"):
        with no_file_over(100):
            result = run(*words, name, *force)
        if words[:3] == ["check", "plan.toml", "--sheets"] and name == old:
            assert result.stderr == f"{old}: is a plan; name another file\n"
        else:
            assert result.stderr.splitlines()[-1] == f"{name}: cannot be written: {os.strerror(27)}"
        assert result.exit_code == 1
        assert content_of(site) == before


@every_writer
def test_a_folder_that_becomes_read_only_during_the_work(run, site, monkeypatch, writer):
    words, ending = writer

    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    before = content_of(site)
    result = run(*words, f"new{ending}")
    assert result.exit_code == 1
    assert result.stderr.splitlines()[-1] == f"new{ending}: cannot be written: Read-only file system"
    assert content_of(site) == before


def reads(words):
    return {word for word in words if word.endswith((".toml", ".csv", ".json"))} | (
        {*INPUTS} if "plan.toml" in words else set()
    )


@every_writer
@pytest.mark.parametrize("ways", [[4], pytest.param([0, 1, 2, 3], marks=pytest.mark.slow)], ids=["hard link", "others"])
def test_an_output_that_is_an_input_by_path_link_or_hard_link(run, site, writer, ways):
    words, ending = writer
    before = content_of(site)
    names = sorted(reads(words))
    for number, name in enumerate(
        names if len(ways) > 1 else ["plan.toml", *names[-2:]] if "plan.toml" in names else []
    ):
        link, hard_link = f"link{number}{ending}", f"hard{number}{ending}"
        (site / link).symlink_to(name)
        (site / hard_link).hardlink_to(site / name)
        outs = (name, f"./{name}", str(site / name), link, hard_link)
        for out in (outs[way] for way in ways):
            result = run(*words, out)
            assert result.exit_code == 1, (out, result.stderr)
            assert result.stdout == ""
            assert content_of(site).items() >= before.items(), out
        (site / link).unlink()
        (site / hard_link).unlink()
    assert content_of(site) == before


def test_start_writes_over_nothing_even_by_a_link(run, site):
    (site / "link.toml").symlink_to("plan.toml")
    before = content_of(site)
    for words in (["link.toml"], ["plan.toml"]):
        assert run("start", *words).exit_code == 1
    assert content_of(site) == before


# ------------------------------------------------------------------------------------------ ended from outside, killed

MOMENTS = """
import os, signal, sys
from pathlib import Path
step, number = sys.argv[1], int(sys.argv[2])
def die(*words, **more):
    os.kill(os.getpid(), number)
    return real(*words, **more)
where, name = {"sync": (os, "fsync"), "mode": (Path, "chmod"), "replace": (Path, "replace"), "try": (os, "stat")}[step]
real = getattr(where, name)
from survey.cli import main
setattr(where, name, die)
main(sys.argv[3:], prog_name="survey")
"""


def ended(folder, step, number, *words):
    """Run a command in a process that gets a signal at a certain step of its work."""
    command = [sys.executable, "-c", MOMENTS, step, str(int(number)), *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=60, check=False)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=lambda one: one.name)
@pytest.mark.parametrize("step", ["sync", "replace"])
def test_a_signal_at_a_step_of_writing(site, step, number):
    (site / "old.txt").write_text("mine", encoding="utf-8")
    before = content_of(site)
    result = ended(site, step, number, "materials", "--out", "old.txt")
    after = content_of(site)
    parts = [name for name in after if name.endswith(".part")]
    if number == signal.SIGKILL:
        assert (after["old.txt"], len(parts)) == (b"mine", 1), "the old file, and what nobody could remove"
        assert result.returncode == -number
    else:
        assert parts == []
        assert after["old.txt"].startswith(b"Built-in materials"), "the new file, whole"
        assert result.returncode in {-number, 1}
        assert b"Traceback" not in result.stderr
    assert {name: after[name] for name in before if name != "old.txt"} == {
        name: one for name, one in before.items() if name != "old.txt"
    }


def at_moments(folder, words, *, numbers, moments):
    """End a command by a signal after a share of the time that it takes; yield what is there."""
    command = [sys.executable, "-m", "survey", *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    start_s = time.monotonic()
    subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=60, check=True)
    whole_s, new = time.monotonic() - start_s, (folder / words[-1]).read_bytes()
    for number in numbers:
        for moment in range(moments):
            (folder / words[-1]).write_bytes(b"mine")
            with subprocess.Popen(command, cwd=folder, env=environment, stdout=-1, stderr=-1) as program:
                time.sleep(whole_s * (moment + 0.5) / moments)
                program.send_signal(number)
                told = program.communicate(timeout=60)[1]
            yield number, (folder / words[-1]).read_bytes(), new, told


@pytest.mark.slow
@every_writer
def test_signals_at_many_moments(site, writer):
    words, ending = writer
    if words in (["start"], ["check", "plan.toml", "--sheets"]):
        pytest.skip("never writes over a plan")
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)
    for number, found, new, told in at_moments(site, [*words, f"r{ending}"], numbers=numbers, moments=3):
        whole = found == new or (
            ending in {".html", ".pdf", ".json", ".dxf"} and len(found) > 100
        )  # they may hold the time
        assert found == b"mine" or whole
        if number != signal.SIGKILL:
            assert b"Traceback" not in told or b"KeyboardInterrupt" in told
            assert not list(site.glob(".survey-*"))


# ------------------------------------------------------------------------------------------------- two at the same time


def test_two_writers_and_a_reader_at_once(tmp_path):
    path = tmp_path / "a"
    contents = [letter * 200_000 for letter in (b"a", b"b")]
    replace_whole(path, contents[0])
    seen, stop = set(), threading.Event()

    def look():
        while not stop.is_set():
            seen.add(path.read_bytes())

    def write(content):
        for _ in range(15):
            replace_whole(path, content)

    reader = threading.Thread(target=look)
    writers = [threading.Thread(target=write, args=(content,)) for content in contents]
    for one in (reader, *writers):
        one.start()
    for one in writers:
        one.join()
    stop.set()
    reader.join()
    assert seen <= set(contents)
    assert [one.name for one in tmp_path.iterdir()] == ["a"]


@pytest.mark.slow
@pytest.mark.parametrize("writer", SOME.values(), ids=SOME)
def test_two_commands_that_write_the_same_file(site, writer):
    words, ending = writer
    command = [sys.executable, "-m", "survey", *words, f"r{ending}"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    both = [subprocess.Popen(command, cwd=site, env=environment, stdout=-1, stderr=-1) for _ in range(2)]
    for one in both:
        one.communicate(timeout=60)
    assert [one.returncode for one in both] == [0, 0]
    assert (site / f"r{ending}").stat().st_size > 100
    assert not list(site.glob(".survey-*"))


@pytest.mark.parametrize("words", [["start", "new.toml"], ["--help"], ["--version"], ["materials", "--json"]])
def test_a_reader_that_has_gone_brings_no_traceback(tmp_path, words):
    read_end, write_end = os.pipe()
    os.close(read_end)
    command, environment = [sys.executable, "-m", "survey", *words], {**os.environ, "PYTHONPATH": str(ROOT)}
    with os.fdopen(write_end, "wb") as nobody_reads:
        settings = {"stdout": nobody_reads, "stderr": subprocess.PIPE, "timeout": 60}
        result = subprocess.run(command, cwd=tmp_path, env=environment, check=False, **settings)
    assert (result.returncode, result.stderr) == (1, b"")
    left = [Path(one).name for one in tmp_path.iterdir()]
    assert left == (["new.toml"] if words[0] == "start" else [])
