"""What the plugins tell an owner: true to the findings, and nothing of what is in doubt."""

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

import attrs
import pytest

from builders import job_view
from garboard.cautions import FUEL_VAPOUR
from garboard.demo.samples_folder import sample_job_files
from garboard.findings import Basis, BasisKind, Doubt, Finding, Table, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.job_view import JobView
from garboard.judging.assessing import assess_job_file
from garboard.owner_pages import Digits, Plan, Steps
from garboard.records import Battery, Circuit, Engine, JsonValue, NamedPropeller, Propeller, Vessel
from garboard.settings import DEFAULT, SHOP, SettingSet, SettingUsed
from garboard.steps import Assessed, Block, Phase
from garboard.units import Amount
from garboard_engine_trial import owner as engine_trial
from garboard_engine_trial.after_steps import AFTER
from garboard_engine_trial.fit_out_steps import LAW
from garboard_fuel_curve import owner as fuel_curve
from garboard_handover import places
from garboard_handover import report as handover
from garboard_prop_check import owner as prop_check
from garboard_wiring_audit import owner as wiring_audit

PRACTICE = Basis(BasisKind.COMMON_PRACTICE, "an invented rule")
Change = Callable[[Finding], Finding]


@lru_cache(maxsize=1)
def kittiwake() -> tuple[JobView, Sequence[Assessed]]:
    file = next(file for file in sample_job_files() if file.parent.name == "kittiwake")
    host: PluginHost = make_host(entry_points=False)
    job = assess_job_file(file, host)
    return host.with_defaults(job.view), job.assessed


def doubted(finding: Finding) -> Finding:
    return attrs.evolve(finding, doubted=(Doubt("a log is wrong", step="s", field="f"),))


def altered(calculator: str, change: Change) -> Sequence[Assessed]:
    return [
        attrs.evolve(one, finding=change(one.finding)) if one.calculator == calculator else one
        for one in kittiwake()[1]
    ]


def told(blocks: Sequence[Block]) -> str:
    return " ".join(str(block) for block in blocks)


def test_the_range_is_that_of_the_finding_rounded_down() -> None:
    view, assessed = kittiwake()
    (ranged,) = [one.finding for one in assessed if one.calculator == "fuel_curve.range"]
    found = fuel_curve.known(view, assessed)
    assert found is not None
    assert found.usual is not None
    assert found.usable is not None
    out = float(fuel_curve.out_and_back(view, found.usual, found.usable))
    assert out <= ranged.numbers[0].value < out + 1
    assert ranged.sentence.startswith(f"{out:.0f} nm out"), "one book says it in two places"


def test_a_share_of_the_usable_fuel_is_told_with_what_the_gauge_shows_of_it() -> None:
    """188 gal, 170 of them usable; the gauge read 2 % at 0 gal, 47 % at 94 and 97 % at 188, straight between."""
    view, assessed = kittiwake()
    table = next(one for one in fuel_curve.fuel(view, assessed) if isinstance(one, Table))
    for row, inside in zip(table.rows, (188, 18 + 127.5, 18 + 85, 18 + 42.5), strict=True):
        shown = 2 + inside / 94 * 45 if inside < 94 else 47 + (inside - 94) / 94 * 50
        assert row[1] == f"{shown:.0f} %"
    assert [row[0].replace("\u00a0", " ") for row in table.rows[1::2]] == [
        "three quarters, 127.5 gal",
        "a quarter, 42.5 gal",
    ]
    said = told([*fuel_curve.fuel(view, assessed)]).replace("\u00a0", " ").replace("\\xa0", " ")
    assert "from 170 gal usable of 188 gal of gasoline" in said
    assert "The engines cannot draw the last 18 gal" in said
    assert f"still shows about {math.ceil(2 + 18 / 94 * 45)} % when no usable fuel is left" in said


def test_a_gauge_that_is_off_is_not_told_to_plan_by() -> None:
    view, _ = kittiwake()
    assessed = altered("engine_trial.senders", lambda finding: attrs.evolve(finding, verdict=Verdict.ADVISE))
    said = told([*fuel_curve.fuel(view, assessed)])
    assert "it does not read empty when no usable fuel is left" in said
    assert "'Gauge'" not in said


