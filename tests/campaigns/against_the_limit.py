"""How near to the limit saving and merging come: ratios to the least any program could do.

Saving: against appending the same bytes to a file and flushing it. Merging a day of 20 tablets: against reading the
files, parsing every line with a fast parser, and writing the different ones to one file with one flush.

Run:  python tests/campaigns/against_the_limit.py
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

import orjson

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.writers import entry_number
from garboard.hullfile import HullFolder

HULL = "ABC00001A526"
TABLETS, HULLS_IN_ALL, HULLS_A_TABLET, ENTRIES_A_HULL, OWN_ENTRIES = 20, 100, 40, 200, 50


def saving(where: Path, history: int = 200, saves: int = 300) -> str:
    """Medians of single saves, made and saved, and bare appends, alternating."""
    ours, made, bare = [], [], []
    with HullFolder(where / "tablet") as hulls:
        hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(history)])
        descriptor = os.open(where / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.write(descriptor, hulls.hull(HULL).journal.path.read_bytes())
        for number in range(saves):
            entry = entry_number(10_000 + number, HULL)
            start = time.perf_counter()
            hulls.save(entry)
            saved = time.perf_counter()
            os.write(descriptor, b"%b %b\n" % (entry.id.encode(), entry.raw))
            os.fsync(descriptor)
            appended = time.perf_counter()
            hulls.save(entry_number(20_000 + number, HULL))
            ours.append(saved - start)
            bare.append(appended - saved)
            made.append(time.perf_counter() - appended)
        os.close(descriptor)
    least = statistics.median(bare)
    return (
        f"save at {history} entries: {statistics.median(ours) / least:.2f} of the limit, "
        f"{statistics.median(made) / least:.2f} with making the entry (limit {least * 1e6:.0f} us)"
    )


def merging(where: Path, rounds: int = 5) -> str:
    """Medians of merges into an empty shop, and of the limit, alternating."""
    tablets = [_tablet(where, number) for number in range(TABLETS)]
    ours, least = [], []
    for number in range(rounds):
        os.sync()
        ours.append(_merge(tablets, where / f"shop-{number}"))
        os.sync()
        least.append(_limit(tablets, where / f"limit-{number}"))
    ratio = statistics.median(ours) / statistics.median(least)
    copies = TABLETS * HULLS_A_TABLET * ENTRIES_A_HULL
    return f"merge of {copies} copies: {ratio:.2f} of the limit (limit {statistics.median(least):.3f} s)"


def _tablet(where: Path, number: int) -> Path:
    folder = where / f"tablet-{number}"
    hulls = [f"ABC{hull:05d}A526" for hull in range(HULLS_IN_ALL)]
    with HullFolder(folder) as held, held.batch():
        for hull in random.Random(number).sample(hulls, HULLS_A_TABLET):
            shared = [entry_number(entry, hull) for entry in range(ENTRIES_A_HULL - OWN_ENTRIES)]
            own = [entry_number(entry, hull, f"tablet-{number:02d}") for entry in range(1000, 1000 + OWN_ENTRIES)]
            held.put_if_absent(hull, [*shared, *own])
    return folder


def _merge(tablets: list[Path], shop: Path) -> float:
    start = time.perf_counter()
    with HullFolder(shop) as ours, ours.batch():
        for tablet in tablets:
            with HullFolder(tablet, read_only=True) as theirs:
                for hull in theirs.hulls():
                    ours.put_if_absent(hull, theirs.get_unknown(hull, ours.ids(hull)))
    return time.perf_counter() - start


def _limit(tablets: list[Path], written: Path) -> float:
    start = time.perf_counter()
    seen, lines = set(), []
    for tablet in tablets:
        for path in (tablet / "hulls").iterdir():
            for line in path.read_bytes().split(b"\n")[1:-1]:
                orjson.loads(line[33:])
                if line[:32] not in seen:
                    seen.add(line[:32])
                    lines.append(line)
    descriptor = os.open(written, os.O_WRONLY | os.O_CREAT)
    os.write(descriptor, b"\n".join(lines))
    os.fsync(descriptor)
    os.close(descriptor)
    return time.perf_counter() - start


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        print(saving(Path(folder)))
        print(merging(Path(folder)))
