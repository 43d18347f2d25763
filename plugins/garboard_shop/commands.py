"""`garboard shop` and `garboard shop-tablets`."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.disk.clock import wall_milliseconds
from garboard.disk.storage import FolderInUse, NewerFormat
from garboard.faults import Fault, InputError, in_words
from garboard.findings import rounded
from garboard.shop_link.pairing import DEFAULT_PORT
from garboard_shop.store import MANAGER, MINUTES_A_CODE_WORKS, ROLES, TECHNICIAN, StoreAway, in_order, shop_copied

if TYPE_CHECKING:
    from garboard.job_view import JobView
    from garboard.report.terminal import Tools
    from garboard.shop_link.pairing import PairingCode
    from garboard_shop.own_plugins import Former, Keep
    from garboard_shop.store import Register, Store, Tablet

DEFAULT_FOLDER = Path("garboard-shop")
ADDRESS_FILE = "address.json"
TABLET_JSON_KEYS = (
    "id",
    "name",
    "role",
    "paired_at",
    "last_contact",
    "clock_offset",
    "removed_at",
    "removed_by",
    "writes_as",
)
"""What `shop-tablets list --json` prints of each."""
NEEDED = ("starlette", "uvicorn", "cryptography", "segno", "jinja2", "argon2")
NEEDED_FOR_A_DATABASE = ("psycopg", "psycopg_pool")

folder_option = click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=DEFAULT_FOLDER,
    show_default=True,
    help="The shop's folder.",
)
store_option = click.option(
    "--store",
    "store_url",
    default="",
    envvar="GARBOARD_SHOP_STORE",
    metavar="URL",
    help="Use a PostgreSQL database instead of the folder: postgresql://user@host/database.",
)


def _user_of_this_machine() -> str:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):  # nobody of that number in the machine's list
        return "the shop machine"


by_option = click.option("--by", default=_user_of_this_machine, show_default="your user name", help="Who does this.")
role_option = click.option(
    "--role",
    type=click.Choice(ROLES),
    default=TECHNICIAN,
    show_default=True,
    help="The role of the tablet paired with this code. A manager's tablet can also settle, sign, join and move.",
)


@click.command("shop", short_help="Run the shop server. Tablets bring their work to it.")
@folder_option
@click.option("--host", default="0.0.0.0", show_default=True, help="Address of this machine to listen on.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=DEFAULT_PORT,
    show_default=True,
    help="Port to listen on. 0 picks a free one.",
)
@store_option
@click.option("--copy-to", default="", metavar="URL", help="Copy the shop to a database, compare both, then exit.")
@click.option("--name", default="", help="The shop's name on tablets and pages. It is saved.")
@click.option("--announce/--no-announce", default=True, help="Announce the server on the wifi so tablets find it.")
@role_option
@by_option
@click.pass_obj
def shop(
    tools: Tools,
    folder: Path,
    host: str,
    port: int,
    store_url: str,
    copy_to: str,
    name: str,
    announce: bool,
    role: str,
    by: str,
) -> None:
    """Run the shop server.

    It needs no configuration. It prints its address and a code that pairs one tablet; `garboard shop-tablets pair`
    prints the next code. Open the address in a browser for the day sheet. Stop the server with Ctrl-C. To back up,
    copy the folder.

    If the shop outgrows one machine, move it to PostgreSQL: stop the server, run --copy-to once, then run with --store.
    Several servers can share one database, and `garboard shop-spread` spreads one shop over several databases. The
    folder then holds only the certificate by which tablets recognise the server; copy it to each server.
    """
    need_server()
    if copy_to:
        _copy(folder, store_url, copy_to, by)
        return
    from garboard.disk.scratch import clear_away
    from garboard.hosting.titles import name_in_words
    from garboard_shop import access, naming, serve
    from garboard_shop.app import make_app
    from garboard_shop.certificate import own_certificate
    from garboard_shop.embedded import SHOP_FOLDER
    from garboard_shop.pages.desk import ShopDesk
    from garboard_shop.pages.plugins import WAITING_FOLDER, files_to_run
    from garboard_shop.pages.views import routes_of
    from garboard_shop.pages.visits import lost_in
    from garboard_shop.program_files import ProgramFiles

    if not folder.exists():
        serve.listen(host, port).close()  # a taken port leaves no empty folder behind
    clear_away()
    store = open_store(folder, store_url, of_today=True)  # asked again and again; a command reads the files themselves
    try:
        certificate = own_certificate(folder / SHOP_FOLDER)
        naming.keep_name(folder / SHOP_FOLDER, name)
        listening = serve.listen(host, port)
        here, port = serve.reachable_host(host), listening.getsockname()[1]
        _keep_address(folder / SHOP_FOLDER, here, port)

        def new_code(role: str, by: str) -> PairingCode:
            now = wall_milliseconds()
            return access.open_code(store.register, role, here, port, certificate.fingerprint, now, by)

        shop_folder = folder / SHOP_FOLDER
        approved = files_to_run(store, shop_folder)
        beside = (file for file in tools.beside(folder) if file.stem not in {one.stem for one in approved})
        with_own = attrs.evolve(tools, plugin_files=(*tools.plugin_files, *approved, *beside))
        own_host = with_own.host
        own_host.problems += [one for one in tools.refused_beside(folder) if one.name not in tools.without]
        with_own.tell_broken_plugins()
        code = new_code(role, by)
        click.echo(f"Shop server at {code.address}, everything kept in {place_of(folder, store_url)}")
        _tell_not_read(store)
        _tell_pages(store, here, port, certificate.fingerprint)
        tell_code(code, role)
        program = ProgramFiles()
        with ShopDesk(store, own_host, shop_folder, new_code, folder / WAITING_FOLDER, program=program) as desk:
            app = make_app(
                store,
                name=desk.shop_name,
                routes=routes_of(desk),
                lost=lost_in(desk),
                program=program,
                told=partial(name_in_words, host=own_host),
            )
            own = own_host.apart
            serve.run(app, listening, certificate, announce, own.stop if own is not None else bool)
    finally:
        store.close()


def _tell_not_read(store: Store) -> None:
    """Name the hull files of a shop's folder that cannot be read: no tablet gets them."""
    from garboard_shop.embedded import EmbeddedStore

    if isinstance(store, EmbeddedStore):
        store.hulls.hulls()
        for file, reason in store.hulls.not_read():
            click.echo(f"not read, so no tablet gets it: {file}: {reason}", err=True)


