"""A refusal as the asker can use it: JSON for scripts, a small page for people; one sentence each."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from fitup.errors import ExitCode
from fitup.phone.page_context import page

__all__ = ["is_for_scripts", "refusal"]


def is_for_scripts(request: Request) -> bool:
    """Whether the asker is a script of ours rather than a person's browser."""
    return request.url.path.startswith("/api/") or request.url.path == "/openapi.json"


def refusal(
    request: Request,
    status: int,
    sentence: str,
    *,
    code: ExitCode = ExitCode.WRONG_USE,
    headers: dict[str, str] | None = None,
) -> Response:
    """The answer with HTTP `status` that says `sentence`; `code` is the exit code of the same fault."""
    if is_for_scripts(request):
        return JSONResponse({"error": sentence, "code": int(code)}, status, headers=headers)
    answer = page(request, "message.html", status=status, sentence=sentence, code=int(code))
    answer.headers.update(headers or {})
    return answer
