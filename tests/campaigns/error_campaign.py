"""Refuse every system call of every command that writes, one after the other: what is said must be so.

The calls are refused by a library preloaded before this program (disk_errors.c, compiled when it begins; a C compiler
is needed). It sits between the program and the C library and writes down each call on a file of the case's folder:
open, create, read, write, fsync, rename, link, unlink, mkdir, rmdir, ftruncate, flock, chmod, stat, opendir. `close`
is never refused.

Each case first runs once undisturbed, which counts its calls and shows what it writes. Then it runs once for each call
and each of the ways in WAYS: one call refused, or all from one on, as on a disk that stays full, a card that was pulled
or a disk the system has made read-only. Looked at after each, without the program:

- lost       : an entry or a sound attachment that was there before, or was called saved, is not there
- untrue     : exit status 0 or a word of success, and not all of it was done
- not flushed: exit status 0, and something of it was not on the disk: written and not flushed, or flushed in vain
- speechless : another exit status without a word, or a traceback
- hidden     : a job is shown under no hull number
- stuck      : the same command run again, on a sound disk, does not finish it

The runs come in random order, so that a campaign that is stopped early (--seconds, or Ctrl-C) has tried all cases.

Run:  python tests/campaigns/error_campaign.py                every call of every case
      python tests/campaigns/error_campaign.py --every 40     one run of so many, drawn by the seed
      python tests/campaigns/error_campaign.py --only merge
      python tests/campaigns/error_campaign.py --every 100 --broken write     must find faults: see broken.py
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import errno
import gc
import hashlib
import importlib
import json
import os
import random
import re
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.broken import BROKEN
from campaigns.disk_errors import FROM_THERE, KINDS, ONCE, SHORT, in_memory, is_preloaded, preload

TAKES_ROOM = frozenset({"create", "write", "fsync", "rename", "link", "mkdir"})
CHANGES = TAKES_ROOM | {"unlink", "ftruncate", "chmod", "rmdir"}
NAMES = frozenset({"open", "create", "unlink", "rename", "link", "mkdir", "opendir", "stat", "chmod", "rmdir", "flock"})
NOT_FLUSHED_ON_PURPOSE = re.compile(r"(writer\.lock|hulls\.(?:sizes|ids)|last_open\.txt|.*\.log)$")


@attrs.frozen
class Way:
    """How calls are refused: which error, which kinds of call, and whether once or from there on."""

    name: str
    error: int
    kinds: frozenset[str]
    how: int = ONCE


WAYS = (
    Way("full once", errno.ENOSPC, TAKES_ROOM),
    Way("full from there on", errno.ENOSPC, TAKES_ROOM, FROM_THERE),
    Way("half a write, then full", errno.ENOSPC, frozenset({"write"}), SHORT),
    Way("I/O error once", errno.EIO, frozenset(KINDS)),
    Way("I/O errors from there on", errno.EIO, frozenset(KINDS), FROM_THERE),
    Way("no permission once", errno.EACCES, NAMES),
    Way("read-only from there on", errno.EROFS, CHANGES, FROM_THERE),
)
FAULTS = ("lost", "untrue", "not flushed", "speechless", "hidden", "stuck")


@attrs.frozen(kw_only=True)
class Outcome:
    """How a run ended: exit status, what it printed, and the calls written down."""

    status: int
    out: str
    err: str
    calls: tuple[tuple[str, str, str, str], ...]

    def __str__(self) -> str:
        return f"exit {self.status}: {self.out.strip()!r} {self.err.strip()!r}"

    @property
    def failed(self) -> bool:
        """Whether a call was refused in it."""
        return any(what == "refused" for _, what, _, _ in self.calls)


@attrs.define
class Tally:
    """What a campaign counted, and what it found.

    meant : runs of every call in every way it can be refused
    tried : of those, how many were run
    runs : in which a call was refused; another program may have made it before, in the undisturbed run
    said : of those, how many ended with exit status 0, all of it done although a call was refused
    kept : how many said that it was not saved and had it on the disk all the same, which a refused flush can do
    """

    seed: int
    cases: int = 0
    calls: int = 0
    meant: int = 0
    tried: int = 0
    runs: int = 0
    done: int = 0
    kept: int = 0
    found: Counter[str] = attrs.field(factory=Counter)
    told: list[str] = attrs.field(factory=list)

    def __str__(self) -> str:
        faults = ", ".join(f"{self.found[fault]} {fault}" for fault in FAULTS)
        return (
            f"errors: {self.cases} cases, {self.calls} calls, {self.tried} of {self.meant} runs tried, {self.runs} "
            f"with a call refused, {self.done} of them did it all the same, {self.kept} said no and had it on the "
            f"disk, {faults} (seed {self.seed})"
        )


def run(case: Case, folder: Path, way: Way | None = None, number: int = 0) -> Outcome:
    """Run a case in a child process; with a way, the so manieth call of its kinds is refused."""
    notes, out, err = (folder.with_name(f"{folder.name}.{name}") for name in ("calls", "out", "err"))
    child = os.fork()
    if not child:
        _in_child(case, folder, way, number, (notes, out, err))
    _, status = os.waitpid(child, 0)
    lines = (line.split("\t") for line in notes.read_text(errors="replace").splitlines())
    calls = tuple((kind, what, path, to) for kind, what, path, to in lines)
    said = (path.read_text(errors="replace") for path in (out, err))
    return Outcome(status=os.waitstatus_to_exitcode(status), out=next(said), err=next(said), calls=calls)


def _in_child(case: Case, folder: Path, way: Way | None, number: int, files: Sequence[Path]) -> None:
    """Does not return. What no command would catch ends with status 70 and a traceback."""
    import click

    from garboard.faults import GarboardError, in_words

    notes, out, err = (os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600) for file in files)
    os.dup2(out, 1)
    os.dup2(err, 2)
    sys.stdout, sys.stderr = (os.fdopen(number, "w", errors="replace") for number in (1, 2))
    mask = sum(1 << KINDS.index(kind) for kind in (way.kinds if way else KINDS))
    code, how = (way.error, way.how) if way else (0, ONCE)
    ended = 0
    try:
        ctypes.CDLL(None).disk_errors(os.fsencode(folder / case.fails_in), mask, number, code, how, notes)
        case.run(folder)
    except SystemExit as end:
        ended = end.code if isinstance(end.code, int) else 1
    except (GarboardError, OSError) as failure:  # as the command line and the app tell it
        click.echo(in_words(failure), err=True)
        ended = 2
    except BaseException:
        traceback.print_exc()
        ended = 70
    finally:
        with contextlib.suppress(BaseException):
            sys.stdout.flush()
            sys.stderr.flush()
        if way is None:
            _modules_of(folder).write_text("\n".join(sys.modules))
        os._exit(ended)


def _modules_of(folder: Path) -> Path:
    return folder.with_name(f"{folder.name}.modules")


def _load_what_it_loads(folder: Path) -> None:
    """What an undisturbed run loaded, loaded once for all runs to come: most of the time of a run went there."""
    for name in _modules_of(folder).read_text().splitlines():
        with contextlib.suppress(Exception):  # a shop's own plugin, which no other run is to find loaded
            importlib.import_module(name)


def numbers_of(way: Way, calls: Sequence[tuple[str, str, str, str]]) -> range:
    """Which calls of an undisturbed run a way can refuse, from 1."""
    return range(1, 1 + sum(kind in way.kinds for kind, _, _, _ in calls))


class Oracle:
    """What a case does, seen in an undisturbed run, and what is wrong with a disturbed one."""

    def __init__(self, case: Case, made: Path, folder: Path) -> None:
        self.case, self.made = case, made
        shutil.copytree(made, folder)
        self.before = entries_in(folder)
        self.attachments = _sound_attachments(folder)
        self.undisturbed = run(case, folder)
        _load_what_it_loads(folder)
        self.jobs = _jobs_shown(folder)
        self.expected = self._effect(folder)
        self.status = self.undisturbed.status
        shutil.rmtree(folder)

    def judge(self, folder: Path, way: Way, number: int, tally: Tally) -> None:
        """Run once with a call refused, look, run again undisturbed, and look again."""
        shutil.copytree(self.made, folder)
        outcome = run(self.case, folder, way, number)
        if outcome.failed:
            tally.runs += 1
            faults = [*self._faults(folder, outcome, tally)]
            again = run(self.case, folder)
            if not self._is_done(folder):
                faults.append(f"stuck: {again}")
            elif lost := self._lost(folder):
                faults.append(f"lost: after the second run {lost}")
            for fault in faults:
                tally.found[fault.partition(":")[0]] += 1
                refused = next(call for call in outcome.calls if call[1] == "refused")
                place = f"{refused[0]} {refused[2].removeprefix(str(folder))} {refused[3].removeprefix(str(folder))}"
                tally.told.append(f"{self.case.name}, {way.name} at {number} ({place}): {fault}\n    {outcome}")
        shutil.rmtree(folder)

    def _faults(self, folder: Path, outcome: Outcome, tally: Tally) -> Iterator[str]:
        is_done = self._is_done(folder)
        if lost := self._lost(folder):
            yield f"lost: {lost}"
        claimed = [claim for claim in self.case.claims if claim in outcome.out]
        if outcome.status == 0:
            tally.done += is_done
            if not is_done:
                yield f"untrue: exit status 0; {self._lacking(folder)}"
            elif loose := [*unflushed(outcome.calls)]:
                yield f"not flushed: {loose}"
        elif claimed and not (is_done and outcome.status == self.status):
            yield f"untrue: {claimed}"
        elif outcome.status == 70 or not (outcome.err.strip() or outcome.out.strip()) or outcome.status < 0:
            yield f"speechless: {outcome.status} {outcome.err[-600:]}"
        else:
            tally.kept += is_done and outcome.status != self.status
        if hidden := sorted(self.jobs & _jobs_shown(folder, self.before) ^ self.jobs & _jobs_of(self.before)):
            yield f"hidden: {hidden}"

    def _lost(self, folder: Path) -> list[str]:
        gone = [*(self.before.keys() - entries_in(folder).keys())]
        return [*gone, *(self.attachments - _sound_attachments(folder))]

    def _is_done(self, folder: Path) -> bool:
        return not self._lacking(folder)

    def _lacking(self, folder: Path) -> list[str]:
        return [*map(str, (self.expected - self._effect(folder)).elements())]

    def _effect(self, folder: Path) -> Counter[str]:
        """What a run added, without what is new each time: ids, times, and names drawn at random."""
        known = _jobs_of(self.before)
        added: Counter[str] = Counter()
        for place, entry in entries_in(folder).items():
            if place not in self.before:
                job = entry["job"] if entry["job"] in known or str(entry["job"]).startswith("job-") else "new"
                plain = [place.split()[0], entry["hull"], entry["kind"], job, entry["subject"], entry["value"]]
                added[json.dumps(plain, sort_keys=True)] += 1
        added.update(_sound_attachments(folder) - self.attachments)
        return added + _documents(folder)


def unflushed(calls: Sequence[tuple[str, str, str, str]]) -> Iterator[str]:
    """What stands in a file, or as a name in a folder, and was not flushed since; or was flushed in vain.

    After a refused fsync a system may have dropped what was written before: to flush once more saves nothing then.
    """
    dirty: dict[str, str] = {}
    names: dict[str, set[str]] = {}
    for kind, what, path, to in calls:
        parent = str(Path(path).parent)
        if kind == "fsync" and what == "refused" and path in dirty:
            dirty[path] = "flushed in vain"
        elif what != "done":
            continue
        elif kind in ("create", "mkdir"):
            names.setdefault(parent, set()).add(path)
        elif kind == "write":
            dirty[path] = dirty.get(path, "not flushed")
        elif kind == "ftruncate":
            dirty.pop(path, None)
        elif kind == "fsync":
            if dirty.get(path) != "flushed in vain":
                dirty.pop(path, None)
            names.pop(path, None)
        elif kind in ("rename", "link"):
            names.setdefault(str(Path(to).parent), set()).add(to)
            if kind == "rename":
                _forget(names, path)
                dirty.pop(to, None)
                if path in dirty:
                    dirty[to] = dirty.pop(path)
        elif kind in ("unlink", "rmdir"):
            dirty.pop(path, None)
            _forget(names, path)
    for path, why in dirty.items():
        if not NOT_FLUSHED_ON_PURPOSE.search(path):
            yield f"{path}: {why}"
    for path in (name for found in names.values() for name in found):
        if not NOT_FLUSHED_ON_PURPOSE.search(path):
            yield f"{path}: its name is not flushed"


def _forget(names: dict[str, set[str]], path: str) -> None:
    names.get(str(Path(path).parent), set()).discard(path)


def _sound_attachments(folder: Path) -> set[str]:
    return {
        f"{path.parent.parent.relative_to(folder)} {path.name}"
        for path in folder.rglob("attachments/*")
        if path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == path.name
    }


def _documents(folder: Path) -> Counter[str]:
    """What stands in the documents beside hull files, each once; and files a command writes out.

    One that could not be read is set aside whole and said to be: what stands in it counts as kept.
    """
    found: Counter[str] = Counter()
    for path in sorted([*folder.rglob("*.json"), *folder.rglob("*.json.damaged-*")]):
        name = str(path.relative_to(folder)).partition(".damaged-")[0]
        if path.parent.name in ("documents", "shop", "shop-server") or path.name == "register.json":
            with contextlib.suppress(ValueError):
                _take(json.loads(path.read_bytes()), name, found)
        elif path.parts[-2] == "out":
            found[f"out {path.name}"] = 1
    found.update(f"out {path.name}" for form in ("jpg", "pdf") for path in folder.glob(f"out/*.{form}"))
    found.update(f"{path.relative_to(folder)}" for path in folder.rglob("moved.txt"))
    return found


def _take(plain: object, where: str, found: Counter[str]) -> None:
    if isinstance(plain, dict):
        for key, inner in plain.items():
            _take(inner, f"{where} {key}", found)
    elif isinstance(plain, str) and len(plain) < 40 and not re.fullmatch("[0-9a-f]{12}", plain):
        found[f"{where} {plain}"] = 1


def _jobs_of(entries: dict[str, dict[str, object]]) -> set[str]:
    return {str(entry["job"]) for entry in entries.values() if entry["kind"] == "measure"}


def _jobs_shown(folder: Path, among: dict[str, dict[str, object]] | None = None) -> set[str]:
    """The jobs some boat of some folder shows; of those given only."""
    from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
    from garboard.history.boat import open_hull

    shown: set[str] = set()
    for place in {path.parent for path in folder.rglob(HULLS_FOLDER) if path.is_dir()}:
        with HullFolder(place, read_only=True) as hulls:
            boats = [open_hull(hulls, hull) for hull in hulls.boats()]
            shown |= {job for boat in boats for job in boat.jobs}
            jobs = _jobs_of(among) if among is not None else set()
            shown |= {job for job in jobs for boat in boats if boat.joined(job) in boat.jobs}
    return shown if among is None else shown & _jobs_of(among)


def campaign(where: Path, seed: int, every: int = 1, only: str = "", seconds: float = 0) -> Tally:
    """Refuse each call of each case; of every so many runs one, drawn by the seed."""
    tally, rng, began = Tally(seed), random.Random(seed), time.monotonic()
    waiting: list[tuple[Oracle, Path, Way, int]] = []
    for index, case in enumerate(case for case in CASES if only in case.name):
        made, folder = where / f"{index}" / "made", where / f"{index}" / "case"
        made.mkdir(parents=True)
        case.make(made)
        oracle = Oracle(case, made, folder)
        tally.cases += 1
        tally.calls += len(oracle.undisturbed.calls)
        loose = [*unflushed(oracle.undisturbed.calls)]
        if loose or oracle.status != case.status:
            tally.found["not flushed" if loose else "untrue"] += 1
            tally.told.append(f"{case.name}, undisturbed: {oracle.undisturbed} {loose}")
        for way in WAYS:
            waiting += [(oracle, folder, way, number) for number in numbers_of(way, oracle.undisturbed.calls)]
    tally.meant = len(waiting)
    rng.shuffle(waiting)
    gc.collect()
    gc.freeze()  # a child's search for garbage would write on, and so copy, every page of memory it shares
    with contextlib.suppress(KeyboardInterrupt):
        for oracle, folder, way, number in waiting[: -(-len(waiting) // every)]:
            if 0 < seconds < time.monotonic() - began:
                break
            told = len(tally.told)
            oracle.judge(folder, way, number, tally)
            tally.tried += 1
            if tally.told[told:] or tally.tried % 100 == 0:
                print("\n".join([*tally.told[told:], str(tally)]), file=sys.stderr, flush=True)
    return tally


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--every", type=int, default=1, help="one run of so many")
    options.add_argument("--only", default="", help="the cases whose names contain this")
    options.add_argument("--seconds", type=float, default=0, help="begin no run after so long")
    options.add_argument("--seed", type=int, default=20261129)
    options.add_argument("--broken", choices=BROKEN, help="a program broken on purpose, which must be found out")
    chosen = options.parse_args()
    preload()
    if chosen.broken:
        BROKEN[chosen.broken]()
    with tempfile.TemporaryDirectory(dir=in_memory()) as where:
        tally = campaign(Path(where), chosen.seed, chosen.every, chosen.only, chosen.seconds)
    print("\n".join([*tally.told, str(tally)]))
    return int(bool(tally.found))


if __name__ != "__main__" or is_preloaded():
    from campaigns.error_cases import CASES, Case, entries_in

if __name__ == "__main__":
    sys.exit(main())
