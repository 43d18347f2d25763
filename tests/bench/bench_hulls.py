"""How near hull files come to the least any program could do, as ratios within one run, medians of five.

Saving is held against a bare append and flush of the same bytes. Merging the day of 20 tablets is held against
reading their files, parsing every line with a fast parser, and writing the different ones once with one flush; and
stands side by side with other ways to keep the same entries. The same day with every hull signed on every tablet is
held against the same limit of its own files. Entries are as tablets write them (tablet_entries.py). Prints a table in
Markdown; asserts no time.

Run by hand:  python tests/bench/bench_hulls.py
Goals: saving, with making the entry and taking it in, within 1.4 times; the day's merge within 1.5 times, with every
hull signed 3 times.
"""

from __future__ import annotations

import argparse
import os
import platform
import random
import resource
import shutil
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import attrs
import orjson
import pycrdt
import tinydb

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard.commands.hulls import readable_report
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, sign_off
from garboard.history.merge import bring_entries, merge
from garboard.history.replay import HullState, replay
from tablet_entries import tablet_entry

HULL = "ABC00001A526"
TABLETS, HULLS_IN_ALL, HULLS_A_TABLET, ENTRIES_A_HULL, OWN_ENTRIES = 20, 100, 40, 200, 50
COPIES = TABLETS * HULLS_A_TABLET * ENTRIES_A_HULL
ROUNDS = 5


@attrs.frozen
class Row:
    """One line of the table. The ratio is against the row that states the limit of its part."""

    what: str
    seconds: float
    against: float
    memory: int = 0
    remark: str = ""

    def __str__(self) -> str:
        ratio = f"{self.seconds / self.against:.{2 if self.seconds < 100 * self.against else 0}f}"
        memory = f"{self.memory / 1024:.0f}" if self.memory else ""
        return f"| {self.what} | {_time(self.seconds)} | {ratio} | {memory} | {self.remark} |"


def _time(seconds: float) -> str:
    if seconds < 1e-3:
        return f"{seconds * 1e6:.0f} us"
    return f"{seconds * 1e3:.3g} ms" if seconds < 1 else f"{seconds:.3g} s" if seconds < 1000 else f"{seconds:.0f} s"


def saving(where: Path, history: int = 200, saves: int = 200) -> Iterator[Row]:
    """A save and a bare append of the same bytes in turn; five such series."""
    series: dict[str, list[float]] = {"bare": [], "save": [], "made": []}
    for number in range(ROUNDS):
        for name, median in _one_series(where / f"saving-{number}", history, saves).items():
            series[name].append(median)
    bare = statistics.median(series["bare"])
    yield Row("limit: append of the same bytes and flush", bare, bare)
    yield Row(f"save an entry at {history} entries", statistics.median(series["save"]), bare)
    yield Row("the same, with making the entry and adding it to the state", statistics.median(series["made"]), bare)


