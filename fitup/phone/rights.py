"""What a route asks of whoever calls it: dependencies of routes behind the gate."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, Request
from starlette.exceptions import HTTPException

from fitup.phone.people import Person, may_act_as

__all__ = ["role", "signed_in"]


def signed_in(request: Request) -> Person:
    """The person whose phone asks: a dependency of routes behind the gate."""
    person: Person | None = getattr(request.state, "person", None)
    if person is None:
        raise HTTPException(401, "this phone is not paired: scan the code on the server's screen.")
    return person


def role(*roles: str) -> Callable[[Person], Person]:
    """A dependency that gives the person, and refuses (403) those who may not act as one of `roles`."""

    def acting(person: Annotated[Person, Depends(signed_in)]) -> Person:
        if not may_act_as(person, *roles):
            raise HTTPException(403, f"this is for {' or '.join(roles)}: ask one of them.")
        return person

    return acting
