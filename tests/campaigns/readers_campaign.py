"""Damaged lines through every other reader than those of recordings' lines, which lines_campaign.py tries.

Sound files of each kind, kept below or made by the program, are damaged: lines as lines_campaign.py does, bytes, whole
pieces. A reader raises what it says it raises, and what it gives holds:

- A recording, job file, entry, typed word or body of a request is read, or refused with a fault that says what was
  expected. A job file that is read is written and read again to the same.
- A hull file, a tablet's run, a tablet's settings and the shop's notes of deliveries are never refused: what is sound
  in them is kept. A hull file gives no entry whose bytes do not prove its id.

Run:  python tests/campaigns/readers_campaign.py --number 20000
      python tests/campaigns/readers_campaign.py --long --seconds 600          (1 000 000 lines)
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import hashlib
import json
import logging
import os
import random
import sys
import tempfile
import time
import zlib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs

import altered_lines
from campaigns import lines_campaign
from garboard import hull_number
from garboard.demo.samples_folder import sample_job_files
from garboard.disk import journal
from garboard.disk.clock import Stamp
from garboard.disk.documents import DocumentDamaged, refuse_unreadable
from garboard.disk.entries import Entry, hull_key_of, make_entry, read_entry, view
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError, ValueRefused
from garboard.fields import Field, Kind, check_value, typed_value
from garboard.history.shapes import misfit_of
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import check, job_file_text, located, parse_job_file, settings_faults
from garboard.recordings import load_recording
from garboard.recordings.reader import refuse_other_text
from garboard.recordings.where import read_where
from garboard.records import EQUIPMENT, JsonValue
from garboard.shop_link import pairing, wire
from garboard_shop.embedded import EmbeddedStore
from garboard_tablet.models.runs import read_pending
from garboard_tablet.models.settings import FILE as SETTINGS_FILE
from garboard_tablet.models.settings import read_settings, write_settings

SEED = 20261130
HULL = "QQZ01234A626"
WHERE = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
"""In memory, where that can be: each save is flushed."""
IN_A_JOB = 6
"""Measurements in a job file: short files, so that damage to one is seen beside the others."""


TOLD_EVERY = 50_000
"""Lines after which a run tells how far it is."""
KINDS_EACH = 8
"""A typed word is tried as a value of so many kinds of fields, chosen by the word; together the words try them all."""


@attrs.frozen
class Reader:
    """One reader and what it is fed.

    sound : files that it reads without a fault
    tried : reads bytes; returns what is wrong with what it gave, "" where nothing is. Raises what the reader raises
    says  : what the reader says it raises
    lines : at most so many of a file are damaged; of what is read line by line, many: a damaged one hides no other
    """

    sound: Sequence[bytes]
    tried: Callable[[bytes, Path], str]
    says: tuple[type[Exception], ...] = ()
    lines: int = 8


@lru_cache(maxsize=1)
def host() -> PluginHost:
    return make_host(entry_points=False)


def _recording(data: bytes, folder: Path) -> str:
    path = folder / "log"
    path.write_bytes(data)
    with contextlib.suppress(InputError):
        refuse_other_text(path)
    recording, notes = load_recording(path)
    values = sum(len(stream.times) for stream in recording.streams.values())
    return "" if values == notes.samples else f"{notes.samples} values counted, {values} given"


def _job_file(data: bytes, folder: Path) -> str:
    text = data.decode("utf-8", "replace").replace("\r", "\n")
    read = parse_job_file(text, "job.json", host())
    again = parse_job_file(job_file_text(read), "again.json", host())
    if again != read:
        return "written and read again it is another"
    found = [*check(read, host(), folder), *settings_faults(read.settings, host())]
    (folder / "job.json").write_text(text, encoding="utf-8")
    return "" if len(located(folder / "job.json", found)) == len(found) else "a fault was lost on its way to its line"


def _entry(data: bytes, folder: Path) -> str:
    for line in data.split(b"\n"):
        seen = view(hashlib.sha256(line).hexdigest()[:32], line)
        misfit_of(seen)
        try:
            read = read_entry(line)
        except InputError as failure:
            refused = str(failure)
            try:
                hull_key_of(line)
            except InputError:
                continue
            return f"the quick look takes what the reader refuses: {refused}"
        if hull_key_of(line) != read.hull_key:
            return "the quick look names another hull"
    return ""


def _hull_file(data: bytes, folder: Path) -> str:
    found = journal.read(data)
    wrong = [name for name, raw in found.entries.items() if hashlib.sha256(raw).hexdigest()[:32] != name]
    return f"an entry under an id that is not its own: {wrong[0]}" if wrong else ""


def _body(data: bytes, folder: Path) -> str:
    for read in (wire.read_answer, wire.read_question, wire.read_digests, wire.read_bucket_digests, wire.read_buckets):
        try:
            read(data)
        except wire.Garbled:
            continue
    return ""


READ_AS_TYPED: tuple[Callable[[str], object], ...] = (
    *(pairing.read_code, pairing.characters_alone, pairing.read_address),
    *(read_where, hull_number.parse, hull_number.key),
)


def _typed(data: bytes, folder: Path) -> str:
    text = data.decode("utf-8", "replace")
    for read in READ_AS_TYPED:
        try:
            read(text)
        except InputError as failure:
            if not all(fault.expected for fault in failure.faults):
                return "a fault that does not say what was expected"
    fields = kinds_of_fields()
    first = zlib.crc32(data)
    for field in (fields[(first + number) % len(fields)] for number in range(KINDS_EACH)):
        try:
            check_value(field, typed_value(field, text))
        except ValueRefused:
            continue
    return ""


@lru_cache(maxsize=1)
def kinds_of_fields() -> Sequence[Field]:
    """A field of every step's for each kind, quantity and choice there is."""
    fields = (field for step in host().steps for field in step.all_fields())
    kinds = (Kind.AMOUNT, Kind.COUNT, Kind.CHOICE, Kind.YES_NO)
    return [*{(one.kind, one.quantity, one.choices): one for one in fields if one.kind in kinds}.values()]


