"""Propellers that were tried: side by side, one after the other, and what stands beside each run."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import attrs
from kivy.uix.widget import Widget

from garboard.fittings import CAME_WITH, Fitting, fitted_now, name_of_fitting
from garboard.records import Forecast, JsonValue, Vessel
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask, pieces, row_called
from garboard_tablet.models.entry import entry_route
from garboard_tablet.models.pages import ValueLine, asks_aside, lines_of_step
from garboard_tablet.models.session import Route
from garboard_tablet.ui.drawing import TableView
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import HEADING
from garboard_tablet.ui.verdict_card import FindingCard, VerdictCard
from garboard_tablet.ui.widgets import Beside, Column, Press, RowPress, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard.job_view import JobView
    from garboard.report.trials import Trial
    from garboard_tablet.ui.context import Context

WHAT = "comparing propellers"
MOST_FORESEEN = 3
SIDE_BY_SIDE = 860
"""From this width three stand side by side, else two [dp]."""


@attrs.frozen
class Compared:
    """What the background found: every propeller that was tried, and what was foreseen of any, a sentence each."""

    trials: Sequence[Trial]
    foreseen: Sequence[str]


class ComparingPage(Page):
    """A page that needs the propellers compared, which takes a moment."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._compared: Compared | None = None
        self._size = -1

    def _look(self) -> Compared | None:
        """Have the propellers compared, unless nothing was entered since they were. None until then."""
        tablet, route = self.tablet, self.route
        size = tablet.size(route.hull, route.job)
        if size == self._size:
            return self._compared
        self._size = size
        view, host = tablet.view(route.hull, route.job), tablet.host

        def work() -> Compared:
            from garboard.report.trials import foreseen_of, trials_of

            return Compared(trials_of(view, host), foreseen_of(host, host.assess(view)) if view.forecasts else ())

        def keep(found: Compared) -> None:
            self._compared = found
            if self.context.background.threads and self.screen.shows(self):
                self.screen.redraw_as_it_is()

        self.context.background.run(WHAT, work, keep)
        return self._compared


class TrialsPage(ComparingPage):
    """To choose a propeller: each that was tried with its own figures, and which is on the boat."""

    title = "Propellers tried"
    keeps_what_it_knows = True

    def body(self) -> Widget:
        found = self._look()
        if found is None:
            return column_of([words("Comparing the propellers, each by its own runs.", "quiet")])
        column = Column()
        column.show([*(self._several(found.trials) if found.trials else self._one()), *map(words, found.foreseen)])
        return column

    def _one(self) -> list[Maker]:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        on = name_of_fitting(vessel, fitted_now(vessel)) or CAME_WITH
        return [
            words(phrase("Fitted: {on}", on=on), size=HEADING),
            words("Only this propeller has runs. Change it with New trial: runs made so far stay with it.", "quiet"),
        ]

    def _several(self, trials: Sequence[Trial]) -> list[Maker]:
        from garboard.report.trials import table_of_trials, which_stays

        most = max(2, min(3 if self._width() >= SIDE_BY_SIDE else 2, len(trials)))
        makers: list[Maker] = []
        for first in range(0, len(trials), most):
            group = trials[first : first + most]
            makers.append(partial(self._heads, group, most))
            makers.append(partial(TableView, table_of_trials(group)))
        return [*makers, *(words(said) for said in which_stays(trials))]

    def _width(self) -> float:
        from kivy.core.window import Window
        from kivy.metrics import Metrics

        return float(Window.width / Metrics.density)

    def _heads(self, trials: Sequence[Trial], most: int) -> Beside:
        return Beside([self._head(one) for one in trials], most)

    def _head(self, trial: Trial) -> Widget:
        from garboard.report.trials import heading_of

        go = partial(self.way.go, self.route.to("trial", *(name or CAME_WITH for name in trial.fitting)))
        name = f"trial {trial.name}"
        if trial.finding is None:
            return RowPress(heading_of(trial), go, word=None, name=name)
        said = trial.sizes if trial.finding.numbers and trial.sizes else trial.why
        shown = attrs.evolve(trial.finding, about=heading_of(trial), sentence=said, short="", of="")
        return VerdictCard(shown, go, name, FindingCard(shown))

    def actions(self) -> Sequence[Press | None]:
        go = partial(self.way.go, self.route.to("new trial"))
        return (Press("New trial", go, "main", name="new trial"),)


