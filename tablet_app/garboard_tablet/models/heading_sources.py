"""Which sensor of the boat sends under which name: a network knows addresses, a person knows the compass.

A sensor is tied once to each name it sends under, and keeps it: the vessel's field, as typed under its equipment. A
gateway may send by another name than the network itself does, so a sensor can have several.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import attrs

from garboard.records import Vessel
from garboard.samples import Recording, StreamKey

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork
    from garboard_tablet.models.tablet import Tablet

QUANTITIES = ("heading", "rate_of_turn", "magnetic_x")
"""What a heading sensor sends, the most telling first."""


@attrs.frozen(kw_only=True)
class HeadingSource:
    """A name under which heading comes.

    quantity : the most telling it sends
    value    : now where it is heard, else at the beginning of the recording
    count    : samples
    """

    source: str
    quantity: str
    value: float
    reference: str = ""
    count: int = 0


def in_recording(recording: Recording) -> tuple[HeadingSource, ...]:
    """The names under which heading comes in a recording."""
    streams = [(key, stream.values[0], len(stream)) for key, stream in recording.streams.items() if len(stream)]
    return _each_once(streams)


def heard(network: BoatNetwork | None) -> tuple[HeadingSource, ...]:
    """The names under which heading is heard now."""
    if network is None:
        return ()
    return _each_once(
        (key, latest.value, latest.count) for sender in network.senders() for key, latest in sender.latest.items()
    )


def _each_once(streams: Iterable[tuple[StreamKey, float, int]]) -> tuple[HeadingSource, ...]:
    found: dict[str, HeadingSource] = {}
    telling = sorted(
        (one for one in streams if one[0].quantity in QUANTITIES), key=lambda one: QUANTITIES.index(one[0].quantity)
    )
    for key, value, count in telling:
        found.setdefault(
            key.source,
            HeadingSource(source=key.source, quantity=key.quantity, value=value, reference=key.reference, count=count),
        )
    return tuple(found[source] for source in sorted(found))


def sensor_of(vessel: Vessel, source: str) -> str:
    """The sensor that sends under a name; "" where none is tied to it."""
    return next((sensor.name for sensor in vessel.heading_sensors if source in sensor.sources), "")


def untied(vessel: Vessel, sources: Sequence[HeadingSource]) -> tuple[HeadingSource, ...]:
    """Names that no sensor of the boat is tied to. A recording of one nameless source needs none."""
    return tuple(one for one in sources if one.source and not sensor_of(vessel, one.source))


def tie(tablet: Tablet, hull: str, sensor: str, source: str) -> None:
    """Say that a sensor sends under a name, and no other does."""
    boat = tablet.boat(hull)
    state = boat.vessel_home("heading_sensors")
    for one in boat.vessel().heading_sensors:
        names = [name for name in one.sources if name != source]
        if one.name == sensor:
            names.append(source)
        if tuple(names) != one.sources:
            subject = ("heading_sensors", one.name, "source")
            tablet.save(tablet.author().write(state, "field", subject, ", ".join(names)))
