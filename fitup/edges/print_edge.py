"""A printed edge, black to white, as a phone shows it: blur, tone curve and sharpening, fitted.

What is asked for are the tone curve and the sharpening. A lens that blurs with wider skirts than a Gaussian
has would be taken for them and is therefore part of the model (a halo); so is bilinear sampling. How dark ink
is beside paper is roughly known, which tells most about the curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import edge_step
from fitup.photo import linear_to_srgb, srgb_to_linear

__all__ = ["REACH_PX", "PrintEdge", "contrast_curve", "contrast_inverse", "fit_print_edge"]

Array64 = NDArray[np.float64]

REACH_PX = 6.0  # of the pooled edge to either side
_FINE_PX = 0.2  # the model is drawn this fine and interpolated
_FINE = np.arange(-REACH_PX - 1, REACH_PX + 1 + _FINE_PX / 2, _FINE_PX)
_PADDED = 256  # for the Fourier transform: its seam lies 18 px away
# What bilinear sampling at all phases adds: a triangle one pixel to either side.
_BILINEAR = np.maximum(1 - np.abs(np.arange(-4, 5)) * _FINE_PX, 0)
_BILINEAR = _BILINEAR / _BILINEAR.sum()
_BILINEAR_SIGMA_PX = float(np.sqrt(1 / 6))

# Parameters: shift [px], log blur ratio, contrast, log exponent, sharpening, log of its radius [px], halo.
# What to expect of each, how surely, and its bounds. Curve and sharpening from memory of phones (S of 0 to
# 0.5, near the sRGB curve otherwise). Blur may also have less than a Gaussian's skirts: a negative halo.
_EXPECTED = np.array([0.0, 0.0, 0.15, 0.0, 0.3, np.log(1.2), 0.05])
_PRIOR_SD = np.array([10.0, 10.0, 0.25, 0.15, 0.5, 0.4, 0.05])
_LEAST = np.array([-2, -1, -0.5, -0.6, 0, -1, -0.1])
_MOST = np.array([2, 1, 0.95, 0.6, 2, 1.4, 0.3])
_HALO_RATIO = 2.2  # of the halo's sigma to the core's (common practice: two Gaussians)
# Light of ink over that of paper, 0.022 to 0.09 (common practice, no source); faded ink pulls no harder than
# from two and a half standard deviations.
_INK, _INK_SD, _INK_REACH = float(np.log(0.045)), 0.35, 2.5
_MISFIT = 0.003  # display-encoded; what a model of a phone leaves unexplained hangs together along the edge
_STEP = 1e-4
# Where the fit begins [blur sigmas]: half of the light comes after half of the encoded contrast. From nearer
# to the middle the fit can end in a curve that is bent the other way, which explains an edge nearly as well.
_START_SHIFT = 0.7
_ROUNDS = 20


@dataclass(frozen=True, kw_only=True)
class PrintEdge:
    """What the pooled edge tells; `blur_px` as sampled, `residual` is the misfit (rms, display-encoded)."""

    contrast: float
    exponent: float
    amount: float
    radius_px: float
    blur_px: float
    residual: float


def contrast_curve(encoded: Array64, k: float | Array64, exponent: float | Array64 = 1.0) -> Array64:
    """Curve laid over the encoded value: a power, then an S, a blend with the smooth step 3v² - 2v³."""
    v = np.clip(encoded, 0, 1) ** exponent
    return np.asarray((1 - k) * v + k * v * v * (3 - 2 * v))


def contrast_inverse(encoded: Array64, k: float | Array64, exponent: float | Array64 = 1.0) -> Array64:
    """Undo `contrast_curve`: its cubic has one root between black and white, written with a sine."""
    w = 2 * np.clip(encoded, 0, 1) - 1
    c = np.asarray(k, np.float64) / 2
    # With u = 2v - 1 the S reads w = (1 + c) u - c u³.
    with np.errstate(divide="ignore", invalid="ignore"):
        size = 2 * np.sqrt((1 + c) / (3 * np.abs(c)))
        angle = 3 * w / (size * (1 + c))
        bent = np.where(c > 0, np.sin(np.arcsin(np.clip(angle, -1, 1)) / 3), np.sinh(np.arcsinh(angle) / 3))
        u = np.where(np.abs(c) > 1e-6, size * bent, w)
    return np.asarray(np.clip((1 + u) / 2, 0, 1) ** (1 / exponent))


def fit_print_edge(x_px: Array64, edge: Array64, blur_px: float) -> PrintEdge:
    """Fit the model to one edge (M,), display-encoded, at places (M,) within REACH_PX of its half level."""
    model = _Model(x_px, edge, blur_px)
    theta, residual = _fit(model)
    return PrintEdge(
        contrast=float(theta[2]),
        exponent=float(np.exp(theta[3])),
        amount=float(theta[4]),
        radius_px=float(np.exp(theta[5])),
        blur_px=float(np.hypot(blur_px * np.exp(theta[1]), _BILINEAR_SIGMA_PX)),
        residual=residual,
    )


class _Model:
    """The edge for many parameter sets at once, and how far each lies off what was seen and expected."""

    def __init__(self, x_px: Array64, edge: Array64, blur_px: float) -> None:
        tail = max(len(x_px) // 8, 1)
        self.edge, self.blur_px = edge, blur_px
        self.tails = np.array([edge[:tail].mean(), edge[-tail:].mean()])
        self.sampling = _sampling(x_px)

    def misfit(self, theta: Array64) -> Array64:
        """(P, 7) parameters → (P, M + 8) residuals in standard deviations."""
        seen, ink = self._seen(theta)
        prior = (theta - _EXPECTED) / _PRIOR_SD
        off = (np.log(np.maximum(ink, 1e-4)) - _INK) / _INK_SD
        ink_off = _INK_REACH * np.tanh(off / _INK_REACH)
        return np.concatenate([(seen - self.edge) / _MISFIT, prior, ink_off[:, None]], axis=1)

    def _seen(self, theta: Array64) -> tuple[Array64, Array64]:
        """(P, M) the edge as sampled, (P,) light of ink over paper's."""
        shift, log_ratio, k, log_exponent, amount, log_radius, halo = theta.T[:, :, None]
        exponent = np.exp(log_exponent)
        levels = srgb_to_linear(contrast_inverse(self.tails, k, exponent))
        low, high = levels[:, :1], levels[:, 1:]
        z = np.clip((_FINE - shift) / (self.blur_px * np.exp(log_ratio)), -8, 8)
        step = (1 - halo) * edge_step(z) + halo * edge_step(z / _HALO_RATIO)
        encoded = contrast_curve(
            np.asarray(linear_to_srgb(low + (high - low) * step), np.float64), k, exponent
        )
        picture = np.clip(encoded + amount * (encoded - _smoothed(encoded, np.exp(log_radius))), 0, 1)
        return picture @ self.sampling, (low / np.maximum(high, 1e-3))[:, 0]


