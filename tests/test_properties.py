"""What must hold for whatever is put in: units, frames, lines, verdicts, evidence, tone curve, arris fit.

Examples are random but the same in every run. Properties that one stage's own tests already state (one
station's decision, spots, a print check's file, one drawn map) are not stated again here.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from fitup.edges import CameraResponse, line_along
from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from fitup.evidence import build_record, profile_csv, record_from_json, record_to_json
from fitup.photo import linear_to_srgb, srgb_to_linear
from fitup.profile import GapProfile, Influence
from fitup.scale import PrintRecord, ScaleMap, TargetSighting, scale_map, target_layout
from fitup.scale.saddles import project
from fitup.verdict import (
    DecisionRule,
    VerdictWord,
    fillable_gap,
    judge,
    parse_length,
    parse_sheet,
    parse_wire,
)
from fitup.verdict.lengths import format_mm
from tests.evidence.builders import make_filing, make_inspection, to_px
from tests.scale.drawing_world import photo_of

bounded = settings(max_examples=60, deadline=None, derandomize=True)
few = settings(max_examples=15, deadline=None, derandomize=True)
NAN = math.nan
SEEDS = st.integers(0, 2**32 - 1)


class TestUnits:
    @bounded
    @given(thou=st.integers(16, 125))
    def test_a_wire_is_the_same_in_every_way_of_writing_it(self, thou: int) -> None:
        ways = (f"0.{thou:03d}in", f"{thou} thou", f"0{thou}", f'.{thou:03d}"', f"0.{thou:03d}")
        diameters = {parse_wire(way).diameter_mm for way in ways}
        assert diameters == {float(f"{thou * 0.0254:.10f}")}

    @bounded
    @given(sixty_fourths=st.integers(1, 640))
    def test_a_common_fraction_is_its_decimal(self, sixty_fourths: int) -> None:
        decimal = f"{sixty_fourths / 64:.6f}in"  # 1/64 has six decimals
        assert parse_length(f"{sixty_fourths}/64in") == parse_length(decimal)
        assert parse_length(f"{sixty_fourths}/64") == parse_length(decimal)

    @bounded
    @given(length_mm=st.decimals("0.001", "9999", places=3), comma=st.booleans(), blank=st.booleans())
    def test_a_length_survives_being_written_and_read(self, length_mm: Any, comma: bool, blank: bool) -> None:
        text = format_mm(float(length_mm))
        text = text.replace(".", ",") if comma else text
        text = text if blank else text.replace(" ", "")
        assert parse_length(text) == float(length_mm)
        assert format_mm(parse_length(text)) == format_mm(float(length_mm))

    @bounded
    @given(text=st.sampled_from(["0.9", "035", "1.2mm", "1/16", "0.045in", "30 thou"]))
    def test_what_was_understood_reads_back_as_the_same_wire(self, text: str) -> None:
        wire = parse_wire(text)
        understood = wire.reading.split("=")[-1].strip()
        assert parse_wire(understood).diameter_mm == pytest.approx(wire.diameter_mm, abs=5e-5)

    @bounded
    @given(gauges=st.lists(st.integers(8, 26), min_size=2, max_size=2, unique=True))
    @pytest.mark.parametrize("material", ["", " stainless"])
    def test_a_higher_gauge_is_a_thinner_sheet(self, gauges: list[int], material: str) -> None:
        thick, thin = (parse_sheet(f"{gauge}ga{material or ' carbon'}") for gauge in sorted(gauges))
        assert thick.thickness_mm > thin.thickness_mm
        assert thick.table == thin.table


@cache
def blank_photo() -> Any:
    """Grey all over: the map needs the picture's size and, roughly, its sharpness."""
    return photo_of(np.full((3000, 4000), 128, np.uint8), 26.0, 5.5)


