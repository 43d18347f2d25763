"""What a shop decides about its own pages. No check of a boat reads it."""

from __future__ import annotations

from garboard.fields import Field, Kind
from garboard.findings import Basis, BasisKind
from garboard.settings import Setting

PREFIX = "shop."
"""Settings of the pages alone: a change of one judges no boat anew."""
STUCK_DAYS = f"{PREFIX}stuck_days"

SETTINGS = (
    Setting(
        key=STUCK_DAYS,
        field=Field(
            name="stuck_days",
            title="Days in one state after which a job is stuck",
            kind=Kind.COUNT,
            hard=(1, 365),
            help="The board marks it, and lists it under Stuck.",
        ),
        default=14,
        basis=Basis(BasisKind.COMMON_PRACTICE, "Two weeks without a change are worth a question"),
    ),
)
