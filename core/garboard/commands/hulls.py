"""Commands on folders of hull files: merge, show, settle, mend."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from difflib import get_close_matches
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

import attrs
import click

from garboard import hull_number
from garboard.commands.tools import BAD_INPUT, SOMETHING_FAILS
from garboard.disk.clock import moment_in_words
from garboard.disk.entries import Entry, view
from garboard.disk.hullfile import HullFolder
from garboard.faults import Fault, InputError, shown
from garboard.history import authoring as writing
from garboard.history import exchange
from garboard.history.authoring import Author
from garboard.history.authority import managers_part
from garboard.history.boat import attach as keep_with_step
from garboard.history.boat import author_for, open_hull, register_named
from garboard.history.halves import MissingHalf, save_in_turn
from garboard.history.merge import HullMerge, MergeReport, merge, state_digest
from garboard.history.moves import JOINING
from garboard.history.registers import RegisterKey, name_of, register_of
from garboard.history.replay import HullState, replay
from garboard.job_files.job_file import read_job_file
from garboard.records import JsonValue
from garboard.shop_link.pairing import may_decide, writes_as

Command = TypeVar("Command", bound=Callable[..., None])

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
tablet_option = click.option(
    "--tablet", default="", help="Name of this machine in what it writes; the folder knows it otherwise."
)
job_option = click.option("--job", default="", help="The job's id; not needed when the hull has one job.")


def _signed(command: Command) -> Command:
    """Options of every command that writes: who, and why."""
    for option in (
        click.option("--by", required=True, help="Who decides this."),
        click.option("--reason", required=True, help="Why; it is kept with the decision."),
        tablet_option,
    ):
        command = option(command)
    return command


@click.command("merge")
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option(
    "--into",
    "target",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder of hull files it all comes into; made when it is not there.",
)
@click.option("--dry-run", is_flag=True, help="Report what would come; write nothing.")
@click.option("--both-ways", is_flag=True, help="Then bring everything back to the sources, too.")
@click.option("--json", "as_json", is_flag=True, help="The report as JSON, for other programs.")
def merge_folders(sources: tuple[Path, ...], target: Path, dry_run: bool, both_ways: bool, as_json: bool) -> None:
    """Bring every entry of SOURCES (a stick, a share, a tablet's folder) into a folder.

    Exit status 0 when everything is in, 1 when something was refused or damaged and a person should look.
    """
    reports = [_merge(sources, target, dry_run)]
    _print_report(reports[0], as_json)
    if both_ways and not dry_run:
        for source in sources:
            reports.append(_merge((target,), source, dry_run))
            _print_report(reports[-1], as_json)
    if any(report.refused or report.damage or not report.complete for report in reports):
        sys.exit(SOMETHING_FAILS)


def _merge(sources: tuple[Path, ...], target: Path, dry_run: bool) -> MergeReport:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    with ExitStack() as stack:
        folders = [stack.enter_context(HullFolder(source, read_only=True)) for source in sources]
        imagined = dry_run and not target.is_dir()
        place = Path(stack.enter_context(TemporaryDirectory())) if imagined else target
        into = stack.enter_context(HullFolder(place, read_only=dry_run and not imagined))
        columns = (TextColumn("merging"), BarColumn(), MofNCompleteColumn(), TextColumn("hulls {task.description}"))
        bar = stack.enter_context(Progress(*columns, console=Console(stderr=True), transient=True))
        task = bar.add_task("", total=sum(len(folder.hulls()) for folder in folders))
        report = merge(
            folders, into, dry_run=dry_run, progress=lambda hull: bar.update(task, advance=1, description=hull)
        )
        return attrs.evolve(report, target=target)


def _print_report(report: MergeReport, as_json: bool) -> None:
    click.echo(json.dumps(plain_report(report), indent=1) if as_json else readable_report(report))


def plain_report(report: MergeReport) -> dict[str, JsonValue]:
    """A merge report as plain data: format, version, target, sources, dry_run, complete, hulls, attachments ..."""
    return {
        "format": "garboard merge",
        "version": 1,
        "target": str(report.target),
        "sources": [str(source) for source in report.sources],
        "dry_run": report.dry_run,
        "complete": report.complete,
        "came": report.came,
        "attachments": report.attachments,
        "hulls": [plain_hull(hull) for hull in report.hulls],
        "refused": plain_reasons(report.refused),
        "damage": [str(damage) for damage in report.damage],
        "mended": [*report.mended],
        "not_read": {**dict(report.not_read)},
    }


def plain_hull(hull: HullMerge) -> JsonValue:
    """What came in of one hull as plain data: the same whether by merging or by coming ashore."""
    return {
        "hull": hull.hull,
        "came": hull.came,
        "already": hull.already,
        "disagreeing": [{"job": key.job, "name": name_of(key)} for key in hull.disagreeing],
        "stale": [{"sign_off": who, "not_covered": list(what)} for who, what in hull.stale],
        "look_alikes": list(hull.look_alikes),
    }


def plain_reasons(refused: Iterable[tuple[str, InputError | str]]) -> list[JsonValue]:
    """What could not be kept, and why, as plain data."""
    return [{"entry": name, "reason": str(reason)} for name, reason in refused]


def readable_report(report: MergeReport) -> str:
    """A merge report for a person: what came first, then everything to look at."""
    verb = "would come" if report.dry_run else "came"
    lines = [f"{report.came} entries and {report.attachments} attachments {verb} into {report.target}"]
    for hull in report.hulls:
        lines.append(f"  {hull.hull}: {hull.came} {verb}, {hull.already} were here")
        lines += [f"    disagrees now: {name_of(key)} (job {key.job or 'any'})" for key in hull.disagreeing]
        lines += [f"    sign-off gone stale: {who}, not covered: {', '.join(what)}" for who, what in hull.stale]
        lines += [f"    check: {other} looks alike; 'garboard same-boat' if it is" for other in hull.look_alikes]
    lines += [f"  refused, still where it came from: {name}: {reason}" for name, reason in report.refused]
    lines += [f"  damage: {damage}" for damage in report.damage]
    lines += [f"  damaged here, taken anew: attachment {name}" for name in report.mended]
    lines += [f"  not read, so not in: {file}: {reason}" for file, reason in report.not_read]
    return "\n".join([*lines, *([] if report.dry_run else [_counted(report)])])


def _counted(report: MergeReport) -> str:
    if report.not_read:
        return "NOT everything is in: what could not be read is named above. Make it readable, then merge again"
    if not report.complete:
        return "NOT everything is in: merge again"
    if report.refused:
        return "both sides counted: everything is in but what was refused above"
    return "both sides counted: everything is in"


@click.command("digest")
@folder_argument
@click.option("--json", "as_json", is_flag=True, help="The hashes whole, as JSON.")
def digest(folder: Path, as_json: bool) -> None:
    """One hash a hull over its entries, and one over its state. Equal digests mean equal records.

    Exit status 0 when every hull file could be read whole, 1 when one could not: its digest is of what is left, or it
    has none.
    """
    with HullFolder(folder, read_only=True) as hulls:
        digests = {key: {"entries": value, "state": state_digest(hulls, key)} for key, value in hulls.digests().items()}
        not_read = sorted((str(path), reason) for path, reason in hulls.left_alone.items())
        damaged = [*map(str, hulls.damage())]
    if as_json:
        plain = {"format": "garboard digest", "version": 1, "hulls": digests, "not_read": dict(not_read)}
        click.echo(json.dumps(plain, indent=1))
    else:
        for key, both in digests.items():
            click.echo(f"{key}  entries {both['entries'][:16]}  state {both['state'][:16]}")
    for file, reason in not_read:
        click.echo(f"not read, so without a digest: {file}: {reason}", err=True)
    for damage in damaged:
        click.echo(f"damage: {damage}", err=True)
    if not_read or damaged:
        sys.exit(SOMETHING_FAILS)


@click.command("show")
@folder_argument
@click.argument("hull")
@job_option
@click.option("--value", "name", default="", help="Show the history of one value, named as in the listing.")
def show(folder: Path, hull: str, job: str, name: str) -> None:
    """What stands for a HULL: its values, what disagrees, what was taken back, sign-offs; or one value's history."""
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, hull)
        if not len(boat.state):
            raise InputError(str(folder), [Fault("hull", _known(hulls), repr(hull))])
        for half in boat.unfinished:
            click.echo(f"UNFINISHED: {half}. The next command that writes here ends it, and so does 'garboard repair'.")
        _tell_not_read(hulls)
        chosen = (job,) if job else boat.jobs
        if name:
            home = boat.state_of(_only(chosen, boat.jobs))
            click.echo("\n".join(_history(home, _named(home, _only(chosen, boat.jobs), name))))
            return
        for one in chosen:
            click.echo("\n".join(_listing(boat.state_of(one), one)))


