"""The day of a job as a path: its phases in order, and in each what fails, what is to do and what is in order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import attrs

from garboard.steps import Phase
from garboard.verdict import Verdict
from garboard_tablet.models.pages import StepLine

FOLDED_FROM = 2
"""So many steps in order share a row; one alone would be hidden by it for nothing."""


@attrs.frozen
class Stretch:
    """A phase of the day.

    lines : its steps in the order of the day
    """

    phase: Phase
    lines: tuple[StepLine, ...] = ()

    @property
    def title(self) -> str:
        return self.phase.value.capitalize()

    @property
    def share(self) -> str:
        return f"{sum(not line.is_open for line in self.lines)} of {len(self.lines)}"

    @property
    def worst(self) -> tuple[Verdict, int] | None:
        """The worst verdict among its steps that asks for something, and how many steps have it."""
        counts = Counter(line.verdict for line in self.lines)
        return next(((verdict, counts[verdict]) for verdict in _ASKING if counts[verdict]), None)


_ASKING = (Verdict.FAIL, Verdict.ADVISE)


@attrs.frozen
class Stations:
    """The steps of a phase as its stations stand, from the first that wants a look to those that need none."""

    asking: tuple[StepLine, ...]
    to_do: tuple[StepLine, ...]
    in_order: tuple[StepLine, ...]


def whole_day(lines: Sequence[tuple[Phase, Sequence[StepLine]]]) -> list[Stretch]:
    """Every phase of the day that has steps, and the last one always: a job ends in it."""
    found = dict(lines)
    return [
        Stretch(phase, tuple(found.get(phase, ()))) for phase in Phase if phase in found or phase is Phase.HAND_OVER
    ]


def stations(lines: Sequence[StepLine]) -> Stations:
    """Steps with a fail first, then those to be looked at, those to do, and what is in order; each in the day's order.

    One step in order is no reason for a row that hides it: it stands with those to do.
    """
    asking = sorted((line for line in lines if _asks(line)), key=lambda line: line.verdict is not Verdict.FAIL)
    in_order = tuple(line for line in lines if not line.is_open and not _asks(line))
    if len(in_order) < FOLDED_FROM:
        in_order = ()
    rest = tuple(line for line in lines if line not in asking and line not in in_order)
    return Stations(tuple(asking), rest, in_order)


def _asks(line: StepLine) -> bool:
    return line.verdict in _ASKING or line.state == "look again" or bool(line.note)
