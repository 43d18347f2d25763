"""What a calculator asks of a job, in vain or not: noted where the calculator runs. See `explaining`."""

from __future__ import annotations

from contextlib import suppress

import attrs

from garboard.hosting.own_copy import own_view
from garboard.hosting.plugin_code import plugin_code
from garboard.hosting.watching import Declared, WatchedView, watched
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.records import Measurement
from garboard.settings import ReadSettings
from garboard.steps import Calculator

Noted = dict[FieldKey, bool]
"""Places that were asked for, in that order, and whether each holds a value."""


@frozen(kw_only=True)
class _NotingView(WatchedView):
    """Notes what is asked for in vain, too."""

    noted: Noted = attrs.field(factory=dict, eq=False, repr=False)

    def find(self, step: str, field: str, *, row: str = "", of: str = "") -> Measurement | None:
        self.noted.setdefault((step, field, row, of), False)
        found = WatchedView.find(self, step, field, row=row, of=of)
        self.noted[step, field, row, of] = found is not None
        return found

    def rows(self, step: str, field: str = "") -> tuple[str, ...]:
        found = WatchedView.rows(self, step, field)
        if not found:
            self.noted.setdefault((step, field, "", ""), False)
        return found


def noted_by(calculator: Calculator, view: JobView, declared: Declared) -> tuple[Noted, tuple[str, ...]]:
    """What a calculator asks for, up to where it stops, and the settings it reads. Whatever it raises is passed over:
    its findings say that."""
    fresh = watched(own_view(view), declared)
    own = {one.name: getattr(fresh, one.name) for one in attrs.fields(WatchedView) if one.init}
    noting = _NotingView(**{**own, "settings": ReadSettings(dict(view.settings))})
    with suppress(Exception), plugin_code():
        if calculator.applies(noting):
            for _ in calculator.compute(noting):
                pass
    read = noting.settings.read if isinstance(noting.settings, ReadSettings) else set()
    return noting.noted, tuple(sorted(read))