def _listing(state: HullState, job: str) -> Iterator[str]:
    yield f"{state.hull_number}, job {job}"
    for part in state.parts(job):
        (said,) = state.current(RegisterKey("move", part, JOINING))
        yield f"  with job {part}, joined into it by {said.by}"
    for key in sorted(key for key in state.registers if key.kind == "field" or key.job == job):
        standing = state.current(key)
        if standing and (key.kind in ("field", "measure") or state.disagrees(key)):
            mark = "  DISAGREES  " if len(standing) > 1 else "  "
            yield f"{mark}{name_of(key)}: " + " | ".join(
                f"{_text(e.value)} ({e.by}, {moment_in_words(e.at)})" for e in standing
            )
    for retraction in state.retractions(job):
        what = f"{name_of(register_of(retraction.entry))} {_text(retraction.entry.value)}"
        yield f"  taken back by {retraction.by}: {what}: {retraction.reason}"
    stale = {staleness.sign_off.id: staleness for staleness in state.stale(job)}
    for key in sorted(key for key in state.registers if key.kind == "signoff" and key.job == job):
        for entry in state.current(key):
            missing = len(stale[entry.id].not_covered) if entry.id in stale else 0
            yield f"  signed by {'/'.join(key.subject)}, {moment_in_words(entry.at)}" + (
                f", STALE: {missing} not covered" if missing else ""
            )
    if state.unknown:
        yield f"  {len(state.unknown)} entries need a plugin or a newer version that is not here; they are kept"


