"""The vessel's equipment, edited from what the records say of themselves."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from kivy.uix.widget import Widget

from garboard.hosting.equipment import kind_title, kinds_shown, piece_title, plugin_needed
from garboard.records import named_by
from garboard.steps import EquipmentKind, Kind
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import (
    Ask,
    asks_of_piece,
    asks_of_vessel,
    pieces,
    shown,
    shown_of,
)
from garboard_tablet.models.drafts import NOT_SAVED
from garboard_tablet.models.entry import entry_route, first_route
from garboard_tablet.models.pages import (
    ValueLine,
    lines_of_step,
)
from garboard_tablet.pages.job import WordsPage
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import HEADING
from garboard_tablet.ui.widgets import Across, Apart, Press, RowPress, words

TELLING = (Kind.AMOUNT, Kind.TEXT)
"""Kinds of values that say something about a piece without their title beside them."""


class _OfKinds(Page):
    """A page about kinds of equipment, those of plugins among them."""

    def title_of(self, kind: str) -> str:
        return kind_title(kind, self.tablet.host.equipment)

    def declared(self, kind: str) -> EquipmentKind | None:
        """What a plugin at work says of its own kind; None for the program's, and where the plugin is not at work."""
        return self.tablet.host.equipment.get(kind)

    def plugin_needed(self, kind: str) -> str:
        return plugin_needed(kind, self.tablet.host.equipment)


class EquipmentPage(_OfKinds):
    """The vessel's own facts, and its equipment by kind."""

    title = "Equipment"

    def body(self) -> Widget:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        makers: list[Maker] = [
            lambda: RowPress(
                "The boat itself",
                lambda: self.way.go(self.route.to("piece")),
                value=self._share(asks_of_vessel()),
                name="the boat",
            )
        ]
        for kind in kinds_shown(vessel, self.tablet.host.equipment):
            names = pieces(vessel, kind)
            makers.append(partial(self._kind_row, kind, names))
        return column_of(makers)

    def actions(self) -> Sequence[Press]:
        if not any(self.tablet.view(self.route.hull, self.route.job).vessel.pieces.values()):
            return ()
        return (Press("Keep as template", lambda: self.way.go(self.route.to("keep template")), name="keep template"),)

    def _kind_row(self, kind: str, names: Sequence[str]) -> RowPress:
        lacking = self.plugin_needed(kind)
        told = [", ".join(names) or phrase("None entered")]
        told += [phrase("Needs the plugin {plugin}", plugin=lacking)] if lacking else []
        return RowPress(
            self.title_of(kind),
            lambda: self.way.go(self.route.to("kind", kind)),
            small=". ".join(told),
            value=str(len(names) or ""),
            name=f"kind {kind}",
        )

    def _share(self, asks: Sequence[Ask]) -> str:
        have = sum(bool(self.tablet.current(self.route.hull, self.route.job, ask)) for ask in asks)
        return phrase("{have} of {all}", have=have, all=len(asks))


