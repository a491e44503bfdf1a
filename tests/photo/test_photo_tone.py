"""The tone curve against the formula of IEC 61966-2-1, and windows of linear light."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from fitup.photo import Photo, linear_to_srgb, open_photo, srgb_to_linear
from tests.photo.pictures import scene, written

anything = st.floats(-4, 4, allow_nan=False)


def formula(encoded: float) -> float:
    """IEC 61966-2-1:1999, the equations for the inverse transfer, written out for one value."""
    return encoded / 12.92 if encoded <= 0.04045 else ((encoded + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize("bits", [8, 16])
def test_linear_follows_the_standard_for_every_code(bits: int, tmp_path: Path) -> None:
    levels = 2**bits
    side = 256
    codes = np.arange(side * side, dtype=np.uint32) % levels
    values = codes.reshape(side, side).astype(np.uint8 if bits == 8 else np.uint16)
    path = tmp_path / "codes.png"
    path.write_bytes(written(Image.fromarray(values), "PNG"))
    linear = open_photo(path).linear(slice(None), slice(None))
    expected = [formula(code / (levels - 1)) for code in codes]
    assert linear.dtype == np.float32
    np.testing.assert_allclose(linear.ravel(), expected, rtol=2e-7, atol=0)


@pytest.mark.parametrize(
    ("encoded", "linear"),
    # Published reference pairs of the sRGB curve: 8-bit codes of 18 % grey and of half light (from memory).
    [(0.0, 0.0), (1.0, 1.0), (118 / 255, 0.1812), (188 / 255, 0.5029), (10 / 255, 0.00304)],
)
def test_known_pairs(encoded: float, linear: float) -> None:
    assert float(srgb_to_linear(encoded)) == pytest.approx(linear, abs=5e-5)


@given(anything)
def test_round_trip(value: float) -> None:
    assert float(linear_to_srgb(srgb_to_linear(value))) == pytest.approx(value, abs=1e-7)
    assert float(srgb_to_linear(linear_to_srgb(value))) == pytest.approx(value, abs=1e-7)


@given(anything, anything)
def test_curve_is_monotonic_and_odd(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert srgb_to_linear(low) <= srgb_to_linear(high) + 1e-8  # the standard's two pieces miss by less
    assert float(srgb_to_linear(-one)) == -float(srgb_to_linear(one))


def test_single_precision_stays_single() -> None:
    assert srgb_to_linear(np.zeros(3, np.float32)).dtype == np.float32
    assert linear_to_srgb(np.zeros(3, np.float64)).dtype == np.float64


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Photo:
    path = tmp_path_factory.mktemp("tone") / "photo.png"
    path.write_bytes(written(Image.fromarray(scene()), "PNG"))
    return open_photo(path)


@given(bounds=st.tuples(*[st.integers(-400, 400)] * 4))
def test_window_is_the_same_part_of_the_whole(photo: Photo, bounds: tuple[int, int, int, int]) -> None:
    rows, columns = slice(*bounds[:2]), slice(*bounds[2:])
    whole = photo.linear(slice(None), slice(None))
    np.testing.assert_array_equal(photo.linear(rows, columns), whole[rows, columns])
