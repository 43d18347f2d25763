"""The shop server as an ASGI application: the protocol of PROTOCOL.md over any store. Pages mount beside it."""

from __future__ import annotations

import asyncio
import logging
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, suppress
from functools import partial
from types import MappingProxyType
from typing import NamedTuple, TypeVar

import attrs
from anyio import CapacityLimiter
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route
from starlette.types import Receive, Scope, Send

from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.clock import wall_milliseconds
from garboard.disk.entries import Entry, entry_id, file_in_words, hull_key_of, view
from garboard.disk.hullfile import CheckedEntries
from garboard.disk.partial_upload import OutOfPlace
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.faults import GarboardError, InputError, in_words
from garboard.findings import rounded
from garboard.history.authority import is_managers, managers_part
from garboard.history.registers import name_of, register_of
from garboard.records import JsonValue
from garboard.shop_link import wire
from garboard.shop_link.shop_plugins import ApprovedPlugin
from garboard.shop_link.wire import Differences, Garbled, Question
from garboard_shop import access
from garboard_shop.naming import UNNAMED
from garboard_shop.program_files import CHANGED, ProgramFiles
from garboard_shop.store import MANAGER, ROLES, MustWait, Store, StoreAway, Tablet, counted_as, managers_devices

SMALL_ENTRY = 100
"""No entry is smaller [bytes]."""
LONGEST_REQUEST = 60.0
"""How long a body may take to come [s]."""
LARGEST_PAIRING = 4096
"""Bytes of a pairing request, as sent and unpacked: whoever asks is a stranger."""
SECONDS_TO_PAIR = 10.0
"""How long its body may take to come [s]."""

NONE: Mapping[str, str] = MappingProxyType({})
NO_IDS: frozenset[str] = frozenset()
CLOSE: Mapping[str, str] = MappingProxyType({"Connection": "close"})

_DEVICE = re.compile(r"[!-~](?:[ -~]{0,62}[!-~])?")

log = logging.getLogger("garboard.shop")
Result = TypeVar("Result")
Lost = Callable[[Request, int], Awaitable[Response]]


@attrs.frozen(kw_only=True)
class Limits:
    """What one tablet may ask of the shop. Entries beyond them are refused by name and stay on the tablet.

    body       : bytes of one request as sent
    hulls      : hulls in one question
    ids        : ids in one question
    answer     : bytes of entries in one answer; more are fetched by asking again
    hull       : entries of one hull
    kind       : entries of one kind in one hull, so that a plugin gone wild leaves room for the others
    attachment : bytes of one attachment
    at_once    : requests unpacked and worked on at the same time: each may take several hundred MB while it is
    """

    body: int = wire.LARGEST_BODY
    hulls: int = 20_000
    ids: int = 200_000
    answer: int = wire.LARGEST_BATCH
    hull: int = 200_000
    kind: int = 100_000
    attachment: int = wire.LARGEST_ATTACHMENT
    at_once: int = 4


@attrs.frozen(kw_only=True)
class Shop:
    """What every answer needs."""

    store: Store
    name: Callable[[], str]
    limits: Limits
    now: Callable[[], int]
    program: ProgramFiles | None = None
    told: Callable[[str], str] = str
    _room: list[CapacityLimiter] = attrs.field(init=False, factory=list)

    def room(self) -> CapacityLimiter:
        """For requests with a body. Made when a server runs: it belongs to its event loop."""
        if not self._room:
            self._room.append(CapacityLimiter(self.limits.at_once))
        return self._room[0]


class Refusal(GarboardError):
    """The request is refused; the reason is for the person at the other end."""

    def __init__(self, status: int, reason: str, fields: Mapping[str, str] = NONE) -> None:
        self.status, self.reason, self.fields = status, reason, fields
        super().__init__(reason)


class Asked(NamedTuple):
    """A request, proved: who asks, how far the clock there is off [ms], and the body."""

    tablet: Tablet
    clock_offset: int
    body: bytes


