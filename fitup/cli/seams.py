"""`fitup seam`, with its options: several photos of one joint, one result."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.cli.archiving import Keeper, added_line, archived_json, keeper_of
from fitup.cli.boundary import report
from fitup.cli.inspecting import Options, exit_code_of, find_photos, worst
from fitup.cli.job_list import one_joint
from fitup.errors import ExitCode, FitupError, UsageError

if TYPE_CHECKING:
    from fitup.evidence import Filing
    from fitup.evidence.archive.archive import Added
    from fitup.evidence.seam_record import SeamRecord
    from fitup.evidence.sides_record import SidesRecord
    from fitup.photo_strips import PhotoStrips
    from fitup.seam import Seam

__all__ = ["inspect_long_joint", "parse_strips", "print_json_line", "seam"]

_STRIPS = re.compile(r"\s*([0-9]{1,3})\s*(?:-|–|\.\.|to)\s*([0-9]{1,3})\s*")


def seam(
    photos: shared.Photos,
    wire: shared.Wire = None,
    no_wire: shared.NoWire = False,
    sheet: shared.Sheet = None,
    other_sheet: shared.OtherSheet = None,
    limit: shared.Limit = None,
    rules: shared.Rules = None,
    feed: shared.Feed = None,
    travel: shared.Travel = None,
    oscillation: shared.Oscillation = None,
    spot: shared.Spot = None,
    joint_kind: shared.JointKind = None,
    target_on: shared.TargetOn = None,
    included_angle: shared.IncludedAngle = None,
    overlap: shared.Overlap = None,
    print_record: shared.PrintRecord = None,
    thickness: shared.Thickness = None,
    arris_radius: shared.ArrisRadius = None,
    lens: shared.Lens = None,
    lens_folder: shared.LensFolder = None,
    strips: Annotated[
        str | None,
        typer.Option(help="First and last strip of the joint: 1-4; all that are seen if not said."),
    ] = None,
    from_: shared.From = None,
    to: shared.To = None,
    probability: shared.Probability = None,
    workers: Annotated[
        int | None, typer.Option(min=1, max=64, help="Photos measured at once; one a core if not said.")
    ] = None,
    out: shared.Out = "fitup-results",
    who: shared.Who = "",
    job: shared.Job = "",
    part: shared.Part = "",
    joint: Annotated[str, typer.Option(help="Joint, for the record and the folder's name.")] = "",
    no_files: shared.NoFiles = False,
    archive: shared.Archive = None,
    serial: shared.Serial = "",
    json: Annotated[
        bool, typer.Option("--json", help="One JSON line for the joint on stdout, for machines.")
    ] = False,
) -> int:
    """Measure one joint that is longer than a photo from several photos of it.

    Strips lie end to end beside the joint, in the order of their numbers. Photos may come in any order. The
    joint gets one folder in --out with record.json, profile.png, profile.csv and an overlay per photo.
    """
    options = Options(
        photos=tuple(photos),
        wire=wire,
        no_wire=no_wire,
        sheet=sheet,
        other_sheet=other_sheet,
        limit=limit,
        rules=rules,
        feed=feed,
        travel=travel,
        oscillation=oscillation,
        spot=spot,
        joint_kind=joint_kind,
        target_on=target_on,
        included_angle_deg=included_angle,
        overlap=overlap,
        print_record=print_record,
        thickness=thickness,
        arris_radius=arris_radius,
        lens=lens,
        lens_folder=lens_folder,
        from_place=from_,
        to_place=to,
        probability=probability,
        out=None if no_files else out,
        archive=archive,
        serial=serial,
        who=who,
        job=job,
        part=part,
        joint=(joint,) if joint else (),
        json=json,
    )
    return inspect_long_joint(options, strips, workers)


def inspect_long_joint(options: Options, strips: str | None = None, workers: int | None = None) -> int:
    """Inspect all photos as one joint and give the exit code of its verdict.

    A photo that cannot be measured is told of and leaves a hole. A file that cannot be used as a photo
    counts in the exit code as with `fitup inspect`.

    Raises
    ------
    UsageError, StorageError, RetakeError
        When an option cannot be used, nothing can be written, or photos and strips contradict one another.
    """
    settings, filing = one_joint(options, usual_kind="seam")
    named = None if strips is None else parse_strips(strips)
    photos, faults = find_photos(options.photos)
    keeper = keeper_of(options.archive, options.serial, no_files=options.out is None)
    if options.out is not None and photos:
        from fitup.evidence.writing import check_folder

        check_folder(Path(options.out))
    codes = [report(fault) for fault in faults]
    if not photos:
        return worst(codes)
    from fitup.cli.screen import ProgressBar
    from fitup.parallel import usual_workers
    from fitup.seam import inspect_seam

    workers = usual_workers(len(photos)) if workers is None else workers
    alone = len(photos) == 1
    with ProgressBar(len(photos)) as bar:

        def told(_: int, result: PhotoStrips) -> None:
            with bar.out_of_the_way():
                if result.fault is not None and not alone:
                    codes.append(_tell_fault(result))

        try:
            seam = inspect_seam(photos, settings, strips=named, workers=workers, told=told)
        except FitupError:
            if len(codes) == len(photos) + len(faults):
                return worst(codes)  # no photo gave anything, and each was told of
            raise
    codes = [code for code in codes if code != int(ExitCode.RETAKE)]  # what is missing shows in the verdict
    return worst([*codes, _keep_and_show(seam, options, filing, workers, photos, keeper)])


def parse_strips(text: str) -> tuple[int, int]:
    """Numbers of the first and the last strip beside the joint, written as '11-14'.

    Raises
    ------
    UsageError
        When it is no such pair or the first is larger than the last.
    """
    pair = _STRIPS.fullmatch(text)
    if pair is None or not 1 <= int(pair[1]) <= int(pair[2]):
        raise UsageError(
            f"--strips needs the first and the last strip beside the joint, such as 1-4, not {text[:40]!r}."
        )
    return int(pair[1]), int(pair[2])


def _tell_fault(result: PhotoStrips) -> int:
    """One line for a photo that gave nothing."""
    fault = result.fault
    assert fault is not None
    return report(fault if result.name in str(fault) else _with_name(result.name, fault))


def _with_name(name: str, fault: FitupError) -> FitupError:
    """The same error, saying in which photo."""
    named = type(fault).__new__(type(fault))
    named.args = (f"{name}: {fault}",)
    return named


def _keep_and_show(
    seam: Seam,
    options: Options,
    filing: Filing,
    workers: int,
    photos: Sequence[Path],
    keeper: Keeper | None,
) -> int:
    from fitup.cli.screen import Screen
    from fitup.evidence.seam_building import build_seam_record
    from fitup.evidence.seam_saving import save_seam

    if options.out is None:
        record, folder = build_seam_record(seam, filing), None
    else:
        saved = save_seam(seam, options.out, filing=filing, workers=workers)
        record, folder = saved.record, saved.folder
    added = None if keeper is None or folder is None else keeper.keep(folder, photos)
    code = exit_code_of(record.verdict.word)
    if options.json:
        print_json_line(options.photos, record, folder, code, added)
    else:
        screen = Screen()
        screen.show_seam(record, folder)
        if added is not None:
            screen.tell("archive", added_line(added))
    return code


def print_json_line(
    photos: Sequence[str],
    record: SeamRecord | SidesRecord,
    folder: Path | None,
    code: int,
    added: Added | None = None,
) -> None:
    """The result of several photos as one line for machines."""
    from fitup.cli.screen import print_line
    from fitup.evidence.writing import printable_name

    line = {
        "photos": [printable_name(name) for name in photos],
        "exit_code": code,
        "folder": None if folder is None else printable_name(str(folder)),
        **archived_json(added),
        "record": record.model_dump(mode="json"),
    }
    print_line(json.dumps(line, allow_nan=False))
