"""The handover book: what the owner keeps. Laid out here; drawn by `paper`, which loads fpdf2."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING

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
from garboard.report.palette import DAY, STEP_MARKS, VERDICT_MARKS
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
from garboard.report.settings_used import settings_in_words
from garboard.report.trials import Trial, table_of_trials, trials_of, which_stays
from garboard.steps import Assessed, Block, Caution, ReportSection

if TYPE_CHECKING:
    from fpdf.outline import OutlineSection

    from garboard.report.paper import Paper

PAPER_SIZES = ("letter", "A4")
MOST_LINES_OF_CONTENTS = 20
MOST_NAMED = 12
_LED_TO = 45.0  # kept under a paragraph that leads to what follows it [mm]
_INDENT, _INDENT_OF_LINE = 38.0, 18.0  # from the verdict to what it is about [mm]
_FEW_POINTS = 4
_BETWEEN = 6.0  # two photos side by side [mm]
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
    from garboard.report.paper import Paper

    vessel, job = view.vessel, view.job
    assessed = as_typed(view, assessed)
    sections = [(section, _blocks(section, host, view, assessed)) for section in host.report_sections]
    findings = [block for _, blocks in sections for block in blocks if isinstance(block, Finding)]
    findings += [one.finding for one in assessed]
    printed = _Printed(numbered_bases(findings, before=[caution.basis for caution in cautions(view, host)]))
    state = hand_over(view, assessed)
    paper = Paper(
        title=f"Handover book of {vessel.name or vessel.hull_number}{'' if state.is_done else ', draft'}",
        hull_number=vessel.hull_number,
        author=job.shop or "Garboard",
        created=_created(job.opened),
        form=size,
    )
    aboard = ", ".join(filter(None, (vessel.name, f"hull number {vessel.hull_number}", date_in_words(job.opened))))
    _cover(paper, view, assessed, state, unread, waiting_in_words(view, host))
    _contents(paper, _made_by(host))
    _cautions(paper, cautions(view, host), printed)
    _vessel(paper, view)
    for section, blocks in sections:
        if blocks:
            _section(paper, section.title, blocks, printed, aboard)
    _tried(paper, trials_of(view, host), printed, aboard)
    _checks(paper, view, host, assessed, printed, load_photo)
    _files(paper, view, host)
    _punch_list(paper, view, host, assessed)
    _signatures(paper, view, host, state)
    _bases(paper, printed)
    return bytes(paper.output())


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
    paper: Paper, view: JobView, assessed: Sequence[Assessed], state: HandOver, unread: int, waiting: str
) -> None:
    vessel, job = view.vessel, view.job
    paper.add_page()
    paper.y = paper.h * 0.16
    paper.words("HANDOVER BOOK", 10.5, bold=True, colour=DAY.action)
    paper.y += 2
    paper.words(vessel.name or "Vessel without a name", 34, bold=True)
    model = " ".join(filter(None, (vessel.maker, vessel.model)))
    if model:
        paper.words(model, 14, colour=DAY.quiet)
    paper.y += 4
    paper.rule(DAY.ink)
    paper.y += 9
    paper.words("Hull number", 8.5, colour=DAY.quiet)
    paper.words(vessel.hull_number, 24, bold=True)
    paper.y += 9
    facts = {
        "Owner": job.owner,
        "Work": job.kind,
        "Date": date_in_words(job.opened),
        "Place": job.place,
        "Shop": job.shop,
        "Technicians": ", ".join(job.technicians),
    }
    for label, value in facts.items():
        if value:
            _labelled(paper, label, value)
    paper.y += 8
    _state(paper, state)
    if unread:
        paper.y += 2
        entries = in_number(unread, "entry", "entries")
        paper.words(f"{entries} could not be read: the boat's file is damaged.", bold=True, colour=DAY.fail)
        paper.words("What this book says is missing may stand there. Mend the file, then write the book again.")
    if waiting:
        paper.y += 2
        paper.words(f"{waiting}.", bold=True)
        paper.words("What waits is kept, and this book says nothing of it. Write the book again where it is read.")
    _counts(paper, assessed)


def _state(paper: Paper, state: HandOver) -> None:
    """Whether the boat was handed over, and what is open."""
    lacking = "; ".join(state.lacking)
    if not state.is_done:
        paper.words("NOT YET HANDED OVER", 12, bold=True, colour=DAY.fail)
        paper.words(f"{lacking[:1].upper()}{lacking[1:]}.")
    else:
        paper.words(f"Handed over with this open: {lacking}." if lacking else "Handed over.", bold=True)


def _labelled(paper: Paper, label: str, value: str, indent: float = 40.0, right: float = 0.0) -> None:
    """A value with its label on its left; the value wraps. `right` is kept clear on the right [mm]."""
    margin = paper.r_margin
    paper.set_right_margin(margin + right)
    paper.room(paper.height_of(value, x=paper.l_margin + indent))
    top = paper.y
    paper.words(label, colour=DAY.quiet)
    paper.y = top
    paper.words(value, x=paper.l_margin + indent)
    paper.y += 1.2
    paper.set_right_margin(margin)


def _counts(paper: Paper, assessed: Sequence[Assessed]) -> None:
    """How many checks came out each way, at the foot of the cover."""
    paper.y = paper.h - paper.b_margin - 24
    paper.rule()
    paper.y += 3
    paper.words(f"{len(assessed)} checks", 8.5, colour=DAY.quiet)
    paper.y += 1
    top, left = paper.y, paper.l_margin
    for verdict, number in counts(assessed).items():
        paper.y = top
        paper.type(10.5, bold=True)
        paper.x = left
        paper.cell(9, 5.2, str(number))
        paper.marked(VERDICT_MARKS[verdict], left + 9)
        left = paper.x + 9


def _contents(paper: Paper, made_by: str) -> None:
    paper.add_page()
    paper.insert_toc_placeholder(lambda _paper, outline: _print_contents(paper, outline, made_by), pages=1)


def _print_contents(paper: Paper, outline: Sequence[OutlineSection], made_by: str) -> None:
    from garboard.report.paper import NOTE, line_height

    paper.words("Contents", 17, bold=True)
    paper.y += 1
    paper.rule(DAY.ink)
    paper.y += 3
    for entry in _fitting_on_a_page(outline):
        link = paper.add_link(page=entry.page_number)
        indent = 6.0 * entry.level
        paper.type(10.5, bold=entry.level == 0)
        paper.x = paper.l_margin + indent
        paper.cell(paper.epw - indent - 15, 6.4, entry.name, link=link)
        paper.cell(15, 6.4, str(entry.page_number), align="R", link=link, new_x="LMARGIN", new_y="NEXT")
    paper.y += 10
    paper.words("How to read it", 12, bold=True)
    paper.y += 2
    for verdict, mark in VERDICT_MARKS.items():
        top = paper.y
        paper.marked(mark, paper.l_margin)
        paper.y = top
        paper.words(_MEANING[verdict], x=paper.l_margin + 46)
        paper.y += 1.5
    paper.y += 2
    paper.words(
        "A number such as 12.4 ± 0.6 lies, with 95 % confidence, between 11.8 and 13.0. Every verdict names its basis "
        "by a number; the last chapter lists them.",
        NOTE,
        colour=DAY.quiet,
    )
    paper.y += line_height(NOTE)
    paper.words(made_by, NOTE, colour=DAY.quiet)


def _fitting_on_a_page(outline: Sequence[OutlineSection]) -> Sequence[OutlineSection]:
    chapters = [entry for entry in outline if entry.level == 0]
    return outline if len(outline) <= MOST_LINES_OF_CONTENTS else chapters[:MOST_LINES_OF_CONTENTS]


def _cautions(paper: Paper, found: Sequence[Caution], printed: _Printed) -> None:
    from garboard.report.paper import NOTE

    if not found:
        return
    paper.chapter("Cautions")
    paper.words(
        "These held while the vessel was checked, and they hold for whoever works on it or runs it. "
        "Local rules, the makers' manuals and licensed practice come first.",
        NOTE,
        colour=DAY.quiet,
    )
    paper.y += 2
    for caution in found:
        paper.hanging("▲", f"{caution.text} ({references([caution.basis], printed.numbers)})", indent=7, size=9.5)


def _vessel(paper: Paper, view: JobView) -> None:
    paper.chapter("Vessel and equipment")
    facts = vessel_facts(view.vessel)
    first, second = facts[: -(-len(facts) // 2)], facts[-(-len(facts) // 2) :]
    left, top = paper.l_margin, paper.y
    for label, value in first:
        _labelled(paper, label, value, indent=27, right=paper.epw / 2)
    below, paper.y = paper.y, top
    paper.set_left_margin(left + paper.epw / 2)
    for label, value in second:
        _labelled(paper, label, value, indent=48)
    paper.set_left_margin(left)
    paper.y = max(below, paper.y) + 3
    paper.rows_side_by_side([(table.title, table.headings, table.rows) for table in equipment_tables(view.vessel)])


def _section(paper: Paper, title: str, blocks: Sequence[Block], printed: _Printed, aboard: str) -> None:
    from garboard.report.paper import BODY

    paper.chapter(title)
    for block in blocks:
        if isinstance(block, str):
            paper.room(paper.height_of(block) + _LED_TO if block.endswith(":") else min(paper.height_of(block), 20))
            paper.words(block, BODY)
            paper.y += 3
        elif isinstance(block, Table):
            _table(paper, block, printed, aboard)
        elif isinstance(block, Figure):
            _figure(paper, block, printed)
        elif isinstance(block, Number):
            paper.big_number(str(block), block.name)
        else:
            new = [figure for figure in block.figures if figure not in printed.figures]
            paper.room(_height(paper, block, printed) + (_size_of(paper, new[0])[1] if new else 0.0))
            _finding(paper, block, printed)
            for figure in new:
                _figure(paper, figure, printed)


def _tried(paper: Paper, trials: Sequence[Trial], printed: _Printed, aboard: str) -> None:
    """The propellers that were tried, side by side; nothing where only one was."""
    if trials:
        told = "Each propeller was judged by its own runs alone. The one that stays is on the boat now."
        _section(paper, "What was tried", (told, table_of_trials(trials), *which_stays(trials)), printed, aboard)


def _checks(
    paper: Paper,
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    printed: _Printed,
    load_photo: PhotoLoader,
) -> None:
    """Every check: one line for what passes or was told before, the rest in full; then tables not yet shown."""
    paper.chapter("What was checked")
    for phase in by_phase(view, host, assessed):
        paper.subheading(phase.phase.value.capitalize(), keep=45, listed=True)
        for step in phase.steps:
            photos = _Photos(paper, view, host, step, load_photo)
            if step.found:
                _checked_step(paper, step, printed, photos)
            elif photos.left:
                _step(paper, step.title, step.state, keep=_HIGHEST)
            photos.show_rest()
        _without_findings(paper, phase)
    _not_used(paper, view, host)
    _workings(paper, [one.finding for one in assessed], printed)


def _checked_step(paper: Paper, step: StepOutline, printed: _Printed, photos: _Photos) -> None:
    from garboard.report.paper import NOTE

    found = alike_together(one.finding for one in step.found)
    if len(found) == 1 and found[0].about == step.title and found[0].verdict is Verdict.PASS and step.state == "done":
        _one_line(paper, found[0], printed)  # the line says all the heading would
    else:
        _step(paper, step.title, step.state, keep=_height(paper, found[0], printed))
        for finding in found:
            if finding.verdict is Verdict.PASS or finding in printed.findings:
                _one_line(paper, finding, printed, under=step.title)
                photos.show_of(finding, found)
                continue
            _finding(paper, finding, printed)
            for figure in finding.figures:
                _figure(paper, figure, printed)
            photos.show_of(finding, found)
    for sentence in settings_in_words(step.found):
        paper.hanging("", sentence, size=NOTE)
    paper.y += 1


class _Photos:
    """The photos of a step: each beside the finding about what it shows, the rest at the end of the step.

    left : those not printed yet, each as it is drawn
    """

    def __init__(
        self, paper: Paper, view: JobView, host: PluginHost, step: StepOutline, load_photo: PhotoLoader
    ) -> None:
        self._paper, self._view, self._host = paper, view, host
        found = photos_of(view, host, step.step.key) if step.step is not None else ()
        drawn_ones = ((photo, _picture(load_photo(photo), photo)) for photo in found)
        self.left = [(photo, picture) for photo, picture in drawn_ones if picture is not None]

    def show_of(self, finding: Finding, among: Sequence[Finding]) -> None:
        """Print those that stand beside this finding, of all of the step."""
        self._show([one for one in self.left if nearest(one[0], among) is finding])

    def show_rest(self) -> None:
        """Print those not printed yet."""
        self._show([*self.left])

    def _show(self, pictures: Sequence[tuple[Photo, Picture]]) -> None:
        self._paper.y += 1.5 if pictures else 0
        for first in range(0, len(pictures), 2):
            self._row(pictures[first : first + 2])
        self.left = [one for one in self.left if one not in pictures]

    def _row(self, row: Sequence[tuple[Photo, Picture]]) -> None:
        """Two beside each other, each with its arrows and what it shows."""
        from garboard.report.paper import NOTE

        paper, right = self._paper, self._paper.r_margin
        wide = (paper.epw - _BETWEEN) / 2
        sizes = [_fitting(picture, wide) for _, picture in row]
        words = [_under_photo(photo, self._host, self._view) for photo, _ in row]
        high = max(height for _, height in sizes)
        paper.room(high + max(paper.height_of(said, NOTE, x=paper.l_margin + wide + _BETWEEN) for said in words) + 4)
        top = below = paper.y
        for place, ((photo, picture), size, said) in enumerate(zip(row, sizes, words, strict=True)):
            left = paper.l_margin + place * (wide + _BETWEEN)
            paper.photo(picture.content, left, top, *size, photo_in_words(photo, self._host, self._view))
            paper.y = top + high + 1
            paper.set_right_margin(paper.w - left - wide)
            paper.words(said, NOTE, colour=DAY.quiet, x=left)
            below = max(below, paper.y)
        paper.set_right_margin(right)
        paper.y = below + 2


def _picture(content: bytes, photo: Photo) -> Picture | None:
    """A photo with its arrows; None for one that is not here, or is no picture."""
    try:
        return drawn(content, photo.arrows, BOOK_SIDE) if content else None
    except PictureRefused:
        return None


def _fitting(picture: Picture, wide: float) -> tuple[float, float]:
    """Width and height as printed [mm]."""
    high = wide * picture.height / picture.width
    return (wide, high) if high <= _HIGHEST else (_HIGHEST * picture.width / picture.height, _HIGHEST)


def _under_photo(photo: Photo, host: PluginHost, view: JobView) -> str:
    """What a photo shows, what its arrows point at, who kept it, and when it was taken."""
    told = [shown_in_words(photo, host, view), arrows_in_words(photo)]
    when = date_in_words(photo.taken[:10]) if photo.taken else f"kept {date_in_words(photo.kept[:10])}"
    told.append(", ".join(filter(None, (photo.by, when))))
    return ". ".join(filter(None, told))


def _without_findings(paper: Paper, phase: PhaseOutline) -> None:
    """Steps about which nothing was found, by how far they are."""
    from garboard.report.paper import NOTE

    for state in STEP_MARKS:
        titles = [step.title for step in phase.steps if not step.found and step.state == state]
        if titles:
            paper.words(f"{state.capitalize()}, nothing to judge: {'; '.join(titles)}.", NOTE, colour=DAY.quiet)
            paper.y += 0.6


def _not_used(paper: Paper, view: JobView, host: PluginHost) -> None:
    """Readings of equipment the boat does not have: no check above rests on them."""
    from garboard.report.paper import NOTE

    found = not_used(view, host)
    if found:
        paper.subheading("Readings not used", keep=30, listed=True)
    for one in found:
        paper.hanging("", f"{title_of(one.step, host)}. {one.in_words}", size=NOTE)


def _workings(paper: Paper, findings: Sequence[Finding], printed: _Printed) -> None:
    """Tables that no section shows. One without a number says no more than its line does."""
    from garboard.report.paper import SMALL

    tables = [table for finding in findings for table in finding.tables if table not in printed.tables]
    kept = [table for table in dict.fromkeys(tables) if _has_numbers(table)]
    if kept:
        paper.subheading("Readings and workings", keep=60, listed=True)
        paper.rows_side_by_side([(table.title, _capitals(table.headings), table.rows) for table in kept], SMALL)
        printed.tables.update(kept)


def _has_numbers(table: Table) -> bool:
    return any(character.isdigit() for row in table.rows for cell in row[1:] for character in cell)


def _step(paper: Paper, title: str, state: str, *, keep: float) -> None:
    """A step's title and state; `keep` is what must stand under it on the same page [mm]."""
    from garboard.report.paper import NOTE

    paper.room(paper.height_of(title, NOTE, bold=True) + 1 + keep)
    top = paper.y
    paper.words(title, NOTE, bold=True)
    below = paper.y
    paper.y = top
    paper.marked(STEP_MARKS[state], paper.w - paper.r_margin - 26, NOTE)
    paper.y = below


