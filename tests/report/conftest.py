"""A page in a real browser, and the farm's page for it."""

from pathlib import Path

import pytest
from browser import browser, missing
from click.testing import CliRunner

from survey.cli import main

SITES = Path(__file__).parents[2] / "sites"


def written(folder, site, *words):
    """The page of a demo site, as the command writes it."""
    out = folder / f"{site}.html"
    command = ["report", str(SITES / f"{site}.toml"), "--out", str(out), "--date", "2026-03-05", *words]
    result = CliRunner().invoke(main, command, prog_name="survey", catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return out


@pytest.fixture(scope="session")
def farm_page(tmp_path_factory):
    """The farm's page about the office, whose inverters are in all three states."""
    return written(tmp_path_factory.mktemp("farm"), "farm", "--gateway", "office")


@pytest.fixture(scope="session")
def driven(tmp_path_factory):
    """One browser for all tests; they are skipped where there is none."""
    if missing():
        pytest.skip(f"{missing()} not installed")
    with browser(tmp_path_factory.mktemp("profile")) as one:
        yield one


@pytest.fixture
def chrome(driven, farm_page):
    """The browser with the farm's page freshly loaded."""
    driven.narrow(1280, 900)
    driven.open(farm_page)
    driven.console()
    return driven
