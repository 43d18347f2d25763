"""A handover book proves itself: the root over its entries, the entry about its issue, and `garboard verify`."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from functools import partial
from io import BytesIO
from pathlib import Path
from types import ModuleType
from typing import Any

import attrs
import pytest
import zxingcpp
from PIL import Image

import small_plugin
from garboard.disk import entries as disk_entries
from garboard.disk.entries import ISSUED, KINDS, Entry, read_entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, measure, move_job, retract, sign_off
from garboard.history.authority import managers_part
from garboard.history.boat import Boat, open_entries, open_hull
from garboard.history.exchange import import_job
from garboard.history.proof import HEADING, hash_of, issue, issued_books, proof_of, root_of
from garboard.history.registers import name_of, register_of
from garboard.history.replay import replay
from garboard.history.shapes import Shape, misfit_of
from garboard.hosting.host import PluginHost, make_host
from garboard.judging.verifying import (
    EntriesState,
    FileState,
    books_beside,
    entries_checked,
    file_checked,
    files_lacking,
    judged_anew,
)
from garboard.records import JsonValue
from garboard.report.blocks import qr_code
from garboard.report.press import settable
from garboard.report.record_file import attachments, changes, record_in, told, versions_changed
from run_program import run

HULL, JOB = "ABC12345C393", "J-1"
PDF = b"%PDF as it was issued"


def _author(by: str = "M. Office") -> Author:
    return Author("the shop", by, plugins={"small": "3"})


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the small job, nobody's signature, and no book. Tests copy what they read out of it."""
    folder = tmp_path_factory.mktemp("proof")
    job = attrs.evolve(small_plugin.small_job(), sign_offs=())
    with HullFolder(folder) as hulls:
        import_job(hulls, job, folder, _author())
    return folder


@pytest.fixture
def entries(kept: Path) -> list[Entry]:
    with HullFolder(kept, read_only=True) as hulls:
        return [*hulls.entries(HULL)]


def boat_of(entries: Sequence[Entry]) -> Boat:
    return open_entries(lambda hull: entries if hull == HULL else (), HULL)


def test_the_root_is_worked_out_from_the_bytes_alone(entries: list[Entry]) -> None:
    """FIPS 180-4 by another hand: the heading, then each entry's digest in order."""
    digests = sorted(hashlib.sha256(entry.raw).digest() for entry in entries)
    assert proof_of(boat_of(entries), JOB).root == hashlib.sha256(b"garboard root 1\n" + b"".join(digests)).hexdigest()
    assert HEADING == b"garboard root 1\n", "a book in somebody's hands states a root with this heading"


def test_the_root_hangs_on_every_entry_and_on_no_order(entries: list[Entry]) -> None:
    whole = proof_of(boat_of(entries), JOB).root
    assert proof_of(boat_of(entries[::-1]), JOB).root == whole
    without = {proof_of(boat_of(entries[:place] + entries[place + 1 :]), JOB).root for place in range(len(entries))}
    assert len(without) == len(entries)
    assert whole not in without


def test_one_changed_byte_of_an_entry_changes_the_root(entries: list[Entry]) -> None:
    place = next(place for place, entry in enumerate(entries) if b"12.65 V" in entry.raw)
    changed = read_entry(entries[place].raw.replace(b"12.65 V", b"12.66 V"))
    found = entries_checked(boat_of([*entries[:place], changed, *entries[place + 1 :]]), *_stated(boat_of(entries)))
    assert (found.state, found.missing, found.added_count) == (EntriesState.CHANGED, 1, 1)
    assert found.added == ("small.horn/battery",)