def _history(state: HullState, key: RegisterKey) -> Iterator[str]:
    yield name_of(key)
    standing = {entry.id for entry in state.current(key)}
    for entry in state.registers[key].history:
        what = "taken back" if entry.kind == "retract" else _text(entry.value)
        why = entry.value.get("reason") if isinstance(entry.value, dict) else entry.more.get("reason")
        mark = "stands  " if entry.id in standing else "replaced"
        yield f"  {mark}  {moment_in_words(entry.at)}  {entry.by} on {entry.tablet}: {what}" + (
            f" ({why})" if why else ""
        )


def _text(value: JsonValue) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


@click.command("settle")
@folder_argument
@click.argument("hull")
@click.argument("name")
@click.option("--value", required=True, help="The value that is right: one of those that disagree, or another.")
@job_option
@_signed
def settle(folder: Path, hull: str, name: str, value: str, job: str, by: str, reason: str, tablet: str) -> None:
    """Choose a value where several disagree. The others stay in the history."""
    with _writing(folder, hull, job, tablet, by) as (hulls, state, author, job):
        key = _named(state, job, name)
        held = [entry.value for entry in state.current(key)]
        chosen = next((other for other in held if _text(other) == value), value)
        _save_all(hulls, [writing.settle(author, state, key, chosen, reason)])
    click.echo(f"{name} is {value}")


@click.command("attach")
@folder_argument
@click.argument("hull")
@click.argument("step")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--by", required=True, help="Who took it.")
@job_option
@tablet_option
def attach(folder: Path, hull: str, step: str, file: Path, by: str, job: str, tablet: str) -> None:
    """Keep a photo or a recording with a STEP of a job. The book and the boat's page list it."""
    with _writing(folder, hull, job, tablet, by) as (hulls, state, author, job):
        _refuse_unknown(step, {key.subject[0] for key in state.registers if key.kind == "measure"})
        _save_all(hulls, [keep_with_step(hulls, author, state, job, step, file)])
    click.echo(f"{file.name} is kept with {step}")


def _refuse_unknown(step: str, worked_on: set[str]) -> None:
    """A step is one that something was entered in, or that a plugin here declares."""
    if step not in worked_on:
        from garboard.hosting.host import make_host

        host = make_host()
        if host.step(step) is None:
            known = ", ".join(sorted({*worked_on, *(one.key for one in host.steps)}))
            raise InputError("attach", [Fault("step", f"one of {known}", repr(step))])


@click.command("take-back")
@folder_argument
@click.argument("hull")
@click.argument("name")
@job_option
@_signed
def take_back(folder: Path, hull: str, name: str, job: str, by: str, reason: str, tablet: str) -> None:
    """Take back a value. It stays readable, struck through, with the reason."""
    with _writing(folder, hull, job, tablet, by) as (hulls, state, author, job):
        _save_all(hulls, [writing.retract(author, state, _named(state, job, name), reason)])
    click.echo(f"{name} taken back")


