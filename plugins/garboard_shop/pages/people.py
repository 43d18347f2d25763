"""Who may sign in on the page: passwords, sessions and the brake on guessing.

[1] NIST SP 800-63B-4, 3.1.1.2 (from memory): a password that stands alone has at least 15 characters; no rule on
    which characters; a long one is not cut off.
[2] RFC 9106: Argon2id.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import threading
from contextlib import suppress
from functools import cache

import attrs
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from garboard.disk.storage import FolderInUse, NotSaved
from garboard.faults import Fault, InputError
from garboard_shop import brake
from garboard_shop.access import hashed
from garboard_shop.store import ROLES, Count, Register, Tally, WebUser

SHORTEST_PASSWORD, LONGEST_PASSWORD = 15, 200
LONGEST_NAME = 60
_MINUTE = 60 * 1000
LONGEST_SESSION = 12 * 60 * _MINUTE
LONGEST_PAUSE = 2 * 60 * _MINUTE
TRIES_ARE_KEPT = 15 * _MINUTE
MOST_TRIES_OF_ONE = 10
"""Wrong passwords for one name from one address, or from one browser that was signed in before."""
MOST_TRIES_AN_ADDRESS = 20
STRANGERS_TRIES_ARE_KEPT = 60 * _MINUTE
MOST_TRIES_OF_STRANGERS = 30
"""Wrong passwords from all strangers' browsers together, whatever their addresses: 720 a day."""
MOST_MARKS = 8
"""People one browser is known for."""
_BETWEEN, _AND = ".", "~"
_MARK = re.compile(r"[A-Za-z0-9_-]{1,40}\.[0-9a-f]{64}")

_hasher = PasswordHasher()
_at_once = threading.Semaphore(2)  # each hash takes 64 MiB; a crowd at the door must not take them all


def make_user(name: str, role: str, password: str) -> WebUser:
    """Someone who may sign in. Raises InputError with every fault."""
    name = " ".join(name.split())
    faults: list[Fault] = []
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable():
        faults.append(Fault("name", f"1 to {LONGEST_NAME} characters", repr(name)))
    if role not in ROLES:
        faults.append(Fault("role", " or ".join(ROLES), repr(role)))
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        length = f"{SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters, such as a short sentence"
        faults.append(Fault("password", length, f"{len(password)}"))
    if faults:
        raise InputError("person", faults)
    with _at_once:
        return WebUser(name=name, role=role, password_hash=_hasher.hash(password))


def taking_part(register: Register) -> tuple[WebUser, ...]:
    """Everyone who may sign in, by name."""
    return tuple(sorted((user for user in register.users() if not user.removed_at), key=lambda user: user.name))


def find(register: Register, name: str) -> WebUser | None:
    """The person of a name who may sign in; names differ by more than capitals and spaces."""
    wanted = _plain(name)
    return next((user for user in taking_part(register) if _plain(user.name) == wanted), None)


def is_right(user: WebUser | None, password: str) -> bool:
    """Whether a password is a person's. Takes as long for a person nobody knows."""
    with _at_once:
        try:
            return _hasher.verify(user.password_hash if user else _nobody(), password[:LONGEST_PASSWORD]) and bool(user)
        except (VerificationError, InvalidHashError):
            return False


@cache
def _nobody() -> str:
    return _hasher.hash(secrets.token_hex(16))


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


@attrs.define
class Session:
    """Someone signed in.

    csrf          : the secret that every form of this session carries
    password_hash : of the password it was opened with; whoever sets a new one, on whichever server, ends it
    opened        : [ms since 1970-01-01 UTC], as `seen`, the last request
    notice        : what to say on the next page, once
    """

    user: str
    csrf: str
    password_hash: str = attrs.field(repr=False)
    opened: int
    seen: int
    notice: str = ""


class Sessions:
    """Sessions of this server, in memory: a restart signs everyone out."""

    def __init__(self) -> None:
        self._sessions: dict[str, Session] = {}
        self._guard = threading.Lock()

    def open(self, user: WebUser, now: int) -> str:
        """Sign someone in.

        returns : the secret for the cookie; only its hash is kept
        """
        secret = secrets.token_urlsafe(32)
        with self._guard:
            self._sessions = {name: one for name, one in self._sessions.items() if _is_alive(one, now)}
            self._sessions[hashed(secret)] = Session(user.name, secrets.token_urlsafe(32), user.password_hash, now, now)
        return secret

    def find(self, secret: str, now: int) -> Session | None:
        """The session of a cookie, if it still runs."""
        with self._guard:
            session = self._sessions.get(hashed(secret))
            if session is None or not _is_alive(session, now):
                return None
            session.seen = now
            return session

    def close(self, secret: str) -> None:
        """Sign out."""
        with self._guard:
            self._sessions.pop(hashed(secret), None)


