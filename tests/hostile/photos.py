"""Photos as a careless or hostile shop hands them in: drawn and rendered joints of known truth, spoilt.

Every spoiling takes a `Picture` and gives another, with the truth carried along: where the joint is covered,
and where millimetres of the joint's plane lie in the picture. All scenes are invented.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from fitup.photo import linear_to_srgb, srgb_to_linear
from fitup.scale import target_layout, target_raster
from tests.drawn_joint import HEIGHT_PX, WIDTH_PX, Scene, draw

__all__ = ["Picture", "Spoil", "drawn", "rendered", "save"]

DEMO = Path(__file__).resolve().parents[2] / "demo_images"
DIAGONAL_35MM = 43.27
STRIP_X, STRIP_Y = (-12.0, 222.0), (-46.0, 11.0)  # the paper with its printed surroundings, generously


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """A photo before it is stored, with its truth.

    `true_gap` gives the gap [mm] at positions along the joint (N,); `to_px` (3, 3) is px <- mm of the plane;
    `covered_mm` are stretches of the joint that nobody can see. `sharp` arrises have no rounding.
    """

    pixels: np.ndarray
    to_px: np.ndarray
    true_gap: Callable[[np.ndarray], np.ndarray]
    joint_y_mm: float
    exif: bytes = b""
    covered_mm: tuple[tuple[float, float], ...] = ()
    quality: int = 92
    sharp: bool = False

    @property
    def px_per_mm(self) -> float:
        """Sampling in the middle of the joint."""
        ends = self.px(np.array([[100.0, self.joint_y_mm], [110.0, self.joint_y_mm]]))
        return float(np.hypot(*(ends[1] - ends[0]))) / 10

    def px(self, points_mm: np.ndarray) -> np.ndarray:
        """Image points (N, 2) of points of the plane (N, 2)."""
        home = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.to_px.T
        return np.asarray(home[:, :2] / home[:, 2:])

    def mask(self, x_mm: tuple[float, float], y_mm: tuple[float, float]) -> np.ndarray:
        """True inside a rectangle of the plane, (H, W)."""
        corners = np.array(
            [(x, y) for x, y in zip([x_mm[0], x_mm[1], x_mm[1], x_mm[0]], np.repeat(y_mm, 2), strict=True)]
        )
        out = np.zeros(self.pixels.shape[:2], np.uint8)
        cv2.fillPoly(out, [np.rint(self.px(corners)).astype(np.int32)], 1)
        return out.astype(bool)

    def plane_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """Millimetres x and y of every pixel, float32 (H, W)."""
        height, width = self.pixels.shape[:2]
        v, u = np.mgrid[0:height, 0:width].astype(np.float32)
        inverse = np.linalg.inv(self.to_px).astype(np.float32)
        w = inverse[2, 0] * u + inverse[2, 1] * v + inverse[2, 2]
        x = (inverse[0, 0] * u + inverse[0, 1] * v + inverse[0, 2]) / w
        return x, (inverse[1, 0] * u + inverse[1, 1] * v + inverse[1, 2]) / w


Spoil = Callable[[Picture], Picture]

SLOPE = 0.01


def opening(x: np.ndarray) -> np.ndarray:
    """A good joint with one opening to 1.3 mm, some 20 mm long."""
    return np.asarray(0.3 + 1.0 * np.exp(-(((x - 120) / 14) ** 2)))


@cache
def drawn(kind: str = "opening") -> Picture:
    """A drawn joint by name, drawn once."""
    scene = _SCENES[kind]
    offset = float(scene.middle_mm(np.array(0.0)))
    cos = 1 / np.hypot(1, SLOPE)
    foot_x = -SLOPE * offset * cos**2

    def true_gap(s: np.ndarray) -> np.ndarray:
        return np.asarray(scene.gap_mm(foot_x + s * cos) * cos)

    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Nordlicht", "N1"
    infinity_px = scene.focal_px * (1 - 5.5 / scene.distance_mm)
    exif.get_ifd(0x8769)[0x920A] = 5.5
    exif.get_ifd(0x8769)[0xA405] = round(infinity_px / np.hypot(WIDTH_PX, HEIGHT_PX) * DIAGONAL_35MM)
    return Picture(
        pixels=draw(scene),
        to_px=scene.camera()[0],
        true_gap=true_gap,
        joint_y_mm=offset + 105 * SLOPE,
        exif=exif.tobytes(),
        sharp=True,
    )


@cache
def rendered(name: str) -> Picture:
    """A demo photo in colour with its truth."""
    truth = json.loads((DEMO / f"{name}.truth.json").read_text(encoding="utf-8"))
    with Image.open(DEMO / f"{name}.jpg") as image:
        pixels = np.asarray(image.convert("RGB"))
        exif = image.getexif().tobytes()
    camera, stations = truth["camera"], truth["stations"]
    rotation = np.array(camera["rotation_target_to_camera"])
    matrix = np.diag([camera["focal_px"], camera["focal_px"], 1.0])
    matrix[:2, 2] = camera["principal_point_px"]
    shift = rotation @ (np.array([0, 0, -0.1]) - camera["position_mm"])
    s, gap = np.array(stations["s_mm"]), np.array(stations["gap_mm"])
    return Picture(
        pixels=pixels,
        to_px=matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], shift]),
        true_gap=lambda at: np.interp(at, s, gap),
        joint_y_mm=float(np.median(np.array(stations["near_xy_mm"])[:, 1])),
        exif=exif,
        covered_mm=_runs(s, np.array(stations["hidden"])),
    )


def save(picture: Picture, path: Path) -> Path:
    """Store a picture as JPEG with the EXIF it carries."""
    Image.fromarray(picture.pixels).save(path, quality=picture.quality, exif=picture.exif)
    return path


def _runs(s: np.ndarray, flags: np.ndarray) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(int), [0]))))
    return tuple((float(s[a]), float(s[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _joint_at(offset: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda x: offset + SLOPE * np.asarray(x)


_SCENES: dict[str, Scene] = {
    "opening": Scene(gap_mm=opening, middle_mm=_joint_at(22.0), slant_deg=3.0, seed=41),
    "plain": Scene(
        gap_mm=lambda x: 0.4 + 0 * x, middle_mm=_joint_at(22.0), face=0.05, seed=42, focal_px=1900.0
    ),
    "another number": Scene(
        gap_mm=opening, middle_mm=_joint_at(22.0), slant_deg=3.0, strip_number=9, seed=41
    ),
    "two joints": Scene(
        gap_mm=opening,
        middle_mm=_joint_at(22.0),
        face=0.05,
        lines=((-50, 300, 38.0, 0.5, 0.012),),
        seed=43,
    ),
    "far joint": Scene(
        gap_mm=opening, middle_mm=_joint_at(100.0), focal_px=1900.0, centre_mm=(105.0, 30.0), seed=44
    ),
    "slant 30": Scene(gap_mm=opening, middle_mm=_joint_at(22.0), slant_deg=-30.0, seed=45),
    "slant 45": Scene(gap_mm=opening, middle_mm=_joint_at(22.0), slant_deg=45.0, seed=46),
}


# Light ----------------------------------------------------------------------------------------------------


def _encoded(picture: Picture, values: np.ndarray) -> Picture:
    return replace(picture, pixels=np.clip(np.rint(values), 0, 255).astype(np.uint8))


def _in_light(picture: Picture, change: Callable[[np.ndarray], np.ndarray]) -> Picture:
    """Change the picture in linear light."""
    light = np.asarray(srgb_to_linear(picture.pixels.astype(np.float32) / 255), np.float32)
    return _encoded(picture, 255 * np.asarray(linear_to_srgb(np.clip(change(light), 0, 1))))


def uniform(level: int) -> Spoil:
    """Nothing but one grey."""
    return lambda p: replace(p, pixels=np.full_like(p.pixels, level), covered_mm=((0.0, 210.0),))


def exposed(factor: float, noise: float = 0.0) -> Spoil:
    """More or less light, with the sensor's noise that comes with it."""

    def change(light: np.ndarray) -> np.ndarray:
        out = light * np.float32(factor)
        rng = np.random.default_rng(5)
        grain = rng.standard_normal(light.shape, dtype=np.float32) * noise
        return np.asarray(out + grain * np.sqrt(out + 1e-3)) if noise else out

    return lambda p: _in_light(p, change)


