"""What may stand in a joint list: every key of a joint, how its value is read, and what it is for.

Values are written as on the command line, lengths and speeds with their units in quotes.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from fitup.errors import UsageError
from fitup.joint import JointKind
from fitup.scale import target_layout
from fitup.toml_lines import nearest
from fitup.verdict import Wire, parse_length, parse_length_or_zero, parse_place, parse_wire
from fitup.verdict.lengths import show_text
from fitup.verdict.speeds import parse_frequency, parse_power, parse_speed

__all__ = [
    "JOB_KEYS",
    "JOINT_KEYS",
    "NO_WIRE",
    "OWN_KEYS",
    "WELD_KEYS",
    "parse_strip_range",
    "read_arris_radius",
    "read_wire",
    "text",
]

Reader = Callable[[Any], Any]

NO_WIRE = "none"
LEAST_JOINT_MM = 5.0
LARGEST_RADIUS_MM = 0.3
_LONGEST_TEXT, _LONGEST_NAME = 1000, 60
_RANGE = re.compile(r"\s*([0-9]{1,3})\s*(?:-|–|\.\.|to)\s*([0-9]{1,3})\s*")
_ONE_STRIP = re.compile(r"\s*[0-9]{1,3}\s*")
_GAUGE_ALONE = re.compile(r"\s*[0-9]{1,7}\s*(?:gauge|gage|ga)\.?\s*", re.IGNORECASE)


def text(value: Any) -> str:
    """One line of text in any language."""
    if not isinstance(value, str):
        raise UsageError('must be text in quotes, such as "RT-40".')
    words = unicodedata.normalize("NFC", value).strip()
    if len(words) > _LONGEST_TEXT or not words.isprintable():
        raise UsageError(f"must be one line of printable text of up to {_LONGEST_TEXT} characters.")
    return words


def read_wire(value: Any) -> Wire | None:
    """A wire, or None for a joint that is made without one."""
    words = text(value)
    return None if words.lower() == NO_WIRE else parse_wire(words)


def read_arris_radius(words: str) -> float:
    """Radius of a sheet's arrises [mm]."""
    radius_mm = parse_length(words, "the arris radius")
    if radius_mm > LARGEST_RADIUS_MM:
        raise UsageError(
            f"an arris radius of {radius_mm:g} mm is no sharp edge: give up to {LARGEST_RADIUS_MM:g} mm."
        )
    return radius_mm


def parse_strip_range(words: str) -> tuple[int, int] | None:
    """Numbers of the first and the last strip, written as '11-14'; None where it is no such pair."""
    pair = _RANGE.fullmatch(words)
    if pair is None or not 1 <= int(pair[1]) <= int(pair[2]):
        return None
    return int(pair[1]), int(pair[2])


def _name(value: Any) -> str:
    words = text(value)
    if not words or len(words) > _LONGEST_NAME or "=" in words:
        raise UsageError(f'must be a name of up to {_LONGEST_NAME} characters without =, such as "J3".')
    return words


def _kind(value: Any) -> str:
    words = text(value)
    kinds = [str(kind) for kind in JointKind]
    if words not in kinds:
        like = nearest(words, kinds)
        hint = f"did you mean {like}?" if like else f"write one of {', '.join(kinds)}."
        raise UsageError(f"{show_text(words)} is no kind of joint: {hint}")
    return words


def _sheet_words(value: Any) -> str:
    """A sheet stays as written until the material is known."""
    return text(value)


def _plates(value: Any) -> tuple[str, str]:
    if not isinstance(value, list) or len(value) != 2:
        raise UsageError('must be two sheets, that with the target first, such as ["1.5mm", "18ga"].')
    return text(value[0]), text(value[1])


def _degrees(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError("must be a number of degrees, such as 120.")
    return float(value)


def _yes(value: Any) -> bool:
    if not isinstance(value, bool):
        raise UsageError("must be true or false, without quotes.")
    return value


def _strips(value: Any) -> tuple[int, ...]:
    """`11`, or "11-14" for strips laid end to end or on both plates."""
    value = int(value) if isinstance(value, str) and _ONE_STRIP.fullmatch(value) else value
    if isinstance(value, int) and not isinstance(value, bool):
        ends: tuple[int, int] | None = (value, value)
    else:
        ends = parse_strip_range(value) if isinstance(value, str) else None
    if ends is None:
        raise UsageError('must be the number of a strip, such as 11, or the first and last, such as "11-14".')
    for number in ends:
        target_layout(number)
    return tuple(range(ends[0], ends[1] + 1))


def _photos(value: Any) -> tuple[str, ...]:
    names = value if isinstance(value, list) else [value]
    if not names or not all(isinstance(name, str) and name and "/" not in name for name in names):
        raise UsageError('must be names of photos without their folder, such as ["IMG_0412.jpg"].')
    return tuple(text(name) for name in names)


def _joint_length(value: Any) -> float:
    length_mm = parse_length(value, "the joint's length")
    if length_mm < LEAST_JOINT_MM:
        raise UsageError(
            f"a joint of {length_mm:g} mm is too short to be measured: check the number and its unit."
        )
    return length_mm


def _length(what: str) -> Reader:
    return lambda value: parse_length(value, what)


JOB_KEYS: Mapping[str, Reader] = MappingProxyType(
    {"job": text, "part": text, "description": text, "rules": text}
)
WELD_KEYS: Mapping[str, tuple[str, Reader]] = MappingProxyType(
    {
        "feed": ("feed_mm_s", lambda value: parse_speed(value, "the wire feed")),
        "travel": ("travel_mm_s", lambda value: parse_speed(value, "the travel speed")),
        "oscillation": (
            "oscillation_mm",
            lambda value: parse_length_or_zero(text(value), "the oscillation"),
        ),
        "frequency": ("oscillation_hz", lambda value: parse_frequency(value, "the oscillation's frequency")),
        "spot": ("spot_mm", _length("the spot size")),
        "power": ("power_w", lambda value: parse_power(value, "the power")),
    }
)
# Said of some kinds of joint only: among the defaults they are passed over where they mean nothing.
SHAPE_KEYS: Mapping[str, str] = MappingProxyType(
    {"target_on": "target_on", "included_angle": "included_angle_deg", "overlap": "overlap_mm"}
)
# What belongs to one joint alone, and never to the defaults of all.
OWN_KEYS = frozenset({"name", "strips", "photos", "start", "length", "remark"})
JOINT_KEYS: Mapping[str, Reader] = MappingProxyType(
    {
        "name": _name,
        "kind": _kind,
        "target_on": text,
        "included_angle": _degrees,
        "overlap": _length("the overlap"),
        "sheet": _sheet_words,
        "plates": _plates,
        "material": text,
        "wire": read_wire,
        **{key: reader for key, (_, reader) in WELD_KEYS.items()},
        "limit": _length("the limit"),
        "limit_from": text,
        "length": _joint_length,
        "start": lambda value: parse_place(text(value), "the start"),
        "strips": _strips,
        "two_targets": _yes,
        "one_sheet": _yes,
        "print_record": text,
        "target_thickness": lambda value: parse_length_or_zero(text(value), "the target's thickness"),
        "arris_radius": read_arris_radius,
        "photos": _photos,
        "drawing": text,
        "remark": text,
    }
)


def is_gauge_alone(words: str) -> bool:
    """Whether a sheet is a gauge number without its material."""
    return bool(_GAUGE_ALONE.fullmatch(words))
