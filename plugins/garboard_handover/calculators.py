"""Findings of the walk-through: what did not work, the pilot's steadiness, radio identities, the punch list."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import attrs

from garboard.cautions import FUEL_VAPOUR
from garboard.findings import (
    Axis,
    Band,
    Basis,
    BasisKind,
    Figure,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Verdict,
    in_full,
    rounded,
    rounded_beside,
    row_in_words,
)
from garboard.job_view import JobView, nothing_at, refuse_set_back
from garboard.record_types import frozen
from garboard.records import EQUIPMENT
from garboard.samples import Recording, Stream
from garboard.series import unwrapped
from garboard.steps import Calculator, Field, Kind, Step
from garboard_handover import steps
from garboard_handover.pilot import course_change_of, hold_of
from garboard_handover.witnesses import TURNED_APART, Witness, no_speed, see_that_it_is_under_way, steered_by, witnesses

IDENTITY = Basis(
    BasisKind.STANDARD,
    "ITU-R M.585-9 (2022), ship station identities: nine digits, the first from 2 to 7",
)
PILOT = Basis(
    BasisKind.COMMON_PRACTICE, "spread and overshoot a pilot is accepted with", "the pilot's manual comes first"
)
BORNE_OUT = Basis(
    BasisKind.COMMON_PRACTICE,
    "what a pilot's compass shows of a trial is borne out by another compass or by the course over ground",
    "a compass that is damped too much shows no weaving",
)
PUNCH = Basis(BasisKind.COMMON_PRACTICE, "no fault stays open at hand over; what was put right is tried again")
_LONGEST_FIGURE = 600
PUT_RIGHT, TRY_AGAIN = "put right", "try again"
_TO_DO = {PUT_RIGHT: "put it right, then try it again", TRY_AGAIN: "put right, try it again"}


def _check_of(step: Step) -> Calculator:
    def compute(view: JobView) -> Iterator[Finding]:
        if view.state_of(step.key) == "not fitted":
            return
        answers = list(_answers(view, step))
        if all(answer is None and place.lack is not Lack.DISAGREES for place, answer, _ in answers):
            text = "not tried yet; try it, or mark the step as not fitted"
            raise NotEnoughData(text, lack=Lack.NOT_TRIED, step=step.key)
        failed = [place.text for place, answer, _ in answers if answer is False and place.field not in steps.DANGERS]
        missing = tuple(
            place
            for place, answer, required in answers
            if answer is None and (required or place.lack is Lack.DISAGREES)
        )
        if step.key == steps.FUEL_SYSTEM:
            yield from _fuel_dangers(step, [place for place, answer, _ in answers if answer is False])
        if failed:
            yield Finding(
                code="handover.check.failed",
                verdict=Verdict.FAIL,
                about=step.title,
                sentence=f"Answered no: {'; '.join(failed)}. Put right and try again.",
                basis=(steps.WALK_THROUGH, steps.MAKERS),
            )
        if missing:
            yield Finding(
                code="handover.check.still_to_try",
                verdict=Verdict.NOT_ENOUGH_DATA,
                about=step.title,
                sentence=_still_to_do(missing),
                basis=(steps.WALK_THROUGH,),
                missing=missing,
            )
        if not missing and all(answer is not False for _, answer, _ in answers):
            tried = sum(answer is True for _, answer, _ in answers)
            points = "The one point is" if tried == 1 else f"{tried} of {tried} points"
            yield Finding(
                code="handover.check.in_order",
                verdict=Verdict.PASS,
                about=step.title,
                sentence=f"{points} tried and in order.",
                basis=(_basis_of(step), steps.MAKERS),
                numbers=(Number("points in order", tried, decimals=0),),
            )

    return Calculator(
        key=f"{step.key}.check",
        title=step.title,
        step=step.key,
        order=100,
        compute=compute,
        basis=(steps.WALK_THROUGH,),
    )


def _fuel_dangers(step: Step, answered_no: Sequence[Missing]) -> Iterator[Finding]:
    """Vapour and leaks that were found: what nobody may do comes before what is to be mended."""
    found = {place.field: place.text for place in answered_no if place.field in steps.DANGERS}
    if found.pop(steps.NO_VAPOUR, ""):
        yield Finding(
            code="handover.check.vapour_found",
            verdict=Verdict.FAIL,
            about=step.title,
            sentence=(
                "Vapour found: do not start or switch anything. No flame or spark, people off, open every hatch. "
                "Find and stop the leak, then try again."
            ),
            basis=(FUEL_VAPOUR.basis, steps.MAKERS),
        )
    if found:
        yield Finding(
            code="handover.check.fuel_leaks",
            verdict=Verdict.FAIL,
            about=step.title,
            sentence=(
                "Fuel leaks: do not start. No flame or spark, shut the fuel off, open every hatch. Find and stop the "
                f"leak, then try again. Answered no: {'; '.join(found.values())}."
            ),
            basis=(FUEL_VAPOUR.basis, steps.MAKERS),
        )


def _still_to_do(missing: Sequence[Missing]) -> str:
    to_try = "; ".join(place.text for place in missing if place.lack is not Lack.DISAGREES)
    to_choose = "; ".join(place.text for place in missing if place.lack is Lack.DISAGREES)
    parts = (
        f"Still to try: {to_try}." if to_try else "",
        f"Answers disagree, choose one: {to_choose}." if to_choose else "",
    )
    return " ".join(filter(None, parts))


def _basis_of(step: Step) -> Basis:
    return steps.LOCAL_LAW if step.key == steps.SAFETY_GEAR else steps.WALK_THROUGH


def _answers(view: JobView, step: Step) -> Iterator[tuple[Missing, bool | None, bool]]:
    """Every yes-or-no point of a step: its place with what it is called, the answer, and whether one is required."""
    for field in step.fields:
        if field.kind is Kind.YES_NO:
            for of in _pieces(view, field):
                value = view.value(step.key, field.name, of=of)
                name = f"{field.title} ({of})" if of else field.title
                place = attrs.evolve(nothing_at(view, step.key, field.name, of=of), text=name)
                yield place, value if isinstance(value, bool) else None, field.required
        elif field.kind is Kind.TABLE:
            yield from _table_answers(view, step, field)


def _table_answers(view: JobView, step: Step, table: Field) -> Iterator[tuple[Missing, bool | None, bool]]:
    """The answers of a table's rows. A row that names nothing is no point that was tried: its name is asked for.

    What is named twice counts once.
    """
    label, *points = table.columns
    in_order: set[tuple[str, str]] = set()
    for row in _rows(view, step.key):
        named = named_in(view, step.key, label.name, row)
        called = named or row_in_words(row)
        if not named:
            text = f"{label.title.lower()}, {row_in_words(row)}"
            yield attrs.evolve(nothing_at(view, step.key, label.name, row=row), text=text), None, True
        for point in points:
            if point.kind is Kind.YES_NO:
                value = view.value(step.key, point.name, row=row)
                counts = bool(named) and (named.casefold(), point.name) not in in_order
                if value is True and not counts:
                    continue
                if value is True:
                    in_order.add((named.casefold(), point.name))
                name = f"{called}: {point.title.lower()}"
                place = attrs.evolve(nothing_at(view, step.key, point.name, row=row), text=name)
                yield place, value if isinstance(value, bool) else None, point.required


def named_in(view: JobView, step: str, label: str, row: str) -> str:
    """What a row of a table names; "" where it names nothing, or its names disagree."""
    return " ".join(str(view.value(step, label, row=row) or "").split())


def _rows(view: JobView, step: str) -> tuple[str, ...]:
    """Every row of a step's table in which anything stands, also where it has no name or its values disagree."""
    disagreeing = [row for where, _, row, _ in (one.place for one in view.disagreements) if where == step and row]
    return tuple(dict.fromkeys([*view.rows(step), *disagreeing]))


