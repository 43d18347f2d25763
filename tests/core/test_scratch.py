"""What a killed program left among the system's temporary files goes when the next starts, and nothing else does."""

from __future__ import annotations

import os
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from garboard.disk import storage
from garboard.disk.scratch import IN_USE, ScratchFolder, clear_away
from garboard.disk.storage import FolderInUse
from garboard.report.data_files import write_tables
from garboard.report.press import _files


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stands for the system's folder of temporary files."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


class Child:
    """A process of its own that makes tables and a book's files, and ends only when it is killed."""

    def __init__(self) -> None:
        reading, writing = os.pipe()
        self.pid = os.fork()
        if not self.pid:
            os.close(reading)
            try:
                with _files({"photo.jpg": b"dots"}), ScratchFolder("made") as folder:
                    (Path(folder) / "tables.zip").write_bytes(b"half")
                    write_tables(self._never(writing), Path(folder) / "out.zip", lambda *_: None)
            finally:
                os._exit(1)
        os.close(writing)
        assert os.read(reading, 1) == b"!"
        os.close(reading)

    def _never(self, writing: int) -> Iterator[Any]:
        os.write(writing, b"!")
        while True:
            signal.pause()
            yield

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)


def kinds(place: Path) -> list[str]:
    return sorted(path.name.split("-")[1] for path in place.glob("garboard-*"))


def test_what_killed_programs_left_goes_and_what_living_ones_use_stays(place: Path) -> None:
    dead, living = Child(), Child()
    mine = ScratchFolder("made")
    dead.kill()
    assert kinds(place) == ["book", "book", "made", "made", "made", "tables", "tables"], "a kill leaves what was made"
    left = {path.name for path in place.iterdir()}
    with ScratchFolder("merge") as folder:
        assert kinds(place) == ["book", "made", "made", "merge", "tables"]
        assert (Path(folder) / IN_USE).exists()
    assert left > {path.name for path in place.iterdir()}
    assert Path(mine.name).is_dir()
    living.kill()
    mine.cleanup()
    clear_away()
    assert kinds(place) == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with a name")
def test_a_pipe_where_a_lock_should_be_stops_no_program(place: Path) -> None:
    (place / "garboard-book-abcdefgh").mkdir()
    os.mkfifo(place / "garboard-book-abcdefgh" / IN_USE)
    clear_away()
    assert kinds(place) == []


def test_what_is_not_of_this_program_stays(place: Path) -> None:
    others = ["garboard-made-abcdefgh", "garboard-notes", "other-made-abcdefgh", "garboard-made-abcdefg"]
    for name in others:
        (place / name).mkdir()
        (place / name / "kept").write_bytes(b"somebody's")
    (place / "garboard-book-abcdefgh").symlink_to(place / "other-made-abcdefgh")
    (place / "other-made-abcdefgh" / IN_USE).touch()
    (place / "garboard-tables-abcdefgh").touch()
    clear_away()
    assert all((place / name / "kept").exists() for name in others)
    assert {path.name for path in place.iterdir()} == {*others, "garboard-book-abcdefgh", "garboard-tables-abcdefgh"}


def test_one_cleared_away_before_it_was_locked_is_made_again(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hold, asked = storage.hold, list[Path]()

    def held(path: Path) -> int:
        asked.append(path)
        if len(asked) == 1:
            path.parent.rmdir()  # another program saw an empty folder
        if len(asked) == 2:
            raise FolderInUse("another program looks at it at this moment")
        return hold(path)

    monkeypatch.setattr(storage, "hold", held)
    with ScratchFolder("made") as folder:
        assert [path.name for path in place.iterdir()] == [Path(folder).name]
    assert len(asked) == 3
    assert [*place.iterdir()] == []
