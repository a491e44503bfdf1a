"""Accuracy by joint kind and number of targets, of photos with known truth in demo_images/kinds.

Figures are meant as in `accuracy`. A photo whose opening is hidden or lit through counts with the stations
that were read.

What a person tells of a joint is exactly true in these scenes, and a part of every interval is there because
it never is. So every photo is measured again and again, told each time a radius of the arrises, a target's
and a sheet's thickness, an angle and a depth of setting that are off as the product states of them, all drawn
anew: coverage_drawn is the share of true gaps in those intervals. Of a flush corner or an edge joint nobody
tells how far the far plate stands out; a step of h there looks like a gap that is h tan(view) wider, so that
one is drawn and counted as such. coverage_95 is that of the plain readings.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitup.edges.section import U_ANGLE_DEG
from fitup.errors import FitupError
from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.profile.arris_shading import u_radius_mm
from fitup.profile.budget import U_STEP_MM
from fitup.profile.second_target import U_SHEET_MM
from fitup.scale.scale_map import U_THICKNESS_MM
from fitup.verdict import parse_sheet, parse_wire
from tests.bench.accuracy import reading_of
from tests.bench.truth import Score, Truth, load_truths, score

__all__ = [
    "KindOutcome",
    "covered_drawn",
    "kind_figures",
    "kind_settings",
    "kind_truths",
    "measure_kinds",
    "told_off",
    "told_radius_mm",
]

DRAWS = 8
COVERED = 1.96
STEPPED = ("corner-flush", "edge")  # kinds whose far plate may stand out by what nobody tells
FARTHEST = 2.0  # standard deviations
LEAST_RADIUS_MM = 0.01
SOLVING = 60  # steps to a radius that is off by its own uncertainty
TARGET_MM = 0.1  # thickness of a paper strip


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


def covered_drawn(truth: Truth, targets: int, draws: int = DRAWS) -> NDArray[np.bool_]:
    """Whether the true gaps lie in the intervals, at all stations of all draws of what a person tells."""
    rng = np.random.default_rng([zlib.crc32(truth.name.encode()), targets])
    plain, found = kind_settings(truth, targets), []
    for _ in range(draws):
        try:
            inspection = inspect(truth.photo, told_off(plain, truth, rng))
        except FitupError:
            continue
        seen = score(truth, reading_of(inspection), inspection.limit.limit_mm)
        slant = np.interp(seen.station_mm, inspection.profile.station_mm, inspection.arrises.section.tangent)
        step = rng.uniform(-1, 1) * np.sqrt(3) * U_STEP_MM if plain.joint_kind in STEPPED else 0.0
        found.append(np.abs(seen.error_mm + step * slant) <= COVERED * seen.u_mm)
    return np.concatenate(found) if found else np.empty(0, bool)


def told_off(plain: InspectionSettings, truth: Truth, rng: np.random.Generator) -> InspectionSettings:
    """Return the settings, all that a person tells off by normal deviations as the product states them."""
    radius, target, sheet, angle, depth = np.clip(rng.standard_normal(5), -FARTHEST, FARTHEST)
    true_mm = float(truth.data["arris_radius_mm"])
    sheet_mm = truth.data["sheet_mm"] + U_SHEET_MM * sheet
    open_corner = plain.joint_kind == "corner-full-open"
    return replace(
        plain,
        arris_radius_mm=told_radius_mm(true_mm, float(radius)),
        target_thickness_mm=TARGET_MM + U_THICKNESS_MM * target,
        sheet=parse_sheet(f"{sheet_mm:.4f}mm"),
        included_angle_deg=plain.included_angle_deg + (U_ANGLE_DEG * angle if open_corner else 0.0),
        overlap_mm=sheet_mm / 2 + U_STEP_MM * depth if plain.joint_kind == "corner-half-open" else None,
    )


def told_radius_mm(true_mm: float, deviation: float) -> float:
    """An arris radius [mm] as a person tells it, off by so many standard deviations.

    Told too small it is off by what the product states of the smaller one: that is all the product hears of.
    """
    if deviation > 0:
        return round(true_mm + deviation * u_radius_mm(true_mm), 4)
    told_mm = true_mm
    for _ in range(SOLVING):
        told_mm = max(true_mm + deviation * u_radius_mm(told_mm), LEAST_RADIUS_MM)
    return round(told_mm, 4)


def kind_figures(outcomes: list[KindOutcome], *, drawn: bool = False) -> list[dict[str, Any]]:
    """One row for each kind and number of targets, ready for JSON; lengths in mm."""
    groups = sorted({(outcome.kind, outcome.targets) for outcome in outcomes})
    rows = []
    for kind, targets in groups:
        own = [o for o in outcomes if (o.kind, o.targets) == (kind, targets)]
        rows.append({"kind": kind, "targets": targets} | _figures(own))
        if drawn:
            covered = np.concatenate([covered_drawn(o.truth, targets) for o in own])
            rows[-1]["coverage_drawn"] = _rounded(covered.mean()) if len(covered) else None
    return rows


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
