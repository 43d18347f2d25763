"""A large folder that did not change is not listed; whatever changed in it is told as if nothing had been noted."""

from __future__ import annotations

import os
import random
import shutil
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest

from campaigns.writers import entry_number
from garboard.disk import folder_names, hullfile, sizes, storage
from garboard.disk.folder_names import FILE, FolderNames
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import file_name
from garboard.disk.storage import UNFINISHED
from garboard.history.merge import MergeReport, merge
from garboard.hull_number import KnownElsewhere, KnownNumbers, _with_one_other, marks

LONG = "ABC00003A526WITHMORETHANANAMEHOLDS"
HULLS = ["ABC00001A526", "ABC00002A526", LONG, "COB45678C393", "USABC00007A526"]
ALIKE = "ABC00007A526"


@pytest.fixture(autouse=True)
def _few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hullfile, "MOST_LISTED", 0)
    monkeypatch.setattr(sizes, "_LONGEST_UNSORTED", 0)


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock is ahead: nothing in a folder changed within the last seconds."""
    monkeypatch.setattr(folder_names, "COARSEST_CLOCK", -60_000_000_000)


@pytest.fixture
def listed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the folders that were listed."""
    names: list[str] = []
    really = os.scandir

    def noted(folder: str | Path) -> Any:
        names.append(str(folder))
        return really(folder)

    monkeypatch.setattr(os, "scandir", noted)
    return names


@pytest.fixture
def shop(tmp_path: Path, later: None) -> Path:
    """Opened twice: what was noted is sorted, and then so are the names."""
    with HullFolder(tmp_path / "shop") as folder, folder.batch():
        for hull in HULLS:
            folder.put_if_absent(hull, [entry_number(1, hull)])
    for _ in range(2):
        with HullFolder(tmp_path / "shop") as folder:
            assert folder.damage() == ()
    assert (tmp_path / "shop" / FILE).exists()
    return tmp_path / "shop"


def tablet(folder: Path, *hulls: str) -> Path:
    with HullFolder(folder) as held, held.batch():
        for hull in hulls:
            held.put_if_absent(hull, [entry_number(7, hull, folder.name)])
    return folder


def merged(source: Path, shop: Path) -> MergeReport:
    with HullFolder(source, read_only=True) as bringing, HullFolder(shop) as folder:
        return merge([bringing], folder)


def test_a_merge_of_known_boats_lists_no_folder_that_is_as_it_was_noted(
    shop: Path, tmp_path: Path, listed: list[str]
) -> None:
    source = tablet(tmp_path / "tablet", HULLS[0], HULLS[3])
    listed.clear()
    report = merged(source, shop)
    assert (report.complete, report.received, report.damage) == (True, 2, ())
    assert [hull.look_alikes for hull in report.hulls] == [("ABC00002A526",), ()]
    assert str(shop / "hulls") not in listed
    (shop / FILE).unlink()
    assert merged(tablet(tmp_path / "other", HULLS[0]), shop).hulls[0].look_alikes == ("ABC00002A526",)
    assert str(shop / "hulls") in listed


def test_a_number_that_came_since_is_a_look_alike_of_the_next(shop: Path, tmp_path: Path) -> None:
    first = merged(tablet(tmp_path / "a", ALIKE), shop)
    assert first.hulls[0].look_alikes == ("USABC00007A526", "ABC00001A526", "ABC00002A526")
    second = merged(tablet(tmp_path / "b", HULLS[0], "ABC00008A526"), shop)
    assert [hull.look_alikes for hull in second.hulls] == [
        ("ABC00002A526", ALIKE, "ABC00008A526"),
        ("ABC00001A526", "ABC00002A526", ALIKE),
    ]


def _removed(hulls: Path) -> None:
    (hulls / file_name(HULLS[1])).unlink()


def _renamed(hulls: Path) -> None:
    (hulls / file_name(HULLS[1])).rename(hulls / "kept")


