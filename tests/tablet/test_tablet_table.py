"""The rows of a step as a table: fails on top, a column filled downward, points answered at once and undone at once."""

from __future__ import annotations

import pytest

from garboard.findings import Basis, BasisKind, Finding, Verdict
from garboard.hosting.host import make_host
from garboard_tablet.models.rows import Grid, grid_of, open_points, tables_of
from tablet.driver import Drive, Driver, declared, new_job, view_of
from tablet.layout_lint import faults

STEP = "wiring_audit.circuits"
NAMES = ("VHF", "Horn", "Radar")


@pytest.fixture
def d(drive: Drive) -> Driver:
    """Three circuits, and the table of them."""
    found = drive(make_host=lambda: make_host(("garboard_wiring_audit",), entry_points=False))
    new_job(found)
    for name in NAMES:
        found.app.tablet.add_piece(found.app.tablet.session.here.hull, ("circuits", name))
    found.app.way.go(found.app.tablet.session.here.to("rows", "circuits", step=STEP))
    return found


def grid(d: Driver, *findings: Finding) -> Grid:
    tablet, here = d.app.tablet, d.app.tablet.session.here
    (table,) = tables_of(declared(tablet, STEP))
    made = grid_of(tablet, here, table, findings)
    assert made is not None
    return made


def test_a_head_fills_its_column_downward_and_a_cell_its_own_value(d: Driver) -> None:
    """Row after row with no press between; then the table is there again. A cell leads to its value and back."""
    d.press("head current")
    for number in ("4.2", "5.1", "6"):
        d.number(number)
    assert [view_of(d).value(STEP, "current", of=name) for name in NAMES] == ["4.2 A", "5.1 A", "6 A"]
    assert d.app.tablet.session.here.page == "rows"
    assert not d.has("head current"), "a full column needs no filling"
    d.press("cell Horn, drop")
    d.number("0.3")
    assert d.app.tablet.session.here.page == "rows"
    assert view_of(d).value(STEP, "drop", of="Horn") == "0.3 V"
    assert view_of(d).value(STEP, "drop", of="VHF") is None


def test_a_name_fills_its_row_across_and_leaves_the_other_rows_alone(d: Driver) -> None:
    """Also after a column was begun and left."""
    d.press("head current", "back", "row Horn")
    numbers = {"current": "5", "drop": "0.3"}
    for _ in tables_of(declared(d.app.tablet, STEP))[0].columns:
        field = d.app.shell.page.form.field
        d.number(numbers.get(field.name, "12.6")) if d.has("key 5") else d.press("choice Yes")
    assert d.app.tablet.session.here.page == "rows"
    lines = {row.name: row.line for row in grid(d).rows}
    assert [lines[name].state for name in NAMES] == ["to do", "done", "to do"]


def test_all_points_at_once_are_an_entry_each_and_one_undo_takes_them_back(d: Driver) -> None:
    """What was answered before stays as it was."""
    tablet, here = d.app.tablet, d.app.tablet.session.here
    (table,) = tables_of(declared(tablet, STEP))
    left = open_points(tablet, here, table)
    tablet.enter(here.hull, here.job, left[0], False)
    d.app.screen.redraw()
    d.press("all yes")
    values = [view_of(d).value(*ask.place[:2], row=ask.row, of=ask.of) for ask in left]
    assert values == [False, *[True] * (len(left) - 1)]
    assert not open_points(tablet, here, table)
    assert not d.has("all yes")
    d.press("undo")
    assert [ask.key for ask in open_points(tablet, here, table)] == [ask.key for ask in left[1:]]


def test_a_no_that_is_why_something_fails_puts_its_row_on_top_and_another_no_accuses_nobody(d: Driver) -> None:
    tablet, here = d.app.tablet, d.app.tablet.session.here
    (table,) = tables_of(declared(tablet, STEP))
    last = next(ask for ask in open_points(tablet, here, table) if ask.of == NAMES[-1])
    tablet.enter(here.hull, here.job, last, False)
    innocent = grid(d)
    assert [row.name for row in innocent.rows] == [*NAMES]
    assert not any(row.points.wrong for row in innocent.rows if row.points)
    labels = Finding(
        code="wiring_audit.labels.missing", verdict=Verdict.FAIL, sentence="Label it.", about="labels",
        basis=(Basis(kind=BasisKind.COMMON_PRACTICE, text="labels"),), places=(last.place, ("a.b", "c", "", "")),
    )  # fmt: skip
    accused = grid(d, labels)
    assert accused.rows[0].name == NAMES[-1]
    assert accused.rows[0].points is not None
    assert accused.rows[0].points.wrong
    assert accused.rows[0].verdict is Verdict.FAIL


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280), (1024, 600)])
def test_every_column_is_a_press_away_on_every_screen(d: Driver, size: tuple[int, int]) -> None:
    d.resize(*size)
    wanted = {f"head {name}" for name in ("current", "drop", "supply_voltage")} & {
        f"head {column.name}" for column in tables_of(declared(d.app.tablet, STEP))[0].columns
    }
    seen: set[str] = set()
    for _ in range(4):
        assert not faults(d.app.shell, d.window)
        seen |= {name for name in wanted if d.has(name)}
        if d.has("more columns"):
            d.press("more columns")
    assert seen == wanted
