"""Recordings of a step: none replaces another, one counts, any can be chosen again, on any tablet and in any order."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import attrs
import pytest

from garboard.disk.clock import HybridClock
from garboard.disk.entries import KINDS, Entry, view
from garboard.history import registers
from garboard.history.authoring import Author, measure, retract
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.history.runs import keep_run, let_count, runs_of, set_aside, throw_away
from garboard.job_view import FieldKey
from garboard.records import JsonValue
from garboard.steps import Field, Kind, Phase, Step, describing_run

Write = Callable[[Author, HullState, str, FieldKey, JsonValue], list[Entry]]
HULL, JOB = "XYZAB123F526", "a job"
PLACE = ("dock.fuel", "log", "", "")
OWN = RegisterKey("measure", JOB, PLACE)


def value(letter: str, **more: JsonValue) -> dict[str, JsonValue]:
    return {"file": letter * 64, "name": f"run {letter}", **more}


A, B, C = value("a"), value("b"), value("c", origin="replay")


class Tablet:
    """Writes in a state of its own, as a tablet out of reach of the others does."""

    def __init__(self, name: str, entries: Sequence[Entry] = ()) -> None:
        self.author = Author(name, "Robin", HybridClock())
        self.state = replay(HULL, entries)
        for entry in entries:
            self.author.clock.follow(entry.clock)
        self.written = list(entries)

    def do(self, what: Write, run: dict[str, JsonValue]) -> None:
        self.take(what(self.author, self.state, JOB, PLACE, run))

    def take(self, entries: Sequence[Entry]) -> None:
        for entry in entries:
            self.state.add(entry)
            self.written.append(entry)

    def counting(self) -> list[JsonValue]:
        return [entry.value for entry in self.state.current(OWN)]

    def runs(self) -> dict[str, str]:
        return {
            run.name[-1]: "counts" if run.counts else "thrown away" if run.thrown_away else "kept"
            for run in runs_of(self.state, JOB, PLACE)
        }


def test_a_new_run_counts_and_the_one_before_stays_beside() -> None:
    """Two runs, the second let count: both are listed, either can count again."""
    one = Tablet("one")
    one.do(let_count, A)
    one.do(let_count, B)
    assert one.runs() == {"a": "kept", "b": "counts"}
    one.do(let_count, A)
    assert (one.runs(), one.counting()) == ({"a": "counts", "b": "kept"}, [A])


def test_a_run_kept_beside_changes_nothing_that_counts() -> None:
    """The second is kept and the first goes on counting; kept twice it is kept once."""
    one = Tablet("one")
    one.do(let_count, A)
    one.do(keep_run, B)
    size = len(one.state)
    one.do(keep_run, B)
    assert (one.runs(), one.counting(), len(one.state)) == ({"a": "counts", "b": "kept"}, [A], size)


@pytest.mark.parametrize("counts", [False, True], ids=["beside", "counting"])
def test_a_run_thrown_away_can_be_brought_back(counts: bool) -> None:
    """It stays in the list; where it counted, nothing counts until one is chosen."""
    one = Tablet("one")
    one.do(let_count if counts else keep_run, A)
    one.do(throw_away, A)
    assert (one.runs(), one.counting()) == ({"a": "thrown away"}, [])
    one.do(keep_run, A)
    assert (one.runs(), one.counting()) == ({"a": "kept"}, [])
    one.do(let_count, A)
    assert one.runs() == {"a": "counts"}


def test_a_run_an_older_program_replaced_or_took_back_is_listed() -> None:
    """Its entries are measurements alone: all of them are found, and thrown away or chosen like any other."""
    one = Tablet("one")
    one.take([measure(one.author, one.state, JOB, "dock.fuel", "log", A)])
    one.take([measure(one.author, one.state, JOB, "dock.fuel", "log", B)])
    assert one.runs() == {"a": "kept", "b": "counts"}
    one.take([retract(one.author, one.state, OWN, "mistyped")])
    assert one.runs() == {"a": "kept", "b": "kept"}
    one.do(throw_away, A)
    assert one.runs() == {"a": "thrown away", "b": "kept"}
    one.do(let_count, A)
    assert one.runs() == {"a": "counts", "b": "kept"}


def test_two_tablets_never_disagree_about_a_run_kept_or_thrown_away() -> None:
    """One throws away, one brings back, one keeps another: in any order of arrival the same, and what is kept wins."""
    start = Tablet("start")
    start.do(let_count, A)
    start.do(keep_run, B)
    start.do(throw_away, B)
    begun = tuple(start.written)
    brings, throws, keeps = (Tablet(name, begun) for name in ("brings", "throws", "keeps"))
    brings.do(keep_run, B)
    throws.do(keep_run, B)
    throws.do(throw_away, B)
    keeps.do(keep_run, C)
    fresh = [entry for tablet in (brings, throws, keeps) for entry in tablet.written[len(begun) :]]
    said = set()
    for order in itertools.permutations(fresh):
        state = replay(HULL, (*begun, *order))
        said.add(tuple((run.name, run.counts, run.thrown_away) for run in runs_of(state, JOB, PLACE)))
        assert state.disagreements(JOB) == ()
    assert said == {(("run a", True, False), ("run b", False, False), ("run c", False, False))}


def test_a_replay_is_marked_for_good() -> None:
    """Kept, thrown away, brought back, let count: where it came from stands in what the field holds."""
    one = Tablet("one")
    for what in (keep_run, throw_away, keep_run, let_count):
        one.do(what, C)
    (run,) = runs_of(one.state, JOB, PLACE)
    assert (run.origin, one.counting()) == ("replay", [C])


def test_an_older_program_keeps_the_entries_and_the_value_that_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """To it, kept runs are of a kind it does not know: they pass untouched, and the field says what it said."""
    one = Tablet("one")
    one.do(let_count, A)
    one.do(keep_run, B)
    monkeypatch.setattr("garboard.disk.entries.KINDS", KINDS - {"run"})
    old = replay(HULL, [view(entry.id, entry.raw) for entry in one.written])
    assert [entry.value for entry in old.current(OWN)] == [A]
    assert {entry.raw for entry in old.unknown.values()} == {e.raw for e in one.written if e.kind == "run"}
    assert len(old.unknown) == 2


def test_a_signature_covers_the_runs_kept() -> None:
    """A recording kept later makes it stale, as any other entry does."""
    from garboard.history.authoring import sign_off

    one = Tablet("one")
    one.do(let_count, A)
    one.take([sign_off(one.author, one.state, JOB, "owner", "A. Marsh")])
    assert one.state.stale(JOB) == ()
    one.do(keep_run, B)
    (stale,) = one.state.stale(JOB)
    names = [registers.name_of(registers.register_of(entry)) for entry in stale.not_covered]
    assert names == [f"run dock.fuel/log {'b' * 12}"]


@pytest.mark.parametrize("subject", [(), ("x",), ("a", "b", "c", "d", "e", "f")])
def test_a_run_of_another_shape_is_kept_and_harms_nothing(subject: tuple[str, ...]) -> None:
    """No file, no such place: it is in no list, and everything else stands."""
    one = Tablet("one")
    one.do(let_count, A)
    odd = one.author.write(one.state, "run", subject, 3, job=JOB)
    one.take([odd])
    assert one.runs() == {"a": "counts"}
    assert isinstance(one.state.view(JOB).measurements, tuple)
    assert registers.name_of(registers.register_of(odd)).startswith("run")
    assert isinstance(one.state, HullState)


def test_a_field_of_a_run_names_a_recording_of_its_step() -> None:
    """A name that is no recording would never be asked anew, and nobody would notice."""
    log = Field(name="log", title="Log", kind=Kind.RECORDING)
    calm = Field(name="calm", title="Calm", kind=Kind.YES_NO, of_run="log")
    step = Step(key="shop.run", title="Run", phase=Phase.UNDER_WAY, order=1, fields=(log, calm))
    assert describing_run(step, "log") == {"calm"}
    with pytest.raises(ValueError, match="'calm' is of run 'log', which is no recording"):
        attrs.evolve(step, fields=(calm,))


def test_a_run_set_aside_is_kept_and_none_counts() -> None:
    """Whichever was kept before stays kept; one that does not count is kept as it was; it can count again."""
    one = Tablet("one")
    one.do(let_count, A)
    one.do(keep_run, B)
    one.do(set_aside, A)
    assert one.runs() == {"a": "kept", "b": "kept"}
    assert one.counting() == []
    one.do(set_aside, B)
    one.do(let_count, A)
    assert one.runs() == {"a": "counts", "b": "kept"}
    one.do(set_aside, C)
    assert one.runs() == {"a": "counts", "b": "kept", "c": "kept"}, "as keeping beside does"


def test_a_run_of_an_older_version_set_aside_is_kept() -> None:
    """It has no entry of its own yet."""
    one = Tablet("one")
    step, field, row, of = PLACE
    one.take([measure(one.author, one.state, JOB, step, field, A, row=row, of=of)])
    one.do(set_aside, A)
    assert one.runs() == {"a": "kept"}
    assert one.counting() == []
