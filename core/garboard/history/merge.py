"""Merging folders of hull files: the union of their entries, and what a person should know about the outcome."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from contextlib import nullcontext, suppress
from pathlib import Path

import attrs

from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.bulk import makes_many
from garboard.disk.entries import Entry, Parts, canonical_bytes, view
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import Beginning, file_name
from garboard.disk.storage import Damage, Loss, NewerFormat
from garboard.faults import in_words, refusal
from garboard.history.boat import replay_with_aliases
from garboard.history.registers import RegisterKey, name_of
from garboard.history.replay import HullState, replay
from garboard.history.signature_scope import Staleness
from garboard.history.worth_telling import Places, named_by, worth_telling
from garboard.hull_number import KnownNumbers

_FILE = b'"file":"'
"""What stands before the name of an attachment in an entry; in no text, where a quote has a stroke before it."""

MOST_ALIKE = 3
"""Look-alikes of a hull number that are named."""

_ATTACHMENT = re.compile(rb'([0-9a-f]{64})"(?:,"name":"([^"\\\\]*)")?')


@attrs.frozen(kw_only=True)
class HullMerge:
    """What merging did to one hull.

    received    : entries that were new here
    existing    : entries of the sources that were here before; one that several sources hold counts once
    disagreeing : what disagrees now and did not before, with the job it is in
    stale       : sign-offs that cover everything no longer and did before: (who, names of the values they miss)
    also        : other hull numbers that are the same boat
    """

    hull: str
    received: int
    existing: int
    disagreeing: tuple[RegisterKey, ...] = ()
    stale: tuple[tuple[str, tuple[str, ...]], ...] = ()
    look_alikes: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    @property
    def alike_in_words(self) -> str:
        """The likeliest of its look-alikes: all of a builder's boats beside it differ by a numeral. "" for none.

        >>> HullMerge(hull="A", received=1, existing=0, look_alikes=tuple("BCDEF")).alike_in_words
        'B, C, D and 2 more'
        """
        more = len(self.look_alikes) - MOST_ALIKE
        named = ", ".join(self.look_alikes[:MOST_ALIKE])
        return f"{named} and {more} more" if more > 0 else named


def by_what_changed(stale: Iterable[tuple[str, tuple[str, ...]]]) -> dict[tuple[str, ...], list[str]]:
    """Stale sign-offs by what they do not cover, so that it is told once for all who signed."""
    found: dict[tuple[str, ...], list[str]] = {}
    for who, names in stale:
        found.setdefault(names, []).append(who)
    return found


def boat_by_boat(hulls: Iterable[HullMerge]) -> tuple[HullMerge, ...]:
    """What merging did to each boat: its hull numbers in one, under the first of them."""
    found: dict[int, HullMerge] = {}
    place_of: dict[str, int] = {}
    for place, hull in enumerate(hulls):
        same = sorted({place_of[number] for number in (hull.hull, *hull.also) if number in place_of})
        found[place] = _together([*map(found.pop, same), hull])
        place_of |= dict.fromkeys((found[place].hull, *found[place].also), place)
    return tuple(sorted(found.values(), key=lambda one: one.hull))


def _together(parts: Sequence[HullMerge]) -> HullMerge:
    first = min(parts, key=lambda one: one.hull)
    numbers = {number for one in parts for number in (one.hull, *one.also)}
    return HullMerge(
        hull=first.hull,
        received=sum(one.received for one in parts),
        existing=sum(one.existing for one in parts),
        disagreeing=tuple(sorted({key for one in parts for key in one.disagreeing})),
        stale=tuple(dict.fromkeys(stale for one in parts for stale in one.stale)),
        look_alikes=tuple(dict.fromkeys(other for one in parts for other in one.look_alikes if other not in numbers)),
        also=tuple(sorted(numbers - {first.hull})),
    )


@attrs.frozen(kw_only=True)
class MergeReport:
    """What a merge did, or would do.

    complete : every entry and attachment of the sources was counted in the target afterwards, everything in the
               sources could be read, and of these boats in the target, and nothing damaged there, or named there, is
               missing. Hull files of other boats are not looked into
    refused  : entries and attachments that could not be kept, with the reason; they are still where they received from
    not_read : what could not be read on either side, with the reason; it is left as it is
    mended   : attachments that were damaged in the target and were taken anew from a source
    strays   : what came and is no entry, by the id it stood under, with the reason; it is kept and shown as unreadable
    lost     : what damaged hull files of the sources held, and the target does not
    beside   : damaged files of the sources, kept whole in the target where something of them is not in it
    missing  : recordings, photos and signatures that entries of the sources name and that are on neither side, each
               with what it is called
    """

    target: Path
    sources: tuple[Path, ...]
    dry_run: bool
    hulls: tuple[HullMerge, ...]
    attachments: int
    refused: tuple[tuple[str, str], ...]
    damage: tuple[Damage, ...]
    complete: bool
    not_read: tuple[tuple[str, str], ...] = ()
    mended: tuple[str, ...] = ()
    strays: tuple[tuple[str, str], ...] = ()
    beside: tuple[tuple[Path, Path], ...] = ()
    lost: tuple[Loss, ...] = ()
    missing: tuple[tuple[str, str], ...] = ()

    @property
    def received(self) -> int:
        """Entries that were new to the target."""
        return sum(hull.received for hull in self.hulls)


Progress = Callable[[str], None]


@makes_many
def merge(
    sources: Sequence[HullFolder],
    target: HullFolder,
    *,
    dry_run: bool = False,
    progress: Progress = lambda _hull: None,
) -> MergeReport:
    """Bring every entry and attachment of the sources into the target.

    progress : called with a hull's key once a source's entries of it are in
    Raises storage.NotSaved when the target's disk refuses, and OSError where a folder cannot be listed; what was saved
    before stays, and merging again goes on.
    """
    passed_over: dict[str, str] = {}
    places: dict[str, Places] = {}
    imported = bring_entries(
        sources, target, dry_run=dry_run, progress=progress, passed_over=passed_over, places=places
    )
    received = {hull: there.received for hull, there in imported.items()}
    attached = _bring_attachments(sources, target, dry_run)
    beside = () if dry_run else tuple(_keep_beside(sources, target))
    known = target.known_numbers(imported)
    not_read = tuple(sorted({one for folder in (*sources, target) for one in folder.not_read()}))
    not_read += tuple(_not_named(passed_over, not_read))
    lost = _losses(sources, target, received)
    refused = (*(no for hull in imported.values() for no in hull.refused.items()), *attached.spoilt.items())
    offered = (_may_name(target, hull, new, places[hull]) for hull, new in received.items())
    missing = named_and_missing(target, offered, attached.received | attached.spoilt.keys())
    are_in = all(hull.offered - hull.refused.keys() <= target.ids(key) for key, hull in imported.items())
    return MergeReport(
        target=target.folder,
        sources=tuple(source.folder for source in sources),
        dry_run=dry_run,
        hulls=tuple(
            judge(hull, received, imported[hull].existing, target, known, places.pop(hull)) for hull in sorted(imported)
        ),
        attachments=len(attached.received),
        refused=refused,
        damage=tuple(damage for folder in (*sources, target) for damage in folder.damage()),
        complete=(dry_run or are_in) and not (not_read or refused or lost or missing),
        not_read=not_read,
        mended=tuple(sorted(attached.mended)),
        strays=tuple(one for hull in imported.values() for one in hull.strays.items()),
        beside=beside,
        lost=lost,
        missing=missing,
    )


def _may_name(target: HullFolder, hull: str, received: Container[str], places: Places) -> Iterator[bytes]:
    """Entries of a hull that may name a file: those here before, and of those received all but such as cannot."""
    yield from (raw for name, raw in _held(target, hull).items() if name not in received)
    yield from places.may_name


def named_and_missing(
    folder: HullFolder, hulls: Iterable[Iterable[bytes]], told: Container[str]
) -> tuple[tuple[str, str], ...]:
    """Recordings, photos and signatures that entries name and a folder does not hold, each with what it is called.

    hulls : the entries to look through, hull by hull
    told  : attachments that are on the way, or told as refused
    """
    named: dict[str, str] = {}
    for entries in hulls:  # in one search each; nearly all there is is passed over, where a pattern would look at all
        for piece in b"\n".join(entries).split(_FILE)[1:]:
            if (found := _ATTACHMENT.match(piece)) and found[1].decode() not in told:
                named[found[1].decode()] = (found[2] or b"").decode()
    return tuple((name, called) for name, called in sorted(named.items()) if name not in folder.attachments)


def _not_named(passed_over: Mapping[str, str], not_read: Iterable[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Files passed over that no folder names any more: they can be read by now, and were not when they were asked."""
    named = {Path(file).name for file, _ in not_read}
    yield from ((file, reason) for file, reason in sorted(passed_over.items()) if Path(file).name not in named)


