"""The process that runs a shop's own plugins: it loads them, and answers what the program asks. See `apart`."""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import IO, Any

import attrs

from garboard.findings import Finding, NotEnoughData
from garboard.hosting import plain
from garboard.hosting.asked_for import noted_by
from garboard.hosting.asking import asking_fields
from garboard.hosting.codes import sources
from garboard.hosting.failures import PluginFault, PluginProblem, problem_of
from garboard.hosting.guard import Guard
from garboard.hosting.host import HOOKS, LoadedPlugin, PluginHost, collect, empty_host
from garboard.hosting.own_copy import own_view
from garboard.hosting.plugin_code import end_at_once, plugin_code
from garboard.hosting.sections import checked_blocks
from garboard.hosting.source_faults import faults_in_source
from garboard.hosting.sources import Source, find_module
from garboard.hosting.watching import Declared, watched
from garboard.job_view import JobView
from garboard.records import Vessel
from garboard.samples import Recording
from garboard.settings import ReadSettings
from garboard.steps import Assessed, Step

_LENGTH = 8
Sent = tuple[JobView, Declared]


def main(processor: float, wall: float, memory: int, answer: int) -> None:
    """Answer until the program is gone."""
    out = os.fdopen(os.dup(1), "wb")
    requests = os.fdopen(os.dup(0), "rb")
    _keep_to_itself()
    _limit_memory(memory)
    inside = _Inside(requests, out, answer)
    guard = Guard()
    try:
        inside.begin()
        while (request := inside.next()) is not None:
            with _limited(processor, wall), guard.of_plugin(computes=request[0] != "load"):
                inside.answer(request)
    except OSError:  # nobody hears what it says: the plugin closed the pipe, or the program did
        end_at_once(plain.PIPE_CLOSED)


class _Inside:
    """Plugins at work here, each in a host of its own, and the job that is judged."""

    def __init__(self, requests: IO[bytes], out: IO[bytes], most: int) -> None:
        self._requests, self._out, self._most = requests, out, most
        self._said = 0
        self._hosts: dict[str, tuple[PluginHost, str]] = {}
        self._view: JobView | None = None
        self._views: dict[str, JobView] = {}
        self._fields: Declared = {}
        self._recordings: dict[str, Any] = {}

    def next(self) -> Any:
        """What the program sends next; None once it is gone."""
        size = self._requests.read(_LENGTH)
        if len(size) < _LENGTH:
            return None
        return pickle.loads(self._requests.read(int.from_bytes(size, "big")))

    def begin(self) -> None:
        """Say that it is here."""
        self._say({"begins": True})

    def answer(self, request: tuple[Any, ...]) -> None:
        """Do what is asked for, and say how it ended."""
        what, plugin, *given = request
        self._said = 0
        end: plain.Plain = {}
        try:
            _ANSWERS[what](self, plugin, *given)
        except Exception as failure:
            _, file = self._hosts.get(plugin, (None, ""))
            end = _how(failure, plugin, file)
        if threading.active_count() > 1:  # what goes on would be counted as another plugin's: the program ends it
            end = {
                "leaves": True,
                **_how(PluginFault("it leaves a thread running", "starts_thread"), plugin, ""),
                **end,
            }
        self._end(end, plugin)

    def _end(self, end: plain.Plain, plugin: str) -> None:
        """Say the end, whatever was said before; of one that is too long, that it is."""
        self._said = 0
        try:
            self._say({"end": True, **end})
        except (PluginFault, MemoryError) as too_much:
            self._said = 0
            self._say({"end": True, "leaves": True, **_how(too_much, plugin, "")})

    def _say(self, message: plain.Plain) -> None:
        content = plain.as_bytes(message)
        self._said += len(content)
        if self._said > self._most:
            raise PluginFault(f"it gives more than {self._most} bytes of findings", "too_much_output")
        self._out.write(len(content).to_bytes(_LENGTH, "big") + content)
        self._out.flush()

    def _host(self, plugin: str) -> PluginHost:
        if plugin not in self._hosts:
            raise PluginFault("it could not be loaded again", "failed")
        return self._hosts[plugin][0]

    def load(self, plugin: str, file: str, entry: str) -> None:
        host = empty_host()
        host.load(plugin, partial(find_module, Source(file, entry)), file)
        if host.problems:
            (problem,) = host.problems
            raise PluginFault(problem.reason, problem.code, cure=problem.cure, file=problem.file, line=problem.line)
        (loaded,) = host.plugins
        source = loaded.file or file
        self._hosts[plugin] = host, source
        self._say({"declared": _declared(host, loaded, source)})

    def compute(self, plugin: str, key: str, sent: Sent | None) -> None:
        view = watched(self._job(plugin, sent), self._fields)
        read = view.settings.read if isinstance(view.settings, ReadSettings) else set()
        read.clear()
        try:
            with plugin_code():
                collect(self._find, self._host(plugin).registered("register_calculators", key), view, plugin)
        finally:
            self._said = 0
            self._say({"read": sorted(map(str, read))})

    def ask(self, plugin: str, key: str, sent: Sent | None) -> None:
        view = self._job(plugin, sent)
        calculator = self._host(plugin).registered("register_calculators", key)
        noted, read = noted_by(calculator, view, self._fields)
        self._say({"asked": [[*place, is_given] for place, is_given in noted.items()], "read": list(read)})

    def _find(self, finding: Finding) -> None:
        self._say({"finding": plain.plain(finding)})

    def judge(self, plugin: str, key: str, recording: Recording) -> None:
        with plugin_code():
            for finding in self._host(plugin).registered("register_recording_judges", key).judge(recording):
                if not isinstance(finding, Finding):
                    raise TypeError(f"judge gives findings, got {type(finding).__name__}")
                self._find(finding)

    def build(self, plugin: str, key: str, sent: Sent | None, assessed: Sequence[Assessed]) -> None:
        view = self._job(plugin, sent)
        with plugin_code():
            blocks = self._host(plugin).registered("register_report_sections", key).build(view, assessed)
            self._say({"blocks": [plain.plain_block(block) for block in checked_blocks(blocks)]})

    def plausible(self, plugin: str, step: str, name: str, vessel: Vessel, of: str) -> None:
        declared: Step = self._host(plugin).registered("register_steps", step)
        field = next(field for field in declared.all_fields() if field.name == name)
        with plugin_code():
            found = field.plausible_for(vessel, of) if field.plausible_for else None
            self._say({"plausible": None if found is None else [float(end) for end in found]})

    def _job(self, plugin: str, sent: Sent | None) -> JobView:
        """The job that was sent, or the one before: a copy for each plugin, so that none changes another's."""
        if sent is not None:
            view, self._fields = sent
            self._view, self._views, self._recordings = attrs.evolve(view, load_recording=self._recording), {}, {}
        if self._view is None:
            raise PluginFault("no job was sent", "failed")
        if plugin not in self._views:
            self._views[plugin] = own_view(self._view)
        return self._views[plugin]

    def _recording(self, reference: str) -> Recording:
        """A recording, asked of the program once a job."""
        if reference not in self._recordings:
            self._say({"recording": reference})
            self._recordings[reference] = self.next()
        recording, missing, reason = self._recordings[reference]
        if missing:
            raise NotEnoughData(*missing)
        if recording is None:
            raise OSError(reason)
        return recording  # type: ignore[no-any-return]  # a pickle says nothing of types


