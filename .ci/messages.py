"""Writes the template of a translation: the words that the tablet app itself has on its pages, as gettext's .pot.

Babel writes it, and makes and compiles catalogues of it; a catalogue is laid into
`tablet_app/garboard_tablet/locale/LANGUAGE/LC_MESSAGES/garboard_tablet.mo`. Words are found where they stand: as the
text of a widget, as the title, small print or word of a page, or as a sentence with values in it (`phrase`), which it
has by name: `{free}`. What the core and the plugins say is not found.

Run:  python .ci/messages.py FILE.pot
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from babel.messages import Catalog

ROOT = Path(__file__).parents[1]
APP = ROOT / "tablet_app" / "garboard_tablet"
FOLDERS = ("pages", "ui", "models", "system")
WIDGETS = ("Press", "RowPress", "Txt", "heading", "words", "warning_card", "Marked", "_choice", "_row", "phrase")
"""What shows its first words as they are given."""
NAMED = ("small", "word", "value", "hint")
"""Arguments that are words too."""
OF_PAGES = ("title", "under", "word", "asks")
"""What a page says by an attribute of its class."""


def messages() -> Iterator[tuple[str, str, int]]:
    """Each of the tablet's words: the words, the file within the app, and the line."""
    for room in FOLDERS:
        for path in sorted((APP / room).glob("*.py")):
            for words, line in sorted(of_source(path.read_text(encoding="utf-8")), key=lambda one: one[1]):
                yield words, path.relative_to(APP).as_posix(), line


def of_source(source: str) -> Iterator[tuple[str, int]]:
    """Words in a source, with their lines.

    >>> list(of_source('Press("Save", do); heading("A" if b else "B"); words(phrase("{count} left", count=3))'))
    [('Save', 1), ('A', 1), ('B', 1), ('{count} left', 1)]
    """
    for one in _shown(ast.parse(source)):
        yield from _words(one)


def put_together(source: str) -> Iterator[tuple[str, int]]:
    """Sentences in a source that are shown with values in them and are no `phrase`: no catalogue can have them.

    >>> list(put_together('Press(f"Save {count} runs", do); Txt(f"{one}, {other}"); words(phrase("{n} left", n=3))'))
    [("f'Save {count} runs'", 1)]
    """
    for one in _shown(ast.parse(source)):
        for node in ast.walk(one):
            if isinstance(node, ast.JoinedStr) and any(
                isinstance(part, ast.Constant) and re.search("[A-Za-z]{2}", str(part.value)) for part in node.values
            ):
                yield ast.unparse(node), node.lineno


def _shown(tree: ast.Module) -> Iterator[ast.expr]:
    """What is shown as it is given."""
    constants = {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _name(node.func) in WIDGETS:
            given = [*node.args[:1], *(one.value for one in node.keywords if one.arg in NAMED)]
        elif isinstance(node, ast.Call) and _name(node.func) == "partial" and node.args:
            given = node.args[1:2] if _name(node.args[0]) in WIDGETS else []
        elif isinstance(node, ast.ClassDef):
            assigned = [one for one in node.body if isinstance(one, ast.Assign)]
            given = [one.value for one in assigned if _name(one.targets[0]) in OF_PAGES]
        else:
            continue
        for one in given:
            yield constants.get(one.id, one) if isinstance(one, ast.Name) else one


def _name(node: ast.expr) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


def _words(node: ast.expr) -> Iterator[tuple[str, int]]:
    if isinstance(node, ast.IfExp):
        yield from _words(node.body)
        yield from _words(node.orelse)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str) and any(map(str.isalpha, node.value)):
        yield node.value, node.lineno


def catalogue() -> Catalog:
    """The template."""
    from babel.messages import Catalog

    made = Catalog(project="garboard", domain="garboard_tablet", charset="utf-8")
    for words, file, line in messages():
        message = made.add(words, locations=[(file, line)])
        message.flags.discard("python-format")  # a per cent sign is one
    return made


def main(file: Path) -> int:
    """Write the template."""
    from babel.messages.pofile import write_po

    made = catalogue()
    with file.open("wb") as out:
        write_po(out, made)
    print(f"{len(made)} messages in {file}")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
