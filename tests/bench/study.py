"""Gauge study, crossed, on rendered photos: eight joints, three invented phones, three repeats.

How the figures are meant
-------------------------
share_of_tolerance  six standard deviations of repeatability and reproducibility over the limit of 0.9 mm, by
                    `fitup.study`, with its 95 % interval; wanted: 0.10 at most
ndc                 number of distinct categories; wanted: 5 at least
blame               the component of these that weighs most, and its share of their variance
components_mm       standard deviations: repeatability, person (here: phone), part × person, ...
bias_mm             reading less the mean true gap of the marked place, over all photos; by part and by phone
coverage_95         share of the readings whose stated 95 % interval holds the photo's own truth
bias_slope          by how much more the reading grows than the gap, and its standard uncertainty over parts
apart_sd_mm         what a repeat is made of: standard deviation of readings of one part with one phone where
                    noise, light or pose alone is new, over the parts

A reading is the mean gap over 10 mm from a mark on the part, to which each photo's strip is laid by hand. The
photos are kept in a folder out of git and made where they are missing and the renderer is installed. Each has
noise, light and pose of its own.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table

from fitup.errors import UsageError
from fitup.inspection import InspectionSettings
from fitup.study.crossed import CrossedStudy, crossed_study
from fitup.study.gauge_words import verdict_on
from fitup.study.linearity import fit_line
from fitup.study.photo_readings import PlannedPhoto, read_photos
from fitup.study.readings import Readings
from fitup.verdict import parse_sheet, parse_wire
from tests.bench.rendering import DEMO_IMAGES

if TYPE_CHECKING:
    from study_scenes import StudyScene

__all__ = ["StudyReading", "read_study", "run_study", "study_figures"]

LIMIT_MM = 0.9


@dataclass(frozen=True, kw_only=True)
class StudyReading:
    """One photo's reading, or why there is none; `true_mm` is the photo's own, `reference_mm` the part's."""

    photo: str
    part: int
    phone: str
    repeat: int
    gap_mm: float
    u_mm: float
    true_mm: float
    reference_mm: float
    said: str = ""

    @property
    def read(self) -> bool:
        return bool(np.isfinite(self.gap_mm))


def run_study(folder: Path, console: Console) -> dict[str, Any]:
    """Figures for bench.json; photos are kept in `folder`."""
    from study_apart import APART
    from study_scenes import STUDY

    note = _render_missing(folder)
    if note:
        console.print(note)
    result = study_figures(read_study(STUDY, folder))
    result["apart_sd_mm"] = _apart(read_study(APART, folder))
    _print(result, console)
    return result


def _render_missing(folder: Path) -> str:
    from study_apart import APART
    from study_scenes import STUDY

    missing = [s.name for s in (*STUDY, *APART) if not (folder / f"{s.name}.truth.json").exists()]
    if not missing:
        return ""
    if find_spec("mitsuba") is None:
        return (
            f"{len(missing)} photos of the gauge study are not rendered and there is no renderer (the render "
            "extra): the study stands on what is there."
        )
    subprocess.run(
        [sys.executable, str(DEMO_IMAGES / "study.py"), *missing, "--out", str(folder)], check=True
    )
    return f"{len(missing)} photos of the gauge study rendered."


def read_study(scenes: Sequence[StudyScene], folder: Path) -> list[StudyReading]:
    """Every photo that is there through the product, in the scenes' order."""
    return [_reading(folder, scene) for scene in scenes if (folder / f"{scene.name}.jpg").exists()]


def _reading(folder: Path, scene: StudyScene) -> StudyReading:
    from study_scenes import PLACE_MM

    settings = InspectionSettings(
        wire=parse_wire("0.9mm"),
        sheet=parse_sheet(f"{scene.joint.sheet_mm}mm"),
        from_mm=PLACE_MM[0],
        to_mm=PLACE_MM[1],
    )
    planned = PlannedPhoto(
        part=str(scene.part), person=scene.phone, repeat=str(scene.repeat), photo=f"{scene.name}.jpg", line=1
    )
    (found,) = read_photos([planned], folder, lambda _: settings, "mean")
    place = np.arange(PLACE_MM[0], PLACE_MM[1] + 0.05, 0.1)
    laid = scene.targets[0].x_mm
    return StudyReading(
        photo=scene.name,
        part=scene.part,
        phone=scene.phone,
        repeat=scene.repeat,
        gap_mm=found.gap_mm,
        u_mm=found.u_mm,
        true_mm=float(scene.joint.bounds(place + laid).gap.mean()),
        reference_mm=float(scene.joint.bounds(place).gap.mean()),
        said=str(found.fault or ""),
    )


