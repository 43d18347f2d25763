"""Jobs in and out of hull files: a job file exported and taken in again keeps every entry's id."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged, Attachments, is_content_of
from garboard.disk.entries import Entry, canonical_bytes, read_entry
from garboard.disk.hullfile import HullFolder
from garboard.disk.json_text import read_json
from garboard.disk.photo_words import BEGINNING, LARGEST_PHOTO, is_closed, is_photo, looked_into
from garboard.faults import Fault, InputError, in_number
from garboard.history.authoring import STATED_IN_FILE, Author, take_in
from garboard.history.boat import Boat, keep_recording, open_entries, open_hull
from garboard.history.registers import register_of
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import set_setting, setting_register
from garboard.history.values import same_value
from garboard.job_files.job_file import (
    BESIDE,
    JobFile,
    entered,
    exported_name,
    file_beside,
    is_a_file,
    is_beside,
    job_file_text,
)
from garboard.job_view import JobView, is_left_out_key
from garboard.records import JsonValue, Measurement
from garboard.settings import DEFAULT, JOB, Setting, in_force

_NAME = re.compile(rb"[0-9a-f]{64}")


class Talk(StrEnum):
    """What the file of a photo says besides what is seen."""

    PLACE = "where it was taken"
    WORDS = "its camera, or words"
    NOT_KNOWN = "not looked into"


CHANGED = "the entries' own values; delete the key 'entries' to take the file in as typed anew"


def job_file_of(view: JobView, entries: tuple[Entry, ...] = (), declared: Sequence[Setting] = ()) -> JobFile:
    """A job view as a job file; with the entries it was replayed from, it can be taken in again without a change."""
    return JobFile(
        vessel=view.vessel,
        job=view.job,
        steps=view.steps,
        measurements=view.measurements,
        notes=view.notes,
        forecasts=view.forecasts,
        sign_offs=view.sign_offs,
        settings=stated_settings(view, declared),
        entries=tuple(json.loads(entry.raw) for entry in entries),
    )


def stated_settings(view: JobView, declared: Sequence[Setting] = ()) -> dict[str, JsonValue]:
    """The settings a job file states: what holds for the job and is not at its default.

    declared : the settings of the plugins at work; they tell what holds while several values stand
    """
    _, used = in_force(declared, view.settings_set, view.signed_under)
    stated = {key: one.value for key, one in used.items() if one.state != DEFAULT}
    known = {setting.key for setting in declared}
    of_job = [one for one in view.settings_set if one.source == JOB]
    of_shop = [one for one in view.settings_set if one.source != JOB]
    signed = [one for signature in view.signed_under for one in signature.values() if one]
    signed = [one for one in signed if not is_left_out_key(one.key)]
    for values in (of_job, signed if view.signed_under else of_shop):
        for key in sorted({one.key for one in values} - known - stated.keys()):
            standing = {canonical_bytes(one.value): one.value for one in values if one.key == key and one.proved}
            if len(standing) == 1:
                stated[key] = standing.popitem()[1]
    return stated


def export_job(
    folder: HullFolder,
    boat: Boat,
    job: str,
    out: Path,
    declared: Sequence[Setting] = (),
    *,
    without_places: bool = False,
    lacking: Callable[[str, str], None] = lambda _file, _why: None,
    talks: Callable[[Talk], None] = lambda _talk: None,
) -> Path:
    """Write a job and the attachments its entries name into a folder; returns the job file's path.

    A photo goes as it was signed for, so that whoever imports it can prove it, with all that its file says.

    declared : the settings of the plugins at work

    All facts about the vessel travel, and of hull numbers that are the same boat, or that the job was moved from.

    without_places : write photos without what they say besides their dots; an import does not take those, and what
              cannot be looked into is left out
    lacking : called with each file that an entry names and that cannot go with it, and the reason
    talks   : called for each photo written as it is that says more than its dots
    errors  : storage.NotSaved; each file there is as before or whole. InputError where the job file that stands there
              holds what this one does not
    """
    held = [entry for hull in sorted(boat.hulls) for entry in folder.entries(hull)]
    home, job = boat.state_of(job), boat.joined(job)
    jobs = ("", job, *home.parts(job))
    entries = tuple(entry for entry in held if entry.job in jobs or register_of(entry).kind == "field")
    view = attrs.evolve(_open(entries, boat.state.hull).view(job), settings_set=boat.view(job).settings_set)
    path = out / "job.json"
    _refuse_to_lose(path, entries)
    storage.make_folder(out, storage.EVERYONES_FOLDER)
    for name, files in _files_of(entries).items():
        try:
            folder.attachments.prove(name)
        except (KeyError, AttachmentDamaged, OSError) as failure:
            if files != (name,):  # what only reads like an attachment's name need be none
                lacking(files[0], failure.args[0] if isinstance(failure, KeyError) else str(failure))
            continue
        talk, bare = _looked_into(folder.attachments, name)
        if without_places and talk is Talk.NOT_KNOWN:
            lacking(files[0], "it may say where it was taken, and cannot be looked into here")
            continue
        if talk and not without_places:
            talks(talk)
        for file in files:
            changed = [bare] if without_places and bare else folder.attachments.pieces(name)
            storage.write_out(out / file, changed)
    storage.write_out(path, job_file_text(job_file_of(view, entries, declared)).encode())
    return path


def _refuse_to_lose(path: Path, entries: Iterable[Entry]) -> None:
    """Raise InputError unless all that stands in a job file is among some entries: another boat's export, one made
    before a hull file was damaged, or what a person typed would be gone."""
    if path.parent.exists() and not path.parent.is_dir():
        raise InputError(str(path.parent), [Fault("--out", "a folder, or FILE.zip or FILE.duckdb", "a file")])
    if not path.exists():
        return
    try:
        held = read_json(path.read_text("utf-8"))
        there = {canonical_bytes(entry) for entry in held["entries"]} if isinstance(held, dict) else set()
    except (OSError, ValueError, KeyError, TypeError):
        there = set()
    lost = len(there - {entry.raw for entry in entries})
    if lost or not there:
        got = f"{in_number(lost, 'entry', 'entries')} that this export lacks" if lost else "something no export wrote"
        expected = "an earlier export of this job, or no file"
        raise InputError(str(path), [Fault("file", expected, got, cure="name another folder, or move the file away")])


def _looked_into(attachments: Attachments, name: str) -> tuple[Talk | None, bytes]:
    """What a photo says besides its dots, and the photo without it; nothing of what is no photo."""
    beginning = attachments.read(name, 0, BEGINNING)
    if not is_photo(beginning):
        return (Talk.NOT_KNOWN if is_closed(beginning) else None), b""
    if attachments.size(name) > LARGEST_PHOTO or (photo := looked_into(content := attachments.get(name))) is None:
        return Talk.NOT_KNOWN, b""
    if photo.bare is content:
        return None, b""
    return (Talk.PLACE if photo.has_place else Talk.WORDS), photo.bare


def import_job(
    folder: HullFolder,
    job_file: JobFile,
    base: Path,
    author: Author,
    changed: Callable[[str], None] = lambda _file: None,
) -> tuple[str, int]:
    """Take a job file into hull files.

    base    : folder the job file's recordings lie in
    changed : called with each file beside it that is not what an entry of the file names; it is not taken
    returns : the hull's key and how many entries were new
    Raises InputError when the file carries entries that do not say what the rest of it says, or names a recording
    that lies outside its folder.
    """
    hull_number.refuse_no_boat(job_file.vessel.hull_number)
    _refuse_what_lies_elsewhere(job_file)
    key = hull_number.key(job_file.vessel.hull_number)
    if job_file.entries:
        taken_in = _import_entries(folder, job_file, base, key, changed)
        return key, taken_in + _import_settings(folder, job_file, author)
    state = replay(key, folder.entries(key))
    kept = attrs.evolve(job_file, measurements=tuple(_with_attachment(folder, base, m) for m in entered(job_file)))
    entries = take_in(author, state, kept, _home_elsewhere(folder, key, job_file.job.id))
    by_hull = {hull: [entry for entry in entries if entry.hull_key == hull] for hull in (key, *_hulls_of(entries))}
    with folder.batch():
        return key, sum(len(folder.put_if_absent(hull, new).added) for hull, new in by_hull.items())


def _hulls_of(entries: Iterable[Entry]) -> tuple[str, ...]:
    """The keys of the hulls that entries are about, sorted."""
    return tuple(sorted({entry.hull_key for entry in entries}))


def _home_elsewhere(folder: HullFolder, key: str, job: str) -> HullState | None:
    """The state of the number a job was moved here from, where it stands whole; its entries belong there.

    Written under this number they would make two parts of the job, and the boat would lose what came with it.
    """
    boat = open_hull(folder, key)
    home = boat.state_of(job)
    return None if home.hull_keys & boat.state.hull_keys else home


def _refuse_what_lies_elsewhere(job_file: JobFile) -> None:
    """As an assessment refuses it: a job file comes from elsewhere and must not reach out of its folder."""
    faults = [
        Fault(f"measurements[{index}].value.file", BESIDE, f"{reference}, which lies elsewhere")
        for index, measurement in enumerate(job_file.measurements)
        if not is_beside(reference := _attachment_in(measurement.value)[0])
    ]
    if faults:
        raise InputError("job file", faults)


def _import_entries(folder: HullFolder, job_file: JobFile, base: Path, key: str, changed: Callable[[str], None]) -> int:
    entries = [_entry(plain, index) for index, plain in enumerate(job_file.entries)]
    _refuse_if_changed(job_file, _open(entries, key))
    for name, files in _files_of(entries).items():
        for file in (name, *files):
            if is_a_file(base / file):
                if is_content_of(base / file, name):
                    folder.attachments.put_file(base / file)
                else:
                    changed(file)
    added = 0
    with folder.batch():
        for hull in _hulls_of(entries):
            put = folder.put_if_absent(hull, [entry for entry in entries if entry.hull_key == hull])
            added += len(put.added)
    return added


def _import_settings(folder: HullFolder, job_file: JobFile, author: Author) -> int:
    """Settings the file states and its entries do not carry: those of the shop it was exported in.

    They stay with the job. This shop's record is another's to write: its rules hold for every boat. What holds or
    stands here already is not repeated, nor what was here and was replaced or taken back.
    """
    job = job_file.job.id
    boat = open_hull(folder, job_file.vessel.hull_number)
    view, state = boat.view(job), boat.state_of(job)
    here = stated_settings(view)
    signed = {(key, canonical_bytes(one.value)) for signed in view.signed_under for key, one in signed.items() if one}
    there = {(one.key, canonical_bytes(one.value)) for one in view.settings_set if one.source == JOB} | signed
    new = [
        set_setting(author, state, key, value, STATED_IN_FILE, job, boat.managers)
        for key, value in job_file.settings.items()
        if not (key in here and same_value(here[key], value))
        and (key, canonical_bytes(value)) not in there
        and not state.register(setting_register(key, job)).ever_set(value)
    ]
    return len(folder.put_if_absent(new[0].hull_key, new).added) if new else 0


def _entry(plain: JsonValue, index: int) -> Entry:
    try:
        return read_entry(canonical_bytes(plain))
    except InputError as failure:
        faults = [Fault(f"entries[{index}].{fault.where}", fault.expected, fault.got) for fault in failure.faults]
        raise InputError("job file", faults) from None


def _open(entries: Iterable[Entry], key: str) -> Boat:
    by_hull: dict[str, list[Entry]] = {}
    for entry in entries:
        by_hull.setdefault(entry.hull_key, []).append(entry)
    return open_entries(lambda hull: by_hull.get(hull, []), key)


def _refuse_if_changed(job_file: JobFile, boat: Boat) -> None:
    view = boat.view(job_file.job.id)
    faults = [
        Fault(name, CHANGED, "something else")
        for name in ("vessel", "job", "steps", "measurements", "notes", "forecasts", "sign_offs")
        if getattr(job_file, name) != getattr(view, name)
    ]
    if faults:
        raise InputError("job file", faults)


def _attachments_named(entries: Iterable[Entry]) -> set[str]:
    """Whatever reads like an attachment's name: in entries of unknown kinds nobody here knows where to look."""
    return {name.decode() for entry in entries for name in _NAME.findall(entry.raw)}


