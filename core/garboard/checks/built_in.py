"""What a check file changes of the program's own steps: one left out, one that asks more, a setting made stricter."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import attrs

from garboard.checks.formulas import Formula, Sort, Term, Terms, worked_out
from garboard.checks.quantities import unit_of
from garboard.fields import Field
from garboard.findings import NotEnoughData
from garboard.job_view import JobView, LeftOut
from garboard.records import Vessel
from garboard.settings import Setting, SettingSet
from garboard.steps import DIESEL, GASOLINE, Step


@attrs.frozen(kw_only=True)
class BuiltIn:
    """What a check file may name of the plugins that come with the program."""

    steps: Mapping[str, Step] = attrs.field(factory=dict)
    settings: Mapping[str, Setting] = attrs.field(factory=dict)


@attrs.frozen
class _Fact:
    """Something of a job that decides whether a step is left out; None where nobody has said it."""

    term: Term
    of: Callable[[JobView], float | str | None]


def _words_of(name: str) -> tuple[str, ...]:
    words: tuple[str, ...] = attrs.fields_dict(Vessel)[name].metadata.get("choices", ())
    return words


_FACTS: Mapping[str, _Fact] = {
    "job_kind": _Fact(Term(sort=Sort.TEXT), lambda view: view.job.kind),
    "fuel": _Fact(Term(sort=Sort.TEXT, choices=(GASOLINE, DIESEL)), lambda view: view.fuel),
    "hull_form": _Fact(Term(sort=Sort.TEXT, choices=_words_of("hull_form")), lambda view: view.vessel.hull_form),
    "steering": _Fact(Term(sort=Sort.TEXT, choices=_words_of("steering")), lambda view: view.vessel.steering),
    "engines": _Fact(Term(sort=Sort.NUMBER), lambda view: float(len(view.vessel.engines)) or None),
    "length": _Fact(
        Term(sort=Sort.NUMBER, unit=unit_of("ft")),
        lambda view: view.vessel.length.to("ft") if view.vessel.length else None,
    ),
}
FACTS: Terms = {name: fact.term for name, fact in _FACTS.items()}
"""Names a condition may use."""


@attrs.frozen
class _OfBoat:
    """Where a condition's names get their values."""

    view: JobView

    def value(self, name: str, row: str) -> float | bool | str:
        found = _FACTS[name].of(self.view)
        if found is None or found == "":
            raise NotEnoughData(f"{name} is not known")
        return found

    def is_given(self, name: str, row: str) -> bool:
        """Raises NotEnoughData where something is said of it that nobody may use as it is."""
        is_known = _FACTS[name].of(self.view) not in (None, "")
        entered = [one.place for one in self.view.disagreements] + [one.place for one in self.view.unreadable]
        if not is_known and any(field == name for _, field, _, _ in entered):
            raise NotEnoughData(f"{name} is not agreed on")
        return is_known

    def rows(self, table: str) -> Sequence[str]:
        return ()


@attrs.frozen(kw_only=True)
class LeaveOut:
    """A step that is left out where a condition holds. As long as nobody knows whether it does, the step is done."""

    left_out: LeftOut
    when: Formula

    def holds(self, view: JobView) -> bool:
        try:
            return worked_out(self.when, FACTS, _OfBoat(view)) is True
        except (NotEnoughData, ArithmeticError):
            return False


_HOW_CHANGED = ("steps_left_out", "settings_made_stricter", "fields_of_built-in_steps")


@attrs.frozen(kw_only=True)
class Changes:
    """All that one check file changes.

    fields   : what more is asked in a step, by its key, named as they are stored
    stricter : what is asked of settings of the program's own
    """

    title: str = ""
    leave_out: tuple[LeaveOut, ...] = ()
    stricter: tuple[SettingSet, ...] = ()
    fields: Mapping[str, tuple[Field, ...]] = attrs.field(factory=dict)

    def __bool__(self) -> bool:
        return bool(self.leave_out or self.stricter or self.fields)

    def in_titles(self, titles: Mapping[str, str]) -> dict[str, dict[str, str]]:
        """The same for people, each by its key.

        titles : of steps and settings, by key
        """
        left, stricter, fields = (
            {one.left_out.step: titles[one.left_out.step] for one in self.leave_out},
            {f"{one.key} ({one.value})": f"{titles[one.key]} ({one.value})" for one in self.stricter},
            {
                f"{step}/{one.name}": f"{titles[step]}: {one.title}"
                for step, fields in self.fields.items()
                for one in fields
            },
        )
        return dict(zip(_HOW_CHANGED, (left, stricter, fields), strict=True))

    @property
    def in_short(self) -> dict[str, tuple[str, ...]]:
        """What is changed, by how."""
        steps = (one.left_out.step for one in self.leave_out)
        keys = {key: key for key in (*steps, *(one.key for one in self.stricter), *self.fields)}
        return {what: tuple(named) for what, named in self.in_titles(keys).items() if named}
