"""Promises 1 and 3 to 8 once more, with the shop kept in PostgreSQL, on one server and spread over two, and the
network between.

Promise 2 is about our own files: here the database looks after its own. Promises 9 and 10, what a verdict names and who
imports whom, are the same with a database or without one.

The long campaign:
python tests/campaigns/database_kills.py --rounds 100
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from campaigns import database_kills
from campaigns.sync_campaign import Server
from campaigns.writers import entry_number
from examples import every, examples
from garboard.commands.cli import program
from garboard.disk.clock import Stamp
from garboard.disk.entries import canonical_bytes, make_entry, read_entry
from garboard.disk.hullfile import CheckedEntries, HullFolder
from garboard.history.replay import replay
from garboard.shop_link import sync
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.sync import NotPaired, ShopAway, bring_ashore
from garboard_shop.postgres import PostgresStore
from garboard_shop.store import MANAGER
from histories import DAY, HULL, history, union
from postgres_cluster import Cluster, Servers, SpreadClusters, why_not_here, why_not_spread
from promises.test_promise_08_only_paired_tablets import (  # these run again here, over the shop of this file
    SECRET_ENTRY,
    test_p8_a_code_pairs_one_tablet,
    test_p8_a_removed_tablet_is_a_stranger,
    test_p8_a_removed_tablet_is_not_let_in_by_its_old_code,
    test_p8_a_technicians_tablet_cannot_remove_another_and_a_managers_can,
    test_p8_an_answer_lost_on_the_way_lets_the_same_tablet_ask_again_and_no_other,
    test_p8_without_a_pairing_nothing_is_told_and_nothing_kept,
)
from promises.test_promises_over_the_network import check_everything_stands_or_was_seen, check_no_clock_decides
from shop_rig import RunningShop, Wire, server_log

AGAIN_OVER_POSTGRESQL = (
    test_p8_a_code_pairs_one_tablet,
    test_p8_a_removed_tablet_is_a_stranger,
    test_p8_a_removed_tablet_is_not_let_in_by_its_old_code,
    test_p8_a_technicians_tablet_cannot_remove_another_and_a_managers_can,
    test_p8_an_answer_lost_on_the_way_lets_the_same_tablet_ask_again_and_no_other,
    test_p8_without_a_pairing_nothing_is_told_and_nothing_kept,
)
OTHER = "ABC00002A526"


@pytest.fixture(scope="module", params=[Cluster, SpreadClusters], ids=["one server", "spread over two"])
def cluster(request: pytest.FixtureRequest) -> Iterator[Servers]:
    if reason := why_not_here() if request.param is Cluster else why_not_spread():
        pytest.skip(reason)
    with request.param() as running:
        yield running


@pytest.fixture(scope="module")
def shop(cluster: Servers, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningShop]:
    store = PostgresStore(cluster.database())
    with RunningShop(tmp_path_factory.mktemp("shop"), store=store) as running, server_log() as failures:
        store.put_if_absent({HULL: CheckedEntries({SECRET_ENTRY.id: SECRET_ENTRY.raw})}, "office", 1, 0)
        yield running
        assert failures == []


@contextmanager
def yard(
    cluster: Servers, where: Path, count: int
) -> Iterator[tuple[RunningShop, list[tuple[HullFolder, PairedShop]]]]:
    """A shop kept in a new database, and so many tablets that may bring every kind of entry."""
    with ExitStack() as stack:
        shop = stack.enter_context(RunningShop(where / "shop", store=PostgresStore(cluster.database())))
        folders = [stack.enter_context(HullFolder(where / f"tablet{number}")) for number in range(count)]
        yield shop, [(folder, shop.paired(f"tablet {number}", MANAGER)) for number, folder in enumerate(folders)]


@pytest.mark.parametrize("servers", [Cluster, pytest.param(SpreadClusters, marks=pytest.mark.long)])
def test_p1_what_was_called_ashore_is_there_after_server_and_database_were_killed(
    servers: type[Servers], tmp_path: Path
) -> None:
    """kill -9 of the server, of a database's every process, or of both, while three tablets come ashore."""
    if reason := why_not_here() if servers is Cluster else why_not_spread():
        pytest.skip(reason)
    tally = database_kills.campaign(4, 20260514, tmp_path, servers)
    assert tally.server_kills > 0
    assert tally.database_kills > 0
    assert tally.ashore > 0
    assert tally.is_good, tally


