"""Checksums of the files of a site, and copies of those on other file systems."""

from dataclasses import replace

import pytest

from survey.base.errors import FileError
from survey.fleet import Site
from survey.fleet.files import checksum, copies, files_of, size_of


def site_in(folder):
    for name, text in {
        "p.toml": 'antenna = "gain.csv"\n',
        "l.csv": "time\n",
        "gain.csv": "1\n",
        "b.csv": "x\n",
    }.items():
        (folder / name).write_text(text, encoding="utf-8")
    return Site(name="a", plan="p.toml", log="l.csv", branch="b.csv", base=str(folder))


@pytest.mark.parametrize("name", ["p.toml", "l.csv", "gain.csv", "b.csv"])
def test_a_change_of_any_file_changes_the_checksum(tmp_path, name):
    site = site_in(tmp_path)
    before = checksum(site)
    assert checksum(site) == before
    (tmp_path / name).write_text((tmp_path / name).read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    assert checksum(site) != before


def test_another_file_or_version_changes_it_too(tmp_path, monkeypatch):
    site = site_in(tmp_path)
    before = checksum(site)
    assert checksum(replace(site, branch="north office")) != before
    monkeypatch.setattr("survey.fleet.files.__version__", "9.9")
    assert checksum(site) != before


def test_a_missing_file_is_told_with_the_name_of_the_table(tmp_path):
    site = replace(site_in(tmp_path), log="gone.csv")
    with pytest.raises(FileError) as error:
        checksum(site)
    assert str(error.value).startswith("gone.csv: there is no such file")
    with pytest.raises(FileError, match="is a folder"):
        size_of(replace(site, log="."))


def test_files_of_this_machine_are_read_where_they_are(tmp_path):
    site = site_in(tmp_path)
    with copies(site) as paths:
        assert paths == {key: tmp_path / name for key, name in files_of(site).items()}
    assert size_of(site) == {"p.toml": 21, "l.csv": 5, "b.csv": 2}


def test_files_of_other_file_systems_are_copied_with_what_the_plan_names(tmp_path):
    pytest.importorskip("fsspec", reason="other file systems need the extra cluster")
    site = site_in(tmp_path)
    far = replace(site, plan=f"file://{tmp_path}/p.toml", log=f"file://{tmp_path}/l.csv", base="", branch="")
    with copies(far) as paths:
        assert paths["plan"].read_bytes() == (tmp_path / "p.toml").read_bytes()
        assert (paths["plan"].parent / "gain.csv").read_text(encoding="utf-8") == "1\n"
        assert paths["log"].parent != tmp_path
    assert not paths["plan"].exists(), "copies are removed"
    assert size_of(far) == {far.plan: 21, far.log: 5}
    before = checksum(far)
    (tmp_path / "gain.csv").write_text("2\n", encoding="utf-8")
    assert checksum(far) != before
    with pytest.raises(FileError, match="there is no such file"):
        checksum(replace(far, log=f"file://{tmp_path}/gone.csv"))
    with pytest.raises(FileError, match="cannot be read"):
        checksum(replace(far, log="nonsense://x/y"))
