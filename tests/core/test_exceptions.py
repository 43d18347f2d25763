"""Every exception the core declares is a GarboardError, and still what it was before."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Iterator

import pytest

import garboard
from garboard.faults import GarboardError, InputError
from garboard.hosting.host import PluginClash
from garboard.recordings.nmea0183 import WrongChecksum
from garboard.shop_link.wire import Garbled


def _declared() -> Iterator[type[BaseException]]:
    for module in pkgutil.walk_packages(garboard.__path__, "garboard."):
        if module.name != "garboard.__main__":
            for _, found in inspect.getmembers(importlib.import_module(module.name), inspect.isclass):
                if issubclass(found, BaseException) and found.__module__ == module.name:
                    yield found


def test_every_exception_of_the_core_is_a_garboard_error() -> None:
    declared = set(_declared())
    assert len(declared) > 10
    assert [found for found in declared if not issubclass(found, GarboardError)] == []


@pytest.mark.parametrize("kind", [InputError, PluginClash, WrongChecksum, Garbled])
def test_what_was_a_value_error_still_is(kind: type[Exception]) -> None:
    assert issubclass(kind, ValueError)
