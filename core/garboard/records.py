"""What the shop knows of a vessel and a job: frozen records, checked as they are made.

An amount's field names its quantity in the attribute's metadata; the converter refuses units of another
quantity. Two ranges stand beside it, in the unit given. What lies outside the hard one cannot be on a boat of this
trade and is refused where it is entered. What lies outside the plausible one is asked about. Both are common practice,
no source; a low end of zero or just above is a physical bound: no length, weight or load is below nothing. What a
person is asked stands there too, where it is more than the attribute's name: a title, a help, values to pick from.
`more` keeps keys a newer version or another program wrote, so that nothing is lost.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any

import attrs

from garboard.record_types import frozen
from garboard.units import UNITS_OF, Amount, range_in_words

__all__ = [
    "ENGINE_POSITIONS",
    "EQUIPMENT",
    "HOLES",
    "HOW_HIGH",
    "LEAST_AT_FULL",
    "NETWORK_SOURCES",
    "NEW_BOAT",
    "RECORD_OF",
    "SIGN_AT_HAND_OVER",
    "Battery",
    "Circuit",
    "Engine",
    "ExpectedOf",
    "Forecast",
    "HeadingSensor",
    "Job",
    "JsonValue",
    "Measurement",
    "NamedPropeller",
    "NetworkBus",
    "NetworkDevice",
    "Note",
    "OwnPiece",
    "Propeller",
    "SignOff",
    "StepState",
    "Tank",
    "Vessel",
    "fact_of",
    "is_equipment",
    "is_own_kind",
    "named_by",
    "number_of",
    "outside_usual",
    "unit_of",
    "unusual_in",
    "unusual_of",
]

NEW_BOAT = "commissioning"
"""The kind of a job on a newly rigged boat, unless another is said."""

NETWORK_SOURCES = "network_sources"
"""A further key of a vessel: which instrument of its network is believed, by quantity and piece."""

JsonValue = None | bool | int | str | list["JsonValue"] | dict[str, "JsonValue"]

ENGINE_POSITIONS: Mapping[int, tuple[str, ...]] = {
    1: ("centre",),
    2: ("port", "starboard"),
    3: ("port", "centre", "starboard"),
    4: ("port outer", "port inner", "starboard inner", "starboard outer"),
}
"""Names of the engines by how many there are, from port to starboard."""


LEAST_AT_FULL = 0.5
"""No engine runs at full throttle below this share of the low end of its window [-]; common practice, no source."""
HOW_HIGH = "Bolt hole, counted from the top; or how far the plate over the propeller is above the bottom of the hull."
HOLES = ("hole 1", "hole 2", "hole 3", "hole 4", "hole 5")
"""How high an engine is mounted, as people say it."""

_Range = tuple[float, float]
"""Low and high, both allowed."""


def _amount(
    quantity: str,
    plausible: _Range | None = None,
    unit: str = "",
    *,
    hard: _Range | None = None,
    **asked: str | tuple[str, ...],
) -> Any:
    """unit  : the unit of the ranges, and the one to offer first; where there is none, the quantity's first
    hard  : outside it nothing is: it is refused where it is entered
    asked : title, help, offers, unless and heard, as in `fields.Field`
    """
    ranges = {name: ends for name, ends in (("plausible", plausible), ("hard", hard)) if ends}
    unit_of = {"unit": unit} if unit else {}
    return attrs.field(default=None, metadata={"quantity": quantity, **ranges, **unit_of, **asked})


def _count(plausible: _Range, hard: _Range, **asked: str) -> Any:
    return attrs.field(default=None, metadata={"plausible": plausible, "hard": hard, **asked})


def _text(**asked: str | tuple[str, ...]) -> Any:
    return attrs.field(default="", metadata=asked)


def _one_of(*allowed: str, default: str | None = "", **asked: str | tuple[str, ...]) -> Any:
    return attrs.field(
        default=attrs.NOTHING if default is None else default,
        validator=attrs.validators.in_((*allowed, default)),
        metadata={"choices": allowed, **asked},
    )


def _more() -> Any:
    return attrs.field(factory=dict, metadata={"plain": True}, hash=False)  # a finding that holds one can be in a set


_GAUGES = ("18", "16", "14", "12", "10", "8", "6", "4", "2", "1", "1/0", "2/0", "3/0", "4/0")
_AREAS = tuple(
    f"{area} mm2" for area in ("0.75", "1", "1.5", "2.5", "4", "6", "10", "16", "25", "35", "50", "70", "95", "120")
)
_INSULATION = tuple(f"{rated} degC" for rated in (60, 70, 75, 80, 90, 105, 125, 200))
"""Sizes and ratings printed on boat cable: those of the tables that judge it, without what is rarely met."""


@frozen(kw_only=True)
class Propeller:
    """A propeller. Diameter and pitch as stamped on it; a measured pitch stands before the stamp."""

    diameter: Amount | None = _amount("length", (6, 20), "in", hard=(1, 200))
    pitch: Amount | None = _amount(
        "length",
        (5, 40),
        "in",
        hard=(0, 200),
        help="As stamped on it. For another propeller, see the list of those tried: runs stay with their own.",
    )
    pitch_measured: Amount | None = _amount(
        "length", (5, 40), "in", hard=(0, 200), title="Pitch as measured", help="On a pitch gauge, mean of all blades."
    )
    blades: int | None = _count((3, 6), hard=(2, 12))
    handing: str = _one_of("right", "left")
    material: str = _text(offers=("aluminium", "stainless steel", "composite"))
    cup: str = _text(offers=("none", "light", "heavy"))
    maker_text: str = _text(title="Maker's text", help="Whatever else is stamped or printed on it.")
    stock_number: str = _text(title="Shop's stock number")
    more: Mapping[str, JsonValue] = _more()

    @property
    def working_pitch(self) -> Amount | None:
        """The pitch to work with: as measured, else as stamped."""
        return self.pitch if self.pitch_measured is None else self.pitch_measured


@frozen(kw_only=True)
class NamedPropeller(Propeller):
    """A propeller that is tried on the boat; its name tells it from the others ("17 steel")."""

    name: str


@frozen(kw_only=True)
class Engine:
    """One outboard.

    The gear ratio is engine turns for each turn of the propeller. The full-throttle window is the maker's allowed
    engine speed at full throttle; the charging current what its alternator gives the batteries at cruising speed.

    propeller       : the one it came with
    fitted          : name of the one of `Vessel.propellers` now on it; empty for the one it came with
    mounting_height : as mounted now, in words: a bolt hole, or the plate over the propeller above the hull's bottom
    """

    position: str
    maker: str = ""
    model: str = ""
    serial_number: str = ""
    rated_power: Amount | None = _amount("power", (2, 700), hard=(0.1, 5_000))
    rated_speed: Amount | None = _amount("engine speed", (3_500, 7_500), hard=(1_000, 12_000))
    full_throttle_low: Amount | None = _amount("engine speed", (3_500, 7_000), hard=(1_000, 12_000))
    full_throttle_high: Amount | None = _amount("engine speed", (4_000, 7_500), hard=(1_000, 12_000))
    limiter_speed: Amount | None = _amount("engine speed", (4_000, 8_000), hard=(1_000, 12_000))
    gear_ratio: Amount | None = _amount("number", (1.2, 3.5), hard=(0.1, 100))
    hours: Amount | None = _amount("time", (0, 10_000), "h", hard=(0, 200_000), heard="engine_hours")
    charging_current: Amount | None = _amount("current", (2, 300), hard=(0, 2_000))
    network_instance: int | None = _count((0, 15), hard=(0, 255), heard="engine_speed")
    propeller: Propeller | None = None
    fitted: str = _text(title="Propeller now fitted", help="Its name in the list of propellers.")
    mounting_height: str = _text(help=HOW_HIGH, offers=HOLES)
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Tank:
    """A fuel tank."""

    name: str
    capacity: Amount | None = _amount("volume", (1, 1_500), hard=(0.1, 100_000))
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Battery:
    """A battery or bank, by what it serves ("house", "start port")."""

    name: str
    chemistry: str = _one_of("flooded", "AGM", "gel", "LiFePO4")
    nominal_voltage: Amount | None = _amount("voltage", (12, 48), hard=(1, 1_000))
    capacity: Amount | None = _amount("charge", (7, 2_000), hard=(1, 100_000))
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Circuit:
    """One circuit from its source of power to its load.

    Conductor size is either American wire gauge, as text ("16", "2/0"), or an area. The length is one way. `label` is
    what its label said when it was printed; see `labels`.
    The protection's distance is measured along the conductor from its connection to the source. `use` is empty
    for an ordinary load; a panel feed carries other circuits, so its current is not a load of its own.
    """

    name: str
    use: str = _one_of("panel feed", "cranking motor", "navigation or communication electronics")
    fed_from: str = _one_of("battery terminal", "panel")
    conductor_awg: str = _text(
        title="Conductor size, AWG", help="As printed on it. Skip it where a size in mm2 is printed.", offers=_GAUGES
    )
    conductor_area: Amount | None = _amount(
        "area",
        (0.5, 150),
        "mm2",
        hard=(0.05, 1_000),
        title="Conductor size, mm2",
        help="As printed on it.",
        offers=_AREAS,
        unless="conductor_awg",
    )
    insulation_temperature: Amount | None = _amount(
        "temperature",
        (60, 200),
        hard=(40, 300),
        title="Insulation rated for",
        help="As printed on it.",
        offers=_INSULATION,
    )
    in_engine_space: bool | None = None
    in_sheath: bool | None = None
    bundled_conductors: int | None = _count((1, 50), hard=(1, 1_000))
    length: Amount | None = _amount(
        "length",
        (0.5, 150),
        hard=(0.01, 2_000),
        title="Cable run, source to load",
        help="Along the cable from its source to the load, once. Do not add the way back.",
    )
    nominal_voltage: Amount | None = _amount("voltage", (12, 48), hard=(1, 1_000))
    design_current: Amount | None = _amount("current", (0.01, 600), hard=(0.0001, 10_000))
    protection: str = _one_of("fuse", "breaker", "none")
    protection_rating: Amount | None = _amount("current", (0.5, 600), hard=(0.01, 10_000))
    protection_distance: Amount | None = _amount(
        "length",
        (0, 1_000),
        "in",
        hard=(0, 10_000),
        title="Cable from the source to the fuse or breaker",
        help="Along the cable, from its connection to the source.",
    )
    runs_with_others: bool | None = None
    critical: bool | None = None
    battery: str = ""
    label: str = _text(
        title="What its label says", help="Filled when it is printed. Skip it where labels are made by hand."
    )
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class HeadingSensor:
    """A compass or satellite heading sensor.

    `source` is the name its samples carry in a recording, or several with commas between: a gateway may send under
    another name than the network itself.
    """

    name: str
    source: str = ""
    location: str = ""
    more: Mapping[str, JsonValue] = _more()

    @property
    def sources(self) -> tuple[str, ...]:
        """The names its samples carry.

        >>> HeadingSensor(name="compass", source="27, HE").sources
        ('27', 'HE')
        """
        return tuple(filter(None, (name.strip() for name in self.source.split(","))))


@frozen(kw_only=True)
class NetworkDevice:
    """One device on an instrument network; load in load equivalency numbers, one of which is 50 mA.

    `current` stands in where the maker gives no number. `leg` names the side of the power tee the device is on
    ("forward"); devices of one leg share its cable.
    """

    name: str
    load_equivalency: int | None = _count((0, 60), hard=(0, 252))
    current: Amount | None = _amount("current", (0, 10), hard=(0, 1_000))
    drop_length: Amount | None = _amount("length", (0, 60), hard=(0, 5_000))
    distance_from_power: Amount | None = _amount("length", (0, 400), hard=(0, 5_000))
    leg: str = ""
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class NetworkBus:
    """One instrument network's backbone and what hangs on it."""

    name: str
    backbone_length: Amount | None = _amount("length", (0.5, 700), hard=(0, 5_000))
    cable: str = _one_of(
        "light",
        "mid",
        "heavy",
        said=("micro (light)", "mid", "mini (heavy)"),
        help="Light cable has micro connectors, heavy cable has mini ones.",  # from memory
    )
    cable_resistance_per_metre: Amount | None = _amount("resistance", (0.001, 0.2), hard=(0, 100))
    supply_voltage: Amount | None = _amount("voltage", (9, 16), hard=(0, 1_000))
    protection_rating: Amount | None = _amount("current", (1, 10), hard=(0.01, 10_000))
    terminators: int | None = _count((0, 6), hard=(0, 100))
    devices: tuple[NetworkDevice, ...] = ()
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class OwnPiece:
    """A piece of equipment of a kind that a plugin declares; see `steps.EquipmentKind`.

    more : its facts by the names of the kind's fields, each as entered: an amount is text with its unit
    """

    name: str
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Vessel:
    """The boat. Everything merges by its hull number.

    more : besides what nothing here knows, the equipment of kinds that plugins declare: a list of objects under the
           kind's key ("our_yard.trailers"), so that a program without the plugin keeps it
    """

    hull_number: str
    name: str = ""
    maker: str = ""
    model: str = ""
    hull_form: str = _one_of("planing", "flat bottom hard chine", "displacement", "multihull")
    length: Amount | None = _amount("length", (7, 70), hard=(1, 500))
    beam: Amount | None = _amount("length", (3, 20), hard=(1, 100))
    deadrise: Amount | None = _amount("angle", (0, 30), hard=(0, 90))
    transom_width: Amount | None = _amount("length", (24, 180), "in", hard=(0, 1_200))
    transom_height: Amount | None = _amount("length", (12, 40), "in", hard=(1, 200))
    steering: str = _one_of("remote", "tiller")
    plate_power: Amount | None = _amount("power", (2, 3_000), hard=(0, 20_000))
    displacement_as_run: Amount | None = _amount("weight", (200, 60_000), hard=(0, 10_000_000))
    displacement_full_load: Amount | None = _amount(
        "weight",
        (200, 60_000),
        hard=(0, 10_000_000),
        title="Displacement fully laden",
        help="With all the people, fuel and gear it is used with. Then the propeller is foreseen for that load too.",
    )
    engines: tuple[Engine, ...] = ()
    propellers: tuple[NamedPropeller, ...] = ()
    tanks: tuple[Tank, ...] = ()
    batteries: tuple[Battery, ...] = ()
    circuits: tuple[Circuit, ...] = ()
    heading_sensors: tuple[HeadingSensor, ...] = ()
    networks: tuple[NetworkBus, ...] = ()
    more: Mapping[str, JsonValue] = _more()

    @cached_property
    def pieces(self) -> Mapping[str, Mapping[str, Any]]:
        """Its equipment by kind and name; in order, and of one name the first.

        Kinds of a plugin's own stand behind those of EQUIPMENT where one is aboard. Ask for one with `of_kind`.

        It is asked for each of a job's many values: to look through a list each time is work that grows as a square.

        >>> list(Vessel(hull_number="QQZ01234A626", tanks=(Tank(name="main"),)).pieces["tanks"])
        ['main']
        """
        found: dict[str, dict[str, Any]] = {kind: {} for kind in EQUIPMENT}
        for kind, name in EQUIPMENT.items():
            for piece in getattr(self, kind):
                found[kind].setdefault(getattr(piece, name), piece)
        for kind, several in self.more.items():
            if is_own_kind(kind) and isinstance(several, list):
                found[kind] = _own_pieces(several)
        return found

    def of_kind(self, kind: str) -> Mapping[str, Any]:
        """Its pieces of one kind, a plugin's own included, by name; none where none is aboard.

        >>> boat = Vessel(hull_number="QQZ01234A626", more={"our_yard.trailers": [{"name": "road", "tyres": 4}]})
        >>> [*boat.of_kind("our_yard.trailers")], [*boat.of_kind("engines")], [*boat.of_kind("our_yard.reels")]
        (['road'], [], [])
        """
        return self.pieces.get(kind, {})


