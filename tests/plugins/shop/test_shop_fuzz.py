"""Requests nobody would send, against the protocol as its page states it, over real TLS.

What is expected comes from PROTOCOL.md, not from the server's code: the statuses are read from the page's table,
and which entries and attachments may be kept is told here with json and hashlib alone.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest
from hypothesis import HealthCheck, currently_in_test_context, event, example, given, settings
from hypothesis import strategies as st

import garboard_shop
from campaigns.writers import entry_number
from examples import examples
from garboard.shop_link.wire import MOST_VALUES, content_digest
from garboard_shop import access
from garboard_shop.app import Limits
from garboard_shop.postgres import PostgresStore
from garboard_shop.store import MANAGER, TECHNICIAN, Store, Tablet
from postgres_cluster import Cluster, why_not_here
from shop_rig import DROPPED, Heard, RunningShop, ask_raw, server_log

PAGE = (Path(garboard_shop.__file__).parent / "PROTOCOL.md").read_text(encoding="utf-8")
STATUSES = {int(one) for row in re.findall(r"^\| ([\d, ]+) \|", PAGE, re.M) for one in row.split(",")}
HULL = "ABC00001A526"
CONTENT = b"a run at full throttle"
NAME = hashlib.sha256(CONTENT).hexdigest()
TOKENS = {
    "technician": "t" * 43,
    "manager": "m" * 43,
    "removed": "r" * 43,
    "unknown": "u" * 43,
    "short": "x",
    "none": "",
}
TRACE = ("Traceback", 'File "', ".py", "garboard_shop", "starlette", "uvicorn", "psycopg")
LARGE = 40_000
"""Past this the server may close before all of the body was sent [bytes]."""


def test_the_page_states_the_limits_that_hold() -> None:
    limits = Limits()
    stated = {
        f"{limits.body >> 20} MiB as sent",
        f"name {limits.hulls:_} hulls and {limits.ids:_} ids".replace("_", " "),
        f"{limits.answer >> 20} MiB an",
        f"{limits.hull:_} entries a hull, {limits.kind:_} of one kind".replace("_", " "),
        f"At most {limits.attachment >> 20} MiB each",
        f"works on {limits.at_once} requests with a body at once",
        f"may have {MOST_VALUES:_} JSON values".replace("_", " "),
    }
    assert {one for one in stated if one not in PAGE} == set()


@attrs.frozen
class Asked:
    """One request."""

    method: str
    path: str
    body: bytes
    fields: dict[str, str]
    who: str


# What is asked

TEXTS = st.text(max_size=12) | st.sampled_from(
    ["\x00", "\ud800", "é", "e\u0301", "\U0001f6a4", HULL, "A" * 300, "../.."]
)
NUMBERS = st.integers() | st.sampled_from([2**53, -(2**63), 10**400, 0, 6, 8, 32]) | st.floats()
VALUES = st.recursive(
    st.none() | st.booleans() | NUMBERS | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=8,
)
GOOD = st.integers(0, 400).map(lambda number: entry_number(number, HULL).raw)


def dumped(value: object) -> bytes:
    return json.dumps(value).encode()


@st.composite
def spoilt_entries(draw: st.DrawFn) -> bytes:
    """A good entry with one field or one byte changed; often still an entry, then another one."""
    raw = draw(GOOD)
    if draw(st.booleans()):
        place = draw(st.integers(0, len(raw) - 1))
        return (raw[:place] + draw(st.binary(max_size=2)) + raw[place + 1 :]).replace(b"\n", b"")
    fields = {
        **json.loads(raw),
        draw(st.sampled_from(["v", "kind", "hull", "value", "replaces", "at", "more"])): draw(VALUES),
    }
    if draw(st.booleans()):
        return dumped(fields)
    return json.dumps(fields, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode(
        "utf-8", "surrogatepass"
    )


DEEP = st.integers(10, 3000).map(lambda levels: b"[" * levels + b"]" * levels)
LINES = st.lists(GOOD | GOOD | spoilt_entries() | VALUES.map(dumped) | DEEP, min_size=1, max_size=4)
ENTRIES = LINES.map(lambda lines: b"".join(line + b"\n" for line in lines))
BEGINNINGS = st.text("0123456789abcdef", max_size=40) | TEXTS
QUESTIONS = st.fixed_dictionaries(
    {"digits": st.sampled_from([6, 8, 32]) | VALUES, "hulls": st.dictionaries(TEXTS, BEGINNINGS, max_size=3) | VALUES},
    optional={"sixteenths": st.dictionaries(TEXTS, st.sampled_from(["", "0", "7af"]) | TEXTS, max_size=3) | VALUES},
).map(dumped)
MARKED = st.text("0123456789abcdef", min_size=64, max_size=64) | TEXTS
MARKS = st.fixed_dictionaries({"hulls": st.dictionaries(TEXTS, MARKED, max_size=3) | VALUES}).map(dumped)
PAIRINGS = st.fixed_dictionaries(
    {
        "secret": st.sampled_from(["0" * 10, "\ud800"]) | TEXTS | VALUES,
        "token": st.sampled_from(["n" * 43, "n" * 43, "\ud800" * 50]) | TEXTS | VALUES,
        "tablet": st.sampled_from(["dock", "dock", "\x00"]) | TEXTS | VALUES,
        "device": st.sampled_from(["a1", "a1", "\x00", " "]) | TEXTS | VALUES,
    }
).map(dumped)
LONGER_THAN_PYTHON_READS = b'{"digits":1' + b"0" * 5000 + b',"hulls":{}}'
ANYTHING = st.one_of(
    st.binary(max_size=200), VALUES.map(dumped), DEEP, st.sampled_from([LONGER_THAN_PYTHON_READS, b"x" * 120_000])
)
PIECES = st.sampled_from([CONTENT, CONTENT[:5], CONTENT[5:], b"another"]) | st.binary(max_size=30)
NAMES = st.sampled_from(
    [*[NAME] * 5, NAME.upper(), NAME[:-1], "..%2F..%2Fregister.json", "%00", "%FF%FE"]
) | st.from_regex(r"\A[0-9a-f]{64}\Z")
PLACES = st.sampled_from(
    ["0", "0", "0", "5", "5", *[str(len(CONTENT))] * 4, "-1", "1e3", "", "9" * 15, "9" * 40, "%D9%A0"]
)
PATHS = st.from_regex(r"\A/[A-Za-z0-9/._~%?=&+-]{0,20}\Z") | st.sampled_from(
    [
        "/",
        "/v1",
        "/v1/",
        "/v2/digests",
        "/v1/digests/",
        "//v1/digests",
        "/v1/../v1/digests",
        "*",
        "/v1/tablets/%00/remove",
    ]
)


@st.composite
def routes(draw: st.DrawFn) -> tuple[str, str, st.SearchStrategy[bytes]]:
    """A method and path of the page's, and bodies for it."""
    place = f"/v1/attachments/{draw(NAMES)}?from={draw(PLACES)}"
    tablet = draw(st.sampled_from(["victim", "removed", "%00", "%ED%A0%80", "nobody"]))
    told = draw(
        st.sampled_from(
            ["/versions", "/v1/digests", "/v1/attachments", "/v1/plugins", "/v1/tablets", f"{place}&most=5"]
        )
    )
    nothing = st.just(b"")
    entries = ("POST", "/v1/entries", ENTRIES)
    piece = ("PUT", f"{place}&of={draw(PLACES)}", PIECES)
    question = draw(st.sampled_from([("POST", "/v1/diff", QUESTIONS), ("POST", "/v1/sixteenths", MARKS)]))
    others = [
        ("GET", told, nothing),
        ("HEAD", place, nothing),
        ("GET", f"{place}&most={draw(PLACES)}", nothing),
        ("POST", "/v1/pair", PAIRINGS),
        ("POST", f"/v1/tablets/{tablet}/remove", nothing),
    ]
    return draw(st.sampled_from([entries] * 4 + [piece] * 3 + [question] * 2 + others))


