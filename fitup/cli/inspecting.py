"""`fitup inspect`: options to settings, photos one by one, the worst exit code."""

from __future__ import annotations

import json
import os
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.cli.boundary import report
from fitup.cli.joint_names import parse_joints
from fitup.errors import ExitCode, FitupError, UsageError

if TYPE_CHECKING:
    from fitup.cli.screen import Screen
    from fitup.evidence import Filing, InspectionRecord
    from fitup.inspection import Inspection, InspectionSettings

__all__ = [
    "PHOTO_SUFFIXES",
    "WORST_FIRST",
    "Options",
    "exit_code_of",
    "filing_of",
    "find_photos",
    "inspect_photos",
    "is_folder",
    "parse_points",
    "read_settings",
    "worst",
]

# Endings that are taken for photos in a folder; a file that is named is taken whatever its ending.
PHOTO_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".jfif", ".mpo", ".png", ".webp", ".tif", ".tiff"}
    | {".heic", ".heif", ".hif", ".avif"}
)
# Exit codes of many photos: a fault before a finding, a wide gap before one that was not seen.
WORST_FIRST = (1, 6, 2, 3, 5, 4, 0)

_EXIT_CODES = {
    "within": ExitCode.WITHIN,
    "re-fixture": ExitCode.RE_FIXTURE,
    "gauge": ExitCode.GAUGE,
    "retake": ExitCode.RETAKE,
}
_WORDS = {
    0: "within",
    1: "crashed",
    2: "not readable",
    3: "re-fixture",
    4: "gauge",
    5: "retake",
    6: "not stored",
}
_POINT = re.compile(r"([+-]?[0-9]{1,7}(?:\.[0-9]{1,6})?),([+-]?[0-9]{1,7}(?:\.[0-9]{1,6})?)")
_MOST_POINTS = 1000


@dataclass(frozen=True, kw_only=True)
class Options:
    """The command's options as written."""

    photos: tuple[str, ...]
    wire: str
    sheet: str | None = None
    limit: str | None = None
    joint_kind: str = "butt"
    target_on: str | None = None
    included_angle_deg: float = 90.0
    overlap: str | None = None
    two_targets: bool = False
    one_sheet: bool = False
    print_record: str | None = None
    thickness: str | None = None
    arris_radius: str | None = None
    lens: str | None = None
    lens_folder: str | None = None
    points: str | None = None
    from_place: str | None = None
    to_place: str | None = None
    probability: str = "0.95"
    out: str | None = None
    """Folder for the results; None: no files."""
    who: str = ""
    job: str = ""
    part: str = ""
    joint: tuple[str, ...] = ()
    """One name, or several written as 'J3=11', a name for each strip."""
    json: bool = False


def inspect_photos(options: Options) -> int:
    """Inspect all photos and give the worst exit code.

    Raises
    ------
    UsageError, StorageError
        When an option cannot be used, before any photo is looked at. Faults of single photos are
        reported one by one and stop nothing.
    """
    settings = read_settings(options)
    names = parse_joints(options.joint)[1]
    photos, faults = find_photos(options.photos)
    if settings.points_px is not None and len(photos) > 1:
        raise UsageError("--points belong to one photo: give one photo with them.")
    if names and len(photos) > 1:
        raise UsageError("--joint NAME=STRIP belongs to one photo: give one photo with it.")
    if names and settings.two_targets:
        raise UsageError(
            "--joint NAME=STRIP and --two-targets exclude each other: give the joint's name alone."
        )
    if options.out is not None and photos:
        from fitup.evidence.writing import check_folder

        check_folder(Path(options.out))
    return worst([*(report(fault) for fault in faults), *_run_all(photos, settings, options)])


def find_photos(names: Sequence[str]) -> tuple[list[Path], list[UsageError]]:
    """Photos named or directly in the folders named, each once, and what is wrong with a folder.

    The photos of a folder are sorted by name. A name that does not exist passes as a photo: opening it
    will say what is wrong.
    """
    found: dict[str, Path] = {}
    faults = []
    for name in names:
        try:
            for path in _photos_of(name):
                found.setdefault(_real(path), path)
        except UsageError as fault:
            faults.append(fault)
    return list(found.values()), faults


