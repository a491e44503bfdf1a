"""Every rule by itself, and how they make the limit: numbers, sentences, boundaries, monotony."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.joint import JointKind, JointSetup
from fitup.verdict import (
    ByKind,
    Candidate,
    JointCase,
    NotApplied,
    Procedure,
    ShopRules,
    WeldSettings,
    fillable_gap,
    limit_for,
    parse_sheet,
    parse_wire,
)
from fitup.verdict.limits import combine
from fitup.verdict.rules import BridgeRule, FillRule, NoWireRule, ProcedureRule, ReachRule, rules_of

WIRE = parse_wire("035")
SHEET = parse_sheet("18ga stainless")
BUTT = JointCase(wire=WIRE, sheet=SHEET)


def butt(**changes: object) -> JointCase:
    return replace(BUTT, **changes)  # type: ignore[arg-type]


def weld(**values: float) -> JointCase:
    return butt(weld=WeldSettings(**values))


def allowed(answer: Candidate | NotApplied) -> Candidate:
    assert isinstance(answer, Candidate)
    return answer


def refused(answer: Candidate | NotApplied) -> str:
    assert isinstance(answer, NotApplied)
    return answer.reason


def test_every_rule_has_a_code_a_question_and_its_place() -> None:
    assert [(rule.code, rule.question) for rule in rules_of(ShopRules())] == [
        ("bridge", "Can the molten wire bridge the gap?"),
        ("fill", "Does the wire that is fed fill the gap?"),
        ("reach", "Does the beam reach both plates?"),
        ("no wire", "Do the plates close the gap themselves?"),
        ("procedure", "What does the procedure for this joint allow?"),
    ]


def test_answers_carry_code_and_question_of_their_rule() -> None:
    cases = (weld(feed_mm_s=9.0, travel_mm_s=9.0, oscillation_mm=2.0), butt(wire=None), BUTT)
    for case in (*cases, butt(procedure_limit_mm=0.5)):
        for rule in rules_of(ShopRules()):
            answer = rule.answer(case)
            assert (answer.code, answer.question) == (rule.code, rule.question)


# ------------------------------------------------------------------------------------------------- bridge


def test_bridge_is_the_wire_times_one() -> None:
    found = allowed(BridgeRule().answer(BUTT))
    assert found.limit_mm == 0.889
    assert found.sentence == (
        "bridge rule: 1 × wire 0.889 mm = 0.889 mm in a butt joint (common practice, no source)"
    )


def test_bridge_has_its_factor_by_kind_and_source() -> None:
    rule = BridgeRule(factor=ByKind(usual=1.0, by_kind=((JointKind.LAP, 0.8),)), source="trial 7")
    lap = allowed(rule.answer(butt(setup=JointSetup.of("lap"))))
    assert lap.limit_mm == pytest.approx(0.7112)
    assert lap.sentence == "bridge rule: 0.8 × wire 0.889 mm = 0.711 mm in a lap joint (trial 7)"
    assert allowed(rule.answer(BUTT)).limit_mm == 0.889


def test_a_factor_that_is_given_wins_and_says_so() -> None:
    found = allowed(BridgeRule(factor=ByKind(usual=0.7), source="trial 7").answer(butt(bridge_factor=0.5)))
    assert (found.limit_mm, found.source) == (0.4445, "factor given by the user")


def test_bridge_needs_a_wire() -> None:
    assert refused(BridgeRule().answer(butt(wire=None))) == "the joint is made without wire"


# --------------------------------------------------------------------------------------------------- fill


def test_fill_of_the_worked_case() -> None:
    """Common practice, no source: 0.889 mm wire at 12.7 mm/s, 6.98 mm/s travel, 1.27 mm sheet, 0.889 mm."""
    found = allowed(FillRule().answer(weld(feed_mm_s=12.7, travel_mm_s=6.98)))
    assert found.limit_mm == pytest.approx(0.889, abs=0.0005)
    assert found.formula == (
        "wire π/4 × 0.889 × 0.889 = 0.6207 mm²; groove of a butt joint = gap × sheet 1.27 mm; "
        "(0.6207 mm² × feed 12.7 mm/s / travel 6.98 mm/s − reinforcement 0 mm²) / 1.27 mm = 0.889 mm"
    )
    assert found.sentence == (
        "fill rule: 0.889 mm wire at 12.7 mm/s feed and 6.98 mm/s travel fills 0.889 mm in a butt joint "
        "(metal fed = metal needed)"
    )
    assert found.remedy == ""


def test_numbers_put_in_keep_four_decimals() -> None:
    """3/64 in wire is 1.190625 mm, 18 ga by the manufacturers' standard 1.21412 mm."""
    case = replace(
        weld(feed_mm_s=10.0, travel_mm_s=10.0), wire=parse_wire("3/64in"), sheet=parse_sheet("18ga steel")
    )
    found = allowed(FillRule().answer(case))
    assert found.formula == (
        "wire π/4 × 1.1906 × 1.1906 = 1.1134 mm²; groove of a butt joint = gap × sheet 1.2141 mm; "
        "(1.1134 mm² × feed 10 mm/s / travel 10 mm/s − reinforcement 0 mm²) / 1.2141 mm = 0.917 mm"
    )
    assert found.words.startswith("1.1906 mm wire at 10 mm/s feed and 10 mm/s travel fills 0.917 mm")
    assert allowed(BridgeRule().answer(replace(case, bridge_factor=0.88888))).formula == (
        "0.8889 × wire 1.1906 mm = 1.058 mm in a butt joint"
    )
    bare = replace(case, wire=None)
    assert allowed(NoWireRule(share=0.11116).answer(bare)).formula == (
        "0.1112 × sheet 1.2141 mm = 0.135 mm in a butt joint without wire"
    )


