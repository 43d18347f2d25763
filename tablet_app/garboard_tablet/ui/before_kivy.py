"""What has to be said before Kivy is loaded. Loaded first of all, and of no effect where Kivy is there already."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence
from types import ModuleType
from typing import Any

for name, value in (
    ("KIVY_NO_ARGS", "1"),
    ("KIVY_NO_FILELOG", "1"),
    ("KIVY_NO_CONFIG", "1"),
    ("KIVY_LOG_MODE", "PYTHON"),
    ("KIVY_IMAGE", "sdl2"),  # a second reader of pictures takes 4 MB; photos are read without Kivy
):
    os.environ.setdefault(name, value)


class _Later(ModuleType):
    """Stands for a module until something of it is used."""

    def __getattr__(self, name: str) -> Any:
        self.step_aside()
        return getattr(importlib.import_module(self.__name__), name)

    def step_aside(self) -> None:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]

    @staticmethod
    def wait_for(*arguments: Any) -> Any:
        """Kivy's clock takes this one as it is made."""
        return importlib.import_module("asyncio").wait_for(*arguments)


def load_clock() -> None:
    """Load Kivy's clock without the loop it could run in: 40 modules and the network's keys, never used here."""
    if "asyncio" in sys.modules or "kivy.clock" in sys.modules:
        return
    sys.modules["asyncio"] = stands_there = _Later("asyncio")
    try:
        import kivy.clock  # noqa: F401
    finally:
        stands_there.step_aside()


load_clock()

__all__: Sequence[str] = ("load_clock",)
