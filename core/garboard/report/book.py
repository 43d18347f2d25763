"""The handover book: what the owner keeps. Its content is chosen here, as blocks; `press` sets it in type."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import attrs

import garboard
from garboard import hull_number
from garboard.faults import in_number, in_words
from garboard.findings import Finding, NotEnoughData, Verdict
from garboard.history.plans import SetAside
from garboard.history.proof import Proof
from garboard.hosting.cut import cut
from garboard.hosting.failures import PluginProblem, problem_of
from garboard.hosting.host import PluginHost
from garboard.hosting.own_copy import own_copy, own_view
from garboard.hosting.plugin_code import plugin_code
from garboard.hosting.sections import checked_blocks
from garboard.hosting.unused import waiting_in_words
from garboard.hosting.watching import watched
from garboard.job_view import JobView
from garboard.owner_pages import RECORD_PART, key_of
from garboard.report.as_typed import as_typed, block_as_typed
from garboard.report.blocks import Block as Part
from garboard.report.blocks import marks, words
from garboard.report.drawn_signatures import DrawnSignatures
from garboard.report.logo import logo_to_print
from garboard.report.outline import (
    HandOver,
    counts,
    date_in_words,
    hand_over,
    punch_list,
    still_aside,
)
from garboard.report.owner import OwnersPart, card_sheets, owners_part
from garboard.report.palette import DAY
from garboard.report.photo_blocks import PhotoFiles
from garboard.report.photos import (
    PhotoLoader,
    no_photo,
)
from garboard.report.press import BookRefused, pressed
from garboard.report.record import handed_over_or_not, record_clauses
from garboard.report.record_file import attachments
from garboard.report.type_faces import printable, with_faces
from garboard.steps import RECORD, Assessed, Block, ReportSection

SectionFailed = Callable[[PluginProblem], None]
PAPER_SIZES = ("letter", "A4")
FONTS_FOLDER = "fonts"
"""Folder beside the data, as `plugins` is, with typefaces for names in other scripts."""
_LONGEST_IN_FOOT, _LONGEST_ON_COVER, _LONGEST_ON_CARD = 24, 72, 40
_MEANING: Mapping[Verdict, str] = {
    Verdict.PASS: "Measured or seen, and within its limits.",
    Verdict.ADVISE: "Can be used. The sentence says what to watch; a reading it calls in doubt is checked before that.",
    Verdict.FAIL: "Outside its limits. To be put right; it stands on the punch list.",
    Verdict.NOT_ENOUGH_DATA: "Not judged, because something was not measured. No number is given.",
}

_STEP_MEANING: Mapping[str, str] = {
    "to do": "Nobody has begun this step.",
    "under way": "This step is begun, not finished.",
    "done": "The technician has done this step; what was found stands below it.",
    "look again": "This step is to be looked at again.",
    "not fitted": "The boat does not have this.",
    "not needed": "Another step was done instead.",
    "left out": "The shop leaves this step out.",
    "does not apply": "The step is about equipment this boat does not have.",
}
"""By the names of `palette.STEP_MARKS`."""


def _meanings(clauses: Sequence[Mapping[str, Any]]) -> Iterator[tuple[str, str]]:
    """Every mark the Record shows, with what it means: all verdicts, and the states of steps that occur."""
    yield from ((verdict.value, meaning) for verdict, meaning in _MEANING.items())
    checked = [part for clause in clauses for part in clause["blocks"] if part["kind"] == "checks"]
    shown = {group["state"] for part in checked for group in part["groups"]}
    yield from ((state, meaning) for state, meaning in _STEP_MEANING.items() if state in shown)


def handover_book(
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    size: str = "letter",
    *,
    unread: int = 0,
    load_photo: PhotoLoader = no_photo,
    proof: Proof | None = None,
    fonts: Path | None = None,
    aside: SetAside | None = None,
    failed: SectionFailed = lambda _problem: None,
) -> bytes:
    """The handover book as a PDF. The same job, program and plugins give the same bytes.

    size       : "letter" or "A4"
    unread     : how many entries of the boat could not be read
    load_photo : gives the files of photos; those it does not give are listed by name alone
    proof      : of the entries it is made of; None for a job file, behind which no folder stands
    fonts      : folder of typefaces for names in other scripts, where there is one
    aside      : that a manager set the job aside: the cover says it first
    failed     : called with what a section failed by: the book says no more of it than that it is not there
    """
    with with_faces(fonts):
        return _made(view, host, assessed, size, unread, load_photo, proof, still_aside(aside, view), failed)


def _made(
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    size: str,
    unread: int,
    load_photo: PhotoLoader,
    proof: Proof | None,
    aside: SetAside | None,
    failed: SectionFailed,
) -> bytes:
    vessel, job = view.vessel, view.job
    of_shop = {one.key for one in host.calculators if one.of_shop}
    judged = [one for one in assessed if one.calculator not in of_shop]
    assessed = as_typed(view, judged, host)
    built = [(section, _blocks(section, host, view, assessed, failed)) for section in host.report_sections]
    sections = [(section, blocks) for section, blocks in built if section.part == RECORD]
    state = hand_over(view, assessed, punch_list(view, host, assessed))
    photos = PhotoFiles(load_photo)
    waiting = waiting_in_words(view, host)
    is_whole = not (unread or waiting)  # what was not read may hold a fault, or a later change
    all_judged = is_whole and not host.problems
    owners = owners_part(view, host, assessed, state, built, photos.for_owner, proof, all_judged)
    number = hull_number.printed(vessel.hull_number)
    aboard = ", ".join(
        filter(
            None,
            (_short(vessel.name, _LONGEST_ON_CARD), f"hull number {number}", date_in_words(job.opened)),
        )
    )
    cards = [one.title for one in owners.cards]
    clauses = record_clauses(view, host, assessed, sections, photos, proof, aboard, DrawnSignatures(load_photo), cards)
    named = " ".join((printable(vessel.name).strip() or number).split())
    created = _created(job.opened)
    book: dict[str, Any] = {
        "paper": size,
        "title": f"Handover book of {named}{'' if state.is_done and is_whole else ', draft'}",
        "author": job.shop or "Garboard",
        "subject": f"Hull number {number}",
        "hull_number": vessel.hull_number,
        "date": {name: getattr(created, name) for name in ("year", "month", "day", "hour", "minute", "second")},
        "foot": {
            "hull": f"Hull number {number}",
            "date": date_in_words(job.opened[:10]),
            "name": _short(named),
            "state": _state_in_foot(state, is_whole, is_aside=aside is not None),
            "root": f"root {proof.short}" if proof else "of a job file, no root",
        },
        "colours": attrs.asdict(DAY),
        "marks": marks(),
        "cover": _cover(view, assessed, state, owners, (*_set_aside(aside), *_not_told(unread, waiting))),
        "meanings": [[mark, meaning] for mark, meaning in _meanings(clauses)],
        "reading": [*_reading(_made_by(host), len(assessed), _numbered(clauses))],
        "pages": owners.pages,
        "cards": [*card_sheets(owners.cards, aboard)],
        "calm": False,
        "record": RECORD_PART,
        "record_key": key_of(RECORD_PART),
        "clauses": clauses,
    }
    files = attachments(view, host, judged, proof)
    logo = logo_to_print(owners.logo.picture) if owners.logo else None
    if logo is not None:
        file = f"logo.{logo.ending}"
        alt = f"Logo of {printable(job.shop).strip() or 'the shop'}."
        cover = {**book["cover"], "logo": {"file": file, "width": logo.width, "height": logo.height, "alt": alt}}
        with suppress(BookRefused):  # no owner's book may fail for a logo
            return pressed({**book, "cover": cover}, {**photos.files, file: logo.content}, files)
    with suppress(BookRefused):
        return pressed(book, photos.files, files)
    return pressed({**book, "calm": True}, photos.files, files)  # where page numbers move the pages they count


def _short(name: str, longest: int = _LONGEST_IN_FOOT) -> str:
    """A name as it fits in the foot."""
    return name if len(name) <= longest else f"{name[: longest - 1]}…"


def _on_cover(text: str) -> str:
    """As the cover has room for it; the Record has the whole."""
    return _short(" ".join(printable(text).split()), _LONGEST_ON_COVER)


def _created(opened: str) -> datetime:
    """The document's date: the job's, so that the same job gives the same book."""
    try:
        day = datetime.fromisoformat(opened)
    except ValueError:
        return datetime(1970, 1, 1, tzinfo=UTC)
    return day if day.tzinfo else day.replace(tzinfo=UTC)


def _blocks(
    section: ReportSection, host: PluginHost, view: JobView, assessed: Sequence[Assessed], failed: SectionFailed
) -> Sequence[Block]:
    """What a section prints, in the units the boat's values were typed in."""
    plugin = host.owner_of("register_report_sections", section.key)
    try:
        with host.minding(plugin, section.key), plugin_code():
            seen = told = host.with_defaults(view)
            if host.shares_program(plugin):
                seen, assessed = own_view(seen), own_copy(tuple(assessed))
            blocks = checked_blocks(section.build(watched(seen), assessed))
            blocks = [block_as_typed(told, cut(block) if isinstance(block, Finding) else block) for block in blocks]
    except NotEnoughData as missing:
        return (f"Not enough data: {in_words(missing)}.",)
    except Exception as failure:
        problem = problem_of(failure, plugin, next((one.file for one in host.plugins if one.name == plugin), ""))
        failed(attrs.evolve(problem, reason=f"section {section.title!r} of the book: {problem.reason}"))
        return ("The shop's program could not write this section.",) if section.part == RECORD else ()
    return tuple(blocks)


