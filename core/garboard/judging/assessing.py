"""From a job file to its findings: read, checked against the loaded plugins, assessed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from contextlib import suppress
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from garboard import hull_number
from garboard.disk import HULLS_FOLDER
from garboard.disk.clock import moment_in_words
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.formats import Format
from garboard.disk.json_text import read_json
from garboard.faults import Fault, InputError, ValueRefused, in_number, refuse_endless
from garboard.fields import Kind, check_value, implausible
from garboard.findings import OF_VESSEL, NotEnoughData, Verdict, with_minus
from garboard.hosting.equipment import Kinds, kind_title
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import place_in_words
from garboard.hosting.unused import pieces_asked_of, row_misfits, waiting_in_words
from garboard.hosting.vessel_facts import unusual_facts
from garboard.job_files.job_file import (
    JobFile,
    check,
    faults_of_measurement,
    located,
    read_job_file,
    settings_faults,
    view_of,
    without_files_gone,
)
from garboard.job_files.unrecognised import unrecognised
from garboard.job_view import Disagreement, FieldKey, JobView, place_of
from garboard.judging.recording_dates import question_of_dates
from garboard.record_types import frozen
from garboard.records import NEW_BOAT, Measurement, Vessel
from garboard.series import shared_numbers
from garboard.steps import Assessed, Step

if TYPE_CHECKING:
    from garboard.disk.hullfile import HullFolder
    from garboard.disk.storage import Damage
    from garboard.history.boat import Boat
    from garboard.history.plans import SetAside

FINDINGS = Format("garboard findings")
"""What the report writes as JSON; a folder's job files are looked for beside it."""


TO_MEND = "merge with the shop, or with where it was written, and run 'garboard repair'"


@frozen
class Question:
    """What looks unusual and should be looked at again; nothing is decided by it.

    text  : one sentence, with the place it is about
    place : of the measurement it is about; None for what is about the boat or its files
    words : the same without the place, to stand beside the measurement
    """

    text: str = attrs.field(converter=with_minus)
    place: FieldKey | None = None
    words: str = attrs.field(default="", converter=with_minus)


@frozen
class AssessedJob:
    """A job file with what the calculators say of it.

    source    : the file
    questions : what looks unusual and should be looked at again, one sentence each
    damage    : what was found damaged in the boat's hull files
    unread    : how many entries of the boat could not be read: what is said to be missing may stand in them
    aside     : that a manager set the job aside, or did until something came; None where nobody did
    """

    source: str
    view: JobView
    assessed: tuple[Assessed, ...]
    questions: tuple[str, ...]
    damage: tuple[Damage, ...] = ()
    unread: int = 0
    aside: SetAside | None = None

    @property
    def fails(self) -> bool:
        """Whether anything fails. Advice and missing data are no failure."""
        return any(one.finding.verdict is Verdict.FAIL for one in self.assessed)


def assess_job_file(path: Path, host: PluginHost) -> AssessedJob:
    """Read and assess a job file.

    Raises InputError with every fault of the file, values outside their hard range among them.
    """
    job_file = read_checked(path, host)
    view = view_of(job_file, path.parent)
    return AssessedJob(str(path), view, host.assess(view), (*_asked(view, host), *_odd_in_file(path, job_file, host)))


def read_checked(path: Path, host: PluginHost) -> JobFile:
    """Read a job file and check it against the loaded plugins. Raises InputError with every fault of the file."""
    job_file = read_job_file(path, host, path.parent)
    faults = [*check(job_file, host, path.parent), *settings_faults(job_file.settings, host)]
    if faults:
        raise InputError(str(path), located(path, faults))
    return job_file


def _odd_in_file(path: Path, job_file: JobFile, host: PluginHost) -> tuple[str, ...]:
    odd = [Fault(where, what) for where, what in unrecognised(job_file, host)]
    return tuple(f"Line {one.line}, {one.where}: {one.expected}" for one in located(path, odd)) if odd else ()


def is_hull_folder(path: Path) -> bool:
    """Whether a folder holds hull files."""
    return (path / HULLS_FOLDER).is_dir()


def _opened(folder: Path) -> HullFolder:
    from garboard.disk.hullfile import HullFolder  # here: a job file is judged without any hull file

    return HullFolder(folder, read_only=True)


def assess_hulls(folder: Path, host: PluginHost, hull: str = "") -> Iterator[AssessedJob]:
    """Assess the jobs in a folder of hull files, or those of one boat by any of its numbers."""
    with _opened(folder) as hulls:
        for boat, view in boats_and_jobs(hulls, hull):
            yield _assessed(hulls, boat, view, host)


