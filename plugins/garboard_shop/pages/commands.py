"""`garboard shop-people`: who may sign in on the shop server's pages."""

from __future__ import annotations

from pathlib import Path

import click

from garboard.disk.clock import wall_milliseconds
from garboard.faults import Fault, InputError
from garboard_shop.commands import by_option, folder_option, need_server, opened_register, store_option
from garboard_shop.store import MANAGER, ROLES


@click.group("shop-people", short_help="People who may sign in on the pages: list, add, remove.")
def shop_people() -> None:
    """Manage who may sign in on the day sheet, whether or not the server is running."""
    need_server()


@shop_people.command("list")
@folder_option
@store_option
def list_people(folder: Path, store_url: str) -> None:
    """List everyone who may sign in, with their role."""
    from garboard_shop.pages import people

    with opened_register(folder, store_url, to_read=True) as register:
        found = people.taking_part(register)
    for person in found:
        click.echo(f"{person.name}, {person.role}")
    if not found:
        click.echo("Nobody may sign in yet.")


@shop_people.command("add")
@folder_option
@store_option
@click.argument("name")
@click.option(
    "--role",
    type=click.Choice(ROLES),
    help="A technician reads; a manager also decides. Default: the role the person has; a new person is a manager.",
)
@click.password_option(
    prompt="Password, 15 characters or more",
    help="If you leave it out, you are asked for it. Others can read a command line.",
)
@by_option
def add_person(folder: Path, store_url: str, name: str, role: str | None, password: str, by: str) -> None:
    """Let a person sign in, or give them a new role or password."""
    from garboard_shop.pages import people

    with opened_register(folder, store_url) as register, register.alone():
        known = people.find(register, name)
        # A new password alone must make nobody a manager.
        user = people.make_user(known.name if known else name, role or (known.role if known else MANAGER), password)
        register.put_user(user, by, wall_milliseconds())
    click.echo(f"{user.name} may sign in as {user.role}")


@shop_people.command("remove")
@folder_option
@store_option
@click.argument("name")
@by_option
def remove_person(folder: Path, store_url: str, name: str, by: str) -> None:
    """Stop a person from signing in. Their decisions stay under their name."""
    import attrs

    from garboard_shop.pages import people

    with opened_register(folder, store_url) as register, register.alone():
        known = people.find(register, name)
        if known is None:
            there = ", ".join(person.name for person in people.taking_part(register)) or "nobody"
            raise InputError(str(folder), [Fault("name", f"one who may sign in: {there}", repr(name))])
        now = wall_milliseconds()
        register.put_user(attrs.evolve(known, removed_at=now), by, now)
    click.echo(f"{known.name} can no longer sign in.")


COMMANDS: tuple[click.Command, ...] = (shop_people,)
