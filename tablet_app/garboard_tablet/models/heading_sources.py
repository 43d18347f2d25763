"""Which sensor of the boat sends under which name: a network knows addresses, a person knows the compass.

A sensor is tied once to each name it sends under, and keeps it: the vessel's field, as typed under its equipment. A
gateway may send by another name than the network itself does, so a sensor can have several.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import attrs

from garboard.findings import rounded
from garboard.records import Vessel
from garboard.samples import Recording, StreamKey
from garboard_tablet.language import phrase
from garboard_tablet.models.live import STALE_AFTER
from garboard_tablet.models.one_source import OF_HEADING_SENSORS
from garboard_tablet.models.runs import EPOCH_FROM

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork
    from garboard_tablet.models.tablet import Tablet

TALKERS = {
    "HC": "magnetic compass",
    "HE": "gyro compass",
    "HN": "gyro compass",
    "AG": "autopilot",
    "AP": "autopilot",
    "GP": "satellite receiver",
    "GN": "satellite receiver",
    "TI": "rate-of-turn sensor",
}
"""Senders of NMEA 0183 by their two letters, as open parsers of it list them; what any instrument uses is left out."""


@attrs.frozen(kw_only=True)
class HeadingSource:
    """A name under which heading comes.

    quantity : the most telling it sends
    value    : the last
    count    : samples
    age      : time since that value was heard on the network [s]; None for a recording
    at       : time of that value in a recording [s]; without dates, since the recording's first line
    device   : what it says of itself, such as maker and model; "" where the network does not tell
    """

    source: str
    quantity: str
    value: float
    reference: str = ""
    count: int = 0
    age: float | None = None
    at: float = 0.0
    device: str = ""

    @property
    def kind(self) -> str:
        """What the two letters of an NMEA 0183 sender stand for; "" where they tell nothing of use here."""
        return TALKERS.get(self.source.partition(" ")[0], "")

    @property
    def is_heard_now(self) -> bool:
        """Whether its value is as new as what the sensor's display shows."""
        return self.age is not None and self.age <= STALE_AFTER

    @property
    def last_heard(self) -> str:
        """When its value was heard, in words."""
        if self.age is None:
            day = f", {datetime.fromtimestamp(self.at).astimezone():%d %b %H:%M}" if self.at > EPOCH_FROM else ""
            return phrase("At the end of the recording{day}", day=day)
        return "Heard now" if self.is_heard_now else phrase("Last heard {age} s ago", age=rounded(self.age))


def in_recording(recording: Recording) -> tuple[HeadingSource, ...]:
    """The names under which heading comes in a recording."""
    return _each_once(
        _source(key, stream.values[-1], len(stream), recording.devices, at=stream.times[-1])
        for key, stream in recording.streams.items()
        if len(stream)
    )


def heard(network: BoatNetwork | None) -> tuple[HeadingSource, ...]:
    """The names under which heading was heard since the tablet listens."""
    if network is None:
        return ()
    return _each_once(
        _source(key, latest.value, latest.count, sender.devices, age=network.age(latest.at))
        for sender in network.senders()
        for key, latest in sender.latest.items()
    )


def _source(
    key: StreamKey,
    value: float,
    count: int,
    devices: Mapping[str, tuple[str, ...]],
    *,
    age: float | None = None,
    at: float = 0.0,
) -> HeadingSource:
    device = ", ".join(devices.get(key.source, ()))
    return HeadingSource(source=key.source, quantity=key.quantity, value=value, reference=key.reference, count=count,
                         age=age, at=at, device=device)  # fmt: skip


def _each_once(streams: Iterable[HeadingSource]) -> tuple[HeadingSource, ...]:
    found: dict[str, HeadingSource] = {}
    telling = [one for one in streams if one.quantity in OF_HEADING_SENSORS]
    for one in sorted(telling, key=lambda one: OF_HEADING_SENSORS.index(one.quantity)):
        found.setdefault(one.source, one)
    return tuple(found[source] for source in sorted(found))


def sensor_of(vessel: Vessel, source: str) -> str:
    """The sensor that sends under a name; "" where none is tied to it."""
    return next((sensor.name for sensor in vessel.heading_sensors if source in sensor.sources), "")


def untied(vessel: Vessel, sources: Sequence[HeadingSource]) -> tuple[HeadingSource, ...]:
    """Names that no sensor of the boat is tied to. A recording of one nameless source needs none."""
    return tuple(one for one in sources if one.source and not sensor_of(vessel, one.source))


def entered_not_heard(vessel: Vessel, sources: Sequence[HeadingSource]) -> tuple[str, ...]:
    """What is entered of a sensor and not heard: one of its names is enough to hear it.

    returns : a sentence for each sensor that has names, of which none is among the sources
    """
    names = {one.source for one in sources}
    return tuple(
        phrase("{sources}, entered for {name}, is not heard", sources=sensor.sources[0], name=sensor.name)
        if len(sensor.sources) == 1
        else phrase(
            "{sources}, entered for {name}, are not heard", sources=" and ".join(sensor.sources), name=sensor.name
        )
        for sensor in vessel.heading_sensors
        if sensor.sources and names.isdisjoint(sensor.sources)
    )


def tie(tablet: Tablet, hull: str, sensor: str, source: str, job: str = "") -> None:
    """Say that a sensor sends under a name, and no other does."""
    state, author = tablet.facts(hull, job, "heading_sensors")
    for one in tablet.boat(hull).vessel().heading_sensors:
        names = [name for name in one.sources if name != source]
        if one.name == sensor:
            names.append(source)
        if tuple(names) != one.sources:
            subject = ("heading_sensors", one.name, "source")
            tablet.save(author.write(state, "field", subject, ", ".join(names)))
