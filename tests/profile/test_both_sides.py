"""Gap and step from two photos' profiles, against least squares by NumPy and by statistics."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import RetakeError
from fitup.profile import GapProfile, Influence
from fitup.profile.both_sides import VIEW, Separated, separate
from fitup.profile.budget import NOISE, STEP, U_STEP_MM
from fitup.profile.side_views import PLACE, SideView, lay_sides
from fitup.scale import NotMeasurable

COUNT = 200
STATION = np.arange(COUNT) * 0.5
U_NOISE, U_TONE, PRINT = 0.004, 0.008, 0.005


def view(
    tangent: float | np.ndarray, gap: np.ndarray, name: str = "a.jpg", *, first_mm: float = 0.0
) -> SideView:
    """A photo's profile with a budget of every sort of influence."""
    count = len(gap)
    t = np.broadcast_to(np.asarray(tangent, dtype=np.float64), (count,))
    rows = [
        Influence(name=NOISE, u_mm=np.full(count, U_NOISE), common=False, remedy="hold still"),
        Influence(name="tone curve", u_mm=np.full(count, U_TONE), common=True, remedy="come closer"),
        Influence(name=STEP, u_mm=U_STEP_MM * np.abs(t), common=True, remedy="straight down"),
        Influence(name="scale: print", u_mm=PRINT * np.nan_to_num(gap), common=True, remedy="check it"),
    ]
    blank = np.where(np.isfinite(gap), 0.0, np.nan)
    profile = GapProfile(
        station_mm=first_mm + np.arange(count) * 0.5,
        gap_mm=gap,
        u_gap_mm=np.sqrt(sum(row.u_mm**2 for row in rows)) + blank,
        near_mm=20.0 + blank,
        far_mm=20.0 + gap,
        near_px=np.stack([np.arange(count), np.full(count, 50.0)], axis=1) + blank[:, None],
        far_px=np.stack([np.arange(count), np.full(count, 40.0)], axis=1) + blank[:, None],
        centre_px=np.stack([np.arange(count), np.full(count, 45.0)], axis=1),
        unseen_reason=tuple("" if np.isfinite(value) else "glare" for value in gap),
        budget=tuple(rows),
        notes=(),
        step_mm=0.5,
    )
    return SideView(name=name, profile=profile, tangent=np.array(t))


def joint(tangents: tuple[float, float], seed: int = 1) -> tuple[list[SideView], np.ndarray, np.ndarray]:
    """Two photos of one joint with noise, its gap and its step."""
    rng = np.random.default_rng(seed)
    gap = 0.5 + 0.1 * np.sin(STATION / 20)
    step = 0.08 + 0.05 * np.sin(STATION / 60)
    shown = [gap - step * t + rng.normal(0, U_NOISE, COUNT) for t in tangents]
    return (
        [view(t, g, name) for t, g, name in zip(tangents, shown, ("a.jpg", "b.jpg"), strict=True)],
        gap,
        step,
    )


def told(views: list[SideView], u_tangent: float = 0.0) -> Separated:
    result = separate(views, u_tangent)
    assert isinstance(result, Separated)
    return result


@pytest.mark.parametrize("tangents", [(-0.27, 0.27), (-0.36, 0.17), (0.1, 0.45)])
def test_gap_and_step_are_those_of_least_squares(tangents: tuple[float, float]) -> None:
    """Reference: numpy.linalg.lstsq with one row per photo, station by station."""
    views, _, _ = joint(tangents)
    result = told(views)
    matrix = np.array([[1.0, -t] for t in tangents])
    shown = np.stack([one.profile.gap_mm for one in views])
    reference = np.linalg.lstsq(matrix, shown, rcond=None)[0]
    np.testing.assert_allclose(result.profile.gap_mm, reference[0], atol=1e-12)
    np.testing.assert_allclose(result.step_mm, reference[1], atol=1e-12)


