"""Where a neighbouring strip lies: the move and turn against SciPy, glimpses that are and are not there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.photo import open_photo
from fitup.scale import find_targets
from fitup.scale.strip_glimpse import glimpse_neighbours
from fitup.strip_links import _moved_and_turned, foot_on, link_strips, place_strip, printed_face
from fitup.verdict import parse_sheet, parse_wire
from tests.drawn_seam import SHOTS, STRIPS, Strip, save_shot

SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"), arris_radius_mm=0.0)
# The frame reaches little more than a column into the next strip's squares.
SHOT = replace(SHOTS["a"], centre_mm=(107.0, 0.0), turn_deg=0.0)


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Inspection]:
    """A photo of strip 10 with a glimpse of strip 11, and its inspection."""
    path = save_shot(SHOT, tmp_path_factory.mktemp("links") / "a.jpg")
    return path, inspect(path, SETTINGS)


def relative(strip: Strip, base: Strip = STRIPS[10]) -> np.ndarray:
    return np.asarray(np.linalg.inv(base.matrix()) @ strip.matrix())


@given(
    st.floats(-180, 180), st.floats(-300, 300), st.floats(-50, 50), st.integers(3, 12), st.integers(0, 999)
)
@settings(max_examples=40, deadline=None)
def test_move_and_turn_are_those_of_a_general_alignment(
    turn_deg: float, x: float, y: float, count: int, seed: int
) -> None:
    """Reference: scipy.spatial.transform.Rotation.align_vectors about the centroids (Kabsch)."""
    rng = np.random.default_rng(seed)
    drawn = rng.uniform(-30, 30, (count, 2))
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    there = drawn @ matrix.T + [x, y] + rng.normal(0, 0.01, drawn.shape)
    turn, shift = _moved_and_turned(drawn, there)
    flat = [np.column_stack([p - p.mean(axis=0), np.zeros(count)]) for p in (there, drawn)]
    expected = Rotation.align_vectors(*flat)[0].as_matrix()[:2, :2]
    assert turn == pytest.approx(expected, abs=1e-6)
    assert shift == pytest.approx(there.mean(axis=0) - expected @ drawn.mean(axis=0), abs=1e-4)


def test_a_glimpse_places_the_next_strip(seen: tuple[Path, Inspection]) -> None:
    path, base = seen
    photo = open_photo(path)
    assert [one.layout.strip_number for one in find_targets(photo)] == [10]
    (glimpse,) = glimpse_neighbours(photo, printed_face(base.scale), frozenset([10]))
    assert glimpse.layout.strip_number == 11
    assert 3 <= len(glimpse.saddles_mm) <= 8
    place = place_strip(base, glimpse)
    true = relative(STRIPS[11])
    assert abs(place.datum_mm[0] - true[0, 2]) < min(2 * place.u_along_mm, 0.15)
    assert place.datum_mm[1] == pytest.approx(true[1, 2], abs=0.15)
    assert place.turn_deg == pytest.approx(STRIPS[11].turn_deg, abs=0.3)
    (link,) = link_strips("a.jpg", [base], [glimpse])
    assert (link.first, link.second) == (10, 11)
    assert link.u_mm > place.u_along_mm


def test_a_strip_that_was_found_needs_no_glimpse(seen: tuple[Path, Inspection]) -> None:
    path, base = seen
    assert glimpse_neighbours(open_photo(path), printed_face(base.scale), frozenset([10, 11])) == ()


@pytest.mark.parametrize(
    "strips",
    [{}, {12: STRIPS[11]}, {11: Strip(x_mm=232.0, y_mm=40.0)}],
    ids=["nothing", "another number", "out of the row"],
)
def test_no_glimpse_of_what_does_not_lie_there(strips: dict[int, Strip], tmp_path: Path) -> None:
    path = save_shot(replace(SHOT, strips={10: STRIPS[10], **strips}), tmp_path / "a.jpg")
    base = inspect(path, SETTINGS)
    assert glimpse_neighbours(open_photo(path), printed_face(base.scale), frozenset([10])) == ()


def test_a_foot_is_the_same_counted_from_either_side(seen: tuple[Path, Inspection]) -> None:
    _, base = seen
    s = np.array([20.0, 105.0, 190.0])
    xy, normal = base.line.at(s)
    for place, point, across in zip(s, xy, normal, strict=True):
        assert foot_on(base.line, point) == pytest.approx(place, abs=0.05)
        # Twenty millimetres aside the direction of the line counts.
        assert foot_on(base.line, point - 20 * across) == pytest.approx(place, abs=0.4)
    assert foot_on(base.line, np.zeros(2)) == pytest.approx(0.0, abs=0.01)
