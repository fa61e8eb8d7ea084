"""The words that people meet: those of the glossary in DEVELOPERS.md, in sentences that can be read on a ladder."""

import re
from dataclasses import dataclass
from functools import cache

import click
import pytest
from click.testing import CliRunner
from places import ROOT, SITES
from plans import SPOTS, WALL, write

from survey.cli import main

MESSAGE_WORDS, DOC_WORDS = 20, 25
"""Words that a sentence may have, in messages and in docs: the limits of the project's rules for texts."""
MAX_LONG_SHARE = 0.02
"""So many of the sentences may have more words: names and figures cannot always be cut. A choice."""

NOT = {
    r"straight (?:line|lines|way|through)|links? straight": "direct line, direct path",
    r"ways? around|comes? around|by way of|in between": "path around; relay",
    r"mirrors?\b|thrown back": "reflected path, reflector",
    r"what stands|stands (?:there|today|in)|that stands?\b|in the way\b": "obstacle; existing gateway",
    r"held back|give or take|\boff by\b|\bspreads?\b": "fade margin; uncertainty",
    r"the plans? do(?:es)? not know|how sure\b|\bluck\b|nine draws": "uncertainty, certainty, 9 of 10 runs",
    r"(?<![-\w])draws\b|\bdrawn\b": "simulation run",
    r"\bwhom?\b|\bnobody\b|\beverybody\b|\bsomebody\b": "the noun: inverter, link, gateway",
    r"hangs? on": "single point of failure",
    r"no room\b|without room|has room|more room|so much room": "capacity; full",
    r"\bmend(?:s|ed|ing)?\b|of no use|tak(?:e|en) away|one more gateway": "remedy; no benefit; remove; add a gateway",
    r"something new|cannot tell": "new obstacle; unknown; cannot show",
    r"left out in turn|\bwild\b|out of line|little pull": "cross-validation; outlier",
    r"\bperhaps\b|could others": "up to N more",
    r"shut in\b|shuts? (?:the )?radio": "enclosed",
    r"without fault|looks? wrong": "error, warning",
    r"as many hold|chances add up|inverters? holds?\b|least bad of": "inverter covered; expected working",
    r"what matters most|no single figure|this very point": "critical figure; this exact point",
    r"no measurement\b|square on\b": "not a measurement; at right angles",
}
"""The words of the glossary's column "not", as patterns, each with the words to use instead."""

ALLOWED = {
    "so the spread is wide": "the source of a material: a range of published figures, and no uncertainty of a link",
}
"""Texts in which such a word is right, each with the reason."""

NOT_YET_WORDS = {
    "survey dropouts": 6,
    "docs/dropouts.md": 15,
}
"""Docs and help with words of the column "not", and how many: struck out, or lowered, by whoever rewrites them."""
NOT_YET_LONG = {
    "survey dropouts": 1,
    "docs/cautions.md": 1,
    "docs/commands.md": 4,
    "docs/computing.md": 2,
    "docs/dropouts.md": 13,
    "docs/how-sure.md": 2,
    "docs/speed.md": 6,
}
"""Docs and help with long sentences beyond the limit, and how many: the same."""


@dataclass(frozen=True)
class Text:
    """Something that people read, and the words that its sentences may have."""

    name: str
    words: str
    limit: int


def misses(words):
    """Every place where a word of the column "not" comes up, in one line each."""
    found = []
    for text in ALLOWED:
        words = re.sub(r"\s+".join(map(re.escape, text.split())), "", words)
    for pattern, instead in NOT.items():
        for hit in re.finditer(pattern, words, flags=re.IGNORECASE):
            around = words[max(0, hit.start() - 40) : hit.end() + 30].replace("\n", " ")
            found.append(f"{hit[0]!r} ({instead}): ...{around}...")
    return found


def sentences(words):
    """The sentences of an output: without tables, labels and commands to type."""
    lines: list[str] = []
    for line in words.splitlines():
        text = re.sub(r"^\s*(?:[A-Z][\w ]*:\s{2,}|- |\d+\. )", "\n", line)
        inner = text.strip()
        if "  " in inner or re.fullmatch(r"[-= ]*", inner):
            lines.append("")  # a row of a table, or a rule
        elif text.startswith("  ") and lines:
            lines[-1] = f"{lines[-1]} {inner}" if lines[-1] else inner
        else:
            lines.append(inner)
    parts = (part for line in lines for part in re.split(r"(?<=[.?!:;])\s+", line))
    return [part for part in parts if re.search(r"[a-z]{2}", part)]