@click.command("shop-spread", short_help="Spread a shop over several PostgreSQL servers.")
@store_option
@click.option(
    "--over",
    multiple=True,
    envvar="GARBOARD_SHOP_OVER",
    metavar="URL",
    help="A shard: a database that takes a share of the boats. Give 2, 4, 8 ... of them, always in the same order.",
)
@click.option(
    "--user",
    default="",
    help="The user that shop servers connect as. It needs no rights on the front server.",
)
def shop_spread(store_url: str, over: tuple[str, ...], user: str) -> None:
    """Spread a shop over several empty databases (shards). Shop servers connect to an empty database in front of them.

    The front database needs PL/Proxy, and a superuser to set it up. Each shard holds whole boats. The front database
    holds tablets, people and codes. Several shards can be on one server; if there are more shards than servers, one
    can later move to a new server. The front database keeps the passwords of --over, visible only to the user that
    connects. Run the command again after each new version of garboard, and with --over when a shard has moved. Move a
    shop in with `garboard shop --copy-to`.
    """
    if not store_url:
        raise InputError("--store", [Fault("address", "of the database in front: postgresql://user@host/database", "")])
    _need_database()
    from garboard_shop.postgres.shards import shard_shop

    shards = shard_shop(store_url, over, user)
    for number, part in enumerate(shards.parts, 1):
        click.echo(f"shard {number} of {len(shards.parts)}: {part}")
    click.echo(f"Start shop servers with --store and the front database: {shards.front}")


@click.group("shop-tablets", short_help="Tablets of the shop: list, pair, change role, remove.")
def shop_tablets() -> None:
    """Manage the shop's tablets, whether or not the server is running."""


@shop_tablets.command("list")
@folder_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON, for other programs.")
def list_tablets(folder: Path, store_url: str, as_json: bool) -> None:
    """List every tablet: role, last contact, clock error."""
    with opened_register(folder, store_url, to_read=True) as register:
        tablets = register.tablets()
    if as_json:
        plain = [attrs.asdict(tablet, filter=attrs.filters.include(*TABLET_JSON_KEYS)) for tablet in tablets]
        click.echo(json.dumps({"format": "garboard tablets", "version": 1, "tablets": plain}, indent=1))
        return
    for tablet in tablets:
        click.echo(_line(tablet))
    if not tablets:
        click.echo("No tablet is paired.")


