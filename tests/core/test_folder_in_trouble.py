"""A folder on a full disk, with files cut off, linked, or open to others: what is true is said, and it can be read."""

from __future__ import annotations

import errno
import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import Result

from garboard.disk import clock, partial_upload, storage
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.disk.partial_upload import Arriving, OutOfPlace
from garboard.disk.sizes import FILE as SIZES
from garboard.disk.sizes import FileSizes
from garboard.disk.storage import FolderInUse, NotSaved, WriterLock
from garboard.history.authoring import Author, measure
from garboard.history.boat import open_hull
from garboard.history.replay import HullState
from histories import HULL, JOB, tablet
from run_program import run as _run

STEP, FIELD = "prop_check.runs", "speed"


def _entry(row: int, hull: str = HULL) -> Entry:
    return measure(tablet("a").author, HullState(hull), JOB, STEP, FIELD, f"{row} kn", row=f"{row}")


def _folder(path: Path, rows: int = 6) -> Path:
    with HullFolder(path) as folder:
        for row in range(rows):
            folder.save(_entry(row))
    return path


def _of(folder: Path, hull: str = HULL) -> Path:
    return folder / HULLS_FOLDER / file_name(hull)


# A full disk


def _full(*_: object, **__: object) -> object:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_full_folder_is_opened_and_read_and_refuses_to_save(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = _folder(tmp_path / "tablet")
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", _full)
        for read_only in (True, False):
            with HullFolder(folder, read_only=read_only) as files:
                assert open_hull(files, HULL).jobs == (JOB,)
        with HullFolder(folder) as files, pytest.raises(NotSaved):
            files.save(_entry(9))
        assert _run("show", folder, HULL).exit_code == 0
    with HullFolder(folder) as files:
        files.save(_entry(9))


@pytest.mark.parametrize("name", ["flush_folder", "remove_unfinished"])
def test_an_opening_that_fails_gives_the_lock_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    folder = _folder(tmp_path / "tablet")
    with monkeypatch.context() as patch:
        patch.setattr(storage, name, _full)
        with pytest.raises(OSError, match="No space"):
            HullFolder(folder)
    with HullFolder(folder) as files:
        assert files.count(HULL) == 6


def test_a_lock_that_cannot_name_its_holder_still_keeps_others_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", _full)
        lock = WriterLock(tmp_path)
    with pytest.raises(FolderInUse):
        WriterLock(tmp_path)
    lock.release()
    WriterLock(tmp_path).release()


# Files that lost their end


def test_a_file_cut_at_any_line_end_is_noticed_and_the_rest_is_kept(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    whole = _of(folder).read_bytes()
    ends = [place + 1 for place, byte in enumerate(whole) if byte == ord("\n")]
    assert len(ends) == 7
    for kept, end in enumerate(ends):
        _of(folder).write_bytes(whole[:end])
        (folder / SIZES).write_text(f"{_of(folder).name} {len(whole)}\n")
        for read_only in (True, False):
            with HullFolder(folder, read_only=read_only) as files:
                assert files.count(HULL) == kept
                assert [damage.lost for damage in files.damage_found()] == ([1] if end < len(whole) else [])
                assert kept or HULL not in files.digests()


def test_a_source_cut_at_a_line_end_is_noticed_by_the_merge(tmp_path: Path) -> None:
    source = _folder(tmp_path / "stick")
    _of(source).write_bytes(b"".join(_of(source).read_bytes().splitlines(keepends=True)[:3]))
    for _ in range(2):
        result = _run("merge", source, "--into", tmp_path / "shop")
        assert result.exit_code == 1
        assert "before the place where it ended when it was last saved" in result.stdout


def test_a_line_being_written_is_no_damage_to_a_reader_and_one_left_by_a_dead_program_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large write is seen in parts: who looks at a tablet's folder meanwhile must not call it damaged."""
    with HullFolder(tmp_path) as hulls:
        first = frozenset({hulls.save(_entry(1))})
        path = _of(tmp_path)
        whole = path.read_bytes()
        path.write_bytes(whole + whole[-40:-10])
        with HullFolder(tmp_path, read_only=True) as reader:
            assert reader.ids(HULL) == first
            assert not reader.damage()
        path.write_bytes(whole)
    path.write_bytes(whole + whole[-40:-10])
    with HullFolder(tmp_path, read_only=True) as reader:
        assert (reader.ids(HULL), len(reader.damage())) == (first, 1)

    def ends_just_now(_folder: Path) -> bool:
        path.write_bytes(whole)
        return False

    monkeypatch.setattr(storage, "is_being_written", ends_just_now)
    with HullFolder(tmp_path, read_only=True) as reader:
        assert (reader.ids(HULL), len(reader.damage())) == (first, 0)


TELL = ("repair", "digest", "assess", "merge")


def _told_by(folder: Path, command: str) -> Result:
    return _run(command, folder, *(["--into", folder.parent / "into", "--dry-run"] if command == "merge" else []))


@pytest.mark.parametrize("lines", [slice(0, 3), slice(0, None, 2)], ids=["end", "middle"])
@pytest.mark.parametrize("first", ["repair", "save", "merge"])
def test_what_a_file_lost_is_told_until_a_person_removes_the_kept_file(
    tmp_path: Path, lines: slice, first: str
) -> None:
    folder = _folder(tmp_path / "shop")
    whole = _of(folder).read_bytes()
    _of(folder).write_bytes(b"".join(whole.splitlines(keepends=True)[lines]))
    cut = len(whole) - _of(folder).stat().st_size
    if first == "save":
        with HullFolder(folder) as files:
            for row in range(9, 30):
                files.save(_entry(row))
        assert _of(folder).stat().st_size > len(whole)
    elif first == "merge":
        _run("merge", _folder(tmp_path / "other", 1), "--into", folder)
    else:
        assert _run("repair", folder).exit_code == 1
    for command in TELL:
        result = _told_by(folder, command)
        assert (result.exit_code, f"{cut} bytes" in result.output) == (2 if command == "assess" else 1, True), command
    with HullFolder(folder, read_only=True) as files:
        assert files.unread_of([HULL]) == max(1, 6 - files.count(HULL)), "it had 6 entries"
    (kept,) = (folder / HULLS_FOLDER).glob("*.damaged-*")
    assert kept.name in _run("repair", folder).stdout
    kept.unlink()
    for command in TELL:
        assert "bytes" not in _told_by(folder, command).output, command
    assert _run("repair", folder).exit_code == _run("digest", folder).exit_code == 0


def test_a_lost_tail_is_told_in_bytes_where_an_older_version_noted_its_length_alone(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    whole = _of(folder).read_bytes()
    notes = folder / "hulls.sizes"
    notes.write_bytes(b"".join(line for line in notes.read_bytes().splitlines(keepends=True) if b" #" not in line))
    _of(folder).write_bytes(b"".join(whole.splitlines(keepends=True)[:3]))
    cut = len(whole) - _of(folder).stat().st_size
    for _ in range(2):
        said = _run("repair", folder).stdout
    assert f"{cut} bytes at its end, in entries nobody can count" in said


def test_a_repair_after_a_merge_from_a_source_cut_at_a_line_end_says_that_something_is_missing(tmp_path: Path) -> None:
    source, shop = _folder(tmp_path / "stick"), tmp_path / "shop"
    whole = _of(source).read_bytes()
    _of(source).write_bytes(b"".join(whole.splitlines(keepends=True)[:3]))
    for _ in range(2):
        assert _run("merge", source, "--into", shop).exit_code == 1
    for _ in range(2):
        result = _run("repair", shop)
        assert result.exit_code == 1
        cut = len(whole) - _of(source).stat().st_size
        assert f"{cut} bytes at its end, which held 4 entries" in result.stdout
    (kept,) = (shop / HULLS_FOLDER).glob("*.damaged-*")
    assert str(kept) in result.stdout
    kept.unlink()
    assert _run("repair", shop).exit_code == 0


def test_a_repair_after_a_merge_from_a_sound_source_accuses_nobody(tmp_path: Path) -> None:
    source, shop = _folder(tmp_path / "stick"), _folder(tmp_path / "shop", 9)
    assert _run("merge", source, "--into", shop, "--both-ways").exit_code == 0
    assert _run("repair", shop).exit_code == 0
    assert not [*(shop / HULLS_FOLDER).glob("*.damaged-*")]


def test_a_file_that_only_grew_or_was_mended_is_sound(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    whole = _of(folder).read_bytes()
    _of(folder).write_bytes(whole + whole.splitlines(keepends=True)[1])  # as an older version appends: nothing noted
    with HullFolder(folder) as files:
        assert files.count(HULL) == 6
        assert not files.damage()
    _of(folder).write_bytes(whole + b"half a li")
    with HullFolder(folder) as files:
        assert "cut off" in files.damage()[0].reason if files.count(HULL) else False
        files.save(_entry(9))
    with HullFolder(folder) as files:
        assert files.count(HULL) == 7
        assert not files.damage()


@pytest.mark.parametrize("noted", [b"", b"nonsense", b"\x00" * 100, b"X 12\nhalf", None])
def test_without_sound_notes_of_lengths_nothing_is_said_to_be_cut(tmp_path: Path, noted: bytes | None) -> None:
    folder = _folder(tmp_path / "shop")
    (folder / SIZES).unlink() if noted is None else (folder / SIZES).write_bytes(noted)
    for row in (7, 8):
        with HullFolder(folder) as files:
            files.save(_entry(row))
            assert not files.damage()
    _of(folder).write_bytes(b"".join(_of(folder).read_bytes().splitlines(keepends=True)[:-1]))
    with HullFolder(folder) as files:
        assert files.count(HULL) == 7
        assert files.damage()


def test_the_notes_of_lengths_stay_short(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    (folder / SIZES).write_bytes((folder / SIZES).read_bytes() * 1000)
    assert (folder / SIZES).stat().st_size > 1 << 16
    with HullFolder(folder) as files:
        assert files.count(HULL) == 6
    assert (folder / SIZES).stat().st_size < 240


# Links


def test_writing_through_a_linked_hull_file_waits_for_that_folders_writer(tmp_path: Path) -> None:
    real, linking = _folder(tmp_path / "shop"), tmp_path / "mine"
    (linking / HULLS_FOLDER).mkdir(parents=True)
    _of(linking).symlink_to(_of(real))
    take_back = ("take-back", linking, HULL, f"{STEP}/{FIELD}/1", "--by", "M. Office", "--reason", "misread")
    with HullFolder(real) as files:
        result = _run(*take_back)
        assert result.exit_code == 2
        assert str(real) in result.stderr
        assert files.count(HULL) == 6
    assert _run("show", linking, HULL).exit_code == 0
    assert _run(*take_back).exit_code == 0
    with HullFolder(real) as files:
        assert files.count(HULL) == 7
        assert open_hull(files, HULL).state.retractions(JOB)
    assert _of(linking).is_symlink()


def test_a_folder_whose_hull_files_lie_in_a_linked_folder_waits_for_that_ones_writer(tmp_path: Path) -> None:
    real, linking = _folder(tmp_path / "shop"), tmp_path / "mine"
    linking.mkdir()
    (linking / HULLS_FOLDER).symlink_to(real / HULLS_FOLDER)
    with HullFolder(real), pytest.raises(FolderInUse):
        HullFolder(linking)
    with HullFolder(linking), pytest.raises(FolderInUse):
        HullFolder(real)
    with HullFolder(real) as files:
        assert files.count(HULL) == 6


# Owner only


def test_new_folders_and_files_are_their_owners_alone(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        folder = _folder(tmp_path / "new" / "tablet")
        with HullFolder(folder) as files:
            files.attachments.put(b"a photo")
            Arriving(folder / "arriving", files.attachments).add("ab" * 32, 0, b"half", 9)
    finally:
        os.umask(before)
    found = [*(tmp_path / "new").rglob("*"), tmp_path / "new"]
    assert len(found) >= 8
    for path in found:
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path


def test_a_file_others_could_read_stays_so_when_it_is_written_anew(tmp_path: Path) -> None:
    path = tmp_path / "vessels.json"
    path.write_bytes(b"old")
    path.chmod(0o640)
    storage.write_whole(path, [b"new"])
    assert (path.read_bytes(), stat.S_IMODE(path.stat().st_mode)) == (b"new", 0o640)


# Unfinished attachments


def test_unfinished_attachments_have_a_quota_and_the_longest_untouched_go_first(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as files:
        arriving = Arriving(tmp_path / "arriving", files.attachments, most=100)
        names = [f"{number:064x}" for number in range(40)]
        for age, name in enumerate(names):
            arriving.add(name, 0, b"x" * 30, 1000)
            os.utime(arriving.folder / name, ns=(age, age))
            assert sum(path.stat().st_size for path in arriving.folder.iterdir()) <= 100
        assert [arriving.held(name) for name in names[-3:]] == [30, 30, 30]
        assert arriving.held(names[0]) == 0
        with pytest.raises(OutOfPlace) as begins_again:
            arriving.add(names[0], 30, b"x", 1000)
        assert begins_again.value.held == 0
        with pytest.raises(NotSaved, match="100 bytes"):
            arriving.add(names[-1], 30, b"x" * 80, 1000)
        assert arriving.held(names[-1]) == 30


def test_attachments_never_take_the_last_of_a_disk_and_are_told_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A paired tablet that brings what nobody can finish must not keep readings from being saved."""
    free = [partial_upload.LEFT_FREE + 1000]
    with HullFolder(tmp_path) as files:
        arriving = Arriving(tmp_path / "arriving", files.attachments)
        first, second = "ab" * 32, "cd" * 32
        arriving.add(first, 0, b"x" * 900, 5000)
        monkeypatch.setattr(shutil, "disk_usage", lambda _folder: SimpleNamespace(free=free[0]))
        arriving.add(second, 0, b"x" * 900, 5000)
        assert arriving.held(first) == 900
        free[0] = partial_upload.LEFT_FREE + 100
        arriving.add(second, 900, b"x" * 900, 5000)  # the other makes room
        assert (arriving.held(first), arriving.held(second)) == (0, 1800)
        with pytest.raises(NotSaved, match="Free some space there"):
            arriving.add(second, 1800, b"x" * 900, 5000)
        assert arriving.held(second) == 1800
        files.save(measure(Author("a", "tech a"), HullState(HULL), JOB, STEP, FIELD, "30 kn", row="1"))


def test_however_many_attachments_are_begun_few_are_kept_and_those_furthest_on_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(partial_upload, "MOST_AT_ONCE", 5)
    with HullFolder(tmp_path) as files:
        arriving = Arriving(tmp_path / "arriving", files.attachments)
        photo = "ab" * 32
        arriving.add(photo, 0, b"half a photo", 24)
        for number in range(20):
            arriving.add(f"{number:064x}", 0, b"x", 1000)
            assert len([*arriving.folder.iterdir()]) <= 5
        assert arriving.held(photo) == 12
        assert arriving.held(f"{19:064x}") == 1
        assert arriving.add(photo, 12, b"more", 24) == 16


# Times


@pytest.mark.parametrize(
    ("at", "is_marked"),
    [
        ("1970-01-01T00:04:10+00:00", True),
        ("9999-12-31T23:59:59+00:00", True),
        ("2024-05-14T16:20:31+02:00", False),
    ],
)
def test_a_time_far_outside_reason_is_marked_wherever_it_is_shown(
    tmp_path: Path, at: str, is_marked: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    author = Author("a", "tech a", wall=lambda: at)
    with HullFolder(tmp_path) as files:
        files.save(measure(author, HullState(HULL), JOB, STEP, FIELD, "30 kn", row="1"))
    shown = _run("show", tmp_path, HULL).stdout + _run("show", tmp_path, HULL, "--value", f"{STEP}/{FIELD}/1").stdout
    assert shown.count("(clock wrong)") == (2 if is_marked else 0)
    assert clock.is_beyond_reason(at) == is_marked
    assert clock.moment_in_words("noon") == "noon"


def test_a_boat_said_not_to_be_saved_is_not_there_afterwards(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its new file stands, and the folder cannot be flushed: who presses again opens no second job beside the first."""
    folder = tmp_path / "tablet"
    with HullFolder(folder) as files:
        with monkeypatch.context() as patch:
            patch.setattr(storage, "flush_folder", _full)
            with pytest.raises(NotSaved):
                files.save(_entry(1))
        assert (files.count(HULL), _of(folder).exists()) == (0, False)
        files.save(_entry(2))
        assert [entry.value for entry in files.entries(HULL)] == ["2 kn"]
    with HullFolder(folder) as files:
        assert (files.count(HULL), files.damage()) == (1, ())


def test_a_new_file_that_cannot_be_taken_back_is_found_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "tablet"
    with HullFolder(folder) as files:
        with monkeypatch.context() as patch:
            patch.setattr(storage, "flush_folder", _full)
            patch.setattr(Path, "unlink", _full)
            with pytest.raises(NotSaved):
                files.save(_entry(1))
        files.save(_entry(2))
        assert sorted(str(entry.value) for entry in files.entries(HULL)) == ["1 kn", "2 kn"]
    with HullFolder(folder) as files:
        assert (files.count(HULL), files.damage()) == (2, ())


# A folder that cannot be written


_WRITES: dict[str, Callable[[Path, Path], tuple[object, ...]]] = {
    "merge": lambda folder, other: ("merge", other, "--into", folder),
    "repair": lambda folder, _: ("repair", folder),
    "take-back": lambda folder, _: ("take-back", folder, HULL, f"{STEP}/{FIELD}/1", "--by", "a", "--reason", "b"),
}


@pytest.mark.parametrize("command", _WRITES)
@pytest.mark.parametrize("number", [errno.EROFS, errno.EACCES])
def test_a_folder_that_cannot_be_written_says_what_to_do_and_can_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, number: int
) -> None:
    folder, other = _folder(tmp_path / "card", 2), _folder(tmp_path / "other", 3)
    really = os.open

    def refuses(path: str | Path, flags: int, mode: int = 0o777, **more: int) -> int:
        if flags & (os.O_CREAT | os.O_WRONLY | os.O_RDWR) and folder in Path(path).parents:
            raise OSError(number, os.strerror(number), str(path))
        return really(path, flags, mode, **more)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refuses)
        result = _run(*_WRITES[command](folder, other))
        assert result.exit_code == 2
        assert f"{folder} cannot be written: {os.strerror(number).lower()}. Expected a folder" in result.stderr
        assert "Nothing was changed" in result.stderr
        assert "writer.lock" not in result.stderr
        assert _run("show", folder, HULL).exit_code == 0
    assert _run(*_WRITES[command](folder, other)).exit_code == 0


def test_a_folder_that_cannot_be_made_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source = _folder(tmp_path / "stick", 2)

    def refuses(path: Path, *_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(Path, "mkdir", refuses)
    result = _run("merge", source, "--into", tmp_path / "new")
    assert (result.exit_code, f"{tmp_path / 'new'} cannot be written" in result.stderr) == (2, True)


# One hull file that the system does not let be written, or read


_CURES = {
    errno.EACCES: "Let this user {} it",
    errno.EROFS: "Let this user {} it",
    errno.ENOSPC: "Free some space",
    errno.EIO: "The disk or card is failing",
}


@pytest.mark.parametrize("command", ["merge", "take-back"])
@pytest.mark.parametrize("number", _CURES)
def test_a_hull_file_that_cannot_be_written_is_named_with_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, number: int
) -> None:
    folder, other = _folder(tmp_path / "card", 2), _folder(tmp_path / "other", 3)
    before, really = _of(folder).read_bytes(), os.open

    def refuses(path: str | Path, flags: int, mode: int = 0o777, **more: int) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR) and Path(path) == _of(folder):
            raise OSError(number, os.strerror(number), str(path))
        return really(path, flags, mode, **more)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refuses)
        result = _run(*_WRITES[command](folder, other))
    assert result.exit_code == 2
    assert f"{_of(folder)} not saved: {os.strerror(number).lower()}." in result.stderr
    assert _CURES[number].format("write") in result.stderr
    assert _of(folder).read_bytes() == before
    assert _run(*_WRITES[command](folder, other)).exit_code == 0


@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO])
def test_a_hull_file_that_cannot_be_read_ends_a_command_that_writes_in_it_with_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    folder = _folder(tmp_path / "card", 2)
    really = Path.read_bytes

    def refuses(path: Path) -> bytes:
        if path == _of(folder):
            raise OSError(number, os.strerror(number), str(path))
        return really(path)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", refuses)
        result = _run(*_WRITES["take-back"](folder, folder))
        assert result.exit_code == 2
        assert f"{_of(folder)} cannot be read: {os.strerror(number).lower()}." in result.stderr
        assert _CURES[number].format("read") in result.stderr
        with HullFolder(folder, read_only=True) as files:
            assert files.readable() == ()
            assert files.left_alone == {_of(folder): os.strerror(number).lower()}
    assert _run(*_WRITES["take-back"](folder, folder)).exit_code == 0


def test_half_a_note_that_a_full_disk_left_makes_no_file_that_never_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name, write = "ABC00001A526-19d0b6230e224fe4.hull", os.write

    def takes_twelve(descriptor: int, data: bytes) -> int:
        return write(descriptor, data[:12])

    def refused(_descriptor: int, _length: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    sizes = FileSizes(tmp_path, writing=True)
    with monkeypatch.context() as full:
        full.setattr(os, "write", takes_twelve)
        full.setattr(os, "ftruncate", refused)
        sizes.note({name: 500})
    sizes.note({name: 700})
    sizes.close()
    again = FileSizes(tmp_path, writing=False)
    assert again.hulls_not_among([]) == [name]
    assert again.least(name) == 700


NOTES = ("hulls.sizes", "hulls.sorted", "hulls.ids", "hulls.names", "hulls.proved", "attachments.proved")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with a name")
@pytest.mark.parametrize("name", [*NOTES, f"hulls/{file_name(HULL)}.damaged-1"])
def test_a_pipe_where_a_note_should_be_holds_nobody_up(tmp_path: Path, name: str) -> None:
    """A pipe never opens. What the notes would say is not known; the entries are there."""
    folder = _folder(tmp_path / "stick")
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    for read_only in (True, False):
        with HullFolder(folder, read_only=read_only, of_today=True) as hulls:
            assert len(hulls.ids(HULL)) >= 6
            assert hulls.digests().keys() == {HULL}
            assert not [*hulls.damage(), *hulls.losses(())]
            assert not hulls.attachments.not_proved()
            if not read_only:
                hulls.save(_entry(7))
                hulls.set_aside()
                hulls.unread_of([HULL])
                assert storage.keep_beside(b"another", hulls.hull(HULL).journal.path).name.endswith("-2") == (
                    "damaged" in name
                )
