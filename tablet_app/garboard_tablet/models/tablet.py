"""The tablet everything passes over: hull files, plugins, settings and the session, and every way to write."""

from __future__ import annotations

import gc
from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

import attrs

from garboard.clock import HybridClock
from garboard.hullfile import HullFolder
from garboard_tablet.models.session import Session, resume
from garboard_tablet.models.settings import TabletSettings, read_settings, write_settings

if TYPE_CHECKING:  # each loaded in the method that needs it: the app's first frame waits for none of them
    from garboard.entries import Entry
    from garboard.fold import Fold, SlotKey
    from garboard.host import PluginHost
    from garboard.job_view import JobView
    from garboard.records import JsonValue
    from garboard.samples import Recording
    from garboard.steps import Assessed, Step
    from garboard.writing import Author
    from garboard_tablet.models.asks import Ask

SESSION_FILE = "session.json"
SETTINGS_FILE = "tablet.json"
STARTED = "under way"
NOT_NAMED = "not named"
"""Stands for who stated something when a tablet has lost its settings: a value must be kept all the same."""
DONE_STATES = ("done", "not fitted")


@attrs.define
class Tablet:
    """One tablet at work. Made with `open_tablet`.

    make_plugins : loads the plugins; called when they are first needed, so that the first page need not wait
    """

    folder: Path
    files: HullFolder
    settings: TabletSettings
    session: Session
    make_plugins: Callable[[], PluginHost]
    clock: HybridClock = attrs.field(factory=HybridClock)
    last_saved: str = ""
    _host: PluginHost | None = None
    _folds: dict[str, Fold] = attrs.field(factory=dict)
    _views: dict[tuple[str, str], tuple[int, JobView]] = attrs.field(factory=dict)

    # Reading

    @property
    def host(self) -> PluginHost:
        if self._host is None:
            self._host = self.make_plugins()
            gc.freeze()  # what is loaded now stays for good: looking through it again and again is felt as stutter
        return self._host

    def fold(self, hull: str) -> Fold:
        """The state of a hull, kept up from then on."""
        from garboard.fold import Fold

        if hull not in self._folds:
            state = Fold(hull)
            for entry in self.files.entries(hull):
                state.add(entry)
                self.clock.follow(entry.clock)
            self._folds[hull] = state
        return self._folds[hull]

    def look_again(self, hull: str) -> None:
        """Take in what came into a hull's file from elsewhere."""
        if hull in self._folds:
            for entry in self.files.entries(hull):
                self._folds[hull].add(entry)
                self.clock.follow(entry.clock)

    def view(self, hull: str, job: str) -> JobView:
        """A job as it stands."""
        state = self.fold(hull)
        size, view = self._views.get((hull, job), (-1, None))
        if view is None or size != len(state):
            view = self.host.with_defaults(state.view(job, load_recording=self.load_recording))
            self._views[hull, job] = (len(state), view)
        return view

    def step(self, key: str) -> Step | None:
        return self.host.step(key)

    def assess(self, hull: str, job: str, steps: Sequence[str] | None = None) -> tuple[Assessed, ...]:
        """What the plugins find in a job."""
        return self.host.assess(self.view(hull, job), steps)

    def load_recording(self, reference: str) -> Recording:
        """The recording kept under a name."""
        return _read_recording(self.files, reference)

    def value(self, hull: str, job: str, ask: Ask) -> JsonValue:
        """The one value that stands for an ask; None when there is none, or several that disagree."""
        standing = self.standing(hull, job, ask)
        return standing[0].value if len(standing) == 1 else None

    def standing(self, hull: str, job: str, ask: Ask) -> tuple[Entry, ...]:
        """Every value that stands for an ask; more than one means they disagree."""
        return self.fold(hull).standing(_slot(ask, job))

    # Writing: every method returns only when what it wrote is on the disk.

    def author(self, by: str = "") -> Author:
        from garboard.writing import Author

        plugins = {plugin.name: plugin.version for plugin in self._host.plugins} if self._host else {}
        return Author(self.settings.tablet, by or self.settings.working or NOT_NAMED, self.clock, plugins)

    def save(self, hull: str, *entries: Entry) -> None:
        """Keep entries of a hull."""
        result = self.files.put_if_absent(hull, entries)
        for _, refused in result.refused:
            raise refused
        state = self.fold(hull)
        for entry in entries:
            state.add(entry)
        if entries:
            self.last_saved = entries[-1].at[11:19]

    def enter(self, hull: str, job: str, ask: Ask, value: JsonValue) -> None:
        """Keep the value of an ask, and with the first value of a step that it is under way."""
        from garboard.writing import measure

        state, author = self.fold(hull), self.author()
        if ask.slot.kind != "measure":
            slot = _slot(ask, job)
            self.save(hull, author.write(state, slot.kind, slot.subject, value, job=slot.job))
            return
        step, field, row, of = ask.slot.subject
        entries = [measure(author, state, job, step, field, value, row=row, of=of)]
        if self.view(hull, job).state_of(step) == "to do":
            entries.append(self._state_entry(hull, job, step, STARTED, ""))
        self.save(hull, *entries)

    def set_state(self, hull: str, job: str, step: str, state: str, reason: str = "") -> None:
        """Say how far a step is."""
        self.save(hull, self._state_entry(hull, job, step, state, reason))

    def _state_entry(self, hull: str, job: str, step: str, state: str, reason: str) -> Entry:
        value: dict[str, JsonValue] = {"state": state}
        if reason:
            value["reason"] = reason
        return self.author().write(self.fold(hull), "step", (step,), value, job=job)

    def choose(self, hull: str, job: str, ask: Ask, value: JsonValue, reason: str) -> None:
        """Settle a disagreement."""
        from garboard.writing import settle

        self.save(hull, settle(self.author(), self.fold(hull), _slot(ask, job), value, reason))

    def take_back(self, hull: str, job: str, ask: Ask, reason: str) -> None:
        """Take back what stands for an ask. It stays in the hull's file, struck out, with the reason."""
        from garboard.writing import retract

        self.save(hull, retract(self.author(), self.fold(hull), _slot(ask, job), reason))

    def open_job(self, hull_text: str, kind: str = "commissioning") -> tuple[str, str]:
        """Open a job.

        hull_text : the hull number as typed
        returns   : the hull's key and the job's id
        """
        from garboard import hull_number
        from garboard.writing import new_job_id

        hull, job = hull_number.key(hull_text), new_job_id()
        state, author = self.fold(hull), self.author()
        entries = [
            _about_new_hull(author, state, hull_text, "job", ("kind",), kind, job),
            _about_new_hull(author, state, hull_text, "job", ("opened",), author.wall()[:10], job),
        ]
        if self.settings.working:
            entries.append(
                _about_new_hull(author, state, hull_text, "job", ("technicians",), [self.settings.working], job)
            )
        self.save(hull, *entries)
        return hull, job

    def note(
        self, hull: str, job: str, text: str, *, punch_list: bool, subject: str = "", settled: bool = False
    ) -> None:
        """Keep a remark; with the subject of an earlier one, in its place."""
        value: JsonValue = {"text": text, "punch_list": punch_list, "settled": settled}
        self.save(hull, self.author().write(self.fold(hull), "note", (subject or uuid4().hex[:12],), value, job=job))

    def sign(self, hull: str, job: str, role: str, name: str, signature: bytes) -> None:
        """Sign a job over everything now in it, with the signature as drawn."""
        state = self.fold(hull)
        drawn = self.files.attachments.put(signature)
        covers: list[JsonValue] = [*state.coverage(job)]
        value: JsonValue = {"role": role, "name": name, "covers": covers, "signature": {"file": drawn}}
        self.save(hull, self.author(by=name).write(state, "signoff", (role, name), value, job=job))

    def add_piece(self, hull: str, path: tuple[str, ...]) -> None:
        """Add a piece of equipment. A piece of that name removed earlier comes back."""
        from garboard.fold import SlotKey

        state, author = self.fold(hull), self.author()
        name = "position" if path[-2] == "engines" else "name"
        entries = [author.write(state, "field", (*path, name), path[-1])]
        if state.standing(SlotKey("field", "", (*path, "removed"))):
            entries.append(author.write(state, "field", (*path, "removed"), False))
        self.save(hull, *entries)

    def remove_piece(self, hull: str, path: tuple[str, ...]) -> None:
        """Take a piece of equipment off the vessel. What was known about it stays in her file."""
        self.save(hull, self.author().write(self.fold(hull), "field", (*path, "removed"), True))

    def copy_piece(self, hull: str, source: tuple[str, ...], target: tuple[str, ...], leave_out: Sequence[str]) -> None:
        """Give a piece every value of another that it lacks."""
        from garboard.fold import SlotKey

        state, author = self.fold(hull), self.author()
        entries = []
        for key in sorted(state.slots):
            name = key.subject[len(source) :]
            if key.kind != "field" or key.subject[: len(source)] != source or not name or name[0] in leave_out:
                continue
            standing = state.standing(key)
            if len(standing) == 1 and not state.standing(SlotKey("field", "", (*target, *name))):
                entries.append(author.write(state, "field", (*target, *name), standing[0].value))
        self.save(hull, *entries)

    def keep_file(self, content: bytes, title: str) -> dict[str, JsonValue]:
        """Keep a photo or a recording; the value that refers to it."""
        return {"file": self.files.attachments.put(content), "name": title}

    def change_settings(self, settings: TabletSettings) -> None:
        self.settings = settings
        write_settings(self.folder / SETTINGS_FILE, settings)

    def close(self) -> None:
        self.files.close()


