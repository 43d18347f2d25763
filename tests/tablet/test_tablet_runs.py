"""Runs of a step: kept, kept beside or thrown away by a person who knows what each is; none replaces another."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from builders import job_view
from garboard.history.runs import KeptRun
from garboard.recordings import load_recording
from garboard.recordings.simulator import Boat, Order, simulate
from garboard.records import JsonValue, Vessel
from garboard_tablet.models.runs import _doubts
from garboard_tablet.models.sources import Replay
from tablet.driver import Drive, Driver, new_job, view_of

LONG, SHORT = 30, 2
"""The invented guide has seen enough after 200 samples, which is 20 s of the boat."""


def boat(_guide: object, origin: str = "live") -> Replay:
    circles = [Order(seconds=150, engine_speed=1100, rate_of_turn=2.5)]
    return Replay("a boat", simulate(Boat(), circles, start=1e9), origin=origin)


@pytest.fixture
def guide(drive: Drive, tmp_path: Path) -> Driver:
    """At the live guide of a step that takes a recording, fed by a boat."""
    d = drive(tmp_path / "t")
    d.app.live.source_for = boat
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")
    d.now = [0.0]
    d.app.live.time = lambda: d.now[0]
    return d


def run(d: Driver, seconds: float) -> None:
    d.press("start")
    for _ in range(int(seconds * 4)):
        d.now[0] += 0.25
        d.app.shell.page._tick(0.25)
    d.press("stop")


def counting(d: Driver) -> JsonValue:
    value = view_of(d).value("dock.fuel", "log")
    return value["file"] if isinstance(value, dict) else None


def runs(d: Driver) -> tuple[KeptRun, ...]:
    from garboard_tablet.models.runs import recording_asks

    here = d.app.tablet.session.here
    (ask,) = recording_asks(d.app.tablet, here.to("step", step="dock.fuel"))
    kept: tuple[KeptRun, ...] = d.app.tablet.runs(here.hull, here.job, ask)
    return kept


def add_run(d: Driver, seconds: float) -> JsonValue:
    """A run kept beside, without waiting for it."""
    from garboard.recordings.encode import csv_series
    from garboard_tablet.models.runs import recording_asks

    tablet, here = d.app.tablet, d.app.tablet.session.here
    (ask,) = recording_asks(tablet, here.to("step", step="dock.fuel"))
    circles = [Order(seconds=seconds, engine_speed=1100, rate_of_turn=2.5)]
    value: JsonValue = tablet.keep_file(csv_series(simulate(Boat(), circles, start=1e9)), f"{seconds} s")
    tablet.keep_beside(here.hull, here.job, ask, value)
    return value


def default(d: Driver) -> str:
    """The press under the thumb."""
    return str(next(w.name for w in d.widgets() if getattr(w, "kind", "") == "main"))


def test_a_run_is_kept_only_when_somebody_says_so(guide: Driver) -> None:
    """Stop keeps nothing by itself; what the run is stands there, with the word under the thumb."""
    d = guide
    run(d, LONG)
    assert counting(d) is None
    assert d.says("0:30") or d.says("0:29")
    assert default(d) == "keep"
    d.press("keep")
    assert counting(d) is not None
    assert d.app.tablet.session.here.page == "step"


def test_a_run_too_short_says_so_and_throwing_away_is_under_the_thumb(guide: Driver) -> None:
    """Twelve samples after two quick presses are no recording of the step."""
    d = guide
    run(d, SHORT)
    assert d.says("too short")
    assert d.says("of what this step needs")
    assert default(d) == "throw away"
    d.press("throw away")
    assert counting(d) is None
    assert d.app.tablet.session.here.page == "live", "the next run can begin at once"


def test_a_broken_off_run_does_not_replace_a_complete_one(guide: Driver) -> None:
    """The complete run goes on counting, whatever is done with the other; both are listed and either can count."""
    d = guide
    run(d, LONG)
    d.press("keep", "guide")
    good = counting(d)
    run(d, LONG + 5)
    assert d.says("In use now")
    assert default(d) == "keep beside"
    d.press("keep beside", "guide")
    run(d, SHORT)
    d.press("throw away")
    assert counting(d) == good
    assert [(one.counts, one.thrown_away) for one in runs(d)] == [(True, False), (False, False), (False, True)]
    d.press("recordings")
    second = runs(d)[1].file
    d.press(f"run {second[:8]}", "use this one")
    assert counting(d) == second


def test_what_is_done_to_a_run_is_undone_with_one_press(guide: Driver) -> None:
    """Thrown away or set aside, the run in use is in use again; chosen instead of another, the other is."""
    d = guide
    for seconds in (LONG, LONG + 5):
        add_run(d, seconds)
    good, second = (one.file for one in runs(d))
    d.app.way.go(d.app.tablet.session.here.to("recordings", step="dock.fuel"))
    d.press(f"run {good[:8]}", "use this one")
    for name in ("throw away", "keep beside"):
        d.press(name)
        assert counting(d) is None
        d.press("undo")
        assert counting(d) == good
        assert not d.has("undo"), "only once"
    d.press(f"run {second[:8]}", "use this one")
    assert counting(d) == second
    d.press("undo")
    assert counting(d) == good
    assert [one.thrown_away for one in runs(d)] == [False, False]


def test_runs_thrown_away_are_counted_and_shown_on_a_press(guide: Driver) -> None:
    d = guide
    for seconds in (LONG, SHORT):
        add_run(d, seconds)
    d.app.way.go(d.app.tablet.session.here.to("recordings", step="dock.fuel"))
    d.press(f"run {runs(d)[1].file[:8]}", "throw away", f"run {runs(d)[0].file[:8]}")
    gone = next(one.file for one in runs(d) if one.thrown_away)
    assert d.says("Thrown away: 1")
    assert not d.has(f"run {gone[:8]}")
    d.press("thrown away", f"run {gone[:8]}", "bring back")
    assert [one.thrown_away for one in runs(d)] == [False, False]
    d.press("undo")
    assert [one.thrown_away for one in runs(d)] == [False, True]


def test_a_run_shows_its_trace_in_the_list_and_large(guide: Driver) -> None:
    """What the guide showed while it ran, with the band it asked for; what is thinned loses no peak."""
    from garboard_tablet.models.runs import MOST_POINTS, thinned
    from garboard_tablet.ui.drawing import Plot
    from garboard_tablet.ui.run_row import Thumb

    d = guide
    add_run(d, LONG)
    d.app.way.go(d.app.tablet.session.here.to("recordings", step="dock.fuel"))
    (thumb,) = [widget for widget in d.widgets() if isinstance(widget, Thumb)]
    (plot,) = [widget for widget in d.widgets() if isinstance(widget, Plot)]
    trace = thumb._trace
    assert (trace.title, trace.unit, trace.band) == ("Rate of turn, lowest: port", "deg/s", (2, 3))
    assert 28 < trace.points[-1][0] < 31
    assert plot._figure == trace.figure()
    assert plot._figure.bands[0].low == 2
    flat = [(float(n), 0.0 if n != 1234 else 9.0) for n in range(5000)]
    kept = thinned(flat)
    assert len(kept) <= MOST_POINTS
    assert (1234.0, 9.0) in kept


def test_a_run_thrown_away_is_brought_back(guide: Driver) -> None:
    """It is in the list, marked, with one press to bring it back."""
    d = guide
    run(d, SHORT)
    d.press("throw away", "recordings")
    assert d.says("thrown away")
    d.press("bring back", "use this one")
    assert counting(d) == runs(d)[0].file


def test_a_replay_is_asked_about_and_marked_for_good(guide: Driver) -> None:
    """Another boat's log played to the guide is no measurement of this one: not kept by default, marked where kept."""
    d = guide
    d.app.live.source_for = lambda guide: boat(guide, "replay")
    d.press("back", "guide")
    run(d, LONG)
    assert d.says("Keep it only if it is of this boat")
    assert default(d) == "throw away"
    d.press("keep")
    value = view_of(d).value("dock.fuel", "log")
    assert isinstance(value, dict)
    assert value["origin"] == "replay"
    d.press("value Recording of the run", "recordings")
    assert d.says("in use, replay")


