"""Two readings of a gap against the posterior worked out over all gaps, by its definition."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.profile.two_readings import weighed

GAPS = np.linspace(-8.0, 8.0, 16001)
SHARES = (np.arange(2000) + 0.5) / 2000


def likelihood(reading: float, u: float, excess: float) -> np.ndarray:
    """Of every gap: normal by `u`, and an excess whose deviation is half-Cauchy of that scale."""
    deviation = np.hypot(u, excess * np.tan(SHARES * np.pi / 2))[:, None]
    out = np.zeros_like(GAPS)
    for part in np.array_split(deviation, 20):
        out += (np.exp(-0.5 * ((GAPS - reading) / part) ** 2) / part).sum(axis=0)
    return out


@pytest.mark.parametrize("apart", [0.0, 0.05, 0.15, 0.3, 0.6])
@pytest.mark.parametrize(("u", "excess"), [((0.10, 0.06), (0.05, 0.03)), ((0.04, 0.04), (0.02, 0.03))])
def test_mean_and_uncertainty_are_the_posterior_s(
    apart: float, u: tuple[float, float], excess: tuple[float, float]
) -> None:
    odds = likelihood(0.0, u[0], excess[0]) * likelihood(apart, u[1], excess[1])
    odds /= odds.sum()
    mean = float(odds @ GAPS)
    sd = float(np.sqrt(odds @ (GAPS - mean) ** 2))
    share, added = weighed(np.array([apart]), (np.array([u[0]]), np.array([u[1]])), excess)
    own = np.hypot((1 - share) * u[0], share * u[1])
    assert float(share[0]) * apart == pytest.approx(mean, abs=0.05 * max(sd, apart))
    assert float(np.hypot(own, added)[0]) == pytest.approx(sd, rel=0.07)


def test_the_more_they_disagree_the_less_is_certain() -> None:
    apart = np.linspace(0.0, 1.5, 61)
    u = (np.full(61, 0.1), np.full(61, 0.06))
    share, added = weighed(apart, u, (0.05, 0.03))
    own = np.hypot((1 - share) * u[0], share * u[1])
    assert (np.diff(np.hypot(own, added)) > 0).all()
    far = apart > 0.6
    low, high = share * apart - 1.96 * np.hypot(own, added), share * apart + 1.96 * np.hypot(own, added)
    assert (low[far] < 0.0).all()  # neither reading is called impossible
    assert (high[far] > apart[far]).all()


def test_readings_without_excess_are_weighed_by_their_variances() -> None:
    share, added = weighed(np.array([0.2]), (np.array([0.03]), np.array([0.04])), (0.0, 0.0))
    assert share[0] == pytest.approx(0.03**2 / (0.03**2 + 0.04**2))
    assert added[0] == pytest.approx(0.0, abs=1e-9)
