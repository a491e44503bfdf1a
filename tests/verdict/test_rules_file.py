"""The shop-rules file: what it may say, and every way that it may be wrong: file, line, remedy."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

import pytest

from fitup.errors import UsageError
from fitup.joint import JointKind
from fitup.verdict import (
    DEFAULT_RULES,
    ByKind,
    DecisionRule,
    LandRule,
    Procedure,
    SeenRule,
    ShopRules,
    SpotRule,
    read_rules,
)
from fitup.verdict.rules_file import RULES_KEYS

ALL = """# Brackwater Tanks (invented)
[shop]
wires = ["0.8mm", "035", "1.2mm"]
gauge_material = "stainless"

[bridge]
factor = 0.9
by_kind = { lap = 0.8, corner-full-open = 1 }
source = "trials of March"

[fill]
reinforcement_mm2 = 0.1
source = "WPS 3"
[fill.by_kind]
tee = 0.5

[reach]
required_land = "0.2mm"
source = "WPS 4"

[no_wire]
share = 0.05
source = "WPS 5"

[decision]
probability = 0.99
simple_acceptance = true

[spots]
merge = "2mm"
shortest_over = "0.5mm"
shortest_doubtful = "1mm"
shortest_unseen = "1.5mm"

[seen]
least_share = 0.9
longest_unseen = "6mm"

[lands]
least_share = 0.5
shortest = "3mm"
merge = "0.5mm"

[[procedure]]
limit = "0.7mm"
reference = "WPS 12 rev. C"
joint_kinds = ["butt", "seam"]
sheet = "18ga"
wire = "035"

