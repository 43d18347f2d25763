"""Rows of the shop's memory by a generator: invented boats whose propellers follow from weight and power."""

from __future__ import annotations

import random
from collections.abc import Iterator

from garboard_shop.boat_rows import Row
from garboard_shop.job_rows import A_DAY, JobRow

FORMS = ("planing", "planing", "planing", "flat bottom hard chine", "multihull")


def hull_of(number: int) -> str:
    return f"QQZ{number:05d}A626"


def rows(number: int, seed: int = 15) -> Iterator[Row]:
    """So many boats of one seed: the longer the heavier and stronger, the faster the more pitch."""
    chance = random.Random(seed)
    for each in range(number):
        length = chance.uniform(4.5, 9.5)
        engines = 2 if length > 7.5 and chance.random() < 0.5 else 1
        weight = 20 * length**2.2 * chance.uniform(0.85, 1.2)
        power = chance.choice((30, 45, 60, 75, 85, 110, 150, 190, 220)) * float(engines)
        pitch = round(8 + 8 * (power / weight * 10) ** 0.5 + chance.gauss(0, 0.8))
        yield Row(
            hull=hull_of(each),
            hull_form=chance.choice(FORMS),
            length=round(length, 2),
            weight=round(weight, 1),
            power=power,
            engines=engines,
            gear_ratio=chance.choice((1.75, 1.85, 2.0, 2.33)),
            pitch=float(pitch),
            diameter=round(16 - pitch / 8, 2),
            blades=chance.choice((3, 3, 4)),
            engine_speed=chance.uniform(5200, 6000),
            is_kept=chance.random() < 0.9,
        )


NAMES = ("Kestrel", "Plover", "Sandling", "Tern", "Wherry", "Dunlin", "Petrel", "Avocet")
MODELS = ("Quarry Cove Shoal 195", "Quarry Cove Ledge 26", "Far Bank 34", "Low Marsh 17")
RIGGERS = ("R. Vane", "N. Sorrel", "T. Quill")
TABLETS = ("tablet 1", "tablet 2", "tablet 3")
CODES = ("wiring_audit.drop_measured.too_much", "prop_check.window.below", "wiring_audit.labels.unlabelled")
STATES = ("to settle", "handed over", "failing", "ready", "in work", "not begun")
NOW = 1_795_608_000_000
"""2026-11-25 12:00 UTC [ms]."""


def job(number: int) -> JobRow:
    """Each in turn of every state, model, rigger and code, so that each list's length is known; see `jobs`."""
    state = STATES[number % 6]
    code = CODES[number % 3]
    since = NOW - (number % 30) * A_DAY
    return JobRow(
        hull=hull_of(number),
        job=f"job {number}",
        number=hull_of(number),
        numbers=(hull_of(number),),
        name=f"{NAMES[number % 8]} {number}",
        kind="commissioning",
        model=MODELS[number % 4],
        engine="2 x Northlight NL250",
        propellers=("15.3 x 19",),
        state=state,
        since=since,
        known=since - 10 * A_DAY,
        handed=since if state == "handed over" else 0,
        changed=since,
        phase="under way" if state != "handed over" else "",
        phases=("done", "in work", "not begun") if state != "handed over" else ("done", "done", "done"),
        open="port engine: 5710 rev/min, under 5800" if state == "failing" else "",
        failing=(code,) if state == "failing" else (),
        ever_failed=(code,) if state == "failing" else (),
        writer=RIGGERS[number % 3],
        tablet=TABLETS[number % 3],
        promised=f"2026-{11 + number % 2}-{20 + number % 9}" if number % 5 == 0 else "",
        said_waiting="parts" if state == "failing" and number % 4 == 0 else "",
    )


def jobs(number: int) -> Iterator[JobRow]:
    """So many rows of jobs, one a boat: a sixth in each state."""
    return map(job, range(number))
