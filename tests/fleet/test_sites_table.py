"""The table of sites: paths from its folder, rows that cannot be used, and folders in place of a table."""

import pytest

from survey.base.errors import TableError
from survey.fleet import read_sites


def table(folder, text):
    (folder / "sites.csv").write_text(text, encoding="utf-8")
    return read_sites(folder / "sites.csv")


def test_paths_count_from_the_folder_of_the_table_and_addresses_stay(tmp_path):
    found = table(tmp_path, "site,plan,log,branch\nA,a/plan.toml,s3://bucket/a.parquet,north office\n")
    (site,) = found.sites
    assert (site.plan, site.log) == (str(tmp_path / "a/plan.toml"), "s3://bucket/a.parquet")
    assert (site.branch, site.branch_file) == ("north office", "")


def test_rows_that_cannot_be_used_are_told_by_their_line_and_the_rest_is_there(tmp_path):
    text = "site;plan;log\n# a comment\nA;a.toml;\n;b.toml;\nA;c.toml;\nD;;\nE;e.toml;e.csv\n"
    found = table(tmp_path, text)
    assert [site.name for site in found.sites] == ["A", "E"]
    assert [(row.place, row.problem) for row in found.refused] == [
        ("line 4", "site: is empty; each site needs a name"),
        ("line 5", 'site: "A" is also in line 3; give each site its own name'),
        ("line 6", "plan: is empty; each site needs a plan"),
    ]
    assert len(found) == 5


@pytest.mark.parametrize(
    ("text", "told"),
    [("", "is empty"), ("site,plan\n", "has a header and no rows"), ("name,plan\nA,a\n", "no such column")],
)
def test_a_table_that_is_none_is_refused(tmp_path, text, told):
    with pytest.raises(TableError, match=told):
        table(tmp_path, text)


def test_a_folder_has_a_folder_for_each_site(tmp_path):
    for name, files in {
        "b": ["plan.toml", "log.csv", "fit.json"],
        "a": ["yard.toml"],
        "c": ["one.toml", "two.toml"],
    }.items():
        (tmp_path / name).mkdir()
        for file in files:
            (tmp_path / name / file).touch()
    (tmp_path / ".hidden").mkdir()
    a, b, c = read_sites(tmp_path).sites
    assert (a.name, a.plan, a.log) == ("a", str(tmp_path / "a/yard.toml"), "")
    assert (b.log, b.fit, b.readings) == (str(tmp_path / "b/log.csv"), str(tmp_path / "b/fit.json"), "")
    assert c.plan == str(tmp_path / "c/plan.toml"), "told as missing where two plans are there"


def test_a_folder_without_folders_is_refused(tmp_path):
    with pytest.raises(TableError, match="has no folders"):
        read_sites(tmp_path)
