"""The list of vessels. It loads neither plugins nor hull files before they are needed: the app opens with it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import attrs

from garboard import hull_number
from garboard.disk.clock import is_ahead, latest_here, moment_in_words
from garboard.disk.documents import FOLDER, Document, Kind, numbered
from garboard.disk.formats import Format
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import file_name
from garboard.disk.sizes import changed
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError, in_number
from garboard.report.handed_over import handed_over_in_words
from garboard_tablet.language import phrase
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import CLOSED, FAILS, HANDED_OVER, NOT_NAMED, Tablet

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.records import Job, Vessel

FILE = f"{FOLDER}/vessels.json"
LINES, ASHORE = "vessels", "ashore"
"""Its tables: a line for each boat, and for each hull what was last known to be at the shop."""
_FORMER_LINES, _FORMER_ASHORE = "summaries.json", "ashore.json"

MOST_COUNTED = 1_000_000
"""More steps or checks no line counts: it was not written by this program."""
RULES = 2
"""By which rules a line is made. One more with each change of what a kept line would say of the same files."""
MOST_PEOPLE, LONGEST_NAME = 17, 40
"""So many people are offered to choose from; a name of more characters is typed."""


def _as_tables(plain: dict[str, Any]) -> dict[str, Any]:
    marks = plain.get(_FORMER_ASHORE, {})
    return {
        LINES: numbered(plain.get(_FORMER_LINES, [])),
        ASHORE: numbered({"hull": hull, "stamp": marks[hull]} for hull in marks),
    }


VESSELS = Kind(
    Format("garboard vessel list", (_as_tables,)),
    cure="The list is made anew from the boats' files: there is nothing to do.",
    former=(_FORMER_LINES, _FORMER_ASHORE),
)


@attrs.frozen(kw_only=True)
class VesselLine:
    """One hull in the list of vessels.

    also   : keys of its other hull numbers
    guests : keys of hull numbers that jobs were moved here from, or are on their way to
    stamp  : tells whether the line is still true of the files it comes from
    plugins : tells whether it is still true of the plugins that run
    rules  : by which it was made; 0 in the lines of older programs
    lacking : photos and recordings that were not here: with one that came it is worked out anew
    open   : how many of its jobs are neither handed over nor set aside
    fails  : checks of a boat handed over that fail
    left   : what else stands on its punch list then, or has come since
    undone : steps of a boat handed over that are still to do
    people : who entered anything about it, the latest first
    failing : how many checks of each of its jobs fail, as far as it was worked out here since the app is used
    day    : its steps in the order of the day, a letter each: "x" where nothing is left to do, "-" where something is
    next_step : what the first step still to do is called
    """

    hull: str
    hull_number: str
    name: str
    job: str
    phase: str
    done: int
    total: int
    saved: str
    stamp: str
    also: tuple[str, ...] = ()
    guests: tuple[str, ...] = ()
    fails: int = 0
    left: int = 0
    undone: int = 0
    open: int = 1
    people: tuple[str, ...] = ()
    failing: Mapping[str, int] = attrs.field(factory=dict)
    day: str = ""
    next_step: str = ""
    plugins: str = ""
    rules: int = 0
    lacking: tuple[str, ...] = ()

    @property
    def fails_now(self) -> int:
        """Checks that fail in its job; one handed over is counted anew with each line."""
        return self.fails if self.phase == HANDED_OVER else self.failing.get(self.job, 0)

    @property
    def fails_elsewhere(self) -> int:
        """Checks that fail in its other jobs."""
        return sum(count for job, count in self.failing.items() if job != self.job)

    @property
    def stands(self) -> str:
        """How the job stands, in words: what fails in it or in another job, and what is open of one handed over."""
        is_over = self.phase == HANDED_OVER
        counted = (
            in_number(self.fails_now, *FAILS) if self.fails_now and not is_over else "",
            phrase("{fails} in other jobs", fails=in_number(self.fails_elsewhere, *FAILS))
            if self.fails_elsewhere
            else "",
            phrase("{steps} to do", steps=in_number(self.undone, "step")) if self.undone else "",
        )
        phase = handed_over_in_words(self.fails + self.left) if is_over else self.phase
        return ", ".join(filter(None, (phase, *counted)))

    @property
    def is_in_order(self) -> bool:
        """Whether it is handed over, and nothing of it asks for anything."""
        return self.phase == HANDED_OVER and not (
            self.fails_now or self.fails_elsewhere or self.left or self.undone or self.open
        )

    @property
    def worst(self) -> str:
        """What stands beside the name: the worst of it, counted; else how far its day is."""
        if self.fails_now or self.fails_elsewhere:
            return f"{self.fails_now or self.fails_elsewhere} fail"
        if self.left or self.undone:
            return f"{self.left + self.undone} open"
        return self.share if self.total and self.phase not in CLOSED else ""

    @property
    def what_next(self) -> str:
        """What is to be done next; of a boat handed over, how it stands."""
        if self.phase in CLOSED or not self.next_step:
            return f"{self.stands[:1].upper()}{self.stands[1:]}"
        elsewhere = f"{in_number(self.fails_elsewhere, *FAILS)} in other jobs" if self.fails_elsewhere else ""
        return ". ".join(filter(None, (f"Next: {self.next_step}", elsewhere)))

    @property
    def files(self) -> tuple[str, ...]:
        """Keys of the hulls whose files the line comes from."""
        return (self.hull, *self.also, *self.guests)

    @property
    def numbers(self) -> str:
        """Its number, and the others it has."""
        return ", also ".join((self.hull_number, *map(hull_number.printed, self.also)))

    @property
    def saved_words(self) -> str:
        """When it was last saved; a time ahead of this tablet's clock says so, as one of two clocks is wrong then."""
        saved = moment_in_words(self.saved)
        return phrase("{saved} (by a clock ahead of this one)", saved=saved) if is_ahead(self.saved) else saved

    @property
    def job_meant(self) -> str:
        """The job a press on the boat means; "" where several are open: no clock says which of them is meant."""
        return self.job if self.open < 2 else ""

    @property
    def share(self) -> str:
        return phrase("{done} of {steps}", done=self.done, steps=in_number(self.total, "step"))

    def matches(self, words: str) -> bool:
        """Whether a search finds this vessel: by any part of its number or its name, or by its sticker scanned."""
        wanted = hull_number.sought("".join(hull_number.scanned(words).split()))
        return any(wanted in hull_number.sought(text) for text in (self.hull, *self.also, "".join(self.name.split())))