def _document(data: bytes, folder: Path) -> str:
    path = folder / SETTINGS_FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    with contextlib.suppress(DocumentDamaged):
        refuse_unreadable(path)
    damaged: list[DocumentDamaged] = []
    read = read_settings(folder, damaged)
    again = read_settings(folder, damaged)
    for aside in folder.glob(f"{SETTINGS_FILE}.*"):  # each further copy set aside is compared with all before it
        aside.unlink()
    return "" if read == again else "read once more it is another"


def _run(data: bytes, folder: Path) -> str:
    (folder / "run").write_bytes(data)
    pending = read_pending(folder, "run", {})
    pending.samples()
    pending.recording()
    return ""


def _deliveries(data: bytes, folder: Path) -> str:
    store, file = shop(str(folder))
    file.write_bytes(data)
    list(store.deliveries(0, 4_000_000_000_000))
    return ""


@lru_cache(maxsize=1)
def shop(folder: str) -> tuple[EmbeddedStore, Path]:
    """A shop's store, and the file of a day's deliveries in it."""
    store = EmbeddedStore(Path(folder) / "shop")
    store._deliveries.mkdir(parents=True, exist_ok=True)
    return store, store._deliveries / "2026-05-14.jsonl"


def readers() -> dict[str, Reader]:
    """Every reader, with its corpus."""
    entries = [_made(number) for number in range(40)]
    lines = journal._lines({entry.id: entry.raw for entry in entries}).splitlines(keepends=True)
    runs = [
        {"source": "boat's network", "origin": "live", "subject": ["prop_check", "full_throttle"]},
        *([second, "engine_speed", 5600.0 + second, "engine", "0", ""] for second in range(20)),
    ]
    delivery = {"at": 1778752800000, "tablet": "t1", "clock_offset": 12, "ids": {HULL: [one.id for one in entries[:4]]}}
    differences = wire.Differences({HULL: [entries[0].id]}, {HULL: 2}, [entry.raw for entry in entries[:5]])
    return {
        "recording": Reader(_recordings(), _recording, (InputError,), lines=60),
        "job file": Reader(_jobs(), _job_file, (InputError,)),
        "entry": Reader([b"\n".join(entry.raw for entry in entries[at : at + 8]) for at in range(0, 40, 8)], _entry),
        "hull file": Reader([journal.heading(HULL) + b"".join(lines)], _hull_file, (NewerFormat,), lines=40),
        "body": Reader(
            [
                wire.answer(differences),
                wire.question({HULL: [entry.id for entry in entries]}, 8, {HULL: "0f"}),
                wire.plain(wire.digests_to_plain({HULL: (entries[0].id, 40)})),
                wire.by_hull({HULL: wire.bucket_digests(entry.id for entry in entries)}),
                wire.by_hull({HULL: "01f"}),
            ],
            _body,
        ),
        "typed": Reader([word.encode() for word in TYPED], _typed),
        "document": Reader([_settings_document()], _document, (NewerFormat,)),
        "run": Reader(
            ["".join(json.dumps(one) + "\n" for one in runs).encode()], _run, (OSError, InputError), lines=20
        ),
        "deliveries": Reader([(json.dumps(delivery) + "\n").encode() * 5], _deliveries),
    }


