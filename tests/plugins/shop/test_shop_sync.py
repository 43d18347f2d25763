"""A tablet brings its folder ashore to a running shop server, over real TLS on loopback."""

from __future__ import annotations

import hashlib
import os
import shutil
import threading
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import attrs
import pytest
from starlette.types import Receive, Scope, Send

from campaigns.writers import entry_number
from garboard.commands.ashore import readable_report
from garboard.disk.documents import DocumentDamaged
from garboard.disk.hullfile import HullFolder
from garboard.disk.shop_document import FILE
from garboard.disk.storage import NotSaved
from garboard.history.authoring import measure, sign_off
from garboard.history.replay import HullState, replay
from garboard.records import JsonValue
from garboard.shop_link import pairing, sync
from garboard.shop_link.ashore import ASHORE, State
from garboard.shop_link.sync import NotPaired, NotTheShop, ShopAway, ShopRefused, bring_ashore, keep_trying
from garboard_shop.app import Limits
from garboard_shop.embedded import EmbeddedStore
from garboard_tablet.models.ashore import lines_of
from histories import DAY, HULL, JOB, tablet
from shop_rig import RunningShop, Wire, shop_and_tablets

OTHER = "ABC00001A526"
STEP, FIELD = "prop_check.runs", "speed"


def test_both_sides_hold_the_same_afterwards_and_both_are_counted(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path, 2) as (shop, [(one, first), (two, second)]):
        one.put_if_absent(HULL, [entry_number(number, HULL) for number in range(30)])
        two.put_if_absent(OTHER, [entry_number(number, OTHER) for number in range(20)])
        there = bring_ashore(one, first)
        assert (there.sent, there.received, there.equal) == (30, 0, True)
        report = bring_ashore(two, second)
        assert (report.sent, report.received, report.equal) == (20, 30, True)
        assert report.here == report.there == {HULL: 30, OTHER: 20}
        assert two.digests() == shop.hulls.digests()
        assert bring_ashore(one, first).received == 20
        assert one.digests() == two.digests()


def test_bringing_ashore_again_moves_nothing(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path) as (_, [(folder, shop)]):
        folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(30)])
        bring_ashore(folder, shop)
        again = bring_ashore(folder, shop)
        assert (again.sent, again.received, again.bytes_sent, again.bytes_received) == (0, 0, 0, 0)
        assert again.equal


def test_the_report_names_what_disagrees_and_which_sign_off_went_stale(tmp_path: Path) -> None:
    one, two = tablet("a"), tablet("b")
    first = measure(one.author, HullState(HULL), JOB, STEP, FIELD, "30.0 kn", row="1")
    signature = sign_off(one.author, replay(HULL, [first]), JOB, "technician", "R. Vane")
    other = measure(two.author, HullState(HULL), JOB, STEP, FIELD, "31.5 kn", row="1")
    with shop_and_tablets(tmp_path, 2) as (_, [(here, first_shop), (there, second_shop)]):
        here.put_if_absent(HULL, [first, signature])
        there.put_if_absent(HULL, [other])
        bring_ashore(there, second_shop)
        report = bring_ashore(here, first_shop)
    assert [(hull, key.subject) for hull, key in report.disagreeing] == [(HULL, (STEP, FIELD, "1", ""))]
    assert [(hull, not_covered) for hull, _, not_covered in report.stale] == [(HULL, (f"{STEP}/{FIELD}/1",))]


def test_a_disagreement_that_came_in_before_a_cut_stands_in_the_report_after_it(tmp_path: Path) -> None:
    """The entries arrive, then the wire is cut before the report is made; the next report still names them."""
    one, two = tablet("a"), tablet("b")
    mine = measure(one.author, HullState(HULL), JOB, STEP, FIELD, "30.0 kn", row="1")
    theirs = measure(two.author, HullState(HULL), JOB, STEP, FIELD, "31.5 kn", row="1")
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.save(mine)
        shop.hulls.save(theirs)

        def cut_after_the_exchange(what: str, done: int, of: int) -> None:
            if what == "entries" and done == of:
                raise ShopAway("cut")

        with pytest.raises(ShopAway):
            bring_ashore(folder, paired, cut_after_the_exchange)
        assert theirs.id in folder.ids(HULL)
        report = bring_ashore(folder, paired)
        assert report.received == 0
        assert [key.subject for _, key in report.disagreeing] == [(STEP, FIELD, "1", "")]
        assert bring_ashore(folder, paired).disagreeing == ()


