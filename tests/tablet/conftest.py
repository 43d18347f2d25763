"""The app under the tests' fingers."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from garboard.hosting.host import PluginHost
from garboard_tablet.system.files import Files
from tablet.driver import Drive, Driver, dock_host, off_screen_window
from tablet.fake_files import without_any

NEVER = 1e9
"""Longer than any test runs [s]."""


_tests = count(1)
EVERY = 2
"""After so many tests what their apps left is cleared away."""


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup() -> None:
    """The app of this test need not be told from those of the tests before at each page it leaves."""
    if next(_tests) % EVERY == 0:
        gc.collect()


@pytest.fixture(scope="module", autouse=True)
def look_when_told() -> Iterator[None]:
    """Python looks for garbage when the tests tell it to, and not by itself: pages on show are no garbage."""
    gc.disable()
    yield
    gc.enable()


@pytest.fixture(scope="session")
def kivy_window() -> Any:
    """The window, in an app that does not clear away behind itself: see the hook above, and test_tablet_tidy.py."""
    window = off_screen_window()
    from garboard_tablet.ui.tidy import tidy_soon

    tidy_soon.timeout = NEVER
    gc.collect()
    gc.freeze()
    return window


@pytest.fixture
def settled_soon(kivy_window: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The boats are looked through in the first frames, not half a second after: the test looks at nothing before."""
    monkeypatch.setattr("garboard_tablet.app.SETTLE", 0.0)


@pytest.fixture
def drive(kivy_window: Any, tmp_path: Path) -> Iterator[Drive]:
    """Start the app on a folder with the invented plugin, or with a host of the test's own."""
    made = []

    def start(
        folder: Path | None = None,
        size: tuple[int, int] = (1280, 800),
        make_host: Callable[[], PluginHost] | None = dock_host,
        working: str = "Robin",
        threads: bool = False,
        demo: bool = False,
        files: Files | None = None,
    ) -> Driver:
        from garboard_tablet.app import GarboardApp
        from garboard_tablet.models.tablet import open_tablet

        tablet = open_tablet(folder or tmp_path / "tablet", make_host)
        if working and not tablet.settings.working:
            tablet.change_settings(tablet.settings.with_person(working))
        driver = Driver(GarboardApp(tablet, threads=threads, demo=demo, files=files or without_any()), size)
        made.append(driver)
        return driver

    yield start
    for driver in made:
        driver.close()
