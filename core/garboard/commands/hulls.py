"""Commands on folders of hull files: merge, show, settle, mend."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from difflib import get_close_matches
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import attrs
import click

from garboard import hull_number
from garboard.commands.tools import (
    BAD_INPUT,
    SOMETHING_FAILS,
    checked_value,
    declared_setting,
    no_step,
    reading_shown,
    record_in_words,
    refuse_crossed,
    settled_value,
    write_file,
)
from garboard.disk.clock import moment_in_words
from garboard.disk.entries import Entry, view
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import file_name
from garboard.disk.scratch import ScratchFolder
from garboard.disk.storage import Loss
from garboard.faults import Fault, InputError, in_number, shown
from garboard.history import authoring as writing
from garboard.history import backup, exchange, plans
from garboard.history.authoring import Author
from garboard.history.authority import SHOP_FOLDER, THE_SHOP_ITSELF, managers_part
from garboard.history.boat import Boat, author_for, open_hull, register_named, replay_with_aliases
from garboard.history.boat import attach as keep_with_step
from garboard.history.halves import MissingHalf, save_in_turn
from garboard.history.merge import HullMerge, MergeReport, boat_by_boat, by_what_changed, merge
from garboard.history.moves import JOINING
from garboard.history.past import TAKING_BACK, history_of, outlived_a_joining
from garboard.history.registers import RegisterKey, name_of, retractions_in
from garboard.history.replay import HullState, replay
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import names_in_words
from garboard.job_files.job_file import JobFile, check, files_not_there, located, read_job_file, settings_faults
from garboard.records import JsonValue
from garboard.report.data_files import ENDINGS
from garboard.report.terminal import Tools
from garboard.report.visible import visible_name
from garboard.settings import in_force
from garboard.shop_link.pairing import may_decide, writes_as

if TYPE_CHECKING:
    from garboard.report.data_tables import DataTable, Row

_MOST_NAMED = 12
"""So many boats are named to whoever asks for one that is not here."""
Command = TypeVar("Command", bound=Callable[..., None])

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
tablet_option = click.option(
    "--tablet", default="", help="Name under which this machine writes. Default: the name the folder keeps."
)
job_option = click.option("--job", default="", help="Job id. Not needed if the boat has one job.")


def _signed(command: Command) -> Command:
    """Options of every command that writes: who, and why."""
    for option in (
        click.option("--by", required=True, help="Who decides this."),
        click.option("--reason", required=True, help="The reason. It is saved with the decision."),
        tablet_option,
    ):
        command = option(command)
    return command


@click.command("merge", short_help="Merge folders of sticks, shares or tablets into one.")
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--into",
    "target",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder of hull files to merge into. It is created if it does not exist.",
)
@click.option("--dry-run", is_flag=True, help="Report what a merge would do. Write nothing.")
@click.option("--both-ways", is_flag=True, help="Then merge the result back into every source.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON, for other programs.")
def merge_folders(sources: tuple[Path, ...], target: Path, dry_run: bool, both_ways: bool, as_json: bool) -> None:
    """Merge SOURCES (a stick, a share, a tablet's folder) into a folder.

    Exit status 0: everything is merged. Exit status 1: not everything is, or a file is damaged or missing; the report
    names it.
    """
    reports = [_merge(sources, target, dry_run)]
    _print_report(reports[0], as_json)
    if both_ways and not dry_run:
        for source in sources:
            reports.append(_merge((target,), source, dry_run))
            _print_report(reports[-1], as_json)
    if any(report.damage or not report.complete for report in reports):
        sys.exit(SOMETHING_FAILS)


def _merge(sources: tuple[Path, ...], target: Path, dry_run: bool) -> MergeReport:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    with ExitStack() as stack:
        folders = [stack.enter_context(HullFolder(source, read_only=True)) for source in sources]
        imagined = dry_run and not target.is_dir()
        place = Path(stack.enter_context(ScratchFolder("merge"))) if imagined else target
        into = stack.enter_context(HullFolder(place, read_only=dry_run and not imagined))
        columns = (TextColumn("merging"), BarColumn(), MofNCompleteColumn(), TextColumn("hulls {task.description}"))
        bar = stack.enter_context(Progress(*columns, console=Console(stderr=True), transient=True))
        task = bar.add_task("", total=sum(len(folder.hulls()) for folder in folders))
        report = merge(
            folders, into, dry_run=dry_run, progress=lambda hull: bar.update(task, advance=1, description=hull)
        )
        return attrs.evolve(report, target=target)


def _print_report(report: MergeReport, as_json: bool) -> None:
    tools = click.get_current_context().ensure_object(Tools)

    def told(names: Iterable[str]) -> str:
        """Named as `assess` and the shop's pages name them: by the plugins that the folder's shop has approved."""
        host = tools.host_for(report.target) if report.target.is_dir() else tools.host  # a dry run makes no folder
        return names_in_words(names, host)

    click.echo(json.dumps(plain_report(report), indent=1) if as_json else readable_report(report, told))


def plain_report(report: MergeReport) -> dict[str, JsonValue]:
    """A merge report as plain data: format, version, target, sources, dry_run, complete, hulls, attachments ..."""
    return {
        "format": "garboard merge",
        "version": 1,
        "target": str(report.target),
        "sources": [str(source) for source in report.sources],
        "dry_run": report.dry_run,
        "complete": report.complete,
        "came": report.received,
        "attachments": report.attachments,
        "hulls": [plain_hull(hull) for hull in report.hulls],
        "refused": plain_reasons(report.refused),
        "damage": [str(damage) for damage in report.damage],
        "lost": plain_losses(report.lost),
        "missing": {**dict(report.missing)},
        "mended": [*report.mended],
        "strays": dict(report.strays),
        "beside": {str(file): str(kept) for file, kept in report.beside},
        "not_read": {**dict(report.not_read)},
    }


def plain_hull(hull: HullMerge) -> JsonValue:
    """What came in of one hull as plain data: the same whether by merging or by coming ashore."""
    return {
        "hull": hull.hull,
        "came": hull.received,
        "already": hull.existing,
        "disagreeing": [{"job": key.job, "name": name_of(key)} for key in hull.disagreeing],
        "stale": [{"sign_off": who, "not_covered": list(what)} for who, what in hull.stale],
        "look_alikes": list(hull.look_alikes),
    }


def plain_reasons(refused: Iterable[tuple[str, InputError | str]]) -> list[JsonValue]:
    """What could not be kept, and why, as plain data."""
    return [{"entry": name, "reason": str(reason)} for name, reason in refused]


def plain_losses(lost: Iterable[Loss]) -> list[JsonValue]:
    """What damaged hull files held and nobody at hand holds, as plain data."""
    return [
        {"file": str(one.file), "entries": one.entries, "cut": one.cut, "tail": one.tail, "gone": one.gone}
        for one in lost
    ]


def readable_report(report: MergeReport, told: Callable[[Iterable[str]], str] = ", ".join) -> str:
    """A merge report for a person: what came first, then everything to look at.

    told : names of values in words; see `titles.names_in_words`
    """
    new = "would be new" if report.dry_run else "new"
    entries, files = in_number(report.received, "entry", "entries"), in_number(report.attachments, "attachment")
    lines = [f"{new[0].upper()}{new[1:]} in {report.target}: {entries} and {files}"]
    for hull in boat_by_boat(report.hulls):
        numbers = ", also ".join((record_in_words(hull.hull), *hull.also))
        lines.append(f"  {numbers}: {hull.received} {new}, {hull.existing} there already")
        lines += [
            f"    values disagree: {told([name_of(key)])} ({f'job {key.job}' if key.job else 'of the vessel'})"
            for key in hull.disagreeing
        ]
        lines += [f"    {line}" for line in stale_in_words(hull.stale, told)]
        if hull.look_alikes:
            lines.append(f"    looks like {hull.alike_in_words}. One boat? Use `garboard same-boat`")
    lines += [f"  refused, still in its source: {name}: {reason}" for name, reason in report.refused]
    lines += [f"  {_kept_in_words(report)}, shown as unreadable: {name}: {reason}" for name, reason in report.strays]
    lines += [f"  damage: {damage}" for damage in report.damage]
    lines += [f"  lost in its file, and not in the target: {loss}" for loss in report.lost]
    lines += [
        f"  missing on both sides: {called or 'an attachment'} ({name[:12]}), which an entry names"
        for name, called in report.missing
    ]
    lines += [f"  kept whole in the target, as it is damaged: {file.name} as {kept}" for file, kept in report.beside]
    lines += [f"  damaged here, replaced by a sound copy: attachment {name}" for name in report.mended]
    lines += [f"  not read, so not merged: {file}: {reason}" for file, reason in report.not_read]
    return "\n".join([*lines, *([] if report.dry_run else [_counted(report)])])


def stale_in_words(stale: Iterable[tuple[str, tuple[str, ...]]], told: Callable[[Iterable[str]], str]) -> Iterator[str]:
    """Signatures that went stale, each with what was changed; the same change is told once for all who signed."""
    for names, who in by_what_changed(stale).items():
        yield f"signature stale: {'; '.join(who)}: sign again. Changed: {told(names)}"


def _kept_in_words(report: MergeReport) -> str:
    return "no entry, would be kept" if report.dry_run else "no entry, kept"


def _counted(report: MergeReport) -> str:
    if report.not_read:
        return "NOT everything is merged: what could not be read is named above. Make it readable, then merge again"
    if report.lost:
        return (
            "NOT everything is merged, only what could be read: what is lost is named above. Merge with the shop, or "
            "with where it was written"
        )
    if report.refused:
        return "NOT everything is merged: all but what was refused above"
    if report.missing:
        return (
            "every entry is merged, but NOT what is missing on both sides, named above. Merge with the shop, or with "
            "where it was taken"
        )
    if not report.complete:
        return "NOT everything is merged: merge again"
    if report.damage:
        return "both sides counted: everything is merged. A damaged file is named above: look at its disk or card"
    return "both sides counted: everything is merged"


@click.command("show", short_help="Show what a boat holds, or the history of a value.")
@folder_argument
@click.argument("hull")
@job_option
@click.option("--value", "name", default="", help="Show the history of one value, named as in the listing.")
def show(folder: Path, hull: str, job: str, name: str) -> None:
    """Show a boat: its current values, disagreements, values taken back, signatures. Or show one value's history."""
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, hull)
        if not len(boat.state):
            raise InputError(str(folder), [Fault("hull", known_in(hulls), repr(hull))])
        for half in boat.unfinished:
            click.echo(f"UNFINISHED: {half}. The next command that writes here ends it, and so does 'garboard repair'.")
        tell_not_read(hulls)
        if name:
            click.echo("\n".join(map(visible_name, _history(*_named(boat, chosen_job(boat, job), name)))))
            return
        for one in (job,) if job and job not in boat.moved_away else () if job else boat.jobs:
            click.echo("\n".join(map(visible_name, _listing(boat, one))))
        for one, target in boat.moved_away.items():
            if job in ("", one):
                click.echo(f"{boat.state.hull_number}, job {one}: moved to {target}: garboard show {folder} {target}")


