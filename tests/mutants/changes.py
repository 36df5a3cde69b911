"""Every small wrong change of a module: one thing at a time in its syntax tree, and the code that comes of it.

A change is one that a reader could be misled by: another sign, bound, order, end of an interval, word or number. What can
only crash (a value made `None`, an argument left out) is not among them: any test notices it, and the share would flatter.
Nor is how a picture looks (sizes, margins, colours): that is judged by eye, and by the limits of tests/browser.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import CodeType
from typing import Any

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
RECKONED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Pow: ast.Mult,
}  # fmt: skip
_PAIRS = (
    ("min", "max"), ("any", "all"), ("lower", "upper"), ("low", "high"), ("pooled", "within"), ("before", "after"),
    ("left", "right"), ("first", "last"), ("minimum", "maximum"), ("floor", "ceil"), ("argmin", "argmax"),
)  # fmt: skip
LOOKS = {
    "size", "width", "height", "margin", "font", "nticks", "ticklabelstandoff", "color", "opacity", "showgrid", "zeroline",
    "zerolinewidth", "tickangle", "xshift", "yshift", "dash", "layer", "hoverinfo", "className", "role",
}  # fmt: skip
NAMED = dict(_PAIRS) | {there: here for here, there in _PAIRS}


@dataclass(frozen=True)
class Change:
    """One wrong change: where it stands, what stood there, and what stands there instead."""

    function: str
    line: int
    out: str
    put: str
    make: Callable[[], None]
    take_back: Callable[[], None]

    @property
    def told(self) -> str:
        return f"`{self.out}` → `{self.put}`"


def changes_of(tree: ast.Module) -> list[Change]:
    """All changes of a module, in its order. `make` changes the tree itself; compile it, then `take_back`."""
    return list(_within(tree.body, "", tree))


def code_of(tree: ast.Module, path: str, function: str) -> CodeType:
    """The code of a function, named as Python names it (`Class.method`), as the tree stands."""
    return code_within(compile(tree, path, "exec"), function)


def code_within(code: CodeType, function: str) -> CodeType:
    """The code of a function somewhere in that of its module."""
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            if constant.co_qualname == function:
                return constant
            if function.startswith(constant.co_qualname + "."):
                return code_within(constant, function)
    raise KeyError(function)


def _within(body: list[ast.stmt], function: str, statement: ast.AST) -> Iterator[Change]:
    for inner in body:
        if isinstance(inner, ast.FunctionDef):
            name = f"{function}.{inner.name}" if function else inner.name
            yield from _within_function(inner, name)
        elif isinstance(inner, ast.ClassDef):
            methods: list[ast.stmt] = [each for each in inner.body if isinstance(each, ast.FunctionDef)]
            yield from _within(methods, f"{function}.{inner.name}" if function else inner.name, inner)
        elif isinstance(inner, ast.Assign | ast.AnnAssign) and not _names_types(inner):
            yield from _of_statement(inner, function)


def _names_types(statement: ast.Assign | ast.AnnAssign) -> bool:
    """A name for a type (`Marks = dict[str, float]`), which nothing that runs depends on."""
    if isinstance(statement, ast.AnnAssign):
        return statement.value is None or "TypeAlias" in ast.unparse(statement.annotation)
    return isinstance(statement.value, ast.Subscript) and isinstance(statement.value.value, ast.Name)


def _within_function(function: ast.FunctionDef, name: str) -> Iterator[Change]:
    """Changes of a function's body; functions within it are changed as parts of it."""
    for statement in ast.walk(ast.Module(body=function.body, type_ignores=[])):
        if isinstance(statement, ast.stmt):
            yield from _of_statement(statement, name)


def _of_statement(statement: ast.stmt, function: str) -> Iterator[Change]:
    """Changes of one statement's own expressions: those of statements within it are theirs."""
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
        return  # a docstring
    if isinstance(statement, ast.If):
        for value in (True, False):
            yield _change(statement, "test", ast.Constant(value), function, statement)
    fields = ("value",) if isinstance(statement, ast.AnnAssign) else statement._fields
    for field in fields:
        if field in {"args", "decorator_list", "returns", "body", "orelse", "finalbody", "handlers", "targets", "target"}:
            continue
        for child in _children(statement, field):
            yield from _of_expression(child, function, statement)


def _children(node: ast.AST, field: str) -> list[Any]:
    value = getattr(node, field, None)
    return value if isinstance(value, list) else [value]


