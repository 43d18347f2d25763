"""The Record, the second part of the handover book: all that was checked and measured, in numbered clauses.

Nothing is printed twice: what a clause told already is referred to by its number.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from itertools import groupby
from typing import Any

import attrs

from garboard import hull_number
from garboard.disk.clock import clock_mark
from garboard.faults import in_number
from garboard.findings import Basis, Figure, Finding, Number, Table, Verdict
from garboard.history.proof import Proof, Revision, in_groups
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import name_in_words, names_in_words, place_in_words, title_of
from garboard.hosting.unused import not_used
from garboard.job_files.job_file import ATTACHED
from garboard.job_view import FieldKey, JobView
from garboard.owner_pages import CARE, PUNCH_LIST, SIGNATURES, card_of, key_of, number_of, page_of
from garboard.records import SIGN_AT_HAND_OVER, JsonValue, Measurement, SignOff
from garboard.report.blocks import Block as Part
from garboard.report.blocks import (
    big_number,
    facts,
    figure,
    listed,
    signature,
    table,
    to_sign,
    words,
)
from garboard.report.drawn_signatures import DrawnSignatures, drawing_of
from garboard.report.equipment import equipment_tables, vessel_facts
from garboard.report.outline import (
    MOST_NAMED,
    HandOver,
    StepOutline,
    alike_together,
    by_phase,
    cautions,
    date_in_words,
    hand_over,
    nothing_to_put_right,
    numbered_bases,
    punch_list,
    references,
    result_of,
)
from garboard.report.palette import STEP_MARKS
from garboard.report.photo_blocks import PhotoFiles, photos_of_step
from garboard.report.photos import is_recording
from garboard.report.printed import NO_BREAK, as_printed
from garboard.report.settings_used import FROM_MEMORY, settings_in_words
from garboard.report.trials import Trial, table_of_trials, trials_of, which_stays
from garboard.settings import SettingSet, SettingUsed
from garboard.steps import Assessed, Block, Caution, ReportSection

Sections = Sequence[tuple[ReportSection, Sequence[Block]]]
_MOST_ON_A_PAGE = 30
_NAMES = ("Hull number", "Name", "Maker", "Model")
"""Facts that are printed as somebody wrote them."""
_LONGEST_WHOLE = 900
"""A row of more letters may break over two pages."""
_FOR_THE_OWNER = (FROM_MEMORY, "by common practice)")
"""Some choices of settings are called so in entries of shops that chose them; an owner reads what such a rule is."""
_OTHER_CHECKS = "Other checks"
_AS_ONE_RUN = 9
"""From so many findings on that follow one another, the first and the last are referred to."""


@attrs.define
class _Printed:
    """What already stands in the Record, so that nothing is printed twice.

    numbers  : of bases
    cards    : titles of tables that are cards in Your boat
    """

    numbers: Mapping[Basis, int]
    cards: frozenset[str]
    aboard: str
    figures: set[Figure] = attrs.field(factory=set)
    tables: set[Table] = attrs.field(factory=set)
    _findings: dict[tuple[str, ...], str] = attrs.field(factory=dict)

    def add(self, finding: Finding, number: str) -> None:
        self._findings[_what_it_says(finding)] = number

    def number_of(self, finding: Finding) -> str:
        """The number a finding stands under, or one that says the same; "" for none."""
        return self._findings.get(_what_it_says(finding), "")


def _what_it_says(finding: Finding) -> tuple[str, ...]:
    """A section may have named its numbers in other words: it is the same finding nevertheless."""
    return finding.code, finding.verdict.value, finding.about, finding.of, finding.sentence


@attrs.define
class _Clause:
    """A numbered clause, with what was numbered in it so far."""

    number: int
    printed: _Printed
    _findings: int = 0
    _tables: int = 0
    _figures: int = 0

    def rows(self, found: Iterable[Finding], under: str = "") -> list[Part]:
        """Findings as rows: number, verdict, what it is about unless the step says that already, result, basis."""
        return [self._row(finding, under) for finding in found]

    def _row(self, finding: Finding, under: str) -> Part:
        self._findings += 1
        number = f"{self.number}.{self._findings}"
        self.printed.add(finding, number)
        said = as_printed(result_of(finding))
        numbers = "" if finding.verdict is Verdict.PASS else "; ".join(_not_told(finding.numbers, said))
        return {
            "number": number,
            "key": key_of(number),
            "mark": finding.verdict.value,
            "about": "" if finding.about == under else finding.about,
            "said": said,
            "numbers": numbers,
            "long": len(said) + len(numbers) + len(finding.about) > _LONGEST_WHOLE,
            "loud": finding.verdict is Verdict.FAIL,
            "bases": f"[{references(finding.basis, self.printed.numbers).removeprefix('basis ')}]",
        }

    def table(self, one: Table) -> Iterator[Part]:
        """A table with its number; nothing where it stands already. A card in Your boat is only named."""
        if one in self.printed.tables:
            return
        self.printed.tables.add(one)
        if one.title in self.printed.cards:
            yield words(f"See {card_of(one.title)}.", "small", leads=True)
        elif one.card:
            yield table(one.title, one.headings, one.rows, note=self.printed.aboard)
        else:
            yield table(self.caption(one.title), *_without_empty_columns(one))

    def caption(self, title: str) -> str:
        self._tables += 1
        return f"Table {self.number}.{self._tables}  {title}".rstrip()

    def figures(self, finding: Finding) -> Iterator[Part]:
        for one in finding.figures:
            yield from self.figure(one)

    def figure(self, one: Figure) -> Iterator[Part]:
        if one not in self.printed.figures:
            self.printed.figures.add(one)
            self._figures += 1
            yield figure(attrs.evolve(one, title=f"Figure {self.number}.{self._figures}  {one.title}"))


def _not_told(numbers: Iterable[Number], said: str) -> Iterator[str]:
    """The numbers that a sentence does not name with their "±" already; of what it names the sign is in its words."""
    for one in numbers:
        digits = re.escape(as_printed(str(one).removesuffix(one.unit)).strip().lstrip("\u2212+"))
        if not re.search(rf"(?<![\d.,]){digits}(?![\d.,]*\d)", said):
            yield as_printed(f"{one.name} {one}")


def _without_empty_columns(one: Table) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """Heads and rows without the columns in which nothing stands."""
    kept = [place for place in range(len(one.headings)) if not one.rows or any(row[place].strip() for row in one.rows)]
    return [one.headings[place] for place in kept], [[row[place] for place in kept] for row in one.rows]


def record_clauses(
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    sections: Sections,
    photos: PhotoFiles,
    proof: Proof | None,
    aboard: str,
    drawn: DrawnSignatures,
    cards: Iterable[str] = (),
) -> list[dict[str, Any]]:
    """The clauses, numbered from 1; those that have nothing to say are left out.

    sections : those of the Record, built
    aboard   : names the boat on a card
    drawn    : gives the strokes of signatures
    cards    : titles of the cards in Your boat
    """
    findings = [block for _, blocks in sections for block in blocks if isinstance(block, Finding)]
    findings += [one.finding for one in assessed]
    numbers = numbered_bases(findings, before=[caution.basis for caution in cautions(view, host)])
    printed = _Printed(numbers, frozenset(cards), aboard)
    found: list[dict[str, Any]] = []

    def add(title: str, build: Any, *, with_clause: bool = True) -> None:
        clause = _Clause(len(found) + 1, printed)
        if blocks := [*(build(clause) if with_clause else build())]:
            found.append({"number": f"{clause.number}", "title": title, "key": key_of(title), "blocks": blocks})

    add("Cautions", lambda: _cautions(cautions(view, host), printed), with_clause=False)
    add("Vessel and equipment", lambda clause: _vessel(view, clause, host))
    for title, built, steps in _topics(view, host, assessed, sections):
        add(title, lambda clause, built=built, steps=steps: _topic(clause, view, host, built, steps, photos))
    add("What was tried", lambda clause: _tried(trials_of(view, host), clause))
    add("Readings not used", lambda: _not_used(view, host), with_clause=False)
    add(PUNCH_LIST, lambda: _punch_list(view, host, assessed, printed), with_clause=False)
    state = hand_over(view, assessed, punch_list(view, host, assessed))
    signatures = partial(_signatures, view, host, state, drawn, has_entries=proof is not None)
    add(SIGNATURES, signatures, with_clause=False)
    add("Revisions and files", lambda clause: _revisions(view, host, proof, photos.not_shown, clause))
    add("What this book rests on", lambda: _bases(printed), with_clause=False)
    return found


def _topics(
    view: JobView, host: PluginHost, assessed: Sequence[Assessed], sections: Sections
) -> Iterator[tuple[str, Sequence[Block], Sequence[StepOutline]]]:
    """Title, blocks and steps of each clause about what was checked: a section with its plugin's steps."""
    steps = [step for phase in by_phase(view, host, assessed) for step in phase.steps]
    plugin_of = {section.key: host.owner_of("register_report_sections", section.key) for section, _ in sections}
    named = {key: section.key for section, _ in sections for key in section.steps}
    first: dict[str, str] = {}
    for section, _ in sections:
        first.setdefault(plugin_of[section.key], section.key)
    homes: dict[str, list[StepOutline]] = {}
    titles = {section.key: section.title for section, _ in sections}
    for step in steps:
        plugin = host.owner_of("register_steps", step.step.key) if step.step is not None else ""
        home = named.get(step.step.key if step.step else "") or first.get(plugin) or _OTHER_CHECKS
        homes.setdefault(home, []).append(step)
    for section, blocks in sections:
        yield titles[section.key], blocks, homes.get(section.key, [])
    if _OTHER_CHECKS in homes:
        yield _OTHER_CHECKS, (), homes[_OTHER_CHECKS]