def _listing(boat: Boat, job: str) -> Iterator[str]:
    state = boat.state_of(job)
    yield f"{boat.state.hull_number}, job {job}"
    if state.hull != boat.state.hull:
        yield f"  moved here from {state.hull_number}"
    for part in state.parts(job):
        (said,) = state.current(RegisterKey("move", part, JOINING))
        yield f"  with job {part}, joined into it by {said.by}"
    if (aside := plans.aside_in(state, job)) is not None:
        yield f"  {aside.in_words}"
    registers = {key: home for home, key in boat.registers(job) if key.kind == "field" or key.job == job}
    for key, home in sorted(registers.items(), key=lambda one: one[0]):
        if home.current(key) and (key.kind in ("field", "measure") or home.disagrees(key)):
            yield f"{'  DISAGREES  ' if home.disagrees(key) else '  '}{_standing(home, key)}"
    for key, home in sorted(registers.items(), key=lambda one: one[0]):
        taken_back = (  # two tablets' equal values, taken back together, are one to read
            f"  taken back by {one.by}: {name_of(key)} {_text(one.entry.value)}: {one.reason}"
            for one in retractions_in(home.registers[key])
        )
        yield from dict.fromkeys(taken_back)
    yield from _signatures(state, job)
    for one in boat.view(job).unreadable:
        place = "/".join(filter(None, one.place)) or "a line of the file"
        by = ", ".join(filter(None, (one.by, moment_in_words(one.at))))
        yield f"  CANNOT BE READ  {place}: {one.got}, expected {one.expected}" + (f" ({by})" if by else "")
    if state.unknown:
        entries = in_number(len(state.unknown), "entry is", "entries are")
        yield f"  {entries} kept for a plugin or a newer version that is not installed"


