"""A job's findings in the order people read them; the readable report and the handover book both follow it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import attrs

from garboard.faults import in_number
from garboard.findings import Basis, Doubt, Finding, Lack, Missing, Verdict
from garboard.hosting.amended import is_left_out
from garboard.hosting.equipment import none_aboard
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import place_in_words, title_of
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import SIGN_AT_HAND_OVER
from garboard.report.handed_over import handed_over_in_words
from garboard.steps import NOT_ABOARD, Assessed, Caution, Phase, Step, state_shown
from garboard.units import day_in_words

if TYPE_CHECKING:
    from garboard.history.plans import SetAside

NOT_FITTED = "not fitted"
LOOK_AGAIN, NOTED = "look again", "noted"
"""Why something stands on the punch list that no check tells."""
MOST_NAMED = 12
"""Values that a signature misses, named at once in a book or on a page."""


@frozen
class StepOutline:
    """One step with what was found under it.

    step  : None when no loaded plugin declares the step a calculator names
    state : "to do", "under way", "done", "look again", "not fitted", "not needed", "left out" or "does not apply"
    said  : what the shop's checks ask in it besides
    lacks : why it does not apply, and what to do if it does; "" otherwise
    """

    title: str
    state: str
    step: Step | None
    found: tuple[Assessed, ...]
    said: tuple[str, ...] = ()
    lacks: str = ""


@frozen
class PhaseOutline:
    """One phase with its steps, in order."""

    phase: Phase
    steps: tuple[StepOutline, ...]


@frozen
class PunchItem:
    """One fault to put right before hand over.

    about : what it is about ("port engine")
    text  : what is wrong and what to do
    why   : "fails", "values disagree", "in doubt", "cannot be read", "look again" or "noted"
    step  : key of the step it belongs to; "vessel" for a fact of the vessel, nothing for a note
    check : title of the check whose numbers tell it; nothing where the words alone do
    owner : the same for an owner, who has nothing to choose; nothing where the text is for both
    """

    about: str
    text: str
    why: str
    step: str = attrs.field(default="", eq=False)
    check: str = attrs.field(default="", eq=False)
    owner: str = attrs.field(default="", eq=False)


@frozen
class HandOver:
    """How far the hand over is.

    is_done : the technician and the owner have signed, and nothing was changed since
    lacking : what keeps it from being done, or is still open though it is: ("5 fail", "the owner has not signed")
    unsigned : of these, what keeps it from being done: a book of it is a draft
    points  : how many stand on its punch list
    """

    is_done: bool
    lacking: tuple[str, ...]
    unsigned: tuple[str, ...] = ()
    points: int = 0

    @property
    def words(self) -> str:
        """What it is called once it is done."""
        return handed_over_in_words(self.points)


def is_handed_over(view: JobView) -> bool:
    """Whether technician and owner have signed, and nothing was changed since."""
    return not any(_not_signed(view, role) for role in SIGN_AT_HAND_OVER)


def still_aside(aside: SetAside | None, view: JobView) -> SetAside | None:
    """That a job is set aside; None where it is not, or no more: what is handed over cannot be."""
    return aside if aside is not None and aside.holds and not is_handed_over(view) else None


def hand_over(view: JobView, assessed: Sequence[Assessed], items: Sequence[PunchItem]) -> HandOver:
    """How far the hand over is: signatures decide; what fails, was not judged or is still to do is said with them.

    items : the punch list
    """
    left_out = sum(map(is_left_out, assessed))
    found = counts(one for one in assessed if not is_left_out(one))
    open_ = [
        f"{found[verdict]} {words}"
        for verdict, words in ((Verdict.FAIL, "fail"), (Verdict.NOT_ENOUGH_DATA, "not judged"))
        if found[verdict]
    ]
    if left_out:
        open_.append(f"{left_out} left out by the shop")
    if view.disagreements:
        open_.append(f"{len(view.disagreements)} with values that disagree")
    if view.unreadable:
        open_.append(f"{in_number(len(view.unreadable), 'entry', 'entries')} that cannot be read")
    if doubts := len(_in_doubt(assessed)):
        open_.append(f"{doubts} in doubt")
    if again := sum(item.why == LOOK_AGAIN for item in items):
        open_.append(f"{in_number(again, 'step')} to look at again")
    if noted := sum(item.why == NOTED for item in items):
        open_.append(f"{noted} noted on the punch list")
    unsigned = [said for role in SIGN_AT_HAND_OVER if (said := _not_signed(view, role))]
    return HandOver(not unsigned, (*open_, *unsigned), tuple(unsigned), len(items))


def _not_signed(view: JobView, role: str) -> str:
    """What is wrong with a role's signature; "" when one covers everything."""
    signed = [sign_off for sign_off in view.sign_offs if sign_off.role == role]
    if not signed:
        return f"the {role} has not signed"
    return f"the {role} signed before later changes" if all(sign_off.stale for sign_off in signed) else ""


