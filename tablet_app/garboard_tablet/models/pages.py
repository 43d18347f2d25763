"""What the pages show, as plain values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, groupby
from pathlib import Path
from typing import Any

import attrs

from garboard.disk.clock import moment_in_words
from garboard.faults import in_number
from garboard.findings import Figure, Finding, Table, Verdict
from garboard.history.plans import SetAside, aside_in
from garboard.history.registers import VESSEL
from garboard.history.runs import file_of
from garboard.hosting.equipment import Kinds, none_aboard, piece_title
from garboard.job_view import FieldKey, JobView
from garboard.records import Measurement
from garboard.report.outline import is_handed_over, punch_list
from garboard.steps import Assessed, Kind, Phase, Step, is_open, state_shown
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask, asks_of_step, pieces, row_name, shown, shown_of
from garboard_tablet.models.drafts import NOT_SAVED, drafts, drafts_in_step
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import FAILS, HANDED_OVER, SET_ASIDE, Tablet

# A job


def phase_of(tablet: Tablet, hull: str, job: str) -> str:
    """The phase a job is in: that of its first step still to do, or handed over, or set aside by the shop."""
    view = tablet.view(hull, job)
    if is_handed_over(view):
        return HANDED_OVER
    if (aside := aside_of(tablet, hull, job)) is not None and aside.holds:
        return SET_ASIDE
    for step in tablet.host.steps:
        if is_open(view, step):
            return step.phase.value
    return Phase.HAND_OVER.value


def aside_of(tablet: Tablet, hull: str, job: str) -> SetAside | None:
    """That a manager set a job aside; None where nobody did."""
    return aside_in(tablet.state_of(hull, job), job)


@attrs.frozen
class StepLine:
    """One step in the list of a job.

    is_open : still to be done
    count   : how many of its findings have its verdict
    lacks   : why it does not apply; "" where it does
    """

    step: Step
    state: str
    verdict: Verdict | None
    note: str
    is_open: bool
    count: int = 1
    lacks: str = ""


WORST_FIRST = (Verdict.FAIL, Verdict.ADVISE, Verdict.NOT_ENOUGH_DATA, Verdict.PASS)


def about(finding: Finding) -> str:
    """What a finding is about, to stand before its sentence."""
    return f"{finding.about[:1].upper()}{finding.about[1:]}"


def what(finding: Finding) -> str:
    """What was found, in a word or two, from the finding's code: "too slow" of "plugin.topic.too_slow"."""
    return finding.code.rpartition(".")[2].replace("_", " ")


def worst(findings: Sequence[Finding]) -> Verdict | None:
    """The verdict that matters most; None when nothing was found."""
    verdicts = {finding.verdict for finding in findings}
    return next((verdict for verdict in WORST_FIRST if verdict in verdicts), None)


def ranked(tablet: Tablet, assessed: Sequence[Assessed]) -> tuple[Assessed, ...]:
    """What matters most first: what leads the step, where it asks for anything, then the worst verdicts."""
    leading = {calculator.key for calculator in tablet.host.calculators if calculator.leads}

    def order(one: Assessed) -> tuple[bool, int]:
        verdict = one.finding.verdict
        leads = one.calculator in leading and verdict in (Verdict.FAIL, Verdict.ADVISE)
        return not leads, WORST_FIRST.index(verdict)

    return tuple(sorted(assessed, key=order))


def why_subject(number: int, one: Assessed) -> tuple[str, ...]:
    """What the page that says why is about: told again when values, and so the order, have changed."""
    return str(number), one.calculator, one.finding.about, one.finding.verdict.value


def finding_at(subject: Sequence[str], found: Sequence[Assessed]) -> Assessed | None:
    """The finding a page that says why is about, as it is now; None when nothing is found of it any more."""
    number = int(subject[0])
    there = found[number] if number < len(found) else None
    if len(subject) < 3:
        return there
    same = [one for one in found if (one.calculator, one.finding.about) == tuple(subject[1:3])]
    return there if there in same else next(iter(same), None)


