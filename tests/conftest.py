"""For every test: on the server random examples are the same each time, so that a red run is the change's own fault.

Run by a person they are drawn anew, and find what nobody thought of.
"""

import gc
import os
import random
import re
import shutil
import sys
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import LONG
from memory import give_back
from read_once import recordings_read_once

HERE = Path(__file__).parent
PEAK = "peak memory"
peaks = pytest.StashKey[list[int]]()
HEAVY = ("kivy.core.window", "scipy")
"""What tests import when they run: a worker that runs none of those is free of it."""
loaded = pytest.StashKey[list[str]]()


@pytest.fixture
def loaded_to_collect(request: pytest.FixtureRequest) -> list[str]:
    """What is heavy, and was imported already to look for the tests."""
    return request.config.stash[loaded]


settings.register_profile("server", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("person", deadline=None)
settings.load_profile("server" if os.environ.get("CI") else "person")

# Servers in threads: a pool of memory for each thread would keep what its tests used for good. For processes to come.
os.environ.setdefault("MALLOC_ARENA_MAX", "2")
# A picture or a book goes back to the system as it is dropped, and leaves no hole among what is small. As above.
os.environ.setdefault("MALLOC_MMAP_THRESHOLD_", str(1 << 18))

# Programs that tests start keep the bytecode of this one, and do not each compile it anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# In memory, where there is room: the program asks for a flush at every save, and a database at every commit, and a kill
# loses nothing that is written. What a power cut loses is tested on a disk of its own, in campaigns/*power_cut.py.
if os.access("/dev/shm", os.W_OK) and shutil.disk_usage("/dev/shm").free > 2_000_000_000:
    os.environ.setdefault("GARBOARD_TEST_CLUSTERS", "/dev/shm")
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", "/dev/shm")


SLOW = (
    "plugins/test_no_contradictions.py",  # these two in one process, one after the other: see altered_jobs.py
    "plugins/test_findings_as_data.py",
    "promises/test_promises_over_postgresql.py",
    "promises/test_promises_over_the_network.py",
    "plugins/shop_pages/test_pages_in_browser.py",
    "plugins/shop_pages/test_pages_sign_in.py",  # these three need 20 to 60 MB for a moment: while a worker has little
    "core/test_halves.py",  # forks some 300 times: twice as long where a worker has much
    "core/test_photos.py",
    "core/recordings/test_recording_reader.py",
)
"""Files whose tests take longest, or belong together, first: the last tests are short, and no worker waits long."""
SLOW_AT_THE_WINDOW = ("test_tablet_layout.py", "test_tablet_evening.py")


_ARRAYS = re.compile(r"\b(import|from) (numpy|scipy|matplotlib|openplaning)\b")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="try all that the slow tests try, not a third")
    parser.addoption("--order", metavar="SEED", help="the tests of each file in an order that follows from SEED")


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--long"):
        os.environ[LONG] = "1"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What is slow comes first; what needs the window comes where the second of two workers begins.

    Tests are shared out in one piece a worker, and taken from the end of another's when none are left. So one worker
    has the window, which is 150 MB, and the other has scipy and numpy, and the pages with their books. Where no test
    needs the window, each has half of the pages: together they leave 300 MB behind.
    """
    if not config.getoption("--long"):
        kept_for_later = [item for item in items if item.get_closest_marker("long")]
        items[:] = [item for item in items if item not in kept_for_later]
        config.hook.pytest_deselected(items=kept_for_later)
    if seed := config.getoption("--order"):
        random.Random(seed).shuffle(items)  # sorted by their files below
        items.sort(key=lambda item: item.path)
    order = {str(HERE / name): number for number, name in enumerate(SLOW)}
    pages = HERE / "plugins/shop_pages"
    with_arrays = {path for path in {item.path for item in items} if _ARRAYS.search(path.read_text("utf-8"))}
    items.sort(
        key=lambda item: order.get(
            str(item.path), len(SLOW) + (item.path.parent != pages and item.path not in with_arrays)
        )
    )
    of_pages = sorted({item.path for item in items if item.path.parent == pages and str(item.path) not in order})
    second = {*of_pages[len(of_pages) // 2 :]}
    window = [item for item in items if HERE / "tablet" in item.path.parents]
    window.sort(key=lambda item: item.path.name not in SLOW_AT_THE_WINDOW)
    window = window or [item for item in items if item.path in second]
    in_the_middle = {*window}
    others = [item for item in items if item not in in_the_middle]
    half = (len(items) + 1) // 2
    items[:] = [*others[:half], *window, *others[half:]]


@pytest.fixture(scope="session", autouse=True)
def samples_read_once() -> Iterator[None]:
    with recordings_read_once():
        yield


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker says how much memory it had at most [KiB]; see `getrusage(2)`. Windows has no such call."""
    said = getattr(session.config, "workeroutput", None)
    if said is not None and sys.platform != "win32":
        import resource

        said[PEAK] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    node.config.stash.setdefault(peaks, []).append(getattr(node, "workeroutput", {}).get(PEAK, 0))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    if found := config.stash.get(peaks, None):
        terminalreporter.write_line(f"largest test worker: {max(found) * 1024 / 1e6:.0f} MB")


@settings(database=None, derandomize=True)
@given(st.lists(st.text()))
def _draw_some_text(_: list[str]) -> None:
    """Hypothesis reads the project's source for texts to try, when it draws one for the first time in a checkout.

    That takes 200 MB for a moment: here, before the tests have made anything, and not in the middle of them.
    """


def pytest_collection_finish(session: pytest.Session) -> None:
    """Thousands of tests stay to the end: the search for garbage need not go through them each time."""
    session.config.stash[loaded] = [name for name in HEAVY if name in sys.modules]
    _draw_some_text()
    gc.collect()
    gc.freeze()
    gc.set_threshold(5_000, 10, 10)  # tests make much and drop it: the usual 700 looks after every few calls


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item, nextitem: pytest.Item | None) -> Generator[None, object, object]:
    """After each file its memory goes back to the system; what is still held stays to the end.

    Only here has pytest let go of what the last test was given. Frozen before, it would never be cleared away: a shop
    with its pages is 8 MB. What a file loaded is not gone through each time a test after it clears away.
    """
    done = yield
    if nextitem is None or nextitem.path != item.path:
        give_back()
        gc.freeze()
    return done
