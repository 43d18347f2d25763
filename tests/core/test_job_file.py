"""The job file: nothing lost on the way, every fault told at once, newer files left alone."""

import json
from collections.abc import Callable, Iterable, Mapping
from operator import attrgetter
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import small_plugin
from examples import examples
from garboard.disk.hullfile import HullFolder
from garboard.faults import Fault, InputError
from garboard.fields import check_value, implausible
from garboard.findings import NotEnoughData
from garboard.history.boat import author_for
from garboard.history.exchange import import_job
from garboard.history.replay import HullState
from garboard.hosting.host import make_host
from garboard.job_files.job_file import (
    JobFile,
    check,
    job_file_text,
    parse_job_file,
    read_job_file,
    settings_faults,
    view_of,
)
from garboard.records import (
    Battery,
    Circuit,
    Engine,
    ExpectedOf,
    Forecast,
    HeadingSensor,
    Job,
    JsonValue,
    Measurement,
    NamedPropeller,
    NetworkBus,
    NetworkDevice,
    Note,
    Propeller,
    SignOff,
    StepState,
    Tank,
    Vessel,
    unit_of,
)
from garboard.steps import Field, Kind
from garboard.units import UNITS_OF, Amount

LEAST = {
    "format": "garboard job",
    "version": 1,
    "vessel": {"hull_number": "ABC12345C393"},
    "job": {"id": "J-1"},
}


def text_with(**changes: object) -> str:
    return json.dumps({**LEAST, **changes})


def faults_in(text: str) -> dict[str, Fault]:
    with pytest.raises(InputError) as caught:
        parse_job_file(text, "job.json")
    return {fault.where: fault for fault in caught.value.faults}


# Anything a job file can hold


words = st.text(max_size=8)
keys_of_more = st.text(st.characters(codec="ascii"), max_size=8)
"""As a hull file keeps them."""
whole = st.integers(-(2**53) + 1, 2**53 - 1)
plain_values = st.recursive(
    st.none() | st.booleans() | whole | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys_of_more, inner, max_size=3),
    max_leaves=6,
)
digits = st.from_regex(r"[+-]?[0-9]{1,6}(\.[0-9]{1,6})?", fullmatch=True)


def amounts(quantity: str) -> st.SearchStrategy[Amount]:
    return st.builds(Amount, digits, st.sampled_from(UNITS_OF[quantity]))


def records(kind: type[Any]) -> st.SearchStrategy[Any]:
    """Any record of a kind; unknown keys never carry the name of a known one."""
    fields = attrs.fields_dict(attrs.resolve_types(kind))
    return st.builds(kind, **{name: _values(field, fields) for name, field in fields.items() if name != "format"})


def _values(field: "attrs.Attribute[Any]", fields: Mapping[str, object]) -> st.SearchStrategy[Any]:
    if field.name == "at":
        return st.sampled_from(["", "2026-05-14T09:30:00+02:00"])
    if field.name in ("more", "settings"):
        keys = keys_of_more.filter(lambda key: key not in fields or field.name == "settings")
        return st.dictionaries(keys, plain_values, max_size=2)
    if field.name == "version":
        return st.just(1)
    if "hard" in field.metadata:
        return st.none() | _within(field.metadata)
    if "quantity" in field.metadata:
        return st.none() | amounts(field.metadata["quantity"])
    if "choices" in field.metadata:
        optional = [] if field.default is attrs.NOTHING else [field.default]
        return st.sampled_from([*field.metadata["choices"], *optional])
    if field.name == "entries":
        return st.lists(st.dictionaries(words, plain_values, max_size=2), max_size=2).map(tuple)
    if "plain" in field.metadata:
        return plain_values
    return _by_type(field.type)


def _within(metadata: Mapping[str, Any]) -> st.SearchStrategy[Any]:
    """A number that its record takes: others are refused."""
    low, high = metadata["hard"]
    if "quantity" not in metadata:
        return st.integers(low, high)
    unit = unit_of(metadata)
    return st.decimals(str(round(low + 0.005, 2)), str(high), places=2).map(lambda number: Amount(str(number), unit))


