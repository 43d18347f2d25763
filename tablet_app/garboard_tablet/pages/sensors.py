"""Which of these is my compass? A name on the network is tied to a sensor of the boat, once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.samples import UNIT_OF_QUANTITY
from garboard_tablet.models.heading_sources import HeadingSource, heard, sensor_of, tie
from garboard_tablet.models.runs import recording_asks
from garboard_tablet.models.session import Route
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.widgets import Choices, Press, RowPress, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context


def sources_at(context: Context, route: Route) -> tuple[HeadingSource, ...]:
    """Names under which heading comes: heard now, and in the recordings of the step that count."""
    found = {one.source: one for one in heard(context.live.network)}
    for ask in recording_asks(context.tablet, route):
        for run in context.tablet.runs(route.hull, route.job, ask):
            if run.counts:
                for one in context.runs.headings_in(run.file):
                    found.setdefault(one.source, one)
    return tuple(found[source] for source in sorted(found))


class SensorsPage(Page):
    """Every name heading comes under, with what it says, and the sensor it is tied to."""

    title = "Which of these is my compass?"

    def body(self) -> Widget:
        rows: list[Maker] = [partial(self._row, one) for one in sources_at(self.context, self.route) if one.source]
        hint = "Read the sensor's own display. Press the one that says the same."
        if not rows:
            return column_of([words("No heading is heard, and none is in this step's recording.")])
        return column_of([words(hint), *rows])

    def _row(self, one: HeadingSource) -> RowPress:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        name = sensor_of(vessel, one.source)
        reading = f"{one.value:.1f} {UNIT_OF_QUANTITY[one.quantity]} {one.reference}".rstrip()
        return RowPress(
            f"{one.quantity.replace('_', ' ').capitalize()} {reading}",
            lambda: self.way.go(self.route.to("sensor", one.source)),
            small=f"The network calls it {one.source}. {one.count} samples",
            value=name or "whose?",
            mark=state_mark("done") if name else verdict_marks[Verdict.ADVISE],
            word="chosen" if name else "none chosen",
            name=f"source {one.source}",
        )

    def refill(self) -> None:
        self.screen.redraw_as_it_is()


class SensorPage(Page):
    """The sensors of the boat: one of them sends under this name."""

    @property
    def title(self) -> str:  # type: ignore[override]
        return f"Who sends as {self.route.subject[0]}?"

    def body(self) -> Widget:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        tied = sensor_of(vessel, self.route.subject[0])
        if not vessel.heading_sensors:
            return column_of([words("No heading sensor is entered for this boat. Press Add a sensor.")])
        return Choices(
            [
                Press(sensor.name, partial(self._tie, sensor.name), size=32, name=f"sensor {sensor.name}",
                      chosen=sensor.name == tied)
                for sensor in vessel.heading_sensors
            ]
        )  # fmt: skip

    def actions(self) -> Sequence[Press]:
        add = partial(self.way.go, self.route.to("add piece", "heading_sensors"))
        return (Press("Add a sensor", add, name="add sensor"),)

    def _tie(self, sensor: str) -> None:
        tie(self.tablet, self.route.hull, sensor, self.route.subject[0])
        self.findings.soon(self.route)
        self.way.back()