def _real(path: Path) -> str:
    try:
        return os.path.realpath(path)
    except (OSError, ValueError):  # a NUL in the name
        return str(path)


def worst(codes: Sequence[int]) -> int:
    """The exit code of many photos, by `WORST_FIRST`."""
    return min(codes, key=WORST_FIRST.index, default=int(ExitCode.WITHIN))


def parse_points(text: str) -> list[tuple[float, float]]:
    """Places in the photo written as 'u,v u,v ...' in px.

    Raises
    ------
    UsageError
        When there are fewer than two or one is no pair of numbers.
    """
    words = text.replace(";", " ").split()
    pairs = [_POINT.fullmatch(word) for word in words]
    if len(words) < 2 or len(words) > _MOST_POINTS or not all(pairs):
        raise UsageError(
            "--points needs two or more places in the photo as 'u,v u,v' in px, such as '120,340 1800,352'."
        )
    return [(float(pair[1]), float(pair[2])) for pair in pairs if pair]


def _photos_of(name: str) -> list[Path]:
    path = Path(name)
    if not is_folder(path):
        return [path]  # whatever is wrong with it, open_photo says so
    try:
        inside = sorted(entry for entry in path.iterdir() if not entry.name.startswith("."))
    except OSError as error:
        raise UsageError(
            f"the folder {path.name} cannot be read: {(error.strerror or '').lower()}."
        ) from None
    photos = [entry for entry in inside if entry.suffix.lower() in PHOTO_SUFFIXES and not entry.is_dir()]
    if not photos:
        raise UsageError(f"the folder {name} holds no photo (.jpg, .png, .heic, ...): name the right folder.")
    return photos


def _radius(text: str | None) -> float:
    """Radius of the sheet's arrises [mm]; nothing said is the usual one."""
    from fitup.profile import ARRIS_RADIUS_MM
    from fitup.verdict import parse_length

    radius = ARRIS_RADIUS_MM if text is None else parse_length(text, "the arris radius")
    if radius > 0.3:
        raise UsageError(f"An arris radius of {radius:g} mm is no sharp edge; give up to 0.3 mm.")
    return radius


def read_settings(options: Options) -> InspectionSettings:
    """All options read and checked."""
    import numpy as np

    from fitup.cli.lenses import profiles_for_inspecting
    from fitup.inspection import InspectionSettings, limit_of
    from fitup.scale import load_lens_profile, load_print_record
    from fitup.verdict import (
        DecisionRule,
        parse_length,
        parse_length_or_zero,
        parse_sheet,
        parse_wire,
    )

    points = None if options.points is None else np.array(parse_points(options.points))
    settings = InspectionSettings(
        wire=parse_wire(options.wire),
        sheet=None if options.sheet is None else parse_sheet(options.sheet),
        joint_kind=options.joint_kind,
        target_on=options.target_on,
        included_angle_deg=options.included_angle_deg,
        overlap_mm=None if options.overlap is None else parse_length(options.overlap, "the overlap"),
        two_targets=options.two_targets,
        one_sheet=options.one_sheet,
        procedure_limit_mm=None if options.limit is None else parse_length(options.limit, "the limit"),
        decision=DecisionRule(conformance_probability=_probability(options.probability)),
        print_record=None if options.print_record is None else load_print_record(options.print_record),
        target_thickness_mm=None
        if options.thickness is None
        else parse_length_or_zero(options.thickness, "the target's thickness"),
        arris_radius_mm=_radius(options.arris_radius),
        lens=None if options.lens is None else load_lens_profile(options.lens),
        lens_profiles=profiles_for_inspecting(options.lens_folder) if options.lens is None else (),
        points_px=points,
        from_mm=_place(options.from_place, "--from"),
        to_mm=_place(options.to_place, "--to"),
    )
    # Wrong limits are found here once and not at every photo.
    limit_of(settings)
    if settings.one_sheet and settings.setup.opens_in_plate_plane and not settings.two_targets:
        raise UsageError("--one-sheet is said of two targets: give --two-targets with it.")
    if settings.from_mm is not None and settings.to_mm is not None and settings.from_mm >= settings.to_mm:
        raise UsageError("--from must lie before --to.")
    return settings


