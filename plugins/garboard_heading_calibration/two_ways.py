"""One sensor swung in two ways, from typed readings and from recorded straight runs: do both say the same?

A compass has one deviation on a heading. Where two swings of it differ by more than both are unsure by, one was held
against a wrong reference, or something was changed between them: neither card is worth keeping.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator

import attrs

from garboard.findings import Basis, BasisKind, Doubt, Finding, NotEnoughData, Verdict, rounded, with_uncertainty
from garboard.job_view import JobView

from . import straight_runs, swing
from .deviation import Coefficients, deviation_on
from .sensors import aside, begun
from .steps import STRAIGHT_RUNS, SWING
from .swing_finding import BESIDE, TOO_LARGE

LEAST_APART = 2.0
"""Two good swings of one compass may differ by so much beside their uncertainties [deg]; common practice, no source."""
ONE_DEVIATION = Basis(
    BasisKind.COMMON_PRACTICE,
    "two swings of one compass agree within 2 degrees and what both are unsure by",
    "a compass has one deviation on a heading",
)
BY_READINGS, BY_RUNS = "the readings of the swing", "the straight runs"

_Way = Callable[[JobView], Iterable[Finding]]


def compute_swing(view: JobView) -> Iterator[Finding]:
    """A swing from typed readings, held against the straight runs of the same sensor."""
    beside = _found_by(straight_runs.compute, STRAIGHT_RUNS, view)
    for one in swing.compute(view):
        words = _apart(one, beside.get(one.about), BY_READINGS, BY_RUNS)
        rows = _rows_of(view, one.about) if words else ()
        doubts = tuple(
            Doubt(f"{one.about}: {words}", step=SWING, field="compass_heading", row=row, of=one.about) for row in rows
        )
        yield _for_neither(one, words, doubts) if words else one


def compute_straight_runs(view: JobView) -> Iterator[Finding]:
    """A swing from straight runs, held against the typed readings of the same sensor.

    Its recording is not put in doubt: it is another sensor's too.
    """
    beside = _found_by(swing.compute, SWING, view)
    for one in straight_runs.compute(view):
        words = _apart(one, beside.get(one.about), BY_RUNS, BY_READINGS)
        yield _for_neither(one, words) if words else one


def _found_by(way: _Way, step: str, view: JobView) -> dict[str, Finding]:
    """What the other way says, by sensor; nothing where it cannot be judged, which its own findings say."""
    if not begun(step)(view):
        return {}
    try:
        return {one.about: one for one in way(aside(view))}
    except NotEnoughData:
        return {}


def _rows_of(view: JobView, sensor: str) -> tuple[str, ...]:
    rows = view.rows(SWING, "compass_heading")
    return tuple(row for row in rows if view.find(SWING, "compass_heading", row=row, of=sensor))


def _apart(one: Finding, other: Finding | None, by_one: str, by_other: str) -> str:
    """What to say of two swings that contradict each other; "" of two that may be one."""
    if other is None:
        return ""
    curves = _curve(one), _curve(other)
    if all(curves):
        return _curves_apart(*curves, by_one, by_other)
    if TOO_LARGE not in (one.code, other.code):
        return ""
    mine, its = (_beside_the_constant(each) for each in (one, other))
    if mine is None or its is None or abs(mine - its) <= LEAST_APART:
        return ""
    return (
        f"deviation beside the constant up to {rounded(mine, 1)} degrees by {by_one}, up to {rounded(its, 1)} by "
        f"{by_other}"
    )


_Curve = list[tuple[float, float]]


def _curves_apart(mine: _Curve, its: _Curve, by_one: str, by_other: str) -> str:
    beyond = [abs(a - b) - LEAST_APART - math.hypot(u, v) for (a, u), (b, v) in zip(mine, its, strict=True)]
    worst = max(range(len(beyond)), key=beyond.__getitem__)
    if beyond[worst] <= 0:
        return ""
    first, second = (with_uncertainty(*curve[worst], plus=True) for curve in (mine, its))
    return f"deviation on {15 * worst:03d} {first} degrees by {by_one}, {second} by {by_other}"


def _curve(finding: Finding) -> _Curve:
    """Deviation every 15 degrees with its expanded uncertainty [deg]; empty for a finding without coefficients.

    The coefficients count as independent, as they are where the headings go evenly round.
    """
    given = {number.name: number for number in finding.numbers}
    coefficients = [given[name] for letter in "ABCDE" if (name := f"coefficient {letter}") in given]
    if len(coefficients) < 5:
        return []
    curve = Coefficients(*(each.value for each in coefficients))
    unsure = math.hypot(*(each.expanded_uncertainty or 0.0 for each in coefficients))
    return [(deviation_on(heading, curve), unsure) for heading in range(0, 360, 15)]


def _beside_the_constant(finding: Finding) -> float | None:
    return next((number.value for number in finding.numbers if number.name == BESIDE), None)


def _for_neither(finding: Finding, words: str, doubts: tuple[Doubt, ...] = ()) -> Finding:
    """The finding without what may not be done by it: no card to keep, no offset to enter.

    A fault that is surely there stays one: compass and reference have to be looked at whichever swing is right.
    """
    told, basis = _SWING_ANEW.format(_first_up(words)), (*finding.basis, ONE_DEVIATION)
    if finding.code == TOO_LARGE:
        return attrs.evolve(finding, sentence=f"{finding.sentence} {told}", basis=basis, doubts=doubts)
    return attrs.evolve(
        finding,
        code="heading_calibration.swing.ways_differ",
        verdict=Verdict.ADVISE,
        sentence=told,
        basis=basis,
        tables=tuple(attrs.evolve(table, card=False) for table in finding.tables),
        doubts=(*finding.doubts, *doubts),
    )


def _first_up(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


_SWING_ANEW = (
    "{}. One is wrong, or the sensor was changed between. Keep neither card and enter no offset. See what was typed, "
    "then swing again."
)