def _files_of(entries: Iterable[Entry]) -> dict[str, tuple[str, ...]]:
    """The files an export makes of each attachment: as it was called, or by its hash where nobody named it."""
    named = list(entries)
    files: dict[str, set[str]] = {name: set() for name in sorted(_attachments_named(named))}
    for entry in named:
        reference, called = _attachment_in(entry.value)
        if reference in files and called:
            files[reference].add(exported_name(reference, called))
    return {name: tuple(sorted(found)) or (name,) for name, found in files.items()}


def attachments_missing(folder: HullFolder) -> dict[str, str]:
    """Recordings, photos and signatures that entries here name and that are not here: what each is called, by name."""
    named: dict[str, str] = {}
    for hull in folder.readable():
        for entry in folder.entries(hull):
            named |= _references(entry.value)
    return {name: called for name, called in sorted(named.items()) if name not in folder.attachments}


def not_here_whole(folder: HullFolder, entries: Iterable[Entry]) -> dict[str, str]:
    """As `attachments_missing`, of some entries, with those that are damaged: each is read through."""
    named: dict[str, str] = {}
    for entry in entries:
        named |= _references(entry.value)
    return {name: called for name, called in sorted(named.items()) if not _is_whole(folder, name)}


def _is_whole(folder: HullFolder, name: str) -> bool:
    try:
        folder.attachments.prove(name)
    except (KeyError, AttachmentDamaged, OSError):
        return False
    return True


def _references(value: JsonValue) -> dict[str, str]:
    """The attachments a value names, however deep: what each is called, by its name."""
    found: dict[str, str] = {}
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        found |= _references(inner)
    reference, name = _attachment_in(value)
    return {**found, reference: name} if _NAME.fullmatch(reference.encode()) else found


def _attachment_in(value: JsonValue) -> tuple[str, str]:
    """Reference and name of the file a value holds, each empty where there is none."""
    found = (value.get("file"), value.get("name")) if isinstance(value, dict) else ()
    reference, name = (one if isinstance(one, str) else "" for one in found or ("", ""))
    return reference, name


def _with_attachment(folder: HullFolder, base: Path, measurement: Measurement) -> Measurement:
    reference, name = _attachment_in(measurement.value)
    if not reference or not is_a_file(file := file_beside(base, reference, name)):
        return measurement
    kept = keep_recording(folder, file)
    if isinstance(kept, dict) and isinstance(measurement.value, dict):  # what else it says stays: a replay's mark
        others = {key: said for key, said in measurement.value.items() if key not in ("file", "name")}
        kept = {**kept, **others, "name": name or kept["name"]}
    return attrs.evolve(measurement, value=kept)
