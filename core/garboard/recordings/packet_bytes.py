"""Forms that are bytes, not lines: the packet capture of a CAN interface, and the binary log of a USB gateway.

Packet capture: https://www.ietf.org/archive/id/draft-ietf-opsawg-pcap-06.html and the link type 227 of
https://www.tcpdump.org/linktypes.html, both from memory. Gateway: as the package nmea2000 and the open canboat project
read it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

import attrs

from garboard.recordings.bus import Packet, of_identifier
from garboard.recordings.packet_lines import NO_DATA, SHORT_IDENTIFIER, NotOfThisNetwork, PacketReader
from garboard.samples import Sample

CAPTURES = {
    b"\xd4\xc3\xb2\xa1": ("<", 1e-6),
    b"\xa1\xb2\xc3\xd4": (">", 1e-6),
    b"\x4d\x3c\xb2\xa1": ("<", 1e-9),
    b"\xa1\xb2\x3c\x4d": (">", 1e-9),
}
"""Byte order, and what a part of a second is worth [s], by how a capture begins."""
CAN_INTERFACE = 227
CAPTURE_HEADER, RECORD_HEADER = 24, 16
LONGEST_RECORD = 65_536  # of a CAN interface they have 16 bytes, or 72
EXTENDED, REMOTE, ERROR = 0x8000_0000, 0x4000_0000, 0x2000_0000

BEGINS, ENDS, ESCAPE = 0x02, 0x03, 0x10
FRAME_BEGINS = bytes((ESCAPE, BEGINS))
LONGEST_FRAME = 2048
RECEIVED, SENT, RECEIVED_LATER = 0x93, 0x94, 0xD0
"""What a frame of the gateway is: a message off the network, one onto it, and one of the later kind."""
GATEWAY_STATE = "state of the gateway"


def capture_link(head: bytes) -> int | None:
    """The link type of a packet capture; None when it is none."""
    order = CAPTURES.get(head[:4])
    return None if order is None or len(head) < CAPTURE_HEADER else struct.unpack_from(order[0] + "I", head, 20)[0]


@attrs.define
class CaptureReader:
    """Reads a packet capture of a CAN interface, some bytes at a time."""

    packets: PacketReader
    _rest: bytes = b""
    _order: str = ""
    _part: float = 0.0
    _is_lost: bool = False

    def feed(self, data: bytes, arrived: float | None = None) -> list[Sample]:
        """The samples that are now complete."""
        if self._is_lost:
            return []
        self._rest += data
        if not self._order:
            if len(self._rest) < CAPTURE_HEADER:
                return []
            self._order, self._part = CAPTURES[self._rest[:4]]
            self._rest = self._rest[CAPTURE_HEADER:]
        samples, notes = list[Sample](), self.packets.notes
        for when, record in self._records():
            notes.lines += 1
            try:
                samples += self.packets.packet(_captured(when, record), notes.lines, arrived)
            except NotOfThisNetwork as other:
                notes.met_unknown(str(other))
            except ValueError as fault:
                notes.damage(notes.lines, str(fault))
        return samples

    def _records(self) -> Iterator[tuple[float, bytes]]:
        rest, at = self._rest, 0
        while len(rest) - at >= RECORD_HEADER:
            seconds, part, length, _ = struct.unpack_from(self._order + "IIII", rest, at)
            if length > LONGEST_RECORD:
                self._is_lost = True
                self.packets.notes.damage(self.packets.notes.lines + 1, "the capture is damaged from here on")
                at = len(rest)
                break
            if len(rest) - at < RECORD_HEADER + length:
                break
            yield seconds + part * self._part, rest[at + RECORD_HEADER : at + RECORD_HEADER + length]
            at += RECORD_HEADER + length
        self._rest = rest[at:]

    def close(self) -> list[Sample]:
        """At the end, once."""
        if self._rest:
            self.packets.notes.damage(self.packets.notes.lines + 1, "the capture ends inside a packet")
        return self.packets.close()


def _captured(when: float, record: bytes) -> Packet:
    if len(record) < 8:
        raise ValueError(f"expected a frame of 8 bytes or more, got {len(record)}")
    identifier, length = int.from_bytes(record[:4], "big"), record[4]
    if not identifier & EXTENDED:
        raise NotOfThisNetwork(SHORT_IDENTIFIER)
    if identifier & (REMOTE | ERROR) or not length:
        raise NotOfThisNetwork(NO_DATA)
    content = record[8 : 8 + length]
    if length > 8 or len(content) != length:
        raise ValueError(f"the frame says {length} bytes, it holds {len(content)}")
    return Packet(when, *of_identifier(identifier & 0x1FFF_FFFF), content)


@attrs.define
class GatewayFrames:
    """Finds what stands between beginnings and ends, a doubled 10 taken as one, however the bytes are cut.

    content : of the frame begun, None between frames
    """

    content: bytearray | None = None
    _is_escaped: bool = False

    def feed(self, data: bytes) -> list[bytes]:
        """The frames that are now complete; an empty one for each that was broken off.

        >>> [frame.hex() for frame in GatewayFrames().feed(bytes.fromhex("1b 10 02 93 10 10 05 10 03 10 02 94"))]
        ['931005']
        """
        frames, at = list[bytes](), 0
        while at < len(data):
            if self._is_escaped:
                self._is_escaped = False
                self._take(data[at], frames)
                at += 1
                continue
            found = data.find(ESCAPE, at)
            end = len(data) if found < 0 else found
            if self.content is not None:
                self.content += data[at:end]
                if len(self.content) > LONGEST_FRAME:
                    frames.append(b"")
                    self.content = None
            self._is_escaped = found >= 0
            at = end + 1
        return frames

    def _take(self, mark: int, frames: list[bytes]) -> None:
        """A byte after a 10: it is one itself, begins a frame or ends it; any other breaks it off."""
        if mark == ESCAPE:
            if self.content is not None:
                self.content.append(ESCAPE)
        elif mark == BEGINS:
            if self.content is not None:
                frames.append(b"")
            self.content = bytearray()
        elif self.content is not None:
            frames.append(bytes(self.content) if mark == ENDS else b"")
            self.content = None


@attrs.define
class GatewayReader:
    """Reads a USB gateway's binary log, some bytes at a time."""

    packets: PacketReader
    _frames: GatewayFrames = attrs.field(factory=GatewayFrames)

    def feed(self, data: bytes, arrived: float | None = None) -> list[Sample]:
        """The samples that are now complete."""
        samples, notes = list[Sample](), self.packets.notes
        for frame in self._frames.feed(data):
            notes.lines += 1
            try:
                samples += self.packets.packet(gateway_packet(frame), notes.lines, arrived)
            except NotOfThisNetwork as other:
                notes.met_unknown(str(other))
            except ValueError as fault:
                notes.damage(notes.lines, str(fault))
        return samples

    def close(self) -> list[Sample]:
        """At the end, once."""
        if self._frames.content:
            self.packets.notes.damage(self.packets.notes.lines + 1, "the log ends inside a message")
        return self.packets.close()


