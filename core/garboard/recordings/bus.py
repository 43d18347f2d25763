"""What the packets of an NMEA 2000 network say: frames put together, messages read, devices and claims noted.

Every form that carries NMEA 2000 ends here. Layouts of AIS static data and of address claims: [1] open PGN database of
the canboat project, https://github.com/canboat/canboat.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

import attrs

from garboard.recordings.fast_packets import FastPackets
from garboard.recordings.identity import IDENTITIES
from garboard.recordings.more_messages import MORE, REFERENCES, Found
from garboard.recordings.nmea2000 import (
    FAST_TABLED,
    INSTANCES,
    OF_RECEIVER,
    POSITION,
    READERS,
    UNREAL,
    WITH_FIX,
)
from garboard.recordings.notes import MARK, MARK_MESSAGE, ReadingNotes
from garboard.samples import Sample

ADDRESS_CLAIM = "60928"
NO_ADDRESS = "254"
"""A device that found no address to claim sends from this one [1]."""
NUMBER_AND_MAKER = slice(8, 16)
"""Of a name in hexadecimal digits: no two devices of one maker have the same number [1]."""
MOST_NAMES = 250
"""A network has no more addresses."""
INTRODUCES = frozenset({ADDRESS_CLAIM, *IDENTITIES})
"""What a device sends before it measures anything."""
OWN_TRANSMISSIONS = (2, 3, 4)
"""Of the AIS transceiver information: sent by this unit itself, on either channel or not yet on the air [1]."""


class Packet(NamedTuple):
    """One message of the network, or one frame of it.

    when        : as the line tells it, None when it tells none [s]
    pgn         : parameter group number
    source      : address of the sender, 0 to 255
    destination : address, 255 for everyone
    data        : bytes of the message, or of the frame
    is_whole    : the message is whole, however short; otherwise one that comes in frames is put together
    """

    when: float | None
    pgn: int
    source: int
    destination: int
    data: bytes
    is_whole: bool = False


def of_identifier(identifier: int) -> tuple[int, int, int]:
    """Parameter group number, source and destination in a 29-bit identifier of a CAN frame.

    >>> of_identifier(0x09F1121B)
    (127250, 27, 255)
    >>> of_identifier(0x18EAFF01)
    (59904, 1, 255)
    """
    page, form, specific = identifier >> 24 & 3, identifier >> 16 & 255, identifier >> 8 & 255
    if form < 240:
        return page << 16 | form << 8, identifier & 255, specific
    return page << 16 | form << 8 | specific, identifier & 255, 255


class OwnShip(NamedTuple):
    """Where AIS static data stand in a message: bytes from and to, and where it tells who sent it."""

    sender_at: int
    texts: Mapping[str, slice]


AIS: Mapping[str, OwnShip] = {
    "129794": OwnShip(74, {"call_sign": slice(9, 16), "name": slice(16, 36)}),
    "129809": OwnShip(25, {"name": slice(5, 25)}),
    "129810": OwnShip(33, {"call_sign": slice(13, 20)}),
}
"""AIS static data of class A and B [1]: other ships' are met in the same messages, and are not read."""

FAST = frozenset({*FAST_TABLED, *IDENTITIES, *AIS, *(pgn for pgn, (_, is_fast, _) in MORE.items() if is_fast)})
"""Messages that come in frames when they do not come whole."""
READ = frozenset({*READERS, *MORE, *IDENTITIES, *AIS, ADDRESS_CLAIM})
"""Messages that say something to the program."""


