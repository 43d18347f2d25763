"""What the pages show, as plain values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import attrs

from garboard.findings import Figure, Finding, Table, Verdict
from garboard.fold import VESSEL, SlotKey
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.steps import Assessed, Kind, Phase, Step
from garboard_tablet.models.asks import Ask, asks_of_step, shown, table_rows
from garboard_tablet.models.session import Place
from garboard_tablet.models.tablet import DONE_STATES, Tablet

# A job


def phase_of(tablet: Tablet, hull: str, job: str) -> str:
    """The phase a job is in: that of its first step still to do, or handed over."""
    view = tablet.view(hull, job)
    if any(sign_off.role == "owner" and not sign_off.stale for sign_off in view.sign_offs):
        return "handed over"
    for step in tablet.host.steps:
        if view.state_of(step.key) not in DONE_STATES:
            return step.phase.value
    return Phase.HAND_OVER.value


@attrs.frozen
class StepLine:
    """One step in the list of a job."""

    step: Step
    state: str
    verdict: Verdict | None
    note: str


WORST_FIRST = (Verdict.FAIL, Verdict.ADVISE, Verdict.NOT_ENOUGH_DATA, Verdict.PASS)


def worst(findings: Sequence[Finding]) -> Verdict | None:
    """The verdict that matters most; None when nothing was found."""
    verdicts = {finding.verdict for finding in findings}
    return next((verdict for verdict in WORST_FIRST if verdict in verdicts), None)


def steps_by_phase(
    tablet: Tablet, hull: str, job: str, assessed: Sequence[Assessed]
) -> Iterator[tuple[Phase, list[StepLine]]]:
    """Steps of a job, phase by phase."""
    view = tablet.view(hull, job)
    for phase in Phase:
        lines = [_step_line(view, step, assessed) for step in tablet.host.steps if step.phase is phase]
        if lines:
            yield phase, lines


def _step_line(view: JobView, step: Step, assessed: Sequence[Assessed]) -> StepLine:
    findings = [one.finding for one in assessed if one.step == step.key]
    counted = [finding for finding in findings if finding.verdict is not Verdict.NOT_ENOUGH_DATA]
    reason = next((state.reason for state in reversed(view.steps) if state.step == step.key), "")
    return StepLine(step, view.state_of(step.key), worst(counted), reason)


def open_steps(tablet: Tablet, hull: str, job: str) -> tuple[Step, ...]:
    """Steps that are neither done nor not fitted."""
    view = tablet.view(hull, job)
    return tuple(step for step in tablet.host.steps if view.state_of(step.key) not in DONE_STATES)


# A step


@attrs.frozen
class ValueLine:
    """One value, or one row of a table, as listed under a step. `ask` is where tapping it leads."""

    title: str
    value: str
    ask: Ask
    state: str


def lines_of_step(tablet: Tablet, hull: str, job: str, asks: Sequence[Ask], titles: dict[str, str]) -> list[ValueLine]:
    """Asks with their values; those of one row of a table share a line.

    titles : title of each table by its name
    """
    lines: dict[tuple[str, str, str], list[Ask]] = {}
    for ask in asks:
        lines.setdefault(ask.line, []).append(ask)
    return [_value_line(tablet, hull, job, group, titles) for group in lines.values()]


def _value_line(tablet: Tablet, hull: str, job: str, group: list[Ask], titles: dict[str, str]) -> ValueLine:
    standing = [tablet.standing(hull, job, ask) for ask in group]
    values = [shown(found[0].value) if len(found) == 1 else "" for found in standing]
    first = next((ask for ask, found in zip(group, standing, strict=True) if not found), group[0])
    if any(len(found) > 1 for found in standing):
        first = next(ask for ask, found in zip(group, standing, strict=True) if len(found) > 1)
        state, text = "look again", "values disagree"
    else:
        have = sum(bool(found) for found in standing)
        state = "done" if have == len(group) else "under way" if have else "to do"
        text = " · ".join(value for value in values if value) or "open"
    table = group[0].table
    title = group[0].field.title if not table else titles.get(table, table)
    piece = f"row {group[0].row}" if group[0].row else group[0].of
    context = piece if table else group[0].context
    return ValueLine(f"{title}, {context}" if context else title, text, first, state)


def first_open(tablet: Tablet, hull: str, job: str, asks: Sequence[Ask], after: Ask | None = None) -> Ask | None:
    """The next value still to enter, after one."""
    start = 0 if after is None else next((i + 1 for i, ask in enumerate(asks) if ask.slot == after.slot), 0)
    return next((ask for ask in asks[start:] if not tablet.standing(hull, job, ask)), None)


def asks_here(tablet: Tablet, hull: str, job: str, step: Step, open_tables: tuple[str, ...] = ()) -> tuple[Ask, ...]:
    """The asks of a step in a job."""
    return asks_of_step(step, tablet.view(hull, job), open_tables=open_tables)


def is_further_row(tablet: Tablet, hull: str, job: str, step: Step, ask: Ask) -> bool:
    """Whether an ask begins a row that does not exist yet, after others that do."""
    table = next((field for field in step.fields if field.name == ask.table), None)
    if table is None or not ask.row:
        return False
    rows = table_rows(step, table, tablet.view(hull, job))
    return bool(rows) and ask.row not in rows


def figures_and_tables(assessed: Sequence[Assessed]) -> list[tuple[str, Figure | Table]]:
    """Every figure and table found, with whose it is."""
    found: list[tuple[str, Figure | Table]] = []
    for one in assessed:
        found.extend((one.title, figure) for figure in one.finding.figures)
        found.extend((one.title, table) for table in one.finding.tables)
    return found


# Hand over


@attrs.frozen
class PunchLine:
    """One thing to put right.

    subject : of the remark, where a person wrote it down
    step    : key of the step it belongs to
    field   : path of the vessel's field it is about
    """

    text: str
    settled: bool
    by: str
    subject: str = ""
    step: str = ""
    field: tuple[str, ...] = ()

    def target(self, place: Place) -> Place:
        """Where it is put right."""
        if self.field:
            return place.to("entry", "field", *self.field)
        return place.to("step", step=self.step) if self.step else place.to("punch list")


def punch_lines(tablet: Tablet, hull: str, job: str) -> list[PunchLine]:
    """Remarks on the punch list, open ones first."""
    slots = [(key, slot) for key, slot in tablet.fold(hull).slots.items() if key.job == ""]
    home = tablet.fold(hull, job)
    slots += [(key, slot) for key, slot in home.slots.items() if key.job == home.joined(job)]
    lines = []
    for key, slot in slots:
        if key.kind != "note":
            continue
        for entry in slot.standing:
            value = entry.value if isinstance(entry.value, dict) else {}
            if value.get("punch_list") is True:
                lines.append(
                    PunchLine(str(value.get("text")), value.get("settled") is True, entry.by, "/".join(key.subject))
                )
    return sorted(lines, key=lambda line: line.settled)


def what_is_missing(tablet: Tablet, hull: str, job: str, assessed: Sequence[Assessed]) -> list[PunchLine]:
    """What stands between the job and its hand over: steps, failures, disagreements, open remarks."""
    view = tablet.view(hull, job)
    missing = [
        PunchLine(f"{step.title}: {view.state_of(step.key)}", False, "", step=step.key)
        for step in open_steps(tablet, hull, job)
    ]
    failing = [
        PunchLine(one.finding.sentence, False, "", step=one.step)
        for one in assessed
        if one.finding.verdict is Verdict.FAIL
    ]
    disagreeing = [
        _disagreeing(place, [m.value for m in d.values], tablet.may_decide)
        for d in view.disagreements
        for place in [d.place]
    ]
    notes = [line for line in punch_lines(tablet, hull, job) if not line.settled]
    return [*disagreeing, *failing, *missing, *notes]


def _disagreeing(place: tuple[str, str, str, str], values: Sequence[JsonValue], may_decide: bool) -> PunchLine:
    step, name, row, of = place
    about = ", ".join(filter(None, (name.replace("_", " ").replace("/", " "), of, row and f"row {row}")))
    do = "Choose the right one." if may_decide else "Measure again, or leave it to the manager."
    text = f"{about}: {' against '.join(map(shown, values))}. {do}"
    if step == VESSEL:
        return PunchLine(text, False, "", field=tuple(name.split("/")))
    return PunchLine(text, False, "", step=step)


@attrs.frozen
class Covered:
    """What a sign-off written now covers.

    count : entries
    lines : all of them in words, those about one thing together
    """

    count: int
    lines: tuple[str, ...]


def coverage(tablet: Tablet, hull: str, job: str) -> Covered:
    """Exactly what a signature stands for: counted, and every value named."""
    state = tablet.fold(hull, job)
    ids = set(state.coverage(job))
    about: dict[str, list[str]] = {}
    count = 0
    for key in sorted(state.slots, key=lambda key: (_ORDER.get(key.kind, len(_ORDER)), key)):
        for entry in state.standing(key):
            if entry.id in ids:
                count += 1
                whom, what = _in_words(tablet, key, entry.value)
                about.setdefault(whom, []).append(what)
    return Covered(count, tuple(f"{whom}: {'; '.join(what)}." for whom, what in about.items()))


_ORDER = {"job": 0, "measure": 1, "step": 2, "note": 3, "field": 4}


def _in_words(tablet: Tablet, key: SlotKey, value: JsonValue) -> tuple[str, str]:
    """Whom or what a value is about, and what it says."""
    if key.kind == "measure" and len(key.subject) == 4:
        step_key, name, row, of = key.subject
        step = tablet.step(step_key)
        fields = {field.name: field.title for field in step.all_fields()} if step else {}
        where = ", ".join(filter(None, (fields.get(name, name), of, row and f"row {row}")))
        return (step.title if step else step_key), f"{where} {shown(value)}"
    if key.kind == "step" and isinstance(value, dict):
        step = tablet.step(key.subject[0])
        return f"Steps {value.get('state')}", step.title if step else key.subject[0]
    if key.kind == "note" and isinstance(value, dict):
        return "Notes", f"{value.get('text')}" + (" (put right)" if value.get("settled") else "")
    if key.kind == "field" and len(key.subject) > 2:
        kind, piece, *rest = key.subject
        return f"{kind.replace('_', ' ').capitalize()}, {piece}", f"{' '.join(rest).replace('_', ' ')} {shown(value)}"
    names = {"field": "Vessel", "job": "Job"}
    return names.get(key.kind, key.kind.capitalize()), f"{' '.join(key.subject).replace('_', ' ')} {shown(value)}"


def storage_used(folder: Path) -> int:
    """What the tablet's folder takes [bytes]."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def table_titles(step: Step) -> dict[str, str]:
    """Titles of a step's tables by name."""
    return {field.name: field.title for field in step.fields if field.kind is Kind.TABLE}