def exit_code_of(verdict: str) -> int:
    """The exit code of a verdict's word."""
    return int(_EXIT_CODES[verdict])


def is_folder(path: Path) -> bool:
    """Whether it is a folder; a name that no file system takes is none."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def _probability(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"--probability needs a number such as 0.95, not {text[:40]!r}.") from None


def _place(text: str | None, option: str) -> float | None:
    """A place along the joint in mm; unlike a length it may be zero or negative."""
    from fitup.verdict import parse_place

    return None if text is None else parse_place(text, option)


@dataclass(frozen=True, kw_only=True)
class _Done:
    """One inspected joint."""

    path: Path
    record: InspectionRecord
    folder: Path | None

    @property
    def code(self) -> int:
        return exit_code_of(self.record.verdict.word)


def _run_all(photos: list[Path], settings: InspectionSettings, options: Options) -> list[int]:
    from fitup.cli.screen import ProgressBar, Screen

    screen = None if options.json else Screen()
    codes = []
    with ProgressBar(len(photos)) as bar:
        for photo in photos:
            results = _run_one(photo, settings, options)
            with bar.out_of_the_way():
                codes += [_tell(photo, result, screen, alone=len(photos) == 1) for result in results]
    if screen is not None and len(photos) > 1:
        counts = Counter(codes)
        screen.summary([(_WORDS[code], counts[code]) for code in WORST_FIRST], options.out)
    return codes


def _run_one(path: Path, settings: InspectionSettings, options: Options) -> list[_Done | Exception]:
    """Every joint of one photo, kept; an error takes the place of a joint, or of all, and stops nothing."""
    from fitup.joints import inspect_joints

    try:
        name, names = parse_joints(options.joint)
        found = inspect_joints(path, settings, names)
    except Exception as error:
        return [error]
    several = len(found) > 1
    results: list[_Done | Exception] = []
    for one in found:
        own = one.name if names or several else ""
        joint = f"{name}, {own}" if name and own else name or own
        try:
            if one.inspection is None:
                raise one.fault or AssertionError
            results.append(_keep(path, one.inspection, filing_of(options, joint), options.out, several))
        except Exception as error:
            results.append(error)
    return results


def _keep(path: Path, inspection: Inspection, filing: Filing, out: str | None, several: bool) -> _Done:
    from fitup.evidence import build_record, save_inspection

    if out is None:
        return _Done(path=path, record=build_record(inspection, filing), folder=None)
    saved = save_inspection(
        inspection, out, photo_path=path, filing=filing, suffix=filing.joint if several else ""
    )
    return _Done(path=path, record=saved.record, folder=saved.folder)


def _tell(photo: Path, result: _Done | Exception, screen: Screen | None, *, alone: bool) -> int:
    """Show one result, or say on stderr why there is none; gives its exit code."""
    if isinstance(result, Exception):
        code = report(result, about=photo.name)
        if screen is None:
            _print_json_error(photo, result, code)
        return code
    if screen is None:
        _print_json(result)
    elif alone:
        screen.show(result.record, result.folder)
    else:
        screen.show_short(result.record)
    return result.code


def filing_of(options: Options, joint: str) -> Filing:
    """Who inspects what, as the record keeps it."""
    from fitup.evidence import Filing

    return replace(Filing(), who=options.who, job=options.job, part=options.part, joint=joint)


def _print_json(done: _Done) -> None:
    from fitup.cli.screen import print_line

    line = {
        "photo": _shown(done.path),
        "exit_code": done.code,
        "folder": None if done.folder is None else _shown(done.folder),
        "record": done.record.model_dump(mode="json"),
    }
    print_line(json.dumps(line, allow_nan=False))


def _shown(path: Path) -> str:
    from fitup.evidence.writing import printable_name

    return printable_name(str(path))


def _print_json_error(path: Path, error: Exception, code: int) -> None:
    from fitup.cli.screen import print_line

    message = str(error) if isinstance(error, FitupError) else type(error).__name__
    reason = getattr(error, "reason", None)
    line = {"photo": _shown(path), "exit_code": code, "error": message, "reason": reason}
    print_line(json.dumps(line, allow_nan=False))
