"""`fitup study plan`, `read`, `gauge`, `bias`, `agree`: as QC would use them, and what is refused."""

from __future__ import annotations

import io
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pdfplumber
import pikepdf
import pytest

from tests.conftest import Drawn

Fitup = Callable[..., tuple[int, str, str]]


def write_gauge(
    path: Path, *, persons: int = 3, person: float = 0.02, seed: int = 1, repeat: float = 0.006
) -> Path:
    random = np.random.default_rng(seed)
    parts, off = 0.5 + 0.25 * random.standard_normal(10), person * random.standard_normal(persons)
    lines = ["part,person,repeat,gap_mm,date"]
    for i, gap in enumerate(parts):
        for j in range(persons):
            for k in range(3):
                reading = abs(gap) + off[j] + repeat * random.standard_normal()
                lines.append(f"J{i + 1},{('Ana', 'Bo', 'Cy')[j]},{k + 1},{reading:.4f},2026-05-1{k}")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def write_bias(path: Path, intercept: float = 0.02) -> Path:
    random = np.random.default_rng(2)
    lines = ["reference_mm;gap_mm;camera"]
    for at in (0.1, 0.3, 0.6, 0.9, 1.2):
        lines += [
            f"{at};{intercept + 1.01 * at + 0.004 * random.standard_normal():.4f};Nordlicht N1"
            for _ in range(5)
        ]
    path.write_text("\n".join(lines).replace(".", ","), encoding="utf-8")
    return path


def pages(path: Path) -> list[str]:
    with pdfplumber.open(path) as pdf:
        return [page.extract_text() for page in pdf.pages]


def test_plan_then_sheet_and_csv(fitup: Fitup, tmp_path: Path) -> None:
    arguments = ("--part", "J1,J2", "--part", "J3", "--person", "Ana,Bo", "--repeats", 2, "--seed", 7)
    code, out, err = fitup("study", "plan", *arguments, "--out", "plan.pdf")
    assert (code, err) == (0, "")
    assert "12 photos, order by seed 7" in out
    assert "small study" in out
    (page,) = pages(tmp_path / "plan.pdf")
    assert "Round 2: Bo" in page
    assert (tmp_path / "plan.csv").read_text(encoding="utf-8").splitlines()[0] == (
        "order,part,person,repeat,photo,gap_mm"
    )
    first = (tmp_path / "plan.csv").read_bytes()
    fitup("study", "plan", *arguments, "--out", "plan.pdf")
    assert (tmp_path / "plan.csv").read_bytes() == first
    assert fitup("study", "plan", "--part", "J1", "--person", "A,B", "--out", "p.pdf")[0] == 2
    assert not (tmp_path / "p.pdf").exists()
    assert not (tmp_path / "p.csv").exists()


@pytest.mark.parametrize("persons", [2, 3])
@pytest.mark.parametrize("above", [0.0, 0.999])
def test_gauge_on_screen_as_json_and_on_one_page(
    fitup: Fitup, tmp_path: Path, persons: int, above: float
) -> None:
    write_gauge(tmp_path / "r.csv", persons=persons)
    more = ("--pool-above", above, "--who", "Petra Lund", "--note", "before the new lamps")
    code, out, err = fitup("study", "gauge", "r.csv", "--limit", "0.9mm", *more, "--out", "g.pdf")
    assert (code, err) == (0, "")
    for words in ("of a limit of 0.9 mm", "repeatability EV", "number of distinct categories", "F "):
        assert words in out
    assert ("pooled with" in out) == (above == 0.0)
    (page,) = pages(tmp_path / "g.pdf")
    for words in ("Petra Lund", "2026-05-10 to 2026-05-12", "Ana, Bo", "licensed", "before the new lamps"):
        assert words in page
    code, out, err = fitup("study", "gauge", "r.csv", "--limit", "0.9mm", *more[:2], "--json")
    values = json.loads(out)
    with pikepdf.open(tmp_path / "g.pdf") as pdf:
        inside = json.loads(pdf.attachments["study.json"].get_file().read_bytes())
        assert pdf.attachments["readings.csv"].get_file().read_bytes() == (tmp_path / "r.csv").read_bytes()
    assert inside == values
    assert values["ndc"] >= 5
    assert values["components"]["total"]["share_of_contribution"] == pytest.approx(1.0)


