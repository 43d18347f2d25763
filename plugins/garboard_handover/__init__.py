"""Everything aboard tried once, the owner briefed, the punch list worked off: what a hand over rests on."""

from __future__ import annotations

from collections.abc import Callable

from garboard import hookimpl
from garboard.steps import Calculator, ReportSection, Setting, Step

__version__ = "1"
written_for = 1


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    from garboard_handover.steps import STEPS

    for step in STEPS:
        register(step)


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    from garboard_handover.steps import SETTINGS

    for setting in SETTINGS:
        register(setting)


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    from garboard_handover.calculators import CALCULATORS

    for calculator in CALCULATORS:
        register(calculator)


@hookimpl
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    from garboard_handover.report import SECTIONS

    for section in SECTIONS:
        register(section)
