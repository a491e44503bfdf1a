"""A real phone photograph read as a gap measurement: 760 white slots of 10 mm between dark markers.

The photograph (industrial_calibration, Apache-2.0, test/images/aruco.jpg; ../shared/real/README.md) shows a
board of 20 × 20 markers of 35 mm, 10 mm apart, with a 12 megapixel phone whose lens was not corrected. The
repository states the spacings; nothing here was made with the code under test. Two stations in each slot are
fitted and scaled by the product (gridboard.py), once from 125 mm of the board, once from all of it.

What is known of the errors besides noise and scale, and how it is told apart in one photo:

edge bias   light or ink spreads over every edge: slots and sides change by the same amount, opposite in
            sign, and a wrong scale changes both in proportion. Slot and side make one pitch, so that
            each pair gives both. Ink and optics are not told apart; for a correction they need not be.
drawing     the board was drawn on pixels: spacings are rounded to them. Columns and rows are drawn alike, so
            that what left-right slots of column i and up-down slots of row i share is the drawing's.
print       the scale of the print is common to the slots and what they are scaled with: it is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from fitup.edges import CameraResponse
from fitup.photo import Photo, open_photo
from fitup.scale.finding import BENT_MM
from tests.outside.gridboard import (
    Grid,
    Pairs,
    Readings,
    Scaling,
    edge_response,
    find_grid,
    measure_slots,
    pairs_of,
    scaling_from,
)

PHOTO = Path(__file__).resolve().parents[2].parent / "shared" / "real" / "boards" / "gridboard_phone.jpg"
pytestmark = pytest.mark.skipif(
    not PHOTO.exists(), reason="the real photograph is not here (../shared/real/boards/gridboard_phone.jpg)"
)

SIDE_MM, SPACE_MM, COUNT = 35.0, 10.0, 20
PITCH_MM = SIDE_MM + SPACE_MM
BANDS_MM = ((0, 100), (100, 200), (200, 300), (300, 500), (500, 800))
LEAST_COVERAGE = 0.90  # of 95 % intervals: neighbours share lens and drawing, so that 95 % is not met exactly
K95 = 1.96
LEAST_SPREAD = 0.4  # rms of errors over stated uncertainties, below which these would be far too wide
WHOLE = slice(0, COUNT), slice(0, COUNT)
UPPER_LEFT = slice(1, 4), slice(1, 4)  # the corner block all of whose sides face slots
BLOCKS = {
    "upper left": UPPER_LEFT,
    "upper right": (slice(1, 4), slice(16, 19)),
    "lower left": (slice(16, 19), slice(1, 4)),
    "lower right": (slice(16, 19), slice(16, 19)),
    "middle": (slice(9, 12), slice(9, 12)),
    "strip above": (slice(4, 7), slice(0, COUNT)),
    "strip in the middle": (slice(9, 12), slice(0, COUNT)),
    "strip below": (slice(14, 17), slice(0, COUNT)),
}
CORNERS_AND_MIDDLE = ("upper left", "upper right", "lower left", "middle")  # in the fourth no camera fits
Block = tuple[slice, slice]


@dataclass(frozen=True, kw_only=True, eq=False)
class Board:
    photo: Photo
    grid: Grid
    response: CameraResponse
    readings: tuple[Readings, Readings]


@cache
def board() -> Board:
    photo = open_photo(PHOTO)
    grid = find_grid(photo, (COUNT, COUNT), SIDE_MM, SPACE_MM, "DICT_6X6_1000")
    response = edge_response(photo, grid)
    readings = measure_slots(photo, grid, 0, response), measure_slots(photo, grid, 1, response)
    return Board(photo=photo, grid=grid, response=response, readings=readings)


@cache
def scaled(rows: tuple[int, int], columns: tuple[int, int]) -> tuple[Scaling, tuple[Pairs, Pairs]]:
    seen = board()
    scaling = scaling_from(seen.photo, seen.grid, seen.readings, slice(*rows), slice(*columns))
    x, y = (pairs_of(seen.grid, reading, scaling) for reading in seen.readings)
    return scaling, (x, y)


def scaled_by(block: Block) -> tuple[Scaling, tuple[Pairs, Pairs]]:
    return scaled(*((part.start, part.stop) for part in block))


def known(values: np.ndarray) -> np.ndarray:
    return values[np.isfinite(values)]


def drawing_mm(name: str) -> float:
    """Standard deviation of what columns and rows share from one to the next, mm: the drawing's rounding."""
    pairs = scaled_by(WHOLE)[1]
    steps = []
    for axis, over in ((0, (0, 1)), (1, (0, 2))):
        values = getattr(pairs[axis], name)
        steps.append(np.diff(np.mean(values[:, :, :-2] if axis == 0 else values[:, :-2], axis=over)))
    shared = float(np.mean(steps[0] * steps[1]))
    return np.sqrt(max(shared, 0.0) / 2) * (PITCH_MM if name == "strain" else 1.0)