def study_figures(readings: Sequence[StudyReading]) -> dict[str, Any]:
    """The study's numbers, ready for JSON; lengths in mm. Without a full cross only what needs none."""
    read = [one for one in readings if one.read]
    result: dict[str, Any] = {
        "photos": len(readings),
        "refused": {one.photo: one.said for one in readings if not one.read},
        "limit_mm": LIMIT_MM,
    }
    if not read:
        return result
    try:
        result |= _crossed(read)
    except UsageError as error:
        result["no_study"] = str(error)
    return result | _bias(read)


def _crossed(read: Sequence[StudyReading]) -> dict[str, Any]:
    study: CrossedStudy = crossed_study(
        Readings(
            value_mm=np.array([one.gap_mm for one in read]),
            part=tuple(str(one.part) for one in read),
            person=tuple(one.phone for one in read),
            repeat=tuple(str(one.repeat) for one in read),
            source="the rendered study",
        ),
        limit_mm=LIMIT_MM,
    )
    said = verdict_on(study)
    grr = study.grr
    return {
        "share_of_tolerance": round(grr.share_of_tolerance, 4),
        "share_of_tolerance_95": [round(6 * one / LIMIT_MM, 4) for one in (grr.low_mm, grr.high_mm)],
        "ndc": study.ndc,
        "ndc_95": [round(one, 1) for one in study.ndc_interval],
        "verdict": said.word,
        "blame": said.blame,
        "blame_share": round(said.blame_share, 4),
        "interaction_pooled": study.pooled,
        "components_mm": {one.name: _mm(one.sigma_mm) for one in study.components},
    }


def _bias(read: Sequence[StudyReading]) -> dict[str, Any]:
    """Readings against the truth of the part's marked place."""
    gap, reference = (np.array([getattr(one, key) for one in read]) for key in ("gap_mm", "reference_mm"))
    error, own = gap - reference, gap - np.array([one.true_mm for one in read])
    parts, phones = np.array([one.part for one in read]), np.array([one.phone for one in read])
    covered = np.abs(own) <= 1.96 * np.array([one.u_mm for one in read])
    result: dict[str, Any] = {
        "bias_mm": _mm(error.mean()),
        "rms_mm": _mm(np.sqrt((own**2).mean())),
        "mean_u_mm": _mm(np.mean([one.u_mm for one in read])),
        "coverage_95": round(float(covered.mean()), 4),
        "bias_by_part_mm": {str(one): _mm(error[parts == one].mean()) for one in np.unique(parts)},
        "bias_by_phone_mm": {str(one): _mm(error[phones == one].mean()) for one in np.unique(phones)},
    }
    if len(np.unique(parts)) > 2:
        means = [(reference[parts == one].mean(), gap[parts == one].mean()) for one in np.unique(parts)]
        line = fit_line(*np.transpose(means)).line
        result |= {"bias_slope": round(line.slope - 1, 4), "u_bias_slope": round(line.u_slope, 4)}
    return result


def _apart(readings: Sequence[StudyReading]) -> dict[str, float]:
    """Standard deviation within a part by what was new, pooled over the parts."""
    spread: dict[str, list[float]] = {}
    for key in dict.fromkeys(tuple(one.photo.split("_")[:2]) for one in readings):
        values = [one.gap_mm for one in readings if one.read and one.photo.startswith("_".join(key) + "_")]
        if len(values) > 1:
            spread.setdefault(key[1], []).append(float(np.var(values, ddof=1)))
    return {cause: _mm(np.sqrt(np.mean(values))) for cause, values in spread.items()}


def _print(result: dict[str, Any], console: Console) -> None:
    table = Table(title="Gauge study on rendered photos", title_justify="left", box=box.SIMPLE)
    table.add_column("figure")
    table.add_column("value", justify="right")
    for key, value in result.items():
        for name, inner in value.items() if isinstance(value, dict) else ((key, value),):
            table.add_row(name if name == key else f"  {key}: {name}", str(inner))
    console.print(table)


def _mm(value: float) -> float:
    return round(float(value), 5)
