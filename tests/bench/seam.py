"""The long joint in several photos with known truth: where stations are along it, and the gap there.

How the figures are meant
-------------------------
seam_position_error_mm   largest distance between where a station says it is along the joint and where it is:
                         the place in the leading photo at which it was measured, by the truth's camera
position_u_mm            what is stated for the farthest station (k = 1)
bias_mm, rms_mm, ...     gap less truth at the stations' true places, as in `accuracy`
missed_openings          as in `accuracy`
one_missing_same         share of stations that keep every bit when one photo is left out, of those that it
                         does not show; the least over all photos
any_order_same           whether photos in another order give the same bits
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.inspection import InspectionSettings
from fitup.seam import Seam, inspect_seam
from fitup.verdict import parse_sheet, parse_wire
from tests.bench.truth import PROMISED_RISK, SHORTEST_OPENING_MM, Truth, load_truths, runs_of

__all__ = ["seam_figures", "seam_truths", "true_places"]

Array = NDArray[np.float64]


def seam_truths(folder: Path) -> list[Truth]:
    """Truths of the photos of one long joint: those that say where they lie along it."""
    return [truth for truth in load_truths(folder) if "seam_s_mm" in truth.data["stations"]]


def seam_figures(truths: Sequence[Truth], workers: int = 2) -> dict[str, Any]:
    """The overall numbers, ready for JSON; lengths in mm. None of them without photos."""
    if not truths:
        return {"photos": 0}
    settings = _settings(truths[0])
    seam = inspect_seam([truth.photo for truth in truths], settings, strips=_strips(truths), workers=workers)
    profile = seam.profile
    place = true_places(seam, truths)
    off = seam.profile.station_mm - place
    true = _true_gap(truths, place)
    error = profile.gap_mm - true
    counted = np.isfinite(error)
    u = profile.u_gap_mm[counted]
    covered = np.abs(error[counted]) <= 1.96 * u
    return {
        "photos": len(truths),
        "stations": int(counted.sum()),
        "seen_share": round(float(profile.seen.mean()), 4),
        "seam_position_error_mm": _mm(np.nanmax(np.abs(off))),
        "position_rms_mm": _mm(np.sqrt(np.nanmean(off**2))),
        "position_u_mm": _mm(seam.stations.u_station_mm.max()),
        "bias_mm": _mm(error[counted].mean()),
        "rms_mm": _mm(np.sqrt(np.mean(error[counted] ** 2))),
        "max_mm": _mm(np.abs(error[counted]).max()),
        "coverage_95": round(float(covered.mean()), 4),
        "mean_u_mm": _mm(u.mean()),
        **_openings(seam, truths, place),
        "verdict": str(seam.verdict.word),
        "any_order_same": _any_order_same(seam, truths, settings),
        "one_missing_same": _one_missing_same(seam, truths, settings),
    }


def true_places(seam: Seam, truths: Sequence[Truth]) -> Array:
    """(N,) where each station was measured along the joint, from the first datum mark; NaN if unseen."""
    by_name = {truth.photo.name: truth for truth in truths}
    place = np.full(len(seam.profile.station_mm), np.nan)
    middle = (seam.profile.near_px + seam.profile.far_px) / 2
    for index, photo in enumerate(seam.photos):
        led = (seam.joined.leading == index) & np.isfinite(middle).all(axis=1)
        if led.any():
            place[led] = _along_truth(by_name[Path(photo.path).name], middle[led])
    return place


def _strips(truths: Sequence[Truth]) -> tuple[int, int]:
    numbers = [target["strip_number"] for truth in truths for target in truth.data["targets"]]
    return min(numbers), max(numbers)


def _settings(truth: Truth) -> InspectionSettings:
    return InspectionSettings(
        wire=parse_wire(truth.data["wire"]),
        sheet=parse_sheet(f"{truth.data['sheet_mm']}mm"),
        joint_kind="seam",
    )


def _along_truth(truth: Truth, points_px: Array) -> Array:
    """Places along the joint of image points (M, 2), on the truth's middle line in the image."""
    stations, camera = truth.data["stations"], truth.data["camera"]
    middle = (np.array(stations["near_xyz_mm"]) + np.array(stations["far_xyz_mm"])) / 2
    rotation = np.array(camera["rotation_target_to_camera"])
    shift = -rotation @ np.array(camera["position_mm"])
    bend = camera.get("distortion")
    bend = [bend[name] for name in ("k1", "k2", "p1", "p2", "k3")] if isinstance(bend, dict) else [0.0] * 5
    focal, centre = camera["focal_px"], camera["principal_point_px"]
    matrix = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    line = cv2.projectPoints(middle, cv2.Rodrigues(rotation)[0], shift, matrix, np.array(bend))[0][:, 0]
    along = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    return np.interp(points_px @ along, line @ along, np.array(stations["seam_s_mm"]))


def _true_gap(truths: Sequence[Truth], place: Array) -> Array:
    """True gap at places along the joint: all photos tell of the same joint."""
    s = np.concatenate([np.array(truth.data["stations"]["seam_s_mm"]) for truth in truths])
    gap = np.concatenate([truth.gap_mm for truth in truths])
    order = np.argsort(s, kind="stable")
    return np.interp(place, s[order], gap[order])


def _openings(seam: Seam, truths: Sequence[Truth], place: Array) -> dict[str, int]:
    """Stretches of the truth over the limit, and those of which too much is called within."""
    s = np.arange(np.nanmin(place), np.nanmax(place), 0.1)
    openings = missed = 0
    states = np.array([str(state) for state in seam.verdict.states])
    for begin, end in runs_of(_true_gap(truths, s) > seam.limit.limit_mm):
        if s[end] - s[begin] < SHORTEST_OPENING_MM:
            continue
        openings += 1
        inside = (place >= s[begin]) & (place <= s[end])
        missed += int((states[inside] == "within").sum() > PROMISED_RISK * inside.sum())
    return {"openings": openings, "missed_openings": missed}


def _any_order_same(seam: Seam, truths: Sequence[Truth], settings: InspectionSettings) -> bool:
    other = inspect_seam([truth.photo for truth in reversed(truths)], settings, strips=_strips(truths))
    names = ("station_mm", "gap_mm", "u_gap_mm")
    return all(
        np.array_equal(getattr(other.profile, name), getattr(seam.profile, name), equal_nan=True)
        for name in names
    )


def _one_missing_same(seam: Seam, truths: Sequence[Truth], settings: InspectionSettings) -> float:
    """Without each photo in turn: stations that the others show, found again with the same gap and u."""
    strips = (seam.chain.numbers[0], seam.chain.numbers[-1])
    paths = [Path(photo.path) for photo in seam.photos]
    shares = []
    for index in range(len(paths)):
        rest = inspect_seam(paths[:index] + paths[index + 1 :], replace(settings), strips=strips)
        there = {key: values for key, *values in _rows(rest)}
        kept = [
            there.get(key) == values
            for (key, *values), shown in zip(_rows(seam), seam.joined.shown.T, strict=True)
            if shown.any() and not shown[index]
        ]
        shares.append(float(np.mean(kept)) if kept else 1.0)
    return round(min(shares), 4)


def _rows(seam: Seam) -> list[tuple[Any, ...]]:
    stations, profile = seam.stations, seam.profile
    return [
        ((int(strip), float(at)), float(gap), float(u))
        for strip, at, gap, u in zip(
            stations.strip_number, stations.on_strip_mm, profile.gap_mm, profile.u_gap_mm, strict=True
        )
    ]


def _mm(value: float) -> float:
    return round(float(value), 5)