def _smoothed(values: Array64, radius_px: Array64) -> Array64:
    """Gaussian along the last axis of values (P, F) drawn every _FINE_PX, radius (P, 1) px."""
    spare = _PADDED - values.shape[1]
    padded = np.pad(values, ((0, 0), (spare // 2, spare - spare // 2)), mode="edge")
    frequency = np.fft.rfftfreq(_PADDED, _FINE_PX)
    gauss = np.exp(-2 * (np.pi * radius_px * frequency) ** 2)
    smooth = np.fft.irfft(np.fft.rfft(padded, axis=1) * gauss, _PADDED, axis=1)
    return np.asarray(smooth[:, spare // 2 : spare // 2 + values.shape[1]])


@cache
def _triangle() -> Array64:
    """(F, F) what bilinear sampling does to finely drawn values, as a matrix."""
    unit = np.pad(np.eye(len(_FINE)), ((0, 0), (4, 4)), mode="edge")
    return np.stack([np.convolve(row, _BILINEAR, "valid") for row in unit])


def _sampling(x_px: Array64) -> Array64:
    """(F, M) from finely drawn values to the samples at `x_px`."""
    place = (x_px - _FINE[0]) / _FINE_PX
    index = np.clip(place.astype(np.intp), 0, len(_FINE) - 2)
    part = place - index
    return np.asarray(_triangle()[:, index] * (1 - part) + _triangle()[:, index + 1] * part)


def _fit(model: _Model) -> tuple[Array64, float]:
    """Levenberg-Marquardt, all derivatives by differences in one evaluation; parameters and rms misfit."""
    count = len(_EXPECTED)
    nudge = np.concatenate([np.zeros((1, count)), _STEP * np.eye(count)])
    theta, damping = _EXPECTED.copy(), 1e-3
    theta[0] = _START_SHIFT * model.blur_px
    best = model.misfit(theta[None])[0]
    for _ in range(_ROUNDS):
        there = model.misfit(theta + nudge)
        jacobian = (there[1:] - there[0]).T / _STEP
        slope = jacobian.T @ best
        # A parameter that is pushed against its bound stays out, or the others would wait for it.
        stuck = ((theta <= _LEAST) & (slope > 0)) | ((theta >= _MOST) & (slope < 0))
        jacobian[:, stuck], slope[stuck] = 0, 0
        normal = jacobian.T @ jacobian + np.diag(stuck.astype(np.float64))
        dampings = damping * np.array([1.0, 10.0, 100.0, 1e4])
        steps = [np.linalg.solve(normal + d * np.diag(np.diag(normal)), slope) for d in dampings]
        trials = np.clip(theta - np.clip(steps, -0.5, 0.5), _LEAST, _MOST)
        found = model.misfit(trials)
        costs = (found**2).sum(axis=1)
        chosen = int(costs.argmin())
        gain = best @ best - costs[chosen]
        if not gain > 0:
            break
        theta, best = trials[chosen], found[chosen]
        damping = max(dampings[chosen] / 10, 1e-6)
        if gain < 1e-3 * costs[chosen] + 1e-2:
            break
    return theta, float(np.sqrt(np.mean(best[: len(model.edge)] ** 2)) * _MISFIT)
