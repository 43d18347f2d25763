"""The shop's own plugins on the page: a manager approves exactly what was shown, and only that runs."""

from __future__ import annotations

import hashlib

import pytest

from garboard.hosting.host import make_host
from garboard_shop.pages.plugins import files_to_run, waiting
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
    answer = manager.send(form_to(manager.text("/plugins"), "/plugins/approve"))
    assert answer.status_code == 400
    assert "not today" in words_of(answer.text)
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


def test_a_link_out_of_the_folder_is_not_followed(pages: Pages) -> None:
    pages.drop.mkdir()
    (pages.drop.parent / "outside.py").write_text(SOURCE)
    (pages.drop / "outside.py").symlink_to(pages.drop.parent / "outside.py")
    assert waiting(pages.drop, pages.store) == ()