ASKING = ("/v1/diff", "/v1/sixteenths")
METHODS = st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW", "get"])
STRANGE = {
    "Garboard-Time": ["", "-1", "9" * 15, "9" * 400, "soon", "\u00b2", "0"],
    "Accept-Encoding": ["gzip", "identity", "br", "gzip;q=0", "\xff"],
    "If-None-Match": ['"', "*", '"' + "0" * 64 + '"', "\xff"],
    "Content-Type": ["application/json", "text/plain; charset=utf-16", "multipart/form-data"],
    "Garboard-Device": ["", " ", "x" * 65, "\xff", "another", "manager"],
    "Range": ["bytes=0-1", "bytes=9-1"],
    "Expect": ["100-continue"],
}


@st.composite
def requests(draw: st.DrawFn) -> Asked:
    """Mostly a route of the page's with a body made for it, rightly sent by someone paired; each part may be spoilt."""
    method, path, bodies = draw(routes())
    body = draw(st.one_of(bodies, bodies, bodies, ANYTHING))
    spoilt = draw(st.sampled_from([""] * 10 + ["method", "path", "digest", "packing", "cut", "no digest"]))
    if spoilt == "method":
        method = draw(METHODS)
    if spoilt == "path":
        path = draw(PATHS)
    fields = {name: draw(st.sampled_from(values)) for name, values in STRANGE.items() if draw(st.integers(0, 4)) == 0}
    sent = body
    if body and draw(st.booleans()):
        sent, fields["Content-Encoding"] = gzip.compress(body), "gzip"
    if spoilt == "cut" and body:
        sent, fields["Content-Encoding"] = gzip.compress(body)[: -draw(st.integers(1, 12))], "gzip"
    if spoilt == "packing":
        fields["Content-Encoding"] = draw(st.sampled_from(["br", "deflate", "gzip, gzip", "\xff", "gzip"]))
    if sent and spoilt != "no digest":
        fields["Content-Digest"] = content_digest(sent if spoilt != "digest" else sent + b".")
    who = draw(st.sampled_from(["technician"] * 8 + ["manager"] * 8 + [*TOKENS]))
    return Asked(method, path, sent, fields, who)