def _assessed(hulls: HullFolder, boat: Boat, view: JobView, host: PluginHost) -> AssessedJob:
    from garboard.history.plans import aside_in  # here: a job file is judged without any history

    odd = (f"{where}: {what}" for where, what in unrecognised(view, host))
    damage = hulls.damage_of(boat.hulls)
    unread = (
        f"{one.file.name}: {in_number(one.lost, 'entry', 'entries')} could not be read. What is not entered here may "
        f"stand there: {TO_MEND}."
        for one in damage
        if one.lost
    )
    source = f"{hulls.folder} {_job_named(boat, view)}"
    waiting = waiting_in_words(attrs.evolve(view, measurements=()), host)  # `unrecognised` asks about steps
    questions = (*unread, *_asked(view, host), *odd, *([f"{waiting}."] if waiting else []))
    unread_entries, aside = hulls.unread_of(boat.hulls), aside_in(boat.state_of(view.job.id), view.job.id)
    return AssessedJob(source, view, host.assess(view), questions, damage, unread_entries, aside)


def _job_named(boat: Boat, view: JobView) -> str:
    return f"{boat.state.hull_number} {view.job.id}"


def jobs_in(hulls: HullFolder) -> Iterator[tuple[str, JobView]]:
    """The jobs in a folder of hull files: hull number and job id, and the job.

    A boat with two numbers comes once, and a job that was moved comes under the boat it was moved to. Files
    that cannot be read are passed over; `hulls.left_alone` names them.
    """
    yield from ((_job_named(boat, view), view) for boat, view in boats_and_jobs(hulls))


def boats_and_jobs(hulls: HullFolder, hull: str = "") -> Iterator[tuple[Boat, JobView]]:
    """The jobs in a folder of hull files, or those of one boat, each with its boat; see `jobs_in`."""
    from garboard.history.boat import open_hull, recordings_of  # here: a job file is judged without any history

    load = recordings_of(hulls)
    seen: dict[str, frozenset[str]] = {}
    for key in [hull_number.key(hull)] if hull else [key for key in hulls.readable() if key != SHOP_RECORD]:
        boat = open_hull(hulls, key)
        for job in boat.jobs:
            of_this_boat = seen.get(job, frozenset())
            if of_this_boat.isdisjoint(boat.hulls):  # two boats can hold jobs of one id: neither hides the other
                seen[job] = of_this_boat | boat.hulls
                yield boat, without_files_gone(boat.view(job, load), _was_kept)


def _was_kept(reference: str, _name: str) -> bool:
    """Whether a file was ever kept: one that was not beside its job file when that was taken in has no hash."""
    from garboard.disk.attachments import is_attachment_name  # here: a job file keeps its recordings beside it

    return is_attachment_name(reference)


def _assess_folder(folder: Path, host: PluginHost) -> Iterator[AssessedJob | InputError]:
    """Assess what a folder of hull files holds; a hull file that cannot be read whole comes as its error."""
    with _opened(folder) as hulls:
        for boat, view in boats_and_jobs(hulls, ""):
            yield _assessed(hulls, boat, view, host)
        for fault in (*_not_read(hulls), *_damaged(hulls)):
            yield InputError(fault.where, [fault])


def _not_read(hulls: HullFolder) -> list[Fault]:
    expected = "a hull file that this program can read; or name a boat it is not of with --hull"
    return [Fault(str(path), expected, reason) for path, reason in sorted(hulls.left_alone.items())]


def _damaged(hulls: HullFolder) -> list[Fault]:
    return [Fault(str(one.file), "a file as it was saved", str(one), cure=TO_MEND) for one in hulls.damage()]


def jobs_at(path: Path, host: PluginHost) -> Iterator[JobView]:
    """The jobs a path stands for, ready to be judged. Raises InputError for the first file that cannot be used."""
    if is_hull_folder(path):
        with _opened(path) as hulls:
            yield from (view for _, view in jobs_in(hulls))
        return
    for file in job_files(path):
        yield view_of(read_checked(file, host), file.parent)


def assess_path(path: Path, host: PluginHost) -> Iterator[AssessedJob | InputError]:
    """Assess everything a path stands for; a file that cannot be used comes as its error."""
    if is_hull_folder(path):
        yield from _assess_folder(path, host)
        return
    for file in job_files(path):
        try:
            yield assess_job_file(file, host)
        except InputError as failure:
            yield InputError(str(file), failure.faults)


