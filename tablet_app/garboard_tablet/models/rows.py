"""The rows of a step's table as a table: a column a value, the yes and no of a row counted in one."""

from __future__ import annotations

from collections.abc import Container, Sequence

import attrs

from garboard.faults import in_number
from garboard.findings import Finding, Verdict, with_uncertainty
from garboard.history.registers import RegisterKey
from garboard.steps import Field, Kind, Step
from garboard_tablet.models.asks import Ask, shown_of
from garboard_tablet.models.entry import entry_route, first_open
from garboard_tablet.models.pages import ValueLine, asks_here, fails_first, lines_of_step, table_titles
from garboard_tablet.models.saved_last import Echo
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_page import headline
from garboard_tablet.models.tablet import Tablet

LEAST_COLUMNS = 2
"""A table of a single column is a list already."""


@attrs.frozen(kw_only=True)
class Cell:
    """One value in its column, or the points of a row.

    ask   : what a press on it leads to
    wrong : whether it is what is not in order
    """

    text: str
    ask: Ask
    wrong: bool = False


@attrs.frozen(kw_only=True)
class Row:
    """A line of the table.

    line   : how the step lists it
    verdict : the worst that asks for something, also of several rows where an answer of this one is why
    found  : the number of what is found of it, with its unit; "" where nothing is
    cells  : a value a column
    points : its yes and no
    """

    line: ValueLine
    verdict: Verdict | None
    name: str
    found: str
    cells: tuple[Cell, ...]
    points: Cell | None


@attrs.frozen(kw_only=True)
class Grid:
    """A table of a step.

    heads : a title a column
    fills : the first value still open in each column, which fills it downward; None where it is full
    """

    table: Field
    heads: tuple[str, ...]
    fills: tuple[Ask | None, ...]
    rows: tuple[Row, ...]

    @property
    def has_found(self) -> bool:
        return any(row.found for row in self.rows)

    @property
    def has_points(self) -> bool:
        return any(row.points for row in self.rows)


def tables_of(step: Step) -> tuple[Field, ...]:
    """The tables of a step that are worth a page of their own."""
    return tuple(field for field in step.fields if field.kind is Kind.TABLE and len(_led_to(field)) >= LEAST_COLUMNS)


def _led_to(table: Field) -> list[Field]:
    return [column for column in table.columns if not column.aside]


def grid_of(tablet: Tablet, route: Route, table: Field, findings: Sequence[Finding]) -> Grid | None:
    """A table of a step with what fails on top; None where it has no row yet."""
    step = tablet.step(route.step)
    if step is None:
        return None
    asks = [ask for ask in asks_here(tablet, route.hull, route.job, step) if ask.table == table.name]
    lines = fails_first(lines_of_step(tablet, route.hull, route.job, asks, table_titles(step), findings))
    if not lines:
        return None
    by_line: dict[tuple[str, str, str], list[Ask]] = {}
    for ask in asks:
        by_line.setdefault(ask.line, []).append(ask)
    columns = [column for column in _led_to(table) if column.kind is not Kind.YES_NO]
    rows = [_row(tablet, route, line, by_line[line.ask.line], columns, findings) for line in lines]
    if all(row.cells and row.cells[0].text.casefold() == row.name.casefold() for row in rows):
        columns, rows = columns[1:], [attrs.evolve(row, cells=row.cells[1:]) for row in rows]  # it is the name already
    rows.sort(key=lambda row: row.verdict is not Verdict.FAIL)
    fills = tuple(
        first_open(tablet, route, [ask for ask in asks if ask.field.name == column.name]) for column in columns
    )
    return Grid(table=table, heads=tuple(column.title for column in columns), fills=fills, rows=tuple(rows))


def _row(
    tablet: Tablet, route: Route, line: ValueLine, asks: Sequence[Ask], columns: Sequence[Field],
    findings: Sequence[Finding],
) -> Row:  # fmt: skip
    of_column = {ask.field.name: ask for ask in reversed(asks)}
    cells = tuple(_cell(tablet, route, of_column[column.name]) for column in columns if column.name in of_column)
    points = [ask for ask in asks if ask.field.kind is Kind.YES_NO]
    name = line.title.partition(", ")[2] or line.title
    refused = _refused(tablet, route, points, findings)
    return Row(
        line=line,
        verdict=worst_of(line.verdict, *refused.values()),
        name=f"{name[:1].upper()}{name[1:]}",
        found=_found(asks, findings),
        cells=cells,
        points=_points(tablet, route, points, refused) if points else None,
    )


