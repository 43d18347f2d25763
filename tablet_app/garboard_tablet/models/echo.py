"""What was saved last, said back with its verdict, and undone with one press until the next save."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from garboard.verdict import Verdict
from garboard_tablet.models.pages import worst
from garboard_tablet.models.saved_last import Echo

if TYPE_CHECKING:
    from garboard.findings import Finding
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import Tablet

UNDONE = "undone at once"


def echo_of(tablet: Tablet, route: Route) -> Echo | None:
    """What was saved last in a job, as long as it stands; None where it was elsewhere, or has changed since."""
    echo = tablet.echo
    if echo is None or (echo.route.hull, echo.route.job) != (route.hull, route.job):
        return None
    return echo if tablet.current(route.hull, route.job, echo.ask) == echo.now else None


def verdict_on(ask: Ask, findings: Sequence[Finding]) -> Verdict | None:
    """The worst that is found of one value; None where nothing is found of it, or it is not enough yet."""
    return worst(found_of(ask, findings))


def found_of(ask: Ask, findings: Sequence[Finding]) -> list[Finding]:
    """What is found of one value.

    A finding about several pieces says nothing of the one value: another piece may be what fails.
    """
    if ask.key.kind != "measure":
        return []
    return [
        finding
        for finding in findings
        if finding.verdict is not Verdict.NOT_ENOUGH_DATA
        and ask.place in finding.places
        and (finding.of == ask.of if finding.of else set(finding.places) == {ask.place})
    ]
