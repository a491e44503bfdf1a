"""README and DEVELOPERS are true: commands, options, files, links, codes; and their examples run."""

from __future__ import annotations

import ast
import re
import shlex
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import typer

from fitup.cli.app import app
from fitup.cli.boundary import run
from fitup.cli.later_groups import build_groups
from fitup.errors import ExitCode
from tests.conftest import SCENES, Drawn
from tests.drawn_joint import save

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "fitup"
DOCUMENTS = ("README.md", "DEVELOPERS.md", "CHANGELOG.md")
VERDICT_CODES = {0, 3, 4, 5}


def read(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def commands() -> dict[str, set[str]]:
    """Every command of the program with its long options, --help left out."""
    root: Any = typer.main.get_command(app)
    build_groups(root)
    found = {}

    def walk(command: Any, name: str) -> None:
        if hasattr(command, "commands"):
            for part, inner in command.commands.items():
                walk(inner, f"{name} {part}")
            return
        options = {
            opt
            for parameter in command.params
            for opt in (*parameter.opts, *parameter.secondary_opts)
            if opt.startswith("--")
        }
        found[name] = options - {"--help"}

    walk(root, "fitup")
    return found


COMMANDS = commands()


def fenced(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)


def without_code(text: str) -> str:
    return re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)


def sections(text: str, level: int) -> dict[str, str]:
    """Heading to text up to the next heading of the same or a higher level."""
    heading = re.compile(rf"^{'#' * level} (.+)$", re.MULTILINE)
    end = re.compile(rf"^#{{1,{level}}} ", re.MULTILINE)
    found = {}
    for match in heading.finditer(text):
        stop = end.search(text, match.end())
        found[match[1]] = text[match.end() : stop.start() if stop else len(text)]
    return found


def shown_command_lines() -> Iterator[str]:
    """Command lines that README shows, in fenced blocks or between backticks with options."""
    text = read("README.md")
    for block in fenced(text, "sh"):
        for line in block.splitlines():
            if line.startswith("fitup "):
                yield line
    yield from re.findall(r"`(fitup [a-z][^`]* --[^`]*)`", text)


# ------------------------------------------------------------------------------------------ README's shape


def test_readme_opens_with_the_job_in_one_paragraph_and_a_picture_near_it() -> None:
    title, job, picture = read("README.md").split("\n\n")[:3]
    assert title == "# fitup"
    for word in ("laser", "gap", "wire", "phone photo", "re-fixtured", "common practice, no source"):
        assert word in " ".join(job.split())
    assert not job.startswith(("!", "#", "-", "|"))
    assert picture.startswith("![")


def make_targets_named(text: str) -> set[str]:
    in_blocks = re.findall(r"^make ([a-z-]+)", "\n".join(fenced(text, "sh")), re.MULTILINE)
    return {*in_blocks, *re.findall(r"`make ([a-z-]+)`", text)}


def test_readme_gives_the_two_make_commands_and_all_that_are_named_exist() -> None:
    targets = set(re.findall(r"^([a-z-]+):", read("Makefile"), re.MULTILINE))
    named = make_targets_named(read("README.md"))
    assert {"demo", "test", "bench"} <= named <= targets
    assert (
        {"lint", "types", "test", "bench", "render"} <= make_targets_named(read("DEVELOPERS.md")) <= targets
    )


def test_changelog_tells_of_this_version() -> None:
    from fitup import __version__

    assert {"Unreleased", __version__} <= set(sections(read("CHANGELOG.md"), 2))


def test_cautions_privacy_and_limits_have_their_places() -> None:
    parts = sections(read("README.md"), 2)
    assert {"Limits of use", "Cautions", "Privacy"} <= set(parts)
    for word in ("class 4", "eyewear", "interlocks", "chromium", "sharp edges", "releases nothing", "codes"):
        assert word in parts["Cautions"]
    assert "GPS" in parts["Privacy"]
    assert "No standard limits the gap" in " ".join(parts["Limits of use"].split())


# -------------------------------------------------------------------------------------- commands and options


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_has_a_section_with_exactly_its_options(command: str) -> None:
    section = sections(read("README.md"), 3)[command]
    named = set(re.findall(r"`(--[a-z-]+)`", section))
    assert named == COMMANDS[command]


def test_no_section_for_a_command_that_does_not_exist() -> None:
    titled = {title for title in sections(read("README.md"), 3) if title.startswith("fitup ")}
    assert titled == set(COMMANDS)


