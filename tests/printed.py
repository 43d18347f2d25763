"""What stands on the pages of a PDF, read by PDFium: of a book in a twentieth of the second that pypdf takes."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import attrs


@attrs.frozen
class Piece:
    """Words that the file sets with one operator, as it sets them.

    left, baseline : where they begin [points from the lower left], by the file's matrices (ISO 32000-1:2008, 8.3.4)
    size           : of the typeface [points]
    """

    text: str
    left: float
    baseline: float
    size: float
    typeface: str


@lru_cache(maxsize=16)
def page_texts(content: bytes) -> tuple[str, ...]:
    """The text of each page, line by line."""
    import pypdfium2  # by the tests that use it: the other worker goes without

    with pypdfium2.PdfDocument(content) as document:
        return tuple(page.get_textpage().get_text_range().replace("\r\n", "\n") for page in document)


def printed_words(content: bytes) -> str:
    """The text of all pages on one line; a place where a long word may be broken is no blank."""
    return " ".join(" ".join(page_texts(content)).replace("\u200b", "").split())


@lru_cache(maxsize=4)
def pieces_of(content: bytes) -> tuple[tuple[Piece, ...], ...]:
    """Every piece of text, page by page; also those within figures."""
    import pypdfium2
    from pypdfium2.raw import FPDF_PAGEOBJ_TEXT

    def piece(found: Any) -> Piece:
        matrix = found.get_matrix()
        name = found.get_font().get_base_name()
        return Piece(found.extract(), matrix.e, matrix.f, found.get_font_size(), name)

    with pypdfium2.PdfDocument(content) as document:
        pages = []
        for page in document:
            found = page.get_objects(filter=[FPDF_PAGEOBJ_TEXT], textpage=page.get_textpage())
            pages.append(tuple(map(piece, found)))
        return tuple(pages)
