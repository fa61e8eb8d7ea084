"""The decision commands say the same of the same plan: with relays, with several gateways, with a limit for each."""

import json
import re
from html import unescape

import pytest
from places import SITES

FEW = ("--draws", "20")
WANTED = {
    "plain": "",
    "relays": "max_relays = 1\n",
    "several": "gateways = 2\n",
    "room": "inverters_per_gateway = 5\n",
    "lower chance": "reliability = 0.9\n",
    "all of it": "gateways = 2\nmax_relays = 2\ninverters_per_gateway = 5\n",
}
CASES = [
    *(("house", wanted) for wanted in WANTED if wanted != "lower chance"),
    *(pytest.param("farm", wanted, marks=pytest.mark.slow) for wanted in ("relays", "all of it")),
]


def plan(folder, site, wanted):
    text = (SITES / f"{site}.toml").read_text(encoding="utf-8")
    if "[requirement]\n" in text:
        text = text.replace("[requirement]\n", f"[requirement]\n{WANTED[wanted]}")
    else:
        text += f"\n[requirement]\n{WANTED[wanted]}"
    (folder / "plan.toml").write_text(text, encoding="utf-8")


def told(run, *words):
    result = run(*words, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def at(names):
    return [word for name in names for word in ("--gateway", name)]


def counts(words):
    """How many hold, are marginal, fail, have no room, in a sentence."""
    found = re.search(r"hold (\d+), marginal (\d+), fail (\d+)(?:, full (\d+))?", words)
    return [int(number or 0) for number in found.groups()]


@pytest.mark.parametrize(("site", "wanted"), CASES)
def test_every_command_says_of_an_inverter_what_place_says(run, folder, site, wanted):
    plan(folder, site, wanted)
    place = told(run, "place", "plan.toml", *FEW)
    names = [one["name"] for one in place["gateways"]]
    links = {one["inverter"]: one for one in place["links"]}
    holding = {name for name, one in links.items() if one["route_state"] == "holds"}
    assert place["served"] == len(holding)
    network = told(run, "network", "plan.toml", *at(names))
    for route in network["routes"]:
        one = links[route["inverter"]]
        assert (route["state"], (route["route"] or [""])[-1]) == (one["route_state"], (one["route"] or [""])[-1])
        assert route["reliability"] == one["route_reliability"]
        assert route["weakest_margin_db"] == one["route_margin_db"]
    some = sorted(links)[:: max(1, len(links) // 4)]
    explained = told(run, "explain", "plan.toml", *some, *at(names))
    for one in explained["inverters"]:
        link = links[one["inverter"]]
        for key in ("route", "route_state", "route_reliability", "route_margin_db", "gateway", "margin_db", "state"):
            assert one[key] == link[key], (one["inverter"], key)
    left_out = place["without_room"]
    expected = [len(holding), sum(one["route_state"] == "marginal" for one in links.values())]
    expected += [len(links) - sum(expected) - left_out, left_out]
    for kind in ("map", "network"):
        drawing = folder / f"{kind}.svg"
        assert run("draw", "plan.toml", "--kind", kind, "--placed", "--out", str(drawing)).exit_code == 0
        assert counts(" ".join(re.sub(r"<[^>]+>", " ", drawing.read_text(encoding="utf-8")).split())) == expected
    assert run("report", "plan.toml", "--out", "page.html", *FEW).exit_code == 0
    html = (folder / "page.html").read_text(encoding="utf-8")
    assert counts(re.search(r"<caption>(.*?)</caption>", html).group(1)) == expected
    state = dict(re.findall(r'aria-label="([^":]+): (\w+)', unescape(html)))
    said = {name: word for name, word in state.items() if name in links}
    assert said == {name: "full" if one["route"] is None else one["route_state"] for name, one in links.items()}


@pytest.mark.parametrize(("site", "wanted"), CASES)
def test_compare_counts_as_the_ranking_and_as_network_do(run, folder, site, wanted):
    plan(folder, site, wanted)
    ranking = {one["spot"]: one for one in told(run, "place", "plan.toml", *FEW)["ranking"]}
    spots = list(ranking)[:: len(ranking) // 3][:3]
    compare = told(run, "compare", "plan.toml", *spots, *FEW)
    keys = ["margin_db", "reliability", "state"]
    for one in compare["spots"]:
        name = one["spot"]
        for key in ("served", "expected_served", "worst_inverter", "worst_margin_db", "median_margin_db"):
            assert one[key] == ranking[name][key]
        network = told(run, "network", "plan.toml", "--gateway", name)
        found = {link["inverter"]: link["spots"][name] for link in compare["links"]}
        assert sum(link["state"] == "holds" for link in found.values()) == one["served"]
        for route in network["routes"]:
            verdict = found[route["inverter"]]
            assert list(verdict) == keys + (["route"] if network["max_relays"] else [])
            assert [verdict[key] for key in keys] == [
                route["weakest_margin_db"],
                route["reliability"],
                route["state"],
            ]
        room = 5 if "inverters_per_gateway" in WANTED[wanted] else len(found)
        assert one["drawn"]["high"] <= room


def test_draws_of_one_gateway_stop_at_its_room(run, folder):
    plan(folder, "house", "room")
    found = told(run, "place", "plan.toml", "--draws", "50")
    assert found["served"] == found["drawn"]["high"] == found["sure"]["served"]["high"] == 5
    text = run("place", "plan.toml", "--draws", "50").stdout
    assert "5 of 12 inverters in 9 of 10 runs" in text
    assert text.count("  full  ") == 7
    assert "hold 5, marginal 0, fail 0, full 7" in text


@pytest.mark.parametrize(
    "words",
    [["--gateways", "2"], ["--fewest"], ["--spare"], ["--relays", "1"], ["--gateways", "2", "--relays", "1"], []],
)
def test_the_page_recommends_what_place_recommends_with_the_same_options(run, folder, words):
    plan(folder, "house", "plain")
    place = run("place", "plan.toml", *words, *FEW)
    names = [one["name"] for one in told(run, "place", "plan.toml", *words, *FEW)["gateways"]]
    assert run("report", "plan.toml", "--out", "page.html", *words, *FEW).exit_code == 0
    html = unescape((folder / "page.html").read_text(encoding="utf-8"))
    answer = re.sub(r"<[^>]+>", " ", html[html.index('<section id="answer"') : html.index('<section id="asked"')])
    letters = "AB" if len(names) > 1 else " "
    for letter, name in zip(letters, names, strict=True):
        assert f"{letter} {name}".strip() in " ".join(answer.split())
    head = place.stdout[place.stdout.index("Put ") :].split("\n\n")[0]
    assert "covered" in head
    facts = re.findall(r"\n  ([A-Z][a-z]+(?: [a-z]+)*:  [\s\S]*?)(?=\n  \S|$)", head)
    facts += re.findall(r"\n  [AB]  .*: (\d+ inverters assigned, \d+ covered)\n", head)
    assert len(facts) >= 4
    for fact in facts:  # the page has the steps in a list, without their labels
        words = re.sub(r"^(Next step|Then): +", "", fact)
        assert " ".join(words.split())[1:] in " ".join(answer.split()), "but for a capital at the beginning"
    drawn = html[html.index('<g class="gateways">') : html.index("</svg>", html.index('<g class="gateways">'))]
    assert set(re.findall(r'<text class="l-letter".*?>(\w)</text>', drawn)) == set(letters.strip())
    assert drawn.count(": gateway shown") == len(names)
    if "--fewest" in words or "--spare" in words:
        proof = next(line for line in place.stdout.splitlines() if "every inverter that can be covered" in line)
        assert " ".join(proof.split()) in " ".join(html.split())


def test_lines_of_the_map_lead_to_the_gateway_of_the_table(run, folder):
    plan(folder, "farm", "several")
    assert run("report", "plan.toml", "--out", "page.html", *FEW).exit_code == 0
    html = unescape((folder / "page.html").read_text(encoding="utf-8"))
    square = r'<g class="p-chosen[^"]*" transform="translate\(([-\d.]+) ([-\d.]+)\)">.*?l-letter.*?>(\w)</text>'
    where = {letter: (float(x), float(y)) for x, y, letter in re.findall(square, html)}
    assert set(where) == {"A", "B"}
    rows = dict(re.findall(r'<tr data-n="(\d+)".*?</th>\s*<td>(\w)</td>', html, flags=re.DOTALL))
    assert set(rows.values()) == {"A", "B"}
    for number, letter in rows.items():
        route = re.search(rf'<path id="k{number}" class="([^"]*)" d="([^"]*)"', html)
        assert "always" in route.group(1)
        assert tuple(map(float, route.group(2).split("L")[-1].split())) == where[letter]


@pytest.mark.parametrize("command", ["place", "report"])
def test_require_and_contradicting_options(run, folder, command):
    plan(folder, "house", "plain")
    out = ("--out", "page.html") if command == "report" else ()
    assert run(command, "plan.toml", *out, *FEW, "--require").exit_code == 0
    contradiction = run(command, "plan.toml", *out, "--gateways", "2", "--fewest")
    assert contradiction.exit_code == 2
    assert "--fewest and --spare find the fewest gateways" in contradiction.stderr
    plan(folder, "house", "room")
    short = run(command, "plan.toml", *out, *FEW, "--require")
    assert short.exit_code == 3
    assert "warning: 1 gateway takes 5 of 12 inverters at most" in short.stderr


def test_require_counts_routes_in_compare_and_explain(run, folder):
    plan(folder, "house", "lower chance")
    poor = ("carport post", "behind the shed")
    assert run("compare", "plan.toml", *poor, *FEW, "--require").exit_code == 3
    assert run("explain", "plan.toml", "W-2-3", "--gateway", poor[0], "--require").exit_code == 3
    assert run("compare", "plan.toml", *poor, *FEW, "--relays", "2", "--require").exit_code == 0
    assert run("explain", "plan.toml", "W-2-3", "--gateway", poor[0], "--relays", "2", "--require").exit_code == 0


def test_a_list_of_links_says_what_it_leaves_aside(run, folder):
    plan(folder, "farm", "plain")
    assert "survey network" not in run("links", "plan.toml").stdout
    plan(folder, "farm", "all of it")
    words = " ".join(run("links", "plan.toml").stdout.split())
    assert "Only direct links are listed. For relay routes and gateway capacity run: survey network plan.toml" in words