def test_entries_of_a_job_that_was_moved_on_are_not_called_gone(entries: list[Entry]) -> None:
    """A book was issued where the job stood for a while; its entries never left the file they were written in."""
    right, other = "QQZ04418D626", "QQZ04419D626"
    held = [*entries, *move_job(_author(), replay(HULL, entries), replay(right, ()), JOB, "typed wrongly")]

    def boat_at(hull: str) -> Boat:
        return open_entries(lambda key: [entry for entry in held if entry.hull_key == key], hull)

    stated = _stated(boat_at(right))
    held += move_job(_author(), boat_at(right).states_to_move(JOB)[0], replay(other, ()), JOB, "read again")
    found = entries_checked(boat_at(right), *stated, lambda: {hash_of(entry) for entry in held})
    assert (found.state, found.missing, found.moved > 0) == (EntriesState.MOVED, 0, True)
    less = {hash_of(entry) for entry in held if b"12.65 V" not in entry.raw}
    assert entries_checked(boat_at(right), *stated, lambda: less).state is EntriesState.CHANGED


def _stated(boat: Boat) -> tuple[str, tuple[str, ...]]:
    proof = proof_of(boat, JOB)
    return proof.root, proof.hashes


def test_entries_of_a_kind_nobody_knows_are_covered(entries: list[Entry]) -> None:
    strange = _author().write(boat_of(entries).state, "kind of tomorrow", (), "x", job=JOB)
    assert proof_of(boat_of([*entries, strange]), JOB).root != proof_of(boat_of(entries), JOB).root


def test_a_book_that_was_issued_does_not_change_the_root_it_states(entries: list[Entry]) -> None:
    before = boat_of(entries)
    proof = proof_of(before, JOB)
    entry = issue(_author(), before, JOB, PDF, proof)
    assert entry is not None
    after = boat_of([*entries, entry])
    assert proof_of(after, JOB) == proof
    assert issue(_author(), after, JOB, PDF, proof) is None, "one file is issued once"
    taken_back = retract(_author(), after.state, register_of(entry), "it was a trial")
    assert proof_of(boat_of([*entries, entry, taken_back]), JOB).root == proof.root
    assert issued_books(boat_of([*entries, entry, taken_back]), JOB) == ()


def test_the_entry_says_what_was_issued_and_nothing_else_changes(entries: list[Entry]) -> None:
    signed = [*entries, sign_off(_author(), boat_of(entries).state, JOB, "owner", "An Owner")]
    boat = boat_of(signed)
    entry = issue(_author(), boat, JOB, PDF, proof_of(boat, JOB))
    assert entry is not None
    after = boat_of([*signed, entry])
    (book,) = issued_books(after, JOB)
    assert (book.sha256, book.root) == (hashlib.sha256(PDF).hexdigest(), proof_of(boat, JOB).root)
    assert isinstance(entry.value, dict)
    assert (entry.value["size"], entry.value["plugins"]) == (len(PDF), {"small": "3"})
    assert book.signed == ("owner",)
    assert after.view(JOB).sign_offs == boat.view(JOB).sign_offs, "no signature becomes stale"
    assert after.jobs == boat.jobs
    assert not after.view(JOB).unreadable
    assert managers_part(entry) == "", "a tablet may issue a book"
    assert name_of(register_of(entry)).startswith(f"book {JOB} ")
    bad = _author().write(boat.state, ISSUED, (JOB, "0" * 64), "no object")
    misfit = misfit_of(bad)
    assert misfit is not None
    assert misfit.expected is Shape.ISSUED


def test_a_program_that_does_not_know_the_kind_keeps_it_and_no_signature_is_stale(
    entries: list[Entry], monkeypatch: pytest.MonkeyPatch
) -> None:
    signed = [*entries, sign_off(_author(), boat_of(entries).state, JOB, "owner", "An Owner")]
    boat = boat_of(signed)
    entry = issue(_author(), boat, JOB, PDF, proof_of(boat, JOB))
    assert entry is not None
    known_here = boat_of([*signed, entry]).state.summary()
    monkeypatch.setattr(disk_entries, "KINDS", KINDS - {ISSUED})
    older = boat_of([read_entry(one.raw) for one in (*signed, entry)])
    assert [*older.state.unknown] == [entry.id]
    assert not any(one.stale for one in older.view(JOB).sign_offs)
    assert older.state.summary() == known_here, "both programs compare equal"


