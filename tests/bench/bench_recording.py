"""How long streaming a recording takes, against a bare loop that splits its lines; and the memory it needs.

Run by hand:  python tests/bench/bench_recording.py --lines 3000000
Goal: an NMEA 2000 recording within 6 times the bare loop of the same run.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections.abc import Callable, Iterator
from itertools import count, cycle, islice
from math import sin
from pathlib import Path
from tempfile import TemporaryDirectory

from garboard.recordings import read_samples, summarise
from garboard.recordings.encode import nmea0183_sentences, nmea2000_lines
from garboard.samples import Sample

START = 1777887000.0
BLOCK = 20_000  # different lines; a longer file repeats them


def instruments(talkers: bool) -> Iterator[Sample]:
    """A small network without end: 10 Hz heading, turn and attitude, 5 Hz position and course, engine at 1 Hz."""
    helm, mast, gnss, engine = ("HC", "II", "GP", "ER") if talkers else ("10", "11", "20", "3")
    for tick in count():
        now, swing = START + tick / 10, sin(tick / 50)
        yield Sample(now, "heading", (40 + 30 * swing) % 360, helm, "", "magnetic")
        yield Sample(now, "rate_of_turn", 6 * swing, helm)
        yield Sample(now, "pitch", 2 * swing, mast)
        yield Sample(now, "roll", 5 * swing, mast)
        if tick % 2 == 0:
            yield Sample(now, "latitude", 51.5 + tick * 1e-6, gnss)
            yield Sample(now, "longitude", -0.1 + tick * 1e-6, gnss)
            yield Sample(now, "course_over_ground", (42 + 30 * swing) % 360, gnss, "", "true")
            yield Sample(now, "speed_over_ground", 22 + swing, gnss)
        if tick % 10 == 0:
            yield Sample(now, "engine_speed", 3500 + 50 * swing, engine, "0")
            yield Sample(now, "engine_temperature", 71 + swing, engine, "0")


def write_recording(path: Path, lines: int, form: str) -> None:
    block = list(islice(
        nmea2000_lines(instruments(False)) if form == "NMEA 2000" else nmea0183_sentences(instruments(True)), BLOCK
    ))  # fmt: skip
    with path.open("w", encoding="ascii") as file:
        file.writelines(f"{line}\n" for line in islice(cycle(block), lines))


def bare_loop(path: Path) -> None:
    with path.open(encoding="ascii") as file:
        for line in file:
            line.split(",")


def stream(path: Path) -> None:
    for _ in read_samples(path):
        pass


def best_of(runs: int, work: Callable[[Path], object], path: Path) -> float:
    """Shortest time of several runs [s]: the one least disturbed by others on the machine."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work(path)
        times.append(time.perf_counter() - start)
    return min(times)


def peak_memory(path: Path) -> float:
    """Most memory in use while a recording is summarised [MB]."""
    tracemalloc.start()
    summarise(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=300_000)
    parser.add_argument("--runs", type=int, default=3)
    chosen = parser.parse_args()
    with TemporaryDirectory() as folder:
        for form in ("NMEA 2000", "NMEA 0183"):
            path = Path(folder) / "recording.log"
            write_recording(path, chosen.lines, form)
            bare, read, told = (best_of(chosen.runs, work, path) for work in (bare_loop, stream, summarise))
            print(f"{form}: {chosen.lines} lines, {path.stat().st_size / 1e6:.1f} MB, bare loop {bare:.2f} s")
            print(f"  stream    {read:6.2f} s   {read / bare:5.2f} times the bare loop")
            print(f"  summarise {told:6.2f} s   {told / bare:5.2f} times the bare loop")
            small = Path(folder) / "tenth.log"
            write_recording(small, chosen.lines // 10, form)
            print(f"  peak memory {peak_memory(path):.2f} MB; for a tenth of the lines {peak_memory(small):.2f} MB")


if __name__ == "__main__":
    main()
