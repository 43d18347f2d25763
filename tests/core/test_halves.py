"""A decision that stands in two hull files is never half lost: the job is in sight, it says so, and it is ended."""

from __future__ import annotations

import errno
import itertools
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from unittest.mock import Mock

import attrs
import click
import pytest
from click.testing import CliRunner, Result

from campaigns import decide_campaign
from garboard.commands import hulls
from garboard.commands.cli import program
from garboard.disk import storage
from garboard.disk.entries import Entry, make_entry
from garboard.disk.hullfile import CheckedEntries, HullFolder
from garboard.disk.storage import NewerFormat
from garboard.history.authoring import Author, measure, move_job, retract, same_boat
from garboard.history.boat import Boat, open_entries, open_hull
from garboard.history.halves import MissingHalf, missing_halves
from garboard.history.merge import merge
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.report.terminal import Tools
from garboard_shop.embedded import EmbeddedStore

HERE, THERE, THIRD = "QQZ04417D626", "QQZ04418D626", "QQZ04419D626"
JOB = "job-1"
HAND = Author("tablet 1", "A. Hand")
SPEED = measure(HAND, HullState(HERE), JOB, "trial", "speed", "31.0 kn")
NAME = HAND.write(HullState(THERE), "field", ("name",), "Saltgrass")
SIGNED = ("--by", "M. Office", "--reason", "typed wrongly")


def opened(number: str, *entries: Entry) -> Boat:
    return open_entries(lambda hull: [entry for entry in entries if entry.hull_key == hull], number)


def of(hull: str, *entries: Entry) -> HullState:
    return replay(hull, [entry for entry in entries if entry.hull_key == hull])


def missing(hull: str, *entries: Entry) -> list[MissingHalf]:
    return [*missing_halves(lambda key: [entry for entry in entries if entry.hull_key == key], hull)]


def as_older(entry: Entry) -> Entry:
    """The same half as a version without ids of decisions wrote it."""
    return make_entry(
        entry.kind, entry.hull, dev=entry.tablet, by=entry.by, clock=entry.clock, at=entry.at, job=entry.job,
        subject=entry.subject, value=entry.value, replaces=entry.replaces,
    )  # fmt: skip


@pytest.fixture(params=["now", "older"])
def halves(request: pytest.FixtureRequest) -> tuple[Entry, Entry]:
    leaving, arriving = move_job(HAND, of(HERE, SPEED), of(THERE, NAME), JOB, "typed wrongly")
    return (leaving, arriving) if request.param == "now" else (as_older(leaving), as_older(arriving))


def test_after_every_part_of_a_sync_the_job_is_under_at_least_one_number(halves: tuple[Entry, Entry]) -> None:
    for size in range(5):
        for held in itertools.combinations((SPEED, NAME, *halves), size):
            if SPEED in held:
                assert JOB in (*opened(HERE, *held).jobs, *opened(THERE, *held).jobs)


def test_a_job_is_where_it_was_until_the_other_file_says_that_it_came(halves: tuple[Entry, Entry]) -> None:
    leaving, arriving = halves
    boat = opened(HERE, SPEED, NAME, leaving)
    assert boat.jobs == (JOB,)
    assert [one.value for one in boat.view(JOB).measurements] == ["31.0 kn"]
    (half,) = boat.unfinished
    assert half.is_sure
    assert opened(HERE, SPEED, NAME, leaving, half.entry).jobs == ()
    whole = opened(THERE, SPEED, NAME, leaving, half.entry)
    assert whole.jobs == (JOB,)
    assert (half.entry.by, half.entry.at, half.entry.tablet) == (leaving.by, leaving.at, leaving.tablet)
    late = opened(THERE, SPEED, NAME, leaving, half.entry, arriving)  # the half that was under way comes after all
    assert late.jobs == (JOB,)
    assert not late.unfinished
    assert not late.view(JOB).disagreements