class TrialPage(ComparingPage):
    """One propeller that was tried: what it came to, its runs, and the press that puts it on the boat again."""

    keeps_what_it_knows = True

    @property
    def title(self) -> str:  # type: ignore[override]
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        return name_of_fitting(vessel, self.route.subject)

    @property
    def _is_on(self) -> bool:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        return tuple(name or CAME_WITH for name in fitted_now(vessel)) == self.route.subject

    def body(self) -> Widget:
        from garboard.fittings import fitting_named, is_of_runs, plain_name

        view = self.tablet.view(self.route.hull, self.route.job)
        fitting = tuple(map(plain_name, self.route.subject))
        makers: list[Maker] = []
        for step in self.tablet.host.steps:
            if is_of_runs(field.name for field in step.all_fields()):
                rows = [row for row in view.rows(step.key) if fitting_named(view, step.key, row) == fitting]
                makers += [partial(self._row, step.key, step.title, row) for row in rows]
        said = "This propeller is on the boat." if self._is_on else "This propeller is not on the boat now."
        return column_of([words(said), *self._judged(fitting), *makers])

    def _judged(self, fitting: Fitting) -> list[Maker]:
        """What this one came to, and which stays and why; nothing where only one has runs."""
        found = self._look()
        if found is None:
            return [words("Comparing the propellers, each by its own runs.", "quiet")]
        from garboard.report.trials import table_of_trials, which_stays

        mine = [one for one in found.trials if one.fitting == fitting]
        makers: list[Maker] = []
        for one in mine:
            if one.finding is not None:
                shown = attrs.evolve(one.finding, about=one.name, sentence=one.why, short="", of="")
                makers.append(partial(FindingCard, shown, (), ""))
            makers.append(partial(TableView, table_of_trials([one])))
        others = which_stays([one for one in found.trials if one.stays or one.fitting == fitting])
        return [*makers, *(words(sentence) for sentence in others if mine)]

    def _row(self, step: str, title: str, row: str) -> RowPress:
        view = self.tablet.view(self.route.hull, self.route.job)
        shown = ("engine_speed", "speed", "nominal_engine_speed", "speed_out", "time_to_plane")
        found = [
            str(one.value) for one in view.measurements if (one.step, one.row) == (step, row) and one.field in shown
        ]
        return RowPress(
            f"{title}, {row_called(row)}",
            partial(self.way.go, self.route.to("step", step=step)),
            small=", ".join(found),
            word="open",
            name=f"run {step} {row}",
        )

    def actions(self) -> Sequence[Press | None]:
        if self._is_on:
            return (Press("Back to the trials", self.way.back, "main", name="trials"),)
        return (
            Press("Leave it", self.way.back, name="leave it"),
            Press("It is on now", self._fit, "main", name="fit it"),
        )

    def _fit(self) -> None:
        self.tablet.fit_propellers(self.route.hull, self.route.subject, self.route.job)
        self.context.vessels.refresh(self.route.hull)
        self.findings.soon(self.route)
        self.way.back_to("trials")


