"""The plugin host: finds plugins, loads them, and keeps what they registered. An object, never a global."""

from __future__ import annotations

import ast
import importlib
import importlib.metadata
import importlib.util
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, TypeVar

import attrs
import pluggy

import garboard
from garboard import hooks
from garboard.faults import GarboardError, shown
from garboard.findings import (
    OF_VESSEL,
    Basis,
    BasisKind,
    Doubt,
    Figure,
    Finding,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Table,
    Verdict,
    not_enough_data,
)
from garboard.hosting.codes import NOT_ENOUGH_DATA, PLUGIN_FAILED, code_for, with_code, written_in
from garboard.hosting.cut import LONGEST_TEXT, MOST_PLACES, cut, most_findings, told
from garboard.hosting.doubts import with_doubts
from garboard.hosting.exact import exact
from garboard.hosting.plugin_code import plugin_code
from garboard.hosting.watching import WatchedView, watched
from garboard.job_view import FieldKey, JobView
from garboard.record_types import is_text
from garboard.settings import ReadSettings, SettingSet, in_force
from garboard.steps import Assessed, Calculator, LiveGuide, Phase, RecordingJudge, ReportSection, Setting, Step

if TYPE_CHECKING:
    import click

BUILT_IN = (
    "garboard_wiring_audit",
    "garboard_heading_calibration",
    "garboard_prop_check",
    "garboard_fuel_curve",
    "garboard_handover",
    "garboard_shop",
)
"""Plugins that come with the program: the one line a new one adds beside its folder in plugins/.

Named here because a tablet package may carry no metadata to find them by, and because an installed package that is
called garboard_something is not ours for its name.
"""

ENTRY_POINT_GROUP = "garboard.plugins"

WRITTEN_FOR = "written_for"
UNSTATED = 1
"""Counts as `written_for` of a plugin that states none: the first plugins stated nothing."""
LARGEST_VERSION = 9999
"""A larger `written_for` is a slip of the keyboard: no update of the program would ever cure it."""
LONGEST_SHOWN = 60
_TOO_LONG_FOR_PYTHON = re.compile(rb"^%s\b[^=\n]*=\s*(\d{5,})" % WRITTEN_FOR.encode(), re.MULTILINE)


class PluginClash(GarboardError, ValueError):
    """Two plugins offer something under one key."""


class WrittenForAnotherVersion(GarboardError, ValueError):
    """A plugin was written for a version of the front door that this program does not have."""


@attrs.frozen
class LoadedPlugin:
    """A plugin at work."""

    name: str
    version: str
    module: ModuleType = attrs.field(repr=False, eq=False)

    @property
    def title(self) -> str:
        """The name as people say it: "wiring audit"."""
        return self.name.removeprefix("garboard_").replace("_", " ")


@attrs.frozen
class PluginProblem:
    """A plugin that could not be loaded, and why."""

    name: str
    reason: str


Item = TypeVar("Item")


@attrs.define
class _Register:
    """Everything registered under one hook, and by whom."""

    items: dict[str, Any] = attrs.field(factory=dict)
    owner: dict[str, str] = attrs.field(factory=dict)

    def for_plugin(self, plugin: str, kind: type[Item], key_of: Callable[[Item], str]) -> Callable[[Item], None]:
        def register(item: Item) -> None:
            if not isinstance(item, kind):
                raise TypeError(f"register takes a {kind.__name__}, got {item!r}")
            key = key_of(item)
            if not key.strip() or not key.isprintable():
                raise ValueError(f"a {kind.__name__} has the key {key!r}; give it one that a person can type")
            if kind in _GIVING_CODES and (owner := _owner_of_code(code_for(key, ""), plugin)):
                raise PluginClash(
                    f"{kind.__name__} {key!r} of {plugin} would give its findings codes of {owner}; "
                    "begin the key with another word"
                )
            if key in self.owner:
                raise PluginClash(
                    f"{kind.__name__} {key!r} is offered by both {self.owner[key]} and {plugin}; rename one"
                )
            self.items[key], self.owner[key] = item, plugin

        return register

    def withdraw(self, plugin: str) -> None:
        for key in [key for key, owner in self.owner.items() if owner == plugin]:
            del self.items[key], self.owner[key]


