"""Stands for a check file where a plugin's module is expected: it has the hooks, and no code of its own."""

from __future__ import annotations

import re
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from garboard.checks.built_in import Changes

FORMAT = "garboard check"
_HEAD = re.compile(rb"(?:\s*(?:#[^\n]*)?\n)*\s*format\s*=\s*[\"']" + FORMAT.encode() + rb"[\"']")
_LONGEST_HEAD = 4096


class CheckModule(ModuleType):
    """What a check file offers.

    codes   : every code its findings carry
    changes : what it changes of the program's own steps and settings
    """

    codes: tuple[str, ...] = ()
    changes: Changes | None = None


def is_check(content: bytes) -> bool:
    """Whether a file's content says that it is a check: its first line does.

    >>> is_check(b'# ours\\nformat = "garboard check"\\n'), is_check(b"import garboard")
    (True, False)
    """
    return _HEAD.match(content[:_LONGEST_HEAD]) is not None
