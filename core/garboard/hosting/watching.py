"""Which values a finding rests on: the places a calculator read on the way to it."""

from __future__ import annotations

import attrs

from garboard.job_view import FieldKey, JobView
from garboard.records import Measurement


@attrs.frozen(kw_only=True)
class WatchedView(JobView):
    """A job view that notes what is read in it.

    seen : places that hold a value and were read, each once, in the order they were first read
    """

    seen: dict[FieldKey, None] = attrs.field(factory=dict, eq=False, repr=False)

    def find(self, step: str, field: str, *, row: str = "", of: str = "") -> Measurement | None:
        found = JobView.find(self, step, field, row=row, of=of)
        if found is not None:
            self.seen[step, field, row, of] = None
        return found


def watched(view: JobView) -> WatchedView:
    """The same job, watched."""
    made = {name.name: getattr(view, name.name) for name in attrs.fields(JobView) if name.init}
    return WatchedView(**made)
