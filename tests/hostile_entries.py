"""Entries of shapes nobody expects: random ones, and real ones with something put elsewhere. All follow from a seed."""

from __future__ import annotations

import json
import os
import random
from collections.abc import Callable, Iterator, Sequence

from examples import LONG
from garboard.disk.entries import KINDS, canonical_bytes
from garboard.records import JsonValue

SUBJECTS: tuple[list[JsonValue], ...] = (
    ["technicians"],
    ["opened"],
    ["owner"],
    ["kind"],
    ["name"],
    ["engines"],
    ["circuits"],
    ["engines", "port"],
    ["engines", "port", "gear_ratio"],
    ["engines", "port", "propeller", "pitch"],
    ["networks", "bus", "devices", "gps"],
    ["hull_number"],
    ["to"],
    ["from", "QQZ04417D626"],
    ["into"],
    ["prop_check.full_throttle", "engine_speed", "", "port"],
    ["wiring_audit.circuits", "length", "horn", ""],
    ["heading_calibration.turn", "recording", "", ""],
    ["prop_check.runs", "recording", "1", "", "ab" * 32],
    ["owner", "A. Marsh"],
    ["wiring_audit.circuits"],
    ["prop_check.limit"],
    [],
    ["a/b", "../..", "", "\u202e", "<script>"],
)
PLAIN: tuple[JsonValue, ...] = (
    None,
    True,
    0,
    -1,
    2**53 - 1,
    "",
    " ",
    "fine",
    "38.2 kn",
    "1e400 kn",
    "-0.0 V",
    "NaN kn",
    "9" * 400 + " kn",
    "2026-05-14",
    "9999-12-31",
    "QQZ04417D626",
    "job-1",
    "manager",
    "done",
    "ab" * 32,
    "{{ 7 * 7 }}",
    "<b>&\"'",
    "\x00\x07\x1b[31m",
    "\u202eabc\u0301\U0001f6a4",
    "=1+1",
    "x" * 20_000,
)
NAMES = (
    *("kind", "reason", "role", "name", "file", "origin", "state", "text", "punch_list", "settled", "hull", "job"),
    *("covers", "signature", "settings", "by", "at", "removed", "position", "x.y", "[0]", "stale", "not_covered"),
)
TIMES = (
    "2026-05-14T09:30:00+02:00",
    "",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-12:00",
    "14 May",
    "2026-13-01",
)


def value(chance: random.Random, depth: int = 0) -> JsonValue:
    """A value of any shape an entry can carry."""
    what = chance.random()
    if depth > 3 or what < 0.5:
        return chance.choice(PLAIN)
    if what < 0.7:
        return [value(chance, depth + 1) for _ in range(chance.randint(0, 3))]
    if what < 0.73:
        return deep(chance.randint(5, 14))
    return {chance.choice(NAMES): value(chance, depth + 1) for _ in range(chance.randint(0, 4))}


def deep(levels: int) -> JsonValue:
    """A list in a list in a list."""
    found: JsonValue = "bottom"
    for level in range(levels):
        found = [found] if level % 2 else {"kind": found}
    return found


def random_fields(chance: random.Random, hull: str, jobs: Sequence[str], ids: Sequence[str]) -> dict[str, JsonValue]:
    """An entry's fields as any program could write them."""
    more = {f"x_{chance.choice(NAMES)}": value(chance)} if chance.random() < 0.2 else {}
    if chance.random() < 0.3:
        more = {**more, chance.choice(("reason", "instrument", "decision")): value(chance)}
    subject: list[JsonValue] = [*chance.choice(SUBJECTS)]
    replaces: list[JsonValue] = [*sorted({chance.choice(ids) for _ in range(chance.randint(0, 3))})] if ids else []
    return {
        **more,
        "v": 1 if chance.random() < 0.97 else chance.randint(2, 9),
        "kind": chance.choice(sorted(KINDS)) if chance.random() < 0.95 else chance.choice(("gadget", "x" * 300)),
        "hull": hull,
        "job": chance.choice((*jobs, "", "../x", "é\n")),
        "subject": subject,
        "value": value(chance),
        "replaces": replaces,
        "dev": chance.choice(("tablet-07", "", "shop page")),
        "by": chance.choice(("Ines", "", "<b>", "x" * 2000)),
        "clock": [chance.choice((0, 1, 2**53 - 1, 1_780_000_000_000)), chance.choice((0, 7, 2**53 - 1))],
        "at": chance.choice(TIMES),
        "program": "0",
        "plugins": {"gadget": "1"} if chance.random() < 0.1 else {},
    }