def test_fill_of_an_open_corner_with_reinforcement() -> None:
    rule = FillRule(
        reinforcement_mm2=ByKind(usual=9.0, by_kind=((JointKind.CORNER_FULL_OPEN, 0.1),)), source="WPS 3"
    )
    case = replace(weld(feed_mm_s=20.0, travel_mm_s=8.0), setup=JointSetup.of("corner-full-open"))
    found = allowed(rule.answer(case))
    fed = math.pi / 4 * 0.889**2 * 20 / 8
    assert found.limit_mm == pytest.approx((fed - 0.1 - 1.27**2 / 2) / (1.27 / math.sqrt(2)), rel=1e-12)
    assert found.formula == (
        "wire π/4 × 0.889 × 0.889 = 0.6207 mm²; groove of a full-open corner = 1.27 × 1.27 × sin 90° / 2 "
        "+ gap × (1.27 + 1.27) / 2 × sin 45° = 0.8065 mm² + gap × 0.898 mm; (0.6207 mm² × feed 20 mm/s "
        "/ travel 8 mm/s − reinforcement 0.1 mm² − closed groove 0.8065 mm²) / 0.898 mm = 0.719 mm"
    )
    assert found.source == "WPS 3"


def test_settings_that_fill_not_even_a_closed_joint_allow_nothing_and_say_what_would_help() -> None:
    corner = replace(weld(feed_mm_s=10.0, travel_mm_s=10.0), setup=JointSetup.of("corner-full-open"))
    found = allowed(FillRule().answer(corner))
    assert found.limit_mm == 0
    assert found.formula.endswith("/ 0.898 mm = -0.207 mm")
    assert found.remedy == (
        "feed faster than 12.99 mm/s or travel slower than 7.7 mm/s, or give the procedure's "
        "limit with --limit"
    )
    assert found.sentence == (
        "fill rule: 0.889 mm wire at 10 mm/s feed and 10 mm/s travel does not fill a full-open corner "
        "that is closed (metal fed = metal needed)"
    )
    with pytest.raises(UsageError) as caught:
        limit_for(corner)
    assert str(caught.value) == f"not even a closed joint meets the {found.sentence}: {found.remedy}."


