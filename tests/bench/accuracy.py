"""Accuracy over all photos with known truth, of the product and of the script.

How the figures are meant
-------------------------
error           reading less truth at stations that were read and whose truth is not hidden (tack, clamp)
coverage_95     share of these whose truth lies in [gap ± 1.96 u], the lower end cut at zero; near zero the
                interval is therefore one-sided
missed_openings (strict) stretches of 3 mm or more, truth over the limit, of whose stations more than one in
                twenty is called within. One in twenty is what the 95 % rule itself may get wrong where the
                gap is only just over the limit, at an opening's ends.
overlooked_openings (lenient) the same stretches where no station is flagged: nobody would look there
false_over_spots spots over the limit longer than 2 mm in which the truth is nowhere over it
false_seen      stations that were read although a tack or clamp hides the gap
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitup.errors import FitupError, RetakeError
from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.scale import PrintRecord, target_layout
from fitup.verdict import fillable_gap, parse_sheet, parse_wire
from tests.bench.scripted import read_by_script
from tests.bench.truth import FINE_PX_PER_MM, HAIRLINE_MM, Reading, Score, Truth, score

__all__ = [
    "Outcome",
    "error_figures",
    "figures",
    "measure_all",
    "opening_figures",
    "photo_row",
    "print_record_of",
    "reading_of",
    "settings_of",
    "worst_stations",
]


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """One photo through the product and through the script."""

    truth: Truth
    limit_mm: float
    verdict: str
    said: str  # why it was refused, or the verdict's sentence
    score: Score | None
    dominant: str  # largest line of the budget
    script: Score | None
    station_off_mm: float = float(
        "nan"
    )  # largest distance along the joint between where a station is and says
    counted: bool = True  # False for a second look at the same photo

    @property
    def as_expected(self) -> bool | None:
        expected = self.truth.data.get("expected_verdict")
        return None if expected is None else self.verdict == expected


def settings_of(truth: Truth, print_record: PrintRecord | None = None) -> InspectionSettings:
    """What a fitter would enter for this photo."""
    return InspectionSettings(
        wire=parse_wire(truth.data["wire"]),
        sheet=parse_sheet(f"{truth.data['sheet_mm']}mm"),
        print_record=print_record,
    )


def measure_all(truths: list[Truth], tell: Callable[[str], None] = print) -> list[Outcome]:
    """Every photo once, and once more with its print check where the truth holds one."""
    outcomes = []
    for truth in truths:
        tell(truth.name)
        outcomes.append(_outcome(truth, None))
        record = print_record_of(truth)
        if record is not None:
            outcomes.append(_outcome(truth, record))
    return outcomes


def _outcome(truth: Truth, record: PrintRecord | None) -> Outcome:
    settings = settings_of(truth, record)
    limit_mm = fillable_gap(settings.wire).limit_mm
    verdict, said, own, dominant, off = "", "", None, "", float("nan")
    try:
        inspection = inspect(truth.photo, settings)
    except FitupError as error:
        verdict, said = ("retake" if isinstance(error, RetakeError) else "error"), str(error)
    else:
        verdict, said = str(inspection.verdict.word), inspection.verdict.sentence
        own = score(truth, reading_of(inspection), limit_mm)
        dominant = inspection.profile.budget[0].name
        off = _station_off(truth, inspection)
    return Outcome(
        truth=truth,
        limit_mm=limit_mm,
        verdict=verdict,
        said=said,
        score=own,
        dominant=dominant,
        script=_script(truth, limit_mm) if record is None else None,
        station_off_mm=off,
        counted=record is None,
    )


def reading_of(inspection: Inspection) -> Reading:
    profile, verdict = inspection.profile, inspection.verdict
    return Reading(
        station_mm=profile.station_mm,
        gap_mm=profile.gap_mm,
        u_mm=profile.u_gap_mm,
        state=np.array([str(state) for state in verdict.states]),
        px_per_mm=inspection.scale.px_per_mm(inspection.arrises.band.xy_mm),
        over_spots_mm=tuple((s.start_mm, s.end_mm) for s in verdict.spots if str(s.state) == "over"),
    )


def _station_off(truth: Truth, inspection: Inspection) -> float:
    """Stations projected on the truth's centre line against the s that they state, at most, mm."""
    at = truth.data["stations"]
    centre = (np.array(at["near_xy_mm"]) + np.array(at["far_xy_mm"])) / 2
    along = (centre[-1] - centre[0]) / np.linalg.norm(centre[-1] - centre[0])
    on_line = np.interp(inspection.arrises.band.xy_mm @ along, centre @ along, truth.s_mm)
    return float(np.abs(on_line - inspection.profile.station_mm).max())


