"""A shop's own plugins in a process of their own: whatever they do there, the program goes on.

The program never imports their code. It asks the other process what they declare, and what they find in a job. That
process gets a job as a pickle, which the program made; what comes back is JSON, and is checked like anything a plugin
says. One process runs all plugins of a host, and is started again after one of them has ended it.
"""

from __future__ import annotations

import logging
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
import weakref
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext, suppress
from functools import partial
from pathlib import Path
from typing import IO, Any

import attrs

from garboard.faults import GarboardError, in_words
from garboard.findings import Finding, NotEnoughData
from garboard.hosting import plain
from garboard.hosting.asking import with_functions
from garboard.hosting.codes import BUSY, NOT_JUDGED
from garboard.hosting.failures import NotJudgedHere, PluginFault, PluginProblem, cure_of
from garboard.hosting.sources import Source
from garboard.hosting.watching import Declared, WatchedView
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.records import Vessel
from garboard.samples import Recording
from garboard.settings import ReadSettings, Setting
from garboard.steps import Assessed, Block, Calculator, EquipmentKind, LiveGuide, RecordingJudge, ReportSection, Step


@frozen(kw_only=True)
class Limits:
    """What one answer of a plugin may cost.

    processor : time of the processor, where the system can count it for a process [s]
    wall      : time of all its checks of one job, for a plugin that sleeps, and for a system that cannot count [s]
    memory    : beyond what the process had when it began, where the system can limit it [bytes]
    answer    : what it may say [bytes]
    printed   : what it may print [bytes]
    """

    processor: float = 10.0
    wall: float = 60.0
    memory: int = 1 << 30
    answer: int = 16 << 20
    printed: int = 100_000


MOST_CUTS = 3
"""A calculator that was cut so often is not run again by this host: each cut costs the time that is allowed.

A plugin whose time ran out so often in several jobs is left out as a whole.
"""

START = 120.0
"""The process itself has so long to start [s]."""
_LENGTH = 8
_TICK = 0.2
"""So often the process is looked at while it works [s]."""
_GRACE = 1.5
"""The process ends itself at its limit. One that puts that off is ended at so many times the limit."""
_LEAVES_IN = 1.0
"""A process whose pipe is closed has so long to be gone, so that its status can be told [s]."""
_PRINTS_MORE = b"\n(the plugin prints more; that is left out)\n"
log = logging.getLogger("garboard.plugins")
_KEPT_OF_ENVIRONMENT = ("PATH", "LANG", "LC_ALL", "TZ", "TMPDIR", "TEMP", "TMP", "SYSTEMROOT", "NO_COLOR")
"""Nothing else of it goes over: it may hold a database's password."""


@frozen
class Offered:
    """What a plugin offers, its functions asking the other process."""

    source: Source
    version: str
    file: str
    items: Mapping[str, Sequence[Any]]
    commands: Sequence[Mapping[str, str]]
    faults: tuple[PluginProblem, ...]
    codes: frozenset[str]


@attrs.define(eq=False)
class _Tally:
    """What the job that a thread judges has cost so far.

    about : the job
    spent : by plugin [s]
    """

    about: weakref.ref[Any] | None = None
    spent: dict[str, float] = attrs.field(factory=dict)


