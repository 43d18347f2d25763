"""How what a person waits for grows with what a folder, a hull, or a day's jobs hold.

For each kind of work the cost is fitted as a power of the size, cost = a size^b, over all sizes. An exponent of 1
doubles the cost with the size, one of 0 keeps it. Processor time, medians of five in one process, all sizes of a kind
in turn, so that a busy machine is busy for all. Files opened are counted where they must not grow; what a change
must never make worse is counted in tests/core/test_work_of_a_merge.py, test_folder_names.py and test_replay.py.

Run by hand:  python tests/bench/growth.py [--parts merge digest entries jobs] [--most 10000] [--where FOLDER]
Goals: under 1.1 everywhere, under 0.1 where constant is promised. Prints a table in Markdown; asserts no time.
"""

from __future__ import annotations

import argparse
import gc
import math
import os
import platform
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))


from garboard.commands.cli import OBJECTS_BETWEEN_COLLECTIONS
from garboard.disk import storage
from garboard.disk.entries import Entry
from garboard.disk.folder_names import COARSEST_CLOCK
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import Journal
from garboard.history.authoring import Author, measure
from garboard.history.merge import merge
from garboard.history.replay import HullState, replay
from tablet_entries import tablet_entry

HULL = "ABC00001A526"
HULLS_OF_A_TABLET, ENTRIES_OF_A_HULL, ADDED, ROUNDS = 40, 2, 200, 5


@attrs.frozen
class Growth:
    """What one kind of work cost at each size: hull files opened, and processor time [s]."""

    what: str
    goal: str
    sizes: Sequence[int]
    opened: Sequence[int]
    seconds: Sequence[float]

    def __str__(self) -> str:
        times = " / ".join(f"{seconds * 1e3:.3g}" for seconds in self.seconds)
        opened = " / ".join(map(str, self.opened))
        ratios = " / ".join(f"{seconds / self.seconds[0]:.3g}" for seconds in self.seconds)
        return (
            f"| {self.what} | {' / '.join(f'{size:_}' for size in self.sizes).replace('_', ' ')} | {opened} | {times} "
            f"| {ratios} | {exponent(self.sizes, self.seconds):.2f} | {self.goal} |"
        )


def exponent(sizes: Sequence[int], costs: Sequence[float]) -> float:
    """The power of the size that fits the costs best: the slope of a line through their logarithms.

    >>> exponent([1, 10, 100], [3.0, 30.0, 300.0]), exponent([1, 10, 100], [2.0, 2.0, 2.0])
    (1.0, 0.0)
    """
    slope = statistics.linear_regression([math.log(size) for size in sizes], [math.log(cost) for cost in costs]).slope
    return round(slope, 6) + 0.0


class _Opened:
    """Counts the hull files opened: journals, and those proved without one."""

    count = 0


def _count_files() -> None:
    open_file, load = os.open, Journal._load

    def opened(path: Any, *how: Any, **options: Any) -> int:
        _Opened.count += str(path).endswith(".hull")
        return open_file(path, *how, **options)

    def loaded(journal: Journal) -> None:
        _Opened.count += 1
        load(journal)

    vars(os)["open"] = opened
    type.__setattr__(Journal, "_load", loaded)


Work = Callable[[int], object]


def grown(what: str, goal: str, works: Mapping[int, Work]) -> Growth:
    """The work at each size, in turn, five times; each round is given its number."""
    took: dict[int, list[tuple[float, int]]] = {size: [] for size in works}
    for number in range(ROUNDS):
        for size, work in works.items():
            gc.collect()
            _Opened.count = 0
            start = time.process_time()
            work(number)
            took[size].append((max(time.process_time() - start, 1e-6), _Opened.count))
    return Growth(
        what,
        goal,
        [*works],
        [max(opened for _, opened in rounds) for rounds in took.values()],
        [statistics.median(seconds for seconds, _ in rounds) for rounds in took.values()],
    )