def noisy(sigma: float) -> Spoil:
    """Grey levels of noise on the stored values."""

    def spoil(p: Picture) -> Picture:
        rng = np.random.default_rng(6)
        return _encoded(p, p.pixels + sigma * rng.standard_normal(p.pixels.shape, dtype=np.float32))

    return spoil


def tinted(red: float, green: float, blue: float) -> Spoil:
    """A colour cast."""
    return lambda p: _in_light(p, lambda light: light * np.array([red, green, blue], np.float32))


def grey(p: Picture) -> Picture:
    """The colours thrown away."""
    return replace(p, pixels=cv2.cvtColor(p.pixels, cv2.COLOR_RGB2GRAY))


def negative(p: Picture) -> Picture:
    """Black for white."""
    return replace(p, pixels=255 - p.pixels)


def local_contrast(p: Picture) -> Picture:
    """A strong filter of the phone's photo app."""
    return replace(p, pixels=cv2.createCLAHE(4.0, (8, 8)).apply(p.pixels))


def oversharpened(p: Picture) -> Picture:
    """An unsharp mask as an editing app lays it over."""
    values = p.pixels.astype(np.float32)
    return _encoded(p, values + 2.0 * (values - cv2.GaussianBlur(values, (0, 0), 2.0)))


def half_in_shadow(p: Picture) -> Picture:
    """A hard shadow's edge runs along the far plate, 2 mm beyond the joint."""
    _, y = p.plane_mm()
    edge = 0.5 + 0.5 * np.tanh((y - p.joint_y_mm - 2.0) * 6)
    return _in_light(p, lambda light: light * (1 - 0.75 * edge).astype(np.float32))


