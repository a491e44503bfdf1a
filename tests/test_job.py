"""Joint lists: what is read, what is refused and in which words. All jobs are invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.inspection import InspectionSettings, limit_of
from fitup.job import Job, JobJoint, read_job
from fitup.job_keys import parse_strip_range
from fitup.scale import PrintRecord, save_print_record
from tests.test_error_sentences import one_sentence

ROOT = Path(__file__).parents[1]
HEAD = 'job = "RT-40"\n[defaults]\nwire = "0.9mm"\nsheet = "1.5mm"\n'


def read(folder: Path, text: str) -> Job:
    path = folder / "joints.toml"
    path.write_text(text, encoding="utf-8")
    return read_job(path)


def only(folder: Path, entries: str, head: str = HEAD) -> JobJoint:
    """The joint J3 of a list, with these entries from line 7 on."""
    return read(folder, f'{head}[[joint]]\nname = "J3"\n{entries}').joints[0]


def settings(folder: Path, entries: str, head: str = HEAD) -> InspectionSettings:
    return only(folder, entries, head).settings


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(UsageError) as caught:
        read(folder, text)
    one_sentence(str(caught.value))
    return str(caught.value)


def test_a_joint_with_everything(tmp_path: Path) -> None:
    check = PrintRecord(
        number="P-1",
        date="2026-11-02",
        instrument="caliper 7",
        u_instrument_mm=0.02,
        along_mm=140.2,
        across_mm=139.9,
    )
    save_print_record(check, tmp_path / "print.json")
    (tmp_path / "shop-rules.toml").write_text("[bridge]\nfactor = 0.9\n", encoding="utf-8")
    job = read(
        tmp_path,
        """job = "RT-40"
