"""How long reading a recording takes, against a bare loop that splits its lines; and the memory it needs.

Run by hand:  python tests/bench/bench_recording.py --lines 3000000
Every line is different, as an instrument's noise makes them, so that remembering earlier lines helps nobody.
"Streams" is what assessing a job does: the whole recording loaded, sorted into streams, each taken once; "plain" is the
same without numpy, as on a tablet. Where GARBOARD_RECORDINGS names a folder of real recordings, these are measured too.
Medians of five, taken in turns, of this process's own time: other work on the machine counts less. Goals, within one
run: NMEA 2000 into streams within 3.5 times the bare loop, NMEA 0183 within 12 times, and 3 times as fast as pynmea2
takes the same sentences apart; 1 500 frames, a second of a busy network, heard live within 50 ms.
"""

from __future__ import annotations

import argparse
import os
import platform
import random
import statistics
import time
import tracemalloc
from collections.abc import Callable, Iterator
from itertools import count, islice
from math import sin
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy  # noqa: F401 - an office machine has it loaded
import pynmea2

from garboard.recordings import ReadingNotes, load_recording, read_samples, reader, summarise
from garboard.recordings.encode import nmea0183_sentences, nmea2000_lines
from garboard.recordings.forms import FORMS
from garboard.samples import Sample

START = 1777887000.0
SEED = 20260514


def instruments(talkers: bool, seed: int = SEED) -> Iterator[Sample]:
    """A small network without end: 10 Hz heading, turn and attitude, 5 Hz position and course, engine at 1 Hz; each
    value with noise of its own."""
    helm, mast, gnss, engine = ("HC", "II", "GP", "ER") if talkers else ("10", "11", "20", "3")
    noise = random.Random(seed).gauss
    for tick in count():
        now, swing = START + tick / 10, sin(tick / 50)
        yield Sample(now, "heading", (40 + 30 * swing + noise(0, 1)) % 360, helm, "", "magnetic")
        yield Sample(now, "rate_of_turn", 6 * swing + noise(0, 0.5), helm)
        yield Sample(now, "pitch", 2 * swing + noise(0, 0.5), mast)
        yield Sample(now, "roll", 5 * swing + noise(0, 0.5), mast)
        if tick % 2 == 0:
            yield Sample(now, "latitude", 51.5 + tick * 1e-6 + noise(0, 1e-5), gnss)
            yield Sample(now, "longitude", -0.1 + tick * 1e-6 + noise(0, 1e-5), gnss)
            yield Sample(now, "course_over_ground", (42 + 30 * swing + noise(0, 1)) % 360, gnss, "", "true")
            yield Sample(now, "speed_over_ground", 22 + swing + noise(0, 0.2), gnss)
        if tick % 10 == 0:
            yield Sample(now, "engine_speed", 3500 + 50 * swing + noise(0, 10), engine, "0")
            yield Sample(now, "engine_temperature", 71 + swing + noise(0, 0.2), engine, "0")


def write_recording(path: Path, lines: int, form: str) -> None:
    """So many lines, no two alike: noise repeats a short sentence now and then, and the second one is left out."""
    encoded = nmea2000_lines(instruments(False)) if form == "NMEA 2000" else nmea0183_sentences(instruments(True))
    with path.open("w", encoding="ascii") as file:
        file.writelines(f"{line}\n" for line in islice(_different(encoded), lines))


def _different(lines: Iterator[str]) -> Iterator[str]:
    seen: set[int] = set()  # marks, not lines: millions fit
    for line in lines:
        mark = hash(line)
        if mark not in seen:
            seen.add(mark)
            yield line


def bare_loop(path: Path) -> None:
    with path.open(encoding="utf-8") as file:
        for line in file:
            line.split(",")


def stream(path: Path) -> None:
    for _ in read_samples(path):
        pass


def streams(path: Path) -> None:
    """What a calculator asks of a recording, of every quantity."""
    recording, _ = load_recording(path)
    for quantity in {key.quantity for key in recording.streams}:
        recording.of(quantity)


def plain_streams(path: Path) -> None:
    """The same where numpy is missing."""
    numpy_pays, reader._numpy_pays = reader._numpy_pays, lambda path: False
    try:
        load_recording(path)
    finally:
        reader._numpy_pays = numpy_pays


