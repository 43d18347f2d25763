"""Fuel curve: throttle steps into speed, economy, best cruise and range, with the meter and the engine checked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from garboard import hookimpl
from garboard.steps import Calculator, LiveGuide, ReportSection, Setting, Step
from garboard_fuel_curve.calculators import CALCULATORS
from garboard_fuel_curve.guide import STEADY
from garboard_fuel_curve.report import FUEL_SECTION
from garboard_fuel_curve.steps import SETTINGS, STEPS_STEP, TANKS_STEP

__version__ = "1"
written_for = 1


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    """Throttle steps under way, refill at hand over."""
    register(STEPS_STEP)
    register(TANKS_STEP)


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    """Curve, hump, cruise, mixed use, plausibility, range, flow meter."""
    for calculator in CALCULATORS:
        register(calculator)


@hookimpl
def register_live_guides(register: Callable[[LiveGuide[Any]], None]) -> None:
    """Tells when a throttle step is steady."""
    register(STEADY)


@hookimpl
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    """The owner's fuel pages."""
    register(FUEL_SECTION)


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    """What a shop may decide."""
    for setting in SETTINGS:
        register(setting)