def mutated(chance: random.Random, raw: bytes) -> dict[str, JsonValue]:
    """A real entry with one thing in it changed to something of any shape."""
    fields: dict[str, JsonValue] = json.loads(raw)
    where: dict[str, JsonValue] | list[JsonValue] = fields
    key: str | int = (
        "value" if chance.random() < 0.7 else chance.choice(("subject", "at", "by", "job", "kind", "clock"))
    )
    inner = fields["value"]
    if key == "value" and isinstance(inner, dict | list) and inner and chance.random() < 0.7:
        where = inner
        key = chance.choice(sorted(inner)) if isinstance(inner, dict) else chance.randrange(len(inner))
    new = value(chance)
    if where is fields and key == "kind":
        new = chance.choice(sorted(KINDS))
    elif where is fields and key == "subject":
        new = list(chance.choice(SUBJECTS))
    where[key] = new  # type: ignore[index]  # a key for an object, a place for a list
    return fields


def spelt(fields: dict[str, JsonValue]) -> bytes:
    return canonical_bytes(fields)


def hostile(chance: random.Random, hull: str, real: Sequence[bytes], many: int) -> Iterator[bytes]:
    """Bytes as they may be handed over: about half of them random, half real ones changed.

    Which of those are drawn follows from the seed: not from the order they are given in, and not from the time of day
    in their stamps, which is in their ids as well.
    """
    real = sorted(real, key=_what_it_says)
    jobs = sorted({str(json.loads(raw)["job"]) for raw in real}) or ["job-1"]
    ids: list[str] = []
    for _ in range(many):
        if real and chance.random() < 0.5:
            fields = mutated(chance, chance.choice(real))
        else:
            fields = random_fields(chance, hull, jobs, ids)
        raw = spelt(fields)
        if chance.random() < 0.3:
            from garboard.disk.entries import entry_id

            ids = [*ids[-200:], entry_id(raw)]
        yield raw


def _what_it_says(raw: bytes) -> list[str]:
    fields = json.loads(raw)
    return [json.dumps(fields[name]) for name in ("kind", "job", "subject", "at", "dev", "by", "value")]


NO_ENTRIES = (
    b"",
    b"null",
    b"[]",
    b"{}",
    b"NaN",
    b'{"v":1}',
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":NaN}',
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":1.5}',
    b'{"hull":["QQZ04417D626"],"kind":"measure","v":1}',
    b'{"hull":"QQZ04417D626","kind":"measure","v":"1"}',
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":"\\ud800"}',
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":' + b"9" * 5000 + b"}",
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":' + b"[" * 1000 + b"]" * 1000 + b"}",
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":' + b"[" * 100_000 + b"}",
    b"\xff\xfe{",
    b'{"hull":"QQZ04417D626","kind":"measure","v":1,"value":"' + b"x" * 1_000_000 + b'"}',
)
"""Bytes that no program of ours stores, and that may stand in a hull file under an id that proves them."""