EQUIPMENT: Mapping[str, str] = {
    "engines": "position",
    "propellers": "name",
    "tanks": "name",
    "batteries": "name",
    "circuits": "name",
    "heading_sensors": "name",
    "networks": "name",
}
"""The vessel's lists of equipment, each with the attribute that tells one piece from another."""


def is_own_kind(kind: str) -> bool:
    """Whether a vessel's key is of a kind of equipment that a plugin declares: it reads "<plugin>.<kind>".

    The key says it by itself: a program without the plugin merges and keeps such equipment piece by piece, too.

    >>> is_own_kind("our_yard.trailers"), is_own_kind("engines"), is_own_kind("network_sources")
    (True, False, False)
    """
    return "." in kind


def is_equipment(kind: str) -> bool:
    """Whether a vessel's key is of a list of equipment, the program's or a plugin's."""
    return kind in EQUIPMENT or is_own_kind(kind)


def named_by(kind: str) -> str:
    """What tells one piece of a kind from another."""
    return EQUIPMENT.get(kind, "name")


def fact_of(piece: object, name: str) -> JsonValue:
    """A fact of a piece of any kind as it is entered, amounts as text; None where it has none.

    >>> fact_of(Tank(name="main", capacity=Amount("60", "gal")), "capacity"), fact_of(OwnPiece(name="road"), "tyres")
    ('60 gal', None)
    """
    value = piece.more.get(name) if isinstance(piece, OwnPiece) else getattr(piece, name, None)
    return str(value) if isinstance(value, Amount) else value