def _topic(
    clause: _Clause,
    view: JobView,
    host: PluginHost,
    blocks: Sequence[Block],
    steps: Sequence[StepOutline],
    photos: PhotoFiles,
) -> Iterator[Part]:
    yield from _section(blocks, clause)
    yield from _checks(clause, view, host, steps, photos)
    found = [one.finding for step in steps for one in step.found]
    yield from _workings(found, clause)


def _cautions(found: Sequence[Caution], printed: _Printed) -> Iterator[Part]:
    if not found:
        return
    yield words(
        "These held while the vessel was checked, and they hold for whoever works on it or runs it. "
        "Local rules, the makers' manuals and licensed practice come first.",
        "small",
        leads=len(found) <= _MOST_ON_A_PAGE,
    )
    yield listed(
        (
            (f"{place}", f"{caution.text} ({references([caution.basis], printed.numbers).replace(' ', NO_BREAK)})")
            for place, caution in enumerate(found, 1)
        ),
        size="small",
        whole=len(found) <= _MOST_ON_A_PAGE,
    )


def _vessel(view: JobView, clause: _Clause, host: PluginHost) -> Iterator[Part]:
    yield facts((label, value if label in _NAMES else as_printed(value)) for label, value in vessel_facts(view.vessel))
    for one in equipment_tables(view.vessel, host.equipment):
        yield table(clause.caption(one.title), one.headings, one.rows)


