"""Findings as plain JSON, for other programs to read. Keys and their order are stable within a version.

    format, version      "garboard findings", 1
    program              version of this program
    plugins              name, version of each plugin at work
    broken_plugins       name, reason, code, file, line (0: not known), cure of each that could not be loaded
    jobs                 one for each job file, in the order read:
      source             the file
      faults             where, expected, got, line (0: not known), about, cure; with any fault the keys below are empty
      hull_number, vessel, job
      set_aside          by, at, reason, came, holds: that a manager set the job aside; `came` is how many entries
                         tablets brought since, and with any of them it no longer holds. null where nobody did, and
                         for a job that is handed over
      questions          measurements outside their usual range, to be looked at again
      counts             findings by verdict
      findings           phase, step, calculator, title, plugin, plugin_version, code, verdict, about, sentence,
                         numbers (name, value, unit, expanded_uncertainty, coverage_factor and degrees_of_freedom
                         or null, decimals; uncertainty is the older name of expanded_uncertainty),
                         basis (kind, text, note), tables (title, headings, rows),
                         figures (title, x, y, y2 or null, series, bands, markers),
                         forecasts (propeller, pitch, diameter, diameter_within, blades or null, cup,
                         expected (of, low, high, chance), made_by, and the load it holds for: persons, fuel_level,
                         gear): what may be tried next, the best first,
                         missing (lack, step, field, row, of, text),
                         places (step, field, row, of): the values it rests on,
                         limits (number, low or null, high or null): what the verdict holds its numbers against, each
                         number by its name and in its unit; both ends belong to the limit,
                         doubts (step, field, row, of, text): values it shows to be in doubt,
                         doubted (the same): doubts of other findings about values it rests on,
                         settings_used (key, title, value, default, state, set, not_used, shop_now): those read that
                         are not at their default or in doubt,
                         shortened: whether something of it was cut that no page can hold
      punch_list         about, text, why, step, check
      trials             of several propellers: fitting (a name for each engine, "" for the one it came with), name,
                         stays, verdict, why, sizes, load, mounting, time_to_plane (words, "" where not entered),
                         numbers (as of findings, with of)

An expanded uncertainty is half the width of the 95 % interval, in the number's unit: the coverage factor times the
standard uncertainty. New keys may join within a version; a key that goes or changes its meaning raises the version.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import attrs

import garboard
from garboard.faults import Fault
from garboard.findings import Figure, Finding, Missing, Number, Table
from garboard.hosting.failures import PluginProblem
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.judging.assessing import FINDINGS
from garboard.records import Forecast
from garboard.report.outline import counts, is_handed_over, punch_list
from garboard.report.trials import Trial, trials_of
from garboard.steps import Assessed

if TYPE_CHECKING:
    from garboard.history.plans import SetAside
    from garboard.hosting.explaining import Explained

Plain = dict[str, Any]  # whatever JSON can hold; the shapes are written out above


def document(host: PluginHost, jobs: Sequence[Plain]) -> str:
    """The whole document as text, ready to be written."""
    whole = {
        **FINDINGS.heading,
        "program": garboard.__version__,
        "plugins": [{"name": plugin.name, "version": plugin.version} for plugin in host.plugins],
        "broken_plugins": [problem_as_plain(problem) for problem in host.problems],
        "jobs": list(jobs),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def problem_as_plain(problem: PluginProblem) -> Plain:
    """What is wrong with a plugin."""
    return attrs.asdict(problem, filter=lambda field, _value: field.name != "at_work")


def faulty_job(source: str, faults: Sequence[Fault]) -> Plain:
    """A job file that could not be used."""
    return {
        "source": source,
        "faults": [attrs.asdict(fault) for fault in faults],
        "hull_number": "",
        "vessel": "",
        "job": "",
        "set_aside": None,
        "questions": [],
        "counts": {},
        "findings": [],
        "punch_list": [],
        "trials": [],
    }


def assessed_job(
    source: str,
    view: JobView,
    host: PluginHost,
    assessed: Sequence[Assessed],
    questions: Sequence[str],
    aside: SetAside | None = None,
) -> Plain:
    """A job with all its findings."""
    return {
        "source": source,
        "faults": [],
        "hull_number": view.vessel.hull_number,
        "vessel": view.vessel.name,
        "job": view.job.id,
        "set_aside": None if aside is None or is_handed_over(view) else attrs.asdict(aside),
        "questions": list(questions),
        "counts": {verdict.value: number for verdict, number in counts(assessed).items()},
        "findings": [assessed_as_plain(one) for one in assessed],
        "punch_list": [attrs.asdict(item) for item in punch_list(view, host, assessed)],
        "trials": [_trial_as_plain(trial) for trial in trials_of(view, host)],
    }


def explained_as_plain(one: Explained) -> Plain:
    """What a calculator asked for."""
    keys = ("step", "field", "row", "of")
    return {
        "calculator": one.calculator.key,
        "asked": [
            {**dict(zip(keys, asked.place, strict=True)), "value": asked.value, "lacks": asked.lacks}
            for asked in one.asked
        ],
        "lacks": [lack.text for lack in one.lacks],
        "settings_read": [{"key": key, "value": value} for key, value in one.settings],
        "found": [finding.code for finding in one.findings],
    }


def _trial_as_plain(trial: Trial) -> Plain:
    """One fitting that was tried."""
    said = ("name", "stays", "why", "sizes", "load", "mounting", "time_to_plane")
    numbers = [{"of": one.of, **_number(one.number)} for found in trial.told.values() for one in found]
    return {
        "fitting": list(trial.fitting),
        **{name: getattr(trial, name) for name in said},
        "verdict": trial.verdict.value,
        "numbers": numbers,
    }


def assessed_as_plain(one: Assessed) -> Plain:
    """One finding with what produced it."""
    return {
        "phase": one.phase.value,
        "step": one.step,
        "calculator": one.calculator,
        "title": one.title,
        "plugin": one.plugin,
        "plugin_version": one.plugin_version,
        **finding_as_plain(one.finding),
        "settings_used": [attrs.asdict(used) for used in one.settings_used],
        "shortened": one.shortened,
    }


def finding_as_plain(finding: Finding) -> Plain:
    """One finding by itself."""
    return {
        "code": finding.code,
        "verdict": finding.verdict.value,
        "about": finding.about,
        "sentence": finding.sentence,
        "numbers": [_number(number) for number in finding.numbers],
        "basis": [{"kind": basis.kind.value, "text": basis.text, "note": basis.note} for basis in finding.basis],
        "tables": [_table(table) for table in finding.tables],
        "figures": [_figure(figure) for figure in finding.figures],
        "forecasts": [_forecast(one) for one in finding.forecasts],
        "missing": [_missing(item) for item in finding.missing],
        "places": [dict(zip(("step", "field", "row", "of"), place, strict=True)) for place in finding.places],
        "limits": [attrs.asdict(limit) for limit in finding.limits],
        "doubts": [attrs.asdict(doubt) for doubt in finding.doubts],
        "doubted": [attrs.asdict(doubt) for doubt in finding.doubted],
    }


def _forecast(one: Forecast) -> Plain:
    return {
        "propeller": one.propeller,
        "pitch": str(one.pitch or ""),
        "diameter": str(one.diameter or ""),
        "diameter_within": str(one.diameter_within or ""),
        "blades": one.blades,
        "cup": one.cup,
        "expected": [
            {"of": each.of, "low": str(each.low or ""), "high": str(each.high or ""), "chance": each.chance}
            for each in one.expected
        ],
        "made_by": one.made_by,
        "persons": one.persons,
        "fuel_level": str(one.fuel_level or ""),
        "gear": str(one.gear or ""),
    }


def _number(number: Number) -> Plain:
    return {
        "name": number.name,
        "value": number.value,
        "unit": number.unit,
        "uncertainty": number.expanded_uncertainty,
        "decimals": number.decimals,
        "expanded_uncertainty": number.expanded_uncertainty,
        "coverage_factor": number.coverage_factor,
        "degrees_of_freedom": number.degrees_of_freedom,
    }


def _table(table: Table) -> Plain:
    return {"title": table.title, "headings": list(table.headings), "rows": [list(row) for row in table.rows]}


def _missing(item: Missing) -> Plain:
    return {
        "lack": item.lack.value,
        "step": item.step,
        "field": item.field,
        "row": item.row,
        "of": item.of,
        "text": item.text,
    }


def _figure(figure: Figure) -> Plain:
    """The figure's data: any program can draw it again."""
    keys = ("title", "x", "y", "y2", "series", "bands", "markers")
    plain = attrs.asdict(figure)
    return {key: plain[key] for key in keys}
