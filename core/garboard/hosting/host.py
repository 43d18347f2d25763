"""The plugin host: finds plugins, loads them, and keeps what they registered. An object, never a global."""

from __future__ import annotations

import importlib
import warnings
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext, suppress
from functools import partial
from itertools import chain
from pathlib import Path
from types import CellType, FunctionType, GeneratorType, ModuleType
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import attrs
import pluggy

from garboard import hooks
from garboard.checks.module import CheckModule
from garboard.faults import Fault, InputError, in_words, shown
from garboard.fields import Field
from garboard.findings import (
    MOST_PLACES,
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
from garboard.hosting.amended import LEFT_OUT, Amended, amended, with_left_out
from garboard.hosting.asked_for import Noted, noted_by
from garboard.hosting.asking import asking_fields, with_functions
from garboard.hosting.codes import (
    NOT_ENOUGH_DATA,
    NOT_JUDGED,
    PLUGIN_FAILED,
    code_for,
    key_in_codes,
    sources,
    with_code,
    written_in,
)
from garboard.hosting.cut import LONGEST_TEXT, cut, most_findings, told
from garboard.hosting.doubts import doubts_of_values, with_doubts
from garboard.hosting.equipment import KIND_TITLES, MOST_KINDS
from garboard.hosting.exact import exact
from garboard.hosting.failures import (
    NotJudgedHere,
    PluginFault,
    PluginProblem,
    code_of,
    cure_of,
    is_of_program,
    place_of_failure,
    problem_of,
    problems_of,
)
from garboard.hosting.judged_before import JudgedBefore
from garboard.hosting.own_copy import own_copy, own_view
from garboard.hosting.plugin_code import plugin_code
from garboard.hosting.renamed import former_names, with_names_of_today
from garboard.hosting.source_faults import faults_in_source, line_of_name
from garboard.hosting.sources import (
    CHECK,
    UNSTATED,
    WRITTEN_FOR,
    Source,
    find_module,
    installed_plugins,
    refuse_other_versions,
)
from garboard.hosting.vessel_facts import doubts_of
from garboard.hosting.watching import Declared, Told, WatchedView, watched
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen, is_text
from garboard.records import Forecast, Vessel, is_own_kind
from garboard.settings import ReadSettings, SettingSet, in_force
from garboard.steps import (
    Assessed,
    Calculator,
    EquipmentKind,
    LiveGuide,
    Phase,
    RecordingJudge,
    ReportSection,
    Setting,
    Step,
)
from garboard.units import OF_INSTRUMENTS

if TYPE_CHECKING:
    import click

    from garboard.checks.built_in import BuiltIn, Changes
    from garboard.hosting.apart import Apart, Offered

BUILT_IN = (
    "garboard_wiring_audit",
    "garboard_heading_calibration",
    "garboard_prop_check",
    "garboard_fuel_curve",
    "garboard_engine_trial",
    "garboard_handover",
    "garboard_shop",
)
"""Plugins that come with the program: the one line a new one adds beside its folder in plugins/.

Named here because a tablet package may carry no metadata to find them by, and because an installed package that is
called garboard_something is not ours for its name.
"""


class PluginClash(PluginFault, ValueError):
    """Two plugins offer something under one key."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason, "key_taken")


@frozen
class LoadedPlugin:
    """A plugin at work."""

    name: str
    version: str
    module: ModuleType = attrs.field(repr=False, eq=False)

    @property
    def file(self) -> str:
        """Its own, or its package's first; "" where it comes without."""
        return _file_of(self.module)

    @property
    def holds_code(self) -> bool:
        """Whether it may do what it likes; a check file is data, which the program itself judges by."""
        return not isinstance(self.module, CheckModule)

    @property
    def title(self) -> str:
        """The name as people say it: "wiring audit"."""
        return self.name.removeprefix("garboard_").replace("_", " ")


Item = TypeVar("Item")


@attrs.define
class _Register:
    """Everything registered under one hook, and by whom."""

    items: dict[str, Any] = attrs.field(factory=dict)
    owner: dict[str, str] = attrs.field(factory=dict)

    def for_plugin(
        self, plugin: str, kind: type[Item], key_of: Callable[[Item], str], called: Callable[[str], str] = str
    ) -> Callable[[Item], None]:
        """What a plugin calls with each thing it offers.

        called : how a person finds a plugin, by its name
        """

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
                first = self.owner[key]
                both = "twice" if first == plugin else f"by both {called(first)} and {called(plugin)}"
                raise PluginClash(f"{kind.__name__} {key!r} is offered {both}; rename one")
            self.items[key], self.owner[key] = item, plugin

        return register

    def withdraw(self, plugin: str) -> None:
        for key in [key for key, owner in self.owner.items() if owner == plugin]:
            del self.items[key], self.owner[key]


_KINDS: Mapping[str, type[Any]] = {
    "register_equipment": EquipmentKind,
    "register_steps": Step,
    "register_calculators": Calculator,
    "register_live_guides": LiveGuide,
    "register_report_sections": ReportSection,
    "register_settings": Setting,
    "register_recording_judges": RecordingJudge,
}


HOOKS = tuple(_KINDS)
"""Names of the hooks by which a plugin offers what a host keeps."""

_GIVING_CODES = (Calculator, RecordingJudge)
"""What gives findings, whose codes the host may make from its key."""


class Minder(Protocol):
    """Minds the code of a shop's own plugin that runs in the program itself."""

    def of(self, plugin: str, file: str, key: str) -> AbstractContextManager[object]:
        """Mind what is done inside: a plugin at one of its keys, "" when it is loaded."""


@attrs.define
class PluginHost:
    """Plugins and what they offer. Make one with `make_host`."""

    manager: pluggy.PluginManager
    plugins: list[LoadedPlugin] = attrs.field(factory=list)
    problems: list[PluginProblem] = attrs.field(factory=list)
    going: list[PluginProblem] = attrs.field(factory=list)
    """Hooks that plugins here still have and that are to go."""
    _apart: Apart | None = attrs.field(default=None, alias="apart")
    _runs_apart: bool = False
    minder: Minder | None = None
    _registers: dict[str, _Register] = attrs.field(factory=lambda: {hook: _Register() for hook in _KINDS})
    _offered: dict[str, Offered] = attrs.field(factory=dict)
    """What plugins offer that run in a process of their own."""
    _amended: Amended | None = None
    _claims: dict[str, frozenset[str]] = attrs.field(factory=dict)
    """Keys and codes of the shop's own plugins, by plugin, where they were looked at."""
    _files: dict[str, str] = attrs.field(factory=dict)
    """Where each plugin stands, also of one that is being loaded."""

    @property
    def apart(self) -> Apart | None:
        """The process of their own that plugins from elsewhere run in; None where they run here.

        It is made when it is first asked for: most shops have no plugin of their own.
        """
        if self._apart is None and self._runs_apart:
            from garboard.hosting.apart import Apart

            self._apart = Apart()
        return self._apart

    @apart.setter
    def apart(self, process: Apart | None) -> None:
        self._apart = process

    def load(self, name: str, find: Callable[[], ModuleType], file: str = "") -> None:
        """Load one plugin. A failure is listed in `problems`; what it registered before failing is withdrawn.

        file : where it stands, where that is known, to tell the line of a fault
        """
        module = None
        try:
            self._refuse_taken(name)
            with self.minding(name, file=file), plugin_code():
                module = find()
                self._files[name] = file or _file_of(module)
                refuse_other_versions(getattr(module, WRITTEN_FOR, UNSTATED))
                version = _version_of(module)
                _refuse_unknown_hooks(module)
                self._register_module(module, name)
                self.manager.check_pending()
                if not self.manager.get_hookcallers(module) and not getattr(module, "changes", None):
                    reason = "it offers nothing: no function in it is marked @garboard.hookimpl"
                    raise PluginFault(reason, "offers_nothing")
                self._call_hooks(name)
                self._refuse_same_functions(name)
                self._refuse_kinds(name)
            loaded = LoadedPlugin(name, version, module)
            self._refuse_shared(loaded)
        except Exception as failure:
            if module is not None and self.manager.is_registered(module):
                self.manager.unregister(module)
            self._refuse(name, failure, file or _file_of(module))
        else:
            self.plugins.append(loaded)

    def _register_module(self, module: ModuleType, name: str) -> None:
        """Hand a module to pluggy, and keep what it warns of: hooks that are to go, each with its line."""
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            self.manager.register(module, name)
        self.going += [
            PluginProblem(
                name=name,
                reason=str(one.message),
                code="hook_going",
                file=one.filename,
                line=one.lineno,
                cure=cure_of("hook_going"),
                at_work=True,
            )
            for one in warned
        ]

    def load_file(self, path: Path) -> None:
        """Load a plugin's file or folder; in a process of its own, where this host has one."""
        self.load_source(path.stem, Source(file=str(path.absolute())))

    def load_source(self, name: str, source: Source) -> None:
        """The same of a file or of what is installed."""
        if source.file.endswith(CHECK):  # it holds no code, so no process of its own
            self.load(name, partial(_find_check, source.file, self.built_in), source.file)
            self._amended = None
        elif (apart := self.apart) is None:
            self.load(name, partial(find_module, source), source.file)
        else:
            self._load_apart(name, apart, source)

    def _load_apart(self, name: str, apart: Apart, source: Source) -> None:
        try:
            self._refuse_taken(name)
        except PluginFault as failure:
            self._refuse(name, failure, source.file)
            return
        try:
            found = apart.load(name, source)
            self._files[name] = source.file or found.file
            for hook, items in found.items.items():
                register = self._registers[hook].for_plugin(
                    name, _KINDS[hook], lambda item: str(item.key), self._called
                )
                for item in items:
                    register(item)
            self._refuse_kinds(name)
            self._offered[name] = found
            loaded = LoadedPlugin(name, found.version, _stand_in(name, found.file))
            self._refuse_shared(loaded)
        except Exception as failure:
            apart.forget(name)
            self._refuse(name, failure, source.file)
        else:
            self.plugins.append(loaded)

    def _refuse_taken(self, name: str) -> None:
        """Raise PluginFault for a second plugin of a name: the first stays as it is."""
        if any(plugin.name == name for plugin in self.plugins):
            raise PluginFault(
                f"a plugin called {self._called(name)} is loaded already, and stays; call this one something else",
                "name_taken",
            )

    def _refuse(self, name: str, failure: Exception, file: str) -> None:
        if all(plugin.name != name for plugin in self.plugins):
            for register in self._registers.values():
                register.withdraw(name)
            self._claims.pop(name, None)
            self._offered.pop(name, None)
        self.problems += problems_of(failure, name, file)

    def _call_hooks(self, name: str) -> None:
        for hook, kind in _KINDS.items():
            register = self._registers[hook].for_plugin(name, kind, lambda item: str(item.key), self._called)
            try:
                with plugin_code():
                    given = self._hook_of_one(hook, name)(register=self._guarding_fields(name, register))
                if any(given) and name not in self._registers[hook].owner.values():
                    raise _returned(hook, name, self.manager.get_plugin(name))
            except Exception as failure:
                failure.add_note(f"in {hook}")
                raise

    def _refuse_same_functions(self, plugin: str) -> None:
        """Raise PluginFault for two calculators of one function, made anew in a loop: both see the loop's last value.

        They cannot judge differently, so one of them says of its own values what is true of another's.
        """
        register = self._registers["register_calculators"]
        seen: dict[object, str] = {}
        for key in [key for key, owner in register.owner.items() if owner == plugin]:
            compute = register.items[key].compute
            if not isinstance(compute, FunctionType) or all(map(_is_function_in, compute.__closure__ or ())):
                continue  # it sees nothing that a loop changes
            kept = tuple(map(id, (*(compute.__closure__ or ()), *(compute.__defaults__ or ()))))
            one = compute.__code__, kept, tuple(map(id, (compute.__kwdefaults__ or {}).values()))
            other = seen.setdefault(one, key)
            if other != key and register.items[other].compute is not compute:
                raise PluginFault(
                    f"calculators {other!r} and {key!r} do the same: their function is made in a loop and keeps its "
                    "last value",
                    "same_function",
                    file=compute.__code__.co_filename,
                    line=compute.__code__.co_firstlineno,
                )

    def _called(self, plugin: str) -> str:
        """A plugin as a person finds it: its name, with the name of its file where that is known."""
        file = Path(self._files.get(plugin, "")).name
        return f"{plugin} ({file})" if file and plugin not in BUILT_IN else plugin

    def _refuse_shared(self, plugin: LoadedPlugin) -> None:
        """Raise PluginClash for a key or code that another plugin of the shop's has as well.

        Wherever verdicts are counted by their codes, nobody could tell whose they are.
        """
        for other in self.plugins if plugin.name not in BUILT_IN else ():
            shared = self._claims_of(plugin) & self._claims_of(other) if other.name not in BUILT_IN else ()
            for what in sorted(shared):
                guest = self._called(self._guest(what, other.name, plugin.name))
                raise PluginClash(
                    f"{what!r} is a key or code of both {self._called(other.name)} and {self._called(plugin.name)}: "
                    f"nobody could tell whose verdict it is; rename it in {guest}"
                )

    def _claims_of(self, plugin: LoadedPlugin) -> frozenset[str]:
        """Every key of a plugin, as codes have it, and each code that its source or the host names for it.

        Worked out once, and not before a second plugin of the shop's is there.
        """
        if plugin.name not in self._claims:
            keys = [key for one in self._registers.values() for key, owner in one.owner.items() if owner == plugin.name]
            made = (NOT_ENOUGH_DATA, PLUGIN_FAILED, *NOT_JUDGED, *(verdict.name.lower() for verdict in Verdict))
            own = (code_for(key, what) for key in self._keys_of(plugin.name) for what in made)
            self._claims[plugin.name] = frozenset((*map(key_in_codes, keys), *own, *self.written_by(plugin)))
        return self._claims[plugin.name]

    @staticmethod
    def _guest(what: str, first: str, second: str) -> str:
        """Of two plugins the one whose name does not begin it; the second, where neither does."""
        return first if what.partition(".")[0] == second else second

    def _refuse_kinds(self, plugin: str) -> None:
        """Raise PluginFault for kinds of equipment that nobody could tell apart, or that no step can ask of.

        A step asks of each piece of a kind that its own plugin registers: another plugin may not be at work.
        """
        register = self._registers["register_equipment"]
        own = {key for key, owner in register.owner.items() if owner == plugin}
        taken = {title.casefold(): "the program" for title in KIND_TITLES.values()}
        taken |= {one.title.casefold(): register.owner[key] for key, one in register.items.items() if key not in own}
        if len(own) > MOST_KINDS:
            raise PluginFault(f"it offers {len(own)} kinds of equipment, at most {MOST_KINDS}", "too_large")
        for key in sorted(own):
            kind: EquipmentKind = register.items[key]
            if not kind.title.strip():
                raise PluginFault(f"equipment {key!r} has no title", "no_title")
            other = taken.setdefault(kind.title.casefold(), plugin)
            if other != plugin or sum(kind.title.casefold() == register.items[one].title.casefold() for one in own) > 1:
                reason = (
                    f"equipment {key!r} is called {kind.title!r}, as is a kind of {other}: nobody can tell them apart"
                )
                raise PluginFault(reason, "kind_taken")
        steps = self._registers["register_steps"]
        for key in [key for key, owner in steps.owner.items() if owner == plugin]:
            for field in steps.items[key].all_fields():
                kinds = [field.each, field.of_several, *(one for one in field.offers_from if one in register.items)]
                if unknown := [one for one in kinds if is_own_kind(one) and one not in own]:
                    reason = (
                        f"field {field.name!r} of step {key!r} asks of each {unknown[0]!r}, a kind it does not register"
                    )
                    raise PluginFault(reason, "unknown_kind")

    def _guarding_fields(self, plugin: str, register: Callable[[Any], None]) -> Callable[[Any], None]:
        """Registers a step so that its fields' own functions keep a page from nothing, whatever they do."""
        if plugin in BUILT_IN:
            return register

        def ask(function: Callable[..., Any], vessel: Vessel, of: str) -> Any:
            with suppress(Exception), self.minding(plugin, "plausible"), plugin_code():
                return function(own_copy(vessel), of)
            return None

        def guarding(item: Any) -> None:
            asking = asking_fields(item) if isinstance(item, Step) else {}
            guarded = {name: partial(ask, function) for name, function in asking.items()}
            register(with_functions(item, guarded) if guarded else item)

        return guarding

    def _hook_of_one(self, hook: str, name: str) -> pluggy.HookCaller:
        others = [plugin for other, plugin in self.manager.list_name_plugin() if other != name and plugin]
        return self.manager.subset_hook_caller(hook, others)

    @property
    def built_in(self) -> BuiltIn:
        """The steps and settings of the plugins that come with the program, as these declare them."""
        from garboard.checks.built_in import BuiltIn  # here: as for `_find_check`

        return BuiltIn(steps=self._of_program("register_steps"), settings=self._of_program("register_settings"))

    def _of_program(self, hook: str) -> dict[str, Any]:
        register = self._registers[hook]
        return {key: item for key, item in register.items.items() if register.owner[key] in BUILT_IN}

    @property
    def amended(self) -> Amended:
        """What check files change of them."""
        if self._amended is None:
            checks = [one.module for one in self.plugins if isinstance(one.module, CheckModule) and one.module.changes]
            self._amended = amended(
                checks, self._registers["register_steps"].items, self._registers["register_settings"].items
            )
        return self._amended

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps, by phase, then order, then key."""
        phases = list(Phase)
        steps: Iterable[Step] = {**self._registers["register_steps"].items, **self.amended.steps}.values()
        return tuple(sorted(steps, key=lambda step: (phases.index(step.phase), step.order, step.key)))

    def step(self, key: str) -> Step | None:
        """The step with a key, or None when no loaded plugin offers it."""
        step: Step | None = self.amended.steps.get(key) or self._registers["register_steps"].items.get(key)
        return step

    def check_awaited(self, step: str, field: str) -> str:
        """The check that asked a field besides in a step, where it is not at work here; "" for any other field."""
        found, (check, dot, _) = self.step(step), field.partition(".")
        return check if dot and found is not None and found.field(field) is None else ""

    @property
    def equipment(self) -> Mapping[str, EquipmentKind]:
        """Kinds of equipment that plugins declare, by key, in the order they are shown."""
        kinds: Iterable[EquipmentKind] = self._registers["register_equipment"].items.values()
        return {kind.key: kind for kind in sorted(kinds, key=lambda kind: (kind.order, kind.key))}

    @property
    def declared(self) -> Declared:
        """The fields of every step, columns of tables included, and those of kinds of equipment under `OF_VESSEL`."""
        of_steps = {
            step.key: {field.name: Told(field.title, field.unit) for field in step.all_fields()} for step in self.steps
        }
        kinds = self.equipment.values()
        of_kinds = {
            f"{kind.key}.{field.name}": Told(field.title, field.unit) for kind in kinds for field in kind.fields
        }
        return {**of_steps, OF_VESSEL: of_kinds}

    @property
    def _doubting(self) -> Mapping[tuple[str, str], Field]:
        """The fields that say outside what a value is doubted, by step and name."""
        fields = ((step.key, field) for step in self.steps for field in step.all_fields())
        return {(step, field.name): field for step, field in fields if field.doubted_outside}

    @property
    def faults(self) -> tuple[PluginProblem, ...]:
        """What is wrong with plugins, those that come with the program left out: first what keeps one from working."""
        own = [plugin for plugin in self.plugins if plugin.name not in BUILT_IN]
        in_keys = [fault for plugin in own for fault in self._faults_in_keys(plugin)]
        slow = (*self._apart.left_out, *self._apart.not_run_again) if self._apart is not None else ()
        return (*self.problems, *slow, *in_keys, *(fault for plugin in own for fault in self._faults_in_source(plugin)))

    def _faults_in_source(self, plugin: LoadedPlugin) -> Iterable[PluginProblem]:
        """Read where the plugin runs: a source may be such that whoever reads it ends."""
        if plugin.name in self._offered:
            return self._offered[plugin.name].faults
        going = [one for one in self.going if one.name == plugin.name]
        return [*going, *(fault for file in sources(plugin.module) for fault in faults_in_source(plugin.name, file))]

    def _faults_in_keys(self, plugin: LoadedPlugin) -> Iterator[PluginProblem]:
        for calculator in self.calculators:
            is_own = self.owner_of("register_calculators", calculator.key) == plugin.name
            if is_own and self.step(calculator.step) is None:
                reason = f"calculator {calculator.key!r} shows its findings under {calculator.step!r}, which is no step"
                yield self._fault(plugin, reason, "unknown_step")
        for hook, register in self._registers.items():
            for key in [key for key, owner in register.owner.items() if owner == plugin.name]:
                if other := _owner_of_code(f"{key}.", plugin.name):
                    reason = f"{_KINDS[hook].__name__} {key!r} begins with the name of {other}"
                    yield self._fault(plugin, reason, "others_key")
                for what in _without_title(register.items[key], f"{_KINDS[hook].__name__} {key!r}"):
                    yield self._fault(plugin, f"{what} has no title, so its place on the page is empty", "no_title")
        for reason in self._of_one_title(plugin):
            yield self._fault(plugin, reason, "same_title")

    def _of_one_title(self, plugin: LoadedPlugin) -> Iterator[str]:
        """Fields of a plugin that have the title of another beside them: a person would see the same line twice."""
        changes, steps = self.changes_of(plugin.name), self._registers["register_steps"]
        added = {key: {one.name for one in fields} for key, fields in changes.fields.items()} if changes else {}
        for step in self.steps:
            own = {one.name for one in step.fields} if steps.owner[step.key] == plugin.name else added.get(step.key, ())
            yield from _same_titles(f"step {step.key!r}", step.fields, own)
        for key, kind in self.equipment.items():
            if self.owner_of("register_equipment", key) == plugin.name:
                yield from _same_titles(f"equipment {key!r}", kind.fields, {one.name for one in kind.fields})

    def _fault(self, plugin: LoadedPlugin, reason: str, code: str) -> PluginProblem:
        return PluginProblem(
            name=plugin.name, reason=reason, code=code, file=plugin.file, cure=cure_of(code), at_work=True
        )

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
        settings: Iterable[Setting] = {**self._registers["register_settings"].items, **self.amended.settings}.values()
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
            ended = [] if plugin.name in BUILT_IN else NOT_JUDGED
            made = (NOT_ENOUGH_DATA, PLUGIN_FAILED, *verdicts, *ended)
            found.update(code_for(key, what) for key in keys for what in made)
            found.update(self.written_by(plugin))
        found.update(code_for(step.key, LEFT_OUT) for step in self.steps)
        return frozenset(found)

    def written_by(self, plugin: LoadedPlugin) -> frozenset[str]:
        """The codes that a plugin itself writes, as its source tells. Read where the plugin runs."""
        if plugin.name in self._offered:
            return self._offered[plugin.name].codes
        return _codes_in(plugin.name, plugin.module, {key.partition(".")[0] for key in self._keys_of(plugin.name)})

    def _keys_of(self, plugin: str) -> list[str]:
        """Keys of a plugin's calculators and recording judges: what makes findings."""
        owners = (self._registers[hook].owner for hook in ("register_calculators", "register_recording_judges"))
        return [key for owner in owners for key, name in owner.items() if name == plugin]

    def minding(self, plugin: str, key: str = "", file: str = "") -> AbstractContextManager[object]:
        """Around a plugin's code: it is minded where this host has somebody for that. Built-in plugins are not."""
        if self.minder is None or plugin in BUILT_IN:
            return nullcontext()
        file = file or next((one.file for one in self.plugins if one.name == plugin), "")
        return self.minder.of(plugin, file, key)

    def registered(self, hook: str, key: str) -> Any:
        """What was registered under a key of a hook. Raises KeyError."""
        return self._registers[hook].items[key]

    def all_registered(self, hook: str) -> tuple[Any, ...]:
        """All that was registered under a hook, in the order of calls."""
        return tuple(self._registers[hook].items.values())

    def owner_of(self, hook: str, key: str) -> str:
        """The plugin that registered a key under a hook."""
        return self._registers[hook].owner[key]

    def offers_of(self, plugin: str) -> dict[str, dict[str, str]]:
        """What a plugin offers, by what it is ("steps"), in the order of calls, and what a check changes.

        Each by its key, with its title.
        """
        offered = {
            hook.removeprefix("register_"): {
                key: _title_of(register.items[key]) or key for key, owner in register.owner.items() if owner == plugin
            }
            for hook, register in self._registers.items()
        }
        changes = self.changes_of(plugin)
        if not changes:
            return offered
        steps, settings = (self._registers[hook].items for hook in ("register_steps", "register_settings"))
        return offered | changes.in_titles({key: _title_of(one) for key, one in {**settings, **steps}.items()})

    def changes_of(self, plugin: str) -> Changes | None:
        """What a check file changes of the program's own steps and settings."""
        module = next((one.module for one in self.plugins if one.name == plugin), None)
        return module.changes if isinstance(module, CheckModule) and module.changes else None

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
                    for command in self._known_commands(plugin.name):
                        register(command)
                    self._hook_of_one("register_commands", plugin.name)(register=register)
            except Exception as failure:
                found.withdraw(plugin.name)
                failure.add_note("in register_commands")
                self.problems.append(problem_of(failure, plugin.name, plugin.file))
        return dict(found.items)

    def _known_commands(self, plugin: str) -> Iterator[click.Command]:
        """Commands of a plugin that runs in a process of its own."""
        if plugin in self._offered:
            from garboard.hosting.own_commands import command_apart

            offered = self._offered[plugin]
            yield from (command_apart(one, partial(_commands_here, plugin, offered.source)) for one in offered.commands)

    def with_defaults(self, view: JobView) -> JobView:
        """The view with the fields' names of today, and every setting that holds: what was set, or else its default.

        Done once to a view: `settings` alone, as a plugin's author or a job file gives them, count as the job's own.
        """
        if isinstance(view.settings, ReadSettings):
            return view
        stated = {one.key for one in view.settings_set}
        own = [SettingSet(key=key, value=value) for key, value in view.settings.items() if key not in stated]
        values, used = in_force(self.settings, (*own, *view.settings_set), view.signed_under)
        named = with_names_of_today(view, former_names(self._registers["register_steps"].items.values()))
        return attrs.evolve(
            named,
            settings=ReadSettings(values),
            settings_used=used,
            units_aside=self._units_aside(),
            left_out=self.amended.left_out(named),
        )

    def with_left_out(self, view: JobView) -> JobView:
        """The view with the steps that the shop leaves out of it."""
        left_out = self.amended.left_out(view)
        return attrs.evolve(view, left_out=left_out) if left_out != view.left_out else view

    def _units_aside(self) -> frozenset[tuple[str, str]]:
        return frozenset(
            (step.key, field.name)
            for step in self.steps
            for field in step.all_fields()
            if field.quantity in OF_INSTRUMENTS
        )

    def assess(
        self, view: JobView, steps: Sequence[str] | None = None, before: JudgedBefore | None = None
    ) -> tuple[Assessed, ...]:
        """Run the calculators on a job; with `steps`, only those shown under them.

        before : of the same job, maybe with other settings; what it lacks is added
        """
        ready = watched(self.with_defaults(view), self.declared)
        settings = ReadSettings(dict(ready.settings))  # one a run: threads share a view
        ready = attrs.evolve(ready, settings=settings)
        calculators, found = self.calculators, dict[str, list[Assessed]]()
        views: dict[str, WatchedView] = {}
        for calculator in calculators:
            if steps is None or calculator.step in steps:
                known = before.of(calculator.key, ready) if before is not None else None
                found[calculator.key] = list(self._assess_one(calculator, ready, views) if known is None else known)
                is_ours = self.owner_of("register_calculators", calculator.key) in BUILT_IN
                if before is not None and known is None and is_ours:  # what a shop's own reads is not all known
                    before.keep(calculator.key, found[calculator.key], tuple(settings.read), ready)
        rest_on = {_owner_of(place) for each in found.values() for one in each for place in one.finding.places}
        for calculator in calculators:
            if calculator.key not in found and calculator.may_doubt_of(rest_on):
                found[calculator.key] = list(self._assess_one(calculator, ready, views))
        in_order = [one for calculator in calculators for one in found.get(calculator.key, ())]
        in_order = [*self._with_own_codes(in_order)]
        doubts = (*doubts_of(view.vessel), *doubts_of_values(ready.measurements, self._doubting, view.vessel))
        told = tuple(with_doubts(in_order, doubts))
        if ready.left_out:
            told = with_left_out(told, ready, self.steps, self._whose)
        return tuple(one for one in told if steps is None or one.step in steps)

    def _with_own_codes(self, found: Iterable[Assessed]) -> Iterator[Assessed]:
        """Findings of which none has a code that is another plugin's: such a one is told as a fault of its plugin.

        A code may be put together as it is given, so no source names it.
        """
        own = {plugin.name: plugin for plugin in self.plugins if plugin.name not in BUILT_IN}
        owners = {code: name for name in own for code in self._claims_of(own[name])} if len(own) > 1 else {}
        for one in found:
            code, owner = one.finding.code, one.plugin
            if owners and owner in own:
                owner = owners.setdefault(code, owners.get(code.rpartition(".")[0], owner))
            if owner == one.plugin:
                yield one
                continue
            fault = PluginClash(f"it gives the code {code!r}, which is of {self._called(owner)}; call it otherwise")
            calculator = self.registered("register_calculators", one.calculator)
            yield attrs.evolve(one, finding=_failed(calculator, own[one.plugin], fault, False))

    def _whose(self, step: Step) -> tuple[str, str]:
        """The plugin of a step, and its version."""
        name = self.owner_of("register_steps", step.key)
        return name, next(plugin.version for plugin in self.plugins if plugin.name == name)

    def assess_with(self, plugin: str, view: JobView) -> tuple[Assessed, ...]:
        """Run the calculators of one plugin alone; no doubts of others are told."""
        ready = watched(self.with_defaults(view), self.declared)
        ready = attrs.evolve(ready, settings=ReadSettings(dict(ready.settings)))
        own = [one for one in self.calculators if self.owner_of("register_calculators", one.key) == plugin]
        views: dict[str, WatchedView] = {}
        found = (assessed for calculator in own for assessed in self._assess_one(calculator, ready, views))
        return tuple(self._with_own_codes(found))

    def asked_by(self, calculator: Calculator, view: JobView) -> tuple[Noted, tuple[str, ...]]:
        """What a calculator asks of a job that has its defaults, given or not, and the settings it reads."""
        name = self.owner_of("register_calculators", calculator.key)
        if name in self._offered and self.apart is not None:
            with suppress(PluginFault):  # its findings say what is wrong with it
                return self.apart.asked(name, calculator.key, watched(view, self.declared))
            return {}, ()
        with self.minding(name, calculator.key):
            return noted_by(calculator, view, self.declared)

    def shares_program(self, plugin: str) -> bool:
        """Whether it is a shop's own plugin that runs in the program itself: what it is given is a copy."""
        is_data = any(one.name == plugin and not one.holds_code for one in self.plugins)
        return plugin not in BUILT_IN and plugin not in self._offered and not is_data

    def _assess_one(
        self, calculator: Calculator, view: WatchedView, views: dict[str, WatchedView]
    ) -> Iterator[Assessed]:
        """Run one calculator.

        views : what each shop's own plugin judges, copied when the first of its calculators runs
        """
        name = self.owner_of("register_calculators", calculator.key)
        plugin = next(plugin for plugin in self.plugins if plugin.name == name)
        step = self.step(calculator.step)
        if self.shares_program(name):
            if name not in views:
                views[name] = watched(own_view(view), self.declared)
            view = views[name]
        read = view.settings.read if isinstance(view.settings, ReadSettings) else set()
        read.clear()
        findings = _compute(calculator, view, plugin, self.minding(name, calculator.key))
        used = tuple(view.settings_used[key] for key in sorted(read) if key in view.settings_used)
        for finding, is_cut in findings:
            yield Assessed(
                calculator=calculator.key,
                title=calculator.title,
                step=calculator.step,
                phase=step.phase if step else Phase.ALONGSIDE,
                plugin=name,
                plugin_version=plugin.version,
                finding=finding,
                shortened=is_cut,
                settings_used=used,
            )


def _owner_of(place: FieldKey) -> str:
    """The plugin in whose step a place is, or `OF_VESSEL`."""
    return place[0].partition(".")[0]


OWN_METHOD = (Basis(BasisKind.METHOD, "a check of its plugin's own, which names no basis"),)
"""Stands for the basis of a calculator that names none, where the host has to say that it gave no result."""


_Kept = tuple[Finding, bool]
"""A finding as a page can hold it, and whether something of it was cut."""


def _compute(
    calculator: Calculator, view: WatchedView, plugin: LoadedPlugin, minding: AbstractContextManager[object]
) -> tuple[_Kept, ...]:
    """What one calculator finds. Nothing it does ends the others: whatever it raises becomes a finding.

    What it found before it failed stands: a fault of the boat must not go unseen for a fault of the plugin.
    """
    found: list[_Kept] = []

    def keep(finding: Finding) -> None:
        shorter = cut(finding)
        found.append((shorter, shorter is not finding))

    try:
        with minding, plugin_code():
            try:
                collect(keep, calculator, view, plugin.name)
            except NotEnoughData as lacking:
                lack = not_enough_data(calculator.title, lacking.missing, _basis_of(calculator))
                keep(_finding(lack, calculator, plugin.name))
    except Exception as failure:
        found.append((_failed(calculator, plugin, failure, bool(found)), False))
    return tuple(found)


def _failed(calculator: Calculator, plugin: LoadedPlugin, failure: Exception, has_begun: bool) -> Finding:
    stands = "What it found before stands, the rest was not judged. " if has_begun else ""
    if isinstance(failure, NotJudgedHere):
        code, said = failure.code, f"Not judged here: {told(failure)} (plugin {plugin.name}, {calculator.key})."
    else:
        file, line = place_of_failure(failure, plugin.file)
        where = f" ({Path(file).name}, line {line})" if line else ""
        code, said = PLUGIN_FAILED, f"Plugin {plugin.name} failed in {calculator.key}: {told(failure)}{where}."
    return Finding(
        code=code_for(calculator.key, code),
        verdict=Verdict.NOT_ENOUGH_DATA,
        about=calculator.title,
        sentence=f"{said} {stands}Tell its author; other checks ran.",
        basis=_basis_of(calculator),
    )


def collect(keep: Callable[[Finding], None], calculator: Calculator, view: WatchedView, plugin: str) -> None:
    """Keep what a calculator finds, checked, one at a time, so that those before a failure are kept.

    Raises whatever the plugin raises, NotEnoughData among it, and TypeError or ValueError for what no page can draw.
    """
    try:
        if calculator.applies(view):
            most = most_findings(view)
            for count, finding in enumerate(_with_what_was_read(calculator, view, plugin), 1):
                keep(finding)
                if count == most:
                    raise ValueError(f"it gives more than {most} findings")
    except (PluginFault, NotEnoughData):
        raise
    except Exception as failure:
        file, line = _begin_of(calculator.compute)
        if plugin in BUILT_IN or not line or is_of_program(file) or place_of_failure(failure, file)[1]:
            raise
        # it was through its own code: the line where that begins is the nearest there is
        raise PluginFault(in_words(failure), code_of(failure), file=file, line=line) from failure


def _with_what_was_read(calculator: Calculator, view: WatchedView, plugin: str) -> Iterator[Finding]:
    """Findings with the values they rest on: those the plugin names, else those read since the finding before.

    Of a finding about one piece of equipment it is what was read of that piece; where nothing was read since, all is.
    """
    read: dict[FieldKey, None] = {}
    facts: dict[FieldKey, None] = {}
    view.seen.clear()
    view.facts.clear()
    view.asked.clear()
    is_own = plugin not in BUILT_IN
    before = {name: len(kept) for name, kept in _kept_outside(calculator)} if is_own else {}
    given = calculator.compute(view)
    if given is None or isinstance(given, Finding):
        raise _gives_no_findings(calculator, given)
    for found in given:
        if is_own and isinstance(found, Finding):
            view.refuse_unchecked(found.verdict)
            _refuse_kept(found, calculator, before)
        finding, fresh = _checked(found, calculator, plugin, given), dict.fromkeys(view.seen)
        finding = _with_facts(finding, facts | view.facts)
        facts.update(view.facts)
        view.facts.clear()
        read.update(fresh)
        view.seen.clear()
        named = any(place[0] != OF_VESSEL for place in finding.places)
        if named or finding.verdict is Verdict.NOT_ENOUGH_DATA:  # the latter says what is missing, and where
            yield finding
        elif finding.of:
            of_it = (place for place in read if place[3] in ("", finding.of))
            yield attrs.evolve(finding, places=tuple(dict.fromkeys((*of_it, *finding.places))))
        else:
            yield attrs.evolve(finding, places=tuple(dict.fromkeys((*(fresh or read), *finding.places))))


def _checked(found: Finding, calculator: Calculator, plugin: str, given: object) -> Finding:
    """A finding as `_finding` takes it. What it refuses is told by the line that gives the finding."""
    try:
        return _finding(found, calculator, plugin)
    except Exception as failure:
        file, line = _line_of_yield(given)
        if plugin in BUILT_IN or not line or is_of_program(file):
            raise
        raise PluginFault(told(failure), code_of(failure), file=file, line=line) from failure


def _line_of_yield(given: object) -> tuple[str, int]:
    """File and line of the `yield` at which a function stands; no line of a list."""
    while isinstance(given, GeneratorType) and isinstance(given.gi_yieldfrom, GeneratorType):
        given = given.gi_yieldfrom
    frame = given.gi_frame if isinstance(given, GeneratorType) else None
    return (frame.f_code.co_filename, frame.f_lineno) if frame else ("", 0)


def _kept_outside(calculator: Calculator) -> Iterator[tuple[str, Collection[Any]]]:
    """Lists, sets and dicts that stand outside the functions of a calculator's file, or as a default of its own."""
    outside = getattr(calculator.compute, "__globals__", {})
    defaults = getattr(calculator.compute, "__defaults__", None) or ()
    named = [*outside.items(), *((f"the default {number + 1}", kept) for number, kept in enumerate(defaults))]
    return ((name, kept) for name, kept in named if type(kept) in (list, set, dict))


def _refuse_kept(found: Finding, calculator: Calculator, before: Mapping[str, int]) -> None:
    """Raise PluginFault for a finding that is kept outside: the next boat would get it, too."""
    for name, kept in _kept_outside(calculator):
        if len(kept) != before.get(name) and any(
            one is found for one in (kept.values() if isinstance(kept, dict) else kept)
        ):
            file, line = _begin_of(calculator.compute)
            reason = f"it keeps its findings in {name}, so the next boat would get them as well"
            raise PluginFault(reason, "keeps_state", file=file, line=line)


def _gives_no_findings(calculator: Calculator, given: object) -> PluginFault:
    """Told by the line where the function begins: its code is through when this is seen."""
    file, line = _begin_of(calculator.compute)
    cure = "write 'yield' in place of 'return'" if given is not None else "write 'yield' before each Finding(...)"
    return PluginFault(
        f"compute gives findings one after another, in a list or by 'yield', got {shown(given)}: {cure}",
        "wrong_type",
        cure=cure,
        file=file,
        line=line,
    )


def _with_facts(finding: Finding, facts: Mapping[FieldKey, None]) -> Finding:
    """The finding with the doubted facts of the vessel that were read for it: of one piece, those of that piece."""
    of_it = [place for place in facts if place not in finding.places and place[3] in ("", finding.of or place[3])]
    return attrs.evolve(finding, places=(*finding.places, *of_it)) if of_it else finding


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
    "forecasts": Forecast,
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
    if unsaid := next((one.step for one in found.doubts if not calculator.may_doubt_of({_owner_of(one.place)})), ""):
        raise TypeError(f"a finding of {calculator.key} doubts a value of {unsaid}; name its plugin in doubts_in")
    if found.doubted:
        raise TypeError("doubted of a finding is for the program to fill in; name what is contradicted in doubts")
    for code in (found.code, found.code_in_doubt):
        _refuse_codes_of_others(code, plugin)
    missing = tuple(attrs.evolve(item, step=item.step or calculator.step) for item in found.missing)
    return with_code(attrs.evolve(found, missing=missing) if missing else found, calculator.key)


def _refuse_what_no_page_draws(found: Finding) -> None:
    """Raise TypeError or ValueError for parts of another type, and for more places than a job has."""
    for name, kind in _PARTS.items():
        if (parts := getattr(found, name)) and not _all(parts, kind):
            raise TypeError(f"{name} of a finding is a tuple of {kind.__name__}, got {shown(parts)}")
    if len(found.places) > MOST_PLACES:
        raise ValueError(f"a finding names at most {MOST_PLACES} places, got {len(found.places)}; name each value once")
    for place in () if _are_places(found.places) else found.places:
        if len(place) != 4 or not all(map(is_text, place)):
            raise TypeError(f"places of a finding are each step, field, row and of as text, got {shown(place)}")
    for name in ("code", "about", "sentence", "short", "of", "code_in_doubt", "sentence_in_doubt"):
        if not is_text(text := getattr(found, name)):
            raise TypeError(f"{name} of a finding is text, got {shown(text)}")
    if not found.about.strip() and not found.sentence.strip():
        raise ValueError("a finding says what it is about and what was found, got neither")
    doubted = (one.place for one in found.doubts)
    lacking = ((one.step, one.field, one.row, one.of) for one in found.missing)
    names = [
        found.code,
        found.code_in_doubt,
        found.of,
        *(name for place in (*found.places, *doubted, *lacking) for name in place),
    ]
    if max(map(len, names)) > LONGEST_TEXT:
        name = max(names, key=len)
        raise ValueError(f"a code or the name of a place has at most {LONGEST_TEXT} letters, got {shown(name)}")


def _are_places(places: Sequence[FieldKey]) -> bool:
    """Whether all are: all their words are looked at together, as a finding may rest on hundreds of places."""
    words = list(chain.from_iterable(places))
    return set(map(len, places)) <= {4} and set(map(type, words)) <= {str} and is_text("".join(words))


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


def _returned(hook: str, plugin: str, module: object) -> PluginFault:
    """Told of a hook that gives back what it is to register: nobody looks at that."""
    file, line = _begin_of(getattr(module, hook, None))
    reason = f"{hook} registers nothing: it returns or yields what it offers"
    return PluginFault(reason, "hook_returns", file=file, line=line)


def _begin_of(function: object) -> tuple[str, int]:
    """File and line where a function begins; where a decorator stands above it, of that."""
    code = getattr(function, "__code__", None)
    return (code.co_filename, code.co_firstlineno) if code else ("", 0)


def _title_of(item: Any) -> str:
    """What a person calls a thing that is offered."""
    return item.field.title if isinstance(item, Setting) else str(item.title)


def _without_title(item: Any, called: str) -> list[str]:
    """What of a thing that is offered has no title: itself, or a field of it."""
    fields: Iterable[Field] = ()
    if isinstance(item, Step):
        fields = item.all_fields()
    elif isinstance(item, EquipmentKind):
        fields = item.fields
    elif isinstance(item, Setting):
        fields = (item.field,)
    nameless = [f"field {field.name!r} of {called}" for field in fields if not field.title.strip()]
    return nameless if getattr(item, "title", called).strip() else [called, *nameless]


def _same_titles(where: str, fields: Sequence[Field], own: Collection[str]) -> Iterator[str]:
    """What to say of fields, or columns of a table, of one title, where one of the two is among a plugin's own."""
    first: dict[str, str] = {}
    for field in fields:
        other = first.setdefault(field.title.strip().casefold(), field.name)
        if other != field.name and field.title.strip() and not {other, field.name}.isdisjoint(own):
            two = f"fields {other!r} and {field.name!r} of {where}"
            yield f"{two} are both called {field.title!r}, so nobody can tell them apart"
        if field.name in own and field.columns:
            columns = {one.name for one in field.columns}
            yield from _same_titles(f"table {field.name!r} in {where}", field.columns, columns)


def _is_function_in(cell: CellType) -> bool:
    try:
        return callable(cell.cell_contents)
    except ValueError:  # nothing is in it
        return True


def _refuse_unknown_hooks(module: ModuleType) -> None:
    """Raise PluginFault for a function that is marked as a hook and called as none is."""
    known = [name for name in hooks.__all__ if name not in ("each_of", "hookimpl")]
    for name, function in vars(module).items():
        if hasattr(function, f"{hooks.PROJECT}_impl") and name not in known:
            from difflib import get_close_matches  # here: nearly all words are known

            near = get_close_matches(name, known, n=1)
            perhaps = f"; perhaps {near[0]} is meant" if near else ""
            file, line = _begin_of(function)
            if file != (own := _file_of(module)):  # made by each_of, or by another file
                file, line = own, line_of_name(Path(own), name)
            raise PluginFault(f"no hook is called {name}{perhaps}", "wrong_hook", file=file, line=line)


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
    apart: bool = False,
    minder: Minder | None = None,
) -> PluginHost:
    """Load plugins.

    built_in     : module names to import
    entry_points : also load installed plugins of entry point group "garboard.plugins"
    files        : a shop's own plugins, each a Python file or a package's folder
    modules      : plugins already imported, by name
    without      : names not to load
    apart        : run those of entry points and files in a process of their own, and never import them here
    minder       : minds those that run here
    """
    host = empty_host(runs_apart=apart)
    host.minder = minder
    off = set(without)
    here: dict[str, Callable[[], ModuleType]] = {name: partial(importlib.import_module, name) for name in built_in}
    for name, find in here.items():
        if name not in off:
            host.load(name, find)
    for name, source in _from_elsewhere(entry_points, files):
        if name not in off:
            host.load_source(name, source)
    for name, module in (modules or {}).items():
        if name not in off:
            host.load(name, partial(_itself, module))
    return host