@shop_tablets.command("pair")
@folder_option
@store_option
@role_option
@by_option
def pair_tablet(folder: Path, store_url: str, role: str, by: str) -> None:
    """Print a new pairing code for one tablet. The server must be running."""
    need_server()
    from garboard_shop import access
    from garboard_shop.certificate import own_certificate
    from garboard_shop.embedded import SHOP_FOLDER

    host, port = _kept_address(_existing(folder) / SHOP_FOLDER)
    fingerprint = own_certificate(folder / SHOP_FOLDER).fingerprint
    with opened_register(folder, store_url) as register:
        tell_code(access.open_code(register, role, host, port, fingerprint, wall_milliseconds(), by), role)


@shop_tablets.command("role")
@folder_option
@store_option
@click.argument("tablet")
@click.argument("role", type=click.Choice(ROLES))
@by_option
def change_role(folder: Path, store_url: str, tablet: str, role: str, by: str) -> None:
    """Change a tablet's role. TABLET is its id. The tablet learns of it when it next comes ashore.

    A setting holds if a manager's tablet set it. So with the role, what this tablet set begins or ceases to hold.
    """
    with opened_register(folder, store_url) as register:
        before = frozenset() if store_url else _settings_that_hold(folder)
        if not register.change_role(tablet, role, by, wall_milliseconds()):
            raise _no_such_tablet(register, place_of(folder, store_url), tablet)
        after = frozenset() if store_url else _settings_that_hold(folder)
    click.echo(f"{tablet} is now a {role}'s tablet.")
    click.echo(f"Settings it set, for the shop or for one job, {'hold now' if role == MANAGER else 'no longer hold'}.")
    for what, changed in (("holds no longer", before - after), ("holds now", after - before)):
        for key, value in sorted(changed):
            click.echo(f"  {what}: {key}: {value}")


def _settings_that_hold(folder: Path) -> frozenset[tuple[str, str]]:
    """The shop's own settings in a folder, each key with each value a manager set; none where they cannot be read."""
    from garboard.disk.entries import SHOP_RECORD
    from garboard.disk.hullfile import HullFolder
    from garboard.history.authority import managers_of
    from garboard.history.setting_entries import shop_settings
    from garboard.report.settings_used import value_in_words

    try:
        with HullFolder(folder, read_only=True) as hulls:
            found = shop_settings(hulls.entries(SHOP_RECORD), managers_of(folder))
    except (OSError, NewerFormat):
        return frozenset()
    return frozenset((one.key, value_in_words(one.value)) for one in found if one.proved)


@shop_tablets.command("remove")
@folder_option
@store_option
@click.argument("tablet")
@by_option
def remove_tablet(folder: Path, store_url: str, tablet: str, by: str) -> None:
    """Remove a tablet. TABLET is its id. It can no longer read or write."""
    with opened_register(folder, store_url) as register:
        if not register.remove_tablet(tablet, by, wall_milliseconds()):
            raise _no_such_tablet(register, place_of(folder, store_url), tablet)
    click.echo(f"{tablet} is removed. It can no longer read or write.")


def _no_such_tablet(register: Register, place: str, tablet: str) -> InputError:
    there = ", ".join(one.id for one in register.tablets() if not one.is_removed) or "none"
    return InputError(place, [Fault("tablet", f"the id of one that takes part: {there}", repr(tablet))])


@click.command("shop-changes", short_help="List who changed codes, tablets, people or plugins.")
@folder_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON, for other programs.")
def shop_changes(folder: Path, store_url: str, as_json: bool) -> None:
    """List who admitted or removed tablets and people, changed roles or approved plugins, latest first.

    Decisions about boats are in each boat's own history.
    """
    with opened_register(folder, store_url, to_read=True) as register:
        changes = in_order(register.changes())
    if as_json:
        plain = [attrs.asdict(change) for change in changes]
        click.echo(json.dumps({"format": "garboard changes", "version": 1, "changes": plain}, indent=1))
        return
    for change in changes:
        click.echo(f"{_when(change.at)}  {change.who}: {change.what}, {change.about}")
    if not changes:
        click.echo("Nothing has been changed yet.")


@click.group("shop-plugins", short_help="The shop's own plugins on its tablets: list, approve, withdraw, put back.")
def shop_plugins() -> None:
    """Decide which of the shop's own plugins the tablets run. Tablets learn of it when they next come ashore."""


@shop_plugins.command("list")
@folder_option
@store_option
def list_plugins(folder: Path, store_url: str) -> None:
    """List every approved plugin with the hash of its file."""
    with opened_register(folder, store_url, to_read=True) as register:
        found = register.plugins()
    for plugin in found:
        state = f"WITHDRAWN by {plugin.withdrawn_by}" if plugin.is_withdrawn else f"approved by {plugin.approved_by}"
        click.echo(f"{plugin.name}  {plugin.sha256}  {state}")
    if not found:
        click.echo("No plugin is approved.")