def _streak(p: Picture, along: np.ndarray, width_mm: float) -> Picture:
    """Add a burnt-out streak whose middle is where `along` (H, W) [mm] is zero."""
    shine = 2.5 * np.exp(-0.5 * (along / width_mm) ** 4)
    return _in_light(p, lambda light: light + (shine if light.ndim == 2 else shine[:, :, None]))


def glare_on_strip(p: Picture) -> Picture:
    """A lamp's reflection burns out a third of the strip."""
    x, y = p.plane_mm()
    return _streak(p, np.where(y < 11, np.abs(x - 90 - 0.3 * y), 99), 35.0)


def glare_on_joint(p: Picture) -> Picture:
    """A reflection some 20 mm long burns out joint and plates."""
    x, y = p.plane_mm()
    return replace(
        _streak(p, np.hypot(x - 70 - 0.4 * (y - p.joint_y_mm), (y - p.joint_y_mm) / 2), 10.0),
        covered_mm=(*p.covered_mm, (62.0, 78.0)),
    )


# Sharpness ------------------------------------------------------------------------------------------------


def moved(length_px: int, *, across: bool) -> Spoil:
    """Motion blur along or across the joint, in linear light."""
    kernel = np.full((length_px, 1) if across else (1, length_px), 1 / length_px, np.float32)
    return lambda p: _in_light(p, lambda light: cv2.filter2D(light, -1, kernel))


def defocused(sigma_px: float) -> Spoil:
    """Out of focus, in linear light."""
    return lambda p: _in_light(p, lambda light: cv2.GaussianBlur(light, (0, 0), sigma_px))


def recompressed(quality: int) -> Spoil:
    """Stored with a messenger's JPEG quality."""
    return lambda p: replace(p, quality=quality)