def _pieces(view: JobView, field: Field) -> tuple[str, ...]:
    if not field.each:
        return ("",)
    return tuple(str(getattr(piece, EQUIPMENT[field.each])) for piece in getattr(view.vessel, field.each))


def _radio_identity(view: JobView) -> Iterator[Finding]:
    if view.state_of(steps.RADIO) == "not fitted":
        return
    asking = view.asking()
    licence = asking.choice(steps.RADIO, "licence_identity").strip()
    vhf = asking.choice(steps.RADIO, "vhf_identity").strip()
    aboard = nothing_at(view, steps.RADIO, "ais_identity")
    asking.need(aboard.lack is not Lack.DISAGREES, aboard)
    asking.check()
    ais = str(view.value(steps.RADIO, "ais_identity") or "").strip()
    faults = [
        f"{what} {identity!r} is not nine digits beginning with 2 to 7"
        for what, identity in (("licence", licence), ("VHF", vhf), ("AIS", ais))
        if identity and not re.fullmatch(r"[2-7][0-9]{8}", _digits(identity))
    ]
    faults += [
        f"{what} has {identity}, the licence {licence}"
        for what, identity in (("VHF", vhf), ("AIS", ais))
        if identity and _digits(identity) != _digits(licence)
    ]
    yield Finding(
        code="handover.radio_identity.faulty" if faults else "handover.radio_identity.one_identity",
        verdict=Verdict.FAIL if faults else Verdict.PASS,
        about="Radio identity",
        sentence=(
            f"{'; '.join(faults)}. Correct it before anyone relies on a distress call."
            if faults
            else "Radio and licence carry one identity."
        ),
        basis=(IDENTITY,),
    )


