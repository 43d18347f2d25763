"""The shop's own plugins: approved by a manager on the office machine, then carried to every paired tablet."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from difflib import unified_diff
from itertools import islice
from pathlib import Path

import attrs

from garboard.disk import storage
from garboard.disk.hullfile import ATTACHMENTS_FOLDER
from garboard.disk.partial_upload import OutOfPlace
from garboard.disk.scratch import ScratchFolder
from garboard.faults import Fault, InputError, in_number, refuse_endless
from garboard.hosting.plugin_file import why_not
from garboard.hosting.plugin_trial import try_plugin
from garboard.hosting.sources import CHECK, suffix_of
from garboard.job_view import JobView
from garboard.shop_link import wire
from garboard_shop.store import Overtaken, Register, ShopPlugin, Store

Keep = Callable[[str, bytes], None]
"""Keeps a file's content under its SHA-256."""
Former = Callable[[str], bytes]
"""Gives the content of a file that was approved before, by its SHA-256; nothing where it is not there."""


def approve(
    register: Register,
    keep: Keep,
    file: Path,
    by: str,
    now: int,
    *,
    jobs: Iterable[JobView] = (),
    tell: Callable[[str], object] = str,
    known_as: str = "",
    former: Former = lambda _sha256: b"",
    seen: Sequence[ShopPlugin] | None = None,
) -> ShopPlugin:
    """Approve a plugin for the shop's tablets. It is tried here first: one that fails in any job goes nowhere.

    keep   : where its file is kept: `keep_in_store` or `keep_in_folder`
    file   : one Python file or check file; its name is the plugin's, and an earlier one of that name gives way
    by     : who approves it
    now    : [ms since 1970-01-01 UTC]
    jobs   : the shop's own, on which it is tried
    tell   : called with a sentence on how it was tried, and with one on each fault that does not keep it from working
    former : gives the content of a file that was approved before, by its hash, to tell what this one changes
    known_as : how the manager knows the file, where `file` is a copy that nobody finds
    seen   : what was said of its name when this was decided; None for what is said of it now
    errors : InputError; Overtaken, where something else is said of it meanwhile; storage.NotSaved
    """
    refuse_endless(file, "a Python file")
    name, content, known_as = file.stem, file.read_bytes(), known_as or str(file)
    seen = said_of(register, name) if seen is None else seen
    faults = []
    if (refused := why_not(file)) is not None:
        where = "name" if refused.code in ("wrong_name", "name_taken") else "file"
        faults.append(Fault(where, "a file that can be approved", refused.reason, cure=refused.cure))
    else:
        with approved_beside(register, former) as beside:
            trial = try_plugin(file, jobs, beside=beside).of_file(str(file), known_as)
        for problem in trial.problems:
            got = f"one that does not: {problem.in_words}"
            faults.append(Fault("file", "a plugin that judges the shop's own jobs", got))
        for sentence in trial.sentences:
            tell(sentence)
    if faults:
        raise InputError(known_as, faults)
    for sentence in _changes(seen, content, former).sentences:
        tell(sentence)
    plugin = ShopPlugin(name=name, sha256=hashlib.sha256(content).hexdigest(), approved_by=by, approved_at=now)
    keep(plugin.sha256, content)
    _put(register, plugin, seen)
    return plugin


def said_of(register: Register, name: str) -> tuple[ShopPlugin, ...]:
    """What is said of a name: one, or nothing."""
    return tuple(one for one in register.plugins() if one.name == name)


def mark_of(said: Iterable[ShopPlugin]) -> str:
    """A short name of what is said of a plugin, for a form: so that another decision meanwhile is noticed."""
    return " ".join(f"{one.sha256[:16]} {one.approved_at} {one.withdrawn_at}" for one in said)


def as_seen(register: Register, name: str, was: str | None) -> tuple[ShopPlugin, ...]:
    """What is said of a name, where that is what a form showed. Raises Overtaken.

    was : the mark that the form carries; None for a form without
    """
    said = said_of(register, name)
    if was is not None and mark_of(said) != was:
        raise _overtaken(name)
    return said


def _overtaken(name: str) -> Overtaken:
    return Overtaken(
        f"Somebody approved or withdrew {name} while you decided about it. Look at it again, then decide. "
        "Nothing was changed."
    )


def _put(register: Register, plugin: ShopPlugin, seen: Sequence[ShopPlugin]) -> None:
    if not register.put_plugin(plugin, seen):
        raise _overtaken(plugin.name)


