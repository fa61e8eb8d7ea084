"""Files are read up to a limit, and written whole or not at all."""

import os
import signal
import stat
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from survey.base import files
from survey.base.files import check_folder, read_up_to, replace_whole


def names_in(folder):
    return sorted(one.name for one in folder.iterdir())


def test_a_file_is_read_to_its_limit_and_no_further(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"12345")
    assert (read_up_to(path, 5), read_up_to(path, 4)) == (b"12345", None)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="there is no device without end")
def test_a_device_without_end_is_left_early():
    assert read_up_to(Path("/dev/zero"), 1_000_000) is None


def test_a_new_file_has_the_usual_mode_and_an_old_one_keeps_its_own(tmp_path):
    new, old = tmp_path / "new", tmp_path / "old"
    old.write_bytes(b"old")
    old.chmod(0o640)
    before = os.umask(0o027)
    try:
        for path in (new, old):
            replace_whole(path, b"content")
    finally:
        os.umask(before)
    assert [stat.S_IMODE(path.stat().st_mode) for path in (new, old)] == [0o640, 0o640]
    old.chmod(0o600)
    replace_whole(old, b"more")
    assert (stat.S_IMODE(old.stat().st_mode), old.read_bytes()) == (0o600, b"more")
    assert names_in(tmp_path) == ["new", "old"]


def test_a_name_as_long_as_the_system_allows_can_be_written(tmp_path):
    path = tmp_path / ("x" * 255)
    replace_whole(path, b"content")
    assert names_in(tmp_path) == [path.name]


@pytest.mark.parametrize("step", ["replace", "fsync", "chmod", "write"])
def test_where_a_step_fails_the_old_file_stays_and_nothing_is_left(tmp_path, monkeypatch, step):
    path = tmp_path / "a"
    path.write_bytes(b"old")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    class Full:
        def __init__(self, number, *_):
            self.number = number

        def __enter__(self):
            return self

        def __exit__(self, *_):
            os.close(self.number)

        write = refuse

    where = {"replace": (Path, "replace"), "fsync": (os, "fsync"), "chmod": (Path, "chmod")}
    monkeypatch.setattr(*where.get(step, (files, "open")), Full if step == "write" else refuse, raising=False)
    with pytest.raises(OSError, match="No space"):
        replace_whole(path, b"new")
    assert (names_in(tmp_path), path.read_bytes()) == (["a"], b"old")


def test_links_that_wait_at_names_that_could_be_guessed_are_not_followed(tmp_path, monkeypatch):
    """Whoever may write in the folder cannot make the program write elsewhere: no name is used that is there."""
    victim, path = tmp_path / "victim", tmp_path / "a"
    victim.write_bytes(b"mine")
    guesses = iter(["guess", "guess", "free"])
    monkeypatch.setattr(tempfile, "_get_candidate_names", lambda: guesses)
    (tmp_path / ".survey-guess.part").symlink_to(victim)
    replace_whole(path, b"new")
    assert (victim.read_bytes(), path.read_bytes()) == (b"mine", b"new")
    assert (tmp_path / ".survey-guess.part").is_symlink()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_during_writing_waits_until_the_file_is_whole(tmp_path, monkeypatch, number):
    came, path = [], tmp_path / "a"
    before = signal.signal(number, lambda *_: came.append(names_in(tmp_path)))
    real = os.fsync

    def sync(handle):
        signal.raise_signal(number)
        assert came == []
        real(handle)

    monkeypatch.setattr(os, "fsync", sync)
    try:
        replace_whole(path, b"new")
        assert came == [["a"]], "once, when all was done"
        assert signal.getsignal(number) is not before
    finally:
        signal.signal(number, before)
    assert path.read_bytes() == b"new"


def test_another_thread_can_write_too(tmp_path):
    thread = threading.Thread(target=replace_whole, args=(tmp_path / "a", b"new"))
    thread.start()
    thread.join()
    assert (tmp_path / "a").read_bytes() == b"new"


def test_a_folder_is_tried_and_nothing_stays_in_it(tmp_path):
    check_folder(tmp_path)
    assert names_in(tmp_path) == []
    with pytest.raises(OSError, match="nowhere"):
        check_folder(tmp_path / "nowhere")


KILLED = """
import os, signal, sys
from pathlib import Path
from survey.base import files
real = os.fsync
os.fsync = lambda handle: (os.kill(os.getpid(), signal.SIGTERM), real(handle))
files.replace_whole(Path(sys.argv[1]), b"new")
print("never")
"""


def test_sigterm_ends_the_program_as_it_should_and_leaves_a_whole_file(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"old")
    root = str(Path(files.__file__).parents[2])
    result = subprocess.run(
        [sys.executable, "-c", KILLED, str(path)],
        env={**os.environ, "PYTHONPATH": root},
        capture_output=True,
        check=False,
    )
    assert (result.returncode, result.stdout) == (-signal.SIGTERM, b"")
    assert (names_in(tmp_path), path.read_bytes()) == (["a"], b"new")
