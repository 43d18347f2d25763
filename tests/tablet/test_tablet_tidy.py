"""A page that is gone is cleared away soon after, and not in the middle of a press."""

from __future__ import annotations

import gc
import weakref

from tablet.driver import Drive


def test_a_page_left_is_cleared_away_soon_after(drive: Drive) -> None:
    """Python's own looking through everything is switched off meanwhile: it would come when it is felt."""
    d = drive()
    d.press("settings")
    left = [weakref.ref(widget) for widget in d.widgets() if widget is not d.app.shell]
    gc.disable()
    try:
        d.press("back")
        assert any(ref() is not None for ref in left)
        d.wait(lambda: all(ref() is None for ref in left))
    finally:
        gc.enable()
