"""What makes an entry findable, and the questions that find it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Select, select

from fitup.evidence.archive.draft import main_file
from fitup.evidence.archive.entry import Entry
from fitup.evidence.archive.models import EntryRow, FindingRow, LinkRow

__all__ = ["FINDING_COLUMNS", "Query", "finding_of", "later_entries", "links_of", "selection"]

FINDING_COLUMNS = (
    "number", "kind", "day", "job", "part", "joint", "serial", "who", "verdict", "outcome", "wire_um",
    "main_sha256", "text",
)  # fmt: skip
"""The columns of `finding`, in the order that `finding_of` gives them."""


@dataclass(frozen=True, kw_only=True)
class Query:
    """What is searched for; what is None or empty does not matter, and all else must hold.

    Names are compared as a whole and whatever their case; every one of `words` must occur somewhere in the
    entry's texts. Days are written YYYY-MM-DD, both included.
    """

    kind: str | None = None
    job: str | None = None
    part: str | None = None
    joint: str | None = None
    serial: str | None = None
    who: str | None = None
    verdict: str | None = None
    outcome: str | None = None
    wire_um: int | None = None
    from_day: str | None = None
    to_day: str | None = None
    words: tuple[str, ...] = ()


def finding_of(entry: Entry) -> dict[str, Any]:
    """The row of `finding` that belongs to an entry."""
    about = entry.about
    outcome = entry.outcome
    texts = [
        *(about.job, about.part, about.joint, about.serial, about.who, about.sentence, entry.note),
        *(one.name for one in entry.files),
        *(() if outcome is None else (outcome.word, outcome.bead_colour, outcome.penetration)),
        *(() if entry.correction is None else (entry.correction.by,)),
    ]
    return {
        "number": entry.number,
        "kind": entry.kind,
        "day": about.day,
        "job": _folded(about.job),
        "part": _folded(about.part),
        "joint": _folded(about.joint),
        "serial": _folded(about.serial),
        "who": _folded(about.who),
        "verdict": about.verdict,
        "outcome": "" if outcome is None else outcome.word,
        "wire_um": about.wire_um,
        "main_sha256": main_file(entry),
        "text": _folded("\n".join(text for text in texts if text)),
    }


def links_of(entry: Entry) -> list[dict[str, int]]:
    """The rows of `link` that belong to an entry."""
    numbers = sorted({one.number for one in entry.refers_to})
    return [{"number": entry.number, "to_number": number} for number in numbers]


def selection(query: Query, most: int | None = None, before: int | None = None) -> Select[str, str]:
    """Digest and content of the entries that a query finds, the newest first; only those before a number."""
    conditions = _conditions(query)
    if before is not None:
        conditions.append(FindingRow.number < before)
    found = select(FindingRow.number).where(*conditions).order_by(FindingRow.number.desc())
    numbers = found.limit(most).subquery()
    return (
        select(EntryRow.digest, EntryRow.content)
        .join(numbers, EntryRow.number == numbers.c.number)
        .order_by(EntryRow.number.desc())
    )


def later_entries(number: int) -> Select[str, str]:
    """Digest and content of the entries that refer to one, in their order."""
    return (
        select(EntryRow.digest, EntryRow.content)
        .join(LinkRow, LinkRow.number == EntryRow.number)
        .where(LinkRow.to_number == number)
        .order_by(EntryRow.number)
    )


def _conditions(query: Query) -> list[ColumnElement[bool]]:
    row = FindingRow
    same = {
        row.kind: query.kind,
        row.job: query.job,
        row.part: query.part,
        row.joint: query.joint,
        row.serial: query.serial,
        row.who: query.who,
        row.verdict: query.verdict,
        row.outcome: query.outcome,
    }
    conditions: list[ColumnElement[bool]] = [
        column == _folded(value) for column, value in same.items() if value is not None
    ]
    if query.wire_um is not None:
        conditions.append(row.wire_um == query.wire_um)
    if query.from_day is not None:
        conditions.append(row.day >= query.from_day)
    if query.to_day is not None:
        conditions.append(row.day <= query.to_day)
    conditions += [row.text.contains(_folded(word), autoescape=True) for word in query.words if word.strip()]
    return conditions


def _folded(text: str) -> str:
    return text.strip().casefold()