@attrs.frozen
class LineMade:
    """A line as it was made.

    jobs   : of the boat
    judged : how many checks fail, of each job that was to be judged
    read   : how each file was just before it was read for it
    """

    line: VesselLine
    jobs: tuple[str, ...]
    judged: Mapping[str, int]
    read: Mapping[str, str]

    def is_true_of(self, files: HullFolder) -> bool:
        """Whether nothing was written since in the files it comes from."""
        return all(before == as_it_is(files, hull) for hull, before in self.read.items())


@attrs.define
class VesselList:
    """The hulls on this tablet. Lines are kept in a file, so that the first page needs no plugin and no hull file."""

    tablet: Tablet
    lines: dict[str, VesselLine] = attrs.field(factory=dict)
    is_looked_through: bool = False
    """Whether the boats' files were read since the start: before, an empty list does not say that there is none."""
    to_read: dict[str, None] = attrs.field(factory=dict)
    """Hulls whose line is missing or no longer true, and is being made beside the drawing thread: see `VesselWatch`."""
    _kept: tuple[VesselLine, ...] | None = None

    @property
    def document(self) -> Document:
        return Document(self.tablet.folder / FILE, VESSELS)

    def read(self) -> None:
        """Take the lines as they were kept; wrong ones are put right by `refresh`. Raises storage.NewerFormat."""
        document = self.document

        def read() -> dict[str, VesselLine]:
            lines = filter(None, map(_line_kept, document.rows(LINES)))
            return {line.hull: line for line in lines}

        self.lines = document.read_or_begin_anew(read, self.tablet.damaged)
        self._kept = self.snapshot()

    def snapshot(self) -> tuple[VesselLine, ...]:
        """The lines as they are now, for a thread that must not see the list change."""
        return tuple(self.lines.values())

    def take(self, found: Differences) -> tuple[str, ...]:
        """Drop the lines of hulls that are gone; the hulls whose line is still to be put right."""
        for line in found.gone:
            if self.lines.get(line.hull) is line:  # put right meanwhile, it is no longer the line that was looked at
                del self.lines[line.hull]
        looked_at, listed = set(map(id, found.lines)), self._listed()
        made = {hull for hull in found.changed if hull in listed and id(listed[hull]) not in looked_at}
        return tuple(hull for hull in found.changed if hull not in made or not self._is_true(listed[hull]))

    def _listed(self) -> dict[str, VesselLine]:
        """The line of each number in the list."""
        return {hull: line for line in self.lines.values() for hull in (line.hull, *line.also)}

    def _is_true(self, line: VesselLine) -> bool:
        return is_true(self.tablet.files, line, self.tablet.plugin_set)

    def stale(self) -> tuple[str, ...]:
        """Hulls whose line is missing or no longer true."""
        return self.take(differences(self.tablet.files, self.snapshot(), self.tablet.plugin_set))

    def refresh(self, hull: str) -> None:
        """Work out one boat's line anew before going on, whichever of its numbers is given."""
        known = self.known(hull)
        fresh = vessel_line(self.tablet, known.hull if known else hull)
        stamp = self.stamp(*fresh.files)  # taken first: what comes meanwhile outdates it
        fresh = attrs.evolve(fresh, stamp=stamp if self._is_of_all(fresh.hull) else "")
        for parted in self._put(known, fresh, self.tablet.boat(fresh.hull).jobs, {}):
            self.refresh(parted)

    def take_made(self, hull: str, made: LineMade) -> bool:
        """Put a line that was made beside this thread in its place.

        hull    : as it stands in `to_read`
        returns : False where a file changed since it was read for the line, which is no longer true then
        """
        if not made.is_true_of(self.tablet.files):
            return False
        for number in (hull, made.line.hull, *made.line.also):
            self.to_read.pop(number, None)
        parted = self._put(self.known(hull), made.line, made.jobs, made.judged)
        self.to_read |= dict.fromkeys(parted)
        return True

    def known(self, hull: str) -> VesselLine | None:
        """The line that a hull's boat has in the list, whichever of its numbers is given."""
        return next((line for line in self.lines.values() if hull in line.also), self.lines.get(hull))

    def is_being_read(self, line: VesselLine) -> bool:
        """Whether what a line says may be older than the boat's files."""
        return any(hull in self.to_read for hull in (line.hull, *line.also))

    @property
    def has_all(self) -> bool:
        """Whether every boat has a line, as far as the files were looked through: it may be an older one."""
        return self.to_read.keys() <= self._listed().keys()

    def _put(
        self, known: VesselLine | None, fresh: VesselLine, jobs: Collection[str], judged: Mapping[str, int]
    ) -> set[str]:
        """Put a boat's line in the place of the one known. What fails in a job that was not judged stays as known.

        jobs    : of the boat
        judged  : how many checks fail, of each job that was judged by the plugins that run
        returns : numbers that are no longer of this boat
        """
        for other in (*((known.hull,) if known else ()), *fresh.also):
            self.lines.pop(other, None)
        failing, plugins = dict(known.failing) if known else {}, self.tablet.plugin_set
        failing = {job: count for job, count in {**failing, **judged}.items() if count and job in jobs}
        if known is not None and known.plugins != plugins and not failing.keys() <= judged.keys():
            plugins = known.plugins  # until they are judged anew, perhaps after the next start
        self.lines[fresh.hull] = attrs.evolve(fresh, failing=failing, plugins=plugins)
        return {known.hull, *known.also} - {fresh.hull, *fresh.also} if known else set()

    def _is_of_all(self, hull: str) -> bool:
        """Whether the boat was made of all its files hold: what comes is on the disk before the boat takes it in."""
        state = self.tablet.boat(hull).state
        with suppress(NewerFormat, OSError):  # of a file that cannot be read nothing comes
            return len(state) >= sum(map(self.tablet.files.count, state.hull_keys))
        return True

    def fails_of(self, hull: str, job: str) -> int:
        """How many checks of a job fail, as far as it was worked out here."""
        line = self._line_of(hull)
        return 0 if line is None else line.fails_now if job == line.job else line.failing.get(job, 0)

    def _line_of(self, hull: str) -> VesselLine | None:
        return next((line for line in self.lines.values() if hull in (line.hull, *line.also)), None)

    def note_fails(self, hull: str, job: str, fails: int) -> None:
        """Take what was found of a whole job into its boat's line."""
        line = self._line_of(hull)
        if line is not None:
            failing = {other: count for other, count in line.failing.items() if other != job}
            self.lines[line.hull] = attrs.evolve(line, failing={**failing, job: fails} if fails else failing)

    def keep(self) -> None:
        """Keep the lines for the next start, where any changed."""
        if self._kept != self.snapshot():
            self.document.put_rows(LINES, "hull", map(attrs.asdict, self.lines.values()))
            self._kept = self.snapshot()

    def found(self, words: str) -> tuple[VesselLine, ...]:
        """Lines that a search finds, the latest saved first."""
        found = [line for line in self.lines.values() if line.matches(words)]
        return tuple(sorted(found, key=lambda line: (line.saved, line.hull), reverse=True))

    def people(self) -> tuple[str, ...]:
        """People of the shop, as far as this tablet knows them: first who worked with it, then who worked on boats."""
        lines = self.found("")
        names = (*self.tablet.settings.people, *(name for line in lines for name in line.people))
        return tuple(dict.fromkeys(names))[:MOST_PEOPLE]

    def stamp(self, *hulls: str) -> str:
        """Tells whether anything was written in the files of these hulls since."""
        return stamp(self.tablet.files, hulls)


