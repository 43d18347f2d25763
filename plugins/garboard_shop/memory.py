"""The shop's memory: one row a boat with one for each of its jobs, and what boats like another finally kept. Nothing
about an owner is in it.

A row is made of a boat's summary when its digest changes, and kept beside the store; it can be made again at any time.
It says in short what any list of the shop's boats needs, so that no list assesses a hundred thousand of them.
"""

from __future__ import annotations

import math
import statistics
import threading
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs

from garboard.disk.entries import canonical_bytes
from garboard.disk.json_text import read_json
from garboard.findings import Finding, Verdict, in_full, rounded
from garboard.history.boats_alike import KindOfBoat
from garboard.records import Engine, JsonValue, Propeller, Vessel
from garboard.steps import Assessed
from garboard.units import Amount, convert
from garboard_shop.boat_rows import DEVIATION, ECONOMY, FORECAST, SLIP, Row, Seen
from garboard_shop.insight_counts import Counts
from garboard_shop.job_rows import JobRow, Past, as_plain, of_plain, pasts_in

if TYPE_CHECKING:
    from garboard_shop.pages.summaries import BoatSummary, JobSummary

MADE_AS = 9
"""Another number with each change of what a row says: rows made as another are made again."""

WINDOW_CODES = "prop_check.window."
KEEP = "prop_check.pitch.keep"
HELD, MISSED = "prop_check.forecast.held", "prop_check.forecast.missed"
ENGINE_SPEED = "engine speed"

ALIKE = {"length": 0.12, "weight": 0.25, "power": 0.15, "gear_ratio": 0.10}
"""By what share two boats may differ and still be alike, each of these taken as one standard deviation; assumed."""
ALIKE_UP_TO = 2.0
"""Boats further apart are not alike [-], in those deviations together."""
FEWEST = 5
"""Of fewer boats nothing is said: it would be one boat's propeller."""
BIN, MOST_KINDS = 0.2, 300
"""How wide a kind is in power and length, as logarithms [-], and how many kinds tablets are told: some 20 KB."""
BIN_OF_RATIO, _NO_RATIO = 0.1, -1_000
"""How wide it is in gear ratio, as a logarithm [-]: a tenth more ratio takes a tenth more pitch."""
MOST_NEWER = 200
"""Rows that stand apart from the columns."""
JUDGED_FROM = 20
"""Forecasts from which on the shop's score says something."""


@attrs.frozen
class _Sought:
    """Where a number to remember is found: calculators that may give it, its names, the best first, and its unit.

    of_size : whether its size counts, whichever way it goes
    """

    what: str
    calculators: tuple[str, ...]
    names: tuple[str, ...]
    unit: str
    of_size: bool = False


_SOUGHT = (
    _Sought(SLIP, ("prop_check.slip",), ("slip by the stamped pitch", "slip"), "%"),
    _Sought(ECONOMY, ("fuel_curve.best_cruise",), ("economy",), "nm/gal"),
    _Sought(
        DEVIATION,
        ("heading_calibration.swing", "heading_calibration.straight_runs"),
        ("largest deviation", "largest deviation read"),
        "deg",
        of_size=True,
    ),
)


def row_of(summary: BoatSummary) -> Row:
    """The row of a boat under the first of its numbers: a boat with several has one row. Those of its jobs are
    `job_rows.job_rows`, which need what the shop knew before.

    Its numbers are in the units they were found in, whatever the boat is told in: only so do many boats compare.
    What it finally turned is of the job opened last in which it was run: an earlier one had other runs. What numbers
    count is of the jobs that are not set aside.
    """
    found = [one.finding for job in summary.jobs for one in job.judged]
    in_order = sorted(summary.jobs, key=lambda job: job.view.job.opened)
    last = next((job for job in reversed(in_order) if _windows(job)), None)
    windows = _windows(last) if last else []
    vessel = summary.boat.vessel()
    counted = [job.judged for job in in_order if not job.is_set_aside]
    score = Counter(one.finding.code for assessed in counted for one in assessed if not one.finding.doubted)
    return attrs.evolve(
        of_vessel(min(summary.boat.state.hull_keys), vessel),
        engine_speed=_mean(_engine_speeds(windows)),
        is_kept=last is not None
        and any(one.finding.code == KEEP for one in last.judged)
        and len(windows) >= len(vessel.engines) > 0
        and all(one.verdict is Verdict.PASS for one in windows),
        state="ready" if summary.jobs and all(job.is_ready for job in summary.jobs) else "in work",
        codes=tuple(sorted({one.code for one in found if one.verdict in (Verdict.FAIL, Verdict.ADVISE)})),
        forecasts=score[HELD] + score[MISSED],
        held=score[HELD],
        seen=tuple(_seen(counted)),
    )