# What may come of it


@attrs.frozen
class Stored:
    """All that a shop keeps, without when it last heard of whom and without tries left."""

    entries: frozenset[bytes]
    sizes: dict[str, int]
    held: int
    tablets: dict[str, tuple[str, str, bool]]
    plugins: int


def stored(store: Store, asked_for: str = NAME) -> Stored:
    """What is kept now, with the bytes held of one attachment, finished or arriving."""
    entries = {raw for hull in store.digests() for raw in store.get(hull, store.ids(hull)).values()}
    tablets = {one.id: (one.token_hash, one.role, one.is_removed) for one in store.register.tablets()}
    sizes, held = dict(store.attachments.sizes()), store.attachments.held(asked_for)
    return Stored(frozenset(entries), sizes, held, tablets, len(store.register.plugins()))


def is_proved(asked: Asked) -> bytes | None:
    """The body as the page says to read it; None when nothing of it may be used."""
    if asked.body and asked.fields.get("Content-Digest") != content_digest(asked.body):
        return None
    packing = asked.fields.get("Content-Encoding", "") if asked.body else ""
    if packing not in ("", "identity", "gzip"):
        return None
    try:
        return gzip.decompress(asked.body) if packing == "gzip" else asked.body
    except (OSError, EOFError):
        return None


