"""A doubted value: whatever rests on it passes nothing, on every surface and in every order."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import attrs
import pytest

import small_plugin
from garboard import hookimpl
from garboard.fields import Field, Kind, doubtful
from garboard.findings import Basis, BasisKind, Doubt, Finding, Lack, NotEnoughData, Number, Verdict
from garboard.hosting.doubts import doubts_of_values
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.records import SIGN_AT_HAND_OVER, Measurement, Note, SignOff, StepState
from garboard.report.book import handover_book
from garboard.report.json_out import assessed_as_plain
from garboard.report.outline import FIND_OUT, _in_doubt, hand_over, is_handed_over, punch_list
from garboard.steps import Assessed, Calculator, Phase
from printed import printed_words

BASIS = (Basis(BasisKind.COMMON_PRACTICE, "An invented rule"),)
SAYS = "the log is 3.1 kn below the receiver"


def found(verdict: Verdict, about: str, **more: Any) -> Finding:
    return Finding(verdict=verdict, about=about, sentence="Said.", basis=BASIS, **more)


def module_of(*calculators: Calculator) -> ModuleType:
    def register_calculators(register: Callable[[Calculator], None]) -> None:
        for calculator in calculators:
            register(calculator)

    module = ModuleType("doubter")
    vars(module)["register_calculators"] = hookimpl(register_calculators)
    return module


def calculator(key: str, compute: Callable[[JobView], Iterable[Finding]], **more: Any) -> Calculator:
    return Calculator(key=key, title=key, step=f"{key}.step", compute=compute, basis=BASIS, **more)


def doubting(field: str = "battery") -> Calculator:
    def compute(_view: JobView) -> Iterator[Finding]:
        doubt = Doubt(SAYS, step="small.horn", field=field)
        yield found(Verdict.ADVISE, "log", doubts=(doubt,), places=(doubt.place,))

    return calculator("a.log", compute, may_doubt=True)


def resting(verdict: Verdict = Verdict.PASS) -> Calculator:
    def compute(view: JobView) -> Iterator[Finding]:
        view.value("small.horn", "battery")
        yield found(verdict, "rests on it")
        view.value("small.horn", "heard")
        yield found(Verdict.PASS, "rests on another")

    return calculator("a.first", compute, order=1)


def assess(folder: Path, *calculators: Calculator, steps: list[str] | None = None) -> dict[str, Assessed]:
    host: PluginHost = make_host((), entry_points=False, modules={"doubter": module_of(*calculators)})
    return {one.finding.about: one for one in host.assess(small_plugin.small_view(folder), steps)}


@pytest.mark.parametrize("doubter_first", [True, False])
def test_what_rests_on_a_doubted_value_does_not_pass(tmp_path: Path, doubter_first: bool) -> None:
    both = (doubting(), resting()) if doubter_first else (resting(), doubting())
    findings = {about: one.finding for about, one in assess(tmp_path, *both).items()}
    assert findings["rests on it"].verdict is Verdict.ADVISE
    assert findings["rests on it"].sentence == f"In doubt: {SAYS}. Said."
    assert [doubt.text for doubt in findings["rests on it"].doubted] == [SAYS]
    assert findings["rests on another"].verdict is Verdict.PASS
    assert findings["log"].doubted == ()  # a finding is not told its own doubt


def test_nothing_is_doubted_without_a_doubt(tmp_path: Path) -> None:
    findings = assess(tmp_path, resting(), doubting("nothing rests on this"))
    assert findings["rests on it"].finding.verdict is Verdict.PASS


def test_a_fail_stays_a_fail_and_says_the_doubt(tmp_path: Path) -> None:
    finding = assess(tmp_path, doubting(), resting(Verdict.FAIL))["rests on it"].finding
    assert finding.verdict is Verdict.FAIL
    assert SAYS in finding.sentence


@pytest.mark.parametrize("verdict", [Verdict.ADVISE, Verdict.FAIL])
def test_advice_nobody_should_follow_gives_way_to_a_doubt(tmp_path: Path, verdict: Verdict) -> None:
    """With its numbers; without a doubt it stands as the plugin gave it. What says not to judge yet fails nothing."""

    def compute(view: JobView) -> Iterator[Finding]:
        view.value("small.horn", "battery")
        wait = {"code_in_doubt": "a.wait", "sentence_in_doubt": "Wait."}
        yield found(verdict, "advice", code="a.change", numbers=(Number("pitch", 17.0, "in"),), **wait)

    for others, given, code, sentence, left in (
        ([], verdict, "a.change", "Said.", 1),
        ([doubting()], Verdict.ADVISE, "a.wait", f"In doubt: {SAYS}. Wait.", 0),
    ):
        advice = assess(tmp_path, calculator("a.first", compute, order=1), *others)["advice"].finding
        assert (advice.verdict, advice.code, advice.sentence) == (given, code, sentence)
        assert len(advice.numbers) == left
    with pytest.raises(ValueError, match="go together"):
        found(Verdict.ADVISE, "half of it", code_in_doubt="a.wait")


def test_one_step_alone_gives_the_same_verdict_as_all(tmp_path: Path) -> None:
    """The tablet judges one step at a time; the doubt stands under another."""
    one = assess(tmp_path, doubting(), resting(), steps=["a.first.step"])
    assert one["rests on it"].finding.verdict is Verdict.ADVISE
    assert "log" not in one


def test_programs_are_told_by_data(tmp_path: Path) -> None:
    findings = assess(tmp_path, doubting(), resting())
    doubt = {"text": SAYS, "step": "small.horn", "field": "battery", "row": "", "of": ""}
    assert assessed_as_plain(findings["rests on it"])["doubted"] == [doubt]
    assert assessed_as_plain(findings["log"])["doubts"] == [doubt]


def test_a_cause_that_doubts_many_values_is_said_once(tmp_path: Path) -> None:
    def compute(_view: JobView) -> Iterator[Finding]:
        places = [Doubt(SAYS, step="small.horn", field=field) for field in ("battery", "heard")]
        yield found(Verdict.FAIL, "log", doubts=tuple(places))

    def both(view: JobView) -> Iterator[Finding]:
        view.value("small.horn", "battery")
        view.value("small.horn", "heard")
        yield found(Verdict.PASS, "rests on both")

    findings = assess(tmp_path, calculator("a.log", compute, may_doubt=True), calculator("a.both", both))
    assert findings["rests on both"].finding.sentence.count(SAYS) == 1


def test_what_doubts_a_value_does_not_pass() -> None:
    with pytest.raises(ValueError, match="does not pass"):
        found(Verdict.PASS, "log", doubts=(Doubt(SAYS, step="a", field="b"),))


def test_only_a_calculator_that_says_so_may_doubt(tmp_path: Path) -> None:
    """Another would be left out where one step is judged alone, and the verdicts would differ."""
    finding = assess(tmp_path, attrs.evolve(doubting(), may_doubt=False))["a.log"].finding
    assert "may_doubt" in finding.sentence


def test_a_calculator_doubts_only_where_it_says_so(tmp_path: Path) -> None:
    """Elsewhere it is not asked where one step is judged alone."""
    elsewhere = attrs.evolve(doubting(), doubts_in=("other", "vessel"))
    assert "doubts_in" in assess(tmp_path, elsewhere)["a.log"].finding.sentence
    here = attrs.evolve(doubting(), doubts_in=("small",))
    for steps in (None, ["a.first.step"]):
        assert assess(tmp_path, here, resting(), steps=steps)["rests on it"].finding.verdict is Verdict.ADVISE


def test_a_plugin_cannot_say_what_others_doubt(tmp_path: Path) -> None:
    def compute(_view: JobView) -> Iterator[Finding]:
        yield found(Verdict.PASS, "log", doubted=(Doubt(SAYS, step="a", field="b"),))

    finding = assess(tmp_path, calculator("a.log", compute))["a.log"].finding
    assert "for the program to fill in" in finding.sentence


# A boat with readings in doubt is not ready


def test_a_doubt_stands_on_the_punch_list_once_and_with_the_hand_over(tmp_path: Path) -> None:
    def compute(_view: JobView) -> Iterator[Finding]:
        places = [Doubt(SAYS, step="small.horn", field=field) for field in ("battery", "heard")]
        yield found(Verdict.ADVISE, "log", doubts=tuple(places))

    host = make_host((), entry_points=False, modules={"d": module_of(calculator("a.log", compute, may_doubt=True))})
    view = small_plugin.small_view(tmp_path)
    assessed = host.assess(view)
    doubted = [item for item in punch_list(view, host, assessed) if item.why == "in doubt"]
    assert [(item.about, item.step) for item in doubted] == [("log", "small.horn")]
    assert doubted[0].text == f"T{SAYS[1:]}. {FIND_OUT}"
    assert "1 in doubt" in hand_over(view, assessed, punch_list(view, host, assessed)).lacking


@pytest.mark.parametrize(
    ("text", "check"), [("pump B runs backwards", "A title"), ("pump A runs backwards", "pump A, A title")]
)
def test_an_owner_is_told_of_which_piece_readings_contradict_each_other(text: str, check: str) -> None:
    """Of eleven circuits the book said "Voltage drop by meter: readings contradict each other", and not of which."""
    doubting = found(Verdict.ADVISE, "pump A", doubts=(Doubt(text, step="s", field="f"),))
    one = Assessed(
        calculator="a",
        title="A title",
        step="s",
        phase=Phase.ALONGSIDE,
        plugin="p",
        plugin_version="1",
        finding=doubting,
    )
    (item,) = _in_doubt([one])
    assert (item.about or "pump A", item.check) == ("pump A", check)


def test_figures_withheld_for_a_contradiction_stand_there_too_unless_its_doubt_does(tmp_path: Path) -> None:
    def compute(_view: JobView) -> Iterator[Finding]:
        raise NotEnoughData("runs 1 and 2 differ", lack=Lack.CONTRADICTS, step="small.run")

    view = small_plugin.small_view(tmp_path)
    for others, expected in (((), ["Runs 1 and 2 differ."]), ((doubting_a_run(),), [])):
        made = module_of(calculator("a.speed", compute), *others)
        host = make_host((), entry_points=False, modules={"d": made})
        told = [item.text for item in punch_list(view, host, host.assess(view)) if item.why == "in doubt"]
        assert [text for text in told if text.startswith("Runs")] == expected
        assert len(told) == 1


def doubting_two_places() -> Calculator:
    """A doubt that names the boat first, then the reading of one bank."""

    def compute(_view: JobView) -> Iterator[Finding]:
        places = (
            Doubt(SAYS, step="vessel", field="volts", of="house"),
            Doubt(SAYS, step="small.run", field="speed", of="house"),
        )
        yield found(Verdict.ADVISE, "log", doubts=places)

    return calculator("a.log", compute, may_doubt=True)


@pytest.mark.parametrize(("bank", "count"), [("house", 1), ("", 1), ("start", 2)])
def test_a_doubt_of_two_places_is_told_once_and_hides_no_other_piece(tmp_path: Path, bank: str, count: int) -> None:
    """A bank of another voltage stood on the punch list three times; a second bank's contradiction did not."""

    def compute(_view: JobView) -> Iterator[Finding]:
        raise NotEnoughData("runs differ", lack=Lack.CONTRADICTS, step="small.run", of=bank)

    host = make_host(
        (), entry_points=False, modules={"d": module_of(calculator("a.x", compute), doubting_two_places())}
    )
    view = small_plugin.small_view(tmp_path)
    told = [item.text for item in punch_list(view, host, host.assess(view)) if item.why == "in doubt"]
    assert len(told) == count
    assert ("Runs differ." in told) is (bank == "start")


