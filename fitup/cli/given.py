"""Options to settings: what the command line says, laid over what a joint list says where there is one."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.cli.inspecting import Options
    from fitup.inspection import InspectionSettings

__all__ = ["OPTION_OF", "given_settings", "parse_points", "read_settings", "settings_over"]

_POINT = re.compile(r"([+-]?[0-9]{1,7}(?:\.[0-9]{1,6})?),([+-]?[0-9]{1,7}(?:\.[0-9]{1,6})?)")
_MOST_POINTS = 1000

# Field of the settings -> option, for everything that a joint list may say too.
OPTION_OF = {
    "wire": "--wire",
    "sheet": "--sheet",
    "joint_kind": "--joint-kind",
    "target_on": "--target-on",
    "included_angle_deg": "--included-angle",
    "overlap_mm": "--overlap",
    "two_targets": "--two-targets",
    "one_sheet": "--one-sheet",
    "procedure_limit_mm": "--limit",
    "print_record": "--print-record",
    "target_thickness_mm": "--thickness",
    "arris_radius_mm": "--arris-radius",
}


def read_settings(options: Options, usual_kind: str = "butt") -> InspectionSettings:
    """All options read and checked.

    Raises
    ------
    UsageError
        When one cannot be used, or the wire is missing.
    """
    from fitup.inspection import InspectionSettings

    given = given_settings(options)
    if "wire" not in given:
        raise UsageError(
            "the wire is not known: give it (--wire 0.9mm), or a joint list that says it (--job joints.toml)."
        )
    return _checked(InspectionSettings(**{"joint_kind": usual_kind, **given}))


def settings_over(listed: InspectionSettings, given: dict[str, Any]) -> InspectionSettings:
    """What a joint list says, with what was given instead; raises as `read_settings`."""
    return _checked(replace(listed, **{**_no_longer_said(given), **given}))


def _checked(settings: InspectionSettings) -> InspectionSettings:
    from fitup.inspection import limit_of

    limit_of(settings)  # wrong limits are found here once and not at every photo
    if settings.one_sheet and settings.setup.opens_in_plate_plane and not settings.two_targets:
        raise UsageError("--one-sheet is said of two targets: give --two-targets with it.")
    if settings.from_mm is not None and settings.to_mm is not None and settings.from_mm >= settings.to_mm:
        raise UsageError("--from must lie before --to.")
    return settings


def given_settings(options: Options) -> dict[str, Any]:
    """What the options say, by the name of the settings' field; nothing where they say nothing."""
    from fitup.cli.lenses import profiles_for_inspecting
    from fitup.job_keys import read_wire
    from fitup.scale import load_lens_profile, load_print_record
    from fitup.verdict import parse_length, parse_length_or_zero, parse_sheet

    said: tuple[tuple[str, Any, Callable[[Any], Any]], ...] = (
        ("wire", options.wire, read_wire),
        ("sheet", options.sheet, parse_sheet),
        ("joint_kind", options.joint_kind, str),
        ("target_on", options.target_on, str),
        ("included_angle_deg", options.included_angle_deg, float),
        ("overlap_mm", options.overlap, lambda text: parse_length(text, "the overlap")),
        ("two_targets", options.two_targets or None, bool),
        ("one_sheet", options.one_sheet or None, bool),
        ("procedure_limit_mm", options.limit, lambda text: parse_length(text, "the limit")),
        ("decision", options.probability, _decision),
        ("print_record", options.print_record, load_print_record),
        (
            "target_thickness_mm",
            options.thickness,
            lambda text: parse_length_or_zero(text, "the target's thickness"),
        ),
        ("arris_radius_mm", options.arris_radius, _radius),
        ("lens", options.lens, load_lens_profile),
        ("points_px", options.points, _points),
        ("from_mm", options.from_place, lambda text: _place(text, "--from")),
        ("to_mm", options.to_place, lambda text: _place(text, "--to")),
    )
    given = {field: read(value) for field, value, read in said if value is not None}
    if options.lens is None:
        given["lens_profiles"] = profiles_for_inspecting(options.lens_folder)
    return given


def _no_longer_said(given: dict[str, Any]) -> dict[str, Any]:
    """What a list says of another kind of joint, other sheets or another limit than are given now."""
    gone: dict[str, Any] = {}
    if "joint_kind" in given:
        gone |= {"target_on": None, "included_angle_deg": 90.0, "overlap_mm": None}
    if "sheet" in given:
        gone["other_sheet"] = None
    if "procedure_limit_mm" in given:
        gone["procedure_reference"] = ""
    return gone


def parse_points(text: str) -> list[tuple[float, float]]:
    """Places in the photo written as 'u,v u,v ...' in px.

    Raises
    ------
    UsageError
        When there are fewer than two or one is no pair of numbers.
    """
    words = text.replace(";", " ").split()
    pairs = [_POINT.fullmatch(word) for word in words]
    if len(words) < 2 or len(words) > _MOST_POINTS or not all(pairs):
        raise UsageError(
            "--points needs two or more places in the photo as 'u,v u,v' in px, such as '120,340 1800,352'."
        )
    return [(float(pair[1]), float(pair[2])) for pair in pairs if pair]


def _points(text: str) -> Any:
    import numpy as np

    return np.array(parse_points(text))


def _radius(text: str) -> float:
    """Radius of the sheet's arrises [mm]."""
    from fitup.verdict import parse_length

    radius = parse_length(text, "the arris radius")
    if radius > 0.3:
        raise UsageError(f"An arris radius of {radius:g} mm is no sharp edge; give up to 0.3 mm.")
    return radius


def _decision(text: str) -> Any:
    from fitup.verdict import DecisionRule

    try:
        probability = float(text)
    except ValueError:
        raise UsageError(f"--probability needs a number such as 0.95, not {text[:40]!r}.") from None
    return DecisionRule(conformance_probability=probability)


def _place(text: str, option: str) -> float:
    """A place along the joint in mm; unlike a length it may be zero or negative."""
    from fitup.verdict import parse_place

    return parse_place(text, option)
