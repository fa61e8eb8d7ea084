"""The page in a real browser: nothing leaves it, map and table work together, by mouse, by keyboard, on a telephone."""

import json

import pytest
from browser import browser, missing
from pages import written
from places import SITES

from survey.budget import STATES, links_of
from survey.inputs.plan_file import read_plan
from survey.scene import scene_of

CHOSEN = """return {
  row: [...document.querySelectorAll('#table tr.picked a')].map(a => a.textContent),
  mark: [...document.querySelectorAll('#map a[aria-current]')].map(a => a.getAttribute('aria-label').split(':')[0]),
  route: [...document.querySelectorAll('#map .route')].filter(r => getComputedStyle(r).visibility === 'visible').length,
  label: document.getElementById('picked').textContent,
  panel: document.getElementById('panel').hidden ? null : document.getElementById('panel-title').textContent,
  items: document.querySelectorAll('#panel-body tbody tr').length,
}"""
SHOWN = """return [...document.querySelectorAll('#table tbody tr')].filter(r => r.offsetParent)
  .map(r => r.cells[0].textContent)"""
FOCUS = "return document.activeElement.dataset.n ?? document.activeElement.closest('tr')?.dataset.n"


@pytest.fixture(scope="module")
def farm():
    """What the page about the office tells, worked out beside it."""
    return links_of(scene_of(read_plan(SITES / "farm.toml")), gateways=["office"])


def only(name):
    """What is chosen when a single inverter is."""
    return {"row": [name], "mark": [name], "label": name}


def chosen(chrome):
    found = chrome.run(CHOSEN)
    assert found["panel"] is None or (found["items"] >= 5 and found["route"] == 1)
    return found


def test_no_error_is_told_and_no_request_leaves_the_page(chrome):
    assert chrome.console() == []
    loaded = chrome.run("return performance.getEntriesByType('resource').map(one => one.name)")
    assert [one for one in loaded if not one.startswith("data:")] == []


def test_the_browser_refuses_a_request_and_a_strange_script(chrome):
    """So the rule that the page gives for itself is in force."""
    refused = """const done = arguments[0]; const script = document.createElement('script');
      script.textContent = 'window.strange = 1'; document.body.append(script);
      return [window.strange === undefined]"""
    assert chrome.run(refused) == [True]
    chrome.run("fetch('http://127.0.0.1:9/').catch(() => 0)")
    assert any("Content Security Policy" in one["message"] for one in chrome.console())


def test_what_is_chosen_in_the_table_shows_in_the_map_with_its_budget_beside(chrome, farm):
    assert chosen(chrome)["panel"] is None
    chrome.click("#table tr[data-n='30'] a")
    found = chosen(chrome)
    assert found.items() >= only("L-1-1").items()
    i = farm.inverters.names.index("L-1-1")
    words = f"L-1-1 to office: {STATES[farm.state[i, 0]]}, margin {farm.margin_db[i, 0]:.1f} dB"
    assert found["panel"].startswith(words)
    chrome.click("#table tr[data-n='0'] td")
    assert chosen(chrome).items() >= only("S-1-1").items()


def test_what_is_chosen_in_the_map_shows_in_the_table(chrome):
    chrome.click("#map a[data-n='29']")
    assert chosen(chrome).items() >= only("S-3-10").items()
    inside = """const box = document.getElementById('scroll').getBoundingClientRect();
      const row = document.querySelector('#table tr.picked').getBoundingClientRect();
      return row.top >= box.top && row.bottom <= box.bottom"""
    assert chrome.run(inside)
    assert chrome.run("return location.hash") == ""


def test_the_budget_in_the_panel_is_that_of_the_row(chrome):
    chrome.click("#map a[data-n='29']")
    levels = chrome.run(
        "return [...document.querySelectorAll('#panel-body tbody tr')].map(r => +r.cells[1].textContent)"
    )
    end = chrome.run("return +document.querySelector('#panel-body tbody tr:last-child').cells[2].textContent")
    assert sum(levels) == pytest.approx(end, abs=0.005)


