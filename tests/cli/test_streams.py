"""Odd names, streams that do not take everything or are closed, and progress."""

import io
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from commands import as_text_and_json, every_command, every_command_on_a_plan
from places import ROOT, SITES
from plans import SPOTS, changed, write

from survey.cli import options, progress
from survey.inputs.plan_file import read_plan
from survey.routing import cover_spots
from survey.scene import scene_of

# ------------------------------------------------------------------------------------------------- odd names, streams

UNICODE = ('"i1"', "'Wechselrichter \"Süd\" 屋根 🌞'")


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "cp1251", "ascii"])
def test_json_is_whole_whatever_letters_the_terminal_has(process, folder, encoding):
    write(folder, UNICODE)
    result = process("links", "plan.toml", "--json", env={"PYTHONIOENCODING": encoding})
    assert (result.returncode, result.stderr) == (0, b"")
    told = result.stdout.decode("utf-8" if encoding == "ascii" else encoding)
    assert json.loads(told)["links"][0]["inverter"] == 'Wechselrichter "Süd" 屋根 🌞'


@pytest.mark.parametrize(("encoding", "shown"), [("utf-8", "Süd 屋根"), ("latin-1", "Süd ??"), ("cp1251", "S?d ??")])
def test_text_shows_a_question_mark_for_letters_that_the_terminal_has_not(process, folder, encoding, shown):
    write(folder, ('"i1"', '"Süd 屋根"'))
    result = process("links", "plan.toml", env={"PYTHONIOENCODING": encoding})
    assert (result.returncode, result.stderr) == (0, b"")
    assert f"\n{shown}  " in result.stdout.decode(encoding).replace("\r", "")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere every file name is text")
@as_text_and_json
def test_a_plan_whose_name_is_no_text_can_be_read_and_its_result_written(process, folder, form):
    (folder / os.fsdecode(b"pl\xffn.toml")).write_text(changed(more=SPOTS), encoding="utf-8")
    result = process("check", b"pl\xffn.toml", *form, "--out", b"r\xffsult.txt")
    assert (result.returncode, result.stdout) == (0, b"")
    text = (folder / os.fsdecode(b"r\xffsult.txt")).read_text(encoding="utf-8")
    assert json.loads(text)["plan"] == "pl\udcffn.toml" if form else text.startswith("pl?n.toml: invented yard\n")


@every_command
def test_a_reader_that_stops_early_brings_no_traceback(folder, words):
    write(folder, more=SPOTS)
    command = [sys.executable, "-m", "survey", *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    read_end, write_end = os.pipe()
    os.close(read_end)
    with os.fdopen(write_end, "wb") as nobody_reads:
        result = subprocess.run(
            command, cwd=folder, env=environment, stdout=nobody_reads, stderr=subprocess.PIPE, timeout=60, check=False
        )
    assert result.stderr == b""
    assert result.returncode == 1


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="there is no device that is always full")
def test_standard_output_on_a_full_disk_is_told(process, folder):
    write(folder, more=SPOTS)
    with Path("/dev/full").open("wb") as full:
        result = process("links", "plan.toml", capture_output=False, stdout=full, stderr=subprocess.PIPE)
    assert result.returncode == 1
    assert result.stderr == b"standard output cannot be written: No space left on device\n"


@every_command
@as_text_and_json
def test_a_closed_standard_output_is_told(folder, words, form):
    write(folder, more=SPOTS)
    command = ["sh", "-c", 'exec "$@" >&-', "sh", sys.executable, "-m", "survey", *words, *form]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    settings = {"cwd": folder, "env": environment, "capture_output": True, "timeout": 60}
    result = subprocess.run(command, check=False, **settings)
    assert (result.returncode, result.stdout) == (1, b"")
    assert result.stderr == b"standard output is closed; name a file with --out\n"
    result = subprocess.run([*command, "--out", "result.txt"], check=False, **settings)
    assert (result.returncode, result.stderr) == (0, b"written: result.txt\n")


@every_command_on_a_plan
def test_a_closed_standard_error_is_no_fault(folder, words):
    write(folder, more=SPOTS)
    command = ["sh", "-c", 'exec "$@" 2>&-', "sh", sys.executable, "-m", "survey", *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    result = subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=60, check=False)
    assert (result.returncode, result.stderr) == (0, b"")
    assert result.stdout.decode("utf-8").startswith(("invented yard, 868 MHz", "plan.toml: invented yard\n"))


