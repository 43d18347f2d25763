"""What a shop server refuses: each with a short reason, nothing stored, no stack trace at the other end."""

from __future__ import annotations

import contextlib
import gc
import gzip
import hashlib
import json
import socket
import ssl
import threading
import unicodedata
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from campaigns.writers import entry_number
from examples import examples
from garboard.disk.entries import LARGEST_ENTRY, canonical_bytes
from garboard.disk.hullfile import HullFile
from garboard.shop_link import wire
from garboard.shop_link.pairing import PairedShop
from garboard_shop import app
from garboard_shop.app import PROTOCOL_ROUTES, Limits
from shop_rig import DROPPED, Heard, RunningShop, ask_raw, server_log, tls_to

HULL = "ABC00001A526"
GOOD = entry_number(1, HULL)
NAME = hashlib.sha256(b"a run").hexdigest()
LIMITS = Limits(body=100_000, hulls=50, ids=1000, hull=40, kind=30, attachment=50_000)
INSIDE = "a secret of the inside"
TRACE = ("Traceback", 'File "', ".py", "garboard_shop", "starlette", "uvicorn")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningShop]:
    with RunningShop(tmp_path_factory.mktemp("shop"), LIMITS) as running, server_log() as failures:
        yield running
        assert [record for record in failures if INSIDE not in str(record.exc_info)] == []


@pytest.fixture(scope="module")
def paired(shop: RunningShop) -> PairedShop:
    return shop.paired()


@pytest.fixture(autouse=True)
def _nothing_is_stored(shop: RunningShop, paired: PairedShop) -> Iterator[None]:
    """Before and after each test the shop holds nothing."""
    yield
    assert shop.store.digests() == {}
    assert shop.store.attachments.sizes() == {}
    assert ask_raw(shop.port, "GET", "/v1/digests", token=paired.token).status == 200


def refused(heard: Heard, status: int, reason: str) -> bool:
    assert heard.status == status, heard.text
    assert reason in json.loads(heard.text)["refused"]
    assert not [word for word in TRACE if word in heard.text]
    return True


def put_entries(shop: RunningShop, paired: PairedShop, body: bytes, **more: object) -> Heard:
    return ask_raw(shop.port, "POST", "/v1/entries", body, token=paired.token, **more)  # type: ignore[arg-type]


def respelled(**changes: object) -> bytes:
    """The good entry with fields changed, still canonical."""
    return json.dumps(
        {**json.loads(GOOD.raw), **changes}, ensure_ascii=False, sort_keys=True, separators=(",", ":")
    ).encode()


NOT_CANONICAL = {
    "spaces": json.dumps(json.loads(GOOD.raw), sort_keys=True).encode(),
    "unsorted keys": json.dumps(
        dict(reversed(json.loads(GOOD.raw).items())), ensure_ascii=False, separators=(",", ":")
    ).encode(),
    "a float": GOOD.raw.replace(b'"value":"1.5 kn"', b'"value":1.5'),
    "text not in form C": respelled(value=unicodedata.normalize("NFD", "Björk")),
    "an escape for a plain letter": GOOD.raw.replace(b'"by":"Ines"', b'"by":"\\u0049nes"'),
    "a key twice": GOOD.raw.replace(b'"by":"Ines"', b'"by":"Ines","by":"Ines"'),
    "a number that is none": GOOD.raw.replace(b'"value":"1.5 kn"', b'"value":NaN'),
    "an integer too large": respelled(value=2**53),
    "too deep": GOOD.raw.replace(b'"value":"1.5 kn"', b'"value":' + b"[" * 40 + b"]" * 40),
    "no hull": respelled(hull=""),
    "a hull number too long": respelled(hull="A" * 65),
    "no kind": respelled(kind=""),
    "format 0": respelled(v=0),
    "replaces what is no id": respelled(replaces=["../../etc"]),
    "not an object": b"[1,2]",
    "not JSON": b"{",
    "not UTF-8": GOOD.raw.replace(b"Ines", b"In\xff\xfes"),
    "larger than an entry may be": respelled(value="x" * LARGEST_ENTRY),
    "an empty line": b"",
}