def test_a_move_of_which_only_the_arrival_came_is_said_and_waits_for_the_other_half(
    halves: tuple[Entry, Entry],
) -> None:
    (half,) = opened(THERE, SPEED, NAME, halves[1]).unfinished
    assert not half.is_sure
    assert opened(HERE, SPEED, NAME, halves[1]).jobs == (JOB,)
    assert opened(THERE, SPEED, NAME, halves[1], half.entry).jobs == (JOB,)
    assert not opened(THERE, NAME, halves[1]).unfinished  # nothing of the job is here: its file comes later


def test_a_move_that_is_whole_or_was_followed_by_another_has_nothing_missing(halves: tuple[Entry, Entry]) -> None:
    held = [SPEED, NAME, *halves]
    assert not missing(HERE, *held)
    assert not missing(THERE, *held)
    for target in (THIRD, HERE, THERE):
        held += move_job(HAND, of(HERE, *held), of(target, *held), JOB, "again")
        assert [hull for hull in (HERE, THERE, THIRD) if JOB in opened(hull, *held).jobs] == [target]
        assert not [half for hull in (HERE, THERE, THIRD) for half in missing(hull, *held)]


def test_an_arrival_taken_back_leaves_the_job_where_it_was_and_is_not_written_again(
    halves: tuple[Entry, Entry],
) -> None:
    held = [SPEED, NAME, *halves]
    held.append(retract(HAND, of(THERE, *held), RegisterKey("move", JOB, ("from", HERE)), "not here"))
    assert opened(HERE, *held).jobs == (JOB,)
    assert not missing(HERE, *held)


@pytest.mark.parametrize("older", [False, True])
def test_two_numbers_joined_or_parted_in_one_file_are_joined_or_parted_in_both(older: bool) -> None:
    first = [*map(as_older, pair)] if (pair := same_boat(HAND, of(HERE), of(THERE), "one boat")) and older else [*pair]
    for number in (0, 1):
        (half,) = missing(HERE, first[number]) + missing(THERE, first[number])
        both = (SPEED, first[number], half.entry)
        assert opened(HERE, *both).jobs == opened(THERE, *both).jobs == (JOB,)
        assert not missing(HERE, *both)
    parting = retract(HAND, of(HERE, *first), RegisterKey("alias", "", (THERE,)), "two boats")
    for hull in (HERE, THERE):
        (half,) = missing(hull, *first, parting)
        apart = (SPEED, *first, parting, half.entry)
        assert opened(THERE, *apart).jobs == ()
        assert not missing(hull, *apart)
    other = retract(HAND, of(THERE, *first), RegisterKey("alias", "", (HERE,)), "two boats")
    again = same_boat(HAND, of(HERE, *first, parting), of(THERE, *first, other), "one boat after all")
    (half,) = missing(HERE, *first, parting, other, again[0])
    assert half.entry.kind == "alias"


def test_a_half_no_other_can_be_made_of_harms_no_boat() -> None:
    leaving, _ = move_job(HAND, of(HERE, SPEED), of(THERE), JOB, "typed wrongly")
    raw = leaving.raw.replace(leaving.at.encode(), b"no time at all")
    odd = attrs.evolve(leaving, id="0" * 32, raw=raw, at="no time at all")
    boat = opened(HERE, SPEED, odd)
    assert boat.jobs == (JOB,)
    assert boat.unfinished == ()


def test_a_job_moved_to_a_file_that_cannot_be_read_stays_in_sight() -> None:
    leaving, _ = move_job(HAND, of(HERE, SPEED), of(THERE), JOB, "typed wrongly")

    def entries_of(hull: str) -> list[Entry]:
        if hull == THERE:
            raise NewerFormat("a newer version wrote it")
        return [SPEED, leaving] if hull == HERE else []

    assert open_entries(entries_of, HERE).jobs == (JOB,)


# The commands, killed and refused at every write


KILLED = 77


