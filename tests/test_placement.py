"""The drawings of the placement guide: one for every kind of joint, and what the script draws today."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

from fitup.joint import JointKind

ROOT = Path(__file__).resolve().parents[1]
SCRIPT = runpy.run_path(str(ROOT / "docs/make_placement.py"))
GUIDE = ROOT / "calibration/README.md"


def test_committed_drawings_are_what_the_script_draws(tmp_path: Path) -> None:
    drawn = {path.name: path.read_bytes() for path in SCRIPT["draw_all"](tmp_path)}
    kept = {path.name: path.read_bytes() for path in (ROOT / "docs/placement").iterdir()}
    assert drawn == kept


def test_every_kind_of_joint_has_a_drawing_in_the_guide() -> None:
    shown = set(re.findall(r"\(\.\./docs/placement/([\w-]+)\.svg\)", GUIDE.read_text(encoding="utf-8")))
    assert {str(kind) for kind in JointKind} - {
        "seam"
    } <= shown  # a seam is drawn as the butt joint that it is
    assert shown == {path.stem for path in (ROOT / "docs/placement").iterdir()}


@pytest.mark.parametrize("kind", SCRIPT["KINDS"], ids=lambda kind: kind.name)
def test_drawn_joints_are_sound(kind: object) -> None:
    """The gap as drawn, strips on the outside of their plates, the camera where it sees strips and gap."""
    (y1, z1), (y2, z2) = kind.gap
    assert ((y2 - y1) ** 2 + (z2 - z1) ** 2) ** 0.5 == pytest.approx(SCRIPT["GAP"])
    way = SCRIPT["direction"](sum(kind.camera_deg) / 2)
    for name, face in kind.faces.items():
        assert face.away[0] * face.normal[0] + face.away[1] * face.normal[1] == pytest.approx(0)
        assert (
            way[0] * face.normal[0] + way[1] * face.normal[1] > 0.3
        )  # not seen flatter than some 70 degrees
        on_face = SCRIPT["along"](face.arris, face.away, 10.0)
        raised = SCRIPT["along"](on_face, face.normal, 0.1)
        sunk = SCRIPT["along"](on_face, face.normal, -0.1)
        assert inside(kind.plates[name], sunk)
        assert not any(inside(corners, raised) for corners in kind.plates.values())
    foot = ((y1 + y2) / 2, (z1 + z2) / 2)
    for step in range(1, 300):
        seen = SCRIPT["along"](foot, way, 0.1 * step)
        assert not any(inside(corners, seen) for corners in kind.plates.values())


def inside(corners: list[tuple[float, float]], point: tuple[float, float]) -> bool:
    """Whether a point lies in a convex polygon."""
    turns = []
    for (y1, z1), (y2, z2) in zip(corners, corners[1:] + corners[:1], strict=True):
        turns.append((y2 - y1) * (point[1] - z1) - (z2 - z1) * (point[0] - y1))
    return all(turn > 0 for turn in turns) or all(turn < 0 for turn in turns)
