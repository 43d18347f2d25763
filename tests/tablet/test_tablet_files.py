"""Files that come in and go out: on a desk with its own dialog, on Android by intents; both told apart from the app."""

from __future__ import annotations

import importlib.util
import io
import os
import shutil
import stat
import sys
import threading
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.disk.storage import UNFINISHED, NotSaved
from garboard_tablet.system import desk_files, files
from garboard_tablet.system.desk_files import DeskFiles, copy_of, dialog, put_into
from garboard_tablet.system.files import Got, How, Place, Put, copy_in, copy_out, free_name, own_name


class _Breaks(io.BytesIO):
    """A stick that is taken out while it is read."""

    def read(self, size: int | None = -1, /) -> bytes:
        if self.tell():
            raise OSError(5, "Input/output error")
        return super().read(4)


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("photo.jpg", "photo.jpg"),
        ("../../etc/passwd", "passwd"),
        ("C:\\boats\\..\\x.png", "x.png"),
        ("..", "file"),
        ("", "file"),
        ("a\x00b\n.jpg", "a_b_.jpg"),
        (".hidden", "hidden"),
    ],
)
def test_a_name_from_elsewhere_leads_into_no_other_folder(tmp_path: Path, name: str, kept: str) -> None:
    assert own_name(name) == kept
    got = copy_in(io.BytesIO(b"content"), tmp_path / "in", name)
    assert (got.how, got.path) == (How.DONE, tmp_path / "in" / kept)


def test_what_breaks_off_while_it_comes_in_leaves_nothing_and_is_said(tmp_path: Path) -> None:
    got = copy_in(_Breaks(b"content"), tmp_path, "run.log")
    assert (got.how, got.path) == (How.FAILED, None)
    assert "run.log could not be copied" in got.why
    assert copy_in(io.BytesIO(b""), tmp_path, "run.log").how is How.NOTHING
    assert list(tmp_path.iterdir()) == []


def test_a_file_larger_than_can_reach_the_shop_is_refused_on_the_way_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("garboard.shop_link.wire.LARGEST_ATTACHMENT", 3 << 20)
    got = copy_in(io.BytesIO(bytes(4 << 20)), tmp_path, "film.mp4")
    assert (got.how, got.why[:32]) == (How.FAILED, "The file is larger than 3 MB. Ke")
    assert list(tmp_path.iterdir()) == []
    backup = copy_in(io.BytesIO(bytes(4 << 20)), tmp_path, "garboard 2026-05-14 1740.zip", is_backup=True)
    assert (backup.how, backup.path and backup.path.stat().st_size) == (How.DONE, 4 << 20)


@pytest.mark.parametrize("letter", ["a", "\N{LATIN SMALL LETTER E WITH ACUTE}", "\N{CJK UNIFIED IDEOGRAPH-20000}"])
def test_a_name_of_any_alphabet_fits_a_card_and_hides_nothing(tmp_path: Path, letter: str) -> None:
    """A card counts bytes: eighty letters of some alphabets are more than it takes."""
    for number in range(2):
        got = copy_in(io.BytesIO(b"content"), tmp_path, letter * 100 + ".hidden name" + letter * 48 + ".log")
        assert got.path is not None, number
        assert (got.path.name[0] in ". ", got.path.suffix) == (False, ".log")
    assert len(own_name(".a" + letter * 300).encode()) <= 160


