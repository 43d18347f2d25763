"""The rows of a step as a table: fails on top, a press on a cell takes its value, on a head the whole column."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard.findings import Verdict
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.entry import entry_route, of_column, of_row
from garboard_tablet.models.rows import Cell, Grid, Row, grid_of, open_points, say_yes, tables_of
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_page import counted
from garboard_tablet.pages.echoing import EchoingPage
from garboard_tablet.ui.context import Context
from garboard_tablet.ui.rows_grid import FlatCell, GridRow, NameCell, columns_in, least_width, spread, value_cell
from garboard_tablet.ui.shell import Halves, Maker, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Column, Press, state_mark, verdict_marks, words

POINTS = "Points"


class RowsPage(EchoingPage):
    """One table of a step. The route names it, and where its columns do not all fit, the first that is shown."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.step = self.tablet.step(route.step)
        tables = tables_of(self.step) if self.step else ()
        self._table = next((table for table in tables if table.name == route.subject[0]), None)
        self.title = self._table.title if self._table else "Not here"
        self.tablet.filling = ()
        self.findings.soon(route)

    def counts(self) -> Sequence[tuple[Verdict, int]]:
        return counted(self.findings.of(self.route))

    def refill(self) -> None:
        self.screen.redraw()

    def body(self) -> Widget:
        found = [one.finding for one in self.findings.of(self.route)]
        grid = grid_of(self.tablet, self.route, self._table, found) if self._table else None
        if grid is None:
            return column_of([words("No rows yet. Go back, and add the first.", "quiet")])
        self._grid = grid
        return RowsBody(self, grid)

    @property
    def first(self) -> int:
        """The first column that is shown."""
        return int(self.route.subject[1]) if len(self.route.subject) > 1 else 0

    def rows(self, grid: Grid, width: float) -> list[Maker]:
        """The head and the rows, with as many columns as there is room for."""
        names = least_width([row.name for row in grid.rows], with_mark=True)
        found = [least_width(["Found", *(row.found for row in grid.rows)])] if grid.has_found else []
        told = [row.points.text for row in grid.rows if row.points]
        points = [least_width([POINTS, *told])] if grid.has_points else []
        of_columns = [
            least_width([head, *(row.cells[number].text for row in grid.rows if number < len(row.cells))])
            for number, head in enumerate(grid.heads)
        ]
        first = min(self.first, max(0, len(grid.heads) - 1))
        fitting = columns_in(width - names - sum(found) - sum(points), of_columns[first:])
        columns = range(first, first + fitting)
        widths = spread(width, [names, *(of_columns[number] for number in columns), *found, *points])
        rest = [partial(self._row, row, columns, grid, widths) for row in grid.rows]
        return [partial(self._head, grid, columns, widths), *rest]

    def _head(self, grid: Grid, columns: range, widths: Sequence[float]) -> GridRow:
        rest = len(grid.heads) - len(columns)
        turn = partial(self._turn_columns, columns.stop if columns.stop < len(grid.heads) else 0)
        hint = "Press a head to fill its column" if any(grid.fills) else ""
        first: Widget = FlatCell(hint, "quiet", SMALL)
        if rest:
            first = Press(in_number(rest, "more column"), turn, size=SMALL, name="more columns")
        cells: list[Widget] = [self._head_of(grid, number) for number in columns]
        cells += [FlatCell("Found", "quiet", SMALL)] if grid.has_found else []
        cells += [FlatCell(POINTS, "quiet", SMALL)] if grid.has_points else []
        return GridRow([first, *cells], widths)

    def _head_of(self, grid: Grid, number: int) -> Widget:
        title, fills = grid.heads[number], grid.fills[number]
        if fills is None:
            return FlatCell(title, "quiet", SMALL)
        return Press(title, partial(self._fill, fills), size=SMALL, name=f"head {fills.field.name}")

    def _row(self, row: Row, columns: range, grid: Grid, widths: Sequence[float]) -> GridRow:
        mark = verdict_marks[row.verdict] if row.verdict else state_mark(row.line.state)
        first = NameCell(row.name, partial(self._fill_row, row.line.ask), mark, f"row {row.name}")
        cells: list[Widget] = [self._cell(row, row.cells[number]) for number in columns if number < len(row.cells)]
        if grid.has_found:
            asks = row.line.verdict  # a verdict of several rows has no number in this one
            cells.append(FlatCell(row.found, mark=verdict_marks[asks] if asks and row.found else None))
        if grid.has_points and row.points:
            cells.append(self._cell(row, row.points, POINTS))
        return GridRow([first, *cells], widths)

    def _cell(self, row: Row, cell: Cell, what: str = "") -> Press:
        name = f"cell {row.name}, {what or cell.ask.field.name}"
        return value_cell(cell.text, partial(self._go, cell.ask), name, wrong=cell.wrong)

    def _turn_columns(self, first: int) -> None:
        self.way.instead(self.route.to("rows", self.route.subject[0], str(first), step=self.route.step))

    def _go(self, ask: Ask) -> None:
        self.way.go(entry_route(self.route, ask))

    def _fill(self, ask: Ask) -> None:
        """Take one column from here downward, row by row."""
        self.tablet.filling = (self.route.step, *of_column(ask))
        self._go(ask)

    def _fill_row(self, ask: Ask) -> None:
        """Take what is open in one row, column by column."""
        self.tablet.filling = (self.route.step, *of_row(ask))
        self._go(ask)

    def actions(self) -> Sequence[Press | None]:
        left = open_points(self.tablet, self.route, self._table) if self._table else ()
        yes = Press(
            phrase("{points}: all yes", points=in_number(len(left), "open point")),
            partial(self._say_yes, left),
            name="all yes",
        )
        fills = next((ask for ask in self._grid.fills if ask is not None), None) if self._has_grid else None
        if fills is None:
            onward = Press("Back to the step", self.way.back, "main", name="to the step")
        else:
            onward = Press(
                phrase("Next: {title}", title=fills.field.title), partial(self._fill, fills), "main", name="continue"
            )
        return (None, yes if left else None, onward)

    @property
    def _has_grid(self) -> bool:
        if not hasattr(self, "_grid"):  # actions are asked for before the body
            self.body()
        return hasattr(self, "_grid")

    def _say_yes(self, asks: Sequence[Ask]) -> None:
        say_yes(self.tablet, self.route, asks)
        self.context.ends.value_entered(self.route)
        self.context.vessels.refresh(self.route.hull)
        self.findings.soon(self.route)
        self.screen.redraw()


class RowsBody(Halves):
    """A column of lines, which the presses of the rail turn; it has as many cells as its width holds."""

    def __init__(self, page: RowsPage, grid: Grid) -> None:
        self._page, self._grid = page, grid
        super().__init__([], [], turns_both=True)

    def _place(self, *_: object) -> None:
        if self.width <= 1 or self.height <= 1:
            return
        if not self._columns:
            column = Column(turns=False)
            self._columns = [column]
            self.add_widget(column)
        (column,) = self._columns
        is_wide = self.width > self.height
        column.turn_itself(not is_wide)
        if column.size != [self.width, self.height]:
            column.show(self._page.rows(self._grid, self.width))
        column.turned = self._turned
        column.pos, column.size = self.pos, self.size
        self._turned()

    @property
    def turned_together(self) -> Sequence[Column]:
        return self._columns if self.width > self.height else ()
