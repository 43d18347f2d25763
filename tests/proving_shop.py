"""A shop of many full boats over sixty days, with known answers: what each page should say is decided here.

Every boat's fate is written down before anything judges it: what was wrong with it, who mended it and when, who signed.
Its entries are written as tablets write them, and come ashore on their days; each evening the shop brings its rows up
to date. `Answer` is what a person who followed the boat would say; nothing in it is read from the program.

The codes in `FAULTS` are common practice, no source: a horn that was not heard is a check that failed.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import attrs

from garboard import hull_number
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.disk.clock import HybridClock
from garboard.disk.entries import Entry
from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author, measure, sign_off, take_in
from garboard.history.authority import ON_THE_PAGE
from garboard.history.plans import plan_entries
from garboard.history.replay import HullState, replay
from garboard.job_files.job_file import JobFile, parse_job_file
from garboard.records import JsonValue
from garboard_shop.store import TECHNICIAN, Store, Tablet
from proving_boats import FULL, Compass, Twins, economy_of, forecast_of, slip_of, twin_job, with_change, with_compasses

NOW = 1_795_608_000_000
"""2026-11-25 12:00 UTC, a Wednesday [ms]; the week ends on Sunday 29 November."""
A_DAY = 24 * 60 * 60 * 1000
AN_HOUR = A_DAY // 24
DAYS = 60
MANAGER = "M. Office"
THIS_WEEK, NEXT_WEEK, LAST_WEEK = "2026-11-27", "2026-12-04", "2026-11-19"

Place = tuple[str, str, str, str]


@attrs.frozen
class Fault:
    """What is wrong with a boat: the codes of the checks that fail for it, one a check, and what is typed.

    wrong : values of places as found
    right : the same after it was put right
    pitch : of the propeller that is on it [in]
    """

    codes: tuple[str, ...]
    wrong: Mapping[Place, JsonValue]
    right: Mapping[Place, JsonValue]
    pitch: str = "17 in"


def _no(*places: Place) -> tuple[dict[Place, JsonValue], dict[Place, JsonValue]]:
    return dict.fromkeys(places, False), dict.fromkeys(places, True)


_RUNS: tuple[tuple[Place, str, str], ...] = (
    # with 19 in of pitch, with 17 in
    (("prop_check.full_throttle", "engine_speed", "1", "centre"), "4850 rev/min", "5600 rev/min"),
    (("prop_check.full_throttle", "engine_speed", "2", "centre"), "4840 rev/min", "5590 rev/min"),
    (("prop_check.full_throttle", "speed", "1", ""), "32.9 kn", "36.1 kn"),
    (("prop_check.full_throttle", "speed", "2", ""), "31.9 kn", "35.3 kn"),
    (("fuel_curve.steps", "nominal_engine_speed", "9", ""), "4700 rev/min", "5050 rev/min"),
    (("fuel_curve.steps", "speed_out", "9", ""), "31.7 kn", "33.4 kn"),
    (("fuel_curve.steps", "speed_back", "9", ""), "30.9 kn", "32.6 kn"),
    (("fuel_curve.steps", "fuel_flow", "9", "centre"), "12.0 gal/h", "12.6 gal/h"),
    (("fuel_curve.steps", "nominal_engine_speed", "10", ""), "4850 rev/min", "5600 rev/min"),
    (("fuel_curve.steps", "speed_out", "10", ""), "32.9 kn", "36.1 kn"),
    (("fuel_curve.steps", "speed_back", "10", ""), "31.9 kn", "35.3 kn"),
    (("fuel_curve.steps", "fuel_flow", "10", "centre"), "12.9 gal/h", "14.9 gal/h"),
    (("engine_trial.under_load", "step_speed", "3", ""), "4850 rev/min", "5600 rev/min"),
)
DROP: Place = ("wiring_audit.circuits", "drop", "", "Bilge pump")
SPEED: Place = ("prop_check.full_throttle", "speed", "2", "")
FAULTS: Mapping[str, Fault] = {
    "drop": Fault(("wiring_audit.drop_measured.poor_joint",), {DROP: "1.20 V"}, {DROP: "0.31 V"}),
    "label": Fault(
        ("wiring_audit.labels.unlabelled",), *_no(("wiring_audit.circuits", "label_present", "", "Baitwell light"))
    ),
    "walk": Fault(
        ("handover.check.failed", "handover.check.failed"),
        *_no(("handover.lights_and_horn", "horn", "", ""), ("handover.bilge_pumps", "by_float", "1", "")),
    ),
    "cut-off": Fault(
        ("engine_trial.first_start.cut_off_dead",), *_no(("engine_trial.first_start", "cut_off_stops", "", "centre"))
    ),
    "network": Fault(
        ("wiring_audit.network_terminators.one_missing",),
        {("wiring_audit.networks", "signal_resistance", "", "main"): "120 ohm"},
        {("wiring_audit.networks", "signal_resistance", "", "main"): "60 ohm"},
    ),
    "pitch": Fault(
        ("prop_check.window.below",),
        {place: labouring for place, labouring, _ in _RUNS},
        {place: free for place, _, free in _RUNS},
        pitch="19 in",
    ),
    "compass": Fault(("heading_calibration.swing.too_large",), {}, {}),
    "one engine": Fault(("prop_check.slip.below_zero", "prop_check.window.below"), {}, {}),
}
"""The last two are of a boat's own equipment: see `FATES`."""


