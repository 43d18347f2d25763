"""Everything of a shop as tables: what stands in them is what was entered and found, nothing less."""

from __future__ import annotations

import csv
import errno
import os
import re
import shutil
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from functools import partial
from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unicodedata import normalize

import attrs
import pytest
from click.testing import CliRunner, Result

from garboard.commands.cli import program
from garboard.commands.tools import write_file
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import measure
from garboard.history.exchange import import_job
from garboard.history.plans import plan_entries
from garboard.history.replay import HullState
from garboard.job_files.job_file import read_job_file
from garboard.judging.assessing import AssessedJob, assess_one
from garboard.recordings import load_recording
from garboard.report import data_files
from garboard.report.data_files import Rows, write_tables
from garboard.report.data_tables import OWNER, TABLES, Collector, JobToExport, Kind, Owners
from garboard.report.terminal import Tools
from garboard.report.unit_signs import with_signs
from histories import tablet

if TYPE_CHECKING:
    import duckdb

SAMPLES = Path(__file__).parents[2] / "sample_jobs"
SALTGRASS, JOB, OTHER = "QQZ04417D626", "saltgrass-2026-05", "QQZ00001A626"
HOSTILE = '=HYPERLINK("x")\x07 "a", b\n\u2603'
PLANNED = (
    {"assigned": "R. Vane", "promised": "2026-05-20", "waiting_for": "parts", "comment": "Mrs Marlow rang"},
    {"assigned": "", "promised": "2026-05-22", "comment": "Fuse holder ordered"},
)
README = Path(__file__).parents[2] / "plugins" / "garboard_shop" / "README.md"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(program, [str(one) for one in arguments], obj=Tools())


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A boat of the samples, two values of one field from two tablets, and a boat with hostile text."""
    folder = tmp_path_factory.mktemp("tables") / "shop"
    file = SAMPLES / "saltgrass" / "job.json"
    with HullFolder(folder) as hulls:
        import_job(hulls, read_job_file(file, Tools().host, file.parent), file.parent, tablet("tablet 1").author)
        for name, value in (("tablet 7", "21.5 kn"), ("tablet 8", "25 mph")):
            author, step = tablet(name).author, "prop_check.full_throttle"
            hulls.save(measure(author, HullState(SALTGRASS), JOB, step, "speed", value, row="9"))
        office, planned = attrs.evolve(tablet("office").author, by="M. Office"), HullState(SALTGRASS)
        for said in PLANNED:
            for entry in plan_entries(office, planned, JOB, said):
                planned.add(entry)
                hulls.save(entry)
        hulls.save(measure(tablet("tablet 9").author, HullState(OTHER), "job-1", "shop.own", "remark", HOSTILE))
    return folder


@pytest.fixture(scope="module")
def base(shop: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    import duckdb

    out = shop.parent / "shop.duckdb"
    result = run("export", shop, "-o", out)
    assert (result.exit_code, result.stdout) == (0, f"{out}: 2 jobs\n"), result.output
    with duckdb.connect(str(out), read_only=True) as opened:
        opened.execute("SET TimeZone = 'UTC'")
        yield opened


@pytest.fixture(scope="module")
def judged(shop: Path) -> AssessedJob:
    return assess_one(shop, Tools().host, SALTGRASS)


@pytest.fixture(scope="module")
def packed(shop: Path) -> Path:
    out = shop.parent / "shop.zip"
    assert run("export", shop, "-o", out).exit_code == 0
    return out


def rows(base: duckdb.DuckDBPyConnection, query: str) -> list[tuple[Any, ...]]:
    return base.execute(query).fetchall()


def test_every_finding_and_every_number_of_it_is_a_row(base: duckdb.DuckDBPyConnection, judged: AssessedJob) -> None:
    found = [one.finding for one in judged.assessed]
    told = rows(
        base, f"SELECT code, verdict, about, of, sentence FROM findings WHERE hull = '{SALTGRASS}' ORDER BY finding"
    )
    assert told == [(one.code, one.verdict.value, one.about, one.of, with_signs(one.sentence)) for one in found]
    numbers = [(one.code, n.name, n.value, n.expanded_uncertainty, n.unit) for one in found for n in one.numbers]
    query = "SELECT code, name, value, expanded_uncertainty, unit FROM numbers WHERE hull = '{}' ORDER BY finding, name"
    assert sorted(rows(base, query.format(SALTGRASS)), key=str) == sorted(numbers, key=str)
    held = {(limit.number, limit.low, limit.high) for one in found for limit in one.limits}
    assert held <= set(rows(base, "SELECT name, low, high FROM numbers"))


def test_u_times_k_is_the_expanded_uncertainty(base: duckdb.DuckDBPyConnection) -> None:
    """JCGM 100:2008, 6.2.1: U = k u."""
    told = rows(base, "SELECT standard_uncertainty, coverage_factor, expanded_uncertainty FROM numbers")
    both = [one for one in told if one[0] is not None]
    assert both
    assert all(abs(u * k - U) <= 1e-12 * U for u, k, U in both)
    assert all(k is None for u, k, _ in told if u is None)


def test_values_stand_with_their_parts_and_those_that_disagree_apart(
    base: duckdb.DuckDBPyConnection, judged: AssessedJob
) -> None:
    asked = "SELECT value, number, unit, round(standard_number, 3), standard_unit, state, tablet FROM measurements "
    assert sorted(rows(base, asked + "WHERE field = 'speed' AND row = '9'")) == [
        ("21.5 kn", 21.5, "kn", 21.5, "kn", "disagrees", "tablet 7"),
        ("25 mph", 25.0, "mph", 21.724, "kn", "disagrees", "tablet 8"),  # 1 mile is 1609.344 m, 1 nm 1852 m
    ]
    there = rows(base, f"SELECT count(*) FROM measurements WHERE hull = '{SALTGRASS}' AND state <> 'disagrees'")
    assert there == [(len(judged.view.measurements),)]


def test_what_a_manager_planned_stands_with_who_and_when(base: duckdb.DuckDBPyConnection) -> None:
    """What was taken back or replaced does not; every comment does, without the owner's name."""
    asked = "SELECT what, value, day, planned_by FROM plans WHERE job = '{}' AND planned_utc IS NOT NULL ORDER BY ALL"
    assert rows(base, asked.format(JOB)) == [
        ("comment", "Fuse holder ordered", None, "M. Office"),
        ("comment", "Mrs owner rang", None, "M. Office"),
        ("promised", "2026-05-22", date(2026, 5, 22), "M. Office"),
        ("waiting_for", "parts", None, "M. Office"),
    ]