def mosaic(cell_px: int) -> Spoil:
    """Pixelated."""

    def spoil(p: Picture) -> Picture:
        height, width = p.pixels.shape[:2]
        small = cv2.resize(p.pixels, (width // cell_px, height // cell_px), interpolation=cv2.INTER_AREA)
        return replace(p, pixels=cv2.resize(small, (width, height), interpolation=cv2.INTER_NEAREST))

    return spoil


# Covering -------------------------------------------------------------------------------------------------


def _texture(shape: tuple[int, int], level: float, seed: int) -> np.ndarray:
    """Something like cloth or skin: blotches and a weave, display-encoded levels."""
    rng = np.random.default_rng(seed)
    blotches = cv2.resize(
        rng.standard_normal((12, 12)).astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC
    )
    weave = np.sin(np.arange(shape[0]) * 0.9)[:, None] * np.sin(np.arange(shape[1]) * 0.7)
    return np.asarray(level + 14 * blotches + 6 * weave)


def covered(
    x_mm: tuple[float, float], y_mm: tuple[float, float], level: float = 120.0, seed: int = 7
) -> Spoil:
    """A patch of cloth or skin over a rectangle of the plane; over the joint it hides it."""

    def spoil(p: Picture) -> Picture:
        mask = cv2.GaussianBlur(p.mask(x_mm, y_mm).astype(np.float32), (0, 0), 2.0)
        patch = _texture(p.pixels.shape[:2], level, seed)
        if p.pixels.ndim == 3:
            mask, patch = mask[:, :, None], patch[:, :, None]
        out = _encoded(p, p.pixels + (patch - p.pixels) * mask)
        hides = y_mm[0] < p.joint_y_mm < y_mm[1]
        return replace(out, covered_mm=(*p.covered_mm, x_mm)) if hides else out

    return spoil


def drawn_line(y_off_mm: float, width_mm: float, level: float) -> Spoil:
    """A pen line or a straight edge along the joint, beside it."""

    def spoil(p: Picture) -> Picture:
        y = p.joint_y_mm + y_off_mm
        mask = p.mask((-40.0, 250.0), (y - width_mm / 2, y + width_mm / 2)).astype(np.float32)
        mask = cv2.GaussianBlur(mask, (0, 0), 1.2)
        mask = mask[:, :, None] if p.pixels.ndim == 3 else mask
        return _encoded(p, p.pixels + (level - p.pixels) * mask)

    return spoil


# Geometry -------------------------------------------------------------------------------------------------


def _mapped(p: Picture, matrix: np.ndarray, size: tuple[int, int], exif: bytes) -> Picture:
    pixels = cv2.warpPerspective(
        p.pixels, matrix, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE
    )
    return replace(p, pixels=pixels, to_px=matrix @ p.to_px, exif=exif)


def cropped(
    *, left: float = 0, right: float = 1, top: float = 0, bottom: float = 1, keep_exif: bool = True
) -> Spoil:
    """Cut to a part of the frame (shares of width and height), with the EXIF of the whole."""

    def spoil(p: Picture) -> Picture:
        height, width = p.pixels.shape[:2]
        rows = slice(round(top * height), round(bottom * height))
        columns = slice(round(left * width), round(right * width))
        shift = np.array([[1.0, 0, -columns.start], [0, 1, -rows.start], [0, 0, 1]])
        return replace(
            p,
            pixels=np.ascontiguousarray(p.pixels[rows, columns]),
            to_px=shift @ p.to_px,
            exif=p.exif if keep_exif else b"",
        )

    return spoil


def cropped_at_x(x_mm: float) -> Spoil:
    """The frame ends at a place along the strip: everything to the right of it is outside."""

    def spoil(p: Picture) -> Picture:
        edge = float(p.px(np.array([[x_mm, 0.0]]))[0, 0]) / p.pixels.shape[1]
        return cropped(right=edge)(p)

    return spoil


def cropped_above_joint(margin_mm: float) -> Spoil:
    """The frame ends this far beyond the joint."""

    def spoil(p: Picture) -> Picture:
        edge = float(p.px(np.array([[105.0, p.joint_y_mm + margin_mm]]))[0, 1]) / p.pixels.shape[0]
        return cropped(top=edge)(p)

    return spoil


def mirrored(p: Picture) -> Picture:
    """As a front camera stores it."""
    return replace(p, pixels=np.ascontiguousarray(p.pixels[:, ::-1]))


def turned(quarter_turns: int) -> Spoil:
    """Turned without a word in the EXIF."""
    return lambda p: replace(p, pixels=np.ascontiguousarray(np.rot90(p.pixels, quarter_turns)), exif=b"")


def resized(megapixels: float) -> Spoil:
    """Scaled by a messenger, EXIF lost."""

    def spoil(p: Picture) -> Picture:
        height, width = p.pixels.shape[:2]
        factor = np.sqrt(megapixels * 1e6 / (height * width))
        size = (round(width * factor), round(height * factor))
        how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
        scale = np.diag([size[0] / width, size[1] / height, 1.0])
        return replace(
            p, pixels=cv2.resize(p.pixels, size, interpolation=how), to_px=scale @ p.to_px, exif=b""
        )

    return spoil


def stretched(p: Picture) -> Picture:
    """Made 8 % wider, as when pasted into a page."""
    height, width = p.pixels.shape[:2]
    size = (round(1.08 * width), height)
    return _mapped(p, np.diag([1.08, 1.0, 1.0]), size, b"")


def swung(degrees: float) -> Spoil:
    """The camera turned sideways where it stands: a true view with the strip far off the middle."""

    def spoil(p: Picture) -> Picture:
        height, width = p.pixels.shape[:2]
        focal = 3000.0
        before = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
        angle = np.deg2rad(degrees)
        turn = np.array([[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]])
        home = turn @ np.linalg.inv(before)
        corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1.0]]) @ home.T
        flat = corners[:, :2] / corners[:, 2:]
        zoom = 3900 / np.ptp(flat[:, 0])
        after = np.array(
            [[zoom, 0, -zoom * flat[:, 0].min()], [0, zoom, -zoom * flat[:, 1].min()], [0, 0, 1]]
        )
        size = (3900, round(zoom * np.ptp(flat[:, 1])))
        return _mapped(p, after @ home, size, b"")

    return spoil


