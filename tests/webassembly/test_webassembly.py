"""CPython 3.14 in WebAssembly says of every sample what the desk's Python says, word for word.

Another Python, another C library, a system without threads, processes and other people's files: what holds on both
does not hang on one of them. Numbers may differ in their last binary digits, as their libraries' functions do.

[1] npm's package "pyodide"; package-lock.json has its hash. Install it with: npm ci --prefix tests/webassembly
"""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from webassembly.judge import JUDGING, LEVELS

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
NODE = shutil.which("node")
PYODIDE = HERE / "node_modules" / "pyodide" / "package.json"
LACKS = (
    "node is not on this machine"
    if NODE is None
    else "pyodide is not installed here: npm ci --prefix tests/webassembly"
    if not PYODIDE.is_file()
    else ""
)
AS_NEAR = 1e-9
"""Share of a number by which two C libraries may differ: a million times less than anything printed."""

in_webassembly = pytest.mark.skipif(LACKS != "", reason=LACKS)


@lru_cache(maxsize=1)
def desk() -> dict[str, Any]:
    return _said([sys.executable, str(HERE / "judge.py")])


@lru_cache(maxsize=1)
def webassembly() -> dict[str, Any]:
    packages = sysconfig.get_paths()["purelib"]
    return _said([str(NODE), str(HERE / "judge.mjs"), str(ROOT), packages])


def _said(command: list[str]) -> dict[str, Any]:
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, "TZ": "UTC"}, capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stderr[-4000:]
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def differences(one: Any, other: Any, path: str = "") -> Iterator[str]:
    """Where two JSON values differ: texts, keys, lengths and whole numbers at all, others by more than AS_NEAR."""
    if isinstance(one, dict) and isinstance(other, dict):
        if list(one) != list(other):
            yield f"{path}: keys {list(one)} and {list(other)}"
        for key in one.keys() & other.keys():
            yield from differences(one[key], other[key], f"{path}.{key}")
    elif isinstance(one, list) and isinstance(other, list):
        if len(one) != len(other):
            yield f"{path}: {len(one)} and {len(other)} items"
        for index, (inner, beside) in enumerate(zip(one, other, strict=False)):
            yield from differences(inner, beside, f"{path}[{index}]")
    elif isinstance(one, float) and isinstance(other, float):
        if not math.isclose(one, other, rel_tol=AS_NEAR, abs_tol=1e-12):
            yield f"{path}: {one!r} and {other!r}"
    elif type(one) is not type(other) or one != other:
        yield f"{path}: {one!r} and {other!r}"


@in_webassembly
def test_it_is_another_python() -> None:
    assert webassembly()["python"] == [3, 14]
    assert webassembly()["platform"] == "emscripten"
    assert desk()["platform"] != "emscripten"


@in_webassembly
def test_every_finding_of_every_sample_is_equal_word_for_word() -> None:
    found = webassembly()["findings"]
    assert not found["broken_plugins"]
    assert {f"garboard_{name}" for name in JUDGING} <= {plugin["name"] for plugin in found["plugins"]}
    judged = [job for job in found["jobs"] if job["findings"]]
    findings = [one for job in judged for one in job["findings"]]
    assert len(judged) >= 3
    assert len(findings) > 100
    assert not [one for one in findings if one["code"].endswith("plugin_failed")]
    assert [*differences(desk()["findings"], found, "findings")] == []


@in_webassembly
def test_every_broken_file_is_told_with_the_same_faults() -> None:
    faults = [fault for job in webassembly()["findings"]["jobs"] for fault in job["faults"]]
    assert len(faults) > 30
    assert len(webassembly()["recordings"]) > 10
    assert webassembly()["recordings"] == desk()["recordings"]


@in_webassembly
def test_what_is_printed_is_the_same_line_for_line() -> None:
    assert len(desk()["printed"]) > 500
    assert webassembly()["printed"] == desk()["printed"]


@in_webassembly
def test_a_file_of_many_levels_is_refused_in_the_same_words() -> None:
    assert f"{LEVELS}" not in webassembly()["nested"]
    assert "expected at most a few levels of nesting" in webassembly()["nested"]
    assert webassembly()["nested"] == desk()["nested"]


@in_webassembly
def test_every_module_of_the_core_and_of_the_judging_plugins_can_be_imported() -> None:
    assert len(webassembly()["modules"]) > 150
    assert webassembly()["modules"] == desk()["modules"]


@pytest.mark.parametrize(
    ("one", "other", "count"),
    [
        ({"a": [1.0, "x"]}, {"a": [1.0 + 1e-12, "x"]}, 0),
        ({"a": [1.0, "x"]}, {"a": [1.0 + 1e-6, "x"]}, 1),
        ({"a": "2.50 kn"}, {"a": "2.51 kn"}, 1),
        ({"a": 1}, {"a": True}, 1),
        ({"a": 1}, {"b": 1}, 1),
        ([1, 2], [1], 1),
        ([1], [1.0], 1),
        (None, 0.0, 1),
    ],
)
def test_the_comparison_finds_what_differs(one: Any, other: Any, count: int) -> None:
    assert len([*differences(one, other)]) == count