part = "Spülbecken 淋洗"
description = "rinse tank"
rules = "shop-rules.toml"
[defaults]
wire = "035"
material = "stainless"
sheet = "18ga"
print_record = "print.json"
[[joint]]
name = "Ecke Ä1"
kind = "tee"
target_on = "base"
plates = ["16ga", "1.2mm"]
feed = "0.5in/s"
travel = "30 in/min"
oscillation = "2mm"
frequency = "80Hz"
spot = "0.3mm"
power = "550W"
limit = "0.5mm"
limit_from = "WPS 12 rev. C"
length = "12in"
start = "-5mm"
strips = 11
target_thickness = "0.85mm"
arris_radius = "0.1mm"
drawing = "RT-40-03"
remark = "after J2"
photos = ["IMG_0412.jpg", "IMG_0413.jpg"]
""",
    )
    assert (job.job, job.part, job.description) == ("RT-40", "Spülbecken 淋洗", "rinse tank")
    assert (job.file_name, len(job.sha256)) == ("joints.toml", 64)
    joint = job.joint(" ecke ä1 ")
    assert (joint.name, joint.drawing, joint.remark) == ("Ecke Ä1", "RT-40-03", "after J2")
    assert joint.photos == ("IMG_0412.jpg", "IMG_0413.jpg")
    told = joint.settings
    assert told.wire is not None
    assert told.wire.diameter_mm == 0.889
    assert (told.joint_kind, told.target_on) == ("tee", "base")
    assert told.sheet is not None
    assert told.other_sheet is not None
    assert told.sheet.thickness_mm == pytest.approx(25.4 / 16)
    assert told.other_sheet.thickness_mm == 1.2
    assert told.opening_sheet is told.other_sheet  # the standing plate ends at the gap, not the base
    assert told.weld.feed_mm_s == pytest.approx(12.7)
    assert told.weld.travel_mm_s == pytest.approx(12.7)
    assert (told.weld.oscillation_mm, told.weld.oscillation_hz) == (2.0, 80.0)
    assert (told.weld.spot_mm, told.weld.power_w) == (0.3, 550.0)
    assert (told.procedure_limit_mm, told.procedure_reference) == (0.5, "WPS 12 rev. C")
    assert told.ends_mm == told.stretch_mm == (-5.0, pytest.approx(299.8))
    assert not told.part_only
    assert told.strips == (11,)
    assert (told.target_thickness_mm, told.arris_radius_mm) == (0.85, 0.1)
    assert told.print_record == check
    assert told.rules is job.rules
    assert told.rules.file_name == "shop-rules.toml"
    limit = limit_of(told)
    assert limit.limit_mm == 0.5
    assert "WPS 12 rev. C" in limit.sentence


def test_what_a_joint_says_wins_over_the_defaults(tmp_path: Path) -> None:
    told = settings(tmp_path, 'wire = "1.2mm"\nplates = ["2mm", "1mm"]\n')
    assert told.wire is not None
    assert told.sheet is not None
    assert told.other_sheet is not None
    assert [told.wire.diameter_mm, told.sheet.thickness_mm, told.other_sheet.thickness_mm] == [1.2, 2.0, 1.0]
    default = 'wire = "0.9mm"\nplates = ["2mm", "1mm"]\nlimit = "0.5mm"\nlimit_from = "WPS 1"\n'
    told = settings(tmp_path, 'sheet = "1.5mm"\nlimit = "0.4mm"\n', f"[defaults]\n{default}")
    assert told.other_sheet is None
    assert (told.procedure_limit_mm, told.procedure_reference) == (0.4, "")


def test_defaults_that_mean_nothing_for_a_kind_are_passed_over(tmp_path: Path) -> None:
    head = f'{HEAD}target_on = "base"\nincluded_angle = 120\noverlap = "0.5mm"\n'
    told = settings(tmp_path, 'kind = "tee"\n', head)
    assert (told.target_on, told.included_angle_deg, told.overlap_mm) == ("base", 90.0, None)
    assert settings(tmp_path, "", head).target_on is None
    assert settings(tmp_path, 'kind = "corner-full-open"\n', head).included_angle_deg == 120.0


def test_no_wire(tmp_path: Path) -> None:
    told = settings(tmp_path, 'wire = "none"\n')
    assert told.wire is None
    assert limit_of(told).limit_mm == pytest.approx(0.15)  # a tenth of the sheet, EWI 2015


# 15 U.S.C. 206 (the act of 1893): inches of US standard gauge; manufacturers' standard gauge as the steel
# trade prints it (18 ga 0.0478 in, 16 ga 0.0598 in, 14 ga 0.0747 in, 11 ga 0.1196 in).
@pytest.mark.parametrize(
    ("gauge", "material", "inches"),
    [
        *((18, "stainless", 0.05), (16, "stainless", 0.0625), (14, "stainless", 0.078125)),
        *((11, "stainless", 0.125), (22, "stainless", 0.03125)),
        *((18, "steel", 0.0478), (16, "steel", 0.0598), (14, "steel", 0.0747), (11, "steel", 0.1196)),
    ],
)
def test_sheets_by_gauge_and_material_against_the_published_tables(
    tmp_path: Path, gauge: int, material: str, inches: float
) -> None:
    apart = settings(tmp_path, f'sheet = "{gauge}ga"\nmaterial = "{material}"\n')
    together = settings(tmp_path, f'sheet = "{gauge} gauge {material}"\n')
    assert apart.sheet is not None
    assert together.sheet is not None
    assert apart.sheet.thickness_mm == together.sheet.thickness_mm == pytest.approx(25.4 * inches, abs=1e-9)


def test_material_of_the_list_does_not_change_what_is_written_whole(tmp_path: Path) -> None:
    told = settings(tmp_path, 'material = "steel"\nplates = ["18ga stainless", "1.5mm"]\n')
    assert told.sheet is not None
    assert told.sheet.thickness_mm == pytest.approx(1.27)


def test_material_of_the_shop_rules_is_the_last_to_be_asked(tmp_path: Path) -> None:
    (tmp_path / "r.toml").write_text('[shop]\ngauge_material = "steel"\n', encoding="utf-8")
    told = settings(tmp_path, 'sheet = "18ga"\n', f'rules = "r.toml"\n{HEAD}')
    assert told.sheet is not None
    assert told.sheet.thickness_mm == pytest.approx(25.4 * 0.0478)


@pytest.mark.parametrize(
    ("written", "strips", "end_to_end"),
    [
        ("11", (11,), False),
        ('"11"', (11,), False),
        ('"3-5"', (3, 4, 5), True),
        ('"3-4"', (3, 4), True),
        ('"3-4"\ntwo_targets = true', (3, 4), False),
        ('"3-4"\nkind = "tee"', (3, 4), False),
        ('"3-5"\nkind = "tee"', (3, 4, 5), True),
    ],
)
def test_strips(tmp_path: Path, written: str, strips: tuple[int, ...], end_to_end: bool) -> None:
    joint = only(tmp_path, f"strips = {written}\n")
    assert (joint.settings.strips, joint.end_to_end) == (strips, end_to_end)


@given(st.integers(1, 999), st.integers(0, 50), st.sampled_from(["-", "–", "..", "to"]))
def test_strip_ranges_come_back(first: int, more: int, sign: str) -> None:
    last = min(first + more, 999)
    assert parse_strip_range(f" {first} {sign} {last} ") == (first, last)
    assert parse_strip_range(f"{last + 1}{sign}{first}") is None


@given(
    st.decimals(5, 5000, places=3, allow_nan=False),
    st.decimals(-500, 500, places=3, allow_nan=False),
    st.sampled_from((("mm", 1.0), ("in", 25.4))),
)
def test_lengths_come_back(
    tmp_path_factory: pytest.TempPathFactory, length: object, start: object, unit: tuple[str, float]
) -> None:
    word, factor = unit
    if float(str(length)) * factor > 100_000:
        return
    folder = tmp_path_factory.getbasetemp()
    told = settings(folder, f'length = "{length}{word}"\nstart = "{start}{word}"\n')
    assert told.joint_length_mm == pytest.approx(float(str(length)) * factor, rel=1e-12)
    assert told.joint_start_mm == pytest.approx(float(str(start)) * factor, rel=1e-12, abs=1e-12)


# Entries of joint J3, which begin in line 7, and how the refusal begins and what it says besides.
WRONG = [
    ("shet = 3", "line 7: joint J3 has an unknown entry 'shet'", "did you mean sheet?"),
    ("joint-kind = 3", "line 7: joint J3 has an unknown entry 'joint-kind'", ""),
    ("zzz = 3", "line 7: joint J3 has an unknown entry 'zzz'", "it may have name, kind"),
    ('kind = "teee"', "line 7: joint J3: kind: 'teee' is no kind of joint", "did you mean tee?"),
    ('kind = "xyz"', "line 7: joint J3: kind: 'xyz' is no kind of joint", "write one of butt, seam"),
    ("kind = 3", "line 7: joint J3: kind: must be text in quotes", ""),
    ('target_on = "base"', "line 7: joint J3: target_on: in a butt joint the target lies on plate", ""),
    ('kind = "lap"\ntarget_on = "base"', "line 8: joint J3: target_on: ", "upper or lower"),
    ("included_angle = 120", "line 7: joint J3: included_angle: ", "corner-full-open"),
    ('included_angle = "120"', "line 7: joint J3: included_angle: must be a number", ""),
    ('overlap = "1mm"', "line 7: joint J3: overlap: ", "corner-half-open"),
    ('sheet = "18ga"', "line 7: joint J3: gauge 18 alone", "18ga stainless"),
    ('sheet = "18ga"\nmaterial = "brass"', "line 7: joint J3: sheet '18ga brass'", "mm"),
    ('sheet = "50mm"', "line 7: joint J3: sheet '50mm' would be 50 mm", ""),
    ("sheet = 1.5", "line 7: joint J3: sheet: must be text in quotes", ""),
    ('sheet = "1mm"\nplates = ["1mm", "2mm"]', "line 8: joint J3 has sheet and plates", "alike"),
    ('plates = ["1mm"]', "line 7: joint J3: plates: must be two sheets", "that with the target first"),
    ('plates = [\n"1mm",\n"18ga"]', "line 9: joint J3: gauge 18 alone", ""),
    ('wire = "9mm"', "line 7: joint J3: wire: wire '9mm' would be 9 mm", "did you mean"),
    ("wire = 0.9", "line 7: joint J3: wire: must be text in quotes", ""),
    ('feed = "12.7"', "line 7: joint J3: feed: the wire feed '12.7' cannot be read", "mm/s"),
    ('travel = "9999in/s"', "line 7: joint J3: travel: the travel speed must be from", ""),
    ('oscillation = "99mm"', "line 7: joint J3: oscillation: ", ""),
    ('frequency = "80"', "line 7: joint J3: frequency: ", "80Hz"),
    ('power = "0.5"', "line 7: joint J3: power: ", "550W"),
    ('limit = "11mm"', "line 7: joint J3: ", "at most 10 mm"),
    ('limit_from = "a\\nb"', "line 7: joint J3: limit_from: must be one line", ""),
    ('length = "2mm"', "line 7: joint J3: length: a joint of 2 mm is too short", ""),
    ("length = 300", "line 7: joint J3: length: the joint's length must be given as text", "unit"),
    ('start = "x"', "line 7: joint J3: start: the start 'x' cannot be read", ""),
    ("strips = 0", "line 7: joint J3: strips: Strip numbers of form", ""),
    ('strips = "5-3"', "line 7: joint J3: strips: must be the number of a strip", '"11-14"'),
    ("strips = true", "line 7: joint J3: strips: must be the number of a strip", ""),
    ('two_targets = "yes"', "line 7: joint J3: two_targets: must be true or false", ""),
    ("one_sheet = true", "line 7: joint J3: one_sheet needs two targets", "two_targets = true"),
    ('print_record = "no.json"', "line 7: joint J3: print_record: The print check", "cannot be read"),
    ('photos = ["a/b.jpg"]', "line 7: joint J3: photos: must be names of photos without", ""),
    ('arris_radius = "0.9mm"', "line 7: joint J3: arris_radius: ", "0.3 mm"),
]  # fmt: skip


@pytest.mark.parametrize(("entries", "begins", "says"), WRONG, ids=[entries for entries, *_ in WRONG])
def test_wrong_entries_are_told_with_line_joint_and_remedy(
    tmp_path: Path, entries: str, begins: str, says: str
) -> None:
    said = refusal(tmp_path, f'{HEAD}[[joint]]\nname = "J3"\n{entries}\n')
    assert said.startswith(f"joints.toml, {begins}"), said
    assert says in said


LISTS = [
    ("", "joints.toml: the joint list is empty"),
    ('job = "x"', "joints.toml: the joint list has no joint: write [[joint]]"),
    ("[[joint]]\nwire = '0.9mm'", "joints.toml, line 1: this joint has no name"),
    ("[[joint]]\nname = 3", "joints.toml, line 2: name: must be text in quotes"),
    ("[[joint]]\nname = ''", "joints.toml, line 2: name: must be a name of up to 60 characters"),
    ("[[joint]]\nname = 'J=3'", "joints.toml, line 2: name: must be a name of up to 60 characters without ="),
    ("[[joint]]\nname = 'J3'", "joints.toml, line 1: joint J3 has no wire: write wire"),
    ("joint = 3", "joints.toml, line 1: write [[joint]] above the entries of each joint"),
    ("[joint]\nname = 'J3'", "joints.toml, line 1: write [[joint]]"),
    ("jobb = 'x'\n[[joint]]", "joints.toml, line 1: the joint list has an unknown entry 'jobb': did you"),
    ("job = 3\n[[joint]]", "joints.toml, line 1: job: must be text in quotes"),
    ("defaults = 3\n[[joint]]", "joints.toml, line 1: write [defaults] above"),
    ("[defaults]\nname = 'J1'\n[[joint]]", "joints.toml, line 2: name belongs to one joint"),
    ("[defaults]\nwire = '9mm'\n[[joint]]", "joints.toml, line 2: [defaults]: wire: wire '9mm'"),
    ("rules = 'none.toml'\n[[joint]]", "joints.toml, line 1: rules: none.toml: "),
    (
        f"{HEAD}[[joint]]\nname = 'J1'\n[[joint]]\nname = ' j1'",
        "joints.toml, line 8: joint j1 is there already, in line 6",
    ),
    (
        f"{HEAD}[[joint]]\nname = 'J1'\nkind = 'tee'\nsheet = '1mm'\n[[joint]]\nname = 'J2'\n"
        "photos = 'a.jpg'\n[[joint]]\nname = 'J3'\nphotos = 'A.JPG'",
        "joints.toml, line 14: joint J3: photo A.JPG stands at joint J2 too",
    ),
    ("[defaults]\nwire = '0.9mm'\n[[joint]]\nname = 'J1'\nkind = 'tee'",
     "joints.toml, line 5: joint J1 is a T-joint and needs its sheet: write sheet"),
    ("[defaults]\nkind = 'lap'\nwire = '0.9mm'\n[[joint]]\nname = 'J1'",
     "joints.toml, line 2: joint J1 is a lap joint and needs its sheet"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "begins"), LISTS, ids=range(len(LISTS)))
def test_wrong_lists_are_told_in_one_sentence(tmp_path: Path, text: str, begins: str) -> None:
    said = refusal(tmp_path, text)
    assert said.startswith(begins), said


def test_a_photo_of_two_joints_needs_their_strips(tmp_path: Path) -> None:
    both = "[[joint]]\nname = 'J{0}'\nphotos = 'a.jpg'\nstrips = {0}\n"
    job = read(tmp_path, HEAD + both.format(1) + both.format(2))
    assert [one.settings.strips for one in job.joints] == [(1,), (2,)]


def test_unknown_joints_are_answered_with_the_known_ones_nearest_first(tmp_path: Path) -> None:
    job = read(tmp_path, HEAD + "".join(f"[[joint]]\nname = 'Corner {k}'\n" for k in range(20)))
    with pytest.raises(UsageError) as caught:
        job.joint("corner 17x")
    assert str(caught.value).startswith("joints.toml has no joint 'corner 17x': it has Corner 17, Corner 0, ")
    assert str(caught.value).endswith("and 8 more.")


def test_the_demo_list_is_that_of_the_demo_photos() -> None:
    job = read_job(ROOT / "demo_images" / "joints.toml")
    assert [one.name for one in job.joints] == [f"J{number}" for number in range(1, 31)]
    photos = [photo for one in job.joints for photo in one.photos]
    assert len(set(photos)) == len(photos) == 34
    for photo in photos:
        assert len(list((ROOT / "demo_images").rglob(photo))) == 1
