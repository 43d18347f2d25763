"""A shop kept in PostgreSQL: rows a second, a thousand tablets at once, and what a million entries cost.

Run by hand:  python tests/bench/bench_postgres.py rates tablets growth
Loopback only: a server of its own on a socket in a temporary folder, flushing as a real one does.
With PL/Proxy installed, rates are also taken of a shop spread over two servers behind a third.
Goals: putting in within twice the bare statements of the same run; one hull's digest, ids and entries at a million
entries within 1.5 times what they take at ten thousand; no deadlock.
"""

from __future__ import annotations

import argparse
import asyncio
import hashlib
import itertools
import json
import os
import random
import resource
import statistics
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import attrs
import psycopg

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.writers import entry_number
from garboard.disk.entries import entry_id
from garboard.disk.hullfile import CheckedEntries
from garboard.shop_link import wire
from garboard_shop import access
from garboard_shop.app import make_app
from garboard_shop.postgres import PostgresStore
from garboard_shop.store import TECHNICIAN, Store, Tablet
from postgres_cluster import Cluster, Servers, SpreadClusters, why_not_here, why_not_spread

A_REQUEST = 500
A_HULL = 200
NOON = 1_778_752_800_000
AT_ONCE = 100


def hull_number(number: int) -> str:
    return f"ABC{number:05d}A526"


def made(hull: str, numbers: range) -> CheckedEntries:
    """Invented entries of one hull, about 300 bytes each; quickly, from one as a pattern."""
    pattern = entry_number(7_777_777, hull, tablet="tablet-" + "0" * 40).raw
    entries = CheckedEntries()
    for number in numbers:
        raw = pattern.replace(b"7777777", str(number).encode())
        entries[entry_id(raw)] = raw
    return entries


# rates


def rates(cluster: Cluster) -> None:
    """New and known entries a second, 500 a transaction, one connection; against bare statements in the same run.

    The second figure is by processor time of both sides together, which other work on the machine does not change.
    """
    batches = [{hull_number(number % 50): made(hull_number(number % 50), _share(number))} for number in range(60)]
    runs: dict[str, list[list[float]]] = {}
    for _ in range(3):
        with closing(PostgresStore(cluster.database())) as store:
            runs.setdefault("the store", []).append(_twice(cluster, lambda batch: _put(store, batch), batches))
        for name, put in (("bare: a pipelined statement a row", _executemany), ("bare: copy", _copy)):
            runs.setdefault(name, []).append(_bare(cluster, batches, put))
        if not why_not_spread():
            with SpreadClusters() as spread, closing(PostgresStore(spread.database())) as store:
                runs.setdefault("the store over two servers", []).append(
                    _twice(spread, lambda batch: _put(store, batch), batches)
                )
    print(f"{'rows a second, and a second of CPU':<38}{'new':>10}{'(CPU)':>10}{'known':>10}{'(CPU)':>10}")
    for name, taken in runs.items():
        medians = (len(batches) * A_REQUEST / statistics.median(one) for one in zip(*taken, strict=True))
        print(f"{name:<38}" + "".join(f"{one:>10,.0f}" for one in medians))
    url = cluster.database()
    for writers in (1, 2, 4):
        with closing(PostgresStore(f"{url}&yard={writers}")) as store:
            taken_together = _side_by_side(store, batches, writers)
            print(f"the store, {writers} at once{'':<18}{len(batches) * A_REQUEST / taken_together:>10,.0f}")


def _share(number: int) -> range:
    return range(number * A_REQUEST, (number + 1) * A_REQUEST)


def _put(store: Store, batch: dict[str, CheckedEntries]) -> None:
    store.put_if_absent(batch, "tablet", NOON, 0)


def _twice(
    cluster: Servers, put: Callable[[dict[str, CheckedEntries]], None], batches: list[dict[str, CheckedEntries]]
) -> list[float]:
    """Wall and processor time of putting all in, then of putting all in again [s]."""
    taken = []
    for _ in range(2):
        start, used = time.perf_counter(), cluster.processor_time() + time.process_time()
        for batch in batches:
            put(batch)
        taken += [time.perf_counter() - start, cluster.processor_time() + time.process_time() - used]
    return taken


def _bare(
    cluster: Cluster,
    batches: list[dict[str, CheckedEntries]],
    put: Callable[[psycopg.Connection, list[tuple[object, ...]]], None],
) -> list[float]:
    url = cluster.database()
    PostgresStore(url).close()
    with psycopg.connect(url) as connection:
        connection.execute("create temporary table arriving (like garboard.entry)")

        def put_batch(batch: dict[str, CheckedEntries]) -> None:
            rows: list[tuple[object, ...]] = [
                (1, hull, bytes.fromhex(name), raw.decode())
                for hull, entries in batch.items()
                for name, raw in sorted(entries.items())
            ]
            put(connection, rows)
            connection.commit()

        return _twice(cluster, put_batch, batches)


def _executemany(connection: psycopg.Connection, rows: list[tuple[object, ...]]) -> None:
    connection.cursor().executemany("insert into garboard.entry values (%s, %s, %s, %s) on conflict do nothing", rows)