def _seen(jobs: Sequence[Sequence[Assessed]]) -> Iterator[Seen]:
    """Numbers worth comparing over the shop's boats, and every forecast that was put to the test."""
    for sought in _SOUGHT:
        of_jobs = ([seen for one in assessed if (seen := _one_seen(sought, one))] for assessed in reversed(jobs))
        found = next((of_one for of_one in of_jobs if of_one), [])
        yield from [max(found, key=lambda seen: (seen.is_outside, seen.value))] if found else []
    for finding in (one.finding for assessed in jobs for one in assessed):
        if finding.code in (HELD, MISSED) and not finding.doubted and finding.numbers and finding.limits:
            number, limit = finding.numbers[0], finding.limits[0]
            yield Seen(FORECAST, float(rounded(number.value, 1)), limit.low, limit.high)


def _one_seen(sought: _Sought, one: Assessed) -> Seen | None:
    if one.calculator not in sought.calculators or one.finding.doubted:
        return None
    numbers = {number.name: number for number in one.finding.numbers}
    number = next((numbers[name] for name in sought.names if name in numbers), None)
    if number is None:
        return None
    limit = next((limit for limit in one.finding.limits if limit.number == number.name), None)
    ends = (limit.low, limit.high) if limit else (None, None)
    try:
        value, low, high = (
            None if end is None else round(_in_unit(end, number.unit, sought.unit), 3) for end in (number.value, *ends)
        )
    except ValueError:  # in a unit of another kind: fuel for a mile is no miles for fuel
        return None
    if value is None:
        return None
    is_beyond = not all(limit.holds(other.value) for other, limit in one.finding.bounded)
    return Seen(sought.what, abs(value) if sought.of_size else value, low, high, is_beyond)


def _in_unit(value: float, unit: str, wanted: str) -> float:
    return value if unit == wanted else convert(value, unit, wanted)


def _windows(job: JobSummary) -> list[Finding]:
    """What was found of the engine speeds of a job, where anything was."""
    found = (one.finding for one in job.judged)
    return [one for one in found if one.code.startswith(WINDOW_CODES) and one.verdict is not Verdict.NOT_ENOUGH_DATA]


def of_vessel(hull: str, vessel: Vessel) -> Row:
    """What a row says of the boat itself, before anything was run."""
    powers = [engine.rated_power for engine in vessel.engines]
    first = vessel.engines[0] if vessel.engines else None
    propeller = (_propeller(vessel, first) if first else None) or Propeller()
    return Row(
        hull=hull,
        hull_form=vessel.hull_form,
        length=_number(vessel.length, "m"),
        weight=_number(vessel.displacement_as_run, "kg"),
        power=math.fsum(_number(power, "kW") for power in powers) if all(powers) else 0.0,
        engines=len(vessel.engines),
        gear_ratio=_number(first.gear_ratio if first else None, ""),
        pitch=_number(propeller.pitch, "in"),
        diameter=_number(propeller.diameter, "in"),
        blades=propeller.blades or 0,
    )


def _propeller(vessel: Vessel, engine: Engine) -> Propeller | None:
    named = vessel.pieces["propellers"].get(engine.fitted)
    return named if isinstance(named, Propeller) else engine.propeller


def _engine_speeds(windows: Iterable[Finding]) -> list[float]:
    numbers = (number for one in windows for number in one.numbers)
    return [number.value for number in numbers if number.name == ENGINE_SPEED and number.unit == "rev/min"]


def _mean(values: Sequence[float]) -> float:
    return float(rounded(math.fsum(values) / len(values), 1)) if values else 0.0


def _number(amount: Amount | None, unit: str) -> float:
    value = amount.to(unit) if amount else 0.0
    return round(value, 4) if math.isfinite(value) and value > 0 else 0.0


# --- as it is kept

_NUMBERS, _TEXTS, _COUNTS, _YES_OR_NO = (
    tuple(field.name for field in attrs.fields(Row) if field.type in (kind, kind.__name__))
    for kind in (float, str, int, bool)
)
_LISTS = ("codes", "jobs", "seen")


