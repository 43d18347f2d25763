"""The owner's book from the tablet: as PDF where the office part is installed, else put down for the shop."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from garboard.disk.storage import make_folder, write_whole
from garboard.history.registers import RegisterKey
from garboard.report.press import NEEDED
from garboard_tablet.models.tablet import Tablet

if TYPE_CHECKING:
    from garboard.history.plans import SetAside
    from garboard.history.proof import Proof
    from garboard.hosting.host import PluginHost
    from garboard.job_view import JobView
    from garboard.report.photos import PhotoLoader

BOOKS_FOLDER = "books"
WANTED = ("book",)


@attrs.frozen
class BookState:
    """How the book stands."""

    sentence: str
    lines: tuple[str, ...] = ()


def can_make_book() -> bool:
    """Whether what makes the PDF is installed."""
    return all(importlib.util.find_spec(part) is not None for part in NEEDED)


def book_path(tablet: Tablet, hull: str, job: str) -> Path:
    return tablet.folder / BOOKS_FOLDER / f"{hull}-{job}.pdf"


def book_state(tablet: Tablet, hull: str, job: str) -> BookState:
    path = book_path(tablet, hull, job)
    if path.exists():
        return BookState(f"The book is made: {path.stat().st_size // 1024} kB.", (str(path),))
    if tablet.state_of(hull, job).current(RegisterKey("job", job, WANTED)):
        return BookState("Requested from the shop. The shop makes it when this job comes ashore.")
    if can_make_book():
        return BookState("Not made yet. It takes a few seconds.")
    return BookState("Not made yet.", ("This tablet cannot make it. The shop makes it from the same job.",))


def put_down(tablet: Tablet, hull: str, job: str) -> None:
    """Put the book down for the shop."""
    from garboard.history.registers import RegisterKey

    wanted = RegisterKey("job", job, WANTED)
    state = tablet.state_of(hull, job)
    if not state.current(wanted):
        tablet.save(tablet.author().write(state, "job", WANTED, "wanted", job=job))


def make_book(
    view: JobView,
    host: PluginHost,
    path: Path,
    unread: int = 0,
    load_photo: PhotoLoader | None = None,
    proof: Proof | None = None,
    aside: SetAside | None = None,
) -> bytes:
    """Make the book and keep it as a file. Takes seconds: call it in the background.

    unread     : how many entries of the boat could not be read
    load_photo : gives the files of photos
    proof      : of the entries it is made of
    aside      : that a manager set the job aside
    """
    from garboard.report.book import handover_book
    from garboard.report.photos import no_photo

    make_folder(path.parent)
    load = load_photo or no_photo
    assessed = host.assess(view)
    book = handover_book(view, host, assessed, unread=unread, load_photo=load, proof=proof, aside=aside)
    write_whole(path, [book])
    return book


def keep_issued(tablet: Tablet, hull: str, job: str, book: bytes, proof: Proof) -> None:
    """Keep that a book was issued."""
    from garboard.history.proof import issue

    entry = issue(tablet.author(), tablet.boat(hull), job, book, proof)
    if entry is not None:
        tablet.save(entry)
