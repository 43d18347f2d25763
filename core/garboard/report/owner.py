"""Your boat, the first part of the handover book: in the owner's words, without ±, bases and codes."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from garboard import hull_number
from garboard.faults import in_number
from garboard.findings import Figure, Finding, Number, Table, Verdict, rounded
from garboard.history.proof import Proof, in_groups
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.owner_pages import (
    BEFORE_YOU_GO,
    CARE,
    PUNCH_LIST,
    RECORD_PART,
    SIGNATURES,
    Bars,
    Digits,
    Logo,
    Photographs,
    Plan,
    Ruler,
    Steps,
    key_of,
    number_of,
    page_of,
)
from garboard.record_types import frozen
from garboard.report.blocks import (
    FRAME,
    TEXT_WIDTH,
    big_digits,
    figure,
    lines_of,
    listed,
    owner_table,
    qr_code,
    table,
    words,
)
from garboard.report.blocks import Block as Part
from garboard.report.outline import (
    HandOver,
    PunchItem,
    cautions,
    counts,
    date_in_words,
    first_sentence,
    named,
    punch_list,
    result_of,
)
from garboard.report.owner_drawings import bars_drawn, plan_drawn, ruler_drawn
from garboard.report.photos import Photo, photos_of
from garboard.report.printed import as_printed
from garboard.steps import COVER, YOUR_BOAT, Assessed, Block, ReportSection

Built = Sequence[tuple[ReportSection, Sequence[Block]]]
Drawn = Callable[[Photo], tuple[str, int, int] | None]
"""Gives a photo's file, width and height [dots]; None where it is not here."""

_PHOTO_HIGH, _COVER_HIGH = 84.0, 117.0  # [mm]
_MOST_ON_COVER = 4
_PLACE_OF_CAUTIONS, _PLACE_OF_CARE = 100, 900
"""Where the pages stand that need no plugin. What keeps people safe comes first."""
_WHAT_IS_OPEN = {"in doubt": "readings contradict each other"}
_NOT_ALL_JUDGED = "Not everything was read or judged."
_UNCERTAINTY = re.compile(r" ?± ?[\d.]+")
_INTERVAL = re.compile(r" \([\d.,]+ to [\d.,]+[^()\d]*\)")


@frozen(kw_only=True)
class OwnersPart:
    """What Your boat is made of.

    lead   : sentences on the cover
    photo  : that of the cover, or none
    logo   : the shop's, or none
    pages  : title and blocks of each
    cards  : tables to be cut out
    """

    lead: tuple[str, ...]
    photo: Part | None
    logo: Logo | None
    pages: tuple[Mapping[str, Any], ...]
    cards: tuple[Table, ...]


def owners_part(
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    state: HandOver,
    built: Built,
    drawn: Drawn,
    proof: Proof | None = None,
    all_judged: bool = True,
) -> OwnersPart:
    """The owner's pages: sections of one title share a page, their digits in rows at its head.

    all_judged : whether every entry was read and every plugin was at work; else nobody knows that nothing is open
    """
    show = _Pictures(view, host, drawn)
    pages: dict[str, list[Part]] = {}
    order: dict[str, float] = {}
    for title, first, parts in (
        (BEFORE_YOU_GO, _PLACE_OF_CAUTIONS, [*_cautions(view, host)]),
        (CARE, _PLACE_OF_CARE, [*_open(view, host, assessed, all_judged), *_signed(view, state, proof)]),
    ):
        if parts:
            pages[title], order[title] = parts, first
    cards: list[Table] = []
    for title, place, blocks in _by_title(built):
        cards += [one for one in blocks if isinstance(one, Table) and one.card]
        parts = [*_page([one for one in blocks if not (isinstance(one, Table) and one.card)], show)]
        if parts:
            is_after_own = title == BEFORE_YOU_GO
            pages[title] = [*pages.get(title, []), *parts] if is_after_own else [*parts, *pages.get(title, [])]
            order[title] = min(place, order.get(title, place))
    sentences, cover, logo = _cover(built)
    return OwnersPart(
        lead=(*_how_it_did(view, host, assessed, all_judged), *sentences),
        photo=next(iter(show.of(cover, _COVER_HIGH)), None) if cover else None,
        logo=logo,
        pages=tuple(
            {"title": title, "key": key_of(title), "blocks": pages[title]}
            for title in sorted(pages, key=lambda one: order[one])
        ),
        cards=tuple(dict.fromkeys(cards)),
    )


