"""A made-up inspection for tests: a drawn photo of a joint with wide, doubtful and covered places.

Nothing here is measured; the numbers are chosen so that every state and every kind of spot occurs.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
from PIL import Image

from fitup.evidence.subject import Filing
from fitup.photo import CameraInfo, Photo
from fitup.profile import GapProfile, Influence, JointShape
from fitup.scale import LensChoice, target_layout, target_raster
from fitup.verdict import (
    DEFAULT_RULES,
    JointVerdict,
    WeldSettings,
    fillable_gap,
    judge,
    parse_sheet,
    parse_wire,
)

NOON = datetime(2026, 3, 4, 12, 0, 0, tzinfo=UTC)
PX_PER_MM = 8.0
JOINT_Y_MM = 20.0
# px <- mm of the drawn photo: datum mark at (120, 520), y up.
HOMOGRAPHY = np.array([[PX_PER_MM, 0.0, 120.0], [0.0, -PX_PER_MM, 520.0], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, kw_only=True, eq=False)
class MadeUpInspection:
    settings: Any
    photo: Photo
    scale: Any
    pair: Any
    line: Any
    response: Any
    profile: GapProfile
    shape: JointShape
    verdict: JointVerdict
    quality: Any = None


def make_profile(*, step_mm: float = 0.5, length_mm: float = 210.0, unseen: bool = True) -> GapProfile:
    station = np.arange(0.0, length_mm + step_mm / 2, step_mm)
    gap = 0.35 + 0.12 * np.sin(station / 19) + 0.85 * np.exp(-(((station - 155) / 5) ** 2))
    gap += 0.62 * np.exp(-(((station - 88) / 4) ** 2))
    reason = np.full(len(station), "", dtype=object)
    if unseen:
        reason[(station >= 30) & (station <= 38)] = "covered"
        reason[(station >= 190) & (station <= 191)] = "glare"
    gap[reason != ""] = np.nan
    parts = {"noise and grain": (0.018, False), "print scale": (0.006, True), "tone curve": (0.026, True)}
    budget = tuple(
        Influence(
            name=name, u_mm=np.where(np.isnan(gap), np.nan, u), common=common, remedy=f"mind the {name}"
        )
        for name, (u, common) in parts.items()
    )
    u_gap = np.sqrt(sum(line.u_mm**2 for line in budget))
    near, far = JOINT_Y_MM - gap / 2, JOINT_Y_MM + gap / 2
    return GapProfile(
        station_mm=station,
        gap_mm=gap,
        u_gap_mm=u_gap,
        near_mm=near,
        far_mm=far,
        near_px=to_px(np.column_stack([np.where(np.isnan(near), np.nan, station), near])),
        far_px=to_px(np.column_stack([np.where(np.isnan(far), np.nan, station), far])),
        centre_px=to_px(np.column_stack([station, np.full(len(station), JOINT_Y_MM)])),
        unseen_reason=tuple(reason),
        budget=budget,
        notes=("drawn for a test",),
        step_mm=step_mm,
    )


def to_px(points_mm: np.ndarray) -> np.ndarray:
    points = np.asarray(points_mm, dtype=float)
    return points * [PX_PER_MM, -PX_PER_MM] + [120.0, 520.0]


def to_mm(points_px: np.ndarray) -> np.ndarray:
    return (np.asarray(points_px, dtype=float) - [120.0, 520.0]) / [PX_PER_MM, -PX_PER_MM]


def make_scale(print_record: Any = None, choice: LensChoice | None = None) -> Any:
    layout = target_layout(1)
    saddles = layout.saddles_mm
    residual = np.full(len(saddles), 0.05)
    sighting = SimpleNamespace(
        layout=layout,
        saddle_ids=np.arange(len(saddles)),
        saddles_px=to_px(saddles),
        saddles_mm=saddles,
        residual_px=residual,
        marker_count=layout.marker_count,
        choice=choice or LensChoice(),
    )
    names = ("saddles", "print", "thickness", "lens and distance")
    return SimpleNamespace(
        sighting=sighting,
        lens=None if choice is None else choice.used,
        print_record=print_record,
        homography=HOMOGRAPHY,
        camera_position_mm=np.array([100.0, 10.0, 400.0]),
        focal_px=3000.0,
        u_focal_relative=0.02,
        focal_source="exif 35 mm",
        thickness_mm=0.1,
        model="pose",
        residual_rms_px=0.06,
        residual_mm=0.008,
        print_blur_px=0.8,
        tilt_deg=3.0,
        to_px=to_px,
        to_mm=to_mm,
        px_per_mm=lambda points: np.full(np.shape(points)[:-1], PX_PER_MM),
        relative_u=lambda points: {name: np.full(np.shape(points)[:-1], 0.002) for name in names},
    )


def draw_photo(profile: GapProfile, colour: bool = False) -> np.ndarray:
    """Steel with a dark gap, the strip below it."""
    height, width = 760, 1920
    rng = np.random.default_rng(11)
    picture = 150 + 18 * rng.standard_normal((height, 1)) + 5 * rng.standard_normal((height, width))
    u = np.arange(width)
    gap = np.interp((u - 120) / PX_PER_MM, profile.station_mm, np.nan_to_num(profile.gap_mm, nan=0.3))
    v = np.arange(height)[:, None]
    middle = 520.0 - JOINT_Y_MM * PX_PER_MM
    picture[np.abs(v - middle) <= gap * PX_PER_MM / 2] = 20
    covered = (u >= to_px(np.array([29.5, 0]))[0]) & (u <= to_px(np.array([38.5, 0]))[0])
    picture[(np.abs(v - middle) < 60) & covered[None, :]] = 70
    strip = target_raster(target_layout(1), PX_PER_MM)
    left, top = round(120 - strip.datum_px[0]), round(520 - strip.datum_px[1])
    rows, columns = strip.pixels.shape
    shown = picture[max(top, 0) : top + rows, max(left, 0) : left + columns]
    shown[:] = strip.pixels[max(-top, 0) :][: shown.shape[0], max(-left, 0) :][:, : shown.shape[1]]
    grey = np.clip(picture, 0, 255).astype(np.uint8)
    if not colour:
        return grey
    return np.stack([grey, np.clip(picture * 0.95, 0, 255), np.clip(picture * 0.85, 0, 255)], axis=2).astype(
        np.uint8
    )


def make_photo(profile: GapProfile, name: str = "bench_03.png") -> tuple[Photo, bytes]:
    """The photo and the bytes of its file, in colour."""
    stream = io.BytesIO()
    Image.fromarray(draw_photo(profile, colour=True)).save(stream, "PNG")
    content = stream.getvalue()
    photo = Photo(
        name=name,
        sha256=hashlib.sha256(content).hexdigest(),
        byte_count=len(content),
        format="PNG",
        pixels=np.ascontiguousarray(draw_photo(profile)),
        camera=CameraInfo(make="Invented", model="Phone", focal_length_35mm=26.0),
        notes=(),
    )
    return photo, content


def make_inspection(
    *, limit: str = "0.9mm", unseen: bool = True, name: str = "bench_03.png", **scale: Any
) -> MadeUpInspection:
    profile = make_profile(unseen=unseen)
    return MadeUpInspection(
        settings=make_settings(limit),
        photo=make_photo(profile, name)[0],
        line=SimpleNamespace(
            xy_mm=np.column_stack([profile.station_mm, np.full(len(profile.station_mm), JOINT_Y_MM)])[::20],
            evidence=0.9,
            rival=0.3,
            given_by_person=False,
        ),
        response=SimpleNamespace(
            contrast=0.1,
            exponent=1.02,
            amount=0.4,
            radius_px=1.2,
            blur_px=0.8,
            residual=0.01,
            modelled=True,
            u_gap_px=0.2,
            note="",
        ),
        scale=make_scale(**scale),
        pair=None,
        profile=profile,
        shape=JointShape(),
        verdict=judge(profile, fillable_gap(parse_wire(limit))),
    )


def write_photo(path: Path) -> Path:
    """A photo file whose bytes are those of `make_inspection`."""
    path.write_bytes(make_photo(make_profile())[1])
    return path


def make_settings(wire: str = "0.9mm") -> Any:
    return SimpleNamespace(
        wire=parse_wire(wire),
        sheet=parse_sheet("18ga stainless"),
        other_sheet=None,
        rules=DEFAULT_RULES,
        weld=WeldSettings(),
        joint_kind="butt",
        target_on=None,
        included_angle_deg=90.0,
        overlap_mm=None,
        two_targets=False,
        one_sheet=False,
        procedure_limit_mm=None,
        procedure_reference="",
        bridge_factor=None,
        target_thickness_mm=None,
        arris_radius_mm=0.05,
        points_px=None,
        strips=(),
        joint_start_mm=None,
        joint_length_mm=None,
        from_mm=None,
        to_mm=None,
    )


def make_filing() -> Filing:
    return Filing(who="A. Fitter", job="J-117", part="bracket left", joint="J1", clock=lambda: NOON)