def test_escape_and_the_button_close_the_panel(chrome):
    chrome.click("#map a[data-n='0']")
    chrome.press("Escape")
    assert chosen(chrome) | {"route": 0} == {
        "row": [],
        "mark": [],
        "route": 0,
        "label": "",
        "panel": None,
        "items": chosen(chrome)["items"],
    }
    chrome.click("#map a[data-n='0']")
    chrome.click("#close")
    assert chosen(chrome)["panel"] is None


def test_sorting_by_every_column(chrome):
    heads = chrome.run("return [...document.querySelectorAll('#table thead th')].map(h => h.textContent)")
    assert heads[:5] == ["inverter", "m", "margin dB", "chance", "state"]
    start = chrome.run(SHOWN)
    assert len(start) == 40
    for column, head in enumerate(heads, start=1):
        chrome.click(f"#table thead th:nth-child({column}) [role=button]")
        once = chrome.run(SHOWN)
        sort = chrome.run("return [...document.querySelectorAll('#table th[aria-sort]')].map(h => h.textContent)")
        assert sort == [head]
        assert sorted(once) == sorted(start)
    chrome.click("#table thead th:nth-child(1) [role=button]")
    names = chrome.run(SHOWN)
    assert names[:3] == ["L-1-1", "L-1-2", "L-1-3"]
    assert names.index("S-1-9") + 1 == names.index("S-1-10"), "numbers in names count as numbers"
    chrome.click("#table thead th:nth-child(2) [role=button]")
    figures = "return [...document.querySelectorAll('#table tbody tr')].map(r => +r.cells[1].textContent)"
    rising = chrome.run(figures)
    chrome.click("#table thead th:nth-child(2) [role=button]")
    assert rising == sorted(rising)
    assert chrome.run(figures) == sorted(rising, reverse=True)


def test_filtering_by_state_and_by_words(chrome, farm):
    weak = {name for name, state in zip(farm.inverters.names, farm.state[:, 0], strict=True) if state == 1}
    assert 0 < len(weak) < 40
    chrome.run("const s = document.getElementById('only'); s.value = 'marginal'; s.dispatchEvent(new Event('change'))")
    assert chrome.run("return document.getElementById('count').textContent") == f"{len(weak)} of 40 shown"
    assert set(chrome.run(SHOWN)) == weak
    assert chrome.run("return document.querySelectorAll('#map a.faded').length") == 40 - len(weak)
    chrome.type("#find", "l-1-")
    assert set(chrome.run(SHOWN)) == {name for name in weak if name.startswith("L-1-")} != set()
    chrome.type("#find", "nothing such")
    assert chrome.run(SHOWN) == []
    assert chrome.console() == []


def test_by_keyboard_alone(chrome):
    chrome.run("document.getElementById('figure').tabIndex = -1; document.getElementById('figure').focus()")
    stops = []
    for _ in range(30):
        chrome.press("Tab")
        stops.append(
            chrome.run(
                "return document.activeElement.closest('#map') ? 'map' : document.activeElement.id || "
                "(document.activeElement.closest('tbody') ? 'row' : document.activeElement.tagName)"
            )
        )
        if stops[-1] == "row":
            break
    assert stops.count("map") == 1, "the map is one stop, not one for each inverter"
    assert stops.index("map") < stops.index("find") < stops.index("only") < stops.index("row")
    first = chrome.run(FOCUS)
    chrome.press("Down", "Down", "Up", "Enter")
    second = chrome.run("return [...document.querySelectorAll('#table tbody tr')][1].dataset.n")
    assert first != second == chrome.run(FOCUS)
    assert chosen(chrome)["row"] == [chrome.run(SHOWN)[1]]
    chrome.run("document.querySelector('#map a[tabindex=\"0\"]').focus()")
    chrome.press("Right")
    after = chrome.run(FOCUS)
    east = "return +document.querySelector(`#map a[data-n='${arguments[0]}']`).dataset.x"
    assert chrome.run(east, after) > chrome.run(east, second)
    chrome.press("Enter")
    name = chrome.run("return document.querySelector(`#table tr[data-n='${arguments[0]}'] a`).textContent", after)
    assert chosen(chrome).items() >= only(name).items()


