"""Profiles across the print's rim: direction, place, levels, what is left out."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from fitup.photo import linear_to_srgb
from fitup.scale import edge_profiles, find_target, scale_map, target_layout
from fitup.scale.edge_profiles import edge_blur_px
from tests.scale.drawing_world import INK, PAPER, Scene, draw, photo_of

RIM_EDGES = 15 + 15 + 3 + 2  # black squares at the joint side, far side, left and right end of the long strip


@cache
def plain():
    photo = photo_of(draw(Scene()))
    return photo, find_target(photo)


def test_profiles_run_from_ink_to_paper():
    photo, sighting = plain()
    offsets, profiles = edge_profiles(photo, sighting)
    assert offsets == pytest.approx(np.arange(-12, 12.5, 0.5))
    assert profiles.shape == (RIM_EDGES, len(offsets))
    assert profiles.dtype == np.float32
    assert profiles[:, :12].mean() == pytest.approx(linear_to_srgb(np.float64(INK)), abs=0.01)
    assert profiles[:, -12:].mean() == pytest.approx(linear_to_srgb(np.float64(PAPER)), abs=0.01)
    assert np.diff(profiles.mean(0)[16:33]).min() > -0.002  # rises all the way


def test_edges_lie_where_they_were_predicted():
    """Half of the linear light at offset zero: the edge is symmetric in linear light only."""
    photo, sighting = plain()
    offsets, profiles = edge_profiles(photo, sighting)
    light = np.where(profiles <= 0.04045, profiles / 12.92, ((profiles + 0.055) / 1.055) ** 2.4)
    middle = (INK + PAPER) / 2
    places = [np.interp(middle, row[18:31], offsets[18:31]) for row in light]
    assert np.mean(places) == pytest.approx(0, abs=0.05)  # px
    assert np.std(places) < 0.08


def test_map_and_sighting_give_the_same_profiles():
    photo, sighting = plain()
    assert np.array_equal(
        edge_profiles(photo, sighting)[1], edge_profiles(photo, scale_map(photo, sighting))[1]
    )


def test_number_and_reach_can_be_limited():
    photo, sighting = plain()
    offsets, profiles = edge_profiles(photo, sighting, half_width_px=6.0, step_px=0.25, max_edges=10)
    assert profiles.shape == (10, 49)
    assert offsets[[0, -1]] == pytest.approx([-6, 6])
    wide, _ = edge_profiles(photo, sighting, half_width_px=200.0)
    assert wide[-1] < 3.5 * scale_map(photo, sighting).px_per_mm([105.0, 0.0])  # white paper ends there


def test_sixteen_bits_give_the_same_levels():
    photo, sighting = plain()
    deep = photo_of(photo.pixels.astype(np.uint16) * 257)
    assert edge_profiles(deep, sighting)[1] == pytest.approx(edge_profiles(photo, sighting)[1], abs=0.005)


def test_edges_outside_the_photo_are_left_out():
    scene = Scene(look_at_mm=(105, -95))  # the joint side leaves the photo at the top
    photo = photo_of(draw(scene)[150:])
    sighting = find_target(photo)
    offsets, profiles = edge_profiles(photo, sighting)
    assert profiles.shape[1] == len(offsets)
    assert 0 < len(profiles) <= RIM_EDGES


def test_no_edges_no_blur():
    assert np.isnan(edge_blur_px(np.arange(-3.0, 4.0), np.empty((0, 7), np.float32)))
    assert np.isnan(edge_blur_px(np.arange(-3.0, 4.0), np.full((5, 7), 0.5, np.float32)))


def test_blur_of_a_computed_edge_is_found():
    """A Gaussian edge of known width in linear light, encoded: quarter levels are 1.349 sigma apart."""
    from scipy.special import ndtr

    offsets = np.arange(-12, 12.25, 0.25)
    edge = INK + (PAPER - INK) * ndtr((offsets - 0.3) / 1.7)
    assert edge_blur_px(offsets, np.tile(linear_to_srgb(edge), (4, 1)).astype(np.float32)) == pytest.approx(
        1.7, rel=0.02
    )


def test_short_strip_has_edges_too():
    layout = target_layout(1, "strip-8x5")
    photo = photo_of(draw(Scene(layout=layout, look_at_mm=(28, 5), distance_mm=150)))
    assert len(edge_profiles(photo, find_target(photo))[1]) == 4 + 4 + 3 + 2
