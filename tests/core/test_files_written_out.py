"""A file the program writes for a person is as it was before or whole, and the message names it."""

from __future__ import annotations

import ast
import os
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from garboard.commands.tools import write_file
from garboard.disk import storage
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import measure
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job
from garboard.history.replay import HullState
from histories import HULL, JOB, tablet

ROOT = Path(__file__).parents[2]
WHERE_NOTHING_IS_KEPT = {  # where not said otherwise: files in a temporary folder, made for one use
    "plugins/garboard_shop/pages/summaries.py",
    "plugins/garboard_shop/pages/plugins.py",
    "plugins/garboard_shop/own_plugins.py",
    "core/garboard/report/press.py",
    "plugins/garboard_shop/pages/check_form.py",
    "core/garboard/report/data_files.py",
    "tablet_app/garboard_tablet/ui/sound.py",
    "tablet_app/garboard_tablet/models/plugin_minder.py",  # what runs at this moment, written over at each call
    "core/garboard/disk/storage.py",  # the one durable write itself, and devices, which have no "before"
    "core/garboard/history/backup.py",  # a zip goes back in its file: written beside, flushed, read back, put in place
    "tablet_app/garboard_tablet/gallery.py",  # a tool for developers
    "tablet_app/package/hook.py",  # for the packager
    "tablet_app/package/lay_out.py",
}


def with_little_room(*words: str, largest: int) -> subprocess.CompletedProcess[str]:
    """Run the program where no file may grow beyond a size, as on a disk that fills up while it writes."""
    import resource

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest, largest))

    return subprocess.run(
        [sys.executable, "-B", "-m", "garboard", *words],
        preexec_fn=limit,  # no other thread runs here
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "400"},
    )


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    with HullFolder(folder) as hulls:
        hulls.save(measure(tablet("a").author, HullState(HULL), JOB, "prop_check.runs", "note", "n" * 20_000))
    return folder


@pytest.mark.skipif(sys.platform == "win32", reason="a limit on the size of files is not there")
def test_a_full_disk_leaves_the_export_that_was_there(tmp_path: Path, shop: Path) -> None:
    out = tmp_path / "out"
    with HullFolder(shop, read_only=True) as hulls:
        yesterday = export_job(hulls, open_hull(hulls, HULL), JOB, out).read_text() + "\n"
    (out / "job.json").write_text(yesterday)
    done = with_little_room("export", str(shop), HULL, "-o", str(out), largest=9_000)
    assert done.returncode != 0
    assert "job.json" in done.stderr
    assert {path.name: path.read_text() for path in out.iterdir()} == {"job.json": yesterday}


@pytest.mark.skipif(sys.platform == "win32", reason="a limit on the size of files is not there")
def test_a_full_disk_leaves_the_book_that_was_there(tmp_path: Path, shop: Path) -> None:
    pytest.importorskip("typst")
    book = tmp_path / "b.pdf"
    book.write_bytes(b"%PDF of yesterday")
    done = with_little_room("book", str(shop), "--hull", HULL, "-o", str(book), largest=9_000)
    assert done.returncode != 0
    assert "room for the files of a book" in done.stderr
    assert book.read_bytes() == b"%PDF of yesterday"
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["b.pdf"]


def test_two_programs_that_write_one_file_at_once_leave_it_whole(tmp_path: Path) -> None:
    """Each writes beside it under a name of its own, or one would put the other's half in place and call it saved."""
    place, found = tmp_path / "job.json", list[bytes]()

    def ours() -> Iterator[bytes]:
        yield b"of the first, "
        storage.write_whole(place, others())
        found.append(place.read_bytes())
        yield b"whole"

    def others() -> Iterator[bytes]:
        yield b"of the second, "
        yield b"whole"

    storage.write_whole(place, ours())
    assert (found, place.read_bytes()) == ([b"of the second, whole"], b"of the first, whole")
    assert [path.name for path in tmp_path.iterdir()] == ["job.json"]


def test_what_a_killed_program_left_of_a_file_is_cleared_away_and_nothing_that_is_being_written(tmp_path: Path) -> None:
    for name in ("0123abcd-other.json", "4567abcd-job.json", "job.json"):
        (tmp_path / f"{storage.UNFINISHED}{name}").write_bytes(b"half")
    seen = list[bytes]()

    def slowly() -> Iterator[bytes]:
        yield b"slow "
        storage.write_out(tmp_path / "job.json", b"quick")
        storage.remove_unfinished(tmp_path)
        seen.append((tmp_path / "job.json").read_bytes())
        yield b"but whole"

    storage.write_whole(tmp_path / "job.json", slowly())
    assert (seen, (tmp_path / "job.json").read_bytes()) == ([b"quick"], b"slow but whole")
    assert [path.name for path in tmp_path.iterdir()] == ["job.json"]
    (tmp_path / f"{storage.UNFINISHED}0123abcd-other.json").write_bytes(b"half")
    storage.write_out(tmp_path / "job.json", b"quick")
    assert len([*tmp_path.iterdir()]) == 2, "what another file was to be is not this one's to clear away"


@pytest.mark.skipif(sys.platform == "win32", reason="modes and devices of POSIX")
def test_a_file_written_out_stays_readable_for_all_and_keeps_a_link(tmp_path: Path) -> None:
    """A book on a shared folder is for everyone there, and a device takes it as well."""
    real, link = tmp_path / "real.pdf", tmp_path / "link.pdf"
    mask = os.umask(0o022)
    try:
        write_file(real, b"one")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(real.stat().st_mode) == 0o644
    link.symlink_to(real)
    write_file(link, b"two")
    assert link.is_symlink()
    assert real.read_bytes() == b"two"
    write_file(Path(os.devnull), b"three")
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)
    with pytest.raises(InputError, match="nowhere"):
        write_file(real / "nowhere.pdf", b"four")


def _writes_plainly(call: ast.Call) -> bool:
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    if name != "open":
        return name in ("write_text", "write_bytes")
    words = [*call.args, *(word.value for word in call.keywords)]
    return any(
        isinstance(w, ast.Constant) and isinstance(w.value, str) and w.value[:1] in ("w", "a", "x") for w in words
    )


def test_every_file_that_is_kept_goes_through_the_one_durable_write() -> None:
    found = {
        str(path.relative_to(ROOT))
        for part in ("core", "plugins", "tablet_app")
        for path in (ROOT / part).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and _writes_plainly(node)
    }
    assert found == WHERE_NOTHING_IS_KEPT
