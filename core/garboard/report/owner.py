"""Your boat, the first part of the handover book: in the owner's words, without ±, bases and codes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from garboard.findings import Figure, Finding, Number, Table
from garboard.report.blocks import Block as Part
from garboard.report.blocks import figure, owner_table, row_of_numbers, with_minus, words
from garboard.report.outline import result_of
from garboard.steps import YOUR_BOAT, Block, ReportSection

Built = Sequence[tuple[ReportSection, Sequence[Block]]]


def owner_pages(built: Built) -> Iterator[Mapping[str, Any]]:
    """The owner's pages: sections of one title share a page, their numbers in one row at its head."""
    pages: dict[str, list[Block]] = {}
    for section, blocks in built:
        if section.part == YOUR_BOAT and blocks:
            pages.setdefault(section.title, []).extend(blocks)
    for title, blocks in pages.items():
        yield {"title": title, "blocks": [*_page(blocks)]}


def _page(blocks: Sequence[Block]) -> Iterator[Part]:
    numbers = [block for block in blocks if isinstance(block, Number)]
    if numbers:
        yield row_of_numbers((_plain(one), one.name) for one in numbers)
    for block in blocks:
        if not isinstance(block, Number):
            yield _part(block)


def _part(block: str | Table | Figure | Finding) -> Part:
    if isinstance(block, str):
        return words(with_minus(block), "body")
    if isinstance(block, Table):
        return owner_table(block.title, block.headings, block.rows)
    if isinstance(block, Figure):
        return figure(block)
    return words(with_minus(f"{block.about}: {result_of(block)}"), "body")


def _plain(number: Number) -> str:
    """A number without its uncertainty: that stands in the Record."""
    told = f"{number.value:.{number.decimals}f}"
    told = told.removeprefix("-") if not float(told) else told
    return f"{with_minus(told)}\u00a0{number.unit}".rstrip()