def _own_pieces(plain: list[JsonValue]) -> dict[str, OwnPiece]:
    """Pieces of a plugin's own kind by name. What has no name is no piece: it is kept and not used."""
    found: dict[str, OwnPiece] = {}
    for one in plain:
        if isinstance(one, dict) and isinstance(name := one.get("name"), str) and name:
            facts = {key: value for key, value in one.items() if key != "name" and value is not None}
            found.setdefault(name, OwnPiece(name=name, more=facts))
    return found


def unusual_of(engine: Engine) -> Iterator[str]:
    """A question for every number of an engine and its propeller that lies outside its plausible range.

    >>> list(unusual_of(Engine(position="port", gear_ratio=Amount("0.48"))))
    ['port engine, gear ratio: 0.48 is outside the usual 1.2 to 3.5. Is it right?']
    """
    yield from (f"{engine.position} engine, {asked}" for _, asked in unusual_in(engine))
    if engine.propeller is not None:
        yield from (f"{engine.position} propeller, {asked}" for _, asked in unusual_in(engine.propeller))


def unusual_in(record: attrs.AttrsInstance) -> Iterator[tuple[str, str]]:
    """Each number of a record itself that lies outside its plausible range: its attribute, and a question."""
    for field in attrs.fields(type(record)):
        if "plausible" in field.metadata and (said := outside_usual(record, field.name)):
            yield field.name, f"{said}. Is it right?"


