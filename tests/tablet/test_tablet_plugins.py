"""A shop's own plugin in the app: a loop is interrupted, what cannot be is passed over, and one start is its price."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Queue

import pytest

import wrong_plugins
from garboard.disk.shop_document import PLUGINS, shop_document
from garboard.faults import InputError
from garboard.fields import implausible
from garboard.findings import Verdict
from garboard.hosting.failures import NotJudgedHere
from garboard.hosting.host import BUILT_IN, PluginHost, make_host
from garboard.hosting.sources import refused_beside
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard.shop_link.shop_plugins import ApprovedPlugin, keep
from garboard_tablet.models.assessor import Assessor
from garboard_tablet.models.background import Background
from garboard_tablet.models.left_out import AT_WORK, left_out, runs, take_back_in
from garboard_tablet.models.live_source import minded_guide
from garboard_tablet.models.plugin_minder import MOST_CUTS, Patience, PluginMinder
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import open_tablet
from tablet.driver import Drive, Driver

VIEW = JobView(vessel=Vessel(hull_number="QQZ04417D626"), job=Job(id="one", opened="2026-05-14"))
SOON = Patience(processor=0.1, wall=0.3, more=0.15, held=20.0)


def plugin(folder: Path, name: str, body: str) -> Path:
    file = folder / f"{name}.py"
    file.write_text(wrong_plugins.computing(name, body), encoding="utf-8")
    return file


@pytest.fixture
def minder(tmp_path: Path) -> Iterator[PluginMinder]:
    one = PluginMinder(tmp_path, patience=SOON)
    yield one
    one.close()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
def test_a_full_disk_keeps_no_plugin_from_judging(tmp_path: Path, minder: PluginMinder) -> None:
    (tmp_path / AT_WORK).symlink_to("/dev/full")
    assert codes(host_of(minder, plugin(tmp_path, "good", "yield found()"))) == ["good.check.fail"]


def host_of(minder: PluginMinder, *files: Path) -> PluginHost:
    host = make_host((), entry_points=False, files=files, minder=minder)
    assert host.problems == []
    return host


def codes(host: PluginHost) -> list[str]:
    return [one.finding.code for one in host.assess(VIEW)]


@pytest.mark.parametrize(
    "loop",
    [
        "while True: pass",
        "while True:\n    try:\n        while True: pass\n    except Exception: pass",
        "while True: sorted(range(1000))",
        "sum(iter(lambda: 0, 1))",
        "while True: view.value('NAME.step', 'dry')",
    ],
    ids=["plain", "catching", "calling", "in C with Python inside", "in the program"],
)
def test_a_loop_is_interrupted_and_the_rest_is_judged(tmp_path: Path, minder: PluginMinder, loop: str) -> None:
    files = [plugin(tmp_path, "bad", f"yield found()\n{loop}"), plugin(tmp_path, "good", "yield found()")]
    host = host_of(minder, *files)
    stands, cut, good = host.assess(VIEW)
    assert (stands.finding.verdict, cut.finding.code) == (Verdict.FAIL, "bad.check.took_too_long")
    assert "Not judged here: took too long" in cut.finding.sentence
    assert good.finding.code == "good.check.fail"
    assert not minder.is_stuck
    for thread in threading.enumerate():
        if thread.name == "minding plugins":
            thread.join()  # once it has ended no interruption comes: one that came too late would end this


TRACED = """
import sys, time
from pathlib import Path
from garboard_tablet.models.plugin_minder import PluginMinder
minder = PluginMinder(Path(sys.argv[1]))
call = minder.begin("bad", __file__, "bad.check")
call.cut_at = time.monotonic()  # it was to be interrupted, and was through before that came
minder.end(call)
sys.settrace(lambda *_of_the_frame: None)
print([sorted(number) for number in ([2, 1], [3])])
"""


def test_after_an_interruption_was_taken_back_traced_code_runs_to_its_end(tmp_path: Path) -> None:
    """To take it back by asking for none leaves Python 3.11 at one step of traced code for ever: so a process apart."""
    (tmp_path / "traced.py").write_text(TRACED, encoding="utf-8")
    told = subprocess.run(
        [sys.executable, tmp_path / "traced.py", tmp_path], capture_output=True, text=True, timeout=300, check=True
    )
    assert told.stdout == "[[1, 2], [3]]\n"


def test_a_loop_when_it_is_loaded_is_interrupted_too(tmp_path: Path, minder: PluginMinder) -> None:
    (tmp_path / "bad.py").write_text("while True: pass", encoding="utf-8")
    (problem,) = make_host((), entry_points=False, files=[tmp_path / "bad.py"], minder=minder).problems
    assert (problem.name, problem.code) == ("bad", "took_too_long")


def test_one_that_is_cut_again_and_again_does_not_run_for_ever(tmp_path: Path, minder: PluginMinder) -> None:
    begun = tmp_path / "begun"
    loop = f"with open({str(begun)!r}, 'a') as file: file.write('x')\nwhile True: pass"
    host = host_of(minder, plugin(tmp_path, "bad", loop))
    for _ in range(MOST_CUTS + 2):
        assert codes(host) == ["bad.check.took_too_long"]
    assert begun.read_text(encoding="utf-8") == "x" * MOST_CUTS


def test_one_that_is_quick_is_never_touched_and_leaves_no_trace(tmp_path: Path, minder: PluginMinder) -> None:
    host = host_of(minder, plugin(tmp_path, "good", "yield found()"))
    for _ in range(200):
        assert codes(host) == ["good.check.fail"]
    assert left_out(tmp_path) == {}


def test_what_cannot_be_interrupted_is_passed_over_while_the_rest_goes_on(tmp_path: Path) -> None:
    told, over = list[str](), threading.Event()

    def pass_over(name: str) -> None:
        told.append(name)
        over.set()

    minder = PluginMinder(tmp_path, pass_over, SOON)
    release = threading.Event()
    host = host_of(
        minder,
        plugin(tmp_path, "bad", "import threading\nthreading.held.wait()\nyield found()"),
        plugin(tmp_path, "good", "yield found()"),
    )
    threading.held = release  # type: ignore[attr-defined]  # what the plugin waits for
    try:
        worker = threading.Thread(target=codes, args=(host,), daemon=True)
        worker.start()
        assert over.wait(60)
        assert (told, minder.is_stuck) == (["bad"], True)
        assert codes(host) == ["bad.check.took_too_long", "good.check.fail"]
    finally:
        release.set()
        worker.join(60)
        del threading.held  # type: ignore[attr-defined]
    assert not minder.is_stuck


HOLDS = """
import sys
from pathlib import Path
from queue import Queue
from garboard.hosting.host import make_host
from garboard_tablet.models.live_source import minded_guide
from garboard_tablet.models.plugin_minder import Patience, PluginMinder
folder = Path(sys.argv[1])
minder = PluginMinder(folder, patience=Patience(held=0.4))
host = make_host((), entry_points=False, files=[folder / "holds.py"], minder=minder)
from garboard.job_view import JobView
from garboard.records import Job, Vessel
print(host.assess(JobView(vessel=Vessel(hull_number="QQZ04417D626"), job=Job(id="one"))))
"""


def test_what_holds_the_interpreter_ends_the_app_and_the_next_start_leaves_it_out(tmp_path: Path) -> None:
    """A regular expression that never ends: no thread of Python's runs beside it, and nothing can interrupt it."""
    file = plugin(tmp_path, "holds", "import re\nre.match('(a+)+b', 'a' * 60)")
    ended = subprocess.run([sys.executable, "-c", HOLDS, str(tmp_path)], capture_output=True, text=True, timeout=300)
    assert (ended.returncode, ended.stdout) == (1, "")
    assert "holds.py" in (tmp_path / "plugin-held.txt").read_text(encoding="utf-8")
    without = left_out(tmp_path)
    assert list(without) == ["holds"]
    assert not (tmp_path / AT_WORK).exists()
    assert not runs(file, without)
    assert left_out(tmp_path) == without, "at every start after, too"
    file.write_text(file.read_text(encoding="utf-8") + "\n# put right\n", encoding="utf-8")
    assert runs(file, without), "another version runs"
    take_back_in(tmp_path, "holds")
    assert left_out(tmp_path) == {}


