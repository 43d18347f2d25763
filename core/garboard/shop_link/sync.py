"""Bringing a tablet's folder ashore: everything it holds goes to the shop server, everything the shop holds comes here.

Nothing is remembered between two times: the digests of what both sides hold say what is missing, so a cut
connection, a restored tablet, a cloned tablet and a restored shop are all put right by doing it again.

Runs in a thread of its own beside work on the same folder. The protocol: plugins/garboard_shop/PROTOCOL.md.
"""

from __future__ import annotations

import contextlib
import random
import re
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import attrs

from garboard.disk import storage
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.entries import entry_id, file_in_words, hull_key_of, stray_of, view
from garboard.disk.hullfile import HullFolder, digest_of
from garboard.disk.partial_upload import FOLDER as ARRIVING
from garboard.disk.partial_upload import Arriving, OutOfPlace
from garboard.disk.storage import Loss, NewerFormat, NotSaved
from garboard.faults import InputError, in_words, refusal
from garboard.history.authority import MANAGER, is_managers, keep_managers, managers_of
from garboard.history.merge import HullMerge, judge, named_and_missing
from garboard.history.registers import RegisterKey, register_of
from garboard.hull_number import KnownNumbers
from garboard.settings import SETTING
from garboard.shop_link import shop_plugins, wire
from garboard.shop_link.discovery import with_address
from garboard.shop_link.pairing import PairedShop, new_device, new_token, read_code
from garboard.shop_link.shop_line import NotPaired, NotTheShop, Reply, ShopAway, ShopLine, ShopRefused
from garboard.shop_link.shop_plugins import ApprovedPlugin
from garboard.shop_link.wire import Differences, Garbled

__all__ = [
    "NotPaired",
    "NotTheShop",
    "ShopAway",
    "ShopRefused",
    "SyncReport",
    "bring_ashore",
    "keep_trying",
    "pair",
]

MOST_ROUNDS = 6
"""Exchanges before giving up on equality: others may be bringing theirs ashore meanwhile."""
IDS_IN_A_QUESTION = 5000
HULLS_IN_A_QUESTION = 1000
IDS_OF_A_NEW_HULL = 50
"""What a hull counts at least, since the shop may hold much of one this tablet holds nothing of."""
FULL_HULL = 50
"""Of a hull with fewer ids all are listed: their beginnings weigh no more than bucket digests would."""
WORTH_ASKING = 500
"""So many ids weigh more than a question about hash buckets and its answer."""
FAR_OFF = 60_000
"""A clock further off than this is worth telling the technician [ms]."""

_LOG = "came_ashore.log"
_ID = re.compile(r"[0-9a-f]{32}")

Result = TypeVar("Result")
Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""


