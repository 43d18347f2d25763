"""The calculators of this plugin, each under the step that brings its readings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from garboard.findings import Basis, Finding
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
    name: str,
    title: str,
    step: str,
    compute: Callable[[JobView], Iterable[Finding]],
    basis: tuple[Basis, ...],
    applies: Callable[[JobView], bool],
) -> Calculator:
    return Calculator(key=f"wiring_audit.{name}", title=title, step=step, compute=compute, basis=basis, applies=applies)


CALCULATORS = (
    Calculator(
        key="wiring_audit.labels",
        title="Labels",
        step=CIRCUITS,
        compute=circuit_findings.label_findings,
        basis=(b.LABELS,),
    ),
    *(
        _calculator(
            rule.name,
            rule.title,
            CIRCUITS,
            partial(circuit_findings.findings_on, rule),
            rule.basis(_BY_DEFAULT),
            _has_circuits,
        )
        for rule in RULES
    ),
    *(
        _calculator(name, title, step, compute, basis, _has_batteries)
        for name, title, step, compute, basis in (
            ("battery_charge", "Battery charge", BATTERIES, battery_findings.charge_findings, (b.REST_VOLTAGE,)),
            (
                "battery_installation",
                "Battery installation",
                BATTERIES,
                battery_findings.installation_findings,
                (b.BATTERY_CFR,),
            ),
            ("standing_current", "Standing current", STANDING, battery_findings.standing_findings, (b.STANDING,)),
            ("load_sum", "Load and charging", LOADS, battery_findings.load_findings, (b.LOAD_SUM,)),
            ("battery_reserve", "Reserve time", LOADS, battery_findings.reserve_findings, (b.RESERVE,)),
        )
    ),
    *(
        _calculator(name, title, NETWORKS, compute, basis, _has_networks)
        for name, title, compute, basis in (
            ("network_load", "Network load", network_findings.load_findings, (b.NETWORK_SHEETS,)),
            ("network_lengths", "Network lengths", network_findings.length_findings, (b.NETWORK_SHEETS,)),
            ("network_terminators", "Network terminators", network_findings.terminator_findings, (b.NETWORK_SHEETS,)),
            (
                "network_voltage_calculated",
                "Network voltage by calculation",
                network_findings.calculated_voltage_findings,
                (b.NETWORK_DROP,),
            ),
            (
                "network_voltage_measured",
                "Network voltage by meter",
                network_findings.measured_voltage_findings,
                (b.NETWORK_DROP,),
            ),
            ("network_supply", "Network supply", network_findings.supply_findings, (b.NETWORK_SHEETS,)),
        )
    ),
)