@click.command("same-boat")
@folder_argument
@click.argument("hull")
@click.argument("other")
@click.option("--undo", is_flag=True, help="They are two boats after all.")
@_signed
def same_boat(folder: Path, hull: str, other: str, undo: bool, by: str, reason: str, tablet: str) -> None:
    """Say that two hull numbers are one boat. Nothing is rewritten; --undo parts them again."""
    with HullFolder(folder) as hulls:
        was_ended = _end_unfinished(hulls, hull)
        pair = [replay(number, hulls.entries(number)) for number in (hull, other)]
        author = _author(hulls, pair[0], tablet, by)
        if undo:
            keys = [RegisterKey("alias", "", (there.hull,)) for there in reversed(pair)]
            joined = [(state, key) for state, key in zip(pair, keys, strict=True) if state.current(key)]
            if not joined and not was_ended:
                joined = [(pair[0], keys[0])]  # says that they are two boats already
            entries = [writing.retract(author, state, key, reason) for state, key in joined]
        else:
            entries = [*writing.same_boat(author, pair[0], pair[1], reason)]
        _save_all(hulls, entries)
    click.echo(f"{hull} and {other} are " + ("two boats" if undo else "one boat"))


@click.command("move-job")
@folder_argument
@click.argument("hull")
@click.argument("job")
@click.option("--to", "target", required=True, help="Hull number the job belongs to.")
@_signed
def move_job(folder: Path, hull: str, job: str, target: str, by: str, reason: str, tablet: str) -> None:
    """Move a job written under a wrong hull number. Nothing is rewritten; moved back, it is as before."""
    with HullFolder(folder) as hulls:
        ended = _end_unfinished(hulls, hull)
        boat, there = open_hull(hulls, hull), replay(target, hulls.entries(target))
        if not any((half.half.job, half.entry.hull_key) == (job, there.hull) for half in ended):
            if job not in boat.jobs:
                raise InputError(str(folder), [Fault("job", f"one of {', '.join(boat.jobs) or 'none'}", repr(job))])
            home = boat.state_to_move(job)
            _save_all(hulls, writing.move_job(_author(hulls, home, tablet, by), home, there, job, reason))
    click.echo(f"job {job} belongs to {target}")


@click.command("join-job")
@folder_argument
@click.argument("hull")
@click.argument("job")
@click.option("--into", default="", help="The job of the same boat it is joined into.")
@click.option("--undo", is_flag=True, help="They are two jobs after all.")
@_signed
def join_job(folder: Path, hull: str, job: str, into: str, undo: bool, by: str, reason: str, tablet: str) -> None:
    """Join a JOB into another that was opened for the same piece of work. Nothing is rewritten; --undo parts them."""
    with HullFolder(folder) as hulls:
        _end_unfinished(hulls, hull)
        boat = open_hull(hulls, hull)
        if undo:
            home = boat.state_of(job)
            _save_all(hulls, [writing.part_job(_author(hulls, home, tablet, by), home, job, reason)])
        else:
            for one in (job, into):
                _only((one,), boat.jobs)
            _save_all(hulls, [writing.join_job(_author(hulls, boat.state, tablet, by), boat.state, job, into, reason)])
    click.echo(f"job {job} is a job of its own again" if undo else f"job {job} is one with {into}")


@click.command("import")
@click.argument("job_file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--into",
    "folder",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder of hull files it comes into; made when it is not there.",
)
@click.option("--by", required=True, help="Who takes it in; values that name someone keep that name.")
@click.option("--anyway", is_flag=True, help="Take it in though its hull number is not well formed.")
@tablet_option
def import_job(job_file: Path, folder: Path, by: str, anyway: bool, tablet: str) -> None:
    """Take a job file into a folder of hull files. Taken in twice, it adds nothing.

    Everything merges by the hull number: one that is not well formed is refused, as `garboard hull` explains, unless
    --anyway is given or the folder holds that boat already.
    """
    read = read_job_file(job_file)
    if not anyway:
        _refuse_unless_well_formed(read.vessel.hull_number, folder)
    with HullFolder(folder) as hulls:
        state = replay(read.vessel.hull_number, hulls.entries(read.vessel.hull_number))
        hull, added = exchange.import_job(hulls, read, job_file.parent, _author(hulls, state, tablet, by))
    click.echo(f"{hull}: {added} new entries")


