"""What a manager decides on the page: each decision is an entry with who, like everything else in a hull's file."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

import attrs

from garboard import hull_number
from garboard.disk.entries import SHOP_RECORD, Entry, view
from garboard.disk.hullfile import CheckedEntries
from garboard.faults import Fault, InputError, in_number
from garboard.history import authoring as writing
from garboard.history import circuit_entries, like
from garboard.history.authoring import Author
from garboard.history.authority import ON_THE_PAGE
from garboard.history.boat import Boat
from garboard.history.past import outlived_a_joining
from garboard.history.plans import plan_entries, seen_by_now, set_aside, set_aside_of, taken_up
from garboard.history.proof import Proof, issue
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import reset_setting, set_setting
from garboard.history.two_rows import both_rows_count
from garboard.hosting.host import PluginHost
from garboard.job_files.circuit_table import circuits_as_csv, circuits_in_csv
from garboard.labels import labels_digest, labels_of
from garboard.records import Vessel
from garboard.report.moved import came_along
from garboard.settings import Setting, in_force
from garboard_shop.pages import settings
from garboard_shop.pages.authors import author_after
from garboard_shop.pages.summaries import BoatSummary, open_boat, register_in_words, seen_in
from garboard_shop.pages.wording import value_in_words
from garboard_shop.store import Overtaken, Store, managers_devices


def choose(
    declared: Sequence[Setting], store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int
) -> str:
    """Choose one of the values that disagree.

    declared : the settings of the plugins at work
    form    : slot, saw, value (the id of the entry chosen), reason
    returns : what was decided, in words
    errors  : Overtaken, InputError, storage.NotSaved
    """
    state, key = _disagreement(summary, form)
    chosen = _chosen(declared, summary, state, key, form.get("value", ""))
    author = _author_of_facts(summary, state, by)
    keep(store, [writing.settle(author, state, key, chosen.value, form.get("reason", ""))], now)
    return "Settled. The value you chose is now used."


VALUE_OF, SAW_OF = "value ", "saw "
"""Before the token of a disagreement, in a form that settles several."""


def choose_several(
    declared: Sequence[Setting], store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int
) -> str:
    """Choose a value in each of several disagreements of one cause: one reason, an entry for each, all or none.

    form : reason; for each disagreement `value TOKEN` ("" leaves it open) and `saw TOKEN`
    """
    reason = _reason(form, "the cause they have in common")
    picked = {name.removeprefix(VALUE_OF): value for name, value in form.items() if name.startswith(VALUE_OF) and value}
    if not picked:
        raise InputError("choice", [Fault("value", "a value for at least one of them", "none")])
    found: dict[str, list[tuple[HullState, RegisterKey, Entry]]] = {}
    for token, value in picked.items():
        one = _disagreement(summary, {"slot": token, "saw": form.get(f"{SAW_OF}{token}", "")})
        found.setdefault(one[0].hull, []).append((*one, _chosen(declared, summary, *one, value)))
    entries: list[Entry] = []
    for choices in found.values():
        author = _author_of_facts(summary, choices[0][0], by)
        entries += [writing.settle(author, state, key, entry.value, reason) for state, key, entry in choices]
    keep(store, entries, now)
    return f"{in_number(len(picked), 'disagreement')} settled with one reason. The values you chose are now used."


def _author_of_facts(summary: BoatSummary, home: HullState, by: str) -> Author:
    """Whoever decides about a boat: what of its facts, in the last job, whose signatures stand for them.

    home : the state that holds them
    """
    last = summary.boat.jobs[-1] if summary.boat.jobs else ""
    return attrs.evolve(author_after(home, by), at_job=summary.boat.facts_of(last, home))


def _chosen(declared: Sequence[Setting], summary: BoatSummary, state: HullState, key: RegisterKey, value: str) -> Entry:
    """The entry a form names, one of those that disagree; a setting must be one that the job can have."""
    chosen = next((entry for entry in state.current(key) if entry.id == value), None)
    if chosen is None:
        raise InputError("choice", [Fault("value", "one of the values shown", "none")])
    if key.kind == "setting":
        for setting in declared:
            if setting.key == key.first:
                view = summary.boat.view(key.job)
                values, _ = in_force(declared, view.settings_set, view.signed_under)
                settings.check(setting, chosen.value, declared, {**values, setting.key: chosen.value})
    return chosen


def take_all_back(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Take back every value of a disagreement, to be measured again. Arguments as for `choose`, without value
    and settings."""
    state, key = _disagreement(summary, form)
    keep(store, [writing.retract(_author_of_facts(summary, state, by), state, key, form.get("reason", ""))], now)
    return "Taken back. Measure it again."


