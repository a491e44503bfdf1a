"""Shop rules and weld settings as objects: defaults, ranges, and the sentences of what is out of range."""

from __future__ import annotations

import pickle

import pytest

from fitup.errors import UsageError
from fitup.joint import JointKind
from fitup.verdict import DEFAULT_RULES, ByKind, DecisionRule, Procedure, ShopRules, WeldSettings

INF, NAN = float("inf"), float("nan")


def test_defaults_are_what_readme_says() -> None:
    assert ShopRules() == DEFAULT_RULES
    assert DEFAULT_RULES.bridge_factor.all == (1.0,)
    assert DEFAULT_RULES.reinforcement_mm2.all == (0.0,)
    assert (DEFAULT_RULES.required_land_mm, DEFAULT_RULES.no_wire_share) == (0.0, 0.1)
    assert DEFAULT_RULES.decision == DecisionRule()
    assert DEFAULT_RULES.bridge_source == "common practice, no source"
    assert DEFAULT_RULES.fill_source == "metal fed = metal needed"
    assert DEFAULT_RULES.reach_source == "the beam must touch both plates"
    assert DEFAULT_RULES.no_wire_source == "EWI 2015, common practice for laser butt joints without filler"
    assert (DEFAULT_RULES.procedures, DEFAULT_RULES.wires_in_stock) == ((), ())
    assert (DEFAULT_RULES.words, DEFAULT_RULES.sha256) == ("default rules", "")
    assert ShopRules(file_name="rt.toml").words == "shop rules rt.toml"


def test_rules_go_to_other_processes() -> None:
    assert pickle.loads(pickle.dumps(DEFAULT_RULES)) == DEFAULT_RULES


def test_numbers_by_kind() -> None:
    factor = ByKind(usual=1.0, by_kind=((JointKind.LAP, 0.8), (JointKind.TEE, 0.9)))
    assert [factor.of(kind) for kind in (JointKind.LAP, JointKind.TEE, JointKind.BUTT)] == [0.8, 0.9, 1.0]
    assert factor.all == (1.0, 0.8, 0.9)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"bridge_factor": ByKind(usual=0.0)}, "the bridge factor must be above 0 and at most 3, not 0."),
        ({"bridge_factor": ByKind(usual=3.01)}, "the bridge factor must be above 0 and at most 3, not 3.01."),
        (
            {"bridge_factor": ByKind(usual=1.0, by_kind=((JointKind.LAP, NAN),))},
            "the bridge factor must be above 0 and at most 3, not nan.",
        ),
        (
            {"reinforcement_mm2": ByKind(usual=-0.1)},
            "the reinforcement must be from 0 to 50 mm², not -0.1 mm².",
        ),
        (
            {"reinforcement_mm2": ByKind(usual=0.0, by_kind=((JointKind.TEE, 50.1),))},
            "the reinforcement must be from 0 to 50 mm², not 50.1 mm².",
        ),
        ({"required_land_mm": 10.1}, "the required land must be from 0 to 10 mm, not 10.1 mm."),
        ({"required_land_mm": -0.1}, "the required land must be from 0 to 10 mm, not -0.1 mm."),
        ({"no_wire_share": 0.0}, "the share of the sheet without wire must be above 0 and at most 1, not 0."),
        (
            {"no_wire_share": 1.1},
            "the share of the sheet without wire must be above 0 and at most 1, not 1.1.",
        ),
    ],
)
def test_numbers_out_of_their_range_are_refused(values: dict[str, object], sentence: str) -> None:
    with pytest.raises(UsageError) as caught:
        ShopRules(**values)  # type: ignore[arg-type]
    assert str(caught.value) == sentence


def test_the_bounds_themselves_are_taken() -> None:
    ShopRules(
        bridge_factor=ByKind(usual=3.0),
        reinforcement_mm2=ByKind(usual=50.0),
        required_land_mm=10.0,
        no_wire_share=1.0,
    )


def test_procedures_have_a_limit_and_sheets_in_order() -> None:
    with pytest.raises(UsageError, match="the procedure limit must be above 0 and at most 10 mm, not 0 mm"):
        Procedure(limit_mm=0.0, reference="x")
    with pytest.raises(UsageError) as caught:
        Procedure(limit_mm=0.5, reference="x", sheet_from_mm=2.0, sheet_to_mm=1.0)
    assert str(caught.value) == "sheets from 2 to 1 mm are none: write the thinner one first."
    assert Procedure(limit_mm=10.0, reference="x", sheet_from_mm=1.0, sheet_to_mm=1.0).conditions == 2


@pytest.mark.parametrize(
    ("name", "low", "high", "sentence"),
    [
        ("feed_mm_s", 0.1, 1000.0, "the wire feed must be from 0.1 to 1000 mm/s, not {} mm/s."),
        ("travel_mm_s", 0.1, 1000.0, "the travel speed must be from 0.1 to 1000 mm/s, not {} mm/s."),
        ("oscillation_mm", 0.0, 20.0, "the oscillation's width must be from 0 to 20 mm, not {} mm."),
        ("oscillation_hz", 0.1, 1e4, "the oscillation's frequency must be from 0.1 to 10000 Hz, not {} Hz."),
        ("spot_mm", 0.01, 10.0, "the spot size must be from 0.01 to 10 mm, not {} mm."),
        ("power_w", 1.0, 1e5, "the power must be from 1 to 100000 W, not {} W."),
    ],
)
def test_weld_settings_have_ranges(name: str, low: float, high: float, sentence: str) -> None:
    for value in (low, high):
        assert getattr(WeldSettings(**{name: value}), name) == value
    for value in (low - 0.001, high + 1, NAN, INF, -INF):
        with pytest.raises(UsageError) as caught:
            WeldSettings(**{name: value})
        assert str(caught.value) == sentence.format(f"{value:g}")


def test_nothing_said_is_none() -> None:
    assert set(vars(WeldSettings()).values()) == {None}
