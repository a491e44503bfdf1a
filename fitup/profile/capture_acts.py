"""What a fitter can do for a better photo: each act once, with the influences that it works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.profile.budget import NOISE, STEP
from fitup.profile.needs import Need
from fitup.profile.photo_readings import PhotoReadings
from fitup.profile.result import Influence

__all__ = [
    "BLURRED",
    "BLUR_BEARABLE_PX",
    "BLUR_USUAL_PX",
    "BY_SAMPLING",
    "SLANTED",
    "CaptureAdvice",
    "acts_for",
    "blur_influences",
    "needed_sampling",
    "ranked_advice",
]

TONE, BLUR, LANDS = "tone curve", "blur", "light on the lands"
SHAPE, FLOOR = "shape of the edges", "floor of the gap"
BLURRED = (BLUR, TONE)  # a wrong curve moves an edge within its own width
SLANTED = (STEP, "cut face", "angle between the plates")
# Known in pixels, so that their millimetres shrink as the sampling grows.
BY_SAMPLING = (NOISE, TONE, BLUR, LANDS, SHAPE, FLOOR)
LEAST_PX_PER_MM = 5.0  # that of the search for the joint
# Sigma [px] that phones reach, and that up to which tone curve and edges read well (found on drawn photos).
BLUR_USUAL_PX, BLUR_BEARABLE_PX = 1.5, 2.3
MOVED_PX = 1.5
_FULL_MEGAPIXELS = 8.0  # phones have 12 and more: a smaller photo was scaled or cut (common practice)
_CLOSER = 1.3  # times the sampling, when more is not needed but still helps most
_CLOSE_MM = 15.0  # from pattern to joint, as near as the paper's rim lets it
LEAST_FALL = 0.01  # of the uncertainty, below which an act is not worth telling


@dataclass(frozen=True, kw_only=True)
class CaptureAdvice:
    """One act, and by how much it would make the gap surer at the decisive place.

    `u_after_mm` is the combined standard uncertainty there if the influences that the act works on were
    halved and all others stayed; `fall_mm` is how much less that is than now.
    """

    remedy: str
    influences: tuple[str, ...]
    u_after_mm: float
    fall_mm: float


def acts_for(readings: PhotoReadings, need: Need | None) -> dict[str, tuple[str, tuple[str, ...]]]:
    """Acts by key: the remedy in a fitter's words, and the influences it works on; no influence twice."""
    sharp = blur_influences(readings)
    closer = tuple(name for name in (NOISE, TONE, BLUR, LANDS) if name not in sharp)
    return {
        "closer": (_closer(readings, need), closer),
        "sharp": (_sharp(readings), sharp),
        "square": (_square(readings), SLANTED),
        "lamp": ("turn the lamp to the other side of the joint, so that no arris glints", (SHAPE,)),
        "expose": ("expose darker: tap the bright plate before you take the photo", ()),
        "light": ("bring more light to the joint", ()),
        "flat": ("lay the target flat, with magnets or tape at its ends", ()),
        "target": ("wipe the target, and have all of it in the photo", ("scale: saddles",)),
        "near": (_near(readings), ("scale: lens and distance",)),
    }


def blur_influences(readings: PhotoReadings) -> tuple[str, ...]:
    """Influences that a sharp photo would lessen; of one that is sharp only coming closer would."""
    return BLURRED if readings.moved_px > MOVED_PX or readings.blur_px > BLUR_USUAL_PX else ()


def needed_sampling(readings: PhotoReadings, need: Need | None) -> float:
    """Sampling at which the decisive station would be decided, all else as it is [px/mm]; may be infinite."""
    share = float("inf") if need is None else need.share_allowed(BY_SAMPLING)
    return max(readings.view.px_per_mm / share, LEAST_PX_PER_MM) if share > 0 else float("inf")


def ranked_advice(
    budget: Sequence[Influence], need: Need | None, acts: dict[str, tuple[str, tuple[str, ...]]]
) -> tuple[CaptureAdvice, ...]:
    """All acts that help, the most helpful first; influences that no act names go by their own remedy."""
    if need is None:
        return ()
    act_of = {name: act for act in acts.values() for name in act[1]}
    groups: dict[str, tuple[str, ...]] = {}
    for row in budget:
        remedy = act_of[row.name][0] if row.name in act_of else row.remedy
        groups[remedy] = (*groups.get(remedy, ()), row.name)
    told = []
    for remedy, names in groups.items():
        after = need.u_without(names, left=0.5)
        fall = need.u_mm - after
        if fall > LEAST_FALL * need.u_mm and not remedy.startswith("nothing"):
            told.append(CaptureAdvice(remedy=remedy, influences=names, u_after_mm=after, fall_mm=fall))
    return tuple(sorted(told, key=lambda one: (-one.fall_mm, one.remedy)))


def _closer(readings: PhotoReadings, need: Need | None) -> str:
    view, needed = readings.view, needed_sampling(readings, need)
    if view.most_px_per_mm < 1.1 * view.px_per_mm:
        return "photograph the joint in shorter parts from nearer, with the short strip (strip-8x5)"
    aim = needed if needed > view.px_per_mm else _CLOSER * view.px_per_mm
    away = f"come to about {max(round(view.distance_for(min(aim, view.most_px_per_mm)) / 10), 1)} cm"
    if readings.megapixels < _FULL_MEGAPIXELS:
        return f"give the photo at full size, as the camera stored it, or {away}"
    return away


def _sharp(readings: PhotoReadings) -> str:
    if readings.moved_px > MOVED_PX:
        return "rest the phone on something, or hold it with both hands"
    return "tap the joint, wait until it is sharp, and hold still"


def _square(readings: PhotoReadings) -> str:
    if not readings.in_plate_plane:
        return "hold the phone as the placement guide shows for this joint, square onto the opening"
    return "hold the phone straight above the joint"


def _near(readings: PhotoReadings) -> str:
    both = "strip and joint near the middle of the frame"
    if readings.view.target_mm > _CLOSE_MM:
        nearer = int(np.clip(5 * round(readings.view.target_mm / 10), _CLOSE_MM, 40))
        return f"lay the target nearer, its pattern about {nearer} mm from the joint, {both}"
    return f"have {both}" if readings.lens_profile else f"fit a lens profile (fitup lens fit), or have {both}"