def _cover(
    view: JobView, assessed: Sequence[Assessed], state: HandOver, owners: OwnersPart, first: Sequence[Part]
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
        "name": _on_cover(vessel.name) or "Vessel without a name",
        "model": _on_cover(" ".join(filter(None, (vessel.maker, vessel.model)))),
        "hull_number": hull_number.printed(vessel.hull_number),
        "facts": [[label, _on_cover(value)] for label, value in facts.items() if value],
        "state": [*first, *handed_over_or_not(state)],
        "checks": in_number(len(assessed), "check"),
        "lead": owners.lead,
        "photo": owners.photo,
        "logo": None,
        "counts": [[str(number), verdict.value] for verdict, number in counts(assessed).items()],
    }


def _state_in_foot(state: HandOver, is_whole: bool, is_aside: bool) -> str:
    if is_aside:
        return "draft, set aside"
    if not state.is_done:
        return "draft, not handed over"
    return state.words if is_whole else "draft, not all of it read"


def _set_aside(aside: SetAside | None) -> Iterator[Part]:
    """That nobody will finish this job."""
    if aside is not None:
        yield words("SET ASIDE: THIS JOB WILL NOT BE FINISHED", "body", bold=True, colour="fail")
        yield words(printable(aside.in_words), "body")


def _not_told(unread: int, waiting: str) -> Iterator[Part]:
    """What this book cannot tell, and what to do."""
    if unread or waiting:
        yield words("DRAFT: NOT ALL OF IT WAS READ", "body", bold=True, colour="fail")
    if unread:
        entries = in_number(unread, "entry", "entries")
        yield words(f"{entries} could not be read: the boat's file is damaged.", "body", bold=True, colour="fail")
        yield words("What this book says is missing may stand there. Mend the file, then write the book again.")
    if waiting:
        yield words(f"{waiting}.", "body", bold=True)
        yield words("What waits is kept, and this book says nothing of it. Write the book again where it is read.")


