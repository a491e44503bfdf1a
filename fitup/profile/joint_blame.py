"""Why no joint was found although the target was: what the print says of the photo's sharpness."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from fitup.edges.response import PLAIN_RESPONSE
from fitup.errors import RetakeError
from fitup.photo import Photo
from fitup.profile.capture_acts import BLUR_BEARABLE_PX
from fitup.profile.print_blur import print_blur
from fitup.scale import ScaleMap

__all__ = ["blaming_print"]


@contextmanager
def blaming_print(photo: Photo, scale: ScaleMap) -> Iterator[None]:
    """Let a RetakeError for want of a joint say that the photo is not sharp, where it is not."""
    try:
        yield
    except RetakeError as error:
        if error.reason != "no joint":
            raise
        blur = print_blur(photo, scale.sighting, PLAIN_RESPONSE)
        widest = 0.0 if blur is None else float(np.hypot(blur.sigma_px, blur.length_px / np.sqrt(12)))
        if blur is None or widest <= BLUR_BEARABLE_PX:
            raise
        if blur.moved:
            raise RetakeError(
                error.reason,
                f"{error.message.rstrip('.')}; the photo is shaken by {blur.length_px:.0f} px.",
                "Rest the phone on something, or hold it with both hands, and photograph again.",
            ) from None
        raise RetakeError(
            error.reason,
            f"{error.message.rstrip('.')}; the photo is blurred by {widest:.1f} px.",
            "Tap the joint, wait until it is sharp, hold still, and photograph again.",
        ) from None
