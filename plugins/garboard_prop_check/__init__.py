"""Propeller check: full-throttle runs both ways, slip, the maker's window, and what pitch to try first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from garboard import hookimpl
from garboard.steps import Calculator, LiveGuide, ReportSection, Setting, Step
from garboard_prop_check.calculators import CALCULATORS
from garboard_prop_check.guide import GUIDE
from garboard_prop_check.report import SECTION
from garboard_prop_check.settings import SETTINGS
from garboard_prop_check.steps import STEPS

__version__ = "1"
written_for = 1


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    """Offer the steps."""
    for step in STEPS:
        register(step)


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    """Offer the calculators."""
    for calculator in CALCULATORS:
        register(calculator)


@hookimpl
def register_live_guides(register: Callable[[LiveGuide[Any]], None]) -> None:
    """Offer the live guide."""
    register(GUIDE)


@hookimpl
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    """Offer the propeller page."""
    register(SECTION)


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    """Offer what a shop may decide."""
    for setting in SETTINGS:
        register(setting)
