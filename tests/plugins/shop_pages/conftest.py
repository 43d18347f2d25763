"""One invented day for all tests of the pages; each test works on its own copy."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from garboard.hosting.host import PluginHost, make_host
from judged_once import boats_judged_once
from pages_rig import Browser, Pages, light_passwords, make_shop


@pytest.fixture(scope="session")
def plugins() -> PluginHost:
    return make_host(entry_points=False)


@pytest.fixture(scope="session", autouse=True)
def judged_once(plugins: PluginHost) -> Iterator[None]:
    with boats_judged_once(plugins):
        yield


@pytest.fixture(scope="package", autouse=True)
def in_utc() -> Iterator[None]:
    """The shop's clock tells UTC wherever the tests run: noon there is another day in a zone far away."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        yield
    time.tzset()


@pytest.fixture(scope="session")
def delivered_day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    with light_passwords():
        return make_shop(tmp_path_factory.mktemp("day"))


@pytest.fixture(autouse=True)
def cheap_to_sign_in() -> Iterator[None]:
    with light_passwords():
        yield


@pytest.fixture
def pages(delivered_day: Path, plugins: PluginHost, tmp_path: Path) -> Iterator[Pages]:
    folder = tmp_path / "shop"
    shutil.copytree(delivered_day, folder)
    with Pages(folder, plugins) as found:
        yield found


@pytest.fixture
def manager(pages: Pages) -> Browser:
    return pages.signed_in()
