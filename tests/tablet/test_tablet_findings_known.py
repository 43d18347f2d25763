"""No page calls a job ready while it is not known what its checks find."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from garboard.findings import Basis, BasisKind, Finding, Verdict
from garboard.steps import Assessed, Phase
from garboard_tablet.models.assessor import Assessor
from garboard_tablet.models.background import Background
from garboard_tablet.models.session import Route

FOUND = (
    Assessed(
        calculator="dock.check",
        title="Check",
        step="dock.step",
        phase=Phase.ALONGSIDE,
        plugin="dock",
        plugin_version="1",
        finding=Finding(
            verdict=Verdict.PASS, about="a", sentence="Found.", basis=(Basis(BasisKind.METHOD, "looked at"),)
        ),
    ),
)
JOB = Route(page="job", hull="QQZ04417D626", job="one")


class Host:
    """Finds what it is told to, or raises it."""

    result: object = ()

    def with_defaults(self, view: object) -> object:
        return view

    def assess(self, _view: object, _steps: object) -> object:
        if isinstance(self.result, BaseException):
            raise self.result
        return self.result


class Tablet:
    """As much of a tablet as an assessor needs."""

    def __init__(self) -> None:
        self.host, self.entries, self.broken = Host(), 1, False

    def size(self, _hull: str, _job: str) -> int:
        return self.entries

    def view(self, _hull: str, _job: str) -> str:
        if self.broken:
            raise OSError("the card does not answer")
        return "view"

    def assess(self, hull: str, job: str, steps: Sequence[str] | None) -> object:
        return self.host.assess(self.view(hull, job), steps)


class Desk:
    """An assessor whose background works when it is told to."""

    def __init__(self) -> None:
        self.tablet, self.told, self.queue = Tablet(), list[object](), list[Callable[[], object]]()
        self.background = Background(lambda work, _after=0.0: self.queue.append(work), self._tell)
        workers: Any = self.background._workers
        workers.submit = lambda work, *args: self.queue.append(lambda: work(*args))
        tablet: Any = self.tablet
        self.assessor: Any = Assessor(tablet, self.background, lambda _key: None)

    def _tell(self, _what: str, failure: object) -> None:
        self.told.append(failure)

    def work(self) -> None:
        while self.queue:
            self.queue.pop(0)()


@pytest.mark.parametrize("failure", [MemoryError(), SystemExit(1), ValueError("odd")])
def test_a_failed_assessment_is_not_taken_for_nothing_found_and_is_tried_again(failure: object) -> None:
    desk = Desk()
    desk.tablet.host.result = failure
    desk.assessor.soon(JOB)
    desk.work()
    assert desk.assessor.known(JOB) is None
    assert len(desk.told) == 1
    desk.tablet.host.result = FOUND
    desk.assessor.soon(JOB)
    desk.work()
    assert desk.assessor.known(JOB) == FOUND


def test_a_view_that_cannot_be_read_locks_nothing() -> None:
    desk = Desk()
    desk.tablet.broken = True
    desk.assessor.soon(JOB)
    with pytest.raises(OSError, match="card"):
        desk.work()
    desk.tablet.broken = False
    desk.tablet.host.result = FOUND
    desk.assessor.soon(JOB)
    desk.work()
    assert desk.assessor.known(JOB) == FOUND


def test_what_was_found_for_fewer_entries_is_not_known_and_never_replaces_newer() -> None:
    desk = Desk()
    desk.tablet.host.result = ("old",)
    desk.assessor.soon(JOB)
    desk.queue.pop(0)()  # the assessment of one entry waits for its worker
    desk.queue.pop(0)()  # and is done, but its result has not come back
    desk.tablet.entries = 2
    desk.tablet.host.result = ("new",)
    desk.assessor.now(JOB)
    desk.work()
    assert desk.assessor.of(JOB) == desk.assessor.known(JOB) == ("new",)
    desk.tablet.entries = 3
    assert desk.assessor.known(JOB) is None


def test_a_job_whose_findings_are_not_known_is_not_ready() -> None:
    from garboard_tablet.models.pages import NOT_ASSESSED, still_to_do

    assert still_to_do([NOT_ASSESSED]) == "1 to do"
