"""`fitup sides`, with its options: two photos of one joint, one from either side, gap and step told apart."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.cli.archiving import added_line, keeper_of
from fitup.cli.inspecting import Options, exit_code_of, find_photos
from fitup.cli.job_list import one_joint
from fitup.cli.seams import print_json_line

__all__ = ["sides"]


def sides(
    photos: Annotated[list[str], typer.Argument(metavar="PHOTO", help="Two photos, or a folder of them.")],
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
    joint_kind: Annotated[str | None, typer.Option(help="butt (default) or seam.")] = None,
    print_record: shared.PrintRecord = None,
    thickness: shared.Thickness = None,
    arris_radius: shared.ArrisRadius = None,
    lens: shared.Lens = None,
    lens_folder: shared.LensFolder = None,
    from_: shared.From = None,
    to: shared.To = None,
    probability: shared.Probability = None,
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
    """Tell gap and step between the plates apart, from two photos of one joint, one from either side.

    The camera stands some 15 degrees to one side of the joint, then to the other; strip and parts lie still.
    The joint gets one folder in --out with record.json, profile.png, profile.csv and an overlay per photo.
    """
    return _inspect(
        Options(
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
    )


def _inspect(options: Options) -> int:
    """Inspect both photos as one joint and give the exit code of its verdict.

    Raises
    ------
    UsageError, PhotoError, RetakeError, StorageError
        When an option or a photo cannot be used, or nothing can be written.
    """
    settings, filing = one_joint(options)
    photos, faults = find_photos(options.photos)
    keeper = keeper_of(options.archive, options.serial, no_files=options.out is None)
    if faults:
        raise faults[0]
    if options.out is not None:
        from fitup.evidence.writing import check_folder

        check_folder(Path(options.out))
    from fitup.evidence.sides_building import build_sides_record
    from fitup.evidence.sides_saving import save_sides
    from fitup.parallel import usual_workers
    from fitup.sides import inspect_sides

    workers = usual_workers(len(photos))
    joint = inspect_sides(photos, settings, workers=workers)
    if options.out is None:
        record, folder = build_sides_record(joint, filing), None
    else:
        saved = save_sides(joint, options.out, filing=filing, workers=workers)
        record, folder = saved.record, saved.folder
    added = None if keeper is None or folder is None else keeper.keep(folder, photos)
    code = exit_code_of(record.verdict.word)
    if options.json:
        print_json_line(options.photos, record, folder, code, added)
    else:
        from fitup.cli.screen import Screen

        screen = Screen()
        screen.show_sides(record, folder)
        if added is not None:
            screen.tell("archive", added_line(added))
    return code