@attrs.define
class BusDecoder:
    """Reads packets of one network, in the order they come.

    notes  : what was met so far
    called : by address, the source of its samples where that is another: a device that another drove from its address
             keeps the name it had, and the one that came is not taken for it
    unreal : receivers whose places, by their own word, are simulated or typed in: so are their courses and speeds
    """

    notes: ReadingNotes
    called: dict[str, str] = attrs.field(factory=dict, init=False)
    unreal: set[str] = attrs.field(factory=set, init=False)
    frames: FastPackets = attrs.field(init=False)
    _claimed: dict[str, str] = attrs.field(factory=dict, init=False)
    _names: dict[str, set[str]] = attrs.field(factory=dict, init=False)
    _measured: dict[str, int] = attrs.field(factory=dict, init=False)
    _driven_off: dict[str, str] = attrs.field(factory=dict, init=False)

    def __attrs_post_init__(self) -> None:
        self.frames = FastPackets(self.notes)

    def take(self, time: float, pgn: str, source: str, data: bytes, line: int, is_whole: bool) -> list[Sample]:
        """The samples of one packet. Raises ValueError for one that cannot be used.

        time : to give to its values [s]
        line : number of its line or packet, for notes of damage
        """
        notes = self.notes
        if pgn not in READ:
            if pgn == MARK_MESSAGE and data.startswith(MARK.encode()):
                notes.is_simulated = True
            notes.met_unknown(pgn)
            notes.met_from(source, pgn)
            return []
        if pgn in FAST and not is_whole:
            joined = self.frames.add(pgn, source, data, line, time)
            if joined is None:
                return []
            data = joined
        read = READERS.get(pgn)
        if read is not None:
            samples = _tabled(time, pgn, self.called.get(source, source), data)
            if pgn == POSITION:
                self._see_method(source, data)
            elif pgn in OF_RECEIVER and source in self.unreal:
                notes.unreal += 1
                samples = []
        elif pgn in MORE:
            samples = _of_more(time, pgn, self.called.get(source, source), data)
        else:
            self._note(pgn, source, data)
            samples = None
        notes.kinds[pgn] = notes.kinds.get(pgn, 0) + 1
        notes.met_from(source, pgn)
        if samples is None:
            return []
        if not samples:
            notes.empty[pgn] = notes.empty.get(pgn, 0) + 1
        return samples

    def is_news(self, source: str, name: str) -> bool:
        """Whether another device, or none, was known at an address."""
        return self._claimed.get(source) != name

    def _see_claim(self, source: str, name: str) -> None:
        """A device claims an address. Where one of another name measured before, the samples are of another source.

        The one before is taken for gone, unless it claims the address again.
        """
        before, self._claimed[source] = self._claimed.get(source), name
        label, names = self.called.get(source, source), self._names.setdefault(source, set())
        sent = self.notes.heard.get(source, {}).items()
        measured = sum(count for kind, count in sent if kind not in INTRODUCES)
        is_back, has_measured = name in names, measured > self._measured.get(source, 0)  # since the claim before
        self._measured[source] = measured
        if len(names) >= MOST_NAMES or len(self._driven_off) >= MOST_NAMES:  # of a network gone mad, or of noise
            names.clear()
            self._driven_off.clear()
        names.add(name)
        if before is not None and before[NUMBER_AND_MAKER] == name[NUMBER_AND_MAKER]:
            self.notes.forget_claim(source, before)  # the same device, with another instance
        elif not has_measured:
            label = self._driven_off.pop(name, label)
        elif before is not None:
            self._driven_off[before] = label
            label = self._driven_off.pop(name, "") or f"{source} ({len(names)})"
            if is_back:
                self.notes.met_claim(source, before)
            else:
                self.notes.forget_claim(source, before)
        self.called[source] = label

    def _see_method(self, source: str, data: bytes) -> None:
        method = data[READERS[POSITION][5] or 0]
        if method in UNREAL:
            self.notes.unreal += 1
            self.unreal.add(source)
        else:
            self.unreal.discard(source)

    def close(self) -> None:
        """Count what the end leaves unfinished."""
        self.frames.close()

    def _note(self, pgn: str, source: str, data: bytes) -> None:
        """What devices say of themselves and of the boat."""
        if pgn in IDENTITIES:
            self.notes.met_device(self.called.get(source, source), IDENTITIES[pgn](data))
        elif pgn == ADDRESS_CLAIM:
            _needs(pgn, data, 8)
            name = data[7::-1].hex()
            if source != NO_ADDRESS and self.is_news(source, name):
                self._see_claim(source, name)
            self.notes.met_claim(source, name)
        else:
            where = AIS[pgn]
            _needs(pgn, data, where.sender_at + 1)
            if data[where.sender_at] & 31 in OWN_TRANSMISSIONS:
                self.notes.own_ship["mmsi"] = f"{int.from_bytes(data[1:5], 'little'):09}"
                for what, place in where.texts.items():
                    if text := six_bit_plain(data[place].decode("latin-1")):
                        self.notes.own_ship[what] = text


def six_bit_plain(text: str) -> str:
    """A text as AIS pads it, without its padding.

    >>> six_bit_plain("GARBOARD@@@@"), six_bit_plain("@@@@@@@")
    ('GARBOARD', '')
    """
    plain = text.split("@")[0].split("\0")[0].split("\xff")[0]
    return "".join(char for char in plain if " " <= char <= "_").strip()


def _needs(pgn: str, data: bytes, needed: int) -> None:
    if len(data) < needed:
        raise ValueError(f"PGN {pgn}: expected {needed} bytes or more, got {len(data)}")


def _tabled(time: float, pgn: str, source: str, data: bytes) -> list[Sample]:
    unpack, needed, fields, instance_at, reference_at, fix_at = READERS[pgn]
    _needs(pgn, data, needed)
    if fix_at is not None and data[fix_at] not in WITH_FIX:
        return []
    instance = "" if instance_at is None else INSTANCES[data[instance_at]]
    reference = "" if reference_at is None else REFERENCES[data[reference_at] & 3]
    return [
        Sample(time, quantity, steps * scale + offset, source, instance, reference if directed else "")
        for (quantity, low, high, scale, offset, directed), steps in zip(fields, unpack(data), strict=True)
        if low <= steps < high
    ]


def _of_more(time: float, pgn: str, source: str, data: bytes) -> list[Sample]:
    return [Sample(time, *found[:2], source, *found[2:]) for found in read_more(pgn, data)]


@lru_cache(maxsize=4096)
def read_more(pgn: str, data: bytes) -> list[Found]:
    """Temperatures, levels and orders hardly change, so the same bytes come again and again."""
    needed, _, read = MORE[pgn]
    _needs(pgn, data, needed)
    return read(data)
