"""Opening a recording of any form, and telling what is in it."""

import gzip
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.faults import InputError
from garboard.recordings import ReadingNotes, load_recording, read_samples, reader, summarise
from garboard.recordings.encode import nmea0183_sentences, nmea2000_lines
from garboard.samples import Sample, StreamKey

TIME = 1777887000.0
HEADINGS = [Sample(TIME + 0.1 * i, "heading", (350 + 0.25 * i) % 360, "10", "", "true") for i in range(200)]
CSV_LINES = ["time,heading true@10 [deg]", *(f"{s.time!r},{s.value!r}" for s in HEADINGS)]
FORMS: dict[str, Callable[[], list[str]]] = {
    "NMEA 2000": lambda: list(nmea2000_lines(HEADINGS)),
    "NMEA 0183": lambda: list(nmea0183_sentences(s._replace(source="HE") for s in HEADINGS)),
    "CSV": lambda: CSV_LINES,
}


def written(folder: Path, lines: list[str], name: str = "recording", end: str = "\n") -> Path:
    path = folder / name
    path.write_bytes(end.join([*lines, ""]).encode())
    return path


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", ["recording", "recording.csv", "recording.log", "recording.gz"])
def test_form_is_told_from_the_content_whatever_the_name(tmp_path: Path, form: str, name: str) -> None:
    recording, notes = load_recording(written(tmp_path, FORMS[form](), name))
    assert notes.form == form
    [stream] = recording.of("heading")
    assert stream.key.reference == "true"
    assert len(stream) == notes.samples == 200
    assert stream.values == pytest.approx([s.value for s in HEADINGS], abs=0.003)
    assert stream.times == pytest.approx([s.time for s in HEADINGS], abs=1e-3)
    assert recording.name == name


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_of_other_systems_and_a_byte_order_mark_are_read(tmp_path: Path, form: str, end: str) -> None:
    path = written(tmp_path, FORMS[form](), end=end)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    notes = ReadingNotes()
    assert len(list(read_samples(path, notes))) == 200
    assert notes.damaged == []


@pytest.mark.parametrize("form", FORMS)
def test_compressed_recording_reads_like_the_plain_one(tmp_path: Path, form: str) -> None:
    plain = written(tmp_path, FORMS[form]())
    packed = tmp_path / "packed.log"
    packed.write_bytes(gzip.compress(plain.read_bytes()))
    assert list(read_samples(packed)) == list(read_samples(plain))


@pytest.mark.parametrize(("times", "is_whole"), [(1, True), (300, False)])
def test_a_compressed_file_made_to_fill_the_memory_is_read_to_a_limit(
    tmp_path: Path, times: int, is_whole: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reader, "MOST_UNPACKED", 40_000)
    monkeypatch.setattr(reader, "READ_AT_ONCE_IN_COLUMNS", 10_000)
    packed = tmp_path / "packed.log"
    lines = FORMS["NMEA 2000"]() * times
    packed.write_bytes(gzip.compress("\n".join(lines).encode()))
    recording, notes = load_recording(packed)
    assert (len(recording.of("heading")[0]) == 200 * times) is is_whole
    assert ["unpacks to more than" in str(one) for one in notes.damaged[:1]] == ([] if is_whole else [True])
    assert sum(map(len, lines[: notes.lines - 1])) <= max(40_000, 100 * packed.stat().st_size)


@pytest.mark.parametrize(
    ("moved", "left_out", "is_set_back"),
    [
        ({100: 36_000.0}, 1, False),  # one digit damaged
        ({100: -36_000.0}, 1, False),
        (dict.fromkeys(range(100, 120), 600000000.0), 20, False),  # a receiver that tells another date for two seconds
        ({100: 4.0, 101: -4.0}, 0, False),  # lines that overtook each other
        (dict.fromkeys(range(100, 200), -60.0), 0, True),  # a clock set back
        (dict.fromkeys(range(100, 200), 60.0), 0, False),  # a silence
        (dict.fromkeys(range(1, 200, 2), 500.0), 0, True),  # two clocks under one name
    ],
)
@pytest.mark.parametrize("form", ["NMEA 2000", "CSV"])
def test_a_time_far_off_costs_its_own_value_and_no_recording(
    tmp_path: Path, form: str, moved: dict[int, float], left_out: int, is_set_back: bool
) -> None:
    samples = [one._replace(time=one.time + moved.get(row, 0.0)) for row, one in enumerate(HEADINGS)]
    lines = list(nmea2000_lines(samples))
    if form == "CSV":
        lines = [CSV_LINES[0], *(f"{one.time!r},{one.value!r}" for one in samples)]
    recording, notes = load_recording(written(tmp_path, lines))
    [stream] = recording.of("heading")
    assert len(stream) == 200 - left_out
    assert recording.was_set_back is is_set_back
    assert any("far from those before" in one.reason for one in notes.damaged) is bool(left_out)
    told = summarise(tmp_path / "recording")
    [summed] = told.streams
    if not is_set_back:
        assert (summed.count, summed.set_back, told.notes.damaged) == (200 - left_out, 0.0, notes.damaged)
    assert any("clock goes back" in said for said in told.remarks) is is_set_back


