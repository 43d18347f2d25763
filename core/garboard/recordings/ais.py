"""What the boat's own AIS unit says of the boat in VDO sentences: its MMSI, name and call sign.

Sentences of other ships, VDM, are not read. Layouts: ITU-R M.1371 as open parsers read it; compared with the package
pyais in the tests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

MOST_PARTS, MOST_WAITING = 9, 16
TEXTS: Mapping[tuple[int, int], Mapping[str, tuple[int, int]]] = {
    (5, 0): {"call_sign": (70, 7), "name": (112, 20)},
    (19, 0): {"name": (143, 20)},
    (24, 0): {"name": (40, 20)},
    (24, 1): {"call_sign": (90, 7)},
}
"""Where texts begin and how many characters they have, by kind of message and part of it [bits]."""
STATIC_IN_PARTS = 24


@attrs.define
class OwnShipReader:
    """Puts messages of several sentences together and reads them."""

    _waiting: dict[tuple[str, str, str], list[str]] = attrs.field(factory=dict)

    def take(self, fields: Sequence[str]) -> dict[str, str]:
        """What a message says, by "mmsi", "name" and "call_sign"; nothing before its last sentence came.

        fields : of a VDO sentence, address first
        Raises ValueError for a sentence that cannot be.

        >>> OwnShipReader().take("AIVDO,1,1,,A,H42O55i18tMET00000000000000,2".split(","))
        {'mmsi': '271041815', 'name': 'PROGUY'}
        """
        if len(fields) < 7 or not (fields[1].isdecimal() and fields[2].isdecimal()):
            raise ValueError(f"expected 6 fields, the first two of them numbers, got {','.join(fields[1:])[:40]!r}")
        many, this, payload = int(fields[1]), int(fields[2]), fields[5]
        if not 1 <= this <= many <= MOST_PARTS:
            raise ValueError(f"expected a sentence of {MOST_PARTS} at most, got {this} of {many}")
        if many > 1:
            key = (fields[0], fields[3], fields[4])
            parts = self._waiting.pop(key, [])
            if len(parts) != this - 1:
                if this > 1:
                    raise ValueError(f"expected sentence {len(parts) + 1} of a message, got {this}")
                parts = []
            parts.append(payload)
            if this < many:
                while len(self._waiting) >= MOST_WAITING:
                    self._waiting.pop(next(iter(self._waiting)))
                self._waiting[key] = parts
                return {}
            payload = "".join(parts)
        return _read(_bits(payload))


def _bits(payload: str) -> str:
    """Six bits a character."""
    found = []
    for char in payload:
        number = ord(char) - 48
        number -= 8 if number > 40 else 0
        if not 0 <= number < 64 or "X" <= char < "`":
            raise ValueError(f"expected characters of six bits, got {char!r}")
        found.append(f"{number:06b}")
    return "".join(found)


def _read(bits: str) -> dict[str, str]:
    if len(bits) < 38:
        raise ValueError(f"expected 38 bits or more, got {len(bits)}")
    kind, mmsi = int(bits[:6], 2), int(bits[8:38], 2)
    if not 0 < mmsi <= 999_999_999:
        raise ValueError(f"expected an MMSI of 9 digits, got {mmsi}")
    part = int(bits[38:40] or "0", 2) if kind == STATIC_IN_PARTS else 0
    texts = {what: _text(bits, *place) for what, place in TEXTS.get((kind, part), {}).items()}
    return {"mmsi": f"{mmsi:09}", **{what: text for what, text in texts.items() if text}}


def _text(bits: str, at: int, characters: int) -> str:
    """A text without its padding; nothing when the message is cut before its end."""
    end = at + 6 * characters
    if len(bits) < end:
        return ""
    numbers = [int(bits[place : place + 6], 2) for place in range(at, end, 6)]
    return "".join(chr(number + 64 if number < 32 else number) for number in numbers).split("@")[0].strip()
