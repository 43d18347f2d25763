"""A backup of all boats in one zip: whole or not there, proved by reading it, and taken back like any merge."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk import storage
from garboard.disk.attachments import Attachments
from garboard.disk.hullfile import HullFolder
from garboard.disk.storage import NotSaved
from garboard.history import backup
from garboard.history.authoring import measure
from garboard.history.backup import LIST, BackupRefused, NoBackup, is_zip, read_backup, take_back, write_backup
from garboard.history.boat import attach, open_hull
from garboard.history.merge import merge
from garboard.history.replay import HullState
from histories import HULL, JOB, tablet

OTHER_HULL = "XYZAB123F526"
AT = "2026-05-14T17:40:00+02:00"
STEP = "small.horn"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two boats, one of them with a photo."""
    base = tmp_path_factory.mktemp("whole")
    (base / "clamp.jpg").write_bytes(b"\xff\xd8\xff" + os.urandom(40_000))
    with HullFolder(base / "tablet") as folder:
        for hull in (HULL, OTHER_HULL):
            folder.save(measure(tablet("a").author, HullState(hull), JOB, STEP, "heard", True))
        state = open_hull(folder, HULL).state
        folder.save(attach(folder, tablet("a").author, state, JOB, STEP, base / "clamp.jpg"))
    return base / "tablet"


@pytest.fixture
def made(shop: Path, tmp_path: Path) -> Path:
    path = tmp_path / "garboard 2026-05-14.zip"
    with HullFolder(shop, read_only=True) as folder:
        write_backup(folder, path, AT)
    return path


def _same(one: Path, other: Path) -> bool:
    with HullFolder(one, read_only=True) as first, HullFolder(other, read_only=True) as second:
        return first.digests() == second.digests() and first.attachments.names() == second.attachments.names()


def test_a_backup_holds_all_boats_and_gives_them_back_and_a_second_time_changes_nothing(
    shop: Path, made: Path, tmp_path: Path
) -> None:
    found = read_backup(made)
    assert (found.at, found.hulls, len(found.files)) == (AT, 2, 3)
    for first in (True, False):
        with HullFolder(tmp_path / "new") as folder:
            report = take_back(made, folder)
        assert (report.complete, report.received, report.attachments) == (True, 3 if first else 0, 1 if first else 0)
    assert _same(shop, tmp_path / "new")
    assert sorted(path.name for path in (tmp_path / "new").iterdir() if path.is_dir()) == ["attachments", "hulls"]


def test_taken_back_where_work_went_on_it_is_merged_and_nothing_of_it_is_lost(made: Path, tmp_path: Path) -> None:
    with HullFolder(tmp_path / "on") as folder:
        folder.save(measure(tablet("b").author, HullState(HULL), JOB, STEP, "heard", False))
        report = take_back(made, folder)
        (disagreement,) = open_hull(folder, HULL).view(JOB).disagreements
    assert report.complete
    assert {one.value for one in disagreement.values} == {True, False}


def test_the_command_imports_a_backup_as_it_merges_a_folder(shop: Path, made: Path, tmp_path: Path) -> None:
    arguments = ["import", str(made), "--into", str(tmp_path / "shop"), "--by", "R. Vane"]
    for said in ("3 entries and 1 attachment", "0 entries and 0 attachments"):
        result = CliRunner().invoke(program, arguments)
        assert (result.exit_code, said in result.stdout) == (0, True)
        assert "both sides counted: everything is merged" in result.stdout
    assert _same(shop, tmp_path / "shop")
    made.write_bytes(made.read_bytes()[:-200])
    result = CliRunner().invoke(program, arguments)
    assert (result.exit_code, "damaged" in result.stderr) == (2, True)


