"""Every small change that is made of a module, one node of its tree at a time.

A comparison takes the next one or its opposite; plus and minus, times and divided by change places, and so do
`and` and `or`; `not` and a minus sign fall away; a number is one more or one less, a truth the other; a
function returns None; a condition is turned round; a statement is left out. What is only said (texts,
annotations, docstrings) and what only tells how a class is made (decorators) stays.
"""

from __future__ import annotations

import ast
from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator

_COMPARED: Final[dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_WORKED_OUT: Final[dict[type[ast.operator], type[ast.operator]]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_LEFT_OUT: Final = (ast.Expr, ast.AugAssign, ast.Raise, ast.Continue, ast.Break, ast.Delete)

_Conditional = TypeVar("_Conditional", ast.If, ast.IfExp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change: function and line, what it does in words, and which it is of its module's."""

    function: str
    line: int
    said: str
    node: int
    way: int


def changes_of(source: str) -> list[Change]:
    """All that can be made of a module, in the order of its tree."""
    found = []
    for at, (node, function) in enumerate(_nodes(ast.parse(source), "")):
        for way, new in enumerate(_instead(node)):
            said = f"{_said(node)} -> {_said(new)}"
            line = getattr(node, "lineno", 0)
            found.append(Change(function=function, line=line, said=said, node=at, way=way))
    return found


def changed(source: str, change: Change) -> str:
    """The module's text with one change made."""
    tree = ast.parse(source)
    node = next(one for at, (one, _) in enumerate(_nodes(tree, "")) if at == change.node)
    new = ast.copy_location(_instead(node)[change.way], node)
    _put(tree, node, new)
    return ast.unparse(ast.fix_missing_locations(tree))


def _nodes(node: ast.AST, function: str) -> Iterator[tuple[ast.AST, str]]:
    """Nodes that may change, with the function they stand in."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_comment"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or _only_for_types(child):
                continue
            inner = function
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                inner = f"{function}.{child.name}".lstrip(".")
            yield child, inner
            yield from _nodes(child, inner)


def _only_for_types(node: ast.AST) -> bool:
    """What no program runs, or what names a text."""
    is_guard = isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
    return is_guard or isinstance(node, ast.Import | ast.ImportFrom | ast.JoinedStr)


def _said(node: ast.AST) -> str:
    return ast.unparse(node).split("\n", maxsplit=1)[0]


def _instead(node: ast.AST) -> list[ast.AST]:
    """What may stand in the place of a node, one after the other."""
    if isinstance(node, ast.Constant):
        return _constants(node.value)
    if isinstance(node, ast.Compare):
        ways = [(at, op) for at, old in enumerate(node.ops) for op in _COMPARED.get(type(old), ())]
        return [_compared(node, at, op()) for at, op in ways]
    one = _one_instead(node)
    return [] if one is None else [one]


def _compared(node: ast.Compare, at: int, op: ast.cmpop) -> ast.Compare:
    return ast.Compare(
        left=node.left, ops=[*node.ops[:at], op, *node.ops[at + 1 :]], comparators=node.comparators
    )


def _one_instead(node: ast.AST) -> ast.AST | None:
    return _expression_instead(node) if isinstance(node, ast.expr) else _statement_instead(node)


def _expression_instead(node: ast.expr) -> ast.expr | None:
    if isinstance(node, ast.BinOp) and type(node.op) in _WORKED_OUT:
        return ast.BinOp(left=node.left, op=_WORKED_OUT[type(node.op)](), right=node.right)
    if isinstance(node, ast.BoolOp):
        other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        return ast.BoolOp(op=other, values=node.values)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        return node.operand
    if isinstance(node, ast.IfExp) and isinstance(node.test, ast.Name | ast.Call):
        return _turned(node)
    return None


def _statement_instead(node: ast.AST) -> ast.AST | None:
    if isinstance(node, ast.Return) and node.value is not None and not _is_none(node.value):
        return ast.Return(value=ast.Constant(value=None))
    if isinstance(node, ast.If) and isinstance(node.test, ast.Name | ast.Call):
        return _turned(node)
    if isinstance(node, _LEFT_OUT) and not _is_text(node):
        return ast.Pass()
    return None


def _turned(node: _Conditional) -> _Conditional:
    turned = copy(node)
    turned.test = ast.UnaryOp(op=ast.Not(), operand=node.test)
    return turned


def _constants(value: object) -> list[ast.AST]:
    if isinstance(value, bool):
        return [ast.Constant(value=not value)]
    if isinstance(value, int | float):
        return [ast.Constant(value=value + 1), ast.Constant(value=value - 1)]
    return []


def _is_none(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _is_text(node: ast.AST) -> bool:
    """A docstring, a bare `...`."""
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _put(tree: ast.AST, old: ast.AST, new: ast.AST) -> None:
    """The new node in the place of the old one."""
    for parent in ast.walk(tree):
        for name, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, name, new)
                return
            if isinstance(value, list):
                for at, one in enumerate(value):
                    if one is old:
                        value[at] = new
                        return
    raise ValueError(old)
