"""One job in short, as the board lists it: its state and since when, what is open, who has it and whom it waits for.

Rows are made anew from a boat's entries at any time, but for what only the shop knows: since when a job is in its
state, and which checks of it ever failed here. That is taken over from the row before, whatever version made it. Times
are the shop's own, of when it knew: no tablet's clock counts. A fail that was mended before the tablet came ashore was
never seen here, and counts as none. Nothing of an owner is in a row.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import attrs

from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.findings import Finding, Verdict, plain_text
from garboard.history.authority import THE_SHOP_ITSELF
from garboard.history.plans import Plan, plan_of
from garboard.records import Propeller, Vessel
from garboard.report.outline import first_sentence, result_of
from garboard.steps import BEHIND

if TYPE_CHECKING:
    from garboard_shop.pages.summaries import BoatSummary, JobSummary, Stale

LONGEST_OPEN = 160
"""Characters of what is open in a job."""
LONGEST_NAME = 200
"""Characters of a name; a longer one is cut. An address asks for no longer one."""


class State(StrEnum):
    """Of a job: the first that is true, in this order; before all of them that a manager set it aside."""

    TO_SETTLE = "to settle"
    HANDED_OVER = "handed over"
    FAILING = "failing"
    READY = "ready"
    IN_WORK = "in work"
    NOT_BEGUN = "not begun"
    SET_ASIDE = "set aside"


WAITS_OF_ITSELF = {State.TO_SETTLE: "manager", State.FAILING: "rigger", State.READY: "owner"}
"""Whom a job waits for by its state, where no manager said."""


@attrs.frozen(kw_only=True)
class Past:
    """What only the shop knows of a job [ms since 1970-01-01 UTC].

    since       : when the shop first knew it to be in its state
    known       : when it first knew of the job
    handed      : when it knew it to be handed over; 0 while it is not. A disagreement that came later leaves it: where
                  the value that was signed is chosen, nobody hands it over a second time
    changed     : when its row last said something new
    brought     : when what its row was last made of had come
    ever_failed : codes of checks that failed here at any time
    """

    state: str = ""
    since: int = 0
    known: int = 0
    handed: int = 0
    changed: int = 0
    brought: int = 0
    ever_failed: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class JobRow(Past):
    """One job in short.

    hull        : key under which its boat's row is kept
    number      : the hull number as typed
    numbers     : keys of every hull number that anything of the boat was written under
    model       : of the boat, with its maker
    engine      : the engines' maker and model, with how many
    propellers  : their sizes, for a search
    phase       : the first that is not done: "alongside", "under way", "hand over"; "" where all are
    phases      : for each phase "done", "in work" or "not begun"
    open        : what is open first, in words; "" where nothing is
    more        : how many more of the kind are open
    failing     : codes of what fails now, a code for each check that does
    stale       : who signed before later changes, with the role
    is_managers : whether a manager signed, and it holds
    writer      : who wrote in it last on a tablet
    tablet      : stands for the tablet that wrote in it last, in entries
    points      : how many stand on its punch list
    settled     : when a disagreement was settled last [ms since 1970-01-01 UTC], and by whom; 0 for never
    assigned, promised, said_waiting, comment, comment_by : what a manager planned
    """

    hull: str
    job: str
    number: str = ""
    numbers: tuple[str, ...] = ()
    name: str = ""
    kind: str = ""
    opened: str = ""
    model: str = ""
    engine: str = ""
    propellers: tuple[str, ...] = ()
    phase: str = ""
    phases: tuple[str, ...] = ()
    open: str = ""
    more: int = 0
    failing: tuple[str, ...] = ()
    stale: tuple[str, ...] = ()
    is_managers: bool = False
    writer: str = ""
    tablet: str = ""
    points: int = 0
    settled: int = 0
    settled_by: str = ""
    assigned: str = ""
    promised: str = ""
    said_waiting: str = ""
    comment: str = ""
    comment_by: str = ""

    @property
    def waiting_for(self) -> str:
        """Whom it waits for: whom a manager said, else who must act by its state; "" for nobody in particular."""
        if self.is_closed:
            return ""
        return self.said_waiting or WAITS_OF_ITSELF.get(State(self.state), "")

    @property
    def technician(self) -> str:
        """Who has it: whom a manager assigned it to, else who wrote in it last."""
        return self.assigned or self.writer

    @property
    def is_handed_over(self) -> bool:
        return self.state == State.HANDED_OVER

    @property
    def is_set_aside(self) -> bool:
        return self.state == State.SET_ASIDE

    @property
    def is_closed(self) -> bool:
        """Whether nobody has anything to do about it: no list of open jobs has it."""
        return self.is_handed_over or self.is_set_aside

    @property
    def was_right_first(self) -> bool:
        """Whether it was handed over and no check of it ever failed here."""
        return self.is_handed_over and not self.ever_failed

    @property
    def days_to_hand_over(self) -> float:
        """From when the shop first knew of it until it knew it handed over [days]."""
        return max(0, self.handed - self.known) / A_DAY

    def days_in_state(self, now: int) -> float:
        """[days]"""
        return max(0, now - self.since) / A_DAY


A_DAY = 24 * 60 * 60 * 1000


@attrs.frozen
class Came:
    """When something of a boat first and last came to the shop, and the time now [ms since 1970-01-01 UTC].

    devices : what stands in entries for the tablet that came last; none where nobody knows
    """

    first: int
    last: int
    now: int
    devices: frozenset[str] = frozenset()


def job_rows(summary: BoatSummary, hull: str, before: Mapping[str, Past], came: Came) -> tuple[JobRow, ...]:
    """The rows of a boat's jobs.

    hull   : key under which the boat's row is kept
    before : what the shop knew of its jobs, by job
    """
    return tuple(_job_row(summary, job, hull, before, came) for job in summary.jobs)


def _job_row(summary: BoatSummary, job: JobSummary, hull: str, before: Mapping[str, Past], came: Came) -> JobRow:
    vessel, record = job.view.vessel, job.view.job
    home = summary.boat.state_of(job.id)
    parts = (job.id, *home.parts(job.id))
    plan = plan_of(home, parts)
    last = _written_last((entry for entry in summary.entries.values() if entry.job in parts), came.devices)
    fails = tuple(one for one in job.assessed if one.finding.verdict is Verdict.FAIL)
    phases = {phase.phase.value: _how_far([step.state for step in phase.steps]) for phase in job.phases}
    state = state_of(job)
    text, more = _open(state, job)
    settlings = [one.entry for _, one in job.resolutions if one.entry.more.get("reason")]
    settling = max(settlings, key=lambda entry: (entry.clock, entry.id), default=None)
    row = JobRow(
        hull=hull,
        job=job.id,
        number=summary.number,
        numbers=tuple(sorted({*summary.held, *summary.boat.state.hull_keys} - {SHOP_RECORD})),
        name=_plain(vessel.name),
        kind=record.kind,
        opened=record.opened,
        model=_plain(f"{vessel.maker} {vessel.model}"),
        engine=_engine_in_words(vessel),
        propellers=_propellers_in_words(vessel),
        state=state.value,
        phase=next((name for name, far in phases.items() if far != "done"), ""),
        phases=tuple(phases.values()),
        open=text if len(text) <= LONGEST_OPEN else f"{text[: LONGEST_OPEN - 1]}…",
        more=more,
        failing=tuple(sorted(one.finding.code for one in fails)),
        stale=tuple(map(_signer, job.stale)),
        is_managers=any(one.role == "manager" and not one.stale for one in job.view.sign_offs),
        writer=_plain(last.by if last else next(iter(record.technicians), "")),
        tablet=last.tablet if last else "",
        points=len(job.punch_list),
        settled=settling.clock.milliseconds if settling else 0,
        settled_by=settling.by if settling else "",
    )
    if before and job.id not in before:  # a further job of a boat that is known here came with what came last
        came = attrs.evolve(came, first=came.last)
    return with_past(planned(row, plan), before.get(job.id), came)


def _plain(text: str) -> str:
    """A name as rows are told apart by, and an address asks for: two that differ in white space alone are one.

    >>> _plain("\\tR.  Vane "), _plain("  ")
    ('R. Vane', '')
    """
    return " ".join(text.split())[:LONGEST_NAME].rstrip()


def planned(row: JobRow, plan: Plan) -> JobRow:
    """A row with what a manager planned."""
    return attrs.evolve(
        row,
        assigned=_plain(plan.assigned),
        promised=plan.promised,
        said_waiting=plan.waiting_for,
        comment=plan.comment,
        comment_by=plan.comment_by,
    )


def state_of(job: JobSummary) -> State:
    """The first state that is true of a job."""
    if job.is_set_aside:
        return State.SET_ASIDE
    if job.choices:
        return State.TO_SETTLE
    if job.is_handed_over:
        return State.HANDED_OVER
    if job.counts[Verdict.FAIL]:
        return State.FAILING
    if job.is_ready:
        return State.READY
    return State.IN_WORK if job.view.measurements or job.view.steps or job.view.sign_offs else State.NOT_BEGUN


def with_past(row: JobRow, before: Past | None, came: Came) -> JobRow:
    """A row with what the shop knew of its job before.

    Since when: what came last brought it, where that came after the row before was made. Else something else did, such
    as a changed setting, just now.
    """
    row = attrs.evolve(row, settled=_settled(row, before, came))
    if before is None or not before.known:
        at, known = min(came.last, came.now), min(came.first, came.now)
        told = Past(state=row.state, since=at, known=known, handed=at if row.is_handed_over else 0, changed=at)
    else:
        at = came.last if max(before.changed, before.brought) < came.last <= came.now else came.now
        is_same = before.state == row.state
        handed = before.handed if row.state in (State.HANDED_OVER, State.TO_SETTLE, State.SET_ASIDE) else 0
        handed = handed or (at if row.is_handed_over else 0)
        told = attrs.evolve(_past_of(before), state=row.state, since=before.since if is_same else at, handed=handed)
        says_new = not is_same
        if isinstance(before, JobRow):
            says_new |= attrs.evolve(row, **attrs.asdict(_past_of(before))) != before
        told = attrs.evolve(told, changed=at if says_new else before.changed)
    ever = tuple(sorted({*(before.ever_failed if before else ()), *row.failing}))
    told = _as_news(told, before, came)
    brought = min(came.last, came.now)
    return attrs.evolve(row, **{**attrs.asdict(told), "ever_failed": ever, "brought": brought})


def _settled(row: JobRow, before: Past | None, came: Came) -> int:
    """When a disagreement was settled last: by a tablet whose clock is ahead, no later than what was settled came."""
    if row.settled <= (here := min(came.last, came.now)):
        return row.settled
    told = before.settled if isinstance(before, JobRow) and before.settled_by == row.settled_by else 0
    return told or here


def _as_news(told: Past, before: Past | None, came: Came) -> Past:
    """What is new is news when its row says it: somebody who looked before the row was made has not seen it.

    Rows that are made for the first time long after their boats came are no news.
    """
    is_first = before is None or not before.known
    is_news = came.now - told.changed <= A_DAY if before is None or is_first else told.changed != before.changed
    return attrs.evolve(told, changed=came.now) if is_news else told


def _past_of(past: Past) -> Past:
    return Past(**{field.name: getattr(past, field.name) for field in attrs.fields(Past)})


def _written_last(entries: Iterable[Entry], devices: frozenset[str]) -> Entry | None:
    """What was written last on the tablet that came last; on any, where nobody knows which came.

    Clocks of two tablets are not compared where it is known who came. What a manager wrote on the page says nothing of
    who works on a boat, nor do the signatures of an owner or a manager, which are written in their own names.
    """
    of_work = [
        entry
        for entry in entries
        if entry.tablet not in THE_SHOP_ITSELF
        and entry.kind
        and not (entry.kind == "signoff" and entry.subject[:1] != ("technician",))
    ]
    there = [entry for entry in of_work if entry.tablet in devices] or of_work
    return max(there, key=lambda entry: (entry.clock, entry.id), default=None)


def _how_far(steps: Sequence[str]) -> str:
    if all(state in BEHIND for state in steps):
        return "done"
    is_begun = any(state == "done" or state not in ("to do", *BEHIND) for state in steps)
    return "in work" if is_begun else "not begun"


def _open(state: State, job: JobSummary) -> tuple[str, int]:
    """What is open first, and how many more of its kind are."""
    if job.aside is None:
        return _open_in(state, job)
    if state is State.SET_ASIDE:
        return job.aside.in_words, 0
    text, more = _open_in(state, job)
    if job.aside.holds:  # of a boat handed over
        return text, more
    return f"{job.aside.in_words} {text}".rstrip(), more


def _open_in(state: State, job: JobSummary) -> tuple[str, int]:
    if state is State.TO_SETTLE:
        first = job.choices[0]
        values = " or ".join(_in_words(entry) for entry in first.values if entry.kind != "job")  # as an owner is
        return ": ".join(filter(None, (values, first.place))), len(job.choices) - 1
    fails = job.with_verdict(Verdict.FAIL)
    if state is State.HANDED_OVER:
        return _open_though_handed_over(job, fails), 0
    if fails:
        return _fail_in_words(fails[0]), len(fails) - 1
    if state is State.READY:
        return "The owner has not signed.", 0
    steps = [step for phase in job.phases for step in phase.steps if step.step is not None]
    following = next((step for step in steps if step.state in ("under way", "to do", "look again")), None)
    if following is not None:
        return f"Next: {following.title}", 0
    if job.stale and len(job.missing) == 1:  # the row names whose signatures are stale
        return "", 0
    missing = ", ".join(job.missing)  # all of it: "7 checks without enough data and 1 more" reads as eight checks
    return f"{missing[:1].upper()}{missing[1:]}", 0


def _fail_in_words(fail: Finding) -> str:
    return f"{fail.about}: {first_sentence(result_of(fail))}"


def _open_though_handed_over(job: JobSummary, fails: Sequence[Finding]) -> str:
    """How many points were open, and the first of them; "" for none."""
    if not job.punch_list:
        return ""
    item = job.punch_list[0]
    first = _fail_in_words(fails[0]) if fails else ": ".join(filter(None, (item.about, item.text)))
    return f"{job.handed_over.words.capitalize()}. {first}"


def _signer(one: Stale) -> str:
    return one.role if one.role == "owner" else f"{one.role} {one.name}".strip()


def _in_words(entry: Entry) -> str:
    from garboard_shop.pages.wording import value_in_words

    return value_in_words(entry.value)


def _engine_in_words(vessel: Vessel) -> str:
    if not vessel.engines:
        return ""
    first = vessel.engines[0]
    named = " ".join(filter(None, (first.maker, first.model)))
    if not named and first.rated_power:
        named = str(first.rated_power)
    count = len(vessel.engines)
    return _plain(f"{count} x {named}" if named and count > 1 else named)


def _propellers_in_words(vessel: Vessel) -> tuple[str, ...]:
    of_engines = [engine.propeller for engine in vessel.engines]
    tried = [one for one in vessel.propellers if isinstance(one, Propeller)]
    return tuple(dict.fromkeys(size for one in (*of_engines, *tried) if one and (size := _size(one))))


def _size(one: Propeller) -> str:
    """ "15.3 x 19": diameter and pitch as stamped [in]."""
    numbers = [plain_text(amount.to("in")) for amount in (one.diameter, one.pitch) if amount]
    return " x ".join(numbers)


# --- as it is kept

_KINDS = {field.name: str(field.type) for field in attrs.fields(JobRow)}
_TIMES = ("since", "known", "handed", "changed", "brought")
_TYPES: Mapping[str, type] = {"str": str, "int": int, "bool": bool, "tuple[str, ...]": list}


def as_plain(row: JobRow) -> dict[str, Any]:
    """A row as it is kept."""
    return {name: [*value] if isinstance(value, tuple) else value for name, value in attrs.asdict(row).items()}


def of_plain(plain: Any) -> JobRow:
    """A row that was kept. Raises ValueError for one that is damaged."""
    if not isinstance(plain, dict) or plain.keys() != _KINDS.keys():
        raise ValueError(f"expected the fields of a job's row, got {str(plain)[:80]}")
    for name, kind in _KINDS.items():
        if type(plain[name]) is not _TYPES[kind]:
            raise ValueError(f"expected {kind} for {name}, got {plain[name]!r}")
        if isinstance(plain[name], list) and not all(isinstance(one, str) for one in plain[name]):
            raise ValueError(f"expected texts for {name}, got {plain[name]!r}")
    if plain["state"] not in {*State} or min(plain[name] for name in _TIMES) < 0:
        raise ValueError(f"expected a state with times, got {plain['state']!r}")
    fields: dict[str, Any] = {name: tuple(one) if isinstance(one, list) else one for name, one in plain.items()}
    return JobRow(**fields)


def pasts_in(plain: Any) -> dict[str, Past]:
    """What was known of jobs, by job, out of rows of any version; what cannot be read is left out."""
    listed = plain.get("jobs") if isinstance(plain, dict) else None
    return {
        str(one.get("job")): Past(
            state=str(one.get("state")),
            since=one["since"],
            known=one["known"],
            handed=one["handed"],
            changed=one["changed"],
            brought=one["brought"] if type(one.get("brought")) is int else 0,
            ever_failed=tuple(map(str, one.get("ever_failed") or ())),
        )
        for one in (listed if isinstance(listed, list) else ())
        if isinstance(one, dict)
        and all(type(one.get(name)) is int for name in ("since", "known", "handed", "changed"))
        and isinstance(one.get("ever_failed") or [], list)
    }
