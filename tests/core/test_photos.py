"""Photos: arrows as data, pictures read with care, and the book that shows them."""

from __future__ import annotations

import struct
import sys
import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from pypdf import PdfReader

import small_plugin
from book_tags import structure_of
from garboard.commands.book import photos_at
from garboard.disk.entries import canonical_bytes
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import named_and_missing
from garboard.history.replay import HullState
from garboard.job_files.job_file import ATTACHED, check, read_job_file
from garboard.job_files.unrecognised import unrecognised
from garboard.job_view import JobView
from garboard.judging.assessing import assess_job_file
from garboard.records import Job, JsonValue, Measurement, Vessel
from garboard.report import photo_files
from garboard.report.book import handover_book
from garboard.report.photo_blocks import _under_photo, printed_size
from garboard.report.photo_files import (
    KEPT_SIDE,
    NoPicture,
    Picture,
    PictureRefused,
    as_kept,
    drawn,
    is_damaged,
    opened,
    taken_at,
)
from garboard.report.photos import (
    DISC,
    MOST_ARROWS,
    MOST_READ,
    STEP_OF_TURN,
    Arrow,
    Photo,
    arrows_in,
    photo_of,
    photos_of,
    shape_of,
    turn_at,
    with_arrows,
)
from histories import HULL, JOB, tablet
from printed import printed_words

SHARES = st.floats(0, 1)
STEP = "small.horn"


def picture(width: int, height: int, form: str = "JPEG", **more: Any) -> bytes:
    out = BytesIO()
    Image.new("RGB", (width, height), "#708090").save(out, form, **more)
    return out.getvalue()


def _said_by_camera(turned: int, taken: str) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = turned
    exif.get_ifd(0x8769)[0x9003] = taken
    return exif


@given(SHARES, SHARES, st.integers(-720, 720), st.text(max_size=80))
@settings(max_examples=15)
def test_an_arrow_comes_back_from_an_entry_as_it_was(x: float, y: float, turn: int, word: str) -> None:
    arrow = Arrow(x=round(x, 4), y=round(y, 4), turn=turn % 360, word=word[:60])
    value = with_arrows({"file": "ab" * 32, "name": "a.jpg"}, [arrow])
    assert arrows_in(value) == (arrow,)
    assert with_arrows(value, ()) == {"file": "ab" * 32, "name": "a.jpg"}


@pytest.mark.parametrize(
    "arrows",
    [
        None,
        "here",
        [None, 7, []],
        [{"x": "0.5"}],
        [{"x": "1.2", "y": "0"}],
        [{"x": "nan", "y": "0"}],
        [{"x": 0, "y": 1}],
        [{"x": "0", "y": "1", "turn": "left"}],
        [{"x": "0", "y": "1", "turn": True}],
        [{"x": "9" * 99, "y": "1"}],
        [{"x": "0", "y": "1", "word": 5}],
    ],
)
def test_what_is_no_arrow_is_passed_over(arrows: JsonValue) -> None:
    assert arrows_in({"file": "ab", "arrows": arrows}) == ()


def test_no_more_arrows_are_read_than_four_tablets_can_set() -> None:
    for count, read in ((MOST_ARROWS, MOST_ARROWS), (4 * MOST_ARROWS, MOST_READ), (99, MOST_READ)):
        plain = with_arrows({}, [Arrow(x=0.5, y=0.5, turn=0)] * count)
        assert len(arrows_in(plain)) == read
    assert MOST_READ == 4 * MOST_ARROWS


@given(SHARES, SHARES, st.sampled_from([0.5, 0.75, 1.0, 1.6]))
@settings(max_examples=40)
def test_an_arrow_is_first_turned_so_that_all_of_it_lies_in_the_picture(x: float, y: float, aspect: float) -> None:
    width, height = 1000 * aspect, 1000.0
    arrow = Arrow(x=x, y=y, turn=turn_at(x, y, aspect))
    assert arrow.turn % STEP_OF_TURN == 0
    shape = shape_of(arrow, width, height)
    assert 0 <= shape.disc[0] <= width
    assert 0 <= shape.disc[1] <= height


def test_an_arrow_points_at_its_tip_and_its_edge_lies_around_it() -> None:
    shape, edge = (shape_of(Arrow(x=0.5, y=0.25, turn=90), 800, 400, edge=edge) for edge in (False, True))
    assert shape.head[0] == pytest.approx((400, 100))
    assert shape.disc == pytest.approx((320, 100))
    assert edge.head[0][0] > shape.head[0][0]
    assert edge.radius > shape.radius


