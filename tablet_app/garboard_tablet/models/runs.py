"""Runs of a step: those recorded and not decided on, and what is to be said of each before it counts."""

from __future__ import annotations

import contextlib
import heapq
import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from garboard.disk import storage
from garboard.faults import in_number
from garboard.findings import Axis, Band, Figure, Finding, Number, Series, Verdict, rounded, rounded_beside
from garboard.fittings import CAME_WITH, is_of_runs
from garboard.history.runs import FILE, LIVE, REPLAY
from garboard.job_view import FieldKey, JobView, place_of
from garboard.records import JsonValue, Measurement
from garboard.report.as_typed import as_typed
from garboard.samples import UNIT_OF_QUANTITY, Recording, Sample, gather
from garboard.series import engine_instance, unwrapped
from garboard.steps import Guidance, Kind, LiveGuide, describing_run
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask, asks_of_step
from garboard_tablet.models.coming import RECORDER
from garboard_tablet.models.live import heading_line, read_recorded, sample_line
from garboard_tablet.models.one_source import OneSource, choices_of

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost
    from garboard_tablet.models import session
    from garboard_tablet.models.tablet import Tablet

LOOKED_AT = 0.5
"""The guide is asked so often whether a run is enough [s of the run]."""
EPOCH_FROM = 1e8
"""Times from here on are counted from 1970, not from a recording's first line [s]."""
LONGEST_BEGINNING = 10_000
"""So much of a line is read to learn when a run began [characters]."""
PENDING = "pending"
"""Stands for the file of a run that is not kept yet."""


# Runs not decided on


@attrs.frozen(kw_only=True)
class PendingRun:
    """A run that nobody has decided on. Its samples are read when they are needed: it may be hours long.

    origin    : one of LIVE, REPLAY, FILE
    source    : what a person calls where it came from
    subject   : of the field it was recorded for; empty where it was recorded for none in particular
    in_memory : all its samples, where the disk did not take them
    refusal   : why the disk did not; "" for a run on the disk
    """

    path: Path
    origin: str
    source: str
    subject: tuple[str, ...] = ()
    in_memory: Sequence[Sample] = ()
    refusal: str = ""

    def is_of(self, route: session.Route) -> bool:
        """Whether it was recorded for a step."""
        return _is_of(self.path.name, route)

    def samples(self) -> Sequence[Sample]:
        """What it recorded. Raises OSError where that cannot be read."""
        return self.in_memory or read_recorded(self.path.read_text(encoding="utf-8", errors="replace"))[1]

    @property
    def when(self) -> str:
        """When it began, to the second: two runs are soon made. "" where that cannot be read, or has no date."""
        first = self.in_memory[:1]
        with contextlib.suppress(OSError, ValueError, OverflowError):
            if not first and self.origin != FILE:
                with self.path.open(encoding="utf-8", errors="replace") as lines:
                    first = read_recorded("".join(lines.readline(LONGEST_BEGINNING) for _ in range(2)))[1][:1]
            if first and first[0].time > EPOCH_FROM:
                return f"{datetime.fromtimestamp(first[0].time).astimezone():%d %b %H:%M:%S}"
        return ""

    def recording(self) -> Recording:
        """The run as the checks read it. Raises OSError or InputError where it cannot be read."""
        if self.origin == FILE:
            from garboard.recordings import load_recording

            return load_recording(self.path)[0]
        return gather(self.source, self.samples())


def recorder_stem(route: session.Route) -> str:
    """How the names of the files begin into which runs of a step are recorded."""
    return f"{RECORDER}{route.hull} {route.job} {route.step}".replace("/", " ")


def _is_of(name: str, route: session.Route) -> bool:
    stem = recorder_stem(route)
    return name == stem or name.startswith(f"{stem} (")


def left_behind(folder: Path, route: session.Route, unsaved: Collection[str]) -> tuple[Path, ...]:
    """Runs of a step that nobody has decided on, the oldest first; those the disk did not take last.

    unsaved : names of runs that only stand in memory, wholly or in part
    """
    here = [path for path in folder.glob(f"{RECORDER}*") if _is_of(path.name, route) and path.name not in unsaved]
    here.sort(key=lambda path: (path.stat().st_mtime, path.name))
    return (*here, *(folder / name for name in unsaved if _is_of(name, route)))


def free_path(folder: Path, route: session.Route, unsaved: Collection[str]) -> Path:
    """Where the next run of a step is recorded: never over one that nobody has decided on."""
    stem, number = recorder_stem(route), 1
    path = folder / stem
    while path.exists() or path.name in unsaved:
        number += 1
        path = folder / f"{stem} ({number})"
    return path


