"""What a report says: all of the record that matters, and what does not fit together, told at the top."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from fitup.errors import StorageError, UsageError
from fitup.evidence import record_from_json
from fitup.evidence.comparison_building import compare_records
from fitup.evidence.comparison_saving import save_comparison
from fitup.evidence.judged_record import read_judged
from fitup.evidence.report import build_report
from fitup.evidence.report.letters import Letters
from fitup.evidence.report.model import Badge, Chart, Picture, Report, Table, Verdict
from fitup.evidence.settlement_building import Given
from fitup.evidence.settlement_file import add_settlement, read_settlements
from fitup.evidence.table import stations_csv
from fitup.verdict.feeler import FeelerReading
from tests.evidence.builders import make_filing
from tests.evidence.reported import altered, as_seam, as_sides, made_up, texts


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_up(tmp_path_factory.mktemp("contents"))


def head(report: Report, sheet: int = 0) -> Verdict:
    first = report.sheets[sheet].sections[0].blocks[0]
    assert isinstance(first, Verdict)
    return first


def section(report: Report, title: str, sheet: int = 0) -> Iterator[Any]:
    return iter(next(one for one in report.sheets[sheet].sections if one.title == title).blocks)


# ------------------------------------------------------------------------------------------ one record


def test_the_verdict_comes_first_with_profile_and_picture_beside_it(folder: Path) -> None:
    report = build_report([str(folder)])
    record = record_from_json((folder / "record.json").read_bytes())
    verdict, chart, picture = report.sheets[0].sections[0].blocks
    assert isinstance(verdict, Verdict)
    assert verdict.word == record.verdict.word == "re-fixture"
    assert (verdict.advice, verdict.sentence) == (record.verdict.advice, record.verdict.sentence)
    assert dict(verdict.figures)["largest gap (k = 2)"].startswith(f"{record.verdict.largest_gap_mm:.2f} ±")
    assert verdict.careful == ()
    assert isinstance(chart, Chart)
    assert {pattern for pattern, _ in chart.legend} >= {
        "band",
        "limit",
        "within",
        "doubtful",
        "over",
        "unseen",
    }
    assert isinstance(picture, Picture)
    assert picture.content == (folder / "overlay.jpg").read_bytes()


def test_all_that_the_record_rests_on_is_said(folder: Path) -> None:
    report = build_report([str(folder)])
    said = "\n".join(texts(report))
    record = record_from_json((folder / "record.json").read_bytes())
    wanted = [
        *(candidate.formula for candidate in record.limit.candidates),
        *(left.reason for left in record.limit.not_applied),
        record.request.decision.sentence,
        *(f"{line.u_mean_mm:.4f}" for line in record.profile.budget if line.u_mean_mm is not None),
        *(line.remedy for line in record.profile.budget),
        record.scale.print_check_sentence,
        record.photo.sha256,
        read_judged(str(folder)).sha256,
        *record.cautions,
        *record.profile.notes,
        *("A. Fitter", "J-117", "bracket left", "2026-03-04 12:00:00 UTC"),
    ]
    for text in wanted:
        assert text in said
    for word in (
        "class 4",
        "eyewear",
        "enclosure",
        "interlocks",
        "chromium",
        "sharp edges",
        "codes",
        "licensed",
    ):
        assert word in said


def test_every_spot_has_its_row_however_many_there_are(folder: Path, tmp_path: Path) -> None:
    def many(record: dict[str, Any]) -> None:
        record["verdict"]["spots"] = 100 * record["verdict"]["spots"]

    report = build_report([str(altered(folder, tmp_path / "many", many))])
    (table,) = section(report, "Spots")
    spots = record_from_json((tmp_path / "many" / "record.json").read_bytes()).verdict.spots
    assert len(spots) >= 400
    assert len(table.rows) == len(spots)
    assert [row[1] for row in table.rows] == [Badge(kind="state", word=spot.state) for spot in spots]


def test_combined_uncertainty_is_the_root_of_the_squares(folder: Path) -> None:
    table = next(section(build_report([str(folder)]), "Uncertainty"))
    assert isinstance(table, Table)
    *lines, combined = table.rows
    total = sum(float(str(line[2])) ** 2 for line in lines) ** 0.5
    assert combined[0] == "combined"
    assert float(str(combined[2])) == pytest.approx(total, abs=2e-4)
    assert total == pytest.approx((0.018**2 + 0.006**2 + 0.026**2) ** 0.5, abs=2e-4)  # as made up


def test_the_table_from_a_record_is_that_beside_it_to_the_letter(folder: Path) -> None:
    record = record_from_json((folder / "record.json").read_bytes())
    made = stations_csv(record.profile.stations, record.limit.limit_mm).decode().splitlines()
    beside = (folder / "profile.csv").read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[:12] for line in beside] == [line.split(",") for line in made]


# ------------------------------------------------------------------------------------------ what does not fit


def test_a_record_alone_gives_a_report_that_says_what_is_missing(folder: Path, tmp_path: Path) -> None:
    shutil.copy(folder / "record.json", tmp_path)
    report = build_report([str(tmp_path / "record.json")])
    careful = " ".join(head(report).careful)
    assert "overlay.jpg beside the record is missing" in careful
    assert "profile.csv beside the record is missing" in careful
    assert not any(isinstance(block, Picture) for one in report.sheets[0].sections for block in one.blocks)


def test_an_altered_table_is_told_and_left_out(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    content = (copy / "profile.csv").read_bytes()
    (copy / "profile.csv").write_bytes(content.replace(b",within,", b",over,", 1))
    report = build_report([str(copy)])
    assert "says otherwise than the record" in head(report).careful[0]
    (csv,) = [file for file in report.attachments if file.mime == "text/csv"]
    assert csv.content.startswith(b"station_mm,")
    assert csv.content != (copy / "profile.csv").read_bytes()


@pytest.mark.parametrize("path", [("profile", "stations", 3, "gap_mm"), ("verdict", "largest_gap_mm")])
def test_an_altered_gap_is_told_at_the_top(folder: Path, tmp_path: Path, path: tuple[Any, ...]) -> None:
    def alter(record: dict[str, Any]) -> None:
        part: Any = record
        for key in path[:-1]:
            part = part[key]
        part[path[-1]] = 3.0

    careful = head(build_report([str(altered(folder, tmp_path / "copy", alter))])).careful
    assert any(text.startswith("The record contradicts itself") for text in careful)


def _bomb() -> bytes:
    stream = io.BytesIO()
    Image.new("L", (16000, 12000)).save(stream, "PNG")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"", "damaged"), (b"\xff\xd8\xff\xe0 no picture", "damaged"), (b"GIF89a", "damaged")],
)
def test_a_damaged_picture_is_told_and_not_shown(
    folder: Path, tmp_path: Path, content: bytes, word: str
) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    (copy / "overlay.jpg").write_bytes(content)
    assert word in head(build_report([str(copy)])).careful[0]


def test_a_truncated_and_an_enormous_picture_are_told(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    whole = (folder / "overlay.jpg").read_bytes()
    for content in (whole[: len(whole) // 2], _bomb()):
        (copy / "overlay.jpg").write_bytes(content)
        (told,) = head(build_report([str(copy)])).careful
        assert "is damaged" in told or "is too large" in told


def test_pictures_in_other_colours_and_their_own_data_are_made_plain(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    exif = Image.Exif()
    exif[0x010E] = "a place that nobody shall know"
    Image.new("CMYK", (60, 40), (10, 20, 30, 0)).save(copy / "overlay.jpg", exif=exif)
    report = build_report([str(copy)])
    (shown,) = [block for block in report.sheets[0].sections[0].blocks if isinstance(block, Picture)]
    assert b"nobody shall know" in (copy / "overlay.jpg").read_bytes()
    assert b"nobody shall know" not in shown.content
    assert Image.open(io.BytesIO(shown.content)).mode == "RGB"


@pytest.mark.parametrize("version", [1, 2])
def test_older_records_are_reported_and_kept_as_they_are(folder: Path, tmp_path: Path, version: int) -> None:
    def older(record: dict[str, Any]) -> None:
        record["schema_version"] = version
        for new in ("quality", *(("shape",) if version == 1 else ())):
            record.pop(new)
        for new in ("rules", "weld", "other_sheet"):
            record["request"].pop(new)
        record["limit"].pop("not_applied")
        record["verdict"].pop("information")
        record["filing"].pop("joint_list")
        if version == 1:
            record["scale"].pop("lens")
            record["request"].pop("land_rule")
        record["request"]["bridge_factor"] = 1.0

    copy = altered(folder, tmp_path / "old", older)
    report = build_report([str(copy)])
    assert head(report).word == "re-fixture"
    (kept,) = [file for file in report.attachments if file.mime == "application/json"]
    assert kept.content == (copy / "record.json").read_bytes()
    assert json.loads(kept.content)["schema_version"] == version


def test_a_joint_of_which_nothing_was_seen(folder: Path, tmp_path: Path) -> None:
    def blind(record: dict[str, Any]) -> None:
        for station in record["profile"]["stations"]:
            station.update(gap_mm=None, u_gap_mm=None, near_mm=None, far_mm=None, near_px=None, far_px=None)
            station.update(state="unseen", unseen_reason="glare")
        for line in record["profile"]["budget"]:
            line.update(u_mean_mm=None, u_at_largest_gap_mm=None)
        verdict = record["verdict"]
        verdict.update(word="retake", largest_gap_mm=None, u_largest_gap_mm=None, largest_gap_at_mm=None)
        verdict.update(seen_share=0.0, spots=[])

    copy = altered(folder, tmp_path / "blind", blind)
    (copy / "profile.csv").unlink()
    report = build_report([str(copy)])
    assert head(report).word == "retake"
    assert dict(head(report).figures)["largest gap (k = 2)"] == "no gap was seen"
    assert "There is no uncertainty" in "".join(texts(report)) or "no gap was seen" in "".join(texts(report))


# ---------------------------------------------------------------------------------------- later, and several


def test_settled_verdicts_come_first_and_say_what_was_before(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    judged = read_judged(str(copy))
    number = next(k for k, spot in enumerate(judged.joint.spots, 1) if str(spot.state) == "unseen")
    spot = judged.joint.spots[number - 1]
    reading = FeelerReading(
        blades_mm=(0.5,), goes_in=False, start_mm=spot.start_mm, end_mm=spot.end_mm, flat=False
    )
    given = Given(reading=reading, as_written="0.50mm", spot=number, remark="deburred")
    settled = add_settlement(judged, given, make_filing())
    report = build_report([str(copy)])
    assert head(report).word == settled.verdict.word.value
    assert head(report).sentence == settled.verdict.sentence
    assert ("before settling", "RE-FIXTURE by the photo alone") in head(report).figures
    said = "\n".join(texts(report))
    for word in ("does not go in", "deburred", settled.digests[0], "settled by"):
        assert word in said
    names = [file.name for file in report.attachments]
    assert names == ["profile.csv", "record.json", "settlement-001.json"]
    (copy / "settlement-001.json").write_bytes(b"{}")
    with pytest.raises(StorageError):
        build_report([str(copy)])


def filed_again(folder: Path, to: Path, joint: str, minute: int, photo: str = "a") -> Path:
    def change(record: dict[str, Any]) -> None:
        record["filing"].update(joint=joint, filed_at_utc=f"2026-03-04T12:{minute:02d}:00Z")
        record["photo"].update(sha256=64 * photo)

    return altered(folder, to, change)


def test_a_part_tells_the_worst_of_its_joints_as_they_are_now(folder: Path, tmp_path: Path) -> None:
    filed_again(folder, tmp_path / "1", "J10", 0)
    filed_again(folder, tmp_path / "2", "J2", 1)
    filed_again(folder, tmp_path / "3", "J2", 5, "b")
    report = build_report([str(tmp_path)])
    assert [sheet.title for sheet in report.sheets] == [
        "Part bracket left",
        "Joint J2",
        "Joint J2",
        "Joint J10",
    ]
    figures = dict(head(report).figures)
    assert (figures["joints"], figures["records"]) == ("2", "3")
    table = report.sheets[0].sections[0].blocks[1]
    assert isinstance(table, Table)
    assert [row[0] for row in table.rows] == ["J2 (before)", "J2", "J10"]
    assert "Before and after" not in [one.title for one in report.sheets[1].sections]
    facts, chart, *_ = section(report, "Before and after", 2)
    assert ("earlier", "before") in chart.legend
    assert any("not compared" in text or "closed" in text or "remain" in text for _, text in facts.rows)
    assert [file.name for file in report.attachments] == [
        f"{k}-{name}" for k in (1, 2, 3) for name in ("profile.csv", "record.json")
    ]


def test_records_of_one_photo_are_told_to_be_no_before_and_after(folder: Path, tmp_path: Path) -> None:
    first = filed_again(folder, tmp_path / "a", "J1", 0)
    second = filed_again(folder, tmp_path / "b", "J1", 3)
    report = build_report([str(second), str(first), str(first)])
    assert dict(head(report).figures)["records"] == "2"
    (lines,) = section(report, "Before and after", 2)
    assert lines.texts[0].startswith("Not compared. ")
    assert dict(head(report).figures)["joints"] == "2"


def test_folders_without_records_and_files_of_other_kinds_are_refused(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="holds no record"):
        build_report([str(tmp_path)])
    with pytest.raises(StorageError):
        build_report([str(tmp_path / "nothing")])
    with pytest.raises(StorageError):
        build_report([str(folder / "profile.csv")])
    with pytest.raises(UsageError, match="too many"):
        build_report(201 * [str(folder)])


def test_a_joint_of_several_photos_tells_of_each(folder: Path, tmp_path: Path) -> None:
    copy = altered(folder, tmp_path / "seam", as_seam)
    for k in (1, 2):
        shutil.copy(folder / "overlay.jpg", copy / f"overlay-{k}-photo {k}.jpg")
    report = build_report([str(copy)])
    assert head(report).careful == ()
    assert len(list(section(report, "Photos with the joint marked"))) == 2
    said = "\n".join(texts(report))
    for text in (
        *(
            "photo 1.jpg / photo 2.jpg",
            "0.004 ± 0.020 mm",
            "3.2 / 4",
            "230.00 ± 0.20",
            "no. 1: 30 mm to no. 2: 38 mm",
        ),
        *("blurred.jpg was not used: the joint was not found", "photograph strip 2 (210–220 mm: no photo)"),
        *(64 * "0", 64 * "1", "told of several photos", "seam, 2"),
    ):
        assert text in said
    (copy / "overlay-2-photo 2.jpg").unlink()
    assert "overlay-2-photo 2.jpg beside the record is missing" in head(build_report([str(copy)])).careful[0]


def test_a_joint_from_both_sides_tells_the_step(folder: Path, tmp_path: Path) -> None:
    report = build_report([str(altered(folder, tmp_path / "sides", as_sides))])
    said = "\n".join(texts(report))
    assert "+0.20 ± 0.06 mm (median), +0.25 ± 0.08 mm at 12 mm (largest)" in said
    assert "Photo 2, its scale and lens" in said

    def untold(record: dict[str, Any]) -> None:
        as_sides(record)
        record.update(step=None, not_measurable="both look from nearly the same side", judged=0)

    said = "\n".join(texts(build_report([str(altered(folder, tmp_path / "untold", untold))])))
    assert "not measurable in these photos: both look from nearly the same side" in said


def test_a_comparison_that_was_kept_is_used_with_its_shift(folder: Path, tmp_path: Path) -> None:
    before = filed_again(folder, tmp_path / "r" / "1", "J1", 0)
    after = filed_again(folder, tmp_path / "r" / "2", "J1", 9, "b")
    both = [read_settlements(read_judged(str(path))) for path in (before, after)]
    kept = save_comparison(compare_records(*both, shift_mm=3.0, filing=make_filing()), tmp_path / "r")
    report = build_report([str(tmp_path / "r")])
    facts, *_ = section(report, "Before and after", 2)
    assert dict(facts.rows)["places"] == "3.00 mm is added to places now, to be those before"
    (inside,) = [file for file in report.attachments if file.name == "comparison-1.json"]
    assert inside.content == (kept / "comparison.json").read_bytes()
    again = build_report([str(before), str(after)])
    plain, *_ = section(again, "Before and after", 2)
    assert dict(plain.rows)["places"].startswith("both count from their own datum mark")


def test_a_record_of_a_part_of_the_joint_takes_the_place_of_none(folder: Path, tmp_path: Path) -> None:
    filed_again(folder, tmp_path / "r" / "1", "J1", 0)
    filed_again(folder, tmp_path / "part", "J1", 9, "b")

    def only_a_part(record: dict[str, Any]) -> None:
        record["request"]["from_mm"] = 20.0

    altered(tmp_path / "part", tmp_path / "r" / "2", only_a_part)
    report = build_report([str(tmp_path / "r")])
    assert dict(head(report).figures)["joints"] == "2"


# ------------------------------------------------------------------------------------------ letters


@pytest.mark.parametrize(
    ("text", "shown", "notes"),
    [
        ("J4 水槽 b", "J4 □□[1] b", ("[1] U+6C34 U+69FD",)),
        ("水槽 and 水槽", "□□[1] and □□[1]", ("[1] U+6C34 U+69FD",)),
        ("a\u202eb\u200bc", "a□[1]b□[2]c", ("[1] U+202E", "[2] U+200B")),
        ("e\u0301 \u0416\n\t x", "é Ж x", ()),
        ("\ue000\U0010ffff", "□□[1]", ("[1] U+E000 U+10FFFF",)),
        ("", "", ()),
    ],
)
def test_letters_that_cannot_be_shown_are_named(text: str, shown: str, notes: tuple[str, ...]) -> None:
    letters = Letters(frozenset(range(0x20, 0x500)))
    assert letters.shown(text) == shown
    assert letters.notes == notes


def test_no_letter_vanishes_and_long_texts_say_their_length() -> None:
    letters = Letters(frozenset(range(0x20, 0x7F)))
    shown = letters.shown("水" * 400)
    assert shown == "□" * 400 + "[1]"
    assert letters.notes[0].endswith("and 340 more")
    assert "(9000 characters" in letters.shown("x" * 9000)
