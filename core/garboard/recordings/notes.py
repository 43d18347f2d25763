"""What a reader met on its way through a recording, besides the samples.

Kinds of NMEA 2000 messages: [1] open PGN database of the canboat project, https://github.com/canboat/canboat.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from garboard.record_types import frozen

MARK = "PGBDSIM"
"""Stands in whatever the simulated boat sends, and never in what a real boat sends: see `simulated_network`."""

MARK_MESSAGE = "65532"
"""Carries the mark's letters on NMEA 2000, so that it goes through what takes comments out of a log or turns it into
another form. One of the numbers that makers may use as they like."""

KEPT_DAMAGED_LINES = 100
KEPT_UNKNOWN_KINDS = 500
KEPT_DEVICES, KEPT_TEXTS = 300, 6
"""A network has some 250 addresses; what one device says of itself is a handful of texts."""
OTHER_KINDS, OTHER_SOURCES = "other kinds", "others"


@frozen
class DamagedLine:
    """A line that could not be used.

    line   : counted from 1; 0 when the fault is in no one line
    reason : what is wrong with it
    """

    line: int
    reason: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.reason}" if self.line else self.reason


@attrs.define
class ReadingNotes:
    """Counts of a reading, filled while the samples are taken; complete once the last sample was taken.

    form             : what the recording is, in plain words ("NMEA 0183", "CAN dump")
    lines            : lines read, comments and blank lines included
    samples          : values given
    kinds            : sentences, messages or columns of kinds the program reads, by kind ("HDT", "127250")
    unknown          : the same of kinds it does not read; a kind is in `kinds` or in `unknown`, never in both
    empty            : those of `kinds` that held no valid value
    damaged_count    : lines (of a CSV file: cells) that could not be used
    damaged          : the first of them, at most KEPT_DAMAGED_LINES
    wrong_checksum   : those of damaged_count whose checksum, or that of the tag block before them, does not fit
    without_checksum : NMEA 0183 sentences that carry no checksum; they are used
    without_time     : values dropped because no sentence with a time came in reach of them
    decimal_commas   : numbers of a CSV file written with a decimal comma, and the first of them as written
    unreal           : messages of receivers that, by their own word, simulate their place or had it typed in
    broken           : those of damaged_count that were messages of several frames with a frame missing
    heard            : how many of which kind each source sent, read or not
    devices          : what devices say of themselves, such as maker and model, by the source their samples carry
    claims           : names by which devices claimed the address of a source, as 16 hexadecimal digits each
    own_ship         : what the boat's own AIS unit says of it: "mmsi", "name", "call_sign"
    dated            : whether times count from 1970-01-01 UTC; otherwise from the first time in the log
    is_simulated     : whether it says of itself that nobody measured it
    timed            : whether the log tells times at all; otherwise its values have an order, and the time 0
    """

    form: str = ""
    lines: int = 0
    samples: int = 0
    kinds: dict[str, int] = attrs.field(factory=dict)
    unknown: dict[str, int] = attrs.field(factory=dict)
    empty: dict[str, int] = attrs.field(factory=dict)
    damaged_count: int = 0
    damaged: list[DamagedLine] = attrs.field(factory=list)
    wrong_checksum: int = 0
    without_checksum: int = 0
    without_time: int = 0
    decimal_commas: int = 0
    first_decimal_comma: str = ""
    unreal: int = 0
    broken: int = 0
    heard: dict[str, dict[str, int]] = attrs.field(factory=dict)
    devices: dict[str, tuple[str, ...]] = attrs.field(factory=dict)
    claims: dict[str, tuple[str, ...]] = attrs.field(factory=dict)
    own_ship: dict[str, str] = attrs.field(factory=dict)
    dated: bool = True
    timed: bool = True
    is_simulated: bool = False

    def damage(self, line: int, reason: str) -> None:
        """Count a line that could not be used; the first ones are kept with the reason."""
        self.damaged_count += 1
        if len(self.damaged) < KEPT_DAMAGED_LINES:
            self.damaged.append(DamagedLine(line, reason))

    def forget_damage(self) -> None:
        """The latest line is read anew: it is not damaged."""
        if self.damaged and self.damaged[-1].line == self.lines:
            self.damaged.pop()
        self.damaged_count -= 1
        self.lines -= 1

    def met_decimal_comma(self, number: str) -> None:
        """Count a number read with its comma as a decimal point."""
        self.decimal_commas += 1
        self.first_decimal_comma = self.first_decimal_comma or number

    def met_device(self, source: str, texts: Iterable[str]) -> None:
        """Keep what a device says of itself; the same again, or more than anyone would read, changes nothing."""
        known = self.devices.get(source, ())
        if source in self.devices or len(self.devices) < KEPT_DEVICES:
            self.devices[source] = tuple(dict.fromkeys((*known, *texts)))[:KEPT_TEXTS]

    def met_claim(self, source: str, name: str) -> None:
        """Keep the name by which a device claimed the address of a source."""
        known = self.claims.get(source, ())
        if name not in known and len(known) < KEPT_TEXTS:
            self.claims[source] = (*known, name)

    def forget_claim(self, source: str, name: str) -> None:
        """The device of this name is at this address no more."""
        self.claims[source] = tuple(one for one in self.claims.get(source, ()) if one != name)

    def met_from(self, source: str, kind: str, count: int = 1) -> None:
        """Count a kind a source sent; noise cannot make the tables grow without end."""
        if source not in self.heard and len(self.heard) >= KEPT_DEVICES:
            source = OTHER_SOURCES
        sent = self.heard.setdefault(source, {})
        if kind not in sent and len(sent) >= KEPT_UNKNOWN_KINDS:
            kind = OTHER_KINDS
        sent[kind] = sent.get(kind, 0) + count

    def met_odd_times(self, count: int) -> None:
        """Note how many values were left out for their times."""
        if count:
            values = "1 value has" if count == 1 else f"{count} values have"
            self.damage(0, f"{values} a time far from those before and behind, and no part in the streams")

    def met_kind(self, kind: str, *, is_empty: bool = False) -> None:
        """Count a kind the program reads, of which there may be many; noise cannot make the tables grow without end."""
        kinds = self.empty if is_empty else self.kinds
        if kind not in kinds and len(kinds) >= KEPT_UNKNOWN_KINDS:
            kind = OTHER_KINDS
        kinds[kind] = kinds.get(kind, 0) + 1

    def met_unknown(self, kind: str, count: int = 1) -> None:
        """Count a kind the program does not read; noise cannot make the table grow without end."""
        if kind not in self.unknown and len(self.unknown) >= KEPT_UNKNOWN_KINDS:
            kind = OTHER_KINDS
        self.unknown[kind] = self.unknown.get(kind, 0) + count


OF_OTHER_SHIPS = frozenset(
    {"129038", "129039", "129040", "129041", "129793", "129794", "129798", "129802", "129809", "129810", "VDM"}
    | {"another vessel"}
)
"""Kinds of messages by which AIS tells of other ships [1], and marks and stations of the shore."""
OF_EVERY_DEVICE = frozenset({"59392", "59904", "60928", "126464", "126992", "126993", "126996", "126998", "VDO", "VER"})
"""What a device says of itself, whatever it measures [1]; an AIS unit also tells of its own ship."""


def sends_only_ships(notes: Iterable[ReadingNotes]) -> bool:
    """Whether all that was heard is what other ships say of themselves."""
    kinds = {kind for one in notes for kind in (*one.kinds, *one.unknown)} - OF_EVERY_DEVICE
    return bool(kinds) and kinds <= OF_OTHER_SHIPS
