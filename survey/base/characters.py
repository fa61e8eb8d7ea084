"""Characters that do something to whatever shows a text, rather than being shown: found, and written as escapes."""

from __future__ import annotations

import re

HARMFUL = re.compile(
    "["
    "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"  # control characters and escape codes, without tab and ends of lines
    "\xad\u200b\u2060\ufeff"  # letters that are not there: soft hyphen, spaces and joints of no width
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # marks of direction, which turn the text after them around
    "\u2028\u2029"  # ends of lines and paragraphs that few programs know
    "\ufdd0-\ufdef\ufffe\uffff"  # what Unicode keeps out of text, and XML refuses
    "\U000e0000-\U000e007f"  # tags: letters that are not shown
    "]"
)
"""What no text of a plan may hold: Unicode Technical Report 36 (security), XML 1.0 section 2.2, RFC 8265."""
SURROGATE = re.compile("[\ud800-\udfff]")
"""Half a character: of a file name that is no text."""


def harm_in(text: str) -> str | None:
    r"""The first character of a text that may not stand in it, as its number in Unicode; None where there is none.

    Examples
    --------
    >>> harm_in("roof\u202ea"), harm_in("two\nlines, 5 \u03a9")
    ('U+202E', None)
    """
    found = HARMFUL.search(text)
    return f"U+{ord(found[0]):04X}" if found else None


def harmless(text: str) -> str:
    r"""Text with what may do harm as escapes; ends of lines and tabs stay.

    Examples
    --------
    >>> print(harmless("red \x1b[31m roof"))
    red \x1b[31m roof
    """
    return HARMFUL.sub(_escape, text)


def harmless_json(text: str) -> str:
    r"""Return JSON with what may do harm in its texts as the escapes of JSON: the same values.

    Examples
    --------
    >>> print(harmless_json('{"name": "a\u202eb"}'))
    {"name": "a\u202eb"}
    """
    return HARMFUL.sub(_json_escape, text)


def harmless_xml(text: str) -> str:
    r"""Return XML, or HTML, that every program can read, whatever its texts hold.

    Examples
    --------
    >>> print(harmless_xml("<text>a\x1bb</text>"))
    <text>a\x1bb</text>
    """
    return SURROGATE.sub("\N{REPLACEMENT CHARACTER}", HARMFUL.sub(_escape, text))


def _escape(found: re.Match[str]) -> str:
    return found[0].encode("unicode_escape").decode("ascii")


def _json_escape(found: re.Match[str]) -> str:
    units = found[0].encode("utf-16-be")
    return "".join(f"\\u{units[k]:02x}{units[k + 1]:02x}" for k in range(0, len(units), 2))
