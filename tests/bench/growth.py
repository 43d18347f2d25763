"""How what a person waits for grows with what a folder or a hull holds: work counted, and processor time.

For each kind of work the cost is fitted as a power of the size, cost = a size^b, over all sizes. An exponent of 1
doubles the cost with the size, one of 0 keeps it. Hull files opened are counted, and processor time is the least of
three in this process, so a busy machine changes the times' exponents little and the counts not at all.

Run by hand:  python tests/bench/growth.py [--most-hulls 10000] [--most-entries 10000] [--where FOLDER]
Goals: under 1.1 everywhere, under 0.1 where constant is promised. Prints a table in Markdown; asserts nothing.
"""

from __future__ import annotations

import argparse
import math
import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.writers import entry_number
from garboard.disk import hullfile, storage
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import Journal
from garboard.history.merge import merge
from garboard.history.replay import HullState, replay

HULL = "ABC00001A526"
HULLS_OF_A_TABLET, ROUNDS = 40, 3


@attrs.frozen
class Growth:
    """What one kind of work cost at each size: hull files opened, and processor time [s]."""

    what: str
    promise: str
    sizes: Sequence[int]
    opened: Sequence[int]
    seconds: Sequence[float]

    def __str__(self) -> str:
        times = " / ".join(f"{seconds * 1e3:.3g}" for seconds in self.seconds)
        opened = " / ".join(map(str, self.opened))
        fitted = exponent(self.sizes, self.seconds)
        return f"| {self.what} | {opened} | {times} | {fitted:.2f} | {self.promise} |"


def exponent(sizes: Sequence[int], costs: Sequence[float]) -> float:
    """The power of the size that fits the costs best: the slope of a line through their logarithms.

    >>> exponent([1, 10, 100], [3.0, 30.0, 300.0]), exponent([1, 10, 100], [2.0, 2.0, 2.0])
    (1.0, 0.0)
    """
    slope = statistics.linear_regression([math.log(size) for size in sizes], [math.log(cost) for cost in costs]).slope
    return round(slope, 6) + 0.0


class _Counted(Journal):
    opened = 0

    def __init__(self, path: Path, key: str, *, writing: bool, least: int = 0) -> None:
        _Counted.opened += 1
        super().__init__(path, key, writing=writing, least=least)


def _measured(work: Callable[[int], object]) -> tuple[int, float]:
    """Hull files opened and the least processor time of some rounds; each is given its number."""
    took: list[tuple[float, int]] = []
    for number in range(ROUNDS):
        _Counted.opened = 0
        start = time.process_time()
        work(number)
        took.append((time.process_time() - start, _Counted.opened))
    seconds, opened = min(took)
    return opened, max(seconds, 1e-6)


def _grown(what: str, promise: str, costs: dict[int, tuple[int, float]]) -> Growth:
    return Growth(what, promise, [*costs], [opened for opened, _ in costs.values()], [s for _, s in costs.values()])


def folders(where: Path, sizes: Sequence[int]) -> Iterator[Growth]:
    """A folder of ever more hulls: a tablet is merged into it, and asked what each hull holds."""
    merged, asked, saved = {}, {}, {}
    for size in sizes:
        shop = where / f"shop-{size}"
        _fill(shop, size, first=0)
        with HullFolder(shop) as hulls:  # notes grow behind their index, which is made again here
            hulls.hulls()
        tablets = [where / f"tablet-{size}-{number}" for number in range(ROUNDS)]
        for number, tablet in enumerate(tablets):
            _fill(tablet, HULLS_OF_A_TABLET, first=1000 * (number + 1))

        def bring(number: int, shop: Path = shop, tablets: Sequence[Path] = tablets) -> None:
            with HullFolder(tablets[number], read_only=True) as source, HullFolder(shop) as target:
                assert merge([source], target).complete

        def ask(_: int, shop: Path = shop, size: int = size) -> None:
            with HullFolder(shop, read_only=True) as hulls:
                assert len(hulls.holdings()) == size

        def save(number: int, shop: Path = shop) -> None:
            with HullFolder(shop) as hulls:
                hulls.save(entry_number(9000 + number, HULL))

        merged[size], asked[size], saved[size] = _measured(bring), _measured(ask), _measured(save)
    yield _grown(f"merge a tablet of {HULLS_OF_A_TABLET} hulls into a folder", "1.2 times at most", merged)
    yield _grown("what each hull of a folder holds", "under 1.1", asked)
    yield _grown("open a folder and save one entry", "constant", saved)


def _fill(folder: Path, hulls: int, *, first: int) -> None:
    """Hulls of two entries each. Nothing is flushed: they live as long as this run."""
    flush, storage.flush = storage.flush, lambda descriptor: None
    with HullFolder(folder) as held, held.batch():
        for hull in (f"ABC{number:05d}A526" for number in range(hulls)):
            held.put_if_absent(hull, [entry_number(first + number, hull) for number in range(2)])
    storage.flush = flush


def histories(where: Path, sizes: Sequence[int]) -> Iterator[Growth]:
    """A hull of ever more entries: it is opened and replayed, and takes in one more."""
    opened, added = {}, {}
    for size in sizes:
        folder = where / f"hull-{size}"
        with HullFolder(folder) as hulls:
            hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(size)])

        def replayed(_: int, folder: Path = folder) -> None:
            with HullFolder(folder, read_only=True) as hulls:
                replay(HULL, hulls.entries(HULL))

        with HullFolder(folder, read_only=True) as hulls:
            state = replay(HULL, hulls.entries(HULL))
        new = iter([entry_number(number, HULL) for number in range(size, size + ROUNDS * 200)])

        def add(_: int, state: HullState = state, new: Iterator[Entry] = new) -> None:
            for _entry in range(200):
                state.add(next(new))

        opened[size], added[size] = _measured(replayed), _measured(add)
    yield _grown("open a hull and replay its entries", "under 1.1", opened)
    yield _grown("add 200 entries to a state", "constant", added)


def _sizes(least: int, most: int) -> list[int]:
    return [least, *(size for size in (1000, 10_000, 100_000) if least < size <= most)]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--most-hulls", type=int, default=10_000)
    options.add_argument("--most-entries", type=int, default=10_000)
    options.add_argument("--where", type=Path, default=None, help="a folder on the disk to measure")
    given = options.parse_args()
    vars(hullfile)["Journal"] = _Counted
    of_hulls, of_entries = _sizes(40, given.most_hulls), _sizes(100, given.most_entries)
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; hulls {of_hulls}; ", end="")
    print(f"entries {of_entries}\n")
    print("| what | hull files opened | processor time [ms] | exponent | promise |\n| --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory(dir=given.where) as where:
        for growth in (*folders(Path(where), of_hulls), *histories(Path(where), of_entries)):
            print(growth, flush=True)


if __name__ == "__main__":
    main()