def prose(markdown):
    """The sentences of a page of docs: without code, tables and headings."""
    text = re.sub(r"^```.*?^```", "", markdown, flags=re.DOTALL | re.MULTILINE)
    text = re.sub(r"^(?:\||#|    |<|!\[|\.\. ).*$", "", text, flags=re.MULTILINE)
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"^\s*(?:[-*]|\d+\.) ", "\n\n", text, flags=re.MULTILINE)
    paragraphs = (" ".join(one.split()) for one in re.split(r"\n\s*\n", text))
    parts = (part for one in paragraphs for part in re.split(r"(?<=[.?!:])[)*]?\s+(?=[A-Z`*])", one))
    return [part for part in parts if re.search(r"[a-z]{2}", part)]


def length(sentence):
    """How many words a sentence has; a command to type, a name in quotes or code counts as one."""
    sentence = re.sub(r"`[^`]*`|\"[^\"]*\"|survey \w+ \S.*$", "code", sentence)
    return len(re.findall(r"[^\W_][\w.,'/-]*", sentence))


def long_ones(found, limit):
    """The sentences beyond a limit."""
    return [sentence for sentence in found if length(sentence) > limit]


# ------------------------------------------------------------------------------------------------- what is rendered

FARM, HOUSE = str(SITES / "farm.toml"), str(SITES / "house.toml")
FEW = ("--draws", "50")
OUTPUTS = {
    "check farm": ("check", FARM),
    "check plan": ("check", "plan.toml"),
    "links": ("links", FARM, "--gateway", "office", "--gateway", "north gate"),
    "links relays": ("links", "relays.toml"),
    "place farm": ("place", FARM, *FEW),
    "place house": ("place", HOUSE, *FEW),
    "place plan": ("place", "plan.toml", *FEW),
    "place deaf": ("place", "deaf.toml", *FEW),
    "place relays": ("place", "relays.toml", *FEW),
    "place several": ("place", FARM, "--gateways", "2", *FEW),
    "place fewest": ("place", HOUSE, "--fewest", *FEW),
    "compare": ("compare", FARM, "office", "north gate", "pump shed", *FEW),
    "compare with": ("compare", "plan.toml", "office", "--with", "after.toml", *FEW),
    "explain fails": ("explain", FARM, "L-1-5"),
    "explain holds": ("explain", FARM, "S-1-1", "--gateway", "north gate"),
    "explain relays": ("explain", "relays.toml", "L-1-1"),
    "explain recommended": ("explain", HOUSE, "E-1-2"),
    "network": ("network", FARM),
    "network relays": ("network", "relays.toml"),
    "materials": ("materials",),
    "fit": ("fit", "plan.toml", "day.csv"),
    "fit check": ("fit", "plan.toml", "day.csv", "--check"),
}
READINGS = "inverter,gateway,level_dbm\ni1,office,-60\ni1,post,-50\ni1,shed,-95\ni1,post,missed\n"


@pytest.fixture(scope="module")
def rendered(tmp_path_factory):
    """What every command prints, on demo sites and on small plans."""
    folder = tmp_path_factory.mktemp("words")
    write(folder, more=SPOTS)
    write(folder, more=SPOTS + WALL, name="after.toml")
    write(folder, ("-98.0", "-10.0"), more=SPOTS, name="deaf.toml")
    relays = (SITES / "farm.toml").read_text(encoding="utf-8")
    relays = relays.replace(
        "fade_margin_db = 3.0\n", "fade_margin_db = 3.0\nmax_relays = 1\ninverters_per_gateway = 25\n"
    )
    (folder / "relays.toml").write_text(relays, encoding="utf-8")
    (folder / "day.csv").write_text(READINGS, encoding="utf-8")
    texts = []
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        for name, words in OUTPUTS.items():
            result = CliRunner().invoke(main, list(words), prog_name="survey")
            assert result.exit_code == 0, (name, result.output)
            texts.append(Text(name, result.stdout, MESSAGE_WORDS))
    return texts


def test_no_output_has_a_word_of_the_column_not(rendered):
    assert {text.name: misses(text.words) for text in rendered if misses(text.words)} == {}


