"""Recordings of a boat's instrument network, read from files.

    from garboard.recordings import load_recording, summarise

    recording, notes = load_recording("sea_trial.log")
    for stream in recording.of("heading"):
        ...

`read_samples` streams a file of any size, `summarise` says what is in it. How to write the same forms is in
`garboard.recordings.encode`.
"""

from garboard.recordings.notes import DamagedLine, ReadingNotes
from garboard.recordings.reader import load_recording, read_samples, refuse_other_text, watching
from garboard.recordings.summary import StreamSummary, Summary, summarise

__all__ = [
    "DamagedLine",
    "ReadingNotes",
    "StreamSummary",
    "Summary",
    "load_recording",
    "read_samples",
    "refuse_other_text",
    "summarise",
    "watching",
]