@attrs.frozen(kw_only=True)
class RestsOn:
    """A value a finding rests on.

    told   : who read it, when, and with what
    target : where it is changed
    doubt  : what contradicts it; "" where nothing does
    """

    title: str
    value: str
    told: str
    target: Route
    doubt: str = ""


def rests_on(tablet: Tablet, route: Route, finding: Finding) -> list[RestsOn]:
    """The values a finding rests on, each with where it is changed; last the piece of equipment it is about.

    What is in doubt comes first, then what was answered with no: it is the likeliest to be mended.
    """
    view = tablet.view(route.hull, route.job)
    doubts = {doubt.place: doubt.text for doubt in (*finding.doubts, *finding.doubted)}
    first, found = list[RestsOn](), list[RestsOn]()
    for step_key, field, row, of in finding.places:
        measured, step = view.find(step_key, field, row=row, of=of), tablet.step(step_key)
        if measured is not None and step is not None:
            title = ", ".join(filter(None, (*_names_of(step, view, field, row), of)))
            target = route.to("entry", "measure", step_key, field, row, of, step=step_key)
            takes = next((one.kind for one in step.all_fields() if one.name == field), None)
            if takes is Kind.RECORDING and (file := file_of(measured.value)):
                target = route.to("recordings", step_key, field, row, of, file, step=step_key)
            doubt = doubts.get((step_key, field, row, of), "")
            rests = RestsOn(
                title=title, value=shown(measured.value), told=who_when(measured), target=target, doubt=doubt
            )
            (first if doubt or measured.value is False else found).append(rests)
    first.sort(key=lambda one: not one.doubt)
    for kind in view.vessel.pieces:
        if finding.of in pieces(view.vessel, kind):
            title = piece_title(kind, finding.of, tablet.host.equipment)
            target = route.to("piece", kind, finding.of)
            found.append(RestsOn(title=f"{title[:1].upper()}{title[1:]}", value="", told="as entered", target=target))
    return [*first, *found]


def _names_of(step: Step, view: JobView, name: str, row: str) -> tuple[str, str]:
    """Title of a field, and what a person calls the row."""
    title = next((field.title for field in step.all_fields() if field.is_called(name)), name)
    table = next((field for field in step.fields if any(one.is_called(name) for one in field.columns)), None)
    return title, row_name(step, table, view, row) if table is not None and row else row


def who_when(one: Measurement) -> str:
    """Who stated a value, when, and with which instrument.

    >>> who_when(Measurement(step="a.b", field="c", value="1 V", by="Kim", at="2026-05-14T09:30:00+02:00"))
    'Kim, 14 May 2026, 09:30'
    """
    return ", ".join(filter(None, (one.by, moment_in_words(one.at), one.instrument)))


def steps_by_phase(
    tablet: Tablet, hull: str, job: str, assessed: Sequence[Assessed]
) -> Iterator[tuple[Phase, list[StepLine]]]:
    """Steps of a job, phase by phase."""
    view = tablet.view(hull, job)
    for phase in Phase:
        lines = [
            _step_line(
                view,
                step,
                assessed,
                len(drafts_in_step(tablet, Route(page="step", hull=hull, job=job), step)),
                tablet.host.equipment,
            )
            for step in tablet.host.steps
            if step.phase is phase
        ]
        if lines:
            yield phase, lines