def _signatures(state: HullState, job: str) -> Iterator[str]:
    stale = {staleness.sign_off.id: staleness for staleness in state.stale(job)}
    for key in sorted(key for key in state.registers if key.kind == "signoff" and key.job == job):
        for entry in state.current(key):
            missing = len(set(map(state.register_of, stale[entry.id].not_covered))) if entry.id in stale else 0
            since = f", STALE: {in_number(missing, 'value')} changed since" if missing else ""
            yield f"  signed by {'/'.join(key.subject)}, {moment_in_words(entry.at)}{since}"


def _standing(state: HullState, key: RegisterKey) -> str:
    """A register with what stands in it, and who entered it when."""
    values = (f"{_text(e.value)} ({e.by}, {moment_in_words(e.at)})" for e in state.current(key))
    return f"{name_of(key)}: {' | '.join(values) or 'taken back'}"


def _history(state: HullState, key: RegisterKey) -> Iterator[str]:
    yield name_of(key)
    for past in history_of(state, key):
        entry = past.entry
        value = "" if past.became == TAKING_BACK else f": {_text(entry.value)}"
        why = f" ({past.reason})" if past.reason else ""
        yield f"  {past.became:<11}  {moment_in_words(entry.at)}  {entry.by} on {entry.tablet}{value}{why}"


def _text(value: JsonValue) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


