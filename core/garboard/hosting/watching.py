"""Which values a finding rests on: the places a calculator read on the way to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches

import attrs

from garboard.hosting.failures import PluginFault
from garboard.job_view import FieldKey, JobView
from garboard.records import Measurement

Declared = Mapping[str, frozenset[str]]
"""The fields of steps, by the step's key."""


@attrs.frozen(kw_only=True)
class WatchedView(JobView):
    """A job view that notes what is read in it, and refuses to be asked for what nobody can enter.

    seen     : places that hold a value and were read, each once, in the order they were first read
    declared : the fields of each step that a plugin at work declares; with none, nothing is refused
    """

    seen: dict[FieldKey, None] = attrs.field(factory=dict, eq=False, repr=False)
    declared: Declared = attrs.field(factory=dict, eq=False, repr=False)

    def find(self, step: str, field: str, *, row: str = "", of: str = "") -> Measurement | None:
        found = JobView.find(self, step, field, row=row, of=of)
        if found is not None:
            self.seen[step, field, row, of] = None
        else:
            self._refuse_what_nobody_enters(step, field)
        return found

    def rows(self, step: str, field: str = "") -> tuple[str, ...]:
        found = JobView.rows(self, step, field)
        if not found:
            self._refuse_what_nobody_enters(step, field)
        return found

    def _refuse_what_nobody_enters(self, step: str, field: str) -> None:
        """Raise PluginFault for a field that its step does not have, or a step that its plugin does not have.

        A step of a plugin that is not at work may be asked for: nothing is entered there, that is all. So may what an
        older version of a plugin declared, as long as the job holds a value of it.
        """
        fields = self.declared.get(step)
        if fields is None:
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


def _near(name: str, known: Iterable[str]) -> str:
    near = get_close_matches(name, known, n=1)
    return f"; perhaps {near[0]!r} is meant" if near else ""


def watched(view: JobView, declared: Declared | None = None) -> WatchedView:
    """The same job, watched."""
    made = {name.name: getattr(view, name.name) for name in attrs.fields(JobView) if name.init}
    return WatchedView(**made, declared=declared or {})
