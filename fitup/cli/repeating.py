"""`fitup record repeat`: measure a photo again from its record alone, and compare."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.errors import ExitCode

if TYPE_CHECKING:
    from fitup.evidence.judged_record import AnyRecord

__all__ = ["repeat"]


def repeat(record_file: str, photos: Sequence[str]) -> int:
    """Measure the photos with all that the record says was asked, and tell whether the result is the same.

    Exit code 0 when every number is the same to the last bit, else 6.

    Raises
    ------
    UsageError
        When they are other photos than the record's.
    """
    from fitup.cli.screen import print_line
    from fitup.repeating import differing, measured_again

    stored = _record(record_file)
    parts: list[str] = []
    for again in measured_again(stored, photos):
        parts = differing(stored, again)
        if not parts:
            print_line("measured again: every number is the same, bit for bit")
            return int(ExitCode.WITHIN)
    said = f"{', '.join(parts)} differ; {_versions(stored, again)}; {_gaps(stored, again)}"
    print_line(f"measured again: {said}")
    return int(ExitCode.STORAGE)


def _record(record_file: str) -> AnyRecord:
    from fitup.cli.inspecting import is_folder
    from fitup.evidence import read_record
    from fitup.evidence.seam_saving import read_seam_record
    from fitup.evidence.several import record_kind
    from fitup.evidence.sides_saving import read_sides_record

    path = Path(record_file)
    path = path / "record.json" if is_folder(path) else path
    kind = record_kind(path)
    if kind == "seam":
        return read_seam_record(path)
    return read_sides_record(path) if kind == "sides" else read_record(path)


def _versions(stored: AnyRecord, again: AnyRecord) -> str:
    if stored.program == again.program:
        return "the program and its libraries are the same"
    then, now = stored.program.model_dump(), again.program.model_dump()
    changed = [f"{name} {then[name]} then, {now[name]} now" for name in then if then[name] != now[name]]
    return ", ".join(changed)


def _gaps(stored: AnyRecord, again: AnyRecord) -> str:
    """The largest change of a gap, where both have the same stations."""
    pairs = zip(stored.profile.stations, again.profile.stations, strict=False)
    changes = [
        abs(then.gap_mm - now.gap_mm)
        for then, now in pairs
        if then.gap_mm is not None and now.gap_mm is not None and then.station_mm == now.station_mm
    ]
    return f"gaps differ by up to {max(changes):.2g} mm" if changes else "no station can be compared"