@attrs.frozen(kw_only=True)
class SyncReport:
    """What bringing ashore did.

    sent, received : entries new to the shop, and new here
    hulls          : for each hull in which something came in, what it did
    refused        : entries and attachments the shop would not take, with the reason; they are still here
    not_taken      : ids of settings in this folder that no manager of the shop set, which it takes from nobody else;
                     another shop's, for one. They are not in force here, and there is nothing to do about them
    not_kept       : what the shop offered and could not be kept here, with the reason
    approved       : the shop's own plugins, when their list changed; they run from the next start
    withdrawn      : names of those that may run no longer
    role           : what the shop says this tablet may do: technician or manager
    clock_offset   : how far the shop's clock is ahead of this one [ms]
    here, there    : entries held of each hull, here and at the shop, counted at the end
    differing      : hulls of which the two sides do not hold the same entries, but for those in `not_taken`, and for
                     bytes that are no entry, which stand at the shop within the entry that carries them
    not_read       : what lies here and could not be read, so was not brought: its file, and the reason
    lost           : what damaged hull files here held, and neither side holds now
    missing        : attachments that entries sent, or here before, name and neither side holds, with its name; one
                     found damaged now is among those refused
    strays         : by hull, how many bytes under an id are here that are no entry; not among `here`
    shop           : SHA-256 of the certificate of the shop this was with, in hexadecimal
    bytes_sent, bytes_received : bodies of requests and answers, as they were sent [bytes]
    """

    sent: int
    received: int
    attachments_sent: int
    attachments_received: int
    hulls: tuple[HullMerge, ...]
    refused: tuple[tuple[str, str], ...]
    not_kept: tuple[tuple[str, str], ...]
    approved: tuple[ApprovedPlugin, ...]
    withdrawn: tuple[str, ...]
    role: str
    clock_offset: int
    here: Mapping[str, int]
    there: Mapping[str, int]
    differing: tuple[str, ...]
    bytes_sent: int
    bytes_received: int
    not_read: tuple[tuple[str, str], ...] = ()
    not_taken: tuple[str, ...] = ()
    lost: tuple[Loss, ...] = ()
    missing: tuple[tuple[str, str], ...] = ()
    strays: Mapping[str, int] = attrs.field(factory=dict)
    shop: str = ""

    @property
    def complete(self) -> bool:
        """Whether both sides hold all there is and was: nothing refused, not kept, unread, lost or missing."""
        return self.equal and not (self.refused or self.not_kept or self.lost or self.missing)

    @property
    def equal(self) -> bool:
        """Whether both sides hold the same entries but for `not_taken`, and all that lies here could be compared."""
        return not (self.differing or self.not_read)

    @property
    def disagreeing(self) -> tuple[tuple[str, RegisterKey], ...]:
        """What disagrees now and did not before, with its hull."""
        return tuple((hull.hull, key) for hull in self.hulls for key in hull.disagreeing)

    @property
    def stale(self) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
        """Sign-offs gone stale: hull, who and which job, names of what is not covered."""
        return tuple((hull.hull, who, what) for hull in self.hulls for who, what in hull.stale)

    @property
    def clock_is_off(self) -> bool:
        """Whether the technician should look at the tablet's clock."""
        return abs(self.clock_offset) > FAR_OFF


def not_taken_in_words(report: SyncReport) -> str:
    """What to say once of the settings the shop does not take."""
    return (
        f"settings of another shop, or set by nobody who is a manager of this one: {len(report.not_taken)}. "
        "They are kept here, not in force and not taken by this shop"
    )


def pair(code: str, tablet_name: str, device: str = "") -> PairedShop:
    """Pair this tablet with the shop a code names. An answer lost on the way is asked for once more: the secret
    works once, but again for the tablet it worked for.

    code        : with the shop's address, or the 24 characters alone where the shop can be heard on the wifi
    tablet_name : what the shop lists the tablet as
    device      : what stands for it in the entries it writes; made up when it has written none
    returns     : the shop, to be kept with `pairing.keep`
    errors      : InputError, ShopAway, NotTheShop, ShopRefused
    """
    read = read_code(with_address(code))
    token = new_token()
    device = device or new_device()
    question = wire.plain({"secret": read.secret, "token": token, "tablet": tablet_name, "device": device})
    with ShopLine(read.host, read.port, read.fingerprint) as line:
        try:
            reply = line.ask("POST", "/v1/pair", question)
        except ShopAway:
            if not line.certificate:
                raise
            # The shop was there and its answer was lost: the same token may ask again.
            reply = line.ask("POST", "/v1/pair", question)
        fields = _read(lambda: wire.read_object(_found(reply).body))
        return PairedShop(
            name=str(fields.get("shop", "")),
            host=read.host,
            port=read.port,
            fingerprint=line.certificate,
            token=token,
            tablet=str(fields.get("tablet", "")),
            role=str(fields.get("role", "technician")),
            device=device,
        )


def bring_ashore(
    folder: HullFolder,
    shop: PairedShop,
    progress: Progress = lambda _what, _done, _of: None,
    *,
    prove: bool = False,
) -> SyncReport:
    """Make the tablet and the shop hold the same.

    folder   : opened for writing; others may work in it meanwhile
    prove    : read every attachment here through first, not only those that changed since they were read through:
               also what the disk lost without a word is fetched again then. It takes its time
    progress : told from this thread
    returns  : what was done
    errors   : ShopAway (what came and went so far is kept; do it again), NotTheShop, NotPaired, ShopRefused,
               storage.NotSaved when this tablet's disk refuses
    """
    with ShopLine(shop.host, shop.port, shop.fingerprint, shop.token, shop.device) as line:
        ashore = _Ashore(folder, line, progress)
        theirs = ashore.entries()
        connected = line.connected
        ashore.attachments(prove=prove)
        ashore.plugins()
        if ashore.attachments_sent or ashore.attachments_received or line.connected > connected:
            theirs = ashore.digests()  # while files travelled the shop may have been put back from an older copy
        return ashore.report(theirs)


