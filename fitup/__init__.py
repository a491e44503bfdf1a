"""Measures the gap along a joint from a phone photo before welding and says where to re-fixture it.

The road of the data, each step a folder that imports only from the steps before it:

    photo → scale → edges → profile → verdict → evidence

In a notebook:

>>> import fitup  # doctest: +SKIP
>>> settings = fitup.InspectionSettings(wire=fitup.parse_wire("0.9mm"))  # doctest: +SKIP
>>> inspection = fitup.inspect("joint.jpg", settings)  # doctest: +SKIP
>>> print(inspection.verdict.sentence)  # doctest: +SKIP
>>> fitup.save_inspection(inspection, "results", photo_path="joint.jpg")  # doctest: +SKIP

Names are fetched on first use, so that `import fitup` alone loads neither NumPy nor OpenCV.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.errors import FitupError, PhotoError, RetakeError, StorageError, UsageError
    from fitup.evidence import Filing, InspectionRecord, read_record, save_inspection
    from fitup.evidence.seam_saving import save_seam
    from fitup.evidence.sides_saving import save_sides
    from fitup.inspection import Inspection, InspectionSettings, inspect
    from fitup.job import Job, JobJoint, read_job
    from fitup.joints import NamedInspection, inspect_joints
    from fitup.photo import Photo, open_photo
    from fitup.profile import GapProfile
    from fitup.scale import PrintRecord, ScaleMap, TargetLayout, find_target, scale_map, target_layout
    from fitup.seam import Seam, inspect_seam
    from fitup.sides import Sides, inspect_sides
    from fitup.verdict import (
        DecisionRule,
        JointVerdict,
        Limit,
        Sheet,
        ShopRules,
        WeldSettings,
        Wire,
        fillable_gap,
        judge,
        parse_length,
        parse_sheet,
        parse_wire,
        read_rules,
    )

__all__ = [
    "DecisionRule",
    "Filing",
    "FitupError",
    "GapProfile",
    "Inspection",
    "InspectionRecord",
    "InspectionSettings",
    "Job",
    "JobJoint",
    "JointVerdict",
    "Limit",
    "NamedInspection",
    "Photo",
    "PhotoError",
    "PrintRecord",
    "RetakeError",
    "ScaleMap",
    "Seam",
    "Sheet",
    "ShopRules",
    "Sides",
    "StorageError",
    "TargetLayout",
    "UsageError",
    "WeldSettings",
    "Wire",
    "__version__",
    "fillable_gap",
    "find_target",
    "inspect",
    "inspect_joints",
    "inspect_seam",
    "inspect_sides",
    "judge",
    "open_photo",
    "parse_length",
    "parse_sheet",
    "parse_wire",
    "read_job",
    "read_record",
    "read_rules",
    "save_inspection",
    "save_seam",
    "save_sides",
    "scale_map",
    "target_layout",
]

__version__ = "0.1.0"

_HOMES = {
    "errors": ("FitupError", "PhotoError", "RetakeError", "StorageError", "UsageError"),
    "photo": ("Photo", "open_photo"),
    "scale": ("PrintRecord", "ScaleMap", "TargetLayout", "find_target", "scale_map", "target_layout"),
    "profile": ("GapProfile",),
    "verdict": (
        "DecisionRule",
        "JointVerdict",
        "Limit",
        "Sheet",
        "ShopRules",
        "WeldSettings",
        "Wire",
        "fillable_gap",
        "judge",
        "parse_length",
        "parse_sheet",
        "parse_wire",
        "read_rules",
    ),
    "evidence": ("Filing", "InspectionRecord", "read_record", "save_inspection"),
    "evidence.seam_saving": ("save_seam",),
    "evidence.sides_saving": ("save_sides",),
    "inspection": ("Inspection", "InspectionSettings", "inspect"),
    "job": ("Job", "JobJoint", "read_job"),
    "joints": ("NamedInspection", "inspect_joints"),
    "seam": ("Seam", "inspect_seam"),
    "sides": ("Sides", "inspect_sides"),
}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    """Fetch a public name from the stage that makes it (PEP 562)."""
    if name not in _HOME_OF:
        raise AttributeError(f"module 'fitup' has no attribute {name!r}")
    from importlib import import_module

    value: object = getattr(import_module(f"fitup.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
