"""The commands and their options; the work is imported when a command runs, so that --help is quick."""

from __future__ import annotations

from typing import Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.cli.comparing import compare
from fitup.cli.later_groups import LATER_GROUPS, LaterGroups
from fitup.cli.reports import report
from fitup.cli.seams import seam
from fitup.cli.serving import serve
from fitup.cli.settling import settle
from fitup.cli.sides import sides

__all__ = ["app"]

_HELP = (
    "Measures the gap along a joint from a phone photo before welding and says where to re-fixture it.\n\n"
    "Exit codes: 0 within, 2 wrong use or bad file, 3 re-fixture, 4 gauge, 5 retake, 6 storage fault. "
    "Of many photos the worst counts, in the order 6, 2, 3, 5, 4, 0."
)

# Plain help: it reads the same in every terminal and loads in half the time.
app = typer.Typer(
    cls=LaterGroups,
    help=_HELP,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
_target = typer.Typer(help="Draw the printed scale target and check a print.", rich_markup_mode=None)
_record = typer.Typer(help="Look at stored records and measure them again.", rich_markup_mode=None)
_lens = typer.Typer(help="Fit and keep lens profiles.", rich_markup_mode=None)
app.add_typer(_target, name="target")
app.add_typer(_lens, name="lens")
app.add_typer(_record, name="record")
for _name, (_, _, _told) in LATER_GROUPS.items():
    app.add_typer(typer.Typer(help=_told, rich_markup_mode=None), name=_name)


def _show_version(wanted: bool) -> None:
    if wanted:
        from fitup import __version__

        print(f"fitup {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Options that belong to no command."""


# The help of the whole program is `_HELP`; the docstring above is for readers of this file.
_root.__doc__ = None


@app.command()
def inspect(
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
    two_targets: Annotated[
        bool, typer.Option("--two-targets", help="A second target lies on the other plate.")
    ] = False,
    one_sheet: Annotated[
        bool, typer.Option("--one-sheet", help="Both targets were cut from one print.")
    ] = False,
    print_record: shared.PrintRecord = None,
    thickness: shared.Thickness = None,
    arris_radius: shared.ArrisRadius = None,
    lens: shared.Lens = None,
    lens_folder: shared.LensFolder = None,
    points: Annotated[
        str | None, typer.Option(help="The joint by two or more places in the photo, px: '120,340 1800,352'.")
    ] = None,
    from_: shared.From = None,
    to: shared.To = None,
    probability: shared.Probability = None,
    out: shared.Out = "fitup-results",
    who: shared.Who = "",
    job: shared.Job = "",
    part: shared.Part = "",
    joint: Annotated[
        list[str] | None,
        typer.Option(help="Joint, for the record; of several in one photo each by its strip: J3=11."),
    ] = None,
    no_files: shared.NoFiles = False,
    archive: shared.Archive = None,
    serial: shared.Serial = "",
    json: Annotated[
        bool, typer.Option("--json", help="One JSON line per joint on stdout, for machines.")
    ] = False,
) -> int:
    """Measure the gap in photos and judge it against the limit.

    A folder stands for the photos directly in it. Each photo gets a folder of its own in --out with
    record.json, overlay.jpg, profile.png and profile.csv. A photo of several joints, each with a strip
    beside it, gives a result for each.
    """
    from fitup.cli.inspecting import Options, inspect_photos

    return inspect_photos(
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
            target_on=target_on,
            included_angle_deg=included_angle,
            overlap=overlap,
            two_targets=two_targets,
            one_sheet=one_sheet,
            print_record=print_record,
            thickness=thickness,
            arris_radius=arris_radius,
            lens=lens,
            lens_folder=lens_folder,
            points=points,
            from_place=from_,
            to_place=to,
            probability=probability,
            out=None if no_files else out,
            archive=archive,
            serial=serial,
            who=who,
            job=job,
            part=part,
            joint=tuple(joint or ()),
            json=json,
        )
    )


app.command()(seam)
app.command()(sides)
app.command()(settle)
app.command()(compare)
app.command()(report)
app.command()(serve)


@_target.command("draw")
def target_draw(
    out: Annotated[str, typer.Option(help="File to write: .pdf, .svg or .png.")],
    form: Annotated[
        str,
        typer.Option(
            help="strip-30x5, strip-8x5, corner-30x5, corner-8x5, magnet-30x5, magnet-8x5 or lens-board."
        ),
    ] = "strip-30x5",
    strip: Annotated[
        int,
        typer.Option(
            help="Strip number, of a corner sheet its first; give every strip in a photo its own number."
        ),
    ] = 1,
    paper: Annotated[str, typer.Option(help="A4 or Letter.")] = "A4",
) -> int:
    """Draw a target to print at 100 %."""
    from fitup.cli.targets import draw

    return draw(form=form, strip=strip, paper=paper, out=out)


@_target.command("check")
def target_check(
    along: Annotated[
        str,
        typer.Option(help="Caliper reading of the crosses along the strip, 140.00 mm as drawn: 140.12mm."),
    ],
    across: Annotated[
        str, typer.Option(help="Caliper reading of the crosses across the strip, 140.00 mm as drawn.")
    ],
    instrument: Annotated[str, typer.Option(help="The caliper, by inventory or serial number.")],
    out: Annotated[str, typer.Option(help="New file for the print check: .json.")],
    u: Annotated[str, typer.Option("--u", help="Standard uncertainty of the caliper.")] = "0.02mm",
    drawn_along: Annotated[
        str, typer.Option(help="Drawn distance along, where it is not 140 mm; default: 140mm.")
    ] = "",
    drawn_across: Annotated[
        str, typer.Option(help="Drawn distance across, where it is not 140 mm; default: 140mm.")
    ] = "",
    thickness: Annotated[
        str, typer.Option(help="Thickness from plate to print when the strip is backed: 0.85mm.")
    ] = "",
    u_thickness: Annotated[
        str, typer.Option(help="Standard uncertainty of the thickness; default: caliper and 0.03 mm.")
    ] = "",
    number: Annotated[str, typer.Option(help="Number of this check; default: a fresh one.")] = "",
    date: Annotated[str, typer.Option(help="Day of the check, YYYY-MM-DD; default: today.")] = "",
    strip: Annotated[str, typer.Option(help="Which print was checked, freely.")] = "",
) -> int:
    """Keep the caliper readings of a print, so that its errors are corrected.

    Measure before cutting: the crosses, 140.00 mm apart as drawn, lie beside the strip on the sheet. Of a
    cut strip, measure the ruler from 0 to 140 along and the pattern across: --drawn-across 35mm.
    """
    from fitup.cli.targets import Readings, check

    readings = Readings(
        along=along,
        across=across,
        instrument=instrument,
        u=u,
        drawn_along=drawn_along,
        drawn_across=drawn_across,
        thickness=thickness,
        u_thickness=u_thickness,
        number=number,
        date=date,
        strip=strip,
    )
    return check(readings, out)


@_lens.command("fit")
def lens_fit(
    photos: Annotated[
        list[str],
        typer.Argument(
            metavar="PHOTO_OR_FOLDER", help="8 to 20 photos of the lens board, or folders of them."
        ),
    ],
    out: Annotated[
        str | None, typer.Option(help="File for the profile instead of the folder: .json.")
    ] = None,
    lens_folder: Annotated[
        str | None, typer.Option(help="Folder to keep the profile in; the user's own if not said.")
    ] = None,
    fisheye: Annotated[
        bool, typer.Option("--fisheye", help="Fit the fisheye model, for ultra-wide lenses.")
    ] = False,
) -> int:
    """Fit the lens of one phone module from photos of the lens board, and keep it."""
    from fitup.cli.lenses import fit

    return fit(photos, out=out, folder=lens_folder, fisheye=fisheye)


@_lens.command("list")
def lens_list(lens_folder: shared.LensFolder = None) -> int:
    """List the lens profiles that are kept."""
    from fitup.cli.lenses import list_kept

    return list_kept(lens_folder)


@_lens.command("show")
def lens_show(
    file: Annotated[str, typer.Argument(metavar="PROFILE", help="A lens profile, .json.")],
) -> int:
    """Show a lens profile."""
    from fitup.cli.lenses import show

    return show(file)


@_record.command("show")
def record_show(
    file: Annotated[str, typer.Argument(metavar="RECORD", help="A record.json, or the folder it lies in.")],
    json: Annotated[bool, typer.Option("--json", help="The record as JSON.")] = False,
) -> int:
    """Show a stored record as it was shown after the inspection."""
    from fitup.cli.records import show

    return show(file, as_json=json)


@_record.command("repeat")
def record_repeat(
    file: Annotated[str, typer.Argument(metavar="RECORD", help="A record.json, or the folder it lies in.")],
    photos: Annotated[
        list[str], typer.Argument(metavar="PHOTO", help="The photo of the record, or all its photos.")
    ],
) -> int:
    """Measure what a record tells of again, from its photos, and compare every number."""
    from fitup.cli.repeating import repeat

    return repeat(file, photos)


@app.command()
def schema(
    seam: Annotated[bool, typer.Option("--seam", help="Of a record of several photos of one joint.")] = False,
    both_sides: Annotated[
        bool, typer.Option("--sides", help="Of a record of a joint photographed from both sides.")
    ] = False,
    settlement: Annotated[
        bool, typer.Option("--settlement", help="Of a settlement, made by `fitup settle`.")
    ] = False,
    comparison: Annotated[
        bool, typer.Option("--comparison", help="Of a comparison, made by `fitup compare`.")
    ] = False,
) -> int:
    """Print the JSON Schema of a record."""
    from fitup.cli.records import print_schema

    return print_schema(
        {"--seam": seam, "--sides": both_sides, "--settlement": settlement, "--comparison": comparison}
    )
