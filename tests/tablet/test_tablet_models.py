"""View models: no Kivy, no window."""

from __future__ import annotations

import gc
import math
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import attrs
import pytest

from campaigns.writers import entry_number
from garboard.commands.ashore import readable_report
from garboard.disk.hullfile import HullFile, HullFolder, PutResult
from garboard.disk.journal import file_name
from garboard.disk.storage import NotSaved
from garboard.faults import Fault, InputError
from garboard.history.authoring import measure
from garboard.history.replay import replay
from garboard.samples import Sample
from garboard.shop_link import pairing
from garboard.shop_link.ashore import State
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.sync import SyncReport
from garboard.steps import Field, Kind
from garboard_tablet.models.ashore import AshoreMarks, lines_of, stands
from garboard_tablet.models.asks import asks_of_piece
from garboard_tablet.models.files_amiss import files_amiss
from garboard_tablet.models.keys import ERASE, SIGN, pressed
from garboard_tablet.models.pad import judge_number, takes_sign
from garboard_tablet.models.scale import round_step, ticks
from garboard_tablet.models.settings import METRIC, TabletSettings
from garboard_tablet.models.sources import Replay, simulated_for
from garboard_tablet.models.tablet import MOST_BOATS, Tablet, no_plugins, open_tablet
from garboard_tablet.models.vessels import ASHORE, VesselList

SPEED = Field(
    name="speed", title="Speed", kind=Kind.AMOUNT, quantity="speed", unit="kn", plausible=(5, 90), hard=(0, 200)
)
HULL = "QQZ04417D626"
NOTHING_CAME = SyncReport(
    sent=0, received=0, attachments_sent=0, attachments_received=0, hulls=(), refused=(), not_kept=(), approved=(),
    withdrawn=(), role="technician", clock_offset=0, here={}, there={}, differing=(), bytes_sent=0, bytes_received=0,
)  # fmt: skip


