"""Joint lists from end to end: `fitup job`, and `--job joints.toml` of inspect, seam and sides."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitup.evidence import InspectionRecord, read_record
from fitup.evidence.seam_saving import read_seam_record
from fitup.evidence.sides_saving import read_sides_record
from tests.conftest import SCENES
from tests.drawn_joint import save
from tests.drawn_pair import save_pair
from tests.drawn_seam import SHOTS, save_shot
from tests.test_joints import TWO

Run = Callable[..., tuple[int, str, str]]
TWO_JOINTS = """job = "RT-40"
part = "rinse tank"
[defaults]
sheet = "1.5mm"
wire = "0.9mm"
[[joint]]
name = "J3"
strips = 10
[[joint]]
name = "J4"
strips = 11
wire = "1.6mm"
limit = "1.5mm"
limit_from = "WPS 12"
"""


@pytest.fixture(scope="module")
def two_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo of two joints, gap 0.4 mm beside strip 10 and 1.3 mm beside strip 11."""
    return save_shot(TWO, tmp_path_factory.mktemp("two") / "two.jpg")


@pytest.fixture
def two(two_photo: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(two_photo, tmp_path / "two.jpg"))


@pytest.fixture
def opening(drawn: Any, tmp_path: Path) -> Path:
    """A photo of one joint with a strip of number 1; a place of 1.2 mm."""
    return Path(shutil.copy(drawn("opening").path, tmp_path / "opening.jpg"))