def posed(seed: int) -> tuple[np.ndarray, ScaleMap]:
    """A true homography px <- mm of the plane 0.1 mm below the print, and the map fitted to exact saddles."""
    rng = np.random.default_rng(seed)
    focal = 26.0 / 43.2666 * 5000 * rng.uniform(1.02, 1.03)
    distance, centre = rng.uniform(210, 420), np.array([105, 5]) + rng.uniform(-15, 15, 2)
    a, b, c = np.deg2rad(rng.uniform(-14, 14, 3) + np.array([0, 0, rng.choice([0, 90, 180, 270])]))
    x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    rotation = z @ y @ x @ np.diag([1.0, -1.0, -1.0])
    shift = np.array([0, 0, distance]) - rotation @ [*centre, 0]
    camera = np.array([[focal, 0, 1999.5], [0, focal, 1499.5], [0, 0, 1]])
    columns = np.column_stack([rotation[:, 0], rotation[:, 1], shift])
    printed = camera @ columns
    columns[:, 2] -= 0.1 * rotation[:, 2]
    layout = target_layout(1)
    saddles = layout.saddles_mm
    sighting = TargetSighting(
        layout=layout,
        saddle_ids=np.arange(len(saddles)),
        saddles_px=project(printed, saddles),
        saddles_mm=saddles,
        residual_px=np.zeros(len(saddles)),
        homography=printed / printed[2, 2],
        marker_count=layout.marker_count,
        dropped_count=0,
        reduction=1,
    )
    return camera @ columns, scale_map(blank_photo(), sighting)


class TestFrames:
    @few
    @given(seed=SEEDS)
    def test_millimetres_come_back_from_pixels_in_every_pose(self, seed: int) -> None:
        _, scale = posed(seed)
        points = np.random.default_rng(seed).uniform([-60, -60], [270, 90], (200, 2))
        assert np.abs(scale.to_mm(scale.to_px(points)) - points).max() < 1e-9

    @few
    @given(seed=SEEDS)
    def test_exact_saddles_give_the_true_map_of_the_plate_below_them(self, seed: int) -> None:
        true, scale = posed(seed)
        points = np.random.default_rng(seed).uniform([0, 5], [210, 45], (50, 2))
        length = scale.to_mm(project(true, points + np.array([0, 0.5]))) - scale.to_mm(project(true, points))
        assert np.abs(np.hypot(*length.T) / 0.5 - 1).max() < 3e-4
        # Positions far along the strip share what an unchecked print's unequal stretch may be.
        assert np.abs(scale.to_mm(project(true, points)) - points).max() < 0.1

    @few
    @given(seed=SEEDS)
    def test_sampling_is_the_length_of_small_steps(self, seed: int) -> None:
        _, scale = posed(seed)
        point, h = np.array([80.0, 20.0]), 1e-3
        sides = [scale.to_px(point + step) - scale.to_px(point - step) for step in np.eye(2) * h / 2]
        area = abs(sides[0][0] * sides[1][1] - sides[0][1] * sides[1][0])
        assert float(scale.px_per_mm(point)) == pytest.approx(np.sqrt(area) / h, rel=1e-5)

    @few
    @given(along=st.floats(0.98, 1.02), across=st.floats(0.98, 1.02))
    def test_a_print_check_stretches_millimetres_by_its_factors(self, along: float, across: float) -> None:
        _, plain = posed(7)
        checked = scale_map(
            blank_photo(),
            plain.sighting,
            PrintRecord(
                number="1",
                date="2026-01-01",
                instrument="made up",
                u_instrument_mm=0.02,
                along_mm=140 * along,
                across_mm=140 * across,
            ),
        )
        px = plain.to_px(np.array([[20.0, 10.0], [180.0, 10.0], [20.0, 11.0]]))
        mm = checked.to_mm(px)
        assert (mm[1, 0] - mm[0, 0]) / 160 == pytest.approx(along, abs=2e-3)
        assert mm[2, 1] - mm[0, 1] == pytest.approx(across, abs=2e-3)


def bent_line(seed: int) -> np.ndarray:
    """Points (P, 2) of a gently bent line beside the target."""
    rng = np.random.default_rng(seed)
    x = np.linspace(rng.uniform(-3, 3), rng.uniform(150, 210), rng.integers(40, 300))
    tilt, bow, wave = rng.uniform(-0.15, 0.15), rng.uniform(-3, 3), rng.uniform(0, 0.3)
    half = (x - x.mean()) / np.ptp(x) * 2
    return np.column_stack([x, rng.uniform(12, 40) + tilt * x + bow * half**2 + wave * np.sin(x / 15)])