def _step_line(view: JobView, step: Step, assessed: Sequence[Assessed], left: int, kinds: Kinds) -> StepLine:
    """left : how many values are typed in it and not saved"""
    findings = [one.finding for one in assessed if one.step == step.key]
    verdicts = [finding.verdict for finding in findings if finding.verdict is not Verdict.NOT_ENOUGH_DATA]
    reason = next((state.reason for state in reversed(view.steps) if state.step == step.key), "")
    unsaved = f"{in_number(left, 'value')} {NOT_SAVED}" if left else ""
    note = ". ".join(filter(None, (reason, unsaved)))
    verdict = next((one for one in WORST_FIRST if one in verdicts), None)
    count = sum(one is verdict for one in verdicts)
    lacks = none_aboard(view, step, kinds)
    return StepLine(step, state_shown(view, step), verdict, note, is_open(view, step), count, lacks)


def open_steps(tablet: Tablet, hull: str, job: str) -> tuple[Step, ...]:
    """Steps that are neither done nor not fitted, nor spared by another way that was done."""
    view = tablet.view(hull, job)
    return tuple(step for step in tablet.host.steps if is_open(view, step))


# A step


@attrs.frozen
class ValueLine:
    """One value, or one row of a table, as listed under a step.

    value : of a line that has one
    named : the values of a row of a table, each with its name
    ask   : where tapping it leads
    verdict : of what is found of this line alone; None where nothing has to be done about it
    typed : what is typed for it and not saved; it leads to that value
    """

    title: str
    value: str
    ask: Ask
    state: str
    named: str = ""
    verdict: Verdict | None = None
    typed: str = ""


def lines_of_step(
    tablet: Tablet,
    hull: str,
    job: str,
    asks: Sequence[Ask],
    titles: dict[str, str],
    findings: Sequence[Finding] = (),
) -> list[ValueLine]:
    """Asks with their values; those of one row of a table share a line.

    titles   : title of each table by its name
    findings : what is found in the step, for the mark of each line
    """
    lines: dict[tuple[str, str, str], list[Ask]] = {}
    for ask in asks:
        lines.setdefault(ask.line, []).append(ask)
    return [
        attrs.evolve(_value_line(tablet, hull, job, group, titles), verdict=_verdict_of(group, findings))
        for group in lines.values()
    ]


def fails_first(lines: Sequence[ValueLine]) -> list[ValueLine]:
    """Lines of a step with the rows that fail first in their table; everything else stays in its order."""
    tables = groupby(lines, key=lambda line: line.ask.table)
    sorted_tables = (
        sorted(rows, key=lambda line: bool(table) and line.verdict is not Verdict.FAIL) for table, rows in tables
    )
    return list(chain.from_iterable(sorted_tables))


def _verdict_of(group: Sequence[Ask], findings: Sequence[Finding]) -> Verdict | None:
    """The worst that is found of these values alone and asks for something: of their piece, or resting on no others."""
    if any(ask.key.kind != "measure" for ask in group):
        return None
    places, of = {ask.place for ask in group}, {ask.of for ask in group}
    own = [
        finding
        for finding in findings
        if finding.verdict in (Verdict.FAIL, Verdict.ADVISE)
        and (of == {finding.of} if finding.of else bool(finding.places) and places.issuperset(finding.places))
    ]
    return worst(own)


def _value_line(tablet: Tablet, hull: str, job: str, group: list[Ask], titles: dict[str, str]) -> ValueLine:
    current = [tablet.current(hull, job, ask) for ask in group]
    values = [
        shown_of(ask.field, found[0].value) if len(found) == 1 else ""
        for ask, found in zip(group, current, strict=True)
    ]
    first = next((ask for ask, found in zip(group, current, strict=True) if not found), group[0])
    if any(len(found) > 1 for found in current):
        first = next(ask for ask, found in zip(group, current, strict=True) if len(found) > 1)
        state, text = "look again", "values disagree"
    else:
        have = sum(bool(found) for found in current)
        state = "done" if have == len(group) else "under way" if have else "to do"
        text = (
            (values[0] if len(group) == 1 else phrase("{have} of {all}", have=have, all=len(group))) if have else "open"
        )
    drafted = drafts(tablet, Route(page="", hull=hull, job=job), group)
    first = drafted[0][0] if drafted and state != "look again" else first
    table = group[0].table
    title = group[0].field.title if not table else titles.get(table, table)
    context = group[0].context
    if table and group[0].row:  # the row has its own name, or its number; a piece of equipment does not name a row
        context = context.removeprefix(f"{group[0].of}, ")
    named = [(_name_in_row(ask), value) for ask, value in zip(group, values, strict=True) if value]
    in_title = (context, context.partition(", ")[2])
    named = [pair for pair in named if pair[1] not in in_title]
    return ValueLine(
        f"{title}, {context}" if context else title,
        text,
        first,
        state,
        in_a_row(named) if len(group) > 1 else "",
        typed=", ".join(typed for _, typed in drafted),
    )