def test_recording_that_begins_inside_a_line_is_still_known(tmp_path: Path) -> None:
    recording, notes = load_recording(written(tmp_path, ["8.2,T*0C", *FORMS["NMEA 0183"]()]))
    assert notes.form == "NMEA 0183"
    assert len(recording.of("heading")[0]) == 200
    assert notes.damaged[0].line == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "an empty file"),
        (b" \r\n\n ", "an empty file"),
        (b"\x00\x01\x02" * 100, "a file that is not text"),
        ("$GPRMC,".encode("utf-16"), "a file that is not text"),
        (b"# nothing but a comment\n", "comments only"),
        (b"Dear owner,\nthe boat is ready.\n", "'Dear owner,'"),
        (b'{"time": 1}', "{"),
        (b"\x1f\x8b\x08\x00", "a compressed file that unpacks"),
        (b"\x1f\x8bnot gzip at all", "a compressed file that unpacks"),
    ],
)
def test_file_that_is_no_recording_is_refused_before_the_first_sample(
    tmp_path: Path, content: bytes, words: str
) -> None:
    path = tmp_path / "file.log"
    path.write_bytes(content)
    with pytest.raises(InputError) as refused:
        read_samples(path)
    assert words in str(refused.value)
    assert refused.value.source == str(path)


def test_file_that_is_missing_or_a_folder_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "missing.log", tmp_path):
        with pytest.raises(InputError, match="a recording that can be opened"):
            read_samples(path)


def test_line_without_end_does_not_fill_the_memory(tmp_path: Path) -> None:
    path = tmp_path / "endless.log"
    good = FORMS["NMEA 0183"]()
    path.write_bytes("\n".join([*good, "$HEHDT," + "9" * 20_000_000]).encode())
    tracemalloc.start()
    notes = ReadingNotes()
    count = sum(1 for _ in read_samples(path, notes))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == 200
    assert notes.damaged_count >= 1
    assert peak < 5_000_000


@pytest.mark.parametrize("form", ["NMEA 2000", "NMEA 0183"])
def test_memory_does_not_grow_with_the_recording(tmp_path: Path, form: str) -> None:
    lines = FORMS[form]()
    peaks = []
    for copies in (30, 90):
        path = written(tmp_path, lines * copies)
        tracemalloc.start()
        summarise(path)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < peaks[0] * 1.2 + 100_000


@settings(max_examples=examples(150), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.one_of(st.binary(max_size=400), st.text(max_size=300).map(lambda text: text.encode("utf-8"))),
    start=st.sampled_from(["", *FORMS]),
)
def test_any_bytes_are_read_or_refused_and_never_crash(tmp_path: Path, content: bytes, start: str) -> None:
    path = tmp_path / "any"
    head = "\n".join(FORMS[start]()[:3]).encode() + b"\n" if start else b""
    path.write_bytes(head + content)
    try:
        summary = summarise(path)
    except InputError as refused:
        assert not start or b"\0" in content or refused.faults  # noqa: PT017 - either outcome is right
    else:
        assert sum(stream.count for stream in summary.streams) == summary.notes.samples
        "\n".join(summary.remarks).encode()


def test_summary_tells_rate_gaps_and_range_of_each_stream(tmp_path: Path) -> None:
    """Expected by hand: 100 samples at 10 Hz with 3 s of silence before the last 20."""
    times = [TIME + 0.1 * i + (3.0 if i >= 80 else 0.0) for i in range(100)]
    samples = [Sample(time, "rate_of_turn", 0.05 * i - 1, "27") for i, time in enumerate(times)]
    [stream] = summarise(written(tmp_path, list(nmea2000_lines(samples)))).streams
    assert stream.key == StreamKey("rate_of_turn", "27")
    assert (stream.count, stream.gaps, stream.out_of_order) == (100, 1, 0)
    assert (stream.first, stream.last) == pytest.approx((TIME, TIME + 12.9))
    assert stream.rate == pytest.approx(99 / 12.9)
    assert stream.median_interval == pytest.approx(0.1, rel=0.01)
    assert stream.longest_gap == pytest.approx(3.1)
    assert (stream.lowest, stream.highest) == pytest.approx((-1.0, 3.95))


