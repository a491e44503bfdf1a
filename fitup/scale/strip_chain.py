"""Where strips laid end to end lie along one joint: weighted least squares over all photos.

Their papers touch, so that neighbours in number lie one paper's length apart to within a few tenths of a
millimetre. A photo that shows two of them tells better. Both kinds of knowledge are observations

    X_second - X_first = offset ± u

and the places X are their weighted least squares, as a levelling line is adjusted, X of the lowest number
being 0 by choice. Papers that a photo shows apart tell nothing about touching: there the measured distance
alone counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError
from fitup.scale.layout import TargetLayout

__all__ = ["U_TOUCH_MM", "StripChain", "StripLink", "chain_strips", "paper_pitch_mm"]

Array64 = NDArray[np.float64]

# Two papers cut by hand along the line and pushed together (common practice, no source).
U_TOUCH_MM = 0.3
APART_MM, APART_SIGMAS = 1.0, 3.0  # beyond both, the papers do not touch
OUT_OF_ORDER_MM = 30.0  # more than trimming or a clamp between the papers explains
MOVED_MM, MOVED_SIGMAS = 0.5, 4.0  # two photos that differ by more show strips that were moved
_RESOLUTION_MM = 0.01  # distances are given no finer: what is left is rounding, and must not change a result


@dataclass(frozen=True, kw_only=True)
class StripLink:
    """The distance from one strip's zero to another's along the joint, as one photo shows it [mm]."""

    first: int
    second: int
    offset_mm: float
    u_mm: float
    photo: str


@dataclass(frozen=True, kw_only=True, eq=False)
class StripChain:
    """Places of K strips along the joint.

    numbers (K,) without holes, rising; place_mm (K,) of their datum marks' feet, 0 for the lowest;
    covariance_mm2 (K, K); touching (K - 1,) whether the paper of a strip and the next are taken to touch;
    links and their residuals [mm], measured less adjusted.
    """

    numbers: tuple[int, ...]
    place_mm: Array64
    covariance_mm2: Array64
    touching: tuple[bool, ...]
    links: tuple[StripLink, ...]
    residual_mm: tuple[float, ...]
    pitch_mm: float
    notes: tuple[str, ...] = ()

    @property
    def u_mm(self) -> Array64:
        """(K,) standard uncertainty of every place, 0 for the lowest strip."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance_mm2), 0)))

    def place_of(self, number: int) -> float:
        """Return the place of a strip's zero along the joint [mm]."""
        return float(self.place_mm[self.numbers.index(number)])

    def offset_mm(self, first: int, second: int) -> tuple[float, float]:
        """Distance from one strip's zero to another's and its standard uncertainty [mm]."""
        a, b = self.numbers.index(first), self.numbers.index(second)
        cov = self.covariance_mm2
        variance = cov[a, a] + cov[b, b] - 2 * cov[a, b]
        return self._steps_between(a, b), float(np.sqrt(max(variance, 0.0)))

    def _steps_between(self, first: int, second: int) -> float:
        """Distance between two places by index, from the distances of neighbours alone."""
        steps = np.round(np.diff(self.place_mm) / _RESOLUTION_MM) * _RESOLUTION_MM
        low, high = min(first, second), max(first, second)
        return float(np.sign(second - first) * steps[low:high].sum())


def paper_pitch_mm(layout: TargetLayout, along_factor: float = 1.0) -> float:
    """Distance of the zeros of two strips whose papers touch [mm]; the factor is that of the print check."""
    left, _, right, _ = layout.paper_box_mm
    return (right - left) * along_factor


