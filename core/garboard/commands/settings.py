"""`garboard settings`: what the shop decided, and deciding it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.commands.hulls import author_of, chosen_job, save_all, tell_not_read
from garboard.commands.tools import checked_value, declared_setting, need_office, refuse_crossed
from garboard.disk.clock import moment_in_words
from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import Fault, InputError, in_words, shown
from garboard.history.authority import Managers, damage_of_list, is_managers, managers_of
from garboard.history.boat import Boat, open_hull
from garboard.history.past import DISAGREES, REPLACED, STANDS, TAKEN_BACK, TAKING_BACK, PastEntry, history_of
from garboard.history.registers import name_of, register_of
from garboard.history.replay import HullState, replay
from garboard.history.setting_entries import reset_setting, set_setting, setting_register, settings_of
from garboard.report.settings_used import setting_in_words, value_in_words
from garboard.report.unit_signs import with_signs
from garboard.settings import JOB, SIGNED, Setting, SettingSet, SettingUsed, in_force

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost
    from garboard.records import JsonValue
    from garboard.report.terminal import Tools

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
hull_option = click.option("--hull", default="", help="A boat's number: its job's own settings instead of the shop's.")
job_option = click.option("--job", default="", help="The job's id; not needed when the boat has one job.")
by_option = click.option("--by", required=True, help="Who decides this.")
reason_option = click.option("--reason", required=True, help="Why; it is kept with the decision.")
anyway_option = click.option("--anyway", is_flag=True, help="Also on a signed job, whose signatures become stale.")
tablet_option = click.option("--tablet", default="", help="Name of this machine in what it writes.")


_NEGATIVE = re.compile(r"-\.?[0-9]")


class _TakesNegatives(click.Command):
    """Its arguments may be negative amounts: "-4 degC" is a value and no option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.ignore_unknown_options = any(_NEGATIVE.match(arg) for arg in args)
        return super().parse_args(ctx, args)


@click.group("settings", short_help="What the shop decided: list, show, set, picture, reset.")
def command() -> None:
    """Settings of the shop, or of one job with --hull."""


def _tell(line: str) -> None:
    """Print a line with units as people write them; what is typed may be written so too."""
    click.echo(with_signs(line))


@command.command("list", short_help="List the settings that somebody set.")
@folder_argument
@hull_option
@job_option
@click.option("--all", "every", is_flag=True, help="Those at their default, too.")
@click.pass_context
def list_settings(context: click.Context, folder: Path, hull: str, job: str, every: bool) -> None:
    """List the settings that are not at their default, or that somebody set to it."""
    host = _host(context, folder)
    found = _found(host, folder, hull, job)
    for damaged in damage_of_list(folder):
        click.echo(str(damaged), err=True)
    listed = [one for one in host.settings if every or one.key in found.used or found.standing(one.key)]
    for setting in listed:
        _tell(f"{setting.key}: {found.in_words(setting)}")
        if setting.key not in found.used:
            for entry in found.standing(setting.key):
                _tell(f"  {_past_in_words(entry, found.managers)}")
    if not listed:
        _tell("Every setting is at its default.")


@command.command("show", short_help="Show a setting, and all that was ever set.")
@folder_argument
@click.argument("key")
@hull_option
@job_option
@click.pass_context
def show_setting(context: click.Context, folder: Path, key: str, hull: str, job: str) -> None:
    """Show a setting: value, default, range, basis; and all that was ever set: who, when and why, latest first."""
    host = _host(context, folder)
    setting = declared_setting(host, key)
    found = _found(host, folder, hull, job)
    _tell(found.in_words(setting))
    _tell(f"  default {value_in_words(setting.default)}; {setting.allowed}")
    _tell(f"  {setting.basis}")
    for one in found.used[key].set if key in found.used else ():
        if one.source == SIGNED:
            _tell(f"  {_signed_in_words(one)}")
    for entry in found.history(key):
        _tell(f"  {_past_in_words(entry, found.managers)}")


