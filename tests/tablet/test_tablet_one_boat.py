"""A boat with two numbers, and a job moved to the hull it belongs to, as the tablet shows them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

import pytest

from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, join_job, measure, move_job, retract, same_boat
from garboard.history.merge import merge
from garboard.history.replay import replay
from garboard.hosting.host import make_host
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessels import VesselList, check_hull
from tablet.driver import Drive, Driver, declared

RIGHT, WRONG = "XYZAB123F526", "XYZAB128F526"
PLUGIN = Path(__file__).with_name("dock_plugin.py")
KIM, ROBIN = Author("tablet 1", "Kim"), Author("tablet 2", "Robin")


def job_entries(author: Author, hull: str, job: str, speed: str | None = None, name: str = "") -> list[Entry]:
    """A job opened under a hull number, with what is given."""
    state = replay(hull, [])
    written = [author.write(state, "job", ("opened",), "2026-05-0" + job[-1], job=job)]
    if speed:
        written.append(measure(author, state, job, "dock.full", "speed", speed))
    if name:
        written.append(author.write(state, "field", ("name",), name, job=job))
    return written


def one_boat_in_two_folders(tmp_path: Path) -> None:
    """Two tablets' folders, each with a job of the same boat under another number, merged into the tablet's."""
    first = job_entries(KIM, RIGHT, "job1", speed="41.2 kn", name="Saltgrass")
    second = job_entries(ROBIN, WRONG, "job2", speed="39.0 kn")
    alike = same_boat(KIM, replay(RIGHT, first), replay(WRONG, second), "one transom, read twice")
    brought(tmp_path, "kim", [*first, alike[0]])
    brought(tmp_path, "robin", [*second, alike[1]])


def brought(tmp_path: Path, name: str, entries: Sequence[Entry]) -> None:
    """Entries merged from a folder of their own into the tablet's."""
    with HullFolder(tmp_path / name) as source:
        for entry in entries:
            source.save(entry)
    with HullFolder(tmp_path / name, read_only=True) as source, HullFolder(tmp_path / "tablet") as target:
        merge([source], target)


def lines_of(tablet: Tablet) -> VesselList:
    vessels = VesselList(tablet)
    vessels.read()
    while stale := vessels.stale():
        for hull in stale:
            vessels.refresh(hull)
    vessels.keep()
    return vessels


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[[], Tablet]]:
    """Opens the tablet's folder with the invented plugin."""
    made = []

    def start() -> Tablet:
        made.append(open_tablet(tmp_path / "tablet", partial(make_host, (), entry_points=False, files=[PLUGIN])))
        made[-1].change_settings(made[-1].settings.with_person("Robin"))
        return made[-1]

    yield start
    for tablet in made:
        tablet.close()


