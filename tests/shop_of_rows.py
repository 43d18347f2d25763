"""A shop of many boats, each with one entry, one job and its row: what pages over many boats are tried with."""

from __future__ import annotations

from itertools import islice

import attrs

from boat_rows import NOW, jobs, rows
from garboard.disk.entries import canonical_bytes, entry_id
from garboard.disk.hullfile import CheckedEntries
from garboard_shop.boat_rows import DEVIATION, ECONOMY, SLIP, Row, Seen
from garboard_shop.job_rows import A_DAY
from garboard_shop.memory import as_text
from garboard_shop.pages.remembering import Made
from garboard_shop.store import KeptRow, Store

A_BATCH = 1000


def fill_with_rows(store: Store, number: int) -> None:
    """Put so many boats into a shop."""
    both = zip(jobs(number), rows(number), strict=True)
    for batch in range(-(-number // A_BATCH)):
        offered, kept = {}, {}
        for job, boat in islice(both, A_BATCH):
            raw = one_entry(boat.hull, int(job.job.split()[1]), 0)
            offered[boat.hull] = CheckedEntries([(entry_id(raw), raw)])
            made = Made((boat.hull,), {boat.hull: ""}, None, "")
            kept[boat.hull] = KeptRow(made.as_text(), as_text(attrs.evolve(boat, jobs=(job,), seen=seen_of(boat))))
        store.put_if_absent(offered, "000000000001", NOW - A_DAY * (2 + batch), 0)
        store.put_rows(kept)


def seen_of(boat: Row) -> tuple[Seen, ...]:
    """Numbers that were found of a boat, of each kind."""
    slip, economy = 8 + boat.pitch % 7, 1 + boat.weight % 300 / 100
    return Seen(SLIP, slip, 5.0, 13.5), Seen(ECONOMY, economy), Seen(DEVIATION, boat.length)


def one_entry(hull: str, number: int, place: int) -> bytes:
    """An entry of a boat: its name, or at a later place a speed."""
    fields: dict[str, object] = {
        "v": 1,
        "kind": "measure" if place else "field",
        "hull": hull,
        "job": f"job {number}",
        "subject": ["prop_check.full_throttle", "speed", str(place), ""] if place else ["name"],
        "value": f"{20 + place % 20}.{place % 10} kn" if place else f"Boat {number}",
        "replaces": [],
        "dev": "tablet 1",
        "by": "R. Vane",
        "clock": [NOW - A_DAY, place],
        "at": f"2026-10-{1 + number % 28:02}T10:00:00+00:00",
        "program": "1",
        "plugins": {},
    }
    return canonical_bytes(fields)  # type: ignore[arg-type]