def _one_series(where: Path, history: int, saves: int) -> dict[str, float]:
    took: dict[str, list[float]] = {"bare": [], "save": [], "made": []}
    with HullFolder(where) as hulls:
        hulls.put_if_absent(HULL, [tablet_entry(number, HULL) for number in range(history)])
        state = replay(HULL, hulls.entries(HULL))
        descriptor = os.open(where / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.write(descriptor, hulls.hull(HULL).journal.path.read_bytes())
        for number in range(saves):
            entry = tablet_entry(10_000 + number, HULL)
            line = b"%b %b\n" % (entry.id.encode(), entry.raw)
            times = [time.perf_counter()]
            hulls.save(entry)
            times.append(time.perf_counter())
            os.write(descriptor, line)
            os.fsync(descriptor)
            times.append(time.perf_counter())
            made = tablet_entry(20_000 + number, HULL)
            hulls.save(made)
            state.add(made)
            times.append(time.perf_counter())
            for name, start, end in zip(("save", "bare", "made"), times[:-1], times[1:], strict=True):
                took[name].append(end - start)
        os.close(descriptor)
    return {name: statistics.median(times) for name, times in took.items()}


def merging(where: Path) -> Iterator[Row]:
    """The day of 20 tablets, each way in turn, five times; each in a process of its own for its peak memory."""
    tablets = [_tablet(where / "plain", number) for number in range(TABLETS)]
    ways: dict[str, Way] = {
        "limit: read, parse every line, write the different ones, one flush": _limit,
        "**the union**: hashed, checked, one flush for each hull": _union,
        "**the whole merge** with its readable report": _merge,
        "pycrdt, one document a hull (nothing checked, one flush a hull)": _pycrdt,
        "SQLite, INSERT OR IGNORE in one transaction (nothing checked)": _sqlite,
    }
    rows = list(_in_turn(ways, tablets, where))
    yield from rows
    limit = rows[0].against
    hulls, entries = 4, 100
    measured = _in_a_process(_upsert_loop(hulls, entries), tablets, where / "upsert")[0]
    # Each upsert reads and writes the whole table, so a hull costs by the square of its entries; see _upsert_loop.
    scaled = measured * (COPIES / (hulls * entries)) * (_mean_entries(tablets) / entries)
    remark = f"measured on {hulls} hulls of {entries} ({measured:.2f} s), scaled by entries and by hull size"
    yield Row("TinyDB, upsert one by one into a file a hull", scaled, limit, remark=remark)


def merging_signed(where: Path) -> Iterator[Row]:
    """The same day, with a signature on every hull by each of the tablets that have it."""
    tablets = [_tablet(where / "signed", number, signed=True) for number in range(TABLETS)]
    ways: dict[str, Way] = {
        "limit: the same day, every hull signed on every tablet": _limit,
        "the union, every hull signed": _union,
        "**the whole merge, every hull signed**": _merge,
    }
    yield from _in_turn(ways, tablets, where)


Way = Callable[[list[Path], Path], float]


def _in_turn(ways: dict[str, Way], tablets: list[Path], where: Path) -> Iterator[Row]:
    """Each way in turn, five times; the first is the limit of them all."""
    took: dict[str, list[tuple[float, int]]] = {name: [] for name in ways}
    for number in range(ROUNDS):
        for place, (name, way) in enumerate(ways.items()):
            os.sync()
            target = where / f"target-{number}-{place}"
            took[name].append(_in_a_process(way, tablets, target))
            shutil.rmtree(target) if target.is_dir() else target.unlink()
    idle = _in_a_process(lambda *_: 0.0, tablets, where)[1]
    limit = statistics.median(seconds for seconds, _ in took[next(iter(ways))])
    for name, outcomes in took.items():
        memory = statistics.median(peak for _, peak in outcomes) - idle
        yield Row(name, statistics.median(seconds for seconds, _ in outcomes), limit, int(memory))


def _tablet(where: Path, number: int, signed: bool = False) -> Path:
    folder = where / f"tablet-{number}"
    hulls = [f"ABC{hull:05d}A526" for hull in range(HULLS_IN_ALL)]
    with HullFolder(folder) as held, held.batch():
        for hull in random.Random(number).sample(hulls, HULLS_A_TABLET):
            shared = [tablet_entry(entry, hull) for entry in range(ENTRIES_A_HULL - OWN_ENTRIES)]
            own = [tablet_entry(entry, hull, f"tablet-{20 + number}") for entry in range(1000, 1000 + OWN_ENTRIES)]
            held.put_if_absent(hull, [*shared, *own])
            if signed:
                held.save(_signature(replay(hull, [*shared, *own]), number))
    return folder


def _signature(state: HullState, number: int) -> Entry:
    """Over everything the tablet holds of the boat's job."""
    author = Author(f"tablet-{20 + number}", f"technician {number}")
    return sign_off(author, state, "j1", "technician", author.by, at="2026-05-14T18:00:00+02:00")


def _lines(tablets: list[Path]) -> Iterator[tuple[str, list[bytes]]]:
    for tablet in tablets:
        for path in (tablet / "hulls").iterdir():
            yield path.name, path.read_bytes().split(b"\n")[1:-1]


def _limit(tablets: list[Path], target: Path) -> float:
    start = time.perf_counter()
    seen, kept = set(), []
    for _, lines in _lines(tablets):
        for line in lines:
            orjson.loads(line[33:])
            if line[:32] not in seen:
                seen.add(line[:32])
                kept.append(line)
    _write(target, b"\n".join(kept))
    return time.perf_counter() - start


def _write(path: Path, data: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT)
    os.write(descriptor, data)
    os.fsync(descriptor)
    os.close(descriptor)


def _union(tablets: list[Path], target: Path) -> float:
    start = time.perf_counter()
    with HullFolder(target) as shop:
        bring_entries([HullFolder(tablet, read_only=True) for tablet in tablets], shop)
    return time.perf_counter() - start


def _merge(tablets: list[Path], target: Path) -> float:
    start = time.perf_counter()
    with HullFolder(target) as shop:
        report = merge([HullFolder(tablet, read_only=True) for tablet in tablets], shop)
    readable_report(report)
    if not report.complete:
        raise RuntimeError("the merge is not complete")
    return time.perf_counter() - start


def _pycrdt(tablets: list[Path], target: Path) -> float:
    """What each tablet holds of a hull is one update, made before the clock starts; applying and storing is timed."""
    updates: list[tuple[str, bytes]] = []
    shared: dict[str, bytes] = {}
    for name, lines in _lines(tablets):
        held: pycrdt.Doc[pycrdt.Map[str]] = pycrdt.Doc()
        common = [line for line in lines if b'"dev":"tablet-07"' in line]
        if name not in shared:
            first: pycrdt.Doc[pycrdt.Map[str]] = pycrdt.Doc()
            _put_lines(first, common)
            shared[name] = first.get_update()
        held.apply_update(shared[name])
        _put_lines(held, [line for line in lines if line not in set(common)])
        updates.append((name, held.get_update()))
    target.mkdir()
    start = time.perf_counter()
    documents: dict[str, pycrdt.Doc[pycrdt.Map[str]]] = {}
    for name, update in updates:
        documents.setdefault(name, pycrdt.Doc()).apply_update(update)
    for name, document in documents.items():
        _write(target / name, document.get_update())
    return time.perf_counter() - start


def _put_lines(document: pycrdt.Doc[pycrdt.Map[str]], lines: list[bytes]) -> None:
    entries = document.get("entries", type=pycrdt.Map)
    with document.transaction():
        for line in lines:
            entries[line[:32].decode()] = line[33:].decode()


def _sqlite(tablets: list[Path], target: Path) -> float:
    target.mkdir()
    start = time.perf_counter()
    connection = sqlite3.connect(target / "shop.db")
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE entry (hull TEXT, id BLOB, body BLOB, PRIMARY KEY (hull, id)) WITHOUT ROWID")
    with connection:
        for name, lines in _lines(tablets):
            rows = ((name, line[:32], line[33:]) for line in lines)
            connection.executemany("INSERT OR IGNORE INTO entry VALUES (?, ?, ?)", rows)
    connection.close()
    return time.perf_counter() - start


def _upsert_loop(hulls: int, entries: int) -> Way:
    def work(tablets: list[Path], target: Path) -> float:
        target.mkdir()
        parts = [(name, lines[:entries]) for name, lines in list(_lines(tablets[:1]))[:hulls]]
        start = time.perf_counter()
        for name, lines in parts:
            with tinydb.TinyDB(target / f"{name}.json") as table:
                for line in lines:
                    document = {**orjson.loads(line[33:]), "id": line[:32].decode()}
                    table.upsert(document, tinydb.where("id") == document["id"])
        return time.perf_counter() - start

    return work


def _mean_entries(tablets: list[Path]) -> float:
    """Different entries in a merged hull, on average."""
    of_hull: dict[str, set[bytes]] = {}
    for name, lines in _lines(tablets):
        of_hull.setdefault(name, set()).update(line[:32] for line in lines)
    return statistics.mean(map(len, of_hull.values()))


def _in_a_process(way: Way, tablets: list[Path], target: Path) -> tuple[float, int]:
    """Seconds it took, and the process's peak memory [kB]."""
    answer_from, answer_to = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            seconds = way(tablets, target)
            os.write(answer_to, f"{seconds} {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss}".encode())
        finally:
            os._exit(0)
    os.close(answer_to)
    with os.fdopen(answer_from) as pipe:
        answer = pipe.read().split()
    os.waitpid(child, 0)
    return float(answer[0]), int(answer[1])


def opening(where: Path, entries: int = 10_000) -> Iterator[Row]:
    """A hull of many entries opened, against reading and parsing its file; then one entry more added to the state.

    Nothing waits for the disk here: processor time.
    """
    with HullFolder(where / "large") as hulls:
        hulls.put_if_absent(HULL, [tablet_entry(number, HULL) for number in range(entries)])
        path = hulls.hull(HULL).journal.path

    def parse() -> object:
        return [orjson.loads(line[33:]) for line in path.read_bytes().split(b"\n")[1:-1]]

    def open_file() -> object:
        with HullFolder(where / "large", read_only=True) as folder:
            return folder.ids(HULL)

    with HullFolder(where / "large", read_only=True) as folder:
        held = folder.entries(HULL)
    limit = _median(parse)
    yield Row(f"limit: read and parse a file of {entries} entries", limit, limit)
    yield Row("open the file and check every hash", _median(open_file), limit)
    yield Row("replay what was opened", _median(lambda: replay(HULL, held)), limit)
    at_100 = _adding(100)
    yield Row("add one entry to a state of 100", at_100, at_100)
    yield Row(f"add one entry to a state of {entries}", _adding(entries), at_100)


def _adding(history: int, more: int = 1000) -> float:
    """Seconds for one entry: a thousand added, one after another, to a state of so many."""
    entries = [tablet_entry(number, HULL) for number in range(history + more)]
    rounds = []
    for _ in range(ROUNDS):
        state: HullState = replay(HULL, entries[:history])
        start = time.process_time()
        for entry in entries[history:]:
            state.add(entry)
        rounds.append((time.process_time() - start) / more)
    return statistics.median(rounds)


def _median(work: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return statistics.median(times)


def _machine() -> str:
    lines = Path("/proc/cpuinfo").read_text().splitlines() if Path("/proc/cpuinfo").exists() else []
    model = next((line.split(": ")[1] for line in lines if line.startswith("model name")), platform.processor())
    load = f", load average {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return f"{os.cpu_count()} cores ({model}), {platform.system()}, Python {platform.python_version()}{load}"


PARTS = {"saving": saving, "merging": merging, "signed": merging_signed, "opening": opening}


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--where", type=Path, help="a folder on the disk to measure")
    options.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS), help="only these parts of the table")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory(dir=chosen.where) as folder:
        print(f"{_machine()}; medians of {ROUNDS}\n")
        print("| what | time | of the limit | memory [MB] | |\n| --- | --- | --- | --- | --- |")
        for part in chosen.parts:
            for row in PARTS[part](Path(folder)):
                print(row, flush=True)
        print(f"\nThe day: {COPIES} copies of entries on {TABLETS} tablets, {HULLS_A_TABLET} hulls each.")


if __name__ == "__main__":
    main()
