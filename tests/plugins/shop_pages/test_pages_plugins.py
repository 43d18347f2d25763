"""The shop's own plugins on the page: a manager approves exactly what was shown, and only that runs."""

from __future__ import annotations

import hashlib
from pathlib import Path
from types import ModuleType

import attrs
import pytest

from garboard.hosting.apart import MOST_CUTS, Apart
from garboard.hosting.failures import cure_of
from garboard.hosting.host import LoadedPlugin, make_host
from garboard.hosting.sources import Source
from garboard_shop.own_plugins import LARGEST
from garboard_shop.pages.plugins import files_to_run, passed_over, waiting
from hostile_checks import GOOD
from pages_rig import CHIEF, HAND, Browser, Pages, form_to, words_of
from wrong_plugins import computing

SOURCE = '''
"""Our own check. <script>alert(1)</script>"""
from garboard import hookimpl
from garboard.steps import Phase, Step
__version__ = "7"

@hookimpl
def register_steps(register):
    register(Step(key="our_check.keel", title="Our own look at the keel", phase=Phase.ALONGSIDE, order=1))
'''
SHA256 = hashlib.sha256(SOURCE.encode()).hexdigest()


def put_file(pages: Pages, source: str = SOURCE, name: str = "our_check") -> None:
    pages.drop.mkdir(exist_ok=True)
    (pages.drop / f"{name}.py").write_text(source)


@pytest.fixture
def approved(pages: Pages, manager: Browser) -> Browser:
    put_file(pages)
    assert manager.send(form_to(manager.text("/plugins"), "/plugins/approve")).status_code == 303
    return manager


def test_a_file_that_waits_is_shown_with_its_hash_and_its_source_as_text(pages: Pages, manager: Browser) -> None:
    put_file(pages)
    source = manager.text("/plugins")
    assert SHA256 in source
    assert "def register_steps(register):" in source
    assert "<script>alert" not in source
    technician = pages.signed_in(HAND).text("/plugins")
    assert SHA256 in technician
    assert "/plugins/approve" not in technician


def test_the_heading_counts_what_runs_and_what_waits(pages: Pages, manager: Browser) -> None:
    assert "waiting for approval" not in words_of(manager.text("/plugins"))
    for name in ("our_check", "other"):
        put_file(pages, SOURCE.replace("our_check", name), name)
    assert "No plugin of the shop's own at work, 2 waiting for approval" in words_of(manager.text("/plugins"))
    form = form_to(manager.text("/plugins"), "/plugins/approve", name="other")
    assert manager.send(form).status_code == 303
    assert "1 plugin of the shop's own, 1 waiting for approval" in words_of(manager.text("/plugins"))


def test_an_approved_file_goes_to_the_tablets_and_says_who_approved_it(pages: Pages, approved: Browser) -> None:
    (plugin,) = pages.store.register.plugins()
    assert (plugin.name, plugin.sha256, plugin.approved_by) == ("our_check", SHA256, CHIEF)
    assert pages.store.hulls.attachments.get(SHA256) == SOURCE.encode()
    words = words_of(approved.text("/plugins"))
    assert f"by {CHIEF}" in words
    assert "waits for approval" not in words


def test_the_server_runs_what_is_approved_so_that_it_judges_as_the_tablets_do(pages: Pages, approved: Browser) -> None:
    files = files_to_run(pages.store, pages.drop.parent / "shop")
    host = make_host(files=files, entry_points=False)
    assert ("our_check", "7") in [(plugin.name, plugin.version) for plugin in host.plugins]
    assert host.step("our_check.keel") is not None


def test_a_file_changed_after_it_was_shown_is_not_approved(pages: Pages, manager: Browser) -> None:
    put_file(pages)
    form = form_to(manager.text("/plugins"), "/plugins/approve")
    put_file(pages, SOURCE + "\n# something else\n")
    answer = manager.send(form)
    assert answer.status_code == 400
    assert "read it again" in words_of(answer.text)
    assert pages.store.register.plugins() == ()


@pytest.mark.parametrize("name", ["../our_check", "none", "", "our_check.py"])
def test_only_a_file_that_waits_can_be_approved(pages: Pages, manager: Browser, name: str) -> None:
    put_file(pages)
    form = form_to(manager.text("/plugins"), "/plugins/approve")
    assert manager.send(form, name=name).status_code == 400
    assert pages.store.register.plugins() == ()


def test_a_file_that_does_not_load_goes_nowhere_and_says_why(pages: Pages, manager: Browser) -> None:
    put_file(pages, "raise RuntimeError('not today')")
    page = manager.text("/plugins")
    assert "No plugin of the shop's own at work, 1 waiting for approval" in words_of(page)
    answer = manager.send(form_to(page, "/plugins/approve"))
    assert answer.status_code == 400
    words = words_of(answer.text)
    assert "got one that does not: RuntimeError: not today [our_check.py, line 1]" in words
    assert "garboard-" not in words, "the copy it was tried as is gone"
    assert pages.store.register.plugins() == ()


def test_a_file_that_fails_in_one_of_the_shops_jobs_goes_nowhere_and_says_why(pages: Pages, manager: Browser) -> None:
    put_file(pages, computing("our_check", "1 / 0"))
    answer = manager.send(form_to(manager.text("/plugins"), "/plugins/approve"))
    assert answer.status_code == 400
    assert "division by zero" in words_of(answer.text)
    assert pages.store.register.plugins() == ()


