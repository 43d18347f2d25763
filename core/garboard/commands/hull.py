"""`garboard hull`: is a hull number well formed, and what does it say."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Sequence

import click

from garboard.commands.tools import BAD_INPUT

HELP = """Check hull numbers: what each position means, or what is wrong with it.

Exit status 0: all are well formed. Exit status 2: at least one is not.
"""


@click.command("hull", help=HELP, short_help="Check a hull number.")
@click.argument("numbers", metavar="NUMBER...", nargs=-1, required=True)
@click.pass_context
def command(context: click.Context, numbers: Sequence[str]) -> None:
    """Explain each number."""
    from garboard.faults import InputError

    faulty = False
    for number in numbers:
        try:
            click.echo(_explained(number))
        except InputError as failure:
            faulty = True
            click.echo(why_not(number, failure), err=True)
    context.exit(BAD_INPUT if faulty else 0)


def _explained(number: str) -> str:
    from garboard.hull_number import parse

    read = parse(number)
    lines = [
        f"{read.text}: well formed, form {read.form}",
        f"  maker {read.maker}, serial {read.serial}, {month_name[read.month]} of a year ending "
        f"{read.year_digit}, model year {read.model_year}",
    ]
    if read.country:
        lines[1] += f", country {read.country}"
    lines += [f"  corrected: {change}" for change in read.cleaned]
    lines += [f"  check it: {doubt}" for doubt in read.doubts]
    return "\n".join(lines)


def why_not(number: str, failure: ValueError) -> str:
    """Why a hull number is not well formed, and what it may be meant for."""
    from garboard.hull_number import repair_suggestions

    offers = [f"  perhaps {offer}: compare it with the transom" for offer in repair_suggestions(number)]
    return "\n".join([f"{number!r} is not well formed. {failure}", *offers])