def write(folder: Path, text: str, name: str = "joints.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def record_in(folder: Path) -> InspectionRecord:
    return read_record(folder / "record.json")


def test_joints_are_told_by_their_strips_each_with_its_own_wire_and_limit(
    fitup: Run, two: Path, tmp_path: Path
) -> None:
    write(tmp_path, TWO_JOINTS)
    code, out, err = fitup("inspect", two, "--job", "joints.toml", "--who", "K. M.", "--out", "o")
    assert (code, err) == (0, "")
    assert "J3 of joints.toml" in out
    j3, j4 = record_in(tmp_path / "o" / "two J3"), record_in(tmp_path / "o" / "two J4")
    assert [(one.filing.joint, one.limit.limit_mm, one.limit.rule) for one in (j3, j4)] == [
        ("J3", 0.9, "bridge"),
        ("J4", 1.5, "procedure"),
    ]
    assert "WPS 12" in j4.limit.sentence
    filing = j3.filing
    assert (filing.job, filing.part, filing.who) == ("RT-40", "rinse tank", "K. M.")
    assert filing.joint_list is not None
    assert (filing.joint_list.file_name, filing.joint_list.instead) == ("joints.toml", ())
    (tmp_path / "joints.toml").unlink()  # a record needs no list to be repeated
    for name in ("J3", "J4"):
        code, out, err = fitup("record", "repeat", f"o/two {name}", two)
        assert (code, err) == (0, ""), out


def test_a_list_gives_what_the_options_would_give(fitup: Run, two: Path, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS)
    fitup("inspect", two, "--job", "joints.toml", "--joint", "j4", "--out", "listed")
    fitup(
        "inspect",
        two,
        "--wire",
        "1.6mm",
        "--sheet",
        "1.5mm",
        "--limit",
        "1.5mm",
        "--joint",
        "J4=11",
        "--out",
        "o",
    )
    listed, typed = record_in(tmp_path / "listed" / "two"), record_in(next((tmp_path / "o").iterdir()))
    assert listed.profile == typed.profile
    assert listed.verdict == typed.verdict
    assert listed.filing.joint == typed.filing.joint == "J4"


def test_options_win_and_the_screen_and_the_record_say_so(fitup: Run, two: Path, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS)
    arguments = (
        "inspect",
        two,
        "--job",
        "joints.toml",
        "--joint",
        "J4",
        "--limit",
        "0.7mm",
        "--sheet",
        "1.5mm",
    )
    code, out, _ = fitup(*arguments, "--out", "o")
    assert code == 3
    assert "as given now instead of the list's: limit" in " ".join(out.split())
    assert max(len(line) for line in out.splitlines()) <= 80
    record = record_in(tmp_path / "o" / "two")
    assert record.limit.limit_mm == 0.7
    assert "WPS 12" not in record.limit.sentence
    assert record.filing.joint_list is not None
    assert record.filing.joint_list.instead == ("limit",)  # the sheet is the same as the list's


def test_joints_named_by_another_strip(fitup: Run, two: Path, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS.replace("strips = 10\n", "").replace("strips = 11\n", ""))
    options = ("inspect", two, "--job", "joints.toml", "--no-files", "--json")
    code, out, err = fitup(*options, "--joint", "J3=10", "--joint", "J4=11")
    assert (code, err) == (0, "")
    lines = [json.loads(line)["record"] for line in out.splitlines()]
    assert [line["filing"]["joint"] for line in lines] == ["J3", "J4"]
    assert [line["limit"]["limit_mm"] for line in lines] == [0.9, 1.5]
    code, _, err = fitup(*options)
    assert code == 2
    assert "joints.toml does not say which joint two.jpg shows: name it (--joint J3)" in err


def test_a_strip_of_no_joint_is_told_and_stops_nothing(fitup: Run, two: Path, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS.replace("strips = 11", "strips = 12"))
    code, out, err = fitup("inspect", two, "--job", "joints.toml", "--no-files")
    assert code == 2
    assert "WITHIN" in out
    assert "strip 11 lies in the photo, and the list gives it to no joint" in err
    write(tmp_path, TWO_JOINTS.replace("strips = 11", "strips = 12").replace("strips = 10", "strips = 13"))
    code, out, err = fitup("inspect", two, "--job", "joints.toml", "--no-files")
    assert (code, out) == (2, "")
    assert "two.jpg shows strips 10, 11, which the list gives to no joint" in err


def test_one_strip_for_two_joints_is_for_a_person_to_tell(fitup: Run, two: Path, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS.replace("strips = 11", "strips = 10"))
    code, _, err = fitup("inspect", two, "--job", "joints.toml", "--no-files")
    assert code == 2
    assert "strip 10 belongs to joint J3 and to joint J4: name one of them" in err
    assert fitup("inspect", two, "--job", "joints.toml", "--joint", "J3", "--no-files")[0] == 0


def test_a_named_joint_whose_strip_is_not_there(fitup: Run, two: Path, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS.replace("strips = 11", "strips = 12"))
    code, _, err = fitup("inspect", two, "--job", "joints.toml", "--joint", "J4", "--no-files")
    assert code == 5
    assert "Strip 12 of joint J4 was not found in the photo" in err


def test_unknown_joint_and_unsound_list_before_any_photo(fitup: Run, tmp_path: Path) -> None:
    write(tmp_path, TWO_JOINTS)
    code, out, err = fitup("inspect", "no.jpg", "--job", "joints.toml", "--joint", "J5")
    assert (code, out) == (2, "")
    assert err.startswith("fitup: joints.toml has no joint 'J5': it has J4, J3.") or "it has J3, J4" in err
    code, out, err = fitup("inspect", "no.jpg", "--job", "nowhere.toml")
    assert (code, out) == (2, "")
    assert "nowhere.toml: the joint list cannot be read: no such file" in err
    write(tmp_path, TWO_JOINTS.replace("1.6mm", "16mm"))
    code, out, err = fitup("inspect", "no.jpg", "--job", "joints.toml")
    assert "joints.toml, line 12: joint J4: wire: wire '16mm' would be 16 mm" in err


def test_a_file_of_another_ending_is_a_list_and_other_words_are_a_job(
    fitup: Run, opening: Path, tmp_path: Path
) -> None:
    write(tmp_path, TWO_JOINTS, "weldmap")
    assert "weldmap has no joint 'x'" in fitup("inspect", opening, "--job", "weldmap", "--joint", "x")[2]
    fitup("inspect", opening, "--job", "RT-40", "--wire", "0.9mm", "--out", "o")
    filing = record_in(tmp_path / "o" / "opening").filing
    assert (filing.job, filing.joint_list) == ("RT-40", None)
    code, _, err = fitup("inspect", opening, "--job", "RT-40")
    assert code == 2
    assert "the wire is not known: give it" in err


def test_photos_by_name_and_a_joint_longer_than_the_photo(fitup: Run, opening: Path, tmp_path: Path) -> None:
    """What lies outside of the photo within the joint's length is unseen, and the record repeats."""
    write(
        tmp_path,
        '[defaults]\nwire = "0.9mm"\n[[joint]]\nname = "J1"\nphotos = "OPENING.jpg"\nstart = "40mm"\n'
        'length = "16in"\n[[joint]]\nname = "J2"\n',
    )
    code, out, _ = fitup("inspect", opening, "--job", "joints.toml", "--out", "o")
    assert code == 3
    assert "bring the whole length into the photo" in " ".join(out.split())
    record = record_in(tmp_path / "o" / "opening")
    stations = record.profile.stations
    assert stations[0].station_mm == pytest.approx(40.0, abs=1.1)
    assert stations[-1].station_mm == pytest.approx(40 + 16 * 25.4, abs=0.5)
    outside = [one.station_mm for one in stations if one.unseen_reason == "outside photo"]
    assert max(outside) == stations[-1].station_mm
    assert 200 < min(outside) < 260
    assert record.verdict.seen_share == pytest.approx(1 - len(outside) / len(stations), abs=0.05)
    assert "only" not in record.verdict.sentence  # it is the whole joint that was asked for
    fitup("inspect", opening, "--wire", "0.9mm", "--from", "40mm", "--out", "part")
    part = {one.station_mm: one.gap_mm for one in record_in(tmp_path / "part" / "opening").profile.stations}
    both = [
        (one.gap_mm - gap_mm, one.u_gap_mm)
        for one in stations
        if one.gap_mm is not None and (gap_mm := part.get(one.station_mm)) is not None
    ]
    assert len(both) > 250
    # Blur and light are pooled over the stretch that is looked at: the same place may read a bit else.
    difference_mm, u_mm = np.abs(np.array(both, dtype=float)).T
    assert (difference_mm < u_mm).all()
    assert fitup("record", "repeat", "o/opening", opening)[0] == 0
    assert fitup("record", "show", "o/opening")[0] == 0


def test_a_part_that_is_asked_for_must_be_in_the_photo(fitup: Run, opening: Path, tmp_path: Path) -> None:
    write(tmp_path, '[[joint]]\nname = "J1"\nwire = "0.9mm"\nlength = "400mm"\n')
    options = ("inspect", opening, "--job", "joints.toml", "--joint", "J1", "--no-files")
    code, _, err = fitup(*options, "--from", "100mm", "--to", "390mm")
    assert code == 5
    assert "does not show the whole stretch from 100 to 390 mm" in err
    out = fitup(*options, "--from", "20mm", "--to", "80mm", "--json")[1]
    record = json.loads(out)["record"]
    places = [one["station_mm"] for one in record["profile"]["stations"]]
    assert (places[0], places[-1]) == pytest.approx((20.0, 80.0), abs=1.1)
    assert "only" in record["verdict"]["sentence"]


def test_two_targets_of_one_joint(fitup: Run, tmp_path: Path) -> None:
    photo = save_pair(tmp_path / "pair.jpg")
    entries = 'wire = "0.9mm"\nsheet = "1.5mm"\nstrips = "4-5"\n'
    write(tmp_path, f'[[joint]]\nname = "J8"\n{entries}two_targets = true\none_sheet = true\n')
    code, _, err = fitup("inspect", photo, "--job", "joints.toml", "--out", "o")
    assert (code, err) == (0, "")
    record = record_in(tmp_path / "o" / "pair")
    assert record.shape is not None
    assert record.shape.second_target is not None
    assert record.request.strips == (4, 5)
    assert fitup("record", "repeat", "o/pair", photo)[0] == 0
    write(tmp_path, f'[[joint]]\nname = "J8"\n{entries}')
    code, _, err = fitup("inspect", photo, "--job", "joints.toml", "--no-files")
    assert code == 2
    assert "strips 4 to 5 of joint J8 lie end to end" in err
    assert "fitup seam" in err


def test_a_long_joint_takes_strips_ends_and_kind_from_the_list(fitup: Run, tmp_path: Path) -> None:
    save_shot(SHOTS["b"], tmp_path / "b.jpg")
    write(
        tmp_path,
        'job = "RT-40"\n[[joint]]\nname = "J30"\nkind = "seam"\nwire = "0.9mm"\nsheet = "1.5mm"\n'
        'strips = "11-12"\nstart = "-10mm"\nlength = "600mm"\n',
    )
    code, out, err = fitup("seam", "b.jpg", "--job", "joints.toml", "--joint", "J30", "--out", "o")
    assert (code, err) == (3, "")
    assert "J30 of joints.toml" in out
    record = read_seam_record(tmp_path / "o" / "J30" / "record.json")
    stations = record.profile.stations
    assert stations[0].station_mm == pytest.approx(-10.0, abs=0.5)
    assert stations[-1].station_mm == pytest.approx(590.0, abs=0.5)
    assert record.holes[-1].end_mm == pytest.approx(590.0, abs=0.5)
    assert record.named_strips == (11, 12)
    (tmp_path / "joints.toml").unlink()
    assert fitup("record", "repeat", "o/J30", "b.jpg")[0] == 0
    write(tmp_path, '[[joint]]\nname = "J30"\nwire = "0.9mm"\n')
    code, _, err = fitup("seam", "b.jpg", "--job", "joints.toml")
    assert code == 2
    assert "name the joint of joints.toml that the photos show: --joint J3" in err


def test_both_sides_of_a_listed_joint(fitup: Run, tmp_path: Path) -> None:
    for name, slant_deg in (("a", -15.0), ("b", 15.0)):
        save(replace(SCENES["opening"], slant_deg=slant_deg), tmp_path / f"{name}.jpg")
    write(
        tmp_path,
        'part = "tank"\n[[joint]]\nname = "J8"\nwire = "1.6mm"\nsheet = "1.5mm"\nstrips = 1\n'
        'length = "190mm"\n',
    )
    arguments = ("sides", "a.jpg", "b.jpg", "--job", "joints.toml", "--joint", "J8")
    code, out, err = fitup(*arguments, "--out", "o")
    assert (code, err) == (4, "")  # tacks in the drawing
    assert "J8 of joints.toml" in out
    record = read_sides_record(tmp_path / "o" / "J8" / "record.json")
    assert (record.filing.part, record.limit.limit_mm) == ("tank", 1.6)
    assert record.profile.stations[-1].station_mm == pytest.approx(190.0, abs=1.1)
    assert fitup("record", "repeat", "o/J8", "a.jpg", "b.jpg")[0] == 0
    assert fitup(*arguments, "--no-files", "--limit", "0.9mm")[0] == 3


def test_show_and_check(fitup: Run, tmp_path: Path) -> None:
    write(
        tmp_path,
        TWO_JOINTS + '[[joint]]\nname = "Ecke 淋洗 mit einem langen Namen"\nkind = "corner-half-open"\n'
        'overlap = "0.7mm"\nlength = "600mm"\nstart = "-3mm"\nstrips = "3-4"\n'
        'plates = ["18ga stainless", "2mm"]\n',
    )
    code, out, err = fitup("job", "show", "joints.toml")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0] == "joints.toml: job RT-40, part rinse tank, default rules"
    assert lines[3].split() == ["joint", "kind", "sheet", "wire", "limit", "by", "from", "length", "strips"]
    assert lines[4].split() == ["J3", "butt", "1.5", "0.9", "0.900", "bridge", "-", "-", "10"]
    assert lines[5].split() == ["J4", "butt", "1.5", "1.6", "1.500", "procedure", "-", "-", "11"]
    assert lines[6].split()[-7:] == ["1.27/2", "0.9", "0.900", "bridge", "-3", "600", "3-4"]
    assert "J3: bridge rule: 1 × wire 0.9 mm = 0.9 mm" in out
    assert "J4: procedure rule: 1.5 mm for a butt joint (WPS 12)" in out
    code, out, err = fitup("job", "show", "joints.toml", "--joint", "j4")
    assert (code, err) == (0, "")
    assert "1.5 mm for a butt joint" in " ".join(out.split())
    assert "1 × wire 1.6 mm" in out
    code, out, err = fitup("job", "check", "joints.toml")
    assert (code, err) == (0, "")
    assert out.startswith("joints.toml: 3 joints, all entries sound\nwithout a length: J3, J4;")
    write(tmp_path, TWO_JOINTS.replace("strips", "strip"))
    code, out, err = fitup("job", "check", "joints.toml")
    assert (code, out) == (2, "")
    assert err == "fitup: joints.toml, line 8: joint J3 has an unknown entry 'strip': did you mean strips?\n"
