"""Photos 33 and 34: butt joints photographed from both sides, so that gap and step can be told apart."""

from __future__ import annotations

from typing import Any

from camera import Picture
from hostile_scene import HostileScene, HostileTarget, near_eye
from kinds_geometry import KindJoint
from kinds_scene import many
from scene import knots

__all__ = ["SIDES"]

EVEN = knots((-40, 0.34), (0, 0.28), (30, 0.40), (60, 0.30), (100, 0.36))
WIDER = knots((-40, 0.50), (0, 0.42), (35, 0.62), (70, 0.46), (100, 0.55))


def _joint(gap: Any, seed: int, step: Any) -> KindJoint:
    return KindJoint(kind="butt", gap=gap, x_range=(-58.0, 108.0), seed=seed, width_mm=110.0, step=step)


STEPPED: dict[str, Any] = {
    "joint": _joint(
        many(EVEN, (43, 10, 1.05, 2.5)), 501, knots((-40, 0.10), (0, 0.14), (50, 0.38), (100, 0.40))
    ),
    "targets": (HostileTarget(strip=15, offset_mm=18.0, angle_deg=0.5),),
    "finish": ("along", "along"),
    "bench": "green",
    "light": {"turn_deg": 85, "windows": 0.8},
}
FLUSH: dict[str, Any] = {
    "joint": _joint(WIDER, 502, lambda x: 0.0 * x),
    "targets": (HostileTarget(strip=16, offset_mm=19.0, angle_deg=-0.7),),
    "finish": ("mill", "mill"),
    "bench": "steel",
    "light": {"turn_deg": 210, "windows": 0.7},
}
LOWER: dict[str, Any] = {
    "joint": _joint(EVEN, 503, knots((-40, -0.30), (20, -0.22), (60, -0.18), (100, -0.25))),
    "targets": (HostileTarget(strip=17, offset_mm=17.5, angle_deg=0.3),),
    "finish": ("along", "along"),
    "bench": "rubber",
    "light": {"turn_deg": 20, "windows": 0.6},
}
WORDS = {
    33: "the far sheet 0.1 to 0.4 mm higher, opening near 43 mm",
    34: "no step, 0.4 to 0.6 mm",
    35: "the far sheet 0.2 to 0.3 mm lower",
}
# Letter: lean towards the far plate, lean along, roll, how much farther off.
VIEWS = {"a": (-15.5, 2.0, 0.6, 0.0), "b": (14.5, -2.5, -0.9, 2.0)}
FROM = {"a": "the target's side", "b": "beyond the joint"}


def _photo(number: int, letter: str, same: dict[str, Any]) -> HostileScene:
    tilt, slew, roll, farther = VIEWS[letter]
    over = number == 33
    return HostileScene(
        name=f"{number}{letter}_sides",
        description=f"Joint J{number} seen from {FROM[letter]}: {WORDS[number]}.",
        factor="step",
        expected="gap and step told apart by both photos together",
        verdicts=("re-fixture",) if over else ("within", "gauge"),
        camera=near_eye(tilt, (26.0, -14.0, 0.0), slew_deg=slew, roll_deg=roll, distance_mm=98.0 + farther),
        picture=Picture(seed=10 * number + ord(letter), blur_px=0.9),
        folder="sides",
        bytes_limit=330_000,
        taken_at=f"2026:06:03 1{number - 33}:{'04' if letter == 'a' else '05'}:31",
        **same,
    )


SIDES: tuple[HostileScene, ...] = tuple(
    _photo(number, letter, same)
    for number, same in ((33, STEPPED), (34, FLUSH), (35, LOWER))
    for letter in VIEWS
)
