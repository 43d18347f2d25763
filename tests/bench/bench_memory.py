"""What the shop's memory takes with 100 000 rows: read them, ask what boats alike kept, find lines of the board, and
count what insight tells.

Run:  python tests/bench/bench_memory.py [--rows 100000]

The rows are by a generator (`tests/boat_rows.py`), in a folder's store in memory where there is room.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import attrs

from boat_rows import NOW, jobs, rows
from garboard_shop.board import Asked, Board, Times
from garboard_shop.boat_rows import Row
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.insight import insight_from
from garboard_shop.memory import Memory, as_text, of_text
from garboard_shop.store import KeptRow
from shop_of_rows import seen_of

ASKED = {
    "everything open": Asked(),
    "a technician's, a state": Asked(technician="T. Quill", state="failing"),
    "stuck": Asked(view="stuck", sort="days"),
    "a word that all have": Asked(q="northlight"),
    "part of a hull number": Asked(view="all", q="00042"),
}


def took(work: Callable[[], object]) -> float:
    """Milliseconds of the processor."""
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1000


def least(work: Callable[[], object]) -> float:
    """Of 20 times the least [ms]."""
    return min(took(work) for _ in range(20))


def board_found(number: int) -> Iterator[tuple[str, float]]:
    """What finding a page of the board takes."""
    board, times = Board(jobs(number)), Times(now=NOW, looked=NOW)
    for what, asked in ASKED.items():
        yield f"find a page of the board: {what}", least(partial(board.find, asked, times))


def insight_told(drawn: Sequence[Row]) -> Iterator[tuple[str, float]]:
    """What insight takes."""
    both = zip(drawn, jobs(len(drawn)), strict=True)
    memory = Memory(attrs.evolve(row, jobs=(job,), seen=seen_of(row)) for row, job in both)
    yield "count for insight, once after the start", took(memory.count)
    insight_from(memory.count(), memory.score(), NOW)
    changed = [attrs.evolve(row, seen=row.seen[:2]) for row in memory.rows()[:50]]
    yield "count a boat that changed", statistics.median(took(partial(memory.take, row)) for row in changed)
    yield "tell the counts", least(partial(insight_from, memory.count(), memory.score(), NOW))


def main() -> None:
    """Prints the times."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rows", type=int, default=100_000)
    number = parser.parse_args().rows
    drawn = list(rows(number))
    with tempfile.TemporaryDirectory() as folder, closing(EmbeddedStore(Path(folder))) as store:
        store.put_rows({row.hull: KeptRow("d", as_text(row)) for row in drawn})
        read = took(lambda: [of_text(one.text) for one in store.rows().values()])
        one_more = took(lambda: store.put_rows({"ONE": KeptRow("d", as_text(drawn[0]))}))
    memory = Memory(drawn)
    first = took(lambda: memory.kept_by_boats_like(drawn[0]))
    asked = statistics.median(took(lambda row=row: memory.kept_by_boats_like(row)) for row in drawn[:50])  # type: ignore[misc]
    for what, time_taken in (
        ("read all rows, once after the start", read),
        ("keep a row", one_more),
        ("what boats alike kept, the first time", first),
        ("what boats alike kept", asked),
        *board_found(number),
        *insight_told(drawn),
    ):
        print(f"| {what} | {time_taken:.2f} ms |")


if __name__ == "__main__":
    main()