def test_a_recording_of_other_engines_is_doubted(guide: Driver) -> None:
    """Engine speed of two engines aboard a boat with one."""
    d = guide
    d.app.tablet.add_piece(d.app.tablet.session.here.hull, ("engines", "centre"))
    circles = [Order(seconds=60, engine_speed=1100, rate_of_turn=2.5)]
    d.app.live.source_for = lambda _guide: Replay(
        "a boat", simulate(Boat(engines=2), circles, start=1e9), origin="live"
    )
    d.press("back", "guide")
    run(d, LONG)
    assert d.says("The recording is of 2 engines; this boat has 1. Is it of another boat?")
    assert default(d) == "throw away"


@pytest.mark.parametrize(
    ("entered", "is_doubted"), [("Long Reach", True), ("second wind", False), ("SECONDWIND", False), ("", False)]
)
def test_a_recording_of_a_boat_of_another_name_is_doubted(tmp_path: Path, entered: str, is_doubted: bool) -> None:
    """One copied over with another boat's: the AIS unit aboard says whose it is."""
    log = tmp_path / "file.jsonl"
    heading = {"path": "navigation.headingTrue", "value": 1.0}
    log.write_text(json.dumps({"updates": [{"values": [{"path": "", "value": {"name": "SECOND WIND"}}, heading]}]}))
    recording, _ = load_recording(log)
    view = job_view(Vessel(hull_number="GBD12345A626", name=entered), {})
    assert any("SECOND WIND" in doubt for doubt in _doubts(view, recording)) is is_doubted


