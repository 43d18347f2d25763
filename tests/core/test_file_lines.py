"""The line of a fault is the line a text search finds; what cannot be followed has none."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.faults import Fault
from garboard.job_files.file_lines import parts_of, with_lines

KEYS = st.text(st.characters(codec="utf-8", exclude_characters=".[]"), min_size=1, max_size=5)
SHAPES = st.recursive(
    st.sampled_from(["", "\n", '"', "\\", "/", "\u2028", "\u0085"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=20,
)


def marked(shape: Any, path: str, marks: dict[str, str]) -> Any:
    """The shape with a mark in each leaf that stands nowhere else; `marks` gives the path of each."""
    if isinstance(shape, dict):
        return {key: marked(inner, f"{path}.{key}" if path else key, marks) for key, inner in shape.items()}
    if isinstance(shape, list):
        return [marked(inner, f"{path}[{index}]", marks) for index, inner in enumerate(shape)]
    mark = f"mark-{len(marks)}-"
    marks[mark] = path
    return f"{mark}{shape}"


def found_by_search(text: str, marks: dict[str, str]) -> Iterator[tuple[str, int]]:
    for mark, path in marks.items():
        yield path, text[: text.index(mark)].count("\n") + 1


@given(
    shape=st.dictionaries(KEYS, SHAPES, max_size=4),
    indent=st.sampled_from([None, 0, 1, "\t"]),
    plain=st.booleans(),
    above=st.sampled_from(["", "\n", " \n\t\n"]),
)
def test_every_line_is_the_one_a_text_search_finds(shape: Any, indent: int | None, plain: bool, above: str) -> None:
    """Against `str.index` and a count of line ends; a part may have no line, never a wrong one."""
    marks: dict[str, str] = {}
    text = above + json.dumps(marked(shape, "", marks), indent=indent, ensure_ascii=plain)
    lines = {part.path: part.line for part in parts_of(text)}
    for path, line in found_by_search(text, marks):
        assert lines.get(path, line) == line


def test_an_ordinary_file_has_a_line_for_every_part() -> None:
    text = json.dumps({"a": [1, -2, True, None, {"b": "c"}], "d": {}}, indent=1)
    lines = {part.path: part.line for part in parts_of(text)}
    assert lines == {"": 1, "a": 2, "a[0]": 3, "a[1]": 4, "a[2]": 5, "a[3]": 6, "a[4]": 7, "a[4].b": 8, "d": 11}


def test_two_parts_of_one_path_have_no_line() -> None:
    """A key with a point in it reads like a key within an object: which of the two is meant is not known."""
    (fault,) = with_lines([Fault("a.b", "x")], '{"a.b": 1,\n"a": {"b": 2}}')
    assert fault.line == 0


@pytest.mark.parametrize("text", ["", "{", "no json", '{"a": \ud800}', "[" * 300 + "]" * 300])
def test_what_cannot_be_followed_has_no_line(text: str) -> None:
    (fault,) = with_lines([Fault("a", "x")], text)
    assert fault == Fault("a", "x")


def test_faults_come_in_the_order_of_the_file() -> None:
    text = '{"b": 1,\n"a": 2,\n"c": 3}'
    assert [fault.where for fault in with_lines([Fault(key, "x") for key in "abc"], text)] == ["b", "a", "c"]
