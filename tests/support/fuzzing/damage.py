"""Ways to damage a file that its reader knows: trees of values, tables of text, lines of text, and bytes."""

import copy
import datetime as dt
import json
import math

NUMBERS = [
    *(0, -0.0, 1, -1, 2, 0.5, 0.01, 1e-7, 1e-300, 5e-324, 90, 180, 360, -360, 1e3, 1e5, -1e5, 1e9, 1e300, 10**400),
    *(math.nan, math.inf, -math.inf, 0.1 + 0.2, 1.0000001, 2**63, 20, 100, 0.9999, 868.0, 2440.0),
]
TEXTS = [
    *(
        "",
        " ",
        "x",
        "a/b",
        "=1+1",
        "'=1",
        "@x",
        "\u202eroof",
        "\x1b[31m",
        "\x00",
        "two\nlines",
        "\t",
        "Süd 屋根 🌞",
        "\ufeff",
    ),
    *("open", "ground", "south wall", "roof", "north", "east", "dipole", "isotropic", "vertical", "welded steel"),
    *("glass 6 mm", "pv module", "nan", "inf", "1e400", "../x.csv", "whip.csv", "list.csv", "map.geojson", "map/roof"),
    *("site.dxf", "20 ft", "<script>alert(1)</script>", "]]>", "{{ 7*7 }}", "%%u", "x" * 300, "<&\"'>", "i1", "office"),
    *("hall/roof", "hall/south wall", "hall", "hut", "W", "outside", "inside", "missed", "flat", "gable", "hip"),
]
OTHERS = [
    True,
    False,
    [],
    {},
    [[]],
    [{}],
    [None],
    dt.date(2024, 1, 31),
    dt.time(10, 0),
    dt.datetime(2024, 2, 3, tzinfo=dt.UTC),
]
POINTS = [[0, 0], [10, 0], [1, 2, 3], [5.0, 5.0], [0, 0, 0], [1e5, 1e5], ["x", "y"], [math.nan, 0]]
LISTS = [
    [[0, 0], [1, 1], [1, 0], [0, 1]],
    [[0, 0], [0, 0]],
    [[0, 0], [9, 0], [9, 9]],
    [[0, 0, 3], [9, 0, 3], [9, 9, 3]],
]


def strange(draw):
    """A value that few keys can have."""
    kind = draw.random()
    if kind < 0.45:
        return draw.choice(NUMBERS)
    if kind < 0.75:
        return draw.choice(TEXTS)
    return copy.deepcopy(draw.choice(draw.choice([OTHERS, POINTS, LISTS])))


def places(value, path=()):
    """Where something stands in a tree: the keys and positions that lead to it."""
    found = [path] if path else []
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, child in children:
        found += places(child, (*path, step))
    return found


def at(tree, path):
    for step in path:
        tree = tree[step]
    return tree


def damaged_tree(draw, tree, *, most):
    """Return a tree with up to so many of its values nudged, dropped, exchanged, renamed, doubled or made strange."""
    tree = copy.deepcopy(tree)
    for _ in range(draw.randint(0, most)):
        everywhere = places(tree)
        if not everywhere:
            break
        path, other = draw.choice(everywhere), draw.choice(everywhere)
        owner, step = at(tree, path[:-1]), path[-1]
        now, what = owner[step], draw.random()
        if what < 0.35 and isinstance(now, int | float) and not isinstance(now, bool):
            owner[step] = nudged(draw, now)
        elif what < 0.5:
            owner[step] = strange(draw)
        elif what < 0.65:
            owner[step] = copy.deepcopy(at(tree, other))
        elif what < 0.75:
            del owner[step]
        elif what < 0.85 and isinstance(owner, list):
            owner.insert(draw.randint(0, len(owner)), copy.deepcopy(now))
        elif isinstance(owner, dict):
            keys = [path[-1] for path in everywhere if isinstance(path[-1], str)]
            owner[draw.choice([*keys, "x", "heigth_m", "on", "from"])] = (
                strange(draw) if what < 0.93 else owner.pop(step)
            )
    return tree


def nudged(draw, number):
    """A number like another: of another sign, a little more, a multiple, rounded, or one of those that often matter."""
    how = draw.randint(0, 7)
    if draw.random() < 0.4:
        return type(number)(number * draw.choice([0.5, 0.9, 1.1, 2]))
    if how == 0:
        return draw.choice(NUMBERS)
    if isinstance(number, int):
        return [number + 1, number - 1, -number, number * 2, 0, number, number + 100][how - 1]
    return [number + 1e-6, number - 1e-6, -number, number * 2, number / 10, float(round(number)), number * 1e3][how - 1]


def damaged_table(draw, rows, *, most):
    """Return rows of text with some cells, rows or columns changed."""
    rows = [list(row) for row in rows]
    for _ in range(draw.randint(0, most)):
        if not rows:
            break
        r = draw.randrange(len(rows))
        c = draw.randrange(len(rows[r])) if rows[r] else 0
        what = draw.randint(0, 7)
        if what <= 2 and rows[r]:
            rows[r][c] = str(strange(draw))[:400]
        elif what == 3 and rows[r]:
            rows[r][c] = draw.choice(draw.choice([row for row in rows if row] or [[""]]))
        elif what == 4:
            rows.insert(r, list(draw.choice(rows)))
        elif what == 5:
            del rows[r]
        elif what == 6 and rows[r]:
            del rows[r][c]
        else:
            rows[r].append(str(strange(draw))[:400])
    return rows


PIECES = [
    b"\n",
    b"\r",
    b"[",
    b"]",
    b'"',
    b"'",
    b"=",
    b"\xff",
    b"\0",
    b"nan",
    b"9" * 30,
    b"[[wall]]",
    b"\xef\xbb\xbf",
    b";",
    b"\t",
    b"#",
    b"{",
    b",",
]


def damaged_bytes(draw, content, *, most):
    """Return bytes with some pieces exchanged, dropped or put in."""
    content = bytearray(content)
    for _ in range(draw.randint(0, most)):
        start = draw.randint(0, len(content))
        piece = draw.choice(PIECES) if draw.random() < 0.6 else draw.randbytes(draw.randint(0, 6))
        content[start : start + draw.choice([0, 1, 4, 40])] = piece
    return bytes(content)


def toml(tree):
    """Write tables as TOML, all values in one line each; None where one cannot be written."""
    return "".join(f"{_key(name)} = {_value(value)}\n" for name, value in tree.items())


def _key(name):
    return json.dumps(str(name)).replace("\x7f", "\\u007f")


def _value(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _key(value.encode("utf-8", "replace").decode())
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(name)} = {_value(one)}" for name, one in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, float):
        return repr(value)
    return value.isoformat() if hasattr(value, "isoformat") else "0" if value is None else str(value)