def _by_type(kind: Any) -> st.SearchStrategy[Any]:
    if kind is str:
        return words
    if kind is bool:
        return st.booleans()
    if kind is int:
        return whole
    if getattr(kind, "__origin__", None) is tuple:
        return st.lists(_by_type(kind.__args__[0]), max_size=2).map(tuple)
    if attrs.has(kind):
        return records(kind)
    return st.one_of([st.none() if part is type(None) else _by_type(part) for part in kind.__args__])


def _distinct(job_file: JobFile) -> JobFile:
    """The same job file, each piece of equipment and each place once, and a hull number that is one."""
    from garboard.job_view import place_of
    from garboard.records import EQUIPMENT, is_own_kind

    def once(items: Iterable[Any], key: Callable[[Any], object]) -> tuple[Any, ...]:
        return tuple({key(item): item for item in items}.values())

    equipment: dict[str, Any] = {
        kind: once(getattr(job_file.vessel, kind), attrgetter(name)) for kind, name in EQUIPMENT.items()
    }
    number = job_file.vessel.hull_number.strip() or "ABC12345C393"
    unknown = {key: value for key, value in job_file.vessel.more.items() if not is_own_kind(key)}
    pieces = [{"name": f"lamp {number}", "bulbs": number} for number, _ in enumerate(equipment["circuits"])]
    own: dict[str, Any] = {"our_yard.lamps": pieces} if pieces else {}
    vessel = attrs.evolve(job_file.vessel, hull_number=number, **equipment, more={**unknown, **own})
    return attrs.evolve(job_file, vessel=vessel, measurements=once(job_file.measurements, place_of))


@settings(max_examples=examples(100))
@given(records(JobFile).map(_distinct))
def test_writing_and_reading_gives_the_same_records(job_file: JobFile) -> None:
    assert parse_job_file(job_file_text(job_file), "again") == job_file


@settings(max_examples=examples(100))
@given(records(JobFile).map(_distinct))
def test_writing_what_was_read_gives_the_same_text(job_file: JobFile) -> None:
    text = job_file_text(job_file)
    assert job_file_text(parse_job_file(text, "again")) == text


def test_the_strategy_reaches_every_record() -> None:
    """Guards the two tests above: a new kind of record in the job file is made by them too."""
    made = {JobFile, Vessel, Job, StepState, Measurement, Note, SignOff, Engine, Propeller, Tank, Battery, Circuit}
    made |= {HeadingSensor, NamedPropeller, NetworkBus, NetworkDevice, Forecast, ExpectedOf}

    def reached(kind: type[Any]) -> set[type[Any]]:
        found = {kind}
        for field in attrs.fields(attrs.resolve_types(kind)):
            parts = getattr(field.type, "__args__", (field.type,))
            for part in parts:
                if isinstance(part, type) and attrs.has(part) and part is not Amount:
                    found |= reached(part)
        return found

    assert reached(JobFile) == made


def test_unknown_keys_are_kept_and_written_back() -> None:
    text = text_with(vessel={"hull_number": "ABC12345C393", "paint": "blue"}, weather={"wind": "5 kn"})
    job_file = parse_job_file(text, "job.json")
    assert (job_file.vessel.more, job_file.more) == ({"paint": "blue"}, {"weather": {"wind": "5 kn"}})
    assert json.loads(job_file_text(job_file)) == json.loads(text)


# What is refused