def _script(truth: Truth, limit_mm: float) -> Score | None:
    target = truth.data["target"]
    layout = target_layout(target["strip_number"], target["form"])
    reading = read_by_script(truth, layout, limit_mm)
    return None if reading is None else score(truth, reading, limit_mm)


def print_record_of(truth: Truth) -> PrintRecord | None:
    """The caliper readings of the truth as a print check; None where it holds none."""
    check = truth.data.get("print_check")
    if check is None:
        return None
    along, across = check["along"], check["across"]
    return PrintRecord(
        number=f"check of {truth.name}",
        date=check["date"],
        instrument="invented caliper",
        u_instrument_mm=0.02,
        along_mm=float(np.mean(along["read_mm"])),
        across_mm=float(np.mean(across["read_mm"])),
        nominal_along_mm=along["nominal_mm"],
        nominal_across_mm=across["nominal_mm"],
    )


# ------------------------------------------------------------------------------------------------ figures


def figures(outcomes: list[Outcome]) -> dict[str, Any]:
    """The overall numbers, ready for JSON; lengths in mm."""
    counted = [o for o in outcomes if o.counted]
    own = [o.score for o in counted if o.score is not None]
    script = [o.script for o in counted if o.script is not None]
    hair = _hairline(own)
    return {
        **error_figures(own),
        **_least_coverage(counted),
        **opening_figures(own),
        "false_over_spots": sum(len(s.false_over_spots) for s in own),
        "false_seen_stations": sum(s.false_seen for s in own),
        "false_seen_called_within": sum(s.false_seen_within for s in own),
        "seen_share": _share(sum(len(s.error_mm) for s in own), sum(s.visible for s in own)),
        "median_photo_rms_mm": _median_rms(own),
        "script_median_photo_rms_mm": _median_rms(script),
        "photos": len(counted),
        "photos_refused": sum(o.score is None for o in counted),
        "verdicts_as_expected": sum(o.as_expected is True for o in counted),
        "fine": error_figures([s.only(s.px_per_mm >= FINE_PX_PER_MM) for s in own]),
        "hairline": hair,
        **{f"script_{k}": v for k, v in error_figures(script).items() if k in SCRIPT_FIGURES},
        **{f"script_{k}": v for k, v in opening_figures(script).items()},
        "script_false_over_spots": sum(len(s.false_over_spots) for s in script),
        "script_photos_without_reading": sum(o.script is None for o in counted),
    }


def _least_coverage(outcomes: list[Outcome]) -> dict[str, Any]:
    """The photo whose stated intervals hold least often: an average over photos would hide it."""
    held = [
        (float(o.score.covered.mean()), o.truth.name)
        for o in outcomes
        if o.score is not None and len(o.score.covered)
    ]
    if not held:
        return {}
    least, name = min(held)
    return {"least_coverage_95": round(least, 4), "least_coverage_photo": name}


def _median_rms(scores: list[Score]) -> float:
    """Of the usual photo: one on which a method breaks down does not speak for all."""
    return _mm(np.median([np.sqrt(np.mean(s.error_mm**2)) for s in scores if len(s.error_mm)] or [np.nan]))


SCRIPT_FIGURES = ("bias_mm", "rms_mm", "p95_mm", "median_abs_mm", "stations")