def by_phase(view: JobView, host: PluginHost, assessed: Sequence[Assessed]) -> tuple[PhaseOutline, ...]:
    """Every declared step, phase by phase, with its findings. Phases without steps are left out."""
    view, said = host.with_left_out(view), host.amended.said
    steps = {
        step.key: StepOutline(
            step.title,
            state_shown(view, step),
            step,
            _under(step.key, assessed),
            tuple(said.get(step.key, ())),
            none_aboard(view, step, host.equipment),
        )
        for step in host.steps
    }
    for lone in assessed:
        if lone.step not in steps:
            steps[lone.step] = StepOutline(lone.title, view.state_of(lone.step), None, _under(lone.step, assessed))
    in_phase = {phase: tuple(s for s in steps.values() if _phase_of(s) is phase) for phase in Phase}
    return tuple(PhaseOutline(phase, found) for phase, found in in_phase.items() if found)


def numbered_bases(findings: Iterable[Finding], before: Iterable[Basis] = ()) -> Mapping[Basis, int]:
    """Every basis once, numbered from 1 in the order of first use.

    before : bases that are named before the findings
    """
    bases = [basis for finding in findings for basis in finding.basis]
    return {basis: number for number, basis in enumerate(dict.fromkeys([*before, *bases]), start=1)}


def references(bases: Iterable[Basis], numbers: Mapping[Basis, int]) -> str:
    """Numbers of bases as printed beside a finding ("basis 1, 4")."""
    return "basis " + ", ".join(str(number) for number in sorted({numbers[basis] for basis in bases}))