def is_canonical(raw: bytes) -> bool:
    """Whether parsing and writing again, keys sorted and in form C, gives the same bytes."""
    try:
        text = raw.decode()
        again = json.dumps(json.loads(text), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    except (ValueError, RecursionError):
        return False
    return again == text == unicodedata.normalize("NFC", text)


def check_changes(asked: Asked, heard: Heard, before: Stored, after: Stored) -> None:
    """Nothing stored changes, unless the request was one that the page lets change it."""
    changed = {name for name, value in attrs.asdict(after).items() if value != attrs.asdict(before)[name]}
    body = is_proved(asked)
    path = asked.path.partition("?")[0]
    if heard.status != 200 or body is None or path in ASKING or asked.method not in ("POST", "PUT"):
        assert not changed or (heard.status == 422 and changed <= {"held"}), (changed, heard)
    elif path == "/v1/entries":
        assert changed <= {"entries"}
        lines = body.splitlines(keepends=False) if body.endswith(b"\n") else []
        assert before.entries < after.entries or not changed
        assert all(raw in body.split(b"\n") and is_canonical(raw) for raw in after.entries - before.entries), lines
        good = {entry_number(number, HULL).raw for number in range(401)}
        assert good & set(body.split(b"\n")) <= after.entries
        assert json.loads(heard.text)["kept"] == len(after.entries - before.entries)
    elif path.startswith("/v1/attachments/"):
        assert changed <= {"sizes", "held"}
        assert all(
            hashlib.sha256(body).hexdigest() == name or name == NAME for name in after.sizes.keys() - before.sizes
        )
    elif path == "/v1/pair":
        assert changed <= {"tablets"}
    else:
        assert changed <= {"tablets"}
        assert asked.who == "manager"


def check_answer(asked: Asked, heard: Heard) -> None:
    """A documented status; a refusal of the documented shape, one sentence and nothing of the inside."""
    if heard.status == DROPPED:
        assert len(asked.body) > LARGE
        return
    assert heard.status in STATUSES
    assert heard.status < 500
    assert not [word for word in TRACE if word in heard.text]
    assert not [token for token in TOKENS.values() if len(token) > 1 and token in heard.text]
    if heard.status >= 400 and asked.method != "HEAD":
        told = json.loads(heard.text)
        assert told.keys() == {"refused"}
        assert isinstance(told["refused"], str)
        assert told["refused"]
    path = asked.path.partition("?")[0]
    if asked.who not in ("technician", "manager") and path.startswith("/v1/") and path != "/v1/pair":
        assert heard.status >= 400


# The shops


def open_to(store: Store, now: int) -> None:
    """Tablets known by the tokens above, and one that a manager may remove."""
    known = {one.id for one in store.register.tablets()}
    for name, role in (("technician", TECHNICIAN), ("manager", MANAGER), ("removed", MANAGER)):
        if name not in known:
            token = access.hashed(TOKENS[name])
            store.register.add_tablet(Tablet(id=name, name=name, role=role, token_hash=token, paired_at=now))
    if "removed" not in known:
        store.register.remove_tablet("removed", "a test", now)
        victim = access.hashed("v" * 43)
        store.register.add_tablet(Tablet(id="victim", name="v", role=TECHNICIAN, token_hash=victim, paired_at=now))


LIMITS = Limits(body=100_000, hulls=50, ids=1000, attachment=50_000)


@pytest.fixture(scope="module")
def in_a_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningShop]:
    with RunningShop(tmp_path_factory.mktemp("folder"), LIMITS) as shop, server_log() as failures:
        open_to(shop.store, shop.now())
        yield shop
        assert failures == []


@pytest.fixture(scope="module")
def in_postgresql(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningShop]:
    if reason := why_not_here():
        pytest.skip(reason)
    with Cluster() as cluster:
        store = PostgresStore(cluster.database())
        with RunningShop(tmp_path_factory.mktemp("postgresql"), LIMITS, store) as shop, server_log() as failures:
            open_to(shop.store, shop.now())
            yield shop
            assert failures == []


