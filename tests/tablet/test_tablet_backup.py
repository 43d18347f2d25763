"""Backup by touch: all boats to a folder the person chose, proved, and taken back on another tablet."""

from __future__ import annotations

import re
from pathlib import Path

import attrs
import pytest

from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import file_name
from garboard.disk.storage import NotSaved
from garboard.history import backup
from garboard.history.merge import MergeReport
from garboard.report.photos import photos_of
from garboard.verdict import Verdict
from garboard_tablet.models.backups import said_of
from tablet.driver import Drive, Driver, new_job, view_of
from tablet.fake_files import FakeFiles, picture, without_any
from tablet.layout_lint import faults


def _at_backup(drive: Drive, files: FakeFiles, folder: Path | None = None) -> Driver:
    d = drive(folder, files=files)
    if folder is None:
        new_job(d)
        d.press("back")
    d.press("settings")
    d.seek("backup")
    return d


def test_one_touch_writes_all_boats_where_the_person_chose_and_another_tablet_takes_them_back(
    drive: Drive, tmp_path: Path
) -> None:
    stick = tmp_path / "Stick"
    stick.mkdir()
    files = FakeFiles(camera=picture())
    d = drive(files=files)
    new_job(d)
    d.press("step dock.horn", "photos", "take picture")
    left, bottom, wide, high = d.app.screen.page._view.place
    d.tap_at(left + wide / 2, bottom + high / 2)
    d.restart()  # the battery died with the arrow just set
    (photo,) = photos_of(view_of(d), d.app.tablet.host)
    assert len(photo.arrows) == 1
    d.app.way.home()
    d.step()
    d.press("settings")
    d.seek("backup")
    d.press("back up")
    assert d.says("No folder was chosen")
    files.place = stick
    d.press("back up")
    assert d.says("1 boat saved and read back")
    files.place = None
    d.press("back up")
    assert files.asked.count("folder") == 2
    made = sorted(stick.iterdir())
    assert [path.suffix for path in made] == [".zip", ".zip"]
    assert [*(d.app.tablet.folder / "backups").iterdir()] == []
    assert faults(d.app.shell, d.window) == []
    d.restart()
    when = re.compile(r"Last backup: [0-9]{1,2} [A-Z][a-z]+ 20[0-9]{2}, [0-9:]{5}, 1 boat")
    assert any(map(when.search, d.words()))
    hulls = d.app.tablet.files.digests()
    d.close()

    other = FakeFiles(chosen=made[0])
    d = _at_backup(drive, other, tmp_path / "other")
    d.press("take a backup back")
    assert d.says("came.")
    d.press("take a backup back")
    assert d.says("All that is in it was here already")
    assert d.app.tablet.files.digests() == hulls
    assert list((tmp_path / "other" / "coming").iterdir()) == []
    d.press("back", "back")
    assert d.says("XYZAB123F526")
    tablet = d.app.tablet
    (job,) = tablet.boat("XYZAB123F526").jobs
    assert photos_of(tablet.view("XYZAB123F526", job), tablet.host) == (photo,)
    assert tablet.files.attachments.get(photo.file) == picture()


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"a letter", "no backup of Garboard"), (b"PK\x03\x04 cut off", "damaged"), (None, "Nothing was chosen")],
)
def test_what_is_no_backup_is_said_and_changes_nothing(
    drive: Drive, tmp_path: Path, content: bytes | None, said: str
) -> None:
    files = FakeFiles()
    if content is not None:
        files.chosen = tmp_path / "x.zip"
        files.chosen.write_bytes(content)
    d = _at_backup(drive, files)
    before = d.app.tablet.files.digests()
    d.press("take a backup back")
    assert d.says(said)
    assert d.app.tablet.files.digests() == before


