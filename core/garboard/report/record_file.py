"""What is attached to a handover book: the job as a job file, and what proves the book, for a program to read.

format, version   "garboard record", 1
program           version of the program that made the book
plugins           name, version of each plugin that judged
hull_number, job
root, entries     the root, and the SHA-256 of each entry it covers; both empty where no folder stood behind the book
findings          step, calculator, code, about, verdict, plugin, plugin_version, numbers (name, value, unit,
                  expanded_uncertainty)
"""

from __future__ import annotations

import json
import logging
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import BytesIO
from typing import Any

import attrs

import garboard
from garboard.disk.formats import Format
from garboard.disk.json_text import read_json
from garboard.faults import InputError
from garboard.history.exchange import job_file_of
from garboard.history.proof import Proof
from garboard.hosting.host import PluginHost
from garboard.job_files.job_file import job_file_text
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.steps import Assessed
from garboard.units import in_full, plain_text

RECORD = Format("garboard record")
RECORD_FILE, JOB_FILE = "record.json", "job.json"
_TEXTS = ("step", "calculator", "code", "about", "verdict", "plugin", "plugin_version")
_HASH = re.compile(r"[0-9a-f]{64}")
"""As this program writes it; other spellings of the same bytes would count as other entries."""
_SAME = 1e-9
"""Numbers that differ by less, as a share, are the same: last digits depend on the machine."""


@frozen
class Told:
    """A finding, as a book keeps it: what tells it from others, and what it says."""

    step: str
    calculator: str
    code: str
    about: str
    verdict: str
    plugin: str
    plugin_version: str
    numbers: tuple[tuple[str, float, str, float | None], ...]

    @property
    def name(self) -> tuple[str, str, str]:
        return self.step, self.calculator, self.about


@frozen
class Record:
    """What a book says of itself, as it is attached to it.

    plugins : versions by name
    """

    program: str
    plugins: Mapping[str, str]
    hull_number: str
    job: str
    root: str
    entries: tuple[str, ...]
    findings: tuple[Told, ...]


@frozen
class Change:
    """A finding that comes out otherwise now.

    was, now : verdict and numbers; "" where there was, or is, no such finding
    """

    step: str
    about: str
    was: str
    now: str


def attachments(view: JobView, host: PluginHost, assessed: Sequence[Assessed], proof: Proof | None) -> dict[str, bytes]:
    """The files to attach to a book, by name."""
    record = {
        **RECORD.heading,
        "program": garboard.__version__,
        "plugins": [{"name": plugin.name, "version": plugin.version} for plugin in host.plugins],
        "hull_number": view.vessel.hull_number,
        "job": view.job.id,
        "root": proof.root if proof else "",
        "entries": [*proof.hashes] if proof else [],
        "findings": [_as_plain(one) for one in told(assessed)],
    }
    return {
        JOB_FILE: _bytes_of(job_file_text(job_file_of(view, declared=host.settings))),
        RECORD_FILE: _bytes_of(json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"),
    }


def _bytes_of(text: str) -> bytes:
    """JSON as bytes; half of a surrogate pair, which no file holds, as JSON spells it."""
    return text.encode(errors="backslashreplace")


def told(assessed: Iterable[Assessed]) -> tuple[Told, ...]:
    """Findings as a book keeps them."""
    return tuple(
        Told(
            one.step,
            one.calculator,
            one.finding.code,
            one.finding.about,
            one.finding.verdict.value,
            one.plugin,
            one.plugin_version,
            tuple((each.name, each.value, each.unit, each.expanded_uncertainty) for each in one.finding.numbers),
        )
        for one in assessed
    )


def _as_plain(one: Told) -> dict[str, Any]:
    keys = ("name", "value", "unit", "expanded_uncertainty")
    return {**attrs.asdict(one), "numbers": [dict(zip(keys, each, strict=True)) for each in one.numbers]}


def record_in(book: bytes) -> Record | None:
    """The record attached to a book; None where the file is no PDF, or carries none that can be read."""
    content = _attached(book)
    try:
        plain = RECORD.current(read_json(content.decode()), RECORD_FILE)
        return _read(plain)
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, InputError):
        return None


