"""Faults as answers: one sentence for a person, and the exit code that the command line has for it."""

from __future__ import annotations

import logging

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from fitup.errors import ExitCode, FitupError, StorageError
from fitup.phone.refusals import refusal

__all__ = ["install_answers"]

_log = logging.getLogger("fitup.phone")


def install_answers(app: FastAPI) -> None:
    """Let every fault of a route become such an answer."""

    @app.exception_handler(FitupError)
    def told(request: Request, error: FitupError) -> Response:
        status = 500 if isinstance(error, StorageError) else 400
        return refusal(request, status, str(error), code=error.exit_code)

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: HTTPException) -> Response:
        sentence = _COMMON.get(error.status_code) if error.detail in _BARE else None
        code = ExitCode.STORAGE if error.status_code >= 500 else ExitCode.WRONG_USE
        told, headers = sentence or str(error.detail), dict(error.headers or {})
        return refusal(request, error.status_code, told, code=code, headers=headers)

    @app.exception_handler(RequestValidationError)
    def not_as_expected(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0] if error.errors() else {}
        where = " ".join(str(one) for one in first.get("loc", ())[1:])[:80]
        return refusal(
            request, 422, f"{where or 'what was sent'} cannot be used: load the page again and repeat."
        )

    @app.exception_handler(ClientDisconnect)
    def gone(request: Request, error: ClientDisconnect) -> Response:
        return Response(status_code=400)  # nobody hears it

    @app.exception_handler(Exception)
    def crashed(request: Request, error: Exception) -> Response:
        _log.error("a route failed: %s %s", request.method, request.url.path, exc_info=error)
        sentence = f"the program failed ({type(error).__name__}); please report this."
        return refusal(request, 500, sentence, code=ExitCode.STORAGE)


_BARE = ("Not Found", "Method Not Allowed")
_COMMON = {404: "there is no such page: go back to the list of joints.", 405: "this cannot be done here."}
