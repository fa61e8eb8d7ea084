"""A page in a real browser, and the farm's page for it."""

import pytest
from browser import browser, missing
from pages import written
from places import SITES


@pytest.fixture(scope="session")
def farm_page(tmp_path_factory):
    """The farm's page about the office, whose inverters are in all three states."""
    return written(tmp_path_factory.mktemp("farm"), SITES / "farm.toml", "--gateway", "office")


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