@click.command("settle")
@folder_argument
@click.argument("hull")
@click.argument("name")
@click.option("--value", required=True, help="The right value: one of those that disagree, or another.")
@job_option
@_signed
@click.pass_obj
def settle(
    tools: Tools, folder: Path, hull: str, name: str, value: str, job: str, by: str, reason: str, tablet: str
) -> None:
    """Choose the right value where several disagree. The others stay in the history."""
    with writing_in(folder, hull, job) as (hulls, boat, job):
        state, key = _named(boat, job, name)
        held = [entry.value for entry in state.current(key)]
        among = [other for other in held if _text(other) == value]
        chosen = among[0] if among else value
        if not among and len(held) > 1:
            chosen = settled_value(tools.host_for(folder), key, value, held)
        if key.kind == "setting":
            host, setting = tools.host_for(folder), key.first
            chosen = checked_value(declared_setting(host, setting), _text(chosen))
            view = boat.view(job)
            values, _ = in_force(host.settings, view.settings_set, view.signed_under)
            refuse_crossed(host, {**values, setting: chosen}, setting)
        author = attrs.evolve(author_of(hulls, state, tablet, by), at_job=boat.facts_of(job, state))
        save_all(hulls, [writing.settle(author, state, key, chosen, reason)])
    click.echo(f"{name} is {_text(chosen)}")


@click.command("attach")
@folder_argument
@click.argument("hull")
@click.argument("step")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--by", required=True, help="Who took it.")
@job_option
@tablet_option
def attach(folder: Path, hull: str, step: str, file: Path, by: str, job: str, tablet: str) -> None:
    """Attach a photo or a recording to a STEP of a job. The book and the boat's page show it, or list it by name."""
    from garboard.recordings import refuse_other_text
    from garboard.report.photo_files import beginning_of, name_of_what_it_is, why_not_shown

    refuse_other_text(file)
    called = name_of_what_it_is(file.name, beginning_of(file))
    with writing_in(folder, hull, job) as (hulls, boat, job):
        state = boat.state_of(job)
        _refuse_unknown(folder, step, {key.first for key in state.registers if key.is_measurement})
        author = author_of(hulls, state, tablet, by)
        save_all(hulls, [keep_with_step(hulls, author, state, job, step, file, called)])
    click.echo(f"{called} is attached to {step}")
    if why := why_not_shown(file):
        click.echo(f"{called} is kept, but no page and no book can show it. {why}", err=True)


def _refuse_unknown(folder: Path, step: str, worked_on: set[str]) -> None:
    """A step is one that something was entered in, or that a plugin here declares."""
    if step not in worked_on:
        host = click.get_current_context().ensure_object(Tools).host_for(folder)
        if host.step(step) is None:
            raise InputError("attach", [no_step("step", step, {*worked_on, *(one.key for one in host.steps)})])


@click.command("take-back")
@folder_argument
@click.argument("hull")
@click.argument("name")
@job_option
@_signed
def take_back(folder: Path, hull: str, name: str, job: str, by: str, reason: str, tablet: str) -> None:
    """Take back a value. It stays readable, struck through, with the reason."""
    with writing_in(folder, hull, job) as (hulls, boat, job):
        state, key = _named(boat, job, name)
        author = attrs.evolve(author_of(hulls, state, tablet, by), at_job=boat.facts_of(job, state))
        save_all(hulls, [writing.retract(author, state, key, reason)])
    click.echo(f"{name} taken back")


@click.command("same-boat")
@folder_argument
@click.argument("hull")
@click.argument("other")
@click.option("--undo", is_flag=True, help="They are two boats after all.")
@_signed
def same_boat(folder: Path, hull: str, other: str, undo: bool, by: str, reason: str, tablet: str) -> None:
    """Record that two hull numbers are one boat. Nothing is rewritten, and --undo reverses it."""
    for number in (hull, other):
        hull_number.refuse_no_boat(number)
    with HullFolder(folder) as hulls:
        was_ended = _end_unfinished(hulls, hull)
        pair = [replay(number, hulls.entries(number)) for number in (hull, other)]
        author = author_of(hulls, pair[0], tablet, by)
        if undo:
            keys = [RegisterKey("alias", "", (there.hull,)) for there in reversed(pair)]
            joined = [(state, key) for state, key in zip(pair, keys, strict=True) if state.current(key)]
            if not joined and not was_ended:
                joined = [(pair[0], keys[0])]  # says that they are two boats already
            entries = [writing.retract(author, state, key, reason) for state, key in joined]
        else:
            entries = [*writing.same_boat(author, pair[0], pair[1], reason)]
        save_all(hulls, entries)
        click.echo(f"{hull} and {other} are " + ("two boats" if undo else "one boat"))
        if undo:
            one, two = (replay_with_aliases(hulls.entries, hull_number.key(number)) for number in (hull, other))
            kept = [(one, key) for key in outlived_a_joining(one, two)]
            _tell_what_outlived(folder, [*kept, *((two, key) for key in outlived_a_joining(two, one))])


def _tell_what_outlived(folder: Path, kept: Sequence[tuple[HullState, RegisterKey]]) -> None:
    """Say what was chosen while two were one, so that nobody takes it for a value of its own."""
    if kept:
        click.echo("Chosen while they were one, and kept where it was written; the other has its own value again:")
        for state, key in kept:
            click.echo(f"  {', job '.join(filter(None, (state.hull_number, key.job)))}: {_standing(state, key)}")
        click.echo(f"Look at each. Take back what is wrong there: garboard take-back {folder} HULL NAME")


