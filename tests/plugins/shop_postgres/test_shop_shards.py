"""A shop spread over several PostgreSQL servers through PL/Proxy: set up by a command, each boat whole on one part."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest
from click.testing import CliRunner

from campaigns.writers import entry_number
from garboard.commands.cli import program
from garboard.disk.hullfile import CheckedEntries
from garboard.disk.storage import NotSaved
from garboard.faults import InputError
from garboard_shop.postgres import PostgresStore, hulls, schema
from garboard_shop.postgres import shards as sharding
from garboard_shop.postgres.database import place_of
from garboard_shop.postgres.schema import VERSION
from garboard_shop.postgres.shards import shard_shop
from garboard_shop.postgres.verbs import EDITION
from garboard_shop.store import TECHNICIAN, Holding, KeptToFinish, StoreAway, Tablet
from postgres_cluster import Cluster, SpreadClusters, why_not_spread
from shop_rig import RunningShop, ask_raw

NOON = 1_778_752_800_000
HULLS = tuple(f"ABC{number:05d}A526" for number in range(30))


def some(*keys: str, numbers: range = range(5)) -> dict[str, CheckedEntries]:
    made = {key: [entry_number(number, key) for number in numbers] for key in keys}
    return {key: CheckedEntries((entry.id, entry.raw) for entry in entries) for key, entries in made.items()}


def rows(url: str, asked: str) -> list[tuple[Any, ...]]:
    with psycopg.connect(url, autocommit=True) as connection:
        answer = connection.execute(asked)
        return list(answer.fetchall()) if answer.description else []


def refusal(store: str, *over: str) -> str:
    with pytest.raises(InputError) as refused:
        shard_shop(store, over)
    return str(refused.value)


def open_refusal(url: str) -> str:
    with pytest.raises(InputError) as refused:
        PostgresStore(url)
    return str(refused.value)


class Apart:
    """A new shop over two databases whose addresses are known."""

    def __init__(self, spread: SpreadClusters) -> None:
        self.front = spread.front.database()
        self.parts = [cluster.database() for cluster in spread.behind]
        shard_shop(self.front, self.parts)


@pytest.fixture
def apart(spread: SpreadClusters) -> Apart:
    return Apart(spread)


@pytest.fixture(scope="module")
def own() -> Iterator[SpreadClusters]:
    """Servers that tests of this file kill and start again."""
    if reason := why_not_spread():
        pytest.skip(reason)
    with SpreadClusters() as running:
        yield running


@contextmanager
def away(cluster: Cluster) -> Iterator[None]:
    """kill -9 of a server, which comes back at the end."""
    cluster.kill()
    try:
        yield
    finally:
        cluster.start()


def test_each_boat_lies_whole_on_one_part_and_who_takes_part_lies_in_front(apart: Apart) -> None:
    """Read from the tables themselves; the part is the lowest bit of the fourth byte of SHA-256 over the number."""
    with closing(PostgresStore(apart.front)) as store:
        store.put_if_absent(some(*HULLS), "t", NOON, 0)
        store.register.add_tablet(Tablet(id="id", name="t", role=TECHNICIAN, token_hash="x", paired_at=NOON))
        assert store.digests().keys() == set(HULLS)
    for number, part in enumerate(apart.parts):
        counted = dict[str, int](rows(part, "select hull, count(*) from garboard.entry group by hull"))
        here = {hull for hull in HULLS if hashlib.sha256(hull.encode()).digest()[3] & 1 == number}
        assert counted == dict.fromkeys(here, 5)
        assert 5 <= len(here) <= 25
        assert rows(part, "select id from garboard.tablet") == []
    assert rows(apart.front, "select hull from garboard.entry") == []
    assert rows(apart.front, "select id from garboard.tablet") == [("id",)]


def test_the_command_sets_a_spread_shop_up_and_given_again_leaves_what_is_in_it(spread: SpreadClusters) -> None:
    front, parts = spread.front.database(), [cluster.database() for cluster in spread.behind]
    over = [word for part in parts for word in ("--over", part)]
    first = CliRunner().invoke(program, ["shop-spread", "--store", front, *over])
    assert first.exit_code == 0, first.output
    assert f"shard 2 of 2: {spread.behind[1].folder}" in first.output
    with closing(PostgresStore(front)) as store:
        store.put_if_absent(some(*HULLS), "t", NOON, 0)
    for again in (over, []):
        told = CliRunner().invoke(program, ["shop-spread", "--store", front, *again])
        assert (told.exit_code, told.output) == (0, first.output)
    with closing(PostgresStore(front)) as store:
        assert sum(held.entries for held in store.digests().values()) == 150


def test_shop_servers_can_ask_as_a_user_without_rights_on_the_server_in_front(own: SpreadClusters) -> None:
    """Everything a shop keeps goes in and out; the user can neither make functions nor change what the database is."""
    front, parts = own.front.database(), [cluster.database() for cluster in own.behind]
    rows(front, "create role worker login")
    over = [word for part in parts for word in ("--over", part)]
    told = CliRunner().invoke(program, ["shop-spread", "--store", front, *over, "--user", "worker"])
    assert told.exit_code == 0, told.output
    as_worker = front.replace("shop@", "worker@")
    content = os.urandom(1000)
    name = hashlib.sha256(content).hexdigest()
    for _ in ("new", "set up again"):
        with closing(PostgresStore(as_worker)) as store:
            store.put_if_absent(some(*HULLS), "t", NOON, 0)
            store.attachments.add(name, 0, content, 1000)
            store.register.add_tablet(Tablet(id="id", name="t", role=TECHNICIAN, token_hash="x", paired_at=NOON))
            assert sum(held.entries for held in store.digests().values()) == 150
            assert store.attachments.read(name, 0, 1000) == content
            assert len(store.register.tablets()) == 1
        for forbidden in (
            "create function garboard.f() returns int language plproxy as $$ cluster 'garboard'; run on all; $$",
            "update garboard.about set servers = 4",
            "alter server garboard options (drop p0)",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                rows(as_worker, forbidden)
        rows(front, "update garboard.about set functions = 'those of an older version'")
        assert "run `garboard shop-spread` once" in open_refusal(as_worker)
        shard_shop(front, ())


def test_what_cannot_be_spread_is_refused_in_words_and_nothing_is_made(
    spread: SpreadClusters, monkeypatch: pytest.MonkeyPatch
) -> None:
    front = spread.front.database()
    parts = [cluster.database() for cluster in spread.behind]
    three = [*parts, spread.behind[0].database()]
    assert "power of two, got 3" in refusal(front, *three)
    assert "power of two, got 1" in refusal(front, parts[0])
    assert "the addresses of the shards of" in refusal(front)
    assert "no yard" in refusal(front, parts[0], f"{parts[1]}&yard=2")
    rows(parts[0], "create role another superuser login")
    assert "the same user and password" in refusal(front, parts[0].replace("shop@", "another@"), parts[1])
    rows(front, "create role limited login")
    assert "a superuser of that server" in refusal(front.replace("shop@", "limited@"), *parts)
    with monkeypatch.context() as patch:
        patch.setattr(sharding, "EXTENSION", "no_such_extension")
        told = refusal(front, *parts)
        assert "Debian's package postgresql-" in told
        assert "-plproxy" in told
    for url in (front, *three):
        assert rows(url, "select to_regclass('garboard.about')::text") == [(None,)]


def test_a_database_that_is_something_else_already_is_refused_and_left_as_it_is(
    spread: SpreadClusters, apart: Apart
) -> None:
    new = spread.front.database()
    whole = spread.behind[0].database()
    with closing(PostgresStore(whole)) as store:
        store.put_if_absent(some(HULLS[0]), "t", NOON, 0)
    empty = [cluster.database() for cluster in spread.behind]
    assert "got a whole shop" in refusal(whole, *empty)
    assert "got a whole shop" in refusal(new, whole, empty[1])
    assert "got number 2 of the 2 shards" in refusal(new, *apart.parts[::-1])
    assert "got number 1 of the 2 shards" in refusal(new, *apart.parts, *empty)
    assert "got the front database of the 2 shards" in refusal(
        apart.front, *empty, *(cluster.database() for cluster in spread.behind)
    )
    assert "got number 1 of the 2 shards" in refusal(new, empty[0], empty[0])
    assert "got number 1 of the 2 shards" in open_refusal(apart.parts[0])
    with closing(PostgresStore(whole)) as store:
        assert store.digests()[HULLS[0]].entries == 5


def test_a_password_is_kept_where_only_its_user_sees_it_and_told_in_no_message(own: SpreadClusters) -> None:
    """These servers ask for none; whoever else may look into the database in front reads the parts' addresses only."""
    front = own.front.database()
    parts = [cluster.database().replace("shop@", "shop:tr0ub4dor@") for cluster in own.behind]
    shard_shop(front, parts)
    rows(front, "create role curious login")
    curious = front.replace("shop@", "curious@")
    assert "tr0ub4dor" in str(rows(front, "select umoptions from pg_user_mappings"))
    assert "tr0ub4dor" not in str(rows(curious, "select umoptions from pg_user_mappings"))
    assert "gb-pg-" in str(rows(curious, "select srvoptions from pg_foreign_server"))
    assert "tr0ub4dor" not in str(rows(curious, "select srvoptions from pg_foreign_server"))
    with closing(PostgresStore(front)) as store, away(own.behind[1]):
        with pytest.raises(StoreAway) as failure:
            store.digests()
        told = [str(failure.value), open_refusal(front), refusal(front), refusal(front, *parts)]
    assert all(own.behind[1].folder.name in one for one in told)
    assert not any("tr0ub4dor" in one for one in told)


