"""Invented parts of one joint, with openings that were planted: profiles as the archive's reader has them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.evidence.archive.joint_profiles import JointProfiles
from fitup.evidence.archive.profile_reading import UNSEEN_UM

LIMIT_MM = 0.9
STEP_MM = 0.5
FIRST_DAY = np.datetime64("2026-03-02")


@dataclass(frozen=True)
class Planted:
    """An opening that comes again and again: where, how often, how wide along the joint, until which part."""

    at_mm: float
    share: float
    depth_mm: float = 0.9
    sigma_mm: float = 3.0
    until: float = 1.0
    """Share of all parts after which it is gone."""


PLANTED = (Planted(63.0, 0.5), Planted(120.0, 0.4, until=0.55), Planted(175.0, 0.25))
CHANGED_AFTER = 0.55


def invented_gaps(
    seed: int,
    count: int = 200,
    planted: tuple[Planted, ...] = PLANTED,
    *,
    length_mm: float = 210.0,
    scattered: float = 0.3,
    unseen: bool = True,
) -> tuple[np.ndarray, np.ndarray]:
    """(N, P) gaps as measured and their uncertainty [mm], NaN where unseen.

    Fit-up is good in the main (0.3 mm, smooth along the joint), with openings at random places in some parts.
    """
    rng = np.random.default_rng(seed)
    at = np.arange(0.0, length_mm + STEP_MM / 2, STEP_MM)
    bumps = np.exp(-(((np.arange(-40, 41) * STEP_MM) / 6.0) ** 2))
    rough = rng.normal(size=(count, len(at) + 80))
    smooth = np.apply_along_axis(np.convolve, 1, rough, bumps / np.sqrt(np.sum(bumps**2)), "valid")
    gap = 0.3 * np.exp(rng.normal(0.0, 0.2, (count, 1))) + 0.08 * smooth
    for part in range(count):
        for _ in range(rng.poisson(scattered)):
            gap[part] += _bump(at, rng.uniform(0, length_mm), rng.uniform(1.0, 4.0), rng.uniform(0.5, 1.2))
        for one in planted:
            if rng.uniform() < one.share and part < one.until * count:
                place = one.at_mm + rng.normal(0.0, 1.0)
                gap[part] += _bump(at, place, one.sigma_mm, one.depth_mm * rng.uniform(0.8, 1.3))
    u = np.full(gap.shape, 0.03)
    gap = np.maximum(gap, 0.0) + rng.normal(0.0, 0.02, gap.shape) + rng.normal(0.0, 0.02, (count, 1))
    if unseen:
        for part in range(count):
            for _ in range(rng.poisson(1.0)):
                start = rng.integers(0, len(at))
                gap[part, start : start + rng.integers(2, 20)] = np.nan
    return gap, u


def profiles_of(gap_mm: np.ndarray, u_mm: np.ndarray, *, per_day: int = 2) -> JointProfiles:
    """Gaps as the profiles of records, every one of a part with a serial number of its own."""
    count = len(gap_mm)
    seen = np.isfinite(gap_mm)
    um = [np.where(seen, np.clip(np.round(1000 * one), 0, 60000), UNSEEN_UM) for one in (gap_mm, u_mm)]
    return JointProfiles(
        number=np.arange(1, count + 1),
        day=FIRST_DAY.astype(np.int64) + np.arange(count) // per_day,
        limit_um=np.full(count, round(1000 * LIMIT_MM)),
        void=np.zeros(count, bool),
        retake=np.zeros(count, bool),
        record_sha256=tuple(f"{number:064x}" for number in range(count)),
        job=("RT-40",) * count,
        part=("rinse tank",) * count,
        joint=("J4",) * count,
        serial=tuple(f"S-{number:04d}" for number in range(1, count + 1)),
        first=0,
        gap_um=um[0].astype(np.uint16),
        u_um=um[1].astype(np.uint16),
    )


def day_of_change(count: int = 200, per_day: int = 2) -> str:
    return str(FIRST_DAY + int(CHANGED_AFTER * count) // per_day)


def _bump(at: np.ndarray, place_mm: float, sigma_mm: float, depth_mm: float) -> np.ndarray:
    return depth_mm * np.exp(-(((at - place_mm) / sigma_mm) ** 2) / 2)
