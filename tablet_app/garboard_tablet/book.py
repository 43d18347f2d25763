"""The owner's book from the tablet: as PDF where the office part is installed, else put down for the shop."""

from __future__ import annotations

import importlib
import importlib.util
from pathlib import Path

import attrs

from garboard.fold import SlotKey
from garboard.storage import make_folder, write_whole
from garboard_tablet.models.tablet import Tablet

BOOKS_FOLDER = "books"
WANTED = SlotKey("job", "", ("book",))


@attrs.frozen
class BookState:
    """How the book stands."""

    sentence: str
    lines: tuple[str, ...] = ()


def can_make_book() -> bool:
    """Whether what makes the PDF is installed."""
    parts = ("fpdf", "matplotlib", "garboard.report.book")
    return all(importlib.util.find_spec(part) is not None for part in parts)


def book_path(tablet: Tablet, hull: str, job: str) -> Path:
    return tablet.folder / BOOKS_FOLDER / f"{hull}-{job}.pdf"


def book_state(tablet: Tablet, hull: str, job: str) -> BookState:
    path = book_path(tablet, hull, job)
    if path.exists():
        return BookState(f"The book is made: {path.stat().st_size // 1024} kB.", (str(path),))
    if tablet.fold(hull).standing(WANTED._replace(job=job)):
        return BookState("Put down for the shop. It is made when this job comes ashore.")
    if can_make_book():
        return BookState("Not made yet. It takes a few seconds.")
    return BookState("Not made yet.", ("What makes it is not on this tablet; the shop makes it from the same job.",))


def make_book(tablet: Tablet, hull: str, job: str) -> None:
    """Make the book, or put it down for the shop."""
    if not can_make_book():
        state = tablet.fold(hull)
        tablet.save(hull, tablet.author().write(state, "job", WANTED.subject, "wanted", job=job))
        return
    book = importlib.import_module("garboard.report.book")
    path = book_path(tablet, hull, job)
    make_folder(path.parent)
    view = tablet.view(hull, job)
    write_whole(path, [book.book_pdf(view, tablet.host, tablet.host.assess(view))])
