"""What the documents name exists: each file, command, option, module and class in a `code span` or a shell block."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from itertools import chain
from pathlib import Path

import click
import pytest

from documents import DOCUMENTS
from garboard.commands.cli import program
from garboard.report.terminal import Tools

ROOT = Path(__file__).parents[2]
BELOW = ("", "core/garboard/", "tablet_app/garboard_tablet/", "plugins/garboard_shop/", "plugins/garboard_*/")
"""Where a document's short paths begin, besides its own folder."""
OF_A_SHOP_OR_ITS_OWNER = {
    "shop/*.pem",
    "my_checks.py",
    "CHECK.toml",
    "test_my_checks.py",
    "our_bilge.py",
    "how_to.py",
    "other.py",
    "job.json",
}
"""Files of whoever uses the program; none is in the project."""
PATH = re.compile(r"[\w.*-]*(?:/[\w.*-]*)*(?:/|\.(?:py|md|toml|json|pem)|/[\w*-]+)")
DOTTED = re.compile(r"[a-z_]+(?:\.[a-z_]+)+")
DATA = re.compile(r"(?:[a-z]+/)?([a-z_-]+\.(?:json|sizes|sorted|ids|names|proved))")
"""A file that the program keeps on a tablet or at a shop."""
DEFINED = re.compile(r"(?:[A-Z]\w*[a-z]\w*|[A-Z]+_[A-Z_]+|\w+\(.*\))")


def spans(text: str) -> Iterator[str]:
    """What stands between single backquotes, and the lines of shell blocks."""
    yield from re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.S))
    for block in re.findall(r"```sh\n(.*?)```", text, re.S):
        for line in block.splitlines():
            yield from re.split(r" && ", line.partition("  #")[0].strip())


def is_there(name: str, document: str) -> bool:
    """Whether a path, or a pattern of one, names something in the project."""
    own = Path(document).parent.as_posix()
    return any(True for below in (*BELOW, f"{own}/") for _ in ROOT.glob(f"{below}{name.rstrip('/')}"))


def is_kept_by_the_program(name: str) -> bool:
    """Whether the program names a data file, as `"hulls.sizes"` or behind its folder."""
    data = DATA.fullmatch(name)
    return data is not None and re.search(rf"[\"/]{re.escape(data[1])}\"", sources()) is not None


@cache
def sources() -> str:
    """All Python text of the project."""
    files = chain.from_iterable((ROOT / top).rglob("*.py") for top in ("core", "plugins", "tablet_app", "tests"))
    return "\n".join(file.read_text(encoding="utf-8") for file in files if file != Path(__file__))


def command_of(words: list[str]) -> tuple[click.Command, list[str]]:
    """The command a person would run with these words, and what is left of them. Raises KeyError for an unknown one."""
    at: click.Command = program
    while isinstance(at, click.Group):
        rest = [word for word in words if not word.startswith("-") and not word.endswith(".py")]
        if not rest:
            break
        below = at.get_command(click.Context(at, obj=Tools()), rest[0])
        if below is None:
            raise KeyError(rest[0])
        words = words[words.index(rest[0]) + 1 :]
        at = below
    return at, words


def options_of(command: click.Command) -> set[str]:
    context = click.Context(command, obj=Tools())
    return {option for param in command.get_params(context) for option in (*param.opts, *param.secondary_opts)}


@cache
def every_option() -> frozenset[str]:
    def below(command: click.Command) -> Iterator[str]:
        yield from options_of(command)
        if isinstance(command, click.Group):
            context = click.Context(command, obj=Tools())
            for name in command.list_commands(context):
                inner = command.get_command(context, name)
                assert inner is not None
                yield from below(inner)

    return frozenset(below(program))


def fault_of_command(span: str) -> str:
    """What is wrong with a `garboard ...` span; nothing when it can be typed."""
    words = shlex.split(span)[1:]
    if "COMMAND" in words:
        return ""
    try:
        command, rest = command_of(words)
    except KeyError as unknown:
        return f"no command {unknown}"
    before = [word for word in words[: len(words) - len(rest)] if word.startswith("-")]
    given = {word.partition("=")[0] for word in rest if re.fullmatch(r"-[-\w=]+", word)}
    lost = (given - options_of(command)) | ({*before} - options_of(program))
    return f"no option {', '.join(sorted(lost))}" if lost else ""


def fault_of_dotted(span: str) -> str:
    for name in (span, f"garboard.{span}"):
        for split in (len(name), name.rfind(".")):
            try:
                found = import_module(name[:split])
            except ImportError:
                continue
            if split == len(name) or hasattr(found, name[split + 1 :]):
                return ""
    return "no module or function of this name"


def fault_of(span: str, document: str) -> str:
    """What is wrong with one code span; nothing when what it names exists, or when it names nothing of ours."""
    first = span.split()[0] if span.split() else ""
    if first == "garboard" and len(span.split()) > 1:
        return fault_of_command(span)
    if first.startswith("--"):
        known = first in every_option() or f'"{first}"' in sources()
        return "" if known else "no option of a command or a script"
    if first.endswith("python") and len(span.split()) > 1:
        script = span.split()[1]
        return "" if script == "-m" or is_there(script, document) else "no such script"
    if " " in span or span in OF_A_SHOP_OR_ITS_OWNER or re.search(r"://|<|^[/~.]", span):
        return ""
    if is_kept_by_the_program(span):
        return ""
    if DOTTED.fullmatch(span) and not span.endswith((".py", ".md", ".toml", ".json")):
        return fault_of_dotted(span)
    if PATH.fullmatch(span):
        return "" if is_there(span, document) else "no such file or folder"
    if DEFINED.fullmatch(span):
        name = re.escape(span.partition("(")[0])
        defined = rf"(?:def|class) {name}\b|^\s*{name}\b.*=|envvar=\"{name}\""
        return "" if re.search(defined, sources(), re.M) else "defined nowhere"
    return ""


@pytest.mark.parametrize("document", DOCUMENTS)
def test_everything_a_document_names_exists(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    faults = {span: fault_of(span, document) for span in spans(text)}
    assert {span: fault for span, fault in faults.items() if fault} == {}


@pytest.mark.parametrize(
    "span",
    [
        "history/fold.py",
        "tests/core/test_fold.py",
        "garboard asses JOB.json",
        "garboard assess --jsn",
        "garboard shop-tablets evict ID",
        "history.fold.replay",
        "HullStates",
        "--no-such-option",
        ".venv/bin/python tests/bench/bench_nothing.py",
        "documents/nothing_kept.json",
        "nothing.sizes",
    ],
)
def test_what_does_not_exist_is_found(span: str) -> None:
    assert fault_of(span, "DEVELOPERS.md") != ""