def _exchanged(hulls: Path) -> None:
    """A copy of the whole folder, put in its place."""
    shutil.copytree(hulls, hulls.parent / "copy")
    shutil.rmtree(hulls)
    (hulls.parent / "copy").rename(hulls)
    (hulls / file_name(HULLS[1])).unlink()


@pytest.mark.parametrize("change", [_removed, _renamed, _exchanged])
@pytest.mark.parametrize("read_only", [True, False])
def test_a_hull_file_that_went_is_told_as_gone(shop: Path, change: Callable[[Path], None], read_only: bool) -> None:
    change(shop / "hulls")
    for _ in range(2):
        with HullFolder(shop, read_only=read_only) as folder:
            assert [damage.file.name for damage in folder.damage()] == [file_name(HULLS[1])]


def test_what_was_left_unfinished_is_cleared_away(shop: Path) -> None:
    left = shop / "hulls" / f"{UNFINISHED}{file_name(ALIKE)}"
    left.write_bytes(b"half")
    HullFolder(shop).close()
    assert not left.exists()


def new_boat(shop: Path, tablet_folder: Path, hull: str) -> MergeReport:
    return merged(tablet(tablet_folder, HULLS[0], hull), shop)


def test_a_merge_that_brings_a_new_boat_lists_no_folder_either(shop: Path, tmp_path: Path, listed: list[str]) -> None:
    """Counted: one boat after another comes, and each is a look-alike of the next."""
    for number, alike in enumerate(["ABC00002A526", "ABC00003A526", "ABC00004A526"]):
        hull = f"ABC0000{number + 3}A526"
        report = new_boat(shop, tmp_path / f"tablet-{number}", hull)
        assert (report.complete, report.received, report.damage) == (True, 2, ())
        assert alike in next(one for one in report.hulls if one.hull == hull).look_alikes
    with HullFolder(shop) as folder:
        assert folder.damage() == ()
    assert str(shop / "hulls") not in listed


def test_a_boat_that_came_and_went_is_told_as_gone(shop: Path, tmp_path: Path) -> None:
    """However soon after: the folder has a time of its own by then, which a change does not give it."""
    new_boat(shop, tmp_path / "tablet", ALIKE)
    (shop / "hulls" / file_name(ALIKE)).unlink()
    (shop / "hulls" / file_name(HULLS[1])).unlink()
    with HullFolder(shop) as folder:
        assert [one.file.name for one in folder.damage()] == sorted(map(file_name, (HULLS[1], ALIKE)))


@pytest.mark.parametrize("when", ["before", "after", "its time put back"])
def test_what_others_change_while_a_boat_comes_is_found_by_a_listing(
    shop: Path, tmp_path: Path, listed: list[str], when: str
) -> None:
    gone = shop / "hulls" / file_name(HULLS[1])
    source = tablet(tmp_path / "tablet", HULLS[0], ALIKE)
    with HullFolder(source, read_only=True) as bringing, HullFolder(shop) as folder:
        assert folder.damage() == ()
        if when == "before":
            gone.unlink()
        merge([bringing], folder)
        assert [one.file for one in folder.damage()] == ([gone] if when == "before" else [])
        before = gone.parent.stat()
        if when != "before":
            gone.unlink()
        if when == "its time put back":
            time.sleep(0.02)  # a tick of the clock: the other time, which nobody can set, is a later one
            os.utime(gone.parent, ns=(before.st_atime_ns, before.st_mtime_ns))
    with HullFolder(shop) as folder:
        assert [one.file for one in folder.damage()] == [gone]
    assert str(shop / "hulls") in listed


