"""What the page of a step shows first, and in what order the rest follows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import attrs

from garboard.findings import Finding, Number, Verdict
from garboard.steps import Assessed, Step
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


def counted(found: Sequence[Assessed]) -> str:
    """What asks for something, counted, the worst first; "" where nothing does.

    >>> counted([])
    ''
    """
    counts = Counter(one.finding.verdict for one in found)
    asking = [verdict for verdict in WORST_FIRST[:2] if counts[verdict]]
    return ", ".join(f"{counts[verdict]} {verdict.value}" for verdict in asking)


@attrs.frozen(kw_only=True)
class Headline:
    """The number a finding is set by, with the limits it is held against where the finding names them."""

    number: Number
    scale: LimitScale | None


def headline(finding: Finding) -> Headline | None:
    """The number to set large: the first that has a limit, else the first; None where the finding gives none."""
    named = {number.name: number for number in finding.numbers}
    for limit in finding.limits:
        number = named.get(limit.number)
        if number is not None:
            half = number.expanded_uncertainty or 0.0
            scale = LimitScale(low=limit.low, high=limit.high, value=number.value, half_width=half)
            return Headline(number=number, scale=scale)
    return Headline(number=finding.numbers[0], scale=None) if finding.numbers else None


def nothing_yet(step: Step, values: int) -> str:
    """What to do first where nothing is entered.

    >>> from garboard.steps import Phase
    >>> nothing_yet(Step(key="a.b", title="B", phase=Phase.ALONGSIDE, order=1, at_hand=("meter", "labels")), 7)
    '7 values to take. Have at hand: meter, labels.'
    """
    count = f"{values} value{'' if values == 1 else 's'} to take."
    return f"{count} Have at hand: {', '.join(step.at_hand)}." if step.at_hand else count
