"""What a job holds that nothing here reads: a misspelt step or key, a date in another form. Kept, and asked about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

import attrs

from garboard.findings import row_in_words
from garboard.hosting.equipment import plugin_needed
from garboard.hosting.host import PluginHost
from garboard.job_files.job_file import JobFile
from garboard.job_view import JobView
from garboard.records import NETWORK_SOURCES, Measurement, SignOff, Vessel, is_own_kind

_BESIDE_A_SIGNATURE = ("by", "covers", "not_covered", "signature")
"""What the program itself writes beside a signature it exports."""

Odd = tuple[str, str]
"""Path of what is odd, as faults name it, and what to ask."""


def unrecognised(job: JobFile | JobView, host: PluginHost) -> Iterator[Odd]:
    """Everything in a job that nothing here reads."""
    steps = [step.key for step in host.steps]
    settings = [setting.key for setting in host.settings]
    yield from unknown_keys(job)
    yield from _kinds_without_plugin(job.vessel, host)
    yield from _unknown_steps(job.measurements, steps)
    for index, one in enumerate(job.measurements):
        if check := host.check_awaited(one.step, one.field):
            yield f"measurements[{index}].field", f"the check {check} is not here; its {one.field} is kept, not judged."
    for index, state in enumerate(job.steps):
        if state.step not in steps:
            yield f"steps[{index}].step", _no_plugin_knows(state.step, "its state is", steps)
    for key in job.settings:
        if key not in settings:
            known = _meant(key, settings) or " 'garboard settings list --all' shows those known here."
            yield f"settings.{key}", f"no plugin here knows this setting; kept, not used.{known}"
    if job.job.opened and not _begins_with_a_date(job.job.opened):
        yield "job.opened", f"{job.job.opened!r} is no date that is read here. Write it like 2026-05-14."


def _kinds_without_plugin(vessel: Vessel, host: PluginHost) -> Iterator[Odd]:
    for kind in filter(is_own_kind, vessel.more):
        if plugin := plugin_needed(kind, host.equipment):
            said = f"this equipment needs the plugin {plugin}, not at work here; kept, not used."
            yield f"vessel.{kind}", said + _meant(kind, host.equipment)


def unknown_keys(record: attrs.AttrsInstance, path: str = "") -> Iterator[Odd]:
    """A question for every key of a record, and of records in it, that this version does not know."""
    fields = [field.name for field in attrs.fields(type(record)) if field.name != "more"]
    below = f"{path}." if path else ""
    for key in getattr(record, "more", {}):
        if isinstance(record, SignOff) and key in _BESIDE_A_SIGNATURE:
            continue
        if isinstance(record, Vessel) and (key == NETWORK_SOURCES or is_own_kind(key)):
            continue
        known = f"{_meant(key, fields)} Keys known here: {', '.join(fields)}."
        yield f"{below}{key}", f"this key is not known here; kept, not used.{known}"
    for name in fields:
        value = getattr(record, name)
        inner = [(f"[{index}]", one) for index, one in enumerate(value)] if isinstance(value, tuple) else [("", value)]
        for index, one in inner:
            if attrs.has(type(one)):
                yield from unknown_keys(one, f"{below}{name}{index}")


def _unknown_steps(measurements: Sequence[Measurement], steps: Sequence[str]) -> Iterator[Odd]:
    """One question a step, at its first value: a plugin that is not here may own hundreds of them."""
    of_step: dict[str, list[int]] = {}
    for index, measurement in enumerate(measurements):
        if measurement.step not in steps:
            of_step.setdefault(measurement.step, []).append(index)
    for step, (first, *others) in of_step.items():
        one = measurements[first]
        place = ", ".join(filter(None, (one.field, row_in_words(one.row), one.of)))
        more = f" and {len(others)} more" if others else ""
        yield (
            f"measurements[{first}].step",
            _no_plugin_knows(step, f"its {place}{more} {'are' if others else 'is'}", steps),
        )


def _no_plugin_knows(step: str, what: str, steps: Iterable[str]) -> str:
    known = _meant(step, steps) or " 'garboard steps' lists those known here."
    return f"no plugin here knows the step {step!r}; {what} kept, not judged.{known}"


def _meant(word: str, known: Iterable[str]) -> str:
    from difflib import get_close_matches  # here: nearly all words are known

    near = get_close_matches(word, list(known), n=1)
    return f" Did you mean {near[0]}?" if near else ""


def _begins_with_a_date(text: str) -> bool:
    try:
        return bool(date.fromisoformat(text[:10]))
    except ValueError:
        return False