@pytest.mark.parametrize("line", sorted(set(shown_command_lines())))
def test_every_command_line_shown_has_a_known_command_and_known_options(line: str) -> None:
    words = shlex.split(line)
    if words == ["fitup", "--version"]:
        return
    command = max((c for c in COMMANDS if line.startswith(c)), key=len, default=None)
    assert command, line
    options = {word.split("=")[0] for word in words if word.startswith("--")}
    assert options <= COMMANDS[command] | {"--help"}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_command_named_in_passing_exists(name: str) -> None:
    for words in re.findall(r"`(fitup [a-z][a-z ]*)[^`]*`", read(name)):
        assert any(words.strip().startswith(command) for command in COMMANDS), words


@pytest.mark.parametrize("name", [*DOCUMENTS, "calibration/README.md"])
def test_every_option_named_in_passing_exists(name: str) -> None:
    known = set().union(*COMMANDS.values()) | {"--help", "--version"}
    foreign = {
        "--dist",
        "--entries",
        "--filed",
        "--kills",
        "--no-nanny",
        "--sections",
        "--strict",
    }  # of mypy, pytest, Dask and the benchmark
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", read(name))) <= known | foreign


def test_messages_name_only_options_that_exist() -> None:
    """Advice such as 'give two points (--points)' must be something that a user can do."""
    known = set().union(*COMMANDS.values()) | {"--help", "--version"}
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", node.value))
                assert named <= known, f"{path.name} names {named - known}"