def test_two_ids_that_begin_alike_are_told_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With one-character beginnings nearly every id begins like another; the second round compares whole ids."""
    monkeypatch.setattr("garboard.shop_link.wire.SHORT_DIGITS", 1)
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(100)])
        shop.hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(100, 200)])
        report = bring_ashore(folder, paired)
        assert (report.sent, report.received, report.equal) == (100, 100, True)


def test_more_than_one_answer_holds_is_fetched_by_asking_again(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop", limits=_small_answers()) as shop, HullFolder(tmp_path / "tablet") as folder:
        shop.hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(200)])
        shop.hulls.put_if_absent(OTHER, [entry_number(number, OTHER) for number in range(200)])
        report = bring_ashore(folder, shop.paired())
        assert (report.received, report.equal) == (400, True)


def _small_answers() -> Limits:
    return Limits(answer=10_000)


@pytest.mark.parametrize("size", [0, 1, 1 << 20, (1 << 20) + 1, 3_000_000])
def test_attachments_travel_both_ways(tmp_path: Path, size: int) -> None:
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        mine, theirs = os.urandom(size), os.urandom(size) + b"."
        folder.attachments.put(mine)
        name = shop.hulls.attachments.put(theirs)
        report = bring_ashore(folder, paired)
        assert (report.attachments_sent, report.attachments_received) == (1, 1)
        assert shop.hulls.attachments.get(hashlib.sha256(mine).hexdigest()) == mine
        assert folder.attachments.get(name) == theirs
        assert bring_ashore(folder, paired).bytes_received == 0


@pytest.mark.parametrize("direction", ["up", "down"])
def test_an_attachment_cut_on_its_way_goes_on_where_it_was(tmp_path: Path, direction: str) -> None:
    """A 5 MB attachment is cut after 3 MB; the second time less than 3 MB pass."""
    content = os.urandom(5 << 20)
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        (folder if direction == "up" else shop.hulls).attachments.put(content)
        with Wire(shop.port, cut=3_500_000) as wire, pytest.raises(ShopAway):
            bring_ashore(folder, attrs.evolve(paired, port=wire.port))
        with Wire(shop.port) as wire:
            bring_ashore(folder, attrs.evolve(paired, port=wire.port))
            assert wire.passed < 3_000_000
        name = hashlib.sha256(content).hexdigest()
        assert folder.attachments.get(name) == shop.hulls.attachments.get(name) == content


def test_a_damaged_attachment_is_named_set_aside_and_comes_back_from_the_shop(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        name = folder.attachments.put(b"a run")
        run: JsonValue = {"file": name, "name": "run.csv"}
        folder.save(measure(tablet("a").author, HullState(HULL), JOB, "small.horn", "attached", run, row=name[:12]))
        (folder.attachments.folder / name).write_bytes(b"a rum")
        report = bring_ashore(folder, paired)
        assert (report.refused, report.missing) == ((), ((name, "run.csv"),)), "it is told once"
        assert [damage.file.name for damage in folder.damage_found()] == [name]
        assert shop.hulls.attachments.names() == frozenset()
        shop.hulls.attachments.put(b"a run")
        bring_ashore(folder, paired)
        assert folder.attachments.get(name) == b"a run"


def test_an_impostor_at_the_shops_address_is_refused_before_a_byte_is_sent(tmp_path: Path) -> None:
    """The impostor's application receives nothing: no request reaches it."""
    asked: list[str] = []
    with RunningShop(tmp_path / "shop") as shop, RunningShop(tmp_path / "impostor") as impostor:
        paired = shop.paired()
        real: Any = impostor.app.middleware_stack

        async def watch(scope: Scope, receive: Receive, send: Send) -> None:
            asked.append(scope["path"])
            await real(scope, receive, send)

        impostor.app.middleware_stack = watch
        with HullFolder(tmp_path / "tablet") as folder:
            folder.save(entry_number(1, HULL))
            with pytest.raises(NotTheShop, match="Nothing was sent"):
                bring_ashore(folder, attrs.evolve(paired, port=impostor.port))
        with pytest.raises(NotTheShop):
            sync.pair(attrs.evolve(shop.code(), port=impostor.port).typed, "tablet")
        assert asked == []
        assert impostor.hulls.hulls() == ()


def test_a_tablet_whose_clock_is_a_day_off_comes_ashore_and_is_told(tmp_path: Path) -> None:
    """Certificate dates are not checked, entries are kept, and the offset is reported to both sides."""
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        shop.clock_ahead = DAY
        folder.save(entry_number(1, HULL))
        report = bring_ashore(folder, paired)
        assert report.equal
        assert report.clock_is_off
        assert report.clock_offset == pytest.approx(DAY, abs=5000)
        (listed,) = shop.store.register.tablets()
        assert listed.clock_offset == pytest.approx(DAY, abs=5000)
        (delivery,) = shop.store.deliveries(0, shop.now())
        assert (delivery.tablet, delivery.ids) == (paired.tablet, {HULL: (entry_number(1, HULL).id,)})
        assert delivery.clock_offset == pytest.approx(DAY, abs=5000)


