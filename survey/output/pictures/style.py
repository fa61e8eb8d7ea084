"""What all pictures share: colours, marks and lines, the look of a figure, and how one becomes a file."""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any, ParamSpec

import matplotlib.style
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.text import Text
from PIL import Image

from survey.base.characters import harmless, harmless_xml
from survey.base.errors import one_line
from survey.base.layout import shortened
from survey.base.limits import DPI
from survey.output.answers.figures import CAUTION
from survey.output.map.legend import SPOT_COLOUR, Mark

P = ParamSpec("P")

COLOURS = 256
"""Colours of a PNG."""
WIDTH_IN = 8.5
"""Width of a picture unless another is asked for: with 8 point letters it can be read on a page. [inch]"""
_width_in: ContextVar[float] = ContextVar("width_in", default=WIDTH_IN)
TITLE_PT, TEXT_PT, SMALL_PT = 11.0, 8.5, 7.5
"""Sizes of type that are read on A4; by eye. [pt]"""
LINE_LETTERS = 126
"""So many letters of text fit across a picture."""
CAUTION_LINE_IN = 0.13
"""Height of a line of the caution, where a narrow picture breaks it. [inch]"""
NAME_LETTERS = 30
"""A longer name is cut at its end where it stands in a picture."""
WARNING = CAUTION.partition(". ")[0].replace("\n  ", " ") + "."
"""The sentence at the foot of every picture."""

INK, FAINT, PAPER = "#1a1a1a", "#8a8a8a", "#ffffff"


UNKNOWN = Mark("inverter", "o", "#555555", "#bbbbbb", filled=False, dashes="-", width_pt=0.6)
"""An inverter where no gateway was looked at."""


def marker(mark: Mark, size_pt: float) -> dict[str, Any]:
    """Settings of a line that is drawn as marks of a state alone."""
    return {
        "linestyle": "none",
        "marker": mark.shape,
        "markersize": size_pt,
        "markerfacecolor": mark.colour if mark.filled else PAPER,
        "markeredgecolor": mark.colour if not mark.filled else INK,
        "markeredgewidth": min(1.3, 0.2 * size_pt) if not mark.filled else 0.5,
    }


GATEWAY: dict[str, Any] = {
    "linestyle": "none",
    "marker": "s",
    "markersize": 10.0,
    "markerfacecolor": INK,
    "markeredgecolor": PAPER,
    "markeredgewidth": 1.4,
}
"""Mark of a gateway that the picture is for; by eye."""
OTHER_GATEWAY: dict[str, Any] = GATEWAY | {
    "markersize": 8.0,
    "markerfacecolor": PAPER,
    "markeredgecolor": INK,
    "markeredgewidth": 1.6,
}
"""Mark of another; by eye."""
ADVISED: dict[str, Any] = OTHER_GATEWAY | {"marker": "D", "markersize": 7.5}
"""Mark of a recommended spot; by eye."""
SPOT: dict[str, Any] = {
    "linestyle": "none",
    "marker": "P",
    "markersize": 6.5,
    "markerfacecolor": SPOT_COLOUR,
    "markeredgecolor": PAPER,
    "markeredgewidth": 0.5,
}
"""Mark of a spot; by eye."""
SEARCH: dict[str, Any] = {
    "linestyle": "none",
    "marker": ".",
    "markersize": 2.6,
    "markerfacecolor": SPOT_COLOUR,
    "markeredgecolor": "none",
}
"""Mark of a point of a search; by eye."""

