"""What a shop server keeps, and what any place to keep it must offer.

Two sorts of thing are kept: entries and attachments, which only ever grow, and the register of who may take part.
`embedded.py` keeps both in a folder of hull files. A database implements the same two protocols.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Protocol
from uuid import uuid4

import attrs

from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard.disk.hullfile import Holding as Holding
from garboard.faults import GarboardError
from garboard.history.authority import AT_THE_DESK, ON_THE_PAGE, THE_SHOP_ITSELF
from garboard.history.authority import MANAGER as MANAGER

TECHNICIAN = "technician"
ROLES = (TECHNICIAN, MANAGER)
MINUTES_A_CODE_WORKS = 15
TRIES_A_CODE_HAS = 50
"""Wrong guesses by all together, then the code is closed. A secret has 40 bits: one code is guessed once in 2^40 / 50,
some 22 thousand million codes."""
TRIES_AN_ASKER_HAS = 5
MINUTES_AN_ASKER_WAITS = 5
"""After that many wrong guesses from one address. It has less than half of a code's tries in the time a code works,
so that it cannot close a code to the others."""
MOST_DEVICES = 50
"""Names one tablet may write as in all its life; far more than settings are ever lost."""


LONGEST_KIND = 160
"""Characters of a kind by which entries are counted. An index of PostgreSQL holds no more than 2704 bytes a row."""
MOST_KEPT_IN_FORCE = 1000
"""Settings set before a folder became a shop that go on holding. Each tablet is told their ids, in one header field
that most programs read no more than 64 KiB of."""


class MustWait(GarboardError):
    """Too many wrong guesses came from this address.

    until : when it may try again [ms since 1970-01-01 UTC]
    """

    def __init__(self, until: int) -> None:
        self.until = until
        super().__init__("too many wrong guesses from this address")


class StoreAway(GarboardError):
    """The store does not answer. What was called saved is safe; the same call works once it is back."""


class KeptToFinish(GarboardError):
    """What belongs together is noted on the disk and not kept everywhere yet. The store goes on with it by itself."""


class Overtaken(GarboardError):
    """Something came while the person decided; they must look again before it can be decided."""


@attrs.frozen
class Delivery:
    """One request's entries that were new, and who brought them.

    at           : the shop's wall time since 1970-01-01 UTC [ms]
    tablet       : id of the tablet that brought them; another may have written them
    clock_offset : how far the shop's clock was ahead of the tablet's [ms]
    ids          : of the new entries, by hull
    """

    at: int
    tablet: str
    clock_offset: int
    ids: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)


class AttachmentStore(Protocol):
    """Attachments: named by SHA-256 of their content, finished or arriving."""

    def sizes(self) -> Mapping[str, int]:
        """Sizes of the finished attachments by name [bytes]."""

    def held(self, name: str) -> int:
        """Bytes held of an attachment, finished or arriving. KeyError when the name is none."""

    def read(self, name: str, start: int, most: int) -> bytes:
        """A piece of a finished attachment. KeyError when it is not held whole; AttachmentDamaged."""

    def add(self, name: str, start: int, piece: bytes, total: int) -> int:
        """Keep the next piece; saved when this returns. Bytes now held.

        errors : arriving.OutOfPlace, AttachmentDamaged, storage.NotSaved, KeyError
        """


class Tally(Protocol):
    """Where tries to sign in are kept."""

    def askers(self) -> tuple[Asker, ...]:
        """Every try that is kept, whatever it was of; some count no more."""

    def count_try(self, counts: Sequence[Count], now: int) -> int:
        """Count a try to sign in, as one step no other can come between; those that count no more are forgotten.

        returns : 0 when it was counted; otherwise how long to wait [ms], and nothing is counted or written
        errors  : storage.NotSaved
        """

    def forget(self, askers: Sequence[Asker]) -> None:
        """Forget tries. Raises storage.NotSaved."""


class Register(Tally, Protocol):
    """Who may take part. Each change is whole and on the disk when its call returns, and with it, in the same step,
    a note of who changed what. Several programs may change it.
    """

    def alone(self) -> AbstractContextManager[object]:
        """From reading who takes part to changing it: whoever else reads them so, on whatever server, waits.

        errors : storage.NotSaved, storage.FolderInUse
        """

    def tablets(self) -> tuple[Tablet, ...]:
        """Every tablet ever paired, those removed included."""

    def tablet_of(self, token_hash: str) -> Tablet | None:
        """The tablet with a token, removed or not."""

    def add_tablet(self, tablet: Tablet) -> None:
        """Let a tablet take part. A token belongs to one tablet: whoever comes second with it changes nothing."""

    def remove_tablet(self, tablet: str, by: str, at: int) -> bool:
        """Shut a tablet out for good. False when there is none of that id, or it was removed before."""

    def change_role(self, tablet: str, role: str, by: str, at: int) -> bool:
        """Give a tablet another role. False when none of that id takes part; the role it has is no change."""

    def note_device(self, tablet: str, device: str, at: int) -> None:
        """Learn what a tablet writes as, at most MOST_DEVICES of them. What is known already changes nothing."""

    def note_contact(self, tablet: str, at: int, clock_offset: int) -> None:
        """When a tablet was last heard of, and how far its clock was off [ms]. May be kept loosely."""

    def open_pairing(self, pairing: Pairing, by: str, at: int) -> None:
        """Let a code work. Codes that no longer work are forgotten."""

    def use_pairing(self, secret_hash: str, token_hash: str, now: int, address: str) -> Pairing | None:
        """Use a code up for one token, as one step no other can come between.

        address : where the asker is
        errors  : MustWait

        A code used up by a token works again for that token as long as it would have worked. A secret that fits no
        code costs the address a try, and every open code one; while no code is open nothing is counted.
        """

    def pairings(self) -> tuple[Pairing, ...]:
        """Codes that were opened and are not forgotten yet."""

    def users(self) -> tuple[WebUser, ...]:
        """Who may sign in on the page."""

    def put_user(self, user: WebUser, by: str, at: int, instead_of: WebUser | None = None) -> bool:
        """Add someone who may sign in on the page, or change them.

        instead_of : whom the change is of; None for whoever there is
        returns    : False when it is somebody else's by now, for they were removed or changed meanwhile; they stay so
        """

    def plugins(self) -> tuple[ShopPlugin, ...]:
        """The shop's own plugins by name, those withdrawn included."""

    def put_plugin(self, plugin: ShopPlugin, seen: Sequence[ShopPlugin] | None = None) -> bool:
        """Approve or withdraw a plugin. It takes the place of what was said of that name before.

        seen    : what was said of it when this was decided, one or none; None for whatever was
        returns : False when something else was said meanwhile; that stays
        """

    def changes(self) -> tuple[Change, ...]:
        """Who changed what, in the order it was noted."""

    def note_changes(self, changes: Iterable[Change]) -> None:
        """Note what was changed elsewhere. What is noted already is not noted again."""


