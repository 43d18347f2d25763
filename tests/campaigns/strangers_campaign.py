"""What strangers can do to the shop server: every route asked with what nobody would send, and the door crowded.

The first part asks every route of the protocol and of the pages, as nobody, as a technician, as a manager, by a paired
and by a removed tablet, with addresses, fields, forms and bodies that are spoilt in places. Each answer must have a
status below 500 and nothing of the inside in it. A stranger sees nothing and changes nothing. No answer leads away.
The second part changes bytes of requests on the wire. The third opens connections from several addresses of the
loopback network and leaves them half-open, while a tablet at another address asks. Each time it must be answered.

Run:  python tests/campaigns/strangers_campaign.py --rounds 40
"""

from __future__ import annotations

import argparse
import contextlib
import logging
import random
import socket
import ssl
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import attrs
from starlette.routing import Route

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.writers import entry_number
from garboard.disk.hullfile import CheckedEntries
from garboard.hosting.host import PluginHost, make_host
from garboard.shop_link.wire import DEVICE, content_digest
from garboard_shop import access
from garboard_shop.app import PROTOCOL_ROUTES
from garboard_shop.pages import people
from garboard_shop.store import MANAGER, TECHNICIAN, Tablet
from pages_rig import NOON, PASSWORD, Browser, Pages, light_passwords
from shop_rig import RunningShop, ask_raw, believing, server_log

SEED = 20261129
HULL = "ABC00001A526"
TOKENS = {"tablet": "t" * 43, "manager's tablet": "m" * 43, "removed tablet": "r" * 43}
SIGNED_IN = {"technician": "R. Vane", "manager": "M. Office"}
NOBODY = "nobody"
WHO = (NOBODY, NOBODY, *SIGNED_IN, *TOKENS)
OPEN_TO_ALL = frozenset({"/sign-in", "/first", "/static/{name}", "/versions"})
TRACE = ("Traceback", 'File "', "garboard_shop", "starlette", "uvicorn", "jinja2")

ODD_TEXTS = (
    "",
    " ",
    "\x00",
    "\x1b[2J",
    "\u202etxt",
    "\ud7ff\ue000",
    "../../../etc/passwd",
    "..%2f..%2f",
    "//elsewhere.test/",
    "/\\elsewhere.test",
    "https://elsewhere.test/",
    "javascript:alert(1)",
    "<script>alert(1)</script>",
    "{{ 7 * 7 }}",
    "' or 1=1 --",
    "a\r\nSet-Cookie: x=y",
    "x" * 3000,
    "9" * 400,
    "-1",
    "0",
    "NaN",
    "2026-02-30",
    "0001-01-01",
    "9999-12-31",
    "\U0001f6a4",
    "SHOPSETTINGSNOBOAT",
)
FIELDS: Mapping[str, tuple[str, ...]] = {
    "Host": ("[", "[::1", "x?y#z", "elsewhere.test", "ex\xe4mple", "", "a" * 300),
    "Origin": ("null", "https://[", "https://elsewhere.test", "\xff"),
    "Sec-Fetch-Site": ("cross-site", "same-site", "\xff"),
    "Referer": ("https://elsewhere.test/", "\xff"),
    "Accept": ("text/html", "*/*", "\xff", "text/html;q=0"),
    "Accept-Encoding": ("gzip", "br", "gzip;q=0", "\xff"),
    "Cookie": ("__Host-garboard=x", "=", ";;;", '__Host-garboard="', "__Host-garboard-known=.~.~.", "\xff=\xff"),
    "Content-Type": ("application/json", "multipart/form-data", "application/x-www-form-urlencoded; charset=utf-16"),
    "Content-Encoding": ("gzip", "br", "\xff"),
    "If-None-Match": ('"', "*", "\xff"),
    "Range": ("bytes=0-1", "bytes=9-1"),
    "X-Forwarded-For": ("127.0.0.1",),
    "X-Forwarded-Host": ("elsewhere.test",),
    "Forwarded": ("for=127.0.0.1;host=elsewhere.test",),
    "X-HTTP-Method-Override": ("DELETE",),
    "Garboard-Device": ("", "x" * 65, "\xff"),
    "Garboard-Time": ("-1", "soon", "9" * 400),
}
FORM_NAMES = (
    *("csrf", "name", "password", "again", "old", "role", "next", "back", "job", "other", "into", "reason", "value"),
    *("saw", "slot", "reset", "key", "sha256", "shop", "tablet"),
)
QUERY_NAMES = ("q", "day", "by", "page", "of", "paper", "hull", "job", "from", "most", "next")