def read_pending(folder: Path, name: str, unsaved: Mapping[str, PendingRun]) -> PendingRun:
    """A run as it was recorded into a tablet's folder, or a file from elsewhere. Raises OSError where there is none.

    name    : of a recorded run; of a file its whole path
    unsaved : runs that only stand in memory, by name
    """
    if name in unsaved:
        return unsaved[name]
    path = folder / name
    size = path.stat().st_size
    if Path(name).is_absolute():
        return PendingRun(path=path, origin=FILE, source=path.name)
    with path.open(encoding="utf-8", errors="replace") as lines:
        heading, _ = read_recorded(lines.readline(size))
    subject = heading.get("subject")
    return PendingRun(
        path=path,
        origin=REPLAY if heading.get("origin") == REPLAY else LIVE,
        source=str(heading.get("source", "")),
        subject=tuple(map(str, subject)) if isinstance(subject, list) else (),
    )


def write_run(run: PendingRun) -> None:
    """Put a run on the disk, whole. Raises NotSaved; what lies there is as before then."""
    lines = (heading_line(run.source, run.origin, run.subject), *map(sample_line, run.samples()))
    storage.write_whole(run.path, ["".join(lines).encode()])


def recording_asks(tablet: Tablet, route: session.Route) -> tuple[Ask, ...]:
    """Every field of a step that takes a recording."""
    step = tablet.step(route.step)
    if step is None:
        return ()
    asks = asks_of_step(step, tablet.view(route.hull, route.job))
    return tuple(ask for ask in asks if ask.field.kind is Kind.RECORDING)


def kept_in_step(tablet: Tablet, route: session.Route) -> int:
    """How many recordings of a step are kept, those thrown away included."""
    return sum(len(tablet.runs(route.hull, route.job, ask)) for ask in recording_asks(tablet, route))


def ask_for(tablet: Tablet, route: session.Route, subject: tuple[str, ...]) -> Ask | None:
    """Where a recording belongs: the field it was asked from, or the step's first still without one."""
    asks = recording_asks(tablet, route)
    named = [ask for ask in asks if (ask.key.kind, *ask.key.subject) == subject]
    empty = [ask for ask in asks if not tablet.current(route.hull, route.job, ask)]
    return next(iter([*named, *empty, *asks]), None)


def value_of(tablet: Tablet, run: PendingRun, guide: str, route: session.Route) -> dict[str, JsonValue]:
    """Keep a run's file; the value that refers to it and says where it came from.

    It says the propellers too, as they are on now: a run kept beside may come to count after they were changed.
    """
    if run.origin == FILE:
        kept = tablet.keep_file(run.path.read_bytes(), run.source)
    else:
        from garboard.recordings.encode import csv_series

        samples = run.samples()
        name = ", ".join(filter(None, (guide, run.source, in_number(len(samples), "sample"))))
        kept = tablet.keep_file(csv_series(samples), name)
    step = tablet.step(route.step)
    said: dict[str, JsonValue] = {}
    if step is not None and is_of_runs(field.name for field in step.all_fields()):
        vessel = tablet.boat(route.hull).vessel()
        said["propellers"] = {engine.position: engine.fitted or CAME_WITH for engine in vessel.engines}
    return {**kept, "origin": run.origin, "source": run.source, **said}


# What is to be said of a run


@attrs.frozen(kw_only=True)
class Trace:
    """What a run looked like: the number its guide showed, or without a guide the most telling that was recorded.

    points : time since the run began [s], and the number
    band   : where the number should be
    """

    title: str
    unit: str
    points: tuple[tuple[float, float], ...]
    band: tuple[float, float] | None = None

    def figure(self) -> Figure:
        """The trace to be drawn, by minutes where it is long."""
        by_minutes = self.points[-1][0] > LONG
        share = 60.0 if by_minutes else 1.0
        return Figure(
            title=self.title,
            x=Axis("Time", "min" if by_minutes else "s", low=0.0),
            y=Axis(self.title, self.unit),
            series=(
                Series(
                    self.title,
                    tuple(time / share for time, _ in self.points),
                    tuple(value for _, value in self.points),
                    markers=False,
                ),
            ),
            bands=(Band("wanted", "y", *self.band),) if self.band else (),
        )


LONG = 600.0
"""A trace longer than this is drawn over minutes [s]."""
MOST_POINTS = 240
TELLING = ("rate_of_turn", "engine_speed", "heading", "course_over_ground", "speed_over_ground")
"""What is drawn of a recording no guide is for, the most telling first."""


