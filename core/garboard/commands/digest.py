"""`garboard digest`: what a folder holds of each boat, as a hash, to compare it with another."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from garboard.commands.tools import SOMETHING_FAILS, record_in_words
from garboard.disk.clock import moment_in_words
from garboard.disk.hullfile import Holding, HullFolder
from garboard.faults import in_number

if TYPE_CHECKING:
    from garboard.disk.proofs import Taken

_LINES_AT_ONCE = 1000
_SHORT = 16


@click.command("digest", short_help="Print a hash of each boat's entries, to compare two folders.")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--prove", is_flag=True, help="Read every file, also those that were proved today and did not change.")
@click.option("--state", is_flag=True, help="Also print a hash of each boat's state, worked out from every entry.")
@click.option("--json", "as_json", is_flag=True, help="Print the full hashes as JSON.")
def command(folder: Path, prove: bool, state: bool, as_json: bool) -> None:
    """Print a hash of each boat's entries. Equal hashes mean equal records.

    Every file is read, and every entry proved by its own hash. In a folder of more than 2000 boats a file is not read
    again for a day after it was proved, if the system says that it did not change. The output says how many were not
    read, and when the first of them was proved. A disk that loses bytes without a word is noticed a day later at most;
    with --prove at once.

    Exit status 0 when every hull file could be read whole, 1 when one could not: its digest is of what is left, or it
    has none.
    """
    with HullFolder(folder, read_only=True, of_today=not (prove or state), proving=True) as hulls:
        held = hulls.holdings()
        states = _states(hulls, held) if state else {}
        not_read = {str(path): reason for path, reason in sorted(hulls.left_alone.items())}
        damaged, taken = [*map(str, hulls.damage())], hulls.taken
    _print(_plain(held, states, not_read, damaged, taken) if as_json else _readable(held, states))
    for file, reason in not_read.items():
        click.echo(f"not read, so without a digest: {file}: {reason}", err=True)
    for damage in damaged:
        click.echo(f"damage: {damage}", err=True)
    if taken.files:
        click.echo(_taken_in_words(taken), err=True)
    if not_read or damaged:
        sys.exit(SOMETHING_FAILS)


def _states(hulls: HullFolder, held: Iterable[str]) -> Mapping[str, str]:
    """A hash of each boat's state. One boat at a time is held in memory."""
    from garboard.history.merge import state_digest

    found = {}
    for key in held:
        found[key] = state_digest(hulls, key)
        hulls.hold_only(())
    return found


def _readable(held: Mapping[str, Holding], states: Mapping[str, str]) -> Iterator[str]:
    for key, (entries, _) in held.items():
        state = f"  state {states[key][:_SHORT]}" if states else ""
        yield f"{record_in_words(key)}  entries {entries[:_SHORT]}{state}\n"


def _plain(
    held: Mapping[str, Holding],
    states: Mapping[str, str],
    not_read: Mapping[str, str],
    damaged: list[str],
    taken: Taken,
) -> Iterator[str]:
    """One JSON document, in pieces: of many boats, as a whole, it takes a hundred megabytes to make."""
    document = {
        "format": "garboard digest",
        "version": 1,
        "complete": not (not_read or damaged),
        "not_read": not_read,
        "damage": damaged,
        "taken": taken.files,
        "proved_at": taken.since * 1000,
        "hulls": {},
    }
    *before, after = json.dumps(document, indent=1).rpartition("}\n}")[0], "\n }\n}\n"
    yield from before
    comma = ""
    for key, (entries, _) in held.items():
        state = f', "state": "{states[key]}"' if states else ""
        yield f'{comma}\n  "{key}": {{"entries": "{entries}"{state}}}'  # letters and digits only
        comma = ","
    yield after


def _print(pieces: Iterator[str]) -> None:
    """Print many at once: the system is asked for each print."""
    while some := "".join(islice(pieces, _LINES_AT_ONCE)):
        click.echo(some, nl=False)


def _taken_in_words(taken: Taken) -> str:
    since = moment_in_words(datetime.fromtimestamp(taken.since, UTC).astimezone().isoformat())
    files = in_number(taken.files, "file was", "files were")
    return f"{files} not read again: proved since {since}, not changed since then. To read every file: --prove"