STUCK = """
import sys
from pathlib import Path
from queue import Queue
from garboard.hosting.host import make_host
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard_tablet.models.background import Background
from garboard_tablet.models.plugin_minder import Patience, PluginMinder
import threading
threading.held, over = threading.Event(), threading.Event()
folder, background = Path(sys.argv[1]), Background(lambda work, after=0.0: None, print)
minder = PluginMinder(folder, lambda _name: over.set(), Patience(wall=0.2, more=0.1))
host = make_host((), entry_points=False, files=[folder / "waits.py"], minder=minder)
view = JobView(vessel=Vessel(hull_number="QQZ04417D626"), job=Job(id="one"))
background.run("work", lambda: host.assess(view), print)
over.wait()
background.stop()
minder.close()
print("closed", flush=True)
minder.leave()
"""


def test_an_app_whose_plugin_does_not_come_back_can_be_closed_and_leaves_it_out(tmp_path: Path) -> None:
    plugin(tmp_path, "waits", "import threading\nthreading.held.wait()")
    ended = subprocess.run([sys.executable, "-c", STUCK, str(tmp_path)], capture_output=True, text=True, timeout=300)
    assert (ended.returncode, ended.stderr) == (0, "closed\n")  # what is printed while a plugin runs goes there
    assert list(left_out(tmp_path)) == ["waits"]


