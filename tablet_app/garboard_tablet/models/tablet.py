"""The tablet everything passes over: hull files, plugins, settings and the session, and every way to write."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from garboard.disk.clock import HybridClock
from garboard.disk.documents import DocumentDamaged
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.disk.shop_document import damage_of
from garboard.faults import in_words
from garboard_tablet.language import phrase
from garboard_tablet.models.left_out import LEFT_OUT, hashes_approved, left_out, runs
from garboard_tablet.models.session import Session, resume
from garboard_tablet.models.settings import TabletSettings, read_settings, write_settings

if TYPE_CHECKING:  # each loaded in the method that needs it: the app's first frame waits for none of them
    from garboard.disk.entries import Entry
    from garboard.history.authoring import Author
    from garboard.history.boat import Boat
    from garboard.history.registers import RegisterKey
    from garboard.history.replay import HullState
    from garboard.history.runs import KeptRun
    from garboard.hosting.failures import PluginProblem
    from garboard.hosting.host import PluginHost
    from garboard.job_view import FieldKey, JobView
    from garboard.records import Forecast, JsonValue
    from garboard.samples import Recording
    from garboard.steps import Assessed, Step
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.files_amiss import FileAmiss
    from garboard_tablet.models.plugin_minder import PluginMinder
    from garboard_tablet.models.saved_last import Echo

STARTED = "under way"
NOT_ALL_HERE = "Not all is here: see Vessels"
HANDED_OVER, SET_ASIDE = "handed over", "set aside"
CLOSED = (HANDED_OVER, SET_ASIDE)
"""What a job is called of which nothing is to do."""
FAILS = ("check fails", "checks fail")
"""Of one, and of several; see `in_number`."""
MOST_BOATS = 4
"""So many boats are held in memory, the latest asked for: each takes some megabytes, and a tablet has hundreds."""
NOT_NAMED = "not named"
"""Stands for who stated something when a tablet has lost its settings: a value must be kept all the same."""


@attrs.define
class Tablet:
    """One tablet at work. Made with `open_tablet`.

    make_plugins : loads the plugins; called when they are first needed, so that the first page need not wait
    name_plugins : tells which those are, without loading them; see `plugin_set`
    import_plugins : does what takes longest of loading them, and what any thread may do
    damaged      : what could not be read of session, settings, pairing, managers and vessels, and what to do
    echo         : the value saved last, until it is undone
    left_out     : plugins that do not run, as the app ended while they did, each with the beginning of its hash
    minder       : minds the shop's own plugins, once they are loaded
    amiss        : boats' files of which something is missing here, as `VesselWatch` found them
    passed_over  : called from another thread with the name of a plugin that could not be interrupted
    cautions_read: when the cautions of a step were read since the start, by hull, job and step
    filling      : step and the one column ("column", name) or row ("row", ...) of its table that is asked for; or none
    """

    folder: Path
    files: HullFolder
    settings: TabletSettings
    session: Session
    make_plugins: Callable[[], PluginHost]
    damaged: list[DocumentDamaged] = attrs.field(factory=list)
    left_out: Mapping[str, str] = attrs.field(factory=dict)
    amiss: tuple[FileAmiss, ...] = ()
    minder: PluginMinder | None = None
    passed_over: Callable[[str], object] = str
    name_plugins: Callable[[], str] = str
    import_plugins: Callable[[], object] = str
    clock: HybridClock = attrs.field(factory=HybridClock)
    last_saved: str = ""
    echo: Echo | None = None
    cautions_read: dict[tuple[str, str, str], str] = attrs.field(factory=dict)
    filling: tuple[str, ...] = ()
    _host: PluginHost | None = None
    _plugin_set: str | None = None
    _boats: dict[str, Boat] = attrs.field(factory=dict)
    _views: dict[tuple[str, str], tuple[int, JobView]] = attrs.field(factory=dict)

    # Reading

    def get_ready(self) -> None:
        """Make ready for the plugins on another thread, if none are loaded: the drawing thread then loads them soon."""
        if self._host is None:
            self.import_plugins()

    @property
    def host(self) -> PluginHost:
        if self._host is None:
            _ = self.plugin_set  # first: what the shop approves meanwhile runs, and is news at the next start
            self._host = self.make_plugins()
        return self._host

    @property
    def plugin_set(self) -> str:
        """Tells which plugins run until the app is closed. Any thread may ask: what is told first holds."""
        if self._plugin_set is None:
            named = self.name_plugins()
            self._plugin_set = named if self._plugin_set is None else self._plugin_set
        return self._plugin_set

    def plugins_left_out(self) -> tuple[str, ...]:
        """Plugins that would run but for the app having ended while they did."""
        if not self.left_out:  # nearly always: the first page does not wait for plugins
            return ()
        return tuple(problem.name for problem in self.host.problems if problem.code == LEFT_OUT)

    def plugins_not_here(self) -> tuple[str, ...]:
        """Plugins that the shop approved and that do not run, as their files are not here whole."""
        if self._host is None and all(name in self.files.attachments for name in hashes_approved(self.folder)):
            return ()  # nearly always: the first page does not wait for plugins
        from garboard.shop_link.shop_plugins import NOT_HERE

        return tuple(problem.name for problem in self.host.problems if problem.code == NOT_HERE)

    def boat(self, hull: str) -> Boat:
        """The boat of a hull number, kept up to date: every number of the boat, and jobs moved to it."""
        from garboard.history.boat import open_hull

        boat = self._boats.pop(hull, None)
        if boat is None:
            self._let_go(MOST_BOATS - 1)
            boat = open_hull(self.files, hull)
            for key in boat.hulls:
                for entry in self.files.entries(key):
                    self._follow(entry)
        self._boats[hull] = boat  # the latest asked for stands last
        return boat

    def _let_go(self, most: int) -> None:
        """Hold only so many boats, the latest asked for; a file is read anew when its boat is asked for again."""
        for hull in [*self._boats][: max(0, len(self._boats) - most)]:
            del self._boats[hull]
            for key in [key for key in self._views if key[0] == hull]:
                del self._views[key]
        self.files.hold_only({SHOP_RECORD}.union(*(boat.hulls for boat in self._boats.values())))

    def _follow(self, entry: Entry) -> None:
        self.clock.follow(entry.clock, own=entry.tablet == self.settings.tablet)

    def state_of(self, hull: str, job: str = "") -> HullState:
        """What a job's entries are in; without a job, what the vessel's are in."""
        return self.boat(hull).state_of(job)

    def home_of(self, hull: str, key: RegisterKey) -> HullState:
        """What holds a register: of a vessel's field, where the others of its kind stand."""
        return self.boat(hull).vessel_home(key.first) if key.kind == "field" else self.state_of(hull, key.job)

    def size(self, hull: str, job: str) -> int:
        """How many entries a job's state and findings rest on, the shop's settings among them; it only grows."""
        boat, home = self.boat(hull), self.state_of(hull, job)
        left = sum(map(len, boat.left.get(boat.joined(job), ())))
        return self.files.count(SHOP_RECORD) + len(boat.state) + (0 if home is boat.state else len(home)) + left

    def listed(self, hull: str) -> str:
        """The number a boat is listed under: a well-formed one if any is, and one that leads to all its numbers."""
        aliases = self.state_of(hull).hull_keys
        if len(aliases) == 1:
            return hull
        here = set(self.files.hulls())
        leading = [key for key in aliases if key == hull or (key in here and self.state_of(key).hull_keys == aliases)]
        return min(leading, key=lambda key: (not _is_well_formed(key), key))

    def look_again(self, hulls: Collection[str]) -> None:
        """Take in what came into hulls' files from elsewhere, and who may decide, as the shop says it now."""
        from garboard.history.authority import managers_of

        managers = managers_of(self.folder)
        if SHOP_RECORD in hulls or any(boat.managers != managers for boat in self._boats.values()):
            self._open_all_anew()  # the shop's settings are in every boat's jobs
        opened = {key: boat for boat in self._boats.values() for key in boat.hulls}
        awaited = {home for boat in self._boats.values() for home, _ in boat.state.moved_from}
        awaited |= {target for boat in self._boats.values() for target in boat.state.moved_away.values()}
        fresh: list[Entry] = []
        for hull in hulls:
            if hull in opened:
                states = (opened[hull].state, *opened[hull].moved_in.values())
                fresh += [entry for entry in self.files.entries(hull) if not any(entry.id in s for s in states)]
            elif hull in awaited:
                fresh += self.files.entries(hull)
        for entry in fresh:
            self._follow(entry)
        self._take_in(fresh)

    def _open_all_anew(self) -> None:
        self._boats.clear()
        self._views.clear()

    def _take_in(self, fresh: Sequence[Entry]) -> None:
        """Add entries to the boats they are about. What says which numbers are one boat makes all open anew."""
        from garboard.history.registers import register_of

        if any(register_of(entry).kind in ("alias", "move") for entry in fresh):
            self._open_all_anew()
            return
        by_hull: dict[str, list[Entry]] = {}
        for entry in fresh:
            by_hull.setdefault(entry.hull_key, []).append(entry)
        for hull, boat in list(self._boats.items()):
            written = boat.hulls & by_hull.keys()
            if written and any(home.hull in boat.state.hull_keys for home in boat.moved_in.values()):
                del self._boats[hull]  # a job in two parts is put together only when its boat is opened
                continue
            for state in (boat.state, *boat.moved_in.values()):
                for key in written & state.hull_keys:
                    for entry in by_hull[key]:
                        state.add(entry)

    def view(self, hull: str, job: str) -> JobView:
        """A job as it stands."""
        size, view = self._views.get((hull, job), (-1, None))
        if view is None or size != self.size(hull, job):
            view = self.host.with_defaults(self.boat(hull).view(job, load_recording=self.load_recording))
            self._views[hull, job] = (self.size(hull, job), view)
        return view

    def step(self, key: str) -> Step | None:
        return self.host.step(key)

    def assess(self, hull: str, job: str, steps: Sequence[str] | None = None) -> tuple[Assessed, ...]:
        """What the plugins find in a job."""
        view = self.view(hull, job)
        from garboard.report.as_typed import as_typed

        return as_typed(view, self.host.assess(view, steps), self.host)

    def load_recording(self, reference: str) -> Recording:
        """The recording kept under a name."""
        return _read_recording(self.files, reference)

    def value(self, hull: str, job: str, ask: Ask) -> JsonValue:
        """The one value that stands for an ask; None when there is none, or several that disagree."""
        current = self.current(hull, job, ask)
        return current[0].value if len(current) == 1 else None

    def current(self, hull: str, job: str, ask: Ask) -> tuple[Entry, ...]:
        """Every value that stands for an ask; more than one means they disagree."""
        key = self._key(hull, job, ask)
        return self.home_of(hull, key).current(key)

    def history(self, hull: str, job: str, ask: Ask) -> tuple[Entry, ...]:
        """Every entry ever written for an ask, in order of display."""
        key = self._key(hull, job, ask)
        return self.home_of(hull, key).register(key).history

    def _key(self, hull: str, job: str, ask: Ask) -> RegisterKey:
        """Where an ask's value is kept: of a renamed field that this job holds already, under the name it had."""
        key = ask.key if ask.key.kind == "field" else ask.key._replace(job=job)
        if ask.field.renamed_from and key.kind == "measure":
            state, (step, field, row, of) = self.home_of(hull, key), key.subject
            keys = [key._replace(subject=(step, name, row, of)) for name in (field, *ask.field.renamed_from)]
            return next((one for one in keys if state.register(one).history), key)
        return key

    @property
    def may_decide(self) -> bool:
        """Whether what is a manager's may be decided here: this is a manager's tablet, or no shop's."""
        from garboard.shop_link.pairing import may_decide

        return may_decide(self.folder)

    @property
    def saved_words(self) -> str:
        """When the last entry was saved, for the upper right of every page."""
        if self.last_saved:
            return phrase("Saved {last_saved}", last_saved=self.last_saved)
        return NOT_ALL_HERE if self.amiss else "All is saved"

    # Writing: every method returns only when what it wrote is on the disk.

    def author(self, by: str = "") -> Author:
        from garboard.history.authoring import Author

        plugins = {plugin.name: plugin.version for plugin in self._host.plugins} if self._host else {}
        return Author(self.settings.tablet, by or self.settings.working or NOT_NAMED, self.clock, plugins)

    def save(self, *entries: Entry) -> None:
        """Keep entries, each in the file of its hull.

        errors : NotSaved, or what refused one of them; what was saved before stands here as it does on the disk
        """
        saved: list[Entry] = []
        try:
            for hull in dict.fromkeys(entry.hull_key for entry in entries):
                own = [entry for entry in entries if entry.hull_key == hull]
                refused = dict(self.files.put_if_absent(hull, own).refused)
                saved += [entry for entry in own if entry.id not in refused]
                for reason in refused.values():
                    raise reason
        finally:
            self._take_in(saved)
            if saved:
                self.last_saved = saved[-1].at[11:19]

    def enter(self, hull: str, job: str, ask: Ask, value: JsonValue, instrument: str = "") -> None:
        """Keep the value of an ask, and with the first value of a step that it is under way.

        instrument : the meter it was read with; "" where nobody says
        """
        from garboard.history.authoring import measure
        from garboard.steps import Kind

        key = self._key(hull, job, ask)
        state, author = self.home_of(hull, key), self._author_of(hull, job, key)
        if key.kind != "measure":
            more: dict[str, JsonValue] = {"instrument": instrument} if instrument else {}
            self.save(author.write(state, key.kind, key.subject, value, job=key.job, more=more))
            return
        if ask.field.kind is Kind.RECORDING:
            self.let_count(hull, job, ask, value)
            return
        step, field, row, of = key.subject
        entry = measure(author, state, job, step, field, value, row=row, of=of, instrument=instrument)
        self._save_in_step(hull, job, step, [entry])

    def keep_with_step(self, hull: str, job: str, place: FieldKey, value: JsonValue) -> None:
        """Keep what belongs to a step and is asked for by none of its fields: a photo, or other arrows on one."""
        from garboard.history.authoring import measure

        step, field, row, of = place
        entry = measure(self.author(), self.state_of(hull, job), job, step, field, value, row=row, of=of)
        self._save_in_step(hull, job, step, [entry])

    def take_from_step(self, hull: str, job: str, place: FieldKey, reason: str) -> None:
        """Take back what `keep_with_step` kept. It stays in the hull's file, struck out, with the reason."""
        from garboard.history.authoring import retract
        from garboard.history.registers import RegisterKey

        key = RegisterKey("measure", job, place)
        self.save(retract(self.author(), self.state_of(hull, job), key, reason))

    def _save_in_step(self, hull: str, job: str, step: str, entries: Sequence[Entry]) -> None:
        """Keep entries of a step; with the first that it is under way."""
        begins = bool(entries) and self.view(hull, job).state_of(step) == "to do"
        begun = self._begun(hull, job, entries)
        self.save(*begun, *entries, *([self._state_entry(hull, job, step, STARTED, "")] if begins else []))

    def _begun(self, hull: str, job: str, entries: Sequence[Entry]) -> list[Entry]:
        """What a row takes over as its first value is written, or a recording as it comes to count.

        It is written with them at once: a run that does not say its propeller would be taken for another's.
        """
        from garboard_tablet.models.begun import begun_with

        state, view, author = self.state_of(hull, job), self.view(hull, job), self.author()
        taken_back = {entry.subject: entry.id for entry in entries if entry.kind == "retract"}
        found = []
        for subject, value in begun_with(self.step, view, entries):
            replaces = (taken_back[subject],) if subject in taken_back else None
            found.append(author.write(state, "measure", subject, value, job=job, replaces=replaces))
        return found

    def runs(self, hull: str, job: str, ask: Ask) -> tuple[KeptRun, ...]:
        """Every recording kept for a field, the first kept first."""
        from garboard.history.runs import runs_of

        return runs_of(self.state_of(hull, job), job, ask.place)

    def keep_beside(self, hull: str, job: str, ask: Ask, value: JsonValue) -> None:
        """Keep a recording beside what counts, bring back one thrown away, or set aside the one that counts."""
        from garboard.history.runs import set_aside

        entries = set_aside(self.author(), self.state_of(hull, job), job, ask.place, value)
        self._save_in_step(hull, job, ask.place[0], entries)

    def let_count(self, hull: str, job: str, ask: Ask, value: JsonValue) -> None:
        """Have a recording count, whichever did before. What describes the run is asked anew."""
        from garboard.history.runs import EARLIER_RUN, let_count
        from garboard.steps import describing_run

        step = self.step(ask.place[0])
        describing = describing_run(step, ask.place[1]) if step else frozenset[str]()
        entries = let_count(self.author(), self.state_of(hull, job), job, ask.place, value, describing)
        if any(entry.kind == "retract" for entry in entries) and self.view(hull, job).state_of(ask.place[0]) == "done":
            entries.append(self._state_entry(hull, job, ask.place[0], STARTED, EARLIER_RUN))
        self._save_in_step(hull, job, ask.place[0], entries)

    def throw_away(self, hull: str, job: str, ask: Ask, value: JsonValue) -> None:
        """Throw a recording away; `keep_beside` brings it back."""
        from garboard.history.runs import throw_away

        self.save(*throw_away(self.author(), self.state_of(hull, job), job, ask.place, value))

    def set_state(self, hull: str, job: str, step: str, state: str, reason: str = "") -> None:
        """Say how far a step is."""
        self.save(self._state_entry(hull, job, step, state, reason))

    def _state_entry(self, hull: str, job: str, step: str, state: str, reason: str) -> Entry:
        value: dict[str, JsonValue] = {"state": state}
        if reason:
            value["reason"] = reason
        return self.author().write(self.state_of(hull, job), "step", (step,), value, job=job)

    def choose(self, hull: str, job: str, ask: Ask, value: JsonValue, reason: str) -> None:
        """Settle a disagreement."""
        from garboard.history.authoring import settle

        key = self._key(hull, job, ask)
        self.save(settle(self._author_of(hull, job, key), self.home_of(hull, key), key, value, reason))

    def take_back(self, hull: str, job: str, ask: Ask, reason: str) -> None:
        """Take back what stands for an ask. It stays in the hull's file, struck out, with the reason."""
        from garboard.history.authoring import retract

        key = self._key(hull, job, ask)
        self.save(retract(self._author_of(hull, job, key), self.home_of(hull, key), key, reason))

    def put_back(self, hull: str, job: str, ask: Ask, entry: Entry) -> None:
        """Have a value stand again that stood before. Who puts it back says so; the instrument is the one it had."""
        from garboard.steps import Kind

        if ask.field.kind is Kind.RECORDING and ask.key.kind == "measure":
            self.let_count(hull, job, ask, entry.value)
            return
        key, instrument = self._key(hull, job, ask), entry.more.get("instrument")
        more: dict[str, JsonValue] = {"put_back": entry.id, **({"instrument": instrument} if instrument else {})}
        state = self.home_of(hull, key)
        author = self._author_of(hull, job, key)
        self.save(author.write(state, key.kind, key.subject, entry.value, job=key.job, more=more))

    def open_job(self, hull_text: str, kind: str = "commissioning") -> tuple[str, str]:
        """Open a job.

        hull_text : the hull number as typed
        returns   : the hull's key and the job's id
        """
        from garboard import hull_number
        from garboard.history.authoring import open_job

        hull = hull_number.key(hull_text)
        working = [self.settings.working] if self.settings.working else []
        entries = open_job(self.author(), self.state_of(hull), hull_text, kind, technicians=working)
        job = entries[0].job
        self.save(*entries)
        return hull, job

    def note(
        self, hull: str, job: str, text: str, *, punch_list: bool, subject: str = "", settled: bool = False
    ) -> None:
        """Keep a remark; with the subject of an earlier one, in its place."""
        value: JsonValue = {"text": text, "punch_list": punch_list, "settled": settled}
        self.save(
            self.author().write(self.state_of(hull, job), "note", (subject or os.urandom(6).hex(),), value, job=job)
        )

    def sign(self, hull: str, job: str, role: str, name: str, signature: bytes) -> None:
        """Sign a job over everything now in it, under the settings that hold now, with the signature as drawn."""
        from garboard.history.authoring import sign_off, signed_under

        drawn, settings = self.files.attachments.put(signature), signed_under(self.view(hull, job))
        self.save(
            sign_off(self.author(by=name), self.state_of(hull, job), job, role, name, settings=settings, drawn=drawn)
        )

    def facts(self, hull: str, job: str, kind: str) -> tuple[HullState, Author]:
        """What holds facts of a kind about the vessel, and who writes there in a job."""
        boat = self.boat(hull)
        home = boat.vessel_home(kind)
        return home, attrs.evolve(self.author(), at_job=boat.facts_of(job, home))

    def _author_of(self, hull: str, job: str, key: RegisterKey) -> Author:
        return self.facts(hull, job, key.subject[0])[1] if key.kind == "field" else self.author()

    def add_piece(self, hull: str, path: tuple[str, ...], job: str = "") -> None:
        """Add a piece of equipment. A piece of that name removed earlier comes back."""
        from garboard.history.registers import RegisterKey

        state, author = self.facts(hull, job, path[0])
        name = "position" if path[-2] == "engines" else "name"
        entries = [author.write(state, "field", (*path, name), path[-1])]
        if state.current(RegisterKey("field", "", (*path, "removed"))):
            entries.append(author.write(state, "field", (*path, "removed"), False))
        self.save(*entries)

    def fit_propellers(self, hull: str, names: Sequence[str], job: str = "") -> None:
        """Say which propeller is on each engine now, from port to starboard. No run made before changes by it."""
        from garboard.history.registers import RegisterKey

        state, author = self.facts(hull, job, "engines")
        entries = []
        for engine, name in zip(self.boat(hull).vessel().engines, names, strict=True):
            subject = ("engines", engine.position, "fitted")
            if [entry.value for entry in state.current(RegisterKey("field", "", subject))] != [name]:
                entries.append(author.write(state, "field", subject, name))
        self.save(*entries)

    def keep_forecast(self, hull: str, job: str, forecast: Forecast) -> None:
        """Keep what is foreseen of the propeller that is tried next; its runs will show whether that held."""
        from garboard.history.authoring import keep_forecast

        self.save(keep_forecast(self.author(), self.boat(hull).state_of(job), job, forecast))

    def remove_piece(self, hull: str, path: tuple[str, ...], job: str = "") -> None:
        """Take a piece of equipment off the vessel. What was known about it stays in the boat's file."""
        state, author = self.facts(hull, job, path[0])
        self.save(author.write(state, "field", (*path, "removed"), True))

    def copy_piece(
        self, hull: str, source: tuple[str, ...], target: tuple[str, ...], leave_out: Sequence[str], job: str = ""
    ) -> None:
        """Give a piece every value of another that it lacks."""
        from garboard.history.registers import RegisterKey

        state, author = self.facts(hull, job, source[0])
        entries = []
        for key in sorted(state.registers):
            name = key.subject[len(source) :]
            if key.kind != "field" or key.subject[: len(source)] != source or not name or name[0] in leave_out:
                continue
            current = state.current(key)
            if len(current) == 1 and not state.current(RegisterKey("field", "", (*target, *name))):
                entries.append(author.write(state, "field", (*target, *name), current[0].value))
        self.save(*entries)

    def keep_file(self, content: bytes, title: str) -> dict[str, JsonValue]:
        """Keep a photo or a recording; the value that refers to it."""
        return {"file": self.files.attachments.put(content), "name": title}

    def change_settings(self, settings: TabletSettings) -> None:
        self.settings = settings
        write_settings(self.folder, settings)

    def close(self) -> None:
        if self.minder is not None:
            self.minder.close()
        self.files.close()