def test_a_restored_tablet_gets_back_what_it_had_brought_ashore(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired()
        with HullFolder(tmp_path / "tablet") as folder:
            folder.save(entry_number(1, HULL))
        shutil.copytree(tmp_path / "tablet", tmp_path / "backup")
        with HullFolder(tmp_path / "tablet") as folder:
            folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(2, 50)])
            bring_ashore(folder, paired)
        with HullFolder(tmp_path / "backup") as folder:
            folder.save(entry_number(99, HULL))
            report = bring_ashore(folder, paired)
            assert (report.sent, report.received, report.equal) == (1, 48, True)


def test_two_copies_of_one_tablet_both_bring_everything_ashore(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired()
        with HullFolder(tmp_path / "tablet") as folder:
            folder.save(entry_number(1, HULL))
            bring_ashore(folder, paired)
        shutil.copytree(tmp_path / "tablet", tmp_path / "clone")
        with HullFolder(tmp_path / "tablet") as folder, HullFolder(tmp_path / "clone") as clone:
            folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(100, 150)])
            clone.put_if_absent(HULL, [entry_number(number, HULL) for number in range(200, 250)])
            assert bring_ashore(folder, paired).sent == 50
            assert bring_ashore(clone, paired).received == 50
            assert bring_ashore(folder, paired).received == 50
            assert len(folder.ids(HULL)) == 101
            assert folder.digests() == clone.digests() == shop.hulls.digests()


def test_a_file_that_neither_side_has_is_told_by_the_tablet_that_names_it_alone(tmp_path: Path) -> None:
    """Another tablet hears of it while the file may still be on its way."""
    with shop_and_tablets(tmp_path, 2) as (_, [(one, first), (two, second)]):
        name = one.attachments.put(b"\xff\xd8\xff a grommet")
        photo: JsonValue = {"file": name, "name": "chafe.jpg"}
        one.save(measure(tablet("a").author, HullState(HULL), JOB, "small.horn", "attached", photo, row=name[:12]))
        shutil.rmtree(one.folder / "attachments")
        report = bring_ashore(one, first)
        assert (report.equal, report.complete, report.missing) == (True, False, ((name, "chafe.jpg"),))
        assert "missing here and at the shop: chafe.jpg (" in readable_report(report)
        assert any("chafe.jpg" in line.text and line.urgent for line in lines_of(State(word=ASHORE, report=report)))
        heard = bring_ashore(two, second)
        assert (heard.received, heard.complete, heard.missing) == (1, True, ())


def test_a_restored_shop_gets_back_from_the_tablets_what_it_lost(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path, 2) as (shop, [(one, first), (two, second)]):
        one.put_if_absent(HULL, [entry_number(number, HULL) for number in range(50)])
        bring_ashore(one, first)
        two.put_if_absent(HULL, [entry_number(number, HULL) for number in range(50, 80)])
        bring_ashore(two, second)
        old = EmbeddedStore(tmp_path / "old copy")
        old.hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(10)])
        shop.use(old)
        report = bring_ashore(one, first)
        assert (report.sent, report.equal) == (40, True)
        report = bring_ashore(two, second)
        assert report.equal
        assert len(shop.store.ids(HULL)) == 80


@pytest.mark.parametrize("is_put_back", [True, False])
def test_a_shop_put_back_while_files_travel_is_not_said_to_hold_the_same(tmp_path: Path, is_put_back: bool) -> None:
    """The entries were counted before: they are counted once more."""
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.save(entry_number(1, HULL))
        bring_ashore(folder, paired)
        shutil.copytree(tmp_path / "shop", tmp_path / "backup")
        folder.save(entry_number(2, HULL))
        folder.attachments.put(b"a photo")

        def put_back(what: str, done: int, _of: int) -> None:
            if is_put_back and (what, done) == ("attachments", 0):
                shop.use(EmbeddedStore(tmp_path / "backup"))

        report = bring_ashore(folder, paired, put_back)
        assert (report.complete, sum(report.there.values())) == (not is_put_back, 2 - is_put_back)
        assert bring_ashore(folder, paired).complete


def test_a_shops_folder_moved_away_is_told_as_that_and_no_tablet_hears_that_it_is_not_paired(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        folder.save(entry_number(1, HULL))
        bring_ashore(folder, paired)
        (tmp_path / "shop").rename(tmp_path / "away")
        with pytest.raises(ShopRefused, match="not there any more"):
            bring_ashore(folder, paired)
        (tmp_path / "away").rename(tmp_path / "shop")
        assert bring_ashore(folder, paired).complete


def test_work_on_the_tablet_goes_on_while_it_comes_ashore(tmp_path: Path) -> None:
    """Entries saved by the drawing thread meanwhile are kept, and come ashore the next time at the latest."""
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(3000)])
        thread = threading.Thread(target=bring_ashore, args=(folder, paired))
        thread.start()
        saved = [folder.save(entry_number(number, OTHER)) for number in range(100)]
        thread.join(60)
        assert not thread.is_alive()
        assert bring_ashore(folder, paired).equal
        assert set(saved) == shop.store.ids(OTHER)


