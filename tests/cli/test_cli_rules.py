"""`fitup rules`, and the rules as options of inspections: what is shown, kept and measured again."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from fitup.verdict import read_rules
from fitup.verdict.rules_file import RULES_KEYS

Run = Callable[..., tuple[int, str, str]]
ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "calibration" / "shop-rules-example.toml"
STAINLESS = ("--wire", "035", "--sheet", "18ga stainless")

SHOWN = """\
 joint        a butt joint; wire 0.035 in = 0.889 mm; sheet 1.27 mm; feed
              12.7 mm/s; travel 8 mm/s; oscillation 2 mm
 rules        default rules
 limit        0.776 mm by the fill rule

 rule         what it allows, and how that comes about
 bridge       0.889 mm
              Can the molten wire bridge the gap?
              1 × wire 0.889 mm = 0.889 mm in a butt joint
              source: common practice, no source
 fill         0.776 mm - sets the limit
              Does the wire that is fed fill the gap?
              wire π/4 × 0.889 × 0.889 = 0.6207 mm²
              groove of a butt joint = gap × sheet 1.27 mm
              (0.6207 mm² × feed 12.7 mm/s / travel 8 mm/s − reinforcement
              0 mm²) / 1.27 mm = 0.776 mm
              source: metal fed = metal needed
 reach        2 mm
              Does the beam reach both plates?
              oscillation 2 mm + spot not given, counts 0 mm − 2 × required land
              0 mm = 2 mm in a butt joint
              source: the beam must touch both plates
 no wire      does not apply: the joint is made with wire
              Do the plates close the gap themselves?
 procedure    does not apply: no limit is given (--limit, or the shop's rules)
              What does the procedure for this joint allow?

 beside the limit
 decision     within or over where at least 95 % probable, else doubtful (ISO
              14253-1, JCGM 106)
 at limit     to fill it takes 1.59 mm of this wire for every mm of joint, and
              the settings given fill it
 at limit     the beam reaches 0.61 mm onto each plate beside it (spot not
              counted)
 care         no standard limits the gap before welding; on wire and settings
              the welding procedure decides
"""


def trimmed(text: str) -> str:
    return "".join(f"{line.rstrip()}\n" for line in text.splitlines())


def test_every_rule_is_shown_with_its_numbers(fitup: Run) -> None:
    code, out, err = fitup(
        *("rules", "show", "--wire", "035", "--sheet", "1.27mm", "--feed", "0.5in/s", "--travel", "8mm/s"),
        *("--oscillation", "2mm"),
    )
    assert (code, err) == (0, "")
    assert trimmed(out) == SHOWN


@pytest.mark.parametrize("columns", [60, 80, 120])
@pytest.mark.parametrize(
    "kind", ["butt", "seam", "corner-full-open", "corner-half-open", "corner-flush", "tee", "lap", "edge"]
)
def test_it_fits_the_terminal(fitup: Run, monkeypatch: pytest.MonkeyPatch, columns: int, kind: str) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    code, out, _ = fitup(
        *("rules", "show", *STAINLESS, "--joint-kind", kind, "--feed", "60in/min", "--travel", "300mm/min"),
        *("--spot", "0.2mm", "--oscillation", "2mm", "--rules", EXAMPLE),
    )
    assert code == 0
    assert max(map(len, out.splitlines())) <= columns
    for rule in ("bridge", "fill", "reach", "no wire", "procedure"):
        assert re.search(rf"^ {rule} ", out, re.MULTILINE)


def test_settings_that_fill_nothing_are_shown_and_refused(fitup: Run) -> None:
    code, out, err = fitup(
        *("rules", "show", *STAINLESS, "--joint-kind", "corner-full-open"),
        *("--feed", "10mm/s", "--travel", "10mm/s"),
    )
    assert code == 2
    assert " limit        none\n" in trimmed(out)
    assert " fill         nothing: not even a closed joint\n" in trimmed(out)
    told = " ".join(out.split())
    assert "remedy: feed faster than 12.99 mm/s or travel slower than 7.7 mm/s" in told
    assert "reminder an open outside corner takes about 200 W less" in told
    assert err.startswith("fitup: not even a closed joint meets the fill rule: 0.889 mm wire at 10 mm/s")
    assert err.count("\n") == 1


def test_a_joint_without_wire(fitup: Run) -> None:
    code, out, _ = fitup("rules", "show", "--no-wire", "--sheet", "1.5mm", "--other-sheet", "1mm")
    assert code == 0
    assert " joint        a butt joint; no wire; sheet 1.5 mm; other sheet 1 mm\n" in trimmed(out)
    assert " limit        0.1 mm by the no wire rule\n" in trimmed(out)
    assert "0.1 × thinner sheet 1 mm = 0.1 mm in a butt joint without wire" in out


def test_the_shops_rules_and_the_limit_given(fitup: Run) -> None:
    _, out, _ = fitup("rules", "show", "--wire", "0.9mm", "--sheet", "1.5mm", "--rules", EXAMPLE)
    assert " limit        0.6 mm by the procedure rule\n" in trimmed(out)
    assert "source: WPS BT-12 rev. C (invented), shop rules" in out
    _, out, _ = fitup(
        *("rules", "show", "--wire", "0.9mm", "--sheet", "18ga", "--rules", EXAMPLE, "--limit", "0.5mm"),
        *("--probability", "0.99"),
    )
    assert "sheet 18 ga by the US" in out
    assert " limit        0.5 mm by the procedure rule\n" in trimmed(out)
    assert "source: given by the user" in out
    assert "at least 99 % probable" in out


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ([], "the wire is not known: give it (--wire 0.9mm, or --no-wire for a joint without)"),
        (["--wire", "0.9mm", "--no-wire"], "--wire and --no-wire exclude each other: give one of them."),
        (["--no-wire"], "no rule gives this joint a limit"),
        ([*STAINLESS, "--feed", "12.7"], "the wire feed '12.7'"),
        ([*STAINLESS, "--travel", "fast"], "the travel speed 'fast'"),
        ([*STAINLESS, "--travel", "90m/min"], "the travel speed must be from 0.1 to 1000 mm/s, not 1500"),
        ([*STAINLESS, "--oscillation", "30mm"], "the oscillation's width must be from 0 to 20 mm"),
        ([*STAINLESS, "--spot", "0mm"], "the spot size '0mm' must be greater than zero."),
        ([*STAINLESS, "--other-sheet", "20mm"], "sheet '20mm' would be 20 mm, outside 0.3 to 12 mm"),
        ([*STAINLESS, "--rules", "none.toml"], "none.toml: the shop-rules file cannot be read"),
        (["--wire", "0.9mm", "--joint-kind", "tee"], "a tee joint needs the sheet's thickness"),
    ],
)
def test_options_that_cannot_be_used_are_refused_in_one_line(
    fitup: Run, options: list[str], sentence: str
) -> None:
    for command in (["rules", "show"], ["inspect", "x.jpg", "--no-files"]):
        code, _, err = fitup(*command, *options)
        assert code == 2
        assert err.startswith(f"fitup: {sentence}")
        assert err.count("\n") == 1


# --------------------------------------------------------------------------------------------- rules check


def test_the_example_is_sound_and_all_of_it_is_told(fitup: Run) -> None:
    code, out, err = fitup("rules", "check", EXAMPLE)
    assert (code, err) == (0, "")
    told = " ".join(out.split())
    for words in (
        "shop-rules-example.toml: all entries sound",
        sha256(EXAMPLE.read_bytes()).hexdigest(),
        "bridge 1 × wire, 0.8 in a lap joint (own trials on 1.5 mm sheet (invented))",
        "fill reinforcement 0.1 mm², 0.8 in a T-joint, 0.8 in an inside corner (metal fed = metal needed)",
        "reach required land 0.2 mm (the beam must touch both plates)",
        "no wire 0.1 × thinner sheet (EWI 2015, common practice for laser butt joints without filler)",
        "procedure 0.6 mm for butt, seam; sheet from 1 mm to 1.5 mm; wire 0.9 mm; "
        "WPS BT-12 rev. C (invented)",
        "procedure 0.3 mm for lap; sheet 1.27 mm; WPS BT-14 (invented)",
        "decision within or over where at least 95 % probable, else doubtful (ISO 14253-1, JCGM 106)",
        "spots closer than 1 mm are one; dropped below 0 mm (doubtful) and 0 mm (unseen); over the limit but "
        "below 0 mm they are doubtful",
        "seen at least 80 %, at most 10 mm unseen in one piece",
        "lands short below 0.6 × sheet over 2 mm or more; stretches closer than 1 mm are one",
        "wires 0.8 mm, 0.9 mm, 1.2 mm",
        "gauges material stainless",
    ):
        assert words in told


def test_a_file_of_next_to_nothing_shows_the_defaults(fitup: Run) -> None:
    Path("few.toml").write_text("[bridge]\n[[procedure]]\nlimit='1mm'\nreference='R'\n")
    _, out, _ = fitup("rules", "check", "few.toml")
    told = " ".join(out.split())
    assert "bridge 1 × wire (common practice, no source)" in told
    assert "procedure 1 mm for all kinds of joint; R" in told
    assert "wires none in stock named: published sizes are recommended" in told
    assert "gauges material must be written with every gauge number" in told
    Path("none.toml").write_text("[bridge]\n")
    assert " procedure    none\n" in trimmed(fitup("rules", "check", "none.toml")[1])


def test_a_wrong_file_is_told_with_its_line(fitup: Run) -> None:
    Path("rt.toml").write_text("# rules\n[bridge]\nfactor = 5\n")
    sentence = "fitup: rt.toml, line 3: the bridge factor must be above 0 and at most 3, not 5.\n"
    assert fitup("rules", "check", "rt.toml") == (2, "", sentence)


def test_the_example_and_readme_have_every_key() -> None:
    written = EXAMPLE.read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `\[+(\w+)\]+` \| (.+?) \|", readme, re.MULTILINE)
    assert {name: tuple(re.findall(r"`(\w+)`", keys)) for name, keys in rows} == RULES_KEYS
    for section, keys in RULES_KEYS.items():
        part = written.partition(f"[{section}]")[2]
        unused = {"fill": {"source"}, "reach": {"source"}, "no_wire": {"source"}}.get(section, set())
        assert all(re.search(rf"^{key} = ", part, re.MULTILINE) for key in set(keys) - unused)


def test_the_file_that_readme_shows_is_sound(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"^```toml\n(.*?)^```", readme, re.DOTALL | re.MULTILINE)
    (rules,) = (block for block in shown if "[bridge]" in block)
    (tmp_path / "rules.toml").write_text(rules, encoding="utf-8")
    assert len(read_rules(tmp_path / "rules.toml").procedures) == 1


# ------------------------------------------------------------------------------------ inspected and repeated

RULES = """
[shop]
wires = ["1.2mm"]
[bridge]
factor = 0.9
by_kind = { lap = 0.8 }
source = "trials"
[fill]
reinforcement_mm2 = 0.05
[reach]
required_land = "0.1mm"
[decision]
probability = 0.9
[spots]
merge = "2mm"
[seen]
longest_unseen = "12mm"
[[procedure]]
limit = "0.1mm"
reference = "for laps"
joint_kinds = ["lap"]
sheet_from = "1mm"
wire = "0.9mm"
"""
SETTINGS = ("--feed", "12.7mm/s", "--travel", "10mm/s", "--oscillation", "2mm", "--spot", "0.1mm")


def record_in(folder: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((Path(folder) / "record.json").read_text(encoding="utf-8"))
    return data


def test_an_inspection_by_rules_is_kept_whole_and_repeated_from_its_record(fitup: Run, drawn: Any) -> None:
    Path("rt.toml").write_text(RULES)
    photo = drawn("opening").path
    options = ("--wire", "035", "--sheet", "1.5mm", "--other-sheet", "1.2mm", "--rules", "rt.toml")
    code, out, _ = fitup("inspect", photo, *options, *SETTINGS, "--out", "o")
    assert code == 3
    record = record_in("o/opening")
    assert record["schema_version"] == 3
    asked = record["request"]
    assert asked["rules"]["file_name"] == "rt.toml"
    assert asked["rules"]["sha256"] == sha256(RULES.encode()).hexdigest()
    assert asked["rules"]["bridge_factor_by_kind"] == {"lap": 0.8}
    assert asked["rules"]["procedures"][0]["reference"] == "for laps"
    assert asked["weld"] == {
        "feed_mm_s": 12.7,
        "travel_mm_s": 10.0,
        "oscillation_mm": 2.0,
        "oscillation_hz": None,
        "spot_mm": 0.1,
        "power_w": None,
    }
    assert asked["other_sheet"]["thickness_mm"] == 1.2
    assert asked["bridge_factor"] is None
    assert asked["decision"]["conformance_probability"] == 0.9
    assert (asked["spot_rule"]["merge_mm"], asked["seen_rule"]["longest_unseen_mm"]) == (2.0, 12.0)
    limit = record["limit"]
    assert [one["code"] for one in limit["candidates"]] == ["bridge", "fill", "reach"]
    assert limit["candidates"][0]["source"] == "trials"
    assert all(" = " in one["formula"] for one in limit["candidates"])
    assert [one["code"] for one in limit["not_applied"]] == ["no wire", "procedure"]
    assert limit["rule"] == "fill"
    information = record["verdict"]["information"]
    assert "the welding procedure decides" in information["sentences"][0]
    assert "information  the widest gap" in out
    Path("rt.toml").unlink()
    assert fitup("record", "repeat", "o/opening", photo)[0] == 0
    assert "information  the widest gap" in fitup("record", "show", "o/opening")[1]


def test_an_option_wins_over_the_rules(fitup: Run, drawn: Any) -> None:
    Path("rt.toml").write_text(RULES)
    options = ("--wire", "0.9mm", "--rules", "rt.toml", "--probability", "0.99", "--limit", "0.8mm")
    fitup("inspect", drawn("opening").path, *options, "--out", "o")
    record = record_in("o/opening")
    assert record["request"]["decision"]["conformance_probability"] == 0.99
    assert (record["limit"]["rule"], record["limit"]["limit_mm"]) == ("procedure", 0.8)


def test_a_joint_without_wire_is_inspected_and_repeated(fitup: Run, drawn: Any) -> None:
    photo = drawn("opening").path
    code, out, _ = fitup("inspect", photo, "--no-wire", "--sheet", "1.5mm", "--out", "o")
    assert code == 3
    assert "no wire rule: 0.1 × sheet 1.5 mm" in " ".join(out.split())
    record = record_in("o/opening")
    assert record["request"]["wire"] is None
    assert fitup("record", "repeat", "o/opening", photo)[0] == 0


@pytest.mark.parametrize("version", [1, 2])
def test_a_record_made_before_there_were_rules_is_repeated(fitup: Run, drawn: Any, version: int) -> None:
    photo = drawn("opening").path
    fitup("inspect", photo, "--wire", "0.9mm", "--sheet", "1.5mm", "--out", "o")
    record = record_in("o/opening")
    for name in ("rules", "weld", "other_sheet"):
        del record["request"][name]
    record["request"]["bridge_factor"] = 1.0
    del record["limit"]["not_applied"], record["verdict"]["information"], record["quality"]
    if version == 1:
        del record["shape"], record["scale"]["lens"]
    record["schema_version"] = version
    Path("old.json").write_text(json.dumps(record), encoding="utf-8")
    code, out, err = fitup("record", "repeat", "old.json", photo)
    assert (code, err) == (0, ""), out
    assert fitup("record", "show", "old.json")[0] == 0


def test_several_photos_of_one_joint_take_the_rules_too(fitup: Run, drawn: Any) -> None:
    Path("rt.toml").write_text(RULES)
    shutil.copy(drawn("opening").path, "a.jpg")
    options = ("--wire", "0.9mm", "--sheet", "1.5mm", "--rules", "rt.toml", *SETTINGS)
    code, _, err = fitup("seam", "a.jpg", *options, "--workers", "1", "--out", "o")
    assert (code, err) == (3, "")
    record = record_in("o/a-seam")
    assert (record["schema_version"], record["limit"]["rule"]) == (2, "fill")
    assert record["request"]["rules"]["file_name"] == "rt.toml"
    assert fitup("record", "repeat", "o/a-seam", "a.jpg")[0] == 0


def test_help_of_rules_loads_nothing_heavy() -> None:
    code = (
        "import sys; from fitup.cli.boundary import run; run(['rules', 'show', '--help']); "
        "sys.exit(any(name in sys.modules for name in ('numpy', 'cv2', 'rich.table')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
