"""The budget against the `uncertainties` package and against a Monte Carlo after JCGM 101:2008.

The measurement model is written out here in full: the gap is the difference of two arrises whose errors
hang together, in px, times the length of a pixel, times what the scale is off by, plus what comes on top.
The product combines standard uncertainties (JCGM 100:2008, 5.1.2); the package propagates the model linearly
with its own derivatives; the Monte Carlo draws every input from its own distribution, without derivatives.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import correlated_values, ufloat

from fitup.profile import GapProfile, Influence
from fitup.profile.budget import SAME_BLUR, U_STEP_MM, combined, uncertainty_budget
from fitup.verdict import DecisionRule, Limit, StationState, judge, probability_within

Array = NDArray[np.float64]

DRAWS = 400_000
SCALE_PARTS = {"saddles": 0.0004, "print": 0.005, "thickness": 0.0003, "lens and distance": 0.002}


@dataclass(frozen=True, kw_only=True)
class Station:
    """One station's inputs. px and mm as named; uncertainties are standard ones."""

    width_px: float
    sample_mm: float = 0.07
    tangent: float = 0.09
    u_turn_rad: float = 0.0  # of the opening plane; between plates in one plane there is none
    u_tone_px: float = 0.10
    u_noise_px: float = 0.06
    u_arris_mm: float = 0.014
    u_shape_mm: tuple[float, float] = (0.004, 0.003)  # near and far arris, each by itself
    blur_px: float = 1.2  # the joint's; the print's is 1.2
    priors_px: dict[str, float] = field(
        default_factory=lambda: {"blur": 0.02, "floor": 0.05, "face": 0.03, "band": 0.04}
    )
    scale: dict[str, float] = field(default_factory=lambda: dict(SCALE_PARTS))

    @property
    def gap_mm(self) -> float:
        return self.width_px * self.sample_mm

    @property
    def u_smeared_mm(self) -> float:
        """What the joint's blur has beyond one that both may share, as squares differ."""
        return float(np.sqrt(max(self.blur_px**2 - (SAME_BLUR * 1.2) ** 2, 0.0))) * self.sample_mm


STATIONS = {
    "hairline": Station(width_px=1.2),
    "usual": Station(width_px=7.0),
    "wide": Station(width_px=25.0),
    "print unknown by a lot": Station(width_px=25.0, scale={**SCALE_PARTS, "print": 0.03}),
    "steep": Station(width_px=8.0, tangent=-0.4),
    "smeared by a burr": Station(width_px=9.0, blur_px=1.9),
    "corner from aside": Station(width_px=14.0, tangent=0.35, u_turn_rad=0.025),
}


def budget_of(station: Station) -> tuple[Influence, ...]:
    """The product's budget for one station (below five stations neighbours have no say)."""
    variance = {name: np.array([sd**2]) for name, sd in station.priors_px.items()}
    variance["noise"] = np.array([station.u_noise_px**2])
    arrises = SimpleNamespace(
        variance_parts_mm2={name: v * station.sample_mm**2 for name, v in variance.items()},
        gap_mm=np.array([station.gap_mm]),
        band=SimpleNamespace(sample_mm=station.sample_mm),
        tangent=np.array([station.tangent]),
        fit=SimpleNamespace(grain_factor=1.0),
        section=SimpleNamespace(u_turn_rad=station.u_turn_rad, lands=0, u_tangent=0.0, in_plate_plane=True),
        blur_px=station.blur_px,
        lit=np.zeros(1, bool),
        u_base_mm=None,
        misfit_mm=np.array([station.u_shape_mm]),
    )
    scale = SimpleNamespace(
        relative_u=lambda points: {name: np.full(len(points), u) for name, u in station.scale.items()}
    )
    response = SimpleNamespace(u_gap_px_at=lambda blur_px: station.u_tone_px, modelled=True, blur_px=1.2)
    shading = SimpleNamespace(u_gap_mm=np.array([station.u_arris_mm]))
    return uncertainty_budget(scale, arrises, response, shading, np.zeros((1, 2)))


def fit_variance_px(station: Station) -> float:
    return station.u_noise_px**2 + sum(sd**2 for sd in station.priors_px.values())


def arris_covariance(station: Station) -> Array:
    """Of near and far arris [px²]: both share the joint's place, their difference has the width's variance.

    How well the middle is known does not matter for the gap, so it is taken as known badly (0.3 px).
    """
    middle, width = 0.3**2, fit_variance_px(station)
    return np.array([[middle + width / 4, middle - width / 4], [middle - width / 4, middle + width / 4]])


# ------------------------------------------------------------------------------- the `uncertainties` package


