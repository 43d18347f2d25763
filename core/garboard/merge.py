"""Merging folders of hull files: the union of their entries, and what a person should know about the outcome."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import nullcontext
from pathlib import Path

import attrs

from garboard import hull_number
from garboard.attachments import AttachmentDamaged
from garboard.desk import name_of
from garboard.entries import canonical_bytes, view
from garboard.fold import Fold, SlotKey, fold, slot_of
from garboard.hullfile import HullFolder
from garboard.storage import Damage


@attrs.frozen(kw_only=True)
class HullMerge:
    """What merging did to one hull.

    came        : entries that were new here
    already     : entries of the sources that were here before, or came from an earlier source
    disagreeing : what disagrees now and did not before, with the job it is in
    stale       : sign-offs that cover everything no longer and did before: (who, names of what is not covered)
    """

    hull: str
    came: int
    already: int
    disagreeing: tuple[SlotKey, ...] = ()
    stale: tuple[tuple[str, tuple[str, ...]], ...] = ()
    look_alikes: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class MergeReport:
    """What a merge did, or would do.

    complete : every source entry that could be kept was counted in the target afterwards
    refused  : entries that could not be kept, with the reason; they are still where they came from
    """

    target: Path
    sources: tuple[Path, ...]
    dry_run: bool
    hulls: tuple[HullMerge, ...]
    attachments: int
    refused: tuple[tuple[str, str], ...]
    damage: tuple[Damage, ...]
    complete: bool

    @property
    def came(self) -> int:
        """Entries that were new to the target."""
        return sum(hull.came for hull in self.hulls)


Progress = Callable[[str], None]


def merge(
    sources: Sequence[HullFolder],
    target: HullFolder,
    *,
    dry_run: bool = False,
    progress: Progress = lambda _hull: None,
) -> MergeReport:
    """Bring every entry and attachment of the sources into the target.

    progress : called with a hull's key once a source's entries of it are in
    Raises storage.NotSaved when the target's disk refuses; what was saved before stays, and merging again goes on.
    """
    came, already, refused = bring_entries(sources, target, dry_run=dry_run, progress=progress)
    attachments, spoilt = _bring_attachments(sources, target, dry_run)
    changed = sorted(hull for hull, entries in came.items() if entries)
    known = sorted(set(target.hulls()) | set(came))
    return MergeReport(
        target=target.folder,
        sources=tuple(source.folder for source in sources),
        dry_run=dry_run,
        hulls=tuple(judge(hull, came[hull], already[hull], target, dry_run, known) for hull in sorted(came)),
        attachments=attachments,
        refused=(*refused, *spoilt),
        damage=tuple(damage for folder in (*sources, target) for damage in folder.damage()),
        complete=dry_run or _all_there(sources, target, {name for name, _ in refused}, changed),
    )


Came = dict[str, dict[str, bytes]]


def bring_entries(
    sources: Iterable[HullFolder],
    target: HullFolder,
    *,
    dry_run: bool = False,
    progress: Progress = lambda _hull: None,
) -> tuple[Came, dict[str, int], list[tuple[str, str]]]:
    """The union itself: new entries by hull, how many were here already by hull, and refusals with their reasons.

    Everything is flushed once, at the end; entries count as saved when this returns.
    """
    came: Came = {}
    already: dict[str, int] = {}
    refused: list[tuple[str, str]] = []
    with nullcontext() if dry_run else target.batch():
        for source in sources:
            for hull in source.hulls():
                offered = source.get(hull)
                here = came.setdefault(hull, {})
                new_ids = offered.keys() - target.ids(hull) - here.keys()
                if not dry_run and new_ids:
                    put = target.put_if_absent(hull, offered)
                    refused.extend((name, str(reason)) for name, reason in put.refused)
                    new_ids = set(put.added)
                here.update((name, offered[name]) for name in new_ids)
                already[hull] = already.get(hull, 0) + len(offered) - len(new_ids)
                progress(hull)
    return came, already, refused


def judge(
    hull: str, came: Mapping[str, bytes], already: int, target: HullFolder, dry_run: bool, known: Sequence[str]
) -> HullMerge:
    """What entries that came into a hull did to it.

    came    : the entries, by id; in the target already unless it was a dry run
    already : entries offered that were here before
    known   : hulls to look for look-alikes in
    """
    look_alikes = hull_number.look_alikes(hull, [other for other in known if other != hull])
    if not came:
        return HullMerge(hull=hull, came=0, already=already, look_alikes=look_alikes)
    held = target.get(hull)
    before = fold(hull, (view(name, raw) for name, raw in held.items() if name not in came))
    after = fold(hull, (view(name, raw) for name, raw in {**held, **came}.items()))
    disagreeing = _disagreements(after) - _disagreements(before)
    stale_before = {signature for signature, _ in _stale(before)}
    return HullMerge(
        hull=hull,
        came=len(came),
        already=already,
        disagreeing=tuple(sorted(disagreeing)),
        stale=tuple((who, what) for who, what in _stale(after) if who not in stale_before),
        look_alikes=() if set(look_alikes) <= set(after.aliases) else look_alikes,
    )


def _disagreements(state: Fold) -> set[SlotKey]:
    return {key for key in state.slots if key.kind != "note" and len(state.standing(key)) > 1}


def _stale(state: Fold) -> list[tuple[str, tuple[str, ...]]]:
    return [
        (
            f"{staleness.sign_off.by}, job {job}",
            tuple(sorted({name_of(slot_of(entry)) for entry in staleness.not_covered})),
        )
        for job in state.jobs
        for staleness in state.stale(job)
    ]


def _bring_attachments(
    sources: Iterable[HullFolder], target: HullFolder, dry_run: bool
) -> tuple[int, list[tuple[str, str]]]:
    came: set[str] = set()
    spoilt: list[tuple[str, str]] = []
    for source in sources:
        for name in sorted(source.attachments.names() - target.attachments.names() - came):
            try:
                content = source.attachments.get(name)
            except AttachmentDamaged as damaged:
                spoilt.append((name, str(damaged)))
                continue
            if not dry_run:
                target.attachments.put(content)
            came.add(name)
    return len(came), spoilt


def _all_there(sources: Iterable[HullFolder], target: HullFolder, refused: set[str], changed: Sequence[str]) -> bool:
    """Count both sides: every entry of every source is in the target, those refused excepted."""
    return all(source.ids(hull) - refused <= target.ids(hull) for source in sources for hull in source.hulls()) and all(
        target.ids(hull) for hull in changed
    )


def state_digest(folder: HullFolder, hull: str) -> str:
    """A hash of a hull's folded state: equal states give equal digests, whatever way they came about."""
    return hashlib.sha256(canonical_bytes(fold(hull, folder.entries(hull)).summary())).hexdigest()
