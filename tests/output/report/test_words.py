"""What the page says that stands elsewhere too."""

import pytest
from places import ROOT

from survey.output.report.cautions import CAUTIONS, FIRST

DOCUMENT = " ".join((ROOT / "docs" / "cautions.md").read_text(encoding="utf-8").replace("`", "").split())


@pytest.mark.parametrize("sentence", [FIRST, *(line for _, lines in CAUTIONS for line in lines)])
def test_every_caution_stands_in_the_document_in_the_same_words(sentence):
    assert sentence in DOCUMENT


@pytest.mark.parametrize("heading", [heading for heading, _ in CAUTIONS])
def test_every_heading_of_cautions_is_one_of_the_document(heading):
    text = (ROOT / "docs" / "cautions.md").read_text(encoding="utf-8")
    assert f"## {heading}" in text.splitlines()


def test_the_script_is_short_and_talks_to_nobody():
    script = (ROOT / "survey" / "output" / "templates" / "report.js").read_text(encoding="utf-8")
    assert len(script.splitlines()) < 200
    assert not any(word in script for word in ("fetch(", "XMLHttpRequest", "innerHTML", "eval(", "http", "</"))
