"""Whether a file can be a shop's own plugin at all, as far as its name and its size tell: one answer for everybody.

The shop's page, `garboard shop-plugins approve`, `garboard check-plugin` and the tablet ask here.
"""

from __future__ import annotations

import re
from pathlib import Path

from garboard.hosting.failures import PluginProblem, cure_of
from garboard.hosting.host import BUILT_IN

NAME = re.compile(r"[a-z][a-z0-9_]{0,59}")
"""What a plugin's file may be called, before its ".py"."""
LARGEST = 1 << 20
"""Bytes of a plugin's file."""


def why_not(file: Path, *, may_link: bool = True) -> PluginProblem | None:
    """Why a file cannot be approved for the shop's tablets; None where it can. Nothing in it is run.

    may_link : whether it may be a link: who names a file means it, who finds one in a folder cannot see where it leads
    """
    is_one = file.is_file() and (may_link or not file.is_symlink())
    if is_one and file.suffix == ".py" and NAME.fullmatch(file.stem) and file.stem not in BUILT_IN:
        size = file.stat().st_size
        if size <= LARGEST:
            return None
        reason, code = f"{file.name} has {size} bytes; a plugin has at most {LARGEST}", "too_large"
    elif not is_one:
        what = "a link" if file.is_symlink() else "a folder"
        reason, code = f"{file.name} is {what}; a plugin for the tablets is one Python file", "not_one_file"
    elif file.stem in BUILT_IN:
        reason, code = f"{file.stem} is the name of a plugin that comes with the program", "name_taken"
    else:
        reason = f"it is called {file.name!r}; a plugin for the tablets has small letters, digits and _ alone, then .py"
        code = "wrong_name"
    cure = f"call it {better_name(file.stem)}.py" if code == "wrong_name" else cure_of(code)
    return PluginProblem(name=file.stem, reason=reason, code=code, file=str(file), cure=cure)


def better_name(stem: str) -> str:
    """A name near one that a plugin cannot have.

    >>> better_name("My-Checks"), better_name("2nd"), better_name("garboard_shop")
    ('my_checks', 'own_2nd', 'own_garboard_shop')
    """
    name = re.sub(r"[^a-z0-9_]", "_", stem.lower())
    name = name if "a" <= name[:1] <= "z" and name not in BUILT_IN else f"own_{name}"
    return name[:60]
