"""How evenly the paper is lit, on drawn photos whose light was changed by known amounts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fitup.edges.paper_light import paper_slope
from fitup.edges.response import PLAIN_RESPONSE
from fitup.photo import open_photo
from fitup.scale import find_target
from tests.hostile.photos import Picture, _in_light, drawn, save

Light = Callable[[Picture], np.ndarray]


def slope(picture: Picture, light: Light, tmp_path: Path) -> float:
    factor = light(picture).astype(np.float32)
    photo = open_photo(save(_in_light(picture, lambda values: values * factor), tmp_path / "photo.jpg"))
    return paper_slope(photo, find_target(photo), PLAIN_RESPONSE)


def ramp(per_mm: float) -> Light:
    return lambda p: 0.8 * np.exp(per_mm * p.plane_mm()[1])


def vignetting(share: float) -> Light:
    def light(p: Picture) -> np.ndarray:
        height, width = p.pixels.shape[:2]
        v, u = np.mgrid[0:height, 0:width]
        away = (u - width / 2) ** 2 + (v - height / 2) ** 2
        return 1 - share * away / (width**2 / 4 + height**2 / 4)

    return light


@pytest.mark.parametrize("per_mm", [-0.003, -0.001, 0.0, 0.0015, 0.004])
def test_a_known_slope_is_found(tmp_path: Path, per_mm: float) -> None:
    assert slope(drawn("opening"), ramp(per_mm), tmp_path) == pytest.approx(per_mm, abs=2.5e-4)


@pytest.mark.parametrize("share", [0.1, 0.3])
def test_the_lens_darkening_its_corners_is_no_lamp(tmp_path: Path, share: float) -> None:
    assert slope(drawn("opening"), vignetting(share), tmp_path) == pytest.approx(0.0, abs=3e-4)


def test_a_burnt_out_strip_tells_nothing(tmp_path: Path) -> None:
    assert np.isnan(slope(drawn("opening"), lambda p: np.full(p.pixels.shape[:2], 3.0), tmp_path))