def test_a_boat_with_two_numbers_is_listed_once_and_says_the_other(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """One line, both jobs, the name from one file, found by either number."""
    one_boat_in_two_folders(tmp_path)
    tablet = opened()
    vessels = lines_of(tablet)
    (line,) = vessels.lines.values()
    assert (line.hull, line.also, line.name, line.job) == (RIGHT, (WRONG,), "Saltgrass", "job2")
    assert line.numbers == f"{RIGHT}, also {WRONG}"
    assert [one.hull for one in vessels.found("128")] == [RIGHT]
    assert check_hull(WRONG, [line]).known == line
    assert tablet.boat(WRONG).jobs == ("job1", "job2")
    again = VesselList(tablet)
    again.read()
    assert again.lines == vessels.lines
    assert again.stale() == ()


def test_a_line_is_stale_when_only_the_other_numbers_file_has_grown(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """What a colleague wrote under the other number changes the boat's line."""
    one_boat_in_two_folders(tmp_path)
    tablet = opened()
    vessels = lines_of(tablet)
    tablet.files.save(measure(ROBIN, tablet.state_of(WRONG), "job2", "dock.horn", "heard", True))
    assert vessels.stale() == (RIGHT,)


def test_two_numbers_part_again_when_the_statement_is_taken_back(opened: Callable[[], Tablet], tmp_path: Path) -> None:
    """The boat that got its own number back has its own line again."""
    one_boat_in_two_folders(tmp_path)
    tablet = opened()
    vessels = lines_of(tablet)
    for here in (RIGHT, WRONG):
        alone = replay(here, tablet.files.entries(here))
        key = next(key for key in alone.registers if key.kind == "alias")
        tablet.files.save(retract(KIM, alone, key, "two boats after all"))
    tablet.look_again([RIGHT, WRONG])
    for hull in vessels.stale():
        vessels.refresh(hull)
    assert {hull: line.also for hull, line in vessels.lines.items()} == {RIGHT: (), WRONG: ()}


def test_a_number_said_to_be_the_same_boat_in_one_file_alone_is_still_one_line(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """The other half of the statement is on another tablet; what is listed leads to both jobs."""
    first = job_entries(KIM, RIGHT, "job1", name="Saltgrass")
    second = job_entries(ROBIN, WRONG, "job2")
    alike = same_boat(KIM, replay(RIGHT, first), replay(WRONG, second), "one transom, read twice")
    brought(tmp_path, "both", [*first, *second, alike[1]])
    tablet = opened()
    (line,) = lines_of(tablet).lines.values()
    assert (line.hull, line.also) == (WRONG, (RIGHT,))
    assert tablet.boat(line.hull).jobs == ("job1", "job2")


def moved(tmp_path: Path) -> tuple[list[Entry], list[Entry]]:
    """A job written under a wrong number, moved to the right one; the two files come from two folders."""
    right = job_entries(KIM, RIGHT, "job1", speed="41.2 kn", name="Saltgrass")
    wrong = job_entries(ROBIN, WRONG, "job2", speed="39.0 kn", name="Not this boat")
    leaving, arriving = move_job(KIM, replay(WRONG, wrong), replay(RIGHT, right), "job2", "typed wrongly")
    return [*right, arriving], [*wrong, leaving]


def test_a_moved_job_is_shown_and_written_under_the_hull_it_was_moved_to(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """The right boat's name and beam, the wrong file's measurement; what is entered now comes out there too."""
    from garboard_tablet.models.entry import enter
    from garboard_tablet.models.pages import punch_lines
    from garboard_tablet.models.session import Route

    here, there = moved(tmp_path)
    brought(tmp_path, "kim", here)
    brought(tmp_path, "robin", there)
    tablet = opened()
    vessels = lines_of(tablet)
    assert vessels.lines[RIGHT].job == "job2"
    assert vessels.lines[WRONG].phase == f"job moved to {RIGHT}"
    view = tablet.view(RIGHT, "job2")
    assert (view.vessel.name, view.value("dock.full", "speed")) == ("Saltgrass", "39.0 kn")

    route = Route(
        page="entry", hull=RIGHT, job="job2", step="dock.full", subject=("measure", "dock.full", "speed", "", "")
    )
    speed = enter(tablet, route)
    assert speed is not None
    speed.save("40.1 kn")
    tablet.note(RIGHT, "job2", "Port light dark", punch_list=True)
    beam = enter(tablet, route.to("entry", "field", "beam"))
    assert beam is not None
    beam.save("8.5 ft")
    tablet.sign(RIGHT, "job2", "owner", "A. Marsh", b"<svg/>")
    view = tablet.view(RIGHT, "job2")
    assert view.value("dock.full", "speed") == "40.1 kn"
    assert str(view.vessel.beam) == "8.5 ft"
    assert [line.text for line in punch_lines(tablet, RIGHT, "job2")] == ["Port light dark"]
    assert [sign_off.stale for sign_off in view.sign_offs] == [False]
    assert tablet.view(RIGHT, "job1").value("dock.full", "speed") == "41.2 kn"
    tablet.close()
    assert opened().view(RIGHT, "job2").value("dock.full", "speed") == "40.1 kn"


def test_equipment_that_came_with_a_moved_job_is_gone_on_with_and_none_of_it_is_lost(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """Nothing was entered for the new number; a piece added to what came, and one taken off, leave the others."""
    there = job_entries(ROBIN, WRONG, "job2", speed="39.0 kn", name="Saltgrass")
    state = replay(WRONG, there)
    there += [ROBIN.write(state, "field", ("engines", side, "position"), side) for side in ("port", "starboard")]
    leaving, arriving = move_job(KIM, state, replay(RIGHT, []), "job2", "typed wrongly")
    brought(tmp_path, "robin", [*there, leaving, arriving])
    tablet = opened()
    assert lines_of(tablet).lines[RIGHT].name == "Saltgrass"
    tablet.add_piece(RIGHT, ("engines", "centre"))
    tablet.remove_piece(RIGHT, ("engines", "port"))
    view = tablet.view(RIGHT, "job2")
    assert [engine.position for engine in view.vessel.engines] == ["starboard", "centre"]


def test_a_move_that_comes_ashore_while_the_boat_is_open_is_taken_in(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """First the target's file says so, later the source's: then the job is there."""
    here, there = moved(tmp_path)
    tablet = opened()
    for entry in here:
        tablet.files.save(entry)
    assert tablet.boat(RIGHT).jobs == ("job1",)
    for entry in there:
        tablet.files.save(entry)
    tablet.look_again([WRONG])
    assert tablet.boat(RIGHT).jobs == ("job1", "job2")


def test_a_job_of_which_only_the_leaving_came_stays_listed_until_the_other_file_has_its_half(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    there = job_entries(ROBIN, WRONG, "job3", speed="40.1 kn")
    here = job_entries(KIM, RIGHT, "job1", speed="41.2 kn")
    leaving, arriving = move_job(KIM, replay(WRONG, there), replay(RIGHT, here), "job3", "typed wrongly")
    brought(tmp_path, "first", [*there, *here, leaving])
    tablet = opened()
    assert tablet.boat(WRONG).jobs == ("job3",)
    vessels = lines_of(tablet)
    assert vessels.lines[WRONG].job == "job3"
    tablet.files.save(arriving)
    tablet.look_again([RIGHT])
    assert WRONG in vessels.stale()
    assert tablet.boat(WRONG).jobs == ()
    assert tablet.boat(RIGHT).jobs == ("job1", "job3")
    assert lines_of(tablet).lines[WRONG].job == ""


def test_a_job_in_two_parts_is_whole_and_takes_further_values(opened: Callable[[], Tablet], tmp_path: Path) -> None:
    """Begun under a wrong number, gone on with under the right one, then moved: one job, and entering goes on."""
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.pages import asks_here

    here = job_entries(KIM, RIGHT, "job1", speed="41.2 kn")
    there = [measure(ROBIN, replay(WRONG, []), "job1", "dock.horn", "heard", True)]
    pair = move_job(KIM, replay(WRONG, there), replay(RIGHT, here), "job1", "typed wrongly")
    brought(tmp_path, "both", [*here, *there, *pair])
    tablet = opened()
    asks = asks_here(tablet, RIGHT, "job1", declared(tablet, "dock.horn"))
    tone: Ask = next(ask for ask in asks if ask.field.name == "tone")
    tablet.enter(RIGHT, "job1", tone, "hoarse")
    view = tablet.view(RIGHT, "job1")
    assert view.value("dock.full", "speed") == "41.2 kn"
    assert view.value("dock.horn", "heard") is True
    assert view.value("dock.horn", "tone") == "hoarse"


def test_a_job_joined_ashore_while_it_is_open_goes_on_as_the_one_it_was_joined_into(
    opened: Callable[[], Tablet], tmp_path: Path
) -> None:
    """The boat lists one job with both values; a page still on the other shows and writes the same job."""
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.pages import asks_here

    first = job_entries(KIM, RIGHT, "job1", speed="41.2 kn")
    second = [*job_entries(ROBIN, RIGHT, "job2"), measure(ROBIN, replay(RIGHT, []), "job2", "dock.horn", "heard", True)]
    brought(tmp_path, "both", [*first, *second])
    tablet = opened()
    assert set(tablet.boat(RIGHT).jobs) == {"job1", "job2"}
    assert tablet.view(RIGHT, "job2").value("dock.full", "speed") is None
    tablet.files.save(join_job(KIM, tablet.state_of(RIGHT), "job2", "job1", "opened twice"))
    tablet.look_again([RIGHT])
    assert lines_of(tablet).lines[RIGHT].job == "job1"
    asks = asks_here(tablet, RIGHT, "job2", declared(tablet, "dock.horn"))
    tone: Ask = next(ask for ask in asks if ask.field.name == "tone")
    tablet.enter(RIGHT, "job2", tone, "hoarse")
    for job in ("job1", "job2"):
        view = tablet.view(RIGHT, job)
        assert view.value("dock.full", "speed") == "41.2 kn"
        assert view.value("dock.horn", "heard") is True
        assert view.value("dock.horn", "tone") == "hoarse"
        assert punch_texts(tablet, job) == []
    tablet.note(RIGHT, "job2", "Port light dark", punch_list=True)
    assert [punch_texts(tablet, job) for job in ("job1", "job2")] == [["Port light dark"]] * 2


def punch_texts(tablet: Tablet, job: str) -> list[str]:
    from garboard_tablet.models.pages import punch_lines

    return [line.text for line in punch_lines(tablet, RIGHT, job)]


@pytest.mark.usefixtures("settled_soon")
def test_the_list_and_the_job_by_touch(drive: Drive, tmp_path: Path) -> None:
    """One row under one number; pressing it opens the boat; the wrong number's row leads to where the job went."""
    one_boat_in_two_folders(tmp_path)
    d = drive(tmp_path / "tablet")
    d.wait(lambda: d.has(f"vessel {RIGHT}"))
    assert not d.has(f"vessel {WRONG}")
    assert d.says(f"{RIGHT}, also {WRONG}")
    d.press(f"vessel {RIGHT}", "job job1")  # two jobs are open: the person says which
    assert d.app.tablet.view(d.app.tablet.session.here.hull, "job1").value("dock.full", "speed") == "41.2 kn"


def faults_in_every_size(d: Driver) -> list[str]:
    from tablet.layout_lint import faults

    found = []
    for size in ((1280, 800), (800, 1280), (1024, 600)):
        d.resize(*size)
        found += faults(d.app.shell, d.window)
    return found


@pytest.mark.usefixtures("settled_soon")
def test_two_numbers_and_a_moved_jobs_way_have_room(drive: Drive, tmp_path: Path) -> None:
    """The longest lines of the list, and the page a moved job left behind."""
    one_boat_in_two_folders(tmp_path)
    third = "XYZAB129F526"
    source = job_entries(KIM, third, "job3")
    leaving, arriving = move_job(KIM, replay(third, source), replay(RIGHT, []), "job3", "typed wrongly")
    brought(tmp_path, "later", [*source, leaving, arriving])
    d = drive(tmp_path / "tablet")
    d.wait(lambda: d.has(f"vessel {third}"))
    assert faults_in_every_size(d) == []
    d.press(f"vessel {third}")
    assert d.has("moved job3")
    assert faults_in_every_size(d) == []


@pytest.mark.usefixtures("settled_soon")
def test_a_moved_jobs_old_number_leads_to_the_right_boat_by_touch(drive: Drive, tmp_path: Path) -> None:
    """Nobody is left before an empty page."""
    for name, entries in zip(("kim", "robin"), moved(tmp_path), strict=True):
        brought(tmp_path, name, entries)
    d = drive(tmp_path / "tablet")
    d.wait(lambda: d.has(f"vessel {WRONG}"))
    assert d.says(f"Job moved to {RIGHT}")
    d.press(f"vessel {WRONG}", "moved job2")
    assert d.says("Saltgrass")
    assert (d.app.tablet.session.here.hull, d.app.tablet.session.here.job) == (RIGHT, "job2")
