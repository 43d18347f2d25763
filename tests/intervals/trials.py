"""Every trial: one file a plugin, and its name twice here."""

from __future__ import annotations

from collections.abc import Mapping

from intervals import fuel_curve_trials, heading_trials, prop_check_trials, wiring_trials
from intervals.harness import Trial

TRIALS: tuple[Trial, ...] = (
    *prop_check_trials.TRIALS,
    *fuel_curve_trials.TRIALS,
    *heading_trials.TRIALS,
    *wiring_trials.TRIALS,
)
KNOWN: Mapping[str, str] = {
    **prop_check_trials.KNOWN,
    **fuel_curve_trials.KNOWN,
    **heading_trials.KNOWN,
    **wiring_trials.KNOWN,
}
"""Why a figure does not hold yet, by its name."""
