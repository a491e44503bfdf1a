"""What two targets make of a reading, against weighted means worked out here by their definition."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fitup.edges import section_of
from fitup.joint import JointSetup
from fitup.profile import GapProfile, Influence, second_target, with_second_target
from fitup.profile.budget import BASE, NOISE, STEP, U_STEP_MM
from fitup.profile.second_target import BEND_MM, LAP_BEND_MM, LIGHT_EXCESS
from fitup.profile.two_readings import weighed
from fitup.scale import GapAndStep, NotMeasurable, PlaneFrame, SpaceLength

COUNT, SHEET_MM, TANGENT, U_ARRIS_PX = 60, 1.5, 0.3, 0.15
ROW = np.ones(COUNT)


def reading(gap: float | np.ndarray, rows: dict[str, float], hidden: int = 0) -> GapProfile:
    """A profile whose first `hidden` stations were not seen."""
    budget = tuple(Influence(name=name, u_mm=u * ROW, common=True, remedy="") for name, u in rows.items())
    blank = np.where(np.arange(COUNT) < hidden, np.nan, 0.0)
    gap = gap * ROW + blank
    px = np.zeros((COUNT, 2)) + blank[:, None]
    return GapProfile(
        station_mm=0.5 * np.arange(COUNT),
        gap_mm=gap,
        u_gap_mm=np.sqrt(sum(u**2 for u in rows.values())) * ROW + blank,
        near_mm=0 * gap,
        far_mm=gap,
        near_px=px,
        far_px=px,
        centre_px=np.zeros((COUNT, 2)),
        unseen_reason=tuple("glare" if k < hidden else "" for k in range(COUNT)),
        budget=budget,
        notes=(),
        step_mm=0.5,
    )


def length(value: float | np.ndarray, u: float, seen: int = COUNT) -> SpaceLength:
    return SpaceLength(
        value_mm=np.broadcast_to(np.asarray(value, float), seen).copy(),
        u_mm=np.full(seen, u),
        parts_mm={"noise": np.zeros(seen), "thickness": np.full(seen, u)},
    )


def with_both(monkeypatch: pytest.MonkeyPatch, profile: GapProfile, kind: str, found: object):
    """Put in what space tells, and run the public function."""
    monkeypatch.setattr(second_target, "gap_to_plate", lambda *a, **k: found)
    monkeypatch.setattr(second_target, "on_upper_sheet", lambda *a: None)
    monkeypatch.setattr(
        second_target, "gap_and_step", lambda *a, **k: GapAndStep(gap=length(0, 1), step=found)
    )
    plates = [
        SimpleNamespace(sighting=SimpleNamespace(layout=SimpleNamespace(strip_number=n))) for n in (1, 2)
    ]
    pair = SimpleNamespace(
        first=plates[0],
        second=plates[1],
        included_angle_deg=90.0,
        u_included_angle_deg=0.3,
        space=None,
        on_first=lambda *a: None,
        on_second=lambda *a: None,
    )
    band = SimpleNamespace(points_mm=lambda n: np.stack([0 * n, n], axis=1), sample_mm=0.1)
    arrises = SimpleNamespace(
        section=section_of(JointSetup.of(kind), TANGENT * ROW, SHEET_MM), tangent=TANGENT * ROW, band=band,
        fit=SimpleNamespace(near_sd_px=U_ARRIS_PX * ROW, grain_factor=1.0),
    )  # fmt: skip
    return with_second_target(profile, arrises, pair, PlaneFrame.plate(), SHEET_MM)


def test_light_and_space_are_weighed_with_what_either_may_be_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """The arris' part counts in full, for both readings have it."""
    light, space, u_light, u_space, u_arris = 0.50, 0.58, 0.06, 0.04, 0.01
    rows = {BASE: u_light, "arris radius": u_arris}
    told, _ = with_both(monkeypatch, reading(light, rows), "tee", length(space, u_space))
    u = (np.hypot(u_light, u_arris) * ROW, u_space * ROW)
    share, added = weighed((space - light) * ROW, u, (LIGHT_EXCESS * u_light, BEND_MM))
    np.testing.assert_allclose(told.gap_mm, light + share * (space - light))
    own = np.hypot((1 - share) * u_light, share * u_space)
    np.testing.assert_allclose(told.u_gap_mm, np.sqrt(own**2 + added**2 + u_arris**2))
    # Less certain than were both budgets complete, more than the better reading and a bent sheet.
    assert (told.u_gap_mm > 1 / np.hypot(1 / u_light, 1 / u_space)).all()
    assert (told.u_gap_mm < np.hypot(u_space, 2 * BEND_MM)).all()