def refuse_unknown_names(without: Collection[str], others: Iterable[str]) -> None:
    """Raise InputError for a name to leave out that no plugin has.

    others : names of plugins that neither come with the program nor are installed
    """
    if not without:
        return  # to list what is installed takes as long as to load a plugin
    installed = [entry.name for entry in installed_plugins()]
    known = [*BUILT_IN, *installed, *others]
    faults = [Fault("--without", f"one of {', '.join(known)}", repr(name)) for name in without if name not in known]
    if faults:
        raise InputError("garboard", faults)


def empty_host(*, runs_apart: bool = False) -> PluginHost:
    """A host of no plugins.

    runs_apart : whether those from elsewhere will run in a process of their own
    """
    manager = pluggy.PluginManager(hooks.PROJECT)
    manager.add_hookspecs(hooks)
    return PluginHost(manager, runs_apart=runs_apart)


def _commands_here(name: str, source: Source) -> tuple[Mapping[str, click.Command], str]:
    """Commands of a plugin that is imported here after all, as one of them was asked for; why there are none."""
    host = empty_host()
    host.load(name, partial(find_module, source), source.file)
    return host.commands(), "; ".join(problem.reason for problem in host.problems)


def _from_elsewhere(entry_points: bool, files: Sequence[Path]) -> Iterator[tuple[str, Source]]:
    if entry_points:
        for entry in installed_plugins():
            yield entry.name, Source(entry=entry.name)
    for path in files:
        yield path.stem, Source(file=str(path.absolute()))


def _codes_in(name: str, module: ModuleType, prefixes: Collection[str]) -> frozenset[str]:
    """The codes a plugin writes itself.

    prefixes : with which its keys begin
    """
    stated = module.codes if isinstance(module, CheckModule) else ()
    return frozenset((*stated, *(code for code, _ in written_in(name, module, prefixes))))


def _find_check(file: str, built_in: BuiltIn) -> ModuleType:
    from garboard.checks.offering import module_of  # here: most shops have none, and its evaluator takes its time

    return module_of(Path(file), [name.removeprefix("garboard_") for name in BUILT_IN], built_in)


def _file_of(module: ModuleType | None) -> str:
    return str(getattr(module, "__file__", None) or "")


def _stand_in(name: str, file: str) -> ModuleType:
    """Stands for the module of a plugin that is not imported: where its source is, and nothing else."""
    module = ModuleType(name)
    if file:
        module.__file__ = file
    if Path(file).name == "__init__.py":
        module.__path__ = [str(Path(file).parent)]
    return module


def _itself(module: ModuleType) -> ModuleType:
    return module