def _section(blocks: Sequence[Block], clause: _Clause) -> Iterator[Part]:
    waiting: list[Finding] = []
    for place, block in enumerate(blocks):
        if waiting and not isinstance(block, Finding):
            yield from _told(waiting, clause)
            waiting = []
        if isinstance(block, str):
            leads = place + 1 < len(blocks) and not isinstance(blocks[place + 1], str)
            yield words(as_printed(block), "small", leads=leads)
        elif isinstance(block, Table):
            yield from clause.table(block)
        elif isinstance(block, Figure):
            yield from clause.figure(block)
        elif isinstance(block, Number):
            yield big_number(str(block), block.name)
        elif isinstance(block, Finding) and not clause.printed.number_of(block):
            waiting.append(block)
    if waiting:
        yield from _told(waiting, clause)


def _checked(groups: Sequence[Part]) -> Part:
    """Findings under their steps."""
    return {"kind": "checks", "groups": groups}


def _told(found: Sequence[Finding], clause: _Clause) -> Iterator[Part]:
    group = {"title": "", "state": "", "rows": clause.rows(found), "told": "", "notes": [], "photos": []}
    yield _checked([group])
    for finding in found:
        yield from clause.figures(finding)


def _tried(trials: Sequence[Trial], clause: _Clause) -> Iterator[Part]:
    """The propellers that were tried, side by side; nothing where only one was."""
    if trials:
        told_first = "Each propeller was judged by its own runs alone. The one that stays is on the boat now."
        yield from _section((told_first, table_of_trials(trials), *which_stays(trials)), clause)


