"""`garboard new-plugin`: a plugin to begin with, its tests and a sample job beside it."""

from __future__ import annotations

from pathlib import Path

import click

HELP = """Write a plugin that works, its tests and a sample job, to change into your own.

NAME is what the plugin is called: small letters, digits and _. Nothing that is there is written over. Then:

\b
  garboard check-plugin NAME.py --on NAME_job.json
  garboard --plugin NAME.py assess NAME_job.json
  pytest test_NAME.py
"""

FILES = Path(__file__).parent / "new_plugin_files"
"""The plugin that is written, as files of their own: the project's own checks read and run them."""
EXAMPLE = "my_checks"
"""What it is called there."""


@click.command("new-plugin", help=HELP, short_help="Write a plugin to begin with, and its tests.")
@click.argument("name")
@click.option(
    "--folder",
    default=Path(),
    type=click.Path(path_type=Path, file_okay=False),
    help="Where to write it. Default: this folder.",
)
@click.option("--package", is_flag=True, help="Write a package that pip installs, in a folder of its name.")
def command(name: str, folder: Path, package: bool) -> None:
    """Write and say what is there."""
    from garboard.commands.tools import write_file
    from garboard.faults import Fault, InputError

    content = files_of(name, package=package)
    if there := [folder / file for file in content if (folder / file).exists()]:
        expected = "names of new files; call it something else, or name another --folder"
        raise InputError("new-plugin", [Fault(str(file), expected, "one that is there already") for file in there])
    for file, text in content.items():
        write_file(folder / file, text.encode())
        click.echo(folder / file)


def files_of(name: str, *, package: bool = False) -> dict[str, str]:
    """What is written, by its path. Raises InputError for a name that no plugin can have."""
    from garboard.faults import Fault, InputError, shown
    from garboard.hosting.host import BUILT_IN
    from garboard.hosting.plugin_file import NAME, better_name

    if not NAME.fullmatch(name) or name in BUILT_IN:
        expected = "small letters, digits and _ alone, a letter first, and no name of the program's own plugins"
        cure = f"call it {better_name(name)}"
        raise InputError("new-plugin", [Fault("NAME", expected, shown(name), cure=cure)])
    plugin, test, job = f"{EXAMPLE}.py", f"test_{EXAMPLE}.py", f"{EXAMPLE}_job.json"
    if package:
        inside, tests = f"{EXAMPLE}/{EXAMPLE}", f"{EXAMPLE}/tests"
        places = {
            f"{EXAMPLE}/pyproject.toml": "pyproject.toml",
            f"{inside}/__init__.py": plugin,
            f"{inside}/py.typed": "",
            f"{tests}/{test}": test,
            f"{tests}/{job}": job,
        }
    else:
        places = {plugin: plugin, test: test, job: job}
    return {place.replace(EXAMPLE, name): _text_of(file).replace(EXAMPLE, name) for place, file in places.items()}


def _text_of(file: str) -> str:
    return (FILES / file).read_text(encoding="utf-8") if file else ""
