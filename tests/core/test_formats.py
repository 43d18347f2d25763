"""Forms and versions: one chain of changes a form, a newer version refused, and no version compared elsewhere."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

from garboard.disk import entries
from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry, read_entry, view
from garboard.disk.formats import Format
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError
from garboard.job_files import job_file
from garboard.job_files.job_file import job_file_text, parse_job_file
from garboard.records import JsonValue

ROOT = Path(__file__).parents[2]
AT = "2026-05-14T09:30:00+02:00"
PRODUCT = [path for folder in ("core", "plugins", "tablet_app") for path in sorted((ROOT / folder).rglob("*.py"))]


def _named(plain: dict[str, JsonValue]) -> dict[str, JsonValue]:
    title = plain.pop("title")
    return {**plain, "name": title}


def _numbered(plain: dict[str, JsonValue]) -> dict[str, JsonValue]:
    number = plain.pop("number")
    return {**plain, "numbers": [number]}


THIRD = Format("garboard test", (_named, _numbered))


@pytest.mark.parametrize(
    ("version", "content"),
    [(1, {"title": "t", "number": 4}), (2, {"name": "t", "number": 4}), (3, {"name": "t", "numbers": [4]})],
)
def test_every_older_version_is_brought_up_by_one_chain(version: int, content: dict[str, JsonValue]) -> None:
    found = THIRD.current({"format": "garboard test", "version": version, **content, "unknown": [1]}, "a file")
    assert found == {"format": "garboard test", "version": 3, "name": "t", "numbers": [4], "unknown": [1]}


@pytest.mark.parametrize("version", [0, -1, 4, None, "3", 3.0, True])
def test_a_version_there_is_none_of_is_a_fault_of_its_place(version: JsonValue) -> None:
    with pytest.raises(InputError) as failure:
        THIRD.current({"format": "garboard test", "version": version}, "a file")
    assert [fault.where for fault in failure.value.faults] == ["version"]


def test_only_a_newer_version_is_refused_as_newer() -> None:
    THIRD.refuse_newer(3, "the file")
    with pytest.raises(NewerFormat, match=r"^the file has version 4 .* reads version 3 at most\. Install"):
        THIRD.refuse_newer(4, "the file")


def test_a_job_file_of_the_version_before_is_read_once_its_form_has_a_change(monkeypatch: pytest.MonkeyPatch) -> None:
    def with_vessel(plain: dict[str, JsonValue]) -> dict[str, JsonValue]:
        return {**plain, "vessel": {"hull_number": plain["hull"]}}

    monkeypatch.setattr(job_file, "JOB_FILE", Format("garboard job", (with_vessel,)))
    text = '{"format": "garboard job", "version": 1, "hull": "XYZAB123F526", "job": {"id": "j1"}}'
    read = parse_job_file(text, "job.json")
    assert (read.vessel.hull_number, read.version) == ("XYZAB123F526", 2)
    assert parse_job_file(job_file_text(read), "written again") == read


def test_an_entry_of_the_version_before_is_understood_once_its_form_has_a_change(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is read of it is as the new version has it; its bytes, and so its id, stay."""
    clock = Stamp(1, 0)
    old = make_entry("measure", "XYZAB123F526", dev="d", by="b", clock=clock, at=AT, subject=["a"], value="1 kn")
    assert old.is_understood

    def with_subject(plain: dict[str, JsonValue]) -> dict[str, JsonValue]:
        return {**plain, "subject": ["changed"]}

    monkeypatch.setattr(entries, "ENTRY", attrs.evolve(entries.ENTRY, changes=(with_subject,)))
    newer = re.compile(entries._plain_entry(entries._ANY))
    monkeypatch.setattr(entries, "_plain_text", lambda: newer)  # as such a program has it
    for again in (read_entry(old.raw), view(old.id, old.raw)):
        assert (again.subject, again.is_understood) == (("changed",), True)
        assert (again.id, again.raw) == (old.id, old.raw)


def _states_a_version(node: ast.AST) -> bool:
    """Whether an expression is a form's name or version, stated or read out of data."""
    names = {"format", "version", "FORMAT", "VERSION", "API_VERSION"}
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name) | ast.Subscript(slice=ast.Constant(value=str(name))):
            return name in names
        case ast.Call(func=ast.Attribute(attr="get"), args=[ast.Constant(value=str(name)), *_]):
            return name in names
        case ast.Tuple(elts=parts):
            return any(map(_states_a_version, parts))
    return False


def _compared(tree: ast.AST) -> Iterator[int]:
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Compare)
            and isinstance(node.ops[0], ast.Eq | ast.NotEq | ast.In | ast.NotIn)
            and any(map(_states_a_version, [node.left, *node.comparators]))
        ):
            yield node.lineno


@pytest.mark.parametrize(
    "text",
    [
        "x.format == 1",
        "plain['format'] != F",
        "plain.get('version') == 2",
        "(version, b) != (VERSION, E)",
        "v == FORMAT",
    ],
)
def test_a_comparison_with_a_version_is_seen(text: str) -> None:
    assert list(_compared(ast.parse(text))) == [1]


def test_no_version_is_compared_for_equality_outside_the_one_place() -> None:
    """A format of tomorrow must not be taken for damage, nor one of yesterday for another program's file."""
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in PRODUCT
        if path.name not in ("formats.py", "database.py")  # a shop's databases must all be of one version, this one
        for line in _compared(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []
