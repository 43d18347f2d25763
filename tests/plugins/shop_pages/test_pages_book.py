"""The book made from the pages says how many entries could not be read, as `garboard book` does."""

from __future__ import annotations

import errno
import hashlib
import shutil
from collections.abc import Callable, Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from garboard.commands.cli import program
from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry
from garboard.disk.hullfile import HULLS_FOLDER, CheckedEntries, HullFolder
from garboard.disk.journal import file_name
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.history import handed_in
from garboard.history.authoring import Author, measure
from garboard.history.handed_in import FOLDER
from garboard.history.proof import issued_books
from garboard.history.replay import HullState
from garboard.hosting.host import PluginHost, make_host
from garboard.records import JsonValue
from garboard.report import book, press
from garboard.report.press import NotTypeset
from garboard.report.record_file import Told, told
from garboard.report.terminal import Tools
from garboard.steps import Assessed
from garboard_shop.pages import views
from garboard_shop.pages.summaries import open_boat
from pages_rig import KITTIWAKE, NOON, SALTGRASS, Pages, words_of

SAID = "1 entry could not be read"


def _covers(folder: Path, host: PluginHost) -> list[str]:
    """The first page of the book of two boats, from a server that has just begun."""
    with Pages(folder, host) as pages:
        manager = pages.signed_in()
        found = []
        for hull in (KITTIWAKE, SALTGRASS):
            summary = pages.desk.summaries.of(hull)
            assert summary is not None
            book = manager.get(f"/boats/{hull}/jobs/{summary.jobs[0].id}/book.pdf").content
            found.append(PdfReader(BytesIO(book)).pages[0].extract_text())
    return found


def test_a_damaged_file_is_told_in_the_book_until_its_entry_is_back(pages: Pages) -> None:
    """Also by the next server, which finds the file mended; and not of a write that a power cut ended half-way."""
    folder, host = pages.store.hulls.folder, make_host((), entry_points=False)  # a book without checks is a short one
    pages.store.close()
    path = folder / HULLS_FOLDER / file_name(KITTIWAKE)
    sound = path.read_bytes()
    *lines, last = sound.split(b"\n")
    spoilt = [*lines[:3], lines[3][:50] + b"\xff" + lines[3][51:], *lines[4:], last]
    path.write_bytes(b"\n".join(spoilt))
    for _ in range(2):
        damaged, other = _covers(folder, host)
        assert (SAID in damaged, SAID in other) == (True, False)
    issued = b"".join(line + b"\n" for line in path.read_bytes().split(b"\n") if b'"kind":"issued"' in line)
    assert issued, "each book that was made is kept as issued"
    path.write_bytes(sound + issued + lines[5][:60])
    assert [SAID in cover for cover in _covers(folder, host)] == [False, False]


def test_a_book_that_was_not_made_is_told_and_one_whose_photos_went_meanwhile_is_not_kept(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    manager, made = pages.signed_in(), list[bool]()
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    path, entries = f"/boats/{SALTGRASS}/jobs/{summary.jobs[0].id}/book.pdf", pages.entries()

    def no_room(*_: str) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def killed(*_given: Any, **_named: Any) -> bytes:
        raise NotTypeset("No book was made: the typesetter was ended, with status -9")

    monkeypatch.setattr(book, "handover_book", killed)
    answer = manager.get(path)
    assert answer.status_code == 503
    assert "No book was made" in words_of(answer.text)
    with monkeypatch.context() as patch:
        patch.setattr(book, "handover_book", lambda *_, **__: press.pressed({}, {}))
        patch.setattr(press, "ScratchFolder", no_room)
        answer = manager.get(path)
    assert answer.status_code == 507
    assert "no room for its files. Free some space there" in words_of(answer.text)
    assert pages.entries() == entries, "nothing is kept as issued"

    def one_goes(*_given: Any, **_named: Any) -> bytes:
        made.append(True)
        here[:] = [] if len(made) == 1 else here
        return b"%PDF"

    here: list[str] = []
    monkeypatch.setattr(book, "handover_book", one_goes)
    monkeypatch.setattr(views, "_pictures_here", lambda *_: [*here])
    for _ in range(3):
        here[:] = ["a"]
        assert manager.get(path).content == b"%PDF"
    assert len(made) == 2
    other: dict[str, JsonValue] = {
        "root": "ab" * 32,
        "entries": 1,
        "until": "2026-05-14",
        "signed": ["technician", "owner"],
        "covers": "",
    }
    issued = make_entry(
        "issued",
        SALTGRASS,
        dev="tablet 9",
        by="R. Vane",
        clock=Stamp(NOON, 0),
        at="2026-05-14T10:00:00+00:00",
        subject=(summary.jobs[0].id, "0" * 64),
        value=other,
    )
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({issued.id: issued.raw})}, "1" * 12, NOON, 0)
    for _ in range(2):
        manager.get(path)
    assert len(made) == 3, "two books of different entries would both be its first revision"