def ask(shop: RunningShop, asked: Asked) -> Heard:
    return ask_raw(shop.port, asked.method, asked.path, asked.body, asked.fields, TOKENS[asked.who], prove=False)


def check(shop: RunningShop, asked: Asked) -> None:
    name = re.search(r"/([0-9a-f]{64})\?", asked.path)
    asked_for = name[1] if name else NAME
    before = stored(shop.store, asked_for)
    heard = ask(shop, asked)
    if currently_in_test_context():
        event(f"{asked.method} {heard.status}")
    check_answer(asked, heard)
    check_changes(asked, heard, before, stored(shop.store, asked_for))


def posted(path: str, body: bytes, who: str = "technician") -> Asked:
    return Asked("POST", path, body, {"Content-Digest": content_digest(body)}, who)


NO_TEXT = posted("/v1/pair", dumped({"secret": "\ud800", "token": "n" * 43, "tablet": "dock", "device": "d"}), "none")
NO_TOKEN = posted(
    "/v1/pair", dumped({"secret": "0" * 10, "token": "\ud800" * 50, "tablet": "dock", "device": "d"}), "none"
)
NO_HULL = posted("/v1/diff", dumped({"digits": 6, "hulls": {"\ud800": "", "\x00": "0" * 6}}))
NO_MARKED_HULL = posted("/v1/sixteenths", dumped({"hulls": {"\ud800": "0" * 64, "\x00": "0" * 64}}))
TOO_LONG_A_NUMBER = posted("/v1/diff", LONGER_THAN_PYTHON_READS)
NO_TABLET = Asked("POST", "/v1/tablets/%00/remove", b"", {}, "manager")
bounded = settings(max_examples=examples(200), deadline=None, suppress_health_check=list(HealthCheck))


@bounded
@given(requests())
@example(NO_TEXT)
@example(NO_TOKEN)
@example(NO_HULL)
@example(NO_MARKED_HULL)
@example(TOO_LONG_A_NUMBER)
@example(NO_TABLET)
def test_whatever_is_asked_of_a_shop_in_a_folder_the_page_says_what_comes_of_it(
    in_a_folder: RunningShop, asked: Asked
) -> None:
    check(in_a_folder, asked)


@settings(bounded, max_examples=examples(150))
@given(requests())
@example(NO_TEXT)
@example(NO_TOKEN)
@example(NO_HULL)
@example(NO_MARKED_HULL)
@example(TOO_LONG_A_NUMBER)
@example(NO_TABLET)
def test_whatever_is_asked_of_a_shop_in_postgresql_the_page_says_what_comes_of_it(
    in_postgresql: RunningShop, asked: Asked
) -> None:
    check(in_postgresql, asked)


def test_rightly_made_each_such_request_does_change_what_is_stored(in_a_folder: RunningShop) -> None:
    """The checks above see a change where there is one: entries, an attachment, a pairing, a removal."""
    shop = in_a_folder
    removable = Tablet(id="next", name="n", role=TECHNICIAN, token_hash=access.hashed("w" * 43), paired_at=shop.now())
    shop.store.register.add_tablet(removable)
    pairing = {"secret": shop.code().secret, "token": "p" * 43, "tablet": "dock", "device": "d"}
    for path, method, body in (
        ("/v1/entries", "POST", entry_number(1000, HULL).raw + b"\n"),
        (f"/v1/attachments/{hashlib.sha256(b'another').hexdigest()}?from=0&of=7", "PUT", b"another"),
        ("/v1/pair", "POST", dumped(pairing)),
        ("/v1/tablets/next/remove", "POST", b""),
    ):
        fields = {"Content-Digest": content_digest(body)} if body else {}
        before = stored(shop.store)
        check(shop, Asked(method, path, body, fields, "manager"))
        assert stored(shop.store) != before, path
