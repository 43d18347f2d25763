"""Which compass a pilot's trial is judged by, and what else of the same recording says of the same time.

A pilot knows its own compass alone. Where that one is dead or damped too much, the boat weaves and the compass does
not show it; where another one is noisy, it says nothing against the pilot.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from garboard.findings import Lack, NotEnoughData, rounded
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.samples import Recording, Stream
from garboard.series import mean, standard_deviation, unwrapped
from garboard_handover.steps import AUTOPILOT, TRIAL_SPEED

UNDER_WAY = 1.0
"""A boat slower than this tries no pilot: it lies at a mooring or drifts [kn]; common practice, no source."""
COURSE_TELLS = 3.0
"""From this speed on the course over ground follows the bow closely enough to speak for or against a compass [kn];
common practice, no source."""
SLOW = 5.0
"""What a heading does over less time is noise of the sensor, no weaving of the boat [s]; common practice, no source."""
HEARD = 0.5
"""Share of the trial a witness has to be heard in; common practice, no source [-]."""
FEWEST_MEANS = 8  # means of SLOW seconds that tell a spread
TURNED_APART = 20.0
"""By so much a compass not calibrated yet may show another change of course than a good one [deg]; common practice, no
source."""
COURSE = "the course over ground"


@frozen
class Witness:
    """Another direction of the same time, called as a person knows it."""

    name: str
    stream: Stream

    @property
    def within(self) -> float:
        """95 % of its slow movement about its mean [deg]."""
        return 2 * standard_deviation(_slow_means(self.stream))

    @property
    def turned(self) -> float:
        """From its first heading to its last, each the mean of some seconds [deg]."""
        means = _slow_means(self.stream)
        return means[-1] - means[0]


def steered_by(view: JobView, recording: Recording, field: str) -> Witness:
    """The heading of the compass the pilot steers by: as entered, else the vessel's first that is heard.

    Raises NotEnoughData where the one entered sends nothing, and where no heading is recorded.
    """
    streams = recording.of("heading")
    if not streams:
        text = f"{field.replace('_', ' ')} holds no heading"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, step=AUTOPILOT, field=field)
    if view.in_dispute(AUTOPILOT, "steered_by"):
        raise NotEnoughData(
            "steered by: values disagree, choose one", lack=Lack.DISAGREES, step=AUTOPILOT, field="steered_by"
        )
    wanted = str(view.value(AUTOPILOT, "steered_by") or "").strip()
    by_name = {sensor.name: sensor.sources for sensor in view.vessel.heading_sensors}
    sources = by_name.get(wanted, (wanted,)) if wanted else [source for each in by_name.values() for source in each]
    own = next((stream for source in sources for stream in streams if stream.key.source == source), None)
    if wanted and own is None:
        there = ", ".join(_called(view, stream) for stream in streams)
        text = f"{wanted!r} sends no heading in {recording.name}; the pilot's compass is one of {there}"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, step=AUTOPILOT, field="steered_by")
    own = own or streams[0]
    return Witness(_called(view, own), own)


def see_that_it_is_under_way(view: JobView, recording: Recording, field: str) -> bool:
    """Whether a speed shows that the boat was under way: one recorded, over ground or through water, or one entered.

    Raises NotEnoughData for a trial of a boat that lies still.
    """
    recorded = (*recording.of("speed_over_ground"), *recording.of("speed_through_water"))
    heard = next((values for stream in recorded if (values := _finite(stream.values))), None)
    speed = mean(heard) if heard else view.amount(AUTOPILOT, TRIAL_SPEED, "kn")
    if speed is not None and speed < UNDER_WAY:
        text = f"the boat lay still, {rounded(speed, 1)} kn: that tries no pilot; record it under way"
        raise NotEnoughData(text, lack=Lack.UNSUITABLE, step=AUTOPILOT, field=field)
    return speed is not None


def no_speed(recording: Recording, field: str) -> NotEnoughData:
    """What to raise for a trial that is in order but for this: nothing shows that the boat was under way."""
    text = f"no speed in {recording.name}: a boat at the dock holds its heading too; record the GPS too, or enter speed"
    return NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, step=AUTOPILOT, field=field)


def witnesses(view: JobView, recording: Recording, own: Stream) -> list[Witness]:
    """What else was heard for most of the trial. The same readings under another name are no witness."""
    return [one for one in _others(view, recording, own) if _is_heard(one.stream, own)]


def _others(view: JobView, recording: Recording, own: Stream) -> Iterator[Witness]:
    for stream in recording.of("heading"):
        if stream.key != own.key and stream.values != own.values:
            yield Witness(_called(view, stream), stream)
    speeds, courses = recording.of("speed_over_ground"), recording.of("course_over_ground")
    speed = _finite(speeds[0].values) if speeds else []
    if courses and speed and mean(speed) >= COURSE_TELLS:
        yield Witness(COURSE, courses[0])


def _is_heard(stream: Stream, own: Stream) -> bool:
    if not len(stream) or not len(own) or len(_slow_means(stream)) < FEWEST_MEANS:
        return False
    both = min(stream.times[-1], own.times[-1]) - max(stream.times[0], own.times[0])
    return both >= HEARD * (own.times[-1] - own.times[0])


def _slow_means(direction: Stream) -> list[float]:
    """Means of so many seconds each, one after the other, without the jump at north [deg]."""
    kept = [(time, angle) for time, angle in direction if math.isfinite(angle)]
    run = unwrapped([angle for _, angle in kept])
    parts: dict[int, list[float]] = {}
    for (time, _), angle in zip(kept, run, strict=True):
        parts.setdefault(int((time - kept[0][0]) / SLOW), []).append(angle)
    return [mean(part) for part in parts.values()]


def _finite(values: Iterable[float]) -> list[float]:
    return [value for value in values if math.isfinite(value)]


def _called(view: JobView, stream: Stream) -> str:
    source = stream.key.source
    named = (sensor.name for sensor in view.vessel.heading_sensors if source in sensor.sources)
    return next(named, f"source {source}" if source else "the compass")
