"""Lines of the list are made beside the drawing thread: who reads and judges, and which line stands at the end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.disk.hullfile import HullFolder
from garboard.disk.storage import FolderClosed
from garboard.history.authoring import measure
from garboard.history.replay import HullState
from garboard.hosting.host import PluginHost, make_host
from garboard.records import JsonValue
from garboard_tablet.models.background import Background
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessel_watch import READING_A_BOAT, VesselWatch
from garboard_tablet.models.vessels import LINES, VesselLine, VesselList, vessel_line
from tablet.driver import Drive

NUMBERS = ("XYZAB123F526", "XYZAB124F526", "XYZAB125F526", "XYZAB126F526")
DOCK = Path(__file__).with_name("dock_plugin.py")


def opened(folder: Path) -> Tablet:
    return open_tablet(folder, lambda: make_host(built_in=(), entry_points=False, files=[DOCK]))


def horn(tablet: Tablet, hull: str, job: str, *, heard: bool) -> None:
    tablet.save(measure(tablet.author(), tablet.state_of(hull, job), job, "dock.horn", "heard", heard))


@pytest.fixture
def tablet(tmp_path: Path) -> Iterator[Tablet]:
    """Boats whose horn is not heard, two of them handed over all the same."""
    tablet = opened(tmp_path / "tablet")
    for number in NUMBERS:
        hull, job = tablet.open_job(number)
        horn(tablet, hull, job, heard=False)
        if number in NUMBERS[:2]:
            tablet.sign(hull, job, "technician", "R. Vane", b"<svg/>")
            tablet.sign(hull, job, "owner", "A. Marsh", b"<svg/>")
    yield tablet
    tablet.close()


def lines_now(tablet: Tablet) -> dict[str, VesselLine]:
    """The lines as the drawing thread makes them by itself."""
    vessels = VesselList(tablet)
    for hull in vessels.stale():
        vessels.refresh(hull)
    return vessels.lines


class Desk:
    """A list and its watch, with a worker and a drawing thread that go on when they are told to."""

    def __init__(self, tablet: Tablet, lines: dict[str, VesselLine]) -> None:
        self.vessels = VesselList(tablet, lines)
        self.works: list[Callable[[], object]] = []
        self.drawing: list[Callable[[], object]] = []
        self.told: list[str] = []
        self.shown: list[tuple[VesselLine, ...]] = []
        self.is_drawing = False
        background = Background(
            lambda work, _after=0.0: self.drawing.append(work), lambda what, _: self.told.append(what)
        )
        workers: Any = background._workers
        workers.submit = lambda work, *args: self.works.append(lambda: work(*args))
        self.watch = VesselWatch(self.vessels, background, lambda: self.shown.append(self.vessels.snapshot()))

    def work(self) -> None:
        """The worker does the next thing it was given."""
        self.works.pop(0)()

    def draw(self) -> int:
        """The drawing thread does the next thing it was given; how many lines it put in their places."""
        before, self.is_drawing = self.vessels.snapshot(), True
        self.drawing.pop(0)()
        self.is_drawing = False
        return len({*map(id, self.vessels.snapshot())} - {*map(id, before)})

    def to_the_end(self) -> list[int]:
        taken = []
        while self.works or self.drawing:
            while self.works:
                self.work()
            taken.append(self.draw())
        return taken


def stale(lines: dict[str, VesselLine]) -> dict[str, VesselLine]:
    return {hull: attrs.evolve(line, stamp="of a folder copied from", done=9) for hull, line in lines.items()}


def test_the_drawing_thread_reads_no_file_replays_nothing_and_judges_nothing(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder was copied and the plugins are others, so each line is made anew, and what failed is judged again."""
    right = lines_now(tablet)
    failing = right[NUMBERS[3]].job
    before = stale(right)
    before[NUMBERS[3]] = attrs.evolve(before[NUMBERS[3]], plugins="others", failing={failing: 7, "gone": 1})
    right[NUMBERS[3]] = attrs.evolve(right[NUMBERS[3]], failing={failing: 1})
    desk, done = Desk(tablet, before), Counter[tuple[str, bool]]()
    held = {*tablet.files._open}

    def counted(of: type, name: str) -> None:
        really = getattr(of, name)

        def count(*args: Any, **named: Any) -> Any:
            done[name, desk.is_drawing] += 1
            return really(*args, **named)

        monkeypatch.setattr(of, name, count)

    for of, name in ((PluginHost, "assess"), (HullFolder, "entries"), (HullState, "view")):
        counted(of, name)
    desk.watch.look()
    taken = desk.to_the_end()
    assert desk.vessels.lines == right
    assert max(taken) == 1, "a frame takes one line at most"
    assert sum(taken) == len(NUMBERS)
    assert {name for name, is_drawing in done if is_drawing} == set()
    assert done["assess", False] == 3  # two handed over, and the one that failed by other plugins
    assert {*tablet.files._open} == held, "no boat stays in memory"
    assert desk.vessels.stale() == ()
    assert desk.vessels.is_looked_through


