"""The shop, seen from the tablet: pairing with it and bringing ashore, each beside the drawing thread."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from garboard.disk.documents import DocumentDamaged
from garboard.disk.shop_document import is_paired
from garboard.disk.storage import NotSaved
from garboard.faults import GarboardError, in_words
from garboard_tablet.language import phrase
from garboard_tablet.models.ashore import has_findings

if TYPE_CHECKING:
    from garboard.shop_link.ashore import ComingAshore, State
    from garboard.shop_link.pairing import PairedShop
    from garboard.shop_link.sync import SyncReport
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.tablet import Tablet

log = logging.getLogger("garboard.tablet")

MOST_UNSEEN = 50
"""Of more reports that nobody looked at, the oldest go."""


class ShopWorker:
    """Pairs, and brings ashore again and again. What it knows belongs to the drawing thread.

    came     : called on the drawing thread at each change of how bringing ashore stands
    unseen   : what bringing ashore did before the last time, as long as nobody has looked at it
    pairing  : whether a try to pair is under way
    refusal  : why the last try to pair failed; kept until the next try, whatever page is shown
    answered : called on the drawing thread when a try ends, with the shop if there is one
    """

    def __init__(self, tablet: Tablet, background: Background, came: Callable[[State], object]) -> None:
        self._tablet, self._background, self._came = tablet, background, came
        self._coming: ComingAshore | None = None
        self._state: State | None = None
        self._seen: SyncReport | None = None
        self.unseen: tuple[State, ...] = ()
        self.pairing, self.refusal = False, ""
        self.answered: Callable[[PairedShop | None], object] = lambda _shop: None

    @property
    def paired(self) -> PairedShop | None:
        """The shop; None without one, or where the pairing cannot be read, as the settings page says."""
        from garboard.shop_link.pairing import kept

        try:
            return kept(self._tablet.folder)
        except DocumentDamaged:
            return None

    @property
    def state(self) -> State:
        """How bringing ashore stands."""
        from garboard.shop_link.ashore import State

        return self._state or State()

    def begin(self) -> None:
        """Bring ashore from the start on, where a shop is paired."""
        if self._background.threads and is_paired(self._tablet.folder):
            self.bring_ashore_now()

    def bring_ashore_now(self) -> None:
        """Try at once. From the first time on it is also tried by itself, in a thread of its own."""
        from garboard.shop_link.ashore import ComingAshore

        if self._coming is None:
            self._state_who_writes()
            self._coming = ComingAshore(self._tablet.files, self._told)
            self._coming.start()
        else:
            self._coming.now()

    def _told(self, state: State) -> None:
        """Called from the thread that brings ashore."""
        self._background.later(partial(self._take, state))

    def _take(self, state: State) -> None:
        if state.report is not self.state.report:
            self._keep_unseen(self.state)
        self._state = state
        self._came(state)

    def _keep_unseen(self, state: State) -> None:
        """It is tried again every few minutes: what came of it stays until somebody has looked."""
        from attrs import evolve

        report = state.report
        if report is None or report is self._seen or not has_findings(report):
            return
        told = evolve(state, report=evolve(report, here={}, there={}))  # what each side holds is told of the last one
        self.unseen = (*self.unseen, told)[-MOST_UNSEEN:]

    def looked_at(self) -> None:
        """A person has looked at what bringing ashore did."""
        self._seen, self.unseen = self.state.report, ()

    def _state_who_writes(self) -> None:
        """The shop must know what entries written here say of the tablet; settings that were lost have a new name."""
        from attrs import evolve

        from garboard.shop_link import pairing

        shop, writes_as = self.paired, self._tablet.settings.tablet
        if shop is None or shop.device == writes_as:
            return
        try:
            pairing.keep(self._tablet.folder, evolve(shop, device=writes_as))
        except NotSaved:  # the next start tries again, and the shop takes entries meanwhile
            log.exception("the tablet's name could not be kept with the pairing")

    def pair(self, code: str) -> None:
        """Pair with the shop a code names."""
        settings, folder = self._tablet.settings, self._tablet.folder
        name = f"{settings.working or 'tablet'}, {settings.tablet[:4]}"
        self.pairing, self.refusal = True, ""

        def paired(result: tuple[PairedShop | None, str]) -> None:
            self.pairing = False
            shop, self.refusal = result
            self.answered(shop)
            if shop is not None:
                self.bring_ashore_now()

        def work() -> tuple[PairedShop | None, str]:
            from garboard.shop_link import pairing, sync

            try:
                shop = sync.pair(code, name, settings.tablet)
                pairing.keep(folder, shop)
            except (GarboardError, OSError) as failure:
                return None, in_words(failure)
            return shop, ""

        def failed(failure: Exception) -> None:
            paired(
                (
                    None,
                    phrase("The program failed: {kind}. Help in the settings has more.", kind=type(failure).__name__),
                )
            )

        self._background.run("pairing with the shop", work, paired, failed)

    def stop(self, patience: float = 5.0) -> None:
        """End after the request under way [s]."""
        if self._coming is not None:
            self._coming.stop(patience=patience)