def keep_trying(
    attempt: Callable[[], Result],
    stop: threading.Event,
    *,
    first_wait: float = 1.0,
    longest_wait: float = 60.0,
    told: Callable[[ShopAway, float], None] = lambda _reason, _wait: None,
) -> Result | None:
    """Attempt again while the shop is away, waiting twice as long each time.

    stop         : set it to give up
    first_wait   : [s]
    longest_wait : [s]
    told         : called before each wait with the reason and the wait [s]
    returns      : what the attempt returned; None when stopped
    errors       : whatever the attempt raises besides ShopAway
    """
    wait = first_wait
    while not stop.is_set():
        try:
            return attempt()
        except ShopAway as reason:
            delay = wait * random.uniform(0.75, 1.25)  # so that twenty tablets do not come back in step
            told(reason, delay)
            stop.wait(delay)
            wait = min(wait * 2, longest_wait)
    return None


@attrs.define
class _Ashore:
    """One time of bringing ashore."""

    folder: HullFolder
    line: ShopLine
    progress: Progress
    sent: int = 0
    received: int = 0
    attachments_sent: int = 0
    attachments_received: int = 0
    refused: dict[str, str] = attrs.field(factory=dict)
    strays: dict[str, set[str]] = attrs.field(factory=dict)
    """By hull, ids under which bytes stand here that are no entry. What goes to the shop is the entry carrying them."""
    not_kept: dict[str, str] = attrs.field(factory=dict)
    approved: tuple[ApprovedPlugin, ...] = ()
    withdrawn: tuple[str, ...] = ()
    role: str = ""
    exchanged: set[str] = attrs.field(factory=set)
    log: _CameLog = attrs.field(init=False)

    def __attrs_post_init__(self) -> None:
        self.log = _CameLog(self.folder.folder / _LOG)

    def entries(self) -> dict[str, tuple[str, int]]:
        """Exchange entries until both sides hold the same; what the shop holds in the end."""
        digits = wire.SHORT_DIGITS
        theirs = self.digests()
        for _ in range(MOST_ROUNDS):
            before = self.sent, self.received
            differing = self._differing(theirs)
            if not differing:
                break
            self.exchanged.update(differing)
            buckets = self._buckets(differing, theirs) if digits < wire.WHOLE_DIGITS else {}
            compared = {hull: wire.in_buckets(ids, buckets.get(hull, "")) for hull, ids in differing.items()}
            for number, group in enumerate(groups := [*self._groups(compared)]):
                self.progress("entries", number, len(groups))
                self._exchange(group, digits, {hull: buckets[hull] for hull in group if hull in buckets})
            self.progress("entries", len(groups), len(groups))
            theirs = self.digests()
            if (self.sent, self.received) == before:
                if digits == wire.WHOLE_DIGITS:
                    break
                digits = wire.WHOLE_DIGITS  # nothing moved and yet they differ: two ids begin alike
        return theirs

    def digests(self) -> dict[str, tuple[str, int]]:
        """What the shop holds: each hull's digest and count."""
        mine = self._mine()
        reply = self.line.ask("GET", "/v1/digests", fields={"If-None-Match": wire.whole_state(mine)})
        self.role = reply.fields.get(wire.ROLE.lower(), self.role)
        if (listed := reply.fields.get(wire.MANAGERS.lower())) is not None:  # an older shop lists none
            try:
                keep_managers(self.folder.folder, wire.read_names(listed))
            except NotSaved as failure:  # a full disk must not keep what is here from being sent
                self.not_kept["managers"] = in_words(failure)
        return mine if reply.status == 304 else _read(lambda: wire.read_digests(_found(reply).body))

    def attachments(self, *, prove: bool) -> None:
        """Exchange attachments. One that is empty, or not as long as the shop's, is read through on the side it is; so
        is one here that changed since it was read through last.
        """
        held = self.folder.attachments
        self._prove(held.names() if prove else held.not_proved())
        sizes = {name: self.folder.attachments.size(name) for name in self.folder.attachments.names()}
        mine = self._prove(name for name, size in sizes.items() if not size) | {name for name in sizes if sizes[name]}
        reply = self.line.ask(
            "GET", "/v1/attachments", fields={"If-None-Match": wire.sizes_tag({name: sizes[name] for name in mine})}
        )
        if reply.status == 304:
            return
        theirs = _read(lambda: _sizes(_found(reply).body))
        unlike = {name for name in mine & theirs.keys() if sizes[name] != theirs[name]}
        sound = self._prove(unlike)
        sending = sorted((mine - theirs.keys()) | sound)
        fetching = sorted((theirs.keys() - mine) | (unlike - sound))
        for number, name in enumerate((*sending, *fetching)):
            self.progress("attachments", number, len(sending) + len(fetching))
            if name in fetching:
                self._fetch(name, theirs[name])
            else:
                self._send_attachment(name, anew=name in theirs)
        self.progress("attachments", len(sending) + len(fetching), len(sending) + len(fetching))

    def _prove(self, names: Iterable[str]) -> set[str]:
        """Those of some attachments that are what their names say; the others are set aside."""
        sound: set[str] = set()
        for name in names:
            try:
                self.folder.attachments.prove(name)
            except AttachmentDamaged:
                continue
            except (KeyError, OSError) as failure:
                self.not_kept[name] = refusal(failure) if isinstance(failure, OSError) else in_words(failure)
                continue
            sound.add(name)
        return sound

    def plugins(self) -> None:
        """Learn which of the shop's own plugins may run here."""
        before = shop_plugins.kept(self.folder.folder)
        tag = wire.plugins_tag((plugin.name, plugin.sha256) for plugin in before)
        reply = self.line.ask("GET", "/v1/plugins", fields={"If-None-Match": tag})
        if reply.status == 304:
            return
        try:
            after = shop_plugins.read(_read(lambda: wire.read_object(_found(reply).body)).get("plugins"))
        except InputError as unreadable:
            raise ShopAway(f"the shop's answer came garbled: {in_words(unreadable)}") from unreadable
        shop_plugins.keep(self.folder.folder, after)
        self.approved = tuple(plugin for plugin in after if plugin not in before)
        self.withdrawn = tuple(sorted({plugin.name for plugin in before} - {plugin.name for plugin in after}))

    def report(self, theirs: Mapping[str, tuple[str, int]]) -> SyncReport:
        """What was done, counted."""
        mine = self._mine()
        known = sorted(mine.keys() | theirs.keys())
        numbers = KnownNumbers(known)
        came = {hull: self.folder.get(hull, sorted(ids)) for hull, ids in sorted(self.log.came.items()) if hull in mine}
        hulls = tuple(
            judge(hull, came, mine[hull][1] - len(entries), self.folder, numbers)
            for hull, entries in came.items()
            if entries
        )
        missing = named_and_missing(self.folder, self._here_before(), self.not_kept.keys() | self.refused.keys())
        self.log.forget()
        not_taken = self._not_taken(mine, theirs)
        ids_not_taken = {name for names in not_taken.values() for name in names}
        return SyncReport(
            sent=self.sent,
            received=self.received,
            attachments_sent=self.attachments_sent,
            attachments_received=self.attachments_received,
            hulls=hulls,
            refused=tuple(sorted((name, why) for name, why in self.refused.items() if name not in ids_not_taken)),
            not_taken=tuple(sorted(ids_not_taken)),
            not_kept=tuple(sorted(self.not_kept.items())),
            approved=self.approved,
            withdrawn=self.withdrawn,
            role=self.role,
            clock_offset=self.line.clock_offset,
            here={hull: count - len(self.strays.get(hull, ())) for hull, (_, count) in mine.items()},
            there={hull: count for hull, (_, count) in theirs.items()},
            differing=tuple(
                hull
                for hull in known
                if self._without(not_taken.get(hull, frozenset()) | self.strays.get(hull, set()), hull, mine)
                != theirs.get(hull)
            ),
            bytes_sent=self.line.sent,
            bytes_received=self.line.received,
            not_read=self.folder.not_read(),
            lost=self._losses(),
            missing=missing,
            strays={hull: len(names) for hull, names in self.strays.items()},
            shop=self.line.certificate,
        )

    def _here_before(self) -> Iterator[list[bytes]]:
        """Entries of the hulls exchanged that did not come now: the files of those may be on their way."""
        for hull in sorted(self.exchanged):
            with contextlib.suppress(NewerFormat, OSError):
                came = self.log.came.get(hull, set())
                yield [raw for name, raw in self.folder.get(hull).items() if name not in came]

    def _losses(self) -> tuple[Loss, ...]:
        if not self.folder.damage():
            return ()
        return self.folder.losses({name for hull in self.folder.readable() for name in self.folder.ids(hull)})

    def _not_taken(
        self, mine: Mapping[str, tuple[str, int]], theirs: Mapping[str, tuple[str, int]]
    ) -> dict[str, frozenset[str]]:
        """By hull, settings the shop refused because no manager of it set them: it would refuse them for good."""
        managers = managers_of(self.folder.folder)
        if not self.refused or self.role == MANAGER or managers is None:
            return {}
        found: dict[str, frozenset[str]] = {}
        for hull in mine:
            if mine[hull] != theirs.get(hull):
                refused = [view(name, raw) for name, raw in self.folder.get(hull, sorted(self.refused)).items()]
                found[hull] = frozenset(
                    one.id for one in refused if register_of(one).kind == SETTING and not is_managers(one, managers)
                )
        return found

    def _without(self, names: frozenset[str], hull: str, mine: Mapping[str, tuple[str, int]]) -> tuple[str, int] | None:
        """The digest and count of what is held of a hull without some entries; None when nothing is left."""
        if not names:
            return mine.get(hull)
        rest = self.folder.ids(hull) - names
        return (digest_of(rest)[: wire.DIGEST_DIGITS], len(rest)) if rest else None

    def _mine(self) -> dict[str, tuple[str, int]]:
        held = self.folder.holdings()
        return {hull: (one.digest[: wire.DIGEST_DIGITS], one.entries) for hull, one in held.items()}

    def _differing(self, theirs: Mapping[str, tuple[str, int]]) -> dict[str, frozenset[str]]:
        """Ids held of each hull that is not the same on both sides."""
        mine = self._mine()
        found: dict[str, frozenset[str]] = {}
        for hull in sorted(mine.keys() | theirs.keys()):
            if mine.get(hull) != theirs.get(hull):
                try:
                    found[hull] = self.folder.ids(hull)
                except (NewerFormat, InputError, OSError) as unreadable:
                    self.not_kept[file_in_words(hull)] = in_words(unreadable)
        return found

    def _buckets(
        self, differing: Mapping[str, frozenset[str]], theirs: Mapping[str, tuple[str, int]]
    ) -> dict[str, str]:
        """Where both sides hold much of a hull and nearly as much, the hash buckets of it that differ."""
        asked = {
            hull: ids
            for hull, ids in differing.items()
            if len(ids) >= FULL_HULL and hull in theirs and abs(len(ids) - theirs[hull][1]) < len(wire.BUCKETS)
        }
        if sum(map(len, asked.values())) < WORTH_ASKING:
            return {}
        found: dict[str, str] = {}
        hulls_asked = sorted(asked)
        for start in range(0, len(hulls_asked), HULLS_IN_A_QUESTION):
            hulls = hulls_asked[start : start + HULLS_IN_A_QUESTION]
            marked = wire.by_hull({hull: wire.bucket_digests(asked[hull]) for hull in hulls})
            reply = self.line.ask("POST", "/v1/sixteenths", marked)
            found.update(_read(lambda: wire.read_buckets(_found(reply).body)))  # noqa: B023  (called at once)
        return {hull: differing for hull, differing in found.items() if differing}

    def _groups(self, differing: Mapping[str, frozenset[str]]) -> Iterator[dict[str, frozenset[str]]]:
        group: dict[str, frozenset[str]] = {}
        size = 0
        for hull, ids in differing.items():
            weight = max(len(ids), IDS_OF_A_NEW_HULL)
            if group and size + weight > IDS_IN_A_QUESTION:
                yield group
                group, size = {}, 0
            group[hull] = ids
            size += weight
        if group:
            yield group

    def _exchange(self, asked: Mapping[str, frozenset[str]], digits: int, buckets: Mapping[str, str]) -> None:
        """Compare some hulls, keep what comes, send what is wanted.

        asked   : ids held, those to be compared
        buckets : by hull, what those ids begin with, where not all are compared
        """
        needs: dict[str, list[str]] = {}
        while asked:
            within = {hull: buckets[hull] for hull in asked if hull in buckets}
            reply = self.line.ask("POST", "/v1/diff", wire.question(asked, digits, within))
            differences = _read(lambda: wire.read_answer(_found(reply).body))  # noqa: B023  (called at once)
            added = self._take_in(differences, asked)
            needs.update(differences.needs)
            left = [hull for hull in differences.left if hull in asked] if added else []
            asked = {hull: wire.in_buckets(self.folder.ids(hull), buckets.get(hull, "")) for hull in left}
        for batch in self._batches(needs, digits):
            self._send(batch)

    def _take_in(self, differences: Differences, asked: Mapping[str, frozenset[str]]) -> int:
        """Keep what came; how many entries were new."""
        by_hull: dict[str, list[bytes]] = {}
        for raw in differences.lines:
            try:
                hull = hull_key_of(raw)
            except InputError as reason:
                self.not_kept[entry_id(raw)] = in_words(reason)
                continue
            if hull in asked:
                by_hull.setdefault(hull, []).append(raw)
            else:
                self.not_kept[entry_id(raw)] = f"it belongs to {file_in_words(hull)}, which was not asked for"
        self.log.note({hull: [entry_id(raw) for raw in entries] for hull, entries in by_hull.items()})
        added = 0
        with self.folder.batch():
            for hull, entries in by_hull.items():
                put = self.folder.put_if_absent(hull, entries)
                added += len(put.added)
                self.not_kept.update((name, in_words(reason)) for name, reason in put.refused)
        self.received += added
        return added

    def _batches(self, needs: Mapping[str, Sequence[str]], digits: int) -> Iterator[list[bytes]]:
        batch: list[bytes] = []
        size = 0
        for hull, beginnings in needs.items():
            wanted = frozenset(beginnings)
            names = [name for name in self.folder.ids(hull) if name[:digits] in wanted]
            for name, raw in self.folder.get(hull, sorted(names)).items():
                if name in self.refused or name in self.strays.get(hull, ()):
                    continue
                if (carrying := self._carrying(hull, name, raw)) is not None:
                    raw = carrying
                if batch and (len(batch) == wire.MOST_ENTRIES or size + len(raw) > wire.LARGEST_BATCH):
                    yield batch
                    batch, size = [], 0
                batch.append(raw)
                size += len(raw) + 1
        if batch:
            yield batch

    def _carrying(self, hull: str, name: str, raw: bytes) -> bytes | None:
        """The entry that carries bytes which are none, kept here too; None for what is an entry, or is too large."""
        try:
            hull_key_of(raw)
        except InputError:
            if (stray := stray_of(hull, raw)) is not None:
                self.folder.put_if_absent(hull, [stray])
                self.strays.setdefault(hull, set()).add(name)
                return stray.raw
        return None

    def _send(self, batch: list[bytes]) -> None:
        reply = self.line.ask("POST", "/v1/entries", wire.lines_of(batch))
        fields = _read(lambda: wire.read_object(_found(reply).body))
        kept, refused = fields.get("kept"), fields.get("refused")
        self.sent += kept if isinstance(kept, int) else 0
        for pair_ in refused if isinstance(refused, list) else ():
            match pair_:
                case [str(name), str(reason)]:
                    self.refused[name] = reason

    def _send_attachment(self, name: str, *, anew: bool) -> None:
        size, path = self.folder.attachments.size(name), f"/v1/attachments/{name}"
        if size > wire.LARGEST_ATTACHMENT:
            self.refused[name] = f"larger than {wire.LARGEST_ATTACHMENT} bytes; carry it over on a stick"
            return
        held = _number(self.line.ask("HEAD", path).fields.get(wire.HELD.lower(), "0"))
        while True:
            piece = self.folder.attachments.read(name, held, wire.LARGEST_PIECE)
            reply = self.line.ask("PUT", f"{path}?from={held}&of={size}", piece)
            if reply.status == 422:
                self._look_at(name)
                return
            now = _number(reply.fields.get(wire.HELD.lower(), ""))
            if now >= size:
                self.attachments_sent += 1
                return
            if now == held and anew:
                self.refused[name] = "the shop's copy of it is damaged, and an older shop server takes no other"
                return
            if now == held:
                raise ShopAway(f"the shop takes no more of attachment {name}")
            held = now

    def _look_at(self, name: str) -> None:
        """The shop says an attachment is not what its name says: if so, it is set aside here and reported."""
        try:
            self.folder.attachments.prove(name)
            self.refused[name] = "it was spoilt on the way; bring ashore again"
        except (AttachmentDamaged, KeyError) as damaged:
            self.refused[name] = in_words(damaged)

    def _fetch(self, name: str, size: int) -> None:
        arriving = Arriving(self.folder.folder / ARRIVING, self.folder.attachments)
        held = arriving.held(name)
        while True:
            reply = self.line.ask("GET", f"/v1/attachments/{name}?from={held}&most={wire.LARGEST_PIECE}")
            if reply.status != 200 or (not reply.body and held < size):
                self.not_kept[name] = "the shop no longer holds it whole"
                return
            try:
                held = arriving.add(name, held, reply.body, size)
            except (AttachmentDamaged, OutOfPlace) as failure:
                self.not_kept[name] = in_words(failure)
                return
            if held >= size:
                self.attachments_received += 1
                return


