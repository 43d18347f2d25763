"""The real app, off screen and by touch, through a whole invented commissioning."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from garboard.disk.journal import file_name
from garboard.history.replay import replay
from garboard.recordings.simulator import Boat, Order, simulate
from garboard.report.palette import NIGHT
from garboard_tablet.models.sources import Replay
from tablet.driver import Drive, new_job, sign, type_hull, view_of
from tablet.layout_lint import hex_of


def test_a_whole_commissioning_by_touch(drive: Drive) -> None:
    """New job, engines, every step, a wrong key put right, a rotation, both signatures."""
    d = drive()
    d.press("new job")
    type_hull(d, "XYZAB123F526")
    d.press("open job")
    assert d.says("XYZAB123F526")

    d.press("tab vessel", "Equipment", "kind engines", "2 engines", "back", "back")
    assert [engine.position for engine in view_of(d).vessel.engines] == ["port", "starboard"]

    d.press("next step", "choice Yes", "choice hoarse")
    d.write("louder than the neighbour's")
    d.press("next")
    d.press("key 1", "key 5", "key erase", "key 2", "next")  # 15 was a slip of the finger
    assert view_of(d).value("dock.horn", "fuses") == 12
    assert view_of(d).state_of("dock.horn") == "done", "all of it passes: nobody need say so"

    d.press("next step")
    assert d.says("kill cord worn")
    d.press("begin")
    d.resize(800, 1280)
    d.press("key 5", "key 8")
    d.resize(1280, 800)
    d.press("key 4", "key 0", "next")
    d.number("5790")
    d.number("412")
    assert d.says("Must be between 0 and 200 kn"), "412 kn is refused"
    d.number("95")
    assert d.says("outside the usual"), "95 kn has to be asked again"
    d.press("next")
    d.number("41.2")
    view = view_of(d)
    assert view.value("dock.full", "engine_speed", of="port") == "5840 rev/min"
    assert view.value("dock.full", "speed") == "41.2 kn"
    assert d.says("5815 rev/min at 41.2 kn"), "the verdict stands under the step at once"
    d.press("finding 0")
    assert d.says("± 25 rev/min")
    assert d.says("the engine maker's manual"), "why opens the basis"
    d.press("back")

    d.press("next step")
    for engine_speed, flow in (("1000", "3.1"), ("2000", "8.40"), ("3000", "14.25")):
        d.number(engine_speed)
        d.number(flow)
    d.press("no more rows", "skip")
    assert view_of(d).rows("dock.fuel") == ("1", "2", "3")
    assert view_of(d).value("dock.fuel", "flow", row="2") == "8.40 gal/h", "digits stay as typed"

    d.press("next step", "choice Yes", "skip")
    sign(d)
    d.press("step ended")

    d.press("hand over")
    assert d.says("Nothing is missing")
    d.press("technician signs")
    part = 0
    d.press("part 0")
    while not d.says("Boat speed"):
        part += 1
        d.press("all of it", f"part {part}")
    assert d.says("41.2 kn"), "what is signed for is listed value by value"
    d.press("all of it", "go on")
    sign(d)
    d.press("owner signs", "go on")
    d.write("Ada Owner")
    d.press("save it")
    sign(d)
    signed = {(sign_off.role, sign_off.name, sign_off.stale) for sign_off in view_of(d).sign_offs}
    assert signed == {("technician", "Robin", False), ("owner", "Ada Owner", False)}

    d.press("back", "back")
    assert d.says("Handed over")


def test_a_value_is_on_the_disk_before_the_next_question(drive: Drive, tmp_path: Path) -> None:
    """What another program reads from the folder holds the value as soon as the next field shows."""
    from garboard.disk.hullfile import HullFolder

    d = drive(tmp_path / "t")
    new_job(d)
    d.press("step dock.horn", "choice Yes")
    assert d.says("Its tone")
    with HullFolder(tmp_path / "t", read_only=True) as folder:
        state = replay("XYZAB123F526", folder.entries("XYZAB123F526"))
    assert state.view(state.jobs[0]).value("dock.horn", "heard") is True


def test_back_loses_nothing(drive: Drive) -> None:
    """Digits typed and not yet confirmed are there again after going back and returning."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No", "choice silent", "skip", "key 0", "key 7", "back")
    d.press("value Spare fuses aboard")
    assert d.says("07")