def _one_line(paper: Paper, finding: Finding, printed: _Printed, under: str = "") -> None:
    """Verdict, what it is about unless that is the step it stands under, the result and its basis, in small type."""
    from garboard.report.paper import NOTE

    about = "" if finding.about == under else f"{finding.about}: "
    told = f"{about}{result_of(finding)} ({references(finding.basis, printed.numbers)})"
    left = paper.l_margin + _INDENT_OF_LINE
    if finding.verdict is Verdict.NOT_ENOUGH_DATA:
        left = paper.l_margin + _INDENT
    paper.room(paper.height_of(told, NOTE, x=left))
    top = paper.y
    paper.marked(VERDICT_MARKS[finding.verdict], paper.l_margin, NOTE)
    paper.y = top
    paper.words(told, NOTE, x=left)
    paper.y += 0.4


def _lines_of(finding: Finding, printed: _Printed) -> Sequence[tuple[str, float, bool, str]]:
    """A finding's text, size, weight and colour, line by line."""
    from garboard.report.paper import BODY, NOTE

    said = "; ".join(f"{number.name} {number}" for number in finding.numbers)
    rests = references(finding.basis, printed.numbers)
    return [
        (finding.about, BODY, True, DAY.ink),
        (result_of(finding), BODY, False, DAY.ink),
        (f"{said}; {rests}" if said else rests, NOTE, False, DAY.quiet),
    ]


