"""The gate of the phone page: who may ask what, how much and how often; closed unless opened here.

Every request passes `Gate` before any route sees it. Without a paired phone only pairing, the page's own
files and the server's own screen can be reached; what changes something needs the token of our own pages.
"""

from __future__ import annotations

from ipaddress import ip_address
from urllib.parse import parse_qs

from fastapi import FastAPI, Request
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fitup.phone.bodies import read_whole, watched
from fitup.phone.gate_state import Gate, GateSettings
from fitup.phone.headers import add_headers
from fitup.phone.pairing_pages import pairing_pages
from fitup.phone.people import Person
from fitup.phone.refusals import is_for_scripts, refusal
from fitup.phone.rights import role, signed_in
from fitup.phone.sessions import PHONE_COOKIE, SCREEN_COOKIE

__all__ = ["Gate", "GateSettings", "install_gate", "role", "signed_in"]

_OPEN_TO_ALL = ("/static/", "/pair/")
_OPEN_PAGES = frozenset({"/pair", "/manifest.webmanifest", "/sw.js", "/offline", "/cautions", "/choose"})
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_FORM = "application/x-www-form-urlencoded"
_OUR_SITES = frozenset({"same-origin", "none"})


class _GateMiddleware:
    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self._app = app
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":  # no route of ours talks over a web socket
                await self._app(scope, receive, send)
            return
        request = Request(scope)
        started = False

        async def sending(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                add_headers(MutableHeaders(scope=message))
            await send(message)

        try:
            receive = watched(receive, self._gate.body_limit(request.url.path), _announced(request))
            receive = await self._checked(request, receive)
            await self._app(scope, receive, sending)
        except _Refused as refused:
            await refused.response(scope, receive, sending)
        except HTTPException as error:
            if started:
                raise
            await refusal(request, error.status_code, error.detail)(scope, receive, sending)

    async def _checked(self, request: Request, receive: Receive) -> Receive:
        """Let the request pass, knowing who asks, or raise _Refused."""
        gate, path = self._gate, request.url.path
        if not gate.knows_host(request.headers.get("host", "")):
            raise _Refused(refusal(request, 421, "this name is not the server's: call it by its address."))
        cookie = request.cookies.get(SCREEN_COOKIE if _is_screen(path) else PHONE_COOKIE)
        person = None if _is_screen(path) else _person(gate, cookie)
        _check_rate(gate, request, person)
        if _is_screen(path):
            _check_screen(gate, request, cookie)
        elif person is None and not _is_open(request):
            raise _Refused(_send_to_pairing(request))
        request.state.person = person
        request.state.csrf_token = gate.sessions.token(cookie) if cookie else ""
        if request.method not in _SAFE:
            receive = await _check_origin(gate, request, receive, cookie)
        return receive


class _Refused(Exception):  # noqa: N818  # no fault of the program
    def __init__(self, response: Response) -> None:
        super().__init__()
        self.response = response


def install_gate(app: FastAPI, settings: GateSettings) -> Gate:
    """Put the gate before all routes of `app`, the pairing pages into it, and give the gate.

    Raises StorageError where the state folder cannot be used.
    """
    gate = Gate(settings)
    app.state.gate = gate
    app.include_router(pairing_pages(gate))
    app.add_middleware(_GateMiddleware, gate=gate)
    return gate


def _is_screen(path: str) -> bool:
    return path == "/screen" or path.startswith("/screen/")


def _is_open(request: Request) -> bool:
    path = request.url.path
    health = path == "/healthz" and _from_here(request)
    return health or path in _OPEN_PAGES or path.startswith(_OPEN_TO_ALL)


def _person(gate: Gate, cookie: str | None) -> Person | None:
    phone_id = gate.sessions.subject(PHONE_COOKIE, cookie)
    phone = gate.phones.find(phone_id) if phone_id else None
    return phone.person if phone else None


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


def _check_rate(gate: Gate, request: Request, person: Person | None) -> None:
    path, limits = request.url.path, gate.limits
    address = _address(request)
    waits = [limits.phones.wait_s(person.phone_id) if person else limits.strangers.wait_s(address)]
    if request.method not in _SAFE and not person:
        waits.append(limits.pairing.wait_s(address))
    if request.method not in _SAFE and path == "/api/shots" and person:
        waits.append(limits.photos.wait_s(person.phone_id))
    wait_s = max(waits)
    if wait_s > 0:
        seconds = int(wait_s) + 1
        sentence = f"too many requests at once: try again in {seconds} s."
        raise _Refused(refusal(request, 429, sentence, headers={"retry-after": str(seconds)}))


def _check_screen(gate: Gate, request: Request, cookie: str | None) -> None:
    """The server's own page: only from the server itself, and only with the secret that it printed."""
    opening = request.url.path.startswith("/screen/open/")
    if not _from_here(request) or not (
        opening or gate.screen.knows(gate.sessions.subject(SCREEN_COOKIE, cookie))
    ):
        sentence = "this page opens only on the server, with the address that it printed at its start."
        raise _Refused(refusal(request, 403, sentence))


def _from_here(request: Request) -> bool:
    try:
        return ip_address(_address(request)).is_loopback
    except ValueError:
        return False


def _send_to_pairing(request: Request) -> Response:
    if is_for_scripts(request):
        return refusal(request, 401, "this phone is not paired: scan the code on the server's screen.")
    return RedirectResponse("/pair", 303)


async def _check_origin(gate: Gate, request: Request, receive: Receive, cookie: str | None) -> Receive:
    """What changes something comes from our own page: by where it says it comes from, and by its token.

    A phone that is being paired has no cookie yet: its code is the secret then.
    """
    origin = request.headers.get("origin")
    fetched_by = request.headers.get("sec-fetch-site", "none")
    own = origin is None or origin.partition("://")[2] == request.headers.get("host")
    if not own or fetched_by not in _OUR_SITES:
        raise _Refused(refusal(request, 403, "this was sent from another page: use the page itself."))
    if request.url.path == "/pair":
        return receive
    token = request.headers.get("x-fitup-token")
    if token is None and request.headers.get("content-type", "").split(";")[0].strip() == _FORM:
        body, receive = await read_whole(receive)
        token = _form_token(body)
    if cookie is None or not gate.sessions.token_fits(cookie, token):
        raise _Refused(refusal(request, 403, "this page is out of date: load it again and repeat."))
    return receive


def _form_token(body: bytes) -> str:
    try:
        fields = parse_qs(body.decode("utf-8", "replace"), max_num_fields=100)
    except ValueError:  # more fields than any form of ours has
        return ""
    return fields.get("token", [""])[0]


def _announced(request: Request) -> int | None:
    text = request.headers.get("content-length")
    return int(text) if text and text.isdecimal() else None
