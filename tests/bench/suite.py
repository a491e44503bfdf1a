"""Coverage suite: many photos of known truth over the factors of a shop, measured and scored.

How the figures are meant
-------------------------
error, coverage_95  as in `accuracy`
err_over_u          reading less truth in units of the stated standard uncertainty: its mean and rms
openings            stretches of 3 mm or more, truth over the limit, not hidden, in measured photos
missed              of these, those called within from end to end: nobody would look there
partly_within       of these, those of whose stations more than one in twenty is called within
within_wrong        joints called within as a whole although they have such an opening
false_over          spots over the limit in which, and 1 mm to either side, the truth is nowhere over it
seen_share          stations read, of those not hidden; in a photo that was refused nothing is seen
refused             photos without a reading
retakes             refused photos, and joints of which too little was seen for a verdict
mute                retakes without a reason or a remedy
unexpected          verdicts that the truth of a hostile scene does not allow, of its own photo and by
                    ordinary phones
good                clean scenes seen by ordinary phones

A renderer's arrises have the radius that the product assumes unless told otherwise, a shop's have not; how
far they differ is part of every interval. So the product is told a radius off by what it states of it,
drawn once for every scene. Nor have most scenes the step between their plates that nobody tells and one photo
cannot see: a step of h looks like a gap that is h tan(view) wider. For a butt joint without one it is drawn
anew for every photo, within what the product allows for, and added to the readings before they are scored;
`coverage_as_rendered` is the coverage without it. Verdicts and openings are those of the readings as they
are.

Prints of a wrong size that were checked with a caliper (a photocopy among them) are measured with that check,
and once more without it, in rows of their own that count nowhere else. Where nobody checked a print, places
count as that strip's own ruler tells them.
"""

from __future__ import annotations

import zlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fitup.errors import FitupError, RetakeError
from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.profile.budget import U_STEP_MM
from fitup.scale import target_layout
from tests.bench.accuracy import print_record_of, reading_of, settings_of
from tests.bench.kinds import kind_settings, told_off, told_radius_mm
from tests.bench.suite_photos import SuitePhoto, workers
from tests.bench.truth import Reading, Score, Truth, score

__all__ = ["SuiteOutcome", "assumed_radius_mm", "by_the_strip", "measure_suite", "suite_outcome"]

BESIDE_SPOT_MM = 1.0
STEP_MM = 0.5  # of the product's stations, for what a refused photo would have shown


@dataclass(frozen=True, kw_only=True, eq=False)
class SuiteOutcome:
    """One photo of the suite, measured and compared with its truth; without a score when it was refused."""

    name: str
    scene: str
    camera: str
    labels: tuple[str, ...]  # the factors that it counts for
    good: bool
    verdict: str
    said: str
    reason: str = ""  # of a retake
    mute: bool = False
    unexpected: bool = False
    score: Score | None
    false_over: tuple[tuple[float, float], ...] = ()
    visible: int = 0  # stations that could be seen
    # As covered in the score, but by the readings as they are, without the step that is drawn.
    covered_as_rendered: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, bool))
    parts_mm: dict[str, NDArray[np.float64]] = field(default_factory=dict)  # budget, at the scored stations

    @property
    def within_wrong(self) -> bool:
        return self.verdict == "within" and self.score is not None and bool(self.score.openings)


def measure_suite(
    photos: list[SuitePhoto], tell: Callable[[str], None] = print, *, print_checks: bool = True
) -> list[SuiteOutcome]:
    """Every photo through the product, in two processes, in their order; or as if no print was checked."""
    outcomes = []
    with workers() as pool:
        for outcome in pool.map(partial(_measured, print_checks=print_checks), photos, chunksize=4):
            outcomes.append(outcome)
            tell(outcome.name)
    return outcomes


def _measured(photo: SuitePhoto, *, print_checks: bool = True) -> SuiteOutcome:
    settings = _settings(photo.truth, photo.source.truth)
    if not print_checks:
        settings = replace(settings, print_record=None)
    try:
        inspection: Inspection | FitupError = inspect(photo.path, settings)
    except FitupError as error:
        inspection = error
    return suite_outcome(photo, inspection, print_checks=print_checks)


def _settings(truth: Truth, scene: Truth) -> InspectionSettings:
    """Return what a person tells, off by what is drawn once for the scene."""
    if truth.data["joint"].get("kind", "butt") == "butt":
        plain = settings_of(truth, print_record_of(truth))
        return replace(plain, arris_radius_mm=assumed_radius_mm(scene))
    plain = kind_settings(truth, len(truth.data["targets"]))
    return told_off(plain, truth, np.random.default_rng([zlib.crc32(scene.name.encode()), 9]))


def assumed_radius_mm(scene: Truth) -> float:
    """The scene's own arris radius, off by a normal deviation as the product states it, up to twice that."""
    rng = np.random.default_rng([zlib.crc32(scene.name.encode()), 9])
    off = float(np.clip(rng.standard_normal(), -2, 2))
    return told_radius_mm(float(scene.data["arris_radius_mm"]), off)


