"""What a person should know about a recording that was read, in plain words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from garboard.faults import in_number
from garboard.recordings.notes import ReadingNotes

HEADING_KINDS = ("HDG", "HDM", "HDT", "127250")


def remarks(notes: ReadingNotes, quantities: Collection[str]) -> list[str]:
    """What a person should know about a reading, one sentence each.

    notes      : of a finished reading
    quantities : those that have samples
    """
    unusable = [] if notes.samples else ["No value in this recording can be used."]
    return [*unusable, *_of_values(notes, quantities), *_of_lines(notes), *_of_times(notes)]


def _of_values(notes: ReadingNotes, quantities: Collection[str]) -> Iterator[str]:
    """What came without a value, or without a time."""
    headings = {kind: notes.kinds[kind] for kind in HEADING_KINDS if kind in notes.kinds}
    if headings and "heading" not in quantities and not notes.without_time:
        word = "messages" if all(map(str.isdecimal, headings)) else "sentences"
        are_empty = all(notes.empty.get(kind) == count for kind, count in headings.items())
        what = "all empty" if are_empty else "none with a valid heading"
        yield f"{_listed(headings)} {word}, {what}: no heading in this log."
    elif not notes.samples and notes.empty and not notes.without_time:
        yield f"Without a valid value: {_listed(notes.empty)}."
    if notes.without_time:
        values, them = (
            ("1 value has", "it") if notes.without_time == 1 else (f"{notes.without_time} values have", "them")
        )
        yield f"{values} no time: no RMC, ZDA, GGA or GLL sentence with a time came with {them}."


def _of_lines(notes: ReadingNotes) -> Iterator[str]:
    """What is damaged, or was read for what it does not quite say."""
    if notes.damaged_count:
        one = "1 line is damaged" if notes.damaged[0].line else "The recording is damaged"
        lines = one if notes.damaged_count == 1 else f"{notes.damaged_count} lines are damaged; the first"
        yield f"{lines}: {notes.damaged[0]}."
    if notes.without_checksum == 1:
        yield "1 sentence carries no checksum; it was used as it stands."
    elif notes.without_checksum:
        yield f"{notes.without_checksum} sentences carry no checksum; they were used as they stand."
    if notes.unreal:
        yield (
            f"{in_number(notes.unreal, 'value is', 'values are')} left out: positions, courses and speeds of which the "
            "receiver itself says that they are simulated or typed in. End its simulation, then record again."
        )
    if notes.decimal_commas:
        first, have = notes.first_decimal_comma, "number has" if notes.decimal_commas == 1 else "numbers have"
        yield (
            f"{notes.decimal_commas} {have} a comma, read as a decimal point: {first} as {first.replace(',', '.')}. "
            "Use a point, and nothing to part thousands."
        )


def _of_times(notes: ReadingNotes) -> Iterator[str]:
    if not notes.timed and notes.samples:
        yield "The log has no times: the order of its values is known, how fast they came is not."
    elif not notes.dated and notes.samples:
        yield "The log has no date: times count from its first time."


def _listed(counts: Mapping[str, int]) -> str:
    """
    >>> _listed({"HDM": 120, "HDT": 120, "HDG": 3})
    '120 HDM, 120 HDT and 3 HDG'
    """
    parts = [f"{count} {kind}" for kind, count in sorted(counts.items(), key=lambda item: (-item[1], item[0]))]
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))