@command.command("set", cls=_TakesNegatives)
@folder_argument
@click.argument("key")
@click.argument("value")
@hull_option
@job_option
@by_option
@reason_option
@anyway_option
@tablet_option
@click.pass_context
def set_one(
    context: click.Context,
    folder: Path,
    key: str,
    value: str,
    hull: str,
    job: str,
    by: str,
    reason: str,
    anyway: bool,
    tablet: str,
) -> None:
    """Set a setting, for the shop or for one job. A value outside its range is refused."""
    host = _host(context, folder)
    setting = declared_setting(host, key)
    if setting.is_picture:
        raise InputError(
            "settings", [Fault("VALUE", f"a file, by: garboard settings picture FOLDER {key} FILE", shown(value))]
        )
    plain = checked_value(setting, value)
    refuse_crossed(host, {**_found(host, folder, hull, job).values, key: plain}, key)
    with _writing(folder, hull, job) as (hulls, state, chosen):
        author = author_of(hulls, state, tablet, by)
        _save(hulls, state, set_setting(author, state, key, plain, reason, chosen, managers_of(folder)), anyway)
    _tell(f"{key} is {value_in_words(plain)} for {_whose(chosen)}")


@command.command("picture", short_help="Set a picture, such as the shop's logo.")
@folder_argument
@click.argument("key")
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@reason_option
@tablet_option
@click.pass_context
def set_picture(context: click.Context, folder: Path, key: str, file: Path, by: str, reason: str, tablet: str) -> None:
    """Set a setting that is a picture, such as the shop's logo, from a PNG, JPEG or SVG file. It is made smaller."""
    need_office()
    from garboard.report.logo import LogoRefused, logo_as_kept

    setting = declared_setting(_host(context, folder), key)
    if not setting.is_picture:
        raise InputError("settings", [Fault("KEY", "the key of a setting that is a picture", shown(key))])
    try:
        plain = logo_as_kept(_picture_in(file))
    except OSError as failure:
        raise InputError(str(file), [Fault("FILE", "a picture that can be read", in_words(failure))]) from None
    except LogoRefused as refused:
        raise InputError(str(file), [Fault("FILE", "a picture that can be printed", cure=in_words(refused))]) from None
    with _writing(folder, "", "") as (hulls, state, _):
        save_all(
            hulls,
            [set_setting(author_of(hulls, state, tablet, by), state, key, plain, reason, "", managers_of(folder))],
        )
    _tell(f"{key} is {value_in_words(plain)} for the shop")


def _picture_in(file: Path) -> bytes:
    """As much of a file as tells that it is too large; a pipe never ends, and is none."""
    from garboard.report.logo import LARGEST_FILE

    if not file.is_file():
        raise InputError(str(file), [Fault("FILE", "a file with a picture", "no file")])
    with file.open("rb") as opened:
        return opened.read(LARGEST_FILE + 1)


@command.command("reset")
@folder_argument
@click.argument("key")
@hull_option
@job_option
@by_option
@reason_option
@anyway_option
@tablet_option
@click.pass_context
def reset(
    context: click.Context, folder: Path, key: str, hull: str, job: str, by: str, reason: str, anyway: bool, tablet: str
) -> None:
    """Take back what was set. The default holds again; what was set stays readable."""
    host = _host(context, folder)
    refuse_crossed(host, _found(host, folder, hull, job, without=key).values, key)
    with _writing(folder, hull, job) as (hulls, state, chosen):
        managers = managers_of(folder)
        there = sorted({one.key for one in settings_of(state, chosen, managers)})
        if key not in there:
            expected = f"one that is set: {', '.join(there) or 'none is'}"
            raise InputError("settings", [Fault("KEY", expected, shown(key))])
        author = author_of(hulls, state, tablet, by)
        _save(hulls, state, reset_setting(author, state, key, reason, chosen, managers), anyway)
    _tell(f"{key} is no longer set for {_whose(chosen)}")


def _save(hulls: HullFolder, state: HullState, entry: Entry, anyway: bool) -> None:
    """Keep a decision. One that makes signatures stale is refused, naming them, unless the person knows.

    Raises InputError.
    """
    before = {one.sign_off.id for one in state.stale(entry.job)}
    state.add(entry)
    stale = [name_of(register_of(one.sign_off)) for one in state.stale(entry.job) if one.sign_off.id not in before]
    if stale and not anyway:
        expected = "a job nobody has signed; with --anyway the signatures become stale and everyone signs again"
        raise InputError("settings", [Fault("--hull", expected, f"job {entry.job}, {', '.join(stale)}")])
    save_all(hulls, [entry])
    for signature in stale:
        _tell(f"{signature} is now stale: have job {entry.job} signed again")