def _height(paper: Paper, finding: Finding, printed: _Printed) -> float:
    left = paper.l_margin + _INDENT
    return 2 + sum(
        paper.height_of(text, size, bold=bold, x=left) for text, size, bold, _ in _lines_of(finding, printed)
    )


def _finding(paper: Paper, finding: Finding, printed: _Printed) -> None:
    """One finding: verdict on the left, the rest beside it."""
    paper.room(_height(paper, finding, printed))
    top = paper.y
    paper.marked(VERDICT_MARKS[finding.verdict], paper.l_margin, _fitting_size(finding.verdict))
    paper.y = top
    for text, size, bold, colour in _lines_of(finding, printed):
        paper.words(text, size, bold=bold, colour=colour, x=paper.l_margin + _INDENT)
    paper.y += 2
    printed.findings.add(finding)


def _fitting_size(verdict: Verdict) -> float:
    """The longest word is set as a note, so that it fits beside what it is about."""
    from garboard.report.paper import BODY, NOTE

    return NOTE if verdict is Verdict.NOT_ENOUGH_DATA else BODY


def _table(paper: Paper, table: Table, printed: _Printed, aboard: str) -> None:
    if table in printed.tables:
        return
    printed.tables.add(table)
    if table.card:
        paper.card(table.title, aboard, _capitals(table.headings), table.rows)
    else:
        paper.rows(table.title, _capitals(table.headings), table.rows)