def _full(_file: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _kill(_file: object) -> None:
    os._exit(KILLED)  # nothing is closed, cleared away or cut back, as when the system kills a program


TOOLS = Tools()
"""Has its host once one command has asked for it."""


def _run(command: click.Command, *arguments: object) -> Result:
    return CliRunner().invoke(command, [str(argument) for argument in arguments], obj=TOOLS)


def _ended(how: Callable[[object], None], *words: str) -> tuple[int, Result | None]:
    """Run a command; one that is to be killed in a process of its own."""
    if how is not _kill:
        result = _run(program, *words)
        return result.exit_code, result
    child = os.fork()
    if not child:
        os._exit(_run(program, *words).exit_code)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status), None


@lru_cache(maxsize=1)
def _made() -> Path:
    path = Path(tempfile.mkdtemp()) / "made"
    with HullFolder(path) as folder:
        folder.save(SPEED)
        folder.save(NAME)
        folder.save(measure(HAND, HullState(HERE), "job-2", "trial", "speed", "30 kn"))
        for fuel in ("270 gal", "27 gal"):
            folder.save(measure(HAND, HullState(HERE), JOB, "trial", "fuel", fuel))
        for entry in same_boat(HAND, HullState(HERE), HullState(THIRD), "one boat"):
            folder.save(entry)
    return path


@pytest.fixture(scope="module", autouse=True)
def made_once() -> Iterator[None]:
    yield
    shutil.rmtree(_made().parent)
    _made.cache_clear()


def _folder(path: Path) -> Path:
    return Path(shutil.copytree(_made(), path))


WRITES: tuple[tuple[object, str], ...] = (
    (os, "write"),
    (os, "fsync"),
    (storage, "open_for_append"),
    (Path, "replace"),
)
"""Every way the disk layer touches the disk while it saves."""


@pytest.fixture(params=WRITES, ids=[name for _, name in WRITES])
def fail_at(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Iterator[None]]:
    place, name = request.param
    true = getattr(place, name)
    counted = {"left": -1, "seen": 0}
    harm: dict[str, Callable[[object], None]] = {"now": _full}

    def instead(*arguments: object, **named: object) -> object:
        counted["seen"] += 1
        if counted["left"] == 0:
            harm["now"](arguments[0])
        counted["left"] -= 1
        return true(*arguments, **named)

    monkeypatch.setattr(place, name, instead)

    def arm(number: int, how: Callable[[object], None]) -> None:
        counted["left"], harm["now"] = number, how

    return arm  # type: ignore[return-value]


COMMANDS: dict[str, tuple[str, ...]] = {
    "move": ("move-job", "FOLDER", HERE, JOB, "--to", THERE, *SIGNED),
    "same boat": ("same-boat", "FOLDER", HERE, THERE, *SIGNED),
    "two boats": ("same-boat", "FOLDER", HERE, THIRD, "--undo", *SIGNED),
    "join": ("join-job", "FOLDER", HERE, "job-2", "--into", JOB, *SIGNED),
    "take back": ("take-back", "FOLDER", HERE, "trial/speed", "--job", JOB, *SIGNED),
    "settle": ("settle", "FOLDER", HERE, "trial/fuel", "--value", "270 gal", "--job", JOB, *SIGNED),
    "attach": ("attach", "FOLDER", HERE, "trial", "PHOTO", "--job", JOB, "--by", "A. Hand"),
    "import": ("import", "JOB FILE", "--into", "FOLDER", "--by", "M. Office"),
    "merge": ("merge", "OTHER", "--into", "FOLDER"),
}


