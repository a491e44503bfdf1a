"""`fitup record` and `fitup schema`: stored records, shown again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence import InspectionRecord
    from fitup.evidence.seam_record import SeamRecord
    from fitup.evidence.sides_record import SidesRecord

__all__ = ["print_schema", "show"]


def show(file: str, *, as_json: bool) -> int:
    """Show one record file, or the one in a folder."""
    from fitup.cli.inspecting import is_folder
    from fitup.cli.screen import Screen, print_line
    from fitup.evidence import read_record
    from fitup.evidence.record_file import model_to_json
    from fitup.evidence.seam_saving import read_seam_record
    from fitup.evidence.several import record_kind
    from fitup.evidence.sides_saving import read_sides_record

    path = Path(file)
    if is_folder(path):
        path = path / "record.json"
    kind = record_kind(path)
    record: InspectionRecord | SeamRecord | SidesRecord
    if kind == "seam":
        record = read_seam_record(path)
    elif kind == "sides":
        record = read_sides_record(path)
    else:
        record = read_record(path)
    if as_json:
        print_line(model_to_json(record).rstrip("\n"))
    else:
        Screen().show_any(record)
    return 0


def print_schema(*, seam: bool = False, sides: bool = False) -> int:
    """The JSON Schema of a record on stdout."""
    from fitup.cli.screen import print_line
    from fitup.errors import UsageError
    from fitup.evidence.record_file import schema_text
    from fitup.evidence.seam_saving import seam_schema_text
    from fitup.evidence.sides_saving import sides_schema_text

    if seam and sides:
        raise UsageError("--seam and --sides are two kinds of record: give one of them.")
    text = seam_schema_text() if seam else sides_schema_text() if sides else schema_text()
    print_line(text.rstrip("\n"))
    return 0
