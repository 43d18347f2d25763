"""The door of the pages: who asks, whether they may, and an answer people can read whatever happens."""

from __future__ import annotations

import asyncio
import hmac
import logging
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import suppress
from types import MappingProxyType
from urllib.parse import parse_qsl

import attrs
from anyio import to_thread
from starlette.concurrency import run_in_threadpool
from starlette.convertors import Convertor, register_url_convertor
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from garboard.disk.storage import NewerFormat, NotSaved
from garboard.faults import Fault, GarboardError, InputError, in_number, in_words
from garboard.findings import rounded
from garboard_shop.pages import people
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.people import Session
from garboard_shop.program_files import CHANGED
from garboard_shop.store import MANAGER, KeptToFinish, Overtaken, StoreAway, WebUser, names_of_devices

COOKIE = "__Host-garboard"
KNOWN_COOKIE = "__Host-garboard-known"
"""By it a browser in which somebody was signed in before is known again; it signs nobody in."""
SECONDS_KNOWN = 400 * 24 * 60 * 60
"""The longest that browsers keep a cookie (from memory: RFC 6265bis) [s]."""
LARGEST_FORM = 32 * 1024
LONGEST_FORM = 30.0
"""How long a form may take to come [s]."""
MOST_FIELDS = 400
"""Of one form; that of a new check has most, then a tick for each row of the board."""
SIGN_IN = "/sign-in"

NONE: Mapping[str, str] = MappingProxyType({})
HEADERS: Mapping[str, str] = MappingProxyType(
    {
        "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; "
        "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "no-store",
    }
)

NOT_EVERYWHERE = (
    "Your decision is saved. It is not in the file of every boat it concerns yet. "
    "The shop server adds it there by itself. Do not decide it again."
)

log = logging.getLogger("garboard.shop")


class NotHere(GarboardError):
    """The request cannot be answered; the sentence is for the person.

    status : of the answer
    """

    def __init__(self, status: int, sentence: str, headers: Mapping[str, str] = NONE) -> None:
        self.status, self.sentence, self.headers = status, sentence, headers
        super().__init__(sentence)


@attrs.define
class Visit:
    """One request to the pages.

    user    : who is signed in; None for the few pages that need nobody
    form    : what was sent; the last value of each name
    files   : what was sent as files, by the same names
    secret  : of the session's cookie
    kept    : what was decided and is kept, in words; whatever fails after that, this stands
    """

    desk: ShopDesk
    request: Request
    user: WebUser | None = None
    session: Session | None = None
    form: Mapping[str, str] = attrs.field(factory=dict)
    files: Mapping[str, bytes] = attrs.field(factory=dict)
    secret: str = ""
    kept: str = ""
    _devices: Mapping[str, str] | None = attrs.field(init=False, default=None)

    @property
    def who(self) -> str:
        """The name that goes into entries."""
        if self.user is None:
            raise NotHere(403, "Sign in first.")
        return self.user.name

    @property
    def is_manager(self) -> bool:
        return self.user is not None and self.user.role == MANAGER

    @property
    def address(self) -> str:
        return self.request.client.host if self.request.client else ""

    @property
    def marks(self) -> str:
        """What the browser is known by, for those who were signed in with it before."""
        return self.request.cookies.get(KNOWN_COOKIE, "")

    @property
    def path(self) -> str:
        """The path asked for. Not by the request's whole address: in that, the host's name is whatever was sent."""
        path: str = self.request.scope["path"]
        return path

    def asked(self, name: str) -> str:
        """A value of the address line; "" when it is not there."""
        return self.request.query_params.get(name, "")

    def tablet_name(self, device: str) -> str:
        """What the shop calls the tablet that wrote an entry."""
        if self._devices is None:
            self._devices = names_of_devices(self.desk.store.register)
        return self._devices.get(device, device)

    def page(self, template: str, status: int = 200, headers: Mapping[str, str] = NONE, **more: object) -> Response:
        """A page from a template."""
        notice = self.session.notice if self.session else ""
        if self.session:
            self.session.notice = ""
        content = self.desk.templates.get_template(template).render(
            visit=self,
            user=self.user,
            is_manager=self.is_manager,
            csrf=self.session.csrf if self.session else "",
            notice=notice,
            here=self.path,
            **more,
        )
        return Response(content, status, {**HEADERS, **headers}, "text/html")

    def go(self, path: str, notice: str = "") -> Response:
        """Send the person to a page of this server, with something to say there."""
        if self.session and notice:
            self.session.notice = notice
        return RedirectResponse(path if is_local(path) else "/", 303, HEADERS)

    def back(self, otherwise: str, notice: str) -> Response:
        """Back to where a form was sent from."""
        return self.go(self.form.get("back") or otherwise, notice)

    def refused(self, failure: NotHere, details: Sequence[Fault] = ()) -> Response:
        """The page that says why not."""
        heading = "Not found" if failure.status == 404 else "Done in part" if self.kept else "Not done"
        return self.page(
            "refused.html",
            failure.status,
            failure.headers,
            heading=heading,
            sentence=failure.sentence,
            details=details,
        )


