"""`garboard ashore`: bring a tablet's folder ashore to the shop server."""

from __future__ import annotations

import json
import socket
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.commands.tools import BAD_INPUT, record_in_words
from garboard.faults import Fault, InputError, in_number, in_words
from garboard.findings import in_full, rounded

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from garboard.disk.hullfile import HullFolder
    from garboard.records import JsonValue
    from garboard.shop_link.pairing import PairedShop
    from garboard.shop_link.sync import SyncReport

HELP = """Synchronise a tablet's folder with the shop server, both ways.

The first time, give the pairing code that `garboard shop` prints. If the folder holds no hull files yet, also give
--new. So a mistyped folder name does not use up the code.

\b
Exit status 0  both sides hold the same
            1  something was refused, could not be read, is lost or still missing
            2  the shop cannot be reached, or it refuses this tablet
"""


@click.command("ashore", help=HELP, short_help="Bring a folder ashore to the shop server.")
@click.option(
    "--folder", required=True, type=click.Path(path_type=Path, file_okay=False), help="The tablet's hull files."
)
@click.option(
    "--pair",
    "code",
    default="",
    metavar="CODE",
    help='The pairing code in quotes: "ADDRESS CODE", or only its 24 characters if the wifi announces the server.',
)
@click.option("--new", is_flag=True, help="Start a new folder there and fill it with what the shop holds.")
@click.option("--name", default="", help="The tablet's name at the shop. Default: this machine's name.")
@click.option("--at", "address", default="", metavar="ADDRESS", help="The shop server's new address, if it moved.")
@click.option(
    "--keep-trying",
    "minutes",
    type=click.FloatRange(0),
    default=0,
    help="Minutes to retry while the server is away.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON, for other programs.")
def command(folder: Path, code: str, new: bool, name: str, address: str, minutes: float, as_json: bool) -> None:
    """Pair if asked to, then bring ashore."""
    from garboard.disk.hullfile import HullFolder
    from garboard.hosting.titles import names_in_words
    from garboard.report.terminal import Tools
    from garboard.shop_link import pairing, sync

    paired = None if code else _paired(folder)
    if code:
        _ = pairing.characters_alone(code) or pairing.read_code(code)  # what is no code makes no folder
        if not new:
            _refuse_without_hull_files(folder)
    try:
        with HullFolder(folder) as hulls:
            shop = paired or sync.pair(code, name or socket.gethostname(), _device_of(folder))
            if address:
                host, port = pairing.read_address(address)
                shop = attrs.evolve(shop, host=host, port=port)
            pairing.keep(folder, shop)
            report = _bring(hulls, shop, minutes)
    except (sync.ShopAway, sync.NotTheShop, sync.NotPaired, sync.ShopRefused) as failure:
        click.echo(f"Not brought ashore: {in_words(failure)}.", err=True)
        sys.exit(BAD_INPUT)
    tools = click.get_current_context().ensure_object(Tools)
    told = readable_report(report, lambda names: names_in_words(names, tools.host_for(folder)))
    click.echo(json.dumps(plain_report(report), indent=1) if as_json else told)
    if not report.complete:
        sys.exit(1)


def _refuse_without_hull_files(folder: Path) -> None:
    from garboard.judging.assessing import is_hull_folder

    if not is_hull_folder(folder):
        expected = "a tablet's folder of hull files, or --new to begin an empty one there"
        got = "a folder without hull files" if folder.is_dir() else "no such folder"
        raise InputError(str(folder), [Fault("--folder", expected, f"{got}; the code was not used")])


def _device_of(folder: Path) -> str:
    """Paired once more, a folder goes on under the name it wrote as before."""
    from garboard.disk.documents import DocumentDamaged
    from garboard.shop_link import pairing

    try:
        before = pairing.kept(folder)
    except DocumentDamaged:
        return ""
    return before.device if before else ""


def _paired(folder: Path) -> PairedShop:
    from garboard.shop_link import pairing

    shop = pairing.kept(folder)
    if shop is None:
        fault = Fault("shop", "a pairing: give --pair with the code `garboard shop` prints", "none in this folder")
        raise InputError(str(folder), [fault])
    return shop


def _bring(hulls: HullFolder, shop: PairedShop, minutes: float) -> SyncReport:
    from garboard.shop_link import sync
    from garboard.shop_link.ashore import bring_ashore_where_it_is

    def attempt() -> SyncReport:
        return bring_ashore_where_it_is(hulls, shop, prove=True)

    if not minutes:
        return attempt()
    stop = threading.Event()
    timer = threading.Timer(minutes * 60, stop.set)
    timer.daemon = True
    timer.start()
    try:
        report = sync.keep_trying(attempt, stop, told=_tell_waiting)
    finally:
        timer.cancel()
    if report is None:
        raise sync.ShopAway(f"no answer from {shop.host} for {in_full(minutes)} minutes")
    return report


