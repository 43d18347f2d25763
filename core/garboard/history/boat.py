"""A boat: the entries of its hull number, those of numbers said to be the same boat, and jobs moved to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cache, lru_cache
from itertools import chain
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.clock import HybridClock
from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.disk.hullfile import HullFolder
from garboard.disk.photo_words import keep_file
from garboard.disk.storage import NewerFormat
from garboard.faults import Fault, InputError, in_words
from garboard.findings import Lack, NotEnoughData
from garboard.history.authoring import Author, measure
from garboard.history.authority import Managers, managers_of
from garboard.history.halves import EntriesOf, MissingHalf, missing_halves
from garboard.history.registers import VESSEL, RegisterKey, job_named, name_of, register_of
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import settings_of, shop_settings
from garboard.history.vessel import assemble_vessel
from garboard.job_files.job_file import ATTACHED
from garboard.job_view import JobView
from garboard.records import JsonValue, Vessel
from garboard.samples import Recording
from garboard.settings import SettingSet


@attrs.frozen
class Boat:
    """One boat, whatever numbers its jobs were written under.

    state    : of its own hull number and its aliases
    moved_in : jobs moved here from other hulls, each with the state that holds it
    left     : for each of these jobs, the states of the hulls that it, or a part of it, was moved out of
    staying  : jobs moved to a hull whose file does not say so yet: they are on this boat until it does
    unfinished : halves that are missing of decisions that stand in two hull files
    shop     : values that stand in the shop's record
    managers : whose settings hold
    """

    state: HullState
    moved_in: dict[str, HullState]
    staying: tuple[str, ...] = ()
    unfinished: tuple[MissingHalf, ...] = ()
    shop: tuple[SettingSet, ...] = ()
    managers: Managers = None
    left: Mapping[str, Sequence[HullState]] = attrs.field(factory=dict)

    @property
    def jobs(self) -> tuple[str, ...]:
        """Ids of all jobs on this boat."""
        return tuple(dict.fromkeys((*self.state.jobs, *self.staying, *self.moved_in)))

    @property
    def hulls(self) -> frozenset[str]:
        """Keys of all hull numbers anything of this boat was written under."""
        return self.state.hull_keys.union(*(state.hull_keys for state in self.moved_in.values()))

    def joined(self, job: str) -> str:
        """The job a job's entries are in: itself, or the one it was joined into."""
        moved = (whole for whole, state in self.moved_in.items() if state.joined(job) == whole)
        return next(moved, self.state.joined(job))

    def state_of(self, job: str) -> HullState:
        """The state that holds a job."""
        return self.moved_in.get(self.joined(job), self.state)

    @property
    def moved_away(self) -> dict[str, str]:
        """Jobs written here that are on another boat now, each with the key of that one's hull."""
        return {job: target for job, target in self.state.moved_away.items() if job not in self.staying}

    def fields(self, job: str = "") -> dict[RegisterKey, HullState]:
        """The vessel's fields, each with the state that holds it.

        The vessel of a job moved here is this boat. Of what nothing is entered for this boat (its engines, its beam),
        what the job's hull said holds: a number typed wrongly had the same boat's equipment under it. Kinds of
        equipment never mix: a gear ratio of one boat would be judged with the engine of another.

        job : whose vessel; "" for the boat's, which knows what any job that was moved to it brought
        """
        found = {key: self.state for key in self.state.registers if key.kind == "field"}
        if not self.moved_in:  # nearly every boat: nothing else can hold any
            return found
        stated = _stated(self.state)
        for home in self.left.get(self.joined(job), ()) if job else chain.from_iterable(self.left.values()):
            came = {key: home for key in home.registers if key.kind == "field" and key.subject[:1] not in stated}
            found |= came
            stated |= {key.subject[:1] for key in came if home.current(key)}
        return found

    def vessel_home(self, kind: str) -> HullState:
        """The state that holds what is known of a kind of fact about the vessel ("engines", "beam")."""
        holding = (home for key, home in self.fields().items() if key.subject[:1] == (kind,) and home.current(key))
        return next(holding, self.state)

    def facts_of(self, job: str, home: HullState) -> str:
        """The job that a fact about the vessel is written in: of those joined the one that stands in the same hull's
        file, or the one moved to it; "" where there is none.

        home : the state that holds facts of its kind
        """
        if home is self.state_of(job) or (home is self.state and job in home.jobs):
            return job
        if home is self.state and self.joined(job) in self.moved_in:
            return self.joined(job)
        return next((part for part in home.moved_away if self.joined(part) == self.joined(job)), "")

    def brought(self, job: str) -> tuple[str, ...]:
        """Kinds of facts about the vessel that came with a job moved here, sorted."""
        fields = self.fields(job).items()
        came = {key.subject[0] for key, home in fields if home is not self.state and key.subject and home.current(key)}
        return tuple(sorted(came))

    def _came(self, job: str) -> Iterator[tuple[HullState, set[str]]]:
        """What came of the vessel with a job moved here, as places of a view: each state with those it holds."""
        fields = self.fields(job)
        for home in self.left.get(self.joined(job), ()):
            if came := {"/".join(key.subject) for key, holds in fields.items() if holds is home}:
                yield home, came

    def vessel(self, job: str = "") -> Vessel:
        """The vessel of a job, or of the boat: see `fields`."""
        fields = self.fields(job) if self.moved_in else {}
        if all(home is self.state for home in fields.values()):
            return self.state.vessel()[0]
        standing = sorted((home.written(key), home.current(key)) for key, home in fields.items())
        values = [(key.subject, current[0].value) for (_, key), current in standing if len(current) == 1]
        return assemble_vessel(values, self.state.hull_number)[0]

    def registers(self, job: str) -> Iterator[tuple[HullState, RegisterKey]]:
        """The registers of a job and of its vessel, each with the state that holds it."""
        yield from ((self.state, key) for key in self.state.registers if not key.job and key.kind != "field")
        yield from ((home, key) for key, home in self.fields(job).items())
        home = self.state_of(job)
        yield from ((home, key) for key in home.registers if key.job in (job, home.joined(job)) and key.job)

    def states_to_move(self, job: str) -> tuple[HullState, ...]:
        """The states a job has to be moved out of to go whole: each that something of it is written in.

        errors : InputError for a joined job whose parts were written under different hull numbers
        """
        state = self.state_of(job)
        if state.parts(job) and job in self.moved_in and state.hull == self.state.hull:
            expected = f"one written under one hull number; part {', '.join(state.parts(job))} from it, then move each"
            raise InputError("move", [Fault("job", expected, job)])
        here = (self.state,) if job in (*self.state.jobs, *self.staying) else ()
        return (*here, *self.left.get(self.joined(job), ()))

    def view(self, job: str, load_recording: Callable[[str], Recording] | None = None) -> JobView:
        """The job as a calculator reads it; a moved job shows the vessel it was moved to, and what disagrees there."""
        state = self.state_of(job)
        view = state.view(job, load_recording=load_recording)
        view = attrs.evolve(view, settings_set=(*settings_of(state, job, self.managers), *self.shop))
        if state is self.state:
            return view
        unreadable = [one for one in view.unreadable if one.place[0] not in ("", VESSEL)]
        disagreements = [one for one in view.disagreements if one.place[0] != VESSEL]
        for home, came in self._came(job):
            of_home = home.view("")
            unreadable += [one for one in of_home.unreadable if one.place[0] == VESSEL and one.place[1] in came]
            disagreements += [one for one in of_home.disagreements if one.place[0] == VESSEL and one.place[1] in came]
        unreadable += [one for one in self.state.unreadable("") if one.place[0] in ("", VESSEL)]
        disagreements += [one for one in self.state.view("").disagreements if one.place[0] == VESSEL]
        has_its_own = state.hull_keys >= self.state.hull_keys  # a job in parts is replayed with what is written here
        return attrs.evolve(
            view,
            vessel=self.vessel(job),
            disagreements=tuple(disagreements),
            unreadable=tuple(unreadable),
            waiting=view.waiting if has_its_own else (*view.waiting, *self.state.waiting("")),
        )


