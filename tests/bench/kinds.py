"""Accuracy by joint kind and number of targets, of photos with known truth in demo_images/kinds.

Figures are meant as in `accuracy`. Photos with two targets are measured twice, with both and as if the second
were not used. A photo whose opening is hidden or lit through counts with the stations that were read.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fitup.errors import FitupError
from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.verdict import parse_sheet, parse_wire
from tests.bench.accuracy import reading_of
from tests.bench.truth import Score, Truth, load_truths, score

__all__ = ["KindOutcome", "kind_figures", "kind_settings", "kind_truths", "measure_kinds"]


@dataclass(frozen=True, kw_only=True, eq=False)
class KindOutcome:
    """One photo, measured with one or with both of its targets."""

    truth: Truth
    targets: int
    verdict: str
    said: str
    score: Score | None
    inspection: Inspection | None

    @property
    def kind(self) -> str:
        return str(self.truth.data["joint"]["kind"])


def kind_truths(folder: Path) -> list[Truth]:
    """Truths of the photos of other joint kinds than butt."""
    return [truth for truth in load_truths(folder) if truth.data["joint"]["kind"] != "butt"]


def kind_settings(truth: Truth, targets: int) -> InspectionSettings:
    """What a fitter would enter: the strips of these photos are from one sheet."""
    joint = truth.data["joint"]
    on = joint.get("target_on")
    return InspectionSettings(
        wire=parse_wire(truth.data["wire"]),
        sheet=parse_sheet(f"{truth.data['sheet_mm']}mm"),
        joint_kind=joint["kind"],
        target_on=None if on in (None, "A") else on,
        included_angle_deg=(joint.get("included_angle_deg") or 90.0)
        if joint["kind"] == "corner-full-open"
        else 90.0,
        two_targets=targets == 2,
        one_sheet=targets == 2,
    )


def measure_kinds(truths: list[Truth]) -> list[KindOutcome]:
    """Every photo with as many targets as it shows."""
    return [_outcome(truth, len(truth.data["targets"])) for truth in truths]


def _outcome(truth: Truth, targets: int) -> KindOutcome:
    settings = kind_settings(truth, targets)
    inspection, result = None, None
    try:
        inspection = inspect(truth.photo, settings)
    except FitupError as error:
        verdict, said = "refused", str(error)
    else:
        verdict, said = str(inspection.verdict.word), inspection.verdict.sentence
        result = score(truth, reading_of(inspection), inspection.limit.limit_mm)
    return KindOutcome(
        truth=truth, targets=targets, verdict=verdict, said=said, score=result, inspection=inspection
    )


def kind_figures(outcomes: list[KindOutcome]) -> list[dict[str, Any]]:
    """One row for each kind and number of targets, ready for JSON; lengths in mm."""
    groups = sorted({(outcome.kind, outcome.targets) for outcome in outcomes})
    return [
        {"kind": kind, "targets": targets}
        | _figures([o for o in outcomes if (o.kind, o.targets) == (kind, targets)])
        for kind, targets in groups
    ]


def _figures(outcomes: list[KindOutcome]) -> dict[str, Any]:
    scores = [outcome.score for outcome in outcomes if outcome.score is not None]
    errors = np.concatenate([s.error_mm for s in scores]) if scores else np.empty(0)
    row: dict[str, Any] = {
        "photos": len(outcomes),
        "refused": sum(outcome.score is None for outcome in outcomes),
        "stations": len(errors),
        "seen_share": _rounded(len(errors) / max(sum(s.visible for s in scores), 1)),
        "openings": sum(len(s.openings) for s in scores),
        "missed_openings": sum(o.missed for s in scores for o in s.openings),
        "false_over_spots": sum(len(s.false_over_spots) for s in scores),
    }
    if len(errors):
        row |= {
            "bias_mm": _rounded(errors.mean()),
            "rms_mm": _rounded(np.sqrt(np.mean(errors**2))),
            "p95_mm": _rounded(np.percentile(np.abs(errors), 95)),
            "mean_u_mm": _rounded(np.concatenate([s.u_mm for s in scores]).mean()),
            "coverage_95": _rounded(np.concatenate([s.covered for s in scores]).mean()),
        }
    return row


def kind_row(outcome: KindOutcome) -> dict[str, Any]:
    """One photo by itself."""
    return (
        {"photo": outcome.truth.name, "kind": outcome.kind, "targets": outcome.targets}
        | {key: value for key, value in _figures([outcome]).items() if key not in ("photos", "refused")}
        | {"verdict": outcome.verdict}
    )


def _rounded(value: float) -> float:
    return round(float(value), 4)
