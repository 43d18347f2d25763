"""What was found of a job before, to judge it with other settings: what reads none that differs is found again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs

from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.steps import Assessed


@frozen
class JudgedBefore:
    """What each calculator of the program found of one job as it stands, with each setting it read.

    Doubts of other calculators are not told in it. After an entry, it is another job.
    """

    _found: dict[str, tuple[tuple[Assessed, ...], Mapping[str, object]]] = attrs.field(factory=dict)

    def keep(self, calculator: str, found: Iterable[Assessed], read: Iterable[str], view: JobView) -> None:
        """Keep what was found first; what is found with other settings is kept no longer than it is asked for."""
        self._found.setdefault(calculator, (tuple(found), {key: _setting(view, key) for key in read}))

    def of(self, calculator: str, view: JobView) -> tuple[Assessed, ...] | None:
        """What a calculator finds with the settings of a view; None where that has to be worked out."""
        if calculator not in self._found:
            return None
        found, read = self._found[calculator]
        return found if all(_setting(view, key) == value for key, value in read.items()) else None


def _setting(view: JobView, key: str) -> object:
    """The value in force, and who set it."""
    return (view.settings[key], view.settings_used.get(key)) if key in view.settings else None
