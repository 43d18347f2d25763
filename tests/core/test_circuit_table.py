"""Circuits as a table for a spreadsheet: what is written is read back, and what is wrong is told by line and column."""

from __future__ import annotations

import attrs
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from garboard.demo.samples_folder import sample_jobs_folder
from garboard.faults import InputError, in_words
from garboard.job_files.circuit_table import COLUMNS, circuits_as_csv, circuits_in_csv
from garboard.job_files.convert import unstructure
from garboard.job_files.job_file import read_job_file
from garboard.records import Circuit

SAMPLES = ("kittiwake", "saltgrass", "long_reach")


def circuits(sample: str) -> tuple[Circuit, ...]:
    return read_job_file(sample_jobs_folder() / sample / "job.json").vessel.circuits


def facts_of(given: tuple[Circuit, ...]) -> dict[tuple[str, str], object]:
    return {
        (one.name, column): value for one in given for column, value in unstructure(one).items() if column in COLUMNS
    }


@pytest.mark.parametrize("sample", SAMPLES)
def test_what_is_written_is_read_back(sample: str) -> None:
    text = circuits_as_csv(circuits(sample))
    assert text.splitlines()[0] == ",".join(COLUMNS)
    assert circuits_in_csv(text) == facts_of(circuits(sample))


@pytest.mark.parametrize("between", [",", ";", "\t"])
def test_a_table_of_some_columns_in_any_order_says_those_alone(between: str) -> None:
    text = "\ufeff" + "\r\n".join(
        between.join(row) for row in (("length", "name"), ("7 ft", "VHF radio"), ("", "Horn"), ("", ""))
    )
    assert circuits_in_csv(text) == {
        ("VHF radio", "length"): "7 ft",
        ("VHF radio", "name"): "VHF radio",
        ("Horn", "name"): "Horn",
    }


@pytest.mark.parametrize(
    "text",
    [
        "Name;Length;;\r\nHorn;7 ft;;\r\n;;;\r\n",
        "sep=;\r\nname;length\r\nHorn;7 ft\r\n",
        "sep=\t\r\nname\tlength\r\nHorn\t7 ft\r\n",
        '"sep=,"\r\nNAME,LENGTH,\r\n"Horn","7 ft"\r\n',
    ],
)
def test_what_a_spreadsheet_leaves_around_a_table_is_no_fault(text: str) -> None:
    assert circuits_in_csv(text) == {("Horn", "name"): "Horn", ("Horn", "length"): "7 ft"}


@given(
    st.text(st.characters(blacklist_categories=("Cs", "Cc")), min_size=1, max_size=20).filter(
        lambda text: text.strip() == text
    )
)
@example("'=")
@example("'")
@example("''-1")
def test_any_name_is_read_back_and_none_is_run_as_a_formula(name: str) -> None:
    """What a spreadsheet takes for a formula begins with one of = + - @ (common practice, no source)."""
    text = circuits_as_csv([Circuit(name=name)])
    assert circuits_in_csv(text) == {(name, "name"): name}
    assert text.splitlines()[1].lstrip('"')[:1] not in ("=", "+", "-", "@")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "a first line with name"),
        ("\n\n", "a first line with name"),
        ("lenght,name\n7 ft,Horn", "line 1, columns: expected one of name, use"),
        ("length\n7 ft", "a column 'name'"),
        ("name,name\nHorn,Horn", "each column once"),
        ("name,length\n,7 ft", "line 2, name: expected the circuit's name"),
        ("name\nHorn\nHorn", "line 3, name: expected each circuit once, got 'Horn', also on line 2"),
        ("name,length\nHorn,seven", "line 2, length (Horn)"),
        ("name,length\nHorn,7 A", "line 2, length (Horn)"),
        ("name,critical\nHorn,maybe", "line 2, critical (Horn)"),
        ("name,bundled_conductors\nHorn,two", "line 2, bundled_conductors (Horn)"),
        ("name,length\nHorn,99999 ft", "line 2, length (Horn)"),
        ("sep=;\nname;length\nHorn;seven", "line 3, length (Horn)"),
        ("name,,length\nHorn,x,7 ft", "line 1, columns: expected one of name"),
        ("name\nHorn,7 ft", "expected 1 cell, as in the first line, got 2"),
        ('name\n"Horn', "line 2"),
    ],
)
def test_what_is_wrong_is_told_with_its_line_and_column(text: str, told: str) -> None:
    with pytest.raises(InputError) as refused:
        circuits_in_csv(text)
    assert told in in_words(refused.value)


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(InputError) as refused:
        circuits_in_csv("name,length,critical\nHorn,seven,maybe\n,,\nBow light,8,\n,7 ft,")
    assert [fault.line for fault in refused.value.faults] == [2, 2, 4, 5]


def test_a_table_too_large_is_refused_unread() -> None:
    with pytest.raises(InputError, match="at most"):
        circuits_in_csv("name\n" + "x" * (1 << 20))


def test_a_column_for_every_field_of_a_circuit() -> None:
    assert {*COLUMNS} == {field.name for field in attrs.fields(Circuit)} - {"more"}
