"""A finding names the limits its verdict holds its numbers against; what names nothing is refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import attrs
import pytest

from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, Limit, Number, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard.report.json_out import finding_as_plain
from garboard.steps import Calculator, Phase, Step

BASIS = (Basis(BasisKind.COMMON_PRACTICE, "a rule"),)
DROP, LOAD = Number("drop", 2.9, "%", 0.2), Number("load", 12.0, "A")
FOUND = Finding(
    verdict=Verdict.PASS,
    about="circuit",
    sentence="Well.",
    basis=BASIS,
    numbers=(LOAD, DROP),
    places=(("p.s", "drop", "", "VHF"),),
)


def judged(finding: Finding) -> Finding:
    """What the host makes of a plugin's finding."""
    module = ModuleType("p")

    def compute(_view: JobView) -> Iterator[Finding]:
        yield finding

    @hookimpl
    def register_steps(register: Callable[[Step], None]) -> None:
        register(Step(key="p.s", title="S", phase=Phase.ALONGSIDE, order=1))

    @hookimpl
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        register(Calculator(key="p.c", title="C", step="p.s", compute=compute, basis=BASIS))

    vars(module).update(register_steps=register_steps, register_calculators=register_calculators, __version__="1")
    host = make_host((), entry_points=False, modules={"p": module})
    (one,) = host.assess(JobView(vessel=Vessel(hull_number="XYZAB123F526"), job=Job(id="a")))
    return one.finding


def test_a_limit_of_a_number_that_is_given_passes_the_host() -> None:
    limits = (Limit("drop", high=3.0), Limit("load", 0.0, 15.0))
    assert judged(attrs.evolve(FOUND, limits=limits)).limits == limits


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"limits": (Limit("voltage", high=3.0),)}, "'voltage' among 'load', 'drop'"),
        ({"limits": (Limit("drop", high=3.0),), "numbers": (DROP, DROP)}, "once and by that name"),
        ({"limits": (Limit("drop", high=3.0),), "numbers": ()}, "'drop' among none"),
        ({"limits": ("drop", 3.0)}, "limits of a finding is a tuple of Limit"),
        ({"limits": [Limit("drop", high=3.0)]}, "limits of a finding is a tuple of Limit"),
        ({"places": (("p.s", "drop"),)}, "each step, field, row and of"),
    ],
)
def test_what_names_nothing_is_refused(given: dict[str, Any], says: str) -> None:
    found = judged(attrs.evolve(FOUND, **given))
    assert (found.code, found.verdict) == ("p.c.plugin_failed", Verdict.NOT_ENOUGH_DATA)
    assert says in found.sentence


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"low": 4.0, "high": 3.0}, "low 4 lies above high 3"),
        ({}, "neither low nor high"),
        ({"high": float("inf")}, "finite"),
        ({"high": float("nan")}, "high"),
        ({"high": "3 %"}, "high"),
    ],
)
def test_a_limit_that_bounds_nothing_cannot_be_made(given: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Limit("drop", **given)


def test_both_ends_belong_to_a_limit_however_the_number_was_worked_out() -> None:
    limit = Limit("share", 0.1, 0.3)
    assert limit.holds(0.1)
    assert limit.holds(0.1 + 0.2)  # 0.30000000000000004
    assert not limit.holds(0.3001)
    assert not limit.holds(0.0999)


def test_numbers_beyond_their_limit_come_first_then_those_too_close_to_tell() -> None:
    names = ("kept", "close", "beyond")
    numbers = tuple(Number(name, value, "%", 0.2) for name, value in zip(names, (1.0, 2.9, 3.5), strict=True))
    limits = tuple(Limit(name, high=3.0) for name in names)
    bounded = attrs.evolve(FOUND, numbers=numbers, limits=limits).bounded
    assert [number.name for number, _ in bounded] == ["beyond", "close", "kept"]


def test_places_and_limits_are_read_by_other_programs() -> None:
    plain = finding_as_plain(attrs.evolve(FOUND, limits=(Limit("drop", high=3.0),)))
    assert plain["limits"] == [{"number": "drop", "low": None, "high": 3.0}]
    assert plain["places"] == [{"step": "p.s", "field": "drop", "row": "", "of": "VHF"}]