def test_a_backup_written_while_work_goes_on_is_sound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between one hull file and the next, another entry is saved."""
    author, state = tablet("a").author, HullState(HULL)
    with HullFolder(tmp_path / "t") as folder:
        folder.save(measure(author, state, JOB, STEP, "heard", True))
        before = folder.contents

        def busy() -> Any:
            for name, content in before():
                folder.save(measure(author, state, JOB, STEP, "remark", "later"))
                yield name, content

        monkeypatch.setattr(folder, "contents", busy)
        write_backup(folder, tmp_path / "b.zip", AT)
    with HullFolder(tmp_path / "new") as folder:
        assert (take_back(tmp_path / "b.zip", folder).complete, folder.damage()) == (True, ())


def test_a_backup_that_does_not_read_back_is_not_called_saved_and_the_one_before_stays(
    shop: Path, made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = made.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    for name, does in (("_put_attachment", lambda *_: ("0" * 64, "")), ("_fill", full)):
        with monkeypatch.context() as broken, HullFolder(shop, read_only=True) as folder:
            broken.setattr(backup, name, does)
            with pytest.raises(NotSaved):
                write_backup(folder, made, AT)
    assert made.read_bytes() == before
    assert [path.name for path in made.parent.iterdir()] == [made.name]


# What cannot be read when it is made


def test_a_boat_or_a_photo_that_cannot_be_read_is_named_and_the_rest_is_taken(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(shop, tmp_path / "shop")
    here = tmp_path / "shop"
    (hull,) = (here / "hulls").glob(f"{OTHER_HULL}-*")
    hull.unlink()
    hull.mkdir()  # the card put a folder where the boat's file was
    (photo,) = (here / "attachments").iterdir()
    photo.write_bytes(photo.read_bytes()[:-1] + b"?")
    (here / "attachments" / ("a" * 64)).mkdir()
    failing = hashlib.sha256(b"failing").hexdigest()
    (here / "attachments" / failing).write_bytes(b"failing")
    read = Attachments.read

    def fails(self: Attachments, name: str, start: int, most: int) -> bytes:
        if name == failing and start:
            raise OSError(5, "Input/output error")
        return read(self, name, start, most)

    monkeypatch.setattr(Attachments, "read", fails)
    with HullFolder(here, read_only=True) as folder:
        made = write_backup(folder, tmp_path / "b.zip", AT)
    assert (made.hulls, made.hulls_left_out) == (1, 1)
    first, *others = made.left_out_in_words
    assert first == f"hull {OTHER_HULL}: a folder, where a hull file should stand"
    assert {*others} == {
        f"photo or recording {'a' * 12}: a folder, where a file should stand; it was passed over",
        f"photo or recording {failing[:12]}: input/output error",
        f"photo or recording {photo.name[:12]}: damaged on this machine: merge with the shop to fetch it again",
    }
    monkeypatch.undo()
    assert backup.list_of(tmp_path / "b.zip") == read_backup(tmp_path / "b.zip") == made
    result = CliRunner().invoke(
        program, ["import", str(tmp_path / "b.zip"), "--into", str(tmp_path / "n"), "--by", "R"]
    )
    assert (result.exit_code, f"not whole when the backup was made: hull {OTHER_HULL}" in result.stderr) == (1, True)
    with HullFolder(tmp_path / "n", read_only=True) as back:
        assert back.boats() == (HULL,)


@pytest.mark.parametrize("harm", ["gone", "cut", "a letter"])
def test_a_backup_is_not_called_whole_where_a_boat_is_known_to_lack_something(
    shop: Path, tmp_path: Path, harm: str
) -> None:
    """Its file was removed, lost its end, or one letter of an entry: while the folder was closed."""
    here = tmp_path / "here"
    shutil.copytree(shop, here)
    with HullFolder(here) as folder:  # its lengths are noted
        folder.save(measure(tablet("a").author, HullState(OTHER_HULL), JOB, STEP, "battery", "3 kn"))
    (file,) = (here / "hulls").glob(f"{OTHER_HULL}-*.hull")
    lines = file.read_bytes().splitlines(keepends=True)
    if harm == "gone":
        file.unlink()
    else:
        file.write_bytes(b"".join(lines[:-1] if harm == "cut" else [*lines[:-1], lines[-1].replace(b"3 kn", b"4 kn")]))
    with HullFolder(here) as folder:
        made = write_backup(folder, tmp_path / "b.zip", AT)
    (lacking,) = made.left_out_in_words
    assert lacking.startswith(f"hull {OTHER_HULL}: ")
    assert ("gone" if harm == "gone" else "1 entry not readable, not back") in lacking
    assert (made.hulls, made.hulls_left_out) == ((1, 1) if harm == "gone" else (2, 0))


def test_a_whole_folder_is_called_whole_also_where_links_lead_to_its_boats(shop: Path, tmp_path: Path) -> None:
    """A hull file may lie elsewhere, a link in its place: it was passed over, and nobody was told."""
    (tmp_path / "linking" / "hulls").mkdir(parents=True)
    for file in (shop / "hulls").glob("*.hull"):
        (tmp_path / "linking" / "hulls" / file.name).symlink_to(file)
    with HullFolder(tmp_path / "linking", read_only=True) as folder:
        made = write_backup(folder, tmp_path / "b.zip", AT)
    assert (made.hulls, made.left_out) == (2, {})


def test_what_a_backup_says_is_not_in_it_is_shown_short_and_without_strange_names(made: Path) -> None:
    told = {f"hulls/{OTHER_HULL}-0123456789abcdef.hull": "x\n" * 5000, "../evil": "y", "attachments/" + "c" * 64: 7}

    def tells(_pack: zipfile.ZipFile, content: dict[str, bytes]) -> None:
        content[LIST] = json.dumps({**json.loads(content[LIST]), "left_out": told}).encode()

    made.write_bytes(_repacked(made, tells))
    (said,) = read_backup(made).left_out_in_words
    assert (len(said), said.startswith(f"hull {OTHER_HULL}: x x")) == (319, True)


def test_two_backups_at_once_are_both_whole_and_a_dead_ones_rest_is_cleared(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, found = tmp_path / "out" / "b.zip", []
    path.parent.mkdir()
    (path.parent / f"{storage.UNFINISHED}b.zip").write_bytes(b"half")
    with HullFolder(shop, read_only=True) as first, HullFolder(shop, read_only=True) as second:
        before = first.contents

        def meanwhile() -> Any:
            found.append(write_backup(second, path, "2026-05-14T17:41:00+02:00"))
            yield from before()

        monkeypatch.setattr(first, "contents", meanwhile)
        found.append(write_backup(first, path, AT))
    assert [one.hulls for one in found] == [2, 2]
    assert read_backup(path).at == AT
    assert [one.name for one in path.parent.iterdir()] == ["b.zip"]


# What a stranger may hand over


def _repacked(path: Path, change: Callable[[zipfile.ZipFile, dict[str, bytes]], None]) -> bytes:
    with zipfile.ZipFile(path) as pack:
        content = {name: pack.read(name) for name in pack.namelist()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        change(pack, content)
        listed = json.loads(content[LIST])
        listed["files"] = {name: hashlib.sha256(data).hexdigest() for name, data in content.items() if name != LIST}
        for name, data in content.items():
            pack.writestr(name, json.dumps(listed) if name == LIST else data)
    return out.getvalue()


def _with(name: str, data: bytes = b"x") -> Callable[[zipfile.ZipFile, dict[str, bytes]], None]:
    return lambda _pack, content: content.update({name: data})


def _link(pack: zipfile.ZipFile, content: dict[str, bytes]) -> None:
    info = zipfile.ZipInfo("attachments/" + "a" * 64)
    info.external_attr = 0o120777 << 16
    content[info.filename] = b"/etc/passwd"
    pack.writestr(info, content.pop(info.filename))


def _twice(pack: zipfile.ZipFile, content: dict[str, bytes]) -> None:
    name = next(name for name in content if name.endswith(".hull"))
    pack.writestr(name, b"another")


STRANGE = [
    _with("../hulls/evil.hull"),
    _with("/etc/passwd"),
    _with("hulls/../../evil.hull"),
    _with("hulls\\evil.hull"),
    _with("C:/evil"),
    _with("settings/shop.json"),
    _with("hulls/lower-0123456789abcdef.hull"),
    _with("attachments/short"),
    _with("hulls/"),
    _link,
]


@pytest.mark.parametrize("change", STRANGE)
def test_a_name_that_no_backup_holds_is_refused_and_nothing_is_written(
    made: Path, tmp_path: Path, change: Callable[[zipfile.ZipFile, dict[str, bytes]], None]
) -> None:
    made.write_bytes(_repacked(made, change))
    (tmp_path / "tablet").mkdir()
    with HullFolder(tmp_path / "tablet" / "data") as folder, pytest.raises(BackupRefused) as refused:
        take_back(made, folder)
    assert refused.value.why is NoBackup.STRANGE
    assert [path.name for path in (tmp_path / "tablet").iterdir()] == ["data"]
    assert not list((tmp_path / "tablet" / "data" / "hulls").iterdir())


def test_a_bomb_is_refused_before_it_is_unpacked(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made.write_bytes(_repacked(made, _with("attachments/" + "b" * 64, bytes(20 << 20))))
    monkeypatch.setattr(backup, "_digest_of", None)  # nothing of it may be unpacked
    with pytest.raises(BackupRefused) as refused:
        read_backup(made)
    assert refused.value.why is NoBackup.HUGE


def test_a_bomb_that_lies_about_its_size_is_refused(made: Path) -> None:
    """Its directory says a hundred bytes; unpacked it would be twenty million."""
    content = _repacked(made, _with("attachments/" + "b" * 64, bytes(20 << 20)))
    at = content.rindex(b"PK\x01\x02", 0, content.rindex(b"attachments/" + b"b" * 64))
    lying = content[: at + 24] + (100).to_bytes(4, "little") + content[at + 28 :]
    made.write_bytes(lying)
    with pytest.raises(BackupRefused) as refused:
        read_backup(made)
    assert refused.value.why in (NoBackup.DAMAGED, NoBackup.HUGE)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", NoBackup.OTHER),
        (b"a letter", NoBackup.OTHER),
        (b"PK\x03\x04 and then nothing", NoBackup.DAMAGED),
    ],
)
def test_what_is_no_backup_is_told_apart_from_a_damaged_one(tmp_path: Path, content: bytes, why: NoBackup) -> None:
    (tmp_path / "b.zip").write_bytes(content)
    with pytest.raises(BackupRefused) as refused:
        read_backup(tmp_path / "b.zip")
    assert refused.value.why is why
    assert is_zip(tmp_path / "b.zip") is content.startswith(b"PK")


@pytest.mark.parametrize(
    ("listed", "why"),
    [
        ({"format": "garboard backup", "version": 2}, NoBackup.NEWER),
        ({"format": "garboard backup", "version": "one"}, NoBackup.DAMAGED),
        ({"format": "garboard job", "version": 1}, NoBackup.OTHER),
        ({"format": "garboard backup", "version": 1, "at": 5, "files": {}}, NoBackup.DAMAGED),
        ({"format": "garboard backup", "version": 1, "at": AT, "files": {"hulls/gone": "0"}}, NoBackup.DAMAGED),
        ([], NoBackup.OTHER),
    ],
)
def test_a_list_that_says_something_else_is_refused(tmp_path: Path, listed: object, why: NoBackup) -> None:
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as pack:
        pack.writestr(LIST, json.dumps(listed))
    with pytest.raises(BackupRefused) as refused:
        read_backup(tmp_path / "b.zip")
    assert refused.value.why is why


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_zip_of_something_else_and_one_with_a_name_twice_are_refused(made: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as pack:
        pack.writestr("letter.txt", "hello")
    made.write_bytes(_repacked(made, _twice))
    found = []
    for path in (tmp_path / "other.zip", made):
        with pytest.raises(BackupRefused) as refused:
            read_backup(path)
        found.append(refused.value.why)
    assert found == [NoBackup.OTHER, NoBackup.STRANGE]


def test_every_cut_and_every_flipped_byte_is_refused_or_changes_nothing(made: Path, tmp_path: Path) -> None:
    """A stick that is going bad: no backup is taken back half."""
    content, whole = made.read_bytes(), read_backup(made)
    step = max(1, len(content) // 60)
    for at in range(0, len(content), step):
        for spoilt in (content[:at], content[:at] + bytes([content[at] ^ 0xFF]) + content[at + 1 :]):
            made.write_bytes(spoilt)
            with suppress(BackupRefused):
                assert read_backup(made).files == whole.files


def test_a_backup_without_room_for_it_and_one_that_changes_meanwhile_are_refused(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full:
        free = 10

    with HullFolder(tmp_path / "t") as folder:
        with monkeypatch.context() as little:
            little.setattr(shutil, "disk_usage", lambda _folder: Full())
            with pytest.raises(BackupRefused) as refused:
                take_back(made, folder)
        assert refused.value.why is NoBackup.NO_ROOM
        other = backup.Backup(at=AT, files=dict.fromkeys(read_backup(made).files, "0" * 64), size=1)
        place = _empty(tmp_path / "place")
        with pytest.raises(BackupRefused) as changed:
            backup._lay_out(made, other, place)
        assert changed.value.why is NoBackup.DAMAGED
        assert folder.hulls() == ()
    with HullFolder(tmp_path / "u") as folder:
        (tmp_path / "u" / f"{backup.SCRATCH}left").mkdir()
        take_back(made, folder)
        assert not list((tmp_path / "u").glob(f"{backup.SCRATCH}*"))
        merge([folder], folder)


def _empty(folder: Path) -> Path:
    folder.mkdir()
    return folder
