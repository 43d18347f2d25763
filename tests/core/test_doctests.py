"""Every example in a docstring gives what it says."""

from __future__ import annotations

import doctest
import pkgutil
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

from garboard.hosting.host import BUILT_IN


def _modules() -> Iterator[str]:
    for package in ("garboard", *BUILT_IN):
        path = import_module(package).__path__
        yield from (found.name for found in pkgutil.walk_packages(path, f"{package}.") if "__main__" not in found.name)


@pytest.mark.parametrize("name", sorted(_modules()))
def test_examples(name: str) -> None:
    try:
        module = import_module(name)
    except ModuleNotFoundError as missing:
        if (missing.name or "").split(".")[0].startswith("garboard"):
            raise
        pytest.skip(f"{name} needs {missing.name}, which is not installed")
    source = Path(str(module.__file__)).read_text(encoding="utf-8")
    if ">>>" in source:  # looking through one that has none takes as long
        tried = doctest.testmod(module)
        assert tried.attempted > 0
        assert tried.failed == 0