@attrs.frozen
class Fault:
    """An answer that must not be."""

    what: str
    asked: str


@attrs.define
class Tally:
    """What was asked, and what came of it."""

    asked: int = 0
    statuses: Counter[int] = attrs.field(factory=Counter)
    routes: set[str] = attrs.field(factory=set)
    faults: list[Fault] = attrs.field(factory=list)

    def __str__(self) -> str:
        by_status = ", ".join(f"{status} {number}x" for status, number in sorted(self.statuses.items()))
        return f"{self.asked} requests to {len(self.routes)} routes: {by_status}; {len(self.faults)} faults"


@contextlib.contextmanager
def small_shop(folder: Path, host: PluginHost) -> Iterator[Pages]:
    """A shop with one boat, two people and three tablets."""
    with light_passwords(), Pages(folder, host) as pages:
        for name, role in (("technician", TECHNICIAN), ("manager", MANAGER)):
            user = people.make_user(SIGNED_IN[name], role, PASSWORD)
            pages.store.register.put_user(user, "a test", NOON)
        for name, token in TOKENS.items():
            role = MANAGER if name == "manager's tablet" else TECHNICIAN
            tablet = Tablet(id=name, name=name, role=role, token_hash=access.hashed(token), paired_at=NOON)
            pages.store.register.add_tablet(tablet)
        pages.store.register.remove_tablet("removed tablet", "a test", NOON)
        raw = entry_number(1, HULL)
        pages.store.put_if_absent({HULL: CheckedEntries({raw.id: raw.raw})}, "tablet", NOON, 0)
        pages.desk.index.refresh()
        yield pages


def routes_in(pages: Pages) -> list[tuple[str, str]]:
    """Every method and path, and paths nobody serves."""
    found = [
        (method, route.path)
        for route in pages.app.routes
        if isinstance(route, Route)
        for method in sorted(route.methods or ())
    ]
    return [*found, ("GET", "/nowhere"), ("POST", "/nowhere"), ("BREW", "/"), ("DELETE", "/tablets"), ("GET", "/v1/x")]


