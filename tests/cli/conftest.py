"""Running the program in an empty folder, inside this process or in one of its own."""

import os
import subprocess
import sys

import pytest
from click.testing import CliRunner
from places import ROOT

from survey.cli import main


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder, and the program runs in it."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def run(folder):
    """Run a command as if typed; an exception that it lets through fails the test."""
    assert not list(folder.iterdir())

    def typed(*words):
        return CliRunner().invoke(main, list(words), prog_name="survey", catch_exceptions=False)

    return typed


@pytest.fixture
def process(folder):
    """Run a command in a process of its own."""

    def started(*words, **options):
        command = [sys.executable, "-m", "survey", *words]
        environment = {**os.environ, "PYTHONPATH": str(ROOT), **options.pop("env", {})}
        settings = {"capture_output": True, "timeout": 60} | options
        return subprocess.run(command, cwd=folder, env=environment, check=False, **settings)

    return started