def test_view_models_load_with_kivy_blocked() -> None:
    """No view model needs Kivy, so that each is tested without a window."""
    program = (
        "import sys, pkgutil, importlib\n"
        "sys.modules['kivy'] = None\n"
        "import garboard_tablet.models as models\n"
        "names = [found.name for found in pkgutil.iter_modules(models.__path__)]\n"
        "[importlib.import_module('garboard_tablet.models.' + name) for name in names]\n"
        "importlib.import_module('garboard_tablet.book')\n"
        "print(len(names))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 8


def test_what_one_boat_took_is_known_as_saved_where_the_next_one_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Memory says what the disk says: the same value entered again replaces it, and does not stand beside it."""
    other, put = "QQZ04418D626", HullFolder.put_if_absent

    def refuses_the_second(files: HullFolder, hull: str, entries: Any) -> PutResult:
        if hull == other:
            raise NotSaved("no room on this tablet")
        return put(files, hull, entries)

    monkeypatch.setattr(HullFolder, "put_if_absent", refuses_the_second)
    with closing(open_tablet(tmp_path, no_plugins)) as tablet:
        entries = [entry_number(1, HULL), entry_number(2, other)]
        with pytest.raises(NotSaved):
            tablet.save(*entries)
        assert [entry.id in tablet.state_of(entry.hull_key) for entry in entries] == [True, False]
        assert [entry.id in tablet.files.ids(entry.hull_key) for entry in entries] == [True, False]
        assert tablet.saved_words == f"Saved {entries[0].at[11:19]}"


def test_an_entry_that_is_refused_takes_none_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    entries = [entry_number(1, HULL), entry_number(2, HULL)]
    too_large = InputError("entry", [Fault("value", "at most 1 MB")])
    put = PutResult((entries[0].id,), ((entries[1].id, too_large),))
    monkeypatch.setattr(HullFolder, "put_if_absent", lambda *_: put)
    with closing(open_tablet(tmp_path, no_plugins)) as tablet:
        tablet.state_of(HULL)
        with pytest.raises(InputError):
            tablet.save(*entries)
        assert [entry.id in tablet.state_of(HULL) for entry in entries] == [True, False]


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ("091.5", "091.5"),
        ("0.050", "0.050"),
        (["1", "2", ERASE, "3"], "13"),
        ("1.2.3", "1.23"),
        (["5", SIGN], "-5"),
        (["5", SIGN, SIGN], "5"),
        ("1234567890123456", "123456789012"),
    ],
)
def test_the_pad_keeps_digits_as_typed(keys: str, text: str) -> None:
    """Leading and trailing zeros stay; one point; a bounded length."""
    typed = ""
    for key in keys:
        typed = pressed(typed, key)
    assert text == typed


@pytest.mark.parametrize(
    ("text", "value", "question", "problem"),
    [
        ("38.20", "38.20 kn", "", ""),
        ("38.", "38 kn", "", ""),
        ("091.5", "091.5 kn", "091.5 kn is outside the usual 5 to 90 kn. Is it right?", ""),
        ("", None, "", "Type a number first."),
        ("-", None, "", "Type a number first."),
        ("500", None, "", "Must be between 0 and 200 kn. You typed 500 kn."),
    ],
)
def test_a_typed_number_is_saved_asked_again_or_refused(
    text: str, value: str | None, question: str, problem: str
) -> None:
    """Outside the plausible range it is asked again, outside the hard range refused, never changed."""
    result = judge_number(SPEED, text, "kn")
    assert (value, question, problem) == (result.value, result.question, result.problem)


@pytest.mark.parametrize(
    ("name", "text", "asked"),
    [("gear_ratio", "1.85", False), ("gear_ratio", "0.54", True), ("pitch", "19", False), ("pitch", "190", True)],
)
def test_what_is_known_of_an_engine_is_asked_again_outside_the_usual(name: str, text: str, asked: bool) -> None:
    """Gear ratio, pitch and diameter carry a usual range; common practice, no source."""
    field = next(ask.field for ask in asks_of_piece(("engines", "port"), {}) if ask.field.name == name)
    assert bool(judge_number(field, text, field.unit).question) is asked


def test_another_unit_is_judged_in_the_fields_unit() -> None:
    """100 mph are 86.9 kn, no question; 104 mph are 90.4 kn."""
    # NIST SP 811, appendix B.8: a mile is 1609.344 m, a nautical mile 1852 m, both exact.
    assert judge_number(SPEED, "100", "mph").question == ""
    assert judge_number(SPEED, "104", "mph").question.startswith("104 mph")


def test_a_minus_sign_is_offered_only_where_it_can_be_right() -> None:
    """A speed from 0 to 200 has none; a temperature has."""
    cold = Field(name="air", title="Air", kind=Kind.AMOUNT, quantity="temperature", unit="degC")
    assert (takes_sign(SPEED), takes_sign(cold)) == (False, True)


def test_units_are_offered_as_said_for_always() -> None:
    """As declared, then metric, then what a person said for the field itself."""
    length = Field(name="beam", title="Beam", kind=Kind.AMOUNT, quantity="length", unit="ft")
    settings = TabletSettings()
    assert settings.unit_for(length) == "ft"
    assert TabletSettings(units=METRIC).unit_for(length) == "m"
    assert settings.with_unit("beam", "cm").unit_for(length) == "cm"


def test_ticks_are_round_and_stay_inside() -> None:
    """Steps are 1, 2 or 5 times a power of ten; a full circle goes by 90 degrees."""
    assert ticks(0, 360, 8) == [0.0, 90.0, 180.0, 270.0, 360.0]
    for low, high in ((0.0, 47.0), (-3.2, 4.9), (0.001, 0.0123), (1e6, 1.7e6)):
        found = ticks(low, high, 6)
        assert 2 <= len(found) <= 7
        assert all(low - 1e-9 <= tick <= high + 1e-9 for tick in found)
        step = round_step(high - low, 6)
        mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
        assert round(mantissa, 6) in (1, 2, 5)


def test_a_replay_gives_each_sample_once_and_in_time() -> None:
    """Samples come when their time has come, whatever the ticks."""
    whole = [sample for sample in simulated_for({"rate_of_turn"}).samples if sample.time <= 20]
    replay = Replay("r", whole)
    replay.start(100.0)
    got: list[Sample] = []
    for tick in range(1, 300):
        fresh = replay.read(100.0 + tick * 0.1)
        assert all(sample.time - whole[0].time <= tick * 0.1 + 1e-9 for sample in fresh)
        got.extend(fresh)
    assert whole == got


def test_a_recording_is_read_back_as_it_was_taken(tmp_path: Path) -> None:
    """What a live guide keeps, the program's own reader reads, stream by stream."""
    from garboard.recordings import load_recording
    from garboard.recordings.encode import csv_series
    from garboard.samples import gather

    samples = [sample for sample in simulated_for({"fuel_flow"}, start=1e9).samples if sample.time < 1e9 + 5]
    (tmp_path / "kept").write_bytes(csv_series(samples))
    recording, _ = load_recording(tmp_path / "kept")
    expected = gather("kept", samples)
    assert expected.streams.keys() == recording.streams.keys()
    for key, stream in expected.streams.items():
        assert recording.streams[key].values == pytest.approx(stream.values, rel=1e-5)
        assert recording.streams[key].times == pytest.approx(stream.times, abs=2e-3)


def test_a_recording_changed_on_the_disk_is_not_judged(tmp_path: Path) -> None:
    """With one digit changed it still reads, as another recording."""
    from garboard.findings import NotEnoughData
    from garboard_tablet.models.tablet import _read_recording

    with HullFolder(tmp_path) as files:
        name = files.attachments.put(b"time,engine_speed#0 [rev/min]\n0,5800\n")
        assert _read_recording(files, name).streams
        _read_recording.cache_clear()
        kept = tmp_path / "attachments" / name
        kept.write_bytes(kept.read_bytes().replace(b"5800", b"5900"))
        with pytest.raises(NotEnoughData, match="was damaged on the disk"):
            _read_recording(files, name)


def test_a_tablet_holds_few_boats_in_memory_and_writes_to_each(tmp_path: Path) -> None:
    """Held for each boat that was ever looked at, a first start over 50 boats took 170 MB more than it takes now."""
    tablet = open_tablet(tmp_path, no_plugins)
    boats = [tablet.open_job(f"QQZ{number:05d}B626") for number in range(MOST_BOATS + 3)]
    for turn in ("under way", "done"):
        for hull, job in boats:
            tablet.set_state(hull, job, "trial.a", turn)
            assert tablet.view(hull, job).state_of("trial.a") == turn
    opened = [hull for hull, _ in boats if is_held(tablet, hull)]
    assert opened == [hull for hull, _ in boats[-MOST_BOATS:]]
    assert files_amiss(tablet.files) == ()
    assert [hull for hull, _ in boats if is_held(tablet, hull)] == opened
    last, job = boats[-MOST_BOATS]
    tablet.boat(last)  # the first of those held is asked for again, and stays
    tablet.state_of(boats[0][0])
    assert is_held(tablet, last)
    tablet.close()
    with HullFolder(tmp_path, read_only=True) as files:
        assert all(replay(hull, files.entries(hull)).view(job).state_of("trial.a") == "done" for hull, job in boats)


def test_a_hull_file_of_the_same_length_that_holds_other_entries_is_not_called_ashore(tmp_path: Path) -> None:
    """Another tablet wrote as many letters of the same boat, and its file came over this one's."""
    kept: list[bytes] = []
    for engine in ("left", "port"):
        with closing(open_tablet(tmp_path / engine, no_plugins)) as tablet:
            tablet.files.save(entry_number(1, HULL, tablet=engine))
            path = tmp_path / engine / "hulls" / file_name(HULL)
            kept.append(path.read_bytes())
            lines = VesselList(tablet)
            lines.refresh(HULL)
            lines.keep()
            assert lines.stale() == ()
            lines.document.put_rows(ASHORE, "hull", [{"hull": HULL, "stamp": lines.stamp(HULL)}])
    assert kept[0] != kept[1]
    assert len(kept[0]) == len(kept[1])
    path.write_bytes(kept[0])
    with closing(open_tablet(tmp_path / engine, no_plugins)) as tablet:
        lines = VesselList(tablet)
        lines.read()
        marks = AshoreMarks(lines)
        marks.read()
        assert lines.stale() == (HULL,)
        lines.refresh(HULL)
        assert marks.stamps[HULL] != lines.lines[HULL].stamp


def test_a_boat_whose_recording_the_shop_would_not_take_is_not_called_ashore(tmp_path: Path) -> None:
    other, name = "QQZ04418D626", "ab" * 32
    with closing(open_tablet(tmp_path, no_plugins)) as tablet:
        recorded = measure(tablet.author(), replay(HULL, ()), "job-1", "a.b", "run", {"file": name, "name": "run.log"})
        tablet.save(recorded, entry_number(1, other))
        marks = AshoreMarks(VesselList(tablet))
        report = attrs.evolve(NOTHING_CAME, here={HULL: 1, other: 1}, there={HULL: 1, other: 1})
        marks.note(report)
        assert marks.stamps.keys() == {HULL, other}
        marks.note(attrs.evolve(report, refused=((name, "too large"),)))
        assert marks.stamps.keys() == {other}


def paired(tablet: Tablet, certificate: str) -> None:
    shop = PairedShop(name="", host="h", port=1, fingerprint=certificate, token="t", tablet="", device="d")
    pairing.keep(tablet.folder, shop)


def test_a_boat_the_shop_no_longer_holds_as_it_is_here_is_not_called_ashore(tmp_path: Path) -> None:
    """The shop was put back from an older copy and will not take it again; then this tablet is paired with another."""
    other = "QQZ04418D626"
    with closing(open_tablet(tmp_path, no_plugins)) as tablet:
        paired(tablet, "aa")
        tablet.save(entry_number(1, HULL), entry_number(1, other))
        lines = VesselList(tablet)
        for hull in (HULL, other):
            lines.refresh(hull)
        marks = AshoreMarks(lines)
        counts = {HULL: 1, other: 1}
        report = attrs.evolve(NOTHING_CAME, here=counts, there=counts, shop="aa")

        def words() -> list[str]:
            again = AshoreMarks(lines)
            again.read()
            assert (again.stamps, again.shop) == (marks.stamps, marks.shop)
            return [marks.word(lines.lines[hull]) for hull in (HULL, other)]

        marks.note(report)
        assert (words(), marks.not_yet()) == (["ashore", "ashore"], 0)
        marks.note(attrs.evolve(report, differing=(HULL,), there={other: 1}))
        assert (words(), marks.not_yet()) == (["not ashore yet", "ashore"], 1)
        marks.note(report)
        paired(tablet, "bb")
        assert (words(), marks.not_yet()) == (["not ashore yet"] * 2, 2)
        marks.note(report)  # one that was under way with the former shop
        assert words() == ["not ashore yet"] * 2
        marks.note(attrs.evolve(report, shop="bb", differing=(other,)))
        assert (words(), marks.not_yet()) == (["ashore", "not ashore yet"], 1)


def test_everything_is_ashore_is_said_only_while_it_is_so(tmp_path: Path) -> None:
    with closing(open_tablet(tmp_path, no_plugins)) as tablet:
        paired(tablet, "aa")
        marks = AshoreMarks(VesselList(tablet))

        def said(report: SyncReport) -> tuple[str, bool]:
            state, left = State(word="ashore", report=report), marks.not_yet()
            return stands(state, left)[0], any(
                "Both hold the same." in one.text for one in lines_of(state, not_yet=left)
            )

        tablet.save(entry_number(1, HULL))
        report = attrs.evolve(NOTHING_CAME, here={HULL: 1}, there={HULL: 1}, shop="aa")
        marks.note(report)
        assert said(report) == ("Everything is ashore.", True)
        photo = (("ab" * 32, "too large"),)
        assert said(attrs.evolve(report, missing=photo)) == ("Not everything is ashore. See below.", True)
        refused = attrs.evolve(report, refused=photo)
        assert said(refused) == ("Not everything is ashore. See below.", False)
        assert "NOT every photo and recording" in readable_report(refused)
        tablet.save(entry_number(2, HULL))
        assert said(report) == ("1 boat changed since, not ashore yet.", False)
        (last,) = lines_of(State(word="ashore", report=report), not_yet=1)[-1:]
        assert last.text == "The last time: 1 entry here, 1 at the shop. Both held the same."


def test_a_line_made_while_entries_come_from_the_shop_is_made_again(tmp_path: Path) -> None:
    """They are on the disk before the drawing thread hears of them; a line made between knows nothing of them."""
    with closing(open_tablet(tmp_path, no_plugins)) as tablet:
        tablet.files.save(entry_number(1, HULL))
        lines = VesselList(tablet)
        lines.refresh(HULL)
        assert lines.stale() == ()
        tablet.files.save(entry_number(2, HULL, tablet="of the shop"))
        lines.refresh(HULL)
        tablet.look_again([HULL])
        assert lines.stale() == (HULL,)
        lines.refresh(HULL)
        assert lines.stale() == ()


def is_held(tablet: Tablet, hull: str) -> bool:
    """Whether a boat's entries are in memory."""
    return any(held.key == hull for held in gc.get_objects() if type(held) is HullFile)
