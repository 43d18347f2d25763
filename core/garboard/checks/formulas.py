"""Formulas of a check file: plain operators over named values, read once, evaluated twice.

`worked_out` gives the number a finding tells, by simpleeval, from plain numbers in the fields' own units. `measured`
goes through the same syntax tree with quantities: it proves before anything runs that these plain numbers are right.
Nothing but what is listed here can stand in a formula: no attributes, no other calls, no towers of powers.
"""

from __future__ import annotations

import ast
import enum
import math
import operator
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from difflib import get_close_matches
from itertools import pairwise
from typing import Any, Protocol

import attrs
from simpleeval import SimpleEval

from garboard.checks.quantities import PLAIN, Quantity, Unit, same_unit, unit_of
from garboard.faults import GarboardError, ValueRefused, one_of
from garboard.findings import are_one
from garboard.units import convert

LONGEST = 300
"""Letters of a formula."""
MOST_PARTS = 120
DEEPEST = 20
LARGEST = 1e15
OVER_ROWS = ("sum", "min", "max", "mean", "count", "all", "any")
OF_VALUES = ("abs", "sqrt", "min", "max", "convert", "kelvin", "given")
_MOST_POWER = 4


class Sort(enum.Enum):
    """What a name of a formula stands for. The value is the word shown."""

    NUMBER = "a number"
    YES_NO = "a yes or no"
    TEXT = "a text"
    OTHER = "nothing that can be reckoned with"


@attrs.frozen(kw_only=True)
class Term:
    """A name of a formula.

    table    : whose rows it stands in; "" for what stands once
    choices  : for a text, the words it can be; without any, every word
    may_lack : nobody need enter it
    """

    sort: Sort
    unit: Unit = PLAIN
    table: str = ""
    choices: tuple[str, ...] = ()
    may_lack: bool = False


Terms = Mapping[str, Term]


@attrs.frozen(kw_only=True)
class Formula:
    """A formula that was read.

    tree    : its syntax tree
    table   : in whose rows it is worked out; "" for once
    amounts : what stands in quotes and is an amount, as its plain number
    tables  : in whose rows it looks for a number: there must be a row
    given   : names of which it asks whether they are entered
    """

    text: str
    tree: ast.expr = attrs.field(eq=False, repr=False)
    table: str = ""
    amounts: Mapping[str, float] = attrs.field(factory=dict)
    given: frozenset[str] = frozenset()
    tables: frozenset[str] = frozenset()
    names: tuple[str, ...] = attrs.field(init=False, eq=False, repr=False)
    """The names it uses, in the order they stand."""

    @names.default
    def _found_names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(names_in(self.tree)))


class Source(Protocol):
    """Where names get their values."""

    def value(self, name: str, row: str) -> float | bool | str:
        """Raises `garboard.findings.NotEnoughData`."""

    def is_given(self, name: str, row: str) -> bool:
        """Whether somebody entered it."""

    def rows(self, table: str) -> Sequence[str]:
        """The rows of a table."""


def read_formula(text: str, terms: Terms, table: str = "") -> Formula:
    """Read a formula. Raises ValueRefused for what cannot stand in one.

    table : in whose rows it is worked out
    """
    if len(text) > LONGEST:
        raise ValueRefused(f"a formula of at most {LONGEST} letters", f"{len(text)}", "give a part of it a name")
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise ValueRefused("a formula, such as 'reach - arm'", repr(text)) from None
    parts = list(ast.walk(tree))
    if len(parts) > MOST_PARTS or _depth(tree) > DEEPEST:
        raise ValueRefused(
            f"a formula of at most {MOST_PARTS} parts, {DEEPEST} deep", f"{len(parts)}", "give a part of it a name"
        )
    for node in parts:
        _refuse_others(node)
    _refuse_unknown(tree, terms)
    _refuse_names(tree, terms, table, inside="")
    texts = _texts(parts, terms)
    amounts = {one: _amount(one).value for one in _quoted(parts) if one not in texts}
    given = frozenset(one for node in parts if _called(node) == "given" for one in names_in(node))
    over = (node for node in parts if isinstance(node, ast.Call) and goes_over_rows(node) and _called(node) != "count")
    tables = frozenset(table_of(node, terms) for node in over)
    return Formula(text=text, tree=tree, table=table, amounts=amounts, given=given, tables=tables)


