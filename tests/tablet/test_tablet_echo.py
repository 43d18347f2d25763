"""What was saved is said back with its verdict, and undone with one press until the next save."""

from __future__ import annotations

from garboard.findings import Basis, BasisKind, Finding, Verdict
from garboard.history.registers import RegisterKey
from garboard.steps import Field, Kind
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.echo import found_of, verdict_on
from tablet.driver import Drive, Driver, new_job, view_of

PRACTICE = (Basis(BasisKind.COMMON_PRACTICE, "tried once"),)


def at_boat_speed(d: Driver) -> None:
    new_job(d)
    d.press("tab under way", "step dock.full")
    while d.has("begin"):
        d.press("begin")


def speed(d: Driver) -> object:
    return view_of(d).value("dock.full", "speed")


def echo(d: Driver) -> str:
    return str(d.app.shell.page.saved).replace("\u00a0", " ")


def test_a_value_saved_is_said_back_and_undone(drive: Drive) -> None:
    """On the page that comes next, also where that is the step's; undone, it is asked again."""
    d = drive()
    at_boat_speed(d)
    d.number("38.2")
    assert d.app.tablet.session.here.page == "step"
    assert echo(d) == "38.2 kn saved"
    d.press("undo")
    assert speed(d) is None
    assert d.app.shell.page.form.field.name == "speed"
    assert not d.has("undo")
    assert "38.2" not in echo(d)
    reasons = [one.value for one in d.app.shell.page.form.tablet.history(*_place(d)) if one.kind == "retract"]
    assert reasons, "it stays in the boat's file, struck out"


def _place(d: Driver) -> tuple[str, str, Ask]:
    form = d.app.shell.page.form
    return form.route.hull, form.route.job, form.ask


def test_undo_has_what_stood_before_stand_again(drive: Drive) -> None:
    d = drive()
    at_boat_speed(d)
    d.number("38.2")
    d.press("value Boat speed")
    d.number("41")
    assert speed(d) == "41 kn"
    d.press("undo")
    assert speed(d) == "38.2 kn"
    assert not d.has("undo")


def test_the_next_save_has_the_undo_and_a_change_elsewhere_ends_it(drive: Drive) -> None:
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes")
    assert echo(d) == "“yes” saved, pass"
    d.press("choice clear")
    assert echo(d).startswith("clear saved")
    d.press("undo")
    view = view_of(d)
    assert (view.value("dock.horn", "heard"), view.value("dock.horn", "tone")) == (True, None)
    d.press("choice hoarse", "back", "value Its tone", "change", "take back")
    assert not d.has("back mistyped"), "it was pressed, not typed"
    d.press("back pressed by mistake")
    assert not d.has("undo")
    assert "hoarse" not in echo(d)


def test_the_echo_tells_the_verdict_on_the_value_in_words_and_shape(drive: Drive) -> None:
    from garboard.report.palette import VERDICT_MARKS

    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No")
    assert echo(d) == "“no” saved, fail"
    assert d.app.shell.page.saved_mark == VERDICT_MARKS[Verdict.FAIL]


def asked(of: str) -> Ask:
    field = Field(name="drop", title="Drop", kind=Kind.AMOUNT, quantity="voltage", unit="V")
    return Ask(key=RegisterKey("measure", "", ("a.b", "drop", "", of)), field=field)


def found(verdict: Verdict, of: str, *pieces: str) -> Finding:
    places = tuple(("a.b", "drop", "", piece) for piece in pieces)
    return Finding(verdict=verdict, about="x", sentence="It is so.", basis=PRACTICE, of=of, places=places)


def test_the_verdict_is_that_of_the_value_and_of_no_other_piece() -> None:
    """A check over all circuits that fails for another one says nothing of this one."""
    over_all = found(Verdict.FAIL, "", "horn", "pump")
    assert verdict_on(asked("horn"), [over_all, found(Verdict.PASS, "horn", "horn")]) is Verdict.PASS
    assert verdict_on(asked("horn"), [over_all]) is None
    assert verdict_on(asked("horn"), [found(Verdict.FAIL, "pump", "pump")]) is None
    assert verdict_on(asked("horn"), [found(Verdict.NOT_ENOUGH_DATA, "horn", "horn")]) is None
    passes = found(Verdict.PASS, "horn", "horn")
    assert found_of(asked("horn"), [over_all, passes]) == [passes], "shown beside the value before the step's worst"
    assert verdict_on(asked("pump"), [found(Verdict.FAIL, "pump", "pump")]) is Verdict.FAIL
