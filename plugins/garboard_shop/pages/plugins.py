"""The shop's own plugins on the page: what runs, what tablets may run, and what waits for a manager's approval.

Nothing is uploaded: a file waits in a folder of the office machine, so a stolen sign-in brings no new code in.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import BinaryIO

import attrs

from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged, InPieces
from garboard.disk.scratch import ScratchFolder
from garboard.faults import Fault, InputError, in_number
from garboard.hosting.failures import PluginProblem
from garboard.hosting.host import PluginHost
from garboard.hosting.plugin_file import SUFFIXES, why_not
from garboard.hosting.plugin_trial import Trial, try_plugin
from garboard.hosting.sources import CHECK, suffix_of
from garboard.job_view import JobView
from garboard_shop import own_plugins
from garboard_shop.store import ShopPlugin, Store

WAITING_FOLDER = "plugins-to-approve"
RUN_FOLDER = "plugins"
_LAID_OUT = re.compile(r"[0-9a-f]{16}")
"""What the folder of an approved plugin's file is called: the beginning of its hash."""
_PIECE = 1 << 20


@attrs.frozen
class Waiting:
    """A plugin's file that waits for approval.

    source  : what stands in it, for the manager to read
    suffix  : how its name ends
    changes : what differs from the version approved last
    """

    name: str
    sha256: str
    source: str
    suffix: str
    changes: own_plugins.Changes

    @property
    def holds_code(self) -> bool:
        """A check file is data: it can do nothing but judge."""
        return self.suffix != CHECK


@attrs.frozen(kw_only=True)
class DryRun:
    """What a plugin would do.

    adds, drops : titles by how many of what they are ("2 steps"), against what this server runs under its name
    """

    trial: Trial
    adds: Mapping[str, tuple[str, ...]]
    drops: Mapping[str, tuple[str, ...]]
    sha256: str = ""


def waiting(folder: Path | None, store: Store) -> tuple[Waiting, ...]:
    """Files in a folder whose content is not approved yet."""
    at_work = {plugin.sha256 for plugin in store.register.plugins() if not plugin.is_withdrawn}
    found = []
    for file in _in(folder):
        if why_not(file, may_link=False) is None:
            content = file.read_bytes()
            source, sha256 = content.decode(errors="replace"), hashlib.sha256(content).hexdigest()
            if sha256 not in at_work:
                changes = own_plugins.changes_from(store.register, file.stem, content, partial(content_of, store))
                found.append(Waiting(file.stem, sha256, source, file.suffix, changes))
    return tuple(found)


def dry_run(
    folder: Path | None, store: Store, host: PluginHost, name: str, sha256: str, jobs: Iterable[JobView]
) -> DryRun:
    """Try the file a manager was shown on the shop's own jobs, as approving does, and approve nothing.

    errors : InputError
    """
    with _copy_of(folder, store, name, sha256) as copy:
        return attrs.evolve(dry_run_of(copy, store, host, jobs), sha256=sha256)


def dry_run_of(file: Path, store: Store, host: PluginHost, jobs: Iterable[JobView]) -> DryRun:
    """Try a copy of a plugin's file beside those approved, told of it by its name alone."""
    with own_plugins.approved_beside(store.register, partial(content_of, store)) as beside:
        trial = try_plugin(file, jobs, beside=beside).of_file(str(file), file.name)
    before = host.offers_of(file.stem)
    drops = {} if trial.problems else _beyond(before, trial.offers)
    return DryRun(trial=trial, adds=_beyond(trial.offers, before), drops=drops)


def _beyond(offers: _Offers, others: _Offers) -> dict[str, tuple[str, ...]]:
    """The titles of what others do not offer; two of one title are told apart by their keys."""
    more = {
        kind: {key: title for key, title in found.items() if key not in others.get(kind, ())}
        for kind, found in offers.items()
    }
    return {
        in_number(len(found), *_OFFERED[kind]): tuple(
            title if [*found.values()].count(title) == 1 else f"{title} ({key})" for key, title in found.items()
        )
        for kind, found in more.items()
        if found
    }


_Offers = Mapping[str, Mapping[str, str]]
_OFFERED: Mapping[str, tuple[str, str]] = {
    "equipment": ("kind of equipment", "kinds of equipment"),
    "steps": ("step", "steps"),
    "calculators": ("judgement", "judgements"),
    "live_guides": ("live guide", "live guides"),
    "report_sections": ("part of the book", "parts of the book"),
    "settings": ("limit", "limits"),
    "recording_judges": ("judgement of a recording", "judgements of a recording"),
    "steps_left_out": ("built-in step left out", "built-in steps left out"),
    "settings_made_stricter": ("built-in limit made stricter", "built-in limits made stricter"),
    "fields_of_built-in_steps": ("field in a built-in step", "fields in built-in steps"),
}
"""What plugins offer and check files change, as people call it: one, and several."""


def passed_over(folder: Path | None) -> tuple[PluginProblem, ...]:
    """What lies in that folder as a plugin and cannot be approved: nobody must wait for it in vain."""
    return tuple(problem for file in _in(folder) if (problem := why_not(file, may_link=False)) is not None)


