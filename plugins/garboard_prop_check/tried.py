"""The job as the propellers now fitted make it: runs with others are kept, and judge nothing that is fitted now."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import wraps

from garboard.findings import Basis, BasisKind, Finding, Lack, Missing, not_enough_data
from garboard.fittings import PROPELLER as NAMED
from garboard.fittings import (
    check_fitted,
    fitted_now,
    fittings_of,
    names_given,
    of_fitting,
    plain_name,
    propeller_named,
)
from garboard.job_view import JobView, nothing_at
from garboard.records import Engine
from garboard_prop_check.steps import FULL_THROTTLE, PROPELLER, THROTTLE_STEPS

RUN_WITH = (FULL_THROTTLE, THROTTLE_STEPS)
"""Steps whose rows name their propellers."""

ONE_PROPELLER = Basis(BasisKind.COMMON_PRACTICE, "a run is judged by the propeller it was made with")


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
    return rows[-1] if rows else ""


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
    numbers = [int(row) for row in view.rows(PROPELLER) if row.isascii() and row.isdecimal()]
    return str(max(numbers, default=0) + 1)


def runs_of_no_propeller(view: JobView) -> Iterator[Finding]:
    """Runs that name a propeller nobody entered, or two at once: they count for none until that is put right."""
    engines = {engine.position: engine for engine in view.vessel.engines}
    for one, name in names_given(view, (FULL_THROTTLE,)):
        engine = engines.get(one.of)
        if engine is not None and name and propeller_named(view.vessel, engine, name) is None:
            text = (
                f"{_called(one.row)}: the {one.of} propeller is said to be {name!r}, which is not in the list of "
                "propellers; enter it there, or correct the run"
            )
            lacking = Missing(text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field=one.field, row=one.row, of=one.of)
            yield not_enough_data(_called(one.row), (lacking,), (ONE_PROPELLER,))
    for dispute in view.disagreements:
        step, field, row, of = dispute.place
        if step == FULL_THROTTLE and (field == NAMED or field.endswith(f"_{NAMED}")):
            lacking = nothing_at(view, step, field, row=row, of=of)
            yield not_enough_data(_called(row), (lacking,), (ONE_PROPELLER,))


def _called(row: str) -> str:
    return f"run {row}" if row else "recording of all runs"
