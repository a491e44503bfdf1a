"""Edges that are blurred more than the print's: how much of that the budget takes for doubt."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from fitup.profile.budget import SAME_BLUR, _smeared

PRINT_PX, SAMPLE_MM = 1.1, 0.07


def smeared(blur_px: float, *, modelled: bool = True, in_plate_plane: bool = True) -> float:
    arrises = SimpleNamespace(
        blur_px=blur_px,
        section=SimpleNamespace(in_plate_plane=in_plate_plane),
        band=SimpleNamespace(sample_mm=SAMPLE_MM),
    )
    response = SimpleNamespace(modelled=modelled, blur_px=PRINT_PX)
    return _smeared(cast(Any, arrises), cast(Any, response))


@pytest.mark.parametrize("ratio", [0.6, 1.0, SAME_BLUR])
def test_a_blur_that_the_lens_makes_is_no_doubt(ratio: float) -> None:
    assert smeared(ratio * PRINT_PX) == pytest.approx(0, abs=1e-6)


def test_what_is_more_counts_and_never_more_than_the_blur_itself() -> None:
    made = [smeared(blur) for blur in (1.4, 1.6, 2.0, 3.0)]
    assert made == sorted(made)
    assert 0.03 < made[0] < 0.05  # √(1.4² - (1.15 · 1.1)²) = 0.60 px
    assert all(u < blur * SAMPLE_MM for u, blur in zip(made, (1.4, 1.6, 2.0, 3.0), strict=True))


def test_lands_and_prints_that_tell_no_blur_are_left_alone() -> None:
    assert smeared(3.0, in_plate_plane=False) == 0
    assert smeared(3.0, modelled=False) == 0