_KINDS: Mapping[str, type[Any]] = {
    "register_steps": Step,
    "register_calculators": Calculator,
    "register_live_guides": LiveGuide,
    "register_report_sections": ReportSection,
    "register_settings": Setting,
    "register_recording_judges": RecordingJudge,
}


_GIVING_CODES = (Calculator, RecordingJudge)
"""What gives findings, whose codes the host may make from its key."""


@attrs.define
class PluginHost:
    """Plugins and what they offer. Make one with `make_host`."""

    manager: pluggy.PluginManager
    plugins: list[LoadedPlugin] = attrs.field(factory=list)
    problems: list[PluginProblem] = attrs.field(factory=list)
    _registers: dict[str, _Register] = attrs.field(factory=lambda: {hook: _Register() for hook in _KINDS})

    def load(self, name: str, find: Callable[[], ModuleType]) -> None:
        """Load one plugin. A failure is listed in `problems`; what it registered before failing is withdrawn."""
        module = None
        try:
            with plugin_code():
                module = find()
                _refuse_other_versions(getattr(module, WRITTEN_FOR, UNSTATED))
                version = _version_of(module)
                self.manager.register(module, name)
                self.manager.check_pending()
                if not self.manager.get_hookcallers(module):
                    raise ValueError("it offers nothing: no function in it is marked @garboard.hookimpl")
                self._call_hooks(name)
        except Exception as failure:
            if module is not None and self.manager.is_registered(module):
                self.manager.unregister(module)
            for register in self._registers.values():
                register.withdraw(name)
            self.problems.append(PluginProblem(name, told(failure)))
        else:
            self.plugins.append(LoadedPlugin(name, version, module))

    def _call_hooks(self, name: str) -> None:
        for hook, kind in _KINDS.items():
            register = self._registers[hook].for_plugin(name, kind, lambda item: str(item.key))
            try:
                with plugin_code():
                    self._hook_of_one(hook, name)(register=register)
            except Exception as failure:
                failure.add_note(f"in {hook}")
                raise

    def _hook_of_one(self, hook: str, name: str) -> pluggy.HookCaller:
        others = [plugin for other, plugin in self.manager.list_name_plugin() if other != name and plugin]
        return self.manager.subset_hook_caller(hook, others)

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps, by phase, then order, then key."""
        phases = list(Phase)
        steps: Iterable[Step] = self._registers["register_steps"].items.values()
        return tuple(sorted(steps, key=lambda step: (phases.index(step.phase), step.order, step.key)))

    def step(self, key: str) -> Step | None:
        """The step with a key, or None when no loaded plugin offers it."""
        step: Step | None = self._registers["register_steps"].items.get(key)
        return step

    @property
    def calculators(self) -> tuple[Calculator, ...]:
        """All calculators, by step, then order, then key."""
        place = {step.key: number for number, step in enumerate(self.steps)}
        calculators: Iterable[Calculator] = self._registers["register_calculators"].items.values()
        return tuple(sorted(calculators, key=lambda each: (place.get(each.step, len(place)), each.order, each.key)))

    @property
    def live_guides(self) -> Mapping[str, LiveGuide[Any]]:
        """Live guides by key."""
        return dict(self._registers["register_live_guides"].items)

    @property
    def report_sections(self) -> tuple[ReportSection, ...]:
        """Report sections in printing order."""
        sections: Iterable[ReportSection] = self._registers["register_report_sections"].items.values()
        return tuple(sorted(sections, key=lambda section: (section.order, section.key)))

    @property
    def settings(self) -> tuple[Setting, ...]:
        """Settings by key."""
        settings: Iterable[Setting] = self._registers["register_settings"].items.values()
        return tuple(sorted(settings, key=lambda setting: setting.key))

    @property
    def recording_judges(self) -> tuple[RecordingJudge, ...]:
        """Judgements of a recording on its own, by key."""
        judges: Iterable[RecordingJudge] = self._registers["register_recording_judges"].items.values()
        return tuple(sorted(judges, key=lambda judge: judge.key))

    def codes(self) -> frozenset[str]:
        """Every code a finding of these plugins may carry: those they write, and those the host makes for them.

        The built-in plugins name the code of every finding they make; for a shop's own, which may leave it to the
        host, the codes of all verdicts are listed.
        """
        found: set[str] = set()
        for plugin in self.plugins:
            keys = self._keys_of(plugin.name)
            verdicts = [] if plugin.name in BUILT_IN else [verdict.name.lower() for verdict in Verdict]
            found.update(code_for(key, what) for key in keys for what in (NOT_ENOUGH_DATA, PLUGIN_FAILED, *verdicts))
            prefixes = {key.partition(".")[0] for key in keys}
            found.update(code for code, _ in written_in(plugin.name, plugin.module, prefixes))
        return frozenset(found)

    def _keys_of(self, plugin: str) -> list[str]:
        """Keys of a plugin's calculators and recording judges: what makes findings."""
        owners = (self._registers[hook].owner for hook in ("register_calculators", "register_recording_judges"))
        return [key for owner in owners for key, name in owner.items() if name == plugin]

    def owner_of(self, hook: str, key: str) -> str:
        """The plugin that registered a key under a hook."""
        return self._registers[hook].owner[key]

    def commands(self, taken: Iterable[str] = ()) -> dict[str, click.Command]:
        """Subcommands the plugins offer, by name. A plugin whose commands fail is added to `problems`.

        taken : names the program keeps for itself
        """
        import click

        found = _Register(owner=dict.fromkeys(taken, "the program"))
        for plugin in list(self.plugins):
            register = found.for_plugin(plugin.name, click.Command, lambda command: command.name or "")
            try:
                with plugin_code():
                    self._hook_of_one("register_commands", plugin.name)(register=register)
            except Exception as failure:
                found.withdraw(plugin.name)
                self.problems.append(PluginProblem(plugin.name, f"{told(failure)} in register_commands"))
        return dict(found.items)

    def with_defaults(self, view: JobView) -> JobView:
        """The view with the value of every setting that holds: what was set, or else its default.

        Done once to a view: `settings` alone, as a plugin's author or a job file gives them, count as the job's own.
        """
        if isinstance(view.settings, ReadSettings):
            return view
        stated = {one.key for one in view.settings_set}
        own = [SettingSet(key=key, value=value) for key, value in view.settings.items() if key not in stated]
        values, used = in_force(self.settings, (*own, *view.settings_set), view.signed_under)
        return attrs.evolve(view, settings=ReadSettings(values), settings_used=used)

    def assess(self, view: JobView, steps: Sequence[str] | None = None) -> tuple[Assessed, ...]:
        """Run the calculators on a job; with `steps`, only those shown under them."""
        ready = watched(self.with_defaults(view))
        ready = attrs.evolve(ready, settings=ReadSettings(dict(ready.settings)))  # one a run: threads share a view
        wanted = [c for c in self.calculators if steps is None or c.step in steps or c.may_doubt]
        found = with_doubts([assessed for calculator in wanted for assessed in self._assess_one(calculator, ready)])
        return tuple(one for one in found if steps is None or one.step in steps)

    def _assess_one(self, calculator: Calculator, view: WatchedView) -> Iterator[Assessed]:
        name = self.owner_of("register_calculators", calculator.key)
        version = next(plugin.version for plugin in self.plugins if plugin.name == name)
        step = self.step(calculator.step)
        read = view.settings.read if isinstance(view.settings, ReadSettings) else set()
        read.clear()
        findings = _compute(calculator, view, name)
        used = tuple(view.settings_used[key] for key in sorted(read) if key in view.settings_used)
        for finding in findings:
            yield Assessed(
                calculator=calculator.key,
                title=calculator.title,
                step=calculator.step,
                phase=step.phase if step else Phase.ALONGSIDE,
                plugin=name,
                plugin_version=version,
                finding=finding,
                settings_used=used,
            )


