"""The boat's network: where it is listened to, and what is heard there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.faults import InputError, in_number
from garboard.findings import Verdict, rounded, with_minus
from garboard.recordings.boat_network import Latest
from garboard.recordings.where import PORT, read_where
from garboard.samples import UNIT_OF_QUANTITY, StreamKey
from garboard.units import convert
from garboard_tablet.language import phrase
from garboard_tablet.models.live import STALE_AFTER
from garboard_tablet.models.session import Route
from garboard_tablet.models.settings import shown_in
from garboard_tablet.pages.job import WordsPage
from garboard_tablet.ui.shell import Maker, Page
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Card, Column, Press, Txt, verdict_marks

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork, Sender
    from garboard_tablet.ui.context import Context

LOOK = 0.5
"""What is heard is looked at anew so often [s]."""


def listening(network: BoatNetwork | None) -> str:
    """Where the tablet listens and what becomes of it: the small print under a title."""
    if network is None:
        return "Not listening"
    return phrase("Listening: {title}, {word}", title=network.where.title, word=network.state().word)


class NetworkPage(Page):
    """What is heard now, sender by sender. Values change where they stand; the page is built anew for new ones only."""

    title = "The boat's network"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._column = Column(most=2)
        self._shown: dict[str, str] = {}
        self._texts: dict[str, Txt] = {}
        self._under_told = self.under
        self._looking = context.between_touches.every(LOOK, self.look)

    @property
    def under(self) -> str:
        return listening(self.live.network)

    def body(self) -> Widget:
        self._column = Column(most=2)
        self._show(heard_lines(self.live.network, self.tablet.settings.own_units))
        return self._column

    def look(self) -> None:
        """Show what has changed."""
        if self.under != self._under_told:  # silent for so long, or connected again
            self._under_told = self.under
            self.screen.say_under()
        lines = heard_lines(self.live.network, self.tablet.settings.own_units)
        if lines.keys() != self._shown.keys():
            self._show(lines)
            return
        for name, text in lines.items():
            shown = self._texts.get(name)
            if shown is not None and shown.text != text:
                shown.text = text
                shown.texture_update()
        self._shown = lines

    def _show(self, lines: dict[str, str]) -> None:
        self._shown, self._texts = lines, {}
        self._column.show([partial(self._row, name, text) for name, text in lines.items()])

    def _row(self, name: str, text: str) -> Txt | Card:
        kind = name.partition(" ")[0]
        if kind == "trouble":
            self._texts[name] = Txt(text)
            return Card(self._texts[name], mark=verdict_marks[Verdict.ADVISE], word="look here")
        self._texts[name] = Txt(text, bold=True) if kind == "sender" else Txt(text, SMALL, _ROLES[kind])
        return self._texts[name]

    def actions(self) -> Sequence[Press]:
        which = [Press("Which is my compass?", lambda: self.way.go(self.route.to("sensors")), name="sensors")]
        return (
            Press("What is missing?", lambda: self.way.go(self.route.to("audit")), name="audit"),
            *(which if self.route.hull else ()),
            Press("Another port or address", lambda: self.way.instead(self.route.to("where")), name="where"),
            Press("To the guide", lambda: self.way.back_to("live"), "main", name="to the guide"),
        )

    def leave(self) -> None:
        self._looking.cancel()


_ROLES = {"value": "ink", "kinds": "quiet", "remark": "quiet"}


def heard_lines(network: BoatNetwork | None, own: Mapping[str, str]) -> dict[str, str]:
    """What the page says, each line under a name that stays while its words change.

    own : the units whoever is working chose
    """
    if network is None:
        return {"trouble": "The tablet has stopped listening. Choose again where samples come from."}
    trouble = network.trouble()
    lines = {f"trouble {trouble[:20]}": trouble} if trouble else {}
    for sender in network.senders():
        lines[f"sender {sender.address}"] = f"{sender.address}: {in_number(sender.notes.lines, 'line')}"
        for key, latest in sorted(sender.latest.items()):
            lines[f"value {key}"] = _value(key, latest, network.age(latest.at), own)
        lines |= {f"kinds {sender.address} {title}": said for title, said in _kinds(sender)}
    for remark in network.remarks():
        lines[f"remark {remark[:12]} {len(remark)}"] = remark
    return lines


def _kinds(sender: Sender) -> list[tuple[str, str]]:
    notes = sender.notes
    kinds = (("Read", notes.kinds), ("Not read", notes.unknown))
    return [(title, f"{title}: {', '.join(sorted(names)[:_MOST_KINDS])}") for title, names in kinds if names]


_MOST_KINDS = 12


def _value(key: StreamKey, latest: Latest, age: float, own: Mapping[str, str]) -> str:
    name = " ".join(filter(None, (key.quantity.replace("_", " "), key.reference, key.instance)))
    source = phrase(", from {source}", source=key.source) if key.source else ""
    old = phrase(", {age} s old", age=rounded(age)) if age > STALE_AFTER else ""
    decimals = 4 if key.quantity in ("latitude", "longitude") else 1
    unit = UNIT_OF_QUANTITY[key.quantity]
    shown = shown_in(unit, own)
    value = latest.value if shown == unit else convert(latest.value, unit, shown)
    return f"{name.capitalize()}: {with_minus(rounded(value, decimals))} {shown}{source}{old}"


class WherePage(WordsPage):
    """Where to listen."""

    title = "Receive the boat's network"
    under = "NMEA 2000, NMEA 0183 or Signal K. This tablet only listens."
    word = "Listen"

    @property
    def asks(self) -> str:  # type: ignore[override]
        return phrase(
            "A UDP port that a gateway sends to ({port} is the usual one), a gateway's address for "
            "TCP such as 192.168.4.1:{port}, or a Signal K server such as ws://192.168.4.1:3000",
            port=PORT,
        )

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._problem = ""

    def offers(self) -> Sequence[str]:
        return tuple(dict.fromkeys((*self.tablet.settings.network, str(PORT))))

    def body(self) -> Widget:
        if not self._problem:
            return super().body()
        column = Column()
        makers: list[Maker] = [lambda: Card(Txt(self._problem), mark=verdict_marks[Verdict.FAIL], word="not read")]
        column.show(makers)
        return column

    def actions(self) -> Sequence[Press]:
        if self._problem:
            return (Press("Type it again", self._again, "main", name="type again"),)
        return super().actions()

    def _again(self) -> None:
        self._problem = ""
        self.screen.redraw_as_it_is()

    def _done(self, text: str) -> None:
        try:
            read_where(text)
        except InputError as failure:
            self._problem = str(failure.faults[0])
            self.screen.redraw_as_it_is()
        else:
            super()._done(text)

    def take(self, text: str) -> None:
        where = read_where(text)
        self.tablet.change_settings(self.tablet.settings.with_network(str(where)))
        self.live.listen(where)
        self.way.instead(self.route.to("network"))