def test_a_changed_value_makes_signatures_say_so(drive: Drive) -> None:
    """A value entered after a signature shows on it."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "back", "back")
    d.press("hand over", "technician signs", "go on")
    sign(d)
    assert d.says("covers all")
    d.press("back", "step dock.horn", "value Heard from the end of the dock", "choice No", "back", "back", "hand over")
    assert d.says("changed since")


def test_two_fingers_on_one_press_count_once(drive: Drive) -> None:
    """A wet finger that bounces on Add engines adds them once, and never presses what comes after it."""
    from garboard_tablet.ui.widgets import Press

    d = drive()
    still = Press.now()
    Press.now = staticmethod(lambda: still)  # every further touch comes too soon
    Press.quiet_until = 0.0
    d.press("new job")
    d.press("key X")
    assert d.app.tablet.session.typed.get("new hull number", "") == "", "the page has only just come up"


def test_look_alikes_are_offered_and_never_applied(drive: Drive) -> None:
    """A number that differs by a letter for a digit offers the vessel that is here."""
    d = drive()
    new_job(d, "XYZ10203F526")
    d.press("back")
    d.press("new job")
    type_hull(d, "XYZ1O203F526")
    assert d.has("Take XYZ10203F526")
    assert d.app.tablet.session.typed["new hull number"] == "XYZ1O203F526"


def test_values_that_disagree_are_settled_with_a_reason(drive: Drive) -> None:
    """Two tablets' values are both shown; the choice takes a reason and replaces them both."""
    from garboard.disk.clock import Stamp
    from garboard.disk.entries import make_entry

    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "back")
    here = d.app.tablet.session.here
    key = ("dock.horn", "heard", "", "")
    other = make_entry(
        "measure",
        here.hull,
        dev="other",
        by="Kim",
        clock=Stamp(1, 0),
        at="2026-05-14T09:30:00+02:00",
        job=here.job,
        subject=key,
        value=False,
    )
    d.app.tablet.save(other)
    d.app.screen.redraw()
    d.step()
    assert d.says("values disagree")
    d.press("value Heard from the end of the dock", "value no", "reason read again")
    view = d.app.tablet.view(here.hull, here.job)
    assert view.value(*key[:2]) is False
    assert view.disagreements == ()


def a_boat(_guide: object) -> Replay:
    """A boat on its circles, as it would come over its network."""
    circles = [Order(seconds=150, engine_speed=1100, rate_of_turn=2.5)]
    return Replay("a boat", simulate(Boat(), circles, start=1e9), origin="live")


def test_the_live_guide_follows_and_keeps_its_recording(drive: Drive) -> None:
    """Fed by a boat, the guide shows number and word; stopping keeps the recording under the step."""
    d = drive()
    d.app.live.source_for = a_boat
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")
    now = [0.0]
    d.app.live.time = lambda: now[0]
    d.press("start")
    page = d.app.shell.page
    for _ in range(80):
        now[0] += 0.25
        page._tick(0.25)
    assert page.run.guidance.number is not None
    assert 1.5 < page.run.guidance.number < 3.5
    assert d.says("hold it here")
    d.press("stop", "keep")
    here = d.app.tablet.session.here
    recording = d.app.tablet.view(here.hull, here.job).recording("dock.fuel", "log")
    assert len(recording.of("rate_of_turn")[0]) > 150
    assert here.page == "step"


def test_a_punch_list_is_settled_with_one_press(drive: Drive) -> None:
    """A remark goes on the list, stands before hand over, and is put right with a press."""
    d = drive()
    new_job(d)
    d.press("punch list", "add punch")
    d.write("Port nav light is dark")
    d.press("save it", "back")
    d.press("tab missing")
    assert d.says("Port nav light is dark"), "it stands in the way of hand over"
    d.press("punch list", "punch Port nav light is dark")
    assert d.says("put right")
    assert [note.settled for note in view_of(d).notes] == [True]


def test_a_piece_like_the_one_before_takes_one_press(drive: Drive) -> None:
    """Starboard takes over everything known of port but its serial number."""
    d = drive()
    new_job(d)
    d.press("tab vessel", "Equipment", "kind engines", "2 engines", "piece port")
    d.press("value engines/port/maker")
    d.write("Northwind")
    d.press("next")
    d.write("N-200")
    d.press("next")
    d.write("SER-1")
    d.press("next", "back", "back", "piece starboard", "same as")
    engines = view_of(d).vessel.engines
    assert (engines[1].maker, engines[1].model, engines[1].serial_number) == ("Northwind", "N-200", "")