def test_a_run_waits_through_a_restart_until_it_is_decided(guide: Driver) -> None:
    """Gone back from, or dark in the middle: it is on the disk, whole, and another run does not take its place."""
    d = guide
    run(d, LONG)
    d.restart()
    assert d.app.shell.page.title == "Keep this run?"
    d.press("back", "guide")
    assert d.find("recordings").text == "Decide on 1 run"
    d.app.live.source_for = boat
    d.now = [0.0]
    d.app.live.time = lambda: d.now[0]
    d.press("back", "guide")
    run(d, SHORT)
    d.press("back", "guide", "recordings")
    told = [text for text in d.words() if "Keep it, or throw it away." in text]
    day = f"{datetime.fromtimestamp(1e9):%d %b} "  # the 8th or 9th of September, by the zone
    assert [text.startswith(day) for text in told] == [True, True], "each says when it was recorded"
    d.press("pending 0")
    assert default(d) == "keep", "the long one, first recorded"
    assert len(d.app.shell.page.run.samples()) > 800
    d.press("keep")
    recording = view_of(d).recording("dock.fuel", "log")
    assert recording is not None
    [stream] = recording.of("rate_of_turn")
    assert len(stream) > 290, "to the last sample"


def test_every_sample_is_on_the_disk_when_stop_answers(guide: Driver, tmp_path: Path) -> None:
    """Not only those of the last full two seconds."""
    d = guide
    d.press("start")
    for _ in range(4 * 3):
        d.now[0] += 0.25
        d.app.shell.page._tick(0.25)
    taken = len(d.app.shell.page.run.samples)
    d.press("stop")
    (path,) = (tmp_path / "t").glob("recording *")
    heading, *samples = [json.loads(line) for line in path.read_text().splitlines()]
    assert heading == {"source": "a boat", "origin": "live", "subject": []}
    assert len(samples) == taken > 0


def test_a_run_an_older_version_left_is_offered(guide: Driver, tmp_path: Path) -> None:
    """Its file has no heading and the one name there was."""
    d = guide
    here = d.app.tablet.session.here
    old = tmp_path / "t" / f"recording {here.hull} {here.job} dock.fuel"
    old.write_text("".join(json.dumps([1e9 + n / 10, "rate_of_turn", 2.5, "35", "", ""]) + "\n" for n in range(300)))
    d.press("back", "guide", "recordings", "pending 0", "keep")
    recording = view_of(d).recording("dock.fuel", "log")
    assert recording is not None
    assert len(recording.of("rate_of_turn")[0]) == 300
    assert not old.exists()


@pytest.mark.parametrize("decide", ["keep", "keep beside", "throw away"])
def test_a_file_is_asked_about_and_stays_where_it_lies(guide: Driver, tmp_path: Path, decide: str) -> None:
    """Whatever it is called: a file of the inbox is nobody's to delete, and replaces nothing by itself."""
    d = guide
    run(d, LONG)
    d.press("keep")
    good = counting(d)
    content = "time,rate_of_turn [deg/s]\n" + "".join(f"{n / 10},2.5\n" for n in range(300))
    file = tmp_path / "t" / "inbox" / "recording of a turn.csv"
    file.parent.mkdir(exist_ok=True)
    file.write_text(content)
    d.press("value Recording of the run", "recording of a turn.csv")
    assert default(d) == "keep beside"
    d.press(decide)
    assert file.read_text() == content
    assert (counting(d) == good) == (decide != "keep")
    assert len(runs(d)) == (1 if decide == "throw away" else 2)


def test_taking_back_offers_what_stood_before(guide: Driver) -> None:
    """The run that counted before is put back with one press; the other stays listed."""
    d = guide
    run(d, LONG)
    d.press("keep", "guide")
    good = counting(d)
    run(d, LONG + 5)
    d.press("keep", "value Recording of the run", "change", "take back")
    name = next(one.name for one in runs(d) if one.file == good)
    d.press(f"put back {name}")
    assert counting(d) == good
    assert len(runs(d)) == 2


def test_taking_back_a_number_offers_what_stood_before(drive: Drive) -> None:
    """With the instrument it was read with; and what was taken back by mistake is one press away."""
    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.full", "begin")
    d.number("40")
    d.press("value Boat speed")
    d.number("4")
    d.press("yes, save it", "value Boat speed", "change", "put back 40 kn")
    assert view_of(d).value("dock.full", "speed") == "40 kn"
    d.press("change", "take back", "back mistyped")
    assert view_of(d).value("dock.full", "speed") is None
    d.press("put back 40 kn")
    assert view_of(d).value("dock.full", "speed") == "40 kn"


def test_a_put_back_value_keeps_its_instrument(drive: Drive) -> None:
    from garboard.history.authoring import measure
    from garboard_tablet.models.entry import enter

    d = drive()
    new_job(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    entry = measure(
        tablet.author(), tablet.state_of(here.hull), here.job, "dock.full", "speed", "40 kn", instrument="receiver 2"
    )
    tablet.save(entry)
    form = enter(tablet, here.to("entry", "measure", "dock.full", "speed", "", "", step="dock.full"))
    assert form is not None
    form.take_back("mistyped")
    form.put_back(form.stood_before[0])
    found = view_of(d).find("dock.full", "speed")
    assert found is not None
    assert found.instrument == "receiver 2"