def all_plugins(files: HullFolder) -> PluginHost:
    """The plugins that come with the program, those installed beside it, and the shop's own that it approved."""
    from garboard.host import make_host
    from garboard.shop_plugins import files_to_run

    return make_host(files=files_to_run(files))


def open_tablet(folder: Path, make_plugins: Callable[[], PluginHost] | None = None) -> Tablet:
    """Open a tablet's folder.

    folder       : made when it is not there
    make_plugins : loads the plugins; `all_plugins` unless given
    errors : FolderInUse when another program writes in it
    """
    files = HullFolder(folder)
    return Tablet(
        folder,
        files,
        read_settings(folder / SETTINGS_FILE),
        resume(folder / SESSION_FILE),
        make_plugins or partial(all_plugins, files),
    )


def _slot(ask: Ask, job: str) -> SlotKey:
    return ask.slot if ask.slot.kind == "field" else ask.slot._replace(job=job)


def _about_new_hull(
    author: Author, state: Fold, hull_text: str, kind: str, subject: tuple[str, ...], value: JsonValue, job: str
) -> Entry:
    """An entry that carries the hull number as it was typed just now, whatever was typed most often before."""
    from garboard.entries import make_entry
    from garboard.fold import SlotKey

    return make_entry(
        kind,
        hull_text,
        dev=author.tablet,
        by=author.by,
        clock=author.clock.now(),
        at=author.wall(),
        job=job,
        subject=subject,
        value=value,
        replaces=state.heads(SlotKey(kind, job, subject)),
        plugins=author.plugins,
    )


@lru_cache(maxsize=8)
def _read_recording(files: HullFolder, reference: str) -> Recording:
    from garboard.faults import InputError
    from garboard.findings import NotEnoughData
    from garboard.recordings import load_recording

    if reference not in files.attachments:
        raise NotEnoughData(f"recording {reference[:8]} is not on this tablet; bring it in and assess again")
    try:
        return load_recording(files.attachments.folder / reference)[0]
    except (OSError, InputError) as failure:
        raise NotEnoughData(f"recording {reference[:8]} cannot be read: {failure}") from None