def photographed_again(p: Picture) -> Picture:
    """A photo of a screen that shows the photo: its raster, its tone curve, a slight slant."""
    height, width = p.pixels.shape[:2]
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], np.float32)
    moved_to = corners + np.array([[25, 40], [-60, 10], [10, -30], [-20, -45]], np.float32)
    out = _mapped(p, cv2.getPerspectiveTransform(corners, moved_to), (width, height), b"")
    v, u = np.mgrid[0:height, 0:width].astype(np.float32)
    raster = 1 + 0.12 * np.sin(2.05 * u + 0.05 * v) * np.sin(2.12 * v)
    raster = raster if out.pixels.ndim == 2 else raster[:, :, None]
    return _in_light(out, lambda light: (0.03 + 0.9 * light**1.25) * raster)


def stitched(shift_px: int) -> Spoil:
    """A panorama whose right half was joined some pixels too low."""

    def spoil(p: Picture) -> Picture:
        pixels = p.pixels.copy()
        middle = pixels.shape[1] // 2
        pixels[:, middle:] = np.roll(p.pixels[:, middle:], shift_px, axis=0)
        return replace(p, pixels=pixels)

    return spoil


def wobbled(p: Picture) -> Picture:
    """The wavy lines of a panorama or of a shaken rolling shutter, 6 px."""
    height, width = p.pixels.shape[:2]
    v, u = np.mgrid[0:height, 0:width].astype(np.float32)
    return replace(
        p,
        pixels=cv2.remap(
            p.pixels, u, v + 6 * np.sin(u / 260), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        ),
    )


# Strips ---------------------------------------------------------------------------------------------------


def painted_over(p: Picture) -> Picture:
    """The strip under paint of the plate's own grey."""
    level = float(np.median(p.pixels[p.mask((0.0, 210.0), (p.joint_y_mm - 7, p.joint_y_mm - 4))]))
    mask = p.mask(STRIP_X, STRIP_Y)
    rng = np.random.default_rng(8)
    out = p.pixels.astype(np.float32)
    out[mask] = level + 4 * rng.standard_normal(out[mask].shape)
    return _encoded(p, out)


def second_strip(number: int, *, x_mm: float, y_mm: float, form: str = "strip-30x5") -> Spoil:
    """Another strip on the same plate, turned half round, its datum mark at (x, y)."""

    def spoil(p: Picture) -> Picture:
        raster = target_raster(target_layout(number, form), 20.0)
        half_turn = np.array([[-1.0, 0, x_mm], [0, -1, y_mm], [0, 0, 1]])
        matrix = p.to_px @ half_turn @ np.linalg.inv(raster.px_from_mm)
        light = (0.035 + 0.745 * raster.pixels.astype(np.float32) / 255).astype(np.float32)
        height, width = p.pixels.shape[:2]
        ink = cv2.warpPerspective(light, matrix, (width, height), flags=cv2.INTER_LINEAR)
        mask = cv2.warpPerspective(np.ones_like(light), matrix, (width, height), flags=cv2.INTER_LINEAR)
        ink, mask = (cv2.GaussianBlur(a, (0, 0), 1.0) for a in (ink, mask))
        return _in_light(p, lambda photo: ink + (1 - mask) * photo)

    return spoil


def spliced_with(other: Callable[[], Picture]) -> Spoil:
    """Two halves of different strips taped end to end: the right half of the photo is from another one."""

    def spoil(p: Picture) -> Picture:
        pixels = p.pixels.copy()
        middle = round(float(p.px(np.array([[105.0, 0.0]]))[0, 0]))
        pixels[:, middle:] = other().pixels[:, middle:]
        return replace(p, pixels=pixels)

    return spoil


def glued_short(p: Picture) -> Picture:
    """The strip cut in two and laid down again 1.5 mm nearer: the numbers are right, the lengths are not."""
    pixels = p.pixels.copy()
    mask = p.mask((105.0, 222.0), STRIP_Y)
    shift = round(1.5 * p.px_per_mm)
    pixels[mask] = np.roll(p.pixels, -shift, axis=1)[mask]
    return replace(p, pixels=pixels)


def in_order(*spoils: Spoil) -> Spoil:
    """One after the other."""

    def spoil(p: Picture) -> Picture:
        for each in spoils:
            p = each(p)
        return p

    return spoil
