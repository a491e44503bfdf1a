"""How the plates lie to each other: in the record, the table, the pictures and in words."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

from fitup.evidence import (
    build_record,
    joint_drawing,
    overlay_jpeg,
    plot_png,
    profile_csv,
    record_from_json,
    record_schema,
    record_to_json,
)
from fitup.evidence.canvas import rgb
from fitup.evidence.joint_drawing import joint_line
from fitup.evidence.kind_words import gap_between, kind_in_words, lands_in_words, step_in_words
from fitup.evidence.naming import spots_to_name
from fitup.evidence.overlay import overlay_picture
from fitup.evidence.palette import PURPLE
from fitup.evidence.shape_building import shape_columns, shape_entry
from fitup.evidence.zoom import places_to_show
from fitup.joint import JointKind
from fitup.profile import JointShape
from fitup.scale import PlaneFrame, target_layout
from fitup.verdict import fillable_gap, judge, lands_to_judge, parse_wire
from tests.evidence.builders import JOINT_Y_MM, make_filing, make_inspection, to_px

SHEET_MM = 1.27
SHORT_MM = (60.0, 72.0)


def plate(number: int, up: bool) -> Any:
    """A map of one plate, its strip below the joint or turned round above it."""
    turned = (lambda mm: np.asarray(mm)) if up else (lambda mm: [210.0, 2 * JOINT_Y_MM] - np.asarray(mm))
    return SimpleNamespace(
        sighting=SimpleNamespace(layout=target_layout(number)), to_px=lambda mm: to_px(turned(mm))
    )


def make_corner(*, two: bool = True, short_side: int = 1) -> Any:
    """The made-up inspection as a corner: step, lands, one of them short, a hole in the other."""
    subject = make_inspection()
    profile = subject.profile
    station, seen = profile.station_mm, profile.seen
    short = np.where((station >= SHORT_MM[0]) & (station <= SHORT_MM[1]), 0.3, 1.2)
    whole = np.where((station > 100) & (station < 103), np.nan, 1.25)
    lands = [np.where(seen, land, np.nan) for land in ((whole, short) if short_side else (short, whole))]
    out = [np.column_stack([station, JOINT_Y_MM + side * (1.0 + 0 * station)]) for side in (-2.0, 2.0)]
    shape = JointShape(
        included_angle_deg=89.6,
        u_included_angle_deg=0.35,
        hi_lo_mm=np.where(seen, 0.05 + 0.001 * station, np.nan),
        u_hi_lo_mm=np.where(seen, 0.1, np.nan),
        near_land_mm=lands[0],
        far_land_mm=lands[1],
        near_outer_px=np.where(np.isfinite(lands[0])[:, None], to_px(out[0]), np.nan),
        far_outer_px=np.where(np.isfinite(lands[1])[:, None], to_px(out[1]), np.nan),
        sides=("beside strip 1", "beside strip 2"),
        notes=("Land beside strip 1: not measurable in this photo.",),
    )
    frame = PlaneFrame(
        origin_mm=np.array([0.5, 20.0, -1.27]),
        along=np.array([1.0, 0.0, 0.0]),
        across=np.array([0.0, math.sqrt(0.5), -math.sqrt(0.5)]),
    )
    subject.scale.frame = frame
    subject.settings.joint_kind = "corner-full-open"
    subject.settings.two_targets = two
    pair = SimpleNamespace(first=plate(1, True), second=plate(2, False), same_sheet=True)
    verdict = judge(profile, fillable_gap(parse_wire("0.9mm")), lands=lands_to_judge(shape, SHEET_MM))
    return replace(subject, shape=shape, pair=pair if two else None, verdict=verdict)


@pytest.fixture(scope="module")
def corner() -> Any:
    return make_corner()


def test_the_record_holds_the_shape_in_full(corner: Any) -> None:
    record = build_record(corner, make_filing())
    shape, kept = record.shape, corner.shape
    assert shape is not None
    assert (shape.joint_kind, shape.gap_between) == ("corner-full-open", "between the inner arrises")
    assert shape.second_target is not None
    assert (shape.second_target.form, shape.second_target.strip_number) == ("strip-30x5", 2)
    assert (shape.included_angle_deg, shape.u_included_angle_deg, shape.one_sheet) == (89.6, 0.35, True)
    assert shape.opening_plane.origin_mm == (0.5, 20.0, -1.27)
    np.testing.assert_allclose(np.dot(shape.opening_plane.along, shape.opening_plane.across), 0, atol=1e-12)
    for stored, measured in (
        (shape.step_mm, kept.hi_lo_mm),
        (shape.u_step_mm, kept.u_hi_lo_mm),
        (shape.near_land_mm, kept.near_land_mm),
        (shape.far_land_mm, kept.far_land_mm),
    ):
        assert stored is not None
        np.testing.assert_array_equal([math.nan if v is None else v for v in stored], measured)
    assert shape.notes == kept.notes
    assert record.request.two_targets
    assert record.request.land_rule is not None
    assert (record.request.land_rule.least_share, record.request.land_rule.shortest_mm) == (0.6, 2.0)
    spot = next(spot for spot in record.verdict.spots if spot.state == "short land")
    assert (spot.side, spot.land_mm, spot.largest_gap_mm) == ("beside strip 2", 0.3, None)
    assert "inner arrises" in record.cautions[1]


def test_a_record_with_a_shape_goes_through_json_and_its_schema(corner: Any) -> None:
    record = build_record(corner, make_filing())
    text = record_to_json(record)
    assert record_from_json(text) == record
    jsonschema.Draft202012Validator(record_schema()).validate(json.loads(text))


def test_a_record_of_the_first_version_is_still_read() -> None:
    """It knows nothing of shapes, lands and second targets."""
    data = json.loads(record_to_json(build_record(make_inspection(), make_filing())))
    data["schema_version"] = 1
    del data["shape"], data["scale"]["lens"]
    for name in ("two_targets", "one_sheet", "land_rule", "target_on", "included_angle_deg", "overlap_mm"):
        del data["request"][name]
    for name in ("rules", "weld", "other_sheet"):
        del data["request"][name]
    data["request"]["bridge_factor"] = 1.0
    for spot in data["verdict"]["spots"]:
        del spot["side"], spot["land_mm"]
    record = record_from_json(json.dumps(data))
    assert record.shape is None
    assert not record.request.two_targets
    assert {spot.land_mm for spot in record.verdict.spots} == {None}


def test_plates_in_one_plane_with_one_target_have_no_shape() -> None:
    subject = make_inspection()
    assert shape_entry(subject) is None
    assert shape_columns(subject) == {}
    assert "upper arrises" in build_record(subject, make_filing()).cautions[1]


def test_the_table_has_columns_for_what_there_is(corner: Any) -> None:
    content = profile_csv(corner, shape_columns(corner))
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))
    assert list(rows[0])[-4:] == ["step_mm", "u_step_mm", "near_land_mm", "far_land_mm"]
    for index, row in enumerate(rows):
        for name, values in (("far_land_mm", corner.shape.far_land_mm), ("step_mm", corner.shape.hi_lo_mm)):
            if math.isnan(values[index]):
                assert row[name] == ""
            else:
                assert float(row[name]) == pytest.approx(values[index], abs=5.1e-5)
    no_step = replace(corner, shape=replace(corner.shape, hi_lo_mm=None, u_hi_lo_mm=None))
    assert list(shape_columns(no_step)) == ["near_land_mm", "far_land_mm"]


def test_the_shape_in_words(corner: Any) -> None:
    entry = shape_entry(corner)
    assert entry is not None
    assert kind_in_words(entry) == (
        "full-open corner, gap between the inner arrises; 89.6 ± 0.7° between the plates"
    )
    assert step_in_words(entry) == "step +0.16 ± 0.20 mm (median), +0.26 ± 0.20 mm (largest)"
    words = lands_in_words(entry)
    assert words.startswith("lands: beside strip 1 1.2 mm (shortest 1.2 mm, 9")
    assert "beside strip 2 1.2 mm (shortest 0.3 mm, 9" in words
    bare = entry.model_copy(update={"step_mm": None, "u_step_mm": None, "near_land_mm": None})
    assert step_in_words(bare) == ""
    assert lands_in_words(bare.model_copy(update={"far_land_mm": None})) == ""
    assert "not seen" in lands_in_words(bare.model_copy(update={"far_land_mm": (None, None)}))
    flat = entry.model_copy(update={"joint_kind": "lap"})
    assert "°" not in kind_in_words(flat)


def test_every_kind_says_what_its_gap_is() -> None:
    for kind in JointKind:
        assert gap_between(kind).split(" ", 1)[0] in ("between", "from")
        assert kind.in_words.startswith(("a ", "an "))
    assert len({gap_between(kind) for kind in JointKind}) >= 5


def marks(picture: np.ndarray, colour: str) -> np.ndarray:
    """Rows and columns of pixels of just that colour."""
    return np.argwhere((picture == np.array(rgb(colour))).all(axis=2))


@pytest.mark.parametrize("short_side", [0, 1])
def test_a_short_land_is_drawn_along_its_stretch_and_on_its_own_side(short_side: int) -> None:
    subject = make_corner(two=False, short_side=short_side)
    picture = np.full((720, 1600, 3), 200, np.uint8)
    line = joint_line(subject, 1600 / subject.photo.width_px)
    tracks = joint_drawing._Tracks.of(subject, line, 3)
    joint_drawing._draw_short_lands(picture, subject, line, tracks, 3)
    rows, columns = marks(picture, PURPLE).T
    ends = [line.at(place)[0][0] for place in SHORT_MM]
    assert columns.min() == pytest.approx(ends[0], abs=15)
    assert columns.max() == pytest.approx(ends[1], abs=15)
    joint_row = line.at(66.0)[0][1]
    assert (rows < joint_row).all() if short_side else (rows > joint_row).all()  # up is away from the strip


def test_both_targets_are_outlined_and_named(corner: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []
    real = joint_drawing.draw_label

    def note(picture: Any, place: Any, text: str, *args: Any, **kwargs: Any) -> Any:
        written.append(text)
        return real(picture, place, text, *args, **kwargs)

    monkeypatch.setattr(joint_drawing, "draw_label", note)
    overlay_picture(corner)
    assert {"strip 1", "strip 2"} <= set(written)
    assert any(text == "short land 59–73 mm: 0.3 mm" for text in written)
    written.clear()
    overlay_picture(make_corner(two=False))
    assert not any(text.startswith("strip") for text in written)


def test_outer_arrises_are_drawn_where_they_were_seen(corner: Any) -> None:
    subject = corner
    line = joint_line(subject, 1.0)
    picture = np.full((subject.photo.height_px, subject.photo.width_px, 3), 90, np.uint8)
    joint_drawing._draw_outer_arrises(picture, subject, line)
    for points in (subject.shape.near_outer_px, subject.shape.far_outer_px):
        seen = np.isfinite(points).all(axis=1)
        u, v = np.round(points[seen]).astype(int)[::7].T
        assert (picture[v, u].max(axis=1) > 200).mean() > 0.9
    u, v = np.round(to_px(np.array([[101.5, JOINT_Y_MM - 2.0]]))[0]).astype(int)
    assert picture[v, u].max() == 90  # not seen there


def test_pictures_of_a_corner_are_made_and_repeat_themselves(corner: Any) -> None:
    assert overlay_jpeg(corner, None, "x") == overlay_jpeg(corner, None, "x")
    with Image.open(io.BytesIO(plot_png(corner, "x", between="between the inner arrises"))) as image:
        assert len(marks(np.asarray(image.convert("RGB")), PURPLE)) > 100
    states = [place.state for place in places_to_show(corner, 4)]
    assert "short land" in states
    assert states == sorted(states, key=["over", "doubtful", "short land", "unseen"].index)


def test_the_rim_of_an_opening_and_near_flecks_are_named_once() -> None:
    subject = make_corner()
    spots = subject.verdict.spots
    over = next(spot for spot in spots if str(spot.state) == "over")
    rims = [
        spot
        for spot in spots
        if str(spot.state) == "doubtful"
        and min(abs(spot.end_mm - over.start_mm), abs(spot.start_mm - over.end_mm)) < 0.1
    ]
    assert rims
    named = spots_to_name(subject.verdict)
    assert not {id(rim) for rim in rims} & {id(one.spot) for one in named}
    unseen = next(spot for spot in spots if str(spot.state) == "unseen")
    flecks = tuple(
        replace(unseen, start_mm=start, end_mm=start + 0.5, at_mm=start + 0.25)
        for start in (10.0, 12.0, 14.0, 40.0)
    )
    labels = [one.label for one in spots_to_name(replace(subject.verdict, spots=flecks))]
    assert labels == ["unseen, parts of 10.00–14.50 mm", "unseen 40.00–40.50 mm"]
