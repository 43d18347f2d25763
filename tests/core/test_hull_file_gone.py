"""A hull file that is gone whole: digest, assess, merge and repair say so, until it is back or was forgotten."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from garboard.commands import digest, repair
from garboard.commands import hulls as commands
from garboard.commands.cli import program
from garboard.disk import folder_names, storage
from garboard.disk.folder_names import FILE as NAMES
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.disk.known_ids import FILE as KNOWN
from garboard.disk.sizes import FILE, FileSizes, Noted
from garboard.history.authoring import Author, measure
from garboard.history.merge import merge
from garboard.history.replay import replay

HERE, OTHER = "QQZ04417D626", "QQZ04418D626"
ALL_WELL = "Everything here can be read"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two boats, and a copy of both beside them."""
    for hull in (HERE, OTHER):
        enter(tmp_path / "shop", hull, "31 kn")
    shutil.copytree(tmp_path / "shop", tmp_path / "copy")
    return tmp_path / "shop"


def enter(folder: Path, hull: str, speed: str) -> None:
    with HullFolder(folder) as hulls:
        hulls.save(measure(Author("a", "A. Hand"), replay(hull, hulls.entries(hull)), "job-1", "trial", "speed", speed))


def path_in(folder: Path) -> Path:
    return folder / HULLS_FOLDER / file_name(HERE)


def run(command: click.Command, *words: object) -> tuple[int, str]:
    result = CliRunner().invoke(command, [*map(str, words)])
    return result.exit_code, result.output


def told(folder: Path) -> bool:
    with HullFolder(folder, read_only=True) as hulls:
        hulls.digests()
        return bool(hulls.damage())


def test_every_command_that_looks_through_a_folder_says_that_a_hull_file_is_gone(folder: Path, tmp_path: Path) -> None:
    assert run(digest.command, folder)[0] == 0
    path_in(folder).unlink()
    for command, words in (
        (digest.command, (folder,)),
        (program, ("assess", folder)),
        (repair.command, (folder,)),
        (commands.merge_folders, (folder, "--into", tmp_path / "new")),
    ):
        status, said = run(command, *words)
        assert status != 0, command.name
        assert f"{file_name(HERE)}: the file is gone. It held 1 entry" in " ".join(said.split()), said
    assert not told(tmp_path / "new"), "what a source lacks is not the target's loss"


def test_a_longer_file_of_the_same_boat_copied_over_ours_is_told_until_it_is_forgotten(folder: Path) -> None:
    """Its name and its lines are sound, and it is longer than ours was: only what it begins with tells."""
    other = folder.parent / "other"
    for speed in ("28 kn", "29 kn", "30 kn"):
        enter(other, HERE, speed)
    shutil.copy(path_in(other), path_in(folder))
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "new") as target:
        report = merge([source], target)
    assert (report.complete, [loss.file.name for loss in report.lost]) == (False, [file_name(HERE)])
    for _ in "twice":
        assert "not just what it held, 1 entry" in " ".join(run(digest.command, folder)[1].split())
    enter(folder, HERE, "31.5 kn")
    assert told(folder), "a save does not make it forgotten"
    assert run(repair.command, folder, "--forget", HERE)[0] == 0
    assert not told(folder)
    shutil.copy(path_in(folder.parent / "copy"), path_in(other))
    assert run(repair.command, other, "--forget", HERE)[0] != 0, "a shorter one is told as cut off"


def another_boats(folder: Path) -> bytes:
    return (folder / HULLS_FOLDER / file_name(OTHER)).read_bytes()