@click.command("move-job")
@folder_argument
@click.argument("hull")
@click.argument("job")
@click.option("--to", "target", required=True, help="The hull number the job belongs to.")
@_signed
@click.pass_obj
def move_job(tools: Tools, folder: Path, hull: str, job: str, target: str, by: str, reason: str, tablet: str) -> None:
    """Move a job from a wrong hull number to the right one. Nothing is rewritten, and it can be moved back.

    Its readings go with it. What is entered for the vessel there holds; of what nothing is entered there, what the
    job's old number says of the vessel holds.
    """
    hull_number.refuse_no_boat(target)
    with HullFolder(folder) as hulls:
        ended = _end_unfinished(hulls, hull)
        boat, there = open_hull(hulls, hull), replay(target, hulls.entries(target))
        is_new, old = not len(there), boat.state
        if not any((half.half.job, half.entry.hull_key) == (job, there.hull) for half in ended):
            _refuse_no_job(boat, job)
            old = boat.state_of(job)
            author = author_of(hulls, old, tablet, by)
            parts = [writing.move_job(author, state, there, job, reason) for state in boat.states_to_move(job)]
            save_all(hulls, [*chain.from_iterable(parts)])
        click.echo(f"job {job} belongs to {target}")
        _tell_what_came(tools.host_for(folder), open_hull(hulls, target), job, old)
    if is_new:
        click.echo(
            f"No boat of number {target} was here before: compare it with the transom. If it is wrong, move the job "
            f"on: garboard move-job {folder} {target} {job} --to NUMBER",
            err=True,
        )


def _tell_what_came(host: PluginHost, boat: Boat, job: str, old: HullState) -> None:
    """Say what came with a moved job, whose vessel it is judged with, and which of its readings that leaves unused."""
    from garboard.report.moved import came_along

    if (came := came_along(boat, job, old, host)) is None:
        return
    number = boat.state.hull_number
    click.echo(f"with it: {came.counted}")
    if came.facts:
        click.echo(f"came along, as {number} has none of its own: {', '.join(came.facts)}")
    if came.stayed:
        click.echo(f"as entered for {number}: {', '.join(came.stayed)}")
    for kind, names in came.unused.items():
        click.echo(
            f"not used: readings of {', '.join(names)}, which are not among the {kind} of {number}. Enter them there, "
            "or measure again",
            err=True,
        )


@click.command("join-job")
@folder_argument
@click.argument("hull")
@click.argument("job")
@click.option("--into", default="", help="The other job of the same boat.")
@click.option("--undo", is_flag=True, help="They are two jobs after all.")
@_signed
def join_job(folder: Path, hull: str, job: str, into: str, undo: bool, by: str, reason: str, tablet: str) -> None:
    """Join two jobs that were opened for the same work. Nothing is rewritten, and --undo reverses it."""
    with HullFolder(folder) as hulls:
        _end_unfinished(hulls, hull)
        boat = open_hull(hulls, hull)
        if undo:
            home = boat.state_of(job)
            pair = (job, boat.joined(job))
            save_all(hulls, [writing.part_job(author_of(hulls, home, tablet, by), home, job, reason)])
        else:
            for one in (job, into):
                _refuse_no_job(boat, one)
            save_all(hulls, [writing.join_job(author_of(hulls, boat.state, tablet, by), boat.state, job, into, reason)])
        click.echo(f"job {job} is a separate job again" if undo else f"job {job} is joined into {into}")
        if undo:
            parted = replay_with_aliases(hulls.entries, home.hull)
            kept = [(parted, key) for key in outlived_a_joining(parted, parted) if key.job in pair]
            _tell_what_outlived(folder, kept)


@click.command("set-aside", short_help="Set a job aside that will not be finished.")
@folder_argument
@click.argument("hull")
@job_option
@click.option("--undo", is_flag=True, help="Take the job up again.")
@_signed
def set_job_aside(folder: Path, hull: str, job: str, undo: bool, by: str, reason: str, tablet: str) -> None:
    """Set a job aside that will not be finished, such as of a boat that was withdrawn. All that was entered stays.

    No open list of the shop's board and no number counts it. It is open again with --undo, or when a tablet brings
    something new for it.
    """
    from garboard.report.outline import is_handed_over

    with writing_in(folder, hull, job) as (hulls, boat, job):
        home = boat.state_of(job)
        jobs, author = (job, *home.parts(job)), author_of(hulls, home, tablet, by)
        before = plans.set_aside_of(home, jobs)
        said = f"is {'open again' if undo else 'set aside'}"
        if undo and before is None:
            said = "was not set aside. Nothing was changed"
        elif undo:
            save_all(hulls, plans.taken_up(author, home, jobs, reason))
        elif before is not None and before.holds:
            said = f"was set aside before by {before.by}. Nothing was changed"
        elif is_handed_over(boat.view(job)):
            raise InputError("set-aside", [Fault("job", "one that is not handed over", f"{job}, which is")])
        else:
            save_all(hulls, [plans.set_aside(author, home, jobs, reason)])
    click.echo(f"job {job} {said}")


