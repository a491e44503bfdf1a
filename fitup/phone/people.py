"""Who holds a phone, and what that person may do and see."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.errors import UsageError
from fitup.evidence.writing import printable_name

__all__ = ["ROLES", "Person", "may_act_as", "may_see", "person_name"]

# From the least to the most that a person may do; each may what those before it may.
ROLES = ("fitter", "welder", "qc")
_LONGEST_NAME = 80


@dataclass(frozen=True, kw_only=True)
class Person:
    """The person for whom a phone was paired. `phone_id` tells the phone, 32 hexadecimal digits."""

    name: str
    role: str
    phone_id: str


def person_name(text: str) -> str:
    """A person's name as given, without what cannot be shown; UsageError where nothing is left."""
    name = " ".join(printable_name(text).replace("\ufffd", " ").split())
    if not name or len(name) > _LONGEST_NAME:
        raise UsageError(f"a person's name has 1 to {_LONGEST_NAME} characters: write it shorter or in full.")
    return name


def may_act_as(person: Person, *roles: str) -> bool:
    """Whether the person's role is one of `roles` or may more than one of them."""
    return any(ROLES.index(person.role) >= ROLES.index(role) for role in roles)


def may_see(person: Person, *, taken_by: str, current: bool) -> bool:
    """Whether the person may open a result: a fitter his own and the one now in force, the others all."""
    return person.role != "fitter" or current or taken_by == person.name
