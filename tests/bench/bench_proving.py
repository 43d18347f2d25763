"""The twelve questions asked of a shop of 100 000 rows: full boats copied under new numbers, one value changed in each.

The boats are those of `tests/proving_shop.py`. The value a copy changes is the weight of the boat as run: a kilogram
more for each copy. So each list is as many times as long as there are copies, and that is checked. Times are processor
time of this process, medians, beside those of the boats alone. To write and judge a boat takes 0.2 s of the processor,
as many as there are: of 2 000 it takes some seven minutes, and on a machine with other work as much longer as that has.
What is being done, and how far it is, stands on the error output.

Run:  python tests/bench/bench_proving.py --boats 240 --rows 100000
      python tests/bench/bench_proving.py --boats 2000 --rows 100000
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from itertools import count, islice
from pathlib import Path
from statistics import median

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard.disk.clock import HybridClock
from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author
from garboard.history.replay import HullState
from garboard.hosting.host import make_host
from garboard_shop.boat_rows import Row
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.memory import as_text
from garboard_shop.pages import people
from garboard_shop.pages.remembering import Made
from garboard_shop.store import MANAGER, KeptRow, Store, WebUser
from page_walks import Walk
from pages_rig import CHIEF, PASSWORD, Pages, light_passwords
from proving_shop import A_DAY, DAYS, NOW, write_shop

ASKED = 21
A_BATCH = 1000
QUESTIONS = {
    "stuck longest, and why": "^Stuck over 14 days$",
    "waits for parts": "^Waiting for parts$",
    "one technician's": r"^R. Vane \d",
    "promised and not ready": "due by Sunday and not ready",
    "what disagrees": r"^\d[\d ]* to settle",
    "stale signatures": "^Stale signatures$",
    "changed since yesterday": "^Changed since I last looked$",
    "handed over with points open": "^Handed over with points open$",
    "tablet silent": "^Tablet silent$",
    "everything open": "^Everything open$",
}
Asked = dict[str, tuple[int | None, float]]
"""How many jobs a list has, None where it is no list, and what its page takes [s]; by question."""
OTHERS = {"what fails most, right the first time": "^Insight$", "silent tablets": "^Tablets$"}


def copies(rows: Iterable[Row], number: int) -> Iterator[Row]:
    """So many rows: each in turn under a new hull number, its weight as run a kilogram more with each turn."""
    kept = tuple(rows)
    for place in range(number):
        row, turn = kept[place % len(kept)], place // len(kept)
        hull = f"QRZ{place:05d}A626"
        jobs = tuple(attrs.evolve(job, hull=hull, number=hull, numbers=(hull,)) for job in row.jobs)
        yield attrs.evolve(row, hull=hull, weight=row.weight + turn, jobs=jobs)


def fill(store: Store, rows: Iterable[Row]) -> None:
    """Put rows into a shop, each with an entry of its boat, as a boat without any has no row."""
    ticks = count(NOW - 90 * A_DAY)
    author = Author(
        "tablet 1", "R. Vane", HybridClock(wall=lambda: next(ticks)), wall=lambda: "2026-09-20T09:00:00+00:00"
    )
    left = iter(rows)
    while batch := tuple(islice(left, A_BATCH)):
        entries = [author.write(HullState(row.hull), "field", ("name",), row.jobs[0].name) for row in batch]
        offered = {entry.hull_key: CheckedEntries([(entry.id, entry.raw)]) for entry in entries}
        store.put_if_absent(offered, "000000000001", NOW - 60 * A_DAY, 0)
        made = {row.hull: Made((row.hull,), {row.hull: ""}, None, "").as_text() for row in batch}
        store.put_rows({row.hull: KeptRow(made[row.hull], as_text(row)) for row in batch})


def new_shop(folder: Path) -> None:
    """An empty shop with its manager."""
    store = EmbeddedStore(folder)
    hashed = people.make_user(CHIEF, MANAGER, PASSWORD).password_hash
    store.register.put_user(WebUser(name=CHIEF, role=MANAGER, password_hash=hashed), CHIEF, NOW)
    store.close()


def asked(pages: Pages) -> Asked:
    """Every question asked, as a person does."""
    browser, found = pages.signed_in(), {}
    for name, says in {**QUESTIONS, **OTHERS}.items():
        here = Walk(browser)
        link = next(one for one in here.links() if one.is_said(says))
        here.click(says)
        times = []
        for _ in range(ASKED):
            began = time.process_time()
            browser.text(link.href)
            times.append(time.process_time() - began)
        found[name] = here.count if name in QUESTIONS else None, median(times)
    return found


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--boats", type=int, default=240, help="full boats that are written and judged")
    options.add_argument("--rows", type=int, default=100_000)
    chosen = options.parse_args()
    host = make_host(entry_points=False)
    turns = max(1, chosen.rows // chosen.boats)
    with tempfile.TemporaryDirectory() as base, light_passwords():
        for name in ("few", "many"):
            new_shop(Path(base) / name)
        with Pages(Path(base) / "few", host) as few, Pages(Path(base) / "many", host) as many:
            made = 0

            def evening(at: int) -> None:
                nonlocal made
                few.at = at
                made += few.desk.remembering.bring_up_to_date()
                say(f"day {(at - NOW) // A_DAY + DAYS} of {DAYS}: {made} rows of {chosen.boats} boats made so far")

            say(f"writing {chosen.boats} boats")
            write_shop(few.store, chosen.boats, evening)
            write_shop(many.store, 0, lambda _: None)
            say(f"copying their rows: {turns * chosen.boats} boats")
            fill(many.store, copies(few.desk.remembering.memory.rows(), turns * chosen.boats))
            say("asking")
            report(asked(few), asked(many), chosen.boats, turns)


def say(what: str) -> None:
    """What is being done, and the processor time so far."""
    print(f"{time.process_time():7.1f} s  {what}", file=sys.stderr, flush=True)


def report(
    few: dict[str, tuple[int | None, float]], many: dict[str, tuple[int | None, float]], boats: int, turns: int
) -> None:
    """The table; ends the program where a list is not as long as it must be."""
    print(
        f"| question | {boats} boats | {turns * boats} boats | ratio | jobs listed |\n| --- | --- | --- | --- | --- |"
    )
    for name, (jobs, took) in few.items():
        listed, took_many = many[name]
        if jobs is not None and listed != jobs * turns:
            raise SystemExit(f"{name}: {listed} jobs listed, {jobs} x {turns} expected")
        counts = f"{jobs} and {listed}" if jobs is not None else ""
        print(
            f"| {name} | {took * 1000:.1f} ms | {took_many * 1000:.1f} ms | {took_many / took:.2f} | {counts} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