def test_who_is_working_is_asked_before_the_first_job(drive: Drive) -> None:
    """A tablet that knows nobody asks once; the name then stands in every entry."""
    d = drive(working="")
    d.press("new job")
    assert d.says("Your name")
    d.write("Kim")
    d.press("save it")
    type_hull(d, "XYZAB123F526")
    d.press("open job", "step dock.horn", "choice Yes")
    here = d.app.tablet.session.here
    assert {entry.by for entry in d.app.tablet.files.entries(here.hull)} == {"Kim"}


def test_a_value_is_taken_back_with_a_reason(drive: Drive) -> None:
    """It no longer stands, and stays in the hull's file struck out, with the reason."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No", "back", "value Heard from the end of the dock", "change", "take back")
    d.press("back pressed by mistake")
    view = view_of(d)
    assert view.find("dock.horn", "heard") is None
    here = d.app.tablet.session.here
    assert [struck.reason for struck in d.app.tablet.state_of(here.hull).retractions(here.job)] == [
        "pressed by mistake"
    ]


def test_a_field_of_the_vessel_that_disagrees_leads_to_where_it_is_settled(drive: Drive) -> None:
    """Two beams stand in the way of hand over; pressing the line opens the choice."""
    from garboard.disk.clock import Stamp
    from garboard.disk.entries import make_entry

    d = drive()
    new_job(d)
    here = d.app.tablet.session.here
    for number, beam in enumerate(("8.5 ft", "9.0 ft")):
        entry = make_entry(
            "field",
            here.hull,
            dev=f"tablet {number}",
            by="Kim",
            clock=Stamp(1, number),
            at="2026-05-14T09:30:00+02:00",
            subject=("beam",),
            value=beam,
        )
        d.app.tablet.save(entry)
    d.app.screen.redraw()
    d.press("tab missing", "missing beam: 8.5 ft against 9.0 ft. Choose the right one.")
    d.press("value 9.0 ft", "reason read again")
    assert str(view_of(d).vessel.beam) == "9.0 ft"


def test_a_run_that_broke_off_is_offered_again(drive: Drive, tmp_path: Path) -> None:
    """What the boat sent before the tablet went dark is on the disk, and becomes the step's recording with a press."""
    d = drive(tmp_path / "t")
    d.app.live.source_for = a_boat
    new_job(d)
    d.press("tab under way", "step dock.fuel", "back", "guide")
    now = [0.0]
    d.app.live.time = lambda: now[0]
    d.press("start")
    for _ in range(100):
        now[0] += 0.1
        d.app.shell.page._tick(0.1)
    d.app.shell.page._halt()  # as if it had gone dark: nobody pressed stop
    d.app.way.back()
    d.step()
    assert view_of(d).recording("dock.fuel", "log") is None
    d.press("guide", "recordings", "pending 0", "keep")
    recording = view_of(d).recording("dock.fuel", "log")
    assert recording is not None
    times = recording.of("rate_of_turn")[0].times
    assert times[-1] - times[0] > 7, "all but the last two seconds of ten"
    assert list((tmp_path / "t").glob("recording *")) == []


def test_a_file_put_beside_the_app_becomes_the_steps_recording(drive: Drive, tmp_path: Path) -> None:
    """A recording laid into the folder the page names is listed, kept whole, and read by the calculators."""
    content = b"time,rate_of_turn@35 [deg/s]\n0,2.1\n1,2.4\n2,2.6\n"
    (tmp_path / "t" / "inbox").mkdir(parents=True)
    (tmp_path / "t" / "inbox" / "turn.csv").write_bytes(content)
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("tab under way", "step dock.fuel", "skip", "skip")
    d.press("back", "value Recording of the run", "turn.csv", "keep")
    view = view_of(d)
    kept: Any = view.value("dock.fuel", "log")
    assert kept["name"] == "turn.csv"
    assert d.app.tablet.files.attachments.get(kept["file"]) == content
    recording = view.recording("dock.fuel", "log")
    assert recording is not None
    assert recording.of("rate_of_turn")[0].values == (2.1, 2.4, 2.6)


