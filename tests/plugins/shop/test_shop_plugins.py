"""The shop's own plugins: approved on the office machine, carried to paired tablets, run only as approved."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from campaigns.writers import entry_number
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.hosting.host import make_host
from garboard.hosting.plugin_file import LARGEST
from garboard.shop_link import shop_plugins
from garboard.shop_link.shop_plugins import ApprovedPlugin, files_to_run, kept
from garboard.shop_link.sync import bring_ashore
from garboard_shop.own_plugins import approve, keep_in_store, withdraw
from run_program import run
from shop_rig import RunningShop, ask_raw, shop_and_tablets

PLUGIN = """
from garboard import hookimpl
from garboard.steps import Field, Kind, Phase, Step

__version__ = "{version}"

@hookimpl
def register_steps(register):
    field = Field(name="dry", title="Bilge dry", kind=Kind.YES_NO)
    register(Step(key="my_checks.afloat", title="An hour afloat", phase=Phase.ALONGSIDE, order=390, fields=(field,)))
"""


def plugin_file(where: Path, version: str = "1", name: str = "my_checks.py", text: str = PLUGIN) -> Path:
    where.mkdir(exist_ok=True)
    (where / name).write_text(text.replace("{version}", version))
    return where / name


def approved(shop: RunningShop, file: Path) -> str:
    store = shop.store
    return approve(store.register, keep_in_store(store), file, "M. Office", shop.now()).sha256


def versions_run(folder: HullFolder) -> dict[str, str]:
    """What a tablet over this folder runs of the shop's own, by name."""
    host = make_host((), entry_points=False, files=files_to_run(folder))
    assert host.problems == []
    return {plugin.name: plugin.version for plugin in host.plugins}


def test_an_approved_plugin_travels_with_its_hash_and_runs(tmp_path: Path) -> None:
    file = plugin_file(tmp_path / "made")
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        assert versions_run(folder) == {}
        sha256 = approved(shop, file)
        report = bring_ashore(folder, paired)
        assert sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
        assert [(one.name, one.sha256, one.approved_by) for one in report.approved] == [
            ("my_checks", sha256, "M. Office")
        ]
        assert versions_run(folder) == {"my_checks": "1"}
        again = bring_ashore(folder, paired)
        assert (again.approved, again.withdrawn, again.bytes_received) == ((), (), 0)


def test_a_newer_file_of_the_same_name_takes_the_place_of_the_older_and_a_withdrawn_one_runs_no_more(
    tmp_path: Path,
) -> None:
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        approved(shop, plugin_file(tmp_path / "made"))
        bring_ashore(folder, paired)
        approved(shop, plugin_file(tmp_path / "made", version="2"))
        bring_ashore(folder, paired)
        assert versions_run(folder) == {"my_checks": "2"}
        withdraw(shop.store.register, "my_checks", "M. Office", shop.now())
        assert bring_ashore(folder, paired).withdrawn == ("my_checks",)
        assert versions_run(folder) == {}
        with pytest.raises(InputError, match="none is"):
            withdraw(shop.store.register, "my_checks", "M. Office", shop.now())


def test_a_file_that_nobody_approved_never_runs_however_it_came(tmp_path: Path) -> None:
    """An attachment any tablet can bring; a file laid beside the approved ones; an approved one altered on the disk."""
    file = plugin_file(tmp_path / "made")
    with shop_and_tablets(tmp_path, 2) as (shop, [(one, first), (two, second)]):
        one.attachments.put(PLUGIN.encode())
        one.save(entry_number(1, "ABC"))
        bring_ashore(one, first)
        bring_ashore(two, second)
        assert len(two.attachments.names()) == 1
        assert versions_run(two) == {}
        approved(shop, file)
        bring_ashore(two, second)
        (path,) = files_to_run(two)
        plugin_file(path.parent, version="altered")
        plugin_file(path.parent, name="stranger.py")
        assert versions_run(two) == {"my_checks": "1"}
        (two.attachments.folder / hashlib.sha256(file.read_bytes()).hexdigest()).write_text("altered = True")
        assert versions_run(two) == {}


