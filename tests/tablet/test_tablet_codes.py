"""A serial number is read off a picture of its code, where this machine reads codes; else nothing is offered."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
import segno
from PIL import Image

from garboard_tablet.models import camera_codes
from garboard_tablet.models.camera_codes import codes_in
from tablet.driver import Drive, Driver, new_job, view_of
from tablet.fake_files import FakeFiles, picture, without_any

SERIAL = "NL-PO-300-04"


def plate(*texts: str) -> bytes:
    """A picture of a plate with codes, a little askew on grey, as a hand holds the camera."""
    ground = Image.new("RGB", (420 * max(1, len(texts)), 420), "#A8ADB0")
    for number, text in enumerate(texts):
        code = BytesIO()
        segno.make_qr(text).save(code, kind="png", scale=8)
        turned = Image.open(code).convert("RGB").rotate(7, expand=True, fillcolor="#A8ADB0")
        ground.paste(turned, (420 * number + 40, 40))
    out = BytesIO()
    ground.save(out, "JPEG", quality=70)
    return out.getvalue()


@pytest.fixture
def laid(tmp_path: Path) -> Path:
    return tmp_path / "photo.jpg"


@pytest.mark.parametrize(
    ("texts", "read"),
    [((SERIAL,), {SERIAL}), ((SERIAL, "NL300"), {SERIAL, "NL300"}), (("x" * 200,), set()), ((), set())],
    ids=["one", "two", "far too long", "none"],
)
def test_codes_are_read_and_what_nobody_would_type_is_none(laid: Path, texts: tuple[str, ...], read: set[str]) -> None:
    laid.write_bytes(plate(*texts))
    found = codes_in(laid)
    assert set(found.texts) == read
    assert bool(found.refused) == (not read), "where none is read, it says what to do"


def test_half_a_picture_is_refused_in_words(laid: Path) -> None:
    laid.write_bytes(plate(SERIAL)[:900])
    assert "Take it again" in codes_in(laid).refused


def serial_page(drive: Drive, files: FakeFiles) -> Driver:
    d = drive(files=files)
    new_job(d)
    here = d.app.tablet.session.here
    d.app.tablet.add_piece(here.hull, ("engines", "single"))
    d.app.way.go(here.to("entry", "field", "engines", "single", "serial_number"))
    return d


def test_a_code_is_typed_for_the_person_and_saved_with_next(drive: Drive) -> None:
    """It is to be compared with the plate first; the picture was for its code alone, and is gone."""
    d = serial_page(drive, FakeFiles(camera=plate(SERIAL)))
    d.press("read code")
    d.wait(lambda: d.says(f"Read in the picture: {SERIAL}"))
    assert view_of(d).vessel.engines[0].serial_number == ""
    d.press("next")
    assert view_of(d).vessel.engines[0].serial_number == SERIAL
    assert not [*(d.app.tablet.folder / "coming").glob("*.jpg")]


def test_of_two_codes_the_person_says_which(drive: Drive) -> None:
    d = serial_page(drive, FakeFiles(camera=plate("NL300", SERIAL)))
    d.press("read code")
    d.wait(lambda: d.has(f"code {SERIAL}"))
    d.press(f"code {SERIAL}", "next")
    assert view_of(d).vessel.engines[0].serial_number == SERIAL


def test_a_picture_without_a_code_says_so_and_the_number_can_be_typed(drive: Drive) -> None:
    d = serial_page(drive, FakeFiles(camera=picture()))
    d.press("read code")
    d.wait(lambda: d.says("No code can be read"))
    d.write(SERIAL)
    d.press("next")
    assert view_of(d).vessel.engines[0].serial_number == SERIAL


def test_where_nothing_reads_or_takes_pictures_the_press_is_absent(
    drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    d = serial_page(drive, FakeFiles())
    assert d.has("read code")
    monkeypatch.setattr(camera_codes, "READER", "no_such_reader")
    d.app.screen.redraw()
    assert not d.has("read code")
    monkeypatch.undo()
    object.__setattr__(d.app.context, "files", without_any())
    d.app.screen.redraw()
    assert not d.has("read code")


def test_no_other_value_is_offered_a_code(drive: Drive) -> None:
    d = serial_page(drive, FakeFiles())
    d.app.way.go(d.app.tablet.session.here.to("entry", "field", "engines", "single", "model"))
    assert not d.has("read code")