def tone_mm(px_per_mm: np.ndarray, blur_px: np.ndarray) -> np.ndarray:
    """As the product states it: by the blur on the spot."""
    return np.array([board().response.u_gap_px_at(float(blur)) for blur in blur_px]) / px_per_mm


def blur_in(block: Block) -> float:
    """Median blur of the slots of a block, px."""
    seen = []
    for reading in board().readings:
        rows, columns = (np.arange(COUNT)[part] for part in block)
        inside = np.isin(reading.slots.row, rows) & np.isin(reading.slots.column, columns)
        seen.append(reading.blur_px[inside])
    return float(np.median(np.concatenate(seen)))


def edge_bias(block: Block) -> tuple[float, float]:
    """Edge bias of a slot and its standard uncertainty, mm, from the pairs of a block alone."""
    scaling, pairs = scaled_by(block)
    each = [known(p.bias_mm[:, block[0], block[1]]) for p in pairs]
    values = np.concatenate(each)
    rows, columns = (len(range(*part.indices(COUNT))) for part in block)
    drawn = drawing_mm("bias_mm") / np.sqrt(min(rows, columns))  # the same roundings in both axes
    noise = values.std() / np.sqrt(len(values))
    per_mm = scaling.px_per_mm(scaling.upright.sighting.saddles_mm)
    tone = tone_mm(per_mm, np.full(len(per_mm), blur_in(block))).mean()
    return float(values.mean()), float(np.sqrt(drawn**2 + noise**2 + tone**2))


def distance_mm(middle_mm: np.ndarray, block: Block) -> np.ndarray:
    """How far each slot lies outside the part that gives the scale; 0 inside."""
    rows, columns = block
    low = np.array([columns.start * PITCH_MM, -rows.stop * PITCH_MM + SPACE_MM])
    high = np.array([columns.stop * PITCH_MM - SPACE_MM, -rows.start * PITCH_MM])
    outside = np.maximum(np.maximum(low - middle_mm, middle_mm - high), 0)
    return np.linalg.norm(outside, axis=1)


def scale_u(scaling: Scaling, middle_mm: np.ndarray, axis: int) -> np.ndarray:
    parts = scaling.relative_u(middle_mm, axis)
    return np.sqrt(parts["saddles"] ** 2 + parts["thickness"] ** 2 + parts["lens and distance"] ** 2)


def gaps(block: Block) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance, error and stated uncertainty of all 1520 gaps, mm, corrected for the block's bias."""
    scaling, pairs = scaled_by(block)
    bias, u_bias = edge_bias(block)
    drawing = drawing_mm("bias_mm")
    out = []
    for axis, reading in enumerate(board().readings):
        slots = reading.slots
        width = pairs[axis].slot_mm[slots.stretch, slots.row, slots.column]
        per_mm = scaling.px_per_mm(slots.middle_mm)
        u_scale = scale_u(scaling, slots.middle_mm, axis) * SPACE_MM
        u2 = (
            u_scale**2
            + (reading.u_px / per_mm) ** 2
            + tone_mm(per_mm, reading.blur_px) ** 2
            + u_bias**2
            + drawing**2
        )
        out.append((distance_mm(slots.middle_mm, block), width - bias - SPACE_MM, np.sqrt(u2)))
    distance, error, u = (np.concatenate(part) for part in zip(*out, strict=True))
    return distance, error, u