def count_both(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Keep two rows that two tablets gave one number, each with its own values. Arguments as for `take_all_back`."""
    state, key = _disagreement(summary, form)
    entries = both_rows_count(author_after(state, by), state, key, _reason(form, "how you know that both were made"))
    keep(store, entries, now)
    return "Both count. The second has a row of its own after the last one."


def sign(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Sign a job off as its manager. The signature covers what was on the page.

    form : job, saw
    """
    job = summary.job(form.get("job", ""))
    if job is None:
        raise _no_job(summary)
    home = summary.boat.state_of(job.id)
    if job.coverage != form.get("saw"):
        raise Overtaken(
            "This job changed while you were reading: its entries, or what was found. Look again, then sign."
        )
    keep(store, [writing.sign_off(author_after(home, by), home, job.id, "manager", by)], now)
    return "Signed. If anything is entered later, the signature becomes stale and the page names what changed."


def book_issued(store: Store, summary: BoatSummary, job: str, book: bytes, proof: Proof, by: str, now: int) -> None:
    """Keep that a handover book was issued; nothing anew for the same file.

    proof : of the entries it was made of
    """
    plugins = {plugin.name: plugin.version for plugin in summary.host.plugins}
    author = attrs.evolve(author_after(summary.boat.state, by), plugins=plugins)
    entry = issue(author, summary.boat, job, book, proof)
    keep(store, [entry] if entry else [], now)


def labels_printed(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Keep that the labels of all circuits are printed as they stood on the page.

    form : saw
    """
    vessel = summary.boat.vessel()
    if labels_digest(vessel) != form.get("saw"):
        raise Overtaken("A circuit was changed while you printed. Print the labels again.")
    home = summary.boat.vessel_home("circuits")
    labels = labels_of(vessel)
    keep(store, writing.labels_printed(author_after(home, by), home, labels), now)
    return (
        f"Kept: {in_number(len(labels), 'label')} printed. A circuit that is changed from now on makes its label stale."
    )


def begin_boat(store: Store, host: PluginHost, form: Mapping[str, str], by: str, now: int) -> tuple[str, str]:
    """Open a job for a new boat, with the equipment of a template or of another boat, or with none.

    form    : hull, like (a template's name or a boat's number; empty for none), owner, anyway
    returns : key of the boat's hull, and what was done in words
    """
    typed = form.get("hull", "").strip()
    if not form.get("anyway"):
        hull_number.parse(typed)
    hull_number.refuse_no_boat(typed)
    facts = _facts_like(store, host, " ".join(form.get("like", "").split()))
    boat = open_boat(store, hull_number.key(typed))[0]
    if boat.jobs:
        raise InputError("new boat", [Fault("hull number", "a boat without a job", f"{typed}, which has one")])
    author = author_after(boat.state, by)
    opened = writing.open_job(author, boat.state, typed, owner=form.get("owner", "").strip())
    taken, other = like.begin_like(author, boat.state, facts, typed), like.left_out(boat.state, facts)
    keep(store, [*opened, *taken], now)
    told = f" Not all is taken over, as the boat has another: {', '.join(other)}." if other else ""
    return boat.state.hull, f"A job is open, and {in_number(len(taken), 'fact')} of its equipment entered.{told}"


def _facts_like(store: Store, host: PluginHost, named: str) -> like.Facts:
    """What a new boat begins with. Raises InputError for what is neither a template nor a boat."""
    if not named:
        return {}
    templates = like.templates_in(_state_of(store, SHOP_RECORD))
    if one := like.template_named(templates, named):
        return one.facts
    boat = open_boat(store, hull_number.key(named))[0]
    if not len(boat.state):
        known = ", ".join(each.name for each in templates) or "none is kept"
        raise InputError("new boat", [Fault("like", f"a boat's hull number, or a template ({known})", named)])
    return like.shared_facts(boat.vessel(), host.equipment)


def keep_template(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Keep a boat's equipment as a template for the shop.

    form : name
    """
    shop = _state_of(store, SHOP_RECORD)
    facts = like.shared_facts(summary.boat.vessel(), summary.host.equipment)
    name = form.get("name", "")
    there = like.template_named(like.templates_in(shop), name)
    written = like.keep_template(author_after(shop, by), shop, name, facts)
    keep(store, written, now)
    instead = f" It takes the place of what was kept as {there.name}." if there and written else ""
    return f"Kept as a template.{instead} Tablets have it when they next come ashore."


def circuits_seen(vessel: Vessel) -> str:
    """A short name of a boat's circuits as they stand."""
    return hashlib.sha256(circuits_as_csv(vessel.circuits).encode()).hexdigest()[:24]


def take_in_circuits(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Take in a table of circuits: it was made of those on the page, and takes the place of what each row names.

    form : table, saw
    """
    if circuits_seen(summary.boat.vessel()) != form.get("saw"):
        raise Overtaken(
            "A circuit was changed after you opened the page. Compare your table with the circuits as they are now, "
            "then take it in."
        )
    said = circuits_in_csv(form.get("table", ""), "table of circuits")
    home = summary.boat.vessel_home("circuits")
    author = _author_of_facts(summary, home, by)
    entries = circuit_entries.take_in_circuits(author, home, said)
    keep(store, entries, now)
    return f"{in_number(len({name for name, _ in said}), 'circuit')} read, {in_number(len(entries), 'fact')} changed."


def join(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Say that another hull number is the same boat.

    form : other, reason
    """
    other = _other_hull(store, form)
    reason = _reason(form, "why they are one boat")
    if other.hull in summary.boat.state.hull_keys:
        raise InputError("same boat", [Fault("hull number", "one that is not this boat's already", other.hull)])
    here = summary.boat.state
    keep(store, writing.same_boat(author_after(here, by, other), here, other, reason), now)
    return f"{other.hull_number} and {here.hull_number} are now one boat."


def part(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Take back that another hull number is the same boat.

    form : other, reason
    """
    other = _other_hull(store, form)
    reason = _reason(form, "why they are two boats")
    written = []
    for one, another in ((summary.key, other.hull), (other.hull, summary.key)):
        state = _state_of(store, one)
        keys = [key for key in state.registers if _joins(state, key, another)]
        written += [writing.retract(author_after(state, by), state, key, reason) for key in keys]
    if not written:
        raise InputError("two boats", [Fault("hull number", "one said to be this boat's", other.hull)])
    keep(store, written, now)
    here, there = (open_boat(store, number)[0].state for number in (summary.key, other.hull))
    kept = [(here, key) for key in outlived_a_joining(here, there)]
    kept += [(there, key) for key in outlived_a_joining(there, here)]
    return f"{other.hull_number} is a separate boat again." + _what_outlived(summary, kept)


def move(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Move a job written under a wrong hull number to the hull it belongs to.

    form : job, other, reason
    """
    job = summary.job(form.get("job", ""))
    if job is None:
        raise _no_job(summary)
    other = _other_hull(store, form)
    reason = _reason(form, "why the job belongs to the other hull")
    if other.hull in summary.boat.state.hull_keys:
        raise InputError("move", [Fault("hull number", "another boat's", other.hull)])
    home = summary.boat.state_of(job.id)
    author = author_after(home, by, other)
    parts = [writing.move_job(author, state, other, job.id, reason) for state in summary.boat.states_to_move(job.id)]
    keep(store, [*chain.from_iterable(parts)], now)
    there = open_boat(store, other.hull)[0]
    told = _what_came(there, job.id, home, summary.host)
    return f"The job now belongs to {other.hull_number}.{told} Nothing was rewritten, and you can move it back."


def _what_came(there: Boat, job: str, old: HullState, host: PluginHost) -> str:
    """What came along with a moved job and what stayed, in sentences; nothing for one that is back where it was."""
    came = came_along(there, job, old, host)
    if came is None:
        return ""
    number = there.state.hull_number
    told = f" Came along: {came.counted}."
    if came.facts:
        told += f" From {old.hull_number}, as {number} has none of its own: {', '.join(came.facts)}."
    if came.stayed:
        told += f" Stayed with {old.hull_number}, as what is entered for {number} holds: {', '.join(came.stayed)}."
    for kind, names in came.unused.items():
        told += f" Not used: readings of {', '.join(names)}, which are not among the {kind} of {number}."
        told += " Enter them there, or measure again."
    return told


def join_jobs(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Join a job into another of the boat that was opened for the same piece of work.

    form : job, into, reason
    """
    job, into = (summary.job(form.get(name, "")) for name in ("job", "into"))
    if job is None or into is None:
        raise _no_job(summary)
    state = summary.boat.state
    reason = _reason(form, "why the two are one job")
    keep(store, [writing.join_job(author_after(state, by), state, job.id, into.id, reason)], now)
    return "The two are now one job. Nothing was rewritten, and you can undo it."


def part_jobs(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Take back that a job was joined into another.

    form : job, reason
    """
    job = form.get("job", "")
    home = summary.boat.state_of(job)
    pair = (job, summary.boat.joined(job))
    keep(store, [writing.part_job(author_after(home, by), home, job, _reason(form, "why they are two jobs"))], now)
    parted = open_boat(store, home.hull)[0].state
    kept = [(parted, key) for key in outlived_a_joining(parted, parted) if key.job in pair]
    return "It is a separate job again." + _what_outlived(summary, kept)


def _what_outlived(summary: BoatSummary, kept: Iterable[tuple[HullState, RegisterKey]]) -> str:
    """What was chosen while two were one, in words, so that nobody takes it for a value of its own."""
    chosen = [
        f"{register_in_words(key, summary.host)} "
        f"({', '.join(filter(None, (state.hull_number, key.job and summary.job_name(key.job))))})"
        for state, key in kept
    ]
    if not chosen:
        return ""
    return (
        f" Chosen while they were one, and kept where it was written: {'; '.join(chosen)}. "
        "The other has its own value again. Look at each, and measure or choose again what is wrong."
    )


def end_unfinished(store: Store, summary: BoatSummary, now: int) -> None:
    """Write the halves that are missing of earlier decisions about a boat.

    errors : storage.NotSaved
    """
    keep(store, [half.entry for half in summary.boat.unfinished if half.is_sure], now)


def set_for_shop(
    store: Store, setting: Setting, form: Mapping[str, str], by: str, now: int, picture: str | None = None
) -> str:
    """Set one of the shop's settings, or with `reset` in the form take back what was set.

    form    : saw, reason, and value or reset
    picture : the value of a setting that is one
    """
    record = settings.record_of(store)
    if settings.saw(record, setting.key) != form.get("saw"):
        raise Overtaken("This setting was changed after you opened the form. Look at it again, then decide.")
    author, managers = author_after(record, by), managers_devices(store.register)
    title, reason = setting.field.title, form.get("reason", "")
    if form.get("reset"):
        keep(store, [reset_setting(author, record, setting.key, reason, managers=managers)], now)
        return f"{title}: nothing is set any more. The default holds for every job that is not signed."
    value = settings.typed(setting, form) if picture is None else picture
    keep(store, [set_setting(author, record, setting.key, value, reason, managers=managers)], now)
    held_by = "" if picture is not None else ", for every job that is not signed"  # a book prints the picture of today
    return f"{title} is {value_in_words(value)} now{held_by}."


def plan_job(store: Store, boat: Boat, job: str, said: Mapping[str, str], by: str, now: int) -> int:
    """Keep what a manager plans for a job; how many entries were written.

    said   : as `plans.plan_entries` takes it
    errors : InputError, storage.NotSaved
    """
    home = boat.state_of(job)
    entries = plan_entries(author_after(home, by), home, job, said)
    keep(store, entries, now)
    return len(entries)


def put_aside(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Set a job aside that will not be finished. form: job; reason; saw

    errors : InputError, also for a job that is handed over; Overtaken; storage.NotSaved
    """
    home, jobs = _job_with_parts(summary, form)
    job = summary.job(jobs[0])
    if job is not None and job.is_handed_over:
        raise InputError("set aside", [Fault("job", "one that is not handed over", "a job that is")])
    aside = set_aside_of(home, jobs)
    if aside is not None and aside.holds:
        return f"{aside.by} set it aside before. Nothing was changed."
    if seen_by_now(home, jobs) != form.get("saw"):
        raise Overtaken("A tablet brought something for this job after you opened the page. Look at it, then decide.")
    keep(store, [set_aside(author_after(home, by), home, jobs, form.get("reason", ""))], now)
    return "The job is set aside. It is open again when a tablet brings something new for it."


def take_up(store: Store, summary: BoatSummary, form: Mapping[str, str], by: str, now: int) -> str:
    """Take a job up again that was set aside. form: job"""
    home, jobs = _job_with_parts(summary, form)
    entries = taken_up(author_after(home, by), home, jobs)
    keep(store, entries, now)
    return "The job is open again." if entries else "It was not set aside. Nothing was changed."


def _job_with_parts(summary: BoatSummary, form: Mapping[str, str]) -> tuple[HullState, tuple[str, ...]]:
    """The state that holds the job a form names, and its id with those joined into it."""
    job = form.get("job", "")
    if job not in summary.boat.jobs:
        raise _no_job(summary)
    home = summary.boat.state_of(job)
    return home, (job, *home.parts(job))


def _joins(state: HullState, key: RegisterKey, other: str) -> bool:
    named = [entry.value for entry in state.current(key)] if key.kind == "alias" else []
    return any(isinstance(value, dict) and hull_number.key(str(value.get("hull") or "-")) == other for value in named)


def _disagreement(summary: BoatSummary, form: Mapping[str, str]) -> tuple[HullState, RegisterKey]:
    found = summary.choice(form.get("slot", ""))
    if found is None:
        raise Overtaken("This was settled before, by you or by someone else. Nothing was changed.")
    if seen_in(*found) != form.get("saw"):
        raise Overtaken("Another value arrived while you were choosing. Compare all values, then choose.")
    return found


def _other_hull(store: Store, form: Mapping[str, str]) -> HullState:
    typed = form.get("other", "").strip()
    hull_number.refuse_no_boat(typed)
    state = _state_of(store, hull_number.key(typed)) if typed else None
    if state is None or not len(state):
        raise InputError("hull number", [Fault("other hull number", "one that is here", repr(typed))])
    return state


def _state_of(store: Store, key: str) -> HullState:
    return replay(key, (view(name, raw) for name, raw in store.get(key, store.ids(key)).items()))


def _reason(form: Mapping[str, str], expected: str) -> str:
    reason = form.get("reason", "").strip()
    if not reason:
        raise InputError("decision", [Fault("reason", expected, "nothing")])
    return reason


def _no_job(summary: BoatSummary) -> InputError:
    return InputError(
        "job",
        [Fault("job", f"one of {'; '.join(summary.job_name(one.id) for one in summary.jobs) or 'none'}", "another")],
    )


def keep(store: Store, entries: Iterable[Entry], now: int) -> None:
    """Keep what was written on the page, as one: all of it, or nothing, or the rest later by itself.

    errors : storage.NotSaved when nothing is kept; KeptToFinish when the rest follows
    """
    offered: dict[str, CheckedEntries] = {}
    for entry in entries:
        offered.setdefault(entry.hull_key, CheckedEntries())[entry.id] = entry.raw
    for _, reason in store.put_together(offered, ON_THE_PAGE, now).refused:
        raise reason