[[procedure]]
limit = "0.02in"
reference = "WPS 13"
sheet_from = "1mm"
sheet_to = "16ga steel"
"""


def read(folder: Path, text: str) -> ShopRules:
    path = folder / "rt.toml"
    path.write_text(text, encoding="utf-8")
    return read_rules(path)


def fault(folder: Path, text: str) -> str:
    with pytest.raises(UsageError) as caught:
        read(folder, text)
    return str(caught.value)


def test_a_file_with_everything(tmp_path: Path) -> None:
    rules = read(tmp_path, ALL)
    assert rules.bridge_factor == ByKind(
        usual=0.9, by_kind=((JointKind.LAP, 0.8), (JointKind.CORNER_FULL_OPEN, 1.0))
    )
    assert rules.reinforcement_mm2 == ByKind(usual=0.1, by_kind=((JointKind.TEE, 0.5),))
    assert (rules.bridge_source, rules.fill_source) == ("trials of March", "WPS 3")
    assert (rules.reach_source, rules.no_wire_source) == ("WPS 4", "WPS 5")
    assert (rules.required_land_mm, rules.no_wire_share) == (0.2, 0.05)
    assert rules.decision == DecisionRule(conformance_probability=0.99, simple_acceptance=True)
    assert rules.spot_rule == SpotRule(
        merge_mm=2.0, shortest_over_mm=0.5, shortest_doubtful_mm=1.0, shortest_unseen_mm=1.5
    )
    assert rules.seen_rule == SeenRule(least_seen_share=0.9, longest_unseen_mm=6.0)
    assert rules.land_rule == LandRule(least_share=0.5, shortest_mm=3.0, merge_mm=0.5)
    assert [wire.diameter_mm for wire in rules.wires_in_stock] == [0.8, 0.889, 1.2]
    assert rules.gauge_material == "stainless"
    assert (rules.file_name, rules.sha256) == ("rt.toml", sha256(ALL.encode()).hexdigest())
    first, second = rules.procedures
    assert first == Procedure(
        limit_mm=0.7,
        reference="WPS 12 rev. C",
        joint_kinds=(JointKind.BUTT, JointKind.SEAM),
        sheet_from_mm=1.27 - 1e-6,
        sheet_to_mm=1.27 + 1e-6,
        wire_mm=0.889,
    )
    assert second == Procedure(limit_mm=0.508, reference="WPS 13", sheet_from_mm=1.0, sheet_to_mm=1.51892)


def test_the_file_of_this_test_has_every_key(tmp_path: Path) -> None:
    for section, keys in RULES_KEYS.items():
        for key in keys:
            assert key in ALL, (section, key)


@pytest.mark.parametrize("section", [name for name in RULES_KEYS if name != "procedure"])
def test_what_is_left_out_stays_at_its_default(tmp_path: Path, section: str) -> None:
    rules = read(tmp_path, f"[{section}]\n")
    assert rules == ShopRules(file_name="rt.toml", sha256=rules.sha256)


FAULTS = [
    ("[brige]\nfactor = 1.0\n", "line 1: brige is not known: did you mean bridge."),
    (
        "colour = 1\n",
        "line 1: colour is not known: known are shop, bridge, fill, reach, no_wire, decision, spots, seen, "
        "lands, procedure.",
    ),
    ("\n[bridge]\n# x\nfaktor = 1.0\n", "line 4: faktor in [bridge] is not known: did you mean factor."),
    ("[bridge]\nfactor = 5\n", "line 2: the bridge factor must be above 0 and at most 3, not 5."),
    ("[bridge]\nfactor = '1'\n", "line 2: factor in [bridge] must be a number such as 1, without quotes."),
    ("[bridge]\nfactor = true\n", "line 2: factor in [bridge] must be a number such as 1, without quotes."),
    ("[bridge]\nfactor = nan\n", "line 2: factor in [bridge] must be a number such as 1, without quotes."),
    (
        f"[bridge]\nfactor = {'9' * 400}\n",
        "line 2: the bridge factor must be above 0 and at most 3, not 1e+300.",
    ),
    (
        "[bridge]\nfactor = 1.0\n[bridge.by_kind]\nlap = 0.8\nTee = 0.9\n",
        "line 5: Tee in [bridge.by_kind] is not known: did you mean tee.",
    ),
    (
        '[bridge]\nby_kind = {"lap" = 0}\n',
        "line 2: the bridge factor must be above 0 and at most 3, not 0.",
    ),
    ("bridge = 3\n", "line 1: bridge must be a table: write [bridge] above its entries."),
    (
        "[bridge]\nby_kind = 3\n",
        "line 2: by_kind in [bridge] must be a table: write [bridge.by_kind] above its entries.",
    ),
    ('[bridge]\nsource = ""\n', "line 2: source in [bridge] must be text in double quotes."),
    ("[bridge]\nsource = 7\n", "line 2: source in [bridge] must be text in double quotes."),
    (
        '[bridge]\nsource = "a\\nb"\n',
        "line 2: source in [bridge] must be one line of at most 200 characters.",
    ),
    (
        f'[bridge]\nsource = "{"a" * 201}"\n',
        "line 2: source in [bridge] must be one line of at most 200 characters.",
    ),
    (
        "fill.reinforcement_mm2 = -0.5 # dotted\n",
        "line 1: the reinforcement must be from 0 to 50 mm², not -0.5 mm².",
    ),
    (
        '[reach]\n\n"required_land" = 0.2\n',
        'line 3: required_land in [reach] must be written in double quotes with its unit: "0.2mm".',
    ),
    (
        '[reach]\nrequired_land = "12mm"\n',
        "line 2: the required land must be from 0 to 10 mm, not 12 mm.",
    ),
    (
        '[reach]\nrequired_land = "wide"\n',
        "line 2: the required land 'wide' cannot be read: write a number with mm or in.",
    ),
    (
        "[no_wire]\nshare = 10\n",
        "line 2: the share of the sheet without wire must be above 0 and at most 1, not 10.",
    ),
    (
        "[decision]\nprobability = 95\n",
        "line 2: the conformance probability must be above 0.5 and below 1, not 95.",
    ),
    (
        "[decision]\nsimple_acceptance = 1\n",
        "line 2: simple_acceptance in [decision] must be true or false.",
    ),
    ('[spots]\nmerge = "-1mm"\n', "line 2: the length merge '-1mm' must be greater than zero."),
    ("[seen]\nleast_share = 1.5\n", "line 2: least_seen_share must be from 0 to 1, not 1.5."),
    ("[lands]\nleast_share = 2\n", "line 2: least_share must be from 0 to 1, not 2."),
    ("[shop]\nwires = '0.9mm'\n", 'line 2: wires in [shop] must be a list: ["0.9mm"].'),
    (
        '[shop]\nwires = [\n  "0.9mm",\n  1.2,\n]\n',
        'line 4: items of wires in [shop] must be in double quotes, such as "0.9mm".',
    ),
    (
        '[shop]\nwires = [\n  "0.9mm",\n  "9mm",\n]\n',
        "line 4: wire '9mm' would be 9 mm, outside 0.4 to 3.2 mm: did you mean 0.9 mm?",
    ),
    (
        '[shop]\ngauge_material = "brass"\n',
        "line 2: gauge_material 'brass' is not known: write stainless or steel.",
    ),
    ("[procedure]\nlimit = '1mm'\n", "line 1: write [[procedure]] above each of them, with two brackets."),
    ("procedure = [1]\n", "line 1: write [[procedure]] above each of them, with two brackets."),
    ('[[procedure]]\nreference = "a"\n', 'line 1: a procedure needs its limit: write limit = "0.7mm".'),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\n[[procedure]]\nlimit = "1mm"\n',
        'line 4: a procedure needs its reference: write reference = "WPS 12 rev. C".',
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\n[[procedure]]\nreference = "a"\nlimit = "11mm"\n',
        "line 6: the procedure limit must be above 0 and at most 10 mm, not 11 mm.",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\njoint_kinds = ["butt",\n"but"]\n',
        "line 5: joint kind 'but' is not known: did you mean butt.",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\njoint_kinds = ["xyz"]\n',
        "line 4: joint kind 'xyz' is not known: known are butt, seam, corner-full-open, corner-half-open, "
        "corner-flush, corner-inside, tee, lap, edge.",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\nsheet = "1mm"\nsheet_to = "2mm"\n',
        "line 4: give either sheet, or sheet_from and sheet_to.",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\nsheet_from = "3mm"\nsheet_to = "2mm"\n',
        "line 2: sheets from 3 to 2 mm are none: write the thinner one first.",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\nsheet = "18ga"\n',
        "line 4: gauge 18 alone does not say how thick the sheet is: write 18ga stainless (1.27 mm by the US "
        "standard gauge) or 18ga steel (1.214 mm by the manufacturers' standard gauge).",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\nwire = 0.9\n',
        'line 4: wire in [procedure] must be written in double quotes with its unit: "0.9mm".',
    ),
    ("[[procedure]]\nlimt = '1mm'\n", "line 2: limt in [procedure] is not known: did you mean limit."),
    (
        "[[procedure]]\nlimit = 0.7\n",
        'line 2: limit in [procedure] must be written in double quotes with its unit: "0.7mm".',
    ),
    (
        '[[procedure]]\nlimit = "wide"\n',
        "line 2: the limit 'wide' cannot be read: write a number with mm or in.",
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\njoint_kinds = "butt"\n',
        'line 4: joint_kinds in [procedure] must be a list: ["butt"].',
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\njoint_kinds = [1]\n',
        'line 4: items of joint_kinds in [procedure] must be in double quotes, such as "butt".',
    ),
    (
        '[[procedure]]\nlimit = "1mm"\nreference = "a"\nsheet_from = 1\n',
        'line 4: sheet_from in [procedure] must be written in double quotes with its unit: "1.5mm".',
    ),
    (
        "[shop]\ngauge_material = 1\n",
        'line 2: gauge_material in [shop] must be written in double quotes with its unit: "stainless".',
    ),
    (
        '[bridge.by_kind]\nlap = "1"\n',
        "line 2: lap in [bridge.by_kind] must be a number such as 1, without quotes.",
    ),
    (
        "[seen]\nlongest_unseen = 10\n",
        'line 2: longest_unseen in [seen] must be written in double quotes with its unit: "10mm".',
    ),
]


@pytest.mark.parametrize(("text", "sentence"), FAULTS)
def test_faults_name_file_line_and_remedy(tmp_path: Path, text: str, sentence: str) -> None:
    assert fault(tmp_path, text) == f"rt.toml, {sentence}"


def test_files_that_are_no_rules(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"none\.toml: the shop-rules file cannot be read"):
        read_rules(tmp_path / "none.toml")
    assert "empty" in fault(tmp_path, "")
    assert fault(tmp_path, "[bridge]\nfactor = \n").startswith("rt.toml, line 2: the shop-rules file is no")
    (tmp_path / "bad.toml").write_bytes(b"[bridge]\n# \xff\n")
    with pytest.raises(UsageError, match=r"bad\.toml, line 2: the shop-rules file is not UTF-8 text"):
        read_rules(tmp_path / "bad.toml")
    (tmp_path / "huge.toml").write_text("# x\n" * 300_000)
    with pytest.raises(UsageError, match="over 1 MB"):
        read_rules(tmp_path / "huge.toml")


def test_odd_keys_are_shown_on_one_line(tmp_path: Path) -> None:
    message = fault(tmp_path, '[bridge]\n"a\\nb" = 1\n')
    assert message.startswith("rt.toml, line 2: 'a\\nb' in [bridge] is not known")
    assert fault(tmp_path, f"[bridge]\n{'k' * 300} = 1\n").count("k") < 60


def test_default_rules_are_not_those_of_a_file(tmp_path: Path) -> None:
    assert read(tmp_path, "[bridge]\n") != DEFAULT_RULES


def test_the_longest_text_and_the_longest_key_that_are_taken_as_they_are(tmp_path: Path) -> None:
    assert read(tmp_path, f'[bridge]\nsource = "{"a" * 200}"\n').bridge_source == "a" * 200
    whole = fault(tmp_path, f"[bridge]\n{'k' * 40} = 1\n")
    assert whole.startswith(f"rt.toml, line 2: {'k' * 40} in [bridge] is not known")
    cut = fault(tmp_path, f"[bridge]\n{'k' * 41} = 1\n")
    assert cut.startswith(f"rt.toml, line 2: '{'k' * 35}...' in [bridge] is not known")
