"""The shop's own plugins on the page: what runs, what tablets may run, and what waits for a manager's approval.

Nothing is uploaded: a file waits in a folder of the office machine, so a stolen sign-in brings no new code in.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import attrs

from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged
from garboard.faults import Fault, InputError
from garboard.hosting.failures import PluginProblem, cure_of
from garboard.hosting.host import BUILT_IN, PluginHost
from garboard.hosting.sources import CHECK, suffix_of
from garboard.job_view import JobView
from garboard.shop_link.shop_plugins import NAME
from garboard_shop import own_plugins
from garboard_shop.store import ShopPlugin, Store

WAITING_FOLDER = "plugins-to-approve"
RUN_FOLDER = "plugins"
_LAID_OUT = re.compile(r"[0-9a-f]{16}")
"""What the folder of an approved plugin's file is called: the beginning of its hash."""
_PIECE = 1 << 20
_SUFFIXES = (".py", CHECK)


@attrs.frozen
class Waiting:
    """A plugin's file that waits for approval.

    source : what stands in it, for the manager to read
    suffix : how its name ends
    changed : what it changes of the check approved before
    """

    name: str
    sha256: str
    source: str
    suffix: str = ".py"
    changed: tuple[str, ...] = ()

    @property
    def holds_code(self) -> bool:
        """A check file is data: it can do nothing but judge."""
        return self.suffix != CHECK


def waiting(folder: Path | None, store: Store) -> tuple[Waiting, ...]:
    """Files in a folder whose content is not approved yet."""
    at_work = {plugin.sha256 for plugin in store.register.plugins() if not plugin.is_withdrawn}
    found = []
    for file in _in(folder):
        if _why_not(file) is None:
            content = file.read_bytes()
            source = content.decode(errors="replace")
            changed = own_plugins.changes_from(store.register, file.stem, content, partial(content_of, store))
            found.append(Waiting(file.stem, hashlib.sha256(content).hexdigest(), source, file.suffix, changed))
    return tuple(one for one in found if one.sha256 not in at_work)


def passed_over(folder: Path | None) -> tuple[PluginProblem, ...]:
    """What lies in that folder as a plugin and cannot be approved: nobody must wait for it in vain."""
    return tuple(problem for file in _in(folder) if (problem := _why_not(file)) is not None)


def _in(folder: Path | None) -> list[Path]:
    """What somebody put into the folder as a plugin."""
    found = sorted(folder.iterdir()) if folder is not None and folder.is_dir() else []
    return [
        file for file in found if file.name[0] != "." and (file.suffix.lower() in (".py", CHECK) or _is_package(file))
    ]


def _is_package(path: Path) -> bool:
    return (path / "__init__.py").is_file()


def _why_not(file: Path) -> PluginProblem | None:
    """Why a file cannot be approved, as far as its name and its size tell."""
    is_one = file.is_file() and not file.is_symlink()
    if is_one and file.suffix in _SUFFIXES and NAME.fullmatch(file.stem) and file.stem not in BUILT_IN:
        size = file.stat().st_size
        if size <= own_plugins.LARGEST:
            return None
        reason, code = f"{file.name} has {size} bytes; a plugin has at most {own_plugins.LARGEST}", "too_large"
    elif not is_one:
        what = "a link" if file.is_symlink() else "a folder"
        reason, code = (
            f"{file.name} is {what}; a plugin for the tablets is one Python file or check file",
            "not_one_file",
        )
    elif file.stem in BUILT_IN:
        reason, code = f"{file.stem} is the name of a plugin that comes with the program", "name_taken"
    else:
        suffix = file.suffix.lower()
        reason = (
            f"it is called {file.name!r}; a plugin for the tablets has small letters, digits and _ alone, then {suffix}"
        )
        code = "wrong_name"
    cure = f"call it {_better_name(file.stem)}{file.suffix.lower()}" if code == "wrong_name" else cure_of(code)
    return PluginProblem(name=file.stem, reason=reason, code=code, file=str(file), cure=cure)


def _better_name(stem: str) -> str:
    name = re.sub(r"[^a-z0-9_]", "_", stem.lower())
    name = name if "a" <= name[:1] <= "z" and name not in BUILT_IN else f"own_{name}"
    return name[:60]


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
) -> ShopPlugin:
    """Approve the file a manager has read, and no other: its content is the one whose hash was shown.

    jobs, tell : as of `own_plugins.approve`
    errors : InputError; storage.NotSaved
    """
    chosen = next((one for one in waiting(folder, store) if (one.name, one.sha256) == (name, sha256)), None)
    if chosen is None or folder is None:
        raise InputError("plugin", [Fault("file", "the file shown, so read it again", name)])
    content = (folder / f"{name}{chosen.suffix}").read_bytes()
    if hashlib.sha256(content).hexdigest() != sha256:
        raise InputError("plugin", [Fault("file", "the file shown; it has changed, so read it again", name)])
    with TemporaryDirectory(prefix="garboard-") as place:
        copy = Path(place) / f"{name}{chosen.suffix}"
        copy.write_bytes(content)
        keep = own_plugins.keep_in_store(store)
        former = partial(content_of, store)
        return own_plugins.approve(
            store.register, keep, copy, by, now, jobs=jobs, tell=tell, known_as=copy.name, former=former
        )


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


def content_of(store: Store, sha256: str) -> bytes:
    """An attachment's content, proved; nothing when it is not here."""
    content = b""
    try:
        while piece := store.attachments.read(sha256, len(content), _PIECE):
            content += piece
    except (KeyError, AttachmentDamaged):
        return b""
    return content if hashlib.sha256(content).hexdigest() == sha256 else b""
