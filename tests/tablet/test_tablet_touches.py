"""How many touches the usual entries take. Counted, printed with -s, and held against a bound that was agreed on."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tablet.driver import Drive, Driver, new_job, sign


def touches(d: Driver, do: Callable[[], object]) -> int:
    before = d.touches
    do()
    return d.touches - before


def digits(*numbers: str) -> int:
    return sum(map(len, numbers))


def test_a_full_throttle_run_of_a_twin(drive: Drive) -> None:
    """Opening the step, its cautions, two engine speeds and the speed: five touches besides the digits."""
    d = drive()
    new_job(d)
    d.press("tab vessel", "Equipment", "kind engines", "2 engines", "back", "back", "tab under way")

    def run() -> None:
        d.press("step dock.full", "begin")
        for number in ("5840", "5790", "41.2"):
            d.number(number)

    found = touches(d, run)
    print(f"full-throttle run of a twin: {found} touches, {digits('5840', '5790', '41.2')} of them digits")
    assert found == digits("5840", "5790", "41.2") + 5


def test_ten_fuel_steps(drive: Drive) -> None:
    """A fuel step costs its digits and one touch for each value: nothing to open, add or choose in between."""
    d = drive()
    new_job(d)
    d.press("tab under way")
    steps = [(str(1000 + 500 * n), f"{2.1 + 1.7 * n:.1f}") for n in range(10)]

    def run() -> None:
        d.press("step dock.fuel")
        for engine_speed, flow in steps:
            d.number(engine_speed)
            d.number(flow)
        d.press("no more rows")

    found = touches(d, run)
    typed = sum(digits(*step) for step in steps)
    print(f"ten fuel steps: {found} touches, {typed} of them digits")
    assert found == typed + 20 + 2


def test_a_repeated_value_takes_one_touch(drive: Drive) -> None:
    """The second row's engine speed is the first one's again: one touch, no digit."""
    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.fuel")
    d.number("3000")
    d.number("14.2")
    assert touches(d, lambda: d.press("same")) == 1
    here = d.app.tablet.session.here
    assert d.app.tablet.view(here.hull, here.job).value("dock.fuel", "at", row="2") == "3000 rev/min"


@pytest.mark.long
def test_twenty_circuits(drive: Drive) -> None:
    """The wiring audit's own step on twenty circuits, each like the one before: one touch a value."""
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(("garboard_wiring_audit",), entry_points=False))
    new_job(d)
    here = d.app.tablet.session.here
    for number in range(20):
        d.app.tablet.add_piece(here.hull, ("circuits", f"Circuit {number + 1:02d}"))
    step = d.app.tablet.step("wiring_audit.circuits")
    columns = [column for field in step.fields for column in field.columns]
    assert columns, "the step has a table of circuits"
    d.app.screen.redraw()

    def run() -> None:
        d.app.way.open_step(d.app.tablet.session.here, step.key)
        if d.has("begin"):
            while d.app.tablet.session.here.page == "cautions":
                d.press("begin")
        while d.app.tablet.session.here.page == "entry" and d.app.shell.page.form.ask.table:
            answer(d)

    found = touches(d, run)
    values = 20 * len(columns)
    print(f"twenty circuits, {len(columns)} values each: {found} touches for {values} values")
    assert found <= values + 12 * len(columns) + 10


def answer(d: Driver) -> None:
    """Answer what is asked in the fewest touches: the same as before, or else whatever comes first."""
    from garboard.steps import Kind

    field = d.app.shell.page.form.field
    if d.has("same"):
        d.press("same")
    elif field.kind is Kind.YES_NO:
        d.press("choice Yes")
    elif field.kind is Kind.CHOICE:
        d.press(f"choice {field.choices[0]}")
    elif field.kind in (Kind.AMOUNT, Kind.COUNT):
        low, high = field.plausible or field.hard or (1, 10)
        d.number(f"{(low + high) / 2:.0f}")
    else:
        d.press("skip")


def test_a_sign_off(drive: Drive) -> None:
    """Hand over, who signs, what for, the stroke, save: five touches for the technician."""
    d = drive()
    new_job(d)

    def run() -> None:
        d.press("hand over", "technician signs", "go on")
        sign(d)

    found = touches(d, run)
    print(f"a sign-off by the technician: {found} touches")
    assert found == 5