def numbers(count: int) -> list[str]:
    """Hull numbers as makers give them: of some makers, each with serials from anywhere."""
    chance = random.Random(7)
    makers = ["".join(chance.choices("ABCDEFGHJKLMNPRSTUVWXYZ", k=3)) for _ in range(60)]
    found = {
        f"{chance.choice(makers)}{chance.randrange(100_000):05d}{chance.choice('ABCDEFGHIJKL')}{year % 10}{year:02d}"
        for _ in range(2 * count + 100)
        for year in [chance.randrange(5, 27)]
    }
    return chance.sample(sorted(found), count)


def _fill(folder: Path, hulls: Sequence[str], first: int = 0) -> None:
    """Nothing is flushed: the folders live as long as this run."""
    flush, storage.flush = storage.flush, lambda descriptor: None
    with HullFolder(folder) as held, held.batch():
        for hull in hulls:
            held.put_if_absent(hull, [tablet_entry(first + number, hull) for number in range(ENTRIES_OF_A_HULL)])
    storage.flush = flush


def _folders(where: Path, sizes: Sequence[int]) -> dict[int, Path]:
    """Folders to which nobody added a boat within the last seconds, each opened once since."""
    shops = {size: where / f"shop-{size}" for size in sizes}
    for size, shop in shops.items():
        if not shop.exists():
            _fill(shop, numbers(size))
            time.sleep(1.2 * COARSEST_CLOCK / 1e9)
            with HullFolder(shop) as folder:
                folder.damage()
    return shops


def merging(where: Path, sizes: Sequence[int]) -> Iterator[Growth]:
    """A tablet merged into folders of ever more hulls: of boats they know, and with one boat more each time."""
    shops = _folders(where, sizes)

    def work(size: int, more: int) -> Work:
        tablets = [where / f"tablet-{size}-{more}-{number}" for number in range(ROUNDS)]
        for number, tablet in enumerate(tablets):
            known = numbers(size)[: HULLS_OF_A_TABLET - more]
            new = [f"ZZZ{size % 1000:03d}{number:02d}A526"] * more
            _fill(tablet, [*known, *new], first=1000 * (number + 1) + 10 * more)

        def bring(number: int) -> None:
            with HullFolder(tablets[number], read_only=True) as source, HullFolder(shops[size]) as target:
                if not merge([source], target).complete:
                    raise RuntimeError("the merge is not complete")

        return bring

    goal = "constant: 1.2 times at most"
    yield grown(f"merge a tablet of {HULLS_OF_A_TABLET} known boats", goal, {size: work(size, 0) for size in sizes})
    yield grown(f"the same, one of the {HULLS_OF_A_TABLET} new", goal, {size: work(size, 1) for size in sizes})


def digesting(where: Path, sizes: Sequence[int]) -> Iterator[Growth]:
    """What each hull of a folder holds: a shop server's first answer, and the next one."""
    shops = _folders(where, sizes)

    def first(size: int, *, of_today: bool) -> Work:
        def ask(_: int) -> None:
            with HullFolder(shops[size], of_today=of_today) as hulls:
                if len(hulls.holdings()) < size:
                    raise RuntimeError("hulls are missing")

        return ask

    read = {size: first(size, of_today=False) for size in sizes}
    yield grown("what each hull holds, first answer, all files read", "under 1.1", read)
    proved = {size: first(size, of_today=True) for size in sizes}
    yield grown("the same, a server's, with what was proved today", "under 1.1", proved)
    opened = {size: HullFolder(shop) for size, shop in shops.items()}
    works: dict[int, Work] = {size: lambda _, hulls=hulls: hulls.holdings() for size, hulls in opened.items()}  # type: ignore[misc]
    for work in works.values():
        work(0)
    yield grown("the same, a program's later answers", "under 1.1", works)
    for hulls in opened.values():
        hulls.close()