@attrs.frozen(kw_only=True)
class Visit:
    """A tablet comes ashore with what was done to a boat since.

    day   : of the sixty
    what  : "whole", "alongside" or "nothing" (a job and a boat, nothing read); "mended", "read again", "second job",
            "changed" (a propeller), "other value" (a second tablet that never saw the first), "" for signatures alone
    signs : who signs after it
    """

    day: float
    what: str = ""
    signs: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Fate:
    """What becomes of a boat; see `FATES`.

    state   : where it ends
    fault   : of `FAULTS`, "" for none
    fails   : whether it still fails at the end
    stale   : whose signatures are stale at the end
    since   : which visit brought it into its state, from 0
    news    : which visit last told something new of it; the last one unless it only read the same again
    plan    : what a manager says of it, on the last visit's evening
    has     : its compasses, or its two engines; by default one engine and no compass
    foreseen : from where to where of the engine speed with the propeller tried [rev/min]
    """

    state: str
    visits: tuple[Visit, ...]
    fault: str = ""
    fails: bool = False
    stale: tuple[str, ...] = ()
    since: int = 0
    news: int = -1
    plan: Mapping[str, str] = attrs.field(factory=dict)
    has: tuple[Compass, ...] | Twins = ()
    foreseen: tuple[int, int] | None = None


BOTH = ("technician", "owner")


def _of(*visits: tuple[float, str] | tuple[float, str, tuple[str, ...]]) -> tuple[Visit, ...]:
    return tuple(Visit(day=one[0], what=one[1], signs=one[2] if len(one) > 2 else ()) for one in visits)


