"""The handover book: what the owner keeps. Its content is chosen here, as blocks; `press` sets it in type."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import attrs

import garboard
from garboard.disk.clock import clock_mark, day_in_words
from garboard.faults import in_number, in_words
from garboard.findings import Basis, Figure, Finding, NotEnoughData, Number, Table, Verdict
from garboard.hosting.cut import cut, told
from garboard.hosting.host import PluginHost
from garboard.hosting.own_copy import own_copy, own_view
from garboard.hosting.plugin_code import plugin_code
from garboard.hosting.sections import checked_blocks
from garboard.hosting.titles import name_in_words, place_in_words, title_of
from garboard.hosting.unused import not_used, waiting_in_words
from garboard.hosting.watching import watched
from garboard.job_files.job_file import ATTACHED
from garboard.job_view import JobView
from garboard.records import SignOff
from garboard.report.as_typed import as_typed
from garboard.report.blocks import Block as Part
from garboard.report.blocks import (
    big_number,
    facts,
    figure,
    heading,
    listed,
    marks,
    signature,
    table,
    with_minus,
    words,
)
from garboard.report.equipment import equipment_tables, vessel_facts
from garboard.report.outline import (
    SIGN_AT_HAND_OVER,
    HandOver,
    PhaseOutline,
    StepOutline,
    alike_together,
    by_phase,
    cautions,
    counts,
    hand_over,
    nothing_to_put_right,
    numbered_bases,
    punch_list,
    references,
    result_of,
)
from garboard.report.palette import DAY, STEP_MARKS
from garboard.report.photo_files import BOOK_SIDE, Picture, PictureRefused, drawn
from garboard.report.photos import (
    Photo,
    PhotoLoader,
    arrows_in_words,
    is_recording,
    nearest,
    no_photo,
    photo_in_words,
    photos_of,
    shown_in_words,
)
from garboard.report.press import pressed
from garboard.report.settings_used import settings_in_words
from garboard.report.trials import Trial, table_of_trials, trials_of, which_stays
from garboard.report.type_faces import printable
from garboard.steps import Assessed, Block, Caution, ReportSection

PAPER_SIZES = ("letter", "A4")
MOST_LINES_OF_CONTENTS = 20
MOST_NAMED = 12
_LONGEST_IN_FOOT = 40
PHOTO_WIDTH = 85.0
"""Of a photo, two side by side [mm]."""
_HIGHEST = 70.0  # a photo that stands upright [mm]
_MEANING: Mapping[Verdict, str] = {
    Verdict.PASS: "Measured or seen, and within its limits.",
    Verdict.ADVISE: "Usable as it is, unless in doubt. The sentence says what to watch, or which reading to check.",
    Verdict.FAIL: "Outside its limits. To be put right; it stands on the punch list.",
    Verdict.NOT_ENOUGH_DATA: "Not judged, because something was not measured. No number is given.",
}


@attrs.define
class _Printed:
    """What already stands in the book, so that nothing is printed twice."""

    numbers: Mapping[Basis, int]
    findings: set[Finding] = attrs.field(factory=set)
    figures: set[Figure] = attrs.field(factory=set)
    tables: set[Table] = attrs.field(factory=set)


def handover_book(
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    size: str = "letter",
    *,
    unread: int = 0,
    load_photo: PhotoLoader = no_photo,
) -> bytes:
    """The handover book as a PDF. The same job, program and plugins give the same bytes.

    size       : "letter" or "A4"
    unread     : how many entries of the boat could not be read
    load_photo : gives the files of photos; those it does not give are listed by name alone
    """
    vessel, job = view.vessel, view.job
    of_shop = {one.key for one in host.calculators if one.of_shop}
    assessed = as_typed(view, [one for one in assessed if one.calculator not in of_shop])
    sections = [(section, _blocks(section, host, view, assessed)) for section in host.report_sections]
    findings = [block for _, blocks in sections for block in blocks if isinstance(block, Finding)]
    findings += [one.finding for one in assessed]
    printed = _Printed(numbered_bases(findings, before=[caution.basis for caution in cautions(view, host)]))
    state, photos = hand_over(view, assessed), _PhotoFiles(load_photo)
    aboard = ", ".join(filter(None, (vessel.name, f"hull number {vessel.hull_number}", date_in_words(job.opened))))
    parts = [
        ("Cautions", _cautions(cautions(view, host), printed)),
        ("Vessel and equipment", _vessel(view)),
        *((section.title, _section(blocks, printed, aboard)) for section, blocks in sections),
        ("What was tried", _tried(trials_of(view, host), printed, aboard)),
        ("What was checked", _checks(view, host, assessed, printed, photos)),
        ("Photos", _files(view, host)),
        ("Punch list", _punch_list(view, host, assessed)),
        ("Signatures", _signatures(view, host, state)),
        ("What this book rests on", _bases(printed)),
    ]
    chapters = [{"title": title, "blocks": found} for title, blocks in parts if (found := [*blocks])]
    named = " ".join((printable(vessel.name).strip() or vessel.hull_number).split())
    created = _created(job.opened)
    book = {
        "paper": size,
        "title": f"Handover book of {named}{'' if state.is_done else ', draft'}",
        "author": job.shop or "Garboard",
        "subject": f"Hull number {vessel.hull_number}",
        "hull_number": vessel.hull_number,
        "date": {name: getattr(created, name) for name in ("year", "month", "day", "hour", "minute", "second")},
        "foot": {
            "left": f"Hull number {vessel.hull_number}",
            "middle": f"Handover book of {_short(named)}{'' if state.is_done else ', draft'}",
        },
        "colours": attrs.asdict(DAY),
        "marks": marks(),
        "cover": _cover(view, assessed, state, unread, waiting_in_words(view, host)),
        "contents_depth": 3 if _is_short(chapters) else 2,
        "meanings": [[verdict.value, meaning] for verdict, meaning in _MEANING.items()],
        "reading": [*_reading(_made_by(host))],
        "chapters": chapters,
    }
    return pressed(book, photos.files)


def _short(name: str) -> str:
    """A name as it fits in the foot."""
    return name if len(name) <= _LONGEST_IN_FOOT else f"{name[: _LONGEST_IN_FOOT - 1]}…"


def _is_short(chapters: Sequence[Mapping[str, Any]]) -> bool:
    """Whether the contents fit on their page with the headings below the chapters'."""
    below = sum(bool(block.get("listed")) for chapter in chapters for block in chapter["blocks"])
    return len(chapters) + below <= MOST_LINES_OF_CONTENTS


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


