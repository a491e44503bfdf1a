"""`fitup record` and `fitup schema`: stored records, shown again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence import InspectionRecord
    from fitup.evidence.seam_record import SeamRecord

__all__ = ["print_schema", "show"]


def show(file: str, *, as_json: bool) -> int:
    """Show one record file, or the one in a folder."""
    from fitup.cli.inspecting import is_folder
    from fitup.cli.screen import Screen, print_line
    from fitup.evidence import read_record
    from fitup.evidence.record_file import model_to_json
    from fitup.evidence.seam_saving import is_seam_record, read_seam_record

    path = Path(file)
    if is_folder(path):
        path = path / "record.json"
    if is_seam_record(path):
        record: InspectionRecord | SeamRecord = read_seam_record(path)
    else:
        record = read_record(path)
    if as_json:
        print_line(model_to_json(record).rstrip("\n"))
    else:
        Screen().show_any(record)
    return 0


def print_schema(*, seam: bool = False) -> int:
    """The JSON Schema of a record on stdout."""
    from fitup.cli.screen import print_line
    from fitup.evidence.record_file import schema_text
    from fitup.evidence.seam_saving import seam_schema_text

    print_line((seam_schema_text() if seam else schema_text()).rstrip("\n"))
    return 0
