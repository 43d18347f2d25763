"""What a boat's network says of itself: who sends, who claims whose address, what is damaged, what nobody sends.

Only what was heard is told. A device names itself when it is switched on, and when another device asks; Garboard asks
nobody, so a network that was on before is told by addresses and messages.

[1] ISO address claim (60928): the name's 64 bits, from the open PGN database of the canboat project.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import attrs

from garboard.faults import in_number
from garboard.findings import rounded
from garboard.record_types import frozen
from garboard.recordings.bus import NO_ADDRESS
from garboard.recordings.nmea2000 import MESSAGES
from garboard.recordings.notes import OF_OTHER_SHIPS, sends_only_ships
from garboard.samples import SIMULATED, StreamKey
from garboard.series import two_in_turn

if TYPE_CHECKING:
    from garboard.recordings.boat_network import Sender

LISTENED_LONG_ENOUGH = 10.0
"""Before that nothing is called missing [s]: what is slow is sent every few seconds. Common practice, no source."""


@frozen(kw_only=True)
class HeardDevice:
    """One address on the network.

    says  : what it says of itself, such as its model; empty where that was not heard
    names : by which it claimed its address, in words
    sends : the messages it sends and how many of each, the most frequent first
    """

    source: str
    says: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    sends: tuple[tuple[str, int], ...] = ()

    @property
    def title(self) -> str:
        return f"{self.source}: {', '.join(self.says)}" if self.says else self.source


@frozen(kw_only=True)
class Missing:
    """What a commissioning needs and nobody sends, with what usually brings it."""

    what: str
    brings: str


@frozen(kw_only=True)
class BusAudit:
    """What was heard, and what was not.

    clashes      : addresses that two devices claim, each with both names
    one_engine   : engines by number whose speed several instruments of one gateway send, with their addresses
    mixed        : engines by number, and the address whose speed of them jumps between two values [rev/min]
    lines        : heard, of which so many were damaged
    broken       : messages of several frames with a frame missing
    own_ship     : what the boat's own AIS unit says of it: "mmsi", "name", "call_sign"
    only_ships   : whether nothing but what other ships send was heard; then nothing is called missing
    is_too_short : whether more must be heard before anything is called missing
    """

    devices: tuple[HeardDevice, ...] = ()
    clashes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    one_engine: tuple[tuple[str, tuple[str, ...]], ...] = ()
    mixed: tuple[tuple[str, str, float, float], ...] = ()
    without_address: tuple[str, ...] = ()
    lines: int = 0
    damaged: int = 0
    broken: int = 0
    missing: tuple[Missing, ...] = ()
    own_ship: Mapping[str, str] = attrs.field(factory=dict)
    only_ships: bool = False
    is_too_short: bool = False

    @property
    def unnamed(self) -> tuple[HeardDevice, ...]:
        """Addresses of NMEA 2000 that did not say what they are; a talker of NMEA 0183 has no way to."""
        return tuple(one for one in self.devices if not one.says and one.source.partition(" ")[0].isdecimal())

    @property
    def share_damaged(self) -> float:
        return self.damaged / self.lines if self.lines else 0.0


FUEL_LEVEL = "fuel level"
"""Of the levels of tanks that of fuel alone: fresh water is none."""
_OF_EACH_ENGINE: Sequence[tuple[str, str]] = (("engine_speed", "engine speed"), ("fuel_flow", "fuel flow"))
_ADAPTER = "its adapter to the network, with the ignition on and a number of its own"

# What a commissioning needs: quantities of which one is enough, and what usually brings them (common practice, no
# source; no maker's manual was read for it)
_NEEDED: Sequence[tuple[tuple[str, ...], str, str]] = (
    (
        ("engine_speed",),
        "engine speed",
        "The engine's own adapter to the network, one for each engine, with the ignition on",
    ),
    (("fuel_flow",), "fuel flow", "The engine's adapter, or a flow sensor in each engine's fuel line"),
    (("engine_trim",), "trim", "The engine's adapter, where the engine has a trim sensor"),
    (("engine_hours",), "engine hours", "The engine's adapter"),
    (
        ("speed_over_ground",),
        "speed over ground",
        "A satellite receiver that sees the sky; a plotter may have to be told to send",
    ),
    (("course_over_ground",), "course over ground", "A satellite receiver, once the boat moves"),
    (("heading",), "heading", "A compass or satellite heading sensor"),
    (("rate_of_turn",), "rate of turn", "A heading sensor with a rate sensor in it"),
    (("battery_voltage", "alternator_voltage"), "battery voltage", "A battery monitor, or the engine's adapter"),
    ((FUEL_LEVEL,), "fuel level", "An adapter at the tank's sender, or the engine's adapter"),
    (("depth",), "depth", "A transducer, with its power on and set to send to the network"),
    (("air_temperature",), "air temperature", "A weather station; else read a thermometer"),
    (("air_pressure",), "air pressure", "A weather station; else read a barometer"),
)


def audit(senders: Iterable[Sender], seconds: float = LISTENED_LONG_ENOUGH, engines: int = 0) -> BusAudit:
    """What the network says of itself.

    senders : of `BoatNetwork.senders`
    seconds : for how long something was heard, `BoatNetwork.listened`
    engines : how many the boat has; 0 where that is not known
    """
    senders = tuple(senders)
    notes = [sender.notes for sender in senders]
    too_short, only_ships = seconds < LISTENED_LONG_ENOUGH, sends_only_ships(notes)
    return BusAudit(
        devices=tuple(device for sender in senders for device in _devices(sender)),
        clashes=tuple(clash for one in notes for clash in _clashes(one.claims)),
        one_engine=tuple(one for sender in senders for one in _of_one_engine(sender)),
        mixed=tuple(one for sender in senders for one in _mixed(sender)),
        without_address=tuple(name_in_words(name) for one in notes for name in one.claims.get(NO_ADDRESS, ())),
        lines=sum(one.lines for one in notes),
        damaged=sum(one.damaged_count for one in notes),
        broken=sum(one.broken for one in notes),
        missing=() if too_short or only_ships else tuple(_missing(senders, engines)),
        own_ship={what: text for one in notes for what, text in one.own_ship.items()},
        only_ships=only_ships,
        is_too_short=too_short,
    )


def _missing(senders: Sequence[Sender], engines: int) -> Iterable[Missing]:
    keys = {key for sender in senders for key in sender.latest}
    heard = {FUEL_LEVEL if _is_fuel_level(key) else key.quantity for key in keys}
    for quantities, what, brings in _NEEDED:
        if not heard & set(quantities):
            yield Missing(what=what, brings=brings)
    for quantity, what in _OF_EACH_ENGINE:
        sent = len({key.instance for key in keys if key.quantity == quantity})
        if 0 < sent < engines:
            yield Missing(what=f"{what} of {engines - sent} of {engines} engines", brings=_ADAPTER)


def _is_fuel_level(key: StreamKey) -> bool:
    return key.quantity == "tank_level" and key.instance.startswith("fuel")


SENT_TOGETHER = 5.0
"""Two that send one thing are heard within so long of each other [s]: an address that was given up is silent."""


def _of_one_engine(sender: Sender) -> Iterable[tuple[str, tuple[str, ...]]]:
    heard: dict[str, dict[str, float]] = {}
    for key, latest in sender.latest.items():
        if key.quantity == "engine_speed":
            heard.setdefault(key.instance or "0", {})[key.source] = latest.at
    for number, sources in sorted(heard.items()):
        newest = max(sources.values())
        together = sorted((one for one, at in sources.items() if newest - at <= SENT_TOGETHER), key=_in_order)
        if len(together) > 1:
            yield number, tuple(together)


def _mixed(sender: Sender) -> Iterable[tuple[str, str, float, float]]:
    for key, recent in sorted(sender.recent.items()):
        two = two_in_turn([speed for _, speed in recent], TWO_ENGINES) if key.quantity == "engine_speed" else None
        if two is not None:
            yield key.instance or "0", key.source, *two


TWO_ENGINES = 100.0
"""Speeds that jump by so much are of two engines; gauges that show whole 50s flicker by less [rev/min]."""


def _devices(sender: Sender) -> Iterable[HeardDevice]:
    notes = sender.notes
    sent = _sent(sender)
    addresses = dict.fromkeys((*sorted(sent, key=_in_order), *sorted(notes.claims)))
    for source in addresses:
        if source == NO_ADDRESS:
            continue
        counts = Counter(sent.get(source, {}))
        yield HeardDevice(
            source=source if sender.is_first else f"{source} {sender.address}".strip(),
            says=notes.devices.get(source, ()),
            names=tuple(map(name_in_words, notes.claims.get(source, ()))),
            sends=tuple((kind_in_words(kind), count) for kind, count in counts.most_common()),
        )


def _sent(sender: Sender) -> Mapping[str, Mapping[str, int]]:
    """How many of which kind each address sent; of sentences, whose notes count no talkers, how many values."""
    if sender.notes.heard:
        return sender.notes.heard
    found: dict[str, dict[str, int]] = {}
    for key, latest in sender.latest.items():
        source = key.source.removeprefix(SIMULATED).removesuffix(sender.address).strip()
        counts = found.setdefault(source, {})
        counts[key.quantity] = counts.get(key.quantity, 0) + latest.count
    return found


def _in_order(source: str) -> tuple[int, str]:
    return (int(source), "") if source.isdecimal() and len(source) < 4 else (1000, source)


def _clashes(claims: Mapping[str, Sequence[str]]) -> Iterable[tuple[str, tuple[str, ...]]]:
    """Addresses with two devices. One that lost an address and claimed another since is no clash: so it should be."""
    claimed = Counter(name for names in claims.values() for name in names)
    for source, names in sorted(claims.items()):
        staying = [name for name in names if claimed[name] == 1]
        if source != NO_ADDRESS and len(staying) > 1:
            yield source, tuple(map(name_in_words, staying))


_NAMES: Mapping[str, str] = {
    **{str(pgn): message.name for pgn, message in MESSAGES.items()},
    "60928": "address claim",
    "126996": "product information",
    "126998": "installation",
    "127237": "pilot order",
    "127493": "gear",
    "127498": "engine, rated",
    "127505": "tank level",
    "127506": "battery, charge",
    "130311": "temperature, humidity, pressure",
    "130312": "temperature",
    "130313": "humidity",
    "130314": "pressure",
    "130315": "set pressure",
    "130316": "temperature, fine",
    **dict.fromkeys(sorted(OF_OTHER_SHIPS - {"another vessel"}), "AIS of other ships"),
}
"""What messages tell [1], by their number."""


def kind_in_words(kind: str) -> str:
    """A message with its name, where the program knows it.

    >>> kind_in_words("127488"), kind_in_words("129038"), kind_in_words("65280")
    ('127488 engine, rapid', '129038 AIS of other ships', '65280')
    """
    return f"{kind} {_NAMES[kind]}" if kind in _NAMES else kind.replace("_", " ")


def name_in_words(name: str) -> str:
    """The name by which a device claims its address [1], in words.

    name : 16 hexadecimal digits, as `ReadingNotes.claims` has them

    >>> name_in_words("c064a000ffe00066")
    'number 102, maker 2047, class 50, function 160'
    """
    bits = int(name, 16)
    number, maker = bits & 0x1FFFFF, bits >> 21 & 0x7FF
    function, kind = bits >> 40 & 0xFF, bits >> 49 & 0x7F
    return f"number {number}, maker {maker}, class {kind}, function {function}"


def in_words(found: BusAudit, name: str = "") -> list[tuple[str, str]]:
    """What a person should do or know: a code, and a sentence. What asks for something stands first.

    name  : of the boat, as it is entered; "" where none is
    codes : other name, clash, one engine, no address, other ships, damaged, broken, missing, unnamed, listen on,
            in order
    """
    said = []
    told = found.own_ship.get("name", "")
    if is_another_name(told, name):
        said.append(
            ("other name", f"The boat's own AIS unit calls it {told}; entered is {name}. Correct one of the two.")
        )
    said += [("clash", _CLASH.format(source=source, names=" and ".join(names))) for source, names in found.clashes]
    for number, sources in found.one_engine:
        said.append(("one engine", _ONE_ENGINE.format(number=number, sources=" and ".join(sources))))
    for number, source, low, high in found.mixed:
        said.append(("one engine", _MIXED.format(number=number, source=source, low=rounded(low), high=rounded(high))))
    said += [("no address", f"A device found no free address: {name}.") for name in found.without_address]
    if found.only_ships:
        said.append(("other ships", _OTHER_SHIPS))
    if found.share_damaged > MOST_DAMAGED:
        said.append(
            (
                "damaged",
                _DAMAGED.format(share=rounded(100 * found.share_damaged, 1), lines=in_number(found.lines, "line")),
            )
        )
    if found.broken:
        said.append(("broken", _BROKEN.format(broken=in_number(found.broken, "message"))))
    said += [("missing", _MISSING.format(what=one.what, brings=_begun(one.brings))) for one in found.missing]
    if found.unnamed:
        count = len(found.unnamed)
        said.append(("unnamed", _UNNAMED.format(who="1 address does" if count == 1 else f"{count} addresses do")))
    if found.is_too_short and not found.only_ships:
        said.append(("listen on", f"Listen for {rounded(LISTENED_LONG_ENOUGH)} s or more to learn what nobody sends."))
    return said or [("in order", "All that a commissioning needs is sent.")]


_CLASH = (
    "Two devices claim the address {source}: {names}. Give one of them another instance, "
    "or switch the network off and on."
)
_ONE_ENGINE = (
    "{sources} each send the speed of engine {number}. If they are two engines, give each a number of its own on the "
    "network; if it is one, choose which to believe."
)
_MIXED = (
    "The speed of engine {number} from {source} jumps between {low} and {high} rev/min: two engines are sent "
    "as one. Give each a number of its own."
)
_OTHER_SHIPS = "Only what AIS hears of other ships is sent. Set the gateway to send the boat's own instruments too."
_DAMAGED = (
    "Damaged: {share} % of {lines}. See to the wifi, to the cable of the gateway, and that one program alone reads it."
)
_BROKEN = (
    "{broken} of several frames came with a frame missing. See to the terminators, and to a gateway that cannot follow."
)
_MISSING = "Nobody sends {what}. It usually comes from: {brings}."
_UNNAMED = "{who} not say what they are. Switch the network off and on while this listens: then each names itself."
MOST_DAMAGED = 0.01
"""More damaged lines than this ask for a look: wifi loses some. Common practice, no source."""


_LONGEST_NAME = 20
"""Of a boat's name in AIS, and it knows capitals only."""


def is_another_name(told: str, entered: str) -> bool:
    """Whether an AIS unit gives a boat another name than the one that is entered; not where one of the two is empty.

    >>> is_another_name("SECOND WIND", "Long Reach"), is_another_name("LONGREACH", "Long Reach")
    (True, False)
    """
    return bool(told and entered) and _plain_name(told) != _plain_name(entered)


def _plain_name(name: str) -> str:
    """
    >>> _plain_name("Long Reach") == _plain_name("LONGREACH ")
    True
    """
    return "".join(char for char in name.upper()[:_LONGEST_NAME] if char.isascii() and char.isalnum())


def _begun(text: str) -> str:
    return text[:1].lower() + text[1:]