def person_of(session: Session | None, register: Register) -> WebUser | None:
    """Who a session is of, as they are now; None when they were removed or have another password since."""
    user = find(register, session.user) if session else None
    return user if session and user and user.password_hash == session.password_hash else None


def _is_alive(session: Session, now: int) -> bool:
    """A clock that was set back far ends it as well: by it, the session would be open for as long."""
    return abs(now - session.opened) < LONGEST_SESSION and abs(now - session.seen) < LONGEST_PAUSE


class Attempts:
    """Tries to sign in that failed.

    A stranger's browser counts with its name and address together, with its address, and with all strangers: so many
    addresses buy no more guesses. A browser that was signed in before counts alone, so no stranger holds it up.

    tally : where they are kept; what it cannot keep, because a disk is full, is counted here in memory
    """

    def __init__(self, tally: Tally) -> None:
        self._tally = tally
        self._unsaved = brake.InMemory()
        self._guard = threading.Lock()

    def begin(self, name: str, address: str, now: int, browser: str = "") -> int:
        """Count a try before it is judged, so that many at once do not slip past.

        browser : what stands for a browser in which this person was signed in before; "" for a stranger's
        returns : 0 to go on; otherwise how long to wait [ms], and nothing is counted
        """
        counts = _counts(name, address, browser)
        with self._guard:
            kept = (*self._tally.askers(), *self._unsaved.askers())
            if wait := brake.wait_before(kept, counts, now):
                return wait
            try:
                return self._tally.count_try(counts, now)
            except (NotSaved, FolderInUse):
                return self._unsaved.count_try(counts, now)

    def succeeded(self, name: str, address: str, browser: str = "") -> None:
        """The last try was right: it counts no more, nor do earlier ones of this name from this place."""
        counts = _counts(name, address, browser)
        with self._guard:
            self._unsaved.forget(brake.after_the_right_one(self._unsaved.askers(), counts))
            with suppress(NotSaved, FolderInUse):  # a try too many is counted
                self._tally.forget(brake.after_the_right_one(self._tally.askers(), counts))


def _counts(name: str, address: str, browser: str) -> list[Count]:
    """What a try counts with; first what is its own."""
    plain = _plain(name)[:LONGEST_NAME]
    if browser:
        return [brake.count(("browser", plain, browser), MOST_TRIES_OF_ONE, TRIES_ARE_KEPT)]
    return [
        brake.count(("name", plain, address), MOST_TRIES_OF_ONE, TRIES_ARE_KEPT),
        brake.count(("address", address), MOST_TRIES_AN_ADDRESS, TRIES_ARE_KEPT),
        brake.count(("strangers",), MOST_TRIES_OF_STRANGERS, STRANGERS_TRIES_ARE_KEPT),
    ]


def make_mark(user: WebUser) -> str:
    """What a browser keeps to be known by when this person next signs in there; it opens nothing.

    Nothing is stored for it: it holds as long as the person's password, on every server of the shop.
    """
    nonce = secrets.token_urlsafe(12)
    return f"{nonce}{_BETWEEN}{_proof(user, nonce)}"


def known_by(user: WebUser | None, marks: str) -> str:
    """What stands for a browser among marks it keeps, if one was made for this person; "" for a stranger's.

    marks : as `join_marks` gave them
    """
    for mark in marks.split(_AND)[:MOST_MARKS] if user else ():
        nonce, _, proof = mark.partition(_BETWEEN)
        if user and hmac.compare_digest(proof.encode(), _proof(user, nonce).encode()):
            return nonce
    return ""


def join_marks(marks: str, new: str) -> str:
    """Marks with a new one: several people may use one browser."""
    return _AND.join([new, *filter(_MARK.fullmatch, marks.split(_AND))][:MOST_MARKS])


def _proof(user: WebUser, nonce: str) -> str:
    key = hashlib.sha256(f"known browser {user.password_hash}".encode()).digest()
    return hmac.new(key, f"{user.name} {nonce}".encode(), "sha256").hexdigest()