def doubting_a_run() -> Calculator:
    def compute(_view: JobView) -> Iterator[Finding]:
        yield found(Verdict.ADVISE, "log", doubts=(Doubt(SAYS, step="small.run", field="speed"),))

    return calculator("a.log", compute, may_doubt=True)


def test_nothing_in_doubt_says_nothing(tmp_path: Path) -> None:
    view = small_plugin.small_view(tmp_path)
    host = make_host((), entry_points=False, modules={"d": module_of(resting())})
    assessed = host.assess(view)
    assert not any(item.why == "in doubt" for item in punch_list(view, host, assessed))
    assert not any(
        "in doubt" in lacking for lacking in hand_over(view, assessed, punch_list(view, host, assessed)).lacking
    )


def test_values_that_disagree_are_open_at_hand_over_and_an_owner_chooses_none(tmp_path: Path) -> None:
    """The cover said "Handed over." while two tablets' values stood against each other."""
    from garboard.job_view import Disagreement, Unreadable
    from garboard.records import Measurement
    from garboard.report.outline import punch_list
    from garboard.report.owner import _item

    values = tuple(Measurement(step="small.run", field="engine_speed", value=one) for one in ("48 A", "51 A"))
    view = attrs.evolve(
        small_plugin.small_view(tmp_path), disagreements=(Disagreement(("small.run", "engine_speed", "", ""), values),)
    )
    assert "1 with values that disagree" in hand_over(view, (), ()).lacking
    torn = attrs.evolve(
        view, unreadable=(Unreadable(place=("small.run", "log", "", ""), expected="a file", got="nothing"),)
    )
    assert "1 entry that cannot be read" in hand_over(torn, (), ()).lacking
    (item,) = [one for one in punch_list(view, small_plugin.small_host(), ()) if one.why == "values disagree"]
    assert item.text.endswith("choose the right one.")
    assert _item(item).replace("\u00a0", " ").endswith("48 A against 51 A; we have not settled which is right.")


