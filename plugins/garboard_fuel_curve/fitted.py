"""The job as the propellers now fitted make it: another propeller gives another curve."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps

from garboard.findings import Finding
from garboard.fittings import check_fitted, fitted_now, of_fitting
from garboard.job_view import JobView
from garboard_fuel_curve.full_throttle import RUNS
from garboard_fuel_curve.steps import STEPS


def of_now(view: JobView) -> JobView:
    """The job with the throttle steps and runs of the propellers now fitted, and of no others."""
    return view.once(_of_now)


def _of_now(view: JobView) -> JobView:
    check_fitted(view)
    return of_fitting(view, fitted_now(view.vessel), (STEPS, RUNS))


def judged_now(compute: Callable[[JobView], Iterable[Finding]]) -> Callable[[JobView], Iterable[Finding]]:
    """The same calculator, of the propellers now fitted."""

    @wraps(compute)
    def judged(view: JobView) -> Iterable[Finding]:
        return compute(of_now(view))

    return judged