TYPED = (
    "192.168.1.20:8443 aaaaaa-aaaaaa-aaaaaa-aaaaaa",
    "aaaaaa-aaaaaa-aaaaaa-aaaaaa",
    "[fe80::1%eth0]:10110",
    "10110",
    HULL,
    "QQZ-01234-A6-26",
    "38.2 kn",
    "5600 rpm",
    "22.4 gph",
    "12,6 V",
    "21 °C",
    "yes",
    "17",
)


def _made(number: int) -> Entry:
    values: tuple[JsonValue, ...] = (
        "38.2 kn",
        True,
        3,
        None,
        {"file": "86d8" * 16, "name": "run.log"},
        "å" * 30,
        ["a", {"b": ["c"]}],
    )
    return make_entry(
        ("measure", "note", "field", "setting", "another kind")[number % 5],
        HULL,
        dev="T1",
        by="A. Tester",
        clock=Stamp(1778752800000 + number, 0),
        at="2026-05-14T09:30:00+02:00",
        job="J-1",
        subject=("prop_check.full_throttle", "speed", str(number), ""),
        value=values[number % len(values)],
    )


def _recordings() -> list[bytes]:
    forms = lines_campaign.corpus()
    return [
        "\n".join([*lines[:1], *lines[start : start + 60]]).encode()  # its heading, or its first time
        for lines in forms.values()
        for start in (1, 60, 300)
        if start < len(lines)
    ]


