"""Options to settings: what the command line says, laid over what a joint list says where there is one."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.cli.inspecting import Options
    from fitup.inspection import InspectionSettings
    from fitup.verdict import DecisionRule, JointCase, WeldSettings

__all__ = ["OPTION_OF", "case_of", "given_settings", "parse_points", "read_settings", "settings_over"]

_POINT = re.compile(r"([+-]?[0-9]{1,7}(?:\.[0-9]{1,6})?),([+-]?[0-9]{1,7}(?:\.[0-9]{1,6})?)")
_MOST_POINTS = 1000

# Field of the settings -> option, for everything that a joint list may say too.
OPTION_OF = {
    "wire": "--wire",
    "sheet": "--sheet",
    "other_sheet": "--other-sheet",
    "rules": "--rules",
    "weld": "weld settings",
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
    return _checked(_settings(options, usual_kind))


def _settings(options: Options, usual_kind: str) -> InspectionSettings:
    from fitup.inspection import InspectionSettings

    given = given_settings(options)
    if "wire" not in given:
        raise UsageError(
            "the wire is not known: give it (--wire 0.9mm, or --no-wire for a joint without), or a joint "
            "list that says it (--job joints.toml)."
        )
    return InspectionSettings(**{"joint_kind": usual_kind, **given})


def case_of(options: Options) -> tuple[JointCase, DecisionRule]:
    """The joint as the rules see it, of the options that tell of it, and how sure a decision must be.

    Raises UsageError as `read_settings`, but for a limit that does not come about.
    """
    settings = _settings(options, "butt")
    return settings.case, settings.deciding


def settings_over(listed: InspectionSettings, given: dict[str, Any]) -> InspectionSettings:
    """What a joint list says, with what was given instead; raises as `read_settings`."""
    if "weld" in given:
        told = {name: value for name, value in vars(given["weld"]).items() if value is not None}
        given = {**given, "weld": replace(listed.weld, **told)}
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
    from fitup.job_keys import NO_WIRE, read_arris_radius, read_wire
    from fitup.scale import load_lens_profile, load_print_record
    from fitup.verdict import parse_length, parse_length_or_zero, parse_sheet, read_rules

    rules = None if options.rules is None else read_rules(options.rules)
    sheet = partial(parse_sheet, material=rules.gauge_material if rules else None)
    if options.no_wire and options.wire is not None:
        raise UsageError("--wire and --no-wire exclude each other: give one of them.")
    said: tuple[tuple[str, Any, Callable[[Any], Any]], ...] = (
        ("wire", NO_WIRE if options.no_wire else options.wire, read_wire),
        ("sheet", options.sheet, sheet),
        ("other_sheet", options.other_sheet, sheet),
        ("rules", rules, lambda read: read),
        ("weld", _weld(options), lambda read: read),
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
        ("arris_radius_mm", options.arris_radius, read_arris_radius),
        ("lens", options.lens, load_lens_profile),
        ("points_px", options.points, _points),
        ("from_mm", options.from_place, lambda text: _place(text, "--from")),
        ("to_mm", options.to_place, lambda text: _place(text, "--to")),
    )
    given = {field: read(value) for field, value, read in said if value is not None}
    if options.lens is None:
        given["lens_profiles"] = profiles_for_inspecting(options.lens_folder)
    return given


def _weld(options: Options) -> WeldSettings | None:
    """Weld settings, where any was given."""
    from fitup.verdict import WeldSettings, parse_length, parse_length_or_zero
    from fitup.verdict.speeds import parse_speed

    said: tuple[tuple[str, str | None, Callable[[str], float]], ...] = (
        ("feed_mm_s", options.feed, lambda text: parse_speed(text, "the wire feed")),
        ("travel_mm_s", options.travel, lambda text: parse_speed(text, "the travel speed")),
        ("oscillation_mm", options.oscillation, lambda text: parse_length_or_zero(text, "the oscillation")),
        ("spot_mm", options.spot, lambda text: parse_length(text, "the spot size")),
    )
    given = {field: read(text) for field, text, read in said if text is not None}
    return WeldSettings(**given) if given else None


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