@click.command("import", short_help="Import a job file or a backup into a folder.")
@click.argument("job_file", metavar="FILE", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--into",
    "folder",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder of hull files to import into. It is created if it does not exist.",
)
@click.option("--by", required=True, help="Who imports it. Values that already name a person keep that name.")
@click.option(
    "--anyway",
    is_flag=True,
    help="Import it although its hull number is not well formed, or values do not fit their fields.",
)
@tablet_option
@click.pass_obj
def import_job(tools: Tools, job_file: Path, folder: Path, by: str, anyway: bool, tablet: str) -> None:
    """Import FILE, a job file or a tablet's backup, into a folder of hull files. A second import adds nothing.

    A backup is a zip that a tablet made of all its boats. It is merged as `garboard merge` does, with the same exit
    status, and every entry keeps who wrote it.

    Everything merges by hull number, so a number that is not well formed is refused; `garboard hull` explains why.
    It is taken with --anyway, or if the folder already holds that boat.

    Values that do not fit their fields, or whose file is not beside FILE, are refused, all at once. With --anyway they
    are kept as they are; whoever judges the boat is asked about each. A file that `garboard export` wrote is taken as
    it is.
    """
    if backup.is_zip(job_file):
        _import_backup(job_file, folder)
        return
    read = read_job_file(job_file, tools.host_for(folder))
    if not anyway:
        _refuse_unless_well_formed(read.vessel.hull_number, folder)
    _refuse_what_does_not_fit(read, job_file, tools.host_for(folder), anyway=anyway)
    with HullFolder(folder) as hulls:
        state = replay(read.vessel.hull_number, hulls.entries(read.vessel.hull_number))
        changed: list[str] = []
        author = author_of(hulls, state, tablet, by)
        hull, added = exchange.import_job(hulls, read, job_file.parent, author, changed.append)
    click.echo(f"{hull}: {in_number(added, 'new entry', 'new entries')}")
    for file in changed:
        click.echo(
            f"not taken in: {file}. It is not the file that its entry names: it was changed, or exported without "
            "places. Ask for an export that holds it as it is.",
            err=True,
        )


def _import_backup(file: Path, folder: Path) -> None:
    with HullFolder(folder) as hulls:
        left_out = backup.list_of(file).left_out_in_words
        report = backup.take_back(file, hulls)
    _print_report(attrs.evolve(report, target=folder), as_json=False)
    for one in left_out:
        click.echo(f"not whole when the backup was made: {one}", err=True)
    if report.damage or left_out or not report.complete:
        sys.exit(SOMETHING_FAILS)


def _refuse_what_does_not_fit(read: JobFile, job_file: Path, host: PluginHost, *, anyway: bool) -> None:
    """Settings that no boat could be judged by, and values that are not what their fields take.

    What an export carries was entered elsewhere: nobody here can correct it in the file, and it is asked about.
    """
    settings = [*settings_faults(read.settings, host)]
    values = [] if read.entries else [*check(read, host, job_file.parent), *files_not_there(read, job_file.parent)]
    if settings or (values and not anyway):
        if values:
            click.echo("Nothing was imported. To keep values that do not fit as they are, use --anyway.", err=True)
        raise InputError(str(job_file), located(job_file, [*settings, *values]))
    if values:
        kept = in_number(len(values), "value that does not fit its field", "values that do not fit their fields")
        click.echo(f"{job_file}: keeping {kept}; 'garboard assess' asks about each.", err=True)


def _refuse_unless_well_formed(number: str, folder: Path) -> None:
    from garboard.commands.hull import why_not
    from garboard.judging.assessing import is_hull_folder

    try:
        for doubt in hull_number.parse(number).doubts:
            click.echo(f"Hull number {number}, check it: {doubt}.", err=True)
    except InputError as failure:
        if is_hull_folder(folder):
            with HullFolder(folder, read_only=True) as hulls:
                if hull_number.key(number) in hulls.boats():
                    return
        click.echo(why_not(number, failure), err=True)
        click.echo(
            "Nothing was imported. If the transom shows this very number, use --anyway.",
            err=True,
        )
        sys.exit(BAD_INPUT)


