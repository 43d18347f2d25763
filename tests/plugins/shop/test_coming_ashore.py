"""Coming ashore by itself, from a thread beside the work."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import pytest

from campaigns.writers import entry_number
from garboard.disk.hullfile import HullFolder
from garboard.disk.storage import NotSaved
from garboard.shop_link import ashore, pairing
from garboard.shop_link.ashore import ASHORE, AWAY, REFUSED, RESTING, UNDER_WAY, ComingAshore, State
from shop_rig import RunningShop

HULL = "ABC00001A526"
PATIENCE = 60.0


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[HullFolder]:
    with HullFolder(tmp_path / "tablet") as hulls:
        hulls.save(entry_number(1, HULL))
        yield hulls


def until(condition: Callable[[], bool]) -> None:
    """Wait until something holds; a failing test rather than a hanging one."""
    give_up = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < give_up, "it never came to hold"
        time.sleep(0.005)


def test_it_comes_ashore_by_itself_and_tells_each_step(folder: HullFolder, tmp_path: Path) -> None:
    told: list[State] = []
    with RunningShop(tmp_path / "shop") as shop:
        pairing.keep(folder.folder, shop.paired())
        coming = ComingAshore(folder, told.append)
        coming.start()
        until(lambda: coming.state.word == ASHORE)
        assert coming.stop(PATIENCE)
        assert shop.store.ids(HULL) == folder.ids(HULL)
    assert [state.word for state in told][:1] == [UNDER_WAY]
    assert ("entries", 1, 1) in [(state.doing, state.done, state.of) for state in told]
    report = told[-1].report
    assert report is not None
    assert (report.sent, report.equal) == (1, True)
    assert told[-1].at > 0


def test_while_the_shop_is_away_it_tries_again_until_it_answers(
    folder: HullFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ashore, "look_for", lambda shop: None)
    told: list[State] = []
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired()
        pairing.keep(folder.folder, attrs.evolve(paired, port=1))
        coming = ComingAshore(folder, told.append, first_wait=0.01)
        coming.start()
        until(lambda: [state.word for state in told].count(AWAY) >= 3)
        pairing.keep(folder.folder, paired)
        until(lambda: coming.state.word == ASHORE)
        assert coming.stop(PATIENCE)
    assert "no answer from 127.0.0.1:1" in told[1].reason


def test_a_removed_tablet_is_told_once_and_not_tried_again_by_itself(folder: HullFolder, tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired()
        pairing.keep(folder.folder, paired)
        shop.store.register.remove_tablet(paired.tablet, "M. Office", shop.now())
        told: list[State] = []
        coming = ComingAshore(folder, told.append, every=0.01, first_wait=0.01)
        coming.start()
        until(lambda: coming.state.word == REFUSED)
        assert "was removed" in coming.state.reason
        time.sleep(0.2)
        assert [state.word for state in told] == [UNDER_WAY, REFUSED]
        pairing.keep(folder.folder, shop.paired("again"))
        coming.now()
        until(lambda: coming.state.word == ASHORE)
        assert coming.stop(PATIENCE)


def test_a_full_disk_at_the_shop_is_told_and_tried_again_later(
    folder: HullFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int, _data: bytes, _size: int) -> None:
        raise NotSaved("the disk is full")

    with RunningShop(tmp_path / "shop") as shop:
        pairing.keep(folder.folder, shop.paired())
        coming = ComingAshore(folder, every=0.05)
        with monkeypatch.context() as patch:
            patch.setattr("garboard.disk.storage.append", full)
            coming.start()
            until(lambda: coming.state.word == REFUSED)
            assert "the disk is full" in coming.state.reason
        until(lambda: coming.state.word == ASHORE)
        assert coming.stop(PATIENCE)


def test_without_a_shop_it_rests_until_one_is_paired(folder: HullFolder, tmp_path: Path) -> None:
    coming = ComingAshore(folder)
    coming.start()
    until(lambda: coming.state.reason == "no shop is paired")
    assert coming.state.word == RESTING
    with RunningShop(tmp_path / "shop") as shop:
        pairing.keep(folder.folder, shop.paired())
        coming.now()
        until(lambda: coming.state.word == ASHORE)
        assert coming.stop(PATIENCE)


def test_what_is_saved_later_comes_ashore_the_next_time(folder: HullFolder, tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        pairing.keep(folder.folder, shop.paired())
        coming = ComingAshore(folder, every=0.05)
        coming.start()
        until(lambda: coming.state.word == ASHORE)
        name = folder.save(entry_number(2, HULL))
        until(lambda: name in shop.store.ids(HULL))
        assert coming.stop(PATIENCE)


def test_a_fault_of_the_program_is_told_and_does_not_end_the_thread_unseen(
    folder: HullFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        pairing.keep(folder.folder, shop.paired())
        coming = ComingAshore(folder)
        with monkeypatch.context() as patch:
            patch.setattr(ashore, "bring_ashore", lambda *_, **__: 1 / 0)
            coming.start()
            until(lambda: coming.state.word == REFUSED)
            assert "ZeroDivisionError" in coming.state.reason
        coming.now()
        until(lambda: coming.state.word == ASHORE)
        assert coming.stop(PATIENCE)


def test_a_shop_found_at_another_address_is_remembered_there(
    folder: HullFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired()
        before = attrs.evolve(paired, port=1)
        pairing.keep(folder.folder, before)
        monkeypatch.setattr(ashore, "look_for", lambda _shop: paired)
        report = ashore.bring_ashore_where_it_is(folder, before)
        assert report.equal
        assert pairing.kept(folder.folder) == paired


def test_a_pairing_made_while_the_shop_was_found_at_another_address_stands(
    folder: HullFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its code works once: a token lost is a code lost."""
    with RunningShop(tmp_path / "shop") as shop:
        paired, anew = shop.paired(), shop.paired("paired anew")
        before = attrs.evolve(paired, port=1)
        pairing.keep(folder.folder, before)
        monkeypatch.setattr(ashore, "look_for", lambda _shop: paired)
        ashore.bring_ashore_where_it_is(folder, before, lambda _what, _done, _of: pairing.keep(folder.folder, anew))
        assert pairing.kept(folder.folder) == anew
