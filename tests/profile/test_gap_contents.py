"""A shadow beside the gap, a wire on it, a blade in it: told from a gap by their light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from fitup.edges import Arrises, find_arrises, section_of
from fitup.edges.response import PLAIN_RESPONSE
from fitup.joint import JointKind, JointSetup
from fitup.profile.arris_shading import ArrisShading
from fitup.profile.budget import uncertainty_budget
from fitup.profile.gap_contents import other_body, shadow_beside
from fitup.profile.result import Influence
from tests.edges.test_sections import BLUR_PX, FINE, SAMPLE_MM, SHEET_MM, STATIONS, band_of, seen

TANGENT = -0.25  # the far plate's cut face is seen 0.375 mm wide
S = np.arange(STATIONS) * 0.5
NOTHING = np.zeros(STATIONS, bool)
Light = Callable[[np.ndarray], np.ndarray]


def gap_light(
    fine: np.ndarray,
    gap: np.ndarray,
    *,
    floor: float = 0.01,
    face: float = 0.04,
    far: np.ndarray | float = 0.4,
) -> np.ndarray:
    """Plate, floor, cut face, plate for gaps (N,) about the middle, at places (M,) across."""
    half = gap[:, None] / 2
    inner = half - np.minimum(SHEET_MM * abs(TANGENT), 2 * half)
    plate = np.broadcast_to(np.asarray(far, float).reshape(-1, 1), (len(gap), 1))
    light = np.where(fine < inner, floor, np.where(fine < half, face, plate))
    return np.where(fine < -half, 0.45, light)


def arrises_of(light: Light, seed: int = 4) -> Arrises:
    count = 2 * round(4.0 / SAMPLE_MM) + 1
    n_mm = (np.arange(count) - count // 2) * SAMPLE_MM
    fine = (np.arange(count * FINE) / FINE + 0.5 / FINE - 0.5 - count // 2) * SAMPLE_MM
    band = band_of(seen(light(fine), 0.004, seed), n_mm)
    section = section_of(JointSetup(), np.full(STATIONS, TANGENT), SHEET_MM)
    return find_arrises(band, band.profiles, section, print_blur_px=float(np.hypot(BLUR_PX, 0.29)))


def plain(gap: np.ndarray) -> Light:
    return lambda fine: gap_light(fine, gap)


OPENING = 0.3 + 0.9 * np.exp(-0.5 * ((S - 20) / 3) ** 2)
SUDDEN = 0.3 + 0.8 * ((S > 15) & (S < 19))


@pytest.mark.parametrize("gap", [OPENING, SUDDEN, 0.5 + 0 * S], ids=["opening", "sudden", "even"])
@pytest.mark.parametrize("floor", [0.01, 0.12], ids=["dark", "bright floor"])
def test_gaps_are_let_alone(gap: np.ndarray, floor: float) -> None:
    arrises = arrises_of(lambda fine: gap_light(fine, gap, floor=floor, face=max(floor, 0.04)))
    assert not shadow_beside(arrises).any()
    assert not other_body(arrises, NOTHING).any()


def test_light_that_changes_along_the_joint_is_no_body() -> None:
    far = np.where(S < 20, 0.4, 0.15)
    arrises = arrises_of(lambda fine: gap_light(fine, 0.4 + 0 * S, far=far))
    assert not other_body(arrises, NOTHING).any()


def test_shadow_beside_the_gap_is_not_its_width() -> None:
    """A shade of two thirds of the plate's light, 0.5 mm wide before a gap of 0.3 mm, from 14 to 26 mm."""

    def light(fine: np.ndarray) -> np.ndarray:
        drawn = gap_light(fine, 0.3 + 0 * S)
        shade = (fine > -0.65) & (fine < -0.15) & ((S > 14) & (S < 26))[:, None]
        return np.where(shade, 0.27, drawn)

    arrises = arrises_of(light)
    flagged, wide = shadow_beside(arrises), arrises.gap_mm > 0.45
    assert wide.any()  # it was taken for the gap
    assert flagged[wide].all()
    assert not flagged[(S < 7) | (S > 33)].any()