def _reading(made_by: str, checks: int, numbered: int) -> Iterator[Part]:
    yield words(
        "A number such as 12.4 ± 0.6 lies, with 95 % confidence, between 11.8 and 13.0. Each finding has a number, and "
        "names its basis in brackets; the last clause lists the bases.",
        "small",
        colour="quiet",
    )
    if numbered < checks:
        yield words(
            f"The {checks} checks of the cover stand under {in_number(numbered, 'number')}: checks that say the same "
            "of several things share one.",
            "small",
            colour="quiet",
        )
    yield words(made_by, "small", colour="quiet")


def _numbered(part: Any) -> int:
    """How many findings are numbered in a part of the Record."""
    if isinstance(part, Mapping):
        return 1 if "said" in part and "bases" in part else sum(map(_numbered, part.values()))
    return sum(map(_numbered, part)) if isinstance(part, list | tuple) else 0


def _made_by(host: PluginHost) -> str:
    """The program and the plugins that judged."""
    plugins = ", ".join(f"{plugin.title} {plugin.version}" for plugin in host.plugins)
    absent = "".join(f" Plugin {problem.name} was not at work: {problem.reason}." for problem in host.problems)
    return (
        f"Made by garboard {garboard.__version__}{f' with {plugins}' if plugins else ''}. A later version may judge "
        f"the same measurements differently.{absent}"
    )