@pytest.mark.parametrize("name", STATIONS)
def test_combined_is_that_of_the_uncertainties_package(name):
    station = STATIONS[name]
    near, far = correlated_values([-station.width_px / 2, station.width_px / 2], arris_covariance(station))
    gap = (far - near + ufloat(0, station.u_tone_px)) * station.sample_mm
    for u in station.scale.values():
        gap *= 1 + ufloat(0, u)
    if station.u_turn_rad > 0:  # the package warns of a deviation of zero
        gap += ufloat(0, station.u_turn_rad) * station.tangent * station.gap_mm
    gap += ufloat(0, U_STEP_MM) * station.tangent + ufloat(0, station.u_arris_mm)
    gap += ufloat(0, station.u_shape_mm[0]) + ufloat(0, station.u_shape_mm[1])
    if station.u_smeared_mm > 0:
        gap += ufloat(0, station.u_smeared_mm)
    assert combined(budget_of(station))[0] == pytest.approx(gap.std_dev, rel=1e-6)


def test_every_line_is_a_component_of_the_packages_sum():
    """Line by line: the package's components of the same model are the product's lines."""
    station = STATIONS["wide"]
    parts = {name: ufloat(0, u, tag=name) for name, u in station.scale.items()}
    gap = station.gap_mm
    for part in parts.values():
        gap *= 1 + part
    theirs = {variable.tag: sd for variable, sd in gap.error_components().items()}
    ours = {row.name: row.u_mm[0] for row in budget_of(station)}
    for name in parts:
        assert ours[f"scale: {name}"] == pytest.approx(theirs[name], rel=1e-9)


def test_sum_of_squares_over_stations_and_lines():
    rng = np.random.default_rng(8)
    lines = rng.uniform(0, 0.05, (6, 40))
    rows = tuple(
        Influence(name=f"line {k}", u_mm=u, common=k % 2 == 0, remedy="") for k, u in enumerate(lines)
    )
    theirs = [sum(ufloat(0, u) for u in column).std_dev for column in lines.T]
    np.testing.assert_allclose(combined(rows), theirs, rtol=1e-12)


# --------------------------------------------------------------------------------- Monte Carlo after JCGM 101


def numerical_tolerance(u: float, digits: int) -> float:
    """δ of JCGM 101:2008, 7.9.2: u = c × 10^l with `digits` digits in c; half a unit of the last one."""
    return 0.5 * 10.0 ** (np.floor(np.log10(u)) - (digits - 1))


def draw_gaps(station: Station, seed: int) -> Array:
    """Gaps drawn by the full model: Gaussian fits and scale, rectangular step and arris."""
    rng = np.random.default_rng(seed)
    mean = [-station.width_px / 2, station.width_px / 2]
    near, far = rng.multivariate_normal(mean, arris_covariance(station), DRAWS).T
    gap = (far - near + rng.normal(0, station.u_tone_px, DRAWS)) * station.sample_mm
    for u in station.scale.values():
        gap *= 1 + rng.normal(0, u, DRAWS)
    gap *= 1 + rng.normal(0, station.u_turn_rad, DRAWS) * station.tangent
    gap += rng.uniform(-1, 1, DRAWS) * np.sqrt(3) * U_STEP_MM * station.tangent
    gap += rng.standard_normal((DRAWS, 2)) @ np.array(station.u_shape_mm)
    gap += rng.standard_normal(DRAWS) * station.u_smeared_mm
    return gap + rng.uniform(-1, 1, DRAWS) * np.sqrt(3) * station.u_arris_mm


@pytest.mark.parametrize("name", STATIONS)
def test_monte_carlo_validates_the_combined_uncertainty(name):
    """JCGM 101 8.1 with two significant digits of u for u, and with one for the ends of the 95 % interval."""
    station = STATIONS[name]
    u = combined(budget_of(station))[0]
    drawn = draw_gaps(station, seed=101)
    assert drawn.std() == pytest.approx(u, abs=numerical_tolerance(u, 2))
    low, high = np.quantile(drawn, [0.025, 0.975])
    delta = numerical_tolerance(u, 1)
    assert station.gap_mm - 1.96 * u == pytest.approx(low, abs=delta)
    assert station.gap_mm + 1.96 * u == pytest.approx(high, abs=delta)


def test_numerical_tolerance_is_the_one_of_the_guide():
    """Examples of JCGM 101:2008, 7.9.2 (from memory): 0.00035 → 0.000005, and 2 with one digit → 0.5."""
    assert numerical_tolerance(0.00035, 2) == pytest.approx(0.000005)
    assert numerical_tolerance(2.0, 1) == pytest.approx(0.5)


