"""A phone's camera: where it stands, how a point lands on the sensor, and what it makes of the light.

The order of the picture chain is: lens (residual distortion, blur, fall-off) and noise in linear light,
white balance and exposure, sRGB curve with a contrast S-curve, unsharp mask on the encoded picture, JPEG.
A moved phone smears the light before the noise; local tone mapping follows the white balance.
"""

from __future__ import annotations

import io
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from tones import toned

__all__ = ["Camera", "Picture", "develop", "save_jpeg"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Pose in the world frame and the sensor; `focal_mm` is the lens at infinity."""

    aim_mm: tuple[float, float]  # where the optical axis meets the plate
    distance_mm: float
    lean_x_deg: float  # > 0: the camera stands right of the aim point
    lean_y_deg: float  # > 0: the camera stands beyond the joint, looking back at the strip
    roll_deg: float = 0.0
    focal_mm: float = 5.6
    focal_35mm: int = 26
    width_px: int = 4000
    height_px: int = 3000
    distortion: float = 0.0008  # outward shift at the corner over the half diagonal
    make: str = "Nordlicht"
    model: str = "N1"
    portrait: bool = False
    f_number: float | None = None  # a number: the lens blurs what lies out of focus; None: all is sharp
    margin_px: int = 0  # rendered around the picture, for lenses that pull the corners inwards

    @property
    def focal_px(self) -> float:
        """Effective focal length: the nominal one grows at close focus by Z / (Z - f)."""
        diagonal = float(np.hypot(self.width_px, self.height_px))
        stretch = self.distance_mm / (self.distance_mm - self.focal_mm)
        return self.focal_35mm / 43.267 * diagonal * stretch

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point, centre of the upper left pixel at (0, 0)."""
        return ((self.width_px - 1) / 2, (self.height_px - 1) / 2)

    @property
    def position_mm(self) -> Floats:
        """Place of the lens in the world frame."""
        ax, ay = np.radians([self.lean_x_deg, self.lean_y_deg])
        direction = np.array([np.tan(ax), np.tan(ay), 1.0])
        return np.array([*self.aim_mm, 0.0]) + self.distance_mm * direction / np.linalg.norm(direction)

    @property
    def rotation(self) -> Floats:
        """(3, 3) world to camera: rows = sensor u, v and the viewing direction."""
        forward = np.array([*self.aim_mm, 0.0]) - self.position_mm
        forward /= np.linalg.norm(forward)
        turn = np.radians(self.roll_deg)
        up = np.array([-np.sin(turn), np.cos(turn), 0.0])
        right = np.cross(forward, up)
        right /= np.linalg.norm(right)
        return np.stack((right, np.cross(forward, right), forward))

    def project(self, points_mm: Floats) -> Floats:
        """World points (..., 3) to stored pixels (..., 2), distortion included."""
        seen = (points_mm - self.position_mm) @ self.rotation.T
        flat = seen[..., :2] / seen[..., 2:] * self.focal_px
        r2 = (flat**2).sum(-1, keepdims=True) / ((self.width_px**2 + self.height_px**2) / 4)
        return np.asarray(flat * (1 + self.distortion * r2) + np.array(self.centre_px))

    def film_px(self, points_mm: Floats) -> Floats:
        """World points (..., 3) to pixels of the rendered film (..., 2): no distortion, with the margin."""
        seen = (points_mm - self.position_mm) @ self.rotation.T
        middle = np.array([self.width_px - 1, self.height_px - 1]) / 2 + self.margin_px
        return np.asarray(seen[..., :2] / seen[..., 2:] * self.focal_px + middle)

    def film_map(self, height: int, width: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where on the rendered film the pixels of a picture (height, width) come from: (u, v)."""
        v, u = np.mgrid[:height, :width].astype(np.float32)
        du, dv = u - (width - 1) / 2, v - (height - 1) / 2
        # The inverse of the outward shift, to second order.
        shrink = 1 - self.distortion * (du**2 + dv**2) / ((width**2 + height**2) / 4)
        return du * shrink + (width - 1) / 2, dv * shrink + (height - 1) / 2

    def truth(self, thickness_mm: float) -> dict[str, Any]:
        """Everything about the camera that a check may ask for, pose in the target frame."""
        position = self.position_mm - [0, 0, thickness_mm]
        return {
            "position_mm": position.tolist(),
            "rotation_target_to_camera": self.rotation.tolist(),
            "focal_px": self.focal_px,
            "principal_point_px": list(self.centre_px),
            "distortion": {
                "corner_fraction": self.distortion,
                "model": "r' = r (1 + d (r / half diagonal)^2)",
            },
            "size_px": [self.width_px, self.height_px],
            "exif_orientation": 6 if self.portrait else 1,
            "pixels_are": "as stored in the file, before the EXIF orientation",
            "tilt_deg": float(np.degrees(np.arccos(-self.rotation[2, 2]))),
        }


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What the phone's picture chain does; see the module's note for the order."""

    blur_px: float = 1.0
    corner_blur_px: float = 0.9  # added in quadrature at the corner
    veil: float = 0.007  # share of the mean light that the lens spreads over everything
    vignetting: float = 0.18  # loss of light at the corner
    photons: float = 9000.0  # electrons at white
    read_noise: float = 3.0  # electrons
    noise_grain_px: float = 0.6  # the phone's own noise filter makes grains of this sigma
    paper_level: float = 0.66  # linear level given to plain white paper
    white_balance: tuple[float, float, float] = (1.01, 1.0, 0.985)
    awb: float = 0.75
    s_curve: float = 0.25  # strength of the tone curve, in the measure of its family
    tone_family: str = "s-curve"  # one of tones.TONES
    sharpen: float = 0.45
    sharpen_radius_px: float = 1.2
    quality: int = 92
    seed: int = 0
    motion_px: float = 0.0  # length of the smear of a phone that moved
    motion_deg: float = 0.0  # its direction, from the picture's u towards its v
    halo: float = 0.0  # local tone mapping: share of the broad light differences that is taken away
    halo_radius_px: float = 30.0  # how broad; what is narrower keeps its contrast and wears a halo
    flash: bool = False  # the phone's lamp fired (EXIF only; the light itself belongs to the scene)

    def truth(self) -> dict[str, Any]:
        """The chain's numbers."""
        tone = "sRGB, then v + s_curve * (3 v^2 - 2 v^3 - v)"
        return asdict(self) | {"tone": tone if self.tone_family == "s-curve" else self.tone_family}


def develop(
    linear: NDArray[np.float32], paper: NDArray[np.float32], camera: Camera, picture: Picture
) -> NDArray[np.uint8]:
    """Turn a linear render (H, W, 3) into the phone's picture.

    `paper` (3,) = the render's level of white paper; white balance goes `awb` of the way to neutral paper.
    """
    light = _lens(linear * np.float32(picture.paper_level / paper.mean()), camera, picture)
    light = _noise(light, picture)
    light *= ((paper.mean() / paper) ** picture.awb * np.array(picture.white_balance)).astype(np.float32)
    if picture.halo:
        light = _tone_mapped(light, picture)
    code = toned(light, picture.tone_family, picture.s_curve)
    luma = code @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    detail = luma - cv2.GaussianBlur(luma, (0, 0), picture.sharpen_radius_px)
    code += (picture.sharpen * detail)[..., None]
    return np.rint(np.clip(code, 0, 1) * 255).astype(np.uint8)


def _lens(light: NDArray[np.float32], camera: Camera, picture: Picture) -> NDArray[np.float32]:
    scale = light.shape[1] / (camera.width_px + 2 * camera.margin_px)
    height, width = (n - 2 * round(camera.margin_px * scale) for n in light.shape[:2])
    v, u = np.mgrid[:height, :width].astype(np.float32)
    du, dv = u - (width - 1) / 2, v - (height - 1) / 2
    r2 = (du**2 + dv**2) / ((width**2 + height**2) / 4)
    if camera.distortion or camera.margin_px:
        at = camera.film_map(height, width)
        light = cv2.remap(light, at[0], at[1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        light = np.maximum(light, 0)
    light = np.minimum(
        light, 6.0
    )  # lamps seen in metal: the sensor's full well, before the blur spreads them
    if picture.motion_px:
        light = cv2.filter2D(
            light, -1, _smear(picture.motion_px, picture.motion_deg), borderType=cv2.BORDER_REFLECT
        )
    sharp = cv2.GaussianBlur(light, (0, 0), picture.blur_px)
    if picture.corner_blur_px > 0.05:
        soft = cv2.GaussianBlur(light, (0, 0), float(np.hypot(picture.blur_px, picture.corner_blur_px)))
        sharp += (soft - sharp) * (r2**2)[..., None]
    sharp += picture.veil * sharp.mean((0, 1))
    sharp *= (1 - picture.vignetting * r2)[..., None]
    return np.asarray(sharp)


def _smear(length_px: float, direction_deg: float) -> NDArray[np.float32]:
    """Kernel of an even movement: a line `length_px` long, its ends soft."""
    half = int(np.ceil(length_px / 2)) + 2
    v, u = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    angle = np.radians(direction_deg)
    along, across = u * np.cos(angle) + v * np.sin(angle), v * np.cos(angle) - u * np.sin(angle)
    share = np.clip(length_px / 2 + 0.5 - np.abs(along), 0, 1) * np.clip(1 - np.abs(across), 0, 1)
    return np.asarray(share / share.sum(), dtype=np.float32)


def _tone_mapped(light: NDArray[np.float32], picture: Picture) -> NDArray[np.float32]:
    """Take broad differences of light away by a plain blur, which leaves halos beside strong edges."""
    level = np.log(np.maximum(light.mean(-1), 0.004))
    broad = cv2.GaussianBlur(level, (0, 0), picture.halo_radius_px)
    return np.asarray(light * np.exp(picture.halo * (np.median(broad) - broad))[..., None], dtype=np.float32)


def _noise(light: NDArray[np.float32], picture: Picture) -> NDArray[np.float32]:
    rng = np.random.default_rng([53, picture.seed])
    white = rng.standard_normal(light.shape, dtype=np.float32)
    if picture.noise_grain_px > 0.2:
        white = cv2.GaussianBlur(white, (0, 0), picture.noise_grain_px)
    sigma = np.sqrt(light * np.float32(picture.photons) + np.float32(picture.read_noise**2)) / np.float32(
        picture.photons
    )
    return light + white * sigma


def save_jpeg(
    pixels: NDArray[np.uint8],
    path: Path,
    camera: Camera,
    picture: Picture,
    taken_at: str,
    limit: int,
    progressive: bool = False,
) -> int:
    """Write the JPEG with a phone's EXIF, at a quality that fits `limit` bytes; give that quality."""
    exif = _exif(camera, taken_at, picture.flash)
    image = Image.fromarray(pixels)
    shape: dict[str, Any] = {"subsampling": "4:2:0", "optimize": True, "progressive": progressive}
    for quality in range(picture.quality, 55, -1):
        store = io.BytesIO()
        image.save(store, "JPEG", quality=quality, exif=exif, **shape)
        if store.tell() <= limit:
            path.write_bytes(store.getvalue())
            return quality
    raise SystemExit(f"{path.name} does not fit {limit} bytes.")


def _exif(camera: Camera, taken_at: str, flash: bool) -> bytes:
    exif = Image.Exif()
    exif.update({0x010F: camera.make, 0x0110: camera.model, 0x0112: 6 if camera.portrait else 1})
    exif.update(
        {0x0131: f"{camera.model} rendered demo", 0x0132: taken_at, 0x011A: 72.0, 0x011B: 72.0, 0x0128: 2}
    )
    detail = exif.get_ifd(0x8769)
    detail.update({0x9003: taken_at, 0x9004: taken_at, 0x9011: "+02:00", 0x9000: b"0232"})
    detail.update({0x920A: IFDRational(round(camera.focal_mm * 100), 100), 0xA405: camera.focal_35mm})
    detail.update(
        {
            0x829A: IFDRational(1, 120),
            0x829D: IFDRational(round((camera.f_number or 1.8) * 10), 10),
            0x8827: 100,
        }
    )
    detail.update({0xA404: IFDRational(1, 1), 0xA402: 0, 0xA403: 0, 0x9209: 25 if flash else 16, 0xA001: 1})
    detail.update({0xA002: camera.width_px, 0xA003: camera.height_px, 0xA433: camera.make})
    detail.update(
        {0xA434: f"{camera.make} {camera.model} {camera.focal_mm:.1f} mm f/{camera.f_number or 1.8:.1f}"}
    )
    return exif.tobytes()
