"""Lens profiles as files, and the folder where they are kept: one file for each module, size and phone."""

from __future__ import annotations

import json
import math
import os
import re
import sys
import tempfile
from collections.abc import Callable
from datetime import date as calendar_date
from pathlib import Path
from typing import Any

import numpy as np

from fitup.errors import StorageError, UsageError
from fitup.scale.lens import PARAMETERS, LensProfile
from fitup.scale.lens_model import LensModel

__all__ = [
    "LENS_FORMAT",
    "lens_file_name",
    "lens_from_entries",
    "lens_profiles_in",
    "load_lens_profile",
    "save_lens_profile",
    "usual_lens_folder",
]

LENS_FORMAT = "fitup lens profile 1"
_LARGEST_BYTES = 100_000
_MOST_FILES = 1000
_LONGEST_TEXT = 128


def usual_lens_folder() -> Path:
    """Where profiles are kept: the user's folder for settings (XDG base directories; APPDATA on Windows)."""
    named = os.environ.get("XDG_CONFIG_HOME") or (
        os.environ.get("APPDATA") if sys.platform == "win32" else None
    )
    # By the specification a relative path counts as none.
    base = Path(named) if named and Path(named).is_absolute() else Path("~/.config").expanduser()
    return base / "fitup" / "lenses"


def lens_file_name(profile: LensProfile) -> str:
    """Name by phone, module and picture size, so that a newer profile takes the place of an older one."""
    width, height = profile.lens.size_px
    focal = "" if profile.focal_length_mm is None else f"{profile.focal_length_mm:.2f}mm"
    equivalent = "" if profile.focal_length_35mm is None else f"{profile.focal_length_35mm:g}mm-equivalent"
    parts = (profile.make, profile.model, focal, equivalent, f"{width}x{height}")
    words = (re.sub(r"[^a-z0-9.]+", "-", (part or "").lower()).strip("-.") for part in parts)
    return "_".join(word[:40] for word in words if word) + ".json"


def save_lens_profile(profile: LensProfile, path: str | os.PathLike[str]) -> None:
    """Write the profile as JSON, whole or not at all; raises StorageError."""
    target = Path(path)
    text = json.dumps(
        {"format": LENS_FORMAT, **profile.entries}, indent=1, ensure_ascii=False, allow_nan=False
    )
    temporary = ""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)  # noqa: PTH105  # the pair of mkstemp above
    except (OSError, ValueError) as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        reason = getattr(error, "strerror", None) or str(error)
        raise StorageError(f"The lens profile could not be written to {target.name}: {reason}.") from error


def load_lens_profile(path: str | os.PathLike[str]) -> LensProfile:
    """Read a profile that `save_lens_profile` wrote; raises UsageError with what is wrong with the file."""
    source = Path(path)
    try:
        with source.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageError(f"The lens profile {source.name} cannot be read: {reason.lower()}.") from error
    try:
        entries = json.loads(data) if len(data) <= _LARGEST_BYTES else None
    except (ValueError, RecursionError) as error:
        raise UsageError(f"The lens profile {source.name} is no JSON file of this program.") from error
    if not isinstance(entries, dict) or entries.pop("format", None) != LENS_FORMAT:
        raise UsageError(f"The lens profile {source.name} is not marked as {LENS_FORMAT!r}.")
    return lens_from_entries(entries, f"The lens profile {source.name}")


def lens_profiles_in(folder: str | os.PathLike[str]) -> tuple[tuple[LensProfile, ...], tuple[str, ...]]:
    """All profiles of a folder, and what is wrong with files that are none; no folder holds none."""
    try:
        paths = sorted(Path(folder).glob("*.json"))[:_MOST_FILES]
    except (OSError, ValueError):
        return (), ()
    profiles, troubles = [], []
    for path in paths:
        try:
            profiles.append(load_lens_profile(path))
        except UsageError as error:
            troubles.append(str(error))
    return tuple(profiles), tuple(troubles)