def assess_one(path: Path, host: PluginHost, hull: str = "", job: str = "") -> AssessedJob:
    """Assess one job: a job file, or a job in a folder of hull files.

    hull : any of the boat's numbers; not needed where the folder holds one boat
    job  : the job's id; not needed where the boat has one job
    Raises InputError when that does not name exactly one job, listing what there is.
    """
    if not is_hull_folder(path):
        return assess_job_file(path, host)
    from garboard.history.boat import open_hull  # here: a job file is judged without any history

    with _opened(path) as hulls:
        named = [(boat, view) for boat, view in boats_and_jobs(hulls, hull) if job in ("", view.job.id)]
        found = [_assessed(hulls, boat, view, host) for boat, view in named]
        not_read = _not_read(hulls)
        moved = open_hull(hulls, hull).moved_away if hull else {}
    if not_read:  # one job of those that could be read may be another than the one meant, or half of it
        raise InputError(str(path), not_read)
    if len(found) != 1:
        there = [f"--hull {one.view.vessel.hull_number} --job {one.view.job.id}" for one in found]
        gone = [f"job {one} moved to {target}, so --hull {target}" for one, target in moved.items() if job in ("", one)]
        got = f"{len(found)} jobs" if found else "none of that number and name" if hull or job else "none"
        cure = f"name one with {' or '.join(there)}" if there else "; ".join(gone)
        raise InputError(str(path), [Fault("--hull, --job", "one job", got, cure=cure)])
    return found[0]


def job_files(path: Path) -> tuple[Path, ...]:
    """The job files a path stands for: itself, or every JSON file in a folder and below it.

    Findings this program wrote are passed over. Raises InputError for a folder without any.
    """
    if not path.is_dir():
        return (path,)
    found = tuple(file for file in sorted(path.rglob("*.json")) if not _is_our_own_output(file))
    if not found:
        raise InputError(str(path), [Fault("folder", "at least one job file (.json)", "none")])
    return found


def _is_our_own_output(file: Path) -> bool:
    try:
        refuse_endless(file, "a job file")
        plain = read_json(file.read_text(encoding="utf-8"))
    except (ValueError, OSError):
        return False  # read again as a job file, which says what is wrong with it
    return isinstance(plain, dict) and FINDINGS.names(plain)


def _asked(view: JobView, host: PluginHost) -> Iterator[str]:
    return (question.text for question in questions(view, host))


def questions(job: JobView, host: PluginHost) -> Iterator[Question]:
    """What looks unusual in a job: doubts about its numbers, values outside their usual range, or used by nothing."""
    number = job.vessel.hull_number
    try:
        doubts = hull_number.parse(number).doubts
    except InputError as failure:
        doubts = tuple(str(fault) for fault in failure.faults)
    yield from (Question(f"Hull number {number}: {doubt}.") for doubt in doubts)
    yield from map(Question, (*unusual_facts(job.vessel), *_run_for_long(job)))
    for shared, engines in shared_numbers(job.vessel.engines).items():
        names = " and ".join(engine.position for engine in engines)
        yield Question(
            f"Engines {names} have the same number on the instrument network, {shared}. Which is whose? No "
            "recording is read for them until each has its own."
        )
    yield from map(Question, _of_nobody_and_no_day(job.measurements))
    for disagreement in job.disagreements:
        yield Question(_disagreement_in_words(disagreement, host), disagreement.place)
    yield from _of_own_kinds(job.vessel, host)
    for measurement in job.measurements:
        misfits = [*faults_of_measurement(measurement, host, "")]
        for fault in misfits:  # no entry of a boat's is erased, whatever program wrote it
            place = place_of(measurement)
            yield _question_at(place, f"{fault.in_words}. Kept as it is; correct it.", host)
        step = host.step(measurement.step)
        if step is not None and any(field.name == measurement.field for field in step.all_fields()):
            asked = (
                *_questions_about(measurement, step, job, host.equipment, fits=not misfits),
                *_question_about_dates(measurement, step, job),
            )
            yield from (_question_at(place_of(measurement), words, host) for words in asked)


NEW_UNTIL = 100.0
"""A newly rigged engine that has run longer is asked about [h]: it may be a used one; common practice, no source."""


def _run_for_long(job: JobView) -> Iterator[str]:
    """Engines of a newly rigged boat that have run for long; 5000 h is easily typed for 5.000 h."""
    if job.job.kind != NEW_BOAT:
        return
    for engine in job.vessel.engines:
        if engine.hours and engine.hours.to("h") > NEW_UNTIL:
            yield f"{engine.position} engine has run {engine.hours}, and the boat is newly rigged. Is it right?"


