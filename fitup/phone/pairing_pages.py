"""The pages of pairing: what a stranger sees, and the server's own page where people are invited."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Annotated

import segno
from fastapi import APIRouter, Form, Request
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from fitup.errors import UsageError
from fitup.phone.gate_state import Gate
from fitup.phone.page_context import page
from fitup.phone.pairing import GOOD_FOR_S, Invitation
from fitup.phone.people import ROLES
from fitup.phone.sessions import PHONE_COOKIE, SCREEN_COOKIE

__all__ = ["pairing_pages"]

_LONGEST_FIELD = 200


def pairing_pages(gate: Gate) -> APIRouter:
    """Routes under /pair and /screen."""
    routes = APIRouter(include_in_schema=False)
    _add_pair(routes, gate)
    _add_screen(routes, gate)
    return routes


def _add_pair(routes: APIRouter, gate: Gate) -> None:
    @routes.get("/pair")
    def ask(request: Request) -> Response:
        return page(request, "pair.html", state="ask")

    @routes.get("/pair/{code}")
    def confirm(request: Request, code: str) -> Response:
        # Looking does not use the code up: cameras and messengers fetch an address before a person does.
        invitation = gate.codes.look(code)
        if invitation is None:
            return page(request, "pair.html", status=410, state="gone")
        return page(
            request, "pair.html", state="confirm", name=invitation.name, role=invitation.role, code=code
        )

    @routes.post("/pair")
    def pair(request: Request, code: Annotated[str, Form(max_length=_LONGEST_FIELD)] = "") -> Response:
        invitation = gate.codes.use(code)
        if invitation is None:
            return page(request, "pair.html", status=410, state="gone")
        phone = gate.phones.add(invitation.name, invitation.role)
        response = RedirectResponse("/", 303)
        gate.sessions.give(response, PHONE_COOKIE, phone.phone_id)
        return response


def _add_screen(routes: APIRouter, gate: Gate) -> None:
    @routes.get("/screen/open/{link}")
    def open_screen(link: str) -> Response:
        secret = gate.screen.open(link)
        if secret is None:
            raise HTTPException(403, "this address was used already: start the server anew for another.")
        response = RedirectResponse("/screen", 303)
        gate.sessions.give(response, SCREEN_COOKIE, secret)
        return response

    @routes.get("/screen")
    def screen(request: Request) -> Response:
        return _screen(request, gate)

    @routes.post("/screen/phones")
    def invite(
        request: Request,
        name: Annotated[str, Form(max_length=_LONGEST_FIELD)] = "",
        role: Annotated[str, Form(max_length=_LONGEST_FIELD)] = "",
    ) -> Response:
        try:
            return _screen(request, gate, gate.codes.invite(name, role))
        except UsageError as error:
            return _screen(request, gate, error=str(error))

    @routes.post("/screen/phones/remove")
    def remove(phone_id: Annotated[str, Form(max_length=_LONGEST_FIELD)] = "") -> Response:
        gate.phones.remove(phone_id)
        return RedirectResponse("/screen", 303)


def _screen(
    request: Request, gate: Gate, invitation: Invitation | None = None, error: str | None = None
) -> Response:
    link = f"{gate.base_url.rstrip('/')}/pair/{invitation.code}" if invitation else ""
    expires_at = datetime.now(UTC) + timedelta(seconds=GOOD_FOR_S)
    return page(
        request,
        "screen.html",
        status=400 if error else 200,
        phones=gate.phones.all(),
        roles=ROLES,
        invitation=invitation,
        link=link,
        qr_svg=_qr_svg(link) if link else None,
        expires_at=expires_at.isoformat(timespec="seconds"),
        error=error,
    )


def _qr_svg(link: str) -> Markup:
    """The QR code as SVG without style attributes, which the page's policy forbids."""
    code = segno.make(link, error="m", micro=False)
    return Markup(code.svg_inline(scale=8, border=4, svgclass="qr", lineclass=None, omitsize=True))
