"""Every module of some size has its test file by the same path, or a line that names the file that tests it."""

import pytest
from places import ROOT

SURVEY, TESTS = ROOT / "survey", ROOT / "tests"
NOT_YET: tuple[str, ...] = ()
LONG = 100
"""Shorter modules are tested with what uses them. [lines]"""
ELSEWHERE = {
    # What is printed is tested where it is printed; a package's modules where the package is tested.
    "inputs/nested.py": "inputs/buildings/test_refusals.py",
    "inputs/plan/ground.py": "inputs/test_ground.py",
    "inputs/buildings/uprights.py": "inputs/buildings/test_roofs.py",
    "inputs/plan_reading/above_ground.py": "inputs/test_ground.py",
    "inputs/plan/inverters.py": "inputs/test_plan_file.py",
    "inputs/plan/place_keys.py": "inputs/places/test_words_of_refusal.py",
    "inputs/plan/spots.py": "inputs/test_plan.py",
    "inputs/plan_reading/entries.py": "inputs/test_plan_file.py",
    "geometry/plain.py": "geometry/test_crossings.py",
    "geometry/sheets.py": "geometry/test_crossings.py",
    **{
        f"propagation/around/{name}.py": f"propagation/around/{file}.py"
        for file, names in {
            "test_exact_sections": "mirrors plane rule unfold",
            "test_redrawn": "bodies cut section",
            "test_steps": "search",
            "test_windows": "string windows",
        }.items()
        for name in names.split()
    },
    "propagation/around/plants.py": "propagation/test_around.py",
    "inputs/plan/obstacles/parts.py": "inputs/places/test_layout.py",
    "inputs/places/arrays.py": "inputs/places/test_layout.py",
    "inputs/places/boxes.py": "inputs/places/test_layout.py",
    "inputs/places/carriers.py": "inputs/places/test_words_of_refusal.py",
    "inputs/places/points.py": "inputs/places/test_layout.py",
    "inputs/places/searches.py": "inputs/places/test_layout.py",
    "inputs/places/words.py": "inputs/places/test_words_of_refusal.py",
    "inputs/places/parts.py": "output/export/test_sheets.py",
    "inputs/buildings/body.py": "inputs/buildings/test_watertight.py",
    "inputs/buildings/entry.py": "inputs/buildings/test_refusals.py",
    "inputs/buildings/rectangles.py": "inputs/buildings/test_roofs.py",
    "inputs/buildings/resolve.py": "inputs/buildings/test_joined.py",
    "inputs/buildings/slopes.py": "inputs/buildings/test_roofs.py",
    "inputs/buildings/walls.py": "inputs/buildings/test_faces.py",
    "inputs/drawings/expanding.py": "inputs/drawings/test_plan_with_drawings.py",
    "inputs/drawings/library.py": "inputs/drawings/test_plan_with_drawings.py",
    "inputs/drawings/pieces.py": "inputs/drawings/test_plan_with_drawings.py",
    "inputs/plan/obstacles/kind.py": "test_new_kind_of_obstacle.py",
    "cli/folders.py": "cli/test_rounds.py",
    "cli/progress.py": "cli/test_streams.py",
    "scene/ends.py": "inputs/test_antennas.py",
    "scene/correction.py": "measured/calibration/test_fit.py",
    "budget/figures.py": "budget/test_links.py",
    "budget/working.py": "budget/test_links.py",
    "routing/graph.py": "cli/test_network.py",
    "routing/coverage.py": "routing/test_coverage_matrix.py",
    "siting/proof.py": "siting/test_choosing.py",
    "siting/search.py": "siting/test_choosing.py",
    "siting/capacity.py": "siting/test_matrix.py",
    "measured/calibration/check.py": "measured/calibration/test_fit.py",
    "measured/calibration/fit_file.py": "cli/test_fit.py",
    "measured/calibration/left_out.py": "measured/calibration/test_field.py",
    "measured/calibration/model.py": "measured/calibration/test_fit.py",
    "measured/calibration/search.py": "measured/calibration/test_field.py",
    "measured/calibration/pairs.py": "measured/calibration/test_fit.py",
    "decisions/simulation/pairs.py": "decisions/test_comparison.py",
    "decisions/simulation/turning.py": "decisions/simulation/test_certainty.py",
    "decisions/simulation/unknowns.py": "decisions/simulation/test_margins.py",
    "library/findings.py": "library/test_assess.py",
    "output/answers/drawing.py": "decisions/simulation/test_measure_again.py",
    "output/answers/figures.py": "output/test_tables.py",
    "output/answers/link_budget.py": "cli/test_explain.py",
    "output/answers/place_record.py": "cli/test_place.py",
    "output/answers/plans.py": "cli/test_compare_plans.py",
    "output/answers/recommendation.py": "cli/test_place.py",
    "output/answers/remedy_table.py": "cli/test_explain.py",
    "output/answers/sure.py": "cli/test_place.py",
    "output/export/site.py": "cli/test_export.py",
    "output/map/site.py": "output/report/test_site_map.py",
    "output/report/findings.py": "cli/test_report.py",
    "output/report/page.py": "cli/test_report.py",
    "output/report/rows.py": "cli/test_report.py",
    "output/report/sections.py": "cli/test_report.py",
    "output/sheet.py": "cli/test_report_form.py",
    "cli/files.py": "cli/test_options.py",
}
MODULES = [
    path.relative_to(SURVEY)
    for path in sorted(SURVEY.rglob("*.py"))
    if path.name != "__init__.py"
    and path.relative_to(SURVEY).parts[0] not in NOT_YET
    and len(path.read_text(encoding="utf-8").splitlines()) > LONG
]


def own_tests(module):
    """Where the tests of a module may stand: by its path, by its package's, and a command's answer with the command."""
    package = module.parent
    return [
        package / f"test_{module.stem}.py",
        package.parent / f"test_{package.name}.py",
        package / f"test_{package.name}.py",
        *([f"cli/test_{module.stem}.py"] if package.as_posix() == "output/answers" else []),
    ]


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.as_posix())
def test_a_module_has_its_test_file(module):
    named = ELSEWHERE.get(module.as_posix())
    found = [one for one in ([named] if named else own_tests(module)) if (TESTS / one).is_file()]
    assert found, f"write tests/{own_tests(module)[0].as_posix()}, or name the file that tests {module.as_posix()}"
    for one in found:  # it imports the room or the library, itself or by its fixtures, or runs the command
        files = [TESTS / one, (TESTS / one).parent / "conftest.py"]
        text = "".join(file.read_text(encoding="utf-8") for file in files if file.is_file())
        supports = ("from around_site", "from one_link")  # sites put together for the room of propagation
        known = f"from survey.{module.parts[0]}" in text or "import survey" in text or any(o in text for o in supports)
        assert known or (TESTS / one).parent.name == "cli"


def test_the_table_names_no_module_that_is_gone_short_or_has_a_file_of_its_own():
    """A file of its own stands first; the table is for what has none."""
    known = {module.as_posix() for module in MODULES}
    assert [name for name in ELSEWHERE if name not in known] == []
    own = {module.as_posix(): own_tests(module)[0] for module in MODULES}
    table_is_needless = [
        name for name, named in ELSEWHERE.items() if (TESTS / own[name]).is_file() and str(own[name]) != named
    ]
    assert table_is_needless == []