PATHS: tuple[tuple[str, ...], ...] = (
    ("engines", "port", "propeller", "pitch", "x", "y"),
    ("prop_check.full_throttle", "engine_speed", "1", "port", "ab" * 32, "z"),
    ("job-1", "assigned", "x", "y", "z", "w"),
    ("", "", "", "", "", ""),
)
MORE_PATHS: tuple[tuple[str, ...], ...] = (
    ("circuits", "horn", "label", "x", "y", "z"),
    ("our_yard.trailers", "one", "two", "x", "y", "z"),
    ("\u202e\x00", "<b>", "a/b", " ", "x" * 300, "é\n"),
)
"""Each is a subject of six words, and so of each length below; those of MORE_PATHS are tried in a long run."""
SOUND: dict[str, JsonValue] = {
    "measure": "38.2 kn",
    "step": {"state": "done"},
    "field": "19 ft",
    "note": {"text": "a remark", "punch_list": True},
    "retract": {"kind": "measure", "reason": "typed wrongly"},
    "signoff": {"role": "owner", "name": "A. Marsh", "covers": []},
    "alias": {"hull": "QQZ55555A626"},
    "move": {"hull": "QQZ55555A626"},
    "job": "fine",
    "run": {"file": "ab" * 32},
    "setting": "7 %",
    "template": [["name", "a boat"]],
    "forecast": {"propeller": "the next one"},
    "alike": [],
    "plan": "2026-05-14",
    "view": {"name": "Ours", "asked": "state=open"},
    "issued": {"root": "ab", "entries": 3},
}
"""Of each kind a value as the program writes it."""
STRANGE: JsonValue = [["deep"]]
OTHERWISE: dict[str, JsonValue] = {
    "measure": "41 kn",
    "step": {"state": "not fitted", "reason": "none aboard"},
    "field": "6 m",
    "job": "other",
    "setting": "9 %",
}
"""Of the kinds that disagree another."""
PIECE: JsonValue = {"maker": "Invented"}
SOUND_FORM, STRANGE_FORM, TAKEN_BACK, NEWER, NO_LIST = "sound", "strange", "taken back", "newer", "no list"
FORMS = (SOUND_FORM, STRANGE_FORM, TAKEN_BACK, NEWER, NO_LIST)
"""What the entries of `every_shape` say: what their kind says; what no kind says; that something is taken back; what a
newer program wrote; and nothing that has a subject."""
DISAGREEING = "disagreeing"
"""A further form: another value beside each of SOUND_FORM."""
MOST_WORDS = 6
NO_LISTS: tuple[JsonValue, ...] = ("text", [1], ["engines", None], {"a": 1}, None)
MOVES_THE_JOB = (["to"], ["into"])


def every_shape(hull: str, job: str, form: str) -> Iterator[bytes]:
    """Entries of each kind with subjects of 0 to 6 words, and those of SUBJECTS; and a signature that covers none.

    None of them moves the job away: the boat would have no page of it.

    form : one of FORMS
    """
    own = [
        tuple(job if word == "job-1" else word for word in words)
        for words in (*PATHS, *(MORE_PATHS if LONG in os.environ else ()))
    ]
    given = [words[:length] for words in own for length in range(MOST_WORDS + 1)]
    subjects: list[JsonValue] = [[*one] for one in dict.fromkeys((*given, *(tuple(map(str, one)) for one in SUBJECTS)))]
    number = 0
    for kind in sorted(OTHERWISE if form == DISAGREEING else SOUND):
        for subject in NO_LISTS if form == NO_LIST else subjects:
            if form == SOUND_FORM and (
                (kind == "move" and subject in MOVES_THE_JOB) or (kind == "signoff" and number % 9)
            ):
                continue  # each signature that stands names all it does not cover
            number += 1
            written_as = "retract" if form == TAKEN_BACK else kind
            yield _of_shape(
                hull, job, written_as, subject, _said(kind, subject, form), number, 9 if form == NEWER else 1
            )
    value: JsonValue = {"role": "technician", "name": "A. Vane", "covers": []}
    yield _of_shape(hull, job, "signoff", ["technician", "A. Vane"], value, 0, 1)


def _said(kind: str, subject: JsonValue, form: str) -> JsonValue:
    if form == STRANGE_FORM:
        return STRANGE
    if form == TAKEN_BACK:
        return {"kind": kind, "reason": "typed wrongly"}
    if kind == "field" and isinstance(subject, list) and subject[:1] == ["engines"] and len(subject) < 3:
        return {"maker": "Another"} if form == DISAGREEING else PIECE
    return OTHERWISE[kind] if form == DISAGREEING else SOUND[kind]


def _of_shape(hull: str, job: str, kind: str, subject: JsonValue, value: JsonValue, number: int, version: int) -> bytes:
    return spelt(
        {
            "v": version,
            "kind": kind,
            "hull": hull,
            "job": job,
            "subject": subject,
            "value": value,
            "replaces": [],
            "dev": "tablet-07",
            "by": "Ines",
            "clock": [1_795_608_000_000, number],
            "at": "2026-11-25T12:00:00+01:00",
            "program": "0",
            "plugins": {},
        }
    )


def culprit(raws: Sequence[bytes], fails: Callable[[Sequence[bytes]], bool]) -> str:
    """Which entry makes something fail, by halves; where it takes two from both halves, how many are left."""
    left = [*raws]
    while len(left) > 1:
        half = len(left) // 2
        part = next((some for some in (left[:half], left[half:]) if fails(some)), None)
        if part is None:
            return f"{len(left)} entries together, the first {left[0].decode()}"
        left = part
    return left[0].decode()
