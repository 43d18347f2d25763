"""What check files change of the program's own steps and settings: the declarations as they hold, and what is said."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.checks.module import CheckModule
from garboard.disk.clock import moment_in_words
from garboard.findings import Basis, BasisKind, Finding, Lack, Missing, Verdict
from garboard.hosting.codes import code_for
from garboard.job_view import JobView, LeftOut, signed_left_out
from garboard.record_types import frozen
from garboard.settings import Setting, SettingSet
from garboard.steps import Assessed, Step

LEFT_OUT = "left_out"
"""The last word of the code by which a step is said to be left out."""


@frozen
class Amended:
    """What is changed.

    steps    : those that ask more, by key
    settings : those that are stricter, by key
    said     : for people, by the step's key, what is asked besides
    """

    steps: Mapping[str, Step]
    settings: Mapping[str, Setting]
    said: Mapping[str, Sequence[str]]
    checks: Sequence[CheckModule]

    def left_out(self, view: JobView) -> Mapping[str, LeftOut]:
        """The steps that are left out of a job. A signed job keeps what it was signed under."""
        if signed := view.signed_under:
            return signed_left_out(signed)
        found: dict[str, LeftOut] = {}
        for check in self.checks:
            for one in check.changes.leave_out if check.changes else ():
                if one.left_out.step not in found and one.holds(view):
                    found[one.left_out.step] = one.left_out
        return found


def amended(checks: Sequence[CheckModule], steps: Mapping[str, Step], settings: Mapping[str, Setting]) -> Amended:
    """The steps and settings that check files change, as they are then."""
    changed_steps: dict[str, Step] = {}
    changed_settings: dict[str, Setting] = {}
    said: dict[str, list[str]] = {}
    for changes in [check.changes for check in checks if check.changes]:
        for key, fields in changes.fields.items():
            step = changed_steps.get(key) or steps[key]
            changed_steps[key] = attrs.evolve(step, fields=(*step.fields, *fields))
            if fields:
                titles = ", ".join(field.title for field in fields)
                said.setdefault(key, []).append(f"The shop's check {changes.title} also asks: {titles}.")
        for asked in changes.stricter:
            setting = changed_settings.get(asked.key) or settings[asked.key]
            changed_settings[asked.key] = attrs.evolve(setting, asked=_strictest(setting, asked))
    return Amended(changed_steps, changed_settings, said, checks)


def _strictest(setting: Setting, asked: SettingSet) -> SettingSet:
    before = setting.asked
    return asked if before is None or setting.is_looser(before.value, asked.value) else before


def with_left_out(
    found: Iterable[Assessed], view: JobView, steps: Iterable[Step], owner: Callable[[Step], tuple[str, str]]
) -> tuple[Assessed, ...]:
    """Findings of a job of which steps are left out: each says so once, in place of all that nobody entered for it.

    Whatever else is found stands: what was entered is judged, and a fail stays a fail.

    steps : in their order
    owner : the plugin of a step, and its version
    """
    place = {step.key: number for number, step in enumerate(steps)}
    begun = {one.step for one in view.measurements} | {one.place[0] for one in view.disagreements}
    begun |= {one.place[0] for one in view.unreadable}
    empty = view.left_out.keys() - begun
    kept = [one for one in found if not (one.step in empty and _lacks_own(one))]
    said = [
        _said(step, view.left_out[step.key], owner(step), step.key in begun)
        for step in steps
        if step.key in view.left_out and view.state_of(step.key) != "not fitted"
    ]
    return tuple(sorted((*said, *kept), key=lambda one: place.get(one.step, len(place))))


def _lacks_own(one: Assessed) -> bool:
    """Whether it only says that something of its own step is lacking."""
    is_lack = one.finding.verdict is Verdict.NOT_ENOUGH_DATA
    return is_lack and any(missing.step == one.step for missing in one.finding.missing)


def _said(step: Step, left: LeftOut, owner: tuple[str, str], is_begun: bool) -> Assessed:
    plugin, version = owner
    finding = Finding(
        code=code_for(step.key, LEFT_OUT),
        verdict=Verdict.NOT_ENOUGH_DATA,
        about=step.title,
        sentence=" ".join(_sentences(left, is_begun)),
        missing=(Missing("the step is left out by the shop", lack=Lack.LEFT_OUT, step=step.key),),
        basis=(Basis(BasisKind.SHOP_RULE, f"check {left.check}"),),
    )
    return Assessed(
        calculator=code_for(step.key, LEFT_OUT),
        title=step.title,
        step=step.key,
        phase=step.phase,
        plugin=plugin,
        plugin_version=version,
        finding=finding,
    )


def _sentences(left: LeftOut, is_begun: bool) -> Iterator[str]:
    yield f"Left out by the shop: {left.reason.rstrip('.')}."
    yield f"Decided by {left.by}, {moment_in_words(left.on)}, in the check {left.check}."
    if left.is_signed:
        yield "The job was signed so."
    if is_begun:
        yield "What was entered all the same is judged."


def is_left_out(one: Assessed) -> bool:
    """Whether it says that a step is left out by the shop."""
    return any(missing.lack is Lack.LEFT_OUT for missing in one.finding.missing)