def test_a_list_of_approved_plugins_comes_from_the_paired_shop_alone(tmp_path: Path) -> None:
    """There is no request by which a tablet, of whatever role, could approve one."""
    with shop_and_tablets(tmp_path) as (shop, [(_, paired)]):
        for method in ("POST", "PUT", "DELETE", "PATCH"):
            body = json.dumps({"plugins": [{"name": "x", "sha256": "0" * 64}]}).encode()
            assert ask_raw(shop.port, method, "/v1/plugins", body, token=paired.token).status == 405
        assert shop.store.register.plugins() == ()


@pytest.mark.parametrize("name", ["../../evil", "a/b", "", "Evil", "a.b", "x" * 61])
def test_a_name_that_leads_out_of_the_folder_is_left_out(tmp_path: Path, name: str) -> None:
    with HullFolder(tmp_path / "tablet") as folder:
        sha256 = folder.attachments.put(PLUGIN.encode())
        shop_plugins.keep(folder.folder, [ApprovedPlugin(name, sha256, "M. Office", 1)])
        assert kept(folder.folder) == ()
        assert files_to_run(folder) == ()
        shop_plugins.keep(folder.folder, [ApprovedPlugin("good", sha256, "M. Office", 1)])
        assert [path.name for path in files_to_run(folder)] == ["good.py"]


WRONG_ORDER = """
from garboard import hookimpl
from garboard.steps import Phase, Step

@hookimpl
def register_steps(register):
    register(Step(key="my.a", title="A", phase=Phase.ALONGSIDE, order="390"))
"""


@pytest.mark.parametrize(
    ("name", "text", "reason"),
    [
        ("my_checks.py", "def broken(", "SyntaxError"),
        ("my_checks.py", "x = 1", "it offers nothing"),
        ("my_checks.py", "import sys; sys.exit(3)", "SystemExit"),
        ("my_checks.py", WRONG_ORDER, "a number as order of Step 'my.a', got '390' of type str"),
        ("My-Checks.py", PLUGIN, "small letters"),
        ("my_checks.txt", PLUGIN, "call it my_checks.py"),
        ("garboard_prop_check.py", PLUGIN, "comes with the program"),
        ("my_checks.py", PLUGIN + "#" * LARGEST, "at most"),
    ],
)
def test_what_does_not_load_or_is_misnamed_is_not_approved(tmp_path: Path, name: str, text: str, reason: str) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        with pytest.raises(InputError, match=reason):
            approved(shop, plugin_file(tmp_path / "made", name=name, text=text))
        assert shop.store.register.plugins() == ()
        assert shop.store.attachments.sizes() == {}


def test_the_commands_approve_list_and_withdraw_also_while_the_server_runs(tmp_path: Path) -> None:
    file = plugin_file(tmp_path / "made")
    with shop_and_tablets(tmp_path) as (shop, [(folder, paired)]):
        listing = ("shop-plugins", "list", "--folder", shop.folder)
        assert run(*listing).output == "No plugin is approved.\n"
        done = run("shop-plugins", "approve", file, "--folder", shop.folder, "--by", "M. Office")
        assert done.exit_code == 0, done.output
        sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
        assert f"my_checks  {sha256}  approved by M. Office" in run(*listing).output
        bring_ashore(folder, paired)
        assert versions_run(folder) == {"my_checks": "1"}
        assert run("shop-plugins", "withdraw", "my_checks", "--folder", shop.folder, "--by", "M. Office").exit_code == 0
        assert "WITHDRAWN" in run(*listing).output
        bring_ashore(folder, paired)
        assert versions_run(folder) == {}
        file.unlink()  # the shop has kept what it approved
        back = run("shop-plugins", "put-back", "my_checks", "--folder", shop.folder, "--by", "M. Office")
        assert f"my_checks {sha256} is back." in back.output
        assert [one.name for one in bring_ashore(folder, paired).approved] == ["my_checks"]
        assert versions_run(folder) == {"my_checks": "1"}
        twice = run("shop-plugins", "put-back", "my_checks", "--folder", shop.folder)
        assert "expected one that is withdrawn: none is, got 'my_checks'" in twice.output
