"""What every phone may fetch: the page's own files, the service worker, the manifest, words on cautions.

Also which language and units a phone shows, and the token that its outbox sends photos with.
"""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import APIRouter, Depends, FastAPI, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from fitup.phone.lengths_shown import UNITS
from fitup.phone.page_context import LANGUAGE_COOKIE, UNITS_COOKIE, language_of, page
from fitup.phone.people import Person
from fitup.phone.static_files import static_files
from fitup.phone.texts import LANGUAGES, texts_of

__all__ = ["install_static"]

_FOR_GOOD = "public, max-age=31536000, immutable"
_ASK_EACH_TIME = "no-cache"
_TWO_YEARS_S = 2 * 365 * 24 * 3600
_ICONS = (
    ("icon-192", "192x192", "any"),
    ("icon-512", "512x512", "any"),
    ("maskable-512", "512x512", "maskable"),
)
_SHELL = (".js", ".css", ".svg", ".png")


def install_static(app: FastAPI) -> None:
    """Add these routes to the application."""
    app.include_router(_router())


def _router() -> APIRouter:
    router = APIRouter(include_in_schema=False)
    router.add_api_route("/static/{version}/{name:path}", _static, methods=["GET"])
    router.add_api_route("/sw.js", _service_worker, methods=["GET"])
    router.add_api_route("/manifest.webmanifest", _manifest, methods=["GET"])
    router.add_api_route("/offline", _offline, methods=["GET"])
    router.add_api_route("/cautions", _cautions, methods=["GET"])
    router.add_api_route("/settings", _settings, methods=["GET"])
    router.add_api_route("/choose", _choose, methods=["GET"])
    router.add_api_route("/api/session", _session, methods=["GET"])
    return router


def _static(version: str, name: str) -> Response:
    files = static_files()
    file = files.by_name.get(name)
    if file is None:
        raise HTTPException(404, "there is no such file.")
    caching = _FOR_GOOD if version == files.digest else _ASK_EACH_TIME
    return Response(file.content, media_type=file.mime, headers={"cache-control": caching})


def _service_worker() -> Response:
    """The worker, with the digest of all files in it: a browser installs it anew when one of them changed."""
    files = static_files()
    shell = [files.address(name) for name in files.by_name if name.endswith(_SHELL)]
    content = (
        f'import {{ startWorker }} from "{files.address("worker.js")}";\n'
        f"startWorker({json.dumps(files.digest)}, {json.dumps(['/offline', *shell])});\n"
    )
    return Response(content, media_type="text/javascript", headers={"cache-control": _ASK_EACH_TIME})


def _manifest(request: Request) -> Response:
    text, files = texts_of(language_of(request)), static_files()
    icons = [
        {
            "src": files.address(f"icons/{name}"),
            "sizes": f"{size}x{size}",
            "type": "image/png",
            "purpose": why,
        }
        for name, size, why in (
            ("icon-192.png", 192, "any"),
            ("icon-512.png", 512, "any"),
            ("maskable-512.png", 512, "maskable"),
        )
    ]
    content = {
        "name": text("app.name"),
        "short_name": text("app.name"),
        "description": text("app.description"),
        "lang": text.language,
        "id": "/",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#111111",
        "icons": icons,
    }
    headers = {"cache-control": _ASK_EACH_TIME}
    return JSONResponse(content, media_type="application/manifest+json", headers=headers)


def _offline(request: Request) -> HTMLResponse:
    return page(request, "offline.html")


def _cautions(request: Request) -> HTMLResponse:
    return page(request, "cautions.html")


def _settings(request: Request) -> HTMLResponse:
    return page(request, "settings.html")


def _choose(language: str = "", units: str = "", back: str = "/") -> Response:
    """Keep a choice on the phone and go back to where it was made: nothing but how the page looks changes."""
    answer = RedirectResponse(back if _is_our_path(back) else "/", 303)
    chosen = ((LANGUAGE_COOKIE, language, LANGUAGES), (UNITS_COOKIE, units, UNITS))
    for cookie, value, known in chosen:
        if value in known:
            answer.set_cookie(cookie, value, max_age=_TWO_YEARS_S, path="/", samesite="lax")
    return answer


def _is_our_path(back: str) -> bool:
    return back.startswith("/") and not back.startswith(("//", "/\\")) and back.isprintable()


def _here(request: Request) -> Person:
    person: Person | None = getattr(request.state, "person", None)
    if person is None:
        raise HTTPException(401, "this phone is not paired: scan the code on the server's screen.")
    return person


def _session(request: Request, person: Annotated[Person, Depends(_here)]) -> dict[str, str]:
    return {"token": request.state.csrf_token, "name": person.name, "role": person.role}