@attrs.frozen
class Differences:
    """Where lines differ from the files.

    gone    : lines of hulls that have no file any more
    changed : hulls whose line is missing or no longer true
    lines   : that were looked at; one made meanwhile is another
    """

    gone: tuple[VesselLine, ...]
    changed: tuple[str, ...]
    lines: Sequence[VesselLine]


def differences(files: HullFolder, lines: Sequence[VesselLine], plugins: str) -> Differences:
    """Compare lines with the files they come from. It changes nothing: any thread may call it.

    plugins : those that run; see `Tablet.plugin_set`
    """
    here = files.boats()
    among = set(here)
    gone = tuple(line for line in lines if line.hull not in among)
    still = [line for line in lines if line.hull in among]
    told = {hull for line in still for hull in (line.hull, *line.also)}
    changed = [line.hull for line in still if not is_true(files, line, plugins)]
    return Differences(gone, (*(hull for hull in here if hull not in told), *changed), lines)


def is_true(files: HullFolder, line: VesselLine, plugins: str) -> bool:
    """Whether a line would be made the same again: of the same entries, files and plugins."""
    is_as_made = line.plugins == plugins and line.stamp == stamp(files, line.files)
    return is_as_made and not any(name in files.attachments for name in line.lacking)


def stamp(files: HullFolder, hulls: Iterable[str]) -> str:
    """Tells whether anything was written in the files of these hulls since."""
    return stamp_of(as_it_is(files, hull) for hull in hulls)