def _capitals(headings: Sequence[str]) -> list[str]:
    return [heading[:1].upper() + heading[1:] for heading in headings]


def _figure(paper: Paper, figure: Figure, printed: _Printed) -> None:
    from garboard.report.figures import axis_title

    if figure in printed.figures:
        return
    printed.figures.add(figure)
    width, height = _size_of(paper, figure)
    names = ", ".join(series.name for series in figure.series)
    words = f"{figure.title}. {axis_title(figure.y)} against {axis_title(figure.x)}: {names}."
    paper.picture(_drawn(figure, width, height), width, height, words)


@lru_cache(maxsize=16)  # the figures of two books: a book is often made again, and drawing is most of its work
def _drawn(figure: Figure, width: float, height: float) -> bytes:
    from garboard.report.figures import figure_bytes

    return figure_bytes(figure, "png", width, height)


def _size_of(paper: Paper, figure: Figure) -> tuple[float, float]:
    """Width and height as printed: two axes need room; a few points do not [mm]."""
    if figure.equal_scales:
        return 96.0, 86.0
    return paper.epw, _height_of(figure)


def _height_of(figure: Figure) -> float:
    if all(len(series.x) <= _FEW_POINTS for series in figure.series):
        return 46.0
    return 48.0 if figure.y2 is None else 74.0