# ------------------------------------------------------------------------------------------ examples that run


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the photos that README's examples name, made the working folder."""
    shutil.copy(ROOT / "demo_images" / "01_good_fit.jpg", tmp_path / "J4-after.jpg")
    (tmp_path / "photos").mkdir()
    shutil.copy(ROOT / "demo_images" / "02_one_opening.jpg", tmp_path / "J4.jpg")
    shutil.copy(ROOT / "demo_images" / "01_good_fit.jpg", tmp_path / "photos" / "J5.jpg")
    corner = ROOT / "demo_images" / "kinds" / "21_corner_120_two.jpg"
    shutil.copy(corner, tmp_path / "corner.jpg")
    (tmp_path / "long-joint").mkdir()
    shutil.copy(ROOT / "demo_images" / "01_good_fit.jpg", tmp_path / "long-joint" / "J7a.jpg")
    for name, slant_deg in (("J8a", -15.0), ("J8b", 15.0)):
        save(replace(SCENES["opening"], slant_deg=slant_deg), tmp_path / f"{name}.jpg")
    save(replace(SCENES["strong tone"], strip_number=11), tmp_path / "IMG_0412.jpg")
    (tmp_path / "shop-rules.toml").write_text("[bridge]\nfactor = 1.0\n", encoding="utf-8")
    for block in fenced(read("README.md"), "toml"):
        name = "joints.toml" if "[[joint]]" in block else "shop-rules.toml"
        (tmp_path / name).write_text(block, encoding="utf-8")
    shutil.copytree(ROOT / "demo_images" / "lens_board", tmp_path / "lens-photos")
    (tmp_path / "calibration").mkdir()
    for example in sorted((ROOT / "calibration").glob("*-example.*")):
        shutil.copy(example, tmp_path / "calibration")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_commands_of_readme_run_one_after_another(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """First use as printed, from drawing the strip to repeating a record."""
    lines = [line for block in fenced(read("README.md"), "sh") for line in block.splitlines()]
    lines = [line for line in lines if line.startswith("fitup ")]
    assert len(lines) >= len(COMMANDS)
    for line in lines:
        if line.startswith("fitup serve"):  # runs until it is stopped: tests/phone/test_server_process.py
            continue
        code = run(shlex.split(line)[1:])
        judges = line.startswith(
            ("fitup inspect", "fitup seam", "fitup sides", "fitup settle", "fitup compare")
        )
        assert code in VERDICT_CODES if judges else code == 0, line
    capsys.readouterr()
    for made in ("strip.pdf", "print.json", "fitup-results/J4/record.json", "results/J5/overlay.jpg"):
        assert (shop / made).is_file(), made


def test_the_python_of_readme_runs(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (example,) = fenced(read("README.md"), "python")
    exec(compile(example, "README.md", "exec"), {})
    assert "re-fixture" in capsys.readouterr().out
    assert (shop / "results" / "J4" / "record.json").is_file()


def test_files_written_are_those_that_readme_lists(drawn: Callable[[str], Drawn], tmp_path: Path) -> None:
    import fitup

    scene = drawn("opening")
    saved = fitup.save_inspection(scene.inspection, tmp_path, photo_path=scene.path)
    listed = set(re.findall(r"^\| `([\w.]+)` \|", sections(read("README.md"), 3)["Files"], re.MULTILINE))
    assert listed == {path.name for path in saved.folder.iterdir()}


# ------------------------------------------------------------------------------------------ words and codes


def test_exit_codes_of_readme_are_those_of_the_program() -> None:
    table = sections(read("README.md"), 3)["Exit codes"]
    codes = {int(code) for code in re.findall(r"^\| (\d) \|", table, re.MULTILINE)}
    assert codes == {int(code) for code in ExitCode} | {1}
    verdicts = re.findall(
        r"^\| ([a-z-]+) \|.*\| (\d) \|$", sections(read("README.md"), 2)["What the result says"], re.MULTILINE
    )
    assert {(word.replace("-", "_").upper(), int(code)) for word, code in verdicts} == {
        (name, int(code)) for name, code in ExitCode.__members__.items() if int(code) in VERDICT_CODES
    }


def test_worst_first_order_of_readme_is_that_of_the_program() -> None:
    from fitup.cli.inspecting import WORST_FIRST

    assert f"in the order {', '.join(str(code) for code in WORST_FIRST)}" in read("README.md")


def test_reasons_of_readme_are_those_of_the_program() -> None:
    raised = {
        node.args[0].value
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and getattr(node.func, "id", "") == "RetakeError"
        and isinstance(node.args[0], ast.Constant)
    }
    listed = sections(read("README.md"), 3)["fitup inspect"].split("The reasons:")[1]
    assert set(re.findall(r"`([a-z ]+)`", listed)) == raised


def test_states_and_reasons_for_unseen_places_are_explained() -> None:
    from fitup.verdict import StationState
    from fitup.verdict.advice import _REMEDIES

    states = sections(read("README.md"), 2)["What the result says"]
    for state in StationState:
        assert f"| {state} |" in states
    for reason in _REMEDIES:
        assert reason in states


# ------------------------------------------------------------------------------------ links, pictures, files


def anchors(text: str) -> set[str]:
    titles = re.findall(r"^#+ (.+)$", without_code(text), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("name", [*DOCUMENTS, "calibration/README.md", "demo_images/README.md"])
def test_links_and_pictures_exist(name: str) -> None:
    text = read(name)
    here = (ROOT / name).parent
    for target in re.findall(r"\]\(([^)\s]+)\)", without_code(text)):
        path, _, anchor = target.partition("#")
        file = here / path if path else ROOT / name
        assert file.exists(), target
        if anchor:
            assert anchor in anchors(file.read_text(encoding="utf-8")), target


def test_pictures_are_small_and_described() -> None:
    for name in DOCUMENTS[:2]:
        for words, target in re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", read(name)):
            assert len(words) > 30, target
            assert (ROOT / target).stat().st_size <= 400_000, target


@pytest.mark.parametrize(
    "folder",
    [
        "fitup",
        *(f"fitup/{p.name}" for p in sorted(PACKAGE.iterdir()) if p.is_dir() and p.name != "__pycache__"),
        "fitup/evidence/archive",
        "fitup/evidence/report",
    ],
)
def test_developers_list_every_file_and_no_other(folder: str) -> None:
    section = sections(read("DEVELOPERS.md"), 3)[folder]
    listed = set(re.findall(r"^\| `(\w+\.py)` \|", section, re.MULTILINE))
    there = {path.name for path in (ROOT / folder).glob("*.py")}
    if folder != "fitup":
        there -= {"__init__.py"}
    assert listed == there


def test_files_named_by_developers_exist() -> None:
    text = without_code(read("DEVELOPERS.md"))
    for path in re.findall(r"`((?:fitup|tests|docs|calibration|demo_images)/[\w./]+)`", text):
        assert (ROOT / path).exists(), path


def test_errors_of_developers_are_the_family() -> None:
    from fitup import errors

    table = sections(read("DEVELOPERS.md"), 2)["Errors and exit codes"]
    listed = {
        name: int(code) for name, code in re.findall(r"^\| `(\w+Error)` \|.*\| (\d) \|$", table, re.MULTILINE)
    }
    family = {
        name: int(value.exit_code)
        for name, value in vars(errors).items()
        if name.endswith("Error") and name != "FitupError"
    }
    assert listed == family


def test_benchmark_sections_are_explained() -> None:
    from tests.bench.__main__ import SECTIONS

    table = sections(read("DEVELOPERS.md"), 3)["The benchmark"]
    assert set(re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)) == {*SECTIONS, "machine"}