def test_what_came_from_another_tablet_and_puts_right_what_failed_fails_in_the_list_no_more(tablet: Tablet) -> None:
    """What failed was known since the job was last opened here, and stood in the list until it was opened again."""
    hull, lines = NUMBERS[3], lines_now(tablet)
    job = lines[hull].job
    desk = Desk(tablet, {**lines, hull: attrs.evolve(lines[hull], failing={job: 1})})
    assert desk.vessels.lines[hull].worst == "1 fail"
    horn(tablet, hull, job, heard=True)
    desk.watch.look()
    desk.to_the_end()
    assert not desk.vessels.lines[hull].failing
    assert desk.vessels.lines == lines_now(tablet)


def test_a_recording_that_comes_after_the_entry_that_names_it_makes_the_line_anew(tablet: Tablet) -> None:
    """Entries are brought ashore first. The connection may end before the recordings come, and change what is found."""
    hull = NUMBERS[0]
    job, content = tablet.boat(hull).jobs[-1], b"as it was recorded"
    value: JsonValue = {"file": sha256(content).hexdigest(), "name": "run.csv"}
    tablet.save(measure(tablet.author(), tablet.state_of(hull, job), job, "dock.horn", "sound", value))
    desk = Desk(tablet, lines_now(tablet))
    assert desk.vessels.stale() == ()
    tablet.files.attachments.put(content)
    assert desk.vessels.stale() == (hull,)
    desk.watch.look()
    desk.to_the_end()
    assert desk.vessels.stale() == ()


def test_a_kept_line_that_is_not_as_it_was_written_is_made_anew_and_keeps_no_page_from_opening(tablet: Tablet) -> None:
    """Each of these ended the first page at every start, or was shown as it stood."""
    vessels = VesselList(tablet, lines_now(tablet))
    vessels.keep()
    sound = {row["hull"]: row for row in vessels.document.rows(LINES)}
    for name, value in (
        ("failing", "x"), ("failing", {"j": "one"}), ("saved", 3), ("name", 12), ("fails", "many"),
        ("also", [3]), ("done", None), ("total", -1), ("left", 10**30), ("lacking", [5]), ("hull", None),
    ):  # fmt: skip
        rows = [{**row, name: value} if row["hull"] == NUMBERS[0] else row for row in sound.values()]
        vessels.document.put_rows(LINES, "job", rows)
        again = VesselList(tablet)
        again.read()
        assert again.stale() == (NUMBERS[0],), (name, value)
        assert [line.stands and line.saved_words for line in again.found("")], (name, value)
        assert not tablet.damaged


def test_plugins_are_imported_beside_the_drawing_thread_where_a_line_is_to_be_made(tmp_path: Path) -> None:
    """Of loading them once a start that takes four fifths. Where nothing is stale the list needs none."""
    tablet = opened(tmp_path / "tablet")
    tablet.open_job(NUMBERS[0])
    desk, imported = Desk(tablet, {}), list[bool]()
    tablet.import_plugins = lambda: imported.append(desk.is_drawing)
    desk.watch.look()
    desk.to_the_end()
    assert imported == [False]
    tablet._host = None
    desk.watch.look()
    desk.to_the_end()
    assert imported == [False]
    assert tablet._host is None
    tablet.close()