def outside_usual(record: attrs.AttrsInstance, name: str) -> str:
    """What is unusual of one number of a record; "" where nothing is. No other attribute of it is read.

    >>> outside_usual(Engine(position="port", gear_ratio=Amount("0.48")), "gear_ratio")
    'gear ratio: 0.48 is outside the usual 1.2 to 3.5'
    """
    value, metadata = getattr(record, name), getattr(attrs.fields(type(record)), name).metadata
    (low, high), unit = metadata["plausible"], unit_of(metadata)
    if value is None or low <= number_of(value, unit) <= high:
        return ""
    usual = range_in_words(low, high, unit, value if isinstance(value, Amount) else None)
    return f"{name.replace('_', ' ')}: {value} is outside the usual {usual}"


def unit_of(metadata: Mapping[str, Any]) -> str:
    """The unit of an attribute's ranges; "" for a count."""
    return str(metadata.get("unit") or (UNITS_OF[metadata["quantity"]][0] if "quantity" in metadata else ""))


def number_of(value: Amount | int, unit: str) -> float:
    """A fact's number in a unit; a count has none."""
    return value if isinstance(value, int) else value.to(unit)


@frozen(kw_only=True)
class Job:
    """One piece of work on one vessel."""

    id: str
    kind: str = NEW_BOAT
    opened: str = ""
    place: str = ""
    shop: str = ""
    technicians: tuple[str, ...] = ()
    owner: str = ""
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Measurement:
    """A value read, seen or chosen, with where it belongs and who brought it.

    step, field : the step's key and the field's name
    row         : which row of the step's table; empty outside tables
    of          : the piece of equipment it was read on ("port", "house"); empty for the whole vessel
    value       : an amount as text with its unit ("38.2 kn"), a choice, yes/no, text, or a file's reference
    at          : wall time with UTC offset, for people to read
    """

    step: str
    field: str
    value: JsonValue = attrs.field(metadata={"plain": True})
    row: str = ""
    of: str = ""
    at: str = ""
    by: str = ""
    instrument: str = ""
    id: str = ""
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class StepState:
    """How far a step is: to do, under way, done, or look again."""

    step: str
    state: str = _one_of("to do", "under way", "done", "look again", "not fitted", default=None)
    by: str = ""
    at: str = ""
    reason: str = ""
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Note:
    """A remark; on the punch list when it has to be put right before hand over."""

    text: str
    by: str = ""
    at: str = ""
    punch_list: bool = False
    settled: bool = False
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class ExpectedOf:
    """What is expected of one engine: from low to high in 95 of 100, and the chance that it lands in its window [%]."""

    of: str
    low: Amount | None = _amount("engine speed")
    high: Amount | None = _amount("engine speed")
    chance: int | None = None
    more: Mapping[str, JsonValue] = _more()


