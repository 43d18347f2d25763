"""The owner's pages on wiring: the schedule of circuits, the batteries, the instrument network, what is to be done."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from garboard.faults import in_number
from garboard.findings import NotEnoughData, Number, Table, Verdict, rounded
from garboard.job_view import JobView
from garboard.records import Battery, Circuit, NetworkBus
from garboard.steps import Assessed, Block, ReportSection
from garboard.units import Amount
from garboard_wiring_audit import network_findings
from garboard_wiring_audit.battery_findings import charge_words, reserve_of, rest_charge
from garboard_wiring_audit.bus import AMPERES_PER_LOAD_NUMBER
from garboard_wiring_audit.circuit_facts import facts_of
from garboard_wiring_audit.circuit_findings import verdicts_of
from garboard_wiring_audit.readings import has_been_read, read
from garboard_wiring_audit.rules import rules_of
from garboard_wiring_audit.steps import CIRCUITS, NETWORKS

CIRCUITS_TEXT = (
    "The circuits that were checked, each with its conductor, its fuse or breaker and what was measured. A circuit "
    "that is not listed was not checked. The load is the larger of the design current and the one read. The drop is "
    "the voltage lost on the way to the load and back, at the current beside it. Replace a fuse only by one of the "
    "same rating. The US rules for boat wiring are written for boats with gasoline inboard or sterndrive engines; on "
    "an outboard boat they are followed as good practice."
)
BATTERIES_TEXT = (
    "Charge is told from the voltage after hours at rest. Reserve time is how long a full battery carries what runs "
    "together with the engines off. Disconnect the battery before any work on the wiring, and leave shore power to a "
    "licensed person."
)
NETWORK_TEXT = (
    "The instruments share one cable for data and power. With power off, 60 ohm between its signal lines means that "
    "both ends are terminated. Add up the load numbers before another device joins: one is 50 mA."
)


def build(view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    """Blocks of the section; none for a vessel without circuits, batteries and networks."""
    return (*_circuits(view), *_batteries(view), *_networks(view), *_to_do(assessed))


def _circuits(view: JobView) -> Iterator[Block]:
    if not view.vessel.circuits:
        return
    verdicts = verdicts_of(view)
    headings = ("Circuit", "Label", "Conductor", "Fuse or breaker", "Load", "Drop", "Verdict")
    rows = tuple(_circuit_row(view, circuit, verdicts[circuit.name]) for circuit in view.vessel.circuits)
    in_order = sum(verdict is Verdict.PASS for verdict in verdicts.values())
    yield Number("in order", in_order, f"of {in_number(len(rows), 'circuit')}", decimals=0)
    yield CIRCUITS_TEXT
    yield Table("Circuits", headings, rows)


def _circuit_row(view: JobView, circuit: Circuit, verdict: Verdict) -> tuple[str, ...]:
    facts = view.once(facts_of, circuit, rules_of(view), weighs_current=True)
    label = view.value(CIRCUITS, "label_present", of=circuit.name)
    return (
        circuit.name,
        ("yes" if label else "no") if isinstance(label, bool) else "",
        facts.conductor.label if facts.knows(["conductor"]) else "",
        "none" if circuit.protection == "none" else f"{_text(circuit.protection_rating)} {circuit.protection}".strip(),
        f"{rounded(facts.load.value, 1)} A" if facts.knows(["load"]) else "",
        _or_blank(lambda: f"{rounded(read(view, CIRCUITS, 'drop', 'V', circuit.name).value, 2)} V")
        + _at(view, circuit),
        verdict.value,
    )


def _at(view: JobView, circuit: Circuit) -> str:
    """The current a drop was read with, which need not be the load."""
    if not has_been_read(view, CIRCUITS, "drop", circuit.name):
        return ""
    return _or_blank(lambda: f" at {rounded(read(view, CIRCUITS, 'current', 'A', circuit.name).value, 1)} A")


def _batteries(view: JobView) -> Iterator[Block]:
    if not view.vessel.batteries:
        return
    headings = ("Battery", "Kind", "Capacity", "Rest voltage", "Charge", "Reserve time")
    yield BATTERIES_TEXT
    yield Table("Batteries", headings, tuple(_battery_row(view, battery) for battery in view.vessel.batteries))


def _battery_row(view: JobView, battery: Battery) -> tuple[str, ...]:
    return (
        battery.name,
        battery.chemistry,
        _text(battery.capacity),
        _or_blank(lambda: f"{rounded(rest_charge(view, battery).volts.value, 2)} V"),
        _or_blank(lambda: charge_words(rest_charge(view, battery).percent)),
        _or_blank(lambda: reserve_of(view, battery).words),
    )


def _networks(view: JobView) -> Iterator[Block]:
    if not view.vessel.networks:
        return
    headings = ("Network", "Backbone", "Load number", "Current", "Signal lines", "Worst device", "Spare tees")
    yield NETWORK_TEXT
    yield Table("Instrument networks", headings, tuple(_network_row(view, bus) for bus in view.vessel.networks))


def _network_row(view: JobView, bus: NetworkBus) -> tuple[str, ...]:
    spare = view.value(NETWORKS, "spare_drops", of=bus.name)
    return (
        bus.name,
        _text(bus.backbone_length),
        _or_blank(lambda: str(network_findings.load_sum_of(bus))),
        _or_blank(lambda: f"{rounded(network_findings.load_sum_of(bus) * AMPERES_PER_LOAD_NUMBER, 2)} A"),
        _or_blank(lambda: f"{rounded(read(view, NETWORKS, 'signal_resistance', 'ohm', bus.name).value, 0)} ohm"),
        _or_blank(lambda: f"{rounded(read(view, NETWORKS, 'worst_voltage', 'V', bus.name).value, 1)} V"),
        "" if spare is None else str(spare),
    )


def _to_do(assessed: Sequence[Assessed]) -> Iterator[Block]:
    open_items = [
        each.finding
        for verdict in (Verdict.FAIL, Verdict.ADVISE)
        for each in assessed
        if each.calculator.startswith("wiring_audit.") and each.finding.verdict is verdict
    ]
    if open_items:
        yield "To be put right, or known and accepted:"
        yield from open_items


def _or_blank(tell: Callable[[], str]) -> str:
    try:
        return tell()
    except NotEnoughData:
        return ""


def _text(amount: Amount | None) -> str:
    return "" if amount is None else str(amount)


SECTION = ReportSection(key="wiring_audit.wiring", title="Wiring, batteries and network", order=200, build=build)
