"""What is told for information: wire, feed, travel and reach for the gap that was measured."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fitup.joint import JointKind, JointSetup
from fitup.verdict import (
    ByKind,
    DecisionRule,
    ForInformation,
    JointCase,
    ShopRules,
    WeldSettings,
    Wire,
    information_on,
    limit_for,
    parse_sheet,
    parse_wire,
)
from fitup.verdict.fill import wire_area_mm2
from fitup.verdict.information import fill_words
from tests.verdict.verdict_profiles import profile_of

CASE = JointCase(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"))
SIMPLE = DecisionRule(simple_acceptance=True)
CAUTION = "for information only: on wire and settings the welding procedure decides"
METRIC = "the published sizes (ISO 544, AWS A5.02, second-hand)"


def told(gap_mm: float, case: JointCase = CASE, rule: DecisionRule = SIMPLE) -> ForInformation | None:
    return information_on(profile_of([0.1, gap_mm, 0.05]), case, rule, limit_for(case))


def sentence(gap_mm: float, case: JointCase = CASE) -> str:
    found = told(gap_mm, case)
    assert found is not None
    return found.sentences[0]


def weld(**values: float) -> JointCase:
    return replace(CASE, weld=WeldSettings(**values))


def test_a_gap_inside_the_limit_needs_no_words() -> None:
    assert told(0.9) is None
    assert told(0.9001) is not None


def test_a_gap_over_the_limit_names_the_thinnest_wire_that_bridges_it_and_how_much_of_it_fills() -> None:
    found = told(1.05)
    assert found is not None
    assert (found.needed_gap_mm, found.wire, found.wire_in_use) == (1.05, parse_wire("1.2mm"), False)
    assert (found.feed_mm_s, found.travel_mm_s) == (None, None)
    assert found.sentences == (
        f"the widest gap, with what is uncertain of it, is 1.05 mm: 1.2 mm is the thinnest of {METRIC} that "
        f"bridges it; to fill it takes 1.40 mm of this wire for every mm of joint; {CAUTION}",
    )


def test_a_wire_as_thick_as_the_gap_bridges_it() -> None:
    found = told(1.0)
    assert found is not None
    assert found.wire == parse_wire("1.0mm")


def test_feed_and_travel_that_fill_with_that_wire() -> None:
    found = told(1.05, weld(feed_mm_s=20.0, travel_mm_s=8.0))
    assert found is not None
    ratio = 1.05 * 1.5 / wire_area_mm2(1.2)
    assert found.feed_mm_s == pytest.approx(ratio * 8.0, rel=1e-12)
    assert found.travel_mm_s == pytest.approx(20.0 / ratio, rel=1e-12)
    assert "for every mm of joint, and the settings given fill it; for" in found.sentences[0]
    assert (
        "to fill it takes 1.40 mm of this wire for every mm of joint: at 10 mm/s travel a feed of 13.93 mm/s "
        "or more, or at 10 mm/s feed a travel of 7.18 mm/s or less; for"
    ) in sentence(1.05, weld(feed_mm_s=10.0, travel_mm_s=10.0))
    assert "joint: at 8 mm/s travel a feed of 11.15 mm/s or more; for" in sentence(
        1.05, weld(travel_mm_s=8.0)
    )
    assert "joint: at 20 mm/s feed a travel of 14.36 mm/s or less; for" in sentence(
        1.05, weld(feed_mm_s=20.0)
    )


def test_the_feed_that_is_told_is_enough_and_the_one_before_is_not() -> None:
    found = told(1.05, weld(travel_mm_s=8.0))
    assert found is not None
    assert found.feed_mm_s is not None
    enough = weld(travel_mm_s=8.0, feed_mm_s=found.feed_mm_s)
    assert "and the settings given fill it" in sentence(1.05, enough)
    assert "a feed of" in sentence(1.05, weld(travel_mm_s=8.0, feed_mm_s=found.feed_mm_s - 0.001))


def test_with_settings_a_gap_inside_the_limit_has_words_too() -> None:
    found = told(0.5, weld(travel_mm_s=8.0))
    assert found is not None
    assert found.wire_in_use
    assert found.wire == CASE.wire
    assert found.sentences[0].startswith(
        "the widest gap, with what is uncertain of it, is 0.50 mm: the wire in use, 0.9 mm, "
        "bridges it; to fill"
    )


def test_what_is_uncertain_of_the_gap_counts_by_the_probability_asked_for() -> None:
    profile = profile_of([0.2, 0.85, 0.8], [0.03, 0.02, 0.10])
    limit = limit_for(CASE)
    found = information_on(profile, CASE, DecisionRule(), limit)
    assert found is not None
    assert found.needed_gap_mm == pytest.approx(0.8 + 1.644854 * 0.10, abs=1e-6)
    surer = information_on(profile, CASE, DecisionRule(conformance_probability=0.99), limit)
    assert surer is not None
    assert surer.needed_gap_mm == pytest.approx(0.8 + 2.326348 * 0.10, abs=1e-6)
    assert information_on(profile, CASE, SIMPLE, limit) is None


def test_gaps_are_rounded_up_and_readings_below_zero_count_as_closed() -> None:
    assert "is 1.06 mm: " in sentence(1.0501)
    closed = information_on(profile_of([-0.02, -0.01]), weld(travel_mm_s=8.0), SIMPLE, limit_for(CASE))
    assert closed is not None
    assert closed.needed_gap_mm == 0
    assert "takes 0.00 mm of this wire" in closed.sentences[0]
    fed = information_on(profile_of([-0.02]), weld(feed_mm_s=8.0), SIMPLE, limit_for(CASE))
    assert fed is not None
    assert fed.travel_mm_s is None


def test_the_wire_in_use_and_no_wire_serve_up_to_their_limit_itself() -> None:
    used = told(0.9, weld(travel_mm_s=8.0))
    assert used is not None
    assert used.wire_in_use
    assert "is 0.90 mm: the wire in use, 0.9 mm, bridges it; to fill" in used.sentences[0]
    half = replace(
        weld(travel_mm_s=8.0), wire=None, sheet=parse_sheet("1mm"), rules=ShopRules(no_wire_share=0.5)
    )
    assert "no wire is needed up to 0.5 mm" in sentence(0.5, half)


def test_a_wire_in_stock_without_a_reading_is_told_in_mm() -> None:
    stock = ShopRules(wires_in_stock=(Wire(diameter_mm=1.1, as_written="1.1"),), file_name="rt.toml")
    assert ": 1.1 mm is the thinnest of the wires in stock" in sentence(1.05, replace(CASE, rules=stock))


def test_nothing_seen_nothing_told() -> None:
    nothing = profile_of([float("nan"), float("nan")])
    assert information_on(nothing, weld(travel_mm_s=8.0), SIMPLE, limit_for(CASE)) is None


def test_unseen_stations_do_not_count() -> None:
    found = information_on(profile_of([float("nan"), 1.05]), CASE, SIMPLE, limit_for(CASE))
    assert found is not None
    assert found.needed_gap_mm == 1.05


def test_a_wire_in_inches_is_answered_in_inches() -> None:
    inches = replace(CASE, wire=parse_wire("035"))
    assert (
        "0.045 in = 1.143 mm is the thinnest of the published sizes (ISO 544, AWS A5.02, second-hand) that"
    ) in sentence(1.05, inches)


def test_wires_in_stock_come_before_published_ones_whatever_their_order() -> None:
    stock = ShopRules(wires_in_stock=tuple(map(parse_wire, ("1.6mm", "045", "0.8mm"))), file_name="rt.toml")
    found = sentence(1.05, replace(CASE, rules=stock))
    assert (
        "0.045 in = 1.143 mm is the thinnest of the wires in stock (shop rules rt.toml) that bridges" in found
    )


def test_a_gap_that_no_wire_bridges_must_be_closed() -> None:
    found = told(2.0)
    assert found is not None
    assert found.wire is None
    assert found.sentences[0] == (
        f"the widest gap, with what is uncertain of it, is 2.00 mm: none of {METRIC} bridges it: close the "
        f"gap to 1.6 mm or less; {CAUTION}"
    )


def test_the_shops_bridge_factor_counts_and_so_does_a_given_one() -> None:
    factor = replace(CASE, rules=ShopRules(bridge_factor=ByKind(usual=0.8)))
    assert ": 1.6 mm is the thinnest" in sentence(1.05, factor)
    assert ": 1.0 mm is" not in sentence(1.05, replace(CASE, bridge_factor=0.8))
    assert ": 1.6 mm is the thinnest" in sentence(1.05, replace(CASE, bridge_factor=0.8))


def test_the_reinforcement_is_filled_too() -> None:
    rules = ShopRules(reinforcement_mm2=ByKind(usual=0.5))
    found = told(1.05, replace(weld(travel_mm_s=8.0), rules=rules))
    assert found is not None
    assert found.feed_mm_s == pytest.approx((1.05 * 1.5 + 0.5) / wire_area_mm2(1.2) * 8.0)


def test_without_sheet_nothing_is_said_of_filling() -> None:
    found = told(1.05, replace(weld(travel_mm_s=8.0), sheet=None))
    assert found is not None
    assert found.feed_mm_s is None
    assert found.sentences[0].endswith(f"that bridges it; {CAUTION}")


def test_how_much_of_the_wire_in_use_fills_a_gap() -> None:
    """0.889 mm over 1.5 mm sheet is 1.3335 mm², of a 0.9 mm wire 0.6362 mm² each: 2.0961 mm of it."""
    assert fill_words(CASE, 0.889) == "2.10 mm of this wire for every mm of joint"
    assert fill_words(weld(travel_mm_s=5.0), 0.889) == (
        "2.10 mm of this wire for every mm of joint: at 5 mm/s travel a feed of 10.49 mm/s or more"
    )
    more = replace(CASE, rules=ShopRules(reinforcement_mm2=ByKind(usual=0.6362)))
    assert fill_words(more, 0.889) == "3.10 mm of this wire for every mm of joint"
    assert fill_words(replace(CASE, wire=None), 0.889) == ""
    assert fill_words(replace(CASE, sheet=None), 0.889) == ""


def test_how_far_the_beam_reaches_onto_the_plates() -> None:
    """The trade's settings: 2 mm over 0.889 mm leave 0.556 mm on each side (common practice, no source)."""
    case = replace(weld(oscillation_mm=2.0), wire=parse_wire("035"))
    assert "; the beam reaches 0.55 mm onto each plate beside it (spot not counted); for" in sentence(
        0.889, case
    )
    spot = replace(case, weld=WeldSettings(oscillation_mm=2.0, spot_mm=0.2))
    assert "; the beam reaches 0.65 mm onto each plate beside it; for" in sentence(0.889, spot)
    short = replace(case, rules=ShopRules(required_land_mm=0.6))
    assert "beside it (spot not counted), less than the 0.6 mm required; for" in sentence(0.889, short)
    enough = replace(case, rules=ShopRules(required_land_mm=0.5))
    assert "required" not in sentence(0.889, enough)
    just = replace(weld(oscillation_mm=2.0), rules=ShopRules(required_land_mm=0.5))
    assert "the beam reaches 0.50 mm onto each plate beside it (spot not counted); for" in sentence(1.0, just)