@click.command("export", short_help="Export a job as a file, or everything as tables.")
@folder_argument
@click.argument("hull", default="")
@job_option
@click.option(
    "-o",
    "--out",
    required=True,
    type=click.Path(path_type=Path),
    help="The folder to write a job file into; it is created if it does not exist. Or a file: FILE.zip, FILE.duckdb.",
)
@click.option("--without-samples", is_flag=True, help="Leave the samples of recordings out of the tables.")
@click.option("--names", is_flag=True, help="Name the boats' owners in the tables.")
@click.option(
    "--without-places", is_flag=True, help="Leave out of a job's photos where and with what camera they were taken."
)
@click.pass_obj
def export(
    tools: Tools,
    folder: Path,
    hull: str,
    job: str,
    out: Path,
    without_samples: bool,
    names: bool,
    without_places: bool,
) -> None:
    """Export a job as a job file with its recordings, or everything as tables.

    With HULL, and a folder as OUT: one job. An import elsewhere gives every entry the same id. A job file that stands
    there is replaced if all its entries are in the new one; any other is kept, and the export refused.

    Photos go as they were signed for. If one says where it was taken, the command says so; --without-places writes
    the photos without that, and an import elsewhere does not take these.

    With FILE.zip or FILE.duckdb as OUT: boats, jobs, plans, values, findings with their numbers, recordings, people and
    days of all boats, or of HULL, one observation a row. The zip holds them as Parquet, as CSV and as a workbook. The
    table "dictionary" says what every column means. In the place of an owner's name stands "owner", unless --names
    asks for it; who works at the shop is named.

    Exit status 0: everything is in it. Exit status 1: a recording, a photo or a hull file is not
    here whole.
    """
    if out.suffix.lower() in ENDINGS:  # they hold no photos
        _export_tables(tools, folder, hull, job, out, with_samples=not without_samples, with_owners=names)
    elif hull:
        _export_job(tools, folder, hull, job, out, without_places=without_places)
    else:
        expected = "a hull number, to export its job into a folder; or FILE.zip or FILE.duckdb, for tables of all boats"
        raise InputError("export", [Fault("HULL", expected, "none")])


def _export_tables(
    tools: Tools, folder: Path, hull: str, job: str, out: Path, *, with_samples: bool, with_owners: bool
) -> None:
    from garboard.report.data_files import write_tables
    from garboard.report.data_tables import Collector, jobs_in_folder

    host = tools.host_for(folder)
    tools.tell_broken_plugins(host)
    left_out: dict[tuple[str, str], None] = {}  # each once, in order
    jobs = 0

    def rows() -> Iterator[tuple[DataTable, Row]]:
        nonlocal jobs
        collector = Collector(host, with_samples=with_samples, with_owners=with_owners)
        for one in jobs_in_folder(hulls, host, hull):
            if job in ("", one.view.job.id):
                jobs += 1
                yield from collector.rows_of(one)
                left_out.update(dict.fromkeys(collector.files_not_here(one, hulls.attachments.__contains__)))
        if job and not jobs:
            raise InputError("export", [Fault("--job", "the id of a job that is here", repr(job))])
        unreadable = [(str(path), why) for path, why in sorted(hulls.left_alone.items())]
        damaged = [(str(damage.file), str(damage)) for damage in hulls.damage()]
        left_out.update(dict.fromkeys([*unreadable, *damaged]))
        named = {Path(file).name for file, _ in left_out}
        for key, lacking in hulls.unread().items():  # also of files that were mended before
            if file_name(key) not in named:
                left_out[file_name(key), f"{in_number(lacking, 'entry', 'entries')} not readable, not back"] = None
        yield from collector.last_rows(left_out)

    with HullFolder(folder, read_only=True) as hulls:
        if hull and not len(open_hull(hulls, hull).state):
            raise InputError(str(folder), [Fault("hull", known_in(hulls), repr(hull))])
        with reading_shown():
            write_tables(rows(), out, write_file)
    click.echo(f"{out}: {in_number(jobs, 'job')}")
    for what, why in left_out:
        click.echo(f"not in it, or not whole: {what}: {why}", err=True)
    if left_out:
        sys.exit(SOMETHING_FAILS)


def _export_job(tools: Tools, folder: Path, hull: str, job: str, out: Path, *, without_places: bool) -> None:
    lacking: list[str] = []
    talks: Counter[exchange.Talk] = Counter()
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, hull)
        path = exchange.export_job(
            hulls,
            boat,
            chosen_job(boat, job),
            out,
            tools.host_for(folder).settings,
            without_places=without_places,
            lacking=lambda file, why: lacking.append(f"{file}: {why}"),
            talks=lambda talk: talks.update([talk]),
        )
        tell_not_read(hulls)
        is_whole = not (lacking or hulls.left_alone or hulls.damage())
    click.echo(str(path))
    for one in _talks_in_words(talks):
        click.echo(one, err=True)
    for one in lacking:
        click.echo(f"not in it: {one}", err=True)
    if not is_whole:
        sys.exit(SOMETHING_FAILS)


def _talks_in_words(talks: Mapping[exchange.Talk, int]) -> Iterator[str]:
    """What the photos of an export say besides what is seen, each kind counted, and how to leave it out."""
    says = {
        exchange.Talk.PLACE: "{photos} in it {say} where {they} taken",
        exchange.Talk.WORDS: "{photos} in it {say} with what camera {they} taken, or other words",
        exchange.Talk.NOT_KNOWN: "{files} in it may say where {they} taken, and cannot be looked into here",
    }
    for talk, sentence in says.items():
        if count := talks.get(talk, 0):
            yield sentence.format(
                photos=in_number(count, "photo"),
                files=in_number(count, "file"),
                say="says" if count == 1 else "say",
                they="it was" if count == 1 else "they were",
            )
    if talks:
        yield "to leave that out: --without-places"


