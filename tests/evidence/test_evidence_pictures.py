"""Overlay picture and plot: states told apart by colour, in grey, by pattern and by word."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pytest
from PIL import Image

from fitup.evidence import joint_drawing, overlay_jpeg, plot_png
from fitup.evidence.canvas import draw_pattern, fitted, font, rgb, text_size
from fitup.evidence.joint_drawing import joint_line, runs
from fitup.evidence.overlay import overlay_picture
from fitup.evidence.palette import BLACK, BLUE, SPOT_LOOKS, VERDICT_LOOKS, VERMILLION, WHITE, contrast
from fitup.evidence.zoom import places_to_show
from fitup.profile import GapProfile, Influence
from fitup.verdict import fillable_gap, judge, parse_wire
from tests.evidence.builders import make_inspection, write_photo

UNIT = 4


def test_contrast_agrees_with_published_pairs() -> None:
    """Ratios by two libraries, wcag-contrast-ratio 0.9 and coloraide 8.13.1 (WCAG 2.2 formula)."""
    published = {
        ("#000000", "#ffffff"): 21.0,
        ("#767676", "#ffffff"): 4.5422,
        ("#777777", "#ffffff"): 4.4781,
        ("#949494", "#ffffff"): 3.0335,
        ("#ff0000", "#ffffff"): 3.9985,
        ("#008000", "#ffffff"): 5.1374,
        ("#0072b2", "#ffffff"): 5.1854,
        ("#d55e00", "#ffffff"): 3.8672,
        ("#d55e00", "#000000"): 5.4303,
    }
    for (first, second), ratio in published.items():
        assert contrast(first, second) == pytest.approx(ratio, abs=5e-4)
        assert contrast(second, first) == contrast(first, second)


def test_state_colours_are_of_the_okabe_ito_palette() -> None:
    """Palette as matplotlib ships it (M. Okabe, K. Ito, Color Universal Design, 2008)."""
    palette = {matplotlib.colors.to_hex(colour) for colour in matplotlib.color_sequences["okabe_ito"]}
    assert {BLACK, BLUE, VERMILLION} <= palette


@pytest.mark.parametrize("look", [*SPOT_LOOKS.values(), *VERDICT_LOOKS.values()], ids=lambda look: look.word)
def test_marks_and_texts_have_the_contrast_that_wcag_asks_for(look: Any) -> None:
    """WCAG 2.2: text 4.5:1 (1.4.3), marks 3:1 (1.4.11)."""
    assert contrast(look.text_colour, look.colour) >= 4.5
    assert contrast(look.colour, WHITE) >= 3.0


def test_every_state_has_its_own_pattern_word_and_sign() -> None:
    for looks in (SPOT_LOOKS, VERDICT_LOOKS):
        for field in ("colour", "pattern", "word", "symbol"):
            assert len({getattr(look, field) for look in looks.values()}) == len(looks)


def ink_of(state: str, ground: int) -> np.ndarray:
    """Where a straight line in the state's pattern is dark in grey; (60, 400)."""
    picture = np.full((60, 400, 3), ground, np.uint8)
    look = SPOT_LOOKS[state]
    draw_pattern(picture, np.array([[20.0, 30.0], [380.0, 30.0]]), look.colour, look.pattern, UNIT)
    grey = np.asarray(Image.fromarray(picture).convert("L"))
    return grey[:, 40:360] < 140


def rows_of(marks: np.ndarray) -> np.ndarray:
    """Share of ink in every row that has some."""
    share = marks.mean(axis=1)
    return share[share > 0]


def test_patterns_tell_states_apart_without_colour() -> None:
    """In grey: within is whole and thin, doubtful is broken, over is whole and tall, unseen is rings, a short
    land is wedges: broad at one edge, pointed at the other."""
    ink = {state: ink_of(state, 255) for state in SPOT_LOOKS}
    filled = {state: float(marks.any(axis=0).mean()) for state, marks in ink.items()}
    height = {state: int(marks.any(axis=1).sum()) for state, marks in ink.items()}
    assert filled["within"] == 1.0
    assert filled["over"] == 1.0
    assert 0.45 < filled["doubtful"] < 0.85
    assert height["over"] > 3 * height["within"]
    assert height["over"] > 2 * height["doubtful"]
    # Along the middle a ring goes dark, white, dark, white, dark.
    middle = ink["unseen"][30].astype(int)
    assert np.count_nonzero(np.diff(middle) == 1) > 2 * np.count_nonzero(
        np.diff(ink["doubtful"][30].astype(int)) == 1
    )
    wedges = rows_of(ink["short land"])
    assert wedges[2] > 3 * wedges[-3]
    for state in ("within", "doubtful", "over", "unseen"):
        rows = rows_of(ink[state])
        assert rows[2] < 2 * rows[-3], state