def test_owners_are_named_only_where_somebody_asks() -> None:
    host = Tools().host
    boat = assess_one(SAMPLES / "kittiwake" / "job.json", host)
    job = JobToExport(view=boat.view, assessed=tuple(boat.assessed))
    named: dict[bool, set[tuple[str, str]]] = {}
    for with_owners in (False, True):
        made = Collector(host, with_samples=False, with_owners=with_owners)
        cells = [
            (table.name, column.name, str(cell))
            for table, row in (*made.rows_of(job), *made.last_rows())
            for column, cell in zip(table.columns, row, strict=True)
        ]
        named[with_owners] = {(table, column) for table, column, cell in cells if "Ashdown" in cell}
        assert ("signatures", "role", OWNER) in cells
        assert (("people", "name", OWNER) in cells) != with_owners
        assert ("people", "name", boat.view.job.technicians[0]) in cells
    assert named[False] == set()
    assert named[True] == {("jobs", "owner"), ("signatures", "name"), ("measurements", "value"), ("people", "name")}


def test_an_owners_name_is_left_out_however_its_accents_were_typed() -> None:
    whole, parted = partial(normalize, "NFC"), partial(normalize, "NFD")
    for named, told in ((whole, parted), (parted, whole)):
        owners = Owners([named("Zoë Müller")])
        assert owners.out(told("zoë müller")) == OWNER
        assert owners.out_of_prose(told("Rang Zoë Müller, then Müller's yard")) == "Rang owner, then owner's yard"
        assert owners.out_of_prose(told("zoë-MÜLLER_müller.jpg")).count(OWNER) == 2