FATES: Sequence[Fate] = (
    Fate(state="handed over", visits=_of((4, "whole", BOTH))),
    Fate(state="handed over", visits=_of((8, "whole"), (12, "", BOTH)), since=1),
    Fate(state="handed over", fault="drop", visits=_of((20, "whole"), (26, "mended", BOTH)), since=1),
    Fate(state="handed over", fault="label", fails=True, visits=_of((30, "whole", BOTH))),
    Fate(state="handed over", fault="walk", fails=True, visits=_of((33, "whole"), (35, "", BOTH)), since=1),
    Fate(state="to settle", visits=_of((40, "whole"), (41, "other value")), since=1),
    Fate(state="to settle", visits=_of((45, "whole", BOTH), (47, "other value")), since=1, stale=BOTH),
    Fate(state="failing", fault="drop", fails=True, visits=_of((50, "whole"))),
    Fate(
        state="failing",
        fault="cut-off",
        fails=True,
        visits=_of((44, "whole")),
        plan={"waiting_for": "parts", "promised": THIS_WEEK},
    ),
    Fate(state="failing", fault="pitch", fails=True, visits=_of((52, "whole")), plan={"assigned": "I. Marsh"}),
    Fate(state="failing", fault="network", fails=True, visits=_of((55, "whole"))),
    Fate(state="ready", visits=_of((49, "whole"), (51, "", ("technician",))), since=1),
    Fate(state="ready", visits=_of((54, "whole", ("technician",))), plan={"promised": THIS_WEEK}),
    Fate(state="in work", visits=_of((53, "alongside")), plan={"promised": LAST_WEEK}),
    Fate(state="in work", visits=_of((39, "whole")), plan={"waiting_for": "parts"}),
    Fate(state="not begun", visits=_of((56, "nothing"))),
    Fate(state="not begun", visits=_of((57, "nothing")), plan={"promised": NEXT_WEEK}),
    Fate(
        state="in work",
        visits=_of((46, "whole", ("technician",)), (48, "read again")),
        since=1,
        stale=("technician",),
    ),
    Fate(state="in work", visits=_of((28, "whole", BOTH), (31, "read again")), since=1, stale=BOTH),
    Fate(state="failing", fault="label", fails=True, visits=_of((3, "whole"), (40, "read again")), news=0),
    Fate(state="in work", visits=_of((59.4, "alongside"))),
    Fate(state="in work", fault="walk", visits=_of((10, "whole"), (24, "mended")), since=1),
    Fate(state="in work", visits=_of((6, "whole", BOTH), (43, "second job")), since=1, plan={"waiting_for": "owner"}),
    Fate(state="handed over", fault="network", visits=_of((58, "whole"), (59.6, "mended", BOTH)), since=1),
    Fate(state="handed over", visits=_of((15, "whole", BOTH)), has=(Compass("helm compass", 3.0, 0.0),)),
    Fate(
        state="in work",  # two compasses are to be compared
        visits=_of((34, "whole")),
        has=(Compass("helm compass", -5.5, 2.0), Compass("mast compass", 1.0, 0.0)),
    ),
    Fate(
        state="failing",
        fault="compass",
        fails=True,
        visits=_of((36, "whole")),
        has=(Compass("helm compass", 30.0, 12.0), Compass("mast compass", 0.0, -2.0)),
    ),
    Fate(state="handed over", visits=_of((22, "whole", BOTH)), has=Twins(5700, 5690)),
    Fate(state="failing", fault="one engine", fails=True, visits=_of((27, "whole")), has=Twins(5700, 4900)),
    Fate(
        state="handed over",
        fault="pitch",
        visits=_of((37, "whole"), (38, "changed", BOTH)),
        since=1,
        foreseen=(5400, 5800),
    ),
    Fate(
        state="in work",  # why its forecast missed is to be found out first
        fault="pitch",
        visits=_of((38, "whole"), (42, "changed")),
        since=1,
        foreseen=(5100, 5500),
    ),
)


@attrs.frozen(kw_only=True)
class Answer:
    """What is true of one job; times are the shop's own [ms].

    failing, ever : codes, one a check
    stale         : roles
    propeller     : "14.5 x 17" once a boat of one engine was run with one that is inside its window; "" before
    slip, economy : of the boat [%], [nm/gal]; None where nothing tells it
    deviation     : the largest of its compasses, whichever way [deg]
    forecast      : whether what was foreseen of a propeller held
    tablet        : that brought it last
    """

    hull: str
    job: str
    name: str
    model: str
    engine: str
    state: str
    technician: str
    tablet: str
    failing: tuple[str, ...]
    ever: tuple[str, ...]
    stale: tuple[str, ...]
    known: int
    since: int
    handed: int
    changed: int
    waiting: str
    promised: str
    propeller: str
    slip: float | None = None
    economy: float | None = None
    deviation: float | None = None
    forecast: bool | None = None

    @property
    def is_open(self) -> bool:
        return self.state != "handed over"

    @property
    def is_right_first(self) -> bool:
        return not self.is_open and not self.ever


@attrs.frozen
class Carried:
    """A tablet of the shop, who works with it, and when it was last ashore by the shop's clock; 0 for never."""

    name: str
    rigger: str
    device: str
    last: int


