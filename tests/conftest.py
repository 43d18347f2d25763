"""For every test: on the server random examples are the same each time, so that a red run is the change's own fault.

Run by a person they are drawn anew, and find what nobody thought of.
"""

import gc
import os
import shutil

import pytest
from hypothesis import settings

from memory import give_back

settings.register_profile("server", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("person", deadline=None)
settings.load_profile("server" if os.environ.get("CI") else "person")

# Servers in threads: a pool of memory for each thread would keep what its tests used for good. For processes to come.
os.environ.setdefault("MALLOC_ARENA_MAX", "2")

# In memory, where there is room: the program asks for a flush at every save, and a database at every commit, and a kill
# loses nothing that is written. What a power cut loses is tested on a disk of its own, in campaigns/*power_cut.py.
if os.access("/dev/shm", os.W_OK) and shutil.disk_usage("/dev/shm").free > 2_000_000_000:
    os.environ.setdefault("GARBOARD_TEST_CLUSTERS", "/dev/shm")
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", "/dev/shm")


def pytest_collection_finish() -> None:
    """Thousands of tests stay to the end: the search for garbage need not go through them each time."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(5_000, 10, 10)  # tests make much and drop it: the usual 700 looks after every few calls


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """After each file its memory goes back to the system; what is still held stays to the end."""
    if nextitem is None or nextitem.path != item.path:
        give_back()
        gc.freeze()
