"""The gap at every station with its uncertainty, and which stations were not seen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises, CameraResponse, Lands
from fitup.profile.arris_shading import ARRIS_RADIUS_MM, arris_shading
from fitup.profile.band_checks import arris_misplaced, dip_missing, land_missing, second_line
from fitup.profile.budget import combined, station_noise, u_of_arrises, uncertainty_budget, with_noise
from fitup.profile.gap_contents import other_body, shadow_beside
from fitup.profile.result import GapProfile
from fitup.profile.steadying import steadied
from fitup.profile.turned_arris import turned_arris_shading
from fitup.scale import ScaleMap

__all__ = ["measure_gap"]

Array64 = NDArray[np.float64]

LEAST_CONTRAST = 0.04  # dip as a share of the plates' light
# Dip of the profile over its noise, at least; residual as a share of the dip, and of the plates' light, at
# most: beyond, there is no plate and gap, but a tack, dirt, a shadow.
PLATE_GATES = (5.0, 0.25, 0.12)
LAND_GATES = (2.0, 0.5, 0.2)
CLEAR = 0.4  # contrast from which the profile must fit as one of plate, gap and plate; a hairline is faint
COVERED_SHARE = 0.35  # contrast below this share of the neighbours' is something lying over the gap
COVERED_FROM = 0.5  # where the joint is fainter than that anyway, nothing can be said to lie over it
COVERED_RIM = 2  # stations beside a covered one that it may spoil
NEIGHBOURHOOD_MM = 15.0
STRAY_MM = 0.25  # off its neighbours' line by more than this and half the gap: some other line was fitted
WORST_U_MM = 0.25  # a gap known no better than this was not seen


def measure_gap(
    scale: ScaleMap,
    arrises: Arrises,
    response: CameraResponse,
    *,
    arris_radius_mm: float = ARRIS_RADIUS_MM,
    lands: Lands | None = None,
) -> GapProfile:
    """Gap square to the joint at every station [mm], its budget (JCGM 100) and what stayed unseen.

    `lands` beside the gap, where the kind of joint has them, tell whether it is the gap that was found.
    """
    band = arrises.band
    if arrises.section.in_plate_plane:
        shading = arris_shading(
            arrises,
            response.paper_white,
            arris_radius_mm,
            paper_slope_per_mm=response.paper_slope_per_mm,
            linear=response.modelled,
        )
    else:
        shading = turned_arris_shading(arrises, arris_radius_mm)
    glint = np.minimum(arrises.glint_mm, arris_radius_mm)  # a rim displaces no edge by more than itself
    near = arrises.near_mm + _shifted(shading.near_mm, glint[:, 0])
    far = arrises.far_mm - _shifted(shading.far_mm, glint[:, 1])
    middle = band.points_mm((near + far) / 2)
    budget = uncertainty_budget(scale, arrises, response, shading, middle)
    # The arris is seen, wherever the base is: a base that is placed badly makes doubt, not a hole.
    told = u_of_arrises(budget, arrises)
    reason = _unseen(arrises, told, response.u_gap_px_at(arrises.blur_px) * band.sample_mm, lands)
    seen = np.array([word == "" for word in reason], dtype=bool)
    noise = station_noise(arrises)
    for _ in range(2):  # twice three stations weigh five as 1 2 3 2 1, each pass by its own agreement
        near, far, noise = steadied(near, far, noise, seen)
    seen_far = far
    far = far - arrises.section.far_depth_mm * arrises.tangent  # a deeper arris is seen from aside, displaced
    middle = band.points_mm((near + far) / 2)
    budget = with_noise(budget, noise)
    u_gap = combined(budget)
    blank = np.where(seen, 0.0, np.nan)
    return GapProfile(
        station_mm=band.station_mm,
        gap_mm=far - near + blank,
        u_gap_mm=u_gap + blank,
        near_mm=near + blank,
        far_mm=far + blank,
        near_px=scale.to_px(band.points_mm(near)) + blank[:, None],
        far_px=scale.to_px(band.points_mm(seen_far)) + blank[:, None],
        centre_px=scale.to_px(np.where(seen[:, None], middle, band.xy_mm)),
        unseen_reason=tuple(reason),
        budget=budget,
        notes=_notes(arrises, response),
        step_mm=band.step_mm,
    )


def _shifted(shading_mm: Array64, glint_mm: Array64) -> Array64:
    """Way (N,) [mm] of an arris into the gap; a bright rim, expected and seen, counts once."""
    return np.maximum(shading_mm, 0) - np.maximum(glint_mm, -np.minimum(shading_mm, 0))


def _unseen(arrises: Arrises, u_gap_mm: Array64, u_photo_mm: float, lands: Lands | None) -> list[str]:
    """Why each station cannot be trusted; "" where it can. The first that applies is named."""
    fit, band = arrises.fit, arrises.band
    dip = np.abs(fit.dip)
    plates = fit.levels[:, [0, 2]].max(axis=1)
    centre = (arrises.near_mm + arrises.far_mm) / 2
    reach = round(NEIGHBOURHOOD_MM / band.step_mm)
    stray = np.abs(centre - _running_median(centre, reach)) > STRAY_MM + arrises.gap_mm / 2
    burnt = _share_burnt(arrises)
    usual = _running_median(arrises.contrast, reach)
    # Lands are rough and rise in light, and rims of end faces glint: all that counts as noise.
    sigmas, poor, rough = PLATE_GATES if arrises.section.in_plate_plane else LAND_GATES
    faint = (dip < sigmas * fit.noise) | (arrises.contrast < LEAST_CONTRAST) | dip_missing(arrises)
    covered = _widened((faint | (arrises.contrast < COVERED_SHARE * usual)) & (usual > COVERED_FROM))
    glare = burnt > 0.5
    tests = (
        ("outside photo", ~band.inside),
        ("steep view", np.abs(arrises.tangent) > arrises.section.steepest_tangent),
        ("glare", glare),
        ("lit from behind", arrises.lit_behind),
        ("shadow", shadow_beside(arrises)),
        ("covered", covered | _widened(other_body(arrises, covered | glare))),
        ("low contrast", faint),
        ("land not seen", land_missing(lands) if lands else np.zeros(len(dip), bool)),
        ("poor photo", np.full(len(dip), u_photo_mm > WORST_U_MM)),
        ("second line", second_line(arrises)),
        (
            "poor fit",
            ((fit.noise > poor * dip) & (arrises.contrast > CLEAR)) | (fit.noise > rough * plates),
        ),
        ("poor fit", ~(u_gap_mm <= WORST_U_MM) | stray),
        ("poor fit", arris_misplaced(arrises, lands) if lands else np.zeros(len(dip), bool)),
    )
    reason = np.full(len(dip), "", dtype=object)
    for word, applies in reversed(tests):
        reason[applies] = word
    return [str(word) for word in reason]


def _widened(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Take in the stations beside covered ones: half a tack in a station's stretch spoils it too."""
    wider = flags.copy()
    for step in range(1, COVERED_RIM + 1):
        wider[step:] |= flags[:-step]
        wider[:-step] |= flags[step:]
    return wider


def _share_burnt(arrises: Arrises) -> Array64:
    """Share of burnt-out samples in the flanks next to the arrises, (N,)."""
    n = arrises.band.n_mm
    reach = 6 * arrises.blur_px * arrises.band.sample_mm
    near, far = arrises.near_mm[:, None], arrises.far_mm[:, None]
    beside = ((n < near) & (n > near - reach)) | ((n > far) & (n < far + reach))
    return np.asarray((arrises.band.clipped * beside).sum(axis=1) / np.maximum(beside.sum(axis=1), 1))


def _running_median(values: Array64, reach: int, every: int = 4) -> Array64:
    """Median over about 2 reach + 1 stations, worked out at every fourth and interpolated."""
    asked = np.arange(0, len(values), every)
    padded = np.pad(values, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)[asked]
    return np.asarray(np.interp(np.arange(len(values)), asked, np.median(windows, axis=1)))


def _notes(arrises: Arrises, response: CameraResponse) -> tuple[str, ...]:
    notes = []
    if arrises.sheet_mm is None and np.abs(arrises.tangent).max() > 0.03:
        notes.append("The sheet's thickness is not given: at this slant the cut face costs certainty.")
    if response.note:
        notes.append(response.note)
    return tuple(notes)
