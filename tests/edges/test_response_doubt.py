"""What the print says against a photo: nothing for sound ones, something for every kind of spoiling."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fitup.edges.response import estimate_response
from fitup.edges.response_doubt import ResponseDoubt, response_doubt
from fitup.photo import open_photo
from fitup.scale import edge_profiles, find_target, scale_map
from tests.edges.test_response import CAMERAS, OFFSETS, print_edges
from tests.hostile import photos as spoil
from tests.hostile.photos import Picture, drawn, rendered, save


def doubt_of(picture: Picture, tmp_path: Path) -> ResponseDoubt:
    photo = open_photo(save(picture, tmp_path / "photo.jpg"))
    scale = scale_map(photo, find_target(photo))
    offsets, profiles = edge_profiles(photo, scale)
    response = estimate_response(offsets, profiles, scale.print_blur_px)
    return response_doubt(response, offsets, profiles, scale.print_blur_px)


@pytest.mark.parametrize("phone", CAMERAS, ids=str)
def test_sound_edges_of_any_phone_raise_no_doubt(phone: tuple[float, float, float, float]) -> None:
    edges = print_edges(*phone, np.random.default_rng(3))
    response = estimate_response(OFFSETS, edges, 1.2)
    doubt = response_doubt(response, OFFSETS, edges, 1.2)
    # Drawn edges scatter by 0.2 px about their places, more than those of a photo.
    assert doubt.levels_px < 0.15
    assert doubt.blur_px == 0
    assert doubt.note == ""


@pytest.mark.parametrize("name", ["opening", "plain", "05_bow", "12_portrait"])
def test_sound_photos_raise_no_doubt(tmp_path: Path, name: str) -> None:
    picture = rendered(name) if name[0].isdigit() else drawn(name)
    doubt = doubt_of(picture, tmp_path)
    assert doubt.u_gap_px < 0.03
    assert doubt.note == ""


@pytest.mark.parametrize(
    ("change", "cause", "word"),
    [
        (spoil.local_contrast, "levels_px", "filter"),
        (spoil.noisy(25.0), "levels_px", "noise"),
        (spoil.recompressed(15), "levels_px", "compression"),
        (spoil.mosaic(6), "places_px", "pixelated"),
        (spoil.defocused(4.0), "blur_px", "blurred"),
    ],
)
def test_spoilt_photos_are_doubted_for_the_right_cause(
    tmp_path: Path, change: Callable[[Picture], Picture], cause: str, word: str
) -> None:
    doubt = doubt_of(change(drawn("opening")), tmp_path)
    parts = {name: getattr(doubt, name) for name in ("levels_px", "places_px", "blur_px")}
    assert max(parts, key=parts.__getitem__) == cause
    assert parts[cause] > 0.2
    assert word in doubt.note


@pytest.mark.parametrize("cell_px", [2, 4, 6])
def test_coarser_is_doubted_more(tmp_path: Path, cell_px: int) -> None:
    finer, coarser = (doubt_of(spoil.mosaic(c)(drawn("opening")), tmp_path) for c in (cell_px, cell_px + 2))
    assert coarser.places_px > finer.places_px


def lifted(edges: NDArray[np.float32], share: float, reach_px: float) -> NDArray[np.float32]:
    """Local tone mapping: light over the mean of its surroundings, raised by a share of the difference."""
    step = float(OFFSETS[1] - OFFSETS[0])
    kernel = np.exp(-0.5 * (np.arange(-120, 121) * step / reach_px) ** 2)
    padded = np.pad(edges.astype(np.float64), ((0, 0), (120, 120)), mode="edge")
    around = np.stack([np.convolve(row, kernel / kernel.sum(), "valid") for row in padded])
    return np.clip(edges + share * (edges - around), 0, 1).astype(np.float32)


@pytest.mark.parametrize("phone", CAMERAS, ids=str)
def test_local_tone_mapping_is_doubted_and_sharpening_is_not(
    phone: tuple[float, float, float, float],
) -> None:
    edges = print_edges(*phone, np.random.default_rng(3))
    doubts = []
    for share in (0.0, 0.15, 0.4):
        mapped = lifted(edges, share, 9.0)
        response = estimate_response(OFFSETS, mapped, 1.2)
        doubts.append(response_doubt(response, OFFSETS, mapped, 1.2).halo_px)
    assert doubts[0] == 0
    assert 0 < doubts[1] < doubts[2]
    assert response_doubt(response, OFFSETS, lifted(edges, 1.6, 1.8), 1.2).halo_px == 0
