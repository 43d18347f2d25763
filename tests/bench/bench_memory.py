"""What the shop's memory takes with 100 000 rows: read them all, and ask what boats alike kept.

Run:  python tests/bench/bench_memory.py [--rows 100000]

The rows are by a generator (`tests/boat_rows.py`), in a folder's store in memory where there is room.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from boat_rows import rows
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.memory import Memory, as_text, of_text
from garboard_shop.store import KeptRow


def took(work: Callable[[], object]) -> float:
    """Milliseconds of the processor."""
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1000


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
    ):
        print(f"| {what} | {time_taken:.1f} ms |")


if __name__ == "__main__":
    main()
