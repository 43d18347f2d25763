"""Photos by touch: taken at the value at hand, pointed at with arrows, kept through whatever goes wrong."""

from __future__ import annotations

import hashlib
import os
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image

from garboard.disk.clock import moment_in_words
from garboard.disk.storage import NotSaved
from garboard.history import backup
from garboard.history.merge import merge
from garboard.history.proof import issued_books
from garboard.report.photos import Photo, photos_of
from garboard_tablet.models.photos import Pointing, attach_file
from garboard_tablet.models.tablet import open_tablet
from tablet.driver import Drive, Driver, new_job, view_of
from tablet.fake_files import FakeFiles, picture
from tablet.layout_lint import faults


def _photos(d: Driver) -> tuple[Photo, ...]:
    return photos_of(view_of(d), d.app.tablet.host)


def _touch(d: Driver, across: float, down: float) -> None:
    left, bottom, wide, high = d.app.screen.page._view.place
    d.tap_at(left + across * wide, bottom + (1 - down) * high)


def _at_value(drive: Drive, files: FakeFiles, **more: Any) -> Driver:
    """At the page of a value, with one touch left to its photos."""
    d = drive(files=files, **more)
    new_job(d)
    d.press("step dock.horn")
    return d


def test_a_photo_taken_at_a_value_shows_that_value_and_gets_three_arrows(drive: Drive) -> None:
    d = _at_value(drive, FakeFiles(camera=picture(2400, 1600)))
    d.press("photos", "take picture")
    (photo,) = _photos(d)
    assert photo.shows == ("dock.horn", "heard", "", "")
    with Image.open(BytesIO(d.app.tablet.files.attachments.get(photo.file))) as kept:
        assert max(kept.size) == 2048
    assert d.says("Touch what matters")
    _touch(d, 0.4, 0.25)
    (arrow,) = _photos(d)[0].arrows
    assert (arrow.x, arrow.y) == pytest.approx((0.4, 0.25), abs=0.01)
    d.press("words", "loose", "one more")
    _touch(d, 0.9, 0.5)
    d.press("nudge left", "nudge up", "turn", "one more")
    _touch(d, 0.1, 0.9)
    arrows = _photos(d)[0].arrows
    assert [one.word for one in arrows] == ["loose", "", ""]
    assert (arrows[1].x, arrows[1].y) == pytest.approx((0.9 - 0.02 / 1.5, 0.48), abs=0.01)
    assert not d.has("one more")
    assert faults(d.app.shell, d.window) == []
    d.press("undo")
    assert len(_photos(d)[0].arrows) == 2
    d.press("arrow 1", "arrow 1")
    assert d.says("What does the arrow point at?")
    d.press("take off")
    assert [one.word for one in _photos(d)[0].arrows] == [""]
    assert photo.file == _photos(d)[0].file


def test_several_photos_stand_in_a_list_and_on_the_step_and_one_is_taken_back(drive: Drive) -> None:
    files = FakeFiles(camera=picture())
    d = _at_value(drive, files)
    d.press("photos", "take picture")
    files.camera = picture(600, 900, "#3B5B3B")
    d.press("take picture", "back")
    assert len([w for w in d.widgets() if getattr(w, "name", "").startswith("photo ")]) == 2
    d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("photo ")))
    _touch(d, 0.5, 0.5)
    arrows = [one.arrows for one in _photos(d)]
    d.press("take picture", "back")  # the very same picture comes again: it is one, and keeps its arrow
    assert [one.arrows for one in _photos(d)] == arrows
    d.press("back")
    assert d.find("photos").text == "Photos: 2"
    d.press("back")
    assert d.says("2 kept")
    d.press("photos")
    d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("photo ")))
    d.press("take back", "back too dark or blurred")
    assert len(_photos(d)) == 1
    assert d.app.tablet.session.here.page == "photos"


@pytest.mark.parametrize(
    ("camera", "said"),
    [
        (None, "No picture was taken or chosen"),
        (b"", "Nothing came from the camera"),
        (picture()[:700], "cut off or damaged"),
        (b"<html>no picture</html>", "no picture that can be read here"),
    ],
)
def test_what_goes_wrong_with_a_camera_is_said_and_nothing_is_kept(
    drive: Drive, camera: bytes | None, said: str
) -> None:
    files = FakeFiles(camera=camera)
    d = _at_value(drive, files)
    d.press("photos", "take picture")
    assert d.says(said)
    assert _photos(d) == ()
    assert faults(d.app.shell, d.window) == []
    files.camera = picture()
    d.press("take picture")
    assert len(_photos(d)) == 1


