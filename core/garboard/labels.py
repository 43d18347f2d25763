"""What the label of a circuit says, and whether the one that was printed still says it.

A label carries a number that stays: once printed, a circuit keeps its number, and a new one takes the next free number.
What was printed is kept with the circuit (`Circuit.label`), so that a change after that is seen.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence

import attrs

from garboard.records import Circuit, Vessel

__all__ = ["CircuitLabel", "is_as_printed", "labels_digest", "labels_of", "stale_labels", "with_printed_apart"]

_BETWEEN = " | "


@attrs.frozen
class CircuitLabel:
    """One circuit's label.

    number     : stays once printed
    name       : the circuit's
    protection : "fuse 10 A"; "" when it is not entered
    size       : "16 AWG" or "2.5 mm2"; "" when it is not entered
    fed_from   : "panel", "battery terminal House"; "" when it is not entered
    printed    : what was printed last; "" for never
    """

    number: int
    name: str
    protection: str
    size: str
    fed_from: str
    printed: str = ""

    @property
    def text(self) -> str:
        """All it says in one line, as it is kept when it is printed.

        >>> CircuitLabel(4, "VHF radio", "fuse 10 A", "16 AWG", "panel").text
        '4 | VHF radio | fuse 10 A | 16 AWG | from panel'
        """
        fed_from = f"from {self.fed_from}" if self.fed_from else ""
        parts = (str(self.number), self.name, self.protection, self.size, fed_from)
        return _BETWEEN.join(part for part in parts if part)

    @property
    def is_stale(self) -> bool:
        """Whether a label was printed that says something else."""
        return bool(self.printed) and self.printed != self.text


def labels_of(vessel: Vessel) -> tuple[CircuitLabel, ...]:
    """The label of every circuit, in their order.

    A circuit keeps the number its printed label has; where two have the same, the one that comes first. What somebody
    wrote as a label in words of his own is no label of ours: it gives no number and is never stale.
    """
    kept = _numbers_kept(vessel.circuits)
    taken = set(kept.values())
    free = (number for number in range(1, len(vessel.circuits) + len(kept) + 1) if number not in taken)
    return tuple(_label(circuit, kept.get(circuit.name) or next(free)) for circuit in vessel.circuits)


def stale_labels(vessel: Vessel) -> tuple[CircuitLabel, ...]:
    """The labels that were printed and say what is no longer so."""
    return tuple(label for label in labels_of(vessel) if label.is_stale)


def with_printed_apart(vessel: Vessel, printed: Mapping[str, Sequence[str]]) -> Vessel:
    """A vessel with what its labels say that were printed more than once, apart.

    Each of them may be on the boat, so a circuit's is one that says what is no longer so, if any does.

    printed : by the circuit's name
    """
    if not printed:
        return vessel
    first = {name: min(texts) for name, texts in printed.items()}
    now = {label.name: label.text for label in labels_of(_with_labels(vessel, first))}
    no_longer = {name: [text for text in texts if text != now.get(name)] for name, texts in printed.items()}
    return _with_labels(vessel, first | {name: min(texts) for name, texts in no_longer.items() if texts})


def _with_labels(vessel: Vessel, texts: Mapping[str, str]) -> Vessel:
    circuits = (attrs.evolve(one, label=texts[one.name]) if one.name in texts else one for one in vessel.circuits)
    return attrs.evolve(vessel, circuits=tuple(circuits))


def labels_digest(vessel: Vessel) -> str:
    """Of what all labels of a vessel say: two that are equal say the same."""
    return hashlib.sha256("\n".join(label.text for label in labels_of(vessel)).encode()).hexdigest()


def is_as_printed(label: str) -> bool:
    """Whether words are those of a label that was printed, and not somebody's own.

    >>> is_as_printed("4 | VHF radio | fuse 10 A"), is_as_printed("radio")
    (True, False)
    """
    return bool(_number_on(label))


def _numbers_kept(circuits: Sequence[Circuit]) -> dict[str, int]:
    """The number of each circuit whose label was printed."""
    of_number: dict[int, str] = {}
    for name, number in _numbers_printed(circuits):
        of_number.setdefault(number, name)
    return {name: number for number, name in of_number.items()}


def _numbers_printed(circuits: Sequence[Circuit]) -> Iterator[tuple[str, int]]:
    return ((circuit.name, _number_on(circuit.label)) for circuit in circuits if is_as_printed(circuit.label))


def _number_on(label: str) -> int:
    """The number of a label that was printed; 0 for somebody's own words."""
    number, between, _ = label.partition(_BETWEEN)
    return int(number) if between and number.isascii() and number.isdecimal() and len(number) <= 4 else 0


def _label(circuit: Circuit, number: int) -> CircuitLabel:
    return CircuitLabel(
        number=number,
        name=circuit.name,
        protection=_protection(circuit),
        size=_size(circuit),
        fed_from=", ".join(part for part in (circuit.fed_from, circuit.battery) if part),
        printed=circuit.label if is_as_printed(circuit.label) else "",
    )


def _protection(circuit: Circuit) -> str:
    if circuit.protection in ("", "none"):
        return {"none": "no fuse"}.get(circuit.protection, "")
    rating = f" {circuit.protection_rating}" if circuit.protection_rating else ""
    return circuit.protection + rating


def _size(circuit: Circuit) -> str:
    if circuit.conductor_awg:
        return f"{circuit.conductor_awg} AWG"
    return str(circuit.conductor_area) if circuit.conductor_area else ""
