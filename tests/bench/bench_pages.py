"""How the pages' answers grow with what the shop holds: the same day, with little and with much on the days before.

And what the shop needs to start: the first answer to "what do you hold" and the memory, medians of five processes; and
the time until all boats can be searched.

Run:  python tests/bench/bench_pages.py --entries 10000 1000000
      python tests/bench/bench_pages.py --rows 100 100000
      python tests/bench/bench_pages.py --rows 100 100000 --postgres

With --rows: how answers grow with the boats a shop has, each with an entry and a row in its memory. Goal: at most 1.3,
in processor time: of this process, and of the database's. Where the smaller shop shows fewer lines, the table says so.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from statistics import median

import attrs
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parents[1]))


from garboard.disk.entries import entry_id
from garboard.disk.hullfile import CheckedEntries
from garboard.hosting.host import make_host
from garboard_shop.app import make_app
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.moving import copy_shop
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.views import routes_of
from garboard_shop.postgres import PostgresStore
from garboard_shop.store import Store
from pages_rig import CHIEF, NOON, PASSWORD, SALTGRASS, make_shop
from postgres_cluster import Cluster
from shop_of_rows import fill_with_rows, one_entry

A_BOAT = 200
ASKED = 101
ROUNDS = 5
A_DAY = 24 * 60 * 60 * 1000
PAGES = {
    "day sheet": "/days/2026-11-25",
    "a boat": f"/boats/{SALTGRASS}",
    "search": "/boats?q=saltgrass",
    "search, a word that all but four have and another": "/boats?q=boat+xyz00007",
}

AFTER_A_CHANGE = "insight, after a boat changed"
WITH_ROWS = {
    "board": "/board",
    "board, all jobs by boat, page 2": "/board?view=all&sort=boat&page=2",
    "board, stuck": "/board?view=stuck&sort=days",
    "board, one technician's that fail": "/board?technician=T.+Quill&state=failing",
    "board, fails by code": "/board?failing=wiring_audit.labels.unlabelled",
    "board, search": "/board?q=northlight",
    "board, search with a slip": "/board?q=northlihgt",
    "board, part of a hull number": "/board?view=all&q=00042",
    "board, two words of few": "/board?view=all&q=plover+00001",
    "board, handed over in eight weeks": "/board?view=all&handed=2026-10-05%2B56&sort=took",
    "insight": "/insight",
    AFTER_A_CHANGE: "/insight",
    "memory": "/memory",
    "day sheet": "/days/2026-11-25",
    "a boat": f"/boats/{SALTGRASS}",
    "tablets": "/tablets",
    "settings": "/settings",
}


def fill(store: EmbeddedStore, entries: int) -> None:
    """Boats of 200 entries each, brought on the 300 days before."""
    for number in range((entries - sum(one.entries for one in store.digests().values())) // A_BOAT):
        hull = f"XYZ{number:05}A626"
        raws = [one_entry(hull, number, place) for place in range(A_BOAT)]
        offered = {hull: CheckedEntries((entry_id(raw), raw) for raw in raws)}
        store.put_if_absent(offered, "000000000001", NOON - A_DAY * (2 + number % 300), 0)


def started(folder: Path) -> str:
    """What a shop server needs before its first answer, as a line of the report."""
    runs = []
    for _ in range(ROUNDS):
        done = subprocess.run(
            [sys.executable, __file__, "--holding", str(folder)], capture_output=True, text=True, check=True
        )
        runs.append(json.loads(done.stdout))
    entries, first, later, memory = (median(column) for column in zip(*runs, strict=True))
    return (
        f"{entries:.0f} entries held: first answer after {first:.2f} s, later ones {later * 1000:.1f} ms,"
        f" {memory:.0f} MB beyond an empty process"
    )


def holding(folder: Path) -> None:
    """Open a shop and ask it twice what it holds."""
    empty = _memory("VmRSS")
    began = time.perf_counter()
    store = EmbeddedStore(folder)
    held = store.digests()
    first = time.perf_counter() - began
    began = time.perf_counter()
    store.digests()
    later = time.perf_counter() - began
    beyond = _memory("VmHWM") - empty
    print(json.dumps([sum(one.entries for one in held.values()), first, later, beyond]))


def _memory(name: str) -> float:
    """Of this process [MB]. Linux; `getrusage` would give the peak of the process that started it."""
    return int(Path("/proc/self/status").read_text().split(f"{name}:")[1].split()[0]) / 1024


@attrs.frozen
class Opened:
    """A shop's pages, and somebody signed in."""

    desk: ShopDesk
    client: TestClient
    cluster: Cluster | None = None

    def change_a_boat(self) -> None:
        """One row says something else than before."""
        memory = self.desk.remembering.memory
        row = memory.rows()[0]
        jobs = tuple(attrs.evolve(job, changed=job.changed + 1) for job in row.jobs)
        memory.take(attrs.evolve(row, jobs=jobs))


