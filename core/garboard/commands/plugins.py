"""`garboard plugins`: what is at work, what it offers, and what could not be loaded."""

from __future__ import annotations

import json
from collections.abc import Mapping

import click

from garboard.commands.tools import SOMETHING_FAILS
from garboard.hosting.host import PluginHost
from garboard.report.terminal import Tools

HELP = """List the loaded plugins and what they offer, and plugins that failed to load.

Exit status 0: all loaded. Exit status 1: at least one failed.
"""


@click.command("plugins", help=HELP, short_help="List loaded and broken plugins.")
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON.")
@click.option("--full", is_flag=True, help="Print the key of everything each plugin offers.")
@click.pass_context
def command(context: click.Context, as_json: bool, full: bool) -> None:
    """List plugins and exit."""
    tools: Tools = context.obj
    host = tools.host
    commands = [*tools.plugin_commands]
    offered = {plugin.name: _offers(host, plugin.name) for plugin in host.plugins}
    if as_json:
        click.echo(_as_json(host, offered, commands))
    else:
        click.echo(_as_text(host, offered, commands, full))
    context.exit(SOMETHING_FAILS if host.problems else 0)


def _offers(host: PluginHost, plugin: str) -> dict[str, list[str]]:
    keys = {
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
        kinds = {kind.replace("_", " "): keys for kind, keys in offered[plugin.name].items() if keys}
        counts = ", ".join(f"{len(keys)} {kind if len(keys) > 1 else kind[:-1]}" for kind, keys in kinds.items())
        lines.append(f"{plugin.name} {plugin.version}" + (f": {counts}" if counts and not full else ""))
        if full:
            lines += [f"  {kind}: {', '.join(keys)}" for kind, keys in kinds.items()]
    if commands:
        lines.append(f"Commands of plugins: {', '.join(commands)}")
    lines += [f"{problem.name} is not loaded: {problem.reason}" for problem in host.problems]
    return "\n".join(lines or ["No plugins."])


def _as_json(host: PluginHost, offered: Mapping[str, Mapping[str, list[str]]], commands: list[str]) -> str:
    return json.dumps(
        {
            "format": "garboard plugins",
            "version": 1,
            "plugins": [
                {"name": plugin.name, "version": plugin.version, **offered[plugin.name]} for plugin in host.plugins
            ],
            "commands": commands,
            "broken_plugins": [{"name": problem.name, "reason": problem.reason} for problem in host.problems],
        },
        indent=1,
        ensure_ascii=False,
    )
