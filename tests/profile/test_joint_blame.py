"""Retakes whose cause can be measured say so: the target or the joint is not found in a spoilt photo."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import RetakeError
from fitup.inspection import InspectionSettings, inspect
from fitup.photo.blame import fault_of
from fitup.verdict import parse_wire
from tests.drawn_joint import Scene, _plane, developed
from tests.perturbing import gaussian, light_of, motion, photo_of, through

PLAIN = InspectionSettings(wire=parse_wire("0.9mm"))
# A faint hairline, which a blur of some pixels hides.
FAINT = Scene(gap_mm=lambda x: 0.05 + 0 * x, floor=0.33, face=0.33, plates=(0.4, 0.4), noise=0.002)


@pytest.fixture(scope="module")
def light() -> np.ndarray:
    return light_of(FAINT)


def refusal(path: Path) -> RetakeError:
    with pytest.raises(RetakeError) as caught:
        inspect(path, PLAIN)
    return caught.value


@pytest.mark.parametrize(
    ("spoil", "cause", "remedy"),
    [
        (lambda light: 0.004 * light, "very dark", "more light"),
        (lambda light: 60 * light, "burnt out", "Expose darker"),
        (lambda light: through(light, gaussian(14)), "blurred or shaken", "wait until it is sharp"),
        (lambda light: through(light, motion(60, 30)), "blurred or shaken", "rest the phone"),
    ],
)
def test_without_a_target_the_photo_as_a_whole_is_blamed(
    light: np.ndarray, tmp_path: Path, spoil: object, cause: str, remedy: str
) -> None:
    error = refusal(photo_of(spoil(light), FAINT, tmp_path / "spoilt.png"))
    assert error.reason in ("no target", "too few markers", "too few saddles")
    assert cause in error.message
    assert remedy in error.remedy


def test_a_sharp_photo_without_a_target_is_not_blamed(light: np.ndarray) -> None:
    assert fault_of(developed(light, FAINT, np.random.default_rng(1))) is None
    assert fault_of(np.full((600, 800), 120, np.uint8)) is None
    assert fault_of(np.full((60, 80), 120, np.uint8)) is None


@pytest.mark.parametrize("sigma", [2.0, 4.0, 7.0])
def test_the_blur_told_is_about_the_true_one(light: np.ndarray, sigma: float) -> None:
    from fitup.photo.blame import _edge_blur

    scene = replace(FAINT, sharpen=0.0)
    picture = developed(through(light, gaussian(sigma)), scene, np.random.default_rng(1))
    assert _edge_blur(picture) == pytest.approx(np.hypot(sigma, FAINT.blur_px), rel=0.35)


@pytest.mark.parametrize(
    ("kernel", "cause"),
    [(gaussian(4.0), r"blurred by (3\.[5-9]|4\.[0-5]) px"), (motion(14.0, 90.0), r"shaken by 1[0-8] px")],
)
def test_without_a_joint_the_print_is_asked(
    light: np.ndarray, tmp_path: Path, kernel: np.ndarray, cause: str
) -> None:
    error = refusal(photo_of(through(light, kernel), FAINT, tmp_path / "spoilt.png"))
    assert error.reason == "no joint"
    assert re.search(cause, error.message)


def test_a_sharp_photo_without_a_joint_is_not_blamed(light: np.ndarray, tmp_path: Path) -> None:
    # Plate alone in place of the joint: everything beyond the strip's far side is laid over with one light.
    empty = light.copy()
    v, u = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    y = _plane(np.linalg.inv(FAINT.camera()[0]), u, v)[1]
    empty[y > 14] = 0.4
    error = refusal(photo_of(empty, FAINT, tmp_path / "empty.png"))
    assert error.reason == "no joint"
    assert "px" not in error.message