def test_a_program_killed_before_it_noted_a_new_name_costs_a_listing(
    shop: Path, tmp_path: Path, listed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as killed:
        killed.setattr(FolderNames, "note", lambda _: None)
        new_boat(shop, tmp_path / "a", ALIKE)
    assert str(shop / "hulls") not in listed
    report = new_boat(shop, tmp_path / "b", "ABC00008A526")
    assert ALIKE in report.hulls[1].look_alikes
    assert str(shop / "hulls") in listed


def _dies_at(call: int, source: Path, shop: Path) -> bool:
    """Merge in a process of its own that is gone, without a word, before so many calls of the system were made.

    returns : whether it died; else it had fewer calls to make
    """
    if (child := os.fork()) == 0:
        left = [call]

        def counted(work: Callable[..., Any]) -> Callable[..., Any]:
            def counts(*arguments: Any, **options: Any) -> Any:
                left[0] -= 1
                if left[0] < 0:
                    os._exit(9)
                return work(*arguments, **options)

            return counts

        for name in ("utime", "replace", "fsync", "write", "stat"):
            setattr(os, name, counted(getattr(os, name)))
        merged(source, shop)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


def test_a_merge_killed_anywhere_hides_no_name_and_no_lack(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One boat more each time; then one that is taken away is told, whatever the killed program had noted."""
    monkeypatch.setattr(storage, "flush_folder", lambda _: None)
    call, number = 0, 10
    while True:
        hull = f"ABC000{number}A526"
        has_died = _dies_at(call, tablet(tmp_path / f"tablet-{number}", HULLS[0], hull), shop)
        path = shop / "hulls" / file_name(hull)
        with HullFolder(shop) as folder:
            assert folder.damage() == ()
            assert (hull in folder.known_numbers([]).look_alikes(f"ABC000{number}A527")) == path.exists()
        if path.exists():
            kept = path.rename(tmp_path / "kept")
            with HullFolder(shop) as folder:
                is_noted = folder._sizes.least(path.name) > 0
                assert [one.file for one in folder.damage()] == ([path] if is_noted else [])
                folder.forget_gone(hull)
            kept.unlink()
        if not has_died:
            break
        call, number = call + 7, number + 1
    assert number > 15


@pytest.mark.parametrize("step", [1_000_000_000, 2_000_000_000])
def test_a_folder_whose_time_is_kept_coarsely_is_listed_each_time(
    shop: Path, tmp_path: Path, listed: list[str], monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    really = os.utime
    monkeypatch.setattr(os, "utime", lambda path, ns: really(path, ns=(ns[0], ns[1] // step * step)))
    for number in range(2):
        new_boat(shop, tmp_path / f"tablet-{number}", f"ABC0000{number + 6}A526")
        listed.clear()
        with HullFolder(shop) as folder:
            assert folder.damage() == ()
        assert str(shop / "hulls") in listed


def test_a_folder_that_may_not_be_given_a_time_is_believed_once_it_is_older_than_a_tick(
    shop: Path, listed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: Any, **__: Any) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "utime", refused)
    for is_young in (True, False):
        monkeypatch.setattr(folder_names, "COARSEST_CLOCK", (1 if is_young else -1) * 60_000_000_000)
        (shop / FILE).unlink()
        for _ in range(2):
            listed.clear()
            with HullFolder(shop) as folder:
                assert folder.damage() == ()
        assert (str(shop / "hulls") in listed, (shop / FILE).exists()) == (is_young, not is_young)
        shop.joinpath(FILE).touch()


@pytest.mark.parametrize("later", [folder_names.LISTED_EVERY, -3600 * 10**9])
def test_a_listing_is_believed_for_a_day_and_not_before_it_was_made(
    shop: Path, listed: list[str], monkeypatch: pytest.MonkeyPatch, later: int
) -> None:
    really = time.time_ns
    listed.clear()
    HullFolder(shop).close()
    assert listed == []
    monkeypatch.setattr("garboard.disk.folder_names.time.time_ns", lambda: really() + later)
    with HullFolder(shop) as folder:
        assert folder.damage() == ()
    assert str(shop / "hulls") in listed


def test_a_filter_that_is_full_is_made_anew(shop: Path, tmp_path: Path, listed: list[str]) -> None:
    many = [f"QQZ{number:05d}D626" for number in range(60)]
    merged(tablet(tmp_path / "tablet", *many), shop)
    sizes_before = (shop / FILE).stat().st_size
    for _ in range(2):
        with HullFolder(shop) as folder:
            assert folder.damage() == ()
    assert str(shop / "hulls") in listed
    assert (shop / FILE).stat().st_size > sizes_before
    names = FolderNames(shop, shop / "hulls")
    assert names.has_all_numbers()
    assert set(names.may_have(many)) == set(many)
    for number in (many[5], "QQZ04417D626", "USABC00001A526", "A", "0" * 40):
        assert names.may_have_beside(number) == names.may_have(_with_one_other(number))
    assert len(names.may_have_beside(many[5])) > 20


@pytest.mark.parametrize(
    "harm", ["cut", "flipped", "newer", "of other notes", "of another folder", "when it was", "empty"]
)
def test_names_that_prove_nothing_are_passed_over_and_noted_again(shop: Path, harm: str, listed: list[str]) -> None:
    whole = (shop / FILE).read_bytes()
    mark = (shop / sizes.SORTED).read_bytes().split(b"\n")[0].split(b" ")[-2]
    harmed = {
        "cut": whole[:-1],
        "flipped": whole[:-1] + bytes([whole[-1] ^ 1]),
        "newer": whole.replace(b"names 2", b"names 3", 1),
        "of another folder": whole.replace(b".", b".1", 1),
        "when it was": whole.replace(b" 1", b" 2", 1),
        "of other notes": whole.replace(mark, b"00000000", 1),
        "empty": b"",
    }[harm]
    assert harmed != whole
    (shop / FILE).write_bytes(harmed)
    listed.clear()
    with HullFolder(shop) as folder:
        assert folder.known_numbers([]).look_alikes(HULLS[0]) == ("ABC00002A526",)
        assert folder.damage() == ()
    assert str(shop / "hulls") in listed
    assert (shop / FILE).read_bytes() != harmed
    listed.clear()
    HullFolder(shop).close()
    assert listed == []


@pytest.mark.parametrize("seed", range(4))
def test_look_alikes_are_the_same_whether_laid_out_or_looked_up(seed: int) -> None:
    """Letters that read as numerals, a country code, a slip, signs spelled out, and some that are not known."""
    chance = random.Random(seed)

    def slip(number: str) -> str:
        at = chance.randrange(len(number) - 1)
        other = chance.choice("0O1IQ7AZ")
        return chance.choice(
            [
                number[:at] + other + number[at + 1 :],
                number[:at] + number[at + 1] + number[at] + number[at + 2 :],
                number.replace("0", "O", 1),
                f"{chance.choice(['US', 'CA', 'FR'])}{number}",
                number[2:] or number,
                number[:at] + other + number[at:],
                number.replace("A", "U0410", 1),
                f"{number}U200B",
            ]
        )

    numbers = [f"{chance.choice(['ABC', 'COB', 'QI0'])}{chance.randrange(30):05d}A526" for _ in range(25)]
    for _ in range(3):
        numbers += [slip(number) for number in numbers[:40]]
    everything = sorted({*numbers, "SHOPSETTINGSNOBOAT"})
    there, others = [*everything[::3], *everything[1::3]], everything[2::3]
    of_those = {mark for number in there for mark in marks(number)}

    def may_be(asked: Iterable[str]) -> list[str]:
        return [mark for mark in asked if mark in of_those or crc32(mark.encode()) % 50 == seed]

    laid_out = KnownNumbers(everything)
    looked_up = KnownElsewhere(
        may_be,
        lambda typed: may_be(_with_one_other(typed)),
        there.__contains__,
        lambda: laid_out,
        others,
    )
    alike = {number: laid_out.look_alikes(number) for number in [*everything, *map(slip, everything), "0" * 14]}
    assert {number: looked_up.look_alikes(number) for number in alike} == alike
    assert sum(map(bool, alike.values())) > 100
