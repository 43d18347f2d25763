"""The owner's pages: how the boat uses fuel, where to cruise, how far the fuel goes."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from garboard.findings import Finding, Number, Verdict, in_full
from garboard.job_view import JobView
from garboard.steps import Assessed, Block, ReportSection
from garboard_fuel_curve.curve_findings import METER_JUMPS, REFILL_CONTRADICTS, REPEAT_STEPS, SPEED_DOUBTED
from garboard_fuel_curve.mixed_use import EXPONENT
from garboard_fuel_curve.steps import STEPS


def build(view: JobView, assessed: Sequence[Assessed]) -> list[Block]:
    """The section's blocks; none without a fuel curve."""
    found = {one.calculator: one.finding for one in assessed if one.finding.verdict is not Verdict.NOT_ENOUGH_DATA}
    curve = found.get("fuel_curve.curve")
    if curve is None:
        return []
    best = found.get("fuel_curve.best_cruise")
    blocks: list[Block] = [
        *([_largest(view, best)] if best and not best.doubted else []),
        "This is what your boat burned on the sea trial, at each engine speed, all engines together. A higher economy "
        "carries you farther on the same fuel. Each figure is rounded by itself." + _conditions(view),
        *curve.figures,
        *curve.tables,
    ]
    if curve.code in _IN_DOUBT:
        blocks.append(f"{_IN_DOUBT[curve.code]} No cruise and no range are given until it is put right.")
    elif curve.doubted:
        blocks.append("Other readings of the sea trial contradict these. Do not plan on them until put right.")
    if any(one.calculator == "fuel_curve.fuel_for_power" and one.finding.verdict is Verdict.FAIL for one in assessed):
        blocks.append("The fuel readings could not be true for these engines. Do not plan on them until put right.")
    for key, words in _ADVICE:
        if key in found:
            blocks += [words if found[key].about != "best economy" else _AT_ANY_SPEED, _for_the_owner(found[key])]
    blocks.append(
        "Load, trim, growth on the hull, wind and waves all cost fuel. Plan with your own gauge and weather, and "
        "refuel early."
    )
    return blocks


_ADVICE = (
    ("fuel_curve.best_cruise", "Where your fuel goes farthest while the boat planes:"),
    (
        "fuel_curve.planing_hump",
        "Between running slowly and planing a boat climbs its own bow wave. Staying there costs fuel and the view "
        "ahead:",
    ),
    (
        "fuel_curve.range",
        "How far your fuel goes. Use one third to go out, one third to come back, and keep one third:",
    ),
    ("fuel_curve.flow_meter", "How far your fuel meter can be believed:"),
    ("fuel_curve.mixed_use", "Over a day of mixed use, much of it idling:"),
)


_IN_DOUBT = {
    REPEAT_STEPS: "One reading or more does not fit the others and has to be taken again.",
    SPEED_DOUBTED: "The speeds are in doubt.",
    METER_JUMPS: "The fuel flow is in doubt: the meter jumped while engine and boat did not.",
    REFILL_CONTRADICTS: "The fuel flow is in doubt: the entries for refill and fuel meter do not agree.",
}


def _largest(view: JobView, best: Finding) -> Number:
    """The economy at the best cruise; with a current still in it, which has no uncertainty, as the least it is."""
    economy = best.numbers[0]
    current = view.setting_value("fuel_curve.unknown_current", "kn")
    least = "" if economy.expanded_uncertainty else f", at least, if the current was no more than {in_full(current)} kn"
    return attrs.evolve(economy, name=f"at the {best.about}{least}")


_TO_AN_OWNER = {EXPONENT: "how steeply fuel rises with engine speed (2: twice the speed, four times the fuel)"}


def _for_the_owner(finding: Finding) -> Finding:
    """A finding with its numbers under the owner's names for them."""
    named = (attrs.evolve(number, name=_TO_AN_OWNER.get(number.name, number.name)) for number in finding.numbers)
    return attrs.evolve(finding, numbers=tuple(named))


_AT_ANY_SPEED = "Where your fuel goes farthest:"


def _conditions(view: JobView) -> str:
    told = [("water", view.value(STEPS, "water_state")), ("load", view.value(STEPS, "load"))]
    known = [f"{name}: {value}" for name, value in told if isinstance(value, str) and value]
    return f" On that day, {'; '.join(known)}." if known else ""


FUEL_SECTION = ReportSection(key="fuel_curve.fuel", title="Fuel by engine speed", order=400, build=build)