def _losses(
    sources: Iterable[HullFolder], target: HullFolder, received: Mapping[str, Mapping[str, bytes]]
) -> tuple[Loss, ...]:
    """What the sources' damage cost. The target's own is told as damage: nobody knows what it held beyond them."""
    damaged = [folder for folder in sources if folder.damage()]
    if not damaged:
        return ()
    here = {name for hull in target.readable() for name in target.ids(hull)}
    here |= {name for entries in received.values() for name in entries}
    digests = {*target.digests().values()}
    return tuple(loss for folder in damaged for loss in folder.losses(here, digests))


def _keep_beside(sources: Iterable[HullFolder], target: HullFolder) -> Iterator[tuple[Path, Path]]:
    """Keep a source's damaged hull file whole, where something of it is not here: nobody may see that source again."""
    for source in sources:
        for damage in source.damage():
            with suppress(OSError, NewerFormat):  # what cannot be read is named as such
                if kept := target.keep_beside(damage):
                    yield damage.file, kept


@attrs.define
class Imported:
    """What the sources imported of one hull.

    received : entries that were new, by id
    offered  : ids of every entry in the sources
    refused  : for entries that cannot be kept, the reason
    strays   : bytes that were new and are no entry, by the id they came under, with the reason; they are kept as such
    """

    received: dict[str, bytes] = attrs.field(factory=dict)
    offered: set[str] = attrs.field(factory=set)
    refused: dict[str, str] = attrs.field(factory=dict)
    strays: dict[str, str] = attrs.field(factory=dict)

    @property
    def existing(self) -> int:
        """How many were here before. One that several sources hold is one."""
        return len(self.offered - self.received.keys() - self.refused.keys())