class TestJointLine:
    @bounded
    @given(seed=SEEDS)
    def test_positions_rise_and_are_the_length_of_the_line(self, seed: int) -> None:
        xy = bent_line(seed)
        line = line_along(xy)
        steps = np.diff(line.s_mm)
        assert (steps > 0).all()
        assert steps.sum() == pytest.approx(np.hypot(*np.diff(xy, axis=0).T).sum())

    @bounded
    @given(seed=SEEDS)
    def test_normals_are_units_square_to_the_line_and_point_away_from_the_target(self, seed: int) -> None:
        line = line_along(bent_line(seed))
        s = np.arange(line.s_mm[0] - 10, line.s_mm[-1] + 10, 0.25)
        xy, normal = line.at(s)
        assert np.abs(np.hypot(*normal.T) - 1).max() < 1e-12
        assert (normal[:, 1] > 0.9).all()
        along = (xy[2:] - xy[:-2]) / np.hypot(*(xy[2:] - xy[:-2]).T)[:, None]
        # The normal is that of a chord of 2 mm: on these bends it is square to within some hundredths.
        assert np.abs((along * normal[1:-1]).sum(axis=1)).max() < 0.05

    @bounded
    @given(seed=SEEDS)
    def test_points_and_normals_move_without_jumps_past_the_ends_too(self, seed: int) -> None:
        line = line_along(bent_line(seed))
        ds = 0.01
        s = np.arange(line.s_mm[0] - 5, line.s_mm[-1] + 5, ds)
        xy, normal = line.at(s)
        assert np.hypot(*np.diff(xy, axis=0).T).max() <= ds * (1 + 1e-9)
        assert np.hypot(*np.diff(normal, axis=0).T).max() < 0.01

    @bounded
    @given(
        angle_deg=st.floats(-9, 9), offset=st.floats(5, 45), start=st.floats(-30, 2), end=st.floats(60, 220)
    )
    def test_zero_is_the_foot_of_the_datum_mark(
        self, angle_deg: float, offset: float, start: float, end: float
    ) -> None:
        angle = np.deg2rad(angle_deg)
        along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
        t = np.linspace(start, end, 150)[:, None]
        line = line_along(t * along + offset * across)
        foot, normal = line.at(np.array([0.0]))
        assert foot[0] == pytest.approx(offset * across, abs=1e-6)
        assert normal[0] == pytest.approx(across, abs=1e-9)

    @bounded
    @given(seed=SEEDS)
    def test_points_on_the_line_come_back_at_their_positions(self, seed: int) -> None:
        xy = bent_line(seed)
        line = line_along(xy)
        assert np.abs(line.at(line.s_mm)[0] - xy).max() < 1e-9


GAPS = st.lists(st.one_of(st.just(NAN), st.floats(-0.03, 2.5)), min_size=2, max_size=80)
PARTS = st.lists(st.floats(0.0, 0.1), min_size=1, max_size=4)


def profile_of(
    gaps: list[float], parts: list[float], *, start_mm: float = 0.0, step_mm: float = 0.5
) -> GapProfile:
    """A profile with the given gaps, NaN for unseen, and one influence for every part."""
    gap = np.array(gaps)
    blank = np.where(np.isnan(gap), NAN, 0.0)
    s = start_mm + step_mm * np.arange(len(gap))
    near, far = 20 - gap / 2, 20 + gap / 2
    return GapProfile(
        station_mm=s,
        gap_mm=gap,
        u_gap_mm=math.hypot(*parts) + blank,
        near_mm=near,
        far_mm=far,
        near_px=to_px(np.column_stack([s + blank, near])),
        far_px=to_px(np.column_stack([s + blank, far])),
        centre_px=to_px(np.column_stack([s, np.full(len(s), 20.0)])),
        unseen_reason=tuple("glare" if math.isnan(g) else "" for g in gaps),
        budget=tuple(
            Influence(name=f"part {k}", u_mm=u + blank, common=bool(k % 2), remedy=f"mind part {k}")
            for k, u in enumerate(parts)
        ),
        notes=(),
        step_mm=step_mm,
    )


LIMIT = fillable_gap(parse_wire("0.9mm"))