@pytest.mark.parametrize("wide", [360, 768, 1280])
def test_the_page_never_scrolls_sideways(chrome, wide):
    chrome.narrow(wide, 740)
    chrome.click("#table tr[data-n='30'] a")
    assert chrome.run("return document.documentElement.scrollWidth <= window.innerWidth")
    assert chosen(chrome)["row"] == ["L-1-1"]
    shown = chrome.run("const p = document.getElementById('panel').getBoundingClientRect(); return [p.left, p.right]")
    assert 0 <= shown[0] < shown[1] <= wide


def test_the_table_has_room_beside_the_map_on_a_small_laptop(driven, tmp_path):
    driven.narrow(1200, 740)
    driven.open(written(tmp_path, SITES / "farm.toml", "--log", SITES / "farm-week.csv"))
    assert driven.run("return [...document.querySelectorAll('#table thead th')].at(-1).dataset.by") == "dropouts"
    assert driven.run("const s = document.getElementById('scroll'); return s.scrollWidth <= s.clientWidth")


def test_a_heading_is_pressed_by_keyboard_too(chrome):
    chrome.run("document.querySelector('#table thead [role=button]').focus()")
    chrome.press("Enter")
    rising = chrome.run(SHOWN)
    chrome.press(" ")
    assert chrome.run(SHOWN) == rising[::-1]
    assert rising[0] == "L-1-1"


def test_names_that_look_like_script_do_nothing(driven, tmp_path):
    name = "</script><img src=x onerror='window.strange=1'><script>window.strange=1</script>"
    text = (SITES / "house.toml").read_text(encoding="utf-8").replace('"lemon tree"', json.dumps(name + " b"))
    text = text.replace('name = "Quince Street house"', f"name = {json.dumps(name)}")
    text = text.replace('name = "W"', f"name = {json.dumps(name)}")
    (tmp_path / "odd.toml").write_text(text, encoding="utf-8")
    driven.open(written(tmp_path, tmp_path / "odd.toml"))
    driven.click("#table tbody tr a")
    assert driven.run("return window.strange === undefined && document.querySelectorAll('script').length === 1")
    assert driven.console() == []
    assert driven.run("return document.querySelector('h1').textContent") == name
    listed = driven.run(SHOWN)
    assert f"{name}-1-1" in listed


def test_it_prints_on_a4_with_every_inverter(chrome):
    chrome.click("#table tbody tr a")
    chrome.type("#find", "S-1-1")
    printed = chrome.printed()
    assert printed.startswith(b"%PDF-")
    assert printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") >= 4
    chrome.get("/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": {"media": "print"}})
    try:
        assert len(chrome.run(SHOWN)) == 40
        assert chrome.run("return getComputedStyle(document.getElementById('filter')).display") == "none"
        wide = "return getComputedStyle(document.querySelector(arguments[0])).strokeWidth"
        assert chrome.run(wide, ".one .route.picked") == chrome.run(wide, ".one .route:not(.picked)")
    finally:
        chrome.get("/goog/cdp/execute", {"cmd": "Emulation.setEmulatedMedia", "params": {"media": ""}})


def test_without_javascript_the_table_is_whole_and_links_open(farm_page, tmp_path):
    if missing():
        pytest.skip(f"{missing()} not installed")
    with browser(tmp_path, script=False) as plain:
        plain.open(farm_page)
        plain.call("POST", f"/session/{plain.session}/refresh", {})
        source = plain.get("/source")
        assert 'id="filter" hidden' in source
        assert 'class="js"' not in source
        rows = plain.get("/elements", {"using": "css selector", "value": "#table tbody tr"})
        assert len(rows) == 40
        plain.click("#table tbody tr:nth-child(2) a")
        assert "#b" in plain.get("/url")
