"""A job file may call a row by a word: no finding tells that as a number of a row."""

from __future__ import annotations

import re

import attrs

from garboard.demo.samples_folder import sample_job_files
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.records import Measurement
from garboard.report.json_out import finding_as_plain

WORD = "gust"


def called(one: Measurement, number: int) -> Measurement:
    """The second row under a word. Every other value of it cannot be read, so that what is missing is told too."""
    if one.row != "2":
        return one
    return attrs.evolve(one, row=WORD, value=one.value if number % 2 else "none of these")


def test_a_row_called_by_a_word_is_not_told_as_a_number() -> None:
    host, found = make_host(entry_points=False), []
    for file in sample_job_files():
        read = read_job_file(file)
        changed = attrs.evolve(read, measurements=tuple(called(one, n) for n, one in enumerate(read.measurements)))
        found += [str(finding_as_plain(one.finding)) for one in host.assess(view_of(changed, file.parent))]
    assert any(f", {WORD}:" in one for one in found)
    assert [one for one in found if re.search(rf"\brows? {WORD}\b", one, re.IGNORECASE)] == []
