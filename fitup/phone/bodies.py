"""What comes in with a request, watched while it comes: not too much, and not too slowly."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.types import Message, Receive

__all__ = ["BodyLimit", "read_whole", "watched"]

_TOO_SLOW = "the photo came too slowly: go nearer to the Wi-Fi and send again."


@dataclass(frozen=True, kw_only=True)
class BodyLimit:
    """At most `bytes_max` in all, `idle_s` between two pieces and `whole_s` for the whole."""

    bytes_max: int
    idle_s: float = 20.0
    whole_s: float = 600.0

    def too_much(self) -> HTTPException:
        """What to raise for too large a body."""
        return HTTPException(413, f"more than {self.bytes_max / 1e6:.3g} MB was sent: send a smaller photo.")


def watched(receive: Receive, limit: BodyLimit, announced: int | None) -> Receive:
    """`receive` that raises HTTPException 413 or 408 where the body passes the limit or stops coming.

    `announced` is the Content-Length, None where there is none: too much is then refused before it comes.
    """
    if announced is not None and announced > limit.bytes_max:
        raise limit.too_much()
    came, end_s, whole = 0, 0.0, False

    async def watching() -> Message:
        nonlocal came, end_s, whole
        if whole:  # what comes now is only the news that the asker has gone
            return await receive()
        now = asyncio.get_running_loop().time()
        end_s = end_s or now + limit.whole_s
        try:
            message = await asyncio.wait_for(receive(), min(limit.idle_s, max(end_s - now, 0.0)))
        except TimeoutError:
            raise HTTPException(408, _TOO_SLOW) from None
        came += len(message.get("body", b""))
        if came > limit.bytes_max:
            raise limit.too_much()
        whole = message["type"] == "http.disconnect" or not message.get("more_body", False)
        return message

    return watching


async def read_whole(receive: Receive) -> tuple[bytes, Receive]:
    """The body of a small request, and a `receive` that gives it again."""
    pieces, more = [], True
    while more:
        message = await receive()
        pieces.append(message.get("body", b""))
        more = message["type"] == "http.request" and message.get("more_body", False)
    body, given = b"".join(pieces), False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return body, again
