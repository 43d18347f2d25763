"""What the boat's network says of itself: what asks for something first, then who sends what."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.recordings.bus_audit import HeardDevice, audit, in_words
from garboard_tablet.language import phrase
from garboard_tablet.models.session import Route
from garboard_tablet.pages.network import listening
from garboard_tablet.ui.context import Context
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Card, Press, Txt, verdict_marks, words

LOOK = 2.0
"""What is heard is looked at anew so often [s]."""
MOST_KINDS = 6
_FAILS = ("other name", "clash", "no address")
_VERDICTS = {"in order": Verdict.PASS, "listen on": Verdict.NOT_ENOUGH_DATA}


class AuditPage(Page):
    """Told anew while it is looked at, wherever something has changed."""

    title = "What the network says of itself"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._told: tuple[object, ...] = ()
        self._under_told = self.under
        self._looking = context.between_touches.every(LOOK, self.look)

    @property
    def under(self) -> str:
        return listening(self.live.network)

    def look(self) -> None:
        """Show what has changed."""
        told = self._tell()
        if told[:1] != self._told[:1] or self.under != self._under_told:
            self.screen.redraw_as_it_is()

    def _tell(self) -> tuple[tuple[tuple[str, str], ...], tuple[HeardDevice, ...]]:
        network = self.live.network
        if network is None:
            return (("listen on", "The tablet does not listen. Choose where samples come from."),), ()
        vessel = self.tablet.boat(self.route.hull).vessel() if self.route.hull else None
        found = audit(network.senders(), network.listened, len(vessel.engines) if vessel else 0)
        name = vessel.name if vessel else ""
        said = in_words(found, name) if found.devices else [("listen on", network.trouble() or "Nothing is heard yet.")]
        return tuple(said), found.devices

    def body(self) -> Widget:
        said, devices = self._told = self._tell()
        self._under_told = self.under
        makers: list[Maker] = [partial(_card, code, sentence) for code, sentence in said]
        for device in devices:
            makers.append(words(device.title))
            sends = ", ".join(kind for kind, _ in device.sends[:MOST_KINDS])
            more = len(device.sends) - MOST_KINDS
            told = "; ".join(filter(None, (*device.names, phrase("sends {sends}", sends=sends) if sends else "")))
            makers.append(
                words(phrase("{told}, and {more} more", told=told, more=more) if more > 0 else told, "quiet", SMALL)
            )
        return column_of(makers)

    def actions(self) -> Sequence[Press]:
        return (Press("Look again", self.screen.redraw, "main", name="look again"),)

    def leave(self) -> None:
        self._looking.cancel()


def _card(code: str, sentence: str) -> Card:
    verdict = Verdict.FAIL if code in _FAILS else _VERDICTS.get(code, Verdict.ADVISE)
    return Card(Txt(sentence), mark=verdict_marks[verdict], word=code)