CARRIED = (
    Carried("Tablet 1", "R. Vane", "dev 1", NOW - AN_HOUR),
    Carried("Tablet 2", "N. Sorrel", "dev 2", NOW - 2 * A_DAY),
    Carried("Tablet 3", "T. Quill", "dev 3", NOW - 5 * A_DAY),
    Carried("Tablet 4", "I. Marsh", "dev 4", NOW - 70 * AN_HOUR),
    Carried("Spare tablet", "nobody", "dev 5", 0),
)
SILENT_TABLETS = ("Tablet 3", "Spare tablet")
"""Not ashore for three days: one since five days, one never."""
OLD_TABLET = "Dropped overboard"
"""Removed from the shop; of it nobody waits for anything."""
CLOCKS_OFF = {"dev 1": 0, "dev 2": 9 * A_DAY, "dev 3": -30 * A_DAY, "dev 4": 400 * AN_HOUR}
"""No answer depends on a tablet's own clock [ms]."""

MODELS = (
    ("Quarry Cove Boats", "Shoal 195", "Northlight NL150", "14.5"),
    ("Quarry Cove Boats", "Ledge 20", "Fellwater FW150", "14.5"),
    ("Alder Reach", "Rushlight 19", "Northlight NL150", "14"),
)
"""Maker, model, engine, and the diameter of its propeller [in]: hulls alike in size and power."""
TURNS_WITH_IT = 5595
"""What an engine turns with the propeller that is tried, mean of both ways [rev/min]."""
LEAST_USUAL_SLIP = 5.0
"""Of a planing hull [%]: the shop's setting as it comes; common practice, no source."""
TWIN = ("Quarry Cove Boats", "Outer Ledge 26", "2 x Northlight NL250", "15.3")
NAMES = ("Kestrel", "Plover", "Sandling", "Tern", "Wherry", "Dunlin", "Petrel", "Avocet", "Curlew", "Teal", "Snipe")


@attrs.frozen
class ProvingShop:
    """What was written into a store."""

    answers: tuple[Answer, ...]

    def having(self, **wanted: Any) -> list[Answer]:
        return [one for one in self.answers if all(getattr(one, name) == value for name, value in wanted.items())]


@attrs.frozen
class _Arrival:
    """Entries of a boat that come at one time, by id; the tablet is "" for a manager's on the page."""

    at: int
    device: str
    hull: str
    entries: tuple[tuple[str, bytes], ...]

    @classmethod
    def of(cls, at: int, device: str, hull: str, entries: Iterable[Entry]) -> _Arrival:
        """As bytes alone: of two thousand boats everything read would take gigabytes."""
        return cls(at, device, hull, tuple((entry.id, entry.raw) for entry in entries))


def at_day(day: float) -> int:
    """The shop's time on a day of the sixty; NOW is the end of the last [ms]."""
    return NOW - round((DAYS - day) * A_DAY)


def write_shop(store: Store, number: int, evening: Any, seed: int = 17) -> ProvingShop:
    """Fill a shop with so many boats, bringing its rows up to date each evening something came.

    evening : called with the shop's time once what came on a day is in
    """
    chance = random.Random(seed)
    _pair(store)
    made = [_boat(each, FATES[each % len(FATES)], chance) for each in range(number)]
    arrivals = sorted((one for _, found in made for one in found), key=lambda one: (one.at, one.hull))
    tablets = {one.device: f"{place:012d}" for place, one in enumerate(CARRIED, start=1)}
    day = 0
    for one in arrivals:
        if (one.at - at_day(0)) // A_DAY > day:
            evening(at_day(day + 1) - 1)
            day = (one.at - at_day(0)) // A_DAY
        if not one.device:  # whoever plans has seen the boat on the board
            evening(one.at - 1)
        offered = {one.hull: CheckedEntries(one.entries)}
        put = store.put_if_absent(offered, tablets.get(one.device, ON_THE_PAGE), one.at, -CLOCKS_OFF.get(one.device, 0))
        assert not put.refused, put.refused
    evening(NOW)
    return ProvingShop(tuple(answer for answers, _ in made for answer in answers))


def _pair(store: Store) -> None:
    for place, one in enumerate(CARRIED, start=1):
        store.register.add_tablet(_tablet(f"{place:012d}", one.name, place))
        store.register.note_device(f"{place:012d}", one.device, at_day(0))
        if one.last:
            store.register.note_contact(f"{place:012d}", one.last, -CLOCKS_OFF[one.device])
    store.register.add_tablet(_tablet(f"{99:012d}", OLD_TABLET, 9))
    store.register.remove_tablet(f"{99:012d}", MANAGER, at_day(1))