def test_a_beam_narrower_than_the_gap_is_told() -> None:
    assert "; the beam (spot not counted) is narrower than the gap; for" in sentence(
        1.05, weld(oscillation_mm=1.0)
    )
    assert "the beam reaches 0.00 mm" in sentence(1.0, weld(oscillation_mm=1.0))


def test_a_joint_without_wire_needs_one_where_the_gap_is_over_the_share_of_the_sheet() -> None:
    bare = replace(weld(travel_mm_s=8.0), wire=None)
    found = told(0.15, bare)
    assert found is not None
    assert (found.wire, found.wire_in_use) == (None, False)
    assert found.sentences[0] == (
        f"the widest gap, with what is uncertain of it, is 0.15 mm: no wire is needed up to "
        f"0.15 mm; {CAUTION}"
    )
    over = told(0.1501, bare)
    assert over is not None
    assert over.wire == parse_wire("0.6mm")
    assert not over.wire_in_use


OPEN = (
    "an open outside corner takes about 200 W less than the T-joint in the same sheet, because its root is "
    "open; the wire lies on both lands and is guided by them, so both must be there along the whole length "
    "(common practice, no source; a reminder, never a setting)"
)


@pytest.mark.parametrize("kind", JointKind)
def test_open_corners_have_a_reminder_and_no_other_kind_has(kind: JointKind) -> None:
    case = replace(CASE, setup=JointSetup.of(kind))
    is_open = kind in (JointKind.CORNER_FULL_OPEN, JointKind.CORNER_HALF_OPEN)
    found = told(0.1, case)
    assert (found.sentences if found else ()) == ((OPEN,) if is_open else ())
    if found:
        assert (found.needed_gap_mm, found.wire, found.wire_in_use) == (None, None, False)
        assert (found.feed_mm_s, found.travel_mm_s) == (None, None)
    wide = told(1.05, case)
    assert wide is not None
    assert wide.sentences[1:] == ((OPEN,) if is_open else ())


def test_a_procedures_limit_stands_whatever_the_wire() -> None:
    case = replace(CASE, procedure_limit_mm=0.5)
    assert sentence(0.6, case).endswith(
        "for every mm of joint; the procedure's limit of 0.5 mm stands, whatever the wire; " + CAUTION
    )
    inside = told(0.5, replace(weld(travel_mm_s=8.0), procedure_limit_mm=0.5))
    assert inside is not None
    assert "stands" not in inside.sentences[0]
    assert "stands" not in sentence(1.05)