def card_sheets(cards: Sequence[Table], aboard: str) -> Iterator[Sequence[Part]]:
    """Sheets of cards in two columns, each where most room is left, then the wide ones; under each title the boat."""
    made = [part for one in cards for part in _that_fit(one, aboard)]
    columns: tuple[list[Part], list[Part]] = [], []
    for card in sorted((one for one in made if one["outer"] < TEXT_WIDTH), key=_lines_of, reverse=True):
        column = min(columns, key=_lines_in)
        if column and _lines_in(column) + _lines_of(card) > _LINES_ON_A_SHEET:
            yield [{"kind": "cards", "columns": columns}]
            columns = column, _ = [], []
        column.append(card)
    sheet: list[Part] = [{"kind": "cards", "columns": columns}] if columns[0] else []
    taken = max(map(_lines_in, columns))
    for card in (one for one in made if one["outer"] >= TEXT_WIDTH):
        if sheet and taken + _lines_of(card) > _LINES_ON_A_SHEET:
            yield sheet
            sheet, taken = [], 0.0
        sheet.append(card)
        taken += _lines_of(card)
    if sheet:
        yield sheet


_LINES_BESIDE_ROWS, _LINES_ON_A_SHEET, _MOST_LINES, _FURTHER_LINE = 6, 50, 38, 0.75
"""On a sheet, and of one card: it is never torn apart, and under the title of the sheet all of it has room."""


def _that_fit(card: Table, aboard: str) -> list[Part]:
    """A card, or several that say which of how many each is: what has no room on a sheet would not be printed."""
    parts = _parts_of(card, card.rows, aboard)
    if len(parts) > 1:
        for number, part in enumerate(parts, 1):
            part["title"] = f"{card.title}, {number} of {len(parts)}"
    return parts