class TestVerdict:
    @bounded
    @given(gaps=GAPS, parts=PARTS, widening=st.lists(st.floats(0, 1), min_size=80, max_size=80))
    def test_a_joint_wider_everywhere_is_never_judged_better(
        self, gaps: list[float], parts: list[float], widening: list[float]
    ) -> None:
        wider = [gap + more for gap, more in zip(gaps, widening, strict=False)]
        before, after = (judge(profile_of(each, parts), LIMIT) for each in (gaps, wider))
        assert after.word.severity >= before.word.severity

    @bounded
    @given(gaps=GAPS, parts=PARTS, wires=st.lists(st.floats(0.4, 3.2), min_size=2, max_size=2))
    def test_a_thicker_wire_is_never_judged_worse(
        self, gaps: list[float], parts: list[float], wires: list[float]
    ) -> None:
        profile = profile_of(gaps, parts)
        thin, thick = (judge(profile, fillable_gap(parse_wire(f"{wire:.4f}mm"))) for wire in sorted(wires))
        assert thick.word.severity <= thin.word.severity

    @bounded
    @given(gaps=GAPS, parts=PARTS, data=st.data())
    def test_hiding_a_part_of_the_joint_never_makes_it_within(
        self, gaps: list[float], parts: list[float], data: st.DataObject
    ) -> None:
        first = data.draw(st.integers(0, len(gaps) - 1))
        last = data.draw(st.integers(first, len(gaps) - 1))
        hidden = [NAN if first <= k <= last else gap for k, gap in enumerate(gaps)]
        assert judge(profile_of(hidden, parts), LIMIT).word is not VerdictWord.WITHIN

    @bounded
    @given(gaps=GAPS, parts=PARTS)
    def test_a_joint_read_from_the_other_end_has_the_same_verdict_and_mirrored_spots(
        self, gaps: list[float], parts: list[float]
    ) -> None:
        one, other = judge(profile_of(gaps, parts), LIMIT), judge(profile_of(gaps[::-1], parts), LIMIT)
        end_mm = 0.5 * (len(gaps) - 1)
        assert one.word is other.word
        assert one.states == other.states[::-1]
        mirrored = [(spot.state, end_mm - spot.end_mm, end_mm - spot.start_mm) for spot in other.spots[::-1]]
        assert [(spot.state, spot.start_mm, spot.end_mm) for spot in one.spots] == mirrored

    @bounded
    @given(gaps=GAPS, parts=PARTS, start_mm=st.integers(-40, 400))
    def test_where_the_joint_begins_only_moves_its_spots(
        self, gaps: list[float], parts: list[float], start_mm: int
    ) -> None:
        here = judge(profile_of(gaps, parts), LIMIT)
        there = judge(profile_of(gaps, parts, start_mm=float(start_mm)), LIMIT)
        assert there.word is here.word
        assert [(spot.start_mm, spot.end_mm) for spot in there.spots] == [
            (spot.start_mm + start_mm, spot.end_mm + start_mm) for spot in here.spots
        ]

    @bounded
    @given(gaps=GAPS, parts=PARTS, probabilities=st.lists(st.floats(0.51, 0.999), min_size=2, max_size=2))
    def test_asking_for_more_certainty_never_makes_a_joint_within(
        self, gaps: list[float], parts: list[float], probabilities: list[float]
    ) -> None:
        profile = profile_of(gaps, parts)
        less, more = (
            judge(profile, LIMIT, DecisionRule(conformance_probability=p)) for p in sorted(probabilities)
        )
        assert not (more.word is VerdictWord.WITHIN and less.word is not VerdictWord.WITHIN)

    @bounded
    @given(gaps=GAPS, parts=PARTS)
    def test_every_station_is_within_or_in_exactly_one_spot(
        self, gaps: list[float], parts: list[float]
    ) -> None:
        profile = profile_of(gaps, parts)
        verdict = judge(profile, LIMIT)
        inside = np.zeros(len(gaps), int)
        for spot in verdict.spots:
            inside += (profile.station_mm > spot.start_mm) & (profile.station_mm < spot.end_mm)
        assert inside.max(initial=0) <= 1
        assert all(
            state == "within" for state, count in zip(verdict.states, inside, strict=True) if not count
        )


@cache
def made_up() -> Any:
    return make_inspection()


def subject_of(gaps: list[float], parts: list[float]) -> Any:
    profile = profile_of(gaps, parts)
    return replace(made_up(), profile=profile, verdict=judge(profile, LIMIT))