def no_plugins() -> PluginHost:
    """None at all."""
    from garboard.hosting.host import make_host

    return make_host((), entry_points=False)


def all_plugins(
    tablet: Tablet, own: Sequence[Path] = (), refused: Sequence[PluginProblem] = (), without: Sequence[str] = ()
) -> PluginHost:
    """The plugins that come with the program, those installed beside it, and the shop's own that it approved.

    own     : files chosen for this run; each runs instead of an approved one of its name
    refused : what lies there as a plugin and does not run for its name
    without : names that are not loaded
    """
    from garboard.hosting.host import make_host
    from garboard.shop_link.shop_plugins import files_to_run, kept, problem_of_lacking
    from garboard_tablet.models.plugin_minder import PluginMinder, problem_of_left_out

    chosen = {file.stem for file in own}
    laid_out = files_to_run(tablet.files)
    approved = [file for file in laid_out if file.stem not in chosen]
    there = {*chosen, *without, *(file.stem for file in laid_out)}
    found = [file.absolute() for file in (*own, *approved) if file.stem not in without]
    tablet.minder = PluginMinder(tablet.folder, lambda plugin: tablet.passed_over(plugin))
    to_run = [file for file in found if runs(file, tablet.left_out)]
    host = make_host(files=to_run, minder=tablet.minder, without=without)
    host.problems += [one for one in refused if one.name not in without]
    host.problems += [problem_of_left_out(file.stem, file) for file in found if not runs(file, tablet.left_out)]
    host.problems += [problem_of_lacking(one) for one in kept(tablet.folder) if one.name not in there]
    return host