WAYS: dict[str, Callable[[Path], object]] = {
    "stream": stream,
    "streams": streams,
    "plain": plain_streams,
    "summarise": summarise,
}


def medians(runs: int, path: Path) -> list[float]:
    """The bare loop and each way in turn, so that a busy machine troubles all alike [s]."""
    works: list[Callable[[Path], object]] = [bare_loop, *WAYS.values()]
    taken = [[timed(work, path) for work in works] for _ in range(runs)]
    return [statistics.median(column) for column in zip(*taken, strict=True)]


def timed(work: Callable[[Path], object], path: Path) -> float:
    """[s]"""
    start = time.process_time()
    work(path)
    return time.process_time() - start


def pynmea2_parse(path: Path) -> None:
    """Another program that takes NMEA 0183 apart; it makes no streams."""
    with path.open(encoding="ascii") as file:
        for line in file:
            pynmea2.parse(line)


def heard_live(key: str, lines: list[bytes]) -> float:
    """A second of a busy network, a frame at a time [ms]."""
    [form] = [form for form in FORMS if form.key == key]
    taken = form.reader(ReadingNotes(), is_live=True)
    start = time.process_time()
    for number, line in enumerate(lines):
        taken.feed(line, START + number / len(lines))
    return (time.process_time() - start) * 1000


def busy_second() -> list[bytes]:
    """1 500 frames of a made network, as they come over wifi."""
    frames = list(islice(nmea2000_lines(instruments(False), as_frames=True), 1500))
    parts = [line.split(",") for line in frames]
    return [
        f"{when[11:23]} R {int(priority) << 26 | int(pgn) << 8 | int(source):08X} {' '.join(data).upper()}\n".encode()
        for when, priority, pgn, source, _, _, *data in parts
    ]


def real_recordings() -> list[Path]:
    named = os.environ.get("GARBOARD_RECORDINGS")
    return [] if not named else sorted(Path(named).glob("*.n2k.csv")) + sorted(Path(named).glob("*0183.log"))


def peak_memory(work: Callable[[Path], object], path: Path) -> float:
    """Most memory in use meanwhile [MB]."""
    tracemalloc.start()
    work(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=300_000)
    parser.add_argument("--runs", type=int, default=5)
    chosen = parser.parse_args()
    print(platform.platform(), platform.python_version())
    with TemporaryDirectory() as folder:
        for form in ("NMEA 2000", "NMEA 0183"):
            path, small = Path(folder) / "recording.log", Path(folder) / "tenth.log"
            write_recording(path, chosen.lines, form)
            write_recording(small, chosen.lines // 10, form)
            bare, *found = medians(chosen.runs, path)
            print(f"{form}: {chosen.lines} lines, {path.stat().st_size / 1e6:.1f} MB, bare loop {bare:.2f} s")
            for (name, work), took in zip(WAYS.items(), found, strict=True):
                memory, of_tenth = peak_memory(work, path), peak_memory(work, small)
                print(
                    f"  {name:<9} {took:6.2f} s   {took / bare:5.2f} times the bare loop;"
                    f" peak memory {memory:.2f} MB, of a tenth of the lines {of_tenth:.2f} MB",
                    flush=True,
                )
            if form == "NMEA 0183":
                theirs = statistics.median(timed(pynmea2_parse, path) for _ in range(chosen.runs))
                print(f"  pynmea2   {theirs:6.2f} s   {theirs / found[1]:5.2f} times as long as streams")
    for path in real_recordings():
        bare, *found = medians(chosen.runs, path)
        ratios = ", ".join(f"{name} {took / bare:.1f}" for name, took in zip(WAYS, found, strict=True))
        print(f"{path.name}: times the bare loop of {bare * 1000:.1f} ms: {ratios}")
        if "0183" in path.name:
            theirs = statistics.median(timed(pynmea2_parse, path) for _ in range(chosen.runs))
            print(f"  pynmea2 {theirs / found[1]:.2f} times as long as streams")
    frames = busy_second()
    took = statistics.median(heard_live("frames_time_of_day", frames) for _ in range(chosen.runs))
    print(f"1500 frames heard live, one at a time: {took:.0f} ms")


if __name__ == "__main__":
    main()
