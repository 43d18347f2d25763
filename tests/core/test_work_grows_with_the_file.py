"""Reading, checking and asking about a job file is work in proportion to its size: counted, not timed."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from functools import lru_cache, partial
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from garboard.faults import InputError
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import check, parse_job_file, view_of
from garboard.job_files.unrecognised import unrecognised
from garboard.judging.assessing import equipment_lacking, questions


@lru_cache(maxsize=1)
def host() -> PluginHost:
    return make_host(entry_points=False)


def job(circuits: int, measurements: list[dict[str, Any]], **more: Any) -> str:
    named = [{"name": f"c{number}", "conductor_awg": "14", "protection": "fuse"} for number in range(circuits)]
    vessel = {"hull_number": "QQZ01234A626", "circuits": named, "engines": [{"position": "centre"}], **more}
    plain = {"format": "garboard job", "version": 1, "vessel": vessel, "job": {"id": "J-1"}}
    return json.dumps({**plain, "measurements": measurements}, indent=1)


def of_circuits(number: int) -> str:
    return job(
        number,
        [
            {"step": "wiring_audit.circuits", "field": "drop", "of": f"c{one}", "value": "0.2 V"}
            for one in range(number)
        ],
    )


def of_measurements(number: int) -> str:
    return job(
        0, [{"step": "fuel_curve.steps", "field": "speed", "row": str(one), "value": "20 kn"} for one in range(number)]
    )


def of_circuits_not_there(number: int) -> str:
    """Every value names a piece that the boat has not."""
    return of_circuits(number).replace('"of": "c', '"of": "d')


def of_faults(number: int) -> str:
    return of_circuits(number).replace('"0.2 V"', '"0.2 cups"').replace('"fuse"', '"none at all"')


def read_and_asked(text: str) -> None:
    try:
        read = parse_job_file(text, "job.json", host())
    except InputError:
        return  # of_faults: telling them is the work
    view = view_of(read, Path())
    check(read, host())
    [*questions(view, host()), *unrecognised(view, host())]
    equipment_lacking(view, host())


def steps_of(work: Callable[[], object]) -> int:
    """How many functions are called, those written in C too, and how many lines run, each time round a loop."""
    count = 0

    def called(frame: FrameType, event: str, arg: object) -> None:
        nonlocal count
        count += event == "c_call"

    def ran(frame: FrameType, event: str, arg: object) -> Callable[..., Any]:
        nonlocal count
        count += 1
        return ran

    before = sys.getprofile(), sys.gettrace()
    sys.setprofile(called)
    sys.settrace(ran)
    try:
        work()
    finally:
        sys.setprofile(before[0])
        sys.settrace(before[1])
    return count


@pytest.mark.parametrize("make", [of_circuits, of_measurements, of_circuits_not_there, of_faults])
def test_twice_the_file_is_twice_the_work(make: Callable[[int], str]) -> None:
    read_and_asked(make(110))  # what is made once
    one, two = (steps_of(partial(read_and_asked, make(number))) for number in (110, 220))
    assert 1.5 < two / one < 2.15


def of_runs(number: int) -> str:
    """Runs at full throttle, labelled alike on two courses."""
    fields = {"speed": "38 kn", "engine_speed": "5600 rpm", "direction": "with", "course": 80}
    runs: list[dict[str, Any]] = []
    for one in range(number):
        for field, value in fields.items():
            own = f"{80 + 90 * (one % 2)} deg" if field == "course" else value
            of = {"of": "centre"} if field == "engine_speed" else {}
            runs.append({"step": "prop_check.full_throttle", "field": field, "row": str(one), "value": own, **of})
    return job(0, runs)


@pytest.mark.parametrize(("make", "number"), [(of_circuits, 25), (of_runs, 110), (of_measurements, 40)])
def test_to_judge_twice_the_file_is_twice_the_work(make: Callable[[int], str], number: int) -> None:
    """Steps that are typed without their fuel flow; runs half of which are labelled against their courses."""
    one, two = (
        steps_of(partial(host().assess, view_of(parse_job_file(make(many), "job.json", host()), Path())))
        for many in (number, 2 * number)
    )
    assert two / one < 2.3


def test_the_count_sees_work_that_grows_faster() -> None:
    """Else it could not fail."""

    def squared(number: int) -> None:
        names = [str(one) for one in range(number)]
        [next(other for other in names if other == one) for one in names]

    one, two = (steps_of(partial(squared, number)) for number in (100, 200))
    assert two / one > 3