def import_plugins(without: Sequence[str] = ()) -> None:
    """Import the plugins that come with the program: their modules, of which no plugin is made yet."""
    from importlib import import_module

    from garboard.hosting.host import BUILT_IN

    for name in BUILT_IN:
        if name not in without:
            with suppress(Exception):  # what loads the plugin tells why
                import_module(name)


def open_tablet(
    folder: Path,
    make_plugins: Callable[[], PluginHost] | None = None,
    own_plugins: Sequence[Path] = (),
    refused: Sequence[PluginProblem] = (),
    without: Sequence[str] = (),
) -> Tablet:
    """Open a tablet's folder.

    folder       : made when it is not there
    make_plugins : loads the plugins; `all_plugins` unless given
    own_plugins, refused, without : as of `all_plugins`
    errors : FolderInUse when another program writes in it; NewerFormat when a newer one wrote its documents
    """
    from garboard.history.authority import damage_of_list

    files, damaged = HullFolder(folder), list[DocumentDamaged]()
    try:
        settings, session = read_settings(folder, damaged), resume(folder, damaged)
        damaged += [*damage_of(folder), *damage_of_list(folder)]
    except BaseException:
        files.close()
        raise
    tablet = Tablet(folder, files, settings, session, make_plugins or no_plugins, damaged, left_out=left_out(folder))
    if make_plugins is None:
        from garboard_tablet.models.plugin_set import plugin_set

        tablet.make_plugins = partial(all_plugins, tablet, own_plugins, refused, without)
        tablet.import_plugins = partial(import_plugins, without)
        tablet.name_plugins = lambda: plugin_set(files, own_plugins, without, tablet.left_out)
    return tablet


def _is_well_formed(number: str) -> bool:
    from garboard import hull_number
    from garboard.faults import InputError

    try:
        hull_number.parse(number)
    except InputError:
        return False
    return True


@lru_cache(maxsize=8)
def _read_recording(files: HullFolder, reference: str) -> Recording:
    from garboard.disk.attachments import AttachmentDamaged
    from garboard.faults import InputError
    from garboard.findings import Lack, Missing, NotEnoughData
    from garboard.recordings import load_recording

    if reference not in files.attachments:
        text = phrase(
            "recording {reference} is not on this tablet; bring it in and assess again", reference=reference[:8]
        )
        raise NotEnoughData(Missing(text, lack=Lack.RECORDING_NOT_HERE))
    try:
        files.attachments.prove(reference)
        return load_recording(files.attachments.folder / reference)[0]
    except AttachmentDamaged:
        text = phrase(
            "recording {reference} was damaged on the disk; bring ashore to fetch it again", reference=reference[:8]
        )
        raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE)) from None
    except (KeyError, OSError, InputError) as failure:
        text = phrase(
            "recording {reference} cannot be read: {reason}", reference=reference[:8], reason=in_words(failure)
        )
        raise NotEnoughData(Missing(text, lack=Lack.UNREADABLE)) from None
