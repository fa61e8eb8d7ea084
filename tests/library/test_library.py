"""Each function of the library beside its command: the same answer, the same options, the same errors."""

import datetime as dt
import inspect
import json
from dataclasses import FrozenInstanceError, is_dataclass, replace
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner
from places import SITES
from plans import SPOTS, WHOLE_PLAN, write

import survey
from survey.cli import COMMANDS, main
from survey.library.sites import Answer
from survey.output.pictures import as_bytes

READINGS = "inverter,gateway,level_dbm,weather\nS1,office,-70,sun\nN-1-1,office,-81,\nN-2-3,office,missed,\n"
LOG = "time,inverter,gateway,heard\n" + "".join(
    f"2026-05-{day:02d}T{hour:02d}:00,{name},office,{int(6 < hour < 18 and (name != 'S1' or day < 4))}\n"
    for day in range(1, 8)
    for hour in range(24)
    for name in ("S1", "N-1-1", "N-2-3")
)
WITH_CONTAINER = """
[[box]]
name = "new container"
material = "welded steel"
centre = [16.0, 4.0]
length_m = 6.06
width_m = 2.44
height_m = 2.59
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """A folder with a plan, another, readings, their fit and a log."""
    folder = tmp_path_factory.mktemp("site")
    (folder / "plan.toml").write_text(WHOLE_PLAN, encoding="utf-8")
    (folder / "other.toml").write_text(WHOLE_PLAN + WITH_CONTAINER, encoding="utf-8")
    (folder / "day.csv").write_text(READINGS, encoding="utf-8")
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    return folder


@pytest.fixture(autouse=True)
def folder(site, monkeypatch):
    monkeypatch.chdir(site)
    return site


def command(*words):
    """What a command prints with --json."""
    result = CliRunner().invoke(main, [*words, "--json"], prog_name="survey", catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


SAME = {
    "check": (lambda: survey.check("plan.toml"), ["check", "plan.toml"]),
    "links": (lambda: survey.links("plan.toml"), ["links", "plan.toml"]),
    "links of some": (
        lambda: survey.links(Path("plan.toml"), gateway=["switchboard", "office"], inverter="S1"),
        ["links", "plan.toml", "--gateway", "switchboard", "--gateway", "office", "--inverter", "S1"],
    ),
    "place": (lambda: survey.place("plan.toml"), ["place", "plan.toml"]),
    "place several": (
        lambda: survey.place("plan.toml", gateways=2, relays=1, draws=50, seed=3),
        ["place", "plan.toml", "--gateways", "2", "--relays", "1", "--draws", "50", "--seed", "3"],
    ),
    "place the fewest": (
        lambda: survey.place("plan.toml", spare=True, draws=20, time_limit_s=30.0),
        ["place", "plan.toml", "--spare", "--draws", "20", "--time-limit", "30"],
    ),
    "compare": (
        lambda: survey.compare("plan.toml", ["office", "switchboard"], inverter="S1"),
        ["compare", "plan.toml", "office", "switchboard", "--inverter", "S1"],
    ),
    "compare plans": (
        lambda: survey.compare("plan.toml", "office", other_plan="other.toml", relays=1, draws=20),
        ["compare", "plan.toml", "office", "--with", "other.toml", "--relays", "1", "--draws", "20"],
    ),
    "explain": (
        lambda: survey.explain("plan.toml", ["S1", "N-2-8"], cable_m=5.0, cable_loss_db_per_m=1.0),
        ["explain", "plan.toml", "S1", "N-2-8", "--cable-m", "5", "--cable-loss-db-per-m", "1"],
    ),
    "network": (
        lambda: survey.network("plan.toml", relays=2, gateway="switchboard"),
        ["network", "plan.toml", "--relays", "2", "--gateway", "switchboard"],
    ),
    "dropouts": (lambda: survey.dropouts("plan.toml", "log.csv"), ["dropouts", "plan.toml", "log.csv"]),
}


@pytest.mark.parametrize("name", SAME)
def test_an_answer_as_a_dictionary_is_what_the_command_prints(name):
    function, words = SAME[name]
    found = function()
    assert isinstance(found, Answer)
    assert is_dataclass(found)
    assert found.to_dict() == command(*words)
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False)) == found.to_dict()


@pytest.mark.parametrize("options", [{}, {"anchored": True}, {"plain": True}, {"exponent_sd": 0.2}], ids=str)
def test_a_fit_is_what_the_command_prints_and_serves_as_its_file_does(options):
    words = [
        f"--{name.replace('_', '-')}" if value is True else f"--{name.replace('_', '-')}={value}"
        for name, value in options.items()
    ]
    with pytest.warns(survey.SurveyWarning, match="weather"):
        found = survey.fit("plan.toml", "day.csv", **options)
    printed = command("fit", "plan.toml", "day.csv", *words)
    assert found.to_dict() == printed
    assert found.level_dbm.shape == found.predicted_dbm.shape == (len(found.pairs),)
    assert found.pairs[0] == ("S1", "office")
    Path("fit.json").write_text(json.dumps(printed), encoding="utf-8")
    for fit in (found, "fit.json", Path("fit.json")):
        assert survey.links("plan.toml", fit=fit).to_dict() == command("links", "plan.toml", "--fit", "fit.json")
    assert survey.links("plan.toml", fit=found).to_dict() != survey.links("plan.toml").to_dict()


def test_a_fit_of_an_earlier_plan_warns_at_the_line_that_calls():
    with pytest.warns(survey.SurveyWarning, match="weather"):
        found = survey.fit("plan.toml", "day.csv")
    with pytest.warns(survey.SurveyWarning, match="have changed since it was fitted") as caught:
        survey.links("other.toml", fit=found)
    assert caught[0].filename == __file__


def test_a_plan_as_path_text_or_object_is_the_same():
    whole = survey.links("plan.toml").to_dict()["links"]
    for plan in (survey.read_plan("plan.toml"), survey.read_plan(Path("plan.toml")), survey.read_plan(text=WHOLE_PLAN)):
        assert survey.links(plan).to_dict()["links"] == whole


def test_a_text_finds_its_antenna_files_in_the_folder_named(tmp_path):
    (tmp_path / "mine.csv").write_text("elevation_deg,gain_dbi\n-90,-20\n0,3\n90,-20\n", encoding="utf-8")
    text = WHOLE_PLAN.replace('antenna = "isotropic" ', 'antenna = "mine.csv" ')
    assert "mine.csv" in survey.read_plan(text=text, folder=tmp_path).patterns
    with pytest.raises(survey.PlanError, match=r"mine\.csv"):
        survey.read_plan(text=text)


@pytest.mark.parametrize("arguments", [{}, {"path": "plan.toml", "text": WHOLE_PLAN}])
def test_a_plan_is_a_path_or_a_text(arguments):
    with pytest.raises(TypeError, match="one of the two"):
        survey.read_plan(**arguments)


def test_a_spot_moved_in_a_loop_is_what_a_changed_file_says():
    plan = survey.read_plan("plan.toml")
    for x_m in (12.0, 15.0):
        moved = replace(plan, spots=(replace(plan.spots[0], at=(x_m, 9.5)),))
        text = WHOLE_PLAN.replace("at = [12.0, 9.5]", f"at = [{x_m}, 9.5]")
        Path("moved.toml").write_text(text, encoding="utf-8")
        expected = survey.links("moved.toml", gateway="switchboard")
        np.testing.assert_array_equal(survey.links(moved, gateway="switchboard").margin_db, expected.margin_db)


def test_arrays_have_their_names_beside_them():
    links = survey.links("plan.toml", gateway=["office", "switchboard"])
    shape = (len(links.inverters), len(links.gateways))
    assert shape == (17, 2)
    for one in (links.margin_db, links.reliability, links.path_loss_db, links.state):
        assert one.shape == shape
    compared = survey.compare("plan.toml", ["office", "switchboard"])
    np.testing.assert_array_equal(compared.margin_db, links.margin_db)
    np.testing.assert_array_equal(compared.reliability, links.reliability)
    assert (compared.inverters, compared.spots) == (links.inverters, links.gateways)
    between = survey.compare("plan.toml", ["office", "switchboard"], other_plan="other.toml", draws=20)
    after = survey.links("other.toml", gateway=["office", "switchboard"])
    np.testing.assert_allclose(between.margin_db + between.change_db, after.margin_db)
    placed = survey.place("plan.toml", draws=20)
    best = placed.order[0]
    assert placed.gateways == (placed.spots[best],)
    assert placed.served.shape == placed.worst_margin_db.shape == placed.order.shape == (len(placed.spots),)
    assert survey.links("plan.toml", gateway=placed.gateways).margin_db.min() == placed.worst_margin_db[best]
    routes = survey.network("plan.toml", relays=1)
    assert routes.margin_db.shape == routes.reliability.shape == routes.state.shape == routes.two_routes.shape == (17,)
    assert [route[0] for route in routes.routes] == list(routes.inverters)
    assert set(routes.graph()) == {*routes.inverters, *routes.gateways}
    missed = survey.dropouts("plan.toml", "log.csv")
    assert missed.polls.shape == missed.missed.shape == (len(missed.inverters),)


def test_answers_cannot_be_changed():
    with pytest.raises(FrozenInstanceError):
        survey.links("plan.toml").links = None


# ------------------------------------------------------------------------------------------------ pictures, the page


@pytest.mark.parametrize("kind", ["map", "coverage", "profile", "network", "budget"])
def test_a_picture_is_the_one_that_the_command_writes(kind):
    result = CliRunner().invoke(main, ["draw", "plan.toml", "--out", "p.svg", "--kind", kind], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    assert as_bytes(survey.draw("plan.toml", kind=kind), "svg") == Path("p.svg").read_bytes()


@pytest.mark.parametrize(
    ("options", "problem"),
    [
        ({"kind": "maps"}, "one of: map, sides, coverage"),
        ({"kind": "map", "inverter": "S1"}, "inverter belongs to kind profile or budget"),
        ({"kind": "coverage", "show": "level"}, "one of: margin, chance"),
        ({"kind": "coverage", "points": 3}, "points: 3 is out of range; give a number from 4 to 1e"),
        ({"kind": "coverage", "gateway_places": True, "placed": True}, "every point is a gateway"),
        ({"gateway": "office", "placed": True}, "exclude each other"),
        ({"fewest": True}, "belong to placed=True"),
        ({"inverter": "S9", "kind": "budget"}, 'no inverter is named "S9"'),
    ],
    ids=str,
)
def test_a_picture_that_cannot_be_drawn_is_refused(options, problem):
    with pytest.raises(survey.SurveyError, match=problem):
        survey.draw("plan.toml", **options)


def test_a_page_is_the_one_that_the_command_writes():
    words = ["report", "plan.toml", "--out", "page.html", "--date", "2026-05-01", "--draws", "20"]
    words += ["--gateway", "office", "--readings", "day.csv", "--log", "log.csv"]
    result = CliRunner().invoke(main, words, catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    assert "warning: columns ignored: weather" in result.stderr
    with pytest.warns(survey.SurveyWarning, match="weather"):
        page = survey.report(
            "plan.toml",
            date=dt.date(2026, 5, 1),
            draws=20,
            gateway="office",
            readings="day.csv",
            log="log.csv",
        )
    assert page.html == Path("page.html").read_text(encoding="utf-8")
    assert page.all_hold is False


def test_a_page_of_a_plan_that_is_no_file_bears_another_checksum():
    plan = survey.read_plan("plan.toml")
    moved = replace(plan, spots=())
    assert len({survey.report(one, draws=5).stamp.checksum for one in ("plan.toml", plan, moved)}) == 3


def test_an_export_is_what_the_command_writes():
    words = ["export", "plan.toml", "--out", "site.csv", "--gateway", "office"]
    assert CliRunner().invoke(main, words, prog_name="survey", catch_exceptions=False).exit_code == 0
    assert (
        survey.export("plan.toml", gateway="office").csv.rstrip()
        == Path("site.csv").read_text(encoding="utf-8").rstrip()
    )


# --------------------------------------------------------------------------------------------------------- the face


RENAMED = {
    "with": "other_plan",
    "next": "next_readings",
    "time_limit": "time_limit_s",
    "width": "width_cm",
    "column": "columns",
}
OF_THE_COMMAND_ONLY = {
    "all",
    "as_buildings",
    "check",
    "compare",  # of a report: survey.report_spots
    "csv",
    "dpi",
    "form",
    "format",
    "graphml",
    "help",
    "json",
    "out",
    "require",
    "sheets",
    "top",
}
"""Where a result goes and how much of it is shown; `all_hold` stands for --require."""


@pytest.mark.parametrize("name", sorted(set(COMMANDS) - {"start", "materials"}))
def test_keywords_are_the_options_of_the_command(name):
    options = main.get_command(click.Context(main), name).params
    flags = {one.opts[-1].removeprefix("--").replace("-", "_") for one in options if isinstance(one, click.Option)}
    expected = {RENAMED.get(flag, flag) for flag in flags - OF_THE_COMMAND_ONLY}
    parameters = inspect.signature(getattr(survey, name)).parameters.values()
    keywords = {one.name: one for one in parameters if one.kind is inspect.Parameter.KEYWORD_ONLY}
    assert set(keywords) - {"progress", "told"} == expected
    assert all(one.default is not inspect.Parameter.empty for one in keywords.values())
    for option in options:
        keyword = keywords.get(RENAMED.get(flag := option.opts[-1].removeprefix("--").replace("-", "_"), flag))
        if keyword is not None and isinstance(option.default, int | float) and not isinstance(option.default, bool):
            assert keyword.default == option.default, keyword


def test_every_name_is_there_and_no_other():
    assert [name for name in survey.__all__ if not hasattr(survey, name)] == []
    assert set(survey.__all__) <= set(dir(survey))
    with pytest.raises(AttributeError, match="no attribute 'plaice'"):
        survey.plaice  # noqa: B018


def test_no_name_of_the_library_is_a_room_of_the_house():
    """Else `survey.links(...)` would be a function or a package by what has been imported before."""
    rooms = {one.name for one in Path(survey.__file__).parent.iterdir() if one.is_dir()}
    assert rooms & set(survey.__all__) == set()


@pytest.mark.parametrize(
    ("function", "problem"),
    [
        (lambda: survey.place("plan.toml", gateways=0), "gateways: 0 is out of range; give a number from 1 to 1000"),
        (lambda: survey.place("plan.toml", gateways=2, fewest=True), "asks for the most inverters"),
        (lambda: survey.place("plan.toml", draws=0), "draws: 0 is out of range"),
        (lambda: survey.place("plan.toml", seed=-1), "seed: -1 is out of range; give a number of 0 or more"),
        (lambda: survey.place("plan.toml", time_limit_s=float("nan")), "time_limit_s: nan is out of range"),
        (lambda: survey.network("plan.toml", relays=21), "max_relays"),
        (lambda: survey.compare("plan.toml", "office"), "two different spots"),
        (lambda: survey.explain("plan.toml", "S1", cable_m=-1), "cable_m: -1 is out of range; give a number from 0 to"),
        (lambda: survey.fit("plan.toml", "day.csv", exponent_sd=0.0), "exponent_sd: 0.0 is out of range"),
        (
            lambda: survey.links("plan.toml", gateway="ofice"),
            'no gateway or spot is named "ofice"; did you mean "office"',
        ),
        (lambda: survey.links("no.toml"), r"no\.toml: "),
        (lambda: survey.links("plan.toml", fit="no.json"), r"no\.json: "),
    ],
)
def test_errors_say_what_the_command_would(function, problem):
    with pytest.raises(survey.SurveyError, match=problem):
        function()


def test_a_farm_is_placed_as_the_command_places_it():
    assert survey.place(SITES / "farm.toml", draws=50).to_dict() == command(
        "place", str(SITES / "farm.toml"), "--draws", "50"
    )


def test_gateways_without_capacity_for_all_are_warned_of(tmp_path):
    plan = write(tmp_path, ("[site]", "[requirement]\ninverters_per_gateway = 1\n\n[site]"), more=SPOTS)
    text = plan.read_text(encoding="utf-8") + '\n[[inverter]]\nname = "i2"\nat = [1.0, 1.0]\nheight_m = 3.0\n'
    with pytest.warns(survey.SurveyWarning, match="2 inverters"):
        survey.place(survey.read_plan(text=text), draws=5)