@pytest.mark.parametrize(
    "made",
    [
        lambda folder: another_boats(folder),
        lambda folder: another_boats(folder).replace(b"garboard hull 1", b"garboard hull x"),
        lambda folder: another_boats(folder)[: another_boats(folder).rfind(b"\n", 0, -1) + 1],
        lambda folder: b"\0" * len(path_in(folder).read_bytes()),
    ],
    ids=["another boat's", "with a damaged heading", "shorter than ours", "as long, and empty"],
)
def test_another_boats_file_copied_over_ours_is_told_until_all_is_back(
    folder: Path, made: Callable[[Path], bytes]
) -> None:
    """Nothing it holds is missing, and it is as long as ours or longer: repair, digest and merge called all well."""
    for speed in ("28 kn", "29 kn"):
        enter(folder, OTHER, speed)
        enter(folder.parent / "copy", OTHER, speed)
    enter(folder, HERE, "32 kn")
    enter(folder, HERE, "33 kn")
    shutil.copytree(folder, folder.parent / "whole")
    path_in(folder).write_bytes(made(folder))
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "new") as target:
        assert not merge([source], target).complete
    for _ in "twice":
        status, said = run(repair.command, folder)
        assert (status, ALL_WELL in said) == (1, False)
        assert run(digest.command, folder)[0] == 1
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "newer") as target:
        assert not merge([source], target).complete
    with HullFolder(folder.parent / "whole", read_only=True) as source, HullFolder(folder) as target:
        assert merge([source], target).complete
    assert run(digest.command, folder)[0] == 0
    assert not told(folder)


def test_two_files_under_each_others_names_come_back_to_their_boats(folder: Path) -> None:
    enter(folder, OTHER, "29 kn")
    before = run(digest.command, folder)
    paths = [folder / HULLS_FOLDER / file_name(hull) for hull in (HERE, OTHER)]
    for path, content in zip(paths, [path.read_bytes() for path in reversed(paths)], strict=True):
        path.write_bytes(content)
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "new") as target:
        assert source.hulls() == source.hulls() == (HERE, OTHER)  # `garboard merge` asks twice
        report = merge([source], target)
        assert (report.complete, [target.count(hull) for hull in (HERE, OTHER)]) == (True, [1, 2])
        told_of = [damage.file for damage in report.damage if not damage.is_gone]
        assert told_of == sorted(paths)
    status, said = run(repair.command, folder)
    assert (status, ALL_WELL in said) == (0, True)
    assert "2 entries kept" in said
    assert run(digest.command, folder) == before
    assert not told(folder)


@pytest.mark.parametrize("name", [f"{file_name(HERE)[:-5]} (1).hull", file_name("QQZ04419D626")])
def test_what_stands_in_a_file_of_a_wrong_name_alone_comes_to_its_boat(folder: Path, name: str) -> None:
    """Such as the copy that a program puts beside a file that two machines wrote. Each entry names its boat."""
    enter(folder.parent / "copy", HERE, "29 kn")
    shutil.copy(path_in(folder.parent / "copy"), folder / HULLS_FOLDER / name)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "new") as target:
        report = merge([source], target)
        assert (report.complete, [damage.recovered for damage in report.damage]) == (True, [2])
        assert target.count(HERE) == 2
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    status, said = run(repair.command, folder)
    assert (status, ALL_WELL in said) == (0, True)
    with HullFolder(folder, read_only=True) as here, HullFolder(folder.parent / "copy", read_only=True) as there:
        assert here.digests() == there.digests()
    assert not told(folder)


