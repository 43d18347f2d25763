"""Entries of shapes nobody expects, through taking in and replay, and some through the report, the book and an export.

About half of the entries are random, half are real ones of the sample jobs with something changed. For every one:

- It is taken in as it came, or refused with a reason. `read_entry` and `hull_key_of` agree on which.
- What is taken in is replayed. Every entry is then in a register, or of a kind not known, or counted as no entry.
- Each of the boat's jobs can be viewed. Nothing raises.

So many entries, at most 1 000 of a boat, go through a folder's own files too, and its jobs through findings, book and
export. The oracle there is a second boat in the same folder: it must be judged as before, to the letter. They also go
through the shop's pages: the day sheet, the boat's page, the search, the tables, the book. There the pages of the other
boats must be as before, to the letter.

Run:  python tests/campaigns/shapes_campaign.py --number 20000
      python tests/campaigns/shapes_campaign.py --long          (1 000 000)
      python tests/campaigns/shapes_campaign.py --long --seconds 300
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

sys.path.insert(0, str(Path(__file__).parents[1]))

from garboard.demo.samples_folder import sample_job_files
from garboard.disk.entries import Entry, canonical_bytes, entry_id, hull_key_of, read_entry, view
from garboard.disk.hullfile import CheckedEntries, HullFolder
from garboard.faults import InputError
from garboard.history.boat import open_entries, open_hull
from garboard.history.exchange import export_job, import_job
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import read_job_file
from garboard.judging.assessing import assess_path
from garboard.report.book import handover_book
from histories import tablet
from hostile_entries import hostile
from pages_rig import KITTIWAKE, LONG_REACH, NOON, SALTGRASS, Pages, light_passwords, make_shop

SEED = 20261129
OF_A_BOAT = 500
THROUGH_FILES = 1000
"""Entries of one boat that go through files, findings, book and export."""
MOST_BOOKS = 2
"""Of each thousand entries; the pages print two more. Books took nine tenths of the time when there were six."""
HULL = "QQZ00001A626"


def real_entries(folder: Path) -> list[bytes]:
    """The entries of every sample job, as if they were of one boat."""
    with HullFolder(folder) as hulls:
        for file in sample_job_files():
            import_job(hulls, read_job_file(file), file.parent, tablet("a").author)
        return [
            canonical_bytes({**json.loads(raw), "hull": HULL}) for h in hulls.boats() for raw in hulls.get(h).values()
        ]


def taken_in(raw: bytes) -> Entry | None:
    """The entry, or None where it is refused; the quick check and the thorough one must agree."""
    try:
        entry = read_entry(raw)
    except InputError:
        try:
            hull_key_of(raw)
        except InputError:
            return None
        raise AssertionError(f"one check refuses what the other takes: {raw[:200]!r}") from None
    assert hull_key_of(raw) == entry.hull_key
    assert view(entry.id, raw).fields == entry.fields
    return entry


def replayed(entries: Sequence[Entry], seen: Counter[str]) -> None:
    """Replay a boat and view its jobs; every entry must be somewhere."""
    boat = open_entries(lambda hull: entries if hull == HULL else (), HULL)
    state = boat.state
    placed = {name for register in state.registers.values() for name in register.entries}
    placed |= state.unknown.keys() | state.no_entries.keys()
    assert placed == {entry.id for entry in entries}
    seen["cannot be read"] += sum(len(register.misfits) for register in state.registers.values())
    seen["not known"] += len(state.unknown)
    for job in ("", *boat.jobs):
        boat.view(job)
        seen["views"] += 1


def through_files(folder: Path, raws: Sequence[bytes], host: PluginHost, chance: random.Random) -> int:
    """A folder with one sound boat and a hostile one: the sound one is judged as before. Returns the books made."""
    sample = sample_job_files()[0]
    with HullFolder(folder) as hulls:
        import_job(hulls, read_job_file(sample), sample.parent, tablet("a").author)
    (sound,) = assess_path(folder, host)
    assert not isinstance(sound, InputError)
    with HullFolder(folder) as hulls:
        hulls.put_if_absent(HULL, raws)
    jobs = [*assess_path(folder, host)]
    assert all(not isinstance(one, InputError) for one in jobs)
    found = [one for one in jobs if not isinstance(one, InputError)]
    number = sound.view.vessel.hull_number
    assert [one.assessed for one in found if one.view.vessel.hull_number == number] == [sound.assessed]
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, HULL)
        ids = [*boat.jobs]
        for place, job in enumerate(chance.sample(ids, min(len(ids), MOST_BOOKS))):
            export_job(hulls, boat, job, folder / "out" / str(place))  # an export takes no other job's file away
    chosen = chance.sample(found, min(len(found), MOST_BOOKS))
    for one in chosen:
        assert handover_book(one.view, host, one.assessed, "letter").startswith(b"%PDF")
    return len(chosen)


def through_pages(folder: Path, raws: Sequence[bytes], host: PluginHost, chance: random.Random) -> int:
    """A shop with a day in it and a hostile boat: every page opens, the others' are as before. Returns the pages."""
    base = folder / "day"
    base.mkdir()
    with light_passwords(), Pages(make_shop(base), host) as pages:
        manager = pages.signed_in()
        others = [f"/boats/{hull}" for hull in (SALTGRASS, KITTIWAKE, LONG_REACH)]
        before = [manager.text(address) for address in others]
        given = CheckedEntries((entry_id(raw), raw) for raw in raws)
        pages.store.put_if_absent({HULL: given}, "000000000001", NOON, 0)
        pages.desk.index.refresh()
        summary = pages.desk.summaries.of(HULL)
        assert summary is not None
        jobs = [one.id for one in summary.jobs]
        addresses = [
            *("/days/2026-11-25", f"/boats/{HULL}", f"/boats?q={HULL}", "/measurements.csv", "/measurements.xlsx"),
            *(f"/boats/{HULL}/jobs/{quote(job, safe='')}/book.pdf" for job in chance.sample(jobs, min(len(jobs), 2))),
        ]
        for address in addresses:
            assert manager.get(address).status_code == 200, address
        assert [manager.text(address) for address in others] == before
    return len(addresses)