def test_common_part_is_not_averaged_away():
    """A mean over many stations keeps its common part: common lines are drawn once for all stations."""
    rng = np.random.default_rng(3)
    count, draws = 50, 20_000
    rows = budget_of(STATIONS["usual"])
    common = np.sqrt(sum(row.u_mm[0] ** 2 for row in rows if row.common))
    own = np.sqrt(sum(row.u_mm[0] ** 2 for row in rows if not row.common))
    means = rng.normal(0, common, draws) + rng.normal(0, own, (draws, count)).mean(axis=1)
    assert means.std() == pytest.approx(np.hypot(common, own / np.sqrt(count)), rel=0.02)
    assert {row.name for row in rows if row.common} >= {"tone curve", "scale: print", "blur"}
    assert means.std() > 3 * combined(rows)[0] / np.sqrt(count)


# ------------------------------------------------- near zero: the trap of JCGM 101 9.4 (a loss cannot be < 0)


@pytest.mark.parametrize("gap_mm", [-0.05, 0.0, 0.02, 0.08, 0.2])
@pytest.mark.parametrize("u_mm", [0.03, 0.10])
@pytest.mark.parametrize("limit_mm", [0.05, 0.15])
def test_probability_near_zero_is_the_drawn_one(gap_mm, u_mm, limit_mm):
    """Draws of N(gap, u²) below zero are impossible gaps and do not count."""
    rng = np.random.default_rng(94)
    drawn = rng.normal(gap_mm, u_mm, DRAWS)
    possible = drawn[drawn >= 0]
    share = np.mean(possible <= limit_mm)
    chance = 4 * np.sqrt(max(share * (1 - share), 1 / len(possible)) / len(possible))
    stated = probability_within(np.array([gap_mm]), np.array([u_mm]), limit_mm)[0]
    assert stated == pytest.approx(share, abs=chance)


def test_judge_states_within_only_where_the_draws_do():
    """Stations from below zero to over the limit, u from small to far above it, through `judge` itself.

    A station that some reading makes `within` must be within in 95 % of the possible gaps that it stands for.
    """
    limit_mm = 0.15
    gaps, us = (grid.ravel() for grid in np.meshgrid(np.linspace(-0.1, 0.4, 26), [0.01, 0.04, 0.1, 0.4]))
    verdict = judge(_profile(gaps, us), _limit(limit_mm), DecisionRule())
    rng = np.random.default_rng(95)
    z = rng.normal(0, 1, DRAWS)
    chance = 4 * np.sqrt(0.05 * 0.95 / DRAWS)
    seen = set()
    for gap, u, state in zip(gaps, us, verdict.states, strict=True):
        drawn = gap + u * z
        possible = drawn[drawn >= 0]
        if len(possible) < 20_000:
            continue  # a reading so far below zero leaves too few draws to tell
        share = np.mean(possible <= limit_mm)
        slack = chance * np.sqrt(DRAWS / len(possible))
        if state == StationState.WITHIN:
            assert share >= 0.95 - slack
        elif state == StationState.OVER:
            assert np.mean(drawn > limit_mm) >= 0.95 - slack
            assert 1 - share >= 0.95 - slack
        else:
            assert share < 0.95 + slack
        seen.add(state)
    assert seen == {StationState.WITHIN, StationState.OVER, StationState.DOUBTFUL}


def test_a_reading_that_says_nothing_is_never_within():
    """u far above the limit: half of the normal lies below zero and must not count as a good gap."""
    verdict = judge(_profile(np.zeros(8), np.full(8, 1.0)), _limit(0.15), DecisionRule())
    assert set(verdict.states) == {StationState.DOUBTFUL}


@pytest.mark.parametrize("in_u", [0.0, 0.3, 1.0, 2.0, 5.0])
def test_interval_cut_at_zero_covers(in_u):
    """The interval [gap ± 1.96 u] with its lower end cut at zero covers at least 95 % near zero too."""
    rng = np.random.default_rng(96)
    u = 0.04
    true = in_u * u
    read = rng.normal(true, u, DRAWS)
    low, high = np.maximum(read - 1.96 * u, 0), np.maximum(read + 1.96 * u, 0)
    covered = np.mean((low <= true) & (true <= high))
    assert covered >= 0.95 - 4 * np.sqrt(0.05 * 0.95 / DRAWS)


def _profile(gap_mm: Array, u_mm: Array) -> GapProfile:
    n = len(gap_mm)
    nowhere = np.full((n, 2), np.nan)
    return GapProfile(
        station_mm=0.5 * np.arange(n),
        gap_mm=gap_mm,
        u_gap_mm=u_mm,
        near_mm=20 - gap_mm / 2,
        far_mm=20 + gap_mm / 2,
        near_px=nowhere,
        far_px=nowhere,
        centre_px=nowhere,
        unseen_reason=("",) * n,
        budget=(),
        notes=(),
        step_mm=0.5,
    )


def _limit(limit_mm: float) -> Limit:
    return Limit(limit_mm=limit_mm, rule="procedure", sentence="a limit for a test")
