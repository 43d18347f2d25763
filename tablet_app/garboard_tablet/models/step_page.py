"""What the page of a step shows first, and in what order the rest follows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import attrs

from garboard.faults import in_number
from garboard.findings import Finding, Limit, Number, Verdict, end_beside
from garboard.steps import Assessed, Calculator, Step
from garboard_tablet.language import phrase
from garboard_tablet.models.limit_bar import LimitScale
from garboard_tablet.models.pages import WORST_FIRST

Numbered = tuple[int, Assessed]
"""A finding with its place among those of the step, by which its page is found again."""


@attrs.frozen(kw_only=True)
class Standing:
    """How a step stands, the worst first.

    worst  : what is shown large; None where nothing is found yet
    others : what else is shown, a row each
    passes : what is said in one row; none where a single one would be hidden
    """

    worst: Numbered | None
    others: tuple[Numbered, ...]
    passes: tuple[Numbered, ...]


def standing(found: Sequence[Assessed]) -> Standing:
    """How a step stands.

    found : ranked, see `pages.ranked`
    """
    numbered = tuple(enumerate(found))
    rest = numbered[1:]
    passes = tuple(one for one in rest if one[1].finding.verdict is Verdict.PASS)
    passes = passes if len(passes) > 1 else ()
    others = tuple(one for one in rest if one not in passes)
    return Standing(worst=numbered[0] if numbered else None, others=others, passes=passes)


def counted(found: Sequence[Assessed]) -> tuple[tuple[Verdict, int], ...]:
    """What asks for something, counted, the worst first.

    >>> counted([])
    ()
    """
    counts = Counter(one.finding.verdict for one in found)
    return tuple((verdict, counts[verdict]) for verdict in WORST_FIRST[:2] if counts[verdict])


@attrs.frozen(kw_only=True)
class Headline:
    """The number a finding is set by, with the limit it is held against where the finding names one."""

    number: Number
    limit: Limit | None

    @property
    def scale(self) -> LimitScale | None:
        """The number with its ± on a bar with the limit."""
        if self.limit is None:
            return None
        ends = [end for end in (self.limit.low, self.limit.high) if end is not None]
        return LimitScale(
            low=self.limit.low,
            high=self.limit.high,
            value=self.number.value,
            half_width=self.number.expanded_uncertainty or 0.0,
            told=tuple(end_beside(self.number, end) for end in ends),
        )

    @property
    def word(self) -> str:
        """What stands before a limit that has one end only."""
        if self.limit is None or None not in (self.limit.low, self.limit.high):
            return ""
        return "at least" if self.limit.high is None else "at most"


def headline(finding: Finding) -> Headline | None:
    """The number to set large: one beyond its limit before any other that has one, else the first.

    None where the finding gives no number, or only counts something and holds it against nothing.
    """
    if finding.bounded:
        number, limit = finding.bounded[0]
        return Headline(number=number, limit=limit)
    first = next(iter(finding.numbers), None)
    return None if first is None or not (first.unit or first.decimals) else Headline(number=first, limit=None)


def is_judged(step: Step, calculators: Iterable[Calculator]) -> bool:
    """Whether a step ever has findings of its own. Conditions, for one, are used by the checks of other steps alone."""
    return any(one.step == step.key for one in calculators)


def nothing_yet(step: Step, values: int) -> str:
    """What to do first where nothing is entered.

    >>> from garboard.steps import Phase
    >>> nothing_yet(Step(key="a.b", title="B", phase=Phase.ALONGSIDE, order=1, at_hand=("meter", "labels")), 7)
    '7 values to take. Have at hand: meter, labels.'
    """
    count = phrase("{values} to take.", values=in_number(values, "value"))
    at_hand = ", ".join(step.at_hand)
    return phrase("{count} Have at hand: {at_hand}.", count=count, at_hand=at_hand) if at_hand else count
