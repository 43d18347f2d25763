"""A photo kept with a step that has no field for it stands among the step's values on the boat's page."""

from __future__ import annotations

from io import BytesIO

from PIL import Image

from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author, measure
from garboard.history.replay import HullState
from garboard.job_files.job_file import ATTACHED
from garboard.records import JsonValue
from pages_rig import NOON, SALTGRASS, Browser, Pages, words_of

JOB, STEP = "saltgrass-2026-05", "prop_check.full_throttle"


def test_an_attached_photo_is_listed_with_its_step_by_name_and_who_took_it(pages: Pages, manager: Browser) -> None:
    value: JsonValue = {"file": "ab" * 32, "name": "chafe.jpg"}
    author = Author("tablet 9", "A. Hand")
    entry = measure(author, HullState(SALTGRASS), JOB, STEP, ATTACHED, value, row="abababababab")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    words = words_of(manager.text(f"/boats/{SALTGRASS}"))
    assert "attached, abababababab chafe.jpg A. Hand" in words
    history = manager.text(f"/boats/{SALTGRASS}/jobs/{JOB}/history?of={STEP}/{ATTACHED}/abababababab")
    assert "chafe.jpg" in history


def test_a_recording_is_saved_whole_under_its_name_and_never_shown_by_the_browser(
    pages: Pages, manager: Browser
) -> None:
    content = b"<html><script>alert(1)</script>" + bytes(range(256)) * 5000  # more than one piece
    name = pages.store.hulls.attachments.put(content)
    value: JsonValue = {"file": name, "name": "../run\r\n1.html"}
    author = Author("tablet 9", "A. Hand")
    entry = measure(author, HullState(SALTGRASS), JOB, STEP, ATTACHED, value, row="abababababab")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    address = f"/boats/{SALTGRASS}/files/{name}"
    assert f'href="{address}"' in manager.text(f"/boats/{SALTGRASS}")
    answer = manager.get(address)
    assert answer.content == content
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment;")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "\n" not in answer.headers["content-disposition"]
    assert "/" not in answer.headers["content-disposition"]


def test_a_file_is_given_to_signed_in_people_only_and_only_under_the_boat_it_belongs_to(
    pages: Pages, manager: Browser
) -> None:
    name = pages.store.hulls.attachments.put(b"a shop plugin, or another boat's photo")
    assert manager.get(f"/boats/{SALTGRASS}/files/{name}").status_code == 404
    assert pages.browser().get(f"/boats/{SALTGRASS}/files/{name}").status_code == 303


def test_a_photo_is_given_without_the_place_that_its_file_holds(pages: Pages, manager: Browser) -> None:
    """It came from an earlier version, as it is; the shop keeps it so."""
    exif = Image.Exif()
    exif.get_ifd(0x8825)[29] = "2026:05:14"
    out = BytesIO()
    Image.new("RGB", (60, 40)).save(out, "JPEG", exif=exif, comment=b"of A. Marsh")
    name = pages.store.hulls.attachments.put(out.getvalue())
    value: JsonValue = {"file": name, "name": "home.jpg"}
    entry = measure(Author("tablet 9", "A. Hand"), HullState(SALTGRASS), JOB, STEP, ATTACHED, value, row=name[:12])
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    given = manager.get(f"/boats/{SALTGRASS}/files/{name}").content
    assert b"2026:05:14" in out.getvalue()
    assert b"2026:05:14" not in given
    assert b"of A. Marsh" not in given
    with Image.open(BytesIO(given)) as image:
        assert image.size == (60, 40)