OWN_METHOD = (Basis(BasisKind.METHOD, "a check of its plugin's own, which names no basis"),)
"""Stands for the basis of a calculator that names none, where the host has to say that it gave no result."""


def _compute(calculator: Calculator, view: WatchedView, plugin: str) -> tuple[Finding, ...]:
    """What one calculator finds. Nothing it does ends the others: whatever it raises becomes a finding.

    What it found before it failed stands: a fault of the boat must not go unseen for a fault of the plugin.
    """
    found: list[Finding] = []
    try:
        with plugin_code():
            _collect(found, calculator, view, plugin)
    except Exception as failure:
        found.append(_failed(calculator, plugin, told(failure), bool(found)))
    return tuple(found)


def _failed(calculator: Calculator, plugin: str, reason: str, has_begun: bool) -> Finding:
    stands = "What it found before stands, the rest was not judged. " if has_begun else ""
    return Finding(
        code=code_for(calculator.key, PLUGIN_FAILED),
        verdict=Verdict.NOT_ENOUGH_DATA,
        about=calculator.title,
        sentence=f"Plugin {plugin} failed in {calculator.key}: {reason}. {stands}Tell its author; other checks ran.",
        basis=_basis_of(calculator),
    )


def _collect(found: list[Finding], calculator: Calculator, view: WatchedView, plugin: str) -> None:
    most = most_findings(view)
    try:
        if calculator.applies(view):
            for finding in _with_what_was_read(calculator, view, plugin):
                found.append(finding)  # one at a time, so that those before a failure are kept
                if len(found) == most:
                    raise ValueError(f"it gives more than {most} findings")
    except NotEnoughData as lacking:
        lack = not_enough_data(calculator.title, lacking.missing, _basis_of(calculator))
        found.append(_finding(lack, calculator, plugin))