def test_a_speed_is_the_same_rounded_number_on_every_page() -> None:
    view, assessed = kittiwake()
    (speed,) = [one.finding for one in assessed if one.calculator == "prop_check.speed"][:1]
    full = f"{speed.numbers[0].value:.1f} kn"
    assert f"Full speed is {full}" in told([*prop_check.cover(view, assessed)])
    found = fuel_curve.known(view, assessed)
    assert found is not None
    card = next(one for one in fuel_curve.helm(view, assessed) if isinstance(one, Table))
    at = {row[0]: row[2] for row in card.rows}
    assert found.slow is not None
    assert at["Slowly"] == f"{found.slow.speed:.1f}"
    assert found.usual is not None
    assert at["Your usual cruise"] == f"{found.usual.speed:.1f}"


@pytest.mark.parametrize("calculator", ["fuel_curve.curve", "fuel_curve.range"])
def test_no_range_is_told_an_owner_while_readings_contradict_it(calculator: str) -> None:
    view, _ = kittiwake()
    assessed = altered(calculator, doubted)
    assert not [*fuel_curve.cover(view, assessed)]
    assert " nm" not in told([*fuel_curve.fuel(view, assessed)])


def test_with_impossible_fuel_nothing_of_it_is_told() -> None:
    view, _ = kittiwake()
    assessed = altered("fuel_curve.fuel_for_power", lambda finding: attrs.evolve(finding, verdict=Verdict.FAIL))
    assert fuel_curve.known(view, assessed) is None
    assert not [*fuel_curve.helm(view, assessed), *fuel_curve.fuel(view, assessed), *fuel_curve.cover(view, assessed)]


def test_engines_outside_their_range_are_not_called_inside_it() -> None:
    view, assessed = kittiwake()
    assert "with both engines inside the maker's range" in told([*prop_check.cover(view, assessed)])
    failing = altered("prop_check.window", lambda finding: attrs.evolve(finding, verdict=Verdict.FAIL))
    assert "not every engine is inside the maker's range" in told([*prop_check.cover(view, failing)])
    assert "have propellers" not in told([*prop_check.helm(view, failing)])


@pytest.mark.parametrize(("fitted", "words"), [("", "Propeller 368 mm x 21 in"), ("tried", "Propeller 14.75 x 19 in")])
def test_an_owner_is_told_the_propeller_that_is_on_in_its_own_sizes(fitted: str, words: str) -> None:
    """The one the engine came with stood beside the engine speed of another, and as 14.4882 x 21 in."""
    came = Propeller(diameter=Amount("368", "mm"), pitch=Amount("21", "in"))
    tried = NamedPropeller(name="tried", diameter=Amount("14.75", "in"), pitch=Amount("19", "in"))
    engine = Engine(position="centre", propeller=came, fitted=fitted)
    vessel = Vessel(hull_number="QQZ04417D626", engines=(engine,), propellers=(tried,))
    assert told([*prop_check.helm(job_view(vessel, {}), [])]) == f"{words}."


def judged(of: str, verdict: Verdict, code: str = "") -> Assessed:
    finding = Finding(verdict=verdict, about=of, sentence="So.", basis=(PRACTICE,), of=of, code=code)
    return Assessed(
        calculator="wiring_audit.overcurrent_rating",
        title="Rating",
        step="wiring_audit.circuits",
        phase=Phase.ALONGSIDE,
        plugin="wiring_audit",
        plugin_version="1",
        finding=finding,
    )


def test_a_fuse_of_a_wrong_size_is_not_told_as_the_one_to_replace_it_by() -> None:
    sixty = Amount.parse("60 A")
    circuits = tuple(Circuit(name=name, protection="fuse", protection_rating=sixty) for name in ("Wash", "Pump"))
    bare = Circuit(name="Start", protection="none", protection_rating=sixty)
    fed = attrs.evolve(circuits[1], fed_from="battery terminal")
    vessel = Vessel(hull_number="QQZ00001A626", circuits=(circuits[0], fed, bare), batteries=(Battery(name="house"),))
    view = job_view(vessel, {("wiring_audit.batteries", "fuse_rating", "", "house"): "100 A"})
    (card,) = wiring_audit.fuses(view, [judged("Wash", Verdict.FAIL), judged("Pump", Verdict.PASS)])
    assert isinstance(card, Table)
    assert card.rows == (
        ("Main fuse, house", "100 A", "fuse", "at the battery"),
        ("Wash", "ask us", "fuse", ""),
        ("Pump", "60 A", "fuse", "at the battery"),
        ("Start", "", "none", ""),
    )


