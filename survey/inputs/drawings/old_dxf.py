"""DXF files of simple programs: LWPOLYLINE without the marks of DXF 2000, written anew as POLYLINE of DXF R12."""

from __future__ import annotations

from collections.abc import Iterator

Tag = tuple[str, str]
"""Group code and value, as text."""
CLOSED = 1
"""Bit of group 70 of a polyline that is closed (DXF Reference, LWPOLYLINE)."""


def with_old_polylines(text: str) -> str:
    """Return a DXF text in which each LWPOLYLINE is a POLYLINE with vertices.

    Parameters
    ----------
    text : str
        DXF of lines, group code and value in turn.

    Notes
    -----
    A file that names no release is one of R12, which has no LWPOLYLINE; many programs write it all the same.
    """
    lines = text.splitlines()
    tags = [(code.strip(), value) for code, value in zip(lines[::2], lines[1::2], strict=False)]
    starts = [number for number, (code, _) in enumerate(tags) if code == "0"]
    found = tags[: starts[0]] if starts else tags
    for start, end in zip(starts, [*starts[1:], len(tags)], strict=True):
        entity = tags[start:end]
        found += _old(entity) if entity[0][1].strip() == "LWPOLYLINE" else entity
    return "".join(f"{code}\n{value}\n" for code, value in found)


def _old(entity: list[Tag]) -> Iterator[Tag]:
    first = dict(reversed(entity))
    layer = ("8", first.get("8", "0"))
    flags = first.get("70", "0").strip()
    yield from [("0", "POLYLINE"), layer, ("66", "1")]
    yield "70", str(int(flags) & CLOSED if flags.isdecimal() else 0)
    yield from ((code, first[code]) for code in ("210", "220", "230") if code in first)
    for code, value in entity:
        if code == "10":
            yield from [("0", "VERTEX"), layer]
        if code in ("10", "20", "42"):
            yield code, value
    yield from [("0", "SEQEND"), layer]