@pytest.mark.parametrize("name", NOT_CANONICAL)
def test_an_entry_that_is_not_canonical_is_refused_by_name_with_the_reason(
    shop: RunningShop, paired: PairedShop, name: str
) -> None:
    raw = NOT_CANONICAL[name]
    assert raw != GOOD.raw
    heard = put_entries(shop, paired, wire.lines_of([raw]))
    assert heard.status == 200
    answer = json.loads(heard.text)
    assert (answer["kept"], answer["already"]) == (0, 0)
    ((found, reason),) = answer["refused"]
    assert found == hashlib.sha256(raw).hexdigest()[:32]
    assert "expected" in reason
    assert not [word for word in TRACE if word in heard.text]


def test_the_shop_computes_ids_itself(shop: RunningShop, paired: PairedShop, tmp_path: Path) -> None:
    """An altered entry is another entry: it cannot take the place of the one it was made from."""
    with RunningShop(tmp_path / "own") as own:
        mine = own.paired()
        altered = GOOD.raw.replace(b"1.5 kn", b"9.5 kn")
        for raw in (GOOD.raw, altered):
            assert json.loads(put_entries(own, mine, wire.lines_of([raw])).text)["kept"] == 1
        assert own.store.ids(HULL) == {GOOD.id, hashlib.sha256(altered).hexdigest()[:32]}
        assert own.store.get(HULL, [GOOD.id])[GOOD.id] == GOOD.raw


def test_one_bad_entry_does_not_keep_the_others_out(tmp_path: Path) -> None:
    with RunningShop(tmp_path) as own:
        paired = own.paired()
        good = [entry_number(number, HULL).raw for number in range(5)]
        body = wire.lines_of([*good[:2], NOT_CANONICAL["a float"], *good[2:]])
        answer = json.loads(put_entries(own, paired, body).text)
        assert answer["kept"] == 5
        assert len(answer["refused"]) == 1
        assert len(own.store.ids(HULL)) == 5


def test_a_request_sent_again_adds_nothing(tmp_path: Path) -> None:
    """A replay of a whole request, byte for byte."""
    with RunningShop(tmp_path) as own:
        paired = own.paired()
        body = wire.lines_of([entry_number(number, HULL).raw for number in range(5)])
        assert json.loads(put_entries(own, paired, body).text) == {"kept": 5, "already": 0, "refused": []}
        before = own.store.digests()
        assert json.loads(put_entries(own, paired, body).text) == {"kept": 0, "already": 5, "refused": []}
        assert own.store.digests() == before
        assert len(list(own.store.deliveries(0, own.now()))) == 1


def test_beyond_the_limits_of_a_hull_and_of_a_kind_entries_are_refused_by_name(tmp_path: Path) -> None:
    """30 of a kind and 40 in all: the 31st of a kind is refused, another kind still fits, the 41st of any does not."""
    with RunningShop(tmp_path, LIMITS) as own:
        paired = own.paired()
        measured = wire.lines_of([entry_number(number, HULL).raw for number in range(35)])
        answer = json.loads(put_entries(own, paired, measured).text)
        assert (answer["kept"], len(answer["refused"])) == (30, 5)
        assert all("of kind measure" in reason for _, reason in answer["refused"])
        others = wire.lines_of([respelled(kind="shop_tag", subject=[str(number)]) for number in range(15)])
        answer = json.loads(put_entries(own, paired, others).text)
        assert (answer["kept"], len(answer["refused"])) == (10, 5)
        assert all("holds 40 entries" in reason for _, reason in answer["refused"])
        assert len(own.store.ids(HULL)) == 40