def _files(paper: Paper, view: JobView, host: PluginHost) -> None:
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
        paper.chapter("Photos", keep=25)
        paper.rows("", ("Belongs to", "File kept by the shop", "By", "Day"), rows)


def _punch_list(paper: Paper, view: JobView, host: PluginHost, assessed: Sequence[Assessed]) -> None:
    paper.chapter("Punch list", keep=25)
    items = punch_list(view, host, assessed)
    if not items:
        paper.words(nothing_to_put_right(assessed))
    for number, item in enumerate(items, start=1):
        about = f"{item.about}: " if item.about else ""
        paper.hanging(f"{number}", f"{about}{item.text} ({item.why})")


def _signatures(paper: Paper, view: JobView, host: PluginHost, state: HandOver) -> None:
    vessel, job = view.vessel, view.job
    paper.chapter("Signatures", keep=90)
    named = f"{vessel.name}, hull number {vessel.hull_number}" if vessel.name else f"hull number {vessel.hull_number}"
    work = f" after {job.kind}" if job.kind else ""
    if not state.is_done:
        _state(paper, state)
        paper.y += 2
    paper.words(
        f"{'Handed over' if state.is_done else 'To be handed over'}{work}: {named}. Each signature says that its "
        "writer has seen this book: what was checked and measured, what is still open on the punch list, and the "
        "cautions."
    )
    if any(sign_off.stale for sign_off in view.sign_offs):
        paper.y += 2
        paper.words(
            "Something was changed after a signature below. That signature does not cover the change: sign again.",
            bold=True,
            colour=DAY.fail,
        )
    paper.y += 2
    for role in ("technician", "manager", "owner"):
        signed = [sign_off for sign_off in view.sign_offs if sign_off.role == role]
        if state.is_done and not signed and role not in SIGN_AT_HAND_OVER:
            continue  # nothing waits for it
        for sign_off in signed or [SignOff(role=role, name=view.job.owner if role == "owner" else "")]:
            _signature(paper, sign_off, [name_in_words(name, host) for name in sign_off.not_covered])


