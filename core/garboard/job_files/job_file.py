"""The job file: one job as plain JSON, the shape a tablet exports and `garboard assess` reads.

Keys: format ("garboard job"), version (1), vessel, job, steps, measurements, notes, forecasts, sign_offs, settings, and
in an exported file entries: the facts the rest was folded from, so that nothing changes when it is taken in.
Amounts are text with their unit, so that every digit is kept as typed. Keys this version does not know
are kept and written back. A key of the vessel or the job, or the value of a measurement, that is null counts
as not entered, and "explained" is for people alone: a blank file (blank.py) has both.
"""

from __future__ import annotations

import ast
import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import lru_cache, partial
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

import attrs

from garboard.disk.entries import canonical_bytes, faults_of_time, faults_of_value
from garboard.disk.formats import Format
from garboard.disk.json_text import NestedTooDeep, line_nested_too_deep, read_json
from garboard.faults import Fault, InputError, ValueRefused, in_words, refuse_endless, shown
from garboard.fields import Field, Kind, check_value
from garboard.findings import Lack, Missing, NotEnoughData
from garboard.job_files.convert import faults_of_floats, structure, unstructure
from garboard.job_files.file_lines import parts_of, with_lines
from garboard.job_files.own_kinds import faults_of_own_kinds, with_facts_of_pieces
from garboard.job_view import JobView, Unreadable, place_of
from garboard.record_types import frozen, is_text
from garboard.records import (
    EQUIPMENT,
    Forecast,
    Job,
    JsonValue,
    Measurement,
    Note,
    SignOff,
    StepState,
    Vessel,
    is_own_kind,
)
from garboard.samples import Recording
from garboard.settings import SettingSet, Signed, check_pairs
from garboard.steps import Step
from garboard.units import in_own_spelling

if TYPE_CHECKING:
    from garboard.hosting.equipment import Kinds
    from garboard.hosting.host import PluginHost

JOB_FILE = Format("garboard job")
EXPLAINED = "explained"
"""Key of the part of a job file that is for people alone."""
_FOR_PEOPLE = re.compile(rf"{EXPLAINED}(?:[.\[]|$)")


