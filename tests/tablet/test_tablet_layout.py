"""Every page of the app, with the real plugins and the sample jobs, in all four sizes, by day and by night."""

import pytest
from layout_lint import faults

from garboard_tablet import gallery


@pytest.fixture(scope="module")
def app(kivy_window, tmp_path_factory):
    from kivy.base import runTouchApp, stopTouchApp
    from kivy.core.window import Window
    from kivy.metrics import Metrics

    from garboard_tablet.app import GarboardApp
    from garboard_tablet.demo import fill
    from garboard_tablet.models.tablet import open_tablet

    tablet = open_tablet(tmp_path_factory.mktemp("demo"))
    fill(tablet)
    app = GarboardApp(tablet, threads=False)
    app._run_prepare()
    runTouchApp(embedded=True)
    yield app
    Metrics.density = 1.0
    app.dispatch("on_stop")
    for child in list(Window.children):
        Window.remove_widget(child)
    stopTouchApp()
    type(app)._running_app = None


@pytest.mark.parametrize("screen", gallery.SIZES, ids=lambda screen: f"{screen[0]}x{screen[1]}")
def test_every_page_fits_and_can_be_pressed_and_read(app, screen):
    """No target too small, too close or at the edge; no words cut, over each other, outside, or too faint."""
    from kivy.core.window import Window

    gallery.set_screen(app, *screen)
    found = []
    count = 0
    for name, place, act in list(gallery.scenes(app.tablet)):
        gallery.show(app, place, act)
        app.shell.do_layout() if hasattr(app.shell, "do_layout") else None
        found.extend(f"{name}: {fault}" for fault in faults(app.shell, Window))
        count += 1
    assert count > 60
    assert not found, "\n".join(found)