def refuse_hurry(wait: int) -> None:
    """Raise unless there is nothing to wait for.

    wait : as `people.Attempts.begin` gives it [ms]
    """
    if wait:
        sentence = (
            f"Too many wrong passwords. Wait {in_number(-(-wait // 60_000), 'minute')}, then try again. "
            "A browser in which you were signed in before is not held up by others."
        )
        raise NotHere(429, sentence, {"Retry-After": str(-(-wait // 1000))})


def lost_in(desk: ShopDesk) -> Callable[[Request, int], Awaitable[Response]]:
    """The page for an address that does not exist, and for a method no page takes."""

    def told(visit: Visit, status: int) -> Response:
        with suppress(GarboardError):  # then it is told as to somebody unknown
            _know(visit)
        sentence = "There is no page at this address." if status == 404 else "This address cannot be used this way."
        return visit.refused(NotHere(status, sentence))

    async def answer(request: Request, status: int) -> Response:
        return await run_in_threadpool(told, Visit(desk, request), status)

    return answer


Answer = Callable[[Visit], Response]


def is_local(path: str) -> bool:
    """Whether a path stays on this server whatever a browser makes of it."""
    return path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable() and "\\" not in path


class AnyText(Convertor[str]):
    """Any text in an address. Starlette's own `path` ends at a line end, which a job's id from elsewhere may hold."""

    regex = "(?s:.*)"

    def convert(self, value: str) -> str:
        return value

    def to_string(self, value: str) -> str:
        return value


register_url_convertor("text", AnyText())


def page_route(
    desk: ShopDesk, path: str, answer: Answer, method: str = "GET", role: str = "", largest: int = LARGEST_FORM
) -> Route:
    """A page.

    answer : called in a thread of its own, one of those for pages unless nobody needs to sign in
    role   : "" for anyone signed in, MANAGER, or "nobody" where no sign-in is needed
    largest : of a long form or one with a file, which only who may send it can make the server read [bytes]
    """

    async def endpoint(request: Request) -> Response:
        visit = Visit(desk, request)
        try:
            if request.method == "POST":
                may_be_large = largest > LARGEST_FORM and await to_thread.run_sync(_may_send_files, visit, role)
                visit.form, visit.files = await _form(request, largest if may_be_large else LARGEST_FORM)
            limiter = None if role == "nobody" else desk.page_threads()
            return await to_thread.run_sync(_answer, visit, answer, role, limiter=limiter)
        except NotHere as failure:
            return visit.refused(failure)
        except ClientDisconnect:
            return Response(status_code=400)

    return Route(path, endpoint, methods=[method])


def _answer(visit: Visit, answer: Answer, role: str) -> Response:
    try:
        _know(visit)
        if visit.user is None and role != "nobody":
            return _to_sign_in(visit)
        if visit.request.method == "POST":
            _need_own_form(visit)
        if role == MANAGER and not visit.is_manager:
            raise NotHere(403, "This needs a manager. You are signed in as a technician, who can read everything.")
        return answer(visit)
    except NotHere as failure:
        return visit.refused(failure)
    except Overtaken as overtaken:
        return visit.refused(NotHere(409, in_words(overtaken)))
    except InputError as failure:
        return visit.refused(NotHere(400, "This input cannot be used."), failure.faults)
    except NewerFormat as failure:
        return visit.refused(NotHere(500, in_words(failure)))
    except StoreAway as away:
        log.error("store away: %s", away)
        return visit.refused(NotHere(503, _while_away(visit), {"Retry-After": "10"}))
    except KeptToFinish as failure:
        visit.kept = NOT_EVERYWHERE
        return visit.refused(NotHere(503, f"{NOT_EVERYWHERE} The cause: {in_words(failure)}."))
    except NotSaved as failure:
        log.error("not saved: %s", failure)
        before = f"{visit.kept} What follows from it was not saved" if visit.kept else "Nothing was saved"
        return visit.refused(NotHere(507, f"{before}: {in_words(failure)}"))
    except Exception:
        log.exception("%s %r failed", visit.request.method, visit.path)
        if (program := visit.desk.program) is not None and program.are_changed_now():
            sentence = f"{CHANGED}, then open this page again. Nothing you entered before is lost."
            return visit.refused(NotHere(503, sentence))
        sentence = "The shop server failed. Its log has the cause. Nothing you entered before is lost."
        return visit.refused(NotHere(500, sentence))


def _while_away(visit: Visit) -> str:
    """What to say where the database does not answer: one that broke off may have kept what it was given."""
    if visit.kept:
        return f"{visit.kept} After that the shop's database did not answer. Look at the page again."
    if visit.request.method == "GET":
        return "The shop's database does not answer. Try again in a moment."
    return (
        "The shop's database does not answer. It may have kept this, or not. "
        "Wait a moment and look at the page, then decide whether to do it again."
    )


def _know(visit: Visit) -> None:
    """Find out who asks, by the cookie; their role is read anew each time."""
    visit.secret = visit.request.cookies.get(COOKIE, "")
    session = visit.desk.sessions.find(visit.secret, visit.desk.now()) if visit.secret else None
    user = people.person_of(session, visit.desk.store.register)
    if session and user:
        visit.session, visit.user = session, user


def _to_sign_in(visit: Visit) -> Response:
    if visit.request.method != "GET":
        raise NotHere(403, "You are not signed in, or your session has expired. Nothing was changed.")
    from urllib.parse import quote

    wanted = visit.path
    return visit.go(f"{SIGN_IN}?next={quote(wanted)}" if wanted != "/" else SIGN_IN)


def _need_own_form(visit: Visit) -> None:
    """Refuse a form that another site made the browser send."""
    request = visit.request
    origin = request.headers.get("origin", "")
    foreign = request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
    if foreign or (origin and origin != f"https://{request.headers.get('host', '')}"):
        raise NotHere(403, "This form did not come from this site. Nothing was changed.")
    if visit.session and not hmac.compare_digest(visit.form.get("csrf", "").encode(), visit.session.csrf.encode()):
        raise NotHere(403, "This form is out of date. Open the page again. Nothing was changed.")


def _may_send_files(visit: Visit, role: str) -> bool:
    """Whether who asks is signed in, and in that role; whatever fails here is told once the form is read."""
    try:
        _know(visit)
    except Exception:
        return False
    return visit.user is not None and (role != MANAGER or visit.is_manager)


async def _form(request: Request, largest: int) -> tuple[dict[str, str], dict[str, bytes]]:
    kind, _, more = request.headers.get("content-type", "").partition(";")
    boundary = _BOUNDARY.search(more) if kind.strip() == "multipart/form-data" and largest > LARGEST_FORM else None
    if boundary is None and kind.strip() != "application/x-www-form-urlencoded":
        raise NotHere(415, "Expected a form.")
    body = bytearray()
    try:
        async with asyncio.timeout(LONGEST_FORM):
            async for piece in request.stream():
                body += piece
                if len(body) > largest:
                    raise NotHere(413, f"The form is too large: at most {largest} bytes.", {"Connection": "close"})
    except TimeoutError:
        raise NotHere(408, f"The form took more than {rounded(LONGEST_FORM)} s.", {"Connection": "close"}) from None
    try:
        if boundary is not None:
            return _parts(bytes(body), boundary[1].encode())
        told = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict")
        return dict(told), {}
    except ValueError:
        raise NotHere(400, "The form cannot be read.") from None


_BOUNDARY = re.compile(r'boundary="?([0-9A-Za-z\'()+_,./:=?-]{1,70})"?\s*$')
_NAME = re.compile(rb'(?:^|[; ])name="([^"]*)"')


def _parts(body: bytes, boundary: bytes) -> tuple[dict[str, str], dict[str, bytes]]:
    """The fields and the files of a form in parts (from memory: RFC 7578). Raises ValueError for what is none."""
    pieces = (b"\r\n" + body).split(b"\r\n--" + boundary, MOST_FIELDS)
    if len(pieces) < 2 or not pieces[-1].startswith(b"--"):
        raise ValueError("no end")
    fields: dict[str, str] = {}
    files: dict[str, bytes] = {}
    for piece in pieces[1:-1]:
        head, parted, content = piece.partition(b"\r\n\r\n")
        name = _NAME.search(head)
        if not parted or name is None:
            raise ValueError("a part without a name")
        if b"filename=" in head:
            files[name[1].decode()] = content
        else:
            fields[name[1].decode()] = content.decode()
    return fields, files


def signed_in(visit: Visit, user: WebUser, path: str) -> Response:
    """Open a session, give the browser its cookie, and know the browser from now on."""
    response = visit.go(path)
    secret = visit.desk.sessions.open(user, visit.desk.now())
    response.set_cookie(COOKIE, secret, path="/", secure=True, httponly=True, samesite="strict")
    return marked(visit, user, response)


def marked(visit: Visit, user: WebUser, response: Response) -> Response:
    """Let the browser keep what it is known by for somebody who proved who they are."""
    if not people.known_by(user, visit.marks):
        marks = people.join_marks(visit.marks, people.make_mark(user))
        response.set_cookie(KNOWN_COOKIE, marks, SECONDS_KNOWN, path="/", secure=True, httponly=True, samesite="strict")
    return response


def signed_out(response: Response) -> Response:
    """Take the cookie back."""
    response.delete_cookie(COOKIE, path="/", secure=True, httponly=True, samesite="strict")
    return response


def routes(desk: ShopDesk, table: Sequence[tuple[str, Answer, str, str]]) -> list[Route]:
    """Routes from (path, answer, method, role)."""
    return [page_route(desk, path, answer, method, role) for path, answer, method, role in table]