def _cell(tablet: Tablet, route: Route, ask: Ask) -> Cell:
    current = tablet.current(route.hull, route.job, ask)
    if len(current) > 1:
        return Cell(text="disagree", ask=ask, wrong=True)
    return Cell(text=shown_of(ask.field, current[0].value) if current else "open", ask=ask)


def worst_of(*verdicts: Verdict | None) -> Verdict | None:
    """The worst of verdicts that ask for something; None where none does."""
    return next((verdict for verdict in (Verdict.FAIL, Verdict.ADVISE) if verdict in verdicts), None)


def _refused(
    tablet: Tablet, route: Route, asks: Sequence[Ask], findings: Sequence[Finding]
) -> dict[RegisterKey, Verdict]:
    """Points answered with no that a finding asks something for; a no that nothing is found of accuses nobody."""
    found = {}
    for ask in asks:
        said_no = any(entry.value is False for entry in tablet.current(route.hull, route.job, ask))
        verdict = worst_of(*(one.verdict for one in findings if ask.place in one.places)) if said_no else None
        if verdict is not None:
            found[ask.key] = verdict
    return found


def _points(tablet: Tablet, route: Route, asks: Sequence[Ask], refused: Container[RegisterKey]) -> Cell:
    """The yes and no of a row: what is answered with no by its name, else how many are answered."""
    current = {ask.key: tablet.current(route.hull, route.job, ask) for ask in asks}
    noes = [ask for ask in asks if any(entry.value is False for entry in current[ask.key])]
    noes.sort(key=lambda ask: ask.key not in refused)
    if noes:
        more = f", {len(noes) - 1} more" if len(noes) > 1 else ""
        return Cell(text=f"no: {noes[0].field.title}{more}", ask=noes[0], wrong=noes[0].key in refused)
    have = sum(bool(found) for found in current.values())
    left = next((ask for ask in asks if not current[ask.key]), asks[0])
    return Cell(text="all yes" if have == len(asks) else f"{have} of {len(asks)}", ask=left)


def _found(asks: Sequence[Ask], findings: Sequence[Finding]) -> str:
    """The number that what is found of this row alone is set by, the worst first."""
    places, of = {ask.place for ask in asks}, {ask.of for ask in asks}
    own = [one for one in findings if (of == {one.of} if one.of else bool(one.places) and places >= set(one.places))]
    own.sort(key=lambda one: [Verdict.FAIL, Verdict.ADVISE, Verdict.PASS, Verdict.NOT_ENOUGH_DATA].index(one.verdict))
    for one in own:
        head = headline(one)
        if head is not None and head.limit is not None:
            return f"{with_uncertainty(head.number.value, None, head.number.decimals)} {head.number.unit}".strip()
    return ""


def open_points(tablet: Tablet, route: Route, table: Field) -> tuple[Ask, ...]:
    """The yes and no of a table that nobody has answered."""
    step = tablet.step(route.step)
    asks = asks_here(tablet, route.hull, route.job, step) if step else ()
    return tuple(
        ask
        for ask in asks
        if ask.table == table.name and ask.field.kind is Kind.YES_NO and not tablet.current(route.hull, route.job, ask)
    )


def say_yes(tablet: Tablet, route: Route, asks: Sequence[Ask]) -> None:
    """Answer points with yes, each with an entry of its own; one undo takes all of them back."""
    taken = []
    for ask in asks:
        tablet.enter(route.hull, route.job, ask, True)
        taken.append((ask, tablet.current(route.hull, route.job, ask)))
    if taken:
        (first, now), *also = taken
        text = f"{in_number(len(taken), 'time')} yes"
        tablet.echo = Echo(
            route=entry_route(route, first), ask=first, text=text, before=(), now=now, also=tuple(also)
        )  # fmt: skip
