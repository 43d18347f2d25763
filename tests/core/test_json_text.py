"""JSON nests as deep on one Python as on another, and what nests deeper is told by a ValueError."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from garboard.disk.documents import DocumentDamaged, refuse_unreadable
from garboard.disk.entries import read_entry
from garboard.disk.json_text import DEEPEST_JSON, NestedTooDeep, line_nested_too_deep, read_json
from garboard.faults import InputError
from garboard.shop_link.wire import Garbled, read_object


def lists(levels: int) -> str:
    return "[" * levels + "]" * levels


def objects(levels: int) -> str:
    return '{"a":' * levels + "1" + "}" * levels


@pytest.mark.parametrize("nested", [lists, objects])
def test_the_limit_is_ours_and_not_that_of_a_python(nested: Callable[[int], str]) -> None:
    assert read_json(nested(DEEPEST_JSON)) == json.loads(nested(DEEPEST_JSON))
    for levels in (DEEPEST_JSON + 1, 1000, 100_000):
        for text in (nested(levels), nested(levels).encode()):
            with pytest.raises(NestedTooDeep, match=str(DEEPEST_JSON)):
                read_json(text)


@pytest.mark.parametrize(
    "text", [lists(1), json.dumps([[]] * 1000), json.dumps("[" * 1000), json.dumps({"[" * 1000: [{}]}), "7"]
)
def test_many_brackets_beside_each_other_or_in_text_are_no_levels(text: str) -> None:
    assert read_json(text) == json.loads(text)
    assert line_nested_too_deep(text) == 0


def test_what_is_no_json_is_told_as_before() -> None:
    for text in ("", "[", "[1,]", b"\xff\xfe\xff"):
        with pytest.raises(ValueError, match=r"\S"):
            read_json(text)


def test_the_line_is_that_of_the_first_bracket_too_many() -> None:
    assert line_nested_too_deep("[\n" * 5000) == DEEPEST_JSON + 1
    assert line_nested_too_deep('"\\"[' + "[" * 500 + '"\n' + "[\n" * 300) == DEEPEST_JSON + 2
    assert line_nested_too_deep("[[1]]") == 0


@pytest.mark.parametrize("levels", [1000, 100_000])
def test_nothing_that_reads_json_from_elsewhere_fails_at_its_depth(levels: int, tmp_path: Path) -> None:
    deep = f'{{"deep": {lists(levels)}}}'
    with pytest.raises(Garbled):
        read_object(deep.encode())
    with pytest.raises(InputError):
        read_entry(f'{{"deep":{lists(min(levels, 30_000))}}}'.encode())
    (tmp_path / "paired.json").write_text(deep, encoding="utf-8")
    with pytest.raises(DocumentDamaged, match="levels"):
        refuse_unreadable(tmp_path / "paired.json")
