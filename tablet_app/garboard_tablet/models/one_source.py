"""One instrument for each quantity: two that send the same are never mixed.

Where two are heard a person picks; the choice stays with the vessel. Without one a guide follows whichever spoke first.
"""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from garboard.records import NETWORK_SOURCES, Vessel
from garboard.samples import Sample

OF_HEADING_SENSORS = ("heading", "rate_of_turn", "magnetic_x")
"""What a heading sensor sends, the most telling first. A boat has several, and their guides tell them apart."""
ENGINES = frozenset(
    {
        "engine_speed",
        "fuel_flow",
        "engine_hours",
        "engine_trim",
        "engine_temperature",
        "oil_pressure",
        "coolant_pressure",
        "alternator_voltage",
    }
)
"""Quantities whose instance is an engine. Each engine usually has an adapter of its own: they are no rivals."""
SILENT_AFTER = 3.0
"""Another instrument is followed once the one before has been silent for so long [s]."""


def choices_of(vessel: Vessel) -> Mapping[str, str]:
    """Which instrument is believed on a vessel: by quantity, by `of_engine`, or by quantity and piece."""
    kept = vessel.more.get(NETWORK_SOURCES)
    found = kept if isinstance(kept, dict) else {}
    return {key: value for key, value in found.items() if isinstance(value, str) and value}  # "" is one taken back


def of_engine(quantity: str, number: int | str) -> str:
    """Under what the choice among instruments of one engine is kept; one for all engines stands under the quantity.

    number : by which the engine is heard
    """
    return f"{quantity} {number}"


@attrs.define
class OneSource:
    """Lets through what guides may follow: of each quantity and engine one source, never two mixed.

    chosen : where a person picked, the source of a quantity or of one engine's; it is kept to, heard or not. One that
             was picked for all engines is kept to for those it sends
    """

    chosen: Mapping[str, str] = attrs.field(factory=dict)
    _followed: dict[tuple[str, str, str], tuple[str, float]] = attrs.field(factory=dict)

    def takes(self, sample: Sample) -> bool:
        """Whether a sample is of the source that is followed. One that falls silent is followed by the next."""
        if sample.quantity in OF_HEADING_SENSORS:
            return True
        is_of_engine = sample.quantity in ENGINES
        place = of_engine(sample.quantity, sample.instance or "0") if is_of_engine else sample.quantity
        if chosen := self.chosen.get(place):
            return sample.source == chosen.partition("#")[0]
        of_all = self.chosen.get(sample.quantity, "") if is_of_engine else ""
        key = (sample.quantity, sample.instance, sample.reference)
        source, heard = self._followed.get(key, (sample.source, sample.time))
        if source != sample.source != of_all and (source == of_all or abs(sample.time - heard) <= SILENT_AFTER):
            return False
        self._followed[key] = (sample.source, sample.time)
        return True