def test_a_procedure_wins_over_settings_that_do_not_fill() -> None:
    corner = replace(weld(feed_mm_s=10.0, travel_mm_s=10.0), setup=JointSetup.of("corner-full-open"))
    limit = limit_for(replace(corner, procedure_limit_mm=0.4))
    assert (limit.limit_mm, limit.rule) == (0.4, "procedure")
    assert limit.sentence.endswith("; this is above the fill limit of 0 mm")


def test_exactly_filled_and_closed_allows_nothing() -> None:
    """The boundary between a limit and none."""
    area = math.pi / 4 * 0.889**2
    rule = FillRule(reinforcement_mm2=ByKind(usual=area))
    found = allowed(rule.answer(weld(feed_mm_s=10.0, travel_mm_s=10.0)))
    assert found.limit_mm == 0
    assert found.remedy.startswith("feed faster than 10 mm/s or travel slower than 10 mm/s")
    assert "does not fill a butt joint that is closed" in found.sentence


@pytest.mark.parametrize(
    ("case", "reason"),
    [
        (BUTT, "needs --feed and --travel"),
        (butt(sheet=None), "needs --sheet, --feed and --travel"),
        (weld(feed_mm_s=9.0), "needs --travel"),
        (weld(travel_mm_s=9.0), "needs --feed"),
        (replace(weld(feed_mm_s=9.0, travel_mm_s=9.0), sheet=None), "needs --sheet"),
        (replace(weld(feed_mm_s=9.0, travel_mm_s=9.0), wire=None), "the joint is made without wire"),
    ],
)
def test_fill_says_what_it_lacks(case: JointCase, reason: str) -> None:
    assert refused(FillRule().answer(case)) == reason


# -------------------------------------------------------------------------------------------------- reach


def test_reach_without_spot_says_that_it_counts_nothing() -> None:
    found = allowed(ReachRule(land_mm=0.25).answer(weld(oscillation_mm=2.0)))
    assert found.limit_mm == 1.5
    assert found.sentence == (
        "reach rule: oscillation 2 mm + spot not given, counts 0 mm − 2 × required land 0.25 mm = 1.5 mm "
        "in a butt joint (the beam must touch both plates)"
    )


def test_reach_with_spot() -> None:
    found = allowed(ReachRule(source="WPS 3").answer(weld(oscillation_mm=2.0, spot_mm=0.15)))
    assert found.limit_mm == 2.15
    assert found.formula == (
        "oscillation 2 mm + spot 0.15 mm − 2 × required land 0 mm = 2.15 mm in a butt joint"
    )
    assert (found.source, found.remedy) == ("WPS 3", "")


def test_a_beam_without_oscillation_reaches_as_far_as_its_spot() -> None:
    assert allowed(ReachRule().answer(weld(oscillation_mm=0.0, spot_mm=0.2))).limit_mm == 0.2


@pytest.mark.parametrize("oscillation_mm", [0.5, 0.4])
def test_a_beam_narrower_than_both_lands_allows_nothing(oscillation_mm: float) -> None:
    found = allowed(ReachRule(land_mm=0.3).answer(weld(oscillation_mm=oscillation_mm, spot_mm=0.1)))
    assert found.limit_mm == 0
    assert found.remedy == "oscillate wider than 0.5 mm, or give the procedure's limit with --limit"
    without_spot = allowed(ReachRule(land_mm=0.3).answer(weld(oscillation_mm=oscillation_mm)))
    assert without_spot.remedy == "oscillate wider than 0.6 mm, or give the procedure's limit with --limit"


def test_a_beam_that_reaches_has_no_remedy_however_small_its_limit() -> None:
    found = allowed(ReachRule(land_mm=0.3).answer(weld(oscillation_mm=0.61)))
    assert found.limit_mm == pytest.approx(0.01)
    assert found.remedy == ""