def _refuse_unless_well_formed(number: str, folder: Path) -> None:
    from garboard.commands.hull import why_not
    from garboard.judging.assessing import is_hull_folder

    try:
        for doubt in hull_number.parse(number).doubts:
            click.echo(f"Hull number {number}, look again: {doubt}.", err=True)
    except InputError as failure:
        if is_hull_folder(folder):
            with HullFolder(folder, read_only=True) as hulls:
                if hull_number.key(number) in hulls.hulls():
                    return
        click.echo(why_not(number, failure), err=True)
        click.echo("Nothing was taken in. Compare it with the transom; if it reads like that, give --anyway.", err=True)
        sys.exit(BAD_INPUT)


@click.command("export")
@folder_argument
@click.argument("hull")
@job_option
@click.option(
    "-o",
    "--out",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder to write into; made when it is not there.",
)
def export_job(folder: Path, hull: str, job: str, out: Path) -> None:
    """Write a job as a job file with its recordings into a folder; taken in elsewhere, every id is the same.

    Exit status 0 when everything is in it, 1 when a recording or a photo is not here whole.
    """
    lacking: list[str] = []
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, hull)
        chosen = _only((job,) if job else boat.jobs, boat.jobs)
        path = exchange.export_job(hulls, boat, chosen, out, lambda file, why: lacking.append(f"{file}: {why}"))
        _tell_not_read(hulls)
        is_whole = not (lacking or hulls.left_alone)
    click.echo(str(path))
    for one in lacking:
        click.echo(f"not in it: {one}", err=True)
    if not is_whole:
        sys.exit(SOMETHING_FAILS)


@contextmanager
def _writing(
    folder: Path, hull: str, job: str, tablet: str, by: str
) -> Iterator[tuple[HullFolder, HullState, Author, str]]:
    with HullFolder(folder) as hulls:
        _end_unfinished(hulls, hull)
        boat = open_hull(hulls, hull)
        if not len(boat.state):
            raise InputError(str(folder), [Fault("hull", _known(hulls), repr(hull))])
        _tell_not_read(hulls)
        chosen = _only((job,) if job else boat.jobs, boat.jobs)
        state = boat.state_of(chosen)
        yield hulls, state, _author(hulls, state, tablet, by), chosen


def _tell_not_read(hulls: HullFolder) -> None:
    for path, reason in sorted(hulls.left_alone.items()):
        click.echo(f"not read, so not in this: {path}: {reason}", err=True)
    for damage in hulls.damage():
        click.echo(f"damage: {damage}", err=True)


def _only(chosen: tuple[str, ...], jobs: tuple[str, ...]) -> str:
    if len(chosen) != 1 or chosen[0] not in jobs:
        raise InputError("--job", [Fault("job", f"one of {', '.join(jobs) or 'none'}", ", ".join(chosen) or "nothing")])
    return chosen[0]


def _named(state: HullState, job: str, name: str) -> RegisterKey:
    try:
        return register_named(state, job, name)
    except KeyError:
        there = {name_of(key) for key in state.registers if key.job in ("", job)}
        near = get_close_matches(name, sorted(there), n=3)
        expected = "a value as `garboard show` lists it" + (f", perhaps {' or '.join(near)}" if near else "")
        raise InputError("value", [Fault("NAME", expected, shown(name))]) from None


def _known(hulls: HullFolder) -> str:
    return f"one of {', '.join(hulls.hulls()) or 'none'}"


def _author(hulls: HullFolder, state: HullState, tablet: str, by: str) -> Author:
    return author_for(hulls, state, tablet or writes_as(hulls.folder), by)


def _leave_to_the_manager(hulls: HullFolder, entries: Iterable[Entry]) -> None:
    """In a folder paired as a technician's nobody decides what the shop would not take from there."""
    if may_decide(hulls.folder):
        return
    for entry in entries:
        replaced = [view(name, raw) for name, raw in hulls.get(entry.hull_key, entry.replaces).items()]
        if part := managers_part(entry, replaced):
            expected = "a manager's; measure again, leave it to the manager on the day sheet, or ask for the role"
            raise InputError(str(hulls.folder), [Fault("role", expected, f"a technician's, and this {part}")])


def _save_all(hulls: HullFolder, entries: tuple[Entry, ...] | list[Entry]) -> None:
    _leave_to_the_manager(hulls, entries)
    save_in_turn(hulls.save, entries)


def _end_unfinished(hulls: HullFolder, hull: str) -> tuple[MissingHalf, ...]:
    """Write the halves that are missing of decisions about a boat, and say so."""
    ended = tuple(half for half in open_hull(hulls, hull).unfinished if half.is_sure)
    for half in ended:
        hulls.save(half.entry)
        click.echo(f"Ended what was unfinished: {half.decision}.")
    return ended