def _with_what_was_read(calculator: Calculator, view: WatchedView, plugin: str) -> Iterator[Finding]:
    """Findings with the values they rest on: those the plugin names, else those read since the finding before.

    Of a finding about one piece of equipment it is what was read of that piece; where nothing was read since, all is.
    """
    read: dict[FieldKey, None] = {}
    view.seen.clear()
    given = calculator.compute(view)
    if given is None or isinstance(given, Finding):
        raise TypeError(f"compute gives findings one after another, in a list or by 'yield', got {shown(given)}")
    for found in given:
        finding, fresh = _finding(found, calculator, plugin), tuple(view.seen)
        read.update(view.seen)
        view.seen.clear()
        named = any(place[0] != OF_VESSEL for place in finding.places)
        if named or finding.verdict is Verdict.NOT_ENOUGH_DATA:  # the latter says what is missing, and where
            yield finding
        elif finding.of:
            of_it = (place for place in read if place[3] in ("", finding.of))
            yield attrs.evolve(finding, places=(*of_it, *finding.places))
        else:
            yield attrs.evolve(finding, places=(*(fresh or read), *finding.places))


def _basis_of(calculator: Calculator) -> tuple[Basis, ...]:
    return calculator.basis if _all(calculator.basis, Basis) and calculator.basis else OWN_METHOD


def _all(items: object, kind: type[Any]) -> bool:
    return isinstance(items, tuple) and all(isinstance(item, kind) for item in items)


_PARTS: Mapping[str, type[Any]] = {
    "basis": Basis,
    "numbers": Number,
    "figures": Figure,
    "tables": Table,
    "missing": Missing,
    "notes": str,
    "places": tuple,
    "limits": Limit,
    "doubts": Doubt,
}


