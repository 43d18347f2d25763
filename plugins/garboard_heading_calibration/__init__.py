"""Heading calibration: steady turns, the swing and its deviation card, variation, sensors compared.

It records and judges; it adjusts no compass and replaces no sensor's own calibration.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from garboard import hookimpl
from garboard.steps import Calculator, LiveGuide, RecordingJudge, ReportSection, Setting, Step

__version__ = "1"
written_for = 1


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    from .steps import STEPS

    for step in STEPS:
        register(step)


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    from .calculators import CALCULATORS

    for calculator in CALCULATORS:
        register(calculator)


@hookimpl
def register_live_guides(register: Callable[[LiveGuide[Any]], None]) -> None:
    from .guide import GUIDE

    register(GUIDE)


@hookimpl
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    from .report import SECTION

    register(SECTION)


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    from .settings import SETTINGS

    for setting in SETTINGS:
        register(setting)


@hookimpl
def register_recording_judges(register: Callable[[RecordingJudge], None]) -> None:
    from .calculators import JUDGES

    for judge in JUDGES:
        register(judge)
