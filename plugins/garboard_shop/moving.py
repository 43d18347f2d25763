"""Copying a shop from one store to another, deliveries and all, with the counts of both sides at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import attrs

from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.storage import NewerFormat
from garboard.faults import in_words
from garboard.shop_link.wire import LARGEST_PIECE, MOST_ENTRIES
from garboard_shop.store import Change, Delivery, Holding, Store

END_OF_TIME = 253_402_300_799_999
"""The last moment of the year 9999 [ms since 1970-01-01 UTC]."""
UNKNOWN_DELIVERY = Delivery(at=0, tablet="", clock_offset=0)
"""Of entries no delivery names. On no day's sheet, as before."""

Progress = Callable[[str, int, int], None]
"""What is being copied, how many are done, of how many."""


@attrs.frozen
class Counted:
    """How many of one thing there are here, and how many of those the copy holds."""

    what: str
    here: int
    there: int


@attrs.frozen
class Copied:
    """What a copy came to.

    counts  : hulls, entries, attachments, tablets, people who sign in, the shop's own plugins, changes noted
    unequal : hulls and attachments that are not whole in the copy, or were not whole here, with the reason
    """

    counts: tuple[Counted, ...]
    unequal: Mapping[str, str]

    @property
    def is_whole(self) -> bool:
        return not self.unequal and all(counted.here == counted.there for counted in self.counts)


def _say_nothing(_what: str, _done: int, _of: int) -> None:
    pass


COPIED = Change(0, "the shop machine", "shop copied", "")


def copy_shop(source: Store, target: Store, progress: Progress = _say_nothing, copied: Change = COPIED) -> Copied:
    """Copy everything that is not there yet. Cut anywhere, it goes on where it was; done again, it adds nothing.

    source : nobody writes in it meanwhile
    target : may hold more
    copied : who copies what; noted on both sides before anything is copied
    errors : storage.NotSaved
    """
    for store in (source, target):
        store.register.note_changes([copied])
    held = source.digests()
    missing, unread = _missing(source, target, held)
    _copy_deliveries(source, target, missing, progress)
    _copy_rows(source, target)
    damaged = _copy_attachments(source, target, progress)
    _copy_people(source, target, copied)
    return _counted(source, target, held, {**unread, **damaged})


def _missing(
    source: Store, target: Store, held: Mapping[str, Holding]
) -> tuple[dict[str, frozenset[str]], dict[str, str]]:
    """By hull, the ids the target does not hold; and the hulls that cannot be read, with the reason."""
    there = target.digests()
    missing: dict[str, frozenset[str]] = {}
    unread: dict[str, str] = {}
    for hull in held.keys() - {hull for hull in held if there.get(hull) == held[hull]}:
        try:
            missing[hull] = source.ids(hull) - target.ids(hull)
        except NewerFormat as reason:
            unread[hull] = in_words(reason)
    return missing, unread


def _copy_deliveries(source: Store, target: Store, missing: dict[str, frozenset[str]], progress: Progress) -> None:
    """Deliver again what was delivered, in order and under the same names; then what no delivery names."""
    total = sum(map(len, missing.values()))
    left = dict(missing)
    for delivery in _deliveries(source, left):
        offered = {
            hull: source.get(hull, sorted(wanted))
            for hull, names in delivery.ids.items()
            if (wanted := left.get(hull, frozenset()).intersection(names))
        }
        if not any(offered.values()):
            continue
        target.put_if_absent(offered, delivery.tablet, delivery.at, delivery.clock_offset)
        for hull, entries in offered.items():
            left[hull] -= entries.keys()
        progress("entries", total - sum(map(len, left.values())), total)


def _deliveries(source: Store, left: Mapping[str, frozenset[str]]) -> Iterator[Delivery]:
    yield from source.deliveries(0, END_OF_TIME)
    for hull, names in left.items():
        rest = sorted(names)
        for start in range(0, len(rest), MOST_ENTRIES):
            yield attrs.evolve(UNKNOWN_DELIVERY, ids={hull: tuple(rest[start : start + MOST_ENTRIES])})


def _copy_rows(source: Store, target: Store) -> None:
    """Rows are made again at any time, but since when a job is in its state, and what ever failed, only they say."""
    there = target.rows()
    target.put_rows({hull: row for hull, row in source.rows().items() if hull not in there})


def _copy_attachments(source: Store, target: Store, progress: Progress) -> dict[str, str]:
    """Copy attachments, an unfinished one from where it was. Those damaged here, with the reason."""
    sizes, there = source.attachments.sizes(), target.attachments.sizes()
    wanted = sorted(sizes.keys() - there.keys())
    damaged: dict[str, str] = {}
    for done, name in enumerate(wanted, 1):
        try:
            _copy_attachment(source, target, name, sizes[name])
        except AttachmentDamaged as reason:
            damaged[name] = in_words(reason)
        progress("attachments", done, len(wanted))
    return damaged


def _copy_attachment(source: Store, target: Store, name: str, size: int) -> None:
    held = target.attachments.held(name)
    while True:
        piece = source.attachments.read(name, held, min(LARGEST_PIECE, size - held))
        held = target.attachments.add(name, held, piece, size)
        if held >= size:
            return


def _copy_people(source: Store, target: Store, copied: Change) -> None:
    """Tablets with their tokens, who signs in, what plugins are approved, and who changed what of these. Codes are
    not copied: they last minutes."""
    known = {tablet.id: tablet for tablet in target.register.tablets()}
    for tablet in source.register.tablets():
        if tablet.id not in known:
            target.register.add_tablet(tablet)
            continue
        for device in tablet.writes_as:
            target.register.note_device(tablet.id, device, copied.at)
        target.register.change_role(tablet.id, tablet.role, copied.who, copied.at)
        if tablet.is_removed:
            target.register.remove_tablet(tablet.id, tablet.removed_by, tablet.removed_at)
    names = {user.name for user in target.register.users()}
    for user in source.register.users():
        if user.name not in names:
            target.register.put_user(user, copied.who, copied.at)
    for plugin in set(source.register.plugins()) - set(target.register.plugins()):
        target.register.put_plugin(plugin)
    target.register.note_changes(source.register.changes())


def _counted(source: Store, target: Store, held: Mapping[str, Holding], unread: Mapping[str, str]) -> Copied:
    there = target.digests()
    unequal = dict(unread)
    entries = 0
    for hull, here in held.items():
        if there.get(hull) == here:
            entries += here.entries
        elif hull not in unread:
            common = len(source.ids(hull) & target.ids(hull))
            entries += common
            if common < here.entries:
                unequal[hull] = f"{here.entries} entries here, {common} of them in the copy"
    whole = [hull for hull in held if hull not in unequal]
    attachments = source.attachments.sizes()
    tablets = {tablet.id for tablet in source.register.tablets()}
    people = {user.name for user in source.register.users()}
    plugins = set(source.register.plugins())
    changes = set(source.register.changes())
    return Copied(
        (
            Counted("hulls", len(held), len(whole)),
            Counted("entries", sum(one.entries for one in held.values()), entries),
            Counted("attachments", len(attachments), len(attachments.items() & target.attachments.sizes().items())),
            Counted("tablets", len(tablets), len(tablets & {tablet.id for tablet in target.register.tablets()})),
            Counted("people", len(people), len(people & {user.name for user in target.register.users()})),
            Counted("plugins", len(plugins), len(plugins & set(target.register.plugins()))),
            Counted("changes", len(changes), len(changes & set(target.register.changes()))),
        ),
        {**{hull: f"not whole here: {why}" for hull, why in source.not_whole().items()}, **unequal},
    )
