"""The print check: caliper readings of the printed crosses, kept as a numbered record.

Printers stretch paper differently along and across the feed, by up to some percent. A record holds
the readings themselves; the factors are worked out from them, so that it cannot contradict itself.
"""

from __future__ import annotations

import json
import math
import os
import re
import tempfile
from dataclasses import asdict, dataclass, fields
from datetime import date as calendar_date
from pathlib import Path
from typing import Any

from fitup.errors import StorageError, UsageError
from fitup.scale.gap_correction import GapCorrection, correction_from

__all__ = [
    "CROSS_DISTANCE_MM",
    "DEFAULT_PRINT_U_RELATIVE",
    "THICKNESS_LIMIT_MM",
    "U_SEAT_MM",
    "PrintRecord",
    "load_print_record",
    "save_print_record",
]

CROSS_DISTANCE_MM = 140.0  # within the reach of a 150 mm (6 inch) caliper, long on both papers
DEFAULT_PRINT_U_RELATIVE = 0.005  # unchecked print; up to 0.5 % between the axes is often reported
_LARGEST_ERROR = 0.05
_FORMAT = "fitup print check 3"
_SECOND, _FIRST = "fitup print check 2", "fitup print check 1"
_LATER_NAMES = {  # what was no part of the check yet
    _FORMAT: (),
    _SECOND: ("correction",),
    _FIRST: ("correction", "thickness_mm", "u_thickness_mm"),
}
THICKNESS_LIMIT_MM = 20.0
# Glue, magnet sheet giving way under the jaws, strip not lying quite tight; common practice, no source.
U_SEAT_MM = 0.03
_U_LIMIT_MM = 1.0
_U_AIMING_MM = 0.05  # setting caliper tips on a printed cross by eye; common practice, no source


@dataclass(frozen=True, kw_only=True)
class PrintRecord:
    """One caliper check of one print.

    along_mm and across_mm are the mean readings of the crosses along and across the strip, whose
    drawn distance is nominal_along_mm and nominal_across_mm; u_instrument_mm is the caliper's standard
    uncertainty (a certificate's expanded uncertainty divided by 2). `strip` says which print, freely.
    thickness_mm, from plate to print, is known where the print is backed by something (a magnet sheet, a
    rule) and then has its own standard uncertainty; None: a print on paper. `correction` is one of the gap
    that a person accepted after a bias study with this print.

    Raises UsageError with what is wrong for readings that cannot be true.
    """

    number: str
    date: str
    instrument: str
    u_instrument_mm: float
    along_mm: float
    across_mm: float
    nominal_along_mm: float = CROSS_DISTANCE_MM
    nominal_across_mm: float = CROSS_DISTANCE_MM
    strip: str = ""
    thickness_mm: float | None = None
    u_thickness_mm: float | None = None
    correction: GapCorrection | None = None

    def __post_init__(self) -> None:
        for name in ("number", "date", "instrument", "strip"):
            _check_text(name, getattr(self, name))
        if not self.number.strip():
            raise UsageError("The print check needs a number, so that results can name it.")
        if not self.instrument.strip():
            raise UsageError("Name the caliper of the print check (its inventory or serial number).")
        _check_date(self.date)
        _check_u(self.u_instrument_mm)
        for word in ("along", "across"):
            _check_reading(word, getattr(self, f"{word}_mm"), getattr(self, f"nominal_{word}_mm"))
        _check_thickness(self.thickness_mm, self.u_thickness_mm)

    @property
    def along_factor(self) -> float:
        """Printed length over drawn length, along the strip."""
        return self.along_mm / self.nominal_along_mm

    @property
    def across_factor(self) -> float:
        """Printed length over drawn length, across the strip."""
        return self.across_mm / self.nominal_across_mm

    @property
    def u_relative(self) -> float:
        """Relative standard uncertainty of the factors: caliper and aiming over the shorter distance."""
        return math.hypot(self.u_instrument_mm, _U_AIMING_MM) / min(self.along_mm, self.across_mm)


def save_print_record(record: PrintRecord, path: str | os.PathLike[str]) -> None:
    """Write the record as JSON into a new file, whole or not at all.

    Raises UsageError where the file is there already: a check is evidence and is not written over.
    Raises StorageError where it cannot be written.
    """
    target = Path(path)
    if target.is_file():
        raise UsageError(
            f"{target} is there already and a print check is never written over: name another file, or "
            "remove that one first."
        )
    text = json.dumps({"format": _FORMAT, **asdict(record)}, indent=2, ensure_ascii=False) + "\n"
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)  # noqa: PTH105  # the pair of mkstemp above
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise StorageError(f"The print check could not be written to {target}: {error.strerror}.") from error