def test_a_page_that_waits_for_findings_gets_them_without_the_plugin_that_does_not_come_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("garboard_tablet.models.plugin_minder.Patience", lambda: SOON)
    release = threading.Event()
    monkeypatch.setattr(threading, "held", release, raising=False)
    queue: Queue[Callable[[], object]] = Queue()
    waits = plugin(tmp_path, "waits", "import threading\nthreading.held.wait()\nyield found()")
    tablet = open_tablet(tmp_path / "tablet", own_plugins=[waits])
    background = Background(lambda work, after=0.0, /: queue.put(work), lambda what, failure: None)
    assessor = Assessor(tablet, background, lambda key: None)

    def pass_over() -> None:
        background.renew()
        assessor.abandon()

    tablet.passed_over = lambda _name: queue.put(pass_over)
    tablet.change_settings(tablet.settings.with_person("Robin"))
    hull, job = tablet.open_job("XYZAB123F526")
    route = Route(page="step", hull=hull, job=job, step="waits.step")
    try:
        assessor.soon(route)
        while assessor.known(route) is None:
            queue.get(timeout=60)()
        assert [one.finding.code for one in assessor.of(route)] == ["waits.check.took_too_long"]
        assert "plugin waits" in assessor.of(route)[0].finding.sentence
    finally:
        release.set()
        background.stop()
        tablet.close()


def test_the_first_page_says_who_is_left_out_and_a_press_lets_it_run_again(tmp_path: Path, drive: Drive) -> None:
    folder = tmp_path / "tablet"
    text = wrong_plugins.good("our_own").encode()
    with_plugin = open_tablet(folder)
    keep(folder, [ApprovedPlugin("our_own", with_plugin.files.attachments.put(text), "M. Office", 1)])
    assert [row["name"] for row in shop_document(folder).rows(PLUGINS)] == ["our_own"]
    assert "our_own" in [one.name for one in with_plugin.host.plugins]
    minder = with_plugin.minder
    assert minder is not None
    (own,) = (one for one in with_plugin.host.plugins if one.name == "our_own")
    call = minder.begin("our_own", own.file, "our_own.check")
    as_it_ran = (folder / AT_WORK).read_bytes()
    minder.end(call)
    with_plugin.close()
    (folder / AT_WORK).write_bytes(as_it_ran)

    d = drive(folder, make_host=None)
    assert "Plugin our_own is left out, because the app ended while it ran." in " ".join(d.words())
    assert "our_own" not in [one.name for one in d.app.tablet.host.plugins]
    d.press("settings")
    assert "its checks are not judged here" in " ".join(d.words())
    d.press("use our_own again")
    d.close()

    again = open_tablet(folder)
    assert "our_own" in [one.name for one in again.host.plugins]
    assert again.plugins_left_out() == ()
    again.close()


@pytest.mark.parametrize("came", [False, True])
def test_an_approved_plugin_whose_file_is_not_here_whole_is_named(tmp_path: Path, drive: Drive, came: bool) -> None:
    """Its list came and its file did not, or the card damaged it: nobody takes a boat for judged by it."""
    folder, text = tmp_path / "tablet", wrong_plugins.good("our_own").encode()
    tablet = open_tablet(folder)
    name = tablet.files.attachments.put(text) if came else hashlib.sha256(text).hexdigest()
    keep(folder, [ApprovedPlugin("our_own", name, "M. Office", 1)])
    tablet.close()
    if came:
        file = folder / "attachments" / name
        file.chmod(0o600)
        file.write_bytes(text.replace(b"a", b"b", 1))
    d = drive(folder, make_host=None)
    assert "our_own" not in [one.name for one in d.app.tablet.host.plugins]
    d.app.screen.redraw()
    assert "Plugin our_own is not here whole. Its checks are not judged here." in " ".join(d.words())
    d.press("settings")
    assert "its file is not here whole" in " ".join(d.words())
    d.close()


def test_the_list_of_boats_follows_the_plugins(tmp_path: Path, drive: Drive) -> None:
    """Steps and failing checks of a plugin that came, or was withdrawn, are counted at the next start, boat by boat."""
    folder, own = tmp_path / "tablet", wrong_plugins.computing("our_own", "yield found()")

    def start() -> Driver:
        d = drive(folder, make_host=None)
        d.app.watch.look()
        d.step(4)
        return d

    d = start()
    hull, job = d.app.tablet.open_job("XYZAB123F526")
    d.app.vessels.refresh(hull)
    without = d.app.vessels.lines[hull]
    keep(folder, [ApprovedPlugin("our_own", d.app.tablet.files.attachments.put(own.encode()), "M. Office", 1)])
    assert d.app.tablet.plugin_set == without.plugins, "it runs from the next start on"
    d.close()

    d = start()
    line = d.app.vessels.lines[hull]
    assert (line.total, line.stamp) == (without.total + 1, without.stamp)
    d.app.findings.soon(Route(page="job", hull=hull, job=job))
    d.step(2)
    assert d.app.vessels.lines[hull].fails_now == 1
    d.app.watch.keep()
    keep(folder, [])
    d.close()

    d = start()
    line = d.app.vessels.lines[hull]
    assert (line.total, line.fails_now, line.plugins) == (without.total, 0, without.plugins)
    assert not d.app.vessels.to_read
    assert d.says(f"0 of {without.total} steps")