class NewTrialPage(ComparingPage):
    """Which propeller is on now: one of the list, the one the engine came with, or another. Runs made so far stay."""

    title = "Which propeller is on now?"
    keeps_what_it_knows = True

    @property
    def _view(self) -> JobView:
        return self.tablet.view(self.route.hull, self.route.job)

    @property
    def _vessel(self) -> Vessel:
        return self._view.vessel

    @property
    def _of(self) -> str:
        """The engine the route names; "" where all have the same propeller put on."""
        return self.route.subject[0] if self.route.subject else ""

    @property
    def _on(self) -> dict[str, str]:
        """What is on each engine now."""
        return {engine.position: engine.fitted or CAME_WITH for engine in self._vessel.engines}

    def body(self) -> Widget:
        from garboard_tablet.models.like import kept_by_boats_alike

        names = [CAME_WITH, *pieces(self._vessel, "propellers")]
        kept = kept_by_boats_alike(self.tablet, self.route.hull, self.route.job)
        found = self._look()
        said = [*map(words, found.foreseen if found else ()), *([words(kept, "quiet")] if kept else [])]
        new = [partial(self._foreseen, one) for one in _not_listed(self._view.forecasts, names)]
        return column_of([*new, *(partial(self._choice, name) for name in names), *said])

    def _choice(self, name: str) -> RowPress:
        on = {self._on.get(self._of, "")} if self._of else set(self._on.values())
        is_on = on == {name}
        propeller = self._vessel.pieces["propellers"].get(name)
        sizes = [str(size) for size in (propeller.diameter, propeller.working_pitch) if size] if propeller else []
        mark, word = (state_mark("done"), "on now") if is_on else (None, "put on")
        return RowPress(name, partial(self._fit, name), small=" x ".join(sizes), mark=mark, word=word,
                        name=f"fit {name}")  # fmt: skip

    def _foreseen(self, forecast: Forecast) -> RowPress:
        go = partial(self._fit_foreseen, forecast)
        return RowPress(forecast.propeller, go, small="the one to try next", word="put on",
                        name=f"fit {forecast.propeller}")  # fmt: skip

    def _fit_foreseen(self, forecast: Forecast) -> None:
        """Enter it in the list of propellers with what is stamped on it, and put it on: its runs test the forecast."""
        name, hull = forecast.propeller, self.route.hull
        self.tablet.add_piece(hull, ("propellers", name), self.route.job)
        is_at_hand = forecast.diameter_within is None  # else what but its pitch was supposed, and nobody read it
        facts = {"pitch": str(forecast.pitch or "")}
        if is_at_hand:
            facts |= {"diameter": str(forecast.diameter or ""), "cup": forecast.cup}
        known: dict[str, JsonValue] = {key: value for key, value in facts.items() if value}
        if is_at_hand and forecast.blades:
            known["blades"] = forecast.blades
        home, author = self.tablet.facts(hull, self.route.job, "propellers")
        self.tablet.save(*(author.write(home, "field", ("propellers", name, key), known[key]) for key in known))
        self._fit(name)

    def _fit(self, name: str) -> None:
        names = [name if self._of in ("", engine) else before for engine, before in self._on.items()]
        self.tablet.fit_propellers(self.route.hull, names, self.route.job)
        self.context.vessels.refresh(self.route.hull)
        self.way.back()

    def actions(self) -> Sequence[Press | None]:
        other = Press("Another one", partial(self.way.go, self.route.to("add piece", "propellers")), name="another")
        if len(self._on) < 2 or self._of:
            return (other,)
        apart = Press("Not alike", partial(self.way.go, self.route.to("each engine")), name="not alike")
        return (apart, other)


def _not_listed(forecasts: Sequence[Forecast], names: Sequence[str]) -> list[Forecast]:
    """Propellers that are to be tried next and that nobody entered, the last first."""
    last = {one.propeller: one for one in forecasts if one.propeller not in names and one.pitch}
    return list(reversed(last.values()))[:MOST_FORESEEN]


class EachEnginePage(Page):
    """The propeller of each engine, where they are not alike."""

    title = "Propeller of each engine"

    def body(self) -> Widget:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        return column_of([partial(self._row, one.position, one.fitted or CAME_WITH) for one in vessel.engines])

    def _row(self, position: str, name: str) -> RowPress:
        go = partial(self.way.go, self.route.to("new trial", position))
        return RowPress(position.capitalize(), go, value=name, name=f"engine {position}")


class AsidePage(Page):
    """What stands beside the rows of a table: the propeller of each, the load, how high the engine is mounted."""

    @property
    def title(self) -> str:  # type: ignore[override]
        step = self.tablet.step(self.route.step)
        table = next((field for field in step.fields if field.name == self._table), None) if step else None
        return table.title if table else "Propeller of the recording"

    @property
    def _table(self) -> str:
        return self.route.subject[0] if self.route.subject else ""

    def _asks(self) -> Sequence[Ask]:
        step = self.tablet.step(self.route.step)
        return asks_aside(self.tablet, self.route.hull, self.route.job, step, self._table) if step else ()

    def body(self) -> Widget:
        hull, job = self.route.hull, self.route.job
        lines = [line for ask in self._asks() for line in lines_of_step(self.tablet, hull, job, [ask], {})]
        return column_of([partial(self._line, line) for line in lines] or [words("No row is entered yet.", "quiet")])

    def _line(self, line: ValueLine) -> RowPress:
        ask = line.ask
        return RowPress(
            ", ".join(filter(None, (ask.field.title, ask.context))),
            partial(self.way.go, entry_route(self.route, ask)),
            value=self._shown(ask),
            value_role="ink" if line.state == "done" else "quiet",
            mark=verdict_marks[line.verdict] if line.verdict else state_mark(line.state),
            name=f"aside {ask.field.name} {ask.row} {ask.of}".rstrip(),
        )

    def _shown(self, ask: Ask) -> str:
        current = self.tablet.current(self.route.hull, self.route.job, ask)
        return str(current[0].value) if len(current) == 1 else "values disagree" if current else ""
