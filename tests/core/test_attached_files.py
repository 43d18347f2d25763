"""A photo or a recording kept with a step that has no field for it: listed, and carried along with its job."""

from __future__ import annotations

import gzip
import shutil
import tracemalloc
from contextlib import ExitStack
from io import BytesIO
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.PngImagePlugin import PngInfo

import small_plugin
from garboard.commands import hulls as commands
from garboard.disk.hullfile import HullFolder
from garboard.disk.photo_words import looked_into, without_words
from garboard.faults import InputError
from garboard.history.authoring import measure
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge
from garboard.history.replay import HullState
from garboard.job_files.job_file import ATTACHED, check, read_job_file
from garboard.records import JsonValue, Measurement
from garboard.report.book import handover_book
from garboard.report.photos import is_picture, photos_of
from garboard.report.terminal import Tools
from histories import HULL, JOB, tablet
from printed import printed_words

STEP = "small.horn"
GROMMET, OTHER = b"\xff\xd8\xff a grommet", b"\xff\xd8\xff another"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A job with one value, and three files beside it, two of them with the same content."""
    for name, content in (("chafe.jpg", GROMMET), ("again.jpg", GROMMET), ("other.jpg", OTHER)):
        (tmp_path / name).write_bytes(content)
    with HullFolder(tmp_path / "shop") as folder:
        folder.save(measure(tablet("a").author, HullState(HULL), JOB, STEP, "heard", True))
    return tmp_path / "shop"


def _attach(shop: Path, name: str, by: str = "R. Vane") -> None:
    arguments = [shop, HULL, STEP, shop.parent / name, "--by", by]
    result = CliRunner().invoke(commands.attach, [str(one) for one in arguments], catch_exceptions=False)
    assert result.stdout == f"{name} is attached to {STEP}\n"


def _attached(folder: HullFolder) -> list[Measurement]:
    return [one for one in open_hull(folder, HULL).view(JOB).measurements if one.field == ATTACHED]


def test_files_attached_on_two_machines_stand_side_by_side_and_come_along_in_a_merge(
    shop: Path, tmp_path: Path
) -> None:
    with HullFolder(shop, read_only=True) as source, HullFolder(tmp_path / "away") as target:
        merge([source], target)
    _attach(shop, "chafe.jpg")
    _attach(tmp_path / "away", "other.jpg", by="K. Lind")
    with HullFolder(shop) as here, HullFolder(tmp_path / "away", read_only=True) as away:
        merge([away], here)
        view = open_hull(here, HULL).view(JOB)
        assert {(one.value["name"], one.by) for one in _attached(here)} == {  # type: ignore[index,call-overload]
            ("chafe.jpg", "R. Vane"),
            ("other.jpg", "K. Lind"),
        }
        assert view.disagreements == ()
        kept = {here.attachments.get(str(one.value["file"])) for one in _attached(here)}  # type: ignore[index,call-overload]
        assert kept == {GROMMET, OTHER}


def test_a_file_that_an_entry_names_and_neither_side_has_is_told_until_it_is_here(shop: Path, tmp_path: Path) -> None:
    """The folder of attachments was not copied along: nobody would look for the file before it is lost everywhere."""
    _attach(shop, "chafe.jpg")
    whole, bare = tmp_path / "whole", tmp_path / "bare"
    shutil.copytree(shop, whole)
    shutil.copytree(shop, bare)
    shutil.rmtree(bare / "attachments")
    for words in (("--dry-run",), (), ()):
        result = CliRunner().invoke(commands.merge_folders, [str(bare), "--into", str(tmp_path / "target"), *words])
        assert (result.exit_code, "missing on both sides: chafe.jpg (" in result.stdout) == (1, True)
        assert "everything is merged" not in result.stdout
    for sources in ((bare, whole), (bare,)):
        with ExitStack() as stack:
            folders = [stack.enter_context(HullFolder(one, read_only=True)) for one in sources]
            report = merge(folders, stack.enter_context(HullFolder(tmp_path / "target")))
        assert (report.complete, report.missing) == (True, ())


def test_a_picture_is_told_by_what_is_in_it_and_one_that_no_page_can_show_is_said(shop: Path) -> None:
    whole = BytesIO()
    Image.new("RGB", (60, 40)).save(whole, "JPEG")
    files = {
        "IMG_1234": (whole.getvalue(), "IMG_1234.jpg", ""),
        "run.jpg": (b"$HEHDT,341.8,T*21\r\n", "run.jpg.file", ""),
        "cut.jpg": (whole.getvalue()[:-90], "cut.jpg", "cut off or damaged"),
    }
    for name, (content, called, why) in files.items():
        (shop.parent / name).write_bytes(content)
        arguments = [str(one) for one in (shop, HULL, STEP, shop.parent / name, "--by", "R. Vane")]
        result = CliRunner().invoke(commands.attach, arguments, catch_exceptions=False)
        assert result.stdout == f"{called} is attached to {STEP}\n"
        assert (why in result.stderr, bool(result.stderr)) == (True, bool(why))
    with HullFolder(shop, read_only=True) as folder:
        photos = photos_of(open_hull(folder, HULL).view(JOB), small_plugin.small_host())
    assert {photo.name: is_picture(photo) for photo in photos} == {
        "IMG_1234.jpg": True, "run.jpg.file": False, "cut.jpg": True,
    }  # fmt: skip


def test_the_same_content_attached_twice_is_one(shop: Path) -> None:
    _attach(shop, "chafe.jpg")
    _attach(shop, "again.jpg")
    with HullFolder(shop, read_only=True) as folder:
        assert [one.value["name"] for one in _attached(folder)] == ["again.jpg"]  # type: ignore[index,call-overload]


def test_a_step_is_one_worked_on_or_one_a_plugin_declares(shop: Path) -> None:
    arguments = [str(shop), HULL, "prop_check.full_throtle", str(shop.parent / "chafe.jpg"), "--by", "R. Vane"]
    with pytest.raises(InputError, match=r"got 'prop_check.full_throtle'.*perhaps prop_check.full_throttle"):
        CliRunner().invoke(commands.attach, arguments, catch_exceptions=False)
    arguments[2] = "prop_check.full_throttle"
    assert CliRunner().invoke(commands.attach, arguments, catch_exceptions=False).exit_code == 0


def test_an_exported_job_carries_its_attached_file_and_passes_the_check(shop: Path, tmp_path: Path) -> None:
    _attach(shop, "chafe.jpg")
    with HullFolder(shop, read_only=True) as here, HullFolder(tmp_path / "there") as there:
        path = export_job(here, open_hull(here, HULL), JOB, tmp_path / "out")
        exported = read_job_file(path)
        assert check(exported, small_plugin.small_host()) == ()
        import_job(there, exported, path.parent, tablet("office").author)
        assert there.attachments.names() == here.attachments.names() != frozenset()


def test_what_is_no_file_is_refused_under_the_name_of_an_attached_file(shop: Path, tmp_path: Path) -> None:
    with HullFolder(shop, read_only=True) as here:
        exported = read_job_file(export_job(here, open_hull(here, HULL), JOB, tmp_path / "out"))
    wrong = attrs.evolve(exported, measurements=(Measurement(step=STEP, field=ATTACHED, value="a photo"),))
    (fault,) = check(wrong, small_plugin.small_host())
    assert fault.where == "measurements[0].value"


def test_the_book_lists_photos_by_step_and_name(shop: Path) -> None:
    def words(view: object) -> str:
        book = handover_book(view, host, host.assess(view))  # type: ignore[arg-type]
        return printed_words(book)

    host = small_plugin.small_host()
    with HullFolder(shop, read_only=True) as folder:
        assert "File kept by the shop" not in words(open_hull(folder, HULL).view(JOB))
    _attach(shop, "chafe.jpg")
    with HullFolder(shop, read_only=True) as folder:
        said = words(open_hull(folder, HULL).view(JOB))
    assert "Files Belongs to File kept by the shop" in said
    assert "attached chafe.jpg R. Vane" in said


@pytest.mark.parametrize("content", [b"root:x:0:0:root:/root:/bin/sh\n" * 40, b"%s, 1\n" % b"caf\xe9", b"{}"])
def test_text_that_is_no_recording_is_not_attached(shop: Path, tmp_path: Path, content: bytes) -> None:
    """Whatever its name says."""
    (tmp_path / "helm.jpg").write_bytes(content)
    arguments = [str(shop), HULL, STEP, str(tmp_path / "helm.jpg"), "--by", "R. Vane"]
    with pytest.raises(InputError, match="text that is neither"):
        CliRunner().invoke(commands.attach, arguments, catch_exceptions=False)
    with HullFolder(shop, read_only=True) as folder:
        assert _attached(folder) == []
        assert folder.attachments.names() == frozenset()


@pytest.mark.parametrize(
    "content", [b"$HEHDT,341.8,T*21\n", gzip.compress(b"$HEHDT,341.8,T*21\n", mtime=0), b"%PDF-1.7 a plan", b""]
)
def test_a_recording_a_paper_and_an_empty_file_are_attached(shop: Path, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "any.bin").write_bytes(content)
    _attach(shop, "any.bin")


@pytest.mark.parametrize("reference", ["/etc/passwd", "../other.log", "logs/../../other.log"])
def test_a_recording_outside_the_job_files_folder_is_not_imported(tmp_path: Path, reference: str) -> None:
    """Neither from what the file states, nor from the entries it carries; an assessment refuses it, too."""
    with HullFolder(tmp_path / "shop") as folder:
        folder.save(
            measure(tablet("a").author, HullState(HULL), JOB, STEP, "log", {"file": reference, "name": "a.log"})
        )
        path = export_job(folder, open_hull(folder, HULL), JOB, tmp_path / "out")
    with_entries = read_job_file(path)
    for job_file in (with_entries, attrs.evolve(with_entries, entries=())):
        with HullFolder(tmp_path / "new") as folder:
            with pytest.raises(InputError, match=f"{reference}, which lies elsewhere"):
                import_job(folder, job_file, path.parent, tablet("b").author)
            assert folder.hulls() == ()


def test_a_large_attachment_is_kept_and_copied_a_piece_at_a_time(tmp_path: Path) -> None:
    """A log of a long trial has 100 MB: neither its keeping nor its copy into another folder holds it whole."""
    megabytes = 12
    log = tmp_path / "long.log"
    with log.open("wb") as file:
        for number in range(megabytes):
            file.write(bytes([number]) * (1 << 20))
    with HullFolder(tmp_path / "tablet") as held, HullFolder(tmp_path / "shop") as shop:
        tracemalloc.start()
        name = held.attachments.put_file(log)
        held.attachments.prove(name)
        shop.attachments.take_from(held.attachments, name)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert shop.attachments.size(name) == megabytes << 20
    assert most < 4 << 20


def _talking(form: str = "JPEG", turned: int = 1, colour: str = "#708090") -> bytes:
    """A photo whose file says where it was taken, with which camera, and a word."""
    exif = Image.Exif()
    exif[0x0112] = turned
    exif.get_ifd(0x8825)[2] = (43.0, 7.0, 30.0)
    exif.get_ifd(0x8769)[0x9003] = "2026:05:14 09:12:33"
    exif.get_ifd(0x8769)[0xA431] = "SERIAL-77120"
    words = PngInfo()
    words.add_text("Comment", "of A. Marsh")
    more = {"comment": b"of A. Marsh"} if form == "JPEG" else {"pnginfo": words} if form == "PNG" else {}
    out = BytesIO()
    Image.new("RGB", (60, 40), colour).save(out, form, exif=exif, **more)
    return out.getvalue()


def _says(content: bytes) -> bool:
    return any(word in content for word in (b"SERIAL-77120", b"of A. Marsh", b"2026:05:14"))


@pytest.mark.parametrize("turned", [1, 6])
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_photo_without_its_words_shows_the_same_dots_upright(form: str, turned: int) -> None:
    """Pillow, which did not take the words out, reads both."""
    content = _talking(form, turned) + (b"" if form == "WEBP" else b"and a film: SERIAL-77120")
    photo = looked_into(content)
    assert photo is not None
    assert _says(content)
    assert not _says(photo.bare)
    assert (photo.has_place, photo.taken) == (True, "2026-05-14T09:12:33")
    assert without_words(photo.bare) == photo.bare
    with Image.open(BytesIO(photo.bare)) as bare, Image.open(BytesIO(content)) as original:
        assert dict(bare.getexif()) == ({} if turned == 1 else {0x0112: 6})
        assert bare.convert("RGB").tobytes() == original.convert("RGB").tobytes()


def test_words_of_a_photo_that_name_the_place_are_found_in_xmp_too() -> None:
    out = BytesIO()
    said = b'<x:xmpmeta tiff:Orientation="8" exif:GPSLatitude="43,7.5N"/>'
    Image.new("RGB", (60, 40)).save(out, "JPEG", xmp=said)
    photo = looked_into(out.getvalue())
    assert photo is not None
    assert photo.has_place
    assert b"GPSLatitude" not in photo.bare
    with Image.open(BytesIO(photo.bare)) as bare:
        assert bare.getexif()[0x0112] == 8


TALKING = tuple(_talking(form, 6) for form in ("JPEG", "PNG", "WEBP"))


@given(st.data())
@settings(max_examples=40)
def test_a_damaged_photo_is_looked_into_without_an_error_and_never_grows(data: st.DataObject) -> None:
    content = bytearray(data.draw(st.sampled_from(TALKING)))
    for at in data.draw(st.lists(st.integers(0, len(content) - 1), max_size=4)):
        content[at] = data.draw(st.integers(0, 255))
    cut = bytes(content[: data.draw(st.integers(0, len(content)))])
    assert len(without_words(cut)) <= len(cut) + 60


def test_a_photo_that_a_person_gives_is_kept_without_its_place_and_with_its_time(shop: Path, tmp_path: Path) -> None:
    """By `attach`, and with a job file that was typed; attached twice, it is one."""
    (tmp_path / "home.jpg").write_bytes(_talking())
    _attach(shop, "home.jpg")
    _attach(shop, "home.jpg")
    with HullFolder(shop) as folder:
        (kept,) = _attached(folder)
        assert isinstance(kept.value, dict)
        assert kept.value["taken"] == "2026-05-14T09:12:33"
        assert not _says(folder.attachments.get(str(kept.value["file"])))
        typed = attrs.evolve(
            read_job_file(export_job(folder, open_hull(folder, HULL), JOB, tmp_path / "out")),
            entries=(),
            measurements=(attrs.evolve(kept, value={"file": "home.jpg", "name": "home.jpg"}),),
        )
    with HullFolder(tmp_path / "typed") as folder:
        assert [import_job(folder, typed, tmp_path, tablet("b").author)[1] > 0 for _ in range(2)] == [True, False]
        (name,) = folder.attachments.names()
        assert not _says(folder.attachments.get(name))


def test_an_export_says_which_photos_hold_a_place_and_leaves_it_out_on_request(shop: Path, tmp_path: Path) -> None:
    """A photo of an earlier version is signed for as it is: another shop can prove it only whole."""
    with HullFolder(shop) as folder:
        state = HullState(HULL)
        for name, content in (("home.jpg", _talking()), ("film.mov", b"\0\0\0\x20ftypqt  SERIAL-77120")):
            kept = folder.attachments.put(content)
            value: JsonValue = {"file": kept, "name": name}
            folder.save(measure(tablet("a").author, state, JOB, STEP, ATTACHED, value, row=kept[:12]))
    whole = CliRunner().invoke(commands.export, [str(shop), HULL, "-o", str(tmp_path / "whole")], obj=Tools())
    assert whole.exit_code == 0
    assert whole.stderr.splitlines() == [
        "1 photo in it says where it was taken",
        "1 file in it may say where it was taken, and cannot be looked into here",
        "to leave that out: --without-places",
    ]
    arguments = [str(shop), HULL, "--without-places", "-o", str(tmp_path / "bare")]
    bare = CliRunner().invoke(commands.export, arguments, obj=Tools())
    assert bare.exit_code == 1
    assert ".mov: it may say where it was taken" in bare.stderr
    assert {path.suffix for path in (tmp_path / "bare").iterdir()} == {".json", ".jpg"}
    assert not any(_says(path.read_bytes()) for path in (tmp_path / "bare").iterdir())
    for out, changed, held in (("whole", 0, 2), ("bare", 1, 0)):
        told: list[str] = []
        with HullFolder(tmp_path / f"other {out}") as folder:
            job_file = read_job_file(tmp_path / out / "job.json")
            import_job(folder, job_file, tmp_path / out, tablet("b").author, told.append)
            assert (len(told), len(folder.attachments.names())) == (changed, held)