def _of_own_kinds(vessel: Vessel, host: PluginHost) -> Iterator[Question]:
    """What is unusual of equipment of plugins' own kinds, or not what its kind takes."""
    for key, kind in host.equipment.items():
        for name, piece in vessel.of_kind(key).items():
            for field in kind.fields:
                value, place = piece.more.get(field.name), (OF_VESSEL, f"{key}.{field.name}", "", name)
                words = "" if value is None else implausible(field, value)
                try:
                    if value is not None:
                        check_value(field, value)
                except ValueRefused as refused:
                    words = f"{refused}. Kept as it is; correct it."
                if words:
                    yield _question_at(place, words, host)


def _question_at(place: FieldKey, words: str, host: PluginHost) -> Question:
    return Question(f"{place_in_words(place, host)}: {words}", place, words)


_FIRST_DAY = date(2000, 1, 1)
"""A clock that was never set shows a day before this one; common practice, no source."""


def _of_nobody_and_no_day(measurements: Iterable[Measurement]) -> Iterator[str]:
    """Asked once about a job: whose values are these, and of which day."""
    measurements = [*measurements]
    nobodys = sum(not one.by.strip() for one in measurements)
    if nobodys:
        yield f"{in_number(nobodys, 'value')} without a person. Who entered them? Put the name."
    too_early = sum(_is_too_early(one.at) for one in measurements)
    if too_early:
        yield f"{in_number(too_early, 'value')} dated before {_FIRST_DAY.year}. Put the right day, and set the clock."


def _is_too_early(at: str) -> bool:
    try:
        return datetime.fromisoformat(at).date() < _FIRST_DAY
    except ValueError:
        return False  # nothing is stated; what is no day was refused when it came in


def _disagreement_in_words(disagreement: Disagreement, host: PluginHost) -> str:
    values = " or ".join(map(_stated, disagreement.values))
    return f"{place_in_words(disagreement.place, host)}: {values}? Neither is used until someone chooses."


def _stated(one: Measurement) -> str:
    """A value, and who entered it when."""
    by = ", ".join(filter(None, (one.by, moment_in_words(one.at))))
    return f"{one.value} ({by})" if by else f"{one.value}"


def _questions_about(measurement: Measurement, step: Step, job: JobView, kinds: Kinds, *, fits: bool) -> Iterator[str]:
    field, vessel = next(f for f in step.all_fields() if f.name == measurement.field), job.vessel
    entered = _day_entered(measurement, job)
    question = implausible(field, measurement.value, vessel, measurement.of, entered) if fits else ""
    if question:
        yield question
    kind, pieces = pieces_asked_of(measurement.field, step, vessel)
    if measurement.of not in pieces:
        aboard = f"{kind_title(kind, kinds)} aboard: {_some_of(pieces)}." if kind else "It is asked once."
        yield f"{aboard} {measurement.of!r} is not used. Is it right?"
    if misfit := row_misfits(measurement.field, measurement.row, step):
        yield f"{misfit} is not used. Is it right?"


def _day_entered(measurement: Measurement, job: JobView) -> date | None:
    """The day a value was entered; that the job was opened on where a clock was never set, or nothing is stated."""
    for stated in (measurement.at, job.job.opened):
        with suppress(ValueError):
            if (day := datetime.fromisoformat(stated).date()) >= _FIRST_DAY:
                return day
    return None


def _some_of(names: Collection[str]) -> str:
    """Names for a person to compare with: a boat has few; a file that has thousands is no help with all of them."""
    shown = [*islice(names, _MOST_NAMES)]
    more = f" and {len(names) - len(shown)} more" if len(names) > len(shown) else ""
    return f"{', '.join(shown)}{more}" if shown else "none"


_MOST_NAMES = 60


def _question_about_dates(measurement: Measurement, step: Step, job: JobView) -> Iterator[str]:
    field = next(field for field in step.all_fields() if field.name == measurement.field)
    if field.kind is not Kind.RECORDING:
        return
    try:
        recording = job.recording(measurement.step, measurement.field, row=measurement.row, of=measurement.of)
    except NotEnoughData:
        return  # not here, unreadable or simulated: its finding says so
    question = question_of_dates(recording, job.job.opened, measurement.at, date.today()) if recording else ""
    if question:
        yield question


def equipment_lacking(view: JobView, host: PluginHost) -> dict[str, tuple[str, ...]]:
    """What a job's readings name that its vessel has not: by the kind of equipment, sorted. Those are not used."""
    found: dict[str, set[str]] = {}
    for measurement in view.measurements:
        step = host.step(measurement.step)
        if step is None:
            continue
        kind, pieces = pieces_asked_of(measurement.field, step, view.vessel)
        if kind and measurement.of not in pieces:
            found.setdefault(kind, set()).add(measurement.of)
    return {kind: tuple(sorted(names)) for kind, names in sorted(found.items())}
