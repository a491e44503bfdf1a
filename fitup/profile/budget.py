"""The uncertainty budget of a gap: named influences per station, random and common kept apart.

Combined as uncorrelated inputs, JCGM 100:2008, 5.1.2. Each influence is a standard uncertainty (k = 1).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises, CameraResponse
from fitup.profile.arris_shading import ArrisShading
from fitup.profile.result import Influence
from fitup.scale import ScaleMap

__all__ = [
    "BASE",
    "NOISE",
    "STEP",
    "arris_noise",
    "combined",
    "station_noise",
    "u_of_arrises",
    "uncertainty_budget",
    "with_noise",
]

Array64 = NDArray[np.float64]

NOISE, STEP = "noise and grain", "step between plates"
BASE = "where the base lies"
# Height step between clamped plates that one photo cannot see: rectangular within ±0.1 mm (common practice,
# no source: thin sheet that is clamped flat).
U_STEP_MM = 0.1 / np.sqrt(3)

# Towards the gap a land gets darker by itself; what a straight rise of its light leaves of that displaces the
# edge by some tenths of a pixel (rendered corners in several lights).
LAND_LIGHT_PX = 0.2
# Share of burnt-out samples in a lit gap, from which its edges are only known to such a part of the blur
# (two rendered light panels: read 1.4 and 2 blurs too wide).
BURNT_SHARE, BURNT_BLURS = 0.2, 1.75
# The joint's blur over the print's up to which both may be one lens's: 0.78 to 1.10 in nine of ten rendered
# photos. Beyond, gaps were read too wide by about as much as the blurs' squares differ.
SAME_BLUR = 1.15
SCATTER_REACH = 10  # stations to either side whose scatter counts
# Percentile of the neighbours' bends, and the normal deviation over it: above the median, so that dust along
# the edges counts, and low enough that the flanks of a short opening, four bends of 21, do not.
SCATTER_SHARE, SCATTER_WIDTH = 75, 1 / 1.1503

_SCALE_REMEDIES = {
    "saddles": "have the whole target in the photo, unglossy and flat",
    "print": "check the print with a caliper (fitup target check)",
    "thickness": "give the thickness of the target (--thickness)",
    "lens and distance": "lay the target closer to the joint, both near the middle of the frame",
}


def uncertainty_budget(
    scale: ScaleMap,
    arrises: Arrises,
    response: CameraResponse,
    shading: ArrisShading,
    middle_mm: Array64,
) -> tuple[Influence, ...]:
    """All influences on the gap, largest mean first; every `u_mm` is (N,) [mm]."""
    parts = arrises.variance_parts_mm2
    gap = np.maximum(arrises.gap_mm, 0)
    sample_mm = arrises.band.sample_mm
    slant = np.hypot(arrises.tangent, arrises.section.u_tangent)
    rows = [
        Influence(
            name=NOISE,
            u_mm=station_noise(arrises),
            common=False,
            remedy="come closer, hold still, give more light",
        ),
        _prior("blur", parts["blur"], True, "come closer and let the phone focus on the joint"),
        _prior(
            "floor of the gap",
            parts["floor"] + _burnt(arrises),
            False,
            "keep light from below out of the gap",
        ),
        _prior(
            "cut face",
            parts["face"] + parts["band"],
            False,
            "photograph straight down on the joint and give the sheet's thickness (--sheet)",
        ),
        Influence(
            name="shape of the edges",
            # By itself at either arris: so the suite's errors say.
            u_mm=np.hypot(np.hypot(*arrises.misfit_mm.T), _smeared(arrises, response)),
            common=True,
            remedy="turn the lamp so that no arris glints",
        ),
        Influence(
            name="tone curve",
            u_mm=np.full_like(gap, response.u_gap_px_at(arrises.blur_px) * sample_mm),
            common=True,
            remedy="come closer; switch off HDR and filters",
        ),
        Influence(
            name=STEP,
            u_mm=U_STEP_MM * slant * (arrises.u_base_mm is None),
            common=True,
            remedy="photograph straight down on the joint",
        ),
        Influence(
            name="arris radius",
            u_mm=shading.u_gap_mm,
            common=True,
            remedy="give the radius of the sheet's arrises (--arris-radius), light the plates evenly",
        ),
    ]
    if arrises.section.lands:
        u_light = LAND_LIGHT_PX * sample_mm * np.sqrt(arrises.section.lands)
        rows.append(
            Influence(
                name="light on the lands",
                u_mm=np.full_like(gap, u_light),
                common=True,
                remedy="come closer, and light both lands evenly",
            )
        )
    if arrises.section.u_turn_rad > 0:
        rows.append(
            Influence(
                name="angle between the plates",
                u_mm=gap * slant * arrises.section.u_turn_rad,
                common=True,
                remedy="photograph square onto the opening, or lay a second target on the other plate",
            )
        )
    if arrises.u_base_mm is not None:
        rows.append(
            Influence(
                name=BASE,
                u_mm=arrises.u_base_mm,
                common=True,
                remedy="lay a second target on the other plate",
            )
        )
    for name, relative in _along(scale, middle_mm).items():
        rows.append(
            Influence(
                name=f"scale: {name}",
                u_mm=np.asarray(relative * gap),
                common=True,
                remedy=_SCALE_REMEDIES.get(name, "lay the target closer to the joint"),
            )
        )
    return tuple(sorted(rows, key=lambda row: -float(np.nanmean(row.u_mm))))


def u_of_arrises(budget: tuple[Influence, ...], arrises: Arrises) -> Array64:
    """Combined (N,) [mm] of what bears on the arrises that are seen; a base's own place does not."""
    if arrises.u_base_mm is None:
        return combined(budget)
    own = [row.u_mm for row in budget if row.name not in (BASE, NOISE)]
    return np.asarray(np.sqrt(np.sum(np.square([*own, arris_noise(arrises)]), axis=0)))


