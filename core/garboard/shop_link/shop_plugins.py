"""The shop's own plugins on a tablet: which the manager has approved, and the files that may run.

A plugin's file travels as an attachment, named by the SHA-256 of its content. The list of those approved comes from
the paired shop alone. What is run is always the content that was approved: it is proved each time it is laid out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import attrs

from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.documents import DocumentDamaged
from garboard.disk.hullfile import HullFolder
from garboard.disk.shop_document import PLUGINS, shop_document
from garboard.faults import InputError
from garboard.hosting.failures import PluginProblem, cure_of
from garboard.hosting.plugin_file import NAME
from garboard.hosting.sources import suffix_of
from garboard.job_files.convert import structure
from garboard.records import JsonValue

FOLDER = "shop_plugins"
NOT_HERE = "not_here"
"""The code of an approved plugin whose file is not here whole."""
_HASH = re.compile(r"[0-9a-f]{64}")


@attrs.frozen
class ApprovedPlugin:
    """A plugin the manager has approved for the shop's tablets.

    sha256      : of its file, in hexadecimal
    approved_at : [ms since 1970-01-01 UTC]
    """

    name: str
    sha256: str
    approved_by: str
    approved_at: int

    @property
    def is_well_named(self) -> bool:
        return bool(NAME.fullmatch(self.name) and _HASH.fullmatch(self.sha256))

    def __str__(self) -> str:
        return f"{self.name} {self.sha256[:12]}, approved by {self.approved_by}"


@attrs.frozen
class _Kept:
    plugins: tuple[ApprovedPlugin, ...] = ()


def read(plain: JsonValue) -> tuple[ApprovedPlugin, ...]:
    """Approved plugins out of plain data. Those whose name could lead out of the folder are left out.

    errors : InputError
    """
    found = structure({"plugins": plain}, _Kept, "plugins of the shop").plugins
    return tuple(plugin for plugin in found if plugin.is_well_named)


def keep(folder: Path, plugins: Iterable[ApprovedPlugin]) -> None:
    """Keep what the shop has approved beside hull files, a tablet's or the shop's own. Raises storage.NotSaved."""
    shop_document(folder).put_rows(PLUGINS, "name", map(attrs.asdict, plugins))


def kept(folder: Path) -> tuple[ApprovedPlugin, ...]:
    """What the shop has approved; nothing when there is no list, or none that can be read."""
    try:
        known = attrs.fields_dict(ApprovedPlugin)
        return read([{key: row[key] for key in known if key in row} for row in shop_document(folder).rows(PLUGINS)])
    except (DocumentDamaged, InputError):
        return ()


def files_to_run(folder: HullFolder, into: Path | None = None) -> tuple[Path, ...]:
    """Files of the approved plugins, for `make_host`. One that has not arrived, or was altered, is not among them.

    into : where they are laid out, for a folder that is only read; else in the folder

    Laid out anew from the proved attachments: whatever lay there before does not run.
    """
    place = into or folder.folder / FOLDER
    return tuple(path for plugin in kept(folder.folder) for path in _laid_out(folder, plugin, place))


def problem_of_lacking(plugin: ApprovedPlugin) -> PluginProblem:
    """What is said of an approved plugin that does not run, as its file never arrived or was damaged here."""
    reason = "it is approved, but its file is not here whole, so its checks are not judged here"
    return PluginProblem(name=plugin.name, reason=reason, code=NOT_HERE, cure=cure_of(NOT_HERE))


def _laid_out(folder: HullFolder, plugin: ApprovedPlugin, place: Path) -> tuple[Path, ...]:
    try:
        content = folder.attachments.get(plugin.sha256)
    except (KeyError, AttachmentDamaged):
        return ()
    path = place / plugin.sha256[:16] / f"{plugin.name}{suffix_of(content)}"
    if not path.is_file() or path.read_bytes() != content:
        storage.make_folder(path.parent)
        storage.write_whole(path, [content])
    return (path,)
