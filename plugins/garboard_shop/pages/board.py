"""The board's page: every job with its state, since when, and whom it waits for; and what a manager plans for jobs."""

from __future__ import annotations

from calendar import day_abbr, month_abbr, month_name
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from functools import lru_cache
from urllib.parse import urlencode

import attrs
from markupsafe import Markup
from starlette.responses import Response

from garboard import hull_number
from garboard.disk.entries import PLAN, Entry
from garboard.disk.storage import NotSaved
from garboard.faults import in_number, in_words
from garboard.findings import in_full
from garboard.history.boat import Boat
from garboard.history.halves import HalfSaved
from garboard.history.past import reason_in
from garboard.history.plans import (
    ASSIGNED,
    COMMENT,
    PROMISED,
    WAITING_FOR,
    WAITS_FOR,
    plan_of,
    seen_by_now,
    set_aside_of,
)
from garboard.hosting.host import PluginHost
from garboard.settings import in_force
from garboard_shop import board
from garboard_shop.board import Asked, Board, Found, Headline, Times, Week, shares
from garboard_shop.job_rows import JobRow, State
from garboard_shop.pages import decisions, drawing, wording
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.insights import code_in_words
from garboard_shop.pages.summaries import open_boat
from garboard_shop.pages.visits import NotHere, Visit
from garboard_shop.saved_views import OwnView, query_of
from garboard_shop.saved_views import shown as shown_views
from garboard_shop.settings import SETTINGS, STUCK_DAYS
from garboard_shop.store import Overtaken, Tablet

LOOKED = "__Host-garboard-looked"
"""The cookie with the time when somebody last said that they looked at what changed."""
SECONDS_KEPT = 400 * 24 * 60 * 60
A_DAY = 24 * 60 * 60 * 1000
LONGEST_BAR = 28
"""Days that fill the bar beside them."""
TAKE_BACK = {ASSIGNED: "who has it", PROMISED: "the promised day", WAITING_FOR: "whom it waits for"}

SORT_WORDS = {
    "urgent": "most urgent first",
    "days": "longest in its state first",
    "boat": "by boat",
    "phase": "least far first",
    "technician": "by technician",
    "promised": "by promised day",
    "changed": "changed last first",
    "took": "longest to hand over first",
}
VIEW_WORDS = {
    board.OPEN: "open",
    board.ALL: "of any state",
    board.DUE: "promised by Sunday",
    board.LATE: "promised by Sunday and not ready",
    board.CHANGED: "changed since you last looked",
    board.OPEN_POINTS: "handed over with points open",
    board.SILENT: f"whose tablet was not heard of for {board.SILENT_DAYS} days",
    board.STALE: "with a signature that later changes made stale",
}


@attrs.frozen
class View:
    """A saved view: an address with a name; by whom, of one of the shop's own."""

    name: str
    address: str
    is_here: bool
    by: str = ""


def board_page(visit: Visit) -> Response:
    """A page of the board."""
    desk, asked = visit.desk, Asked.of(visit.request.query_params)
    rows = desk.remembering.board
    times = times_of(visit)
    shown = rows if rows is not None else Board()
    found = shown.find(asked, times)
    today = wording.day_of(times.now)
    return visit.page(
        "board.html",
        asked=asked,
        found=found,
        jobs=len(shown),
        head=shown.headline(times),
        spans=_spans(today),
        views=_views(asked, times.stuck, shown_views(desk.remembering.views)),
        asks=query_of(asked),
        in_words=asked_in_words(asked, times.stuck, desk.host),
        lines=[_line(row, times, today) for row in found.rows],
        empty="" if found.total else empty_in_words(asked, shown, today),
        is_read=rows is not None,
        progress=desk.remembering.progress,
        as_of=desk.remembering.as_of,
        second_of=wording.second_of,
        changing=visit.is_manager and visit.asked("change") == "1",
        here_again=asked.address(page=asked.page),
        marks=drawing.STATE_MARKS,
        waits_for=WAITS_FOR,
        take_back=TAKE_BACK,
        technicians=[name for name, _ in found.facets["technician"]],
        most_names=board.MOST_NAMES,
        looked=times.looked,
        now=times.now,
        stuck=times.stuck,
        shares=shares,
        bars=bars,
        phases_svg=phases_svg,
        bar_svg=bar_svg,
        spaced=spaced,
        weeks_in_words=weeks_in_words,
    )


