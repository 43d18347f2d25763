"""A plugin can judge a recording on its own, without a job."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import attrs
import pytest
from click.testing import CliRunner

from garboard import hookimpl
from garboard.commands.recording import _findings
from garboard.commands.recording import command as recording_command
from garboard.findings import Basis, BasisKind, Finding, Lack, NotEnoughData, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import _measured
from garboard.recordings import load_recording
from garboard.recordings.encode import csv_series
from garboard.report.terminal import Tools
from garboard.samples import Recording, Sample, gather, marked
from garboard.steps import RecordingJudge


def count_of_samples(recording: Recording) -> list[Finding]:
    count = sum(len(stream) for stream in recording.streams.values())
    basis = Basis(BasisKind.COMMON_PRACTICE, "more samples, better view")
    return [Finding(verdict=Verdict.ADVISE, about=recording.name, sentence=f"{count} samples.", basis=(basis,))]


def plugin_with(*judges: RecordingJudge) -> ModuleType:
    @hookimpl
    def register_recording_judges(register: Callable[[RecordingJudge], None]) -> None:
        for judge in judges:
            register(judge)

    plugin = ModuleType("judging")
    vars(plugin)["register_recording_judges"] = register_recording_judges
    return plugin


def judge(key: str, option: str = "count") -> RecordingJudge:
    return RecordingJudge(key=key, title="Count", option=option, judge=count_of_samples)


def test_a_registered_judge_is_offered_and_judges_a_recording() -> None:
    host = make_host((), entry_points=False, modules={"judging": plugin_with(judge("z.count"), judge("a.count"))})
    assert [offered.key for offered in host.recording_judges] == ["a.count", "z.count"]
    recording = gather("day one", [Sample(0.0, "heading", 10.0), Sample(1.0, "heading", 11.0)])
    (finding,) = host.recording_judges[0].judge(recording)
    assert finding.sentence == "2 samples."


def test_a_key_registered_twice_is_a_problem_and_names_the_plugin() -> None:
    host = make_host((), entry_points=False, modules={"judging": plugin_with(judge("a.count"), judge("a.count"))})
    assert host.recording_judges == ()
    assert [problem.name for problem in host.problems] == ["judging"]
    assert "a.count" in host.problems[0].reason


@pytest.mark.parametrize("option", ["", "--turns", "Turns", "two words"])
def test_an_option_that_cannot_be_typed_is_refused(option: str) -> None:
    with pytest.raises(ValueError, match="option must be lower-case letters"):
        judge("a.count", option)


def test_a_simulated_run_is_not_judged_and_is_told_for_what_it_is(tmp_path: Path) -> None:
    """The mark goes into a file and back; the summary says it first."""
    path = tmp_path / "practice.csv"
    path.write_bytes(csv_series(marked(Sample(float(at), "heading", 10.0, "20") for at in range(5))))
    tools = Tools()
    vars(tools)["host"] = make_host((), entry_points=False, modules={"judging": plugin_with(judge("a.count"))})
    said = CliRunner().invoke(recording_command, [str(path), "--count"], obj=tools)
    assert said.exit_code == 0
    assert "A simulated run, not a measurement" in said.output
    assert "A simulated run is not a measurement; record aboard." in " ".join(said.output.split())
    assert "5 samples" not in said.output


def test_what_a_judge_says_or_raises_is_cut() -> None:
    def long(recording: Recording) -> Iterator[Finding]:
        yield attrs.evolve(count_of_samples(recording)[0], sentence="w" * 10_000)
        raise ValueError("y" * 10_000)

    recording = gather("day one", [Sample(0.0, "heading", 10.0), Sample(1.0, "heading", 11.0)])
    found, fault = _findings(RecordingJudge(key="a.long", title="Long", option="long", judge=long), recording)
    assert max(len(found.sentence), len(fault.sentence)) < 800
    assert (found.code, fault.code) == ("a.long.advise", "a.long.plugin_failed")


def test_a_recording_without_times_is_not_judged(tmp_path: Path) -> None:
    """Neither by a judge of recordings nor by a calculator of a job; one with times is."""
    path = tmp_path / "order_only.txt"
    path.write_text("<0x09f11203> [8] 00 10 20 ff 7f ff 7f fd\n" * 5, encoding="ascii")
    tools = Tools()
    vars(tools)["host"] = make_host((), entry_points=False, modules={"judging": plugin_with(judge("z.count"))})
    said = CliRunner().invoke(recording_command, [str(path), "--count"], obj=tools)
    assert "The recording tells no times; record again in a form that does." in " ".join(said.output.split())
    assert "5 samples" not in said.output
    with pytest.raises(NotEnoughData, match="the recording tells no times") as refused:
        _measured(lambda reference: load_recording(tmp_path / reference)[0], path.name)
    assert [missing.lack for missing in refused.value.missing] == [Lack.UNSUITABLE]
    path.write_text("(1777887000.5) can0 09F11203#001020FF7FFF7FFD\n" * 5, encoding="ascii")
    assert "5 samples." in CliRunner().invoke(recording_command, [str(path), "--count"], obj=tools).output
    assert len(_measured(lambda reference: load_recording(tmp_path / reference)[0], path.name).streams) == 1
