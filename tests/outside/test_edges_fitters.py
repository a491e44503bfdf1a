"""The batched arris fit against SciPy's and lmfit's fitters: same light, same priors, the same optimum.

The model is written anew here in float64 with SciPy's normal distribution, and fitted by
scipy.optimize.least_squares (trust region) and by lmfit's Minimizer (MINPACK's Levenberg-Marquardt).
What is known beforehand enters both as one more residual (value - believed)/deviation, the usual way of
writing a Gaussian prior in least squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import lmfit
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from fitup.edges.arris_model import PARAMETERS, edge_step, profile_model

Array = NDArray[np.float64]

NOISE = 0.003  # linear light; stated to both sides, so that light and priors weigh alike
# Sums of squares of order 60 in float32 do not tell steps apart that change them by 60 × 1.2e-7 = 7e-6; near
# an optimum that is a distance of √7e-6 = 0.003 standard deviations, a few times that along a curved valley.
TOLERANCE_PX = 1e-3  # 0.1 µm in a photo of 10 px/mm
TOLERANCE_SD = 0.02  # of the stated deviation, where that is more
TOLERANCE_LEVEL = 1e-3  # linear light, the same sharing between the light of a dim cut face and its width
COUNT = 30
# Steps after which the batched fit stands still: in the narrow valley where a dim cut face trades its light
# for its width, the last thousandth of a pixel takes long.
STEPS = 30


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """Random profiles; truth (N, 8) in the order of PARAMETERS and what is believed of four of them."""

    x: Array
    truth: Array
    profiles: NDArray[np.float32]
    priors: ArrisPriors


def column(name: str) -> int:
    return PARAMETERS.index(name)


def model(x: Array, theta: Array) -> Array:
    """Light (M,) of one profile: plate, floor, cut face, plate, each step blurred by the same Gaussian."""
    near, width, left, floor, right, face, band, log_blur = theta
    far = near + width
    middle = max(near, far - band)
    s1, s2, s3 = (ndtr((x - edge) / np.exp(log_blur)) for edge in (near, middle, far))
    return left + (floor - left) * s1 + (face - floor) * s2 + (right - face) * s3


def random_case(seed: int, *, cut_face: bool) -> Case:
    """Gaps of 2 to 12 blur sigmas, as a phone sees thin sheet; with a cut face of 0.8 px to half the gap."""
    rng = np.random.default_rng(seed)
    blur = rng.uniform(0.8, 2.0, COUNT)
    # With a cut face in it the gap must be wide enough for floor and face to show apart.
    width = blur * rng.uniform(5 if cut_face else 2, 12, COUNT)
    band = rng.uniform(np.minimum(0.8, 0.3 * width), 0.5 * width) if cut_face else np.zeros(COUNT)
    left, right = rng.uniform(0.2, 0.6, COUNT), rng.uniform(0.2, 0.6, COUNT)
    floor = rng.uniform(0.012, 0.05, COUNT)  # clear of zero, where lmfit's covariance would end
    face = rng.uniform(0.3, 0.8, COUNT) * right if cut_face else floor
    near = -width / 2 + rng.uniform(-0.5, 0.5, COUNT)
    truth = np.stack([near, width, left, floor, right, face, band, np.log(blur)], axis=1)
    x = np.arange(-30.0, 31.0)
    light = np.stack([model(x, theta) for theta in truth])
    profiles = (light + rng.normal(0, 0.8 * NOISE, light.shape)).astype(np.float32)
    ones = np.ones(COUNT)
    band_sd = np.minimum(0.3, 0.2 * band)
    priors = ArrisPriors(
        floor=floor + rng.normal(0, 0.02, COUNT),
        floor_sd=0.02 * ones,
        face=0.35 * right,
        face_sd=0.35 * right,
        band_px=band + rng.normal(0, 1, COUNT) * band_sd,
        band_sd_px=band_sd,
        log_blur=np.log(blur) + rng.normal(0, 0.05, COUNT),
        log_blur_sd=0.05 * ones,
    )
    return Case(x=x, truth=truth, profiles=profiles, priors=priors)


def good_start(case: Case) -> Array:
    """Near the optimum, so that what is compared is the optimum and not the road to it."""
    rng = np.random.default_rng(1)
    return case.truth + rng.normal(0, 1, case.truth.shape) * [0.05, 0.05, 0.01, 0.002, 0.01, 0.01, 0.02, 0.02]


def rough_start(case: Case) -> Array:
    """As good as half levels and beliefs are: what the product starts from."""
    rng = np.random.default_rng(2)
    start = case.truth + rng.normal(0, 1, case.truth.shape) * [0.15, 0.15, 0.01, 0, 0.01, 0, 0, 0]
    for name in ("face", "band_px", "log_blur"):
        start[:, column(name.removesuffix("_px"))] = getattr(case.priors, name)
    return start


def batched(case: Case, start: Array, iterations: int) -> ArrisFit:
    """The noise is held at its floor, which is NOISE."""
    weights = np.ones(case.profiles.shape, np.float32)
    return fit_arrises(
        case.x, case.profiles, weights, start, case.priors, noise_floor=NOISE, iterations=iterations
    )


def settled(case: Case) -> ArrisFit:
    """The optimum. Twice, since the fit takes the noise that weighs light against priors after two steps."""
    return batched(case, parameters_of(batched(case, good_start(case), STEPS)), STEPS)


def parameters_of(fit: ArrisFit) -> Array:
    return fit.parameters


@dataclass(frozen=True, kw_only=True)
class Known:
    name: str
    believed: float
    deviation: float


def knowledge(case: Case, i: int) -> list[Known]:
    p = case.priors
    return [
        Known(name="floor", believed=p.floor[i], deviation=p.floor_sd[i]),
        Known(name="face", believed=p.face[i], deviation=p.face_sd[i]),
        Known(name="band", believed=p.band_px[i], deviation=p.band_sd_px[i]),
        Known(name="log_blur", believed=p.log_blur[i], deviation=p.log_blur_sd[i]),
    ]


def misfit(case: Case, i: int, theta: Array, fixed: set[str]) -> Array:
    off = (model(case.x, theta) - case.profiles[i].astype(np.float64)) / NOISE
    known = [
        (theta[column(k.name)] - k.believed) / k.deviation for k in knowledge(case, i) if k.name not in fixed
    ]
    return np.concatenate([off, known])


def fixed_names(cut_face: bool) -> set[str]:
    """Without a cut face its width is zero and its light has no say: neither is fitted."""
    return set() if cut_face else {"band", "face"}


def by_scipy(case: Case, i: int, cut_face: bool, start: Array) -> Array:
    fixed = fixed_names(cut_face)
    free = [k for k, name in enumerate(PARAMETERS) if name not in fixed]

    def residual(values: Array) -> Array:
        theta = start.copy()
        theta[free] = values
        return misfit(case, i, theta, fixed)

    # There is no light below none, nor a cut face of negative width; both sides know that.
    least = np.full(len(PARAMETERS), -np.inf)
    least[[column("floor"), column("face"), column("band")]] = 0
    found = least_squares(
        residual,
        np.maximum(start, least + 1e-9)[free],
        bounds=(least[free], np.inf),
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
        x_scale="jac",
    )
    assert found.success
    theta = start.copy()
    theta[free] = found.x
    return theta


def by_lmfit(case: Case, i: int, cut_face: bool) -> lmfit.minimizer.MinimizerResult:
    fixed = fixed_names(cut_face)
    parameters = lmfit.Parameters()
    for name, value in zip(PARAMETERS, good_start(case)[i], strict=True):
        parameters.add(name, value=value, vary=name not in fixed)

    def residual(p: lmfit.Parameters) -> Array:
        return misfit(case, i, np.array([p[name].value for name in PARAMETERS]), fixed)

    # scale_covar=False: the residuals are already in units of their standard deviation.
    return lmfit.Minimizer(residual, parameters, scale_covar=False).minimize(
        method="leastsq", xtol=1e-12, ftol=1e-12
    )


CASES = [
    pytest.param(False, 3, id="two edges"),
    pytest.param(True, 4, id="three edges, cut face"),
    pytest.param(True, 5, id="three edges, other profiles"),
]


@pytest.mark.parametrize(("cut_face", "seed"), CASES)
def test_optimum_is_that_of_scipy_least_squares(cut_face, seed):
    case = random_case(seed, cut_face=cut_face)
    fit = settled(case)
    reference = np.stack([by_scipy(case, i, cut_face, good_start(case)[i]) for i in range(COUNT)])
    assert_same(fit, reference, cut_face)


@pytest.mark.parametrize(("cut_face", "seed"), CASES)
def test_optimum_and_covariance_are_those_of_lmfit(cut_face, seed):
    case = random_case(seed, cut_face=cut_face)
    fit = settled(case)
    results = [by_lmfit(case, i, cut_face) for i in range(COUNT)]
    reference = np.array([[r.params[name].value for name in PARAMETERS] for r in results])
    assert_same(fit, reference, cut_face)
    stated = np.sqrt(sum(fit.variance_parts.values()))
    # lmfit's covariance rests on forward differences, and the valley bends: 2 %.
    np.testing.assert_allclose(stated, [r.params["width"].stderr for r in results], rtol=0.02)
    np.testing.assert_allclose(fit.near_sd_px, [r.params["near"].stderr for r in results], rtol=0.02)


def assert_same(fit: ArrisFit, reference: Array, cut_face: bool) -> None:
    allowed = np.maximum(TOLERANCE_PX, TOLERANCE_SD * np.sqrt(sum(fit.variance_parts.values())))
    lengths = {"near": fit.near_px, "width": fit.width_px, "log_blur": np.log(fit.blur_px)}
    levels = dict(zip(("left", "floor", "right"), fit.levels.T, strict=False))
    if cut_face:
        lengths["band"], levels["face"] = fit.band_px, fit.levels[:, 3]
    for name, values in lengths.items():
        off = np.abs(values - reference[:, column(name)])
        assert np.all(off <= allowed), f"{name} off by up to {off.max():.5f}"
    for name, values in levels.items():
        np.testing.assert_allclose(values, reference[:, column(name)], atol=TOLERANCE_LEVEL, rtol=0)


@pytest.mark.parametrize("cut_face", [False, True])
def test_six_steps_are_enough_beside_the_stated_deviation(cut_face):
    """The product takes six steps from a rough start; what is left to the nearest optimum."""
    left = []
    for seed in range(10, 16):
        case = random_case(seed, cut_face=cut_face)
        fit = batched(case, rough_start(case), 6)
        reached = parameters_of(fit)
        optimum = np.stack([by_scipy(case, i, cut_face, reached[i]) for i in range(COUNT)])
        left.append((fit.width_px - optimum[:, column("width")]) / np.sqrt(sum(fit.variance_parts.values())))
    # A cut face that is as dim as the floor, or as bright as the plate, makes a long valley.
    assert np.mean(np.abs(left) <= 0.1) >= (0.90 if cut_face else 0.98)
    assert np.sqrt(np.mean(np.square(left))) <= (0.2 if cut_face else 0.1)


def test_model_is_the_one_written_here():
    case = random_case(7, cut_face=True)
    expected = np.stack([model(case.x, theta) for theta in case.truth])
    # Three steps of at most 1.5e-7 each, levels below one.
    np.testing.assert_allclose(profile_model(case.x, case.truth), expected, atol=3e-7, rtol=0)


def test_step_is_the_normal_distribution_function():
    """Against scipy.special.ndtr: in float64 half of erf's 1.5e-7; two float32 roundings of 1.2e-7 more."""
    z = np.linspace(-9, 9, 200_001)
    assert np.abs(edge_step(z) - ndtr(z)).max() <= 1e-7
    single = edge_step(z.astype(np.float32))
    assert single.dtype == np.float32
    assert np.abs(single - ndtr(z.astype(np.float32).astype(np.float64))).max() <= 3.2e-7