class KindPage(_OfKinds):
    """All pieces of one kind."""

    @property
    def path(self) -> tuple[str, ...]:
        return self.route.subject

    @property
    def title(self) -> str:  # type: ignore[override]
        return self.title_of(self.path[-1])

    def _names(self) -> tuple[str, ...]:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        if len(self.path) == 1:
            return pieces(vessel, self.path[0])
        networks = [network for network in vessel.networks if network.name == self.path[1]]
        return tuple(device.name for network in networks for device in network.devices)

    def body(self) -> Widget:
        names = self._names()
        makers: list[Maker] = [partial(self._row, name) for name in names]
        if self.path == ("engines",) and not names:
            return column_of([words("How many engines are on the transom?"), self._counts])
        if lacking := self.plugin_needed(self.path[0]):
            makers.insert(0, words(_needs(lacking), "quiet"))
        return column_of(makers or [words("None entered yet. Press Add.", "quiet")])

    def _counts(self) -> Across:
        from garboard.records import ENGINE_POSITIONS

        return Across(
            [
                Press(str(count), partial(self._add_engines, found), "main", 44, name=f"{count} engines")
                for count, found in ENGINE_POSITIONS.items()
            ],
            least=140,
        )

    def _add_engines(self, positions: Sequence[str]) -> None:
        for position in positions:
            self.tablet.add_piece(self.route.hull, ("engines", position), self.route.job)
        self.context.vessels.refresh(self.route.hull)
        self.screen.redraw()

    def _row(self, name: str) -> RowPress:
        asks = asks_of_piece((*self.path, name), self.tablet.host.equipment)
        values = [(ask, shown_of(ask.field, self.tablet.value(self.route.hull, self.route.job, ask))) for ask in asks]
        have = [value for _, value in values if value]
        telling = [value for ask, value in values if value and ask.field.kind in TELLING]
        return RowPress(
            name.capitalize() if self.path[-1] == "engines" else name,
            lambda: self.way.go(self.route.to("piece", *self.path, name)),
            small=" · ".join(telling[:5]),
            value=phrase("{have} of {all}", have=len(have), all=len(asks)),
            name=f"piece {name}",
        )

    def actions(self) -> Sequence[Press]:
        declared = self.declared(self.path[0])
        is_full = declared is not None and declared.only_one and bool(self._names())
        if self.path == ("engines",) or is_full or self.plugin_needed(self.path[0]):
            return ()
        return (Press("Add", lambda: self.way.go(self.route.to("add piece", *self.path)), "main", name="add piece"),)


def _needs(plugin: str) -> str:
    return phrase("Needs the plugin {plugin}, which is not at work here. What is entered is kept.", plugin=plugin)


class AddPiecePage(WordsPage, _OfKinds):
    @property
    def asks(self) -> str:  # type: ignore[override]
        declared = self.declared(self.route.subject[0])
        return declared.named_by if declared else "What is it called?"

    _USUAL = {  # noqa: RUF012  # read only
        "batteries": ("house", "start port", "start starboard", "start"),
        "tanks": ("main", "port", "starboard"),
        "heading_sensors": ("compass", "satellite compass"),
        "networks": ("main",),
        "circuits": ("Bilge pump", "Navigation lights", "VHF", "Plotter", "Trim tabs", "Livewell pump", "Horn"),
    }

    @property
    def title(self) -> str:  # type: ignore[override]
        return phrase("Add: {kind}", kind=self.title_of(self.route.subject[-1]).lower())

    def offers(self) -> Sequence[str]:
        if len(self.route.subject) > 1:
            return ()
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        have = pieces(vessel, self.route.subject[0])
        declared = self.declared(self.route.subject[0])
        usual: Sequence[str] = self._USUAL.get(self.route.subject[0], ())
        if declared is not None:
            usual = (declared.one,) if declared.only_one else declared.names
        return [name for name in usual if name not in have]

    def take(self, text: str) -> None:
        path = (*self.route.subject, text)
        self.tablet.add_piece(self.route.hull, path, self.route.job)
        self.way.instead(self.route.to("piece", *path))