def test_revisions_name_what_came_between_them(entries: list[Entry]) -> None:
    draft = boat_of(entries)
    assert [revision.is_draft for revision in proof_of(draft, JOB).revisions] == [True]
    of_draft = issue(_author(), draft, JOB, b"%PDF draft", proof_of(draft, JOB))
    assert of_draft is not None
    entries = [*entries, of_draft]
    for role in ("technician", "owner"):
        entries.append(sign_off(_author(), boat_of(entries).state, JOB, role, "Somebody"))
    first = boat_of(entries)
    one = issue(_author(), first, JOB, PDF, proof_of(first, JOB))
    other_paper = issue(_author(), first, JOB, PDF + b" on A4", proof_of(first, JOB))
    heard = measure(_author(), first.state, JOB, "small.horn", "heard", value=True)
    assert one is not None
    assert other_paper is not None
    proof = proof_of(boat_of([*entries, one, other_paper, heard]), JOB)
    assert [revision.number for revision in proof.revisions] == [1, 2], "letter and A4 are one revision"
    assert proof.revisions[0].root == proof_of(first, JOB).root
    assert proof.revisions[1].names == ("small.horn/heard",)
    assert proof.revision.entries == len(entries), "all but the draft's, and what was heard"
    assert [one.is_draft for one in issued_books(boat_of([*entries, one]), JOB)] == [True, False]


# What is attached, and computed anew


@pytest.fixture(scope="module")
def book(kept: Path) -> bytes:
    """The book of the small job, made once."""
    from garboard.report.book import handover_book

    host = small_plugin.small_host()
    with HullFolder(kept, read_only=True) as hulls:
        boat = open_hull(hulls, HULL)
    view = boat.view(JOB)
    return handover_book(view, host, host.assess(view), proof=proof_of(boat, JOB))


def test_job_and_record_are_attached_and_the_file_is_pdf_a_3a_and_ua_1(book: bytes, entries: list[Entry]) -> None:
    """ISO 19005-3:2012, 6.6.4 and 6.8; ISO 14289-1:2014, 5: what a file says it conforms to, read by pikepdf."""
    import pikepdf

    with pikepdf.open(BytesIO(book)) as pdf:
        job = json.loads(pdf.attachments["job.json"].get_file().read_bytes())
        meta = pdf.open_metadata()
        said = meta["pdfaid:part"], meta["pdfaid:conformance"], meta["pdfuaid:part"]
        relations = {str(one.AFRelationship) for one in pdf.Root.AF}
    assert said == ("3", "A", "1")
    assert relations == {"/Data"}
    assert job["vessel"]["hull_number"] == HULL
    record = record_in(book)
    assert record is not None
    assert (record.root, record.entries) == _stated(boat_of(entries))
    assert root_of(record.entries) == record.root


def test_three_things_are_told_apart(book: bytes, kept: Path, entries: list[Entry]) -> None:
    boat, record = boat_of(entries), record_in(book)
    assert record is not None
    entry = issue(_author(), boat, JOB, book, proof_of(boat, JOB))
    assert entry is not None
    after = boat_of([*entries, entry])
    assert file_checked(boat, book, record.root).state is FileState.NEVER
    assert file_checked(after, book, record.root).state is FileState.ISSUED
    assert file_checked(after, book[:-2] + b"\n\n", record.root).state is FileState.ANOTHER
    assert entries_checked(after, record.root, record.entries).state is EntriesState.SAME
    assert entries_checked(after, record.root, record.entries[1:]).state is EntriesState.FALSE
    assert entries_checked(after, "", ()).state is EntriesState.NOT_STATED
    heard = measure(_author(), after.state, JOB, "small.horn", "heard", value=True)
    since = entries_checked(boat_of([*entries, entry, heard]), record.root, record.entries)
    assert (since.state, since.added) == (EntriesState.ADDED, ("small.horn/heard",))