def _digits(identity: str) -> str:
    """An identity without the spaces, points and hyphens that people and displays set between its digits."""
    return re.sub(r"[\s.·\-\u2010-\u2015]", "", identity)


def _heading_hold(view: JobView) -> Iterator[Finding]:
    recording = _recording(view, "hold_recording")
    own = steered_by(view, recording, "hold_recording")
    heading = own.stream
    hold = hold_of(heading, view.setting_value("handover.hold_seconds", "s"))
    under_way = see_that_it_is_under_way(view, recording, "hold_recording")
    limit = view.setting_value("handover.hold_spread", "deg")
    within = 2 * hold.standard_deviation
    others = witnesses(view, recording, heading)
    code, verdict, advice = _hold_verdict(own, within, limit, others)
    if verdict is Verdict.PASS and not under_way:
        raise no_speed(recording, "hold_recording")
    yield Finding(
        code=code,
        verdict=verdict,
        about="Heading hold",
        sentence=f"Within ± {rounded_beside(within, [limit], 1, may_touch=within <= limit)} degrees of its mean for 95 "
        f"% of {rounded(hold.seconds)} s. {advice}",
        numbers=(
            Number(f"heading held, {heading.key.reference or 'as shown'}", hold.heading, "deg", decimals=0),
            Number("95 % within ±", within, "deg"),
            Number("furthest off", hold.furthest, "deg"),
            Number("slow change over the hold", hold.drift, "deg"),
            *(Number(f"95 % within ±, by {other.name}", other.within, "deg") for other in others),
        ),
        limits=(Limit("95 % within ±", high=limit),),
        basis=(PILOT, *([BORNE_OUT] if others else [])),
        figures=(_figure("Heading held", heading, Band("95 %", "y", -within, within), hold.heading),),
    )


_JUDGES = 2
"""So many others of one mind decide against one compass."""


def _hold_verdict(own: Witness, within: float, limit: float, others: Sequence[Witness]) -> tuple[str, Verdict, str]:
    """Code, verdict and advice on a hold by the pilot's own compass [deg], beside what else was heard of it."""
    steady = [other for other in others if other.within <= limit]
    weaving = [other for other in others if other.within > limit + within]  # seas alone may turn a course by a little
    if within > limit and len(steady) >= _JUDGES:
        advice = (
            f"That is by {own.name} alone; {_told(steady)}. The compass is unsteady, not the pilot: see to it, or say "
            "which one the pilot steers by."
        )
        return "handover.heading_hold.compass_unsteady", Verdict.ADVISE, advice
    if within > limit:
        advice = f"± {in_full(limit)} is the limit: tune the pilot's response, then hold again."
        return "handover.heading_hold.unsteady", Verdict.ADVISE, advice
    if weaving and not steady:
        advice = (
            f"That is by {own.name}; {_told(weaving)}. The boat was not held, or one of them is wrong: find out which, "
            "then hold again."
        )
        return "handover.heading_hold.not_borne_out", Verdict.ADVISE, advice
    return "handover.heading_hold.steady", Verdict.PASS, "Steady enough."


def _told(others: Sequence[Witness]) -> str:
    return ", ".join(f"{other.name} shows ± {rounded(other.within, 1)}" for other in others)


