"""What a plugin declares with a wrong type is refused where it registers; everything else goes on."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any, get_type_hints

import attrs
import pytest

from garboard import findings, job_view, record_types, records
from garboard.findings import Basis, BasisKind
from garboard.hooks import hookimpl
from garboard.hosting.host import PluginHost, make_host
from garboard.record_types import WrongType, frozen, typed
from garboard.settings import Setting
from garboard.steps import (
    Calculator,
    Caution,
    Field,
    Kind,
    LiveGuide,
    Phase,
    RecordingJudge,
    ReportSection,
    Step,
)

OURS = Basis(BasisKind.SHOP_RULE, "our list")
RANGED = Field(name="held", title="Held", kind=Kind.AMOUNT, quantity="time", unit="min", hard=(1, 9))
SOUND: dict[type[Any], dict[str, Any]] = {
    Basis: {"kind": BasisKind.SHOP_RULE, "text": "our list"},
    Caution: {"text": "Mind the propeller.", "basis": OURS},
    Field: {"name": "heard", "title": "Heard", "kind": Kind.YES_NO},
    Step: {"key": "ours.horn", "title": "Horn", "phase": Phase.ALONGSIDE, "order": 1},
    Calculator: {"key": "ours.dry", "title": "Dry", "step": "ours.horn", "compute": list, "basis": (OURS,)},
    LiveGuide: {"key": "ours.g", "title": "G", "quantities": (), "begin": list, "take": list, "show": list},
    RecordingJudge: {"key": "ours.j", "title": "J", "option": "ours", "judge": list},
    ReportSection: {"key": "ours.r", "title": "R", "order": 1, "build": list},
    Setting: {"key": "ours.s", "field": RANGED, "default": "2 min", "basis": OURS},
}
WRONG: list[tuple[type[Any], str, object, str]] = [
    (Basis, "kind", "shop rule", "one of BasisKind.REGULATION"),
    (Basis, "text", None, "text"),
    (Caution, "basis", "our list", "a Basis"),
    (Field, "title", None, "text"),
    (Field, "kind", "amount", "one of Kind.AMOUNT"),
    (Field, "plausible", 5, "a tuple of 2 items"),
    (Field, "hard", (1, 2, 3), "a tuple of 2 items"),
    (Field, "hard", (float("nan"), 1.0), "a finite number"),
    (Field, "required", "no", "True or False"),
    (Step, "phase", "alongside", "one of Phase.ALONGSIDE"),
    (Step, "order", "390", "a number"),
    (Step, "order", None, "a number"),
    (Step, "order", float("nan"), "a number"),
    (Step, "title", None, "text"),
    (Step, "title", "half a \ud800", "text"),
    (Step, "fields", None, "each a Field"),
    (Step, "fields", ("heard",), "each a Field"),
    (Step, "cautions", 5, "each a Caution"),
    (Step, "spared_by", "ours.other", "each text"),
    (Calculator, "order", None, "a number"),
    (Calculator, "step", ["x"], "text"),
    (Calculator, "applies", 5, "a function"),
    (Calculator, "basis", OURS, "each a Basis"),
    (LiveGuide, "take", None, "a function"),
    (RecordingJudge, "option", 7, "text"),
    (ReportSection, "order", "x", "a number"),
    (Setting, "basis", None, "a Basis"),
    (Setting, "field", None, "a Field"),
]


def offering(hook: str, make: Callable[[], object]) -> ModuleType:
    module = ModuleType("ours")
    setattr(module, hook, hookimpl(named(hook, lambda register: register(make()))))
    return module


def named(name: str, function: Callable[[Callable[[object], None]], None]) -> Callable[..., None]:
    def offer(register: Callable[[object], None]) -> None:
        function(register)

    offer.__name__ = name
    return offer


def host_of(**modules: ModuleType) -> PluginHost:
    return make_host((), entry_points=False, modules=modules)


@pytest.mark.parametrize("kind", SOUND, ids=lambda kind: kind.__name__)
def test_a_sound_record_is_made(kind: type[Any]) -> None:
    assert kind(**SOUND[kind]) == kind(**SOUND[kind])


@pytest.mark.parametrize(("kind", "field", "value", "expected"), WRONG)
def test_a_wrong_type_is_refused_naming_record_field_value_and_cure(
    kind: type[Any], field: str, value: object, expected: str
) -> None:
    with pytest.raises(WrongType) as refused:
        kind(**{**SOUND[kind], field: value})
    fault = refused.value.fault
    assert expected in fault.expected
    assert f"as {field} of" in fault.expected
    assert kind.__name__ in fault.expected
    assert type(value).__name__ in fault.got
    assert field in fault.cure


def test_a_list_where_a_tuple_is_declared_and_an_order_between_two_still_work() -> None:
    step = Step(**{**SOUND[Step], "fields": [Field(**SOUND[Field])], "order": 2.5})
    host = host_of(ours=offering("register_steps", lambda: step))
    assert [one.key for one in host.steps] == ["ours.horn"]


@pytest.mark.parametrize(
    ("hook", "kind", "wrong"),
    [
        ("register_steps", Step, {"order": "390"}),
        ("register_steps", Step, {"phase": "alongside"}),
        ("register_calculators", Calculator, {"order": None}),
        ("register_calculators", Calculator, {"step": ["x"]}),
        ("register_report_sections", ReportSection, {"order": "x"}),
    ],
)
def test_the_plugin_is_refused_and_the_host_goes_on(hook: str, kind: type[Any], wrong: dict[str, object]) -> None:
    good = Step(**{**SOUND[Step], "key": "good.horn"})
    host = host_of(
        bad=offering(hook, lambda: kind(**{**SOUND[kind], **wrong})), good=offering("register_steps", lambda: good)
    )
    assert host.steps == (good,)
    assert (host.calculators, host.report_sections) == ((), ())
    (problem,) = host.problems
    assert problem.name == "bad"
    assert f"as {next(iter(wrong))} of {kind.__name__} " in problem.reason


@pytest.mark.parametrize("key", ["", " ", "two\nlines", "\x1b[31mred"])
def test_a_key_that_nobody_can_type_is_refused(key: str) -> None:
    host = host_of(
        bad=offering("register_report_sections", lambda: ReportSection(**{**SOUND[ReportSection], "key": key}))
    )
    assert host.report_sections == ()
    assert "key" in host.problems[0].reason


CHOICE = Field(name="side", title="Side", kind=Kind.CHOICE, choices=("port", "starboard"))
TEXT = Field(name="note", title="Note", kind=Kind.TEXT)
COUNT = Field(name="runs", title="Runs", kind=Kind.COUNT, hard=(1, 5))
YES_NO = Field(name="dry", title="Dry", kind=Kind.YES_NO)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"field": CHOICE, "default": "port", "stricter": "lower"}, "leave stricter out"),
        ({"field": TEXT, "default": "none", "stricter": "higher"}, "leave stricter out"),
        ({"field": YES_NO, "default": True, "stricter": "higher"}, "leave stricter out"),
        ({"field": CHOICE, "default": "aft"}, "one of port, starboard"),
        ({"field": YES_NO, "default": "yes"}, "true or false"),
        ({"field": COUNT, "default": "2.5"}, "a whole number"),
        ({"field": COUNT, "default": 9}, "outside its range 1 to 5"),
        ({"field": TEXT, "default": 5}, "text in quotes"),
        ({"field": RANGED, "default": "2 kn"}, "the default: "),
    ],
)
def test_a_setting_that_cannot_work_is_refused_by_its_key_and_the_others_are_listed(
    wrong: dict[str, object], said: str
) -> None:
    host = host_of(
        bad=offering("register_settings", lambda: Setting(**{**SOUND[Setting], "key": "bad.s", **wrong})),
        good=offering("register_settings", lambda: Setting(**SOUND[Setting])),
    )
    assert [one.key for one in host.settings] == ["ours.s"]
    (problem,) = host.problems
    assert problem.name == "bad"
    assert "setting 'bad.s'" in problem.reason
    assert said in problem.reason


def test_a_setting_without_a_key_is_refused_by_its_title() -> None:
    host = host_of(bad=offering("register_settings", lambda: Setting(**{**SOUND[Setting], "key": ""})))
    assert host.settings == ()
    assert "setting 'Held'" in host.problems[0].reason


@attrs.frozen(field_transformer=typed)
class _Bearing:
    """As a plugin's record: annotations that are text until somebody asks."""

    name: str
    degrees: float
    from_true: bool = False
    more: tuple[str, ...] = ()