def _copy(connection: psycopg.Connection, rows: list[tuple[object, ...]]) -> None:
    with connection.cursor().copy("copy arriving from stdin") as copying:
        for row in rows:
            copying.write_row(row)
    connection.execute("insert into garboard.entry select * from arriving on conflict do nothing")
    connection.execute("truncate arriving")


def _side_by_side(store: Store, batches: list[dict[str, CheckedEntries]], writers: int) -> float:
    def work(number: int) -> None:
        for batch in batches[number::writers]:
            _put(store, batch)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(writers)]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.perf_counter() - start


# a thousand tablets


@attrs.define
class Visit:
    """One tablet coming ashore."""

    seconds: float = 0.0
    requests: int = 0
    sent: int = 0
    received: int = 0


@attrs.define
class Simulated:
    """A tablet that speaks the protocol to an application in this process."""

    app: object
    token: str
    hull: str
    held: CheckedEntries

    async def ask(self, visit: Visit, method: str, path: str, body: bytes = b"", tag: str = "") -> tuple[int, bytes]:
        fields = [
            (b"authorization", f"Bearer {self.token}".encode()),
            (b"content-length", str(len(body)).encode()),
            (wire.DEVICE.lower().encode(), self.token[-12:].encode()),
        ]
        if body:
            fields.append((b"content-digest", wire.content_digest(body).encode()))
        sent: list[dict[str, object]] = []

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: dict[str, object]) -> None:
            sent.append(message)

        path, _, query = path.partition("?")
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "https",
            "path": path, "raw_path": path.encode(), "query_string": query.encode(), "headers": fields,
            "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 443),
        }  # fmt: skip
        await self.app(scope, receive, send)  # type: ignore[operator]
        visit.requests += 1
        return int(str(sent[0]["status"])), b"".join(part.get("body", b"") for part in sent[1:])  # type: ignore[misc]

    async def come_ashore(self) -> Visit:
        """Digests, the difference of this tablet's hull, what the shop lacks, and digests once more."""
        visit, start = Visit(), time.perf_counter()
        await self._digest(visit)
        status, body = await self.ask(visit, "POST", "/v1/diff", wire.question({self.hull: self.held}, 32))
        assert status == 200, body
        differences = wire.read_answer(body)
        for raw in differences.lines:
            self.held[entry_id(raw)] = raw
            visit.received += 1
        wanted = [self.held[name] for name in differences.needs.get(self.hull, ())]
        for first in range(0, len(wanted), wire.MOST_ENTRIES):
            share = wanted[first : first + wire.MOST_ENTRIES]
            status, body = await self.ask(visit, "POST", "/v1/entries", wire.lines_of(share))
            assert status == 200, body
            visit.sent += json.loads(body)["kept"]
        await self._digest(visit)
        visit.seconds = time.perf_counter() - start
        return visit

    async def _digest(self, visit: Visit) -> None:
        status, body = await self.ask(visit, "GET", "/v1/digests")
        assert status == 200, body


