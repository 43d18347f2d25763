"""Whether a file can be a shop's own plugin at all, as its name, size and first line tell: one answer for everybody.

The shop's page, `garboard shop-plugins approve`, `garboard check-plugin` and the tablet ask here.
"""

from __future__ import annotations

import re
from pathlib import Path

from garboard.checks.module import FORMAT
from garboard.hosting.failures import PluginProblem, cure_of
from garboard.hosting.host import BUILT_IN
from garboard.hosting.sources import CHECK, suffix_of

NAME = re.compile(r"[a-z][a-z0-9_]{0,59}")
"""What a plugin's file may be called, before its ".py" or ".toml"."""
SUFFIXES = (".py", CHECK)
LARGEST = 1 << 20
"""Bytes of a plugin's file."""


def why_not(file: Path, *, may_link: bool = True) -> PluginProblem | None:
    """Why a file cannot be approved for the shop's tablets; None where it can. Nothing in it is run.

    may_link : whether it may be a link: who names a file means it, who finds one in a folder cannot see where it leads
    """
    is_one = file.is_file() and (may_link or not file.is_symlink())
    if is_one and file.suffix in SUFFIXES and NAME.fullmatch(file.stem) and file.stem not in BUILT_IN:
        size = file.stat().st_size
        if size <= LARGEST:
            return _unlike_its_content(file)
        reason, code = f"{file.name} has {size} bytes; a plugin has at most {LARGEST}", "too_large"
    elif not is_one:
        what = "a link" if file.is_symlink() else "a folder"
        reason = f"{file.name} is {what}; a plugin for the tablets is one Python file or check file"
        code = "not_one_file"
    elif file.suffix.lower() not in SUFFIXES:
        return _of_no_kind(file)
    elif file.stem in BUILT_IN:
        reason, code = f"{file.stem} is the name of a plugin that comes with the program", "name_taken"
    else:
        allowed = f"small letters, digits and _ alone, then {file.suffix.lower()}"
        reason, code = f"it is called {file.name!r}; a plugin for the tablets has {allowed}", "wrong_name"
    cure = f"call it {better_name(file.stem)}{file.suffix.lower()}" if code == "wrong_name" else cure_of(code)
    return PluginProblem(name=file.stem, reason=reason, code=code, file=str(file), cure=cure)


def _of_no_kind(file: Path) -> PluginProblem:
    """A file that is called as no plugin is: it is hardly one, unless its first lines say so."""
    with file.open("rb") as opened:
        head = opened.read(4096)
    is_one, suffix = suffix_of(head) == CHECK or b"hookimpl" in head, suffix_of(head)
    reason = f"{file.name} is called neither {SUFFIXES[0]} nor {CHECK}, as a Python file or a check file is"
    cure = f"call it {better_name(file.stem)}{suffix}" if is_one else cure_of("not_found")
    return PluginProblem(name=file.stem, reason=reason, code="wrong_name", file=str(file), cure=cure)


def _unlike_its_content(file: Path) -> PluginProblem | None:
    """A tablet is sent the content and the plugin's name, and tells by the first line what it is."""
    is_suffix = suffix_of(file.read_bytes())
    if is_suffix == file.suffix:
        return None
    if is_suffix == CHECK:
        reason, code = f"{file.name} is a check file by its first line", "wrong_name"
        cure = f"call it {file.stem}{CHECK}"
    else:
        reason, code = f"{file.name} is no check file by its first line", "wrong_value"
        cure = f'begin it with format = "{FORMAT}"'
    return PluginProblem(name=file.stem, reason=reason, code=code, file=str(file), cure=cure)


def better_name(stem: str) -> str:
    """A name near one that a plugin cannot have.

    >>> better_name("My-Checks"), better_name("2nd"), better_name("garboard_shop")
    ('my_checks', 'own_2nd', 'own_garboard_shop')
    """
    name = re.sub(r"[^a-z0-9_]", "_", stem.lower())
    name = name if "a" <= name[:1] <= "z" and name not in BUILT_IN else f"own_{name}"
    return name[:60]