def pitches(block: Block, axes: tuple[int, ...] = (0, 1)) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance, relative error and its stated uncertainty of slot and side together: no edge bias in it."""
    scaling, pairs = scaled_by(block)
    drawing = drawing_mm("strain") / PITCH_MM
    out = []
    for axis in axes:
        reading = board().readings[axis]
        slots = reading.slots
        error = pairs[axis].strain[slots.stretch, slots.row, slots.column]
        # Half a side further: the middle of slot and side.
        middle = slots.middle_mm + SIDE_MM / 2 * (np.array([0, -1]) if axis else np.array([1, 0]))
        noise = reading.u_px / scaling.px_per_mm(middle) / PITCH_MM  # two arrises, as in one slot
        u = np.sqrt(scale_u(scaling, middle, axis) ** 2 + noise**2 + drawing**2)
        out.append(np.column_stack((distance_mm(middle, block), error, u))[np.isfinite(error)])
    distance, error, u = np.concatenate(out).T
    return distance, error, u


def covered(error: np.ndarray, u: np.ndarray) -> float:
    return float(np.mean(np.abs(error) < K95 * u))


def in_band(distance: np.ndarray, band: tuple[int, int]) -> np.ndarray:
    return (distance >= band[0]) & (distance < band[1])


def words(error: np.ndarray, u: np.ndarray) -> str:
    rms, stated = (float(np.sqrt(np.mean(values**2))) for values in (error, u))
    return (
        f"{covered(error, u):.1%} of {len(error)} covered; mean {error.mean():+.4f}, rms {rms:.4f}, "
        f"stated {stated:.4f}"
    )


def name_of(band: tuple[int, int]) -> str:
    return f"{band[0]}-{band[1]} mm"


def test_every_slot_is_read():
    seen = board()
    assert seen.response.modelled  # tone curve and sharpening of this phone follow the product's model
    for reading in seen.readings:
        assert len(reading.u_px) == 2 * COUNT * (COUNT - 1)
        assert np.isfinite(reading.edges_px).all()
        assert reading.u_px.max() < 0.25


def test_noise_is_stated_honestly():
    """The two stations of a slot lie between the same two printed edges: only noise makes them differ.

    760 differences tell a standard deviation to 2.6 %; the bound leaves room for a ragged print.
    """
    z = []
    for reading in board().readings:
        width = np.linalg.norm(reading.edges_px[:, 1] - reading.edges_px[:, 0], axis=1)
        one, other = (reading.slots.stretch == k for k in (0, 1))
        change = width[one] - width[other]
        z.append((change - np.median(change)) / np.hypot(reading.u_px[one], reading.u_px[other]))
    assert 0.8 < np.sqrt(np.mean(np.concatenate(z) ** 2)) < 1.25


def test_columns_and_rows_share_the_drawings_rounding():
    """Why "drawing" is a part of the budget: the same slots are narrow in both directions.

    Left-right and up-down slots have nothing in common but the drawing: no pixel, no row of the sensor.
    """
    pairs = scaled_by(WHOLE)[1]
    columns = np.diff(pairs[0].bias_mm[:, :, :-2].mean((0, 1)))
    rows = np.diff(pairs[1].bias_mm[:, :-2].mean((0, 2)))
    assert np.corrcoef(columns, rows)[0, 1] > 0.8
    assert 0.01 < drawing_mm("bias_mm") < 0.1


@pytest.mark.parametrize("name", BLOCKS)
def test_edge_bias_of_a_block_is_that_of_the_board(name):
    bias, u = edge_bias(BLOCKS[name])
    everywhere, u_everywhere = edge_bias(WHOLE)
    assert abs(bias - everywhere) < K95 * np.hypot(u, u_everywhere)


def test_edge_bias_is_no_scale_error():
    """It comes out the same from 125 mm of the board as from all of it, whose scales differ by percents."""
    near, far = (scaled_by(block)[1] for block in (UPPER_LEFT, WHOLE))
    for axis in (0, 1):
        assert np.nanmax(np.abs(near[axis].strain - far[axis].strain)) > 0.005
        assert np.nanmax(np.abs(near[axis].bias_mm - far[axis].bias_mm)) < 0.005 * SPACE_MM


def test_without_the_bias_the_intervals_would_be_wrong():
    """That the criterion below can fail: gaps close by that are not corrected do not meet it."""
    distance, error, u = gaps(UPPER_LEFT)
    near = distance < 100
    assert covered(error[near] + edge_bias(UPPER_LEFT)[0], u[near]) < LEAST_COVERAGE


@pytest.mark.parametrize("band", BANDS_MM, ids=name_of)
def test_gap_is_within_its_interval_at_a_distance_from_the_scale(band):
    """Scale from 125 mm in the corner; the stated uncertainty must grow as the errors do."""
    distance, error, u = gaps(UPPER_LEFT)
    here = in_band(distance, band)
    assert covered(error[here], u[here]) >= LEAST_COVERAGE, words(error[here], u[here])


@pytest.mark.parametrize("band", BANDS_MM, ids=name_of)
def test_intervals_far_from_the_scale_are_not_far_too_wide(band):
    """Over corners and middle together: what one lens does to one block's scale is one draw by chance."""
    z = []
    for name in CORNERS_AND_MIDDLE:
        distance, error, u = pitches(BLOCKS[name])
        here = in_band(distance, band)
        z.append(np.mean((error[here] / u[here]) ** 2) if np.any(here) else np.nan)
    assert LEAST_SPREAD < np.sqrt(np.nanmean(z)) < 1.5