def test_a_newer_version_is_refused_and_the_file_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "job.json"
    path.write_text(text_with(version=2), encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="update this program, the file was left alone"):
        read_job_file(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("version", [None, "1", True, 1.0, [1]])
def test_a_version_that_is_no_whole_number_is_refused(version: object) -> None:
    assert "version" in faults_in(text_with(version=version))


@pytest.mark.parametrize("text", ["[]", "null", '"garboard job"', "{}", '{"format": "other", "version": 1}'])
def test_another_format_is_refused(text: str) -> None:
    (fault,) = faults_in(text).values()
    assert fault.where in ("format", "file")
    assert "job" in fault.expected


@pytest.mark.parametrize(
    ("text", "where"),
    [("{", "line 1, column 2"), ('{"format": "garboard job",\n}', "line 2, column 1")],
)
def test_what_is_no_json_is_refused_with_the_place(text: str, where: str) -> None:
    # Python 3.13 gives the place of the comma, earlier ones that of the brace.
    (fault,) = faults_in(text).values()
    found = f"line {fault.line}, {fault.where}"
    assert found == where or (where.startswith("line 2") and found == "line 1, column 26")


@pytest.mark.parametrize(
    ("text", "expected", "got"),
    [
        ('{"a": 1 "b": 2}', "a comma, or the closing bracket", "'\"b\": 2}'"),
        ('{"a" 1}', "a colon between key and value", "'1}'"),
        ("{'a': 1}", 'a key in "double quotes"', "\"'a': 1}\""),
        ('{"a": twelve}', "a value", "'twelve}'"),
        ('{"a": 1} {"b": 2}', "nothing after the job's last bracket", "'{\"b\": 2}'"),
        ('{"a": "12', "closing quotes", "'\"12'"),
        ('{"a":', "a value", "the end of the file"),
    ],
)
def test_what_is_no_json_is_told_without_the_readers_own_words(text: str, expected: str, got: str) -> None:
    (fault,) = faults_in(text).values()
    assert expected in fault.expected
    assert fault.got == got


@pytest.mark.parametrize(("text", "got"), [("", "an empty file"), ("Dear Sir", "'Dear Sir'")])
def test_what_does_not_begin_like_a_job_file_is_called_that(text: str, got: str) -> None:
    (fault,) = faults_in(text).values()
    assert (fault.where, fault.got) == ("file", got)


@pytest.mark.parametrize(
    ("content", "got"),
    [
        # The first bytes of each form, as its own specification gives them: ISO 32000, PKWARE APPNOTE, RFC 1952, the
        # PNG specification, and the byte order mark of UTF-16 in the Unicode Standard.
        (b"%PDF-1.7 \xe5", "a PDF"),
        (b"PK\x03\x04\x14", "a zip archive, or a document made of one"),
        (b"\x1f\x8b\x08", "a compressed file: unpack it"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        ("{}".encode("utf-16"), "UTF-16 text: save the file as UTF-8"),
    ],
)
def test_another_kind_of_file_is_called_by_its_name(tmp_path: Path, content: bytes, got: str) -> None:
    path = tmp_path / "job.json"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_job_file(path)
    assert [fault.got for fault in caught.value.faults] == [got]


def test_a_file_that_is_not_there_is_told_in_plain_words(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_job_file(tmp_path / "gone.json")
    assert str(caught.value).endswith("file: expected a job file that can be read, got no such file or directory")


def test_numbers_of_thousands_of_digits_are_refused() -> None:
    (fault,) = faults_in('{"format": ' + "7" * 5000 + "}").values()
    assert fault.got == "thousands of digits"


@pytest.mark.parametrize("constant", ["NaN", "Infinity", "-Infinity"])
def test_a_number_that_is_none_is_refused(constant: str) -> None:
    text = text_with(settings={"a.b": 7}).replace("7", constant)
    (fault,) = faults_in(text).values()
    assert fault.got == constant


def test_half_a_character_is_refused_as_no_text_wherever_it_stands_with_its_line() -> None:
    text = text_with(vessel={"hull_number": "QQZ\ud800", "\udfff": "x"}, job={"id": "one", "note": ["whole", "\udc00"]})
    faults = faults_in(text)
    assert set(faults) == {"vessel.hull_number", "vessel", "job.note[1]"}
    assert all(fault.expected.startswith("text") and "\\ud" in fault.got and fault.line for fault in faults.values())
    assert all(str(fault).encode() for fault in faults.values())


def test_a_character_spelled_as_its_two_halves_is_text() -> None:
    assert "\\ud83d\\ude00" in (text := text_with(vessel={"hull_number": "QQZ04417D626", "name": "\U0001f600"}))
    assert parse_job_file(text, "job.json").vessel.hull_number == "QQZ04417D626"


def test_numbers_with_a_fraction_are_refused_all_at_once() -> None:
    text = text_with(
        measurements=[{"step": "a.b", "field": "c", "value": 1.5}], vessel={"hull_number": "X", "length": 24.5}
    )
    assert set(faults_in(text)) == {"measurements[0].value", "vessel.length"}


def test_a_bare_number_is_told_with_the_unit_of_its_field() -> None:
    measurements = [
        {"step": "small.horn", "field": "battery", "value": 12.7},
        {"step": "small.horn", "field": "heard", "value": 1.5},
        {"step": "nobody.knows", "field": "level", "value": 2.5},
    ]
    with pytest.raises(InputError) as caught:
        parse_job_file(text_with(measurements=measurements), "job.json", small_plugin.small_host())
    assert [fault.expected for fault in caught.value.faults] == [
        'text with number and unit, such as "12.7 V"',
        "true or false",
        'a whole number, or text with its unit: "2.5 V" for a voltage',
    ]


def test_a_key_given_twice_is_refused() -> None:
    text = '{"format": "garboard job", "version": 1, "version": 1}'
    assert faults_in(text)["version"].expected == "each key once in its object"


def nested(depth: int) -> str:
    return text_with(deep=0).replace('"deep": 0', f'"deep": {"[" * depth}{"]" * depth}')


def test_nesting_as_deep_as_anyone_needs_is_kept() -> None:
    assert json.loads(job_file_text(parse_job_file(nested(50), "deep"))) == json.loads(nested(50))


@pytest.mark.parametrize("depth", [250, 1000, 2000, 100_000])
def test_nesting_without_end_is_told_and_no_crash(depth: int) -> None:
    assert "nesting" in faults_in(nested(depth))["file"].expected


def test_equipment_of_one_name_and_measurements_of_one_place_are_refused() -> None:
    place = {"step": "a.b", "field": "c", "value": "1"}
    vessel = {"hull_number": "X", "tanks": [{"name": "main"}, {"name": "main"}]}
    faults = faults_in(text_with(vessel=vessel, measurements=[place, place, {**place, "of": "port"}]))
    assert set(faults) == {"vessel.tanks[1]", "measurements[1]"}


@pytest.mark.parametrize("number", ["", "  "])
def test_a_job_needs_a_hull_number(number: str) -> None:
    assert set(faults_in(text_with(vessel={"hull_number": number}))) == {"vessel.hull_number"}


def test_faults_of_all_parts_come_together() -> None:
    text = text_with(
        job={}, steps=[{"step": "a.b", "state": "finished"}], sign_offs=[{"role": "cook", "name": "N"}], notes=[{}]
    )
    assert set(faults_in(text)) == {"job.id", "steps[0].state", "sign_offs[0].role", "notes[0].text"}


@pytest.mark.parametrize(
    ("key", "value", "where"),
    [
        ("settings", [], "settings"),
        ("settings", "none", "settings"),
        ("entries", {}, "entries"),
        ("entries", "none", "entries"),
        ("entries", 7, "entries"),
        ("entries", [{}, 7], "entries[1]"),
        ("vessel", [], "vessel"),
        ("measurements", {}, "measurements"),
    ],
)
def test_parts_of_the_wrong_shape_are_refused(key: str, value: object, where: str) -> None:
    assert set(faults_in(text_with(**{key: value}))) == {where}


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a job file that can be read"):
        read_job_file(tmp_path / "gone.json")


def test_a_folder_is_no_job_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a job file that can be read"):
        read_job_file(tmp_path)


def test_a_file_in_another_encoding_is_told_with_the_place(tmp_path: Path) -> None:
    path = tmp_path / "job.json"
    path.write_bytes(text_with(job={"id": "Å"}).replace("\\u00c5", "Å").encode("latin-1"))
    with pytest.raises(InputError, match="UTF-8 text"):
        read_job_file(path)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "job.json"
    path.write_text("\ufeff" + text_with(), encoding="utf-8")
    assert read_job_file(path).job.id == "J-1"


# Against the steps of the plugins


def checked(folder: Path | None = None, settings: Mapping[str, object] | None = None, **values: Any) -> list[Fault]:
    measurements = [{"step": "small.horn", "field": field, "value": value} for field, value in values.items()]
    job_file = parse_job_file(text_with(measurements=measurements, settings=settings or {}), "job.json")
    host = small_plugin.small_host()
    return [*check(job_file, host, folder), *settings_faults(job_file.settings, host)]


def test_values_a_step_takes_pass() -> None:
    assert checked(heard=True, battery="12650 mV") == []


@pytest.mark.parametrize(
    ("field", "value", "expected"),
    [
        ("heard", "yes", "true or false"),
        ("heard", 1, "true or false"),
        ("battery", "12.5", "a voltage in V or mV, such as '12.6 V'"),
        ("battery", "12.5 kn", "a voltage in V or mV, such as '12.6 V'"),
        ("battery", 12, 'text with number and unit, such as "12 V"'),
        ("battery", "61 V", "between 0 and 60 V"),
        ("battery", "-0.1 V", "between 0 and 60 V"),
        ("battery", "60001 mV", "between 0 and 60 V"),
        ("log", "run.log", '{"file": "name beside the job file"}'),
        ("loudness", "3", "a field of step small.horn: heard, battery, log"),
    ],
)
def test_values_a_step_does_not_take_are_faults(field: str, value: Any, expected: str) -> None:
    (fault,) = checked(**{field: value})
    assert fault.where.startswith("measurements[0].")
    assert fault.expected == expected


def test_a_recording_has_to_lie_beside_the_job(tmp_path: Path) -> None:
    (fault,) = checked(tmp_path, log={"file": "run.log"})
    assert fault.where == "measurements[0].value.file"
    (tmp_path / "run.log").write_text("", encoding="utf-8")
    assert checked(tmp_path, log={"file": "run.log"}) == []


@pytest.mark.parametrize("name", ["9" * 5000, "run\0.log"])
def test_a_name_that_no_file_can_have_is_a_fault_of_its_own(tmp_path: Path, name: str) -> None:
    (fault,) = checked(tmp_path, log={"file": name})
    assert fault.where == "measurements[0].value.file"


def test_a_recording_outside_the_jobs_folder_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "run.log").write_text("", encoding="utf-8")
    (fault,) = checked(tmp_path / "job", log={"file": "../run.log"})
    assert fault.where == "measurements[0].value.file"


def test_steps_of_plugins_that_are_not_here_pass() -> None:
    job_file = parse_job_file(
        text_with(measurements=[{"step": "other.shop", "field": "x", "value": "anything"}]), "job.json"
    )
    assert check(job_file, small_plugin.small_host()) == ()


def test_settings_are_checked_and_unknown_ones_pass() -> None:
    assert [fault.where for fault in checked(settings={"small.patience": "soon", "other.x": 1})] == [
        "settings.small.patience"
    ]


@pytest.mark.parametrize(
    ("kind", "extra", "good", "bad"),
    [
        (Kind.COUNT, {"hard": (0, 9)}, [0, 9], [10, -1, True, "3", None]),
        (Kind.CHOICE, {"choices": ("a", "b"), "former": ("z",)}, ["a", "z"], ["c", "", None, ["a"], {"a": 1}]),
        (Kind.YES_NO, {}, [True, False], [0, "true", None]),
        (Kind.TEXT, {}, ["", "words"], [1, None]),
        (Kind.PHOTO, {}, [{"file": "a.jpg"}], ["a.jpg", {"file": 1}, {}]),
    ],
)
def test_each_kind_of_field_takes_its_own_kind_of_value(
    kind: Kind, extra: dict[str, Any], good: list[JsonValue], bad: list[JsonValue]
) -> None:
    field = Field(name="f", title="F", kind=kind, **extra)
    for value in good:
        check_value(field, value)
    for value in bad:
        with pytest.raises(ValueError, match=r"expected .*, got"):
            check_value(field, value)


def test_a_value_outside_its_usual_range_is_a_question() -> None:
    field = small_plugin.HORN.fields[1]
    assert implausible(field, "12.0 V") == ""
    assert implausible(field, "11.99 V") == "11.99 V is outside the usual 12 to 13.2 V. Is it right?"
    assert implausible(field, "13300 mV") == "13300 mV is outside the usual 12000 to 13200 mV. Is it right?"


def test_every_field_with_a_usual_range_asks_about_what_lies_outside() -> None:
    """Of every step and kind, with a value the field takes; at both ends of the range it does not ask."""
    asked = []
    for field in (field for step in make_host().steps for field in step.all_fields() if field.plausible):
        (low, high), hard = field.plausible or (0, 0), field.hard or (-1e9, 1e9)
        outside = [number for number in (low - 1, low / 2, high + 1, high * 1.2) if not low <= number <= high]
        values = [number for number in outside if hard[0] <= number <= hard[1]]
        for number, is_asked in [*((number, True) for number in values), (low, False), (high, False)]:
            value = int(number) if field.kind is Kind.COUNT else f"{number!r} {field.unit}".strip()
            if field.kind is not Kind.COUNT or number == int(number):
                check_value(field, value)
                assert bool(implausible(field, value)) is is_asked, (field.name, value)
        asked += [field.name] if values else []
    assert {"persons", "fuel_level", "rest_voltage"} <= {*asked}


# The view


def test_the_view_finds_recordings_beside_the_job(tmp_path: Path) -> None:
    (tmp_path / "run.csv").write_text("time,rate_of_turn [deg/s]\n0,1\n1,2\n", encoding="utf-8")
    measurement = {"step": "small.horn", "field": "log", "value": {"file": "run.csv"}}
    view = view_of(parse_job_file(text_with(measurements=[measurement]), "job.json"), tmp_path)
    recording = view.recording("small.horn", "log")
    assert recording is not None
    assert [stream.values for stream in recording.of("rate_of_turn")] == [(1.0, 2.0)]


def test_a_recording_that_cannot_be_read_is_missing_data(tmp_path: Path) -> None:
    (tmp_path / "run.csv").write_text("nothing useful", encoding="utf-8")
    view = view_of(parse_job_file(text_with(), "job.json"), tmp_path)
    for name in ("run.csv", "gone.csv"):
        with pytest.raises(NotEnoughData, match=name):
            view.load_recording(name)


def test_a_recording_outside_the_folder_is_not_read(tmp_path: Path) -> None:
    """A job file comes from elsewhere; it must not make the program read any file of this machine."""
    (tmp_path / "job").mkdir()
    (tmp_path / "secret.csv").write_text("time,rate_of_turn [deg/s]\n0,1\n1,2\n", encoding="utf-8")
    view = view_of(parse_job_file(text_with(), "job.json"), tmp_path / "job")
    for name in ("../secret.csv", str(tmp_path / "secret.csv")):
        with pytest.raises(NotEnoughData, match="beside the job"):
            view.load_recording(name)


# What no hull file could keep is refused by whoever reads the file, at its place


def _nested(levels: int) -> JsonValue:
    value: JsonValue = "turn.csv"
    for _ in range(levels):
        value = {"deep": value}
    return value


HORN: dict[str, Any] = {"step": "other.horn", "field": "heard", "value": True}


@pytest.mark.parametrize(
    ("parts", "where"),
    [
        ({"measurements": [{**HORN, "at": "2026-02-30T99:00"}]}, "measurements[0].at"),
        ({"measurements": [{**HORN, "value": 10**400}]}, "measurements[0].value"),
        ({"measurements": [{**HORN, "value": _nested(40)}]}, "measurements[0].value" + ".deep" * 15),
        ({"measurements": [{**HORN, "value": {"file": {"file": {"file": "a"}}}}]}, "measurements[0].value"),
        ({"measurements": [{**HORN, "value": "9" * 70_000}]}, "measurements[0].value"),
        ({"vessel": {"hull_number": "QQZ04417D626", "berths": 10**400}}, "vessel.berths"),
        ({"notes": [{"text": "loose", "at": "yesterday"}]}, "notes[0].at"),
    ],
)
def test_what_no_hull_file_could_keep_is_refused_at_its_place(parts: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError) as refused:
        parse_job_file(text_with(**parts), "job.json")
    (fault,) = refused.value.faults
    assert (fault.where, fault.line > 0) == (where, True)
    assert where[0] != "m" or "other.horn, heard" in fault.about


def test_what_a_hull_file_keeps_is_read(tmp_path: Path) -> None:
    kept = [
        {**HORN, "at": "2026-02-28T23:59:59+01:00"},
        {**HORN, "row": "1", "value": 2**53 - 1},
        {**HORN, "row": "2", "value": _nested(14)},
        {**HORN, "row": "4", "value": {"file": "turn.csv", "name": "turn"}},
        {**HORN, "row": "3", "value": None, "at": "not yet"},
    ]
    path = tmp_path / "job.json"
    path.write_text(text_with(measurements=kept), encoding="utf-8")
    read = read_job_file(path)
    with HullFolder(tmp_path / "shop") as hulls:
        author = author_for(hulls, HullState(read.vessel.hull_number), "a", "R. Vane")
        assert import_job(hulls, read, tmp_path, author)[1] >= 4


def test_an_import_that_is_refused_names_the_measurement(tmp_path: Path) -> None:
    read = parse_job_file(text_with(), "job.json")
    careless = attrs.evolve(read, measurements=(Measurement(**HORN, at="yesterday"),))  # as a program may hand it in
    with HullFolder(tmp_path / "shop") as hulls:
        author = author_for(hulls, HullState(read.vessel.hull_number), "a", "R. Vane")
        with pytest.raises(InputError, match=r"at \(measure other\.horn, heard\): expected wall time"):
            import_job(hulls, careless, tmp_path, author)


@pytest.mark.parametrize("harm", ["NaN", r'"half \ud83d"', '{"a": 1, "a": 2}', "[-Infinity]", r'{"\ud83d": 1}'])
def test_what_is_for_people_alone_stops_nothing(harm: str) -> None:
    def text(key: str) -> str:
        return text_with(**{key: "HARM"}).replace('"HARM"', harm)

    assert not parse_job_file(text("explained"), "job.json").more
    for key in ("explained_too", "more"):
        with pytest.raises(InputError):
            parse_job_file(text(key), "job.json")


@pytest.mark.parametrize("at", ["2026-05-15", "2026-05-15T16:20", "2026-05-15T16:20+02:00", ""])
def test_a_signature_with_a_date_alone_is_still_read(at: str) -> None:
    signed = {"role": "technician", "name": "T. Ryggare", "at": at, "männer": 1}
    assert parse_job_file(text_with(sign_offs=[signed]), "job.json").sign_offs[0].at == at


def test_all_faults_are_told_at_once_whatever_kind_they_are_of(tmp_path: Path) -> None:
    """Of the JSON, the shape of records, what stands twice, what cannot be kept, what fields take, files not there."""
    text = """{"format": "garboard job", "version": 1, "notes": 3, "steps": [{"step": "a.b", "state": "finished"}],
 "vessel": {"hull_number": " ", "length": "long", "engines": [{"position": "port"}, {"position": "port"}]},
 "job": {"id": "J-1", "kind": 7}, "settings": {"small.patience": "3 kn"}, "entries": [],
 "measurements": [{"step": "small.horn", "field": "battery", "value": "99 V", "at": "someday"},
  {"step": "small.horn", "field": "battery", "value": NaN}, {"step": "small.horn", "field": "hoard", "value": true},
  {"step": "small.run", "field": "speed", "of": "port", "value": "1 V", "value": "5000 rpm"}, 7,
  {"step": "small.horn", "field": "log", "value": {"file": "lost.log"}}, {"step": "a.b", "field": "c", "value": 2.5}
 ]}"""
    with pytest.raises(InputError) as caught:
        parse_job_file(text, "job.json", small_plugin.small_host(), tmp_path)
    assert {fault.where: fault.line for fault in caught.value.faults} == {
        "notes": 1,
        "steps[0].state": 1,
        "vessel.hull_number": 2,
        "vessel.length": 2,
        "vessel.engines[1]": 2,
        "job.kind": 3,
        "settings.small.patience": 3,
        "measurements[0].value": 4,
        "measurements[0].at": 4,
        "measurements[1].value": 5,
        "measurements[1]": 5,
        "measurements[2].field": 5,
        "measurements[3].value": 6,
        "measurements[4]": 6,
        "measurements[5].value.file": 7,
        "measurements[6].value": 7,
    }


def test_of_another_form_or_a_newer_version_nothing_else_is_said() -> None:
    """What else such a file holds may mean something else."""
    text = text_with(version=99, notes=3, vessel={"hull_number": "", "length": "long"})
    with pytest.raises(InputError) as caught:
        parse_job_file(text, "job.json", small_plugin.small_host())
    assert [fault.where for fault in caught.value.faults] == ["version"]
