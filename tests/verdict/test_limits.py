from __future__ import annotations

import pytest

from fitup.errors import UsageError
from fitup.verdict import JointKind, Limit, Wire, fillable_gap, parse_wire

WIRE = parse_wire("035")


def test_without_more_the_wire_diameter_is_the_limit_and_says_it_has_no_source() -> None:
    limit = fillable_gap(WIRE)
    assert limit.limit_mm == 0.889
    assert limit.rule == "bridge"
    assert "1 × wire 0.889 mm = 0.889 mm" in limit.sentence
    assert "common practice, no source" in limit.sentence
    assert [candidate.code for candidate in limit.candidates] == ["bridge"]


def test_a_seam_is_judged_like_a_butt_joint() -> None:
    assert fillable_gap(WIRE, "seam").limit_mm == fillable_gap(WIRE, JointKind.BUTT).limit_mm


def test_the_bridge_factor_scales_the_wire() -> None:
    assert fillable_gap(WIRE, bridge_factor=0.5).limit_mm == 0.889 * 0.5


def test_a_smaller_procedure_limit_wins() -> None:
    limit = fillable_gap(WIRE, procedure_limit_mm=0.5)
    assert (limit.limit_mm, limit.rule) == (0.5, "procedure")
    assert "above" not in limit.sentence
    assert {candidate.code: candidate.limit_mm for candidate in limit.candidates} == {
        "bridge": 0.889,
        "procedure": 0.5,
    }


def test_a_larger_procedure_limit_wins_too_and_says_that_the_wire_bridges_less() -> None:
    limit = fillable_gap(WIRE, procedure_limit_mm=1.2)
    assert (limit.limit_mm, limit.rule) == (1.2, "procedure")
    assert "above the bridge limit of 0.889 mm" in limit.sentence


@pytest.mark.parametrize("limit_mm", [0.0, -0.5, float("nan"), float("inf"), 10.01])
def test_senseless_limits_are_refused(limit_mm: float) -> None:
    with pytest.raises(UsageError, match="must be above 0 and at most 10 mm"):
        fillable_gap(WIRE, procedure_limit_mm=limit_mm)
    with pytest.raises(UsageError, match="must be above 0 and at most 10 mm"):
        Limit(limit_mm=limit_mm, rule="procedure", sentence="")


@pytest.mark.parametrize("factor", [0.0, -1.0, float("nan"), float("inf"), 3.1])
def test_senseless_bridge_factors_are_refused(factor: float) -> None:
    with pytest.raises(UsageError, match="bridge factor"):
        fillable_gap(WIRE, bridge_factor=factor)


@pytest.mark.parametrize("kind", ["corner", "scarf", "", "Butt "])
def test_unknown_joint_kinds_are_refused(kind: str) -> None:
    with pytest.raises(UsageError, match="butt, seam, "):
        fillable_gap(WIRE, kind)


def test_the_thickest_wire_at_the_largest_factor_is_still_a_limit() -> None:
    assert fillable_gap(Wire(diameter_mm=3.2, as_written="3.2"), bridge_factor=3.0).limit_mm < 10


def test_a_joint_that_no_rule_limits_is_told_why_rule_by_rule() -> None:
    with pytest.raises(UsageError) as caught:
        fillable_gap(None)
    assert str(caught.value) == (
        "no rule gives this joint a limit (bridge: the joint is made without wire; fill: the joint is made "
        "without wire; reach: needs --oscillation; no wire: needs --sheet; procedure: no limit is given "
        "(--limit, or the shop's rules)): give one with --limit."
    )


def test_limits_are_told_word_by_word() -> None:
    bridge = "bridge rule: 1 × wire 0.889 mm = 0.889 mm in a butt joint (common practice, no source)"
    assert fillable_gap(WIRE).sentence == bridge
    procedure = "procedure rule: {} mm for a butt joint (given by the user)"
    assert fillable_gap(WIRE, procedure_limit_mm=0.5).sentence == procedure.format("0.5")
    assert fillable_gap(WIRE, procedure_limit_mm=0.889).sentence == procedure.format("0.889")
    assert fillable_gap(WIRE, procedure_limit_mm=1.2).sentence == (
        f"{procedure.format('1.2')}; this is above the bridge limit of 0.889 mm"
    )


def test_the_largest_limit_is_taken_and_a_larger_one_named() -> None:
    assert fillable_gap(WIRE, procedure_limit_mm=10.0).limit_mm == 10.0
    with pytest.raises(UsageError) as caught:
        Limit(limit_mm=10.5, rule="procedure", sentence="")
    assert str(caught.value) == "the gap limit must be above 0 and at most 10 mm, not 10.5 mm."
