"""Every exception is a GarboardError, still what it was before, and put into words in one place."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from garboard.disk.storage import NotSaved
from garboard.faults import GarboardError, InputError, in_words
from garboard.hosting.host import PluginClash
from garboard.recordings.nmea0183 import WrongChecksum
from garboard.shop_link.wire import Garbled

ROOT = Path(__file__).parents[2]
PRODUCT = [path for folder in ("core", "plugins", "tablet_app") for path in sorted((ROOT / folder).rglob("*.py"))]
PACKAGES = ["garboard", *(path.parent.name for path in sorted((ROOT / "plugins").glob("garboard_*/__init__.py")))]


def _declared() -> Iterator[type[BaseException]]:
    for package in PACKAGES:
        for module in pkgutil.walk_packages(importlib.import_module(package).__path__, f"{package}."):
            if not module.name.endswith("__main__"):
                for _, found in inspect.getmembers(importlib.import_module(module.name), inspect.isclass):
                    if issubclass(found, BaseException) and found.__module__ == module.name:
                        yield found


def test_every_exception_of_the_core_and_the_plugins_is_a_garboard_error() -> None:
    declared = set(_declared())
    assert {"garboard", "garboard_shop", "garboard_wiring_audit"} <= {one.__module__.split(".")[0] for one in declared}
    assert [found for found in declared if not issubclass(found, GarboardError)] == []


class _Mute(Exception):
    def __str__(self) -> str:
        raise RuntimeError("cannot say")


@pytest.mark.parametrize(
    ("failure", "words"),
    [
        (NotSaved("a.json not saved: the disk is full"), "a.json not saved: the disk is full"),
        (PermissionError(13, "Permission denied", "/x/a.json"), "/x/a.json: permission denied"),
        (ConnectionRefusedError(111, "Connection refused"), "connection refused"),
        (TimeoutError("timed out"), "timed out"),
        (OSError(), "OSError: "),
        (KeyError("speed"), "KeyError: 'speed'"),
        (_Mute(), "_Mute"),
    ],
)
def test_an_error_is_put_into_words_for_a_person(failure: Exception, words: str) -> None:
    """Without the system's number; a mistake of a program by its kind."""
    assert in_words(failure) == words
    failure.add_note("It was read at noon.")
    assert in_words(failure) == f"{words} It was read at noon."


AT_THE_EDGE = ("commands", "shop_link", "report", "hosting", "garboard_tablet", "garboard_shop")
"""Where an error becomes what somebody reads on a terminal, a tablet or a page."""
NOT_OURS = {"database.py", "pad.py"}
"""What PostgreSQL says of itself, and the two halves of what was expected and got."""


def _said_by_itself(tree: ast.AST) -> Iterator[int]:
    """Lines where an exception caught is turned into text other than by `in_words`, or its message is taken apart."""
    for handler in ast.walk(tree):
        if isinstance(handler, ast.ExceptHandler) and handler.name:
            for node in ast.walk(handler):
                match node:
                    case (
                        ast.FormattedValue(value=ast.Name(id=name))
                        | ast.Call(func=ast.Name(id="str" | "repr"), args=[ast.Name(id=name)])
                    ) if name == handler.name:
                        yield node.lineno


@pytest.mark.parametrize("text", ["str(e)", "repr(e)", "f'not saved: {e}'", "f'{e!r}'"])
def test_an_error_that_says_itself_is_seen(text: str) -> None:
    assert list(_said_by_itself(ast.parse(f"try: pass\nexcept OSError as e:\n  print({text})"))) == [3]


def test_errors_become_words_in_one_place() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in PRODUCT
        if set(AT_THE_EDGE) & set(path.parts) and path.name not in NOT_OURS
        for line in _said_by_itself(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []


@pytest.mark.parametrize("kind", [InputError, PluginClash, WrongChecksum, Garbled])
def test_what_was_a_value_error_still_is(kind: type[Exception]) -> None:
    assert issubclass(kind, ValueError)
