"""Two plugins of a shop's never share a key or a code: the second is refused with both files, or its finding is."""

from __future__ import annotations

from pathlib import Path

import pytest

from garboard.findings import Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.plugin_trial import try_plugin
from garboard.testing import job_from
from histories import HULL, JOB

RAIL = """
format = "garboard check"
version = 1
name = "rail"
title = "Rail"
edition = "1"
basis = {kind = "shop rule", text = "ours"}
[[step]]
name = "look"
title = "Look"
phase = "alongside"
order = 391
[[step.field]]
name = "loose"
title = "Loose"
kind = "yes or no"
[[result]]
name = "height"
title = "Height"
step = "look"
about = "rail"
[[result.case]]
verdict = "fail"
code = "low"
when = "loose"
sentence = "Mend it."
[[result.case]]
verdict = "pass"
code = "high"
sentence = "It holds."
"""
PYTHON = """
from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, Verdict
from garboard.steps import Calculator, Field, Kind, Phase, Step

OURS = (Basis(BasisKind.SHOP_RULE, "ours"),)

def compute(view):
    yield Finding(code={code}, verdict=Verdict.{verdict}, about="pump", sentence="Seen.", basis=OURS)

@hookimpl
def register_steps(register):
    register(Step(key="{step}", title="Look", phase=Phase.ALONGSIDE, order=392,
                  fields=(Field(name="seen", title="Seen", kind=Kind.YES_NO),)))

@hookimpl
def register_calculators(register):
    register(Calculator(key="{key}", title="Pump", step="{step}", compute=compute, basis=OURS))
"""


def written(folder: Path, name: str, *, key: str = "", step: str = "", code: str = '""', verdict: str = "FAIL") -> Path:
    key, step = key or f"{name}.pump", step or f"{name}.step"
    content = RAIL if name == "rail" else PYTHON.format(key=key, step=step, code=code, verdict=verdict)
    file = folder / f"{name}{'.toml' if name == 'rail' else '.py'}"
    file.write_text(content, encoding="utf-8")
    return file


def host_of(*files: Path) -> PluginHost:
    return make_host((), entry_points=False, files=files)


SHARED = {
    "a calculator": ({"name": "one"}, {"name": "two", "key": "one.pump"}, "one.pump"),
    "a step": ({"name": "one"}, {"name": "two", "step": "one.step"}, "one.step"),
    "a step and a calculator": ({"name": "one"}, {"name": "two", "key": "one.step"}, "one.step"),
    "keys that differ in no code": ({"name": "one", "key": "One.Pump"}, {"name": "two", "key": "one.pump"}, "one.pump"),
    "a code of a finding": (
        {"name": "one", "key": "yard.a", "code": '"yard.pump.dead"'},
        {"name": "two", "key": "yard.b", "code": '"yard.pump.dead"'},
        "yard.pump.dead",
    ),
    "a code that the host makes": (
        {"name": "one"},
        {"name": "two", "key": "one.other", "code": '"one.pump.fail"'},
        "one.pump.fail",
    ),
    "a code of a check file": (
        {"name": "rail"},
        {"name": "two", "key": "rail.other", "code": '"rail.height.low"'},
        "rail.height.low",
    ),
}


@pytest.mark.parametrize("what", SHARED)
def test_the_second_is_refused_with_both_files_and_what_to_rename(tmp_path: Path, what: str) -> None:
    first, second, shared = SHARED[what]
    files = [written(tmp_path, **first), written(tmp_path, **second)]
    host = host_of(*files)
    (problem,) = host.problems
    assert (problem.name, problem.code) == ("two", "key_taken")
    for said in (*(file.name for file in files), shared, "rename"):
        assert said in problem.in_words
    assert [plugin.name for plugin in host.plugins] == [first["name"]]
    view = job_from({"vessel": {"hull_number": HULL}, "job": {"id": JOB}}, host)
    assert {one.plugin for one in host.assess(view)} == {first["name"]}


def test_it_is_the_same_in_a_process_of_its_own_where_a_plugin_is_tried(tmp_path: Path) -> None:
    first, second, _ = SHARED["a code of a finding"]
    files = [written(tmp_path, **first), written(tmp_path, **second)]
    (problem,) = try_plugin(files[1], (), beside=files[:1]).problems
    assert problem.reason == host_of(*files).problems[0].reason


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_code_that_is_put_together_is_never_told_as_the_others(tmp_path: Path, order: tuple[int, int]) -> None:
    """No source names it, so it is told when it is given."""
    files = (
        written(tmp_path, "one", code='"one.pump.dead"', verdict="PASS"),
        written(tmp_path, "two", code='".".join(("one", "pump", "dead"))'),
    )
    host = host_of(*(files[place] for place in order))
    assert host.problems == []
    view = job_from({"vessel": {"hull_number": HULL}, "job": {"id": JOB}}, host)
    found = {one.plugin: one.finding for one in host.assess(view)}
    assert (found["one"].code, found["one"].verdict) == ("one.pump.dead", Verdict.PASS)
    assert (found["two"].code, found["two"].verdict) == ("two.pump.plugin_failed", Verdict.NOT_ENOUGH_DATA)
    assert "'one.pump.dead', which is of one (one.py)" in found["two"].sentence


def test_a_second_plugin_of_a_name_is_told_with_the_file_of_the_first(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    host = host_of(written(tmp_path, "rail"), tmp_path / "b" / "rail.py")
    assert "rail (rail.toml) is loaded already" in host.problems[0].reason