@pytest.mark.parametrize("seed", [1, 7])
def test_p3_any_order_and_any_repetition_of_coming_ashore_gives_the_same(
    cluster: Servers, tmp_path: Path, seed: int
) -> None:
    """Against the plain union and its state, made without any network or database."""
    chance = random.Random(seed)
    for run in range(2):
        tablets = history(seed)
        everything = union(tablets)
        with yard(cluster, tmp_path / str(run), len(tablets)) as (shop, paired):
            for one, (folder, _) in zip(tablets, paired, strict=True):
                folder.put_if_absent(HULL, list(one.held.values()))
            for folder, pairing in chance.choices(paired, k=4) + paired + paired[:-1]:
                bring_ashore(folder, pairing)
            store = shop.store
            assert store.ids(HULL) == everything.keys(), f"seed {seed}"
            assert all(folder.ids(HULL) == everything.keys() for folder, _ in paired)
            held = [read_entry(raw) for raw in store.get(HULL, everything).values()]
            by_hand = canonical_bytes(replay(HULL, everything.values()).summary())
            assert canonical_bytes(replay(HULL, held).summary()) == by_hand
            assert {hull: one.digest for hull, one in store.digests().items()} == paired[0][0].digests()


PIECES = st.lists(st.lists(st.integers(0, 30), min_size=1, max_size=8), min_size=1, max_size=6)


@settings(max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=PIECES, seed=st.integers(0, 1000))
def test_p3_any_order_grouping_and_repetition_of_puts_gives_the_same_entries_and_digests(
    cluster: Servers, pieces: list[list[int]], seed: int
) -> None:
    """Two yards of one database get the same pieces in another order, one of them some pieces twice."""
    offered = [
        {
            hull: CheckedEntries((entry.id, entry.raw) for entry in (entry_number(number, hull) for number in piece))
            for hull in (HULL, OTHER)
        }
        for piece in pieces
    ]
    url = _shared.setdefault(cluster, "") or cluster.database()
    _shared[cluster] = url
    one, two = (next(_yards), next(_yards))
    chance = random.Random(seed)
    with (
        closing(PostgresStore(f"{url}&yard={one}")) as first,
        closing(PostgresStore(f"{url}&yard={two}")) as second,
    ):
        for piece in offered:
            first.put_if_absent(piece, "t", 1, 0)
        for piece in chance.sample(offered, len(offered)) + chance.choices(offered, k=2):
            second.put_if_absent(piece, "u", 2, 0)
        numbers = {number for piece in pieces for number in piece}
        assert first.ids(HULL) == {entry_number(number, HULL).id for number in numbers}
        assert first.digests() == second.digests()
        assert first.kinds(HULL) == second.kinds(HULL) == {"measure": len(numbers)}


_shared: dict[Servers, str] = {}
_yards = iter(range(1, 1_000_000))


@pytest.mark.parametrize("seed", [1, 7])
def test_p4_every_value_a_person_entered_stands_or_was_replaced_by_someone_who_saw_it(
    cluster: Servers, tmp_path: Path, seed: int
) -> None:
    tablets = history(seed)
    with yard(cluster, tmp_path, len(tablets)) as (shop, paired):
        for one, (folder, pairing) in zip(tablets, paired, strict=True):
            folder.put_if_absent(HULL, list(one.held.values()))
            bring_ashore(folder, pairing)
        check_everything_stands_or_was_seen(shop.store, union(tablets))


@pytest.mark.parametrize("seed", [1, 7])
def test_p5_tablets_whose_clocks_are_days_off_leave_the_same_heads_and_disagreements_in_the_database(
    cluster: Servers, tmp_path: Path, seed: int
) -> None:
    told = history(seed)
    with yard(cluster, tmp_path, len(told)) as (shop, paired):
        shop.clock_ahead = -3 * DAY
        check_no_clock_decides(shop.store, paired, told, seed)


def test_p7_a_connection_cut_at_any_byte_leaves_both_sides_good_and_the_next_time_finishes(
    cluster: Servers, tmp_path: Path
) -> None:
    """Every 389th byte of a sync both ways with an attachment each way, each cut in a yard of its own.

    Or each third of those: see `examples.every`."""
    url, cut, ended = cluster.database(), 0, False
    while not ended:
        store = PostgresStore(f"{url}&yard={cut + 1}")
        with RunningShop(tmp_path / "shop", store=store) as shop, HullFolder(tmp_path / str(cut)) as tablet:
            ended = _cut_and_finish(shop, tablet, cut)
        cut += every(389)
    assert cut > 12 * 389