def test_summary_counts_samples_out_of_order(tmp_path: Path) -> None:
    lines = ["time,roll [deg]", "10,1", "12,2", "11,3", "9,4", "13,5"]
    summary = summarise(written(tmp_path, lines))
    [stream] = summary.streams
    assert (stream.count, stream.out_of_order, stream.first, stream.last) == (5, 2, 9.0, 13.0)
    assert "Times run backwards: 2 values are older than the one before; sorted by time." in summary.remarks


def test_a_clock_set_back_is_said_and_rate_and_gaps_are_of_the_parts_between(tmp_path: Path) -> None:
    """An hour back after half a minute at 1 Hz, then half a minute more with 4 s of silence."""
    times = [*range(5000, 5030), *range(1400, 1420), *range(1424, 1434)]
    summary = summarise(written(tmp_path, ["time,roll [deg]", *(f"{time},{time % 7}" for time in times)]))
    [stream] = summary.streams
    assert (stream.set_back, stream.first, stream.last, stream.longest_gap) == (3629.0, 1400.0, 5029.0, 5.0)
    assert stream.rate == pytest.approx(59 / (29 + 33))
    assert summary.remarks[-1].startswith("The clock goes back by 3629 s")
    assert not any("run backwards" in remark for remark in summary.remarks)


@pytest.mark.parametrize(("first", "dated"), [("0", False), ("1795993288.444", True)])
def test_seconds_since_1970_are_a_date(tmp_path: Path, first: str, dated: bool) -> None:
    """As `garboard listen --save` writes them."""
    summary = summarise(written(tmp_path, ["time,roll [deg]", f"{first},1"]))
    assert summary.notes.dated is dated
    assert any("no date" in remark for remark in summary.remarks) is not dated


def test_times_that_run_forwards_are_no_remark(tmp_path: Path) -> None:
    lines = ["time,roll [deg]", "10,1", "10,2", "12,3"]
    assert not any("backwards" in remark for remark in summarise(written(tmp_path, lines)).remarks)


@given(st.lists(st.floats(0.001, 1000), min_size=3, max_size=60))
def test_summary_median_and_gaps_agree_with_the_sorted_intervals(
    tmp_path_factory: pytest.TempPathFactory, intervals: list[float]
) -> None:
    time, lines = 0.0, ["time,roll [deg]", "0.0,1"]
    for interval in intervals:
        time += interval
        lines.append(f"{time!r},1")
    [stream] = summarise(written(tmp_path_factory.mktemp("gaps"), lines)).streams
    median = sorted(intervals)[(len(intervals) - 1) // 2]
    assert stream.median_interval == pytest.approx(median, rel=0.011)
    assert sum(i > median * 5.2 for i in intervals) <= stream.gaps <= sum(i > median * 4.8 for i in intervals)


def test_log_whose_headings_are_all_empty_says_so_plainly(tmp_path: Path) -> None:
    lines = ["$GPZDA,093000,04,05,2026,00,00", *["$IIHDT,,T*0C", "$IIHDM,,M*0C"] * 120, "$VWVHW,,T,,M,3.5,N,6.4,K"]
    summary = summarise(written(tmp_path, lines))
    assert "120 HDM and 120 HDT sentences, all empty: no heading in this log." in summary.remarks
    assert [stream.key.quantity for stream in summary.streams] == ["speed_through_water"]


def test_nmea_2000_log_whose_headings_are_not_available_says_so(tmp_path: Path) -> None:
    empty = "2026-05-04T09:30:00Z,2,127250,10,255,8,ff,ff,ff,ff,7f,ff,7f,ff"
    summary = summarise(written(tmp_path, [empty] * 3))
    assert "3 127250 messages, all empty: no heading in this log." in summary.remarks
    with pytest.raises(InputError, match="no heading in this log"):
        load_recording(written(tmp_path, [empty] * 3))


def test_remarks_name_damage_missing_checksums_and_a_missing_date(tmp_path: Path) -> None:
    summary = summarise(written(tmp_path, ["$GPZDA,093000,,,,00,", "$HEHDT,10,T", "$HEHDT,10,T*99"]))
    said = " ".join(summary.remarks)
    assert "1 line is damaged: line 3: HEHDT: checksum" in said
    assert "2 sentences carry no checksum" in said
    assert "no date" in said
