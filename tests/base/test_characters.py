"""Characters that act instead of being shown: found, and written as escapes in each format."""

import json
import unicodedata
import xml.etree.ElementTree as ET

import pytest

from survey.base.characters import harm_in, harmless, harmless_json, harmless_xml

ACTS = [
    "\x00",
    "\x07",
    "\x1b",
    "\x7f",
    "\x9b",
    "\xad",
    "\u200b",
    "\u202e",
    "\u2066",
    "\u2028",
    "\ufeff",
    "\uffff",
    "\U000e0041",
]


@pytest.mark.parametrize("one", ACTS, ids=lambda one: f"{ord(one):04X}")
def test_what_acts_is_found_and_escaped(one):
    assert harm_in(f"roof{one}x") == f"U+{ord(one):04X}"
    assert harmless(f"roof{one}x").isprintable()
    assert harm_in(harmless(f"roof{one}x")) is None


@pytest.mark.parametrize(
    "text", ["two\nlines\tand a tab\r\n", "10\xa0m, 5 Ω", "屋根 🌞", "👩\u200d🔧 क्\u200dष", "'=1+1\"<&>"]
)
def test_ordinary_text_of_any_language_stays(text):
    assert harm_in(text) is None
    assert harmless(text) == text


def test_json_keeps_its_values():
    values = {"a": "".join(ACTS), "b\u202e": ["plain", 1.5, None]}
    text = harmless_json(json.dumps(values, ensure_ascii=False))
    assert json.loads(text) == values
    assert harm_in(text) is None


def test_xml_of_any_text_can_be_read():
    every = "".join(map(chr, range(1, 0x3000))) + "\ud800\ufffe\uffff\ufdd0"
    text = every.replace("&", "").replace("<", "")
    assert ET.fromstring(harmless_xml(f"<a>{text}</a>")).text  # noqa: S314  our own


def test_every_category_of_control_is_covered():
    left = {
        "\t",
        "\n",
        "\r",
        "\u200c",
        "\u200d",
        "\u070f",
    }  # ends of lines, joiners of scripts and emoji, and a Syriac letter
    controls = [chr(c) for c in range(0x3000) if unicodedata.category(chr(c)) == "Cc"]
    assert [one for one in controls if harm_in(one) is None and one not in left] == []
    turning = {"L", "R", "AL", "LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI"}
    marks = [
        chr(c)
        for c in range(0x3000)
        if unicodedata.category(chr(c)) == "Cf" and unicodedata.bidirectional(chr(c)) in turning
    ]
    assert [f"{ord(one):04X}" for one in marks if harm_in(one) is None and one not in left] == []