@pytest.mark.parametrize("is_refreshed", [False, True])
def test_a_boat_that_changes_while_its_line_is_made_has_it_made_again(tablet: Tablet, is_refreshed: bool) -> None:
    hull, desk = NUMBERS[0], Desk(tablet, stale(lines_now(tablet)))
    desk.watch.look()
    desk.work()
    desk.draw()
    assert next(iter(desk.vessels.to_read)) == hull
    desk.work()  # its line is made, and has not come back
    horn(tablet, hull, tablet.boat(hull).jobs[-1], heard=True)
    if is_refreshed:
        desk.vessels.refresh(hull)
    before = desk.vessels.lines[hull]
    assert desk.draw() == 0
    assert desk.vessels.lines[hull] is before, "the older line stands nowhere"
    desk.to_the_end()
    assert desk.vessels.lines == lines_now(tablet)
    assert desk.vessels.lines[hull].fails == 0
    assert not desk.vessels.to_read


def test_a_merge_while_lines_are_made_has_each_made_once_and_no_second_at_a_time(tablet: Tablet) -> None:
    desk = Desk(tablet, stale(lines_now(tablet)))
    desk.watch.look()
    desk.work()
    desk.draw()
    desk.watch.look()  # what came is looked through while the first line is made
    assert len(desk.works) == 2
    taken = desk.to_the_end()
    assert sum(taken) == len(NUMBERS)
    assert desk.vessels.lines == lines_now(tablet)


def test_a_boat_that_cannot_be_read_is_told_and_keeps_no_other_from_being_read(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    right = lines_now(tablet)
    before = stale(right)

    def refuses(reader: Tablet, hull: str) -> VesselLine:
        if hull == NUMBERS[1]:
            raise OSError("the card does not answer")
        return vessel_line(reader, hull)

    monkeypatch.setattr("garboard_tablet.models.line_maker.vessel_line", refuses)
    desk = Desk(tablet, dict(before))
    desk.watch.look()
    desk.to_the_end()
    assert desk.told == [READING_A_BOAT]
    assert desk.vessels.lines == {**right, NUMBERS[1]: before[NUMBERS[1]]}
    assert desk.vessels.is_looked_through
    monkeypatch.undo()
    desk.watch.look()
    desk.to_the_end()
    assert desk.vessels.lines == right


def test_a_line_held_up_by_a_plugin_is_made_anew_and_its_late_result_is_not_taken(tablet: Tablet) -> None:
    right = lines_now(tablet)
    desk = Desk(tablet, stale(right))
    desk.watch.look()
    desk.work()
    desk.draw()
    held_up = desk.works.pop()
    desk.watch.abandon()
    desk.work()
    held_up()
    assert (desk.draw(), desk.draw()) == (1, 0)
    desk.to_the_end()
    assert desk.vessels.lines == right
    desk.watch.abandon()
    assert not desk.works


def test_the_app_closed_while_a_line_is_made_opens_no_file_and_the_next_start_makes_it(tmp_path: Path) -> None:
    tablet = opened(tmp_path / "tablet")
    tablet.open_job(NUMBERS[0])
    right = lines_now(tablet)
    desk = Desk(tablet, stale(right))
    desk.watch.look()
    desk.work()
    desk.draw()
    desk.watch.keep()
    tablet.close()
    desk.work()
    desk.draw()
    assert desk.told == []
    with pytest.raises(FolderClosed):
        tablet.files.read_once(NUMBERS[0])
    assert not tablet.files._open
    tablet = opened(tmp_path / "tablet")
    again = VesselList(tablet)
    again.read()
    assert again.stale() == (NUMBERS[0],)
    again.refresh(NUMBERS[0])
    assert again.lines == right
    tablet.close()


def test_a_boat_being_read_again_says_so_and_is_not_called_ashore(drive: Drive) -> None:
    d = drive()
    tablet, vessels = d.app.tablet, d.app.vessels
    for number in NUMBERS[:2]:
        tablet.open_job(number)
        vessels.refresh(number)
    vessels.to_read[NUMBERS[0]] = None
    d.app.screen.redraw()
    assert d.says("2 on this tablet, 1 being read again")
    assert d.says("Being read again. This is how it stood.")
    vessels.to_read[NUMBERS[2]] = None
    d.app.screen.redraw()
    assert d.says("Reading the boats"), "how many there are is not known"