def as_it_is(files: HullFolder, hull: str) -> str:
    """A file's length and when it changed: another tablet's, or one put back, may be as long and hold other values."""
    try:
        found = (files.folder / "hulls" / file_name(hull)).stat()
    except OSError:
        return ""
    return f"{found.st_size} {changed(found)}"


def _line_kept(row: Mapping[str, Any]) -> VesselLine | None:
    """A line as it was kept; None for one that is not as it was written, which is made anew. JSON has no tuples."""
    known = {name: row[name] for name in _IN_A_LINE if name in row}
    if not all(_IN_A_LINE[name](value) for name, value in known.items()) or not known.keys() >= _NEEDED:
        return None
    if known.get("rules") != RULES:
        known["stamp"] = ""  # of another version: worked out anew
    fields: dict[str, Any] = {name: tuple(one) if isinstance(one, list) else one for name, one in known.items()}
    return VesselLine(**fields)


def _is_count(value: object) -> bool:
    return type(value) is int and 0 <= value < MOST_COUNTED


_KINDS: Mapping[str, Callable[[Any], bool]] = {
    "str": lambda value: isinstance(value, str),
    "int": _is_count,
    "tuple[str, ...]": lambda value: isinstance(value, list) and all(isinstance(one, str) for one in value),
    "Mapping[str, int]": lambda value: isinstance(value, dict) and all(map(_is_count, value.values())),
}
_IN_A_LINE = {name: _KINDS[str(field.type)] for name, field in attrs.fields_dict(VesselLine).items()}
_NEEDED = {name for name, field in attrs.fields_dict(VesselLine).items() if field.default is attrs.NOTHING}


def stamp_of(stamps: Iterable[str]) -> str:
    """One stamp of several files."""
    return "+".join(stamps)


