"""Makes of a check file what a plugin declares: steps, settings, calculators, sections of the book."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from functools import partial
from pathlib import Path
from types import ModuleType

from garboard.checks.built_in import BuiltIn
from garboard.checks.check import Check, Result, Section
from garboard.checks.file import read_check
from garboard.checks.judging import is_of_nothing_aboard, judge
from garboard.checks.module import CheckModule
from garboard.findings import Finding
from garboard.hooks import each_of
from garboard.job_view import JobView
from garboard.steps import Assessed, Block, Calculator, ReportSection


def module_of(path: Path, taken: Collection[str] = (), built_in: BuiltIn | None = None) -> ModuleType:
    """A check file as a plugin. Raises `file.CheckRefused` with every fault.

    taken    : names with which the keys of the built-in plugins begin
    built_in : their steps and settings
    """
    return module_of_check(read_check(path, taken, built_in), path)


def module_of_check(check: Check, path: Path) -> CheckModule:
    module = CheckModule(path.stem)
    module.__file__ = str(path)
    vars(module)["__version__"] = check.edition
    module.codes = tuple(check.codes())
    module.changes = check.changes
    offered: dict[str, Iterable[object]] = {
        "register_equipment": check.equipment,
        "register_steps": check.steps,
        "register_settings": check.settings,
        "register_calculators": [_calculator(check, result) for result in check.results],
        "register_report_sections": [_section(check, section) for section in check.sections],
    }
    for hook, items in offered.items():
        if items:
            setattr(module, hook, each_of(items))
    return module


def _calculator(check: Check, result: Result) -> Calculator:
    def applies(view: JobView) -> bool:
        return view.state_of(result.step) != "not fitted" and not is_of_nothing_aboard(check, result, view)

    return Calculator(
        key=check.key(result.name),
        title=result.title,
        step=result.step,
        compute=partial(judge, check, result),
        basis=result.basis,
        applies=applies,
        order=result.order,
    )


def _section(check: Check, section: Section) -> ReportSection:
    build: Callable[[JobView, Sequence[Assessed]], Sequence[Block]] = partial(_blocks, check, section)
    return ReportSection(key=check.key(section.name), title=section.title, order=section.order, build=build)


def _blocks(check: Check, section: Section, view: JobView, found: Sequence[Assessed]) -> Sequence[Block]:
    """The section's text and the findings of its results; nothing where none of them was judged."""
    keys = {check.key(name) for name in section.results}
    findings: list[Finding] = [one.finding for one in found if one.calculator in keys]
    return (*section.text, *findings) if findings or not keys else ()