def test_reach_needs_the_oscillation() -> None:
    assert refused(ReachRule().answer(weld(spot_mm=0.2))) == "needs --oscillation"


def test_land_that_is_left_of_the_trades_settings() -> None:
    """2 mm oscillation over a 0.889 mm gap leaves 0.556 mm on each side, spot not counted (no source)."""
    assert ReachRule().left_mm(weld(oscillation_mm=2.0), 0.889) == pytest.approx(0.5555)
    assert ReachRule().left_mm(weld(oscillation_mm=2.0, spot_mm=0.2), 0.889) == pytest.approx(0.6555)
    assert ReachRule().left_mm(BUTT, 0.889) is None


# ------------------------------------------------------------------------------------------------ no wire


def test_without_wire_a_tenth_of_the_thinner_sheet() -> None:
    found = allowed(NoWireRule().answer(butt(wire=None)))
    assert found.limit_mm == pytest.approx(0.127)
    assert found.sentence == (
        "no wire rule: 0.1 × sheet 1.27 mm = 0.127 mm in a butt joint without wire "
        "(EWI 2015, common practice for laser butt joints without filler)"
    )
    thin = butt(wire=None, other_sheet=parse_sheet("1mm"))
    assert allowed(NoWireRule(share=0.05, source="WPS 3").answer(thin)).sentence == (
        "no wire rule: 0.05 × thinner sheet 1 mm = 0.05 mm in a butt joint without wire (WPS 3)"
    )


def test_no_wire_is_about_joints_without_wire_and_needs_the_sheet() -> None:
    assert refused(NoWireRule().answer(BUTT)) == "the joint is made with wire"
    assert refused(NoWireRule().answer(butt(wire=None, sheet=None))) == "needs --sheet"


# ---------------------------------------------------------------------------------------------- procedure

ANY = Procedure(limit_mm=0.9, reference="WPS 1")
LAPS = Procedure(limit_mm=0.4, reference="WPS 2", joint_kinds=(JointKind.LAP, JointKind.TEE))
THIN = Procedure(limit_mm=0.6, reference="WPS 3", sheet_from_mm=1.0, sheet_to_mm=1.5)
WIRED = Procedure(limit_mm=0.7, reference="WPS 4", wire_mm=0.889)
NARROW = Procedure(limit_mm=0.5, reference="WPS 5", wire_mm=0.889)


def source_of(*procedures: Procedure, case: JointCase = BUTT) -> str:
    answer = ProcedureRule(procedures=procedures, rules_words="shop rules a.toml").answer(case)
    return answer.source if isinstance(answer, Candidate) else answer.reason


def test_the_procedure_that_asks_most_of_the_joint_counts_and_of_equals_the_smaller() -> None:
    assert source_of(ANY) == "WPS 1, shop rules a.toml"
    assert source_of(ANY, LAPS) == "WPS 1, shop rules a.toml"
    assert source_of(ANY, WIRED) == "WPS 4, shop rules a.toml"
    assert source_of(ANY, WIRED, NARROW) == source_of(NARROW, WIRED) == "WPS 5, shop rules a.toml"
    assert source_of(NARROW, THIN, ANY) == "WPS 3, shop rules a.toml"
    assert source_of(ANY, LAPS, case=butt(setup=JointSetup.of("tee"))) == "WPS 2, shop rules a.toml"


def test_procedures_for_other_joints_do_not_count() -> None:
    none = "none of the 1 in the shop rules a.toml is for this joint"
    assert source_of(LAPS) == none
    assert source_of(WIRED, case=butt(wire=parse_wire("0.9mm"))) == none
    assert source_of(WIRED, case=butt(wire=None)) == none
    assert source_of(THIN, case=butt(sheet=None)) == none
    assert source_of(THIN, case=butt(other_sheet=parse_sheet("1.6mm"))) == none
    assert source_of(THIN, case=butt(sheet=parse_sheet("0.9mm"))) == none
    assert source_of() == "no limit is given (--limit, or the shop's rules)"