def test_a_fields_own_function_keeps_nobody_from_entering(tmp_path: Path, minder: PluginMinder) -> None:
    fields = """name="volts", title="Volts", kind=Kind.AMOUNT, quantity="voltage", unit="V", plausible_for="""
    for name, asked in (
        ("loops", "lambda vessel, of: sum(iter(lambda: 0, 1))"),
        ("fails", "lambda vessel, of: 1 / 0"),
    ):
        text = wrong_plugins.good(name).replace('name="dry", title="Dry", kind=Kind.YES_NO', f"{fields}{asked}")
        (tmp_path / f"{name}.py").write_text(text, encoding="utf-8")
        (step,) = host_of(minder, tmp_path / f"{name}.py").steps
        assert implausible(step.fields[0], "12 V", VIEW.vessel) == ""


def test_a_guide_that_loops_is_interrupted_and_one_of_the_program_is_left_alone(
    tmp_path: Path, minder: PluginMinder
) -> None:
    text = wrong_plugins.offering(
        "steers",
        "live_guides",
        'LiveGuide(key="steers.guide", title="G", quantities=("heading",), begin=begin, take=max, show=min)',
    )
    (tmp_path / "steers.py").write_text(f"{text}\ndef begin(view):\n    while True: pass\n", encoding="utf-8")
    host = make_host(("garboard_fuel_curve",), entry_points=False, files=[tmp_path / "steers.py"], minder=minder)
    assert host.problems == []
    with pytest.raises(NotJudgedHere, match="took too long"):
        minded_guide(host.live_guides["steers.guide"], host).begin(VIEW)
    (own,) = (guide for key, guide in host.live_guides.items() if key != "steers.guide")
    assert minded_guide(own, host) is own


def test_what_is_left_out_for_this_run_is_not_loaded_and_what_is_misnamed_is_told(tmp_path: Path) -> None:
    files = [plugin(tmp_path, "one", "yield found()"), plugin(tmp_path, "two", "yield found()")]
    for name in ("my-checks.py", "left-out.py"):
        (tmp_path / "plugins" / name).parent.mkdir(exist_ok=True)
        (tmp_path / "plugins" / name).touch()
    without = ("one", "garboard_handover", "left-out")
    tablet = open_tablet(
        tmp_path / "data", own_plugins=files, refused=refused_beside(tmp_path, BUILT_IN), without=without
    )
    try:
        names = {one.name for one in tablet.host.plugins}
        assert {"two", "garboard_wiring_audit"} <= names
        assert names.isdisjoint(without)
        assert [(one.name, one.code) for one in tablet.host.problems] == [("my-checks", "wrong_name")]
    finally:
        tablet.close()


def test_a_name_to_leave_out_that_nobody_has_is_refused(tmp_path: Path) -> None:
    from garboard_tablet.app import _refuse_unknown

    with pytest.raises(InputError, match="garboard_wiring_audit"):
        _refuse_unknown(["garboard_wirring_audit"], ["two"], tmp_path)
    _refuse_unknown(["garboard_wiring_audit", "two"], ["two"], tmp_path)


def test_the_settings_page_tells_what_is_misnamed_with_its_code_and_its_cure(tmp_path: Path, drive: Drive) -> None:
    (tmp_path / "plugins").mkdir()
    (tmp_path / "plugins" / "my-checks.py").touch()

    def with_refused() -> PluginHost:
        host = make_host((), entry_points=False)
        host.problems += refused_beside(tmp_path, BUILT_IN)
        return host

    d = drive(tmp_path / "data", make_host=with_refused)
    d.app.way.go(Route(page="settings"))
    d.step(2)
    assert d.says("'my-checks.py'")
    assert d.says("(wrong_name). To do: call it my_checks.py.")
    assert not d.says(str(tmp_path / "plugins"))


def test_a_plugin_chosen_for_this_run_is_used(tmp_path: Path) -> None:
    file = plugin(tmp_path, "chosen", "yield found()")
    tablet = open_tablet(tmp_path / "tablet", own_plugins=[file])
    assert "chosen" in [one.name for one in tablet.host.plugins]
    tablet.close()
