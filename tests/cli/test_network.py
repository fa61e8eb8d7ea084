"""`survey network`: routes, weak points, and the graph for other programs."""

import io
import json
import math

import networkx as nx
import pytest
from plans import MINIMAL, changed, entry

# g -- i0 -- i1 -- i2 in a row, 25 m apart, in surroundings where links hold over 25 m and not over 50 m. Invented.
CHAIN = (
    changed(('[[inverter]]\nname = "i1"\nat = [10.0, 0.0]\nheight_m = 2.0\n', ""))
    + "[environment]\npath_loss_exponent = 3.9\n[requirement]\nmax_relays = 2\n"
    + "".join(
        entry("inverter", name=f'"i{k}"', at=f"[{25 * k + 25}, 0]", height_m=2, serial=f'"s{k}"') for k in range(3)
    )
)


@pytest.fixture
def typed(run, folder):
    """Run a command where the chain is the plan."""
    (folder / "plan.toml").write_text(CHAIN, encoding="utf-8")
    return run


def test_a_chain_and_what_hangs_on_it(typed):
    result = typed("network", "plan.toml")
    assert (result.exit_code, result.stderr) == (0, "")
    lines = [line.rstrip() for line in result.stdout.splitlines()]
    assert lines[3:8] == [
        "3 of 3 inverters covered, 2 of them through relays. 0 have a backup route (no shared relay, no",
        "  shared link).",
        "Next step: plan a gateway near i0. 2 inverters would be lost if this relay failed.",
        "",
        "Routes to office, up to 2 relays",
    ]
    assert [line.split()[:2] for line in lines[11:14]] == [["i0", "none"], ["i1", "i0"], ["i2", "i1,"]]
    text = " ".join(result.stdout.split())
    assert "i0 2 2 i1, i2" in text
    assert "i1 1 1 i2" in text
    assert "i0 office 2 3 i0, i1, i2" in text
    assert "At night no inverter reports" in text


def test_without_relays_only_the_first_holds(typed):
    found = json.loads(typed("network", "plan.toml", "--relays", "0", "--json").stdout)
    assert [route["state"] for route in found["routes"]].count("holds") == 1
    assert found["relays"] == []
    assert typed("network", "plan.toml", "--relays", "0", "--require").exit_code == 3
    assert typed("network", "plan.toml", "--require").exit_code == 0


def test_the_json_tells_routes_weak_points_and_the_graph(typed):
    found = json.loads(typed("network", "plan.toml", "--json").stdout)
    assert [route["route"] for route in found["routes"]] == [
        ["i0", "office"],
        ["i1", "i0", "office"],
        ["i2", "i1", "i0", "office"],
    ]
    assert found["relays"] == [
        {"inverter": "i0", "used_by": ["i1", "i2"], "lost": ["i1", "i2"]},
        {"inverter": "i1", "used_by": ["i2"], "lost": ["i2"]},
    ]
    assert found["gateways"] == [{"gateway": "office", "used_by": ["i0", "i1", "i2"], "lost": ["i0", "i1", "i2"]}]
    assert [(one["inverter"], one["to"]) for one in found["only_links"]] == [
        ("i0", "office"),
        ("i1", "i0"),
        ("i2", "i1"),
    ]
    assert {node["name"] for node in found["graph"]["nodes"]} == {"i0", "i1", "i2", "office"}
    carries = {(edge["from"], edge["to"]): edge["carries"] for edge in found["graph"]["edges"]}
    assert (carries["i0", "office"], carries["i0", "i1"], carries["i1", "i2"]) == (3, 2, 1)


def test_the_graph_is_read_back_with_all_its_attributes(typed, folder):
    """networkx reads what was written; its shortest path by reliability is the route told."""
    result = typed("network", "plan.toml", "--graphml", "net.graphml", "--json")
    assert (result.exit_code, result.stderr) == (0, "written: net.graphml\n")
    graph = nx.read_graphml(io.BytesIO((folder / "net.graphml").read_bytes()))
    found = json.loads(result.stdout)["graph"]
    assert set(graph.nodes) == {node["name"] for node in found["nodes"]}
    for node in found["nodes"]:
        for name, value in node.items():
            if name != "name":
                assert graph.nodes[node["name"]][name] == (pytest.approx(value, abs=1e-5) if name != "kind" else value)
    for edge in found["edges"]:
        assert graph.edges[edge["from"], edge["to"]]["margin_db"] == pytest.approx(edge["margin_db"], abs=1e-5)
    for _, _, attributes in graph.edges(data=True):
        attributes["length"] = -math.log(attributes["reliability"])
    assert nx.shortest_path(graph, "i2", "office", weight="length") == ["i2", "i1", "i0", "office"]
    assert graph.nodes["i2"]["serial"] == "s2"


@pytest.mark.parametrize(
    "words", [["--graphml", "no/such/net.graphml"], ["--graphml", "plan.toml"], ["--gateway", "ofice"]]
)
def test_what_cannot_be_done_is_told_and_nothing_written(typed, folder, words):
    result = typed("network", "plan.toml", *words)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr
    assert (folder / "plan.toml").read_text(encoding="utf-8") == CHAIN
    assert [path.name for path in folder.iterdir()] == ["plan.toml"]


def test_without_a_gateway_the_way_to_name_one_is_told(run, folder):
    text = MINIMAL[: MINIMAL.index("[[gateway]]")]
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    result = run("network", "plan.toml")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == "plan.toml: has no [[gateway]]; add one, or name a spot with --gateway NAME\n"


def test_where_nothing_reaches_anything_that_is_the_result(run, folder):
    (folder / "plan.toml").write_text(CHAIN.replace("-98.0", "-10.0").replace("-96.0", "-10.0"), encoding="utf-8")
    result = run("network", "plan.toml")
    assert result.exit_code == 0
    assert "0 of 3 inverters covered. 0 have a backup route" in result.stdout


def test_names_that_look_like_markup_stay_text(run, folder):
    """GraphML is XML: names are escaped in it."""
    text = CHAIN.replace('"i0"', "'<b>\"&i0'")
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    assert run("network", "plan.toml", "--graphml", "net.graphml").exit_code == 0
    assert '<b>"&i0' in nx.read_graphml(folder / "net.graphml").nodes


def test_the_next_step_explains_with_the_same_gateway_and_relays(run, tmp_path):
    """With the plan's own gateway, and as many relays as the plan allows, the command would tell of other links."""
    spot = entry("spot", name='"shed"', at="[10, 100]", height_m=2)
    far = entry("inverter", name='"far"', at="[90000, 0]", height_m=2)
    path = tmp_path / "far.toml"
    path.write_text(MINIMAL + spot + far, encoding="utf-8")
    text = " ".join(run("network", str(path), "--gateway", "shed", "--relays", "1").stdout.split())
    assert f"survey explain {path} far --gateway shed --relays 1 " in text
    text = " ".join(run("network", str(path), "--relays", "1").stdout.split())
    assert f"survey explain {path} far --relays 1 " in text