def opened(store: Store, with_search: bool = True) -> Opened:
    """Someone signed in, all boats of the day assessed, and all hulls and rows read before.

    with_search : whether all hulls are read for the search over boats, whose growth is asked by entries
    """
    desk = ShopDesk(store, make_host(entry_points=False), now=lambda: NOON)
    client = TestClient(
        make_app(store, now=lambda: NOON, routes=routes_of(desk)), base_url="https://shop.test", follow_redirects=False
    )
    client.post("/sign-in", data={"name": CHIEF, "password": PASSWORD})
    began = time.perf_counter()
    jobs_read = len(desk.remembering.memory.jobs())
    print(f"  {jobs_read} jobs on the board after {time.perf_counter() - began:.1f} s", flush=True)
    if with_search:
        desk.index.refresh()
        took = time.perf_counter() - began
        print(f"  all its {len(store.digests())} boats can be searched after {took:.1f} s", flush=True)
    desk.insights.of(desk.remembering.memory)
    desk.insights.wait()
    return Opened(desk, client)


def time_to_answer(shop: Opened, path: str) -> tuple[float, int]:
    """Processor time of this process [s]; and how many lines the board showed."""
    began = time.process_time()
    answer = shop.client.get(path)
    took = time.process_time() - began
    if answer.status_code != 200:
        raise SystemExit(f"{path}: {answer.status_code}")
    return took, answer.text.count("<a data-row ")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--entries", type=int, nargs=2, default=(10_000, 1_000_000))
    options.add_argument("--rows", type=int, nargs=2, help="boats with a row each, instead of entries")
    options.add_argument("--postgres", action="store_true", help="with --rows: in PostgreSQL")
    options.add_argument("--holding", type=Path, help="a shop's folder: only what it needs to start")
    chosen = options.parse_args()
    if chosen.holding:
        holding(chosen.holding)
        return
    if chosen.rows:
        over_rows(chosen.rows, chosen.postgres)
        return
    sizes = chosen.entries
    with tempfile.TemporaryDirectory() as base:
        shops = []
        for entries in sizes:
            folder = make_shop(Path(base) / str(entries))
            store = EmbeddedStore(folder)
            fill(store, entries)
            store.close()
            print(started(folder), flush=True)
            shops.append(opened(EmbeddedStore(folder)))
        compare(shops, PAGES, sizes, "entries")


def compare(shops: Sequence[Opened], pages: Mapping[str, str], sizes: Sequence[int], what: str) -> None:
    """Ask each for each page in turn, so that a busy moment weighs on both; the table of processor times.

    Of this process the median; of a shop's database the mean, as the system counts its time in hundredths of a second.
    """
    load = Path("/proc/loadavg").read_text().split()[0]
    print(f"load average {load}\n| page | {sizes[0]} {what} | {sizes[1]} {what} | ratio | lines |")
    print("| --- | --- | --- | --- | --- |")
    for name, path in pages.items():
        lines = [time_to_answer(shop, path)[1] for shop in shops]
        times: list[list[float]] = [[] for _ in shops]
        began = [database_time(shop) for shop in shops]
        for _ in range(ASKED):
            for shop, found in zip(shops, times, strict=True):
                if name == AFTER_A_CHANGE:
                    shop.change_a_boat()
                found.append(time_to_answer(shop, path)[0])
        of_databases = [(database_time(shop) - at) / ASKED for shop, at in zip(shops, began, strict=True)]
        little, much = (median(found) + more for found, more in zip(times, of_databases, strict=True))
        shown = " and ".join(map(str, dict.fromkeys(lines))) if any(lines) else ""
        print(f"| {name} | {little * 1000:.1f} ms | {much * 1000:.1f} ms | {much / little:.2f} | {shown} |", flush=True)


def database_time(shop: Opened) -> float:
    """What the database of a shop has used so far [s]."""
    return shop.cluster.processor_time() if shop.cluster else 0.0


def over_rows(sizes: Sequence[int], in_postgres: bool) -> None:
    """How answers grow with the boats of a shop, by their rows."""
    with tempfile.TemporaryDirectory() as base, ExitStack() as stack:
        shops = []
        for number in sizes:
            store: Store = EmbeddedStore(make_shop(Path(base) / str(number)))
            cluster = None
            if in_postgres:
                cluster = stack.enter_context(Cluster())
                day, store = store, PostgresStore(cluster.database())
                copy_shop(day, store)
            fill_with_rows(store, number)
            shops.append(attrs.evolve(opened(store, with_search=False), cluster=cluster))
        compare(shops, WITH_ROWS, sizes, "boats")


if __name__ == "__main__":
    main()