def _checks(
    clause: _Clause, view: JobView, host: PluginHost, steps: Sequence[StepOutline], photos: PhotoFiles
) -> Iterator[Part]:
    """Every check, a row each, under its step; its photos below its rows, its figures below the table."""
    groups: list[Part] = []
    for step in steps:
        pictures = photos_of_step(view, host, step, photos)
        if not step.found and not pictures and not step.said:
            continue
        told = {number for one in step.found if (number := clause.printed.number_of(one.finding))}
        left = alike_together(one.finding for one in step.found if not clause.printed.number_of(one.finding))
        groups.append(
            {
                "title": step.title,
                "state": step.state,
                "rows": clause.rows(left, step.title),
                "told": f"See {'; '.join(_runs(told))}." if told else "",
                "notes": [*step.said, *map(as_printed, settings_in_words(map(_as_practice, step.found)))],
                "photos": pictures,
            }
        )
        beside = [part for finding in left if finding.verdict is not Verdict.PASS for part in clause.figures(finding)]
        if beside:
            yield _checked(groups)
            yield from beside
            groups = []
    if groups:
        yield _checked(groups)
    yield from _without_findings(steps)


def _in_order(number: str) -> list[int]:
    """The order of numbers such as "4.10" on paper."""
    return [int(part) for part in number.split(".")]


def _runs(numbers: Iterable[str]) -> Iterator[str]:
    """Findings by their numbers, each with its page; of many that follow one another the first and the last."""
    of_run = enumerate(sorted(numbers, key=_in_order))
    for _, pairs in groupby(of_run, key=lambda pair: (*_in_order(pair[1])[:-1], _in_order(pair[1])[-1] - pair[0])):
        run = [_with_page(number) for _, number in pairs]
        yield from run if len(run) < _AS_ONE_RUN else [f"{run[0]}, to {run[-1]}"]


def _without_findings(steps: Sequence[StepOutline]) -> Iterator[Part]:
    """Steps about which nothing was found, by how far they are."""
    for state in STEP_MARKS:
        titles = [step.title for step in steps if not step.found and step.state == state]
        if titles:
            yield words(f"{state.capitalize()}, nothing to judge: {'; '.join(titles)}.", "small", colour="quiet")


def _not_used(view: JobView, host: PluginHost) -> Iterator[Part]:
    """Readings of equipment the boat does not have: no check above rests on them."""
    for one in not_used(view, host):
        yield words(as_printed(f"{title_of(one.step, host)}. {one.in_words}"), "small")


def _workings(findings: Sequence[Finding], clause: _Clause) -> Iterator[Part]:
    """Tables that no section shows. One without a number says no more than its line does."""
    tables = [one for finding in findings for one in finding.tables if one not in clause.printed.tables]
    for one in dict.fromkeys(tables):
        if _has_numbers(one):
            yield from clause.table(one)


def _has_numbers(one: Table) -> bool:
    return any(character.isdigit() for row in one.rows for cell in row[1:] for character in cell)


def _punch_list(view: JobView, host: PluginHost, assessed: Sequence[Assessed], printed: _Printed) -> Iterator[Part]:
    items = punch_list(view, host, assessed)
    if not items:
        yield words(nothing_to_put_right(assessed), "small")
        return
    where = {one.finding.sentence: number for one in assessed if (number := printed.number_of(one.finding))}
    about = (f"{one.about}: " if one.about else "" for one in items)
    told = (f"{a}{one.text} ({_why(one.why, where.get(one.text))})" for a, one in zip(about, items, strict=True))
    yield listed(((f"{number}", as_printed(text)) for number, text in enumerate(told, start=1)), size="small")


def _why(why: str, number: str | None) -> str:
    return f"{why}, {_with_page(number)}" if number else why


def _with_page(number: str) -> str:
    """A finding's number, with its page."""
    return f"{number}, {number_of(number)}"


def handed_over_or_not(state: HandOver) -> Iterator[Part]:
    """Whether the boat was handed over, and what is open."""
    lacking = "; ".join(one for one in state.lacking if one not in state.unsigned)
    if not state.is_done:
        yield words("DRAFT: NOT YET HANDED OVER", "body", bold=True, colour="fail")
        yield words(f"This is a draft because {' and '.join(state.unsigned)}.", "body")
        if lacking:
            yield words(f"Open besides: {lacking}.", "body")
    else:
        told = state.words if state.points or not lacking else f"{state.words} with this open"
        yield words(f"{told[:1].upper()}{told[1:]}{f': {lacking}' if lacking else ''}.", "body", bold=True)


