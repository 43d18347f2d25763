"""A table that is complete takes a further row, from the step's own page."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from garboard.history.authoring import measure
from tablet.driver import Drive, Driver, new_job, view_of


def step_by_step(d: Driver) -> None:
    """Two complete throttle steps."""
    new_job(d)
    d.press("tab under way", "step dock.fuel")
    for speed, flow in (("1000", "2.1"), ("2000", "4.2")):
        d.number(speed)
        d.number(flow)
    d.press("no more rows", "back")


def test_a_complete_table_takes_a_further_throttle_step(drive: Drive) -> None:
    """The row stands under those there are; what is entered is a row of its own."""
    d = drive()
    step_by_step(d)
    d.press("add row steps")
    d.number("3000")
    d.number("6.3")
    view = view_of(d)
    assert [view.value("dock.fuel", "at", row=row) for row in view.rows("dock.fuel")] == [
        "1000 rev/min",
        "2000 rev/min",
        "3000 rev/min",
    ]
    assert view.value("dock.fuel", "flow", row="3") == "6.3 gal/h"


def test_a_further_row_can_be_left_again(drive: Drive) -> None:
    """Nothing is written before a value is; No more rows ends it."""
    d = drive()
    step_by_step(d)
    d.press("add row steps", "no more rows")
    assert view_of(d).rows("dock.fuel") == ("1", "2")


def test_a_table_of_equipment_takes_a_further_piece(drive: Drive) -> None:
    """A circuit found while the others are measured is added from the step, and is asked about like them."""
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(("garboard_wiring_audit",), entry_points=False))
    new_job(d)
    for name in ("VHF", "Radar"):
        d.app.tablet.add_piece(d.app.tablet.session.here.hull, ("circuits", name))
    d.press("step wiring_audit.circuits")
    while d.app.tablet.session.here.page == "cautions":
        d.press("begin")
    d.press("back")
    assert d.says("As a table: Circuits"), "a title may be long: Runs, in the order they were made"
    d.seek("add row circuits")
    d.press("Horn")
    assert [circuit.name for circuit in view_of(d).vessel.circuits] == ["VHF", "Radar", "Horn"]


def test_a_shops_own_table_takes_a_further_row(drive: Drive, tmp_path: Path) -> None:
    """A plugin of the shop's with a table of texts."""
    path = tmp_path / "shop_plugin.py"
    path.write_text(
        "from garboard import hookimpl\n"
        "from garboard.steps import Field, Kind, Phase, Step\n"
        "__version__ = '1'\n"
        "@hookimpl\n"
        "def register_steps(register):\n"
        "    columns = (Field(name='what', title='What', kind=Kind.TEXT),\n"
        "               Field(name='ok', title='In order', kind=Kind.YES_NO))\n"
        "    register(Step(key='shop.gear', title='Gear', phase=Phase.ALONGSIDE, order=1,\n"
        "                  fields=(Field(name='gear', title='Gear aboard', kind=Kind.TABLE, columns=columns),)))\n"
    )
    assert importlib.util.find_spec("shop_plugin") is None
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host((), entry_points=False, files=[path]))
    new_job(d)
    d.press("step shop.gear")
    d.write("Anchor")
    d.press("next", "choice Yes", "no more rows", "add row gear")
    d.write("Flares")
    d.press("next", "choice No")
    assert [view_of(d).value("shop.gear", "what", row=row) for row in ("1", "2")] == ["Anchor", "Flares"]


def test_a_row_named_by_a_choice_carries_its_number(drive: Drive) -> None:
    """Findings speak of run 3: two runs "with" must be told apart by their numbers."""
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(("garboard_prop_check",), entry_points=False))
    new_job(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    step = "prop_check.full_throttle"
    for row, side in (("1", "with"), ("2", "against"), ("3", "with")):
        measured = measure(tablet.author(), tablet.state_of(here.hull), here.job, step, "direction", side, row=row)
        tablet.save(measured)
    d.app.way.go(here.to("step", step=step))
    titles = [words for words in d.words() if words.startswith("Runs, in the order")]
    for named in ("row 1, with", "row 2, against", "row 3, with"):
        assert any(title.endswith(named) for title in titles), titles