def _jobs() -> list[bytes]:
    found: list[bytes] = []
    for path in sample_job_files():
        plain = json.loads(path.read_text(encoding="utf-8"))
        measurements = plain["measurements"]
        for start in range(0, len(measurements), len(measurements) // 4):
            number, vessel = len(found), dict(plain["vessel"])
            for kind in EQUIPMENT:  # one piece of each kind, and by turns each of them
                pieces = vessel.get(kind, [])
                vessel[kind] = pieces[number % len(pieces) :][:1] if pieces else []
            short = {**plain, "vessel": vessel, "measurements": measurements[start : start + IN_A_JOB]}
            found.append(json.dumps(short, indent=1, ensure_ascii=False).encode())
    return found


def _settings_document() -> bytes:
    with tempfile.TemporaryDirectory(dir=WHERE) as folder:
        damaged: list[DocumentDamaged] = []
        write_settings(Path(folder), read_settings(Path(folder), damaged))
        plain = json.loads((Path(folder) / SETTINGS_FILE).read_bytes())
        return json.dumps(plain, indent=1).encode()  # a value a line


def damaged(data: bytes, draw: random.Random, most: int = 8) -> tuple[bytes, int]:
    """The file with one to so many of its lines damaged, and sometimes bytes or a piece of it; and how many lines."""
    if data.startswith(b"{") and draw.random() < 0.5:
        return _with_odd_values(data, draw)
    lines = data.decode().split("\n")
    places = draw.sample(range(len(lines)), min(len(lines), draw.randint(1, most)))
    for place in places:
        lines[place] = _line(lines[place], draw, lines)
    out = "\n".join(lines).encode("utf-8", "surrogateescape")
    what = draw.randrange(8)
    at = draw.randrange(len(out) + 1)
    if what == 0:
        out = out[:at]
    elif what == 1:
        out = out[:at] + bytes([draw.randrange(256)]) + out[at + 1 :]
    elif what == 2:
        out = out[:at] + out[max(0, at - 200) :]
    return out, len(places)


def _with_odd_values(data: bytes, draw: random.Random) -> tuple[bytes, int]:
    """JSON with up to three values in it put in another's place, gone, or under another key."""
    try:
        pieces, end = [json.loads(data)], ""
    except ValueError:
        first, _, rest = data.partition(b"\n")
        try:
            pieces, end = [json.loads(first)], "\n" + rest.decode()
        except ValueError:
            return data, 1
    count = draw.randint(1, 3)
    for _ in range(count):
        place: Any = pieces
        while True:
            keys = list(place) if isinstance(place, dict) else range(len(place))
            key = draw.choice(keys)
            if not isinstance(place[key], dict | list) or not place[key] or draw.random() < 0.1:
                break
            place = place[key]
        if draw.random() < 0.1 and place is not pieces:
            del place[key]
        elif draw.random() < 0.1 and isinstance(place, dict):
            place[f"{key}x"] = place.pop(key)
        else:
            place[key] = copy.deepcopy(draw.choice(ODD_VALUES))
    return (json.dumps(pieces[0], indent=draw.choice((None, 1)), ensure_ascii=False) + end).encode(
        "utf-8", "surrogatepass"
    ), count


ODD_VALUES: tuple[Any, ...] = (
    *(None, True, -1, 0.1, float("nan"), 10**18, 10**400, {}, [], "", "x", "60 M", "12,6 V", "12.6 V", "å" * 70_000),
    *(
        [[1]],
        {"file": 3},
        {"file": "../x"},
        {"file": "x" * 5000},
        "\ud800",
        "\x00",
        "9" * 500 + " V",
        "2026-13-45",
        ["a"],
    ),
)


def _line(line: str, draw: random.Random, others: Sequence[str]) -> str:
    """A line damaged as lines of a recording are, or one value in it put in another's place."""
    if draw.random() < 0.5:
        return altered_lines.altered(line, draw, others).encode("utf-8", "replace").decode()
    parts = [part for part in line.replace(":", ",").split(",") if part.strip()]
    odd = draw.choice(ODD)
    return line.replace(draw.choice(parts), odd, 1) if parts else odd


ODD = (
    *("null", "true", "-1", "1e400", "NaN", "9" * 5000, "{}", "[]", '""', '"', "[" * 300, '{"a":' * 300),
    *('"\\ud800"', '"\\u0000"', "0.1", '"60 M"', '"12,6 V"', '"å"', "\u2028", "2 ", "[[1]]", '{"file": 3}'),
)


def run(
    number: int, seed: int = SEED, seconds: float = float("inf"), only: str = ""
) -> tuple[Counter[str], Counter[str], list[str]]:
    """Damage so many lines. Gives how many went through each reader, how many files each read, and what went wrong."""
    draw, lines, read, faults = random.Random(seed), Counter[str](), Counter[str](), list[str]()
    tried: Mapping[str, Reader] = {name: reader for name, reader in readers().items() if only in ("", name)}
    end = time.monotonic() + seconds
    for name, reader in tried.items():  # what is sound must be read, or nothing is tried
        with tempfile.TemporaryDirectory(dir=WHERE) as folder:
            for data in reader.sound:
                if said := reader.tried(data, Path(folder)):
                    faults.append(f"{name}, sound: {said}")
            shop.cache_clear()
    tell_at = TOLD_EVERY
    with tempfile.TemporaryDirectory(dir=WHERE) as folder:
        while lines.total() < number and time.monotonic() < end:
            if lines.total() >= tell_at:  # a run that is stopped has told how far it came
                tell_at += TOLD_EVERY
                print(f"so far: {lines.total()} lines, {len(faults)} faults", flush=True)
            name = min(tried, key=lambda one: (lines[one], one))  # each reader gets as many lines
            reader = tried[name]
            data, count = damaged(draw.choice(reader.sound), draw, reader.lines)
            lines[name] += count
            try:
                said = reader.tried(data, Path(folder))
                read[name] += 1
            except reader.says:
                continue
            except Exception as failure:
                said = f"{type(failure).__name__}: {failure}"
            if said:
                faults.append(f"{name}: {said[:200]}: {data[:4000]!r}")
        shop.cache_clear()
    return lines, read, faults


def main() -> None:
    """Run by hand."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--number", type=int, default=20_000)
    parser.add_argument("--long", action="store_true", help="1 000 000 lines")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--only", default="", help="one reader by its name")
    chosen = parser.parse_args()
    logging.disable()  # what is set aside is logged each time
    number = 1_000_000 if chosen.long else chosen.number
    lines, read, faults = run(number, chosen.seed, chosen.seconds, chosen.only)
    print(f"seed {chosen.seed}: {lines.total()} lines, {dict(lines)}; files read {dict(read)}; {len(faults)} faults")
    for fault in faults[:20]:
        print(fault[:600])
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
