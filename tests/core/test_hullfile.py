"""The folder of hull files: put in, found again, never changed."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import random
import sys
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.disk import hullfile, storage
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, carried_by, entry_id, make_entry
from garboard.disk.hullfile import HullFolder, digest_of
from garboard.disk.journal import Journal, file_name, heading, read
from garboard.disk.sizes import FileSizes, check_of
from garboard.disk.storage import FolderInUse, NotSaved
from garboard.faults import InputError
from garboard.history.merge import merge

HULL = "ABC00001A526"
OTHER = "XYZHJKLMF626"


def make(number: int, hull: str = HULL, **changes: Any) -> Entry:
    fields: dict[str, Any] = {
        "kind": "measure",
        "dev": "tablet-07",
        "by": "Ines",
        "clock": Stamp(1_778_752_800_000 + number, 0),
        "at": "2026-05-14T12:00:00+02:00",
        "job": "j1",
        "subject": ["prop_check", "full_throttle", "boat_speed"],
        "value": f"{number}.5 kn",
    }
    return make_entry(hull=hull, **{**fields, **changes})


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[HullFolder]:
    with HullFolder(tmp_path / "tablet") as opened:
        yield opened


@pytest.fixture
def flushed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The size of each file flushed [bytes], in order."""
    sizes: list[int] = []
    real = storage.flush

    def flush(descriptor: int) -> None:
        sizes.append(os.fstat(descriptor).st_size)
        real(descriptor)

    monkeypatch.setattr(storage, "flush", flush)
    return sizes


def file_of(folder: HullFolder, hull: str = HULL) -> Path:
    return folder.folder / "hulls" / file_name(folder.hull(hull).key)


