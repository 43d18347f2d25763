"""A new boat like another, by touch: equipment in one press, then what only this boat has."""

from __future__ import annotations

from garboard.demo.samples_folder import sample_jobs_folder
from garboard.history import exchange
from garboard.job_files.job_file import read_job_file
from garboard_tablet.models.like import boats_like, templates
from tablet.driver import Drive, Driver

NEW = "XYZAB123F526"
KITTIWAKE, SALTGRASS = "QQZ04418E626", "QQZ04417D626"


def with_boats(d: Driver, *names: str) -> None:
    for name in names:
        job = sample_jobs_folder() / name / "job.json"
        exchange.import_job(d.app.tablet.files, read_job_file(job), job.parent, d.app.tablet.author(by="Robin"))
    for hull in d.app.tablet.files.boats():
        d.app.vessels.refresh(hull)
    d.app.screen.redraw()


def open_new(d: Driver, number: str = NEW) -> None:
    d.press("new job")
    d.app.shell.page.take(number)
    d.step()
    d.press("open job")


def circuits_of(d: Driver, hull: str = NEW) -> tuple[str, ...]:
    return tuple(one.name for one in d.app.tablet.boat(hull).vessel().circuits)


def test_a_new_boat_takes_anothers_equipment_with_one_press_and_asks_what_is_its_own(drive: Drive) -> None:
    d = drive()
    with_boats(d, "saltgrass")
    open_new(d)
    assert d.says("Like which boat?")
    assert d.says("1 engine, 7 circuits")
    before = d.touches
    d.press(f"like {SALTGRASS}")
    assert d.touches - before == 1
    assert circuits_of(d) == circuits_of(d, SALTGRASS)
    assert d.says("only this boat has. Any can wait.")
    vessel = d.app.tablet.boat(NEW).vessel()
    assert [(one.length, one.label) for one in vessel.circuits] == [(None, "")] * 7
    assert vessel.engines[0].serial_number == ""


def test_the_lengths_are_asked_one_after_the_other_across_all_circuits(drive: Drive) -> None:
    """Each length costs its digits and one touch: nothing to open, choose or go back from in between."""
    d = drive()
    with_boats(d, "saltgrass")
    open_new(d)
    d.press(f"like {SALTGRASS}")
    d.press(f"own circuits/{circuits_of(d)[0]}/length")
    before, typed = d.touches, 0
    lengths = ("9", "19", "6", "7", "17", "14", "21")
    for length in lengths:
        d.number(length)
        typed += len(length)
        if d.app.shell.page.form and d.app.shell.page.form.ask.key.subject[-1] == "protection_distance":
            d.number("4")
            typed += 1
    asked = 7 + sum(one.protection_distance is not None for one in d.app.tablet.boat(NEW).vessel().circuits)
    assert d.touches - before == typed + asked
    found = [str(one.length) for one in d.app.tablet.boat(NEW).vessel().circuits]
    assert [length.split()[0] for length in found] == [*lengths]


def test_a_length_measured_as_on_the_model_is_one_touch_and_none_is_taken_by_itself(drive: Drive) -> None:
    d = drive()
    with_boats(d, "saltgrass")
    open_new(d)
    d.press(f"like {SALTGRASS}", "next own")
    d.write("Marsh Wren")
    d.press("next", "skip", "skip")  # its serial number and hours can wait
    before = d.touches
    for _ in range(3):
        d.press("as on the model")
    assert d.touches - before == 3
    model, new = (d.app.tablet.boat(hull).vessel().circuits for hull in (SALTGRASS, NEW))
    entered = [(one.length, one.protection_distance) for one in new]
    assert entered[:3] == [(one.length, one.protection_distance) for one in model[:3]]
    assert entered[3:] == [(None, None)] * 4
    d.press("undo")
    undone = d.app.tablet.boat(NEW).vessel().circuits[2]
    assert (undone.length, undone.protection_distance) == (None, None), "one undo takes both back"


def test_a_template_kept_on_one_boat_begins_another(drive: Drive) -> None:
    d = drive()
    with_boats(d, "saltgrass")
    d.press(f"vessel {SALTGRASS}", "tab vessel", "Equipment", "keep template", "other")
    d.write("Bay boat")
    d.press("save it")
    assert [one.name for one in templates(d.app.tablet)] == ["Bay boat"]
    assert d.app.tablet.session.here.page == "equipment"
    d.app.way.home()
    open_new(d)
    d.press("template Bay boat")
    assert circuits_of(d) == circuits_of(d, SALTGRASS)


def test_empty_is_a_choice_and_without_another_boat_nothing_is_asked(drive: Drive) -> None:
    d = drive()
    open_new(d)
    assert d.app.tablet.session.here.page == "job"


def test_empty_begins_with_nothing(drive: Drive) -> None:
    d = drive()
    with_boats(d, "saltgrass")
    open_new(d)
    d.press("like none")
    assert d.app.tablet.session.here.page == "job"
    assert circuits_of(d) == ()


def test_boats_of_the_same_maker_come_first(drive: Drive) -> None:
    """The maker's letters stand first in a hull number (33 CFR 181.25)."""
    d = drive()
    with_boats(d, "saltgrass", "kittiwake")
    d.app.tablet.open_job("ABC01234A626")
    d.app.vessels.refresh("ABC01234A626")
    lines = [*d.app.vessels.lines.values()]
    assert boats_like(lines, "ABC09999A626")[0].hull == "ABC01234A626"
    assert boats_like(lines, "QQZ09999A626")[-1].hull == "ABC01234A626"
    assert "ABC01234A626" not in [line.hull for line in boats_like(lines, "ABC01234A626")]
