"""What a boat's page says of a job at a glance: its phases, its five figures, its days, and its recordings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

import attrs

from garboard.disk.entries import PLAN, Entry
from garboard.faults import in_number
from garboard.findings import Number, Verdict, with_uncertainty
from garboard.history.past import reason_in
from garboard.history.plans import PROMISED
from garboard.history.shapes import misfit_of
from garboard.records import Measurement
from garboard.report.outline import PhaseOutline, StepOutline
from garboard.steps import BEHIND, Assessed
from garboard_shop.pages.summaries import JobSummary, file_of
from garboard_shop.pages.wording import value_in_words, written_at

SIGNED, RETRACTED = "signoff", "retract"
MOST_DAYS = 8
"""On the line beside a job; its history has them all."""


@attrs.frozen(kw_only=True)
class FigureAsked:
    """One of the figures that stand large.

    calculators : keys of those that give it, the first that does
    numbers     : its names among their numbers, the best first
    is_largest  : of several pieces the one furthest from zero stands large, not both ends
    """

    title: str
    calculators: tuple[str, ...]
    numbers: tuple[str, ...]
    is_largest: bool = False


FIGURES = (
    FigureAsked(title="Full speed", calculators=("prop_check.speed",), numbers=("speed",)),
    FigureAsked(title="Engine speed at full throttle", calculators=("prop_check.window",), numbers=("engine speed",)),
    FigureAsked(title="At best cruise", calculators=("fuel_curve.best_cruise",), numbers=("economy",)),
    FigureAsked(title="Out, and as far back", calculators=("fuel_curve.range",), numbers=("out and back by thirds",)),
    FigureAsked(
        title="Largest compass deviation",
        calculators=("heading_calibration.straight_runs", "heading_calibration.swing"),
        numbers=("largest deviation", "largest deviation read"),
        is_largest=True,
    ),
)


@attrs.frozen(kw_only=True)
class LargeFigure:
    """A figure that stands large.

    value : as printed; "" where nothing gives it
    unit  : with its uncertainty before it
    note  : of which piece each is, where there are several; why there is none
    """

    title: str
    value: str
    unit: str
    note: str
    to_settle: bool = False


def large_figures(
    assessed: Sequence[Assessed], with_others: Sequence[Sequence[Assessed]] = (), *, are_all: bool = True
) -> list[LargeFigure]:
    """The figures of a job.

    with_others : the same judged with each value of what disagrees: a figure that hangs on it shows both ends
    are_all     : whether these are all values; where not, what only they give is still to settle
    """
    return [_large(asked, assessed, with_others, are_all=are_all) for asked in FIGURES]


def _large(
    asked: FigureAsked, assessed: Sequence[Assessed], with_others: Sequence[Sequence[Assessed]], *, are_all: bool
) -> LargeFigure:
    here = _numbers(asked, assessed)
    others = [_numbers(asked, one) for one in with_others]
    if len({_shown(numbers) for numbers in others}) > 1 or (not are_all and not here and any(others)):
        return _both_ends(asked, [number for numbers in others for _, number in numbers])
    shown = here or (others[0] if others else [])
    if not shown:
        return LargeFigure(title=asked.title, value="", unit="", note="not measured")
    numbers = [number for _, number in shown]
    if len(shown) == 1:
        value, _, more = with_uncertainty(
            numbers[0].value, numbers[0].expanded_uncertainty, numbers[0].decimals
        ).partition(" ")
        return LargeFigure(title=asked.title, value=value, unit=f"{more} {numbers[0].unit}".strip(), note="")
    if asked.is_largest:
        numbers = [max(numbers, key=lambda number: abs(number.value))]
    note = ", ".join(f"{of} {with_uncertainty(n.value, n.expanded_uncertainty, n.decimals)}" for of, n in shown)
    return LargeFigure(title=asked.title, value=_ends(numbers), unit=numbers[0].unit, note=note)


def _both_ends(asked: FigureAsked, numbers: Sequence[Number]) -> LargeFigure:
    unit = numbers[0].unit if numbers else ""
    return LargeFigure(title=asked.title, value=_ends(numbers), unit=unit, note="to settle", to_settle=True)


def _shown(numbers: Iterable[tuple[str, Number]]) -> tuple[tuple[str, str], ...]:
    return tuple((of, str(number)) for of, number in numbers)


def _ends(numbers: Sequence[Number]) -> str:
    """From the lowest to the highest, once where they read alike."""
    in_order = sorted(numbers, key=lambda number: number.value)
    ends = [
        with_uncertainty(one.value, one.expanded_uncertainty, one.decimals).partition(" ")[0]
        for one in (in_order[0], in_order[-1])
    ]
    return " to ".join(dict.fromkeys(ends))


def _numbers(asked: FigureAsked, assessed: Sequence[Assessed]) -> list[tuple[str, Number]]:
    """The numbers of the first calculator that gives any, each with the piece it is of."""
    for calculator in asked.calculators:
        found = [
            (one.finding.of or one.finding.about, number)
            for one in assessed
            if one.calculator == calculator
            for number in _first_named(one.finding.numbers, asked.numbers)
        ]
        if found:
            return found
    return []


def _first_named(numbers: Sequence[Number], names: Sequence[str]) -> list[Number]:
    """Of some numbers those of the first name that any has."""
    return next((found for name in names if (found := [one for one in numbers if one.name == name])), [])


# --- phases


@attrs.frozen(kw_only=True)
class PhaseAtAGlance:
    """One phase of a job: how many of its steps are behind it, and how its checks came out."""

    outline: PhaseOutline
    done: int
    steps: int
    counts: tuple[tuple[Verdict, int], ...]

    @property
    def title(self) -> str:
        return self.outline.phase.value.capitalize()

    @property
    def state(self) -> str:
        """By the name of its mark."""
        if self.done == self.steps:
            return "done"
        return "under way" if self.done or any(step.state != "to do" for step in self.outline.steps) else "to do"

    def number(self, verdict: Verdict) -> int:
        return dict(self.counts).get(verdict, 0)

    @property
    def passed(self) -> str:
        """What passed, in short: each check once, with what it is about where that says more."""
        found: dict[str, list[str]] = {}
        for step in self.outline.steps:
            for one in step.found:
                if one.finding.verdict is Verdict.PASS:
                    about = found.setdefault(one.title, [])
                    if one.finding.about.casefold() != one.title.casefold():
                        about.append(one.finding.about)
        return "; ".join(f"{title} ({', '.join(about)})" if about else title for title, about in found.items())


def phases_at_a_glance(job: JobSummary) -> list[PhaseAtAGlance]:
    """The phases of a job in their order."""
    return [_at_a_glance(phase) for phase in job.phases]


def _at_a_glance(phase: PhaseOutline) -> PhaseAtAGlance:
    found = [one.finding.verdict for step in phase.steps for one in step.found]
    counts = tuple((verdict, found.count(verdict)) for verdict in Verdict if verdict in found)
    asked: list[StepOutline] = [step for step in phase.steps if step.step is not None]
    done = sum(step.state in BEHIND for step in asked)
    return PhaseAtAGlance(outline=phase, done=done, steps=len(asked), counts=counts)


# --- days


@attrs.frozen(kw_only=True)
class WorkDay:
    """One day of a job, by the tablets' clocks.

    lines : what was done, in words
    """

    day: str
    lines: tuple[str, ...]

    @property
    def in_words(self) -> str:
        return written_at(self.day)


def days_of(job: JobSummary, entries: Iterable[Entry], parts: Iterable[str]) -> tuple[WorkDay, ...]:
    """What was done for a job day by day, the first first.

    parts : ids of the jobs whose entries are in it
    """
    mine = {*parts}
    by_day: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        if entry.job in mine or (entry.kind == PLAN and entry.subject[:1] and entry.subject[0] in mine):
            by_day[entry.at[:10]].append(entry)
    opened = job.view.job.opened[:10]
    if opened:
        by_day.setdefault(opened, [])
    settled = {one.entry.id: where for where, one in job.resolutions}
    return tuple(
        WorkDay(day=day, lines=tuple(_lines(by_day[day], settled, is_first=day == opened))) for day in sorted(by_day)
    )


def _lines(entries: Sequence[Entry], settled: dict[str, str], *, is_first: bool) -> Iterator[str]:
    if is_first:
        yield "Opened"
    by: dict[str, int] = defaultdict(int)
    told = {entry.id for entry in entries if entry.kind in (SIGNED, PLAN) and misfit_of(entry) is None}
    for entry in entries:
        if entry.id not in told and entry.id not in settled:
            by[entry.by] += 1
    if by:
        of_whom = ", ".join(f"{name} {number}" for name, number in sorted(by.items()))
        yield f"{in_number(sum(by.values()), 'entry', 'entries')}: {of_whom}"
    for entry in sorted(entries, key=lambda entry: entry.clock):
        if entry.id in settled:
            yield f"{settled[entry.id]} settled by {entry.by}: {value_in_words(entry.value)}"
        elif entry.id in told and entry.kind == SIGNED:
            name = " ".join(entry.subject[1:]) or entry.by
            yield f"Signed by {name}, {entry.subject[0] if entry.subject else ''}".rstrip(", ")
        elif entry.id in told:
            what = " ".join(entry.subject[1:2]).replace("_", " ").capitalize()
            value = value_in_words(entry.value)
            yield f"{what}: {written_at(value) if entry.subject[1:2] == (PROMISED,) else value}, by {entry.by}"
        elif entry.kind == RETRACTED and reason_in(entry):
            yield f"Taken back by {entry.by}: {reason_in(entry)}"


def shortened(days: Sequence[WorkDay]) -> tuple[Sequence[WorkDay], int]:
    """The days that fit beside a job: the first and the last ones; and how many lie between that are left out."""
    if len(days) <= MOST_DAYS:
        return days, 0
    return (days[0], *days[-(MOST_DAYS - 1) :]), len(days) - MOST_DAYS


# --- recordings


def recordings_in(job: JobSummary) -> tuple[tuple[Measurement, str, str], ...]:
    """Files entered for a job that are no photos shown beside a step: the value, the file's name, what it is called."""
    found = [(one, *file_of(one)) for one in job.view.measurements]
    return tuple((one, name, called) for one, name, called in found if name)
