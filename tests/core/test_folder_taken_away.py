"""A folder moved away, pulled out or put back from a copy while a program uses it: nothing is said that is not so."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from campaigns.writers import HULLS, entry_number
from garboard.commands.hulls import readable_report
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.disk.storage import LOCK_NAME, FolderGone, FolderInUse, NotReadable, NotSaved, WriterLock
from garboard.history.backup import write_backup
from garboard.history.merge import merge

HERE, OTHER, THIRD = HULLS


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three boats, a reading each."""
    with HullFolder(tmp_path / "tablet") as hulls:
        for hull in HULLS:
            hulls.save(entry_number(1, hull))
    return tmp_path / "tablet"


def on_disk(folder: Path) -> dict[str, int]:
    with HullFolder(folder, read_only=True) as hulls:
        return {hull: hulls.count(hull) for hull in hulls.digests()}


def put_back_a_file(folder: Path, copy: Path) -> None:
    shutil.copy(copy / HULLS_FOLDER / file_name(HERE), folder / HULLS_FOLDER)
    (folder / HULLS_FOLDER / file_name(OTHER)).unlink()


def put_back_whole(folder: Path, copy: Path) -> None:
    shutil.rmtree(folder)
    shutil.copytree(copy, folder)


@pytest.mark.parametrize("at", ["first", "last", "nowhere"])
def test_a_stick_pulled_out_in_a_merge_is_told_and_nothing_called_merged(folder: Path, at: str) -> None:
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "shop") as target:

        def pull_out(hull: str) -> None:
            if hull == {"first": source.hulls()[0], "last": source.hulls()[-1]}.get(at):
                folder.rename(folder.parent / "pulled out")

        report = merge([source], target, progress=pull_out)
    assert report.complete == (at == "nowhere")
    assert (
        "everything is merged" in readable_report(report).replace("NOT everything is merged", "")
    ) == report.complete
    assert len(report.not_read) == {"first": 3, "last": 1, "nowhere": 0}[at]


def test_a_stick_pulled_out_before_it_was_listed_is_told(folder: Path) -> None:
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "shop") as target:
        folder.rename(folder.parent / "pulled out")
        with pytest.raises(OSError, match="no such file"):
            merge([source], target)


def test_what_a_pulled_out_stick_held_is_not_read_as_nothing(folder: Path) -> None:
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.ids("ABC00009A526") == frozenset(), "nobody has that boat"
        folder.rename(folder.parent / "pulled out")
        for look in (hulls.entries, hulls.ids):
            with pytest.raises(NotReadable):
                look(HERE)
        assert [path.name for path in hulls.left_alone] == [file_name(HERE)]
        (folder.parent / "pulled out").rename(folder)
        assert (hulls.count(HERE), hulls.not_read()) == (1, ())


@pytest.mark.parametrize("put_back", [put_back_a_file, put_back_whole])
def test_what_an_older_copy_took_from_the_disk_is_written_again(
    folder: Path, put_back: Callable[[Path, Path], None]
) -> None:
    """A running program holds it in memory: it may call it held only while the disk does."""
    shutil.copytree(folder, folder.parent / "copy")
    with HullFolder(folder) as hulls:
        for hull in (HERE, OTHER):
            hulls.save(entry_number(2, hull))
        before = hulls.digests()
        put_back(folder, folder.parent / "copy")
        assert on_disk(folder) != {HERE: 2, OTHER: 2, THIRD: 1}
        assert hulls.digests() == before
        assert on_disk(folder) == {HERE: 2, OTHER: 2, THIRD: 1}
        with pytest.raises(FolderInUse):
            WriterLock(folder)
        hulls.save(entry_number(3, THIRD))
    with HullFolder(folder) as hulls:
        assert (hulls.digests().keys(), hulls.damage()) == (before.keys(), ())


