"""The pictures that docs and README show are there, small, and what the program draws today."""

import os
import re
import shlex
import shutil

import pytest
from click.testing import CliRunner
from places import ROOT
from tiles import difference, tiles

from survey.cli import main

IMAGES = ROOT / "docs" / "img"
PAGE = (ROOT / "docs" / "pictures.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^\$ (survey draw .*--out (\S+))$", PAGE, flags=re.MULTILINE)


def test_every_picture_shown_is_drawn_by_a_command_beside_it_and_nothing_else_lies_there():
    shown = re.findall(r"!\[.+\]\(img/(\S+)\)", PAGE)
    assert shown == [name for _, name in COMMANDS]
    assert sorted(path.name for path in IMAGES.iterdir()) == sorted(shown)
    for page in (ROOT / "README.md",):
        assert set(re.findall(r"!\[.+\]\(docs/img/(\S+)\)", page.read_text(encoding="utf-8"))) <= set(shown)


@pytest.mark.parametrize(("command", "name"), COMMANDS, ids=[name for _, name in COMMANDS])
def test_a_picture_of_the_docs_is_small_and_not_stale(tmp_path, monkeypatch, command, name):
    """Draw anew with SURVEY_UPDATE_PICTURES=1, and look at the pictures before they are kept."""
    shutil.copytree(ROOT / "sites", tmp_path / "sites")
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, shlex.split(command)[1:], catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    if os.environ.get("SURVEY_UPDATE_PICTURES"):
        shutil.copyfile(tmp_path / name, IMAGES / name)
    kept = (IMAGES / name).read_bytes()
    assert len(kept) < 150_000
    assert difference(tiles((tmp_path / name).read_bytes()), tiles(kept)) < 0.02
