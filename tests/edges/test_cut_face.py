"""A cut face hardly wider than the blur, a shadow or strokes near the joint: known light, read back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fitup.edges import Arrises, find_arrises, section_of
from fitup.joint import JointSetup
from tests.edges.test_sections import BLUR_PX, FINE, SAMPLE_MM, SHEET_MM, STATIONS, band_of, gap_mm, seen

PLATES, FLOOR = (0.45, 0.38), 0.012
TANGENT = -0.057  # the far plate's cut face is seen 1.2 px wide


def arrises_of(
    face: float, *, shadow_mm: float = np.inf, strokes: Any = None, seed: int = 1, **section: Any
) -> Arrises:
    """Butt joint whose cut face has a light of its own; beyond `shadow_mm` a quarter of the light is left.

    `strokes` (N,): stations where the far plate is streaked.
    """
    count = 2 * round(4.0 / SAMPLE_MM) + 1
    n_mm = (np.arange(count) - count // 2) * SAMPLE_MM
    fine = (np.arange(count * FINE) / FINE + 0.5 / FINE - 0.5 - count // 2) * SAMPLE_MM
    gap = gap_mm(2.0)[:, None]
    inner = gap / 2 - np.minimum(SHEET_MM * abs(TANGENT), gap)
    light = np.where(fine < inner, FLOOR, np.where(fine < gap / 2, face, PLATES[1]))
    light = np.where(fine < -gap / 2, PLATES[0], light)
    light = light * np.where(fine > shadow_mm, 0.25, 1.0)
    if strokes is not None:
        off = fine - gap / 2
        streaks = np.where((off > 0.45) & (off < 0.6), 1.9, np.where((off > 0.6) & (off < 0.75), 0.4, 1.0))
        light = light * np.where(strokes[:, None], streaks, 1.0)
    band = band_of(seen(light, 0.004, seed), n_mm)
    tangent = np.full(STATIONS, TANGENT)
    told = section_of(JointSetup(), tangent, SHEET_MM, **section)
    return find_arrises(band, band.profiles, told, print_blur_px=float(np.hypot(BLUR_PX, 0.29)))


@pytest.mark.parametrize("face", [0.01, 0.05, 0.1, 0.2])
def test_dark_and_bright_faces_bias_no_gap_beyond_what_is_stated(face: float) -> None:
    arrises = arrises_of(face)
    off = arrises.gap_mm - gap_mm(2.0)
    u = np.sqrt(sum(arrises.variance_parts_mm2.values()))
    assert abs(off.mean()) < 0.02
    assert (np.abs(off) < 2 * np.hypot(u, 0.003)).mean() > 0.9


def test_what_all_faces_may_err_alike_is_stated() -> None:
    """The face's light is told worse where it is hardly wider than the blur."""
    face = np.sqrt(arrises_of(0.2).variance_parts_mm2["face"]).mean()
    assert face > 0.003


def test_a_slant_that_is_hardly_known_leaves_the_faces_width_open() -> None:
    known, guessed = (np.sqrt(arrises_of(0.05, u_tangent=u).variance_parts_mm2["band"]) for u in (0.0, 0.04))
    assert np.median(guessed) > 1.5 * np.median(known)


def test_a_shadow_that_ends_beside_the_joint_changes_no_gap() -> None:
    plain, shaded = arrises_of(0.2), arrises_of(0.2, shadow_mm=2.4)
    assert np.abs(shaded.gap_mm - plain.gap_mm).max() < 0.01


def test_strokes_beside_the_arris_are_left_out() -> None:
    """Bright and dark strokes of a deburring tool from 0.45 mm off the far arris, over half of the joint."""
    strokes = np.zeros(STATIONS, bool)
    strokes[30:] = True
    plain, rough = arrises_of(0.05), arrises_of(0.05, strokes=strokes)
    off = np.abs(rough.gap_mm - plain.gap_mm)
    assert off.max() < 0.05
    assert off.mean() < 0.01
    assert np.median((rough.fit.noise / np.abs(rough.fit.dip))[strokes]) < 0.2