def test_a_disk_and_a_stick_that_refuse_are_said_and_no_backup_is_called_saved(
    drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = FakeFiles(place=tmp_path)
    d = _at_backup(drive, files)

    def refuse(*_: object) -> None:
        raise NotSaved("the disk is full")

    with monkeypatch.context() as full:
        full.setattr(backup, "write_backup", refuse)
        d.press("back up")
        assert d.says("the disk is full")
    d.app.tablet.change_settings(attrs.evolve(d.app.tablet.settings, backup_to=(str(tmp_path / "gone"), "Stick")))
    d.press("back up")
    assert d.says("Nothing was saved in Stick")
    assert d.app.tablet.settings.backed_up == ()
    assert [*(d.app.tablet.folder / "backups").iterdir()] == []


def test_a_backup_without_a_boat_that_cannot_be_read_says_which_and_is_not_called_whole(
    drive: Drive, tmp_path: Path
) -> None:
    stick = tmp_path / "Stick"
    stick.mkdir()
    d = _at_backup(drive, FakeFiles(place=stick))
    folder = d.app.tablet.folder
    (folder / "hulls" / file_name("QQZ04417D626")).symlink_to(tmp_path / "gone.hull")
    own = folder / "backups"
    (own / "going").mkdir(parents=True)
    (own / "going" / "garboard 2026-01-01 0900.zip").write_bytes(b"copied half when the app was ended")
    (own / ".unfinished-garboard 2026-01-01 0900.zip").write_bytes(b"half")
    assert d.app.context.backups.found(tmp_path / "inbox") == []
    d.press("back up")
    assert d.says("1 of 2 boats saved and read back")
    assert d.says("Not in it, or damaged: hull QQZ04417D626: no such file or directory.")
    assert d.says("not all")
    assert d.app.tablet.settings.backed_up[1] == "1 of 2 boats, not all of it"
    assert faults(d.app.shell, d.window) == []
    assert [*own.iterdir()] == []
    (made,) = stick.iterdir()
    d.close()
    d = drive(tmp_path / "other", files=FakeFiles())
    _take_back(d, made)
    assert d.says("Was not in it, or damaged: hull QQZ04417D626")
    assert not d.says("not all")


def test_a_backup_not_taken_back_to_its_end_does_not_say_that_nothing_came(
    drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk filled up after the first boat: it is here, and the page said that all was as before."""
    d = drive(files=FakeFiles())
    new_job(d)
    backup.write_backup(d.app.tablet.files, tmp_path / "whole.zip", "2026-05-14T17:40:00+02:00")
    for failure in (NotSaved("the disk is full"), OSError(5, "Input/output error")):

        def merges_half(*_: object, failure: Exception = failure) -> None:
            raise failure

        with monkeypatch.context() as full:
            full.setattr(backup, "merge", merges_half)
            _take_back(d, tmp_path / "whole.zip")
        assert d.says("Some boats of it may be here. What was here stays. Take it back again.")
    (tmp_path / "letter.zip").write_bytes(b"a letter")
    _take_back(d, tmp_path / "letter.zip")
    assert not d.says("Some boats of it may be here")


def test_photos_and_runs_that_belong_to_no_boat_yet_are_said_not_to_be_in_it(drive: Drive) -> None:
    """The page said that photos and recordings are in it; those not decided on never were."""
    d = _at_backup(drive, FakeFiles())
    assert not d.says("Not in it")
    folder = d.app.tablet.folder
    (folder / "coming").mkdir(exist_ok=True)
    (folder / "coming" / "photo 2026-05-14 09.12.33.jpg").write_bytes(picture())
    (folder / "coming" / "run.log").write_bytes(b"$GPRMC")
    (folder / "recording XYZAB123F526 j dock.fuel").write_text("{}\n")
    d.app.screen.show()
    d.step()
    assert d.says("Not in it: 1 photo that is attached to nothing and 1 run that nobody has decided on.")
    assert faults(d.app.shell, d.window) == []


def test_a_desk_without_a_dialog_keeps_backups_in_its_own_folder_and_takes_them_from_the_inbox(drive: Drive) -> None:
    d = _at_backup(drive, without_any())
    d.press("back up")
    (made,) = (d.app.tablet.folder / "backups").iterdir()
    assert d.says(str(made))
    inbox = d.app.context.files_come_from
    inbox.mkdir()
    made.rename(inbox / made.name)
    d.app.screen.show()
    d.step()
    d.press(f"take {made.name}")
    assert d.says("was here already")
    assert (inbox / made.name).exists()
    assert faults(d.app.shell, d.window) == []


def _take_back(d: Driver, path: Path) -> None:
    d.app.context.files.chosen = path
    d.app.way.home()
    d.step()
    d.press("settings")
    d.seek("backup")
    d.press("take a backup back")


def test_a_backup_that_heals_a_damaged_tablet_says_what_came_of_it(drive: Drive, tmp_path: Path) -> None:
    d = drive(files=FakeFiles())
    new_job(d)
    backup.write_backup(d.app.tablet.files, tmp_path / "whole.zip", "2026-05-14T17:40:00+02:00")
    folder, digests = d.app.tablet.folder, d.app.tablet.files.digests()
    (hull,) = (folder / "hulls").iterdir()
    d.close()
    content = hull.read_bytes()
    hull.write_bytes(content[:-40] + bytes(30) + content[-10:])
    d = drive(folder, files=FakeFiles())
    assert d.app.tablet.files.digests() != digests
    _take_back(d, tmp_path / "whole.zip")
    assert d.says("1 new entry and 0 photos and recordings came.")
    assert not d.says("not all")
    assert d.app.tablet.files.digests() == digests


def test_a_photo_that_is_nowhere_and_a_damaged_boat_in_a_backup_are_said_as_what_they_are(
    drive: Drive, tmp_path: Path
) -> None:
    d = drive(files=FakeFiles(camera=picture()))
    new_job(d)
    d.press("step dock.horn", "photos", "take picture")
    folder = d.app.tablet.folder
    (photo,) = (folder / "attachments").iterdir()
    (hull,) = (folder / "hulls").iterdir()
    with hull.open("rb") as file:
        content = file.read()
    photo.unlink()
    backup.write_backup(d.app.tablet.files, tmp_path / "without.zip", "2026-05-14T17:40:00+02:00")
    d.close()
    hull.write_bytes(content[:-40] + bytes(30) + content[-10:])
    with HullFolder(folder, read_only=True) as damaged:
        backup.write_backup(damaged, tmp_path / "damaged.zip", "2026-05-14T17:40:00+02:00")
    d = drive(tmp_path / "other", files=FakeFiles())
    _take_back(d, tmp_path / "damaged.zip")
    assert d.says(f"Damaged in the backup: {hull.name}")
    _take_back(d, tmp_path / "without.zip")
    assert d.says("1 photo or recording is neither in it nor here: ask the shop.")
    assert not d.says("not all")
    assert faults(d.app.shell, d.window) == []


def test_what_this_tablet_cannot_read_of_another_boat_is_no_fault_of_a_backup() -> None:
    report = MergeReport(
        target=Path("tablet"), sources=(), dry_run=False, hulls=(), attachments=2, refused=(), damage=(),
        complete=False, not_read=(("tablet/hulls/NEWER.hull", "written by a newer version"),),
    )  # fmt: skip
    assert said_of(report, {"OLDER.hull"}).verdict is Verdict.PASS
    said = said_of(report, {"OLDER.hull", "NEWER.hull"})
    assert (said.verdict, said.word) == (Verdict.FAIL, "not all")
    assert "Not read: NEWER.hull: written by a newer version." in said.text
    assert said_of(attrs.evolve(report, not_read=()), ()).verdict is Verdict.FAIL
    assert said_of(attrs.evolve(report, complete=True, not_read=()), ()).verdict is Verdict.PASS
    many = attrs.evolve(report, refused=tuple((f"{number}", "odd") for number in range(9)))
    assert "And 6 more." in said_of(many, ()).text
