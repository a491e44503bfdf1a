"""What speaks against the camera's response as read: signs of edited, noisy, coarse or blurred photos.

One tone curve serves a whole photo only if the same ink on the same paper looks alike everywhere, however it
is lit: the share of light that black throws back is the same along the whole strip. Local contrast filters,
strong compression and noise that is cut off at black break that. Edges that lie off the places which the
checker's corners give them speak for a raster coarser than the pixels. Both are measured on the print, and
what they say is added to the uncertainty of the gap. The weights were found on photos spoilt on purpose
(`tests/hostile`); sound photos, the demo photos among them, show nothing of either.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges.response import CameraResponse, sound_edges

__all__ = ["ResponseDoubt", "doubted", "response_doubt"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

LEVELS_SOUND, LEVELS_WEIGHT = 0.02, 12.0  # relative scatter of black over white; px of the gap for all
# Scatter of edges about their places [px]: the gap has two of them, and a station is shorter than a square.
PLACES_SOUND, PLACES_WEIGHT = 0.15, 3.0
BLUR_SOUND, BLUR_WEIGHT = 1.5, 0.2  # sigma [px], from where the blur's shape, no Gaussian, tells
# Rise of white and fall of black towards the edge, from the profiles' ends to half way, over the contrast;
# sound photos, sharpened or not, show up to 0.004, local tone mapping by a quarter 0.02, by a half 0.045.
HALO_SOUND, HALO_WEIGHT = 0.008, 4.0  # px of the gap for all
_LEAST_EDGES = 8
_TOLD = 0.2  # px from which a person is told


@dataclass(frozen=True, kw_only=True)
class ResponseDoubt:
    """Standard uncertainties of a gap [px] by cause."""

    levels_px: float = 0.0
    places_px: float = 0.0
    blur_px: float = 0.0
    halo_px: float = 0.0

    @property
    def u_gap_px(self) -> float:
        """All causes together."""
        return float(np.hypot(np.hypot(self.levels_px, self.places_px), np.hypot(self.blur_px, self.halo_px)))

    @property
    def note(self) -> str:
        """The largest cause as a sentence for a person; empty where there is none to speak of."""
        told = {
            "The same ink and paper look different from place to place (a filter, noise or strong "
            "compression): give the photo as the camera stored it.": self.levels_px,
            "The print's edges lie off their places (a bent strip, or a pixelated or warped photo): lay the "
            "strip flat, and give the photo as the camera stored it.": self.places_px,
            "White looks brighter beside black than farther off (HDR or a filter): switch that off, or give "
            "the photo as the camera stored it.": self.halo_px,
            "The photo is blurred: tap the joint, wait until it is sharp, and hold still.": self.blur_px,
        }
        sentence, worst = max(told.items(), key=lambda item: item[1])
        return sentence if worst > _TOLD else ""


def doubted(
    response: CameraResponse, offsets_px: Array64, profiles: Array, print_blur_px: float
) -> CameraResponse:
    """Widen the response's uncertainty by what the print's edges say against it, and note why."""
    doubt = response_doubt(response, offsets_px, profiles, print_blur_px)
    return replace(
        response,
        u_gap_px=float(np.hypot(response.u_gap_px, doubt.u_gap_px)),
        note=doubt.note or response.note,
    )


def response_doubt(
    response: CameraResponse, offsets_px: Array64, profiles: Array, print_blur_px: float
) -> ResponseDoubt:
    """Measure the doubt on profiles (E, M) across the print's edges, display-encoded, black to white."""
    blur = print_blur_px if np.isfinite(print_blur_px) else BLUR_SOUND
    blur_doubt = BLUR_WEIGHT * max(blur - BLUR_SOUND, 0.0)
    edges, black, white, shift = sound_edges(offsets_px, profiles)
    if len(black) < _LEAST_EDGES:
        return ResponseDoubt(blur_px=blur_doubt)
    share = response.curve(black) / response.curve(white)
    levels = _spread(share) / max(float(np.median(share)), 1e-3)
    places = _spread(shift[np.isfinite(shift)])
    return ResponseDoubt(
        levels_px=LEVELS_WEIGHT * max(levels - LEVELS_SOUND, 0.0),
        places_px=PLACES_WEIGHT * max(places - PLACES_SOUND, 0.0),
        blur_px=blur_doubt,
        halo_px=HALO_WEIGHT * max(_halo(offsets_px, edges, black, white) - HALO_SOUND, 0.0),
    )


def _halo(offsets_px: Array64, edges: Array64, black: Array64, white: Array64) -> float:
    """How much more contrast the edges have half way to the ends of their profiles than there, relative."""
    reach = float(offsets_px[-1])
    half_way = (np.abs(offsets_px) > 0.5 * reach) & (np.abs(offsets_px) < 0.65 * reach)
    near_black = np.median(edges[:, half_way & (offsets_px < 0)], axis=1)
    near_white = np.median(edges[:, half_way & (offsets_px > 0)], axis=1)
    return float(np.median((near_white - near_black) / (white - black))) - 1


def _spread(values: Array64) -> float:
    """Robust standard deviation (scaled median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0
