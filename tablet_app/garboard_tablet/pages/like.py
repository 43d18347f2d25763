"""Begin a boat like another; then what only this boat has."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard_tablet.language import phrase
from garboard_tablet.models import like
from garboard_tablet.models.entry import entry_route, own_open
from garboard_tablet.models.own_facts import OWN
from garboard_tablet.pages.job import WordsPage
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.widgets import Press, RowPress, warning_card, words

if TYPE_CHECKING:
    from garboard.history.like import Facts, Template
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.vessels import VesselLine

TAKEN = "Equipment and the maker's limits are taken over."
NOT_TAKEN = (
    "Not taken over: name, hull number, serials and hours, as each boat has its own; lengths and readings, as they are "
    "measured on each boat. Those are asked next; the model's lengths are shown beside them."
)
MOST_BOATS = 40
"""Boats offered to begin from."""


class LikePage(Page):
    """What a new boat can begin from: a template, a boat on this tablet, or nothing."""

    title = "Like which boat?"

    def body(self) -> Widget:
        makers: list[Maker] = [words(TAKEN), words(NOT_TAKEN, "quiet")]
        makers += [partial(self._template, one) for one in like.templates(self.tablet)]
        boats = like.boats_like(self.context.vessels.lines.values(), self.route.hull)[:MOST_BOATS]
        makers += [partial(self._boat, line) for line in boats]
        return column_of(makers)

    def _template(self, template: Template) -> RowPress:
        return RowPress(
            template.name,
            partial(self._begin, template.facts, f"template {template.name}"),
            small=phrase("Template. {facts}", facts=like.counted_facts(template.facts, self.tablet.host.equipment)),
            name=f"template {template.name}",
        )

    def _boat(self, line: VesselLine) -> RowPress:
        vessel = self.tablet.boat(line.hull).vessel()
        model = " ".join(filter(None, (vessel.maker, vessel.model)))
        told = ". ".join(
            filter(None, (model, like.in_short(vessel, self.tablet.host.equipment) or "No equipment entered"))
        )
        return RowPress(
            line.name or line.hull_number, partial(self._begin_from, line.hull), small=told, name=f"like {line.hull}"
        )

    def _begin_from(self, hull: str) -> None:
        self._begin(like.facts_of(self.tablet, hull), hull)

    def _begin(self, facts: Facts, name: str) -> None:
        others = like.begin_like(self.tablet, self.route.hull, self.route.job, facts, name)
        self.context.vessels.refresh(self.route.hull)
        self.way.instead(self.route.to("own facts", *others))

    def actions(self) -> Sequence[Press]:
        return (Press("Empty", lambda: self.way.instead(self.route.to("job")), name="like none"),)


class OwnFactsPage(Page):
    """What only this boat has, and nobody entered yet. The subject names what stayed out, as the boat has another."""

    title = "Only this boat"

    def body(self) -> Widget:
        asks = own_open(self.tablet, self.route)
        makers: list[Maker] = []
        if others := self.route.subject:
            told = f"Not taken over, as this boat has another: {', '.join(others)}. Enter what is missing there."
            makers.append(lambda: warning_card(told))
        if not asks:
            return column_of([*makers, words("All of it is entered.")])
        told_open = phrase("{things} only this boat has. Any can wait.", things=in_number(len(asks), "thing"))
        return column_of([*makers, words(told_open, "quiet"), *(partial(self._row, ask) for ask in asks)])

    def _row(self, ask: Ask) -> RowPress:
        return RowPress(
            ask.field.title,
            partial(self._enter, ask),
            small=ask.context,
            name=f"own {'/'.join(ask.key.subject)}",
        )

    def _enter(self, ask: Ask) -> None:
        self.way.go(entry_route(self.route.to(self.route.page, step=OWN), ask))

    def actions(self) -> Sequence[Press]:
        asks = own_open(self.tablet, self.route)
        job = Press("To the job", lambda: self.way.instead(self.route.to("job", step="")), name="to the job")
        if not asks:
            return (
                Press("To the job", lambda: self.way.instead(self.route.to("job", step="")), "main", name="to the job"),
            )
        return (
            job,
            Press(
                phrase("Next: {title}", title=asks[0].field.title),
                partial(self._enter, asks[0]),
                "main",
                name="next own",
            ),
        )


class KeepTemplatePage(WordsPage):
    """Keep this boat's equipment under a name, for every tablet of the shop."""

    title = "Keep as template"
    asks = "Under which name? A template of that name is replaced. Serials, lengths and readings are not kept."

    def offers(self) -> Sequence[str]:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        model = " ".join(filter(None, (vessel.maker, vessel.model)))
        kept = [one.kept_under for one in like.templates(self.tablet)]
        return [name for name in dict.fromkeys((model, *kept)) if name][:6]

    def take(self, text: str) -> None:
        like.keep_template(self.tablet, self.route.hull, self.route.job, text)
        self.way.back()