class Strangers:
    """Asks one shop, by a fixed seed."""

    def __init__(self, pages: Pages, seed: int = SEED) -> None:
        self.pages, self.draw, self.tally = pages, random.Random(seed), Tally()
        self.browsers: dict[str, tuple[Browser, str]] = {}
        self.protocol = {route.path for route in PROTOCOL_ROUTES if isinstance(route, Route)}

    def round(self, leave_out: frozenset[str] = frozenset()) -> None:
        """Ask every route once, each as somebody.

        leave_out : paths that take long
        """
        for method, path in routes_in(self.pages):
            if path not in leave_out:
                self.ask(method, path, self.draw.choice(WHO))

    def browser(self, who: str) -> tuple[Browser, str]:
        """A browser of somebody, with the secret of its forms; signed in again where an attack signed it out."""
        if who in self.browsers and self.browsers[who][0].get("/people").status_code == 200:
            return self.browsers[who]
        browser = self.pages.browser(f"192.0.2.{len(self.browsers)}")
        csrf = ""
        if who in SIGNED_IN:
            user = people.find(self.pages.store.register, SIGNED_IN[who])
            if user is None:  # the manager among them removed this one
                role = TECHNICIAN if who == "technician" else MANAGER
                user = people.make_user(SIGNED_IN[who], role, PASSWORD)
                self.pages.store.register.put_user(user, "a test", NOON)
            secret = self.pages.desk.sessions.open(user, self.pages.at)
            browser.client.cookies.set("__Host-garboard", secret, domain="shop.test")
            session = self.pages.desk.sessions.find(secret, self.pages.at)
            csrf = session.csrf if session else ""
        self.browsers[who] = browser, csrf
        return self.browsers[who]

    def text(self) -> str:
        return self.draw.choice(ODD_TEXTS)

    def filled(self, path: str) -> str:
        """A path with something in each of its places, mostly what is there."""
        right = {"hull": HULL, "tablet": "tablet", "day": "2026-11-25", "key": "wiring_audit.drop_other", "job": "j1"}
        for name in ("hull", "day", "name", "job", "tablet", "key"):
            for place in (f"{{{name}}}", f"{{{name}:text}}"):
                if place in path:
                    value = right.get(name, "page.css") if self.draw.random() < 0.6 else self.text()
                    path = path.replace(place, quote(value, safe="" if self.draw.random() < 0.8 else "/.%"))
        return path

    def ask(self, method: str, path: str, who: str) -> None:
        draw, is_protocol = self.draw, path in self.protocol
        browser, csrf = self.browser(who if who in SIGNED_IN else NOBODY)
        query = {name: self.text() for name in draw.sample(QUERY_NAMES, draw.randint(0, 3))}
        address = self.filled(path) + (f"?{urlencode(query, errors='replace')}" if query else "")
        fields: dict[str, str] = {}
        body = b""
        if method in ("POST", "PUT") and is_protocol:
            body = draw.choice([b"", b"{}", b"[" * 2000, b'{"hulls":{"' + self.text().encode() + b'":""}}', b"\xff\n"])
            fields["Content-Digest"] = content_digest(body)
        elif method == "POST":
            form = {name: self.text() for name in draw.sample(FORM_NAMES, draw.randint(0, 8))}
            form["csrf"] = csrf if draw.random() < 0.7 else self.text()
            body = urlencode(form, errors="replace").encode()
            fields["Content-Type"] = "application/x-www-form-urlencoded"
        if who in TOKENS:
            fields |= {"Authorization": f"Bearer {TOKENS[who]}", DEVICE: "a client"}
        for name in draw.sample([*FIELDS], draw.randint(0, 3)):
            fields[name] = draw.choice(FIELDS[name])
        before = self.kept()
        sent: Any = {name.encode(): value.encode("latin-1") for name, value in fields.items()}
        answer = browser.client.request(method, address, content=body, headers=sent)
        self.tally.asked += 1
        self.tally.statuses[answer.status_code] += 1
        self.tally.routes.add(f"{method} {path}")
        told = f"{who}: {method} {address!a} {fields} {body[:200]!r} -> {answer.status_code}"
        for fault in self.faults_of(answer, path, who, before):
            self.tally.faults.append(Fault(fault, told))

    def kept(self) -> tuple[object, ...]:
        """All that a stranger must not change."""
        register = self.pages.store.register
        return self.pages.entries(), register.users(), [attrs.evolve(one, last_contact=0) for one in register.tablets()]

    def faults_of(self, answer: Any, path: str, who: str, before: tuple[object, ...]) -> Iterator[str]:
        if answer.status_code >= 500:
            yield f"status {answer.status_code}"
        if is_text := answer.headers.get("content-type", "").startswith(("text/html", "application/json")):
            yield from (f"tells {word!r}" for word in TRACE if word in answer.text)
        if is_text and "<script>alert" in answer.text:
            yield "markup of somebody else"
        where = answer.headers.get("location", "/")
        if not where.startswith("/") or where.startswith(("//", "/\\")):
            yield f"leads to {where!r}"
        if "x" in answer.headers.get_list("set-cookie"):
            yield "sets somebody else's cookie"
        is_page = answer.headers.get("content-type", "").startswith("text/html")
        if is_page and "frame-ancestors 'none'" not in answer.headers.get("content-security-policy", ""):
            yield "may be framed"
        if who in (NOBODY, "removed tablet"):
            if answer.status_code == 200 and path not in OPEN_TO_ALL:
                yield "shown to a stranger"
            if self.kept() != before:
                yield "changed by a stranger"


def ask_everything(folder: Path, host: PluginHost, rounds: int, leave_out: frozenset[str] = frozenset()) -> Tally:
    """The first part."""
    with small_shop(folder, host) as pages, server_log() as failures:
        strangers = Strangers(pages)
        for _ in range(rounds):
            strangers.round(leave_out)
        for record in failures:
            strangers.tally.faults.append(Fault("logged as a failure", record.getMessage()))
        return strangers.tally


# The wire

REQUESTS = (
    b"GET /versions HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",
    b"GET /v1/digests HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer " + b"t" * 43 + b"\r\nConnection: close\r\n\r\n",
    b"POST /v1/pair HTTP/1.1\r\nHost: x\r\nContent-Length: 2\r\nConnection: close\r\n\r\n{}",
    b"POST /v1/pair HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n"
    b"2;a=b\r\n{}\r\n0\r\nX: y\r\n\r\n",
    b"PUT /v1/attachments/" + b"0" * 64 + b"?from=0&of=2 HTTP/1.1\r\nHost: x\r\nContent-Length: 2\r\n\r\n{}",
    b"GET /versions HTTP/1.0\r\n\r\n",
)
PIECES = (
    b"\r",
    b"\n",
    b"\r\n",
    b"\r\n\r\n",
    b":",
    b" ",
    b"\t",
    b"\x00",
    b"\xff",
    b"HTTP/1.1",
    b"0",
    b"ffffffff",
    b"-",
    b",",
)


