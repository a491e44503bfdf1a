"""An invented archive: full records of one joint of many parts, gaps that were planted, what came after.

`python -m tests.study.invented_archive FOLDER` makes one to look at.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from fitup.evidence.archive.afterwards import correction_draft, outcome_draft
from fitup.evidence.archive.archive import Added, Archive, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About, Outcome
from fitup.evidence.building import build_record
from fitup.evidence.record_file import record_to_json
from tests.evidence.builders import make_filing, make_inspection
from tests.study.invented_parts import FIRST_DAY, LIMIT_MM, STEP_MM, invented_gaps

PART, JOINT = "rinse tank", "J4"


@dataclass(frozen=True)
class Seen:
    """A record to be made: which part, when, and what was seen of it (NaN where nothing)."""

    gap_mm: np.ndarray
    serial: str
    day: str = str(FIRST_DAY)
    joint: str = JOINT
    wire_um: int = 900
    u_mm: float = 0.03
    verdict: str = ""
    kind: str = "butt"
    first_mm: float = 0.0


@lru_cache(maxsize=1)
def template() -> dict[str, Any]:
    record: dict[str, Any] = json.loads(record_to_json(build_record(make_inspection(), make_filing())))
    return record


def record_bytes(seen: Seen) -> bytes:
    """A record that its schema accepts, with these gaps."""
    record = dict(template())
    gaps = [None if np.isnan(gap) else max(float(gap), 0.0) for gap in seen.gap_mm]
    known = [gap for gap in gaps if gap is not None]
    largest = max(known, default=None)
    record["limit"] = {**record["limit"], "limit_mm": LIMIT_MM}
    record["request"] = {**record["request"], "joint_kind": seen.kind}
    record["photo"] = {**record["photo"], "name": f"{seen.serial or 'part'} {seen.day}.jpg"}
    record["profile"] = {
        **record["profile"],
        "step_mm": STEP_MM,
        "stations": [
            {
                "station_mm": seen.first_mm + STEP_MM * index,
                "gap_mm": gap,
                "u_gap_mm": None if gap is None else seen.u_mm,
                "near_mm": None,
                "far_mm": None,
                "near_px": None,
                "far_px": None,
                "state": "unseen" if gap is None else "over" if gap > LIMIT_MM else "within",
                "unseen_reason": "covered" if gap is None else "",
            }
            for index, gap in enumerate(gaps)
        ],
    }
    record["verdict"] = {
        **record["verdict"],
        "word": verdict_of(seen),
        "largest_gap_mm": largest,
        "u_largest_gap_mm": None if largest is None else seen.u_mm,
        "seen_share": len(known) / len(gaps),
    }
    return json.dumps(record).encode()


def verdict_of(seen: Seen) -> str:
    if seen.verdict:
        return seen.verdict
    return "re-fixture" if np.nanmax(seen.gap_mm) > LIMIT_MM else "within"


def draft_of(seen: Seen) -> Draft:
    largest = np.nanmax(seen.gap_mm)
    about = About(
        job="RT-40",
        part=PART,
        joint=seen.joint,
        serial=seen.serial,
        who="K. M.",
        day=seen.day,
        verdict=verdict_of(seen),  # type: ignore[arg-type]
        wire_um=seen.wire_um,
        limit_um=round(1000 * LIMIT_MM),
        largest_gap_um=max(0, round(1000 * float(largest))),
        sentence="Invented.",
    )
    return Draft(
        kind="inspection", about=about, files=(DraftFile.of("record", "record.json", record_bytes(seen)),)
    )


def invented_archive(folder: Path, gap_mm: np.ndarray, *, per_day: int = 2) -> tuple[Archive, list[Added]]:
    """A record for every part, in the order of time."""
    archive = open_archive(str(folder), create=True)
    first = date.fromisoformat(str(FIRST_DAY))
    return archive, archive.add(
        [
            draft_of(
                Seen(gap, serial=f"S-{index:04d}", day=str(first + timedelta(days=(index - 1) // per_day)))
            )
            for index, gap in enumerate(gap_mm, start=1)
        ]
    )


def correct(archive: Archive, added: Added, right: dict[str, str], *, void: bool = False) -> Added:
    draft = correction_draft(
        added,
        right,
        void=void,
        who="QC",
        day="2026-12-01",
        why="typed wrongly",
        later=archive.later(added.entry.number),
    )
    return archive.add([draft])[0]


def outcomes(archive: Archive, added: Sequence[Added], words: Sequence[str], day: str = "2026-12-01") -> None:
    archive.add(
        [
            outcome_draft(one, Outcome(word=word), who="QC", day=day)  # type: ignore[arg-type]
            for one, word in zip(added, words, strict=True)
        ]
    )


def main(folder: str) -> None:
    gap_mm, _ = invented_gaps(7)
    archive, added = invented_archive(Path(folder), gap_mm)
    rng = np.random.default_rng(7)
    largest = np.nanmax(gap_mm, axis=1)
    sound = rng.uniform(size=len(largest)) < 1 / (1 + np.exp(9.0 * (largest - 1.25)))
    outcomes(archive, added, ["sound" if one else "repaired" for one in sound])


if __name__ == "__main__":
    main(sys.argv[1])