class _CameLog:
    """Ids of the entries that came in since the last report, kept on disk.

    Without it, a disagreement that came in before a cut would be missing from the report after it.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.came: dict[str, set[str]] = {}
        if path.exists():
            for line in path.read_text("ascii", errors="replace").splitlines():
                hull, *names = line.split(" ")
                self.came.setdefault(hull, set()).update(name for name in names if _ID.fullmatch(name))

    def note(self, came: Mapping[str, Sequence[str]]) -> None:
        """Write down what is about to be kept. An id whose entry never made it is passed over later."""
        lines = "".join(f"\n{hull} {' '.join(names)}" for hull, names in came.items())
        if not lines:
            return
        storage.append_saved(self._path, lines.encode())
        for hull, names in came.items():
            self.came.setdefault(hull, set()).update(names)

    def forget(self) -> None:
        """The report is made."""
        self._path.unlink(missing_ok=True)


def _read(parse: Callable[[], Result]) -> Result:
    try:
        return parse()
    except Garbled as garbled:
        raise ShopAway(f"the shop's answer came garbled: {in_words(garbled)}") from garbled


def _found(reply: Reply) -> Reply:
    if reply.status >= 400:
        raise ShopRefused(
            reply.status,
            f"the shop server does not speak version {wire.PROTOCOL} of the protocol; install the same version",
        )
    return reply


def _sizes(body: bytes) -> dict[str, int]:
    found = wire.read_object(body).get("attachments")
    if not isinstance(found, dict):
        raise Garbled("attachments: expected an object")
    sizes: dict[str, int] = {}
    for name, size in found.items():
        if type(size) is not int or size < 0 or not re.fullmatch(r"[0-9a-f]{64}", name):
            raise Garbled("attachments: expected sizes by hash")
        sizes[name] = size
    return sizes


def _number(text: str) -> int:
    return int(text) if len(text) < 16 and text.isascii() and text.isdigit() else 0