def test_a_withdrawn_plugin_runs_no_more_and_can_be_approved_again(pages: Pages, approved: Browser) -> None:
    assert approved.send(form_to(approved.text("/plugins"), "/plugins/withdraw")).status_code == 303
    (plugin,) = pages.store.register.plugins()
    assert (plugin.is_withdrawn, plugin.withdrawn_by) == (True, CHIEF)
    assert files_to_run(pages.store, pages.drop.parent / "shop") == ()
    assert "our_check waits for approval" in words_of(approved.text("/plugins"))


def test_a_plugin_whose_file_was_altered_does_not_run(pages: Pages, approved: Browser) -> None:
    held = pages.store.hulls.attachments.folder / SHA256
    held.chmod(0o600)
    held.write_text(SOURCE + "import os\n")
    assert files_to_run(pages.store, pages.drop.parent / "shop") == ()


def test_what_cannot_be_approved_for_its_name_or_kind_is_told_with_what_to_do(pages: Pages, manager: Browser) -> None:
    put_file(pages)
    for name in ("X.PY", "my-checks.py", "Upper.py", "1st.py", "garboard_shop.py", "notes.txt", ".hidden.py"):
        (pages.drop / name).write_text(SOURCE)
    (pages.drop / "big.py").write_bytes(b"#" * (LARGEST + 1))
    (pages.drop / "package").mkdir()
    (pages.drop / "package" / "__init__.py").touch()
    (pages.drop / "folder.py").mkdir()
    (pages.drop / "empty").mkdir()
    assert {one.name for one in waiting(pages.drop, pages.store)} == {"our_check"}
    told = {one.name: (one.code, one.cure) for one in passed_over(pages.drop)}
    assert told == {
        "X": ("wrong_name", "call it x.py"),
        "my-checks": ("wrong_name", "call it my_checks.py"),
        "Upper": ("wrong_name", "call it upper.py"),
        "1st": ("wrong_name", "call it own_1st.py"),
        "garboard_shop": ("name_taken", cure_of("name_taken")),
        "big": ("too_large", cure_of("too_large")),
        "package": ("not_one_file", cure_of("not_one_file")),
        "folder": ("not_one_file", cure_of("not_one_file")),
    }
    words = words_of(manager.text("/plugins"))
    assert "our_check waits for approval" in words
    assert "it is called 'X.PY'" in words
    assert "(wrong_name). To do: call it x.py." in words


def test_what_was_left_out_in_mid_run_is_shown_with_code_and_cure(pages: Pages, manager: Browser) -> None:
    own = Apart(loaded={"slow": Source("slow.py"), "loops": Source("loops.py")})
    own._ran_out["slow"] = MOST_CUTS
    own._cuts["loops", "loops.check"] = ["took_too_long"] * MOST_CUTS
    plugins = [LoadedPlugin(name, "1", ModuleType(name)) for name in ("slow", "loops")]
    pages.desk.host = attrs.evolve(make_host((), entry_points=False), apart=own, plugins=plugins)
    words = words_of(manager.text("/plugins"))
    assert "does not run slow: took too long in 3 jobs" in words
    assert "[slow.py] (took_too_long). To do: end the loop, or compute less; it runs again at the next start." in words
    assert "runs Loops 1" in words
    assert "runs, but loops: its check loops.check was ended in 3 jobs" in words
    assert "runs Slow" not in words


def test_a_link_out_of_the_folder_is_not_followed(pages: Pages) -> None:
    pages.drop.mkdir()
    (pages.drop.parent / "outside.py").write_text(SOURCE)
    (pages.drop / "outside.py").symlink_to(pages.drop.parent / "outside.py")
    assert waiting(pages.drop, pages.store) == ()
    assert [one.code for one in passed_over(pages.drop)] == ["not_one_file"]


def test_a_check_file_is_approved_runs_and_its_next_version_says_what_it_changes(
    pages: Pages, manager: Browser, tmp_path: Path
) -> None:
    pages.drop.mkdir(exist_ok=True)
    (pages.drop / "rail.toml").write_text(GOOD)
    page = manager.text("/plugins")
    assert "It holds no code" in words_of(page)
    assert manager.send(form_to(page, "/plugins/approve")).status_code == 303
    (file,) = files_to_run(pages.store, tmp_path)
    assert file.name == "rail.toml"
    assert [plugin.version for plugin in make_host((), entry_points=False, files=[file]).plugins] == ["1"]
    later = GOOD.replace("default = 24", "default = 26").replace('edition = "1"', 'edition = "2"')
    (pages.drop / "rail.toml").write_text(later)
    page = manager.text("/plugins")
    assert "setting least, default was 24 and is 26" in words_of(page)
    assert manager.send(form_to(page, "/plugins/approve")).status_code == 303
    (file,) = files_to_run(pages.store, tmp_path)
    assert file.read_text() == later
    assert [one.approved_by for one in pages.store.register.plugins()] == [CHIEF]


def test_a_check_file_under_a_plugins_name_is_refused(pages: Pages, manager: Browser) -> None:
    put_file(pages, GOOD, "rail")
    page = manager.text("/plugins")
    answer = manager.send(form_to(page, "/plugins/approve"))
    assert "rail.toml, by what stands in its first line" in words_of(answer.text)
    assert pages.store.register.plugins() == ()
