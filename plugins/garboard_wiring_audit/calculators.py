"""The calculators of this plugin, each under the step that brings its readings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from garboard.findings import OF_VESSEL, Basis, Finding
from garboard.job_view import JobView
from garboard.steps import Calculator
from garboard_wiring_audit import bases as b
from garboard_wiring_audit import battery_findings, circuit_findings, network_findings
from garboard_wiring_audit.circuit_rules import RULES
from garboard_wiring_audit.rules import SETTINGS, Rules
from garboard_wiring_audit.steps import BATTERIES, CIRCUITS, LOADS, NETWORKS, STANDING

_BY_DEFAULT = Rules({setting.key: setting.default for setting in SETTINGS})


def _has_circuits(view: JobView) -> bool:
    return bool(view.vessel.circuits)


def _has_batteries(view: JobView) -> bool:
    return bool(view.vessel.batteries)


def _has_networks(view: JobView) -> bool:
    return bool(view.vessel.networks)


def _calculator(
    order: int,
    name: str,
    title: str,
    step: str,
    compute: Callable[[JobView], Iterable[Finding]],
    basis: Basis,
    applies: Callable[[JobView], bool],
    may_doubt: bool = False,
) -> Calculator:
    return Calculator(
        key=f"wiring_audit.{name}",
        title=title,
        step=step,
        order=order,
        compute=compute,
        basis=(basis,),
        applies=applies,
        may_doubt=may_doubt,
        doubts_in=("wiring_audit", OF_VESSEL),
    )


DOUBTING = ("battery_charge", "standing_current", "load_sum", "network_voltage_measured")
"""Calculators that may show values to contradict each other."""
_ON_BATTERIES = (
    (100, "battery_charge", "Battery charge", BATTERIES, battery_findings.charge_findings, b.REST_VOLTAGE),
    (
        200,
        "battery_installation",
        "Battery installation",
        BATTERIES,
        battery_findings.installation_findings,
        b.BATTERY_CFR,
    ),
    (100, "standing_current", "Standing current", STANDING, battery_findings.standing_findings, b.STANDING),
    (100, "battery_reserve", "Reserve time", LOADS, battery_findings.reserve_findings, b.RESERVE),
    (200, "load_sum", "Load and charging", LOADS, battery_findings.load_findings, b.LOAD_SUM),
    (300, "main_fuse", "Main fuses", LOADS, battery_findings.main_fuse_findings, b.MAIN_FUSE),
)
_ON_NETWORKS = (
    (100, "network_terminators", "Network terminators", network_findings.terminator_findings, b.NETWORK_SHEETS),
    (
        200,
        "network_voltage_measured",
        "Network voltage by meter",
        network_findings.measured_voltage_findings,
        b.NETWORK_DROP,
    ),
    (
        300,
        "network_voltage_calculated",
        "Network voltage by calculation",
        network_findings.calculated_voltage_findings,
        b.NETWORK_DROP,
    ),
    (400, "network_load", "Network load", network_findings.load_findings, b.NETWORK_SHEETS),
    (500, "network_lengths", "Network lengths", network_findings.length_findings, b.NETWORK_SHEETS),
    (600, "network_supply", "Network supply", network_findings.supply_findings, b.NETWORK_SHEETS),
)

CALCULATORS = (
    Calculator(
        key="wiring_audit.labels",
        title="Labels",
        step=CIRCUITS,
        order=100,
        compute=circuit_findings.label_findings,
        basis=(b.LABELS,),
    ),
    *(
        Calculator(
            key=f"wiring_audit.{rule.name}",
            title=rule.title,
            step=CIRCUITS,
            order=200 + 10 * place,
            compute=partial(circuit_findings.findings_on, rule),
            basis=rule.basis(_BY_DEFAULT),
            applies=_has_circuits,
            may_doubt=rule.may_doubt,
            doubts_in=("wiring_audit", OF_VESSEL),
        )
        for place, rule in enumerate(RULES)
    ),
    *(
        _calculator(order, name, title, step, compute, basis, _has_batteries, may_doubt=name in DOUBTING)
        for order, name, title, step, compute, basis in _ON_BATTERIES
    ),
    *(
        _calculator(order, name, title, NETWORKS, compute, basis, _has_networks, may_doubt=name in DOUBTING)
        for order, name, title, compute, basis in _ON_NETWORKS
    ),
)