def _in(folder: Path | None) -> list[Path]:
    """What somebody put into the folder as a plugin."""
    found = sorted(folder.iterdir()) if folder is not None and folder.is_dir() else []
    return [file for file in found if file.name[0] != "." and (file.suffix.lower() in SUFFIXES or _is_package(file))]


def _is_package(path: Path) -> bool:
    return (path / "__init__.py").is_file()


def approve(
    folder: Path | None,
    store: Store,
    name: str,
    sha256: str,
    by: str,
    now: int,
    *,
    jobs: Iterable[JobView] = (),
    tell: Callable[[str], object] = str,
    seen: Sequence[ShopPlugin] | None = None,
) -> ShopPlugin:
    """Approve the file a manager has read, and no other: its content is the one whose hash was shown.

    jobs, tell, seen : as of `own_plugins.approve`
    errors : InputError; Overtaken; storage.NotSaved
    """
    with _copy_of(folder, store, name, sha256) as copy:
        return approve_copy(store, copy, by, now, jobs, tell, seen)


def approve_copy(
    store: Store,
    copy: Path,
    by: str,
    now: int,
    jobs: Iterable[JobView],
    tell: Callable[[str], object],
    seen: Sequence[ShopPlugin] | None = None,
) -> ShopPlugin:
    """Approve a file that lies where nobody finds it. Raises as `approve` does."""
    keep, former = own_plugins.keep_in_store(store), partial(content_of, store)
    return own_plugins.approve(
        store.register, keep, copy, by, now, jobs=jobs, tell=tell, known_as=copy.name, former=former, seen=seen
    )


@contextmanager
def _copy_of(folder: Path | None, store: Store, name: str, sha256: str) -> Iterator[Path]:
    """A copy of the file whose content a manager was shown, and of no other. Raises InputError."""
    chosen = next((one for one in waiting(folder, store) if (one.name, one.sha256) == (name, sha256)), None)
    if chosen is None or folder is None:
        raise InputError("plugin", [Fault("file", "the file shown, so read it again", name)])
    content = (folder / f"{name}{chosen.suffix}").read_bytes()
    if hashlib.sha256(content).hexdigest() != sha256:
        raise InputError("plugin", [Fault("file", "the file shown; it has changed, so read it again", name)])
    with ScratchFolder("plugins") as place:
        copy = Path(place) / f"{name}{chosen.suffix}"
        copy.write_bytes(content)
        yield copy


def files_to_run(store: Store, folder: Path) -> tuple[Path, ...]:
    """Files of the approved plugins for the server itself, so that it judges what the tablets judge.

    Laid out anew, each proved by its hash; one that is not here whole is left out.
    """
    found = []
    for plugin in store.register.plugins():
        content = b"" if plugin.is_withdrawn else content_of(store, plugin.sha256)
        if content:
            path = folder / RUN_FOLDER / plugin.sha256[:16] / f"{plugin.name}{suffix_of(content)}"
            storage.make_folder(path.parent)
            storage.write_whole(path, [content])
            found.append(path)
    return tuple(found)


def restart_due(store: Store, host: PluginHost) -> tuple[str, ...]:
    """Plugins approved or withdrawn since the server began: it judges without the change until its next start."""
    running = {
        plugin.name: file.parent.name
        for plugin in host.plugins
        if _LAID_OUT.fullmatch((file := Path(str(getattr(plugin.module, "__file__", "")))).parent.name)
    }
    approved = {one.name: one.sha256[:16] for one in store.register.plugins() if not one.is_withdrawn}
    broken = {problem.name for problem in host.problems}
    return tuple(
        name for name in sorted({*running, *approved} - broken) if running.get(name, "") != approved.get(name, "")
    )


def without_file(store: Store, names: Sequence[str]) -> tuple[str, ...]:
    """Which of some approved plugins have no file here that is whole: no start of the server lets these run."""
    if not names:
        return ()  # on nearly every page: the database is not asked
    approved = {one.name: one.sha256 for one in store.register.plugins() if not one.is_withdrawn}
    return tuple(name for name in names if name in approved and not content_of(store, approved[name]))


def opened(store: Store, sha256: str, size: int) -> BinaryIO | None:
    """An attachment as a file to read, proved just now; None when it is not here whole.

    size : of it [bytes]
    """
    file = io.BufferedReader(InPieces(lambda start, most: store.attachments.read(sha256, start, most), size), _PIECE)
    try:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    except (KeyError, AttachmentDamaged):
        return None
    file.seek(0)
    return file if found == sha256 else None


def content_of(store: Store, sha256: str) -> bytes:
    """An attachment's content, proved; nothing when it is not here."""
    content = bytearray()
    try:
        while piece := store.attachments.read(sha256, len(content), _PIECE):
            content += piece
    except (KeyError, AttachmentDamaged):
        return b""
    return bytes(content) if hashlib.sha256(content).hexdigest() == sha256 else b""