def test_a_main_fuse_that_will_open_is_not_told_as_the_one_to_replace_it_by() -> None:
    """It was misread, or is to be exchanged; the other battery's is told."""
    vessel = Vessel(hull_number="QQZ00001A626", batteries=(Battery(name="house"), Battery(name="start")))
    read = {("wiring_audit.batteries", "fuse_rating", "", name): "5 A" for name in ("house", "start")}
    found = judged("house", Verdict.ADVISE, "wiring_audit.main_fuse.will_open")
    (card,) = wiring_audit.fuses(job_view(vessel, {**read}), [found])
    assert isinstance(card, Table)
    assert [row[1] for row in card.rows] == ["ask us", "5 A"]


def test_a_main_fuse_whose_rating_cannot_be_read_is_still_on_the_card() -> None:
    vessel = Vessel(hull_number="QQZ00001A626", batteries=(Battery(name="house"), Battery(name="start")))
    view = job_view(vessel, {("wiring_audit.batteries", "fuse_rating", "", "house"): "a big one"})
    (card,) = wiring_audit.fuses(view, ())
    assert isinstance(card, Table)
    assert card.rows == (("Main fuse, house", "as printed on it", "fuse", "at the battery"),)


def test_the_battery_that_gives_out_first_is_told_by_its_shortest_time() -> None:
    view, assessed = kittiwake()
    digits = [one.text for one in wiring_audit.helm(view, assessed) if isinstance(one, Digits)]
    (reserve,) = [one.finding for one in assessed if one.calculator == "wiring_audit.battery_reserve"][:1]
    least = min(number.value for number in reserve.numbers if number.unit == "h")
    hours = float(digits[0].split("\u00a0")[0])
    assert hours <= least < hours + 0.1


# Places aboard


def aboard(*rows: tuple[str, str, JsonValue, JsonValue, str], settings: dict[str, JsonValue] | None = None) -> JobView:
    fields = ("thing", "called", "along", "across", "kind")
    values = {
        (places.PLACES, field, f"{number}", ""): value
        for number, row in enumerate(rows, 1)
        for field, value in zip(fields, row, strict=True)
        if value != ""
    }
    return job_view(Vessel(hull_number="QQZ00001A626"), values, settings=settings)


def test_a_place_says_what_is_there_also_where_its_words_say_only_where() -> None:
    """The book listed "1 in the aft locker, port", and nobody could tell what to look for there."""
    view = aboard(
        (places.BATTERY_SWITCH, "aft locker, port", "8 %", "20 %", places.FIRST),
        (places.CUT_OFF, "Cut-off switch, at the helm", "", "", ""),
    )
    assert [one.name for one in places.places(view)] == [
        "Battery switch: aft locker, port",
        "Cut-off switch, at the helm",
    ]


def test_what_no_battery_switch_turns_off_is_named() -> None:
    """A bilge pump with a float is fed ahead of the switch (common practice, no source): "all off" would not be so."""
    view, assessed = kittiwake()
    (said,) = wiring_audit.stays_live(view, assessed)
    assert "these stay live: Bilge pump forward, Bilge pump aft. Disconnect" in str(said)
    left_alone = next(one for one in wiring_audit.helm(view, assessed) if getattr(one, "name", "") == "left alone")
    assert "still connected: Bilge pump forward, Bilge pump aft" in told([left_alone])
    standing = next(one.finding for one in assessed if one.calculator == "wiring_audit.standing_current")
    assert "with the switches off" in standing.sentence
    assert standing.sentence.endswith("Fed at the battery and still connected: Bilge pump forward, Bilge pump aft.")
    assert "by themselves, also with the battery switches off: Forward, Aft." in told(
        [*handover._starts_by_itself(view, assessed)]
    )


def test_of_many_circuits_fed_at_the_battery_the_first_are_named_and_of_unknown_ones_none_is_called_off() -> None:
    feed = Circuit(name="Panel", fed_from="battery terminal", use="panel feed")
    live = [Circuit(name=f"Pump {number}", fed_from="battery terminal") for number in range(9)]
    circuits = (feed, *live, Circuit(name="Radio", fed_from="panel"), Circuit(name="Horn"))
    view = job_view(Vessel(hull_number="QQZ00001A626", circuits=circuits), {})
    of_battery, unknown = map(str, wiring_audit.stays_live(view, ()))
    assert "Pump 0, Pump 1, Pump 2, Pump 3, Pump 4, Pump 5 and 3 more." in of_battery
    assert "Panel" not in of_battery
    assert unknown.endswith("take them as live: Horn.")


