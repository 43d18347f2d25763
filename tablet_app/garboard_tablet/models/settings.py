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
MOST_WORDS = 12
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


UNIT_GROUPS: Mapping[str, tuple[str, ...]] = {
    "speed": ("kn", "mph", "km/h"),
    "fuel": ("gal", "L"),
    "length": ("ft", "m"),
    "temperature": ("degF", "degC"),
    "power": ("hp", "kW"),
}
"""What a person chooses once, and among what."""
_SMALLER = {"in": "ft", "mm": "m", "cm": "m"}
"""A short length stays short: where feet are chosen it is in inches, where metres are in millimetres."""
_SHORT = {"ft": "in", "m": "mm"}


def _as_chosen(field: Field, choices: Mapping[str, str]) -> str:
    """The unit of a field where its person chose one for such values; "" where not.

    choices : unit by group
    """
    group = "fuel" if field.quantity in ("volume", "fuel flow") else field.quantity
    chosen = choices.get(group, "")
    if not chosen:
        return ""
    if field.quantity == "fuel flow":
        return f"{chosen}/h"
    return _SHORT[chosen] if group == "length" and field.unit in _SMALLER else chosen


@attrs.frozen(kw_only=True)
class TabletSettings:
    """The settings of one tablet.

    tablet   : its id, made once
    working  : who is working now; written into every entry
    people   : names used on this tablet, latest first
    dark     : the colours for night
    units    : one of UNIT_CHOICES
    chosen   : the units people chose for themselves, by "group person", such as "speed Robin"
    always   : the unit a field opens with on every boat, by the field's name, where a person said so
    cue      : whether a live guide also sounds
    voice    : whether a live guide speaks, where the tablet can
    network  : where the boat's network was listened to, latest first
    thumb_left : whether what to do next stands at the left, for the left thumb
    in_hand  : the meter that values are read with now, by their quantity
    meters   : names of meters used on this tablet, latest first
    words    : what was entered before in a text that names things, by "step/field": a line each, latest first
    backup_to : the folder backups are written to: how the system knows it, and what a person calls it
    backed_up : when the last backup was saved, and how many boats it holds
    """

    tablet: str = attrs.field(factory=lambda: os.urandom(6).hex())
    working: str = ""
    people: tuple[str, ...] = ()
    dark: bool = False
    units: str = AS_DECLARED
    chosen: Mapping[str, str] = attrs.field(factory=dict)
    always: Mapping[str, str] = attrs.field(factory=dict)
    cue: bool = False
    voice: bool = True
    network: tuple[str, ...] = ()
    thumb_left: bool = False
    in_hand: Mapping[str, str] = attrs.field(factory=dict)
    meters: tuple[str, ...] = ()
    words: Mapping[str, str] = attrs.field(factory=dict)
    backup_to: tuple[str, ...] = ()
    backed_up: tuple[str, ...] = ()

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

    @property
    def own_units(self) -> Mapping[str, str]:
        """The units that whoever is working chose, by group."""
        kept = {group: self.chosen.get(_of_person(group, self.working), "") for group in UNIT_GROUPS}
        return {group: unit for group, unit in kept.items() if unit in UNIT_GROUPS[group]}

    def with_own_unit(self, group: str, unit: str) -> TabletSettings:
        """The settings with a unit chosen by whoever is working; "" for none: each step says again."""
        others = {key: kept for key, kept in self.chosen.items() if key != _of_person(group, self.working)}
        return attrs.evolve(self, chosen={**others, **({_of_person(group, self.working): unit} if unit else {})})

    def with_meter(self, quantity: str, name: str) -> TabletSettings:
        """The settings with a meter in hand for a quantity; none where it has no name."""
        if not name:
            return attrs.evolve(self, in_hand={of: one for of, one in self.in_hand.items() if of != quantity})
        meters = (name, *(other for other in self.meters if other != name))[:MOST_METERS]
        return attrs.evolve(self, in_hand={**self.in_hand, quantity: name}, meters=meters)

    def with_word(self, field: str, word: str) -> TabletSettings:
        """The settings remembering what was entered in a field."""
        word = " ".join(word.split())
        others = [other for other in self.words_of(field) if other.casefold() != word.casefold()]
        return attrs.evolve(self, words={**self.words, field: "\n".join([word, *others][:MOST_WORDS])})

    def words_of(self, field: str) -> tuple[str, ...]:
        """What was entered in a field before, latest first."""
        return tuple(self.words.get(field, "").splitlines())

    def with_network(self, where: str) -> TabletSettings:
        """The settings remembering where the boat's network was listened to."""
        return attrs.evolve(self, network=(where, *(other for other in self.network if other != where))[:3])

    def unit_for(self, field: Field) -> str:
        """The unit to offer first for an amount; "" for anything else.

        >>> from garboard.steps import Field, Kind
        >>> speed = Field(name="length", title="Length", kind=Kind.AMOUNT, quantity="length", unit="ft")
        >>> TabletSettings().unit_for(speed), TabletSettings(units=METRIC).unit_for(speed)
        ('ft', 'm')
        >>> TabletSettings(working="Robin").with_own_unit("length", "m").unit_for(speed)
        'm'
        """
        from garboard.units import UNITS_OF

        if field.quantity not in UNITS_OF:
            return ""
        own = self.always.get(field.name) or _as_chosen(field, self.own_units)
        wanted = own or (_METRIC.get(field.unit, "") if self.units == METRIC else "")
        return wanted if wanted in UNITS_OF[field.quantity] else field.unit


def _of_person(group: str, person: str) -> str:
    return f"{group} {person}".rstrip()


_GROUP_OF = {"kn": "speed", "L/h": "fuel", "L": "fuel", "m": "length", "degC": "temperature"}


def shown_in(unit: str, own: Mapping[str, str]) -> str:
    """The unit a person reads what comes in a unit of the network in.

    own : as `TabletSettings.own_units` gives it

    >>> shown_in("kn", {"speed": "mph"}), shown_in("L/h", {"fuel": "gal"}), shown_in("V", {"fuel": "gal"})
    ('mph', 'gal/h', 'V')
    """
    chosen = own.get(_GROUP_OF.get(unit, ""), "")
    return f"{chosen}/h" if chosen and unit == "L/h" else chosen or unit


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
