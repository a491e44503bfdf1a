"""One photo of the coverage suite: a scene's light through one camera, into a JPEG with its phone's EXIF."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.bench.rendering import Camera, Picture, develop
from tests.bench.suite_cameras import SuiteCamera
from tests.bench.suite_light import Light, LightSource, reduced, undone

__all__ = ["scale_of", "shoot", "trial_digest"]

LEAST_BLUR_PX = 0.3  # that a second camera adds to a photo's own
# Of demo photos that a factor's camera sees: their own blur, noise and compression shrink below the camera's.
PHOTO_SCALE = 0.75


def shoot(source: LightSource, light: Light, camera: SuiteCamera, path: Path, seed: int) -> None:
    """Write the photo at `path`, whole or not at all; the noise follows from the seed."""
    picture = replace(camera.picture, seed=seed)
    seen = reduced(light, scale_of(source, camera))
    pixels = _developed(seen, picture, source.distortion + camera.distortion)
    height, width = pixels.shape[:2]
    part = path.with_suffix(".part")
    Image.fromarray(pixels).save(
        part,
        "JPEG",
        quality=camera.picture.quality,
        subsampling="4:2:0",
        exif=_exif(source.exif, width, height),
    )
    part.replace(path)


def scale_of(source: LightSource, camera: SuiteCamera) -> float:
    """Size of the photo, the scene's light being 1."""
    return PHOTO_SCALE if camera.scale == 1 and not (source.rendered or camera.ordinary) else camera.scale


@cache
def trial_digest(camera: SuiteCamera) -> str:
    """Digest of what the chain makes of a small test light, once as of a render and once as of a photo."""
    rng = np.random.default_rng(7)
    code = rng.normal(0.5, 0.3, (64, 80, 1)) + rng.normal(0, 0.05, (64, 80, 3))
    code = np.clip(code, 0, 1).astype(np.float32)
    first = asdict(Picture())
    digest = hashlib.sha256()
    for light in (Light(linear=code, paper=np.ones(3, np.float32)), undone(code, first)):
        digest.update(_developed(reduced(light, 0.5), camera.picture, 0.002).tobytes())
    return digest.hexdigest()


def _developed(light: Light, picture: Picture, distortion: float) -> NDArray[np.uint8]:
    height, width = light.linear.shape[:2]
    lens = Camera(aim_mm=(0, 0), distance_mm=200, lean_x_deg=0, lean_y_deg=0, width_px=width,
                  height_px=height, distortion=distortion)  # fmt: skip
    return develop(light.linear, light.paper, lens, _less_what_is_there(picture, light))


def _less_what_is_there(picture: Picture, seen: Light) -> Picture:
    """The picture chain less what the light of a photo has of its own lens."""
    if seen.blur_px is None:
        return picture
    missing = np.sqrt(max(picture.blur_px**2 - seen.blur_px**2, LEAST_BLUR_PX**2))
    return replace(picture, blur_px=float(missing), corner_blur_px=0.0, veil=0.0, vignetting=0.0)


def _exif(original: bytes, width: int, height: int) -> bytes:
    """The phone's EXIF with this photo's size."""
    exif = Image.Exif()
    exif.load(original)
    exif.get_ifd(0x8769).update({0xA002: width, 0xA003: height})
    return exif.tobytes()