def bring_entries(
    sources: Iterable[HullFolder],
    target: HullFolder,
    *,
    dry_run: bool = False,
    progress: Progress = lambda _hull: None,
    passed_over: dict[str, str] | None = None,
    places: dict[str, Places] | None = None,
) -> dict[str, Imported]:
    """The union itself, by hull. What the target holds already is not read a second time.

    passed_over : given each file that could not be read when its entries were asked for, with the reason
    places      : given where the entries received belong, for each hull of the sources
    errors      : OSError where a folder cannot be listed

    Everything is flushed once, at the end; entries count as saved when this returns.
    """
    imported: dict[str, Imported] = {}
    beginnings: dict[str, Beginning] = {}
    missed = {} if passed_over is None else passed_over
    put = target.would_put if dry_run else target.put_if_absent
    with nullcontext() if dry_run else target.batch():
        for source in sources:
            hulls = source.hulls()
            missed.update((str(path), reason) for path, reason in source.left_alone.items())
            for hull in hulls:
                here = imported.get(hull, Imported())
                try:
                    known = target.held(hull)  # with what was received, where that was put into it
                    offer = source.offer(hull, {**known, **here.received} if dry_run else known, beginnings.get(hull))
                except (NewerFormat, OSError) as failure:
                    missed[file_name(hull)] = in_words(failure)
                    continue
                imported[hull] = here
                seen: list[Parts | None] = []
                outcome = put(hull, offer.unknown, seen)
                if offer.content and hull not in beginnings and not (outcome.refused or outcome.strays):
                    beginnings[hull] = Beginning(offer.content)
                carrying = {entry.id: entry.raw for entry, _ in outcome.strays.values()}
                added: Mapping[str, bytes] = offer.unknown  # nearly always, and a hundred thousand come
                if outcome.added != tuple(offer.unknown):
                    added = {name: carrying.get(name) or offer.unknown[name] for name in outcome.added}
                here.received.update(added)
                if places is not None:
                    places.setdefault(hull, Places()).take_in(added, seen)
                here.offered.update({*offer.ids} - outcome.strays.keys() | carrying.keys() if carrying else offer.ids)
                here.refused.update((name, in_words(reason)) for name, reason in outcome.refused)
                here.strays.update(
                    (name, in_words(reason))
                    for name, (entry, reason) in outcome.strays.items()
                    if entry.id in outcome.added
                )
                progress(hull)
    return imported


def judge(
    hull: str,
    received: Mapping[str, Mapping[str, bytes]],
    existing: int,
    target: HullFolder,
    known: KnownNumbers,
    places: Places | None = None,
) -> HullMerge:
    """What everything that received did to the boat of one hull, hull numbers that are the same boat included.

    received : the entries of every hull, by hull and id; in the target already unless it was a dry run
    existing : entries offered of this hull that were here before
    known    : hull numbers to look for look-alikes in
    places   : of those received of this hull, where somebody took them in; it is used up
    """
    if not received.get(hull):
        return HullMerge(hull=hull, received=0, existing=existing, also=_also(target, hull))
    telling = worth_telling({**target.get(hull), **received[hull]}, received[hull], places)

    def now(key: str) -> Mapping[str, bytes]:
        return telling if key == hull else {**_held(target, key), **received.get(key, {})}

    def before(key: str) -> list[Entry]:
        return [view(name, raw) for name, raw in now(key).items() if name not in received.get(key, {})]

    state = replay_with_aliases(before, hull)
    disagreeing_before = _disagreements(state)
    stale_before = {same.id: same for _, one in _stale(state) for same in _saying_so(state, one.sign_off)}
    sound_before = _sign_offs(state) - stale_before.keys()
    new = [
        view(name, raw) for key in state.hull_keys for name, raw in now(key).items() if name in received.get(key, {})
    ]
    if any(entry.kind in ("alias", "retract") for entry in new):  # other hull numbers may now be this boat, or no more
        state = replay_with_aliases(lambda key: [view(name, raw) for name, raw in now(key).items()], hull)
    for entry in new:
        state.add(entry)
    was_stale = {_signed(state, one) for one in stale_before.values()}

    def is_news(sign_off: Entry) -> bool:
        """Whether it was not stale before; nor one that says the same, and is shown as one with it since jobs are."""
        return _signed(state, sign_off) not in was_stale or any(
            one.id in sound_before for one in _saying_so(state, sign_off)
        )

    return HullMerge(
        hull=hull,
        received=len(received[hull]),
        existing=existing,
        disagreeing=tuple(sorted(_disagreements(state) - disagreeing_before)),
        stale=tuple(_in_words(state, job, one) for job, one in _stale(state) if is_news(one.sign_off)),
        look_alikes=tuple(other for other in known.look_alikes(hull) if other not in state.hull_keys),
        also=tuple(sorted(state.hull_keys - {hull})),
    )