def _depth(tree: ast.AST) -> int:
    depth, level = 0, [tree]
    while level and depth <= DEEPEST:
        level = [inner for node in level for inner in ast.iter_child_nodes(node)]
        depth += 1
    return depth


def _are_one(one: Any, other: Any) -> bool:
    """Whether two values are the same; numbers also where they were worked out in two ways."""
    is_number = isinstance(one, float) and isinstance(other, float)
    return are_one(one, other) if is_number else bool(one == other)


_OPERATORS: Mapping[type[ast.AST], Callable[..., Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
    ast.Not: operator.not_,
    ast.Lt: lambda one, other: one < other and not _are_one(one, other),
    ast.LtE: lambda one, other: one <= other or _are_one(one, other),
    ast.Gt: lambda one, other: one > other and not _are_one(one, other),
    ast.GtE: lambda one, other: one >= other or _are_one(one, other),
    ast.Eq: _are_one,
    ast.NotEq: lambda one, other: not _are_one(one, other),
}
_ALLOWED = (
    *_OPERATORS, ast.BinOp, ast.UnaryOp, ast.BoolOp, ast.And, ast.Or, ast.Compare, ast.IfExp, ast.Call, ast.Name,
    ast.Load, ast.Constant,
)  # fmt: skip


def _refuse_others(node: ast.AST) -> None:
    """Raise ValueRefused for a part that no formula has."""
    if not isinstance(node, _ALLOWED):
        raise ValueRefused("names, numbers, + - * / ** < <= > >= == != and or not if else ( )", _in_short(node))
    if isinstance(node, ast.Constant):
        _check_constant(node.value)
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
        power = node.right.value if isinstance(node.right, ast.Constant) else None
        is_tower = any(isinstance(inner, ast.Pow) for inner in ast.walk(node.left))
        if type(power) is not int or not 2 <= power <= _MOST_POWER or is_tower:
            raise ValueRefused(f"a power from 2 to {_MOST_POWER}, and none of a power", _in_short(node))
    elif isinstance(node, ast.Call):
        _check_call(node)


def _check_constant(value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueRefused("a number, or an amount or a choice in quotes", repr(value)[:40])
    if isinstance(value, int | float) and not abs(value) < LARGEST:
        raise ValueRefused("a number of a boat's size", repr(value)[:20])


def _check_call(node: ast.Call) -> None:
    name, count = _called(node), len(node.args)
    if name not in (*OVER_ROWS, *OF_VALUES) or node.keywords:
        known = ", ".join(dict.fromkeys((*OVER_ROWS, *OF_VALUES)))
        raise ValueRefused(f"one of {known}, without names of arguments", _in_short(node))
    words = node.args[1:]
    if name == "convert":
        is_right = count == 3 and all(isinstance(one, ast.Constant) and isinstance(one.value, str) for one in words)
        expected = "convert(value, 'ft', 'in')"
    elif name == "given":
        is_right, expected = count == 1 and isinstance(node.args[0], ast.Name), "given(name)"
    else:
        most = 8 if name in ("min", "max") else 1
        is_right, expected = 1 <= count <= most, f"{name}(value)"
    if not is_right:
        raise ValueRefused(expected, _in_short(node))


def _in_short(node: ast.AST) -> str:
    try:
        text = ast.unparse(node)
    except Exception:  # an operator alone has no text
        text = type(node).__name__
    return repr(text if len(text) <= 40 else f"{text[:37]}...")


def _called(node: ast.AST) -> str:
    return node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""


def goes_over_rows(node: ast.AST) -> bool:
    """Whether a call takes its value in every row of a table: min(a, b) does not."""
    return isinstance(node, ast.Call) and _called(node) in OVER_ROWS and len(node.args) == 1


def names_in(tree: ast.AST) -> Iterator[str]:
    """Names of values, those of functions left out, in order."""
    functions = {id(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    found = [node for node in ast.walk(tree) if isinstance(node, ast.Name) and id(node) not in functions]
    for node in sorted(found, key=lambda node: (node.lineno, node.col_offset)):
        yield node.id


def _refuse_unknown(tree: ast.AST, terms: Terms) -> None:
    """Raise ValueRefused for a name that stands for nothing."""
    for name in names_in(tree):
        if name not in terms:
            known = sorted(one for one, it in terms.items() if it.sort is not Sort.OTHER)
            near = get_close_matches(name, terms, n=1)
            cure = f"perhaps {near[0]!r} is meant" if near else ""
            raise ValueRefused(f"one of {', '.join(known)}"[:400], repr(name), cure)


def _refuse_names(node: ast.AST, terms: Terms, table: str, inside: str) -> None:
    """Raise ValueRefused for a name of a row where no row is."""
    if isinstance(node, ast.Call) and goes_over_rows(node):
        table = table_of(node, terms)
        if inside:
            raise ValueRefused("one sum, min, max, mean or count", f"{_called(node)} in {inside}", "name the inner one")
        inside = _called(node)
    for name in [node.id] if isinstance(node, ast.Name) else []:
        if terms[name].table not in ("", table):
            what = f"{name!r}, which stands in each row of {terms[name].table}"
            raise ValueRefused("what stands once", what, f"write {_over_all_rows(name, terms[name].sort)}")
    arguments = node.args if isinstance(node, ast.Call) else ast.iter_child_nodes(node)
    for inner in arguments:
        _refuse_names(inner, terms, table, inside)


def _over_all_rows(name: str, sort: Sort) -> str:
    """How a formula asks for it in every row."""
    if sort is Sort.NUMBER:
        return f"sum({name}), min({name}), max({name}) or mean({name})"
    whole = {Sort.YES_NO: name, Sort.TEXT: f"{name} == '...'"}.get(sort, f"given({name})")
    return f"all({whole}) or any({whole})"


def table_of(node: ast.Call, terms: Terms) -> str:
    """The table over whose rows a call goes. Raises ValueRefused where that is none, or two."""
    tables = {terms[name].table for name in names_in(node) if name in terms} - {""}
    if len(tables) != 1:
        once = ", ".join(map(repr, dict.fromkeys(names_in(node))))
        found = " and ".join(sorted(tables)) or (f"{once}, which stands once" if once else "no column of a table")
        cure = f"leave {_called(node)}() out" if once and not tables else "name columns of one table"
        raise ValueRefused(f"columns of one table in {_called(node)}()", found, cure)
    return tables.pop()


def _quoted(parts: Iterable[ast.AST]) -> Iterator[str]:
    """What stands in quotes, units of convert() left out."""
    units = {
        id(one) for node in parts if isinstance(node, ast.Call) and _called(node) == "convert" for one in node.args
    }
    for node in parts:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in units:
            yield node.value


def _texts(parts: Iterable[ast.AST], terms: Terms) -> frozenset[str]:
    """What in quotes is compared with a text. Raises ValueRefused for a word that is no choice."""
    found = set()
    for node in parts:
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            texts = [terms[one.id] for one in sides if isinstance(one, ast.Name) and terms[one.id].sort is Sort.TEXT]
            words = [str(one.value) for one in sides if isinstance(one, ast.Constant)] if texts else []
            for word in words:
                if texts[0].choices and word not in texts[0].choices:
                    raise ValueRefused(one_of(texts[0].choices), repr(word))
            found.update(words)
    return frozenset(found)


_AMOUNT = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?)\s*(\S.*)?")


def _amount(text: str) -> Quantity:
    match = _AMOUNT.fullmatch(text.strip())
    if match is None or not abs(float(match[1])) < LARGEST:
        raise ValueRefused("an amount with its unit, such as '6 in'", repr(text[:40]))
    return Quantity(float(match[1]), unit_of(match[2] or ""))


# ---- plain numbers, by simpleeval


def _root(value: float) -> float:
    return math.sqrt(value) if value >= 0 else math.nan


_FUNCTIONS: Mapping[str, Callable[..., Any]] = {
    "abs": abs,
    "sqrt": _root,
    "min": min,
    "max": max,
    "convert": convert,
    "kelvin": lambda celsius: celsius + 273.15,
}


def reduced(name: str, values: Sequence[Any]) -> Any:
    """What a call over rows makes of the values, at least one; `count` and `sum` of none are 0.

    >>> reduced("mean", [1.0, 2.0]), reduced("count", [True, False, True])
    (1.5, 2.0)
    """
    if name == "count":
        return float(sum(value is not False for value in values))
    if name == "mean":
        return math.fsum(values) / len(values)  # of no rows: division by nothing
    whole: Mapping[str, Callable[..., Any]] = {"sum": math.fsum, "min": min, "max": max, "all": all, "any": any}
    if name in ("min", "max") and not values:
        raise ZeroDivisionError
    return whole[name](values)


class _Plain(SimpleEval):
    """simpleeval, with calls over rows and with amounts in quotes."""

    def __init__(self, formula: Formula, terms: Terms, source: Source, row: str, kept: dict[int, Any]) -> None:
        super().__init__(operators=dict(_OPERATORS), functions=dict(_FUNCTIONS), names=self._name)
        self.formula, self.terms, self.source, self.row, self.kept = formula, terms, source, row, kept
        self.nodes[ast.Call] = self._call
        self.nodes[ast.Constant] = self._constant

    def _name(self, node: ast.Name) -> Any:
        return self.source.value(node.id, self.row if self.terms[node.id].table else "")

    def _constant(self, node: ast.Constant) -> Any:
        value = self.formula.amounts.get(node.value, node.value) if isinstance(node.value, str) else node.value
        return float(value) if isinstance(value, int) else value

    def _call(self, node: ast.Call) -> Any:
        if _called(node) == "given":
            name = next(names_in(node))
            return self.source.is_given(name, self.row if self.terms[name].table else "")
        if not goes_over_rows(node):
            return self._eval_call(node)
        if id(node) not in self.kept:
            self.kept[id(node)] = self._over_rows(node)
        return self.kept[id(node)]

    def _over_rows(self, node: ast.Call) -> Any:
        outside = self.row
        try:
            found = []
            for row in rows_of(node, self.terms, self.source):
                self.row = row
                found.append(self._eval(node.args[0]))
        finally:
            self.row = outside
        return reduced(_called(node), found)

    def result(self, node: ast.expr) -> Any:
        return self._eval(node)


def rows_of(node: ast.Call, terms: Terms, source: Source) -> Iterator[str]:
    """The rows a call goes over: those left out in which something is open that may stay open."""
    asked = {id(inner) for call in ast.walk(node) if _called(call) == "given" for inner in ast.walk(call)}
    looked_up = (one for one in ast.walk(node) if isinstance(one, ast.Name) and id(one) not in asked)
    optional = [one.id for one in looked_up if one.id in terms and terms[one.id].table and terms[one.id].may_lack]
    for row in source.rows(table_of(node, terms)):
        if all(source.is_given(name, row) for name in optional):
            yield row


def worked_out(
    formula: Formula, terms: Terms, source: Source, row: str = "", kept: dict[int, Any] | None = None
) -> float | bool | str:
    """What a formula gives, as plain numbers in the fields' units.

    kept   : what calls over rows gave for the same source, so that each is worked out once, not once in each row
    errors : NotEnoughData of the source; ZeroDivisionError; OverflowError for what is no number of a boat's size
    """
    found: float | bool | str = _Plain(formula, terms, source, row, {} if kept is None else kept).result(formula.tree)
    if isinstance(found, float) and not abs(found) < LARGEST:
        raise OverflowError
    return found


def sides_of(
    formula: Formula, terms: Terms, source: Source, row: str, kept: dict[int, Any]
) -> Iterator[tuple[float, float]]:
    """The numbers that a formula compares, two by two; those of rows it goes over are left out.

    kept : as in `worked_out`
    """
    for node in ast.walk(formula.tree):
        if isinstance(node, ast.Compare):
            plain = _Plain(formula, terms, source, row, kept)
            with suppress(ArithmeticError, GarboardError, KeyError):
                sides = [plain.result(one) for one in (node.left, *node.comparators)]
                yield from (pair for pair in pairwise(sides) if all(isinstance(one, float) for one in pair))


def divided_by_nothing(formula: Formula, terms: Terms, source: Source, row: str = "") -> tuple[str, ...]:
    """The names in what a formula divides by, where that is nothing; of each division that is so."""
    found: list[str] = []
    for node in ast.walk(formula.tree):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
            try:
                is_nothing = _Plain(formula, terms, source, row, {}).result(node.right) == 0
            except (ArithmeticError, KeyError):
                continue
            found += [name for name in names_in(node.right) if is_nothing]
    return tuple(dict.fromkeys(found))


# ---- quantities, by plain operators over the same tree


Measured = Quantity | bool | str


@attrs.frozen
class _Measuring:
    """Goes through a formula with quantities.

    every : whether both sides of an "if", an "and" and an "or" are looked at, as where only the units are asked
    """

    formula: Formula
    terms: Terms
    source: Source
    every: bool

    def of(self, node: ast.AST, row: str) -> Measured:
        match node:
            case ast.Constant():
                return self._constant(node.value)
            case ast.Name():
                return self._named(node.id, row)
            case ast.BinOp():
                return self._of_two(node, row)
            case ast.UnaryOp(op=ast.Not()):
                return not self.truth(node.operand, row)
            case ast.UnaryOp():
                return self.number(node.operand, row).negated()
            case ast.BoolOp():
                return self._joined(node, row)
            case ast.Compare():
                return self._compared(node, row)
            case ast.IfExp():
                return self._chosen(node, row)
            case ast.Call():
                return self._called(node, row)
        raise AssertionError(f"read_formula lets {type(node).__name__} through")

    def number(self, node: ast.AST, row: str) -> Quantity:
        found = self.of(node, row)
        if not isinstance(found, Quantity):
            raise ValueRefused("a number", _in_short(node))
        return found

    def truth(self, node: ast.AST, row: str) -> bool:
        found = self.of(node, row)
        if not isinstance(found, bool):
            raise ValueRefused("a yes or no, or a comparison", _in_short(node))
        return found

    def _constant(self, value: Any) -> Measured:
        if isinstance(value, str):
            return _amount(value) if value in self.formula.amounts else value
        return Quantity(float(value), is_zero=value == 0)

    def _named(self, name: str, row: str) -> Measured:
        term = self.terms[name]
        if term.sort is Sort.OTHER:
            raise ValueRefused("a number, a choice, or a yes or no", repr(name), "leave it out of the formula")
        found = self.source.value(name, row if term.table else "")
        if term.sort is Sort.NUMBER:
            return Quantity(float(found), term.unit)
        return found if isinstance(found, bool) else str(found)

    def _of_two(self, node: ast.BinOp, row: str) -> Quantity:
        left = self.number(node.left, row)
        if isinstance(node.op, ast.Pow) and isinstance(node.right, ast.Constant):
            return left.to_the(int(node.right.value))  # type: ignore[arg-type]  # read_formula lets no other through
        right = self.number(node.right, row)
        if isinstance(node.op, ast.Mult):
            return left.times(right)
        return left.over(right) if isinstance(node.op, ast.Div) else left.plus(right, 1 if _adds(node) else -1)

    def _joined(self, node: ast.BoolOp, row: str) -> bool:
        looked_at = (self.truth(one, row) for one in node.values)
        truths: Iterable[bool] = [*looked_at] if self.every else looked_at
        return all(truths) if isinstance(node.op, ast.And) else any(truths)

    def _compared(self, node: ast.Compare, row: str) -> bool:
        sides = [self.of(one, row) for one in (node.left, *node.comparators)]
        return all(_compare(one, how, two) for one, how, two in zip(sides[:-1], node.ops, sides[1:], strict=True))

    def _chosen(self, node: ast.IfExp, row: str) -> Measured:
        is_first = self.truth(node.test, row)
        if not self.every:
            return self.of(node.body if is_first else node.orelse, row)
        one, other = self.of(node.body, row), self.of(node.orelse, row)
        if isinstance(one, Quantity) and isinstance(other, Quantity):
            return one.with_value(one.value) if one.same(other, "choose from") == one.unit else other
        if type(one) is not type(other):
            raise ValueRefused("the same kind on both sides of else", _in_short(node))
        return one

    def _called(self, node: ast.Call, row: str) -> Measured:
        name = _called(node)
        if name == "given":
            asked = next(names_in(node))
            return self.source.is_given(asked, row if self.terms[asked].table else "")
        if goes_over_rows(node):
            return self._over_rows(node, name)
        first = self.number(node.args[0], row)
        if name == "convert":
            return _converted(first, *(str(one.value) for one in node.args[1:] if isinstance(one, ast.Constant)))
        if name == "kelvin":
            same_unit(unit_of("degC"), first.unit, "count in kelvin")
            return Quantity(first.value + 273.15, unit_of("K"))
        if name == "sqrt":
            return first.root()
        if name == "abs":
            first.refuse_temperature()
            return first.with_value(abs(first.value))
        return self._least(name, [first, *(self.number(one, row) for one in node.args[1:])])

    def _over_rows(self, node: ast.Call, name: str) -> Measured:
        found = [self.of(node.args[0], row) for row in rows_of(node, self.terms, self.source)]
        if name == "count":
            return Quantity(math.nan if self.every else reduced(name, found))
        if name in ("all", "any"):
            if any(not isinstance(one, bool) for one in found):
                raise ValueRefused(f"a comparison in {name}()", _in_short(node))
            return bool(reduced(name, found))
        if not all(isinstance(one, Quantity) for one in found):
            raise ValueRefused(f"a number in {name}()", _in_short(node))
        numbers = [one for one in found if isinstance(one, Quantity)]
        if name == "sum" and numbers:
            numbers[0].refuse_temperature()
        value = reduced(name, [one.value for one in numbers])
        return numbers[0].with_value(value) if numbers else Quantity(value, is_zero=True)

    def _least(self, name: str, numbers: Sequence[Quantity]) -> Quantity:
        for one in numbers[1:]:
            numbers[0].compared_with(one)
        unit = next((one.unit for one in numbers if not one.is_zero), PLAIN)
        return Quantity(_FUNCTIONS[name](one.value for one in numbers), unit)


def _adds(node: ast.BinOp) -> bool:
    return isinstance(node.op, ast.Add)


def _compare(one: Measured, how: ast.cmpop, two: Measured) -> bool:
    if isinstance(one, Quantity) and isinstance(two, Quantity):
        one.compared_with(two)
        return bool(_OPERATORS[type(how)](one.value, two.value))
    if type(one) is not type(two) or not isinstance(how, ast.Eq | ast.NotEq):
        raise ValueRefused("two numbers, or == or != between two words", "another comparison", "compare like with like")
    return bool(_OPERATORS[type(how)](one, two))


def _converted(value: Quantity, unit: str, wanted: str) -> Quantity:
    same_unit(unit_of(unit), value.unit, "convert from")
    try:
        return Quantity(convert(value.value, unit, wanted), unit_of(wanted))
    except ValueRefused:
        raise
    except ValueError as refused:
        raise ValueRefused("two units of one quantity in convert()", f"{unit!r} and {wanted!r}", str(refused)) from None


def measured(formula: Formula, terms: Terms, source: Source, row: str = "", *, every: bool = False) -> Measured:
    """What a formula gives, as a quantity. Raises ValueRefused where its plain numbers would be wrong."""
    return _Measuring(formula, terms, source, every).of(formula.tree, row)


@attrs.frozen
class _AnyValue:
    """Stands for a job where only the units are asked: no number is known, and each table has one row."""

    terms: Terms

    def value(self, name: str, row: str) -> float | bool | str:
        term = self.terms[name]
        words = term.choices[0] if term.choices else ""
        return {Sort.NUMBER: math.nan, Sort.YES_NO: False}.get(term.sort, words)

    def is_given(self, name: str, row: str) -> bool:
        return True

    def rows(self, table: str) -> Sequence[str]:
        return ("1",)


def sort_and_unit(formula: Formula, terms: Terms) -> Term:
    """What a formula gives. Raises ValueRefused where its units do not fit; nothing runs."""
    try:
        found = measured(formula, terms, _AnyValue(terms), "1", every=True)
    except ArithmeticError:  # of the numbers that are written in it
        raise ValueRefused("a division by what is not always 0, and no huge power", repr(formula.text)) from None
    if isinstance(found, Quantity):
        return Term(sort=Sort.NUMBER, unit=found.unit, table=formula.table)
    return Term(sort=Sort.YES_NO if isinstance(found, bool) else Sort.TEXT, table=formula.table)