@pytest.mark.parametrize(
    "path", ["/v1/entries", "/v1/diff", "/v1/sixteenths", f"/v1/attachments/{NAME}?from=0&of=5", "/v1/pair"]
)
class TestBodies:
    """Bodies that are not what they say."""

    def method(self, path: str) -> str:
        return "PUT" if "attachments" in path else "POST"

    def test_a_body_without_its_digest(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        heard = ask_raw(shop.port, self.method(path), path, b"a run", token=paired.token, prove=False)
        refused(heard, 400, "Content-Digest")

    def test_a_body_of_another_digest(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        wrong = {"Content-Digest": wire.content_digest(b"another")}
        heard = ask_raw(shop.port, self.method(path), path, b"a run", wrong, paired.token, prove=False)
        refused(heard, 400, "Content-Digest")

    def test_a_body_longer_than_allowed(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        heard = ask_raw(shop.port, self.method(path), path, b"x" * 100_001, token=paired.token)
        assert heard.status == DROPPED or refused(heard, 413, "bytes")

    def test_a_body_that_does_not_say_its_length(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        pieces = [b"x" * 10_000] * 20
        heard = ask_raw(shop.port, self.method(path), path, iter(pieces), token=paired.token)
        assert heard.status == DROPPED or refused(heard, 413, "bytes")

    def test_a_body_packed_in_an_unknown_way(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        packed = {"Content-Encoding": "br"}
        refused(ask_raw(shop.port, self.method(path), path, b"a run", packed, paired.token), 400, "gzip")

    def test_a_body_that_is_not_gzip(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        packed = {"Content-Encoding": "gzip"}
        refused(ask_raw(shop.port, self.method(path), path, b"a run", packed, paired.token), 400, "gzip")

    def test_gzip_that_ends_too_soon(self, shop: RunningShop, paired: PairedShop, path: str) -> None:
        packed, cut = {"Content-Encoding": "gzip"}, gzip.compress(b"a run" * 100)[:-9]
        refused(ask_raw(shop.port, self.method(path), path, cut, packed, paired.token), 400, "gzip")


def test_a_small_body_that_unpacks_to_more_than_allowed_is_refused_unpacked_no_further(
    shop: RunningShop, paired: PairedShop
) -> None:
    packed = zlib.compressobj(wbits=31)  # piece by piece: the test would hold it whole to the end of the run
    piece = b"\0" * (1 << 16)
    bomb = b"".join(packed.compress(piece) for _ in range(wire.LARGEST_TEXT // len(piece) + 1)) + packed.flush()
    assert len(bomb) < LIMITS.body
    refused(put_entries(shop, paired, bomb, fields={"Content-Encoding": "gzip"}), 400, "at most")


def test_a_stranger_makes_the_server_unpack_no_more_than_a_pairing_needs(shop: RunningShop) -> None:
    """4 kB of gzip held two million numbers, and reading them kept everybody waiting."""
    numbers = gzip.compress(b'{"secret":[' + b"1," * 10_000 + b"1]}")
    refused(ask_raw(shop.port, "POST", "/v1/pair", numbers, {"Content-Encoding": "gzip"}), 400, "at most 4096 bytes")
    known = {"secret": "0" * 10, "token": "n" * 43, "tablet": "dock", "device": "a1"}
    packed = gzip.compress(json.dumps(known).encode())
    refused(ask_raw(shop.port, "POST", "/v1/pair", packed, {"Content-Encoding": "gzip"}), 403, "code is wrong")


@pytest.mark.parametrize(
    ("body", "status", "reason"),
    [
        (b"\n" * (wire.MOST_ENTRIES + 1), 413, "at most 500 entries"),
        (GOOD.raw, 400, "no end"),
        (GOOD.raw + b"\n" + GOOD.raw[:50], 400, "no end"),
    ],
)
def test_entries_too_many_or_cut_off(
    shop: RunningShop, paired: PairedShop, body: bytes, status: int, reason: str
) -> None:
    refused(put_entries(shop, paired, body), status, reason)


@pytest.mark.parametrize(
    ("question", "status", "reason"),
    [
        (b"", 400, "expected JSON"),
        (b"[]", 400, "object"),
        (b"{}", 400, "digits"),
        (b'{"digits":8}', 400, "hulls"),
        (b'{"digits":5,"hulls":{}}', 400, "digits"),
        (b'{"digits":33,"hulls":{}}', 400, "digits"),
        (b'{"digits":true,"hulls":{}}', 400, "digits"),
        (b'{"digits":8,"hulls":[]}', 400, "hulls"),
        (b'{"digits":8,"hulls":{"A":5}}', 400, "a text for each"),
        (b'{"digits":8,"hulls":{"A":"0123456"}}', 400, "run together"),
        (b'{"digits":8,"hulls":{},"sixteenths":null}', 400, "sixteenths"),
        (b'{"digits":8,"hulls":{},"sixteenths":{"A":["0"]}}', 400, "a text for each"),
        (b'{"digits":8,"hulls":{},"sixteenths":{"A":"00"}}', 400, "each once"),
        (b'{"digits":8,"hulls":{},"sixteenths":{"A":"0g"}}', 400, "first characters"),
        (b"[" * 5000, 400, "expected JSON"),
        (wire.plain({"digits": 8, "hulls": {f"A{number}": "" for number in range(51)}}), 413, "50 hulls"),
        (wire.question({"A": [f"{number:032x}" for number in range(1001)]}, 32), 413, "1000 ids"),
    ],
)
def test_questions_that_make_no_sense(
    shop: RunningShop, paired: PairedShop, question: bytes, status: int, reason: str
) -> None:
    refused(ask_raw(shop.port, "POST", "/v1/diff", question, token=paired.token), status, reason)


@pytest.mark.parametrize(
    ("question", "status", "reason"),
    [
        (b"", 400, "expected JSON"),
        (b"{}", 400, "hulls"),
        (b'{"hulls":{"A":5}}', 400, "a text for each"),
        (b'{"hulls":{"A":"0123"}}', 400, "16 bucket digests"),
        (wire.by_hull({f"A{number}": "0" * 64 for number in range(51)}), 413, "50 hulls"),
    ],
)
def test_questions_about_buckets_that_make_no_sense(
    shop: RunningShop, paired: PairedShop, question: bytes, status: int, reason: str
) -> None:
    refused(ask_raw(shop.port, "POST", "/v1/sixteenths", question, token=paired.token), status, reason)


@pytest.mark.parametrize("path", ["/v1/diff", "/v1/sixteenths"])
def test_a_question_of_more_values_than_it_can_need_is_not_parsed(
    shop: RunningShop, paired: PairedShop, path: str
) -> None:
    """16 kB of gzip held five million lists, and reading them took half a gigabyte."""
    lists = gzip.compress(b'{"digits":8,"hulls":{},"more":[' + b"[]," * wire.MOST_VALUES + b"[]]}")
    heard = ask_raw(shop.port, "POST", path, lists, {"Content-Encoding": "gzip"}, paired.token)
    refused(heard, 400, "at most 100000 values")


def test_the_largest_question_there_is_is_parsed() -> None:
    hulls = [f"ABC{number:05d}A526" for number in range(Limits().hulls)]
    asked = wire.read_question(wire.question({hull: [GOOD.id] for hull in hulls}, 32, dict.fromkeys(hulls, "0af")))
    assert (len(asked.held), len(asked.buckets)) == (len(hulls), len(hulls))


def test_a_few_bodies_are_worked_on_at_once_and_the_others_wait_their_turn(
    shop: RunningShop, paired: PairedShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, may_end = threading.Semaphore(0), threading.Event()

    def slow(*_: object) -> object:
        begun.release()
        assert may_end.wait(60)
        return {}

    monkeypatch.setattr(app, "take_in", slow)
    with ThreadPoolExecutor() as pool:
        asked = [pool.submit(put_entries, shop, paired, GOOD.raw + b"\n") for _ in range(LIMITS.at_once + 3)]
        try:
            assert all(begun.acquire(timeout=60) for _ in range(LIMITS.at_once))
            assert ask_raw(shop.port, "GET", "/v1/digests", token=paired.token).status == 200, "it has no body"
            assert not begun.acquire(blocking=False)
        finally:
            may_end.set()
        assert [one.result().status for one in asked] == [200] * len(asked)


def test_hulls_that_nobody_has_leave_nothing_behind(shop: RunningShop, paired: PairedShop) -> None:
    """Asked for by number, by bucket, and named by entries that are refused: a manager's, from a technician."""
    hulls = [f"QQZ{number:05d}A526" for number in range(50)]
    decided = [respelled(kind="setting", hull=hull, subject=["prop_check.slip"]) for hull in hulls]
    before = files_in_memory()
    ask_raw(shop.port, "POST", "/v1/diff", wire.question({hull: [GOOD.id] for hull in hulls}, 8), token=paired.token)
    marks = wire.by_hull(dict.fromkeys(hulls, wire.bucket_digests([GOOD.id])))
    assert ask_raw(shop.port, "POST", "/v1/sixteenths", marks, token=paired.token).status == 200
    answer = json.loads(put_entries(shop, paired, wire.lines_of(decided)).text)
    assert len(answer["refused"]) == 50
    assert files_in_memory() == before


def files_in_memory() -> int:
    """How many hull files the process holds open or keeps in mind."""
    return sum(isinstance(one, HullFile) for one in gc.get_objects())


@pytest.mark.parametrize("hull", ["", "../../../etc/passwd", "\0", "ABC\n", "🚤", "A" * 1000])
def test_a_hull_that_is_none_is_answered_as_one_nobody_has(shop: RunningShop, paired: PairedShop, hull: str) -> None:
    question = wire.question({hull: [GOOD.id]}, 8)
    heard = ask_raw(shop.port, "POST", "/v1/diff", question, {"Accept-Encoding": "identity"}, paired.token)
    assert heard.status == 200
    assert wire.read_answer(heard.body).lines == []
    asked = wire.by_hull({hull: wire.bucket_digests([GOOD.id])})
    told = ask_raw(shop.port, "POST", "/v1/sixteenths", asked, {"Accept-Encoding": "identity"}, paired.token)
    assert told.status == 200
    assert wire.read_buckets(told.body).get(hull, "") in ("", GOOD.id[0])


@pytest.mark.parametrize(
    "name", ["..", "..%2f..%2fetc%2fpasswd", "register.json", NAME[:-1], NAME.upper(), NAME + "0", "%00" * 64]
)
@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT"])
def test_an_attachments_name_is_a_hash_and_nothing_else(
    shop: RunningShop, paired: PairedShop, name: str, method: str
) -> None:
    body = b"a run" if method == "PUT" else b""
    path = f"/v1/attachments/{name}?from=0&most=5&of=5"
    heard = ask_raw(shop.port, method, path, body, token=paired.token)
    assert heard.status == 404
    assert not [word for word in TRACE if word in heard.text]


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("", 400),
        ("?from=-1&of=5", 400),
        ("?from=0", 400),
        ("?from=0&of=x", 400),
        ("?from=0&of=99999999999999999999", 400),
        ("?from=0&of=50001", 413),
        ("?from=3&of=8", 409),
        ("?from=0&of=4", 409),
        ("?from=٠&of=5", 400),
    ],
)
def test_a_piece_out_of_place_or_too_large(shop: RunningShop, paired: PairedShop, query: str, status: int) -> None:
    from urllib.parse import quote

    path = f"/v1/attachments/{NAME}{quote(query, safe='?=&')}"
    heard = ask_raw(shop.port, "PUT", path, b"a run", token=paired.token)
    assert heard.status == status
    assert "refused" in json.loads(heard.text)
    assert shop.store.attachments.held(NAME) == 0


def test_an_attachment_that_is_not_what_its_name_says_is_dropped_and_the_true_one_taken(tmp_path: Path) -> None:
    with RunningShop(tmp_path) as own:
        paired = own.paired()
        path = f"/v1/attachments/{NAME}?from=0&of=5"
        refused(ask_raw(own.port, "PUT", path, b"a rum", token=paired.token), 422, "not what its name says")
        assert own.store.attachments.held(NAME) == 0
        assert ask_raw(own.port, "PUT", path, b"a run", token=paired.token).status == 200
        assert own.hulls.attachments.get(NAME) == b"a run"


@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"\r\n\r\n",
        b"GET",
        b"GET / HTTP/9.9\r\n\r\n",
        b"POST /v1/entries HTTP/1.1\r\nContent-Length:\r\n\r\n",
        b"POST /v1/entries HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n",
        b"POST /v1/entries HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello",
        b"POST /v1/entries HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nX: " + b"a" * 200_000,
        b"\x16\x03\x01\x00\x05hello" * 100,
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    ],
)
def test_what_is_not_http_ends_the_connection_and_nothing_else(shop: RunningShop, said: bytes) -> None:
    with tls_to(shop.port) as line:
        line.settimeout(0.5)
        heard = b""
        with contextlib.suppress(OSError):
            line.sendall(said)
            while more := line.recv(65536):
                heard += more
    assert not [word for word in TRACE if word.encode() in heard]
    assert not heard or heard.startswith((b"HTTP/1.1 4", b"HTTP/1.1 5"))


def test_older_tls_is_not_spoken(shop: RunningShop) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.maximum_version = ssl.TLSVersion.TLSv1_2
    with pytest.raises(ssl.SSLError), socket.create_connection(("127.0.0.1", shop.port), 10) as plain:
        context.wrap_socket(plain)


def test_a_failure_inside_is_told_in_a_sentence_and_logged_in_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with RunningShop(tmp_path) as own, server_log() as failures:
        paired = own.paired()

        def broken() -> dict[str, object]:
            raise RuntimeError(INSIDE)

        monkeypatch.setattr(own.store, "digests", broken)
        refused(ask_raw(own.port, "GET", "/v1/digests", token=paired.token), 500, "its log has the cause")
        assert any(record.exc_info and INSIDE in str(record.exc_info[1]) for record in failures)


METHODS_AND_PATHS = sorted(
    (method, route.path)  # type: ignore[attr-defined]
    for route in PROTOCOL_ROUTES
    for method in route.methods or ()  # type: ignore[attr-defined]
    if "pair" not in route.path  # type: ignore[attr-defined]
)
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["digits", "hulls", "kind", "hull", "v"]) | st.text(max_size=5), inner, max_size=4
        )
    ),
    max_leaves=10,
)
BODIES = st.binary(max_size=200) | JSON_VALUES.map(lambda value: json.dumps(value).encode() + b"\n")


@settings(max_examples=examples(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(METHODS_AND_PATHS), BODIES, st.binary(max_size=8), st.booleans())
def test_whatever_is_asked_is_answered_or_refused_and_never_breaks_the_server(
    shop: RunningShop, paired: PairedShop, route: tuple[str, str], body: bytes, name: bytes, packed: bool
) -> None:
    """Every route of the protocol with bodies, names and numbers nobody would send."""
    method, path = route
    where = path.replace("{name}", name.hex() or NAME).replace("{tablet}", name.hex() or "x")
    fields = {"Accept-Encoding": "identity", **({"Content-Encoding": "gzip"} if packed else {})}
    sent = gzip.compress(body) if packed else body
    heard = ask_raw(shop.port, method, f"{where}?from={len(body)}&of=9&most=9", sent, fields, paired.token)
    assert heard.status < 500
    assert not [word for word in TRACE if word in heard.text]


def test_the_fuzz_above_could_find_something(shop: RunningShop, paired: PairedShop) -> None:
    """An entry that is right would be kept by the same request: the refusals above are no accident."""
    canonical = canonical_bytes(json.loads(GOOD.raw))
    assert canonical == GOOD.raw
    question = wire.question({HULL: [GOOD.id]}, 8)
    heard = ask_raw(shop.port, "POST", "/v1/diff", question, {"Accept-Encoding": "identity"}, paired.token)
    assert wire.read_answer(heard.body).needs == {HULL: [GOOD.id[:8]]}
