"""Promise 3: merging is union: any order, any repetition, any grouping gives the same result."""

from __future__ import annotations

import random
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.merge import merge, state_digest
from garboard.history.replay import HullState, replay
from histories import HULL, JOBS, history, union

seeds = st.integers(0, 2**32)
few = settings(deadline=None, max_examples=examples(25))
many = settings(deadline=None, max_examples=examples(150))


@contextmanager
def _folders(*contents: Iterable[Entry]) -> Iterator[list[HullFolder]]:
    """New folders, each with some entries, and one path more for what a test makes of them."""
    with tempfile.TemporaryDirectory() as where, ExitStack() as stack:
        made = [stack.enter_context(HullFolder(Path(where) / str(number))) for number in range(len(contents))]
        for folder, entries in zip(made, contents, strict=True):
            for hull in {entry.hull for entry in entries}:
                folder.put_if_absent(hull, [entry for entry in entries if entry.hull == hull])
        yield made


def _all_of(folder: HullFolder) -> dict[str, object]:
    """Everything that could differ between two folders: bytes, and the states they replay to."""
    return {hull: (dict(sorted(folder.get(hull).items())), state_digest(folder, hull)) for hull in folder.hulls()}


def _pieces(entries: Iterable[Entry], chance: random.Random, number: int) -> list[list[Entry]]:
    """The entries dealt out, each to one to three of the pieces, in no order."""
    pieces: list[list[Entry]] = [[] for _ in range(number)]
    for entry in entries:
        for piece in chance.sample(pieces, chance.randint(1, min(3, number))):
            piece.append(entry)
    for piece in pieces:
        chance.shuffle(piece)
    return pieces


@many
@given(seeds)
def test_p3_a_state_is_one_whatever_the_order_and_the_repeats(seed: int) -> None:
    """Entries added in any order, some of them again and again, replay to one state and one view."""
    entries = list(union(history(seed)).values())
    chance = random.Random(seed)
    whole = replay(HULL, entries)
    for _ in range(3):
        again = HullState(HULL)
        for entry in chance.sample([*entries, *entries], k=2 * len(entries)):
            again.add(entry)
        assert again.summary() == whole.summary(), f"seed {seed}"
        assert [again.view(job) for job in JOBS] == [whole.view(job) for job in JOBS], f"seed {seed}"
        assert [again.coverage(job) for job in JOBS] == [whole.coverage(job) for job in JOBS], f"seed {seed}"


@many
@given(seeds)
def test_p3_a_state_kept_up_while_entries_come_is_the_state_folded_at_once(seed: int) -> None:
    """At every moment, looked at or not, the state of an open job is what a fresh replay of its entries gives."""
    entries = list(union(history(seed)).values())
    random.Random(seed).shuffle(entries)
    open_job = HullState(HULL)
    for number, entry in enumerate(entries, start=1):
        open_job.add(entry)
        assert open_job.summary() == replay(HULL, entries[:number]).summary(), f"seed {seed}, entry {number}"


@few
@given(seeds, st.integers(1, 6))
def test_p3_folders_give_one_result_in_any_order_with_repeats(seed: int, number: int) -> None:
    """A day's entries dealt out to folders and merged in two orders, one with repeats: equal, and nothing lost."""
    entries = union(history(seed))
    chance = random.Random(seed)
    with _folders(*_pieces(entries.values(), chance, number), [], []) as (*sources, one, other):
        merge(sources, one)
        for source in chance.sample([*sources, *sources], k=2 * number):
            merge([source], other)
        assert _all_of(one) == _all_of(other), f"seed {seed}"
        assert {name for hull in one.hulls() for name in one.ids(hull)} == entries.keys(), f"seed {seed}"


@few
@given(seeds)
def test_p3_folders_give_one_result_in_any_grouping(seed: int) -> None:
    """(a + b) + c is a + (b + c), and a + a is a."""
    a, b, c = _pieces(union(history(seed)).values(), random.Random(seed), 3)
    with _folders(a, b, c, a, b, c) as (left_a, left_b, left_c, right_a, right_b, right_c):
        merge([left_b], left_a)
        merge([left_c], left_a)
        merge([right_c], right_b)
        merge([right_b], right_a)
        assert _all_of(left_a) == _all_of(right_a), f"seed {seed}"
        before = _all_of(right_a)
        with _folders(union(history(seed)).values()) as (whole,):
            assert merge([whole], right_a).received == 0
        assert _all_of(right_a) == before, f"seed {seed}"


@few
@given(seeds)
def test_p3_messages_lost_repeated_and_out_of_order_end_in_one_state(seed: int) -> None:
    """Tablets hand each other random parts of what they hold, some twice, some lost; one full round makes all equal."""
    tablets = history(seed)
    chance = random.Random(seed)
    with _folders(*(one.held.values() for one in tablets)) as folders:
        for _ in range(12):
            giving, taking = chance.sample(folders, 2)
            for hull in chance.sample(giving.hulls(), chance.randint(0, len(giving.hulls()))):
                sent = [*giving.get(hull).values()]
                taking.put_if_absent(hull, chance.choices(sent, k=chance.randint(0, len(sent))))
        for folder in folders:
            merge([other for other in folders if other is not folder], folder)
        first, *others = map(_all_of, folders)
        assert all(other == first for other in others), f"seed {seed}"
        held = {name for hull in folders[0].hulls() for name in folders[0].ids(hull)}
        assert held == union(tablets).keys(), f"seed {seed}"


@few
@given(seeds, st.floats(0, 1))
def test_p3_a_tablet_restored_from_an_old_backup_gets_back_all_it_had_brought_ashore(seed: int, part: float) -> None:
    """The backup is older than the last merge; merging both ways makes tablet and shop equal, with every entry."""
    entries = sorted(union(history(seed)).values(), key=lambda entry: entry.id)
    old = entries[: round(part * len(entries))]
    with tempfile.TemporaryDirectory() as where:
        tablet, backup, shop = (Path(where) / name for name in ("tablet", "backup", "shop"))
        with HullFolder(tablet) as folder:
            folder.put_if_absent(HULL, old)
        shutil.copytree(tablet, backup)
        with HullFolder(tablet) as folder, HullFolder(shop) as ashore:
            folder.put_if_absent(HULL, entries)
            merge([folder], ashore)
        shutil.rmtree(tablet)
        backup.rename(tablet)
        with HullFolder(tablet) as folder, HullFolder(shop) as ashore:
            merge([folder], ashore)
            report = merge([ashore], folder)
            assert report.received == len(entries) - len(old), f"seed {seed}"
            assert _all_of(folder) == _all_of(ashore), f"seed {seed}"