def suite_outcome(
    photo: SuitePhoto, result: Inspection | FitupError, *, print_checks: bool = True
) -> SuiteOutcome:
    """Compare what the product made of a photo with the photo's truth."""
    outcome = SuiteOutcome(
        name=photo.name,
        scene=photo.source.truth.name,
        camera=photo.camera.name,
        labels=labels_of(photo),
        good=photo.good,
        verdict="retake",
        said=str(result) if isinstance(result, FitupError) else result.verdict.sentence,
        score=None,
        visible=_could_be_seen(photo.truth),
    )
    if isinstance(result, RetakeError):
        mute = not (result.reason.strip() and result.remedy.strip())
        outcome = replace(outcome, reason=result.reason, mute=mute)
    elif isinstance(result, FitupError):
        outcome = replace(outcome, verdict="error", reason=type(result).__name__, mute=True)
    else:
        outcome = _scored(outcome, by_the_strip(photo.truth, print_checks=print_checks), result)
    return replace(outcome, unexpected=_unexpected(photo, outcome.verdict))


def _scored(outcome: SuiteOutcome, truth: Truth, result: Inspection) -> SuiteOutcome:
    reading, limit_mm = reading_of(result), result.limit.limit_mm
    own = as_rendered = score(truth, reading, limit_mm)
    if is_level(truth):
        slant = np.interp(own.station_mm, reading.station_mm, result.arrises.section.tangent)
        own = displaced(own, slant * _step_mm(outcome.name))
    scored = np.isin(reading.station_mm, own.station_mm)
    retake = result.verdict.word == "retake"
    reason = _main_reason(result.profile.unseen_reason) if retake else ""
    return replace(
        outcome,
        verdict=str(result.verdict.word),
        reason=reason,
        mute=retake and not (reason and result.verdict.advice.strip()),
        score=own,
        visible=own.visible,
        covered_as_rendered=as_rendered.covered,
        false_over=false_over_spots(truth, reading, limit_mm),
        parts_mm={part.name: part.u_mm[scored] for part in result.profile.budget},
    )


def is_level(truth: Truth) -> bool:
    """Whether it is a butt joint whose plates were rendered without a step between them."""
    step_mm = truth.data.get("hi_lo_mm", truth.data.get("stations", {}).get("step_mm", 0.0))
    return bool(truth.data["joint"].get("kind", "butt") == "butt" and not np.any(step_mm))


def displaced(own: Score, by_mm: NDArray[np.float64]) -> Score:
    """The same with readings (N,) displaced, and what of the intervals holds then."""
    read_mm = own.read_mm + by_mm
    low, high = (np.maximum(read_mm + side * 1.96 * own.u_mm, 0) for side in (-1, 1))
    covered = (low <= own.true_mm) & (own.true_mm <= high)
    return replace(own, read_mm=read_mm, error_mm=own.error_mm + by_mm, covered=covered)


def _step_mm(photo: str) -> float:
    """A step between the plates, drawn for a photo from all that the product allows for."""
    rng = np.random.default_rng([zlib.crc32(photo.encode()), 10])
    return float(rng.uniform(-1, 1) * np.sqrt(3) * U_STEP_MM)


def by_the_strip(truth: Truth, *, print_checks: bool = True) -> Truth:
    """The truth with places as the strip's own ruler tells them, where nobody has checked the print.

    A print of the wrong size displaces no place for the person who looks for it along that strip; the gap
    there is what a wrong scale gets wrong.
    """
    if print_checks and truth.data.get("print_check") is not None:
        return truth
    return replace(truth, s_mm=truth.s_mm / truth.data["target"].get("print_scale_along", 1.0))


def _main_reason(unseen: tuple[str, ...]) -> str:
    """Why most of the unseen stations were not seen."""
    told = Counter(reason for reason in unseen if reason).most_common(1)
    return f"too little seen: {told[0][0]}" if told else ""


def _unexpected(photo: SuitePhoto, verdict: str) -> bool:
    """Whether the scene's truth forbids this verdict; cameras off the ordinary may make less of the scene."""
    allowed = photo.truth.data.get("expected", {}).get("verdicts")
    judged = photo.camera.ordinary or photo.source.own
    return judged and allowed is not None and verdict not in allowed


def labels_of(photo: SuitePhoto) -> tuple[str, ...]:
    """The camera's factor, its level where it has one, and the scene's factor."""
    camera, scene = photo.camera, photo.source.scene_factor
    level = (f"camera: {camera.label}",) if camera.label != camera.factor else ()
    return (f"camera: {camera.factor}", *level, f"scene: {scene}")


def false_over_spots(truth: Truth, reading: Reading, limit_mm: float) -> tuple[tuple[float, float], ...]:
    """Spots over the limit in which and beside which the truth is nowhere over it."""
    return tuple(
        (start, end)
        for start, end in reading.over_spots_mm
        if not np.any(
            truth.gap_at(np.arange(start - BESIDE_SPOT_MM, end + BESIDE_SPOT_MM + 0.05, 0.1)) > limit_mm
        )
    )


def _could_be_seen(truth: Truth) -> int:
    """Stations beside the target whose truth is not hidden."""
    target = truth.data["target"]
    length_mm = target_layout(target["strip_number"], target["form"]).length_mm
    shown = ~truth.hidden & (truth.s_mm >= 0) & (truth.s_mm <= length_mm)
    return round(shown.sum() * truth.step_mm / STEP_MM)
