"""A shop's database put back from yesterday's copy by PostgreSQL's own programs: the tablets bring back the rest."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict

from campaigns.sync_campaign import Server
from campaigns.writers import entry_number
from garboard.disk.entries import Entry
from garboard.disk.hullfile import CheckedEntries, HullFolder
from garboard.shop_link import sync
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.sync import NotPaired, bring_ashore
from garboard_shop.postgres import PostgresStore
from garboard_shop.postgres.database import address_of, connected
from postgres_cluster import Cluster, programs

HULL, OTHER, NEW_TODAY = "ABC00001A526", "ABC00002A526", "XYZHJKLMF626"
YESTERDAYS_RUN, TODAYS_RUN = b"yesterday's run" * 1000, b"today's run" * 1000


@pytest.fixture
def server(cluster: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """A shop server over a new database."""
    monkeypatch.setenv("GARBOARD_SHOP_STORE", cluster.database())
    running = Server(tmp_path / "office", forked=True)
    running.first_code = running.start()
    yield running
    running.kill()


@pytest.fixture
def tablets(server: Server, tmp_path: Path) -> Iterator[list[tuple[HullFolder, PairedShop]]]:
    """Two paired tablets."""
    codes = [server.first_code, server.new_code()]
    made = [(HullFolder(tmp_path / f"tablet {at}"), sync.pair(code, f"tablet {at}")) for at, code in enumerate(codes)]
    yield made
    for folder, _ in made:
        folder.close()


def program(name: str, *arguments: str | Path) -> None:
    """One of PostgreSQL's own programs."""
    where = programs()
    assert where is not None
    subprocess.run([where / name, *arguments], check=True, capture_output=True, timeout=60)


def put(folder: HullFolder, hull: str, numbers: range) -> dict[str, Entry]:
    made = [entry_number(number, hull) for number in numbers]
    folder.put_if_absent(hull, made)
    return {entry.id: entry for entry in made}


def test_a_database_put_back_from_yesterday_is_brought_up_to_date_by_the_tablets(
    cluster: Cluster,
    server: Server,
    tablets: list[tuple[HullFolder, PairedShop]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Against the plain union of what was ever put on a tablet; whoever was paired since is a stranger to it."""
    (one, first), (two, second) = tablets
    everything = put(one, HULL, range(30)) | put(two, OTHER, range(100, 130))
    runs = {one.attachments.put(YESTERDAYS_RUN)}
    for folder, paired in (*tablets, tablets[0]):
        bring_ashore(folder, paired)
    copy = tmp_path / "yesterday.dump"
    program("pg_dump", "--format=custom", "--file", copy, os.environ["GARBOARD_SHOP_STORE"])

    everything |= put(one, HULL, range(30, 60)) | put(two, NEW_TODAY, range(200, 230))
    runs.add(two.attachments.put(TODAYS_RUN))
    for folder, paired in (*tablets, tablets[0]):
        bring_ashore(folder, paired)
    with HullFolder(tmp_path / "tablet 2") as three:
        third = sync.pair(server.new_code(), "tablet 2")
        bring_ashore(three, third)
        everything |= put(three, OTHER, range(130, 160))
        bring_ashore(three, third)

        server.kill()
        put_back = cluster.database()
        program("pg_restore", "--exit-on-error", "--dbname", put_back, copy)
        with closing(PostgresStore(put_back)) as store:
            assert {hull: holding.entries for hull, holding in store.digests().items()} == {HULL: 30, OTHER: 30}
        monkeypatch.setenv("GARBOARD_SHOP_STORE", put_back)
        server.start()

        with pytest.raises(NotPaired):
            bring_ashore(three, third)
        again = sync.pair(server.new_code(), "tablet 2")
        reports = [bring_ashore(*tablet) for tablet in ((three, again), (one, first), (two, second))]
        assert [report.equal for report in reports] == [True, True, True]
        for folder, paired in ((one, first), (two, second), (three, again)):
            assert bring_ashore(folder, paired).sent == 0
        with closing(PostgresStore(put_back)) as store:
            digests = {hull: holding.digest for hull, holding in store.digests().items()}
            held = {name: raw for hull in digests for name, raw in store.get(hull, store.ids(hull)).items()}
            assert store.attachments.sizes().keys() == runs
        assert held == {name: entry.raw for name, entry in everything.items()}
        assert all(folder.digests() == digests for folder in (one, two, three))


def test_a_tablet_removed_since_the_copy_was_made_takes_part_again(
    cluster: Cluster,
    server: Server,
    tablets: list[tuple[HullFolder, PairedShop]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As the README of the shop says of a shop put back: it has to be removed once more."""
    (folder, paired), _ = tablets
    copy = tmp_path / "yesterday.dump"
    program("pg_dump", "--format=custom", "--file", copy, os.environ["GARBOARD_SHOP_STORE"])
    with closing(PostgresStore(os.environ["GARBOARD_SHOP_STORE"])) as store:
        assert store.register.remove_tablet(paired.tablet, "the office", 1)
    with pytest.raises(NotPaired, match="removed"):
        bring_ashore(folder, paired)
    server.kill()
    put_back = cluster.database()
    program("pg_restore", "--exit-on-error", "--dbname", put_back, copy)
    monkeypatch.setenv("GARBOARD_SHOP_STORE", put_back)
    server.start()
    assert bring_ashore(folder, paired).equal


def test_a_database_put_back_as_a_copy_under_a_running_shop_server_is_told_anew(cluster: Cluster) -> None:
    """PostgreSQL copies a database file by file: its tables keep their numbers, and the server was not restarted."""
    today = cluster.database()
    name = str(conninfo_to_dict(today)["dbname"])
    entry = entry_number(1, HULL)
    with closing(PostgresStore(today)) as store, connected(address_of(cluster.database())) as elsewhere:

        def instead(of: str, by: str) -> None:
            asked = "select pg_terminate_backend(pid, 10000) from pg_stat_activity where datname in (%s, %s)"
            elsewhere.execute(asked, (of, by))
            elsewhere.execute(sql.SQL("drop database if exists {}").format(sql.Identifier(of)))
            elsewhere.execute(sql.SQL("create database {} template {}").format(*map(sql.Identifier, (of, by))))

        instead("yesterday", name)
        store.put_if_absent({HULL: CheckedEntries({entry.id: entry.raw})}, "t", 1, 0)
        assert store.digests().keys() == {HULL}
        instead(name, "yesterday")
        assert (store.digests(), store.ids(HULL)) == ({}, frozenset())
