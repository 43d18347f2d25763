"""Where a live guide's samples come from is chosen by touch: the simulated boat, or a recording from the inbox."""

from __future__ import annotations

from pathlib import Path

import pytest

import form_samples
from garboard.findings import Verdict
from garboard.recordings.encode import csv_series
from garboard.report.palette import URGENT_MARK, VERDICT_MARKS
from garboard.samples import Sample
from garboard.steps import Guidance
from garboard_tablet.models.sources import Replay, simulated_for, why_not
from garboard_tablet.ui.sound import beep_for
from tablet.driver import Drive, Driver, new_job

RATE = 2.25
"""What the recording says [deg/s]: no rate of the simulated boat, which holds 2.5 and wanders."""


@pytest.fixture
def at_the_guide(drive: Drive, tmp_path: Path) -> Driver:
    """The app at a live guide, its clock in the test's hand, three files in the inbox."""
    inbox = tmp_path / "t" / "inbox"
    inbox.mkdir(parents=True)
    rows = "".join(f"{second},{RATE}\n" for second in range(60))
    (inbox / "circles.csv").write_text(f"time,rate_of_turn [deg/s]\n{rows}")
    (inbox / "depth.csv").write_text("time,speed_over_ground [kn]\n0,12.5\n1,12.5\n")
    (inbox / "nothing.log").write_text("")
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")
    d.now = [0.0]
    d.app.live.time = lambda: d.now[0]
    return d


def run_for(d: Driver, seconds: float) -> None:
    for _ in range(int(seconds * 4)):
        d.now[0] += 0.25
        d.app.shell.page._tick(0.25)


def test_a_recording_from_the_inbox_feeds_the_guide(at_the_guide: Driver) -> None:
    """The number shown is the recording's, at the speed it was made; what is kept names it."""
    d = at_the_guide
    d.press("source", "source circles.csv")
    assert d.says("Samples from: circles.csv")
    d.press("start")
    run_for(d, 20)
    page = d.app.shell.page
    assert page.run.guidance.number == pytest.approx(RATE)
    assert len(page.run.samples) == 21, "one a second, from the start on"
    d.press("stop", "keep")
    here = d.app.tablet.session.here
    view = d.app.tablet.view(here.hull, here.job)
    assert "circles.csv" in view.value("dock.fuel", "log")["name"]
    assert list(view.recording("dock.fuel", "log").of("rate_of_turn")[0].values) == [RATE] * 21


def test_the_choice_holds_until_the_app_is_closed(at_the_guide: Driver) -> None:
    """Back and at the guide again it is still the recording; a press or a restart changes that."""
    d = at_the_guide
    d.press("source", "source circles.csv", "back", "guide")
    assert d.says("Samples from: circles.csv")
    d.press("source", "source Simulated boat")
    assert d.says("Samples from: simulated boat")
    d.press("source", "source circles.csv")
    d.restart()
    assert d.says("Samples from: not chosen yet")


def test_there_is_no_source_until_one_is_chosen(at_the_guide: Driver) -> None:
    """A tablet at work cannot start a guide by itself: what would it measure?"""
    d = at_the_guide
    assert d.says("Samples from: not chosen yet")
    assert not d.has("start")
    assert d.find("source").kind == "main"


def test_a_demo_begins_with_the_simulated_boat(drive: Drive) -> None:
    """To try the app out, nothing has to be chosen first."""
    d = drive(demo=True)
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")
    assert d.says("Samples from: simulated boat")


@pytest.mark.parametrize("demo", [False, True], ids=["at work", "demo"])
def test_a_simulated_run_says_so_and_is_never_kept(drive: Drive, tmp_path: Path, demo: bool) -> None:
    """SIMULATED stands where a verdict would, "Stop" keeps nothing, and a run that broke off leaves nothing behind."""
    d = drive(tmp_path / "t", demo=demo)
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide", "source", "source Simulated boat")
    d.now = [0.0]
    d.app.live.time = lambda: d.now[0]
    d.press("start")
    run_for(d, 20)
    assert d.says("SIMULATED: hold it here")
    assert d.find("stop").text == "STOP"
    assert not list((tmp_path / "t").glob("recording *")), "nothing is on the disk to be found later"
    entries = len(d.app.tablet.files.entries(d.app.tablet.session.here.hull))
    d.press("stop")
    here = d.app.tablet.session.here
    assert here.page == "live"
    assert d.says("Nothing of this run is kept")
    assert d.app.tablet.view(here.hull, here.job).value("dock.fuel", "log") is None
    assert len(d.app.tablet.files.entries(here.hull)) == entries


def test_a_simulated_run_does_not_wipe_out_a_real_one_that_broke_off(at_the_guide: Driver) -> None:
    """The recording the tablet went dark on is still offered after somebody has looked at the simulated boat."""
    d = at_the_guide
    d.press("source", "source circles.csv", "start")
    run_for(d, 20)
    d.app.shell.page._halt()
    d.app.way.back()
    d.step()
    d.press("guide", "source", "source Simulated boat", "start")
    run_for(d, 5)
    d.press("stop", "recordings", "pending 0", "keep")
    here = d.app.tablet.session.here
    view = d.app.tablet.view(here.hull, here.job)
    assert set(view.recording("dock.fuel", "log").of("rate_of_turn")[0].values) == {RATE}