def lens_from_entries(entries: dict[str, Any], name: str = "The lens profile") -> LensProfile:
    """Build a profile from what its file or a record holds; raises UsageError for what no profile can be."""
    unknown, missing = sorted(set(entries) - set(_CHECKS)), sorted(set(_CHECKS) - set(entries))
    if unknown or missing:
        parts = [f"unknown: {', '.join(unknown)[:100]}"] if unknown else []
        parts += [f"missing: {', '.join(missing)}"] if missing else []
        raise UsageError(f"{name} has the wrong entries ({'; '.join(parts)}).")
    for entry, sound in _CHECKS.items():
        if not sound(entries[entry]):
            raise UsageError(f"{name} is damaged: its {entry} cannot be true; fit the lens anew.")
    given = dict(entries)
    try:
        lens = LensModel(
            kind=given.pop("kind"),
            size_px=tuple(given.pop("size_px")),
            focal_px=float(given.pop("focal_px")),
            centre_px=_pair(given.pop("centre_px")),
            coefficients=tuple(float(c) for c in given.pop("coefficients")),
        )
    except ValueError:
        raise UsageError(f"{name} is damaged: its coefficients are no lens; fit the lens anew.") from None
    covariance = tuple(tuple(float(c) for c in row) for row in given.pop("covariance"))
    if (
        not _is_covariance(covariance, len(PARAMETERS) + len(lens.coefficients))
        or not lens.covers_the_picture
    ):
        raise UsageError(f"{name} is damaged: its numbers contradict one another; fit the lens anew.")
    return LensProfile(lens=lens, covariance=covariance, **given)


def _pair(values: list[Any]) -> tuple[float, float]:
    return float(values[0]), float(values[1])


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    try:
        return math.isfinite(float(value))
    except OverflowError:
        return False


def _between(low: float, high: float) -> Callable[[Any], bool]:
    return lambda value: _is_number(value) and low <= value <= high


def _none_or(sound: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: value is None or sound(value)


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= _LONGEST_TEXT and value.isprintable()


def _is_whole(low: int, high: int) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def _list_of(sound: Callable[[Any], bool], *lengths: int) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, list) and len(value) in lengths and all(map(sound, value))


def _is_date(value: Any) -> bool:
    try:
        return isinstance(value, str) and calendar_date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False


_SIZES = tuple(range(len(PARAMETERS), len(PARAMETERS) + 9))
_CHECKS: dict[str, Callable[[Any], bool]] = {
    "make": _none_or(_is_text),
    "model": _none_or(_is_text),
    "software": _none_or(_is_text),
    "focal_length_mm": _none_or(_between(0.1, 5000)),
    "focal_length_35mm": _none_or(_between(1, 5000)),
    "size_px": _list_of(_is_whole(16, 100_000), 2),
    "kind": lambda value: value in ("opencv", "fisheye"),
    "focal_px": _between(1, 1e6),
    "centre_px": _list_of(_between(-1e6, 1e6), 2),
    "coefficients": _list_of(_between(-1e6, 1e6), 0, 4, 5, 8),
    "focus": _between(-20, 20),
    "distance_mm": _between(1, 1e6),
    "covariance": _list_of(_list_of(_between(-1e12, 1e12), *_SIZES), *_SIZES),
    "rms_px": _between(0, 1e4),
    "left_px": _between(0, 1e4),
    "photo_count": _is_whole(0, 10_000),
    "point_count": _is_whole(0, 10_000_000),
    "date": _is_date,
}


def _is_covariance(rows: tuple[tuple[float, ...], ...], size: int) -> bool:
    """Whether it is square, of the right size, symmetric and not negative."""
    if len(rows) != size or any(len(row) != size for row in rows):
        return False
    C = np.array(rows)
    scale = np.sqrt(np.diag(C)) if np.all(np.diag(C) > 0) else None
    if scale is None or not np.allclose(C, C.T, rtol=1e-6, atol=1e-9 * float(np.max(scale)) ** 2):
        return False
    return bool(np.linalg.eigvalsh(C / scale[:, None] / scale).min() > -1e-6)