def _finding(found: Finding, calculator: Calculator, plugin: str) -> Finding:
    """The finding with a code, and a step for all that is missing.

    Raises TypeError for what no page could draw: a plugin is not type-checked. Raises PluginClash for a code that is
    a built-in plugin's own: whoever reads it by its code would take it for that one's.
    """
    if not isinstance(found, Finding):
        raise TypeError(f"compute gives findings, got {shown(found)}")
    if not isinstance(found.verdict, Verdict):
        raise TypeError(f"the verdict of a finding is a garboard.findings.Verdict, got {shown(found.verdict)}")
    for name in _PARTS:
        if not isinstance(parts := getattr(found, name), tuple):
            raise TypeError(f"{name} of a finding is a tuple of {_PARTS[name].__name__}, got {shown(parts)}")
    found = exact(found)
    _refuse_what_no_page_draws(found)
    _refuse_limits_of_nothing(found)
    _refuse_verdicts_against_limits(found)
    if found.doubts and not calculator.may_doubt:
        raise TypeError(f"a finding of {calculator.key} doubts values; register the calculator with may_doubt=True")
    if found.doubted:
        raise TypeError("doubted of a finding is for the program to fill in; name what is contradicted in doubts")
    _refuse_codes_of_others(found.code, plugin)
    missing = tuple(attrs.evolve(item, step=item.step or calculator.step) for item in found.missing)
    return cut(with_code(attrs.evolve(found, missing=missing) if missing else found, calculator.key))


def _refuse_what_no_page_draws(found: Finding) -> None:
    """Raise TypeError or ValueError for parts of another type, and for more places than a job has."""
    for name, kind in _PARTS.items():
        if not _all(parts := getattr(found, name), kind):
            raise TypeError(f"{name} of a finding is a tuple of {kind.__name__}, got {shown(parts)}")
    if len(found.places) > MOST_PLACES:
        raise ValueError(f"a finding names at most {MOST_PLACES} places, got {len(found.places)}; name each value once")
    for place in found.places:
        if len(place) != 4 or not all(map(is_text, place)):
            raise TypeError(f"places of a finding are each step, field, row and of as text, got {shown(place)}")
    for name in ("code", "about", "sentence", "short", "of"):
        if not is_text(text := getattr(found, name)):
            raise TypeError(f"{name} of a finding is text, got {shown(text)}")
    doubted = (one.place for one in found.doubts)
    lacking = ((one.step, one.field, one.row, one.of) for one in found.missing)
    names = (found.code, found.of, *(name for place in (*found.places, *doubted, *lacking) for name in place))
    for name in names:
        if len(name) > LONGEST_TEXT:
            raise ValueError(f"a code or the name of a place has at most {LONGEST_TEXT} letters, got {shown(name)}")


def _refuse_limits_of_nothing(found: Finding) -> None:
    """Raise ValueError for a limit nobody can tell the number of."""
    names = [number.name for number in found.numbers]
    for limit in found.limits:
        if names.count(limit.number) != 1:
            given = ", ".join(map(repr, names)) or "none"
            raise ValueError(
                f"a limit names one number of its finding, got {limit.number!r} among {given}; "
                "give that number, once and by that name"
            )


def _refuse_verdicts_against_limits(found: Finding) -> None:
    """Raise ValueError where a finding's own numbers, with their uncertainty, surely speak against its verdict."""
    bounded = [(number, limit, number.expanded_uncertainty or 0.0) for number, limit in found.bounded]
    if found.verdict is Verdict.PASS:
        for number, limit, half_width in bounded:
            if not limit.reaches(number.value, half_width):
                raise ValueError(
                    f"a pass has no number surely beyond its limit, got {number.name!r} of {number}; "
                    "give another verdict, or the limit it was held against"
                )
    kept = [limit.holds(number.value, half_width) for number, limit, half_width in bounded]
    if found.verdict is Verdict.FAIL and kept and all(kept):
        number = bounded[0][0]
        raise ValueError(
            f"a fail has a number that is not surely within its limit, got {number.name!r} of {number}; "
            "leave out limits that are kept"
        )


def _refuse_codes_of_others(code: str, plugin: str) -> None:
    if owner := _owner_of_code(code, plugin):
        raise PluginClash(f"{plugin} gives a finding the code {code!r}, which is {owner}'s; begin it with another word")


def _owner_of_code(code: str, plugin: str) -> str:
    """The built-in plugin whose own a code is, where it is another than this one; "" where it is nobody's."""
    owner = f"garboard_{code.partition('.')[0]}"
    return owner if owner in BUILT_IN and owner != plugin else ""


def _version_of(module: ModuleType) -> str:
    version = str(getattr(module, "__version__", "no version"))
    if not version.isprintable():
        raise ValueError(f"__version__ must be one line of plain text, got {version!r}; write it anew")
    return version


