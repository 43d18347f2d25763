"""What a job was signed under stays with it, whatever the shop decides later."""

import json
import re
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, measure, sign_off, signed_under
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.judging.assessing import assess_job_file
from garboard.records import JsonValue
from garboard.report.book import handover_book
from garboard.report.record import _setting_as_practice
from garboard.report.settings_used import setting_in_words
from garboard.settings import SET, SHOP, SIGNED, UNSETTLED, SettingSet, SettingUsed
from printed import printed_words
from setting_jobs import DROP, OFFICE, set_for_job, set_for_shop, sign, take_in, view_in

HOST = make_host(entry_points=False)
LABELS = "wiring_audit.labelled"


def verdicts(view: JobView) -> list[tuple[str, str]]:
    return [(one.finding.code, one.finding.verdict.value) for one in HOST.assess(view)]


def test_a_change_after_the_signature_changes_no_verdict_and_is_said(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "7 %"})
        sign(hulls, hull, HOST)
        signed = verdicts(view_in(hulls, hull, HOST))
        set_for_shop(hulls, {DROP: "0.5 %"})
        view = view_in(hulls, hull, HOST)
        assert verdicts(view) == signed
        unsigned = attrs.evolve(open_hull(hulls, hull).view(view.job.id), sign_offs=())
        assert verdicts(HOST.with_defaults(unsigned)) != signed, "the change would matter"
    used = view.settings_used[DROP]
    assert (used.value, used.set[0].source, used.set[0].by) == ("7 %", SIGNED, "Office")
    assert [one.value for one in used.shop_now] == ["0.5 %"]
    assert "our limit when the job was signed, set by Office on 12 May 2026" in setting_in_words(used)
    assert "has changed since the job was signed, to 0.5 %" in setting_in_words(used)
    said = " ".join(CliRunner().invoke(program, ["assess", str(tmp_path)]).stdout.split())
    assert "The shop's setting has changed since the job was signed, to 0.5 %, set by Office" in said


def test_a_job_signed_at_the_default_stays_there(tmp_path: Path) -> None:
    """Also one signed by a program before settings were kept: it judged by the defaults."""
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        boat = open_hull(hulls, hull)
        job = boat.jobs[0]
        hulls.save(sign_off(Author("tablet-1", "R. Vane"), boat.state_of(job), job, "technician", "R. Vane"))
        set_for_shop(hulls, {DROP: "0.5 %"})
        used = view_in(hulls, hull, HOST).settings_used[DROP]
    assert (used.value, used.state, [one.value for one in used.shop_now]) == ("10 %", "default", ["0.5 %"])


def test_the_shop_going_back_to_the_default_is_said_too(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "7 %"})
        sign(hulls, hull, HOST)
        set_for_shop(hulls, {DROP: "10 %"})
        used = view_in(hulls, hull, HOST).settings_used[DROP]
    assert (used.value, [one.value for one in used.shop_now]) == ("7 %", ["10 %"])


def test_once_something_is_entered_after_it_the_job_follows_the_shop_until_it_is_signed_again(tmp_path: Path) -> None:
    """Whoever signs again has to see what they sign under."""
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        sign(hulls, hull, HOST)
        set_for_shop(hulls, {DROP: "7 %"})
        assert view_in(hulls, hull, HOST).settings[DROP] == "10 %"
        boat = open_hull(hulls, hull)
        job = boat.jobs[0]
        author = Author("tablet-1", "R. Vane")
        hulls.save(measure(author, boat.state_of(job), job, "handover.lights_and_horn", "horn", False))
        assert view_in(hulls, hull, HOST).settings[DROP] == "7 %"
        sign(hulls, hull, HOST)
        set_for_shop(hulls, {DROP: "5 %"})
        assert view_in(hulls, hull, HOST).settings[DROP] == "7 %"