def test_wire_on_the_gap_is_no_cut_face() -> None:
    """Grey, 0.7 mm wide, over a gap of 0.35 mm from 10 to 24 mm."""

    def light(fine: np.ndarray) -> np.ndarray:
        drawn = gap_light(fine, 0.35 + 0 * S)
        over = ((S > 10) & (S < 24))[:, None]
        drawn = np.where(over & (np.abs(fine) < 0.35), 0.2, drawn)
        return np.where(over & (np.abs(fine + 0.3) < 0.05), 0.02, drawn)  # its own shadow

    flagged = other_body(arrises_of(light), NOTHING)
    assert flagged[(S > 10.5) & (S < 23.5)].all()
    assert not flagged[(S < 8) | (S > 26)].any()


@pytest.mark.parametrize("mirrored", [False, True])
def test_blade_in_the_gap_is_no_narrow_gap(mirrored: bool) -> None:
    """It hides the far plate from 12 to 24 mm and leaves 0.12 mm of a gap of 0.45 mm."""
    inside = (S > 12) & (S < 24)
    if mirrored:
        inside = inside[::-1]

    def light(fine: np.ndarray) -> np.ndarray:
        drawn = gap_light(fine, 0.45 + 0 * S)
        return np.where(inside[:, None] & (fine > -0.225 + 0.12), 0.25, drawn)

    flagged = other_body(arrises_of(light), NOTHING)
    assert flagged[inside].all()
    assert flagged[~inside].sum() <= 8


def test_tacks_that_are_known_are_no_second_finding() -> None:
    inside = (S > 12) & (S < 16)
    arrises = arrises_of(
        lambda fine: np.where(inside[:, None] & (fine > -0.1), 0.25, gap_light(fine, 0.45 + 0 * S))
    )
    assert other_body(arrises, NOTHING).any()
    assert not other_body(arrises, inside)[~inside].any()


def test_other_kinds_of_joint_are_not_asked() -> None:
    def light(fine: np.ndarray) -> np.ndarray:
        return np.where(((S > 12) & (S < 24))[:, None] & (fine > -0.1), 0.25, gap_light(fine, 0.45 + 0 * S))

    arrises = arrises_of(light)
    assert other_body(arrises, NOTHING).any()
    lap = replace(arrises, section=replace(arrises.section, kind=JointKind.LAP))
    assert not other_body(lap, NOTHING).any()
    assert not shadow_beside(lap).any()


def test_a_burnt_out_gap_is_known_to_a_part_of_the_blur() -> None:
    lit = arrises_of(lambda fine: gap_light(fine, 0.6 + 0 * S, floor=0.95, face=0.9))
    assert lit.lit.all()
    inside = np.abs(lit.band.n_mm) < 0.25
    burnt = replace(lit, band=replace(lit.band, clipped=np.tile(inside.astype(np.float32), (STATIONS, 1))))
    floors = [
        {row.name: row.u_mm for row in budget_of(arrises)}["floor of the gap"] for arrises in (lit, burnt)
    ]
    added = np.sqrt(floors[1] ** 2 - floors[0] ** 2)
    np.testing.assert_allclose(added, 1.75 * lit.blur_px * SAMPLE_MM, rtol=1e-6)


def budget_of(arrises: Arrises) -> tuple[Influence, ...]:
    nothing = np.zeros(STATIONS)
    scale = SimpleNamespace(relative_u=lambda points: {"print": np.full(len(points), 0.005)})
    shading = ArrisShading(near_mm=nothing, far_mm=nothing, u_gap_mm=nothing)
    middle = arrises.band.points_mm(nothing)
    return uncertainty_budget(cast(Any, scale), arrises, PLAIN_RESPONSE, shading, middle)