def _signatures(
    view: JobView, host: PluginHost, state: HandOver, drawn: DrawnSignatures, *, has_entries: bool
) -> Iterator[Part]:
    vessel, job = view.vessel, view.job
    number = f"hull number {hull_number.printed(vessel.hull_number)}"
    named = f"{vessel.name}, {number}" if vessel.name else number
    work = f" after {job.kind}" if job.kind else ""
    if not state.is_done:
        yield from handed_over_or_not(state)
    yield words(
        f"{'Handed over' if state.is_done else 'To be handed over'}{work}: {named}. Each signature says that its "
        "writer has seen this book: what was checked and measured, what is still open on the punch list, and the "
        "cautions.",
        "small",
        leads=True,
    )
    if any(sign_off.stale for sign_off in view.sign_offs):
        yield words(
            "Something was changed after a signature below. That signature does not cover the change: sign again.",
            "small",
            bold=True,
            colour="fail",
        )
    for role in ("technician", "manager", "owner"):
        signed = [sign_off for sign_off in view.sign_offs if sign_off.role == role]
        if state.is_done and not signed and role not in SIGN_AT_HAND_OVER:
            continue  # nothing waits for it
        for sign_off in signed:
            if sign_off.at or sign_off.stale:
                missed = [name_in_words(name, host, view) for name in sign_off.not_covered]
                covers = _what_it_covers(sign_off, view, has_entries=has_entries)
                yield _signature(sign_off, missed, (covers, *_worth_knowing(sign_off, view)), drawn)
        if not any(one.at and not one.stale for one in signed):
            name = next((one.name for one in signed), view.job.owner if role == "owner" else "")
            yield to_sign(", ".join(filter(None, (role.capitalize(), name, "signature and date"))))


_COVERS = "It covers all that was entered in this job until then. Nothing was changed since."
_CLOCKS_DIFFER = "By the clocks of the tablets it was given before the rest: {} a later time."


def _worth_knowing(sign_off: SignOff, view: JobView) -> Iterator[str]:
    """What somebody who reads a signature would ask about it: whose name it is, and where clocks contradict it."""
    others = [one.role for one in view.sign_offs if one.role != sign_off.role and _same(one.name, sign_off.name)]
    if others:
        yield f"The same name stands for the {' and the '.join(dict.fromkeys(others))}."
    if sign_off.role == "owner" and view.job.owner.strip() and not _same(view.job.owner, sign_off.name):
        yield f"The owner of the job is entered as {view.job.owner}."