def test_twenty_tablets_at_once_all_end_with_everything(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path, 20) as (shop, tablets):
        for number, (folder, _) in enumerate(tablets):
            folder.put_if_absent(HULL, [entry_number(100 * number + n, HULL) for n in range(20)])
        threads = [threading.Thread(target=bring_ashore, args=pair) for pair in tablets]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        assert len(shop.store.ids(HULL)) == 400
        assert all(bring_ashore(folder, paired).equal for folder, paired in tablets)
        assert {len(folder.ids(HULL)) for folder, _ in tablets} == {400}


def test_while_the_shop_is_away_it_is_tried_again_with_growing_waits_and_then_comes_through(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.save(entry_number(1, HULL))
        ports = iter([1, 1, 1, shop.port])
        waits: list[float] = []
        report = keep_trying(
            lambda: bring_ashore(folder, attrs.evolve(paired, port=next(ports))),
            threading.Event(),
            first_wait=0.01,
            told=lambda _reason, wait: waits.append(wait),
        )
        assert report is not None
        assert report.sent == 1
        assert len(waits) == 3
        assert waits[0] < waits[1] < waits[2]


def test_trying_ends_when_told_to_stop_and_at_once_when_the_tablet_was_removed() -> None:
    stop = threading.Event()

    def away() -> None:
        raise ShopAway("no wifi")

    assert keep_trying(away, stop, first_wait=0.001, told=lambda _reason, _wait: stop.set()) is None

    def removed() -> None:
        raise NotPaired("removed")

    with pytest.raises(NotPaired):
        keep_trying(removed, threading.Event())


def test_a_full_disk_on_the_tablet_stops_it_and_nothing_is_half_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        shop.hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(30)])
        with monkeypatch.context() as patch:
            patch.setattr("garboard.disk.storage.flush", full)
            with pytest.raises(NotSaved):
                bring_ashore(folder, paired)
        assert folder.ids(HULL) == frozenset()
        with monkeypatch.context() as patch:
            patch.setattr("garboard.shop_link.sync.keep_managers", Mock(side_effect=NotSaved("no room")))
            report = bring_ashore(folder, paired)
        assert (report.received, report.complete, report.not_kept) == (30, False, (("managers", "no room"),))
        assert "NOT all that the shop gave is saved here" in readable_report(report)
        assert "not all that the shop gave" in lines_of(State(word=ASHORE, report=report))[-1].text
        assert bring_ashore(folder, paired).complete


def test_a_full_disk_at_the_shop_is_told_and_what_was_not_kept_comes_ashore_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int, _data: bytes, _size: int) -> None:
        raise NotSaved("the disk is full")

    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(30)])
        with monkeypatch.context() as patch:
            patch.setattr("garboard.disk.storage.append", full)
            with pytest.raises(ShopRefused, match="the disk is full"):
                bring_ashore(folder, paired)
        assert shop.store.ids(HULL) == frozenset()
        assert bring_ashore(folder, paired).sent == 30


def test_the_pairing_is_kept_beside_the_hull_files_for_its_owner_only(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired()
    assert pairing.kept(tmp_path / "tablet") is None
    pairing.keep(tmp_path / "tablet", paired)
    assert pairing.kept(tmp_path / "tablet") == paired
    assert (tmp_path / "tablet" / FILE).stat().st_mode & 0o077 == 0
    (tmp_path / "tablet" / FILE).write_text("{")
    with pytest.raises(DocumentDamaged, match=r"shop\.json cannot be read.*Pair this tablet with the shop again"):
        pairing.kept(tmp_path / "tablet")
    assert not pairing.may_decide(tmp_path / "tablet"), "it may have been a technician's"
    pairing.keep(tmp_path / "tablet", paired)
    assert pairing.kept(tmp_path / "tablet") == paired
    assert (tmp_path / "tablet" / f"{FILE}.damaged-1").read_text() == "{"


def test_progress_is_told_from_start_to_end(tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    with shop_and_tablets(tmp_path) as (_, [(folder, paired)]):
        folder.save(entry_number(1, HULL))
        folder.attachments.put(b"a run")
        bring_ashore(folder, paired, lambda *step: told.append(step))
    assert told == [("entries", 0, 1), ("entries", 1, 1), ("attachments", 0, 1), ("attachments", 1, 1)]