@contextmanager
def writing_in(folder: Path, hull: str, job: str) -> Iterator[tuple[HullFolder, Boat, str]]:
    """A folder, a boat in it and the job a person means, for a command that writes there."""
    with HullFolder(folder) as hulls:
        _end_unfinished(hulls, hull)
        boat = open_hull(hulls, hull)
        if not len(boat.state):
            raise InputError(str(folder), [Fault("hull", known_in(hulls), repr(hull))])
        tell_not_read(hulls)
        yield hulls, boat, chosen_job(boat, job)


def chosen_job(boat: Boat, job: str) -> str:
    """The job a person means: the one named, or the boat's only one."""
    if job or not boat.jobs:
        _refuse_no_job(boat, job)
    elif len(boat.jobs) > 1:
        several, names = f"none, and this boat has {len(boat.jobs)} jobs", " or ".join(boat.jobs)
        raise InputError("--job", [Fault("job", "a job's id", several, cure=f"name {names} with --job")])
    return job or boat.jobs[0]


def tell_not_read(hulls: HullFolder) -> None:
    """Name what could not be read, or not whole, so far."""
    for path, reason in sorted(hulls.left_alone.items()):
        click.echo(f"not read, so not in this: {path}: {reason}", err=True)
    for damage in hulls.damage():
        click.echo(f"damage: {damage}", err=True)


def _refuse_no_job(boat: Boat, job: str) -> None:
    if job in boat.jobs:
        return
    gone = [(one, target) for one, target in boat.moved_away.items() if job in ("", one)]
    cure = "; ".join(f"job {one} moved to {target}, so name that hull number" for one, target in gone)
    expected = f"one of {', '.join(boat.jobs)}" if boat.jobs else f"a job on {boat.state.hull_number}"
    raise InputError("--job", [Fault("job", expected, repr(job) if job else "none", cure=cure)])


def _named(boat: Boat, job: str, name: str) -> tuple[HullState, RegisterKey]:
    try:
        return register_named(boat, job, name)
    except KeyError:
        there = {name_of(key) for _, key in boat.registers(job)}
        near = get_close_matches(name, sorted(there), n=3)
        expected = "a value as `garboard show` lists it" + (f", perhaps {' or '.join(near)}" if near else "")
        raise InputError("value", [Fault("NAME", expected, shown(name))]) from None


def known_in(hulls: HullFolder) -> str:
    """The boats here, for whoever named another; of many the first."""
    boats = hulls.boats()
    more = f" and {len(boats) - _MOST_NAMED} more" if len(boats) > _MOST_NAMED else ""
    return f"one of {', '.join(boats[:_MOST_NAMED]) or 'none'}{more}"


def author_of(hulls: HullFolder, state: HullState, tablet: str, by: str) -> Author:
    """Who writes, as the folder knows this machine.

    Raises InputError for a name that stands for the shop itself, outside the shop's own folder: what is written under
    it would count as a manager's wherever it is brought.
    """
    if tablet.strip().casefold() in THE_SHOP_ITSELF and not (hulls.folder / SHOP_FOLDER).is_dir():
        expected = "another name: this one is the shop's own, and only its folder writes under it"
        raise InputError(str(hulls.folder), [Fault("--tablet", expected, repr(tablet))])
    return author_for(hulls, state, tablet or writes_as(hulls.folder), by)


def _leave_to_the_manager(hulls: HullFolder, entries: Iterable[Entry]) -> None:
    """In a folder paired as a technician's nobody decides what the shop would not take from there."""
    if may_decide(hulls.folder):
        return
    for entry in entries:
        replaced = [view(name, raw) for name, raw in hulls.get(entry.hull_key, entry.replaces).items()]
        if part := managers_part(entry, replaced):
            expected = "a manager's; measure again, or leave it to the manager on the day sheet"
            raise InputError(str(hulls.folder), [Fault("role", expected, f"a technician's, and this {part}")])


def save_all(hulls: HullFolder, entries: tuple[Entry, ...] | list[Entry]) -> None:
    """Keep what somebody decided; in a technician's folder what is a manager's to decide is refused."""
    _leave_to_the_manager(hulls, entries)
    save_in_turn(hulls.save, entries)


def _end_unfinished(hulls: HullFolder, hull: str) -> tuple[MissingHalf, ...]:
    """Write the halves that are missing of decisions about a boat, and say so."""
    ended = tuple(half for half in open_hull(hulls, hull).unfinished if half.is_sure)
    for half in ended:
        hulls.save(half.entry)
        click.echo(f"Ended what was unfinished: {half.decision}.")
    return ended