@pytest.fixture(scope="module")
def beside(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the commands name: a photo, a job exported elsewhere, another folder."""
    place = tmp_path_factory.mktemp("beside")
    (place / "helm.jpg").write_bytes(b"\xff\xd8\xff the helm" * 100)
    with HullFolder(place / "other") as files:
        for number in (HERE, THERE):
            files.save(measure(Author("tablet 2", "B. Hand"), HullState(number), "job-3", "trial", "speed", "9 kn"))
        files.attachments.put(b"a recording" * 100)
    assert not _run(program, "move-job", place / "other", HERE, "job-3", "--to", THERE, *SIGNED).exit_code
    assert not _run(program, "export", place / "other", THERE, "--job", "job-3", "-o", place / "out").exit_code
    return {
        "PHOTO": str(place / "helm.jpg"),
        "JOB FILE": str(place / "out" / "job.json"),
        "OTHER": str(place / "other"),
    }


def _fingerprint(folder: Path) -> tuple[object, ...]:
    with HullFolder(folder, read_only=True) as files:
        return tuple(sorted((hull, len(files.ids(hull))) for hull in files.hulls()))


def _in_sight(folder: Path) -> dict[str, tuple[str, ...]]:
    with HullFolder(folder, read_only=True) as files:
        return {hull: open_hull(files, hull).jobs for hull in files.hulls()}


@pytest.mark.parametrize("named", COMMANDS)
@pytest.mark.parametrize("how", [_full, _kill], ids=["full", "killed"])
def test_killed_or_refused_at_any_write_no_job_is_out_of_sight_and_what_is_said_is_so(
    named: str, how: Callable[[object], None], fail_at: Callable[..., None], tmp_path: Path, beside: dict[str, str]
) -> None:
    undisturbed = 0
    for number in range(60):
        folder = _folder(tmp_path / f"{number}")
        words = [{**beside, "FOLDER": str(folder)}.get(word, word) for word in COMMANDS[named]]
        before = _fingerprint(folder)
        fail_at(number, how)
        exit_code, result = _ended(how, *words)
        fail_at(-1, how)
        assert JOB in {job for jobs in _in_sight(folder).values() for job in jobs}
        if exit_code == 0:
            undisturbed += 1
            assert _fingerprint(folder) != before
            assert _run(program, "repair", folder).stdout.startswith("Everything")
            if undisturbed == 3:  # there was nothing left to fail
                break
            continue
        assert exit_code == (KILLED if how is _kill else 2)
        if result:
            assert os.strerror(errno.ENOSPC).lower() in result.stderr.lower()
            is_half = "Only half" in result.stderr
            if named in ("move", "same boat", "two boats"):
                assert is_half == (_fingerprint(folder) != before)
            elif named not in ("import", "merge"):  # those say which file was not saved, and go on when done again
                assert _fingerprint(folder) == before
        assert _run(program, "repair", folder).exit_code == 0
        with HullFolder(folder, read_only=True) as files:
            assert not [half for hull in files.hulls() for half in missing_halves(files.entries, hull)]
            assert JOB in (*open_hull(files, HERE).jobs, *open_hull(files, THERE).jobs)
        assert _ended(_full, *words)[0] in (0, 2)  # said again: it ends, or there is nothing left to do
    else:
        pytest.fail("the command never ended")


def test_killed_at_random_moments_no_job_is_out_of_sight(tmp_path: Path) -> None:
    tally = decide_campaign.kill_while_deciding(15, seed=3, where=tmp_path)
    assert (tally.kills, tally.lost, tally.invisible, tally.left) == (15, 0, 0, 0), str(tally)


def _move_half(path: Path) -> Path:
    folder = _folder(path)
    with HullFolder(folder) as files:
        state = open_hull(files, HERE).state
        files.save(move_job(HAND, state, replay(THERE, files.entries(THERE)), JOB, "typed wrongly")[0])
    return folder


def test_show_says_that_a_move_is_unfinished_and_the_same_command_again_ends_it(tmp_path: Path) -> None:
    folder = _move_half(tmp_path / "shop")
    shown = _run(hulls.show, folder, HERE, "--job", JOB).stdout
    assert f"UNFINISHED: job {JOB} moves from {HERE} to {THERE}" in shown
    result = _run(hulls.move_job, folder, HERE, JOB, "--to", THERE, *SIGNED)
    assert result.exit_code == 0
    assert "Ended what was unfinished" in result.stdout
    assert _in_sight(folder)[THERE] == (JOB,)
    assert "UNFINISHED" not in _run(hulls.show, folder, THERE).stdout


def test_any_command_about_the_boat_ends_what_is_unfinished(tmp_path: Path) -> None:
    folder = _move_half(tmp_path / "shop")
    assert _run(hulls.join_job, folder, HERE, "job-2", "--into", "none", *SIGNED).exit_code != 0
    assert _in_sight(folder)[THERE] == (JOB,)


def test_two_numbers_parted_by_half_are_parted_by_the_same_command(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    _run(hulls.same_boat, folder, HERE, THERE, *SIGNED)
    with HullFolder(folder) as files:
        state = replay(HERE, files.entries(HERE))
        files.save(retract(HAND, state, RegisterKey("alias", "", (THERE,)), "two boats"))
    assert _run(hulls.same_boat, folder, HERE, THERE, "--undo", *SIGNED).exit_code == 0
    assert _in_sight(folder)[THERE] == ()


def test_only_one_of_two_hull_files_reaches_the_shop_and_the_next_time_brings_the_other(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "tablet")
    _run(hulls.move_job, folder, HERE, JOB, "--to", THERE, *SIGNED)
    for part, (first, second) in enumerate(((HERE, THERE), (THERE, HERE))):
        shop = _folder(tmp_path / f"shop-{part}")
        with HullFolder(folder, read_only=True) as tablet, HullFolder(shop) as files:
            files.put_if_absent(first, tablet.get(first))
            assert JOB in (*open_hull(files, HERE).jobs, *open_hull(files, THERE).jobs)
            assert open_hull(files, first).unfinished
            files.put_if_absent(second, tablet.get(second))
            assert open_hull(files, THERE).jobs == (JOB,)
            assert not open_hull(files, HERE).unfinished
            merge([tablet], files)


def test_repair_ends_what_an_older_version_left_and_says_what_it_cannot_mend(tmp_path: Path) -> None:
    folder = _folder(tmp_path / "shop")
    with HullFolder(folder) as files:
        state = open_hull(files, HERE).state
        files.save(as_older(move_job(HAND, state, HullState(THERE), JOB, "typed wrongly")[1]))
        files.attachments.put(b"a photo")
    result = _run(program, "repair", folder)
    assert f"ended: job {JOB} moves from {HERE} to {THERE}" in result.stdout
    assert result.exit_code == 0
    assert _in_sight(folder)[THERE] == (JOB,)
    (photo,) = (folder / "attachments").iterdir()
    photo.write_bytes(b"")
    result = _run(program, "repair", folder)
    assert "not what its name says" in result.stdout
    assert result.exit_code == 1
    assert _run(program, "repair", tmp_path).exit_code == 2


def test_repair_names_a_decision_that_a_shop_server_could_not_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was killed once the decision was noted. Its next start ends it."""
    folder = _folder(tmp_path / "shop")
    with closing(EmbeddedStore(folder)) as store:
        state = replay(HERE, store.hulls.entries(HERE))
        written = same_boat(HAND, state, HullState(THERE), "one")
        monkeypatch.setattr(store.hulls, "put_if_absent", Mock(side_effect=KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            store.put_together({one.hull_key: CheckedEntries({one.id: one.raw}) for one in written}, "page", 0)
    result = _run(program, "repair", folder)
    assert "a decision is not in every file yet. Start the shop server once" in result.stdout
    assert result.exit_code == 1
    with closing(EmbeddedStore(folder)) as store:
        assert {hull for hull, one in store.digests().items() if one.entries} >= {HERE, THERE}
    assert _run(program, "repair", folder).exit_code == 0
