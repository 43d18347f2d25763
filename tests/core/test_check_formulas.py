"""Formulas of a check file: plain numbers and quantities agree, also with pint, and units that do not fit are refused.

The same 200 formulas go through simpleeval with plain numbers, through our own operators with quantities, and, where
nothing goes over rows, through pint, which converts by itself: it gives the same only if the plain numbers were right.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import pytest

from garboard.checks.formulas import Sort, Term, measured, read_formula, sort_and_unit, worked_out
from garboard.checks.quantities import PLAIN, Quantity, unit_of
from garboard.faults import ValueRefused

UNITS = (
    "in", "ft", "m", "mm", "lb", "kg", "gal", "L", "gal/h", "kn", "mph", "s", "h", "V", "A", "ohm", "W",
)  # fmt: skip
PINT = {
    "in": "inch", "ft": "foot", "m": "meter", "mm": "millimeter", "lb": "pound", "kg": "kilogram", "gal": "gallon",
    "L": "liter", "gal/h": "gallon/hour", "kn": "knot", "mph": "mile/hour", "s": "second", "h": "hour", "V": "volt",
    "A": "ampere", "ohm": "ohm", "W": "watt", "hp": "horsepower", "psi": "psi", "nm": "nautical_mile", "mi": "mile",
}  # fmt: skip
OF_ONE_UNIT = (
    "a + b", "a - b", "a / b", "-a + 2 * b", "(a + b) / 2", "max(a, b)", "min(a, b) * n", "abs(b - a) / n",
    "a if a > b else b", "a * b",
)  # fmt: skip
OF_TWO = (
    ("volts * amps", "W"), ("volts / amps", "ohm"), ("volts ** 2 / (volts / amps)", "W"), ("amps * hours", "Ah"),
    ("knots * hours", "nm"), ("miles_an_hour * hours", "mi"), ("flow * hours", "gal"), ("knots / flow", "nm/gal"),
    ("pounds * feet", "lb ft"), ("sqrt(inches * inches)", "in"),
)  # fmt: skip
VALUES = {
    "n": (3.0, ""), "volts": (12.6, "V"), "amps": (4.2, "A"), "hours": (1.5, "h"), "knots": (22.0, "kn"),
    "miles_an_hour": (31.0, "mph"), "flow": (11.5, "gal/h"), "pounds": (410.0, "lb"), "feet": (8.5, "ft"),
    "inches": (102.0, "in"), "warm": (61.0, "degC"), "cool": (18.5, "degC"), "hot_f": (180.0, "degF"),
    "cold_f": (65.0, "degF"), "rise": (42.5, "K"),
}  # fmt: skip
OVER_ROWS = {"weight": ([120.0, 80.5, 40.0], "lb"), "arm": ([2.0, 6.5, 11.0], "ft")}
ELSE = (
    "warm - cool", "hot_f - cold_f", "warm - cool > rise", "cool + rise", "kelvin(warm) / kelvin(cool)",
    "warm > '20 degC'", "max(warm, cool)", "convert(hot_f, 'degF', 'degC') - cool", "sum(weight)", "mean(arm)",
    "sum(weight * arm) / sum(weight)", "count(weight)", "count(weight > '50 lb')", "max(weight) - min(weight)",
    "all(weight > '10 lb')", "any(arm > '12 ft')", "convert(inches, 'in', 'ft') + feet",
    "inches > '8 in' and not n > 5", "n == 3", "inches if kind == 'single' else '6 in'",
)  # fmt: skip
ONE, OTHER = 7.25, 2.5
FORMULAS = [
    *((text, {"a": (ONE, unit), "b": (OTHER, unit)}) for unit in UNITS for text in OF_ONE_UNIT),
    *((text, {}) for text, _ in OF_TWO),
    *((text, {}) for text in ELSE),
]


class Job:
    """Values as a job would give them."""

    def __init__(self, own: dict[str, tuple[float, str]]) -> None:
        self.own = {**VALUES, **own}

    def value(self, name: str, row: str) -> float | bool | str:
        return "single" if name == "kind" else OVER_ROWS[name][0][int(row)] if row else self.own[name][0]

    def is_given(self, name: str, row: str) -> bool:
        return True

    def rows(self, table: str) -> Sequence[str]:
        return ("0", "1", "2")

    @property
    def terms(self) -> dict[str, Term]:
        plain = {name: Term(sort=Sort.NUMBER, unit=unit_of(unit)) for name, (_, unit) in self.own.items()}
        rows = {name: Term(sort=Sort.NUMBER, unit=unit_of(unit), table="load") for name, (_, unit) in OVER_ROWS.items()}
        return {**plain, **rows, "kind": Term(sort=Sort.TEXT, choices=("single", "twin"))}


def test_there_are_two_hundred() -> None:
    assert len(FORMULAS) == 200


def test_both_evaluators_give_the_same_and_pint_agrees() -> None:
    told = dict(OF_TWO)
    for text, own in FORMULAS:
        job = Job(own)
        formula = read_formula(text, job.terms)
        plain, quantity = worked_out(formula, job.terms, job), measured(formula, job.terms, job)
        sort = sort_and_unit(formula, job.terms)
        if not isinstance(quantity, Quantity):
            assert (plain, sort.sort) == (quantity, Sort.YES_NO), text
            continue
        assert plain == pytest.approx(quantity.value, rel=1e-12), text
        assert sort.unit == quantity.unit, text
        if text in told:
            assert quantity.unit == unit_of(told[text]), text
        if own or text in told:
            assert plain == pytest.approx(of_pint(text, {**VALUES, **own}, quantity), rel=1e-9), (text, own)


@cache
def registry() -> Any:
    import pint

    return pint.UnitRegistry()


def of_pint(text: str, values: dict[str, tuple[float, str]], found: Quantity) -> float:
    """What pint makes of the same formula, in the unit found."""
    known = {
        name: registry().Quantity(value, PINT.get(unit, "")) for name, (value, unit) in values.items() if unit in PINT
    }
    names = {**known, "n": values["n"][0], "sqrt": lambda one: one**0.5, "min": min, "max": max, "abs": abs}
    result = eval(text, {"__builtins__": {}}, names)
    unit = registry().Unit("dimensionless")
    for symbol, power in found.unit.powers:
        unit = unit * registry().Unit(PINT.get(symbol, symbol)) ** power
    return float(registry().Quantity(result).to(unit).magnitude)


@pytest.mark.parametrize(
    ("text", "cure"),
    [
        ("inches + feet", "convert(..., 'ft', 'in')"),
        ("inches > 6", "'6 in'"),
        ("warm + cool", "K"),
        ("warm / cool", "subtract another temperature first"),
        ("mean(weight) + warm", "K"),
        ("sum(weight) > sum(arm)", "convert(..., 'ft', 'lb')"),
        ("warm > 0", "'0 degC'"),
        ("inches ** n", ""),
        ("weight", "sum(weight)"),
        ("sum(weight - mean(weight))", "name the inner one"),
        ("kind == 'triple'", ""),
        ("kind > 'single'", "compare like with like"),
        ("inches and feet", ""),
        ("inches / 0", ""),
        ("__import__('os')", ""),
        ("inches.real", ""),
        ("[inches]", ""),
        ("9 ** 9 ** 9", ""),
        ("(inches ** 4) ** 4", ""),
        ("(" * 250 + "n" + ")" * 250, ""),
        ("-" * 200 + "n", "give a part of it a name"),
        ("n" + " + n" * 70, "give a part of it a name"),
        ("n" * 301, "give a part of it a name"),
        ("1" + "0" * 200, ""),
        ("convert(inches, 'in', 'lb')", "in cannot be given in lb"),
        ("unknown + 1", ""),
        ("True", ""),
        ("n +", ""),
    ],
)
def test_what_would_be_wrong_is_refused_before_anything_runs(text: str, cure: str) -> None:
    terms = Job({}).terms
    with pytest.raises(ValueRefused) as refused:
        sort_and_unit(read_formula(text, terms), terms)
    assert cure in refused.value.fault.cure, refused.value.fault


ROWS = {
    "weight": Term(sort=Sort.NUMBER, table="load"),
    "photo": Term(sort=Sort.OTHER, table="load"),
    "tight": Term(sort=Sort.YES_NO, table="load", may_lack=True),
    "once": Term(sort=Sort.NUMBER),
}


@pytest.mark.parametrize(
    ("text", "got", "cure"),
    [
        ("mean(weights)", "'weights'", "perhaps 'weight' is meant"),
        ("weights > 1", "'weights'", "perhaps 'weight' is meant"),
        ("not given(photo)", "'photo'", "write all(given(photo)) or any(given(photo))"),
        ("not tight", "'tight'", "write all(tight) or any(tight)"),
        ("min(once)", "'once', which stands once", "leave min() out"),
        ("weight", "'weight'", "write sum(weight), min(weight), max(weight) or mean(weight)"),
    ],
)
def test_a_name_that_cannot_stand_there_is_told_with_what_can(text: str, got: str, cure: str) -> None:
    with pytest.raises(ValueRefused) as refused:
        read_formula(text, ROWS)
    fault = refused.value.fault
    assert got in fault.got
    assert fault.cure == cure
    assert "photo" not in fault.expected  # nothing can be reckoned with it
    if cure.startswith("write"):
        first = cure.removeprefix("write ").split(" or ")[0].split(", ")[0]
        sort_and_unit(read_formula(first, ROWS), ROWS)  # the cure is a formula


def test_whether_all_are_given_looks_at_rows_in_which_one_is_not() -> None:
    class OneOpen(Job):
        def is_given(self, name: str, row: str) -> bool:
            return row != "1"

    for text, expected in (("all(given(tight))", False), ("any(given(tight))", True), ("count(given(tight))", 2.0)):
        assert worked_out(read_formula(text, ROWS), ROWS, OneOpen({})) == expected


def test_a_unit_is_read_as_it_is_told() -> None:
    assert unit_of("ft-lb") != unit_of("ft lb")  # a torque is no weight times a length
    for text in (
        "lb ft",
        "lb/ft",
        "ft2",
        "1/ft",
        "kn",
        "Ah",
        "gal/h",
        "nm/gal",
        "degF difference",
        "K",
        "ft-lb",
        "Nm",
        "",
    ):
        assert unit_of(str(unit_of(text))) == unit_of(text), text
    assert unit_of("") == PLAIN
    for text in ("furlong", "degC/h", "in3x", "lb" * 40):
        with pytest.raises(ValueRefused):
            unit_of(text)


def test_no_number_of_a_boats_size_is_no_number() -> None:
    job = Job({"a": (9e14, "lb"), "b": (-4.0, "lb")})
    for text in ("a * a", "sqrt(b / a)"):
        formula = read_formula(text, job.terms)
        with pytest.raises(OverflowError):
            worked_out(formula, job.terms, job)
