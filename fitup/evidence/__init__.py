"""Evidence of an inspection: record, overlay picture, plot and table, written as one folder.

Parts are fetched on first use: the record's model and the plot are slow to load and often not needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence.building import build_record
    from fitup.evidence.overlay import overlay_jpeg
    from fitup.evidence.plot import plot_png
    from fitup.evidence.record import InspectionRecord
    from fitup.evidence.record_file import read_record, record_from_json, record_schema, record_to_json
    from fitup.evidence.saving import Saved, save_inspection
    from fitup.evidence.subject import Filing
    from fitup.evidence.table import profile_csv

__all__ = [
    "Filing",
    "InspectionRecord",
    "Saved",
    "build_record",
    "overlay_jpeg",
    "plot_png",
    "profile_csv",
    "read_record",
    "record_from_json",
    "record_schema",
    "record_to_json",
    "save_inspection",
]

_HOMES = {
    "building": ("build_record",),
    "overlay": ("overlay_jpeg",),
    "plot": ("plot_png",),
    "record": ("InspectionRecord",),
    "record_file": ("read_record", "record_from_json", "record_schema", "record_to_json"),
    "saving": ("Saved", "save_inspection"),
    "subject": ("Filing",),
    "table": ("profile_csv",),
}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    """Fetch a public name from the file that makes it (PEP 562)."""
    if name not in _HOME_OF:
        raise AttributeError(f"module 'fitup.evidence' has no attribute {name!r}")
    from importlib import import_module

    value: object = getattr(import_module(f"fitup.evidence.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value
