"""The commands of the shop: start the server, pair and bring ashore from the terminal, list and remove tablets."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

from campaigns.sync_campaign import Server
from campaigns.writers import entry_number
from garboard.disk.hullfile import HullFolder
from garboard.disk.shop_document import FILE
from garboard.faults import InputError
from garboard.shop_link import pairing
from garboard.shop_link.pairing import PairingCode, read_address, read_code
from garboard_shop.embedded import SHOP_FOLDER
from garboard_shop.naming import keep_name
from run_program import run

HULL = "ABC00001A526"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    running = Server(tmp_path_factory.mktemp("office") / "shop")
    running.first_code = running.start()
    yield running
    running.kill()


def test_a_folder_is_paired_and_brought_ashore_then_brought_again_without_a_code(
    server: Server, tmp_path: Path
) -> None:
    with HullFolder(tmp_path) as hulls:
        hulls.put_if_absent(HULL, [entry_number(number, HULL) for number in range(5)])
    first = run("ashore", "--folder", tmp_path, "--pair", server.first_code, "--name", "dock tablet")
    assert first.exit_code == 0, first.output
    assert "sent 5 entries" in first.output
    assert "both sides hold the same" in first.output
    again = run("ashore", "--folder", tmp_path, "--json")
    assert again.exit_code == 0
    report = json.loads(again.output)
    assert (report["sent"], report["equal"], report["there"]) == (0, True, {HULL: 5})


def test_tablets_are_listed_and_a_removed_one_is_refused(server: Server, tmp_path: Path) -> None:
    run("ashore", "--folder", tmp_path, "--new", "--pair", server.new_code(), "--name", "lost tablet")
    (tablet,) = [
        one
        for one in json.loads(run("shop-tablets", "list", "--folder", server.folder, "--json").output)["tablets"]
        if one["name"] == "lost tablet"
    ]
    assert "token_hash" not in tablet
    assert f"{tablet['id']}  lost tablet  technician" in run("shop-tablets", "list", "--folder", server.folder).output
    removed = run("shop-tablets", "remove", "--folder", server.folder, tablet["id"], "--by", "M. Office")
    assert removed.exit_code == 0
    assert "REMOVED" in run("shop-tablets", "list", "--folder", server.folder).output
    refused = run("ashore", "--folder", tmp_path)
    assert refused.exit_code == 2
    assert refused.stderr.startswith("Not brought ashore: this tablet is not paired with the shop, or was removed")
    twice = run("shop-tablets", "remove", "--folder", server.folder, tablet["id"], "--by", "M. Office")
    assert twice.exit_code == 2


def test_a_second_server_on_the_same_folder_is_refused_naming_the_first(server: Server) -> None:
    refused = run("shop", "--folder", server.folder, "--host", "127.0.0.1", "--port", "0")
    assert refused.exit_code == 2
    assert "is being written by process" in refused.output
    assert "Do it in that program, or close it there first" in refused.output, "no command opens one for reading only"


def test_a_taken_port_is_refused_with_what_to_do(server: Server, tmp_path: Path) -> None:
    refused = run("shop", "--folder", tmp_path / "other", "--host", "127.0.0.1", "--port", server.port)
    assert refused.exit_code == 2
    assert "choose it with --host and --port" in refused.output


@pytest.mark.parametrize("is_there", [True, False])
def test_a_mistyped_folder_is_not_made_and_uses_up_no_code(server: Server, tmp_path: Path, is_there: bool) -> None:
    code, folder = server.new_code(), tmp_path / "my-tabelt"
    if is_there:
        folder.mkdir()
    refused = run("ashore", "--folder", folder, "--pair", code)
    assert refused.exit_code == 2
    assert "or --new to begin an empty one there" in refused.stderr
    assert [*tmp_path.rglob("*")] == ([folder] if is_there else [])
    assert run("ashore", "--folder", folder, "--new", "--pair", code).exit_code == 0


def test_a_code_that_is_wrong_is_told_in_the_shops_own_words(server: Server, tmp_path: Path) -> None:
    used = server.new_code()
    assert run("ashore", "--folder", tmp_path / "one", "--new", "--pair", used).exit_code == 0
    refused = run("ashore", "--folder", tmp_path / "two", "--new", "--pair", used)
    assert refused.exit_code == 2
    assert refused.stderr.startswith("Not brought ashore: the code is wrong, used or expired: get a new")


def test_the_24_characters_alone_pair_where_the_wifi_tells_the_address(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = server.new_code()
    monkeypatch.setattr(
        "garboard.shop_link.sync.with_address", lambda alone: code if alone == code.split()[1] else alone
    )
    assert run("ashore", "--folder", tmp_path, "--new", "--pair", code.split()[1]).exit_code == 0


def test_what_is_no_pairing_code_makes_no_folder(tmp_path: Path) -> None:
    refused = run("ashore", "--folder", tmp_path / "new", "--new", "--pair", "rubbish")
    assert refused.exit_code == 2
    assert "24 characters" in refused.stderr
    assert not (tmp_path / "new").exists()


def test_without_a_pairing_no_folder_is_made(tmp_path: Path) -> None:
    assert run("ashore", "--folder", tmp_path / "typo").exit_code == 2
    assert not (tmp_path / "typo").exists()


def test_without_a_pairing_the_command_says_what_to_give(tmp_path: Path) -> None:
    refused = run("ashore", "--folder", tmp_path)
    assert refused.exit_code == 2
    assert "give --pair with the code" in refused.output


def test_a_shop_that_does_not_answer_is_told_with_its_address(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("garboard.shop_link.ashore.look_for", lambda shop: None)
    assert run("ashore", "--folder", tmp_path, "--new", "--pair", server.new_code()).exit_code == 0
    away = run("ashore", "--folder", tmp_path, "--at", "127.0.0.1:1")
    assert away.exit_code == 2
    assert "no answer from 127.0.0.1:1" in away.output


def test_a_shop_that_moved_is_found_by_what_it_announces_and_kept_there(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At its old address nothing answers; the announcement leads to the new one, and the fingerprint is still held."""
    assert run("ashore", "--folder", tmp_path, "--new", "--pair", server.new_code()).exit_code == 0
    monkeypatch.setattr("garboard.shop_link.ashore.look_for", lambda shop: attrs.evolve(shop, port=server.port))
    assert run("ashore", "--folder", tmp_path, "--at", "127.0.0.1:1").exit_code == 0
    kept = pairing.kept(tmp_path)
    assert kept is not None
    assert kept.port == server.port


