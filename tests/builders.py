"""Builds vessels and job views for the tests of the plugins."""

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from garboard.findings import Finding, NotEnoughData
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import Disagreement, FieldKey, JobView
from garboard.records import ENGINE_POSITIONS, Engine, Job, JsonValue, Measurement, StepState, Tank, Vessel
from garboard.samples import Recording


def boat(engines: int = 1, *, tanks: Sequence[Tank] = (), hull_form: str = "", **each: Any) -> Vessel:
    """A vessel with engines from port to starboard; `each` gives the fields all engines share."""
    positions = ENGINE_POSITIONS[engines] if engines else ()
    fitted = tuple(Engine(position=position, **each) for position in positions)
    return Vessel(hull_number="XYZ00001A626", engines=fitted, tanks=tuple(tanks), hull_form=hull_form)


def job_view(
    vessel: Vessel,
    values: Mapping[FieldKey, JsonValue],
    *,
    recordings: Mapping[str, Recording] | None = None,
    disagreements: Iterable[FieldKey] = (),
    states: Iterable[StepState] = (),
    settings: Mapping[str, JsonValue] | None = None,
) -> JobView:
    """A job view holding values at places (step, field, row, of), every setting at its default unless given."""
    unsettled = tuple(disagreements)

    def load(reference: str) -> Recording:
        if recordings is None or reference not in recordings:
            raise NotEnoughData(f"recording {reference!r} is not here")
        return recordings[reference]

    view = JobView(
        vessel=vessel,
        job=Job(id="J1"),
        measurements=tuple(
            Measurement(step=place[0], field=place[1], row=place[2], of=place[3], value=value)
            for place, value in values.items()
            if place not in unsettled
        ),
        disagreements=tuple(Disagreement(place, ()) for place in unsettled),
        steps=tuple(states),
        settings=settings or {},
        load_recording=load,
    )
    return _all_plugins().with_defaults(view)


@lru_cache(maxsize=1)
def _all_plugins() -> PluginHost:
    return make_host(entry_points=False)


def findings_of(host: PluginHost, view: JobView, calculator: str) -> list[Finding]:
    """What one calculator says about a job."""
    return [assessed.finding for assessed in host.assess(view) if assessed.calculator == calculator]