def test_page_of_the_worst_case_is_still_one(fitup: Fitup, tmp_path: Path) -> None:
    """Long names, all cautions, interaction kept."""
    random = np.random.default_rng(3)
    lines = ["part,person,repeat,gap_mm"]
    for i in range(4):
        for j in range(2):
            for k in range(2):
                value = -0.1 + 0.02 * random.standard_normal()
                lines.append(
                    f"{'a long name of a part ' * 2}{i},{'a long name of a person ' * 2}{j},{k},{value:.3f}"
                )
    (tmp_path / "r.csv").write_text("\n".join(lines), encoding="utf-8")
    note = "a note " * 20
    code, out, _ = fitup(
        "study", "gauge", "r.csv", "--limit", "0.9mm", "--pool-above", 0.999, "--out", "g.pdf", "--note", note
    )
    assert code == 0
    assert "negative" in out
    assert len(pages(tmp_path / "g.pdf")) == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("gauge", "r.csv", "--limit", "0"), "--limit"),
        (("gauge", "r.csv", "--limit", "x"), "--limit"),
        (("gauge", "r.csv", "--limit", "0.9mm", "--pool-above", "2"), "pooling"),
        (("gauge", "r.csv", "--limit", "0.9mm", "--out", "g.txt"), ".pdf"),
        (("gauge", "none.csv", "--limit", "0.9mm"), "cannot be read"),
        (("gauge", ".", "--limit", "0.9mm"), "'.' cannot be read"),
        (("gauge", "b.csv", "--limit", "0.9mm"), "no column"),
        (("bias", "r.csv"), "reference"),
        (("bias", "b.csv", "--accept", "p.json"), "--print-record"),
        (("bias", "b.csv", "--accept", "p.txt", "--print-record", "print.json", "--who", "P"), ".json"),
        (("bias", "b.csv", "--accept", "p.json", "--print-record", "print.json"), "--who"),
        (
            ("bias", "b.csv", "--accept", "p.json", "--print-record", "none.json", "--who", "P"),
            "cannot be read",
        ),
        (("agree", "b.csv"), "no column 'first'"),
        (("read", "b.csv", ".", "--out", "o.csv", "--wire", "0.9mm"), "no column"),
        (("read", "b.csv", ".", "--out", "o.csv", "--reading", "widest"), "largest or mean"),
        (("read", "b.csv", ".", "--out", "o.txt"), ".csv"),
        (("read", "p.csv", ".", "--out", "o.csv"), "wire"),
        (("read", "p.csv", ".", "--out", "o.csv", "--job", "none"), ".toml"),
        (("read", "p.csv", "none", "--out", "o.csv", "--wire", "0.9mm"), "no photo gave a reading"),
    ],
)
def test_what_cannot_be_done(fitup: Fitup, tmp_path: Path, arguments: tuple, words: str) -> None:
    write_gauge(tmp_path / "r.csv")
    write_bias(tmp_path / "b.csv")
    (tmp_path / "p.csv").write_text("part,person,repeat,photo\nJ1,A,1,x.jpg\n", encoding="utf-8")
    fitup(
        "target",
        "check",
        "--along",
        "140.1mm",
        "--across",
        "139.9mm",
        "--instrument",
        "C",
        "--out",
        "print.json",
    )
    before = sorted(path.name for path in tmp_path.iterdir())
    code, _, err = fitup("study", *arguments)
    assert code == 2
    assert words in err.splitlines()[-1]
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_a_page_names_the_method_that_was_used(fitup: Fitup, tmp_path: Path) -> None:
    lines = write_bias(tmp_path / "b.csv").read_text(encoding="utf-8").splitlines()
    told = [f"{lines[0]};u_reference_mm", *(f"{line};0,002" for line in lines[1:])]
    (tmp_path / "b.csv").write_text("\n".join(told), encoding="utf-8")
    assert fitup("study", "bias", "b.csv", "--out", "b.pdf")[0] == 0
    (page,) = pages(tmp_path / "b.pdf")
    assert "errors on both axes (York 2004), chi-square of the means" in page
    assert "pure error" not in page