MANY_YES = 3


def in_a_row(named: Sequence[tuple[str, str]]) -> str:
    """Values with their names; many that are simply in order are counted.

    >>> in_a_row([("Tight", "yes"), ("Current", "4.4 A"), ("Clear of chafe", "no")])
    'Tight: yes; Current: 4.4 A; Clear of chafe: no'
    >>> in_a_row([("Tight", "yes"), ("Current", "4.4 A"), ("Labelled", "yes"), ("Clear of chafe", "yes")])
    'Current: 4.4 A; 3 others: yes'
    """
    others = [f"{name}: {value}" for name, value in named if value != "yes"]
    count = len(named) - len(others)
    if count < MANY_YES:
        return "; ".join(f"{name}: {value}" for name, value in named)
    return "; ".join([*others, phrase("{count} others: yes", count=count) if others else "all yes"])


def _name_in_row(ask: Ask) -> str:
    return f"{ask.field.title}, {ask.of}" if ask.row and ask.of else ask.field.title


def asks_here(tablet: Tablet, hull: str, job: str, step: Step) -> tuple[Ask, ...]:
    """The asks of a step in a job."""
    return asks_of_step(step, tablet.view(hull, job))


def asks_aside(tablet: Tablet, hull: str, job: str, step: Step, table: str) -> tuple[Ask, ...]:
    """What may be said beside each row of a table, or with "" beside the values that are in none.

    A table that has nothing else always offers a further row.
    """
    fields = next((field.columns for field in step.fields if field.name == table), step.fields if not table else ())
    is_all = bool(table) and all(column.aside for column in fields)
    asks = asks_of_step(step, tablet.view(hull, job), open_tables=(table,) if is_all else (), aside=True)
    return tuple(ask for ask in asks if ask.field.aside and ask.table == table)


def figures_and_tables(assessed: Sequence[Assessed]) -> list[tuple[str, Figure | Table]]:
    """Every figure and table found, with whose it is."""
    found: list[tuple[str, Figure | Table]] = []
    for one in assessed:
        found.extend((one.title, figure) for figure in one.finding.figures)
        found.extend((one.title, table) for table in one.finding.tables)
    return found


# Hand over


@attrs.frozen(kw_only=True)
class PunchLine:
    """One thing to put right.

    about   : the circuit, engine or step it is about; nothing where the text says it
    text    : what is wrong and what to do
    why     : "fails", "values disagree", "in doubt", "cannot be read", "look again", "noted", "to do" or "asked"
    subject : of the remark, where a person wrote it down
    step    : key of the step it belongs to
    field   : path of the vessel's field it is about
    goes    : page, and what it is about, where it is put right
    details : further lines: who stated what, when, and with what
    """

    about: str = ""
    text: str
    why: str
    settled: bool = False
    by: str = ""
    subject: str = ""
    step: str = ""
    field: tuple[str, ...] = ()
    goes: tuple[str, ...] = ()
    details: tuple[str, ...] = ()

    def target(self, route: Route) -> Route:
        """Where it is put right."""
        if self.goes:
            page, *subject = self.goes
            return route.to(page, *subject, step=self.step)
        if self.field:
            return route.to("entry", "field", *self.field)
        return route.to("step", step=self.step) if self.step else route.to("punch list")