def test_a_name_of_one_word_is_left_out_only_where_it_stands_alone() -> None:
    owners = Owners(["Port", "", "A. von  Marsh"])
    assert [owners.out(text) for text in ("port", "port engine", "Told a. von marsh so", "A. von Marshall", "")] == [
        OWNER,
        "port engine",
        "Told owner so",
        "A. von Marshall",
        "",
    ]
    assert Owners([]).out("A. von Marsh") == "A. von Marsh"


def test_a_last_name_is_left_out_of_sentences_and_of_the_names_of_files() -> None:
    owners = Owners(["A. von  Marsh", "Ines Tern-Hale", "Boat 7 B"])
    told = {
        "Call Mrs Marsh, or MARSH'S son; not in the marsh": "Call Mrs owner, or owner'S son; not in the marsh",
        "Tern-Hale wants it, and Marshall": "owner wants it, and Marshall",
        "helm_tern-hale_2.jpg": "helm_owner_2.jpg",
        "a-von_marsh.csv": "owner.csv",
        "B is due": "B is due",
    }
    assert {text: owners.out_of_prose(text) for text in told} == told


def test_no_table_holds_an_owners_name_in_a_note_a_piece_or_the_name_of_a_file(tmp_path: Path) -> None:
    host, sample = Tools().host, SAMPLES / "saltgrass"
    text = (sample / "job.json").read_text(encoding="utf-8")
    for plain, named in (
        ("Chafe at", "Mr Marlow found chafe at"),
        ("Washdown pump", "E. Marlow's pump"),
        ("turn.nmea0183.log", "marlow_turn.log"),
    ):
        assert plain in text
        text = text.replace(plain, named)
    (tmp_path / "job.json").write_text(text, encoding="utf-8")
    shutil.copy(sample / "turn.nmea0183.log", tmp_path / "marlow_turn.log")
    boat = assess_one(tmp_path / "job.json", host)
    job = JobToExport(view=boat.view, assessed=tuple(boat.assessed))
    found = {}
    for with_owners in (False, True):
        made = Collector(host, with_samples=False, with_owners=with_owners)
        found[with_owners] = {
            (table.name, column.name)
            for table, row in made.rows_of(job)
            for column, cell in zip(table.columns, row, strict=True)
            if "marlow" in str(cell).casefold() and column.name != "file"  # in a folder it is a hash
        }
    assert found[False] == set()
    assert found[True] >= {("findings", "sentence"), ("recordings", "name"), ("facts", "of"), ("measurements", "of")}


def test_a_moment_stands_in_utc_with_the_offset_of_its_clock_beside(
    base: duckdb.DuckDBPyConnection, judged: AssessedJob
) -> None:
    first = min(datetime.fromisoformat(one.at) for one in judged.view.measurements if one.at)
    asked = "SELECT entered_utc, entered_offset FROM measurements WHERE hull = '{}' AND state <> 'disagrees' ORDER BY 1"
    told, offset = rows(base, asked.format(SALTGRASS))[0]
    assert told.astimezone(UTC) == first
    moved = first.utcoffset()
    assert moved is not None
    assert offset == moved.total_seconds() / 60


def test_recordings_come_with_all_their_samples(base: duckdb.DuckDBPyConnection) -> None:
    [(file, name, count, told)] = rows(
        base,
        "SELECT file, name, samples, not_used FROM recordings WHERE field = 'turn_recording'",
    )
    recording, _ = load_recording(next(SAMPLES.rglob(f"saltgrass/**/{name}")))
    assert (count, told) == (sum(map(len, recording.streams.values())), "")
    asked = f"SELECT quantity, source, instance, count(*), sum(value) FROM samples WHERE file = '{file}' GROUP BY ALL"
    there = {one[:4]: one[4] for one in rows(base, asked)}
    expected = {
        (key.quantity, key.source, key.instance, len(stream)): sum(stream.values)
        for key, stream in recording.streams.items()
    }
    assert there.keys() == expected.keys()
    assert all(there[key] == pytest.approx(expected[key]) for key in expected)