def gateway_packet(frame: bytes) -> Packet:
    """The message a frame of the gateway carries. Raises ValueError for one that is damaged."""
    if len(frame) < 3 or sum(frame) % 256:
        raise ValueError("a message of the gateway is damaged: its checksum does not fit")
    if frame[0] == RECEIVED_LATER and len(frame) >= 14 and int.from_bytes(frame[1:3], "little") == len(frame) - 1:
        page, form, specific = frame[7] & 3, frame[6], frame[5]
        pgn = page << 16 | form << 8 | (specific if form >= 240 else 0)
        return Packet(int.from_bytes(frame[9:13], "little") / 1000, pgn, frame[4], frame[3], frame[13:-1], True)
    if frame[0] not in (RECEIVED, SENT):
        raise NotOfThisNetwork(GATEWAY_STATE)
    content = frame[2:-1]
    if frame[0] == SENT:
        raise NotOfThisNetwork("message of this computer")
    if len(content) != frame[1] or len(content) < 11 or content[10] != len(content) - 11:
        raise ValueError(f"the gateway announced {frame[1]} bytes, its message holds {len(content)}")
    when = int.from_bytes(content[6:10], "little") / 1000
    return Packet(when, int.from_bytes(content[1:4], "little"), content[5], content[4], content[11:], True)


def is_gateway_log(head: bytes) -> bool:
    """Whether there is a sound message of such a gateway."""
    for frame in GatewayFrames().feed(head):
        try:
            gateway_packet(frame)
        except NotOfThisNetwork:
            continue
        except ValueError:
            continue
        return True
    return False
