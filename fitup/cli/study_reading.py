"""What `fitup study read` does: settings for every photo of a plan, readings to a file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from fitup.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitup.cli.inspecting import Options
    from fitup.inspection import InspectionSettings
    from fitup.study.photo_readings import PhotoReading, PlannedPhoto

__all__ = ["ReadOptions", "read_study"]


@dataclass(frozen=True, kw_only=True)
class ReadOptions:
    """The command's options as written."""

    plan: str
    photos: str
    out: str
    reading: str
    wire: str | None
    no_wire: bool
    sheet: str | None
    joint_kind: str | None
    print_record: str | None
    lens: str | None
    lens_folder: str | None
    from_place: str | None
    to_place: str | None
    job: str


def read_study(options: ReadOptions) -> int:
    """Inspect all photos of the plan; exit code 5 where one gave no reading.

    Raises
    ------
    UsageError, StorageError
        When an option or the plan cannot be used, before any photo is looked at.
    """
    from fitup.cli.boundary import report
    from fitup.cli.screen import print_line
    from fitup.evidence.words import COVERAGE_FACTOR
    from fitup.evidence.writing import check_folder, write_new_file
    from fitup.study.photo_readings import read_photos, read_plan, readings_csv

    if options.reading not in ("largest", "mean"):
        raise UsageError(f"--reading is largest or mean, not {options.reading[:40]!r}.")
    taken = cast("Literal['largest', 'mean']", options.reading)
    target = Path(options.out)
    if target.suffix.lower() != ".csv":
        raise UsageError("--out needs a file that ends in .csv: give readings.csv.")
    if target.exists():
        raise UsageError(_there_already(target))
    planned = read_plan(options.plan)
    settings_of = _settings(options)
    check_folder(target.parent)
    found: list[PhotoReading] = []
    for one in read_photos(planned, Path(options.photos), settings_of, taken):
        found.append(one)
        plan = one.planned
        name = f"{plan.photo}: part {plan.part}, {plan.person}, repeat {plan.repeat}"
        if one.fault is None:
            print_line(
                f"{name}: {one.gap_mm:.3f} ± {COVERAGE_FACTOR * one.u_mm:.3f} mm at {one.place_mm:.0f} mm"
            )
        else:
            print_line(f"{name}: no reading")
            report(one.fault, plan.photo)
    got = sum(one.fault is None for one in found)
    if not got:
        raise UsageError("no photo gave a reading, so that no file was written.")
    if not write_new_file(target, readings_csv(found)):
        raise UsageError(_there_already(target))
    print_line(f"{target}: {got} of {len(found)} photos gave a reading ({options.reading} gap)")
    return 0 if got == len(found) else int(ExitCode.RETAKE)


def _there_already(target: Path) -> str:
    return f"{target.name} is there already: name a new file, nothing is written over."


def _settings(options: ReadOptions) -> Callable[[PlannedPhoto], InspectionSettings]:
    """The settings of a photo: those of the joint list's joint of that name, else one for all."""
    from fitup.cli.given import read_settings
    from fitup.cli.job_list import JobList, names_a_list

    given = _as_inspecting(options)
    if not options.job:
        one = read_settings(given)
        return lambda _: one
    if not names_a_list(options.job):
        raise UsageError("--job needs a joint list that ends in .toml.")
    known: dict[str, InspectionSettings] = {}

    def of(planned: PlannedPhoto) -> InspectionSettings:
        if planned.part not in known:
            known[planned.part] = JobList(replace(given, joint=(planned.part,))).one()[0]
        return known[planned.part]

    return of


def _as_inspecting(options: ReadOptions) -> Options:
    from fitup.cli.inspecting import Options

    return Options(
        photos=(),
        wire=options.wire,
        no_wire=options.no_wire,
        sheet=options.sheet,
        joint_kind=options.joint_kind,
        print_record=options.print_record,
        lens=options.lens,
        lens_folder=options.lens_folder,
        from_place=options.from_place,
        to_place=options.to_place,
        job=options.job,
    )
