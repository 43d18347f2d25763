"""Why a check file is not used: all its faults, each with its place."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from garboard.faults import Fault, GarboardError


@attrs.frozen
class CheckFault:
    """One fault of a check file.

    code : which kind it is, as of a plugin's fault
    """

    fault: Fault
    code: str = "wrong_value"


class CheckRefused(GarboardError):
    """A check file has faults: all of them, not the first."""

    def __init__(self, faults: Sequence[CheckFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(str(one.fault) for one in faults))