def make_host(
    built_in: Sequence[str] = BUILT_IN,
    *,
    entry_points: bool = True,
    files: Sequence[Path] = (),
    modules: Mapping[str, ModuleType] | None = None,
    without: Iterable[str] = (),
) -> PluginHost:
    """Load plugins.

    built_in     : module names to import
    entry_points : also load installed plugins of entry point group "garboard.plugins"
    files        : a shop's own plugins, each a Python file or a package's folder
    modules      : plugins already imported, by name
    without      : names not to load
    """
    manager = pluggy.PluginManager(hooks.PROJECT)
    manager.add_hookspecs(hooks)
    host = PluginHost(manager)
    off = set(without)
    for name, find in _sources(built_in, entry_points, files, modules or {}):
        if name not in off:
            host.load(name, find)
    return host


def _sources(
    built_in: Sequence[str], entry_points: bool, files: Sequence[Path], modules: Mapping[str, ModuleType]
) -> Iterator[tuple[str, Callable[[], ModuleType]]]:
    for name in built_in:
        yield name, partial(importlib.import_module, name)
    if entry_points:
        for entry in importlib.metadata.entry_points(group=ENTRY_POINT_GROUP):
            yield entry.name, entry.load
    for path in files:
        yield path.stem, partial(_import_file, path)
    for name, module in modules.items():
        yield name, partial(_itself, module)


def _refuse_other_versions(written_for: object) -> None:
    """Raise unless a plugin written for this `garboard.API_VERSION` works here."""
    newest, oldest = garboard.API_VERSION, garboard.OLDEST_API_VERSION
    if type(written_for) is not int or not 1 <= written_for <= LARGEST_VERSION:
        raise TypeError(
            f"{WRITTEN_FOR} must be a whole number from 1 to {LARGEST_VERSION}, got {_in_short(written_for)}; "
            f"state the garboard.API_VERSION it was written against, such as {newest}"
        )
    if written_for > newest:
        raise WrittenForAnotherVersion(
            f"it is written for version {written_for} of the plugin interface, and this program has version {newest}; "
            "update the program, or use an older version of the plugin"
        )
    if written_for < oldest:
        raise WrittenForAnotherVersion(
            f"it is written for version {written_for} of the plugin interface, and this program accepts {oldest} to "
            f"{newest}; get a newer version of the plugin, or ask its author for one"
        )


def _in_short(stated: object) -> str:
    """What a plugin states, as its author finds it. It may be anything: too long to print, or of a broken class."""
    try:
        text = repr(stated)
    except Exception:
        return "a number too long to show" if isinstance(stated, int) else f"something of {type(stated)}"
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 3]}..."


def _stated_in(file: Path) -> object:
    """What a plugin's file states as `written_for`, read without running it.

    A plugin for a newer program may import what is not there yet; its own failure would not say what to do.
    """
    source = file.read_bytes()
    try:
        body = ast.parse(source).body
    except (SyntaxError, ValueError):
        if too_long := _TOO_LONG_FOR_PYTHON.search(source):
            return 10 ** len(too_long[1])  # Python's own words would be about a setting of its interpreter
        return UNSTATED  # running it says what is wrong with it
    for line in body:
        if isinstance(line, ast.Assign | ast.AnnAssign) and isinstance(line.value, ast.Constant):
            targets = line.targets if isinstance(line, ast.Assign) else [line.target]
            if any(isinstance(target, ast.Name) and target.id == WRITTEN_FOR for target in targets):
                return line.value.value
    return UNSTATED


def _itself(module: ModuleType) -> ModuleType:
    return module


def _import_file(path: Path) -> ModuleType:
    file = path / "__init__.py" if path.is_dir() else path
    name = f"garboard_shop_file_{path.stem}"  # a shop's "json.py" must not stand in for the real one
    spec = importlib.util.spec_from_file_location(name, file)
    if spec is None or spec.loader is None or not file.exists():
        raise FileNotFoundError(f"{file} is not a Python file")
    _refuse_other_versions(_stated_in(file))
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module