def test_order_of_the_photos_does_not_matter() -> None:
    views, _, _ = joint((-0.36, 0.17))
    one, other = told(views, 0.01), told(views[::-1], 0.01)
    np.testing.assert_allclose(one.profile.gap_mm, other.profile.gap_mm, atol=1e-12)
    np.testing.assert_allclose(one.profile.u_gap_mm, other.profile.u_gap_mm, atol=1e-12)
    np.testing.assert_allclose(one.u_step_mm, other.u_step_mm, atol=1e-12)


@pytest.mark.parametrize("alike", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("tangents", [(-0.27, 0.27), (-0.36, 0.17), (0.1, 0.5)])
def test_stated_uncertainty_holds_however_alike_both_photos_err(
    tangents: tuple[float, float], alike: float
) -> None:
    """Monte Carlo (JCGM 101): errors of a photo as a whole that are more or less the same in the other."""
    views, gap, step = joint(tangents)
    result = told(views, 0.01)
    rng = np.random.default_rng(7)
    tries = 4000
    both, own = rng.normal(0, U_TONE, tries), rng.normal(0, U_TONE, (2, tries))
    noise = rng.normal(0, U_NOISE, (2, tries))
    errors = np.sqrt(alike) * both + np.sqrt(1 - alike) * own + noise
    at = COUNT // 2
    scale = 1 + rng.normal(0, PRINT, tries)
    t = np.array(tangents)[:, None]
    shown = (gap[at] - step[at] * t) * scale + errors
    seen_t = t * (1 + 0.01 / np.abs(t).max() * rng.normal(0, 1, tries))
    h = (shown[1] - shown[0]) / (seen_t[0] - seen_t[1])
    g = shown[0] + h * seen_t[0]
    assert g.std() < 1.05 * result.profile.u_gap_mm[at]
    assert h.std() < 1.05 * result.u_step_mm[at]
    # Not so careful that it says nothing: no more than twice what the worst of these cases needs.
    assert result.profile.u_gap_mm[at] < 2 * np.hypot(U_TONE, U_NOISE) * max(
        1.0, *np.abs(t.ravel() / np.ptp(t))
    )
    assert result.u_step_mm[at] < 2 * np.sqrt(2) * np.hypot(U_TONE, U_NOISE) / np.ptp(t)


def test_the_budget_has_no_line_for_a_step_that_was_measured() -> None:
    views, _, _ = joint((-0.27, 0.27))
    rows = {row.name: row.u_mm for row in told(views, 0.01).profile.budget}
    assert not rows[STEP].any()
    assert rows[VIEW].max() > 0
    assert rows[PLACE].max() > 0
    np.testing.assert_allclose(rows["tone curve"], U_TONE)
    np.testing.assert_allclose(rows[NOISE], U_NOISE / np.sqrt(2), rtol=1e-6)


def test_squares_of_the_budget_sum_to_the_uncertainty() -> None:
    views, _, _ = joint((-0.36, 0.17))
    hidden = np.where(np.abs(STATION - 50) < 8, np.nan, views[1].profile.gap_mm)
    profile = told([views[0], view(0.17, hidden, "b.jpg")], 0.01).profile
    total = np.sqrt(sum(row.u_mm**2 for row in profile.budget))
    np.testing.assert_allclose(profile.u_gap_mm, total)


def test_a_station_that_one_photo_saw_takes_the_step_beside_it_less_surely() -> None:
    views, gap, _ = joint((-0.36, 0.17))
    hidden = np.where(np.abs(STATION - 50) < 8, np.nan, views[1].profile.gap_mm)
    result = told([views[0], view(0.17, hidden, "b.jpg")])
    alone = np.abs(STATION - 50) < 8
    assert result.profile.seen.all()
    assert np.isnan(result.step_mm[alone]).all()
    assert np.abs(result.profile.gap_mm - gap)[alone].max() < 0.02
    assert (result.profile.u_gap_mm[alone] > U_STEP_MM * 0.36).all()
    assert (result.profile.u_gap_mm[~alone] < U_STEP_MM * 0.36).all()


def test_what_neither_photo_saw_stays_unseen_with_its_reason() -> None:
    views, _, _ = joint((-0.27, 0.27))
    hidden = [np.where(np.abs(STATION - 50) < 4, np.nan, one.profile.gap_mm) for one in views]
    result = told([view(-0.27, hidden[0]), view(0.27, hidden[1], "b.jpg")])
    unseen = ~result.profile.seen
    assert unseen.sum() == 15
    assert {result.profile.unseen_reason[index] for index in np.flatnonzero(unseen)} == {"glare"}


def test_grids_that_begin_elsewhere_are_matched_by_place() -> None:
    views, gap, _ = joint((-0.27, 0.27))
    later = view(0.27, views[1].profile.gap_mm[6:], "b.jpg", first_mm=3.0)
    result = told([views[0], later])
    assert result.profile.station_mm[[0, -1]] == pytest.approx([0.0, 99.5])
    both = result.profile.station_mm >= 3.0
    assert np.isfinite(result.step_mm[both]).all()
    assert np.isnan(result.step_mm[~both]).all()
    assert np.abs(result.profile.gap_mm - gap)[both].max() < 0.015
    assert result.profile.near_px[10, 0] in (10.0, 4.0)


def test_views_from_one_side_are_not_measurable() -> None:
    views, _, _ = joint((0.2, 0.26))
    result = separate(views, 0.0)
    assert isinstance(result, NotMeasurable)
    assert "nearly the same side" in result.reason
    assert "15 degrees" in result.remedy


def test_a_step_known_too_badly_says_what_spoils_it() -> None:
    views, _, _ = joint((-0.05, 0.07))
    loud = [
        replace(
            one,
            profile=replace(
                one.profile,
                budget=tuple(
                    replace(row, u_mm=0.03 + 0 * row.u_mm) if row.name == "tone curve" else row
                    for row in one.profile.budget
                ),
            ),
        )
        for one in views
    ]
    result = separate(loud, 0.0)
    assert isinstance(result, NotMeasurable)
    assert "7° apart" in result.reason
    assert "± 0." in result.reason
    louder = [replace(one, tangent=one.tangent * 5) for one in views]
    for one in louder:
        one.profile.budget[1].u_mm[:] = 0.1
    result = separate(louder, 0.0)
    assert isinstance(result, NotMeasurable)
    assert result.reason.endswith("tone curve")
    assert result.remedy == "come closer"


def test_photos_without_a_common_place_are_not_measurable() -> None:
    views, _, _ = joint((-0.27, 0.27))
    halves = [np.where((STATION < 50) == (k == 0), one.profile.gap_mm, np.nan) for k, one in enumerate(views)]
    result = separate([view(-0.27, halves[0]), view(0.27, halves[1], "b.jpg")], 0.0)
    assert isinstance(result, NotMeasurable)
    assert "no place" in result.reason


@pytest.mark.parametrize(
    "change",
    [0.15 * (np.abs(STATION - 40) < 5), -0.2 * np.exp(-(((STATION - 70) / 4) ** 2)), 0.9 + 0 * STATION],
    ids=["opening", "closed", "moved"],
)
def test_what_no_step_explains_is_a_disagreement_that_names_both(change: np.ndarray) -> None:
    views, _, _ = joint((-0.27, 0.27))
    other = view(0.27, views[1].profile.gap_mm + change, "b.jpg")
    with pytest.raises(RetakeError) as caught:
        separate([views[0], other], 0.0)
    assert caught.value.reason == "photos disagree"
    assert "a.jpg and b.jpg" in str(caught.value)


@pytest.mark.parametrize("seed", range(2, 12))
def test_noise_alone_is_no_disagreement(seed: int) -> None:
    assert told(joint((-0.27, 0.27), seed)[0]).profile.seen.all()


def test_laid_sides_keep_what_each_photo_shows() -> None:
    views, _, _ = joint((-0.27, 0.27))
    sides = lay_sides(views, STATION[10:20])
    np.testing.assert_array_equal(sides.apparent_mm[1], views[1].profile.gap_mm[10:20])
    np.testing.assert_array_equal(sides.u_apparent_mm[0], views[0].profile.u_gap_mm[10:20])