def test_a_book_from_the_page_keeps_the_figures_that_the_command_keeps(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a boat typed in kW it kept kW, and `garboard verify` said of each such figure that it differs."""
    author, state = Author("tablet 9", "A. Hand"), open_boat(pages.store, SALTGRASS)[0].state
    power = author.write(state, "field", ("plate_power",), "112 kW")
    entries = [power, author.write(state, "field", ("engines", "centre", "rated_power"), "112 kW")]
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({one.id: one.raw for one in entries})}, "1" * 12, NOON, 0)
    summary = pages.desk.summaries.of(SALTGRASS)
    assert summary is not None
    (job,) = summary.jobs
    kept = list[tuple[Told, ...]]()

    def made(_view: object, _host: object, assessed: Sequence[Assessed], *_: object, **_more: object) -> bytes:
        kept.append(told(assessed))
        return b"%PDF"

    monkeypatch.setattr(book, "handover_book", made)
    pages.signed_in().get(f"/boats/{SALTGRASS}/jobs/{job.id}/book.pdf")
    assert told(job.assessed) != told(job.judged)
    assert kept == [told(pages.desk.host.assess(job.view))]


@pytest.mark.parametrize("hull", [SALTGRASS])
def test_a_sound_boat_is_not_accused(pages: Pages, hull: str) -> None:
    assert pages.store.unread([hull]) == 0
    assert "could not be read" not in words_of(pages.signed_in().text(f"/boats/{hull}"))


def test_a_book_by_command_is_kept_by_the_shop_that_has_its_folder_open(
    pages: Pages, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command waits for it, and says where it lies while nobody takes it."""
    bare = make_host((), entry_points=False)  # a book without checks is a short one
    monkeypatch.setattr(Tools, "host_for", lambda *_: bare)
    monkeypatch.setattr(handed_in, "PATIENCE", 0.0)
    folder, desk = pages.store.hulls.folder, pages.desk
    out = tmp_path / "book.pdf"

    def book() -> Result:
        words = ["book", str(folder), "--hull", SALTGRASS, "--by", "M. Office", "-o", str(out)]
        return CliRunner().invoke(program, words)

    def raising(failure: Exception) -> Callable[..., None]:
        def put(*_: object) -> None:
            raise failure

        return put

    def issued() -> list[str]:
        return [one.sha256 for one in issued_books(open_boat(pages.store, SALTGRASS)[0])]

    waits = book()
    assert (waits.exit_code, "Not kept yet that it was issued" in waits.stderr, issued()) == (1, True, [])
    (lies,) = (folder / FOLDER).iterdir()
    assert str(lies) in waits.stderr
    odd = lies.with_name("odd.entry")
    odd.write_bytes(b"{}")
    (lies.with_name("first.refused") / "in the way").mkdir(parents=True)
    lies.with_name("first.entry").write_bytes(b"{}")
    for failure in (NotSaved("the disk is full"), NewerFormat("the boat's file is of a newer version")):
        with monkeypatch.context() as patch:
            patch.setattr(pages.store, "put_if_absent", raising(failure))
            desk.take_handed_in()
        assert lies.exists(), "it waits, and the board is made ready all the same"
    shutil.rmtree(lies.with_name("first.refused"))
    lies.with_name("first.entry").unlink()
    desk.take_handed_in()
    assert issued() == [hashlib.sha256(out.read_bytes()).hexdigest()]
    assert [path.name for path in (folder / FOLDER).iterdir()] == ["odd.refused"]
    assert "Kept before: issued" in book().stdout

    def by_hand(path: Path) -> bool:
        desk.take_handed_in()
        return taken(path)

    taken = handed_in.is_taken
    monkeypatch.setattr(handed_in, "is_taken", by_hand)
    entry = measure(Author("tablet 9", "A. Hand"), HullState(SALTGRASS), "saltgrass-2026-05", "s", "f", True)
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    kept = book()
    assert (kept.exit_code, "Kept: issued" in kept.stdout, len(issued())) == (0, True, 2)


def test_a_book_of_a_folder_another_program_has_open_says_what_to_do(tmp_path: Path) -> None:
    author = Author("tablet 9", "A. Hand")
    with HullFolder(tmp_path / "boats") as folder:
        folder.save(measure(author, HullState(SALTGRASS), "job", "s", "f", True))
        words = ["book", str(tmp_path / "boats"), "-o", str(tmp_path / "book.pdf")]
        told = CliRunner().invoke(program, words)
    assert told.exit_code == 1
    assert "Then write the book again. With --no-entry it is written without." in told.stderr
    assert not (tmp_path / "boats" / "shop").exists()