def _tablet(key: str, name: str, place: int) -> Tablet:
    return Tablet(id=key, name=name, role=TECHNICIAN, token_hash=f"{place}" * 64, paired_at=at_day(0))


# --- one boat


def _boat(number: int, fate: Fate, chance: random.Random) -> tuple[list[Answer], list[_Arrival]]:
    """A boat's answers, one a job, and what comes ashore of it."""
    boat = _Writing(number, fate, chance)
    for place, visit in enumerate(fate.visits):
        boat.visit(place, visit)
    boat.plan()
    return boat.answers(), boat.arrivals


class _Writing:
    """Writes one boat's entries as its tablets do, visit by visit."""

    def __init__(self, number: int, fate: Fate, chance: random.Random) -> None:
        self.fate, self.number = fate, number
        self.hull = hull_number.key(f"QQZ{number + 10000:05d}A626")
        self.name = f"{NAMES[number % len(NAMES)]} {number}"
        of_twins = isinstance(fate.has, Twins)
        self.maker, self.model, self.engine, self.diameter = TWIN if of_twins else MODELS[number % len(MODELS)]
        late = max(visit.day for visit in fate.visits) > DAYS - 5
        riggers = [one for one in CARRIED[:4] if not (late and one.name in SILENT_TABLETS)]
        self.first, self.second = chance.sample(riggers, 2)
        self.shift = chance.uniform(0, 0.3)
        self.job = f"job-{number}"
        self.state = HullState(self.hull)
        self.arrivals: list[_Arrival] = []
        self.last = self.first
        self.times: list[int] = []
        self.economy: float | None = None

    @property
    def fault(self) -> Fault | None:
        return FAULTS[self.fate.fault] if self.fate.fault else None

    def visit(self, place: int, visit: Visit) -> None:
        at = at_day(visit.day + self.shift)
        who = self.second if visit.what == "other value" else self.first
        author = _author(who, at - AN_HOUR)
        entries = [*self._work(visit.what, author), *self._signatures(visit.signs, author)]
        self.last = who
        self.times.append(at)
        self.arrivals.append(_Arrival.of(at, who.device, self.hull, entries))

    def _work(self, what: str, author: Author) -> Iterator[Entry]:
        if what in ("whole", "alongside", "nothing"):
            yield from take_in(author, self.state, self._job_file(what))
        elif what == "changed":
            assert self.fault is not None
            yield from take_in(author, self.state, self._job_file(what))
            for place, value in self.fault.right.items():
                if place[0] != FULL:
                    yield self._measured(author, self.state, place, value)
        elif what == "mended":
            assert self.fault is not None
            for place, value in self.fault.right.items():
                yield self._measured(author, self.state, place, value)
        elif what == "read again":
            yield self._measured(author, self.state, ("wiring_audit.circuits", "drop", "", "VHF radio"), "0.20 V")
        elif what == "second job":
            self.job = f"job-{self.number}-again"
            yield author.write(self.state, "job", ("kind",), "yearly check", job=self.job)
            yield self._measured(author, self.state, ("wiring_audit.circuits", "drop", "", "Bilge pump"), "0.30 V")
        elif what == "other value":
            others = [entry for entry in _entries(self.state) if entry.subject != SPEED and entry.kind != "signoff"]
            yield self._measured(author, replay(self.hull, others), SPEED, "34.6 kn")

    def _measured(self, author: Author, state: HullState, place: Place, value: JsonValue) -> Entry:
        step, field, row, of = place
        entry = measure(author, state, self.job, step, field, value, row=row, of=of)
        if state is self.state:
            state.add(entry)
        return entry

    def _signatures(self, roles: Iterable[str], author: Author) -> Iterator[Entry]:
        for role in roles:
            name = self.owner if role == "owner" else author.by
            entry = sign_off(attrs.evolve(author, by=name), self.state, self.job, role, name)
            self.state.add(entry)
            yield entry

    @property
    def owner(self) -> str:
        return f"O. Wner{self.number}"

    def _job_file(self, what: str) -> JobFile:
        plain = json.loads(_sound_job())
        if isinstance(self.fate.has, Twins):
            plain = twin_job(self.fate.has, NO_COMPASS)
        else:
            engine = plain["vessel"]["engines"][0]
            maker, model = self.engine.split()
            engine.update(maker=maker, model=model)
            pitch = self.fault.pitch if self.fault else "17 in"
            engine["propeller"].update(diameter=f"{self.diameter} in", pitch=pitch)
        if isinstance(self.fate.has, tuple) and self.fate.has:
            with_compasses(plain, self.fate.has)
        plain["vessel"].update(hull_number=self.hull, name=self.name, maker=self.maker, model=self.model)
        plain["job"] = {"id": self.job, "opened": "2026-09-20", "owner": self.owner, "technicians": [self.first.rigger]}
        if what == "nothing":
            plain["measurements"], plain["steps"] = [], []
        if what == "alongside":
            plain["measurements"] = [one for one in plain["measurements"] if one["step"].startswith("wiring_audit")]
            plain["steps"] = [one for one in plain["steps"] if one["step"].startswith("wiring_audit")]
        wrong = dict(self.fault.wrong) if self.fault else {}
        for one in plain["measurements"]:
            place = (one["step"], one["field"], one.get("row", ""), one.get("of", ""))
            one["value"] = wrong.pop(place, one["value"])
        assert not wrong, f"no such places: {wrong}"
        if what == "whole":
            self.economy = economy_of(plain)
        if self.fate.foreseen:
            plain["forecasts"] = [forecast_of(*self.fate.foreseen)]
        if what == "changed":
            assert self.fault is not None
            known = len(plain["measurements"])
            with_change(plain, self.diameter, self.fault.right)
            plain["measurements"] = plain["measurements"][known:]  # what was read before stands
        return parse_job_file(json.dumps(plain), self.name)

    def plan(self) -> None:
        """On the last visit's evening, on the page."""
        if self.fate.plan:
            at = self.times[-1] + AN_HOUR
            author = attrs.evolve(_author(CARRIED[0], at), tablet=ON_THE_PAGE, by=MANAGER)
            entries = plan_entries(author, self.state, self.job, self.fate.plan)
            self.arrivals.append(_Arrival.of(at, "", self.hull, entries))

    def answers(self) -> list[Answer]:
        last = self._answer()
        if self.fate.visits[-1].what != "second job":
            return [last]
        at = self.times[0]
        first = attrs.evolve(
            last,
            job=f"job-{self.number}",
            state="handed over",
            technician=self.last.rigger,
            known=at,
            since=at,
            handed=at,
            changed=at,
            waiting="",
            promised="",
        )
        return [first, last]

    def _answer(self) -> Answer:
        fate, fault = self.fate, self.fault
        codes = tuple(sorted(fault.codes)) if fault else ()
        handed = self.times[fate.since] if fate.state == "handed over" else 0
        of_itself = {"to settle": "manager", "failing": "rigger", "ready": "owner"}
        waiting = "" if handed else fate.plan.get("waiting_for") or of_itself.get(fate.state, "")
        was_run = any(one.what == "whole" for one in fate.visits)
        second = fate.visits[-1].what == "second job"
        return Answer(
            hull=self.hull,
            job=self.job,
            name=self.name,
            model=f"{self.maker} {self.model}",
            engine=self.engine,
            state=fate.state,
            technician=fate.plan.get("assigned") or self.last.rigger,
            tablet=self.last.device,
            failing=codes if fate.fails else (),
            ever=tuple(sorted(set(codes))),
            stale=fate.stale,
            known=self.times[-1 if second else 0],
            since=self.times[fate.since],
            handed=handed,
            changed=self.times[fate.news] + (AN_HOUR if fate.plan else 0),
            waiting=waiting,
            promised=fate.plan.get("promised", ""),
            propeller=self._kept() if was_run else "",
            slip=self._slip() if was_run and fate.state != "to settle" else None,
            economy=self.economy,
            deviation=max((one.largest for one in fate.has), default=None) if isinstance(fate.has, tuple) else None,
            forecast=fate.foreseen[0] <= TURNS_WITH_IT <= fate.foreseen[1] if fate.foreseen else None,
        )

    def _kept(self) -> str:
        labours = self.fate.fault == "pitch" and not self.fate.foreseen
        return "" if labours or isinstance(self.fate.has, Twins) else f"{self.diameter} x 17"

    def _slip(self) -> float:
        """Of two engines the one that slips unusually, else the one that slips more."""
        if isinstance(self.fate.has, Twins):
            return next((one for one in self.fate.has.slips if one < LEAST_USUAL_SLIP), max(self.fate.has.slips))
        labours = self.fate.fault == "pitch" and not self.fate.foreseen
        runs = [(labouring if labours else free).split() for _, labouring, free in _RUNS[:4]]
        numbers = [float(number) for number, _ in runs]
        return slip_of(numbers[2:], numbers[:2], 2.08, 19 if labours else 17)