def test_bias_proposed_accepted_and_applied(
    fitup: Fitup, tmp_path: Path, drawn: Callable[[str], Drawn]
) -> None:
    write_bias(tmp_path / "b.csv")
    scene = drawn("opening")
    fitup(
        "target",
        "check",
        "--along",
        "140.0mm",
        "--across",
        "140.0mm",
        "--instrument",
        "C",
        "--out",
        "print.json",
    )
    code, out, err = fitup("study", "bias", "b.csv", "--limit", "0.9mm", "--out", "b.pdf")
    assert (code, err) == (0, "")
    assert out.startswith("A correction is proposed: bias +0.02")
    assert "Q " in out
    (page,) = pages(tmp_path / "b.pdf")
    assert "lack of fit against pure error" in page
    code, out, err = fitup("study", "bias", "b.csv", "--json", "--limit", "0.9mm")
    values = json.loads(out)
    assert values["proposed"]
    assert values["mean_bias_mm"] == pytest.approx(0.02 + 0.01 * 0.62, abs=0.003)
    accept = ("--accept", "fixed.json", "--print-record", "print.json", "--who", "Petra Lund")
    code, out, err = fitup("study", "bias", "b.csv", *accept)
    assert (code, err) == (0, "")
    assert "for Nordlicht N1" in out
    # A second time nothing is written over, and a corrected record takes no second correction.
    assert fitup("study", "bias", "b.csv", *accept)[0] == 2
    code, _, err = fitup(
        "study", "bias", "b.csv", "--accept", "more.json", "--print-record", "fixed.json", "--who", "P"
    )
    assert code == 2
    assert "correction already" in err
    # The drawn photo is of that phone; with the correction meant for another one it is left out, and told.
    inspect = ("inspect", scene.path, "--wire", "0.9mm", "--sheet", "1.5mm", "--no-files")
    said = " ".join(fitup(*inspect, "--print-record", "fixed.json")[1].split())
    assert "The gap was corrected" in said
    assert "accepted by Petra Lund" in said
    data = json.loads((tmp_path / "fixed.json").read_text(encoding="utf-8"))
    data["correction"]["phone"] = "Nordlicht N2"
    (tmp_path / "other.json").write_text(json.dumps(data), encoding="utf-8")
    said = " ".join(fitup(*inspect, "--print-record", "other.json")[1].split())
    assert "not applied" in said
    assert "The gap was corrected" not in said


def test_check_references_in_and_out_of_control(fitup: Fitup, tmp_path: Path) -> None:
    write_bias(tmp_path / "b.csv")
    for off, words in ((0.0, "in control"), (0.05, "out of control")):
        (tmp_path / "c.csv").write_text(
            f"reference_mm,gap_mm\n0.3,0.323\n0.9,{0.929 + off}\n", encoding="utf-8"
        )
        code, out, _ = fitup("study", "bias", "b.csv", "--check", "c.csv")
        assert code == 0
        assert f"Calibration {words}" in out
    (tmp_path / "c.csv").write_text("reference_mm,gap_mm,corrected\n0.3,0.3,yes\n", encoding="utf-8")
    code, out, err = fitup("study", "bias", "b.csv", "--check", "c.csv")
    assert (code, out) == (2, "")
    assert "the correction in them" in err