def _tell_waiting(reason: Exception, wait: float) -> None:
    click.echo(f"{in_words(reason)}. Next try in {rounded(wait)} s.", err=True)


def plain_report(report: SyncReport) -> dict[str, JsonValue]:
    """A report as plain data; hulls and reasons as `garboard merge` prints them."""
    from garboard.commands.hulls import plain_hull, plain_losses, plain_reasons

    return {
        "format": "garboard ashore",
        "version": 1,
        "equal": report.equal,
        "complete": report.complete,
        "sent": report.sent,
        "received": report.received,
        "attachments_sent": report.attachments_sent,
        "attachments_received": report.attachments_received,
        "hulls": [plain_hull(hull) for hull in report.hulls],
        "refused": plain_reasons(report.refused),
        "not_taken": [*report.not_taken],
        "not_kept": plain_reasons(report.not_kept),
        "not_read": {**dict(report.not_read)},
        "lost": plain_losses(report.lost),
        "missing": {**dict(report.missing)},
        "approved": [attrs.asdict(plugin) for plugin in report.approved],
        "withdrawn": [*report.withdrawn],
        "role": report.role,
        "clock_offset": report.clock_offset,
        "here": {**report.here},
        "there": {**report.there},
        "bytes_sent": report.bytes_sent,
        "bytes_received": report.bytes_received,
    }


def readable_report(report: SyncReport, told: Callable[[Iterable[str]], str] = ", ".join) -> str:
    """A report for people.

    told : names of values in words; see `titles.names_in_words`
    """
    from garboard.commands.hulls import stale_in_words
    from garboard.history.merge import boat_by_boat
    from garboard.history.registers import name_of
    from garboard.shop_link.sync import not_taken_in_words

    sent, received = (
        f"{in_number(entries, 'entry', 'entries')} and {in_number(files, 'attachment')}"
        for entries, files in (
            (report.sent, report.attachments_sent),
            (report.received, report.attachments_received),
        )
    )
    lines = [f"sent {sent}, received {received}"]
    for hull in boat_by_boat(report.hulls):
        lines += [f"{', also '.join((record_in_words(hull.hull), *hull.also))}: {hull.received} new"]
        lines += [f"  values disagree: {told([name_of(key)])}" for key in hull.disagreeing]
        lines += [f"  {line}" for line in stale_in_words(hull.stale, told)]
        if hull.look_alikes:
            lines.append(f"  looks like {hull.alike_in_words}: compare the number with the transom")
    lines += [f"refused by the shop, still in this folder: {name}: {reason}" for name, reason in report.refused]
    if report.not_taken:
        lines.append(not_taken_in_words(report))
    lines += [f"not saved in this folder: {name}: {reason}" for name, reason in report.not_kept]
    lines += [f"not read, so not sent: {file}: {reason}" for file, reason in report.not_read]
    lines += [f"lost in its file here, and not at the shop: {loss}" for loss in report.lost]
    lines += [
        f"missing here and at the shop: {called or 'an attachment'} ({name[:12]}), which an entry names. Merge with "
        "where it was taken"
        for name, called in report.missing
    ]
    lines += [f"shop plugin received, it runs from the next start: {plugin}" for plugin in report.approved]
    lines += [f"shop plugin withdrawn: {name}" for name in report.withdrawn]
    if report.clock_is_off:
        lines.append(
            f"this machine's clock differs from the shop's by {rounded(-report.clock_offset / 1000, 0, '+z')} s: set it"
        )
    counted = (
        f"{in_number(sum(report.here.values()), 'entry', 'entries')} here, {sum(report.there.values())} at the shop"
    )
    alike = ": the shop holds all the others" if report.not_taken else ": both sides hold the same"
    first = "see to what was refused above, then " if report.refused else ""
    same = alike if report.equal else f": NOT the same yet, {first}bring ashore again"
    if report.not_read and not report.differing:
        same = ": the same of what could be read; make the rest readable, then bring ashore again"
    if report.lost and report.equal:
        same = ": the same of what could be read; what is lost is named above. Merge with where it was written"
    if report.not_kept and report.equal:
        same = ": the same entries; NOT all that the shop gave is saved here, bring ashore again"
    if report.refused and report.equal:
        same = ": the same entries; NOT every photo and recording, see what was refused above"
    lines.append(counted + same)
    return "\n".join(lines)