@pytest.mark.parametrize("thickness", ["1mm", "1.5mm"])
def test_the_bounds_of_a_procedure_belong_to_it(thickness: str) -> None:
    assert source_of(THIN, case=butt(sheet=parse_sheet(thickness))) == "WPS 3, shop rules a.toml"


def test_one_bound_alone_leaves_the_other_side_open() -> None:
    from_1 = replace(THIN, sheet_to_mm=None)
    to_1 = replace(THIN, sheet_from_mm=None, sheet_to_mm=1.0)
    assert source_of(from_1, case=butt(sheet=parse_sheet("12mm"))).startswith("WPS 3")
    assert source_of(to_1, case=butt(sheet=parse_sheet("0.3mm"))).startswith("WPS 3")
    assert source_of(to_1).startswith("none")
    for one_sided in (from_1, to_1):
        assert source_of(one_sided, case=butt(sheet=None)).startswith("none")


def test_a_procedure_for_any_sheet_needs_none() -> None:
    assert source_of(ANY, case=butt(sheet=None)) == "WPS 1, shop rules a.toml"


def test_a_limit_given_for_the_joint_comes_before_the_shops() -> None:
    case = butt(procedure_limit_mm=1.2)
    found = allowed(ProcedureRule(procedures=(WIRED,)).answer(case))
    assert found.sentence == "procedure rule: 1.2 mm for a butt joint (given by the user)"
    assert source_of(WIRED, case=replace(case, procedure_reference="WPS 9")) == "WPS 9"


def test_a_limit_given_for_the_joint_has_its_range() -> None:
    with pytest.raises(UsageError) as caught:
        ProcedureRule().answer(butt(procedure_limit_mm=10.5))
    assert str(caught.value) == "the procedure limit must be above 0 and at most 10 mm, not 10.5 mm."


def test_conditions_are_counted() -> None:
    assert [one.conditions for one in (ANY, LAPS, THIN, WIRED)] == [0, 1, 2, 1]


# --------------------------------------------------------------------------------------- the limit of all


def candidate(code: str, limit_mm: float) -> Candidate:
    return Candidate(code=code, question="?", limit_mm=limit_mm, formula=f"{limit_mm:g} mm", source="s")


LIMITS = st.lists(st.floats(0.01, 10.0), min_size=1, max_size=5)


@given(limits=LIMITS)
def test_the_limit_is_the_smallest(limits: list[float]) -> None:
    limit = combine(tuple(candidate(f"rule {n}", value) for n, value in enumerate(limits)))
    assert limit.limit_mm == min(limits)
    assert limit.rule == f"rule {limits.index(min(limits))}"


@given(limits=LIMITS, procedure=st.floats(0.01, 10.0), place=st.integers(0, 5))
def test_the_procedure_wins_wherever_it_stands(limits: list[float], procedure: float, place: int) -> None:
    others = [candidate(f"rule {n}", value) for n, value in enumerate(limits)]
    others.insert(place, candidate("procedure", procedure))
    limit = combine(tuple(others))
    assert (limit.limit_mm, limit.rule) == (procedure, "procedure")
    assert ("this is above" in limit.sentence) == (procedure > min(limits))


def test_all_rules_together() -> None:
    case = weld(feed_mm_s=12.7, travel_mm_s=8.0, oscillation_mm=2.0)
    limit = limit_for(case)
    assert limit.rule == "fill"
    assert limit.limit_mm == pytest.approx(math.pi / 4 * 0.889**2 * 12.7 / 8 / 1.27)
    assert [one.code for one in limit.candidates] == ["bridge", "fill", "reach"]
    assert [(one.code, one.reason) for one in limit.not_applied] == [
        ("no wire", "the joint is made with wire"),
        ("procedure", "no limit is given (--limit, or the shop's rules)"),
    ]


