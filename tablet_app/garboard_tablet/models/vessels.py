"""The list of vessels. It loads neither plugins nor hull files before they are needed: the app opens with it."""

from __future__ import annotations

import json
from collections.abc import Sequence

import attrs

from garboard import hull_number, storage
from garboard.faults import InputError
from garboard.journal import file_name
from garboard_tablet.models.tablet import DONE_STATES, Tablet

SUMMARIES_FILE = "summaries.json"


@attrs.frozen(kw_only=True)
class VesselLine:
    """One hull in the list of vessels.

    stamp : tells whether the line is still true of the hull's file
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

    @property
    def share(self) -> str:
        return f"{self.done} of {self.total} steps done"

    def matches(self, words: str) -> bool:
        """Whether a search finds this vessel: by any part of its number or its name."""
        wanted = "".join(words.split()).casefold()
        return wanted in self.hull.casefold() or wanted in "".join(self.name.split()).casefold()


@attrs.define
class VesselList:
    """The hulls on this tablet. Lines are kept in a file, so that the first page needs no plugin and no hull file."""

    tablet: Tablet
    lines: dict[str, VesselLine] = attrs.field(factory=dict)

    def read(self) -> None:
        """Take the lines as they were kept; wrong ones are put right by `refresh`."""
        try:
            plain = json.loads((self.tablet.folder / SUMMARIES_FILE).read_bytes())
            self.lines = {line["hull"]: VesselLine(**line) for line in plain}
        except (OSError, ValueError, TypeError, KeyError):
            self.lines = {}

    def stale(self) -> tuple[str, ...]:
        """Hulls whose line is missing or no longer true."""
        here = self.tablet.files.hulls()
        for gone in self.lines.keys() - set(here):
            del self.lines[gone]
        return tuple(hull for hull in here if hull not in self.lines or self.lines[hull].stamp != self.stamp(hull))

    def refresh(self, hull: str) -> None:
        """Work out one hull's line anew."""
        self.lines[hull] = vessel_line(self.tablet, hull, self.stamp(hull))

    def keep(self) -> None:
        """Keep the lines for the next start."""
        plain = [attrs.asdict(line) for line in self.lines.values()]
        storage.write_whole(self.tablet.folder / SUMMARIES_FILE, [json.dumps(plain, ensure_ascii=False).encode()])

    def found(self, words: str) -> tuple[VesselLine, ...]:
        """Lines that a search finds, the latest saved first."""
        found = [line for line in self.lines.values() if line.matches(words)]
        return tuple(sorted(found, key=lambda line: (line.saved, line.hull), reverse=True))

    def stamp(self, hull: str) -> str:
        path = self.tablet.files.folder / "hulls" / file_name(hull)
        try:
            return str(path.stat().st_size)
        except OSError:
            return ""


def vessel_line(tablet: Tablet, hull: str, stamp: str = "") -> VesselLine:
    """A hull's line from its file."""
    from garboard_tablet.models.pages import phase_of

    state = tablet.fold(hull)
    jobs = state.jobs
    vessel, _ = state.vessel()
    saved = max((entry.at for slot in state.slots.values() for entry in slot.entries.values()), default="")
    job = jobs[-1] if jobs else ""
    states = [tablet.view(hull, job).state_of(step.key) for step in tablet.host.steps] if job else []
    return VesselLine(
        hull=hull,
        hull_number=printed(state.hull_number),
        name=vessel.name,
        job=job,
        phase=phase_of(tablet, hull, job) if job else "no job yet",
        done=sum(one in DONE_STATES for one in states),
        total=len(states),
        saved=saved[:16].replace("T", " "),
        stamp=stamp,
    )


def printed(text: str) -> str:
    """A hull number as it is printed; as typed when it is not well formed."""
    try:
        return hull_number.parse(text).text
    except InputError:
        return text


@attrs.frozen
class HullCheck:
    """What to say about a hull number as typed.

    faults : what is wrong with it, position by position; it can be used all the same when the transom says so
    doubts : what to look at again
    offers : numbers it may be meant for: look-alikes on this tablet, and plain repairs
    known  : the vessel of that number on this tablet
    """

    text: str
    faults: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    offers: tuple[str, ...] = ()
    known: VesselLine | None = None


def check_hull(text: str, lines: Sequence[VesselLine]) -> HullCheck:
    """Check a hull number as typed against the rules and against the vessels here."""
    if not text.strip():
        return HullCheck("", faults=("Type the number on the transom.",))
    known = next((line for line in lines if line.hull == hull_number.key(text)), None)
    offers = (
        *hull_number.look_alikes(text, [line.hull_number for line in lines]),
        *hull_number.repair_suggestions(text),
    )
    try:
        number = hull_number.parse(text)
    except InputError as failure:
        faults = tuple(str(fault) for fault in failure.faults)
        return HullCheck(text, faults=faults, offers=tuple(dict.fromkeys(offers)), known=known)
    return HullCheck(number.text, doubts=number.doubts, offers=tuple(dict.fromkeys(offers)), known=known)