NO_COMPASS = tuple(
    f"heading_calibration.{step}"
    for step in ("location", "place", "steady_turn", "magnetometer", "swing", "straight_runs", "comparison")
)
_ALSO_DONE = ("handover.owner_briefing", "handover.punch_list")


def _entries(state: HullState) -> list[Entry]:
    return [entry for register in state.registers.values() for entry in register.entries.values()]


def _author(who: Carried, at: int) -> Author:
    """Who writes at the shop's time given, by the tablet's own clock, which is off."""
    off = at + CLOCKS_OFF.get(who.device, 0)
    wall = datetime.fromtimestamp(off / 1000, UTC).isoformat(timespec="seconds")
    return Author(who.device, who.rigger, HybridClock(wall=lambda: off), wall=lambda: wall)


@lru_cache(maxsize=1)
def _sound_job() -> str:
    """A whole job file of a boat in order, without a compass: the sample boat Saltgrass with its faults put right."""
    plain: dict[str, Any] = json.loads((sample_jobs_folder() / "saltgrass" / "job.json").read_text())
    plain.pop("notes")
    vessel = plain["vessel"]
    vessel["heading_sensors"] = []
    vessel["batteries"][0]["capacity"] = "140 Ah"
    gauges = {"Washdown pump": "8", "Navigation lights": "14"}
    for circuit in vessel["circuits"]:
        circuit["conductor_awg"] = gauges.get(circuit["name"], circuit["conductor_awg"])
    places = {
        (one["step"], one["field"], one.get("row", ""), one.get("of", "")): one
        for one in plain["measurements"]
        if not one["step"].startswith("heading_calibration")
    }
    sound: dict[Place, JsonValue] = {place: right for fault in FAULTS.values() for place, right in fault.right.items()}
    sound |= {
        ("wiring_audit.circuits", "drop", "", "Washdown pump"): "0.33 V",
        ("wiring_audit.circuits", "drop", "", "Navigation lights"): "0.22 V",
        ("fuel_curve.tanks", "same_mark", "", ""): True,
        ("fuel_curve.tanks", "refilled", "", ""): "12.1 gal",
        ("fuel_curve.tanks", "metered_total", "", ""): "12.0 gal",
        ("handover.owner_briefing", "topic", "1", ""): "Battery switches",
        ("handover.owner_briefing", "understood", "1", ""): True,
        ("handover.owner_briefing", "manuals_handed_over", "", ""): True,
    }
    for place, value in sound.items():
        step, field, row, of = place
        said = {"step": step, "field": field, "value": value}
        places[place] = said | ({"row": row} if row else {}) | ({"of": of} if of else {})
    plain["measurements"] = [{key: one[key] for key in one if key not in ("at", "by")} for one in places.values()]
    kept = {one["step"]: one["state"] for one in plain["steps"]}
    steps = [one["step"] for one in plain["steps"] if not one["step"].startswith("heading_calibration")]
    states = (
        {step: kept[step] for step in steps}
        | dict.fromkeys(_ALSO_DONE, "done")
        | dict.fromkeys(NO_COMPASS, "not fitted")
    )
    plain["steps"] = [{"step": step, "state": state} for step, state in states.items()]
    return json.dumps(plain)
