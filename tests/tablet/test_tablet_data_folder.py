"""A tablet's data lies where the system says, outside the program; an old folder is moved over once, nothing lost."""

from __future__ import annotations

import hashlib
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType
from typing import Any, ClassVar, NoReturn
from unittest.mock import Mock

import pytest

from garboard.disk import sizes, storage
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard_tablet.models import data_folder
from garboard_tablet.models.data_folder import MOVED, OLD, DataFolder, find_data_folder
from garboard_tablet.models.tablet import open_tablet
from tablet.driver import Drive

BOATS = ("XYZAB123F526", "XYZAB124F526", "XYZAB125F526")


class System:
    """A fake system: a folder for programs that an update empties, and one for their data that it leaves alone."""

    def __init__(self, root: Path) -> None:
        self.program, self.data = root / "programs" / "garboard", root / "data" / "garboard"
        self.update()

    def update(self) -> None:
        """A new version takes the place of the old one, with everything in its folder."""
        shutil.rmtree(self.program, ignore_errors=True)
        self.program.mkdir(parents=True)
        (self.program / "code.pyc").write_bytes(b"")

    def start(self) -> DataFolder:
        """What the new version opens; started in its own folder, as a packaged app is."""
        return find_data_folder(lambda: self.data, self.program, self.program)


def fill(folder: Path, boats: Sequence[str] = BOATS) -> str:
    """What an older version kept: boats, an attachment, settings, a run nobody decided on, a file of the inbox."""
    tablet = open_tablet(folder)
    tablet.change_settings(tablet.settings.with_person("Robin"))
    for boat in boats:
        tablet.open_job(boat)
    kept = str(tablet.keep_file(b"a photo of the plate", "plate.jpg")["file"])
    tablet.close()
    (folder / "recording run").write_text("[0, 1]\n")
    (folder / "inbox").mkdir()
    (folder / "inbox" / "sea trial.log").write_bytes(b"line\n")
    return kept


def content(folder: Path) -> dict[str, bytes]:
    """Every file that is somebody's data."""
    no_data = (storage.LOCK_NAME, MOVED, sizes.FILE)  # the last grows with each opening
    files = (path for path in folder.rglob("*") if path.is_file() and path.name not in no_data)
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def boats_in(folder: Path) -> tuple[str, ...]:
    with HullFolder(folder, read_only=True) as files:
        return files.hulls()


def test_an_update_of_a_packaged_app_loses_no_boat(tmp_path: Path) -> None:
    """The old version's folder beside the program is moved over, and the next update finds every boat."""
    system = System(tmp_path)
    fill(system.program / OLD)
    before = content(system.program / OLD)
    found = system.start()
    assert found.moved_from == system.program / OLD
    system.update()
    assert not (system.program / OLD).exists(), "the update emptied it"
    again = system.start()
    assert again.folder == found.folder
    assert (boats_in(again.folder), content(again.folder)) == (BOATS, before)
    assert not again.folder.is_relative_to(system.program)


def test_an_old_folder_is_moved_once_and_stays_as_it_is(tmp_path: Path) -> None:
    """What is written later in the new folder is not touched by the next start."""
    system = System(tmp_path)
    fill(system.program / OLD)
    before = content(system.program / OLD)
    folder = system.start().folder
    tablet = open_tablet(folder)
    tablet.open_job("XYZAB126F526")
    tablet.change_settings(tablet.settings.with_person("Kim"))
    tablet.close()
    now = content(folder)
    assert system.start().moved_from is None
    assert content(folder) == now
    assert content(system.program / OLD) == before
    assert str(folder) in (system.program / OLD / MOVED).read_text()


def test_where_the_new_folder_holds_boats_already_both_are_there(tmp_path: Path) -> None:
    """Begun anew before the old folder was found: the old boats, files and runs come in, the new settings stay."""
    system = System(tmp_path)
    folder = system.start().folder
    tablet = open_tablet(folder)
    tablet.open_job("XYZAB126F526")
    tablet.change_settings(tablet.settings.with_person("Kim"))
    tablet.close()
    kept = fill(system.program / OLD)
    assert system.start().moved_from == system.program / OLD
    assert boats_in(folder) == (*BOATS, "XYZAB126F526")
    tablet = open_tablet(folder)
    assert tablet.settings.working == "Kim"
    assert kept in tablet.files.attachments
    tablet.close()
    assert (folder / "recording run").exists()
    assert (folder / "inbox" / "sea trial.log").exists()