def make_app(
    store: Store,
    *,
    name: Callable[[], str] = lambda: UNNAMED,
    limits: Limits | None = None,
    now: Callable[[], int] = wall_milliseconds,
    routes: Sequence[BaseRoute] = (),
    lost: Lost | None = None,
    program: ProgramFiles | None = None,
    told: Callable[[str], str] = str,
) -> Starlette:
    """The application.

    store  : where everything is kept; `app.state.shop.store` for pages
    name   : what tablets call the shop
    now    : the shop's wall time [ms since 1970-01-01 UTC]
    routes : further routes, for pages; they do their own sign-in
    lost   : the page a browser gets for an address or a method nobody knows; None for no pages
    program : the program's own files, to tell why a request fails once these are changed; None where nobody looks
    told   : the name of a value, as `registers.name_of` gives it, in words
    """

    async def no_such_thing(request: Request, failure: Exception) -> Response:
        status = failure.status_code if isinstance(failure, HTTPException) else 404
        if lost is not None and _wants_a_page(request):
            return await lost(request, status)
        return _json(request, {"refused": "this address does not exist"}, status=status)

    app = Starlette(routes=[*PROTOCOL_ROUTES, *routes], exception_handlers={HTTPException: no_such_thing})
    app.router.redirect_slashes = False  # an address is right or it is not; the protocol knows no third way
    app.state.shop = Shop(store=store, name=name, limits=limits or Limits(), now=now, program=program, told=told)
    return app


async def versions(request: Request) -> Response:
    """What protocols are spoken here."""
    return _json(request, {"garboard": "shop server", "protocols": [wire.PROTOCOL]})