def test_figures_are_computed_from_the_books_own_entries(book: bytes, kept: Path, tmp_path: Path) -> None:
    """An entry that came since is told as an entry; it changes no figure of the book."""
    record, host = record_in(book), small_plugin.small_host()
    assert record is not None
    with HullFolder(kept, read_only=True) as hulls, HullFolder(tmp_path) as later:
        for entry in hulls.entries(HULL):
            later.save(entry)
        boat = open_hull(later, HULL)
        later.save(measure(_author(), boat.state, JOB, "small.horn", "heard", value=True))
        now = open_hull(later, HULL).view(JOB)
        anew = told(judged_anew(later, HULL, JOB, record.entries, host))
    assert anew == record.findings
    assert told(host.assess(now)) != record.findings
    assert versions_changed(record, host) == ()


def _host_of_tomorrow() -> PluginHost:
    module: ModuleType = small_plugin.small_module()
    vars(module)["__version__"] = "4"
    return make_host((), entry_points=False, modules={"small": module})


def test_a_newer_plugin_is_told_with_what_it_finds_otherwise(book: bytes, kept: Path) -> None:
    record, host = record_in(book), _host_of_tomorrow()
    assert record is not None
    assert versions_changed(record, host) == ("small 3, now 4",)
    before = record.findings
    number = before[0].numbers[0]
    later = [attrs.evolve(before[0], numbers=((number[0], number[1] * 1.01, *number[2:]),)), *before[1:]]
    (change,) = changes(before, later)
    assert (change.step, change.about) == (before[0].step, before[0].about)
    assert change.was != change.now
    assert changes(before, [attrs.evolve(one, numbers=one.numbers) for one in before]) == ()
    (gone,) = changes(before, before[1:])
    assert gone.now == ""


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7 broken", b"no PDF at all"])
def test_a_file_that_is_no_book_carries_no_record(content: bytes) -> None:
    assert record_in(content) is None


def test_a_record_with_another_shape_is_none(small: dict[str, bytes]) -> None:
    plain = json.loads(small["record.json"])
    others: tuple[dict[str, object], ...] = (
        {"entries": ["zz"]},
        {"entries": 3},
        {"entries": [one.upper() for one in plain["entries"]]},
        {"findings": [_with_value(one, math.inf) for one in plain["findings"]]},
        {"findings": [_with_value(one, 10**400) for one in plain["findings"]]},
        {"findings": [{}]},
        {"version": 99},
        {"plugins": "x"},
    )
    for broken in others:
        assert record_in(_carrying({**plain, **broken})) is None
    assert record_in(_carrying(plain)) is not None


@pytest.fixture(scope="module")
def small(kept: Path) -> dict[str, bytes]:
    host = small_plugin.small_host()
    with HullFolder(kept, read_only=True) as hulls:
        boat = open_hull(hulls, HULL)
    view = boat.view(JOB)
    return attachments(view, host, host.assess(view), proof_of(boat, JOB))


def _with_value(finding: dict[str, Any], value: float) -> dict[str, Any]:
    """Infinity is within any share of itself: it was the same as every number."""
    return {**finding, "numbers": [{**one, "value": value} for one in finding["numbers"]]}


def test_a_record_writes_no_line_of_its_own(issued: tuple[Path, Path], tmp_path: Path) -> None:
    """Names in it are anybody's. The pages of a file that was not issued were not compared, and that is said."""
    from garboard.report.record_file import _attached

    shop, book = issued
    plain = json.loads(_attached(book.read_bytes()))
    plain["findings"][0]["about"] = "horn\nFile: issued, byte for byte, today"
    (tmp_path / "b.pdf").write_bytes(_carrying(plain))
    result = run("verify", tmp_path / "b.pdf", shop)
    assert result.exit_code == 1
    assert sum(line.startswith("File:") for line in result.output.splitlines()) == 1
    assert "What its pages show was not compared." in result.output
    assert f"The book has {len(plain['findings'])} finding" in result.output