def test_the_shop_keeps_its_certificate_when_it_starts_again(tmp_path: Path) -> None:
    """Tablets need no new pairing after a restart."""
    office, tablet = Server(tmp_path / "shop"), tmp_path / "tablet"
    keep_name(tmp_path / "shop" / SHOP_FOLDER, "Tern Harbour")
    try:
        first = read_code(office.start())
        assert run("ashore", "--folder", tablet, "--new", "--pair", first.typed).exit_code == 0
        assert "Tern Harbour" in (tablet / FILE).read_text()
        office.kill()
        second = read_code(office.start())
        assert second.fingerprint == first.fingerprint
        assert second.secret != first.secret
        assert run("ashore", "--folder", tablet).exit_code == 0
    finally:
        office.kill()


def test_a_database_that_is_not_spoken_is_refused(tmp_path: Path) -> None:
    refused = run("shop", "--folder", tmp_path, "--store", "carrierpigeon://loft")
    assert refused.exit_code == 2
    assert "--store" in refused.output


def test_without_the_office_part_the_server_says_what_to_install_and_the_rest_works(tmp_path: Path) -> None:
    """A machine without the packages: the plugin loads, other commands work, and `garboard shop` names the cure."""
    script = (
        "import sys\n"
        "class Absent:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.partition('.')[0] in ('starlette', 'uvicorn', 'cryptography', 'segno', 'zeroconf'):\n"
        "            raise ModuleNotFoundError(name)\n"
        "sys.meta_path.insert(0, Absent())\n"
        "import importlib.util\n"
        "importlib.util.find_spec = lambda name: None\n"
        "from garboard.commands.cli import main\n"
        f"sys.argv = ['garboard', 'shop', '--folder', {str(tmp_path)!r}]\n"
        "main()\n"
    )
    ended = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert ended.returncode == 2
    assert "pip install 'garboard[office]'" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert "No plugin" not in ended.stderr
    assert list(tmp_path.iterdir()) == []


CODE = PairingCode("192.168.1.20", 8443, "00112233445566778899", "deadbeef42")


@pytest.mark.parametrize(
    "spelled",
    [CODE.typed, CODE.scanned, CODE.typed.lower(), f"  {CODE.typed.replace('-', ' ')} ", CODE.typed.replace("-", "")],
)
def test_a_code_reads_back_however_it_is_typed(spelled: str) -> None:
    assert read_code(spelled) == CODE


def test_numerals_that_look_like_letters_are_read_as_those_letters() -> None:
    """Base 32 (RFC 4648) has no 0, 1 or 8: they were typed for O, I and B."""
    letters = "OIBOIB-OIBOIB-OIBOIB-OIBOIB"
    numerals = letters.translate(str.maketrans("OIB", "018"))
    assert read_code(f"shop.local {letters}") == read_code(f"shop.local {numerals}")


NO_CODES = ("", "192.168.1.20", CODE.typed[:-1], f"{CODE.typed}A", "a b c", "9" * 24, f"x {'9' * 24}")


@pytest.mark.parametrize("text", NO_CODES)
def test_what_is_no_code_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputError, match="such as 192"):
        read_code(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("192.168.1.20:9000", ("192.168.1.20", 9000)),
        ("office.local", ("office.local", pairing.DEFAULT_PORT)),
        ("[fe80::1]:443", ("fe80::1", 443)),
    ],
)
def test_an_address_reads_with_and_without_a_port(text: str, expected: tuple[str, int]) -> None:
    assert read_address(text) == expected


@pytest.mark.parametrize("text", ["", "a b", "host:0", "host:99999", "http://host", "host:x"])
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_address(text)
