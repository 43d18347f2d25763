"""Which values a finding rests on: the places a calculator read on the way to it. What several ask for is kept."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

import attrs

from garboard.findings import OF_VESSEL, Missing, NotEnoughData, Verdict
from garboard.hosting.failures import PluginFault
from garboard.hosting.noting import noting
from garboard.hosting.source_faults import faults_in_source
from garboard.job_view import FieldKey, InputCollector, JobView
from garboard.record_types import frozen
from garboard.records import Measurement, Vessel
from garboard.settings import ReadSettings
from garboard.units import convert

T = TypeVar("T")
P = ParamSpec("P")


@frozen
class _Done:
    """What a work gave, or what it lacked, and the places, settings and doubted facts it read on the way.

    asked : kept as long as this, so that nothing else is met under its identity
    """

    asked: tuple[object, ...]
    result: Any
    lacked: tuple[Missing, ...]
    seen: tuple[FieldKey, ...]
    read: frozenset[str]
    facts: tuple[FieldKey, ...]


@frozen
class Told:
    """What a person is told of a field: what it is called, and the unit it is entered in."""

    title: str
    unit: str


Declared = Mapping[str, Mapping[str, Told]]
"""The fields of steps, by the step's key, each with what is told of it."""


@attrs.define
class _Collector(InputCollector):
    """Notes where it began to ask, and after how many values read its check raised; -1 while it did not."""

    file: str = attrs.field(kw_only=True)
    line: int = attrs.field(kw_only=True)
    raised_at: int = attrs.field(init=False, default=-1)

    def check(self) -> None:
        seen = self.view.seen if isinstance(self.view, WatchedView) else ()
        self.raised_at = len(seen) if self._missing else -1
        InputCollector.check(self)


