"""A pairing code's 24 characters name the shop whose certificate they carry; its address may be heard or typed."""

from __future__ import annotations

import pytest

from garboard.faults import InputError
from garboard.shop_link import discovery
from garboard.shop_link.discovery import with_address
from garboard.shop_link.pairing import PairingCode, characters_alone, read_code

CODE = PairingCode("192.168.1.20", 8443, "ab" * 10, "cd" * 5)
ALONE = CODE.typed.partition(" ")[2]


@pytest.mark.parametrize("typed", [ALONE, ALONE.lower(), ALONE.replace("-", " "), ALONE.replace("-", "")])
def test_the_characters_alone_are_completed_with_the_address_that_is_heard(
    typed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However they are grouped; what is looked for is the certificate's fingerprint."""
    asked: list[str] = []

    def heard(fingerprint: str) -> tuple[str, int]:
        asked.append(fingerprint)
        return "10.0.0.7", 9443

    monkeypatch.setattr(discovery, "find", heard)
    read = read_code(with_address(typed))
    assert (read.host, read.port, read.fingerprint, read.secret) == ("10.0.0.7", 9443, CODE.fingerprint, CODE.secret)
    assert asked == [CODE.fingerprint]


@pytest.mark.parametrize("typed", [CODE.typed, CODE.scanned, f"office.local {ALONE}", f"[fe80::1]:8443 {ALONE}"])
def test_an_address_that_was_typed_is_used_and_nothing_is_looked_for(
    typed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(discovery, "find", lambda _fingerprint: pytest.fail("looked for"))
    assert with_address(typed) == typed
    assert read_code(with_address(typed)).secret == CODE.secret


def test_a_shop_that_is_not_heard_is_asked_for_by_its_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(discovery, "find", lambda _fingerprint: None)
    with pytest.raises(InputError, match="the shop's address before the 24 characters"):
        with_address(ALONE)


def test_too_few_characters_are_no_code_and_a_wrong_one_is_named() -> None:
    assert characters_alone(ALONE[:-1]) is None
    with pytest.raises(InputError, match="never in a code"):
        characters_alone(ALONE[:-1] + "9")
