"""A program that is ended in the middle of a run loses nothing of it."""

from __future__ import annotations

import itertools
import os
import signal
from collections.abc import Sequence
from pathlib import Path

import attrs
import pytest

from garboard.samples import Sample
from garboard.steps import Guidance, LiveGuide
from garboard_tablet.models.live import LiveRun, Recorder
from garboard_tablet.models.runs import free_path, left_behind, read_pending
from garboard_tablet.models.session import Route
from prop_check_jobs import job, vessel

ROUTE = Route(page="live", hull="GBD12345A626", job="job-1", step="prop_check.full_throttle")
TICK, A_TICK = 0.1, 15
SHOWN = Guidance(number=None, unit="", word="")
GUIDE = LiveGuide[None](
    key="kept",
    title="Kept",
    quantities=("heading",),
    begin=lambda view: None,
    take=lambda state, sample: None,
    show=lambda state: SHOWN,
)


@attrs.define
class Busy:
    """Sends without end; each value is a number of its own."""

    title: str = "a boat"
    is_simulated: bool = False
    origin: str = "live"
    over: bool = False
    trouble: str = ""
    sent: int = 0

    def start(self, now: float) -> None: ...

    def read(self, now: float) -> Sequence[Sample]:
        self.sent += A_TICK
        return [Sample(now, "heading", float(number), "20") for number in range(self.sent - A_TICK, self.sent)]

    def stop(self) -> None: ...


def _record(folder: Path, say: int) -> None:
    """Record until killed; says one byte after each tick."""
    run = LiveRun(GUIDE, job(vessel(1)), Busy(), Recorder(free_path(folder, ROUTE, ())))
    run.start(0.0)
    for tick in itertools.count(1):
        run.tick(tick * TICK)
        os.write(say, b".")


def test_of_a_run_whose_network_says_late_that_it_is_simulated_nothing_is_kept(tmp_path: Path) -> None:
    """Its first values came before its name: they lay on the disk and were offered later as a run of the boat."""
    source = Busy()
    run = LiveRun(GUIDE, job(vessel(1)), source, Recorder(free_path(tmp_path, ROUTE, ())))
    run.start(0.0)
    for tick in range(1, 100):
        run.tick(tick * TICK)
    assert [*tmp_path.iterdir()]
    source.is_simulated = True
    run.tick(100 * TICK)
    assert [*tmp_path.iterdir()] == []
    source.is_simulated = False  # it is no longer heard
    run.tick(101 * TICK)
    run.stop()
    assert [*tmp_path.iterdir()] == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing a child needs fork")
@pytest.mark.parametrize("ticks", [1, 33])  # long before the first flush, and between two
def test_a_run_whose_program_is_killed_is_there_to_the_last_sample_taken(tmp_path: Path, ticks: int) -> None:
    hears, says = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            _record(tmp_path, says)
        finally:
            os._exit(1)
    os.close(says)
    taken = 0
    while taken < ticks and (more := os.read(hears, ticks)):
        taken += len(more)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    while more := os.read(hears, 1000):
        taken += len(more)
    os.close(hears)
    assert os.WIFSIGNALED(status), "it was killed while it recorded"
    [path] = left_behind(tmp_path, ROUTE, {})
    pending = read_pending(tmp_path, path.name, {})
    assert (pending.source, pending.origin) == ("a boat", "live")
    numbers = [sample.value for sample in pending.samples()]
    assert len(numbers) >= taken * A_TICK
    assert numbers == [float(number) for number in range(len(numbers))]