def _carrying(plain: object) -> bytes:
    import pikepdf

    out = BytesIO()
    with pikepdf.new() as pdf:
        pdf.add_blank_page()
        content = json.dumps(plain).encode()
        pdf.attachments["record.json"] = pikepdf.AttachedFileSpec(pdf, content, mime_type="application/json")
        pdf.save(out)
    return out.getvalue()


def test_the_code_reads_as_hull_number_and_root(entries: list[Entry]) -> None:
    """ISO/IEC 18004, read by another program, of the modules as the typesetter gets them."""
    proof = proof_of(boat_of(entries), JOB)
    code = settable(qr_code(f"{HULL} {proof.root}"))
    drawn = Image.new("L", (8 * code["side"], 8 * code["side"]), 255)
    for across, down, length in code["runs"]:
        drawn.paste(0, (8 * across, 8 * down, 8 * (across + length), 8 * (down + 1)))
    (found,) = zxingcpp.read_barcodes(drawn)
    assert found.text == f"{HULL} {proof.root}"


# By command


@pytest.fixture(scope="module")
def issued(kept: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A folder of its own and the book that was issued of it, by command."""
    place = tmp_path_factory.mktemp("issued")
    with HullFolder(kept, read_only=True) as hulls, HullFolder(place / "shop") as shop:
        for entry in hulls.entries(HULL):
            shop.save(entry)
    result = run("book", place / "shop", "-o", place / "book.pdf", "--by", "M. Office")
    assert result.exit_code == 0, result.output
    assert "Kept: issued as a draft, root " in result.output
    return place / "shop", place / "book.pdf"


def test_a_book_as_it_was_issued_is_told_with_status_0(issued: tuple[Path, Path]) -> None:
    shop, book = issued
    result = run("verify", book, shop)
    assert result.exit_code == 0, result.output
    assert "File: issued, byte for byte" in result.output
    assert "by M. Office" in result.output
    assert "It is a draft: technician and owner had not both signed what it says." in " ".join(result.output.split())
    assert "Entries: the same root" in result.output
    assert "each verdict and number is the same" in result.output


def test_a_second_book_is_the_same_file_and_is_issued_once(issued: tuple[Path, Path], tmp_path: Path) -> None:
    shop, book = issued
    result = run("book", shop, "-o", tmp_path / "again.pdf")
    assert "Kept before: issued" in result.output
    assert (tmp_path / "again.pdf").read_bytes() == book.read_bytes()
    with HullFolder(shop, read_only=True) as hulls:
        assert len(issued_books(open_hull(hulls, HULL))) == 1


def test_one_changed_byte_is_told_with_status_1(issued: tuple[Path, Path], tmp_path: Path) -> None:
    shop, book = issued
    content = bytearray(book.read_bytes())
    content[10] ^= 1  # in the comment that marks the file as binary: it still opens
    (tmp_path / "b.pdf").write_bytes(content)
    result = run("verify", tmp_path / "b.pdf", shop, "--json")
    found = json.loads(result.output)
    assert result.exit_code == 1
    assert (found["file"]["state"], found["entries"]["state"], found["figures"]["state"]) == (
        "another file",
        "same root",
        "same",
    )


def test_what_cannot_be_checked_is_status_2(issued: tuple[Path, Path], tmp_path: Path) -> None:
    shop, book = issued
    (tmp_path / "x.pdf").write_bytes(b"no book")
    strange = run("verify", tmp_path / "x.pdf", shop)
    assert (strange.exit_code, "never issued here" in strange.output) == (1, True)
    assert run("verify", book, tmp_path).exit_code == 2
    assert run("verify", book, shop, "--hull", "QQZ04417D626").exit_code == 2


def test_entries_since_are_named_and_the_figures_stay_the_books(issued: tuple[Path, Path], tmp_path: Path) -> None:
    shop, book = issued
    with HullFolder(shop, read_only=True) as hulls, HullFolder(tmp_path / "later") as later:
        for entry in hulls.entries(HULL):
            later.save(entry)
        state = open_hull(later, HULL).state
        later.save(measure(_author(), state, JOB, "small.horn", "heard", value=True))
    result = run("verify", book, tmp_path / "later")
    assert result.exit_code == 1
    assert "File: issued" in result.output
    assert "Entries: 1 entry added since." in result.output
    assert "each verdict and number is the same" in result.output


def test_a_book_of_another_boat_with_the_same_number_is_told(issued: tuple[Path, Path], tmp_path: Path) -> None:
    """Every finding of the other boat was listed as one that had changed."""
    _, book = issued
    with HullFolder(tmp_path / "other") as other:
        other.save(measure(_author(), open_hull(other, HULL).state, JOB, "small.horn", "heard", value=False))
    result = run("verify", book, tmp_path / "other")
    assert result.exit_code == 1
    assert "File: never issued here." in result.output
    assert "of the book's are not here, or were changed; 1 entry added since." in result.output
    assert "Figures: none of the book's entries are here, so nothing can be computed anew." in result.output
    assert "another boat with this hull number" in result.output
    plain = json.loads(run("verify", book, tmp_path / "other", "--json").output)
    assert (plain["same"], plain["figures"]["state"]) == (False, "cannot be told")


def test_a_recording_that_is_not_here_whole_is_named(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        file = hulls.attachments.put(b"time,engine_speed#0 [rev/min]\n0,5800\n")
        value: JsonValue = {"file": file, "name": "trial.csv"}
        hulls.save(measure(_author(), open_hull(hulls, HULL).state, JOB, "small.horn", "log", value=value))
        assert files_lacking(hulls, open_hull(hulls, HULL)) == ()
        (tmp_path / "attachments" / file).write_bytes(b"time,engine_speed#0 [rev/min]\n0,5900\n")
        assert files_lacking(hulls, open_hull(hulls, HULL)) == ("trial.csv",)


def test_nothing_printed_for_an_owner_speaks_of_memory() -> None:
    """Every basis is confirmed and cited, or is common practice."""
    host = make_host(entry_points=False)
    bases = [basis for one in host.calculators for basis in one.basis]
    bases += [caution.basis for step in host.steps for caution in step.cautions]
    bases += [setting.basis for setting in host.settings]
    texts = [f"{basis}" for basis in bases]
    assert texts
    assert not [text for text in texts if "memory" in text or "not read" in text or "confirm before" in text]


def test_a_book_of_a_job_that_was_moved_stays_its_book_wherever_it_goes(entries: list[Entry], tmp_path: Path) -> None:
    right, other = "QQZ04418D626", "QQZ04419D626"
    held = [*entries, *move_job(_author(), replay(HULL, entries), replay(right, ()), JOB, "typed wrongly")]

    def boat_at(hull: str) -> Boat:
        return open_entries(lambda key: [entry for entry in held if entry.hull_key == key], hull)

    issued = issue(_author(), boat_at(right), JOB, PDF, proof_of(boat_at(right), JOB))
    assert issued is not None
    held += [issued, *move_job(_author(), boat_at(right).states_to_move(JOB)[0], replay(other, ()), JOB, "read again")]
    assert [one.sha256 for one in issued_books(boat_at(other), JOB)] == [hashlib.sha256(PDF).hexdigest()]
    with HullFolder(tmp_path) as folder:
        for entry in held:
            folder.save(entry)
        where_it_was = open_hull(folder, right)
        assert file_checked(where_it_was, PDF, "").state is FileState.NEVER
        assert file_checked(where_it_was, PDF, "", partial(books_beside, folder)).state is FileState.ISSUED