def _signature(paper: Paper, sign_off: SignOff, not_covered: Sequence[str]) -> None:
    """A line to sign on, with what is known of who signs and when, and what was changed after it."""
    from garboard.report.paper import NOTE

    paper.room(24)
    paper.y += 9
    paper.rule(DAY.ink)
    when = f"signed {date_in_words(sign_off.at)}{clock_mark(sign_off.at)}" if sign_off.at else "signature and date"
    if sign_off.stale:
        when += ", before later changes: sign again"
    paper.words(", ".join(filter(None, (sign_off.role.capitalize(), sign_off.name, when))), NOTE, colour=DAY.quiet)
    if not_covered:
        further = len(not_covered) - MOST_NAMED
        more = f"; and {further} more" if further > 0 else ""
        paper.words(f"Not covered: {'; '.join(not_covered[:MOST_NAMED])}{more}.", NOTE, colour=DAY.fail)
    paper.y += 3


def _bases(paper: Paper, printed: _Printed) -> None:
    paper.chapter("What this book rests on")
    paper.hanging_in_columns([(f"{number}", str(basis)) for basis, number in printed.numbers.items()])


def _made_by(host: PluginHost) -> str:
    """The program and the plugins that judged."""
    plugins = ", ".join(f"{plugin.title} {plugin.version}" for plugin in host.plugins)
    absent = "".join(f" Plugin {problem.name} was not at work: {problem.reason}." for problem in host.problems)
    return (
        f"Made by garboard {garboard.__version__}{f' with {plugins}' if plugins else ''}. A later version may judge "
        f"the same measurements differently.{absent}"
    )
