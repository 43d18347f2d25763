"""What only a manager decides: settling, signing as manager, joining hull numbers, moving jobs, settings; and taking
that back.

A technician measures, takes back, signs as technician and takes the owner's signature.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path

from garboard.disk.documents import FOLDER, Document, DocumentDamaged, Kind
from garboard.disk.entries import ALIKE, FORECAST, ISSUED, KINDS, PLAN, VIEW, Entry
from garboard.disk.formats import Format
from garboard.disk.shop_document import PAIRED, shop_document
from garboard.disk.storage import NewerFormat

MANAGER = "manager"
SHOP_FOLDER = "shop"
"""In a shop's own folder, what only the shop has; no tablet has it."""
MANAGERS_FILE = f"{FOLDER}/managers.json"
MANAGERS = Kind(
    Format("garboard managers"),
    private=True,
    cure="A tablet makes it again when it comes ashore, a shop when it starts; until then no manager's setting holds.",
)
_DEVICES = "devices"
ON_THE_PAGE, AT_THE_DESK = "shop page", "shop desk"
"""Stand for the tablet in what is written at the shop itself: on its pages, and in its folder by command."""
THE_SHOP_ITSELF = (ON_THE_PAGE, AT_THE_DESK)


Managers = Collection[str] | None
"""What stands in entries for those who may decide (their `dev`); None where no shop says who may, so that all may.

Ids of single entries may be among them: what held in a folder before it became a shop's goes on holding.
"""


class ListNotRead(frozenset[str]):
    """Who may decide as far as is known where the list of managers cannot be read."""


def is_managers(entry: Entry, managers: Collection[str]) -> bool:
    """Whether an entry is one of a manager's."""
    return entry.tablet in managers or entry.id in managers


def managers_of(folder: Path) -> Managers:
    """Whose decisions hold in a folder, as far as this machine was told.

    An entry can come by stick, or have come before the program knew its kind: nobody looked then who wrote it.
    """
    is_paired, own = _own_part(folder)
    if not is_paired and not (folder / SHOP_FOLDER).is_dir():
        return None
    listed = _listed(folder)
    known = {ON_THE_PAGE, AT_THE_DESK, *own}
    return ListNotRead(known) if listed is None else frozenset(known.union(listed))


def _own_part(folder: Path) -> tuple[bool, list[str]]:
    """Whether the folder is a paired tablet's, and what stands in its entries where it may decide."""
    try:
        paired = shop_document(folder).row(PAIRED)
    except DocumentDamaged:
        return True, []  # who may decide is not known, so nobody's word from elsewhere holds
    if paired is None:
        return False, []
    return True, [str(paired["device"])] if paired.get("role") == MANAGER and "device" in paired else []


def _listed(folder: Path) -> list[str] | None:
    """The managers' tablets as they are listed; None where the list cannot be read, also by a newer version."""
    try:
        return _read_list(folder)
    except (DocumentDamaged, NewerFormat):
        return None


def _read_list(folder: Path) -> list[str]:
    document = Document(folder / MANAGERS_FILE, MANAGERS)
    with document.file.reading():
        return [str(row["device"]) for row in document.rows(_DEVICES)]


def damage_of_list(folder: Path) -> list[DocumentDamaged]:
    """What keeps the list of managers from being read, if anything; a newer version's is told the same way.

    It is derived, from what the shop says or from its register, so nothing else need stop for it.
    """
    try:
        _read_list(folder)
    except DocumentDamaged as failure:
        return [failure]
    except NewerFormat as failure:
        return [DocumentDamaged(folder / MANAGERS_FILE, str(failure), MANAGERS.cure)]
    return []


def keep_managers(folder: Path, devices: Iterable[str]) -> None:
    """Keep whose decisions hold in a folder. A list that cannot be read is set aside and made again.

    devices : what stands in entries for the managers' tablets
    errors  : storage.NotSaved
    """
    wanted, listed = sorted({*devices}), _listed(folder)
    if wanted == listed:
        return
    document = Document(folder / MANAGERS_FILE, MANAGERS)
    if listed is None:
        document.begin_anew()
    document.put_rows(_DEVICES, "device", [{"device": device} for device in wanted])


def managers_part(entry: Entry, replaced: Iterable[Entry] = ()) -> str:
    """What an entry does that is a manager's to do, in words; "" when anyone may do it.

    replaced : entries it replaces, as far as they are known; they tell whether it takes back a manager's decision

    A measurement that replaces two values without a reason is no settlement: someone measured again. An entry of a
    newer format is judged the same way: kept unread, it would decide on the day this program is brought up to it.
    """
    if entry.kind not in KINDS:
        return ""
    if entry.kind == "alias":
        return "says that two hull numbers are one boat"
    if entry.kind == "move":
        return "moves or joins a job"
    if entry.kind == "setting":
        return "sets a shop setting"
    if entry.kind == ALIKE:
        return "tells tablets what boats kept"
    if entry.kind == PLAN:
        return "plans a job"
    if entry.kind == VIEW:
        return "saves a view of the board"
    if entry.kind == "signoff":
        return "signs as manager" if _is_managers_signature(entry) else ""
    if entry.kind == "retract":
        return "takes back a manager's decision" if _takes_back_managers(entry, replaced) else ""
    return "settles a disagreement" if len(entry.replaces) > 1 and entry.more.get("reason") else ""


def _takes_back_managers(entry: Entry, replaced: Iterable[Entry]) -> bool:
    kind = entry.value.get("kind") if isinstance(entry.value, dict) else ""
    if kind == "signoff":
        return _is_managers_signature(entry)
    return kind in ("alias", "move", "setting", ALIKE, FORECAST, ISSUED, PLAN, VIEW) or any(
        map(managers_part, replaced)
    )


def _is_managers_signature(entry: Entry) -> bool:
    """By its value or by the register it is in: either is shown as the role."""
    stated = entry.value.get("role") if isinstance(entry.value, dict) else ""
    return any(isinstance(role, str) and role.strip().casefold() == MANAGER for role in (stated, *entry.subject[:1]))
