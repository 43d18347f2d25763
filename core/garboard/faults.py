"""Errors a person can act on: what is wrong, where, what was expected."""

from __future__ import annotations

from collections.abc import Sequence

import attrs


@attrs.frozen(order=True)
class Fault:
    """One thing wrong with one place of an input.

    where    : path to the value ("measurements[3].value", "line 17", "position 9")
    expected : what would be right, with an example
    got      : what stands there now, as text
    """

    where: str
    expected: str
    got: str = ""

    def __str__(self) -> str:
        return f"{self.where}: expected {self.expected}" + (f", got {self.got}" if self.got else "")


class InputError(ValueError):
    """An input could not be used. Carries every fault found in it, not only the first.

    source : what was read (a file's path, "hull number")
    faults : at least one
    """

    def __init__(self, source: str, faults: Sequence[Fault]) -> None:
        self.source = source
        self.faults = tuple(faults)
        count = f"{len(faults)} fault" + ("s" if len(faults) != 1 else "")
        super().__init__("\n".join([f"{source}: {count}", *(f"  {fault}" for fault in faults)]))