def test_a_large_picture_is_kept_smaller_and_a_small_one_as_it_came() -> None:
    small = picture(300, 200)
    assert as_kept(small) == small
    with Image.open(BytesIO(as_kept(picture(4000, 1000)))) as image:
        assert image.size == (KEPT_SIDE, KEPT_SIDE // 4)


def test_a_picture_taken_with_the_tablet_turned_is_kept_upright_with_its_time() -> None:
    content = picture(300, 200, exif=_said_by_camera(6, "2026:05:14 09:12:33"))
    assert taken_at(content) == "2026-05-14T09:12:33"
    with Image.open(BytesIO(as_kept(content))) as image:
        assert image.size == (200, 300)


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
def test_a_small_upright_picture_is_kept_without_what_its_camera_says_and_shows_the_same(form: str) -> None:
    """Place and serial number of Exif, XMP, comments: an owner's home is in none of what leaves the tablet."""
    exif = _said_by_camera(1, "2026:05:14 09:12:33")
    exif.get_ifd(0x8825)[2] = (43.0, 7.0, 30.0)  # the place
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-77120"
    words = PngInfo()
    words.add_text("Comment", "of A. Marsh")
    more: dict[str, Any] = {"comment": b"of A. Marsh"} if form == "JPEG" else {"pnginfo": words}
    content = picture(300, 200, form, exif=exif, **more)
    assert b"SERIAL-77120" in content
    assert b"of A. Marsh" in content
    kept = as_kept(content)
    assert b"SERIAL-77120" not in kept
    assert b"of A. Marsh" not in kept
    with Image.open(BytesIO(kept)) as image, Image.open(BytesIO(content)) as original:
        assert (image.format, image.size) == (form, original.size)
        assert dict(image.getexif()) == {}
        assert image.convert("RGB").tobytes() == original.convert("RGB").tobytes()
    assert as_kept(kept) == kept
    shown = drawn(content, ()).content
    assert b"SERIAL-77120" not in shown
    assert b"of A. Marsh" not in shown, "also where the file was kept by another program"
    large = picture(3000, 2000, form, exif=exif, **more)
    assert b"of A. Marsh" not in as_kept(large)


@pytest.mark.parametrize("said", ["0000", "yesterday", ""])
def test_a_time_nobody_can_read_is_no_time(said: str) -> None:
    assert taken_at(picture(30, 20, exif=_said_by_camera(1, said))) == taken_at(b"no picture") == ""


def _bomb() -> bytes:
    """A picture of 40 000 by 40 000 dots, in a few bytes."""
    chunk = struct.pack(">IIBBBBB", 40_000, 40_000, 8, 2, 0, 0, 0)
    header = struct.pack(">I", 13) + b"IHDR" + chunk + struct.pack(">I", zlib.crc32(b"IHDR" + chunk))
    return b"\x89PNG\r\n\x1a\n" + header + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", NoPicture.EMPTY),
        (b"root:x:0:0", NoPicture.OTHER),
        (b"GIF89a" + bytes(40), NoPicture.OTHER),
        (b"%PDF-1.7", NoPicture.OTHER),
        (picture(300, 200)[:-200], NoPicture.CUT),
        (picture(300, 200, "PNG")[:80], NoPicture.CUT),
        (_bomb(), NoPicture.HUGE),
    ],
)
def test_what_is_no_whole_picture_is_refused_with_what_to_do(content: bytes, why: NoPicture) -> None:
    with pytest.raises(PictureRefused) as refused:
        as_kept(content)
    assert refused.value.why is why


@pytest.mark.parametrize(
    ("mode", "form", "more", "is_opened"),
    [
        ("RGB", "PNG", {}, True),
        ("P", "PNG", {}, True),
        ("RGBA", "PNG", {}, False),
        ("P", "PNG", {"transparency": 3}, False),
        ("I;16", "PNG", {}, False),
        ("RGB", "JPEG", {}, True),
        ("RGB", "JPEG", {"progressive": True}, False),
    ],
)
def test_what_takes_more_memory_for_each_dot_may_have_fewer(
    monkeypatch: pytest.MonkeyPatch, mode: str, form: str, more: dict[str, Any], *, is_opened: bool
) -> None:
    """A JPEG that comes in passes is held whole at whatever size it is read; 2 MB of it were opened in a gigabyte."""
    side = 160 if form == "JPEG" else 80
    monkeypatch.setattr(photo_files, "MOST_DOTS", 10_000)
    Image.new(mode, (side, side)).save(out := BytesIO(), form, **more)
    if is_opened:
        assert max(opened(out.getvalue(), 40).size) == 40
        return
    with pytest.raises(PictureRefused) as refused:
        opened(out.getvalue(), 40)
    assert refused.value.why is NoPicture.HUGE


