"""A new job: the hull number is checked as it is typed, and a good one is read back.

What may stand where: 33 CFR 181.25 (serial without I, O and Q; month letters A to L).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from garboard_tablet.models.vessels import check_hull
from tablet.driver import Drive, new_job


@pytest.mark.parametrize(
    ("typed", "positions"),
    [("XYZ0I234M52", [5, 9]), ("XYZ0I", [5]), ("XYZ0I234M526", [5, 9]), ("XYZAB123F52", []), ("X", []), ("", [])],
)
def test_every_fault_of_what_is_typed_is_named_while_it_is_typed(typed: str, positions: list[int]) -> None:
    """Too short is no reason to keep quiet about the rest, and what is right so far has no fault."""
    check = check_hull(typed, [])
    assert [int(fault.split()[1].rstrip(":")) for fault in check.faults] == positions
    assert bool(check.lacks) == (len(typed) < 12)
    assert not check.reading


def test_a_number_with_its_country_is_checked_at_its_own_places() -> None:
    """The country's two letters come before position 1 of the twelve."""
    assert check_hull("CA-XYZAB12", []).faults == ()
    assert "14" in check_hull("CA-XYZAB12", []).lacks
    assert len(check_hull("CA-XYZ0I12", []).faults) == 1


def test_a_good_number_is_read_back() -> None:
    """Maker, serial, month and year, to compare with the boat before the job is opened."""
    check = check_hull("XYZAB123F526", [])
    assert check.reading == "Maker XYZ, serial AB123, June of a year ending in 5, model year 2026."
    assert (check.faults, check.lacks) == ((), "")


def test_letters_and_digits_are_all_in_sight(drive: Drive) -> None:
    """A number costs as many touches as it has characters; nothing has to be turned over."""
    d = drive()
    d.press("new job")
    before = d.touches
    for character in "XYZAB123F526":
        d.press(f"key {character}")
    assert d.touches - before == 12
    assert d.says("Maker XYZ, serial AB123")
    opens = d.find("open job")
    assert opens.kind == "main"
    keys = [w for w in d.widgets() if getattr(w, "name", "").startswith("key ")]
    assert all(key.right <= opens.right + 1 and key.y >= opens.y - 1 for key in keys), "it is the lower right key"


def test_a_faulty_number_is_opened_only_after_looking_again(drive: Drive) -> None:
    """The faults stand first; opening it anyway is possible, asks once more, and is never the strong press."""
    d = drive()
    d.press("new job")
    for character in "XYZ0I234A526":
        d.press(f"key {character}")
    assert d.says("Position 5")
    assert d.says("look again")
    assert (d.find("open job").kind, d.find("open job").text) == ("plain", "Open anyway")
    fault = next(w for w in d.widgets() if "Position 5" in getattr(w, "text", ""))
    assert fault.y > d.find("open job").y
    d.press("open job")
    assert d.find("open job").kind == "plain"
    assert d.app.tablet.files.hulls() == ()
    d.press("open job")
    assert d.app.tablet.files.hulls() == ("XYZ0I234A526",)


def test_the_list_does_not_say_none_before_the_boats_were_read(drive: Drive, tmp_path: Path) -> None:
    """A folder filled elsewhere has boats and no list yet. Until their files were read, nobody knows of none."""
    d = drive(tmp_path / "filled")
    new_job(d)
    (d.app.tablet.folder / "vessels.json").unlink(missing_ok=True)
    d.app.vessels.lines.clear()
    d.app.vessels.is_looked_through = False
    d.app.way.home()
    assert d.says("Reading the boats")
    assert not d.says("None on this tablet yet")
    assert not d.says("Press New job")
    d.app.watch.look()
    d.step(3)
    assert d.says("1 on this tablet")


@pytest.mark.usefixtures("settled_soon")
def test_an_empty_folder_says_none_once_it_was_looked_through(drive: Drive, tmp_path: Path) -> None:
    d = drive(tmp_path / "empty")
    d.wait(lambda: d.says("None on this tablet yet"))
    assert d.says("Press New job")