@pytest.mark.parametrize("state", list(SPOT_LOOKS))
def test_lines_have_a_white_halo_on_dark_steel(state: str) -> None:
    picture = np.zeros((60, 400, 3), np.uint8)
    look = SPOT_LOOKS[state]
    draw_pattern(picture, np.array([[20.0, 30.0], [380.0, 30.0]]), look.colour, look.pattern, UNIT)
    assert (picture == 255).all(axis=2).sum() > 360


def count(picture: np.ndarray, colour: str) -> int:
    return int((picture == np.array(rgb(colour))).all(axis=2).sum())


def test_overlay_shows_every_state_where_it_is() -> None:
    subject = make_inspection()
    photo_factor = 1600 / subject.photo.width_px
    line = joint_line(subject, photo_factor)
    picture = np.full((round(subject.photo.height_px * photo_factor), 1600, 3), 200, np.uint8)
    joint_drawing.draw_joint(picture, subject, line, 3)
    beside = line.beside(max(21.0, 1.2 * line.px_per_mm))
    states = [str(state) for state in subject.verdict.states]
    for state, colour in (("within", BLACK), ("doubtful", BLUE), ("over", VERMILLION)):
        clear = np.array([s == state for s in states])
        if state != "over":  # ends of a wide line cover a narrow neighbour
            over_mm = line.station_mm[np.array(states) == "over"]
            clear &= np.abs(line.station_mm[:, None] - over_mm).min(axis=1) > 1.5
        places = beside[clear]
        assert len(places) > 0
        found = [
            count(picture[round(v) - 3 : round(v) + 4, round(u) - 3 : round(u) + 4], colour) > 0
            for u, v in places
        ]
        assert np.mean(found) > 0.8, state
    middle = beside[np.array(states) == "over"].mean(axis=0)
    far = beside[np.array(states) == "within"]
    far = far[np.hypot(*(far - middle).T) > 200]
    for u, v in far[::20]:
        assert count(picture[round(v) - 2 : round(v) + 3, round(u) - 2 : round(u) + 3], VERMILLION) == 0


def test_overlay_names_spots_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []
    real = joint_drawing.draw_label

    def note(picture: Any, place: Any, text: str, *args: Any, **kwargs: Any) -> Any:
        written.append(text)
        return real(picture, place, text, *args, **kwargs)

    monkeypatch.setattr(joint_drawing, "draw_label", note)
    overlay_picture(make_inspection())
    assert "over 1.31 mm @ 155 mm" in written
    assert any(text.startswith("doubtful 0.85 mm @ 88") for text in written)
    assert any(text.startswith("unseen 29–39 mm") for text in written)
    assert "0 = datum mark" in written
    assert {"50", "100", "150", "200"} <= set(written)


def test_overlay_is_a_sound_small_jpeg_with_the_photos_colours(tmp_path: Path) -> None:
    path = write_photo(tmp_path / "bench_03.png")
    subject = make_inspection()
    content = overlay_jpeg(subject, path, "caption")
    assert len(content) < 1_500_000
    with Image.open(io.BytesIO(content)) as image:
        assert image.format == "JPEG"
        assert image.width == 1600
    tinted = overlay_picture(subject, path)[220:300].astype(int)
    grey = overlay_picture(subject)[220:300].astype(int)
    assert np.median(tinted[..., 0] - tinted[..., 2]) > 10
    assert np.median(grey[..., 0] - grey[..., 2]) == 0


