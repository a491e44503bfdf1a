"""What the coverage suite found, as numbers: a row for all, for good photos, and for every factor."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from tests.bench.accuracy import error_figures, opening_figures
from tests.bench.suite import SuiteOutcome

__all__ = ["suite_figures", "suite_row", "worst_photos"]

COVERAGE = (0.93, 0.97)
WORST_COVERAGE = 0.88
SEEN_SHARE = 0.97
FALSE_OVER_SHARE = 1 / 50


def suite_figures(outcomes: list[SuiteOutcome]) -> dict[str, Any]:
    """Everything for bench.json; lengths in mm. Levels of a factor are rows beside the factor's own."""
    labels = sorted({label for outcome in outcomes for label in outcome.labels})
    rows = [suite_row(label, [o for o in outcomes if label in o.labels]) for label in labels]
    result: dict[str, Any] = {
        "photos": len(outcomes),
        "scenes": len({o.scene for o in outcomes}),
        "cameras": len({o.camera for o in outcomes}),
        "overall": suite_row("all", outcomes),
        "good": suite_row("good", [o for o in outcomes if o.good]),
        "by_factor": [row for row in rows if row["factor"].count(": ") < 2 or _kind(row)],
        "by_level": [row for row in rows if row["factor"].count(": ") == 2 and not _kind(row)],
        "retakes": dict(Counter(o.reason for o in outcomes if _retake(o)).most_common()),
        "retakes_mute": sum(o.mute for o in outcomes),
        "unexpected": [f"{o.name}: {o.verdict}" for o in outcomes if o.unexpected],
    }
    return result | {"targets": _targets(result), "worst_photos": worst_photos(outcomes)}


def suite_row(label: str, outcomes: list[SuiteOutcome]) -> dict[str, Any]:
    """One line of the table; see `suite` for what the figures mean."""
    scores = [o.score for o in outcomes if o.score is not None]
    found = opening_figures(scores)
    row: dict[str, Any] = {"factor": label, "photos": len(outcomes), "refused": len(outcomes) - len(scores),
                           "retakes": sum(map(_retake, outcomes))}  # fmt: skip
    errors = error_figures(scores)
    row |= {key: errors.get(key) for key in ("stations", "bias_mm", "rms_mm", "mean_u_mm", "coverage_95")}
    row |= _over_u(outcomes)
    rendered = [o.covered_as_rendered for o in outcomes if len(o.covered_as_rendered)]
    return row | {
        "coverage_as_rendered": _rounded(np.concatenate(rendered).mean()) if rendered else None,
        "openings": found["openings"],
        "missed": found["overlooked_openings"],
        "partly_within": found["missed_openings"],
        "within_wrong": sum(o.within_wrong for o in outcomes),
        "false_over": sum(len(o.false_over) for o in outcomes),
        "seen_share": _share(sum(len(s.error_mm) for s in scores), sum(o.visible for o in outcomes)),
    }


def worst_photos(outcomes: list[SuiteOutcome], count: int = 12) -> list[dict[str, Any]]:
    """The photos whose readings lie farthest outside what they state (rms of error over u)."""
    rows = []
    for outcome in outcomes:
        own = outcome.score
        if own is None or len(own.u_mm) == 0:
            continue
        rows.append(
            {
                "photo": outcome.name,
                "bias_mm": _rounded(own.error_mm.mean()),
                "rms_mm": _rounded(np.sqrt(np.mean(own.error_mm**2))),
                "mean_u_mm": _rounded(own.u_mm.mean()),
                "coverage_95": _rounded(own.covered.mean()),
                "rms_err_over_u": _rounded(np.sqrt(np.mean((own.error_mm / own.u_mm) ** 2))),
                "verdict": outcome.verdict,
            }
        )
    return sorted(rows, key=lambda row: -row["rms_err_over_u"])[:count]


def _over_u(outcomes: list[SuiteOutcome]) -> dict[str, float | None]:
    parts = [o.score.error_mm / o.score.u_mm for o in outcomes if o.score is not None and len(o.score.u_mm)]
    if not parts:
        return {"mean_err_over_u": None, "rms_err_over_u": None}
    off = np.concatenate(parts)
    return {"mean_err_over_u": _rounded(off.mean()), "rms_err_over_u": _rounded(np.sqrt(np.mean(off**2)))}


def _targets(result: dict[str, Any]) -> list[dict[str, Any]]:
    """What the suite must show, what it shows, and whether that is enough."""
    overall, good = result["overall"], result["good"]
    read = overall["photos"] - overall["refused"]
    rated = [row for row in result["by_factor"] if row["coverage_95"] is not None]
    worst = min(rated, key=lambda row: row["coverage_95"], default=None)
    spots = overall["false_over"] / max(read, 1)
    rows = [
        ("openings called within", overall["missed"] + overall["within_wrong"], "0",
         overall["missed"] + overall["within_wrong"] == 0),
        ("false over spots a joint", _rounded(spots), "<= 0.02", spots <= FALSE_OVER_SHARE),
        ("share seen, good photos", good["seen_share"], ">= 0.97", (good["seen_share"] or 0) >= SEEN_SHARE),
        ("coverage of 95 % intervals", overall["coverage_95"], "0.93 to 0.97",
         COVERAGE[0] <= (overall["coverage_95"] or 0) <= COVERAGE[1]),
        ("retakes without reason or remedy", result["retakes_mute"], "0", result["retakes_mute"] == 0),
        ("verdicts that the truth does not allow", len(result["unexpected"]), "0", not result["unexpected"]),
    ]  # fmt: skip
    if worst is not None:
        name, least = f"least coverage ({worst['factor']})", worst["coverage_95"]
        rows.append((name, least, ">= 0.88", least >= WORST_COVERAGE))
    return [dict(zip(("what", "found", "wanted", "met"), row, strict=True)) for row in rows]


def _retake(outcome: SuiteOutcome) -> bool:
    return outcome.score is None or outcome.verdict == "retake"


def _kind(row: dict[str, Any]) -> bool:
    return str(row["factor"]).startswith("scene: ")


def _share(part: int, whole: int) -> float | None:
    return round(part / whole, 4) if whole else None


def _rounded(value: float) -> float:
    return round(float(value), 4)