LOOK: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "figure.dpi": DPI,
    "savefig.dpi": DPI,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.6,
    "axes.labelsize": SMALL_PT,
    "axes.axisbelow": True,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "hatch.linewidth": 0.5,
    "hatch.color": FAINT,
    "legend.fontsize": SMALL_PT,
    "legend.frameon": False,
    "legend.handlelength": 2.2,
    "legend.columnspacing": 1.4,
    "path.simplify": True,
    "svg.fonttype": "none",
    "svg.hashsalt": "survey",
    "pdf.fonttype": 42,
}
"""Settings of matplotlib for all pictures; by eye."""
NO_METADATA: dict[str, dict[str, Any]] = {
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": None, "Format": None, "Type": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}
"""So that the same picture is the same file, whenever and wherever it was made."""


@contextmanager
def pictures_of_width(inches: float | None) -> Iterator[None]:
    """Draw pictures of another width, with letters and marks as large as ever; None for the usual one."""
    before = _width_in.set(inches or WIDTH_IN)
    try:
        yield
    finally:
        _width_in.reset(before)


def width_in() -> float:
    """Return the width of pictures drawn here. [inch]"""
    return _width_in.get()


@contextmanager
def house_style() -> Iterator[None]:
    """The look of our pictures, whatever the user's own settings say; these stay as they were."""
    with matplotlib.style.context(["default", LOOK]), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*[Gg]lyph .* missing from")  # see `missing_letters`
        yield


def picture(draw: Callable[P, Figure]) -> Callable[P, Figure]:
    """Make a function that draws do so in our look, and take names for text, dollar signs and all."""

    @wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> Figure:
        with house_style():
            figure = draw(*args, **kwargs)
            plain_text(figure)
        return figure

    return drawn


def plain_text(figure: Figure) -> None:
    """Take no text of a figure for a formula."""
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        text.set_parse_math(False)


def as_bytes(figure: Figure, ending: str, *, dpi: int = DPI) -> bytes:
    """A picture as the content of a file.

    Parameters
    ----------
    figure : Figure
        One of ours.
    ending : str
        ``png``, ``svg`` or ``pdf``.
    dpi : int
        Dots per inch of a PNG.

    Returns
    -------
    bytes
        The same for the same picture: no time, no place, no program's name in it. An SVG has a title and a description,
        for those who hear it read aloud; text in it and in a PDF is text.
    """
    file = io.BytesIO()
    # What is packed anew at once need not be packed before.
    loose: dict[str, Any] = {"pil_kwargs": {"compress_level": 0}} if ending == "png" else {}
    with house_style():
        title = _text_of(figure, "title")
        metadata = NO_METADATA[ending] | ({"Title": title} if ending == "pdf" else {})
        figure.savefig(file, format=ending, metadata=metadata, dpi=dpi, **loose)
    if ending == "png":
        return _with_few_colours(file, dpi=dpi)
    if ending == "svg":
        about = ". ".join(
            part.rstrip(".") for part in (_text_of(figure, "subtitle"), _text_of(figure, "caution")) if part
        )
        svg = harmless_xml(file.getvalue().decode("utf-8")).encode("utf-8")
        return _described(svg, title=title, about=f"{about}.")
    return file.getvalue()


def _text_of(figure: Figure, gid: str) -> str:
    """The words of one text of a figure, in one line; empty where it has none."""
    return next((" ".join(one.get_text().split()) for one in figure.texts if one.get_gid() == gid), "")


def _described(svg: bytes, *, title: str, about: str) -> bytes:
    """An SVG with its title and its description, which a browser shows and a screen reader reads."""
    from html import escape  # noqa: PLC0415  of an SVG only

    start = svg.index(b"<svg")
    end = svg.index(b">", start)
    title, about = escape(harmless(title)), escape(harmless(about))
    words = f"<title id='about-title'>{title}</title><desc id='about'>{about}</desc>".encode()
    role = b" role='img' aria-labelledby='about-title' aria-describedby='about'"
    return svg[:end] + role + svg[end : end + 1] + b"\n " + words + svg[end + 1 :]


def missing_letters(figure: Figure) -> int:
    """How many different letters of a picture its font lacks: where they are drawn, boxes stand for them."""
    missing = set()
    with house_style():
        for text in figure.findobj(Text):
            assert isinstance(text, Text)
            letters = {letter for letter in text.get_text() if not letter.isspace()}
            if any(not letter.isascii() for letter in letters):
                font = get_font(findfont(text.get_fontproperties()))
                missing |= {letter for letter in letters if not font.get_char_index(ord(letter))}
    return len(missing)


def _with_few_colours(file: io.BytesIO, *, dpi: int) -> bytes:
    """A PNG with a palette: a third of the size, and the eye sees no difference."""
    image = Image.open(file).convert("RGB")
    small = io.BytesIO()
    image.quantize(COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
        small, format="png", optimize=True, dpi=(dpi,) * 2
    )
    return small.getvalue()


def new_figure(*, height_in: float, title: str, lines: tuple[str, ...] = (), caution: str = WARNING) -> Figure:
    """A figure with its title, the lines below it, and the caution at its foot.

    Parameters
    ----------
    height_in : float
        Its height. [inch]
    title : str
        What it shows.
    lines : tuple of str
        What else must be known to read it; broken where they are too long.
    caution : str
        One sentence, at its foot.
    """
    figure = Figure(figsize=(width_in(), height_in))
    letters = _letters()
    left = 0.12 / width_in()
    wide_title = textwrap.shorten(one_line(title), int(letters * TEXT_PT / TITLE_PT), placeholder=" …")
    figure.text(left, 1.0 - 0.10 / height_in, wide_title, fontsize=TITLE_PT, fontweight="bold", va="top", gid="title")
    below = "\n".join(part for line in lines for part in _wrapped(line, letters))
    figure.text(left, 1.0 - 0.32 / height_in, below, fontsize=TEXT_PT, va="top", gid="subtitle", linespacing=1.25)
    figure.text(
        left,
        0.07 / height_in,
        "\n".join(_wrapped(caution, letters)),
        fontsize=SMALL_PT,
        va="bottom",
        color="#444444",
        gid="caution",
    )
    return figure


def _letters() -> int:
    """How many letters of text fit across a picture."""
    return int(LINE_LETTERS * width_in() / WIDTH_IN)


def head_in(lines: tuple[str, ...]) -> float:
    """How high title and lines stand. [inch]"""
    letters = _letters()
    return 0.42 + 0.155 * sum(len(_wrapped(line, letters)) for line in lines)


def _wrapped(line: str, letters: int) -> list[str]:
    """A line broken where it is too long, but never between a figure and its percent sign."""
    return textwrap.wrap(one_line(line).replace(" %", "\N{NO-BREAK SPACE}%"), letters)


def foot_legend(figure: Figure, handles: list[Any], *, columns: int) -> None:
    """The legend below a picture, above the caution."""
    height_in = figure.get_size_inches()[1]
    low = (0.2 + CAUTION_LINE_IN * (_caution_lines() - 1)) / height_in
    figure.legend(handles=handles, loc="lower center", ncols=_columns(columns), bbox_to_anchor=(0.5, low))


def _columns(columns: int) -> int:
    """How many of the columns of a legend fit across."""
    return max(1, int(columns * width_in() / WIDTH_IN))


def _caution_lines() -> int:
    return len(_wrapped(WARNING, _letters()))


def legend_in(entries: int, *, columns: int) -> float:
    """How high a legend and the caution stand. [inch]"""
    return 0.32 + CAUTION_LINE_IN * (_caution_lines() - 1) + 0.185 * -(-entries // _columns(columns))


def sample(label: str, **settings: Any) -> Line2D:  # noqa: ANN401  as matplotlib has them
    """An entry of a legend."""
    return Line2D([], [], label=label, **settings)


def short(name: str, letters: int = NAME_LETTERS) -> str:
    """A name as it stands in a picture."""
    return shortened(one_line(name), letters)