def test_what_lies_elsewhere_is_refused_by_a_part_and_nothing_of_it_is_kept(apart: Apart) -> None:
    here, there = sorted(HULLS[:20], key=lambda hull: place_of(hull) & 1)[::19]
    with closing(PostgresStore(apart.front)) as store, psycopg.connect(apart.parts[0], autocommit=True) as part:
        store.put_if_absent(some(here, there), "t", NOON, 0)
        with pytest.raises(psycopg.errors.RaiseException, match="lies on part 1, this is part 0 of 2"):
            part.execute(
                "select garboard.put(1, 't', 1, 0, %s, %s, %s, %s, %s)",
                ([place_of(here), place_of(there)], [here, there], [bytes(16)] * 2, ["{}"] * 2, ['"k"'] * 2),
            )
        for verb in ("ids", "kinds"):
            with pytest.raises(psycopg.errors.RaiseException, match="in another order"):
                part.execute(f"select garboard.{verb}(%s, 1, %s)", (place_of(there), there))
        assert len(store.ids(here)) == len(store.ids(there)) == 5
    assert rows(apart.parts[0], "select count(*) from garboard.entry") == [(5,)]


def test_what_a_part_refuses_only_when_it_commits_is_not_called_saved(apart: Apart) -> None:
    """The part's rows are told before its commit; the answer waits for that."""
    here, there = sorted(HULLS[:20], key=lambda hull: place_of(hull) & 1)[::19]
    rows(
        apart.parts[1],
        "create function fail() returns trigger language plpgsql as $$ begin raise exception 'no commit'; end $$;"
        " create constraint trigger fail after insert on garboard.delivery deferrable initially deferred"
        " for each row execute function fail()",
    )
    with closing(PostgresStore(apart.front)) as store:
        with pytest.raises(NotSaved, match="no commit"):
            store.put_if_absent(some(here, there), "t", NOON, 0)
        assert store.ids(there) == frozenset()
        rows(apart.parts[1], "drop trigger fail on garboard.delivery")
        store.put_if_absent(some(here, there), "t", NOON, 0)
        assert len(store.ids(here)) == len(store.ids(there)) == 5