def _attached(book: bytes) -> bytes:
    """A reader of damaged files fails in more ways than it lists: any of them means that there is none."""
    from pypdf import PdfReader

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # what is wrong with a file is ours to say
    try:
        return PdfReader(BytesIO(book)).attachments[RECORD_FILE][0]
    except Exception:
        return b""


def _read(plain: Mapping[str, Any]) -> Record:
    def one(found: Mapping[str, Any]) -> Told:
        step, calculator, code, about, verdict, plugin, version = (str(found[name]) for name in _TEXTS)
        numbers = tuple(
            (str(each["name"]), _number(each["value"]), str(each["unit"]), _or_none(each["expanded_uncertainty"]))
            for each in found["numbers"]
        )
        return Told(step, calculator, code, about, verdict, plugin, version, numbers)

    entries = tuple(str(each) for each in plain["entries"])
    if not all(map(_HASH.fullmatch, entries)):
        raise ValueError("a hash that is none")
    return Record(
        str(plain["program"]),
        {str(each["name"]): str(each["version"]) for each in plain["plugins"]},
        str(plain["hull_number"]),
        str(plain["job"]),
        str(plain["root"]),
        entries,
        tuple(one(each) for each in plain["findings"]),
    )


def _or_none(value: Any) -> float | None:
    return None if value is None else _number(value)


def _number(value: Any) -> float:
    """Raises ValueError, or OverflowError, for what no book states: infinity is as near to all as to itself."""
    number = float(value)
    if not math.isfinite(number):
        raise ValueError("a number that is none")
    return number


def changes(before: Sequence[Told], now: Sequence[Told]) -> tuple[Change, ...]:
    """Findings that came out otherwise, each pair once. Several of one name are compared as a whole."""
    return tuple(_changes(before, now))


def _changes(before: Sequence[Told], now: Sequence[Told]) -> Iterator[Change]:
    for name in dict.fromkeys(one.name for one in (*before, *now)):
        was, is_ = [[one for one in each if one.name == name] for each in (before, now)]
        for old, new in _not_paired(was, is_):
            yield Change(name[0], name[2], in_short(old) if old else "", in_short(new) if new else "")


def _not_paired(was: Sequence[Told], now: Sequence[Told]) -> Iterator[tuple[Told | None, Told | None]]:
    left = [*now]
    lone = []
    for one in was:
        same = next((other for other in left if _say_the_same(one, other)), None)
        if same is None:
            lone.append(one)
        else:
            left.remove(same)
    for place in range(max(len(lone), len(left))):
        yield lone[place] if place < len(lone) else None, left[place] if place < len(left) else None


def _say_the_same(one: Told, other: Told) -> bool:
    return (one.code, one.verdict, len(one.numbers)) == (other.code, other.verdict, len(other.numbers)) and all(
        a[::2] == b[::2] and _near(a[1], b[1]) and _near(a[3], b[3])
        for a, b in zip(one.numbers, other.numbers, strict=True)
    )


def _near(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= _SAME * max(abs(one), abs(other))


def in_short(one: Told) -> str:
    """A verdict and its numbers, with enough digits to tell them apart."""
    numbers = "; ".join(
        f"{name} {in_full(value)}{'' if expanded is None else f' ± {plain_text(expanded, 3)}'} {unit}".rstrip()
        for name, value, unit, expanded in one.numbers
    )
    return f"{one.verdict}: {numbers}" if numbers else one.verdict


def versions_changed(record: Record, host: PluginHost) -> tuple[str, ...]:
    """What is of another version now than when the book was made, in words."""
    now = {plugin.name: plugin.version for plugin in host.plugins}
    found = [] if record.program == garboard.__version__ else [f"garboard {record.program}, now {garboard.__version__}"]
    for name in sorted({*record.plugins, *now}):
        was, is_ = record.plugins.get(name, ""), now.get(name, "")
        if was != is_:
            found.append(f"{name} {was or 'not at work'}, now {is_ or 'not at work'}")
    return tuple(found)
