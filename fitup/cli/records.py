"""`fitup record` and `fitup schema`: stored records, shown again."""

from __future__ import annotations

from pathlib import Path

__all__ = ["print_schema", "show"]


def show(file: str, *, as_json: bool) -> int:
    """Show one record file, or the one in a folder."""
    from fitup.cli.inspecting import is_folder
    from fitup.cli.screen import Screen, print_line
    from fitup.evidence import read_record, record_to_json

    path = Path(file)
    if is_folder(path):
        path = path / "record.json"
    record = read_record(path)
    if as_json:
        print_line(record_to_json(record).rstrip("\n"))
    else:
        Screen().show(record)
    return 0


def print_schema() -> int:
    """The JSON Schema of a record on stdout."""
    from fitup.cli.screen import print_line
    from fitup.evidence.record_file import schema_text

    print_line(schema_text().rstrip("\n"))
    return 0