def main() -> None:
    """Run the campaign and print what was counted."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--number", type=int, default=20_000, help="entries through taking in and replay")
    parser.add_argument("--long", action="store_true", help="1 000 000 of them")
    parser.add_argument(
        "--files", type=int, default=2_000, help="of these so many through files, pages, book and export"
    )
    parser.add_argument("--seconds", type=float, default=0, help="stop after so long, and say how far it came")
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args()
    wanted = 1_000_000 if options.long else options.number
    chance, seen, began = random.Random(options.seed), Counter[str](), time.monotonic()
    host = make_host(entry_points=False)
    with tempfile.TemporaryDirectory() as place:
        real = real_entries(Path(place) / "samples")
        for number in range(-(-options.files // THROUGH_FILES)):
            raws = [*hostile(chance, HULL, real, THROUGH_FILES)]
            seen["books"] += through_files(Path(place) / str(number), raws, host, chance)
            seen["pages"] += through_pages(Path(place) / str(number), raws, host, chance)
            seen["through files and pages"] += len(raws)
            print(f"{seen['through files and pages']} through files and pages", file=sys.stderr, flush=True)
        while seen["entries"] < wanted and not 0 < options.seconds < time.monotonic() - began:
            boat: dict[str, Entry] = {}
            for raw in hostile(chance, HULL, real, min(OF_A_BOAT, wanted - seen["entries"])):
                entry = taken_in(raw)
                seen["entries"] += 1
                seen["refused with a reason"] += entry is None
                if entry is not None:
                    assert entry.id == entry_id(raw)
                    boat[entry.id] = entry
            replayed([*boat.values()], seen)
            seen["boats"] += 1
    took = time.monotonic() - began
    print(
        ", ".join(f"{number} {what}" for what, number in sorted(seen.items())), f"in {took:.0f} s, seed {options.seed}"
    )
    print("Nothing raised; the sound boat beside them was judged as before.")


if __name__ == "__main__":
    main()