@frozen(kw_only=True)
class JobFile:
    """A job file's content, record by record."""

    vessel: Vessel
    job: Job
    format: str = JOB_FILE.name
    version: int = JOB_FILE.version
    steps: tuple[StepState, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    notes: tuple[Note, ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    sign_offs: tuple[SignOff, ...] = ()
    settings: dict[str, JsonValue] = attrs.field(factory=dict, metadata={"plain": dict})
    entries: tuple[JsonValue, ...] = attrs.field(default=(), converter=tuple, metadata={"plain": list})
    more: dict[str, JsonValue] = attrs.field(factory=dict, metadata={"plain": True})


def read_job_file(path: Path, host: PluginHost | None = None, folder: Path | None = None) -> JobFile:
    """Read a job file. Raises InputError with every fault, each with its path in the file and its line.

    host   : knows what fields take; where something is wrong, what it knows to be wrong is told with it
    folder : where recordings that are not there are to be told with it too
    """
    return parse_job_file(_read_text(path), str(path), host, folder)


def located(path: Path, faults: Iterable[Fault]) -> list[Fault]:
    """Faults found in a job file that was read, each with its line."""
    return with_lines(faults, _read_text(path))


def parse_job_file(text: str, source: str, host: PluginHost | None = None, folder: Path | None = None) -> JobFile:
    """A job file from its text. `source` names it in errors; `host` and `folder` as for `read_job_file`."""
    plain, early = _parse_json(text, source)
    try:
        whole = _for_programs(_of_this_version(plain, source))
    except InputError as failure:  # of another form or a newer version: what else it holds is not known
        raise InputError(source, with_lines([*early, *failure.faults], text)) from None
    read, of_shape = None, tuple[Fault, ...]()
    try:
        read = structure(whole, JobFile, source)
    except InputError as failure:
        of_shape = failure.faults
    faults = [*early, *of_shape, *faults_of_floats(whole), *_faults_beside_its_shape(whole)]
    if read is None or faults:
        known = [*_faults_of_parts(whole, host, folder)] if host is not None else []
        told: dict[str, Fault] = {}
        for fault in (*early, *known, *faults):  # of one place the first: what its field takes says most
            told.setdefault(fault.where, fault)
        raise InputError(source, with_lines(told.values(), text))
    read = attrs.evolve(read, vessel=with_facts_of_pieces(read.vessel, lambda _kind, _field, value: value))
    return read if host is None else _in_own_spelling(read, host)


def _for_programs(plain: JsonValue) -> JsonValue:
    return {key: value for key, value in plain.items() if key != EXPLAINED} if isinstance(plain, dict) else plain


def entered(job_file: JobFile) -> tuple[Measurement, ...]:
    """The measurements of a job file that have a value."""
    return tuple(one for one in job_file.measurements if one.value is not None)


def _faults_of_parts(plain: JsonValue, host: PluginHost, folder: Path | None) -> Iterator[Fault]:
    """Faults of the measurements and settings that can be read, in a file of which something is wrong."""
    for index, one in enumerate(_list_in(plain, "measurements")):
        try:
            measurement = _spelled(structure(one, Measurement, ""), host)
        except InputError:
            continue  # told already
        yield from faults_of_measurement(measurement, host, f"measurements[{index}]", folder)
    yield from faults_of_own_kinds(_object_in(plain, "vessel"), host.equipment)
    yield from settings_faults(_object_in(plain, "settings"), host)


def _list_in(plain: JsonValue, name: str) -> list[JsonValue]:
    """The list under a key of an object; an empty one where there is none, which is told elsewhere."""
    found = plain.get(name) if isinstance(plain, dict) else None
    return found if isinstance(found, list) else []


def _object_in(plain: JsonValue, name: str) -> dict[str, JsonValue]:
    """The object under a key of an object; an empty one where there is none, which is told elsewhere."""
    found = plain.get(name) if isinstance(plain, dict) else None
    return found if isinstance(found, dict) else {}


def _text_in(plain: JsonValue, name: str, usual: str | None = "") -> str | None:
    """The text under a key of an object, the usual one where the key is not there; None where something else stands."""
    found = plain.get(name, usual) if isinstance(plain, dict) else None
    return found if isinstance(found, str) else None


def _in_own_spelling(job_file: JobFile, host: PluginHost) -> JobFile:
    """The job with units spelled as the program does: a person may write "rpm", what is kept says "rev/min"."""
    vessel = with_facts_of_pieces(job_file.vessel, partial(_fact_spelled, host.equipment))
    return attrs.evolve(
        job_file, vessel=vessel, measurements=tuple(_spelled(one, host) for one in job_file.measurements)
    )


def _fact_spelled(kinds: Kinds, kind: str, field: str, value: JsonValue) -> JsonValue:
    known = kinds[kind].field(field) if kind in kinds else None
    is_amount = known is not None and known.kind is Kind.AMOUNT and isinstance(value, str)
    return in_own_spelling(str(value), known.quantity) if is_amount and known else value


def _spelled(measurement: Measurement, host: PluginHost) -> Measurement:
    step, value = host.step(measurement.step), measurement.value
    if step is None or not isinstance(value, str):
        return measurement
    field = step.field(measurement.field)
    if field is None or field.kind is not Kind.AMOUNT:
        return measurement
    return attrs.evolve(measurement, value=in_own_spelling(value, field.quantity))


def job_file_text(job_file: JobFile) -> str:
    """The job file as text, keys in a fixed order, ready to be written."""
    plain = unstructure(job_file)
    leading = {"format": job_file.format, "version": job_file.version}
    return json.dumps({**leading, **plain}, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def view_of(job_file: JobFile, folder: Path, *, names_suffice: bool = False) -> JobView:
    """The job view of a job file; recordings and photos are found relative to `folder`.

    names_suffice : whether a file counts as there by its name alone, as in a test without any
    """
    view = JobView(
        vessel=job_file.vessel,
        job=job_file.job,
        measurements=entered(job_file),
        steps=job_file.steps,
        notes=job_file.notes,
        forecasts=job_file.forecasts,
        sign_offs=job_file.sign_offs,
        settings=job_file.settings,
        load_recording=recordings_in(folder, _names_of_files(job_file.measurements)),
    )
    view = attrs.evolve(view, settings_set=tuple(_signed_settings(job_file.settings, view.signed_under)))
    return view if names_suffice else without_files_gone(view, partial(_lies_beside, folder))


def without_files_gone(view: JobView, is_there: Callable[[str, str], bool]) -> JobView:
    """The job without values that name a file which is not there: they cannot be read, and nothing rests on them.

    is_there : tells by a file's reference and by what it is called
    """
    gone = {place_of(one): lacks for one in view.measurements if (lacks := _file_gone(one, is_there))}
    if not gone:
        return view
    left = tuple(one for one in view.measurements if place_of(one) not in gone)
    return attrs.evolve(view, measurements=left, unreadable=(*view.unreadable, *gone.values()))


def _file_gone(one: Measurement, is_there: Callable[[str, str], bool]) -> Unreadable | None:
    """What to say of a value that names a file which is not there."""
    reference = one.value.get("file") if isinstance(one.value, dict) else None
    if not isinstance(reference, str):
        return None
    name = str(one.value.get("name", "")) if isinstance(one.value, dict) else ""
    if is_there(reference, name):
        return None
    called = name or reference
    return Unreadable(place=place_of(one), expected="its file beside the job", got=called, by=one.by, at=one.at)


def _lies_beside(folder: Path, reference: str, name: str) -> bool:
    return is_beside(reference) and is_a_file(file_beside(folder, reference, name))


def _signed_settings(settings: Mapping[str, JsonValue], signed: Sequence[Signed]) -> Iterator[SettingSet]:
    """The settings of a file that a signature in it states: who set them and when is there, not with the file's."""
    for one in (one for signature in signed for one in signature.values()):
        if one and one.key in settings and canonical_bytes(settings[one.key]) == canonical_bytes(one.value):
            yield one


def _names_of_files(measurements: Iterable[Measurement]) -> Mapping[str, str]:
    values = (measurement.value for measurement in measurements)
    pairs = ((value.get("file"), value.get("name")) for value in values if isinstance(value, dict))
    return {file: name for file, name in pairs if isinstance(file, str) and isinstance(name, str)}


def recordings_in(folder: Path, names: Mapping[str, str] | None = None) -> Callable[[str], Recording]:
    """A loader of recordings by their path relative to a folder. Each is read once.

    names : what files were called, by their path, where an export gave them those names
    """
    called = names or {}

    @lru_cache(maxsize=32)
    def load(reference: str) -> Recording:
        from garboard.recordings import load_recording

        if not is_beside(reference):
            text = f"recording {reference} does not lie beside the job; copy it there"
            raise NotEnoughData(Missing(text, lack=Lack.RECORDING_NOT_HERE))
        try:
            return load_recording(file_beside(folder, reference, called.get(reference, "")))[0]
        except (OSError, InputError) as failure:
            text = f"recording {reference} cannot be read: {in_words(failure)}"
            raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE)) from None

    return load


BESIDE = "a recording beside the job file"


def is_beside(reference: str) -> bool:
    """Whether a reference stays in the job's folder. Job files come from elsewhere and must not reach out of it."""
    path = PurePath(reference)
    return not path.anchor and not path.drive and ".." not in path.parts


def file_beside(folder: Path, reference: str, name: str) -> Path:
    """The file of a reference: under that name, or else as an export names it; it need not be there."""
    own = folder / reference
    return own if is_a_file(own) or not name else folder / exported_name(reference, name)


def is_a_file(path: Path) -> bool:
    """Whether a file is there. A name that no file can have, such as one of thousands of letters, names none."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def exported_name(reference: str, name: str) -> str:
    """The name an attachment gets in an export: what it was called, told apart by the first digits of its hash.

    >>> exported_name("86d86e2a" + "0" * 56, "full throttle.log")
    'full throttle-86d86e2a.log'
    """
    plain = re.sub(r"[^\w .()+-]", "_", name)[-_LONGEST_NAME:]
    own = PurePath(plain.encode()[-_MOST_BYTES:].decode(errors="ignore").strip(" ."))
    return f"{own.stem}-{reference[:8]}{own.suffix}" if own.name else reference


_LONGEST_NAME = 80
_MOST_BYTES = 225
"""A file's name has 255 bytes, those of its hash and of its name while it is written included."""

ATTACHED = "attached"
"""The field under which a photo or a recording belongs to a step that declares none for it."""

ANY_STEPS_FILE = Field(name=ATTACHED, title="Photo or recording", kind=Kind.PHOTO, required=False)


def check(job_file: JobFile, host: PluginHost, folder: Path | None = None) -> tuple[Fault, ...]:
    """Faults of a job file against the steps the loaded plugins declare.

    Measurements of steps no loaded plugin declares pass: another shop's plugin may own them.
    With `folder`, recordings that are not there are faults too.
    """
    of_measurements = (
        fault
        for index, measurement in enumerate(job_file.measurements)
        for fault in faults_of_measurement(measurement, host, f"measurements[{index}]", folder)
    )
    return (*of_measurements, *faults_of_own_kinds(job_file.vessel.more, host.equipment))


def faults_of_measurement(
    measurement: Measurement, host: PluginHost, path: str, folder: Path | None = None
) -> Iterator[Fault]:
    """What of a measurement its step does not take, as `check` has it."""
    step = host.step(measurement.step)
    is_kept = step is None or host.check_awaited(measurement.step, measurement.field)
    return iter(()) if step is None or is_kept else _faults_of(measurement, step, path, folder)


def _faults_of(measurement: Measurement, step: Step, path: str, folder: Path | None) -> Iterator[Fault]:
    field = ANY_STEPS_FILE if measurement.field == ATTACHED else step.field(measurement.field)
    if field is None or field.kind is Kind.TABLE:
        known = (field.name for field in step.all_fields() if field.kind is not Kind.TABLE)
        yield Fault(f"{path}.field", f"a field of step {step.key}: {', '.join(known)}", repr(measurement.field))
        return
    try:
        if measurement.value is not None:
            check_value(field, measurement.value)
    except ValueRefused as refused:
        yield refused.at(f"{path}.value")
        return
    if field.kind is Kind.RECORDING and folder is not None and isinstance(measurement.value, dict):
        reference = str(measurement.value["file"])
        here = is_beside(reference)
        if not here or not is_a_file(file_beside(folder, reference, str(measurement.value.get("name", "")))):
            why = "which is not there" if here else "which lies elsewhere"
            yield Fault(f"{path}.value.file", BESIDE, f"{reference}, {why}")


def files_not_there(job_file: JobFile, folder: Path) -> Iterator[Fault]:
    """A fault for every value that names a file which does not lie beside the job."""
    for index, one in enumerate(job_file.measurements):
        if gone := _file_gone(one, partial(_lies_beside, folder)):
            yield Fault(f"measurements[{index}].value.file", gone.expected, f"{gone.got}, which is not there")


_OTHER_FILES = {
    b"%PDF": "a PDF",
    b"PK\x03\x04": "a zip archive, or a document made of one",
    b"\x1f\x8b": "a compressed file: unpack it",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"\xff\xfe": "UTF-16 text: save the file as UTF-8",
    b"\xfe\xff": "UTF-16 text: save the file as UTF-8",
}


def _read_text(path: Path) -> str:
    refuse_endless(path, "a job file", may_stream=True)
    try:
        raw = path.read_bytes()
    except OSError as failure:
        why = (failure.strerror or type(failure).__name__).lower()
        raise InputError(str(path), [Fault("file", "a job file that can be read", why)]) from None
    for start, what in _OTHER_FILES.items():
        if raw.startswith(start):
            raise InputError(str(path), [Fault("file", "a job file, which is text", what)])
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as failure:
        line = raw[: failure.start].count(b"\n") + 1
        got = "other bytes: save the file as UTF-8"
        raise InputError(str(path), [Fault("file", "UTF-8 text", got, line)]) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


_WRONG_IN_JSON = {
    "Expecting ',' delimiter": "a comma, or the closing bracket",
    "Expecting ':' delimiter": "a colon between key and value",
    "Expecting value": "a value",
    "Expecting property name": 'a key in "double quotes"; no comma stands before a closing bracket',
    "Illegal trailing comma": "no comma before a closing bracket",
    "Unterminated string": "closing quotes: the text that starts here never ends",
    "Invalid control character": "text on one line; write \\n for a line break within it",
    "Invalid \\": "an escape such as \\n; a backslash itself is written \\\\",
    "Extra data": "nothing after the job's last bracket",
}
"""What the JSON reader complains of, and what to put in its place."""


def _parse_json(text: str, source: str) -> tuple[JsonValue, list[Fault]]:
    """The file as plain data, and the faults that leave it readable."""
    constants: list[str] = []
    twice: list[str] = []

    def pairs(found: list[tuple[str, JsonValue]]) -> dict[str, JsonValue]:
        twice.extend(key for key, count in Counter(key for key, _ in found).items() if count > 1)
        return dict(found)

    if not text.lstrip().startswith(("{", "[")):
        got = shown(text.strip()) if text.strip() else "an empty file"
        raise InputError(source, [Fault("file", 'a job file, which starts with "{"', got)])
    try:
        plain: JsonValue = read_json(text, parse_constant=constants.append, object_pairs_hook=pairs)
    except json.JSONDecodeError as failure:
        expected = next((said for start, said in _WRONG_IN_JSON.items() if failure.msg.startswith(start)), "JSON")
        got = shown(text[failure.pos :].partition("\n")[0]) if text[failure.pos :].strip() else "the end of the file"
        raise InputError(source, [Fault(f"column {failure.colno}", expected, got, failure.lineno)]) from None
    except NestedTooDeep:
        fault = Fault("file", "at most a few levels of nesting", "hundreds", line_nested_too_deep(text))
        raise InputError(source, [fault]) from None
    except ValueError:
        raise InputError(source, [Fault("file", "whole numbers a computer can hold", "thousands of digits")]) from None
    found = [*_constants(text, constants), *_keys_twice(text, twice)] if constants or twice else []
    faults = [fault for fault in found if not _FOR_PEOPLE.match(fault.where)]
    may_hold_halves = "\\u" in text or not is_text(text)  # JSON spells one by an escape alone
    if may_hold_halves and (halves := [*_half_characters(_for_programs(plain), "")]):
        in_whole = (_in_whole_characters(fault) for fault in with_lines(halves, text))
        raise InputError(source, [*faults, *in_whole])
    return plain, faults


def _half_characters(plain: JsonValue, path: str) -> Iterator[Fault]:
    """Text with half of a surrogate pair, which JSON can spell and no file, page or book can hold."""
    if isinstance(plain, str) and not is_text(plain):
        yield Fault(path, "text; \\ud800 to \\udfff are halves of a character and mean nothing alone", shown(plain))
    elif isinstance(plain, list):
        for index, inner in enumerate(plain):
            yield from _half_characters(inner, f"{path}[{index}]")
    elif isinstance(plain, dict):
        for key, inner in plain.items():
            yield from _half_characters(key, path or "file")
            yield from _half_characters(inner, f"{path}.{key}" if path else key)


def _in_whole_characters(fault: Fault) -> Fault:
    """The fault as a terminal can show it: its place may be named by half a character, too."""
    where, about = (text.encode(errors="backslashreplace").decode() for text in (fault.where, fault.about))
    return attrs.evolve(fault, where=where, about=about)


def _constants(text: str, names: Sequence[str]) -> Iterator[Fault]:
    expected = "a number; leave the key out when it is unknown"
    found = [part for part in parts_of(text) if _constant_in(part.value)]
    yield from (Fault(part.path, expected, _constant_in(part.value), part.line, part.about) for part in found)
    if names and not found:
        yield from (Fault("file", expected, name) for name in dict.fromkeys(names))


def _constant_in(value: ast.expr) -> str:
    said = ast.unparse(value) if isinstance(value, (ast.Name, ast.UnaryOp)) else ""
    return said if said in ("NaN", "Infinity", "-Infinity") else ""


def _keys_twice(text: str, keys: Sequence[str]) -> Iterator[Fault]:
    """Each key that stands again in its object, with the line where it does."""
    expected, first, found = "each key once in its object", dict[str, int](), False
    for part in parts_of(text):
        if part.path in first and part.path.endswith(tuple(keys)):
            found = True
            yield Fault(part.path, expected, f"it again, first in line {first[part.path]}", part.line, part.about)
        first.setdefault(part.path, part.line)
    if not found:
        yield from (Fault(key, expected, "the key twice") for key in dict.fromkeys(keys))


def _of_this_version(plain: JsonValue, source: str) -> JsonValue:
    if not isinstance(plain, dict):
        raise InputError(source, [Fault("file", "one job, an object in { }", "a list")])
    return JOB_FILE.current(plain, source)


def _faults_beside_its_shape(plain: JsonValue) -> Iterator[Fault]:
    """What is wrong although every record has its shape; records that have not are passed over, and told elsewhere."""
    yield from _twice(plain)
    hull = _text_in(_object_in(plain, "vessel"), "hull_number", None)
    if hull is not None and not hull.strip():
        yield Fault("vessel.hull_number", "the hull number on the transom", "nothing")
    for index, entry in enumerate(_list_in(plain, "entries")):
        if not isinstance(entry, dict):
            yield Fault(f"entries[{index}]", "an object", shown(entry))
    if not _list_in(plain, "entries"):  # the rest of a file with entries says what they say, and those are checked
        yield from _faults_of_facts(plain)


def _twice(plain: JsonValue) -> Iterator[Fault]:
    vessel = _object_in(plain, "vessel")
    for kind, name in (*EQUIPMENT.items(), *((kind, "name") for kind in vessel if is_own_kind(kind))):
        keys = [_text_in(piece, name, None) for piece in _list_in(vessel, kind)]
        yield from _repeated(keys, f"vessel.{kind}", f"each {name} once")
    for kind in filter(is_own_kind, vessel):
        for index, piece in enumerate(_list_in(vessel, kind)):
            if not _text_in(piece, "name", ""):
                yield Fault(
                    f"vessel.{kind}[{index}]", 'an object with a "name" that tells it from others', shown(piece)
                )
    places = [_place_in(one) for one in _list_in(plain, "measurements")]
    yield from _repeated(places, "measurements", "one value for each step, field, row and of")


def _place_in(plain: JsonValue) -> str | None:
    names = (
        _text_in(plain, "step", None),
        _text_in(plain, "field", None),
        _text_in(plain, "row"),
        _text_in(plain, "of"),
    )
    return None if None in names else ", ".join(name for name in names if name)


def _repeated(keys: Iterable[str | None], path: str, expected: str) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for index, key in enumerate(keys):
        if key is not None and key in seen:
            yield Fault(f"{path}[{index}]", expected, f"{key!r} again, first in {path}[{seen[key]}]")
        if key is not None:
            seen.setdefault(key, index)


def _faults_of_facts(plain: JsonValue) -> Iterator[Fault]:
    """What no hull file could keep."""
    yield from _faults_of_leaves(_object_in(plain, "vessel"), "vessel")
    yield from _faults_of_leaves(_object_in(plain, "job"), "job")
    for key, value in _object_in(plain, "settings").items():
        yield from faults_of_value(value, f"settings.{key}")
    for index, one in enumerate(_list_in(plain, "measurements")):
        value = one.get("value") if isinstance(one, dict) else None
        if value is not None:
            yield from _faults_of_reference(value, f"measurements[{index}].value")
            yield from faults_of_value(value, f"measurements[{index}].value")
            yield from _faults_of_at(one, f"measurements[{index}]")
    for name in ("steps", "notes", "forecasts", "sign_offs"):
        for index, one in enumerate(_list_in(plain, name)):
            yield from _faults_of_at(one, f"{name}[{index}]")


def _faults_of_reference(value: JsonValue, path: str) -> Iterator[Fault]:
    """A value that names a file names it by text, whichever plugin's step it is of."""
    if isinstance(value, dict) and not isinstance(value.get("file", ""), str):
        yield Fault(path, '{"file": "name beside the job file"}', shown(value))


def _faults_of_leaves(plain: JsonValue, path: str) -> Iterator[Fault]:
    """Of records whose every value is a fact by itself, however they nest."""
    if isinstance(plain, dict):
        for key, inner in plain.items():
            yield from _faults_of_leaves(inner, f"{path}.{key}")
    elif isinstance(plain, list) and any(isinstance(inner, dict) for inner in plain):
        for index, inner in enumerate(plain):
            yield from _faults_of_leaves(inner, f"{path}[{index}]")
    else:
        yield from faults_of_value(plain, path)


def _faults_of_at(plain: JsonValue, path: str) -> list[Fault]:
    """A moment that cannot be. A date alone, or a time without its offset, can be read: files at hand have them."""
    at = _text_in(plain, "at") or ""
    try:
        datetime.fromisoformat(at or "2026-05-14")
    except ValueError:
        return faults_of_time(at, f"{path}.at")
    return []


def settings_faults(settings: Mapping[str, JsonValue], host: PluginHost) -> Iterator[Fault]:
    """Faults of a shop's settings against what the loaded plugins declare."""
    declared = {setting.key: setting for setting in host.settings}
    usable = {key: value for key, value in settings.items() if key in declared and declared[key].takes(value)}
    whole = {**{key: setting.default for key, setting in declared.items()}, **usable}
    for key, value in settings.items():
        if key in declared:
            try:
                check_value(declared[key].field, value)
                check_pairs(host.settings, whole, key)
            except ValueRefused as refused:
                yield refused.at(f"settings.{key}")