@pytest.mark.parametrize("name", ["strip above", "strip in the middle", "strip below"])
@pytest.mark.parametrize("band", [(0, 100), (100, 200)], ids=name_of)
def test_gap_beside_a_strip_across_the_photo_is_within_its_interval(name, band):
    """As the product is used: three rows as the strip, the gaps up to some 200 of 900 mm away, along it."""
    distance, error, u = gaps(BLOCKS[name])
    here = in_band(distance, band)
    assert covered(error[here], u[here]) >= LEAST_COVERAGE, words(error[here], u[here])
    assert np.sqrt(np.mean((error[here] / u[here]) ** 2)) > LEAST_SPREAD, words(error[here], u[here])


def test_gap_is_within_its_interval_with_the_whole_board_as_scale():
    _, error, u = gaps(WHOLE)
    assert covered(error, u) >= LEAST_COVERAGE, words(error, u)


def test_the_lens_shows_in_the_residual():
    """What the program would alarm at before anyone believes the whole board: far from a plane's picture."""
    assert scaled_by(UPPER_LEFT)[0].upright.residual_mm < BENT_MM
    assert scaled_by(WHOLE)[0].upright.residual_mm > 4 * BENT_MM


def left_by_lens(terms: int) -> tuple[float, np.ndarray]:
    """Residual rms, px, and centre off the picture's middle, px, of the board library's radial lens model."""
    scale = scaled_by(WHOLE)[0].upright
    mm, px = scale.sighting.saddles_mm, scale.sighting.saddles_px
    points = np.column_stack((mm, np.zeros(len(mm)))).astype(np.float32)
    middle = (np.array(scale.size_px) - 1) / 2
    K = np.array([[scale.focal_px, 0, middle[0]], [0, scale.focal_px, middle[1]], [0, 0, 1]])
    flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST
    flags |= cv2.CALIB_FIX_FOCAL_LENGTH
    for fixed in (cv2.CALIB_FIX_K1, cv2.CALIB_FIX_K2, cv2.CALIB_FIX_K3)[terms:]:
        flags |= fixed
    rms, K, *_ = cv2.calibrateCamera(
        [points], [px.astype(np.float32)], scale.size_px, K, np.zeros(5), flags=flags
    )
    return float(rms), K[:2, 2] - middle


def test_what_a_plane_leaves_is_mostly_the_lens():
    """Three radial terms (cv2.calibrateCamera) explain most of 1370 residuals, about the picture's middle.

    A bent board could look alike, but not with its centre there: seen aslant, the camera's foot, about
    which heights would shift the picture, lies 230 mm beside the picture's middle.
    """
    plane, _ = left_by_lens(0)
    lens, centre = left_by_lens(3)
    assert lens < 0.5 * plane
    assert np.hypot(*centre) < 0.02 * np.hypot(*scaled_by(WHOLE)[0].upright.size_px)


@pytest.mark.parametrize("band", BANDS_MM, ids=name_of)
@pytest.mark.parametrize("name", BLOCKS)
def test_lens_term_alone_covers_the_pitch(name, band):
    """Slot and side together, free of edge bias: all distances, scale and drawing against what is stated.

    This lens is steep half way out, 1.2 % at 0.45 of the half diagonal and no more at 0.7: two even terms of
    distortion of 1 % covered 14 to 79 %.
    """
    distance, error, u = pitches(BLOCKS[name])
    here = in_band(distance, band)
    if np.count_nonzero(here) < 20:
        pytest.skip("the block lies so that nothing is that far away")
    assert covered(error[here], u[here]) >= LEAST_COVERAGE, words(error[here], u[here])


def test_lens_term_alone_covers_the_pitch_of_the_whole_board():
    _, error, u = pitches(WHOLE)
    assert covered(error, u) >= LEAST_COVERAGE, words(error, u)


@pytest.mark.parametrize("name", ["strip above", "strip in the middle", "strip below"])
def test_a_strip_across_the_photo_tells_how_bad_the_lens_is(name):
    """Its residuals narrow down what the lens may do: beside it no more than twice the error is stated."""
    distance, error, u = pitches(BLOCKS[name])
    near = distance < 100
    rms, stated = (float(np.sqrt(np.mean(values[near] ** 2))) for values in (error, u))
    assert 0.4 * stated < rms < 1.5 * stated


def test_the_photo_is_of_a_strip_that_would_be_refused_as_bent_by_itself():
    """Over a third of the board's height neighbouring residuals share more than the bent alarm allows."""
    assert scaled_by(BLOCKS["strip above"])[0].upright.residual_mm > 4 * BENT_MM
