"""How the pages' answers grow with what the shop holds: the same day, with little and with much on the days before.

And what the shop needs to start: the first answer to "what do you hold" and the memory, medians of five processes; and
the time until all boats can be searched.

Run:  python tests/bench/bench_pages.py --entries 10000 1000000
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard.disk.entries import canonical_bytes, entry_id
from garboard.disk.hullfile import CheckedEntries
from garboard.hosting.host import make_host
from garboard_shop.app import make_app
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.views import routes_of
from pages_rig import CHIEF, NOON, PASSWORD, SALTGRASS, make_shop

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


def fill(store: EmbeddedStore, entries: int) -> None:
    """Boats of 200 entries each, brought on the 300 days before."""
    for number in range((entries - sum(one.entries for one in store.digests().values())) // A_BOAT):
        hull = f"XYZ{number:05}A626"
        raws = [one_entry(hull, number, place) for place in range(A_BOAT)]
        offered = {hull: CheckedEntries((entry_id(raw), raw) for raw in raws)}
        store.put_if_absent(offered, "000000000001", NOON - A_DAY * (2 + number % 300), 0)


def one_entry(hull: str, number: int, place: int) -> bytes:
    fields: dict[str, object] = {
        "v": 1,
        "kind": "measure" if place else "field",
        "hull": hull,
        "job": f"job {number}",
        "subject": ["prop_check.full_throttle", "speed", str(place), ""] if place else ["name"],
        "value": f"{20 + place % 20}.{place % 10} kn" if place else f"Boat {number}",
        "replaces": [],
        "dev": "tablet 1",
        "by": "R. Vane",
        "clock": [NOON - A_DAY, place],
        "at": f"2026-10-{1 + number % 28:02}T10:00:00+00:00",
        "program": "1",
        "plugins": {},
    }
    return canonical_bytes(fields)  # type: ignore[arg-type]


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


def opened(folder: Path) -> TestClient:
    """Someone signed in, all boats of the day assessed and all hulls read before."""
    store = EmbeddedStore(folder)
    desk = ShopDesk(store, make_host(entry_points=False), now=lambda: NOON)
    client = TestClient(
        make_app(store, now=lambda: NOON, routes=routes_of(desk)), base_url="https://shop.test", follow_redirects=False
    )
    client.post("/sign-in", data={"name": CHIEF, "password": PASSWORD})
    began = time.perf_counter()
    desk.index.refresh()
    print(
        f"  all its {len(store.digests())} boats can be searched after {time.perf_counter() - began:.1f} s", flush=True
    )
    return client


def time_to_answer(client: TestClient, path: str) -> float:
    """[s]"""
    began = time.perf_counter()
    answer = client.get(path)
    took = time.perf_counter() - began
    if answer.status_code != 200:
        raise SystemExit(f"{path}: {answer.status_code}")
    return took


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--entries", type=int, nargs=2, default=(10_000, 1_000_000))
    options.add_argument("--holding", type=Path, help="a shop's folder: only what it needs to start")
    chosen = options.parse_args()
    if chosen.holding:
        holding(chosen.holding)
        return
    sizes = chosen.entries
    with tempfile.TemporaryDirectory() as base:
        clients = []
        for entries in sizes:
            folder = make_shop(Path(base) / str(entries))
            store = EmbeddedStore(folder)
            fill(store, entries)
            store.close()
            print(started(folder), flush=True)
            clients.append(opened(folder))
        print(f"| page | {sizes[0]} entries | {sizes[1]} entries | ratio |\n| --- | --- | --- | --- |")
        for name, path in PAGES.items():
            # In turn, so that a busy moment weighs on both.
            times = [[time_to_answer(client, path) for client in clients] for _ in range(ASKED)]
            little, much = (median(found) for found in zip(*times, strict=True))
            print(f"| {name} | {little * 1000:.1f} ms | {much * 1000:.1f} ms | {much / little:.2f} |", flush=True)


if __name__ == "__main__":
    main()