def punch_lines(tablet: Tablet, hull: str, job: str) -> list[PunchLine]:
    """Remarks on the punch list, open ones first."""
    registers = [(key, register) for key, register in tablet.state_of(hull).registers.items() if key.job == ""]
    home = tablet.state_of(hull, job)
    registers += [(key, register) for key, register in home.registers.items() if key.job == home.joined(job)]
    lines = []
    for key, register in registers:
        if key.kind != "note":
            continue
        for entry in register.current:
            value = entry.value if isinstance(entry.value, dict) else {}
            if value.get("punch_list") is True:
                text, settled = str(value.get("text")), value.get("settled") is True
                subject = "/".join(key.subject)
                lines.append(PunchLine(text=text, why="noted", settled=settled, by=entry.by, subject=subject))
    return sorted(lines, key=lambda line: line.settled)


def to_put_right(tablet: Tablet, hull: str, job: str, assessed: Sequence[Assessed]) -> list[PunchLine]:
    """The punch list as the book and the day sheet have it, each line with where it is put right."""
    view, route = tablet.view(hull, job), Route(page="job", hull=hull, job=job)
    remarks = {line.text: line for line in punch_lines(tablet, hull, job) if not line.settled}
    disagreeing = [_disagreeing(tablet, view, one.place, one.values) for one in view.disagreements]
    items = [one for one in punch_list(view, tablet.host, assessed) if one.why not in ("fails", "values disagree")]
    lines = [
        remarks.get(item.text) or PunchLine(text=item.text, why=item.why, by=item.about)
        if item.why == "noted"
        else PunchLine(about=item.about, text=item.text, why=item.why, step=item.step)
        for item in items
    ]
    failing = dict.fromkeys(_failing(tablet, route, assessed))
    return sorted([*failing, *disagreeing, *lines], key=lambda line: _ORDER.index(line.why))


def _failing(tablet: Tablet, route: Route, assessed: Sequence[Assessed]) -> Iterator[PunchLine]:
    """What fails, each with the way to its value, or to its values where it rests on several."""
    for step in dict.fromkeys(one.step for one in assessed):
        for number, one in enumerate(ranked(tablet, [other for other in assessed if other.step == step])):
            if one.finding.verdict is Verdict.FAIL:
                rests = rests_on(tablet, route, one.finding)
                goes = ("why", *why_subject(number, one))
                if len(rests) == 1:
                    step, goes = rests[0].target.step, (rests[0].target.page, *rests[0].target.subject)
                yield PunchLine(about=one.finding.about, text=one.finding.sentence, why="fails", step=step, goes=goes)


_ORDER = ("fails", "values disagree", "in doubt", "cannot be read", "look again", "noted")


NOT_ASSESSED = PunchLine(about="Findings", text="The findings for the newest entries are not ready yet.", why="to do")


def what_is_missing(tablet: Tablet, hull: str, job: str, assessed: Sequence[Assessed] | None) -> list[PunchLine]:
    """What stands between the job and its hand over: what has to be put right, and the steps still to do.

    assessed : None where it is not known what is found: no job is ready then
    """
    if assessed is None:
        return [*what_is_missing(tablet, hull, job, ()), NOT_ASSESSED]
    view = tablet.view(hull, job)
    put_right = to_put_right(tablet, hull, job, assessed)
    again = {line.step for line in put_right if line.why == "look again"}
    to_do = [
        PunchLine(about=step.title, text=view.state_of(step.key), why="to do", step=step.key)
        for step in open_steps(tablet, hull, job)
        if step.key not in again
    ]
    return [*put_right, *to_do]