def test_two_technicians_who_signed_under_different_values_leave_it_open(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        sign(hulls, hull, HOST, "R. Vane")
        set_for_shop(hulls, {DROP: "7 %"})
        boat = open_hull(hulls, hull)
        job = boat.jobs[0]
        now = HOST.with_defaults(attrs.evolve(boat.view(job), sign_offs=()))
        author = Author("tablet-2", "N. Sorrel")
        hulls.save(sign_off(author, boat.state_of(job), job, "technician", "N. Sorrel", settings=signed_under(now)))
        used = view_in(hulls, hull, HOST).settings_used[DROP]
    assert (used.value, used.state) == ("7 %", UNSETTLED)


def test_the_jobs_own_setting_is_an_entry_the_signature_covers(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_job(hulls, hull, DROP, "7 %")
        sign(hulls, hull, HOST)
        view = view_in(hulls, hull, HOST)
        assert view.sign_offs[-1].settings == {}
        assert not view.sign_offs[-1].stale
        set_for_job(hulls, hull, DROP, "5 %")
        assert view_in(hulls, hull, HOST).sign_offs[-1].stale


def test_an_exported_signed_job_is_judged_the_same_wherever_it_is_taken_in(tmp_path: Path) -> None:
    with HullFolder(tmp_path / "shop") as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "0.5 %"})
        sign(hulls, hull, HOST)
        set_for_shop(hulls, {DROP: "7 %"})
        here = verdicts(view_in(hulls, hull, HOST))
        boat = open_hull(hulls, hull)
        path = export_job(hulls, boat, boat.jobs[0], tmp_path / "out", HOST.settings)
    by_file = assess_job_file(path, HOST)
    assert verdicts(by_file.view) == here
    with HullFolder(tmp_path / "elsewhere") as hulls:
        set_for_shop(hulls, {DROP: "3 %"})
        import_job(hulls, read_job_file(path), path.parent, OFFICE)
        assert import_job(hulls, read_job_file(path), path.parent, OFFICE)[1] == 0, "taken in twice, it adds nothing"
        view = view_in(hulls, hull, HOST)
        assert verdicts(view) == here
        assert not any(one.stale for one in view.sign_offs), "what came with the file leaves the signature whole"


@pytest.mark.parametrize("stated", [None, 5, {}, {"value": "900 %"}, {"value": True, "by": 5}])
def test_what_a_signature_states_and_cannot_be_used_counts_as_the_default(stated: object, tmp_path: Path) -> None:
    path = tmp_path / "job.json"
    with HullFolder(tmp_path / "shop") as hulls:
        hull = take_in(hulls)
        boat = open_hull(hulls, hull)
        exported = export_job(hulls, boat, boat.jobs[0], tmp_path / "out")
    plain = json.loads(exported.read_text(encoding="utf-8"))
    del plain["entries"]
    plain["sign_offs"] = [{"role": "technician", "name": "R. Vane", "settings": {DROP: stated}}]
    path.write_text(json.dumps(plain), encoding="utf-8")
    view = HOST.with_defaults(view_of(read_job_file(path), path.parent))
    assert view.settings[DROP] == "10 %"


def test_the_book_and_the_readable_report_name_the_settings_their_verdicts_used(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "7 %"})
        view = view_in(hulls, hull, HOST)
        book = handover_book(view, HOST, HOST.assess(view))
    printed = printed_words(book)
    assert "7 %, our limit, set by Office on 12 May 2026" in printed
    assert "the default is 10 %" in printed
    read = " ".join(CliRunner().invoke(program, ["assess", str(tmp_path)]).stdout.split())
    assert "7 %, our limit, set by Office on 12 May 2026" in read
    assert "Used for:" in read


def settings(*words: object) -> tuple[int, str]:
    ended = CliRunner().invoke(program, ["settings", *map(str, words), "--by", "Boss", "--reason", "this boat's rule"])
    return ended.exit_code, " ".join(ended.output.split())


@pytest.fixture
def signed_twice(tmp_path: Path) -> tuple[Path, str]:
    """A job two technicians signed under the shop's limits, which the shop has changed since."""
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "7 %", LABELS: "80 %"})
        sign(hulls, hull, HOST, "R. Vane")
        sign(hulls, hull, HOST, "N. Sorrel")
        set_for_shop(hulls, {DROP: "5 %", LABELS: "90 %"})
    return tmp_path, hull