def vessel_line(tablet: Tablet, number: str) -> VesselLine:
    """A boat's line from the files it is in, without its stamp."""
    from garboard_tablet.models.pages import phase_of

    hull = tablet.listed(number)
    boat = tablet.boat(hull)
    from garboard.steps import is_open  # steps load the records, which the first frame does without

    vessel = boat.vessel()
    registers = [*boat.state.registers.values()]
    registers += [
        register for job, home in boat.moved_in.items() for key, register in home.registers.items() if key.job == job
    ]
    saved = latest_here({entry.at for register in registers for entry in register.entries.values()})
    job = latest_job(tablet, hull)
    phase = phase_of(tablet, hull, job) if job else _without_job(tablet, hull)
    fails, left, undone = _left_open(tablet, hull, job) if phase == HANDED_OVER else (0, 0, 0)
    steps = tablet.host.steps if job else ()
    still_open = [is_open(tablet.view(hull, job), step) for step in steps]
    to_do = next((step.title for step, left in zip(steps, still_open, strict=True) if left), "")
    return VesselLine(
        hull=hull,
        hull_number=hull_number.printed(boat.state.hull_number),
        name=vessel.name,
        job=job,
        phase=phase,
        fails=fails,
        left=left,
        undone=undone,
        open=_open_jobs(tablet, hull),
        done=still_open.count(False),
        total=len(still_open),
        day="".join("-" if left else "x" for left in still_open),
        next_step=to_do,
        saved=saved,
        stamp="",
        also=tuple(sorted(boat.state.hull_keys - {hull})),
        people=_people(entry for register in registers for entry in register.entries.values()),
        guests=tuple(sorted({*boat.hulls, *(half.entry.hull_key for half in boat.unfinished)} - boat.state.hull_keys)),
        rules=RULES,
        lacking=tuple(sorted(_lacking(tablet, hull))),
    )


def _lacking(tablet: Tablet, hull: str) -> set[str]:
    """Photos and recordings that a boat's jobs name and this tablet does not hold."""
    measured = (one.value for job in tablet.boat(hull).jobs for one in tablet.view(hull, job).measurements)
    named = {str(value["file"]) for value in measured if isinstance(value, dict) and "file" in value}
    return {name for name in named if name not in tablet.files.attachments}


def _open_jobs(tablet: Tablet, hull: str) -> int:
    from garboard_tablet.models.pages import phase_of

    jobs = tablet.boat(hull).jobs
    return sum(phase_of(tablet, hull, job) not in CLOSED for job in jobs)