def alike_together(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings that say the same of several things as one finding about all of them."""
    groups: dict[object, list[Finding]] = {}
    for finding in findings:
        code = "" if finding.verdict is Verdict.NOT_ENOUGH_DATA else finding.code  # which check lacks it matters little
        same = (code, finding.verdict, finding.sentence, finding.numbers, finding.tables, finding.figures)
        groups.setdefault(same, []).append(finding)
    return tuple(
        attrs.evolve(
            group[0],
            about=", ".join(dict.fromkeys(finding.about for finding in group)),
            basis=tuple(dict.fromkeys(basis for finding in group for basis in finding.basis)),
            missing=tuple(dict.fromkeys(item for finding in group for item in finding.missing)),
        )
        for group in groups.values()
    )


def result_of(finding: Finding) -> str:
    """The sentence as printed beside its verdict, which need not be said twice.

    >>> from garboard.findings import BasisKind, not_enough_data
    >>> result_of(not_enough_data("Range", ["no fuel entered"], (Basis(BasisKind.METHOD, "Sum"),)))
    'No fuel entered.'
    """
    result = finding.short or finding.sentence
    return result[:1].upper() + result[1:]


_FIRST_SENTENCE = re.compile(r"(.*?)\.?(\. .*)?", re.DOTALL)


def first_sentence(text: str) -> str:
    """The first of several sentences, for a line that has room for no more. It is printed, never decided by.

    >>> first_sentence("12.5 V at rest. Enough for hand over."), first_sentence("In order.")
    ('12.5 V at rest.', 'In order.')
    """
    found = _FIRST_SENTENCE.fullmatch(text)
    return f"{found[1]}." if found else text


def cautions(view: JobView, host: PluginHost) -> tuple[Caution, ...]:
    """Cautions of all steps in their order, each text once; those of what is not fitted or not aboard, and of
    fuels the boat does not burn, are left out."""
    texts: dict[str, Caution] = {}
    for step in host.steps:
        if state_shown(view, step) not in (NOT_FITTED, NOT_ABOARD):
            for caution in step.cautions_for(view.fuel):
                texts.setdefault(caution.text, caution)
    return tuple(texts.values())


def nothing_to_put_right(assessed: Iterable[Assessed]) -> str:
    """What an empty punch list says: as much as was judged."""
    assessed = tuple(assessed)
    left_out = sum(map(is_left_out, assessed))
    found = counts(assessed)
    unjudged, advised = found[Verdict.NOT_ENOUGH_DATA] - left_out, found[Verdict.ADVISE]
    said = [f"; {in_number(advised, 'piece')} of advice"] if advised else []
    if unjudged:
        checks = "1 check was" if unjudged == 1 else f"{unjudged} checks were"
        said.append(f"; {checks} not made for want of data")
    if left_out:
        said.append(f"; the shop left out {in_number(left_out, 'step')}")
    return f"Nothing that was checked is left to put right{''.join(said)}." if said else "Nothing left to put right."


def punch_list(view: JobView, host: PluginHost, assessed: Sequence[Assessed]) -> tuple[PunchItem, ...]:
    """What has to be put right before hand over: failures, disagreements, readings in doubt, what cannot be read, steps
    to look at again, open notes.

    Each fault once: a note that a failing check already tells is left out. Two notes in the same words are two faults.
    """
    failures = [a for a in assessed if a.finding.verdict is Verdict.FAIL]
    failing = [
        PunchItem(a.finding.about, a.finding.sentence, "fails", a.step, a.title if a.finding.numbers else "")
        for a in failures
    ]
    told = {text for a in failures for text in (a.finding.sentence, *a.finding.notes)}
    disagreeing = [
        PunchItem(
            place_in_words(disagreement.place, host),
            f"{' against '.join(str(m.value) for m in disagreement.values)}: choose the right one.",
            "values disagree",
            disagreement.place[0],
            owner=f"{' against '.join(str(m.value) for m in disagreement.values)}; we have not settled which is right.",
        )
        for disagreement in view.disagreements
    ]
    unreadable = [
        PunchItem(
            place_in_words(one.place, host) if any(one.place) else "",
            f"What {one.by or 'somebody'} entered cannot be read: {one.got}, where {one.expected} should stand. It is "
            "kept and not used. Take it back, or enter it again.",
            "cannot be read",
            one.place[0],
            owner="an entry cannot be read, and is not used.",
        )
        for one in view.unreadable
    ]
    again = [
        PunchItem(title_of(state.step, host), state.reason or "Look at this step again.", LOOK_AGAIN, state.step)
        for state in view.steps
        if state.state == "look again" and view.state_of(state.step) == "look again"
    ]
    noted = [
        PunchItem(note.by, note.text, NOTED)
        for note in view.notes
        if note.punch_list and not note.settled and note.text not in told
    ]
    doubted = [item for item in _in_doubt(assessed) if item.text not in told]
    return (*dict.fromkeys([*failing, *disagreeing, *doubted, *unreadable, *again]), *noted)


FIND_OUT = "Find out which is right, then correct the entry or take it out."


def _in_doubt(assessed: Iterable[Assessed]) -> tuple[PunchItem, ...]:
    """Readings that contradict each other, each contradiction once: nobody knows yet whether the boat is in order."""
    found: dict[tuple[str, str], PunchItem] = {}
    for one in assessed:
        for doubt in one.finding.doubts:
            is_named = doubt.text.startswith(one.finding.about)
            about, check = ("", named(one.finding.about, one.title)) if is_named else (one.finding.about, one.title)
            text = f"{_sentence(doubt.text)} {FIND_OUT}"
            found.setdefault((doubt.text, ""), PunchItem(about, text, "in doubt", doubt.step, check))
    # A check that lacks a figure for a doubt tells the doubt again: of every place of the doubt, not the first alone.
    doubts = [doubt for one in assessed for doubt in one.finding.doubts]
    for one in assessed:
        for lack in one.finding.missing:
            if lack.lack is Lack.CONTRADICTS and not any(_is_of(doubt, lack) for doubt in doubts):
                item = PunchItem(one.finding.about, _sentence(lack.text), "in doubt", lack.step, one.title)
                found.setdefault((lack.text, lack.of), item)  # of two engines it is said of each
    return tuple(found.values())


def _is_of(doubt: Doubt, lack: Missing) -> bool:
    """Whether a doubt tells what a check lacks: in one step, of one piece, or of all of them where one names none."""
    return doubt.step == lack.step and (doubt.of == lack.of or not doubt.of or not lack.of)


def named(about: str, check: str) -> str:
    """A check, and what it is about where its title does not say that.

    >>> named("circuit Horn", "Voltage drop by meter"), named("Charging", "charging"), named("", "NMEA 2000 network")
    ('circuit Horn, voltage drop by meter', 'charging', 'NMEA 2000 network')
    """
    if not about or about.casefold() == check.casefold():
        return check
    return f"{about}, {check[:1].lower() + check[1:] if check[1:2].islower() else check}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def counts(assessed: Iterable[Assessed]) -> Mapping[Verdict, int]:
    """How many findings came out each way."""
    verdicts = [one.finding.verdict for one in assessed]
    return {verdict: verdicts.count(verdict) for verdict in Verdict}


def _under(step_key: str, assessed: Sequence[Assessed]) -> tuple[Assessed, ...]:
    return tuple(one for one in assessed if one.step == step_key)


def _phase_of(outline: StepOutline) -> Phase:
    return outline.step.phase if outline.step else outline.found[0].phase


def date_in_words(text: str) -> str:
    """A date as people write it, "14 May 2026"; text that is no date stays as it is.

    >>> date_in_words("2026-05-14T16:20+02:00")
    '14 May 2026'
    """
    try:
        day = datetime.fromisoformat(text)
    except ValueError:
        return text
    return day_in_words(day)