def _created(opened: str) -> datetime:
    """The document's date: the job's, so that the same job gives the same book."""
    try:
        day = datetime.fromisoformat(opened)
    except ValueError:
        return datetime(1970, 1, 1, tzinfo=UTC)
    return day if day.tzinfo else day.replace(tzinfo=UTC)


def _blocks(section: ReportSection, host: PluginHost, view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    plugin = host.owner_of("register_report_sections", section.key)
    try:
        with host.minding(plugin, section.key), plugin_code():
            seen = host.with_defaults(view)
            if host.shares_program(plugin):
                seen, assessed = own_view(seen), own_copy(tuple(assessed))
            blocks = checked_blocks(section.build(watched(seen), assessed))
    except NotEnoughData as missing:
        return (f"Not enough data: {in_words(missing)}.",)
    except Exception as failure:
        return (f"Plugin {plugin} could not write this section ({told(failure)}). Tell its author.",)
    return tuple(cut(block) if isinstance(block, Finding) else block for block in blocks)


def _cover(
    view: JobView, assessed: Sequence[Assessed], state: HandOver, unread: int, waiting: str
) -> Mapping[str, object]:
    vessel, job = view.vessel, view.job
    facts = {
        "Owner": job.owner,
        "Work": job.kind,
        "Date": date_in_words(job.opened),
        "Place": job.place,
        "Shop": job.shop,
        "Technicians": ", ".join(job.technicians),
    }
    return {
        "eyebrow": "HANDOVER BOOK",
        "name": printable(vessel.name).strip() or "Vessel without a name",
        "model": " ".join(filter(None, (vessel.maker, vessel.model))),
        "hull_number": vessel.hull_number,
        "facts": [[label, value] for label, value in facts.items() if value],
        "state": [*_state(state), *_not_told(unread, waiting)],
        "checks": in_number(len(assessed), "check"),
        "counts": [[str(number), verdict.value] for verdict, number in counts(assessed).items()],
    }


def _state(state: HandOver) -> Iterator[Part]:
    """Whether the boat was handed over, and what is open."""
    lacking = "; ".join(state.lacking)
    if not state.is_done:
        yield words("NOT YET HANDED OVER", "body", bold=True, colour="fail")
        yield words(f"{lacking[:1].upper()}{lacking[1:]}.", "body")
    else:
        yield words(f"Handed over with this open: {lacking}." if lacking else "Handed over.", "body", bold=True)


def _not_told(unread: int, waiting: str) -> Iterator[Part]:
    """What this book cannot tell, and what to do."""
    if unread:
        entries = in_number(unread, "entry", "entries")
        yield words(f"{entries} could not be read: the boat's file is damaged.", "body", bold=True, colour="fail")
        yield words("What this book says is missing may stand there. Mend the file, then write the book again.")
    if waiting:
        yield words(f"{waiting}.", "body", bold=True)
        yield words("What waits is kept, and this book says nothing of it. Write the book again where it is read.")


def _reading(made_by: str) -> Iterator[Part]:
    yield words(
        "A number such as 12.4 ± 0.6 lies, with 95 % confidence, between 11.8 and 13.0. Every verdict names its basis "
        "by a number; the last chapter lists them.",
        colour="quiet",
    )
    yield words(made_by, colour="quiet")


def _cautions(found: Sequence[Caution], printed: _Printed) -> Iterator[Part]:
    if not found:
        return
    yield words(
        "These held while the vessel was checked, and they hold for whoever works on it or runs it. "
        "Local rules, the makers' manuals and licensed practice come first.",
        colour="quiet",
    )
    yield listed(
        (f"{place}", f"{caution.text} ({references([caution.basis], printed.numbers)})")
        for place, caution in enumerate(found, 1)
    )


def _vessel(view: JobView) -> Iterator[Part]:
    yield facts(vessel_facts(view.vessel))
    for one in equipment_tables(view.vessel):
        yield table(one.title, one.headings, one.rows)


def _section(blocks: Sequence[Block], printed: _Printed, aboard: str) -> Iterator[Part]:
    for block in blocks:
        if isinstance(block, str):
            yield words(block, "note")
        elif isinstance(block, Table):
            yield from _table(block, printed, aboard)
        elif isinstance(block, Figure):
            yield from _figure(block, printed)
        elif isinstance(block, Number):
            yield big_number(str(block), block.name)
        else:
            yield _findings([block], printed)
            yield from _figures(block, printed)


def _tried(trials: Sequence[Trial], printed: _Printed, aboard: str) -> Iterator[Part]:
    """The propellers that were tried, side by side; nothing where only one was."""
    if trials:
        told_first = "Each propeller was judged by its own runs alone. The one that stays is on the boat now."
        yield from _section((told_first, table_of_trials(trials), *which_stays(trials)), printed, aboard)


def _checks(
    view: JobView, host: PluginHost, assessed: Sequence[Assessed], printed: _Printed, photos: _PhotoFiles
) -> Iterator[Part]:
    """Every check, a row each; then tables not yet shown."""
    for phase in by_phase(view, host, assessed):
        yield heading(phase.phase.value.capitalize(), 3, listed=True)
        for step in phase.steps:
            yield from _checked_step(step, printed, _Photos(view, host, step, photos))
        yield from _without_findings(phase)
    yield from _not_used(view, host)
    yield from _workings([one.finding for one in assessed], printed)


def _checked_step(step: StepOutline, printed: _Printed, photos: _Photos) -> Iterator[Part]:
    if not step.found and not photos.left:
        return
    yield heading(step.title, 4, mark=step.state)
    found = alike_together(one.finding for one in step.found)
    waiting: list[Finding] = []
    for finding in found:
        waiting.append(finding)
        beside = [*_figures(finding, printed), *photos.of(finding, found)] if _is_told(finding, printed) else []
        beside = beside or [*photos.of(finding, found)]
        if beside:
            yield _findings(waiting, printed, under=step.title)
            yield from beside
            waiting = []
    if waiting:
        yield _findings(waiting, printed, under=step.title)
    yield from photos.rest()
    yield from (words(sentence, "small") for sentence in settings_in_words(step.found))


def _is_told(finding: Finding, printed: _Printed) -> bool:
    """Whether a finding is told in full: what passes, or was told before, is one line."""
    return finding.verdict is not Verdict.PASS and finding not in printed.findings


class _PhotoFiles:
    """The photos of a book: each loaded and drawn once.

    files : content of each, by the name it has for the typesetter
    """

    def __init__(self, load: PhotoLoader) -> None:
        self._load = load
        self.files: dict[str, bytes] = {}

    def drawn(self, photo: Photo) -> tuple[str, Picture] | None:
        """A photo with its arrows; None for one that is not here, or is no picture."""
        content = self._load(photo)
        try:
            picture = drawn(content, photo.arrows, BOOK_SIDE) if content else None
        except PictureRefused:
            return None
        if picture is None:
            return None
        name = f"photo-{len(self.files) + 1}.jpg"
        self.files[name] = picture.content
        return name, picture


class _Photos:
    """The photos of a step: each beside the finding about what it shows, the rest at the end of the step.

    left : those not printed yet, each as it is drawn
    """

    def __init__(self, view: JobView, host: PluginHost, step: StepOutline, files: _PhotoFiles) -> None:
        self._view, self._host = view, host
        found = photos_of(view, host, step.step.key) if step.step is not None else ()
        pairs = ((photo, files.drawn(photo)) for photo in found)
        self.left = [(photo, *one) for photo, one in pairs if one is not None]

    def of(self, finding: Finding, among: Sequence[Finding]) -> Iterator[Part]:
        """Those that stand beside this finding, of all of the step."""
        yield from self._shown([one for one in self.left if nearest(one[0], among) is finding])

    def rest(self) -> Iterator[Part]:
        """Those not printed yet."""
        yield from self._shown([*self.left])

    def _shown(self, pictures: Sequence[tuple[Photo, str, Picture]]) -> Iterator[Part]:
        self.left = [one for one in self.left if one not in pictures]
        if pictures:
            yield {"kind": "photos", "photos": [self._photo(*one) for one in pictures]}

    def _photo(self, photo: Photo, file: str, picture: Picture) -> Part:
        width, height = _fitting(picture)
        return {
            "file": file,
            "width": width,
            "height": height,
            "alt": photo_in_words(photo, self._host, self._view),
            "words": _under_photo(photo, self._host, self._view),
        }


def _fitting(picture: Picture) -> tuple[float, float]:
    """Width and height as printed [mm]."""
    high = PHOTO_WIDTH * picture.height / picture.width
    return (PHOTO_WIDTH, high) if high <= _HIGHEST else (_HIGHEST * picture.width / picture.height, _HIGHEST)


def _under_photo(photo: Photo, host: PluginHost, view: JobView) -> str:
    """What a photo shows, what its arrows point at, who kept it, and when it was taken."""
    told = [shown_in_words(photo, host, view), arrows_in_words(photo)]
    when = date_in_words(photo.taken[:10]) if photo.taken else f"kept {date_in_words(photo.kept[:10])}"
    told.append(", ".join(filter(None, (photo.by, when))))
    return ". ".join(filter(None, told))


def _without_findings(phase: PhaseOutline) -> Iterator[Part]:
    """Steps about which nothing was found, by how far they are."""
    for state in STEP_MARKS:
        titles = [step.title for step in phase.steps if not step.found and step.state == state]
        if titles:
            yield words(f"{state.capitalize()}, nothing to judge: {'; '.join(titles)}.", "small", colour="quiet")


def _not_used(view: JobView, host: PluginHost) -> Iterator[Part]:
    """Readings of equipment the boat does not have: no check above rests on them."""
    found = not_used(view, host)
    if found:
        yield heading("Readings not used", 3, listed=True)
    for one in found:
        yield words(f"{title_of(one.step, host)}. {one.in_words}", "small")


def _workings(findings: Sequence[Finding], printed: _Printed) -> Iterator[Part]:
    """Tables that no section shows. One without a number says no more than its line does."""
    tables = [one for finding in findings for one in finding.tables if one not in printed.tables]
    kept = [one for one in dict.fromkeys(tables) if _has_numbers(one)]
    if kept:
        yield heading("Readings and workings", 3, listed=True)
        yield from (table(one.title, one.headings, one.rows, small=True) for one in kept)
        printed.tables.update(kept)


def _has_numbers(one: Table) -> bool:
    return any(character.isdigit() for row in one.rows for cell in row[1:] for character in cell)


def _findings(found: Sequence[Finding], printed: _Printed, under: str = "") -> Part:
    """Findings as rows: verdict, what it is about unless that is the step it stands under, result, basis."""
    rows = [_row(finding, printed, under) for finding in found]
    printed.findings.update(found)
    return {"kind": "findings", "rows": rows}


def _row(finding: Finding, printed: _Printed, under: str) -> Part:
    is_full = _is_told(finding, printed)
    numbers = "; ".join(f"{number.name} {number}" for number in finding.numbers) if is_full else ""
    return {
        "mark": finding.verdict.value,
        "about": "" if finding.about == under else finding.about,
        "said": with_minus(result_of(finding)),
        "numbers": with_minus(numbers),
        "loud": finding.verdict is Verdict.FAIL,
        "bases": references(finding.basis, printed.numbers).removeprefix("basis "),
    }


def _table(one: Table, printed: _Printed, aboard: str) -> Iterator[Part]:
    if one not in printed.tables:
        printed.tables.add(one)
        yield table(one.title, one.headings, one.rows, note=aboard if one.card else "")


def _figures(finding: Finding, printed: _Printed) -> Iterator[Part]:
    for one in finding.figures:
        yield from _figure(one, printed)


def _figure(one: Figure, printed: _Printed) -> Iterator[Part]:
    if one not in printed.figures:
        printed.figures.add(one)
        yield figure(one)


def _files(view: JobView, host: PluginHost) -> Iterator[Part]:
    """Photos, and what else was attached, by name: they stay with the shop. Of recordings the checks tell."""
    rows = [
        (
            place_in_words((one.step, one.field, "" if one.field == ATTACHED else one.row, one.of), host),
            str(one.value.get("name") or one.value["file"]),
            one.by,
            date_in_words(one.at[:10]) + clock_mark(one.at),
        )
        for one in view.measurements
        if isinstance(one.value, dict) and "file" in one.value and not is_recording(one, host)
    ]
    if rows:
        yield table("", ("Belongs to", "File kept by the shop", "By", "Day"), rows)


def _punch_list(view: JobView, host: PluginHost, assessed: Sequence[Assessed]) -> Iterator[Part]:
    items = punch_list(view, host, assessed)
    if not items:
        yield words(nothing_to_put_right(assessed))
        return
    yield listed(
        (f"{number}", f"{f'{item.about}: ' if item.about else ''}{item.text} ({item.why})")
        for number, item in enumerate(items, start=1)
    )


def _signatures(view: JobView, host: PluginHost, state: HandOver) -> Iterator[Part]:
    vessel, job = view.vessel, view.job
    named = f"{vessel.name}, hull number {vessel.hull_number}" if vessel.name else f"hull number {vessel.hull_number}"
    work = f" after {job.kind}" if job.kind else ""
    if not state.is_done:
        yield from _state(state)
    yield words(
        f"{'Handed over' if state.is_done else 'To be handed over'}{work}: {named}. Each signature says that its "
        "writer has seen this book: what was checked and measured, what is still open on the punch list, and the "
        "cautions."
    )
    if any(sign_off.stale for sign_off in view.sign_offs):
        yield words(
            "Something was changed after a signature below. That signature does not cover the change: sign again.",
            bold=True,
            colour="fail",
        )
    for role in ("technician", "manager", "owner"):
        signed = [sign_off for sign_off in view.sign_offs if sign_off.role == role]
        if state.is_done and not signed and role not in SIGN_AT_HAND_OVER:
            continue  # nothing waits for it
        for sign_off in signed or [SignOff(role=role, name=view.job.owner if role == "owner" else "")]:
            yield _signature(sign_off, [name_in_words(name, host) for name in sign_off.not_covered])


def _signature(sign_off: SignOff, not_covered: Sequence[str]) -> Part:
    """A line to sign on, with what is known of who signs and when, and what was changed after it."""
    when = f"signed {date_in_words(sign_off.at)}{clock_mark(sign_off.at)}" if sign_off.at else "signature and date"
    if sign_off.stale:
        when += ", before later changes: sign again"
    further = len(not_covered) - MOST_NAMED
    more = f"; and {further} more" if further > 0 else ""
    lacks = f"Not covered: {'; '.join(not_covered[:MOST_NAMED])}{more}." if not_covered else ""
    return signature(", ".join(filter(None, (sign_off.role.capitalize(), sign_off.name, when))), lacks)


def _bases(printed: _Printed) -> Iterator[Part]:
    yield {"kind": "bases", "items": [[f"{number}", str(basis)] for basis, number in printed.numbers.items()]}


def _made_by(host: PluginHost) -> str:
    """The program and the plugins that judged."""
    plugins = ", ".join(f"{plugin.title} {plugin.version}" for plugin in host.plugins)
    absent = "".join(f" Plugin {problem.name} was not at work: {problem.reason}." for problem in host.problems)
    return (
        f"Made by garboard {garboard.__version__}{f' with {plugins}' if plugins else ''}. A later version may judge "
        f"the same measurements differently.{absent}"
    )
