"""What is set once on a tablet: who works with it, how it looks, which units it offers first."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from garboard.disk.documents import FOLDER, Document, DocumentDamaged, Kind, one_row
from garboard.disk.formats import Format

if TYPE_CHECKING:
    from garboard.steps import Field

FILE = f"{FOLDER}/tablet.json"
TABLE = "tablet"
_FORMER = "tablet.json"
SETTINGS = Kind(
    Format("garboard tablet settings", (one_row(TABLE, _FORMER),)),
    cure="Set who is working, the colours and the units again.",
    former=(_FORMER,),
)

AS_DECLARED = "as each step says"
METRIC = "metric first"
MOST_METERS = 11
UNIT_CHOICES = (AS_DECLARED, METRIC)

_METRIC: Mapping[str, str] = {
    "ft": "m",
    "in": "mm",
    "mi": "km",
    "gal/h": "L/h",
    "gal": "L",
    "hp": "kW",
    "lb": "kg",
    "lb/gal": "kg/L",
    "degF": "degC",
    "psi": "kPa",
    "inHg": "hPa",
    "mph": "kn",
    "cmil": "mm2",
}


@attrs.frozen(kw_only=True)
class TabletSettings:
    """The settings of one tablet.

    tablet   : its id, made once
    working  : who is working now; written into every entry
    people   : names used on this tablet, latest first
    dark     : the colours for night
    units    : one of UNIT_CHOICES
    always   : the unit a field opens with on every boat, by the field's name, where a person said so
    cue      : whether a live guide also sounds
    voice    : whether a live guide speaks, where the tablet can
    network  : where the boat's network was listened to, latest first
    thumb_left : whether what to do next stands at the left, for the left thumb
    in_hand  : the meter that values are read with now, by their quantity
    meters   : names of meters used on this tablet, latest first
    """

    tablet: str = attrs.field(factory=lambda: os.urandom(6).hex())
    working: str = ""
    people: tuple[str, ...] = ()
    dark: bool = False
    units: str = AS_DECLARED
    always: Mapping[str, str] = attrs.field(factory=dict)
    cue: bool = False
    voice: bool = True
    network: tuple[str, ...] = ()
    thumb_left: bool = False
    in_hand: Mapping[str, str] = attrs.field(factory=dict)
    meters: tuple[str, ...] = ()

    def with_person(self, name: str) -> TabletSettings:
        """The settings with a person at work."""
        others = tuple(other for other in self.people if other != name)
        return attrs.evolve(self, working=name, people=(name, *others)[:6])

    def with_unit(self, field: str, unit: str) -> TabletSettings:
        """The settings with a unit that a field always opens with."""
        return attrs.evolve(self, always={**self.always, field: unit})

    def without_unit(self, field: str) -> TabletSettings:
        """The settings without the unit that a field always opens with."""
        return attrs.evolve(self, always={name: unit for name, unit in self.always.items() if name != field})

    def with_meter(self, quantity: str, name: str) -> TabletSettings:
        """The settings with a meter in hand for a quantity; none where it has no name."""
        if not name:
            return attrs.evolve(self, in_hand={of: one for of, one in self.in_hand.items() if of != quantity})
        meters = (name, *(other for other in self.meters if other != name))[:MOST_METERS]
        return attrs.evolve(self, in_hand={**self.in_hand, quantity: name}, meters=meters)

    def with_network(self, where: str) -> TabletSettings:
        """The settings remembering where the boat's network was listened to."""
        return attrs.evolve(self, network=(where, *(other for other in self.network if other != where))[:3])

    def unit_for(self, field: Field) -> str:
        """The unit to offer first for an amount; "" for anything else.

        >>> from garboard.steps import Field, Kind
        >>> speed = Field(name="length", title="Length", kind=Kind.AMOUNT, quantity="length", unit="ft")
        >>> TabletSettings().unit_for(speed), TabletSettings(units=METRIC).unit_for(speed)
        ('ft', 'm')
        """
        from garboard.units import UNITS_OF

        if field.quantity not in UNITS_OF:
            return ""
        wanted = self.always.get(field.name) or (_METRIC.get(field.unit, "") if self.units == METRIC else "")
        return wanted if wanted in UNITS_OF[field.quantity] else field.unit


def read_settings(folder: Path, damaged: list[DocumentDamaged]) -> TabletSettings:
    """The settings kept in a tablet's folder; the usual ones, saved at once, where there are none.

    errors : NewerFormat; NotSaved
    """
    document = Document(folder / FILE, SETTINGS)

    def read() -> TabletSettings:
        row = document.row(TABLE)
        if row is None:
            fresh = TabletSettings()
            write_settings(folder, fresh)
            return fresh
        return TabletSettings(**_known(row))

    return document.read_or_begin_anew(read, damaged)


def _known(row: Mapping[str, object]) -> dict[str, Any]:
    """What a row sets; a value of another kind than the usual one is not set. Raises ValueError without an id."""
    usual = attrs.asdict(TabletSettings(), recurse=False)
    known = {name: row[name] for name, value in usual.items() if name in row and _is_like(row[name], value)}
    if not known.get("tablet"):
        raise ValueError("it says no id of the tablet")
    return {name: tuple(value) if isinstance(value, list) else value for name, value in known.items()}


def _is_like(value: object, usual: object) -> bool:
    """Whether JSON holds what is set: text, yes or no, a list of texts, or texts by name."""
    if isinstance(usual, tuple):
        return isinstance(value, list) and all(isinstance(text, str) for text in value)
    if isinstance(usual, Mapping):
        return isinstance(value, dict) and all(isinstance(text, str) for text in value.values())
    return type(value) is type(usual)


def write_settings(folder: Path, settings: TabletSettings) -> None:
    """Keep the settings; saved when this returns. Raises storage.NotSaved."""
    Document(folder / FILE, SETTINGS).put_row(TABLE, attrs.asdict(settings))