@pytest.mark.parametrize("content", [b"", b"no picture at all"], ids=["empty", "changed"])
def test_a_changed_photo_file_costs_the_colours_only(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.png").write_bytes(content)
    subject = make_inspection()
    np.testing.assert_array_equal(overlay_picture(subject, tmp_path / "x.png"), overlay_picture(subject))
    np.testing.assert_array_equal(overlay_picture(subject, tmp_path / "gone.png"), overlay_picture(subject))


def all_unseen() -> Any:
    subject = make_inspection()
    profile = subject.profile
    nan, nothing = np.full(len(profile.station_mm), np.nan), np.full((len(profile.station_mm), 2), np.nan)
    blind = replace(
        profile,
        gap_mm=nan,
        u_gap_mm=nan,
        near_mm=nan,
        far_mm=nan,
        near_px=nothing,
        far_px=nothing,
        unseen_reason=("covered",) * len(nan),
        budget=(Influence(name="noise", u_mm=nan, common=False, remedy=""),),
    )
    return replace(subject, profile=blind, verdict=judge(blind, fillable_gap(parse_wire("0.9mm"))))


def one_station() -> Any:
    subject = make_inspection()
    names = ("station_mm", "gap_mm", "u_gap_mm", "near_mm", "far_mm", "near_px", "far_px", "centre_px")
    values = {name: getattr(subject.profile, name)[310:311] for name in names}
    budget = tuple(replace(line, u_mm=line.u_mm[310:311]) for line in subject.profile.budget)
    short = GapProfile(**values, unseen_reason=("",), budget=budget, notes=(), step_mm=0.5)
    return replace(subject, profile=short, verdict=judge(short, fillable_gap(parse_wire("0.9mm"))))


@pytest.mark.parametrize("make", [all_unseen, one_station])
def test_extreme_profiles_are_drawn(make: Any) -> None:
    subject = make()
    assert overlay_jpeg(subject, None, "x" * 3000).startswith(b"\xff\xd8")
    assert plot_png(subject, "x" * 3000).startswith(b"\x89PNG")


def test_pictures_are_the_same_bytes_every_time() -> None:
    assert overlay_jpeg(make_inspection()) == overlay_jpeg(make_inspection())
    assert plot_png(make_inspection()) == plot_png(make_inspection())


def test_plot_shows_state_colours_and_survives_any_name() -> None:
    content = plot_png(make_inspection(), "作業 $x^ \\frac{ 日本 \n line")
    with Image.open(io.BytesIO(content)) as image:
        pixels = np.asarray(image.convert("RGB"))
    assert pixels.shape[1] >= 1500
    assert count(pixels, BLUE) > 50
    assert count(pixels, VERMILLION) > 500


def test_places_to_show_begins_with_the_worst() -> None:
    states = [place.state for place in places_to_show(make_inspection(), 4)]
    assert states[0] == "over"
    assert states == sorted(states, key=["over", "doubtful", "unseen"].index)
    calm = places_to_show(make_inspection(limit="2.4mm", unseen=False), 3)
    assert [place.title for place in calm] == ["largest gap: 1.31 ± 0.06 mm"]


def test_places_outside_the_photo_are_not_magnified() -> None:
    made = make_inspection()
    assert min(place.middle_mm for place in places_to_show(made, 9)) < 100
    moved = made.profile.centre_px - np.array([1000.0, 0.0])  # at 8 px/mm: what lies before 110 mm is outside
    shown = places_to_show(replace(made, profile=replace(made.profile, centre_px=moved)), 9)
    assert next(place.state for place in shown) == "over"
    assert min(place.middle_mm for place in shown) > 110


def test_runs_cover_all_stations_in_order() -> None:
    assert runs(["a", "a", "b", "a"]) == [("a", 0, 2), ("b", 2, 3), ("a", 3, 4)]
    assert runs([]) == []


def test_fitted_text_fits_and_is_kept_when_it_does() -> None:
    face = font(20)
    assert fitted("short", face, 500) == "short"
    cut = fitted("long " * 200, face, 200)
    assert text_size(cut, face)[0] <= 200
    assert cut.endswith("…")


def test_a_drawn_photo_gives_all_pictures(drawn: Any) -> None:
    scene = drawn("opening")
    picture = overlay_picture(scene.inspection, scene.path, "drawn")
    assert count(picture, VERMILLION) > 1000
    assert plot_png(scene.inspection).startswith(b"\x89PNG")


def test_joint_line_goes_straight_on_beyond_its_ends() -> None:
    line = joint_line(make_inspection(), 1.0)
    for place_mm in (-4.0, 0.0, 100.25, 210.0, 214.0):
        point, direction = line.at(place_mm)
        np.testing.assert_allclose(point, [120 + 8 * place_mm, 520 - 8 * 20], atol=1e-6)
        np.testing.assert_allclose(direction, [0, -1], atol=1e-6)


def test_words_of_neighbouring_spots_do_not_cover_each_other() -> None:
    picture = np.full((700, 1600, 3), 200, np.uint8)
    taken: list[tuple[int, int, int, int]] = []
    for u in (800.0, 805.0, 815.0, 830.0):
        box = joint_drawing._free_box(
            picture, np.array([u, 400.0]), np.array([0.0, -1.0]), (300, 40), 3, taken
        )
        assert box is not None
        assert not any(joint_drawing._overlap(box, other) for other in taken)
        assert 0 <= box[0] < box[2] <= 1600
        assert 0 <= box[1] < box[3] <= 700
        taken.append(box)