def as_text(row: Row) -> str:
    """A row as a store keeps it: numbers as text, as everything a shop keeps."""
    told = attrs.asdict(row, recurse=False)
    plain = {name: str(value) if isinstance(value, float) else value for name, value in told.items()}
    jobs: list[JsonValue] = [as_plain(job) for job in row.jobs]
    seen: list[JsonValue] = [
        [one.what, *("" if n is None else str(n) for n in _ends_of(one)), "yes" if one.is_beyond else ""]
        for one in row.seen
    ]
    told_lists: dict[str, JsonValue] = {"codes": [*row.codes], "jobs": jobs, "seen": seen}
    return canonical_bytes({**plain, **told_lists, "made_as": MADE_AS}).decode()


def _ends_of(one: Seen) -> tuple[float, float | None, float | None]:
    return one.value, one.low, one.high


def _seen_of_plain(plain: Any) -> Seen:
    if not (isinstance(plain, list) and len(plain) == 5 and all(isinstance(one, str) for one in plain)):
        raise ValueError(f"expected a number that was found, its ends and whether it is beyond as texts, got {plain!r}")
    low, high = (float(one) if one else None for one in plain[2:4])
    seen = Seen(plain[0], float(plain[1]), low, high, plain[4] == "yes")
    if not all(math.isfinite(one) for one in _ends_of(seen) if one is not None):
        raise ValueError(f"expected finite numbers, got {plain!r}")
    return seen


def of_text(text: str) -> Row | None:
    """A row that a store kept; None for one made as another. Raises ValueError for one that is damaged."""
    plain: Any = read_json(text)
    if not isinstance(plain, dict) or type(plain.get("made_as")) is not int:
        raise ValueError(f"expected a row with a whole number 'made_as', got {text[:80]!r}")
    if plain.pop("made_as") != MADE_AS:
        return None
    if plain.keys() != {field.name for field in attrs.fields(Row)}:
        raise ValueError(f"expected the fields of a row, got {', '.join(sorted(map(str, plain)))}")
    for names, kind in ((_TEXTS, str), (_NUMBERS, str), (_COUNTS, int), (_YES_OR_NO, bool), (_LISTS, list)):
        wrong = [name for name in names if type(plain[name]) is not kind]
        if wrong:
            raise ValueError(f"expected {kind.__name__} for {wrong[0]}, got {plain[wrong[0]]!r}")
    numbers = {name: float(plain[name]) for name in _NUMBERS}
    counts = [plain[name] for name in _COUNTS]
    if not all(0 <= one < math.inf for one in (*numbers.values(), *counts)) or plain["held"] > plain["forecasts"]:
        raise ValueError(f"expected amounts of 0 or more, got {text[:80]!r}")
    if not all(isinstance(one, str) for one in plain["codes"]):
        raise ValueError(f"expected texts as codes, got {plain['codes']!r}")
    jobs = tuple(map(of_plain, plain["jobs"]))
    seen = tuple(map(_seen_of_plain, plain["seen"]))
    return Row(**{**plain, **numbers, "codes": tuple(plain["codes"]), "jobs": jobs, "seen": seen})


def pasts_of_text(text: str) -> dict[str, Past]:
    """What the shop knew of a boat's jobs, by job, out of a row of any version; nothing out of a damaged one."""
    try:
        return pasts_in(read_json(text))
    except ValueError:
        return {}


# --- what boats alike kept


@attrs.frozen
class Spread:
    """Of some boats: in the middle, and from where to where 8 of 10 lie."""

    middle: float
    low: float
    high: float


@attrs.frozen
class Kept:
    """What boats like one finally kept.

    boats : how many it rests on
    sizes : the commonest, diameter x pitch [in], each with how many kept it
    """

    boats: int
    pitch: Spread
    engine_speed: Spread
    sizes: tuple[tuple[str, int], ...]


@attrs.frozen
class Score:
    """How the shop's forecasts did."""

    forecasts: int
    held: int

    @property
    def is_judged(self) -> bool:
        """Whether there are enough to say anything."""
        return self.forecasts >= JUDGED_FROM

    @property
    def is_too_narrow(self) -> bool:
        """Whether so few held as intervals that hold 19 of 20 seldom let: as seldom as 16 of the first 20."""
        return self.is_judged and _chance_of_misses(self.forecasts, self.forecasts - self.held) <= _AS_SELDOM


