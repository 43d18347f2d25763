"""What a page is handed: the tablet, the parts of the app it may use, and the screen it stands on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import attrs

if TYPE_CHECKING:
    from garboard_tablet.models.ashore import AshoreMarks
    from garboard_tablet.models.assessor import Assessor
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.backups import Backups
    from garboard_tablet.models.live_source import LiveSource
    from garboard_tablet.models.navigator import Navigator
    from garboard_tablet.models.pointed import Pointed
    from garboard_tablet.models.run_reviews import RunReviews
    from garboard_tablet.models.shop_worker import ShopWorker
    from garboard_tablet.models.step_ends import StepEnds
    from garboard_tablet.models.tablet import Tablet
    from garboard_tablet.models.vessels import VesselList
    from garboard_tablet.system.files import Files
    from garboard_tablet.system.guest import Guest
    from garboard_tablet.ui.between_touches import BetweenTouches
    from garboard_tablet.ui.inputs import KeptPresses, KeptQuestion, NumberPads
    from garboard_tablet.ui.run_clock import RunClock


class Screen(Protocol):
    """Shows one page at a time, as a page sees it."""

    def show(self) -> None:
        """Put up the page the session stands at, made anew."""

    def redraw(self) -> None:
        """Draw the page anew; one that keeps what it knows goes on as it was."""

    def redraw_as_it_is(self) -> None:
        """Draw the page now shown anew, with what it knows."""

    def say_saved(self) -> None:
        """Say anew at the upper right how far what was entered is on the disk."""

    def say_under(self) -> None:
        """Say anew what stands under the title."""

    def begin(self) -> None:
        """Have what is typed go into the field of the page now shown."""

    def shows(self, page: object) -> bool:
        """Whether a page is the one now shown."""


@attrs.frozen(eq=False, kw_only=True)
class Context:
    """The parts of the app at work.

    pointed         : the photo whose arrows were set last
    files           : the camera, the system's picker, and folders outside the app
    files_come_from : folder that photos and recordings are taken in from
    data_problem    : why the tablet's data is not where it should be; "" where it is
    """

    tablet: Tablet
    way: Navigator
    findings: Assessor
    shop: ShopWorker
    live: LiveSource
    runs: RunReviews
    vessels: VesselList
    ends: StepEnds
    marks: AshoreMarks
    background: Background
    screen: Screen
    between_touches: BetweenTouches
    pads: NumberPads
    presses: KeptPresses
    asked: KeptQuestion
    files: Files
    backups: Backups
    pointed: Pointed
    run_clock: RunClock
    guest: Guest
    files_come_from: Path
    data_problem: str = ""