def test_few_sentences_of_the_outputs_are_long(rendered):
    found = {sentence for text in rendered for sentence in sentences(text.words)}
    assert len(found) > 100
    beyond = long_ones(found, MESSAGE_WORDS)
    assert len(beyond) <= MAX_LONG_SHARE * len(found), "\n".join(beyond)


def test_the_answer_stands_in_twelve_lines_before_the_first_table(rendered):
    """Lines of text: those that are empty part them."""
    heads = {}
    for text in rendered:
        if text.name.split()[0] in {"place", "links", "compare", "explain", "network"}:
            lines = text.words.splitlines()
            rule = next(k for k, line in enumerate(lines) if re.fullmatch(r"-+(?:  +-+)+", line))
            start = max(k for k in range(rule) if not lines[k])  # the table's title and heads begin after it
            heads[text.name] = sum(bool(line) for line in lines[:start])
    assert {name: count for name, count in heads.items() if count > MAX_HEAD.get(name, 12)} == {}


MAX_HEAD = {
    "place several": 14,  # two gateways, each with its position and the plan's note
    "place relays": 14,  # the inverters not covered and those over capacity are named
    "place fewest": 13,
    "explain relays": 14,  # the route beside the link
}
"""Answers that have more to say, with the reason."""


def test_no_output_is_wider_than_100_columns(rendered):
    assert [line for text in rendered for line in text.words.splitlines() if len(line) > 100] == []


def test_no_name_is_cut_in_its_middle(rendered):
    assert [line for text in rendered for line in text.words.splitlines() if re.search(r"…\w", line)] == []


# ------------------------------------------------------------------------------------------------------ help and docs


@cache
def pages():
    """Help texts and pages of docs."""
    names = sorted(main.list_commands(click.Context(main)))
    helps = [([], "survey --help"), *(([name], f"survey {name} --help") for name in names)]
    texts = []
    for words, name in helps:
        shown = CliRunner().invoke(main, [*words, "--help"], prog_name="survey").output
        texts.append(Text(name, shown, MESSAGE_WORDS))
    log = str(SITES / "farm-week.csv")
    shown = CliRunner().invoke(main, ["dropouts", FARM, log], prog_name="survey").stdout
    texts.append(Text("survey dropouts", shown, MESSAGE_WORDS))
    files = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    return [*texts, *(Text(str(file.relative_to(ROOT)), file.read_text(encoding="utf-8"), DOC_WORDS) for file in files)]


def parts_of(text):
    """The sentences of a page or of a help text; a help's options count as sentences of their own."""
    if text.name.endswith(".md"):
        return prose(text.words)
    return sentences(re.sub(r"^  (-\S.*?)(?:  +|$)", "", text.words, flags=re.MULTILINE))


@pytest.mark.parametrize("text", pages(), ids=lambda text: text.name)
def test_no_page_and_no_help_has_more_words_of_the_column_not_than_it_has_today(text):
    words = (
        text.words
        if not text.name.endswith(".md")
        else re.sub(r"^```.*?^```|`[^`]*`", "", text.words, flags=re.DOTALL | re.MULTILINE)
    )
    found = misses(words)
    assert len(found) <= NOT_YET_WORDS.get(text.name, 0), "\n".join(found)


@pytest.mark.parametrize("text", pages(), ids=lambda text: text.name)
def test_no_page_and_no_help_has_more_long_sentences_than_it_has_today(text):
    found = parts_of(text)
    beyond = long_ones(found, text.limit)
    assert len(beyond) <= max(MAX_LONG_SHARE * len(found), NOT_YET_LONG.get(text.name, 0)), "\n".join(beyond)


# ------------------------------------------------------------------------------------------------ the test can fail


def test_a_word_of_the_column_not_is_found():
    assert len(misses("No gateway has room for it: by way of a mirror, what the plan does not know")) == 4
    assert misses("A link holds; draw a picture; --draws 50; spread_db = 3") == []


def test_a_long_sentence_is_found():
    long = "One two " * 11 + "end."
    assert long_ones(sentences(f"  Note:  {long} Short one.\n\nspot  margin\n----  ------\n{long}"), 20) == [long, long]
    assert length("See what helps: survey explain plan.toml i1 --gateway office") == 4