def histories(where: Path, sizes: Sequence[int]) -> Iterator[Growth]:
    """A hull of ever more entries: it is opened, replayed, and takes in more."""
    folders = {size: where / f"hull-{size}" for size in sizes}
    held: dict[int, tuple[Entry, ...]] = {}
    for size, folder in folders.items():
        with HullFolder(folder) as hulls:
            hulls.put_if_absent(HULL, [tablet_entry(number, HULL) for number in range(size)])
            held[size] = hulls.entries(HULL)
    gc.freeze()  # what the bench itself holds is not to be gone through for each entry added

    def opened(size: int) -> Work:
        def work(_: int) -> None:
            with HullFolder(folders[size], read_only=True) as hulls:
                hulls.ids(HULL)

        return work

    def added(size: int) -> Work:
        state: HullState = replay(HULL, held[size])
        new = iter([tablet_entry(number, HULL) for number in range(size, size + ROUNDS * ADDED)])

        def work(_: int) -> None:
            for _entry in range(ADDED):
                state.add(next(new))

        return work

    def seen(size: int) -> Work:
        def work(_: int) -> None:
            with HullFolder(folders[size], read_only=True) as hulls:
                replay(HULL, hulls.entries(HULL)).view("j1")

        return work

    yield grown("open a hull file and prove its entries", "under 1.1", {size: opened(size) for size in sizes})
    yield grown("open, parse, replay and view it", "under 1.1", {size: seen(size) for size in sizes})
    replays: dict[int, Work] = {size: lambda _, size=size: replay(HULL, held[size]) for size in sizes}  # type: ignore[misc]
    yield grown("replay its entries", "under 1.1", replays)
    yield grown(f"add {ADDED} entries to its state", "constant: under 0.1", {size: added(size) for size in sizes})


def jobs(_where: Path, sizes: Sequence[int]) -> Iterator[Growth]:
    """A boat of ever more jobs: one of them is viewed, all are replayed."""
    entries = {size: [*_jobs(size)] for size in sizes}
    states = {size: replay(HULL, held) for size, held in entries.items()}
    replays: dict[int, Work] = {size: lambda _, size=size: replay(HULL, entries[size]) for size in sizes}  # type: ignore[misc]
    yield grown("replay a boat of so many jobs", "under 1.1", replays)
    views: dict[int, Work] = {size: lambda _, size=size: states[size].view(f"job-{size // 2}") for size in sizes}  # type: ignore[misc]
    yield grown("view one of them", "constant: under 0.1", views)


def _jobs(count: int) -> Iterator[Entry]:
    author, empty = Author("tablet-07", "Ines"), replay(HULL, ())
    for number in range(count):
        job = f"job-{number}"
        for field in ("speed_over_ground", "engine_speed"):
            yield measure(author, empty, job, "prop_check.full_throttle", field, f"{number % 50 + 10}.5")


PARTS: dict[str, tuple[Sequence[int], Callable[[Path, Sequence[int]], Iterator[Growth]]]] = {
    "merge": ((HULLS_OF_A_TABLET, 1000, 10_000, 100_000), merging),
    "digest": ((HULLS_OF_A_TABLET, 1000, 10_000, 100_000), digesting),
    "entries": ((100, 1000, 10_000, 100_000), histories),
    "jobs": ((10, 100, 1000, 10_000), jobs),
}


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    options.add_argument("--most", type=int, default=100_000, help="the largest size")
    options.add_argument("--where", type=Path, default=None, help="a folder on the disk to measure")
    given = options.parse_args()
    _count_files()
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)  # as every command does
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; medians of {ROUNDS}\n")
    print("| what | sizes | hull files opened | processor time [ms] | of the first | exponent | goal |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory(dir=given.where) as where:
        for part in given.parts:
            sizes, work = PARTS[part]
            for growth in work(Path(where), [size for size in sizes if size <= given.most]):
                print(growth, flush=True)


if __name__ == "__main__":
    main()
