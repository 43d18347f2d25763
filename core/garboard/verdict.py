"""How a finding comes out: apart from findings, since every page shows it and the app's first frame no finding."""

from __future__ import annotations

import enum

__all__ = ["Verdict"]


class Verdict(enum.Enum):
    """How a finding comes out. The value is the word shown."""

    PASS = "pass"
    ADVISE = "advise"
    FAIL = "fail"
    NOT_ENOUGH_DATA = "not enough data"