def test_parts_put_in_another_order_behind_a_shop_at_work_take_nothing_in_and_the_next_start_is_refused(
    apart: Apart,
) -> None:
    with closing(PostgresStore(apart.front)) as store:
        store.put_if_absent(some(*HULLS), "t", NOON, 0)
        options = dict[str, str](
            rows(
                apart.front, "select option_name, option_value from pg_foreign_server, pg_options_to_table(srvoptions)"
            )
        )
        rows(apart.front, f"alter server garboard options (set p0 '{options['p1']}', set p1 '{options['p0']}')")
        with pytest.raises(NotSaved, match="in another order"):
            store.put_if_absent(some(*HULLS, numbers=range(10)), "t", NOON, 0)
        assert "that one in its place" in open_refusal(apart.front)
        shard_shop(apart.front, apart.parts)
        assert len(store.put_if_absent(some(*HULLS, numbers=range(10)), "t", NOON, 0).added) == 150


def test_parts_another_version_made_are_refused_and_the_command_given_again_brings_them_up(
    spread: SpreadClusters, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(schema, "EDITION", "older")
        patch.setattr("garboard_shop.postgres.database.EDITION", "older")
        old = Apart(spread)
    told = open_refusal(old.front)
    assert "garboard shop-spread" in told
    assert told.count("number ") == 2
    shard_shop(old.front, ())
    with closing(PostgresStore(old.front)) as store:
        assert len(store.put_if_absent(some(*HULLS), "t", NOON, 0).added) == 150
    for url in (old.front, *old.parts):
        assert rows(url, "select version, functions from garboard.about") == [(VERSION, EDITION)]


def test_what_one_of_two_shop_servers_puts_the_other_sees_at_once(new_yard: Callable[[str], str]) -> None:
    url = new_yard("spread")
    with closing(PostgresStore(url)) as one, closing(PostgresStore(url)) as two:
        for number in range(10):
            here, there = (one, two) if number % 2 else (two, one)
            here.put_if_absent(some(*HULLS[:4], numbers=range(number + 1)), "t", NOON, 0)
            assert there.digests() == here.digests()
            assert {held.entries for held in there.digests().values()} == {number + 1}


def test_a_put_under_way_on_one_part_is_seen_at_the_next_look(apart: Apart) -> None:
    """Transactions end in another order than they began, and each part counts its own."""
    here, other = HULLS[0], next(hull for hull in HULLS[1:] if (place_of(hull) ^ place_of(HULLS[0])) & 1 == 0)
    with closing(PostgresStore(apart.front)) as store, psycopg.connect(apart.parts[place_of(here) & 1]) as slow:
        slow.execute("insert into garboard.hull (yard, hull, entries) values (1, %s, 1)", (other,))
        slow.execute("insert into garboard.entry values (1, %s, %s, '{}')", (other, bytes(16)))
        store.put_if_absent(some(here), "t", NOON, 0)
        assert store.digests().keys() == store.digests().keys() == {here}
        slow.commit()
        assert store.digests()[other] == Holding(hashlib.sha256(b"0" * 32).hexdigest(), 1)


def test_a_part_put_back_from_a_copy_is_read_anew_and_the_others_are_not_doubted(apart: Apart) -> None:
    with closing(PostgresStore(apart.front)) as store:
        store.put_if_absent(some(*HULLS), "t", NOON, 0)
        before = store.digests()
        rows(apart.parts[0], "truncate garboard.hull, garboard.entry, garboard.kind, garboard.delivery")
        left = {hull for hull in HULLS if place_of(hull) & 1}
        assert store.digests() == {hull: before[hull] for hull in left}
        assert len(store.put_if_absent(some(*HULLS), "t", NOON, 0).added) == 5 * (30 - len(left))
        assert store.digests() == before


@pytest.mark.parametrize("at_once", [1, 2, 3, 7, 500])
def test_deliveries_noted_by_several_parts_come_in_order_and_none_is_skipped_between_pages(
    new_yard: Callable[[str], str], monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    """Many at one moment, and one part with many more than the other."""
    monkeypatch.setattr(hulls, "DELIVERIES_AT_ONCE", at_once)
    lonely = next(hull for hull in HULLS if place_of(hull) & 1)
    busy = [hull for hull in HULLS if not place_of(hull) & 1][:4]
    with closing(PostgresStore(new_yard("spread"))) as store:
        for number in range(24):
            keys = [busy[number % 4], *([lonely] if number % 7 == 0 else [])]
            store.put_if_absent(some(*keys, numbers=range(number, number + 1)), f"t{number}", NOON + number // 5, 0)
        found = list(store.deliveries(NOON, NOON + 10))
        assert [one.at for one in found] == sorted(one.at for one in found)
        noted = [(hull, name) for one in found for hull, names in one.ids.items() for name in names]
        assert len(noted) == len(set(noted)) == 24 + 4
        assert {hull: sum(1 for key, _ in noted if key == hull) for hull in store.digests()} == {
            hull: held.entries for hull, held in store.digests().items()
        }
        assert [one.at - NOON for one in store.deliveries(NOON + 1, NOON + 1)] == [1] * (5 + 1)


@pytest.mark.parametrize("over", ["cluster", "spread"])
def test_an_attachment_cut_off_before_it_was_proved_is_not_finished_and_whoever_comes_next_ends_it(
    new_yard: Callable[[str], str], over: str
) -> None:
    """As left by a shop server that ended between the last piece and the proof."""
    good, bad = os.urandom(3000), os.urandom(3000)
    with closing(PostgresStore(new_yard(over))) as store:
        database = store._database
        for content, sent in ((good, good), (bad, os.urandom(3000))):
            name = hashlib.sha256(content).hexdigest()
            database.save("attachment_add", place_of(name), database.yard, name, 0, sent, 3000)
            assert store.attachments.held(name) == 3000
        assert store.attachments.sizes() == {}
        name = hashlib.sha256(good).hexdigest()
        with pytest.raises(KeyError):
            store.attachments.read(name, 0, 10)
        assert store.attachments.add(name, 3000, b"", 3000) == 3000
        assert store.attachments.read(name, 0, 3000) == good
        with pytest.raises(Exception, match="not what its name says"):
            store.attachments.add(hashlib.sha256(bad).hexdigest(), 3000, b"", 3000)
        assert store.attachments.held(hashlib.sha256(bad).hexdigest()) == 0


@pytest.mark.long
def test_a_part_killed_while_entries_come_in_loses_nothing_that_was_answered(own: SpreadClusters) -> None:
    """kill -9 of one part's server again and again while three put; then everything is put once more."""
    url = own.database()
    answered: set[str] = set()
    failed: list[BaseException] = []
    stop = threading.Event()
    cut: list[Exception] = []

    def put(store: PostgresStore, number: int) -> None:
        batch = 0
        while not stop.is_set():
            numbers = range(batch, batch + 5)
            try:
                answered.update(
                    store.put_if_absent(some(*HULLS[number::3], numbers=numbers), f"t{number}", NOON, 0).added
                )
                batch += 5
            except (StoreAway, NotSaved) as failure:
                cut.append(failure)
            except BaseException as failure:
                failed.append(failure)
                return

    with closing(PostgresStore(url)) as store:
        threads = [threading.Thread(target=put, args=(store, number)) for number in range(3)]
        for thread in threads:
            thread.start()
        for kill in range(4):
            until = len(answered) + 300
            while len(answered) < until and not failed:
                stop.wait(0.01)
            with away(own.behind[kill % 2]):
                pass
        stop.set()
        for thread in threads:
            thread.join(60)
        assert failed == []
        assert cut
        assert not [failure for failure in cut if isinstance(failure, NotSaved)]
        assert len(answered) >= 1200
        held = {name for hull in HULLS for name in store.ids(hull)}
        assert answered <= held
        most = max(len(store.ids(hull)) for hull in HULLS)
        added = store.put_if_absent(some(*HULLS, numbers=range(most)), "t", NOON, 0).added
        assert len(added) == 30 * most - len(held)
        assert store.put_if_absent(some(*HULLS, numbers=range(most)), "t", NOON, 0).added == ()
        assert {one.entries for one in store.digests().values()} == {most}
        assert all(store.kinds(hull) == {"measure": most} for hull in HULLS)
        noted = [name for one in store.deliveries(0, NOON) for names in one.ids.values() for name in names]
        assert len(noted) == len(set(noted)) == 30 * most


@pytest.mark.parametrize("which", ["front", "behind"])
def test_while_a_server_is_away_tablets_are_told_to_come_back_and_afterwards_work_goes_on(
    own: SpreadClusters, tmp_path: Path, which: str
) -> None:
    cluster = own.front if which == "front" else own.behind[0]
    store = PostgresStore(own.database())
    with RunningShop(tmp_path / "shop", store=store) as shop:
        paired = shop.paired()
        store.put_if_absent(some(*HULLS), "t", NOON, 0)
        before = store.digests()
        with away(cluster):
            store._database._pool.timeout = 0.5
            heard = ask_raw(shop.port, "GET", "/v1/digests", token=paired.token)
            assert heard.status == 503
            assert "cannot reach its database" in heard.text
        store._database._pool.timeout = 20
        heard = ask_raw(shop.port, "GET", "/v1/digests", token=paired.token)
        assert heard.status == 200
        assert store.digests() == before
        assert store.put_if_absent(some(*HULLS), "t", NOON, 0).added == ()


def test_a_decision_over_two_shards_of_which_one_stops_stands_on_both_once_that_is_back(own: SpreadClusters) -> None:
    """It is ended by the next question of the server that took it, or before another server of the shop decides."""
    url, places = own.database(), {place_of(hull) & 1: hull for hull in HULLS}
    with closing(PostgresStore(url)) as one, closing(PostgresStore(url)) as other:
        for first in (0, 2):
            offered = some(*places.values(), numbers=range(first, first + 2))
            with away(own.behind[1]):
                with pytest.raises(KeptToFinish):
                    one.put_together(offered, "page", NOON)
                with pytest.raises(StoreAway):
                    one.digests()
            if first:
                with other.deciding():
                    pass
            else:
                one.digests()
            assert all(entries.keys() <= one.ids(hull) for hull, entries in offered.items())
            assert rows(url, "select * from garboard.together") == []
        noted = [name for each in one.deliveries(0, NOON) for names in each.ids.values() for name in names]
        assert len(noted) == len(set(noted)) == 8


def test_a_shop_over_two_parts_is_copied_to_four_and_the_counts_compared(
    spread: SpreadClusters, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of the four on each of two servers."""
    monkeypatch.delenv("GARBOARD_SHOP_STORE", raising=False)
    two, four = spread.database(), spread.front.database()
    shard_shop(four, [cluster.database() for cluster in (*spread.behind, *spread.behind)])
    content = os.urandom(1000)
    with closing(PostgresStore(two)) as store:
        store.put_if_absent(some(*HULLS), "t", NOON, 0)
        store.put_if_absent(some(*HULLS[:7], numbers=range(8)), "t", NOON + 1, 0)
        store.attachments.add(hashlib.sha256(content).hexdigest(), 0, content, 1000)
        before = store.digests()
    told = CliRunner().invoke(program, ["shop", "--store", two, "--copy-to", four])
    assert told.exit_code == 0, told.output
    lines = [line.split() for line in told.output.splitlines()]
    assert ["hulls", "30", "here", "30", "in", "the", "copy"] in lines
    assert ["entries", "171", "here", "171", "in", "the", "copy"] in lines
    assert ["attachments", "1", "here", "1", "in", "the", "copy"] in lines
    with closing(PostgresStore(four)) as store:
        assert store.digests() == before
        assert store.attachments.read(hashlib.sha256(content).hexdigest(), 0, 1000) == content
