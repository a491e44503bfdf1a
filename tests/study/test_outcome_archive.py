"""Outcomes out of an archive: which record's gap counts, and the command from end to end."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.cli.boundary import run
from fitup.evidence.archive.afterwards import outcome_draft
from fitup.evidence.archive.archive import Added, Archive, open_archive
from fitup.evidence.archive.entry import Outcome
from fitup.study.outcome_pairs import Welds, welds_with_outcomes
from tests.evidence.archive_builders import stored_file
from tests.study.invented_archive import Seen, correct, draft_of, outcomes
from tests.study.simulated_outcomes import Truth, simulated


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    return open_archive(str(tmp_path / "archive"), create=True)


def seen(
    archive: Archive, gap_mm: float, serial: str = "S-1", day: str = "2026-05-01", **more: object
) -> Added:
    gap = np.array([0.1, gap_mm, 0.2])
    return archive.add([draft_of(Seen(gap, serial=serial, day=day, **more))])[0]  # type: ignore[arg-type]


def after(archive: Archive, added: Added, word: str = "sound", day: str = "2026-05-10") -> Added:
    draft = outcome_draft(
        added,
        Outcome(word=word),  # type: ignore[arg-type]
        who="QC",
        day=day,
        later=archive.later(added.entry.number),
    )
    return archive.add([draft])[0]


def found(archive: Archive) -> list[tuple[int, float, str]]:
    return [(one.number, one.gap_mm, one.word) for one in welds_with_outcomes(archive).welds]


class TestWhichGap:
    def test_the_gap_is_the_largest_of_the_record(self, archive: Archive) -> None:
        after(archive, seen(archive, 0.7))
        (weld,) = welds_with_outcomes(archive).welds
        assert (weld.gap_mm, weld.wire_um, weld.joint_kind, weld.limit_mm) == (0.7, 900, "butt", 0.9)
        assert weld.sound

    def test_the_last_record_before_the_outcome_counts(self, archive: Archive) -> None:
        """Re-fixtured, photographed again, welded; the outcome was added to the first record."""
        first = seen(archive, 1.4)
        seen(archive, 0.5, serial="s-1 ", day="2026-05-02")
        seen(archive, 0.3, serial="S-2", day="2026-05-03")
        after(archive, first)
        seen(archive, 0.2, day="2026-05-04")  # added later
        assert found(archive) == [(2, 0.5, "sound")]

    def test_a_record_of_a_later_day_does_not_count(self, archive: Archive) -> None:
        first = seen(archive, 0.8)
        seen(archive, 0.1, day="2026-05-20")
        after(archive, first)
        assert found(archive) == [(1, 0.8, "sound")]

    def test_without_serial_the_named_record_counts(self, archive: Archive) -> None:
        first = seen(archive, 0.8, serial="")
        seen(archive, 0.1, serial="", day="2026-05-02")
        after(archive, first)
        assert found(archive) == [(1, 0.8, "sound")]

    def test_another_joint_of_the_part_is_another_weld(self, archive: Archive) -> None:
        one, other = seen(archive, 0.8), seen(archive, 0.3, joint="J5")
        after(archive, one, "repaired")
        after(archive, other)
        assert found(archive) == [(1, 0.8, "repaired"), (2, 0.3, "sound")]

    def test_corrections_say_which_weld_it_is(self, archive: Archive) -> None:
        first = seen(archive, 1.4)
        wrong = seen(archive, 0.5, serial="S-9", day="2026-05-02")
        correct(archive, wrong, {"serial": "S-1"})
        after(archive, first)
        assert found(archive) == [(2, 0.5, "sound")]

    def test_a_void_record_gives_way_to_the_one_before(self, archive: Archive) -> None:
        first, second = seen(archive, 0.8), seen(archive, 0.3, day="2026-05-02")
        correct(archive, second, {}, void=True)
        after(archive, first)
        assert found(archive) == [(1, 0.8, "sound")]

    def test_the_worst_of_several_outcomes_counts(self, archive: Archive) -> None:
        one = seen(archive, 0.8)
        for word in ("repaired", "sound", "scrapped", "sound"):
            after(archive, one, word)
        welds = welds_with_outcomes(archive)
        assert [weld.word for weld in welds.welds] == ["scrapped"]
        assert welds.left_out == {"further outcome of the same weld": 3}
        assert not welds.welds[0].sound


class TestLeftOut:
    def reasons(self, archive: Archive) -> Welds:
        welds = welds_with_outcomes(archive)
        assert welds.welds == ()
        return welds

    def test_void_outcome(self, archive: Archive) -> None:
        correct(archive, after(archive, seen(archive, 0.8)), {}, void=True)
        assert self.reasons(archive).left_out == {"void outcome": 1}

    def test_void_record(self, archive: Archive) -> None:
        one = seen(archive, 0.8)
        correct(archive, one, {}, void=True)
        after(archive, one)
        assert self.reasons(archive).left_out == {"void record": 1}

    def test_a_joint_not_seen_well_enough(self, archive: Archive) -> None:
        after(archive, seen(archive, 0.8, verdict="retake"))
        assert self.reasons(archive).left_out == {"too little of the joint seen": 1}

    def test_a_record_that_was_altered(self, archive: Archive, tmp_path: Path) -> None:
        one = seen(archive, 0.8)
        after(archive, one)
        stored_file(tmp_path / "archive", one, "record").write_bytes(b"{}")
        assert self.reasons(archive).faults[0].startswith("entry 1: the file ")

    def test_nothing_at_all(self, archive: Archive) -> None:
        assert self.reasons(archive).left_out == {}


class TestCommand:
    @pytest.fixture
    def shop(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        gap, sound = simulated(11, Truth(welds=120))
        archive = open_archive(str(tmp_path / "archive"), create=True)
        added = archive.add(
            [draft_of(Seen(np.array([0.0, one]), serial=f"S-{index}")) for index, one in enumerate(gap)]
        )
        rng = np.random.default_rng(1)
        words = ["sound" if one else str(rng.choice(["repaired", "scrapped"])) for one in sound]
        outcomes(archive, added, words)
        tee = archive.add([draft_of(Seen(np.array([0.4]), serial="T-1", kind="tee", wire_um=0))])
        outcomes(archive, tee, ["sound"])
        monkeypatch.setenv("FITUP_ARCHIVE", str(tmp_path / "archive"))
        monkeypatch.chdir(tmp_path)
        return tmp_path

    def test_files_and_words(self, shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
        before = (shop / "archive" / "archive.sqlite").read_bytes()
        assert run(["study", "outcomes"]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert "wire 0.9 mm, butt" in said
        assert "95 % of welds are sound" in said
        assert "too little data: 1 sound welds and 0 others" in said
        assert "changes no rule" in said
        folder = shop / "fitup-results" / "outcomes"
        assert {one.name for one in folder.iterdir()} == {
            "outcomes-0.9mm-butt.png",
            "outcomes-no-wire-tee.png",
            "outcomes.json",
            "welds.csv",
        }
        with Image.open(folder / "outcomes-0.9mm-butt.png") as picture:
            assert picture.size == (1350, 900)
        rows = list(csv.DictReader(io.StringIO((folder / "welds.csv").read_text(encoding="utf-8-sig"))))
        assert len(rows) == 121
        study, tee = json.loads((folder / "outcomes.json").read_text(encoding="utf-8"))["studies"]
        assert study["gap_low_mm"] < study["gap_mm"] < study["gap_high_mm"]
        assert (tee["gap_mm"], tee["wire_mm"], tee["slope_per_mm"]) == (None, 0.0, None)
        assert (shop / "archive" / "archive.sqlite").read_bytes() == before

    def test_a_kind_of_joint_that_is_a_path_stays_in_the_folder(self, shop: Path) -> None:
        archive = open_archive(str(shop / "archive"))
        odd = archive.add([draft_of(Seen(np.array([0.4]), serial="X-1", kind="../../=x"))])
        outcomes(archive, odd, ["sound"])
        assert run(["study", "outcomes"]) == 0
        assert {one.name for one in shop.iterdir()} == {"archive", "fitup-results"}
        assert [one.name for one in (shop / "fitup-results").iterdir()] == ["outcomes"]

    def test_choices(self, shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = [
            "--joint-kind",
            "tee",
            "--wire",
            "none",
            "--from-day",
            "2026-12-01",
            "--to-day",
            "2026-12-01",
        ]
        assert run(["study", "outcomes", "--json", "--no-files", *words, "--part", "RINSE tank"]) == 0
        said = json.loads(capsys.readouterr().out)
        assert [one["welds"] for one in said["studies"]] == [1]
        assert said["folder"] is None
        assert not (shop / "fitup-results").exists()

    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            (["--joint-kind", "round"], "--joint-kind must be one of butt"),
            (["--wire", "thick"], "wire"),
            (["--from-day", "yesterday"], "--from-day must be a day"),
            (["--job", "nobody's"], "no weld with an outcome fits"),
            (["--archive", "nowhere"], "there is no archive"),
        ],
    )
    def test_wrong_use_is_one_sentence(
        self, shop: Path, capsys: pytest.CaptureFixture[str], words: list[str], sentence: str
    ) -> None:
        assert run(["study", "outcomes", *words]) == 2
        said = capsys.readouterr().err
        assert sentence in said
        assert len(said.strip().splitlines()) == 1

    def test_an_archive_without_outcomes(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        open_archive(str(tmp_path / "empty"), create=True)
        assert run(["study", "outcomes", "--archive", str(tmp_path / "empty")]) == 2
        assert "no weld with an outcome is in the archive" in capsys.readouterr().err