def test_a_setting_of_a_signed_job_is_refused_and_names_the_signatures(signed_twice: tuple[Path, str]) -> None:
    folder, hull = signed_twice
    code, said = settings("set", folder, DROP, "4 %", "--hull", hull)
    assert code == 2
    assert "signoff technician/N. Sorrel, signoff technician/R. Vane" in said
    assert "--anyway" in said
    with HullFolder(folder) as hulls:
        view = view_in(hulls, hull, HOST)
    assert not any(one.stale for one in view.sign_offs)
    assert (view.settings[DROP], view.settings[LABELS]) == ("7 %", "80 %")


def test_set_anyway_it_changes_that_limit_alone_and_says_what_is_stale(signed_twice: tuple[Path, str]) -> None:
    folder, hull = signed_twice
    code, said = settings("set", folder, DROP, "4 %", "--hull", hull, "--anyway")
    assert code == 0
    assert "signoff technician/R. Vane is now stale" in said
    with HullFolder(folder) as hulls:
        view = view_in(hulls, hull, HOST)
        assert all(one.stale for one in view.sign_offs)
        assert (view.settings[DROP], view.settings[LABELS]) == ("4 %", "80 %"), "the other limit stays as signed"
    assert settings("set", folder, DROP, "4.5 %", "--hull", hull)[0] == 0, "they are stale already"
    assert settings("reset", folder, DROP, "--hull", hull)[0] == 0
    with HullFolder(folder) as hulls:
        view = view_in(hulls, hull, HOST)
    assert (view.settings[DROP], view.settings[LABELS]) == ("5 %", "80 %"), "taken back, it follows the shop again"


def test_taking_back_a_setting_of_a_signed_job_is_refused_too(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_job(hulls, hull, DROP, "7 %")
        sign(hulls, hull, HOST)
    code, said = settings("reset", tmp_path, DROP, "--hull", hull)
    assert (code, "signoff technician/R. Vane" in said) == (2, True)
    with HullFolder(tmp_path) as hulls:
        assert view_in(hulls, hull, HOST).settings[DROP] == "7 %"


def test_a_file_says_of_a_signed_setting_what_the_folder_says(tmp_path: Path) -> None:
    """The signature in the file says who set it and when; what it states is not the job's own."""
    with HullFolder(tmp_path / "shop") as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "7 %"})
        sign(hulls, hull, HOST)
        in_folder = view_in(hulls, hull, HOST).settings_used[DROP]
        boat = open_hull(hulls, hull)
        path = export_job(hulls, boat, boat.jobs[0], tmp_path / "out", HOST.settings)
    view = HOST.with_defaults(assess_job_file(path, HOST).view)
    assert "our limit when the job was signed, set by Office on 12 May 2026" in setting_in_words(in_folder)
    assert setting_in_words(view.settings_used[DROP]) == setting_in_words(in_folder)


@pytest.mark.parametrize(
    ("default", "whose"),
    [("3 %", "our limit"), (14, "our limit"), ("", "ours"), ("33 CFR 183.455", "ours"), (True, "ours")],
)
def test_only_a_number_is_called_a_limit(default: JsonValue, whose: str) -> None:
    """A telephone, a logo or a rule that was chosen is none."""
    used = SettingUsed(
        key="a.b",
        title="A",
        value=default,
        default=default,
        set=(SettingSet(key="a.b", value=default, source=SHOP, by="Office"),),
    )
    assert f", {whose}, set by Office" in setting_in_words(used)


def test_an_owner_reads_of_no_choice_that_its_source_was_not_read() -> None:
    """Of one that holds, of one the shop has now, and of one that is not used."""
    told = 0
    for setting in HOST.settings:
        for choice in setting.field.choices:
            stated = (SettingSet(key=setting.key, value=choice, source=SHOP),)
            used = SettingUsed(
                key=setting.key,
                title=setting.field.title,
                value=choice,
                default=choice,
                state=SET,
                set=stated,
                not_used=stated,
                shop_now=stated,
            )
            said = setting_in_words(_setting_as_practice(used))
            told += said.count("by common practice)")
            assert not re.search("memory|compared", said), said
    assert told >= 4 * 5, "five choices are of figures from memory"
