"""A boat as the pages show it: replayed, assessed, and kept until one of its entries changes."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.entries import SHOP_RECORD, Entry, canonical_bytes, view
from garboard.disk.scratch import ScratchFolder
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError, in_number, in_words
from garboard.findings import Basis, Figure, Finding, NotEnoughData, Verdict
from garboard.history.boat import Boat, open_entries
from garboard.history.moves import JOINING
from garboard.history.plans import SetAside, aside_in
from garboard.history.proof import issued_books
from garboard.history.registers import RegisterKey, Resolution, name_of, register_of
from garboard.history.replay import HullState
from garboard.history.two_rows import may_be_two_rows
from garboard.hosting.codes import BUSY, code_for
from garboard.hosting.equipment import facts_without_plugin, plugin_needed
from garboard.hosting.host import PluginHost
from garboard.hosting.judged_before import JudgedBefore
from garboard.hosting.titles import fact_in_words, kind_in_words, name_in_words, place_in_words
from garboard.hosting.unused import why_not_used
from garboard.job_view import FieldKey, JobView, Unreadable, place_of
from garboard.judging.assessing import Question, questions
from garboard.records import Measurement, is_own_kind
from garboard.report.as_typed import as_typed
from garboard.report.outline import (
    HandOver,
    PhaseOutline,
    PunchItem,
    StepOutline,
    by_phase,
    counts,
    hand_over,
    is_handed_over,
    numbered_bases,
    punch_list,
)
from garboard.report.photos import Photo, is_picture, nearest, photos_of
from garboard.samples import Recording
from garboard.steps import Assessed
from garboard_shop.pages.drawing import figure_name
from garboard_shop.pages.wording import value_in_words, written_at
from garboard_shop.store import AttachmentStore, Store, managers_devices

MOST_BOATS_KEPT = 200
MOST_KEPT = 200_000_000
"""So much memory the boats kept take at most, about [byte]; the last one asked for is kept, whatever its size."""
AN_ENTRY, A_SAMPLE = 2_500, 64
"""What a boat takes with all that is found of it, for each of its entries, and of its recordings [byte]."""
MOST_RECORDINGS = 8
"""Of a boat, whose samples are held while it is kept: other settings are tried on it."""
LONGEST_WAIT = 5.0
"""Two people who open one boat wait for one summary so long [s]."""
SIGNED_BEFORE_HAND_OVER = "technician"
_PIECE = 1 << 20
_ASKING = (Verdict.FAIL, Verdict.ADVISE)


@attrs.frozen
class Choice:
    """A disagreement to settle.

    token  : names the register in a form
    saw    : names the values in it, so that a value that arrives meanwhile is noticed
    values : the values, in order of display
    apart  : for each, what tells it from one that reads the same; "" where nothing need
    two_rows : whether the tablets may have meant two rows, each its own
    """

    token: str
    saw: str
    place: str
    values: tuple[Entry, ...]
    apart: tuple[str, ...]
    two_rows: bool


@attrs.frozen
class Stale:
    """A sign-off that does not cover everything: who signed, and the names of what it misses."""

    role: str
    name: str
    at: str
    not_covered: tuple[str, ...]


@attrs.frozen
class Waiting:
    """Entries that wait for a plugin which is not at work here.

    plugin  : its name; the kind or the step of the entries where they do not say
    entries : how many there are
    names   : what they are about, each once
    """

    plugin: str
    entries: int
    names: tuple[str, ...]


@attrs.frozen(kw_only=True)
class JobSummary:
    """One job, assessed.

    judged      : what was found in the units it was found in, for programs; `assessed` is in those the boat is told in
    before      : for judging it with other settings
    missing     : what keeps it from being handed over; empty when it is ready
    coverage    : names what a sign-off written now covers, and what was found
    joined      : entries that joined another job into it
    aside       : that a manager set it aside; None where nobody did
    resolutions : disagreements that were settled: where, and how
    unused      : values that are not used, each with why
    asked       : what looks unusual and should be looked at again; it holds up no hand over
    """

    id: str
    view: JobView
    assessed: tuple[Assessed, ...]
    judged: tuple[Assessed, ...]
    before: JudgedBefore
    phases: tuple[PhaseOutline, ...]
    punch_list: tuple[PunchItem, ...]
    choices: tuple[Choice, ...]
    stale: tuple[Stale, ...]
    bases: Mapping[Basis, int]
    missing: tuple[str, ...]
    coverage: str
    is_guest: bool
    joined: tuple[Entry, ...]
    aside: SetAside | None
    resolutions: tuple[tuple[str, Resolution], ...]
    unused: Mapping[FieldKey, str]
    asked: tuple[Question, ...]

    @property
    def name(self) -> str:
        """What a person calls it: the kind of work, and when it was opened."""
        return _job_name(self.view.job.kind, self.view.job.opened)

    @property
    def counts(self) -> Mapping[Verdict, int]:
        return counts(self.assessed)

    @property
    def is_ready(self) -> bool:
        return not self.missing

    @property
    def is_handed_over(self) -> bool:
        """Whether technician and owner have signed, and nothing was changed since."""
        return is_handed_over(self.view)

    @property
    def is_set_aside(self) -> bool:
        """Whether a manager set it aside, and nothing came since; what is handed over cannot be."""
        return self.aside is not None and self.aside.holds and not self.is_handed_over

    @property
    def handed_over(self) -> HandOver:
        """How far the hand over is, and what it is called once it is done."""
        return hand_over(self.view, self.assessed, self.punch_list)

    @property
    def faults(self) -> tuple[PunchItem, ...]:
        """The punch list without what disagrees: that is settled by choosing."""
        return tuple(item for item in self.punch_list if item.why != "values disagree")

    def with_verdict(self, verdict: Verdict) -> tuple[Finding, ...]:
        return tuple(one.finding for one in self.assessed if one.finding.verdict is verdict)

    def measured_in(self, step: str) -> tuple[Measurement, ...]:
        """What was entered in a step."""
        return tuple(one for one in self.view.measurements if one.step == step)

    @property
    def asked_at(self) -> Mapping[FieldKey, tuple[str, ...]]:
        """What is asked about each value, in words that stand beside it."""
        found: dict[FieldKey, tuple[str, ...]] = {}
        for one in self.asked:
            if one.place is not None:
                found[one.place] = (*found.get(one.place, ()), one.words)
        return found

    def unused_in(self, step: str) -> int:
        """How many values entered in a step are not used."""
        return sum(place[0] == step for place in self.unused)


@attrs.frozen(kw_only=True)
class BoatSummary:
    """One boat with all its jobs.

    held    : ids of its entries, by every hull number anything of it was written under
    lacking : names of recordings that were not here when it was assessed
    figures : everything drawn of it, by name
    host    : the plugins that assessed it
    no_room : whether a recording could not be read for a reason of this machine's, such as a full disk
    loaded  : how many samples are in each of the recordings it holds; more are read when it is judged anew
    """

    boat: Boat
    jobs: tuple[JobSummary, ...]
    entries: Mapping[str, Entry]
    held: Mapping[str, frozenset[str]]
    lacking: frozenset[str]
    figures: Mapping[str, Figure]
    host: PluginHost
    no_room: bool = False
    loaded: Iterable[int] = attrs.field(default=(), eq=False)

    @property
    def size(self) -> int:
        """About how much memory it takes now [byte]."""
        return AN_ENTRY * len(self.entries) + A_SAMPLE * sum(self.loaded)

    @property
    def key(self) -> str:
        return self.boat.state.hull

    @property
    def number(self) -> str:
        """The hull number as it is printed on the transom."""
        return hull_number.printed(self.boat.state.hull_number)

    @property
    def name(self) -> str:
        return " ".join(self.boat.vessel().name.split())

    @property
    def digest(self) -> str:
        """Equal for summaries made from the same entries and recordings, by the same managers."""
        return self._digest()

    @property
    def digest_of_book(self) -> str:
        """As `digest`, whatever books were issued meanwhile."""
        return self._digest(frozenset(one.entry.id for one in issued_books(self.boat)))

    def _digest(self, without: frozenset[str] = frozenset()) -> str:
        managers = self.boat.managers or () if self.has_settings else ()
        found = (*self.held.values(), self.lacking, managers)
        return _short([name for ids in found for name in (*sorted({*ids} - without), "")])

    @property
    def other_numbers(self) -> tuple[str, ...]:
        """Other hull numbers that are this boat."""
        return tuple(sorted(self.boat.state.hull_keys - {self.key}))

    @property
    def files(self) -> Mapping[str, str]:
        """Photos and recordings entered for it: what each is called, by the name it is kept under."""
        measured = (one for job in self.jobs for one in job.view.measurements)
        return {name: called for one in measured for name, called in [file_of(one)] if name}

    @property
    def photos(self) -> tuple[Photo, ...]:
        """Photos entered for it, with their arrows."""
        return tuple(photo for job in self.jobs for photo in self.photos_in(job))

    def photos_in(self, job: JobSummary, step: str = "") -> tuple[Photo, ...]:
        """Photos of a job, or those of one step."""
        return tuple(photo for photo in photos_of(job.view, self.host, step) if is_picture(photo))

    def photos_beside(self, job: JobSummary, step: StepOutline) -> list[list[Photo]]:
        """The photos of a step: for each of its findings those of what it is about, and last those of nothing found."""
        findings = [one.finding for one in step.found]
        photos = self.photos_in(job, step.step.key) if step.step is not None else ()
        return [[photo for photo in photos if nearest(photo, findings) is one] for one in (*findings, None)]

    def photos_to_look_at(self, job: JobSummary) -> tuple[Photo, ...]:
        """Photos of the steps of a job in which something fails, or is advised."""
        asking = {
            step.step.key
            for phase in job.phases
            for step in phase.steps
            if step.step is not None and any(one.finding.verdict in _ASKING for one in step.found)
        }
        return tuple(photo for photo in self.photos_in(job) if photo.place[0] in asking)

    @property
    def moved_away(self) -> tuple[tuple[str, str], ...]:
        """Jobs that were written here and moved elsewhere: (job, the other hull)."""
        jobs = {
            entry.job for entry in self.entries.values() if entry.job and entry.hull_key in self.boat.state.hull_keys
        }
        found = [(job, self.boat.state.moved_to(job)) for job in sorted(jobs)]
        return tuple((job, other) for job, other in found if other and job not in self.boat.staying)

    @property
    def waiting(self) -> tuple[Waiting, ...]:
        """Entries no plugin at work here reads, by the plugin they wait for: of a kind or of a step not known."""
        homes = {id(state): state for state in (self.boat.state, *self.boat.moved_in.values())}
        found: dict[str, list[Entry]] = {}
        for state in homes.values():
            for entry in state.unknown.values():
                found.setdefault(" and ".join(sorted(entry.plugins)) or entry.kind, []).append(entry)
            for kind, piece, fact, _ in facts_without_plugin(state.vessel()[0], self.host.equipment):
                held = state.current(RegisterKey("field", "", (kind, piece, fact)))
                found.setdefault(plugin_needed(kind, self.host.equipment), []).extend(held)
        at_work = {plugin.name for plugin in self.host.plugins}
        measured = {one.id: one for job in self.jobs for one in job.view.measurements}
        for name, one in measured.items():
            step = one.step
            if (check := self.host.check_awaited(step, one.field)) and name in self.entries:
                found.setdefault(check, []).append(self.entries[name])
            if self.host.step(step) is None and (of_step := self.entries.get(name)):
                found.setdefault(" and ".join(sorted(of_step.plugins.keys() - at_work)) or step, []).append(of_step)
        return tuple(Waiting(plugin, len(found[plugin]), self._names_of(found[plugin])) for plugin in sorted(found))

    def _names_of(self, entries: Sequence[Entry]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(register_in_words(register_of(entry), self.host) for entry in entries))

    @property
    def unreadable(self) -> tuple[Unreadable, ...]:
        """What was entered for it and cannot be read, each once."""
        of_jobs = (one for job in self.jobs for one in job.view.unreadable)
        return tuple({one.id: one for one in (*self.boat.state.unreadable(""), *of_jobs)}.values())

    @property
    def is_passing(self) -> bool:
        """Whether the next look may show more: a plugin was not asked as others asked for too long, or a recording is
        here and could not be read now."""
        return self.no_room or any(
            one.finding.code == code_for(one.calculator, BUSY) for job in self.jobs for one in job.assessed
        )

    @property
    def has_settings(self) -> bool:
        """Whether anything in it depends on whose settings hold."""
        return any(job.view.settings_set for job in self.jobs)

    def job_name(self, job: str) -> str:
        """What a person calls a job of this boat, also one that was moved away; with its id where two are called so."""
        known = {one.id: one.name for one in self.jobs}
        if job not in known:
            facts = {
                entry.subject[0]: value_in_words(entry.value)
                for entry in sorted(self.entries.values(), key=lambda entry: entry.clock)
                if entry.kind == "job" and entry.job == job and len(entry.subject) == 1
            }
            known[job] = _job_name(facts.get("kind", ""), facts.get("opened", ""))
        is_one = list(known.values()).count(known[job]) == 1
        return known[job] if is_one else f"{known[job]} ({job})"

    def job(self, job: str) -> JobSummary | None:
        return next((one for one in self.jobs if one.id == job), None)

    def choice(self, token: str) -> tuple[HullState, RegisterKey] | None:
        """The register a form means, with the state it is in."""
        for job in self.jobs:
            for state, key in disagreeing(self.boat, job.id):
                if token_of(key) == token:
                    return state, key
        return None


def _job_name(kind: str, opened: str) -> str:
    return f"{kind.capitalize() or 'Job'}, {written_at(opened) or 'no date'}"


def token_of(key: RegisterKey) -> str:
    """A short name of a register, for forms."""
    return _short([key.kind, key.job, *key.subject])


def seen_in(state: HullState, key: RegisterKey) -> str:
    """A short name of all current values of a register."""
    return _short([*state.heads(key)])


def _coverage_seen(state: HullState, job: str, judged: Sequence[Assessed]) -> str:
    """A short name of everything a sign-off written now covers, and of what stands on the page of it: a setting, a
    plugin or what is known of the boat may change that.
    """
    found = (one.finding for one in judged)
    return _short([*state.coverage(job), *(f"{one.code} {one.of} {one.verdict} {one.sentence}" for one in found)])


def _short(texts: Sequence[str]) -> str:
    return hashlib.sha256(canonical_bytes([*texts])).hexdigest()[:24]


def disagreeing(boat: Boat, job: str) -> tuple[tuple[HullState, RegisterKey], ...]:
    """What disagrees in a job and in the vessel it belongs to, each with the state it is in."""
    home = boat.state_of(job)
    found = [(home, key) for key in home.disagreements(job) if key.kind != "field"]
    found += [(holds, key) for key, holds in boat.fields(job).items() if holds.disagrees(key)]
    return tuple(sorted(found, key=lambda one: one[1]))


def register_in_words(key: RegisterKey, host: PluginHost, seen: JobView | None = None) -> str:
    """A register in the words the person saw.

    seen : its job, where the rows of tables are to be named
    """
    if key.kind == "measure" and len(key.subject) == 4:
        step, field, row, of = key.subject
        return place_in_words((step, field, row, of), host, seen)
    if key.kind == "field" and (key.first in host.equipment or is_own_kind(key.first)):
        return name_in_words("/".join(key.subject), host)
    if key.kind == "field":
        return fact_in_words("/".join(key.subject))
    if key.kind == "step" and key.subject:
        return name_in_words(name_of(key), host)
    if key.kind == "setting" and key.subject:
        titles = {setting.key: setting.field.title for setting in host.settings}
        return f"Setting: {titles.get(key.first, key.first)}"
    if key.kind == "move":
        return "The job this one was joined into" if key.subject == JOINING else "The hull this job was moved to"
    return kind_in_words(key.kind, key.subject)


def _not_covered(entries: Iterable[Entry], host: PluginHost, seen: JobView) -> tuple[str, ...]:
    """What entries are about, each once, in the order of the book."""
    registers = sorted({register_of(entry) for entry in entries}, key=name_of)
    return tuple(dict.fromkeys(register_in_words(one, host, seen) for one in registers))


class Summaries:
    """Summaries of boats, made when asked for, and again only when an entry or a recording of the boat arrived.

    The time to show a boat does not depend on how many others there are.
    """

    def __init__(
        self, store: Store, host: PluginHost, most: int = MOST_BOATS_KEPT, most_bytes: int = MOST_KEPT
    ) -> None:
        self._store, self._host, self._most, self._most_bytes = store, host, most, most_bytes
        self._kept: OrderedDict[str, BoatSummary] = OrderedDict()
        self._sizes: dict[str, int] = {}
        self._guard = threading.Lock()
        self._making: dict[str, threading.Lock] = {}
        self.longest_wait = LONGEST_WAIT

    def of(self, hull: str) -> BoatSummary | None:
        """The boat of a hull number; None when nothing is held of it, and for the shop's own record.

        errors : storage.NewerFormat
        """
        key = hull_number.key(hull)
        if key == SHOP_RECORD or not self._store.ids(key):
            return None
        with self._guard:
            making = self._making.setdefault(key, threading.Lock())
        if not making.acquire(timeout=self.longest_wait):
            return make_summary(self._store, self._host, key)  # a plugin takes long there; here it is not asked
        try:
            summary = self._kept.get(key)
            if summary is None or not self._is_fresh(summary):
                summary = make_summary(self._store, self._host, key)
            if summary.is_passing:
                return summary
            with self._guard:
                self._keep(key, summary)
            return summary
        finally:
            making.release()

    def _keep(self, key: str, summary: BoatSummary) -> None:
        """Keep a boat as the last one asked for, and let go of those that were not asked for longest."""
        self._kept[key] = summary
        self._kept.move_to_end(key)
        self._sizes[key] = summary.size
        held = sum(self._sizes.values())
        while len(self._kept) > 1 and (held > self._most_bytes or len(self._kept) > self._most):
            longest, _ = self._kept.popitem(last=False)
            self._making.pop(longest, None)
            held -= self._sizes.pop(longest)

    def _is_fresh(self, kept: BoatSummary) -> bool:
        return (
            all(self._store.ids(hull) == ids for hull, ids in kept.held.items())
            and not any(is_held(self._store.attachments, name) for name in kept.lacking)
            and not (kept.has_settings and kept.boat.managers != managers_devices(self._store.register))
        )


def is_held(attachments: AttachmentStore, name: str) -> bool:
    """Whether an attachment is held whole."""
    try:
        attachments.read(name, 0, 1)
    except (KeyError, AttachmentDamaged):
        return False
    return True


def open_boat(store: Store, hull: str) -> tuple[Boat, dict[str, Entry], dict[str, frozenset[str]]]:
    """Replay a boat's entries.

    returns : the boat, all its entries by id, and the ids read by every hull number, the shop's own record among them
    """
    held: dict[str, frozenset[str]] = {}
    entries: dict[str, Entry] = {}

    def entries_of(number: str) -> Sequence[Entry]:
        try:
            held[number] = store.ids(number)
        except NewerFormat:
            if number == hull:
                raise
            held[number] = frozenset()
        found = [view(name, raw) for name, raw in store.get(number, held[number]).items()] if held[number] else []
        if number != SHOP_RECORD:
            entries.update((entry.id, entry) for entry in found)
        return found

    return open_entries(entries_of, hull, managers_devices(store.register)), entries, held


def opened_again(store: Store, summary: BoatSummary) -> Boat:
    """A boat replayed once more from what a summary has read of it: a copy to try something in."""
    shop = [view(name, raw) for name, raw in store.get(SHOP_RECORD, summary.held.get(SHOP_RECORD, ())).items()]

    def entries_of(number: str) -> Sequence[Entry]:
        if number == SHOP_RECORD:
            return shop
        return [summary.entries[name] for name in summary.held.get(number, ()) if name in summary.entries]

    return open_entries(entries_of, summary.key, summary.boat.managers)


def make_summary(store: Store, host: PluginHost, hull: str) -> BoatSummary:
    """Replay and assess a boat."""
    boat, entries, held = open_boat(store, hull)
    recordings = _Recordings(store.attachments)
    jobs = tuple(
        _job_summary(boat, job, host, recordings.load, lambda name: store.attachments.sizes().get(name))
        for job in boat.jobs
    )
    figures = {figure_name(figure): figure for job in jobs for figure in _figures(one.finding for one in job.assessed)}
    return BoatSummary(
        boat=boat,
        jobs=jobs,
        entries=entries,
        held=held,
        lacking=frozenset(recordings.lacking),
        figures=figures,
        host=host,
        no_room=recordings.no_room,
        loaded=recordings.loaded,
    )


def jobs_of(store: Store) -> Iterator[JobView]:
    """Every job of the shop's, as it stands. Boats that cannot be read are passed over."""
    for hull in sorted(store.digests()):
        if hull == SHOP_RECORD:
            continue
        try:
            boat, _, _ = open_boat(store, hull)
        except (NewerFormat, InputError):
            continue
        recordings = _Recordings(store.attachments)
        yield from (boat.view(job, recordings.load) for job in boat.jobs)


