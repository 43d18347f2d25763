"""Checks every circuit, battery and instrument network of a newly rigged boat, and says what would cure a fault.

The US electrical subpart (33 CFR 183, subpart I) is written for boats with gasoline inboard or sterndrive engines.
On an outboard boat it is practice, not law, and the findings say so.
"""

from __future__ import annotations

from collections.abc import Callable

from garboard import hookimpl
from garboard.steps import Calculator, ReportSection, Setting, Step
from garboard_wiring_audit.calculators import CALCULATORS
from garboard_wiring_audit.report import SECTION
from garboard_wiring_audit.rules import SETTINGS
from garboard_wiring_audit.steps import STEPS

__version__ = "1"
written_for = 1


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    """Offer the five steps alongside."""
    for step in STEPS:
        register(step)


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    """Offer the calculators."""
    for calculator in CALCULATORS:
        register(calculator)


@hookimpl
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    """Offer the owner's pages."""
    register(SECTION)


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    """Offer what a shop may decide."""
    for setting in SETTINGS:
        register(setting)