def times_of(visit: Visit) -> Times:
    """What the time is for whoever asks."""
    desk, now = visit.desk, visit.desk.now()
    today = wording.day_of(now)
    monday = today - timedelta(days=today.weekday())
    starts = [monday + timedelta(days=7 * (week - board.WEEKS + 1)) for week in range(board.WEEKS + 1)]
    return Times(
        now=now,
        looked=looked_at(visit, now),
        stuck=stuck_days(desk),
        sunday=monday + timedelta(days=6),
        weeks=tuple(wording.limits_of(day)[0] for day in starts),
        heard=_heard(desk),
        limits=wording.limits_of,
    )


def stuck_days(desk: ShopDesk) -> int:
    """Days in one state after which a job is stuck, as the shop set it when its rows were last looked through."""
    values, _ = in_force(SETTINGS, [one for one in desk.remembering.stated if one.key == STUCK_DAYS])
    return int(str(values[STUCK_DAYS]))


def looked_at(visit: Visit, now: int) -> int:
    """When whoever asks last looked, as this browser knows it; a day ago where it does not."""
    kept = visit.request.cookies.get(LOOKED, "")
    known = int(kept) if kept.isascii() and kept.isdigit() and len(kept) < 15 else 0
    return known if 0 < known <= now else now - A_DAY


def _heard(desk: ShopDesk) -> Mapping[str, int]:
    heard: dict[str, int] = {}
    for tablet in desk.store.register.tablets():
        for device in tablet.writes_as:
            heard[device] = max(heard.get(device, 0), _last_contact(tablet, desk.now()))
    return heard