@frozen(kw_only=True)
class Forecast:
    """What was foreseen of a propeller before it was run. The next run with it shows whether that held.

    propeller : what it is called
    diameter_within : how far its diameter may be off the one supposed; None where that is stamped on it
    blades, cup : as the forecast supposed them; None and "" where it did not
    made_by   : plugin and version that foresaw it

    Persons, fuel level and gear are the load it holds for; nothing where nobody entered it.
    """

    propeller: str
    pitch: Amount | None = _amount("length", unit="in")
    diameter: Amount | None = _amount("length", unit="in")
    diameter_within: Amount | None = _amount("length", unit="in")
    blades: int | None = None
    cup: str = ""
    expected: tuple[ExpectedOf, ...] = ()
    made_by: str = ""
    persons: int | None = None
    fuel_level: Amount | None = _amount("share", unit="%")
    gear: Amount | None = _amount("weight", unit="lb")
    by: str = ""
    at: str = ""
    more: Mapping[str, JsonValue] = _more()


SIGN_AT_HAND_OVER = ("technician", "owner")
"""Whose signatures hand a boat over. A book without them is a draft: it is issued as one, and is no revision."""


@frozen(kw_only=True)
class SignOff:
    """A signature: who, in which role, and when.

    stale       : whether something was changed after it
    not_covered : what was: names as `registers.name_of` gives them
    settings    : what the job was signed under, by key, where it was not the default: value, by, at, reason
    """

    role: str = _one_of("technician", "manager", "owner", default=None)
    name: str
    at: str = ""
    stale: bool = False
    not_covered: tuple[str, ...] = ()
    settings: Mapping[str, JsonValue] = attrs.field(factory=dict, metadata={"plain": dict})
    more: Mapping[str, JsonValue] = _more()


RECORD_OF: Mapping[str, type[Any]] = {
    "job": Job,
    "vessel": Vessel,
    "engines": Engine,
    "propellers": NamedPropeller,
    "tanks": Tank,
    "batteries": Battery,
    "circuits": Circuit,
    "heading_sensors": HeadingSensor,
    "networks": NetworkBus,
    "propeller": Propeller,
    "devices": NetworkDevice,
}
"""The records of facts: of the job, the vessel, a piece of each list, and what a piece holds within."""