def _chance_of_misses(forecasts: int, misses: int) -> float:
    """That so many forecasts or more miss, where each does by 1 in 20 [-]; not worked out where so many are to."""
    return sum(_chance_of(forecasts, each) for each in range(misses, forecasts + 1)) if misses > forecasts / 20 else 1.0


def _chance_of(forecasts: int, misses: int) -> float:
    """By logarithms: of many forecasts a power would be nothing."""
    ways = math.lgamma(forecasts + 1) - math.lgamma(misses + 1) - math.lgamma(forecasts - misses + 1)
    return math.exp(ways + misses * math.log(0.05) + (forecasts - misses) * math.log(0.95))


_AS_SELDOM = 1.0001 * _chance_of_misses(JUDGED_FROM, JUDGED_FROM - 16)
"""The chance [-] that 16 or fewer of 20 hold, where 19 of 20 are to: 1.6 in 100."""


_COLUMNS = ("length", "weight", "power", "gear_ratio", "engines", "pitch", "diameter", "engine_speed", "is_kept")


class Memory:
    """All rows, as columns: what a page asks is answered in one look through them.

    Rows that came since the columns were made stand apart until there are many: to make columns of all is work.
    """

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self._rows: dict[str, Row] = {}
        self._forecasts = self._held = 0
        for row in rows:
            self._put(row)
        self.changes = 0
        """How often a row changed."""
        self._newer: dict[str, Row] = {}
        self._columns: dict[str, Any] | None = None
        self.counts: Counts | None = None
        """Of all rows, kept up to date; None until somebody asked for them."""
        self._meanwhile: list[tuple[str, Row | None]] | None = None
        """What changed while they are counted the first time; None while they are not."""
        self._guard = threading.Lock()

    def __len__(self) -> int:
        return len(self._rows)

    def rows(self) -> tuple[Row, ...]:
        """Every row, by hull."""
        with self._guard:
            return tuple(self._rows[hull] for hull in sorted(self._rows))

    def __contains__(self, hull: str) -> bool:
        return hull in self._rows

    def jobs(self) -> tuple[JobRow, ...]:
        """The row of every job, by hull."""
        return tuple(job for row in self.rows() for job in row.jobs)

    def take(self, row: Row, gone: Iterable[str] = ()) -> None:
        """A boat's row, in the place of the one it had, and of those under numbers that are this boat's, too."""
        with self._guard:
            for hull in gone:
                self._drop(hull)
                self._recount(hull, None)
                self._columns, self._newer = None, {}
            self._put(row)
            self._recount(row.hull, row)
            self.changes += 1
            self._newer[row.hull] = row
            if len(self._newer) > MOST_NEWER:
                self._columns, self._newer = None, {}

    def count(self) -> Counts:
        """Counts of all rows. The first time they are all gone through, and what changes meanwhile is counted after."""
        with self._guard:
            if self.counts is not None:
                return self.counts
            rows, self._meanwhile = list(self._rows.values()), []
        counts = Counts(rows)
        with self._guard:
            self.counts, meanwhile, self._meanwhile = counts, self._meanwhile, None
            for hull, row in meanwhile or ():
                self._recount(hull, row)
        return counts

    def _recount(self, hull: str, row: Row | None) -> None:
        if self._meanwhile is not None:
            self._meanwhile.append((hull, row))
        elif self.counts is not None and row is not None:
            self.counts.put(row)
        elif self.counts is not None:
            self.counts.drop(hull)

    def score(self) -> Score:
        """How the shop's forecasts did so far."""
        with self._guard:
            return Score(self._forecasts, self._held)

    def _put(self, row: Row) -> None:
        self._drop(row.hull)
        self._rows[row.hull] = row
        self._forecasts, self._held = self._forecasts + row.forecasts, self._held + row.held

    def _drop(self, hull: str) -> None:
        if (before := self._rows.pop(hull, None)) is not None:
            self._forecasts, self._held = self._forecasts - before.forecasts, self._held - before.held

    def kept_by_boats_like(self, one: Row) -> Kept | None:
        """What boats like this one kept, itself left out; None of too few, or where too little of it is known.

        Alike: of one hull form and as many engines, length, weight, power and gear ratio near as `ALIKE` says, as far
        as both are known. Power must be.
        """
        if not (one.power > 0 and one.engines and one.hull_form):
            return None
        with self._guard:
            if self._columns is None:
                self._columns, self._newer = _columns_of(list(self._rows.values())), {}
            columns, newer = self._columns, dict(self._newer)
        alike = [*_alike(one, columns, {one.hull, *newer}), *_alike(one, _columns_of(list(newer.values())), {one.hull})]
        if len(alike) < FEWEST:
            return None
        sizes = Counter(
            f"{in_full(diameter)} x {in_full(pitch)}" if diameter else in_full(pitch) for diameter, pitch, _ in alike
        )
        return Kept(
            len(alike),
            _spread([pitch for _, pitch, _ in alike]),
            _spread([turned for *_, turned in alike if turned > 0]),
            tuple(sorted(sizes.items(), key=lambda size: (-size[1], size[0]))[:3]),
        )


