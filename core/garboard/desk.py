"""A hull opened for work: its own entries, those of hull numbers said to be the same boat, and jobs moved to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.clock import HybridClock
from garboard.entries import Entry
from garboard.faults import InputError
from garboard.findings import NotEnoughData
from garboard.fold import Fold, SlotKey, fold
from garboard.hullfile import HullFolder
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.samples import Recording
from garboard.writing import Author


@attrs.frozen
class OpenHull:
    """One boat's state, whatever numbers its jobs were written under.

    state   : the hull's own fold, aliases folded in
    guests  : jobs moved here from other hulls, each with the fold it lives in
    """

    state: Fold
    guests: dict[str, Fold]

    @property
    def jobs(self) -> tuple[str, ...]:
        """Ids of all jobs on this boat."""
        return tuple(dict.fromkeys((*self.state.jobs, *self.guests)))

    def home_of(self, job: str) -> Fold:
        """The fold a job's entries are in."""
        return self.guests.get(job, self.state)

    def view(self, job: str, load_recording: Callable[[str], Recording] | None = None) -> JobView:
        """The job as a calculator reads it; a moved job shows the vessel it was moved to."""
        view = self.home_of(job).view(job, load_recording=load_recording)
        return view if job not in self.guests else attrs.evolve(view, vessel=self.state.vessel()[0])


def open_hull(folder: HullFolder, number: str) -> OpenHull:
    """Open a boat by any of its numbers."""
    key = hull_number.key(number)
    state = fold(key, _family(folder, key))
    guests = {
        job: other
        for home, job in state.moved_from
        for other in [fold(home, folder.entries(home))]
        if other.moved_to(job) == key
    }
    return OpenHull(state, guests)


def _family(folder: HullFolder, key: str) -> Iterator[Entry]:
    """Entries of a hull and of every number said to be the same boat, however many steps away."""
    waiting, seen = [key], {key}
    while waiting:
        entries = folder.entries(waiting.pop())
        yield from entries
        for other in _aliases_in(entries):
            if other not in seen:
                seen.add(other)
                waiting.append(other)


def _aliases_in(entries: tuple[Entry, ...]) -> tuple[str, ...]:
    about = [entry for entry in entries if entry.kind == "alias" or entry.kind == "retract"]
    if not about:
        return ()
    return fold(about[0].hull, about).aliases


def author_for(folder: HullFolder, state: Fold, tablet: str, by: str, plugins: dict[str, str] | None = None) -> Author:
    """Someone about to write in a hull. The clock starts after everything here, unless that clock is far ahead."""
    clock = HybridClock()
    for slot in state.slots.values():
        for entry in slot.entries.values():
            clock.follow(entry.clock)
    return Author(tablet, by, clock, plugins or {})


def recordings_of(folder: HullFolder) -> Callable[[str], Recording]:
    """A loader of recordings kept as attachments, by their name. Each is read once."""

    @lru_cache(maxsize=32)
    def load(name: str) -> Recording:
        from garboard.recordings import load_recording

        if name not in folder.attachments:
            raise NotEnoughData(f"recording {name[:12]} is not on this machine; merge with where it was taken")
        try:
            return load_recording(folder.attachments.folder / name)[0]
        except (OSError, InputError) as failure:
            raise NotEnoughData(f"recording {name[:12]} cannot be read: {failure}") from None

    return load


def keep_recording(folder: HullFolder, path: Path) -> JsonValue:
    """Keep a recording as an attachment; the value a recording field holds: {"file": its hash, "name": as it was}."""
    return {"file": folder.attachments.put_file(path), "name": path.name}


def slot_named(state: Fold, job: str, name: str) -> SlotKey:
    """The slot a person names: "vessel/beam", or "step/field", "step/field/row" or "step/field/row/of" of a job.

    Raises KeyError, listing what is there, when nothing stands under that name.
    """
    parts = name.split("/")
    key = (
        SlotKey("field", "", tuple(parts[1:]))
        if parts[0] == "vessel"
        else SlotKey("measure", job, (*parts, "", "")[:4] if len(parts) < 4 else tuple(parts))
    )
    if key not in state.slots:
        there = sorted(name_of(key) for key in state.slots if key.kind in ("field", "measure") and key.job in ("", job))
        raise KeyError(f"nothing is entered under {name!r}; there is: {', '.join(there)}")
    return key


def name_of(key: SlotKey) -> str:
    """What a person calls a slot, as `slot_named` reads it."""
    if key.kind == "field":
        return "/".join(("vessel", *key.subject))
    subject = "/".join(key.subject).rstrip("/")
    return subject if key.kind == "measure" else f"{key.kind} {subject}".rstrip()
