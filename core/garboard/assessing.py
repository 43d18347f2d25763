"""From a job file to its findings: read, checked against the loaded plugins, assessed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.faults import Fault, InputError
from garboard.findings import Verdict
from garboard.host import Assessed, PluginHost
from garboard.job_file import JobFile, check, implausible, read_job_file, settings_faults, view_of
from garboard.job_view import JobView, place_of
from garboard.records import EQUIPMENT, Measurement, Vessel
from garboard.report import json_out
from garboard.report.outline import place_in_words
from garboard.steps import Step


@attrs.frozen
class AssessedJob:
    """A job file with what the calculators say of it.

    source    : the file
    questions : what looks unusual and should be looked at again, one sentence each
    """

    source: str
    view: JobView
    assessed: tuple[Assessed, ...]
    questions: tuple[str, ...]

    @property
    def fails(self) -> bool:
        """Whether anything fails. Advice and missing data are no failure."""
        return any(one.finding.verdict is Verdict.FAIL for one in self.assessed)


def assess_job_file(path: Path, host: PluginHost) -> AssessedJob:
    """Read and assess a job file.

    Raises InputError with every fault of the file, values outside their hard range among them.
    """
    job_file = read_job_file(path)
    faults = [*check(job_file, host, path.parent), *settings_faults(job_file.settings, host)]
    if faults:
        raise InputError(str(path), faults)
    view = view_of(job_file, path.parent)
    return AssessedJob(str(path), view, host.assess(view), tuple(_questions(job_file, host)))


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
        plain = json.loads(file.read_text(encoding="utf-8"))
    except (ValueError, OSError, RecursionError):
        return False  # read again as a job file, which says what is wrong with it
    return isinstance(plain, dict) and plain.get("format") == json_out.FORMAT


def _questions(job_file: JobFile, host: PluginHost) -> Iterator[str]:
    number = job_file.vessel.hull_number
    try:
        doubts = hull_number.parse(number).doubts
    except InputError as failure:
        doubts = tuple(str(fault) for fault in failure.faults)
    yield from (f"Hull number {number}: {doubt}." for doubt in doubts)
    for measurement in job_file.measurements:
        step = host.step(measurement.step)
        if step is not None:
            yield from _questions_about(measurement, step, job_file.vessel, host)


def _questions_about(measurement: Measurement, step: Step, vessel: Vessel, host: PluginHost) -> Iterator[str]:
    where = place_in_words(place_of(measurement), host)
    question = implausible(next(f for f in step.all_fields() if f.name == measurement.field), measurement.value)
    if question:
        yield f"{where}: {question}"
    kind = _equipment_of(measurement.field, step)
    pieces = [getattr(piece, EQUIPMENT[kind]) for piece in getattr(vessel, kind)] if kind else [""]
    if measurement.of not in pieces:
        known = (
            f"the vessel's {kind.replace('_', ' ')} are {', '.join(pieces) or 'none'}" if kind else "it is asked once"
        )
        yield f"{where}: {known}, so {measurement.of!r} is not used. Is it right?"


def _equipment_of(field_name: str, step: Step) -> str:
    """The kind of equipment a field is asked for each of, or nothing."""
    for field in step.fields:
        for inner in (field, *field.columns):
            if inner.name == field_name:
                return inner.each or field.each
    return ""