def test_an_app_ended_while_the_camera_is_in_front_offers_the_picture_when_it_starts_again(drive: Drive) -> None:
    """The system ends an app out of sight when it needs the room: its answer never comes."""
    d = _at_value(drive, FakeFiles(camera=picture(), ends=True))
    d.press("photos", "take picture")
    d.restart()
    assert d.says("Not attached yet")
    d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("photo 2")))
    assert len(_photos(d)) == 1
    d.press("back")
    assert not d.says("Not attached yet")


def test_a_disk_that_refuses_keeps_the_picture_among_those_that_wait(
    drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    d = _at_value(drive, FakeFiles(camera=picture()))
    d.press("photos")
    with monkeypatch.context() as full:

        def refuse(*_: object) -> None:
            raise NotSaved("the disk is full")

        full.setattr(d.app.tablet.files.attachments, "put", refuse)
        d.press("take picture")
        assert d.says("the disk is full")
    d.press(next(w.name for w in d.widgets() if getattr(w, "name", None) in ("back", "try again", "go on")))
    d.app.screen.show()
    d.step()
    assert d.says("Not attached yet")
    assert _photos(d) == ()


def test_any_file_is_attached_by_the_picker_and_a_picture_among_them_as_a_picture(drive: Drive, tmp_path: Path) -> None:
    manual, photo = tmp_path / "pump manual.pdf", tmp_path / "gauge.PNG"
    manual.write_bytes(b"%PDF-1.7 as it came")
    photo.write_bytes(picture(40, 30, form="PNG"))
    files = FakeFiles(chosen=manual)
    d = _at_value(drive, files)
    d.press("photos", "other file")
    files.chosen = photo
    d.press("other file", "back")
    assert {one.name for one in _photos(d)} == {"pump manual.pdf", "gauge.PNG"}
    assert manual.exists()
    assert photo.exists()
    (tmp_path / "run.jpg").write_bytes(b"$GPRMC, and no picture")
    files.chosen = tmp_path / "run.jpg"
    d.press("other file", "file run.jpg.file")
    assert d.says("This file is no picture")
    d.press("back")
    assert list((d.app.tablet.folder / "coming").iterdir()) == []
    d.press("file pump manual.pdf")
    assert d.says("This file is no picture")
    files.chosen = None
    d.press("back", "other file")
    assert d.says("Nothing was changed")
    d.press("back", "back")
    assert d.says("1 kept, and 2 files")
    d.press("photos")
    files.chosen = tmp_path / "gone.jpg"
    d.press("other file")
    assert d.says("gone.jpg could not be read")
    os.mkfifo(tmp_path / "pipe.jpg")
    files.chosen = tmp_path / "pipe.jpg"
    d.press("other file")
    assert d.says("pipe.jpg could not be read")


def test_the_photo_a_step_asks_for_is_taken_there_and_pointed_at(drive: Drive) -> None:
    files = FakeFiles(camera=picture())
    d = drive(files=files)
    new_job(d)
    d.press("tab hand over", "step dock.brief", "skip", "take picture")
    assert d.says("Photo\u00a0saved")
    value: Any = view_of(d).value("dock.brief", "photo")
    assert value["taken"][:2] == "20"
    d.press("the photo")
    _touch(d, 0.5, 0.5)
    (photo,) = (one for one in _photos(d) if one.place[1] == "photo")
    assert len(photo.arrows) == 1
    d.press("back", "skip")
    assert d.says("Owner's initials")


def test_arrows_set_on_two_tablets_are_all_shown_and_the_photo_is_not_lost(drive: Drive, tmp_path: Path) -> None:
    from garboard.disk.hullfile import HullFolder
    from garboard_tablet.models.tablet import open_tablet

    d = _at_value(drive, FakeFiles(camera=picture()))
    d.press("photos", "take picture")
    here = d.app.tablet.session.here
    with HullFolder(tmp_path / "other") as copy:
        merge([d.app.tablet.files], copy)
    _touch(d, 0.2, 0.2)
    other = open_tablet(tmp_path / "other", d.app.tablet.make_plugins)
    Pointing(other, here, ("dock.horn", *here.subject[:3])).touch(0.8, 0.8)
    merge([other.files], d.app.tablet.files)
    other.close()
    d.app.tablet.look_again([here.hull])
    d.app.screen.show()
    d.step()
    (photo,) = _photos(d)
    assert {(round(one.x, 1), round(one.y, 1)) for one in photo.arrows} == {(0.2, 0.2), (0.8, 0.8)}
    _touch(d, 0.5, 0.5)
    assert len(_photos(d)[0].arrows) == 2


def test_the_tablets_own_book_shows_the_photo(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[bytes] = []

    def book(view: Any, host: Any, *_: object, load_photo: Any, **_more: object) -> bytes:
        shown.extend(load_photo(photo) for photo in photos_of(view, host))
        return b"%PDF"

    monkeypatch.setattr("garboard.report.book.handover_book", book)
    d = _at_value(drive, FakeFiles(camera=picture()))
    d.press("photos", "take picture")
    here = d.app.tablet.session.here
    d.app.way.go(here.to("book", step=""))
    d.step()
    d.press("make book")
    assert shown == [picture()]
    (issued,) = issued_books(d.app.tablet.boat(here.hull), here.job)
    assert issued.sha256 == hashlib.sha256(b"%PDF").hexdigest()


def test_a_picture_is_drawn_again_after_the_system_took_what_was_drawn(kivy_window: Any) -> None:
    """As it may while the camera is in front: Kivy asks whoever watches a texture to fill it anew."""
    from garboard_tablet.ui import picture as drawing

    asked: list[Any] = []
    with pytest.MonkeyPatch.context() as watched:
        made = SimpleNamespace(create=lambda **how: _Watched(asked, **how))
        watched.setattr(drawing, "Texture", made)
        texture: Any = drawing.texture_of("red", lambda: picture(40, 30, "#FF0000"), 64)
    del drawing._kept["red", 64]  # it can be drawn by nobody
    for again in asked:
        again(texture)
    assert texture.filled == [texture.filled[0]] * 2


class _Watched:
    """Stands for a texture: what it was filled with, and who watches it."""

    def __init__(self, asked: list[Any], size: tuple[int, int], **_how: object) -> None:
        self.size, self.filled, self.add_reload_observer = size, list[bytes](), asked.append

    def blit_buffer(self, content: bytes, **_how: object) -> None:
        self.filled.append(content)

    def flip_vertical(self) -> None:
        """Nothing is drawn."""


def test_arrows_that_two_tablets_set_on_one_photo_are_all_listed_and_moved_by_touch(
    drive: Drive, tmp_path: Path
) -> None:
    d = _at_value(drive, FakeFiles(camera=picture()), size=(1024, 600))
    d.press("photos", "take picture")
    here = d.app.tablet.session.here
    other = open_tablet(tmp_path / "other", d.app.tablet.make_plugins)
    merge([d.app.tablet.files], other.files)
    for tablet, y in ((other, 0.2), (d.app.tablet, 0.8)):
        pointing = Pointing(tablet, here, (here.step, *here.subject[:3]))
        for x in (0.2, 0.4, 0.6):
            pointing.touch(x, y)
            pointing.one_more()
    backup.write_backup(other.files, tmp_path / "theirs.zip", "2026-05-14T17:40:00+02:00")
    other.files.close()
    d.app.context.backups.take_back(tmp_path / "theirs.zip")
    d.app.screen.show()
    d.step()
    shown = _photos(d)[0].arrows
    assert len(shown) == 6
    assert d.app.screen.page.pointing.arrows == shown
    assert not d.says("Touch what matters")
    assert faults(d.app.shell, d.window) == []
    moved = d.app.screen.page.pointing.in_hand
    _touch(d, 0.5, 0.5)
    arrows = _photos(d)[0].arrows
    assert [arrow for number, arrow in enumerate(arrows) if number != moved] == [*shown[:moved], *shown[moved + 1 :]]
    assert (arrows[moved].x, arrows[moved].y) == pytest.approx((0.5, 0.5), abs=0.01)
    d.press("words", "take off")
    assert len(_photos(d)[0].arrows) == 5
    d.press("take picture")  # the very same picture: its arrows stay
    assert len(_photos(d)[0].arrows) == 5


@pytest.mark.parametrize(("press", "name"), [("choose picture", "IMG_1234"), ("other file", "1000004711.jfif")])
def test_a_picture_the_system_names_by_a_number_is_kept_as_a_picture(
    drive: Drive, tmp_path: Path, press: str, name: str
) -> None:
    files = FakeFiles(chosen=tmp_path / name)
    (tmp_path / name).write_bytes(picture())
    d = _at_value(drive, files)
    d.press("photos", press)
    assert d.says("Touch what matters")
    assert [photo.name for photo in _photos(d)] == [f"{name}.jpg"]


@pytest.mark.parametrize("press", ["choose picture", "other file"])
def test_a_copy_of_what_cannot_be_kept_does_not_stay_and_a_picture_of_the_camera_does(
    drive: Drive, tmp_path: Path, press: str
) -> None:
    """The person has the file elsewhere, and no touch removes the copy. Of the camera's picture it is the only one."""
    files = FakeFiles(chosen=tmp_path / "cut.jpg", camera=picture()[:700])
    (tmp_path / "cut.jpg").write_bytes(picture()[:700])
    d = _at_value(drive, files)
    d.press("photos", press)
    assert d.says("cut off or damaged")
    assert not d.says("Cannot be read")
    assert list((d.app.tablet.folder / "coming").iterdir()) == []
    assert (tmp_path / "cut.jpg").exists()
    d.press("take picture")
    assert len(list((d.app.tablet.folder / "coming").iterdir())) == 1


def test_a_file_the_disk_refuses_leaves_no_copy_that_no_page_offers(
    drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "run.log").write_bytes(b"$GPRMC")
    d = _at_value(drive, FakeFiles(chosen=tmp_path / "run.log"))
    d.press("photos")

    def refuse(*_: object) -> None:
        raise NotSaved("the disk is full")

    monkeypatch.setattr(d.app.tablet.files.attachments, "put_file", refuse)
    d.press("other file")
    assert d.says("the disk is full")
    assert list((d.app.tablet.folder / "coming").iterdir()) == []


@pytest.mark.parametrize("is_here", [False, True], ids=["not ashore yet", "no picture"])
def test_a_picture_that_cannot_be_shown_asks_for_no_touch_and_says_why(
    drive: Drive, tmp_path: Path, is_here: bool
) -> None:
    """What its arrow points at stands there all the same."""
    from garboard_tablet.pages.photo import photo_route
    from garboard_tablet.ui.picture import _kept

    d = _at_value(drive, FakeFiles(camera=picture(801, 600)))
    d.press("photos", "take picture")
    _touch(d, 0.5, 0.5)
    assert d.has("nudge left")
    (photo,) = _photos(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    if is_here:
        (tmp_path / "no picture.jpg").write_bytes(b"\xff\xd8\xff and no more")
        place = attach_file(tablet, here.to("photos", *photo.shows[1:]), tmp_path / "no picture.jpg")
        d.app.way.instead(photo_route(here, place))
        d.step()
        assert d.says("The picture cannot be read.")
    else:
        (tablet.files.attachments.folder / photo.file).unlink()
        _kept.clear()
        d.app.screen.show()
        d.step()
        assert d.says("The picture is not on this tablet.")
        assert d.has("arrow 1")
    assert not d.says("Touch what")
    assert not d.has("nudge left")
    assert faults(d.app.shell, d.window) == []


def test_more_words_for_an_arrow_than_are_kept_are_refused_and_stay_to_be_shortened(drive: Drive) -> None:
    d = _at_value(drive, FakeFiles(camera=picture()))
    d.press("photos", "take picture")
    _touch(d, 0.5, 0.5)
    d.press("words")
    kept = "the second clamp from the left at the transom, its screw loo"
    d.write(f"{kept}se")
    d.press("save it")
    assert d.says("These are 62 letters; 60 can be kept.")
    assert _photos(d)[0].arrows[0].word == ""
    assert d.says(f"{kept}se")
    assert faults(d.app.shell, d.window) == []
    d.step()
    d.type_keys(8, 8)
    d.press("save it")
    assert _photos(d)[0].arrows[0].word == kept


def test_what_failed_is_photographed_though_the_page_asks_for_the_next_value(drive: Drive) -> None:
    """The verdict on the value before stands there: its photo is one touch away, and shows that value."""
    files = FakeFiles(camera=picture())
    d = drive(files=files)
    new_job(d)
    d.press("step dock.horn", "choice No")
    following = d.app.tablet.session.here.subject[2]
    assert following != "heard", "the page asks for the next value"
    d.press("photos of what failed", "take picture")
    (photo,) = _photos(d)
    assert photo.shows == ("dock.horn", "heard", "", "")
    files.camera = picture(60, 40)
    d.press("back", "back", "photos", "take picture")
    assert {one.shows[1] for one in _photos(d)} == {"heard", following}


def test_an_arrow_that_was_named_or_taken_off_on_a_page_of_its_own_comes_back_by_undo(
    drive: Drive, tmp_path: Path
) -> None:
    d = _at_value(drive, FakeFiles(camera=picture()))
    d.press("photos", "take picture")
    _touch(d, 0.5, 0.5)
    d.press("words", "loose", "words", "take off")
    assert _photos(d)[0].arrows == ()
    d.press("undo")
    assert [one.word for one in _photos(d)[0].arrows] == ["loose"]
    d.press("undo")
    assert [one.word for one in _photos(d)[0].arrows] == [""]
    here = d.app.tablet.session.here
    other = open_tablet(tmp_path / "other", d.app.tablet.make_plugins)
    merge([d.app.tablet.files], other.files)
    Pointing(other, here, ("dock.horn", *here.subject[:3])).touch(0.1, 0.1)
    merge([other.files], d.app.tablet.files)
    other.close()
    d.app.tablet.look_again([here.hull])
    d.app.screen.show()
    d.step()
    assert not d.has("undo"), "what another tablet set is not undone here"


def test_when_a_picture_was_taken_is_said_only_where_it_is_known(drive: Drive, tmp_path: Path) -> None:
    """A chosen picture without a camera's details is as old as it may be: said is when it was kept."""
    (tmp_path / "old.jpg").write_bytes(picture(60, 40))
    d = _at_value(drive, FakeFiles(camera=picture(), chosen=tmp_path / "old.jpg"))
    d.press("photos", "choose picture")
    (photo,) = _photos(d)
    assert (photo.taken, photo.kept[:2]) == ("", "20")
    assert d.says(f"kept {moment_in_words(photo.kept)}")
    d.press("take picture")
    taken = next(one.taken for one in _photos(d) if one.name != "old.jpg")
    assert d.says(moment_in_words(taken))
    assert not d.says("kept 20")


def test_a_title_longer_than_its_room_stays_within_the_window(drive: Drive) -> None:
    """What Undo says as well gives way first; then words at its end, with "…"."""
    d = _at_value(drive, FakeFiles(camera=picture()), size=(800, 1280))
    d.press("photos", "take picture")
    _touch(d, 0.5, 0.5)
    title = "Every fitting dry with the primer bulb hard or the pump on"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("garboard_tablet.pages.photo.caption", lambda *_: title)
        d.press("turn")
        assert d.has("undo")
        assert title in d.words()
        assert faults(d.app.shell, d.window) == []
        patch.setattr("garboard_tablet.pages.photo.caption", lambda *_: f"{title}, port engine, second of three times")
        d.press("turn")
        assert any(words.startswith("Every fitting") and words.endswith(" …") for words in d.words())
        assert faults(d.app.shell, d.window) == []
        patch.setattr("garboard_tablet.pages.photo.caption", lambda *_: "Short")
        d.press("turn")
        assert d.says("Saved")


def test_a_folder_where_no_picture_can_lie_is_said_and_the_page_goes_on(drive: Drive) -> None:
    """A card put a file where the folder should be: the press ended at a page of mistakes."""
    d = _at_value(drive, FakeFiles(camera=picture()))
    coming = d.app.tablet.folder / "coming"
    coming.write_bytes(b"")
    d.press("photos", "take picture")
    assert d.says("coming not saved")
    coming.unlink()
    coming.mkdir()
    (coming / "photo 2026-05-14 09.12.33.jpg").touch()  # of a camera that answered before it wrote, and never did
    d.press("try again", "take picture")
    assert d.says("Touch what matters")
    assert list(coming.iterdir()) == []