@shop_plugins.command("approve")
@folder_option
@store_option
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@by_option
def approve_plugin(folder: Path, store_url: str, file: Path, by: str) -> None:
    """Approve a plugin for every paired tablet. FILE is one Python file or check file.

    It is tried on the shop's own jobs first.
    One that fails in a job, takes too long, or finds something else the second time is not approved. A plugin can do
    everything the app can do: read it before you approve it.
    """
    from garboard_shop.own_plugins import approve

    with _kept_plugins(folder, store_url) as (register, keep, former, jobs):
        now = wall_milliseconds()
        plugin = approve(register, keep, file, by, now, jobs=jobs, tell=click.echo, former=former)
    click.echo(f"{plugin.name} {plugin.sha256} is approved. Every tablet receives it when it next comes ashore.")


@shop_plugins.command("put-back")
@folder_option
@store_option
@click.argument("name")
@by_option
def put_back_plugin(folder: Path, store_url: str, name: str, by: str) -> None:
    """Approve a withdrawn plugin again, as it was. Its file is kept, and it is tried anew."""
    from garboard_shop.own_plugins import put_back

    with _kept_plugins(folder, store_url) as (register, keep, former, jobs):
        plugin = put_back(register, keep, name, by, wall_milliseconds(), former, jobs=jobs, tell=click.echo)
    click.echo(f"{plugin.name} {plugin.sha256} is back. Every tablet receives it when it next comes ashore.")


@contextmanager
def _kept_plugins(folder: Path, store_url: str) -> Iterator[tuple[Register, Keep, Former, Iterable[JobView]]]:
    """Where a shop keeps its plugins: the register, what keeps a file, what gives one back; and the shop's jobs."""
    from garboard_shop.own_plugins import content_in, keep_in_folder, keep_in_store

    if store_url:
        from garboard_shop.pages.plugins import content_of
        from garboard_shop.pages.summaries import jobs_of

        with closing(open_store(folder, store_url)) as store:
            yield store.register, keep_in_store(store), partial(content_of, store), jobs_of(store)
    else:
        with opened_register(folder, store_url) as register, _jobs_in(folder) as jobs:
            yield register, keep_in_folder(folder), partial(content_in, folder), jobs


@contextmanager
def _jobs_in(folder: Path) -> Iterator[Iterable[JobView]]:
    """The jobs in a shop's folder, which is only read: its server may be at work."""
    from garboard.disk.hullfile import HullFolder
    from garboard.judging.assessing import is_hull_folder, jobs_in

    if not is_hull_folder(folder):
        yield ()
        return
    with HullFolder(folder, read_only=True) as hulls:
        yield (view for _, view in jobs_in(hulls))


@shop_plugins.command("withdraw")
@folder_option
@store_option
@click.argument("name")
@by_option
def withdraw_plugin(folder: Path, store_url: str, name: str, by: str) -> None:
    """Withdraw a plugin from the tablets."""
    from garboard_shop.own_plugins import withdraw

    with opened_register(folder, store_url) as register:
        withdraw(register, name, by, wall_milliseconds())
    click.echo(f"{name} is withdrawn. A tablet stops running it when it next comes ashore.")


def need_server() -> None:
    """Raise InputError unless what the server is made of is installed."""
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        expected = "the office part: pip install 'garboard[office]'"
        raise InputError("shop server", [Fault("packages", expected, f"no {', '.join(missing)}")])


def open_store(folder: Path, url: str, *, of_today: bool = False) -> Store:
    """The store a command names: the folder itself, or a database. Raises InputError.

    of_today : whether of many hull files those are not read again that another program proved today
    """
    if url:
        return _open_database(url)
    from garboard_shop.embedded import EmbeddedStore

    try:
        return EmbeddedStore(folder, of_today=of_today)
    except FolderInUse as holder:
        raise InputError(str(folder), [Fault("folder", "one no other program writes in", in_words(holder))]) from None


@contextmanager
def opened_register(folder: Path, url: str, *, to_read: bool = False) -> Iterator[Register]:
    """The register of the folder or database a command names, whether or not a server runs on it.

    to_read : nothing is changed: no folder becomes a shop's, where only a manager's settings hold, by being looked at
    """
    if not url:
        from garboard_shop.embedded import FileRegister

        yield FileRegister(_existing(folder), reading=to_read)
        return
    with closing(_open_database(url)) as store:
        yield store.register


