"""Merge a tablet's folder written by an older version of the program with a shop's folder of this one, both ways.

Each program writes its own folder. Then, on copies, this program merges the two both ways, and the older one does. No
entry and no attachment may be missing afterwards on either side, nothing may be refused or damaged, and both programs
must give both folders the same digests, over the entries and over the state.

Run:  python tests/campaigns/old_program.py --old OLD_ENVIRONMENT/bin/python
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard.disk.hullfile import HullFolder
from garboard.history.boat import open_hull
from garboard.history.plans import set_aside_of
from histories import HULL as INVENTED
from histories import history, union

SAMPLES = Path(__file__).parents[2] / "sample_jobs"
SALTGRASS, LONG_REACH, KITTIWAKE = "QQZ04417D626", "QQZ01209A626", "QQZ08832B626"
MISTYPED = "QQZO4417D626"
ASIDE = "QQZ07723C626"
"""A boat that only the shop has, with a job set aside. Of Long Reach the tablet brings what the shop had not seen."""
STEP = "prop_check.full_throttle"
SETTING, OTHER_SETTING = "wiring_audit.drop_other", "fuel_curve.reserve"


@attrs.frozen
class Program:
    """A version of the program, as its commands.

    python   : the interpreter it is installed in
    packages : where it is found when it is not installed there; "" when it is
    """

    name: str
    python: str
    packages: str = ""

    def run(self, *arguments: str | Path, where: Path) -> str:
        """What a command prints. A merge that asks a person to look ends with 1; what it found is counted."""
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        environment |= {"PYTHONPATH": self.packages} if self.packages else {}
        command = [self.python, "-m", "garboard", *map(str, arguments)]
        done = subprocess.run(command, cwd=where, env=environment, capture_output=True, text=True, check=False)
        if done.returncode not in ((0, 1) if arguments[0] == "merge" else (0,)):
            raise RuntimeError(f"{self.name}: {' '.join(command[3:])} ended with {done.returncode}:\n{done.stderr}")
        return done.stdout


@attrs.frozen
class Held:
    """What a folder holds: entries by id, by their bytes, and the names of attachments."""

    entries: Mapping[str, bytes]
    attachments: frozenset[str]


@attrs.define
class Tally:
    """What was counted after the merges of one program."""

    merged_by: str
    from_tablet: int = 0
    from_shop: int = 0
    in_both: int = 0
    attachments: int = 0
    hulls: int = 0
    open_again: tuple[bool, ...] = ()
    lost: int = 0
    refused: int = 0
    damaged: int = 0
    unequal: int = 0

    @property
    def is_good(self) -> bool:
        """Something crossed in either direction, and nothing went wrong."""
        crossed = self.from_tablet and self.from_shop and self.attachments
        is_known = self.open_again == (False, True)
        return bool(crossed) and is_known and not (self.lost or self.refused or self.damaged or self.unequal)

    def __str__(self) -> str:
        return (
            f"merged by the {self.merged_by} program: {self.from_tablet} entries only on the older tablet, "
            f"{self.from_shop} only at the shop, {self.in_both} in both folders afterwards, "
            f"{self.attachments} attachments, {self.hulls} hulls: {self.lost} lost, {self.refused} refused, "
            f"{self.damaged} files damaged, {self.unequal} digests unequal; "
            f"of two jobs set aside, open again: {self.open_again}"
        )


def held(folder: Path) -> Held:
    with HullFolder(folder, read_only=True) as hulls:
        entries = {name: raw for hull in hulls.hulls() for name, raw in hulls.get(hull).items()}
        return Held(entries, frozenset(hulls.attachments.names()))


def tablet_of(program: Program, folder: Path) -> None:
    """A day on a tablet: jobs taken in, a value taken back, a boat typed two ways, a job moved, a photo kept."""
    _take_in(program, folder, "saltgrass", "R. Vane")
    _take_in(program, folder, "kittiwake", "R. Vane")
    _under_a_wrong_number(program, folder, "long_reach", "QQZ0I209A626")
    job = _jobs_in(folder)["QQZ0I209A626"]
    why = ("--by", "R. Vane", "--reason", "read off the wrong plate")
    program.run("take-back", folder, SALTGRASS, "vessel/beam", *why, where=folder.parent)
    program.run("same-boat", folder, SALTGRASS, MISTYPED, *why, where=folder.parent)
    program.run("move-job", folder, "QQZ0I209A626", job, "--to", LONG_REACH, *why, where=folder.parent)
    _attach(program, folder, SALTGRASS, "R. Vane")


def shop_of(program: Program, folder: Path) -> None:
    """The shop: the same boats by another hand, two jobs joined, settings, a history with entries of unknown kinds."""
    _take_in(program, folder, "saltgrass", "K. Lind")
    _take_in(program, folder, "long_reach", "K. Lind")
    _take_in(program, folder, "kittiwake", "K. Lind")
    _attach(program, folder, KITTIWAKE, "K. Lind")
    twin = _as_job(folder, "kittiwake", "job", "id", "kittiwake-again")
    program.run("import", twin, "--into", folder, "--by", "K. Lind", where=folder.parent)
    first = next(job for job in _all_jobs_in(folder, KITTIWAKE) if job != "kittiwake-again")
    why = ("--by", "M. Office", "--reason", "one commissioning, opened twice")
    program.run("join-job", folder, KITTIWAKE, "kittiwake-again", "--into", first, *why, where=folder.parent)
    _set(program, folder, first)
    _under_a_wrong_number(program, folder, "saltgrass", ASIDE)
    aside = ("--by", "M. Office", "--reason", "the boat was withdrawn")
    program.run("set-aside", folder, ASIDE, *aside, where=folder.parent)
    program.run("set-aside", folder, LONG_REACH, *aside, where=folder.parent)
    with HullFolder(folder) as hulls:
        for seed in range(20):
            hulls.put_if_absent(INVENTED, union(history(seed)).values())


def _set(program: Program, folder: Path, job: str) -> None:
    """Settings of the shop and of a job, one taken back: the older program knows none."""
    why = ("--by", "M. Office", "--reason", "our own rule")
    program.run("settings", "set", folder, SETTING, "7 %", *why, where=folder.parent)
    program.run("settings", "set", folder, SETTING, "6 %", *why, where=folder.parent)
    program.run("settings", "set", folder, OTHER_SETTING, "15 %", *why, where=folder.parent)
    program.run("settings", "reset", folder, OTHER_SETTING, *why, where=folder.parent)
    of_job = ("--hull", KITTIWAKE, "--job", job)
    program.run("settings", "set", folder, SETTING, "5 %", *of_job, *why, where=folder.parent)


def _take_in(program: Program, folder: Path, sample: str, by: str) -> None:
    program.run("import", SAMPLES / sample / "job.json", "--into", folder, "--by", by, where=folder.parent)


def _under_a_wrong_number(program: Program, folder: Path, sample: str, number: str) -> None:
    job = _as_job(folder, sample, "vessel", "hull_number", number)
    program.run("import", job, "--into", folder, "--by", "R. Vane", "--anyway", where=folder.parent)


def _as_job(folder: Path, sample: str, part: str, name: str, value: str) -> Path:
    """A sample job with one value changed, its recordings beside it."""
    copy = folder.parent / f"{folder.name} {sample} {value}"
    shutil.copytree(SAMPLES / sample, copy)
    plain = json.loads((copy / "job.json").read_text(encoding="utf-8"))
    plain[part][name] = value
    (copy / "job.json").write_text(json.dumps(plain), encoding="utf-8")
    return copy / "job.json"


def _attach(program: Program, folder: Path, hull: str, by: str) -> None:
    photo = folder.parent / f"{folder.name} photo.jpg"
    photo.write_bytes(b"\xff\xd8\xff" + folder.name.encode())
    program.run("attach", folder, hull, STEP, photo, "--by", by, where=folder.parent)


def _all_jobs_in(folder: Path, hull: str) -> list[str]:
    with HullFolder(folder, read_only=True) as hulls:
        return sorted({entry.job for entry in hulls.entries(hull) if entry.job})


def _jobs_in(folder: Path) -> dict[str, str]:
    with HullFolder(folder, read_only=True) as hulls:
        return {hull: _all_jobs_in(folder, hull)[0] for hull in hulls.hulls() if _all_jobs_in(folder, hull)}


def merge_both_ways(by: Program, programs: tuple[Program, Program], tablet: Path, shop: Path) -> Tally:
    """Merge copies of both folders by one program, then count by what was there before and ask both programs."""
    where = Path(tempfile.mkdtemp(dir=tablet.parent))
    copies = [Path(shutil.copytree(folder, where / folder.name)) for folder in (tablet, shop)]
    before = [held(folder) for folder in (tablet, shop)]
    reports = _documents(by.run("merge", copies[0], "--into", copies[1], "--both-ways", "--json", where=where))
    after = [held(folder) for folder in copies]
    every = {**before[0].entries, **before[1].entries}
    attachments = before[0].attachments | before[1].attachments
    digests = {_digests(program, copy, where) for program in programs for copy in copies}
    return Tally(
        merged_by=by.name,
        from_tablet=len(before[0].entries.keys() - before[1].entries.keys()),
        from_shop=len(before[1].entries.keys() - before[0].entries.keys()),
        in_both=len(after[0].entries.keys() & after[1].entries.keys()),
        attachments=len(after[0].attachments & after[1].attachments),
        hulls=len(reports[0]["hulls"]),
        open_again=tuple(_is_open_again(copies[1], hull) for hull in (ASIDE, LONG_REACH)),
        lost=sum(
            sum(there.entries.get(name) != raw for name, raw in every.items()) + len(attachments - there.attachments)
            for there in after
        ),
        refused=sum(len(one["refused"]) for one in reports),
        damaged=sum(len(one["damage"]) for one in reports),
        unequal=len(digests) - 1,
    )


def _digests(program: Program, folder: Path, where: Path) -> str:
    """Of each hull the digests of its entries and of its state; an older program prints both without being asked."""
    asked = ["--state"] if "--state" in program.run("digest", "--help", where=where) else []
    return json.dumps(json.loads(program.run("digest", folder, "--json", *asked, where=where))["hulls"])


def _is_open_again(folder: Path, hull: str) -> bool:
    """Whether this program has a job that was set aside open again, as something came that its manager had not seen."""
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, hull)
        asides = [set_aside_of(boat.state_of(job), [job]) for job in boat.jobs]
        return not all(aside.holds for aside in asides if aside is not None)


def _documents(text: str) -> list[Any]:
    """A merge both ways prints one JSON document for each direction, one after the other."""
    found: list[Any] = []
    decoder, rest = json.JSONDecoder(), text.strip()
    while rest:
        document, end = decoder.raw_decode(rest)
        found.append(document)
        rest = rest[end:].strip()
    return found


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--old", required=True, help="the Python that the older program is installed in")
    options.add_argument("--checkout", help="a checkout of the older version, run by that Python", default="")
    chosen = options.parse_args()
    parts = (Path(chosen.checkout).absolute() / part for part in ("core", "plugins", "tablet_app"))
    packages = os.pathsep.join(map(str, parts)) if chosen.checkout else ""
    old = Program("older", str(Path(chosen.old).absolute()), packages)
    new = Program("present", sys.executable, os.pathsep.join(path for path in sys.path if path))
    with tempfile.TemporaryDirectory() as folder:
        tablet, shop = Path(folder) / "tablet", Path(folder) / "shop"
        tablet_of(old, tablet)
        shop_of(new, shop)
        tallies = [merge_both_ways(by, (old, new), tablet, shop) for by in (new, old)]
    print("\n".join(map(str, tallies)))
    return int(not all(tally.is_good for tally in tallies))


if __name__ == "__main__":
    sys.exit(main())
