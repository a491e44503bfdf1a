"""One thing that makes a photo good or bad for measuring: its number, what this joint needs, what to do."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["FactorState", "QualityFactor"]

_FAIR = 2.0  # times what is needed, up to which a factor is fair (common practice, no source)


class FactorState(StrEnum):
    """How a factor stands to what this joint needs, from good to bad."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"

    @classmethod
    def of(
        cls, value: float, needed: float, *, more_is_better: bool = False, lost: bool = False
    ) -> FactorState:
        """Compare with what is needed; `lost` says that stations stayed unseen for such a reason."""
        times = needed / max(value, 1e-9) if more_is_better else value / max(needed, 1e-9)
        if not times > 1.0:
            return cls.GOOD
        return cls.POOR if lost or times > _FAIR else cls.FAIR

    @property
    def badness(self) -> int:
        """0 for good, rising."""
        return list(FactorState).index(self)


@dataclass(frozen=True, kw_only=True)
class QualityFactor:
    """One factor; `needed` is the least or the most of `value` that suffices, both in `unit`."""

    name: str
    state: FactorState
    value: float
    unit: str
    needed: float
    remedy: str
    words: str
    """What was found, such as "shaken by 6 px along the joint"."""