def _cut_and_finish(shop: RunningShop, tablet: HullFolder, cut: int) -> bool:
    """Cut one sync after so many bytes, look at both sides, sync again; whether the first came through whole."""
    ours, theirs = ([entry_number(number, HULL) for number in numbers] for numbers in (range(40), range(30, 70)))
    written = {entry.id: entry.raw for entry in (*ours, *theirs)}
    runs = b"a run of ours" * 20, b"a run of theirs" * 20
    tablet.put_if_absent(HULL, ours)
    names = {tablet.attachments.put(runs[0]), hashlib.sha256(runs[1]).hexdigest()}
    store, paired, came_through = shop.store, shop.paired(), False
    store.put_if_absent({HULL: CheckedEntries({entry.id: entry.raw for entry in theirs})}, "office", 1, 0)
    store.attachments.add(hashlib.sha256(runs[1]).hexdigest(), 0, runs[1], len(runs[1]))
    with Wire(shop.port, cut) as wire, suppress(ShopAway):
        came_through = bring_ashore(tablet, attrs.evolve(paired, port=wire.port)).equal
    for before, held in ((ours, dict(tablet.get(HULL))), (theirs, dict(store.get(HULL, written)))):
        assert {entry.id for entry in before} <= held.keys(), cut
        assert held.items() <= written.items(), cut
    assert store.ids(HULL) <= written.keys()
    assert {tablet.attachments.get(name) for name in tablet.attachments.names()} <= set(runs), cut
    assert bring_ashore(tablet, paired).equal, cut
    assert tablet.ids(HULL) == store.ids(HULL) == written.keys(), cut
    assert tablet.attachments.names() == store.attachments.sizes().keys() == names, cut
    assert {store.attachments.read(name, 0, 10_000) for name in names} == set(runs), cut
    return came_through


def test_p6_what_nobody_here_understands_passes_through_the_database_byte_for_byte(
    cluster: Servers, tmp_path: Path
) -> None:
    """From a tablet through the shop to another tablet: an unknown kind, a newer format, further fields."""
    strange = [
        make_entry(
            "shop_paint", HULL, dev="t", by="Ines", clock=Stamp(1, 0), at="2026-05-14T12:00:00+02:00",
            value={"a": [1], "nul": "\x00", "quote": "'\"\\ $$"}, more={"x_gloss": "87 é \U0001f6a4"},
            plugins={"shop_paint": "3"},
        ),
        read_entry(canonical_bytes({"v": 99, "kind": "later", "hull": HULL, "anything": {"deep": [None, True]}})),
    ]  # fmt: skip
    with yard(cluster, tmp_path, 2) as (shop, [(one, first), (two, second)]):
        one.put_if_absent(HULL, strange)
        bring_ashore(one, first)
        report = bring_ashore(two, second)
        assert (report.received, report.not_kept) == (2, ())
        expected = {entry.id: entry.raw for entry in strange}
        assert dict(two.get(HULL)) == dict(shop.store.get(HULL, expected)) == expected


@pytest.fixture
def servers(cluster: Servers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Server, Server]]:
    """Two server processes over one database, known to tablets by one certificate."""
    monkeypatch.setenv("GARBOARD_SHOP_STORE", cluster.database())
    first, second = (Server(tmp_path / name, forked=True) for name in ("first", "second"))
    first.first_code = first.start()
    shutil.copytree(tmp_path / "first", tmp_path / "second")
    second.first_code = second.start()
    yield first, second
    for server in (first, second):
        server.kill()


def test_p3_tablets_that_come_ashore_at_two_servers_of_one_database_meet(
    servers: tuple[Server, Server], tmp_path: Path
) -> None:
    first, second = servers
    with HullFolder(tmp_path / "a") as one, HullFolder(tmp_path / "b") as two:
        here, there = sync.pair(first.first_code, "one"), sync.pair(second.first_code, "two")
        one.put_if_absent(HULL, [entry_number(number, HULL) for number in range(50)])
        two.put_if_absent(HULL, [entry_number(number, HULL) for number in range(30, 90)])
        content = os.urandom(2_000_000)
        name = one.attachments.put(content)
        bring_ashore(one, here)
        report = bring_ashore(two, there)
        assert (report.sent, report.received, report.equal) == (40, 30, True)
        assert two.attachments.get(name) == content
        assert bring_ashore(one, here).received == 40
        assert one.digests() == two.digests()


def test_p8_a_tablet_removed_at_one_server_is_a_stranger_at_the_other(
    servers: tuple[Server, Server], tmp_path: Path
) -> None:
    """Paired at the first server, known at the second by the same certificate, removed by command: shut out of both."""
    first, second = servers
    paired = sync.pair(first.first_code, "one")
    with HullFolder(tmp_path / "a") as folder:
        folder.save(entry_number(1, HULL))
        at_both = [paired, _at(paired, second)]
        assert [bring_ashore(folder, shop).equal for shop in at_both] == [True, True]
        remove = ["shop-tablets", "remove", paired.tablet, "--by", "Ines"]
        CliRunner().invoke(program, remove, catch_exceptions=False)
        for shop in at_both:
            with pytest.raises(NotPaired):
                bring_ashore(folder, shop)


def _at(paired: PairedShop, server: Server) -> PairedShop:
    return attrs.evolve(paired, port=server.port)