class TestEvidence:
    @bounded
    @given(gaps=GAPS, parts=PARTS)
    def test_a_record_comes_back_from_its_json_with_every_number(
        self, gaps: list[float], parts: list[float]
    ) -> None:
        subject = subject_of(gaps, parts)
        record = build_record(subject, make_filing())
        again = record_from_json(record_to_json(record))
        assert again == record
        assert record_to_json(again) == record_to_json(record)
        stations = again.profile.stations
        np.testing.assert_array_equal([NAN if s.gap_mm is None else s.gap_mm for s in stations], gaps)
        np.testing.assert_array_equal(
            [NAN if s.u_gap_mm is None else s.u_gap_mm for s in stations], subject.profile.u_gap_mm
        )
        assert tuple(s.state for s in stations) == tuple(map(str, subject.verdict.states))

    @bounded
    @given(gaps=GAPS, parts=PARTS)
    def test_the_table_holds_the_profile_to_its_last_digit(
        self, gaps: list[float], parts: list[float]
    ) -> None:
        subject = subject_of(gaps, parts)
        text = profile_csv(subject).decode("utf-8")
        rows = list(csv.DictReader(io.StringIO(text, newline="")))
        assert len(rows) == len(gaps)
        profile = subject.profile
        for name, values, digits in (
            ("station_mm", profile.station_mm, 4),
            ("gap_mm", profile.gap_mm, 4),
            ("u_gap_mm", profile.u_gap_mm, 4),
            ("near_u_px", profile.near_px[:, 0], 3),
            ("far_v_px", profile.far_px[:, 1], 3),
        ):
            read = np.array([float(row[name]) if row[name] else NAN for row in rows])
            np.testing.assert_array_equal(np.isnan(read), np.isnan(values))
            assert np.nanmax(np.abs(read - values), initial=0.0) <= 0.5001 * 10.0**-digits
        assert [row["state"] for row in rows] == [str(state) for state in subject.verdict.states]
        assert [row["unseen_reason"] for row in rows] == list(profile.unseen_reason)
        assert "-0.0000," not in text
        assert text.count("\r\n") == len(gaps) + 1


def response(contrast: float, amount: float = 0.0, radius_px: float = 1.2) -> CameraResponse:
    return CameraResponse(
        contrast=contrast,
        amount=amount,
        radius_px=radius_px,
        blur_px=1.0,
        residual=0.001,
        modelled=True,
        u_gap_px=0.1,
    )


class TestResponse:
    @bounded
    @given(contrast=st.floats(-0.3, 1.0), greys=st.lists(st.floats(0, 1, width=32), min_size=2, max_size=50))
    def test_a_brighter_grey_is_never_less_light(self, contrast: float, greys: list[float]) -> None:
        encoded = np.sort(np.array(greys, np.float32))
        light = response(contrast).to_linear(encoded[None, :])[0]
        assert (np.diff(light) >= -1e-7).all()
        assert light.min() >= 0
        assert light.max() <= 1 + 1e-6

    @bounded
    @given(contrast=st.floats(-0.3, 1.0))
    def test_black_stays_black_and_white_white(self, contrast: float) -> None:
        light = response(contrast).to_linear(np.array([[0.0, 1.0]], np.float32))[0]
        assert light == pytest.approx([0, 1], abs=1e-6)

    @bounded
    @given(
        level=st.floats(0.05, 0.95),
        contrast=st.floats(-0.3, 1.0),
        amount=st.floats(0, 2),
        radius=st.floats(0.5, 2),
    )
    def test_an_even_area_is_not_changed_by_undoing_the_sharpening(
        self, level: float, contrast: float, amount: float, radius: float
    ) -> None:
        even = np.full((1, 64), level, np.float32)
        plain = response(contrast).to_linear(even)
        assert response(contrast, amount, radius).to_linear(even) == pytest.approx(plain, abs=1e-4)

    @bounded
    @given(values=st.lists(st.floats(0, 1), min_size=1, max_size=50))
    def test_the_standard_curve_and_its_inverse_undo_each_other(self, values: list[float]) -> None:
        light = np.array(values)
        assert np.abs(srgb_to_linear(linear_to_srgb(light)) - light).max() < 1e-6


PAD = 8  # samples that a profile may be shifted by either way
SAMPLES = 61


