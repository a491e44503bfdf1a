"""Options that the inspecting commands share; nothing heavy is imported here."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = [
    "Archive",
    "ArrisRadius",
    "Feed",
    "From",
    "IncludedAngle",
    "Job",
    "JointKind",
    "Lens",
    "LensFolder",
    "Limit",
    "NoFiles",
    "NoWire",
    "Oscillation",
    "OtherSheet",
    "Out",
    "Overlap",
    "Part",
    "Photos",
    "PrintRecord",
    "Probability",
    "Rules",
    "Serial",
    "Sheet",
    "Spot",
    "TargetOn",
    "Thickness",
    "To",
    "Travel",
    "Who",
    "Wire",
]

Photos = Annotated[list[str], typer.Argument(metavar="PHOTO_OR_FOLDER", help="Photos, or folders of them.")]
Wire = Annotated[str | None, typer.Option(help="Wire in use: 0.9mm, 035, 0.035in; none for no wire.")]
Sheet = Annotated[str | None, typer.Option(help="Sheet: 1.5mm, '18ga stainless', 0.05in.")]
OtherSheet = Annotated[
    str | None, typer.Option(help="Sheet of the plate without the target, where it is another.")
]
NoWire = Annotated[bool, typer.Option("--no-wire", help="The joint is made without wire.")]
Rules = Annotated[str | None, typer.Option(help="The shop's rules, a .toml file.")]
Feed = Annotated[str | None, typer.Option(help="Wire feed: 12.7mm/s, 0.5in/s, 30in/min, 0.8m/min.")]
Travel = Annotated[str | None, typer.Option(help="Travel along the joint: 7mm/s, 16in/min, 420mm/min.")]
Oscillation = Annotated[str | None, typer.Option(help="Width of the beam's oscillation across the joint.")]
Spot = Annotated[str | None, typer.Option(help="Diameter of the beam's spot.")]
Limit = Annotated[str | None, typer.Option(help="Limit from the procedure; it wins: 0.7mm.")]
JointKind = Annotated[
    str | None,
    typer.Option(help="butt, seam, corner-full-open, -half-open, -flush or -inside, tee, lap, edge."),
]
TargetOn = Annotated[
    str | None,
    typer.Option(help="Plate with the target: standing or base (tee, corner-inside), upper or lower (lap)."),
]
IncludedAngle = Annotated[
    float | None, typer.Option(help="Degrees between the plates inside a full-open corner; 90 if not said.")
]
Overlap = Annotated[
    str | None,
    typer.Option(help="Half-open corner: depth of the other plate's end; half the sheet if not said."),
]
PrintRecord = Annotated[str | None, typer.Option(help="Print check made by `fitup target check`.")]
Thickness = Annotated[str | None, typer.Option(help="Thickness of the target; wins over the print check's.")]
Lens = Annotated[str | None, typer.Option(help="Lens profile to use, made by `fitup lens fit`.")]
LensFolder = Annotated[
    str | None, typer.Option(help="Folder of lens profiles to choose from; the user's own if not said.")
]
ArrisRadius = Annotated[str | None, typer.Option(help="Radius of the sheet's arrises; 0.05mm if not said.")]
From = Annotated[str | None, typer.Option("--from", help="First place looked at, from the datum mark.")]
To = Annotated[str | None, typer.Option("--to", help="Last place looked at, from the datum mark.")]
Probability = Annotated[str | None, typer.Option(help="How sure within and over must be; 0.95 if not said.")]
Out = Annotated[str, typer.Option(help="Folder for the results.")]
Who = Annotated[str, typer.Option(help="Who inspects.")]
Job = Annotated[
    str, typer.Option(help="Job, for the record; or a joint list, joints.toml, that says all of a joint.")
]
Part = Annotated[str, typer.Option(help="Part, for the record.")]
NoFiles = Annotated[bool, typer.Option("--no-files", help="Write no files.")]
Archive = Annotated[
    str | None,
    typer.Option(envvar="FITUP_ARCHIVE", help="The archive: a folder, or a database's URL."),
]
Serial = Annotated[str, typer.Option(help="Serial number of the part, for the archive's entry.")]
