"""Where a live guide's samples come from is chosen by touch: the simulated boat, or a recording from the inbox."""

import pytest
from test_tablet_commissioning import new_job

RATE = 2.25
"""What the recording says [deg/s]: no rate of the simulated boat, which holds 2.5 and wanders."""


@pytest.fixture
def at_the_guide(drive, tmp_path):
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
    d.app.time = lambda: d.now[0]
    return d


def run_for(d, seconds):
    for _ in range(int(seconds * 4)):
        d.now[0] += 0.25
        d.app.shell.page._tick(0.25)


def test_a_recording_from_the_inbox_feeds_the_guide(at_the_guide):
    """The number shown is the recording's, at the speed it was made; what is kept names it."""
    d = at_the_guide
    assert d.says("Samples from: simulated boat")
    d.press("source", "source circles.csv")
    assert d.says("Samples from: circles.csv")
    d.press("start")
    run_for(d, 20)
    page = d.app.shell.page
    assert page.run.guidance.number == pytest.approx(RATE)
    assert len(page.run.samples) == 21, "one a second, from the start on"
    d.press("stop")
    here = d.app.tablet.session.here
    view = d.app.tablet.view(here.hull, here.job)
    assert "circles.csv" in view.value("dock.fuel", "log")["name"]
    assert list(view.recording("dock.fuel", "log").of("rate_of_turn")[0].values) == [RATE] * 21


def test_the_choice_holds_until_the_app_is_closed(at_the_guide):
    """Back and at the guide again it is still the recording; a press or a restart changes that."""
    d = at_the_guide
    d.press("source", "source circles.csv", "back", "guide")
    assert d.says("Samples from: circles.csv")
    d.press("source", "source Simulated boat")
    assert d.says("Samples from: simulated boat")
    d.press("source", "source circles.csv")
    d.restart()
    assert d.says("Samples from: simulated boat")


@pytest.mark.parametrize(
    ("name", "reason"),
    [("depth.csv", "holds speed over ground. This guide follows"), ("nothing.log", "nothing.log")],
)
def test_a_recording_the_guide_cannot_use_is_refused_with_the_reason(at_the_guide, name, reason):
    """Nothing changes; the person stays where another can be chosen."""
    d = at_the_guide
    d.press("source", f"source {name}")
    assert d.says("cannot be played")
    assert d.says(reason)
    d.press("back")
    assert d.says("Samples from: simulated boat")


def test_a_recording_taken_away_ends_nothing(at_the_guide):
    """The stick was pulled between choosing and starting: the page says so and the app goes on."""
    d = at_the_guide
    d.press("source", "source circles.csv")
    (d.app.files_come_from / "circles.csv").unlink()
    d.press("start")
    run_for(d, 1)
    assert d.says("No more samples from circles.csv")
    d.press("stop", "source")
    assert d.says("no longer there")
    d.press("source Simulated boat", "start")
    run_for(d, 5)
    assert d.app.shell.page.run.guidance.number is not None


def test_the_source_cannot_be_changed_in_the_middle_of_a_run(at_the_guide):
    """Only sound and stop are offered while it runs."""
    d = at_the_guide
    d.press("start")
    assert not d.has("source")
