"""Damaged recordings of every form.

The made recordings of every form (tests/form_samples.py) are damaged, line by line or, where a form is bytes, byte by
byte; half of the sentences get a checksum that fits again, so that the damage reaches the decoders.

- No reader raises anything but InputError, and that only for a heading it cannot use.
- Every value and every time is a number; the notes count as many values as are given, and every line.
- A sentence or a gateway's message whose checksum does not fit what it holds gives no value. The oracle computes
  checksums by itself.
- Values of sentences, deltas and series lie in the range their quantity can have. Of NMEA 2000 every value is as a
  reference library reads it (tests/published/test_recordings_published.py).
- Comma lines and sentences read many at once give the same streams and notes as read singly, with numpy and without.
- A recording cut anywhere into pieces gives the same as in one piece.

Run:  python tests/campaigns/forms_campaign.py --number 2000
      python tests/campaigns/forms_campaign.py --long          (1 000 000 lines of each form)
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from collections.abc import Callable, Sequence

from altered_lines import altered
from campaigns.lines_campaign import DATED, SENTENCES, is_wrong
from form_samples import SAMPLES
from garboard.faults import InputError
from garboard.recordings.arithmetic import Plain, WithNumpy
from garboard.recordings.columns import Columns
from garboard.recordings.forms import FORMS, SERIES
from garboard.recordings.notes import ReadingNotes
from garboard.samples import HARD_RANGE, Sample, gather

SEED = 20261129
IN_A_FILE = 60
BINARY = {"capture": 24, "gateway": 0}
"""Forms that are bytes, and the length of their heading."""
RANGED = ("sentences", "deltas", "series")
ALL = {form.key: form for form in (*FORMS, SERIES)}

Damage = Callable[[random.Random], tuple[bytes, int]]
"""A damaged recording, and how many lines or messages it was."""


def of_lines(lines: Sequence[str]) -> Damage:
    def damage(draw: random.Random) -> tuple[bytes, int]:
        start = draw.randrange(max(1, len(lines) - IN_A_FILE))
        file = [altered(line, draw, lines) for line in lines[start : start + IN_A_FILE]]
        if draw.random() < 0.5:
            file[:0] = lines[:1]  # a sound heading or time, so that the rest is read on
        return "\n".join(file).encode("utf-8", "surrogateescape"), len(file)

    return damage


def of_bytes(data: bytes, heading: int, records: int) -> Damage:
    """Bytes changed, left out, doubled or put in, some of them those that mean a beginning or an end."""

    def damage(draw: random.Random) -> tuple[bytes, int]:
        body = bytearray(data[heading:])
        start = draw.randrange(len(body))
        body = body[start : start + len(data) * IN_A_FILE // records]
        for _ in range(draw.randrange(1, IN_A_FILE)):
            at = draw.randrange(len(body) or 1)
            odd = draw.choice((0x10, 0x02, 0x03, 0x00, 0xFF, draw.randrange(256)))
            what = draw.randrange(4)
            if what == 0 and body:
                body[at] = odd
            elif what == 1:
                del body[at : at + draw.randrange(20)]
            elif what == 2:
                body[at:at] = body[max(0, at - draw.randrange(30)) : at]
            else:
                body.insert(at, odd)
        return data[:heading] + bytes(body), IN_A_FILE

    return damage


def damages() -> dict[str, Damage]:
    found: dict[str, Damage] = {}
    for key, made in SAMPLES.items():
        data = made()
        if key in BINARY:
            found[key] = of_bytes(data, BINARY[key], 225)
        else:
            lines = data.decode().splitlines()
            found[key] = of_lines([*lines, *SENTENCES, "!AIVDO,1,1,,A,H42O55i18tMET00000000000000,2*6F"]
                                  if key == "sentences" else lines)  # fmt: skip
    return found


def read(key: str, data: bytes, size: int = 0) -> tuple[list[Sample], ReadingNotes]:
    """What a reader makes of a recording, in pieces of so many bytes. Raises what it raises."""
    notes = ReadingNotes()
    reader = ALL[key].reader(notes, source="damaged")
    pieces = [data[at : at + size] for at in range(0, len(data), size)] if size else [data]
    return [*(sample for piece in pieces for sample in reader.feed(piece)), *reader.close()], notes


def wrong_with(key: str, data: bytes, draw: random.Random) -> str:
    """What a reader did that it must not, in words; "" when nothing."""
    try:
        samples, notes = read(key, data)
    except InputError:
        return "" if key == "series" else "InputError"
    except Exception as failure:
        return f"{type(failure).__name__}: {failure}"
    if notes.samples != len(samples):
        return f"{len(samples)} values, {notes.samples} counted"
    odd = [one for one in samples if one.value - one.value != 0 or one.time - one.time != 0]
    if odd:
        return f"no number: {odd[0]}"
    beyond = [one for one in samples if key in RANGED and abs(one.value) > max(map(abs, HARD_RANGE[one.quantity]))]
    if beyond:
        return f"a value out of range: {beyond[0]}"
    return _wrong_checksums(key, data) or _in_pieces(key, data, draw, samples, notes) or _at_once(key, data)


def _wrong_checksums(key: str, data: bytes) -> str:
    if key == "gateway":
        pieces = [piece.split(b"\x10\x03")[0] for piece in data.split(b"\x10\x02")[1:]]
        wrong = [piece for piece in pieces if sum(piece.replace(b"\x10\x10", b"\x10")) % 256]
        given, _ = read(key, b"".join(b"\x10\x02" + piece + b"\x10\x03" for piece in wrong if b"\x10" not in piece))
        return "a value from a message with a wrong checksum" if given else ""
    if key not in ("sentences", "wrapped_a", "wrapped_b"):
        return ""
    lines = data.decode("utf-8", "surrogateescape").split("\n")
    lines = [line for line in lines if is_wrong(line) and not _is_timed_behind(line)]
    text = "\n".join([DATED, *lines]).encode("utf-8", "surrogateescape")
    return "a value from a sentence with a wrong checksum" if read(key, text)[0] else ""


def _is_timed_behind(line: str) -> bool:
    """Whether something stands behind the checksum's two digits: that may be a time, and the checksum fit."""
    return len(line.rpartition("*")[2].strip()) > 2


