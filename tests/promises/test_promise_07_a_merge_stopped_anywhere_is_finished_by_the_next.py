"""Promise 7: a merge that stops at any byte leaves both sides valid, and the next one finishes it.

The long campaign:
python tests/campaigns/kill_campaign.py --kills 2000
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import attrs
import pytest

from campaigns import kill_campaign
from campaigns.writers import entry_number
from examples import anew
from garboard.disk import journal, storage
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.disk.storage import NotSaved
from garboard.history.merge import merge

HULLS = ("ABC00001A526", "ABC00002A526", "XYZHJKLMF626")
HELD = [entry_number(number, HULLS[0]) for number in range(2)]
COMING = [entry_number(number, hull) for hull in HULLS for number in range(2, 5)]
PHOTO = b"a photo"


def _fill(folder: Path, entries: list[Entry], photo: bytes = b"") -> None:
    with HullFolder(folder) as held:
        for entry in entries:
            held.save(entry)
        if photo:
            held.attachments.put(photo)


def _bytes_of(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != storage.LOCK_NAME
    }


def _merge(source: Path, target: Path) -> None:
    with HullFolder(source, read_only=True) as theirs, HullFolder(target) as ours:
        merge([theirs], ours)


def _expect_valid(target: Path) -> None:
    """What was there before is there, what came is true, and nothing else is."""
    true = {entry.id: entry.raw for entry in [*HELD, *COMING]}
    with HullFolder(target, read_only=True) as ours:
        held = {name: raw for hull in ours.hulls() for name, raw in ours.get(hull).items()}
        assert held.items() <= true.items()
        assert held.keys() >= {entry.id for entry in HELD}
        assert all(ours.attachments.get(name) == PHOTO for name in ours.attachments.names())


def _expect_finished(source: Path, target: Path) -> None:
    """The next merge brings everything, and leaves no damage behind."""
    with HullFolder(source, read_only=True) as theirs, HullFolder(target) as ours:
        assert merge([theirs], ours).complete
    with HullFolder(target) as ours:
        held = {name for hull in ours.hulls() for name in ours.ids(hull)}
        assert held == {entry.id for entry in [*HELD, *COMING]}
        assert [ours.attachments.get(name) for name in ours.attachments.names()] == [PHOTO]
        assert ours.damage() == ()


@pytest.fixture
def sides(tmp_path: Path) -> tuple[Path, Path]:
    """A tablet with a day's work, and a shop that holds a part of it."""
    _fill(tmp_path / "tablet", COMING + HELD[:1], PHOTO)
    _fill(tmp_path / "shop", [*HELD])
    return tmp_path / "tablet", tmp_path / "shop"


@pytest.mark.parametrize("hull", HULLS[:2], ids=["a hull the shop knows", "a new hull"])
def test_p7_a_merge_cut_off_at_any_byte_is_finished_by_the_next(
    sides: tuple[Path, Path], hull: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shop's file ends at byte after byte: what stood before the merge is there, and the next merge ends it."""
    monkeypatch.setattr(storage, "flush", lambda _descriptor: None)  # what matters here is what stands in the files
    monkeypatch.setattr(storage, "flush_folder", lambda _folder: None)
    source, target = sides
    path = target / "hulls" / journal.file_name(hull)
    before = len(path.read_bytes()) if path.exists() else 0
    _merge(source, target)
    merged = path.read_bytes()
    assert len(merged) - before > 800
    ends = (size for begin in anew(9) for size in range(before + begin, len(merged), 9))
    for size in (before, *ends, len(merged) - 1):
        print(f"the file ends at byte {size} of {len(merged)}")  # shown where the test fails
        path.write_bytes(merged[:size])
        _expect_valid(target)
        _expect_finished(source, target)
        for kept in path.parent.glob("*.damaged-*"):
            kept.unlink()
        path.write_bytes(merged)


def test_p7_what_a_flipped_bit_costs_the_next_merge_brings_back(sides: tuple[Path, Path]) -> None:
    """A bit in every part of a merged file: at most one entry is missing, and after the next merge none is."""
    source, target = sides
    path = target / "hulls" / journal.file_name(HULLS[1])
    _merge(source, target)
    merged = path.read_bytes()
    lost = 0
    for place in range(0, len(merged), 29):
        path.write_bytes(merged[:place] + bytes([merged[place] ^ 1 << place % 8]) + merged[place + 1 :])
        with HullFolder(target, read_only=True) as ours:
            missing = 3 - len(ours.ids(HULLS[1]))
        assert missing in (0, 1)
        lost += missing
        _expect_finished(source, target)
    assert lost > 10


@attrs.define
class Failing:
    """Lets so many calls pass, then fails one, or every one from then on."""

    passing: int
    failure: Callable[[], BaseException]
    for_good: bool
    seen: int = 0

    @property
    def has_failed(self) -> bool:
        return self.seen > self.passing

    def around(self, call: Callable[..., object]) -> Callable[..., object]:
        def wrapped(*arguments: object, **named: object) -> object:
            self.seen += 1
            if self.seen == self.passing + 1 or (self.for_good and self.has_failed):
                raise self.failure()
            return call(*arguments, **named)

        return wrapped


def _disk_error() -> OSError:
    return OSError(errno.EIO, os.strerror(errno.EIO))


@pytest.mark.parametrize("for_good", [False, True], ids=["once", "for good"])
@pytest.mark.parametrize("failure", [_disk_error, KeyboardInterrupt], ids=["the disk fails", "a person stops it"])
def test_p7_a_merge_that_fails_at_any_write_flush_or_rename_is_finished_by_the_next(
    tmp_path: Path, failure: Callable[[], BaseException], for_good: bool
) -> None:
    """The first, second, third ... call to the disk fails, until the merge gets through untouched."""
    source = tmp_path / "tablet"
    _fill(source, COMING + HELD[:1], PHOTO)
    as_it_was = _bytes_of(source)
    for passing in range(100):
        target = tmp_path / f"shop-{passing}"
        _fill(target, [*HELD])
        failing = Failing(passing, failure, for_good)
        with pytest.MonkeyPatch.context() as patch, HullFolder(source, read_only=True) as theirs:
            ours = HullFolder(target)
            for name in ("write", "fsync", "replace", "rename", "mkdir", "open"):
                patch.setattr(os, name, failing.around(getattr(os, name)))
            try:
                merge([theirs], ours)
            except (NotSaved, KeyboardInterrupt):
                assert failing.has_failed
            finally:
                patch.undo()
                ours.close()
        _expect_valid(target)
        _expect_finished(source, target)
        assert _bytes_of(source) == as_it_was
        if not failing.has_failed:
            break
    else:
        raise AssertionError("the merge never got through")
    assert passing > 12, "a merge of three hulls and a photo asks the disk more often than that"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing a child at a random moment needs fork")
def test_p7_a_merge_killed_at_any_moment_is_finished_by_the_next(tmp_path: Path) -> None:
    """Killed with no chance to tidy up: what was called merged is there, and the next merge makes both sides equal."""
    tally = kill_campaign.kill_whole_merges(25, seed=7, where=tmp_path)
    assert tally.saved > 0
    assert (tally.lost, tally.damaged, tally.unequal) == (0, 0, 0), str(tally)
