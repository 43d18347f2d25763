"""Damaged lines through every reader of recordings.

The lines of the sample recordings and of every sentence the readers know are damaged: cut, joined, swapped, filled with
odd numbers and bytes; half of the sentences get a checksum that fits again, so that the damage reaches the decoders.

- No reader raises anything but InputError, and only for a file it cannot use at all.
- A sentence whose checksum does not fit what it holds gives no value. The oracle computes checksums by itself.
- Every value lies in the range its quantity can have. Not asked of NMEA 2000, whose messages can hold more; there every
  value is as a reference library reads it (tests/published/test_recordings_published.py).

Run:  python tests/campaigns/lines_campaign.py --number 20000
      python tests/campaigns/lines_campaign.py --long          (1 000 000)
"""

from __future__ import annotations

import argparse
import gzip
import random
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import islice

from altered_lines import altered, printed_sum, summed
from garboard.demo.samples_folder import sample_job_files
from garboard.faults import InputError
from garboard.recordings import comma_lines, csv_series, nmea0183
from garboard.recordings.notes import ReadingNotes
from garboard.samples import HARD_RANGE, Sample

SEED = 20261129
IN_A_FILE = 50
DATED = "$GPZDA,093000.00,04,05,2026,00,00"
"""Stands before sentences, so that each value has a time and is given out."""
SENTENCES = (
    "$GPZDA,093000.00,04,05,2026,00,00",
    "$GPRMC,093000.00,A,6005.071,N,01903.345,E,12.4,084.4,040526,003.1,W,A",
    "$GPGGA,093000.00,6005.071,N,01903.345,E,1,08,0.9,12.0,M,20.0,M,,",
    "$GPGLL,6005.071,N,01903.345,E,093000.00,A",
    "$GPVTG,084.4,T,081.3,M,12.4,N,23.0,K,A",
    "$HEHDT,341.8,T",
    "$HCHDG,98.3,0.0,E,12.6,W",
    "$HCHDM,98.3,M",
    "$TIROT,-151.2,A",
    "$VWVHW,,T,,M,12.1,N,22.4,K",
    "$ERRPM,E,1,5620.0,12.0,A",
    "$IIRSA,4.0,A,,V",
    "$IIXDR,C,21.5,C,ENGINE,P,101300,P,BARO",
    r"\s:gps,c:1777887000*56\$GPRMC,093001,A,6005.071,N,01903.345,E,12.4,084.4,040526,003.1,W,A",
)
COLUMNS = (
    "time,heading true [deg],rate_of_turn [deg/s],speed_over_ground [kn]",
    *(f"2026-05-15T15:00:{second:02},{(second * 5) % 360},2.5,12.{second}" for second in range(60)),
)
Read = Callable[[Sequence[str], ReadingNotes], Iterator[Sequence[Sample]]]
READERS: dict[str, Read] = {
    "NMEA 0183": nmea0183.read,
    "NMEA 2000": comma_lines.read,
    "CSV": lambda lines, notes: csv_series.read(iter(lines), notes, "damaged"),
}


def corpus() -> dict[str, list[str]]:
    """Sound lines by the reader they are for."""
    found: dict[str, list[str]] = {
        "NMEA 0183": [summed(line) for line in SENTENCES],
        "NMEA 2000": [],
        "CSV": list(COLUMNS),
    }
    beside = (path for file in sample_job_files() for path in file.parent.rglob("*") if path.is_file())
    for path in sorted(path for path in beside if path.suffix in (".csv", ".log", ".gz")):
        raw = path.read_bytes()
        text = (gzip.decompress(raw) if raw[:2] == b"\x1f\x8b" else raw).decode("utf-8")
        lines = list(islice(text.splitlines(), 400))
        form = "CSV" if "[" in lines[0] else "NMEA 0183" if lines[0][:1] in "$!\\" else "NMEA 2000"
        found[form] += lines
    return found


def is_wrong(line: str) -> bool:
    """Whether a line carries a checksum of two digits that does not fit what it holds."""
    start = min((at for at in (line.find("$"), line.find("!")) if at >= 0), default=-1)
    body, star, printed = line[start + 1 :].partition("*")
    return start >= 0 and bool(star) and printed.strip().upper() != printed_sum(body)


def samples_of(form: str, lines: Sequence[str]) -> list[Sample]:
    """What a reader makes of lines. Raises what it raises, InputError aside."""
    try:
        return [sample for many in READERS[form](list(lines), ReadingNotes()) for sample in many]
    except InputError:
        return []


def wrong_with(form: str, lines: Sequence[str]) -> str:
    """What a reader did that it must not, in words; "" when nothing."""
    try:
        found = samples_of(form, lines)
        if form == "NMEA 0183":
            wrong = [line for line in lines if is_wrong(line)]
            if samples_of(form, [DATED, *wrong]):
                return "a value from a sentence with a wrong checksum"
    except Exception as failure:
        return f"{type(failure).__name__}: {failure}"
    beyond = [one for one in found if form != "NMEA 2000" and not _in_range(one)]
    return f"a value out of range: {beyond[0]}" if beyond else ""


def _in_range(sample: Sample) -> bool:
    most = max(map(abs, HARD_RANGE[sample.quantity]))
    return abs(sample.value) <= most


def run(number: int, seed: int = SEED, seconds: float = float("inf")) -> tuple[Counter[str], list[str]]:
    """Damage so many lines. Gives how many of each form were read, and what went wrong with which lines."""
    draw, lines, read, faults, end = (
        random.Random(seed),
        corpus(),
        Counter[str](),
        list[str](),
        time.monotonic() + seconds,
    )
    while read.total() < number and time.monotonic() < end:
        form = draw.choice(list(lines))
        sound = lines[form]
        start = draw.randrange(max(1, len(sound) - IN_A_FILE))
        file = [altered(line, draw, sound) for line in sound[start : start + IN_A_FILE]]
        if draw.random() < 0.5:
            file[:0] = sound[:1]  # a sound heading or time, so that the rest is read on
        read[form] += len(file)
        if fault := wrong_with(form, file):
            faults.append(f"{form}: {fault}: {_smallest(form, file)!r}")
    return read, faults


def _smallest(form: str, lines: list[str]) -> list[str]:
    """Fewer of the lines that still go wrong."""
    for one in list(lines):
        fewer = [line for line in lines if line is not one]
        if wrong_with(form, fewer):
            lines = fewer
    return lines


def main() -> None:
    """Run by hand."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--number", type=int, default=20_000)
    parser.add_argument("--long", action="store_true", help="1 000 000 lines")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    chosen = parser.parse_args()
    read, faults = run(1_000_000 if chosen.long else chosen.number, chosen.seed, chosen.seconds)
    print(f"seed {chosen.seed}: {read.total()} lines, {dict(read)}, {len(faults)} faults")
    for fault in faults[:20]:
        print(fault[:400])
    raise SystemExit(bool(faults))


if __name__ == "__main__":
    main()