def test_noise_of_a_badly_seen_base_counts_as_little_as_the_light(monkeypatch: pytest.MonkeyPatch) -> None:
    """The arris is seen to 0.015 mm; that the light leaves 0.4 mm open does not make the distance worse."""
    told, _ = with_both(monkeypatch, reading(0.7, {NOISE: 0.4, BASE: 0.1}), "lap", length(0.6, 0.04))
    assert (told.u_gap_mm < np.hypot(0.04, 2 * LAP_BEND_MM)).all()
    noise = next(row.u_mm for row in told.budget if row.name == NOISE)
    assert (noise >= 0.1 * U_ARRIS_PX).all()
    sharp, _ = with_both(monkeypatch, reading(0.7, {NOISE: 0.005, BASE: 0.1}), "lap", length(0.6, 0.04))
    assert max(next(row.u_mm for row in sharp.budget if row.name == NOISE)) <= 0.005


def test_readings_that_disagree_leave_both_possible(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dish that the strips do not tell: neither reading may be called sure."""
    light = np.where(np.arange(COUNT) < 30, 1.1, 0.4)
    told, _ = with_both(monkeypatch, reading(light, {BASE: 0.12}), "lap", length(0.4, 0.04))
    low, high = told.gap_mm - 1.96 * told.u_gap_mm, told.gap_mm + 1.96 * told.u_gap_mm
    assert (low[:20] < 0.4).all()
    assert (high[:20] > 1.1).all()
    assert (told.u_gap_mm[40:] >= 1 / np.hypot(1 / 0.12, 1 / 0.04)).all()
    assert (told.u_gap_mm[40:] < LAP_BEND_MM).all()


@pytest.mark.parametrize("kind", ["tee", "corner-full-open"])
def test_what_cannot_be_told_changes_nothing_and_is_said(monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    profile = reading(0.5, {"noise": 0.02})
    told, shape = with_both(
        monkeypatch, profile, kind, NotMeasurable(reason="too coarse", remedy="come closer")
    )
    assert told is profile
    assert shape.hi_lo_mm is None
    assert any("too coarse" in note for note in shape.notes)


def test_step_is_weighed_with_the_usual_one_and_takes_the_slant(monkeypatch: pytest.MonkeyPatch) -> None:
    """Apparent gap = gap - step tan; the step's mean with 0 +- what clamped plates keep."""
    step, u_step = 0.1, 0.03
    rows = {"noise": 0.02, STEP: U_STEP_MM * TANGENT}
    told, shape = with_both(
        monkeypatch, reading(0.5, rows, hidden=10), "corner-full-open", length(step, u_step, COUNT - 10)
    )
    weights = 1 / np.array([U_STEP_MM**2, u_step**2])
    mean = float(np.average([0.0, step], weights=weights))
    np.testing.assert_allclose(told.gap_mm[10:], 0.5 + mean * TANGENT)
    np.testing.assert_allclose(told.u_gap_mm[10:], np.hypot(0.02, TANGENT / np.sqrt(weights.sum())))
    assert np.isnan(told.gap_mm[:10]).all()
    assert shape.hi_lo_mm is not None
    np.testing.assert_allclose(shape.hi_lo_mm, step)
