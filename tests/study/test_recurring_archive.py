"""Profiles read from an archive, kept, never trusted over it; and the command from end to end."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.cli.boundary import run
from fitup.errors import StorageError, UsageError
from fitup.evidence.archive import profile_cache
from fitup.evidence.archive.archive import Added, Archive
from fitup.evidence.archive.profile_cache import ReadProfiles, profiles_of_joint
from fitup.evidence.archive.profile_reading import UNSEEN_UM, grid_profile, plain_profile
from fitup.evidence.record_file import record_from_json
from tests.evidence.archive_builders import stored_file, tampering
from tests.study.invented_archive import JOINT, PART, Seen, correct, draft_of, invented_archive, record_bytes
from tests.study.invented_parts import day_of_change, invented_gaps

COUNT = 12


@pytest.fixture
def made(tmp_path: Path) -> tuple[Archive, list[Added]]:
    return invented_archive(tmp_path / "archive", invented_gaps(3, COUNT, length_mm=60.0)[0])


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return tmp_path / "kept"


def read(archive: Archive, kept: Path | None, joint: str = JOINT) -> ReadProfiles:
    return profiles_of_joint(archive, PART, joint, folder=kept)


def same(one: ReadProfiles, other: ReadProfiles) -> None:
    for name in ("number", "day", "limit_um", "void", "retake", "gap_um", "u_um"):
        np.testing.assert_array_equal(getattr(one.profiles, name), getattr(other.profiles, name))
    for name in ("record_sha256", "job", "part", "joint", "serial", "first"):
        assert getattr(one.profiles, name) == getattr(other.profiles, name)


class TestReading:
    def test_records_are_such_as_the_program_writes(self) -> None:
        record_from_json(record_bytes(Seen(invented_gaps(1, 1)[0][0], serial="S-1")))

    def test_profile_is_that_of_the_record(self) -> None:
        gap, _ = invented_gaps(5, 1, length_mm=60.0)
        gap[0, 10:14] = np.nan
        profile = grid_profile(plain_profile(record_bytes(Seen(gap[0], serial="")), "inspection", "it"))
        expected = np.where(np.isnan(gap[0]), UNSEEN_UM, np.clip(np.round(1000 * gap[0]), 0, None))
        np.testing.assert_array_equal(profile.gap_um, expected)
        assert np.all(profile.u_um[10:14] == UNSEEN_UM)
        assert (profile.first, profile.limit_um, set(profile.u_um) - {UNSEEN_UM}) == (0, 900, {30})

    @pytest.mark.parametrize(("step_mm", "positions"), [(0.25, 3), (1.0, 7), (0.6, 5)])
    def test_other_steps_are_laid_on_the_same_grid(self, step_mm: float, positions: int) -> None:
        record = json.loads(record_bytes(Seen(np.array([0.2, 0.3, 0.4, 0.5]), serial="")))
        record["profile"]["step_mm"] = step_mm
        for index, station in enumerate(record["profile"]["stations"]):
            station["station_mm"] = 10.0 + step_mm * index
        profile = grid_profile(plain_profile(json.dumps(record).encode(), "inspection", "it"))
        assert len(profile.gap_um) == positions
        assert UNSEEN_UM not in profile.gap_um
        assert profile.gap_um.max() == 500
        assert np.all(np.diff(profile.gap_um.astype(int)) >= 0)

    def test_unseen_between_finer_stations_makes_the_position_unseen(self) -> None:
        record = json.loads(record_bytes(Seen(np.array([0.2, np.nan, 0.2, 0.2]), serial="")))
        record["profile"]["step_mm"] = 0.25
        for station, at in zip(record["profile"]["stations"], (9.9, 10.1, 10.4, 10.6), strict=True):
            station["station_mm"] = at
        profile = grid_profile(plain_profile(json.dumps(record).encode(), "inspection", "it"))
        assert profile.gap_um.tolist() == [UNSEEN_UM, 200]

    @pytest.mark.parametrize(
        "content",
        [
            b"",
            b"{",
            b"[]",
            b"\xff\xfe",
            b'{"schema_version": 3}',
            b"[" * 100_000,
            record_bytes(Seen(np.array([0.3]), serial="")).replace(b'"gap_mm": 0.3', b'"gap_mm": NaN'),
            record_bytes(Seen(np.array([0.3]), serial="")).replace(
                b'"station_mm": 0.0', b'"station_mm": 1e9'
            ),
        ],
    )
    def test_what_is_no_record_is_refused(self, content: bytes) -> None:
        with pytest.raises(StorageError, match="is damaged"):
            plain_profile(content, "inspection", "it")

    def test_a_newer_record_is_refused_by_its_version(self) -> None:
        content = record_bytes(Seen(np.array([0.3]), serial=""))
        version = json.loads(content)["schema_version"]
        newer = content.replace(f'"schema_version": {version}'.encode(), b'"schema_version": 99')
        with pytest.raises(StorageError, match="version 99"):
            plain_profile(newer, "inspection", "it")


class TestKept:
    def test_second_time_reads_nothing_and_gives_the_same(
        self, made: tuple[Archive, list[Added]], kept: Path
    ) -> None:
        first = read(made[0], kept)
        again = read(made[0], kept)
        assert (first.records_read, again.records_read) == (COUNT, 0)
        same(first, again)
        same(first, read(made[0], None))
        assert again.notes == ()

    def test_one_more_record_is_read_alone(self, made: tuple[Archive, list[Added]], kept: Path) -> None:
        archive, _ = made
        read(archive, kept)
        archive.add([draft_of(Seen(np.full(200, 0.4), serial="new", first_mm=-5.0))])
        more = read(archive, kept)
        assert more.records_read == 1
        same(more, read(archive, None))
        assert (len(more.profiles), more.profiles.first) == (COUNT + 1, -10)

    def test_corrections_count_and_count_once(self, made: tuple[Archive, list[Added]], kept: Path) -> None:
        archive, added = made
        read(archive, kept)
        correct(archive, added[0], {"serial": "S-9"})
        correct(archive, added[0], {"serial": "S-10"})
        correct(archive, added[1], {}, void=True)
        correct(archive, added[2], {"joint": "J5"})
        elsewhere = archive.add([draft_of(Seen(np.full(121, 0.4), serial="x", joint="J5"))])
        correct(archive, elsewhere[0], {"joint": JOINT})
        now = read(archive, kept)
        same(now, read(archive, None))
        assert now.profiles.serial[0] == "S-10"
        assert now.profiles.void.tolist() == [False, True, *[False] * (COUNT - 2)]
        numbers = now.profiles.number.tolist()
        assert added[2].entry.number not in numbers
        assert elsewhere[0].entry.number in numbers
        assert len(numbers) == len(set(numbers)) == COUNT
        other = read(archive, kept, "j5 ")
        assert other.profiles.number.tolist() == [added[2].entry.number]

    def test_a_correction_back_brings_the_record_back(
        self, made: tuple[Archive, list[Added]], kept: Path
    ) -> None:
        archive, added = made
        correct(archive, added[0], {"joint": "J5"})
        assert len(read(archive, kept).profiles) == COUNT - 1
        correct(archive, added[0], {"joint": JOINT})
        assert len(read(archive, kept).profiles) == COUNT
        same(read(archive, kept), read(archive, None))

    @pytest.mark.parametrize(
        "spoil",
        [
            lambda content: b"",
            lambda content: content[:-1],
            lambda content: content[:200],
            lambda content: b"{}\n" + content,
            lambda content: content.replace(b'"head": 12', b'"head": 11'),
            lambda content: content[:-40] + b"x" * 40,
        ],
    )
    def test_a_spoilt_file_counts_for_nothing(
        self, made: tuple[Archive, list[Added]], kept: Path, spoil: Callable[[bytes], bytes]
    ) -> None:
        first = read(made[0], kept)
        (file,) = kept.iterdir()
        file.write_bytes(spoil(file.read_bytes()))
        again = read(made[0], kept)
        same(first, again)
        assert again.records_read == COUNT
        assert "read anew" in again.notes[0]

    def test_a_forged_gap_is_found_by_its_record(
        self, made: tuple[Archive, list[Added]], kept: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A file written anew with a digest that fits, but with gaps that no record has."""
        first = read(made[0], kept)
        (file,) = kept.iterdir()
        about, table = profile_cache._unpacked(file.read_bytes())
        forged = np.where(table.gap_um == UNSEEN_UM, UNSEEN_UM, 100).astype(np.uint16)
        table = profile_cache.table_of([], table)
        object.__setattr__(table, "gap_um", forged)
        named = {name: about[name] for name in ("archive", "head", "digest")}
        file.write_bytes(profile_cache._packed(table, named))
        again = read(made[0], kept)
        assert "not what they say" in again.notes[0]
        same(first, again)

    def test_another_archive_of_the_same_place_is_not_mistaken(
        self, made: tuple[Archive, list[Added]], kept: Path, tmp_path: Path
    ) -> None:
        read(made[0], kept)
        other, _ = invented_archive(tmp_path / "other", invented_gaps(4, 3, length_mm=60.0)[0])
        (file,) = kept.iterdir()
        (kept / profile_cache._name(other, PART, JOINT)).write_bytes(file.read_bytes())
        found = read(other, kept)
        assert len(found.profiles) == 3
        same(found, read(other, None))

    def test_where_nothing_can_be_kept_the_result_is_the_same(
        self, made: tuple[Archive, list[Added]], tmp_path: Path
    ) -> None:
        (tmp_path / "file").write_bytes(b"")
        found = read(made[0], tmp_path / "file" / "folder")
        assert "could not be kept" in found.notes[0]
        same(found, read(made[0], None))

    def test_an_altered_record_is_told_and_left_out(
        self, made: tuple[Archive, list[Added]], kept: Path, tmp_path: Path
    ) -> None:
        archive, added = made
        stored_file(tmp_path / "archive", added[4], "record").write_bytes(b"{}")
        found = read(archive, kept)
        assert len(found.profiles) == COUNT - 1
        assert found.faults[0].startswith("entry 5: the file ")
        assert not kept.exists()

    def test_an_altered_record_that_was_kept_is_noticed_when_it_is_drawn(
        self, made: tuple[Archive, list[Added]], kept: Path, tmp_path: Path
    ) -> None:
        archive, added = made
        read(archive, kept)
        for one in added:
            stored_file(tmp_path / "archive", one, "record").write_bytes(b"{}")
        with pytest.raises(StorageError, match="cannot be read any more"):
            read(archive, kept)

    def test_an_altered_entry_stops_all(self, made: tuple[Archive, list[Added]], tmp_path: Path) -> None:
        with tampering(tmp_path / "archive") as database:
            database.execute("UPDATE entry SET content = replace(content, 'S-0003', 'S-0099')")
        with pytest.raises(StorageError, match="was altered"):
            read(made[0], None)

    def test_a_day_that_no_calendar_has_is_told(self, made: tuple[Archive, list[Added]]) -> None:
        archive, _ = made
        archive.add([draft_of(Seen(np.full(5, 0.4), serial="x", day="2026-02-31"))])
        assert "which no calendar has" in read(archive, None).faults[0]

    def test_records_that_reach_too_far_are_refused(
        self, made: tuple[Archive, list[Added]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from fitup.evidence.archive import joint_profiles

        monkeypatch.setattr(joint_profiles, "_LARGEST_CELLS", 1000)
        with pytest.raises(UsageError, match="too far"):
            read(made[0], None)


def test_an_archive_of_200_parts_with_all_that_a_shop_does_to_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three planted openings, one mended; parts re-fixtured and photographed again; corrections."""
    gap_mm, _ = invented_gaps(7)
    archive, added = invented_archive(tmp_path / "archive", gap_mm)
    closed = np.minimum(gap_mm, 0.5)
    wide = np.flatnonzero(np.nanmax(gap_mm, axis=1) > 0.9)
    archive.add([draft_of(Seen(closed[row], serial=f"S-{row + 1:04d}", day="2026-07-01")) for row in wide])
    for _ in range(3):
        correct(archive, added[3], {}, void=True)
        correct(archive, added[5], {"serial": "S-0006 B"})
        correct(archive, added[5], {"serial": "S-0006"})
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    words = ["--part", PART, "--joint", JOINT, "--archive", str(tmp_path / "archive"), "--no-files", "--json"]
    assert run(["study", "recurring", *words]) == 0
    found = json.loads(capsys.readouterr().out)
    assert run(["study", "recurring", *words, "--changed", day_of_change()]) == 0
    changed = json.loads(capsys.readouterr().out)
    later_counts = 3 in wide  # the first record of that part is void: its second is the first that counts
    assert found["parts"] == (200 if later_counts else 199)
    assert found["left_out"] == {"void": 1, "later of the same part": len(wide) - later_counts}
    assert [round(spot["at_mm"] / 5) * 5 for spot in found["spots"]] == [65, 120, 175]
    assert [round(spot["at_mm"] / 5) * 5 for spot in changed["spots"]] == [65, 175]
    assert [round(spot["at_mm"] / 5) * 5 for spot in changed["spots_before"]] == [65, 120, 175]
    (place,) = changed["change"]["places"]
    assert abs(place["at_mm"] - 120) < 3
    assert (changed["change"]["word"], place["better"]) == ("helped", True)


class TestCommand:
    @pytest.fixture
    def shop(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        invented_archive(tmp_path / "archive", invented_gaps(1, 60)[0])
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        monkeypatch.setenv("FITUP_ARCHIVE", str(tmp_path / "archive"))
        monkeypatch.chdir(tmp_path)
        return tmp_path

    def study(self, *words: str) -> int:
        return run(["study", "recurring", "--part", "Rinse TANK", "--joint", "j4", *words])

    def test_files_and_words(self, shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert self.study("--changed", "2026-03-18") == 0
        said = " ".join(capsys.readouterr().out.split())
        assert "1 RECURRING SPOT since 2026-03-18: at 62 mm" in said
        assert "60 parts, 2026-03-02 to 2026-03-31, all judged by 0.90 mm" in said
        folder = shop / "fitup-results" / "recurring-Rinse TANK-j4"
        assert {one.name for one in folder.iterdir()} == {
            "recurring.png",
            "positions.csv",
            "parts.csv",
            "recurring.json",
        }
        with Image.open(folder / "recurring.png") as picture:
            assert picture.size == (1650, 1800)
        summary = json.loads((folder / "recurring.json").read_text(encoding="utf-8"))
        positions = list(csv.DictReader(io.StringIO((folder / "positions.csv").read_text(encoding="utf-8"))))
        assert len(positions) == 421
        spot = summary["spots"][0]
        row = next(one for one in positions if float(one["position_mm"]) == spot["at_mm"])
        assert row["recurs"] == "yes"
        assert 0 < int(row["parts_open"]) <= int(row["parts_seen"]) <= 60
        parts = list(csv.DictReader(io.StringIO((folder / "parts.csv").read_text(encoding="utf-8-sig"))))
        assert [int(one["entry"]) for one in parts] == list(range(1, 61))

    def test_again_it_takes_the_place_of_the_first_and_of_nothing_else(self, shop: Path) -> None:
        other = shop / "fitup-results" / "recurring-Rinse TANK-j4"
        other.mkdir(parents=True)
        (other / "mine.txt").write_text("keep", encoding="utf-8")
        for _ in range(2):
            assert self.study() == 0
        assert (other / "mine.txt").read_text(encoding="utf-8") == "keep"
        assert {one.name for one in other.parent.iterdir()} == {other.name, f"{other.name}-2"}

    def test_json_says_the_same_and_writes_nothing(
        self, shop: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert self.study("--json", "--no-files", "--limit", "0.7mm", "--read-anew") == 0
        said = json.loads(capsys.readouterr().out)
        assert (said["kind"], said["parts"], said["limit_mm"], said["folder"]) == ("recurring", 60, 0.7, None)
        assert said["false_rate"] == pytest.approx(0.05)
        assert not (shop / "fitup-results").exists()

    def test_the_archive_stays_as_it_is(self, shop: Path) -> None:
        before = (shop / "archive" / "archive.sqlite").read_bytes()
        assert self.study() == 0
        assert (shop / "archive" / "archive.sqlite").read_bytes() == before
        assert run(["archive", "verify"]) == 0

    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            (["--part", "tank", "--joint", "J4"], "no record of part 'tank', joint 'J4'"),
            (["--joint", "J4"], "say which joint of which part"),
            (["--part", " ", "--joint", "J4"], "say which joint of which part"),
            (["--part", PART, "--joint", JOINT, "--changed", "May"], "--changed must be a day"),
            (["--part", PART, "--joint", JOINT, "--limit", "wide"], "the limit"),
            (["--part", PART, "--joint", JOINT, "--job", "other"], "no record counts"),
            (["--part", PART, "--joint", JOINT, "--from-day", "2027-01-01"], "no record counts"),
            (["--part", PART, "--joint", JOINT, "--archive", "nowhere"], "there is no archive"),
        ],
    )
    def test_wrong_use_is_one_sentence(
        self, shop: Path, capsys: pytest.CaptureFixture[str], words: list[str], sentence: str
    ) -> None:
        assert run(["study", "recurring", *words]) == 2
        said = capsys.readouterr().err
        assert sentence in said
        assert len(said.strip().splitlines()) == 1
        assert not (shop / "fitup-results").exists()

    def test_one_part_alone_is_a_map_without_findings(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        invented_archive(tmp_path / "one", np.full((1, 9), 0.5))
        where = ["--archive", str(tmp_path / "one"), "--out", str(tmp_path / "out")]
        assert self.study("--changed", "2026-03-02", *where) == 0
        said = capsys.readouterr().out
        assert "NO RECURRING SPOT" in said
        assert "too few parts" in said

    def test_names_of_all_letters_and_formulas(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        archive, added = invented_archive(tmp_path / "one", np.full((3, 9), 0.5))
        for one, serial in zip(added, ("=1+1", "Ж-王", "a\tb"), strict=True):
            correct(archive, one, {"part": "../Бак $x$/", "serial": serial})
        words = ["--part", "../Бак $x$/", "--joint", JOINT, "--archive", str(tmp_path / "one")]
        assert run(["study", "recurring", *words, "--out", str(tmp_path / "out")]) == 0
        (folder,) = (tmp_path / "out").iterdir()
        assert "'=1+1" in (folder / "parts.csv").read_text(encoding="utf-8")
        assert folder.parent == tmp_path / "out"