def load_print_record(path: str | os.PathLike[str]) -> PrintRecord:
    """Read a record that `save_print_record` wrote; raises UsageError with what is wrong with the file."""
    source = Path(path)
    try:
        data = json.loads(source.read_text(encoding="utf-8"))
    except OSError as error:
        raise UsageError(f"The print check {source} cannot be read: {error.strerror}.") from error
    except (ValueError, RecursionError) as error:
        raise UsageError(f"The print check {source} is no JSON file of this program.") from error
    if not isinstance(data, dict) or data.get("format") not in tuple(_LATER_NAMES):
        raise UsageError(f"The print check {source} is not marked as {_FORMAT!r} or an older form of it.")
    return _from_fields(data, source)


def _from_fields(data: dict[str, Any], source: Path) -> PrintRecord:
    form = data.pop("format")
    names = {field.name for field in fields(PrintRecord)}
    names -= set(_LATER_NAMES[form])
    unknown, missing = sorted(set(data) - names), sorted(names - set(data))
    if unknown or missing:
        parts = [f"unknown: {', '.join(unknown)}"] if unknown else []
        parts += [f"missing: {', '.join(missing)}"] if missing else []
        raise UsageError(f"The print check {source} has the wrong entries ({'; '.join(parts)}).")
    try:
        if data.get("correction") is not None:
            data = {**data, "correction": correction_from(data["correction"])}
        return PrintRecord(**data)
    except UsageError as error:
        raise UsageError(f"{source}: {error}") from error


def _check_text(name: str, value: object) -> None:
    if not isinstance(value, str) or any("\ud800" <= letter <= "\udfff" for letter in value):
        raise UsageError(f"The print check's {name} must be text.")


def _check_date(text: str) -> None:
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        try:
            calendar_date.fromisoformat(text)
        except ValueError:
            pass
        else:
            return
    raise UsageError(f"The print check's date {text!r} is no date; write it as 2026-03-31.")


def _number(value: object) -> float | None:
    """A finite number, or None; booleans are no numbers here."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        return float(value) if math.isfinite(value) else None
    except OverflowError:
        return None


def _check_u(value: object) -> None:
    u = _number(value)
    if u is None or not 0 < u <= _U_LIMIT_MM:
        raise UsageError(
            f"The caliper's standard uncertainty must lie between 0 and {_U_LIMIT_MM:g} mm, not {value}; "
            "a shop caliper has about 0.02 mm."
        )


def _check_reading(word: str, reading: object, nominal: object) -> None:
    drawn, read = _number(nominal), _number(reading)
    if drawn is None or not 10 <= drawn <= 1000:
        raise UsageError(
            f"The drawn distance {word} the strip must lie between 10 and 1000 mm, not {nominal}."
        )
    if read is None or read <= 0:
        raise UsageError(
            f"The reading {word} the strip must be a positive length in millimetres, not {reading}."
        )
    if abs(read * 25.4 / drawn - 1) <= _LARGEST_ERROR:
        raise UsageError(
            f"The reading {word} the strip, {read:g}, looks like inches: give millimetres, {read * 25.4:.2f}."
        )
    if abs(read / drawn - 1) > _LARGEST_ERROR:
        raise UsageError(
            f"The reading {word} the strip, {read:g} mm, is {100 * (read / drawn - 1):+.1f} % off "
            f"the drawn {drawn:g} mm: misread, another distance than that, or not printed at 100 %; "
            "read it again, or print again without fit to page."
        )


def _check_thickness(thickness: object, u: object) -> None:
    if thickness is None and u is None:
        return
    if thickness is None:
        raise UsageError("The print check has an uncertainty of the thickness but no thickness: give both.")
    value, spread = _number(thickness), _number(u)
    if value is None or not 0 < value <= THICKNESS_LIMIT_MM:
        raise UsageError(
            f"The thickness from plate to print must lie between 0 and {THICKNESS_LIMIT_MM:g} mm, "
            f"not {thickness}."
        )
    if spread is None or not 0 < spread <= value:
        raise UsageError(
            f"The standard uncertainty of the thickness must lie between 0 and the thickness itself, not {u}."
        )