def _figures(findings: Iterable[Finding]) -> Iterable[Figure]:
    return (figure for finding in findings for figure in finding.figures)


def told_apart(values: Sequence[Entry], size_of: Callable[[str], int | None]) -> tuple[str, ...]:
    """For each of several values what tells it from those that read the same: its file, and the second.

    size_of : the size of a file that is here whole [bytes]; None of another
    """
    said = [value_in_words(entry.value) for entry in values]
    return tuple(
        _marks(entry, size_of) if said.count(words) > 1 else "" for entry, words in zip(values, said, strict=True)
    )


def _marks(entry: Entry, size_of: Callable[[str], int | None]) -> str:
    name = entry.value.get("file") if isinstance(entry.value, dict) else None
    held = size_of(name) if isinstance(name, str) else None
    marks = [f"{held:,} bytes".replace(",", " ")] if held is not None else []
    marks += [f"file {name[:8]}" if isinstance(name, str) else f"entry {entry.id[:8]}"]
    clock = entry.at.partition("T")[2]
    marks += [f"at {clock[:8]}"] if clock[5:6] == ":" else []  # where the second was written
    return ", ".join(marks)


def _job_summary(
    boat: Boat,
    job: str,
    host: PluginHost,
    load: Callable[[str], Recording],
    size_of: Callable[[str], int | None],
) -> JobSummary:
    seen = boat.view(job, load)
    before = JudgedBefore()
    judged = host.assess(seen, None, before)
    assessed = as_typed(seen, judged, host)
    home = boat.state_of(job)
    choices = tuple(
        Choice(
            token_of(key),
            seen_in(state, key),
            register_in_words(key, host, seen),
            values,
            told_apart(values, size_of),
            may_be_two_rows(state, key),
        )
        for state, key in disagreeing(boat, job)
        for values in [state.current(key)]
    )
    stale = tuple(
        Stale(
            one.sign_off.subject[0] if one.sign_off.subject else "",
            " ".join(one.sign_off.subject[1:]) or one.sign_off.by,
            one.sign_off.at,
            _not_covered(one.not_covered, host, seen),
        )
        for one in home.stale(job)
    )
    punch = punch_list(seen, host, assessed)
    to_settle = {one.place for one in seen.disagreements}
    return JobSummary(
        id=job,
        view=seen,
        assessed=assessed,
        judged=judged,
        before=before,
        phases=by_phase(seen, host, assessed),
        punch_list=punch,
        choices=choices,
        stale=stale,
        bases=numbered_bases(one.finding for one in assessed),
        missing=tuple(_missing(seen, assessed, punch, len(choices))),
        coverage=_coverage_seen(home, job, judged),
        is_guest=job in boat.moved_in and job not in boat.state.jobs,  # a part that was joined may have been moved
        unused={
            place: why for place in map(place_of, seen.measurements) if (why := why_not_used(place, seen.vessel, host))
        },
        asked=tuple(one for one in questions(seen, host) if one.place is None or one.place not in to_settle),
        resolutions=tuple(
            (register_in_words(register_of(one.entry), host, seen), one) for one in home.resolutions(job)
        ),
        joined=tuple(
            joining for part in home.parts(job) for joining in home.current(RegisterKey("move", part, JOINING))
        ),
        aside=aside_in(home, job),
    )


