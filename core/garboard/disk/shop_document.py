"""The document of a tablet's shop: which one it is paired with, and which of its plugins may run. It holds a secret."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from garboard.disk.documents import FOLDER, Document, DocumentDamaged, Kind, numbered
from garboard.disk.formats import Format

FILE = f"{FOLDER}/shop.json"
PAIRED, PLUGINS = "paired", "plugins"
"""Its tables."""

_FORMER_PAIRED, _FORMER_PLUGINS = "shop.json", "shop_plugins.json"


def _as_tables(plain: dict[str, Any]) -> dict[str, Any]:
    paired, plugins = plain.get(_FORMER_PAIRED), plain.get(_FORMER_PLUGINS, {"plugins": []})
    tables = {PLUGINS: numbered(plugins["plugins"])}
    if paired is None:
        return tables
    return {**tables, PAIRED: {"1": {name: paired[name] for name in paired if name not in ("format", "version")}}}


SHOP = Kind(
    Format("garboard shop of a tablet", (_as_tables,)),
    cure="Pair this tablet with the shop again.",
    private=True,
    former=(_FORMER_PAIRED, _FORMER_PLUGINS),
)


def shop_document(folder: Path) -> Document:
    """The document in a tablet's folder."""
    return Document(folder / FILE, SHOP)


def is_paired(folder: Path) -> bool:
    """Whether a tablet's folder is paired with a shop. One whose pairing cannot be read is not."""
    try:
        return shop_document(folder).row(PAIRED) is not None
    except DocumentDamaged:
        return False


def paired_with(folder: Path) -> str:
    """SHA-256 of the certificate of the shop a tablet's folder is paired with; "" where it is paired with none."""
    try:
        row = shop_document(folder).row(PAIRED)
    except DocumentDamaged:
        return ""
    return str(row.get("fingerprint", "")) if row is not None else ""


def damage_of(folder: Path) -> list[DocumentDamaged]:
    """What keeps the document from being read, if anything.

    errors : NewerFormat
    """
    try:
        shop_document(folder).row(PAIRED)
    except DocumentDamaged as failure:
        return [failure]
    return []
