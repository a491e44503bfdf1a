"""What came of measuring an archive again, as data: a row an entry, and a summary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from fitup.remeasuring import Remeasured

__all__ = ["ALARMING", "row_of", "summary_of", "would_change"]

ALARMING = frozenset({"changed", "retake", "error"})
"""Results that a person must look at."""


def would_change(all_: Sequence[Remeasured]) -> bool:
    """Whether an entry would change, or could not be measured any more."""
    return any(one.again.result in ALARMING for one in all_)


def row_of(one: Remeasured) -> dict[str, Any]:
    """One entry: which, the result, and what changed; lengths in mm."""
    entry, again = one.stored.entry, one.again
    about = entry.about.model_dump(include={"job", "part", "joint", "serial", "who", "day"})
    change = again.change
    return {
        "entry": entry.number,
        "digest": one.stored.digest,
        "kind": entry.kind,
        **about,
        "result": again.result,
        "changed": [] if change is None else list(change.what),
        "sentence": again.sentence,
        "reason": again.reason,
        "change": None if change is None else asdict(change),
        "program": again.program,
        "seconds": round(again.seconds, 3),
    }


def summary_of(all_: Sequence[Remeasured], archive: str, seconds: float) -> dict[str, Any]:
    """All entries together; `archive` is its name, `seconds` what the whole took."""
    changes = [one.again.change for one in all_ if one.again.change is not None]
    verdicts = Counter(
        f"{change.verdict_then} to {change.verdict_now}"
        for change in changes
        if change.verdict_then != change.verdict_now
    )
    programs = {tuple(one.again.program.items()) for one in all_ if one.again.program is not None}
    return {
        "archive": archive,
        "measured_at_utc": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "entries": len(all_),
        "results": dict(sorted(Counter(one.again.result for one in all_).items())),
        "verdicts": dict(sorted(verdicts.items())),
        "stations_compared": sum(change.compared for change in changes),
        "stations_beyond": sum(change.beyond for change in changes),
        "stations_lost": sum(change.lost for change in changes),
        "stations_gained": sum(change.gained for change in changes),
        "largest_change_mm": max(
            (change.largest_change_mm for change in changes if change.largest_change_mm is not None),
            default=None,
        ),
        "programs": [dict(program) for program in sorted(programs)],
        "seconds": round(seconds, 3),
    }