def _in_pieces(key: str, data: bytes, draw: random.Random, samples: list[Sample], notes: ReadingNotes) -> str:
    if draw.random() > 0.1:
        return ""
    again, again_notes = read(key, data, draw.choice((1, 5, 33, 400)))
    return "" if (again, again_notes) == (samples, notes) else "otherwise when it comes in pieces"


def _at_once(key: str, data: bytes) -> str:
    samples, notes = read(key, data)
    expected = gather("log", samples)
    for arithmetic in (Plain(), WithNumpy()):
        own, columns = ReadingNotes(), Columns()
        reader = ALL[key].reader_at_once(own, arithmetic, columns)
        if reader is None:
            return ""
        reader.feed(data)
        reader.close()
        if columns.recording("log") != expected or own != notes:
            return f"otherwise when read at once by {type(arithmetic).__name__}"
    return ""


def run(
    number: int, seed: int = SEED, seconds: float = float("inf"), keys: Sequence[str] = tuple(SAMPLES)
) -> tuple[Counter[str], list[str]]:
    """Damage so many lines of each form. Gives how many were read, and what went wrong with which recordings."""
    read_of, faults, end = Counter[str](), list[str](), time.monotonic() + seconds
    ways = damages()
    for key in keys:
        draw = random.Random(f"{seed} {key}")
        while read_of[key] < number and time.monotonic() < end:
            data, count = ways[key](draw)
            read_of[key] += count
            if fault := wrong_with(key, data, draw):
                faults.append(f"{key}: {fault}: {data!r}")
    return read_of, faults


def main() -> None:
    """Run by hand."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--number", type=int, default=2_000)
    parser.add_argument("--long", action="store_true", help="1 000 000 lines of each form")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--form", choices=tuple(SAMPLES), action="append")
    chosen = parser.parse_args()
    number = 1_000_000 if chosen.long else chosen.number
    all_faults = 0
    for key in chosen.form or SAMPLES:
        read_of, faults = run(number, chosen.seed, chosen.seconds, (key,))
        all_faults += len(faults)
        print(f"seed {chosen.seed}: {key}: {read_of[key]} lines, {len(faults)} faults", flush=True)
        for fault in faults[:5]:
            print(fault[:3000], flush=True)
    raise SystemExit(bool(all_faults))


if __name__ == "__main__":
    main()
