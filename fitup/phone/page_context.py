"""Every page is rendered here: the template, and what all of them know of the phone that asks.

No template holds text, script or style of its own: words come from `words/`, scripts and style are files.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.requests import Request
from starlette.responses import HTMLResponse

from fitup.phone.lengths_shown import DEFAULT_UNITS, UNITS, shown_lengths
from fitup.phone.remedies import retake_pictures
from fitup.phone.static_files import static_files
from fitup.phone.texts import DEFAULT_LANGUAGE, LANGUAGES, texts_of
from fitup.phone.times_shown import time_element

if TYPE_CHECKING:
    from fitup.phone.people import Person

__all__ = ["LANGUAGE_COOKIE", "UNITS_COOKIE", "language_of", "page", "units_of"]

LANGUAGE_COOKIE = "fitup_language"
UNITS_COOKIE = "fitup_units"


def page(
    request: Request,
    template: str,
    /,
    *,
    status: int = 200,
    headers: dict[str, str] | None = None,
    **context: object,
) -> HTMLResponse:
    """Render a template in the phone's language and units, for the person who holds it."""
    texts = texts_of(language_of(request))
    person: Person | None = getattr(request.state, "person", None)
    known: dict[str, Any] = {
        "text": texts,
        "language": texts.language,
        "languages": LANGUAGES,
        "length": shown_lengths(units_of(request)),
        "person": person,
        "role": person.role if person else "",
        "token": getattr(request.state, "csrf_token", ""),
        "here": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
    }
    content = _templates().get_template(template).render({**known, **context})
    return HTMLResponse(content, status, headers=headers)


def language_of(request: Request) -> str:
    """The language chosen on this phone."""
    chosen = request.cookies.get(LANGUAGE_COOKIE, "")
    return chosen if chosen in LANGUAGES else DEFAULT_LANGUAGE


def units_of(request: Request) -> str:
    """The units chosen on this phone."""
    chosen = request.cookies.get(UNITS_COOKIE, "")
    return chosen if chosen in UNITS else DEFAULT_UNITS


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("fitup.phone", "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["static"] = static_files().address
    environment.globals["result_view"] = _result_view
    environment.globals["retake_pictures"] = retake_pictures
    environment.filters["when"] = time_element
    return environment


def _result_view(record: Any, settled: Any = None) -> object:
    """Loaded on first use: it needs what the measuring stages need."""
    from fitup.phone.result_view import result_view

    return result_view(record, settled)
