"""Photo quality against what was done to photos: exposure, sampling, tilt, blur; advice by the budget."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.profile import GapProfile, Influence, PhotoQuality, photo_quality
from fitup.profile.needs import Need, need_of
from fitup.profile.quality_factor import FactorState, QualityFactor
from fitup.verdict import DecisionRule, parse_sheet, parse_wire
from tests.drawn_joint import Scene
from tests.perturbing import light_of, motion, photo_of, through

DEMO = Path(__file__).parents[2] / "demo_images"
OPENING = Scene(gap_mm=lambda x: 0.3 + 0.45 * np.exp(-(((x - 120) / 12) ** 2)))


def settings(**more: object) -> InspectionSettings:
    return InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"), **more)


def factor(inspection: Inspection, name: str) -> QualityFactor:
    return next(one for one in inspection.quality.factors if one.name == name)


@pytest.fixture(scope="module")
def light() -> np.ndarray:
    return light_of(OPENING)


@pytest.fixture(scope="module")
def good(light: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> Inspection:
    return inspect(photo_of(light, OPENING, tmp_path_factory.mktemp("good") / "good.png"), settings())


@pytest.fixture(scope="module")
def demo() -> Inspection:
    return inspect(DEMO / "04_taper.jpg", settings())


def test_a_good_photo_is_good_and_asks_for_nothing(good: Inspection) -> None:
    assert good.verdict.word == "within"
    assert good.quality.state is FactorState.GOOD
    assert good.quality.next_photo == ()
    assert good.quality.deciding == ""
    assert all(one.remedy == "" for one in good.quality.factors)


@pytest.mark.parametrize("name", ["h23_target_curled", "h26_target_over_end"])
def test_a_retake_for_a_bent_target_says_so(name: str) -> None:
    truth = json.loads((DEMO / "hostile" / f"{name}.truth.json").read_text(encoding="utf-8"))
    assert truth["targets"][0]["bent"]
    found = inspect(DEMO / "hostile" / f"{name}.jpg", settings())
    assert found.verdict.word == "retake"
    assert "the target is not flat" in found.verdict.advice
    assert "lay the target flat" in found.verdict.advice


def test_a_target_is_flat_unless_it_is_bent() -> None:
    flat, bent = (
        inspect(DEMO / "hostile" / f"{name}.jpg", settings()) for name in ("h01_clean", "h24_target_wrinkled")
    )
    assert factor(flat, "target flat").state is FactorState.GOOD
    assert factor(bent, "target flat").state is FactorState.POOR
    assert "lay the target flat, with magnets or tape at its ends" in bent.quality.next_photo


@pytest.mark.parametrize("name", ["01_good_fit", "04_taper", "09_side_light", "12_portrait"])
def test_tilt_sampling_and_distance_are_those_of_the_truth(name: str) -> None:
    truth = json.loads((DEMO / f"{name}.truth.json").read_text(encoding="utf-8"))
    found = inspect(DEMO / f"{name}.jpg", settings())
    camera = truth["camera"]
    rotation, place = np.array(camera["rotation_target_to_camera"]), np.array(camera["position_mm"])
    tilt = np.degrees(np.arccos(abs(rotation[2, 2])))
    assert factor(found, "tilt").value == pytest.approx(tilt, abs=1.0)
    # Where the decisive gap lies on the plate, 0.1 mm below the print, seen by a pinhole camera.
    station = found.quality.need.station_mm
    at = found.arrises.band.xy_mm[int(np.argmin(np.abs(found.arrises.band.station_mm - station)))]
    point = np.array([*at, -truth["target"]["thickness_mm"]])

    def seen(offset: tuple[float, float]) -> np.ndarray:
        ray = rotation @ (point + np.array([*offset, 0.0]) - place)
        return camera["focal_px"] * ray[:2] / ray[2]

    slopes = np.column_stack([seen((0.5, 0)) - seen((-0.5, 0)), seen((0, 0.5)) - seen((0, -0.5))])
    true_sampling = np.sqrt(abs(np.linalg.det(slopes)))
    assert factor(found, "sampling").value == pytest.approx(true_sampling, rel=0.01)
    turn = np.radians(truth["joint"]["angle_deg"])
    across = (place[:2] - at) @ [-np.sin(turn), np.cos(turn)]
    slant = np.degrees(np.arctan(abs(across) / (place[2] - point[2])))
    assert factor(found, "slant").value == pytest.approx(slant, abs=1.0)


def test_a_smaller_photo_has_as_much_less_sampling(demo: Inspection, tmp_path: Path) -> None:
    with Image.open(DEMO / "04_taper.jpg") as picture:
        exif = picture.getexif()
        half = picture.resize((picture.width // 2, picture.height // 2), Image.Resampling.LANCZOS)
    half.save(tmp_path / "half.jpg", quality=95, exif=exif)
    # All stations count as asked for by a limit that the half photo cannot decide.
    small = inspect(tmp_path / "half.jpg", settings(procedure_limit_mm=1.34))
    ratio = factor(small, "sampling").value / factor(demo, "sampling").value
    assert ratio == pytest.approx(0.5, rel=0.01)
    assert factor(small, "sampling").state is not FactorState.GOOD
    assert "full size" in factor(small, "sampling").remedy


def test_three_times_the_exposure_burns_the_plate_and_says_so(
    good: Inspection, light: np.ndarray, tmp_path: Path
) -> None:
    bright = inspect(photo_of(3 * light, OPENING, tmp_path / "bright.png"), settings())
    assert factor(good, "burnt out").value < 1
    assert factor(bright, "burnt out").value > 50
    assert factor(bright, "burnt out").state is FactorState.POOR
    assert "expose darker" in bright.quality.next_photo[0]
    assert "expose darker" in bright.verdict.advice


def test_a_dark_photo_asks_for_light(light: np.ndarray, tmp_path: Path) -> None:
    dark = inspect(photo_of(0.03 * light, OPENING, tmp_path / "dark.png"), settings())
    assert factor(dark, "dark").value > 50
    assert factor(dark, "dark").remedy == "bring more light to the joint"


def test_a_shaken_photo_says_how_far_and_which_way(light: np.ndarray, tmp_path: Path) -> None:
    scene = replace(OPENING, noise=0.002)
    for degrees, way in ((90.0, "across the joint"), (0.0, "along the joint")):
        shaken = inspect(photo_of(through(light, motion(12, degrees)), scene, tmp_path / "s.png"), settings())
        told = factor(shaken, "motion")
        assert told.words.endswith(way)
        assert told.value == pytest.approx(12, rel=0.3)
        assert told.state is not FactorState.GOOD
        assert shaken.quality.next_photo[0].startswith("rest the phone")


def test_no_sentence_twice_and_remedies_belong_to_advice(demo: Inspection) -> None:
    remedies = [one.remedy for one in demo.quality.advice]
    assert len(set(remedies)) == len(remedies)
    influences = [name for one in demo.quality.advice for name in one.influences]
    assert len(set(influences)) == len(influences)
    assert set(influences) <= {row.name for row in demo.profile.budget}


def test_advice_is_ranked_as_the_budget_recomputed(demo: Inspection) -> None:
    """The same by numbers: halve an act's influences, add all squares anew, and sort by the fall."""
    need = demo.quality.need
    index = int(np.argmin(np.abs(demo.profile.station_mm - need.station_mm)))
    u = {row.name: row.u_mm[index] for row in demo.profile.budget}
    now = float(np.linalg.norm(list(u.values())))
    assert need.u_mm == pytest.approx(demo.profile.u_gap_mm[index])
    falls = []
    for one in demo.quality.advice:
        halved = [value / 2 if name in one.influences else value for name, value in u.items()]
        falls.append(now - float(np.linalg.norm(halved)))
        assert one.fall_mm == pytest.approx(falls[-1])
        assert one.u_after_mm == pytest.approx(now - falls[-1])
    assert falls == sorted(falls, reverse=True)
    assert len(falls) > 2