def _also(target: HullFolder, hull: str) -> tuple[str, ...]:
    """Other hull numbers that are the same boat; nothing is parsed where no entry says so."""
    if not any(b'"kind":"alias"' in raw for raw in _held(target, hull).values()):
        return ()

    def entries_of(key: str) -> list[Entry]:
        return [view(name, raw) for name, raw in _held(target, key).items()]

    return tuple(sorted(replay_with_aliases(entries_of, hull).hull_keys - {hull}))


def _held(folder: HullFolder, hull: str) -> Mapping[str, bytes]:
    """The entries of another number of the boat; none where its file cannot be read, which `not_read` says."""
    with suppress(NewerFormat, OSError):
        return folder.get(hull)
    return {}


def _disagreements(state: HullState) -> set[RegisterKey]:
    return {key for key in state.registers if state.disagrees(key)}


def _stale(state: HullState) -> list[tuple[str, Staleness]]:
    """Stale sign-offs, each with its job."""
    return [(job, one) for job in state.jobs for one in state.stale(job)]


def _sign_offs(state: HullState) -> set[str]:
    """Ids of the sign-offs that stand."""
    registers = [register for key, register in state.registers.items() if key.kind == "signoff"]
    return {one.id for register in registers for one in register.heads if one.kind == "signoff"}


def _saying_so(state: HullState, sign_off: Entry) -> list[Entry]:
    """All sign-offs for which one is shown: where a join is taken back now, they part again."""
    heads = state.registers[state.register_of(sign_off)].heads
    return [one for one in heads if one.kind == "signoff" and named_by(one) == named_by(sign_off)]


def _signed(state: HullState, sign_off: Entry) -> tuple[RegisterKey, frozenset[str]]:
    """Who signed, and for which entries. Of two sign-offs that say the same a clock chooses the one that is shown."""
    return state.register_of(sign_off), named_by(sign_off)


def _in_words(state: HullState, job: str, stale: Staleness) -> tuple[str, tuple[str, ...]]:
    """Who signed what, and the names of what it does not cover."""
    names = sorted(map(name_of, {state.register_of(entry) for entry in stale.not_covered}))
    return f"{' '.join(stale.sign_off.subject)}, job {job}", tuple(names)


@attrs.define
class _Attached:
    """received: new to the target; mended: damaged there before; spoilt: what cannot be imported, with the reason."""

    received: set[str] = attrs.field(factory=set)
    mended: set[str] = attrs.field(factory=set)
    spoilt: dict[str, str] = attrs.field(factory=dict)


def _bring_attachments(sources: Iterable[HullFolder], target: HullFolder, dry_run: bool) -> _Attached:
    """Bring what the target lacks. What it holds of the same name is read through: it may be damaged there alone."""
    done = _Attached()
    before = target.attachments.names()
    sound: set[str] = set()
    for source in sources:
        for name in sorted(source.attachments.names() - done.received - sound):
            if name in before and _is_sound(target, name):
                sound.add(name)
                continue
            try:
                source.attachments.prove(name)
            except (AttachmentDamaged, KeyError, OSError) as failure:
                done.spoilt[name] = refusal(failure) if isinstance(failure, OSError) else str(failure)
                continue
            if not dry_run:
                target.attachments.take_from(source.attachments, name)
            done.received.add(name)
            done.spoilt.pop(name, None)
    done.mended = done.received & before
    return done


def _is_sound(folder: HullFolder, name: str) -> bool:
    try:
        folder.attachments.prove(name)
    except (AttachmentDamaged, KeyError, OSError):
        return False
    return True


def state_digest(folder: HullFolder, hull: str) -> str:
    """A hash of a hull's state: equal states give equal digests, whatever way they received about."""
    return hashlib.sha256(canonical_bytes(replay(hull, folder.entries(hull)).summary())).hexdigest()