def _of_a_boat(**more: Any) -> bytes:
    """A picture with as many different dots as a camera's."""
    out = BytesIO()
    Image.effect_noise((320, 240), 60).convert("RGB").save(out, more.pop("form", "JPEG"), quality=85, **more)
    return out.getvalue()


def _written_over(content: bytes, at: int, by: bytes) -> bytes:
    return content[:at] + by + content[at + len(by) :]


def _spoilt() -> list[bytes]:
    """As cards leave pictures: the end never written, another file's bytes in the midst, a flipped byte."""
    jpeg, progressive, png = _of_a_boat(), _of_a_boat(progressive=True), _of_a_boat(form="PNG")
    other = b"$IIRPM,E,1,5890,10.5,A*7C\r\n\xff\x12\xff" * 20
    return [
        jpeg[:-900] + bytes(900),
        jpeg[:-900] + b"\xff" * 900,
        _written_over(jpeg, len(jpeg) // 2, other),
        _written_over(progressive, len(progressive) // 2, other),
        jpeg[: len(jpeg) // 2],
        _written_over(png, len(png) - 60, b"\0\0\0\0"),
        png[:-12],
    ]


@pytest.mark.parametrize("number", range(len(_spoilt())))
def test_a_cameras_damaged_picture_is_not_kept_as_if_it_were_good(number: int) -> None:
    with pytest.raises(PictureRefused) as refused:
        as_kept(_spoilt()[number])
    assert refused.value.why is NoPicture.CUT


def test_no_sound_picture_is_called_damaged() -> None:
    """Of every kind that is met: read in several passes, with restarts, with more behind its end."""
    plain = _of_a_boat()
    sound = [
        plain,
        _of_a_boat(progressive=True),
        _of_a_boat(optimize=True),
        _of_a_boat(restart_marker_blocks=3),
        _of_a_boat(subsampling=0, comment=b"\xff\xff\xff"),
        _of_a_boat(form="PNG"),
        _of_a_boat(form="WEBP"),
        picture(900, 700, optimize=True),
        picture(900, 700, progressive=True),
        plain + b"a camera's own words, and a second picture" + plain,
    ]
    assert [is_damaged(one) for one in sound] == [False] * len(sound)
    assert all(map(as_kept, sound))


def test_a_tablet_without_pillow_keeps_no_damaged_picture_either(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "PIL", None)
    whys = []
    for content in (b"", b"root:x:0:0", *_CUT):
        with pytest.raises(PictureRefused) as refused:
            as_kept(content)
        whys.append(refused.value.why)
    assert whys == [NoPicture.EMPTY, NoPicture.OTHER, NoPicture.CUT, NoPicture.CUT, NoPicture.CUT]
    assert as_kept(_WHOLE) == _WHOLE


_WHOLE = picture(300, 200)
_CUT = (_WHOLE[:-200], picture(300, 200, "PNG")[:80], picture(300, 200, "WEBP")[:-9])


@pytest.mark.parametrize(("level", "shown"), [(0, 0), (0x7FFF, 127), (0xFFFF, 255)])
def test_sixteen_bits_of_grey_are_shown_as_grey(level: int, shown: int) -> None:
    """As a thermal camera writes them."""
    out = BytesIO()
    Image.new("I;16", (8, 6), level).save(out, "PNG")
    image = opened(out.getvalue(), 100)
    assert (image.mode, image.getpixel((0, 0))) == ("RGB", (shown,) * 3)


def test_a_picture_in_grey_or_with_a_clear_ground_is_drawn_in_colours() -> None:
    for mode in ("L", "RGBA", "P", "CMYK", "I;16"):
        out = BytesIO()
        Image.new(mode, (40, 30)).save(out, "JPEG" if mode == "CMYK" else "PNG")
        assert opened(out.getvalue(), 100).mode == "RGB"


def test_the_same_picture_and_arrows_give_the_same_bytes_with_ink_where_the_arrow_is() -> None:
    content, arrow = picture(800, 600), Arrow(x=0.5, y=0.5, turn=0, word="this clamp")
    first = drawn(content, [arrow])
    assert first == drawn(content, [arrow])
    with Image.open(BytesIO(first.content)) as image:
        ink, ground = (image.getpixel(at) for at in ((400, 340), (200, 200)))
    assert isinstance(ink, tuple)
    assert isinstance(ground, tuple)
    assert max(ink) < 80 < min(ground)


def _shop(folder: Path, content: bytes, *arrows: Arrow) -> Path:
    with HullFolder(folder) as hulls:
        name = hulls.attachments.put(content)
        value = with_arrows({"file": name, "name": "p.jpg", "shows": ["heard", "", ""], "taken": "2026-05-14"}, arrows)
        author = tablet("a").author
        hulls.save(measure(author, HullState(HULL), JOB, STEP, ATTACHED, value, row=name[:12]))
    return folder


@pytest.mark.parametrize(("at", "said"), [("", "A. Hand"), ("2026-05-14T10:00", "A. Hand, kept 14 May 2026")])
def test_a_photo_of_no_day_says_who_kept_it_alone(at: str, said: str) -> None:
    host = small_plugin.small_host()
    photo = photo_of(Measurement(step=STEP, field=ATTACHED, value={"file": "ab"}, by="A. Hand", at=at))
    assert photo is not None
    assert _under_photo(photo, host, JobView(vessel=Vessel(hull_number=HULL), job=Job(id=JOB))) == said


def test_the_book_shows_a_photo_with_its_arrow_and_what_it_points_at(tmp_path: Path) -> None:
    host = small_plugin.small_host()
    shop = _shop(tmp_path / "shop", picture(1600, 1200), Arrow(x=0.5, y=0.5, turn=0, word="this clamp"))
    with HullFolder(shop, read_only=True) as hulls:
        view = open_hull(hulls, HULL).view(JOB)
    pdf = handover_book(view, host, host.assess(view), load_photo=photos_at(shop))
    reader = PdfReader(BytesIO(pdf))
    (image,) = (one for page in reader.pages for one in page.images)
    assert image.image is not None
    assert max(image.image.size) <= 1600
    words = printed_words(pdf)
    assert "1 this clamp. tech a, 14 May 2026" in words
    step = next(one for one in host.steps if one.key == STEP)
    own = words.rindex(step.title, 0, words.index("1 this clamp."))
    between = words[own + len(step.title) : words.index("1 this clamp.")]
    assert not [one.title for one in host.steps if one.key != STEP and one.title in between], "below its own step"
    [alternative] = [alt for tag, alt, _ in structure_of(pdf) if tag == "/Figure" and "clamp" in alt]
    assert "An arrow points at: 1 this clamp." in alternative


@pytest.mark.parametrize("size", [(1600, 1200), (1200, 530), (530, 1200), (4000, 500), (90, 2000), (800, 800)])
def test_the_numbers_on_a_photos_arrows_can_be_read_on_paper(size: tuple[int, int]) -> None:
    """Their type is 1.4 times as large as the radius of their disc; a point is 1/72 in."""
    wide, high = printed_size(Picture(b"", *size))
    assert wide <= 172
    assert high <= 130.001
    assert wide / high == pytest.approx(size[0] / size[1])
    if max(size) < 3 * min(size):
        assert min(wide, high) * DISC * 1.4 / 25.4 * 72 >= 8


@pytest.mark.parametrize("content", [b"no picture", picture(30, 20)[:300]])
def test_a_file_that_is_no_picture_is_listed_and_the_book_is_whole(tmp_path: Path, content: bytes) -> None:
    host = small_plugin.small_host()
    shop = _shop(tmp_path / "shop", content)
    with HullFolder(shop, read_only=True) as hulls:
        view = open_hull(hulls, HULL).view(JOB)
    pdf = handover_book(view, host, host.assess(view), load_photo=photos_at(shop))
    assert not [image for page in PdfReader(BytesIO(pdf)).pages for image in page.images]
    why = "another kind of file, or its beginning is damaged" if content == b"no picture" else "cut off"
    assert f"p.jpg (not shown: {why})" in printed_words(pdf)


@pytest.mark.parametrize(
    ("lost", "why"),
    [
        (picture(30, 21), "not here whole"),
        (bytes(16) + picture(30, 20)[16:], "another kind of file, or its beginning is damaged"),
    ],
)
def test_a_picture_that_changed_on_the_disk_is_not_shown_and_the_book_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lost: bytes, why: str
) -> None:
    """Of a long one whose first bytes are gone nobody says that it is no picture."""
    monkeypatch.setattr("garboard.report.photo_files.SMALL", 0)
    host, shop = small_plugin.small_host(), _shop(tmp_path / "shop", picture(30, 20))
    with HullFolder(shop, read_only=True) as hulls:
        view = open_hull(hulls, HULL).view(JOB)
    (file,) = [one for one in (shop / "attachments").iterdir() if one.read_bytes() == picture(30, 20)]
    file.write_bytes(lost)
    pdf = handover_book(view, host, host.assess(view), load_photo=photos_at(shop))
    assert not [image for page in PdfReader(BytesIO(pdf)).pages for image in page.images]
    assert f"(not shown: {why})" in printed_words(pdf)


def test_a_file_too_large_for_a_photo_is_not_read(tmp_path: Path) -> None:
    """Two gigabytes that take no room on the disk."""
    (tmp_path / "job.json").write_text("{}")
    with (tmp_path / "p.jpg").open("wb") as file:
        file.write(picture(30, 20))
        file.truncate(2_000_000_000)
    nowhere = ("", "", "", "")
    photo = Photo(place=nowhere, shows=nowhere, file="p.jpg", name="", taken="", by="", arrows=())
    with pytest.raises(PictureRefused) as refused:
        photos_at(tmp_path / "job.json")(photo)
    assert refused.value.why is NoPicture.HUGE


def test_a_photo_with_arrows_is_told_as_missing_like_any_other_file() -> None:
    value = with_arrows({"file": "ab" * 32, "name": "p.jpg"}, [Arrow(x=0.5, y=0.5, turn=0)])
    with_it = canonical_bytes({"value": value})

    class Nothing:
        attachments: frozenset[str] = frozenset()

    assert named_and_missing(Nothing(), [[with_it]], ()) == (("ab" * 32, "p.jpg"),)  # type: ignore[arg-type]


@pytest.mark.parametrize("shows", [None, "field", ["a"], ["a", "b", 3], ["", "", ""]])
def test_a_photo_that_says_oddly_what_it_shows_is_one_of_its_step(shows: JsonValue) -> None:
    photo = photo_of(Measurement(step=STEP, field=ATTACHED, value={"file": "ab", "shows": shows}))
    assert photo is not None
    assert photo.shows == (STEP, "", "", "")


def test_an_exported_job_carries_a_photo_with_its_arrows_and_nobody_is_asked_about_them(tmp_path: Path) -> None:
    """The job file, its import elsewhere, the book from the file: each knows the photo, and none finds it odd."""
    host = small_plugin.small_host()
    arrow = Arrow(x=0.25, y=0.5, turn=90, word="this clamp")
    shop = _shop(tmp_path / "shop", picture(80, 60), arrow)
    with HullFolder(shop, read_only=True) as here, HullFolder(tmp_path / "there") as there:
        path = export_job(here, open_hull(here, HULL), JOB, tmp_path / "out")
        exported = read_job_file(path)
        assert check(exported, host, path.parent) == ()
        assert [*unrecognised(exported, host)] == []
        import_job(there, exported, path.parent, tablet("office").author)
        (photo,) = photos_of(open_hull(there, HULL).view(JOB), host)
    assert photo.arrows == (arrow,)
    done = assess_job_file(path, host)
    (beside,) = photos_of(done.view, host)
    assert photos_at(path)(beside) == picture(80, 60)
    assert not [one for one in done.questions if "clamp" in one or "attached" in one]


def test_a_photo_of_a_job_file_is_read_from_beside_it_and_from_nowhere_else(tmp_path: Path) -> None:
    (tmp_path / "secret.jpg").write_bytes(picture(80, 60))
    (tmp_path / "job").mkdir()
    for file in ("../secret.jpg", str(tmp_path / "secret.jpg"), "gone.jpg"):
        photo = photo_of(Measurement(step=STEP, field=ATTACHED, value={"file": file}))
        assert photo is not None
        assert photos_at(tmp_path / "job" / "job.json")(photo) == b""
