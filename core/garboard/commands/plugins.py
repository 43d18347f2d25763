"""`garboard plugins`: what is at work, what it offers, and what could not be loaded."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import attrs
import click

from garboard.commands.tools import SOMETHING_FAILS, beside_option
from garboard.hosting.apart import Limits
from garboard.hosting.cut import LONGEST_TEXT, MOST_ROWS
from garboard.hosting.failures import PluginProblem
from garboard.hosting.host import BUILT_IN, PluginHost
from garboard.report.json_out import problem_as_plain
from garboard.report.terminal import Tools
from garboard.settings import Setting
from garboard.units import in_full

HELP = """List the loaded plugins with what they offer and what the shop may decide, and everything wrong with one.

Each fault names the plugin, the file, the line and what to do. Exit status 0: all loaded. Exit status 1: at least one
failed to load.
"""


@click.command("plugins", help=HELP, short_help="List loaded and broken plugins.")
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON.")
@click.option("--full", is_flag=True, help="Print the settings and keys of the program's own plugins too.")
@click.option(
    "--reference", is_flag=True, help="Print what a plugin's author looks up: hooks, kinds, units, orders, codes."
)
@beside_option
@click.pass_context
def command(context: click.Context, as_json: bool, full: bool, reference: bool, beside: Path) -> None:
    """List plugins and exit."""
    tools: Tools = context.obj
    host = tools.host_for(beside)
    if reference:
        from garboard.commands import plugin_reference  # here: what it needs is much

        found = plugin_reference.reference(host)
        click.echo(json.dumps(found, indent=1, ensure_ascii=False) if as_json else plugin_reference.as_text(found))
        return
    commands = [*tools.plugin_commands]
    offered = {plugin.name: _offers(host, plugin.name) for plugin in host.plugins}
    if as_json:
        click.echo(_as_json(host, offered, commands))
    else:
        click.echo(_as_text(host, offered, commands, full))
    context.exit(SOMETHING_FAILS if host.problems else 0)


def _offers(host: PluginHost, plugin: str) -> dict[str, list[str]]:
    keys = {
        "register_equipment": list(host.equipment),
        "register_steps": [step.key for step in host.steps],
        "register_calculators": [calculator.key for calculator in host.calculators],
        "register_live_guides": list(host.live_guides),
        "register_report_sections": [section.key for section in host.report_sections],
        "register_settings": [setting.key for setting in host.settings],
        "register_recording_judges": [judge.key for judge in host.recording_judges],
    }
    return {
        hook.removeprefix("register_"): [key for key in found if host.owner_of(hook, key) == plugin]
        for hook, found in keys.items()
    }


def _as_text(host: PluginHost, offered: Mapping[str, Mapping[str, list[str]]], commands: list[str], full: bool) -> str:
    lines = []
    for plugin in host.plugins:
        kinds = {_WORDS.get(kind, kind.replace("_", " ")): keys for kind, keys in offered[plugin.name].items() if keys}
        counts = ", ".join(f"{len(keys)} {kind if len(keys) > 1 else _singular(kind)}" for kind, keys in kinds.items())
        lines.append(f"{plugin.name} {plugin.version}" + (f": {counts}" if counts else ""))
        if full or plugin.name not in BUILT_IN:
            lines += [f"  {kind}: {', '.join(keys)}" for kind, keys in kinds.items() if kind != "settings"]
            lines += [f"  {what.replace('_', ' ')}: {', '.join(keys)}" for what, keys in _changes(host, plugin.name)]
            lines += [f"  setting {_setting_in_words(one)}" for one in _settings_of(host, plugin.name)]
    if commands:
        lines.append(f"Commands of plugins: {', '.join(commands)}")
    if host.apart is not None and any(plugin.name not in BUILT_IN for plugin in host.plugins):
        lines.append(f"Limits of a shop's own plugin, for one job: {_limits_in_words(host.apart.limits)}.")
    lines += [f"{fault.name} {_fault_in_words(fault)}" for fault in host.faults]
    return "\n".join(lines or ["No plugins."])


_WORDS = {"equipment": "kinds of equipment"}


def _singular(kind: str) -> str:
    return kind.replace("kinds", "kind") if kind in _WORDS.values() else kind[:-1]


def _changes(host: PluginHost, plugin: str) -> Iterable[tuple[str, Sequence[str]]]:
    """What a check file changes of the program's own steps and settings."""
    changes = host.changes_of(plugin)
    return changes.in_short.items() if changes else ()


def _settings_of(host: PluginHost, plugin: str) -> list[Setting]:
    return [one for one in host.settings if host.owner_of("register_settings", one.key) == plugin]


def _setting_in_words(setting: Setting) -> str:
    return f"{setting.key}: {setting.default}, {setting.allowed}"


def _limits_in_words(limits: Limits) -> str:
    return (
        f"{in_full(limits.processor)} s of the processor, {limits.memory >> 20} MB of memory, "
        f"{limits.answer >> 20} MB of "
        f"findings, {LONGEST_TEXT} letters a text, {MOST_ROWS} rows a table"
    )


def _fault_in_words(fault: PluginProblem) -> str:
    return f"{'works, but' if fault.at_work else 'is not loaded:'} {fault.in_words}"


def _as_json(host: PluginHost, offered: Mapping[str, Mapping[str, list[str]]], commands: list[str]) -> str:
    return json.dumps(
        {
            "format": "garboard plugins",
            "version": 1,
            "plugins": [
                {
                    "name": plugin.name,
                    "version": plugin.version,
                    **offered[plugin.name],
                    "changes": {what: list(keys) for what, keys in _changes(host, plugin.name)},
                    "settings_offered": [_setting_as_plain(one) for one in _settings_of(host, plugin.name)],
                }
                for plugin in host.plugins
            ],
            "commands": commands,
            "broken_plugins": [problem_as_plain(problem) for problem in host.problems],
            "faults": [{"plugin": one.name, "at_work": one.at_work, **problem_as_plain(one)} for one in host.faults],
            "limits": attrs.asdict(host.apart.limits) if host.apart else None,
        },
        indent=1,
        ensure_ascii=False,
    )


def _setting_as_plain(setting: Setting) -> dict[str, object]:
    return {
        "key": setting.key,
        "title": setting.field.title,
        "default": setting.default,
        "allowed": setting.allowed,
        "unit": setting.field.unit,
        "basis": str(setting.basis),
    }
