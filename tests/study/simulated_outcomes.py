"""Outcomes after welding, drawn from a known line."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Truth:
    """Gaps are normal without negative ones; the chance of a sound weld is one half at `half_mm`."""

    welds: int = 300
    half_mm: float = 1.1
    slope_per_mm: float = -9.8
    mean_mm: float = 0.55
    spread_mm: float = 0.35

    @property
    def gap_95_mm(self) -> float:
        return self.half_mm + math.log(19.0) / self.slope_per_mm


def simulated(seed: int, truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    """Gaps [mm] and whether the welds were sound, some of them and not all."""
    rng = np.random.default_rng(seed)
    while True:
        gap_mm = np.abs(rng.normal(truth.mean_mm, truth.spread_mm, truth.welds))
        chance = 1.0 / (1.0 + np.exp(-truth.slope_per_mm * (gap_mm - truth.half_mm)))
        sound = rng.uniform(size=truth.welds) < chance
        if sound.any() and not sound.all():
            return gap_mm, sound
