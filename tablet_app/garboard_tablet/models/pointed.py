"""The photo that was pointed at last. Apart from photos.py: the app's first frame needs no photos."""

from __future__ import annotations

from typing import TYPE_CHECKING

import attrs

if TYPE_CHECKING:
    from garboard.job_view import FieldKey
    from garboard_tablet.models.photos import Pointing
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import Tablet


@attrs.define(eq=False)
class Pointed:
    """The photo that was pointed at last: its arrows can be undone also after one was named, on a page of its own."""

    tablet: Tablet
    _last: Pointing | None = None

    def at(self, route: Route, place: FieldKey) -> Pointing:
        """The arrows on a photo, with what stood before them."""
        from garboard_tablet.models.photos import Pointing

        last = self._last
        if last is None or (last.route.hull, last.route.job, last.place) != (route.hull, route.job, place):
            last = self._last = Pointing(self.tablet, route, place)
        last.in_hand = len(last.arrows) - 1
        return last
