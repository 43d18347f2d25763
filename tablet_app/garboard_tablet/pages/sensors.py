"""Which of these is my compass? A name on the network is tied to a sensor of the boat, once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard.findings import Verdict, rounded
from garboard.samples import UNIT_OF_QUANTITY
from garboard_tablet.language import phrase
from garboard_tablet.models.heading_sources import HeadingSource, entered_not_heard, heard, sensor_of, tie
from garboard_tablet.models.runs import recording_asks
from garboard_tablet.models.session import Route
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.widgets import Card, Choices, Press, RowPress, Txt, heading, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context

LOOK = 0.5
"""What is heard is looked at anew so often [s]."""


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
    """Every name heading comes under, with what it says, and the sensor it is tied to.

    Only a value heard now can be compared with a display. The others stand apart, each with its time.
    """

    title = "Which of these is my compass?"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._rows: dict[tuple[str, bool], RowPress] = {}
        self._looking = context.between_touches.every(LOOK, self.look)

    def _sources(self) -> tuple[HeadingSource, ...]:
        return tuple(one for one in sources_at(self.context, self.route) if one.source)

    def body(self) -> Widget:
        self._rows = {}
        found = self._sources()
        if not found:
            return column_of([words("No heading is heard, and none is in this step's recording.")])
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        unheard = entered_not_heard(vessel, found)
        now = [one for one in found if one.is_heard_now]
        before = [one for one in found if not one.is_heard_now]
        said: list[Maker] = [partial(_not_heard, one) for one in unheard]
        said += [words(_COMPARE if now else _NOT_LIVE), *(partial(self._row, one) for one in now)]
        if now and before:
            said.append(heading("Not heard now: do not compare with a display"))
        return column_of([*said, *(partial(self._row, one) for one in before)])

    def _row(self, one: HeadingSource) -> RowPress:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        name = sensor_of(vessel, one.source)
        row = RowPress(
            _reading(one),
            lambda: self.way.go(self.route.to("sensor", one.source)),
            small=_told(one),
            value=name or "whose?",
            mark=state_mark("done") if name else verdict_marks[Verdict.ADVISE],
            word="chosen" if name else "none chosen",
            name=f"source {one.source}",
        )
        row.is_same = True  # what it says changes as one looks
        self._rows[one.source, one.is_heard_now] = row
        return row

    def look(self) -> None:
        """Show what is heard now. A row stays where it is while its value changes: a finger may be on it."""
        found = {(one.source, one.is_heard_now): one for one in self._sources()}
        if self._rows and found.keys() == self._rows.keys():
            for key, row in self._rows.items():
                row.say(_reading(found[key]), _told(found[key]))
        elif found.keys() != self._rows.keys():
            self.screen.redraw_as_it_is()

    def refill(self) -> None:
        self.screen.redraw_as_it_is()

    def leave(self) -> None:
        self._looking.cancel()


_COMPARE = "Read the sensor's own display. Press the one that says the same."
_NOT_LIVE = "None is heard now. These are old values: a display shows something else by now."


def _not_heard(sentence: str) -> Card:
    return Card(
        Txt(phrase("{sentence}. Choose what it is called here.", sentence=sentence)),
        mark=verdict_marks[Verdict.ADVISE],
        word="not heard",
    )


def _reading(one: HeadingSource) -> str:
    reading = f"{rounded(one.value, 1)} {UNIT_OF_QUANTITY[one.quantity]} {one.reference}".rstrip()
    return f"{one.quantity.replace('_', ' ').capitalize()} {reading}"


def _told(one: HeadingSource) -> str:
    named = phrase("The network calls it {source}", source=", ".join(filter(None, (one.source, one.kind))))
    return ". ".join(filter(None, (one.device, one.last_heard, named, in_number(one.count, "sample"))))


class SensorPage(Page):
    """The sensors of the boat: one of them sends under this name."""

    @property
    def title(self) -> str:  # type: ignore[override]
        return phrase("Who sends as {name}?", name=self.route.subject[0])

    @property
    def under(self) -> str:
        """What the device says of itself stands before whose page it is."""
        found = {one.source: one for one in sources_at(self.context, self.route)}.get(self.route.subject[0])
        return ". ".join(filter(None, (found.device or found.kind if found else "", super().under)))

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
        tie(self.tablet, self.route.hull, sensor, self.route.subject[0], self.route.job)
        self.findings.soon(self.route)
        self.way.back()
