"""Photo quality as measurements: what was found, what this joint and limit need of it, what to do.

What a factor needs comes from the uncertainty budget at the decisive station (`needs.py`): the value at which
the decision there would be reached with all other influences as they are, each influence taken as
proportional to its factor. It is never asked to be better than what practice gets, nor may it be worse than
what the method bears: the bounds beside the factors. Where stations stayed unseen for a factor's sake, it is
asked to be as good as practice gets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.edges import Arrises, CameraResponse
from fitup.photo import Photo
from fitup.profile.budget import NOISE
from fitup.profile.capture_acts import (
    BLUR_BEARABLE_PX,
    BLUR_USUAL_PX,
    BLURRED,
    SLANTED,
    CaptureAdvice,
    acts_for,
    needed_sampling,
    ranked_advice,
)
from fitup.profile.needs import Need, need_of
from fitup.profile.photo_readings import PhotoReadings, read_photo
from fitup.profile.quality_factor import FactorState, QualityFactor
from fitup.profile.result import GapProfile
from fitup.scale import ScaleMap

__all__ = ["PhotoQuality", "photo_quality"]

_LENS = "scale: lens and distance"
_LOST = 0.05  # share of stations unseen for one reason from which its cause counts as poor
_MOST_ADVICE = 3
_USUAL_PX_PER_MM = 12.0  # common practice, no source
# Rms distance of the corners from a plane's picture: flat strips up to 0.25, bent ones 1.3 (rendered photos).
_FLAT_PX = 0.5
# Which factors may be the cause of an unseen station, by its reason; the first that is not good is named.
_CAUSES = {
    "glare": ("burnt out", "glare"),
    "low contrast": ("dark", "motion", "sharpness", "noise"),
    "poor photo": ("target flat", "motion", "sharpness", "noise", "sampling"),
    "poor fit": ("motion", "sharpness", "glare", "burnt out", "dark", "sampling", "noise"),
    "land not seen": ("dark", "motion", "sharpness"),
    "steep view": ("slant",),
}


@dataclass(frozen=True, kw_only=True)
class PhotoQuality:
    """All factors, the decisive station and the advice, most helpful first.

    `need` is None where nothing was seen. `advice` holds everything worth telling, `next_photo` the remedies
    that are told first: those of factors that cost stations, then by what makes the gap surer.
    """

    factors: tuple[QualityFactor, ...]
    need: Need | None
    advice: tuple[CaptureAdvice, ...]
    causes: dict[str, str]
    """Reason of unseen stations → measured cause and its remedy, as "cause; remedy"."""

    @property
    def state(self) -> FactorState:
        """That of the worst factor."""
        return max((one.state for one in self.factors), key=lambda state: state.badness)

    @property
    def next_photo(self) -> tuple[str, ...]:
        """At most three remedies; of a photo that decides only what is not good in it."""
        bad = sorted(self.factors, key=lambda one: -one.state.badness)
        told = [one.remedy for one in bad if one.remedy]
        if self.need is not None and not self.need.decided:
            poor = [one.remedy for one in bad if one.state is FactorState.POOR]
            told = [*poor, *(one.remedy for one in self.advice)]
        return tuple(dict.fromkeys(told))[:_MOST_ADVICE]

    @property
    def deciding(self) -> str:
        """What photo would decide the decisive place; "" where it is decided or nothing was seen."""
        need = self.need
        if need is None or need.decided:
            return ""
        acts: list[CaptureAdvice] = []
        for one in self.advice[:_MOST_ADVICE]:
            acts.append(one)
            halved = [name for act in acts for name in act.influences]
            if need.u_without(halved, left=0.5) <= need.allowed_mm:
                return f"a better photo would settle it too: {', and '.join(act.remedy for act in acts)}"
        return "no photo settles a gap so near the limit"


def photo_quality(
    photo: Photo,
    scale: ScaleMap,
    arrises: Arrises,
    response: CameraResponse,
    profile: GapProfile,
    *,
    limit_mm: float,
    probability: float | None,
) -> PhotoQuality:
    """Measure a photo's quality for one joint.

    Parameters
    ----------
    limit_mm : widest gap allowed
    probability : that the decision asks for; None where readings alone decide
    """
    need = need_of(profile, limit_mm, probability)
    place = float(np.median(profile.station_mm)) if need is None else need.station_mm
    readings = read_photo(photo, scale, arrises, response, profile, place)
    acts = acts_for(readings, need)
    made = _Maker(readings, need, {key: act[0] for key, act in acts.items()})
    factors = (*made.sharpness(), *made.geometry(), *made.light(), *made.target())
    return PhotoQuality(
        factors=factors,
        need=need,
        advice=ranked_advice(profile.budget, need, acts),
        causes=_causes(readings, factors),
    )


def _causes(readings: PhotoReadings, factors: tuple[QualityFactor, ...]) -> dict[str, str]:
    bad = {one.name: one for one in factors if one.state is not FactorState.GOOD}
    if readings.view.px_per_mm >= _USUAL_PX_PER_MM:  # may not suffice here, but makes no station unseen
        bad.pop("sampling", None)
    causes = {}
    for reason in readings.lost:
        named = [bad[name] for name in _CAUSES.get(reason, ()) if name in bad]
        if named:
            causes[reason] = f"{named[0].words}; {named[0].remedy}"
    return causes


class _Maker:
    """Makes the factors of one photo."""

    def __init__(self, readings: PhotoReadings, need: Need | None, remedies: dict[str, str]) -> None:
        self.seen, self.need, self.remedies = readings, need, remedies

    def sharpness(self) -> tuple[QualityFactor, ...]:
        """Blur and motion."""
        seen = self.seen
        asked = self._asked(seen.blur_px, BLURRED, BLUR_USUAL_PX, BLUR_BEARABLE_PX, "sharpness")
        blur = self._factor(
            "sharpness", seen.blur_px, "px", asked, "sharp", f"blurred by {seen.blur_px:.1f} px"
        )
        # The motion that keeps the whole blur inside what is asked, but not less than can be told.
        still = np.sqrt(max(12 * (asked**2 - (seen.blur_px**2 - seen.moved_px**2 / 12)), 0.0))
        way = f"shaken by {seen.moved_px:.0f} px {seen.moved_way}" if seen.moved_px else "not shaken"
        moved = self._factor("motion", seen.moved_px, "px", max(float(still), 2.0), "sharp", way)
        return blur, moved

    def geometry(self) -> tuple[QualityFactor, ...]:
        """Sampling and angles."""
        seen, view = self.seen, self.seen.view
        # What no sampling alone would decide asks for no more than twice as much: that is fair, not poor.
        most = max(min(view.most_px_per_mm, 2 * view.px_per_mm), 5.0)
        needed = float(np.clip(needed_sampling(seen, self.need), 5.0, most))
        if self._lost("sampling"):
            needed = max(needed, _USUAL_PX_PER_MM)
        sampling = self._factor(
            "sampling",
            view.px_per_mm,
            "px/mm",
            needed,
            "closer",
            f"{view.px_per_mm:.1f} px/mm at the joint"
            + (f", {needed:.0f} needed" if needed > view.px_per_mm else ""),
            more_is_better=True,
        )
        steepest = view.steepest_deg
        slant = steepest
        if seen.in_plate_plane:
            tangent = np.tan(np.radians(view.slant_deg)) * self._share(SLANTED)
            slant = float(np.clip(np.degrees(np.arctan(tangent)), 5.0, steepest))
        across = self._factor(
            "slant", view.slant_deg, "deg", slant, "square", f"seen {view.slant_deg:.0f}° aside"
        )
        # Beyond, strip and joint are sharp and sampled unevenly (common practice, no source).
        most_tilt = 30.0 if seen.in_plate_plane else 65.0
        tilt = self._factor(
            "tilt", view.tilt_deg, "deg", most_tilt, "square", f"phone tilted {view.tilt_deg:.0f}°"
        )
        return sampling, across, tilt

    def light(self) -> tuple[QualityFactor, ...]:
        """Exposure, glare, noise; shares that practice bears, no source, but for noise."""
        seen = self.seen
        burnt, dark, glare = (100 * share for share in (seen.burnt_share, seen.dark_share, seen.glare_share))
        noise = self._asked(seen.noise_levels, (NOISE,), 2.0, 8.0, "noise")
        return (
            self._factor("burnt out", burnt, "%", 2.0, "expose", f"{burnt:.0f} % of the plate is burnt out"),
            self._factor("dark", dark, "%", 25.0, "light", f"{dark:.0f} % of the plate is too dark"),
            self._factor("glare", glare, "%", 5.0, "lamp", f"{glare:.0f} % of the joint lies in glare"),
            self._factor("noise", seen.noise_levels, "levels", noise, "light", "noisy"),
        )

    def target(self) -> tuple[QualityFactor, ...]:
        """How much of the target is seen, if it is flat, how far off it lies, what the lens may do there."""
        seen, away = self.seen, self.seen.view.target_mm
        share = 100 * seen.saddles_share
        # Uncertainty goes with one over the root of the number of saddles.
        wanted = float(np.clip(share / max(self._share(("scale: saddles",)), 1e-3) ** 2, 30.0, 90.0))
        u_lens = 100 * self._relative(_LENS)
        return (
            self._factor(
                "target seen",
                share,
                "%",
                wanted,
                "target",
                f"{share:.0f} % of the target's corners are read",
                more_is_better=True,
            ),
            self._factor(
                "target flat",
                seen.unflat_px,
                "px",
                _FLAT_PX,
                "flat",
                f"the target is not flat: its corners lie {seen.unflat_px:.1f} px off a plane",
            ),
            self._factor(
                "target away",
                away,
                "mm",
                self._asked(away, (_LENS,), 25.0, 60.0),
                "near",
                f"target {away:.0f} mm from the joint",
            ),
            self._factor(
                "lens",
                u_lens,
                "%",
                self._asked(u_lens, (_LENS,), 0.5, 3.0),
                "near",
                f"the lens leaves {u_lens:.1f} % of the gap open",
            ),
        )

    def _factor(
        self,
        name: str,
        value: float,
        unit: str,
        needed: float,
        act: str,
        words: str,
        *,
        more_is_better: bool = False,
    ) -> QualityFactor:
        state = FactorState.of(value, needed, more_is_better=more_is_better, lost=self._lost(name))
        remedy = "" if state is FactorState.GOOD else self.remedies[act]
        return QualityFactor(
            name=name, state=state, value=value, unit=unit, needed=needed, remedy=remedy, words=words
        )

    def _asked(
        self, value: float, names: tuple[str, ...], practice: float, bearable: float, name: str = ""
    ) -> float:
        """Value that the budget asks for, between what practice gets and what the method bears."""
        if self._lost(name):
            return practice
        return float(np.clip(value * min(self._share(names), 1e6), practice, bearable))

    def _share(self, names: tuple[str, ...]) -> float:
        return 1e6 if self.need is None else min(self.need.share_allowed(names), 1e6)

    def _lost(self, name: str) -> bool:
        """Whether stations stayed unseen for a reason that this factor may be the cause of."""
        if name == "sampling" and self.seen.view.px_per_mm >= _USUAL_PX_PER_MM:
            return False
        shares = (self.seen.lost.get(reason, 0.0) for reason, names in _CAUSES.items() if name in names)
        return any(share > _LOST for share in shares)

    def _relative(self, name: str) -> float:
        """An influence as a share of the decisive gap."""
        if self.need is None or self.need.gap_mm <= 0:
            return 0.0
        return self.need.parts_mm.get(name, 0.0) / self.need.gap_mm