def open_hull(folder: HullFolder, number: str, read: EntriesOf | None = None) -> Boat:
    """Open a boat by any of its numbers. Another number's file that cannot be read is left out, and named in
    `folder.left_alone`.

    read : reads a hull's entries; `folder.entries` unless given
    """
    read = read or folder.entries

    def entries_of(hull: str) -> Sequence[Entry]:
        try:
            return read(hull)
        except (NewerFormat, OSError):
            if hull == hull_number.key(number):
                raise
            return ()

    return open_entries(entries_of, number, managers_of(folder.folder))


def open_entries(entries_of: EntriesOf, number: str, managers: Managers = None) -> Boat:
    """Open a boat from entries, wherever they are kept.

    managers : whose settings hold; None for everyone's
    errors   : InputError for the shop's own record, which is no boat
    """
    hull_number.refuse_no_boat(number)
    entries_of = cache(entries_of)
    state = replay_with_aliases(entries_of, hull_number.key(number))
    moved_in: dict[str, HullState] = {}
    left: dict[str, list[HullState]] = {}
    for hull, job in state.moved_from:
        other = replay_with_aliases(entries_of, hull)
        if other.moved_to(job) in state.hull_keys:
            whole = state.joined(job)
            left.setdefault(whole, []).append(other)
            is_here_too = whole in moved_in or whole in state.jobs or state.parts(whole)
            moved_in[whole] = _with_part(moved_in.get(whole, state), other, job) if is_here_too else other
    unfinished = [half for hull in sorted(state.hull_keys) for half in missing_halves(entries_of, hull)]
    once = {half.entry.id: half for half in unfinished}
    return Boat(
        state,
        moved_in,
        tuple(_staying(entries_of, state)),
        tuple(once.values()),
        shop_settings(entries_of(SHOP_RECORD), managers),
        managers,
        left,
    )


def _staying(entries_of: EntriesOf, state: HullState) -> Iterator[str]:
    for job, target in state.moved_away.items():
        arrived: tuple[tuple[str, str], ...] = ()
        with suppress(NewerFormat, OSError):  # where the job went cannot be read: it stays in sight here
            arrived = replay_with_aliases(entries_of, target).moved_from
        if not any((hull, job) in arrived for hull in state.hull_keys):
            yield job


