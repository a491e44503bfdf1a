"""Welds with their outcomes as a table for QC (RFC 4180), and what was learnt from them as JSON."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from typing import Any

from fitup import __version__
from fitup.evidence.archive.profile_rows import spreadsheet_text
from fitup.study.outcome import LEAST_EACH, LEAST_WELDS, SOUND_SHARE, OutcomeStudy
from fitup.study.outcome_pairs import Welds

__all__ = ["WELD_COLUMNS", "outcome_summary", "welds_csv"]

WELD_COLUMNS = (
    "wire_mm",
    "joint_kind",
    "entry",
    "outcome_entry",
    "day",
    "job",
    "part",
    "joint",
    "serial",
    "largest_gap_mm",
    "limit_mm",
    "outcome",
)


def welds_csv(studies: Iterable[OutcomeStudy]) -> bytes:
    """A row a weld; UTF-8 with a byte order mark, as names may have any letters; rows ended by CR LF."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(WELD_COLUMNS)
    for study in studies:
        for weld in study.welds:
            names = (weld.job, weld.part, weld.joint, weld.serial)
            writer.writerow(
                [
                    f"{weld.wire_um / 1000:.3f}",
                    spreadsheet_text(weld.joint_kind),
                    weld.number,
                    weld.outcome_number,
                    weld.day,
                    *(spreadsheet_text(name) for name in names),
                    f"{weld.gap_mm:.4f}",
                    f"{weld.limit_mm:.4f}",
                    weld.word,
                ]
            )
    return text.getvalue().encode("utf-8-sig")


def outcome_summary(studies: Iterable[OutcomeStudy], welds: Welds, about: dict[str, str]) -> dict[str, Any]:
    """All that was learnt; what is not known is null.

    Parameters
    ----------
    about : what the study is of: archive, job, part, ...
    """
    return {
        "kind": "outcomes",
        "program": f"fitup {__version__}",
        "about": about,
        "sound_share": SOUND_SHARE,
        "least_welds": LEAST_WELDS,
        "least_of_either_kind": LEAST_EACH,
        "left_out": dict(welds.left_out),
        "faults": list(welds.faults),
        "studies": [_study(study) for study in studies],
    }


def _study(study: OutcomeStudy) -> dict[str, Any]:
    interval, model, at = study.interval, study.model, study.at_limit
    words = [weld.word for weld in study.welds]
    return {
        "wire_mm": study.wire_um / 1000,
        "joint_kind": study.joint_kind,
        "welds": len(words),
        **{word: words.count(word) for word in ("sound", "repaired", "scrapped")},
        "reason": study.reason,
        "gap_mm": _number(study.gap_mm),
        "gap_low_mm": None if interval is None else _number(max(0.0, interval.low_mm)),
        "gap_high_mm": None if interval is None else _number(interval.high_mm),
        "intercept": None if model is None else _number(model.intercept),
        "slope_per_mm": None if model is None else _number(model.slope_per_mm),
        "separated": None if model is None else model.separated,
        "limit_mm": None if at is None else at.limit_mm,
        "chance_at_limit": None if at is None else at.chance,
        "chance_at_limit_low": None if at is None else at.low,
        "chance_at_limit_high": None if at is None else at.high,
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
