"""Strips end to end: the adjustment against general-purpose references, and what it must refuse."""

from __future__ import annotations

import math

import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from fitup.errors import RetakeError
from fitup.scale import target_layout
from fitup.scale.strip_chain import U_TOUCH_MM, StripLink, chain_strips, paper_pitch_mm

PITCH = 232.0


def link(first: int, second: int, offset: float, u: float = 0.1, photo: str = "a.jpg") -> StripLink:
    return StripLink(first=first, second=second, offset_mm=offset, u_mm=u, photo=photo)


@st.composite
def chains(draw: st.DrawFn) -> tuple[list[int], list[StripLink]]:
    """Strips near their nominal places, and links between some of them, true to about what they state."""
    count = draw(st.integers(2, 7))
    first = draw(st.integers(1, 6))
    slips = draw(st.lists(st.floats(-0.3, 0.3), min_size=count, max_size=count))
    place = np.arange(count) * PITCH + np.cumsum(slips)
    pairs = [(a, b) for a in range(count) for b in range(a + 1, min(a + 3, count))]
    chosen = draw(st.lists(st.sampled_from(pairs), max_size=8))
    links = []
    for index, (a, b) in enumerate(chosen):
        u = draw(st.floats(0.02, 0.4))
        miss = draw(st.floats(-1, 1)) * min(u, 0.2)
        links.append(link(first + a, first + b, place[b] - place[a] + miss, u, f"{index}.jpg"))
    return list(range(first, first + count)), links


@given(chains())
@settings(max_examples=60, deadline=None)
def test_places_are_those_of_a_general_least_squares_solver(chain: tuple[list[int], list[StripLink]]) -> None:
    """Reference: scipy.optimize.least_squares on the weighted misses, covariance from its Jacobian."""
    numbers, links = chain
    solved = chain_strips(numbers, PITCH, links)
    assert all(solved.touching)

    def misses(free: np.ndarray) -> np.ndarray:
        place = np.concatenate([[0.0], free])
        rows = [(place[k + 1] - place[k] - PITCH) / U_TOUCH_MM for k in range(len(numbers) - 1)]
        at = {number: place[k] for k, number in enumerate(numbers)}
        rows += [(at[one.second] - at[one.first] - one.offset_mm) / one.u_mm for one in links]
        return np.array(rows)

    start = np.arange(1, len(numbers)) * PITCH
    found = least_squares(misses, start, method="lm", xtol=1e-14, ftol=1e-14)
    steps = np.diff([0.0, *found.x])
    assert np.diff(solved.place_mm) == pytest.approx(steps, abs=0.0051)  # distances are rounded to 0.01 mm
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    assert solved.covariance_mm2[1:, 1:] == pytest.approx(covariance, rel=1e-5, abs=1e-10)


def test_uncertainty_along_a_chain_is_that_of_a_library_for_uncertainties() -> None:
    """Reference: the package `uncertainties`, linear propagation with correlations, on the same weights."""
    seen = [(231.9, 0.12), (232.2, 0.07), (232.1, 0.2)]
    links = [link(3 + k, 4 + k, offset, u) for k, (offset, u) in enumerate(seen)]
    solved = chain_strips([3, 6], PITCH, links)
    place: object = 0.0
    for k, (offset, u) in enumerate(seen):
        touch, photo = uncertainties.ufloat(PITCH, U_TOUCH_MM), uncertainties.ufloat(offset, u)
        weight = U_TOUCH_MM**-2 / (U_TOUCH_MM**-2 + u**-2)
        place = place + weight * touch + (1 - weight) * photo
        assert solved.place_mm[k + 1] == pytest.approx(place.nominal_value, abs=0.0051 * (k + 1))
        assert solved.u_mm[k + 1] == pytest.approx(place.std_dev, rel=1e-9)


@given(chains(), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_order_of_the_photos_changes_no_bit(
    chain: tuple[list[int], list[StripLink]], shuffler: object
) -> None:
    numbers, links = chain
    mixed = list(links)
    shuffler.shuffle(mixed)
    one, other = chain_strips(numbers, PITCH, links), chain_strips(numbers[::-1], PITCH, mixed)
    np.testing.assert_array_equal(one.place_mm, other.place_mm)
    np.testing.assert_array_equal(one.covariance_mm2, other.covariance_mm2)


@given(chains())
@settings(max_examples=40, deadline=None)
def test_one_more_photo_never_makes_places_less_certain(chain: tuple[list[int], list[StripLink]]) -> None:
    numbers, links = chain
    without = chain_strips(numbers, PITCH, links[1:])
    more = chain_strips(numbers, PITCH, links)
    assert (more.u_mm <= without.u_mm + 1e-12).all()


def test_without_any_photo_of_two_strips_the_papers_touch() -> None:
    chain = chain_strips([4, 2], PITCH)
    assert chain.numbers == (2, 3, 4)
    assert chain.place_mm.tolist() == [0.0, PITCH, 2 * PITCH]
    assert chain.u_mm == pytest.approx([0, U_TOUCH_MM, math.sqrt(2) * U_TOUCH_MM])
    assert chain.offset_mm(3, 4) == (pytest.approx(PITCH), pytest.approx(U_TOUCH_MM))


def test_a_single_strip_is_its_own_zero() -> None:
    chain = chain_strips([7], PITCH)
    assert (chain.numbers, chain.place_mm.tolist(), chain.u_mm.tolist()) == ((7,), [0.0], [0.0])


def test_papers_that_a_photo_shows_apart_do_not_touch() -> None:
    chain = chain_strips([1, 3], PITCH, [link(1, 2, PITCH + 5.0, 0.1)])
    assert chain.touching == (False, True)
    assert chain.place_of(2) == pytest.approx(PITCH + 5.0)
    assert chain.u_mm[1] == pytest.approx(0.1)
    assert "+5.0 mm" in chain.notes[0]


@pytest.mark.parametrize("offset", [2 * PITCH, -PITCH, PITCH + 60])
def test_strips_in_another_order_than_their_numbers_are_refused(offset: float) -> None:
    with pytest.raises(RetakeError) as caught:
        chain_strips([1, 4], PITCH, [link(2, 3, offset, photo="wrong.jpg")])
    assert caught.value.reason == "strips out of order"
    assert "wrong.jpg" in str(caught.value)


def test_strips_that_lie_differently_in_two_photos_were_moved() -> None:
    pair = [link(1, 2, PITCH, 0.05, "before.jpg"), link(1, 2, PITCH + 0.9, 0.05, "after.jpg")]
    with pytest.raises(RetakeError) as caught:
        chain_strips([1, 2], PITCH, pair)
    assert caught.value.reason == "strips moved"
    assert "before.jpg" in str(caught.value)
    assert "after.jpg" in str(caught.value)


def test_a_print_check_stretches_the_papers_too() -> None:
    layout = target_layout(1)
    assert paper_pitch_mm(layout) == pytest.approx(PITCH)
    assert paper_pitch_mm(layout, 1.001) == pytest.approx(1.001 * PITCH)