def test_search_finds_a_vessel_by_part_of_its_number(drive: Drive) -> None:
    """Any part of the number or the name, in any case."""
    d = drive()
    for number in ("XYZAB123F526", "XYZCD456F526"):
        new_job(d, number)
        d.press("back")
    assert d.has("vessel XYZAB123F526")
    d.write("cd4")
    assert not d.has("vessel XYZAB123F526")
    d.press("vessel XYZCD456F526")
    assert d.app.tablet.session.here.hull == "XYZCD456F526"


def test_night_colours_and_units_are_kept(drive: Drive, tmp_path: Path) -> None:
    """Settings hold after a restart; metric offers metres where a step says feet."""
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("back", "settings", "set Night", "set Metric first")
    assert hex_of(d.window.clearcolor) == NIGHT.ground
    d.press("back")
    d.press("vessel XYZAB123F526", "tab vessel", "Equipment", "the boat", "value beam")
    assert d.says("Unit: m")
    again = d.restart()
    assert again.app.tablet.settings.dark is True
    assert hex_of(d.window.clearcolor) == NIGHT.ground
    from garboard_tablet.ui.theme import theme

    assert theme.dark is True
    theme.use(dark=False)


def test_the_owners_book_is_made_where_the_office_part_is(drive: Drive, tmp_path: Path) -> None:
    """A PDF in the tablet's folder, and the page says where."""
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("hand over", "book", "make book")
    [book] = (tmp_path / "t" / "books").glob("*.pdf")
    assert book.read_bytes().startswith(b"%PDF-")
    assert d.says("The book is made")


def test_the_owners_book_says_what_could_not_be_read(drive: Drive, tmp_path: Path) -> None:
    """A line of the boat's file was damaged and set aside when the tablet began."""
    from pypdf import PdfReader

    d = drive(tmp_path / "t")
    new_job(d)
    hull = d.app.tablet.session.here.hull
    path = tmp_path / "t" / "hulls" / file_name(hull)
    lost = lines_lost_from(path)
    d.press("hand over", "book")
    (path.parent / f"{path.name}.damaged-1").write_bytes(lost)
    d.press("make book")
    [book] = (tmp_path / "t" / "books").glob("*.pdf")
    assert "1 entry could not be read" in PdfReader(book).pages[0].extract_text()


def test_a_hull_file_that_is_gone_is_told_where_its_boat_would_stand(drive: Drive, tmp_path: Path) -> None:
    """The list said 'None on this tablet yet' and 'All is saved'. A tablet with nothing wrong says nothing of it."""
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("back")
    assert not d.says("gone from this tablet")
    (path,) = (tmp_path / "t" / "hulls").glob("*.hull")
    path.unlink()
    d.restart()
    assert d.says("The file of hull XYZAB123F526 is gone from this tablet.")


def lines_lost_from(path: Path) -> bytes:
    """A hull file as it was before it was mended: with one line more, which nothing proves."""
    return path.read_bytes() + b"0" * 32 + b' {"at":"damaged"}\n'


def test_the_book_is_put_down_for_the_shop_where_it_cannot_be_made(
    drive: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once, as an entry that comes ashore with the job."""
    from garboard_tablet.pages import handover

    monkeypatch.setattr(handover, "can_make_book", lambda: False)
    d = drive()
    new_job(d)
    d.press("hand over", "book", "make book", "make book")
    assert d.says("Requested from the shop")
    here = d.app.tablet.session.here
    wanted = [entry for entry in d.app.tablet.files.entries(here.hull) if entry.subject == ("book",)]
    assert len(wanted) == 1


def test_a_full_disk_loses_nothing_and_ends_nothing(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page says what is wrong and what to do; after making room the same digits are saved."""
    from garboard.disk.storage import NotSaved

    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.fuel", "key 0", "key 9", "key 5", "key 0")
    files = d.app.tablet.files

    def full(*_arguments: object) -> None:
        raise NotSaved("not saved: the disk is full. Free some space, then save again")

    with monkeypatch.context() as patch:
        patch.setattr(files, "put_if_absent", full)
        d.press("next")
        assert d.says("the disk is full")
        assert d.says("NOT saved")
    d.press("try again")
    assert d.says("0950")
    d.press("next")
    assert view_of(d).value("dock.fuel", "at", row="1") == "0950 rev/min"
