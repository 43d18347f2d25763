"""What each value of a disagreement would give: the job judged once for each, as if a manager had chosen it.

Nothing of this is kept. Where several disagree, one is looked at at a time, and the others stand at their first value.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from enum import Enum

import attrs

from garboard.disk.entries import Entry
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError, in_number
from garboard.findings import Finding, Verdict
from garboard.history.boat import Boat
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.report.as_typed import as_typed
from garboard.report.outline import first_sentence, result_of
from garboard.steps import Assessed
from garboard_shop.pages.authors import author_after
from garboard_shop.pages.summaries import BoatSummary, JobSummary, disagreeing, opened_again, recordings_of, token_of
from garboard_shop.pages.wording import value_in_words
from garboard_shop.store import Store

JUDGED_KINDS = ("measure", "field", "setting", "step")
"""Kinds of entries a check can read; a choice of another kind says where a job belongs."""
MOST_JUDGED = 24
"""How often one job is judged for its page."""
MOST_ON_A_SHEET = 8
"""How many jobs are judged for one day sheet; those judged before cost nothing."""
MOST_KEPT = 200


@attrs.frozen
class Cell:
    """What one check gives with one value."""

    verdict: Verdict
    text: str


@attrs.frozen
class Difference:
    """A check whose outcome hangs on the choice: a cell for each value, None where it says nothing then.

    number : name of the number that is shown, the first that differs; "" where none does
    """

    check: str
    number: str
    cells: tuple[Cell | None, ...]

    @property
    def is_of_verdicts(self) -> bool:
        return len({cell.verdict if cell else None for cell in self.cells}) > 1


class LeftOut(Enum):
    """Why it was not worked out what the values of a disagreement give, as a person is told."""

    MANY_OPEN = (
        "Too many values of this job are open to work out what each of these changes. Settle others first, then look "
        "here again."
    )
    MANY_VALUES = "It has too many values to work out what each of them changes."
    ON_THE_BOATS_PAGE = "Open the boat's page to see what each of these values changes."


@attrs.frozen
class Consequence:
    """What each value of one disagreement would give.

    values   : as they read
    rows     : only those checks that differ
    others   : how many other disagreements stood at their first value
    left_out : why it was not worked out; None where it was
    """

    values: tuple[str, ...]
    rows: tuple[Difference, ...]
    others: int
    left_out: LeftOut | None = None

    @classmethod
    def not_judged(cls, why: LeftOut) -> Consequence:
        return cls((), (), 0, why)

    @property
    def in_words(self) -> str:
        """What a manager needs to know first."""
        if self.left_out is not None:
            return self.left_out.value
        either = "either way" if len(self.values) == 2 else "whichever you choose"
        changed = [row.check for row in self.rows if row.is_of_verdicts]
        if not self.rows:
            return f"No check changes {either}."
        if not changed:
            return f"No verdict changes {either}."
        return f"{in_number(len(changed), 'verdict')} {'hangs' if len(changed) == 1 else 'hang'} on it."


@attrs.frozen
class Judged:
    """A job judged with each value of what disagrees in it.

    consequences : by the token of the disagreement; one that no check can read has none
    outcomes     : everything that was found, once for each judging; the ends of a figure lie among them
    """

    consequences: Mapping[str, Consequence] = attrs.field(factory=dict)
    outcomes: tuple[Sequence[Assessed], ...] = ()

    @property
    def is_whole(self) -> bool:
        """Whether it was judged with every value that is open."""
        return not any(one.left_out for one in self.consequences.values())


NOTHING = Judged()


class Consequences:
    """Consequences, kept until an entry of the boat arrives."""

    def __init__(self, store: Store, host: PluginHost, most: int = MOST_KEPT) -> None:
        self._store, self._host, self._most = store, host, most
        self._kept: OrderedDict[tuple[str, str], Judged] = OrderedDict()
        self._guard = threading.Lock()

    def of(self, summary: BoatSummary, job: JobSummary) -> Judged:
        """What each open value of a job would give."""
        if not job.choices:
            return NOTHING
        at_hand = self.at_hand(summary, job)
        if at_hand is not None:
            return at_hand
        judged = judge(self._store, self._host, summary, job)
        if not summary.is_passing:
            with self._guard:
                self._kept[summary.digest, job.id] = judged
                while len(self._kept) > self._most:
                    self._kept.popitem(last=False)
        return judged

    def at_hand(self, summary: BoatSummary, job: JobSummary) -> Judged | None:
        """The same where it was judged before; None where it was not."""
        with self._guard:
            return self._kept.get((summary.digest, job.id))

    def of_sheet(self, boats: Sequence[tuple[BoatSummary, Sequence[JobSummary]]]) -> Mapping[str, Consequence]:
        """The consequences for a page of many boats, as many as one page may wait for; by hull and token. Of the others
        it is said where they stand.
        """
        found: dict[str, Consequence] = {}
        judged_now = 0
        for summary, jobs in boats:
            for job in jobs:
                judged = self.at_hand(summary, job)
                if judged is None and job.choices and judged_now < MOST_ON_A_SHEET:
                    judged, judged_now = self.of(summary, job), judged_now + 1
                found |= by_hull(summary, judged if judged is not None else _on_its_page(summary, job))
        return found


def by_hull(summary: BoatSummary, judged: Judged) -> dict[str, Consequence]:
    """Consequences under names that hold for several boats."""
    return {f"{summary.key} {token}": one for token, one in judged.consequences.items()}


def _open(boat: Boat, job: JobSummary) -> list[tuple[HullState, RegisterKey, tuple[Entry, ...]]]:
    """The disagreements of a job that a check can read, each with its values."""
    found = disagreeing(boat, job.id) if job.choices else ()
    return [(state, key, state.current(key)) for state, key in found if key.kind in JUDGED_KINDS]


def _on_its_page(summary: BoatSummary, job: JobSummary) -> Judged:
    elsewhere = Consequence.not_judged(LeftOut.ON_THE_BOATS_PAGE)
    return Judged({token_of(key): elsewhere for _, key, _ in _open(summary.boat, job)})


def judge(store: Store, host: PluginHost, summary: BoatSummary, job: JobSummary) -> Judged:
    """Judge a job once for each value of what disagrees in it; of very many only the first; the others say why not."""
    try:
        what_if = _WhatIf(store, host, summary, job)
        outcomes, consequences = [what_if.found()], dict[str, Consequence]()
        for key, values in what_if.open.items():
            if len(outcomes) + len(values) - 1 > MOST_JUDGED:
                why = LeftOut.MANY_VALUES if len(values) > MOST_JUDGED else LeftOut.MANY_OPEN
                consequences[token_of(key)] = Consequence.not_judged(why)
                continue
            found = [outcomes[0]]
            for value in values[1:]:
                what_if.choose(key, value)
                found.append(what_if.found())
            what_if.choose(key, values[0])
            outcomes += found[1:]
            names = tuple(value_in_words(value.value) for value in values)
            consequences[token_of(key)] = Consequence(names, tuple(differences(found)), len(what_if.open) - 1)
    except (InputError, NewerFormat):  # a value nothing can be done with is told on the page; choosing it says why
        return NOTHING
    return Judged(consequences, tuple(outcomes))


class _WhatIf:
    """A boat of its own, opened once, in which values of a job are chosen one after the other: entries nobody keeps.

    open : the values of each disagreement of the job that a check can read; at first the first of each is chosen
    """

    def __init__(self, store: Store, host: PluginHost, summary: BoatSummary, job: JobSummary) -> None:
        self._host, self._job, self._load = host, job.id, recordings_of(store)
        self._boat = opened_again(store, summary)
        found = _open(self._boat, job)
        self.open = {key: values for _, key, values in found}
        self._states = {key: state for state, key, _ in found}
        self._author = author_after(self._boat.state, "nobody", *self._states.values())
        for key, values in self.open.items():
            self.choose(key, values[0])

    def choose(self, key: RegisterKey, value: Entry) -> None:
        """Let a value stand in the place of whatever stands, as a choice on the page would."""
        state = self._states[key]
        more: dict[str, JsonValue] = {"reason": "what if"}
        state.add(self._author.write(state, key.kind, key.subject, value.value, job=key.job, more=more))

    def found(self) -> Sequence[Assessed]:
        """What is found of the job as it stands now."""
        seen: JobView = self._boat.view(self._job, self._load)
        return as_typed(seen, self._host.assess(seen), self._host)


def differences(outcomes: Sequence[Sequence[Assessed]]) -> Iterator[Difference]:
    """The checks whose verdict, code or numbers are not the same in all outcomes, in the order of the steps."""
    tables = [_by_check(outcome) for outcome in outcomes]
    for check in dict.fromkeys(check for table in tables for check in table):
        found = [table.get(check) for table in tables]
        if len({_told(one) for one in found}) > 1:
            named = next(one for one in found if one is not None)
            yield _difference(_check_in_words(named), [one.finding if one else None for one in found])


def _by_check(outcome: Sequence[Assessed]) -> dict[tuple[str, str, int], Assessed]:
    """Findings by calculator, what they are of, and which of several such they are: codes change with the verdict."""
    found: dict[tuple[str, str, int], Assessed] = {}
    for one in outcome:
        of, number = one.finding.of, 0
        while (one.calculator, of, number) in found:
            number += 1
        found[one.calculator, of, number] = one
    return found


def _told(one: Assessed | None) -> object:
    if one is None:
        return None
    return one.finding.verdict, one.finding.code, tuple(str(number) for number in one.finding.numbers)


def _check_in_words(one: Assessed) -> str:
    about = one.finding.about
    same = about.casefold() == one.title.casefold()
    return one.title if same or not one.finding.of else f"{one.title}, {about}"


def _difference(check: str, findings: Sequence[Finding | None]) -> Difference:
    """Of each finding the first number that differs; where none does, what it says first."""
    numbers = [{number.name: str(number) for number in one.numbers} if one else {} for one in findings]
    names = dict.fromkeys(name for of_one in numbers for name in of_one)
    apart = next((name for name in names if len({of_one.get(name) for of_one in numbers}) > 1), "")
    cells = (
        Cell(one.verdict, of_one.get(apart) or first_sentence(result_of(one))) if one else None
        for one, of_one in zip(findings, numbers, strict=True)
    )
    return Difference(check, apart, tuple(cells))
