"""Why: the number that decides with its limit, what is missing, and the next fail, on a sample boat's findings."""

from __future__ import annotations

from collections.abc import Iterator

import attrs
import pytest

from garboard.findings import Basis, BasisKind, Doubt, Finding, Limit, Missing, Number, Verdict, not_enough_data
from garboard.steps import Assessed
from garboard_tablet.models.pages import ranked, rests_on
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_page import Headline, headline
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.why import fails_after, limit_words, numbers_table, still_missing
from tablet.driver import Drive, new_job

BASIS = (Basis(BasisKind.COMMON_PRACTICE, "x"),)
DROP, LOAD, COUNT = Number("drop", 4.1, "%", 0.3), Number("load", 12.0, "A"), Number("points", 5, decimals=0)
FOUND = Finding(verdict=Verdict.FAIL, about="circuit", sentence="Thicker.", basis=BASIS, numbers=(LOAD, DROP))


@pytest.fixture(scope="module")
def tablet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tablet]:
    """A tablet with one sample boat, whose wiring, runs and propellers fail in places."""
    from garboard.demo.samples_folder import sample_job_files
    from garboard.history import exchange
    from garboard.job_files.job_file import read_job_file

    tablet = open_tablet(tmp_path_factory.mktemp("saltgrass"))
    path = next(path for path in sample_job_files() if path.parent.name == "saltgrass")
    exchange.import_job(tablet.files, read_job_file(path), path.parent, tablet.author(by="Robin"))
    yield tablet
    tablet.close()


@pytest.fixture(scope="module")
def route(tablet: Tablet) -> Route:
    (hull,) = tablet.files.hulls()
    return Route(page="why", hull=hull, job=tablet.state_of(hull).jobs[-1])


@pytest.fixture(scope="module")
def of_job(tablet: Tablet, route: Route) -> tuple[Assessed, ...]:
    return tablet.assess(route.hull, route.job)


def test_the_number_beyond_its_limit_leads() -> None:
    limits = (Limit("load", high=15.0), Limit("drop", high=3.0))
    first = headline(attrs.evolve(FOUND, limits=limits))
    assert first == Headline(number=DROP, limit=limits[1])
    assert first.scale is not None
    assert (first.scale.value, first.scale.high, first.word) == (4.1, 3.0, "at most")
    assert headline(FOUND) == Headline(number=LOAD, limit=None)
    assert headline(attrs.evolve(FOUND, numbers=(COUNT,))) is None, "a count held against nothing is no headline"
    assert limit_words(LOAD, Limit("load", -1.5, 15.00049)) == "−1.5 to 15 A"


def test_every_number_stands_with_what_it_is_held_against() -> None:
    found = attrs.evolve(FOUND, limits=(Limit("drop", high=3.0),))
    table = numbers_table(found)
    assert table is not None
    assert table.rows == (("Load", "12.0 A", ""), ("Drop", "4.1 ± 0.3 %", "at most 3 %"))
    assert numbers_table(attrs.evolve(found, numbers=(DROP,))) is None, "the card says it"
    plain = numbers_table(FOUND)
    assert plain is not None
    assert plain.headings == ("Number", "Value")


def test_the_next_fail_is_in_the_step_and_then_in_the_next_one(
    tablet: Tablet, route: Route, of_job: tuple[Assessed, ...]
) -> None:
    """From the first fail on, each fail of the job comes once; after the last of a step comes another step's."""
    step = "wiring_audit.circuits"
    here = attrs.evolve(route, step=step)
    found = ranked(tablet, [one for one in of_job if one.step == step])
    first = next(one for one in found if one.finding.verdict is Verdict.FAIL)
    following = list(fails_after(tablet, here, first, found, of_job))
    fails = [one for one in of_job if one.finding.verdict is Verdict.FAIL]
    assert len(following) == len(fails) - 1 > 2
    assert [target.step for _, target in following].count(step) == sum(one.step == step for one in fails) - 1
    assert following[-1][1].step != step
    assert all(target.page == "why" and target.subject[3] == "fail" for _, target in following)
    assert not list(fails_after(tablet, here, first, [first], [first])), "the last has none"


def test_what_is_missing_leads_to_where_it_is_entered(
    tablet: Tablet, route: Route, of_job: tuple[Assessed, ...]
) -> None:
    lacking = [one for one in of_job if one.finding.missing]
    pages = {each.target.page for one in lacking for each in still_missing(tablet, route, one.finding) if each.target}
    assert {"entry", "piece", "kind"} & pages
    rowless = not_enough_data("runs", [Missing("a speed", step="prop_check.full_throttle", field="speed")], BASIS)
    assert [each.target.page for each in still_missing(tablet, route, rowless) if each.target] == ["step"]


def test_a_recording_leads_to_the_recordings_of_its_step(
    tablet: Tablet, route: Route, of_job: tuple[Assessed, ...]
) -> None:
    """To the one that counts; any other value to its pad."""
    step = "heading_calibration.steady_turn"
    one = next(each for each in of_job if each.step == step and each.finding.limits)
    values = {each.title: each.target for each in rests_on(tablet, route, one.finding)}
    recording = values["Recording of the turn"]
    assert (recording.page, recording.subject[:2]) == ("recordings", (step, "turn_recording"))
    assert len(recording.subject[-1]) == 64
    assert values["Calm water: no wake, little wind"].page == "entry"


def test_what_is_in_doubt_comes_first_and_then_what_was_answered_with_no(
    tablet: Tablet, route: Route, of_job: tuple[Assessed, ...]
) -> None:
    labels = next(each.finding for each in of_job if each.finding.code == "wiring_audit.labels.unlabelled")
    place = next(place for place in labels.places if place[3] == "VHF radio")
    step, field, row, of = place
    doubt = Doubt("seen bare at the panel", step=step, field=field, row=row, of=of)
    first, second, *rest = rests_on(tablet, route, attrs.evolve(labels, doubted=(doubt,)))
    assert (first.value, first.doubt) == ("yes", "seen bare at the panel")
    assert second.value == "no"
    assert {one.value for one in rest} == {"yes"}


def test_a_finding_is_quiet_while_values_have_changed(drive: Drive) -> None:
    """It says that it is being checked; the word is gone when it is."""
    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice No", "back", "finding 0")
    assert not d.says("checking")
    here = d.app.tablet.session.here
    d.app.tablet.set_state(here.hull, here.job, here.step, "look again")
    d.app.findings.soon = lambda _route: None
    d.app.screen.redraw()
    assert d.says("values changed, checking")
    d.app.findings.now(here)
    d.app.screen.redraw()
    assert not d.says("checking")
