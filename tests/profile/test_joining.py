"""Profiles of several photos to one: stations, weights, holes, and that nothing else changes a station."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from fitup.errors import RetakeError
from fitup.profile.joining import NO_PHOTO, PhotoPart, SeamProfile, join_profiles, seam_stations
from fitup.scale.strip_chain import StripChain, StripLink, chain_strips
from tests.profile.seam_profiles import STEP, made_profile, part

PITCH, LEFT = 232.0, -14.0
NAMES = ("one.jpg", "two.jpg", "three.jpg")


def flat(s: np.ndarray) -> np.ndarray:
    return np.asarray(0.4 + 0 * s)


def chain_of(offset: float = PITCH, count: int = 2) -> StripChain:
    links = [StripLink(first=1, second=2, offset_mm=offset, u_mm=0.001, photo="one.jpg")]
    return chain_strips([1, count], PITCH, links)


def joined(parts: Sequence[PhotoPart], chain: StripChain, end: float | None = None) -> SeamProfile:
    last = chain.place_mm[-1] + 210.0 if end is None else end
    stations = seam_stations(chain, (0.0, float(last)), LEFT, u_scale=0.0004)
    return join_profiles(parts, NAMES[: 1 + max(p.photo for p in parts)], chain, stations)


@pytest.mark.parametrize("offset", [231.6, 231.9, 232.0, 232.26, 232.49, 237.0, 228.3])
def test_stations_cover_the_joint_without_holes_wherever_the_strips_lie(offset: float) -> None:
    chain = chain_of(offset)
    stations = seam_stations(chain, (0.0, offset + 210.0), LEFT, u_scale=0.0)
    step = np.diff(stations.station_mm)
    assert ((step > STEP / 2 - 1e-6) & (step < 1.5 * STEP)).all()
    assert np.count_nonzero(np.abs(step - STEP) > 1e-6) <= 1
    assert stations.station_mm[0] == 0.0
    assert stations.station_mm[-1] == pytest.approx(offset + 210.0, abs=STEP)
    assert stations.on_strip_mm % STEP == pytest.approx(0)
    assert stations.on_strip_mm[list(stations.joins)] == pytest.approx(LEFT)
    joined([part(0, 1, 0, 250, flat), part(0, 2, -14, 210, flat)], chain)  # the profile takes such a grid


def test_a_station_seen_by_one_photo_is_taken_bit_for_bit() -> None:
    one, two = part(0, 1, -10, 215, flat, seed=1), part(1, 2, -10, 210, flat, seed=2)
    found = joined([one, two], chain_of(231.83))
    of_two = found.stations.strip_number == 2
    lookup = {round(s * 2): k for k, s in enumerate(two.profile.station_mm)}
    seen = of_two & found.profile.seen
    at = [lookup[round(s * 2)] for s in found.stations.on_strip_mm[seen]]
    np.testing.assert_array_equal(found.profile.gap_mm[seen], two.profile.gap_mm[at])
    assert seen.sum() > 400


def test_places_follow_the_chain() -> None:
    found = joined([part(0, 1, 0, 220, flat), part(1, 2, -14, 210, flat)], chain_of(231.83))
    of_two = found.stations.strip_number == 2
    assert found.profile.station_mm[of_two] == pytest.approx(231.83 + found.stations.on_strip_mm[of_two])
    far = found.stations.u_station_mm[-1]
    assert far == pytest.approx(np.sqrt(0.001**2 + 0.05**2 + (0.0004 * 441.5) ** 2), rel=0.01)


def test_weights_random_parts_average_common_ones_do_not() -> None:
    """Two photos of one strip, alike certain: JCGM 100, 5.1.2 for what is random, 5.2.2 for the rest."""
    parts = [
        PhotoPart(photo=k, strip_number=1, profile=made_profile(0, 210, lambda s, k=k: flat(s) + 0.02 * k))
        for k in (0, 1)
    ]
    found = joined(parts, chain_strips([1], PITCH))
    assert found.profile.gap_mm == pytest.approx(0.41)
    rows = {row.name: row.u_mm for row in found.profile.budget}
    assert rows["noise and grain"] == pytest.approx(0.01 / np.sqrt(2))
    assert rows["tone curve"] == pytest.approx(0.02)
    assert found.profile.u_gap_mm == pytest.approx(np.sqrt(0.01**2 / 2 + 0.02**2 + 0.01**2))
    assert found.shown.all()


def test_the_more_certain_photo_weighs_more_and_leads() -> None:
    good = part(0, 1, 0, 210, lambda s: flat(s) + 0.03, own_mm=0.01)
    poor = part(1, 1, 0, 210, flat, own_mm=0.08)
    found = joined([good, poor], chain_strips([1], PITCH))
    assert (found.leading == 0).all()
    weight = np.array([0.01**2 + 0.01**2 + 0.01**2, 0.08**2 + 0.01**2 + 0.01**2]) ** -1.0
    assert found.profile.gap_mm == pytest.approx(0.4 + 0.03 * weight[0] / weight.sum())


def test_what_looks_past_its_strip_is_compared_where_it_really_lies() -> None:
    """A slope seen by both, strips 0.4 mm further apart than nominal: interpolated, the two agree."""

    def gap(s: np.ndarray) -> np.ndarray:
        return np.asarray(0.2 + 0.01 * (s - 200))

    chain = chain_of(232.4)
    parts = [part(0, 1, 150, 250, gap), part(1, 2, -40, 60, lambda s: gap(s + 232.4))]
    found = joined(parts, chain)
    (overlap,) = found.overlaps
    assert abs(overlap.mean_difference_mm) < 1e-9
    assert overlap.chi_square < 1e-9
    assert overlap.stations > 100
    assert found.profile.gap_mm[found.profile.seen] == pytest.approx(
        gap(found.profile.station_mm[found.profile.seen])
    )


def test_a_hole_has_its_own_word_and_other_reasons_stay() -> None:
    parts = [part(0, 1, 0, 180, flat, unseen=(50, 60, "glare")), part(1, 2, 20, 210, flat)]
    found = joined(parts, chain_of())
    at = found.profile.station_mm
    reason = np.array(found.profile.unseen_reason)
    assert set(reason[(at >= 50) & (at <= 60)]) == {"glare"}
    assert set(reason[(at > 180.5) & (at < 251.5)]) == {NO_PHOTO}
    assert set(reason[(at < 49) | ((at > 61) & (at < 179)) | (at > 253)]) == {""}
    assert (found.leading[reason == NO_PHOTO] == -1).all()


def test_one_photo_sees_under_the_other_ones_glare() -> None:
    parts = [part(0, 1, 0, 210, flat, unseen=(50, 60, "glare")), part(1, 1, 0, 210, flat)]
    found = joined(parts, chain_strips([1], PITCH))
    assert found.profile.seen.all()
    at = found.profile.station_mm
    assert (found.leading[(at >= 50) & (at <= 60)] == 1).all()


def test_a_disagreement_names_both_photos_and_the_stretch() -> None:
    def moved(s: np.ndarray) -> np.ndarray:
        return np.asarray(flat(s) + 0.3 * ((s > 100) & (s < 120)))

    with pytest.raises(RetakeError) as caught:
        joined([part(0, 1, 0, 210, flat), part(1, 1, 0, 210, moved)], chain_strips([1], PITCH))
    assert caught.value.reason == "photos disagree"
    for word in ("one.jpg", "two.jpg", "from 99 to 120 mm", "0.40"):  # to whole blocks of 3 mm
        assert word in str(caught.value)


def test_neighbours_that_are_missing_change_no_bit_of_a_station() -> None:
    parts = [part(k, k + 1, -20, 230, flat, seed=k) for k in range(3)]
    chain = chain_of(232.1, count=3)
    whole = joined(parts, chain)
    without = joined([parts[0], PhotoPart(photo=1, strip_number=3, profile=parts[2].profile)], chain)
    same = (whole.shown[0] | whole.shown[2]) & ~whole.shown[1]
    assert same.sum() > 500
    for name in ("station_mm", "gap_mm", "u_gap_mm", "near_mm", "far_mm"):
        np.testing.assert_array_equal(
            getattr(whole.profile, name)[same], getattr(without.profile, name)[same]
        )