def _with_part(here: HullState, other: HullState, job: str) -> HullState:
    """A job written under two numbers, one of them wrong: its entries from both, and of the other's vessel what
    `Boat.fields` takes. What was planned for it and which books were issued come too.
    """
    whole = other.joined(job)
    about_it = {job, whole, *other.parts(whole)}
    stated = _stated(here)

    def comes(entry: Entry) -> bool:
        is_fact = register_of(entry).kind == "field"
        return entry.subject[:1] not in stated if is_fact else job_named(entry) in about_it

    moved = (entry for entry in entries_in(other) if comes(entry))
    return replay(here.hull, (*entries_in(here), *moved), here.hull_keys | other.hull_keys)


def _stated(state: HullState) -> set[tuple[str, ...]]:
    """Kinds of facts about the vessel of which something stands in a hull, and what none takes over from another."""
    fields = (key for key in state.registers if key.kind == "field")
    return {key.subject[:1] for key in fields if state.current(key)} | {("hull_number",)}


def entries_in(state: HullState) -> Iterator[Entry]:
    """Every entry of a state, those of unknown kinds and those that are none among them."""
    for register in state.registers.values():
        yield from register.entries.values()
    yield from state.unknown.values()
    yield from (entry for entry, _ in state.no_entries.values())


def replay_with_aliases(entries_of: EntriesOf, key: str) -> HullState:
    """The state of a hull and of every number said to be the same boat, however many steps away."""
    found: dict[str, Sequence[Entry]] = {}
    waiting = [key]
    while waiting:
        hull = waiting.pop()
        if hull not in found:
            found[hull] = entries_of(hull)
            waiting += _aliases_in(hull, found[hull])
    return replay(key, (entry for entries in found.values() for entry in entries), found)


def _aliases_in(hull: str, entries: Sequence[Entry]) -> tuple[str, ...]:
    return replay(hull, (entry for entry in entries if entry.kind in ("alias", "retract"))).aliases


def author_for(
    folder: HullFolder, state: HullState, tablet: str, by: str, plugins: dict[str, str] | None = None
) -> Author:
    """Someone about to write in a hull. The clock starts after everything here, unless that clock is far ahead."""
    clock = HybridClock()
    for register in state.registers.values():
        for entry in register.entries.values():
            clock.follow(entry.clock, own=entry.tablet == tablet)
    return Author(tablet, by, clock, plugins or {})


def recordings_of(folder: HullFolder) -> Callable[[str], Recording]:
    """A loader of recordings kept as attachments, by their name. Each is proved and read once: a damaged recording
    still reads, as another."""

    @lru_cache(maxsize=32)
    def load(name: str) -> Recording:
        from garboard.recordings import load_recording

        if name not in folder.attachments:
            text = f"recording {name[:12]} is not on this machine; merge with where it was taken"
            raise NotEnoughData(text, lack=Lack.RECORDING_NOT_HERE)
        try:
            folder.attachments.prove(name)
            return load_recording(folder.attachments.folder / name)[0]
        except AttachmentDamaged:
            text = f"recording {name[:12]} was damaged on the disk; merge with where it was taken"
            raise NotEnoughData(text, lack=Lack.UNREADABLE) from None
        except (KeyError, OSError, InputError) as failure:
            raise NotEnoughData(
                f"recording {name[:12]} cannot be read: {in_words(failure)}", lack=Lack.UNREADABLE
            ) from None

    return load


def keep_recording(folder: HullFolder, path: Path) -> JsonValue:
    """Keep a recording or a photo as an attachment; the value its field holds: {"file": its hash, "name": as it was}.

    A photo is kept without what it says besides its dots, and the value says when it was taken.
    """
    return _kept(folder, path, path.name)


def _kept(folder: HullFolder, path: Path, called: str) -> dict[str, JsonValue]:
    name, taken = keep_file(folder.attachments, path)
    return {"file": name, "name": called, **({"taken": taken} if taken else {})}


def attach(
    folder: HullFolder, author: Author, state: HullState, job: str, step: str, path: Path, called: str = ""
) -> Entry:
    """Keep a photo or a recording and say which step it belongs to, whatever fields the step has.

    Each has a row of its own, named by its content: several stand side by side, and one attached twice is one.

    called : what it is called; as the file unless given
    """
    kept = _kept(folder, path, called or path.name)
    return measure(author, state, job, step, ATTACHED, kept, row=str(kept["file"])[:12])


def register_named(boat: Boat, job: str, name: str) -> tuple[HullState, RegisterKey]:
    """The register a person names, with the state that holds it.

    name : "vessel/beam", or "step/field", "step/field/row" or "step/field/row/of" of a job

    Raises KeyError, listing what is there, when nothing stands under that name.
    """
    there = {name_of(key): (state, key) for state, key in boat.registers(job)}
    found = there.get(name) or there.get(name.rstrip("/"))
    if found is None:
        raise KeyError(f"nothing is entered under {name!r}; there is: {', '.join(sorted(there))}")
    return found
