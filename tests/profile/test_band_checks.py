"""A fitted gap against the band: made profiles whose lines are known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fitup.edges import Lands, Section, section_of
from fitup.joint import JointKind, JointSetup
from fitup.profile.band_checks import arris_misplaced, dip_missing, land_missing, second_line

PX_MM = 0.07
STATIONS = 200
N_MM = np.arange(-57, 58) * PX_MM


def arrises(
    lines: list[tuple[float | np.ndarray, float]],
    *,
    fitted: tuple[float, float],
    plate: float = 0.7,
    dark: float = 0.15,
    lit: bool = False,
    kind: JointKind = JointKind.BUTT,
) -> SimpleNamespace:
    """Lines (middle, width) [mm] in a plate, and a fit that has its gap from `fitted[0]` to `fitted[1]`."""
    profiles = np.full((STATIONS, len(N_MM)), plate)
    for middle, width in lines:
        off = np.abs(N_MM - np.broadcast_to(middle, STATIONS)[:, None])
        profiles = np.where(off <= width / 2, dark, profiles)
    row = np.ones(STATIONS)
    return SimpleNamespace(
        band=SimpleNamespace(profiles=profiles.astype(np.float32), n_mm=N_MM, sample_mm=PX_MM),
        section=SimpleNamespace(kind=kind, in_plate_plane=kind in (JointKind.BUTT, JointKind.SEAM)),
        near_mm=fitted[0] * row,
        far_mm=fitted[1] * row,
        gap_mm=(fitted[1] - fitted[0]) * row,
        lit=np.full(STATIONS, lit),
        contrast=0.95 * row,
        blur_px=1.1,
    )


def test_a_dip_where_the_fit_has_it() -> None:
    assert not dip_missing(arrises([(0.0, 0.5)], fitted=(-0.25, 0.25))).any()


def test_a_fit_beside_the_dip_or_without_one() -> None:
    assert dip_missing(arrises([(0.0, 0.5)], fitted=(1.0, 1.5))).all()
    assert dip_missing(arrises([], fitted=(-0.25, 0.25))).all()


def test_light_from_below_is_a_dip_upwards() -> None:
    shining = arrises([(0.0, 0.5)], fitted=(-0.25, 0.25), dark=0.95, lit=True)
    assert not dip_missing(shining).any()
    assert dip_missing(arrises([(0.0, 0.5)], fitted=(-0.25, 0.25), lit=True)).all()


@pytest.mark.parametrize("off_mm", [-1.7, -1.0, 1.0, 1.7])
def test_a_second_line_close_by_is_seen(off_mm: float) -> None:
    assert second_line(arrises([(0.0, 0.4), (off_mm, 0.3)], fitted=(-0.2, 0.2))).all()


@pytest.mark.parametrize("off_mm", [-3.0, 3.0])
def test_a_line_further_away_is_left_alone(off_mm: float) -> None:
    assert not second_line(arrises([(0.0, 0.4), (off_mm, 0.3)], fitted=(-0.2, 0.2))).any()


def test_a_wide_gap_is_one_line() -> None:
    assert not second_line(arrises([(0.0, 2.4)], fitted=(-1.2, 1.2))).any()
    assert not second_line(arrises([(0.0, 2.4)], fitted=(-1.2, 0.5))).any()  # read too narrow, but one


def test_a_speck_is_no_line() -> None:
    middle = np.full(STATIONS, 9.0)
    middle[90:94] = 1.0
    assert not second_line(arrises([(0.0, 0.4), (middle, 0.3)], fitted=(-0.2, 0.2))).any()


def test_where_a_line_runs_into_the_gap_is_not_trusted_either() -> None:
    crossing = np.linspace(-6.0, 6.0, STATIONS)
    flags = second_line(arrises([(0.0, 0.4), (crossing, 0.3)], fitted=(-0.2, 0.2)))
    assert flags[STATIONS // 2]
    assert not flags[0]
    assert not flags[-1]


def test_other_kinds_of_joint_show_lines_of_their_own() -> None:
    lap = arrises([(0.0, 0.4), (1.0, 0.3)], fitted=(-0.2, 0.2), kind=JointKind.LAP)
    assert not second_line(lap).any()


def lands(near: float | np.ndarray = 1.5, far: float | np.ndarray = 1.5) -> Lands:
    both = [np.broadcast_to(np.asarray(length, float), STATIONS).copy() for length in (near, far)]
    return Lands(near_mm=both[0], far_mm=both[1], near_expected=True, far_expected=True)


def test_between_lands_the_far_plates_are_not_asked_for_the_dip() -> None:
    assert not dip_missing(arrises([], fitted=(-0.25, 0.25), kind=JointKind.CORNER_FULL_OPEN)).any()


def test_a_land_that_ends_nowhere_is_missed_and_a_few_blind_stations_are_not() -> None:
    assert not land_missing(lands()).any()
    gone = np.full(STATIONS, 1.5)
    gone[80:150] = np.nan
    flags = land_missing(lands(far=gone))
    assert flags[100:130].all()
    assert not flags[:50].any()
    speck = np.full(STATIONS, 1.5)
    speck[90:95] = np.nan
    assert not land_missing(lands(near=speck)).any()


def test_a_land_that_the_joint_does_not_have_is_not_missed() -> None:
    without = Lands(
        near_mm=np.full(STATIONS, 1.5),
        far_mm=np.full(STATIONS, np.nan),
        near_expected=True,
        far_expected=False,
    )
    assert not land_missing(without).any()


def end_face(kind: str) -> Section:
    return section_of(JointSetup.of(kind), np.full(STATIONS, -0.9), 1.5)


@pytest.mark.parametrize(("length", "misplaced"), [(1.5, False), (1.4, False), (1.2, True), (1.8, True)])
def test_near_arris_of_an_end_face_gap_stands_a_land_from_the_outer_one(
    length: float, misplaced: bool
) -> None:
    near = np.full(STATIONS, 1.5)
    near[100:110] = length
    flags = arris_misplaced(SimpleNamespace(section=end_face("edge")), lands(near))
    assert flags[100:110].all() == misplaced
    assert not flags[:100].any()


def test_a_short_near_land_is_no_misplaced_arris() -> None:
    near = np.full(STATIONS, 1.5)
    near[100:110] = 0.5
    assert not arris_misplaced(SimpleNamespace(section=end_face("edge")), lands(near)).any()


def test_far_land_of_an_edge_joint_is_as_thick_as_the_sheet() -> None:
    far = np.full(STATIONS, 1.5)
    far[20:40] = 0.45
    flags = arris_misplaced(SimpleNamespace(section=end_face("edge")), lands(far=far))
    assert flags[20:40].all()
    assert flags.sum() == 20
