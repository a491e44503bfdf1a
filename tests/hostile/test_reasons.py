"""The reason that is given for a refusal is the right one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import RetakeError
from fitup.inspection import InspectionSettings, inspect
from fitup.verdict import parse_sheet, parse_wire
from tests.hostile.photos import drawn, rendered, save
from tests.test_error_sentences import one_sentence

SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"))


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return save(drawn("opening"), tmp_path_factory.mktemp("reasons") / "photo.jpg")


def refusal(path: Path, settings: InspectionSettings) -> RetakeError:
    with pytest.raises(RetakeError) as caught:
        inspect(path, settings)
    one_sentence(str(caught.value))
    return caught.value


@pytest.mark.parametrize(("start", "end"), [(400.0, 500.0), (150.0, 420.0), (-300.0, -200.0)])
def test_stretch_outside_the_photo_is_named(photo: Path, start: float, end: float) -> None:
    error = refusal(photo, replace(SETTINGS, from_mm=start, to_mm=end))
    assert error.reason == "outside photo"
    assert f"from {start:.0f} to {end:.0f} mm" in error.message
    assert "--from" in error.remedy


@pytest.mark.parametrize("off_mm", [-6.0, 7.0, 12.0])
@pytest.mark.parametrize("name", ["opening", "01_good_fit", "06_hairline"])
def test_points_beside_the_joint_are_told_so(tmp_path: Path, name: str, off_mm: float) -> None:
    picture = drawn(name) if name == "opening" else rendered(name)
    points = picture.px(np.array([[20.0, picture.joint_y_mm + off_mm], [180.0, picture.joint_y_mm + off_mm]]))
    error = refusal(save(picture, tmp_path / "photo.jpg"), replace(SETTINGS, points_px=points))
    assert error.reason == "no joint"
    assert "points" in error.message
    assert "light" not in error.remedy


def test_a_part_that_was_asked_for_is_named_in_the_verdict(photo: Path) -> None:
    whole = inspect(photo, SETTINGS).verdict
    part = inspect(photo, replace(SETTINGS, from_mm=20.0, to_mm=60.0)).verdict
    assert "was looked at" not in whole.sentence
    assert part.sentence.endswith("mm from the datum mark was looked at")
    assert len(part.states) < 0.3 * len(whole.states)
