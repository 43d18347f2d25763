"""What the calculators share: sensors by name, findings one sensor at a time, the variation of the job's place."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeVar

from garboard.findings import Basis, Finding, Lack, Missing, NotEnoughData, not_enough_data
from garboard.job_view import JobView
from garboard.records import HeadingSensor
from garboard.samples import Stream
from garboard.series import is_frozen, unchanging_stretches, unwrapped

from .steps import PLACE
from .variation import Variation, variation_at

Item = TypeVar("Item")

TURNED_AWAY = 30.0
"""A direction that stands still while another turns so far is dead; wind and current do not explain it [deg]."""


def name_of(view: JobView, source: str) -> str:
    """What to call a source: the vessel's sensor that sends under it, or the source itself."""
    named = (sensor.name for sensor in view.vessel.heading_sensors if source in sensor.sources)
    return next(named, f"source {source}" if source else "the only source")


def sensors_of(view: JobView) -> Sequence[HeadingSensor]:
    """The vessel's heading sensors. Raises NotEnoughData when none is entered."""
    if not view.vessel.heading_sensors:
        text = "the vessel has no heading sensor; enter it under the vessel's equipment"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field="heading_sensors")
    return view.vessel.heading_sensors


def is_true(stream: Stream) -> bool:
    """Whether a direction counts as true. One that does not say is magnetic as a heading, true as a course."""
    return (stream.key.reference or ("magnetic" if stream.key.quantity == "heading" else "true")) == "true"


def longest(streams: Iterable[Stream]) -> Stream | None:
    """The stream with most samples."""
    return max(streams, key=len, default=None)


def see_that_it_lives(stream: Stream, about: str, place: Mapping[str, str], beside: Stream | None = None) -> None:
    """Raises NotEnoughData for a direction that did not change at all, or not while another direction turned.

    about  : whose direction it is
    place  : step and field the recording belongs to
    beside : the other direction, where turning away from it says that one of them is dead [deg]
    """
    what = stream.key.quantity.replace("_", " ")
    if is_frozen(stream):
        text = f"the {what} of {about} did not change at all: the sensor is dead or the display is frozen"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **place)
    for part in unchanging_stretches(stream) if beside else ():
        run = unwrapped(beside.between(part.times[0], part.times[-1]).values) if beside else ()
        if run and max(run) - min(run) > TURNED_AWAY:
            text = f"the {what} of {about} did not change while the boat turned {max(run) - min(run):.0f} degrees"
            raise NotEnoughData(f"{text}: the sensor is dead or frozen", lack=Lack.CONTRADICTS, **place)


def has_sensors(view: JobView) -> bool:
    """Whether heading is any matter on this vessel."""
    return bool(view.vessel.heading_sensors)


def begun(step: str) -> Callable[[JobView], bool]:
    """Whether anything was entered under a step that may be left out."""

    def applies(view: JobView) -> bool:
        entered = any(measurement.step == step for measurement in view.measurements)
        return entered or any(disagreement.place[0] == step for disagreement in view.disagreements)

    return applies


def one_by_one(
    items: Iterable[Item], find: Callable[[Item], Finding], about: Callable[[Item], str], basis: tuple[Basis, ...]
) -> Iterable[Finding]:
    """A finding for each item; what one lacks does not keep the others from theirs."""
    for item in items:
        try:
            yield find(item)
        except NotEnoughData as lacking:
            yield not_enough_data(about(item), lacking.missing, basis)


def variation_here(view: JobView) -> Variation:
    """The variation at the job's place and date. Raises NotEnoughData, with every reason, when it cannot be had."""
    asking = view.asking()
    latitude, longitude = asking.amount(PLACE, "latitude", "deg"), asking.amount(PLACE, "longitude", "deg")
    asking.settled(PLACE, "date")
    date = _date(view)
    no_date = "date is not entered; write it as 2026-11-25"
    asking.need(date is not None, Missing(no_date, lack=Lack.NOT_ENTERED, step=PLACE, field="date"))
    asking.check()
    try:
        return variation_at(latitude, longitude, date or datetime.date.min)
    except ValueError as outside:
        raise NotEnoughData(f"variation: {outside}", lack=Lack.NOT_COVERED, step=PLACE, field="latitude") from None


def _date(view: JobView) -> datetime.date | None:
    """The date entered; where there is none, the day the latitude was entered, or the job was opened."""
    entered = view.value(PLACE, "date")
    measured = view.find(PLACE, "latitude")
    texts = [entered] if entered else [measured.at if measured else "", view.job.opened]
    for text in texts:
        try:
            return datetime.date.fromisoformat(str(text).strip()[:10])
        except ValueError:
            continue
    return None
