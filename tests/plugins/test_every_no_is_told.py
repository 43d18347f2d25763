"""An answer that something is not in order changes a finding: no yes-or-no question is asked for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import attrs
import pytest

import garboard
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.records import EQUIPMENT, JsonValue, Measurement, NamedPropeller
from garboard.steps import Kind

KITTIWAKE = Path(garboard.__file__).parents[2] / "sample_jobs" / "kittiwake" / "job.json"
HOST = make_host(entry_points=False)
BAD = {"on_start_battery": True}
"""The answer that is not in order, where it is not a no."""
AFTER_A_CHANGE = "_again"
"""How the questions end that are asked again once another propeller is on."""


def _questions() -> Iterator[tuple[str, str, str]]:
    """Step, field and the kind of equipment it is asked of, for each yes-or-no field of every plugin."""
    for step in HOST.steps:
        for field in step.fields:
            for one in (field, *field.columns):
                if one.kind is Kind.YES_NO:
                    yield step.key, one.name, one.each or field.each


@lru_cache
def _host(plugin: str) -> PluginHost:
    return make_host([f"garboard_{plugin}"], entry_points=False)


@lru_cache
def _job() -> JobView:
    return view_of(read_job_file(KITTIWAKE), KITTIWAKE.parent)


def _with(job: JobView, step: str, name: str, each: str, answer: bool) -> JobView:
    """The job with this answer at every place of the question, and with the step neither skipped nor not fitted."""
    rows = {one.row for one in job.measurements if (one.step, one.field) == (step, name)} or {_row_of(job, step, name)}
    pieces = [getattr(one, EQUIPMENT[each]) for one in getattr(job.vessel, each)] if each else [""]
    at = [Measurement(step=step, field=name, value=answer, row=row, of=of, by="A") for row in rows for of in pieces]
    kept = [one for one in job.measurements if (one.step, one.field) != (step, name)]
    if name.endswith(AFTER_A_CHANGE):
        job, more = _after_a_change(job, step, name)
        kept += more
    return attrs.evolve(job, measurements=(*kept, *at), steps=tuple(one for one in job.steps if one.step != step))


def _after_a_change(job: JobView, step: str, name: str) -> tuple[JobView, list[Measurement]]:
    """Another propeller on each engine, and all that is asked about it after the change but this answer in order."""
    fitted = tuple(attrs.evolve(one, fitted="another") for one in job.vessel.engines)
    vessel = attrs.evolve(job.vessel, engines=fitted, propellers=(NamedPropeller(name="another"),))
    declared = HOST.step(step)
    assert declared
    others = [one.name for one in declared.all_fields() if one.name.endswith(AFTER_A_CHANGE) and one.name != name]
    answers: dict[str, JsonValue] = {"propeller": "another", **dict.fromkeys(others, True)}
    said = [
        Measurement(step=step, field=field, value=value, row="1", of=one.position, by="A")
        for field, value in answers.items()
        for one in fitted
    ]
    return attrs.evolve(job, vessel=vessel), said


def _row_of(job: JobView, step: str, name: str) -> str:
    declared = HOST.step(step)
    assert declared
    in_table = any(column.name == name for field in declared.fields for column in field.columns if not field.each)
    return next(iter(job.rows(step)), "1") if in_table else ""


def _told(step: str, name: str, each: str, answer: bool) -> list[object]:
    host = _host(step.partition(".")[0])
    return [
        (one.calculator, one.finding.verdict, one.finding.code)
        for one in host.assess(_with(_job(), step, name, each, answer))
    ]


@pytest.mark.parametrize(("step", "name", "each"), [*_questions()])
def test_every_bad_answer_changes_a_finding(step: str, name: str, each: str) -> None:
    bad = BAD.get(name, False)
    assert _told(step, name, each, bad) != _told(step, name, each, not bad)