def kinds_of(rows: Iterable[Row]) -> tuple[KindOfBoat, ...]:
    """What boats of each kind kept, for the shop's tablets: kinds of `FEWEST` boats or more, the commonest first."""
    groups: dict[tuple[str, int, int, int, int], list[Row]] = {}
    for row in rows:
        if row.is_kept and row.pitch > 0 and row.power > 0 and row.length > 0 and row.hull_form:
            ratio = round(math.log(row.gear_ratio) / BIN_OF_RATIO) if row.gear_ratio > 0 else _NO_RATIO
            near = round(math.log(row.power) / BIN), round(math.log(row.length) / BIN), ratio
            groups.setdefault((row.hull_form, row.engines, *near), []).append(row)
    kinds = [_kind_of(group) for group in groups.values() if len(group) >= FEWEST]
    return tuple(sorted(kinds, key=lambda one: (-one.boats, attrs.astuple(one)))[:MOST_KINDS])


def _kind_of(group: Sequence[Row]) -> KindOfBoat:
    pitch = _spread([row.pitch for row in group])
    sizes = Counter(
        f"{in_full(row.diameter)} x {in_full(row.pitch)}" if row.diameter else in_full(row.pitch) for row in group
    )
    return KindOfBoat(
        hull_form=group[0].hull_form,
        engines=group[0].engines,
        power=float(rounded(statistics.median(row.power for row in group), 1)),
        length=float(rounded(statistics.median(row.length for row in group), 2)),
        boats=len(group),
        pitch=float(rounded(pitch.middle, 1)),
        low=float(rounded(pitch.low, 1)),
        high=float(rounded(pitch.high, 1)),
        size=min(sizes, key=lambda size: (-sizes[size], size)),
        gear_ratio=float(rounded(statistics.median(row.gear_ratio for row in group), 2)),
    )


def _columns_of(rows: Sequence[Row]) -> dict[str, Any]:
    import numpy as np

    found: dict[str, Any] = {name: np.array([getattr(row, name) for row in rows], dtype=float) for name in _COLUMNS}
    texts = {name: np.array([getattr(row, name) for row in rows], dtype=str) for name in ("hull", "hull_form")}
    return found | texts


def _alike(one: Row, columns: Mapping[str, Any], but: Collection[str]) -> list[tuple[float, float, float]]:
    """Diameter, pitch and engine speed of the boats alike, without some."""
    import numpy as np

    apart = np.zeros(len(columns["power"]))
    for name, share in ALIKE.items():
        mine, theirs = getattr(one, name), columns[name]
        if mine > 0:
            known = theirs > 0
            away = np.log(np.where(known, theirs, mine) / mine) / math.log1p(share)
            apart += np.where(known, away**2, 0.5)  # what nobody entered speaks neither for nor quite against
    alike = (columns["is_kept"] > 0) & (columns["pitch"] > 0) & (columns["power"] > 0) & (apart <= ALIKE_UP_TO**2)
    alike &= (columns["engines"] == one.engines) & (columns["hull_form"] == one.hull_form)
    places = [place for place in np.flatnonzero(alike) if str(columns["hull"][place]) not in but]
    taken = (columns[name][places].tolist() for name in ("diameter", "pitch", "engine_speed"))
    return list(zip(*taken, strict=True))


def _spread(values: Sequence[float]) -> Spread:
    import numpy as np

    if not values:
        return Spread(0.0, 0.0, 0.0)
    low, middle, high = np.quantile(values, (0.1, 0.5, 0.9))
    return Spread(float(middle), float(low), float(high))
