"""The other commands, the error boundary, and that --help stays quick."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import fitup as package
from fitup.cli import boundary, inspecting, records
from fitup.errors import RetakeError, StorageError, UsageError
from fitup.evidence import save_inspection
from fitup.evidence.record_file import schema_text
from fitup.scale import load_print_record
from tests.evidence.builders import make_filing, make_inspection

ROOT = Path(__file__).parents[2]
Run = Callable[..., tuple[int, str, str]]


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, env=environment, timeout=60, check=False
    )


def test_help_names_all_commands_and_exit_codes(fitup: Run) -> None:
    code, out, err = fitup("--help")
    assert (code, err) == (0, "")
    for word in ("inspect", "target", "record", "schema", "Exit codes", "re-fixture"):
        assert word in out
    assert fitup() == (0, out, "")


@pytest.mark.parametrize(
    "command", ["inspect", "target", "target draw", "target check", "record show", "record repeat", "schema"]
)
def test_every_command_and_option_has_help(fitup: Run, command: str) -> None:
    code, out, _ = fitup(*command.split(), "--help")
    assert code == 0
    options = [line for line in out.splitlines() if line.startswith("  --")]
    assert all(len(line.split("  ")) > 2 or line.split()[-1] for line in options)
    assert max(len(line) for line in out.splitlines()) <= 80


@pytest.mark.parametrize("arguments", [["--help"], ["inspect", "--help"], ["--version"]])
def test_help_loads_no_image_library(arguments: list[str]) -> None:
    """Not by time, which depends on the machine, but by what gets loaded."""
    code = (
        "import sys; from fitup.cli.boundary import run; run(sys.argv[1:]); "
        "heavy = {'cv2', 'numpy', 'matplotlib', 'PIL', 'rich', 'fitup.photo'} & set(sys.modules); "
        "print(*sorted(heavy), file=sys.stderr)"
    )
    done = python("-c", code, *arguments)
    assert done.returncode == 0
    assert done.stderr.strip() == ""


def test_import_of_the_package_is_cheap_and_its_names_are_there() -> None:
    code = "import sys, fitup; print(*({'cv2', 'numpy', 'typer', 'pydantic'} & set(sys.modules)))"
    assert python("-c", code).stdout.strip() == ""
    for name in package.__all__:
        assert getattr(package, name) is not None
    assert set(package.__all__) <= set(dir(package))
    with pytest.raises(AttributeError, match="no_such_name"):
        package.no_such_name  # noqa: B018


def test_version_is_that_of_the_package_file(fitup: Run) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert fitup("--version") == (0, f"fitup {project['version']}\n", "")


def test_python_m_runs_the_command_line() -> None:
    done = python("-m", "fitup", "nonsense")
    assert done.returncode == 2
    assert done.stderr.startswith("fitup: ")


def test_target_is_drawn(fitup: Run, tmp_path: Path) -> None:
    for name, start in (("t.pdf", b"%PDF"), ("t.png", b"\x89PNG"), ("t.svg", b"<")):
        code, out, err = fitup("target", "draw", "--out", name, "--paper", "letter", "--strip", 2)
        assert (code, err) == (0, "")
        assert "100 %" in out
        assert (tmp_path / name).read_bytes().startswith(start)


def test_target_check_stores_the_readings(fitup: Run, tmp_path: Path) -> None:
    arguments = ["--along", "140.28mm", "--across", "139.86mm", "--instrument", "caliper 12", "--u", "0.02mm"]
    code, out, err = fitup("target", "check", *arguments, "--date", "2026-02-01", "--out", "p.json")
    assert (code, err) == (0, "")
    assert "0.20 % too long along" in out
    assert "0.10 % too short across" in out
    record = load_print_record(tmp_path / "p.json")
    assert (record.along_mm, record.across_mm, record.date) == (140.28, 139.86, "2026-02-01")


WRONG = {
    "suffix unknown": ["target", "draw", "--out", "t.bmp"],
    "no suffix": ["target", "draw", "--out", "t"],
    "paper unknown": ["target", "draw", "--out", "t.pdf", "--paper", "A0"],
    "form unknown": ["target", "draw", "--out", "t.pdf", "--form", "disc"],
    "strip out of the set": ["target", "draw", "--out", "t.pdf", "--strip", "99"],
    "strip is a word": ["target", "draw", "--out", "t.pdf", "--strip", "one"],
    "no out": ["target", "draw"],
    "nul in out": ["target", "draw", "--out", "t\0.pdf"],
    "reading is a word": [
        "target",
        "check",
        "--along",
        "x",
        "--across",
        "140",
        "--instrument",
        "c",
        "--out",
        "p.json",
    ],
    "reading absurd": [
        "target",
        "check",
        "--along",
        "14",
        "--across",
        "140",
        "--instrument",
        "c",
        "--out",
        "p.json",
    ],
    "no instrument": [
        "target",
        "check",
        "--along",
        "140",
        "--across",
        "140",
        "--instrument",
        "",
        "--out",
        "p.json",
    ],
    "date is a word": [
        *("target", "check", "--along", "140", "--across", "140", "--instrument", "c"),
        *("--date", "today", "--out", "p.json"),
    ],
    "unknown command": ["weld"],
    "group alone": ["target"],
    "unknown option": ["schema", "--pretty"],
}


@pytest.mark.parametrize("arguments", WRONG.values(), ids=WRONG)
def test_wrong_use_is_one_sentence_and_leaves_nothing(
    fitup: Run, tmp_path: Path, arguments: list[str]
) -> None:
    code, out, err = fitup(*arguments)
    assert (code, out) == (2, "")
    assert err.startswith("fitup: ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_target_into_a_place_that_cannot_be_written(fitup: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    assert fitup("target", "draw", "--out", "file/t.svg")[0] == 6
    readings = ["--along", "140", "--across", "140", "--instrument", "c"]
    assert fitup("target", "check", *readings, "--out", "file/p.json")[0] == 6
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_record_is_shown_again_and_as_json(fitup: Run, tmp_path: Path) -> None:
    folder = save_inspection(make_inspection(), tmp_path, filing=make_filing()).folder
    code, out, err = fitup("record", "show", folder)
    assert (code, err) == (0, "")
    assert "RE-FIXTURE" in out
    assert "1.31 ± 0.06 mm" in out
    code, out, _ = fitup("record", "show", folder / "record.json", "--json")
    assert out == (folder / "record.json").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["nowhere.json", "", "n" * 300, "nul\0", "damaged.json"])
def test_record_that_cannot_be_read_is_code_6(fitup: Run, tmp_path: Path, name: str) -> None:
    (tmp_path / "damaged.json").write_text('{"schema_version": 1')
    code, out, err = fitup("record", "show", name)
    assert (code, out) == (6, "")
    assert err.startswith("fitup: ")
    assert err.count("\n") == 1


def test_schema_is_printed(fitup: Run) -> None:
    code, out, err = fitup("schema")
    assert (code, out, err) == (0, schema_text(), "")
    assert json.loads(out)["title"] == "InspectionRecord"


@pytest.mark.parametrize(
    ("error", "code", "text"),
    [
        (UsageError("give a wire."), 2, "fitup: give a wire.\n"),
        (StorageError("disk full."), 6, "fitup: disk full.\n"),
        (
            RetakeError("glare", "Too much glare.", "Move the lamp."),
            5,
            "fitup: Too much glare: move the lamp.\n",
        ),
        (KeyboardInterrupt(), 130, "fitup: stopped.\n"),
    ],
)
def test_errors_become_one_line_and_their_code(
    fitup: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int, text: str
) -> None:
    def fail(*_: Any, **__: Any) -> int:
        raise error

    monkeypatch.setattr(records, "print_schema", fail)
    assert fitup("schema") == (code, "", text)


def test_unexpected_errors_ask_for_a_report_and_show_more_on_request(
    fitup: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> int:
        raise ZeroDivisionError("line one\nline two")

    monkeypatch.setattr(records, "print_schema", fail)
    code, _, err = fitup("schema")
    assert code == boundary.CRASH
    assert err.count("\n") == 1
    assert "please report" in err
    assert "ZeroDivisionError: line one line two" in err
    monkeypatch.setenv("FITUP_DEBUG", "1")
    assert "Traceback" in fitup("schema")[2]


def test_interrupt_while_measuring(fitup: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: Any, **__: Any) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(inspecting, "_run_one", stop)
    (tmp_path / "a.jpg").write_bytes(b"")
    assert fitup("inspect", "a.jpg", "--wire", "0.9mm", "--no-files") == (130, "", "fitup: stopped.\n")
