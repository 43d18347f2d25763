"""Photos stand on the boat's page and the day sheet beside what they show, with their arrows drawn in."""

from __future__ import annotations

import hashlib
from io import BytesIO

import pytest
from PIL import Image

from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author, measure
from garboard.history.proof import issued_books
from garboard.history.replay import HullState
from garboard.hosting.host import PluginHost
from garboard.job_files.job_file import ATTACHED
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.report.photos import Arrow, PhotoLoader, photos_of, with_arrows
from garboard_shop.pages.summaries import open_boat
from pages_rig import NOON, SALTGRASS, Browser, Pages

JOB, STEP = "saltgrass-2026-05", "prop_check.full_throttle"
FAILING, IN_ORDER = "wiring_audit.circuits", "wiring_audit.batteries"
ADDRESS = f"/boats/{SALTGRASS}"


def jpeg(width: int = 2000, height: int = 1500) -> bytes:
    out = BytesIO()
    Image.new("RGB", (width, height), "#708090").save(out, "JPEG")
    return out.getvalue()


def _attach(
    pages: Pages,
    content: bytes,
    arrows: tuple[Arrow, ...] = (),
    *,
    step: str = STEP,
    shows: list[str] | None = None,
    is_here: bool = True,
    name: str = "ab" * 32,
) -> None:
    name = pages.store.hulls.attachments.put(content) if is_here else name
    said: dict[str, JsonValue] = {"file": name, "name": "p.jpg", "shows": [*(shows or ["engine_speed", "1", "port"])]}
    value = with_arrows(said, arrows)
    entry = measure(Author("tablet 9", "A. Hand"), HullState(SALTGRASS), JOB, step, ATTACHED, value, row=name[:12])
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)


def _source(page: str) -> str:
    return page.partition(f'<img src="{ADDRESS}/photos/')[2].partition('"')[0]


def test_a_photo_is_shown_with_its_arrow_drawn_in_and_told_for_those_who_cannot_see_it(
    pages: Pages, manager: Browser
) -> None:
    _attach(pages, jpeg(), (Arrow(x=0.5, y=0.5, turn=0, word="this <clamp>"),))
    page = manager.text(ADDRESS)
    assert 'alt="Photo. ' in page
    assert "An arrow points at: 1 this &lt;clamp&gt;." in page
    answer = manager.get(f"{ADDRESS}/photos/{_source(page)}")
    assert answer.headers["content-type"] == "image/jpeg"
    with Image.open(BytesIO(answer.content)) as shown:
        assert shown.size == (1600, 1200)
        ink, beside = shown.getpixel((800, 700)), shown.getpixel((300, 300))
    assert isinstance(ink, tuple)
    assert isinstance(beside, tuple)
    assert max(ink) < 90 < min(beside)


def test_photos_of_steps_that_ask_for_something_stand_on_the_day_sheet_and_no_others(
    pages: Pages, manager: Browser
) -> None:
    """Of Saltgrass the circuits fail; the batteries are in order."""
    for step, side in ((FAILING, 40), (IN_ORDER, 50)):
        _attach(pages, jpeg(side, 30), step=step)
    day = manager.text("/days/2026-11-25")
    assert day.count("<img src=") == 1
    answer = manager.get(f"{ADDRESS}/photos/{_source(day)}")
    with Image.open(BytesIO(answer.content)) as shown:
        assert shown.size == (40, 30)
    for side in range(60, 67):
        _attach(pages, jpeg(side, 30), step=FAILING)
    day = manager.text("/days/2026-11-25")
    assert (day.count("<img src="), "2 more photos" in day) == (6, True)


@pytest.mark.parametrize("content", [b"<svg onload='alert(1)'>", b"GIF89a" + bytes(99), jpeg()[:3000], b"\xff\xd8\xff"])
def test_what_is_no_picture_never_reaches_the_browser_as_one(pages: Pages, manager: Browser, content: bytes) -> None:
    _attach(pages, content)
    answer = manager.get(f"{ADDRESS}/photos/{_source(manager.text(ADDRESS))}")
    assert (answer.status_code, content in answer.content) == (404, False)


def test_a_photo_that_is_not_here_is_told_and_no_picture_is_asked_for(pages: Pages, manager: Browser) -> None:
    _attach(pages, b"", is_here=False)
    page = manager.text(ADDRESS)
    assert "The picture is not here yet" in page
    assert not _source(page)


def test_a_photo_stands_under_the_finding_about_what_it_shows(pages: Pages, manager: Browser) -> None:
    """Photos of two circuits, and one of the step as a whole: that one stands last."""
    for circuit, side in (("Washdown pump", 40), ("Navigation lights", 50), ("", 60)):
        _attach(pages, jpeg(side, 30), step=FAILING, shows=["drop", "", circuit] if circuit else ["", "", ""])
    page = manager.text(ADDRESS)
    findings = page.split('<div class="finding')
    circuits = ("Washdown pump", "Navigation lights")
    captions = {circuit: f"<figcaption><b>Drop, running, {circuit}</b>" for circuit in circuits}
    for circuit, caption in captions.items():
        (under,) = (one for one in findings if caption in one)
        assert f"ircuit {circuit}" in under.partition("<figure>")[0]
    assert page.index("<figcaption><b>Circuit by circuit</b>") > max(map(page.index, captions.values()))


def test_the_book_is_made_anew_once_a_photo_has_arrived(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Otherwise it would lack the photo for as long as nobody enters anything."""
    given: list[bytes] = []

    def book(view: JobView, host: PluginHost, *_: object, load_photo: PhotoLoader, **_more: object) -> bytes:
        for photo in photos_of(view, host, STEP):
            loaded = load_photo(photo)
            given.append(loaded if isinstance(loaded, bytes) else loaded.read())
        return b"%PDF"

    monkeypatch.setattr("garboard.report.book.handover_book", book)
    content = jpeg(40, 30)
    _attach(pages, b"", is_here=False, name=hashlib.sha256(content).hexdigest())
    for _ in range(2):
        manager.get(f"{ADDRESS}/jobs/{JOB}/book.pdf")
    pages.store.hulls.attachments.put(content)
    manager.get(f"{ADDRESS}/jobs/{JOB}/book.pdf")
    assert given == [b"", content]
    (issued,) = issued_books(open_boat(pages.store, SALTGRASS)[0])
    assert issued.sha256 == hashlib.sha256(b"%PDF").hexdigest(), "one file is issued once, however often it is opened"


def test_a_photo_is_given_to_signed_in_people_only(pages: Pages, manager: Browser) -> None:
    _attach(pages, jpeg(40, 30))
    source = f"{ADDRESS}/photos/{_source(manager.text(ADDRESS))}"
    assert pages.browser().get(source).status_code == 303
    assert manager.get(f"{ADDRESS}/photos/{'0' * 32}.jpg").status_code == 404