_ANSWERS: dict[str, Callable[..., None]] = {
    "load": _Inside.load,
    "compute": _Inside.compute,
    "ask": _Inside.ask,
    "judge": _Inside.judge,
    "build": _Inside.build,
    "plausible": _Inside.plausible,
}


def _how(failure: Exception, plugin: str, file: str) -> plain.Plain:
    """How an answer ended before its end."""
    if isinstance(failure, NotEnoughData):
        try:
            return {"lacking": plain.plain(tuple(failure.missing))}
        except Exception as of_its_own:  # a class derived from it may lack anything
            failure = of_its_own
    return {"failed": _failed(problem_of(failure, plugin, file))}


def _failed(problem: PluginProblem) -> plain.Plain:
    return {"reason": problem.reason, "code": problem.code, "file": problem.file, "line": problem.line}


def _declared(host: PluginHost, loaded: LoadedPlugin, file: str) -> plain.Plain:
    items = {hook: [_one(item) for item in host.all_registered(hook)] for hook in HOOKS}
    commands = [
        {"name": name, "help": command.help or "", "short_help": command.get_short_help_str(limit=80)}
        for name, command in host.commands().items()
    ]
    if host.problems:
        raise PluginFault(host.problems[0].reason, host.problems[0].code)
    faults = [*host.going, *(fault for one in sources(loaded.module) for fault in faults_in_source(loaded.name, one))]
    return {
        "version": loaded.version,
        "file": file,
        "items": items,
        "commands": commands,
        "faults": plain.plain(faults),
        "codes": [*host.written_by(loaded)],
    }


def _one(item: Any) -> plain.Plain:
    asking = {"asking": [*asking_fields(item)]} if isinstance(item, Step) else {}
    return {"declared": plain.declared(item), **asking}


def _keep_to_itself() -> None:
    """What it prints goes to the error output, and it has no input: the pipes are for answers."""
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.dup2(2, 1)
    sys.dont_write_bytecode = True
    sys.stdout = sys.stderr


def _limit_memory(beyond: int) -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        most = pages * resource.getpagesize() + beyond
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    except (ImportError, OSError, ValueError):
        return  # a system without such limits: the time is limited all the same


_LEFT_ALONE = 10
"""After so many times the time it has, a process whose program is gone ends itself."""


@contextmanager
def _limited(processor: float, wall: float) -> Iterator[None]:
    """End this process when one answer takes more time of the processor [s], whatever the plugin is doing.

    wall : the program ends this process after so long; should that be gone, it ends by itself, much later [s]
    """
    if not hasattr(signal, "setitimer"):
        yield
        return
    for ends in (signal.SIGPROF, signal.SIGALRM):
        signal.signal(ends, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_PROF, processor)
    signal.setitimer(signal.ITIMER_REAL, _LEFT_ALONE * wall)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