def test_places_needed_first_stand_first_and_bear_the_numbers_the_steps_name() -> None:
    view = aboard(
        ("anchor", "", "95 %", "50 %", places.GOOD_TO_KNOW),
        (places.MAIN_FUSE, "Main fuse, aft", "10 %", "", places.FIRST),
        ("something else", "", "", "", ""),
    )
    (plan,) = places.where(view, ())
    assert isinstance(plan, Plan)
    assert [(one.name, one.along, one.across, one.is_first) for one in plan.places] == [
        ("Main fuse, aft", 0.1, None, True),
        ("Anchor", 0.95, 0.5, False),
    ]
    (steps,) = [one for one in places.not_starting(view, ()) if isinstance(one, Steps)]
    (of_fuse,) = [step for step in steps.steps if "(1 on page" in step]
    assert of_fuse.index("battery switches off") < of_fuse.index("main fuse (1 on page")
    assert of_fuse == steps.steps[-1], "nothing is switched on again after it"


def test_an_extinguisher_that_the_plan_does_not_show_is_told() -> None:
    view, _ = kittiwake()
    assert len([*places.where(view, ())]) == 1, "both are on the plan"
    left = tuple(one for one in view.measurements if one.value != "Fire extinguisher, under the helm seat")
    rows = {one.row for one in view.measurements} - {one.row for one in left if one.field == "called"}
    left = tuple(one for one in left if one.step != places.PLACES or one.row not in rows)
    assert "aboard: 2. Shown here: 1." in told([*places.where(attrs.evolve(view, measurements=left), ())])


def test_the_boat_is_sniffed_before_a_switch_is_touched() -> None:
    """The blower is a switch: it is run where nothing was smelled, and not to air a boat that smells."""
    said = FUEL_VAPOUR.to_owner
    assert said.index("Before you touch a switch") < said.index("If you smell any") < said.index("If you smell none")
    assert "run the blower" in said[said.index("If you smell none") :]
    assert "run the blower" not in said[: said.index("If you smell none")]


def test_without_places_there_is_no_page_of_them_and_no_number() -> None:
    assert not [*places.where(aboard(), ())]
    assert "on page" not in told([*places.not_starting(aboard(), ())])


def test_the_shops_telephone_is_told_where_the_shop_entered_it() -> None:
    assert not [one for one in places.not_starting(aboard(), ()) if isinstance(one, Digits)]
    view = aboard(settings={places.TELEPHONE: "555 0142"})
    assert [one.text for one in places.not_starting(view, ()) if isinstance(one, Digits)] == ["555 0142"]


def test_a_job_signed_before_the_telephone_was_entered_tells_that_of_today() -> None:
    now = SettingSet(key=places.TELEPHONE, value="555 0199", source=SHOP)
    used = SettingUsed(key=places.TELEPHONE, title="", value="", default="", state=DEFAULT, shop_now=(now,))
    view = attrs.evolve(aboard(), settings_used={places.TELEPHONE: used})
    assert [one.text for one in places.not_starting(view, ()) if isinstance(one, Digits)] == ["555 0199"]


def test_the_capacity_label_is_told_as_it_was_read() -> None:
    vessel = Vessel(hull_number="QQZ00001A626")
    assert not [*engine_trial.capacity(job_view(vessel, {}), ())]
    values: dict[tuple[str, str, str, str], JsonValue] = {
        (LAW, "label_persons", "", ""): 6,
        (LAW, "label_persons_weight", "", ""): "850 lb",
    }
    assert [*engine_trial.capacity(job_view(vessel, values), ())] == ["The capacity label allows 6 people or 850 lb."]


def test_the_next_service_is_the_earliest_that_is_still_to_come() -> None:
    rows = {"1": ("20 hour check", "2026-01-15"), "2": ("100 hour", "2027-05-15"), "3": ("Yearly", "2027-04-15")}
    values: dict[tuple[str, str, str, str], JsonValue] = {}
    for row, (service, day) in rows.items():
        values[AFTER, "service", row, ""] = service
        values[AFTER, "due_date", row, ""] = day
    view = job_view(Vessel(hull_number="QQZ00001A626"), values)
    view = attrs.evolve(view, job=attrs.evolve(view.job, opened="2026-05-15"))
    first = next(engine_trial.care(view, ()))
    assert first == Digits("15 April 2027", "next service", ("Yearly",))