@attrs.define(eq=False)
class Apart:
    """The other process. It starts when it is first asked, and ends with this object or with the program.

    patience : a thread waits so long for the others that ask, then not again for ten times as long: a page may show
               many jobs [s]
    """

    limits: Limits = attrs.field(factory=Limits)
    patience: float = 5.0
    _loaded: dict[str, Source] = attrs.field(factory=dict)
    _process: subprocess.Popen[bytes] | None = None
    _there: set[str] = attrs.field(factory=set)
    """Plugins that the process has loaded."""
    _view: JobView | None = None
    """The job that the process holds."""
    _cuts: dict[tuple[str, str], list[str]] = attrs.field(factory=dict)
    """By what each calculator and judge ended the process so far."""
    _ran_out: dict[str, int] = attrs.field(factory=dict)
    """How often the time of each plugin ran out."""
    _at_the_end: Any = None
    _printing: threading.Thread | None = None
    _lock: Any = attrs.field(factory=threading.RLock)
    _here: threading.local = attrs.field(factory=threading.local)
    _is_stopped: bool = False
    turned_away: int = 0
    """How often somebody waited in vain."""
    starts: int = 0
    """How many processes there were so far."""

    def load(self, name: str, source: Source) -> Offered:
        """Load a plugin there. Raises PluginFault with the reason why it cannot be."""
        with self._turn():
            self._cuts = {of: codes for of, codes in self._cuts.items() if of[0] != name}
            self._ran_out.pop(name, None)
            found = self._ask(self._running(), ("load", name, source.file, source.entry))
            self._loaded[name] = source
            self._there.add(name)
        (answer,) = found
        return self._offered(name, source, answer["declared"])

    def forget(self, name: str) -> None:
        """Load a plugin no more when the process is started again."""
        self._loaded.pop(name, None)

    @property
    def left_out(self) -> tuple[PluginProblem, ...]:
        """Plugins whose time ran out so often that they do not run again."""
        slow = [name for name, times in self._ran_out.items() if times >= MOST_CUTS]
        return tuple(
            PluginProblem(
                name=name,
                reason=f"took too long in {MOST_CUTS} jobs, so it is left out and its checks are not judged",
                code="took_too_long",
                file=self._loaded[name].file if name in self._loaded else "",
                cure="end the loop, or compute less; it runs again at the next start",
            )
            for name in slow
        )

    @property
    def not_run_again(self) -> tuple[PluginProblem, ...]:
        """Checks that ended their process so often that they do not run again; the others of the plugin do."""
        return tuple(
            PluginProblem(
                name=name,
                reason=f"its check {key} was ended in {MOST_CUTS} jobs, so that check is not judged any more",
                code=codes[-1],
                file=self._loaded[name].file if name in self._loaded else "",
                cure=f"{cure_of(codes[-1])}; it runs again at the next start",
                at_work=True,
            )
            for (name, key), codes in self._cuts.items()
            if len(codes) >= MOST_CUTS and self._ran_out.get(name, 0) < MOST_CUTS
        )

    def stop(self) -> None:
        """The program ends: whatever is asked now or later is not judged. Waits for nobody."""
        self._is_stopped = True
        self._kill_now()

    def close(self) -> None:
        """End the process, also while another thread waits for its answer."""
        self._kill_now()
        with self._lock:
            self._end()

    def _kill_now(self) -> None:
        if (process := self._process) is not None:
            _kill(process)

    def _offered(self, name: str, source: Source, found: Mapping[str, Any]) -> Offered:
        items = {hook: tuple(MAKERS[hook](self, name, one) for one in many) for hook, many in found["items"].items()}
        faults = tuple(plain.made(one, PluginProblem) for one in found["faults"])
        codes = frozenset(map(str, found["codes"]))
        return Offered(
            source, str(found["version"]), str(found["file"]), items, tuple(found["commands"]), faults, codes
        )

    # What its functions ask

    def findings(self, plugin: str, key: str, view: JobView) -> Iterator[Finding]:
        """What a calculator finds there. Whatever came before a failure comes first."""
        yield from self._found(plugin, key, lambda: ("compute", plugin, key, self._to_send(view)), view)

    def asked(self, plugin: str, key: str, view: JobView) -> tuple[dict[FieldKey, bool], tuple[str, ...]]:
        """What a calculator asks of a job there, given or not, and the settings it reads. Raises PluginFault."""
        with self._turn():
            process = self._bring(plugin)
            (answer,) = self._ask(process, ("ask", plugin, key, self._to_send(view)), view=view)
        places = {tuple(map(str, place)): bool(is_given) for *place, is_given in answer["asked"]}
        return places, tuple(map(str, answer["read"]))  # type: ignore[return-value]  # four texts each, as sent

    def judged(self, plugin: str, key: str, recording: Recording) -> Iterator[Finding]:
        """What a recording's judge finds there."""
        yield from self._found(plugin, key, lambda: ("judge", plugin, key, recording))

    def _found(
        self, plugin: str, key: str, request: Callable[[], tuple[Any, ...]], view: JobView | None = None
    ) -> Iterator[Finding]:
        answers: list[plain.Plain] = []
        failure: PluginFault | NotEnoughData | None = None
        with self._turn():
            cuts = self._cuts.setdefault((plugin, key), [])
            if self._ran_out.get(plugin, 0) >= MOST_CUTS:
                raise NotJudgedHere(f"it took too long in {MOST_CUTS} jobs and did not run again", "took_too_long")
            if len(cuts) >= MOST_CUTS:
                raise NotJudgedHere(f"it was ended in {MOST_CUTS} jobs before and did not run again", cuts[-1])
            try:
                process = self._bring(plugin)
                self._ask(process, request(), answers, view)
            except (PluginFault, NotEnoughData) as raised:
                failure = raised
                if isinstance(raised, NotJudgedHere) and self._process is None:
                    cuts.append(raised.code)
        for answer in answers:
            if "finding" in answer:
                yield plain.made(answer["finding"], Finding)
            for setting in answer.get("read", ()):
                _read(view, str(setting))
        if failure is not None:
            raise failure

    def blocks(self, plugin: str, key: str, view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
        """A section of the book, written there."""
        with self._turn():
            process = self._bring(plugin)
            answers = self._ask(process, ("build", plugin, key, self._to_send(view), tuple(assessed)), view=view)
        return [plain.block_of(block) for answer in answers for block in answer.get("blocks", ())]

    def plausible(self, plugin: str, step: str, field: str, vessel: Vessel, of: str) -> tuple[float, float] | None:
        """The range a field's own function gives; none where that fails, as an unusual value is only asked about."""
        with suppress(PluginFault, NotEnoughData), self._turn():
            process = self._bring(plugin)
            (answer, *_) = self._ask(process, ("plausible", plugin, step, field, vessel, of))
            low, high = answer["plausible"] or (None, None)
            if isinstance(low, int | float) and isinstance(high, int | float):
                return float(low), float(high)
        return None

    def _to_send(self, view: JobView) -> tuple[JobView, Declared] | None:
        """The job and what can be entered in it, unless the process holds them."""
        if self._view is view:
            return None
        self._view = view
        own = {field.name: getattr(view, field.name) for field in attrs.fields(JobView) if field.init}
        fields = view.declared if isinstance(view, WatchedView) else {}
        return JobView(**{**own, "load_recording": _asked_here}), fields

    # Asking

    def _ask(
        self,
        process: subprocess.Popen[bytes],
        request: tuple[Any, ...],
        answers: list[plain.Plain] | None = None,
        view: JobView | None = None,
    ) -> list[plain.Plain]:
        """What the process answers, in pieces. Raises NotJudgedHere, PluginFault or NotEnoughData at their end.

        It may have ended since it got the plugin. One that is started here would not know it.
        """
        answers = [] if answers is None else answers
        plugin, spent = str(request[1]), self._tally(view).spent
        left = self.limits.wall - spent.get(plugin, 0.0)
        if left <= 0:
            self._view = None  # it was not sent
            raise NotJudgedHere("took too long with its other checks of this job", "took_too_long")
        watch = _Watch(process, left, self.limits.processor * _GRACE)
        try:
            with watch:
                answer = self._listen(process, pickle.dumps(request), watch, answers, view)
        except _Gone as gone:
            reason = self._why_it_ended(process, gone, watch.ran_out)
            self._end()
            if watch.ran_out:
                self._note_ran_out(plugin)
            raise reason from None
        except BaseException:  # such as a person's interruption: what it answers next would be taken for another answer
            self._end()
            raise
        finally:
            spent[plugin] = spent.get(plugin, 0.0) + watch.spent
        if "leaves" in answer or watch.ran_out:  # its time may end just after its last answer, which is whole
            self._end()
        _raise_what_ended(answer)
        return answers

    def _listen(
        self,
        process: subprocess.Popen[bytes],
        message: bytes,
        watch: _Watch,
        answers: list[plain.Plain],
        view: JobView | None,
    ) -> plain.Plain:
        """Keep what the process says; its last answer."""
        heard, to_load = 0, _recordings_of(view)
        while True:
            answer, size = _exchange(process, message, self.limits.answer - heard)
            heard += size
            if "end" in answer:
                return answer
            message = b""
            if "recording" not in answer:
                answers.append(answer)
                continue
            reference = str(answer["recording"])
            with watch.paused() if reference in to_load else nullcontext():  # to load it once is not its time
                to_load.discard(reference)
                message = pickle.dumps(_recording(view, reference))

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """Ask alone. Raises NotJudgedHere where others ask for so long that whoever waits would hold a page up."""
        waits = time.monotonic() >= getattr(self._here, "waits_again", 0.0)
        if self._is_stopped or not self._lock.acquire(timeout=self.patience if waits else 0):
            if waits:
                self._here.waits_again = time.monotonic() + 10 * self.patience
            self.turned_away += 1
            raise NotJudgedHere("the checks of another job take long; look again in a minute", BUSY)
        try:
            yield
        finally:
            self._lock.release()

    def _tally(self, about: object) -> _Tally:
        """The tally of this thread's job; one of its own where it is about none."""
        tally: _Tally | None = getattr(self._here, "tally", None)
        if about is None:
            return _Tally()
        if tally is None or tally.about is None or tally.about() is not about:
            tally = self._here.tally = _Tally(weakref.ref(about))
        return tally

    def _note_ran_out(self, plugin: str) -> None:
        self._ran_out[plugin] = self._ran_out.get(plugin, 0) + 1
        if self._ran_out[plugin] == MOST_CUTS:
            (problem,) = (one for one in self.left_out if one.name == plugin)
            log.error("Plugin %s %s", plugin, problem.in_words)

    def _why_it_ended(self, process: subprocess.Popen[bytes], gone: _Gone, ran_out: bool) -> NotJudgedHere:
        if gone.is_too_long:
            return NotJudgedHere(f"it says more than {self.limits.answer} bytes", "too_much_output")
        if not ran_out:
            with suppress(subprocess.TimeoutExpired):
                process.wait(timeout=_LEAVES_IN)
        status = process.poll()
        if ran_out or (status is not None and -status in _OF_TIME):
            return NotJudgedHere("took too long", "took_too_long")
        if status is None or status == plain.PIPE_CLOSED:
            return NotJudgedHere("it closed the pipe that it answers through", "process_ended")
        how = f"by signal {-status}" if status < 0 else f"with status {status}"
        return NotJudgedHere(f"it ended its process {how}", "process_ended")

    def _running(self) -> subprocess.Popen[bytes]:
        """The process, started anew where it has ended, with all plugins it had."""
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._process = _started(self.limits)
            self._printing = threading.Thread(
                target=_pass_on, args=(self._process.stderr, self.limits.printed), name="plugins print", daemon=True
            )
            self._printing.start()
            self.starts += 1
            self._at_the_end = weakref.finalize(self, _close, self._process, self._printing)
            self._there.clear()
            if self._is_stopped:  # whoever stops says so, then looks for the process; here it is the other way round
                _kill(self._process)
            self._wait_until_it_answers(self._process)
        return self._process

    def _wait_until_it_answers(self, process: subprocess.Popen[bytes]) -> None:
        """Its start is no plugin's time."""
        try:
            with _Watch(process, START):
                _exchange(process, b"", self.limits.answer)
        except _Gone:
            self._end()
            if self._is_stopped:
                raise NotJudgedHere("the program ends", "process_ended") from None
            raise PluginFault("the process for plugins could not be started", "failed") from None

    def _bring(self, plugin: str) -> subprocess.Popen[bytes]:
        """The process with a plugin: one that was started again gets each when it is needed."""
        process = self._running()
        if plugin not in self._there:
            source = self._loaded[plugin]
            self._ask(process, ("load", plugin, source.file, source.entry))
            self._there.add(plugin)
        return process

    def _end(self) -> None:
        process, self._process, self._view = self._process, None, None
        if process is not None:
            _close(process, self._printing)
        if self._at_the_end is not None:
            self._at_the_end.detach()


Maker = Callable[[Apart, str, Mapping[str, Any]], Any]


def _step(apart: Apart, plugin: str, one: Mapping[str, Any]) -> Step:
    step = plain.anew(one["declared"], Step)
    asking = {name: partial(apart.plausible, plugin, step.key, name) for name in one.get("asking", ())}
    return with_functions(step, asking)


def _calculator(apart: Apart, plugin: str, one: Mapping[str, Any]) -> Calculator:
    key = str(one["declared"]["key"])
    return plain.anew(one["declared"], Calculator, compute=partial(apart.findings, plugin, key))


def _judge(apart: Apart, plugin: str, one: Mapping[str, Any]) -> RecordingJudge:
    key = str(one["declared"]["key"])
    return plain.anew(one["declared"], RecordingJudge, judge=partial(apart.judged, plugin, key))


def _section(apart: Apart, plugin: str, one: Mapping[str, Any]) -> ReportSection:
    key = str(one["declared"]["key"])
    return plain.anew(one["declared"], ReportSection, build=partial(apart.blocks, plugin, key))


def _guide(_apart: Apart, _plugin: str, one: Mapping[str, Any]) -> LiveGuide[Any]:
    return plain.anew(one["declared"], LiveGuide, begin=_steers, take=_steers, show=_steers)


def _steers(*_: object) -> Any:
    raise PluginFault("a guide of a shop's own plugin steers on a tablet only", "failed")


def _setting(_apart: Apart, _plugin: str, one: Mapping[str, Any]) -> Setting:
    return plain.anew(one["declared"], Setting)


def _equipment(_apart: Apart, _plugin: str, one: Mapping[str, Any]) -> EquipmentKind:
    return plain.anew(one["declared"], EquipmentKind)


MAKERS: Mapping[str, Maker] = {
    "register_equipment": _equipment,
    "register_steps": _step,
    "register_calculators": _calculator,
    "register_live_guides": _guide,
    "register_report_sections": _section,
    "register_settings": _setting,
    "register_recording_judges": _judge,
}
"""What makes each thing that a plugin in the other process registers, by its hook."""


def _asked_here(reference: str) -> Recording:
    """Stands where a job's recordings are loaded: the process asks for each, and the program loads it."""
    raise AssertionError(f"recording {reference} is asked for over the pipe")


def _read(view: JobView | None, setting: str) -> None:
    """Note that a setting was read, as the calculator would have done here."""
    if view is not None and isinstance(view.settings, ReadSettings) and setting in view.settings:
        view.settings.read.add(setting)


def _recordings_of(view: JobView | None) -> set[object]:
    """References of a job's recordings."""
    values = (measurement.value for measurement in view.measurements) if view is not None else ()
    return {value["file"] for value in values if isinstance(value, dict) and isinstance(value.get("file"), str)}


def _recording(view: JobView | None, reference: str) -> tuple[Recording | None, Sequence[Any], str]:
    """A recording; or what is missing; or why it cannot be read."""
    try:
        if view is None:
            raise KeyError(reference)
        return view.load_recording(reference), (), ""
    except NotEnoughData as lacking:
        return None, lacking.missing, ""
    except Exception as failure:
        return None, (), in_words(failure)


def _raise_what_ended(answer: Mapping[str, Any]) -> None:
    if "lacking" in answer:
        raise NotEnoughData(*plain.missing_of(answer["lacking"]))
    if "failed" in answer:
        raise plain.made(answer["failed"], _Failed).as_fault()


@frozen(kw_only=True)
class _Failed:
    reason: str
    code: str
    file: str
    line: int

    def as_fault(self) -> PluginFault:
        kind = NotJudgedHere if self.code in NOT_JUDGED else PluginFault
        return kind(str(self.reason), str(self.code), file=str(self.file), line=int(self.line))


class _Gone(GarboardError):
    """The process says nothing more, or too much."""

    def __init__(self, is_too_long: bool = False) -> None:
        self.is_too_long = is_too_long


def _exchange(process: subprocess.Popen[bytes], message: bytes, most: int) -> tuple[plain.Plain, int]:
    """Send what there is to send; the next thing the process says, and its length."""
    into, out = process.stdin, process.stdout
    if into is None or out is None:
        raise _Gone
    try:
        if message:
            into.write(len(message).to_bytes(_LENGTH, "big") + message)
            into.flush()
        size = int.from_bytes(_whole(out, _LENGTH), "big")
        if size > most:
            raise _Gone(is_too_long=True)
        return plain.from_bytes(_whole(out, size)), size
    except (OSError, ValueError):  # a pipe that is closed, or bytes that are no message
        raise _Gone from None


def _whole(out: IO[bytes], size: int) -> bytes:
    content = out.read(size)
    if len(content) < size:
        raise _Gone
    return content


class _Watch:
    """Ends the process when one request takes too long, whatever it says meanwhile and whatever it does there.

    wall      : time that it may pass, pauses left out [s]
    processor : time of the processor, where the system tells it of another process [s]
    """

    def __init__(self, process: subprocess.Popen[bytes], wall: float, processor: float = float("inf")) -> None:
        self.ran_out = False
        self._process, self._wall, self._processor = process, wall, processor
        self._began = self._paused_at = 0.0
        self._began_processor = 0.0
        self._lock, self._is_over = threading.Lock(), threading.Event()

    def __enter__(self) -> None:
        self._began, self._began_processor = time.monotonic(), _processor_of(self._process)
        threading.Thread(target=self._look, name="watching plugins", daemon=True).start()

    def __exit__(self, *_: object) -> None:
        with self._lock:  # or it may end what the process does next
            self._is_over.set()
            self._paused_at = self._paused_at or time.monotonic()

    @property
    def spent(self) -> float:
        """How much of the time passed [s]."""
        return (self._paused_at or time.monotonic()) - self._began if self._began else 0.0

    @contextmanager
    def paused(self) -> Iterator[None]:
        """What the program does meanwhile is not its time."""
        with self._lock:
            self._paused_at = at = time.monotonic()
        try:
            yield
        finally:
            with self._lock:
                self._began += time.monotonic() - at
                self._paused_at = 0.0

    def _look(self) -> None:
        while not self._is_over.wait(max(0.0, min(_TICK, self._wall - self.spent)) or 0.01):
            with self._lock:
                used = _processor_of(self._process) - self._began_processor
                is_too_long = not self._paused_at and self.spent >= self._wall
                if not self._is_over.is_set() and (is_too_long or used > self._processor):
                    self.ran_out = True
                    _kill(self._process)
                    return


def _processor_of(process: subprocess.Popen[bytes]) -> float:
    """Time of the processor that a process took so far, as the system counts it; 0 where it does not tell [s]."""
    try:
        told = Path(f"/proc/{process.pid}/stat").read_bytes().rpartition(b")")[2].split()
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")  # in its own code, and in the system's
    except (OSError, ValueError, IndexError):
        return 0.0


def _pass_on(pipe: IO[bytes], most: int) -> None:
    """Pass on what plugins print, as far as anybody wants to read it; the rest is read so that it blocks nothing."""
    left = most
    with pipe, suppress(OSError, ValueError):
        while piece := os.read(pipe.fileno(), 1 << 16):
            shown, left = piece[: max(left, 0)], left - len(piece)
            if shown and left <= 0:
                shown += _PRINTS_MORE
            with suppress(OSError):  # a program without an error output, such as one that the system starts
                while shown:
                    shown = shown[os.write(2, shown) :]


_OF_TIME = {getattr(signal, name) for name in ("SIGPROF", "SIGXCPU") if hasattr(signal, name)}


def _started(limits: Limits) -> subprocess.Popen[bytes]:
    code = (
        f"import sys; sys.path[:] = {sys.path!r}\nfrom garboard.hosting.inside import main\n"
        f"main{limits.processor, limits.wall, limits.memory, limits.answer}"
    )
    kept = {name: os.environ[name] for name in _KEPT_OF_ENVIRONMENT if name in os.environ}
    return subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**kept, "OPENBLAS_NUM_THREADS": "1"},  # each of its threads counts as memory
        start_new_session=True,  # so that what it starts is ended with it
    )


def _kill(process: subprocess.Popen[bytes]) -> None:
    with suppress(OSError):
        if hasattr(os, "killpg") and process.returncode is None:  # else its number may be another's by now
            os.killpg(process.pid, signal.SIGKILL)
        process.kill()


def _close(process: subprocess.Popen[bytes], printing: threading.Thread | None) -> None:
    _kill(process)
    with suppress(OSError, subprocess.TimeoutExpired):
        process.wait(timeout=5)
    if printing is not None:
        printing.join(timeout=1)
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with suppress(OSError):
                pipe.close()
