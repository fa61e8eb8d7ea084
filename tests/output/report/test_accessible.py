"""The pages under axe-core, a well-kept checker of the rules of WCAG: no violation, wide and narrow, light and dark."""

from importlib.util import find_spec
from pathlib import Path

import pytest
from pages import written
from places import SITES

RUN = """const done = arguments[arguments.length - 1];
axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})
  .then(found => done(found.violations.map(one => [one.id, one.nodes.map(node => node.html).slice(0, 4)])))
  .catch(error => done([[String(error), []]]))"""
TARGETS = "button, input, select, nav a, summary, [role=button], #table tbody a, label"
SMALL = """return [...document.querySelectorAll(arguments[0])]
  .filter(one => one.checkVisibility()).map(one => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
  .filter(([, box]) => box.width < 24 || box.height < 24).map(([html]) => html)"""


@pytest.fixture(scope="module")
def axe():
    """The script of axe-core, out of a package that brings it along; the package itself is not loaded."""
    spec = find_spec("axe_playwright_python")
    if spec is None:
        pytest.skip("axe-playwright-python is not installed")
    (folder,) = spec.submodule_search_locations
    return (Path(folder) / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """Every kind of page by name."""
    log = ("--log", SITES / "farm-week.csv")
    return {
        "one": written(tmp_path_factory.mktemp("one"), SITES / "farm.toml", "--draws", "50", *map(str, log)),
        "several": written(
            tmp_path_factory.mktemp("several"), SITES / "farm.toml", "--gateways", "2", "--draws", "50", "--relays", "1"
        ),
        "spots": written(
            tmp_path_factory.mktemp("spots"), SITES / "farm.toml", "--compare", "office", "north gate", "--draws", "50"
        ),
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("wide", [390, 1280])
@pytest.mark.parametrize("name", ["one", "several", "spots"])
def test_no_rule_is_violated(driven, axe, opened, *, name, wide, scheme):
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    driven.get("/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": {"features": features}})
    try:
        driven.narrow(wide, 900)
        driven.open(opened[name])
        if name != "spots":
            driven.click("#table tbody tr:nth-child(3) a")
        driven.run(axe)
        assert driven.get("/execute/async", {"script": RUN, "args": []}) == []
    finally:
        driven.get("/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": {"features": []}})


def test_a_violation_is_seen(driven, axe, opened):
    driven.open(opened["spots"])
    driven.run(
        "const one = document.createElement('img'); one.src = 'data:,'; document.querySelector('main').append(one)"
    )
    driven.run(axe)
    assert [rule for rule, _ in driven.get("/execute/async", {"script": RUN, "args": []})] == ["image-alt"]


@pytest.mark.parametrize("wide", [390, 1280])
@pytest.mark.parametrize("name", ["one", "spots"])
def test_targets_are_24_pixels_or_more(driven, opened, name, wide):
    """WCAG 2.2, 2.5.8. Marks in the map stand where the inverters do; the table has a target for each of them."""
    driven.narrow(wide, 900)
    driven.open(opened[name])
    assert driven.run(SMALL, TARGETS) == []