@contextmanager
def approved_beside(register: Register, former: Former) -> Iterator[tuple[Path, ...]]:
    """Files of the plugins that are approved, for as long as another is tried beside them."""
    with ScratchFolder("plugins") as place:
        found = []
        for plugin in register.plugins():
            content = b"" if plugin.is_withdrawn else former(plugin.sha256)
            if content:
                found.append(Path(place) / f"{plugin.name}{suffix_of(content)}")
                found[-1].write_bytes(content)
        yield tuple(found)


@attrs.frozen
class Changes:
    """What differs from the version that was approved last, withdrawn or not; nothing where there was none.

    sentences : of a check file what it changes, of code how many lines
    lines     : each line that differs, with its sign and those around it
    """

    sentences: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()


def changes_from(register: Register, name: str, content: bytes, former: Former) -> Changes:
    """What a plugin's file changes of the one of its name that was approved before."""
    return _changes(said_of(register, name), content, former)


def _changes(last: Sequence[ShopPlugin], content: bytes, former: Former) -> Changes:
    before = former(last[0].sha256) if last else b""
    if not before:
        return Changes()
    old, new = (one.decode(errors="replace").splitlines() for one in (before, content))
    lines = tuple(islice(unified_diff(old, new, lineterm="", n=2), 2, None))  # its first two lines name files
    return Changes(_in_sentences(before, content, lines), lines)


def _in_sentences(before: bytes, content: bytes, lines: Iterable[str]) -> tuple[str, ...]:
    found: tuple[str, ...] = ()
    if suffix_of(before) == suffix_of(content) == CHECK:
        from garboard.checks.changes import changes  # here: most shops have no check file

        found = changes(before, content)
    signs = [line[0] for line in lines]
    if not found and signs:
        new, gone = (in_number(signs.count(sign), "line") for sign in "+-")
        found = (f"{new} new, {gone} gone",)
    return tuple(f"Changed: {one}." for one in found)


def withdraw(register: Register, name: str, by: str, now: int) -> ShopPlugin:
    """Take a plugin back from the tablets. Raises InputError when none of that name is approved; Overtaken."""
    at_work = {plugin.name: plugin for plugin in register.plugins() if not plugin.is_withdrawn}
    if name not in at_work:
        expected = f"one that is approved: {', '.join(sorted(at_work)) or 'none is'}"
        raise InputError("plugin", [Fault("name", expected, repr(name))])
    withdrawn = attrs.evolve(at_work[name], withdrawn_at=now, withdrawn_by=by)
    _put(register, withdrawn, [at_work[name]])
    return withdrawn


def put_back(
    register: Register,
    keep: Keep,
    name: str,
    by: str,
    now: int,
    former: Former,
    *,
    jobs: Iterable[JobView] = (),
    tell: Callable[[str], object] = str,
) -> ShopPlugin:
    """Approve a withdrawn plugin again, from the file that was kept of it. It is tried anew, as `approve` does.

    errors : InputError, also where that file is not here whole; Overtaken; storage.NotSaved
    """
    withdrawn = {plugin.name: plugin for plugin in register.plugins() if plugin.is_withdrawn}
    if name not in withdrawn:
        expected = f"one that is withdrawn: {', '.join(sorted(withdrawn)) or 'none is'}"
        raise InputError("plugin", [Fault("name", expected, repr(name))])
    content = former(withdrawn[name].sha256)
    if not content:
        cure = "approve it from its own file"
        raise InputError(name, [Fault("file", "the file that was approved, kept whole", "none", cure=cure)])
    with ScratchFolder("plugins") as place:
        file = Path(place) / f"{name}{suffix_of(content)}"
        file.write_bytes(content)
        seen = [withdrawn[name]]
        return approve(
            register, keep, file, by, now, jobs=jobs, tell=tell, known_as=file.name, former=former, seen=seen
        )


def keep_in_store(store: Store) -> Keep:
    """Keep files as attachments of a store."""

    def keep(name: str, content: bytes) -> None:
        held = store.attachments.held(name)
        while name not in store.attachments.sizes():
            try:
                held = store.attachments.add(name, held, content[held : held + wire.LARGEST_PIECE], len(content))
            except OutOfPlace as elsewhere:
                held = elsewhere.held

    return keep


def keep_in_folder(folder: Path) -> Keep:
    """Keep files as attachments in a shop's folder, also while its server is running: an attachment is one file,
    whole under its name or not there, and two programs that write it write the same."""

    def keep(name: str, content: bytes) -> None:
        path = folder / ATTACHMENTS_FOLDER / name
        storage.make_folder_of(path)
        storage.write_whole(path, [content])

    return keep


def content_in(folder: Path, sha256: str) -> bytes:
    """A file that was kept so; nothing where it is not there."""
    try:
        return (folder / ATTACHMENTS_FOLDER / sha256).read_bytes()
    except OSError:
        return b""