def _of_expression(node: Any, function: str, above: ast.AST) -> Iterator[Change]:
    """Changes of an expression and of all within it. `above` is what a change is shown in."""
    if not isinstance(node, ast.AST):
        return
    yield from _of_operation(node, function)
    yield from _of_name(node, function, above)
    if isinstance(node, ast.Constant):
        yield from _of_constant(node, function, above)
    if isinstance(node, ast.comprehension):
        for at in range(len(node.ifs)):
            yield _listed(node.ifs, at, ast.Constant(True), function, above)
    if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
        yield from _of_format(node.format_spec, function, above)
    shown_in = node if isinstance(node, ast.expr) and not isinstance(node, ast.FormattedValue | ast.Constant) else above
    for field in node._fields:
        if field not in {"format_spec", "ctx", "annotation"}:
            for at, child in enumerate(_children(node, field)):
                if not _is_of_looks(node, at):
                    yield from _of_expression(child, function, shown_in)


def _is_of_looks(node: ast.AST, at: int) -> bool:
    """Whether a part of an expression only says how a picture looks: the argument, or the entry, of such a name."""
    if isinstance(node, ast.keyword):
        return node.arg in LOOKS
    key = node.keys[at] if isinstance(node, ast.Dict) else None
    return isinstance(key, ast.Constant) and key.value in LOOKS


def _of_operation(node: ast.AST, function: str) -> Iterator[Change]:
    """Another comparison, sign or connective; an `if` within an expression as it is always, and never, so."""
    if isinstance(node, ast.Compare):
        for at, operator in enumerate(node.ops):
            yield _listed(node.ops, at, COMPARED[type(operator)](), function, node)
    elif isinstance(node, ast.BinOp) and type(node.op) in RECKONED:
        yield _change(node, "op", RECKONED[type(node.op)](), function, node)
    elif isinstance(node, ast.BoolOp):
        yield _change(node, "op", ast.Or() if isinstance(node.op, ast.And) else ast.And(), function, node)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield _change(node, "op", ast.UAdd(), function, node)
    elif isinstance(node, ast.IfExp):
        for value in (True, False):
            yield _change(node, "test", ast.Constant(value), function, node)


def _of_name(node: ast.AST, function: str, above: ast.AST) -> Iterator[Change]:
    """The other one of two names that are easily mistaken for each other."""
    if isinstance(node, ast.Attribute) and node.attr in NAMED:
        yield _change(node, "attr", NAMED[node.attr], function, above)
    elif isinstance(node, ast.Name) and node.id in NAMED and isinstance(node.ctx, ast.Load):
        yield _change(node, "id", NAMED[node.id], function, above)


def _of_constant(node: ast.Constant, function: str, above: ast.AST) -> Iterator[Change]:
    value = node.value
    if isinstance(value, bool):
        yield _change(node, "value", not value, function, above)
    elif isinstance(value, int | float):
        yield _change(node, "value", value + 1, function, above)
    elif isinstance(value, str) and value:
        yield _change(node, "value", f"XX{value}", function, above)


def _of_format(spec: ast.expr, function: str, above: ast.AST) -> Iterator[Change]:
    """One decimal more than a number is printed with."""
    for part in ast.walk(spec):
        if isinstance(part, ast.Constant) and isinstance(part.value, str):
            for at, sign in enumerate(part.value):
                if sign.isdigit() and at and part.value[at - 1] == ".":
                    yield _change(part, "value", part.value[:at] + str(int(sign) + 1) + part.value[at + 1 :], function, above)


def _change(node: Any, field: str, put: Any, function: str, above: ast.AST) -> Change:
    old = getattr(node, field)
    if isinstance(put, ast.expr):
        ast.copy_location(put, old)
    return _made(lambda: setattr(node, field, put), lambda: setattr(node, field, old), function, above, node)


def _listed(items: list[Any], at: int, put: Any, function: str, above: ast.AST) -> Change:
    old = items[at]
    if isinstance(put, ast.expr):
        ast.copy_location(put, old)
    return _made(lambda: items.__setitem__(at, put), lambda: items.__setitem__(at, old), function, above, above)


def _made(make: Callable[[], None], take_back: Callable[[], None], function: str, above: ast.AST, node: Any) -> Change:
    out = _text(above)
    make()
    put = _text(above)
    take_back()
    line = getattr(node, "lineno", None) or getattr(above, "lineno", 0)
    return Change(function, line, *_near(out, put), make, take_back)


def _text(node: ast.AST) -> str:
    if isinstance(node, ast.If):
        return f"if {ast.unparse(node.test)}:"
    return " ".join(ast.unparse(node).split())


def _near(out: str, put: str, most: int = 90) -> tuple[str, str]:
    """Both texts cut to what lies around their difference."""
    same = next((at for at, (here, there) in enumerate(zip(out, put, strict=False)) if here != there), 0)
    begin = max(0, same - most // 2)
    return _cut(out, begin, most), _cut(put, begin, most)


def _cut(text: str, begin: int, most: int) -> str:
    return ("…" if begin else "") + text[begin : begin + most] + ("…" if len(text) > begin + most else "")