def with_noise(budget: tuple[Influence, ...], noise_mm: Array64) -> tuple[Influence, ...]:
    """Return the budget with noise and grain (N,) [mm] of stations that were averaged."""
    rows = [replace(row, u_mm=noise_mm) if row.name == NOISE else row for row in budget]
    return tuple(sorted(rows, key=lambda row: -float(np.nanmean(row.u_mm))))


def _along(scale: ScaleMap, middle_mm: Array64, every: int = 10) -> dict[str, Array64]:
    """Relative uncertainties of the scale at every tenth station, interpolated: they change slowly."""
    stations = np.arange(len(middle_mm))
    asked = np.unique(np.r_[stations[::every], stations[-1]])
    parts = scale.relative_u(middle_mm[asked])
    return {name: np.interp(stations, asked, values) for name, values in parts.items()}


def combined(budget: tuple[Influence, ...]) -> Array64:
    """Combined standard uncertainty (N,) [mm]: root of the sum of squares."""
    return np.asarray(np.sqrt(np.sum([row.u_mm**2 for row in budget], axis=0)))


def _burnt(arrises: Arrises) -> Array64:
    """Variance (N,) [mm²] of a burnt-out lit gap: its light, and so where half of it lies, is open."""
    if not arrises.lit.any():
        return np.zeros(len(arrises.lit))
    band = arrises.band
    inside = (band.n_mm > arrises.near_mm[:, None]) & (band.n_mm < arrises.far_mm[:, None])
    share = (band.clipped * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
    burnt = arrises.lit & (share > BURNT_SHARE)
    return np.asarray(burnt * (BURNT_BLURS * arrises.blur_px * band.sample_mm) ** 2)


def _smeared(arrises: Arrises, response: CameraResponse) -> float:
    """Standard uncertainty [mm] from edges that are blurred much more than the print's.

    Then it is not the lens alone: towards its end a plate gets darker by a burr or a rollover, or lies in a
    shadow, and it ends somewhere in there.
    """
    if not (response.modelled and arrises.section.in_plate_plane):
        return 0.0
    more = arrises.blur_px**2 - (SAME_BLUR * response.blur_px) ** 2
    return float(np.sqrt(max(more, 0.0))) * arrises.band.sample_mm


def _prior(name: str, variance: Array64, common: bool, remedy: str) -> Influence:
    return Influence(name=name, u_mm=np.sqrt(np.maximum(variance, 0)), common=common, remedy=remedy)


def arris_noise(arrises: Arrises) -> Array64:
    """Standard uncertainty (N,) [mm] of the arris over a base, whatever the base's own place."""
    return np.asarray(arrises.fit.near_sd_px * arrises.fit.grain_factor * arrises.band.sample_mm)


def station_noise(arrises: Arrises) -> Array64:
    """Standard uncertainty of each station's gap from noise and grain, (N,) [mm].

    The larger of what the residuals say and what neighbouring stations say.

    Grain along the joint does not show in neighbours, grain that wanders does not show in residuals.
    """
    inside = np.sqrt(np.maximum(arrises.variance_parts_mm2["noise"], 0)) * arrises.fit.grain_factor
    gap = arrises.gap_mm
    if len(gap) < 5:
        return np.asarray(inside)
    bend = np.abs(gap[2:] - 2 * gap[1:-1] + gap[:-2]) / np.sqrt(6)
    padded = np.pad(bend, (SCATTER_REACH + 1, SCATTER_REACH + 1), mode="edge")
    asked = np.arange(0, len(gap), 3)  # the scatter changes slowly
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * SCATTER_REACH + 1)[asked]
    scatter = np.interp(
        np.arange(len(gap)), asked, SCATTER_WIDTH * np.percentile(windows, SCATTER_SHARE, axis=1)
    )
    return np.asarray(np.maximum(inside, scatter))