def test_what_a_full_disk_does_not_take_of_a_file_of_a_wrong_name_is_told(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path_in(folder).rename(folder / HULLS_FOLDER / file_name("QQZ04419D626"))
    (folder / FILE).unlink()  # as an older version left it

    def full(*_: object) -> None:
        raise storage.NotSaved("no space left")

    with monkeypatch.context() as patch:
        patch.setattr(HullFolder, "_put", full)
        status, said = run(repair.command, folder)
        assert (status, ALL_WELL in said) == (1, False)
        assert "1 entry, of a file found damaged before" in " ".join(said.split())
    status, said = run(repair.command, folder)
    assert (status, "found: 1 entry in files kept as damaged" in said) == (0, True)
    with HullFolder(folder, read_only=True) as here, HullFolder(folder.parent / "copy", read_only=True) as there:
        assert here.digests() == there.digests()


def test_a_recording_under_another_name_is_found_where_an_entry_lacks_it(folder: Path) -> None:
    """Two under each other's names, one that a sync program renamed, and one in capitals. Each is what it is."""
    with HullFolder(folder) as hulls:
        names = [hulls.attachments.put(content) for content in (b"one", b"two", b"three", b"four")]
        for number, name in enumerate(names):
            state = replay(HERE, hulls.entries(HERE))
            hulls.save(measure(Author("a", "A. Hand"), state, "job-1", "trial", f"run_{number}", {"file": name}))
    place = folder / "attachments"
    (place / names[0]).write_bytes(b"two")
    (place / names[1]).write_bytes(b"one")
    (place / names[2]).rename(place / f"{names[2]} (1)")
    (place / names[3]).rename(place / names[3].upper())
    (place / "link").symlink_to(place / names[0])
    status, said = run(repair.command, folder)
    assert said.count("found: an attachment") == 4
    assert (place / names[2]).read_bytes() == b"three"
    with HullFolder(folder) as hulls:
        assert [hulls.attachments.get(name) for name in names] == [b"one", b"two", b"three", b"four"]
    status, said = run(repair.command, folder)
    assert (status, ALL_WELL in said, "found:" in said) == (0, True, False)


def test_one_copied_over_ours_is_told_also_where_a_letter_of_it_was_damaged_and_put_right(folder: Path) -> None:
    """All of the damaged file could be read, so its damage was told once, and what ours had held never."""
    other = folder.parent / "other"
    for speed in ("28 kn", "29 kn", "30 kn"):
        enter(other, HERE, speed)
    heading, first, *rest = path_in(other).read_bytes().splitlines(keepends=True)
    path_in(folder).write_bytes(b"".join((heading, bytes([first[0] ^ 1]), first[1:], *rest)))
    enter(folder, HERE, "31.5 kn")
    for _ in "twice":
        assert "not just what it held, 1 entry" in " ".join(run(digest.command, folder)[1].split())
    with HullFolder(folder.parent / "copy", read_only=True) as source, HullFolder(folder) as target:
        assert merge([source], target).complete
    assert not told(folder)


def test_of_two_files_copied_over_ours_one_after_the_other_each_loss_is_told(folder: Path) -> None:
    """Until all of both is back. The second note was written over the first."""
    copies = []
    for number, speeds in enumerate((("28 kn", "29 kn"), ("33 kn", "34 kn", "35 kn"))):
        copies.append(folder.parent / f"other-{number}")
        for speed in speeds:
            enter(copies[-1], HERE, speed)
    first = folder.parent / "copy"
    for copy in copies:
        shutil.copy(path_in(copy), path_in(folder))
        with HullFolder(folder) as hulls:
            hulls.digests()
    for _ in range(2):
        with HullFolder(folder) as hulls:
            hulls.digests()
            assert [damage.had for damage in hulls.damage()] == [1, 2]
            assert len({damage.reason for damage in hulls.damage()}) == 2
    for back in ([first], copies[:1], [first, *copies]):
        again = folder.parent / f"{back[0].name}-{len(back)}-back"
        shutil.copytree(folder, again)
        with HullFolder(again) as hulls:
            merge([HullFolder(one, read_only=True) for one in back], hulls)
            assert bool(hulls.damage()) == (len(back) == 1)
    name = file_name(HERE)
    with HullFolder(folder) as hulls:
        assert hulls.forget_gone(name)
        assert hulls.damage() == ()


def test_it_is_told_no_more_once_it_is_back_as_it_was(folder: Path) -> None:
    path_in(folder).unlink()
    with HullFolder(folder.parent / "copy", read_only=True) as source, HullFolder(folder) as target:
        assert merge([source], target).complete
    assert not told(folder)
    assert ALL_WELL in run(repair.command, folder)[1]


def test_what_came_back_with_less_is_told_until_it_is_forgotten(folder: Path) -> None:
    enter(folder, HERE, "32 kn")
    path_in(folder).unlink()
    shutil.copytree(folder, folder.parent / "lacking")
    with HullFolder(folder.parent / "copy", read_only=True) as source, HullFolder(folder) as target:
        merge([source], target)
        assert target.count(HERE) == 1
    assert "not just what it held" in run(digest.command, folder)[1]
    assert run(repair.command, folder, "--forget", HERE)[0] == 0
    assert not told(folder)
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.count(HERE) == 1


def test_a_source_that_lacks_a_file_costs_nothing_where_all_of_it_is_here(folder: Path) -> None:
    path_in(folder).unlink()
    with HullFolder(folder, read_only=True) as source, HullFolder(folder.parent / "copy") as target:
        assert merge([source], target).lost == ()
        enter_more = measure(Author("b", "B. Hand"), replay(HERE, target.entries(HERE)), "job-1", "trial", "heel", "3")
        target.save(enter_more)
        assert merge([source], target).lost == (), "what it held is known entry by entry"
        (folder / KNOWN).unlink()  # as an older version left it: only a digest tells
        assert [loss.file.name for loss in merge([source], target).lost] == [file_name(HERE)]


def test_a_boat_removed_on_purpose_is_forgotten_and_may_come_again(folder: Path) -> None:
    path_in(folder).unlink()
    assert run(repair.command, folder, "--forget", OTHER)[0] != 0, "that one is here"
    status, said = run(repair.command, folder, "--forget", HERE)
    assert (status, ALL_WELL in said) == (0, True)
    assert run(digest.command, folder)[0] == 0
    enter(folder, HERE, "29 kn")
    assert not told(folder)


def test_nobody_is_accused(folder: Path, tmp_path: Path) -> None:
    """An older folder knows no lengths; a link has its length noted under another name; a damaged file is kept."""
    old = tmp_path / "copy"
    (old / FILE).unlink()
    path_in(old).unlink()
    assert not told(old)
    path_in(folder).rename(tmp_path / "elsewhere.hull")
    path_in(folder).symlink_to(tmp_path / "elsewhere.hull")
    enter(folder, HERE, "33 kn")
    assert not told(folder)
    enter(old, OTHER, "33 kn")
    shutil.copy(old / HULLS_FOLDER / file_name(OTHER), folder / HULLS_FOLDER)
    assert not told(folder), "a copy that went on from ours holds all of it"
    kept = folder / HULLS_FOLDER / file_name(OTHER)
    kept.write_bytes(b"\0" * 40)
    with HullFolder(folder) as hulls:
        hulls.hulls()
        assert not hulls.gone()
    for one in kept.parent.glob(f"{kept.name}.damaged-*"):
        one.unlink()  # as repair says, once nothing more is to be had from it
    assert not told(folder)


def test_to_tell_what_is_damaged_the_folder_is_listed_as_often_for_many_boats_as_for_few(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 100 000 boats a listing takes a tenth of a second; once for each boat it took hours."""

    def listed_for(boats: int) -> tuple[int, int, int]:
        folder, hulls = tmp_path / str(boats), [f"QQZ{number:05d}D626" for number in range(boats)]
        for hull in hulls:
            enter(folder, hull, "31 kn")
        (folder / NAMES).unlink(missing_ok=True)  # as it is where another program changed the folder
        for path in (folder / HULLS_FOLDER, *(folder / HULLS_FOLDER).iterdir()):
            os.utime(path, ns=(0, 1_700_000_000_000_000_000))
        with monkeypatch.context() as patched:
            patched.setattr(folder_names, "COARSEST_CLOCK", -60_000_000_000)  # as if it had changed a minute ago
            asked.clear()
            with HullFolder(folder, read_only=True) as files:
                for hull in hulls:
                    assert (files.damage_of([hull]), files.unread_of([hull])) == ((), 0)
            of_each = len(asked)
            for hull in hulls[: boats // 2]:
                (folder / HULLS_FOLDER / file_name(hull)).unlink()
            asked.clear()
            with HullFolder(folder, read_only=True) as files:
                assert len(files.damage_of(hulls)) == boats // 2
                assert len(files.unread()) == boats // 2
            return of_each, len(asked), boats

    asked: list[object] = []
    scandir = os.scandir

    def counted(path: object) -> object:
        asked.append(path)
        return scandir(path)  # type: ignore[call-overload]

    monkeypatch.setattr(os, "scandir", counted)
    few, many = listed_for(4), listed_for(12)
    assert few[:2] == many[:2]
    assert few[0] == 1


# All of it back, and more: what other tablets brought meanwhile hides that it is all


def path_of(folder: Path) -> Path:
    return folder / HULLS_FOLDER / file_name(HERE)


def merged(source: Path, target: Path) -> None:
    with HullFolder(source, read_only=True) as theirs, HullFolder(target) as ours:
        merge([theirs], ours)


@pytest.fixture
def shop(folder: Path) -> Path:
    """Holds what the tablet (`folder`) held, what the tablet wrote later, and between the two another's."""
    shop = folder.parent / "copy"
    enter(shop, HERE, "28 kn")
    enter(folder, HERE, "32 kn")
    merged(folder, shop)
    return shop


def copy_over(folder: Path, shop: Path) -> None:
    shutil.copy(path_of(shop), path_of(folder))


def lose(folder: Path, shop: Path) -> None:
    path_of(folder).unlink()


def cut(folder: Path, shop: Path) -> None:
    """At a line's end, where only the length tells."""
    path_of(folder).write_bytes(b"".join(path_of(folder).read_bytes().splitlines(keepends=True)[:-1]))


def put_back(folder: Path, shop: Path) -> None:
    """An older state of the folder of hull files alone."""
    copy_over(folder, shop.parent / "old")


@pytest.mark.parametrize("how", [copy_over, lose, cut, put_back])
def test_once_all_is_back_with_more_from_others_nobody_is_asked(
    folder: Path, shop: Path, how: Callable[[Path, Path], None]
) -> None:
    shutil.copytree(folder, shop.parent / "old")
    path_of(shop.parent / "old").write_bytes(b"".join(path_of(folder).read_bytes().splitlines(keepends=True)[:-1]))
    how(folder, shop)
    assert told(folder) == (how is not copy_over)
    merged(shop, folder)
    assert not told(folder)
    assert ALL_WELL in run(repair.command, folder)[1]
    with HullFolder(folder, read_only=True) as hulls:
        assert hulls.count(HERE) == 3


@pytest.mark.parametrize("how", [copy_over, lose, cut])
def test_while_one_entry_lacks_it_is_told_however_many_came(
    folder: Path, shop: Path, how: Callable[[Path, Path], None]
) -> None:
    enter(folder, HERE, "33 kn")  # nobody else has it
    shutil.copytree(folder, folder.parent / "kept")
    how(folder, shop)
    merged(shop, folder)
    enter(folder, HERE, "34 kn")
    enter(folder, HERE, "35 kn")
    assert told(folder)
    merged(folder.parent / "kept", folder)
    assert not told(folder)


def test_where_an_older_version_wrote_last_only_a_digest_tells(folder: Path, shop: Path) -> None:
    """It notes no ids, so what the file held is not known entry by entry."""
    (folder / KNOWN).unlink()
    copy_over(folder, shop)
    assert told(folder), "as before"
    run(repair.command, folder, "--forget", HERE)
    enter(shop, HERE, "36 kn")
    copy_over(folder, shop)
    assert not told(folder), "from then on it is"


def test_what_was_forgotten_is_not_missed_again(folder: Path, shop: Path) -> None:
    enter(folder, HERE, "33 kn")
    copy_over(folder, shop)
    assert told(folder)
    run(repair.command, folder, "--forget", HERE)
    lose(folder, shop)
    merged(shop, folder)
    assert not told(folder)


def test_ids_a_power_cut_left_half_noted_are_not_taken_for_all(folder: Path, shop: Path) -> None:
    notes = (folder / KNOWN).read_bytes()
    (folder / KNOWN).write_bytes(notes[:-5])
    copy_over(folder, shop)
    assert told(folder)


def refuse(*_arguments: object, **_named: object) -> None:
    raise OSError(5, "Input/output error")


def test_a_file_never_saved_that_the_disk_does_not_let_go_is_not_called_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its name was not flushed, and it could not be taken away: an empty one was noted in its place."""
    entry = measure(Author("a", "A. Hand"), replay(HERE, ()), "job-1", "trial", "speed", "31 kn")
    with HullFolder(tmp_path) as hulls:
        monkeypatch.setattr(storage, "flush_folder", refuse)
        monkeypatch.setattr(Path, "unlink", refuse)
        with pytest.raises(storage.NotSaved):
            hulls.save(entry)
        monkeypatch.undo()
    assert not told(tmp_path)
    enter(tmp_path, HERE, "30 kn")
    assert not told(tmp_path)


def test_a_note_that_the_disk_refused_comes_before_the_next_of_its_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A digest alone, noted later, would be of another length than the one that stands: the file was called gone."""
    first, second = (Noted(size, f"{size:064x}", size // 100, 0, 7) for size in (300, 500))
    name, other = path_in(tmp_path).name, file_name(OTHER)
    notes = FileSizes(tmp_path, writing=True)
    notes.note_saved({name: first, other: first})
    monkeypatch.setattr(storage, "append", refuse)
    notes.note_saved({name: second})
    notes.forget(other, is_back=False)
    monkeypatch.undo()
    notes.note_digest(name, second.digest)
    notes.close()
    read = FileSizes(tmp_path, writing=False)
    assert (read.least(name), read.digest(name), read.count(name)) == (500, second.digest, 5)
    assert read.least(other) == 0


def test_an_older_damaged_copy_beside_hides_no_file_that_is_gone(folder: Path) -> None:
    """What came after the copy was kept is in no file at all."""
    path = path_in(folder)
    path.write_bytes(path.read_bytes()[:-30])
    for speed in ("32 kn", "33 kn", "34 kn"):
        enter(folder, HERE, speed)
    assert [one.name for one in path.parent.glob("*.damaged-*")] == [f"{path.name}.damaged-1"]
    path.unlink()
    for _ in range(2):
        with HullFolder(folder) as hulls:
            assert [damage.had for damage in hulls.gone()] == [3]
        enter(folder, HERE, "35 kn")  # begins it anew


def test_a_longer_damaged_copy_beside_hides_no_file_that_is_gone(folder: Path) -> None:
    """Mended, the file is shorter than the copy kept of it."""
    path = path_in(folder)
    path.write_bytes(path.read_bytes() + b"no entry, and longer than any other\n" * 100)
    with HullFolder(folder) as hulls:
        assert hulls.digests()
    kept = path.with_name(f"{path.name}.damaged-1")
    assert kept.stat().st_size > path.stat().st_size
    path.unlink()
    for writing in (False, True):
        with HullFolder(folder, read_only=not writing) as hulls:
            assert [damage.file.name for damage in hulls.gone()] == [path.name]


@pytest.mark.parametrize("shorter", [1, 0])
@pytest.mark.parametrize("before", ["unlink", "flush_folder"])
def test_a_program_killed_while_it_takes_a_file_out_of_use_tells_once_what_is_not_here(
    folder: Path, before: str, shorter: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is kept beside, and told of as that; one that is as long as the boat's was is none of it, and that is gone."""
    path = path_in(folder)
    path.write_bytes(b"x" * (path.stat().st_size - shorter))

    class Killed(BaseException):
        pass

    def kill(*_: object) -> None:
        if path.with_name(f"{path.name}.damaged-1").exists() and not (before == "flush_folder" and path.exists()):
            raise Killed

    with monkeypatch.context() as patch, HullFolder(folder) as hulls:
        patch.setattr(Path if before == "unlink" else storage, before, kill)
        with pytest.raises(Killed):
            hulls.digests()
    for _ in range(2):
        with HullFolder(folder) as hulls:
            hulls.digests()
            assert not path.exists()
            assert len(hulls.gone()) == 1 - shorter
    assert [one.name for one in path.parent.glob(f"{path.name}*")] == [f"{path.name}.damaged-1"]