def asked(tablet: Tablet, hull: str, job: str) -> list[PunchLine]:
    """What looks unusual and should be looked at again, and what nothing here reads. It holds up no hand over.

    Call it once the job is assessed: it looks at the dates of recordings, which are loaded then.
    """
    from garboard.hosting.unused import waiting_in_words
    from garboard.judging.assessing import questions

    view = tablet.view(hull, job)
    told = {one.place for one in view.disagreements}  # they are to be put right
    lines = [
        PunchLine(text=one.text, why="asked", **_way_to(tablet, view, one.place))
        for one in questions(view, tablet.host)
        if one.place is None or one.place not in told
    ]
    if (aside := aside_of(tablet, hull, job)) is not None and not is_handed_over(view):
        again = " What you enter opens the job again." if aside.holds else ""
        lines.append(PunchLine(text=f"{aside.in_words}{again}", why="asked"))
    for plugin in (*tablet.plugins_left_out(), *tablet.plugins_not_here()):
        text = phrase("Plugin {plugin} does not run here. Its checks are not judged.", plugin=plugin)
        lines.append(PunchLine(text=text, why="asked"))
    if lost := tablet.files.unread_of(tablet.boat(hull).hulls):
        text = phrase(
            "{entries} could not be read: the boat's file was damaged. Bring it ashore.",
            entries=in_number(lost, "entry", "entries"),
        )
        lines.append(PunchLine(text=text, why="asked"))
    if waiting := waiting_in_words(view, tablet.host):
        lines.append(
            PunchLine(text=phrase("{waiting}. What waits is kept, and not used.", waiting=waiting), why="asked")
        )
    return lines


def _way_to(tablet: Tablet, view: JobView, place: FieldKey | None) -> dict[str, Any]:
    """The page on which a measurement is looked at: its own, where it is asked for; else its step's."""
    step = tablet.step(place[0]) if place else None
    if place is None or step is None:
        return {"goes": ("equipment",)}
    is_asked = any(ask.place == place for ask in asks_of_step(step, view, aside=True))
    return {"step": step.key, "goes": ("entry", "measure", *place) if is_asked else ()}


def still_to_do(missing: Sequence[PunchLine]) -> str:
    """What is missing, counted.

    >>> still_to_do([PunchLine(text="", why="fails"), PunchLine(text="", why="to do"), PunchLine(text="", why="noted")])
    '1 check fails, 2 to do'
    """
    fails = sum(line.why == "fails" for line in missing)
    others = len(missing) - fails
    counted = [in_number(fails, *FAILS)] if fails else []
    return ", ".join([*counted, *([phrase("{others} to do", others=others)] if others else [])]) or "Nothing is missing"


def _disagreeing(
    tablet: Tablet, view: JobView, place: tuple[str, str, str, str], values: Sequence[Measurement]
) -> PunchLine:
    step_key, name, row, of = place
    do = "Choose the right one." if tablet.may_decide else "Measure again, or leave it to the manager."
    text = f"{' against '.join(shown(one.value) for one in values)}. {do}"
    details = tuple(f"{shown(one.value)}: {who_when(one)}" for one in values)
    if step_key == VESSEL:
        about = name.replace("_", " ").replace("/", " ")
        return PunchLine(text=f"{about}: {text}", why="values disagree", field=tuple(name.split("/")), details=details)
    step = tablet.step(step_key)
    title, row_is = _names_of(step, view, name, row) if step else (name, row)
    said = ", ".join(filter(None, (title, of, row_is)))
    is_field = step is not None and any(field.name == name for field in step.all_fields())
    return PunchLine(
        about=f"{step.title if step else step_key}: {said}",
        text=text,
        why="values disagree",
        step=step_key,
        goes=("entry", "measure", step_key, name, row, of) if is_field else (),
        details=details,
    )


def storage_used(folder: Path) -> int:
    """What the tablet's folder takes [bytes]."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def table_titles(step: Step) -> dict[str, str]:
    """Titles of a step's tables by name."""
    return {field.name: field.title for field in step.fields if field.kind is Kind.TABLE}