def counted_as(kind: str) -> str:
    """What entries of a kind are counted under: its beginning, where a program from elsewhere made it very long."""
    return kind[:LONGEST_KIND]


@attrs.frozen
class KeptRow:
    """A boat's row in the shop's memory: of what it was made, and its text."""

    digest: str
    text: str


class Store(Protocol):
    """All a shop server keeps. Calls come from several threads. Any call of a store elsewhere may raise StoreAway."""

    @property
    def attachments(self) -> AttachmentStore: ...

    @property
    def register(self) -> Register: ...

    def digests(self) -> Mapping[str, Holding]:
        """What is held of each hull."""

    def maybe_held(self, hulls: Iterable[str]) -> frozenset[str]:
        """Some hulls without those of which nothing is held, asked of the store at once however many they are."""

    def ids(self, hull: str) -> frozenset[str]:
        """Ids of the entries held of a hull. storage.NewerFormat when they cannot be read by this version."""

    def get(self, hull: str, ids: Iterable[str]) -> CheckedEntries:
        """Entries of a hull by id. Ids not here are left out."""

    def put_if_absent(
        self, offered: Mapping[str, CheckedEntries], tablet: str, at: int, clock_offset: int
    ) -> PutResult:
        """Keep entries that are not here yet, and who delivered them; saved when this returns.

        offered : by hull key, canonical entries of that hull
        tablet  : who delivers them
        errors  : storage.NotSaved; what was added before may be kept
        """

    def put_together(self, offered: Mapping[str, CheckedEntries], by: str, at: int) -> PutResult:
        """Keep entries that are one decision, of however many hulls: what a fault leaves out follows by itself.

        errors : storage.NotSaved when nothing is kept; KeptToFinish when the rest follows
        """

    def deciding(self) -> AbstractContextManager[object]:
        """From reading what stands until what was decided of it is kept: of two who decide at once, on whatever server
        of the shop, the second is told. What was decided before and is not kept everywhere is kept first."""

    def kinds(self, hull: str) -> Mapping[str, int]:
        """How many entries of each kind are held of a hull, by `counted_as`."""

    def unread(self, hulls: Iterable[str]) -> int:
        """How many entries of some hulls could not be read and are not back."""

    def not_whole(self) -> Mapping[str, str]:
        """What is kept here and cannot be read, or not all of it: by hull, or by the name of a file, each with why."""

    def deliveries(self, first: int, last: int) -> Iterable[Delivery]:
        """What was delivered from one time to another [ms since 1970-01-01 UTC], in order."""

    def rows(self) -> Mapping[str, KeptRow]:
        """The shop's memory: a row a boat, by hull. Rows can be made again: one that is lost costs time alone."""

    def put_rows(self, rows: Mapping[str, KeptRow]) -> None:
        """Keep rows in the place of those of the same hulls. Raises storage.NotSaved."""

    def close(self) -> None:
        """Give everything up."""