def simulated_file(folder: Path) -> Path:
    """A file that carries the simulator's mark, such as somebody might have exported."""
    samples = [sample for sample in simulated_for({"rate_of_turn"}).samples if sample.time <= 20]
    path = folder / "practice.csv"
    path.write_bytes(csv_series(samples))
    return path


def test_a_simulated_recording_from_the_inbox_is_neither_played_nor_taken(at_the_guide: Driver) -> None:
    """Its mark goes with it into a file and back; the page says what it is."""
    d = at_the_guide
    simulated_file(d.app.context.files_come_from)
    d.press("source", "source practice.csv")
    assert d.says("practice.csv is a simulated run, not a measurement")
    d.press("back", "back", "value Recording of the run", "practice.csv")
    assert d.says("practice.csv is a simulated run, not a measurement")
    here = d.app.tablet.session.here
    assert d.app.tablet.view(here.hull, here.job).value("dock.fuel", "log") is None


def test_a_simulated_recording_named_when_starting_is_never_kept(at_the_guide: Driver) -> None:
    """`--replay` goes past the page where it would have been refused."""
    d = at_the_guide
    d.app.live.replay(simulated_file(d.app.context.files_come_from))
    d.press("back", "guide", "start")
    run_for(d, 5)
    assert d.says("SIMULATED")
    d.press("stop")
    assert d.app.tablet.session.here.page == "live"


@pytest.mark.parametrize(
    ("name", "reason"),
    [("depth.csv", "contains speed over ground. This guide follows"), ("nothing.log", "nothing.log")],
)
def test_a_recording_the_guide_cannot_use_is_refused_with_the_reason(
    at_the_guide: Driver, name: str, reason: str
) -> None:
    """Nothing changes; the person stays where another can be chosen."""
    d = at_the_guide
    d.press("source", f"source {name}")
    assert d.says("cannot be played")
    assert d.says(reason)
    d.press("back")
    assert d.says("Samples from: not chosen yet")


@pytest.mark.parametrize(("form", "is_refused"), [("dump_bracketed", True), ("wrapped_b", True), ("wrapped_a", False)])
def test_a_recording_without_times_cannot_be_played(tmp_path: Path, form: str, is_refused: bool) -> None:
    """All of it would pass in one moment; a time without a date is a time."""
    (tmp_path / "run.log").write_bytes(form_samples.SAMPLES[form]())
    why = why_not(tmp_path / "run.log", ("heading", "engine_speed"))
    assert ("tells no times" in why) is is_refused


@pytest.mark.parametrize(("times", "played"), [
    ([0, 1, 2, 3602, 3603], [0, 1, 2, 7, 8]),  # an hour of silence is not waited for
    ([3600, 3601, 0, 1, 2], [0, 1, 1, 2, 3]),  # a clock set back by an hour lets nothing through at once
    ([0, 4, 8, 7, 9], [0, 4, 8, 8, 9]),
])  # fmt: skip
def test_a_recording_is_played_as_it_was_made_but_for_its_silences(times: list[float], played: list[float]) -> None:
    replay = Replay("log", [Sample(float(time), "heading", 80.0) for time in times])
    replay.start(0.0)
    assert [second for second in range(10) for _ in replay.read(float(second))] == played


def test_a_recording_taken_away_ends_nothing(at_the_guide: Driver) -> None:
    """The stick was pulled between choosing and starting: the page says so and the app goes on."""
    d = at_the_guide
    d.press("source", "source circles.csv")
    (d.app.context.files_come_from / "circles.csv").unlink()
    d.press("start")
    run_for(d, 1)
    assert d.says("No more samples from circles.csv")
    d.press("stop", "source")
    assert d.says("no longer there")
    d.press("source Simulated boat", "start")
    run_for(d, 5)
    assert d.app.shell.page.run.guidance.number is not None


def test_what_is_urgent_has_its_own_shape_and_is_sounded_until_it_is_done(
    at_the_guide: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Easing off is a safety instruction: red and pointing down, and heard again and again, unlike all else."""
    d = at_the_guide
    rates = [2.5] * 10 + [8.0] * 10 + [2.5] * 10
    rows = "".join(f"{second},{rate}\n" for second, rate in enumerate(rates))
    (d.app.context.files_come_from / "fast.csv").write_text(f"time,rate_of_turn [deg/s]\n{rows}")
    heard = []
    monkeypatch.setattr("garboard_tablet.ui.sound.play", lambda guidance: heard.append(guidance.word))
    d.press("source", "source fast.csv", "cue", "start")
    marks = []
    for seconds in (9, 10, 8):
        run_for(d, seconds)
        marks.append(d.app.shell.page._view._shape.mark)
    assert marks == [VERDICT_MARKS[Verdict.PASS], URGENT_MARK, VERDICT_MARKS[Verdict.PASS]]
    assert heard.count("hold it here") == 2, "once each time it begins"
    assert heard.count("ease off") == pytest.approx(10 / 1.5, abs=1)
    urgent, done, on_target, other = (
        beep_for(Guidance(number=None, unit="", word="", urgent=u, done=d, on_target=t))
        for u, d, t in ((True, True, True), (False, True, True), (False, False, True), (False, False, False))
    )
    assert len({urgent, done, on_target, other}) == 4
    assert urgent == max((urgent, done, on_target, other), key=lambda beep: beep[1]), "the longest"


def test_the_source_cannot_be_changed_in_the_middle_of_a_run(at_the_guide: Driver) -> None:
    """Only sound and stop are offered while it runs."""
    d = at_the_guide
    d.press("source", "source circles.csv", "start")
    assert not d.has("source")
