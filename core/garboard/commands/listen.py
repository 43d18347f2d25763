"""`garboard listen`: what the boat's instrument network says, while it says it."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from garboard.faults import in_number
from garboard.findings import in_full, rounded
from garboard.recordings.where import PORT

if TYPE_CHECKING:
    from rich.console import RenderableType

    from garboard.recordings.boat_network import BoatNetwork, Sender
    from garboard.samples import Sample

HELP = f"""Receive the boat's instrument network and show what each gateway sends: NMEA 2000, NMEA 0183 or Signal K.

WHERE is a UDP port (default {PORT}); a multicast group such as 239.192.0.1:60001; an address such as 192.168.4.1:{PORT}
to connect by TCP; ws://192.168.4.1:3000 for a Signal K server; or a serial port such as /dev/ttyUSB0 or COM3@4800.
Garboard never sends to the network. At the end it says who sends, which addresses clash, and what a commissioning needs
that nobody sends. Stop with Ctrl-C. Exit status 1: no value was received.
"""
LOOK = 0.5
"""The table is drawn anew so often [s]."""
SAVED_EVERY, MOST_SAVING = 10.0, 0.05
"""What is heard is saved so often [s], but saving takes no larger share of the time than this [-]."""


@click.command("listen", help=HELP, short_help="Show what the boat's instrument network sends.")
@click.argument("where", default=str(PORT))
@click.option("--seconds", type=click.FloatRange(0, min_open=True), help="Stop after this many seconds.")
@click.option(
    "--save",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Save the values as CSV. Garboard can read it as a recording.",
)
@click.pass_context
def command(context: click.Context, where: str, seconds: float | None, save: Path | None) -> None:
    """Listen, show, and say at the end what was heard."""
    from rich.live import Live

    from garboard.commands.tools import SOMETHING_FAILS, write_file
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.encode import csv_series
    from garboard.recordings.where import read_where

    network = BoatNetwork(read_where(where))
    console = context.obj.console()
    kept: list[Sample] = []
    saver = _Saver(save)
    end = time.monotonic() + seconds if seconds else None
    network.start()
    try:
        with Live(console=console, auto_refresh=False, transient=True) as live:
            while end is None or time.monotonic() < end:
                time.sleep(LOOK if end is None else max(0.0, min(LOOK, end - time.monotonic())))
                if save is not None:
                    kept += network.take()
                    saver.save(kept)
                if console.is_terminal:
                    live.update(_shown(network), refresh=True)
    except KeyboardInterrupt:
        pass
    finally:
        network.stop()
    kept += network.take()
    console.print(_shown(network))
    console.print(_audited(network))
    if save is not None:
        write_file(save, csv_series(kept))
        console.print(f"Saved {in_number(len(kept), 'value')} in {save}.")
    context.exit(0 if any(sender.notes.samples for sender in network.senders()) else SOMETHING_FAILS)


class _Saver:
    """Saves what is heard from time to time, so that a program that is ended from outside has lost little."""

    def __init__(self, path: Path | None) -> None:
        self._path, self._next = path, time.monotonic() + SAVED_EVERY

    def save(self, kept: Sequence[Sample]) -> None:
        """Save all, when it is time. What the disk does not take now it may take later, and is asked for at the end."""
        from garboard.commands.tools import write_file
        from garboard.faults import InputError
        from garboard.recordings.encode import csv_series

        began = time.monotonic()
        if self._path is None or began < self._next or not kept:
            return
        with contextlib.suppress(InputError):
            write_file(self._path, csv_series(kept))
        ended = time.monotonic()
        self._next = ended + max(SAVED_EVERY, (ended - began) / MOST_SAVING)


def _shown(network: BoatNetwork) -> RenderableType:
    from rich.console import Group
    from rich.text import Text

    parts: list[RenderableType] = [Text(f"Listening: {network.where.title}", style="bold")]
    for sender in network.senders():
        parts += _of_sender(network, sender)
    parts += [Text(said) for said in filter(None, (network.trouble(), *network.remarks()))]
    return Group(*parts)


def _audited(network: BoatNetwork) -> RenderableType:
    """What the network says of itself: a line a device, then what asks for something."""
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    from garboard.recordings.bus_audit import audit, in_words

    found = audit(network.senders(), network.listened)
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("Address", "Says of itself", "Claims as", "Sends"):
        table.add_column(heading)
    for device in found.devices:
        sends = ", ".join(f"{count} {kind}" for kind, count in device.sends)
        table.add_row(device.source, ", ".join(device.says), "; ".join(device.names), sends)
    said = [Text(f"- {sentence}") for _, sentence in in_words(found)] if found.devices else []
    return Group(Text("\nWhat the network says of itself", style="bold"), *([table] if found.devices else []), *said)


def _of_sender(network: BoatNetwork, sender: Sender) -> Iterable[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    from garboard.report.unit_signs import with_signs
    from garboard.samples import UNIT_OF_QUANTITY

    notes = sender.notes
    yield Text(f"\n{sender.address}: {in_number(notes.lines, 'line')}, {notes.damaged_count} damaged")
    for title, kinds in (("Read", notes.kinds), ("Not read", notes.unknown)):
        if kinds:
            yield Text(f"{title}: {', '.join(f'{count} {kind}' for kind, count in sorted(kinds.items()))}")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("Quantity", "Source"):
        table.add_column(heading)
    for heading in ("Values", "Newest"):
        table.add_column(heading, justify="right")
    for heading in ("Unit", "Age [s]"):
        table.add_column(heading)
    for key, latest in sorted(sender.latest.items()):
        name = " ".join(filter(None, (key.quantity.replace("_", " "), key.reference, key.instance)))
        age, unit = network.age(latest.at), with_signs(UNIT_OF_QUANTITY[key.quantity])
        table.add_row(name, key.source, str(latest.count), in_full(latest.value), unit, rounded(age, 1))
    if sender.latest:
        yield table