def tablets(cluster: Cluster, count: int) -> None:
    """So many tablets, four to a hull, a first day of 60 entries each and then a visit with one new entry."""
    url = cluster.database()
    with closing(PostgresStore(url)) as store:
        app = make_app(store)
        crowd = []
        for number in range(count):
            token = f"{number:043d}"
            store.register.add_tablet(
                Tablet(id=f"id{number}", name="t", role=TECHNICIAN, token_hash=access.hashed(token), paired_at=NOON)
            )
            hull = hull_number(number // 4)
            crowd.append(Simulated(app, token, hull, made(hull, range(1000 * number, 1000 * number + 60))))
        total = 60 * count
        _report("first day", asyncio.run(_all_ashore(crowd)), url)
        for number, one in enumerate(crowd):
            one.held.update(made(one.hull, range(1000 * number + 500, 1000 * number + 501)))
        total += count
        _report("one new each", asyncio.run(_all_ashore(crowd)), url)
        _report("once more", asyncio.run(_all_ashore(crowd)), url)
        held = store.digests()
        whole = sum(
            held[one.hull].digest == hashlib.sha256("".join(sorted(one.held)).encode()).hexdigest() for one in crowd
        )
        print(
            f"{sum(one.entries for one in held.values())} entries held of {total}; "
            f"{whole} of {count} tablets hold all of their hull"
        )


async def _all_ashore(crowd: list[Simulated]) -> tuple[float, list[Visit]]:
    places = asyncio.Semaphore(AT_ONCE)

    async def one_ashore(one: Simulated) -> Visit:
        async with places:
            return await one.come_ashore()

    start = time.perf_counter()
    visits = await asyncio.gather(*map(one_ashore, random.Random(1).sample(crowd, len(crowd))))
    return time.perf_counter() - start, list(visits)


def _report(name: str, outcome: tuple[float, list[Visit]], url: str) -> None:
    wall, visits = outcome
    taken = sorted(visit.seconds for visit in visits)
    requests = sum(visit.requests for visit in visits)
    with psycopg.connect(url) as connection:
        row = connection.execute(
            "select deadlocks, xact_rollback from pg_stat_database where datname = current_database()"
        ).fetchone()
    print(
        f"{name:<14}{len(visits)} tablets in {wall:6.1f} s, {len(visits) / wall:5.0f} a second, "
        f"{requests / wall:6.0f} requests/s; a visit {statistics.median(taken) * 1000:5.0f} ms in the middle, "
        f"{taken[int(len(taken) * 0.95)] * 1000:5.0f} ms at 95 %; {sum(one.sent for one in visits)} sent, "
        f"{sum(one.received for one in visits)} received; (deadlocks, rollbacks) {row}"
    )


# growth


def growth(cluster: Cluster, most: int) -> None:
    """A yard of ten thousand entries and one of a million, 200 a hull, asked in turns: noise hits both alike."""
    stores: list[Store] = []
    for size in (10_000, most):
        url = cluster.database()
        stores.append(PostgresStore(url))
        begun = _written(url)
        start = time.perf_counter()
        _grow(stores[-1], 0, size)
        taken = time.perf_counter() - start
        log = _written(url) - begun
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("vacuum analyze")
            row = connection.execute("select pg_database_size(current_database())").fetchone() or (0,)
        print(
            f"{size} entries in {size // A_HULL} hulls put in {taken:.0f} s; bytes an entry: "
            f"{row[0] / size:.0f} on disk, {log / size:.0f} of write-ahead log"
        )
    small, large = (_works(store, size) for store, size in zip(stores, (10_000, most), strict=True))
    for name in small:
        taken_by: tuple[list[float], list[float]] = ([], [])
        for _ in range(41):
            for work, taken_there in zip((small[name], large[name]), taken_by, strict=True):
                taken_there.append(work())
        then, now = (statistics.median(one) * 1000 for one in taken_by)
        print(f"{name:<42}{then:>8.2f} ms{now:>8.2f} ms  ratio {now / then:.2f}")
    for store in stores:
        store.close()


def _written(url: str) -> int:
    """How much write-ahead log the server has written so far [bytes]."""
    with psycopg.connect(url) as connection:
        row = connection.execute("select pg_current_wal_lsn() - '0/0'::pg_lsn").fetchone() or (0,)
        return int(row[0])


def _grow(store: Store, size: int, target: int) -> int:
    """Put entries in until so many are held: a request of 500 lies in two or three hulls."""
    while size < target:
        offered: dict[str, CheckedEntries] = {}
        for hull in range(size // A_HULL, min(size + A_REQUEST, target) // A_HULL):
            offered[hull_number(hull)] = made(hull_number(hull), range(hull * A_HULL, (hull + 1) * A_HULL))
        store.put_if_absent(offered, "tablet", NOON + size, 0)
        size += sum(map(len, offered.values()))
    store.digests()
    return size


_new = iter(range(10_000_000, 100_000_000, 20))


def _works(store: Store, size: int) -> dict[str, Callable[[], float]]:
    """What is asked of a store, each by name; a call tells how long it took [s]."""
    hulls = [hull_number(number) for number in random.Random(3).sample(range(size // A_HULL), 41)]
    ids = {hull: sorted(store.ids(hull)) for hull in hulls}
    turn = itertools.cycle(hulls)

    def timed(work: Callable[[], object], before: Callable[[], object] = lambda: None) -> Callable[[], float]:
        def call() -> float:
            before()
            start = time.perf_counter()
            work()
            return time.perf_counter() - start

        return call

    def put() -> None:
        hull, number = next(turn), next(_new)
        store.put_if_absent({hull: made(hull, range(number, number + 20))}, "tablet", NOON - 1_000_000, 0)

    def get() -> None:
        hull = next(turn)
        store.get(hull, ids[hull])

    return {
        "digests, nothing new": timed(store.digests),
        "digests, one hull changed": timed(store.digests, put),
        "ids of a hull": timed(lambda: store.ids(next(turn))),
        "200 entries of a hull": timed(get),
        "kinds of a hull": timed(lambda: store.kinds(next(turn))),
        "put 20": timed(put),
        "deliveries of the day, 20 of 500 entries": timed(lambda: list(store.deliveries(NOON, NOON + 9_999))),
    }


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", nargs="*", default=["rates", "tablets", "growth"])
    options.add_argument("--tablets", type=int, default=1000)
    options.add_argument("--entries", type=int, default=1_000_000)
    chosen = options.parse_args()
    if reason := why_not_here():
        print(reason)
        return 1
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    with Cluster() as cluster:
        if "rates" in chosen.what:
            rates(cluster)
        if "tablets" in chosen.what:
            tablets(cluster, chosen.tablets)
        if "growth" in chosen.what:
            growth(cluster, chosen.entries)
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(f"this program: {used.ru_utime + used.ru_stime:.0f} s of CPU, {used.ru_maxrss / 1024:.0f} MB at most")
    return 0


if __name__ == "__main__":
    sys.exit(main())