def _whose(job: str) -> str:
    return f"job {job}" if job else "the shop"


def _host(context: click.Context, folder: Path) -> PluginHost:
    tools: Tools = context.obj
    host = tools.host_for(folder)
    tools.tell_broken_plugins(host)
    return host


def _signed_in_words(one: SettingSet) -> str:
    by = f", set for the shop by {one.by}{_on(one.at)}: {one.reason}" if one.by else ""
    return f"{value_in_words(one.value)} when the job was signed{by}"


def _past_in_words(past: PastEntry, managers: Managers) -> str:
    """What somebody set or took back, and what became of it."""
    entry = past.entry
    scope = "for this job" if entry.job else "for the shop"
    by = f"{scope} by {entry.by or 'the job file'}{_on(entry.at)}: {past.reason}"
    if past.became == TAKING_BACK:
        return f"taken back {by}"
    marks = [_BECAME[past.became]] if past.became in _BECAME else []
    if managers is not None and not is_managers(entry, managers):
        marks.append("no manager is known to have set it")
    return f"{value_in_words(entry.value)}, set {by}" + (f" ({'; '.join(marks)})" if marks else "")


_BECAME = {REPLACED: "replaced since", TAKEN_BACK: "taken back since", DISAGREES: "not settled"}


def _on(at: str) -> str:
    return f" on {moment_in_words(at)}" if at else ""


@attrs.frozen
class _Found:
    """The settings of the shop, or of a job.

    values    : those that hold, by key
    used      : those that are not simply at their default
    registers : where they are kept: of the job first, then of the shop
    managers  : whose settings hold
    """

    values: Mapping[str, JsonValue]
    used: Mapping[str, SettingUsed]
    registers: tuple[tuple[HullState, str], ...]
    managers: Managers

    def in_words(self, setting: Setting) -> str:
        if setting.key in self.used:
            return setting_in_words(self.used[setting.key])
        return f"{setting.field.title}: {value_in_words(self.values[setting.key])}, the default."

    def history(self, key: str) -> tuple[PastEntry, ...]:
        """All that was ever set: the job's first, the latest first."""
        return tuple(
            past for state, job in self.registers for past in history_of(state, setting_register(key, job))[::-1]
        )

    def standing(self, key: str) -> tuple[PastEntry, ...]:
        """What stands now."""
        return tuple(past for past in self.history(key) if past.became in (STANDS, DISAGREES))


def _found(host: PluginHost, folder: Path, hull: str, job: str, without: str = "") -> _Found:
    """The settings of the shop, or of a job.

    without : a setting's key, for the values that hold once what is set there is taken back
    """
    with HullFolder(folder, read_only=True) as hulls:
        shop, managers = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD)), managers_of(folder)
        boat = _boat(hulls, hull) if hull else None
        tell_not_read(hulls)
        if boat is None:
            stated = settings_of(shop, managers=managers)
            values, used = in_force(host.settings, [one for one in stated if one.key != without])
            return _Found(values, used, ((shop, ""),), managers)
        chosen = chosen_job(boat, job)
        view = boat.view(chosen)
        left = [one for one in view.settings_set if one.source != JOB or one.key != without]
        values, used = in_force(host.settings, left, view.signed_under)
        return _Found(values, used, ((boat.state_of(chosen), chosen), (shop, "")), managers)


@contextmanager
def _writing(folder: Path, hull: str, job: str) -> Iterator[tuple[HullFolder, HullState, str]]:
    """The folder, the state the setting is kept in, and the job; no job for the shop's own."""
    with HullFolder(folder) as hulls:
        if not hull:
            yield hulls, replay(SHOP_RECORD, hulls.entries(SHOP_RECORD)), ""
            return
        boat = _boat(hulls, hull)
        chosen = chosen_job(boat, job)
        yield hulls, boat.state_of(chosen), chosen


def _boat(hulls: HullFolder, hull: str) -> Boat:
    boat = open_hull(hulls, hull)
    if not len(boat.state):
        raise InputError("settings", [Fault("--hull", f"one of {', '.join(hulls.boats()) or 'none'}", shown(hull))])
    return boat
