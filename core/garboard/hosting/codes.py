"""Codes of findings: the one a host fills in, and the list of all that plugins write."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType

import attrs

from garboard.findings import Finding

PLUGIN_FAILED = "plugin_failed"
NOT_ENOUGH_DATA = "not_enough_data"
BUSY = "busy"
"""Others asked for so long that a calculator was not run: it is, when it is asked for again."""
NOT_JUDGED = ("took_too_long", "process_ended", "too_much_output", "too_much_memory", BUSY)
"""What a calculator was ended for, or how it ended its process: see `failures.NotJudgedHere`."""
_WRITTEN = re.compile(r"[a-z][a-z0-9_]*(\.[a-z0-9_]+){2,}")


def code_for(key: str, what: str) -> str:
    """A code the host makes: what came out, under the key of a calculator or judge.

    >>> code_for("prop_check.window", "not_enough_data"), code_for("Our checks.Horn!", "fail")
    ('prop_check.window.not_enough_data', 'our_checks.horn_.fail')
    """
    parts = re.sub(r"[^a-z0-9_.]+", "_", key.lower()).split(".")
    return ".".join([*([part for part in parts if part] or ["_"]), what])


def key_in_codes(key: str) -> str:
    """A key as the codes made from it have it.

    >>> key_in_codes("Our checks.Horn!")
    'our_checks.horn_'
    """
    return code_for(key, "")[:-1]


def with_code(finding: Finding, key: str) -> Finding:
    """The finding, with a code made from its verdict where the plugin gave none."""
    return finding if finding.code else attrs.evolve(finding, code=code_for(key, finding.verdict.name.lower()))


def written_in(name: str, module: ModuleType, prefixes: Iterable[str] = ()) -> Iterator[tuple[str, Path]]:
    """Every code a plugin's source files write, as often as they write it, with the file.

    Nothing where the plugin comes without its source.

    A code is any text constant that reads "plugin.topic.what" and begins with the plugin's own name, so that codes
    chosen by a condition or kept under a name are found too.

    prefixes : with which its keys begin, where that is not its name: a shop's file may be called anything
    """
    own = {name.removeprefix("garboard_"), *prefixes}
    for file in sources(module):
        for node in ast.walk(ast.parse(file.read_bytes())):
            text = node.value if isinstance(node, ast.Constant) else None
            if isinstance(text, str) and _WRITTEN.fullmatch(text) and text.partition(".")[0] in own:
                yield text, file


def sources(module: ModuleType) -> Iterable[Path]:
    """The source files of a plugin."""
    """The source files of a plugin."""
    own = Path(getattr(module, "__file__", None) or "")
    files = own.parent.rglob("*.py") if hasattr(module, "__path__") else [own]
    return sorted(file for file in files if file.suffix == ".py" and file.is_file())