def chain_strips(
    numbers: Sequence[int], pitch_mm: float, links: Sequence[StripLink] = (), u_touch_mm: float = U_TOUCH_MM
) -> StripChain:
    """Places of all strips from the lowest to the highest of `numbers`, seen or not.

    Raises RetakeError where a photo shows strips in another order than that of their numbers, or two photos
    show the same strips at different distances.
    """
    there = tuple(range(min(numbers), max(numbers) + 1))
    # In one order, whatever the photos came in: sums in floating point depend on it.
    links = sorted(links, key=lambda link: (link.first, link.second, link.offset_mm, link.u_mm, link.photo))
    for link in links:
        _check_order(link, pitch_mm)
    _check_moved(links)
    touching = tuple(not _apart(number, links, pitch_mm, u_touch_mm) for number in there[:-1])
    rows = [
        StripLink(first=number, second=number + 1, offset_mm=pitch_mm, u_mm=u_touch_mm, photo="")
        for number, touches in zip(there, touching, strict=False)
        if touches
    ]
    place, covariance = _adjust(there, [*rows, *links])
    # Distances are rounded, not places: a photo that is missing elsewhere must not move the last digit here.
    steps = np.round(np.diff(place) / _RESOLUTION_MM) * _RESOLUTION_MM
    place = np.concatenate([[0.0], np.cumsum(steps)])
    return StripChain(
        numbers=there,
        place_mm=place,
        covariance_mm2=covariance,
        touching=touching,
        links=tuple(links),
        residual_mm=tuple(
            float(link.offset_mm - (place[link.second - there[0]] - place[link.first - there[0]]))
            for link in links
        ),
        pitch_mm=pitch_mm,
        notes=tuple(
            f"The papers of strips {number} and {number + 1} lie "
            f"{place[k + 1] - place[k] - pitch_mm:+.1f} mm from touching; the photo that shows both counts."
            for k, (number, touches) in enumerate(zip(there, touching, strict=False))
            if not touches
        ),
    )


def _adjust(numbers: tuple[int, ...], rows: Sequence[StripLink]) -> tuple[Array64, Array64]:
    """Weighted least squares with the lowest strip held at 0: places (K,) and their covariance (K, K)."""
    count = len(numbers)
    design = np.zeros((len(rows), count))
    for index, row in enumerate(rows):
        design[index, row.second - numbers[0]] = 1.0
        design[index, row.first - numbers[0]] = -1.0
    weight = np.array([row.u_mm**-2 for row in rows])
    seen = np.array([row.offset_mm for row in rows])
    free = design[:, 1:]
    place, covariance = np.zeros(count), np.zeros((count, count))
    if count > 1:
        normal = free.T @ (weight[:, None] * free)
        covariance[1:, 1:] = np.linalg.inv(normal)
        place[1:] = np.linalg.solve(normal, free.T @ (weight * seen))
    return place, covariance


def _apart(number: int, links: Sequence[StripLink], pitch_mm: float, u_touch_mm: float) -> bool:
    """Whether photos show a strip's paper and the next one's apart (or cut short)."""
    of_pair = [link for link in links if (link.first, link.second) == (number, number + 1)]
    if not of_pair:
        return False
    best = min(of_pair, key=lambda link: link.u_mm)
    miss = abs(best.offset_mm - pitch_mm)
    return miss > APART_MM and miss > APART_SIGMAS * float(np.hypot(best.u_mm, u_touch_mm))


def _check_order(link: StripLink, pitch_mm: float) -> None:
    expected = (link.second - link.first) * pitch_mm
    if abs(link.offset_mm - expected) <= OUT_OF_ORDER_MM + APART_SIGMAS * link.u_mm:
        return
    raise RetakeError(
        "strips out of order",
        f"In {link.photo} strip {link.second} lies {link.offset_mm:.0f} mm from strip {link.first}, "
        f"where their numbers ask for {expected:.0f} mm.",
        "Lay the strips end to end in the order of their numbers, papers touching, and photograph again.",
    )


def _check_moved(links: Sequence[StripLink]) -> None:
    for index, one in enumerate(links):
        for other in links[index + 1 :]:
            if (one.first, one.second) != (other.first, other.second):
                continue
            apart = abs(one.offset_mm - other.offset_mm)
            if apart > MOVED_MM and apart > MOVED_SIGMAS * float(np.hypot(one.u_mm, other.u_mm)):
                raise RetakeError(
                    "strips moved",
                    f"Strips {one.first} and {one.second} lie {apart:.1f} mm differently in {one.photo} and "
                    f"{other.photo}.",
                    "Fix the strips, do not move them between photos, and photograph all of the joint again.",
                )