def made_up(gap: list[float], parts: dict[str, float]) -> GapProfile:
    count = len(gap)
    values, nothing = np.array(gap), np.full((count, 2), np.nan)
    u = np.where(np.isnan(values), np.nan, np.sqrt(sum(part**2 for part in parts.values())))
    return GapProfile(
        station_mm=np.arange(count) * 0.5,
        gap_mm=values,
        u_gap_mm=u,
        near_mm=values,
        far_mm=values,
        near_px=nothing,
        far_px=nothing,
        centre_px=np.zeros((count, 2)),
        unseen_reason=tuple("glare" if np.isnan(one) else "" for one in gap),
        budget=tuple(
            Influence(name=name, u_mm=np.full(count, part), common=True, remedy=f"mind {name}")
            for name, part in parts.items()
        ),
        notes=(),
        step_mm=0.5,
    )


def test_the_decisive_station_is_the_largest_doubtful_gap() -> None:
    parts = {"a": 0.03, "b": 0.04}
    need = need_of(made_up([0.3, 0.85, 0.87, np.nan, 0.5], parts), 0.9, 0.95)
    assert need.station_mm == 1.0
    assert need.u_mm == pytest.approx(0.05)
    assert need.allowed_mm == pytest.approx(0.03 / 1.6449, rel=1e-4)
    assert not need.decided
    # An opening that is told decides the joint: its doubtful rim does not.
    over = need_of(made_up([0.3, 0.87, 1.2, 0.87], parts), 0.9, 0.95)
    assert over.station_mm == 1.0
    assert over.decided
    assert need_of(made_up([np.nan, np.nan], parts), 0.9, 0.95) is None
    assert need_of(made_up([0.89], parts), 0.9, None).decided