def days_silent(tablets: Iterable[Tablet], now: int) -> Mapping[str, int]:
    """Tablets that take part and were not heard of for long, by id, with the days since; since they were paired, for
    those that never were.
    """
    passed = {one.id: now - _last_contact(one, now) for one in tablets if not one.is_removed}
    return {name: since // A_DAY for name, since in passed.items() if since > board.SILENT_DAYS * A_DAY}


def _last_contact(tablet: Tablet, now: int) -> int:
    """What is much later than now was noted by a clock that ran ahead and was put right: nobody knows when that was."""
    contact, paired = ((at if at <= now + A_DAY else 0) for at in (tablet.last_contact, tablet.paired_at))
    return contact or paired or now


def looked(visit: Visit) -> Response:
    """From now on only what changed after the page they looked at was made has changed since they looked."""
    response = visit.go(Asked(view=board.CHANGED).address(), "From now on only what changes next is listed here.")
    shown = visit.form.get("shown", "")
    now = visit.desk.now()
    upto = min(now, int(shown)) if shown.isascii() and shown.isdigit() and len(shown) < 15 else now
    response.set_cookie(LOOKED, str(upto), SECONDS_KEPT, path="/", secure=True, httponly=True, samesite="strict")
    return response


def _views(asked: Asked, stuck: int, own: Iterable[OwnView]) -> list[View]:
    """The built-in ones, then the shop's own."""
    here = attrs.evolve(asked, page=1).address()
    found = [View(name, one.address(), one.address() == here) for name, one in built_in_views(stuck)]
    return found + [View(one.saved.name, one.address, one.address == here, one.saved.by) for one in own]


def built_in_views(stuck: int) -> tuple[tuple[str, Asked], ...]:
    """Names of views that every shop has, with what they ask.

    stuck : days in a state from which on a job is stuck
    """
    return (
        ("Everything open", Asked()),
        (f"Stuck over {in_number(stuck, 'day')}", Asked(view=board.STUCK, sort="days")),
        ("Waiting for parts", Asked(waiting="parts")),
        ("Due this week", Asked(view=board.DUE, sort="promised")),
        ("Changed since I last looked", Asked(view=board.CHANGED, sort="changed")),
        ("Handed over with points open", Asked(view=board.OPEN_POINTS)),
        ("Set aside", Asked(view=board.ALL, state=State.SET_ASIDE.value)),
        ("Stale signatures", Asked(view=board.STALE)),
        ("Tablet silent", Asked(view=board.SILENT)),
        ("All jobs", Asked(view=board.ALL)),
    )


def _spans(today: date) -> Mapping[str, str]:
    """Addresses of what stands behind the headline's numbers."""
    monday = today - timedelta(days=today.weekday() + 7 * (board.WEEKS - 1))
    handed = f"{monday.isoformat()}+{7 * board.WEEKS}"
    return {
        "to_settle": Asked(state=State.TO_SETTLE.value).address(),
        "failing": Asked(state=State.FAILING.value).address(),
        "late": Asked(view=board.LATE, sort="promised").address(),
        "ready": Asked(state=State.READY.value).address(),
        "right": Asked(view=board.ALL, handed=handed, sort="days").address(),
        "days": Asked(view=board.ALL, handed=handed, sort="took").address(),
    }


def asked_in_words(asked: Asked, stuck: int, host: PluginHost) -> str:
    """What is asked, in words: above the list, and on paper."""
    said = [VIEW_WORDS.get(asked.view, f"in their state for more than {in_number(stuck, 'day')}")]
    said += [asked.state] if asked.state else []
    said += [f"waiting for {asked.waiting}"] if asked.waiting else []
    said += [f"with {asked.technician}"] if asked.technician else []
    said += [one for one in (asked.model, asked.engine) if one]
    said += [f"failing now ({code_in_words(asked.failing, host)})"] if asked.failing else []
    said += [f"failing now or before ({code_in_words(asked.failed, host)})"] if asked.failed else []
    said += [f"handed over {_span_in_words(asked.handed)}"] if asked.handed else []
    said += [f"first ashore {_span_in_words(asked.known)}"] if asked.known else []
    said += ["right the first time" if asked.right == "yes" else "not right the first time"] if asked.right else []
    said += [f"with {asked.q!r}"] if asked.q else []
    order = asked.sort.removeprefix("-")
    turned = ", the other way round" if asked.sort != order else ""
    return f"Jobs {', '.join(said)}; {SORT_WORDS[order]}{turned}."


def _span_in_words(text: str) -> str:
    """A span of days as the address has it.

    >>> _span_in_words("2026-05"), _span_in_words("2026-05-04"), _span_in_words("2026-05-04+7")
    ('in May 2026', 'on 4 May 2026', 'from 4 May 2026 to 10 May 2026')
    """
    span = board.days_of(text)
    if span is None:
        return f"in {text!r}, which is no span of days"
    if len(text) == len("2026-05"):
        return f"in {month_name[span[0].month]} {span[0].year}"
    first, last = (f"{day.day} {month_name[day.month]} {day.year}" for day in span)
    return f"on {first}" if first == last else f"from {first} to {last}"


def empty_in_words(asked: Asked, shown: Board, today: date) -> str:
    """What an empty list says."""
    if not len(shown):
        return "No job is on the board yet. A boat stands here once its tablet came ashore."
    if attrs.evolve(asked, sort="urgent", page=1) == Asked(state=State.TO_SETTLE.value):
        last = shown.settled_last()
        if last is None:
            return "Nothing to settle. Nothing ever was."
        return f"Nothing to settle. The last was settled {_when(last.settled, today)} by {last.settled_by}."
    plain = {
        Asked(state=State.FAILING.value): "Nothing fails.",
        Asked(state=State.READY.value): "Nothing is ready and waits for its owner.",
        Asked(waiting="parts"): "Nothing waits for parts.",
        Asked(view=board.STUCK): "Nothing is stuck.",
        Asked(view=board.LATE): "Everything promised by Sunday is ready.",
        Asked(view=board.DUE): "Nothing is promised for this week.",
        Asked(view=board.CHANGED): "Nothing changed since you last looked.",
        Asked(view=board.OPEN_POINTS): "No boat was handed over with a point open.",
        Asked(view=board.STALE): "No signature is stale.",
        Asked(view=board.SILENT): "Every tablet with open work came ashore lately.",
        Asked(): "Nothing is open. Every boat was handed over, or its job was set aside.",
        Asked(view=board.ALL, state=State.SET_ASIDE.value): "No job is set aside.",
    }
    told = plain.get(attrs.evolve(asked, sort="urgent", page=1))
    return told or "No job fits all of this. Take a word or a filter out."


def _when(at: int, today: date) -> str:
    day = wording.day_of(at)
    if 0 <= (today - day).days < 7:
        return "today" if day == today else f"on {wording.day_in_words(day).partition(' ')[0]}"
    return f"on {day.day} {month_abbr[day.month]} {day.year}"


@attrs.frozen(kw_only=True)
class Line:
    """A row of the board as it is shown.

    days      : in its state, and the width of the bar beside it [1 to 48]
    heard     : when its tablet was last heard of, in words; "" where nobody knows
    promised  : the day in words; late: by how many days, 0 for in time
    """

    row: JobRow
    days: int
    bar: int
    is_stuck: bool
    heard: str
    is_silent: bool
    promised: str
    late: int


def _line(row: JobRow, times: Times, today: date) -> Line:
    days = int(row.days_in_state(times.now))
    heard = times.heard.get(row.tablet, 0)
    promised = date.fromisoformat(row.promised) if row.promised else None
    late = (today - promised).days if promised and not row.is_closed else 0
    return Line(
        row=row,
        days=days,
        bar=max(1, round(48 * min(days, LONGEST_BAR) / LONGEST_BAR)),
        is_stuck=days >= times.stuck and not row.is_closed,
        heard=ago(times.now - heard) if heard else "",
        is_silent=bool(heard) and not row.is_closed and times.now - heard > board.SILENT_DAYS * A_DAY,
        promised=day_in_short(promised, today) if promised else "",
        late=max(0, late),
    )


@lru_cache(maxsize=64)
def bar_svg(width: int) -> Markup:
    """The bar beside the days."""
    bar = f'<rect x="0.5" y="0.5" width="{width}" height="5"/>'
    return Markup(f'<svg class="bar" viewBox="0 0 48 6" aria-hidden="true">{bar}</svg>')


@lru_cache(maxsize=64)
def phases_svg(phases: tuple[str, ...]) -> Markup:
    """A box a phase: empty, half full, or full. What they say stands beside them as text."""
    boxes = [
        Markup('<rect class="{}" x="{}" y="0.5" width="{}" height="11"/>').format(kind, place * 16 + 0.5, wide)
        for place, far in enumerate(phases)
        for kind, wide in ((far.replace(" ", "-"), 12), *((("done", 6),) if far == "in work" else ()))
    ]
    return Markup('<svg viewBox="0 0 46 12" aria-hidden="true">{}</svg>').format(Markup("").join(boxes))


def day_in_short(day: date, today: date) -> str:
    """A day near today.

    >>> day_in_short(date(2026, 5, 15), date(2026, 5, 11)), day_in_short(date(2027, 1, 2), date(2026, 5, 11))
    ('Fri 15 May', '2 Jan 2027')
    """
    if abs((day - today).days) < 180:
        return f"{day_abbr[day.weekday()]} {day.day} {month_abbr[day.month]}"
    return f"{day.day} {month_abbr[day.month]} {day.year}"


def spaced(number: int) -> str:
    """A count with its thousands apart.

    >>> spaced(10312), spaced(50)
    ('10 312', '50')
    """
    return f"{number:,}".replace(",", " ")


def ago(passed: int) -> str:
    """How long ago [ms], in one unit.

    >>> ago(90_000), ago(7_200_000), ago(4 * 86_400_000)
    ('1 min', '2 h', '4 d')
    """
    minutes = max(0, passed) // 60_000
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 48 * 60 else f"{minutes // (24 * 60)} d"


def bars(head: Headline, what: str) -> Markup:
    """Eight weekly bars from zero, this week's filled. What they say stands beside them as text."""
    is_share = what == "right"
    week_values = [(week.right / week.jobs if week.jobs else 0.0) if is_share else week.days for week in head.weeks]
    most = 1.0 if is_share else max(week_values, default=0.0)
    height = [round(28 * value / most, 1) if most > 0 else 0.0 for value in week_values]
    drawn = "".join(
        f'<rect class="{"this" if at == len(height) - 1 else "past"}" x="{at * 12 + 1}" y="{30 - tall:g}" width="9" '
        f'height="{tall:g}"/>'
        for at, tall in enumerate(height)
    )
    line = '<path class="zero" d="M0 30.5H96"/>'
    return Markup(f'<svg class="bars" viewBox="0 0 96 32" aria-hidden="true">{drawn}{line}</svg>')


def weeks_in_words(head: Headline, what: str) -> str:
    """The weekly bars as text, the earliest first."""

    def one(week: Week) -> str:
        if not week.jobs:
            return "none"
        return f"{week.right} of {week.jobs}" if what == "right" else in_full(week.days)

    return f"By week, this week last: {', '.join(map(one, head.weeks))}."


# --- what a manager plans


def _said(entry: Entry) -> tuple[str, str]:
    """What a plan's entry is about, and what it says of it."""
    what, value = entry.subject[1], entry.value if isinstance(entry.value, str) else ""
    if not value:
        return what, ": ".join(filter(None, ("taken back", reason_in(entry))))
    return what, wording.written_at(value) if what == PROMISED else value


def plan_page(visit: Visit) -> Response:
    """What is planned for a job, and everything that ever was, with who."""
    boat, job = _job(visit, visit.asked("job"))
    home = boat.state_of(job)
    parts = (job, *home.parts(job))
    found = [one for key, one in home.registers.items() if key.kind == PLAN and key.first in parts and key.subject[1:]]
    said = sorted(
        (entry for register in found for entry in register.history if entry.id not in register.misfits),
        key=lambda entry: (entry.clock, entry.id),
        reverse=True,
    )
    rows = visit.desk.remembering.board
    names = [name for name, _ in rows.find(Asked(view=board.ALL), Times(now=0)).facets["technician"]] if rows else []
    return visit.page(
        "plan.html",
        hull=boat.state.hull,
        name=" ".join(boat.vessel().name.split()),
        number=hull_number.printed(boat.state.hull_number),
        job=job,
        plan=plan_of(home, parts),
        was={what: getattr(plan_of(home, parts), what) for what in (ASSIGNED, PROMISED, WAITING_FOR)},
        said=[(entry.at, entry.by, *_said(entry)) for entry in said],
        aside=set_aside_of(home, parts),
        saw=seen_by_now(home, parts),
        waits_for=WAITS_FOR,
        technicians=names,
        back=visit.asked("back") or f"/boats/{boat.state.hull}/plan?{urlencode({'job': job})}",
    )


def plan(visit: Visit) -> Response:
    """Keep what a manager plans for a job: of what the form showed, what they changed."""
    said = {what: visit.form[what] for what in (ASSIGNED, PROMISED, WAITING_FOR, COMMENT) if what in visit.form}
    said = {what: typed for what, typed in said.items() if typed != visit.form.get(f"was_{what}")}
    with visit.desk.store.deciding():
        boat, job = _job(visit, visit.form.get("job", ""))
        _refuse_overtaken(boat, job, said, visit.form)
        written = _keep(visit, boat, job, said)
    visit.desk.remembering.look_soon()
    return visit.back("/board", "Kept." if written else "Nothing is new in it.")


def _refuse_overtaken(boat: Boat, job: str, typed: Mapping[str, str], form: Mapping[str, str]) -> None:
    """Raise Overtaken where somebody changed one of these after the form was shown, to something else."""
    home = boat.state_of(job)
    plan = plan_of(home, (job, *home.parts(job)))
    for what in (ASSIGNED, PROMISED, WAITING_FOR):
        now = getattr(plan, what)
        if what in typed and now not in (typed[what], form.get(f"was_{what}", now)):
            told = f"{TAKE_BACK[what]} was {f'set to {now}' if now else 'taken back'} after you opened the form."
            raise Overtaken(f"{told[:1].upper()}{told[1:]} Open the plan again, then decide. Nothing was changed.")


def plan_several(visit: Visit) -> Response:
    """Keep the same for several jobs: what was left empty stays as it is."""
    said = {what: visit.form[what] for what in (ASSIGNED, PROMISED, WAITING_FOR, COMMENT) if visit.form.get(what)}
    if (gone := visit.form.get("take_back")) in TAKE_BACK:
        said[gone] = ""
    picked = [value.partition(" ") for name, value in visit.form.items() if name.startswith("pick")]
    if not picked or not said:
        missing = "Tick at least one job." if not picked else "Say at least one thing of the jobs you ticked."
        return visit.back("/board", f"{missing} Nothing was changed.")
    with visit.desk.store.deciding():
        jobs = [(_boat(visit, hull), job) for hull, _, job in picked]
        if lost := [job for boat, job in jobs if job not in boat.jobs]:
            raise NotHere(404, f"{in_number(len(lost), 'job')} you ticked stands elsewhere now. Nothing was changed.")
        changed = 0
        for boat, job in jobs:
            try:
                changed += _keep(visit, boat, job, said) > 0
            except NotSaved as failure:
                if not changed:
                    raise
                told = f"Of {in_number(len(jobs), 'ticked job')} {changed} changed, the rest was not saved"
                raise HalfSaved(f"{told}: {in_words(failure)}. Look which, and change the others again.") from failure
    visit.desk.remembering.look_soon()
    return visit.back("/board", f"{in_number(changed, 'job')} changed.")


def _keep(visit: Visit, boat: Boat, job: str, said: Mapping[str, str]) -> int:
    desk = visit.desk
    written = decisions.plan_job(desk.store, boat, job, said, visit.who, desk.now())
    if written:
        desk.remembering.plan(open_boat(desk.store, boat.state.hull)[0], job)
    return written


def _boat(visit: Visit, hull: str) -> Boat:
    key = hull_number.key(hull)
    if not visit.desk.store.ids(key):
        raise NotHere(404, "No boat has this hull number here.")
    return open_boat(visit.desk.store, key)[0]


def _job(visit: Visit, job: str) -> tuple[Boat, str]:
    boat = _boat(visit, visit.request.path_params["hull"])
    if job not in boat.jobs:
        raise NotHere(404, "This boat has no such job.")
    return boat, job


__all__ = ["Found", "board_page", "looked", "plan", "plan_page", "plan_several"]