def test_every_number_of_the_shop_and_its_source_reach_the_rules() -> None:
    rules = ShopRules(
        bridge_factor=ByKind(usual=0.8),
        bridge_source="source 1",
        reinforcement_mm2=ByKind(usual=0.1),
        fill_source="source 2",
        required_land_mm=0.25,
        reach_source="source 3",
        no_wire_share=0.2,
        no_wire_source="source 4",
        procedures=(ANY,),
        file_name="a.toml",
    )
    case = replace(weld(feed_mm_s=10.0, travel_mm_s=10.0, oscillation_mm=2.0), rules=rules)
    found = {one.code: (round(one.limit_mm, 4), one.source) for one in limit_for(case).candidates}
    assert found == {
        "bridge": (0.7112, "source 1"),
        "fill": (0.41, "source 2"),  # (0.6207 - 0.1) / 1.27
        "reach": (1.5, "source 3"),
        "procedure": (0.9, "WPS 1, shop rules a.toml"),
    }
    bare = limit_for(replace(case, wire=None)).candidates
    assert [(one.code, round(one.limit_mm, 4), one.source) for one in bare if one.code == "no wire"] == [
        ("no wire", 0.254, "source 4")
    ]


def test_a_narrow_beam_sets_the_limit() -> None:
    assert limit_for(weld(oscillation_mm=0.5)).rule == "reach"


def test_the_notebooks_one_line_takes_all_that_rules_ask() -> None:
    limit = fillable_gap(
        None,
        "lap",
        sheet=SHEET,
        other_sheet=parse_sheet("1mm"),
        weld=WeldSettings(oscillation_mm=0.06),
        rules=ShopRules(no_wire_share=0.5),
    )
    assert (limit.limit_mm, limit.rule) == (0.06, "reach")
    assert limit.candidates[1].limit_mm == 0.5
    assert fillable_gap(WIRE, bridge_factor=0.5).limit_mm == 0.889 * 0.5


def test_a_joint_that_no_rule_bounds_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        fillable_gap(None)
    assert str(caught.value) == (
        "no rule gives this joint a limit (bridge: the joint is made without wire; fill: the joint is made "
        "without wire; reach: needs --oscillation; no wire: needs --sheet; procedure: no limit is given "
        "(--limit, or the shop's rules)): give one with --limit."
    )


def test_a_limit_over_10_mm_is_none() -> None:
    with pytest.raises(UsageError, match="the gap limit must be above 0 and at most 10 mm"):
        fillable_gap(None, weld=WeldSettings(oscillation_mm=12.0))


# ------------------------------------------------------------------------------------------------ monotony

FEEDS = st.floats(0.5, 60.0)
KINDS = st.sampled_from(JointKind)


def fill_limit(kind: JointKind, sheet_mm: float, feed: float, travel: float, wire_mm: float = 0.9) -> float:
    case = JointCase(
        setup=JointSetup.of(kind),
        wire=parse_wire(f"{wire_mm:.4f}mm"),
        sheet=parse_sheet(f"{sheet_mm:.6f}mm"),
        weld=WeldSettings(feed_mm_s=feed, travel_mm_s=travel),
    )
    return allowed(FillRule().answer(case)).limit_mm


@given(kind=KINDS, sheets=st.tuples(st.floats(0.3, 6), st.floats(0.3, 6)), feed=FEEDS, travel=FEEDS)
def test_thicker_sheet_never_raises_the_fill_limit(
    kind: JointKind, sheets: tuple[float, float], feed: float, travel: float
) -> None:
    thin, thick = sorted(sheets)
    assert fill_limit(kind, thick, feed, travel) <= fill_limit(kind, thin, feed, travel)


@given(kind=KINDS, sheet_mm=st.floats(0.3, 6), feeds=st.tuples(FEEDS, FEEDS), travel=FEEDS)
def test_more_feed_never_lowers_the_fill_limit_and_more_travel_never_raises_it(
    kind: JointKind, sheet_mm: float, feeds: tuple[float, float], travel: float
) -> None:
    slow, fast = sorted(feeds)
    assert fill_limit(kind, sheet_mm, fast, travel) >= fill_limit(kind, sheet_mm, slow, travel)
    assert fill_limit(kind, sheet_mm, travel, fast) <= fill_limit(kind, sheet_mm, travel, slow)


