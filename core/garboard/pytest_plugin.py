"""For the tests of a shop's own plugin under pytest, which loads this by itself where garboard is installed.

    def test_a_wet_bilge_fails(garboard_judge):
        (found,) = garboard_judge("my_checks.dry", {"my_checks.afloat/dry": False})
        assert found["verdict"] == "fail"

The plugin tested by `test_my_checks.py` is `my_checks.py`, the check file `my_checks.toml`, or the folder of a package
`my_checks`, beside the test or in the folder above. Anything else is named in the project's own settings of pytest:
`garboard_plugins = other.py`.

The program never imports this, and needs no pytest.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from garboard.testing import Judge, PluginHost

__all__ = ["garboard_host", "garboard_judge", "garboard_plugins", "pytest_addoption"]

_SETTING = "garboard_plugins"
_CHECK = ".toml"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Called by pytest."""
    parser.addini(_SETTING, "plugins of garboard under test: Python files or folders of packages", "paths", [])


@pytest.fixture(scope="module")
def garboard_plugins(request: pytest.FixtureRequest) -> tuple[Path, ...]:
    """The plugins under test. A test may have a fixture of this name of its own."""
    named = tuple(Path(one) for one in request.config.getini(_SETTING))
    if named:
        return named
    test = Path(str(request.node.path))
    stem = test.stem.removeprefix("test_")
    near = [
        folder / name
        for folder in (test.parent, test.parent.parent)
        for name in (f"{stem}.py", f"{stem}{_CHECK}", stem)
    ]
    for path in near:
        if path.is_file() or (path / "__init__.py").is_file():
            return (path,)
    there = ", ".join(map(str, near))
    raise pytest.UsageError(f"no plugin to test for {test.name}: write one of {there}, or set {_SETTING}")


@pytest.fixture(scope="module")
def garboard_host(garboard_plugins: tuple[Path, ...]) -> PluginHost:
    """The plugins under test and those that come with the program, loaded."""
    from garboard.testing import load

    return load(*garboard_plugins)


@pytest.fixture(scope="module")
def garboard_judge(garboard_host: PluginHost) -> Judge:
    """`garboard.testing.judged` with these plugins: call it with a calculator's key and the values."""
    from garboard.testing import judged

    return partial(judged, host=garboard_host)