@frozen(kw_only=True)
class WatchedView(JobView):
    """A job view that notes what is read in it, and refuses to be asked for what nobody can enter.

    seen     : places that hold a value, in the order they were read, as often as they were
    facts    : doubted facts of the vessel that were read, as places
    declared : the fields of each step that a plugin at work declares; with none, nothing is refused
    """

    seen: list[FieldKey] = attrs.field(factory=list, eq=False, repr=False)
    facts: dict[FieldKey, None] = attrs.field(factory=dict, eq=False, repr=False)
    declared: Declared = attrs.field(factory=dict, eq=False, repr=False)
    bare: Vessel | None = attrs.field(default=None, eq=False, repr=False)
    """The vessel that notes no reads of it."""
    asked: list[_Collector] = attrs.field(factory=list, eq=False, repr=False)
    """Who asked for what it needs, since the last finding that said what is missing."""
    _done: dict[object, _Done] = attrs.field(init=False, factory=dict, eq=False, repr=False)
    """Of this view alone: `attrs.evolve` gives one with other values, which begins anew."""

    def find(self, step: str, field: str, *, row: str = "", of: str = "") -> Measurement | None:
        found = JobView.find(self, step, field, row=row, of=of)
        if found is not None:
            self.seen.append((step, field, row, of))
        else:
            self._refuse_what_nobody_enters(step, field)
        return found

    def _typed_units(self) -> tuple[tuple[FieldKey, str], ...]:
        """That the vessel is looked through for units is no read of its facts."""
        before = dict(self.facts)
        typed = JobView._typed_units(self)
        self.facts.clear()
        self.facts.update(before)
        return typed

    def with_vessel(self, change: Callable[[Vessel], Vessel]) -> JobView:
        """To change the vessel reads none of its facts; the changed one notes them alike."""
        bare = change(self.bare or self.vessel)
        return attrs.evolve(self, vessel=noting(bare, self.facts), bare=bare)

    def amount(self, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float | None:
        """Raises PluginFault for a unit the field can never be given in: no person's value is to blame for that."""
        own = self.declared.get(step, {}).get(field)
        if own is not None and own.unit:
            try:
                convert(1.0, own.unit, unit)
            except ValueError:
                reason = f"it asks for {field!r} of {step} in {unit or 'no unit'}, which is entered in {own.unit}"
                raise PluginFault(reason, "wrong_unit") from None
        return JobView.amount(self, step, field, unit, row=row, of=of)

    def field_in_words(self, step: str, field: str) -> str:
        declared = self.declared.get(step, {}).get(field)
        return f"“{declared.title}”" if declared is not None else JobView.field_in_words(self, step, field)

    def rows(self, step: str, field: str = "") -> tuple[str, ...]:
        found = JobView.rows(self, step, field)
        if not found:
            self._refuse_what_nobody_enters(step, field)
        return found

    def once(self, work: Callable[Concatenate[JobView, P], T], *asked: P.args, **named: P.kwargs) -> T:
        key = (work, *map(id, asked), *((name, id(one)) for name, one in named.items()))
        done = self._done.get(key)
        if done is None:
            done = self._done[key] = self._do(work, *asked, **named)
        else:
            self.seen.extend(done.seen)
            self.facts.update(dict.fromkeys(done.facts))
            self._read.update(done.read)
        if done.lacked:
            raise NotEnoughData(*done.lacked)
        result: T = done.result
        return result

    def _do(self, work: Callable[Concatenate[JobView, P], T], *asked: P.args, **named: P.kwargs) -> _Done:
        """Do a work and note what it alone reads; to whoever asked for it that counts as read, too."""
        before, read, facts = len(self.seen), set(self._read), dict(self.facts)
        self._read.clear()
        self.facts.clear()
        result: Any = None
        lacked: tuple[Missing, ...] = ()
        try:
            result = work(self, *asked, **named)
        except NotEnoughData as lacking:
            lacked = lacking.missing  # not the error itself, which holds the whole stack
        finally:
            its_own, its_settings = tuple(dict.fromkeys(self.seen[before:])), frozenset(self._read)
            its_facts = tuple(self.facts)
            self._read.update(read)
            self.facts.update(facts)
        return _Done((*asked, *named.values()), result, lacked, its_own, its_settings, its_facts)

    @property
    def _read(self) -> set[str]:
        """Keys of the settings read."""
        return self.settings.read if isinstance(self.settings, ReadSettings) else set()

    def asking(self) -> InputCollector:
        begins = sys._getframe(1)
        collector = _Collector(self, file=begins.f_code.co_filename, line=begins.f_lineno)
        self.asked.append(collector)
        return collector

    def refuse_unchecked(self, verdict: Verdict) -> None:
        """Raise PluginFault for a finding by what stood in for a missing value: nobody looked whether one is missing.

        A pass is refused, too, after check() raised, no other value was read, and the file catches every error
        somewhere: it passes what nobody entered. Who catches NotEnoughData by its name means to go on.
        """
        if verdict is Verdict.NOT_ENOUGH_DATA:  # it says what is missing
            self.asked.clear()
            return
        for one in self.asked:
            if one.raised_at < 0 and (lacking := one.not_looked_at):
                reason = f"it gives a finding although {lacking[0]}, and does not call check()"
                raise PluginFault(reason, "not_checked", file=one.file, line=one.line)
            is_passed_over = one.raised_at == len(self.seen) and one.not_looked_at
            if verdict is Verdict.PASS and is_passed_over and _catches_all(one.file):
                reason = f"it passes although {one.not_looked_at[0]}: it goes on after check() raised that"
                raise PluginFault(reason, "swallows_errors", file=one.file, line=one.line)
        self.asked[:] = [one for one in self.asked if one.raised_at < 0]  # what was read since is of another finding

    def _refuse_what_nobody_enters(self, step: str, field: str) -> None:
        """Raise PluginFault for a field that its step does not have, or a step that its plugin does not have.

        A step of a plugin that is not at work may be asked for: nothing is entered there, that is all. So may what an
        older version of a plugin declared, as long as the job holds a value of it.
        """
        fields = self.declared.get(step)
        if step == OF_VESSEL and fields is not None:
            kind = field.rpartition(".")[0]
            is_known = field in fields or not any(other.rpartition(".")[0] == kind for other in fields)
        elif fields is None:
            is_known = all(other.partition(".")[0] != step.partition(".")[0] for other in self.declared)
        else:
            is_known = not field or field in fields
        if is_known or any(one.step == step and field in ("", one.field) for one in self.measurements):
            return
        if fields is None:
            near = _near(step, self.declared)
            raise PluginFault(f"it asks for the step {step!r}, which its plugin does not have{near}", "unknown_step")
        near = _near(field, fields)
        raise PluginFault(f"it asks for {field!r} of {step}, which has no such field{near}", "unknown_field")


@lru_cache(maxsize=64)
def _catches_all(file: str) -> bool:
    """Whether a plugin's file passes over every error somewhere."""
    return any(fault.code == "swallows_errors" for fault in faults_in_source("", Path(file)))


def _near(name: str, known: Iterable[str]) -> str:
    from difflib import get_close_matches  # here: nearly all words are known

    near = get_close_matches(name, known, n=1)
    return f"; perhaps {near[0]!r} is meant" if near else ""


def watched(view: JobView, declared: Declared | None = None) -> WatchedView:
    """The same job, watched, with nothing worked out yet."""
    made = {name.name: getattr(view, name.name) for name in attrs.fields(JobView) if name.init}
    facts: dict[FieldKey, None] = {}
    made["vessel"] = noting(view.vessel, facts)
    return WatchedView(**made, declared=declared or {}, facts=facts, bare=view.vessel)