def test_facts_people_and_days_are_counted(base: duckdb.DuckDBPyConnection, judged: AssessedJob) -> None:
    vessel = judged.view.vessel
    assert rows(base, f"SELECT name, engines FROM boats WHERE hull = '{SALTGRASS}'") == [(vessel.name, 1)]
    circuits = {one.name for one in vessel.circuits}
    assert {of for (of,) in rows(base, "SELECT DISTINCT of FROM facts WHERE kind = 'circuits'")} == circuits
    [(pitch,)] = rows(base, "SELECT value FROM facts WHERE fact = 'propeller.pitch'")
    assert pitch == str(vessel.engines[0].propeller and vessel.engines[0].propeller.pitch)
    entered = rows(base, "SELECT sum(values) FROM people")
    assert entered == rows(base, "SELECT count(*) FROM measurements")
    assert rows(base, "SELECT sum(values) FROM days") == rows(base, "SELECT count(entered_utc) FROM measurements")


def test_the_dictionary_names_every_column_there_is(base: duckdb.DuckDBPyConnection) -> None:
    there = rows(base, "SELECT table_name, column_name, comment <> '' FROM duckdb_columns() WHERE NOT internal")
    told = rows(base, "SELECT in_table, name, meaning <> '' FROM dictionary")
    assert sorted(there) == sorted(told)
    assert all(described for _, _, described in told)
    for table in TABLES:  # every name can be written without quotes
        base.execute(f"SELECT {', '.join(column.name for column in table.columns)} FROM {table.name}")


def test_text_stays_as_it_was_entered_and_runs_nowhere(base: duckdb.DuckDBPyConnection, packed: Path) -> None:
    assert rows(base, "SELECT value FROM measurements WHERE field = 'remark'") == [(HOSTILE,)]
    with zipfile.ZipFile(packed) as whole:
        text = whole.read("csv/measurements.csv").decode()
        from openpyxl import load_workbook

        book = load_workbook(BytesIO(whole.read("tables.xlsx")))
    [cell] = [row["value"] for row in csv.DictReader(StringIO(text, newline="")) if row["field"] == "remark"]
    assert cell == '\'=HYPERLINK("x")\u2407 "a", b\n\u2603'
    values = [one for row in book["measurements"].iter_rows() for one in row if str(one.value).startswith("=HYP")]
    assert [one.data_type for one in values] == ["s"]