def _parts_of(card: Table, rows: Sequence[Sequence[str]], aboard: str) -> list[Part]:
    made = table(card.title, card.headings, rows, note=aboard)
    if _lines_of(made) <= _MOST_LINES or len(rows) < 2:
        return [made]
    half = -(-len(rows) // 2)
    return [*_parts_of(card, rows[:half], aboard), *_parts_of(card, rows[half:], aboard)]


def _lines_in(column: Sequence[Part]) -> float:
    return sum(map(_lines_of, column))


def _lines_of(card: Part) -> float:
    """How high a card is, in rows of one line: of a row's further lines each is lower."""
    heads = [([card["title"]], [card["outer"] - 2 * FRAME]), ([card["note"]], [card["outer"] - 2 * FRAME])]
    rows = [*heads, *((row, card["widths"]) for row in (card["heads"], *card["rows"]))]
    further = sum(lines_of(row, widths, card["size"]) - 1 for row, widths in rows)
    return _LINES_BESIDE_ROWS + len(card["rows"]) + _FURTHER_LINE * further


def _by_title(built: Built) -> Iterator[tuple[str, float, Sequence[Block]]]:
    pages: dict[str, tuple[float, list[Block]]] = {}
    for section, blocks in built:
        if section.part == YOUR_BOAT and blocks:
            pages.setdefault(section.title, (section.order, []))[1].extend(blocks)
    yield from ((title, place, blocks) for title, (place, blocks) in pages.items())


def _cover(built: Built) -> tuple[Sequence[str], Photographs | None, Logo | None]:
    of_cover = [block for section, blocks in built if section.part == COVER for block in blocks]
    photo = next((one for one in of_cover if isinstance(one, Photographs)), None)
    logo = next((one for one in of_cover if isinstance(one, Logo)), None)
    return [in_owners_words(one) for one in of_cover if isinstance(one, str)], photo, logo


def _not_passed(found: Mapping[Verdict, int]) -> str:
    advised, unjudged = found[Verdict.ADVISE], found[Verdict.NOT_ENOUGH_DATA]
    return (f" {in_number(advised, 'piece')} of advice." if advised else "") + (
        f" {in_number(unjudged, 'check')} not made." if unjudged else ""
    )


def _advice(finding: Finding) -> str:
    """What was found, as an owner can follow it: what is to be done about it is said to the shop, in the Record."""
    told = in_owners_words(f"{finding.about}: {_INTERVAL.sub('', first_sentence(finding.sentence))}")
    return f"{told[:1].upper()}{told[1:]}"


def _how_it_did(view: JobView, host: PluginHost, assessed: Sequence[Assessed], all_judged: bool) -> Iterator[str]:
    """The checks in one sentence, and what is open."""
    found, items = counts(assessed), punch_list(view, host, assessed)
    if not assessed:
        return
    if found[Verdict.PASS] == len(assessed) and not items:
        made = "passed, and nothing is open." if all_judged else f"that were made passed. {_NOT_ALL_JUDGED}"
        yield f"{'The one check' if len(assessed) == 1 else f'All {len(assessed)} checks'} {made}"
        return
    nothing = "Nothing that was checked is left to put right." if all_judged else _NOT_ALL_JUDGED
    told = f"{_not_passed(found)}{'' if items else f' {nothing}'}"
    yield f"{found[Verdict.PASS]} of {in_number(len(assessed), 'check')} passed.{told}"
    for number, item in enumerate(items[:_MOST_ON_COVER], 1):
        yield f"Open, {number} of {len(items)}: {_item(item)}"
    if len(items) > _MOST_ON_COVER:
        yield f"All of them stand on {page_of(CARE)}."


def in_owners_words(text: str) -> str:
    """Text without "±" and what stands after it, and with a real minus.

    >>> in_owners_words("1.72 ± 0.05 V at -4 degrees")
    '1.72\\xa0V at −4°'
    """
    return as_printed(_UNCERTAINTY.sub("", text))


def _item(item: PunchItem) -> str:
    """What is open, as an owner can follow it: a check that tells by numbers is named, and the Record has them."""
    text = item.owner or item.text
    if item.check:
        text = f"{named(item.about, item.check)}: {_WHAT_IS_OPEN.get(item.why, 'not in order')}"
    elif item.about:
        text = f"{item.about}: {text}"
    told = in_owners_words(text)
    return f"{told[:1].upper()}{told[1:].rstrip('.')}."


def _cautions(view: JobView, host: PluginHost) -> Iterator[Part]:
    told = dict.fromkeys(one.to_owner for one in cautions(view, host) if one.to_owner)
    if told:
        yield {"kind": "section", "words": "Before you go"}
        yield listed((("\u2022", text) for text in told), size="body", indent=3.0)


def _open(view: JobView, host: PluginHost, assessed: Sequence[Assessed], all_judged: bool) -> Iterator[Part]:
    items = punch_list(view, host, assessed)
    unjudged = counts(assessed)[Verdict.NOT_ENOUGH_DATA]
    yield {"kind": "section", "words": "What is open"}
    if items:
        yield listed(((f"{number}", _item(item)) for number, item in enumerate(items, 1)), size="body")
        yield words(f"The Record says more of each: {page_of(PUNCH_LIST)}.", "note", colour="quiet")
    elif unjudged:
        yield words(
            f"Nothing that was checked is left to put right. {in_number(unjudged, 'check')} not made: the Record, from "
            f"{number_of(RECORD_PART)}, says why.",
            "body",
        )
    elif all_judged:
        yield words("Nothing.", "body")
    if advised := dict.fromkeys(_advice(one.finding) for one in assessed if one.finding.verdict is Verdict.ADVISE):
        yield {"kind": "section", "words": "Advice"}
        yield listed((("\u2022", text) for text in advised), size="body", indent=3.0)
        yield words(f"The Record says what to do about each: from {number_of(RECORD_PART)}.", "note", colour="quiet")
    if not all_judged:
        yield words(f"{_NOT_ALL_JUDGED} What is open there is not known.", "body", bold=True)


def _signed(view: JobView, state: HandOver, proof: Proof | None) -> Iterator[Part]:
    rows = [
        (one.role.capitalize(), one.name, date_in_words(one.at) + (", before later changes" if one.stale else ""))
        for one in view.sign_offs
    ]
    yield {"kind": "section", "words": "Signed"}
    if rows:
        yield words(
            "A signature says that its writer has seen this book: what was checked and measured, what is open, and the "
            "cautions.",
            "body",
        )
        yield owner_table("", ("Who", "Name", "On"), rows)
        yield words(f"What each covers: {page_of(SIGNATURES)}.", "note", colour="quiet")
    if not state.is_done:
        yield words(f"Not handed over yet: {'; '.join(state.lacking)}.", "body", bold=True)
    if proof is not None:
        yield _proof(view, proof)


def _proof(view: JobView, proof: Proof) -> Part:
    """What a copy of this book is compared by: hull number and root, as text and as a code."""
    number = view.vessel.hull_number
    shown = hull_number.printed(number)
    return {
        "kind": "proof",
        "code": qr_code(f"{number} {proof.root}"),
        "alt": f"Code with the hull number {shown} and the root of this book, {proof.root}.",
        "title": f"Hull number {shown}",
        "root": [in_groups(proof.root[start : start + 32]) for start in (0, 32)],
        "words": "The shop holds what this book was made of. By this number it tells whether a copy is true.",
    }


def _page(blocks: Sequence[Block], show: _Pictures) -> Iterator[Part]:
    """Digits in rows at the head; those after steps to follow stay after them."""
    ends = next((place for place, block in enumerate(blocks) if isinstance(block, Steps)), len(blocks))
    yield from _digits(blocks[:ends])
    for block in blocks:
        if not isinstance(block, Digits | Number):
            yield from _parts(block, show)
    yield from _digits(blocks[ends:])


def _digits(blocks: Sequence[Block]) -> Iterator[Part]:
    digits = [_as_digits(block) for block in blocks if isinstance(block, Digits | Number)]
    if digits:
        yield big_digits([(in_owners_words(one.text), one.name, one.lines) for one in digits])


def _as_digits(block: Digits | Number) -> Digits:
    if isinstance(block, Digits):
        return block
    return Digits(f"{rounded(block.value, block.decimals)}\u00a0{block.unit}".rstrip(), block.name)


def _parts(block: Block, show: _Pictures) -> Iterator[Part]:
    if isinstance(block, str):
        yield words(in_owners_words(block), "body")
    elif isinstance(block, Table):
        yield owner_table(block.title, block.headings, block.rows)
    elif isinstance(block, Figure):
        yield figure(block)
    elif isinstance(block, Ruler):
        yield {"kind": "figure", "alt": block.alt, "chart": ruler_drawn(block)}
    elif isinstance(block, Bars):
        yield {"kind": "figure", "alt": block.alt, "chart": bars_drawn(block)}
    elif isinstance(block, Plan):
        yield from _plan(block)
    elif isinstance(block, Steps):
        if block.title:
            yield {"kind": "section", "words": block.title}
        yield {"kind": "steps", "steps": [in_owners_words(one) for one in block.steps]}
    elif isinstance(block, Photographs):
        yield from show.of(block, _PHOTO_HIGH)
    elif isinstance(block, Finding):
        yield words(in_owners_words(f"{block.about}: {result_of(block)}"), "body")


_LISTS = ((True, "First, when something is wrong"), (False, "Also good to know"))


def _plan(plan: Plan) -> Iterator[Part]:
    """The plan with its lists beside it; under three places on it the lists alone."""
    numbered = [*enumerate(plan.places, 1)]
    lists = [
        [title, [[f"{number}", one.name] for number, one in numbered if one.is_first is is_first], is_first]
        for is_first, title in _LISTS
    ]
    chart = plan_drawn(plan)
    told = ", ".join(f"{number} {one.name}" for number, one in numbered)
    yield {
        "kind": "plan",
        "alt": f"The boat from above, bow up, with places: {told}.",
        "chart": chart,
        "lists": [one for one in lists if one[1]],
    }


class _Pictures:
    """Photos for the owner's pages."""

    def __init__(self, view: JobView, host: PluginHost, drawn: Drawn) -> None:
        self._view, self._host, self._drawn = view, host, drawn

    def of(self, asked: Photographs, high: float) -> Iterator[Part]:
        for photo in photos_of(self._view, self._host, asked.step):
            if _is_asked(photo, asked) and (found := self._drawn(photo)):
                file, across, down = found
                width = min(TEXT_WIDTH, high * across / down)
                called = [[f"{number}", one.word] for number, one in enumerate(photo.arrows, 1) if one.word]
                alt = f"Photo. {', '.join(' '.join(one) for one in called)}." if called else "Photo of the boat."
                yield {
                    "kind": "photo",
                    "file": file,
                    "width": width,
                    "height": width * down / across,
                    "alt": alt,
                    "called": called,
                }


def _is_asked(photo: Photo, asked: Photographs) -> bool:
    if asked.field:
        return photo.place[1] == asked.field
    return any(one.word for one in photo.arrows)
