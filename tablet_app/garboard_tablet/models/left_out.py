"""Which of the shop's own plugins are left out, as the app ended while they ran. Read before the first page.

While a plugin's code runs its name stands in a file; see `plugin_minder`. An app that ends meanwhile leaves it there.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from garboard.disk.documents import DocumentDamaged
from garboard.disk.shop_document import PLUGINS, shop_document
from garboard.disk.storage import NewerFormat, NotSaved, write_whole

AT_WORK, KEPT = "plugins-at-work", "plugins-left-out.json"
"""Files in the tablet's folder: who is at work now, in slots; who is left out."""
SLOTS, SLOT = 8, 160
"""So many calls at once are noted, each in so many bytes."""
LEFT_OUT = "left_out"
"""The code of a plugin that is left out."""
_HASH_SHOWN = 16


def hash_of(file: Path) -> str:
    """The beginning of the SHA-256 of a plugin's file; "" where it cannot be read."""
    own = file / "__init__.py" if file.is_dir() else file
    try:
        return hashlib.sha256(own.read_bytes()).hexdigest()[:_HASH_SHOWN]
    except OSError:
        return ""


def left_out(folder: Path) -> Mapping[str, str]:
    """The plugins that do not run, each with the beginning of its file's hash: those the app ended with are added."""
    known = _kept(folder)
    ended_with = dict(_at_work(folder))
    if ended_with:
        known = {**known, **ended_with}
        with suppress(NotSaved, OSError):
            write_whole(folder / KEPT, [json.dumps(known).encode()])
            (folder / AT_WORK).unlink()
    return known


def hashes_approved(folder: Path) -> frozenset[str]:
    """SHA-256 of the files of the plugins that the shop approved; none where no list can be read."""
    with suppress(DocumentDamaged, NewerFormat):
        return frozenset(str(row.get("sha256")) for row in shop_document(folder).rows(PLUGINS))
    return frozenset()


def take_back_in(folder: Path, plugin: str) -> None:
    """Let a plugin run again from the next start on. Raises NotSaved."""
    known = {name: of_file for name, of_file in _kept(folder).items() if name != plugin}
    write_whole(folder / KEPT, [json.dumps(known).encode()])


def runs(file: Path, without: Mapping[str, str]) -> bool:
    """Whether a plugin's file is none of those left out: another version of it runs."""
    return file.stem not in without or without[file.stem] != hash_of(file)


def _at_work(folder: Path) -> Iterable[tuple[str, str]]:
    try:
        content = (folder / AT_WORK).read_bytes()
    except OSError:
        return
    for begin in range(0, len(content), SLOT):
        name, _, of_file = content[begin : begin + SLOT].decode(errors="replace").strip("\0 ").rpartition(" ")
        if name:
            yield name, of_file


def _kept(folder: Path) -> dict[str, str]:
    try:
        plain = json.loads((folder / KEPT).read_bytes())
    except (OSError, ValueError):
        return {}
    return {str(name): str(of_file) for name, of_file in plain.items()} if isinstance(plain, dict) else {}