def test_what_a_dead_app_left_of_a_copy_is_cleared_and_two_copies_at_once_are_both_whole(tmp_path: Path) -> None:
    (tmp_path / f"{UNFINISHED}old.jpg").write_bytes(b"\xff\xd8\xff half")

    class Slow(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            if self.tell() and not others:
                others.append(copy_in(io.BytesIO(b"other"), tmp_path, "run.log"))
            return super().read(4)

    others: list[Got] = []
    first = copy_in(Slow(b"one, two"), tmp_path, "run.log")
    found = [got.path and got.path.read_bytes() for got in (first, *others)]
    assert found == [b"one, two", b"other"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["run 2.log", "run.log"]


def test_what_comes_in_writes_over_nothing(tmp_path: Path) -> None:
    for content in (b"one", b"two"):
        copy_in(io.BytesIO(content), tmp_path, "photo.jpg")
    assert (tmp_path / "photo.jpg").read_bytes() == b"one"
    assert (tmp_path / "photo 2.jpg").read_bytes() == b"two"
    (tmp_path / "link.jpg").symlink_to(tmp_path / "nowhere")
    assert free_name(tmp_path, "link.jpg").name == "link 2.jpg"


def test_a_picture_is_named_as_one_and_nothing_else_is(tmp_path: Path) -> None:
    for name, content, kept in (
        ("IMG 26.5.14", b"\xff\xd8\xff\xe0", "IMG 26.5.14.jpg"),
        ("clamp", b"\x89PNG\r\n\x1a\n", "clamp.png"),
        ("clamp.heic", b"RIFF\n\n\0\0WEBPVP8", "clamp.heic.webp"),
        ("clamp.JPEG", b"\x89PNG\r\n\x1a\n", "clamp.JPEG"),
        ("run.log", b"$GPRMC", "run.log"),
        ("boats.zip", b"PK\x03\x04", "boats.zip"),
    ):
        got = copy_in(io.BytesIO(content), tmp_path, name)
        assert (got.path, got.name) == (tmp_path / kept, kept)
        assert (tmp_path / kept).read_bytes() == content


def test_a_pipe_and_a_folder_are_not_copied_in(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name in ("pipe", "", "gone"):
        assert copy_of(tmp_path / name, tmp_path / "in").how is How.FAILED
    assert not (tmp_path / "in").exists()


def test_a_file_put_out_reads_back_the_same_or_is_not_called_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, folder = tmp_path / "all.zip", tmp_path / "stick"
    source.write_bytes(os.urandom(100_000))
    folder.mkdir()
    put = put_into(folder, source, "backup.zip")
    assert put == Put(how=How.DONE, where=str(folder / "backup.zip"))
    assert (folder / "backup.zip").read_bytes() == source.read_bytes()

    def wears_out(path: Path) -> None:
        path.write_bytes(path.read_bytes()[:-1] + b"?")

    monkeypatch.setattr(files, "_forget_cached", wears_out)
    with pytest.raises(NotSaved, match="does not read back"):
        copy_out(source, folder / "second.zip")
    assert [path.name for path in folder.iterdir()] == ["backup.zip"]
    assert put_into(tmp_path / "gone", source, "backup.zip").how is How.FAILED


def test_a_dialog_is_the_systems_own_and_there_is_none_without_a_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    assert dialog("file") is None
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}" if name == "zenity" else None)
    assert dialog("folder") == ["zenity", "--file-selection", "--directory"]
    monkeypatch.setattr(shutil, "which", lambda name: name if name == "kdialog" else None)
    assert dialog("file") == ["kdialog", "--getopenfilename"]
    monkeypatch.setattr(shutil, "which", lambda _name: None)
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    assert dialog("file") is None


def test_a_desk_copies_what_was_chosen_and_says_when_nothing_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The dialog runs beside the app; its answer is given on the drawing thread."""
    (tmp_path / "a.jpg").write_bytes(b"a picture")
    asked = [["printf", "%s", str(tmp_path / "a.jpg")], ["false"], ["/no/such/dialog"]]
    monkeypatch.setattr(desk_files, "dialog", lambda _what: asked.pop(0))
    told = threading.Event()
    answers: list[Any] = []

    def later(work: Callable[[], object], _after: float = 0.0, /) -> None:
        work()
        told.set()

    for _ in range(3):
        DeskFiles(later).pick(tmp_path / "in", answers.append)
        assert told.wait(60)
        told.clear()
    assert [got.how for got in answers] == [How.DONE, How.CANCELLED, How.CANCELLED]
    assert answers[0].path.read_bytes() == b"a picture"


def test_whoever_waits_for_a_file_is_told_whatever_goes_wrong_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stick that is pulled out fails at the first look at it; a name may be in no alphabet."""
    monkeypatch.setattr(desk_files, "dialog", lambda _what: ["printf", r"\377"])
    told = threading.Event()
    answers: list[Any] = []

    def later(work: Callable[[], object], _after: float = 0.0, /) -> None:
        work()
        told.set()

    def pulled_out(*_: object) -> Path:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(desk_files, "free_name", pulled_out)
    system = DeskFiles(later)
    place = Place(key=str(tmp_path), title="Stick")
    asks: list[Callable[[], object]] = [
        lambda: system.put(tmp_path / "all.zip", "all.zip", place, answers.append),
        lambda: system.pick(tmp_path / "in", answers.append),
        lambda: system.choose_folder(answers.append),
    ]
    for ask in asks:
        ask()
        assert told.wait(60)
        told.clear()
    put, got, chosen = answers
    assert (put.how, put.where, put.why) == (How.FAILED, "Stick", "input/output error.")
    assert (got.how, got.path, chosen) == (How.FAILED, None, None)
    assert "Give it another name" in got.why


# Android: what is asked of it, in the order its reference has it. No device is here; a fake stands for its classes.


@attrs.define
class _Android:
    """Android's side: what was asked, and what documents there are, each a file."""

    folder: Path
    started: list[tuple[Any, int]] = attrs.field(factory=list)
    named: dict[str, Any] = attrs.field(factory=dict)
    listener: Any = None
    refuses: bool = False
    spoils: bool = False
    deleted: list[Path] = attrs.field(factory=list)

    def autoclass(self, name: str) -> Any:
        return self.named[name]

    def bind(self, *, on_activity_result: Any) -> None:
        self.listener = on_activity_result

    def start(self, intent: Any, number: int) -> None:
        if self.refuses:
            raise RuntimeError("ActivityNotFoundException")
        self.started.append((intent, number))

    def answer(self, code: int, address: Path | None) -> None:
        intent = types.SimpleNamespace(getData=lambda: None if address is None else _Address(address))
        self.listener(self.started[-1][1], code, intent)

    def open(self, address: Any, mode: str) -> Any:
        path = address.path if isinstance(address, _Address) else address
        if mode == "r" and self.spoils:
            path.write_bytes(b"?")
        flags = os.O_RDONLY if mode == "r" else os.O_WRONLY | os.O_CREAT | os.O_TRUNC
        return types.SimpleNamespace(detachFd=lambda: os.open(path, flags, stat.S_IRUSR | stat.S_IWUSR))


@attrs.frozen
class _Address:
    path: Path

    def toString(self) -> str:  # noqa: N802  # Android's name
        return str(self.path)

    def getLastPathSegment(self) -> str:  # noqa: N802
        return f"primary:{self.path.name}"


class _Intent:
    ACTION_OPEN_DOCUMENT, ACTION_OPEN_DOCUMENT_TREE, CATEGORY_OPENABLE = "document", "tree", "openable"

    def __init__(self, action: str) -> None:
        self.action, self.more, self.flags = action, dict[str, Any](), 0

    def putExtra(self, name: str, value: Any) -> None:  # noqa: N802
        self.more[name] = value

    def addFlags(self, flags: int) -> None:  # noqa: N802
        self.flags |= flags

    def addCategory(self, category: str) -> None:  # noqa: N802
        self.more["category"] = category

    def setType(self, kind: str) -> None:  # noqa: N802
        self.more["type"] = kind


@pytest.fixture
def android(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[_Android, Any, list[Any]]]:
    system = _Android(tmp_path)

    def query(address: _Address, *_: object) -> Any:
        return types.SimpleNamespace(
            moveToFirst=lambda: True, getString=lambda _at: address.path.name, close=lambda: None
        )

    def create(_resolver: object, parent: _Address, _kind: str, name: str) -> _Address:
        path = parent.path / name
        return _Address(path.with_name(f"{path.stem} (1).zip") if path.exists() else path)

    def delete(_resolver: object, address: _Address) -> None:
        system.deleted.append(address.path)

    resolver = types.SimpleNamespace(
        openFileDescriptor=system.open, query=query, takePersistableUriPermission=lambda *_: None
    )
    activity = types.SimpleNamespace(
        getContentResolver=lambda: resolver,
        getPackageName=lambda: "org.example.app",
        getPackageManager=lambda: types.SimpleNamespace(hasSystemFeature=lambda name: name.endswith("camera.any")),
        startActivityForResult=system.start,
    )
    system.named = {
        "org.kivy.android.PythonActivity": types.SimpleNamespace(mActivity=activity),
        "android.content.Intent": _Intent,
        "android.provider.MediaStore": types.SimpleNamespace(ACTION_IMAGE_CAPTURE="capture", EXTRA_OUTPUT="output"),
        "androidx.core.content.FileProvider": types.SimpleNamespace(
            getUriForFile=lambda _activity, authority, file: f"content://{authority}/{Path(file).name}"
        ),
        "java.io.File": str,
        "android.net.Uri": types.SimpleNamespace(parse=lambda text: _Address(Path(text))),
        "android.provider.DocumentsContract": types.SimpleNamespace(
            getTreeDocumentId=lambda tree: tree,
            buildDocumentUriUsingTree=lambda _tree, document: document,
            createDocument=create,
            deleteDocument=delete,
        ),
    }
    jnius = types.SimpleNamespace(autoclass=system.autoclass, cast=lambda _kind, value: value)
    monkeypatch.setitem(sys.modules, "jnius", jnius)
    monkeypatch.setitem(sys.modules, "android", types.SimpleNamespace(activity=system))
    monkeypatch.delitem(sys.modules, "garboard_tablet.system.android_files", raising=False)
    from garboard_tablet.system.android_files import AndroidFiles

    answers: list[Any] = []
    told = threading.Event()

    def later(work: Callable[[], object], _after: float = 0.0, /) -> None:
        work()
        told.set()

    at_work: Any = AndroidFiles(later)
    at_work.told = told
    yield system, at_work, answers
    sys.modules.pop("garboard_tablet.system.android_files", None)


def test_the_camera_writes_through_the_apps_own_provider(
    android: tuple[_Android, Any, list[Any]], tmp_path: Path
) -> None:
    system, at_work, answers = android
    assert at_work.has_camera
    target = tmp_path / "photo.jpg"
    at_work.take_picture(target, answers.append)
    intent = system.started[0][0]
    assert (intent.action, intent.flags) == ("capture", 3)
    assert intent.more["output"] == "content://org.example.app.fileprovider/photo.jpg"
    target.write_bytes(b"a picture")
    system.answer(-1, None)
    system.answer(-1, None)  # told twice: heard once
    at_work.take_picture(tmp_path / "second.jpg", answers.append)
    system.answer(0, None)
    at_work.take_picture(tmp_path / "third.jpg", answers.append)
    (tmp_path / "third.jpg").touch()
    system.answer(-1, None)
    assert [got.how for got in answers] == [How.DONE, How.CANCELLED, How.NOTHING]
    assert answers[0].path == target
    assert (tmp_path / "third.jpg").exists(), "the camera may be writing yet"
    system.named["androidx.core.content.FileProvider"] = None
    at_work.take_picture(tmp_path / "outside.jpg", answers.append)
    assert answers[-1].how is How.FAILED
    system.refuses = True
    at_work.take_picture(tmp_path / "fourth.jpg", answers.append)
    assert answers[-1].how is How.FAILED


def test_a_document_is_copied_in_under_its_own_name(android: tuple[_Android, Any, list[Any]], tmp_path: Path) -> None:
    system, at_work, answers = android
    (tmp_path / "run 3.log").write_bytes(b"time,speed")
    for code, chosen in ((-1, tmp_path / "run 3.log"), (0, None), (-1, tmp_path / "gone.log")):
        at_work.told.clear()
        at_work.pick(tmp_path / "in", answers.append)
        assert system.started[-1][0].more == {"category": "openable", "type": "*/*"}
        system.answer(code, chosen)
        end = 10.0
        while len(answers) < len(system.started) and end > 0:
            at_work.told.wait(0.01)
            at_work.told.clear()
            end -= 0.01
    assert [got.how for got in answers] == [How.DONE, How.CANCELLED, How.FAILED]
    assert (tmp_path / "in" / "run 3.log").read_bytes() == b"time,speed"


def test_a_file_put_out_to_a_chosen_folder_is_read_back(
    android: tuple[_Android, Any, list[Any]], tmp_path: Path
) -> None:
    system, at_work, answers = android
    (tmp_path / "Backups").mkdir()
    (tmp_path / "all.zip").write_bytes(b"all boats")
    at_work.choose_folder(answers.append)
    system.answer(-1, tmp_path / "Backups")
    place = answers.pop()
    assert place == Place(key=str(tmp_path / "Backups"), title="Backups")
    put = at_work._put(tmp_path / "all.zip", "boats.zip", place)
    assert put == Put(how=How.DONE, where="Backups/boats.zip")
    assert (tmp_path / "Backups" / "boats.zip").read_bytes() == b"all boats"
    put = at_work._put(tmp_path / "all.zip", "boats.zip", place)
    assert put == Put(how=How.DONE, where="Backups/boats (1).zip"), "said as the system calls it"
    system.spoils = True
    put = at_work._put(tmp_path / "all.zip", "second.zip", place)
    assert (put.how, system.deleted) == (How.FAILED, [tmp_path / "Backups" / "second.zip"])


def test_nothing_of_android_is_imported_on_a_desk() -> None:
    assert "jnius" not in sys.modules
    assert Got(how=How.NOTHING).path is None