def error_figures(scores: list[Score]) -> dict[str, Any]:
    """Error and stated uncertainty over all stations that were read; only `stations` where there are none."""
    error = np.concatenate([s.error_mm for s in scores]) if scores else np.empty(0)
    covered = np.concatenate([s.covered for s in scores]) if scores else np.empty(0)
    u = np.concatenate([s.u_mm for s in scores]) if scores else np.empty(0)
    if len(error) == 0:
        return {"stations": 0}
    return {
        "bias_mm": _mm(error.mean()),
        "rms_mm": _mm(np.sqrt(np.mean(error**2))),
        "p95_mm": _mm(np.quantile(np.abs(error), 0.95)),
        "median_abs_mm": _mm(np.median(np.abs(error))),
        "max_mm": _mm(np.abs(error).max()),
        "coverage_95": round(float(covered.mean()), 4) if len(covered) else None,
        "mean_u_mm": _mm(u.mean()) if len(u) else None,
        "stations": len(error),
    }


def opening_figures(scores: list[Score]) -> dict[str, int]:
    """Openings over the limit, and how many of them were missed (strict) and overlooked (lenient)."""
    openings = [o for s in scores for o in s.openings]
    return {
        "openings": len(openings),
        "missed_openings": sum(o.missed for o in openings),
        "overlooked_openings": sum(o.overlooked for o in openings),
    }


def _hairline(scores: list[Score]) -> dict[str, Any]:
    """Stations whose true gap is 0.1 mm or less: does anything read wide?"""
    true = np.concatenate([s.true_mm for s in scores]) if scores else np.empty(0)
    read = np.concatenate([s.read_mm for s in scores]) if scores else np.empty(0)
    thin = true <= HAIRLINE_MM
    if not thin.any():
        return {"stations": 0}
    return {
        "stations": int(thin.sum()),
        "largest_reading_mm": _mm(read[thin].max()),
        "largest_excess_mm": _mm((read - true)[thin].max()),
        "p95_reading_mm": _mm(np.quantile(read[thin], 0.95)),
    }


def worst_stations(outcomes: list[Outcome], count: int = 8) -> list[dict[str, Any]]:
    """The readings farthest outside what they state, in units of it; one per 5 mm of joint."""
    rows = []
    for outcome in outcomes:
        own = outcome.score
        if own is None or len(own.u_mm) == 0:
            continue
        off = np.abs(own.error_mm) / own.u_mm
        for place in np.unique(own.station_mm // 5):
            k = int(np.argmax(np.where(own.station_mm // 5 == place, off, -1)))
            rows.append(
                {
                    "photo": outcome.truth.name + ("" if outcome.counted else " + print check"),
                    "s_mm": float(own.station_mm[k]),
                    "true_mm": _mm(own.true_mm[k]),
                    "read_mm": _mm(own.read_mm[k]),
                    "u_mm": _mm(own.u_mm[k]),
                    "error_over_u": round(float(own.error_mm[k] / own.u_mm[k]), 2),
                }
            )
    return sorted(rows, key=lambda row: -abs(row["error_over_u"]))[:count]


def photo_row(outcome: Outcome) -> dict[str, Any]:
    """One photo's line of the table and of bench.json."""
    own, script = outcome.score, outcome.script
    row: dict[str, Any] = {
        "photo": outcome.truth.name + ("" if outcome.counted else " + print check"),
        "verdict": outcome.verdict,
        "expected": outcome.truth.data.get("expected_verdict"),
        "said": outcome.said,
    }
    if own is not None:
        row |= {
            "px_per_mm": round(float(np.median(own.px_per_mm)), 1) if len(own.px_per_mm) else None,
            **error_figures([own]),
            "seen_share": round(own.seen_share, 4),
            "station_off_mm": round(outcome.station_off_mm, 3),
            "false_seen": own.false_seen,
            "false_over_spots": len(own.false_over_spots),
            **opening_figures([own]),
            "largest_influence": outcome.dominant,
        }
    if script is not None:
        row |= {
            "script_rms_mm": error_figures([script]).get("rms_mm"),
            "script_missed_openings": opening_figures([script])["missed_openings"],
        }
    return row


def _mm(value: float) -> float:
    return round(float(value), 5)


def _share(part: int, whole: int) -> float:
    return round(part / whole, 4) if whole else float("nan")
