"""What no command does, whatever it reads: reach a network, start another program, or run code out of a file."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from places import ROOT
from writers import WRITERS

WATCHED = """
import json, os, sys
seen = []
WATCHED = ("socket.", "subprocess.", "os.exec", "os.fork", "os.posix_spawn", "os.spawn", "os.system", "pty.",
           "urllib.", "http.", "ftplib.", "smtplib.", "webbrowser.", "pickle.", "marshal.loads", "shutil.rmtree")
here = os.path.realpath(os.getcwd())
def hook(event, arguments):
    if event.startswith(WATCHED) and event != "marshal.loads":  # which loads the modules of Python itself
        seen.append(event)
    if event == "open" and isinstance(arguments[0], str) and isinstance(arguments[2], int):
        if arguments[2] & (os.O_WRONLY | os.O_RDWR) and not arguments[0].startswith("/dev/"):
            path = os.path.realpath(arguments[0])
            if not path.startswith(here) and "matplotlib" not in path and "fontlist" not in path:
                seen.append(f"writes {path}")
from click.testing import CliRunner
from survey.cli import main
sys.addaudithook(hook)
ends = {}
for name, words in json.loads(sys.argv[1]).items():
    ends[name] = CliRunner().invoke(main, words, catch_exceptions=False).exit_code
print(json.dumps([ends, sorted(set(seen))]))
"""


@pytest.mark.slow
def test_no_command_reaches_a_network_starts_a_program_or_writes_elsewhere(site):
    commands = {name: [*words, f"out{ending}"] for name, (words, ending) in WRITERS.items()}
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    result = subprocess.run(
        [sys.executable, "-c", WATCHED, json.dumps(commands)],
        cwd=site,
        env=environment,
        capture_output=True,
        timeout=240,
        check=False,
    )
    assert result.returncode == 0, result.stderr.decode()
    ends, seen = json.loads(result.stdout)
    refused = {"check --sheets"}  # out.toml is there already, from start, and is a plan
    assert {name: status for name, status in ends.items() if status} == dict.fromkeys(refused, 1)
    assert seen == []


def test_the_hook_sees_what_it_should(tmp_path):
    code = WATCHED.replace("for name, words in", "import socket; socket.socket().close()\nfor name, words in")
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", code, "{}"]
    result = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, timeout=60, check=True)
    assert json.loads(result.stdout)[1] == ["socket.__new__"]


def test_no_source_file_knows_a_network_a_shell_or_code_out_of_files():
    """Only the kernel's builder starts another program, a C compiler, and no command calls it."""
    for path in sorted((ROOT / "survey").rglob("*.py")):
        if path == ROOT / "survey" / "kernel" / "build.py":
            continue
        text = Path(path).read_text(encoding="utf-8")
        for word in (
            "import subprocess",
            "import socket",
            "urllib",
            "import http",
            "import pickle",
            " eval(",
            " exec(",
            "os.system",
        ):
            assert word not in text, (path.name, word)