async def pair(request: Request) -> Response:
    """A code's secret for a place among the tablets. The one thing an unpaired tablet may ask."""
    shop = _shop(request)
    sent = await _sent(request, LARGEST_PAIRING, SECONDS_TO_PAIR)
    fields = wire.read_object(await _unpacked(request, sent, LARGEST_PAIRING))
    secret, token = wire.text_in(fields, "secret"), wire.text_in(fields, "token", access.LONGEST_TOKEN)
    name = " ".join(wire.text_in(fields, "tablet", 60).split())
    if not name.isprintable() or not name:
        raise Garbled("tablet: expected a name")
    if len(token) < access.SHORTEST_TOKEN:
        raise Garbled(f"token: expected at least {access.SHORTEST_TOKEN} characters")
    device = _device(str(fields.get("device") or ""))
    address = request.client.host if request.client else ""
    try:
        tablet = await run_in_threadpool(
            partial(access.admit, device=device, address=address),
            shop.store.register, secret, token, name, shop.now(),
        )  # fmt: skip
    except MustWait as wait:
        seconds = max(1, -(-(wait.until - shop.now()) // 1000))
        reason = f"too many wrong codes came from this address: wait {-(-seconds // 60)} min, then try again"
        raise Refusal(429, reason, {"Retry-After": str(seconds)}) from None
    if tablet is None:
        raise Refusal(403, "the code is wrong, used or expired: get a new one at the shop server")
    return _json(request, {"shop": shop.name(), "tablet": tablet.id, "role": tablet.role})


async def digests(request: Request) -> Response:
    """What is held of each hull; and, since every coming ashore begins here, the asker's role and who decides."""
    shop = _shop(request)
    tablet = (await _asked(request)).tablet
    devices = await run_in_threadpool(managers_devices, shop.store.register)
    role = {wire.ROLE: tablet.role, wire.MANAGERS: wire.names(devices)}
    held = await run_in_threadpool(shop.store.digests)
    as_pairs = {hull: (holding.digest[: wire.DIGEST_DIGITS], holding.entries) for hull, holding in held.items()}
    tag = wire.whole_state(as_pairs)
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={**_common(shop), **role})
    return _json(request, wire.digests_to_plain(as_pairs), fields={"ETag": tag, **role})


async def buckets(request: Request) -> Response:
    """Of some hulls, the hash buckets in which the tablet and the shop differ."""
    shop = _shop(request)
    asked = await _asked(request)
    theirs = await run_in_threadpool(wire.read_bucket_digests, asked.body)
    if len(theirs) > shop.limits.hulls:
        raise Refusal(413, f"at most {shop.limits.hulls} hulls in one question")
    return _packed(request, wire.by_hull(await run_in_threadpool(differing_buckets_of, shop.store, theirs)))


def differing_buckets_of(store: Store, theirs: Mapping[str, str]) -> dict[str, str]:
    """By hull, first characters of the hash buckets whose digests differ; hulls that cannot be read are left out.

    theirs : by hull, the digests of its buckets as the tablet holds them
    """
    found: dict[str, str] = {}
    maybe_held = store.maybe_held(theirs)
    for hull, marked in theirs.items():
        with suppress(NewerFormat, InputError):
            held = store.ids(hull) if hull in maybe_held else NO_IDS
            found[hull] = wire.differing_buckets(marked, wire.bucket_digests(held))
    return found


async def diff(request: Request) -> Response:
    """Entries the tablet does not hold, and beginnings of the ids it holds and the shop does not."""
    shop = _shop(request)
    asked = await _asked(request)
    question = await run_in_threadpool(wire.read_question, asked.body)
    if len(question.held) > shop.limits.hulls or sum(map(len, question.held.values())) > shop.limits.ids:
        raise Refusal(413, f"at most {shop.limits.hulls} hulls and {shop.limits.ids} ids in one question")
    differences = await run_in_threadpool(differences_of, shop.store, question, shop.limits.answer)
    return _packed(request, wire.answer(differences))


def differences_of(store: Store, question: Question, room: int) -> Differences:
    """Compare what a tablet holds of some hulls with what the shop holds.

    room : bytes of entries to answer with; at least one is
    """
    theirs, digits, _ = question
    needs: dict[str, list[str]] = {}
    left: dict[str, int] = {}
    lines: list[bytes] = []
    maybe_held = store.maybe_held(theirs)
    for hull in sorted(theirs):
        if room <= 0:  # not even looked at: the tablet asks again
            left[hull] = 1
            continue
        try:
            ids = store.ids(hull) if hull in maybe_held else NO_IDS
            held = wire.in_buckets(ids, question.buckets.get(hull, ""))
        except (NewerFormat, InputError):
            continue
        if missing := theirs[hull] - {name[:digits] for name in held}:
            needs[hull] = sorted(missing)
        offered = sorted(name for name in held if name[:digits] not in theirs[hull])
        if not offered:
            continue
        entries = store.get(hull, offered[: room // SMALL_ENTRY + 1])
        taken = 0
        for raw in entries.values():
            if room <= 0:
                break
            lines.append(raw)
            room -= len(raw)
            taken += 1
        if taken < len(offered):
            left[hull] = len(offered) - taken
    return Differences(needs, left, lines)


async def entries(request: Request) -> Response:
    """Entries a tablet brings. Those kept are on the disk when the answer goes out."""
    shop = _shop(request)
    asked = await _asked(request)
    if asked.body.count(b"\n") > wire.MOST_ENTRIES:
        raise Refusal(413, f"at most {wire.MOST_ENTRIES} entries in one request")
    lines = wire.read_lines(asked.body)
    return _json(request, await run_in_threadpool(take_in, shop, asked, lines))


def take_in(shop: Shop, asked: Asked, lines: Sequence[bytes]) -> JsonValue:
    """Keep the entries that are canonical, new, within the limits, and the tablet's to bring.

    returns : {"kept": new ones, "already": known ones, "refused": [[id, reason]]}
    """
    offered: dict[str, dict[str, bytes]] = {}
    refused: list[JsonValue] = []
    for raw in lines:
        try:
            offered.setdefault(hull_key_of(raw), {})[entry_id(raw)] = raw
        except InputError as reason:
            refused.append([entry_id(raw), in_words(reason)])
    within: dict[str, CheckedEntries] = {}
    maybe_held = shop.store.maybe_held(offered)
    for hull, found in offered.items():
        try:
            held = shop.store.ids(hull) if hull in maybe_held else NO_IDS
            new = [view(name, found[name]) for name in sorted(found.keys() - held)]
            over = _left_to_manager(shop, asked.tablet, hull, new)
            kinds = dict(shop.store.kinds(hull)) if held and new else {}
            over |= _beyond_limits(shop, hull, [entry for entry in new if entry.id not in over], kinds)
        except NewerFormat as reason:
            over = dict.fromkeys(found, in_words(reason))
        refused += [[name, why] for name, why in over.items()]
        if kept := CheckedEntries((name, raw) for name, raw in found.items() if name not in over):
            within[hull] = kept
    put = shop.store.put_if_absent(within, asked.tablet.id, shop.now(), asked.clock_offset)
    refused += [[name, in_words(reason)] for name, reason in put.refused]
    known = sum(map(len, within.values())) - len(put.added) - len(put.refused)
    return {"kept": len(put.added), "already": known, "refused": refused}


def _left_to_manager(shop: Shop, tablet: Tablet, hull: str, new: Sequence[Entry]) -> dict[str, str]:
    """Entries that are a manager's to write and came from another's tablet, with the reason.

    Those a manager wrote, or the shop itself, are taken from every tablet: a restored shop gets them back from
    whichever comes first. Not from a tablet that itself writes as that manager: it is a copy of the manager's.
    """
    if tablet.role == MANAGER:
        return {}
    brought = {entry.id: entry for entry in new}
    writers: frozenset[str] | None = None
    left: dict[str, str] = {}
    for entry in new:
        replaced: list[Entry] = []
        if entry.kind == "retract":
            held = shop.store.get(hull, entry.replaces)
            replaced = [view(name, raw) for name, raw in held.items()]
            replaced += [brought[name] for name in entry.replaces if name in brought]
        part = managers_part(entry, replaced)
        if part and writers is None:
            writers = managers_devices(shop.store.register).difference(tablet.writes_as)
        if part and writers is not None and not is_managers(entry, writers):
            key = register_of(entry)
            is_value = key.kind in ("measure", "field")
            about = shop.told(name_of(key)) if is_value else " ".join(filter(None, entry.subject)).replace("_", " ")
            left[entry.id] = (
                f"{file_in_words(hull)}, {about or entry.kind}: only a manager's tablet {part}. "
                "Ask for the manager's role, or let the manager decide it on the day sheet"
            )
    return left


def _beyond_limits(shop: Shop, hull: str, new: Sequence[Entry], kinds: dict[str, int]) -> dict[str, str]:
    """Entries there is no room for, with the reason.

    kinds : how many of each are held; those that there is room for are counted in
    """
    room, over = shop.limits.hull - sum(kinds.values()), dict[str, str]()
    for entry in new:
        kind = counted_as(entry.kind)
        if room <= 0:
            reason = (
                f"{file_in_words(hull)} holds {shop.limits.hull} entries, the limit; tell whoever runs the shop server"
            )
            over[entry.id] = reason
        elif kinds.get(kind, 0) >= shop.limits.kind:
            over[entry.id] = (
                f"{file_in_words(hull)} holds {shop.limits.kind} entries of kind {kind}, which is the limit"
            )
        else:
            kinds[kind] = kinds.get(kind, 0) + 1
            room -= 1
    return over


async def attachments(request: Request) -> Response:
    """Names and sizes of the attachments held."""
    shop = _shop(request)
    await _asked(request)
    sizes = await run_in_threadpool(shop.store.attachments.sizes)
    tag = wire.sizes_tag(sizes)
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=_common(shop))
    return _json(request, {"attachments": {**sizes}}, fields={"ETag": tag})


async def attachment_held(request: Request) -> Response:
    """How many bytes of an attachment are held, in the field Garboard-Held."""
    shop = _shop(request)
    await _asked(request)
    held = await run_in_threadpool(_known_name, shop.store.attachments.held, request.path_params["name"])
    return Response(headers={**_common(shop), wire.HELD: str(held)})


async def attachment_piece(request: Request) -> Response:
    """A piece of an attachment."""
    shop = _shop(request)
    await _asked(request)
    name, start, most = request.path_params["name"], _number(request, "from"), _number(request, "most")
    most = min(most, wire.LARGEST_PIECE)
    try:
        piece = await run_in_threadpool(_known_name, shop.store.attachments.read, name, start, most)
    except AttachmentDamaged as damaged:
        raise Refusal(404, in_words(damaged)) from None
    return _packed(request, piece)


async def attachment_put(request: Request) -> Response:
    """The next piece of an attachment. It is on the disk when the answer goes out."""
    shop = _shop(request)
    asked = await _asked(request)
    name, start, total = request.path_params["name"], _number(request, "from"), _number(request, "of")
    if total > shop.limits.attachment or len(asked.body) > wire.LARGEST_PIECE:
        largest = f"an attachment of at most {shop.limits.attachment} bytes, in pieces of {wire.LARGEST_PIECE}"
        raise Refusal(413, f"expected {largest}")
    try:
        add = shop.store.attachments.add
        held = await run_in_threadpool(_known_name, add, name, start, asked.body, total)
    except OutOfPlace as elsewhere:
        raise Refusal(409, in_words(elsewhere), {wire.HELD: str(elsewhere.held)}) from None
    except AttachmentDamaged as damaged:
        raise Refusal(422, in_words(damaged)) from None
    return _json(request, {"held": held}, fields={wire.HELD: str(held)})


async def plugins(request: Request) -> Response:
    """The shop's own plugins that tablets may run; their files are attachments."""
    shop = _shop(request)
    await _asked(request)
    listed = await run_in_threadpool(shop.store.register.plugins)
    approved = [
        ApprovedPlugin(one.name, one.sha256, one.approved_by, one.approved_at) for one in listed if not one.is_withdrawn
    ]
    tag = wire.plugins_tag((one.name, one.sha256) for one in approved)
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=_common(shop))
    return _json(request, {"plugins": [attrs.asdict(one) for one in approved]}, fields={"ETag": tag})


async def tablets(request: Request) -> Response:
    """Every tablet, for a manager."""
    shop = _shop(request)
    _need_manager(await _asked(request))
    listed = await run_in_threadpool(shop.store.register.tablets)
    return _json(request, {"tablets": [_plain_tablet(tablet) for tablet in listed]})


async def remove_tablet(request: Request) -> Response:
    """Shut a tablet out, by a manager."""
    shop = _shop(request)
    asked = await _asked(request)
    _need_manager(asked)
    by = asked.tablet.in_words
    tablet = request.path_params["tablet"]
    remove = shop.store.register.remove_tablet
    if not tablet.isprintable() or not await run_in_threadpool(remove, tablet, by, shop.now()):
        raise Refusal(404, "no paired tablet has this id")
    return _json(request, {"removed": tablet})


def _plain_tablet(tablet: Tablet) -> JsonValue:
    return {name: value for name, value in attrs.asdict(tablet).items() if name != "token_hash"}


async def _asked(request: Request) -> Asked:
    """Who asks, before anything of the body is read; then the body."""
    shop = _shop(request)
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    tablet = None
    if scheme.lower() == "bearer" and access.SHORTEST_TOKEN <= len(token) <= access.LONGEST_TOKEN:
        tablet = await run_in_threadpool(shop.store.register.tablet_of, access.hashed(token))
    if tablet is None or tablet.is_removed or tablet.role not in ROLES:
        raise Refusal(401, "this tablet is not paired with the shop, or was removed: pair it again")
    device = _device(request.headers.get(wire.DEVICE, ""))
    theirs = request.headers.get(wire.TIME, "")
    now = shop.now()
    offset = now - int(theirs) if theirs.isascii() and theirs.isdigit() and len(theirs) < 16 else 0
    sent = await _sent(request, shop.limits.body, LONGEST_REQUEST)
    if sent:
        await request.state.until_answered.enter_async_context(shop.room())
    body = await _unpacked(request, sent, wire.LARGEST_TEXT)
    await run_in_threadpool(shop.store.register.note_contact, tablet.id, now, offset)
    if device not in tablet.writes_as:
        with suppress(NotSaved):  # a full disk must not keep a tablet from reading
            await run_in_threadpool(shop.store.register.note_device, tablet.id, device, now)
        tablet = attrs.evolve(tablet, writes_as=(*tablet.writes_as, device))
    return Asked(tablet, offset, body)


def _device(stated: str) -> str:
    """What a tablet says it writes as."""
    if not stated:
        reason = "this tablet's program is older than the shop's: install the shop's version, then bring ashore again"
        raise Refusal(400, reason)
    if not _DEVICE.fullmatch(stated):
        raise Garbled("device: expected 1 to 64 plain characters")
    return stated


async def _sent(request: Request, largest: int, longest: float) -> bytes:
    """The body as sent.

    largest : bytes it may have
    longest : how long it may take to come [s]
    """
    too_large = Refusal(413, f"at most {largest} bytes in one request")
    stated = request.headers.get("content-length", "0")
    if not (stated.isascii() and stated.isdigit()) or int(stated) > largest:
        raise too_large
    pieces: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(longest):
            async for piece in request.stream():
                size += len(piece)
                if size > largest:
                    raise too_large
                pieces.append(piece)
    except TimeoutError:
        raise Refusal(408, f"the request took more than {rounded(longest)} s to arrive") from None
    return b"".join(pieces)


async def _unpacked(request: Request, sent: bytes, largest: int) -> bytes:
    """The body, proved and decompressed.

    largest : bytes it may have then
    """
    if not sent:
        return b""
    packing, digest = (request.headers.get(name, "") for name in ("content-encoding", "content-digest"))
    return await run_in_threadpool(wire.unpacked, sent, packing, digest, largest)


def _need_manager(asked: Asked) -> None:
    if asked.tablet.role != MANAGER:
        raise Refusal(403, "this needs a manager's tablet")


def _known_name(work: Callable[..., Result], *arguments: object) -> Result:
    try:
        return work(*arguments)
    except KeyError as unknown:
        raise Refusal(404, str(unknown.args[0])) from None


def _number(request: Request, name: str) -> int:
    text = request.query_params.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise Garbled(f"{name}: expected a number of bytes")
    return int(text)


def _shop(request: Request) -> Shop:
    shop: Shop = request.app.state.shop
    return shop


def _common(shop: Shop) -> dict[str, str]:
    return {wire.TIME: str(shop.now()), "Cache-Control": "no-store"}


def _json(request: Request, value: JsonValue, *, status: int = 200, fields: Mapping[str, str] = NONE) -> Response:
    return _packed(request, wire.plain(value), status=status, kind="application/json", fields=fields)


def _packed(
    request: Request,
    body: bytes,
    *,
    status: int = 200,
    kind: str = "application/octet-stream",
    fields: Mapping[str, str] = NONE,
) -> Response:
    takes_gzip = "gzip" in request.headers.get("accept-encoding", "")
    ready, about = wire.packed(body) if takes_gzip else (body, {"Content-Digest": wire.content_digest(body)})
    return Response(ready, status, {**_common(_shop(request)), **about, **fields}, kind)


def _wants_a_page(request: Request) -> bool:
    """Whether a person's browser asks, outside the protocol: it says that it takes HTML, and no program does."""
    is_protocols = request.scope["path"].startswith(("/v1/", "/versions"))
    return not is_protocols and "text/html" in request.headers.get("accept", "").lower()


class _Silence(Response):
    """For someone who is gone."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        return


Endpoint = Callable[[Request], Awaitable[Response]]


def _safely(endpoint: Endpoint) -> Endpoint:
    """An endpoint whose failures reach the other end as a short reason, and this machine's log in full."""

    async def answer(request: Request) -> Response:
        try:
            async with AsyncExitStack() as request.state.until_answered:
                return await endpoint(request)
        except Refusal as no:
            return _json(request, {"refused": no.reason}, status=no.status, fields={**CLOSE, **no.fields})
        except Garbled as garbled:
            return _json(request, {"refused": in_words(garbled)}, status=400, fields=CLOSE)
        except NotSaved as failure:
            log.error("not saved: %s", failure)
            return _json(request, {"refused": f"the shop could not save: {in_words(failure)}"}, status=507)
        except StoreAway as away:
            log.error("%s", away)
            reason = "the shop server cannot reach its database: try again later"
            return _json(request, {"refused": reason}, status=503)
        except ClientDisconnect:
            return _Silence()
        except Exception:
            log.exception("%s %r failed", request.method, request.scope["path"])
            if (program := _shop(request).program) is not None and program.are_changed_now():
                reason = f"{CHANGED}, then come ashore again. Nothing entered is lost."
                return _json(request, {"refused": reason}, status=503)
            return _json(request, {"refused": "the shop server failed; its log has the cause"}, status=500)

    return answer


def _route(path: str, endpoint: Endpoint, method: str) -> Route:
    return Route(path, _safely(endpoint), methods=[method])


PROTOCOL_ROUTES: Sequence[BaseRoute] = (
    _route("/versions", versions, "GET"),
    _route("/v1/pair", pair, "POST"),
    _route("/v1/digests", digests, "GET"),
    _route("/v1/sixteenths", buckets, "POST"),
    _route("/v1/diff", diff, "POST"),
    _route("/v1/entries", entries, "POST"),
    _route("/v1/attachments", attachments, "GET"),
    _route("/v1/attachments/{name}", attachment_held, "HEAD"),
    _route("/v1/attachments/{name}", attachment_piece, "GET"),
    _route("/v1/attachments/{name}", attachment_put, "PUT"),
    _route("/v1/plugins", plugins, "GET"),
    _route("/v1/tablets", tablets, "GET"),
    _route("/v1/tablets/{tablet}/remove", remove_tablet, "POST"),
)
"""The protocol, version 1. `make_app` mounts it; the paths stay as they are when a later version comes beside them."""
