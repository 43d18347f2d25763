"""A boat's file that is gone or cut is told on the first page and where it says that all is saved, until it is back."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.history.authoring import Author, measure
from garboard.history.merge import merge
from garboard.history.replay import replay

HERE, OTHER = "QQZ04417D626", "QQZ04418D626"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A tablet with two boats, and a copy of it beside."""
    tablet = tmp_path / "tablet"
    for hull in (HERE, OTHER):
        with HullFolder(tablet) as hulls:
            for speed in ("31 kn", "32 kn"):
                state = replay(hull, hulls.entries(hull))
                hulls.save(measure(Author("a", "A. Hand"), state, "job-1", "trial", "speed", speed))
    shutil.copytree(tablet, tmp_path / "copy")
    return tablet


def looked(drive: Any, folder: Path) -> Any:
    d = drive(folder)
    d.app.watch.look()
    d.step(2)
    return d


def test_a_tablet_with_all_its_files_says_that_all_is_saved(drive: Any, folder: Path) -> None:
    d = looked(drive, folder)
    assert d.app.tablet.amiss == ()
    assert d.says("All is saved")
    assert d.says("2 on this tablet")
    assert not d.says("look here")


def test_a_file_that_is_gone_is_told_until_somebody_says_that_it_was_removed_on_purpose(
    drive: Any, folder: Path
) -> None:
    (folder / HULLS_FOLDER / file_name(HERE)).unlink()
    d = looked(drive, folder)
    assert d.says("1 on this tablet, 1 file gone")
    assert d.says(f"The file of hull {HERE} is gone from this tablet. It held 2 entries when it was last saved.")
    assert d.says("Pair this tablet with the shop and bring ashore")
    assert not d.says("All is saved")
    d.press("settings")
    assert d.says("Not all is here: see Vessels")
    d.seek(f"removed {file_name(HERE)}")
    assert d.says("All is saved")
    d.app.watch.look()
    assert d.app.tablet.amiss == ()


def test_a_file_that_was_cut_is_told_until_a_merge_brings_the_rest_back(
    drive: Any, folder: Path, tmp_path: Path
) -> None:
    path = folder / HULLS_FOLDER / file_name(HERE)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]))
    d = looked(drive, folder)
    assert d.says("2 on this tablet")
    assert d.says(f"The file of hull {HERE} was found damaged. It lacks {len(lines[-1])} bytes at its end")
    assert d.says("which held 1 entry")
    assert d.says("Not all is here: see Vessels")
    with HullFolder(tmp_path / "copy", read_only=True) as copy:
        merge([copy], d.app.tablet.files)
    d.app.watch.look()
    d.step(2)
    assert d.app.tablet.amiss == ()
    assert d.says("All is saved")