def mangle(shop: RunningShop, number: int, seed: int = SEED, wait: float = 0.3) -> Tally:
    """Send requests with some bytes changed; each must be answered below 500, or the connection closed.

    wait : for an answer, where the server may wait for the rest of the request [s]
    """
    draw, tally = random.Random(seed), Tally()
    for _ in range(number):
        said = bytearray(draw.choice(REQUESTS))
        for _ in range(draw.randint(1, 4)):
            place = draw.randint(0, len(said))
            said[place : place + draw.choice([0, 0, 1, 2, 20])] = draw.choice(PIECES) * draw.choice([1, 1, 1, 3, 200])
        heard = b""
        with (
            contextlib.suppress(OSError),
            believing().wrap_socket(socket.create_connection(("127.0.0.1", shop.port), 20)) as line,
        ):
            line.sendall(bytes(said))
            line.settimeout(wait)
            heard = line.recv(65536)
        status = int(heard[9:12]) if heard[9:12].isdigit() else 0
        tally.asked += 1
        tally.statuses[status] += 1
        tally.routes.add(heard[:9].decode("latin-1"))
        if (
            status >= 500
            or (heard and not heard.startswith(b"HTTP/1."))
            or any(word.encode() in heard for word in TRACE)
        ):
            tally.faults.append(Fault("answered wrongly", f"{bytes(said)!r} -> {heard[:200]!r}"))
    if ask_raw(shop.port, "GET", "/versions").status != 200:
        tally.faults.append(Fault("answers nobody any more", f"after {number} mangled requests"))
    return tally


# The door


def half_open(port: int, address: str, how: str) -> socket.socket:
    """A connection that never says what it wants."""
    line = socket.create_connection(("127.0.0.1", port), 20, source_address=(address, 0))
    if how == "tcp":
        return line
    if how == "half a handshake":
        line.sendall(b"\x16\x03\x01\x02\x00\x01\x00")
        return line
    tls = believing().wrap_socket(line)
    begun = {
        "tls": b"",
        "head": b"GET /versions HTTP/1.1\r\nHost: x\r\n",
        "body": b"POST /v1/pair HTTP/1.1\r\nHost: x\r\nContent-Length: 4000\r\n\r\n{",
    }
    tls.sendall(begun[how])
    return tls


def crowd(shop: RunningShop, number: int, how: str, addresses: int) -> tuple[int, int, float]:
    """Open so many connections, from so many addresses, and ask from another while they are open.

    returns : how often it was asked and answered, and the longest answer [s]
    """
    lines: list[socket.socket] = []
    asked = answered = 0
    longest = 0.0
    for count in range(number):
        high, low = divmod(count % addresses, 250)
        with contextlib.suppress(OSError, ssl.SSLError):
            lines.append(half_open(shop.port, f"127.0.{2 + high}.{1 + low}", how))
        if count % 50 == 49:
            began = time.monotonic()
            asked += 1
            answered += ask_raw(shop.port, "GET", "/versions").status == 200
            longest = max(longest, time.monotonic() - began)
    for line in lines:
        line.close()
    return asked, answered, longest


def main() -> int:
    """Both parts, with their counts."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--rounds", type=int, default=40)
    options.add_argument("--mangled", type=int, default=3000)
    options.add_argument("--connections", type=int, default=1000)
    chosen = options.parse_args()
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory() as where:
        tally = ask_everything(Path(where) / "asked", make_host(entry_points=False), chosen.rounds)
        print(tally)
        for fault in tally.faults[:20]:
            print(f"  {fault.what}: {fault.asked}")
        failed = bool(tally.faults)
        with RunningShop(Path(where) / "mangled") as shop, server_log() as failures:
            tally = mangle(shop, chosen.mangled)
            tally.faults += [Fault("logged as a failure", record.getMessage()) for record in failures]
        print(f"mangled on the wire: {tally}")
        for fault in tally.faults[:20]:
            print(f"  {fault.what}: {fault.asked}")
        failed |= bool(tally.faults)
        with RunningShop(Path(where) / "crowded") as shop:
            for addresses in (1, 500):
                for how in ("tcp", "half a handshake", "tls", "head", "body"):
                    asked, answered, longest = crowd(shop, chosen.connections, how, addresses)
                    print(
                        f"{chosen.connections} half-open ({how}) from {addresses} addresses: "
                        f"{answered} of {asked} answered, the slowest in {longest:.2f} s"
                    )
                    failed |= answered < asked
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
