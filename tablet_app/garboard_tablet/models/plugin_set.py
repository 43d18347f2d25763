"""Which plugins this tablet runs, without loading any: lines of the list rest on them as on the boats' files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from garboard import __version__
from garboard_tablet.models.left_out import hash_of

if TYPE_CHECKING:
    from garboard.disk.hullfile import HullFolder

DIGITS = 16


def plugin_set(files: HullFolder, own: Iterable[Path], without: Iterable[str], left_out: Mapping[str, str]) -> str:
    """Another text wherever other plugins run, or others of the same name.

    own, without, left_out : as of `all_plugins`
    """
    from importlib.metadata import entry_points

    from garboard.hosting.sources import ENTRY_POINT_GROUP
    from garboard.shop_link.shop_plugins import kept

    installed = [(one.name, one.dist.version if one.dist else "") for one in entry_points(group=ENTRY_POINT_GROUP)]
    approved = [(one.name, one.sha256) for one in kept(files.folder) if one.sha256 in files.attachments]
    chosen = [(file.stem, hash_of(file)) for file in own]
    told = [__version__, sorted(installed), sorted(approved), sorted(chosen), sorted(without), sorted(left_out.items())]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:DIGITS]
