"""The gauge study: what must not change it, what it finds of what was put in, and what it says of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.study.crossed import CrossedStudy, crossed_study
from fitup.study.gauge_words import GOOD_SHARE, verdict_on
from fitup.study.intervals import Term, interval_of
from fitup.study.readings import Readings

NAMES = ("repeatability", "person", "interaction", "reproducibility", "grr", "part", "total")


def readings_of(cells: np.ndarray, order: np.ndarray | None = None) -> Readings:
    part, person, repeat = (index.ravel() for index in np.indices(cells.shape))
    order = np.arange(cells.size) if order is None else order
    return Readings(
        value_mm=cells.ravel()[order],
        part=tuple(f"P{k}" for k in part[order]),
        person=tuple("ABCDEFGH"[k] for k in person[order]),
        repeat=tuple(map(str, repeat[order])),
    )


def drawn(
    random: np.random.Generator,
    shape: tuple[int, int, int] = (10, 3, 3),
    *,
    part: float = 0.25,
    person: float = 0.0,
    both: float = 0.0,
    repeat: float = 0.01,
) -> np.ndarray:
    p, o, r = shape
    return (
        0.6
        + part * random.standard_normal((p, 1, 1))
        + person * random.standard_normal((1, o, 1))
        + both * random.standard_normal((p, o, 1))
        + repeat * random.standard_normal((p, o, r))
    )


def study_of(cells: np.ndarray, **more: float) -> CrossedStudy:
    return crossed_study(readings_of(cells), limit_mm=0.9, **more)


shapes = st.tuples(st.integers(2, 6), st.integers(2, 4), st.integers(2, 4))
seeds = st.integers(0, 2**32 - 1)


@settings(max_examples=40, deadline=None)
@given(shapes, seeds)
def test_order_and_names_change_nothing(shape: tuple[int, int, int], seed: int) -> None:
    random = np.random.default_rng(seed)
    cells = drawn(random, shape, person=0.02)
    plain = study_of(cells)
    mixed = crossed_study(readings_of(cells, random.permutation(cells.size)), limit_mm=0.9)
    turned = study_of(cells[random.permutation(shape[0])][:, random.permutation(shape[1])])
    for other in (mixed, turned):
        for name in NAMES:
            assert getattr(other, name).sigma_mm == pytest.approx(
                getattr(plain, name).sigma_mm, rel=1e-6, abs=1e-9
            )
        assert other.pooled == plain.pooled


@settings(max_examples=40, deadline=None)
@given(shapes, seeds, st.floats(-50, 50), st.floats(0.01, 100))
def test_a_shift_changes_nothing_and_a_scale_all_alike(
    shape: tuple[int, int, int], seed: int, shift: float, scale: float
) -> None:
    cells = drawn(np.random.default_rng(seed), shape, person=0.02, both=0.01)
    plain = study_of(cells)
    moved = crossed_study(readings_of(scale * cells + shift), limit_mm=0.9 * scale)
    for name in NAMES:
        before, after = getattr(plain, name), getattr(moved, name)
        assert after.sigma_mm == pytest.approx(scale * before.sigma_mm, rel=1e-4, abs=1e-7 * scale + 1e-9)
        assert after.share_of_tolerance == pytest.approx(before.share_of_tolerance, rel=1e-3, abs=1e-5)
        assert after.low_mm == pytest.approx(scale * before.low_mm, rel=1e-3, abs=1e-6 * scale + 1e-9)


@settings(max_examples=60, deadline=None)
@given(shapes, seeds, st.floats(0, 0.1), st.floats(0, 0.1), st.sampled_from([0.0, 0.25, 0.99]))
def test_parts_of_a_study_add_up(
    shape: tuple[int, int, int], seed: int, person: float, both: float, alpha: float
) -> None:
    study = study_of(drawn(np.random.default_rng(seed), shape, person=person, both=both), alpha=alpha)
    v = {name: getattr(study, name).variance_mm2 for name in NAMES}
    assert v["grr"] == pytest.approx(v["repeatability"] + v["reproducibility"])
    assert v["reproducibility"] == pytest.approx(v["person"] + v["interaction"])
    assert v["total"] == pytest.approx(v["grr"] + v["part"])
    assert study.grr.share_of_contribution + study.part.share_of_contribution == pytest.approx(1.0)
    assert study.pooled == (study.p_interaction > alpha)
    assert study.anova.total.ss == pytest.approx(
        ((study.cross.value_mm - study.cross.value_mm.mean()) ** 2).sum()
    )
    for name in NAMES:
        one = getattr(study, name)
        assert 0 <= one.low_mm <= one.sigma_mm * (1 + 1e-9)
        assert one.sigma_mm <= one.high_mm * (1 + 1e-9)
    low, high = study.ndc_interval
    assert low <= high
    assert study.ndc >= 1


def test_what_was_put_in_comes_out_on_average() -> None:
    random = np.random.default_rng(5)
    kept = [
        study_of(drawn(random, part=0.2, person=0.03, both=0.02, repeat=0.015), alpha=0.999)
        for _ in range(150)
    ]
    for name, sigma in (("repeatability", 0.015), ("interaction", 0.02), ("person", 0.03), ("part", 0.2)):
        variances = [getattr(study, name).variance_mm2 for study in kept]
        off = np.std(variances) / np.sqrt(len(variances))
        assert abs(np.mean(variances) - sigma**2) < 4 * off, name


@pytest.mark.parametrize("name", ["repeatability", "reproducibility", "grr", "part", "total"])
@pytest.mark.parametrize("both", [0.0, 0.02])
def test_intervals_cover_the_truth_in_95_of_100(name: str, both: float) -> None:
    """Of 1 000 studies; the method is known to be somewhat wide."""
    truth = {"repeatability": 0.015**2, "person": 0.03**2, "interaction": both**2, "part": 0.2**2}
    truth["reproducibility"] = truth["person"] + truth["interaction"]
    truth["grr"] = truth["repeatability"] + truth["reproducibility"]
    truth["total"] = truth["grr"] + truth["part"]
    random = np.random.default_rng(11)
    p, o, r = shape = (10, 3, 3)
    held = []
    for _ in range(1000):
        cells = drawn(random, shape, part=0.2, person=0.03, both=both, repeat=0.015)
        cell = cells.mean(axis=2)
        part, person, all_ = cell.mean(axis=1), cell.mean(axis=0), cells.mean()
        ms = {
            "part": (o * r * ((part - all_) ** 2).sum() / (p - 1), p - 1),
            "person": (p * r * ((person - all_) ** 2).sum() / (o - 1), o - 1),
            "both": (
                r * ((cell - part[:, None] - person + all_) ** 2).sum() / ((p - 1) * (o - 1)),
                (p - 1) * (o - 1),
            ),
            "error": (((cells - cell[..., None]) ** 2).sum() / (p * o * (r - 1)), p * o * (r - 1)),
        }
        wanted = {
            "repeatability": {"error": 1.0},
            "reproducibility": {"person": 1 / (p * r), "both": (p - 1) / (p * r), "error": -1 / r},
            "grr": {"person": 1 / (p * r), "both": (p - 1) / (p * r), "error": 1 - 1 / r},
            "part": {"part": 1 / (o * r), "both": -1 / (o * r)},
        }
        wanted["total"] = {key: wanted["grr"].get(key, 0) + wanted["part"].get(key, 0) for key in ms}
        low, high = interval_of(
            [Term(coefficient=c, ms=ms[key][0], df=ms[key][1]) for key, c in wanted[name].items()]
        )
        held.append(low <= truth[name] <= high)
    assert 0.93 <= np.mean(held) <= 0.985


def test_ndc_interval_covers_the_truth() -> None:
    random = np.random.default_rng(3)
    truth = 1.41 * 0.2 / np.hypot(0.03, 0.015)
    held = []
    for _ in range(60):
        low, high = study_of(drawn(random, part=0.2, person=0.03, repeat=0.015)).ndc_interval
        held.append(low <= truth <= high)
    assert np.mean(held) >= 0.88


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"limit_mm": 0.0}, "limit"),
        ({"limit_mm": float("nan")}, "limit"),
        ({"alpha": 1.0}, "pooling"),
        ({"alpha": -0.1}, "pooling"),
        ({"confidence": 1.0}, "confidence"),
        ({"confidence": 0.1}, "confidence"),
    ],
)
def test_numbers_that_cannot_be(more: dict[str, float], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        crossed_study(readings_of(drawn(np.random.default_rng(1))), **{"limit_mm": 0.9, **more})


def test_readings_all_alike_say_nothing() -> None:
    with pytest.raises(UsageError, match="all readings are the same number"):
        study_of(np.full((5, 3, 2), 0.1 + 0.2))


# ------------------------------------------------------------------------------------------ what it says


def test_a_good_instrument_is_called_suitable() -> None:
    verdict = verdict_on(study_of(drawn(np.random.default_rng(2), repeat=0.005)))
    assert verdict.word == "suitable"
    assert verdict.blame == "repeatability"
    assert verdict.sentence.startswith("Suitable: measuring takes")


def test_suitable_is_not_proven_where_the_interval_reaches_beyond() -> None:
    study = study_of(drawn(np.random.default_rng(2), repeat=0.005, person=0.008))
    assert 6 * study.grr.high_mm / study.limit_mm > GOOD_SHARE
    assert verdict_on(study).sentence.startswith("Suitable by these readings, not proven: measuring takes")


@pytest.mark.parametrize(
    ("put_in", "word", "blame"),
    [
        ({"repeat": 0.08}, "unsuitable", "repeatability"),
        ({"person": 0.09}, "unsuitable", "person"),
        ({"both": 0.09}, "unsuitable", "part × person"),
        ({"repeat": 0.025}, "limited", "repeatability"),
    ],
)
def test_what_is_to_blame_is_named(put_in: dict[str, float], word: str, blame: str) -> None:
    verdict = verdict_on(study_of(drawn(np.random.default_rng(4), **put_in)))
    assert (verdict.word, verdict.blame) == (word, blame)
    assert verdict.blame_share > 0.5


def test_parts_too_alike_are_told_apart_from_a_bad_instrument() -> None:
    verdict = verdict_on(study_of(drawn(np.random.default_rng(4), part=0.005, repeat=0.008)))
    assert verdict.word == "limited"
    assert "differ too little" in verdict.advice


def test_repeats_that_are_copies_prove_nothing() -> None:
    cells = np.repeat(drawn(np.random.default_rng(4), (5, 3, 2))[:, :, :1], 2, axis=2)
    study = study_of(cells)
    verdict = verdict_on(study)
    assert verdict.word == "unproven"
    assert "copied" in verdict.advice


def test_negative_components_are_zero_and_told() -> None:
    cells = drawn(np.random.default_rng(0), (8, 3, 3), person=0.0)
    off = cells.mean(axis=(0, 2)) - cells.mean()
    cells -= 0.4 * off[None, :, None]  # persons agree better than chance allows
    study = study_of(cells)
    assert study.person.variance_mm2 == 0
    assert study.person.set_to_zero
    assert study.person.high_mm > 0
    assert "person" in " ".join(verdict_on(study).cautions)


def test_pooling_is_told_with_its_rule() -> None:
    cells = drawn(np.random.default_rng(8), both=0.03)
    kept = study_of(cells)
    assert not kept.pooled
    assert "was kept" in verdict_on(kept).pooling
    pooled = study_of(cells, alpha=0.0)
    assert pooled.interaction.variance_mm2 == 0
    assert "pooled" in verdict_on(pooled).pooling


@pytest.mark.parametrize("alpha", [0.0, 0.999])
def test_every_interval_is_that_of_its_sum_of_mean_squares(alpha: float) -> None:
    """Coefficients from the expected mean squares of the textbook, written out once more."""
    p, o, r = shape = (6, 3, 2)
    cells = drawn(np.random.default_rng(12), shape, part=0.2, person=0.03, both=0.02)
    study = study_of(cells, alpha=alpha)
    table = study.anova
    rows = {"P": table.part, "O": table.person, "I": table.interaction, "E": table.repeat, "L": table.pooled}
    if study.pooled:
        wanted = {
            "repeatability": {"L": 1},
            "person": {"O": 1 / (p * r), "L": -1 / (p * r)},
            "reproducibility": {"O": 1 / (p * r), "L": -1 / (p * r)},
            "grr": {"O": 1 / (p * r), "L": 1 - 1 / (p * r)},
            "part": {"P": 1 / (o * r), "L": -1 / (o * r)},
            "total": {"P": 1 / (o * r), "O": 1 / (p * r), "L": 1 - 1 / (p * r) - 1 / (o * r)},
        }
        assert (study.interaction.low_mm, study.interaction.sigma_mm, study.interaction.high_mm) == (0, 0, 0)
    else:
        wanted = {
            "repeatability": {"E": 1},
            "person": {"O": 1 / (p * r), "I": -1 / (p * r)},
            "interaction": {"I": 1 / r, "E": -1 / r},
            "reproducibility": {"O": 1 / (p * r), "I": (p - 1) / (p * r), "E": -1 / r},
            "grr": {"O": 1 / (p * r), "I": (p - 1) / (p * r), "E": 1 - 1 / r},
            "part": {"P": 1 / (o * r), "I": -1 / (o * r)},
            "total": {
                "P": 1 / (o * r),
                "O": 1 / (p * r),
                "I": (p - 1) / (p * r) - 1 / (o * r),
                "E": 1 - 1 / r,
            },
        }
    for name, coefficients in wanted.items():
        one = getattr(study, name)
        terms = [Term(coefficient=c, ms=rows[key].ms, df=rows[key].df) for key, c in coefficients.items()]
        assert one.variance_mm2 == pytest.approx(sum(term.value for term in terms)), name
        low, high = interval_of(terms)
        assert (one.low_mm**2, one.high_mm**2) == pytest.approx((low, high), abs=1e-12), name
    assert study.q_mp == pytest.approx(4 * study.grr.sigma_mm / 0.9)
    assert study.ndc_exact == pytest.approx(1.41 * study.part.sigma_mm / study.grr.sigma_mm)


def test_a_narrower_confidence_gives_narrower_intervals() -> None:
    cells = drawn(np.random.default_rng(12), person=0.03)
    wide, narrow = study_of(cells), study_of(cells, confidence=0.8)
    for name in ("repeatability", "grr", "part"):
        assert getattr(wide, name).low_mm < getattr(narrow, name).low_mm
        assert getattr(wide, name).high_mm > getattr(narrow, name).high_mm
    assert wide.ndc_interval[0] < narrow.ndc_interval[0] < narrow.ndc_interval[1] < wide.ndc_interval[1]