def _course_change(view: JobView) -> Iterator[Finding]:
    asking = view.asking()
    ordered = asking.amount(steps.AUTOPILOT, "ordered_change", "deg")
    asking.check()
    recording = _recording(view, "change_recording")
    own = steered_by(view, recording, "change_recording")
    heading = own.stream
    tolerance = view.setting_value("handover.settled_within", "deg")
    change = course_change_of(heading, ordered, tolerance)
    under_way = see_that_it_is_under_way(view, recording, "change_recording")
    others = witnesses(view, recording, heading)
    if others and all(abs(other.turned - change.turned) > TURNED_APART for other in others):
        yield _not_borne_out(own, change.turned, ordered, others)
        return
    if change.settled is None:
        yield _another_course(change.turned, ordered, tolerance, heading)
        return
    widest = view.setting_value("handover.overshoot", "deg")
    longest = view.setting_value("handover.settle_seconds", "s")
    overshoot = rounded_beside(change.overshoot, [widest], 1, may_touch=change.overshoot <= widest)
    settled = rounded_beside(change.settled, [longest], may_touch=change.settled <= longest)
    remarks = [
        *([f"overshoot {overshoot} degrees, limit {in_full(widest)}"] if change.overshoot > widest else []),
        *([f"settled after {settled} s, limit {in_full(longest)}"] if change.settled > longest else []),
    ]
    if not remarks and not under_way:
        raise no_speed(recording, "change_recording")
    yield Finding(
        code="handover.course_change.beyond_limits" if remarks else "handover.course_change.in_order",
        verdict=Verdict.ADVISE if remarks else Verdict.PASS,
        about="Course change",
        sentence=f"{_way(change.turned)}, {rounded(abs(ordered))} ordered, overshoot {overshoot} degrees, settled "
        f"within ± {in_full(tolerance)} degrees {settled} s after it was {in_full(tolerance)} degrees off the old "
        "course. " + (f"{'; '.join(remarks)}: tune the pilot, then try again." if remarks else "In order."),
        numbers=(
            Number("turned, starboard positive", change.turned, "deg"),
            Number("ordered", ordered, "deg", decimals=0),
            Number("overshoot", change.overshoot, "deg"),
            Number(f"time to settle within ± {in_full(tolerance)} deg", change.settled, "s", decimals=0),
        ),
        limits=(
            Limit("overshoot", high=widest),
            Limit(f"time to settle within ± {in_full(tolerance)} deg", high=longest),
        ),
        basis=(PILOT,),
        figures=(_figure("Course change", heading, None, heading.values[0]),),
    )


def _not_borne_out(own: Witness, turned: float, ordered: float, others: Sequence[Witness]) -> Finding:
    """A change that nothing else heard shows as the pilot's compass does. Nobody knows yet what the boat did."""
    told = "; ".join(f"by {other.name} {_way(other.turned)}" for other in others)
    return Finding(
        code="handover.course_change.not_borne_out",
        verdict=Verdict.ADVISE,
        about="Course change",
        sentence=f"{_way(turned)} by {own.name}, {told}. One of them is wrong: find out which, then try again.",
        numbers=(
            Number("turned, starboard positive", turned, "deg"),
            Number("ordered", ordered, "deg", decimals=0),
            *(Number(f"turned by {other.name}", other.turned, "deg") for other in others),
        ),
        basis=(PILOT, BORNE_OUT),
        figures=(_figure("Course change", own.stream, None, own.stream.values[0]),),
    )


def _another_course(turned: float, ordered: float, tolerance: float, heading: Stream) -> Finding:
    """A change that ended on another course than the one ordered. A little off is for the tuning, more is a fault."""
    wrong_way = turned * ordered < 0
    far = wrong_way or abs(turned - ordered) > 2 * tolerance
    see = "See whether the order is typed as it was given."
    said = f"{_way(turned)}, {_way(ordered)} ordered. {see}"
    cure = "put the pilot right" if far else "tune the pilot"
    sentence = f"Settled on another course: {said} If it is, {cure}, then try again."
    if wrong_way:
        sentence = f"Turned the wrong way: {said} If it is, the pilot steers backwards: put it right before it is used."
    name = "off the heading ordered"
    return Finding(
        code=f"handover.course_change.{'wrong_way' if wrong_way else 'another_course'}",
        verdict=Verdict.FAIL if far else Verdict.ADVISE,
        about="Course change",
        sentence=sentence,
        numbers=(
            Number("turned, starboard positive", turned, "deg"),
            Number("ordered", ordered, "deg", decimals=0),
            Number(name, abs(turned - ordered), "deg"),
        ),
        limits=(Limit(name, high=tolerance),),
        basis=(PILOT,),
        figures=(_figure("Course change", heading, None, heading.values[0]),),
    )


def _way(degrees: float) -> str:
    return f"{rounded(abs(degrees))} degrees to {'starboard' if degrees > 0 else 'port'}"


def _recording(view: JobView, field: str) -> Recording:
    recording = view.recording(steps.AUTOPILOT, field)
    if recording is None:
        if view.in_dispute(steps.AUTOPILOT, field):
            raise NotEnoughData(nothing_at(view, steps.AUTOPILOT, field))
        text = f"{field.replace('_', ' ')} is not here; record the heading while the pilot steers"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, step=steps.AUTOPILOT, field=field)
    refuse_set_back(recording, step=steps.AUTOPILOT, field=field)
    return recording