class PiecePage(_OfKinds):
    """Everything known about one piece, or about the boat itself."""

    @property
    def path(self) -> tuple[str, ...]:
        return self.route.subject

    @property
    def title(self) -> str:  # type: ignore[override]
        if not self.path:
            return "The boat itself"
        kind, declared = self.title_of(self.path[-2]), self.declared(self.path[0])
        return kind if declared and declared.only_one else f"{kind}: {self.path[-1]}"

    def _asks(self) -> tuple[Ask, ...]:
        return asks_of_piece(self.path, self.tablet.host.equipment) if self.path else asks_of_vessel()

    def body(self) -> Widget:
        lines = lines_of_step(self.tablet, self.route.hull, self.route.job, self._asks(), {})
        makers: list[Maker] = []
        like = self._like()
        if like is not None:
            makers.append(
                lambda: Across([Press(phrase("Same as {like}", like=like), lambda: self._copy(like), name="same as")])
            )
        makers.extend(partial(self._value_row, line) for line in lines)
        if self.path and (lacking := self.plugin_needed(self.path[0])):
            makers += [words(_needs(lacking), "quiet"), *self._as_entered()]
        if len(self.path) == 2 and self.path[0] == "networks":
            makers.append(
                lambda: RowPress("Devices", lambda: self.way.go(self.route.to("kind", *self.path, "devices")))
            )
        if self.path:
            makers.append(lambda: Apart(Press("Remove it", self._remove, "away", name="remove piece")))
        return column_of(makers)

    def _as_entered(self) -> list[Maker]:
        """What is kept of a piece whose plugin is not at work."""
        piece = self.tablet.view(self.route.hull, self.route.job).vessel.of_kind(self.path[0]).get(self.path[1])
        facts = piece.more.items() if piece is not None else ()
        return [words(f"{name.replace('_', ' ').capitalize()}: {shown(value)}") for name, value in facts]

    def _value_row(self, line: ValueLine) -> RowPress:
        ask = line.ask
        inner = ask.key.subject[len(self.path) : -1]  # "propeller", for what belongs to an engine's propeller
        return RowPress(
            f"{inner[-1].capitalize()} {ask.field.title.lower()}" if inner else ask.field.title,
            lambda: self.way.go(entry_route(self.route, ask)),
            value=line.value,
            value_role="ink" if line.state == "done" else "quiet",
            word=f"{line.typed} {NOT_SAVED}" if line.typed else None,
            name=f"value {'/'.join(ask.key.subject)}",
        )

    def _like(self) -> str | None:
        """The piece before this one, while this one is still empty."""
        if len(self.path) != 2:
            return None
        asks = self._asks()
        if any(self.tablet.current(self.route.hull, self.route.job, ask) for ask in asks):
            return None
        names = pieces(self.tablet.view(self.route.hull, self.route.job).vessel, self.path[0])
        others = [name for name in names if name != self.path[1]]
        index = names.index(self.path[1]) if self.path[1] in names else 0
        return names[index - 1] if index else (others[0] if others else None)

    def _copy(self, like: str) -> None:
        kind, name = self.path
        self.tablet.copy_piece(
            self.route.hull,
            (kind, like),
            (kind, name),
            leave_out=(named_by(kind), "serial_number", "label", "removed"),
            job=self.route.job,
        )
        self.screen.redraw()

    def actions(self) -> Sequence[Press]:
        return (Press("Continue", self._continue, "main", name="continue"),)

    def _remove(self) -> None:
        self.way.go(self.route.to("remove piece", *self.path))

    def _continue(self) -> None:
        route = first_route(self.tablet, self.route, self._asks())
        if route is None:
            self.way.back()
        else:
            self.way.go(route)


class RemovePiecePage(_OfKinds):
    """Asks before a piece is taken off."""

    @property
    def title(self) -> str:  # type: ignore[override]
        kind, name = self.route.subject[-2:]
        return phrase("Remove the {piece}?", piece=piece_title(kind, name, self.tablet.host.equipment))

    def body(self) -> Widget:
        return column_of(
            [
                words("It then counts as not fitted. Values entered for it stay in the boat's file.", "ink", HEADING),
                lambda: Apart(Press("Remove it", self._remove, "away", name="remove it")),
            ]
        )

    def actions(self) -> Sequence[Press]:
        return (Press("Keep it", self.way.back, "main", name="keep it"),)

    def _remove(self) -> None:
        self.tablet.remove_piece(self.route.hull, self.route.subject, self.route.job)
        self.context.vessels.refresh(self.route.hull)
        self.tablet.session.back_to("kind")
        self.screen.redraw()
