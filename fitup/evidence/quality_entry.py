"""The record's part on the photo's quality: what was measured, what this joint asks for, what would help."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from fitup.profile import PhotoQuality

__all__ = ["AdviceEntry", "DecisiveEntry", "FactorEntry", "QualityEntry", "quality_entry"]

NotNegative = Annotated[float, Field(ge=0)]
StateText = Literal["good", "fair", "poor"]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class FactorEntry(_Entry):
    """One factor; `needed` is the least or the most of `value` that suffices, null where nothing does.

    `remedy` is empty where the factor is good.
    """

    name: str
    state: StateText
    value: float | None
    unit: str
    needed: float | None
    words: str
    remedy: str


class DecisiveEntry(_Entry):
    """The station that matters most: the largest doubtful gap, else the largest gap.

    `u_allowed_mm` is the standard uncertainty with which it would be decided, null where readings alone
    decide.
    """

    station_mm: float
    gap_mm: float
    u_gap_mm: NotNegative
    u_allowed_mm: NotNegative | None


class AdviceEntry(_Entry):
    """One act for the next photo, the most helpful first.

    `u_after_mm` is the standard uncertainty at the decisive station if the `influences` were halved and all
    others stayed.
    """

    remedy: str
    influences: tuple[str, ...]
    u_after_mm: NotNegative


class QualityEntry(_Entry):
    """How good the photo is for measuring this joint."""

    state: StateText
    factors: tuple[FactorEntry, ...]
    decisive: DecisiveEntry | None
    advice: tuple[AdviceEntry, ...]
    next_photo: tuple[str, ...]


def quality_entry(quality: PhotoQuality | None) -> QualityEntry | None:
    """Copy a photo's quality for the record."""
    if quality is None:
        return None
    need = quality.need
    return QualityEntry(
        state=quality.state.value,
        factors=tuple(
            FactorEntry(
                name=one.name,
                state=one.state.value,
                value=_number(one.value),
                unit=one.unit,
                needed=_number(one.needed),
                words=one.words,
                remedy=one.remedy,
            )
            for one in quality.factors
        ),
        decisive=None
        if need is None
        else DecisiveEntry(
            station_mm=need.station_mm,
            gap_mm=need.gap_mm,
            u_gap_mm=need.u_mm,
            u_allowed_mm=_number(need.allowed_mm),
        ),
        advice=tuple(
            AdviceEntry(remedy=one.remedy, influences=one.influences, u_after_mm=one.u_after_mm)
            for one in quality.advice
        ),
        next_photo=quality.next_photo,
    )


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