def _missing(view: JobView, assessed: Sequence[Assessed], punch: Sequence[PunchItem], choices: int) -> Iterable[str]:
    """What keeps a job from being handed over, in the order to go through it."""
    found = counts(assessed)
    others = [item for item in punch if item.why not in ("fails", "values disagree")]
    if choices:
        yield f"{in_number(choices, 'disagreement')} to settle"
    if found[Verdict.FAIL]:
        yield f"{in_number(found[Verdict.FAIL], 'check')} {'fails' if found[Verdict.FAIL] == 1 else 'fail'}"
    if others:
        item = "item" if len(others) == len(punch) else "more item"  # what fails stands on it too
        yield f"{in_number(len(others), item)} open on the punch list"
    if found[Verdict.NOT_ENOUGH_DATA]:
        without = found[Verdict.NOT_ENOUGH_DATA]
        yield f"{in_number(without, 'check')} without enough data"
    signed = [one for one in view.sign_offs if one.role == SIGNED_BEFORE_HAND_OVER]
    if not signed:
        yield f"no {SIGNED_BEFORE_HAND_OVER} has signed"
    elif all(one.stale for one in signed):
        yield f"the {SIGNED_BEFORE_HAND_OVER} signed before later changes"


def recordings_of(store: Store) -> Callable[[str], Recording]:
    """Loads the recordings a store holds, each once."""
    return _Recordings(store.attachments).load