# --------------------------------------------------------------------------------------------------------- progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("quiet_s", "shown"), [(0.0, True), (60.0, False)])
def test_a_bar_is_shown_on_a_terminal_once_a_command_takes_long(monkeypatch, quiet_s, shown):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr("survey.cli.progress.QUIET_S", quiet_s)
    with options.progress("trying spots") as told:
        for done in range(1, 5):
            told(done, 4)
            time.sleep(0.02)
    assert ("trying spots" in terminal.getvalue()) == shown
    assert ("100%" in terminal.getvalue()) == shown


def test_work_that_says_nothing_shows_its_label_and_the_time_alone(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr("survey.cli.progress.QUIET_S", 0.0)
    with options.progress("trying spots"):
        time.sleep(0.1)
    assert "trying spots  0 s" in terminal.getvalue()
    assert "%" not in terminal.getvalue()


def test_a_timed_bar_shows_how_much_is_done_and_the_time_left(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(progress, "QUIET_S", 0.0)
    with options.progress("assessing sites", is_timed=True) as told:
        told(3, 12)
        time.sleep(0.1)
    assert "3 of 12, 0 s, about 0 s left" in terminal.getvalue()
    assert progress.time_words(100, 1_000, spent_s=60.0) == "100 of 1000, 60 s, about 9 min left"


def test_the_only_block_of_links_says_how_far_its_paths_around_are(monkeypatch):
    """Below 200,000 pairs there is one block: progress comes from the lines in it."""
    monkeypatch.setattr("survey.propagation.around.LINES_AT_ONCE", 50)
    told = []
    scene = scene_of(read_plan(SITES / "farm.toml"))
    cover_spots(scene, progress=lambda *at: told.append(at))
    assert len(told) > 10
    assert told == sorted(told)
    assert told[-1] == (len(scene.spots), len(scene.spots))


def test_where_there_is_no_terminal_there_is_no_bar(monkeypatch):
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with options.progress("trying spots") as told:
        assert told is None


# ------------------------------------------------------------------------------------------- the width of a terminal

pty = pytest.importorskip("pty", reason="pseudo-terminals are of Unix")


def on_a_terminal(folder, columns, *words):
    """What a command prints on a terminal of so many columns."""
    import fcntl  # noqa: PLC0415  of Unix
    import struct  # noqa: PLC0415
    import termios  # noqa: PLC0415

    near, far = pty.openpty()
    fcntl.ioctl(far, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    environment = {key: value for key, value in os.environ.items() if key not in {"COLUMNS", "LINES"}}
    command = [sys.executable, "-m", "survey", *words]
    environment["PYTHONPATH"] = str(ROOT)
    with subprocess.Popen(command, cwd=folder, env=environment, stdout=far, stderr=subprocess.DEVNULL) as process:
        os.close(far)
        printed = b""
        while block := _read(near):
            printed += block
    os.close(near)
    assert process.returncode == 0
    return printed.decode("utf-8").replace("\r", "")


def _read(near):
    try:
        return os.read(near, 65536)
    except OSError:  # the other end is closed
        return b""


@pytest.mark.parametrize("columns", [60, 80, 100, 200])
@every_command_on_a_plan
def test_an_answer_takes_the_width_of_the_terminal(process, folder, columns, words):
    write(folder, ('"i1"', '"inverter with a long name"'), more=SPOTS)
    words = [word.replace("i1", "inverter with a long name") if word == "i1" else word for word in words]
    text = on_a_terminal(folder, columns, *words)
    assert max(map(len, text.splitlines())) <= columns
    piped = process(*words).stdout.decode("utf-8").replace("\r", "")
    if columns == 100:
        assert text == piped, "in a pipe there are 100 columns"
    if columns == 200:
        assert "Left out" not in text


def test_a_narrow_terminal_says_which_columns_it_leaves_out(folder):
    text = on_a_terminal(folder, 60, "links", str(SITES / "farm.toml"), "--array", "L")
    assert "Left out in this narrow window: obstacle loss dB, path loss" in text
    assert "margin" in text
    assert "obstacle" not in on_a_terminal(folder, 60, "links", str(SITES / "farm.toml"), "--json").partition("{")[0]
