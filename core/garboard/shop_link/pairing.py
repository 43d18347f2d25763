"""Which shop a tablet belongs to: the pairing code a person types, and what is kept once it was accepted.

The code carries the shop server's address, the fingerprint of its certificate and a secret that works once. The
tablet refuses any server whose certificate has another fingerprint, so nobody can stand between the two.

[1] RFC 4648: base 32, letters and the numerals 2 to 7.
"""

from __future__ import annotations

import base64
import binascii
import re
import secrets
from collections.abc import Iterable
from pathlib import Path
from uuid import uuid4

import attrs

from garboard.disk.documents import DocumentDamaged
from garboard.disk.shop_document import FILE, PAIRED, shop_document
from garboard.faults import Fault, InputError
from garboard.history.authority import AT_THE_DESK, MANAGER
from garboard.history.authority import SHOP_FOLDER as SHOP_FOLDER
from garboard.job_files.convert import structure

DEFAULT_PORT = 8443
FINGERPRINT_BYTES = 10
"""Bytes of the certificate's SHA-256 in a code: 80 bits, which nobody can make a second certificate for."""
SECRET_BYTES = 5

_HEAD = "GARBOARD:"
_CODE_BYTES = FINGERPRINT_BYTES + SECRET_BYTES
_CODE_LENGTH = _CODE_BYTES * 8 // 5
EXAMPLE = "192.168.1.20:8443 ABCDEF-GHJKLM-NPQRST-UVWXYZ"


@attrs.frozen
class PairingCode:
    """What a pairing code says.

    host        : name or address of the shop server
    port        : its port
    fingerprint : the first bytes of its certificate's SHA-256, in hexadecimal
    secret      : works once
    """

    host: str
    port: int
    fingerprint: str
    secret: str = attrs.field(repr=False)

    @property
    def address(self) -> str:
        return address_text(self.host, self.port)

    @property
    def typed(self) -> str:
        """The code for a person to type: address, then 24 characters in groups."""
        run = _encoded(bytes.fromhex(self.fingerprint) + bytes.fromhex(self.secret))
        groups = "-".join(run[start : start + 6] for start in range(0, len(run), 6))
        return f"{self.address} {groups}"

    @property
    def scanned(self) -> str:
        """The code as a QR code carries it: capitals and numerals only, which keeps the picture small."""
        return f"{_HEAD}{self.typed.upper()}"


@attrs.frozen
class PairedShop:
    """The shop this tablet was paired with.

    host        : where it was last found
    fingerprint : SHA-256 of its certificate, in hexadecimal
    token       : what the shop knows this tablet by; kept secret
    tablet      : the tablet's id at the shop
    role        : technician or manager, as the shop last said
    device      : what stands for this tablet in the entries written here (their `dev`)
    """

    name: str
    host: str
    port: int
    fingerprint: str
    token: str = attrs.field(repr=False)
    tablet: str
    role: str = "technician"
    device: str = attrs.field(factory=lambda: new_device())


def read_code(text: str) -> PairingCode:
    """Read a pairing code as typed, or as its picture holds it.

    text   : address, space, 24 characters; small letters, hyphens and spaces do not matter
    errors : InputError

    >>> read_code("192.168.1.20:8443 aaaaaa-aaaaaa-aaaaaa-aaaaaa").host
    '192.168.1.20'
    """
    words = text.strip().upper().removeprefix(_HEAD).split()
    address, run = (words[0], _run(words[1:])) if words else ("", "")
    if len(run) != _CODE_LENGTH:
        raise _no_code(f"{len(run)} characters after the address")
    fingerprint, secret = _decoded(run)
    return PairingCode(*read_address(address), fingerprint, secret)


def characters_alone(text: str) -> PairingCode | None:
    """The code where only its 24 characters were typed, its address still empty; None for anything else.

    errors : InputError for a character that is never in a code

    >>> characters_alone("aaaaaa-aaaaaa-aaaaaa-aaaaaa").fingerprint, characters_alone("10.0.0.2 AAAAAA")
    ('00000000000000000000', None)
    """
    run = _run(text.strip().upper().removeprefix(_HEAD).split())
    return PairingCode("", 0, *_decoded(run)) if len(run) == _CODE_LENGTH else None


def _run(words: Iterable[str]) -> str:
    return re.sub(r"[^A-Z0-9]", "", "".join(words))


def _decoded(run: str) -> tuple[str, str]:
    """Fingerprint and secret out of the 24 characters."""
    try:
        code = base64.b32decode(run.replace("8", "B"), map01="I")
    except binascii.Error:
        raise _no_code("a character that is never in a code") from None
    return code[:FINGERPRINT_BYTES].hex(), code[FINGERPRINT_BYTES:].hex()


def read_address(text: str) -> tuple[str, int]:
    """Host and port of "192.168.1.20:8443", "office.local" or "[fe80::1]:8443". Raises InputError."""
    found = re.fullmatch(r"(\[[0-9A-F:.%]+\]|[\w.-]+)(?::(\d{1,5}))?", text.strip(), re.IGNORECASE)
    port = int(found[2] or DEFAULT_PORT) if found else 0
    if not found or not 0 < port < 65536:
        raise InputError("address", [Fault("shop server", "an address such as 192.168.1.20:8443", repr(text))])
    return found[1].strip("[]").lower(), port


def address_text(host: str, port: int) -> str:
    """An address as `read_address` reads it."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def new_token() -> str:
    """A token nobody can guess: 256 bits."""
    return secrets.token_urlsafe(32)


def new_device() -> str:
    """A name for a tablet in its entries, random so that no two share one."""
    return uuid4().hex[:12]


def keep(folder: Path, shop: PairedShop) -> None:
    """Keep the pairing beside a tablet's hull files. After a power cut it is the old one or the new one.

    errors : storage.NotSaved
    """
    document = shop_document(folder)
    try:
        document.put_row(PAIRED, attrs.asdict(shop))
    except DocumentDamaged:
        document.begin_anew()
        document.put_row(PAIRED, attrs.asdict(shop))


def kept(folder: Path) -> PairedShop | None:
    """The pairing kept beside a tablet's hull files; None when there is none.

    errors : DocumentDamaged; NewerFormat
    """
    document = shop_document(folder)
    with document.file.reading():
        row = document.row(PAIRED)
        known = {key: row[key] for key in attrs.fields_dict(PairedShop) if key in row} if row is not None else {}
        return structure(known, PairedShop, FILE) if known else None


def keep_told(folder: Path, shop: PairedShop) -> None:
    """Keep where the shop is now and what role it gives, unless the tablet was paired anew meanwhile.

    errors : storage.NotSaved
    """
    found = kept(folder)
    if found is not None and found.token == shop.token and found != shop:
        keep(folder, shop)


def may_decide(folder: Path) -> bool:
    """Whether what is a manager's may be decided in this folder: it is paired as one, or with no shop at all."""
    try:
        shop = kept(folder)
    except DocumentDamaged:  # it may have been a technician's
        return False
    return shop is None or shop.role == MANAGER


def writes_as(folder: Path) -> str:
    """What stands for this machine in entries written by command in a folder (their `dev`)."""
    shop = kept(folder)
    if shop is not None:
        return shop.device
    return AT_THE_DESK if (folder / SHOP_FOLDER).is_dir() else "office"


def _encoded(code: bytes) -> str:
    return base64.b32encode(code).decode().rstrip("=")


def _no_code(got: str) -> InputError:
    expected = f"the shop's address and 24 characters, such as {EXAMPLE}"
    return InputError("pairing code", [Fault("code", expected, got)])