def test_nothing_is_saved_in_a_new_folder_at_the_place_of_one_that_was_moved_away(folder: Path) -> None:
    away = folder.parent / "away"
    with HullFolder(folder) as hulls:
        folder.rename(away)
        for work in (lambda: hulls.save(entry_number(2, HERE)), lambda: hulls.attachments.put(b"photo"), hulls.digests):
            with pytest.raises(FolderGone, match="Bring it back to its place"):
                work()
        assert not folder.exists()
        away.rename(folder)
        hulls.save(entry_number(2, HERE))
        hulls.attachments.put(b"photo")
        assert (len(hulls.digests()), hulls.not_read()) == (3, ())
    assert on_disk(folder)[HERE] == 2


def test_a_lock_removed_by_hand_is_taken_again_or_the_one_who_took_it_is_named(folder: Path) -> None:
    with HullFolder(folder) as hulls:
        (folder / LOCK_NAME).unlink()
        hulls.save(entry_number(2, HERE))
        with pytest.raises(FolderInUse):
            HullFolder(folder)
        (folder / LOCK_NAME).unlink()
        other = WriterLock(folder)
        (folder / LOCK_NAME).write_text("process 1 on another machine")
        with pytest.raises(NotSaved, match="process 1 on another machine"):
            hulls.save(entry_number(3, HERE))
        other.release()
        hulls.save(entry_number(3, HERE))
    assert on_disk(folder)[HERE] == 3


def test_a_disk_that_numbers_its_files_anew_keeps_nobody_from_saving(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with HullFolder(folder) as hulls:
        monkeypatch.setattr(os.path, "samestat", lambda _one, _other: False)
        hulls.save(entry_number(2, HERE))
        assert hulls.digests()
    assert on_disk(folder)[HERE] == 2


@pytest.mark.parametrize("put_back", [put_back_a_file, put_back_whole])
def test_a_merge_into_a_folder_put_back_meanwhile_ends_with_all_on_the_disk(
    folder: Path, put_back: Callable[[Path, Path], None]
) -> None:
    """What was appended lies in files that are not there any more: to flush those saves nothing."""
    shutil.copytree(folder, folder.parent / "copy")
    with HullFolder(folder.parent / "stick") as hulls:
        for hull in HULLS:
            hulls.save(entry_number(2, hull))
    with HullFolder(folder.parent / "stick", read_only=True) as source, HullFolder(folder) as target:

        def progress(hull: str) -> None:
            if hull == THIRD:
                put_back(folder, folder.parent / "copy")

        assert merge([source], target, progress=progress).complete
    assert on_disk(folder) == dict.fromkeys(HULLS, 2)


def test_a_batch_is_saved_nowhere_once_the_folder_is_gone_and_whole_when_it_is_done_again(folder: Path) -> None:
    away = folder.parent / "away"
    new = [entry_number(2, hull) for hull in HULLS]
    with HullFolder(folder) as hulls:

        def put_all_and_move_it_away() -> None:
            with hulls.batch():
                for entry in new:
                    hulls.put_if_absent(entry.hull_key, [entry])
                folder.rename(away)

        with pytest.raises(FolderGone):
            put_all_and_move_it_away()
        assert {hulls.count(hull) for hull in HULLS} == {1}
        away.rename(folder)
        with hulls.batch():
            for entry in new:
                assert hulls.put_if_absent(entry.hull_key, [entry]).added == (entry.id,)
    assert on_disk(folder) == dict.fromkeys(HULLS, 2)


def test_a_backup_holds_all_that_is_held_or_is_not_saved(folder: Path) -> None:
    path = folder.parent / "garboard.zip"
    with HullFolder(folder) as hulls:
        assert len(hulls.digests()) == 3
        (folder / HULLS_FOLDER / file_name(HERE)).unlink()
        assert write_backup(hulls, path, "now").hulls == 3
        folder.rename(folder.parent / "away")
        path.unlink()
        with pytest.raises(FolderGone):
            write_backup(hulls, path, "now")
        assert {one.name for one in folder.parent.iterdir()} == {"away"}
