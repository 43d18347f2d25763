"""Who may take part: codes that pair a tablet once, and the tokens tablets are known by afterwards."""

from __future__ import annotations

import hashlib
import secrets

from garboard.shop_link.pairing import FINGERPRINT_BYTES, SECRET_BYTES, PairingCode
from garboard_shop.store import MINUTES_A_CODE_WORKS, Pairing, Register, Tablet

SHORTEST_TOKEN = 43
"""Characters: 256 bits in base 64."""
LONGEST_TOKEN = 100
_MINUTE = 60 * 1000


def hashed(secret: str) -> str:
    """What is kept of a token or a pairing secret: both are random, and long or short-lived, so one SHA-256 will do."""
    return hashlib.sha256(secret.encode()).hexdigest()


def open_code(register: Register, role: str, host: str, port: int, fingerprint: str, now: int, by: str) -> PairingCode:
    """Open a new code for one tablet.

    role        : what the tablet may do
    host, port  : where tablets reach the server
    fingerprint : SHA-256 of the server's certificate, in hexadecimal
    now         : [ms since 1970-01-01 UTC]
    by          : who asked for it
    """
    secret = secrets.token_bytes(SECRET_BYTES).hex()
    pairing = Pairing(secret_hash=hashed(secret), role=role, until=now + MINUTES_A_CODE_WORKS * _MINUTE)
    register.open_pairing(pairing, by, now)
    return PairingCode(host, port, fingerprint[: FINGERPRINT_BYTES * 2], secret)


def admit(
    register: Register, secret: str, token: str, name: str, now: int, *, device: str, address: str
) -> Tablet | None:
    """Pair a tablet, once. The same tablet may ask again, in case the answer was lost on the way.

    device  : what stands for it in the entries it writes
    address : where it asks from
    returns : the tablet; None when the secret fits no open code
    errors  : store.MustWait
    """
    pairing = register.use_pairing(hashed(secret), hashed(token), now, address)
    if pairing is None:
        return None
    token_hash = hashed(token)
    register.add_tablet(
        Tablet(
            id=secrets.token_hex(6),
            name=name,
            role=pairing.role,
            token_hash=token_hash,
            paired_at=now,
            writes_as=(device,),
        )
    )
    known = register.tablet_of(token_hash)  # the first of those who asked with this token
    return None if known is None or known.is_removed else known
