"""`fitup inspect`: options to settings, photos one by one, the worst exit code."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from fitup.cli.archiving import Keeper, added_line, archived_json, keeper_of
from fitup.cli.boundary import report
from fitup.cli.given import parse_points, read_settings
from fitup.cli.job_list import JobList, filing_of, names_a_list
from fitup.cli.joint_names import parse_joints
from fitup.errors import ExitCode, FitupError, UsageError

if TYPE_CHECKING:
    from fitup.cli.screen import Screen
    from fitup.evidence import Filing, InspectionRecord
    from fitup.evidence.archive.archive import Added
    from fitup.inspection import Inspection, InspectionSettings

    _Found: TypeAlias = tuple[Inspection | None, FitupError | None, Filing]
    _Inspecting: TypeAlias = Callable[[Path], list[_Found]]

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


@dataclass(frozen=True, kw_only=True)
class Options:
    """The command's options as written."""

    photos: tuple[str, ...]
    wire: str | None = None
    no_wire: bool = False
    sheet: str | None = None
    other_sheet: str | None = None
    limit: str | None = None
    rules: str | None = None
    feed: str | None = None
    travel: str | None = None
    oscillation: str | None = None
    spot: str | None = None
    joint_kind: str | None = None
    target_on: str | None = None
    included_angle_deg: float | None = None
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
    probability: str | None = None
    out: str | None = None
    """Folder for the results; None: no files."""
    archive: str | None = None
    serial: str = ""
    who: str = ""
    job: str = ""
    """The job, or a joint list, `.toml`."""
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
    names = parse_joints(options.joint)[1]
    if names_a_list(options.job):
        inspect = _as_list_says(JobList(options))
    else:
        settings = read_settings(options)
        if names and settings.two_targets:
            raise UsageError(
                "--joint NAME=STRIP and --two-targets exclude each other: give the joint's name alone."
            )
        inspect = _as_options_say(settings, options)
    photos, faults = find_photos(options.photos)
    if options.points is not None and len(photos) > 1:
        raise UsageError("--points belong to one photo: give one photo with them.")
    if names and len(photos) > 1:
        raise UsageError("--joint NAME=STRIP belongs to one photo: give one photo with it.")
    keeper = keeper_of(options.archive, options.serial, no_files=options.out is None)
    if options.out is not None and photos:
        from fitup.evidence.writing import check_folder

        check_folder(Path(options.out))
    return worst([*(report(fault) for fault in faults), *_run_all(photos, inspect, options, keeper)])


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


def exit_code_of(verdict: str) -> int:
    """The exit code of a verdict's word."""
    return int(_EXIT_CODES[verdict])


def is_folder(path: Path) -> bool:
    """Whether it is a folder; a name that no file system takes is none."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


@dataclass(frozen=True, kw_only=True)
class _Done:
    """One inspected joint."""

    path: Path
    record: InspectionRecord
    folder: Path | None
    archived: Added | None = None

    @property
    def code(self) -> int:
        return exit_code_of(self.record.verdict.word)


def _run_all(photos: list[Path], inspect: _Inspecting, options: Options, keeper: Keeper | None) -> list[int]:
    from fitup.cli.screen import ProgressBar, Screen

    screen = None if options.json else Screen()
    codes = []
    with ProgressBar(len(photos)) as bar:
        for photo in photos:
            results = _run_one(photo, inspect, options, keeper)
            with bar.out_of_the_way():
                codes += [_tell(photo, result, screen, alone=len(photos) == 1) for result in results]
    if screen is not None and len(photos) > 1:
        counts = Counter(codes)
        screen.summary([(_WORDS[code], counts[code]) for code in WORST_FIRST], options.out)
    return codes


def _run_one(
    path: Path, inspect: _Inspecting, options: Options, keeper: Keeper | None
) -> list[_Done | Exception]:
    """Every joint of one photo, kept; an error takes the place of a joint, or of all, and stops nothing."""
    try:
        found = inspect(path)
    except Exception as error:
        return [error]
    results: list[_Done | Exception] = []
    for inspection, fault, filing in found:
        try:
            if inspection is None:
                raise fault or AssertionError
            done = _keep(path, inspection, filing, options.out, len(found) > 1)
            results.append(_archived(done, keeper))
        except Exception as error:
            results.append(error)
    return results


def _archived(done: _Done, keeper: Keeper | None) -> _Done:
    """The same, in the archive too where there is one."""
    if keeper is None or done.folder is None:
        return done
    return replace(done, archived=keeper.keep(done.folder, [done.path]))


def _as_options_say(settings: InspectionSettings, options: Options) -> _Inspecting:
    """Inspect all joints of a photo, or those that are named with their strips, by the same settings."""
    name, names = parse_joints(options.joint)

    def inspect(path: Path) -> list[_Found]:
        from fitup.joints import inspect_joints

        found = inspect_joints(path, settings, names)
        own = {one.name: one.name if names or len(found) > 1 else "" for one in found}
        return [
            (one.inspection, one.fault, filing_of(options, ", ".join(filter(None, (name, own[one.name])))))
            for one in found
        ]

    return inspect


def _as_list_says(listed: JobList) -> _Inspecting:
    """Inspect the joints of a photo that a joint list tells of, each by its own settings."""

    def inspect(path: Path) -> list[_Found]:
        return [
            (one.inspection, one.fault, listed.filing(one.joint.name if one.joint else "", one.name))
            for one in listed.inspect(path)
        ]

    return inspect


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
    if result.archived is not None and screen is not None:
        screen.tell("archive", added_line(result.archived))
    return result.code


def _print_json(done: _Done) -> None:
    from fitup.cli.screen import print_line

    line = {
        "photo": _shown(done.path),
        "exit_code": done.code,
        "folder": None if done.folder is None else _shown(done.folder),
        **archived_json(done.archived),
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
