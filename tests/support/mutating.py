"""Mutants of a file: one operator, number or truth value changed at a time."""

from __future__ import annotations

import ast
import copy
from dataclasses import dataclass

SWAPS = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.USub: ast.UAdd,
}
GUARDS = {"strict", "slots", "frozen", "kw_only", "stacklevel", "maxsize", "compare", "repr", "init", "copy"}
"""Keywords that guard against mistakes in the program, or save memory or time: no answer depends on them."""
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)


@dataclass(frozen=True)
class Mutant:
    """One change: a file, the line it is on, what stood there and what stands there now, and the whole file.

    `lines` are those of the statement, `function` is the function that it is in and `inside` its lines; `name` is the
    constant or field that it sets outside of functions.
    """

    path: str
    line: int
    before: str
    after: str
    text: str
    lines: tuple[int, int]
    function: str
    inside: tuple[int, int]
    name: str

    def __str__(self):
        return f"{self.path}:{self.line}: {self.before}  ->  {self.after}"


def every_place(text):
    """Return how many mutants a file has."""
    return len(_places(ast.parse(text)))


def mutants_of(path, text, only=None):
    """Return every mutant of a file, or one of them by its number, each with its whole text."""
    tree = ast.parse(text)
    count = len(_places(tree))
    return [_mutant(path, copy.deepcopy(tree), k) for k in (range(count) if only is None else [only])]


def _mutant(path, tree, number):
    above = {inner: one for one in ast.walk(tree) for inner in ast.iter_child_nodes(one)}
    node = _places(tree)[number]
    before, line = ast.unparse(node), node.lineno
    chain = [node]
    while chain[-1] in above:
        chain.append(above[chain[-1]])
    statement = next(one for one in chain if isinstance(one, ast.stmt))
    body = getattr(statement, "body", None)
    last = max(line, body[0].lineno - 1) if isinstance(body, list) and body else statement.end_lineno
    function = next((one for one in chain if isinstance(one, FUNCTIONS[:2])), None)
    if function is not None and function is statement:  # a default value
        last = function.end_lineno
    named = getattr(statement, "targets", None) or [getattr(statement, "target", None)]
    _change(node)
    ast.fix_missing_locations(tree)
    return Mutant(
        path=path,
        line=line,
        before=before,
        after=ast.unparse(node),
        text=ast.unparse(tree),
        lines=(statement.lineno, last),
        function="" if function is None else function.name,
        inside=(0, 0) if function is None else (function.lineno, function.end_lineno),
        name=named[0].id if isinstance(named[0], ast.Name) else "",
    )


def _places(tree):
    """Return the nodes that may be changed, without those of which no answer depends."""
    left = {id(inner) for one in _idle(tree) for inner in ast.walk(one)}
    return [one for one in ast.walk(tree) if id(one) not in left and _can_change(one)]


def _idle(tree):
    """Yield what is left out: annotations, the words of an error, keywords that guard, imports for types."""
    for one in ast.walk(tree):
        yield from (part for key in ("annotation", "returns") if (part := getattr(one, key, None)) is not None)
        if isinstance(one, ast.Raise):
            yield from (inner for inner in ast.walk(one) if isinstance(inner, ast.JoinedStr))
        if isinstance(one, ast.keyword) and one.arg in GUARDS:
            yield one
        if isinstance(one, ast.If) and ast.unparse(one.test) == "TYPE_CHECKING":
            yield one


def _can_change(node):
    if isinstance(node, ast.Compare):
        return len(node.ops) == 1 and type(node.ops[0]) in SWAPS
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return True
    if isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp):
        return type(node.op) in SWAPS and not _joins_types(node)
    return isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float)


def _joins_types(node):
    """Whether `|` joins types, as in isinstance(x, int | float)."""
    return isinstance(node.op, ast.BitOr) and all(
        isinstance(one, ast.Name) and (one.id in dir(__builtins__) or one.id[:1].isupper()) and not one.id.isupper()
        for one in (node.left, node.right)
    )


def _change(node):
    if isinstance(node, ast.Compare):
        node.ops[0] = SWAPS[type(node.ops[0])]()
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        node.operand = ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, ast.BinOp | ast.UnaryOp | ast.BoolOp):
        node.op = SWAPS[type(node.op)]()
    elif isinstance(node.value, bool):
        node.value = not node.value
    else:
        node.value += 1