def _people(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Who entered what stands or stood, the latest first. Who signs is not among them: the owner signs too."""
    own = sorted((entry for entry in entries if entry.kind != "signoff"), key=lambda entry: entry.clock, reverse=True)
    names = dict.fromkeys(entry.by for entry in own if entry.by not in ("", NOT_NAMED))
    return tuple(name for name in names if len(name) <= LONGEST_NAME and name.isprintable())[:MOST_PEOPLE]


def _left_open(tablet: Tablet, hull: str, job: str) -> tuple[int, int, int]:
    """How many checks of a job fail, what else stands on its punch list, and how many steps are still to do."""
    from garboard_tablet.models.pages import what_is_missing

    missing = what_is_missing(tablet, hull, job, tablet.assess(hull, job))
    fails = sum(line.why == "fails" for line in missing)
    undone = sum(line.why == "to do" for line in missing)
    return fails, len(missing) - fails - undone, undone


def latest_job(tablet: Tablet, hull: str) -> str:
    """The job on a boat that was opened last; "" when there is none."""
    boat = tablet.boat(hull)
    if not boat.moved_in:
        return boat.jobs[-1] if boat.jobs else ""
    return max(reversed(boat.jobs), key=lambda job: tablet.view(hull, job).job.opened)


def when_opened(record: Job) -> str:
    """A job from a file may say no day."""
    return (
        phrase("opened {opened}", opened=moment_in_words(record.opened))
        if record.opened
        else phrase("no day of opening")
    )


def told_apart(tablet: Tablet, hull: str) -> dict[str, str]:
    """The jobs of a boat, each with when it was opened; its id too, where another reads the same."""
    records = {job: tablet.view(hull, job).job for job in tablet.boat(hull).jobs}
    alike = Counter((record.kind, record.opened) for record in records.values())
    return {
        job: when_opened(record) + (phrase(", job {job}", job=job) if alike[record.kind, record.opened] > 1 else "")
        for job, record in records.items()
    }


def moved_away(tablet: Tablet, hull: str) -> dict[str, str]:
    """Jobs written under a hull number and moved to another boat, each with the key of that one."""
    state = tablet.state_of(hull)
    jobs = sorted({key.job for key in state.registers if key.job})
    return {job: target for job in jobs if (target := state.moved_to(job))}


def _without_job(tablet: Tablet, hull: str) -> str:
    targets = sorted({hull_number.printed(target) for target in moved_away(tablet, hull).values()})
    return phrase("job moved to {targets}", targets=", ".join(targets)) if targets else "no job yet"


def vessel_name(tablet: Tablet, hull: str) -> str:
    """What a vessel is called: its name, else its hull number."""
    return tablet.boat(hull).vessel().name or number_of(tablet, hull)


def number_of(tablet: Tablet, hull: str) -> str:
    """Its hull number as it is printed."""
    return hull_number.printed(tablet.state_of(hull).hull_number)


def whose(tablet: Tablet, route: Route) -> str:
    """Whose page a route is: name and hull number; "" for a page about no vessel."""
    if not route.hull:
        return ""
    name, number = vessel_name(tablet, route.hull), number_of(tablet, route.hull)
    return f"{name}, {number}" if name != number else number


@attrs.frozen
class HullCheck:
    """What to say about a hull number as typed.

    faults  : what is wrong with what is typed, position by position; it can be used all the same when it stands so
    lacks   : what is still to be typed
    reading : what a well-formed number says, to compare with what is known of the boat; "" for any other
    doubts  : what to look at again
    offers  : numbers it may be meant for: look-alikes on this tablet, and plain repairs
    known   : the vessel of that number on this tablet
    """

    text: str
    faults: tuple[str, ...] = ()
    lacks: str = ""
    reading: str = ""
    doubts: tuple[str, ...] = ()
    offers: tuple[str, ...] = ()
    known: VesselLine | None = None


def check_hull(text: str, lines: Sequence[VesselLine]) -> HullCheck:
    """Check a hull number as typed against the rules and against the vessels here."""
    if not text.strip():
        return HullCheck("", lacks="12 letters and numerals, the maker's code first.")
    known = next((line for line in lines if hull_number.key(text) in (line.hull, *line.also)), None)
    offers = (
        *hull_number.look_alikes(text, [line.hull_number for line in lines]),
        *hull_number.repair_suggestions(text),
    )
    try:
        number = hull_number.parse(text)
    except InputError as failure:
        is_short = _completed(text) != text
        faults = _faults(_completed(text)) if is_short else tuple(str(fault) for fault in failure.faults)
        lacks = (
            phrase("{count} of 12 characters, or of 14 with a country code in front.", count=len(hull_number.key(text)))
            if is_short
            else ""
        )
        return HullCheck(text, faults=faults, lacks=lacks, offers=tuple(dict.fromkeys(offers)), known=known)
    return HullCheck(
        number.text,
        reading=_reading(number),
        doubts=number.doubts,
        offers=tuple(dict.fromkeys(offers)),
        known=known,
    )


_WELL_FORMED = "AAA11111A126"
_WITH_COUNTRY = f"AA{_WELL_FORMED}"


def _completed(text: str) -> str:
    """A number that is not yet whole with the rest of a well-formed one: what is wrong with it then is already typed.

    >>> _completed("XYZ0I"), _completed("CA-XYZ")
    ('XYZ0I111A126', 'CA-XYZ11111A126')
    """
    whole = _WITH_COUNTRY if text[2:3] == "-" else _WELL_FORMED
    return text + whole[len(hull_number.key(text)) :]


def _faults(text: str) -> tuple[str, ...]:
    try:
        hull_number.parse(text)
    except InputError as failure:
        return tuple(str(fault) for fault in failure.faults)
    return ()


def _reading(number: hull_number.HullNumber) -> str:
    from calendar import month_name

    country = phrase(", country {country}", country=number.country) if number.country else ""
    return phrase(
        "Maker {maker}, serial {serial}, {month} of a year ending in {year_digit}, model year {model_year}{country}.",
        maker=number.maker,
        serial=number.serial,
        month=month_name[number.month],
        year_digit=number.year_digit,
        model_year=number.model_year,
        country=country,
    )


def propellers_in_words(vessel: Vessel) -> str:
    """What is fitted now, an engine after the other; "" where nothing is entered.

    >>> from garboard.records import Engine, Propeller, Vessel
    >>> from garboard.units import Amount
    >>> fitted = Propeller(diameter=Amount("14.5", "in"), pitch=Amount("19", "in"))
    >>> propellers_in_words(Vessel(hull_number="X", engines=(Engine(position="port", propeller=fitted),)))
    'port 14.5 in x 19 in'
    """
    from garboard.fittings import propeller_named

    told = []
    for engine in vessel.engines:
        fitted = propeller_named(vessel, engine, engine.fitted)
        if fitted is not None and fitted.working_pitch is not None:
            sizes = (fitted.diameter, fitted.working_pitch)
            told.append(f"{engine.position} {' x '.join(str(size) for size in sizes if size is not None)}")
    return ", ".join(told)