def test_what_only_a_note_tells_is_counted_at_hand_over(tmp_path: Path) -> None:
    """A note that no check tells, and a step to look at again: "Handed over." was all the book said."""
    signed = [SignOff(role=role, name="R. Vane", at="2026-05-14T16:00Z") for role in SIGN_AT_HAND_OVER]
    view = attrs.evolve(
        small_plugin.small_view(tmp_path),
        notes=(Note(at="", by="K. Lind", text="Cleat is loose", punch_list=True), Note(at="", by="", text="Windy")),
        steps=(StepState(step="small.horn", state="look again"),),
        sign_offs=tuple(signed),
    )
    host = small_plugin.small_host()
    state = hand_over(view, (), punch_list(view, host, ()))
    assert is_handed_over(view)
    assert (state.points, state.words) == (2, "handed over with 2 points open")
    assert state.lacking == ("1 step to look at again", "1 noted on the punch list")
    book = " ".join(printed_words(handover_book(view, host, ())).split())
    assert "Handed over with 2 points open: 1 step to look at again; 1 noted on the punch list." in book
    assert "Record, handed over with 2 points open" in book
    assert hand_over(attrs.evolve(view, notes=(), steps=()), (), ()).words == "handed over"


WARM = Field(
    name="warm",
    title="Water, warm",
    kind=Kind.AMOUNT,
    quantity="temperature",
    unit="degC",
    plausible=(5, 40),
    doubted_outside=(0, 60),
    hard=(-300, 300),
)


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("20 degC", ""),
        ("50 degC", ""),  # asked about where it is entered; a person may insist
        ("60 degC", ""),
        ("61 degC", "61 degC, where 0 to 60 degC can be right"),
        ("142 degF", "142 degF, where 32 to 140 degF can be right"),
        ("warm", ""),  # what reads it says so
    ],
)
def test_a_value_where_nothing_in_order_lies_is_doubted(value: str, why: str) -> None:
    assert doubtful(WARM, value) == why
    measured = Measurement(step="a.step", field="warm", row="2", of="port", value=value)
    doubts = [*doubts_of_values([measured], {("a.step", "warm"): WARM})]
    assert [(one.text, one.place) for one in doubts] == (
        [(f"Water, warm, port: {why}", ("a.step", "warm", "2", "port"))] if why else []
    )


def test_the_ends_outside_which_a_value_is_doubted_are_a_range() -> None:
    with pytest.raises(ValueError, match="doubted_outside is 60 to 0"):
        attrs.evolve(WARM, doubted_outside=(60, 0))