def test_what_the_disk_refuses_once_comes_in_with_the_second_try(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its file would have been put aside as damaged, and the old folder called moved."""
    system = System(tmp_path)
    folder = system.start().folder
    tablet = open_tablet(folder)
    tablet.open_job(BOATS[0])
    tablet.close()
    fill(system.program / OLD)
    with HullFolder(system.program / OLD, read_only=True) as old:
        held = old.ids(BOATS[0])
    read, refused = HullFolder.offer, list[str]()

    def once(self: HullFolder, hull: str, *known: Any) -> Any:
        if hull == BOATS[0] and not refused:
            refused.append(hull)
            raise OSError(5, "Input/output error")
        return read(self, hull, *known)

    monkeypatch.setattr(HullFolder, "offer", once)
    assert system.start().problem == ""
    assert refused
    with HullFolder(folder, read_only=True) as here:
        assert held < here.ids(BOATS[0])
    assert not [*folder.rglob(f"*{storage.SET_ASIDE}*")]


def one_hull_file(folder: Path, boat: str) -> Path:
    (found,) = (folder / "hulls").glob(f"{boat}-*.hull")
    return found


def start_with_torn_line(tmp_path: Path) -> tuple[System, Path, bytes]:
    """A system folder with a boat, and an old folder with three, one of which has a line torn in its middle."""
    system = System(tmp_path)
    tablet = open_tablet(system.start().folder)
    tablet.open_job("XYZAB126F526")
    tablet.close()
    fill(system.program / OLD)
    torn = one_hull_file(system.program / OLD, BOATS[0])
    lines = torn.read_bytes().split(b"\n")
    lines[-2] = lines[-2][:40]
    torn.write_bytes(b"\n".join(lines))
    return system, torn, torn.read_bytes()


def test_a_torn_line_in_the_old_folder_does_not_hold_up_the_move(tmp_path: Path) -> None:
    """What is readable comes in, the damaged file is kept whole beside it, and the tablet works in the new folder."""
    system, torn, content_then = start_with_torn_line(tmp_path)
    found = system.start()
    assert found.folder == system.data / "tablet"
    assert found.moved_from == system.program / OLD
    assert boats_in(found.folder) == (*BOATS, "XYZAB126F526")
    assert (found.folder / "hulls" / f"{torn.name}.damaged-1").read_bytes() == content_then
    assert torn.name in found.problem
    assert f"{torn.name}.damaged-1" in found.problem
    assert torn.name in (system.program / OLD / MOVED).read_text()
    with HullFolder(found.folder) as files:
        files.readable()
        assert files.damage_found() == (), "the new folder itself is sound"
    assert system.start() == DataFolder(folder=found.folder)


def test_an_old_file_mended_to_a_shorter_one_does_not_hold_up_the_move(tmp_path: Path) -> None:
    """Its length as last noted says more than it holds: for good, so that nobody may wait for it."""
    system, torn, _ = start_with_torn_line(tmp_path)
    torn.write_bytes(torn.read_bytes()[: torn.read_bytes().rindex(b"\n", 0, -41) + 1])
    found = system.start()
    assert (found.folder, found.moved_from) == (system.data / "tablet", system.program / OLD)
    assert boats_in(found.folder) == (*BOATS, "XYZAB126F526")


def newer_hull_file(boat: str) -> bytes:
    head = f"garboard hull 99 {boat}".encode()
    return head + b" " + hashlib.sha256(head).hexdigest()[:8].encode() + b"\nwhat a newer version writes\n"


@pytest.mark.parametrize("is_here", [True, False])
def test_an_old_file_of_a_newer_version_is_kept_whole(tmp_path: Path, is_here: bool) -> None:
    """Under its own name, so that the newer version reads it; beside the boat's file where there is one already."""
    system, torn, _ = start_with_torn_line(tmp_path)
    if is_here:
        tablet = open_tablet(system.data / "tablet")
        tablet.open_job(BOATS[0])
        tablet.close()
    torn.write_bytes(newer_hull_file(BOATS[0]))
    found = system.start()
    assert found.moved_from == system.program / OLD
    kept = found.folder / "hulls" / (f"{torn.name}.damaged-1" if is_here else torn.name)
    assert kept.read_bytes() == newer_hull_file(BOATS[0])
    assert torn.name in found.problem
    if is_here:
        assert BOATS[0] in boats_in(found.folder)
        return
    assert boats_in(found.folder) == (*BOATS[1:], "XYZAB126F526")


def test_a_damaged_photo_of_the_old_folder_is_kept_whole(tmp_path: Path) -> None:
    system, _torn, _ = start_with_torn_line(tmp_path)
    (photo,) = (path for path in (system.program / OLD / "attachments").iterdir() if len(path.name) == 64)
    photo.chmod(0o600)
    photo.write_bytes(b"no photo")
    found = system.start()
    assert found.moved_from == system.program / OLD
    assert (found.folder / "attachments" / f"{photo.name}.damaged-1").read_bytes() == b"no photo"
    assert photo.name in found.problem


def test_an_old_file_that_cannot_be_copied_leaves_the_old_folder_unmarked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bad card: the tablet works in the new folder all the same, and the next start brings the rest."""
    system, torn, content_then = start_with_torn_line(tmp_path)
    keep = data_folder._keep_beside
    monkeypatch.setattr(data_folder, "_keep_beside", Mock(side_effect=OSError(5, "Input/output error")))
    found = system.start()
    assert found.folder == system.data / "tablet"
    assert found.moved_from is None
    assert f"{torn.name} cannot be copied: input/output error" in found.problem
    assert not (system.program / OLD / MOVED).exists()
    monkeypatch.setattr(data_folder, "_keep_beside", keep)
    again = system.start()
    assert again.moved_from == system.program / OLD
    assert (again.folder / "hulls" / f"{torn.name}.damaged-1").read_bytes() == content_then


class Lock(storage.WriterLock):
    """A lock that is remembered until it is given up."""

    held: ClassVar[list[Lock]] = []  # emptied by each test that uses it

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.held.append(self)

    def release(self) -> None:
        self.held.remove(self)
        super().release()


class Killed(BaseException):
    """The program ended here."""


def killed_at(line: int, do: Callable[[], object]) -> bool:
    """Run something and end it at the so-manieth line of the module that moves; False when it was through before."""
    seen = 0

    def trace(frame: FrameType, event: str, _arg: object) -> Any:
        nonlocal seen
        if frame.f_code.co_filename != data_folder.__file__:
            return None
        if event == "line":
            seen += 1
            if seen == line:
                raise Killed
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        do()
    except Killed:
        return True
    finally:
        sys.settrace(before)
    return False


def test_a_kill_at_any_line_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After each, the old folder is whole, and the next start has every file; then the update may come."""
    monkeypatch.setattr(storage, "WriterLock", Lock)
    line = 0
    while True:
        line += 1
        system = System(tmp_path / str(line))
        fill(system.program / OLD, BOATS[:1])
        before = content(system.program / OLD)
        if not killed_at(line, system.start):
            break
        for lock in tuple(Lock.held):  # the system gives up the locks of a program that has ended
            lock.release()
        assert content(system.program / OLD) == before
        folder = system.start().folder
        assert content(folder) == before
        system.update()
        assert content(system.start().folder) == before
        shutil.rmtree(tmp_path / str(line))
    assert line > 40, "the lines of the move were counted"


def test_a_copy_that_differs_is_no_move(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that returns other bytes than were written: the old folder goes on being used, and the page says why."""
    system = System(tmp_path)
    fill(system.program / OLD)
    copy = shutil.copytree

    def spoil(old: Path, new: Path, *further: Any, **more: Any) -> None:
        copy(old, new, *further, **more)
        if old == system.program / OLD:
            (new / "recording run").write_text("[0, 2]\n")

    monkeypatch.setattr(shutil, "copytree", spoil)
    found = system.start()
    assert found.folder == system.program / OLD
    assert "recording run did not arrive as it was" in found.problem
    assert not system.data.joinpath("tablet").exists()
    monkeypatch.undo()
    assert system.start().problem == ""


def test_a_full_disk_leaves_the_old_folder_in_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    system = System(tmp_path)
    fill(system.program / OLD)

    def full(*_args: object, **_more: object) -> NoReturn:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copytree", full)
    found = system.start()
    assert (found.folder, boats_in(found.folder)) == (system.program / OLD, BOATS)
    assert "no space left on device" in found.problem


def test_a_disk_that_fills_while_files_are_copied_is_said_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    system = System(tmp_path)
    fill(system.program / OLD)
    monkeypatch.setattr(shutil, "copyfile", Mock(side_effect=OSError(28, "No space left on device")))
    found = system.start()
    assert found.folder == system.program / OLD
    assert f"{system.data / 'tablet'}: no space left on device. It is still here." in found.problem


@pytest.mark.parametrize("place", ["hulls", "attachments", "inbox"])
def test_a_disk_that_fills_during_a_merge_leaves_the_tablet_where_no_update_reaches_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    """With boats in both it goes on in the system's folder, names the old one, and the next start brings the rest."""
    system = System(tmp_path)
    tablet = open_tablet(system.start().folder)
    tablet.open_job("XYZAB126F526")
    tablet.close()
    fill(system.program / OLD)
    begin = storage.open_for_append

    def full(path: Path, **more: Any) -> int:
        if path.parent.name == place and path.is_relative_to(system.data):
            raise OSError(28, "No space left on device")
        return begin(path, **more)

    with monkeypatch.context() as patch:
        patch.setattr(storage, "open_for_append", full)
        found = system.start()
    assert (found.folder, found.moved_from) == (system.data / "tablet", None)
    assert {"XYZAB126F526"} <= {*boats_in(found.folder)}
    assert str(system.program / OLD) in found.problem
    assert "no space left on device" in found.problem.lower()
    again = system.start()
    assert (again.problem, boats_in(again.folder)) == ("", (*BOATS, "XYZAB126F526"))


def test_a_system_folder_without_boats_leaves_the_old_one_in_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The boats are all in the old one: nobody should begin a day with an empty list."""
    system = System(tmp_path)
    open_tablet(system.start().folder).close()
    fill(system.program / OLD)
    with monkeypatch.context() as patch:
        patch.setattr(storage, "open_for_append", Mock(side_effect=OSError(28, "No space left on device")))
        found = system.start()
    assert (found.folder, "It is still here" in found.problem) == (system.program / OLD, True)


def test_an_old_folder_another_program_writes_in_is_not_moved(tmp_path: Path) -> None:
    system = System(tmp_path)
    fill(system.program / OLD)
    with HullFolder(system.program / OLD), pytest.raises(storage.FolderInUse):
        system.start()
    assert not system.data.exists()


def test_a_system_that_keeps_data_inside_the_program_is_refused(tmp_path: Path) -> None:
    system = System(tmp_path)
    with pytest.raises(InputError, match="an update empties"):
        find_data_folder(lambda: system.program / "data", system.program, tmp_path)


def test_a_desk_keeps_it_where_its_system_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the desktop's own rule, not where the program was started."""
    if sys.platform != "linux":
        pytest.skip("the variable is Linux's")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    from garboard_tablet.system.services import DeskServices

    assert DeskServices().data_folder() == tmp_path / "share" / "garboard"


def test_help_says_where_the_data_is(drive: Drive, tmp_path: Path) -> None:
    d = drive(tmp_path / "mine")
    d.press("settings")
    d.seek("help")
    assert d.says(str(tmp_path / "mine"))
    assert not d.says("look here")


def test_the_list_of_vessels_says_where_the_data_is_when_it_is_not_where_it_should_be(drive: Drive) -> None:
    d = drive()
    assert not d.says("look here")
    problem = "Not everything in old could be brought in: no space left on device."
    object.__setattr__(d.app.context, "data_problem", problem)
    d.app.screen.refill(("vessels",))
    assert d.says("could be brought in: no space left on device")
    assert d.says("look here")


def test_help_says_when_an_update_may_empty_it(drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(data_folder, "program_folder", lambda: tmp_path)
    d = drive(tmp_path / "mine")
    d.press("settings")
    d.seek("help")
    assert d.says("an update may empty it")