@given(kind=KINDS, wires=st.tuples(st.floats(0.4, 3.2), st.floats(0.4, 3.2)), feed=FEEDS, travel=FEEDS)
def test_a_thicker_wire_never_lowers_the_fill_limit(
    kind: JointKind, wires: tuple[float, float], feed: float, travel: float
) -> None:
    thin, thick = sorted(wires)
    assert fill_limit(kind, 1.5, feed, travel, thick) >= fill_limit(kind, 1.5, feed, travel, thin)


@given(
    kind=KINDS,
    sheet_mm=st.floats(0.3, 6),
    feed=FEEDS,
    travel=FEEDS,
    oscillation=st.floats(0, 5),
    procedure=st.one_of(st.none(), st.floats(0.05, 3)),
)
def test_one_more_thing_known_never_widens_the_limit_but_a_procedure(
    kind: JointKind, sheet_mm: float, feed: float, travel: float, oscillation: float, procedure: float | None
) -> None:
    case = JointCase(setup=JointSetup.of(kind), wire=WIRE, sheet=parse_sheet(f"{sheet_mm:.6f}mm"))
    known = replace(case, weld=WeldSettings(feed_mm_s=feed, travel_mm_s=travel, oscillation_mm=oscillation))
    try:
        assert limit_for(known).limit_mm <= limit_for(case).limit_mm
    except UsageError as fault:
        assert "not even a closed joint" in str(fault)  # noqa: PT017
    if procedure is not None:
        assert limit_for(replace(known, procedure_limit_mm=procedure)).limit_mm == procedure


@given(kind=KINDS, sheet_mm=st.floats(0.3, 6), feed=FEEDS, travel=FEEDS, oscillation=st.floats(0.1, 5))
def test_every_formula_can_be_done_by_hand(
    kind: JointKind, sheet_mm: float, feed: float, travel: float, oscillation: float
) -> None:
    """What stands after the last = is what a calculator gives for what stands before it."""
    case = JointCase(
        setup=JointSetup.of(kind),
        wire=WIRE,
        sheet=parse_sheet(f"{sheet_mm:.2f}mm"),
        weld=WeldSettings(
            feed_mm_s=round(feed, 1), travel_mm_s=round(travel, 1), oscillation_mm=round(oscillation, 2)
        ),
    )
    for rule in rules_of(ShopRules(required_land_mm=0.1)):
        answer = rule.answer(case)
        if isinstance(answer, Candidate):
            by_hand, stated = calculated(answer.formula)
            assert by_hand == pytest.approx(stated, abs=0.0006 + 0.0003 * feed / travel / sheet_mm)
            assert answer.limit_mm == pytest.approx(max(stated, 0.0), abs=0.0005)


def calculated(formula: str) -> tuple[float, float]:
    """Value of the last calculation in a formula, and the value that the formula states."""
    last = formula.rsplit("; ", 1)[-1]
    left, right = last.rsplit(" = ", 1)
    numbers = re.sub(r"spot not given, counts|[a-z]+²?(/s)?|²", "", left.replace("−", "-").replace("×", "*"))
    return float(eval(numbers)), float(re.match(r"-?[0-9.]+", right)[0])  # type: ignore[index]


def test_the_notebooks_one_line_takes_either_sheet() -> None:
    thin, thick = parse_sheet("1mm"), parse_sheet("2mm")
    assert fillable_gap(None, sheet=thin).limit_mm == pytest.approx(0.1)
    assert fillable_gap(None, sheet=thin, other_sheet=thick).limit_mm == pytest.approx(0.1)
    assert fillable_gap(None, sheet=thick, other_sheet=thin).limit_mm == pytest.approx(0.1)