def test_zip_and_database_hold_the_same(base: duckdb.DuckDBPyConnection, packed: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(packed) as whole:
        whole.extractall(tmp_path)
    for table in TABLES:
        ours = f"SELECT * FROM {table.name}"
        theirs = f"SELECT * FROM '{tmp_path / 'parquet' / table.name}.parquet'"
        assert rows(base, f"SELECT count(*) FROM (({ours}) EXCEPT ALL ({theirs}))") == [(0,)]
        assert rows(base, f"SELECT count(*) FROM (({theirs}) EXCEPT ALL ({ours}))") == [(0,)]
        with (tmp_path / "csv" / f"{table.name}.csv").open(encoding="utf-8", newline="") as lines:
            listed = [*csv.reader(lines)]
        assert listed[0] == [column.name for column in table.columns]
        assert [(len(listed) - 1,)] == rows(base, f"SELECT count(*) FROM {table.name}")


def test_the_workbook_has_dates_filters_widths_and_says_what_it_lacks(packed: Path) -> None:
    with zipfile.ZipFile(packed) as whole:
        from openpyxl import load_workbook

        book = load_workbook(BytesIO(whole.read("tables.xlsx")))
    assert book.sheetnames == [table.name for table in TABLES if table.name != "samples"]
    for table in TABLES:
        if table.name == "samples":
            continue
        sheet = book[table.name]
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref == f"A1:{sheet.cell(1, len(table.columns)).column_letter}{sheet.max_row}"
        assert sheet.column_dimensions["A"].width > len(table.columns[0].name)
        for place, column in enumerate(table.columns, 1):
            if column.kind in (Kind.MOMENT, Kind.DAY):
                cells = [sheet.cell(row, place) for row in range(2, sheet.max_row + 1)]
                assert all(cell.is_date for cell in cells if cell.value is not None)
    assert book["left_out"].cell(2, 1).value == "samples"


def test_what_cannot_be_read_is_named_and_the_rest_is_there(shop: Path, tmp_path: Path) -> None:
    import duckdb

    copy = tmp_path / "copy"
    shutil.copytree(shop, copy)
    other = next((copy / "hulls").glob(f"{OTHER}*"))
    other.write_bytes(b'{"format": "garboard hull", "version": 99}\n')
    gone = [path.name for path in (copy / "attachments").iterdir()]
    shutil.rmtree(copy / "attachments")
    result = run("export", copy, "-o", tmp_path / "t.duckdb")
    assert result.exit_code == 1
    assert other.name in result.stderr
    with duckdb.connect(str(tmp_path / "t.duckdb")) as opened:
        assert rows(opened, "SELECT hull FROM boats") == [(SALTGRASS,)]
        named = {str(other), *(f"recording {name}" for name in gone)}
        assert sorted(what for what, _ in rows(opened, "SELECT what, why FROM left_out")) == sorted(named)


def test_a_full_disk_is_told_with_where_and_nothing_is_written(tmp_path: Path) -> None:
    """The rows fill the folder for passing files before anything is made of them."""

    def full() -> Rows:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        yield

    def never(_path: Path, _pieces: object) -> None:
        raise AssertionError

    with pytest.raises(InputError, match="room for the tables while they are made"):
        write_tables(full(), tmp_path / "x.zip", never)


def test_what_finds_no_room_in_memory_goes_where_the_tables_are_made(tmp_path: Path) -> None:
    """And not to where the program runs: into the shop's folder, or where nothing may be written."""
    lines = data_files._as_lines(iter(()), tmp_path)
    with data_files._database(lines, ":memory:") as made:
        ((where,),) = rows(made, "SELECT current_setting('temp_directory')")
    assert Path(where).parent == tmp_path


def test_a_database_that_another_program_has_open_is_not_written_over(tmp_path: Path) -> None:
    """What it had not put into its file lies beside it, and fits no other file: DuckDB could not open the new one."""
    import duckdb

    out = tmp_path / "t.duckdb"
    with duckdb.connect(str(out)) as opened:
        opened.execute("CREATE TABLE own (a INTEGER)")
        with pytest.raises(InputError, match=r"t\.duckdb\.wal beside it"):
            write_tables(iter(()), out, write_file)
        assert rows(opened, "SHOW TABLES") == [("own",)]
    assert [path.name for path in tmp_path.iterdir()] == ["t.duckdb"]


def test_one_boat_without_samples_and_asked_for_wrongly(shop: Path, tmp_path: Path) -> None:
    import duckdb

    assert run("export", shop, SALTGRASS, "-o", tmp_path / "one.duckdb", "--without-samples").exit_code == 0
    with duckdb.connect(str(tmp_path / "one.duckdb")) as opened:
        assert rows(opened, "SELECT (SELECT count(*) FROM boats), (SELECT count(*) FROM samples)") == [(1, 0)]
        assert rows(opened, "SELECT sum(samples) > 0 FROM recordings") == [(True,)]
    no_job = ("QQZ00002A626", "-o", tmp_path / "x.zip"), (SALTGRASS, "--job", "none", "-o", tmp_path / "x.zip")
    for wrong in (*no_job, ("-o", tmp_path / "folder")):
        result = run("export", shop, *wrong)
        assert result.exit_code == 2, result.output
    assert sorted(one.name for one in tmp_path.iterdir()) == ["one.duckdb"]


def test_the_lines_of_the_readme_draw_pitch_against_slip(
    base: duckdb.DuckDBPyConnection, judged: AssessedJob, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    [lines] = re.findall(r"```python\n(import duckdb.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert len(lines.strip().splitlines()) == 2 + 3
    monkeypatch.chdir(shop.parent)
    found: dict[str, Any] = {}
    exec(lines, found)
    propeller = judged.view.vessel.engines[0].propeller
    [slip] = [n.value for one in judged.assessed for n in one.finding.numbers if n.name == "slip"]
    assert propeller is not None
    assert propeller.pitch is not None
    assert found["rows"] == [(propeller.pitch.to("in"), slip)]
    assert Path("slip.png").read_bytes().startswith(b"\x89PNG")