def gap_profiles(seed: int, count: int = 12, *, narrow: bool = False) -> dict[str, np.ndarray]:
    """Random gaps between flat plates with noise, `PAD` samples longer on either side than is fitted."""
    rng = np.random.default_rng(seed)
    x = np.arange(-(SAMPLES // 2) - PAD, SAMPLES // 2 + PAD + 1, dtype=float)
    width = rng.uniform(1.0, 4.0, count) if narrow else rng.uniform(5.0, 20.0, count)
    near = -width / 2 + rng.uniform(-0.5, 0.5, count)
    left, right, floor = (
        rng.uniform(0.3, 0.6, count),
        rng.uniform(0.3, 0.6, count),
        rng.uniform(0.0, 0.04, count),
    )
    blur = rng.uniform(0.9, 1.4)
    a, b = (ndtr((x - edge[:, None]) / blur) for edge in (near, near + width))
    light = left[:, None] + (floor - left)[:, None] * a + (right - floor)[:, None] * b
    noisy = light + rng.normal(0, 0.004, light.shape)
    return {
        "x": x,
        "light": noisy,
        "near": near,
        "width": width,
        "left": left,
        "right": right,
        "floor": floor,
        "blur": np.full(count, blur),
    }


def fitted(
    made: dict[str, np.ndarray],
    profiles: np.ndarray,
    *,
    shift: float = 0.0,
    light: float = 1.0,
    mirror: bool = False,
) -> ArrisFit:
    """Fit with two edges only, start values a little off the truth, priors in the profiles' own light."""
    count = len(profiles)
    zero, one = np.zeros(count), np.ones(count)
    near = -(made["near"] + made["width"]) if mirror else made["near"]
    left, right = (made["right"], made["left"]) if mirror else (made["left"], made["right"])
    blur = np.log(made["blur"])
    floor = 0.02 * light * one
    priors = ArrisPriors(
        floor=floor,
        floor_sd=0.02 * light * one,
        face=floor,
        face_sd=light * one,
        band_px=zero,
        band_sd_px=zero,
        log_blur=blur,
        log_blur_sd=0.05 * one,
    )
    columns = [near + shift, made["width"], left * light, floor, right * light, floor, zero, blur]
    x = made["x"][PAD:-PAD]
    return fit_arrises(
        x,
        profiles.astype(np.float32),
        np.ones(profiles.shape, np.float32),
        np.stack(columns, axis=1),
        priors,
        noise_floor=1e-4 * light,
        iterations=25,
    )


CLOSE_PX = 0.01  # a tenth of what tone and sharpening leave open on a gap


class TestArrisFit:
    @few
    @given(seed=SEEDS, shift=st.integers(-PAD, PAD), narrow=st.booleans())
    def test_a_profile_shifted_by_samples_shifts_its_arrises_by_as_many(
        self, seed: int, shift: int, narrow: bool
    ) -> None:
        made = gap_profiles(seed, narrow=narrow)
        there = fitted(made, made["light"][:, PAD - shift : PAD - shift + SAMPLES], shift=shift)
        here = fitted(made, made["light"][:, PAD : PAD + SAMPLES])
        # The far flanks are other samples of the same noise, so that the levels differ a little.
        slack = CLOSE_PX + 0.5 * np.sqrt(sum(here.variance_parts.values())) * (shift != 0)
        assert (np.abs(there.near_px - here.near_px - shift) < slack).all()
        assert (np.abs(there.far_px - here.far_px - shift) < slack).all()

    @few
    @given(seed=SEEDS, narrow=st.booleans())
    def test_a_mirrored_profile_has_mirrored_arrises(self, seed: int, narrow: bool) -> None:
        made = gap_profiles(seed, narrow=narrow)
        light = made["light"][:, PAD:-PAD]
        here, there = fitted(made, light), fitted(made, light[:, ::-1], mirror=True)
        assert np.abs(there.near_px + here.far_px).max() < CLOSE_PX
        assert np.abs(there.width_px - here.width_px).max() < CLOSE_PX
        assert np.abs(there.levels[:, 0] - here.levels[:, 2]).max() < 0.005

    @few
    @given(seed=SEEDS, brighter=st.floats(0.25, 1.6), narrow=st.booleans())
    def test_more_light_moves_no_arris(self, seed: int, brighter: float, narrow: bool) -> None:
        made = gap_profiles(seed, narrow=narrow)
        light = made["light"][:, PAD:-PAD]
        here, there = fitted(made, light), fitted(made, light * brighter, light=brighter)
        assert np.abs(there.near_px - here.near_px).max() < CLOSE_PX
        assert np.abs(there.width_px - here.width_px).max() < CLOSE_PX
        assert there.levels[:, [0, 2]] == pytest.approx(here.levels[:, [0, 2]] * brighter, rel=5e-3)

    @few
    @given(seed=SEEDS, narrow=st.booleans())
    def test_stations_do_not_depend_on_one_another(self, seed: int, narrow: bool) -> None:
        made = gap_profiles(seed, narrow=narrow)
        light = made["light"][:, PAD:-PAD]
        together = fitted(made, light)
        alone = {k: v if k == "x" else v[3:4] for k, v in made.items()}
        assert fitted(alone, light[3:4]).width_px[0] == pytest.approx(together.width_px[3], abs=CLOSE_PX)
