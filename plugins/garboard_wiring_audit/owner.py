"""Batteries and fuses as the owner needs them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence

from garboard.findings import NotEnoughData, Number, Table, Verdict, in_full
from garboard.job_view import JobView
from garboard.owner_pages import BEFORE_YOU_GO, HELM, Digits
from garboard.records import Circuit
from garboard.steps import YOUR_BOAT, Assessed, Block, ReportSection
from garboard_wiring_audit.battery_findings import MAIN_FUSE_OPENS
from garboard_wiring_audit.circuit_facts import always_live, in_a_list
from garboard_wiring_audit.steps import BATTERIES

_RATING = "wiring_audit.overcurrent_rating"
_WRONG = "ask us"
"""In place of a size that is to be changed."""
_AT_ANCHOR, _LEFT_ALONE = "wiring_audit.battery_reserve", "wiring_audit.standing_current"


def helm(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """How long the batteries last with the engines off, by what runs, and left alone."""
    hours = _shortest(assessed, _AT_ANCHOR, "h")
    if hours is not None:
        told = math.floor(hours[1] * 10) / 10 if hours[1] < 10 else math.floor(hours[1])
        lines = (f"{hours[0]} battery, from full, with this on:", _running(view, hours[0]))
        yield Digits(f"{in_full(told)}\u00a0h", "or more, engines off", lines)
    days = _shortest(assessed, _LEFT_ALONE, "d")
    if days is not None:
        battery = next((one for one in view.vessel.batteries if one.name == days[0]), None)
        live = always_live(view.vessel, battery)
        stays_on = (f"still connected: {in_a_list(live)}",) if live else ()
        lines = (f"{days[0]} battery, from full,", "switches off, no pump running", *stays_on)
        yield Digits(f"{math.floor(days[1])}\u00a0days", "left alone", lines)


def _running(view: JobView, battery: str) -> str:
    """What runs together on a battery: its time was reckoned, or its load read, with that on."""
    on = [one.name for one in view.vessel.circuits if one.battery == battery and one.runs_with_others]
    return ", ".join(on) or "what ran when we read its load"


def _shortest(assessed: Sequence[Assessed], calculator: str, unit: str) -> tuple[str, float] | None:
    """The battery that gives out first, and its least time in a unit; None where that was not found, or is in doubt."""
    found = [
        (one.finding.of, min(map(_least, times)))
        for one in assessed
        if one.calculator == calculator and one.finding.verdict is not Verdict.NOT_ENOUGH_DATA
        if not one.finding.doubted
        if (times := [number for number in one.finding.numbers if number.unit == unit])
    ]
    return min(found, key=lambda one: one[1], default=None)


def _least(number: Number) -> float:
    """The low end of a number."""
    return max(0.0, number.value - (number.expanded_uncertainty or 0.0))


def stays_live(view: JobView, _assessed: Sequence[Assessed]) -> Iterator[Block]:
    """What no battery switch turns off: a hand at its wires, or a blade it turns, is not safe by the switch alone."""
    live, unknown = always_live(view.vessel), [one for one in view.vessel.circuits if not one.fed_from]
    if live:
        yield (
            "The battery switches do not turn everything off. Fed at the battery itself, these stay live: "
            f"{in_a_list(live)}. Disconnect them at the battery before you touch them."
        )
    if unknown:
        yield f"Of these we do not know where they are fed; take them as live: {in_a_list(unknown)}."


def fuses(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """A card of fuses and breakers: replace one only by the same. A size that was found wrong is not told."""
    wrong = {
        one.finding.of
        for one in assessed
        if one.calculator == _RATING and (one.finding.verdict is Verdict.FAIL or one.finding.doubted)
    }
    of_circuits = tuple(
        (one.name, _WRONG if one.name in wrong else _size(one), one.protection, _where(one))
        for one in view.vessel.circuits
        if one.protection
    )
    opens = {one.finding.of for one in assessed if one.finding.code == MAIN_FUSE_OPENS}
    rows = (*_main_fuses(view, opens), *of_circuits)
    if rows:
        yield Table("Fuses and breakers", ("Circuit", "Size", "Kind", "Where"), rows, card=True)


def _main_fuses(view: JobView, opens: Collection[str]) -> Iterator[tuple[str, ...]]:
    """The fuse of each battery that has one; `opens` names the batteries whose fuse is too small for what it feeds."""
    for battery in view.vessel.batteries:
        if any(view.value(BATTERIES, field, of=battery.name) for field in ("fuse_rating", "fuse_distance")):
            rating = _read(view, "fuse_rating", "A", battery.name)
            size = "as printed on it" if rating is None else f"{in_full(rating)} A"
            told = _WRONG if battery.name in opens else size
            yield f"Main fuse, {battery.name}", told, "fuse", "at the battery"


def _read(view: JobView, field: str, unit: str, battery: str) -> float | None:
    """What was read of a battery; None where nothing stands that can be read."""
    try:
        return view.amount(BATTERIES, field, unit, of=battery)
    except NotEnoughData:
        return None


_WHERE = {"battery terminal": "at the battery", "panel": "at the panel"}


def _where(circuit: Circuit) -> str:
    """At which end to look for it: close to what feeds the circuit."""
    return "" if circuit.protection == "none" else _WHERE.get(circuit.fed_from, "")


def _size(circuit: Circuit) -> str:
    rating = circuit.protection_rating
    return "" if rating is None or circuit.protection == "none" else str(rating)


SECTIONS = (
    ReportSection(
        key="wiring_audit.stays_live",
        title=BEFORE_YOU_GO,
        order=90,
        part=YOUR_BOAT,
        build=lambda v, a: [*stays_live(v, a)],
    ),
    ReportSection(key="wiring_audit.helm", title=HELM, order=230, part=YOUR_BOAT, build=lambda v, a: [*helm(v, a)]),
    ReportSection(key="wiring_audit.fuses", title=HELM, order=231, part=YOUR_BOAT, build=lambda v, a: [*fuses(v, a)]),
)