def _same(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _later(sign_off: SignOff, view: JobView) -> int:
    """How many values say that they were entered after a signature."""
    signed = _moment(sign_off.at)
    moments = map(_moment, (one.at for one in view.measurements))
    return sum(one > signed for one in moments if one) if signed else 0


def _moment(at: str) -> datetime | None:
    """A wall time with its zone; None for a day alone, and for what is no time."""
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        return None
    return moment if moment.tzinfo else None


def _what_it_covers(sign_off: SignOff, view: JobView, *, has_entries: bool) -> str:
    if sign_off.stale:
        return "It covers what was entered until then."
    if later := _later(sign_off, view):
        return _CLOCKS_DIFFER.format(f"{in_number(later, 'value')} {'has' if later == 1 else 'have'}")
    return _COVERS if has_entries else "The job file does not tell which entries it covers."


def _signature(sign_off: SignOff, not_covered: Sequence[str], told: Iterable[str], drawn: DrawnSignatures) -> Part:
    """Who signed on screen and when, as drawn, what it covers, and what was changed after it."""
    on = f"{date_in_words(sign_off.at)}{clock_mark(sign_off.at)}" if sign_off.at else "no date entered"
    signed = f"signed on screen, {on}"
    line = ", ".join(filter(None, (sign_off.role.capitalize(), sign_off.name, signed)))
    further = len(not_covered) - MOST_NAMED
    more = f"; and {further} more" if further > 0 else ""
    lacks = f" Not covered: {'; '.join(not_covered[:MOST_NAMED])}{more}." if not_covered else ""
    stale = f"Stale: signed before later changes. Sign again.{lacks}" if sign_off.stale else ""
    strokes = drawn.of(sign_off)
    lost = " Its drawing is not here whole." if strokes is None and drawing_of(sign_off) else ""
    return signature(line, f"{' '.join(told)}{lost}", stale, drawn=strokes)


def _revisions(
    view: JobView, host: PluginHost, proof: Proof | None, not_shown: Mapping[FieldKey, str], clause: _Clause
) -> Iterator[Part]:
    """What proves this book, and what it is a revision of; then the files that stay with the shop."""
    if proof is None:
        yield words(
            "This book was made of a job file. No folder of entries stands behind it: it states no root, and nothing "
            "can be checked against it.",
            "small",
        )
    else:
        rows = [_revision(one, host) for one in proof.revisions]
        yield table(clause.caption("Revisions"), ("No.", "Date", "What changed", "Signed", "Root"), rows)
        yield words(
            f"The root is worked out from the {in_number(len(proof.hashes), 'entry', 'entries')} behind this book. "
            f"One entry more, less or "
            "changed gives another root. The shop keeps the root with the file's own hash; its command "
            "\u201cgarboard verify\u201d compares this file, the entries and the figures with both. The job and the "
            f"list of entries are attached to this file. The root stands as a code on {page_of(CARE)}.",
            "small",
        )
    if files := _files(view, host, not_shown):
        heads = ("Belongs to", "File kept by the shop", "By", "Day")
        yield table(clause.caption("Files"), heads, files)


def _revision(one: Revision, host: PluginHost) -> tuple[str, ...]:
    number, entries = f"{one.number}", in_number(one.entries, "entry", "entries")
    if one.is_draft:
        number, changed = "draft", f"a draft of {entries}; no revision yet"
    elif one.number == 1:
        changed = f"first issued, {entries}"
    elif one.names is None:
        changed = f"now {entries}"
    else:
        changed = names_in_words(one.names, host)
    signed = ", ".join(one.signed) or "nobody"
    return number, date_in_words(one.date), changed, signed, in_groups(one.root[:12])


def _files(view: JobView, host: PluginHost, not_shown: Mapping[FieldKey, str]) -> list[tuple[str, ...]]:
    """Photos, and what else was attached, by name: they stay with the shop. Of recordings the checks tell.

    not_shown : those a page of this book should show, and why it does not
    """

    def named(one: Measurement, value: Mapping[str, JsonValue]) -> str:
        why = not_shown.get((one.step, one.field, one.row, one.of), "")
        return f"{value.get('name') or value['file']}{f' (not shown: {why})' if why else ''}"

    return [
        (
            place_in_words((one.step, one.field, "" if one.field == ATTACHED else one.row, one.of), host),
            named(one, one.value),
            one.by,
            date_in_words(one.at[:10]) + clock_mark(one.at),
        )
        for one in view.measurements
        if isinstance(one.value, dict) and "file" in one.value and not is_recording(one, host)
    ]


def _bases(printed: _Printed) -> Iterator[Part]:
    yield {
        "kind": "bases",
        "items": [[f"{number}", as_printed(str(basis))] for basis, number in printed.numbers.items()],
    }


def _as_practice(one: Assessed) -> Assessed:
    """A finding whose settings name no memory: to an owner, a choice kept from memory is common practice."""
    return attrs.evolve(one, settings_used=tuple(map(_setting_as_practice, one.settings_used)))


def _setting_as_practice(used: SettingUsed) -> SettingUsed:
    return attrs.evolve(
        used,
        value=_choice_as_practice(used.value),
        default=_choice_as_practice(used.default),
        set=_stated_as_practice(used.set),
        shop_now=_stated_as_practice(used.shop_now),
        not_used=_stated_as_practice(used.not_used),
    )


def _stated_as_practice(stated: Sequence[SettingSet]) -> tuple[SettingSet, ...]:
    return tuple(attrs.evolve(one, value=_choice_as_practice(one.value)) for one in stated)


def _choice_as_practice(value: JsonValue) -> JsonValue:
    return value.replace(*_FOR_THE_OWNER) if isinstance(value, str) else value