def test_agree_with_and_without_uncertainties(fitup: Fitup, tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    gap = random.uniform(0.1, 1.2, 12)
    first, second = gap + 0.01 + 0.01 * random.standard_normal(12), gap + 0.02 * random.standard_normal(12)
    text = io.StringIO()
    text.write("joint,gap mm,feeler,u_gap_mm,u_feeler\n")
    for a, b in zip(first, second, strict=True):
        text.write(f"J,{a:.4f},{b:.4f},0.01,0.02\n")
    (tmp_path / "t.csv").write_text(text.getvalue(), encoding="utf-8")
    columns = ("--first", "gap mm", "--second", "feeler")
    code, out, err = fitup("study", "agree", "t.csv", *columns, "--out", "t.pdf")
    assert (code, err) == (0, "")
    assert out.startswith("gap mm less feeler: +0.0")
    assert "errors on both axes" in out
    assert len(pages(tmp_path / "t.pdf")) == 1
    values = json.loads(fitup("study", "agree", "t.csv", *columns, "--json")[1])
    assert values["pairs"] == 12
    assert values["mean_difference_mm"] == pytest.approx(float(np.mean(first - second)), abs=1e-4)


def test_photos_of_a_plan_to_a_study(fitup: Fitup, tmp_path: Path, drawn: Callable[[str], Drawn]) -> None:
    (tmp_path / "photos").mkdir()
    lines = ["order,part,person,repeat,photo,gap_mm"]
    for part, name in (("J1", "opening"), ("J2", "lit floor")):
        for person in ("Ana", "Bo"):
            for repeat in (1, 2):
                photo = f"{part}{person}{repeat}"
                shutil.copy(drawn(name).path, tmp_path / "photos" / f"{photo}.jpg")
                lines.append(f",{part},{person},{repeat},{photo},")
    (tmp_path / "plan.csv").write_text("\n".join(lines), encoding="utf-8")
    stretch = ("--from", "100mm", "--to", "140mm")
    arguments = ("study", "read", "plan.csv", "photos", "--wire", "0.9mm", "--sheet", "1.5mm", *stretch)
    code, out, err = fitup(*arguments, "--out", "readings.csv")
    assert (code, err) == (0, "")
    assert "8 of 8 photos gave a reading (largest gap)" in out
    assert re.search(r"J1Ana1: part J1, Ana, repeat 1: 1\.\d{3} ± 0\.\d{3} mm at 1\d\d mm", out)
    code, out, err = fitup(*arguments, "--out", "readings.csv")
    assert (code, out) == (2, "")  # told before any photo is measured
    assert "there already" in err
    # The same photo for every repeat: the study must not call that a proof.
    code, out, _ = fitup("study", "gauge", "readings.csv", "--limit", "0.9mm", "--out", "g.pdf")
    assert code == 0
    assert out.startswith("Unproven")
    (page,) = pages(tmp_path / "g.pdf")
    for told in (out, page):  # what is not known has no number
        assert "nan" not in told
        assert "PV/GRR" not in told
        assert "Q " not in told
    values = json.loads(fitup("study", "gauge", "readings.csv", "--limit", "0.9mm", "--json")[1])
    assert values["word"] == "unproven"
    assert values["ndc"] is values["share_of_tolerance"] is values["q_mp"] is None
    lines[1] = ",J1,Ana,1,missing,"
    (tmp_path / "plan.csv").write_text("\n".join(lines), encoding="utf-8")
    code, out, err = fitup(*arguments, "--out", "less.csv")
    assert code == 5
    assert "not in the folder" in err
    code, _, err = fitup("study", "gauge", "less.csv", "--limit", "0.9mm")
    assert code == 2
    assert "part J1 by Ana: 1 of 2" in err


def test_help_of_studies_loads_nothing_heavy(fitup: Fitup) -> None:
    import subprocess
    import sys

    program = "import sys, fitup.cli.app; sys.exit(any(m in sys.modules for m in ('numpy', 'cv2', 'scipy')))"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
    code, out, _ = fitup("study", "--help")
    assert code == 0
    for name in ("plan", "read", "gauge", "bias", "agree"):
        assert name in out


def test_names_of_any_kind_are_names(fitup: Fitup, tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    lines = ["part,person,repeat,gap_mm"]
    for part in ("$\\frac{$", "_b", "%s {}"):
        for person in ("$x$", "_hidden", "Ä\u202e日本"):
            lines += [f'"{part}","{person}",{k},{random.uniform(0.1, 1):.3f}' for k in (1, 2)]
    (tmp_path / "r.csv").write_text("\n".join(lines), encoding="utf-8")
    code, _, err = fitup("study", "gauge", "r.csv", "--limit", "0.9mm", "--out", "g.pdf")
    assert (code, err) == (0, "")
    assert "_hidden" in pages(tmp_path / "g.pdf")[0]