class _Recordings:
    """Loads recordings out of a store of attachments, each once."""

    def __init__(self, attachments: AttachmentStore) -> None:
        self.lacking: set[str] = set()
        self.no_room = False
        self.load = lru_cache(maxsize=MOST_RECORDINGS)(self._load)
        self.loaded = deque[int](maxlen=MOST_RECORDINGS)
        """Samples of those read last: as many recordings as are held."""
        self._attachments = attachments

    def _load(self, name: str) -> Recording:
        found = self._read(name)
        self.loaded.append(sum(map(len, found.streams.values())))
        return found

    def _read(self, name: str) -> Recording:
        from garboard.recordings import load_recording

        try:
            with ScratchFolder("recording") as folder:
                path, digest = Path(folder) / "recording", hashlib.sha256()
                with path.open("wb") as file:
                    while piece := self._attachments.read(name, file.tell(), _PIECE):
                        digest.update(piece)
                        file.write(piece)
                if digest.hexdigest() != name:  # it would still read, as another
                    raise AttachmentDamaged(name)
                return load_recording(path)[0]
        except (KeyError, AttachmentDamaged):
            self.lacking.add(name)
            raise NotEnoughData(f"recording {name[:12]} is not here yet; bring its tablet ashore") from None
        except InputError as failure:
            raise NotEnoughData(f"recording {name[:12]} cannot be read: {in_words(failure)}") from None
        except OSError as failure:  # of the disk it is read on, not of the recording: another look may read it
            self.no_room = True
            now = f"recording {name[:12]} cannot be read now: {in_words(failure)}"
            raise NotEnoughData(f"{now}. Free some space on the shop's machine, then look again") from None


def file_of(measurement: Measurement) -> tuple[str, str]:
    """The name a measurement's photo or recording is kept under, and what it is called; "" for other values."""
    value = measurement.value
    name = value.get("file") if isinstance(value, dict) else None
    if not isinstance(value, dict) or not isinstance(name, str):
        return "", ""
    called = value.get("name")
    return name, called if isinstance(called, str) and called else name


def history_name(measurement: Measurement) -> str:
    """The name of a measurement's register, for a link to its history."""
    key = RegisterKey("measure", "", (measurement.step, measurement.field, measurement.row, measurement.of))
    return name_of(key)
