"""The job as the propellers now fitted make it: runs with others are kept, and judge nothing that is fitted now."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import wraps

from garboard.findings import Finding, Lack
from garboard.fittings import (
    check_fitted,
    fitted_now,
    fittings_of,
    names_given,
    next_row,
    of_fitting,
    plain_name,
    row_order,
)
from garboard.job_view import JobView
from garboard.records import Engine
from garboard_prop_check.steps import FULL_THROTTLE, PROPELLER, THROTTLE_STEPS

RUN_WITH = (FULL_THROTTLE, THROTTLE_STEPS)
"""Steps whose rows name their propellers."""


def of_now(view: JobView) -> JobView:
    """The job with the runs of the propellers now fitted, and of no others."""
    return view.once(_of_now)


def _of_now(view: JobView) -> JobView:
    check_fitted(view)
    return of_fitting(view, fitted_now(view.vessel), RUN_WITH)


def judged_now(compute: Callable[[JobView], Iterable[Finding]]) -> Callable[[JobView], Iterable[Finding]]:
    """The same calculator, of the propellers now fitted."""

    @wraps(compute)
    def judged(view: JobView) -> Iterable[Finding]:
        return compute(of_now(view))

    return judged


def was_changed(view: JobView, at: int) -> bool:
    """Whether another propeller than the one it came with is or was on an engine.

    view : with the runs of all propellers
    at   : the engine's place among the vessel's
    """
    fittings = (fitted_now(view.vessel), *fittings_of(view, RUN_WITH))
    return any(fitting[at] for fitting in fittings)


def row_after_change(view: JobView, engine: Engine, now: str) -> str:
    """The last row that says how the propeller now on an engine was put on; "" where none does."""
    rows = [one.row for one, name in names_given(view, (PROPELLER,)) if (one.of, name) == (engine.position, now)]
    return max(rows[::-1], key=row_order, default="")  # by its number: a tablet's clock may be hours off


def check_sound(view: JobView, engine: Engine) -> None:
    """Raise NotEnoughData for a propeller known to be damaged: it is repaired or changed first."""
    asking, of = view.asking(), engine.position
    row = row_after_change(view, engine, plain_name(engine.fitted))
    field = "blades_sound_again" if row or engine.fitted else "blades_sound"
    asking.settled(PROPELLER, field, row=row, of=of)
    sound = view.value(PROPELLER, field, row=row, of=of) is not False
    text = f"the {of} propeller is damaged; repair or change it, then repeat the runs"
    asking.need(sound, text, lack=Lack.UNSUITABLE, step=PROPELLER, field=field, row=row, of=of)
    asking.check()


def row_to_begin(view: JobView) -> str:
    """The row after those that say how a propeller was put on."""
    return next_row(view.rows(PROPELLER))


def names_of_runs(rows: Sequence[str]) -> str:
    """What full-throttle runs are called by their rows.

    >>> names_of_runs(["3"]), names_of_runs(["3", "4", "7", ""])
    ('run 3', 'runs 3, 4 and 7 and the recording of all runs')
    """
    numbered = [row for row in rows if row]
    *first, last = numbered or [""]
    runs = f"run{'s' if first else ''} {' and '.join(filter(None, (', '.join(first), last)))}"
    recorded = "recording of all runs"
    if not numbered:
        return recorded
    return runs if len(numbered) == len(rows) else f"{runs} and the {recorded}"