def _figure(title: str, heading: Stream, band: Band | None, origin: float) -> Figure:
    every = max(1, len(heading) // _LONGEST_FIGURE)
    run = unwrapped((origin, *heading.values))[1:]
    return Figure(
        title=title,
        x=Axis("Time", "s"),
        y=Axis("Off the first heading" if band is None else "Off the mean heading", "deg"),
        series=(
            Series(
                "heading",
                tuple(time - heading.times[0] for time in heading.times[::every]),
                tuple(angle - origin for angle in run[::every]),
                markers=False,
            ),
        ),
        bands=() if band is None else (band,),
    )


def _punch_list(view: JobView) -> Iterator[Finding]:
    """One finding for every open fault, or one that says nothing is open."""
    rows = _rows(view, steps.PUNCH_LIST)
    notes = [note for note in view.notes if note.punch_list]
    open_faults = [
        *(fault for row in rows for fault in _open_fault(view, row)),
        *(_OpenFault(_plain(note.text), PUT_RIGHT, note.by, note.text) for note in notes if not note.settled),
    ]
    for number, one in enumerate(open_faults):
        alike = [other for other, another in enumerate(open_faults) if another.fault == one.fault]
        which = f" ({alike.index(number) + 1} of {len(alike)} in these words, by {one.by or 'someone'})"
        yield Finding(
            code="handover.punch_list.not_put_right" if one.to_do == PUT_RIGHT else "handover.punch_list.try_again",
            verdict=Verdict.FAIL,
            about="Open fault",
            sentence=f"{one.fault}{which if len(alike) > 1 else ''}: {_TO_DO[one.to_do]}.",
            basis=(PUNCH,),
            notes=(one.note,) if one.note else (),
        )
    unnamed = [row for row in rows if not named_in(view, steps.PUNCH_LIST, "fault", row)]
    if unnamed and not open_faults:
        asked = tuple(
            attrs.evolve(
                nothing_at(view, steps.PUNCH_LIST, "fault", row=row), text=f"what was found, {row_in_words(row)}"
            )
            for row in unnamed
        )
        raise NotEnoughData(*asked)
    if not open_faults:
        named = {named_in(view, steps.PUNCH_LIST, "fault", row).casefold() for row in rows}
        settled = len(named) + len(notes)
        yield Finding(
            code="handover.punch_list.nothing_open",
            verdict=Verdict.PASS,
            about="Faults found",
            sentence=f"Nothing open; {settled} put right." if settled else "Nothing open.",
            basis=(PUNCH,),
        )


@frozen
class _OpenFault:
    """note : the text of the note it comes from; nothing for a row of the list"""

    fault: str
    to_do: str
    by: str
    note: str = ""


def _open_fault(view: JobView, row: str) -> Iterator[_OpenFault]:
    """A fault of the list and what is still to do about it; nothing when it was put right and tried again."""
    fault = (
        _plain(named_in(view, steps.PUNCH_LIST, "fault", row))
        or f"A fault ({row_in_words(row)}), whose text is not settled"
    )
    retested = str(view.value(steps.PUNCH_LIST, "retested_by", row=row) or "").strip()
    entered = view.find(steps.PUNCH_LIST, "fault", row=row)
    by = entered.by if entered else ""
    if view.value(steps.PUNCH_LIST, "put_right", row=row) is not True:
        yield _OpenFault(fault, PUT_RIGHT, by)
    elif not retested:
        yield _OpenFault(fault, TRY_AGAIN, by)


def _plain(text: str) -> str:
    return text.strip().rstrip(".") or text.strip()


CALCULATORS = (
    *(_check_of(step) for step in steps.STEPS if step.key != steps.PUNCH_LIST),
    Calculator(
        key="handover.radio_identity",
        title="Radio identity",
        step=steps.RADIO,
        order=200,
        compute=_radio_identity,
        basis=(IDENTITY,),
    ),
    Calculator(
        key="handover.heading_hold",
        title="Autopilot: heading hold",
        step=steps.AUTOPILOT,
        order=200,
        compute=_heading_hold,
        basis=(PILOT,),
        applies=lambda view: view.state_of(steps.AUTOPILOT) != "not fitted",
    ),
    Calculator(
        key="handover.course_change",
        title="Autopilot: course change",
        step=steps.AUTOPILOT,
        order=300,
        compute=_course_change,
        basis=(PILOT,),
        applies=lambda view: view.state_of(steps.AUTOPILOT) != "not fitted",
    ),
    Calculator(
        key="handover.punch_list",
        title="Faults found",
        step=steps.PUNCH_LIST,
        compute=_punch_list,
        basis=(PUNCH,),
        applies=lambda view: bool(
            _rows(view, steps.PUNCH_LIST)
            or any(note.punch_list for note in view.notes)
            or view.state_of(steps.PUNCH_LIST) != "to do"
        ),
    ),
)