def test_the_annotations_of_a_record_are_read_once_however_many_fields_it_has(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[type[Any]] = []

    def counted(cls: type[Any]) -> dict[str, Any]:
        asked.append(cls)
        return get_type_hints(cls)

    monkeypatch.setattr(record_types, "get_type_hints", counted)
    assert _Bearing("turn", 91.5).degrees == _Bearing("swing", 91.5).degrees
    with pytest.raises(WrongType, match="a finite number"):
        _Bearing("turn", "east")  # type: ignore[arg-type]
    assert len(asked) == 1


@frozen
class _Ours:
    text: str
    inner: Any = None
    left_out: int = attrs.field(default=3, repr=False)
    own: int = attrs.field(default=4, repr=lambda value: f"<{value}>")
    unset: int = attrs.field(init=False)


@attrs.frozen
class _OfAttrs:
    text: str
    inner: Any = None
    left_out: int = attrs.field(default=3, repr=False)
    own: int = attrs.field(default=4, repr=lambda value: f"<{value}>")
    unset: int = attrs.field(init=False)


def test_a_record_is_printed_as_attrs_prints_it() -> None:
    for inner in (None, "it's", ["within"]):
        assert repr(_Ours("a", inner)) == repr(_OfAttrs("a", inner)).replace("_OfAttrs", "_Ours")
    ours, of_attrs = list[Any](), list[Any]()
    ours.append(_Ours("round", ours))
    of_attrs.append(_OfAttrs("round", of_attrs))
    assert repr(ours[0]) == repr(of_attrs[0]).replace("_OfAttrs", "_Ours")

    @frozen
    class Local:
        at: int

        def method(self) -> int:
            return self.at

    assert repr(Local(1)) == "Local(at=1)"


def test_a_record_that_prints_itself_is_left_to() -> None:
    @frozen
    class Secret:
        word: str

        def __repr__(self) -> str:
            return "hidden"

    assert (repr(Secret("x")), Secret("x") == Secret("x")) == ("hidden", True)

    @frozen(repr=False)
    class Unprinted:
        word: str

    assert "hidden" not in repr(Unprinted("hidden"))


def test_the_records_of_the_front_door_are_printed_by_one_function() -> None:
    kinds = [kind for module in (records, findings, job_view) for kind in vars(module).values() if attrs.has(kind)]
    assert len(kinds) > 30
    own = {kind.__name__ for kind in kinds if getattr(kind.__repr__, "__module__", "") != "garboard.record_types"}
    assert own <= {"Amount", "InputCollector"}
