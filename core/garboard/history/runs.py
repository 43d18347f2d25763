"""Recordings of a step: every one kept for a field, of which one counts and any can be chosen again.

A recording kept is an entry of kind "run", in a register of its own named by the file. Throwing it away retracts that
entry; bringing it back states it anew. So none ever replaces another, and two tablets cannot disagree about one. Which
one counts is the field's own measurement, as it was before there were such entries.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import attrs

from garboard.disk.entries import Entry
from garboard.history.authoring import Author, measure, retract
from garboard.history.registers import Register, RegisterKey
from garboard.history.replay import HullState
from garboard.history.values import member
from garboard.job_view import FieldKey
from garboard.records import JsonValue

RUN = "run"
LIVE, REPLAY, FILE = "live", "replay", "file"
"""Where a recording came from: the boat as it ran, a recording played to the guide, or a file taken in.

It stands in the recording's value under "origin", with "source" for a person to read; older ones say nothing.
"""


@attrs.frozen(kw_only=True)
class KeptRun:
    """A recording kept for a field.

    value       : what the field holds when it counts: {"file": its hash, "name": ..., "origin": ...}
    by, at      : who kept it first, and when
    counts      : whether it is the field's value now
    thrown_away : whether it was thrown away, and not brought back
    """

    value: JsonValue
    by: str
    at: str
    counts: bool = False
    thrown_away: bool = False

    @property
    def file(self) -> str:
        return file_of(self.value)

    @property
    def name(self) -> str:
        return str(member(self.value, "name"))

    @property
    def source(self) -> str:
        """What a person calls where it came from; "" where it does not say."""
        return str(member(self.value, "source"))

    @property
    def origin(self) -> str:
        return str(member(self.value, "origin"))


def file_of(value: JsonValue) -> str:
    """The file a recording's value refers to; "" where it refers to none."""
    found = member(value, "file")
    return found if isinstance(found, str) else ""


def runs_of(state: HullState, job: str, place: FieldKey) -> tuple[KeptRun, ...]:
    """Every recording ever kept for a field, those included that stood there before, the first kept first."""
    own = state.register(RegisterKey("measure", job, place))
    counting = {file_of(entry.value) for entry in own.current}
    job_here = state.joined(job)
    kept = [key for key in state.registers if key.kind == RUN and key.job == job_here and key.subject[:-1] == place]
    entries = [*own.history, *(entry for key in kept for entry in state.register(key).history)]
    first: dict[str, Entry] = {}
    values: dict[str, JsonValue] = {}
    for entry in sorted(entries, key=lambda entry: (entry.clock, entry.id)):
        if entry.kind != "retract" and (file := file_of(entry.value)):
            first.setdefault(file, entry)
            if file not in values or (entry.kind == RUN and not member(values[file], "origin")):
                values[file] = entry.value
    gone = {key.subject[-1] for key in kept if not state.current(key)} - counting
    return tuple(
        KeptRun(value=values[file], by=entry.by, at=entry.at, counts=file in counting, thrown_away=file in gone)
        for file, entry in first.items()
    )


def keep_run(author: Author, state: HullState, job: str, place: FieldKey, value: JsonValue) -> list[Entry]:
    """Keep a recording beside what counts, or bring back one thrown away; nothing to write where it is kept."""
    key = _key(job, place, value)
    return [] if state.current(key) else [author.write(state, RUN, key.subject, value, job=job)]


def throw_away(author: Author, state: HullState, job: str, place: FieldKey, value: JsonValue) -> list[Entry]:
    """Throw a kept recording away, also one an older version kept. Its file stays; `keep_run` brings it back.

    Where it counts it no longer does, and nothing takes its place until one is chosen.
    """
    key, own = _key(job, place, value), RegisterKey("measure", job, place)
    counts = any(file_of(entry.value) == file_of(value) for entry in state.current(own))
    entries = [retract(author, state, own, THROWN_AWAY)] if counts and len(state.current(own)) == 1 else []
    if state.current(key):
        return [*entries, retract(author, state, key, THROWN_AWAY)]
    kept = author.write(state, RUN, key.subject, value, job=job)
    values: JsonValue = {"kind": RUN, "reason": THROWN_AWAY}
    return [*entries, kept, author.write(state, "retract", key.subject, values, job=job, replaces=(kept.id,))]


THROWN_AWAY = "thrown away"
SET_ASIDE = "kept beside"


def set_aside(author: Author, state: HullState, job: str, place: FieldKey, value: JsonValue) -> list[Entry]:
    """Keep a recording beside, also the one that counts: nothing takes its place until one is chosen."""
    own = RegisterKey("measure", job, place)
    counts = [entry for entry in state.current(own) if file_of(entry.value) == file_of(value)]
    kept = keep_run(author, state, job, place, value)
    return [*kept, retract(author, state, own, SET_ASIDE)] if counts and len(state.current(own)) == 1 else kept


EARLIER_RUN = "of the earlier run"


def let_count(
    author: Author, state: HullState, job: str, place: FieldKey, value: JsonValue, describing: Collection[str] = ()
) -> list[Entry]:
    """Have a recording count, whichever did before; it is kept, and so is what counted.

    describing : fields of the step that describe the run. What they say of an earlier run is taken back, as that is
                 not known of this one
    """
    before = [one for entry in state.current(RegisterKey("measure", job, place)) for one in [entry.value]]
    kept = [entry for one in (*before, value) if file_of(one) for entry in keep_run(author, state, job, place, one)]
    step, field, row, of = place
    gone = [retract(author, state, key, EARLIER_RUN) for key in _of_earlier_run(state, job, place, value, describing)]
    return [*kept, *gone, measure(author, state, job, step, field, value, row=row, of=of)]


def _of_earlier_run(
    state: HullState, job: str, place: FieldKey, value: JsonValue, describing: Collection[str]
) -> list[RegisterKey]:
    """Where values stand that describe an earlier run.

    While a run counts, every value is of it. Once it was taken back, those are that were entered before. One tablet's
    stamps tell that of its own entries. Between two tablets no clock may: such a value is asked anew.
    """
    own = state.register(RegisterKey("measure", job, place))
    counting = {file_of(entry.value) for entry in own.current}
    if not own.history or file_of(value) in counting:
        return []
    step, _, row, _ = place
    here = [
        key
        for key in state.registers
        if key.is_measurement and key.job == state.joined(job) and key.first == step
        if key.subject[1] in describing and key.subject[2] == row
    ]
    return [
        key
        for key in here
        if (current := state.current(key)) and not (not counting and all(_came_after(entry, own) for entry in current))
    ]


def _came_after(entry: Entry, own: Register) -> bool:
    """Whether a value is known to have been entered after a recording was taken back."""
    return all(head.tablet == entry.tablet and head.clock < entry.clock for head in own.heads)


def is_of_earlier_run(history: Sequence[Entry]) -> bool:
    """Whether what stood in a field was taken back because another run came to count, and nothing stands since."""
    return bool(history) and history[-1].kind == "retract" and member(history[-1].value, "reason") == EARLIER_RUN


def _key(job: str, place: FieldKey, value: JsonValue) -> RegisterKey:
    return RegisterKey(RUN, job, (*place, file_of(value)))