def test_asking_for_hulls_nobody_has_opens_no_file_and_keeps_nothing(
    folder: HullFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many are asked for; the one that comes later is found."""
    real, opened = Journal, []

    def counted(*arguments: Any, **named: Any) -> Any:
        opened.append(arguments[1])
        return real(*arguments, **named)

    monkeypatch.setattr(hullfile, "Journal", counted)
    for number in range(200):
        asked = f"ABC{number:05d}A526"
        assert (folder.ids(asked), folder.count(asked), folder.get(asked)) == (frozenset(), 0, {})
    assert opened == []
    folder.save(make(1))
    assert folder.count(HULL) == 1
    assert opened == [HULL]


def test_a_saved_entry_is_there_after_reopening(tmp_path: Path) -> None:
    """Byte for byte, under its id."""
    entry = make(1)
    with HullFolder(tmp_path) as first:
        assert first.save(entry) == entry.id
    with HullFolder(tmp_path) as second:
        assert second.get(HULL) == {entry.id: entry.raw}
        assert second.damage() == ()


def test_a_hull_is_found_however_its_number_is_typed(folder: HullFolder) -> None:
    """Case, spaces and hyphens make no second boat."""
    folder.save(make(1, hull="abc-00001-a526"))
    folder.save(make(2, hull="ABC 00001A526"))
    assert folder.hulls() == (HULL,)
    assert len(folder.ids("ABC00001A526")) == 2


def test_an_entry_put_in_twice_is_there_once(folder: HullFolder) -> None:
    """The second time nothing is added, not even to the file."""
    entry = make(1)
    assert folder.put_if_absent(HULL, [entry]).added == (entry.id,)
    size = file_of(folder).stat().st_size
    assert folder.put_if_absent(HULL, [entry.raw, entry]).added == ()
    assert file_of(folder).stat().st_size == size


def test_entries_come_back_by_id(folder: HullFolder) -> None:
    """Ids that are not here are left out."""
    entries = [make(number) for number in range(3)]
    folder.put_if_absent(HULL, entries)
    assert folder.get(HULL, [entries[1].id, "f" * 32]) == {entries[1].id: entries[1].raw}
    assert set(folder.offer(HULL, {entries[0].id: entries[0].raw}).unknown) == {entries[1].id, entries[2].id}
    assert folder.entries(HULL) == tuple(entries)


def test_a_hull_never_heard_of_is_empty(folder: HullFolder) -> None:
    """Asking makes no file."""
    assert not folder.offer(OTHER, {}).ids
    assert folder.ids(OTHER) == frozenset()
    assert folder.get(OTHER) == {}
    assert folder.hulls() == ()


def test_an_entry_of_another_hull_is_refused_by_name(folder: HullFolder) -> None:
    """The others of the batch are kept."""
    stranger, ours = make(1, hull=OTHER), make(2)
    put = folder.put_if_absent(HULL, [stranger, ours])
    assert put.added == (ours.id,)
    ((refused, reason),) = put.refused
    assert refused == stranger.id
    assert HULL in str(reason)
    assert OTHER in str(reason)


def test_bytes_that_are_no_entry_are_carried_by_one_and_named_with_the_reason(folder: HullFolder) -> None:
    """Nothing foreign is stored as it came, and the rest of the batch is."""
    put = folder.put_if_absent(HULL, [b'{"v":1}', make(1).raw])
    ((name, (carrying, reason)),) = put.strays.items()
    assert (name, carried_by(carrying), put.refused) == (entry_id(b'{"v":1}'), b'{"v":1}', ())
    assert isinstance(reason, InputError)
    assert folder.ids(HULL) == {*put.added} == {make(1).id, carrying.id}
    assert folder.put_if_absent(HULL, [b'{"v":1}']).added == ()


def test_digests_are_equal_exactly_when_entries_are(tmp_path: Path) -> None:
    """Order of arrival does not matter; one entry more does."""
    with HullFolder(tmp_path / "a") as a, HullFolder(tmp_path / "b") as b:
        a.put_if_absent(HULL, [make(1), make(2)])
        b.put_if_absent(HULL, [make(2)])
        b.put_if_absent(HULL, [make(1)])
        assert a.digests() == b.digests()
        before = b.digests()
        b.save(make(3))
        assert b.digests() != before


def test_saving_one_entry_sorts_no_others(folder: HullFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted: of a hull of 200 all ids are sorted once, not with each entry that comes."""
    folder.put_if_absent(HULL, [make(number) for number in range(200)])
    lengths: list[int] = []

    def counted(of: Any, **how: Any) -> Any:
        found = sorted(of, **how)
        lengths.append(len(found))
        return found

    monkeypatch.setattr(hullfile, "sorted", counted, raising=False)
    for number in range(200, 230):
        folder.save(make(number))
        assert folder.hull(HULL).digest() == digest_of(folder.ids(HULL))
        lengths.remove(number + 1)  # of this question
    assert max(lengths, default=0) < 200


@pytest.mark.parametrize("seed", range(3))
def test_a_digest_is_of_what_is_held_whatever_went_wrong_before(
    folder: HullFolder, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Entries come one by one and many at once, flushes fail, and the file is put back from an older copy."""
    chance, really, older = random.Random(seed), storage.flush, b""

    def flush(descriptor: int) -> None:
        if chance.random() < 0.3:
            raise OSError(errno.EIO, "the disk fails")
        really(descriptor)

    monkeypatch.setattr(storage, "flush", flush)
    for number in range(0, 1200, 20):
        with contextlib.suppress(NotSaved):
            folder.put_if_absent(HULL, [make(number + one) for one in range(chance.choice([1, 1, 1, 2, 15]))])
        if (path := file_of(folder)).exists() and chance.random() < 0.2:
            older, content = path.read_bytes(), older
            if content:
                path.write_bytes(content)
        ids = folder.ids(HULL)
        assert folder.hull(HULL).digest() == digest_of(ids)
    assert len(ids) > 50


def test_every_save_flushes_before_it_returns(folder: HullFolder, flushed: list[int]) -> None:
    """The disk is asked to hold the whole file as it stands after the save."""
    for number in range(3):
        folder.save(make(number))
        assert flushed[number:] == [file_of(folder).stat().st_size]


def test_a_new_files_name_is_flushed_once(folder: HullFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file whose name is lost is lost as well."""
    folders: list[Path] = []
    monkeypatch.setattr(storage, "flush_folder", folders.append)
    folder.save(make(1))
    folder.save(make(2))
    assert folders == [folder.folder / "hulls"]


def test_a_batch_flushes_each_file_once(folder: HullFolder, flushed: list[int]) -> None:
    """A day's merge costs a flush a hull, not a flush an entry."""
    with folder.batch():
        for number in range(10):
            folder.save(make(number))
            folder.save(make(number, hull=OTHER))
        assert flushed == []
        assert folder.hulls() == (HULL, OTHER)
    assert len(flushed) == 2
    assert len(folder.ids(HULL)) == len(folder.ids(OTHER)) == 10


def test_a_batch_of_nothing_is_saved(folder: HullFolder) -> None:
    """A merge with nothing new ends like any other."""
    with folder.batch():
        pass
    assert folder.hulls() == ()


def test_a_batch_that_fails_keeps_what_was_put_in_before(folder: HullFolder) -> None:
    """The entries put in until then are whole and on the disk; the failure is not hidden."""

    def fail_midway() -> None:
        with folder.batch():
            folder.save(make(1))
            raise ConnectionError("the tablet left the network")

    with pytest.raises(ConnectionError):
        fail_midway()
    assert set(read(file_of(folder).read_bytes()).entries) == {make(1).id}


def test_a_batch_of_many_hulls_flushes_on_the_way(
    folder: HullFolder, flushed: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A batch never holds more files open than it may; every hull is flushed once by its end."""
    monkeypatch.setattr("garboard.disk.hullfile.MOST_UNFLUSHED", 10)
    with folder.batch():
        for number in range(25):
            folder.save(make(1, hull=f"ABC{number:05d}A526"))
        assert 0 < len(flushed) < 25
    assert len(flushed) == 25


def test_an_entry_already_here_is_flushed_before_it_is_called_saved(tmp_path: Path, flushed: list[int]) -> None:
    """A program killed between write and flush leaves an entry in the cache only; the next one makes sure."""
    with HullFolder(tmp_path) as first:
        first.save(make(1))
    with HullFolder(tmp_path) as second:
        second.save(make(1))
        assert len(flushed) == 2
        second.save(make(1))
        assert len(flushed) == 2


def test_a_short_write_is_not_called_saved(folder: HullFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk that takes half a line: refused, cut back, and the next save is sound."""
    folder.save(make(1))
    before = file_of(folder).read_bytes()
    real = os.write
    monkeypatch.setattr(os, "write", lambda fd, data: real(fd, data[: len(data) // 2]))
    with pytest.raises(NotSaved, match="full"):
        folder.save(make(2))
    monkeypatch.undo()
    assert file_of(folder).read_bytes() == before
    assert folder.ids(HULL) == {make(1).id}
    folder.save(make(3))
    assert set(read(file_of(folder).read_bytes()).entries) == {make(1).id, make(3).id}


def test_what_is_held_is_held_on_where_the_disk_cannot_be_asked(
    folder: HullFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused, and then not even looked at: the entries before it were gone from every page."""
    folder.save(make(1))

    def fails(*_: object, **__: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as failing:
        failing.setattr(storage, "append", fails)
        failing.setattr(Path, "read_bytes", fails)
        for number in (2, 3):
            with pytest.raises(NotSaved, match="failing"):
                folder.save(make(number))
            assert folder.ids(HULL) == {make(1).id}
    folder.save(make(4))
    assert folder.ids(HULL) == {make(1).id, make(4).id}


@pytest.mark.parametrize("first", [True, False])
def test_a_failed_flush_is_not_called_saved(folder: HullFolder, monkeypatch: pytest.MonkeyPatch, first: bool) -> None:
    """What the disk did not confirm is taken out again, so that saving it again writes it again. What is noted of the
    file is noted of what stands in it: a check of what was taken out would call it another file.
    """
    if not first:
        for number in (0, 2):
            folder.save(make(number))
    held = folder.ids(HULL)

    def fail(_descriptor: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(storage, "flush", fail)
    with pytest.raises(NotSaved, match="input/output error"):
        folder.save(make(1))
    monkeypatch.undo()
    assert folder.ids(HULL) == held
    noted = FileSizes(folder.folder, writing=False)
    check = noted.check(file_of(folder).name)
    assert first or check in ("", check_of(crc32(file_of(folder).read_bytes())))
    assert folder.put_if_absent(HULL, [make(1)]).added == (make(1).id,)
    assert make(1).id in read(file_of(folder).read_bytes()).entries


def test_what_a_save_found_in_the_file_is_in_its_digest_also_where_the_save_failed(
    folder: HullFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two sides that compare digests would call a boat the same, and never exchange what another program wrote."""
    for number in (0, 1):
        folder.save(make(number))
    before, other = folder.digests()[HULL], make(2)
    with file_of(folder).open("ab") as file:
        file.write(f"{other.id} ".encode() + other.raw + b"\n")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "no space left")

    with monkeypatch.context() as patch:
        patch.setattr(storage, "append", full)
        with pytest.raises(NotSaved):
            folder.save(make(3))
    assert folder.ids(HULL) == {make(number).id for number in range(3)}
    assert folder.digests()[HULL] == digest_of(folder.ids(HULL)) != before


def test_a_new_file_whose_name_the_disk_did_not_confirm_is_not_called_saved(
    folder: HullFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder is named, and the next save asks the disk for the name again."""
    asked: list[Path] = []

    def fail(of: Path) -> None:
        asked.append(of)
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(storage, "flush_folder", fail)
    for number in (1, 2):
        with pytest.raises(NotSaved, match="hulls not saved: input/output error"):
            folder.save(make(number))
    monkeypatch.setattr(storage, "flush_folder", asked.append)
    folder.save(make(3))
    folder.save(make(4))
    assert asked == [folder.folder / "hulls"] * 3


def test_a_failed_flush_in_a_batch_spoils_only_its_hull(folder: HullFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """The batch ends in NotSaved; the hulls whose flush came through are kept."""
    real = storage.flush

    def refuse_the_longer(descriptor: int) -> None:
        if os.fstat(descriptor).st_size > 1000:
            raise OSError(28, "No space left on device")
        real(descriptor)

    def save_both() -> None:
        with folder.batch():
            folder.save(make(1, value="x" * 1000))
            folder.save(make(1, hull=OTHER))

    monkeypatch.setattr(storage, "flush", refuse_the_longer)
    with pytest.raises(NotSaved, match="no space"):
        save_both()
    assert folder.ids(HULL) == frozenset()
    assert folder.ids(OTHER) == {make(1, hull=OTHER).id}
    assert folder.hulls() == (OTHER,)


def test_a_file_removed_while_open_is_written_again(folder: HullFolder) -> None:
    """Entries in memory are not lost because someone tidied the disk; the next save writes them all."""
    folder.save(make(1))
    file_of(folder).unlink()
    folder.save(make(2))
    assert set(read(file_of(folder).read_bytes()).entries) == {make(1).id, make(2).id}


@pytest.mark.parametrize("in_place", [True, False])
@pytest.mark.parametrize("is_damaged", [True, False])
@pytest.mark.parametrize("held_open", [True, False])
def test_a_file_of_the_same_length_put_in_its_place_while_open_is_noticed(
    folder: HullFolder, *, in_place: bool, is_damaged: bool, held_open: bool
) -> None:
    """Its length alone told nothing: the running program went on as if its entries were on the disk."""
    ours, others = make(1), make(2)
    folder.save(ours)
    if not held_open:
        folder.save(make(1, hull=OTHER))  # the file last written is held open, no other
    file = file_of(folder)
    there = file.read_bytes()
    line = b"%b %b\n" % (others.id.encode(), others.raw)
    put = there[:-30] + bytes(30) if is_damaged else heading(HULL) + line
    assert len(put) == len(there)
    if in_place:
        file.write_bytes(put)
        os.utime(file, ns=(1, 1))
    else:
        (file.parent / "copy").write_bytes(put)
        (file.parent / "copy").replace(file)
    held = {ours.id} if is_damaged else {ours.id, others.id}
    assert folder.digests()[HULL] == digest_of(held)
    assert read(file.read_bytes()).entries.keys() == held
    assert bool(folder.damage()) is is_damaged


def test_a_file_put_back_from_an_older_copy_while_open_is_completed(folder: HullFolder) -> None:
    """What the copy lacks is written again; what it has more is taken in."""
    folder.save(make(1))
    older = file_of(folder).read_bytes() + b"%b %b\n" % (make(9).id.encode(), make(9).raw)
    folder.save(make(2))
    file_of(folder).unlink()
    file_of(folder).write_bytes(older)
    folder.save(make(3))
    expected = {make(number).id for number in (1, 2, 3, 9)}
    assert folder.ids(HULL) == expected
    assert set(read(file_of(folder).read_bytes()).entries) == expected


def test_a_second_writer_is_refused_naming_the_first(folder: HullFolder) -> None:
    """The refusal says which process holds the folder and what to do."""
    with pytest.raises(FolderInUse, match=f"process {os.getpid()} .*close it there first"):
        HullFolder(folder.folder)


def test_a_folder_in_use_can_be_read(folder: HullFolder) -> None:
    """Reading neither locks nor changes; saving is refused."""
    folder.save(make(1))
    with HullFolder(folder.folder, read_only=True) as reader:
        assert reader.hulls() == (HULL,)
        assert reader.get(HULL) == {make(1).id: make(1).raw}
        assert reader.offer(HULL, {make(1).id: make(1).raw}).unknown == {}
        assert reader.offer(HULL, {}).unknown == {make(1).id: make(1).raw}
        with pytest.raises(NotSaved, match="reading only"):
            reader.save(make(2))


def test_a_damaged_file_read_only_is_reported_and_left(folder: HullFolder) -> None:
    """Nothing is written to a folder opened for reading."""
    folder.put_if_absent(HULL, [make(1), make(2)])
    damaged = file_of(folder).read_bytes().replace(b"1.5 kn", b"7.5 kn")
    file_of(folder).write_bytes(damaged)
    with HullFolder(folder.folder, read_only=True) as reader:
        assert set(reader.offer(HULL, {}).unknown) == {make(2).id}
        assert [damage.lost for damage in reader.damage()] == [1]
    assert file_of(folder).read_bytes() == damaged
    assert len(list(file_of(folder).parent.iterdir())) == 1


def test_only_a_writer_clears_away_what_was_left_unfinished(tmp_path: Path) -> None:
    """A reader beside a program that is just keeping an attachment takes nothing from under it."""
    with HullFolder(tmp_path) as folder:
        folder.attachments.put(b"kept")
        unfinished = folder.attachments.folder / f"{storage.UNFINISHED}begun"
    unfinished.write_bytes(b"beg")
    HullFolder(tmp_path, read_only=True).close()
    assert unfinished.exists()
    HullFolder(tmp_path).close()
    assert not unfinished.exists()


def test_a_line_added_to_a_new_file_has_its_name_flushed_and_only_then(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folders: list[Path] = []
    monkeypatch.setattr(storage, "flush_folder", folders.append)
    storage.append_saved(tmp_path / "log", b"one\n")
    assert folders == [tmp_path]
    storage.append_saved(tmp_path / "log", b"two\n")
    assert folders == [tmp_path]
    assert (tmp_path / "log").read_bytes() == b"one\ntwo\n"


def test_the_folder_is_free_again_once_closed(tmp_path: Path) -> None:
    """Closing lets the next program in."""
    HullFolder(tmp_path).close()
    HullFolder(tmp_path).close()


def test_reading_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    """A mistyped path is not an empty shop."""
    with pytest.raises(FileNotFoundError, match="holds no hull files: expected a folder named hulls in it"):
        HullFolder(tmp_path / "nowhere", read_only=True)


@given(st.text("ABCXYZ0123456789", min_size=1, max_size=300), st.text("ABCXYZ0123456789", min_size=1, max_size=300))
def test_file_names_are_short_plain_and_differ(one: str, other: str) -> None:
    """Any key gives a name every disk takes, and two keys never the same, upper and lower case aside."""
    assert len(file_name(one)) < 64
    assert set(file_name(one)) <= set("ABCXYZ0123456789abcdef-.hull")
    assert (file_name(one).lower() == file_name(other).lower()) == (one == other)


def test_a_folder_given_up_mends_nothing_that_another_program_is_writing(folder: HullFolder) -> None:
    """A thread may be at work still when the app is closed; half a line may be another program's that writes it now."""
    folder.save(make(1))
    path = file_of(folder)
    folder.close()
    with HullFolder(folder.folder) as other, path.open("ab") as file:
        other.save(make(2))
        file.write(b"0123456789abcdef half of a line")
        file.flush()
        before = path.read_bytes()
        for ask in (folder.ids, folder.count, folder.get, folder.entries, folder.hull, folder.look_at):
            with pytest.raises(storage.FolderClosed):
                ask(HULL)
        assert path.read_bytes() == before


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have no such names")
def test_a_file_whose_name_is_no_text_is_left_alone_and_told(folder: HullFolder) -> None:
    """A copy from a card that was written elsewhere: no command ends for it, and its name can be printed."""
    folder.save(make(1))
    folder.close()
    path = folder.folder / "hulls" / os.fsdecode(b"K\xfc.hull")
    path.write_bytes(b"garboard hull 1 ")
    for read_only in (False, True):
        with HullFolder(folder.folder, read_only=read_only) as again:
            assert [*again.digests()] == [*again.hulls()] == [HULL]
            ((told, why),) = again.not_read()
            assert told.encode().endswith(rb"K\xfc.hull")
            assert "not UTF-8" in why
    assert path.exists()


def test_a_file_of_a_newer_version_is_left_alone(folder: HullFolder) -> None:
    """It is named with the reason, the other hulls are read, and its bytes stay."""
    folder.save(make(1))
    text = b"garboard hull 2 " + OTHER.encode()
    newer = text + b" " + hashlib.sha256(text).hexdigest()[:8].encode() + b"\nwho knows\n"
    path = folder.folder / "hulls" / file_name(OTHER)
    path.write_bytes(newer)
    assert folder.hulls() == (HULL,)
    assert "newer version" in folder.left_alone[path]
    with pytest.raises(storage.NewerFormat):
        folder.hull(OTHER)
    assert path.read_bytes() == newer


def test_a_file_under_another_hulls_name_is_taken_out_of_use(folder: HullFolder) -> None:
    """A copied file never puts one boat's entries under another's number."""
    path = folder.folder / "hulls" / file_name(OTHER)
    path.write_bytes(heading(HULL) + b"%b %b\n" % (make(1).id.encode(), make(1).raw))
    assert folder.ids(OTHER) == frozenset()
    (damage,) = folder.damage()
    assert damage.set_aside is not None
    assert HULL in damage.reason
    assert make(1).raw in damage.set_aside.read_bytes()


def test_a_file_under_another_hulls_name_is_offered_to_nobody_by_a_reader(folder: HullFolder) -> None:
    """A folder opened for reading does not set it aside; its entries are still not the other boat's."""
    path = folder.folder / "hulls" / file_name(OTHER)
    path.write_bytes(heading(HULL) + b"%b %b\n" % (make(1).id.encode(), make(1).raw))
    with HullFolder(folder.folder, read_only=True) as reader:
        assert reader.offer(OTHER, {}).unknown == {}
        assert not reader.offer(OTHER, {}).ids


def test_a_shop_may_hold_more_hulls_than_files_can_be_open(folder: HullFolder) -> None:
    """Files are closed again as others are written."""
    resource = pytest.importorskip("resource", reason="open file limits exist on POSIX only")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    open_now = len(list(Path("/proc/self/fd").iterdir())) if Path("/proc/self/fd").is_dir() else 40
    resource.setrlimit(resource.RLIMIT_NOFILE, (open_now + 30, hard))
    try:
        for number in range(60):
            folder.save(make(1, hull=f"ABC{number:05d}A526"))
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    assert len(folder.hulls()) == 60


def open_files(folder: Path) -> list[str]:
    """Names of the hull files this program holds open."""
    descriptors = Path("/proc/self/fd")
    if not descriptors.is_dir():
        pytest.skip("only Linux lists the files a program holds open")
    held: list[str] = []
    for descriptor in descriptors.iterdir():
        with contextlib.suppress(OSError):  # the one that listed the folder is closed by now
            held.append(str(descriptor.readlink()))
    return sorted(Path(file).name for file in held if file.startswith(f"{folder / 'hulls'}{os.sep}"))


def test_a_closed_folder_holds_no_hull_file_open(tmp_path: Path) -> None:
    """A file's first save closes it, a later one leaves it open for the next."""
    folder = HullFolder(tmp_path)
    for number in (1, 2):
        folder.save(make(number))
    assert open_files(tmp_path) == [file_name(HULL)]
    folder.close()
    assert open_files(tmp_path) == []


def test_hulls_let_go_are_read_anew_and_what_is_not_saved_yet_is_held(folder: HullFolder) -> None:
    """Looking at each of many hulls leaves no more in memory than before; nothing written or told gets lost."""
    for hull in (HULL, OTHER):
        folder.save(make(1, hull))
    folder.hold_only(())
    held = folder.hull(HULL)
    assert folder.look_at(OTHER) == {make(1, OTHER).id}
    assert [entry.id for entry in folder.read_once(OTHER)] == [make(1, OTHER).id]
    assert folder.hull(HULL) is held
    folder.hold_only([OTHER])
    assert folder.hull(OTHER).journal.entries  # the file last written stays open
    assert folder.hull(HULL) is not held
    with folder.batch():
        folder.put_if_absent(HULL, [make(2)])
        folder.hold_only(())
        assert folder.ids(HULL) == {make(1).id, make(2).id}
    folder.save(make(2, OTHER))
    path = file_of(folder)
    folder.hold_only(())
    path.write_bytes(path.read_bytes()[:-40])
    assert folder.look_at(HULL) == {make(1).id}
    assert [damage.file for damage in folder.damage_found()] == [path]


def test_only_the_hull_file_last_written_stays_open(tmp_path: Path) -> None:
    """By one save after another, and by a batch."""
    with HullFolder(tmp_path) as folder:
        folder.save(make(0))
        folder.save(make(0, hull=OTHER))
        for hull in (HULL, OTHER, HULL):
            folder.save(make(folder.count(hull), hull=hull))
            assert open_files(tmp_path) == [file_name(hull)]
        with folder.batch():
            for hull in (HULL, OTHER):
                folder.save(make(folder.count(hull), hull=hull))
        assert open_files(tmp_path) == [file_name(OTHER)]


def test_an_attachment_comes_back_as_it_was(folder: HullFolder) -> None:
    """Named by the SHA-256 of its content, kept once."""
    content = os.urandom(3000)
    name = folder.attachments.put(content)
    assert name == hashlib.sha256(content).hexdigest()
    assert folder.attachments.put(content) == name
    assert folder.attachments.get(name) == content
    assert folder.attachments.names() == {name}
    assert folder.attachments.size(name) == 3000


def test_a_large_recording_is_kept_from_its_file(folder: HullFolder, tmp_path: Path) -> None:
    """It is copied in pieces; the copy proves itself before it gets its name."""
    recording = tmp_path / "recording.log"
    recording.write_bytes(b"10 Hz of heading\n" * 200_000)
    name = folder.attachments.put_file(recording)
    assert folder.attachments.get(name) == recording.read_bytes()


def test_a_large_recording_is_put_put_again_and_merged_without_holding_it(folder: HullFolder, tmp_path: Path) -> None:
    """What is held at once is a piece of it."""
    recording = tmp_path / "recording.log"
    recording.write_bytes(os.urandom(1 << 20) * 12)
    tracemalloc.start()
    name = folder.attachments.put_file(recording)
    folder.attachments.put_file(recording)
    with HullFolder(tmp_path / "shop") as shop:
        assert merge([folder], shop).attachments == 1
        assert merge([folder], shop).attachments == 0
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert shop.attachments.size(name) == recording.stat().st_size
    assert peak < recording.stat().st_size / 4


def test_a_damaged_attachment_is_set_aside_and_can_come_again(folder: HullFolder) -> None:
    """Content that is not what its name says is never handed out."""
    name = folder.attachments.put(b"a photo")
    (folder.attachments.folder / name).write_bytes(b"a phot0")
    with pytest.raises(AttachmentDamaged, match="merge with the shop"):
        folder.attachments.get(name)
    assert name not in folder.attachments
    (damage,) = folder.damage()
    assert damage.set_aside is not None
    assert damage.set_aside.read_bytes() == b"a phot0"
    folder.attachments.put(b"a photo")
    assert folder.attachments.get(name) == b"a photo"


@pytest.mark.parametrize("name", ["", "../hulls", "A" * 64, "f" * 63])
def test_an_attachments_name_never_leaves_the_folder(folder: HullFolder, name: str) -> None:
    """Only 64 hexadecimal characters name an attachment."""
    assert name not in folder.attachments
    with pytest.raises(KeyError):
        folder.attachments.get(name)
