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
from PIL import Image

import small_plugin
from garboard.commands import hulls as commands
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import measure
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge
from garboard.history.replay import HullState
from garboard.job_files.job_file import ATTACHED, check, read_job_file
from garboard.records import Measurement
from garboard.report.book import handover_book
from garboard.report.photos import is_picture, photos_of
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
    arguments = [str(shop), HULL, "prop_check.misspelt", str(shop.parent / "chafe.jpg"), "--by", "R. Vane"]
    with pytest.raises(InputError, match=r"prop_check.full_throttle.*prop_check.misspelt"):
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