def _as_tuple(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(names)


@attrs.frozen(kw_only=True)
class Tablet:
    """A paired tablet.

    token_hash   : SHA-256 of its token, in hexadecimal; the token itself is kept nowhere
    paired_at    : the shop's wall time since 1970-01-01 UTC [ms], as all times here
    last_contact : 0 before the first
    clock_offset : how far the shop's clock was ahead of the tablet's at the last contact [ms]
    removed_at   : 0 while it may take part
    writes_as    : what stands for it in the entries it writes (their `dev`), as far as it said so
    """

    id: str
    name: str
    role: str
    token_hash: str = attrs.field(repr=False)
    paired_at: int
    last_contact: int = 0
    clock_offset: int = 0
    removed_at: int = 0
    removed_by: str = ""
    writes_as: tuple[str, ...] = attrs.field(default=(), converter=_as_tuple)

    @property
    def is_removed(self) -> bool:
        return self.removed_at > 0

    @property
    def in_words(self) -> str:
        return f"{self.name} ({self.id})"


@attrs.frozen(kw_only=True)
class Pairing:
    """A code that lets one tablet pair.

    secret_hash : SHA-256 of its secret, in hexadecimal
    role        : what the tablet may do
    until       : when it ends [ms since 1970-01-01 UTC]
    tries       : wrong guesses left before it is closed
    used_by     : hash of the token it was used up for; "" while open
    """

    secret_hash: str = attrs.field(repr=False)
    role: str
    until: int
    tries: int = TRIES_A_CODE_HAS
    used_by: str = attrs.field(default="", repr=False)

    def is_open_at(self, now: int) -> bool:
        """Whether a tablet can still be paired with it."""
        return now < self.until and self.tries > 0 and not self.used_by

    def fits(self, secret_hash: str, token_hash: str, now: int) -> bool:
        """Whether it works for a secret and a token: while open, or again for the token it was used up for."""
        mine = self.is_open_at(now) or (now < self.until and self.used_by == token_hash)
        return mine and self.secret_hash == secret_hash


@attrs.frozen
class Asker:
    """A network address from which codes were guessed wrong; or one wrong password, see `brake`.

    wrong : how often
    until : it is forgotten then; until then no further guess is looked at once the tries are used up
    """

    address: str
    wrong: int
    until: int

    def may_ask(self, now: int) -> bool:
        return now >= self.until or self.wrong < TRIES_AN_ASKER_HAS

    def wrong_again(self, now: int) -> Asker:
        wrong = self.wrong if now < self.until else 0
        return Asker(self.address, wrong + 1, now + MINUTES_AN_ASKER_WAITS * 60_000)


@attrs.frozen
class Count:
    """What a try to sign in counts with.

    what   : hash of a name and an address, or of whatever it counts with
    most   : tries there may be
    within : for how long one counts [ms]
    """

    what: str
    most: int
    within: int


@attrs.frozen(kw_only=True)
class WebUser:
    """Someone who may sign in on the page.

    password_hash : as the page's own sign-in makes it
    """

    name: str
    role: str
    password_hash: str = attrs.field(repr=False)
    removed_at: int = 0


@attrs.frozen(kw_only=True)
class ShopPlugin:
    """One of the shop's own plugins, approved for its tablets.

    sha256       : of its file, which is kept as an attachment, in hexadecimal
    approved_at  : [ms since 1970-01-01 UTC]
    withdrawn_at : 0 while tablets may run it
    """

    name: str
    sha256: str
    approved_by: str
    approved_at: int
    withdrawn_at: int = 0
    withdrawn_by: str = ""

    @property
    def is_withdrawn(self) -> bool:
        return self.withdrawn_at > 0


@attrs.frozen
class Change:
    """Who changed something at the shop that is no entry in a hull's file.

    at    : [ms since 1970-01-01 UTC]
    who   : a person, a tablet, or a user of the shop machine
    what  : what was done: "tablet removed"
    about : to whom or what
    """

    at: int
    who: str
    what: str
    about: str


def managers_devices(register: Register) -> frozenset[str]:
    """What stands in entries for the managers' tablets, removed ones too, and for the shop itself."""
    managers = [one for one in register.tablets() if one.role == MANAGER]
    return frozenset({ON_THE_PAGE, AT_THE_DESK, *(device for one in managers for device in one.writes_as)})


def names_of_devices(register: Register) -> Mapping[str, str]:
    """What the shop calls who wrote an entry, by what stands for the tablet in it.

    A tablet can state what another writes as. So all tablets that stated it are named, and none as the shop itself.
    """
    tablets = register.tablets()
    names = names_of_tablets(tablets)
    stated: dict[str, dict[str, str]] = {}
    for one in tablets:
        for device in one.writes_as:
            stated.setdefault(device, {})[one.name] = names[one.id]
    return {device: " or ".join(who.values()) for device, who in stated.items() if device not in THE_SHOP_ITSELF}


def names_of_tablets(tablets: Iterable[Tablet]) -> Mapping[str, str]:
    """What tablets are called, by their id; with the id where several are called the same."""
    listed = [*tablets]
    called = Counter(one.name for one in listed)
    return {one.id: one.name if called[one.name] == 1 else one.in_words for one in listed}


def before_the_shop(settings: Sequence[str], at: int) -> Tablet:
    """Stands for whoever set something in a folder before it became a shop: no tablet, and nobody can pair as it.

    settings : ids of the entries that hold
    """
    return Tablet(
        id=uuid4().hex[:12],
        name="this folder before it was a shop",
        role=MANAGER,
        token_hash=uuid4().hex,
        paired_at=at,
        removed_at=at,
        removed_by="the shop server",
        writes_as=settings[:MOST_KEPT_IN_FORCE],
    )


def settings_kept(before: Tablet, found: int) -> Change:
    """That what was set before goes on holding, and how many do not, where there are too many."""
    kept = len(before.writes_as)
    left_out = f"; {found - kept} more do not hold, set them again" if found > kept else ""
    return Change(before.paired_at, "the shop server", "settings kept", f"{kept} set in {before.name}{left_out}")


def in_order(changes: Iterable[Change]) -> tuple[Change, ...]:
    """Changes, the latest first."""
    return tuple(sorted(changes, key=lambda one: one.at))[::-1]


def code_opened(pairing: Pairing, by: str, at: int) -> Change:
    return Change(at, by, "pairing code made", f"for one tablet, {pairing.role}")


def tablet_paired(tablet: Tablet) -> Change:
    return Change(tablet.paired_at, tablet.in_words, "tablet paired", tablet.in_words)


def tablet_removed(tablet: Tablet, by: str, at: int) -> Change:
    return Change(at, by, "tablet removed", tablet.in_words)


def role_changed(tablet: Tablet, role: str, by: str, at: int) -> Change:
    return Change(at, by, "tablet's role changed", f"{tablet.in_words}: {tablet.role}, now {role}")


def device_stated(tablet: Tablet, device: str, at: int) -> Change:
    return Change(at, tablet.in_words, "tablet writes under another name", f"{tablet.in_words}: {device}")


def person_changed(before: WebUser | None, after: WebUser, by: str, at: int) -> tuple[Change, ...]:
    """What is new about someone who signs in; nothing when nothing is."""
    if before is None or before.removed_at:
        return () if after.removed_at else (Change(at, by, "person added", f"{after.name}, {after.role}"),)
    if after.removed_at:
        return (Change(at, by, "person removed", after.name),)
    found = []
    if after.role != before.role:
        about = f"{after.name}: {before.role}, now {after.role}"
        found.append(Change(at, by, "person's role changed", about))
    if after.password_hash != before.password_hash:
        found.append(Change(at, by, "password changed", after.name))
    return tuple(found)


def plugin_decided(plugin: ShopPlugin) -> Change:
    about = f"{plugin.name} {plugin.sha256[:12]}"
    if plugin.is_withdrawn:
        return Change(plugin.withdrawn_at, plugin.withdrawn_by, "plugin withdrawn", about)
    return Change(plugin.approved_at, plugin.approved_by, "plugin approved", about)


def shop_copied(source: str, target: str, by: str, at: int) -> Change:
    return Change(at, by, "shop copied", f"from {source} to {target}")
