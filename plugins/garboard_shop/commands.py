"""`garboard shop` and `garboard shop-tablets`."""

from __future__ import annotations

import json
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.clock import wall_milliseconds
from garboard.faults import Fault, InputError
from garboard.pairing import DEFAULT_PORT
from garboard.storage import FolderInUse
from garboard_shop.store import MINUTES_A_CODE_WORKS, ROLES, TECHNICIAN

if TYPE_CHECKING:
    from garboard.pairing import PairingCode
    from garboard_shop.store import Store, Tablet

DEFAULT_FOLDER = Path("garboard-shop")
ADDRESS_FILE = "address.json"
NEEDED = ("starlette", "uvicorn", "cryptography", "segno")

folder_option = click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=DEFAULT_FOLDER,
    show_default=True,
    help="Where the shop keeps everything.",
)
role_option = click.option("--role", type=click.Choice(ROLES), default=TECHNICIAN, show_default=True)


@click.command("shop", short_help="Run the shop server that tablets bring their work ashore to.")
@folder_option
@click.option("--host", default="0.0.0.0", show_default=True, help="Address of this machine to listen on.")
@click.option("--port", type=click.IntRange(0, 65535), default=DEFAULT_PORT, show_default=True)
@click.option(
    "--store", "store_url", default="", metavar="URL", help="Keep entries in a database instead of the folder."
)
@click.option("--name", default="", help="What tablets call the shop; this machine's name otherwise.")
@click.option("--announce/--no-announce", default=True, help="Tell tablets on the wifi where the server is.")
@role_option
def shop(folder: Path, host: str, port: int, store_url: str, name: str, announce: bool, role: str) -> None:
    """Run the shop server.

    No configuration is needed. It prints its address and a code that pairs one tablet; `garboard shop-tablets pair`
    gives the next one. Stop it with Ctrl-C. Back up by copying the folder.
    """
    need_server()
    import socket

    from garboard_shop import access, serve
    from garboard_shop.app import make_app
    from garboard_shop.certificate import own_certificate
    from garboard_shop.embedded import SHOP_FOLDER

    store = open_store(folder, store_url)
    try:
        certificate = own_certificate(folder / SHOP_FOLDER)
        listening = serve.listen(host, port)
        here, port = serve.reachable_host(host), listening.getsockname()[1]
        _keep_address(folder / SHOP_FOLDER, here, port)
        code = access.open_code(store.register, role, here, port, certificate.fingerprint, wall_milliseconds())
        click.echo(f"Shop server at {code.address}, everything kept in {folder}")
        tell_code(code, role)
        serve.run(make_app(store, name=name or socket.gethostname()), listening, certificate, announce)
    finally:
        store.close()


@click.group("shop-tablets", short_help="Tablets of the shop: list, pair, remove.")
def shop_tablets() -> None:
    """Look after the tablets of a shop, whether or not its server is running."""


@shop_tablets.command("list")
@folder_option
@click.option("--json", "as_json", is_flag=True)
def list_tablets(folder: Path, as_json: bool) -> None:
    """Every tablet: role, last contact, how far its clock was off."""
    from garboard_shop.embedded import FileRegister

    tablets = FileRegister(_existing(folder)).tablets()
    if as_json:
        plain = [{k: v for k, v in attrs.asdict(tablet).items() if k != "token_hash"} for tablet in tablets]
        click.echo(json.dumps({"format": "garboard tablets", "version": 1, "tablets": plain}, indent=1))
        return
    for tablet in tablets:
        click.echo(_line(tablet))
    if not tablets:
        click.echo("no tablet is paired")


@shop_tablets.command("pair")
@folder_option
@role_option
def pair_tablet(folder: Path, role: str) -> None:
    """A new code, for one tablet, while the server is running."""
    need_server()
    from garboard_shop import access
    from garboard_shop.certificate import own_certificate
    from garboard_shop.embedded import SHOP_FOLDER, FileRegister

    host, port = _kept_address(_existing(folder) / SHOP_FOLDER)
    fingerprint = own_certificate(folder / SHOP_FOLDER).fingerprint
    tell_code(access.open_code(FileRegister(folder), role, host, port, fingerprint, wall_milliseconds()), role)


@shop_tablets.command("remove")
@folder_option
@click.argument("tablet")
@click.option("--by", required=True, help="Who removes it.")
def remove_tablet(folder: Path, tablet: str, by: str) -> None:
    """Shut a tablet out, by its id: it can neither read nor write from now on."""
    from garboard_shop.embedded import FileRegister

    register = FileRegister(_existing(folder))
    if not register.remove_tablet(tablet, by, wall_milliseconds()):
        there = ", ".join(one.id for one in register.tablets() if not one.is_removed) or "none"
        raise InputError(str(folder), [Fault("tablet", f"the id of one that takes part: {there}", repr(tablet))])
    click.echo(f"{tablet} can neither read nor write any more")


def need_server() -> None:
    """Raise InputError unless what the server is made of is installed."""
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        expected = "the office part: pip install 'garboard[office]'"
        raise InputError("shop server", [Fault("packages", expected, f"no {', '.join(missing)}")])


def open_store(folder: Path, url: str) -> Store:
    """The store a command names: the folder itself, or a database. Raises InputError."""
    if url:
        raise InputError("--store", [Fault("store", "nothing: entries are kept in the folder", repr(url))])
    from garboard_shop.embedded import EmbeddedStore

    try:
        return EmbeddedStore(folder)
    except FolderInUse as holder:
        raise InputError(str(folder), [Fault("folder", "one no other program writes in", str(holder))]) from None


def tell_code(code: PairingCode, role: str) -> None:
    """Print a pairing code, as text and as a picture to scan."""
    import io

    import segno

    click.echo(f"Pairing code for one tablet ({role}), good for {MINUTES_A_CODE_WORKS} minutes:")
    click.echo(f"    {code.typed}")
    picture = io.StringIO()
    segno.make(code.scanned, error="m", micro=False).terminal(picture, compact=True)
    click.echo(picture.getvalue())


def _line(tablet: Tablet) -> str:
    from datetime import datetime

    def when(at: int) -> str:
        return f"{datetime.fromtimestamp(at / 1000).astimezone():%Y-%m-%d %H:%M}" if at else "never"

    state = f"REMOVED {when(tablet.removed_at)} by {tablet.removed_by}" if tablet.is_removed else tablet.role
    clock = f", its clock {-tablet.clock_offset / 1000:+.0f} s off" if abs(tablet.clock_offset) >= 1000 else ""
    return f"{tablet.id}  {tablet.name}  {state}, last contact {when(tablet.last_contact)}{clock}"


def _existing(folder: Path) -> Path:
    if not folder.is_dir():
        raise InputError(str(folder), [Fault("folder", "one that `garboard shop` has used", "none of that name")])
    return folder


def _keep_address(folder: Path, host: str, port: int) -> None:
    from garboard.storage import write_whole

    write_whole(folder / ADDRESS_FILE, [json.dumps({"host": host, "port": port}).encode()])


def _kept_address(folder: Path) -> tuple[str, int]:
    try:
        plain = json.loads((folder / ADDRESS_FILE).read_bytes())
        return str(plain["host"]), int(plain["port"])
    except (OSError, ValueError, KeyError):
        expected = "one where `garboard shop` has run once"
        raise InputError(str(folder), [Fault("folder", expected, "no address of a server")]) from None


COMMANDS: tuple[click.Command, ...] = (shop, shop_tablets)