def place_of(folder: Path, url: str) -> str:
    """What a store is called in messages, without its password."""
    if not url:
        return str(folder)
    from garboard_shop.postgres.database import address_of

    return address_of(url).place


def _open_database(url: str) -> Store:
    _need_database()
    from garboard_shop.postgres import PostgresStore

    return PostgresStore(url)


def _need_database() -> None:
    missing = [name for name in NEEDED_FOR_A_DATABASE if find_spec(name) is None]
    if missing:
        expected = "the office part: pip install 'garboard[office]'"
        raise InputError("--store", [Fault("packages", expected, f"no {', '.join(missing)}")])


def _copy(folder: Path, url: str, copy_to: str, by: str) -> None:
    from garboard_shop.moving import copy_shop

    def progress(what: str, done: int, of: int) -> None:
        click.echo(f"\r{what}: {done} of {of} ", nl=done == of, err=True)

    if not url:
        _existing(folder)
    with closing(open_store(folder, url)) as here, closing(_open_database(copy_to)) as there:
        try:
            note = shop_copied(place_of(folder, url), place_of(folder, copy_to), by, wall_milliseconds())
            copied = copy_shop(here, there, progress, note)
        except StoreAway as away:
            expected = "one that answers; run the same command again, it continues where it stopped"
            raise InputError(place_of(folder, copy_to), [Fault("database", expected, in_words(away))]) from None
    for counted in copied.counts:
        click.echo(f"{counted.what:<12}{counted.here:>10} here{counted.there:>10} in the copy")
    for name, reason in copied.unequal.items():
        click.echo(f"{name}: {reason}")
    if not copied.is_whole:
        expected = "everything in it; correct what is listed above and run the same command again"
        raise InputError(place_of(folder, copy_to), [Fault("copy", expected, "less than that")])
    click.echo(f"Everything is copied to {place_of(folder, copy_to)}. From now on, run the server with --store.")


def _tell_pages(store: Store, host: str, port: int, fingerprint: str) -> None:
    """Print where the day sheet is, and what a browser is to be shown once."""
    click.echo(f"Day sheet at https://{host}:{port}")
    if not store.register.users():
        click.echo(f"Nobody can sign in yet. Create the first manager on this machine, at https://localhost:{port}")
    spaced = " ".join(fingerprint[start : start + 4] for start in range(0, len(fingerprint), 4))
    click.echo(f"The browser asks once whether to trust this server. The SHA-256 of its certificate is\n    {spaced}")


def tell_code(code: PairingCode, role: str) -> None:
    """Print a pairing code, as text, and as a picture for whatever can read one."""
    import io

    import segno

    click.echo(f"Pairing code for one tablet ({role}), valid for {MINUTES_A_CODE_WORKS} minutes:")
    click.echo(f"    {code.typed}")
    picture = io.StringIO()
    segno.make(code.scanned, error="m", micro=False).terminal(picture, compact=True)
    click.echo(picture.getvalue())


def _line(tablet: Tablet) -> str:
    state = f"REMOVED {_when(tablet.removed_at)} by {tablet.removed_by}" if tablet.is_removed else tablet.role
    clock = (
        f", clock error {rounded(-tablet.clock_offset / 1000, 0, '+z')} s" if abs(tablet.clock_offset) >= 1000 else ""
    )
    return f"{tablet.id}  {tablet.name}  {state}, last contact {_when(tablet.last_contact)}{clock}"


def _when(at: int) -> str:
    from datetime import datetime

    return f"{datetime.fromtimestamp(at / 1000).astimezone():%Y-%m-%d %H:%M}" if at else "never"


def _existing(folder: Path) -> Path:
    if not folder.is_dir():
        raise InputError(str(folder), [Fault("folder", "one that `garboard shop` has used", "no such folder")])
    return folder


def _keep_address(folder: Path, host: str, port: int) -> None:
    from garboard.disk.storage import write_whole

    write_whole(folder / ADDRESS_FILE, [json.dumps({"host": host, "port": port}).encode()])


def _kept_address(folder: Path) -> tuple[str, int]:
    from garboard.disk.json_text import read_json

    try:
        plain = read_json((folder / ADDRESS_FILE).read_bytes())
        return str(plain["host"]), int(plain["port"])
    except (OSError, ValueError, KeyError, TypeError):
        expected = "one where `garboard shop` has run once"
        raise InputError(str(folder), [Fault("folder", expected, "no address of a server")]) from None


COMMANDS: tuple[click.Command, ...] = (shop, shop_spread, shop_tablets, shop_changes, shop_plugins)