@pytest.mark.parametrize(("a", "b", "allowed"), [(0.03, 0.04, 0.045), (0.03, 0.04, 0.2), (0.01, 0.05, 0.02)])
def test_what_an_influence_may_be_solves_the_budget(a: float, b: float, allowed: float) -> None:
    need = Need(station_mm=0.0, gap_mm=0.5, allowed_mm=allowed, parts_mm={"a": a, "b": b})
    share = need.share_allowed(["a"])
    if share > 0:
        assert np.hypot(share * a, b) == pytest.approx(allowed)
    else:
        assert b >= allowed
    assert need.share_allowed(["nothing of that name"]) == np.inf


def test_the_sampling_asked_for_would_decide(demo: Inspection) -> None:
    """At the needed sampling all that is known in pixels shrinks with it, and the budget just decides."""
    station = int(np.argmin(np.abs(demo.profile.gap_mm - 1.2)))
    gap = float(demo.profile.gap_mm[station])
    kept = np.where(np.arange(len(demo.profile.gap_mm)) == station, demo.profile.gap_mm, np.nan)
    alone = replace(
        demo.profile,
        gap_mm=kept,
        u_gap_mm=np.where(np.isnan(kept), np.nan, demo.profile.u_gap_mm),
        unseen_reason=tuple("" if np.isfinite(one) else "covered" for one in kept),
    )
    u = float(demo.profile.u_gap_mm[station])
    limit = gap + 1.6449 * 0.95 * u
    seen = quality_of(demo, alone, limit)
    sampling = next(one for one in seen.factors if one.name == "sampling")
    pixels = {"noise and grain", "tone curve", "blur", "shape of the edges", "floor of the gap"}
    shrunk = [
        row.u_mm[station] * (sampling.value / sampling.needed if row.name in pixels else 1.0)
        for row in demo.profile.budget
    ]
    assert sampling.needed > sampling.value
    assert 1.6449 * np.linalg.norm(shrunk) == pytest.approx(limit - gap, rel=1e-3)
    place = [*demo.arrises.band.xy_mm[station], 0.0]
    away = np.linalg.norm(demo.scale.camera_position_mm - place) * sampling.value / sampling.needed
    centimetres = float(sampling.remedy.removeprefix("come to about ").removesuffix(" cm"))
    assert 10 * centimetres == pytest.approx(away, abs=5.1)
    assert seen.deciding.startswith("a better photo would settle it too: ")
    # A gap at the very limit is settled by no photo.
    assert quality_of(demo, alone, gap + 1e-4).deciding == "no photo settles a gap so near the limit"


def quality_of(inspection: Inspection, profile: GapProfile, limit_mm: float) -> PhotoQuality:
    return photo_quality(
        inspection.photo,
        inspection.scale,
        inspection.arrises,
        inspection.response,
        profile,
        limit_mm=limit_mm,
        probability=0.95,
    )


def test_readings_alone_need_no_certainty(tmp_path: Path, light: np.ndarray) -> None:
    simple = settings(decision=DecisionRule(simple_acceptance=True))
    found = inspect(photo_of(light, OPENING, tmp_path / "p.png"), simple)
    assert found.quality.need.allowed_mm == np.inf
    assert found.quality.deciding == ""


def test_it_costs_next_to_nothing(demo: Inspection) -> None:
    """Under 2 ms of processor on a quiet machine for 12 megapixels; here five times that, for busy ones."""
    spent = []
    for _ in range(5):
        begin = time.process_time()
        quality_of(demo, demo.profile, 0.9)
        spent.append(time.process_time() - begin)
    assert min(spent) < 0.010
