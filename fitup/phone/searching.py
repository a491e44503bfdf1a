"""The archive searched by what a person typed, and what was found in few words."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.entry import MEASURED_KINDS, EntryKind, OutcomeWord
from fitup.evidence.archive.finding import Query
from fitup.phone.joint_state import is_void, later_of

__all__ = ["Asked", "found_entries"]

_USUAL, _MOST = 50, 200
_Text = Annotated[str, Field(max_length=200)]


def _day(text: str) -> str:
    return date.fromisoformat(text).isoformat() if text else ""


_Day = Annotated[str, Field(max_length=10), AfterValidator(_day)]


class Asked(BaseModel):
    """A search form: what is empty does not matter. Pages follow by `before`, the last entry's number."""

    model_config = ConfigDict(frozen=True)

    word: _Text = ""
    kind: EntryKind | Literal[""] = ""
    job: _Text = ""
    part: _Text = ""
    joint: _Text = ""
    serial: _Text = ""
    who: _Text = ""
    verdict: Literal["", "within", "re-fixture", "gauge", "retake"] = ""
    outcome: OutcomeWord | Literal[""] = ""
    from_day: _Day = ""
    to_day: _Day = ""
    before: Annotated[int, Field(ge=0, le=2**31 - 1)] = 0
    most: Annotated[int, Field(ge=1, le=_MOST)] = _USUAL


def found_entries(archive: Archive, asked: Asked) -> dict[str, Any]:
    """Entries that fit, the newest first, and whether there are more."""
    found = archive.search(_query(asked), asked.most + 1, asked.before or None)
    lines = []
    for one in found[: asked.most]:
        result = later_of(archive, one)
        about, entry = result.about, one.entry
        measured = entry.kind in MEASURED_KINDS
        own_outcome = "" if entry.outcome is None else entry.outcome.word
        lines.append(
            {
                "entry": entry.number,
                "url": f"/qc/{entry.number}",
                "kind": entry.kind,
                "job": about.job,
                "part": about.part,
                "joint": about.joint,
                "serial": about.serial,
                "verdict": (result.verdict if measured else about.verdict) or None,
                "when": entry.added_at_utc,
                "day": about.day,
                "who": about.who,
                "sentence": about.sentence or entry.note,
                "outcome": result.outcome or own_outcome or None,
                "void": is_void(result.later),
            }
        )
    return {"found": lines, "more": len(found) > asked.most, "query": asked.model_dump()}


def _query(asked: Asked) -> Query:
    names = ("kind", "job", "part", "joint", "serial", "who", "verdict", "outcome", "from_day", "to_day")
    told = {name: getattr(asked, name) for name in names if getattr(asked, name).strip()}
    return Query(words=tuple(asked.word.split()[:20]), **told)