def thinned(points: Sequence[tuple[float, float]], most: int = MOST_POINTS) -> tuple[tuple[float, float], ...]:
    """Fewer points of the same look: of each stretch its lowest and its highest, so that no peak is lost.

    >>> thinned([(0.0, 1.0), (1.0, 5.0), (2.0, 2.0), (3.0, 0.0)], 2)
    ((1.0, 5.0), (3.0, 0.0))
    """
    if len(points) <= most:
        return tuple(points)
    every = -(-2 * len(points) // most)
    kept: list[tuple[float, float]] = []
    for first in range(0, len(points), every):
        stretch = points[first : first + every]
        kept += sorted({min(stretch, key=lambda one: one[1]), max(stretch, key=lambda one: one[1])})
    return tuple(kept)


@attrs.frozen(kw_only=True)
class Review:
    """What is to be said of a run before it counts.

    began    : time of its first sample [s]; of a recording without dates, since its first line
    seconds  : from the first sample to the last
    enough   : whether the step's guide has seen all it needs; None where no guide tells
    share    : how far it got, 0 to 1
    seen     : what the guide had seen at the end, in its own lines
    findings : what the step's checks find with it
    doubts   : what speaks against its being of this boat
    number   : what its checks hold against a limit first, such as the degrees turned; None where they give nothing
    trace    : what it looked like; None where it is too short to be drawn
    """

    began: float = 0.0
    seconds: float = 0.0
    enough: bool | None = None
    share: float = 0.0
    seen: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    doubts: tuple[str, ...] = ()
    number: Number | None = None
    trace: Trace | None = None

    @property
    def reached(self) -> str:
        """How far the run came: degrees turned, an engine speed, or the share of what its guide needs."""
        if self.number is None:
            return f"{rounded_beside(100 * self.share, [100])} %" if self.enough is False else ""
        value = rounded(abs(self.number.value), self.number.decimals if self.number.unit != "deg" else 0)
        return f"{value}°" if self.number.unit == "deg" else f"{value}\u00a0{self.number.unit}".rstrip("\u00a0")

    @property
    def too_short(self) -> bool:
        """Whether the run ended before the guide had seen as much as it needs."""
        return self.enough is False and self.share < 1

    @property
    def failed(self) -> Finding | None:
        """What the checks say is wrong with a run that is long enough and yet not what the guide needs."""
        if self.enough is not False or self.too_short:
            return None
        return next((one for one in self.findings if one.verdict is Verdict.FAIL), None)

    @property
    def when(self) -> str:
        """Day and time it began; "" for a recording without dates."""
        return f"{datetime.fromtimestamp(self.began).astimezone():%d %b %H:%M}" if self.began > EPOCH_FROM else ""

    @property
    def length(self) -> str:
        """Minutes and seconds."""
        return f"{int(self.seconds) // 60}:{int(self.seconds) % 60:02d}"

    @property
    def worst(self) -> Verdict | None:
        """The verdict that matters most; None where nothing could be judged."""
        from garboard_tablet.models.pages import worst

        return worst([one for one in self.findings if one.verdict is not Verdict.NOT_ENOUGH_DATA])


def review(
    host: PluginHost,
    view: JobView,
    step: str,
    guide: LiveGuide[Any] | None,
    place: FieldKey,
    recording: Recording,
    counts: bool = False,
) -> Review:
    """Judge a run as the step's checks will once it counts, and as its guide would have.

    counts : whether it counts already: what was said of the run that counts says nothing of another
    """
    times = [(s.times[0], s.times[-1]) for s in recording.streams.values() if len(s)]
    began, ended = min((t for t, _ in times), default=0.0), max((t for _, t in times), default=0.0)
    guided = _UNGUIDED if guide is None else _as_guided(guide, view, recording)
    described = next((describing_run(one, place[1]) for one in host.steps if one.key == step), frozenset())
    others = frozenset() if counts or view.value(step, place[1], row=place[2], of=place[3]) is None else described
    judged = _with_recording(view, place, recording, others)
    assessed = as_typed(judged, host.assess(judged, [step]), host)
    findings = tuple(one.finding for one in assessed)
    return Review(
        began=began,
        seconds=ended - began,
        enough=guided.enough,
        share=guided.share,
        seen=guided.seen,
        findings=findings,
        doubts=tuple(_doubts(view, recording)),
        number=_held_against_a_limit(findings, place),
        trace=guided.trace or _trace_of(recording),
    )


def _held_against_a_limit(findings: Sequence[Finding], place: FieldKey) -> Number | None:
    """The first number that a finding of this recording holds against a limit, of the worst finding first."""
    from garboard_tablet.models.pages import WORST_FIRST

    for finding in sorted(findings, key=lambda one: WORST_FIRST.index(one.verdict)):
        if finding.limits and place in finding.places:
            return next(number for number in finding.numbers if number.name == finding.limits[0].number)
    return None


@attrs.frozen(kw_only=True)
class _Guided:
    """Whether a run is enough, how far it got, what was seen, and the number as the guide showed it."""

    enough: bool | None = None
    share: float = 0.0
    seen: tuple[str, ...] = ()
    trace: Trace | None = None


_UNGUIDED = _Guided()


def _as_guided(guide: LiveGuide[Any], view: JobView, recording: Recording) -> _Guided:
    """Whether the guide would ever have said it is enough, and how far it got. A guide that fails says nothing."""
    try:
        shown = list(_shown(guide, view, recording))
    except Exception:  # a plugin's mistake must not keep anybody from the recording
        return _UNGUIDED
    if not shown:
        return _Guided(enough=False)
    first_done = next((one for _, one in shown if one.done), None)
    last = first_done or shown[-1][1]
    begun = shown[0][0]
    points = [(time - begun, one.number) for time, one in shown if one.number is not None and math.isfinite(one.number)]
    trace = None
    if len(points) > 1:
        title = (last.of.partition(":")[0] and f"{guide.quantities[0]}, {last.of}") or guide.quantities[0]
        trace = Trace(title=_begun(title), unit=last.unit, points=thinned(points), band=last.band)
    share = 1.0 if first_done else max(one.progress or 0.0 for _, one in shown)
    return _Guided(enough=first_done is not None, share=share, seen=last.lines, trace=trace)


def _shown(guide: LiveGuide[Any], view: JobView, recording: Recording) -> Iterator[tuple[float, Guidance]]:
    """What the guide would have shown, as often as it is looked at, and at the end."""
    state, looked, time = guide.begin(view), -1e30, None
    one_source = OneSource(choices_of(view.vessel))
    for sample in filter(one_source.takes, in_order(recording, guide.quantities)):
        state, time = guide.take(state, sample), sample.time
        if time - looked >= LOOKED_AT:
            looked = time
            yield time, guide.show(state)
    if time is not None and time > looked:
        yield time, guide.show(state)


def _trace_of(recording: Recording) -> Trace | None:
    """Of a recording no guide is for: the most telling it holds. An angle runs on where it passes north."""
    for quantity in TELLING:
        stream = next(iter(recording.of(quantity)), None)
        if stream is not None and len(stream) > 1:
            unit = UNIT_OF_QUANTITY[quantity]
            values = unwrapped(stream.values) if quantity in ("heading", "course_over_ground") else stream.values
            points = [(time - stream.times[0], value) for time, value in zip(stream.times, values, strict=True)]
            return Trace(title=_begun(quantity), unit=unit, points=thinned(points))
    return None


def _begun(quantity: str) -> str:
    words = quantity.replace("_", " ")
    return f"{words[:1].upper()}{words[1:]}"


def in_order(recording: Recording, quantities: Iterable[str]) -> Iterator[Sample]:
    """The samples of some quantities, all streams together, the oldest first."""
    wanted = frozenset(quantities)

    def of(key: Any, stream: Any) -> Iterator[Sample]:
        for time, value in stream:
            yield Sample(time, key.quantity, value, key.source, key.instance, key.reference)

    streams = [of(key, stream) for key, stream in recording.streams.items() if key.quantity in wanted]
    return heapq.merge(*streams, key=lambda sample: sample.time)


def _with_recording(view: JobView, place: FieldKey, recording: Recording, without: Collection[str] = ()) -> JobView:
    """A job as if a recording counted under a field key, and fields of its step had nothing entered."""
    step, field, row, of = place
    value: JsonValue = {"file": PENDING, "name": recording.name}
    counting = Measurement(step=step, field=field, row=row, of=of, value=value)
    others = tuple(
        measured
        for measured in view.measurements
        if place_of(measured) != place
        and not (measured.step == step and measured.field in without and measured.row == row)
    )
    load = view.load_recording
    return attrs.evolve(
        view,
        measurements=(*others, counting),
        disagreements=tuple(one for one in view.disagreements if one.place != place),
        load_recording=lambda reference: recording if reference == PENDING else load(reference),
    )


def _doubts(view: JobView, recording: Recording) -> Iterator[str]:
    from garboard.recordings.bus_audit import is_another_name

    fitted = len(view.vessel.engines)
    sent = {engine_instance(key.instance, fitted) for key in recording.streams if key.quantity == "engine_speed"}
    if sent and fitted and len(sent) != fitted:
        yield phrase(
            "The recording is of {engines}; this boat has {fitted}. Is it of another boat?",
            engines=in_number(len(sent), "engine"),
            fitted=fitted,
        )
    told = recording.own_ship.get("name", "")
    if is_another_name(told, view.vessel.name):
        yield phrase(
            "The AIS unit in the recording calls its boat {told}; this is {name}. Is it of another boat?",
            told=told,
            name=view.vessel.name,
        )
